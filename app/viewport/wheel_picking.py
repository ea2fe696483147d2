"""Which axle's wheel lies under the pointer. Imports no Qt."""

import math

import numpy as np

from app.viewport.camera import Ray
from geometry.body.tyres import Wheel
from geometry.checks import tyres
from geometry.layout import Layout


def axle_at(layout: Layout, ray: Ray) -> tuple[int, float] | None:
    """Return the axle of the first wheel at ride height along a ray, and how far along it is."""
    hits = [(far, axle) for (axle, _), wheel in tyres.wheels(layout).items() for far in _hit(wheel, ray)]
    if not hits:
        return None
    far, axle = min(hits)
    return axle, far


def _hit(wheel: Wheel, ray: Ray) -> list[float]:
    """Return how far along a ray it enters a wheel as a plain cylinder; nothing where it passes by."""
    cos, sin = math.cos(wheel.lean), math.sin(wheel.lean)
    turn = np.array([[1.0, 0.0, 0.0], [0.0, cos, sin], [0.0, -sin, cos]])
    x, y, z = turn @ np.subtract(ray.origin, wheel.centre)
    dx, dy, dz = turn @ np.array(ray.direction)
    enter, leave = _within(y, dy, wheel.tyre.width / 2.0)
    across = dx * dx + dz * dz
    if across < 1e-12:
        if math.hypot(x, z) > wheel.tyre.od / 2.0:
            return []
    else:
        middle = -(x * dx + z * dz) / across
        inside = middle * middle - (x * x + z * z - (wheel.tyre.od / 2.0) ** 2) / across
        if inside < 0.0:
            return []
        enter, leave = max(enter, middle - math.sqrt(inside)), min(leave, middle + math.sqrt(inside))
    return [enter] if 0.0 < enter <= leave else []


def _within(place: float, speed: float, half: float) -> tuple[float, float]:
    """Return between which distances a coordinate is within half of nought."""
    if abs(speed) < 1e-12:
        return (-math.inf, math.inf) if abs(place) <= half else (math.inf, -math.inf)
    ends = sorted(((-half - place) / speed, (half - place) / speed))
    return ends[0], ends[1]
