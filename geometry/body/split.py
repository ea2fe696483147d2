"""Take faces off a panel as a panel of their own: by growth to creases, by a box, by a loop, by pieces."""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import NDArray

from geometry.body import cleaning
from geometry.body.panels import pointed, remade
from geometry.body.pieces import part_of, piece_numbers
from geometry.errors import GeometryError
from geometry.layout import Layout, Mesh, Panel
from geometry.vectors import Floats, Ints, Vec3, unit

VOTES = 0.2  # of the loop's points: a sheet that fewer of them lie on is another one behind
NEAREST = 32  # triangles that are asked whether a corner of the loop lies on them
ASIDE = 0.1  # what being aside of a triangle counts against being off its plane


class Links(Struct, frozen=True, eq=False):
    """Which triangles share an edge, and how far the surface turns there."""

    pairs: Ints  # (k, 2)
    angles: Floats  # (k,) 0 where the two lie in one plane


def links(mesh: Mesh) -> Links:
    """Return the pairs of triangles that share an edge; where more than two meet, a chain of them."""
    triangles = mesh.triangles.astype(np.int64)
    ends = triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
    owners = np.repeat(np.arange(len(triangles)), 3)
    keys = ends.min(axis=1) * len(mesh.vertices) + ends.max(axis=1)
    order = np.argsort(keys, kind="stable")
    same = np.flatnonzero(keys[order[1:]] == keys[order[:-1]])
    first, second = order[same], order[same + 1]
    a, b, c = (mesh.vertices[triangles[:, corner]] for corner in range(3))
    normals = unit(np.cross(b - a, c - a))
    # Two triangles wound alike run along their common edge in opposite directions.
    alike = np.where(ends[first, 0] == ends[second, 1], 1.0, -1.0)
    before, after = normals[owners[first]], alike[:, None] * normals[owners[second]]
    sines = np.linalg.norm(np.cross(before, after), axis=1)
    angles = np.arctan2(sines, (before * after).sum(axis=1))
    return Links(np.stack([owners[first], owners[second]], axis=1), angles)


def grown(mesh: Mesh, seed_triangle: int, crease_angle: float, known: Links | None = None) -> Ints:
    """Return the triangles (k,) reached from the seed across edges that turn by less than the crease."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    found = links(mesh) if known is None else known
    smooth = found.pairs[found.angles < crease_angle]
    count = len(mesh.triangles)
    graph = coo_array((np.ones(len(smooth), np.int8), (smooth[:, 0], smooth[:, 1])), shape=(count, count))
    _, labels = connected_components(graph, directed=False)
    return np.flatnonzero(labels == labels[seed_triangle])


def in_box(points: Floats, triangles: NDArray[np.int32], low: Vec3, high: Vec3) -> Ints:
    """Return the triangles (k,) whose middle lies in the box between two opposite corners."""
    middles = _middles(points, triangles)
    least, most = np.minimum(low, high), np.maximum(low, high)
    return np.flatnonzero(((middles >= least) & (middles <= most)).all(axis=1))


def inside_loop(points: Floats, triangles: NDArray[np.int32], loop: Sequence[Vec3]) -> Ints:
    """Return the triangles (k,) of the sheet that the loop's points lie on, whose middle is inside it."""
    corners = np.array(loop, dtype=np.float64).reshape(-1, 3)
    if len(corners) < 3:
        raise GeometryError("A loop needs at least three points on the body. Pick more points.")
    centre = corners.mean(axis=0)
    across, up, square = _loop_frame(corners - centre)
    flat = np.stack([(corners - centre) @ across, (corners - centre) @ up], axis=1)
    middles = _middles(points, triangles) - centre
    depth, span = middles @ square, float(np.ptp(flat, axis=0).max())
    depths = (corners - centre) @ square
    near = (depth > depths.min() - span / 2) & (depth < depths.max() + span / 2)
    candidates = np.flatnonzero(near)
    seen = np.stack([middles[candidates] @ across, middles[candidates] @ up], axis=1)
    candidates = candidates[_in_polygon(seen, flat)]
    if not len(candidates):
        return candidates
    return candidates[_voted_for(points, triangles[candidates], corners)]


def _middles(points: Floats, triangles: NDArray[np.int32]) -> Floats:
    middles: Floats = points[triangles].mean(axis=1)
    return middles


def _loop_frame(corners: Floats) -> tuple[Floats, Floats, Floats]:
    """Return two directions in the loop's plane and the one square to it."""
    following = np.roll(corners, -1, axis=0)
    square = unit(np.cross(corners, following).sum(axis=0))
    if not square.any():
        raise GeometryError("The points of the loop lie on one line. Pick points round the part.")
    longest = corners[np.argmax(np.linalg.norm(corners, axis=1))]
    across = unit(longest - (longest @ square) * square)
    return across, np.cross(square, across), square


