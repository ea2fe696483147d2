"""One selected axle: its tyres, where it stands, how far it moves, and what its tyres need."""

import math
import re
from collections.abc import Callable
from functools import partial

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QLabel, QSlider, QWidget

from app import units as unit_text
from app import wording
from app.panels.fields import AngleField, LengthField, NumberField, TextField
from app.panels.rows import ChoiceBox, NamedPage
from app.session import Session
from app.units import Units
from geometry import axles
from geometry.body import tyres
from geometry.checks.findings import Report
from geometry.errors import GeometryError
from geometry.layout import Axle, Layout, Suspension

SUSPENSIONS: tuple[tuple[Suspension, str], ...] = (
    ("solid", "solid axle"),
    ("independent", "each wheel by itself"),
)
POSE_STEPS = 100
CHECKING = "The space its tyres need is being worked out."
REAL_SIZE = (
    "A tyre on its rim may be wider and taller than its code says, and grows with speed and load: measure "
    "yours, or keep the room for tyres in the limits."
)
NAMES = {
    "x": "Position",
    "height": "Hub height",
    "track": "Track",
    "offset": "Wheel offset",
    "bump": "Bump",
    "droop": "Droop",
    "kingpin": "Kingpin",
    "steer_inner": "Inner wheel",
    "steer_outer": "Outer wheel",
    "camber": "Camber",
}
TIPS = {
    "x": "Along the car from the front axle; a minus is behind it.",
    "height": "Of the hubs above the level the body stood on, at ride height.",
    "track": "Between the mounting faces of the two hubs.",
    "offset": "How much further in the tyre's middle sits than the mounting face; a minus is further out.",
    "bump": "How far a wheel moves up from ride height.",
    "droop": "How far a wheel moves down from ride height.",
    "kingpin": "From the tyre's middle in to the line that the wheel steers about.",
    "steer_inner": "Largest turn of the wheel inside the corner; 0 does not steer.",
    "steer_outer": "Largest turn of the wheel outside the corner.",
    "camber": "Positive: the tops of the wheels lean out.",
}


