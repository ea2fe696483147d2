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
    merged = 0
    if representative is not None:
        merged = len(vertices) - int((representative == np.arange(len(vertices))).sum())
        triangles = representative[triangles]
    total = len(triangles)
    triangles = _only(triangles, _has_surface(vertices, triangles))
    collapsed = total - len(triangles)
    triangles = _only(triangles, _first_of_each(triangles))
    duplicates = total - collapsed - len(triangles)
    used = np.zeros(len(vertices), bool)
    used[triangles.ravel()] = True
    if not used.all():
        vertices, triangles = vertices[used], (np.cumsum(used) - 1)[triangles]
    return frozen_mesh(vertices, triangles), Cleaned(
        duplicates, collapsed, merged, len(used) - merged - len(vertices)
    )


def _only(triangles: Ints, kept: NDArray[np.bool_]) -> Ints:
    return triangles if kept.all() else triangles[kept]


def frozen_mesh(vertices: Floats, triangles: "Ints | NDArray[np.int32]") -> Mesh:
    """Return a mesh whose arrays nobody can write to."""
    mesh = Mesh(np.ascontiguousarray(vertices, np.float64), np.ascontiguousarray(triangles, np.int32))
    mesh.vertices.setflags(write=False)
    mesh.triangles.setflags(write=False)
    return mesh


def _first_alike(vertices: Floats) -> Ints | None:
    """Return for each vertex the first one that lies exactly there (n,), or None if no two coincide."""
    positions = np.ascontiguousarray(vertices + 0.0)  # makes -0.0 and 0.0 one
    hashes = _hashes(positions)
    if not _repeats(hashes):
        return None
    order = np.argsort(hashes)
    ordered = positions[order]
    starts = np.ones(len(order), bool)
    starts[1:] = _differ(ordered[1:], ordered[:-1])
    first = np.minimum.reduceat(order, np.flatnonzero(starts))
    representative = np.empty(len(order), np.int64)
    representative[order] = first[np.cumsum(starts) - 1]
    return representative


def _repeats(hashes: NDArray[np.uint64]) -> bool:
    """Say whether any hash stands twice; sorting them alone takes half the time of ordering by them."""
    ordered = np.sort(hashes)
    return bool((ordered[1:] == ordered[:-1]).any())


def _differ(rows: "Floats | Ints", others: "Floats | Ints") -> NDArray[np.bool_]:
    """Say of each row (n, 3) whether it differs from the other (n,)."""
    apart = rows != others
    differ: NDArray[np.bool_] = apart[:, 0] | apart[:, 1] | apart[:, 2]
    return differ


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
    b -= a
    c -= a
    doubled_squared = _squares(np.cross(b, c))
    longest = np.maximum(_squares(b), _squares(c))
    longest = np.maximum(longest, _squares(c - b))
    stands: NDArray[np.bool_] = doubled_squared > (NO_HEIGHT * longest) ** 2
    return stands


def _squares(rows: Floats) -> Floats:
    """Return the squared length of each row (n, 3): (n,)."""
    squares: Floats = np.einsum("ij,ij->i", rows, rows)
    return squares


def _first_of_each(triangles: Ints) -> NDArray[np.bool_]:
    """Say of each triangle whether no earlier one has the same corners, in whatever order (m,)."""
    corners = np.sort(triangles, axis=1)
    hashes = _hashes(corners)
    is_first = np.ones(len(triangles), bool)
    if _repeats(hashes):
        order = np.argsort(hashes, kind="stable")
        ordered = corners[order]
        is_first[order[1:]] = _differ(ordered[1:], ordered[:-1])
    return is_first
