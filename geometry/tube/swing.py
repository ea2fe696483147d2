"""Does a tube hit the floor, the bender or itself while it is turned and bent?

Every movement at a bender is a turn about one axis: the tube about its own straight in the die, and
the swinging side about the middle of the former. A cell is a short piece of the tube in a short part
of such a turn; a box round all of its places is worked out exactly. Cells that keep clear are done
with, the others are cut smaller until one is certainly too near, or too small to matter. So
nothing that is hit is missed, and nothing is called hit that keeps WITHIN farther away than a hit.

What lies in the die itself is left out: the arc, and the straight beside it as far as the
radius of the die; a bender is drawn as boxes too coarse to pass round a tube that it holds.
"""

import math
from collections.abc import Iterable, Sequence
from typing import Literal

import numpy as np
from msgspec import Struct

from geometry.layout import Bender
from geometry.tolerances import STRAIGHT
from geometry.vectors import Floats, Ints

SAGITTA = 1.0  # mm that a chord may lie inside its arc
SMALLEST = 1.0  # mm of tube, and of way, in a cell that is cut no further
WITHIN = 3.0  # mm; more than a chord and a smallest cell leave open together
PARTS = 4  # that a cell is cut into
FAR = 1.0e7  # mm; as good as endless
FULL_TURN = 2.0 * math.pi
HALF_TURN, QUARTER_TURN = math.pi, math.pi / 2.0
LOOKED_AT = 33  # angles at which the depth of a hit is taken
SPACING = 25.0  # mm, likewise along the tube

FLOOR, TAIL = -1, -2  # what is hit, where it is no box

# Rows that take the bender's axes to those in which the tube swings to the left: x, left, up.
SWINGS: dict[str, Floats] = {
    "left": np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]),
    "right": np.array([[1.0, 0.0, 0.0], [0.0, -1.0, 0.0], [0.0, 0.0, -1.0]]),
    "up": np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]]),
}


class Machine(Struct, frozen=True):
    """What a swing depends on beside the tube's shape."""

    od: float
    clr: float
    consumed: float  # mm of blank for each radian
    dial_at_zero: float
    dial_per_angle: float
    bender: Bender | None


class Made(Struct, frozen=True):
    """A bend that is made already, as one comes to it from the die outwards."""

    straight: float  # between it and what comes before, seen from the die
    rotation: float  # from the bend before, seen from the die; of the first: from the one being made
    angle: float


class Move(Struct, frozen=True):
    """One bend being made."""

    angle: float
    ahead: tuple[Made, ...]
    lead: float  # straight beyond the last of these, to the end of the blank
    tail: float  # straight behind the bend, to the end of the blank


class Hit(Struct, frozen=True):
    """What gets in the way of a move."""

    move: int
    kind: Literal["floor", "bender", "itself"]
    clearance: float  # of the tube's outside, about; less than 0 where it would go into it
    box: str = ""


class _Things(Struct, frozen=True, eq=False):
    """What must not be hit, as boxes; in one turn's axes."""

    low: Floats  # (k, 3)
    high: Floats
    near: Floats  # (k,): less than this from the middle of the tube is a hit
    creep: Floats  # (k,): how much of low[1] goes with each radian
    names: tuple[int, ...]  # the number of a box, FLOOR or TAIL


class _Turn(Struct, frozen=True, eq=False):
    """A run of points turned about the first of three axes, from one angle to another."""

    move: int
    points: Floats  # (n, 4) before the turn; and how far each goes along the second axis a radian
    low: float
    high: float
    things: _Things
    choice: int = 0  # 1 and -1: two ways to turn over, of which one will do


class _Cells(Struct, frozen=True, eq=False):
    """Pieces of tube in parts of turns, each against one thing."""

    near: Floats  # (m, 4) the ends of the piece, as points of a turn
    far: Floats
    low: Floats  # (m,) angles
    high: Floats
    box_low: Floats  # (m, 3)
    box_high: Floats
    reach: Floats  # (m,)
    creep: Floats
    case: Ints  # (m,) the turn and the thing, as one number

    def chosen(self, rows: np.ndarray) -> "_Cells":
        return _Cells(*(getattr(self, name)[rows] for name in self.__struct_fields__))


