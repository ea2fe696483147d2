"""Where a node goes when the pointer is at some place: on a node, a tube, the body or a plane. No Qt."""

from collections.abc import Container, Iterator
from itertools import pairwise
from typing import Literal

import numpy as np
from msgspec import Struct

from app.viewport import camera as cameras
from app.viewport import picking
from app.viewport.camera import Ray
from app.viewport.picking import Sight, TubePick
from app.viewport.scene import Cut
from app.viewport.surface import Place, Surface
from geometry import edits
from geometry.edits import Item
from geometry.layout import Layout, Tube
from geometry.tube import centreline
from geometry.tube.centreline import Centreline
from geometry.vectors import Vec3, between

CENTRE_REACH = 9.0  # pixels within which a point is drawn onto the centre plane
MIDDLE_REACH = 7.0  # onto the middle of a tube or leg
EDGE_ON = 0.3  # a plane seen more edge-on than this is no place to point at
HIDDEN_BY = 3.0  # mm of body in front of a thing that still leave it visible

AXES: dict[str, Vec3] = {"x": (1.0, 0.0, 0.0), "y": (0.0, 1.0, 0.0), "z": (0.0, 0.0, 1.0)}
AimKind = Literal["node", "tube", "body", "centre", "axis", "free", "point", "line", "level"]


class Aim(Struct, frozen=True):
    """A place for a node, how edits shall make it, and what it was drawn to."""

    kind: AimKind
    point: Vec3
    item: Item
    foot: Place | None = None
    word: str = ""
    cues: tuple[tuple[Vec3, Vec3], ...] = ()  # lines from what it was drawn to


class Outlook(Struct, frozen=True, eq=False):
    """All that pointing needs: what is seen, the metal that can be pointed at, the metal that counts."""

    sight: Sight
    shown: Surface  # panels that are drawn
    solid: Surface  # panels that are kept, drawn or not
    cut: Cut | None = None
    sees_through: bool = False
    seen: dict[tuple[Vec3, float], bool] = {}  # what is_visible found, for one camera and one body
    shows_wheels: bool = True

    @property
    def layout(self) -> Layout:
        return self.sight.layout

    def ray(self, x: float, y: float) -> Ray:
        return cameras.ray(self.sight.camera, self.sight.size, x, y)

    def span(self, ray: Ray) -> tuple[float, float]:
        return (0.0, np.inf) if self.cut is None else self.cut.span(ray)

    def body_at(self, ray: Ray) -> Place | None:
        """Return the metal that is seen along a ray."""
        return self.shown.hit(ray, *self.span(ray))

    def is_visible(self, point: Vec3, thickness: float = HIDDEN_BY) -> bool:
        """Whether no metal hides a point."""
        if self.sees_through:
            return True
        known = self.seen.get((point, thickness))
        if known is None:
            known = self.seen[point, thickness] = self._is_bare(point, thickness)
        return known

    def _is_bare(self, point: Vec3, thickness: float) -> bool:
        ray, along = cameras.ray_to(self.sight.camera, point)
        start, end = self.span(ray)
        return self.shown.hit(ray, start, min(end, along - thickness)) is None


def node_at(outlook: Outlook, x: float, y: float, without: Container[int] = ()) -> int | None:
    """Return the visible node under a screen point."""
    return next(nodes_at(outlook, x, y, without), None)


def nodes_at(outlook: Outlook, x: float, y: float, without: Container[int] = ()) -> Iterator[int]:
    """Yield the visible nodes under a screen point, the nearest first."""
    for id in picking.nodes_at(outlook.sight, x, y):
        if id not in without and outlook.is_visible(outlook.layout.nodes[id].position, _half_od(outlook, id)):
            yield id


def _half_od(outlook: Outlook, node: int) -> float:
    """Return a thickness that lets a node show when its tube touches the metal in front."""
    return max(HIDDEN_BY, half_od(outlook.layout, node))


def half_od(layout: Layout, node: int) -> float:
    """Return half the OD of the thickest tube through a node."""
    ods = [layout.stocks[tube.stock].od for tube in layout.tubes.values() if node in tube.nodes]
    return max(ods, default=0.0) / 2.0


