"""Take out of a mesh what has no surface or stands twice, and count it."""

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from geometry.layout import Mesh
from geometry.vectors import Floats, Ints

NO_HEIGHT = 1e-9  # of the longest edge: a triangle flatter than float noise has no surface


class Cleaned(Struct, frozen=True):
    """What was taken out of a file's meshes."""

    duplicate_faces: int = 0
    collapsed_faces: int = 0
    merged_vertices: int = 0
    unused_vertices: int = 0

    def plus(self, other: "Cleaned") -> "Cleaned":
        return Cleaned(*(getattr(self, name) + getattr(other, name) for name in self.__struct_fields__))


def cleaned(vertices: Floats, triangles: Ints) -> tuple[Mesh, Cleaned]:
    """Return the mesh without vertices that coincide, collapsed and duplicate triangles, and the counts."""
    representative = _first_alike(vertices)
    triangles = representative[triangles]
    kept = _has_surface(vertices, triangles)
    collapsed = len(triangles) - int(kept.sum())
    triangles = triangles[kept]
    kept = _first_of_each(triangles, len(vertices))
    duplicates = len(triangles) - int(kept.sum())
    triangles = triangles[kept]
    used = np.zeros(len(vertices), bool)
    used[triangles] = True
    merged = len(vertices) - int((representative == np.arange(len(vertices))).sum())
    counts = Cleaned(duplicates, collapsed, merged, len(vertices) - merged - int(used.sum()))
    return frozen_mesh(vertices[used], (np.cumsum(used) - 1)[triangles]), counts


def frozen_mesh(vertices: Floats, triangles: "Ints | NDArray[np.int32]") -> Mesh:
    """Return a mesh whose arrays nobody can write to."""
    mesh = Mesh(np.ascontiguousarray(vertices, np.float64), np.ascontiguousarray(triangles, np.int32))
    mesh.vertices.setflags(write=False)
    mesh.triangles.setflags(write=False)
    return mesh


def _first_alike(vertices: Floats) -> Ints:
    """Return for each vertex the index of one that lies exactly there (n,)."""
    count = len(vertices)
    if count == 0:
        return np.empty(0, np.int64)
    positions = np.ascontiguousarray(vertices + 0.0)  # makes -0.0 and 0.0 one
    order = np.argsort(_hashes(positions))
    ordered = positions[order]
    starts = np.ones(count, bool)
    starts[1:] = (ordered[1:] != ordered[:-1]).any(axis=1)
    first = np.minimum.reduceat(order, np.flatnonzero(starts))
    representative = np.empty(count, np.int64)
    representative[order] = first[np.cumsum(starts) - 1]
    return representative


def _hashes(rows: "Floats | Ints") -> NDArray[np.uint64]:
    """Return one number for each row (n, 3): equal rows have equal numbers."""
    bits = rows.view(np.uint64)
    mixed = bits[:, 0] * np.uint64(0x9E3779B97F4A7C15)
    for column in (1, 2):
        mixed ^= mixed >> np.uint64(29)
        mixed = (mixed + bits[:, column]) * np.uint64(0xBF58476D1CE4E5B9)
    return mixed ^ (mixed >> np.uint64(32))


def _has_surface(vertices: Floats, triangles: Ints) -> NDArray[np.bool_]:
    """Say of each triangle whether its height stands out of float noise (m,)."""
    a, b, c = (vertices[triangles[:, corner]] for corner in range(3))
    doubled = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    longest = np.maximum(((b - a) ** 2).sum(axis=1), ((c - a) ** 2).sum(axis=1))
    longest = np.maximum(longest, ((c - b) ** 2).sum(axis=1))
    stands: NDArray[np.bool_] = doubled > NO_HEIGHT * longest
    return stands


def _first_of_each(triangles: Ints, vertex_count: int) -> NDArray[np.bool_]:
    """Say of each triangle whether no earlier one has the same corners, in whatever order (m,)."""
    corners = np.sort(triangles, axis=1)
    order = np.argsort(_hashes(corners), kind="stable")
    ordered = corners[order]
    is_first = np.ones(len(triangles), bool)
    is_first[order[1:]] = (ordered[1:] != ordered[:-1]).any(axis=1)
    return is_first
