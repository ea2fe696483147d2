"""How far apart centrelines come, as lines and arcs, with where on each.

Two lines have a closed form. Otherwise one arc of the two is walked in cells, and the nearest place on the
other piece has a closed form. Where the two come closest, the way from one to the other is square to both
(or one of them ends there): so from the middle c of a cell of half length h that holds the place, the
other piece is at most sqrt(g^2 + h^2 (1 + g / R)) away, g being how far apart they come. Cells that may
still hold something nearer than the best known by ACCURACY are cut again.
"""

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from geometry.tolerances import SAME_POINT
from geometry.tube import pieces as pieces_of
from geometry.tube.centreline import Centreline
from geometry.tube.pieces import Pieces
from geometry.vectors import Floats, Ints, Vec3, vec

ACCURACY = SAME_POINT / 2.0  # how far above the true distance the one returned may be
FIRST_HALF = 45.0  # mm; half length of the first cells
MOST_PARTS = 8  # that a cell is cut into at once
PARALLEL = 1e-12  # sine squared of a micrometre in a metre: there the ends tell as much as the middle
CACHED_LINES = 4096
LEAST_STEP = 5.0  # mm that a way along a line takes at once


class Way(Struct, frozen=True, eq=False):
    """A way along a line from a station, forward or back, and the line that it leads away from."""

    line: Centreline
    other: Centreline
    station: float
    forward: bool


class Apart(Struct, frozen=True):
    """Where two centrelines come closest."""

    distance: float
    stations: tuple[float, float]
    points: tuple[Vec3, Vec3]


class _Rows(Struct, frozen=True, eq=False):
    """A line's pieces, and a ball round each of them."""

    pieces: Pieces
    middle: Floats
    reach: Floats


class _Best:
    """The closest places known so far, one row for each pair of lines."""

    def __init__(self, within: Floats) -> None:
        rows = len(within)
        self.distance = within.copy()
        self.piece = np.full((rows, 2), -1)
        self.along = np.zeros((rows, 2))

    def take(self, pair: Ints, distance: Floats, piece: Ints, along: Floats) -> None:
        """Take what is nearer than what is known; piece and along (n, 2) are those of both lines."""
        order = np.lexsort((distance, pair))
        first = order[np.diff(pair[order], prepend=-1) != 0]
        first = first[distance[first] < self.distance[pair[first]]]
        better = pair[first]
        self.distance[better], self.piece[better] = distance[first], piece[first]
        self.along[better] = along[first]


def between(first: Centreline, second: Centreline) -> Apart:
    """Return where two centrelines come closest, exact to SAME_POINT."""
    found = closest([(first, second)], np.array([np.inf]))[0]
    assert found is not None
    return found


def closest(pairs: Sequence[tuple[Centreline, Centreline]], within: Floats) -> list[Apart | None]:
    """Return where each pair comes closest, exact to SAME_POINT; None where no nearer than within (n,)."""
    if not pairs:
        return []
    lines = list({id(line): line for pair in pairs for line in pair}.values())
    rows = [_rows(line) for line in lines]
    pieces, counts, offsets = _together(lines)
    place = {id(line): number for number, line in enumerate(lines)}
    numbers = np.array([(place[id(first)], place[id(second)]) for first, second in pairs])
    pair, piece = _combined(counts[numbers], offsets[numbers])
    middle, reach = _joined([row.middle for row in rows]), _joined([row.reach for row in rows])
    gaps = np.linalg.norm(middle[piece[:, 0]] - middle[piece[:, 1]], axis=1) - reach[piece].sum(axis=1)
    near = np.flatnonzero(gaps < within[pair])
    pair, piece = pair[near], piece[near]
    best = _Best(within)
    is_straight = (pieces.curvature[piece] == 0.0).all(axis=1)
    _take_lines(pieces, best, pair[is_straight], piece[is_straight])
    bent = ~is_straight & (gaps[near] < best.distance[pair])
    _walk(pieces, best, pair[bent], piece[bent])
    return _settled(pieces, best)


