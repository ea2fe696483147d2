"""Approach, departure and breakover against arithmetic with tangents, and against many wedges tried."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from geometry import edits
from geometry.layout import Axle, Body, Layout, Mesh, Panel, Tyre
from geometry.measuring import ramps
from geometry.tube.stock import starting_rack

STOCKS, DIES, NEXT_ID = starting_rack(1)
INCH = next(id for id, row in STOCKS.items() if row.name == "1.75 × 0.120 in")
TUBE = STOCKS[INCH].od / 2.0
RADIUS, BASE = 400.0, 2400.0
FRONT = Axle(900, "Front", 0.0, RADIUS, 1500.0, Tyre(2 * RADIUS, 250.0, 30.0), 80.0, 80.0)
REAR = replace(FRONT, id=901, name="Rear", x=-BASE)
CAR = Layout(stocks=STOCKS, dies=DIES, next_id=NEXT_ID, axles={900: FRONT, 901: REAR})


def with_mesh(layout: Layout, points, triangles) -> Layout:
    id = layout.next_id
    mesh = Mesh(np.array(points, dtype=float), np.array(triangles, np.int32))
    panels = {**layout.panels, id: Panel(id, "Floor", 500, mesh)}
    return replace(layout, next_id=id + 1, bodies={500: Body(500, "Car")}, panels=panels)


def with_plate(layout: Layout, x0: float, x1: float, z0: float, z1: float | None = None) -> Layout:
    """A plate across the car from x0 at z0 to x1 at z1."""
    end = z0 if z1 is None else z1
    corners = [(x0, -700.0, z0), (x1, -700.0, end), (x1, 700.0, end), (x0, 700.0, z0)]
    return with_mesh(layout, corners, [[0, 1, 2], [0, 2, 3]])


def touching(across: float, up: float, radius: float = RADIUS) -> float:
    """The slope of the line through a point, counted from the hub, that touches the tyre from below."""
    return math.atan2(up, across) + math.asin(radius / math.hypot(across, up))


def test_approach_is_the_slope_of_the_line_from_the_bumper_that_touches_the_tyre() -> None:
    layout = with_plate(CAR, 300.0, 700.0, 600.0)
    found = ramps.of(layout, with_cage=False).approach
    assert found.angle == pytest.approx(touching(700.0, 200.0))
    assert found.at[0] == pytest.approx(700.0)
    assert found.touches in layout.panels


def test_a_point_on_the_ground_in_front_leaves_no_approach_at_all() -> None:
    layout = with_plate(CAR, 300.0, 700.0, 600.0, 0.0)
    assert ramps.of(layout, with_cage=False).approach.angle == pytest.approx(0.0)


def test_the_line_found_touches_the_tyre() -> None:
    layout = with_plate(CAR, 300.0, 700.0, 600.0)
    angle = ramps.of(layout, with_cage=False).approach.angle
    # The distance of the hub from the line through the corner with that slope is the radius.
    normal = np.array((-math.sin(angle), math.cos(angle)))
    assert np.dot(np.array((0.0, RADIUS)) - (700.0, 600.0), normal) == pytest.approx(RADIUS)


def test_departure_is_approach_from_the_other_end() -> None:
    layout = with_plate(CAR, -BASE - 300.0, -BASE - 900.0, 550.0)
    found = ramps.of(layout, with_cage=False).departure
    assert found.angle == pytest.approx(touching(900.0, 150.0))


def test_what_lies_beside_the_tyre_or_behind_it_does_not_count_for_approach() -> None:
    layout = with_plate(CAR, -200.0, 200.0, 380.0)
    found = ramps.of(layout, with_cage=False).approach
    assert found.at is None
    assert found.angle == pytest.approx(math.pi / 2.0)


def test_breakover_of_a_level_floor_is_touched_half_way_between_the_axles() -> None:
    layout = with_plate(CAR, -400.0, -2000.0, 500.0)
    found = ramps.of(layout, with_cage=False).breakover
    assert found.angle == pytest.approx(2.0 * touching(BASE / 2.0, 100.0), abs=1e-6)
    assert found.at[0] == pytest.approx(-BASE / 2.0, abs=1.0)


def test_a_floor_on_the_ground_breaks_over_nothing() -> None:
    layout = with_plate(CAR, -400.0, -2000.0, 0.0)
    assert ramps.of(layout, with_cage=False).breakover.angle == pytest.approx(0.0, abs=1e-9)


def test_a_point_between_the_axles_is_seen_from_both_tyres() -> None:
    points = [(-800.0, 0.0, 450.0), (-800.0, 10.0, 900.0), (-800.0, -10.0, 900.0)]
    layout = with_mesh(CAR, points, [[0, 1, 2]])
    found = ramps.of(layout, with_cage=False).breakover
    assert found.angle == pytest.approx(touching(800.0, 50.0) + touching(BASE - 800.0, 50.0))


@settings(max_examples=25, deadline=None)
@given(
    st.lists(st.tuples(st.floats(-2300.0, -100.0), st.floats(350.0, 900.0)), min_size=3, max_size=12),
    st.floats(250.0, 500.0),
)
def test_breakover_is_what_trying_every_place_along_every_edge_finds(corners, rear_radius: float) -> None:
    rear = replace(REAR, height=rear_radius, tyre=Tyre(2 * rear_radius, 250.0, 30.0))
    car = replace(CAR, axles={900: FRONT, 901: rear})
    points = [(x, float(10 * number), z) for number, (x, z) in enumerate(corners)]
    triangles = [[0, i, i + 1] for i in range(1, len(points) - 1)]
    found = ramps.of(with_mesh(car, points, triangles), with_cage=False).breakover
    least = math.pi / 2.0
    for triangle in triangles:
        for start, end in ((0, 1), (1, 2), (2, 0)):
            a, b = (np.array(points[triangle[number]])[[0, 2]] for number in (start, end))
            for part in np.linspace(0.0, 1.0, 400):
                x, z = a + part * (b - a)
                front, back = np.hypot(x, z - RADIUS), np.hypot(x + BASE, z - rear_radius)
                if front > RADIUS and back > rear_radius:
                    angle = touching(-x, z - RADIUS) + touching(x + BASE, z - rear_radius, rear_radius)
                    least = min(least, angle)
    assert found.angle <= least + 1e-9
    assert found.angle == pytest.approx(least, abs=2e-3)


def test_tubes_count_by_their_outside_and_only_when_asked() -> None:
    layout, _ = edits.add_tube(CAR, [(-2000.0, 0.0, 900.0), (-2000.0, 300.0, 900.0)], INCH)
    layout, tube = edits.add_tube(layout, [(800.0, -500.0, 600.0), (800.0, 500.0, 600.0)], INCH)
    assert ramps.of(layout, with_cage=False).approach.at is None
    found = ramps.of(layout, with_cage=True).approach
    # The tangent of the tyre that touches the round tube from below as well.
    across, up = 800.0, 200.0
    exact = math.atan2(up, across) + math.asin((RADIUS - TUBE) / math.hypot(across, up))
    assert found.angle == pytest.approx(exact, abs=math.radians(0.01))
    assert found.touches == tube


def test_a_sill_tube_takes_from_the_breakover_angle() -> None:
    layout = with_plate(CAR, -400.0, -2000.0, 600.0)
    layout, tube = edits.add_tube(layout, [(-400.0, 750.0, 500.0), (-2000.0, 750.0, 500.0)], INCH)
    bare, caged = (ramps.of(layout, with_cage=on).breakover for on in (False, True))
    assert bare.angle == pytest.approx(2.0 * touching(BASE / 2.0, 200.0), abs=1e-6)
    assert caged.angle == pytest.approx(2.0 * touching(BASE / 2.0, 100.0 - TUBE), abs=1e-4)
    assert bare.touches in layout.panels
    assert caged.touches == tube


def test_a_raked_car_is_measured_against_its_ground() -> None:
    layout = with_plate(CAR, 300.0, 700.0, 600.0)
    raked = replace(layout, axles={900: FRONT, 901: replace(REAR, height=RADIUS - 100.0)})
    tilt = math.atan2(100.0, BASE)
    found = ramps.of(raked, with_cage=False).approach
    assert found.angle == pytest.approx(touching(700.0, 200.0) - tilt, abs=1e-9)


def test_one_axle_tells_no_angles() -> None:
    assert ramps.of(replace(CAR, axles={900: FRONT}), with_cage=True) is None
