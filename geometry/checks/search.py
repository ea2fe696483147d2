"""Search along many centrelines at once for the places that come closest to panels.

Centrelines are cut into cells. Metal whose nearest place on a centreline lies in a cell of half length h
about c is square to the line there, so it is at least sqrt(d(c)^2 - h^2) away from a straight piece, and
a little less from an arc. Cells that may still hold something nearer than the best known are cut again.
The bound is of second order in h: a tube along a flat panel takes a cell each 5 mm, not each 0.1 mm.
"""

from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from geometry.body.distance import PanelIndex
from geometry.tolerances import CLEARANCE_ACCURACY, SAME_POINT
from geometry.tube import pieces as pieces_of
from geometry.tube.centreline import Centreline
from geometry.tube.pieces import Pieces
from geometry.vectors import Floats, Ints

FIRST_HALF = 45.0  # mm; half length of the first cells: measured, little depends on it
MOST_PARTS = 8  # that a cell is cut into at once: more would be wasted while the best known still falls
ACCURACY = CLEARANCE_ACCURACY - SAME_POINT  # what panels leave of it: they flatten slivers by SAME_POINT
RUN = 8  # cells that are held against the boxes of panels at once
CACHED_LINES = 4096


class Closest(Struct, frozen=True, eq=False):
    """Where line and panel (indexes into what was searched) come closest, and how close."""

    line: int
    panel: int
    gap: float  # from the centreline
    station: float
    axis_point: Floats
    panel_point: Floats


class _Cells(Struct, frozen=True, eq=False):
    """Parts of pieces, half a length either way of a place, each with the panel it is held against."""

    piece: Ints
    along: Floats
    half: Floats
    line: Ints
    panel: Ints

    def chosen(self, which: NDArray[np.integer] | NDArray[np.bool_]) -> "_Cells":
        return _Cells(*(getattr(self, name)[which] for name in self.__struct_fields__))

    def cut(self, parts: Ints) -> "_Cells":
        """Return each cell cut into as many equal parts as asked."""
        parent = np.repeat(np.arange(len(parts)), parts)
        number = np.arange(len(parent)) - (np.cumsum(parts) - parts)[parent]
        small = self.chosen(parent)
        half = small.half / parts[parent]
        along = small.along - small.half + half * (2 * number + 1)
        return _Cells(small.piece, along, half, small.line, small.panel)


class _Best:
    """The closest places known so far, one row for each line and panel."""

    def __init__(self, lines: int, panels: int, limits: Floats) -> None:
        self.panels = panels
        self.gap = np.repeat(limits, panels)
        self.piece = np.full(lines * panels, -1)
        self.along = np.zeros(lines * panels)
        self.axis_point = np.zeros((lines * panels, 3))
        self.panel_point = np.zeros((lines * panels, 3))

    def take(self, pieces: Pieces, cells: _Cells, points: Floats) -> None:
        """Take the panel points that lie nearer to their cell's piece than what is known."""
        along = pieces.nearest(cells.piece, points)
        axis_points = pieces.points(cells.piece, along)
        gaps = np.linalg.norm(points - axis_points, axis=1)
        rows = cells.line * self.panels + cells.panel
        order = np.lexsort((gaps, rows))
        leads = np.diff(rows[order], prepend=-1) != 0
        first = order[leads]
        first = first[gaps[first] < self.gap[rows[first]]]
        better = rows[first]
        self.gap[better], self.piece[better] = gaps[first], cells.piece[first]
        self.along[better], self.axis_point[better] = along[first], axis_points[first]
        self.panel_point[better] = points[first]

    def worth(self, within: Floats) -> Floats:
        """Return for each row below which distance a cell is still worth a look.

        Panels beyond `within` (one for each line) matter only if nothing else is nearer.
        """
        nearest = self.gap.reshape(-1, self.panels).min(axis=1)
        worth: Floats = np.minimum(self.gap, np.repeat(np.maximum(nearest, within), self.panels)) - ACCURACY
        return worth


def closest(
    lines: Sequence[Centreline], panels: Sequence[PanelIndex], within: Floats, reach: Floats
) -> list[Closest]:
    """Return where each line comes closest to each panel that is nearer than `within` to its axis.

    Beyond `within` (one for each line) only the line's nearest panel is given, and none beyond `reach`.
    """
    if not lines or not panels:
        return []
    pieces, cells = _started(lines)
    best = _Best(len(lines), len(panels), reach)
    cells = _near_boxes(pieces, cells, panels, reach)
    while len(cells.piece):
        gaps, points = _asked(panels, cells.panel, pieces.points(cells.piece, cells.along))
        best.take(pieces, cells, points)
        worth = best.worth(within)[cells.line * len(panels) + cells.panel]
        cells = _still_open(pieces, cells, gaps, worth)
    _settle(pieces, best, panels)
    return _rows(pieces, best, within)


def _started(lines: Sequence[Centreline]) -> tuple[Pieces, _Cells]:
    """Return the pieces of all lines as one table, and their first cells."""
    tables = [_table(line) for line in lines]
    sizes = np.array([len(pieces.length) for pieces, _ in tables])
    pieces = Pieces(*_joined([pieces for pieces, _ in tables]))
    piece, along, half, line, panel = _joined([cells for _, cells in tables])
    counts = [len(cells.piece) for _, cells in tables]
    line = np.repeat(np.arange(len(lines)), counts)
    return pieces, _Cells(piece + (np.cumsum(sizes) - sizes)[line], along, half, line, panel)


