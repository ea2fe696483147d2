"""What moves, as it is drawn: hinge lines, wheels, the space that tyres sweep through; and cut lines."""

from collections.abc import Iterable, Mapping
from typing import Literal

import numpy as np
from vtkmodules.vtkCommonMath import vtkMatrix4x4
from vtkmodules.vtkRenderingCore import vtkActor, vtkRenderer

from app.viewport import actors, shapes
from app.viewport.colours import Theme, mixed, rgb
from geometry.body import envelope, placement
from geometry.body.tyres import Wheel
from geometry.checks import moving
from geometry.checks import tyres as tyre_checks
from geometry.checks.tyres import Shown, WheelKey
from geometry.layout import Axle, Hinge, Layout, Mesh, Motion, Panel
from geometry.vectors import Floats, unit

BEYOND = 60.0  # mm that a hinge line is drawn past its points
ARC_STEPS = 24
OPACITY, STALE_OPACITY = 0.35, 0.1  # of a swept space, and of one that is being worked out anew
OFFCUT_OPACITY = 0.3
Shows = Literal["wheels", "swept", "neither"]
Pose = tuple[float, float, float]  # heave, roll, steer: parts of the range, from -1 to 1
AT_REST: Pose = (0.0, 0.0, 0.0)


class Movers:
    """The actors of what moves; panels that stand open are the scene's own."""

    def __init__(self, renderer: vtkRenderer) -> None:
        self._renderer = renderer
        self._layout = Layout()
        self._selected: frozenset[int] = frozenset()
        self._shows: Shows = "wheels"
        self._poses: dict[int, Pose] = {}
        self._spaces: dict[WheelKey, Shown] = {}
        self._wheels: dict[WheelKey, vtkActor] = {}
        self._swept: dict[WheelKey, vtkActor] = {}
        self._drawn: dict[WheelKey, Mesh] = {}  # what each of them holds
        self._hinges = actors.lines_actor(3.0)
        self._cuts = actors.lines_actor(3.0)
        self._proposed = actors.lines_actor(3.0)
        self._offcuts: dict[int, vtkActor] = {}
        self._off: dict[int, Mesh] = {}  # what each of them holds
        for actor in (self._hinges, self._cuts, self._proposed):
            actor.SetVisibility(False)
            renderer.AddActor(actor)

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self._hinges.GetProperty().SetColor(*rgb(theme.accent))
        self._cuts.GetProperty().SetColor(*rgb(theme.section))
        self._proposed.GetProperty().SetColor(*rgb(theme.accent))
        for actor in self._offcuts.values():
            actor.GetProperty().SetColor(*rgb(theme.section))
        self._paint_wheels()
        for actor in self._swept.values():
            actor.GetProperty().SetColor(*rgb(theme.swept))

    def show(self, layout: Layout) -> None:
        before, self._layout = self._layout, layout
        if before.axles is not layout.axles:
            self._show_wheels()
            self._show_swept()
        if before.panels is not layout.panels or before.bodies is not layout.bodies:
            self._show_hinges()
            self._show_cuts()

    def emphasise(self, selected: frozenset[int]) -> None:
        """Draw the hinge lines of selected panels, and bring out the wheels of selected axles."""
        if selected != self._selected:
            self._selected = selected
            self._show_hinges()
            self._paint_wheels()

    def _paint_wheels(self) -> None:
        chosen = mixed(self._theme.tyre, self._theme.accent, 0.5)
        for (axle, _), actor in self._wheels.items():
            actor.GetProperty().SetColor(*rgb(chosen if axle in self._selected else self._theme.tyre))

    def set_shows(self, shows: Shows) -> None:
        self._shows = shows
        self._show_visible()

    def set_envelopes(self, spaces: Mapping[WheelKey, Shown]) -> None:
        """Take what each tyre sweeps through, as it was worked out last."""
        self._spaces = dict(spaces)
        self._show_swept()

    def set_proposed(self, lines: Iterable[Floats]) -> None:
        """Draw where panels would be cut: lines (k, 3)."""
        self._draw(self._proposed, [_pieces(line) for line in lines])

    def set_offcuts(self, meshes: Mapping[int, Mesh]) -> None:
        """Draw what came off panels, see-through."""
        for id in [id for id, mesh in self._off.items() if meshes.get(id) is not mesh]:
            self._renderer.RemoveActor(self._offcuts.pop(id))
            del self._off[id]
        for id, mesh in meshes.items():
            if id not in self._off and len(mesh.triangles):
                actor = actors.plain_actor()
                actor.GetMapper().SetInputData(actors.smooth(mesh.vertices, mesh.triangles))
                actor.GetProperty().SetColor(*rgb(self._theme.section))
                actor.GetProperty().SetOpacity(OFFCUT_OPACITY)
                self._renderer.AddActor(actor)
                self._offcuts[id], self._off[id] = actor, mesh

    def start_anew(self) -> None:
        """Forget what belongs to another job."""
        self.set_proposed(())
        self.set_offcuts({})
        self._poses = {}
        self._show_wheels()
        self.set_envelopes({})

    def set_pose(self, axle: int, pose: Pose) -> None:
        """Draw the wheels of an axle at a place in their travel."""
        if self._poses.get(axle, AT_REST) != pose:
            self._poses[axle] = pose
            self._show_wheels()

    def wheel_bounds(self) -> list[tuple[float, float, float, float, float, float]]:
        """The boxes of the wheels that are drawn."""
        return [actor.GetBounds() for actor in self._wheels.values() if actor.GetVisibility()]

    def bounds(self) -> list[tuple[float, float, float, float, float, float]]:
        """The boxes of what is drawn here."""
        drawn = (*self._wheels.values(), *self._swept.values(), self._hinges)
        return [actor.GetBounds() for actor in drawn if actor.GetVisibility()]

    def _show_wheels(self) -> None:
        wheels = tyre_checks.wheels(self._layout)
        self._drop(self._wheels, wheels.keys())
        for key, wheel in wheels.items():
            actor = self._wheels.get(key)
            if actor is None:
                actor = self._wheels[key] = actors.plain_actor()
                self._renderer.AddActor(actor)
            axle = self._layout.axles[key[0]]
            actors.set_surface(actor, _wheel(wheel, axle, self._poses.get(key[0], AT_REST)))
        self._paint_wheels()
        self._show_visible()

    def _show_swept(self) -> None:
        wheels = tyre_checks.wheels(self._layout)
        wanted = {key: space for key, space in self._spaces.items() if key in wheels}
        self._drop(self._swept, wanted.keys())
        for key, space in wanted.items():
            actor = self._swept.get(key)
            if actor is None:
                actor = self._swept[key] = actors.plain_actor()
                actor.GetProperty().SetColor(*rgb(self._theme.swept))
                self._renderer.AddActor(actor)
            if self._drawn.get(key) is not space.mesh:
                self._drawn[key] = space.mesh
                actor.GetMapper().SetInputData(actors.smooth(space.mesh.vertices, space.mesh.triangles))
            actor.GetProperty().SetOpacity(OPACITY if space.wheel == wheels[key] else STALE_OPACITY)
        self._drawn = {key: mesh for key, mesh in self._drawn.items() if key in wanted}
        self._show_visible()

    def _show_visible(self) -> None:
        for actor in self._wheels.values():
            actor.SetVisibility(self._shows != "neither")
        for actor in self._swept.values():
            actor.SetVisibility(self._shows == "swept")

    def _drop(self, drawn: dict[WheelKey, vtkActor], wanted: Iterable[WheelKey]) -> None:
        for key in drawn.keys() - set(wanted):
            self._renderer.RemoveActor(drawn.pop(key))

    def _show_hinges(self) -> None:
        panels = [self._layout.panels[id] for id in self._selected if id in self._layout.panels]
        lines = [
            _hinge_lines(self._layout, carrier)
            for panel in panels
            if isinstance((carrier := moving.carrier_of(self._layout, panel.id)).motion, Hinge)
        ]
        self._draw(self._hinges, lines)

    def _show_cuts(self) -> None:
        lines = []
        for panel in self._layout.panels.values():
            if panel.trim is not None and panel.kept and panel.shown:
                placed = self._layout.bodies[panel.body].placement
                points = (placement.world_points(placed, np.array(line)) for line in panel.trim.lines)
                lines += [_pieces(line) for line in points]
        self._draw(self._cuts, lines)

    def _draw(self, actor: vtkActor, lines: list[Floats]) -> None:
        actor.SetVisibility(bool(lines))
        if lines:
            actors.set_lines(actor, np.concatenate(lines))


