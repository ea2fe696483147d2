"""One tab of the rack: a table of stocks or dies with the few numbers that tell them apart, and a form
beside it with all of the selected one."""

from collections.abc import Collection, Mapping, Sequence
from functools import partial
from typing import Any

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QResizeEvent, QWheelEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QScrollArea,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from app.guarded import guarded
from app.panels import rack_cells
from app.panels.fields import SEVERAL, NumberField, TextField
from app.panels.rack_cells import Column, Thing
from app.panels.rows import ChoiceBox
from app.panels.typed_table import RIGHT, TypedTable
from app.units import Units
from geometry.layout import Layout

ID = Qt.ItemDataRole.UserRole
ACROSS = 2  # fields side by side in the form
NARROW = 600  # pixels of page; on less the table shows names only, and the form one field a row


class RackTable(TypedTable):
    """Rows of stocks or dies as text; tells what was typed, changes nothing itself."""

    edited = Signal(int, object, str)  # id, column, text

    def __init__(self, columns: Sequence[Column], name: str, units: Units) -> None:
        self.columns = tuple(column for column in columns if column.in_table)
        super().__init__(len(self.columns), name)
        self.units = units
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setAlternatingRowColors(True)
        self.setShowGrid(False)
        self.show_titles([(column.title, column.tip, column.kind != "text") for column in self.columns])
        self.itemChanged.connect(self._on_item_changed)

    def fill(self, things: Mapping[int, Thing], layout: Layout) -> None:
        self.is_filling = True
        self.setRowCount(len(things))
        for row, thing in enumerate(things.values()):
            for place, column in enumerate(self.columns):
                self.setItem(row, place, self._cell(thing, column, layout))
        self.is_filling = False

    def chosen_ids(self) -> list[int]:
        rows = sorted({index.row() for index in self.selectionModel().selectedRows()})
        items = [self.item(row, 0) for row in rows]
        return [int(item.data(ID)) for item in items if item is not None]

    def choose(self, row: int) -> None:
        """Select one row and bring it into sight."""
        if 0 <= row < self.rowCount():
            self.setCurrentCell(row, 0)
            self.selectRow(row)
            self.scrollTo(self.model().index(row, 0))

    def _cell(self, thing: Thing, column: Column, layout: Layout) -> QTableWidgetItem:
        item = QTableWidgetItem(rack_cells.cell_text(thing, column, self.units, layout))
        item.setData(ID, thing.id)
        flags = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
        item.setFlags(flags | Qt.ItemFlag.ItemIsEditable if column.attribute else flags)
        if column.kind != "text":
            item.setTextAlignment(RIGHT)
        item.setToolTip(f"{column.tip}: {item.text()}")
        return item

    def _on_item_changed(self, item: QTableWidgetItem) -> None:
        if not self.is_filling:
            self.edited.emit(int(item.data(ID)), self.columns[item.column()], item.text())


class CellField(NumberField):
    """A number of a stock or die, in the person's unit."""

    def __init__(self, column: Column, units: Units) -> None:
        super().__init__(may_be_empty=column.may_be_empty)
        self._column = column
        self._units = units
        self.setPlaceholderText(column.empty)

    def set_units(self, units: Units) -> None:
        self._units = units
        self._show()

    def text_of(self, value: float) -> str:
        return rack_cells.number_text(value, self._column, self._units)

    def read(self, text: str) -> float:
        return float(rack_cells.cell_value(self._column, text, self._units))


class StillChoice(ChoiceBox):
    """A choice that the wheel scrolls past."""

    @guarded()
    def wheelEvent(self, event: QWheelEvent) -> None:
        event.ignore()


