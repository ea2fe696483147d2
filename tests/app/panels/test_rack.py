"""The rack: every cell is a number in the person's unit, every change one undo step."""

import math
from collections.abc import Callable

import pytest
from pytestqt.qtbot import QtBot

from app.panels.rack import DIE_COLUMNS, STOCK_COLUMNS, RackPanel, cell_text, cell_value
from app.session import Session
from app.units import INCH_FRACTIONS, INCHES, MILLIMETRES, Units

Named = Callable[[str], int]


@pytest.fixture
def panel(qtbot: QtBot, session: Session) -> RackPanel:
    panel = RackPanel(session, MILLIMETRES)
    qtbot.addWidget(panel)
    panel.resize(780, 300)
    panel.show()
    return panel


def type_into(panel: RackPanel, table: str, row: int, title: str, text: str) -> None:
    tables = {"stocks": panel.stocks, "dies": panel.dies}
    column = [column.title for column in tables[table].columns].index(title)
    item = tables[table].item(row, column)
    assert item is not None
    item.setText(text)


def test_all_stock_and_dies_have_a_row(panel: RackPanel, session: Session) -> None:
    assert panel.stocks.rowCount() == len(session.layout.stocks)
    assert panel.dies.rowCount() == len(session.layout.dies)


def test_a_size_is_typed_in_any_unit(panel: RackPanel, session: Session) -> None:
    id = next(iter(session.layout.stocks))
    type_into(panel, "stocks", 0, "Wall", "0.134 in")
    assert session.layout.stocks[id].wall == pytest.approx(0.134 * 25.4)
    session.undo()
    assert session.layout.stocks[id].wall != pytest.approx(0.134 * 25.4)


def test_an_angle_is_typed_in_degrees(panel: RackPanel, session: Session) -> None:
    id = next(iter(session.layout.dies))
    type_into(panel, "dies", 0, "Largest", "95")
    assert session.layout.dies[id].largest_angle == pytest.approx(math.radians(95))


@pytest.mark.parametrize(("title", "text"), [("Wall", "thick"), ("Least CLR", "3 D"), ("Name", " ")])
def test_what_can_not_be_read_is_refused_and_put_back(
    qtbot: QtBot, panel: RackPanel, session: Session, title: str, text: str
) -> None:
    before = session.layout
    with qtbot.waitSignal(session.refused):
        type_into(panel, "stocks", 0, title, text)
    assert session.layout is before


def test_a_wall_thicker_than_the_tube_is_refused(qtbot: QtBot, panel: RackPanel, session: Session) -> None:
    with qtbot.waitSignal(session.refused):
        type_into(panel, "stocks", 0, "Wall", "30")


def test_stock_in_use_is_not_removed(qtbot: QtBot, panel: RackPanel, session: Session) -> None:
    panel.stocks.selectRow(0)
    with qtbot.waitSignal(session.refused) as refused:
        panel._on_remove()
    assert "Hoop" in refused.args[0]


def test_a_new_row_is_like_the_selected_one(panel: RackPanel, session: Session) -> None:
    panel.stocks.selectRow(1)
    like = list(session.layout.stocks.values())[1]
    panel._on_add()
    new = list(session.layout.stocks.values())[-1]
    assert (new.od, new.wall) == (like.od, like.wall)
    assert new.name != like.name
    panel.stocks.selectRow(panel.stocks.rowCount() - 1)
    panel._on_remove()
    assert new.id not in session.layout.stocks


@pytest.mark.parametrize("units", [MILLIMETRES, INCHES, INCH_FRACTIONS])
def test_every_cell_reads_back_as_its_number(session: Session, units: Units) -> None:
    """Half of the smallest step that is shown is all that a cell may lose."""
    for things, columns in (
        (session.layout.stocks.values(), STOCK_COLUMNS),
        (session.layout.dies.values(), DIE_COLUMNS),
    ):
        for thing in things:
            for column in columns:
                if column.attribute and column.kind != "text":
                    value = getattr(thing, column.attribute)
                    read = cell_value(column, cell_text(thing, column, units), units)  # type: ignore[arg-type]
                    assert read == pytest.approx(value, abs=25.4 / 32)


def test_no_column_is_cut_off_at_the_smallest_window(panel: RackPanel) -> None:
    for table in (panel.stocks, panel.dies):
        panel.tabs.setCurrentWidget(table)
        assert table.horizontalHeader().length() <= table.viewport().width()
