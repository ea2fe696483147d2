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
from collections import Counter
from collections.abc import Iterable, Sequence
from functools import lru_cache
from typing import Literal, NamedTuple

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

REMEMBERED = 256  # benders; arcs, which come back in each order
UP_FIRST = [2, 0, 1]
ORIGIN = np.zeros((1, 3))

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


class _Turn(NamedTuple):
    """A run of points turned about the first of three axes, from one angle to another."""

    move: int
    points: Floats  # (n, 4) before the turn; and how far each goes along the second axis a radian
    low: float
    high: float
    things: int  # which row of _Things
    choice: int = 0  # 1 and -1: two ways to turn over, of which one will do


class _Things(Struct, frozen=True, eq=False):
    """What must not be hit, as boxes in the axes of a turn: the floor, the bender's boxes, the tail."""

    low: Floats  # (rows, k, 3)
    high: Floats
    reach: Floats  # (rows, k): nearer than this to the middle of the tube is a hit; below 0 nothing is
    creep: Floats  # (rows, k): how much of low[1] goes with each radian


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


_NO_CELLS = _Cells(*np.empty((9, 0)))


def hits(machine: Machine, moves: Sequence[Move]) -> tuple[Hit, ...]:
    """Return what gets in the way of each of the moves."""
    things, turns = _things(machine, moves), _turns(machine, moves)
    return _told(machine, turns, things, _unavoidable(turns, _met(turns, things)))


def counts(machine: Machine, moves: Sequence[Move]) -> tuple[int, ...]:
    """Return how many things get in the way of each of the moves; quicker than to say how far."""
    things, turns = _things(machine, moves), _turns(machine, moves)
    met = {(turns[turn].move, thing) for turn, thing in _unavoidable(turns, _met(turns, things))}
    each = Counter(move for move, _ in met)
    return tuple(each[number] for number in range(len(moves)))


def _met(turns: Sequence[_Turn], things: _Things) -> set[tuple[int, int]]:
    """Return the turns and things that meet."""
    cells = _cells(turns, things)
    if not len(cells.case):
        return set()
    return {divmod(case, things.reach.shape[1]) for case in _hit(cells)}


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
        points = _grown(machine.clr, points, outer, made)
        outer = made.rotation
    return points


def _chains(machine: Machine, moves: Sequence[Move]) -> list[Floats]:
    """Return the chain of each move; as a rule it is that of the move before with one bend more."""
    chains: list[Floats] = []
    before: Move | None = None
    for move in moves:
        if before and before.ahead and move.ahead[1:] == before.ahead and move.lead == before.lead:
            chains.append(_grown(machine.clr, chains[-1], before.ahead[0].rotation, move.ahead[0]))
        else:
            chains.append(chain(machine, move))
        before = move
    return chains


def _grown(clr: float, points: Floats, rotation: float, made: Made) -> Floats:
    """Return a chain with the bend made that lay in the die, and the straight behind it."""
    arc = np.array([made.straight, 0.0, 0.0]) + _arc(clr, made.angle)
    tilt, bent = (math.cos(rotation), math.sin(rotation)), (math.cos(made.angle), math.sin(made.angle))
    turn = np.array(
        [
            [bent[0], -bent[1] * tilt[0], bent[1] * tilt[1]],
            [bent[1], bent[0] * tilt[0], -bent[0] * tilt[1]],
            [0.0, tilt[1], tilt[0]],
        ]
    )
    return np.concatenate([ORIGIN, arc, points[1:] @ turn.T + arc[-1]])


@lru_cache(maxsize=REMEMBERED)
def _arc(clr: float, angle: float) -> Floats:
    """Return points along an arc from the origin, that starts along x and turns to y."""
    most = 2.0 * math.acos(1.0 - SAGITTA / clr) if clr > SAGITTA else QUARTER_TURN
    turn = np.linspace(0.0, angle, max(1, math.ceil(angle / most)) + 1)
    return np.stack([clr * np.sin(turn), clr * (1.0 - np.cos(turn)), np.zeros(len(turn))], axis=1)


def _about_first(points: Floats, angle: float) -> Floats:
    """Return points turned right-handed about the first axis."""
    c, s = math.cos(angle), math.sin(angle)
    turned: Floats = points @ np.array([[1.0, 0.0, 0.0], [0.0, c, s], [0.0, -s, c]])
    return turned


