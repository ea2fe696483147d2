"""The room: the scene with its labels, the tools, and the way one looks round. The rest is furniture."""

from collections.abc import Callable, Container, Iterable, Mapping
from itertools import product
from typing import TYPE_CHECKING, Any, cast

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from PySide6.QtCore import QPoint, QRect, Qt, QTimer, Signal
from PySide6.QtGui import (
    QResizeEvent,
)
from PySide6.QtWidgets import QWidget
from vtkmodules.vtkRenderingCore import vtkRenderer

from app import units as unit_text
from app import wording
from app.guarded import guarded
from app.session import Session
from app.units import Units
from app.viewport import aid_facts, aids_drawn, colours, picking, picture, placing, riding, tints
from app.viewport import camera as cameras
from app.viewport import lines as lines_of
from app.viewport.annotator import Annotator
from app.viewport.camera import Camera, Side, Size
from app.viewport.follow_tool import FollowTool
from app.viewport.labels import Rect
from app.viewport.legend import Legend
from app.viewport.lookout import Lookout
from app.viewport.marks import Mark, Spot, Stroke, Whisper, Xy
from app.viewport.measure_tool import MeasureTool
from app.viewport.measures_drawn import MeasuresDrawn
from app.viewport.movers import Pose, Shows
from app.viewport.navigation import Navigation
from app.viewport.overlay import Overlay
from app.viewport.part_tool import PartTool
from app.viewport.placing import Outlook
from app.viewport.point_tools import NodeTool, PickPointsTool, SplitTool
from app.viewport.pointing import PointingWidget
from app.viewport.points_drawn import NamedPoint, PointsDrawn
from app.viewport.proxy import DRAWN_BY_CARD, DRAWN_TRIANGLES, Decimation
from app.viewport.reference_tool import ReferenceTool
from app.viewport.scene import Axis, Cut, GridUnit, Scene
from app.viewport.select_tool import SelectTool
from app.viewport.tints import Colouring, Tint
from app.viewport.tools import Tool, ToolName
from app.viewport.tube_tool import TubeTool
from app.viewport.viewport import has_opengl, make_viewport
from app.viewport.zone_tool import ZoneTool
from geometry import asymmetry, edits
from geometry.aids import MeasureKind, Purpose
from geometry.laying.wish import Wish
from geometry.layout import Layout, Limits, Mesh, Panel, Stock, Tube
from geometry.part_groups import PartGroup
from geometry.tube import centreline
from geometry.vectors import Floats, Vec3, vec

if TYPE_CHECKING:
    from geometry.checks.findings import Report
    from geometry.checks.profile import Profile
    from geometry.checks.tyres import Shown, WheelKey

SAID_FOR = 4000  # ms that a refusal stays in the hint line
REPORT_WAIT = 10  # ms that a frame waits for the check of what it shows
TUBE_THICKNESS = 40.0  # mm of a tube in front of its own middle
REST = 220  # ms without a change after which the picture is smoothed
METRIC_STEP, IMPERIAL_STEP = 5.0, 25.4 / 4.0  # mm; how far an arrow key moves the selection


