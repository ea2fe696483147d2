"""The rack: tables, forms and benders; every change is one undo step."""

import math
from functools import partial
from typing import Any

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLineEdit
from pytestqt.qtbot import QtBot

from app import theme
from app.panels.rack import RackPanel
from app.panels.rack_page import RackPage
from app.panels.rows import ChoiceBox
from app.session import Session
from app.units import INCHES, MILLIMETRES
from geometry import rack
from geometry.layout import Layout, TrialBend


@pytest.fixture
def panel(qtbot: QtBot, session: Session) -> RackPanel:
    panel = RackPanel(session, MILLIMETRES)
    qtbot.addWidget(panel)
    panel.resize(750, 250)
    panel.show()
    return panel


def open_tab(panel: RackPanel, page: Any) -> None:
    panel.tabs.setCurrentWidget(page)


def type_into_cell(page: RackPage, row: int, title: str, text: str) -> None:
    column = [column.title for column in page.table.columns].index(title)
    item = page.table.item(row, column)
    assert item is not None
    item.setText(text)


def type_into_field(qtbot: QtBot, page: RackPage, attribute: str, text: str) -> None:
    field = page.form.fields[attribute]
    assert isinstance(field, QLineEdit)
    field.setFocus()
    field.selectAll()
    qtbot.keyClicks(field, text)
    if not text:
        qtbot.keyClick(field, Qt.Key.Key_Backspace)
    qtbot.keyClick(field, Qt.Key.Key_Return)


def first(things: dict[int, Any]) -> Any:
    return next(iter(things.values()))


def test_all_stock_and_dies_have_a_row(panel: RackPanel, session: Session) -> None:
    assert panel.stocks.table.rowCount() == len(session.layout.stocks)
    assert panel.dies.table.rowCount() == len(session.layout.dies)
    assert panel.stocks.chosen == first(session.layout.stocks).id


def test_a_size_is_typed_in_any_unit(panel: RackPanel, session: Session) -> None:
    type_into_cell(panel.stocks, 0, "Wall", "0.134 in")
    assert first(session.layout.stocks).wall == pytest.approx(0.134 * 25.4)
    assert session.undo_stack.count() == 1
    session.undo()
    assert first(session.layout.stocks).wall != pytest.approx(0.134 * 25.4)


@pytest.mark.parametrize(
    ("attribute", "text", "value"),
    [
        ("name", "Main hoop", "Main hoop"),
        ("material", "1020", "1020"),
        ("batch", "B 7", "B 7"),
        ("yield_strength", "350", 350.0),
        ("stick", "20 ft", 6096.0 / 1.0),
        ("least_clr_ratio", "2.5", 2.5),
        ("wall", "3 mm", 3.0),
        ("density", "8000", 8e-6),
    ],
)
def test_every_number_of_a_stock_is_typed_into_the_form(
    qtbot: QtBot, panel: RackPanel, session: Session, attribute: str, text: str, value: Any
) -> None:
    steps = session.undo_stack.count()
    type_into_field(qtbot, panel.stocks, attribute, text)
    assert getattr(first(session.layout.stocks), attribute) == (
        pytest.approx(value) if isinstance(value, float) else value
    )
    assert session.undo_stack.count() <= steps + 1


@pytest.mark.parametrize(
    ("attribute", "text", "value"),
    [
        ("largest_angle", "95", math.radians(95.0)),
        ("first_straight", "210", 210.0),
        ("between_straight", "85", 85.0),
        ("reference", "-12.5", -12.5),
        ("clr", "4.75 in", 120.65),
    ],
)
def test_every_number_of_a_die_is_typed_into_the_form(
    qtbot: QtBot, panel: RackPanel, session: Session, attribute: str, text: str, value: float
) -> None:
    open_tab(panel, panel.dies)
    type_into_field(qtbot, panel.dies, attribute, text)
    assert getattr(first(session.layout.dies), attribute) == pytest.approx(value)
    assert session.undo_stack.count() == 1


def test_a_wiped_yield_strength_is_not_known(qtbot: QtBot, panel: RackPanel, session: Session) -> None:
    type_into_field(qtbot, panel.stocks, "yield_strength", "350")
    type_into_field(qtbot, panel.stocks, "yield_strength", "")
    assert first(session.layout.stocks).yield_strength == 0.0
    assert panel.stocks.form.fields["yield_strength"].placeholderText() == "not known"  # type: ignore[union-attr]


