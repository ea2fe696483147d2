"""Doors, bonnets and slides on their way from closed to open, against tubes.

The tube is moved the other way instead, so that the panel's own index serves. A cell is half a length h of
tube either way of a place, at openings half a span k either way of one. With the panel at opening t,
metal nearest to a place on the tube is square to the tube there; so where the middle of the cell, at its
middle opening, is d away from the panel, and moves w during the whole opening, the tube is no nearer in
the cell than sqrt((d - w k)^2 - h^2), a little less on an arc. Cells that may come nearer than asked,
earlier than known, are cut again: nothing is missed, however fast it passes.
"""

import math
from collections.abc import Iterable, Sequence

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import NDArray

from geometry.body.distance import BodyIndex, PanelIndex
from geometry.checks import search
from geometry.checks.finding import Amount, Finding
from geometry.layout import Hinge, Layout, Motion, Panel
from geometry.tolerances import SAME_POINT
from geometry.tube import centreline
from geometry.tube import pieces as pieces_of
from geometry.tube.centreline import Arc, Centreline, Line
from geometry.tube.pieces import Pieces
from geometry.vectors import Floats, Ints, Vec3, any_perpendicular, minus, plus, unit, vec

ACCURACY = 1.0  # mm that a gap on the way is known to, and by which opening must make it less to count
FIRST_HALF, FIRST_WAY = 45.0, 45.0  # mm; half length of the first cells, and half the way they move
MOST_FIRST = 80  # first cells of a piece, each way: of one that runs a kilometre off, most are far away
MOST_PARTS = 4  # that a cell is cut into, each way
AT_ONCE = 0.2  # part of the opening that is looked at together: later cells may not matter any more
LEAST_CUT = ACCURACY / 4.0  # mm; cells that are and move no more are cut no further


class Touch(Struct, frozen=True):
    """A tube that a panel comes too near to while it opens. Openings are radians, or mm of a slide."""

    panel: int
    tube: int
    at: float  # the first opening with less than the room asked for
    touches_at: float | None  # the first opening at which they touch
    least: float  # the least clearance up to there, or on the whole way where they do not touch
    least_at: float
    closed: float | None  # clearance of the closed panel, where that is near
    station: float  # of the tube, where they touch or are nearest
    tube_point: Vec3  # on the tube's outer surface
    panel_point: Vec3  # at that opening


def carrier_of(layout: Layout, panel: int) -> Panel:
    """Return the panel that a panel moves with in the end: itself, where none carries it."""
    carrier, seen = layout.panels[panel], {panel}
    while carrier.moves_with is not None and carrier.moves_with not in seen:
        seen.add(carrier.moves_with)
        carrier = layout.panels[carrier.moves_with]
    return carrier


def full_opening(motion: Motion) -> float:
    """Return how far a panel opens: radians, or mm of a slide."""
    return abs(motion.angle) if isinstance(motion, Hinge) else float(np.linalg.norm(motion.shift))


def moved(motion: Motion, points: Floats, openings: Floats | float) -> Floats:
    """Return points (n, 3) of the closed panel where they are at openings from 0 to 1, one or (n,)."""
    if not isinstance(motion, Hinge):
        return points + np.multiply.outer(openings, motion.shift)
    start = np.array(motion.start)
    axis = unit(np.subtract(motion.end, motion.start))
    away = points - start
    along = (away @ axis)[:, None] * axis
    turn = np.broadcast_to(np.multiply(openings, motion.angle), len(points))[:, None]
    across: Floats = start + along + np.cos(turn) * (away - along) + np.sin(turn) * np.cross(axis, away)
    return across


def measured(
    layout: Layout, index: BodyIndex, panels: Iterable[int], tubes: Iterable[int]
) -> tuple[Touch, ...]:
    """Return where tubes come nearer to panels that open than Limits.swing_margin, to ACCURACY.

    Panels without a motion, and carried by none that has one, are left out. What is nearer than the
    margin when closed counts only if opening brings it nearer.
    """
    ids = list(tubes)
    if not ids:
        return ()
    lines = [centreline.of(layout, layout.tubes[id]) for id in ids]
    radii = np.array([layout.stocks[layout.tubes[id].stock].od / 2.0 for id in ids])
    found: list[Touch] = []
    for panel in panels:
        motion = carrier_of(layout, panel).motion
        if motion is not None and panel in index:
            sweep = _Sweep(lines, radii, index[panel], motion)
            found += sweep.touches(panel, ids, layout.limits.swing_margin)
    return tuple(found)