class View(PointingWidget):
    """Shows the session's layout and lets it be edited by pointing."""

    hint_changed = Signal(str)
    tool_changed = Signal(str)
    points_picked = Signal(list)  # PickedPoint: point, panel, triangle; empty when it was called off
    camera_changed = Signal()
    laying_wanted = Signal(object)  # Wish for a tube along the body, or None: it is wanted no more
    laying_changed = Signal(object)  # follow_tool.Along

    def __init__(
        self,
        session: Session,
        units: Units = unit_text.MILLIMETRES,
        parent: QWidget | None = None,
        *,
        safe_graphics: bool = False,
    ) -> None:
        super().__init__(parent)
        self.session = session
        self.units = units
        self.current_stock: int | None = None
        self._theme = colours.LIGHT
        self._shows_grid = True
        self._hovered: int | None = None
        self._hint = ""
        self._needs_fit = True
        self._fitted: Camera | None = None
        self._has_waited = False
        self._was_moving = False
        self._drawn_without_card = False
        self._openings: dict[int, float] = {}
        self._colouring: Colouring = "bands"
        self._profiles: Mapping[int, Profile] = {}
        self._tints: dict[int, _Tinted] = {}
        self._sides: dict[int, asymmetry.Standing] = {}
        self._ring: Floats = np.zeros((0, 3))
        self._lookout = Lookout()
        self._cards: list[QWidget] = []
        self._stepped = (0, session.recorded)  # the undo stack's place, and the layout there
        self._build(safe_graphics)
        self._tools: dict[ToolName, Tool] = {
            "select": SelectTool(self),
            "tube": TubeTool(self),
            "node": NodeTool(self),
            "split": SplitTool(self),
            "measure": MeasureTool(self),
            "pick points": PickPointsTool(self),
            "follow": FollowTool(self),
            "reference": ReferenceTool(self),
            "zone": ZoneTool(self),
            "part": PartTool(self),
        }
        self.select_tool = cast(SelectTool, self._tools["select"])
        self.follow_tool = cast(FollowTool, self._tools["follow"])
        self.current_tool = self.select_tool
        self.set_units(units)
        self._connect()
        self._on_changed(Layout(), session.layout)
        self._fitted = self._camera
        self._hint = self.current_tool.hint()

    def _build(self, safe_graphics: bool) -> None:
        self.setMinimumSize(240, 180)
        self.setAccessibleName("View of the body and its tubes")
        self.viewport = make_viewport(self, safe_graphics)
        self.viewport.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self.viewport.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._renderer = vtkRenderer()
        self.viewport.add_renderer(self._renderer)
        self.scene = Scene(self._renderer, self._theme)
        self.overlay = Overlay(self, self._theme)
        self.overlay.raise_()
        self.legend = Legend(self, self.units)
        self.legend.raise_()
        self._annotator = Annotator(self.session, self.to_screen, self.length, self._badge_size)
        self._measures = MeasuresDrawn(self.session, self._badge_size)
        self._points_drawn = PointsDrawn(self.to_screen, self._badge_size)
        self.navigation = Navigation(self._pivot_at, self)
        self.navigation.flies = has_opengl()
        self._decimation = Decimation(self)
        self._frame_timer = self._timer(0, self._prepare_frame)
        self._rest_timer = self._timer(REST, self._on_rest)
        self._hint_timer = self._timer(SAID_FOR, self._on_said)

    def _timer(self, milliseconds: int, slot: Callable[[], None]) -> QTimer:
        timer = QTimer(self)
        timer.setSingleShot(True)
        timer.setInterval(milliseconds)
        timer.timeout.connect(slot)
        return timer

    def _connect(self) -> None:
        self.session.changed.connect(self._on_changed)
        self.session.committed.connect(self._on_committed)
        self.session.selection_changed.connect(self._on_selection_changed)
        self.session.opened.connect(self._on_opened)
        self.session.undo_stack.indexChanged.connect(self._on_step)
        self.navigation.moved.connect(self._on_moved)
        self._decimation.done.connect(self._on_decimated)

    # -- what the window sets -----------------------------------------------------

    def set_theme(self, dark: bool) -> None:
        self._theme = colours.theme(dark)
        self.scene.set_theme(self._theme)
        self.overlay.set_theme(self._theme)
        self.legend.set_theme(self._theme)
        self.set_colouring(self._colouring)
        self.redraw()

    def set_units(self, units: Units) -> None:
        self.units = units
        self.legend.set_units(units)
        self.nudge_step = self.usual_step
        self.scene.set_grid(self._shows_grid, self._grid_unit)
        self.redraw()

    @property
    def usual_step(self) -> float:
        """The step of the arrow keys that suits the units, in mm."""
        return METRIC_STEP if self.units.length == "mm" else IMPERIAL_STEP

    @property
    def nudge_step(self) -> float:
        """How far an arrow key moves the selection, in mm."""
        return self.select_tool.step

    @nudge_step.setter
    def nudge_step(self, step: float) -> None:
        self.select_tool.step = step

    def show_report(self, revision: int, report: "Report") -> None:
        """Show what a check found; one older than what is shown is dropped."""
        if not self._annotator.take(revision, report):
            return
        self._profiles = report.profiles
        self.scene.aids.set_in_the_way(aid_facts.in_the_way(report))
        self._show_tints(report.profiles if revision == self.session.revision else ())
        self.redraw()
        if self._has_waited and revision == self.session.revision:
            self._frame_timer.start(0)

    def set_colouring(self, colouring: Colouring) -> None:
        """Colour tubes along: plain, where they are too close or too far, or by the gap itself."""
        self._colouring = colouring
        self._tints = {}
        self._show_tints(self._profiles if not self._annotator.is_behind else ())
        if colouring == "sides":
            self._say_sides()
        self.redraw()

    def _show_tints(self, current: Container[int] = ()) -> None:
        """Colour the tubes by the profiles that are known; those that are not current are pale."""
        layout = self.session.layout
        if self._colouring == "sides":
            self._show_sides()
            return
        for id in [id for id in self._tints if id not in layout.tubes]:
            del self._tints[id]
        for id, profile in self._profiles.items():
            if id in layout.tubes and not self._is_tinted(id, profile):
                tint = tints.of(self._colouring, layout, id, profile, self._theme)
                self._tints[id] = _Tinted(profile, layout.tubes[id], layout.limits, layout.panels, tint)
        self._show_layout()
        named = {id: known.tint for id, known in self._tints.items() if known.tint is not None}
        self.scene.set_tints(named, current)
        has_own = _has_own_standoff(layout)
        self.legend.show_colouring(self._colouring, layout.limits, has_own, bool(named))
        self._place_legend()

    def _show_sides(self) -> None:
        """Colour the tubes by how they stand to the other side; not while the hand moves."""
        layout = self.session.layout
        if not self.session.is_previewing:
            self._sides = asymmetry.standing(layout)
        self._show_layout()
        lines = lines_of.of_all(layout)
        named = {
            id: tint
            for id, standing in self._sides.items()
            if id in lines and (tint := tints.of_side(standing, lines[id].length, self._theme)) is not None
        }
        self.scene.set_tints(named, named.keys())
        self.legend.show_colouring(self._colouring, layout.limits, False, bool(named))
        self._place_legend()

    def _say_sides(self) -> None:
        """Count what is not the same on both sides; where nothing is coloured, this says why."""
        standing = self._sides.values()
        alone, off = (sum(one.kind == kind for one in standing) for kind in ("alone", "near"))
        parts = [f"{wording.counted(alone, 'tube')} on one side only"] if alone else []
        parts += [f"{wording.counted(off, 'tube')} off the other side's image"] if off else []
        if parts:
            self.say(f"{wording.listed(parts)}.")
        elif standing:
            self.say("Every tube has its twin or is its own mirror image.")

    def _side_words(self) -> list[Mark]:
        """Say at the middle of each tube by how much it is off the other side."""
        layout, outlook = self.session.layout, self.outlook
        marks: list[Mark] = []
        for id, standing in self._sides.items():
            if standing.kind == "twin" or id not in layout.tubes or not layout.tubes[id].shown:
                continue
            line = lines_of.of_all(layout)[id]
            middle = centreline.place_at(line, line.length / 2.0)
            if not outlook.is_visible(middle, TUBE_THICKNESS):
                continue
            x, y = self.to_screen(middle)
            other = layout.tubes.get(standing.other or 0)
            if other is None:
                marks.append(Whisper((x, y - 12.0), "one side only", "fine", True))
            else:
                name = "itself" if other.id == id else other.name
                words = f"{self.length(standing.off)} off the image of {name}"
                marks.append(Whisper((x, y - 12.0), words, "far", True))
        return marks

    def _is_tinted(self, id: int, profile: "Profile") -> bool:
        """Say whether a tube's tint is that of a profile. Each report brings new ones, mostly alike."""
        known, layout = self._tints.get(id), self.session.layout
        if known is None or known.tube is not layout.tubes[id]:
            return False
        if known.limits is not layout.limits or known.panels is not layout.panels:
            return False
        return known.profile is profile or (
            np.array_equal(known.profile.clearances, profile.clearances)
            and np.array_equal(known.profile.stations, profile.stations)
        )

    def _place_legend(self) -> None:
        """Put the legend over the words of the grid, beside a card: messages lie along the top."""
        size = self.legend.size()
        place = QRect(QPoint(self.width() - size.width() - 10, self.height() - size.height() - 28), size)
        for card in self._cards:
            if card.isVisible() and card.geometry().intersects(place) and card.x() > size.width() + 10:
                place.moveRight(card.x() - 10)
        self.legend.move(place.topLeft())

    def point_out(self, tubes: Iterable[int], panels: Iterable[int]) -> None:
        """Show the gaps between tubes and panels also where they are not the least of the tube."""
        self._annotator.point_out(frozenset(product(tubes, panels)))
        self.redraw()

    def cover(self, card: QWidget) -> None:
        """Keep labels from under a card that lies over the view."""
        self._cards.append(card)

    def cards_have_moved(self) -> None:
        """Give the legend and the labels their places beside the cards."""
        self._place_legend()
        self.redraw()

    def show_ring(self, points: Floats) -> None:
        """Mark where a tube is cut, by a ring of points (n, 3); none takes the mark away."""
        if not np.array_equal(points, self._ring):
            self._ring = points
            self.redraw()

    def set_parallel(self, is_parallel: bool) -> None:
        self.navigation.set(replace(self.navigation.camera, is_parallel=is_parallel))

    @property
    def is_parallel(self) -> bool:
        return self.navigation.camera.is_parallel

    def set_body_opacity(self, opacity: float) -> None:
        self.scene.set_body_opacity(opacity)
        self._lookout.set_opacity(opacity)
        self.redraw()

    def set_section(self, axis: Axis | None, offset: float = 0.0) -> None:
        """Cut the body: what lies beyond the offset along the axis is not drawn."""
        cut = None if axis is None else Cut(axis, offset)
        self.scene.set_cut(cut)
        self._lookout.set_cut(cut)
        self.redraw()

    def set_grid(self, shown: bool) -> None:
        self._shows_grid = shown
        self.scene.set_grid(shown, self._grid_unit)
        self.redraw()

    @property
    def _grid_unit(self) -> GridUnit:
        return "metric" if self.units.length == "mm" else "imperial"

    def set_figure(self, shown: bool) -> None:
        """Stand a person-high figure beside the body."""
        self.scene.set_figure(shown)
        self.redraw()

    def set_measures(self, shown: bool) -> None:
        """Draw the kept measures, or only the selected ones."""
        self._measures.shown = shown
        self.redraw()

    def set_opening(self, panel: int, opening: float) -> None:
        """Draw a panel open, from 0 to 1, with all that it carries."""
        self._openings = {**self._openings, panel: opening}
        self.scene.set_openings(self._openings)
        self.redraw()

    def opening(self, panel: int) -> float:
        """How far a panel is drawn open."""
        return self._openings.get(panel, 0.0)

    def set_wheels(self, shows: Shows) -> None:
        """Draw wheels, or what their tyres sweep through as well, or neither."""
        self.scene.movers.set_shows(shows)
        self._lookout.set_wheels(shows != "neither")
        self.redraw()

    def show_envelopes(self, spaces: "Mapping[WheelKey, Shown]") -> None:
        self.scene.movers.set_envelopes(spaces)
        self.redraw()

    def show_cut_lines(self, lines: Iterable[Floats]) -> None:
        """Draw where panels would be cut; none takes the lines away."""
        self.scene.movers.set_proposed(lines)
        self.redraw()

    def show_points(self, points: Iterable[NamedPoint]) -> None:
        """Mark named points of the body; none takes the marks away."""
        self._points_drawn.show(points)
        self.redraw()

    def show_ghosts(self, layout: Layout | None) -> None:
        """Draw another version's tubes pale and dashed; None takes them away."""
        self.scene.ghosts.show(layout)
        self.redraw()

    def show_offcuts(self, meshes: Mapping[int, Mesh]) -> None:
        """Draw what came off panels; none takes it away."""
        self.scene.movers.set_offcuts(meshes)
        self.redraw()

    def set_pose(self, axle: int, pose: Pose) -> None:
        """Draw the wheels of an axle at a place in their travel: heave, roll, steer from -1 to 1."""
        self.scene.movers.set_pose(axle, pose)
        self.redraw()

    # -- the camera ---------------------------------------------------------------

    def fit(self) -> None:
        """Bring everything into view."""
        self._needs_fit = False
        self._show_layout()
        self._fly_to_fitted(self._camera)

    def _fit_points(self) -> Floats:
        points = self.scene.points()
        if len(points):
            return points
        return np.array([(x, y, z) for x in (-3500.0, 900.0) for y in (-900.0, 900.0) for z in (0.0, 1500.0)])

    def fly_to(self, point: Vec3, radius: float | None = None) -> None:
        """Bring a point into the middle, near enough to see what is round it."""
        far = self._camera.distance if radius is None else radius / np.tan(cameras.VIEW_ANGLE / 2.0) * 1.2
        near = min(far, max(self._camera.distance, cameras.NEAREST_DISTANCE)) if radius is None else far
        self.navigation.fly(replace(self._camera, focus=vec(point), distance=float(near)))

    def look_from(self, side: Side) -> None:
        """Look from one of the six sides, or from the front left corner, at everything."""
        self._fly_to_fitted(cameras.from_side(self._camera, side))

    def _fly_to_fitted(self, camera: Camera) -> None:
        self._fitted = cameras.fitted(camera, self._size, self._fit_points())
        self.navigation.fly(self._fitted)

    def camera(self) -> dict[str, Any]:
        """Return the camera as plain data that set_camera takes back."""
        return cameras.to_plain(self._camera)

    def set_camera(self, plain: dict[str, Any]) -> None:
        """Take a camera back; data that is none is ignored."""
        camera = cameras.from_plain(plain)
        if camera is not None:
            self._needs_fit = False
            self.navigation.set(camera)

    @property
    def _camera(self) -> Camera:
        return self.navigation.camera

    @property
    def _size(self) -> Size:
        return Size(float(max(self.width(), 1)), float(max(self.height(), 1)))

    def picture(self, width: int, height: int) -> bytes:
        """Return the job from the front left corner, in light colours, as PNG."""
        return picture.draw(self.session.layout, width, height)

    def shutdown(self) -> None:
        """End children and graphics; the view shows nothing more."""
        if self.is_shut:
            return
        self.is_shut = True
        self.current_tool.leave()
        for timer in (self._frame_timer, self._rest_timer, self._hint_timer):
            timer.stop()
        self.navigation.land()
        self._decimation.stop()
        self.viewport.shutdown()

    # -- tools --------------------------------------------------------------------

    @property
    def tool(self) -> str:
        return self.current_tool.name

    def set_tool(self, name: ToolName) -> None:
        """Take a tool; what was begun with another one is recorded if it can stand, else put back."""
        if name == self.current_tool.name:
            return
        self.settle_pending()
        self.current_tool.end()
        self.held = None
        self.current_tool = self._tools[name]
        self.hover(None)
        self.setCursor(self.current_tool.cursor)
        if name == "tube":
            self.session.select(())  # so that what new tubes are made of is seen
        self._hint_timer.stop()
        self.hint_may_have_changed()
        self.tool_changed.emit(name)
        if self.pointer is not None:
            self.current_tool.move(self.pointer)
        self.redraw()

    use_tool = set_tool

    def pick_points(self, count: int, text: str) -> None:
        """Ask for points of the body, `count` of them or (0) until Enter; points_picked follows."""
        cast(PickPointsTool, self._tools["pick points"]).start(count, text)
        self.set_tool("pick points")
        self.hint_may_have_changed()

    def set_measuring(self, kind: MeasureKind) -> None:
        """Take the measuring tool for one kind of measure."""
        self.set_tool("measure")
        cast(MeasureTool, self._tools["measure"]).take(kind)
        self.setFocus()

    def set_zone(self, purpose: Purpose, moved: int | None = None) -> None:
        """Ask for the place of the body where room for a purpose must stay free, or a zone shall go."""
        cast(ZoneTool, self._tools["zone"]).start(purpose, moved)
        self.set_tool("zone")
        self.setFocus()

    def place_part(self, part: PartGroup) -> None:
        """Hang a part at the pointer until it is placed or left."""
        self.set_tool("part")
        cast(PartTool, self._tools["part"]).start(part)
        if self.pointer is not None:
            self.current_tool.move(self.pointer)
        self.setFocus()

    def points_were_picked(self, points: list[object]) -> None:
        self.points_picked.emit(points)

    def lay_along(self, wish: Wish | None) -> None:
        self.laying_wanted.emit(wish)

    def laying_has_changed(self, state: object) -> None:
        self.laying_changed.emit(state)

    def stand_off_selection(self) -> None:
        """Move the selected nodes off the nearest metal, to the stand-off wanted."""
        session, solid = self.session, self.outlook.solid
        nodes = session.layout.nodes
        free = [id for id in session.selection & nodes.keys() if nodes[id].landing is None]
        if solid.is_empty or not free:
            self.say("Select a corner or a free end first; it is moved off the body.")
            return
        outlook, limits = self.outlook, session.layout.limits

        def moved(layout: Layout) -> Layout:
            for id in free:
                offset = riding.offset_of(layout, id) or limits.standoff_wanted + placing.half_od(layout, id)
                layout = edits.place_node(layout, id, placing.stood_off(outlook, id, offset))
            return layout

        session.apply("Move to the stand-off", moved)

    def ride_selection(self) -> None:
        """Let the selected nodes and tubes keep the stand-off wanted while they are moved, or no longer."""
        session = self.session
        layout = session.layout
        nodes = {id for id in session.selection if id in layout.nodes}
        nodes |= {node for id in session.selection if id in layout.tubes for node in layout.tubes[id].nodes}
        free = [id for id in sorted(nodes) if layout.nodes[id].landing is None]
        if not free or self.outlook.solid.is_empty:
            self.say("Select a corner, a free end or a tube beside the body first.")
            return
        if all(layout.nodes[id].standoff is not None for id in free):
            session.apply("Let go of the body", lambda now: edits.set_node_standoff(now, free, None))
            return
        outlook, standoff = self.outlook, layout.limits.standoff_wanted

        def kept(now: Layout) -> Layout:
            return riding.kept_off(outlook, edits.set_node_standoff(now, free, standoff), free)

        session.apply("Ride on the body", kept)

    def insert_node(self) -> None:
        """Insert a node on the leg under the pointer, or on the selected tube's longest leg."""
        self.select_tool.insert()

    @property
    def hint(self) -> str:
        return self._hint

    def hint_may_have_changed(self) -> None:
        if not self._hint_timer.isActive():
            self._tell(self.current_tool.hint())

    def say(self, sentence: str) -> None:
        """Show a sentence in the hint line for a while."""
        self._hint_timer.start()
        self._tell(sentence)

    def _on_said(self) -> None:
        self.hint_may_have_changed()

    def _tell(self, hint: str) -> None:
        if hint != self._hint:
            self._hint = hint
            self.hint_changed.emit(hint)

    def hover(self, id: int | None) -> None:
        if id != self._hovered:
            self._hovered = id
            is_arrow = self.current_tool.cursor == Qt.CursorShape.ArrowCursor
            self.setCursor(Qt.CursorShape.PointingHandCursor if id and is_arrow else self.current_tool.cursor)
            self.scene.emphasise(self.session.selection, id)
            self.redraw()

    @property
    def stock(self) -> Stock | None:
        """The tube size for new tubes: the chosen one, or the first of the rack."""
        stocks = self.session.layout.stocks
        if self.current_stock in stocks:
            return stocks[self.current_stock]
        return next(iter(stocks.values()), None)

    @property
    def outlook(self) -> Outlook:
        """What can be pointed at now."""
        return self._lookout.over(self.session.layout, self._camera, self._size, self.navigation.is_moving)

    def to_screen(self, point: Vec3) -> Xy:
        screen, _ = cameras.project(self._camera, self._size, np.array([point]))
        return float(screen[0, 0]), float(screen[0, 1])

    def scale_at(self, point: Vec3) -> float:
        """Return pixels per mm at a point."""
        _, depth = cameras.project(self._camera, self._size, np.array([point]))
        return cameras.pixels_per_mm(self._camera, self._size, float(depth[0]))

    def length(self, mm: float) -> str:
        return unit_text.format_length(mm, self.units)

    def badge_size(self, number: str, words: str) -> tuple[float, float]:
        return self._badge_size(number, words, False)

    def _badge_size(self, number: str, words: str, has_sign: bool) -> tuple[float, float]:
        size = self.overlay.badge_size(number, words, has_sign)
        return size.width(), size.height()

    def _pivot_at(self, x: float, y: float) -> Vec3:
        """Return the point under the pointer; in empty space one as deep as what is looked at."""
        outlook = self.outlook
        ray = outlook.ray(x, y)
        metal = outlook.body_at(ray)
        tubes = picking.tubes_at(outlook.sight, x, y)
        found = [metal.point] if metal is not None else []
        found += [tubes[0].point] if tubes else []
        if found:
            return min(found, key=lambda point: float(np.dot(np.subtract(point, ray.origin), ray.direction)))
        bounds = self.scene.bounds()
        middle = self._camera.focus if bounds is None else vec((bounds[0] + bounds[1]) / 2.0)
        return cameras.on_view_plane(self._camera, ray, middle)

    # -- frames -------------------------------------------------------------------

    def redraw(self) -> None:
        """Ask for a frame; many requests make one."""
        if not self.is_shut and not self._frame_timer.isActive():
            self._frame_timer.start(0)

    def _prepare_frame(self) -> None:
        """Bring pointer, scene and labels up to date, then let Qt paint."""
        if self.is_shut:
            return
        if not self._has_waited:
            self.settle_pending()
            # The check of what is dragged may come at once: then labels need not turn pale first.
            if self._annotator.is_behind and self.session.is_previewing:
                self._has_waited = True
                self._frame_timer.start(REPORT_WAIT)
                return
        self._has_waited = False
        self._frame_timer.stop()  # what was just settled asked for the frame that is being made
        self._show_layout()
        if self._drawn_without_card != self.viewport.is_software:  # known from the first frame on
            self._lighten_body()
        self.scene.set_pale(self._twins_of_what_is_laid())
        self.scene.place_camera(self._camera)
        self.overlay.set_marks(tuple(self._marks()))
        self._set_smooth(not self.viewport.is_software)
        self.viewport.update()
        self._rest_timer.start()
        if self.has_pending:
            self.redraw()

    def _twins_of_what_is_laid(self) -> frozenset[int]:
        """Return the tubes that appear on the other side while one is laid."""
        if not self.session.is_previewing or self.current_tool.name not in ("tube", "follow"):
            return frozenset()
        new = self.session.layout.tubes.keys() - self.session.recorded.tubes.keys()
        return frozenset(new - {min(new)}) if new else frozenset()

    def _show_layout(self) -> None:
        if self.scene.layout is not self.session.layout:
            before = self.scene.layout
            self.scene.show(self.session.layout)
            if before.panels is not self.session.layout.panels:
                self._lighten_body()

    def _on_rest(self) -> None:
        """Ask anew what metal hides, and smooth the edges: too slow for each frame of a moving camera."""
        if self._was_moving:
            self._was_moving = False
            self._lookout.forget()
            self.overlay.set_marks(tuple(self._marks()))
        if self.held is None and self.viewport.is_software and not self._renderer.GetUseFXAA():
            self._set_smooth(True)
            self.viewport.update()

    def _set_smooth(self, is_smooth: bool) -> None:
        self._renderer.SetUseFXAA(is_smooth)

    def _lighten_body(self) -> None:
        """Have a stand-in made for a body that is too large to draw smoothly."""
        layout = self.session.layout
        drawn = [panel for panel in layout.panels.values() if panel.kept and panel.shown]
        count = sum(len(panel.mesh.triangles) for panel in drawn)
        self._drawn_without_card = self.viewport.is_software
        most = DRAWN_TRIANGLES if self._drawn_without_card else DRAWN_BY_CARD
        if count <= most:
            self._decimation.stop()
            return
        heavy = [panel.mesh for panel in drawn if not self.scene.has_proxy(panel.mesh)]
        self._decimation.start(heavy, most / count)

    def _on_decimated(self, mesh: Mesh, points: Floats, triangles: np.ndarray) -> None:
        self.scene.add_proxy(mesh, points, triangles)
        self.redraw()

    def _marks(self) -> list[Mark]:
        grid = self._grid_unit if self._shows_grid else None
        at = self.legend.geometry()
        covered = [Rect(at.x(), at.y(), at.width(), at.height())] if self.legend.isVisible() else []
        for at in (card.geometry() for card in self._cards if card.isVisible()):
            covered.append(Rect(at.x(), at.y(), at.width(), at.height()))
        own = self.current_tool.marks()
        layout, chosen, room = self.session.layout, self.session.selection, self.outlook.shown.bounds
        own = aids_drawn.names(layout, chosen, self._hovered, self.to_screen, room) + own
        marks = self._annotator.marks(self.outlook, self._hovered, own, grid, covered)
        marks = self._measures.marks(self.outlook, self.units, marks, covered)
        marks += self._points_drawn.marks(self.outlook, marks, covered)
        if self.navigation.pivot is not None and self.held is not None:
            marks.append(Spot(self.to_screen(self.navigation.pivot), True))
        if len(self._ring):
            marks.append(Stroke(tuple(self.to_screen(vec(point)) for point in self._ring), "text", 2.0))
        if self._colouring == "sides":
            marks += self._side_words()
        if self.shows_focus:
            marks.append(self._focus_frame())
        return marks

    def _focus_frame(self) -> Stroke:
        right, bottom = self._size.width - 1.5, self._size.height - 1.5
        return Stroke(((1.5, 1.5), (right, 1.5), (right, bottom), (1.5, bottom), (1.5, 1.5)), "accent", 2.0)

    # -- the session --------------------------------------------------------------

    def _on_changed(self, before: Layout, after: Layout) -> None:
        if before.panels is not after.panels or before.bodies is not after.bodies:
            self._lookout.forget()
            is_untouched = self._fitted is not None and self._camera == self._fitted
            # A body that came in, or that changes its size while nobody has looked round yet, is fitted.
            is_other = before.bodies is not after.bodies or _whole(before) != _whole(after)
            self._needs_fit |= (is_untouched and is_other) or bool(after.panels and not before.panels)
        if self._needs_fit and (after.panels or after.tubes or after.axles):
            self.fit()
        self.redraw()

    def _on_committed(self, _layout: Layout) -> None:
        self.current_tool.layout_changed()
        if self._colouring == "sides":
            self._show_sides()
        self.hint_may_have_changed()

    def _on_step(self, index: int) -> None:
        """Say so where a new step changed the other side as well."""
        (before_index, before), now = self._stepped, self.session.recorded
        self._stepped = (index, now)
        is_whole = self.session.undo_stack.undoText().startswith("Go back")
        if index > before_index and not is_whole and _is_on_both_sides(before, now):
            self.say(f"{self.session.undo_stack.undoText()}, on both sides.")

    def _on_selection_changed(self, selection: frozenset[int]) -> None:
        self._show_layout()
        self.scene.emphasise(self.session.selection, self._hovered)
        self.hint_may_have_changed()
        self.redraw()

    def _on_opened(self) -> None:
        self._annotator.start_anew()
        self._stepped = (0, self.session.recorded)
        self._openings = {}
        self.scene.set_openings({})
        self._profiles, self._tints = {}, {}
        self._show_tints()
        self.scene.movers.start_anew()
        self.scene.aids.set_in_the_way(frozenset())
        self._needs_fit = True
        self.set_tool("select")
        self.fit()

    def _on_moved(self, _camera: Camera) -> None:
        self._was_moving = True
        self.redraw()
        self.camera_changed.emit()

    # -- Qt ------------------------------------------------------------------------

    @guarded()
    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self.viewport.setGeometry(self.rect())
        self.overlay.setGeometry(self.rect())
        self._place_legend()
        self.navigation.size = self._size
        if self._fitted is not None and self._camera == self._fitted:  # fitted, and not moved since
            self._fitted = cameras.fitted(self._camera, self._size, self._fit_points())
            self.navigation.set(self._fitted)
        self.redraw()


def _whole(layout: Layout) -> dict[int, tuple[Mesh, bool]]:
    """Return what the body is made of, whether panels are trimmed or open or not."""
    return {id: (panel.whole, panel.kept and panel.shown) for id, panel in layout.panels.items()}


def _is_on_both_sides(before: Layout, now: Layout) -> bool:
    """Whether nodes and their twins came, went or moved alike."""

    def has_changed(id: int) -> bool:
        places = [layout.nodes[id].position if id in layout.nodes else None for layout in (before, now)]
        return places[0] != places[1]

    if before.nodes is now.nodes:
        return False
    nodes = {**before.nodes, **now.nodes}.values()
    return any(
        node.twin not in (None, node.id) and has_changed(node.id) and has_changed(node.twin) for node in nodes
    )


class _Tinted(Struct, frozen=True, eq=False):
    """A tube's tint, and what it was worked out from."""

    profile: "Profile"
    tube: Tube
    limits: Limits
    panels: dict[int, Panel]
    tint: Tint | None


def _has_own_standoff(layout: Layout) -> bool:
    own: tuple[Tube | Panel, ...] = (*layout.tubes.values(), *layout.panels.values())
    return any(one.standoff_closest is not None or one.standoff_farthest is not None for one in own)
