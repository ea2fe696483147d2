"""A job ends in exactly one way and says so in the window's thread."""

import threading
import time
from pathlib import Path
from typing import Any

import pytest
import trimesh
from pytestqt.qtbot import QtBot

from app import jobs
from app.jobs import Job
from geometry.body import scan
from geometry.body.scan import Scan
from geometry.errors import BodyFileError
from geometry.progress import Progress


class Record:
    """What a job said, in order, and in which thread."""

    def __init__(self, job: Job) -> None:
        self.said: list[tuple[str, Any]] = []
        self.threads: set[int] = set()
        job.done.connect(self.on_done)
        job.failed.connect(self.on_failed)
        job.cancelled.connect(self.on_cancelled)

    def on_done(self, value: object) -> None:
        self._note("done", value)

    def on_failed(self, error: object) -> None:
        self._note("failed", error)

    def on_cancelled(self) -> None:
        self._note("cancelled", None)

    def _note(self, what: str, value: object) -> None:
        self.said.append((what, value))
        self.threads.add(threading.get_ident())


def run(qtbot: QtBot, job: Job) -> Record:
    record = Record(job)
    with qtbot.waitSignal(job.ended, timeout=20000):
        job.start()
    assert record.threads == {threading.get_ident()}
    return record


def test_value_comes_back(qtbot: QtBot) -> None:
    assert run(qtbot, Job("Add", lambda progress: 5)).said == [("done", 5)]


def test_error_comes_back_as_a_value(qtbot: QtBot) -> None:
    def fail(progress: Progress) -> None:
        raise ValueError("no")

    ((what, error),) = run(qtbot, Job("Fail", fail)).said
    assert what == "failed"
    assert isinstance(error, ValueError)


def test_cancel_ends_at_the_next_report(qtbot: QtBot) -> None:
    started = threading.Event()

    def count(progress: Progress) -> None:
        for _ in range(10000):
            progress(0.1, "Counting")
            started.set()
            time.sleep(0.001)

    job = Job("Count", count)
    record = Record(job)
    with qtbot.waitSignal(job.ended, timeout=5000):
        job.start()
        started.wait()
        job.cancel()
    assert record.said == [("cancelled", None)]


def test_file_is_read_in_a_child_with_progress(qtbot: QtBot, tmp_path: Path) -> None:
    path = tmp_path / "ball.stl"
    trimesh.creation.icosphere(3).export(path)
    job = Job("Read", jobs.in_child(scan.read, path))
    told: list[str] = []
    job.progressed.connect(lambda done, doing: told.append(doing))
    ((what, value),) = run(qtbot, job).said
    assert what == "done"
    assert isinstance(value, Scan)
    assert len(value.parts[0].mesh.triangles) == 1280
    assert not value.parts[0].mesh.vertices.flags.writeable
    assert "Cleaning the mesh" in told


def test_refusal_in_a_child_comes_back_as_its_sentence(qtbot: QtBot, tmp_path: Path) -> None:
    path = tmp_path / "empty.stl"
    path.touch()
    ((what, error),) = run(qtbot, Job("Read", jobs.in_child(scan.read, path))).said
    assert what == "failed"
    assert isinstance(error, BodyFileError)
    assert "is empty" in error.message


def test_cancelling_a_child_leaves_nothing_running(qtbot: QtBot, tmp_path: Path) -> None:
    path = tmp_path / "ball.stl"
    trimesh.creation.icosphere(6).export(path)
    job = Job("Read", jobs.in_child(scan.read, path))
    record = Record(job)
    with qtbot.waitSignal(job.ended, timeout=10000):
        job.start()
        job.cancel()
    assert record.said == [("cancelled", None)]


@pytest.mark.parametrize("times", [20])
def test_closing_while_jobs_run_leaves_no_thread(qtbot: QtBot, times: int) -> None:
    for _ in range(times):
        job = Job("Wait", _wait)
        job.start()
        job.cancel()
        job.wait()
    qtbot.wait(10)


def _wait(progress: Progress) -> None:
    while True:
        progress(0.0, "Waiting")
        time.sleep(0.001)
