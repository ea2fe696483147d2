"""The opening between tubes: what a person could climb through.

The rim runs along the centrelines from spot to spot, in the order they were pointed at: along a tube
where two spots share one, else from tube to tube at the joint that makes the way shortest. It is seen
square to the plane that fits it best; each tube takes its radius off the clear room on either side. Only
the tubes of the rim count: what else crosses the opening must be pointed at.
"""

import math
from collections.abc import Sequence
from itertools import pairwise, product

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from geometry import references
from geometry.aids import Spot
from geometry.errors import GeometryError
from geometry.layout import Layout, Tube
from geometry.measuring import places
from geometry.measuring.places import OnTube
from geometry.tolerances import LENGTH_NOISE, SAME_POINT
from geometry.tube import apart, centreline
from geometry.tube.centreline import Centreline
from geometry.vectors import Floats, Vec3, distance, unit, vec

SAGITTA = 0.02  # mm; how far the rim drawn in chords may be from its arcs
ACCURACY = 0.05  # mm; how far the circle's radius may be below the largest one; mostly far less
LEVELS = 24  # lines tried across the opening, and again round the widest one
NEARLY_LEVEL = math.cos(math.radians(45.0))  # flatter is a hatch: its width runs across the car
CIRCLE_CHORDS = 48
DIRECTIONS, PUSHES, STEP = 24, 100, 1.0  # a circle is pushed, at most so often, by so many mm at first


class Opening(Struct, frozen=True):
    """The clear room of an opening, and where to draw it."""

    diameter: float  # of the largest circle that fits
    width: float  # the longest level line that fits; across the car in a roof
    height: float  # the longest line square to that
    centre: Vec3
    circle: tuple[Vec3, ...]
    across: tuple[Vec3, ...]
    upward: tuple[Vec3, ...]


_Run = tuple[tuple[Vec3, ...], float]  # points, and the radius of the tube along them


class _Rim(Struct, frozen=True, eq=False):
    """The rim seen square to its plane: chords (n, 2, 2) with the radius of the tube along each (n,)."""

    chords: Floats
    radii: Floats


def of(layout: Layout, spots: Sequence[Spot]) -> Opening:
    """Return what is clear between the tubes round an opening, or say why that can't be told."""
    stops = [_stop(layout, spot) for spot in spots]
    points, radii = _loop(layout, stops)
    middle, axes = _plane(points)
    rim = _seen(points, radii, middle, axes)
    centre, radius = _largest_circle(rim)
    across = _longest_line(rim, 0)
    upward = _longest_line(rim, 1)
    turns = np.linspace(0.0, 2.0 * math.pi, CIRCLE_CHORDS + 1)
    circle = centre + radius * np.stack([np.cos(turns), np.sin(turns)], axis=1)

    def there(flat: Floats) -> tuple[Vec3, ...]:
        return tuple(vec(point) for point in middle + flat @ axes)

    return Opening(
        2.0 * radius,
        float(np.linalg.norm(across[1] - across[0])),
        float(np.linalg.norm(upward[1] - upward[0])),
        there(centre[None])[0],
        there(circle),
        there(across),
        there(upward),
    )


def joints(layout: Layout, first: Tube, second: Tube) -> list[tuple[float, float]]:
    """Return where two tubes are joined, as stations of both."""
    lines = (centreline.of(layout, first), centreline.of(layout, second))
    shared = [id for id in first.nodes if id in second.nodes]
    shared += [id for id in first.nodes if _lands_on(layout, id, second)]
    shared += [id for id in second.nodes if _lands_on(layout, id, first)]
    found = []
    for id in dict.fromkeys(shared):
        one, other = (centreline.nearest(line, layout.nodes[id].position)[0] for line in lines)
        found.append((one, other))
    return found


def _lands_on(layout: Layout, node: int, host: Tube) -> bool:
    landing = layout.nodes[node].landing
    return landing is not None and landing.tube == host.id