class AxlePage(NamedPage):
    """One pair of wheels; each field is one undo step."""

    posed = Signal(int, object)  # axle, (heave, roll, steer) from -1 to 1

    def __init__(self, session: Session, units: Units) -> None:
        super().__init__(session, units, "Axle", "The axle's name in lists, findings and on paper.")
        self._report: Report | None = None
        self._fields: dict[str, NumberField] = {}
        self.heading("Tyre")
        self.code = TextField()
        self.code.editingFinished.connect(self._on_code)
        tip = "As on the sidewall: 33x12.50R15 or 285/75R16. Empty where it was measured."
        self.field("Size", self.code, tip)
        self.code_words = self.words("bad")
        self.tyre_od, self.tyre_width = LengthField(units), LengthField(units)
        self.tyre_od.entered.connect(self._on_measured)
        self.tyre_width.entered.connect(self._on_measured)
        self.field("Diameter", self.tyre_od, "Over the tread. Typed in, it counts instead of the code.")
        self.field("Width", self.tyre_width, "Over the sidewalls. Typed in, it counts instead of the code.")
        self.tyre_words = self.words()
        self.heading("Place")
        self._number("x", "height", "track", "offset")
        self.heading("Travel")
        self.suspension = ChoiceBox()
        self.suspension.activated.connect(self._on_suspension)
        self.field("Suspension", self.suspension, "A solid axle rolls as one; each wheel by itself does not.")
        self._number("bump", "droop")
        self.roll = LengthField(units)
        self.roll.entered.connect(self._on_roll)
        tip = "The largest height between its two wheels when one side is up and the other down."
        self.roll_label = self.field("Roll, in height", self.roll, tip)
        self.heading("Steering")
        self._number("steer_inner", "steer_outer", "kingpin", "camber")
        self._make_poses()
        self.heading("Room")
        self.room = self.words()
        self.whole(self.command_button("Copy it to the rear", "duplicate_axle", "Add the same axle behind."))
        self.finish()

    def _number(self, *names: str) -> None:
        for name in names:
            is_angle = name in ("steer_inner", "steer_outer", "camber")
            field: NumberField = AngleField() if is_angle else LengthField(self._units)
            field.entered.connect(partial(self._on_entered, name))
            self.field(NAMES[name], field, TIPS[name])
            self._fields[name] = field

    def _make_poses(self) -> None:
        self.heading("Shown at")
        self.poses: list[QSlider] = []
        self.pose_labels: list[QLabel] = []
        tips = (
            "Droop to bump.",
            "Roll to the right and to the left.",
            "Steered to the right and to the left.",
        )
        for words, tip in zip(("Up and down", "Roll", "Steering"), tips, strict=True):
            slider = QSlider(Qt.Orientation.Horizontal)
            slider.setRange(-POSE_STEPS, POSE_STEPS)
            slider.setPageStep(POSE_STEPS // 5)
            slider.valueChanged.connect(self._on_posed)
            self.pose_labels.append(self.field(words, slider, f"{tip} Only the picture moves."))
            self.poses.append(slider)

    @property
    def fields(self) -> dict[str, NumberField]:
        return self._fields

    # What it shows

    def show_ids(self, ids: frozenset[int]) -> None:
        if ids != self._ids:
            self._rest()
            self.code.setModified(False)
        super().show_ids(ids)

    def refresh(self) -> None:
        axle = self._axle()
        if axle is None:
            return
        self._show_name()
        self._show_tyre(axle)
        for name, field in self._fields.items():
            field.set_value(getattr(axle, name))
        kinds = [kind for kind, _ in SUSPENSIONS]
        self.suspension.show_choices(
            [(place, words) for place, (_, words) in enumerate(SUSPENSIONS)], kinds.index(axle.suspension)
        )
        is_solid = axle.suspension == "solid"
        self.roll.set_value(math.sin(axle.roll) * axle.track)
        steers = axle.steer_inner > 0.0 or axle.steer_outer > 0.0
        shown: tuple[tuple[QWidget, QWidget, bool], ...] = (
            (self.roll_label, self.roll, is_solid),
            (self.pose_labels[1], self.poses[1], is_solid and axle.roll > 0.0),
            (self.pose_labels[2], self.poses[2], steers),
        )
        for label, widget, is_shown in shown:
            label.setVisible(is_shown)
            widget.setVisible(is_shown)
        self._show_room()

    def show_report(self, report: Report) -> None:
        """Say how much room its tyres have."""
        self._report = report if report.is_complete else None
        if self._axle() is not None and report.is_complete:
            self._show_room()

    def _show_tyre(self, axle: Axle) -> None:
        tyre = axle.tyre
        if not self.code.isModified():
            self.code.setText(tyre.code)
            self._refuse_code("")
        self.tyre_od.set_value(tyre.od)
        self.tyre_width.set_value(tyre.width)
        self.tyre_words.setText(f"{tyre_words(axle)} {REAL_SIZE}")

    def _show_room(self) -> None:
        axle = self._axle()
        if axle is not None:
            layout = self._session.layout
            words = CHECKING if self._report is None else room_words(layout, axle, self._report, self._units)
            self.room.setText(words)

    def _axle(self) -> Axle | None:
        return self._session.layout.axles.get(self._id)

    # What it changes

    def _apply(self, name: str, change: Callable[[Axle], dict[str, object]]) -> bool:
        id = self._id
        self._report = None
        done = self._session.apply(name, lambda now: axles.change(now, id, **change(axles.known(now, id))))
        self.refresh()
        return done

    def _on_entered(self, name: str, value: float) -> None:
        self._apply(f"Set {NAMES[name].lower()}", lambda _: {name: value})

    def _on_code(self) -> None:
        axle, typed = self._axle(), self.code.text().strip()
        if axle is None or not self.code.isModified():
            return
        if not typed or typed == axle.tyre.code:
            self.code.setModified(False)
            self.refresh()
            return
        try:
            tyre = tyres.parsed(typed)
        except GeometryError as error:
            self._refuse_code(error.message)
            return
        self.code.setModified(False)
        if not self._apply("Fit tyre", lambda _: {"tyre": tyre}):
            self.refresh()

    def _refuse_code(self, sentence: str) -> None:
        """Keep a code that names no tyre in the field, and say what is wrong with it."""
        self.code_words.setText(sentence)
        self.code_words.setVisible(bool(sentence))
        if bool(self.code.property("refused")) != bool(sentence):
            self.code.setProperty("refused", bool(sentence))
            self.code.style().unpolish(self.code)
            self.code.style().polish(self.code)

    def _on_measured(self) -> None:
        od, width = self.tyre_od.value, self.tyre_width.value
        if od is not None and width is not None:
            self._apply("Set tyre size", lambda _: {"tyre": tyres.measured(od, width)})

    def _on_suspension(self) -> None:
        kind = SUSPENSIONS[self.suspension.chosen or 0][0]
        self._apply("Set suspension", lambda _: {"suspension": kind})

    def _on_roll(self, height: float) -> None:
        self._apply("Set roll", lambda axle: {"roll": tyres.roll_of(axle.track, height)})

    def _on_posed(self) -> None:
        self.posed.emit(self._id, tuple(slider.value() / POSE_STEPS for slider in self.poses))

    def _rest(self) -> None:
        for slider in self.poses:
            slider.setValue(0)


def tyre_words(axle: Axle) -> str:
    """Say what a tyre measures, in both systems: sizes are traded in inches and in millimetres."""
    tyre = axle.tyre
    inches = unit_text.Units("in")
    sizes = [tyre.od, tyre.width] + ([tyre.sidewall] if tyre.sidewall is not None else [])
    names = ("high", "wide", "of sidewall")
    both = []
    for size, name in zip(sizes, names, strict=False):
        metric = unit_text.format_length(size, unit_text.MILLIMETRES)
        both.append(f"{metric} ({unit_text.format_length(size, inches)}) {name}")
    return f"{wording.listed(both)}."


def room_words(layout: Layout, axle: Axle, report: Report, units: Units) -> str:
    """Say what is in the way of an axle's tyres, or that nothing is."""
    own = re.compile(rf"\b{re.escape(axle.name)}(?!\w)")
    said = [
        wording.say(found, layout, units)
        for found in report.findings
        if found.rule.startswith("tyre.") and any(own.search(words) for words in found.words.values())
    ]
    if said:
        return "\n".join(said)
    margin = unit_text.format_length(layout.limits.tyre_margin, units)
    return f"On all its way, its tyres keep {margin} or more from every tube and panel."
