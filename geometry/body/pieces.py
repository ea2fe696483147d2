"""The connected pieces of a mesh."""

import numpy as np

from geometry.body.cleaning import frozen_mesh
from geometry.layout import Mesh
from geometry.vectors import Ints

MOST_PIECES = 24
LEAST_PART = 0.002  # of all triangles; smaller pieces go together
SMALL_PIECES = "small pieces"


def piece_numbers(mesh: Mesh) -> Ints:
    """Return for each triangle (m,) the number of its connected piece; 0 is the largest."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    a, b, c = mesh.triangles.T
    count = len(mesh.vertices)
    starts, ends = np.concatenate([a, b]), np.concatenate([b, c])
    links = coo_array((np.ones(len(starts), np.int8), (starts, ends)), shape=(count, count))
    _, labels = connected_components(links, directed=False)
    _, of_triangle = np.unique(labels[a], return_inverse=True)
    by_size = np.argsort(-np.bincount(of_triangle), kind="stable")
    rank = np.empty(len(by_size), np.int64)
    rank[by_size] = np.arange(len(by_size))
    numbers: Ints = rank[of_triangle]
    return numbers


def named_pieces(mesh: Mesh) -> list[tuple[str, Mesh]]:
    """Return the larger connected pieces, largest first, and the small ones as one."""
    numbers = piece_numbers(mesh)
    counts = np.bincount(numbers)
    if len(counts) == 1:
        return [("piece 1", mesh)]
    large = int((counts >= LEAST_PART * len(numbers)).sum())
    large = min(max(large, 1), MOST_PIECES)
    named = [(f"piece {index + 1}", part_of(mesh, numbers == index)) for index in range(large)]
    if large < len(counts):
        named.append((SMALL_PIECES, part_of(mesh, numbers >= large)))
    return named


def part_of(mesh: Mesh, which: "np.ndarray[tuple[int], np.dtype[np.bool_]] | Ints") -> Mesh:
    """Return some of the triangles as a mesh of their own."""
    triangles = mesh.triangles[which]
    used = np.zeros(len(mesh.vertices), bool)
    used[triangles] = True
    return frozen_mesh(mesh.vertices[used], (np.cumsum(used) - 1)[triangles])
