"""What the movement of a body on its mounts takes off a clearance, wherever along the tube it takes most.

The body may be shifted by any vector of a box. The least distance over all shifts is that between the
panel and the tube's axis thickened by that box. Metal nearest to that thickened axis is square to the
side, edge or corner of it that it is nearest to, so each of those is searched as centrelines are in
`search`: by cells, with a bound of second order in their size.
"""

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from geometry.body.distance import PanelIndex
from geometry.checks.search import Closest
from geometry.layout import Limits
from geometry.tolerances import SAME_POINT, STRAIGHT
from geometry.tube import pieces as pieces_of
from geometry.tube.centreline import Centreline
from geometry.tube.pieces import Pieces
from geometry.vectors import Floats, Ints, Vec3

ACCURACY = 0.9  # mm; how much too much room may be said
CHUNK = 45.0  # mm; half length of the first parts of the axis
MOST_PARTS = 8
ROUNDS = 3  # of nearing shift and place to each other; one is enough on most straights
ALONG = np.cos(STRAIGHT)

# Corners, edges and faces of a box of half size 1: where their middle is, and how far they reach from it.
_GRID = np.array([(x, y, z) for x in (-1.0, 0.0, 1.0) for y in (-1.0, 0.0, 1.0) for z in (-1.0, 0.0, 1.0)])
_SIDES = _GRID[(_GRID != 0.0).any(axis=1)]
_REACHES = (_SIDES == 0.0).astype(np.float64)
_DIMENSIONS = _REACHES.sum(axis=1).astype(np.int64)


class Least(Struct, frozen=True):
    """The least distance from an axis to a panel while the body moves, and the station of it."""

    gap: float
    station: float


class _Cells(Struct, frozen=True, eq=False):
    """Parts of thickened axes: half a length either way of a place, shifted, and reaching to the sides."""

    pair: Ints
    piece: Ints
    along: Floats
    half: Floats
    shift: Floats
    reach: Floats

    def chosen(self, which: NDArray[np.integer] | NDArray[np.bool_]) -> "_Cells":
        return _Cells(*(getattr(self, name)[which] for name in self.__struct_fields__))

    def cut_along(self, parts: Ints) -> "_Cells":
        parent, off = _parts(parts)
        small = self.chosen(parent)
        half = small.half / parts[parent]
        return _Cells(small.pair, small.piece, small.along + off * half, half, small.shift, small.reach)

    def cut_across(self, axis: int, parts: Ints) -> "_Cells":
        parent, off = _parts(parts)
        small = self.chosen(parent)
        shift, reach = small.shift.copy(), small.reach.copy()
        reach[:, axis] /= parts[parent]
        shift[:, axis] += off * reach[:, axis]
        return _Cells(small.pair, small.piece, small.along, small.half, shift, reach)


def least(
    lines: Sequence[Centreline], panels: Sequence[PanelIndex], rows: Sequence[Closest], limits: Limits
) -> list[Least]:
    """Return for each row the least distance while the body moves; never more than ACCURACY too large."""
    box = np.array([limits.mount_x, limits.mount_y, limits.mount_z])
    if not rows or not box.any():
        return [Least(row.gap, row.station) for row in rows]
    pieces, first = _joined(lines)
    pairs = _Pairs(pieces, first, rows, box)
    along = pairs.worth_a_look(panels, _chunks(first, pieces, rows))
    ends = pairs.worth_a_look(panels, _ends(first, pieces, lines, rows))
    cells = _stacked([_with_sides(pieces, along, box), _with_box(ends, box)])
    while len(cells.pair):
        gaps, points = pairs.asked(panels, cells)
        pairs.take(cells.pair, cells.piece, cells.shift, points)
        cells = _still_open(pieces, cells, gaps, pairs.gap[cells.pair] - ACCURACY)
    return pairs.found()


