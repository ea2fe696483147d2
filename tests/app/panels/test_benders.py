"""Benders: numbers, boxes and the drawing of them."""

from typing import Any

import pytest
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

from app import theme
from app.panels.benders import BendersPage, with_cell
from app.panels.rack import RackPanel
from app.session import Session
from app.units import INCH_FRACTIONS, INCHES, MILLIMETRES
from geometry.layout import Bender, Box

BOX = Box("Post", (-100.0, 0.0, -900.0), (100.0, 200.0, -100.0))


@pytest.fixture
def panel(qtbot: QtBot, session: Session) -> RackPanel:
    panel = RackPanel(session, MILLIMETRES)
    qtbot.addWidget(panel)
    panel.resize(750, 250)
    panel.tabs.setCurrentWidget(panel.benders)
    panel.show()
    return panel


@pytest.fixture
def page(panel: RackPanel) -> BendersPage:
    return panel.benders


def bender(session: Session) -> Bender:
    return next(iter(session.layout.benders.values()))


def type_into_box(page: BendersPage, row: int, column: int, text: str) -> None:
    page.boxes.item(row, column).setText(text)  # type: ignore[union-attr]


def test_the_bender_of_the_common_rack_is_shown(page: BendersPage, session: Session) -> None:
    assert page.choice.currentText() == page.name.text() == "Floor bender"
    assert page.height_field.text() == "1000.0 mm"
    assert (page.swing.currentText(), page.moves.currentText()) == ("to the left", "the leading end")
    assert page.boxes.rowCount() == len(bender(session).boxes)
    assert page.boxes.item(0, 3).text() == "-1000"  # type: ignore[union-attr]


def test_each_number_is_one_undo_step(qtbot: QtBot, page: BendersPage, session: Session) -> None:
    page.height_field.setFocus()
    page.height_field.selectAll()
    qtbot.keyClicks(page.height_field, "3 ft")
    qtbot.keyClick(page.height_field, Qt.Key.Key_Return)
    assert bender(session).height == pytest.approx(914.4)
    page.name.setFocus()
    page.name.selectAll()
    qtbot.keyClicks(page.name, "Yard bender")
    qtbot.keyClick(page.name, Qt.Key.Key_Return)
    assert bender(session).name == "Yard bender"
    for choice in (page.swing, page.moves):
        choice.setFocus()
        qtbot.keyClick(choice, Qt.Key.Key_Down)
    assert (bender(session).swing, bender(session).moves) == ("right", "tail")
    type_into_box(page, 0, 6, "-190")
    assert bender(session).boxes[0].high[2] == -190.0
    type_into_box(page, 0, 0, "Post")
    assert bender(session).boxes[0].name == "Post"
    assert session.undo_stack.count() == 6
    for _ in range(6):
        session.undo()
    assert page.boxes.item(0, 0).text() == "Pedestal"  # type: ignore[union-attr]
    assert page.name.text() == "Floor bender"


@pytest.mark.parametrize(
    ("column", "text", "says"),
    [(1, "wide", "can't be read"), (1, "900", "corner on the wrong side"), (0, " ", "needs a name")],
)
def test_wrong_numbers_are_refused_and_put_back(
    qtbot: QtBot, page: BendersPage, session: Session, column: int, text: str, says: str
) -> None:
    before, shown = session.layout, page.boxes.item(0, column).text()  # type: ignore[union-attr]
    with qtbot.waitSignal(session.refused) as refused:
        type_into_box(page, 0, column, text)
    assert says in refused.args[0]
    assert session.layout is before
    assert page.boxes.item(0, column).text() == shown  # type: ignore[union-attr]


def test_a_height_below_the_floor_is_refused(qtbot: QtBot, page: BendersPage, session: Session) -> None:
    page.height_field.setFocus()
    page.height_field.selectAll()
    qtbot.keyClicks(page.height_field, "-5")
    with qtbot.waitSignal(session.refused):
        qtbot.keyClick(page.height_field, Qt.Key.Key_Return)
    assert page.height_field.text() == "1000.0 mm"


def test_boxes_come_and_go(qtbot: QtBot, page: BendersPage, session: Session) -> None:
    count = len(bender(session).boxes)
    qtbot.mouseClick(page.add_box, Qt.MouseButton.LeftButton)
    assert len(bender(session).boxes) == count + 1
    assert page.boxes.currentRow() == count
    qtbot.mouseClick(page.remove_box, Qt.MouseButton.LeftButton)
    assert len(bender(session).boxes) == count
    page.boxes.clearSelection()
    with qtbot.waitSignal(session.refused):
        qtbot.mouseClick(page.remove_box, Qt.MouseButton.LeftButton)


def test_a_second_bender_is_added_and_chosen(panel: RackPanel, page: BendersPage, session: Session) -> None:
    panel._on_add()
    new = [*session.layout.benders.values()][-1]
    assert new.name == "Floor bender (2)"
    assert page.chosen == new.id
    panel._on_remove()
    assert page.chosen == bender(session).id
    page.choice.setCurrentIndex(0)


def test_a_bender_that_holds_dies_is_not_removed(qtbot: QtBot, panel: RackPanel, session: Session) -> None:
    with qtbot.waitSignal(session.refused) as refused:
        panel._on_remove()
    assert "Floor bender is used by" in refused.args[0]


@pytest.mark.parametrize("units", [MILLIMETRES, INCHES, INCH_FRACTIONS])
def test_no_box_is_cut_off_at_the_smallest_window(panel: RackPanel, page: BendersPage, units: Any) -> None:
    panel.setStyleSheet(theme.style_sheet(False))
    panel.set_units(units)
    assert page.boxes.horizontalHeader().length() <= page.boxes.viewport().width()
    for row in range(page.boxes.rowCount()):
        name = page.boxes.item(row, 0).text()  # type: ignore[union-attr]
        assert page.boxes.fontMetrics().horizontalAdvance(name) + 10 <= page.boxes.columnWidth(0)


def test_a_cell_changes_its_own_number_only() -> None:
    for column in range(1, 7):
        box = with_cell(BOX, column, "7", MILLIMETRES)
        numbers = [*BOX.low, *BOX.high]
        numbers[column - 1] = 7.0
        assert [*box.low, *box.high] == numbers
    assert with_cell(BOX, 1, "1", INCHES).low[0] == 25.4
