"""A panel is cut where the gap is the margin, on lines that can be followed, and nothing is lost."""

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geometry.body import trim
from geometry.vectors import Floats

RADIUS, MARGIN = 300.0, 25.0
SQUARE = np.array([(-800.0, -800.0, 0.0), (800.0, -800.0, 0.0), (800.0, 800.0, 0.0), (-800.0, 800.0, 0.0)])
TWO = np.array([(0, 1, 2), (0, 2, 3)])


def ball(centre: tuple[float, float, float] = (0.0, 0.0, 0.0), radius: float = RADIUS) -> trim.GapOf:
    return lambda points: np.linalg.norm(points - np.array(centre), axis=1) - radius


def grid(height: Any = 0.0, count: int = 40, half: float = 800.0) -> tuple[Floats, np.ndarray]:
    x, y = np.meshgrid(np.linspace(-half, half, count), np.linspace(-half, half, count))
    z = height(x, y) if callable(height) else np.full_like(x, height)
    number = np.arange(count * count).reshape(count, count)
    a, b, c, d = (
        part.ravel() for part in (number[:-1, :-1], number[:-1, 1:], number[1:, 1:], number[1:, :-1])
    )
    return np.stack([x, y, z], axis=-1).reshape(-1, 3), np.concatenate(
        [np.stack([a, b, c], 1), np.stack([a, c, d], 1)]
    )


@pytest.mark.parametrize("mesh", [(SQUARE, TWO), grid(), grid(count=300)], ids=["two", "coarse", "fine"])
def test_a_flat_panel_is_cut_on_the_circle_that_arithmetic_says(mesh: tuple[Floats, np.ndarray]) -> None:
    made = trim.cut(*mesh, ball(), MARGIN)
    (line,) = made.lines
    assert np.linalg.norm(line, axis=1) == pytest.approx(RADIUS + MARGIN, abs=0.1)
    assert np.array_equal(line[0], line[-1])
    length = np.linalg.norm(np.diff(line, axis=0), axis=1).sum()
    assert length == pytest.approx(2.0 * math.pi * (RADIUS + MARGIN), rel=1e-3)
    assert made.offcut.area == pytest.approx(math.pi * (RADIUS + MARGIN) ** 2, rel=1e-3)
    assert made.rest.area + made.offcut.area == pytest.approx(1600.0**2)


def test_a_ball_above_the_panel_cuts_a_smaller_circle_and_one_at_the_rim_an_open_line() -> None:
    above = trim.cut(SQUARE, TWO, ball((0.0, 0.0, 100.0)), MARGIN)
    assert np.linalg.norm(above.lines[0][:, :2], axis=1) == pytest.approx(
        math.sqrt(325.0**2 - 100.0**2), abs=0.1
    )
    (line,) = trim.cut(SQUARE, TWO, ball((800.0, 0.0, 0.0)), MARGIN).lines
    assert sorted((line[0][1], line[-1][1])) == pytest.approx([-325.0, 325.0], abs=0.1)
    assert line[[0, -1], 0] == pytest.approx(800.0)
    # In order: each step goes on.
    assert np.linalg.norm(np.diff(line, axis=0), axis=1).max() < 2.0 * trim.FINEST


def test_what_is_not_reached_stays_whole_and_what_is_swallowed_goes() -> None:
    far = trim.cut(SQUARE, TWO, ball((0.0, 0.0, 1000.0)), MARGIN)
    assert far.lines == ()
    assert far.rest.area == pytest.approx(1600.0**2)
    assert far.offcut.area == 0.0
    gone = trim.cut(SQUARE, TWO, ball(radius=5000.0), MARGIN)
    assert gone.rest.area == 0.0
    assert len(gone.rest.triangles) == 0


def test_crumbs_are_dropped() -> None:
    # Only a corner with legs of 20 mm would be left.
    made = trim.cut(SQUARE, TWO, lambda p: (p[:, 0] + p[:, 1] - 1580.0) / math.sqrt(2.0), 0.0)
    assert made.rest.area == 0.0
    assert made.offcut.area == pytest.approx(1600.0**2 - 200.0)


def square(x: float, size: float, number: int) -> tuple[list[tuple[float, float, float]], list[list[int]]]:
    corners = [(x, 0.0, 0.0), (x + size, 0.0, 0.0), (x + size, size, 0.0), (x, size, 0.0)]
    return corners, [[number, number + 1, number + 2], [number, number + 2, number + 3]]


def test_loose_pieces_that_the_cut_does_not_touch_stay_whatever_their_size() -> None:
    near, far = square(-50.0, 100.0, 0), square(2000.0, 15.0, 4)
    points, triangles = np.array(near[0] + far[0]), np.array(near[1] + far[1])
    made = trim.cut(points, triangles, ball(), MARGIN)
    assert made.rest.area == pytest.approx(15.0**2)
    assert made.offcut.area == pytest.approx(100.0**2)
    assert made.lines == ()