def _pieces(line: Floats) -> Floats:
    """Return a line (k, 3) as pieces (k - 1, 2, 3)."""
    return np.stack([line[:-1], line[1:]], axis=1)


def matrix(motion: Motion, opening: float) -> vtkMatrix4x4:
    """Return what takes a closed panel to an opening from 0 to 1."""
    origin, *axes = moving.moved(motion, np.concatenate([np.zeros((1, 3)), np.eye(3)]), opening)
    made = vtkMatrix4x4()
    for row in range(3):
        for column in range(3):
            made.SetElement(row, column, float(axes[column][row] - origin[row]))
        made.SetElement(row, 3, float(origin[row]))
    return made


def _wheel(wheel: Wheel, axle: Axle, pose: Pose) -> shapes.Surface:
    """Return a wheel at a pose, each part from -1 (droop, right) to 1 (bump, left)."""
    heave = axle.bump * pose[0] if pose[0] > 0.0 else axle.droop * pose[0]
    turn = wheel.steer_left * pose[2] if pose[2] > 0.0 else wheel.steer_right * pose[2]
    at = np.array([heave, wheel.roll * pose[1], turn])
    at_rest = shapes.wheel(wheel.tyre.od, wheel.tyre.width, wheel.tyre.shoulder, wheel.tyre.rim)
    cos, sin = np.cos(wheel.lean), np.sin(wheel.lean)
    lean = np.array([[1.0, 0.0, 0.0], [0.0, cos, -sin], [0.0, sin, cos]])
    middle = np.array(wheel.centre)
    points = envelope.placed(wheel, at_rest.points @ lean.T + middle, at)
    tips = envelope.placed(wheel, (at_rest.points + at_rest.normals) @ lean.T + middle, at)
    return shapes.Surface(points, tips - points, at_rest.triangles)


def _hinge_lines(layout: Layout, panel: Panel) -> Floats:
    """Return the line of a panel's hinge, and the way its farthest point goes: (n, 2, 3)."""
    hinge = panel.motion
    assert isinstance(hinge, Hinge)
    start, end = np.array(hinge.start), np.array(hinge.end)
    axis = unit(end - start)
    line = np.stack([start - BEYOND * axis, end + BEYOND * axis])[None]
    points = placement.panel_vertices(layout, panel)
    if not len(points):
        return line
    far = points[np.linalg.norm(np.cross(points - start, axis), axis=1).argmax()]
    arc = np.concatenate([moving.moved(hinge, far[None], step) for step in np.linspace(0.0, 1.0, ARC_STEPS)])
    return np.concatenate([line, np.stack([arc[:-1], arc[1:]], axis=1)])
