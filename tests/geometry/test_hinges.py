"""Panels get hinges and slides that can be, open to the outside, and go where their body goes."""

import math

import numpy as np
import pytest
from msgspec.structs import replace

from geometry import hinges
from geometry.body import panels
from geometry.checks import moving
from geometry.errors import GeometryError
from geometry.hinges import PanelEdge
from geometry.layout import Body, Hinge, Layout, Mesh, Panel, Placement, Slide

SHELL, DOOR, GLASS, BONNET = 1, 2, 3, 4


def plate(*corners: tuple[float, float, float]) -> Mesh:
    return Mesh(np.array(corners), np.array([[0, 1, 2], [0, 2, 3]], np.int32))


def car() -> Layout:
    """A box of a car: a left door, its glass, a bonnet, and a right side that makes the middle the middle."""
    door = plate((0.0, 800.0, 300.0), (-1000.0, 800.0, 300.0), (-1000.0, 800.0, 900.0), (0.0, 800.0, 900.0))
    glass = plate(
        (-100.0, 790.0, 900.0), (-900.0, 790.0, 900.0), (-900.0, 700.0, 1300.0), (-200.0, 700.0, 1300.0)
    )
    bonnet = plate((800.0, 700.0, 900.0), (800.0, -700.0, 900.0), (0.0, -700.0, 950.0), (0.0, 700.0, 950.0))
    side = plate(
        (0.0, -800.0, 300.0), (-2000.0, -800.0, 300.0), (-2000.0, -800.0, 900.0), (0.0, -800.0, 900.0)
    )
    return Layout(
        next_id=10,
        bodies={SHELL: Body(SHELL, "shell")},
        panels={
            DOOR: Panel(DOOR, "left door", SHELL, door),
            GLASS: Panel(GLASS, "left glass", SHELL, glass),
            BONNET: Panel(BONNET, "bonnet", SHELL, bonnet),
            5: Panel(5, "right side", SHELL, side),
        },
    )


def opened(layout: Layout, panel: int, motion: Hinge | Slide) -> np.ndarray:
    return moving.moved(motion, layout.panels[panel].mesh.vertices, 1.0)


@pytest.mark.parametrize(
    ("panel", "edge", "ends"),
    [
        (DOOR, "front", ((0.0, 800.0, 300.0), (0.0, 800.0, 900.0))),
        (DOOR, "rear", ((-1000.0, 800.0, 300.0), (-1000.0, 800.0, 900.0))),
        (BONNET, "rear", ((0.0, -700.0, 950.0), (0.0, 700.0, 950.0))),
        (BONNET, "front", ((800.0, -700.0, 900.0), (800.0, 700.0, 900.0))),
        (DOOR, "top", ((-1000.0, 800.0, 900.0), (0.0, 800.0, 900.0))),
    ],
)
def test_a_hinge_at_an_edge_runs_along_it(panel: int, edge: PanelEdge, ends: tuple) -> None:
    hinge = hinges.hinge_at(car(), panel, edge)
    assert np.array([hinge.start, hinge.end]) == pytest.approx(np.array(ends))
    assert abs(hinge.angle) == hinges.USUAL_ANGLE


def test_doors_open_outwards_and_bonnets_up() -> None:
    layout = car()
    for edge in ("front", "rear"):
        assert opened(layout, DOOR, hinges.hinge_at(layout, DOOR, edge))[:, 1].max() > 1500.0
        assert opened(layout, BONNET, hinges.hinge_at(layout, BONNET, edge))[:, 2].max() > 1500.0
    outward = hinges.hinge_at(layout, DOOR, "front")
    assert opened(layout, DOOR, hinges.turned_other_way(outward))[:, 1].min() < 100.0


