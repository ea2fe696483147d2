"""References and access zones as they are drawn, named and picked. Needs no window and no Qt."""

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct
from vtkmodules.vtkRenderingCore import vtkActor, vtkRenderer

from app.viewport import actors
from app.viewport import camera as cameras
from app.viewport.camera import Ray
from app.viewport.colours import Theme, mixed, rgb
from app.viewport.marks import Mark, Spot, Stroke, Whisper, Xy
from app.viewport.surface import poly_data
from geometry import references, zoning
from geometry.aids import BoxShape, ConeShape, LineShape, PlaneShape, PointShape, Reference, Zone
from geometry.layout import Layout
from geometry.vectors import Floats, Vec3, any_perpendicular, unit, vec

if TYPE_CHECKING:  # it draws on the scene, which draws on this
    from app.viewport.placing import Outlook

Box = tuple[float, float, float, float, float, float]
Bounds = Callable[[], tuple[Floats, Floats] | None]
EMPTY_ROOM = (np.array((-3500.0, -900.0, 0.0)), np.array((900.0, 900.0, 1500.0)))
PLANE_MARGIN = 200.0  # mm that a plane is drawn beyond the car
PLANE_STEP = 500.0  # mm between its lines
CROSS = 40.0  # mm; half of a point's cross
BEYOND = 250.0  # mm that a line is drawn past its places, thinner
RIM_SIDES = 48  # of the round edges of cones
OPACITY, CHOSEN_OPACITY = 0.2, 0.34  # of zones
LINE_REACH, POINT_REACH = 6.0, 9.0  # pixels


class _Drawn(Struct, eq=False):
    """The actors of one reference or zone, and what they show."""

    thing: Reference | Zone
    lines: vtkActor
    faint: vtkActor
    faces: vtkActor