class RowForm(QWidget):
    """Every attribute of the selected stocks or dies; tells what was entered, changes nothing itself."""

    entered = Signal(object, object)  # column, value

    def __init__(self, columns: Sequence[Column], units: Units) -> None:
        super().__init__()
        self.columns = tuple(column for column in columns if column.attribute)
        self.fields: dict[str, QLineEdit | ChoiceBox] = {}
        self._things: Sequence[Thing] = ()
        outside = QVBoxLayout(self)
        outside.setContentsMargins(10, 6, 8, 6)
        outside.setSpacing(5)
        self._grid = QGridLayout()
        self._grid.setHorizontalSpacing(6)
        self._grid.setVerticalSpacing(4)
        outside.addLayout(self._grid)
        self.below = QVBoxLayout()
        outside.addLayout(self.below)
        outside.addStretch(1)
        self._labels: dict[str, QLabel] = {}
        for column in self.columns:
            self._add(column, units)
        self._across = 0
        self.set_across(ACROSS)

    def show_things(self, things: Sequence[Thing], layout: Layout) -> None:
        """Show what stocks or dies have in common; what is being typed just now is left alone."""
        self._things = things
        self.setEnabled(bool(things))
        for column in self.columns:
            field = self.fields[column.attribute]
            values = {getattr(thing, column.attribute) for thing in things}
            if isinstance(field, ChoiceBox):
                now = rack_cells.chosen(column, things[0]) if len(values) == 1 else None
                field.show_choices(rack_cells.choices(column, layout), now)
            elif isinstance(field, NumberField):
                _show_number(field, column, values)
            else:
                _show_text(field, column, values)
        self.fields["name"].setEnabled(len(things) == 1)

    def set_units(self, units: Units) -> None:
        for field in self.fields.values():
            if isinstance(field, CellField):
                field.set_units(units)

    def set_across(self, across: int) -> None:
        """Put the fields into so many columns; the name is as wide as a whole row."""
        if across == self._across:
            return
        self._across = across
        for place in range(ACROSS):
            self._grid.setColumnStretch(2 * place + 1, int(place < across))
        for place, column in enumerate(self.columns, across - 1):
            is_name = column.attribute == "name"
            row, over = (0, 0) if is_name else divmod(place, across)
            width = 2 * across - 1 if is_name else 1
            self._grid.addWidget(self._labels[column.attribute], row, 2 * over)
            self._grid.addWidget(self.fields[column.attribute], row, 2 * over + 1, 1, width)

    def _add(self, column: Column, units: Units) -> None:
        field = self._field(column, units)
        self.fields[column.attribute] = field
        name = QLabel(column.title)
        self._labels[column.attribute] = name
        name.setBuddy(field)
        field.setAccessibleName(column.title)
        for part in (name, field):
            part.setToolTip(f"{column.tip}.")

    def _field(self, column: Column, units: Units) -> QLineEdit | ChoiceBox:
        if column.kind == "choice":
            box = StillChoice()
            box.activated.connect(partial(self._on_chosen, column))
            return box
        if column.kind != "text":
            number = CellField(column, units)
            number.entered.connect(partial(self._on_number, column))
            number.emptied.connect(partial(self._on_number, column, 0.0))
            return number
        line = TextField()
        line.setPlaceholderText(column.empty)
        line.editingFinished.connect(partial(self._on_text, column))
        return line

    def _on_number(self, column: Column, value: float) -> None:
        self.entered.emit(column, value)

    def _on_chosen(self, column: Column, _index: int) -> None:
        field = self.fields[column.attribute]
        assert isinstance(field, ChoiceBox)
        if field.chosen is not None:
            self.entered.emit(column, rack_cells.choice_value(column, field.chosen))

    def _on_text(self, column: Column) -> None:
        field = self.fields[column.attribute]
        if not (isinstance(field, QLineEdit) and field.isModified()):
            return
        field.setModified(False)
        try:
            value = rack_cells.cell_value(column, field.text(), Units())
        except ValueError:  # a name that was wiped out; the old one comes back
            _show_text(field, column, {getattr(thing, column.attribute) for thing in self._things})
            return
        self.entered.emit(column, value)


def _show_number(field: NumberField, column: Column, values: Collection[float]) -> None:
    """Show one value, or that they differ."""
    if len(values) > 1:
        field.set_several()
        return
    value = next(iter(values), None)
    field.set_value(None if column.may_be_empty and not value else value)
    field.setPlaceholderText(column.empty)


def _show_text(field: QLineEdit, column: Column, values: Collection[str]) -> None:
    if field.hasFocus() and field.isModified():
        return
    field.setText(next(iter(values)) if len(values) == 1 else "")
    field.setPlaceholderText(SEVERAL if len(values) > 1 else column.empty)
    field.setCursorPosition(0)


class RackPage(QWidget):
    """The table and the form of one kind of thing."""

    changed = Signal(object, object, object)  # ids, column, value
    refused = Signal(str)
    chosen_changed = Signal()

    def __init__(self, columns: Sequence[Column], name: str, units: Units) -> None:
        super().__init__()
        self.units = units
        self.table = RackTable(columns, name, units)
        self.form = RowForm(columns, units)
        self._things: Mapping[int, Any] = {}
        self._layout = Layout()
        area = QScrollArea()
        area.setWidgetResizable(True)
        area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        area.setWidget(self.form)
        area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(0)
        row.addWidget(self.table, 13)
        row.addWidget(area, 12)
        self.table.edited.connect(self._on_cell)
        self.table.itemSelectionChanged.connect(self._on_selection)
        self.form.entered.connect(self._on_entered)

    @property
    def chosen(self) -> int | None:
        """The first of the selected rows."""
        ids = self.table.chosen_ids()
        return ids[0] if ids else None

    def fill(self, things: Mapping[int, Any], layout: Layout) -> None:
        self._things, self._layout = things, layout
        row = self.table.currentRow()
        self.table.fill(things, layout)
        if self.chosen is None and things:
            self.table.choose(min(max(row, 0), len(things) - 1))
        self._show_form()

    @guarded()
    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        is_narrow = event.size().width() < NARROW
        self.form.set_across(1 if is_narrow else ACROSS)
        for place in range(1, len(self.table.columns)):
            self.table.setColumnHidden(place, is_narrow)

    def set_units(self, units: Units) -> None:
        self.units = self.table.units = units
        self.form.set_units(units)
        self.fill(self._things, self._layout)

    def choose_last(self) -> None:
        """Show the row that was added last, its name ready to be typed over."""
        self.table.choose(self.table.rowCount() - 1)
        name = self.form.fields["name"]
        name.setFocus()
        if isinstance(name, QLineEdit):
            name.selectAll()

    def tell_refused(self, sentence: str) -> None:
        """Say why something was not taken, and show the old value again."""
        self.refused.emit(sentence)
        self.fill(self._things, self._layout)

    def _show_form(self) -> None:
        chosen = [self._things[id] for id in self.table.chosen_ids() if id in self._things]
        self.form.show_things(chosen, self._layout)
        self.chosen_changed.emit()

    def _on_selection(self) -> None:
        self._show_form()

    def _on_cell(self, id: int, column: Column, text: str) -> None:
        try:
            value = rack_cells.cell_value(column, text, self.units)
        except ValueError as error:
            self.tell_refused(str(error))
            return
        self.changed.emit((id,), column, value)

    def _on_entered(self, column: Column, value: Any) -> None:
        self.changed.emit(tuple(self.table.chosen_ids()), column, value)
