"""How close tubes that share no joint come to each other."""

import math
from collections.abc import Iterable

import numpy as np
from msgspec import Struct

from geometry.checks.finding import Amount, Finding
from geometry.layout import Layout, Limits, Tube
from geometry.tube import apart, centreline
from geometry.tube.apart import Apart
from geometry.tube.centreline import Centreline, Line
from geometry.vectors import Vec3, between, cross, direction, distance, dot, minus, plus, times

PARALLEL = math.sin(math.radians(5.0))  # straights that lie closer to parallel run beside each other
Seats = dict[int, dict[int, list[Vec3]]]  # by tube, then by the tube that it is joined to: where

LONG_RUN = 150.0  # mm; along less than this a torch comes in past an end


class Beside(Struct, frozen=True):
    """How far straights of two tubes run side by side within a torch's reach, and from which stations."""

    run: float
    stations: tuple[float, float]
    at: Vec3


class Pair(Struct, frozen=True):
    """Two tubes with no node in common, and what is said of them unless a third one joins them."""

    tubes: tuple[int, int]
    finding: Finding


def measured(layout: Layout, tubes: Iterable[int]) -> tuple[Pair, ...]:
    """Return the pairs with one of these tubes in them that there is something to say about."""
    limits = layout.limits
    near = _near_boxes(layout, sorted(tubes), _reach(limits))
    lines = {id: centreline.of(layout, layout.tubes[id]) for id in {id for pair in near for id in pair}}
    radii = {id: _radius(layout, id) for id in lines}
    both = [radii[first] + radii[second] for first, second in near]
    rows = apart.closest([(lines[i], lines[j]) for i, j in near], np.array(both) + _reach(limits))
    pairs = []
    for tubes_of, reach, row in zip(near, both, rows, strict=True):
        found = row and _judged(tubes_of, row, reach, lines, limits)
        if found:
            pairs.append(Pair(tubes_of, found))
    return tuple(pairs)


def findings(layout: Layout, pairs: Iterable[Pair]) -> tuple[Finding, ...]:
    """Return what is said of the pairs; those that meet on the same place of a third one share that joint."""
    pairs = tuple(pairs)
    if not pairs:
        return ()
    seats = _seats(layout, {id for pair in pairs for id in pair.tubes})
    return tuple(pair.finding for pair in pairs if not _meet_on_a_third(layout, seats, *pair.tubes))


def share_a_joint(layout: Layout, first: Tube, second: Tube) -> bool:
    """Say whether two tubes have a node in common or one sits on the other."""
    return (
        not set(first.nodes).isdisjoint(second.nodes)
        or second.id in _hosts(layout, first)
        or first.id in _hosts(layout, second)
    )


def _hosts(layout: Layout, tube: Tube) -> list[int]:
    landings = (layout.nodes[id].landing for id in tube.nodes)
    return [landing.tube for landing in landings if landing is not None]


def _meet_on_a_third(layout: Layout, seats: Seats, first: int, second: int) -> bool:
    """Say whether both are joined to the same tube so close together that they are coped to each other."""
    hosts = seats[first].keys() & seats[second].keys()
    if not hosts:
        return False
    near = _radius(layout, first) + _radius(layout, second)
    return any(
        distance(here, there) < near
        for host in hosts
        for here in seats[first][host]
        for there in seats[second][host]
    )


def _seats(layout: Layout, tubes: set[int]) -> Seats:
    """Return for each tube the tubes that it is joined to, and where."""
    at_node: dict[int, list[int]] = {}
    for tube in layout.tubes.values():
        for number in tube.nodes:
            at_node.setdefault(number, []).append(tube.id)
    seats: Seats = {}
    for id in tubes:
        own = seats[id] = {}
        for number in layout.tubes[id].nodes:
            node = layout.nodes[number]
            hosts = [other for other in at_node[number] if other != id]
            for host in (*hosts, *([node.landing.tube] if node.landing else [])):
                own.setdefault(host, []).append(node.position)
    return seats


def _reach(limits: Limits) -> float:
    return max(limits.tube_gap, limits.weld_room, 0.0)


def _radius(layout: Layout, id: int) -> float:
    return layout.stocks[layout.tubes[id].stock].od / 2.0


def _near_boxes(layout: Layout, asked: list[int], reach: float) -> list[tuple[int, int]]:
    """Return the pairs, lower id first, whose boxes come within reach and that share no joint."""
    if not asked or len(layout.tubes) < 2:
        return []
    ids = sorted(layout.tubes)
    nodes = layout.nodes
    corners = [[nodes[node].position for node in layout.tubes[id].nodes] for id in ids]
    counts = [len(points) for points in corners]
    points = np.array([point for run in corners for point in run])
    starts = np.concatenate([[0], np.cumsum(counts[:-1])]).astype(np.int64)
    radii = np.array([_radius(layout, id) for id in ids])[:, None] + reach / 2.0
    low = np.minimum.reduceat(points, starts) - radii
    high = np.maximum.reduceat(points, starts) + radii
    rows = np.searchsorted(ids, asked)
    close = ((low[rows, None] < high) & (low < high[rows, None])).all(axis=2)
    row, column = np.nonzero(close)
    found = {(min(pair), max(pair)) for pair in zip(rows[row].tolist(), column.tolist(), strict=True)}
    pairs = [(ids[i], ids[j]) for i, j in sorted(found) if i != j]
    return [pair for pair in pairs if not share_a_joint(layout, *(layout.tubes[id] for id in pair))]