class Aids:
    """The actors of references and zones."""

    def __init__(self, renderer: vtkRenderer, theme: Theme) -> None:
        self._renderer = renderer
        self._theme = theme
        self._layout = Layout()
        self._drawn: dict[int, _Drawn] = {}
        self._selected: frozenset[int] = frozenset()
        self._hovered: int | None = None
        self._in_the_way: frozenset[int] = frozenset()
        self._room = EMPTY_ROOM

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self._paint()

    def show(self, layout: Layout, bounds: Bounds) -> None:
        """Draw a layout's references and zones; planes reach over the car's bounds."""
        before, self._layout = self._layout, layout
        is_same_body = before.panels is layout.panels and before.bodies is layout.bodies
        if before.references is layout.references and before.zones is layout.zones and is_same_body:
            return
        self._room = bounds() or EMPTY_ROOM
        there: dict[int, Reference | Zone] = {**layout.references, **layout.zones}
        for id in [id for id in self._drawn if id not in there]:
            self._drop(id)
        for id, thing in there.items():
            known = self._drawn.get(id)
            is_plane = isinstance(thing.shape, PlaneShape)
            if known is None or known.thing is not thing or (is_plane and not is_same_body):
                self._draw(thing)
        self._paint()

    def emphasise(self, selected: frozenset[int], hovered: int | None) -> None:
        """Bring out what is selected or under the pointer; hidden ones show while they are selected."""
        self._selected, self._hovered = selected, hovered
        self._paint()

    def set_in_the_way(self, ids: frozenset[int]) -> None:
        """Bring out the edges of zones that a tube is in, and of limits that one is past."""
        if ids != self._in_the_way:
            self._in_the_way = ids
            self._paint()

    def bounds(self) -> list[Box]:
        """The boxes of what is drawn."""
        all_actors = (actor for one in self._drawn.values() for actor in (one.lines, one.faint, one.faces))
        return [actor.GetBounds() for actor in all_actors if actor.GetVisibility()]

    def _drop(self, id: int) -> None:
        one = self._drawn.pop(id)
        for actor in (one.lines, one.faint, one.faces):
            self._renderer.RemoveActor(actor)

    def _draw(self, thing: Reference | Zone) -> None:
        known = self._drawn.get(thing.id)
        if known is None:
            known = _Drawn(thing, actors.lines_actor(1.6), actors.lines_actor(1.0), actors.plain_actor())
            self._drawn[thing.id] = known
            for actor in (known.faces, known.faint, known.lines):
                _lift(actor)
                self._renderer.AddActor(actor)
        known.thing = thing
        if isinstance(thing, Zone):
            vertices, triangles = zoning.mesh(thing.shape)
            known.faces.GetMapper().SetInputData(poly_data(vertices, triangles))
            actors.set_lines(known.lines, edges(thing.shape))
        else:
            strong, faint = reference_lines(thing.shape, self._room)
            actors.set_lines(known.lines, strong)
            actors.set_lines(known.faint, faint)

    def _paint(self) -> None:
        for id, one in self._drawn.items():
            is_chosen, is_hovered = id in self._selected, id == self._hovered
            is_zone = isinstance(one.thing, Zone)
            is_drawn = one.thing.shown or is_chosen
            colour = self._theme.zone if is_zone else self._theme.reference
            if is_chosen:
                colour = mixed(colour, self._theme.tube_selected, 0.75)
            elif is_hovered:
                colour = mixed(colour, self._theme.text, 0.35)
            is_limit = isinstance(one.thing, Reference) and one.thing.limit
            one.lines.SetVisibility(is_drawn)
            one.faint.SetVisibility(is_drawn and not is_zone)
            one.faces.SetVisibility(is_drawn and is_zone)
            one.lines.GetProperty().SetLineWidth(2.6 if is_chosen or is_hovered else 1.8 if is_limit else 1.3)
            one.faint.GetProperty().SetOpacity(0.8 if is_chosen else 0.4)
            one.faces.GetProperty().SetOpacity(CHOSEN_OPACITY if is_chosen or is_hovered else OPACITY)
            for actor in (one.lines, one.faint, one.faces):
                actor.GetProperty().SetColor(*rgb(colour))
            if id in self._in_the_way and not is_chosen:
                one.lines.GetProperty().SetColor(*rgb(self._theme.signs["close"]))


def _lift(actor: vtkActor) -> None:
    """Draw an actor a little nearer than it is, so that what lies on the metal is seen."""
    mapper = actor.GetMapper()
    mapper.SetResolveCoincidentTopologyToPolygonOffset()
    mapper.SetRelativeCoincidentTopologyLineOffsetParameters(-2.0, -6.0)
    mapper.SetRelativeCoincidentTopologyPolygonOffsetParameters(-1.0, -2.0)


# What of a shape is drawn


def reference_lines(shape: references.Shape, room: tuple[Floats, Floats]) -> tuple[Floats, Floats]:
    """Return the strong and the faint line pieces (n, 2, 3) of a reference."""
    if isinstance(shape, PointShape):
        at = np.array(shape.at)
        return np.stack([at - CROSS * np.eye(3), at + CROSS * np.eye(3)], axis=1), np.zeros((0, 2, 3))
    if isinstance(shape, LineShape):
        start, end = np.array(shape.start), np.array(shape.end)
        out = BEYOND * unit(end - start)
        return np.array([[start, end]]), np.array([[start - out, start], [end, end + out]])
    return plane_lines(shape, room)


