"""Benders: what a tube must not hit while it is bent, as numbers and as a drawing of them."""

from collections.abc import Mapping
from typing import Any

from msgspec.structs import replace
from PySide6.QtCore import Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from app import units as unit_text
from app.guarded import guarded
from app.panels.bender_drawing import BenderDrawing
from app.panels.fields import LengthField, TextField
from app.panels.rack_page import NARROW, StillChoice
from app.panels.rows import ChoiceBox, keep_to_width
from app.panels.typed_table import RIGHT, TypedTable
from app.units import Units
from geometry.layout import Bender, Box
from geometry.vectors import Vec3

AXES = (
    "Lengths from the middle of the tube where a bend starts, seen from the tail: x to the leading end, y to "
    "the left, z up. The boxes must not be hit. Those of the common rack are invented; measure your own."
)
SWINGS = {"left": "to the left", "right": "to the right", "up": "up"}
MOVES = {"lead": "the leading end", "tail": "the tail", "both": "both ends"}
TITLES = ("Box", "from x", "y", "z", "to x", "y", "z")
SIDES = ("back", "right side", "bottom", "front", "left side", "top")
TIPS = ("What it is", *(f"Where its {side} lies" for side in SIDES))
FIRST_BOX = Box("Box", (-100.0, 50.0, -500.0), (100.0, 250.0, -200.0))


class BoxTable(TypedTable):
    """The boxes of a bender, six lengths a row; tells what was typed, changes nothing itself."""

    edited = Signal(int, int, str)  # row, column, text

    def __init__(self, units: Units) -> None:
        super().__init__(len(TITLES), "Boxes of the bender")
        self.units = units
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.horizontalHeader().setStyleSheet("QHeaderView::section { padding: 2px 4px; }")
        self.show_titles([(title, TIPS[place], place > 0) for place, title in enumerate(TITLES)])
        self.itemChanged.connect(self._on_item_changed)

    def fill(self, boxes: tuple[Box, ...]) -> None:
        self.is_filling = True
        self.setRowCount(len(boxes))
        for row, box in enumerate(boxes):
            self.setItem(row, 0, self._cell(box.name, TIPS[0]))
            for place, value in enumerate((*box.low, *box.high), 1):
                cell = self._cell(self._text(value), TIPS[place])
                cell.setTextAlignment(RIGHT)
                self.setItem(row, place, cell)
        self.is_filling = False

    def _text(self, value: float) -> str:
        """A length as narrow as it can be said: no fractions, since six stand side by side."""
        if self.units.length == "mm":
            return unit_text.trimmed_decimal(value, 1)
        return unit_text.trimmed_decimal(value / unit_text.MM_PER_INCH, 2)

    def _cell(self, text: str, tip: str) -> QTableWidgetItem:
        item = QTableWidgetItem(text)
        item.setToolTip(f"{tip}: {text}")
        return item

    def _on_item_changed(self, item: QTableWidgetItem) -> None:
        if not self.is_filling:
            self.edited.emit(item.row(), item.column(), item.text())