class _Cells(Struct, frozen=True, eq=False):
    """Parts of pieces of tube, half a length either way of a place, during parts of the opening."""

    line: Ints
    piece: Ints
    along: Floats
    half: Floats
    opening: Floats
    span: Floats

    def chosen(self, which: NDArray[np.integer] | NDArray[np.bool_]) -> "_Cells":
        return _Cells(*(getattr(self, name)[which] for name in self.__struct_fields__))

    def cut(self, parts: Ints, times: Ints) -> "_Cells":
        """Return each cell cut into as many parts of length, and of opening, as asked."""
        count = parts * times
        parent = np.repeat(np.arange(len(count)), count)
        number = np.arange(len(parent)) - (np.cumsum(count) - count)[parent]
        part, time = number % parts[parent], number // parts[parent]
        small = self.chosen(parent)
        half, span = small.half / parts[parent], small.span / times[parent]
        along = small.along - small.half + half * (2 * part + 1)
        opening = small.opening - small.span + span * (2 * time + 1)
        return _Cells(small.line, small.piece, along, half, opening, span)


class _Looked(Struct, frozen=True, eq=False):
    """What the middles of cells are to the panel."""

    gap: Floats  # how far from it
    way: Floats  # how far they move during the whole opening
    least: Floats  # how near to it the cell can come


class _Sweep:
    """One panel on its way, and the lines it may meet."""

    def __init__(self, lines: Sequence[Centreline], radii: Floats, panel: PanelIndex, motion: Motion) -> None:
        self._lines, self._radii, self._panel, self._motion = lines, radii, panel, motion
        self._pieces, self._starts = _joined(lines)

    def touches(self, panel: int, tubes: Sequence[int], margin: float) -> list[Touch]:
        closed = self._closed(margin)
        first = self._first(np.minimum(margin, closed - ACCURACY), np.zeros(len(tubes)))
        near = np.flatnonzero(np.isfinite(first))
        if not len(near):
            return []
        touch_below = np.where(
            np.isin(np.arange(len(tubes)), near), np.minimum(0.0, closed - ACCURACY), -np.inf
        )
        touched = self._first(touch_below, np.where(np.isfinite(first), first, 0.0))
        full = full_opening(self._motion)
        rows = []
        for i in near.tolist():
            hits = bool(np.isfinite(touched[i]))
            opening = float(touched[i]) if hits else self._nearest_opening(i, float(first[i]))
            least, station, on_tube, on_panel = self._at(i, opening)
            rows.append(
                Touch(
                    panel=panel,
                    tube=tubes[i],
                    at=float(first[i]) * full,
                    touches_at=opening * full if hits else None,
                    least=least,
                    least_at=opening * full,
                    closed=float(closed[i]) if np.isfinite(closed[i]) else None,
                    station=station,
                    tube_point=on_tube,
                    panel_point=on_panel,
                )
            )
        return rows

    def _closed(self, margin: float) -> Floats:
        """Return the clearance of each line to the closed panel; infinite where it is no matter."""
        within = self._radii + margin + 2.0 * ACCURACY
        closed = np.full(len(self._lines), np.inf)
        for row in search.closest(self._lines, [self._panel], within, within):
            closed[row.line] = row.gap - self._radii[row.line]
        return closed

    def _first(self, below: Floats, since: Floats) -> Floats:
        """Return for each line the first opening, from `since` on, with less clearance than `below`.

        Infinite where there is none. Lines whose `below` is as low as a clearance can be are left out.
        """
        level = self._radii + below
        first = np.where(level > 0.0, np.inf, -np.inf)
        cells = self._started(since)
        later = self._boxed(cells.chosen(level[cells.line] > 0.0), level)[0]
        while len(later.line):
            now, later = _earliest(later, first)
            cells, looked = self._looked(now, level)
            hit = looked.gap < level[cells.line]
            np.minimum.at(first, cells.line[hit], cells.opening[hit])
            later = _joined_cells(later, _still_open(cells, looked, level[cells.line], first[cells.line]))
        return np.where(level > 0.0, first, np.inf)

    def _nearest_opening(self, line: int, since: float) -> float:
        """Return the opening at which a line that is not touched comes nearest."""
        best, opening = math.inf, since
        begun = np.full(len(self._lines), since)
        cells = self._started(begun)
        cells = cells.chosen(cells.line == line)
        while len(cells.line):
            level = np.full(len(self._lines), min(best, 1.0e6))
            cells, looked = self._looked(cells, level)
            if not len(cells.line):
                break
            lowest = int(looked.gap.argmin())
            if looked.gap[lowest] < best:
                best, opening = float(looked.gap[lowest]), float(cells.opening[lowest])
            cells = _still_open(
                cells, looked, np.full(len(cells.line), best), np.full(len(cells.line), np.inf)
            )
        return opening

    def _started(self, since: Floats) -> _Cells:
        """Return the first cells of all lines, for the openings after `since` (one a line)."""
        pieces = self._pieces
        line = self._piece_lines()
        whole = _Cells(
            line,
            np.arange(len(line)),
            pieces.length / 2.0,
            pieces.length / 2.0,
            (1.0 + since[line]) / 2.0,
            (1.0 - since[line]) / 2.0,
        )
        # Metal need not be square to the line at its ends and at sharp corners: cells of no length.
        piece, along = _corners(pieces, self._starts)
        tips = _Cells(
            line[piece], piece, along, np.zeros(len(piece)), whole.opening[piece], whole.span[piece]
        )
        cells = _joined_cells(whole, tips)
        parts = np.clip(np.ceil(cells.half / FIRST_HALF), 1, MOST_FIRST).astype(np.int64)
        ways = self._ways(pieces.points(cells.piece, cells.along)) + cells.half * self._turn
        times = np.clip(np.ceil(ways * cells.span / FIRST_WAY), 1, MOST_FIRST).astype(np.int64)
        return cells.cut(parts, times)

    def _piece_lines(self) -> Ints:
        sizes = np.diff([*self._starts, len(self._pieces.length)])
        return np.repeat(np.arange(len(self._lines)), sizes)

    @property
    def _turn(self) -> float:
        return abs(self._motion.angle) if isinstance(self._motion, Hinge) else 0.0

    def _ways(self, points: Floats) -> Floats:
        """Return how far points (n, 3) move during the whole opening: (n,)."""
        if not isinstance(self._motion, Hinge):
            return np.full(len(points), full_opening(self._motion))
        axis = unit(np.subtract(self._motion.end, self._motion.start))
        ways: Floats = self._turn * np.linalg.norm(
            np.cross(points - np.array(self._motion.start), axis), axis=1
        )
        return ways

    def _looked(self, cells: _Cells, level: Floats) -> tuple[_Cells, _Looked]:
        """Return the cells that may come below the level by the panel's box, and what they are."""
        cells, seen, ways = self._boxed(cells, level)
        gaps = self._panel.closest(seen)[0]
        return cells, _Looked(gaps, ways, _least(cells, gaps, ways, self._pieces.curvature[cells.piece]))

    def _boxed(self, cells: _Cells, level: Floats) -> tuple[_Cells, Floats, Floats]:
        """Return the cells that the panel's box comes near to, where the panel sees them, and their ways."""
        points = self._pieces.points(cells.piece, cells.along)
        ways = self._ways(points)
        seen = moved(self._motion, points, -cells.opening)
        low, high = self._panel.bounds
        boxed = np.linalg.norm(np.maximum(np.maximum(low - seen, seen - high), 0.0), axis=1)
        near = boxed - cells.half - ways * cells.span < level[cells.line]
        return cells.chosen(near), seen[near], ways[near]

    def _at(self, line: int, opening: float) -> tuple[float, float, Vec3, Vec3]:
        """Return the clearance of a line at an opening, its station, and the places on tube and panel."""
        radius = float(self._radii[line])
        moved_line = _moved_line(self._lines[line], self._motion, opening)
        far = np.array([1.0e7])
        (row,) = search.closest([moved_line], [self._panel], far, far)
        axis_point, panel_point = moved(self._motion, np.array([row.axis_point, row.panel_point]), opening)
        way = centreline.direction_at(self._lines[line], [row.station])[0]
        out = (panel_point - axis_point) / row.gap if row.gap > SAME_POINT else any_perpendicular(way)
        return row.gap - radius, row.station, vec(axis_point + radius * out), vec(panel_point)


