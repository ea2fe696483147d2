"""Long work with progress and cancel, beside the UI thread.

Work that holds the interpreter (reading a mesh, building a tree) runs in a child process:
`Job("Reading van.stl", in_child(scan.read, path))`.
"""

import threading
from collections.abc import Callable
from typing import Any

from PySide6.QtCore import QObject, Qt, QThread, Signal

from app.child import in_child
from geometry.progress import Cancelled, Progress

__all__ = ["Job", "Work", "in_child"]

Work = Callable[[Progress], Any]


class Job(QObject):
    """Runs work(progress) in a thread; exactly one of done, failed and cancelled follows.

    Work takes values and returns a value; it never touches a widget, the session or an actor.
    """

    progressed = Signal(float, str)
    done = Signal(object)
    failed = Signal(object)  # the exception
    cancelled = Signal()
    ended = Signal()  # after one of the three above
    _returned = Signal(object, object)  # value, exception

    def __init__(self, title: str, work: Work, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.title = title
        self._work = work
        self._cancel = threading.Event()
        self._thread = _WorkThread(self._run)
        self._returned.connect(self._on_returned, Qt.ConnectionType.QueuedConnection)

    def start(self) -> None:
        self._thread.start()

    def cancel(self) -> None:
        """Ask the work to stop at its next report of progress."""
        self._cancel.set()

    def wait(self) -> None:
        """Block until the thread has ended; for closing the window."""
        self._thread.wait()

    def _progress(self, done: float, doing: str) -> None:
        if self._cancel.is_set():
            raise Cancelled
        self.progressed.emit(done, doing)

    def _run(self) -> None:
        try:
            value = self._work(self._progress)
        except BaseException as error:
            self._returned.emit(None, error)
        else:
            self._returned.emit(value, None)

    def _on_returned(self, value: Any, error: BaseException | None) -> None:
        self._thread.wait()
        if isinstance(error, Cancelled) or self._cancel.is_set():
            self.cancelled.emit()
        elif error is not None:
            self.failed.emit(error)
        else:
            self.done.emit(value)
        self.ended.emit()


class _WorkThread(QThread):
    def __init__(self, run: Callable[[], None]) -> None:
        super().__init__()
        self._run_work = run

    def run(self) -> None:
        self._run_work()
