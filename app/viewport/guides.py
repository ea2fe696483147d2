"""What a place is drawn to beside nodes, tubes and the metal: lines, planes and points. Imports no Qt.

Ways are lines (plumb, straight on, along a reference), levels are planes (as high as a node, square to
a leg). A place on the body slides along it until it lies in a level; one in the air just goes there.
"""

import math
from collections.abc import Iterable, Sequence

import numpy as np
from msgspec import Struct

from app.viewport import camera as cameras
from app.viewport import picking, placing
from app.viewport.camera import Ray
from app.viewport.placing import Aim, Outlook, Wanted
from app.viewport.surface import Place, Surface
from geometry import references
from geometry.aids import LineShape, PlaneShape, PointShape
from geometry.errors import GeometryError
from geometry.layout import Layout
from geometry.tube import centreline
from geometry.vectors import Floats, Vec3, direction, distance, dot, minus, plus, times, turned, vec

POINT_REACH = 10.0  # pixels within which a place is drawn to a point
WAY_REACH = 8.0  # to a line
LEVEL_REACH = 6.0  # to a plane
OFF_THE_BODY = 60.0  # mm that a line may pass the place on the body that is pointed at
OFF_THE_OFFSET = 5.0  # mm that a place on a line may be nearer to the metal than wanted, or farther
LIKED_TURN = math.radians(15.0)  # turns that a leg in the air is drawn to
TURN_REACH = math.radians(1.5)
EDGE_REACH = 250.0  # mm from a place to the edge of its panel, to run parallel to that
EDGE_TRIANGLES = 40_000  # of a panel; the rim of a larger one takes too long to find under the hand
ROUNDS = 12  # of sliding along the body; three or four are enough on anything smooth
ON_IT = 0.02  # mm
FACE_ON = 0.95  # cosine beyond which a plane is seen from the front
PARALLEL = 0.95  # cosine beyond which two planes say the same
ALONG: tuple[tuple[Vec3, str], ...] = (
    ((0.0, 0.0, 1.0), "plumb"),
    ((1.0, 0.0, 0.0), "lengthwise"),
    ((0.0, 1.0, 0.0), "across"),
)
SAME = ("same station", "same width", "same height")


class Way(Struct, frozen=True):
    """A line through a place; `is_begun` where that is the last place, which is no place to go to."""

    through: Vec3
    along: Vec3
    word: str
    is_begun: bool = True


class Level(Struct, frozen=True):
    """A plane through a place; `source` is what it was taken from."""

    through: Vec3
    normal: Vec3
    word: str
    source: Vec3


CENTRE = Level((0.0, 0.0, 0.0), (0.0, 1.0, 0.0), "centre plane", (0.0, 0.0, 0.0))


class Named(Struct, frozen=True):
    """A point with a word for it."""

    at: Vec3
    word: str


class Guides(Struct, frozen=True, eq=False):
    """All that a place may be drawn to now. `nodes` (n, 3) give heights, stations and widths."""

    points: tuple[Named, ...] = ()
    ways: tuple[Way, ...] = ()
    levels: tuple[Level, ...] = ()
    nodes: Floats = np.zeros((0, 3))
    leg: tuple[Vec3, Vec3] | None = None  # the last one laid: legs in the air turn from it by liked angles


def edge_by(layout: Layout, metal: Place | None) -> Way | None:
    """Return the straight run of a panel's rim that a place on the panel lies by; huge panels have none."""
    if metal is None or metal.distance > EDGE_REACH:
        return None
    panel = layout.panels[metal.panel]
    if len(panel.mesh.triangles) > EDGE_TRIANGLES:
        return None
    try:
        rim = references.rim_near(layout, panel.id, metal.point)
    except GeometryError:
        return None
    along = direction(rim.start, rim.end)
    away = minus(metal.point, rim.start)
    beside = distance(away, times(along, dot(away, along)))
    return Way(rim.start, along, f"parallel to the edge of {panel.name}") if beside < EDGE_REACH else None


