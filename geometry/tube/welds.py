"""Spans of a tube that are meant to be welded to panels: which they are, and how they follow the tube.

A span that begins at the tube's start keeps beginning there, and one without an end keeps ending with the
tube. Every other end stays where it is in space when the tube changes.
"""

import math

from msgspec.structs import replace

from geometry.layout import Layout, Tube, Weld
from geometry.tolerances import SAME_POINT
from geometry.tube import centreline
from geometry.tube.centreline import Arc, Centreline, Line
from geometry.vectors import cross, minus, plus, times

Span = tuple[float, float]  # stations


def spans(tube: Tube, length: float) -> dict[int, list[Span]]:
    """Return for each panel the spans of a tube of this length that are welded to it, in order, apart."""
    marked: dict[int, list[Span]] = {}
    for weld in tube.welds:
        span = span_of(weld, length)
        if span[1] - span[0] > SAME_POINT:
            marked.setdefault(weld.panel, []).append(span)
    return {panel: united(found) for panel, found in marked.items()}


def span_of(weld: Weld, length: float) -> Span:
    """Return where on a tube of this length a weld begins and ends."""
    end = length if weld.end is None else min(weld.end, length)
    return min(max(weld.start, 0.0), length), max(end, 0.0)


def rest(marked: list[Span], length: float) -> list[Span]:
    """Return what spans that lie apart and in order leave of a tube."""
    left, reached = [], 0.0
    for start, end in marked:
        left.append((reached, start))
        reached = end
    left.append((reached, length))
    return [span for span in left if span[1] - span[0] > SAME_POINT]


def covers(tube: Tube, length: float, panel: int, station: float) -> bool:
    """Say whether a tube is meant to be welded to a panel at a station."""
    return any(start <= station <= end for start, end in spans(tube, length).get(panel, ()))


def part(line: Centreline, start: float, end: float) -> Centreline:
    """Return a part of a centreline as a line of its own; its stations count from where it begins."""
    pieces: list[Line | Arc] = []
    stations: list[float] = []
    ends = (*line.stations[1:], line.length)
    for piece, first, last in zip(line.pieces, line.stations, ends, strict=True):
        low, high = max(first, start), min(last, end)
        if high - low > 0.0:
            stations.append(low - start)
            pieces.append(_cut(piece, low - first, high - first))
    places = (centreline.place_at(line, start), centreline.place_at(line, end))
    return Centreline(places, tuple(pieces), tuple(stations), end - start, (), (), line.is_makeable)


def _cut(piece: Line | Arc, start: float, end: float) -> Line | Arc:
    if isinstance(piece, Line):
        length = math.dist(piece.start, piece.end)
        along = times(minus(piece.end, piece.start), 1.0 / length)
        return Line(plus(piece.start, times(along, start)), plus(piece.start, times(along, end)))
    radius = centreline.radius_of(piece)
    out = minus(piece.start, piece.centre)
    turn = start / radius
    first = plus(times(out, math.cos(turn)), times(cross(piece.axis, out), math.sin(turn)))
    return Arc(plus(piece.centre, first), piece.centre, piece.axis, (end - start) / radius)


# How they follow a change of the tube


def clipped(welds: tuple[Weld, ...], length: float) -> tuple[Weld, ...]:
    """Return the welds within a tube of this length; what has nothing left is dropped."""
    kept = []
    for weld in welds:
        start, end = span_of(weld, length)
        if end - start > SAME_POINT:
            is_same = start == weld.start and (weld.end is None or end == weld.end)
            kept.append(weld if is_same else replace(weld, start=start, end=weld.end and end))
    return welds if len(kept) == len(welds) and all(map(_is, kept, welds)) else tuple(kept)


def reversed_on(welds: tuple[Weld, ...], length: float) -> tuple[Weld, ...]:
    """Return the welds of a tube that runs the other way."""
    turned = []
    for weld in welds:
        start, end = span_of(weld, length)
        new_end = None if weld.start <= 0.0 else length - start
        turned.append(replace(weld, start=0.0 if weld.end is None else length - end, end=new_end))
    return tuple(turned)


def shared_out(
    welds: tuple[Weld, ...], length: float, at: float, later: float
) -> tuple[tuple[Weld, ...], tuple[Weld, ...]]:
    """Return the welds of both parts of a tube that is cut at a station."""
    first, second = [], []
    for weld in welds:
        start, end = span_of(weld, length)
        if at - start > SAME_POINT:
            first.append(replace(weld, start=start, end=None if end >= at else end))
        if end - at > SAME_POINT:
            # Counted from the end: where a bend became a mitre, the part is longer than what was cut off.
            new_end = None if weld.end is None else end - length + later
            new_start = start - length + later if start > at else 0.0
            second.append(replace(weld, start=max(new_start, 0.0), end=new_end))
    return tuple(first), tuple(second)


def united(found: list[Span]) -> list[Span]:
    """Return spans in order, those that touch joined."""
    united: list[Span] = []
    for start, end in sorted(found):
        if united and start <= united[-1][1] + SAME_POINT:
            united[-1] = (united[-1][0], max(end, united[-1][1]))
        else:
            united.append((start, end))
    return united


def _is(one: object, other: object) -> bool:
    return one is other


def is_welded(layout: Layout, tube: Tube) -> bool:
    """Say whether a tube is meant to be welded to a panel that is kept."""
    return any(weld.panel in layout.panels and layout.panels[weld.panel].kept for weld in tube.welds)