def test_facets_that_share_no_points_are_one_sheet() -> None:
    points, triangles = grid()
    loose = trim.cut(
        points[triangles].reshape(-1, 3), np.arange(3 * len(triangles)).reshape(-1, 3), ball(), MARGIN
    )
    joined = trim.cut(points, triangles, ball(), MARGIN)
    assert loose.rest.area == pytest.approx(joined.rest.area)
    assert len(loose.lines) == 1


def test_a_small_bite_keeps_its_line_and_a_small_island_falls_out_with_its() -> None:
    bite = trim.cut(SQUARE, TWO, ball(radius=10.0), 0.0)
    assert len(bite.lines) == 1
    assert bite.offcut.area == pytest.approx(math.pi * 100.0, rel=0.02)

    def ring(points: Floats) -> Floats:
        """A ring of 100 mm about the middle, 40 wide: inside it an island of 30 mm radius, or of 100."""
        return np.abs(np.linalg.norm(points, axis=1) - middle) - 20.0

    middle = 50.0
    (outer,) = trim.cut(SQUARE, TWO, ring, 0.0).lines
    assert np.linalg.norm(outer, axis=1) == pytest.approx(70.0, abs=0.1)
    assert trim.cut(SQUARE, TWO, ring, 0.0).islands == 1
    middle = 120.0
    two = trim.cut(SQUARE, TWO, ring, 0.0)
    assert len(two.lines) == 2
    assert (two.islands, two.parts) == (0, 2)


def test_a_panel_that_is_cut_through_falls_into_two_parts() -> None:
    made = trim.cut(SQUARE, TWO, lambda p: np.abs(p[:, 0]) - 100.0, MARGIN)
    assert made.parts == 2
    assert trim.cut(SQUARE, TWO, ball(), MARGIN).parts == 1


@pytest.mark.parametrize("spoilt", ["doubled", "sliver", "fin"])
def test_meshes_that_are_not_clean_are_cut_on_the_same_line(spoilt: str) -> None:
    points, triangles = grid()
    if spoilt == "doubled":
        triangles = np.concatenate([triangles, triangles])
    if spoilt == "sliver":
        triangles = np.concatenate([triangles, [[800, 800, 801]]])
    if spoilt == "fin":  # three triangles on one edge
        points = np.concatenate([points, [(0.0, 0.0, 200.0)]])
        triangles = np.concatenate([triangles, [[800, 801, 1600]]])
    made = trim.cut(points, triangles, ball(), MARGIN)
    assert made.lines
    for line in made.lines:
        assert np.linalg.norm(line, axis=1) == pytest.approx(RADIUS + MARGIN, abs=0.1)


def rim(triangles: np.ndarray) -> set[tuple[int, int]]:
    edges = np.sort(triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    pairs, uses = np.unique(edges, axis=0, return_counts=True)
    return {(int(a), int(b)) for a, b in pairs[uses == 1]}


@settings(max_examples=25, deadline=None)
@given(
    st.integers(0, 10_000),
    st.tuples(st.floats(-700, 700), st.floats(-700, 700), st.floats(-200, 200)),
    st.floats(60, 500),
)
def test_bumpy_panels_lose_what_is_too_near_and_nothing_else(
    seed: int, centre: tuple[float, float, float], radius: float
) -> None:
    bumps = np.random.default_rng(seed).uniform(-1.0, 1.0, 6)

    def height(x: Floats, y: Floats) -> Floats:
        return 90.0 * (bumps[0] * np.sin(x / 250.0 + bumps[1]) + bumps[2] * np.cos(y / 190.0 + bumps[3]))

    points, triangles = grid(height, count=12)
    gap_of = ball(centre, radius)
    made = trim.cut(points, triangles, gap_of, MARGIN)
    whole = trim.areas(points, triangles).sum()
    lost = whole - made.rest.area - made.offcut.area
    assert -1.0 < lost < trim.ISLAND  # what fell out with the cut
    if len(made.rest.points):
        assert gap_of(made.rest.points).min() > MARGIN - 0.1
    if len(made.offcut.points):
        assert gap_of(made.offcut.points).max() < MARGIN + 0.1
    for line in made.lines:
        assert gap_of(line) == pytest.approx(MARGIN, abs=0.1)
    # Neighbours stay joined: all rims of the rest lie on the old rim or on the cut.
    square = np.abs(made.rest.points[:, :2]).max(axis=1) > 800.0 - 1e-6 if len(made.rest.points) else []
    on_cut = np.abs(gap_of(made.rest.points) - MARGIN) < 0.1 if len(made.rest.points) else []
    for a, b in rim(made.rest.triangles):
        assert (square[a] and square[b]) or (on_cut[a] and on_cut[b])