class BendersPage(QWidget):
    """One bender at a time: its numbers, its boxes and how they stand round the tube."""

    changed = Signal(int, str, str, object)  # id, title, attribute, value
    refused = Signal(str)

    def __init__(self, units: Units) -> None:
        super().__init__()
        self._units = units
        self._benders: Mapping[int, Bender] = {}
        self._chosen: int | None = None
        self._make_fields(units)
        self.boxes = BoxTable(units)
        self.drawing = BenderDrawing()
        self._arrange()
        self.choice.activated.connect(self._on_choice)
        self.name.editingFinished.connect(self._on_name)
        self.height_field.entered.connect(self._on_height)
        self.swing.activated.connect(self._on_swing)
        self.moves.activated.connect(self._on_moves)
        self.boxes.edited.connect(self._on_cell)
        self.boxes.itemSelectionChanged.connect(self._show_drawing)
        self.add_box.clicked.connect(self._on_add_box)
        self.remove_box.clicked.connect(self._on_remove_box)

    @guarded()
    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._right.setVisible(event.size().width() >= NARROW)  # numbers come first where both don't fit

    @property
    def chosen(self) -> int | None:
        return self._chosen

    def fill(self, benders: Mapping[int, Bender]) -> None:
        self._benders = benders
        if self._chosen not in benders:
            self._chosen = next(iter(benders), None)
        bender = self._bender
        self.choice.show_choices(((id, one.name) for id, one in benders.items()), self._chosen)
        for part in self._parts:
            part.setEnabled(bender is not None)
        self._show(bender)

    def choose_last(self) -> None:
        """Show the bender that was added last."""
        self._chosen = max(self._benders, default=None)
        self.fill(self._benders)
        self.name.setFocus()
        self.name.selectAll()

    def set_units(self, units: Units) -> None:
        self._units = self.boxes.units = units
        self.height_field.set_units(units)
        self.fill(self._benders)

    @property
    def _bender(self) -> Bender | None:
        return None if self._chosen is None else self._benders.get(self._chosen)

    def _show(self, bender: Bender | None) -> None:
        if not (self.name.hasFocus() and self.name.isModified()):
            self.name.setText(bender.name if bender else "")
            self.name.setCursorPosition(0)
        self.height_field.set_value(bender.height if bender else None)
        self.swing.show_choices(
            enumerate(SWINGS.values()), [*SWINGS].index(bender.swing) if bender is not None else None
        )
        self.moves.show_choices(
            enumerate(MOVES.values()), [*MOVES].index(bender.moves) if bender is not None else None
        )
        self.boxes.fill(bender.boxes if bender else ())
        self._show_drawing()

    def _show_drawing(self) -> None:
        row = self.boxes.currentRow()
        self.drawing.show_bender(self._bender, row if self.boxes.selectedItems() else None)

    def _make_fields(self, units: Units) -> None:
        self.choice = StillChoice()
        self.choice.setPlaceholderText("none yet")
        self.name = TextField()
        self.height_field = LengthField(units)
        self.swing = StillChoice()
        self.moves = StillChoice()
        self.add_box = QPushButton("Add box")
        self.remove_box = QPushButton("Remove box")
        self.add_box.setToolTip("Add a part of the bender that the tube must not hit.")
        self.remove_box.setToolTip("Take the selected box away.")
        self._parts = (self.choice, self.name, self.height_field, self.swing, self.moves, self.add_box)

    def _arrange(self) -> None:
        fields = QGridLayout()
        fields.setHorizontalSpacing(6)
        fields.setVerticalSpacing(4)
        for place, (label, field, tip) in enumerate(
            (
                ("Bender", self.choice, "Which machine is shown."),
                ("Name", self.name, "What the shop calls it."),
                ("Height", self.height_field, "From the floor to the middle of the tube."),
                ("Swing", self.swing, "Where the moving side of the tube goes, seen from the tail."),
                ("Moves", self.moves, "Which side of the bend moves; the other stands still."),
            )
        ):
            name = QLabel(label)
            name.setBuddy(field)
            field.setAccessibleName(label)
            for part in (name, field):
                part.setToolTip(tip)
            row, across = divmod(place, 2)
            fields.addWidget(name, row, 2 * across)
            fields.addWidget(field, row, 2 * across + 1)
        buttons = QHBoxLayout()
        buttons.setSpacing(6)
        buttons.addStretch(1)
        buttons.addWidget(self.add_box)
        buttons.addWidget(self.remove_box)
        fields.addLayout(buttons, 2, 2, 1, 2)
        fields.setColumnStretch(1, 1)
        fields.setColumnStretch(3, 1)
        axes = QLabel(AXES, wordWrap=True)
        axes.setProperty("kind", "faint")
        keep_to_width(axes)
        left = QVBoxLayout()
        left.setContentsMargins(10, 6, 0, 0)
        left.setSpacing(5)
        left.addLayout(fields)
        left.addWidget(self.boxes, 1)
        self._right = QWidget()
        right = QVBoxLayout(self._right)
        right.setContentsMargins(0, 4, 8, 4)
        right.addWidget(self.drawing, 1)
        right.addWidget(axes)
        both = QHBoxLayout(self)
        both.setContentsMargins(0, 0, 0, 0)
        both.addLayout(left, 8)
        both.addWidget(self._right, 7)

    def _on_choice(self, _index: int) -> None:
        self._chosen = self.choice.chosen
        self.boxes.clearSelection()
        self.fill(self._benders)

    def _tell(self, title: str, attribute: str, value: Any) -> None:
        if self._chosen is not None:
            self.changed.emit(self._chosen, title, attribute, value)

    def _on_name(self) -> None:
        if self.name.isModified():
            self.name.setModified(False)
            self._tell("name", "name", " ".join(self.name.text().split()))

    def _on_height(self, value: float) -> None:
        self._tell("height", "height", value)

    def _on_swing(self, _index: int) -> None:
        self._tell("swing", "swing", _of(SWINGS, self.swing))

    def _on_moves(self, _index: int) -> None:
        self._tell("moving side", "moves", _of(MOVES, self.moves))

    def _on_cell(self, row: int, column: int, text: str) -> None:
        bender = self._bender
        if bender is None or row >= len(bender.boxes):
            return
        try:
            box = with_cell(bender.boxes[row], column, text, self._units)
        except ValueError as error:
            self.refused.emit(str(error))
            self.boxes.fill(bender.boxes)
            return
        self._tell("boxes", "boxes", (*bender.boxes[:row], box, *bender.boxes[row + 1 :]))

    def _on_add_box(self) -> None:
        bender = self._bender
        if bender is not None:
            self._tell("boxes", "boxes", (*bender.boxes, FIRST_BOX))
            self.boxes.setCurrentCell(self.boxes.rowCount() - 1, 0)
            self.boxes.setFocus()

    def _on_remove_box(self) -> None:
        bender, row = self._bender, self.boxes.currentRow()
        if bender is None or not self.boxes.selectedItems():
            self.refused.emit("Select the box to remove first.")
            return
        self._tell("boxes", "boxes", bender.boxes[:row] + bender.boxes[row + 1 :])


def with_cell(box: Box, column: int, text: str, units: Units) -> Box:
    """Return the box with what was typed in one of its cells; ValueError with a sentence."""
    if column == 0:
        name = " ".join(text.split())
        if not name:
            raise ValueError("A box needs a name; type a word or two.")
        return replace(box, name=name)
    numbers = [*box.low, *box.high]
    numbers[column - 1] = unit_text.parse_length(text, units)
    return replace(box, low=_point(numbers[:3]), high=_point(numbers[3:]))


def _point(numbers: list[float]) -> Vec3:
    x, y, z = numbers
    return x, y, z


def _of(words: Mapping[str, str], box: ChoiceBox) -> str:
    return [*words][box.currentIndex()]
