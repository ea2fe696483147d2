"""Reference points, lines and planes: edits, distances to them, and how far the cage reaches past limits."""

import math
import re
from collections.abc import Iterable

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from geometry import axles, hinges, naming, refusals
from geometry.aids import LineShape, PlaneShape, PointShape, Reference
from geometry.body import placement
from geometry.errors import GeometryError
from geometry.layout import Layout
from geometry.tolerances import LENGTH_NOISE, SAME_POINT
from geometry.tube import centreline
from geometry.tube.centreline import Arc, Centreline, Line
from geometry.vectors import (
    Vec3,
    cross,
    direction,
    distance,
    dot,
    image,
    is_finite,
    minus,
    plus,
    times,
)

Shape = PointShape | LineShape | PlaneShape
KINDS: dict[type[Shape], str] = {PointShape: "point", LineShape: "line", PlaneShape: "plane"}
SHORTEST_RIM = 20.0  # mm that a rim must run straight to be taken for a line
SHORTEST_LINE = 1.0  # mm between the ends of a line: nearer, a click's error turns it
LEAST_SQUARE = 1.0  # mm that the third place of a plane must be off the line through the others
UNIT_ERROR = 1e-6  # that the length of a normal may be off 1
ROOF_HEIGHT = 2000.0  # mm above the ground; assumed, no source: a start, to be typed over
OVERALL_WIDTH = 2000.0  # mm; likewise
TRAILER_WIDTH = 2100.0  # mm between the trailer's sides; likewise
LARGEST_SIZE = 20_000.0  # mm; higher or wider than any car
LEFT_AND_RIGHT = re.compile(r"\b(left|right|Left|Right)\b")
SIDES = {"left": "right", "right": "left", "Left": "Right", "Right": "Left"}
_Section = tuple[float, Vec3, Vec3 | None]  # station, place on the centreline, direction


class Reach(Struct, frozen=True):
    """How far a tube's outer surface reaches past a plane; negative where all of it stays before it."""

    tube: int
    past: float
    station: float
    at: Vec3  # on the tube's outer surface


# Edits


def add_reference(layout: Layout, shape: Shape, name: str | None = None) -> tuple[Layout, int]:
    """Add a point, line or plane; without a name it is called Reference 1, 2 ..."""
    return added(layout, shape, free_name(layout, naming.checked(name)) if name is not None else None)


def added(layout: Layout, shape: Shape, name: str | None = None, limit: bool = False) -> tuple[Layout, int]:
    """Add a reference under a name that is free already."""
    id = layout.next_id
    reference = checked(Reference(id, name or next_name(layout), shape, limit))
    return replace(layout, references={**layout.references, id: reference}, next_id=id + 1), id


def set_reference(
    layout: Layout,
    id: int,
    shape: Shape | None = None,
    limit: bool | None = None,
    shown: bool | None = None,
) -> Layout:
    """Change where a reference lies, whether it limits the cage, and whether it is drawn."""
    old = known(layout, id)
    new = replace(
        old,
        shape=old.shape if shape is None else shape,
        limit=old.limit if limit is None else limit,
        shown=old.shown if shown is None else shown,
    )
    if shape is not None and limit is None and not isinstance(shape, PlaneShape):
        new = replace(new, limit=False)
    return layout if new == old else _with(layout, checked(new))


def set_shape(layout: Layout, id: int, shape: Shape) -> Layout:
    """Change where a reference lies; of two limits either side of the car, both move alike."""
    old = known(layout, id)
    after = set_reference(layout, id, shape=shape)
    if old.limit and (other := other_limit(layout, id)) is not None:
        after = set_reference(after, other, shape=mirrored(shape))
    return after


def other_limit(layout: Layout, id: int) -> int | None:
    """Return the limit that is a limit's mirror image across the centre plane."""
    image_of = mirrored(known(layout, id).shape)
    return next((one.id for one in limits(layout) if one.id != id and is_same(one.shape, image_of)), None)


def mirror_reference(layout: Layout, id: int) -> tuple[Layout, int]:
    """Add a reference's mirror image across the centre plane; return the one there is, if there is one."""
    old = known(layout, id)
    shape = mirrored(old.shape)
    if is_same(shape, old.shape):
        raise GeometryError(f"{old.name} lies the same on both sides; it has no other side.", (id,))
    for other in layout.references.values():
        if is_same(other.shape, shape):
            return layout, other.id
    return added(layout, shape, other_side_name(layout, old.name), old.limit)


