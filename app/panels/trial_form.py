"""The fields of one trial bend, in the order in which a shop measures; Enter goes on to the next."""

import datetime
import math
from typing import Any, Literal

from msgspec import Struct
from msgspec.structs import asdict
from PySide6.QtCore import QEvent, QObject, Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QComboBox, QGridLayout, QLabel, QLineEdit, QPushButton, QVBoxLayout, QWidget

from app import units as unit_text
from app.guarded import guarded
from app.panels.fields import AngleField, LengthField, NumberField, TextField
from app.panels.rows import keep_to_width
from app.trial_proposal import Proposal
from app.units import Units
from geometry.layout import Die, Stock, TrialBend

MADE, TO, NOTE = "made", "measured_to", "note"
BACK = math.radians(89.0)  # the angle from which the back of a bend can be measured
TO_WORDS: dict[Literal["corner", "back"], str] = {"corner": "outsides cross", "back": "back of the bend"}


class Entry(Struct, frozen=True):
    """One number of a trial bend: what it is called and how it is measured."""

    name: str
    title: str
    tip: str
    is_angle: bool = False
    missing: str = ""  # what to say when it is left empty; nothing where it may be


ENTRIES = (
    Entry("length", "Scrap", "Length of the scrap, sawn square, as measured.", missing="scrap's length"),
    Entry(
        "mark",
        "Mark",
        "From the leading end to the mark that is set at the reference point of the die.",
        missing="distance of the mark from the leading end",
    ),
    Entry("dial", "Dial", "What the bender was bent to.", True, missing="dial angle that was bent to"),
    Entry("angle", "Angle", "What came out: the turn of the tube.", True, missing="angle that came out"),
    Entry("lead_leg", "Leading leg", "From the leading end along the outside. Empty: not measured."),
    Entry("tail_leg", "Tail leg", "From the tail end along the outside. Empty: not measured."),
    Entry("widest", "Largest diameter", "At the middle of the bend. Empty: not measured."),
    Entry("narrowest", "Least diameter", "At the middle of the bend. Empty: not measured."),
)
MOST_CLR = 1.25  # of the die's; no springback opens a bend farther
AFTER_ANGLE = [entry.name for entry in ENTRIES].index("angle") + 1  # there legs begin


class Refusal(Exception):
    """A field whose content can't be taken, and why."""

    def __init__(self, field: str, sentence: str) -> None:
        super().__init__(sentence)
        self.field = field


class FineAngleField(AngleField):
    """An angle with the places it was typed with."""

    def text_of(self, value: float) -> str:
        return angle_text(value)