def hits(machine: Machine, moves: Sequence[Move]) -> tuple[Hit, ...]:
    """Return what gets in the way of each of the moves."""
    turns = [turn for number, move in enumerate(moves) for turn in _turns(machine, number, move)]
    if not turns:
        return ()
    width = max(len(turn.things.names) for turn in turns)
    hit = {divmod(int(case), width) for case in _hit(_cells(turns, width))}
    return _told(machine, turns, _unavoidable(turns, hit))


def overbent(machine: Machine, angle: float) -> float:
    """Return how far a bend is bent so that its angle is left, as the dial tells it."""
    return max(angle, min(machine.dial_at_zero + machine.dial_per_angle * angle, HALF_TURN))


def chain(machine: Machine, move: Move) -> Floats:
    """Return what lies ahead of the die before a bend, its neighbour flat as just bent: (n, 3).

    Points of the centreline from the origin outwards, x along the straight in the die; bends go to y.
    """
    points = np.array([[0.0, 0.0, 0.0], [move.lead, 0.0, 0.0]])
    outer = 0.0
    for made in reversed(move.ahead):
        points = _about_first(points, outer)
        arc = _arc(machine.clr, made.angle)
        c, s = math.cos(made.angle), math.sin(made.angle)
        x, y = points[1:, 0], points[1:, 1]
        beyond = np.stack([c * x - s * y, s * x + c * y, points[1:, 2]], axis=1) + arc[-1]
        straight = np.array([made.straight, 0.0, 0.0])
        points = np.concatenate([np.zeros((1, 3)), arc + straight, beyond + straight])
        outer = made.rotation
    return points


def _arc(clr: float, angle: float) -> Floats:
    """Return points along an arc from the origin, that starts along x and turns to y."""
    most = 2.0 * math.acos(1.0 - SAGITTA / clr) if clr > SAGITTA else QUARTER_TURN
    turn = np.linspace(0.0, angle, max(1, math.ceil(angle / most)) + 1)
    return np.stack([clr * np.sin(turn), clr * (1.0 - np.cos(turn)), np.zeros(len(turn))], axis=1)


def _about_first(points: Floats, angle: float) -> Floats:
    """Return points turned right-handed about the first axis."""
    c, s = math.cos(angle), math.sin(angle)
    _, y, z = points.T
    return np.stack([points[:, 0], c * y - s * z, s * y + c * z], axis=1)


def _beyond(points: Floats, least: float) -> Floats:
    """Return a run of points without its first so many mm."""
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    if along[-1] <= least:
        return points[:0]
    first = int(np.searchsorted(along, least, side="right"))
    part = (least - along[first - 1]) / (along[first] - along[first - 1])
    start = points[first - 1] + part * (points[first] - points[first - 1])
    return np.concatenate([start[None], points[first:]])


def _turns(machine: Machine, number: int, move: Move) -> Iterable[_Turn]:
    """Return the turns of a move that something could be in the way of."""
    # Within the second of these, a tube cannot come round to itself.
    skip = max(machine.clr, 2.0 * machine.clr * math.asin(min(1.0, machine.od / (2.0 * machine.clr))))
    ahead = _beyond(chain(machine, move), skip)
    if len(ahead) and move.ahead:
        rotation = move.ahead[0].rotation
        if machine.bender is not None and abs(rotation) > STRAIGHT:
            yield from _rotations(machine.bender, machine.od, number, ahead, rotation)
        ahead = _about_first(ahead, rotation)
    yield from _swings(machine, number, move, ahead, skip)


