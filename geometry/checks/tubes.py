"""How close tubes come to each other where they are not joined.

Of tubes that share a joint, what runs from there to where they first are clear of each other belongs to
the joint; the rest of each is held against the other.
"""

import math
from collections.abc import Iterable, Iterator
from itertools import chain

import numpy as np
from msgspec import Struct

from geometry.checks.finding import Amount, Finding
from geometry.layout import Layout, Limits, Tube
from geometry.tube import apart, centreline, welds
from geometry.tube.apart import Apart, Way
from geometry.tube.centreline import Centreline, Line
from geometry.tube.welds import Span
from geometry.vectors import Vec3, between, cross, direction, distance, dot, minus, plus, times

PARALLEL = math.sin(math.radians(5.0))  # straights that lie closer to parallel run beside each other
Seats = dict[int, dict[int, list[int]]]  # by tube, then by the tube that it is joined to: at which nodes
Lines = dict[int, Centreline]

CLEAR_OF_JOINT = 5.0  # mm more than the gap asked for: there a joint ends
LONG_RUN = 150.0  # mm; along less than this a torch comes in past an end


class Beside(Struct, frozen=True):
    """How far straights of two tubes run side by side within a torch's reach, and from which stations."""

    run: float
    gap: float  # of the centrelines, at the least
    stations: tuple[float, float]
    at: Vec3


class _Held(Struct, frozen=True, eq=False):
    """Parts of two tubes that are held against each other, and the stations where they begin."""

    tubes: tuple[int, int]
    lines: tuple[Centreline, Centreline]
    starts: tuple[float, float]


class _Joint(Struct, frozen=True):
    """The spans of two tubes where they meet, and how far apart their centrelines are there."""

    spans: tuple[Span, Span]
    gap: float


class Pair(Struct, frozen=True):
    """Two tubes, and what is said of them unless a third one joins them."""

    tubes: tuple[int, int]
    finding: Finding


def measured(layout: Layout, tubes: Iterable[int]) -> tuple[Pair, ...]:
    """Return the pairs with one of these tubes in them that there is something to say about."""
    limits = layout.limits
    near = _near_boxes(layout, sorted(tubes), _reach(limits))
    lines = {id: centreline.of(layout, layout.tubes[id]) for id in {id for pair in near for id in pair}}
    parts = _held(layout, near, lines)
    radii = np.array([_radii(layout, part.tubes) for part in parts])
    rows = apart.closest([part.lines for part in parts], radii + _reach(limits))
    found: dict[tuple[int, int], Finding] = {}
    for part, both, row in zip(parts, radii.tolist(), rows, strict=True):
        one = row and _judged(part, row, both, limits)
        if one and (part.tubes not in found or _worse(one, found[part.tubes])):
            found[part.tubes] = one
    return tuple(Pair(pair, found[pair]) for pair in sorted(found))


def joined_anew(before: Layout, after: Layout) -> set[int]:
    """Return the tubes that are joined to others, or at other places, than before."""
    old, new = (_seats(layout, layout.tubes) for layout in (before, after))
    return {
        id
        for id, seats in new.items()
        if seats != old.get(id)
        or any(before.nodes[node] is not after.nodes[node] for node in chain.from_iterable(seats.values()))
    }


def _held(layout: Layout, pairs: list[tuple[int, int]], lines: Lines) -> list[_Held]:
    """Return what to hold against each other: whole tubes, or what their joints leave of them."""
    seats = _seats(layout, set(chain.from_iterable(pairs)))
    joints = {pair: found for pair in pairs if (found := list(_joints(layout, seats, lines, *pair)))}
    spans = _spans_of_joints(layout, joints, lines)
    held = []
    for pair in pairs:
        whole = (lines[pair[0]], lines[pair[1]])
        if pair not in joints:
            held.append(_Held(pair, whole, (0.0, 0.0)))
            continue
        for start, end in _apart_from(spans[pair][0], *whole, _radii(layout, pair)):
            held.append(_Held(pair, (welds.part(whole[0], start, end), whole[1]), (start, 0.0)))
        for start, end in _apart_from(spans[pair][1], *whole[::-1], _radii(layout, pair)):
            held.append(_Held(pair, (whole[0], welds.part(whole[1], start, end)), (0.0, start)))
    return held


