"""The centreline of one tube: straights and arcs round its corners, with lengths, points, directions."""

import math
from bisect import bisect_right
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike

from geometry.layout import Layout, Tube
from geometry.tolerances import LARGEST_TURN, LENGTH_NOISE
from geometry.tube import bending
from geometry.tube.bending import Turn
from geometry.vectors import Floats, Vec3, cross, direction, distance, dot, minus, plus, times

CACHED_LINES = 4096  # some sixty cages of sixty tubes: the layouts before, after and during a drag


class Line(Struct, frozen=True):
    """A straight piece."""

    start: Vec3
    end: Vec3


class Arc(Struct, frozen=True):
    """A bent piece: start turns right-handed about the unit axis through centre by angle."""

    start: Vec3
    centre: Vec3
    axis: Vec3
    angle: float


class Bend(Struct, frozen=True):
    """A corner that turns, as asked and as drawn."""

    index: int  # into the points
    corner: Vec3
    angle: float
    radius: float  # the CLR asked for
    drawn_radius: float  # smaller where the tangents do not fit; 0 is a sharp corner
    tangent: float  # what the asked radius takes of each leg
    fits: bool
    start: float  # stations on the drawn centreline
    end: float


class Centreline(Struct, frozen=True, eq=False):
    """Lines and arcs in order, with what they were made from; compared by identity."""

    points: tuple[Vec3, ...]
    pieces: tuple[Line | Arc, ...]
    stations: tuple[float, ...]  # where each piece starts
    length: float  # of the drawn pieces: the tube's own when it can be made
    bends: tuple[Bend, ...]
    straights: tuple[float, ...]  # one more than bends; true values, negative where tangents overlap
    is_makeable: bool


def of(layout: Layout, tube: Tube) -> Centreline:
    """Return the centreline of a tube; the same object as long as its points and radius stay equal."""
    nodes = layout.nodes
    return _remembered(tuple([nodes[id].position for id in tube.nodes]), bending.clr_of(layout, tube))


def build(points: Sequence[Vec3], clr: float) -> Centreline:
    """Return the centreline through the corners with every bend on one radius.

    Where tangents do not fit, the straights say so and the drawn bends are tighter than asked.
    """
    if len(points) < 2:
        raise ValueError(f"a centreline needs two points, got {len(points)}")
    if not (clr >= 0.0 and math.isfinite(clr)):
        raise ValueError(f"centreline radius must be 0 or more, got {clr}")
    points = tuple(points)
    corners = bending.turns(points)
    straights = bending.true_straights(points, corners, clr)
    radii = _drawn_radii(points, corners, clr)
    pieces: list[Line | Arc] = []
    stations: list[float] = []
    bends: list[Bend] = []
    here, station, before = points[0], 0.0, points[0]
    for i, turn in enumerate(corners):
        after = corners[i + 1].corner if i + 1 < len(corners) else points[-1]
        start, arc, end = _drawn_bend(before, turn, after, radii[i])
        station = _add_line(pieces, stations, station, here, start)
        bend_start = station
        if arc is not None:
            pieces.append(arc)
            stations.append(station)
            station += radii[i] * turn.angle
        fits = turn.angle <= LARGEST_TURN and min(straights[i], straights[i + 1]) >= -LENGTH_NOISE
        reach = bending.tangent(clr, turn.angle)
        bends.append(
            Bend(turn.index, turn.corner, turn.angle, clr, radii[i], reach, fits, bend_start, station)
        )
        here, before = end, turn.corner
    station = _add_line(pieces, stations, station, here, points[-1])
    if not pieces:
        pieces, stations = [Line(points[0], points[-1])], [0.0]
    return Centreline(
        points,
        tuple(pieces),
        tuple(stations),
        station,
        tuple(bends),
        straights,
        all(bend.fits for bend in bends),
    )


def sample(
    line: Centreline, sagitta: float = 0.1, longest: float = math.inf
) -> tuple[Floats, Floats, Floats]:
    """Return points (n, 3), directions (n, 3), stations (n,): piece ends, and arcs within the sagitta.

    For drawing: lengths come from the pieces, never from these chords. At a sharp corner the
    direction halves the turn.
    """
    steps: list[Floats] = []
    ends = (*line.stations[1:], line.length)
    for piece, start, end in zip(line.pieces, line.stations, ends, strict=True):
        chords = 1 if isinstance(piece, Line) else chord_count(radius_of(piece), piece.angle, sagitta)
        if (end - start) > longest:
            chords = max(chords, math.ceil((end - start) / longest))
        steps.append(np.linspace(start, end, chords + 1)[:-1])
    steps.append(np.array([line.length]))
    stations = np.concatenate(steps)
    directions = direction_at(line, stations)
    for bend in line.bends:
        if bend.start == bend.end and 0.0 < bend.start < line.length:
            directions[np.searchsorted(stations, bend.start)] = _halfway(line, bend)
    return point_at(line, stations), directions, stations