def of(
    layout: Layout,
    placed: Sequence[Vec3] = (),
    host: int | None = None,
    own: Iterable[int] = (),
    edge: Way | None = None,
) -> Guides:
    """Return the guides for the next place after those that were placed.

    `host` is the tube that the last one sits on, `own` are nodes that give none, `edge` is one of the
    body by the last place.
    """
    without = set(own)
    shapes = [(known.name, known.shape) for known in layout.references.values() if known.shown]
    points = [Named(shape.at, name) for name, shape in shapes if isinstance(shape, PointShape)]
    planes = [(name, shape) for name, shape in shapes if isinstance(shape, PlaneShape)]
    levels = [CENTRE, *(Level(plane.at, plane.normal, name, plane.at) for name, plane in planes)]
    lines = [(name, shape.start, shape.end) for name, shape in shapes if isinstance(shape, LineShape)]
    ways = [Way(start, direction(start, end), f"on {name}", False) for name, start, end in lines]
    nodes = [node.position for node in layout.nodes.values() if node.id not in without]
    leg = None
    if placed:
        last = placed[-1]
        points += [Named((x, -y, z), "other side") for x, y, z in placed if abs(y) > 1.0]
        ways += [Way(last, along, word) for along, word in ALONG]
        ways += [Way(last, edge.along, edge.word)] if edge is not None else []
        ways += [Way(last, direction(start, end), f"parallel to {name}") for name, start, end in lines]
        if len(placed) > 1:
            leg = (placed[-2], last)
            ways.append(Way(last, direction(*leg), "straight on"))
            levels.append(Level(last, direction(*leg), "square to the leg", last))
        if host is not None and host in layout.tubes:
            line = centreline.of(layout, layout.tubes[host])
            station, _ = centreline.nearest(line, last)
            along = vec(centreline.direction_at(line, [station])[0])
            levels.append(Level(last, along, f"square to {layout.tubes[host].name}", last))
        nodes += placed
    return Guides(tuple(points), tuple(ways), tuple(levels), np.array(nodes).reshape(-1, 3), leg)


def aimed(outlook: Outlook, x: float, y: float, wanted: Wanted, guides: Guides | None) -> Aim:
    """Return where a node goes for the pointer, drawn to guides unless there are none."""
    aim = placing.aim(outlook, x, y, wanted)
    if wanted.plane is not None and wanted.last is not None:
        normal = placing.AXES[wanted.plane]
        level = Level(wanted.last, normal, f"{wanted.plane.upper()} stays", wanted.last)
        return held_in(outlook, outlook.ray(x, y), aim, level, wanted.offset)
    if guides is None or wanted.is_free:
        return aim
    return drawn(outlook, x, y, aim, guides, wanted.offset)


def drawn(outlook: Outlook, x: float, y: float, aim: Aim, guides: Guides, offset: float) -> Aim:
    """Return the aim drawn to the guide that is nearest on the screen, if any is near enough.

    What sits on a node or tube stays there.
    """
    if aim.kind in ("node", "tube", "axis"):
        return aim
    return (
        _on_point(outlook, x, y, guides.points)
        or _on_way(outlook, x, y, aim, guides, offset)
        or _on_levels(outlook, aim, guides, offset)
        or _turned(outlook, aim, guides)
        or aim
    )


def held_in(outlook: Outlook, ray: Ray, aim: Aim, level: Level, offset: float) -> Aim:
    """Return the place of a plane that is pointed at; over the body the one at the offset from it."""
    if aim.kind == "body":
        point = settled(outlook.solid, aim.point, offset, (level,))
        if point is not None:
            return _at(outlook, "body", point, level.word)
    across = dot(ray.direction, level.normal)
    if abs(across) < 1e-3:
        point = plus(aim.point, times(level.normal, -_height(level, aim.point)))
    else:
        point = ray.at(-_height(level, ray.origin) / across)
    return _at(outlook, "level", point, level.word)