def _beyond(points: Floats, least: float) -> Floats:
    """Return a run of points, that starts along the first axis, without its first so many mm."""
    if points[1, 0] > least:
        return np.concatenate([[[least, 0.0, 0.0]], points[1:]])
    along = _stations(points)
    if along[-1] <= least:
        return points[:0]
    first = int(np.searchsorted(along, least, side="right"))
    part = (least - along[first - 1]) / (along[first] - along[first - 1])
    start = points[first - 1] + part * (points[first] - points[first - 1])
    return np.concatenate([start[None], points[first:]])


def _stations(points: Floats) -> Floats:
    lengths = np.linalg.norm(np.diff(points[:, :3], axis=0), axis=1)
    return np.concatenate([[0.0], np.cumsum(lengths)])


def _turns(machine: Machine, moves: Sequence[Move]) -> list[_Turn]:
    """Return the turns of moves that something could be in the way of.

    Rows of things: 0 for turns about the straight in the die, then two for each move about the former.
    """
    # Within the second of these, a tube cannot come round to itself.
    skip = max(machine.clr, 2.0 * machine.clr * math.asin(min(1.0, machine.od / (2.0 * machine.clr))))
    turns: list[_Turn] = []
    for number, (move, points) in enumerate(zip(moves, _chains(machine, moves), strict=True)):
        ahead = _beyond(points, skip)
        if len(ahead) and move.ahead:
            rotation = move.ahead[0].rotation
            if machine.bender is not None:
                turns += _rotations(number, ahead, rotation, machine.bender.moves == "tail")
            ahead = _about_first(ahead, rotation)
        turns += _swings(machine, number, move, ahead, skip)
    return turns


def _rotations(number: int, ahead: Floats, rotation: float, rests: bool) -> Iterable[_Turn]:
    """Return the turn of the tube about its straight in the die: the short way, or either where it flips.

    What swings right after has no need of a turn by nothing; what rests has.
    """
    if abs(rotation) <= STRAIGHT and not rests:
        return
    points = _drifting(ahead, 0.0)
    if HALF_TURN - abs(rotation) > STRAIGHT:
        yield _Turn(number, points, min(rotation, 0.0), max(rotation, 0.0), 0)
        return
    yield _Turn(number, points, 0.0, HALF_TURN, 0, choice=1)
    yield _Turn(number, points, -HALF_TURN, 0.0, 0, choice=-1)


def _swings(machine: Machine, number: int, move: Move, ahead: Floats, skip: float) -> Iterable[_Turn]:
    """Return the turns of both sides about the former, as far as they move or meet each other."""
    moving = machine.bender.moves if machine.bender is not None else None
    bent, took, pace = _bending(machine, move)
    # A straight side can't come round to meet the other one.
    if len(ahead) and (move.ahead or moving == "lead"):
        points = _drifting(_stood(ahead, 0.0, machine.clr), 0.0)
        yield _Turn(number, points, 0.0, bent, 1 + 2 * number)
    if moving == "both" and len(ahead):
        # The lead too is drawn in: by half of what the bend takes.
        points = _drifting(_stood(ahead, -took / 2.0, machine.clr), -pace)
        yield _Turn(number, points, 0.0, bent / 2.0, 2 + 2 * number)
    if moving in ("tail", "both") and move.tail > skip:
        # The tail is straight, so only its end is seen to be drawn in. It reaches past what is taken.
        middle, share = (-took / 2.0, bent / 2.0) if moving == "both" else (0.0, bent)
        tail = np.array([[middle - skip, 0.0, 0.0], [-took - move.tail, 0.0, 0.0]])
        points = np.concatenate([_stood(tail, middle, machine.clr), [[0.0], [-pace]]], axis=1)
        yield _Turn(number, points, -share, 0.0, 2 + 2 * number)


def _bending(machine: Machine, move: Move) -> tuple[float, float, float]:
    """Return how far a bend is bent, the blank it takes, and how much of it for each radian."""
    bent, took = overbent(machine, move.angle), machine.consumed * move.angle
    return bent, took, took / bent


def _stood(points: Floats, along: float, aside: float) -> Floats:
    """Return points in the axes of a turn about the former: up first, from its middle."""
    return (points - (along, aside, 0.0))[:, UP_FIRST]


def _drifting(points: Floats, drift: float) -> Floats:
    return np.concatenate([points, np.full((len(points), 1), drift)], axis=1)


