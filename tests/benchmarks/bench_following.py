"""Tubes along a scanned body of a million triangles, from a few places pointed at."""

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from geometry.laying import following
from geometry.laying.wish import Place, Wish, recommended
from geometry.vectors import vec

pytestmark = pytest.mark.benchmark

# Where along the body, and how far round it, an eye looks at the metal from.
WAYS = {
    "sill": [(-2600.0, 0.3), (600.0, 0.3)],
    "roof rail": [(-2300.0, 1.0), (-800.0, 1.0), (400.0, 1.0)],
    "half a hoop": [(-1000.0, 0.15), (-1000.0, math.pi / 2.0)],
    "hoop": [(-1000.0, 0.15), (-1000.0, math.pi / 2.0), (-1000.0, math.pi - 0.15)],
}


@pytest.mark.parametrize("angles", [None, math.radians(5.0)], ids=["any angles", "steps of 5 degrees"])
@pytest.mark.parametrize("way", WAYS)
def test_tube_along_places(
    big_job: Any,
    seconds: Callable[..., float],
    say: Callable[[str], None],
    way: str,
    angles: float | None,
) -> None:
    index = big_job.index
    wish = Wish(
        tuple(_looked_at(index, x, turn) for x, turn in WAYS[way]),
        od=44.45,
        clr=152.4,
        between_straight=88.9,
        largest_angle=math.radians(120.0),
        closest=15.0,
        wanted=30.0,
        farthest=40.0,
        angles=angles,
    )
    found = following.propose(index, wish)
    best = recommended(found)

    def propose() -> object:
        return following.propose(index, wish)

    asked, bare = big_job.bare_queries(propose)
    spent, queries = seconds(propose, 3), seconds(bare, 3)
    bends = ", ".join(f"{tube.bends}{'*' if tube is best else ''}: {tube.excess:.2f}" for tube in found)
    say(
        f"{way}, {'any angles' if angles is None else 'steps of 5 degrees'}: {spent:.2f} s = "
        f"{spent / queries:.1f} x its {asked} bare nearest-point queries ({queries:.2f} s); "
        f"bends: mm over the stand-off wanted {bends}; {'fits' if best.fits else 'does not fit'}"
    )


def _looked_at(index: Any, x: float, turn: float) -> Place:
    """Return the metal nearest to an eye well outside of the body."""
    eye = np.array([[x, 1200.0 * math.cos(turn), 900.0 + 1000.0 * math.sin(turn)]])
    answers = [panel.closest(eye) for panel in index.values()]
    _, _, point = min(answers, key=lambda answer: float(answer[0][0]))
    away = eye[0] - point[0]
    return Place(vec(point[0]), vec(away / np.linalg.norm(away)))
