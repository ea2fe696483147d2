"""How a panel opens: rows for its hinge or slide, and a slider that opens it in the view."""

import math
from collections.abc import Callable, Iterable
from functools import partial

from PySide6.QtCore import QRect, Qt, Signal
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QLabel, QPushButton, QSlider, QWidget

from app import units as unit_text
from app import wording
from app.guarded import guarded
from app.panels.fields import AngleField, LengthField
from app.panels.rows import ChoiceBox, Rows
from app.session import Session
from app.units import Units
from geometry import hinges
from geometry.checks import moving
from geometry.checks.moving import Touch
from geometry.errors import GeometryError
from geometry.hinges import PanelEdge
from geometry.layout import Hinge, Layout, Motion, Slide
from geometry.vectors import Vec3

FIXED, HINGED, SLIDES, CARRIED = range(4)
KINDS = (
    (FIXED, "no: it is fixed"),
    (HINGED, "on a hinge"),
    (SLIDES, "slides"),
    (CARRIED, "with another panel"),
)
CHECKING = "Its way is being checked."
PLACES: tuple[tuple[str, PanelEdge], ...] = (
    ("Front edge", "front"),
    ("Rear edge", "rear"),
    ("Top edge", "top"),
    ("Bottom edge", "bottom"),
)
FIRST_SLIDE = 600.0  # mm back; a start, to be changed
STEPS = 500  # of the slider
AXES = ("x", "y", "z")
SlotFor = Callable[[int, float], object]


class BareLengthField(LengthField):
    """A length without its unit, where three stand side by side; their label names it."""

    def text_of(self, value: float) -> str:
        return unit_text.format_length(value, self._units, unit=False)


class PointFields(QWidget):
    """Three lengths side by side: x, y, z."""

    entered = Signal(object)  # Vec3

    def __init__(self, units: Units, name: str) -> None:
        super().__init__()
        line = QHBoxLayout(self)
        line.setContentsMargins(0, 0, 0, 0)
        line.setSpacing(4)
        self.fields = tuple(BareLengthField(units) for _ in AXES)
        for field, axis in zip(self.fields, AXES, strict=True):
            field.setAccessibleName(f"{name}, {axis}")
            field.setToolTip(f"{name}: {axis}. x runs forward, y to the left, z up.")
            field.entered.connect(self._on_entered)
            line.addWidget(field, 1)
        self.setFocusProxy(self.fields[0])

    def show_point(self, point: Vec3) -> None:
        for field, value in zip(self.fields, point, strict=True):
            field.set_value(value)

    def _on_entered(self) -> None:
        values = [field.value for field in self.fields]
        if all(value is not None for value in values):
            self.entered.emit(tuple(values))


