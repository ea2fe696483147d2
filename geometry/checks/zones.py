"""Tubes in access zones, and tubes that reach past limit planes."""

from collections.abc import Iterable
from functools import lru_cache

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from geometry import references, zoning
from geometry.aids import PlaneShape, Reference, Zone
from geometry.checks.finding import Amount, Finding
from geometry.layout import Layout
from geometry.tolerances import CLEARANCE_ACCURACY, SAME_POINT
from geometry.tube import centreline
from geometry.tube.centreline import Centreline
from geometry.vectors import Floats, Ints, Vec3, any_perpendicular, plus, times, vec

SAGITTA = 0.02  # mm between an arc and the chords that are searched instead
PARTS = 8  # that a chord is cut into at once
ACCURACY = CLEARANCE_ACCURACY - SAGITTA
CACHED_LINES = 4096


class InZone(Struct, frozen=True):
    """Where a tube is deepest in a zone, and how deep its surface reaches there."""

    zone: int
    tube: int
    depth: float
    station: float
    at: Vec3  # on the tube's outer surface, the deepest place


class PastLimit(Struct, frozen=True):
    """How far a tube reaches past a limit plane; negative where it keeps just before it."""

    reference: int
    tube: int
    past: float
    station: float
    at: Vec3


def in_zones(layout: Layout, zones: Iterable[int], tubes: Iterable[int]) -> tuple[InZone, ...]:
    """Return the tubes whose outer surface reaches into zones, with the deepest place; ends count as balls.

    The gap to a convex shape is convex along a straight: cut in parts, its least lies beside the least
    part end, so a few cuts find it. A tube wholly inside is found as any other.
    """
    ids = sorted(tubes)
    if not ids:
        return ()
    lines = [centreline.of(layout, layout.tubes[id]) for id in ids]
    radii = np.array([layout.stocks[layout.tubes[id].stock].od / 2.0 for id in ids])
    boxes = [_bounds(line) for line in lines]
    low = np.array([box[0] for box in boxes]) - radii[:, None]
    high = np.array([box[1] for box in boxes]) + radii[:, None]
    rows = []
    for zone in sorted(zones):
        shape = layout.zones[zone].shape
        bottom, top = zoning.bounds(shape)
        near = np.flatnonzero(((low < top) & (high > bottom)).all(axis=1))
        if len(near):
            stations = _deepest(shape, [lines[i] for i in near], radii[near] - SAME_POINT)
            rows += [
                _in_zone(zone, ids[i], shape, lines[i], float(radii[i]), station)
                for i, station in zip(near, stations, strict=True)
                if station is not None
            ]
    return tuple(rows)


def past_limits(layout: Layout, limits: Iterable[int], tubes: Iterable[int]) -> tuple[PastLimit, ...]:
    """Return the tubes that reach past limit planes, or come nearer to them than the build tolerance."""
    room = layout.limits.build_tolerance
    rows = []
    for id in sorted(limits):
        shape = layout.references[id].shape
        assert isinstance(shape, PlaneShape)
        for tube in sorted(tubes):
            reach = references.reach_of(layout, tube, shape)
            if reach.past > SAME_POINT - room:
                rows.append(PastLimit(id, tube, reach.past, reach.station, reach.at))
    return tuple(rows)


def findings(layout: Layout, zones: Iterable[InZone], limits: Iterable[PastLimit]) -> tuple[Finding, ...]:
    return (
        *(_in_the_way(layout.zones[row.zone], row) for row in zones),
        *(_past(layout, layout.references[row.reference], row) for row in limits),
    )


def _in_the_way(zone: Zone, row: InZone) -> Finding:
    return Finding(
        rule="zone.in_the_way",
        severity="warning",
        message="{tube} reaches {depth} into the room kept for “{zone}”, {station} from its start. Move it "
        "out, or make the zone smaller if less room does.",
        tubes=(row.tube,),
        value=-row.depth,
        limit=0.0,
        quantity="length",
        at=row.at,
        amounts={"depth": Amount(row.depth, "length"), "station": Amount(row.station, "length")},
        words={"zone": zone.name},
        aids=(row.zone,),
    )


