"""One selected reference: where it lies, and whether the cage must stay before it."""

import math

from PySide6.QtWidgets import QCheckBox, QPushButton, QWidget

from app import units as unit_text
from app import wording
from app.panels.fields import LengthField
from app.panels.motion_rows import PointFields
from app.panels.rows import NamedPage
from app.session import Session
from app.units import Units
from geometry import axles, references
from geometry.aids import LineShape, PlaneShape, PointShape, Reference
from geometry.errors import GeometryError
from geometry.layout import Layout
from geometry.references import Shape
from geometry.tolerances import SAME_POINT
from geometry.vectors import Vec3, distance

SQUARE = 0.9999  # a normal nearer than this to an axis is that axis
AXES = (
    ("From the front axle", "How far forward of the front axle it stands; negative: behind."),
    ("From the centre", "How far left of the centre plane it stands; negative: to the right."),
    ("Above the ground", "How high it lies over the ground at the front axle."),
)


class ReferencePage(NamedPage):
    """Shows a reference and records what is typed."""

    def __init__(self, session: Session, units: Units) -> None:
        super().__init__(session, units, "Name", "How lists, labels and findings call it.")
        self.kind = self.words()
        self.at, self.end = PointFields(units, "Place"), PointFields(units, "To")
        self.at.entered.connect(self._on_at)
        self.end.entered.connect(self._on_end)
        self._at_name = self.field("Place", self.at, "x forward of the front axle, y to the left, z up.")
        self._end_name = self.field("To", self.end, "Where the line runs to; it goes on beyond.")
        self.normal = PointFields(units, "Faces")
        self.normal.entered.connect(self._on_normal)
        self._normal_name = self.field(
            "Faces", self.normal, "The way it faces, in parts forward, left and up: 0, 0, 1 is up."
        )
        self.length = self.number("Length", "Between the two places of the line.")
        self.away = LengthField(units)
        self.away.entered.connect(self._on_away)
        self.whole(QWidget())  # longer labels begin anew, so that three fields have room above
        self._away_name = self.field("Above the ground", self.away)
        self.limit = QCheckBox("The cage must stay before it")
        self.limit.setToolTip("Tubes that reach past the plane, the way it faces, are found by the checks.")
        self.limit.clicked.connect(self._on_limit)
        self.whole(self.limit)
        self.turn = self._button("Turn it round", "Let it face the other way.", self._on_turn)
        self.result = self.words()
        self.shown = QCheckBox("Shown in the view")
        self.shown.setToolTip("Hidden references are not snapped to; limits are checked all the same.")
        self.shown.clicked.connect(self._on_shown)
        self.whole(self.shown)
        tip = "Add its mirror image across the centre plane."
        self.other_side = self.command_button("Copy to the other side", "aid_other_side", tip)
        self.whole(self.other_side)
        self.finish()

    def _button(self, words: str, tip: str, slot: object) -> QPushButton:
        button = QPushButton(words)
        button.setToolTip(tip)
        button.clicked.connect(slot)
        self.whole(button)
        return button

    def refresh(self) -> None:
        layout = self._session.layout
        reference = layout.references.get(self._id)
        if reference is None:
            return
        self._show_name()
        shape = reference.shape
        self.kind.setText(kind_words(shape, self._units))
        is_plane, is_line = isinstance(shape, PlaneShape), isinstance(shape, LineShape)
        axis = axis_of(shape) if isinstance(shape, PlaneShape) else None
        self._at_name.setText("From" if is_line else "Place")
        self.at.show_point(shape.start if isinstance(shape, LineShape) else shape.at)
        if isinstance(shape, LineShape):
            self.end.show_point(shape.end)
            self.length.setText(unit_text.format_length(distance(shape.start, shape.end), self._units))
        if isinstance(shape, PlaneShape):
            self.normal.show_point(shape.normal)
        if isinstance(shape, PlaneShape) and axis is not None:
            self._away_name.setText(AXES[axis][0])
            for part in (self._away_name, self.away):
                part.setToolTip(AXES[axis][1])
            self.away.setAccessibleName(AXES[axis][0])
            self.away.set_value(shape.at[axis] - (_ground(layout) if axis == 2 else 0.0))
        self._show_parts(is_line, is_plane, axis is not None)
        self.limit.setChecked(reference.limit)
        self.shown.setChecked(reference.shown)
        self.result.setText(limit_words(layout, reference, self._units))
        self.result.setVisible(bool(self.result.text()))
        self.other_side.setEnabled(not references.is_same(references.mirrored(shape), shape))

    def _show_parts(self, is_line: bool, is_plane: bool, is_square: bool) -> None:
        for parts, are_shown in (
            ((self.away, self._away_name), is_square),
            ((self.at, self._at_name), not is_square),
            ((self.end, self._end_name, self.length, self.label_of(self.length)), is_line),
            ((self.normal, self._normal_name), is_plane and not is_square),
            ((self.limit, self.turn), is_plane),
        ):
            for part in parts:
                part.setVisible(are_shown)

    def _shape(self) -> Shape | None:
        """Where the reference lies; None where it was deleted while something was typed."""
        reference = self._session.layout.references.get(self._id)
        return reference.shape if reference is not None else None

    def _on_away(self, value: float) -> None:
        layout, shape = self._session.layout, self._shape()
        axis = axis_of(shape) if isinstance(shape, PlaneShape) else None
        if isinstance(shape, PlaneShape) and axis is not None:
            place = list(shape.at)
            place[axis] = value + (_ground(layout) if axis == 2 else 0.0)
            self._set(PlaneShape((place[0], place[1], place[2]), shape.normal), "Move")

    def _on_at(self, place: Vec3) -> None:
        shape = self._shape()
        if isinstance(shape, LineShape):
            self._set(LineShape(place, shape.end), "Move")
        elif isinstance(shape, PlaneShape):
            self._set(PlaneShape(place, shape.normal), "Move")
        elif shape is not None:
            self._set(PointShape(place), "Move")

    def _on_end(self, place: Vec3) -> None:
        shape = self._shape()
        if isinstance(shape, LineShape):
            self._set(LineShape(shape.start, place), "Move")

    def _on_normal(self, along: Vec3) -> None:
        shape = self._shape()
        if isinstance(shape, PlaneShape):
            try:
                self._set(references.facing(shape.at, along), "Turn")
            except GeometryError as refused:
                self._session.refused.emit(refused.message)
                self.refresh()

    def _on_turn(self) -> None:
        shape = self._shape()
        if isinstance(shape, PlaneShape):
            self._set(references.turned_over(shape), "Turn")

    def _set(self, shape: Shape, word: str) -> None:
        id = self._id
        words = f"{word} {self._session.layout.references[id].name}"
        self._session.apply(words, lambda now: references.set_shape(now, id, shape))
        self.refresh()

    def _on_limit(self, on: bool) -> None:
        id = self._id
        name = self._session.layout.references[id].name
        words = f"Keep the cage before {name}" if on else f"No limit at {name}"
        self._session.apply(words, lambda now: references.set_reference(now, id, limit=on))
        self.refresh()

    def _on_shown(self, on: bool) -> None:
        id = self._id
        words = f"{'Show' if on else 'Hide'} {self._session.layout.references[id].name}"
        self._session.apply(words, lambda now: references.set_reference(now, id, shown=on))
        self.refresh()


