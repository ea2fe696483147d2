"""Points and directions as tuples of three floats, and the few operations tubes need."""

import math

import numpy as np
from numpy.typing import NDArray

Vec3 = tuple[float, float, float]
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