class TrialForm(QWidget):
    """Reads one trial bend; it changes nothing itself."""

    add_wanted = Signal()
    drop_wanted = Signal()
    focused = Signal(str)  # the field that is typed into; empty for none
    typed = Signal()  # a number changed

    def __init__(self, units: Units) -> None:
        super().__init__()
        self.numbers: dict[str, NumberField] = {}
        self._order: list[QWidget] = []
        self._grid = QGridLayout()
        self._grid.setHorizontalSpacing(8)
        self._grid.setVerticalSpacing(4)
        self._grid.setColumnStretch(1, 1)
        self.title = QLabel()
        self.title.setProperty("kind", "heading")
        for place, entry in enumerate(ENTRIES):
            if place == AFTER_ANGLE:
                self._add_choice()
            self._add_number(entry, units)
        self.made = self._add_line(MADE, "Made", "The day of the bend, such as 2026-11-25.")
        self.note = self._add_line(NOTE, "Note", "Whatever helps later. Enter adds the trial bend.")
        self._make_end()
        self.clear(None)

    def _make_end(self) -> None:
        self.fault = QLabel(wordWrap=True)
        self.fault.setProperty("kind", "bad")
        keep_to_width(self.fault)
        self.add = QPushButton()
        self.add.setProperty("main", True)
        self.add.clicked.connect(self.add_wanted)
        self.drop = QPushButton()
        self.drop.clicked.connect(self.drop_wanted)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(5)
        column.addWidget(self.title)
        column.addLayout(self._grid)
        column.addWidget(self.fault)
        buttons = QGridLayout()
        for place, (button, width) in enumerate(((self.add, 2), (self.drop, 1))):
            buttons.addWidget(button, 0, place)
            buttons.setColumnStretch(place, width)
        column.addLayout(buttons)
        column.addStretch(1)

    # What is asked for

    def _add_number(self, entry: Entry, units: Units) -> None:
        is_optional = not entry.missing
        field: NumberField = FineAngleField() if entry.is_angle else LengthField(units)
        field.may_be_empty = True
        if is_optional:
            field.setPlaceholderText("not measured")
        field.entered.connect(self._on_number)
        field.emptied.connect(self._on_number)
        self.numbers[entry.name] = field
        self._add_row(entry.name, entry.title, field, entry.tip)

    def _add_line(self, name: str, title: str, tip: str) -> QLineEdit:
        line = TextField()
        self._add_row(name, title, line, tip)
        return line

    def _add_choice(self) -> None:
        self.measured_to = QComboBox()
        for to, words in TO_WORDS.items():
            self.measured_to.addItem(words, to)
        self.measured_to.currentIndexChanged.connect(self._on_number)
        tip = "Where straightedges along both outsides cross; from 90° on, the back of the bend will do."
        self._add_row(TO, "Legs to", self.measured_to, tip)

    def _add_row(self, name: str, title: str, field: QWidget, tip: str) -> None:
        row = self._grid.rowCount()
        label = QLabel(title)
        label.setBuddy(field)
        field.setAccessibleName(title)
        field.setObjectName(name)
        for part in (label, field):
            part.setToolTip(tip)
        self._grid.addWidget(label, row, 0)
        self._grid.addWidget(field, row, 1)
        self._order.append(field)
        field.installEventFilter(self)
        if isinstance(field, QLineEdit):
            field.returnPressed.connect(self._on_return)

    def set_units(self, units: Units) -> None:
        for field in self.numbers.values():
            if isinstance(field, LengthField):
                field.finish()  # what was typed was meant in the unit before
                field.set_units(units)

    # What is shown

    @property
    def is_begun(self) -> bool:
        """Something measured stands in the fields."""
        names = ("length", "angle", "lead_leg", "tail_leg", "widest", "narrowest")
        return any(self.numbers[name].text().strip() for name in names)

    def clear(self, proposal: Proposal | None) -> None:
        """Make room for the next trial bend; mark and dial are set as proposed."""
        for field in self.numbers.values():
            field.revert()
            field.set_value(None)
        self.numbers["mark"].set_value(proposal.mark if proposal else None)
        self.numbers["dial"].set_value(proposal.dial if proposal else None)
        self.made.setText(datetime.date.today().isoformat())
        self.note.clear()
        self.measured_to.setCurrentIndex(0)
        self._name("Next trial bend", "&Add trial bend", "Clear", "Empty the fields.")

    def show_trial(self, trial: TrialBend) -> None:
        """Show what was measured of a trial bend, to be changed."""
        for name, field in self.numbers.items():
            field.revert()
            field.set_value(getattr(trial, name))
        self.made.setText(trial.made)
        self.note.setText(trial.note)
        self.note.setCursorPosition(0)
        self.measured_to.setCurrentIndex(self.measured_to.findData(trial.measured_to))
        self._name(
            f"Change the trial bend of {angle_text(trial.angle)}",
            "S&ave the change",
            "Leave it",
            "Keep the trial bend as it was.",
        )

    def _name(self, title: str, add: str, drop: str, tip: str) -> None:
        self.title.setText(title)
        self.add.setText(add)
        self.add.setToolTip("Ctrl+Enter does the same from any field.")
        self.drop.setText(drop)
        self.drop.setToolTip(tip)
        self.forgive()

    # What is typed

    def read(self) -> dict[str, Any]:
        """Return what the fields say; Refusal where one can't be taken."""
        for field in self.numbers.values():
            field.finish()
        self.forgive()
        for entry in ENTRIES:
            field = self.numbers[entry.name]
            if field.is_refused:
                raise Refusal(entry.name, f"{entry.title}: “{field.text()}” can't be read; type it anew.")
            if field.value is None and entry.missing:
                raise Refusal(entry.name, f"Type the {entry.missing}.")
        made = self.made.text().strip()
        try:
            made = datetime.date.fromisoformat(made).isoformat()
        except ValueError:
            raise Refusal(MADE, "Type the day as year, month and day, such as 2026-11-25.") from None
        return {
            **{name: field.value for name, field in self.numbers.items()},
            MADE: made,
            TO: self.measured_to.currentData(),
            NOTE: self.note.text().strip(),
        }

    def refuse(self, name: str, sentence: str) -> None:
        """Say at a field and below why the trial bend is not taken."""
        self.fault.setText(sentence)
        field = self.findChild(QWidget, name)
        assert isinstance(field, QWidget)
        if isinstance(field, NumberField):
            field.refuse(sentence)
        field.setFocus()

    def forgive(self) -> None:
        self.fault.clear()

    def _on_number(self, *_: object) -> None:
        self.forgive()
        self.typed.emit()

    def _on_return(self) -> None:
        """Go on to the next field; from the last one the trial bend is added."""
        field = self.sender()
        if isinstance(field, NumberField):
            field.finish()
            if field.is_refused:
                return
        assert isinstance(field, QWidget)
        self._go_on(field)

    def _go_on(self, field: QWidget) -> None:
        place = self._order.index(field)
        if place + 1 == len(self._order):
            self.add_wanted.emit()
            return
        following = self._order[place + 1]
        following.setFocus(Qt.FocusReason.TabFocusReason)

    @guarded(False)
    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if isinstance(event, QKeyEvent) and watched is self.measured_to and _is_enter(event):
            self._go_on(self.measured_to)
            return True
        if event.type() == QEvent.Type.FocusIn:
            self.focused.emit(watched.objectName())
        elif event.type() == QEvent.Type.FocusOut:
            self.focused.emit("")
        return False