def plane_lines(shape: PlaneShape, room: tuple[Floats, Floats]) -> tuple[Floats, Floats]:
    """Return a plane's frame (4, 2, 3) and the lines of its grid (n, 2, 3), as large as the car."""
    normal = np.array(shape.normal)
    level = np.cross((0.0, 0.0, 1.0), normal)
    u = unit(level) if np.linalg.norm(level) > 0.3 else unit(np.array((1.0, 0.0, 0.0)) - normal[0] * normal)
    v = np.cross(normal, u)
    at = np.array(shape.at)
    low, high = room
    corners = np.array(
        [(x, y, z) for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])]
    )
    across, along = (corners - at) @ u, (corners - at) @ v
    left, right = across.min() - PLANE_MARGIN, across.max() + PLANE_MARGIN
    bottom, top = along.min() - PLANE_MARGIN, along.max() + PLANE_MARGIN
    rim = [at + a * u + b * v for a, b in ((left, bottom), (right, bottom), (right, top), (left, top))]
    frame = np.array([[rim[i], rim[(i + 1) % 4]] for i in range(4)])
    grid = [
        (at + a * u + bottom * v, at + a * u + top * v)
        for a in np.arange(np.ceil(left / PLANE_STEP), right / PLANE_STEP) * PLANE_STEP
    ]
    grid += [
        (at + left * u + b * v, at + right * u + b * v)
        for b in np.arange(np.ceil(bottom / PLANE_STEP), top / PLANE_STEP) * PLANE_STEP
    ]
    return frame, np.array(grid).reshape(-1, 2, 3)


def edges(shape: zoning.Shape) -> Floats:
    """Return the edges of a zone as pieces (n, 2, 3): of a cone its rims and four lines along it."""
    if isinstance(shape, BoxShape):
        corners = zoning.corners(shape)
        pairs = [(i, i ^ bit) for i in range(8) for bit in (1, 2, 4) if not i & bit]
        pieces: Floats = corners[np.array(pairs)]
        return pieces
    return _cone_edges(shape)


