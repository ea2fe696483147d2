"""The step in which a body comes in: unit, up, forward, ground, centre plane, front axle, panels."""

from collections.abc import Callable, Sequence
from functools import partial

from msgspec import Struct
from msgspec.structs import replace
from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import (
    QButtonGroup,
    QCheckBox,
    QComboBox,
    QGridLayout,
    QHBoxLayout,
    QPushButton,
    QScrollArea,
    QSizePolicy,
    QWidget,
)

from app import units as unit_text
from app import wording
from app.guarded import guarded
from app.panels import body_words
from app.panels.body_words import UNIT_NAMES
from app.panels.fields import LengthField
from app.panels.part_list import PartList
from app.panels.rows import Rows, set_kind
from app.session import Session
from app.units import MILLIMETRES, Units
from geometry.body import scan as scans
from geometry.body import shape
from geometry.body.scan import Choice, Reading, Scan
from geometry.errors import GeometryError
from geometry.layout import MM_PER_UNIT, Axis, Layout, LengthUnit
from geometry.vectors import Vec3, distance

SIZES = (("Length", "long"), ("Width", "wide"), ("Height", "high"))
TURNS: tuple[tuple[shape.QuarterTurn, str, str], ...] = (
    ("end for end", "En&d for end", "Front becomes back."),
    ("quarter", "&Quarter turn", "Turn left by a quarter, seen from above."),
    ("tip", "T&ip", "Tip forward by a quarter: the nose goes down."),
    ("roll", "&Roll", "Roll by a quarter about the length."),
)


class Asked(Struct, frozen=True):
    """What the person has said; None is left to guess."""

    unit: LengthUnit | None = None
    up: Axis | None = None
    forward: Axis | None = None
    front_axle: float | None = None
    centred: bool = True
    straighten: bool = True
    known: tuple[float, float] | None = None  # a length in the file's unit, and its true mm


