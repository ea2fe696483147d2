"""Access zones: room kept free of tube, as boxes and cones. Edits, usual shapes, meshes and distances."""

import math
from collections.abc import Iterable, Sequence

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import NDArray

from geometry import axles, naming, references, refusals
from geometry.aids import BoxShape, ConeShape, Purpose, Zone
from geometry.errors import GeometryError
from geometry.layout import Layout
from geometry.tolerances import SAME_POINT
from geometry.vectors import (
    Floats,
    Vec3,
    any_perpendicular,
    cross,
    direction,
    distance,
    dot,
    image,
    is_finite,
    minus,
    plus,
    times,
    unit,
    vec,
)

Shape = BoxShape | ConeShape
ROUND_ERROR = 0.2  # mm that the mesh of a cone may stand out of it
FEWEST_SIDES = 16
LEAST_SIZE = 1.0  # mm; less is no room for anything
LARGEST_SIZE = 20_000.0  # mm; longer than any car
TURN_ERROR = 1e-6  # that the axes of a box may be off square and off length 1


class PurposeInfo(Struct, frozen=True):
    """How a purpose is called in lists, where to click to set it, and what its first size rests on."""

    label: str
    where: str
    size: str
    source: str = "assumed, no source"


PURPOSES: dict[Purpose, PurposeInfo] = {
    "filler nozzle": PurposeInfo(
        "Filler nozzle",
        "the filler cap",
        "A cone out from the cap, wide enough for a hand and a nozzle.",
        "hand room: common practice, no source; the rest assumed, no source",
    ),
    "door handle": PurposeInfo(
        "Door handle",
        "the middle of a door handle",
        "A box that a hand reaches into.",
        "hand room: common practice, no source; the rest assumed, no source",
    ),
    "lamp beam": PurposeInfo("Lamp beam", "the middle of a lamp", "A cone ahead of the lamp, 15° to a side."),
    "number plate": PurposeInfo(
        "Number plate view",
        "the middle of the number plate",
        "A wide cone that the plate is read from, 30° to a side.",
    ),
    "wiper": PurposeInfo("Wiper", "the middle of what it wipes", "A flat box over the glass."),
    "mirror": PurposeInfo("Mirror", "where the mirror is fixed", "A box that the mirror folds and turns in."),
    "winch rope": PurposeInfo(
        "Winch rope", "the middle of the fairlead", "A cone ahead of it, 15° to a side."
    ),
    "jack": PurposeInfo("Jack", "where the jack lifts", "A column from there to the ground."),
    "tow eye": PurposeInfo("Tow eye", "the tow eye", "A cone for a shackle and a hand."),
    "belt anchorage": PurposeInfo(
        "Belt anchorage", "the bolt of the belt", "A cylinder for a spanner and the belt."
    ),
    "view ahead": PurposeInfo(
        "View ahead",
        "the windscreen, where the driver looks through",
        "A cone from the driver's eye, 700 mm behind the glass, out through it; 8° to a side.",
    ),
    "other": PurposeInfo("Other", "where room is needed", "A box on the body."),
}
ASKED_FOR: tuple[Purpose, ...] = tuple(purpose for purpose in PURPOSES if purpose != "other")
HAND_ROOM = 60.0  # mm; common practice, no source
EYE_BEHIND = 700.0  # mm from the driver's eye to the windscreen; assumed, no source
VIEW_AHEAD = 1500.0  # mm that the view goes on beyond the glass; likewise
VIEW_SPREAD = math.radians(8.0)  # likewise
SPREAD = math.radians(15.0)  # of lamp beams and winch ropes to a side; likewise
PLATE_SPREAD = math.radians(30.0)  # likewise


# Edits


def add_zone(layout: Layout, purpose: Purpose, shape: Shape, name: str | None = None) -> tuple[Layout, int]:
    """Add room that must stay free; without a name it is called after its purpose. It is needed, then."""
    id = layout.next_id
    wanted = PURPOSES[purpose].label if name is None else naming.checked(name)
    zone = checked(Zone(id, free_name(layout, wanted), purpose, shape))
    needed = tuple(one for one in layout.not_needed if one != purpose)
    return replace(layout, zones={**layout.zones, id: zone}, not_needed=needed, next_id=id + 1), id


