"""The distance index of a panel: nearest points on its triangles, and whether a point is wrapped by them."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from geometry.body import placement
from geometry.layout import Layout
from geometry.tolerances import SAME_POINT
from geometry.vectors import Floats, Ints

GRID = 8.0  # mm that large panels are drawn to for winding; less than the radius of what runs there
LARGE = 200_000  # triangles
LARGEST_GRID = 2.0**62  # cells that can be numbered
WRAPPED = 0.75  # of a turn; open doors and holes in a scan cost some of the whole turn


class PanelIndex:
    """Answers questions about one set of triangles; open, doubled and inside-out meshes are fine.

    libigl keeps the GIL while it builds and asks, so only a child process or a command uses this.
    """

    def __init__(self, vertices: Floats, triangles: NDArray[np.integer]) -> None:
        import igl

        self._source = (vertices, triangles)
        self.vertices = np.ascontiguousarray(vertices, dtype=np.float64)
        self.triangles = np.asarray(triangles)
        if not len(self.triangles):
            raise ValueError("a panel needs at least one triangle")
        corners = self.vertices[self.triangles]
        if not np.isfinite(corners).all():
            raise ValueError("the vertices of a panel must be finite numbers")
        # One axis at a time: twenty times faster than over both of the others at once.
        axes = [corners[:, :, axis] for axis in range(3)]
        self.bounds = (np.array([x.min() for x in axes]), np.array([x.max() for x in axes]))
        self._elements = _slivers_as_edges(self.triangles, corners)
        self._tree = igl.AABB()
        self._tree.init(self.vertices, self._elements)
        self._turns: Any = None

    def is_of(self, vertices: Floats, triangles: NDArray[np.integer]) -> bool:
        """Say whether the index was made of these very arrays."""
        return self._source[0] is vertices and self._source[1] is triangles

    def closest(self, points: Floats) -> tuple[Floats, Ints, Floats]:
        """Return for points (n, 3) the distance (n,), the triangle (n,) and the nearest point (n, 3)."""
        asked = np.ascontiguousarray(points, dtype=np.float64).reshape(-1, 3)
        if not len(asked):
            return np.zeros(0), np.zeros(0, dtype=np.int64), np.zeros((0, 3))
        squared, triangle, nearest = self._tree.squared_distance(self.vertices, self._elements, asked)
        return np.sqrt(squared), triangle, nearest.reshape(-1, 3)

    def winding(self, points: Floats) -> Floats:
        """Return how often the panel wraps each point (n, 3): 1 inside a closed mesh, -1 if inside out.

        Of large panels a coarse copy is asked: a point must be GRID or more off those.
        """
        import igl

        if self._turns is None:
            self._turns = igl.FastWindingNumberBVH()
            is_large = len(self.triangles) > LARGE
            vertices, triangles = (
                _drawn_to_grid(self.vertices, self.triangles) if is_large else (self.vertices, self.triangles)
            )
            self._turns.init(vertices, triangles.astype(np.int64))
        asked = np.ascontiguousarray(points, dtype=np.float64).reshape(-1, 3)
        turns: Floats = np.asarray(self._turns.winding_number(asked)).reshape(-1)
        return turns

    def stops(self, starts: Floats, directions: Floats) -> NDArray[np.bool_]:
        """Return which rays from starts (n, 3) along directions (n, 3) the panel stops."""
        stopped, _, _ = self._tree.intersect_ray_first(self.vertices, self._elements, starts, directions)
        hits: NDArray[np.bool_] = np.asarray(stopped) >= 0
        return hits

    def inside(self, points: Floats) -> NDArray[np.bool_]:
        """Return which points (n, 3) the panel wraps by itself."""
        wrapped: NDArray[np.bool_] = np.abs(self.winding(points)) > WRAPPED
        return wrapped

    @property
    def is_closed(self) -> bool:
        """Whether each edge is shared by exactly two triangles."""
        edges = np.sort(self.triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
        _, uses = np.unique(edges, axis=0, return_counts=True)
        return bool((uses == 2).all())


BodyIndex = dict[int, PanelIndex]  # by panel id


def build(layout: Layout, known: BodyIndex | None = None) -> BodyIndex:
    """Index the kept panels; those whose triangles and place are as in `known` are taken from there."""
    index = {}
    for id, panel in layout.panels.items():
        if panel.kept and len(panel.mesh.triangles):
            vertices = placement.panel_vertices(layout, panel)
            old = known.get(id) if known else None
            is_same = old is not None and old.is_of(vertices, panel.mesh.triangles)
            index[id] = old if old is not None and is_same else PanelIndex(vertices, panel.mesh.triangles)
    return index


def _drawn_to_grid(vertices: Floats, triangles: NDArray[np.integer]) -> tuple[Floats, NDArray[np.integer]]:
    """Return a mesh with each corner in the middle of its cell of a grid, so that it has far fewer triangles.

    No place moves by GRID, and panels that share an edge still do: farther off, it wraps what it did.
    """
    cells = np.floor(vertices / GRID)
    low = cells.min(axis=0)
    sizes = cells.max(axis=0) - low + 1.0
    if sizes.prod() > LARGEST_GRID:
        return vertices, triangles
    x, y, z = (cells - low).astype(np.int64).T
    _, first, number = np.unique(
        (x * int(sizes[1]) + y) * int(sizes[2]) + z, return_index=True, return_inverse=True
    )
    drawn = number[triangles]
    a, b, c = drawn.T
    return (cells[first] + 0.5) * GRID, drawn[(a != b) & (b != c) & (c != a)]


def _slivers_as_edges(triangles: NDArray[np.integer], corners: Floats) -> Ints:
    """Return the triangles, those flatter than SAME_POINT replaced by their longest edge.

    Nearest points on slivers drown in rounding; the edge is right to within the sliver's height.
    """
    edges = np.roll(corners, -1, axis=1) - corners
    lengths = np.sqrt(np.einsum("ijk,ijk->ij", edges, edges))
    doubled_area = np.linalg.norm(np.cross(edges[:, 0], edges[:, 1]), axis=1)
    slivers = np.flatnonzero(doubled_area <= SAME_POINT * lengths.max(axis=1))
    longest = lengths[slivers].argmax(axis=1)
    first = triangles[slivers, longest]
    second = triangles[slivers, (longest + 1) % 3]
    elements: Ints = np.array(triangles, dtype=np.int64, order="C")
    elements[slivers] = np.column_stack([first, second, second])
    return elements
