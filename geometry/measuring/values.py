"""What a measure comes to on a layout: its value, what else is worth saying, and what to draw."""

import math
from collections.abc import Iterator, Sequence
from itertools import product
from typing import Literal

import numpy as np
from msgspec import Struct

from geometry import references
from geometry.aids import LineShape, Measure, PlaneShape, PointShape, Spot, TubeSpot
from geometry.errors import GeometryError
from geometry.layout import Layout
from geometry.measuring import openings, places
from geometry.measuring.places import OnTube
from geometry.references import Shape
from geometry.tolerances import SAME_POINT, STRAIGHT
from geometry.tube import apart, centreline
from geometry.vectors import Vec3, between, cross, direction, distance, dot, minus, plus, times, vec

Quantity = Literal["length", "angle"]
SPOTS: dict[str, tuple[int, int | None]] = {  # how many each kind is taken from; None: as many as one likes
    "distance": (2, 2),
    "along": (2, 2),
    "gap": (2, 2),
    "angle": (2, 2),
    "height": (1, 1),
    "opening": (3, None),
}
FAR_VERTEX = 3000.0  # mm; legs that would meet farther away than this have no corner worth drawing
ARC_PART = 0.6  # of the shorter leg of an angle: where its arc is drawn
ARC_STEP = math.radians(5.0)


class Part(Struct, frozen=True):
    """One more number of a measure, and what it is called."""

    name: str
    number: float
    quantity: Quantity = "length"


class Value(Struct, frozen=True):
    """What a measure comes to; lengths in mm, angles in radians."""

    number: float
    quantity: Quantity
    parts: tuple[Part, ...]
    ends: tuple[Vec3, ...]  # the spots as they are now, and the feet on what they are measured to
    paths: tuple[tuple[Vec3, ...], ...]  # what was measured along
    at: Vec3  # where the number belongs


class NoValue(Struct, frozen=True):
    """Why a measure has no value now."""

    why: str


class Remembered:
    """The values of measures, worked out again only where what they hang on changed."""

    def __init__(self) -> None:
        self._known: dict[int, tuple[tuple[object, ...], Value | NoValue]] = {}

    def of(self, layout: Layout, measure: Measure) -> Value | NoValue:
        key = (measure.kind, *_hangs_on(layout, measure))
        known = self._known.get(measure.id)
        if known is not None and known[0] == key:
            return known[1]
        value = of(layout, measure)
        self._known[measure.id] = (key, value)
        return value


def _hangs_on(layout: Layout, measure: Measure) -> Iterator[object]:
    """Yield all that the value of a measure follows from."""
    yield measure.spots
    if measure.kind == "height":
        yield places.ground(layout)
    for spot in measure.spots:
        try:
            yield places.shape_of(layout, spot)
            for under in places.tubes_under(layout, spot):
                yield under.tube
                yield under.line
                yield under.radius
                yield tuple(layout.nodes[node].landing for node in under.tube.nodes)
        except GeometryError as refused:
            yield refused.message


def of(layout: Layout, measure: Measure) -> Value | NoValue:
    """Return what a kept measure comes to."""
    return taken(layout, measure.kind, measure.spots)


def taken(layout: Layout, kind: str, spots: Sequence[Spot]) -> Value | NoValue:
    """Return what is measured between spots, or in words why that can't be."""
    least, most = SPOTS[kind]
    if len(spots) < least or (most is not None and len(spots) > most):
        return NoValue("It was not taken between the right number of places; delete it and measure anew.")
    try:
        return _KINDS[kind](layout, spots)
    except GeometryError as refused:
        return NoValue(refused.message)


def _distance(layout: Layout, spots: Sequence[Spot]) -> Value:
    start, end = _nearest_places(*(places.shape_of(layout, spot) for spot in spots))
    parts = tuple(Part(axis, q - p) for axis, p, q in zip("xyz", start, end, strict=True))
    return _straight(distance(start, end), parts, start, end)


def _straight(number: float, parts: tuple[Part, ...], start: Vec3, end: Vec3) -> Value:
    return Value(number, "length", parts, (start, end), ((start, end),), between(start, end, 0.5))