def _past(layout: Layout, reference: Reference, row: PastLimit) -> Finding:
    amounts = {"station": Amount(row.station, "length")}
    if row.past > SAME_POINT:
        message = "{tube} reaches {past} past “{limit_plane}”, {station} from its start. Move it in there."
        amounts["past"] = Amount(row.past, "length")
    else:
        message = (
            "{tube} keeps {left} before “{limit_plane}”, {station} from its start; the build tolerance "
            "of {tolerance} may take it past."
        )
        amounts["left"] = Amount(max(-row.past, 0.0), "length")
        amounts["tolerance"] = Amount(layout.limits.build_tolerance, "length")
    return Finding(
        rule="reference.past_limit",
        severity="warning" if row.past > SAME_POINT else "note",
        message=message,
        tubes=(row.tube,),
        value=-row.past,
        limit=0.0,
        quantity="length",
        at=row.at,
        amounts=amounts,
        words={"limit_plane": reference.name},
        aids=(row.reference,),
    )


def _in_zone(
    zone: int, tube: int, shape: zoning.Shape, line: Centreline, radius: float, station: float
) -> InZone:
    axis = centreline.place_at(line, station)
    gap = float(zoning.gaps(shape, np.array([axis]))[0])
    out = zoning.way_out(shape, axis)
    if out == (0.0, 0.0, 0.0):
        out = vec(any_perpendicular(centreline.direction_at(line, [station])[0]))
    return InZone(zone, tube, radius - gap, station, plus(axis, times(out, -radius)))


def _deepest(shape: zoning.Shape, lines: list[Centreline], within: Floats) -> list[float | None]:
    """Return the station of each line where its gap to a shape is least, None where it is never within."""
    chords = [_chords(line) for line in lines]
    points, stations, ends = (
        np.concatenate([getattr(each, name) for each in chords]) for name in _Chords.__struct_fields__
    )
    line: Ints = np.repeat(np.arange(len(lines)), [len(each.points) for each in chords])
    best, best_at = within.copy(), np.full(len(lines), -1.0)
    at_points = zoning.gaps(shape, points)
    _take(best, best_at, line, at_points, stations)
    # A gap changes by no more than the way gone: chords that cannot come within are left out.
    left = np.flatnonzero(~ends)
    length = np.linalg.norm(points[left + 1] - points[left], axis=1)
    nearest = (at_points[left] + at_points[left + 1] - length) / 2.0
    left = left[nearest < best[line[left]] - ACCURACY]
    line, start, end = line[left], points[left], points[left + 1]
    here, there = stations[left], stations[left + 1]
    part = np.linspace(0.0, 1.0, PARTS + 1)
    while len(line):
        places = start[:, None] + part[:, None] * (end - start)[:, None]
        gaps = zoning.gaps(shape, places.reshape(-1, 3)).reshape(-1, PARTS + 1)
        lowest = gaps.argmin(axis=1)
        rows = np.arange(len(line))
        least: Floats = gaps[rows, lowest]
        _take(best, best_at, line, least, here + part[lowest] * (there - here))
        # Beside the least of the part ends, as the gap is convex along a chord.
        first, last = np.maximum(lowest - 1, 0), np.minimum(lowest + 1, PARTS)
        size = np.linalg.norm(end - start, axis=1) / PARTS
        is_open = least - size < best[line] - ACCURACY
        here, there = here + part[first] * (there - here), here + part[last] * (there - here)
        start, end = places[rows, first], places[rows, last]
        line, start, end = line[is_open], start[is_open], end[is_open]
        here, there = here[is_open], there[is_open]
    return [station if station >= 0.0 else None for station in best_at.tolist()]


def _take(best: Floats, best_at: Floats, line: Ints, gaps: Floats, stations: Floats) -> None:
    """Write down the least gap of each line and its station, where it is less than what is known."""
    order = np.lexsort((-gaps, line))  # the least of each line is written last
    order = order[gaps[order] < best[line[order]]]
    best[line[order]] = gaps[order]
    best_at[line[order]] = stations[order]


class _Chords(Struct, frozen=True, eq=False):
    """The corners of a polygon along a line, with their stations, and which one is the last."""

    points: Floats
    stations: Floats
    is_end: NDArray[np.bool_]


@lru_cache(maxsize=CACHED_LINES)
def _chords(line: Centreline) -> _Chords:
    points, _, stations = centreline.sample(line, SAGITTA)
    return _Chords(points, stations, np.arange(len(points)) == len(points) - 1)


@lru_cache(maxsize=CACHED_LINES)
def _bounds(line: Centreline) -> tuple[Floats, Floats]:
    """Return a box round a line: round its corners, which its bends cut."""
    corners = np.array(line.points)
    return corners.min(axis=0), corners.max(axis=0)
