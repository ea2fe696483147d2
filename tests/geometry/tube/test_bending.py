import itertools
import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from geometry.layout import Die, Layout, Stock, Tube
from geometry.tube import bending
from geometry.tube.bending import BendData, BendRow

STOCK = Stock(1, "1.75 × 0.120 in", 44.45, 3.048)
TUBE = Tube(9, "T1", (), 1)

# Rows whose bends are far enough from 0 and 180 degrees for rotations to be well defined.
rows = st.builds(
    BendRow,
    st.floats(-50.0, 900.0),
    st.floats(-math.pi + 1e-6, math.pi),
    st.floats(math.radians(2.0), math.radians(170.0)),
    st.just(152.4),
)
shapes = st.tuples(st.lists(rows, min_size=1, max_size=6), st.floats(100.0, 900.0))
angles = st.floats(-3.0, 3.0)
frames = st.tuples(angles, angles, angles, st.tuples(*[st.floats(-1000.0, 1000.0)] * 3))


def data_of(shape: tuple) -> BendData:
    """Return bend data whose first rotation is 0 and whose length adds up."""
    first, *others = shape[0]
    every = (BendRow(first.straight_before + 100.0, 0.0, first.angle, first.clr), *others)
    length = sum(row.straight_before + row.clr * row.angle for row in every) + shape[1]
    return BendData(every, shape[1], length)


def walked(data: BendData, frame: tuple) -> tuple:
    """Return the nodes of bend data in some position in space."""
    a, b, c, start = frame
    along = np.array([math.cos(a) * math.cos(b), math.sin(a) * math.cos(b), math.sin(b)])
    square = np.cross(along, [0.3, -0.5, 0.8])
    assume(np.linalg.norm(square) > 0.1)
    square /= np.linalg.norm(square)
    axis = math.cos(c) * square + math.sin(c) * np.cross(along, square)
    nodes = bending.nodes_from(data, start, tuple(along), tuple(axis))
    assume(all(math.dist(p, q) > 20.0 for p, q in itertools.pairwise(nodes)))
    assume(all(leg > 0.0 for leg in legs_of(data)))
    return nodes


def legs_of(data: BendData) -> list[float]:
    """Return node to node distances, which a negative straight may leave below zero."""
    reaches = [0.0, *(bending.tangent(row.clr, row.angle) for row in data.rows), 0.0]
    straights = [*(row.straight_before for row in data.rows), data.last_straight]
    return [s + a + b for s, a, b in zip(straights, reaches, reaches[1:], strict=False)]


def assert_same(found: BendData, expected: BendData) -> None:
    assert len(found.rows) == len(expected.rows)
    for a, b in zip(found.rows, expected.rows, strict=True):
        assert a.straight_before == pytest.approx(b.straight_before, abs=1e-5)
        assert a.angle == pytest.approx(b.angle, abs=1e-8)
        assert abs(math.remainder(a.rotation - b.rotation, 2 * math.pi)) < 1e-7
        assert -math.pi < a.rotation <= math.pi
        assert a.clr == b.clr
    assert found.last_straight == pytest.approx(expected.last_straight, abs=1e-5)
    assert found.length == pytest.approx(expected.length, abs=1e-5)


@given(shapes, frames)
def test_walking_rows_and_reading_them_back_is_identity_wherever_the_tube_lies(
    shape: tuple, frame: tuple
) -> None:
    data = data_of(shape)
    assert_same(bending.bend_data(walked(data, frame), 152.4), data)


@given(shapes, frames)
def test_reversing_reverses_the_rows_with_the_same_signs(shape: tuple, frame: tuple) -> None:
    data = data_of(shape)
    assert_same(bending.bend_data(walked(data, frame)[::-1], 152.4), bending.reversed_data(data))


@given(shapes)
def test_reversing_twice_is_identity(shape: tuple) -> None:
    data = data_of(shape)
    assert bending.reversed_data(bending.reversed_data(data)) == data


@given(shapes, frames)
def test_mirroring_negates_the_rotations(shape: tuple, frame: tuple) -> None:
    data = data_of(shape)
    nodes = [(x, -y, z) for x, y, z in walked(data, frame)]
    assert_same(bending.bend_data(nodes, 152.4), bending.mirrored_data(data))


def test_a_straight_tube_has_no_rows() -> None:
    data = bending.bend_data(((0.0, 0.0, 0.0), (3.0, 4.0, 0.0)), 152.4)
    assert data == BendData((), 5.0, 5.0)
    assert bending.reversed_data(data) == bending.mirrored_data(data) == data
    assert bending.nodes_from(data, (0, 0, 0), (3, 4, 0), (0, 0, 1))[1] == pytest.approx((3, 4, 0))


def test_half_a_turn_is_positive_however_it_is_reached() -> None:
    for lift in (0.0, 1e-12, -1e-12):
        data = bending.bend_data(((0, 0, 0), (600, 0, 0), (900, 300, 0), (1500, 300, lift)), 152.4)
        assert data.rows[1].rotation == pytest.approx(math.pi)
        assert data.rows[1].rotation > 0.0
    assert bending.mirrored_data(data).rows[1].rotation > 0.0


def test_a_rotation_of_zero_has_no_sign() -> None:
    data = bending.bend_data(((0, 0, 0), (600, 0, 0), (900, 300, 0), (900, 900, 0)), 152.4)
    assert all(math.copysign(1.0, row.rotation) == 1.0 for row in bending.mirrored_data(data).rows)


def rack(*dies: Die, stock: Stock = STOCK) -> Layout:
    return Layout(stocks={1: stock}, dies={die.id: die for die in dies})


def test_the_tightest_die_that_the_stock_allows_is_taken() -> None:
    layout = rack(
        Die(2, "too tight", 44.45, 120.0), Die(3, "wide", 44.45, 177.8), Die(4, "best", 44.45, 139.7)
    )
    assert bending.die_of(layout, TUBE).name == "best"
    assert bending.clr_of(layout, TUBE) == 139.7


def test_where_all_dies_are_too_tight_the_widest_is_taken() -> None:
    layout = rack(Die(2, "a", 44.45, 100.0), Die(3, "b", 44.45, 120.0))
    assert bending.die_of(layout, TUBE).name == "b"


def test_a_die_of_another_diameter_is_never_offered() -> None:
    layout = rack(Die(2, "metric", 45.0, 135.0))
    assert bending.die_of(layout, TUBE) is None
    assert bending.clr_of(layout, TUBE) == pytest.approx(133.35)


def test_the_chosen_die_wins() -> None:
    layout = rack(Die(2, "best", 44.45, 139.7), Die(3, "wide", 44.45, 177.8))
    chosen = Tube(9, "T1", (), 1, die=3)
    assert bending.clr_of(layout, chosen) == 177.8


def test_the_least_straight_between_bends_is_twice_the_diameter_until_measured() -> None:
    assert bending.least_between(Die(2, "new", 44.45, 139.7)) == pytest.approx(88.9)
    assert bending.least_between(Die(2, "measured", 44.45, 139.7, between_straight=60.0)) == 60.0