def known(layout: Layout, id: int) -> Reference:
    if id not in layout.references:
        raise GeometryError("This reference is no longer in the job.", (id,))
    return layout.references[id]


def checked(reference: Reference) -> Reference:
    """Return a reference that can be, or refuse it in a sentence."""
    naming.checked(reference.name)
    shape = reference.shape
    for place in places_of(shape):
        refusals.checked_place(place)
    if isinstance(shape, LineShape) and distance(shape.start, shape.end) < SHORTEST_LINE:
        raise GeometryError(
            f"The two places of line {reference.name} lie less than 1 mm apart, too near to say which way it "
            "runs. Give places farther apart.",
            (reference.id,),
        )
    if isinstance(shape, PlaneShape):
        if not is_finite(shape.normal) or abs(math.hypot(*shape.normal) - 1.0) > UNIT_ERROR:
            raise GeometryError(
                f"Plane {reference.name} has no way that it faces. Give one that is not 0 in all three.",
                (reference.id,),
            )
    elif reference.limit:
        raise GeometryError(
            f"{reference.name} is a {KINDS[type(shape)]} and has no side to stay on; only a plane can be a "
            "limit.",
            (reference.id,),
        )
    return reference


def _with(layout: Layout, reference: Reference) -> Layout:
    return replace(layout, references={**layout.references, reference.id: reference})


# Names


def next_name(layout: Layout) -> str:
    """Return the first of Reference 1, Reference 2 ... after all that are in use."""
    names = (re.fullmatch(r"Reference (\d+)", one.name) for one in layout.references.values())
    return f"Reference {max((int(name[1]) for name in names if name), default=0) + 1}"


def free_name(layout: Layout, name: str) -> str:
    """Return the name, with a number behind it where another reference has it already."""
    return numbered(name, {one.name for one in layout.references.values()})


def numbered(name: str, taken: set[str]) -> str:
    """Return the name, with the first free number behind it where it is taken."""
    free, number = name, 2
    while free in taken:
        free, number = f"{name} {number}", number + 1
    return free


def swapped_sides(name: str) -> str:
    """Return a name with left and right exchanged."""
    return LEFT_AND_RIGHT.sub(lambda side: SIDES[side[0]], name)


def other_side_name(layout: Layout, name: str) -> str:
    """Return a free name for what lies on the other side of what has this one."""
    swapped = swapped_sides(name)
    return free_name(layout, swapped if swapped != name else f"{name}, other side")


# Shapes


def line_through(start: Vec3, end: Vec3) -> LineShape:
    """Return the line through two places, or say why there is none."""
    if distance(start, end) < SHORTEST_LINE:
        raise GeometryError("These two places are one; pick the second farther off.")
    return LineShape(start, end)


def rim_near(layout: Layout, panel: int, place: Vec3) -> LineShape:
    """Return the straight run of a panel's rim that is nearest to a place on it."""
    one = layout.panels[panel]
    try:
        points = placement.panel_vertices(layout, one)
        start, end = hinges.straight_rim(points, one.mesh.triangles, np.array(place), one.name)
    except GeometryError:
        raise GeometryError(
            f"{one.name} is closed all round and has no rim. Click two places for a line.", (panel,)
        ) from None
    if distance(start, end) < SHORTEST_RIM:
        raise GeometryError(
            f"The rim of {one.name} runs straight for {distance(start, end):.3g} mm only here. Click two "
            "places for a line.",
            (panel,),
        )
    return LineShape(start, end)


def plane_through(a: Vec3, b: Vec3, c: Vec3) -> PlaneShape:
    """Return the plane through three places; its normal looks up, or outward where it stands upright."""
    across = cross(minus(b, a), minus(c, a))
    area, longest = math.hypot(*across), max(distance(a, b), distance(b, c), distance(c, a))
    if area < LEAST_SQUARE * longest or longest == 0.0:
        raise GeometryError("These three places lie in one line; pick the third beside it.")
    at = times(plus(plus(a, b), c), 1.0 / 3.0)
    return PlaneShape(at, _outward(times(across, 1.0 / area), at))


def upright_through(a: Vec3, b: Vec3) -> PlaneShape:
    """Return the upright plane through two places; its normal looks outward."""
    across = cross(minus(b, a), (0.0, 0.0, 1.0))
    size = math.hypot(*across)
    if size < SHORTEST_LINE:
        raise GeometryError("These two places lie above each other; pick the second beside the first.")
    at = times(plus(a, b), 0.5)
    return PlaneShape(at, _outward(times(across, 1.0 / size), at))