class BodyInPanel(Rows):
    """The import step, and the same step again for a body that is there.

    Put it into a dock or a scroll area of 320 px or more. `bring_in(scan)` starts with a file that was
    read, `open_body(id)` with a body of the job; both preview through the session until `accept()`
    (one undo step) or `cancel()`. Enter and Escape do these while the focus is in the panel; while it
    is in the view the window calls them. After either the panel is idle (`is_open` is False) and may
    be hidden. When `pick_points_wanted` asks, let the person pick in the view and call `take_points`;
    a count of 0 says that nothing is waited for any more.
    """

    pick_points_wanted = Signal(int, str)  # how many points, and what for, as a sentence
    accepted = Signal(int)  # the body's id
    cancelled = Signal()
    refused = Signal(str)  # why something could not be done

    def __init__(self, session: Session, units: Units = MILLIMETRES, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self._units = units
        self._scan: Scan | None = None
        self._body: int | None = None  # the body that is placed again; None for one that comes in
        self._asked = Asked()
        self._guess: Reading | None = None  # the first reading, by which later ones stand still
        self._reading: Reading | None = None
        self._like: int | None = None  # the body whose place this one takes; its own until it is changed
        self._picking: Callable[[Sequence[Vec3]], None] | None = None
        self._shown_body = 0
        self._make_size()
        self._make_end()
        self._make_known()
        self._make_axes()
        self._make_place()
        self._make_parts()
        self.finish()
        session.opened.connect(self._on_opened)
        session.committed.connect(self._on_committed)
        self.setEnabled(False)

    # What the window calls

    @property
    def is_open(self) -> bool:
        return self._scan is not None

    @property
    def _takes_other_place(self) -> bool:
        return self._like is not None and self._like != self._body

    @property
    def reading(self) -> Reading | None:
        """How the body stands just now."""
        return self._reading

    def set_units(self, units: Units) -> None:
        self._units = units
        for field in (*self.sizes, self.true_length, self.axle):
            field.set_units(units)
        if self._reading is not None:
            self._show()

    def bring_in(self, scan: Scan) -> None:
        """Start with a file that was read; a body that is still being judged is recorded first."""
        self._record()
        self._start(scan, None, Asked(), scans.choices_of(scan))

    def open_body(self, body: int) -> None:
        """Start with a body of the job; one that is still being judged is recorded first."""
        self._record()
        layout = self._session.recorded
        old = layout.bodies[body]
        try:
            scan = scans.scan_of(layout, body)
        except GeometryError as error:
            self.refused.emit(error.message)
            return
        panels = [panel for panel in layout.panels.values() if panel.body == body]
        choices = [Choice(panel.name, panel.kept, panel.shown, panel.colour) for panel in panels]
        scale = old.placement.scale
        is_scaled = scale != MM_PER_UNIT[old.unit]
        asked = Asked(
            unit=None if is_scaled else old.unit,
            up=old.up,
            forward=old.forward,
            front_axle=scans.front_axle_of(layout, body),
            known=(1.0, scale) if is_scaled else None,
        )
        self._start(scan, body, asked, choices)

    def take_points(self, points: Sequence[Vec3], hits: Sequence[tuple[int, int]] = ()) -> None:
        """Take what was picked on the body: points in the car's axes, with panel and triangle of each."""
        picking, self._picking = self._picking, None
        if picking is not None and self.is_open:
            picking(points)

    def accept(self) -> None:
        """Record what is previewed as one undo step."""
        if self.is_open:
            self._record()
            self.accepted.emit(self._shown_body)

    def cancel(self) -> None:
        """Leave the job as it was."""
        if not self.is_open:
            return
        self._stop()
        self._session.cancel()
        self.cancelled.emit()

    # What the panel is made of

    def _make_size(self) -> None:
        self.title = self.heading("Body")
        self.size_words = self.words("number")
        self.read_as = self.words()
        self.units = QButtonGroup(self)
        row = self._row()
        for number, words in enumerate(UNIT_NAMES.values()):
            button = QPushButton()
            button.setCheckable(True)
            button.setToolTip(f"Read the file's numbers as {words}.")
            button.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
            button.setStyleSheet("padding: 4px 0")  # five of them share the width
            self.units.addButton(button, number)
            row.addWidget(button)
        self.units.idClicked.connect(self._on_unit)
        self.warnings = self.words("near")

    def _make_end(self) -> None:
        self.ok = QPushButton("Bring in")
        self.ok.setProperty("main", True)
        self.ok.clicked.connect(self.accept)
        self.back = QPushButton("Cancel")
        self.back.setToolTip("Leave the job as it was. Escape")
        self.back.clicked.connect(self.cancel)
        row = self._row()
        row.addWidget(self.ok)
        row.addWidget(self.back)

    def _make_known(self) -> None:
        self.heading("A length you know sets the scale")
        self.sizes: list[LengthField] = []
        for name, word in SIZES:
            field = LengthField(self._units)
            field.entered.connect(partial(self._on_size, len(self.sizes)))
            self.field(name, field, f"Type how {word} the vehicle truly is; the whole body is scaled.")
            self.sizes.append(field)
        self.true_length = LengthField(self._units, may_be_empty=True)
        self.true_length.entered.connect(self._on_true_length)
        self.field("Between two points", self.true_length, "Type the true distance of two points you pick.")
        self.pick_two = self._button(
            "Pick two &points…", "Pick two points on the body whose distance you know."
        )
        self.pick_two.clicked.connect(self._on_pick_two)
        self.between = self.words()
        self._span: float | None = None  # between the picked points, in the file's unit

    def _make_axes(self) -> None:
        self.heading("Which way it stands")
        self.up, self.forward = QComboBox(), QComboBox()
        for box, label, tip in (
            (self.up, "Up is the file's", "The axis of the file that points to the roof."),
            (self.forward, "Forward is its", "The axis of the file that points to the bonnet."),
        ):
            box.addItems(list(shape.AXES))
            box.activated.connect(self._on_axis)
            self.field(label, box, tip)
        self.axes_words = self.words()
        self.straighten = QCheckBox("Strai&ghtened along its symmetry")
        self.straighten.setToolTip("The body lies askew in its file: turn it straight.")
        self.straighten.clicked.connect(self._on_straighten)
        self.whole(self.straighten)
        holder = QWidget()
        grid = QGridLayout(holder)
        grid.setContentsMargins(0, 0, 0, 0)
        self.turns: dict[shape.QuarterTurn, QPushButton] = {}
        for place, (name, words, tip) in enumerate(TURNS):
            button = QPushButton(words)
            button.setToolTip(tip)
            button.clicked.connect(partial(self._on_turn, name))
            grid.addWidget(button, place // 2, place % 2)
            self.turns[name] = button
        self.whole(holder)

    def _make_place(self) -> None:
        self.heading("Where it stands")
        self.centred = QCheckBox("Ce&ntred on its middle")
        self.centred.setToolTip(
            "Put the plane of symmetry into the job's centre plane; else keep the file's."
        )
        self.centred.clicked.connect(self._on_centred)
        self.whole(self.centred)
        self.symmetry = self.words()
        self.axle = LengthField(self._units)
        self.axle.entered.connect(self._on_axle)
        self.field(
            "Front axle behind nose", self.axle, "Lengths along the car are measured from the front axle."
        )
        self.axle_words = self.words()
        self.pick_axle = self._button("Pick the front &axle…", "Pick a point at the middle of a front wheel.")
        self.pick_axle.clicked.connect(self._on_pick_axle)
        self.like = self._button("Same place as", "Scale, turn and shift this file as the other body was.")
        self.like.setCheckable(True)
        self.like.clicked.connect(self._on_like)

    def _make_parts(self) -> None:
        self.heading("Panels")
        self.parts = PartList()
        self.parts.changed.connect(self._on_parts)
        self.parts.selected.connect(self._on_part_selected)
        self.whole(self.parts)
        self.cleaned = self.words()

    def _row(self) -> QHBoxLayout:
        holder = QWidget()
        row = QHBoxLayout(holder)
        row.setSpacing(4)
        row.setContentsMargins(0, 0, 0, 0)
        self.whole(holder)
        return row

    def _button(self, words: str, tip: str) -> QPushButton:
        button = QPushButton(words)
        button.setToolTip(tip)
        # A long name of another body must not widen the panel.
        button.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        self.whole(button)
        return button

    # From start to end

    def _start(self, scan: Scan, body: int | None, asked: Asked, choices: Sequence[Choice]) -> None:
        self._scan, self._body, self._asked, self._like = scan, body, asked, body
        self._guess = self._reading = None
        self._span = None
        self._say_between("")
        self.true_length.set_value(None)
        self.parts.show_parts(choices, [len(part.mesh.triangles) for part in scan.parts])
        self.title.setText(wording.one_line(scan.source))
        self.ok.setText("Bring in" if body is None else "Place")
        self.ok.setToolTip("Accept all of this as one undo step. Enter")
        others = [other for other in self._session.recorded.bodies if other != body]
        self.like.setVisible(bool(others))
        if others:
            self.like.setText(f"Same place as “{self._session.recorded.bodies[others[-1]].name}”")
        self.like.setProperty("body", others[-1] if others else None)
        self.setEnabled(True)
        self._judge()
        if self.is_open:
            self.ok.setFocus()

    def _record(self) -> None:
        if self.is_open:
            self._stop()
            self._session.commit("Bring in body" if self._body is None else "Place body")

    def _stop(self) -> None:
        self._stop_picking()
        self._scan = self._reading = self._guess = None
        self.setEnabled(False)

    def _on_opened(self) -> None:
        """Another job was opened: what was judged belonged to the old one."""
        if self.is_open:
            self._stop()
            self.cancelled.emit()

    def _on_committed(self, layout: Layout) -> None:
        """Something else was recorded meanwhile: put the preview on top of it again."""
        if not self.is_open or self._reading is None:
            return
        if self._body is not None and (
            self._body not in layout.bodies or self._panels != _panels_of(layout, self._body)
        ):
            self.cancel()
        else:
            self._preview()

    def _judge(self) -> None:
        """Judge anew with what the person said, and preview it; keep the old reading when refused."""
        assert self._scan is not None
        try:
            reading = self._read(self._scan)
        except GeometryError as error:
            self.refused.emit(error.message)
            if self._reading is None:
                self.cancel()
            else:
                self._show()
            return
        self._reading = reading
        if self._guess is None:
            self._guess = reading
        self._preview()
        self._show()

    def _read(self, scan: Scan) -> Reading:
        kept = [number for number, choice in enumerate(self.parts.choices) if choice.kept]
        if self._like is not None:
            return scans.stand_like(scan, self._session.recorded.bodies[self._like], kept)
        asked, guess = self._asked, self._guess
        # A guess once shown stays, though parts that are left out might change it.
        stated = scan.stated_unit or (guess.unit if guess else None)
        reading = scans.judge(
            replace(scan, stated_unit=stated),
            unit=asked.unit,
            up=asked.up or (guess.up if guess else None),
            forward=asked.forward or (guess.forward if guess else None),
            front_axle=asked.front_axle,
            centred=asked.centred,
            known=asked.known,
            kept=kept,
            straighten=asked.straighten,
        )
        is_unit_guessed = asked.unit is None and asked.known is None and scan.stated_unit is None
        return replace(
            reading,
            unit_guessed=is_unit_guessed,
            up_guessed=asked.up is None and reading.up != scan.stated_up,
            forward_guessed=asked.forward is None and reading.forward != scan.stated_forward,
        )

    def _preview(self) -> None:
        assert self._scan is not None
        assert self._reading is not None
        before, choices = self._session.recorded, self.parts.choices
        if self._body is None:
            layout, self._shown_body, ids = scans.add_to(before, self._scan, self._reading, choices)
        else:
            layout, self._shown_body = scans.set_reading(before, self._body, self._reading), self._body
            ids = _panels_of(before, self._body)
            layout = scans.with_choices(layout, ids, choices)
        self._panels = ids
        self._session.preview(layout)

    def _change(self, **changes: object) -> None:
        """Note what the person said and judge anew."""
        if not self.is_open:
            return
        self._like = None
        self._asked = replace(self._asked, **changes)
        self._judge()

    # What is shown

    def _show(self) -> None:
        reading = self._reading
        assert reading is not None
        assert self._scan is not None
        long, wide, high = (unit_text.format_length(value, self._units) for value in reading.size)
        self.size_words.setText(f"{long} long, {wide} wide, {high} high")
        other = self._session.recorded.bodies.get(self._like or 0) if self._takes_other_place else None
        chosen = self._asked.unit is not None
        self.read_as.setText(body_words.unit_words(reading, chosen, other.name if other else None))
        for number, unit in enumerate(UNIT_NAMES):
            button = self.units.button(number)
            length = reading.size[0] / reading.placement.scale * MM_PER_UNIT[unit]
            button.setText(f"{unit}\n{body_words.rough(length, self._units)}")
            button.setAccessibleName(f"{UNIT_NAMES[unit]}: {body_words.rough(length, self._units)} long")
        self._check_unit(reading)
        # What turns change is said beside them: they must not move away under the pointer.
        others = [warning for warning in reading.warnings if warning != scans.UNEVEN_SIDES]
        warnings = [*self._scan.warnings, *others]
        self.warnings.setText("\n".join(warnings))
        self.warnings.setVisible(bool(warnings))
        for field, value in zip(self.sizes, reading.size, strict=True):
            field.set_value(value)
        self.up.setCurrentText(reading.up)
        self.forward.setCurrentText(reading.forward)
        self.axes_words.setText(body_words.axes_words(reading))
        self.straighten.setVisible(self._scan.straightened is not None)
        self.straighten.setChecked(reading.straightened > 0.0)
        self.centred.setChecked(self._asked.centred)
        self.symmetry.setText(body_words.symmetry_words(reading, self._units))
        set_kind(self.symmetry, "near" if scans.UNEVEN_SIDES in reading.warnings else "faint")
        self.axle.set_value(reading.front_axle)
        self.axle_words.setText("A guess from the shape; measure it." if reading.front_axle_guessed else "")
        self.axle_words.setVisible(reading.front_axle_guessed)
        self.like.setChecked(self._takes_other_place)
        self.cleaned.setText(body_words.cleaned_words(self._scan))
        self.cleaned.setVisible(self._body is None)

    def _check_unit(self, reading: Reading) -> None:
        self.units.setExclusive(False)
        for number, unit in enumerate(UNIT_NAMES):
            button = self.units.button(number)
            button.setChecked(unit == reading.unit and not reading.is_scaled)
            button.setProperty("main", button.isChecked())
            button.style().unpolish(button)
            button.style().polish(button)
        self.units.setExclusive(True)

    # What the person does

    def _on_unit(self, number: int) -> None:
        self._change(unit=list(UNIT_NAMES)[number], known=None)

    def _on_size(self, axis: int, true: float) -> None:
        if self._reading is not None:
            self._change(known=(self._reading.size[axis] / self._reading.placement.scale, true), unit=None)

    def _on_true_length(self, true: float) -> None:
        if self._span is None:
            self._say_between("Pick the two points first.", "near")
            return
        self._change(known=(self._span, true), unit=None)

    def _on_pick_two(self) -> None:
        self._pick(2, "Click two points on the body whose distance you know.", self._on_two_points)

    def _on_two_points(self, points: Sequence[Vec3]) -> None:
        assert self._reading is not None
        if len(points) < 2:
            return
        now = distance(points[0], points[1])
        self._span = now / self._reading.placement.scale
        self.between.setText(
            f"It is {unit_text.format_length(now, self._units)} now. Type what it is in truth."
        )
        set_kind(self.between, "faint")
        self.true_length.set_value(now)
        _bring_into_sight(self.true_length)
        self.true_length.setFocus()
        self.true_length.selectAll()

    def _say_between(self, words: str, kind: str = "faint") -> None:
        self.between.setText(words)
        self.between.setVisible(bool(words))
        set_kind(self.between, kind)

    def _on_axis(self) -> None:
        assert self._reading is not None
        up, forward = self.up.currentText(), self.forward.currentText()
        if up[1] == forward[1]:
            # Turning one axis onto the other's line moves the other where the first one was.
            was_up = up != self._reading.up
            up, forward = (up, self._reading.up) if was_up else (self._reading.forward, forward)
        self._change(up=up, forward=forward)

    def _on_turn(self, name: shape.QuarterTurn) -> None:
        if self._reading is not None:
            up, forward = shape.turned(name, self._reading.up, self._reading.forward)
            self._change(up=up, forward=forward)

    def _on_straighten(self, wanted: bool) -> None:
        self._change(straighten=wanted)

    def _on_centred(self, centred: bool) -> None:
        self._change(centred=centred)

    def _on_axle(self, behind: float) -> None:
        self._change(front_axle=behind)

    def _on_pick_axle(self) -> None:
        self._pick(1, "Click the middle of a front wheel, or of its arch.", self._on_axle_point)

    def _on_axle_point(self, points: Sequence[Vec3]) -> None:
        assert self._reading is not None
        if points:
            # x = 0 is the front axle as it was, so the nose is at x = front_axle.
            self._change(front_axle=self._reading.front_axle - points[0][0])

    def _on_like(self, wanted: bool) -> None:
        self._like = self.like.property("body") if wanted else None
        self._judge()

    def _on_parts(self, kept_changed: bool) -> None:
        if not self.is_open:
            return
        if kept_changed:
            self._judge()
        else:
            self._preview()

    def _on_part_selected(self, numbers: Sequence[int]) -> None:
        if self.is_open:
            self._session.select(self._panels[number] for number in numbers)

    def _pick(self, count: int, words: str, then: Callable[[Sequence[Vec3]], None]) -> None:
        self._picking = then
        self.pick_points_wanted.emit(count, words)

    def _stop_picking(self) -> None:
        if self._picking is not None:
            self._picking = None
            self.pick_points_wanted.emit(0, "")

    @guarded()
    def keyPressEvent(self, event: QKeyEvent) -> None:
        is_enter = event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter)
        if event.key() == Qt.Key.Key_Escape and self._picking is not None:
            self._stop_picking()
        elif event.key() == Qt.Key.Key_Escape or (is_enter and self.back.hasFocus()):
            self.cancel()
        elif is_enter:
            self.accept()
        else:
            super().keyPressEvent(event)


def _panels_of(layout: Layout, body: int) -> tuple[int, ...]:
    return tuple(id for id, panel in layout.panels.items() if panel.body == body)


def _bring_into_sight(widget: QWidget) -> None:
    """Scroll to a widget; Qt does so only when Tab brings the focus."""
    area = widget.parentWidget()
    while area is not None and not isinstance(area, QScrollArea):
        area = area.parentWidget()
    if area is not None:
        area.ensureWidgetVisible(widget)
