"""Weld marks follow edits of their tubes."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from geometry import edits, fixing, symmetry, weld_marks
from geometry.errors import GeometryError
from geometry.layout import Body, Layout, Mesh, Panel, Weld
from geometry.tube import centreline, welds
from geometry.tube.stock import starting_rack
from geometry.vectors import Vec3

STOCKS, DIES, NEXT_ID = starting_rack(1)
INCH = next(id for id, row in STOCKS.items() if row.name == "1.75 × 0.120 in")
LEFT, RIGHT, ROOF = NEXT_ID + 1, NEXT_ID + 2, NEXT_ID + 3


def block(low: Vec3, high: Vec3) -> Mesh:
    return Mesh(np.array([low, high, (high[0], low[1], low[2])]), np.array([[0, 1, 2]], np.int32))


def elbow(*marks: Weld) -> tuple[Layout, int]:
    """A tube on the left: up 1000, then back 1000; panels left, right and over both."""
    body = NEXT_ID
    panels = {
        LEFT: Panel(LEFT, "left door", body, block((-900.0, 480.0, 0.0), (0.0, 490.0, 900.0))),
        RIGHT: Panel(RIGHT, "right door", body, block((-900.0, -490.0, 0.0), (0.0, -481.0, 900.0))),
        ROOF: Panel(ROOF, "roof", body, block((-900.0, -480.0, 1000.0), (0.0, 480.0, 1010.0))),
    }
    layout = Layout(
        stocks=STOCKS, dies=DIES, bodies={body: Body(body, "Car")}, panels=panels, next_id=NEXT_ID + 10
    )
    layout, tube = edits.add_tube(
        layout, [(0.0, 500.0, 0.0), (0.0, 500.0, 1000.0), (-1000.0, 500.0, 1000.0)], INCH
    )
    for mark in marks:
        layout = fixing.add_weld(layout, tube, mark)
    return layout, tube


def spans(layout: Layout, tube: int) -> list[tuple[float, float]]:
    length = centreline.of(layout, layout.tubes[tube]).length
    return [welds.span_of(mark, length) for mark in layout.tubes[tube].welds]


def places(layout: Layout, tube: int) -> list[Vec3]:
    line = centreline.of(layout, layout.tubes[tube])
    return [centreline.place_at(line, end) for span in spans(layout, tube) for end in span]


shifts = st.tuples(*[st.floats(-300.0, 300.0)] * 3)


def test_lengthening_a_tube_upstream_leaves_a_mark_where_it_is() -> None:
    layout, tube = elbow(Weld(LEFT, 300.0, 500.0))
    longer = edits.move_nodes(layout, [layout.tubes[tube].nodes[0]], (0.0, 0.0, -250.0))
    assert spans(longer, tube) == [pytest.approx((550.0, 750.0))]
    assert places(longer, tube) == [pytest.approx(place) for place in places(layout, tube)]


def test_an_end_that_is_the_tubes_stays_the_tubes() -> None:
    layout, tube = elbow(Weld(LEFT, 0.0, 200.0), Weld(ROOF, 1500.0, None))
    first, _, last = layout.tubes[tube].nodes
    moved = edits.move_nodes(layout, [first], (0.0, 0.0, -250.0))
    moved = edits.move_nodes(moved, [last], (-100.0, 0.0, 0.0))
    length = centreline.of(moved, moved.tubes[tube]).length
    assert spans(moved, tube) == [pytest.approx((0.0, 450.0)), pytest.approx((1750.0, length))]
    assert moved.tubes[tube].welds[1].end is None


def test_a_tube_that_runs_on_leaves_its_marks_where_they_end() -> None:
    layout, tube = elbow(Weld(ROOF, 1500.0, None))
    longer, _ = edits.extend_tube(layout, tube, (-1600.0, 500.0, 1000.0))
    assert places(longer, tube) == [pytest.approx(place) for place in places(layout, tube)]
    longer, _ = edits.extend_tube(layout, tube, (0.0, 500.0, -200.0), at_start=True)
    assert places(longer, tube) == [pytest.approx(place) for place in places(layout, tube)]


def test_a_mark_beyond_a_tube_that_got_shorter_goes() -> None:
    layout, tube = elbow(Weld(ROOF, 1700.0, 1800.0), Weld(LEFT, 300.0, 500.0))
    shorter = edits.place_node(layout, layout.tubes[tube].nodes[2], (-400.0, 500.0, 1000.0))
    assert [mark.panel for mark in shorter.tubes[tube].welds] == [LEFT]


def test_a_tube_that_did_not_change_stays_the_same_object() -> None:
    layout, tube = elbow(Weld(LEFT, 300.0, 500.0))
    after, _ = edits.add_tube(layout, [(0.0, 0.0, 0.0), (0.0, 100.0, 0.0)], INCH)
    assert after.tubes[tube] is layout.tubes[tube]


@given(shifts)
def test_moving_a_whole_tube_moves_its_marks_along(shift: Vec3) -> None:
    layout, tube = elbow(Weld(LEFT, 300.0, 500.0), Weld(ROOF, 1100.0, 1400.0))
    moved = edits.move_nodes(layout, [tube], shift)
    assert places(moved, tube) == [
        pytest.approx(tuple(np.add(place, shift)), abs=0.05) for place in places(layout, tube)
    ]


@pytest.mark.parametrize("station", [150.0, 400.0, 700.0])
def test_splitting_shares_the_marks_out(station: float) -> None:
    layout, tube = elbow(Weld(LEFT, 300.0, 500.0), Weld(ROOF, 1500.0, None))
    whole = centreline.of(layout, layout.tubes[tube])
    after, second = edits.split_tube(layout, tube, station=station)
    covered = [
        (mark.panel, start + off, end + off)
        for part, off in ((tube, 0.0), (second, station))
        for mark, (start, end) in zip(after.tubes[part].welds, spans(after, part), strict=True)
    ]
    wanted = [(LEFT, 300.0, 500.0)]
    if 300.0 < station < 500.0:
        wanted = [(LEFT, 300.0, station), (LEFT, station, 500.0)]
    assert covered == [pytest.approx(row) for row in (*wanted, (ROOF, 1500.0, whole.length))]


def test_splitting_at_a_corner_keeps_marks_in_place() -> None:
    layout, tube = elbow(Weld(LEFT, 300.0, 500.0), Weld(ROOF, 1500.0, 1600.0))
    after, second = edits.split_tube(layout, tube, node=layout.tubes[tube].nodes[1])
    assert places(after, tube) + places(after, second) == [
        pytest.approx(place) for place in places(layout, tube)
    ]


def test_reversing_turns_the_marks() -> None:
    layout, tube = elbow(Weld(LEFT, 0.0, 200.0), Weld(ROOF, 1500.0, None), Weld(LEFT, 300.0, 500.0))
    turned = edits.reverse_tube(layout, tube)
    for before, after in zip(places(layout, tube)[::2], places(turned, tube)[1::2], strict=True):
        assert after == pytest.approx(before)
    assert turned.tubes[tube].welds[0].end is None
    assert turned.tubes[tube].welds[1].start == 0.0


def test_a_twin_is_welded_to_the_panel_on_its_side() -> None:
    layout, tube = elbow(Weld(LEFT, 300.0, 500.0), Weld(ROOF, 1500.0, None))
    after, (twin,) = symmetry.paired(layout, [tube])
    assert after.tubes[twin].welds == (Weld(RIGHT, 300.0, 500.0), Weld(ROOF, 1500.0, None))
    alone = edits.delete(layout, [RIGHT])
    after, (twin,) = symmetry.paired(alone, [tube])
    assert after.tubes[twin].welds == (Weld(ROOF, 1500.0, None),)


def test_a_panel_that_is_its_own_image_stays_itself() -> None:
    layout, _ = elbow()
    assert weld_marks.twin_of(layout, ROOF) == ROOF
    doubled = replace(layout.panels[ROOF], id=NEXT_ID + 5)
    both = replace(layout, panels={NEXT_ID + 5: doubled, **layout.panels})
    assert weld_marks.twin_of(both, ROOF) == ROOF


@given(st.lists(st.tuples(st.integers(0, 2), shifts), min_size=1, max_size=5))
def test_whatever_nodes_are_moved_marks_lie_on_the_tube_in_order(moves: list[tuple[int, Vec3]]) -> None:
    layout, tube = elbow(Weld(LEFT, 300.0, 500.0), Weld(ROOF, 1100.0, None))
    for number, shift in moves:
        try:
            layout = edits.move_nodes(layout, [layout.tubes[tube].nodes[number]], shift)
        except GeometryError:
            continue
        length = centreline.of(layout, layout.tubes[tube]).length
        for start, end in spans(layout, tube):
            assert 0.0 <= start < end <= length
