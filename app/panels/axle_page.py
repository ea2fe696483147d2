"""One selected axle: its tyres, where it stands, how far it moves, and what its tyres need."""

import math
from collections.abc import Callable, Mapping
from functools import partial

from msgspec.structs import replace
from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QHideEvent, QWheelEvent
from PySide6.QtWidgets import QLabel, QSlider, QWidget

from app import units as unit_text
from app import wording
from app.guarded import guarded
from app.panels.fields import AngleField, LengthField, NumberField, TextField
from app.panels.rows import ChoiceBox, NamedPage
from app.session import Session
from app.units import Units
from geometry import axles
from geometry.body import envelope, tyres
from geometry.checks import tyres as tyre_checks
from geometry.checks.findings import Report
from geometry.checks.tyres import Shown, WheelKey
from geometry.errors import GeometryError
from geometry.layout import Axle, Layout, Mesh, Suspension, Tyre

SUSPENSIONS: tuple[tuple[Suspension, str], ...] = (
    ("solid", "solid axle"),
    ("independent", "each wheel by itself"),
)
ANGLES = ("roll", "steer_inner", "steer_outer", "camber")
OF_SOLID = ("roll", "roll_centre")
POSE_STEPS = 100
CHECKING = "The space its tyres need is being worked out."
GROWTH = (
    "By common practice speed and load add {across} to the radius and {aside} to each side, and each ½ in of "
    "rim about 5 mm to the width. The {margin} of room asked for must hold that, mud and chains, and up to "
    "{off} by which the space shown may be off. Where it is tight, measure your tyres as they stand."
)
NAMES = {
    "x": "Position",
    "height": "Hub height",
    "track": "Track",
    "offset": "Wheel offset",
    "bump": "Bump",
    "droop": "Droop",
    "roll": "Roll",
    "roll_centre": "Roll centre",
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
    "roll": "Largest roll of a solid axle to either side.",
    "roll_centre": "Height of the line that a solid axle rolls about. Empty: as high as the hubs.",
    "kingpin": "From the tyre's middle in to the line that the wheel steers about.",
    "steer_inner": "Largest turn of the wheel inside the corner; 0 does not steer.",
    "steer_outer": "Largest turn of the wheel outside the corner.",
    "camber": "Positive: the tops of the wheels lean out.",
}