def facing(at: Vec3, along: Vec3) -> PlaneShape:
    """Return the plane through a place that faces a way, of any length but 0."""
    size = math.hypot(*along) if is_finite(along) else 0.0
    if size <= LENGTH_NOISE:
        raise GeometryError("A plane faces one way; these three numbers are all 0 or none.")
    return PlaneShape(at, times(along, 1.0 / size))


def turned_over(shape: PlaneShape) -> PlaneShape:
    """Return the plane facing the other way: what it keeps free is on its other side."""
    return PlaneShape(shape.at, times(shape.normal, -1.0))


def mirrored(shape: Shape) -> Shape:
    """Return the mirror image of a shape across the centre plane."""
    if isinstance(shape, PointShape):
        return PointShape(image(shape.at))
    if isinstance(shape, LineShape):
        return LineShape(image(shape.start), image(shape.end))
    return PlaneShape(image(shape.at), image(shape.normal))


def is_same(a: Shape, b: Shape) -> bool:
    """Say whether two shapes are one point, one line, or one plane."""
    if isinstance(a, PointShape) and isinstance(b, PointShape):
        return distance(a.at, b.at) < SAME_POINT
    if isinstance(a, LineShape) and isinstance(b, LineShape):
        return max(distance(foot(a, end), end) for end in (b.start, b.end)) < SAME_POINT
    if isinstance(a, PlaneShape) and isinstance(b, PlaneShape):
        return dot(a.normal, b.normal) > 1.0 - UNIT_ERROR and abs(past(a, b.at)) < SAME_POINT
    return False


def place_of(shape: Shape) -> Vec3:
    """Return the place that a shape is picked and labelled at."""
    return times(plus(shape.start, shape.end), 0.5) if isinstance(shape, LineShape) else shape.at


def moved(shape: Shape, shift: Vec3) -> Shape:
    """Return a shape moved by a shift."""
    if isinstance(shape, LineShape):
        return LineShape(plus(shape.start, shift), plus(shape.end, shift))
    return replace(shape, at=plus(shape.at, shift))


def places_of(shape: Shape) -> tuple[Vec3, ...]:
    """Return the places that a shape was set by."""
    return (shape.start, shape.end) if isinstance(shape, LineShape) else (shape.at,)


def _outward(normal: Vec3, at: Vec3) -> Vec3:
    """Return the normal or its opposite: up, or for upright planes away from the centre plane, or forward."""
    if abs(normal[2]) > 1e-3:
        keeps = normal[2] > 0.0
    elif abs(normal[1]) > 1e-3:
        keeps = normal[1] * at[1] >= 0.0
    else:
        keeps = normal[0] > 0.0
    return normal if keeps else times(normal, -1.0)


# Distances


def foot(shape: Shape, point: Vec3) -> Vec3:
    """Return the place of a shape that is nearest to a point; a line goes on beyond its ends."""
    if isinstance(shape, PointShape):
        return shape.at
    if isinstance(shape, LineShape):
        along = direction(shape.start, shape.end)
        return plus(shape.start, times(along, dot(minus(point, shape.start), along)))
    return minus(point, times(shape.normal, past(shape, point)))


def past(shape: PlaneShape, point: Vec3) -> float:
    """Return how far a point is past a plane, along its normal; negative before it."""
    return dot(minus(point, shape.at), shape.normal)


def outside(layout: Layout, reference: int, tubes: Iterable[int] | None = None) -> tuple[Reach, ...]:
    """Return for each tube how far its outer surface reaches past a plane, the farthest first."""
    shape = known(layout, reference).shape
    if not isinstance(shape, PlaneShape):
        raise GeometryError("Only a plane has a side that the cage could reach past.", (reference,))
    asked = layout.tubes if tubes is None else tubes
    return tuple(sorted((reach_of(layout, id, shape) for id in asked), key=lambda row: -row.past))


def reach_of(layout: Layout, tube: int, shape: PlaneShape) -> Reach:
    """Return where a tube reaches farthest past a plane, exact for its straights, arcs and sawn ends."""
    line = centreline.of(layout, layout.tubes[tube])
    station, axis, along = _farthest(line, shape.normal, layout.stocks[layout.tubes[tube].stock].od / 2.0)
    radius = layout.stocks[layout.tubes[tube].stock].od / 2.0
    out = _square(shape.normal, along) if along is not None else shape.normal
    at = plus(axis, times(out, radius))
    return Reach(tube, past(shape, at), station, at)