def _nearest_places(first: Shape, second: Shape) -> tuple[Vec3, Vec3]:
    """Return where two shapes are nearest; refuse lines and planes that run into each other."""
    if isinstance(first, PointShape):
        return first.at, references.foot(second, first.at)
    if isinstance(second, PointShape):
        return references.foot(first, second.at), second.at
    if isinstance(first, LineShape) and isinstance(second, LineShape):
        return _between_lines(first, second)
    is_level = _lean(first, second) <= STRAIGHT
    if not is_level:
        raise GeometryError("The two run into each other, so no distance lies between them; take the angle.")
    if isinstance(first, LineShape):
        return (at := references.place_of(first)), references.foot(second, at)
    return references.foot(first, at := references.place_of(second)), at


def _between_lines(first: LineShape, second: LineShape) -> tuple[Vec3, Vec3]:
    one, other = direction(first.start, first.end), direction(second.start, second.end)
    across = cross(one, other)
    sine2 = dot(across, across)
    if sine2 <= STRAIGHT**2:
        at = references.place_of(first)
        return at, references.foot(second, at)
    way = minus(second.start, first.start)
    along = dot(cross(way, other), across) / sine2
    at = plus(first.start, times(one, along))
    return at, references.foot(second, at)


def _lean(first: LineShape | PlaneShape, second: LineShape | PlaneShape) -> float:
    """Return the angle between lines or planes, from 0 to a right angle."""
    one, other = _axis(first), _axis(second)
    angle = math.atan2(math.hypot(*cross(one, other)), abs(dot(one, other)))
    is_mixed = isinstance(first, LineShape) != isinstance(second, LineShape)
    return math.pi / 2.0 - angle if is_mixed else angle


def _axis(shape: LineShape | PlaneShape) -> Vec3:
    return shape.normal if isinstance(shape, PlaneShape) else direction(shape.start, shape.end)


def _along(layout: Layout, spots: Sequence[Spot]) -> Value:
    first, second = (places.tubes_under(layout, spot) for spot in spots)
    both = [(a, b) for a, b in product(first, second) if a.tube.id == b.tube.id]
    if not both:
        raise GeometryError("The two places are not on one tube; point at two places of the same tube.")
    one, other = min(both, key=lambda pair: abs(pair[0].station - pair[1].station))
    stations = sorted((one.station, other.station))
    length = stations[1] - stations[0]
    parts = (Part("straight across", distance(one.at, other.at)),)
    path = openings.run(one.line, one.station, other.station)
    at = centreline.place_at(one.line, sum(stations) / 2.0)
    return Value(length, "length", parts, (one.at, other.at), (path,), at)


def _gap(layout: Layout, spots: Sequence[Spot]) -> Value:
    first, second = (places.tubes_under(layout, spot) for spot in spots)
    pairs = [(a, b) for a, b in product(first, second) if a.tube.id != b.tube.id]
    if not pairs:
        raise GeometryError("A gap lies between two tubes; point at one tube and then at another.")
    one, other = pairs[0]
    if openings.joints(layout, one.tube, other.tube):
        named = places.names(layout, (one.tube.id, other.tube.id))
        raise GeometryError(f"{named} are joined, so no gap lies between them.")
    closest = apart.between(one.line, other.line)
    start, end = closest.points
    outward = direction(start, end)
    start, end = plus(start, times(outward, one.radius)), plus(end, times(outward, -other.radius))
    parts = (
        Part("centre to centre", closest.distance),
        Part(f"from the start of {one.tube.name}", closest.stations[0]),
        Part(f"from the start of {other.tube.name}", closest.stations[1]),
    )
    return _straight(closest.distance - one.radius - other.radius, parts, start, end)