def set_zone(
    layout: Layout,
    id: int,
    shape: Shape | None = None,
    purpose: Purpose | None = None,
    shown: bool | None = None,
) -> Layout:
    """Change where a zone lies, what it is for, and whether it is drawn; hidden ones are checked too."""
    old = known(layout, id)
    new = checked(
        replace(
            old,
            shape=old.shape if shape is None else shape,
            purpose=old.purpose if purpose is None else purpose,
            shown=old.shown if shown is None else shown,
        )
    )
    if new == old:
        return layout
    needed = tuple(one for one in layout.not_needed if one != new.purpose)
    return replace(layout, zones={**layout.zones, id: new}, not_needed=needed)


def move_aids(layout: Layout, ids: Iterable[int], shift: Vec3) -> Layout:
    """Move references and zones by a shift; other ids are left alone."""
    for id in ids:
        if id in layout.references:
            shape = references.moved(layout.references[id].shape, shift)
            layout = references.set_reference(layout, id, shape=shape)
        elif id in layout.zones:
            zone = layout.zones[id]
            layout = set_zone(layout, id, shape=moved_to(zone.shape, plus(place_of(zone.shape), shift)))
    return layout


def mirror_zone(layout: Layout, id: int) -> tuple[Layout, int]:
    """Add a zone's mirror image across the centre plane; return the one there is, if there is one."""
    old = known(layout, id)
    shape = mirrored(old.shape)
    if is_same(shape, old.shape):
        raise GeometryError(f"{old.name} lies the same on both sides; it has no other side.", (id,))
    for other in layout.zones.values():
        if other.purpose == old.purpose and is_same(other.shape, shape):
            return layout, other.id
    swapped = references.swapped_sides(old.name)
    name = swapped if swapped != old.name else f"{old.name}, other side"
    return add_zone(layout, old.purpose, shape, name)


def set_needed(layout: Layout, purpose: Purpose, needed: bool) -> Layout:
    """Say whether this car has a use for a purpose that has no zone."""
    others = tuple(one for one in layout.not_needed if one != purpose)
    if needed:
        return replace(layout, not_needed=others) if others != layout.not_needed else layout
    if zones := of_purpose(layout, purpose):
        raise GeometryError(
            f"{PURPOSES[purpose].label} has a zone, {zones[0].name}. Delete that first, then say that none "
            "is needed.",
            [zone.id for zone in zones],
        )
    order = (*others, purpose)
    return replace(layout, not_needed=tuple(one for one in PURPOSES if one in order))


def known(layout: Layout, id: int) -> Zone:
    if id not in layout.zones:
        raise GeometryError("This access zone is no longer in the job.", (id,))
    return layout.zones[id]


def checked(zone: Zone) -> Zone:
    """Return a zone that can be, or refuse it in a sentence."""
    naming.checked(zone.name)
    if zone.purpose not in PURPOSES:
        raise GeometryError(f"Zone {zone.name} is for nothing that is known.", (zone.id,))
    if isinstance(zone.shape, BoxShape):
        _check_box(zone, zone.shape)
    else:
        _check_cone(zone, zone.shape)
    return zone


def _check_box(zone: Zone, box: BoxShape) -> None:
    refusals.checked_place(box.middle)
    if not all(LEAST_SIZE <= size <= LARGEST_SIZE for size in box.size):
        raise GeometryError(
            f"Each side of the box {zone.name} must be at least 1 mm and at most 20 m.", (zone.id,)
        )
    rows = np.array(box.turn)
    if not np.isfinite(rows).all() or np.abs(rows @ rows.T - np.eye(3)).max() > TURN_ERROR:
        raise GeometryError(f"The axes of the box {zone.name} are not square to each other.", (zone.id,))


def _check_cone(zone: Zone, cone: ConeShape) -> None:
    for end in (cone.start, cone.end):
        refusals.checked_place(end)
    if not LEAST_SIZE <= distance(cone.start, cone.end) <= LARGEST_SIZE:
        raise GeometryError(f"The cone {zone.name} must be at least 1 mm and at most 20 m long.", (zone.id,))
    radii = (cone.start_radius, cone.end_radius)
    if not all(0.0 <= radius <= LARGEST_SIZE for radius in radii) or max(radii) < LEAST_SIZE:
        raise GeometryError(
            f"The radii of the cone {zone.name} must be 0 or more and at most 20 m, and one of them at least "
            "1 mm.",
            (zone.id,),
        )


# The list of purposes


def of_purpose(layout: Layout, purpose: Purpose) -> list[Zone]:
    return [zone for zone in layout.zones.values() if zone.purpose == purpose]


