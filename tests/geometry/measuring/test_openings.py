"""Openings against shapes whose room is known by arithmetic."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from geometry import edits
from geometry.aids import FreeSpot, NodeSpot, TubeSpot
from geometry.errors import GeometryError
from geometry.layout import Landing, Layout
from geometry.measuring import openings
from geometry.tube.stock import starting_rack
from geometry.vectors import Vec3, distance

STOCKS, DIES, NEXT_ID = starting_rack(1)
INCH = next(id for id, row in STOCKS.items() if row.name == "1.75 × 0.120 in")
OD = STOCKS[INCH].od
R = OD / 2.0
EMPTY = Layout(stocks=STOCKS, dies=DIES, next_id=NEXT_ID)
NEAR = 2.0 * openings.ACCURACY


def framed(*corners: Vec3) -> tuple[Layout, list[TubeSpot]]:
    """Straight tubes from corner to corner, and a spot somewhere on each."""
    layout, spots, nodes = EMPTY, [], []
    for corner in corners:
        layout, node = edits.add_node(layout, corner)
        nodes.append(node)
    for number, (start, end) in enumerate(zip(nodes, nodes[1:] + nodes[:1], strict=True)):
        layout, tube = edits.add_tube(layout, [start, end], INCH)
        length = distance(layout.nodes[start].position, layout.nodes[end].position)
        spots.append(TubeSpot(tube, length * (0.3 + 0.1 * (number % 3))))
    return layout, spots


def upright(*corners: tuple[float, float]) -> list[Vec3]:
    """Corners in the plane y = 700, seen from the left."""
    return [(x, 700.0, z) for x, z in corners]


def test_a_door_opening_is_the_frame_less_the_tubes() -> None:
    layout, spots = framed(*upright((0, 400), (-900, 400), (-900, 1500), (0, 1500)))
    found = openings.of(layout, spots)
    assert found.width == pytest.approx(900.0 - OD, abs=NEAR)
    assert found.height == pytest.approx(1100.0 - OD, abs=NEAR)
    assert found.diameter == pytest.approx(900.0 - OD, abs=2 * NEAR)


def test_what_is_drawn_is_as_long_as_what_is_said() -> None:
    layout, spots = framed(*upright((0, 400), (-900, 400), (-900, 1500), (0, 1500)))
    found = openings.of(layout, spots)
    assert distance(*found.across) == pytest.approx(found.width)
    assert found.across[0][2] == pytest.approx(found.across[1][2])
    assert found.upward[0][0] == pytest.approx(found.upward[1][0])
    for point in found.circle:
        assert distance(point, found.centre) == pytest.approx(found.diameter / 2.0)
        assert point[1] == pytest.approx(700.0)


def test_the_circle_in_a_triangle_is_its_inscribed_circle_less_the_tubes() -> None:
    corners = upright((0, 0), (1200, 0), (0, 900))
    layout, spots = framed(*corners)
    a, b, c = 1500.0, 900.0, 1200.0
    inscribed = 1200.0 * 900.0 / (a + b + c)
    found = openings.of(layout, spots)
    assert found.diameter == pytest.approx(2.0 * (inscribed - R), abs=2 * NEAR)
    assert found.centre == pytest.approx((inscribed, 700.0, inscribed), abs=1.0)


def test_the_widest_line_of_a_trapezium_lies_at_its_wide_side() -> None:
    layout, spots = framed(*upright((0, 0), (2000, 0), (1600, 800), (400, 800)))
    found = openings.of(layout, spots)
    # At the level of the lower tube's upper side; each slanted tube takes its width along the level.
    slant = math.atan2(400.0, 800.0)
    assert found.width == pytest.approx(2000.0 - 2.0 * (R * math.tan(slant) + R / math.cos(slant)), abs=NEAR)
    assert found.height == pytest.approx(800.0 - OD, abs=NEAR)


@given(st.integers(5, 12), st.floats(300.0, 1500.0))
def test_the_circle_in_a_regular_polygon_touches_all_its_tubes(sides: int, radius: float) -> None:
    turns = [2.0 * math.pi * i / sides for i in range(sides)]
    layout, spots = framed(*upright(*((radius * math.cos(t), radius * math.sin(t)) for t in turns)))
    found = openings.of(layout, spots)
    assert found.diameter == pytest.approx(2.0 * (radius * math.cos(math.pi / sides) - R), abs=2 * NEAR)


@given(st.floats(-math.pi, math.pi), st.floats(-1.2, 1.2), st.floats(-800.0, 800.0))
def test_the_circle_stays_when_the_opening_is_turned_and_moved(
    yaw: float, pitch: float, shift: float
) -> None:
    turn = np.array(
        ((math.cos(yaw), -math.sin(yaw), 0), (math.sin(yaw), math.cos(yaw), 0), (0, 0, 1))
    ) @ np.array(((math.cos(pitch), 0, math.sin(pitch)), (0, 1, 0), (-math.sin(pitch), 0, math.cos(pitch))))
    flat = np.array([(0, 0, 0), (0, 1000, 0), (0, 1300, 700), (0, -100, 600)], dtype=float)
    layout, spots = framed(*(tuple(p) for p in (flat @ turn.T + shift).tolist()))
    straight, same = framed(*(tuple(p) for p in flat.tolist()))
    expected = openings.of(straight, same).diameter
    assert openings.of(layout, spots).diameter == pytest.approx(expected, abs=2 * NEAR)


def test_in_a_roof_the_width_runs_across_the_car() -> None:
    layout, spots = framed((0, -500, 1700), (-1400, -500, 1700), (-1400, 500, 1700), (0, 500, 1700))
    found = openings.of(layout, spots)
    assert found.width == pytest.approx(1000.0 - OD, abs=NEAR)
    assert found.height == pytest.approx(1400.0 - OD, abs=NEAR)
    assert found.across[0][0] == pytest.approx(found.across[1][0])


def hoop_on_a_sill() -> tuple[Layout, int, int]:
    layout, sill = edits.add_tube(EMPTY, [(300.0, 700.0, 400.0), (-1500.0, 700.0, 400.0)], INCH)
    layout, hoop = edits.add_tube(
        layout,
        [Landing(sill, 300.0), (0.0, 700.0, 1500.0), (-1200.0, 700.0, 1500.0), Landing(sill, 1500.0)],
        INCH,
    )
    return layout, sill, hoop


def test_the_rim_runs_along_a_bent_tube_and_back_along_the_one_it_stands_on() -> None:
    layout, sill, hoop = hoop_on_a_sill()
    expected = (1200.0 - OD, 1100.0 - OD)
    for spots in (
        [TubeSpot(hoop, 100.0), TubeSpot(hoop, 1600.0), TubeSpot(hoop, 3000.0), TubeSpot(sill, 900.0)],
        [TubeSpot(sill, 700.0), TubeSpot(hoop, 300.0), TubeSpot(hoop, 2900.0)],
    ):
        found = openings.of(layout, spots)
        assert (found.width, found.height) == pytest.approx(expected, abs=NEAR)
        assert found.diameter == pytest.approx(1100.0 - OD, abs=2 * NEAR)


def test_nodes_may_stand_for_the_tubes_through_them() -> None:
    layout, _, hoop = hoop_on_a_sill()
    spots = [NodeSpot(node) for node in layout.tubes[hoop].nodes]
    found = openings.of(layout, spots)
    assert (found.width, found.height) == pytest.approx((1200.0 - OD, 1100.0 - OD), abs=NEAR)


def test_an_edge_of_the_body_takes_nothing_off() -> None:
    corners = upright((0, 0), (1000, 0), (1000, 600), (0, 600))
    found = openings.of(EMPTY, [FreeSpot(corner) for corner in corners])
    assert (found.width, found.height) == pytest.approx((1000.0, 600.0), abs=NEAR)
    assert found.diameter == pytest.approx(600.0, abs=2 * NEAR)


def test_places_in_a_line_have_no_opening() -> None:
    spots = [FreeSpot((float(x), 0.0, 0.0)) for x in (0, 100, 300)]
    with pytest.raises(GeometryError, match="in one line"):
        openings.of(EMPTY, spots)
    with pytest.raises(GeometryError, match="one point"):
        openings.of(EMPTY, [FreeSpot((1.0, 1.0, 1.0))] * 3)


def test_tubes_with_nothing_clear_between_them_have_no_opening() -> None:
    layout, spots = framed(*upright((0, 0), (30, 0), (30, 20), (0, 20)))
    with pytest.raises(GeometryError, match="Nothing is clear"):
        openings.of(layout, spots)


def test_an_opening_grows_as_its_frame_does() -> None:
    layout, spots = framed(*upright((0, 400), (-900, 400), (-900, 1500), (0, 1500)))
    front = [id for id, node in layout.nodes.items() if node.position[0] == 0.0]
    wider = edits.move_nodes(layout, front, (80.0, 0.0, 0.0))
    assert openings.of(wider, spots).width == pytest.approx(980.0 - OD, abs=NEAR)


def test_the_circle_in_an_angled_opening_touches_its_inner_corner() -> None:
    corners = upright((0, 0), (1000, 0), (1000, 400), (400, 400), (400, 1000), (0, 1000))
    layout, spots = framed(*corners)
    found = openings.of(layout, spots)
    reach = 400.0 * math.sqrt(2.0) / (1.0 + math.sqrt(2.0))
    assert found.diameter == pytest.approx(2.0 * (reach - R), abs=2 * NEAR)
    assert (found.width, found.height) == pytest.approx((1000.0 - OD, 1000.0 - OD), abs=NEAR)


@given(st.lists(st.floats(300.0, 900.0), min_size=5, max_size=9), st.integers(0, 1000))
def test_no_place_in_the_opening_has_more_room_than_the_circle_found(reaches, seed: int) -> None:
    turns = [2.0 * math.pi * i / len(reaches) for i in range(len(reaches))]
    flat = [(r * math.cos(t), r * math.sin(t)) for r, t in zip(reaches, turns, strict=True)]
    layout, spots = framed(*upright(*flat))
    found = openings.of(layout, spots)
    sides = list(zip(flat, flat[1:] + flat[:1], strict=True))

    def room(x: float, z: float) -> float:
        """What the nearest tube leaves, straight from the corners."""
        least = math.inf
        for (ax, az), (bx, bz) in sides:
            wx, wz = bx - ax, bz - az
            part = min(max(((x - ax) * wx + (z - az) * wz) / (wx * wx + wz * wz), 0.0), 1.0)
            least = min(least, math.hypot(x - ax - part * wx, z - az - part * wz))
        return least - R

    centre = found.centre
    assert found.diameter / 2.0 == pytest.approx(room(centre[0], centre[2]), abs=1e-3)
    random = np.random.default_rng(seed)
    for part, turn in zip(
        random.uniform(0.0, 1.0, 300), random.uniform(0.0, 2.0 * math.pi, 300), strict=True
    ):
        # Star-shaped round the middle: a place nearer than the side in its direction lies inside.
        sector = int(turn / (2.0 * math.pi) * len(flat)) % len(flat)
        (ax, az), (bx, bz) = sides[sector]
        dx, dz = math.cos(turn), math.sin(turn)
        across = dx * (bz - az) - dz * (bx - ax)
        far = (ax * (bz - az) - az * (bx - ax)) / across
        assert room(part * far * dx, part * far * dz) <= found.diameter / 2.0 + openings.ACCURACY + 1e-6
