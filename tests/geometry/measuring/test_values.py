import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from geometry import edits
from geometry.aids import (
    FreeSpot,
    LineShape,
    Measure,
    NodeSpot,
    PlaneShape,
    PointShape,
    Reference,
    ReferenceSpot,
    TubeSpot,
)
from geometry.layout import Axle, Landing, Layout, Tyre
from geometry.measuring import values
from geometry.measuring.values import NoValue, Value
from geometry.tube import centreline
from geometry.tube.stock import starting_rack
from geometry.vectors import distance

STOCKS, DIES, NEXT_ID = starting_rack(1)
INCH = next(id for id, row in STOCKS.items() if row.name == "1.75 × 0.120 in")
OD = STOCKS[INCH].od
EMPTY = Layout(stocks=STOCKS, dies=DIES, next_id=NEXT_ID)


def tube(layout: Layout, *run) -> tuple[Layout, int]:
    return edits.add_tube(layout, list(run), INCH)


def refer(shape, layout: Layout = EMPTY) -> tuple[Layout, ReferenceSpot]:
    id = layout.next_id
    added = replace(
        layout, next_id=id + 1, references={**layout.references, id: Reference(id, "Edge", shape)}
    )
    return added, ReferenceSpot(id)


def value(layout: Layout, kind: str, *spots) -> Value:
    found = values.taken(layout, kind, spots)
    assert isinstance(found, Value), found
    return found


def why(layout: Layout, kind: str, *spots) -> str:
    found = values.taken(layout, kind, spots)
    assert isinstance(found, NoValue), found
    return found.why


def parts(found: Value) -> dict[str, float]:
    return {part.name: part.number for part in found.parts}


def test_a_distance_has_its_parts_along_the_axes() -> None:
    found = value(EMPTY, "distance", FreeSpot((0.0, 0.0, 0.0)), FreeSpot((30.0, -40.0, 120.0)))
    assert found.number == pytest.approx(130.0)
    assert parts(found) == pytest.approx({"x": 30.0, "y": -40.0, "z": 120.0})


def test_a_distance_from_a_node_follows_the_node() -> None:
    layout, id = tube(EMPTY, (0.0, 0.0, 0.0), (1000.0, 0.0, 0.0))
    end = layout.tubes[id].nodes[1]
    spots = (NodeSpot(end), FreeSpot((1000.0, 0.0, 300.0)))
    assert value(layout, "distance", *spots).number == pytest.approx(300.0)
    moved = edits.move_nodes(layout, [end], (0.0, 400.0, 0.0))
    assert value(moved, "distance", *spots).number == pytest.approx(500.0)


def test_a_distance_to_a_plane_is_square_to_it_and_ends_at_the_foot() -> None:
    layout, limit = refer(PlaneShape((0.0, 0.0, 1800.0), (0.0, 0.0, 1.0)))
    for spots in ((FreeSpot((5.0, 6.0, 1700.0)), limit), (limit, FreeSpot((5.0, 6.0, 1700.0)))):
        found = value(layout, "distance", *spots)
        assert found.number == pytest.approx(100.0)
        assert (5.0, 6.0, 1800.0) in found.ends


def test_a_distance_to_a_line_is_square_to_it_beyond_its_ends_too() -> None:
    layout, edge = refer(LineShape((0.0, 0.0, 0.0), (10.0, 0.0, 0.0)))
    found = value(layout, "distance", FreeSpot((500.0, 30.0, 40.0)), edge)
    assert found.number == pytest.approx(50.0)
    assert found.ends[1] == pytest.approx((500.0, 0.0, 0.0))


def test_a_distance_to_a_point_of_the_body_is_to_that_point() -> None:
    layout, point = refer(PointShape((1.0, 2.0, 2.0)))
    assert value(layout, "distance", FreeSpot((0.0, 0.0, 0.0)), point).number == pytest.approx(3.0)


def test_lines_that_pass_each_other_are_nearest_square_to_both() -> None:
    layout, low = refer(LineShape((0.0, 0.0, 0.0), (1.0, 0.0, 0.0)))
    layout, high = refer(LineShape((700.0, 5.0, 80.0), (700.0, 6.0, 80.0)), layout)
    found = value(layout, "distance", low, high)
    assert found.number == pytest.approx(80.0)
    assert found.ends[0] == pytest.approx((700.0, 0.0, 0.0))


def test_planes_side_by_side_have_a_distance_and_others_none() -> None:
    layout, low = refer(PlaneShape((0.0, 0.0, 0.0), (0.0, 0.0, 1.0)))
    layout, high = refer(PlaneShape((9.0, 9.0, 70.0), (0.0, 0.0, -1.0)), layout)
    layout, across = refer(PlaneShape((0.0, 0.0, 0.0), (1.0, 0.0, 0.0)), layout)
    assert value(layout, "distance", low, high).number == pytest.approx(70.0)
    assert "angle" in why(layout, "distance", low, across)


