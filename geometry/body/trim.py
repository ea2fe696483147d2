"""Cut a panel where it comes nearer to something than a margin.

The gap changes no faster than the place, so an edge whose ends are both farther from the level than it is
long is not crossed. The others are halved until they are short; where they cross the level they are
cut. Edges are halved and cut by themselves, so neighbouring triangles stay joined.
"""

from collections.abc import Callable

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from geometry.tolerances import SAME_POINT
from geometry.vectors import Floats, Ints

FINEST = 8.0  # mm; edges near the cut are no longer: on a curve of 200 mm the cut is 0.04 mm beside them
BISECTIONS = 10  # of an edge of FINEST: to 0.01 mm
CRUMB = 400.0  # mm2; smaller pieces that a cut leaves are dust, or an artefact of a rough scan
ISLAND = 20000.0  # mm2; smaller ones that hang on nothing but the cut fall out with it
WELD_PLACES = 6  # decimals of a mm; float noise of a placed scan is far below
MOST_ROUNDS = 30  # of halving; a panel of 8 m takes ten

GapOf = Callable[[Floats], Floats]


class Sheet(Struct, frozen=True, eq=False):
    """Points (n, 3) and triangles (m, 3)."""

    points: Floats
    triangles: Ints

    @property
    def area(self) -> float:
        return float(areas(self.points, self.triangles).sum())


class Cut(Struct, frozen=True, eq=False):
    """What stays of a panel, what comes off, and the lines between: (k, 3), closed ones end as they begin."""

    rest: Sheet
    offcut: Sheet
    lines: tuple[Floats, ...]
    parts: int = 1  # that the rest has of each piece the cut went through, at most
    islands: int = 0  # that hung on nothing but the cut and fell out with it; neither rest nor offcut


def cut(points: Floats, triangles: NDArray[np.integer], gap_of: GapOf, margin: float) -> Cut:
    """Cut away what has a gap of less than the margin.

    `gap_of` gives for points (n, 3) their gaps (n,), changing no faster than the place. The lines are on the
    panel, within 0.1 mm of the level for the triangles given.
    """
    sheet, level = _refined(_welded(points, triangles), gap_of, margin)
    is_off = level < 0.0
    count = is_off[sheet.triangles].sum(axis=1)
    whole_rest, whole_off = sheet.triangles[count == 0], sheet.triangles[count == 3]
    mixed = sheet.triangles[(count > 0) & (count < 3)]
    if not len(mixed):
        return Cut(_used(sheet.points, whole_rest), _used(sheet.points, whole_off), ())
    points, rest, off, segments = _divided(sheet.points, level, mixed, gap_of, margin)
    rest, islands = _without_crumbs(points, np.concatenate([whole_rest, rest]), segments)
    stays = np.zeros(len(points), dtype=bool)
    stays[rest] = True
    lines = _chained(points, segments[stays[segments].all(axis=1)])
    offcut = np.concatenate([whole_off, off])
    parts = _parts(np.concatenate([rest, offcut]), rest)
    return Cut(_used(points, rest), _used(points, offcut), lines, parts, islands)


def areas(points: Floats, triangles: NDArray[np.integer]) -> Floats:
    """Return the area of each triangle (m,)."""
    a, b, c = (points[triangles[:, corner]] for corner in range(3))
    found: Floats = np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2.0
    return found


def _refined(sheet: Sheet, gap_of: GapOf, margin: float) -> tuple[Sheet, Floats]:
    """Halve edges near the level until they are short; return the sheet and the level of its points."""
    points, triangles = sheet.points, sheet.triangles
    level = gap_of(points) - margin
    for _ in range(MOST_ROUNDS):
        edges, of_triangle = _edges(triangles)
        length = np.linalg.norm(points[edges[:, 0]] - points[edges[:, 1]], axis=1)
        near = np.abs(level[edges]).min(axis=1) <= length
        halved = (length > FINEST) & near
        if not halved.any():
            break
        middle = np.full(len(edges), -1)
        middle[halved] = len(points) + np.arange(int(halved.sum()))
        added = points[edges[halved]].mean(axis=1)
        points, level = np.concatenate([points, added]), np.concatenate([level, gap_of(added) - margin])
        triangles = _with_middles(triangles, middle[of_triangle])
    return Sheet(points, triangles), level