def _angle(layout: Layout, spots: Sequence[Spot]) -> Value:
    first, second = (_leg(layout, spot) for spot in spots)
    if isinstance(first, PlaneShape) or isinstance(second, PlaneShape):
        return _leaning(first, second)
    start, end = _between_lines(first, second)
    vertex = between(start, end, 0.5)
    at, there = references.place_of(first), references.place_of(second)
    if _lean(first, second) <= STRAIGHT:
        return Value(0.0, "angle", (), (at, there), ((at, there),), between(at, there, 0.5))
    one, other = _away(first, vertex), _away(second, vertex)
    angle = math.atan2(math.hypot(*cross(one, other)), dot(one, other))
    parts = (Part("turn", math.pi - angle, "angle"),)
    if max(distance(vertex, at), distance(vertex, there)) > FAR_VERTEX:
        return Value(angle, "angle", parts, (at, there), ((at, there),), between(at, there, 0.5))
    arc = _arc(vertex, one, other, angle, _arc_radius(vertex, at, there))
    return Value(angle, "angle", parts, (at, there), ((at, vertex, there), arc), arc[len(arc) // 2])


def _leg(layout: Layout, spot: Spot) -> LineShape | PlaneShape:
    """Return the direction of a spot as a line whose middle is the spot, or a plane."""
    if isinstance(shape := places.shape_of(layout, spot), LineShape | PlaneShape):
        return shape
    under = places.tubes_under(layout, spot)
    if len(under) != 1:
        raise GeometryError("An angle lies between tubes, lines and planes; point along a tube, off nodes.")
    half = times(under[0].along, _leg_reach(under[0]))
    return LineShape(minus(under[0].at, half), plus(under[0].at, half))


def _leg_reach(spot: OnTube) -> float:
    return max(min(spot.line.length / 2.0, 100.0), 1.0)


def _away(line: LineShape, vertex: Vec3) -> Vec3:
    """Return the direction of a line from where the two meet to where it was pointed at."""
    along, way = direction(line.start, line.end), minus(references.place_of(line), vertex)
    return along if dot(way, along) >= -SAME_POINT else times(along, -1.0)


def _arc_radius(vertex: Vec3, at: Vec3, there: Vec3) -> float:
    legs = [length for end in (at, there) if (length := distance(vertex, end)) > SAME_POINT]
    return ARC_PART * min(legs, default=100.0)


def _arc(vertex: Vec3, one: Vec3, other: Vec3, angle: float, radius: float) -> tuple[Vec3, ...]:
    square = minus(other, times(one, dot(other, one)))
    length = math.hypot(*square)
    if length == 0.0:
        return (plus(vertex, times(one, radius)), vertex, plus(vertex, times(other, radius)))
    up = times(square, 1.0 / length)
    turns = np.linspace(0.0, angle, max(2, math.ceil(angle / ARC_STEP)) + 1).tolist()
    return tuple(
        plus(vertex, plus(times(one, radius * math.cos(turn)), times(up, radius * math.sin(turn))))
        for turn in turns
    )


def _leaning(first: LineShape | PlaneShape, second: LineShape | PlaneShape) -> Value:
    """Return the angle to a plane; drawn as the straight way between the two places."""
    at, there = (references.place_of(shape) for shape in (first, second))
    if isinstance(first, LineShape):
        there = references.foot(second, at)
    elif isinstance(second, LineShape):
        at = references.foot(first, there)
    angle = _lean(first, second)
    return Value(angle, "angle", (), (at, there), ((at, there),), between(at, there, 0.5))


def _height(layout: Layout, spots: Sequence[Spot]) -> Value:
    ground = places.ground(layout)
    at = references.place_of(places.shape_of(layout, spots[0]))
    height = dot(minus(at, ground.at), ground.normal)
    parts: tuple[Part, ...] = ()
    if isinstance(spot := spots[0], TubeSpot):
        # The section is a disc: how far it reaches down hangs on how steep the tube is there.
        tube = places.on_tube(layout, spot.tube, spot.station)
        reach = tube.radius * math.sqrt(max(0.0, 1.0 - dot(tube.along, ground.normal) ** 2))
        parts = (Part("underside", height - reach), Part("top", height + reach))
    return _straight(height, parts, at, references.foot(ground, at))


def _opening(layout: Layout, spots: Sequence[Spot]) -> Value:
    found = openings.of(layout, spots)
    parts = (Part("width", found.width), Part("height", found.height))
    ends = tuple(references.place_of(places.shape_of(layout, spot)) for spot in spots)
    paths = (found.circle, found.across, found.upward)
    return Value(found.diameter, "length", parts, ends, paths, vec(found.centre))


_KINDS = {
    "distance": _distance,
    "along": _along,
    "gap": _gap,
    "angle": _angle,
    "height": _height,
    "opening": _opening,
}
