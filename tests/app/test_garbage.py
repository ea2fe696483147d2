"""Garbage is collected in the UI thread, between events."""

import gc
import threading
import weakref
from collections.abc import Iterator

import pytest
from pytestqt.qtbot import QtBot

from app.garbage import TidyGarbage


class Knot:
    """Garbage that only the collector finds."""

    def __init__(self) -> None:
        self.me = self


@pytest.fixture
def tidy(qapp: object) -> Iterator[TidyGarbage]:
    tidy = TidyGarbage()
    yield tidy
    tidy.stop()


def test_no_worker_collects(tidy: TidyGarbage) -> None:
    knot = weakref.ref(Knot())
    heaps: list[list[object]] = []
    worker = threading.Thread(target=lambda: heaps.extend([[]] for _ in range(20_000)))
    worker.start()
    worker.join()
    assert knot() is not None


def test_the_event_loop_collects(tidy: TidyGarbage, qtbot: QtBot) -> None:
    knot = weakref.ref(Knot())
    heaps = [[] for _ in range(20_000)]
    qtbot.waitUntil(lambda: knot() is None, timeout=3000)
    assert len(heaps) == 20_000


def test_python_collects_again_afterwards(qapp: object) -> None:
    gc.enable()
    TidyGarbage().stop()
    assert gc.isenabled()
    assert gc.get_freeze_count() == 0