def _edges(triangles: Ints) -> tuple[Ints, Ints]:
    """Return the edges (k, 2), and for each triangle those opposite its corners 2, 0, 1: (m, 3)."""
    ends = np.sort(triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    size = int(ends.max()) + 1 if len(ends) else 1
    flat, of_triangle = np.unique(ends[:, 0] * size + ends[:, 1], return_inverse=True)
    edges: Ints = np.stack(np.divmod(flat, size), axis=1)
    return edges, np.asarray(of_triangle).reshape(-1, 3)


def _with_middles(triangles: Ints, middle: Ints) -> Ints:
    """Return the triangles, cut where their edges (ab, bc, ca) have a middle (-1: none)."""
    # Turned so that what is halved comes first: one edge ab, two ab and bc, or all three.
    has = middle >= 0
    count = has.sum(axis=1)
    first = np.where(count == 2, (np.argmin(has, axis=1) + 1) % 3, np.argmax(has, axis=1))
    order = (first[:, None] + np.arange(3)) % 3
    a, b, c = np.take_along_axis(triangles, order, axis=1).T
    ab, bc, ca = np.take_along_axis(middle, order, axis=1).T
    parts = [triangles[count == 0]]
    for number, pieces in (
        (1, ((a, ab, c), (ab, b, c))),
        (2, ((ab, b, bc), (a, ab, bc), (a, bc, c))),
        (3, ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))),
    ):
        parts += [np.stack([corner[count == number] for corner in piece], axis=1) for piece in pieces]
    return np.concatenate(parts)


def _divided(
    points: Floats, level: Floats, mixed: Ints, gap_of: GapOf, margin: float
) -> tuple[Floats, Ints, Ints, Ints]:
    """Cut triangles that the level crosses: points with those of the cut, rest, offcut, and its segments."""
    edges, of_triangle = _edges(mixed)
    is_off = level < 0.0
    crossed = is_off[edges[:, 0]] != is_off[edges[:, 1]]
    middle = np.full(len(edges), -1)
    middle[crossed] = len(points) + np.arange(int(crossed.sum()))
    points = np.concatenate([points, _crossings(points, level, edges[crossed], gap_of, margin)])
    middle = middle[of_triangle]
    # Turned so that the corner that is alone on its side comes first.
    off = is_off[mixed]
    lone_is_off = off.sum(axis=1) == 1
    lone = np.where(lone_is_off, np.argmax(off, axis=1), np.argmin(off, axis=1))
    order = (lone[:, None] + np.arange(3)) % 3
    a, b, c = np.take_along_axis(mixed, order, axis=1).T
    ab, _, ca = np.take_along_axis(middle, order, axis=1).T
    tips = np.stack([a, ab, ca], axis=1)
    stumps = np.concatenate([np.stack([ab, b, c], axis=1), np.stack([ab, c, ca], axis=1)])
    twice = np.concatenate([lone_is_off, lone_is_off])
    rest = np.concatenate([tips[~lone_is_off], stumps[twice]])
    offcut = np.concatenate([tips[lone_is_off], stumps[~twice]])
    return points, rest, offcut, np.stack([ab, ca], axis=1)


def _crossings(points: Floats, level: Floats, edges: Ints, gap_of: GapOf, margin: float) -> Floats:
    """Return where edges (k, 2) cross the level: (k, 3)."""
    inside = np.where((level[edges[:, 0]] < 0.0)[:, None], edges, edges[:, ::-1])
    low, high = points[inside[:, 0]], points[inside[:, 1]]
    for _ in range(BISECTIONS):
        half = (low + high) / 2.0
        is_off = (gap_of(half) < margin)[:, None]
        low, high = np.where(is_off, half, low), np.where(is_off, high, half)
    return high  # the side that stays