def _apart_from(joined: list[Span], line: Centreline, other: Centreline, radii: float) -> list[Span]:
    """Return what joints leave of a line: of one that lies in the other from end to end, its middle."""
    rest = welds.rest(joined, line.length)
    if rest or line.length < LONG_RUN:
        return rest
    middle = centreline.place_at(line, line.length / 2.0)
    lies_in = distance(middle, centreline.nearest(other, middle)[1]) < radii / 2.0
    return [(line.length / 4.0, line.length * 3.0 / 4.0)] if lies_in else []


def _spans_of_joints(
    layout: Layout, joints: dict[tuple[int, int], list[_Joint]], lines: Lines
) -> dict[tuple[int, int], tuple[list[Span], list[Span]]]:
    """Return for each pair the spans of both tubes up to where they are clear of each other."""
    ways, room = [], []
    for pair, found in joints.items():
        for joint in found:
            for side, (low, high) in enumerate(joint.spans):
                line, other = lines[pair[side]], lines[pair[1 - side]]
                # A tube that ends in the corner of a bend crosses it first.
                ways += [Way(line, other, low - joint.gap, False), Way(line, other, high + joint.gap, True)]
                room += 2 * [_radii(layout, pair) + max(layout.limits.tube_gap, 0.0) + CLEAR_OF_JOINT]
    ends = iter(apart.clear_of(ways, np.array(room)))
    spans: dict[tuple[int, int], tuple[list[Span], list[Span]]] = {}
    for pair, found in joints.items():
        both: tuple[list[Span], list[Span]] = ([], [])
        for _ in found:
            for own in both:
                own.append((next(ends), next(ends)))
        spans[pair] = (welds.united(both[0]), welds.united(both[1]))
    return spans


def _joints(layout: Layout, seats: Seats, lines: Lines, first: int, second: int) -> Iterator[_Joint]:
    """Yield where two tubes meet: in a node, one on the other, or both on the same place of a third."""
    mine, theirs = layout.tubes[first], layout.tubes[second]
    for here, there in _nodes_that_meet(layout, seats, mine, theirs):
        yield _joint(
            lines, mine, theirs, _span_at(layout, lines, mine, here), _span_at(layout, lines, theirs, there)
        )
    for landed, span in _landed(layout, lines, mine, theirs):
        yield _joint(lines, mine, theirs, landed, span)
    for landed, span in _landed(layout, lines, theirs, mine):
        yield _joint(lines, mine, theirs, span, landed)


def _nodes_that_meet(layout: Layout, seats: Seats, mine: Tube, theirs: Tube) -> Iterator[tuple[int, int]]:
    """Yield nodes in common, and those on a third tube so close together that the two are coped there."""
    yield from ((node, node) for node in mine.nodes if node in theirs.nodes)
    nodes, near = layout.nodes, _radii(layout, (mine.id, theirs.id))
    for third in seats[mine.id].keys() & seats[theirs.id].keys():
        for here in seats[mine.id][third]:
            for there in seats[theirs.id][third]:
                if here != there and distance(nodes[here].position, nodes[there].position) < near:
                    yield here, there


def _landed(layout: Layout, lines: Lines, tube: Tube, host: Tube) -> Iterator[tuple[Span, Span]]:
    """Yield where a tube sits on its host, as spans of both."""
    for node in tube.nodes:
        landing = layout.nodes[node].landing
        if landing is not None and landing.tube == host.id and node not in host.nodes:
            yield _span_at(layout, lines, tube, node), (landing.station, landing.station)


def _joint(lines: Lines, mine: Tube, theirs: Tube, span: Span, other: Span) -> _Joint:
    here = centreline.place_at(lines[mine.id], sum(span) / 2.0)
    there = centreline.place_at(lines[theirs.id], sum(other) / 2.0)
    return _Joint((span, other), distance(here, there))


def _span_at(layout: Layout, lines: Lines, tube: Tube, node: int) -> Span:
    """Return the stations between which a tube passes one of its nodes: its bend there, or one place."""
    number, line = tube.nodes.index(node), lines[tube.id]
    if number in (0, len(tube.nodes) - 1):
        end = 0.0 if number == 0 else line.length
        return end, end
    for bend in line.bends:
        if bend.index == number:
            return bend.start, bend.end
    station, _ = centreline.nearest(line, layout.nodes[node].position)
    return station, station