def test_a_wiped_name_comes_back(qtbot: QtBot, panel: RackPanel, session: Session) -> None:
    before = session.layout
    type_into_field(qtbot, panel.stocks, "name", "")
    assert session.layout is before
    assert panel.stocks.form.fields["name"].text() == first(before.stocks).name  # type: ignore[union-attr]


@pytest.mark.parametrize(("title", "text"), [("Wall", "thick"), ("Wall", "30"), ("OD", "0"), ("Name", " ")])
def test_what_can_not_be_is_refused_and_put_back(
    qtbot: QtBot, panel: RackPanel, session: Session, title: str, text: str
) -> None:
    before = session.layout
    with qtbot.waitSignal(session.refused):
        type_into_cell(panel.stocks, 0, title, text)
    assert session.layout is before
    column = [column.title for column in panel.stocks.table.columns].index(title)
    assert panel.stocks.table.item(0, column).text() != text  # type: ignore[union-attr]


def test_what_the_form_refuses_comes_back(qtbot: QtBot, panel: RackPanel, session: Session) -> None:
    with qtbot.waitSignal(session.refused):
        type_into_field(qtbot, panel.stocks, "wall", "30")
    assert panel.stocks.form.fields["wall"].text() == "2.41 mm"  # type: ignore[union-attr]


def test_choices_are_made_with_the_keyboard(qtbot: QtBot, panel: RackPanel, session: Session) -> None:
    open_tab(panel, panel.dies)
    box = panel.dies.form.fields["mark_at"]
    assert isinstance(box, ChoiceBox)
    box.setFocus()
    qtbot.keyClick(box, Qt.Key.Key_Down)
    assert first(session.layout.dies).mark_at == "middle"
    bender = panel.dies.form.fields["bender"]
    bender.setFocus()
    qtbot.keyClick(bender, Qt.Key.Key_Up)
    assert first(session.layout.dies).bender is None
    assert session.undo_stack.count() == 2
    session.undo()
    assert bender.currentText() == "Floor bender"  # type: ignore[union-attr]


def test_the_form_follows_the_selected_row(panel: RackPanel, session: Session) -> None:
    panel.stocks.table.selectRow(3)
    name = [*session.layout.stocks.values()][3].name
    assert panel.stocks.form.fields["name"].text() == name  # type: ignore[union-attr]


def select(page: RackPage, *rows: int) -> None:
    page.table.clearSelection()
    page.table.setSelectionMode(page.table.SelectionMode.MultiSelection)
    for row in rows:
        page.table.selectRow(row)
    page.table.setSelectionMode(page.table.SelectionMode.ExtendedSelection)


def test_what_is_entered_is_set_for_all_that_are_selected(
    qtbot: QtBot, panel: RackPanel, session: Session
) -> None:
    open_tab(panel, panel.dies)
    select(panel.dies, 0, 1, 2)
    fields = panel.dies.form.fields
    assert not fields["name"].isEnabled()
    assert (fields["clr"].text(), fields["clr"].placeholderText()) == ("", "several")  # type: ignore[union-attr]
    assert fields["tail"].text() == "300.0 mm"  # type: ignore[union-attr]
    assert panel._trials.text().startswith("3 dies are selected")
    assert not panel.trials_button.isEnabled()
    type_into_field(qtbot, panel.dies, "tail", "280")
    assert [die.tail for die in session.layout.dies.values()][:4] == [280.0, 280.0, 280.0, 300.0]
    fields["bender"].setFocus()
    qtbot.keyClick(fields["bender"], Qt.Key.Key_Up)
    assert [die.bender is None for die in session.layout.dies.values()][:4] == [True, True, True, False]
    assert session.undo_stack.undoText() == "Set bender of 3 dies"
    assert session.undo_stack.count() == 2
    panel.dies.table.selectRow(0)
    assert fields["clr"].text() == "114.3 mm"  # type: ignore[union-attr]
    assert fields["name"].isEnabled()


def test_stock_in_use_is_not_removed(qtbot: QtBot, panel: RackPanel, session: Session) -> None:
    panel.stocks.table.selectRow(0)
    with qtbot.waitSignal(session.refused) as refused:
        panel._on_remove()
    assert "Hoop" in refused.args[0]


