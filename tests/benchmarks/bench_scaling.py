"""How the checks grow with the body and with the cage, and what memory the distance indexes take.

OUTRIB_BENCH_FULL=1 goes up to five million triangles and 500 tubes; without it the run is short.

On two cores shared with other work: from 10 thousand to five million triangles a whole check of 60 tubes
grows from 21 to 173 ms, a drag stays at 3 to 6 ms and the index takes 1.2 to 1.4 times the bare trees; from
10 to 500 tubes a whole check grows from 18 to 346 ms, a drag from 3.6 to 4.6 ms. At five million triangles
the index takes 1.1 GB in a fresh process, 0.96 of them libigl's nodes. Asking what a body wraps adds 0.13.
"""

import gc
import os
import resource
import time
from collections.abc import Callable
from itertools import count
from statistics import median
from typing import Any

import numpy as np
import pytest
from msgspec.structs import replace
from PySide6.QtCore import QCoreApplication, QTimer
from pytestqt.qtbot import QtBot

from app.live_checks import LiveChecks
from geometry.body import distance
from geometry.checks import findings
from geometry.layout import Layout

pytestmark = pytest.mark.benchmark

FULL = os.environ.get("OUTRIB_BENCH_FULL") == "1"
TRIANGLES = (10_000, 100_000, 1_000_000, 5_000_000) if FULL else (10_000, 100_000)
TUBES = (10, 60, 200, 500) if FULL else (10, 60)
MOVES = 200 if FULL else 40


def timed(work: Callable[[], object], times: int = 5) -> float:
    spent = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        spent.append(time.perf_counter() - start)
    return median(spent)


def resident() -> float:
    """Return the resident memory of this process in MB."""
    with open("/proc/self/statm", encoding="ascii") as pages:
        return int(pages.read().split()[1]) * resource.getpagesize() / 1e6


@pytest.mark.parametrize("triangles", TRIANGLES)
def test_the_body_grows(scene: Callable[..., Any], triangles: int, say: Callable[[str], None]) -> None:
    job = scene(triangles=triangles)
    mesh = sum(
        panel.mesh.vertices.nbytes + panel.mesh.triangles.nbytes for panel in job.layout.panels.values()
    )
    gc.collect()
    before = resident()
    start = time.perf_counter()
    index = distance.build(job.layout)
    built = time.perf_counter() - start
    grown = resident() - before
    trees = _bare_trees(job.layout)
    say(
        f"{triangles:>9} triangles: index {built:.2f} s = {built / trees:.2f} x the bare trees; "
        f"{grown:.0f} MB above a mesh of {mesh / 1e6:.0f} MB"
    )
    _say_checks(job, index, say, f"{triangles:>9} triangles")


@pytest.mark.parametrize("tubes", TUBES)
def test_the_cage_grows(scene: Callable[..., Any], tubes: int, say: Callable[[str], None]) -> None:
    job = scene(tubes=tubes)
    _say_checks(job, distance.build(job.layout), say, f"{len(job.layout.tubes):>4} tubes")


def test_a_drag_through_the_process(
    scene: Callable[..., Any], qtbot: QtBot, say: Callable[[str], None]
) -> None:
    """One node of a three-tube joint: from the move to the report, and what the UI thread notices."""
    job = scene()
    checks, arrived = LiveChecks(), {}
    ticks: list[float] = []
    checks.ready.connect(lambda revision, report: arrived.setdefault(revision, time.perf_counter()))
    checks.request(0, job.layout)
    qtbot.waitUntil(lambda: not checks.is_busy, timeout=120_000)
    timer = QTimer()
    timer.timeout.connect(lambda: ticks.append(time.perf_counter()))
    timer.start(0)
    asked: dict[int, float] = {}
    late = []
    for revision in range(1, MOVES + 1):
        layout = job.dragged(10.0 * np.sin(revision / 20.0))
        asked[revision] = time.perf_counter()
        checks.request(revision, layout)
        while revision not in arrived:  # waitUntil looks every 10 ms only
            QCoreApplication.processEvents()
            time.sleep(0.0002)
        late.append(arrived[revision] - asked[revision])
        qtbot.wait(8)
    timer.stop()
    qtbot.waitUntil(lambda: not checks.is_busy, timeout=60_000)
    checks.stop()
    steps = np.diff(ticks)
    say(
        f"drag of {len(job.at_joint)} tubes, move to report: {1e3 * median(late):.1f} ms, 95 of 100 within "
        f"{1e3 * np.quantile(late, 0.95):.1f} ms; longest tick of the UI thread {1e3 * steps.max():.1f} ms"
    )


def _bare_trees(layout: Layout) -> float:
    import igl

    def build() -> None:
        for panel in layout.panels.values():
            vertices = np.ascontiguousarray(panel.mesh.vertices)
            igl.AABB().init(vertices, np.asarray(panel.mesh.triangles, dtype=np.int64))

    return timed(build, 1)


def _say_checks(job: Any, index: distance.BodyIndex, say: Callable[[str], None], what: str) -> None:
    layout, moves = job.layout, count(1)
    whole = timed(lambda: findings.check(layout, index), 3)
    _, bare = job.bare_queries(lambda: findings.check(layout, index))
    floor = timed(bare, 3)
    report = findings.check(layout, index)
    one = min(layout.tubes)

    def one_changed() -> Layout:
        node = layout.nodes[layout.tubes[one].nodes[0]]
        x, y, z = node.position
        moved = replace(node, position=(x, y, z + 0.01 * next(moves)))
        return replace(layout, nodes={**layout.nodes, node.id: moved})

    changed = timed(lambda: findings.check(one_changed(), index, report), 9)
    still = timed(lambda: findings.check(layout, index, report), 9)
    drag = [
        timed(lambda: findings.check(_dragged(job, moves), index, report, job.at_joint), 1)
        for _ in range(MOVES)
    ]
    later = timed(lambda: findings.completed(layout, index, {}, report, lambda: True), 3)
    say(
        f"{what}: whole check {1e3 * whole:.1f} ms = {whole / floor:.2f} x its bare queries; one tube "
        f"changed {1e3 * changed:.1f} ms; nothing {1e3 * still:.2f} ms; drag {1e3 * median(drag):.1f} ms, "
        f"95 of 100 within {1e3 * np.quantile(drag, 0.95):.1f} ms; what follows {1e3 * later:.0f} ms"
    )


def _dragged(job: Any, moves: Any) -> Layout:
    return job.dragged(3.0 + 0.01 * next(moves))  # type: ignore[no-any-return]
