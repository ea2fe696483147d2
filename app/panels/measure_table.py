"""A table of lengths, one row a thing that was measured; cells take what a tape says: `1 1/2`, `38.1 mm`."""

from collections.abc import Sequence
from typing import Any

from msgspec import Struct
from msgspec.structs import replace
from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QSize, Qt, Signal
from PySide6.QtGui import QFocusEvent, QKeyEvent, QWheelEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTableWidget,
    QTableWidgetItem,
    QWidget,
)

from app import units as unit_text
from app.guarded import guarded
from app.units import Units

ROW_HEIGHT = 24
WRAPPED_HEIGHT = 36  # for inches in fractions: `66 11/16` stands on two lines where seven share a dock
MANY_COLUMNS = 5
SMALLER = 0.88  # of the usual type, for the same reason
TYPED = "166 11/16 in+"  # what a cell has to show while it is typed


class Column(Struct, frozen=True):
    """One length: its attribute, the short title over it, its name in a sentence, and how to measure it."""

    attribute: str
    title: str
    label: str
    tip: str


class TypingRoom(QStyledItemDelegate):
    """Gives a cell that is typed room for the longest length, over the cells at its left or right."""

    @guarded()
    def updateEditorGeometry(
        self, editor: QWidget, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex
    ) -> None:
        super().updateEditorGeometry(editor, option, index)
        place, whole = editor.geometry(), editor.fontMetrics().horizontalAdvance(TYPED)
        if place.width() < whole:
            place.setLeft(max(place.right() - whole, 0))
            place.setWidth(whole)
            editor.setGeometry(place)