def _rotations(bender: Bender, od: float, number: int, ahead: Floats, rotation: float) -> Iterable[_Turn]:
    """Return the turn of the tube about its straight in the die: the short way, or either where it flips."""
    things = _bender_things(bender, od, (0, 1, 2), np.zeros(3))
    points = _drifting(ahead, 0.0)
    if HALF_TURN - abs(rotation) > STRAIGHT:
        yield _Turn(number, points, min(rotation, 0.0), max(rotation, 0.0), things)
        return
    yield _Turn(number, points, 0.0, HALF_TURN, things, choice=1)
    yield _Turn(number, points, -HALF_TURN, 0.0, things, choice=-1)


def _swings(machine: Machine, number: int, move: Move, ahead: Floats, skip: float) -> Iterable[_Turn]:
    """Return the turns of both sides about the former, as far as they move or meet each other."""
    bender, bent = machine.bender, overbent(machine, move.angle)
    took = machine.consumed * move.angle
    pace = took / bent  # mm of blank that each radian takes
    if len(ahead) and move.ahead:
        # A straight side can't come round to meet the other one.
        middle = np.array([0.0, machine.clr, 0.0])
        itself = _tail_thing(move.tail + took, machine.od, pace, middle)
        yield _Turn(number, _drifting(_stood(ahead, middle), 0.0), 0.0, bent, itself)
    if bender is None:
        return
    is_shared = bender.moves == "both"
    middle = np.array([-took / 2.0 if is_shared else 0.0, machine.clr, 0.0])
    things = _bender_things(bender, machine.od, (2, 0, 1), middle)
    share = bent / 2.0 if is_shared else bent
    if bender.moves != "tail" and len(ahead):
        # Where both sides swing, the lead too is drawn in: by half of what the bend takes.
        points = _drifting(_stood(ahead, middle), -pace if is_shared else 0.0)
        yield _Turn(number, points, 0.0, share, things)
    if bender.moves != "lead" and move.tail > skip:
        # The tail is straight, so only its end is seen to be drawn in. It reaches past what is taken.
        first = -skip - (took / 2.0 if is_shared else 0.0)
        tail = _stood(np.array([[first, 0.0, 0.0], [-took - move.tail, 0.0, 0.0]]), middle)
        points = np.concatenate([tail, [[0.0], [-pace]]], axis=1)
        yield _Turn(number, points, -share, 0.0, things)


def _stood(points: Floats, middle: Floats) -> Floats:
    """Return points in the axes of a turn about the former: up first, from its middle."""
    return (points - middle)[:, [2, 0, 1]]


def _drifting(points: Floats, drift: float) -> Floats:
    return np.concatenate([points, np.full((len(points), 1), drift)], axis=1)


def _bender_things(bender: Bender, od: float, order: tuple[int, int, int], middle: Floats) -> _Things:
    """Return floor and boxes in the axes of a turn."""
    rows = SWINGS[bender.swing]
    floor = ((-FAR, -FAR, -FAR - bender.height), (FAR, FAR, -bender.height))
    boxes = [floor, *((box.low, box.high) for box in bender.boxes)]
    corners = np.array(boxes) @ rows.T  # (k, 2, 3)
    corners = (np.sort(corners, axis=1) - middle)[:, :, list(order)]
    count = len(boxes)
    return _Things(
        corners[:, 0],
        corners[:, 1],
        np.full(count, od / 2.0),
        np.zeros(count),
        (FLOOR, *range(count - 1)),
    )


def _tail_thing(length: float, od: float, pace: float, middle: Floats) -> _Things:
    """Return the tail in the axes of a turn about the former; it gets shorter while it is drawn in."""
    low, high = _stood(np.array([[-length, 0.0, 0.0], [0.0, 0.0, 0.0]]), middle)
    return _Things(low[None], high[None], np.array([od]), np.array([pace]), (TAIL,))