def settled(solid: Surface, start: Vec3, offset: float, levels: Sequence[Level]) -> Vec3 | None:
    """Return the place near a start that lies in all planes and keeps the offset from the metal."""
    point = np.array(start)
    for _ in range(ROUNDS):
        metal = solid.nearest(vec(point))
        if metal is None:
            return None
        away = point - metal.point
        gap = float(np.linalg.norm(away))
        if gap < 1e-6:
            return None
        rows = [away / gap, *(level.normal for level in levels)]
        missing = [offset - gap, *(-_height(level, vec(point)) for level in levels)]
        if max(map(abs, missing)) < ON_IT:
            for level in levels:
                point = point - _height(level, vec(point)) * np.array(level.normal)
            return vec(point)
        step = np.linalg.lstsq(np.array(rows), np.array(missing), rcond=None)[0]
        if np.linalg.norm(step) > 10.0 * offset + 100.0:
            return None
        point = point + step
    return None


def _height(level: Level, point: Vec3) -> float:
    return dot(minus(point, level.through), level.normal)


def _at(outlook: Outlook, kind: str, point: Vec3, word: str, *sources: Vec3) -> Aim:
    cues = tuple((source, point) for source in sources)
    return Aim(kind, point, point, outlook.solid.nearest(point), word, cues)  # type: ignore[arg-type]


def _on_screen(outlook: Outlook, points: Iterable[Vec3]) -> Floats:
    rows = np.array(list(points)).reshape(-1, 3)
    return cameras.project(outlook.sight.camera, outlook.sight.size, rows)[0]


def _on_point(outlook: Outlook, x: float, y: float, points: Sequence[Named]) -> Aim | None:
    if not points:
        return None
    gaps = np.hypot(*(_on_screen(outlook, (named.at for named in points)) - (x, y)).T)
    for i in np.argsort(gaps, kind="stable"):
        named = points[int(i)]
        if gaps[i] > POINT_REACH:
            return None
        if outlook.is_visible(named.at):
            return _at(outlook, "point", named.at, named.word)
    return None


def _on_way(outlook: Outlook, x: float, y: float, aim: Aim, guides: Guides, offset: float) -> Aim | None:
    """Return the place of the nearest line; where a level crosses it close by, just there.

    Over the body only a line counts that keeps the offset there as well.
    """
    ray = outlook.ray(x, y)
    found: list[tuple[float, Way, Vec3]] = []
    for way in guides.ways:
        along = picking.along_line_nearest_ray(way.through, way.along, ray)
        point = plus(way.through, times(way.along, along))
        if abs(along) > 1e-6 or not way.is_begun:
            gap = float(np.hypot(*(_on_screen(outlook, [point])[0] - (x, y))))
            if gap <= WAY_REACH and (aim.kind != "body" or _keeps(outlook, aim, point, offset)):
                found.append((gap, way, point))
    if not found:
        return None
    _, way, point = min(found, key=lambda one: one[0])
    crossing = _crossing(outlook, way, point, guides)
    if crossing is None:
        return _at(outlook, "line", point, way.word, way.through)
    level, point = crossing
    return _at(outlook, "line", point, f"{way.word}, {level.word}", way.through, level.source)


def _keeps(outlook: Outlook, aim: Aim, point: Vec3, offset: float) -> bool:
    if distance(point, aim.point) > OFF_THE_BODY:
        return False
    return abs(outlook.solid.gap(point) - offset) <= OFF_THE_OFFSET


def _crossing(outlook: Outlook, way: Way, point: Vec3, guides: Guides) -> tuple[Level, Vec3] | None:
    """Return the level that crosses a line near a point of it, and where."""
    best: tuple[float, Level, Vec3] | None = None
    at = _on_screen(outlook, [point])[0]
    for level in _near_levels(outlook, point, guides):
        across = dot(way.along, level.normal)
        if abs(across) < 0.2:
            continue
        crossing = plus(point, times(way.along, -_height(level, point) / across))
        gap = float(np.hypot(*(_on_screen(outlook, [crossing])[0] - at)))
        if gap <= LEVEL_REACH and (best is None or gap < best[0]) and distance(crossing, way.through) > 1.0:
            best = (gap, level, crossing)
    return None if best is None else best[1:]


