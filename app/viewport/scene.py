"""What the renderer draws: body, tubes, ground grid, figure, section. Needs no window and no Qt.

One actor a tube and one a panel. A change of the layout touches only what differs by identity.
"""

from collections.abc import Container, Mapping
from typing import Literal
from weakref import WeakKeyDictionary

import numpy as np
from msgspec import Struct
from vtkmodules.vtkCommonDataModel import vtkPlane, vtkPolyData
from vtkmodules.vtkCommonMath import vtkMatrix4x4
from vtkmodules.vtkRenderingCore import vtkCamera, vtkLight, vtkRenderer

from app.viewport import actors, colours, movers, shapes
from app.viewport import camera as cameras
from app.viewport.aids_drawn import Aids
from app.viewport.camera import Camera, Ray
from app.viewport.colours import Theme, rgb
from app.viewport.ghosts import Ghosts
from app.viewport.lines import of_all
from app.viewport.movers import Movers
from app.viewport.surface import poly_data
from app.viewport.tints import Tint
from geometry import axles
from geometry.body import placement
from geometry.checks import moving
from geometry.layout import Layout, Mesh, Panel, Tube
from geometry.tube.centreline import Centreline
from geometry.vectors import Floats

Axis = Literal["x", "y", "z"]
ROOM_ROUND_GRID = 1200.0  # mm
PALE = 0.4  # of its strength has a colour that is behind
TWIN_OPACITY = 0.5  # of the twin of a tube that is being laid
METRE, FOOT = 1000.0, 304.8
GridUnit = Literal["metric", "imperial"]
GRID_STEPS: dict[GridUnit, tuple[float, float]] = {"metric": (250.0, METRE), "imperial": (FOOT, 5 * FOOT)}


class Cut(Struct, frozen=True):
    """A section plane: the body beyond it, towards plus along the axis, is not drawn."""

    axis: Axis
    offset: float

    @property
    def normal(self) -> tuple[float, float, float]:
        return {"x": (1.0, 0.0, 0.0), "y": (0.0, 1.0, 0.0), "z": (0.0, 0.0, 1.0)}[self.axis]

    def span(self, ray: Ray) -> tuple[float, float]:
        """Return between which distances a ray runs through the half that is drawn."""
        index = "xyz".index(self.axis)
        above, slope = ray.origin[index] - self.offset, ray.direction[index]
        if abs(slope) < 1e-9:
            return (0.0, np.inf) if above <= 0.0 else (np.inf, np.inf)
        across = -above / slope
        return (max(0.0, across), np.inf) if slope < 0.0 else (0.0, max(0.0, across))


