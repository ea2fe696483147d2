"""Where a tube is best split and sleeved."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from geometry import edits
from geometry.layout import Die, Landing, Layout, Node, Stock, Tube
from geometry.tube import bending, centreline, feeding, splitting
from geometry.vectors import Vec3

OD, CLR = 40.0, 150.0
RIGHT_ANGLE = math.pi / 2.0
ARC = CLR * RIGHT_ANGLE
DIE = Die(11, "150 former", OD, CLR, first_straight=200.0, between_straight=90.0, tail=300.0)
CLEAR = 1.5 * OD + splitting.WELD_ROOM


def job(points: list[Vec3], stick: float) -> Layout:
    nodes = {number: Node(number, tuple(map(float, point))) for number, point in enumerate(points, start=1)}
    return Layout(
        next_id=100,
        nodes=nodes,
        tubes={20: Tube(20, "T1", tuple(nodes), 10)},
        stocks={10: Stock(10, "40 x 2", OD, 2.0, stick=stick)},
        dies={11: DIE},
    )


def run(straights: list[float], angles: list[float]) -> list[Vec3]:
    rows = [
        bending.BendRow(straight, 0.5, angle, CLR) for straight, angle in zip(straights, angles, strict=False)
    ]
    data = bending.BendData(tuple(rows), straights[-1], 0.0)
    return list(bending.nodes_from(data, (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)))


def place(layout: Layout) -> float | None:
    return splitting.place(layout, layout.tubes[20])


def test_a_straight_tube_is_split_in_its_middle() -> None:
    assert place(job([(0, 0, 0), (4000, 0, 0)], 3000.0)) == pytest.approx(2000.0)


def test_the_longest_straight_is_split_where_it_has_most_room() -> None:
    layout = job(run([500.0, 1600.0, 700.0], [RIGHT_ANGLE, RIGHT_ANGLE]), 2600.0)
    assert place(layout) == pytest.approx(500.0 + ARC + 800.0)


def test_of_two_alike_the_one_nearer_the_middle_is_taken() -> None:
    layout = job(run([1000.0, 1000.0, 1000.0, 400.0], [RIGHT_ANGLE] * 3), 3000.0)
    assert place(layout) == pytest.approx(1000.0 + ARC + 500.0)


def test_a_part_longer_than_a_stick_moves_the_split_off_the_middle_of_its_straight() -> None:
    layout = job([(0, 0, 0), (4000, 0, 0)], 2050.0)
    assert place(layout) == pytest.approx(2000.0)
    assert place(job([(0, 0, 0), (4000, 0, 0)], 2049.0)) is None


def test_a_landing_of_another_tube_is_kept_clear_of() -> None:
    layout = job([(0, 0, 0), (4000, 0, 0)], 3500.0)
    layout, _ = edits.add_tube(layout, [Landing(20, 2000.0), (2000.0, 500.0, 0.0)], 10)
    station = place(layout)
    assert station is not None
    assert abs(station - 2000.0) >= OD / 2.0 + CLEAR
    # Half way between the landing and an end of the tube.
    assert min(station, 4000.0 - station) == pytest.approx((2000.0 - OD / 2.0) / 2.0)


def test_a_joint_that_the_tube_runs_through_is_kept_clear_of() -> None:
    layout = job([(0, 0, 0), (2000, 0, 0), (4000, 0, 0)], 3500.0)
    layout, _ = edits.add_tube(layout, [2, (2000.0, 500.0, 0.0)], 10)
    station = place(layout)
    assert station is not None
    assert abs(station - 2000.0) >= OD / 2.0 + CLEAR


@pytest.mark.parametrize(("spare", "is_there"), [(1.0, True), (-1.0, False)])
def test_a_straight_must_have_room_for_the_sleeve(spare: float, is_there: bool) -> None:
    middle = 2.0 * CLEAR + spare
    layout = job(run([100.0, middle, 100.0], [RIGHT_ANGLE, RIGHT_ANGLE]), 6000.0)
    assert (place(layout) is not None) == is_there


def test_a_tube_that_cannot_be_made_has_no_place() -> None:
    assert place(job([(0, 0, 0), (50, 0, 0), (50, 3000, 0)], 2000.0)) is None


lengths = st.floats(0.0, 1500.0)
angles = st.floats(math.radians(10.0), math.radians(110.0))


@given(
    st.lists(lengths, min_size=4, max_size=4), st.lists(angles, min_size=3, max_size=3), st.floats(1500, 4000)
)
def test_both_parts_can_be_sawn_and_bent_and_the_split_is_clear(
    straights: list[float], bent: list[float], stick: float
) -> None:
    layout = job(run(straights, bent), stick)
    station = place(layout)
    if station is None:
        return
    line = centreline.of(layout, layout.tubes[20])
    for bend in line.bends:
        assert station <= bend.start - CLEAR + 1e-6 or station >= bend.end + CLEAR - 1e-6
    after, id = edits.split_with_sleeve(layout, 20, station)
    for part in (after.tubes[20], after.tubes[id]):
        fed = feeding.of(after, part)
        assert fed.troubles == ()
        assert fed.blank <= stick + 1e-6
    assert sum(centreline.of(after, after.tubes[part]).length for part in (20, id)) == pytest.approx(
        line.length
    )


def test_a_stock_of_another_diameter_needs_another_sleeve() -> None:
    layout = job([(0, 0, 0), (400, 0, 0)], 300.0)
    assert splitting.half_sleeve(layout, layout.tubes[20]) == CLEAR
    thick = replace(layout, stocks={10: replace(layout.stocks[10], od=60.0)})
    assert splitting.half_sleeve(thick, thick.tubes[20]) == 90.0 + splitting.WELD_ROOM