def unset(layout: Layout) -> list[Purpose]:
    """Return the purposes that have neither a zone nor word that none is needed."""
    there = {zone.purpose for zone in layout.zones.values()}
    return [one for one in ASKED_FOR if one not in there and one not in layout.not_needed]


def free_name(layout: Layout, name: str) -> str:
    """Return the name, with a number behind it where another zone has it already."""
    return references.numbered(name, {zone.name for zone in layout.zones.values()})


# Usual shapes


def starting_shape(layout: Layout, purpose: Purpose, at: Vec3, normal: Vec3) -> Shape:
    """Return the usual room for a purpose at a place on the body; the sizes are a start, to be changed."""
    if not is_finite(normal) or math.hypot(*normal) < 0.5:
        normal = (0.0, math.copysign(1.0, at[1]), 0.0)
    out = direction((0.0, 0.0, 0.0), normal)
    ahead = _lengthways(out)
    match purpose:
        case "filler nozzle":
            return _cone(at, out, 250.0, HAND_ROOM, 100.0)
        case "door handle":
            return _box_on(at, out, (180.0, 110.0, HAND_ROOM))
        case "lamp beam":
            return _cone(at, ahead, 800.0, 90.0, 90.0 + 800.0 * math.tan(SPREAD))
        case "number plate":
            return _cone(at, ahead, 600.0, 260.0, 260.0 + 600.0 * math.tan(PLATE_SPREAD))
        case "wiper":
            return _box_on(at, out, (600.0, 400.0, 60.0))
        case "mirror":
            return _box_on(at, _sideways(out, at), (200.0, 250.0, 250.0))
        case "winch rope":
            return _cone(at, ahead, 800.0, 30.0, 30.0 + 800.0 * math.tan(SPREAD))
        case "jack":
            return _down_to_ground(layout, at)
        case "tow eye":
            return _cone(at, ahead, 250.0, 50.0, 100.0)
        case "belt anchorage":
            return _cone(at, out, 100.0, 50.0, 50.0)
        case "view ahead":
            eye = plus(at, (-EYE_BEHIND, 0.0, 0.0))
            length = EYE_BEHIND + VIEW_AHEAD
            return _cone(eye, (1.0, 0.0, 0.0), length, 0.0, length * math.tan(VIEW_SPREAD))
    return _box_on(at, out, (200.0, 200.0, 200.0))


def placed(layout: Layout, zone: int, at: Vec3, normal: Vec3) -> Shape:
    """Return a zone's shape at another place on the body, as large as it is and turned as is usual there."""
    old = known(layout, zone)
    fresh = starting_shape(layout, old.purpose, at, normal)
    if isinstance(old.shape, BoxShape) and isinstance(fresh, BoxShape):
        out = fresh.turn[2]
        middle = plus(at, times(out, old.shape.size[2] / 2.0))
        return BoxShape(middle, old.shape.size, fresh.turn)
    if isinstance(old.shape, ConeShape) and isinstance(fresh, ConeShape):
        length = distance(old.shape.start, old.shape.end)
        end = plus(fresh.start, times(direction(fresh.start, fresh.end), length))
        end = fresh.end if old.purpose == "jack" else end  # from the ground up to where it lifts
        return ConeShape(fresh.start, end, old.shape.start_radius, old.shape.end_radius)
    return moved_to(old.shape, at)


def _cone(at: Vec3, along: Vec3, length: float, start: float, end: float) -> ConeShape:
    return ConeShape(at, plus(at, times(along, length)), start, end)


def _box_on(at: Vec3, out: Vec3, size: tuple[float, float, float]) -> BoxShape:
    """Return a box that stands on a place: its width level along the body, its height, its depth outward."""
    level = cross((0.0, 0.0, 1.0), out)
    if math.hypot(*level) < 1e-3:  # on the roof or the bonnet: its width across the car
        level = (0.0, 1.0, 0.0)
    level = direction((0.0, 0.0, 0.0), minus(level, times(out, dot(level, out))))
    return BoxShape(plus(at, times(out, size[2] / 2.0)), size, (level, cross(out, level), out))


def _down_to_ground(layout: Layout, at: Vec3) -> ConeShape:
    height, rise = axles.ground(layout)
    foot = min(height + rise * at[0], at[2] - 50.0)
    return ConeShape((at[0], at[1], foot), at, 90.0, 60.0)


def _lengthways(out: Vec3) -> Vec3:
    """Return forward or backward, whichever a place on the body faces."""
    return (1.0 if out[0] >= 0.0 else -1.0, 0.0, 0.0)


