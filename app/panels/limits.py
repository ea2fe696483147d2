"""What the checks and sheets go by: each limit with its meaning and where its default comes from."""

import math
from functools import partial

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QComboBox, QGridLayout, QLabel, QPushButton, QScrollArea, QWidget

from app import units as unit_text
from app.panels.fields import AngleField, LengthField, NumberField
from app.panels.rows import keep_to_width
from app.session import Session
from app.units import Units
from geometry import edits
from geometry.layout import LIMITS, Layout, LimitInfo, Limits

GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    (
        "Stand-off",
        (
            "standoff_wanted",
            "standoff_closest",
            "standoff_farthest",
            "standoff_run",
            "scan_error",
            "build_tolerance",
        ),
    ),
    ("Body on its mounts", ("mount_x", "mount_y", "mount_z")),
    ("Welded to the body", ("weld_gap",)),
    ("Between tubes", ("tube_gap", "weld_room")),
    ("What moves", ("swing_margin", "tyre_margin")),
    ("Allowances", ("end_allowance", "cope_allowance")),
    ("Sheets", ("angle_step",)),
    ("Trial bends", ("tape_error", "gauge_error")),
)
USUAL_STEPS = (0.1, 0.5)  # degrees that dials can be read to
FIELD_WIDTH = 110


class LimitsPanel(QScrollArea):
    """One row a limit; Enter records the new value as one undo step."""

    def __init__(self, session: Session, units: Units, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self._units = units
        self._fields: dict[str, NumberField] = {}
        self._words: dict[str, QLabel] = {}
        self.setWidgetResizable(True)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setWidget(self._make_rows())
        session.changed.connect(self._on_changed)
        self._show(session.layout.limits)

    @property
    def fields(self) -> dict[str, NumberField]:
        return self._fields

    def set_units(self, units: Units) -> None:
        self._units = units
        for name, field in self._fields.items():
            if isinstance(field, LengthField):
                field.set_units(units)
            self._words[name].setText(limit_words(name, units))

    def _make_rows(self) -> QWidget:
        page = QWidget()
        grid = QGridLayout(page)
        grid.setHorizontalSpacing(12)
        grid.setVerticalSpacing(6)
        grid.setContentsMargins(10, 8, 10, 8)
        for title, names in GROUPS:
            heading = QLabel(title)
            heading.setProperty("kind", "heading")
            heading.setProperty("ruled", grid.count() > 0)
            grid.addWidget(heading, grid.rowCount(), 0, 1, 3)
            for name in names:
                self._add_row(grid, name)
        grid.setColumnStretch(2, 1)
        back = QPushButton("Back to the defaults")
        back.setToolTip("Set every limit to the value a new job has.")
        back.clicked.connect(self._on_defaults)
        grid.addWidget(back, grid.rowCount(), 0, 1, 2, Qt.AlignmentFlag.AlignLeft)
        grid.setRowStretch(grid.rowCount(), 1)
        return page

    def _add_row(self, grid: QGridLayout, name: str) -> None:
        info, row = LIMITS[name], grid.rowCount()
        field = self._fields[name] = _field_for(info, self._units)
        field.setAccessibleName(info.label)
        field.entered.connect(partial(self._on_entered, name))
        shown: QWidget = self._with_usual_steps(field) if name == "angle_step" else field
        shown.setFixedWidth(FIELD_WIDTH)
        label = QLabel(info.label)
        label.setBuddy(field)
        says = self._words[name] = QLabel(limit_words(name, self._units), wordWrap=True)
        says.setProperty("kind", "faint")
        keep_to_width(says)
        says.setMinimumHeight(1)  # its height follows from its width; nothing is kept free below the rows
        for place, part in enumerate((label, shown, says)):
            grid.addWidget(part, row, place)

    def _with_usual_steps(self, field: NumberField) -> QComboBox:
        """Put a field into a list of what is usual; anything else can be typed."""
        box = QComboBox()
        box.setEditable(True)
        box.setLineEdit(field)
        box.setInsertPolicy(QComboBox.InsertPolicy.NoInsert)
        box.setCompleter(None)  # type: ignore[arg-type]
        for degrees in USUAL_STEPS:
            box.addItem(field.text_of(math.radians(degrees)), math.radians(degrees))
        box.activated.connect(self._on_step_chosen)
        return box

    def _show(self, limits: Limits) -> None:
        for name, field in self._fields.items():
            field.set_value(getattr(limits, name))

    def _on_changed(self, before: Layout, after: Layout) -> None:
        if before.limits != after.limits:
            self._show(after.limits)

    def _on_step_chosen(self, place: int) -> None:
        self._on_entered("angle_step", math.radians(USUAL_STEPS[place]))

    def _on_entered(self, name: str, value: float) -> None:
        label = LIMITS[name].label
        words = f"Set {label[:1].lower()}{label[1:]}"
        if not self._session.apply(words, lambda now: edits.set_limits(now, **{name: value})):
            self._show(self._session.layout.limits)

    def _on_defaults(self) -> None:
        defaults = {name: getattr(Limits(), name) for name in LIMITS}
        self._session.apply("Set default limits", lambda now: edits.set_limits(now, **defaults))


class FineAngleField(AngleField):
    """A small angle, shown with the places it has."""

    def text_of(self, value: float) -> str:
        return fine_angle(value)


def limit_words(name: str, units: Units) -> str:
    """What a limit means, and its default with where that comes from."""
    info, default = LIMITS[name], getattr(Limits(), name)
    match info.quantity:
        case "length":
            text = unit_text.format_length(default, units)
        case "angle":
            text = fine_angle(default)
        case "ratio":
            text = unit_text.format_ratio(default)
    return f"{info.meaning} Default {text}: {info.source}."


def fine_angle(radians: float) -> str:
    return f"{unit_text.trimmed_decimal(math.degrees(radians), 3)}°"


def _field_for(info: LimitInfo, units: Units) -> NumberField:
    match info.quantity:
        case "length":
            return LengthField(units)
        case "angle":
            return FineAngleField()
    return NumberField()