def _things(machine: Machine, moves: Sequence[Move]) -> _Things:
    """Return what must not be hit by the turns of moves; see there for the rows."""
    low, high = _boxes(machine.bender)
    moving = machine.bender.moves if machine.bender is not None else None
    count, rows = len(low), 1 + 2 * len(moves)
    lows, highs = np.zeros((rows, count + 1, 3)), np.zeros((rows, count + 1, 3))
    reach, creep = np.full((rows, count + 1), -1.0), np.zeros((rows, count + 1))
    lows[0, :count], highs[0, :count], reach[0, :count] = low, high, machine.od / 2.0
    bending = np.array([_bending(machine, move) for move in moves])
    took, pace = bending[:, 1], bending[:, 2]
    # The lead swings about the former as it does against the tail; a tail, or both, about another middle.
    swinging = slice(1 if moving == "lead" else 2, None, 2)
    middles = np.zeros((len(moves), 1, 3))
    middles[:, 0, 1] = -took / 2.0 if moving == "both" else 0.0
    middles[:, 0, 2] = machine.clr
    lows[swinging, :count] = low[:, UP_FIRST] - middles
    highs[swinging, :count] = high[:, UP_FIRST] - middles
    reach[swinging, :count] = machine.od / 2.0
    lows[1::2, count, 1] = -took - [move.tail for move in moves]
    lows[1::2, count, 2] = highs[1::2, count, 2] = -machine.clr
    reach[1::2, count] = [machine.od if move.ahead else -1.0 for move in moves]
    creep[1::2, count] = pace
    return _Things(lows, highs, reach, creep)


@lru_cache(maxsize=REMEMBERED)
def _boxes(bender: Bender | None) -> tuple[Floats, Floats]:
    """Return floor and boxes in axes in which the tube swings to the left: low and high corners (k, 3)."""
    if bender is None:
        return np.empty((0, 3)), np.empty((0, 3))
    floor = ((-FAR, -FAR, -FAR - bender.height), (FAR, FAR, -bender.height))
    corners = np.array([floor, *((box.low, box.high) for box in bender.boxes)]) @ SWINGS[bender.swing].T
    return corners.min(axis=1), corners.max(axis=1)


def _cells(turns: Sequence[_Turn], things: _Things) -> _Cells:
    """Return the pieces of all turns with the things that they may come too near to, uncut."""
    if not turns:
        return _NO_CELLS
    counts = [len(turn.points) for turn in turns]
    points = np.concatenate([turn.points for turn in turns])
    turn = np.repeat(np.arange(len(turns)), counts)
    is_piece = turn[1:] == turn[:-1]
    near, far, turn = points[:-1][is_piece], points[1:][is_piece], turn[:-1][is_piece]
    low, high, row = (np.array(column)[turn] for column in zip(*(one[2:5] for one in turns), strict=True))
    lows, highs = _bounds(near, far, low, high)
    creep = things.creep[row]
    box_low, box_high = things.low[row], things.high[row]
    box_low[..., 1] += creep * low[:, None]
    apart = _apart(lows[:, None], highs[:, None], box_low, box_high)
    piece, thing = np.nonzero(apart < things.reach[row] + SAGITTA)
    row = row[piece]
    return _Cells(
        near[piece],
        far[piece],
        low[piece],
        high[piece],
        things.low[row, thing],
        things.high[row, thing],
        things.reach[row, thing],
        things.creep[row, thing],
        turn[piece] * things.reach.shape[1] + thing,
    )


def _hit(cells: _Cells) -> set[int]:
    """Return the cases in which a tube gets too near."""
    hit = _hit_at_once(cells)
    if hit:
        cells = cells.chosen(~np.isin(cells.case, list(hit)))
    while len(cells.case):
        lengths = np.linalg.norm(cells.far - cells.near, axis=1)
        ways = np.hypot(*_spread(cells)) * (cells.high - cells.low)
        certain = (_middle_gap(cells) < cells.reach) | (np.maximum(lengths, ways) <= SMALLEST)
        if certain.any():
            hit.update(cells.case[certain].tolist())
            left = ~np.isin(cells.case, list(hit))
            cells, lengths, ways = cells.chosen(left), lengths[left], ways[left]
        cells = _cut(cells, lengths >= ways)
        cells = cells.chosen(_gap(cells) < cells.reach + SAGITTA)
    return hit