def _sideways(out: Vec3, at: Vec3) -> Vec3:
    return (0.0, math.copysign(1.0, out[1] if abs(out[1]) > 0.1 else at[1]), 0.0)


# Shapes


def mirrored(shape: Shape) -> Shape:
    """Return the mirror image of a shape across the centre plane."""
    if isinstance(shape, ConeShape):
        return replace(shape, start=image(shape.start), end=image(shape.end))
    x, y, z = (image(row) for row in shape.turn)
    # A box is its own image turned over: one axis is reversed to keep the three right-handed.
    return BoxShape(image(shape.middle), shape.size, (times(x, -1.0), y, z))


def is_same(a: Shape, b: Shape) -> bool:
    """Say whether two shapes fill the same space, as far as corners and ends tell."""
    if isinstance(a, ConeShape) and isinstance(b, ConeShape):
        gaps = (distance(a.start, b.start), distance(a.end, b.end))
        radii = (abs(a.start_radius - b.start_radius), abs(a.end_radius - b.end_radius))
        return max(*gaps, *radii) < SAME_POINT
    if isinstance(a, BoxShape) and isinstance(b, BoxShape):
        mine, theirs = corners(a), corners(b)
        gaps_to = np.linalg.norm(mine[:, None] - theirs[None, :], axis=2).min(axis=1)
        return bool(gaps_to.max() < SAME_POINT)
    return False


def place_of(shape: Shape) -> Vec3:
    """Return the place that a shape is moved by and labelled at."""
    return shape.middle if isinstance(shape, BoxShape) else shape.start


def moved_to(shape: Shape, place: Vec3) -> Shape:
    """Return a shape carried to another place, as it is turned."""
    if isinstance(shape, BoxShape):
        return replace(shape, middle=place)
    return replace(shape, start=place, end=plus(shape.end, minus(place, shape.start)))


def turned_to(box: BoxShape, azimuth: float, tilt: float) -> BoxShape:
    """Return a box whose depth points by an angle from forward to the left, and by another up."""
    level = math.cos(tilt)
    out = (level * math.cos(azimuth), level * math.sin(azimuth), math.sin(tilt))
    side = (-math.sin(azimuth), math.cos(azimuth), 0.0)
    return replace(box, turn=(side, cross(out, side), out))


def angles_of(box: BoxShape) -> tuple[float, float]:
    """Return by how much the depth of a box points from forward to the left, and up."""
    out = box.turn[2]
    if math.hypot(out[0], out[1]) < 1e-9:  # straight up or down: its width says how it is turned
        side = box.turn[0]
        return math.atan2(-side[0], side[1]), math.copysign(math.pi / 2.0, out[2])
    return math.atan2(out[1], out[0]), math.asin(max(-1.0, min(1.0, out[2])))


def corners(box: BoxShape) -> Floats:
    """Return the eight corners (8, 3) of a box."""
    signs = np.array([(x, y, z) for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], dtype=np.float64)
    points: Floats = np.array(box.middle) + (signs * np.array(box.size) / 2.0) @ np.array(box.turn)
    return points


def bounds(shape: Shape) -> tuple[Floats, Floats]:
    """Return the lowest and highest x, y, z of a shape, exact."""
    if isinstance(shape, BoxShape):
        half = np.abs(np.array(shape.turn)).T @ (np.array(shape.size) / 2.0)
        middle = np.array(shape.middle)
        return middle - half, middle + half
    along = np.array(direction(shape.start, shape.end))
    spread = np.sqrt(np.maximum(1.0 - along**2, 0.0))
    ends = np.array([shape.start, shape.end])
    radii = np.array([[shape.start_radius], [shape.end_radius]]) * spread
    return (ends - radii).min(axis=0), (ends + radii).max(axis=0)


def mesh(shape: Shape) -> tuple[Floats, NDArray[np.int32]]:
    """Return vertices (n, 3) and triangles (m, 3) of a closed convex shape, seen from outside.

    A cone's many sides stand outside it, by less than ROUND_ERROR: what is clear of the mesh is clear of
    the cone.
    """
    if isinstance(shape, BoxShape):
        quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
        triangles = [part for a, b, c, d in quads for part in ((a, b, c), (a, c, d))]
        return corners(shape), np.array(_outside_out(shape, triangles), dtype=np.int32)
    return _cone_mesh(shape)


