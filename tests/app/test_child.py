"""Work in a child process gives values, sentences and progress, and ends when told."""

import os
import signal
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from app import child
from geometry.errors import BodyFileError, GeometryError, LayoutFileError
from geometry.layout import Mesh
from geometry.progress import Cancelled, no_progress

WORK = "app_child_work"


@pytest.fixture(autouse=True)
def work(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Any:
    """A module that the child can import by its name."""
    (tmp_path / f"{WORK}.py").write_text(
        """
import os, time
from pathlib import Path
import numpy as np
from geometry.errors import BodyFileError, GeometryError, LayoutFileError
from geometry.layout import Mesh

def triple(number, progress):
    progress(0.5, "Half way")
    return 3 * number

def mesh(progress):
    return {"meshes": [(Mesh(np.zeros((3, 3)), np.zeros((1, 3), np.int32)),)]}

def refuse(kind, progress):
    raise {"body": BodyFileError("No.", Path("a")), "layout": LayoutFileError("No.", Path("a")),
           "geometry": GeometryError("No.", (3, 4)), "bug": ZeroDivisionError("by zero")}[kind]

def raise_unpicklable(progress):
    class Odd(Exception):
        pass
    raise Odd("strange")

def die(progress):
    os._exit(7)

def sleep(path, progress):
    Path(path).write_text(str(os.getpid()))
    while True:
        time.sleep(0.05)
"""
    )
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.setenv("PYTHONPATH", str(tmp_path), prepend=os.pathsep)
    import importlib

    return importlib.import_module(WORK)


def test_value_and_progress_come_back(work: Any) -> None:
    told: list[tuple[float, str]] = []
    assert child.in_child(work.triple, 14)(lambda done, doing: told.append((done, doing))) == 42
    assert (0.5, "Half way") in told


def test_arrays_come_back_read_only(work: Any) -> None:
    (mesh,) = child.in_child(work.mesh)(no_progress)["meshes"][0]
    assert isinstance(mesh, Mesh)
    assert not mesh.vertices.flags.writeable
    assert not mesh.triangles.flags.writeable


def test_sentences_come_back_as_they_were_raised(work: Any) -> None:
    with pytest.raises(BodyFileError) as body:
        child.in_child(work.refuse, "body")(no_progress)
    assert (body.value.message, body.value.path) == ("No.", Path("a"))
    with pytest.raises(LayoutFileError):
        child.in_child(work.refuse, "layout")(no_progress)
    with pytest.raises(GeometryError) as geometry:
        child.in_child(work.refuse, "geometry")(no_progress)
    assert geometry.value.ids == (3, 4)


def test_a_fault_comes_back_with_its_story(work: Any) -> None:
    with pytest.raises(ZeroDivisionError) as fault:
        child.in_child(work.refuse, "bug")(no_progress)
    assert f"{WORK}.py" in fault.value.__notes__[0]
    with pytest.raises(RuntimeError, match="Odd: strange"):
        child.in_child(work.raise_unpicklable)(no_progress)


def test_a_child_that_dies_gives_a_sentence(work: Any) -> None:
    with pytest.raises(GeometryError, match=r"ended by itself \(code 7\).*try again\."):
        child.in_child(work.die)(no_progress)


def test_cancelling_ends_the_child_at_once(work: Any, tmp_path: Path) -> None:
    note = tmp_path / "pid"

    def cancel_when_running(done: float, doing: str) -> None:
        if note.exists() and note.read_text():
            raise Cancelled

    with pytest.raises(Cancelled):
        child.in_child(work.sleep, str(note))(cancel_when_running)
    with pytest.raises(ProcessLookupError):
        os.kill(int(note.read_text()), 0)


def test_a_killed_child_gives_a_sentence(work: Any, tmp_path: Path) -> None:
    note = tmp_path / "pid"
    killed = []

    def kill_when_running(done: float, doing: str) -> None:
        if note.exists() and note.read_text() and not killed:
            killed.append(time.monotonic())
            os.kill(int(note.read_text()), signal.SIGKILL)

    with pytest.raises(GeometryError, match=r"code -9"):
        child.in_child(work.sleep, str(note))(kill_when_running)
    assert time.monotonic() - killed[0] < 3.0


def test_read_only_reaches_arrays_wherever_they_are() -> None:
    arrays = [np.zeros(2) for _ in range(3)]
    child.read_only({"a": (arrays[0], [arrays[1]])})
    child.read_only(arrays[2])
    assert not any(array.flags.writeable for array in arrays)