class MeasureTable(QTableWidget):
    """Holds frozen things and replaces them as cells are typed.

    A cell that can't be read keeps what was typed, so that it can be mended, and says why.
    """

    edited = Signal()

    def __init__(
        self, name: str, row_name: str, columns: Sequence[Column], units: Units, parent: QWidget | None = None
    ) -> None:
        super().__init__(0, len(columns), parent)
        self._row_name = row_name
        self._columns = tuple(columns)
        self._units = units
        self._things: list[Any] = []
        self._unread: dict[tuple[int, str], tuple[str, str]] = {}  # what was typed, and why it can't be read
        self._filling = False
        self.setAccessibleName(name)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setTabKeyNavigation(False)
        font = self.font()
        font.setPointSizeF(font.pointSizeF() * SMALLER)
        self.setFont(font)
        self.setWordWrap(True)
        self.setItemDelegate(TypingRoom(self))
        if self._is_crowded:
            self.setStyleSheet("QTableView::item { padding: 0 2px; }")
        self.setEditTriggers(
            QAbstractItemView.EditTrigger.DoubleClicked
            | QAbstractItemView.EditTrigger.AnyKeyPressed
            | QAbstractItemView.EditTrigger.EditKeyPressed
            | QAbstractItemView.EditTrigger.SelectedClicked
        )
        self._show_titles()
        self.itemChanged.connect(self._on_item_changed)

    @property
    def things(self) -> tuple[Any, ...]:
        return tuple(self._things)

    @property
    def problem(self) -> str:
        """The first cell that can't be read, as a sentence; empty when all can."""
        return self._why(min(self._unread)) if self._unread else ""

    def set_things(self, things: Sequence[Any]) -> None:
        """Show other things; what could not be read is forgotten."""
        self._things = list(things)
        self._unread.clear()
        self._fill()

    def set_units(self, units: Units) -> None:
        self._units = units
        self._show_titles()
        self._fill()

    def insert(self, row: int, thing: Any) -> None:
        """Put a thing before a row and go there."""
        self._shift_unread(row, 1)
        self._things.insert(row, thing)
        self._fill()
        self.setCurrentCell(row, 0)
        self.edited.emit()

    def remove(self, row: int) -> None:
        self._unread = {key: words for key, words in self._unread.items() if key[0] != row}
        self._shift_unread(row, -1)
        del self._things[row]
        self._fill()
        self.setCurrentCell(min(row, len(self._things) - 1), max(self.currentColumn(), 0))
        self.edited.emit()

    def mark(self, row: int, attribute: str, sentence: str) -> None:
        """Show that a cell is refused and why; an empty attribute takes all such marks away."""
        self._filling = True
        for there in range(len(self._things)):
            for place, column in enumerate(self._columns):
                key = (there, column.attribute)
                why = self._why(key) or (sentence if key == (row, attribute) else "")
                self._dress(self.item(there, place), column, why)
        self._filling = False

    def go_to(self, row: int, attribute: str) -> None:
        """Put the cursor into a cell."""
        for place, column in enumerate(self._columns):
            if column.attribute == attribute and 0 <= row < len(self._things):
                self.setCurrentCell(row, place)
                self.setFocus()

    def go_to_problem(self) -> None:
        if self._unread:
            self.go_to(*min(self._unread))

    @property
    def _is_crowded(self) -> bool:
        return len(self._columns) > MANY_COLUMNS

    @property
    def _row_height(self) -> int:
        return WRAPPED_HEIGHT if self._is_crowded and self._units.length == "in-fraction" else ROW_HEIGHT

    @property
    def _first_column(self) -> QHeaderView.ResizeMode:
        is_wide = self._is_crowded and self._units.length != "in-fraction"  # fractions wrap
        return QHeaderView.ResizeMode.ResizeToContents if is_wide else QHeaderView.ResizeMode.Stretch

    def _shift_unread(self, first: int, by: int) -> None:
        self._unread = {
            (row + by if row >= first else row, attribute): words
            for (row, attribute), words in self._unread.items()
        }

    def _show_titles(self) -> None:
        for place, column in enumerate(self._columns):
            heading = QTableWidgetItem(column.title)
            heading.setToolTip(column.tip)
            heading.setTextAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
            self.setHorizontalHeaderItem(place, heading)
        header = self.horizontalHeader()
        header.setSectionResizeMode(QHeaderView.ResizeMode.Stretch)
        header.setSectionResizeMode(0, self._first_column)  # the only one with signs and hundreds of inches
        header.setStyleSheet("QHeaderView::section { padding: 2px 3px; }")
        header.setHighlightSections(False)
        header.setMinimumSectionSize(30)
        rows = self.verticalHeader()
        rows.setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        rows.setDefaultSectionSize(self._row_height)
        rows.setFixedWidth(22)
        rows.setStyleSheet("QHeaderView::section { padding: 0 3px; }")
        self.setCornerButtonEnabled(False)

    def _fill(self) -> None:
        self._filling = True
        self.setRowCount(len(self._things))
        for row, thing in enumerate(self._things):
            for place, column in enumerate(self._columns):
                key = (row, column.attribute)
                typed = self._unread[key][0] if key in self._unread else None
                item = QTableWidgetItem(typed or self._text(getattr(thing, column.attribute)))
                item.setTextAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
                self._dress(item, column, self._why(key))
                self.setItem(row, place, item)
        self._filling = False
        self.setFixedHeight(self.sizeHint().height())

    def _why(self, key: tuple[int, str]) -> str:
        """Return why a cell can't be read, naming it; empty when it can."""
        if key not in self._unread:
            return ""
        row, attribute = key
        label = next(column.label for column in self._columns if column.attribute == attribute)
        return f"{self._row_name} {row + 1}, {label}: {self._unread[key][1]}"

    def _text(self, value: float) -> str:
        """Return a length as narrow as it can be said: seven of them stand side by side."""
        text = unit_text.format_length(value, self._units, unit=False)
        return text.rstrip("0").rstrip(".") if "." in text else text

    def _dress(self, item: QTableWidgetItem | None, column: Column, sentence: str) -> None:
        """Show a cell as fine or as refused: bold, in the warning colour, with the reason as its tip."""
        if item is None:
            return
        font = self.font()
        font.setBold(bool(sentence))
        item.setFont(font)
        item.setForeground(self.palette().brightText() if sentence else self.palette().text())
        item.setToolTip(sentence or column.tip)

    def _on_item_changed(self, item: QTableWidgetItem) -> None:
        if self._filling:
            return
        row, column = item.row(), self._columns[item.column()]
        try:
            value = unit_text.parse_length(item.text(), self._units)
        except ValueError as error:
            self._unread[(row, column.attribute)] = (item.text(), str(error))
            self.edited.emit()
            return
        self._unread.pop((row, column.attribute), None)
        if item.text() != self._text(getattr(self._things[row], column.attribute)):
            self._things[row] = replace(self._things[row], **{column.attribute: value})
        self._filling = True
        item.setText(self._text(value))
        self._filling = False
        self.edited.emit()

    @guarded(QSize(200, 60))
    def sizeHint(self) -> QSize:
        header = self.horizontalHeader().sizeHint().height()
        return QSize(356, header + self._row_height * len(self._things) + 2 * self.frameWidth())

    @guarded(QSize(120, 60))
    def minimumSizeHint(self) -> QSize:
        return QSize(120, self.sizeHint().height())

    @guarded()
    def wheelEvent(self, event: QWheelEvent) -> None:
        event.ignore()  # all rows are in sight; the panel scrolls

    @guarded()
    def focusInEvent(self, event: QFocusEvent) -> None:
        super().focusInEvent(event)
        if not self.currentIndex().isValid() and self._things:
            self.setCurrentCell(0, 0)

    @guarded()
    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter opens a cell; with a modifier it belongs to the panel, as Escape does."""
        is_enter = event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter)
        if event.key() == Qt.Key.Key_Escape or (
            is_enter and event.modifiers() & Qt.KeyboardModifier.ControlModifier
        ):
            event.ignore()
        elif is_enter and self.currentItem() is not None:
            self.editItem(self.currentItem())
        else:
            super().keyPressEvent(event)
