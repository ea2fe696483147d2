"""Points and directions as tuples of three floats, and the few operations tubes need."""

import math

import numpy as np
from numpy.typing import NDArray

Vec3 = tuple[float, float, float]
Rows3 = tuple[Vec3, Vec3, Vec3]
UNTURNED: Rows3 = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def vec(values: "Floats | list[float] | Vec3") -> Vec3:
    """Return three numbers as a tuple of Python floats."""
    x, y, z = values
    return (float(x), float(y), float(z))


def is_finite(point: Vec3) -> bool:
    return all(math.isfinite(value) for value in point)


def distance(a: Vec3, b: Vec3) -> float:
    return math.dist(a, b)


def unit(v: Floats) -> Floats:
    """Return v (..., 3) scaled to length 1. Vectors of length 0 stay 0."""
    length = np.linalg.norm(v, axis=-1, keepdims=True)
    scaled: Floats = np.divide(v, length, out=np.zeros_like(v, dtype=np.float64), where=length > 0)
    return scaled


def angle_between(a: Floats, b: Floats) -> float:
    """Return the angle between two directions in [0, pi]; atan2, exact near 0 and pi."""
    return float(np.arctan2(np.linalg.norm(np.cross(a, b)), np.dot(a, b)))


def turned(v: Floats, axis: Floats, angle: float) -> Floats:
    """Return v turned by angle about a unit axis, right-handed (Rodrigues)."""
    along = np.dot(axis, v) * axis
    result: Floats = along + math.cos(angle) * (v - along) + math.sin(angle) * np.cross(axis, v)
    return result


def any_perpendicular(v: Floats) -> Floats:
    """Return some unit vector square to v."""
    helper = np.zeros(3)
    helper[int(np.argmin(np.abs(v)))] = 1.0
    return unit(np.cross(v, helper))


def minus(a: Vec3, b: Vec3) -> Vec3:
    return (a[0] - b[0], a[1] - b[1], a[2] - b[2])


def plus(a: Vec3, b: Vec3) -> Vec3:
    return (a[0] + b[0], a[1] + b[1], a[2] + b[2])


def times(a: Vec3, factor: float) -> Vec3:
    return (a[0] * factor, a[1] * factor, a[2] * factor)


def dot(a: Vec3, b: Vec3) -> float:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def cross(a: Vec3, b: Vec3) -> Vec3:
    return (a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0])


def direction(start: Vec3, end: Vec3) -> Vec3:
    """Return the unit vector from start to end; x where the two are one point."""
    length = math.dist(start, end)
    return times(minus(end, start), 1.0 / length) if length > 0.0 else (1.0, 0.0, 0.0)


def image(point: Vec3) -> Vec3:
    """Return the mirror image of a point across the centre plane."""
    return (point[0], -point[1], point[2])


def between(start: Vec3, end: Vec3, part: float) -> Vec3:
    """Return the point at a part (0 to 1) of the way."""
    return plus(start, times(minus(end, start), part))