def chord_count(radius: float, angle: float, sagitta: float) -> int:
    """Return how many equal chords keep within the sagitta of an arc."""
    if radius <= sagitta:
        return max(1, math.ceil(angle / (math.pi / 2.0)))
    return max(1, math.ceil(angle / (2.0 * math.acos(1.0 - sagitta / radius)) - 1e-9))


def point_at(line: Centreline, stations: ArrayLike) -> Floats:
    """Return the points (n, 3) at stations (n,), which are held within the tube."""
    table = _table(line)
    piece, along = _located(table, stations)
    turn = along * table.curvature[piece]
    points: Floats = (
        table.base[piece]
        + along[:, None] * table.forward[piece]
        + np.cos(turn)[:, None] * table.out[piece]
        + np.sin(turn)[:, None] * table.across[piece]
    )
    return points


def place_at(line: Centreline, station: float) -> Vec3:
    """Return the one point at a station, held within the tube."""
    held = min(max(station, 0.0), line.length)
    index = bisect_right(line.stations, held) - 1
    piece, along = line.pieces[index], held - line.stations[index]
    if isinstance(piece, Line):
        return plus(piece.start, times(direction(piece.start, piece.end), along))
    out = minus(piece.start, piece.centre)
    turn = along / math.hypot(*out)
    across = cross(piece.axis, out)
    return plus(piece.centre, plus(times(out, math.cos(turn)), times(across, math.sin(turn))))


def direction_at(line: Centreline, stations: ArrayLike) -> Floats:
    """Return the unit directions of travel (n, 3) at stations (n,)."""
    table = _table(line)
    piece, along = _located(table, stations)
    curvature = table.curvature[piece]
    turn = along * curvature
    directions: Floats = (
        table.forward[piece]
        - (curvature * np.sin(turn))[:, None] * table.out[piece]
        + (curvature * np.cos(turn))[:, None] * table.across[piece]
    )
    return directions


def nearest(line: Centreline, point: Vec3) -> tuple[float, Vec3]:
    """Return the station and place of the closest point of the centreline, exact for lines and arcs."""
    best_gap, best = math.inf, (0.0, line.points[0])
    for piece, start in zip(line.pieces, line.stations, strict=True):
        along, place = _nearest_on(piece, point)
        gap = distance(place, point)
        if gap < best_gap:
            best_gap, best = gap, (start + along, place)
    return best


def bend_at(line: Centreline, station: float) -> Bend | None:
    """Return the bend that the station lies in; its two ends still count as straight."""
    inside = (b for b in line.bends if b.start + LENGTH_NOISE < station < b.end - LENGTH_NOISE)
    return next(inside, None)


def leg_at(line: Centreline, station: float) -> int:
    """Return the index of the point that the leg at this station comes from; a bend is halved."""
    passed = [bend for bend in line.bends if (bend.start + bend.end) / 2.0 <= station]
    first = passed[-1].index if passed else 0
    last = line.bends[len(passed)].index if len(passed) < len(line.bends) else len(line.points) - 1
    place = place_at(line, station)
    for index in range(first, last - 1):
        ahead = minus(line.points[index + 1], place)
        if dot(ahead, minus(line.points[index + 1], line.points[index])) > 0.0:
            return index
    return last - 1


def radius_of(arc: Arc) -> float:
    return distance(arc.start, arc.centre)


@lru_cache(maxsize=CACHED_LINES)
def _remembered(points: tuple[Vec3, ...], clr: float) -> Centreline:
    return build(points, clr)