def _is_enter(event: QKeyEvent) -> bool:
    is_press = event.type() == QEvent.Type.KeyPress
    return is_press and event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and not event.modifiers()


def fault_of(trial: TrialBend) -> str | None:
    """Return the field that makes a trial bend impossible, the first one if there are several."""
    values = asdict(trial)
    for name in ("length", "mark", "dial", "angle", "lead_leg", "tail_leg", "widest", "narrowest"):
        if values[name] is not None and not values[name] > 0.0:
            return name
    if trial.mark >= trial.length:
        return "mark"
    if trial.angle >= math.pi:
        return "angle"
    if trial.dial >= 2.0 * math.pi:
        return "dial"
    return TO if trial.measured_to == "back" and trial.angle < BACK else None


def too_long(trial: TrialBend, die: Die, stock: Stock, units: Units) -> Refusal | None:
    """Refuse legs that together are longer than the scrap gives, however little of it the bend takes."""
    legs = {name: getattr(trial, name) or 0.0 for name in ("lead_leg", "tail_leg")}
    corner = (MOST_CLR * die.clr + stock.od / 2.0) * math.tan(trial.angle / 2.0)
    if sum(legs.values()) <= trial.length + 2.0 * corner:
        return None
    scrap, both = (unit_text.format_length(value, units) for value in (trial.length, sum(legs.values())))
    sentence = f"A scrap of {scrap} can't give legs of {both} together; look at the legs and the scrap again."
    return Refusal(max(legs, key=lambda name: legs[name]), sentence)


def angle_text(radians: float) -> str:
    """Write an angle with the places it has: 91.25°, 90°."""
    return f"{unit_text.trimmed_decimal(math.degrees(radians), 2)}°"