class OpeningSlider(QSlider):
    """A slider with a notch where the panel first meets a tube."""

    def __init__(self) -> None:
        super().__init__(Qt.Orientation.Horizontal)
        self.setRange(0, STEPS)
        self.setPageStep(STEPS // 10)
        self.notch: float | None = None

    @property
    def opening(self) -> float:
        return self.value() / STEPS

    @guarded()
    def paintEvent(self, event: QPaintEvent) -> None:
        super().paintEvent(event)
        if self.notch is None:
            return
        painter = QPainter(self)
        handle = self.fontMetrics().height() // 2
        x = handle + round(self.notch * (self.width() - 2 * handle))
        painter.fillRect(QRect(x - 1, 0, 3, self.height()), self.palette().text())
        painter.end()


class MotionRows(Rows):
    """The rows of one panel."""

    pick_wanted = Signal(str)  # "two" points of a hinge, or an "edge"
    opening_moved = Signal(int, float)  # panel that has the motion, part of its way

    def __init__(self, session: Session, units: Units) -> None:
        super().__init__()
        self._session = session
        self._units = units
        self._panel = 0
        self._touches: tuple[Touch, ...] | None = None  # None: what is known is of another motion
        self._opened: dict[int, float] = {}
        self._column.setContentsMargins(0, 0, 0, 0)
        self.heading("Opens")
        self.kind = ChoiceBox()
        self.kind.activated.connect(self._on_kind)
        self.field("Opens", self.kind, "A door, bonnet or tailgate is checked on its way past all tubes.")
        self.carrier = ChoiceBox()
        self.carrier.activated.connect(self._on_carrier)
        self.field("Moves with", self.carrier, "Glass and handle go along with their door.")
        self._make_hinge(units)
        self.way = PointFields(units, "Way when open")
        self.way.entered.connect(self._on_way)
        tip = "How far it slides forward, left and up; a minus is back, right, down."
        self._point_names = {"Way": self.field("Way", self.way, tip)} | self._hinge_names
        self.other_way = QPushButton("Other way")
        self.other_way.setToolTip("Let it open to the other side.")
        self.other_way.clicked.connect(self._on_other_way)
        self.whole(self.other_way)
        self.slider = OpeningSlider()
        self.slider.valueChanged.connect(self._on_slider)
        self.field("Shown open", self.slider, "Open it in the view; nothing in the job changes.")
        self.result = self.words()

    def _make_hinge(self, units: Units) -> None:
        self.place = QComboBox()
        self.place.setPlaceholderText("choose an edge")
        for words, edge in PLACES:
            self.place.addItem(words, edge)
        self.place.activated.connect(self._on_place)
        self.field(
            "Hinge at", self.place, "Lay the hinge along an edge of the panel as it stands in the car."
        )
        self.picks = QWidget()
        line = QHBoxLayout(self.picks)
        line.setContentsMargins(0, 0, 0, 0)
        self.pick_two = QPushButton("Pick two points…")
        self.pick_two.setToolTip("Click the two ends of the hinge line in the view.")
        self.pick_edge = QPushButton("Pick an edge…")
        self.pick_edge.setToolTip("Click near a straight rim of the panel; the hinge is laid along it.")
        for button, what in ((self.pick_two, "two"), (self.pick_edge, "edge")):
            button.clicked.connect(partial(self.pick_wanted.emit, what))
            line.addWidget(button, 1)
        self.whole(self.picks)
        self.start, self.end = PointFields(units, "Hinge from"), PointFields(units, "Hinge to")
        self.start.entered.connect(self._on_ends)
        self.end.entered.connect(self._on_ends)
        self._hinge_names = {
            "From": self.field("From", self.start, "One end of the hinge line: x, y, z."),
            "To": self.field("To", self.end, "Its other end: x, y, z."),
        }
        self.angle = AngleField()
        self.angle.entered.connect(self._on_full)
        self.field("Opens by", self.angle, "From closed to fully open.")

    # What it shows

    def show_panel(self, layout: Layout, panel: int, units: Units) -> None:
        self._panel, self._units = panel, units
        for words, name in self._point_names.items():
            name.setText(f"{words}, {unit_text.length_unit(units)}")
        one = layout.panels[panel]
        motion, is_carried = one.motion, one.moves_with is not None
        kind = CARRIED if is_carried else FIXED if motion is None else HINGED
        if isinstance(motion, Slide):
            kind = SLIDES
        others = [(id, wording.one_line(p.name)) for id, p in layout.panels.items() if id != panel]
        self.kind.show_choices(KINDS if others else KINDS[:CARRIED], kind)
        self.carrier.show_choices(others, one.moves_with)
        self._show_rows(kind, moving.carrier_of(layout, panel).motion is not None)
        if isinstance(motion, Hinge):
            self.start.show_point(motion.start)
            self.end.show_point(motion.end)
            self.angle.set_value(abs(motion.angle))
            self.place.setCurrentIndex(self._edge_of(layout, motion))
        elif isinstance(motion, Slide):
            self.way.show_point(motion.shift)
        self._show_opening()

    def show_touches(self, touches: Iterable[Touch]) -> None:
        """Take what the checks found of all panels on their way, once they are through."""
        self._touches = tuple(touches)
        if self._panel in self._session.layout.panels:
            self._show_opening()

    def toggle(self) -> None:
        """Open the panel in the view, or close it."""
        self.slider.setValue(0 if self.slider.value() else STEPS)

    def forget_openings(self) -> None:
        self._opened = {}

    def _show_rows(self, kind: int, opens: bool) -> None:
        hinged = (self.place, self.picks, self.start, self.end, self.angle)
        shown = {
            **dict.fromkeys(hinged, kind == HINGED),
            self.carrier: kind == CARRIED,
            self.way: kind == SLIDES,
            self.other_way: kind in (HINGED, SLIDES),
            self.slider: opens,
            self.result: opens,
        }
        for widget, is_shown in shown.items():
            widget.setVisible(is_shown)
            for label in self.findChildren(QLabel):
                if label.buddy() is widget:
                    label.setVisible(is_shown)

    def _edge_of(self, layout: Layout, hinge: Hinge) -> int:
        """Return which of the places in the list a hinge is at; -1: none of them."""
        for number, (_, edge) in enumerate(PLACES):
            try:
                there = hinges.hinge_at(layout, self._panel, edge)
            except GeometryError:
                continue
            if {there.start, there.end} == {hinge.start, hinge.end}:
                return number
        return -1

    def _show_opening(self) -> None:
        layout = self._session.layout
        carrier = moving.carrier_of(layout, self._panel)
        if carrier.motion is None:
            return
        full = moving.full_opening(carrier.motion)
        group = {id for id in layout.panels if moving.carrier_of(layout, id).id == carrier.id}
        met = [touch for touch in self._touches or () if touch.panel in group and touch.tube in layout.tubes]
        hits = [touch for touch in met if touch.touches_at is not None]
        first = min(hits, key=lambda touch: touch.touches_at or 0.0, default=None)
        self.slider.notch = None if first is None else (first.touches_at or 0.0) / full
        self.slider.blockSignals(True)
        self.slider.setValue(round(self._opened.get(carrier.id, 0.0) * STEPS))
        self.slider.blockSignals(False)
        self.slider.update()
        is_known = self._touches is not None
        self.result.setText(opening_words(layout, carrier.motion, met, self._units) if is_known else CHECKING)

    # What it changes

    def _apply(self, name: str, change: Callable[[Layout], Layout]) -> None:
        if self._session.apply(name, change):
            self._touches = None
        if self._panel in self._session.layout.panels:
            self.show_panel(self._session.layout, self._panel, self._units)

    def set_motion(self, name: str, motion_of: Callable[[Layout], Motion | None]) -> None:
        panel = self._panel
        self._apply(name, lambda now: hinges.set_motion(now, panel, motion_of(now)))

    def _on_kind(self) -> None:
        kind, panel = self.kind.chosen, self._panel
        if kind == CARRIED:
            # The panel that opens already is meant most often.
            layout = self._session.layout
            others = [id for id in layout.panels if id != panel]
            meant = next((id for id in others if layout.panels[id].motion is not None), others[0])
            self._apply("Move with another panel", lambda now: hinges.set_carrier(now, panel, meant))
            return
        self._apply(
            "Fix panel" if kind == FIXED else "Let panel open",
            lambda now: _of_kind(now, panel, kind or FIXED),
        )

    def _on_carrier(self) -> None:
        panel, carrier = self._panel, self.carrier.chosen
        self._apply("Move with another panel", lambda now: hinges.set_carrier(now, panel, carrier))

    def _on_place(self) -> None:
        panel, edge = self._panel, self.place.currentData()
        self.set_motion("Move hinge", lambda now: _as_far(now, panel, hinges.hinge_at(now, panel, edge)))

    def _motion(self) -> Motion | None:
        """How the panel opens; None also where it was deleted while something was typed."""
        panel = self._session.layout.panels.get(self._panel)
        return panel.motion if panel is not None else None

    def _on_ends(self) -> None:
        ends = [tuple(field.value or 0.0 for field in side.fields) for side in (self.start, self.end)]
        old = self._motion()
        if isinstance(old, Hinge) and (old.start, old.end) != tuple(ends):
            start, end = ends
            self.set_motion("Move hinge", lambda now: Hinge(start, end, old.angle))  # type: ignore[arg-type]

    def take_points(self, what: str, points: list[Vec3]) -> None:
        """Lay the hinge along what was picked in the view."""
        panel = self._panel
        if what == "two" and len(points) == 2:
            start, end = points
            self.set_motion(
                "Move hinge", lambda now: _as_far(now, panel, hinges.hinge_through(now, panel, start, end))
            )
        elif what == "edge" and points:
            self.set_motion(
                "Move hinge", lambda now: _as_far(now, panel, hinges.hinge_near(now, panel, points[0]))
            )

    def _on_full(self, full: float) -> None:
        old = self._motion()
        if old is not None:
            self.set_motion("Set opening angle", lambda now: hinges.opened_to(old, full))

    def _on_way(self, shift: Vec3) -> None:
        self.set_motion("Set slide", lambda now: Slide(shift))

    def _on_other_way(self) -> None:
        old = self._motion()
        if old is not None:
            self.set_motion("Open the other way", lambda now: hinges.turned_other_way(old))

    def _on_slider(self) -> None:
        if self._panel not in self._session.layout.panels:
            return
        carrier = moving.carrier_of(self._session.layout, self._panel)
        self._opened[carrier.id] = self.slider.opening
        self.opening_moved.emit(carrier.id, self.slider.opening)
        self._show_opening()


def opening_words(layout: Layout, motion: Motion, met: Iterable[Touch], units: Units) -> str:
    """Say how far a panel opens, and what it meets on its way."""
    full = opening_text(motion, moving.full_opening(motion), units)
    rows = sorted(
        met, key=lambda touch: (math.inf if touch.touches_at is None else touch.touches_at, touch.at)
    )
    if not rows:
        return f"Opens {full} and keeps clear of every tube."
    first = rows[0]
    name = wording.one_line(layout.tubes[first.tube].name)
    if first.touches_at is not None:
        others = len({touch.tube for touch in rows if touch.touches_at is not None}) - 1
        more = f", and {others} more after it" if others else ""
        return f"Opens {opening_text(motion, first.touches_at, units)} of {full}, then it meets {name}{more}."
    least = unit_text.format_length(first.least, units)
    return f"Opens {full}; at {opening_text(motion, first.least_at, units)} it passes {name} with {least}."


def opening_text(motion: Motion, opening: float, units: Units) -> str:
    return (
        unit_text.format_angle(opening)
        if isinstance(motion, Hinge)
        else unit_text.format_length(opening, units)
    )


def _of_kind(layout: Layout, panel: int, kind: int) -> Layout:
    free = hinges.set_carrier(layout, panel, None)
    if kind == FIXED:
        return hinges.set_motion(free, panel, None)
    if kind == SLIDES:
        return hinges.set_motion(free, panel, Slide((-FIRST_SLIDE, 0.0, 0.0)))
    return hinges.set_motion(free, panel, hinges.usual_hinge(free, panel))


def _as_far(layout: Layout, panel: int, hinge: Hinge) -> Motion:
    """Return a hinge that opens as far as the panel does now."""
    old = layout.panels[panel].motion
    return hinges.opened_to(hinge, abs(old.angle)) if isinstance(old, Hinge) else hinge