class Scene:
    """The actors of one renderer."""

    def __init__(self, renderer: vtkRenderer, theme: Theme = colours.LIGHT) -> None:
        self.renderer = renderer
        self.theme = theme
        self._layout = Layout()
        self._tubes: dict[int, actors.TubeActor] = {}
        self._panels: dict[int, tuple[tuple[object, object], actors.PanelActor]] = {}
        self._proxies: WeakKeyDictionary[Mesh, tuple[Floats, np.ndarray]] = WeakKeyDictionary()
        self._selected: frozenset[int] = frozenset()
        self._hovered: int | None = None
        self._opacity = 1.0
        self._cut: Cut | None = None
        self._cut_plane = vtkPlane()
        self._grid_unit: GridUnit = "metric"
        self._shows_grid = True
        self._shows_figure = False
        self._openings: Mapping[int, float] = {}
        self._tints: dict[int, Tint] = {}
        self._pale: frozenset[int] = frozenset()
        self._tinted: dict[int, Centreline | None] = {}  # the lines that the tints were worked out for
        self._grid_box: tuple[float, ...] | None = None
        self.movers = Movers(renderer)
        self.aids = Aids(renderer, theme)
        self.ghosts = Ghosts(renderer, theme)
        self._grid = [actors.lines_actor(1.0), actors.lines_actor(1.4)]
        self._figure = actors.plain_actor()
        self._outline = actors.lines_actor(2.0)
        for actor in (*self._grid, self._figure, self._outline):
            actor.SetVisibility(False)
            renderer.AddActor(actor)
        _light(renderer)
        self.set_theme(theme)

    # -- what is there ------------------------------------------------------------

    def show(self, layout: Layout) -> None:
        """Draw a layout; what is the same object as before stays untouched."""
        before, self._layout = self._layout, layout
        is_same_body = before.panels is layout.panels and before.bodies is layout.bodies
        if not is_same_body:
            self._show_panels()
        if not is_same_body or before.axles is not layout.axles:
            self._lay_ground()
        self.movers.show(layout)
        self.aids.show(layout, self._body_bounds)
        self._show_tubes()

    def set_openings(self, openings: Mapping[int, float]) -> None:
        """Draw panels open, from 0 to 1; what moves with them goes along."""
        self._openings = openings
        for id in self._panels:
            self._open_panel(id)

    def _open_panel(self, id: int) -> None:
        carrier = moving.carrier_of(self._layout, id)
        opening = self._openings.get(carrier.id, 0.0)
        actor = self._panels[id][1].actor
        is_open = carrier.motion is not None and opening > 0.0
        actor.SetUserMatrix(movers.matrix(carrier.motion, opening) if carrier.motion and is_open else None)

    def _show_tubes(self) -> None:
        layout = self._layout
        for id in [id for id in self._tubes if id not in layout.tubes]:
            self.renderer.RemoveActor(self._tubes.pop(id).actor)
        lines = of_all(layout)
        for id, tube in layout.tubes.items():
            self._show_tube(id, tube, lines[id])

    def _show_tube(self, id: int, tube: Tube, line: Centreline) -> None:
        od = self._layout.stocks[tube.stock].od
        drawn = self._tubes.get(id)
        if drawn is None:
            drawn = self._tubes[id] = actors.TubeActor()
            self.renderer.AddActor(drawn.actor)
        drawn.actor.SetVisibility(tube.shown)
        tint = self._tints.get(id)
        rings = actors.NO_RINGS if tint is None else tint.rings
        if drawn.line is not line or drawn.od != od or drawn.rings is not rings:
            drawn.bend_along(line, od, rings)
            self._paint_tube(id)

    def set_tints(self, tints: Mapping[int, Tint], current: Container[int]) -> None:
        """Colour tubes along; those that are not named are plain. What is not current is pale."""
        known, self._tints = self._tints, dict(tints)
        for id, drawn in self._tubes.items():
            tint = self._tints.get(id)
            was = self._tinted.get(id)
            if id in current:
                self._tinted[id] = drawn.line
            elif tint is not known.get(id):
                self._tinted[id] = None
            if drawn.line is None or (tint is known.get(id) and was is self._tinted.get(id)):
                continue
            rings = actors.NO_RINGS if tint is None else tint.rings
            if drawn.rings is not rings:
                drawn.bend_along(drawn.line, drawn.od, rings)
            self._paint_tube(id)

    def _show_panels(self) -> None:
        layout = self._layout
        drawable = {id: panel for id, panel in layout.panels.items() if panel.kept and panel.shown}
        for id in [id for id in self._panels if id not in drawable]:
            self.renderer.RemoveActor(self._panels.pop(id)[1].actor)
        for id, panel in drawable.items():
            self._show_panel(id, panel)
        self._show_outline()

    def _show_panel(self, id: int, panel: Panel) -> None:
        key = (panel.mesh, self._layout.bodies[panel.body].placement)
        known = self._panels.get(id)
        if known is None or known[0][0] is not key[0] or known[0][1] != key[1]:
            drawn = actors.PanelActor(self._mesh_of(panel))
            if known is not None:
                self.renderer.RemoveActor(known[1].actor)
            self.renderer.AddActor(drawn.actor)
            self._panels[id] = (key, drawn)
            self._clip(drawn)
        self._open_panel(id)
        self._paint_panel(id)

    def _mesh_of(self, panel: Panel) -> vtkPolyData:
        """Return the triangles to draw for a panel: its stand-in, where there is one."""
        if panel.mesh in self._proxies:
            points, triangles = self._proxies[panel.mesh]
            return poly_data(
                placement.world_points(self._layout.bodies[panel.body].placement, points), triangles
            )
        return poly_data(placement.panel_vertices(self._layout, panel), panel.mesh.triangles)

    def add_proxy(self, mesh: Mesh, points: Floats, triangles: np.ndarray) -> None:
        """Draw fewer triangles (m, 3) for a mesh from now on; points (n, 3) as the mesh was read."""
        self._proxies[mesh] = (points, triangles)
        for id, (key, drawn) in self._panels.items():
            if key[0] is mesh:
                drawn.show(self._mesh_of(self._layout.panels[id]))
        self._show_outline()

    def has_proxy(self, mesh: Mesh) -> bool:
        return mesh in self._proxies

    @property
    def layout(self) -> Layout:
        """The layout that is drawn."""
        return self._layout

    @property
    def body_triangles(self) -> int:
        return sum(drawn.mesh.GetNumberOfPolys() for _, drawn in self._panels.values())

    def points(self) -> Floats:
        """Return points (n, 3) that body, tubes, wheels and figure are fitted by."""
        boxes = [drawn.bounds for drawn in self._tubes.values()] + self.movers.wheel_bounds()
        if self._shows_figure:
            boxes.append(self._figure.GetBounds())
        corners = [
            (box[i], box[2 + j], box[4 + k])
            for box in boxes
            if box[0] <= box[1]
            for i in (0, 1)
            for j in (0, 1)
            for k in (0, 1)
        ]
        parts = [drawn.outer_points for _, drawn in self._panels.values()]
        return np.concatenate([np.array(corners).reshape(-1, 3), *parts])

    def _body_bounds(self) -> tuple[Floats, Floats] | None:
        """The box round the panels that are drawn, closed as they are."""
        boxes = [box for _, drawn in self._panels.values() if (box := drawn.mesh.GetBounds())[0] <= box[1]]
        if not boxes:
            return None
        return np.min([box[::2] for box in boxes], axis=0), np.max([box[1::2] for box in boxes], axis=0)

    def bounds(self) -> tuple[Floats, Floats] | None:
        points = self.points()
        return (points.min(axis=0), points.max(axis=0)) if len(points) else None

    # -- how it looks -------------------------------------------------------------

    def set_theme(self, theme: Theme) -> None:
        self.theme = theme
        self.movers.set_theme(theme)
        self.aids.set_theme(theme)
        self.ghosts.set_theme(theme)
        self.renderer.SetGradientBackground(True)
        self.renderer.SetBackground(*rgb(theme.floor))
        self.renderer.SetBackground2(*rgb(theme.sky))
        self._grid[0].GetProperty().SetColor(*rgb(theme.grid))
        self._grid[1].GetProperty().SetColor(*rgb(theme.grid_strong))
        self._figure.GetProperty().SetColor(*rgb(theme.figure))
        self._outline.GetProperty().SetColor(*rgb(theme.section))
        for id in self._tubes:
            self._paint_tube(id)
        for id in self._panels:
            self._paint_panel(id)

    def emphasise(self, selected: frozenset[int], hovered: int | None) -> None:
        """Bring out the selected things and the one under the pointer."""
        changed = self._selected ^ selected
        if hovered != self._hovered:
            changed |= {id for id in (hovered, self._hovered) if id is not None}
        self._selected, self._hovered = selected, hovered
        self.movers.emphasise(selected)
        self.aids.emphasise(selected, hovered)
        for id in changed:
            if id in self._tubes:
                self._paint_tube(id)
            elif id in self._panels:
                self._paint_panel(id)

    def set_pale(self, tubes: frozenset[int]) -> None:
        """Draw tubes paler than the others: what follows of itself while another one is laid."""
        changed, self._pale = self._pale ^ tubes, tubes
        for id in changed & self._tubes.keys():
            self._paint_tube(id)

    def _paint_tube(self, id: int) -> None:
        colour = self.theme.tube
        if id in self._selected:
            colour = self.theme.tube_selected
        if id == self._hovered:
            colour = (
                colours.mixed(colour, "#ffffff", 0.25) if id in self._selected else self.theme.tube_hovered
            )
        drawn = self._tubes[id]
        drawn.actor.GetProperty().SetOpacity(TWIN_OPACITY if id in self._pale else 1.0)
        is_current = self._tinted.get(id) is drawn.line
        drawn.paint(colour, self.theme.tube_bad, self._tints.get(id), 1.0 if is_current else PALE)

    def _paint_panel(self, id: int) -> None:
        panel = self._layout.panels.get(id)
        colour = (panel.colour if panel else None) or self.theme.body
        if id in self._selected:
            colour = colours.mixed(colour, self.theme.body_selected, 0.6)
        surface = self._panels[id][1].actor.GetProperty()
        surface.SetColor(*rgb(colour))
        surface.SetOpacity(self._opacity)

    def set_body_opacity(self, opacity: float) -> None:
        self._opacity = min(1.0, max(0.0, opacity))
        for _, drawn in self._panels.values():
            drawn.actor.GetProperty().SetOpacity(self._opacity)
            drawn.actor.SetVisibility(self._opacity > 0.0)

    def set_cut(self, cut: Cut | None) -> None:
        self._cut = cut
        if cut is not None:
            normal = np.array(cut.normal)
            self._cut_plane.SetOrigin(*(normal * cut.offset))
            self._cut_plane.SetNormal(*(-normal))
        for _, drawn in self._panels.values():
            self._clip(drawn)
        self._show_outline()

    def _clip(self, drawn: actors.PanelActor) -> None:
        drawn.mapper.RemoveAllClippingPlanes()
        if self._cut is not None:
            drawn.mapper.AddClippingPlane(self._cut_plane)

    def _show_outline(self) -> None:
        """Draw where the section plane meets the metal."""
        self._outline.SetVisibility(self._cut is not None)
        if self._cut is None:
            return
        chords = [actors.cut_through(drawn.mesh, self._cut_plane) for _, drawn in self._panels.values()]
        chords = [chord for chord in chords if len(chord)]
        actors.set_lines(self._outline, np.concatenate(chords) if chords else np.zeros((0, 2, 3)))

    def set_grid(self, shown: bool, unit: GridUnit) -> None:
        self._shows_grid = shown
        if unit != self._grid_unit:
            self._grid_unit, self._grid_box = unit, None
        self._lay_ground()

    def set_figure(self, shown: bool) -> None:
        self._shows_figure = shown
        self._lay_ground()

    def _lay_ground(self) -> None:
        """Lay the grid round the body, and stand the figure by its left rear, where it hides nothing."""
        height, rise = axles.ground(self._layout)
        for actor in self._grid:
            actor.SetVisibility(self._shows_grid)
            actor.SetUserMatrix(_ground_matrix(height, rise))
        self._figure.SetVisibility(self._shows_figure)
        boxes = [drawn.mesh.GetBounds() for _, drawn in self._panels.values()]
        low = np.min([box[::2] for box in boxes], axis=0) if boxes else np.array((-3500.0, -900.0, 0.0))
        high = np.max([box[1::2] for box in boxes], axis=0) if boxes else np.array((900.0, 900.0, 1500.0))
        if self._shows_figure:
            at = low[0] - 350.0
            feet = np.array((at, high[1] + 150.0, height + rise * at))
            actors.set_surface(self._figure, shapes.person(feet))
        box = (*low[:2], *high[:2])
        if not self._shows_grid or box == self._grid_box:
            return
        self._grid_box = box
        fine, strong = GRID_STEPS[self._grid_unit]
        # Both grids end on the strong step, so that no square is cut off.
        low = np.floor((low - ROOM_ROUND_GRID / 2) / strong) * strong
        high = np.ceil((high + ROOM_ROUND_GRID / 2) / strong) * strong
        for actor, step in zip(self._grid, (fine, strong), strict=True):
            actors.set_lines(actor, shapes.grid_lines(low, high, step))

    # -- the camera ---------------------------------------------------------------

    def place_camera(self, camera: Camera) -> None:
        """Set the renderer's camera, with near and far planes round everything drawn."""
        seen: vtkCamera = self.renderer.GetActiveCamera()
        right_up_forward = cameras.axes(camera)
        forward = right_up_forward[2]
        low, high = self._reach()
        corners = np.array(
            [(x, y, z) for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])]
        )
        depths = (corners - cameras.eye(camera)) @ forward
        back = max(0.0, 100.0 - float(depths.min())) if camera.is_parallel else 0.0
        at = np.asarray(cameras.eye(camera)) - forward * back
        seen.SetPosition(*at)
        seen.SetFocalPoint(*(at + forward * (camera.distance + back)))
        seen.SetViewUp(*right_up_forward[1])
        seen.SetViewAngle(float(np.degrees(cameras.VIEW_ANGLE)))
        seen.SetParallelProjection(camera.is_parallel)
        seen.SetParallelScale(camera.distance * float(np.tan(cameras.VIEW_ANGLE / 2.0)))
        far = float(depths.max()) + back + 100.0
        near = max(float(depths.min()) + back - 100.0, far / 2000.0, 5.0)
        seen.SetClippingRange(near, max(far, near + 100.0))

    def _reach(self) -> tuple[Floats, Floats]:
        boxes = [actor.GetBounds() for actor in (*self._grid, self._figure) if actor.GetVisibility()]
        boxes += [drawn.mesh.GetBounds() for _, drawn in self._panels.values()]
        boxes += [drawn.bounds for drawn in self._tubes.values()]
        boxes += [drawn.actor.GetBounds() for _, drawn in self._panels.values()] + self.movers.bounds()
        boxes += self.aids.bounds()
        sound = [box for box in boxes if box is not None and box[0] <= box[1]]
        if not sound:
            return np.full(3, -5000.0), np.full(3, 5000.0)
        return np.min([box[::2] for box in sound], axis=0), np.max([box[1::2] for box in sound], axis=0)


def _ground_matrix(height: float, rise: float) -> vtkMatrix4x4:
    """Return what brings the level plane to the ground that tyres stand on."""
    matrix = vtkMatrix4x4()
    matrix.SetElement(2, 0, rise)
    matrix.SetElement(2, 3, height)
    return matrix


def _light(renderer: vtkRenderer) -> None:
    """Light the room from the viewer's left shoulder, with a weak light from below on the right."""
    renderer.AutomaticLightCreationOff()
    renderer.RemoveAllLights()
    for place, strength in (((-0.5, 0.7, 1.0), 1.0), ((0.8, -0.25, 0.6), 0.35)):
        light = vtkLight()
        light.SetLightTypeToCameraLight()
        light.SetPosition(*place)
        light.SetFocalPoint(0.0, 0.0, 0.0)
        light.SetIntensity(strength)
        renderer.AddLight(light)
