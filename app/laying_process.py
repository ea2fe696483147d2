"""The process that lays tubes along the body: it is told the body once, and answers the newest wish.

libigl keeps the GIL while it works, so it never runs beside the UI thread. A message that waits ends
what is being worked out.
"""

import signal
import traceback
from multiprocessing.connection import Connection
from typing import Literal

from msgspec import Struct

from geometry.body import distance
from geometry.body.distance import BodyIndex
from geometry.errors import GeometryError
from geometry.laying import following
from geometry.laying.wish import Proposal, Wish
from geometry.layout import Layout
from geometry.progress import Cancelled


class Asked(Struct, frozen=True, eq=False):
    """A wish, by a number that its answers repeat."""

    number: int
    wish: Wish


class Said(Struct, frozen=True, eq=False):
    """How far the work is, what came of it, or why nothing did."""

    number: int
    kind: Literal["progress", "found", "refused", "failed"]
    done: float = 0.0
    words: str = ""
    proposals: tuple[Proposal, ...] = ()


def serve(connection: Connection) -> None:
    """Answer wishes until the other end is closed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the window, which then ends us
    index: BodyIndex = {}
    try:
        while True:
            message = connection.recv()
            if isinstance(message, Layout):
                index = distance.build(message)
            elif isinstance(message, Asked):
                said = _answer(connection, index, message)
                if said is not None:
                    connection.send(said)
    except (EOFError, OSError):
        return


def _answer(connection: Connection, index: BodyIndex, asked: Asked) -> Said | None:
    """Return what came of a wish; None where something newer waits."""

    def progress(done: float, doing: str) -> None:
        if connection.poll():
            raise Cancelled
        connection.send(Said(asked.number, "progress", done, doing))

    try:
        found = following.propose(index, asked.wish, progress)
    except Cancelled:
        return None
    except GeometryError as error:
        return Said(asked.number, "refused", words=error.message)
    except Exception:
        return Said(asked.number, "failed", words=traceback.format_exc())
    return Said(asked.number, "found", 1.0, proposals=found)