class PoseSlider(QSlider):
    """From one end of a range to the other, at rest in the middle."""

    def __init__(self) -> None:
        super().__init__(Qt.Orientation.Horizontal)
        self.setRange(-POSE_STEPS, POSE_STEPS)
        self.setPageStep(POSE_STEPS // 5)

    @guarded()
    def wheelEvent(self, event: QWheelEvent) -> None:
        event.ignore()  # it scrolls the page


class AxlePage(NamedPage):
    """One pair of wheels; each field is one undo step."""

    posed = Signal(int, object)  # axle, (heave, roll, steer) from -1 to 1

    def __init__(self, session: Session, units: Units) -> None:
        super().__init__(session, units, "Axle", "The axle's name in lists, findings and on paper.")
        self._report: Report | None = None
        self._fields: dict[str, NumberField] = {}
        self._labels: dict[str, QLabel] = {}
        self._spaces: Mapping[WheelKey, Shown] = {}
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
        self.heading("Room")
        self.room = self.words("")
        self.space = self.words()
        self.heading("Place")
        self._number("x", "height", "track", "offset")
        self.heading("Travel")
        self.suspension = ChoiceBox()
        self.suspension.activated.connect(self._on_suspension)
        self.field("Suspension", self.suspension, "A solid axle rolls as one; each wheel by itself does not.")
        self._number("bump", "droop", "roll")
        self.roll = LengthField(units)
        self.roll.entered.connect(self._on_roll)
        tip = "The same roll as the height between its two wheels when one is up and the other down."
        self.roll_label = self.field("Roll height", self.roll, tip)
        self._number("roll_centre")
        self._fields["roll_centre"].emptied.connect(self._on_no_roll_centre)
        self.heading("Steering")
        self._number("steer_inner", "steer_outer", "kingpin", "camber")
        self._make_poses()
        self.heading("Real tyres")
        self.growth = self.words()
        self.whole(self.command_button("Copy it to the rear", "duplicate_axle", "Add the same axle behind."))
        self.finish()

    def _number(self, *names: str) -> None:
        for name in names:
            field: NumberField = AngleField() if name in ANGLES else LengthField(self._units)
            field.may_be_empty = name == "roll_centre"
            field.entered.connect(partial(self._on_entered, name))
            self._labels[name] = self.field(NAMES[name], field, TIPS[name])
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
            slider = PoseSlider()
            slider.valueChanged.connect(self._on_posed)
            self.pose_labels.append(self.field(words, slider, f"{tip} Only the picture moves."))
            self.poses.append(slider)
        self.pose_words = self.words()

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
        self._fields["roll_centre"].setPlaceholderText(unit_text.format_length(axle.height, self._units))
        kinds = [kind for kind, _ in SUSPENSIONS]
        self.suspension.show_choices(
            [(place, words) for place, (_, words) in enumerate(SUSPENSIONS)], kinds.index(axle.suspension)
        )
        is_solid = axle.suspension == "solid"
        self.roll.set_value(math.sin(axle.roll) * axle.track)
        steers = axle.steer_inner > 0.0 or axle.steer_outer > 0.0
        shown: tuple[tuple[QWidget, QWidget, bool], ...] = (
            *((self._labels[name], self._fields[name], is_solid) for name in OF_SOLID),
            (self.roll_label, self.roll, is_solid),
            (self.pose_labels[1], self.poses[1], is_solid and axle.roll > 0.0),
            (self.pose_labels[2], self.poses[2], steers),
        )
        for label, widget, is_shown in shown:
            label.setVisible(is_shown)
            widget.setVisible(is_shown)
        self._show_pose()
        self._show_room()

    def show_envelopes(self, spaces: Mapping[WheelKey, Shown]) -> None:
        """Take what each tyre sweeps through, as it was worked out last."""
        self._spaces = spaces
        self._show_room()

    def show_report(self, report: Report) -> None:
        """Say how much room its tyres have."""
        if report.is_complete:
            self._report = report
            self._show_room()

    def _show_tyre(self, axle: Axle) -> None:
        tyre = axle.tyre
        if not self.code.isModified():
            self.code.setText(tyre.code)
            self._refuse_code("")
        self.tyre_od.set_value(tyre.od)
        self.tyre_width.set_value(tyre.width)
        self.tyre_words.setText(tyre_words(axle))
        self.growth.setText(growth_words(self._session.layout, axle, self._units))

    def _show_room(self) -> None:
        axle, layout = self._axle(), self._session.layout
        if axle is None:
            return
        now = tyre_checks.wheels(layout)
        own = [key for key in now if key[0] == axle.id]
        known = [self._spaces[key] for key in own if key in self._spaces]
        is_current = len(known) == len(own) and all(
            self._spaces[key].wheel == now[key] for key in own if key in self._spaces
        )
        if self._report is None or not is_current:
            self.room.setText(CHECKING)
            self.space.setVisible(False)
            return
        self.space.setVisible(True)
        self.room.setText("\n".join(room_words(layout, axle, self._report, self._units)))
        self.space.setText(space_words(known[0].mesh, self._units))

    def _show_pose(self) -> None:
        axle = self._axle()
        if axle is not None:
            self.pose_words.setText(pose_words(axle, self.pose, self._units))

    def _axle(self) -> Axle | None:
        return self._session.layout.axles.get(self._id)

    # What it changes

    def _apply(self, name: str, change: Callable[[Axle], dict[str, object]]) -> bool:
        id = self._id
        done = self._session.apply(name, lambda now: axles.change(now, id, **change(axles.known(now, id))))
        self.refresh()
        return done

    def _on_entered(self, name: str, value: float) -> None:
        self._apply(f"Set {NAMES[name].lower()}", lambda _: {name: value})

    def _on_no_roll_centre(self) -> None:
        self._apply("Set roll centre", lambda _: {"roll_centre": None})

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
            self._apply("Set tyre size", lambda axle: {"tyre": as_measured(axle.tyre, od, width)})

    def _on_suspension(self) -> None:
        kind = SUSPENSIONS[self.suspension.chosen or 0][0]
        self._apply("Set suspension", lambda _: {"suspension": kind})

    def _on_roll(self, height: float) -> None:
        self._apply("Set roll", lambda axle: {"roll": tyres.roll_of(axle.track, height)})

    def _on_posed(self) -> None:
        self.posed.emit(self._id, self.pose)
        self._show_pose()

    @property
    def pose(self) -> tuple[float, float, float]:
        """Heave, roll and steering that are shown, from -1 to 1."""
        heave, roll, steer = (slider.value() / POSE_STEPS for slider in self.poses)
        return heave, roll, steer

    @guarded()
    def hideEvent(self, event: QHideEvent) -> None:
        super().hideEvent(event)
        self._rest()

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


def as_measured(tyre: Tyre, od: float, width: float) -> Tyre:
    """Return a tyre as a tape finds it, on the same rim."""
    measured = tyres.measured(od, width)
    return replace(measured, rim=tyre.rim if tyre.rim is not None and tyre.rim < od else None)


def growth_words(layout: Layout, axle: Axle, units: Units) -> str:
    """Say what the room asked for has to hold beside the tyre as its size says."""
    across, aside = tyres.growth(axle.tyre)
    sizes = {
        "across": across,
        "aside": aside,
        "margin": layout.limits.tyre_margin,
        "off": envelope.tolerance(axle.tyre),
    }
    return GROWTH.format_map({name: unit_text.format_length(size, units) for name, size in sizes.items()})


def pose_words(axle: Axle, pose: tuple[float, float, float], units: Units) -> str:
    """Say where in their travel the wheels are shown."""
    heave, roll, steer = pose
    said = []
    if heave:
        way, reach = ("up", axle.bump) if heave > 0.0 else ("down", axle.droop)
        said.append(f"{unit_text.format_length(abs(heave) * reach, units)} {way}")
    if roll and axle.suspension == "solid":
        side = "left" if roll > 0.0 else "right"
        said.append(f"{side} side raised by {unit_text.format_angle(abs(roll) * axle.roll)}")
    if steer:
        inner = unit_text.format_angle(abs(steer) * axle.steer_inner)
        said.append(f"steered {inner} to the {'left' if steer > 0.0 else 'right'}")
    return f"Shown: {wording.listed(said)}." if said else "Shown at ride height."


def room_words(layout: Layout, axle: Axle, report: Report, units: Units) -> tuple[str, str]:
    """Say which tube and which panel leave the tyres of an axle the least room."""
    margin = layout.limits.tyre_margin
    tubes = [row for row in report.tyres if row.axle == axle.id and row.tube in layout.tubes]
    bites = [bite for bite in report.bites if bite.axle == axle.id and bite.panel in layout.panels]
    first = min(tubes, key=lambda row: row.clearance, default=None)
    deepest = max(bites, key=lambda bite: bite.depth, default=None)
    of_tubes = of_panels = ""
    if first is not None:
        name = wording.one_line(layout.tubes[first.tube].name)
        of_tubes = _least_words(name, first.side, first.clearance, len({row.tube for row in tubes}), units)
    if deepest is not None:
        name = wording.one_line(layout.panels[deepest.panel].name)
        gap, count = margin - deepest.depth, len({bite.panel for bite in bites})
        of_panels = _least_words(name, deepest.side, gap, count, units)
    keeps = unit_text.format_length(margin, units)
    return (
        f"Tubes: {of_tubes or f'all keep {keeps} or more.'}",
        f"Panels: {of_panels or f'all keep {keeps} or more.'}",
    )


def space_words(swept: Mesh, units: Units) -> str:
    """Say how large a space a tyre sweeps through: what an arch has to hold."""
    size = swept.vertices.max(axis=0) - swept.vertices.min(axis=0)
    long, wide, high = (unit_text.format_length(side, units) for side in size.tolist())
    space = f"Each tyre sweeps through a space {long} long, {wide} wide and {high} high"
    return f"{space}; the room asked for comes on top."


def _least_words(name: str, side: str, gap: float, count: int, units: Units) -> str:
    size = unit_text.format_length(abs(gap), units)
    said = f"{name} leaves the {side} tyre {size}"
    if gap < 0.0:
        said = f"{name} is {size} in the way of the {side} tyre"
    return f"{said}; {count - 1} more too near." if count > 1 else f"{said}."
