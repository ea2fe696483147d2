"""Straighten a body that stands askew in its file: find its plane of symmetry in any direction."""

import math

import numpy as np

from geometry.body.shape import Sample
from geometry.vectors import Floats, any_perpendicular, unit

STARTS_EVERY = math.radians(15.0)  # the search finds a plane that is half of this away
FEW, MORE = 600, 3000  # sample points for the search and for the last word
STEPS = 8
CLOSE_PART = 0.7  # of the points: what one side has alone must not pull the plane


def straightening(sample: Sample) -> Floats:
    """Return the smallest turn (rows) after which the body's plane of symmetry is square to an axis."""
    from scipy.optimize import least_squares
    from scipy.spatial import cKDTree

    tree = cKDTree(sample.points)
    few, more = _some(sample.points, FEW), _some(sample.points, MORE)
    middle = sample.points.mean(axis=0)
    found = [_settled(sample, tree, few, normal, middle) for normal in _starts()]
    normal, through, _ = min(found, key=lambda plane: plane[2])
    aside = any_perpendicular(normal)
    other = np.cross(normal, aside)
    size = float(np.linalg.norm(sample.high - sample.low))

    def off(change: Floats) -> Floats:
        tilted = unit(normal + change[0] * aside + change[1] * other)
        return _off_plane(sample, tree, more, tilted, through + change[2] * size * normal) / size

    best = least_squares(off, np.zeros(3), loss="soft_l1", f_scale=0.001, diff_step=1e-5).x
    return _onto_axis(unit(normal + best[0] * aside + best[1] * other))


def angle_of(turn: Floats) -> float:
    """Return by how much a turn turns (rad); its trace can't tell angles near nothing."""
    sine = np.linalg.norm([turn[2, 1] - turn[1, 2], turn[0, 2] - turn[2, 0], turn[1, 0] - turn[0, 1]]) / 2
    return math.atan2(float(sine), (float(np.trace(turn)) - 1.0) / 2)


def _some(points: Floats, count: int) -> Floats:
    return points[:: max(1, len(points) // count)]


def _starts() -> list[Floats]:
    """Return normals of planes that stand upright whichever of y and z is up."""
    angles = np.arange(0.0, math.pi, STARTS_EVERY)
    upright = [np.array([math.cos(angle), math.sin(angle), 0.0]) for angle in angles]
    return upright + [normal[[0, 2, 1]] for normal in upright]


def _settled(
    sample: Sample, tree: object, points: Floats, normal: Floats, through: Floats
) -> tuple[Floats, Floats, float]:
    """Return the plane near a first one that fits the pairs of points and nearest mirror images best."""
    apart = np.empty(0)
    for _ in range(STEPS):
        images = _mirrored(points, normal, through)
        apart, nearest = tree.query(images)  # type: ignore[attr-defined]
        close = apart <= np.quantile(apart, CLOSE_PART)
        pairs = sample.points[nearest[close]] - points[close]
        _, directions = np.linalg.eigh(pairs.T @ pairs)
        normal = directions[:, 2] * np.sign(directions[:, 2] @ normal)
        through = (sample.points[nearest[close]] + points[close]).mean(axis=0) / 2
    return normal, through, float(np.quantile(apart, CLOSE_PART))


def _mirrored(points: Floats, normal: Floats, through: Floats) -> Floats:
    images: Floats = points - 2.0 * ((points - through) @ normal)[:, None] * normal
    return images


def _off_plane(sample: Sample, tree: object, points: Floats, normal: Floats, through: Floats) -> Floats:
    """Return how far each mirror image lies off the surface nearest to it (n,)."""
    images = _mirrored(points, normal, through)
    _, nearest = tree.query(images)  # type: ignore[attr-defined]
    off: Floats = ((images - sample.points[nearest]) * sample.normals[nearest]).sum(axis=1)
    return off


def _onto_axis(normal: Floats) -> Floats:
    """Return the turn (rows) by the shortest way from a direction to the nearest axis."""
    axis = np.zeros(3)
    nearest = int(np.argmax(np.abs(normal)))
    axis[nearest] = np.sign(normal[nearest])
    cosine, square = float(normal @ axis), np.cross(normal, axis)
    x, y, z = square
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    turn: Floats = np.eye(3) + cross + cross @ cross / (1.0 + cosine)
    return turn