def run(line: Centreline, start: float, end: float) -> tuple[Vec3, ...]:
    """Return the points of a centreline from one station to another, either way round."""
    low, high = min(start, end), max(start, end)
    points, _, stations = centreline.sample(line, SAGITTA)
    inside = points[(stations > low + LENGTH_NOISE) & (stations < high - LENGTH_NOISE)]
    path = [centreline.place_at(line, low), *map(vec, inside), centreline.place_at(line, high)]
    return tuple(path if start <= end else path[::-1])


class _Stop(Struct, frozen=True, eq=False):
    """A spot on the rim, and the tubes that pass there."""

    at: Vec3
    tubes: list[OnTube]


def _stop(layout: Layout, spot: Spot) -> _Stop:
    return _Stop(references.place_of(places.shape_of(layout, spot)), places.tubes_under(layout, spot))


def _loop(layout: Layout, stops: Sequence[_Stop]) -> tuple[Floats, Floats]:
    """Return the rim's corners (n, 3) and the radius of the tube along the chord after each (n,)."""
    points: list[Vec3] = []
    radii: list[float] = []
    for stop, after in pairwise((*stops, stops[0])):
        for path, radius in _way(layout, stop, after):
            # The last chord leads to where the next run begins: of no length but at corner nodes.
            points += path
            radii += [radius] * len(path)
    return np.array(points), np.array(radii)


def _way(layout: Layout, stop: _Stop, after: _Stop) -> list[_Run]:
    """Return the shortest way along tubes from one spot to the next, in runs with their radii."""
    ways = [way for one, other in product(stop.tubes, after.tubes) for way in _ways(layout, one, other)]
    if not ways:
        return [((stop.at, after.at), 0.0)]
    best = min(ways, key=lambda way: way.length)
    one, other = best.one, best.other
    if one.tube.id == other.tube.id:
        return [(run(one.line, one.station, other.station), one.radius)]
    first, second = run(one.line, one.station, best.leaves), run(other.line, best.joins, other.station)
    jump = (((first[-1], second[0]), min(one.radius, other.radius)),)
    return [(first, one.radius), *jump, (second, other.radius)]


class _Way(Struct, frozen=True, eq=False):
    """A way from a place on one tube to a place on another: where it leaves the one and joins the other."""

    length: float
    one: OnTube
    other: OnTube
    leaves: float = 0.0
    joins: float = 0.0


def _ways(layout: Layout, one: OnTube, other: OnTube) -> list[_Way]:
    """Return the ways from tube to tube: over their joints, or where they are nearest."""
    if one.tube.id == other.tube.id:
        return [_Way(abs(one.station - other.station), one, other)]
    ways = []
    over = joints(layout, one.tube, other.tube) or [apart.between(one.line, other.line).stations]
    for here, there in over:
        ends = (centreline.place_at(one.line, here), centreline.place_at(other.line, there))
        length = abs(one.station - here) + distance(*ends) + abs(there - other.station)
        ways.append(_Way(length, one, other, here, there))
    return ways


def _plane(points: Floats) -> tuple[Vec3, Floats]:
    """Return the middle of the plane that fits best, and its axes (2, 3): level, and up from there."""
    steps = np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1)
    weights = (steps + np.roll(steps, 1)) / 2.0
    if weights.sum() <= SAME_POINT:
        raise GeometryError("The places all lie at one point; point at the tubes round the opening.")
    middle = np.average(points, axis=0, weights=weights)
    spread = (points - middle) * np.sqrt(weights)[:, None]
    _, sizes, rows = np.linalg.svd(spread, full_matrices=False)
    if sizes[1] <= 1e-6 * sizes[0]:
        raise GeometryError("The places lie in one line; point at the tubes all round the opening.")
    normal = rows[2]
    is_hatch = abs(normal[2]) > NEARLY_LEVEL
    level = np.array((0.0, 1.0, 0.0)) if is_hatch else np.array((0.0, 0.0, 1.0))
    if is_hatch:
        across = unit(level - np.dot(level, normal) * normal)
        upward = np.cross(normal, across)
    else:
        upward = unit(level - np.dot(level, normal) * normal)
        across = np.cross(upward, normal)
    return vec(middle), np.stack([across, upward])