def test_along_a_tube_is_the_way_of_its_centreline_round_the_bend() -> None:
    layout, id = tube(EMPTY, (0.0, 0.0, 0.0), (0.0, 0.0, 1000.0), (-1000.0, 0.0, 1000.0))
    line = centreline.of(layout, layout.tubes[id])
    found = value(layout, "along", TubeSpot(id, line.length - 100.0), TubeSpot(id, 200.0))
    assert found.number == pytest.approx(line.length - 300.0)
    assert parts(found)["straight across"] == pytest.approx(distance((0, 0, 200), (-900, 0, 1000)))
    walked = sum(distance(*pair) for pair in zip(found.paths[0], found.paths[0][1:], strict=False))
    assert walked == pytest.approx(found.number, abs=0.1)


def test_along_runs_between_nodes_of_one_tube_and_not_of_two() -> None:
    layout, one = tube(EMPTY, (0.0, 0.0, 0.0), (800.0, 0.0, 0.0))
    layout, other = tube(layout, (0.0, 500.0, 0.0), (800.0, 500.0, 0.0))
    ends = [NodeSpot(node) for node in layout.tubes[one].nodes]
    assert value(layout, "along", *ends).number == pytest.approx(800.0)
    assert "not on one tube" in why(layout, "along", TubeSpot(one, 1.0), TubeSpot(other, 1.0))


def test_a_gap_lies_between_the_outer_surfaces_where_they_are_nearest() -> None:
    layout, one = tube(EMPTY, (0.0, 0.0, 0.0), (1000.0, 0.0, 0.0))
    layout, other = tube(layout, (300.0, -500.0, 100.0), (300.0, 500.0, 100.0))
    found = value(layout, "gap", TubeSpot(one, 900.0), TubeSpot(other, 0.0))
    assert found.number == pytest.approx(100.0 - OD)
    assert found.ends[0] == pytest.approx((300.0, 0.0, OD / 2.0))
    assert found.ends[1] == pytest.approx((300.0, 0.0, 100.0 - OD / 2.0))
    assert distance(*found.ends) == pytest.approx(found.number)


def test_a_gap_is_negative_where_tubes_run_into_each_other() -> None:
    layout, one = tube(EMPTY, (0.0, 0.0, 0.0), (1000.0, 0.0, 0.0))
    layout, other = tube(layout, (300.0, -500.0, 30.0), (300.0, 500.0, 30.0))
    assert value(layout, "gap", TubeSpot(one, 0.0), TubeSpot(other, 0.0)).number == pytest.approx(30.0 - OD)


def test_tubes_that_are_joined_have_no_gap() -> None:
    layout, host = tube(EMPTY, (0.0, 0.0, 0.0), (1000.0, 0.0, 0.0))
    layout, other = tube(layout, Landing(host, 500.0), (500.0, 600.0, 0.0))
    assert "are joined" in why(layout, "gap", TubeSpot(host, 10.0), TubeSpot(other, 300.0))
    assert "another" in why(layout, "gap", TubeSpot(host, 10.0), TubeSpot(host, 300.0))


@given(st.floats(5.0, 175.0))
def test_the_angle_between_legs_of_a_tube_is_the_one_between_them(degrees: float) -> None:
    away = math.radians(degrees)
    layout, id = tube(
        EMPTY, (3000.0, 0.0, 0.0), (0.0, 0.0, 0.0), (3000.0 * math.cos(away), 3000.0 * math.sin(away), 0.0)
    )
    line = centreline.of(layout, layout.tubes[id])
    if not line.is_makeable:
        return
    found = value(layout, "angle", TubeSpot(id, 10.0), TubeSpot(id, line.length - 10.0))
    assert found.number == pytest.approx(away, abs=1e-9)
    assert found.quantity == "angle"
    assert parts(found)["turn"] == pytest.approx(math.pi - away, abs=1e-9)
    assert found.paths[0][1] == pytest.approx((0.0, 0.0, 0.0), abs=1e-6)


def test_the_angle_of_a_brace_depends_on_the_side_it_is_pointed_at() -> None:
    layout, host = tube(EMPTY, (-1000.0, 0.0, 0.0), (1000.0, 0.0, 0.0))
    layout, brace = tube(layout, Landing(host, 1000.0), (600.0, 0.0, 600.0))
    on_brace = TubeSpot(brace, 400.0)
    assert value(layout, "angle", TubeSpot(host, 1700.0), on_brace).number == pytest.approx(
        math.radians(45.0)
    )
    assert value(layout, "angle", TubeSpot(host, 200.0), on_brace).number == pytest.approx(
        math.radians(135.0)
    )


