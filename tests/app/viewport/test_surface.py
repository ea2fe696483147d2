"""What the pointer meets of a body: exact on a block, where every distance is known."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.viewport.camera import Ray
from app.viewport.surface import Surface
from geometry.layout import Layout, Mesh

BLOCK_LOW, BLOCK_HIGH = (-3000.0, -800.0, 300.0), (600.0, 800.0, 1300.0)


@pytest.fixture(scope="module")
def surface(block_layout: Layout) -> Surface:
    return Surface(block_layout, list(block_layout.panels.values()))


def block_distance(point: tuple[float, float, float]) -> float:
    outside = np.maximum(np.maximum(np.subtract(BLOCK_LOW, point), np.subtract(point, BLOCK_HIGH)), 0.0)
    return float(np.linalg.norm(outside))


def test_a_ray_hits_the_first_metal_and_names_its_panel(surface, block_layout) -> None:
    place = surface.hit(Ray((-1000.0, 5000.0, 700.0), (0.0, -1.0, 0.0)))
    assert place is not None
    assert place.point == pytest.approx((-1000.0, 800.0, 700.0))
    assert place.distance == pytest.approx(4200.0)
    assert block_layout.panels[place.panel].name == "left sill"


def test_a_ray_that_passes_by_hits_nothing(surface) -> None:
    assert surface.hit(Ray((-1000.0, 5000.0, 1400.0), (0.0, -1.0, 0.0))) is None


def test_a_ray_may_start_behind_the_first_metal(surface) -> None:
    place = surface.hit(Ray((-1000.0, 5000.0, 700.0), (0.0, -1.0, 0.0)), start=4300.0)
    assert place is not None
    assert place.point[1] == pytest.approx(-800.0)


@given(
    st.tuples(st.floats(-4000.0, 2000.0), st.floats(3000.0, 5000.0), st.floats(0.0, 3000.0)),
    st.tuples(st.floats(-2900.0, 500.0), st.floats(-700.0, 700.0), st.floats(310.0, 1290.0)),
    st.floats(10.0, 150.0),
)
def test_a_ride_keeps_the_true_nearest_distance(surface, eye, target, offset) -> None:
    direction = np.subtract(target, eye)
    ray = Ray(eye, tuple((direction / np.linalg.norm(direction)).tolist()))
    point = surface.on_offset(ray, offset)
    assert point is not None
    assert block_distance(point) == pytest.approx(offset, abs=0.05)
    away = np.subtract(point, eye)
    assert np.linalg.norm(np.cross(away, ray.direction)) < 1e-6


def test_a_point_in_a_corner_is_pushed_out_until_both_walls_are_far_enough(
    block, with_body, block_layout
) -> None:
    wall = block((-200.0, 800.0, 300.0), (0.0, 2000.0, 1300.0))
    layout = with_body(block_layout, wall, "wall")
    surface = Surface(layout, list(layout.panels.values()))
    point = surface.pushed_out((20.0, 800.0, 700.0), (0.0, 1.0, 0.0), 49.0)
    assert surface.gap(point) == pytest.approx(49.0, abs=0.05) or point[1] > 2000.0


def test_collapsed_triangles_are_passed_over(block, with_body) -> None:
    good = block(BLOCK_LOW, BLOCK_HIGH)
    bad = Mesh(good.vertices, np.concatenate(([[0, 0, 1], [2, 2, 2]], good.triangles)).astype(np.int32))
    layout = with_body(Layout(next_id=1), bad)
    place = Surface(layout, list(layout.panels.values())).hit(Ray((-1000.0, 5000.0, 700.0), (0.0, -1.0, 0.0)))
    assert place is not None
    assert place.triangle >= 2
    corners = bad.vertices[bad.triangles[place.triangle]]
    assert np.all(corners[:, 1] == 800.0)


def test_without_panels_nothing_is_hit_and_everything_is_far() -> None:
    surface = Surface(Layout(), [])
    assert surface.is_empty
    assert surface.hit(Ray((0.0, 0.0, 0.0), (1.0, 0.0, 0.0))) is None
    assert surface.gap((0.0, 0.0, 0.0)) == np.inf