def _joined(parts: Sequence[Pieces] | Sequence[_Cells]) -> list[NDArray[Any]]:
    """Return the columns of all parts, one after the other."""
    return [np.concatenate([getattr(part, name) for part in parts]) for name in parts[0].__struct_fields__]


@lru_cache(maxsize=CACHED_LINES)
def _table(line: Centreline) -> tuple[Pieces, _Cells]:
    """Return a line's pieces and its first cells."""
    pieces = pieces_of.of(line)
    length, curvature = pieces.length, pieces.curvature
    parts = np.maximum(np.ceil(length / (2.0 * FIRST_HALF)), 1).astype(np.int64)
    none = np.zeros(len(length), dtype=np.int64)
    whole = _Cells(np.arange(len(length)), length / 2.0, length / 2.0, none, none)
    # Metal need not be square to the line at its ends and at sharp corners: cells of no length.
    sharp = np.flatnonzero((curvature[1:] == 0.0) & (curvature[:-1] == 0.0)) + 1
    piece = np.array([0, *sharp, len(length) - 1], dtype=np.int64)
    along = np.array([0.0] * (len(sharp) + 1) + [length[-1]])
    none = np.zeros(len(piece), dtype=np.int64)
    tips = _Cells(piece, along, np.zeros(len(piece)), none, none)
    return pieces, _Cells(*_joined([whole.cut(parts), tips]))


def _near_boxes(pieces: Pieces, cells: _Cells, panels: Sequence[PanelIndex], reach: Floats) -> _Cells:
    """Return the cells once for each panel whose box is in reach, sorted by panel."""
    low = np.array([index.bounds[0] for index in panels])
    high = np.array([index.bounds[1] for index in panels])
    places, half = pieces.points(cells.piece, cells.along), cells.half[:, None]
    # Runs of cells first: with thousands of panels, most lie near few of them.
    first = np.arange(0, len(places), RUN)
    bottom, top = np.minimum.reduceat(places - half, first), np.maximum.reduceat(places + half, first)
    most = np.maximum.reduceat(reach[cells.line], first)
    panel, run = np.nonzero(_box_gaps(low[:, None], high[:, None], bottom, top) < most)
    sizes = np.diff(first, append=len(places))[run]
    row = np.repeat(np.arange(len(run)), sizes)
    cell = first[run][row] + np.arange(len(row)) - (np.cumsum(sizes) - sizes)[row]
    gaps = _box_gaps(low[panel[row]], high[panel[row]], places[cell], places[cell]) - cells.half[cell]
    is_near = gaps < reach[cells.line[cell]]
    near = cells.chosen(cell[is_near])
    return _Cells(near.piece, near.along, near.half, near.line, panel[row[is_near]])


def _box_gaps(low: Floats, high: Floats, bottom: Floats, top: Floats) -> Floats:
    """Return how far boxes are from others."""
    gaps: Floats = np.linalg.norm(np.maximum(np.maximum(low - top, bottom - high), 0.0), axis=-1)
    return gaps


def _asked(panels: Sequence[PanelIndex], panel: Ints, places: Floats) -> tuple[Floats, Floats]:
    """Return for places sorted by panel the distance to it and its nearest point."""
    gaps, points = np.empty(len(places)), np.empty((len(places), 3))
    cuts = np.searchsorted(panel, np.arange(len(panels) + 1))
    for number, index in enumerate(panels):
        part = slice(cuts[number], cuts[number + 1])
        if part.stop > part.start:
            gaps[part], _, points[part] = index.closest(places[part])
    return gaps, points


def _still_open(pieces: Pieces, cells: _Cells, gaps: Floats, worth: Floats) -> _Cells:
    """Return the cells that may hold something nearer than is worth a look (one for each), cut smaller."""
    spread = 1.0 + gaps * pieces.curvature[cells.piece]
    is_open = (cells.half > 0.0) & (worth > 0.0) & (gaps**2 - cells.half**2 * spread < worth**2)
    gaps, worth, spread = gaps[is_open], worth[is_open], spread[is_open]
    left = cells.chosen(is_open)
    # With the gap that the whole cell has, parts of this half length would be settled.
    settled = np.sqrt((gaps**2 - worth**2) / spread)
    return left.cut(np.clip(np.ceil(left.half / settled), 2, MOST_PARTS).astype(np.int64))


def _settle(pieces: Pieces, best: _Best, panels: Sequence[PanelIndex]) -> None:
    """Ask once more from the places found; it brings a figure from the bound to nearly exact."""
    found = np.flatnonzero(best.piece >= 0)
    found = found[np.argsort(found % best.panels, kind="stable")]
    line, panel = np.divmod(found, best.panels)
    cells = _Cells(best.piece[found], best.along[found], np.zeros(len(found)), line, panel)
    _, points = _asked(panels, panel, best.axis_point[found])
    best.take(pieces, cells, points)


def _rows(pieces: Pieces, best: _Best, within: Floats) -> list[Closest]:
    nearest = best.gap.reshape(-1, best.panels).min(axis=1)
    rows = []
    for row in np.flatnonzero(best.piece >= 0).tolist():
        line, panel = divmod(row, best.panels)
        gap = float(best.gap[row])
        if gap < within[line] or gap == nearest[line]:
            station = float(pieces.start[best.piece[row]] + best.along[row])
            rows.append(Closest(line, panel, gap, station, best.axis_point[row], best.panel_point[row]))
    return rows