def _near_levels(outlook: Outlook, point: Vec3, guides: Guides) -> list[Level]:
    """Return the levels that a place is near enough to, the nearest first; one for each way to lie."""
    scale = cameras.pixels_per_mm(outlook.sight.camera, outlook.sight.size, _depth(outlook, point))
    found: list[tuple[float, Level]] = []
    for level in guides.levels:
        found.append((abs(_height(level, point)) * scale, level))
    for axis, word in enumerate(SAME):
        if not len(guides.nodes) or (axis == 1 and abs(point[1]) < ON_IT):
            continue
        values = np.abs(guides.nodes[:, 1]) if axis == 1 else guides.nodes[:, axis]
        here = abs(point[1]) if axis == 1 else point[axis]
        off = np.abs(values - here)
        if off.min() < ON_IT:
            continue  # it lies so already, as all of a flat side does
        near = np.flatnonzero(off <= off.min() + ON_IT)
        source = vec(min(guides.nodes[near], key=lambda node: distance(vec(node), point)))
        value = math.copysign(float(values[near[0]]), point[1]) if axis == 1 else float(values[near[0]])
        normal = tuple(1.0 if i == axis else 0.0 for i in range(3))
        through = tuple(value if i == axis else point[i] for i in range(3))
        found.append((float(off.min()) * scale, Level(through, normal, word, source)))  # type: ignore[arg-type]
    # A plane that is seen face-on can't be pointed at: everything seems to lie in it.
    ahead = cameras.axes(outlook.sight.camera)[2]
    found = [one for one in found if abs(float(np.dot(ahead, one[1].normal))) < FACE_ON]
    near_ones = sorted((one for one in found if one[0] <= LEVEL_REACH), key=lambda one: one[0])
    chosen: list[Level] = []
    for _, level in near_ones:
        if all(abs(dot(level.normal, other.normal)) < PARALLEL for other in chosen):
            chosen.append(level)
    return chosen


def _depth(outlook: Outlook, point: Vec3) -> float:
    return float(cameras.project(outlook.sight.camera, outlook.sight.size, np.array([point]))[1][0])


def _on_levels(outlook: Outlook, aim: Aim, guides: Guides, offset: float) -> Aim | None:
    """Return the place drawn into the two nearest levels, or one of them."""
    levels = _near_levels(outlook, aim.point, guides)
    pairs: list[Sequence[Level]] = [levels[:2], levels[:1], levels[1:2]]
    for chosen in pairs:
        if not chosen:
            continue
        point = _in_levels(outlook, aim, chosen, offset)
        if point is not None and _is_near(outlook, aim.point, point):
            words = [word for word in (aim.word, *(level.word for level in chosen)) if word]
            sources = [
                level.source
                for level in chosen
                if level is not CENTRE and distance(level.source, point) > 1.0
            ]
            return _at(outlook, aim.kind, point, ", ".join(dict.fromkeys(words)), *sources)
    return None


def _in_levels(outlook: Outlook, aim: Aim, levels: Sequence[Level], offset: float) -> Vec3 | None:
    if aim.kind == "body":
        return settled(outlook.solid, aim.point, offset, levels)
    rows = np.array([level.normal for level in levels])
    missing = np.array([-_height(level, aim.point) for level in levels])
    return plus(aim.point, vec(np.linalg.lstsq(rows, missing, rcond=None)[0]))


def _is_near(outlook: Outlook, one: Vec3, other: Vec3) -> bool:
    a, b = _on_screen(outlook, (one, other))
    return bool(np.hypot(*(a - b)) <= 2.0 * LEVEL_REACH)


def _turned(outlook: Outlook, aim: Aim, guides: Guides) -> Aim | None:
    """Return a place in the air to where the leg turns by a liked angle."""
    if guides.leg is None or aim.kind == "body":
        return None
    before = np.array(direction(*guides.leg))
    last = guides.leg[1]
    away = np.subtract(aim.point, last)
    far = float(np.linalg.norm(away))
    axis = np.cross(before, away)
    if far < 1.0 or np.linalg.norm(axis) < 1e-6 * far:
        return None
    turn = math.atan2(float(np.linalg.norm(axis)), float(np.dot(before, away)))
    liked = round(turn / LIKED_TURN) * LIKED_TURN
    if liked < LIKED_TURN / 2.0 or abs(turn - liked) > TURN_REACH:
        return None
    towards = turned(before, axis / np.linalg.norm(axis), liked)
    point = plus(last, vec(towards * far))
    return _at(outlook, "line", point, f"turns {math.degrees(liked):.0f}°")