def _hit_at_once(cells: _Cells) -> set[int]:
    """Return the cases that are hit at some of a few places and angles; most are, if any."""
    parts = np.linspace(0.0, 1.0, LOOKED_AT)
    spots = np.linspace(0.0, 1.0, 5)[:, None, None]
    angles = cells.low[:, None] + (cells.high - cells.low)[:, None] * parts
    near, far = cells.near[:, None], cells.far[:, None]
    places = _placed((1.0 - spots[..., None]) * near + spots[..., None] * far, angles)
    low = np.broadcast_to(cells.box_low[:, None], (*angles.shape, 3)).copy()
    low[..., 1] += cells.creep[:, None] * angles
    apart = _apart(places, places, low, cells.box_high[:, None])
    is_hit = (apart < cells.reach[:, None]).any(axis=(0, 2))
    return set(cells.case[is_hit].tolist())


def _spread(cells: _Cells) -> tuple[Floats, Floats]:
    """Return the farthest that each piece gets from its axis, along both other axes: (m,), (m,)."""
    reach = np.maximum(np.abs(cells.low), np.abs(cells.high))
    ends = [np.abs(end[:, 1]) + np.abs(end[:, 3]) * reach for end in (cells.near, cells.far)]
    return np.maximum(*ends), np.maximum(np.abs(cells.near[:, 2]), np.abs(cells.far[:, 2]))


def _gap(cells: _Cells) -> Floats:
    """Return a least distance (m,) of all places of each cell to its thing."""
    lows, highs = _bounds(cells.near, cells.far, cells.low, cells.high)
    box_low = cells.box_low.copy()
    box_low[:, 1] += cells.creep * cells.low
    return _apart(lows, highs, box_low, cells.box_high)


def _bounds(near: Floats, far: Floats, low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Return corners (m, 3) of a box round all places of pieces (m, 4) in turns from low to high."""
    points = np.stack([near, far])
    second = points[..., 1]
    if points[..., 3].any():
        points = np.concatenate([points, points])
        second = points[..., 1] + points[..., 3] * np.stack([low, low, high, high])
    first, third = points[..., 0], points[..., 2]
    radius, start = np.hypot(second, third), np.arctan2(third, second)
    from_, to = start + low, start + high
    cos, sin = _ranges(from_, to), _ranges(from_ - QUARTER_TURN, to - QUARTER_TURN)
    lows = np.stack([first, radius * cos[0], radius * sin[0]], axis=-1).min(axis=0)
    highs = np.stack([first, radius * cos[1], radius * sin[1]], axis=-1).max(axis=0)
    return lows, highs


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


def _told(
    machine: Machine, turns: Sequence[_Turn], things: _Things, hit: Sequence[tuple[int, int]]
) -> tuple[Hit, ...]:
    """Return one hit for each move and thing, with how deep it goes."""
    found: dict[tuple[int, int], float] = {}
    for turn, thing in hit:
        key = (turns[turn].move, thing)
        found[key] = min(found.get(key, 0.0), _clearance(turns[turn], things, thing))
    names = [box.name for box in machine.bender.boxes] if machine.bender else []
    last = things.reach.shape[1] - 1
    return tuple(
        Hit(move, "itself", clearance)
        if thing == last
        else Hit(move, "floor", clearance)
        if thing == 0
        else Hit(move, "bender", clearance, names[thing - 1])
        for (move, thing), clearance in sorted(found.items())
    )


def _clearance(turn: _Turn, things: _Things, thing: int) -> float:
    """Return about how near a tube's outside comes to a thing; how deep it gets where it goes in."""
    angles = np.linspace(turn.low, turn.high, LOOKED_AT)
    stations = _stations(turn.points)
    wanted = np.union1d(stations, np.arange(0.0, stations[-1], SPACING))
    fine = np.stack([np.interp(wanted, stations, column) for column in turn.points.T], axis=1)
    places = _placed(fine[:, None, :], angles[None, :])
    low = np.tile(things.low[turn.things, thing], (len(angles), 1))
    low[:, 1] += things.creep[turn.things, thing] * angles
    high = things.high[turn.things, thing]
    outside = _apart(places, places, low, high)
    inside = np.minimum(places - low, high - places).min(axis=-1)
    apart = np.where(outside > 0.0, outside, -np.maximum(inside, 0.0))
    return float(apart.min() - things.reach[turn.things, thing])