def _cells(turns: Sequence[_Turn], width: int) -> _Cells:
    """Return every piece of every turn against every thing, uncut."""
    rows = []
    for number, turn in enumerate(turns):
        pieces, things = len(turn.points) - 1, turn.things
        kinds = len(things.names)
        each = np.repeat(np.arange(pieces), kinds)
        thing = np.tile(np.arange(kinds), pieces)
        rows.append(
            _Cells(
                turn.points[each],
                turn.points[each + 1],
                np.full(len(each), turn.low),
                np.full(len(each), turn.high),
                things.low[thing],
                things.high[thing],
                things.near[thing],
                things.creep[thing],
                number * width + thing,
            )
        )
    return _Cells(
        *(np.concatenate([getattr(row, name) for row in rows]) for name in _Cells.__struct_fields__)
    )


def _hit(cells: _Cells) -> set[int]:
    """Return the cases in which a tube gets too near."""
    hit: set[int] = set()
    while len(cells.case):
        cells = cells.chosen(_gap(cells) < cells.reach + SAGITTA)
        if not len(cells.case):
            break
        lengths = np.linalg.norm(cells.far - cells.near, axis=1)
        ways = np.hypot(*_spread(cells)) * (cells.high - cells.low)
        certain = (_middle_gap(cells) < cells.reach) | (np.maximum(lengths, ways) <= SMALLEST)
        hit.update(cells.case[certain].tolist())
        left = ~np.isin(cells.case, list(hit))
        cells = _cut(cells.chosen(left), (lengths >= ways)[left])
    return hit


def _spread(cells: _Cells) -> tuple[Floats, Floats]:
    """Return the farthest that each piece gets from its axis, along both other axes: (m,), (m,)."""
    reach = np.maximum(np.abs(cells.low), np.abs(cells.high))
    ends = [np.abs(end[:, 1]) + np.abs(end[:, 3]) * reach for end in (cells.near, cells.far)]
    return np.maximum(*ends), np.maximum(np.abs(cells.near[:, 2]), np.abs(cells.far[:, 2]))


def _gap(cells: _Cells) -> Floats:
    """Return a least distance (m,) of all places of each cell to its thing."""
    ends = [cells.near, cells.far]
    angles = [cells.low] * 2
    if cells.near[:, 3].any() or cells.far[:, 3].any():
        ends, angles = ends * 2, [*angles, *[cells.high] * 2]
    points = np.stack(ends)
    second = points[..., 1] + points[..., 3] * np.stack(angles)
    radius, start = np.hypot(second, points[..., 2]), np.arctan2(points[..., 2], second)
    low, high = start + cells.low, start + cells.high
    cos, sin = _ranges(low, high), _ranges(low - QUARTER_TURN, high - QUARTER_TURN)
    first = points[..., 0]
    lows = np.stack([first, radius * cos[0], radius * sin[0]], axis=-1).min(axis=0)
    highs = np.stack([first, radius * cos[1], radius * sin[1]], axis=-1).max(axis=0)
    box_low = cells.box_low.copy()
    box_low[:, 1] += cells.creep * cells.low
    return _apart(lows, highs, box_low, cells.box_high)