def _seats(layout: Layout, tubes: Iterable[int]) -> Seats:
    """Return for each tube the tubes that it is joined to, and at which of its nodes."""
    at_node: dict[int, list[int]] = {}
    for tube in layout.tubes.values():
        for number in tube.nodes:
            at_node.setdefault(number, []).append(tube.id)
    seats: Seats = {}
    for id in tubes:
        own = seats[id] = {}
        for number in layout.tubes[id].nodes:
            landing = layout.nodes[number].landing
            hosts = [other for other in at_node[number] if other != id]
            for host in (*hosts, *([landing.tube] if landing else [])):
                own.setdefault(host, []).append(number)
    return seats


def _reach(limits: Limits) -> float:
    return max(limits.tube_gap, limits.weld_room, 0.0)


def _radius(layout: Layout, id: int) -> float:
    return layout.stocks[layout.tubes[id].stock].od / 2.0


def _radii(layout: Layout, pair: tuple[int, int]) -> float:
    return _radius(layout, pair[0]) + _radius(layout, pair[1])


def _near_boxes(layout: Layout, asked: list[int], reach: float) -> list[tuple[int, int]]:
    """Return the pairs, lower id first, whose boxes come within reach."""
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
    return [(ids[i], ids[j]) for i, j in sorted(found) if i != j]


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
    least = min(max(-b / a, low), high) if a > 1e-18 else low
    gap = math.sqrt(max(a * least**2 + 2.0 * b * least + dot(flat, flat), 0.0))
    middle = plus(mine.start, times(along, (low + high) / 2.0))
    there = dot(minus(plus(mine.start, times(along, low)), theirs.start), way)
    return Beside(high - low, gap, (start + low, other + there), middle)


def _judged(held: _Held, row: Apart, radii: float, limits: Limits) -> Finding | None:
    clearance = row.distance - radii
    if clearance < 0.0:
        return _crossing(held, clearance, row)
    if clearance < limits.tube_gap:
        return _close(held, clearance, row, limits)
    if clearance >= limits.weld_room:
        return None
    beside = _beside(*held.lines, limits.weld_room + radii)
    return _side_by_side(held, radii, beside, limits) if beside is not None else None


def _worse(one: Finding, other: Finding) -> bool:
    order = ("tubes.crossing", "tubes.close", "tubes.beside")
    return (order.index(one.rule), one.value or 0.0) < (order.index(other.rule), other.value or 0.0)


def _crossing(held: _Held, clearance: float, row: Apart) -> Finding:
    return Finding(
        rule="tubes.crossing",
        severity="error",
        message="{tube} and {other} run into each other, {station} from the start of {tube} and {there} from "
        "the start of {other}. Move them {difference} or more apart, or join them there.",
        tubes=held.tubes,
        value=clearance,
        limit=0.0,
        quantity="length",
        at=between(*row.points, 0.5),
        amounts=_stations(held, row.stations),
    )


def _close(held: _Held, clearance: float, row: Apart, limits: Limits) -> Finding:
    return Finding(
        rule="tubes.close",
        severity="warning",
        message="{tube} passes {value} from {other}, {station} from its start and {there} from the start of "
        "{other}; {limit} is asked for between tubes that don't meet. Move them {difference} apart, or join "
        "them there.",
        tubes=held.tubes,
        value=clearance,
        limit=limits.tube_gap,
        quantity="length",
        at=between(*row.points, 0.5),
        amounts=_stations(held, row.stations),
    )


def _side_by_side(held: _Held, radii: float, beside: Beside, limits: Limits) -> Finding:
    return Finding(
        rule="tubes.beside",
        severity="note",
        message="{tube} and {other} run side by side for {run}, from {station} on {tube} and {there} on "
        "{other}, {value} apart at the least; a torch wants {limit}. Weld and paint what faces the gap "
        "before the second of them goes in.",
        tubes=held.tubes,
        value=beside.gap - radii,
        limit=limits.weld_room,
        quantity="length",
        at=beside.at,
        amounts={"run": Amount(beside.run, "length"), **_stations(held, beside.stations)},
    )


def _stations(held: _Held, stations: tuple[float, float]) -> dict[str, Amount]:
    mine, there = (start + station for start, station in zip(held.starts, stations, strict=True))
    return {"station": Amount(mine, "length"), "there": Amount(there, "length")}