class _Pairs:
    """A line and a panel each, with the least distance known so far."""

    def __init__(self, pieces: Pieces, first: Ints, rows: Sequence[Closest], box: Floats) -> None:
        self._pieces, self._box = pieces, box
        self._panel = np.array([row.panel for row in rows])
        self._rows = rows
        self.gap = np.array([row.gap for row in rows])
        self._station = np.array([row.station for row in rows])
        piece = np.array([_piece_at(first, pieces, row.line, row.station) for row in rows])
        points = np.array([row.panel_point for row in rows])
        self.take(np.arange(len(rows)), piece, np.zeros_like(points), points)

    def take(self, pair: Ints, piece: Ints, shift: Floats, points: Floats) -> None:
        """Take points of panels that come nearer to their piece than what is known, from a shift on."""
        for _ in range(ROUNDS):
            along = self._pieces.nearest(piece, points - shift)
            away = points - self._pieces.points(piece, along)
            shift = np.clip(away, -self._box, self._box)
        gaps = np.linalg.norm(away - shift, axis=1)
        order = np.lexsort((gaps, pair))
        leads = order[np.diff(pair[order], prepend=-1) != 0]
        leads = leads[gaps[leads] < self.gap[pair[leads]]]
        better = pair[leads]
        self.gap[better] = gaps[leads]
        self._station[better] = self._pieces.start[piece[leads]] + along[leads]

    def asked(self, panels: Sequence[PanelIndex], cells: _Cells) -> tuple[Floats, Floats]:
        """Return how far the middles of cells are from their panels, and the nearest points there."""
        places = self._pieces.points(cells.piece, cells.along) + cells.shift
        gaps, points = np.empty(len(places)), np.empty((len(places), 3))
        of = self._panel[cells.pair]
        for number in np.unique(of):
            part = of == number
            gaps[part], _, points[part] = panels[number].closest(places[part])
        return gaps, points

    def worth_a_look(self, panels: Sequence[PanelIndex], chunks: _Cells) -> _Cells:
        """Return the parts of the axes that may come nearer than what is known, shifted as they may be."""
        gaps, points = self.asked(panels, chunks)
        self.take(chunks.pair, chunks.piece, chunks.shift, points)
        spread = 1.0 + gaps * self._pieces.curvature[chunks.piece]
        left = np.maximum(gaps - np.linalg.norm(self._box), 0.0)
        worth = np.maximum(self.gap[chunks.pair] - ACCURACY, 0.0)
        return chunks.chosen(left**2 - chunks.half**2 * spread < worth**2)

    def found(self) -> list[Least]:
        return [Least(*both) for both in zip(self.gap.tolist(), self._station.tolist(), strict=True)]


def _still_open(pieces: Pieces, cells: _Cells, gaps: Floats, worth: Floats) -> _Cells:
    """Return the cells that may hold something nearer than is worth a look, cut smaller."""
    curvature = pieces.curvature[cells.piece]
    spread = 1.0 + gaps * curvature
    aslant = np.abs(np.einsum("ij,ij->i", _ways(pieces, cells), cells.reach))
    reach = np.linalg.norm(cells.reach, axis=1)
    aslant += curvature * cells.half * reach
    size = cells.half**2 * spread + reach**2 + 2.0 * cells.half * np.minimum(aslant, reach)
    is_open = (size > 0.0) & (worth > 0.0) & (gaps**2 - size < worth**2)
    left, gaps, worth, spread = cells.chosen(is_open), gaps[is_open], worth[is_open], spread[is_open]
    # Two sizes at right angles, each of this, would be settled with the gap that the whole cell has.
    settled = np.sqrt((gaps**2 - worth**2) / (2.0 * spread))
    along = _count(left.half, settled)
    across = _count(left.reach, settled[:, None])
    stuck = (along == 1) & (across == 1).all(axis=1)
    along[stuck & (left.half > 0.0)] = 2
    across[stuck & (left.half == 0.0)] = np.where(left.reach[stuck & (left.half == 0.0)] > 0.0, 2, 1)
    cut = left
    counts = np.column_stack([along, across])
    for axis in range(3):
        parts = counts[:, 1 + axis]
        cut, counts = cut.cut_across(axis, parts), np.repeat(counts, parts, axis=0)
    return cut.cut_along(counts[:, 0])


def _count(size: Floats, settled: Floats) -> Ints:
    parts: Ints = np.clip(np.ceil(size / np.maximum(settled, SAME_POINT)), 1, MOST_PARTS).astype(np.int64)
    return parts


def _parts(parts: Ints) -> tuple[Ints, Floats]:
    """Return for each of the parts its parent, and its middle in half sizes of a part from the parent's."""
    parent = np.repeat(np.arange(len(parts)), parts)
    number = np.arange(len(parent)) - (np.cumsum(parts) - parts)[parent]
    off: Floats = (2.0 * number + 1.0) - parts[parent]
    return parent, off


def _joined(lines: Sequence[Centreline]) -> tuple[Pieces, Ints]:
    """Return the pieces of all lines as one table, and the first of each line."""
    tables = [pieces_of.of(line) for line in lines]
    columns = [np.concatenate([getattr(t, name) for t in tables]) for name in Pieces.__struct_fields__]
    return Pieces(*columns), np.concatenate([[0], np.cumsum([len(table.length) for table in tables])])


def _piece_at(first: Ints, pieces: Pieces, line: int, station: float) -> int:
    """Return the piece of a line at a station, counted in the joined table."""
    low, high = first[line], first[line + 1]
    return int(low + np.searchsorted(pieces.start[low:high], station, side="right") - 1)