def _ranges(low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Return the least and the largest cosine of angles from low to high."""
    one, other = np.cos(low), np.cos(high)
    least, most = np.minimum(one, other), np.maximum(one, other)
    low, high = low / FULL_TURN, high / FULL_TURN
    most = np.where(np.floor(high) > np.floor(low), 1.0, most)
    least = np.where(np.floor(high - 0.5) > np.floor(low - 0.5), -1.0, least)
    return least, most


def _middle_gap(cells: _Cells) -> Floats:
    """Return the distance (m,) of the middle of each piece, half way through its turn."""
    angle = (cells.low + cells.high) / 2.0
    place = _placed((cells.near + cells.far) / 2.0, angle)
    box_low = cells.box_low.copy()
    box_low[:, 1] += cells.creep * angle
    return _apart(place, place, box_low, cells.box_high)


def _placed(points: Floats, angle: Floats) -> Floats:
    """Return where points (..., 4) of a turn are at angles (...): (..., 3)."""
    c, s = np.cos(angle), np.sin(angle)
    second = points[..., 1] + points[..., 3] * angle
    third = points[..., 2]
    places = np.broadcast_arrays(points[..., 0], c * second - s * third, s * second + c * third)
    return np.stack(places, axis=-1)


def _apart(low: Floats, high: Floats, other_low: Floats, other_high: Floats) -> Floats:
    """Return the distance between boxes, 0 where they meet."""
    gaps = np.maximum(np.maximum(other_low - high, low - other_high), 0.0)
    distances: Floats = np.linalg.norm(gaps, axis=-1)
    return distances


def _cut(cells: _Cells, is_long: np.ndarray) -> _Cells:
    """Cut each cell in parts: the piece where that is longer than its way, else the turn."""
    part = np.tile(np.arange(PARTS), len(cells.case))
    cells = cells.chosen(np.repeat(np.arange(len(cells.case)), PARTS))
    is_long = np.repeat(is_long, PARTS)
    begin, end = part / PARTS, (part + 1) / PARTS
    along = cells.far - cells.near
    wide = cells.high - cells.low
    pieces, turns = (
        np.where(is_long, [begin, end], [[0.0], [1.0]]),
        np.where(is_long, [[0.0], [1.0]], [begin, end]),
    )
    return _Cells(
        cells.near + pieces[0][:, None] * along,
        cells.near + pieces[1][:, None] * along,
        cells.low + turns[0] * wide,
        cells.low + turns[1] * wide,
        cells.box_low,
        cells.box_high,
        cells.reach,
        cells.creep,
        cells.case,
    )


def _unavoidable(turns: Sequence[_Turn], hit: set[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return the hits of turns and things without those that turning over the other way avoids."""
    blocked = {turn for turn, _ in hit}
    free = {turns[i].move for i, turn in enumerate(turns) if turn.choice and i not in blocked}
    return sorted(
        pair
        for pair in hit
        if turns[pair[0]].choice == 0 or (turns[pair[0]].choice == 1 and turns[pair[0]].move not in free)
    )


def _told(machine: Machine, turns: Sequence[_Turn], hit: Sequence[tuple[int, int]]) -> tuple[Hit, ...]:
    """Return one hit for each move and thing, with how deep it goes."""
    found: dict[tuple[int, int], float] = {}
    for turn, thing in hit:
        asked = turns[turn]
        key = (asked.move, asked.things.names[thing])
        found[key] = min(found.get(key, 0.0), _clearance(asked, thing))
    boxes = machine.bender.boxes if machine.bender else ()
    return tuple(
        Hit(move, "floor", clearance)
        if name == FLOOR
        else Hit(move, "itself", clearance)
        if name == TAIL
        else Hit(move, "bender", clearance, boxes[name].name)
        for (move, name), clearance in sorted(found.items())
    )


def _clearance(turn: _Turn, thing: int) -> float:
    """Return about how near a tube's outside comes to a thing; how deep it gets where it goes in."""
    things, points = turn.things, turn.points
    angles = np.linspace(turn.low, turn.high, LOOKED_AT)
    lengths = np.linalg.norm(np.diff(points[:, :3], axis=0), axis=1)
    stations = np.concatenate([[0.0], np.cumsum(lengths)])
    wanted = np.union1d(stations, np.arange(0.0, stations[-1], SPACING))
    fine = np.stack([np.interp(wanted, stations, column) for column in points.T], axis=1)
    places = _placed(fine[:, None, :], angles[None, :])
    low = np.tile(things.low[thing], (len(angles), 1))
    low[:, 1] += things.creep[thing] * angles
    outside = _apart(places, places, low, things.high[thing])
    inside = np.minimum(places - low, things.high[thing] - places).min(axis=-1)
    apart = np.where(outside > 0.0, outside, -np.maximum(inside, 0.0))
    return float(apart.min() - things.near[thing])