def _cone_edges(cone: ConeShape) -> Floats:
    start, end = np.array(cone.start), np.array(cone.end)
    axis = unit(end - start)
    across = any_perpendicular(axis)
    turn = np.linspace(0.0, 2.0 * np.pi, RIM_SIDES, endpoint=False)[:, None]
    rim = np.cos(turn) * across + np.sin(turn) * np.cross(axis, across)
    near, far = start + cone.start_radius * rim, end + cone.end_radius * rim
    quarter = np.arange(0, RIM_SIDES, RIM_SIDES // 4)
    pieces = [np.stack([near[quarter], far[quarter]], axis=1)]
    for points, radius in ((near, cone.start_radius), (far, cone.end_radius)):
        if radius > 0.0:
            pieces.append(np.stack([points, np.roll(points, -1, axis=0)], axis=1))
    return np.concatenate(pieces)


# Names


def names(
    layout: Layout,
    selected: frozenset[int],
    hovered: int | None,
    to_screen: Callable[[Vec3], Xy],
    room: tuple[Floats, Floats] | None,
) -> list[Mark]:
    """Write the names of references and zones that are selected or under the pointer."""
    marks: list[Mark] = []
    for id in sorted({*selected, *(() if hovered is None else (hovered,))}):
        if id in layout.references:
            reference = layout.references[id]
            at = to_screen(_label_place(reference.shape, room or EMPTY_ROOM))
            if isinstance(reference.shape, LineShape):  # seen through the metal that it runs in
                ends = (to_screen(reference.shape.start), to_screen(reference.shape.end))
                marks.append(Stroke(ends, "accent", 1.2, is_dashed=True))
            if not isinstance(reference.shape, PlaneShape):
                marks.append(Spot(at, id not in selected))
            words = f"{reference.name} (limit)" if reference.limit else reference.name
            marks.append(Whisper((at[0] + 10.0, at[1] - 8.0), words))
        elif id in layout.zones:
            low, high = zoning.bounds(layout.zones[id].shape)
            middle = (low + high) / 2.0
            at = to_screen(vec((middle[0], middle[1], high[2])))
            marks.append(Whisper((at[0], at[1] - 8.0), layout.zones[id].name, is_centred=True))
    return marks


def _label_place(shape: references.Shape, room: tuple[Floats, Floats]) -> Vec3:
    """Return where the name of a reference stands: of a plane, in the middle of its highest edge."""
    if not isinstance(shape, PlaneShape):
        return references.place_of(shape)
    middles = plane_lines(shape, room)[0].mean(axis=1)
    return vec(middles[int((middles[:, 2] + 1e-3 * middles[:, 0]).argmax())])


# Picking


def at(outlook: "Outlook", x: float, y: float) -> int | None:
    """Return the shown reference or zone under a screen point: by its lines, and zones by their faces too.

    Faces count only where no metal lies behind them, so that what a zone covers can still be picked.
    """
    layout = outlook.layout
    found = _line_at(outlook, x, y)
    if found is not None:
        return found
    ray = outlook.ray(x, y)
    if outlook.body_at(ray) is not None:
        return None
    hits = [
        (distance, zone.id)
        for zone in layout.zones.values()
        if zone.shown and (distance := _face_hit(zone.shape, ray)) is not None
    ]
    return min(hits)[1] if hits else None


def _line_at(outlook: "Outlook", x: float, y: float) -> int | None:
    layout = outlook.layout
    best, found = LINE_REACH, None
    everything: tuple[Reference | Zone, ...] = (*layout.references.values(), *layout.zones.values())
    for thing in (one for one in everything if one.shown):
        if isinstance(thing, Zone):
            pieces, reach = edges(thing.shape), 0.0
        elif isinstance(thing.shape, PointShape):
            place = np.array(thing.shape.at)
            pieces, reach = np.array([[place, place]]), POINT_REACH - LINE_REACH
        elif isinstance(thing.shape, LineShape):
            pieces, reach = np.array([[thing.shape.start, thing.shape.end]]), 0.0
        else:
            pieces, reach = plane_lines(thing.shape, outlook.shown.bounds or EMPTY_ROOM)[0], 0.0
        away, place = _pixels_to(outlook, pieces, x, y)
        if away - reach < best and outlook.is_visible(vec(place)):
            best, found = away - reach, thing.id
    return found


def _pixels_to(outlook: "Outlook", pieces: Floats, x: float, y: float) -> tuple[float, Floats]:
    """Return how many pixels pieces (n, 2, 3) pass from a screen point, and the place that is nearest."""
    screen, depth = cameras.project(outlook.sight.camera, outlook.sight.size, pieces.reshape(-1, 3))
    ends = screen.reshape(-1, 2, 2)
    way = ends[:, 1] - ends[:, 0]
    size = np.maximum(np.einsum("ij,ij->i", way, way), 1e-9)
    part = np.clip(np.einsum("ij,ij->i", np.array((x, y)) - ends[:, 0], way) / size, 0.0, 1.0)
    away = np.linalg.norm(ends[:, 0] + part[:, None] * way - (x, y), axis=1)
    away[(depth.reshape(-1, 2) <= 0.0).any(axis=1)] = np.inf
    nearest = int(away.argmin())
    place: Floats = pieces[nearest, 0] + part[nearest] * (pieces[nearest, 1] - pieces[nearest, 0])
    return float(away[nearest]), place


def _face_hit(shape: zoning.Shape, ray: Ray) -> float | None:
    """Return how far along a ray it enters a zone's mesh."""
    vertices, triangles = zoning.mesh(shape)
    a, b, c = (vertices[triangles[:, i]] for i in range(3))
    way = np.array(ray.direction)
    across = np.cross(way, c - a)
    scale = np.einsum("ij,ij->i", b - a, across)
    flat = np.abs(scale) < 1e-9
    scale = np.where(flat, 1.0, scale)
    off = np.array(ray.origin) - a
    u = np.einsum("ij,ij->i", off, across) / scale
    turned = np.cross(off, b - a)
    v = turned @ way / scale
    along = np.einsum("ij,ij->i", c - a, turned) / scale
    is_hit = ~flat & (u >= 0.0) & (v >= 0.0) & (u + v <= 1.0) & (along > 0.0)
    return float(along[is_hit].min()) if is_hit.any() else None