def test_a_new_row_is_like_the_selected_one(panel: RackPanel, session: Session) -> None:
    panel.stocks.table.selectRow(1)
    like = [*session.layout.stocks.values()][1]
    panel._on_add()
    new = [*session.layout.stocks.values()][-1]
    assert (new.od, new.wall) == (like.od, like.wall)
    assert new.name != like.name
    assert panel.stocks.chosen == new.id
    panel._on_remove()
    assert new.id not in session.layout.stocks


def test_several_rows_go_in_one_step(panel: RackPanel, session: Session) -> None:
    open_tab(panel, panel.dies)
    ids = [*session.layout.dies][2:4]
    select(panel.dies, 2, 3)
    panel._on_remove()
    assert not set(ids) & set(session.layout.dies)
    session.undo()
    assert set(ids) <= set(session.layout.dies)


def test_trial_bends_of_a_die_are_counted_and_asked_for(
    qtbot: QtBot, panel: RackPanel, session: Session
) -> None:
    open_tab(panel, panel.dies)
    die, stock = first(session.layout.dies), first(session.layout.stocks)
    trial = TrialBend(0, die.id, stock.id, "", "", 900.0, 400.0, 1.6, 1.5)
    session.apply("Add trial bend", lambda now: rack.add_trial(now, trial)[0])
    column = [column.title for column in panel.dies.table.columns].index("Trials")
    assert [panel.dies.table.item(row, column).text() for row in (0, 1)] == ["1", "none"]  # type: ignore[union-attr]
    assert panel._trials.text() == "1 trial bend: 1 of 1.50 × 0.095 in."
    with qtbot.waitSignal(panel.trials_wanted) as wanted:
        qtbot.mouseClick(panel.trials_button, Qt.MouseButton.LeftButton)
    assert wanted.args == [die.id]


def test_inches_show_everywhere(panel: RackPanel) -> None:
    panel.set_units(INCHES)
    assert panel.stocks.form.fields["wall"].text() == "0.095 in"  # type: ignore[union-attr]
    assert panel.stocks.form.fields["modulus"].text() == "29732.7 ksi"  # type: ignore[union-attr]
    assert panel.benders.height_field.text() == "39.370 in"


def test_an_empty_rack_is_filled_again(qtbot: QtBot, session: Session) -> None:
    session.open(Layout(), None)
    panel = RackPanel(session, MILLIMETRES)
    qtbot.addWidget(panel)
    assert not panel.stocks.form.isEnabled()
    assert not panel.trials_button.isEnabled()
    for page, things in ((panel.stocks, "stocks"), (panel.dies, "dies"), (panel.benders, "benders")):
        open_tab(panel, page)
        with qtbot.waitSignal(session.refused):
            panel._on_remove()
        panel._on_add()
        assert len(getattr(session.layout, things)) == 1
    assert panel.stocks.form.isEnabled()


@pytest.mark.parametrize("units", [MILLIMETRES, INCHES])
def test_no_column_is_cut_off_at_the_smallest_window(panel: RackPanel, units: Any) -> None:
    panel.setStyleSheet(theme.style_sheet(False))
    panel.set_units(units)
    for page in (panel.stocks, panel.dies):
        open_tab(panel, page)
        header, table = page.table.horizontalHeader(), page.table
        assert header.length() <= table.viewport().width()
        assert page.form.width() <= page.form.parentWidget().width()
        metrics = table.fontMetrics()
        for row in range(table.rowCount()):
            assert metrics.horizontalAdvance(table.item(row, 0).text()) + 10 <= header.sectionSize(0)  # type: ignore[union-attr]


def fits(page: RackPage) -> bool:
    return page.form.minimumSizeHint().width() <= page.form.parentWidget().width()


def test_a_narrow_rack_shows_names_and_one_field_a_row(qtbot: QtBot, panel: RackPanel) -> None:
    panel.setStyleSheet(theme.style_sheet(False))
    for width, hidden in ((430, True), (750, False)):
        panel.resize(width, 250)
        for page in (panel.stocks, panel.dies):
            open_tab(panel, page)
            assert page.table.isColumnHidden(1) is hidden
            qtbot.waitUntil(partial(fits, page))
        open_tab(panel, panel.benders)
        assert panel.benders.drawing.isVisible() is not hidden