def axis_of(shape: PlaneShape) -> int | None:
    """Return the axis of the car that a plane is square to, if it is to one."""
    return next((axis for axis in range(3) if abs(shape.normal[axis]) > SQUARE), None)


def kind_words(shape: Shape, units: Units) -> str:
    """Say what a reference is and how it lies."""
    if isinstance(shape, PointShape):
        return "A point."
    if isinstance(shape, LineShape):
        rise = shape.end[2] - shape.start[2]
        level = math.hypot(shape.end[0] - shape.start[0], shape.end[1] - shape.start[1])
        slope = abs(math.atan2(rise, level))
        return f"A line, {unit_text.format_angle(slope)} to the level."
    axis = axis_of(shape)
    if axis is None:
        return f"A plane, {unit_text.format_angle(math.acos(min(1.0, abs(shape.normal[2]))))} to the level."
    ahead, behind = (("forward", "backward"), ("left", "right"), ("up", "down"))[axis]
    lies = ("An upright plane across the car", "An upright plane along the car", "A level plane")[axis]
    return f"{lies}, facing {ahead if shape.normal[axis] > 0.0 else behind}."


def limit_words(layout: Layout, reference: Reference, units: Units) -> str:
    """Say how far the cage keeps before a limit, or how far and with what it reaches past."""
    if not reference.limit or not layout.tubes:
        return ""
    rows = references.outside(layout, reference.id)
    over = [row for row in rows if row.past > SAME_POINT]
    other = references.other_limit(layout, reference.id)
    together = f" {wording.one_line(layout.references[other].name)} moves with it." if other else ""
    far = unit_text.format_length(abs(rows[0].past), units)
    name = wording.one_line(layout.tubes[rows[0].tube].name)
    if not over:
        return f"The cage keeps {far} before it; nearest is {name}.{together}"
    others = f", and {wording.counted(len(over) - 1, 'other tube')}" if len(over) > 1 else ""
    return f"{name} reaches {far} past it{others}.{together}"


def _ground(layout: Layout) -> float:
    return axles.ground(layout)[0]
