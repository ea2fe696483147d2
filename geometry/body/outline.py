"""Where a plane cuts triangles: the outline of a panel in a cross-section, exact and without an index."""

import numpy as np
from numpy.typing import NDArray

from geometry.vectors import Floats, Ints, Vec3

ON_PLANE = 1e-7  # mm; vertices no farther off lie on the plane
EDGES = np.array([(0, 1), (1, 2), (2, 0)])


def cut(
    points: Floats, triangles: NDArray[np.integer], origin: Vec3, normal: Vec3, half: float = np.inf
) -> Floats:
    """Return the segments (n, 2, 3) in which a plane cuts triangles, those that come within `half` of origin.

    Triangles that lie in the plane give the edges round them; a triangle that touches it with an edge
    gives that edge, once; one that touches it with a corner gives nothing.
    """
    if not len(triangles) or not len(points):
        return np.zeros((0, 2, 3))
    along = np.asarray(normal, dtype=np.float64)
    along = along / np.linalg.norm(along)
    heights = points @ along - float(np.dot(origin, along))
    near = triangles[_meeting(heights, triangles)].astype(np.int64)
    near = near[_within(points[near], np.asarray(origin, dtype=np.float64), half)]
    off = heights[near]
    off[np.abs(off) <= ON_PLANE] = 0.0
    on_plane = (off == 0.0).sum(axis=1)
    segments = np.concatenate(
        [
            _across(points[near], off),
            points[_edges_on(near[on_plane == 2], off[on_plane == 2], near[on_plane == 3])],
        ]
    )
    if not np.isfinite(half):
        return segments
    return segments[distances(segments, origin) <= half]


def distances(segments: Floats, point: Vec3 | Floats) -> Floats:
    """Return how far segments (n, 2, 3) are from a point: (n,)."""
    gaps: Floats = np.linalg.norm(nearest_points(segments, point) - np.asarray(point), axis=1)
    return gaps


def nearest_points(segments: Floats, point: Vec3 | Floats) -> Floats:
    """Return the point of each segment (n, 2, 3) that is nearest to a point: (n, 3)."""
    starts, ways = segments[:, 0], segments[:, 1] - segments[:, 0]
    squares = np.einsum("ij,ij->i", ways, ways)
    parts = np.einsum("ij,ij->i", np.asarray(point) - starts, ways)
    parts = np.clip(parts / np.where(squares > 0.0, squares, 1.0), 0.0, 1.0)
    nearest: Floats = starts + parts[:, None] * ways
    return nearest


def _meeting(heights: Floats, triangles: NDArray[np.integer]) -> Ints:
    """Return the numbers of the triangles that don't lie wholly on one side of the plane."""
    sides = (heights > ON_PLANE).view(np.int8) - (heights < -ON_PLANE).view(np.int8)
    sums = sides.take(triangles[:, 0])
    sums += sides.take(triangles[:, 1])
    sums += sides.take(triangles[:, 2])
    meeting: Ints = np.flatnonzero((sums != 3) & (sums != -3))
    return meeting


def _within(corners: Floats, origin: Floats, half: float) -> NDArray[np.bool_]:
    """Return which triangles (n, 3, 3) have boxes that reach into the one of `half` about origin."""
    low, high = corners.min(axis=1), corners.max(axis=1)
    inside: NDArray[np.bool_] = ((low <= origin + half) & (high >= origin - half)).all(axis=1)
    return inside


def _across(corners: Floats, off: Floats) -> Floats:
    """Return the segments (n, 2, 3) through triangles with corners on both sides of the plane."""
    is_cut = (off.min(axis=1) < 0.0) & (off.max(axis=1) > 0.0)
    corners, off = corners[is_cut], off[is_cut]
    # The lone corner has the other two on the other side of the plane, or one of them on it.
    sides = np.sign(off)
    lone = np.where(
        (off == 0.0).any(axis=1),
        np.argmax(sides != 0.0, axis=1),
        np.argmax(sides * sides.sum(axis=1)[:, None] < 0.0, axis=1),
    )
    rows = np.arange(len(off))
    ends = []
    for turn in (1, 2):
        other = (lone + turn) % 3
        ends.append(_crossing(corners[rows, lone], corners[rows, other], off[rows, lone], off[rows, other]))
    return np.stack(ends, axis=1) if len(rows) else np.zeros((0, 2, 3))


def _crossing(a: Floats, b: Floats, above: Floats, below: Floats) -> Floats:
    part = (above / (above - below))[:, None]
    crossing: Floats = a + part * (b - a)
    return crossing


def _edges_on(touching: Ints, off: Floats, flat: Ints) -> Ints:
    """Return pairs (n, 2) of vertices: edges with which triangles touch, and those round flat regions."""
    out = (np.argmax(off != 0.0, axis=1) if len(off) else np.zeros(0, dtype=np.int64))[:, None]
    touched = np.take_along_axis(touching, (out + np.array([[1, 2]])) % 3, axis=1)
    sides = np.sort(flat[:, EDGES].reshape(-1, 2), axis=1)
    sides, uses = np.unique(sides, axis=0, return_counts=True)
    edges: Ints = np.unique(np.concatenate([np.sort(touched, axis=1), sides[uses == 1]]), axis=0)
    return edges


def near(points: Floats, triangles: NDArray[np.integer], origin: Vec3, half: float) -> NDArray[np.integer]:
    """Return the triangles whose boxes reach into the one of `half` about origin."""
    for axis in range(3):
        if not len(triangles):
            break
        values = points[:, axis]
        a, b, c = (values.take(triangles[:, corner]) for corner in range(3))
        low, high = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
        triangles = triangles[(low <= origin[axis] + half) & (high >= origin[axis] - half)]
    return triangles
