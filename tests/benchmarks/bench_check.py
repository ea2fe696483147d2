"""The check of a whole cage, as a ratio to the bare nearest-point queries that it needs."""

from collections.abc import Callable
from itertools import count as count_from
from typing import Any

import numpy as np
import pytest

from geometry.body import distance
from geometry.checks import findings

pytestmark = pytest.mark.benchmark


def test_whole_check(big_job: Any, seconds: Callable[..., float], say: Callable[[str], None]) -> None:
    layout, index = big_job.layout, big_job.index
    triangles = sum(len(panel.mesh.triangles) for panel in layout.panels.values())
    say(f"{len(layout.tubes)} tubes, {triangles} triangles in {len(layout.panels)} panels")

    report = findings.check(layout, index)
    count, bare = big_job.bare_queries(lambda: findings.check(layout, index))
    whole, queries = seconds(lambda: findings.check(layout, index)), seconds(bare)
    say(
        f"whole check {1e3 * whole:.1f} ms = {whole / queries:.2f} x its {count} bare nearest-point "
        f"queries ({1e3 * queries:.1f} ms); {len(report.clearances)} clearances"
    )

    moves = count_from(1)

    def fresh() -> object:
        """Check with every tube where it has not been yet, so that no cache knows it."""
        return findings.check(big_job.moved(0.01 * next(moves)), index)

    anew = seconds(fresh)
    say(f"every tube moved {1e3 * anew:.1f} ms = {anew / queries:.2f} x")

    again = seconds(lambda: findings.check(layout, index, report))
    say(f"nothing changed {1e3 * again:.2f} ms = {again / queries:.4f} x")


def test_index(big_job: Any, seconds: Callable[..., float], say: Callable[[str], None]) -> None:
    import igl

    layout = big_job.layout

    def bare() -> None:
        for panel in big_job.index.values():
            igl.AABB().init(panel.vertices, panel.triangles.astype(np.int64))

    built, trees = seconds(lambda: distance.build(layout), 3), seconds(bare, 3)
    say(f"index of the body {built:.2f} s = {built / trees:.2f} x its bare trees ({trees:.2f} s)")