def stood_off(outlook: Outlook, node: int, offset: float) -> Vec3:
    """Return the place nearest to a node that keeps an offset from the metal, on the side that is seen."""
    solid, position = outlook.solid, outlook.layout.nodes[node].position
    metal = solid.nearest(position)
    if metal is None:
        return position
    away = np.subtract(position, metal.point)
    far = float(np.linalg.norm(away))
    direction = away / far if far > 1e-6 else solid.normal(metal)
    places = [
        solid.pushed_out(metal.point, tuple((way * direction).tolist()), offset)
        for way in ((1.0, -1.0) if far < offset else (1.0,))
    ]
    return next((place for place in places if outlook.is_visible(place)), places[0])


def is_seen(outlook: Outlook, id: int) -> bool:
    """Whether a node, or any node of a tube, is not hidden by metal."""
    layout = outlook.layout
    nodes = layout.tubes[id].nodes if id in layout.tubes else (id,)
    return any(outlook.is_visible(layout.nodes[n].position, _half_od(outlook, n)) for n in nodes)


def tube_at(outlook: Outlook, x: float, y: float, without: Container[int] = ()) -> TubePick | None:
    """Return the visible tube under a screen point."""
    return next(tubes_at(outlook, x, y, without), None)


def tubes_at(outlook: Outlook, x: float, y: float, without: Container[int] = ()) -> Iterator[TubePick]:
    """Yield the visible tubes under a screen point, the nearest to the eye first."""
    for pick in picking.tubes_at(outlook.sight, x, y):
        if pick.tube not in without:
            od = outlook.layout.stocks[outlook.layout.tubes[pick.tube].stock].od
            if outlook.is_visible(pick.point, od / 2.0):
                yield pick


class Wanted(Struct, frozen=True):
    """What a tool is about to place, and from where."""

    offset: float  # of the node from the metal: stand-off and half the OD
    last: Vec3 | None = None  # the node before, or where the node was
    axis: str | None = None  # a held key: only along it
    plane: str | None = None  # a key held with Shift: not along it
    is_free: bool = False  # no snaps, no body: the view plane
    middles: bool = True  # a place on a tube is drawn to its middle and those of its legs
    turn: int = 0  # which of the things under the pointer is meant, from the nearest on
    without_nodes: frozenset[int] = frozenset()
    without_tubes: frozenset[int] = frozenset()


def aim(outlook: Outlook, x: float, y: float, wanted: Wanted) -> Aim:
    """Return where a node goes for the pointer at x, y."""
    if wanted.axis and wanted.last is not None:
        return _along_axis(outlook, x, y, wanted.last, wanted.axis)
    options = [] if wanted.is_free else list(_options(outlook, x, y, wanted))
    if options:
        return options[wanted.turn % len(options)]
    return _on_plane(outlook, x, y, wanted)


def _along_axis(outlook: Outlook, x: float, y: float, last: Vec3, axis: str) -> Aim:
    direction = AXES[axis]
    along = picking.along_line_nearest_ray(last, direction, outlook.ray(x, y))
    point = Ray(last, direction).at(along)
    return Aim("axis", point, point, outlook.solid.nearest(point), f"along {axis.upper()}")


def _options(outlook: Outlook, x: float, y: float, wanted: Wanted) -> Iterator[Aim]:
    """Yield what a node can be placed on under the pointer: nodes, tubes, the body."""
    layout = outlook.layout
    for id in nodes_at(outlook, x, y, wanted.without_nodes):
        yield Aim("node", layout.nodes[id].position, id, word="joint")
    for pick in tubes_at(outlook, x, y, wanted.without_tubes):
        yield _on_tube(outlook, x, y, pick, wanted.middles)
    on_body = aim_on_body(outlook, x, y, wanted.offset)
    if on_body is not None:
        yield on_body


def _on_tube(outlook: Outlook, x: float, y: float, pick: TubePick, middles: bool) -> Aim:
    """Return a place on a tube; near its middle, or the middle of one of its legs, just there."""
    layout = outlook.layout
    tube = layout.tubes[pick.tube]
    line = centreline.of(layout, tube)
    for word, point in _middles(layout, tube, line) if middles else ():
        screen = cameras.project(outlook.sight.camera, outlook.sight.size, np.array([point]))[0][0]
        if np.hypot(*(screen - (x, y))) <= MIDDLE_REACH:
            return Aim("tube", point, edits.landing_at(layout, pick.tube, point), word=word)
    landing = edits.landing_at(layout, pick.tube, pick.point)
    return Aim("tube", pick.point, landing, word=f"on {tube.name}")


