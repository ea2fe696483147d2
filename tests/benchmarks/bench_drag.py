"""The check of the tubes under the hand, in the process that checks and as the window gets it."""

import time
from collections.abc import Callable
from itertools import count
from statistics import median
from typing import Any

import numpy as np
import pytest
from pytestqt.qtbot import QtBot

from app.live_checks import LiveChecks
from geometry.checks import findings

pytestmark = pytest.mark.benchmark

MOVES, PER_SECOND = 180, 60


def test_drag_check(big_job: Any, seconds: Callable[..., float], say: Callable[[str], None]) -> None:
    index, tubes, moves = big_job.index, big_job.at_joint, count()
    before = findings.check(big_job.layout, index)

    def check() -> object:
        """Check the tubes where they have not been yet, so that no cache knows them."""
        return findings.check(big_job.dragged(3.0 + 0.01 * next(moves)), index, before, tubes)

    asked, bare = big_job.bare_queries(check)
    drag, queries = seconds(check, 25), seconds(bare, 25)
    say(
        f"drag check of {len(tubes)} tubes {1e3 * drag:.2f} ms = {drag / queries:.2f} x its {asked} bare "
        f"nearest-point queries ({1e3 * queries:.2f} ms)"
    )


def test_drag_as_the_window_sees_it(big_job: Any, qtbot: QtBot, say: Callable[[str], None]) -> None:
    checks, arrived = LiveChecks(), {}
    checks.ready.connect(lambda revision, report: arrived.setdefault(revision, time.perf_counter()))
    start = time.perf_counter()
    checks.request(0, big_job.layout)
    qtbot.waitUntil(lambda: not checks.is_busy, timeout=60_000)
    say(f"process started, body indexed, whole layout checked: {time.perf_counter() - start:.2f} s")

    asked, taken = {}, []
    layouts = [big_job.dragged(10.0 * np.sin(move / 20.0)) for move in range(1, MOVES + 1)]
    for revision, layout in enumerate(layouts, start=1):
        asked[revision] = time.perf_counter()
        checks.request(revision, layout)
        taken.append(time.perf_counter() - asked[revision])
        qtbot.wait(round(1000 / PER_SECOND))
    spent = asked[MOVES] - asked[1]
    during = len(arrived) - 1
    late = [arrived[revision] - asked[revision] for revision in asked if revision in arrived]
    qtbot.waitUntil(lambda: not checks.is_busy, timeout=60_000)
    checks.stop()
    say(
        f"dragging at {MOVES / spent:.0f} moves a second: {during / spent:.0f} reports a second, "
        f"{1e3 * median(late):.1f} ms after the move (95 of 100 within {1e3 * np.quantile(late, 0.95):.1f} "
        f"ms); the UI thread spends {1e3 * median(taken):.2f} ms on a request, "
        f"{1e3 * max(taken):.2f} ms at most"
    )