def _drawn_radii(points: tuple[Vec3, ...], corners: Sequence[Turn], clr: float) -> list[float]:
    """Return for each bend the asked radius, or the part of it that its two legs have room for."""
    if not corners:
        return []
    stops = (points[0], *(turn.corner for turn in corners), points[-1])
    # A corner too sharp for any die is drawn sharp, so it takes nothing from its neighbours.
    taken = (
        0.0,
        *(bending.tangent(clr, t.angle) if t.angle <= LARGEST_TURN else 0.0 for t in corners),
        0.0,
    )
    room = [
        min(1.0, distance(stops[i], stops[i + 1]) / max(taken[i] + taken[i + 1], LENGTH_NOISE))
        for i in range(len(corners) + 1)
    ]
    radii = [clr * min(room[i], room[i + 1]) if taken[i + 1] > 0.0 else 0.0 for i in range(len(corners))]
    return [
        radius if radius * turn.angle > LENGTH_NOISE else 0.0
        for radius, turn in zip(radii, corners, strict=True)
    ]


def _drawn_bend(before: Vec3, turn: Turn, after: Vec3, radius: float) -> tuple[Vec3, Arc | None, Vec3]:
    """Return where the bend starts, its arc, and where it ends."""
    if radius == 0.0:
        return turn.corner, None, turn.corner
    arriving, leaving = direction(before, turn.corner), direction(turn.corner, after)
    reach = bending.tangent(radius, turn.angle)
    start = minus(turn.corner, times(arriving, reach))
    centre = plus(start, times(cross(turn.axis, arriving), radius))
    return start, Arc(start, centre, turn.axis, turn.angle), plus(turn.corner, times(leaving, reach))


def _add_line(
    pieces: list[Line | Arc], stations: list[float], station: float, start: Vec3, end: Vec3
) -> float:
    """Append a straight piece where there is one; return the station at its end."""
    length = distance(start, end)
    if length <= LENGTH_NOISE:
        return station
    pieces.append(Line(start, end))
    stations.append(station)
    return station + length


def _nearest_on(piece: Line | Arc, point: Vec3) -> tuple[float, Vec3]:
    """Return the mm along the piece and the place of its closest point."""
    if isinstance(piece, Line):
        length = distance(piece.start, piece.end)
        forward = direction(piece.start, piece.end)
        along = min(max(dot(minus(point, piece.start), forward), 0.0), length)
        return along, plus(piece.start, times(forward, along))
    out = minus(piece.start, piece.centre)
    across = cross(piece.axis, out)
    away = minus(point, piece.centre)
    angle = math.atan2(dot(away, across), dot(away, out))
    # Beyond the arc, the end that is nearer round the circle is the nearer one in space.
    half = piece.angle / 2.0
    past = math.remainder(angle - half, 2.0 * math.pi)
    angle = half + min(max(past, -half), half)
    place = plus(piece.centre, plus(times(out, math.cos(angle)), times(across, math.sin(angle))))
    return angle * math.hypot(*out), place


def _halfway(line: Centreline, bend: Bend) -> Floats:
    """Return the direction between arriving at and leaving a sharp corner."""
    step = min(bend.start, line.length - bend.end, 1.0) / 2.0
    arriving, leaving = direction_at(line, [bend.start - step, bend.start + step])
    middle: Floats = arriving + leaving
    length = float(np.linalg.norm(middle))
    return middle / length if length > LENGTH_NOISE else arriving


class _Table(Struct, frozen=True, eq=False):
    """The pieces as rows: a point is base + along forward + cos out + sin across."""

    starts: Floats
    length: float
    base: Floats
    forward: Floats
    out: Floats
    across: Floats
    curvature: Floats


@lru_cache(maxsize=CACHED_LINES)
def _table(line: Centreline) -> _Table:
    none = (0.0, 0.0, 0.0)
    rows: list[tuple[Vec3, Vec3, Vec3, Vec3]] = []
    curvature = []
    for piece in line.pieces:
        if isinstance(piece, Line):
            rows.append((piece.start, direction(piece.start, piece.end), none, none))
            curvature.append(0.0)
        else:
            out = minus(piece.start, piece.centre)
            rows.append((piece.centre, none, out, cross(piece.axis, out)))
            curvature.append(1.0 / math.hypot(*out))
    base, forward, out_rows, across = np.ascontiguousarray(np.array(rows).transpose(1, 0, 2))
    return _Table(np.array(line.stations), line.length, base, forward, out_rows, across, np.array(curvature))


def _located(table: _Table, stations: ArrayLike) -> tuple[np.ndarray, Floats]:
    """Return for each station its piece and the mm along it."""
    held = np.clip(np.atleast_1d(np.asarray(stations, dtype=np.float64)), 0.0, table.length)
    piece = np.searchsorted(table.starts, held, side="right") - 1
    return piece, held - table.starts[piece]