def test_the_rim_nearest_to_a_click_gives_the_hinge() -> None:
    layout = car()
    hinge = hinges.hinge_near(layout, DOOR, (-20.0, 800.0, 500.0))
    assert sorted([hinge.start, hinge.end]) == [(0.0, 800.0, 300.0), (0.0, 800.0, 900.0)]
    # The rim of a finer mesh is followed as long as it runs straight on.
    count = 9
    x, z = np.meshgrid(np.linspace(0.0, -1000.0, count), np.linspace(300.0, 900.0, count))
    points = np.stack([x, np.full_like(x, 800.0), z], axis=-1).reshape(-1, 3)
    number = np.arange(count * count).reshape(count, count)
    a, b, c, d = (
        part.ravel() for part in (number[:-1, :-1], number[:-1, 1:], number[1:, 1:], number[1:, :-1])
    )
    triangles = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
    start, end = hinges.straight_rim(points, triangles, np.array((-30.0, 800.0, 610.0)), "door")
    assert sorted([start, end]) == [(0.0, 800.0, 300.0), (0.0, 800.0, 900.0)]


def test_a_panel_without_a_rim_says_to_pick_two_points() -> None:
    points = np.array([(0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)])
    closed = np.array([(0, 2, 1), (0, 1, 3), (1, 2, 3), (0, 3, 2)])
    with pytest.raises(GeometryError, match="has no rim"):
        hinges.straight_rim(points, closed, np.zeros(3), "tank")


@pytest.mark.parametrize(
    ("motion", "says"),
    [
        (Hinge((0.0, 0.0, 0.0), (0.0, 0.0, 0.0), 1.0), "0 mm apart"),
        (Hinge((0.0, 0.0, 0.0), (0.0, 0.0, 10.0), 1.0), "too near to say"),
        (Hinge((0.0, 0.0, 0.0), (0.0, 0.0, 500.0), 0.0), "opens by 0°"),
        (Hinge((0.0, 0.0, 0.0), (0.0, 0.0, 500.0), 4.0), "up to 180°"),
        (Hinge((math.nan, 0.0, 0.0), (0.0, 0.0, 500.0), 1.0), "cannot be"),
        (Hinge((2.0e6, 0.0, 0.0), (0.0, 0.0, 500.0), 1.0), "cannot be"),
        (Slide((0.0, 0.0, 0.0)), "slides nowhere"),
        (Slide((math.inf, 0.0, 0.0)), "cannot be"),
    ],
)
def test_what_cannot_open_is_refused_in_words(motion: Hinge | Slide, says: str) -> None:
    with pytest.raises(GeometryError, match=says):
        hinges.set_motion(car(), DOOR, motion)


def test_what_moves_with_a_door_has_no_hinge_of_its_own_and_no_ring_is_made() -> None:
    layout = hinges.set_motion(car(), DOOR, hinges.hinge_at(car(), DOOR, "front"))
    layout = hinges.set_motion(layout, GLASS, Slide((0.0, 0.0, -300.0)))
    carried = hinges.set_carrier(layout, GLASS, DOOR)
    assert carried.panels[GLASS].moves_with == DOOR
    assert carried.panels[GLASS].motion is None
    assert moving.carrier_of(carried, GLASS).id == DOOR
    with pytest.raises(GeometryError, match="moves with left door"):
        hinges.set_motion(carried, GLASS, Slide((0.0, 0.0, -300.0)))
    for panel, carrier in ((DOOR, GLASS), (DOOR, DOOR)):
        with pytest.raises(GeometryError, match="cannot move with"):
            hinges.set_carrier(carried, panel, carrier)
    assert hinges.set_carrier(carried, GLASS, None).panels[GLASS].moves_with is None
    with pytest.raises(GeometryError, match="no longer in the job"):
        hinges.set_motion(layout, 99, None)


def test_a_motion_opens_as_far_as_asked_the_same_way() -> None:
    hinge = Hinge((0.0, 0.0, 0.0), (0.0, 0.0, 500.0), -1.0)
    assert hinges.opened_to(hinge, 1.4) == Hinge((0.0, 0.0, 0.0), (0.0, 0.0, 500.0), -1.4)
    assert hinges.opened_to(Slide((0.0, 3.0, 4.0)), 10.0) == Slide((0.0, 6.0, 8.0))


