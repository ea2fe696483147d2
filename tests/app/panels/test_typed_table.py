"""Cells are typed over with keys alone."""

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLineEdit, QTableWidgetItem
from pytestqt.qtbot import QtBot

from app.panels.typed_table import TypedTable


def test_enter_opens_a_cell_and_enter_closes_it(qtbot: QtBot) -> None:
    table = TypedTable(2, "Things")
    qtbot.addWidget(table)
    table.show_titles([("Name", "What it is called", False), ("Size", "How large it is", True)])
    table.setRowCount(1)
    for place, text in enumerate(("a", "1")):
        table.setItem(0, place, QTableWidgetItem(text))
    table.show()
    table.setCurrentCell(0, 1)
    qtbot.keyClick(table, Qt.Key.Key_Return)
    editor = table.findChild(QLineEdit)
    assert editor is not None
    editor.selectAll()
    qtbot.keyClicks(editor, "25")
    qtbot.keyClick(editor, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: table.item(0, 1).text() == "25")  # type: ignore[union-attr]
    assert table.state() != table.State.EditingState
    assert table.horizontalHeaderItem(1).toolTip() == "How large it is."  # type: ignore[union-attr]
