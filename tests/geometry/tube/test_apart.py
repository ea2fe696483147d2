"""How far apart centrelines come, against a search that knows nothing of cells or closed forms."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from geometry.tolerances import SAME_POINT
from geometry.tube import apart, centreline
from geometry.tube.centreline import Centreline
from geometry.vectors import Floats, vec


def some_line(random: np.random.Generator, corners: int) -> Centreline:
    points = random.uniform(-600.0, 600.0, (corners + 2, 3))
    return centreline.build([vec(point) for point in points], float(random.uniform(40.0, 200.0)))


def brute(first: Centreline, second: Centreline) -> float:
    """Compare points 4 mm apart, then again round the best hundred with ever smaller steps."""
    s, t = (np.linspace(0.0, line.length, math.ceil(line.length / 4.0) + 1) for line in (first, second))
    gaps = np.linalg.norm(
        centreline.point_at(first, s)[:, None] - centreline.point_at(second, t)[None], axis=2
    )
    best = math.inf
    for place in np.argsort(gaps, axis=None)[:100]:
        i, j = np.unravel_index(place, gaps.shape)
        here, there, step = s[i], t[j], 4.0
        for _ in range(14):
            near = np.clip(here + step * np.linspace(-1.0, 1.0, 9), 0.0, first.length)
            far = np.clip(there + step * np.linspace(-1.0, 1.0, 9), 0.0, second.length)
            block = np.linalg.norm(
                centreline.point_at(first, near)[:, None] - centreline.point_at(second, far)[None], axis=2
            )
            a, b = np.unravel_index(np.argmin(block), block.shape)
            here, there, step = near[a], far[b], step * 0.5
            best = min(best, float(block[a, b]))
    return best


@pytest.mark.parametrize("seed", range(40))
def test_brute_force_finds_the_same_distance(seed: int) -> None:
    random = np.random.default_rng(seed)
    first, second = (some_line(random, int(random.integers(0, 4))) for _ in range(2))
    found = apart.between(first, second)
    assert found.distance == pytest.approx(brute(first, second), abs=SAME_POINT)


def at(line: Centreline, station: float) -> Floats:
    return centreline.point_at(line, [station])[0]


UP = np.array([0.0, 0.0, 1.0])
SEEDS = st.integers(0, 100_000)


@settings(deadline=None, max_examples=60)
@given(SEEDS)
def test_stations_and_points_belong_to_the_distance(seed: int) -> None:
    random = np.random.default_rng(seed)
    first, second = some_line(random, 2), some_line(random, 3)
    found = apart.between(first, second)
    assert found.points[0] == pytest.approx(at(first, found.stations[0]), abs=1e-6)
    assert found.points[1] == pytest.approx(at(second, found.stations[1]), abs=1e-6)
    assert math.dist(*found.points) == pytest.approx(found.distance, abs=1e-9)


@settings(deadline=None, max_examples=60)
@given(SEEDS)
def test_the_order_of_the_two_makes_no_difference(seed: int) -> None:
    random = np.random.default_rng(seed)
    first, second = some_line(random, 2), some_line(random, 2)
    there, back = apart.between(first, second), apart.between(second, first)
    assert there.distance == pytest.approx(back.distance, abs=SAME_POINT)


@settings(deadline=None, max_examples=60)
@given(SEEDS)
def test_a_rigid_motion_keeps_the_distance(seed: int) -> None:
    random = np.random.default_rng(seed)
    turn, shift = Rotation.random(random_state=seed), random.uniform(-500.0, 500.0, 3)
    lines = [some_line(random, 2) for _ in range(2)]
    moved = [
        centreline.build([vec(turn.apply(point) + shift) for point in line.points], line.bends[0].radius)
        for line in lines
    ]
    assert apart.between(*moved).distance == pytest.approx(apart.between(*lines).distance, abs=SAME_POINT)


def test_many_pairs_at_once_are_each_as_alone() -> None:
    random = np.random.default_rng(7)
    lines = [some_line(random, 2) for _ in range(8)]
    pairs = [(one, other) for i, one in enumerate(lines) for other in lines[i + 1 :]]
    together = apart.closest(pairs, np.full(len(pairs), 150.0))
    for (one, other), row in zip(pairs, together, strict=True):
        alone = apart.between(one, other)
        if row is None:
            assert alone.distance >= 150.0 - SAME_POINT
        else:
            assert row.distance == pytest.approx(alone.distance, abs=SAME_POINT)


def test_a_line_through_an_arc_touches_it() -> None:
    bent = centreline.build([(-500.0, 0.0, 0.0), (0.0, 0.0, 0.0), (0.0, 500.0, 0.0)], 150.0)
    place = at(bent, (bent.bends[0].start + bent.bends[0].end) / 2.0)
    through = centreline.build([vec(place - 300.0 * UP), vec(place + 200.0 * UP)], 150.0)
    assert apart.between(bent, through).distance == pytest.approx(0.0, abs=SAME_POINT)
