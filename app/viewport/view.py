"""The room: the scene with its labels, the tools, and the way one looks round. The rest is furniture."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, cast

import numpy as np
from msgspec.structs import replace
from PySide6.QtCore import QEvent, QPoint, Qt, QTimer, Signal
from PySide6.QtGui import (
    QContextMenuEvent,
    QEnterEvent,
    QFocusEvent,
    QKeyEvent,
    QMouseEvent,
    QResizeEvent,
    QWheelEvent,
)
from PySide6.QtWidgets import QWidget
from vtkmodules.vtkRenderingCore import vtkRenderer

from app import units as unit_text
from app.guarded import guarded
from app.session import Session
from app.units import Units
from app.viewport import annotations, colours, picking, picture
from app.viewport import camera as cameras
from app.viewport.annotations import Fact
from app.viewport.camera import Camera, Side, Size
from app.viewport.colours import Band
from app.viewport.labels import Rect
from app.viewport.lines import of_all
from app.viewport.marks import Badge, Mark, Shape, Sign, Spot, Whisper, Xy
from app.viewport.navigation import Motion, Navigation
from app.viewport.overlay import Overlay
from app.viewport.placing import Outlook
from app.viewport.point_tools import MeasureTool, NodeTool, PickPointsTool, SplitTool
from app.viewport.proxy import DRAWN_TRIANGLES, Decimation
from app.viewport.scene import Axis, Cut, Scene
from app.viewport.select_tool import SelectTool
from app.viewport.surface import Surface
from app.viewport.tools import Key, Pointer, Tool, ToolName
from app.viewport.tube_tool import TubeTool
from app.viewport.viewport import has_opengl, make_viewport
from geometry.layout import Layout, Mesh, Stock
from geometry.vectors import Floats, Vec3, vec

if TYPE_CHECKING:
    from geometry.checks.findings import Report

SAID_FOR = 4000  # ms that a refusal stays in the hint line
REPORT_WAIT = 10  # ms that a frame waits for the check of what it shows
REST = 220  # ms without a change after which the picture is smoothed
SEE_THROUGH = 0.85  # below this opacity what lies behind the metal can be picked
INVISIBLE = 0.02
MOST_ASKED = 60  # nodes that may be asked for in each frame of a moving camera whether metal hides them
METRIC_STEP, IMPERIAL_STEP = 5.0, 25.4 / 4.0  # mm; how far an arrow key moves the selection
KEY_ORBIT = 0.26  # radians
KEY_PAN = 60.0  # pixels
AXIS_KEYS: dict[int, str] = {Qt.Key.Key_X: "x", Qt.Key.Key_Y: "y", Qt.Key.Key_Z: "z"}
ARROWS: dict[int, tuple[float, float]] = {
    Qt.Key.Key_Left: (-1.0, 0.0),
    Qt.Key.Key_Right: (1.0, 0.0),
    Qt.Key.Key_Up: (0.0, -1.0),
    Qt.Key.Key_Down: (0.0, 1.0),
}


class View(QWidget):
    """Shows the session's layout and lets it be edited by pointing."""

    hint_changed = Signal(str)
    tool_changed = Signal(str)
    points_picked = Signal(list)  # PickedPoint: point, panel, triangle; empty when it was called off
    context_menu_wanted = Signal(QPoint, object)  # global place, frozenset of ids
    camera_changed = Signal()

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
        self.held_axis: str | None = None
        self.pointer: Pointer | None = None
        self.current_stock: int | None = None
        self._is_shut = False
        self._theme = colours.LIGHT
        self._shows_grid, self._opacity, self._cut = True, 1.0, cast(Cut | None, None)
        self._report: Report | None = None
        self._report_revision = -1
        self._oldest_revision = session.revision
        self._hovered: int | None = None
        self._hint = ""
        self._places: dict[object, int] = {}
        self._outlook: Outlook | None = None
        self._surfaces: tuple[object, Surface, Surface] | None = None
        self._needs_fit = True
        self._fitted: Camera | None = None
        self._turn = 0
        self._has_waited = False
        self._was_moving = False
        self._build(safe_graphics)
        self._tools: dict[ToolName, Tool] = {
            "select": SelectTool(self),
            "tube": TubeTool(self),
            "node": NodeTool(self),
            "split": SplitTool(self),
            "measure": MeasureTool(self),
            "pick points": PickPointsTool(self),
        }
        self._tool = self._tools["select"]
        self._held: str | None = None  # "tool", or the button that may start to move the camera
        self._press: Pointer | None = None
        self._pending: Pointer | None = None
        self._own_change = False
        self.nudge_step = METRIC_STEP
        self.set_units(units)
        self._connect()
        self._on_changed(Layout(), session.layout)
        self._fitted = self._camera
        self._hint = self._tool.hint()

    def _build(self, safe_graphics: bool) -> None:
        self.setMouseTracking(True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
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
        self.navigation.moved.connect(self._on_moved)
        self._decimation.done.connect(self._on_decimated)

    # -- what the window sets -----------------------------------------------------

    def set_theme(self, dark: bool) -> None:
        self._theme = colours.theme(dark)
        self.scene.set_theme(self._theme)
        self.overlay.set_theme(self._theme)
        self.redraw()

    def set_units(self, units: Units) -> None:
        self.units = units
        is_metric = units.length == "mm"
        self.nudge_step = METRIC_STEP if is_metric else IMPERIAL_STEP
        self.scene.set_grid(self._shows_grid, "metric" if is_metric else "imperial")
        self.redraw()

    @property
    def nudge_step(self) -> float:
        """How far an arrow key moves the selection, in mm."""
        return cast(SelectTool, self._tools["select"]).step

    @nudge_step.setter
    def nudge_step(self, step: float) -> None:
        cast(SelectTool, self._tools["select"]).step = step

    def show_report(self, revision: int, report: "Report") -> None:
        """Show what a check found; one older than what is shown is dropped."""
        if revision < self._report_revision or revision < self._oldest_revision:
            return
        self._report, self._report_revision = report, revision
        self.redraw()
        if self._has_waited and revision == self.session.revision:
            self._frame_timer.start(0)

    def set_parallel(self, is_parallel: bool) -> None:
        self.navigation.set(replace(self.navigation.camera, is_parallel=is_parallel))

    @property
    def is_parallel(self) -> bool:
        return self.navigation.camera.is_parallel

    def set_body_opacity(self, opacity: float) -> None:
        self._opacity = opacity
        self.scene.set_body_opacity(opacity)
        self._outlook = self._surfaces = None
        self.redraw()

    def set_section(self, axis: Axis | None, offset: float = 0.0) -> None:
        """Cut the body: what lies beyond the offset along the axis is not drawn."""
        self._cut = None if axis is None else Cut(axis, offset)
        self.scene.set_cut(self._cut)
        self._outlook = None
        self.redraw()

    def set_grid(self, shown: bool) -> None:
        self._shows_grid = shown
        self.scene.set_grid(shown, "metric" if self.units.length == "mm" else "imperial")
        self.redraw()

    def set_figure(self, shown: bool) -> None:
        """Stand a person-high figure beside the body."""
        self.scene.set_figure(shown)
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
        if self._is_shut:
            return
        self._is_shut = True
        self._tool.leave()
        for timer in (self._frame_timer, self._rest_timer, self._hint_timer):
            timer.stop()
        self.navigation.land()
        self._decimation.stop()
        self.viewport.shutdown()

    # -- tools --------------------------------------------------------------------

    @property
    def tool(self) -> str:
        return self._tool.name

    def set_tool(self, name: ToolName) -> None:
        """Take a tool; what another tool had not recorded is put back."""
        if name == self._tool.name:
            return
        self._settle_pending()
        self._tool.leave()
        self._held = None
        self._tool = self._tools[name]
        self.hover(None)
        self.setCursor(self._tool.cursor)
        self.hint_may_have_changed()
        self.tool_changed.emit(name)
        if self.pointer is not None:
            self._tool.move(self.pointer)
        self.redraw()

    use_tool = set_tool

    def pick_points(self, count: int, text: str) -> None:
        """Ask for points of the body, `count` of them or (0) until Enter; points_picked follows."""
        cast(PickPointsTool, self._tools["pick points"]).start(count, text)
        self.set_tool("pick points")
        self.hint_may_have_changed()

    def points_were_picked(self, points: list[object]) -> None:
        self.points_picked.emit(points)

    def delete_selection(self) -> None:
        cast(SelectTool, self._tools["select"]).delete()

    def insert_node(self) -> None:
        """Insert a node on the leg under the pointer, or on the selected tube's longest leg."""
        cast(SelectTool, self._tools["select"]).insert()

    @property
    def hint(self) -> str:
        return self._hint

    def hint_may_have_changed(self) -> None:
        if not self._hint_timer.isActive():
            self._tell(self._tool.hint())

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
            is_arrow = self._tool.cursor == Qt.CursorShape.ArrowCursor
            self.setCursor(Qt.CursorShape.PointingHandCursor if id and is_arrow else self._tool.cursor)
            self.scene.emphasise(self._emphasised(), id)
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
        layout, camera, size = self.session.layout, self._camera, self._size
        known = self._outlook
        if known is not None:
            sight = known.sight
            if sight.layout is layout and sight.camera is camera and sight.size == size:
                return known
        shown, solid = self._body_surfaces()
        sees_through = self._opacity < SEE_THROUGH
        sight = picking.look(layout, camera, size)
        self._outlook = Outlook(sight, shown, solid, self._cut, sees_through, self._seen_before(known, shown))
        return self._outlook

    def _seen_before(self, known: Outlook | None, shown: Surface) -> dict[tuple[Vec3, float], bool]:
        """Return what is known to be hidden: all of it under the same camera, most of it while that moves."""
        if known is None or known.shown is not shown or known.cut != self._cut:
            return {}
        if known.sight.camera is self._camera and known.sight.size == self._size:
            return known.seen
        if self.navigation.is_moving and len(known.seen) > MOST_ASKED:
            # A frame asks anew for a quarter only, in turn; after the last move all are asked.
            self._turn = (self._turn + 1) % 4
            return {
                key: is_seen for i, (key, is_seen) in enumerate(known.seen.items()) if i % 4 != self._turn
            }
        return {}

    def _body_surfaces(self) -> tuple[Surface, Surface]:
        """Return the metal that can be pointed at, and all the metal; rebuilt only when it changed."""
        layout = self.session.layout
        solid = [panel for panel in layout.panels.values() if panel.kept]
        shown = [panel for panel in solid if panel.shown] if self._opacity > INVISIBLE else []
        key = (
            tuple((id(p.mesh), p.shown, layout.bodies[p.body].placement) for p in solid),
            self._opacity > INVISIBLE,
        )
        if self._surfaces is None or self._surfaces[0] != key:
            whole = Surface(layout, solid)
            seen = whole if len(shown) == len(solid) else Surface(layout, shown)
            self._surfaces = (key, seen, whole)
        return self._surfaces[1], self._surfaces[2]

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
        if not self._is_shut and not self._frame_timer.isActive():
            self._frame_timer.start(0)

    def _prepare_frame(self) -> None:
        """Bring pointer, scene and labels up to date, then let Qt paint."""
        if self._is_shut:
            return
        if not self._has_waited:
            self._settle_pending()
            if self._is_report_near():
                self._has_waited = True
                self._frame_timer.start(REPORT_WAIT)
                return
        self._has_waited = False
        self._frame_timer.stop()  # what was just settled asked for the frame that is being made
        self._show_layout()
        self.scene.place_camera(self._camera)
        self.overlay.set_marks(tuple(self._marks()))
        self._set_smooth(not self.viewport.is_software)
        self.viewport.update()
        self._rest_timer.start()
        if self._pending is not None:
            self.redraw()

    def _is_report_near(self) -> bool:
        """Whether the check of what is dragged may come at once: then labels need not turn pale first."""
        is_behind = self._report_revision < self.session.revision
        return self._report is not None and is_behind and self.session.is_previewing

    def _show_layout(self) -> None:
        if self.scene.layout is not self.session.layout:
            before = self.scene.layout
            self.scene.show(self.session.layout)
            if before.panels is not self.session.layout.panels:
                self._lighten_body()

    def _on_rest(self) -> None:
        """Smooth the edges once nothing moves: too slow for each frame without a graphics card."""
        if self._held is not None or self.navigation.is_moving:
            return
        if self._outlook is not None and self._was_moving:
            self._was_moving, self._outlook = False, None
            self.overlay.set_marks(tuple(self._marks()))
        if self.viewport.is_software and not self._renderer.GetUseFXAA():
            self._set_smooth(True)
            self.viewport.update()

    def _set_smooth(self, is_smooth: bool) -> None:
        self._renderer.SetUseFXAA(is_smooth)

    def _lighten_body(self) -> None:
        """Have a stand-in made for a body that is too large to draw smoothly."""
        layout = self.session.layout
        drawn = [panel for panel in layout.panels.values() if panel.kept and panel.shown]
        count = sum(len(panel.mesh.triangles) for panel in drawn)
        if count <= DRAWN_TRIANGLES:
            self._decimation.stop()
            return
        heavy = [panel.mesh for panel in drawn if not self.scene.has_proxy(panel.mesh)]
        self._decimation.start(heavy, DRAWN_TRIANGLES / count)

    def _on_decimated(self, mesh: Mesh, points: Floats, triangles: np.ndarray) -> None:
        self.scene.add_proxy(mesh, points, triangles)
        self.redraw()

    def _marks(self) -> list[Mark]:
        camera, size, layout = self._camera, self._size, self.session.layout
        outlook = self.outlook
        labelled = self._labelled(layout)
        followed = frozenset(node for id in labelled for node in layout.tubes[id].nodes)
        tool_marks = self._tool.marks()
        taken = [mark.rect for mark in tool_marks if isinstance(mark, Badge)]
        marks = annotations.axis_marks(camera, size)
        if self._shows_grid:
            text = "grid 1 m" if self.units.length == "mm" else "grid 1 ft, 5 ft"
            marks.append(Whisper((size.width - 60.0, size.height - 14.0), text, "faint", True))
        marks += annotations.corner_lines([of_all(layout)[id] for id in labelled], self.to_screen)
        marks += annotations.node_dots(outlook, self.session.selection, self._hovered, followed)
        marks += self._fact_marks(layout, labelled, taken)
        if self.navigation.pivot is not None and self._held is not None:
            marks.append(Spot(self.to_screen(self.navigation.pivot), True))
        return marks + tool_marks

    def _fact_marks(self, layout: Layout, labelled: list[int], taken: list[Rect]) -> list[Mark]:
        """Return badges for the labelled tubes, and for the others signs alone."""
        signs: list[tuple[Vec3, Shape]] = []
        facts: list[Fact] = []
        lines = of_all(layout)
        for id, tube in layout.tubes.items():
            bad = annotations.bend_facts(layout, tube, lines[id], self.length)
            if id in labelled:
                facts += bad
            else:
                signs += [(fact.at, "bad") for fact in bad]
        is_old = self._report_revision < self.session.revision
        if self._report is not None:
            band = _bands(layout)
            facts += annotations.clearance_facts(layout, self._report, labelled, band, self.length, is_old)
            signs += annotations.close_signs(layout, self._report, labelled, band)
        marks, self._places = annotations.written(
            facts, self._camera, self._size, self._badge_size, self._places, taken
        )
        alone: list[Mark] = [
            Sign(self.to_screen(at), shape, 6.0, is_old and shape != "bad")
            for at, shape in signs
            if self.outlook.is_visible(at, annotations.NEAR_ENOUGH)
        ]
        return alone + marks

    def _labelled(self, layout: Layout) -> list[int]:
        """Return the tubes that show their clearance: selected, dragged, being laid or under the pointer."""
        chosen = set(self.session.selection & layout.tubes.keys())
        nodes = self.session.selection & layout.nodes.keys()
        if self.session.is_previewing:
            nodes |= changed_nodes(self.session.recorded, layout)
            chosen |= {
                id for id, tube in layout.tubes.items() if self.session.recorded.tubes.get(id) is not tube
            }
        if nodes:
            chosen |= {id for id, tube in layout.tubes.items() if not nodes.isdisjoint(tube.nodes)}
        if self._hovered in layout.tubes:
            chosen.add(self._hovered)
        return sorted(chosen)

    def _emphasised(self) -> frozenset[int]:
        return self.session.selection

    # -- the session --------------------------------------------------------------

    def _on_changed(self, before: Layout, after: Layout) -> None:
        if before.panels is not after.panels or before.bodies is not after.bodies:
            self._outlook = None
            is_untouched = self._fitted is not None and self._camera == self._fitted
            # A body that came in, or that changes its size while nobody has looked round yet, is fitted.
            self._needs_fit |= is_untouched or bool(after.panels and not before.panels)
        if self._needs_fit and (after.panels or after.tubes):
            self.fit()
        self.redraw()

    def _on_committed(self, _layout: Layout) -> None:
        self._tool.layout_changed()
        self.hint_may_have_changed()

    def _on_selection_changed(self, selection: frozenset[int]) -> None:
        self._show_layout()
        self.scene.emphasise(self._emphasised(), self._hovered)
        self.hint_may_have_changed()
        self.redraw()

    def _on_opened(self) -> None:
        self._report, self._report_revision = None, -1
        self._oldest_revision = self.session.revision
        self._places = {}
        self._needs_fit = True
        self.set_tool("select")
        self.fit()

    def _on_moved(self, _camera: Camera) -> None:
        self._was_moving = True
        self.redraw()
        self.camera_changed.emit()

    # -- Qt events ----------------------------------------------------------------

    @guarded()
    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self.viewport.setGeometry(self.rect())
        self.overlay.setGeometry(self.rect())
        self.navigation.size = self._size
        if self._fitted is not None and self._camera == self._fitted:  # fitted, and not moved since
            self._fitted = cameras.fitted(self._camera, self._size, self._fit_points())
            self.navigation.set(self._fitted)
        self.redraw()

    @guarded()
    def mousePressEvent(self, event: QMouseEvent) -> None:
        self._settle_pending()
        if self._held is not None:
            return
        self._press = self.pointer = pointer = _pointer(event)
        self.navigation.land()
        if event.button() == Qt.MouseButton.LeftButton:
            self._held = "tool" if self._tool.press(pointer) else "left"
        elif event.button() == Qt.MouseButton.RightButton:
            self._held = "right"
        elif event.button() == Qt.MouseButton.MiddleButton:
            self._begin("pan", pointer)
        self.redraw()

    @guarded()
    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        self._settle_pending()
        if event.button() == Qt.MouseButton.LeftButton and self._tool.double_click(_pointer(event)):
            self._held = "done"
            self.redraw()
            return
        self.mousePressEvent(event)

    @guarded()
    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        # Only the newest place counts: the work is done once a frame.
        self._pending = _pointer(event)
        self.redraw()

    @guarded()
    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        held, pointer = self._held, _pointer(event)
        if held is None or event.button() != _button(held, self.navigation.motion):
            return
        if self._press is not None and (pointer.x, pointer.y) != (self._press.x, self._press.y):
            self._pending = pointer
        self._settle_pending()
        held, self._held = self._held, None
        self.navigation.end()
        if held == "tool":
            self._tool.release(pointer)
        elif held == "left":
            self._tool.click(pointer)
        elif held == "right":
            self._ask_for_menu(pointer)
        self.hint_may_have_changed()
        self.redraw()

    def _settle_pending(self) -> None:
        """Act on the newest place of the pointer."""
        pointer, self._pending = self._pending, None
        if pointer is None or self._is_shut:
            return
        self.pointer = pointer
        if self._held == "tool":
            self._tool.drag(pointer)
        elif self._held in ("left", "right"):
            if self._press is not None and pointer.is_far_from(self._press):
                is_pan = self._held == "right" and self._press.shift
                self._begin("pan" if is_pan else "orbit", self._press, self._held)
                self.navigation.drag(pointer.x, pointer.y)
        elif self.navigation.motion is not None:
            self.navigation.drag(pointer.x, pointer.y)
        elif self._held is None:
            self._tool.move(pointer)

    def _begin(self, motion: Motion, at: Pointer, button: str = "middle") -> None:
        self._held = f"camera {button}"
        self.hover(None)
        self.navigation.begin(motion, at.x, at.y)

    def _ask_for_menu(self, pointer: Pointer) -> None:
        found = cast(SelectTool, self._tools["select"]).under(pointer)
        if found is not None and found not in self.session.selection and not self.session.is_previewing:
            self.session.select({found})
        ids = frozenset() if found is None else self.session.selection
        self.context_menu_wanted.emit(self.mapToGlobal(QPoint(round(pointer.x), round(pointer.y))), ids)

    @guarded()
    def contextMenuEvent(self, event: QContextMenuEvent) -> None:
        # A right press may become an orbit, so the mouse asks for the menu at its release.
        if event.reason() != QContextMenuEvent.Reason.Mouse:
            self.context_menu_wanted.emit(self.mapToGlobal(self.rect().center()), self.session.selection)
        event.accept()

    @guarded()
    def wheelEvent(self, event: QWheelEvent) -> None:
        self._settle_pending()
        place = event.position()
        if event.angleDelta().y():
            self.navigation.wheel(place.x(), place.y(), float(event.angleDelta().y()))
        event.accept()

    @guarded()
    def leaveEvent(self, event: QEvent) -> None:
        if self._held is None:
            self._pending = self.pointer = None
            self._tool.move(None)
            self.redraw()

    @guarded()
    def enterEvent(self, event: QEnterEvent) -> None:
        super().enterEvent(event)

    @guarded(False)
    def event(self, event: QEvent) -> bool:
        if event.type() == QEvent.Type.ShortcutOverride:
            key = _key(cast(QKeyEvent, event))
            if self._tool.wants(key) or (self._takes_axis() and key.code in AXIS_KEYS and not key.ctrl):
                event.accept()
                return True
        return bool(super().event(event))

    def _takes_axis(self) -> bool:
        """Whether X, Y and Z hold an axis now: while dragging, and while laying a tube."""
        tool = self._tool
        return (isinstance(tool, SelectTool) and self._held == "tool") or (
            isinstance(tool, TubeTool) and tool.is_drawing
        )

    @guarded()
    def keyPressEvent(self, event: QKeyEvent) -> None:
        self._settle_pending()
        key = _key(event)
        if self._takes_axis() and key.code in AXIS_KEYS and not key.ctrl:
            if not event.isAutoRepeat():
                self._hold_axis(AXIS_KEYS[key.code])
            return
        if self._tool.key(key) or self._look_by_key(key):
            self.redraw()
            return
        event.ignore()

    def _hold_axis(self, axis: str | None) -> None:
        self.held_axis = axis
        self._tool.axis_changed()
        self.redraw()

    @guarded()
    def keyReleaseEvent(self, event: QKeyEvent) -> None:
        if event.isAutoRepeat():
            return
        key = _key(event)
        if key.code in AXIS_KEYS and AXIS_KEYS[key.code] == self.held_axis:
            self._settle_pending()
            self._hold_axis(None)
        self._tool.key_released(key)

    def _look_by_key(self, key: Key) -> bool:
        """Orbit with the arrows, pan with Ctrl, zoom with plus and minus."""
        if key.code in ARROWS:
            dx, dy = ARROWS[key.code]
            if key.ctrl:
                self.navigation.shift(-dx * KEY_PAN, -dy * KEY_PAN)
            else:
                self.navigation.step(dx * KEY_ORBIT, -dy * KEY_ORBIT, self._camera.focus)
            return True
        if key.text in ("+", "=", "-"):
            self.navigation.zoom(1.25 if key.text == "-" else 0.8)
            return True
        return False

    @guarded()
    def focusOutEvent(self, event: QFocusEvent) -> None:
        super().focusOutEvent(event)
        self.held_axis = None
        if event.reason() != Qt.FocusReason.PopupFocusReason and isinstance(self._tool, SelectTool):
            self._settle_pending()
            self._tool.leave()
            self._held = None if self._held == "tool" else self._held


def changed_nodes(before: Layout, after: Layout) -> frozenset[int]:
    """Return the nodes that are other objects than before."""
    if before.nodes is after.nodes:
        return frozenset()
    return frozenset(id for id, node in after.nodes.items() if before.nodes.get(id) is not node)


def _bands(layout: Layout) -> Callable[[float], Band]:
    from geometry.checks import clearance  # its kernels need not be there before the first report is

    return lambda gap: clearance.band(gap, layout.limits)


def _pointer(event: QMouseEvent) -> Pointer:
    place, keys = event.position(), event.modifiers()
    return Pointer(
        place.x(),
        place.y(),
        bool(keys & Qt.KeyboardModifier.ShiftModifier),
        bool(keys & Qt.KeyboardModifier.ControlModifier),
    )


def _key(event: QKeyEvent) -> Key:
    keys = event.modifiers()
    return Key(
        event.key(),
        event.text(),
        bool(keys & Qt.KeyboardModifier.ShiftModifier),
        bool(keys & (Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.AltModifier)),
    )


def _button(held: str, motion: Motion | None) -> Qt.MouseButton:
    """Return the button whose release ends what is held."""
    if held in ("right", "camera right"):
        return Qt.MouseButton.RightButton
    if held == "camera middle":
        return Qt.MouseButton.MiddleButton
    return Qt.MouseButton.LeftButton