def clear_of(ways: Sequence[Way], room: Floats) -> list[float]:
    """Return the station where each way first is room (n,) or more from the other line, or its line's end.

    Distance grows no faster than the way: what is missing to room may be walked at once.
    """
    if not ways:
        return []
    lines = list({id(line): line for way in ways for line in (way.line, way.other)}.values())
    place = {id(line): number for number, line in enumerate(lines)}
    pieces, counts, offsets = _together(lines)
    mine = np.array([place[id(way.line)] for way in ways])
    other = np.array([place[id(way.other)] for way in ways])
    ends = np.array([way.line.length for way in ways])
    step = np.where([way.forward for way in ways], 1.0, -1.0)
    stations = np.clip([way.station for way in ways], 0.0, ends)
    going = np.arange(len(ways))
    while len(going):
        at = stations[going]
        row, piece = _combined(
            np.stack([np.ones_like(going), counts[other[going]]], 1),
            np.stack([going, offsets[other[going]]], 1),
        )
        here = _places(pieces, counts, offsets, mine[going], at)[row]
        there = pieces.points(piece[:, 1], pieces.nearest(piece[:, 1], here))
        gaps = np.minimum.reduceat(
            np.linalg.norm(here - there, axis=1), np.flatnonzero(np.diff(row, prepend=-1))
        )
        missing = room[going] - gaps
        stations[going] = np.where(
            missing > 0.0, np.clip(at + step[going] * np.maximum(missing, LEAST_STEP), 0.0, ends[going]), at
        )
        going = going[(missing > 0.0) & (stations[going] != at)]
    return stations.tolist()  # type: ignore[no-any-return]


def _places(pieces: Pieces, counts: Ints, offsets: Ints, line: Ints, stations: Floats) -> Floats:
    """Return the points (n, 3) at stations of lines, given by their numbers in what was put together."""
    row, piece = _combined(
        np.stack([np.ones_like(line), counts[line]], 1), np.stack([line, offsets[line]], 1)
    )
    begun = pieces.start[piece[:, 1]] <= stations[row]
    number = np.add.reduceat(begun, np.flatnonzero(np.diff(row, prepend=-1)), dtype=np.int64) - 1
    chosen = offsets[line] + np.maximum(number, 0)
    return pieces.points(chosen, stations - pieces.start[chosen])


def _together(lines: Sequence[Centreline]) -> tuple[Pieces, Ints, Ints]:
    """Return the pieces of all lines as one table, how many each line has and where they begin."""
    rows = [pieces_of.of(line) for line in lines]
    counts = np.array([len(row.length) for row in rows])
    pieces = Pieces(*(_joined([getattr(row, name) for row in rows]) for name in Pieces.__struct_fields__))
    return pieces, counts, np.cumsum(counts) - counts


@lru_cache(maxsize=CACHED_LINES)
def _rows(line: Centreline) -> _Rows:
    pieces = pieces_of.of(line)
    half = pieces.length / 2.0
    turn = half * pieces.curvature
    # The end of an arc is a chord away from its middle; half a turn and more keeps to the diameter.
    chord = 2.0 * np.sin(np.minimum(turn, np.pi) / 2.0)
    reach = np.where(turn > 0.0, np.divide(chord, pieces.curvature, where=turn > 0.0, out=half.copy()), half)
    return _Rows(pieces, pieces.points(np.arange(len(half)), half), reach)


def _joined(parts: Sequence[Floats]) -> Floats:
    joined: Floats = np.concatenate(parts)
    return joined


def _combined(counts: Ints, offsets: Ints) -> tuple[Ints, Ints]:
    """Return each piece of the first line with each of the second: the pair (n,) and both pieces (n, 2)."""
    sizes = counts[:, 0] * counts[:, 1]
    pair = np.repeat(np.arange(len(sizes)), sizes)
    number = np.arange(len(pair)) - (np.cumsum(sizes) - sizes)[pair]
    first, second = np.divmod(number, counts[pair, 1])
    return pair, np.stack([offsets[pair, 0] + first, offsets[pair, 1] + second], axis=1)


