"""Tubes that are meant to be welded to panels: gaps too wide to weld, and tubes too deep in the sheet."""

import math
from collections.abc import Callable, Iterable, Iterator

import numpy as np
from msgspec import Struct

from geometry.body.distance import BodyIndex, PanelIndex
from geometry.checks import search, standoff
from geometry.checks.finding import Amount, Finding
from geometry.layout import Layout, Tube
from geometry.tolerances import LENGTH_NOISE
from geometry.tube import centreline, welds
from geometry.tube import pieces as pieces_of
from geometry.tube.centreline import Centreline
from geometry.tube.pieces import Pieces
from geometry.vectors import Floats, Ints, Vec3, vec

ACCURACY = 0.1  # mm; how far a widest gap or a depth may be from the exact one
CELL = 30.0  # mm; half length of the first cells
PARTS = 4  # that a cell is cut into
STEEP = math.cos(math.radians(45.0))  # an end that runs at the sheet steeper than this is welded end on


class Place(Struct, frozen=True):
    """A gap, or how deep, and where on the axis."""

    value: float
    station: float
    at: Vec3


class _Cells(Struct, frozen=True, eq=False):
    """Parts of a line, none across two of its pieces."""

    station: Floats
    half: Floats
    piece: Ints

    def cut(self, which: Ints) -> "_Cells":
        """Return the cells chosen, each in equal parts."""
        half = np.repeat(self.half[which] / PARTS, PARTS)
        off = np.tile(2.0 * np.arange(PARTS) + 1.0 - PARTS, len(which))
        return _Cells(
            np.repeat(self.station[which], PARTS) + off * half, half, np.repeat(self.piece[which], PARTS)
        )


def findings(layout: Layout, index: BodyIndex, tubes: Iterable[int]) -> Iterator[Finding]:
    """Yield what stands against welding tubes to panels where that is meant."""
    for id in sorted(tubes):
        tube = layout.tubes[id]
        if not tube.welds:
            continue
        line = centreline.of(layout, tube)
        radius = layout.stocks[tube.stock].od / 2.0
        for panel, marked in welds.spans(tube, line.length).items():
            for span in marked if panel in index else ():
                yield from _of_span(layout, tube, panel, gap(line, radius, span, index[panel]))
                yield from _too_deep(layout, tube, panel, depth(line, radius, span, index[panel]))


def gap(line: Centreline, radius: float, span: welds.Span, panel: PanelIndex) -> Place:
    """Return the widest gap along a span to the panel it is welded to; end on, that at the end."""
    ends = _end_on(line, radius, span, panel)
    if ends:
        return max(ends, key=lambda place: place.value)

    def bounds(cells: _Cells) -> tuple[Floats, Floats]:
        """Return the distance in the middle of each cell, and what it is nowhere more than."""
        middle, low, high = (
            centreline.point_at(line, cells.station + side * cells.half) for side in (0.0, -1.0, 1.0)
        )
        gaps, _, near = panel.closest(middle)
        most = np.maximum(np.linalg.norm(low - near, axis=1), np.linalg.norm(high - near, axis=1))
        return gaps, most + pieces_of.of(line).curvature[cells.piece] * cells.half**2 / 2.0

    value, station = _most(line, span, bounds)
    return Place(value - radius, station, centreline.place_at(line, station))


def depth(line: Centreline, radius: float, span: welds.Span, panel: PanelIndex) -> Place:
    """Return how far the metal nearest to a span reaches into the tube, most; 0 where it does not.

    The tube's ends count as square, so a foot that stands on a sheet is not in it.
    """
    pieces = pieces_of.of(line)

    def bounds(cells: _Cells) -> tuple[Floats, Floats]:
        """Return how deep the metal nearest to each cell is, and what none near it is deeper than."""
        gaps, _, near = panel.closest(centreline.point_at(line, cells.station))
        station, out = _nearest(pieces, near)
        deep = np.minimum(radius - out, np.minimum(station, line.length - station))
        spread = 1.0 + gaps * pieces.curvature[cells.piece]
        least = np.sqrt(np.maximum(gaps**2 - cells.half**2 * spread, 0.0))
        from_end = np.minimum(cells.station, line.length - cells.station) + cells.half
        return deep, np.minimum(radius - least, from_end)

    value, station = _most(line, span, bounds, 0.0)
    return Place(value, station, centreline.place_at(line, station))