def _joined(lines: Sequence[Centreline]) -> tuple[Pieces, Ints]:
    """Return the pieces of all lines as one table, and where each line's begin."""
    tables = [pieces_of.of(line) for line in lines]
    sizes = np.array([len(table.length) for table in tables])
    joined = [np.concatenate([getattr(table, name) for table in tables]) for name in Pieces.__struct_fields__]
    starts: Ints = np.cumsum(sizes) - sizes
    return Pieces(*joined), starts


def _corners(pieces: Pieces, starts: Ints) -> tuple[Ints, Floats]:
    """Return piece and mm along it of the ends of lines and of their sharp corners."""
    count = len(pieces.length)
    lasts = np.append(starts[1:], count) - 1
    straight = pieces.curvature == 0.0
    sharp = np.flatnonzero(straight[1:] & straight[:-1]) + 1
    begins = np.union1d(starts, np.setdiff1d(sharp, starts))
    return (
        np.concatenate([begins, lasts]).astype(np.int64),
        np.concatenate([np.zeros(len(begins)), pieces.length[lasts]]),
    )


def _joined_cells(one: _Cells, other: _Cells) -> _Cells:
    return _Cells(
        *(np.concatenate([getattr(part, name) for part in (one, other)]) for name in one.__struct_fields__)
    )