def _beside(first: Centreline, second: Centreline, room: float) -> Beside | None:
    """Return the longest run of two straights closer than room, where it is a long one."""
    runs = [
        run
        for mine, start in _straights(first)
        for theirs, other in _straights(second)
        if (run := _run(mine, theirs, start, other, room)) is not None
    ]
    return max(runs, key=lambda run: run.run, default=None)


def _straights(line: Centreline) -> list[tuple[Line, float]]:
    found = zip(line.pieces, line.stations, strict=True)
    return [
        (piece, start)
        for piece, start in found
        if isinstance(piece, Line) and distance(piece.start, piece.end) > LONG_RUN
    ]


def _run(mine: Line, theirs: Line, start: float, other: float, room: float) -> Beside | None:
    """Return where one straight lies beside another one and closer than room, if for longer than LONG_RUN."""
    along, way = direction(mine.start, mine.end), direction(theirs.start, theirs.end)
    if math.hypot(*cross(along, way)) > PARALLEL:
        return None
    # The part of mine that lies abreast of theirs, as mm along mine.
    cosine = dot(along, way)
    ahead = dot(minus(theirs.start, mine.start), way)
    ends = sorted((ahead / cosine, (ahead + distance(theirs.start, theirs.end)) / cosine))
    low, high = max(ends[0], 0.0), min(ends[1], distance(mine.start, mine.end))
    # The square of the distance to their line is a parabola along mine.
    away = minus(mine.start, theirs.start)
    flat, slope = minus(away, times(way, dot(away, way))), minus(along, times(way, cosine))
    a, b, c = dot(slope, slope), dot(flat, slope), dot(flat, flat) - room**2
    if a > 1e-18:
        under = b * b - a * c
        if under <= 0.0:
            return None
        low, high = max(low, (-b - math.sqrt(under)) / a), min(high, (-b + math.sqrt(under)) / a)
    elif c >= 0.0:
        return None
    if high - low <= LONG_RUN:
        return None
    middle = plus(mine.start, times(along, (low + high) / 2.0))
    there = dot(minus(plus(mine.start, times(along, low)), theirs.start), way)
    return Beside(high - low, (start + low, other + there), middle)


def _judged(
    tubes: tuple[int, int], row: Apart, radii: float, lines: dict[int, Centreline], limits: Limits
) -> Finding | None:
    clearance = row.distance - radii
    if clearance < 0.0:
        return _crossing(tubes, clearance, row)
    if clearance < limits.tube_gap:
        return _close(tubes, clearance, row, limits)
    if clearance >= limits.weld_room:
        return None
    beside = _beside(lines[tubes[0]], lines[tubes[1]], limits.weld_room + radii)
    return _side_by_side(tubes, clearance, beside, limits) if beside is not None else None


def _crossing(tubes: tuple[int, int], clearance: float, row: Apart) -> Finding:
    return Finding(
        rule="tubes.crossing",
        severity="error",
        message="{tube} and {other} run into each other, {station} from the start of {tube} and {there} from "
        "the start of {other}. Move them {difference} or more apart, or join them there.",
        tubes=tubes,
        value=clearance,
        limit=0.0,
        quantity="length",
        at=between(*row.points, 0.5),
        amounts=_stations(row.stations),
    )


def _close(tubes: tuple[int, int], clearance: float, row: Apart, limits: Limits) -> Finding:
    return Finding(
        rule="tubes.close",
        severity="warning",
        message="{tube} passes {value} from {other}, {station} from its start and {there} from the start of "
        "{other}; {limit} is asked for between tubes that don't meet. Move them {difference} apart, or join "
        "them there.",
        tubes=tubes,
        value=clearance,
        limit=limits.tube_gap,
        quantity="length",
        at=between(*row.points, 0.5),
        amounts=_stations(row.stations),
    )


def _side_by_side(tubes: tuple[int, int], clearance: float, beside: Beside, limits: Limits) -> Finding:
    return Finding(
        rule="tubes.beside",
        severity="note",
        message="{tube} and {other} run side by side for {run}, from {station} on {tube} and {there} on "
        "{other}, {value} apart at the least; a torch wants {limit}. Weld and paint what faces the gap "
        "before the second of them goes in.",
        tubes=tubes,
        value=clearance,
        limit=limits.weld_room,
        quantity="length",
        at=beside.at,
        amounts={"run": Amount(beside.run, "length"), **_stations(beside.stations)},
    )


def _stations(stations: tuple[float, float]) -> dict[str, Amount]:
    return {"station": Amount(stations[0], "length"), "there": Amount(stations[1], "length")}