def test_a_hinge_goes_along_when_its_body_is_placed_anew() -> None:
    layout = hinges.set_motion(car(), DOOR, hinges.hinge_at(car(), DOOR, "front"))
    layout = hinges.set_motion(layout, BONNET, Slide((100.0, 0.0, 0.0)))
    turned = Placement(25.4, ((0.0, -1.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)), (10.0, 20.0, 30.0))
    after = panels.placed_anew(layout, SHELL, turned)
    hinge = after.panels[DOOR].motion
    assert isinstance(hinge, Hinge)
    assert hinge.start == pytest.approx((-800.0 * 25.4 + 10.0, 20.0, 300.0 * 25.4 + 30.0))
    assert after.panels[BONNET].motion == Slide((0.0, 2540.0, 0.0))
    assert after.panels[GLASS] is layout.panels[GLASS]
    assert panels.placed_anew(layout, SHELL, Placement()) is layout


def with_door(mesh: Mesh) -> Layout:
    layout = car()
    return replace(layout, panels={**layout.panels, DOOR: Panel(DOOR, "left door", SHELL, mesh)})


def test_a_jagged_rim_gives_the_line_that_it_keeps_to() -> None:
    steps = [(-10.0 * (number // 2), 800.0, 10.0 * ((number + 1) // 2)) for number in range(60)]
    corners = np.array([*steps, (0.0, 800.0, 2000.0)])
    fan = np.array([[number, number + 1, 60] for number in range(59)], np.int32)
    hinge = hinges.hinge_near(with_door(Mesh(corners, fan)), DOOR, (-105.0, 800.0, 105.0))
    way = np.subtract(hinge.end, hinge.start)
    assert np.linalg.norm(way) > 300.0
    assert abs(way @ np.array([-1.0, 0.0, 1.0])) / np.linalg.norm(way) / math.sqrt(2.0) > math.cos(0.05)
    for x, y, z in (hinge.start, hinge.end):
        assert (y, z) == pytest.approx((800.0, -x), abs=12.0)


def test_a_jagged_rim_is_followed_round_no_corner() -> None:
    rng = np.random.default_rng(3)
    count = 41
    x, z = np.meshgrid(np.linspace(0.0, -800.0, count), np.linspace(300.0, 900.0, count))
    points = np.stack([x, np.full_like(x, 800.0), z], axis=-1).reshape(-1, 3)
    points += rng.uniform(-4.0, 4.0, points.shape)
    number = np.arange(count * count).reshape(count, count)
    a, b, c, d = (
        part.ravel() for part in (number[:-1, :-1], number[:-1, 1:], number[1:, 1:], number[1:, :-1])
    )
    triangles = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)]).astype(np.int32)
    hinge = hinges.hinge_near(with_door(Mesh(points, triangles)), DOOR, (0.0, 800.0, 610.0))
    ends = sorted([hinge.start, hinge.end], key=lambda end: end[2])
    assert ends[0] == pytest.approx((0.0, 800.0, 300.0), abs=15.0)
    assert ends[1] == pytest.approx((0.0, 800.0, 900.0), abs=15.0)


def test_a_scrap_of_a_rim_is_no_hinge_and_the_message_says_what_to_do() -> None:
    scrap = Mesh(np.array([(0.0, 800.0, 0.0), (9.0, 800.0, 0.0), (0.0, 800.0, 9.0)]), np.array([[0, 1, 2]]))
    with pytest.raises(GeometryError, match="Pick two points of the hinge instead"):
        hinges.hinge_near(with_door(scrap), DOOR, (1.0, 800.0, 0.0))


def test_points_that_no_triangle_uses_do_not_move_the_rim() -> None:
    door = car().panels[DOOR].mesh
    loose = Mesh(np.concatenate([np.full((3, 3), 5000.0), door.vertices]), door.triangles + 3)
    place = (-20.0, 800.0, 500.0)
    expected = hinges.hinge_near(car(), DOOR, place)
    assert hinges.hinge_near(with_door(loose), DOOR, place) == expected
