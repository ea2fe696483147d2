"""A body from tape measurements: a step with tables, seen in the view while one types."""

from collections.abc import Callable

from msgspec.structs import replace
from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import (
    QComboBox,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from app.guarded import guarded
from app.panels.body_pages import size_words
from app.panels.measure_table import Column, MeasureTable
from app.session import Session
from app.units import MILLIMETRES, Units
from geometry import edits
from geometry.body import measured as tape
from geometry.body import measured_checks as checks
from geometry.body.measured_checks import MeasurementError
from geometry.errors import GeometryError
from geometry.layout import DoorOpening, Layout, Measured, Station, WheelArch

STATION_TITLES = {
    "x": ("Along", "From the front axle; places behind it are negative."),
    "sill_half_width": (
        "Sill\nhalf",
        "From the centre plane to the sill's outer edge: half the width there.",
    ),
    "sill_height": ("Sill\nup", "From the ground to the lower edge of the side."),
    "waist_half_width": ("Waist\nhalf", "From the centre plane to the widest place under the windows."),
    "waist_height": ("Waist\nup", "From the ground to the line under the windows, or the wing's upper edge."),
    "roof_half_width": ("Roof\nhalf", "From the centre plane to the edge of the roof, or of the bonnet."),
    "roof_height": (
        "Roof\nup",
        "From the ground to the middle of the roof or bonnet; below the waist it is the floor of a tub.",
    ),
}
ARCH_TITLES = {
    "x": ("Along", "The wheel's centre, from the front axle; places behind it are negative."),
    "z": ("Up", "From the ground to the centre of the round cut-out."),
    "radius": ("Radius", "From that centre to the edge of the cut-out."),
    "depth": ("Depth", "From the sill inwards to the inner wall."),
}
DOOR_TITLES = {
    "front": ("Front", "The front edge, from the front axle; places behind it are negative."),
    "back": ("Back", "The back edge, from the front axle; places behind it are negative."),
}
HOW_TO_MEASURE = (
    "Each row is one place along the car, from the front to the back. Heights count from the ground, "
    "half widths from the centre plane. Both sides are alike."
)
NEW_ARCH, NEW_DOOR = WheelArch(0.0, 395.0, 395.0), DoorOpening(-500.0, -1500.0)
NEXT_ARCH, NEXT_DOOR = 1200.0, 100.0  # mm behind the last one


class MeasuredPanel(QWidget):
    """While it is open the body is a preview; Accept records it as one step, Cancel leaves no trace."""

    accepted = Signal()
    cancelled = Signal()

    def __init__(
        self,
        session: Session,
        units: Units = MILLIMETRES,
        body: int | None = None,
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self._session = session
        self._units = units
        self._body = body
        self._is_open = True
        self._shown: Layout | None = None  # the last preview, and what it was laid on
        self._laid_on: Layout | None = None
        self._refused: MeasurementError | None = None
        self._drafts = tape.shapes()
        self._again = QTimer(self, singleShot=True, interval=0)
        self._make_fields()
        self._connect()
        self._start()

    # What others call

    @property
    def measured(self) -> Measured:
        """What the tables hold; cells that can't be read count as they were before."""
        return Measured(
            self._shape,
            self.stations.things,
            self.arches.things,
            self.doors.things,
        )

    @property
    def problem(self) -> str:
        """Why the body can't be made as the tables stand, as a sentence; empty when it can."""
        return self.problem_label.text()

    def set_units(self, units: Units) -> None:
        self._units = units
        for table in (self.stations, self.arches, self.doors):
            table.set_units(units)
        self._rebuild()

    def accept(self) -> None:
        """Record the body, or go to the cell that stands in the way."""
        self.accept_button.setFocus()  # a cell that is being typed hands over its text
        if self.problem or not self._is_open:
            self._go_to_problem()
            return
        layout = self._laid(self.measured)
        self._is_open = False
        assert self._body is not None
        is_new = self._body not in self._session.recorded.bodies
        name = layout.bodies[self._body].name
        self._session.commit(f"Bring in {name}" if is_new else f"Change measurements of {name}", layout)
        self.accepted.emit()

    def cancel(self) -> None:
        """Leave the job as it was."""
        if self._is_open:
            self._is_open = False
            self._session.cancel()
            self.cancelled.emit()

    # How it is made

    def _make_fields(self) -> None:
        self.shape = QComboBox()
        self.shape.addItems([name.capitalize() for name in self._drafts])
        self.shape.setToolTip("Numbers to begin with; type your own over them.")
        self.name = QLineEdit("Measured body")
        self.stations = self._table("Measurements along the car", "Row", checks.COLUMNS, STATION_TITLES)
        self.arches = self._table("Wheel arches", "Wheel arch", checks.ARCH_COLUMNS, ARCH_TITLES)
        self.doors = self._table("Doors", "Door", checks.DOOR_COLUMNS, DOOR_TITLES)
        self.size_label = _paragraph("number")
        self.problem_label = _paragraph("bad")
        self.accept_button = QPushButton("&Accept")
        self.accept_button.setProperty("main", True)
        self.accept_button.setToolTip("Record the body as one step (Ctrl+Enter).")
        self.cancel_button = QPushButton("Ca&ncel")
        self.cancel_button.setToolTip("Leave the job as it was (Escape).")
        column = QVBoxLayout(self)
        column.setContentsMargins(6, 6, 6, 8)
        column.setSpacing(6)
        column.addLayout(_labelled("Start f&rom", self.shape))
        column.addLayout(_labelled("Na&me", self.name))
        column.addWidget(_paragraph("faint", HOW_TO_MEASURE))
        column.addLayout(self._head("Places along the car", "place", self.stations, self._on_add_station))
        column.addWidget(self.stations)
        column.addLayout(self._head("Wheel arches", "wheel arch", self.arches, self._on_add_arch))
        column.addWidget(self.arches)
        column.addLayout(self._head("Doors", "door", self.doors, self._on_add_door))
        column.addWidget(self.doors)
        column.addWidget(self.size_label)
        column.addWidget(self.problem_label)
        buttons = QHBoxLayout()
        buttons.addWidget(self.accept_button, 1)
        buttons.addWidget(self.cancel_button, 1)
        column.addLayout(buttons)
        column.addStretch(1)

    def _table(
        self, name: str, row_name: str, labels: dict[str, str], titles: dict[str, tuple[str, str]]
    ) -> MeasureTable:
        columns = [
            Column(attribute, titles[attribute][0], label, f"{label.capitalize()}. {titles[attribute][1]}")
            for attribute, label in labels.items()
        ]
        return MeasureTable(name, row_name, columns, self._units)

    def _head(self, title: str, what: str, table: MeasureTable, add: Callable[[], None]) -> QHBoxLayout:
        """A heading with buttons that add and remove rows of a table."""
        row = QHBoxLayout()
        label = QLabel(title)
        label.setProperty("kind", "heading")
        row.addWidget(label, 1)
        plus = QPushButton("Add")
        plus.setToolTip(f"Add a {what} behind the selected one.")
        plus.setAccessibleName(f"Add a {what}")
        plus.clicked.connect(add)
        minus = QPushButton("Remove")
        minus.setToolTip(f"Remove the selected {what}.")
        minus.setAccessibleName(f"Remove the selected {what}")
        minus.setProperty("table", table.accessibleName())
        minus.clicked.connect(self._on_remove)
        row.addWidget(plus)
        row.addWidget(minus)
        return row

    def _connect(self) -> None:
        for table in (self.stations, self.arches, self.doors):
            table.edited.connect(self._rebuild)
        self.shape.activated.connect(self._on_shape)
        self.name.editingFinished.connect(self._rebuild)
        self.accept_button.clicked.connect(self.accept)
        self.cancel_button.clicked.connect(self.cancel)
        self._again.timeout.connect(self._on_again)
        self._session.previewing_changed.connect(self._on_previewing)
        self._session.opened.connect(self._on_opened)

    def _start(self) -> None:
        known = self._session.recorded.bodies.get(self._body) if self._body is not None else None
        if known is not None and known.measured is not None:
            self._shape = known.measured.shape
            self._drafts[self._shape] = known.measured
            if self.shape.findText(self._shape.capitalize()) < 0:
                self.shape.insertItem(0, self._shape.capitalize())
            self.name.setText(known.name)
        else:
            self._body = None
            self._shape = next(iter(self._drafts))
        self.shape.setCurrentText(self._shape.capitalize())
        self._show(self._drafts[self._shape])

    # From the tables to the view

    def _show(self, measured: Measured) -> None:
        self.stations.set_things(measured.stations)
        self.arches.set_things(measured.arches)
        self.doors.set_things(measured.doors)
        self._rebuild()

    def _rebuild(self) -> None:
        """Show the body as the tables say, or why it can't be made; then the last good one stays."""
        if not self._is_open:
            return
        self._refused = None
        problem = self.stations.problem or self.arches.problem or self.doors.problem
        if not problem:
            try:
                self._shown = self._laid(self.measured)
                self._laid_on = self._session.recorded
            except GeometryError as error:
                problem = error.message
                self._refused = error if isinstance(error, MeasurementError) else None
            else:
                self._session.preview(self._shown)
                self.size_label.setText(self._size())
        self._tell(problem)

    def _laid(self, measured: Measured) -> Layout:
        """Return the recorded layout with the body in it as measured."""
        recorded = self._session.recorded
        is_lasting = self._shown is not None and self._laid_on is recorded
        base = self._shown if is_lasting and self._shown is not None else recorded
        if self._body is None or self._body not in base.bodies:
            layout, self._body, _ = tape.add_to(base, measured, self._wanted_name)
            return layout
        layout = tape.replace(base, self._body, measured)
        return edits.rename(layout, self._body, self._wanted_name)

    @property
    def _wanted_name(self) -> str:
        return self.name.text().strip() or "Measured body"

    def _size(self) -> str:
        assert self._shown is not None
        mine = [panel for panel in self._shown.panels.values() if panel.body == self._body]
        return size_words(self._shown, mine, self._units)

    def _tell(self, problem: str) -> None:
        self.problem_label.setText(problem)
        self.problem_label.setVisible(bool(problem))
        self.size_label.setEnabled(not problem)
        self.accept_button.setEnabled(not problem)
        for table, name in self._named_tables():
            refused = self._refused if self._refused is not None and self._refused.table == name else None
            table.mark(refused.row if refused else -1, refused.column if refused else "", problem)

    def _named_tables(self) -> tuple[tuple[MeasureTable, str], ...]:
        return ((self.stations, "stations"), (self.arches, "arches"), (self.doors, "doors"))

    def _go_to_problem(self) -> None:
        for table, name in self._named_tables():
            if table.problem:
                table.go_to_problem()
                return
            if self._refused is not None and self._refused.table == name:
                table.go_to(self._refused.row, self._refused.column)
                return

    # What happens

    def _on_shape(self, place: int) -> None:
        """Show the numbers of another shape; what was typed for this one waits for its return."""
        self._drafts[self._shape] = self.measured
        chosen = self.shape.itemText(place).lower()
        self._shape = next(name for name in self._drafts if name.lower() == chosen)
        if self._body not in self._session.recorded.bodies:
            self._body, self._shown = None, None
        self._show(self._drafts[self._shape])

    def _on_add_station(self) -> None:
        """Add a place halfway to the next one; behind the last, as far again as from the one before."""
        rows = self.stations.things
        at = self.stations.currentRow() if self.stations.currentRow() >= 0 else len(rows) - 1
        if len(rows) < 2:
            last = rows[-1] if rows else tape.shapes()["two-box"].stations[0]
            self.stations.insert(len(rows), replace(last, x=last.x - 1000.0) if rows else last)
            return
        front = min(at, len(rows) - 2)
        self.stations.insert(front + 1, _between(rows[front], rows[front + 1]))

    def _on_add_arch(self) -> None:
        rows = self.arches.things
        new = replace(rows[-1], x=rows[-1].x - NEXT_ARCH) if rows else NEW_ARCH
        self.arches.insert(len(rows), new)

    def _on_add_door(self) -> None:
        rows = self.doors.things
        new = NEW_DOOR
        if rows:
            front = rows[-1].back - NEXT_DOOR
            new = DoorOpening(front, front - (rows[-1].front - rows[-1].back))
        self.doors.insert(len(rows), new)

    def _on_remove(self) -> None:
        name = self.sender().property("table")
        table = next(table for table, _ in self._named_tables() if table.accessibleName() == name)
        rows = len(table.things)
        if rows:
            table.remove(table.currentRow() if table.currentRow() >= 0 else rows - 1)

    def _on_previewing(self, previewing: bool) -> None:
        # Other tools end previews; as long as this step is open its body is to be seen.
        if not previewing and self._is_open:
            self._again.start()

    def _on_again(self) -> None:
        if self._is_open and not self._session.is_previewing:
            self._rebuild()

    def _on_opened(self) -> None:
        """Another job has come: this step belongs to the old one."""
        if self._is_open:
            self._is_open = False
            self.cancelled.emit()

    @guarded()
    def keyPressEvent(self, event: QKeyEvent) -> None:
        is_enter = event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter)
        if event.key() == Qt.Key.Key_Escape:
            self.cancel()
        elif is_enter and event.modifiers() & Qt.KeyboardModifier.ControlModifier:
            self.accept()
        elif is_enter:  # kept from the window, for which it would end the step
            focused = self.focusWidget()
            if isinstance(focused, QPushButton):
                focused.click()
        else:
            super().keyPressEvent(event)


def _between(front: Station, back: Station) -> Station:
    middle = {
        attribute: 0.5 * (getattr(front, attribute) + getattr(back, attribute))
        for attribute in checks.COLUMNS
    }
    return Station(**middle)


def _paragraph(kind: str, text: str = "") -> QLabel:
    label = QLabel(text, wordWrap=True)
    label.setProperty("kind", kind)
    label.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
    return label


def _labelled(words: str, widget: QWidget) -> QHBoxLayout:
    row = QHBoxLayout()
    label = QLabel(words)
    label.setBuddy(widget)
    widget.setAccessibleName(words.replace("&", ""))
    row.addWidget(label)
    row.addWidget(widget, 1)
    return row