def _seen(points: Floats, radii: Floats, middle: Vec3, axes: Floats) -> _Rim:
    flat = (points - np.array(middle)) @ axes.T
    chords = np.stack([flat, np.roll(flat, -1, axis=0)], axis=1)
    is_real = np.linalg.norm(chords[:, 1] - chords[:, 0], axis=1) > 0.0
    return _Rim(chords[is_real], radii[is_real])


def _room(rim: _Rim, at: Floats) -> Floats:
    """Return how far points (n, 2) are from the nearest tube, negative outside the rim: (n,)."""
    starts, ways = rim.chords[:, 0], rim.chords[:, 1] - rim.chords[:, 0]
    squares = np.einsum("ij,ij->i", ways, ways)
    away = at[:, None] - starts[None]
    parts = np.clip(np.einsum("nij,ij->ni", away, ways) / squares, 0.0, 1.0)
    gaps = np.linalg.norm(away - parts[..., None] * ways, axis=2)
    room: Floats = (gaps - rim.radii).min(axis=1)
    return np.where(_is_inside(rim, at), room, -gaps.min(axis=1))


def _is_inside(rim: _Rim, at: Floats) -> NDArray[np.bool_]:
    """Say which points (n, 2) the rim runs round, by the parity of crossings."""
    (x0, y0), (x1, y1) = rim.chords[:, 0].T, rim.chords[:, 1].T
    x, y = at[:, :1], at[:, 1:]
    spans = (y0 > y) != (y1 > y)
    rise = np.where(y1 != y0, y1 - y0, 1.0)
    crossed = spans & (x < x0 + (y - y0) / rise * (x1 - x0))
    inside: NDArray[np.bool_] = crossed.sum(axis=1) % 2 == 1
    return inside


def _largest_circle(rim: _Rim) -> tuple[Floats, float]:
    """Return the middle and radius of the largest circle that fits, to ACCURACY.

    Room grows no faster than the way: a square whose middle has room r holds nothing better than r plus
    half its diagonal, and is left alone once that is no better than the best known.
    """
    corners = rim.chords.reshape(-1, 2)
    low, high = corners.min(axis=0), corners.max(axis=0)
    half = float((high - low).max()) / 16.0
    rows = [np.arange(start + half, end + half, 2.0 * half) for start, end in zip(low, high, strict=True)]
    squares = np.stack(np.meshgrid(*rows), axis=-1).reshape(-1, 2)
    best, centre = 0.0, None
    while len(squares):
        room = _room(rim, squares)
        top = int(np.argmax(room))
        if room[top] > best:
            best, centre = float(room[top]), squares[top]
        squares = squares[room + half * math.sqrt(2.0) > best + ACCURACY]
        half /= 2.0
        shifts = half * np.array([(-1.0, -1.0), (-1.0, 1.0), (1.0, -1.0), (1.0, 1.0)])
        squares = (squares[:, None] + shifts).reshape(-1, 2)
    if centre is None:
        raise GeometryError(
            "Nothing is clear between these tubes; point at every tube round the opening, in turn."
        )
    return _settled(rim, centre, best)


def _settled(rim: _Rim, centre: Floats, room: float) -> tuple[Floats, float]:
    """Return a circle pushed to where it can grow no more: the same number each time, not one of many."""
    turns = np.linspace(0.0, 2.0 * math.pi, DIRECTIONS, endpoint=False)
    ways = np.stack([np.cos(turns), np.sin(turns)], axis=1)
    step = STEP
    for _ in range(PUSHES):
        if step < ACCURACY / 100.0:
            break
        found = _room(rim, centre + step * ways)
        top = int(np.argmax(found))
        if found[top] > room:
            centre, room = centre + step * ways[top], float(found[top])
        else:
            step /= 2.0
    return centre, room