def _in_polygon(seen: Floats, polygon: Floats) -> NDArray[np.bool_]:
    """Say of each flat point (n, 2) whether it is inside the polygon (k, 2), even-odd."""
    inside = np.zeros(len(seen), bool)
    x, y = seen.T
    for (x0, y0), (x1, y1) in zip(polygon, np.roll(polygon, -1, axis=0), strict=True):
        if y0 != y1:
            spans = (y0 > y) != (y1 > y)
            inside ^= spans & (x < x0 + (y - y0) * (x1 - x0) / (y1 - y0))
    return inside


def _voted_for(points: Floats, triangles: NDArray[np.int32], corners: Floats) -> NDArray[np.bool_]:
    """Say of each triangle whether it hangs together with a sheet on which enough corners lie."""
    from scipy.spatial import cKDTree

    numbers = piece_numbers(Mesh(points, triangles))
    a, b, c = (points[triangles[:, corner]] for corner in range(3))
    middles, normals = (a + b + c) / 3, unit(np.cross(b - a, c - a))
    away, near = cKDTree(middles).query(corners, k=min(NEAREST, len(middles)))
    away, near = away.reshape(len(corners), -1), near.reshape(len(corners), -1)
    # A corner lies on its own sheet's planes, though the sheet behind may have a triangle that is nearer.
    off_plane = np.abs(((corners[:, None] - middles[near]) * normals[near]).sum(axis=2))
    nearest = np.take_along_axis(near, np.argmin(off_plane + ASIDE * away, axis=1)[:, None], axis=1)[:, 0]
    votes = np.bincount(numbers[nearest], minlength=int(numbers.max()) + 1)
    chosen: NDArray[np.bool_] = (votes >= max(1.0, VOTES * len(corners)))[numbers]
    return chosen


def split_panel(layout: Layout, panel: int, triangles: Ints, name: str) -> tuple[Layout, int]:
    """Return the layout with some triangles of a panel as a panel of their own, and its id."""
    old = layout.panels[panel]
    chosen = np.zeros(len(old.mesh.triangles), bool)
    chosen[triangles] = True
    if not chosen.any():
        raise GeometryError(f"Nothing of {old.name} is chosen. Choose a part of it.", (panel,))
    if chosen.all():
        raise GeometryError(f"All of {old.name} is chosen. Leave a part of it, or rename it.", (panel,))
    new = layout.next_id
    taken_off = replace(
        old,
        id=new,
        name=_free_name(layout, name.strip() or f"{old.name} part"),
        mesh=part_of(old.mesh, chosen),
        trim=None,
        source=f"{old.source}#{new}",  # no file names it: a replaced body must not take it for the whole
    )
    rest = remade(old, part_of(old.mesh, ~chosen))
    panels = {**layout.panels, panel: rest, new: taken_off}
    return replace(layout, next_id=new + 1, panels=panels), new


def split_pieces(layout: Layout, panel: int) -> tuple[Layout, tuple[int, ...]]:
    """Return the layout with each large connected piece of a panel as a panel; the largest stays."""
    from geometry.body.pieces import named_pieces

    old = layout.panels[panel]
    first, *others = named_pieces(old.mesh)
    if not others:
        raise GeometryError(f"{old.name} is one piece. Split it by growth, a loop or a box.", (panel,))
    panels: dict[int, Panel] = {**layout.panels, panel: remade(old, first[1])}
    split = replace(layout, panels=panels)
    for number, (_, mesh) in enumerate(others, start=2):
        id = split.next_id
        name = _free_name(split, f"{old.name} {number}")
        added = replace(remade(old, mesh), id=id, name=name, source=f"{old.source}#{id}")
        split = replace(split, next_id=id + 1, panels={**split.panels, id: added})
    return split, tuple(id for id in split.panels if id not in layout.panels)


def join_panels(layout: Layout, panels: Sequence[int]) -> Layout:
    """Return the layout with panels of one body as one panel, the first of them."""
    ids = list(dict.fromkeys(panels))
    if len(ids) < 2:
        raise GeometryError("Choose two or more panels to join.", ids)
    joined = [layout.panels[id] for id in ids]
    if len({panel.body for panel in joined}) > 1:
        raise GeometryError("Panels of different bodies can't be joined. Choose panels of one body.", ids)
    shifts = np.cumsum([0, *(len(panel.mesh.vertices) for panel in joined)])
    vertices = np.concatenate([panel.mesh.vertices for panel in joined])
    triangles = np.concatenate(
        [panel.mesh.triangles.astype(np.int64) + shift for panel, shift in zip(joined, shifts, strict=False)]
    )
    mesh, _ = cleaning.cleaned(vertices, triangles)
    kept = {id: panel for id, panel in layout.panels.items() if id not in ids[1:]}
    after = replace(layout, panels={**kept, ids[0]: remade(joined[0], mesh)})
    return pointed(after, dict.fromkeys(ids[1:], ids[0]))


def _free_name(layout: Layout, name: str) -> str:
    taken = {panel.name for panel in layout.panels.values()}
    free, number = name, 2
    while free in taken:
        free, number = f"{name} {number}", number + 1
    return free