def _nearest(pieces: Pieces, points: Floats) -> tuple[Floats, Floats]:
    """Return for each point (n, 3) the nearest station of a line, and how far that is."""
    count = len(pieces.length)
    piece = np.tile(np.arange(count), len(points))
    asked = np.repeat(points, count, axis=0)
    along = pieces.nearest(piece, asked)
    out = np.linalg.norm(asked - pieces.points(piece, along), axis=1).reshape(-1, count)
    best = (np.arange(len(points)), out.argmin(axis=1))
    return (pieces.start[piece] + along).reshape(-1, count)[best], out[best]


def _most(
    line: Centreline,
    span: welds.Span,
    bounds: Callable[[_Cells], tuple[Floats, Floats]],
    known: float = -math.inf,
) -> tuple[float, float]:
    """Return the most of something along a span and where, to ACCURACY, by bounds of ever smaller parts."""
    best, station = known, span[0]
    cells = _started(line, span)
    while len(cells.station):
        values, most = bounds(cells)
        top = int(np.argmax(values))
        if values[top] > best:
            best, station = float(values[top]), float(cells.station[top])
        # A bound may stay open where metal lies ahead of an end: no part as small as this hides more.
        cells = cells.cut(np.flatnonzero((most > best + ACCURACY) & (cells.half > ACCURACY / 2.0)))
    return best, station


def _started(line: Centreline, span: welds.Span) -> _Cells:
    pieces = pieces_of.of(line)
    low = np.maximum(pieces.start, span[0])
    high = np.minimum(pieces.start + pieces.length, span[1])
    piece = np.flatnonzero(high > low)
    counts = np.ceil((high - low)[piece] / (2.0 * CELL)).astype(np.int64)
    of = np.repeat(piece, counts)
    half = (high - low)[of] / np.repeat(counts, counts) / 2.0
    number = np.arange(len(of)) - np.repeat(np.cumsum(counts) - counts, counts)
    return _Cells(low[of] + half * (2 * number + 1), half, of)


def _end_on(line: Centreline, radius: float, span: welds.Span, panel: PanelIndex) -> list[Place]:
    """Return the gaps at the tube's ends in a span that run at the panel, as a foot does."""
    reach = min(2.0 * radius, line.length)
    found = []
    for end, inner, outward in ((0.0, reach, -1.0), (line.length, line.length - reach, 1.0)):
        if not span[0] - LENGTH_NOISE <= end <= span[1] + LENGTH_NOISE:
            continue
        place = centreline.point_at(line, [inner])
        gaps, _, near = panel.closest(place)
        ahead = float(((near - place)[0] * centreline.direction_at(line, [end])[0]).sum()) * outward
        if ahead < STEEP * gaps[0]:
            continue
        last = welds.part(line, min(end, inner), max(end, inner))
        (row,) = search.closest([last], [panel], np.array([math.inf]), np.array([math.inf]))
        found.append(Place(row.gap, end, vec(row.axis_point)))
    return found


def _of_span(layout: Layout, tube: Tube, panel: int, widest: Place) -> Iterator[Finding]:
    limit = layout.limits.weld_gap
    if widest.value > limit:
        yield Finding(
            rule="weld.gap",
            severity="warning",
            message="{tube} stands {value} off {panel} at {station} from its start, where it is to be welded "
            "to it; {limit} is the widest gap to weld. Move it in there, or end the weld mark before.",
            tubes=(tube.id,),
            panels=(panel,),
            value=widest.value,
            limit=limit,
            quantity="length",
            at=widest.at,
            amounts={"station": Amount(widest.station, "length")},
        )


def _too_deep(layout: Layout, tube: Tube, panel: int, deepest: Place) -> Iterator[Finding]:
    limit = standoff.error(layout.limits)
    if deepest.value > limit:
        yield Finding(
            rule="weld.deep",
            severity="warning",
            message="{tube} cuts {value} into {panel} at {station} from its start, where it is to be welded "
            "to it; scan and build explain no more than {limit}. Move it out there by {difference} or more.",
            tubes=(tube.id,),
            panels=(panel,),
            value=deepest.value,
            limit=limit,
            quantity="length",
            at=deepest.at,
            amounts={"station": Amount(deepest.station, "length")},
        )