def _longest_line(rim: _Rim, axis: int) -> Floats:
    """Return the ends (2, 2) of the longest line along an axis that fits."""
    turned = rim if axis == 0 else _Rim(rim.chords[..., ::-1], rim.radii)
    heights = turned.chords[..., 1]
    low, high = float(heights.min()), float(heights.max())
    best, at = (0.0, 0.0), low
    while high - low > ACCURACY:
        levels = np.linspace(low, high, LEVELS + 2)[1:-1]
        found = _free(turned, levels)
        top = max(range(LEVELS), key=lambda row: found[row][1] - found[row][0])
        if found[top][1] - found[top][0] > best[1] - best[0]:
            best, at = found[top], float(levels[top])
        step = (high - low) / (LEVELS + 1)
        low, high = max(low, at - step), min(high, at + step)
    ends = np.array([(best[0], at), (best[1], at)])
    return ends if axis == 0 else ends[:, ::-1]


def _free(rim: _Rim, levels: Floats) -> list[tuple[float, float]]:
    """Return the longest stretch of each level line inside the rim that no tube takes; (0, 0): none."""
    lows, highs = _taken(rim, levels)
    order = np.argsort(lows, axis=1)
    lows, highs = np.take_along_axis(lows, order, 1), np.take_along_axis(highs, order, 1)
    counts = (lows < highs).sum(axis=1).tolist()
    return [
        _longest_between(edges, list(zip(low[:count], high[:count], strict=True)))
        for edges, low, high, count in zip(
            _crossings(rim, levels), lows.tolist(), highs.tolist(), counts, strict=True
        )
    ]


def _longest_between(edges: list[float], taken: list[tuple[float, float]]) -> tuple[float, float]:
    """Return the longest stretch between pairs of edges that is not taken."""
    best = (0.0, 0.0)
    for start, end in zip(edges[::2], edges[1::2], strict=False):
        here = start
        for low, high in taken:
            if low > end:
                break
            if low > here and min(low, end) - here > best[1] - best[0]:
                best = (here, min(low, end))
            here = max(here, high)
        if end - here > best[1] - best[0]:
            best = (here, end)
    return best


def _crossings(rim: _Rim, levels: Floats) -> list[list[float]]:
    """Return where the rim crosses each level line, in order."""
    (x0, y0), (x1, y1) = rim.chords[:, 0].T, rim.chords[:, 1].T
    level = levels[:, None]
    on = (y0 > level) != (y1 > level)
    at = x0 + (level - y0) / np.where(y1 != y0, y1 - y0, 1.0) * (x1 - x0)
    return [np.sort(row[crossed]).tolist() for row, crossed in zip(at, on, strict=True)]


def _taken(rim: _Rim, levels: Floats) -> tuple[Floats, Floats]:
    """Return what each chord's tube takes of each level line (m, n), as starts and ends; inf: nothing."""
    starts, ends = rim.chords[:, 0], rim.chords[:, 1]
    level = levels[:, None]
    shape = (len(levels), len(starts))
    low, high = np.full(shape, np.inf), np.full(shape, -np.inf)
    for end in (starts, ends):  # the round ends
        under = rim.radii**2 - (level - end[:, 1]) ** 2
        reach = np.sqrt(np.maximum(under, 0.0))
        low = np.where(under > 0.0, np.minimum(low, end[:, 0] - reach), low)
        high = np.where(under > 0.0, np.maximum(high, end[:, 0] + reach), high)
    ways = ends - starts
    out = np.stack([-ways[:, 1], ways[:, 0]], axis=1) * (rim.radii / np.linalg.norm(ways, axis=1))[:, None]
    for shift in (out, -out):  # the straight sides
        a, b = starts + shift, ends + shift
        rise = b[:, 1] - a[:, 1]
        part = np.where(rise != 0.0, (level - a[:, 1]) / np.where(rise != 0.0, rise, 1.0), -1.0)
        on = (part >= 0.0) & (part <= 1.0)
        at = a[:, 0] + part * (b[:, 0] - a[:, 0])
        low, high = (
            np.where(on, np.minimum(low, at), low),
            np.where(on, np.maximum(high, at), high),
        )
    return np.where(low < high, low, np.inf), high