def _middles(layout: Layout, tube: Tube, line: Centreline) -> Iterator[tuple[str, Vec3]]:
    """Yield the middle of a tube along it and, of one that bends, those of its legs."""
    yield f"middle of {tube.name}", centreline.place_at(line, line.length / 2.0)
    if line.bends:
        for a, b in pairwise(tube.nodes):
            middle = between(layout.nodes[a].position, layout.nodes[b].position, 0.5)
            station, place = centreline.nearest(line, middle)
            if centreline.bend_at(line, station) is None:
                yield f"middle of a leg of {tube.name}", place


def aim_on_body(outlook: Outlook, x: float, y: float, offset: float) -> Aim | None:
    """Return the place at an offset from the metal under the pointer, drawn to the centre plane when near."""
    point = ride(outlook, x, y, offset)
    if point is None:
        return None
    centred = _centred(outlook, point, offset)
    point = point if centred is None else centred
    word = "" if centred is None else "centre plane"
    return Aim("body", point, point, outlook.solid.nearest(point), word)


def ride(outlook: Outlook, x: float, y: float, offset: float) -> Vec3 | None:
    """Return the point under the pointer that keeps the offset from the metal: true nearest distance.

    It exists where the pointer is over the body, or beside it by less than the offset.
    """
    ray = outlook.ray(x, y)
    start, end = outlook.span(ray)
    found = outlook.solid.on_offset(ray, offset, start, end)
    if found is not None:
        return found
    metal = outlook.body_at(ray)
    if metal is None:
        return None
    # The eye itself is nearer to the metal than the offset, or looks along it: go out by the normal.
    towards = np.subtract(ray.origin, metal.point)
    normal = outlook.shown.normal(metal)
    facing = normal if float(np.dot(normal, towards)) >= 0.0 else -normal
    return outlook.solid.pushed_out(metal.point, tuple(facing.tolist()), offset)


def _centred(outlook: Outlook, point: Vec3, offset: float) -> Vec3 | None:
    """Return the point of the centre plane near a point on the offset, if it is near on the screen."""
    if not _is_near_centre(outlook, point):
        return None
    x, z = point[0], point[2]
    for _ in range(12):
        metal = outlook.solid.nearest((x, 0.0, z))
        if metal is None:
            return None
        away = np.array((x - metal.point[0], z - metal.point[2]))
        length = float(np.linalg.norm(away))
        short = offset - metal.distance
        if abs(short) < 0.02 or length < 1e-6:
            break
        x, z = (np.array((x, z)) + away / length * short).tolist()
    centred = (x, 0.0, z)
    return centred if abs(outlook.solid.gap(centred) - offset) < 0.5 else None


def _is_near_centre(outlook: Outlook, point: Vec3) -> bool:
    pair = np.array([point, (point[0], 0.0, point[2])])
    screen, _ = cameras.project(outlook.sight.camera, outlook.sight.size, pair)
    # In a side view the plane fills the screen: then only what is really near counts.
    near_in_mm = CENTRE_REACH / cameras.pixels_per_mm(outlook.sight.camera, outlook.sight.size)
    return bool(np.hypot(*(screen[0] - screen[1])) <= CENTRE_REACH and abs(point[1]) <= 3.0 * near_in_mm)


def _on_plane(outlook: Outlook, x: float, y: float, wanted: Wanted) -> Aim:
    """Return the point on the view plane through the last node; without one, on the centre plane."""
    ray, camera = outlook.ray(x, y), outlook.sight.camera
    if wanted.last is None and abs(ray.direction[1]) > EDGE_ON:
        along = -ray.origin[1] / ray.direction[1]
        if along > 0.0:
            px, _, pz = ray.at(along)
            point = (px, 0.0, pz)
            return Aim("centre", point, point, outlook.solid.nearest(point), "centre plane")
    point = cameras.on_view_plane(camera, ray, wanted.last or camera.focus)
    if not wanted.is_free and _is_near_centre(outlook, point):
        point = (point[0], 0.0, point[2])
        return Aim("centre", point, point, outlook.solid.nearest(point), "centre plane")
    word = "" if wanted.is_free or outlook.solid.is_empty else "off the body"
    return Aim("free", point, point, outlook.solid.nearest(point), word)
