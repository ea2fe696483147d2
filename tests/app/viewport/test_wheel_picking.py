"""Pointing at wheels: against points of the wheel's cylinder."""

import math

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from app.viewport import wheel_picking
from app.viewport.camera import Ray
from geometry import axles
from geometry.body import tyres
from geometry.layout import Layout

LAYOUT, AXLE = axles.add(Layout())
LAYOUT = axles.change(LAYOUT, AXLE, camber=0.1)
part = st.floats(-0.97, 0.97)


@given(part, part, st.floats(0.0, math.tau), st.floats(-1.2, 1.2), st.sampled_from(["left", "right"]))
def test_a_ray_to_a_place_in_a_wheel_enters_it_before(
    along: float, aside: float, yaw: float, pitch: float, side: tyres.Side
) -> None:
    wheel = tyres.wheel(LAYOUT.axles[AXLE], side)
    x, y = along * wheel.tyre.od / 2.0, aside * wheel.tyre.width / 2.0
    cos, sin = math.cos(wheel.lean), math.sin(wheel.lean)
    target = np.add(wheel.centre, (x, y * cos, y * sin))
    way = np.array([math.cos(yaw) * math.cos(pitch), math.sin(yaw) * math.cos(pitch), math.sin(pitch)])
    ray = Ray(tuple((target - 9000.0 * way).tolist()), tuple(way.tolist()))
    found = wheel_picking.axle_at(LAYOUT, ray)
    assert found is not None
    axle, far = found
    assert axle == AXLE
    assert far <= 9000.0
    assert min(_skin_gap(one, np.array(ray.at(far))) for one in tyres.wheels(LAYOUT.axles[AXLE])) < 1e-6


def _skin_gap(wheel: tyres.Wheel, point: np.ndarray) -> float:
    """Return how far a point of a wheel's cylinder is from its skin."""
    axis = np.array([0.0, math.cos(wheel.lean), math.sin(wheel.lean)])
    away = point - np.array(wheel.centre)
    y = float(away @ axis)
    radius = float(np.linalg.norm(away - y * axis))
    past = max(abs(y) - wheel.tyre.width / 2.0, radius - wheel.tyre.od / 2.0)
    return abs(past)


def test_a_ray_that_passes_by_or_away_finds_none() -> None:
    assert wheel_picking.axle_at(LAYOUT, Ray((0.0, 5000.0, 2000.0), (0.0, -1.0, 0.0))) is None
    assert wheel_picking.axle_at(LAYOUT, Ray((0.0, 5000.0, 300.0), (0.0, 1.0, 0.0))) is None
    assert wheel_picking.axle_at(Layout(), Ray((0.0, 5000.0, 300.0), (0.0, -1.0, 0.0))) is None
