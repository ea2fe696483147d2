"""Small tables of numbers in the pages at the right: no scroll bars, no grid, Tab leaves them."""

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTableWidget, QTableWidgetItem

ROW_HEIGHT = 23


def number_table(titles: tuple[str, ...]) -> QTableWidget:
    """A table as wide as there is room, of words in the first column and numbers in the others."""
    table = QTableWidget(0, len(titles))
    table.setHorizontalHeaderLabels(titles)
    table.setProperty("tight", True)
    table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
    table.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    table.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    table.setShowGrid(False)
    table.setWordWrap(False)
    table.setTabKeyNavigation(False)  # Tab leaves the table; while typing it goes to the next cell
    table.verticalHeader().hide()
    table.verticalHeader().setDefaultSectionSize(ROW_HEIGHT)
    header = table.horizontalHeader()
    header.setHighlightSections(False)
    header.setMinimumSectionSize(18)
    header.setDefaultAlignment(Qt.AlignmentFlag.AlignRight)
    header.setSectionResizeMode(QHeaderView.ResizeMode.Stretch)
    header.setSectionResizeMode(0, QHeaderView.ResizeMode.ResizeToContents)
    return table


def show_cell(
    table: QTableWidget, row: int, column: int, text: str, *, editable: bool = False
) -> QTableWidgetItem:
    """Show a text in a cell; the first column holds words, the others numbers."""
    item = table.item(row, column)
    if item is None:
        item = QTableWidgetItem()
        flags = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
        item.setFlags(flags | Qt.ItemFlag.ItemIsEditable if editable else flags)
        side = Qt.AlignmentFlag.AlignRight if column else Qt.AlignmentFlag.AlignLeft
        item.setTextAlignment(side | Qt.AlignmentFlag.AlignVCenter)
        table.setItem(row, column, item)
    if item.text() != text:
        item.setText(text)
    return item


def fit_height(table: QTableWidget) -> None:
    height = table.horizontalHeader().sizeHint().height() + ROW_HEIGHT * table.rowCount() + 2
    table.setFixedHeight(height)