def _ways(pieces: Pieces, cells: _Cells) -> Floats:
    """Return the directions of the axes in the middles of cells."""
    curvature = pieces.curvature[cells.piece]
    turn = cells.along * curvature
    ways: Floats = (
        pieces.forward[cells.piece]
        - (curvature * np.sin(turn))[:, None] * pieces.out[cells.piece]
        + (curvature * np.cos(turn))[:, None] * pieces.across[cells.piece]
    )
    return ways


def _chunks(first: Ints, pieces: Pieces, rows: Sequence[Closest]) -> _Cells:
    """Return the axes of the rows in parts, not yet shifted."""
    spans = [np.arange(first[row.line], first[row.line + 1]) for row in rows]
    pair = np.repeat(np.arange(len(rows)), [len(span) for span in spans])
    piece = np.concatenate(spans)
    half = pieces.length[piece] / 2.0
    none = np.zeros((len(piece), 3))
    whole = _Cells(pair, piece, half, half, none, none)
    return whole.cut_along(np.maximum(np.ceil(half / CHUNK), 1).astype(np.int64))


def _ends(first: Ints, pieces: Pieces, lines: Sequence[Centreline], rows: Sequence[Closest]) -> _Cells:
    """Return the ends of the axes of the rows, and their corners too sharp for a bend; not yet shifted."""
    places = []
    for pair, row in enumerate(rows):
        line = lines[row.line]
        sharp = (bend.start for bend in line.bends if bend.start == bend.end)
        for station in (0.0, line.length, *sharp):
            piece = _piece_at(first, pieces, row.line, station)
            places.append((pair, piece, station - float(pieces.start[piece])))
    pair_of, piece_of, along = (np.array(column) for column in zip(*places, strict=True))
    none = np.zeros((len(places), 3))
    return _Cells(pair_of, piece_of, along, np.zeros(len(places)), none, none)


def _with_sides(pieces: Pieces, chunks: _Cells, box: Floats) -> _Cells:
    """Return the sides of parts of thickened axes: those that edges and corners of the box sweep."""
    made = [chunks.chosen(np.zeros(0, dtype=np.int64))]
    size = tuple(box.tolist())
    for piece in np.unique(chunks.piece):
        of_piece = chunks.chosen(chunks.piece == piece)
        way = None if pieces.curvature[piece] else tuple(pieces.forward[piece].tolist())
        made.append(_spread(of_piece, *_swept(way, size)))
    return _stacked(made)


def _with_box(ends: _Cells, box: Floats) -> _Cells:
    """Return all faces, edges and corners of the box at each of the ends."""
    return _spread(ends, *_distinct(_SIDES * box, _REACHES * box))


def _spread(cells: _Cells, shift: Floats, reach: Floats) -> _Cells:
    """Return each cell once with every one of the shifts and reaches."""
    parent = np.repeat(np.arange(len(cells.pair)), len(shift))
    base = cells.chosen(parent)
    count = len(cells.pair)
    shifts, reaches = np.tile(shift, (count, 1)), np.tile(reach, (count, 1))
    return _Cells(base.pair, base.piece, base.along, base.half, shifts, reaches)


@lru_cache(maxsize=4096)
def _swept(way: Vec3 | None, size: Vec3) -> tuple[Floats, Floats]:
    """Return middles and reaches of the edges and corners of the box whose sweep along a way is outside.

    Along an arc any of them may be; a way along an axis of the car moves the box along itself.
    """
    box = np.array(size)
    keeps = _DIMENSIONS < 2
    if way is not None:
        box = np.where(np.abs(way) > ALONG, 0.0, box)
        if box.all():
            keeps = keeps & ~_hidden(np.array(way))
    return _distinct(_SIDES[keeps] * box, _REACHES[keeps] * box)


def _hidden(way: Floats) -> NDArray[np.bool_]:
    """Return which corners and edges of a box lie inside of what the box sweeps along a way."""
    leans = _SIDES * way
    corner = (_DIMENSIONS == 0) & ((leans > 0.0).all(axis=1) | (leans < 0.0).all(axis=1))
    # An edge is outside where both of its faces lean to the same side of the way.
    leans = _SIDES * np.cross(way, _REACHES)
    product = (leans.sum(axis=1) ** 2 - (leans**2).sum(axis=1)) / 2.0
    hidden: NDArray[np.bool_] = corner | ((_DIMENSIONS == 1) & (product < -(SAME_POINT**2)))
    return hidden


def _distinct(shift: Floats, reach: Floats) -> tuple[Floats, Floats]:
    """Return middles and reaches, each once: a box that is flat has the same ones twice."""
    rows = np.unique(np.column_stack([shift, reach]), axis=0)
    return rows[:, :3].copy(), rows[:, 3:].copy()


def _stacked(cells: Sequence[_Cells]) -> _Cells:
    return _Cells(*(np.concatenate([getattr(c, name) for c in cells]) for name in _Cells.__struct_fields__))