def _outside_out(box: BoxShape, triangles: Sequence[tuple[int, int, int]]) -> list[tuple[int, int, int]]:
    is_right_handed = np.linalg.det(np.array(box.turn)) > 0.0
    return list(triangles) if is_right_handed else [(a, c, b) for a, b, c in triangles]


def sides_of(radius: float) -> int:
    """Return how many sides stand out of a round of this radius by less than ROUND_ERROR."""
    if radius <= ROUND_ERROR:
        return FEWEST_SIDES
    return max(FEWEST_SIDES, math.ceil(math.pi / math.acos(radius / (radius + ROUND_ERROR))) + 1)


def _cone_mesh(cone: ConeShape) -> tuple[Floats, NDArray[np.int32]]:
    n = sides_of(max(cone.start_radius, cone.end_radius))
    start, end = np.array(cone.start), np.array(cone.end)
    along = unit(end - start)
    across = any_perpendicular(along)
    turn = np.linspace(0.0, 2.0 * math.pi, n, endpoint=False)[:, None]
    rim = (np.cos(turn) * across + np.sin(turn) * np.cross(along, across)) / math.cos(math.pi / n)
    here, there = np.arange(n), (np.arange(n) + 1) % n
    parts, triangles, count = [start[None], end[None]], [], 2
    rims: list[NDArray[np.int64] | None] = []
    for middle, radius in ((start, cone.start_radius), (end, cone.end_radius)):
        if radius > 0.0:
            parts.append(middle + radius * rim)
            rims.append(np.arange(count, count + n))
            count += n
        else:
            rims.append(None)
    first, last = rims
    if first is not None:
        triangles.append(np.stack([np.zeros(n, dtype=np.int64), first[there], first[here]], axis=1))
    if last is not None:
        triangles.append(np.stack([np.ones(n, dtype=np.int64), last[here], last[there]], axis=1))
    if first is not None and last is not None:
        triangles.append(np.stack([first[here], first[there], last[there]], axis=1))
        triangles.append(np.stack([first[here], last[there], last[here]], axis=1))
    elif last is not None:
        triangles.append(np.stack([np.zeros(n, dtype=np.int64), last[there], last[here]], axis=1))
    elif first is not None:
        triangles.append(np.stack([np.ones(n, dtype=np.int64), first[here], first[there]], axis=1))
    return np.concatenate(parts), np.concatenate(triangles).astype(np.int32)


def gaps(shape: Shape, points: Floats) -> Floats:
    """Return for points (n, 3) how far outside a shape they are, negative inside: (n,), exact."""
    if isinstance(shape, BoxShape):
        off = np.abs((points - np.array(shape.middle)) @ np.array(shape.turn).T) - np.array(shape.size) / 2.0
        beyond = np.linalg.norm(np.maximum(off, 0.0), axis=1)
        box_gaps: Floats = beyond + np.minimum(off.max(axis=1), 0.0)
        return box_gaps
    return _cone_gaps(shape, points)


def _cone_gaps(cone: ConeShape, points: Floats) -> Floats:
    """Return signed gaps in the half plane through a cone's axis and each point: that of a trapezium."""
    start = np.array(cone.start)
    length = distance(cone.start, cone.end)
    axis = (np.array(cone.end) - start) / length
    along = (points - start) @ axis
    across = np.linalg.norm(points - start - along[:, None] * axis, axis=1)
    a, b = cone.start_radius, cone.end_radius
    slant = math.hypot(length, b - a)
    forward, outward = length / slant, (b - a) / slant  # of the slanted side
    on_side = np.clip(along * forward + (across - a) * outward, 0.0, slant)
    side = np.hypot(along - on_side * forward, across - a - on_side * outward)
    near = np.hypot(along, np.maximum(across - a, 0.0))
    far = np.hypot(along - length, np.maximum(across - b, 0.0))
    least = np.minimum(np.minimum(side, near), far)
    is_inside = (along > 0.0) & (along < length) & (across < a + (b - a) * along / length)
    cone_gaps: Floats = np.where(is_inside, -least, least)
    return cone_gaps


def way_out(shape: Shape, point: Vec3) -> Vec3:
    """Return the way out of a shape at a point: where its gap grows fastest, of length 1 or 0."""
    step = 1e-3
    shifts = np.concatenate([np.eye(3), -np.eye(3)]) * step
    around = gaps(shape, np.array(point) + shifts)
    slope = (around[:3] - around[3:]) / (2.0 * step)
    return vec(unit(slope))