def _farthest(line: Centreline, way: Vec3, radius: float) -> _Section:
    """Return the station, place and direction of the section whose rim reaches farthest along a way.

    At a corner drawn sharp there is no direction: it counts as a ball, as it does for clearance.
    """
    ends = (*line.stations[1:], line.length)
    best = -math.inf
    found: _Section = (0.0, line.points[0], None)
    candidates: list[_Section] = []
    for piece, start, end in zip(line.pieces, line.stations, ends, strict=True):
        if isinstance(piece, Line):
            along = direction(piece.start, piece.end)
            candidates += [(start, piece.start, along), (end, piece.end, along)]
        else:
            candidates += _of_arc(piece, way, start, end)
    candidates += [(bend.start, bend.corner, None) for bend in line.bends if bend.start == bend.end]
    for station, place, tangent in candidates:
        sine = 1.0 if tangent is None else math.sqrt(max(0.0, 1.0 - dot(tangent, way) ** 2))
        height = dot(place, way) + radius * sine
        if height > best + LENGTH_NOISE:
            best, found = height, (station, place, tangent)
    return found


def _of_arc(arc: Arc, way: Vec3, start: float, end: float) -> list[_Section]:
    """Return the ends of an arc, and where it runs square to a way at its farthest, if it does.

    Between those the reach of the tube's rim only falls, as long as the arc's radius is more than the tube's.
    """
    out = minus(arc.start, arc.centre)
    across = cross(arc.axis, out)
    turns = [0.0, arc.angle]
    top = math.atan2(dot(across, way), dot(out, way)) % (2.0 * math.pi)
    if top < arc.angle:
        turns.append(top)
    rows: list[_Section] = []
    for turn in turns:
        place = plus(arc.centre, plus(times(out, math.cos(turn)), times(across, math.sin(turn))))
        tangent = plus(times(across, math.cos(turn)), times(out, -math.sin(turn)))
        station = start + (end - start) * (turn / arc.angle)
        rows.append((station, place, times(tangent, 1.0 / math.hypot(*out))))
    return rows


def _square(way: Vec3, along: Vec3) -> Vec3:
    """Return the unit way across a direction that is nearest to a way; none where they are one."""
    rest = minus(way, times(along, dot(way, along)))
    size = math.hypot(*rest)
    return times(rest, 1.0 / size) if size > 1e-9 else (0.0, 0.0, 0.0)


# Ready-made ones


def add_ground(layout: Layout) -> tuple[Layout, int]:
    """Add the plane that the tyres stand on; the cage must stay above it."""
    height, rise = axles.ground(layout)
    return added(
        layout, turned_over(facing((0.0, 0.0, height), (-rise, 0.0, 1.0))), free_name(layout, "Ground"), True
    )


def add_height_limit(layout: Layout, height: float = ROOF_HEIGHT) -> tuple[Layout, int]:
    """Add a level plane at a height above the ground at the front axle; the cage must stay below it."""
    _checked_size(height, "A height limit")
    ground, _ = axles.ground(layout)
    name = free_name(layout, "Roof height limit")
    return added(layout, PlaneShape((0.0, 0.0, ground + height), (0.0, 0.0, 1.0)), name, True)


def add_width_limits(
    layout: Layout, width: float = OVERALL_WIDTH, name: str = "Width limit"
) -> tuple[Layout, tuple[int, int]]:
    """Add two upright planes along the car, half a width either side; the cage must stay between them."""
    _checked_size(width, "A width")
    ids = []
    for side, y in (("left", width / 2.0), ("right", -width / 2.0)):
        shape = PlaneShape((0.0, y, 0.0), (0.0, math.copysign(1.0, y), 0.0))
        layout, id = added(layout, shape, free_name(layout, f"{name}, {side}"), True)
        ids.append(id)
    return layout, (ids[0], ids[1])


def add_trailer_limits(layout: Layout, width: float = TRAILER_WIDTH) -> tuple[Layout, tuple[int, int]]:
    """Add the insides of a trailer as two upright planes."""
    return add_width_limits(layout, width, "Trailer side")


def _checked_size(value: float, what: str) -> None:
    if not 0.0 < value <= LARGEST_SIZE:
        raise GeometryError(f"{what} must be more than 0 and at most 20 m.")


# Limits


def limits(layout: Layout) -> tuple[Reference, ...]:
    """Return the planes that the cage must stay before, shown or not."""
    return tuple(one for one in layout.references.values() if one.limit)
