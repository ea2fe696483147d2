"""Tubes along the body, worked out beside the UI thread: the newest wish wins."""

import logging
import multiprocessing
import threading
from multiprocessing.connection import Connection
from typing import Any

from msgspec.structs import replace
from PySide6.QtCore import QObject, Qt, QTimer, Signal

from app import laying_process
from app.laying_process import Asked, Said
from geometry.laying.wish import Wish
from geometry.layout import Layout

LOOK_EVERY = 0.02  # s between two looks for a newer wish while one is worked out
KEPT_FOR = 60_000  # ms that an unused process keeps its index of the body
BROKE_OFF = "The tube could not be worked out. Point at other places, or set its points one by one."


class Layer(QObject):
    """Has wishes worked out by a process that starts when first needed. Whoever makes one calls stop()."""

    found = Signal(int, object)  # number of the wish, its proposals
    refused = Signal(int, str)  # why there are none, a sentence
    progressed = Signal(int, float, str)
    _said = Signal(object)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._number = 0
        self._worker: _Worker | None = None
        self._said.connect(self._on_said, Qt.ConnectionType.QueuedConnection)
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(KEPT_FOR)
        self._timer.timeout.connect(self.stop)

    def prepare(self, layout: Layout) -> None:
        """Let the process learn the body, so that the first answer comes at once."""
        self._timer.stop()
        if self._worker is None or not self._worker.is_alive:
            self._worker = _Worker(self._said.emit)
        self._worker.ask(body_of(layout), None)

    def ask(self, layout: Layout, wish: Wish) -> int:
        """Have a wish worked out in place of any other; returns the number that its answer bears."""
        self._number += 1
        self.prepare(layout)
        assert self._worker is not None
        self._worker.ask(body_of(layout), Asked(self._number, wish))
        return self._number

    def forget(self) -> None:
        """What is being worked out is wanted no more."""
        self._number += 1

    def rest(self) -> None:
        """Nothing is asked for now: after a while the process ends, as its index takes memory."""
        self._number += 1
        if self._worker is not None:
            self._timer.start()

    def stop(self) -> None:
        """End thread and process; nothing comes after it."""
        self._timer.stop()
        self._number += 1
        _known.clear()
        worker, self._worker = self._worker, None
        if worker is not None:
            worker.stop()

    def _on_said(self, said: Said) -> None:
        if said.number != self._number:
            return
        if said.kind == "found":
            self.found.emit(said.number, said.proposals)
        elif said.kind == "progress":
            self.progressed.emit(said.number, said.done, said.words)
        elif said.kind == "refused":
            self.refused.emit(said.number, said.words)
        else:
            logging.getLogger(__name__).error("A tube along the body failed:\n%s", said.words)
            self.stop()  # the next wish gets a process of its own
            self.refused.emit(said.number, BROKE_OFF)


_known: list[tuple[object, object, Layout]] = []


def body_of(layout: Layout) -> Layout:
    """Return the body alone, the same object as long as nothing of it changed."""
    if not _known or _known[0][0] is not layout.panels or _known[0][1] is not layout.bodies:
        panels = {id: replace(panel, trim=None) for id, panel in layout.panels.items() if panel.kept}
        _known[:] = [(layout.panels, layout.bodies, Layout(bodies=layout.bodies, panels=panels))]
    return _known[0][2]


class _Worker:
    """The thread that talks to the process; one wish waits at most, the newest."""

    def __init__(self, deliver: Any) -> None:
        self._deliver = deliver
        self._wanted: tuple[Layout, Asked | None] | None = None
        self._has_news = threading.Condition()
        self._is_over = False
        self._thread = threading.Thread(target=self._run, name="tubes along the body", daemon=True)
        self._thread.start()

    @property
    def is_alive(self) -> bool:
        """Whether it still takes wishes; it ends when its process does."""
        return self._thread.is_alive()

    def ask(self, body: Layout, asked: Asked | None) -> None:
        with self._has_news:
            if asked is not None or self._wanted is None:
                self._wanted = (body, asked)
            self._has_news.notify()

    def stop(self) -> None:
        with self._has_news:
            self._is_over = True
            self._has_news.notify()
        self._thread.join()

    def _next(self) -> tuple[Layout, Asked | None] | None:
        with self._has_news:
            while self._wanted is None and not self._is_over:
                self._has_news.wait()
            wanted, self._wanted = self._wanted, None
            return None if self._is_over else wanted

    def _run(self) -> None:
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe()
        child = context.Process(target=laying_process.serve, args=(theirs,), daemon=True)
        child.start()
        theirs.close()
        known: Layout | None = None
        asked: Asked | None = None
        try:
            while (wanted := self._next()) is not None:
                body, asked = wanted
                if body is not known:
                    ours.send(body)
                    known = body
                if asked is not None:
                    ours.send(asked)
                    self._pass_on(ours, asked)
        except (EOFError, OSError):
            if asked is not None:
                self._deliver(Said(asked.number, "failed", words=f"the process ended, code {child.exitcode}"))
        finally:
            child.kill()
            child.join()
            child.close()
            ours.close()

    def _pass_on(self, connection: Connection, asked: Asked) -> None:
        """Deliver what is said of a wish until it is answered or a newer one waits."""
        while self._wanted is None and not self._is_over:
            if connection.poll(LOOK_EVERY):
                said = connection.recv()
                self._deliver(said)
                if said.number == asked.number and said.kind != "progress":
                    return