def test_the_angle_of_a_tube_with_a_plane_is_its_slope() -> None:
    layout, level = refer(PlaneShape((0.0, 0.0, 0.0), (0.0, 0.0, 1.0)))
    layout, id = tube(layout, (0.0, 0.0, 0.0), (1000.0, 0.0, 1000.0 * math.tan(math.radians(30.0))))
    assert value(layout, "angle", TubeSpot(id, 50.0), level).number == pytest.approx(math.radians(30.0))
    assert value(layout, "angle", level, TubeSpot(id, 50.0)).number == pytest.approx(math.radians(30.0))


def test_parallel_tubes_have_no_angle_between_them() -> None:
    layout, one = tube(EMPTY, (0.0, 0.0, 0.0), (1000.0, 0.0, 0.0))
    layout, other = tube(layout, (1000.0, 300.0, 0.0), (0.0, 300.0, 0.0))
    assert value(layout, "angle", TubeSpot(one, 100.0), TubeSpot(other, 200.0)).number == 0.0


def test_height_counts_from_zero_without_tyres_and_has_the_underside_of_the_tube() -> None:
    layout, id = tube(EMPTY, (0.0, 0.0, 500.0), (1000.0, 0.0, 500.0))
    found = value(layout, "height", TubeSpot(id, 250.0))
    assert found.number == pytest.approx(500.0)
    assert parts(found) == pytest.approx({"underside": 500.0 - OD / 2.0, "top": 500.0 + OD / 2.0})
    assert found.ends[1] == pytest.approx((250.0, 0.0, 0.0))


def test_height_counts_from_the_ground_the_tyres_stand_on() -> None:
    tyre = Tyre(800.0, 250.0, 30.0)
    layout = replace(
        EMPTY,
        axles={
            900: Axle(900, "Front", 0.0, 350.0, 1500.0, tyre, 80.0, 80.0),
            901: Axle(901, "Rear", -2400.0, 250.0, 1500.0, tyre, 80.0, 80.0),
        },
    )
    found = value(layout, "height", FreeSpot((0.0, 0.0, 500.0)))
    rise = 100.0 / 2400.0  # the ground is a plane of its own, here higher in front
    assert found.number == pytest.approx(550.0 / math.hypot(1.0, rise))
    feet = np.array(found.ends[1])
    assert feet[2] == pytest.approx(-50.0 + rise * feet[0])


def test_a_measure_whose_place_is_gone_says_so() -> None:
    for spot in (NodeSpot(77), TubeSpot(77, 0.0), ReferenceSpot(77)):
        found = values.of(EMPTY, Measure(5, "Old", "height", (spot,)))
        assert isinstance(found, NoValue)
        assert "no longer there" in found.why


def test_a_measure_of_too_few_places_says_so() -> None:
    assert "right number" in why(EMPTY, "distance", FreeSpot((0.0, 0.0, 0.0)))


def test_remembered_values_are_those_worked_out_anew_after_every_edit() -> None:
    layout, host = tube(EMPTY, (0.0, 0.0, 0.0), (2000.0, 0.0, 0.0))
    layout, other = tube(layout, (0.0, 300.0, 800.0), (2000.0, 300.0, 800.0))
    layout, brace = tube(layout, Landing(host, 500.0), (500.0, 600.0, 700.0))
    measures = [
        Measure(901, "A", "gap", (TubeSpot(host, 100.0), TubeSpot(other, 100.0))),
        Measure(902, "B", "height", (TubeSpot(other, 100.0),)),
        Measure(903, "C", "distance", (NodeSpot(layout.tubes[brace].nodes[0]), FreeSpot((0.0, 0.0, 9.0)))),
        Measure(904, "D", "angle", (TubeSpot(host, 900.0), TubeSpot(brace, 200.0))),
        Measure(905, "E", "gap", (TubeSpot(host, 900.0), TubeSpot(brace, 200.0))),
    ]
    wheel = Axle(950, "Front", 0.0, 350.0, 1500.0, Tyre(800.0, 250.0, 30.0), 80.0, 80.0)
    stock = replace(layout.stocks[INCH], od=50.0)
    steps = [
        layout,
        edits.move_nodes(layout, [layout.tubes[other].nodes[0]], (0.0, 0.0, 50.0)),
        edits.set_landing(layout, layout.tubes[brace].nodes[0], Landing(host, 900.0)),
        edits.set_landing(layout, layout.tubes[brace].nodes[0], None),
        replace(layout, axles={950: wheel}),
        replace(layout, stocks={**layout.stocks, INCH: stock}),
        edits.delete(layout, [brace]),
        layout,
    ]
    remembered = values.Remembered()
    for step in steps:
        for measure in measures:
            assert remembered.of(step, measure) == values.of(step, measure)
            assert remembered.of(step, measure) is remembered.of(step, measure)