def _earliest(cells: _Cells, first: Floats) -> tuple[_Cells, _Cells]:
    """Return the cells to look at next, each line's earliest, and those that wait: a hit makes them void."""
    begin = cells.opening - cells.span
    open_still = begin < first[cells.line]
    cells, begin = cells.chosen(open_still), begin[open_still]
    earliest = np.full(len(first), np.inf)
    np.minimum.at(earliest, cells.line, begin)
    is_next = begin <= earliest[cells.line] + AT_ONCE
    return cells.chosen(is_next), cells.chosen(~is_next)


def _least(cells: _Cells, gaps: Floats, ways: Floats, curvature: Floats) -> Floats:
    """Return how near to the panel the line of each cell can be at any of its openings."""
    left = gaps - ways * cells.span
    bow = cells.half**2 * curvature / 2.0
    least = np.sqrt(np.maximum(bow**2 + left**2 - cells.half**2, 0.0)) - bow
    return np.where(left > cells.half, np.maximum(least, 0.0), 0.0)


def _still_open(cells: _Cells, looked: _Looked, level: Floats, first: Floats) -> _Cells:
    """Return the cells that may come below the level before the first time known, cut smaller."""
    way = looked.way * cells.span
    is_open = (
        (looked.least < level - ACCURACY)
        & (cells.opening - cells.span < first)
        & ((cells.half > LEAST_CUT) | (way > LEAST_CUT))
    )
    left, gaps, way, level = cells.chosen(is_open), looked.gap[is_open], way[is_open], level[is_open]
    # With the gap that the whole cell has, parts of this size would be settled; hits are halved in time.
    slack = np.maximum(gaps - (level - ACCURACY), ACCURACY / 2.0) / 2.0
    halves = np.sqrt(slack * np.maximum(gaps + level, slack))
    parts = np.clip(np.ceil(left.half / halves), 1, MOST_PARTS).astype(np.int64)
    times = np.clip(np.ceil(way / slack), 1, MOST_PARTS).astype(np.int64)
    times = np.where((parts == 1) & (times == 1), 2, times)
    return left.cut(parts, times)


def _moved_line(line: Centreline, motion: Motion, opening: float) -> Centreline:
    """Return a line as the open panel sees it: its pieces moved the other way."""

    def back(point: Vec3) -> Vec3:
        return vec(moved(motion, np.array([point]), -opening)[0])

    pieces: list[Line | Arc] = []
    for piece in line.pieces:
        if isinstance(piece, Line):
            pieces.append(Line(back(piece.start), back(piece.end)))
        else:
            centre = back(piece.centre)
            pieces.append(
                Arc(
                    back(piece.start),
                    centre,
                    minus(back(plus(piece.centre, piece.axis)), centre),
                    piece.angle,
                )
            )
    return replace(line, pieces=tuple(pieces))


def findings(layout: Layout, touches: Iterable[Touch]) -> tuple[Finding, ...]:
    """Say which tubes block what opens, and which it passes with too little room; one finding a tube.

    Of a door, its glass and its handle that meet one tube, the first to meet it is named.
    """
    first: dict[tuple[int, int], Touch] = {}
    for touch in touches:
        key = (carrier_of(layout, touch.panel).id, touch.tube)
        if key not in first or _order(touch) < _order(first[key]):
            first[key] = touch
    return tuple(_judged(layout, carrier, touch) for (carrier, _), touch in first.items())


def _order(touch: Touch) -> tuple[float, float]:
    return (math.inf if touch.touches_at is None else touch.touches_at, touch.at)


def _judged(layout: Layout, carrier: int, touch: Touch) -> Finding:
    motion = layout.panels[carrier].motion
    assert motion is not None
    turns = isinstance(motion, Hinge)
    opens = "{panel} opens" if touch.panel == carrier else "{panel} opens with {carrier}"
    if touch.touches_at is not None:
        rule, message = (
            "door.hits",
            opens + " {opening} of {full}, then it meets {tube}, {station} from its start.",
        )
    else:
        rule = "door.room"
        message = opens + ", and at {opening} of {full} it passes {tube} with {value}; {limit} is asked for."
    return Finding(
        rule=rule,
        severity="error" if rule == "door.hits" else "warning",
        message=message + " Move the tube out of its way, or let it open less.",
        tubes=(touch.tube,),
        panels=(touch.panel,) if touch.panel == carrier else (touch.panel, carrier),
        value=touch.least,
        limit=0.0 if rule == "door.hits" else layout.limits.swing_margin,
        quantity="length",
        at=touch.tube_point,
        amounts={
            "opening": Amount(touch.least_at, "angle" if turns else "length"),
            "full": Amount(full_opening(motion), "angle" if turns else "length"),
            "station": Amount(touch.station, "length"),
        },
        words={"carrier": layout.panels[carrier].name},
    )
