import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geometry import edits
from geometry.arranging import rounding
from geometry.errors import GeometryError
from geometry.layout import Landing, Layout
from geometry.tube import centreline
from geometry.tube.stock import starting_rack

STOCKS, DIES, NEXT_ID = starting_rack(1)
STOCK = next(iter(STOCKS))
EMPTY = Layout(stocks=STOCKS, dies=DIES, next_id=NEXT_ID)
FIVE = math.radians(5.0)
OFF = st.floats(-60.0, 60.0)


@st.composite
def hoops(draw: st.DrawFn) -> tuple[Layout, int]:
    """A hoop of two to four bends, each corner a little off."""
    points = [
        (0, 700, 0),
        (0, 680, 1000),
        (-300, 500, 1400),
        (-300, -500, 1400),
        (0, -680, 1000),
        (0, -700, 0),
    ]
    skipped = draw(st.sets(st.integers(1, 4), max_size=2))
    kept = [point for i, point in enumerate(points) if i not in skipped]
    return edits.add_tube(EMPTY, [tuple(c + draw(OFF) for c in point) for point in kept], STOCK)


def angles(layout: Layout, tube: int) -> np.ndarray:
    return np.array([bend.angle for bend in centreline.of(layout, layout.tubes[tube]).bends])


def places(layout: Layout, tube: int) -> np.ndarray:
    return np.array([layout.nodes[id].position for id in layout.tubes[tube].nodes])


@settings(deadline=None, max_examples=60)
@given(hoops(), st.sampled_from((1.0, 2.5, 5.0)))
def test_rounded_bends_are_multiples_and_the_ends_stay(made: tuple[Layout, int], degrees: float) -> None:
    layout, tube = made
    step = math.radians(degrees)
    after = rounding.round_angles(layout, tube, step)
    parts = angles(after, tube) / step
    assert parts == pytest.approx(np.round(parts), abs=1e-6)
    assert parts.min() > 0.5
    assert np.array_equal(places(after, tube)[[0, -1]], places(layout, tube)[[0, -1]])


@settings(deadline=None, max_examples=30)
@given(hoops(), st.integers(0, 2**31))
def test_no_small_turn_of_a_corner_moves_less(made: tuple[Layout, int], seed: int) -> None:
    """At the least movement, no direction that keeps the angles leads nearer to the start."""
    layout, tube = made
    after = places(rounding.round_angles(layout, tube, FIVE), tube)
    start = places(layout, tube)
    _, slopes = rounding._angles(after)
    free = np.random.default_rng(seed).normal(size=slopes.shape[1])
    free -= np.linalg.pinv(slopes) @ (slopes @ free)
    pull = (start - after)[1:-1].ravel()
    if np.linalg.norm(free) > 1e-6:
        assert abs(pull @ free) / np.linalg.norm(free) < 0.02 * max(1.0, float(np.linalg.norm(pull)))


def test_round_bends_stay_the_same_layout() -> None:
    layout, tube = edits.add_tube(EMPTY, [(0, 0, 0), (0, 0, 1000), (-1000, 0, 1000)], STOCK)
    assert rounding.round_angles(layout, tube, FIVE) is layout


def test_a_flat_tube_stays_flat() -> None:
    layout, tube = edits.add_tube(EMPTY, [(0, 0, 0), (50, 0, 1000), (-700, 0, 1330), (-1500, 0, 1300)], STOCK)
    after = rounding.round_angles(layout, tube, FIVE)
    assert after is not layout
    assert places(after, tube)[:, 1] == pytest.approx(0.0, abs=1e-9)


def test_a_joint_on_a_straight_stays_on_it() -> None:
    layout, tube = edits.add_tube(EMPTY, [(0, 0, 0), (0, 0, 500), (0, 0, 1000), (-700, 0, 1330)], STOCK)
    joint = layout.tubes[tube].nodes[1]
    layout, _ = edits.add_tube(layout, [joint, (0.0, 800.0, 500.0)], STOCK)
    after = rounding.round_angles(layout, tube, FIVE)
    assert len(angles(after, tube)) == 1
    assert angles(after, tube)[0] / FIVE == pytest.approx(round(angles(after, tube)[0] / FIVE), abs=1e-6)


def test_what_sits_on_a_rounded_tube_stays_on_it() -> None:
    layout, tube = edits.add_tube(EMPTY, [(0, 0, 0), (0, 0, 1000), (-700, 0, 1330)], STOCK)
    layout, branch = edits.add_tube(layout, [Landing(tube, 400.0), (0.0, 800.0, 400.0)], STOCK)
    after = rounding.round_angles(layout, tube, FIVE)
    seat = after.nodes[after.tubes[branch].nodes[0]]
    place = centreline.place_at(centreline.of(after, after.tubes[tube]), seat.landing.station)
    assert place == pytest.approx(seat.position)


def test_a_corner_that_sits_on_a_tube_is_not_torn_off() -> None:
    layout, host = edits.add_tube(EMPTY, [(0, -500, 1000), (0, 500, 1000)], STOCK)
    layout, tube = edits.add_tube(layout, [(0, 0, 0), Landing(host, 500.0), (-700, 0, 1330)], STOCK)
    with pytest.raises(GeometryError, match="free it first"):
        rounding.round_angles(layout, tube, FIVE)


def test_steps_that_make_no_sense_are_refused() -> None:
    layout, tube = edits.add_tube(EMPTY, [(0, 0, 0), (0, 0, 1000), (-700, 0, 1330)], STOCK)
    for step in (0.0, -1.0, 4.0, math.nan):
        with pytest.raises(GeometryError, match="between 0° and 90°"):
            rounding.round_angles(layout, tube, step)


def test_bends_that_cannot_be_round_are_said_so() -> None:
    """Two short legs between far ends cannot turn by 60 degrees."""
    layout, tube = edits.add_tube(EMPTY, [(0, 0, 0), (0, 0, 1000), (-10, 0, 2000)], STOCK)
    with pytest.raises(GeometryError, match="with its ends"):
        rounding.round_angles(layout, tube, math.radians(90.0))
