"""Work in a spawned child process: it can be ended at any time and never holds this one up.

Imports no Qt, so that the child starts fast.
"""

import multiprocessing
import signal
import traceback
from collections.abc import Callable
from multiprocessing.connection import Connection
from typing import Any

import numpy as np
from msgspec import Struct

from geometry.errors import GeometryError
from geometry.progress import Progress

LOOK_EVERY = 0.05  # s between two looks whether the work was cancelled

_PROGRESS, _VALUE, _ERROR = "progress", "value", "error"


def in_child(function: Callable[..., Any], *args: Any) -> Callable[[Progress], Any]:
    """Return work(progress) that runs function(*args, progress) in a child and returns its value.

    The function is found by its name in its module; arguments and value travel by pickle, and arrays
    in the value are read-only again. When progress raises, the child is ended at once.
    """

    def work(progress: Progress) -> Any:
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe(duplex=False)
        child = context.Process(target=_run, args=(theirs, function, args), daemon=True)
        child.start()
        theirs.close()
        try:
            return _value_from(ours, child, progress)
        finally:
            child.kill()
            child.join()
            child.close()
            ours.close()

    return work


def _value_from(connection: Connection, child: Any, progress: Progress) -> Any:
    done, doing = 0.0, "Starting"
    while True:
        progress(done, doing)
        if not connection.poll(LOOK_EVERY):
            continue
        try:
            kind, *content = connection.recv()
        except (EOFError, OSError):
            raise _died(child) from None
        if kind == _VALUE:
            return read_only(content[0])
        if kind == _ERROR:
            error, story = content
            error.add_note(story)
            raise error
        done, doing = content


def _died(child: Any) -> GeometryError:
    child.join(1.0)
    return GeometryError(
        f"The work ended by itself (code {child.exitcode}), most likely for want of memory. "
        "Close other programs, or make the file smaller, and try again."
    )


def _run(connection: Connection, function: Callable[..., Any], args: tuple[Any, ...]) -> None:
    """Do the work in the child and send what comes of it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl+C is for the parent, which then ends us

    def progress(done: float, doing: str) -> None:
        connection.send((_PROGRESS, done, doing))

    try:
        connection.send((_VALUE, function(*args, progress)))
    except Exception as error:
        story = f"In the child process:\n{traceback.format_exc()}"
        try:
            connection.send((_ERROR, error, story))
        except Exception:  # what can't be pickled is told in words
            connection.send((_ERROR, RuntimeError(f"{type(error).__name__}: {error}"), story))


def read_only(value: Any) -> Any:
    """Make every array inside a value read-only again, as it was before it travelled; return the value."""
    if isinstance(value, np.ndarray):
        value.setflags(write=False)
    elif isinstance(value, Struct):
        for name in value.__struct_fields__:
            read_only(getattr(value, name))
    elif isinstance(value, dict):
        for inner in value.values():
            read_only(inner)
    elif isinstance(value, tuple | list):
        for inner in value:
            read_only(inner)
    return value