def _take_lines(pieces: Pieces, best: _Best, pair: Ints, piece: Ints) -> None:
    """Take the closest places of straight pieces: inside both, or at one of the four ends."""
    if not len(pair):
        return
    first, second = piece[:, 0], piece[:, 1]
    u, v = pieces.forward[first], pieces.forward[second]
    away = pieces.base[first] - pieces.base[second]
    ends, other_ends = pieces.length[first], pieces.length[second]
    cosine = np.einsum("ij,ij->i", u, v)
    ahead, behind = np.einsum("ij,ij->i", u, away), np.einsum("ij,ij->i", v, away)
    sine2 = 1.0 - cosine**2
    inside = np.divide(cosine * behind - ahead, sine2, out=np.zeros(len(pair)), where=sine2 > PARALLEL)
    # Five starts in rows: inside both, and the four ends; each is then taken nearest to the other piece.
    none = np.zeros(len(pair))
    t = np.stack(
        [behind + cosine * np.clip(inside, none, ends), behind, behind + cosine * ends, none, other_ends]
    )
    t = np.clip(t, none, other_ends)
    s = np.clip(cosine * t - ahead, none, ends)
    gaps = away + s[..., None] * u - t[..., None] * v
    squares = np.einsum("kij,kij->ki", gaps, gaps)
    chosen, rows = np.argmin(squares, axis=0), np.arange(len(pair))
    along = np.stack([s[chosen, rows], t[chosen, rows]], axis=1)
    best.take(pair, np.sqrt(squares[chosen, rows]), piece, along)


def _walk(pieces: Pieces, best: _Best, pair: Ints, piece: Ints) -> None:
    """Walk along one arc of each pair of pieces and take where it comes closest to the other."""
    if not len(pair):
        return
    length = np.where(pieces.curvature[piece] > 0.0, pieces.length[piece], np.inf)
    walked = np.argmin(length, axis=1)
    rows = np.arange(len(pair))
    arc, other = piece[rows, walked], piece[rows, 1 - walked]
    parts = np.maximum(np.ceil(pieces.length[arc] / (2.0 * FIRST_HALF)), 1).astype(np.int64)
    row, along, half = _cut(rows, pieces.length[arc] / 2.0, pieces.length[arc] / 2.0, parts)
    # At its ends the way need not be square to the arc: cells of no length.
    row = np.concatenate([row, rows, rows])
    along = np.concatenate([along, np.zeros(len(rows)), pieces.length[arc]])
    half = np.concatenate([half, np.zeros(2 * len(rows))])
    while len(row):
        here = pieces.points(arc[row], along)
        beside = pieces.nearest(other[row], here)
        gaps = np.linalg.norm(here - pieces.points(other[row], beside), axis=1)
        both = np.where(
            (walked[row] == 0)[:, None], np.stack([along, beside], 1), np.stack([beside, along], 1)
        )
        best.take(pair[row], gaps, piece[row], both)
        worth = best.distance[pair[row]] - ACCURACY
        spread = 1.0 + gaps * pieces.curvature[arc[row]]
        bound = gaps**2 - half**2 * spread
        is_open: NDArray[np.bool_] = (half > 0.0) & (worth > 0.0) & (bound < worth**2)
        row, along, half = row[is_open], along[is_open], half[is_open]
        settled = np.sqrt((gaps[is_open] ** 2 - worth[is_open] ** 2).clip(min=1e-12) / spread[is_open])
        parts = np.clip(np.ceil(half / settled), 2, MOST_PARTS).astype(np.int64)
        row, along, half = _cut(row, along, half, parts)


def _cut(row: Ints, along: Floats, half: Floats, parts: Ints) -> tuple[Ints, Floats, Floats]:
    """Return each cell cut into as many equal parts as asked."""
    parent = np.repeat(np.arange(len(parts)), parts)
    number = np.arange(len(parent)) - (np.cumsum(parts) - parts)[parent]
    small = half[parent] / parts[parent]
    return row[parent], along[parent] - half[parent] + small * (2 * number + 1), small


def _settled(pieces: Pieces, best: _Best) -> list[Apart | None]:
    """Return what was found, each place once more taken nearest to the other: the bound made nearly exact."""
    found = np.flatnonzero(best.piece[:, 0] >= 0)
    rows: list[Apart | None] = [None] * len(best.piece)
    if not len(found):
        return rows
    (first, second), (s, t) = best.piece[found].T, best.along[found].T
    t = pieces.nearest(second, pieces.points(first, s))
    s = pieces.nearest(first, pieces.points(second, t))
    starts, ends = pieces.points(first, s), pieces.points(second, t)
    distances = np.linalg.norm(starts - ends, axis=1).tolist()
    stations = np.stack([pieces.start[first] + s, pieces.start[second] + t], axis=1).tolist()
    for number, row in enumerate(found.tolist()):
        places = (vec(starts[number]), vec(ends[number]))
        rows[row] = Apart(distances[number], (stations[number][0], stations[number][1]), places)
    return rows