def _welded(points: Floats, triangles: NDArray[np.integer]) -> Sheet:
    """Return a sheet whose triangles share the points that lie at one place."""
    _, first, same = np.unique(np.round(points, WELD_PLACES), axis=0, return_index=True, return_inverse=True)
    return Sheet(points[first], np.asarray(same).reshape(-1)[np.asarray(triangles, dtype=np.int64)])


def _parts(whole: Ints, rest: Ints) -> int:
    """Return in how many parts the rest of a piece of the whole is, at most."""
    if not len(rest):
        return 0
    of_rest = _pieces(rest)
    one_each = np.unique(of_rest, return_index=True)[1]
    of_whole = _pieces(whole)[: len(rest)][one_each]  # the whole begins with the rest
    return int(np.bincount(of_whole).max())


def _without_crumbs(points: Floats, triangles: Ints, segments: Ints) -> tuple[Ints, int]:
    """Return the triangles without what falls out with the cut: dust, and islands, which are counted."""
    if not len(triangles):
        return triangles, 0
    piece = _pieces(triangles)
    size = np.bincount(piece, areas(points, triangles))
    on_cut = np.zeros(len(points), dtype=bool)
    on_cut[segments] = True
    touched = np.zeros(len(size), dtype=bool)
    touched[piece[on_cut[triangles].any(axis=1)]] = True
    edges, of_triangle = _edges(triangles)
    uses = np.bincount(of_triangle.reshape(-1), minlength=len(edges))
    # A rim with an end off the cut was there before; an edge of sheet between two places on it is rare.
    old_rim = (uses == 1) & ~on_cut[edges].all(axis=1)
    held = np.zeros(len(size), dtype=bool)
    held[piece[old_rim[of_triangle].any(axis=1)]] = True
    falls = touched & ((size < CRUMB) | ((size < ISLAND) & ~held))
    kept: Ints = triangles[~falls[piece]]
    return kept, int((falls & (size >= CRUMB)).sum())


def _used(points: Floats, triangles: Ints) -> Sheet:
    """Return a sheet without points that nothing uses."""
    if not len(triangles):
        return Sheet(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int64))
    used, renumbered = np.unique(triangles, return_inverse=True)
    return Sheet(points[used], np.asarray(renumbered).reshape(-1, 3))


def _pieces(triangles: Ints) -> Ints:
    """Return for each triangle (m,) the number of the connected piece it is in."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    count = int(triangles.max()) + 1
    pairs = triangles[:, [0, 1, 1, 2]].reshape(-1, 2)
    links = coo_array((np.ones(len(pairs), dtype=np.int8), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    _, label = connected_components(links, directed=False)
    numbers: Ints = np.unique(label[triangles[:, 0]], return_inverse=True)[1].astype(np.int64)
    return numbers


def _chained(points: Floats, segments: Ints) -> tuple[Floats, ...]:
    """Return segments (k, 2) as lines, each as long as it runs on; closed ones repeat their first point."""
    beside: dict[int, list[int]] = {}
    for number, pair in enumerate(segments.tolist()):
        for end in pair:
            beside.setdefault(end, []).append(number)
    left = set(range(len(segments)))
    lines = []
    # Open lines begin at their ends; what is left after them runs in rings.
    ends = [point for point, at in beside.items() if len(at) != 2]
    for start in (*ends, *beside):
        while any(number in left for number in beside[start]):
            line = _walked(segments, beside, left, start)
            places = points[line]
            apart = np.linalg.norm(np.diff(places, axis=0), axis=1) > SAME_POINT
            places = places[np.concatenate([[True], apart])]
            if len(places) > 1:
                lines.append(places)
    return tuple(lines)


def _walked(segments: Ints, beside: dict[int, list[int]], left: set[int], start: int) -> list[int]:
    """Return the points of one line from a start, taking its segments out of those left."""
    line, here = [start], start
    while True:
        onward = next((number for number in beside[here] if number in left), None)
        if onward is None:
            return line
        left.remove(onward)
        a, b = segments[onward].tolist()
        here = b if a == here else a
        line.append(here)
        if len(beside[here]) != 2:
            return line
