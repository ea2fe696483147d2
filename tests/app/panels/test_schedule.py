"""The schedule table: the same numbers as on paper, live, and selected together with the view."""

import math
from collections.abc import Callable

import pytest
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

from app import wording
from app.panels.schedule import BENDS, BLANK, NEAREST, SchedulePanel
from app.session import Session
from app.units import INCH_FRACTIONS, MILLIMETRES, format_length
from geometry import edits
from geometry.checks import findings
from geometry.shop import schedule

Named = Callable[[str], int]


@pytest.fixture
def panel(qtbot: QtBot, session: Session) -> SchedulePanel:
    panel = SchedulePanel(session, MILLIMETRES)
    qtbot.addWidget(panel)
    panel.resize(700, 200)
    panel.show()
    return panel


def cells(panel: SchedulePanel, row: int) -> list[str]:
    return [str(panel.model.index(row, column).data()) for column in range(NEAREST + 1)]


def test_each_tube_has_a_row_with_the_schedules_numbers(panel: SchedulePanel, session: Session) -> None:
    built = schedule.build(session.layout)
    assert panel.model.rowCount() == len(built.records) == 2
    for row, record in enumerate(built.records):
        shown = cells(panel, row)
        assert shown[0] == record.name
        assert shown[2] == format_length(record.centreline, MILLIMETRES, unit=False)
        assert shown[3] == str(math.ceil(record.blank - 1e-6))


def test_the_table_follows_a_change(
    qtbot: QtBot, panel: SchedulePanel, session: Session, named: Named
) -> None:
    before = cells(panel, 0)[2]
    node = session.layout.tubes[named("Hoop")].nodes[0]
    session.apply("Move node", lambda now: edits.move_nodes(now, (node,), (0.0, 0.0, -100.0)))
    qtbot.waitUntil(lambda: cells(panel, 0)[2] != before)


def test_a_row_and_its_tube_are_selected_together(
    panel: SchedulePanel, session: Session, named: Named
) -> None:
    panel.table.selectRow(1)
    assert session.selection == {named("Brace")}
    session.select((named("Hoop"),))
    assert [index.row() for index in panel.table.selectionModel().selectedRows()] == [0]


def test_the_unit_stands_in_the_heading(panel: SchedulePanel) -> None:
    across = Qt.Orientation.Horizontal
    assert panel.model.headerData(2, across) == "Centreline mm"
    panel.set_units(INCH_FRACTIONS)
    assert panel.model.headerData(2, across) == "Centreline in"
    assert "/" in " ".join(cells(panel, 0)[2:4])


def test_the_nearest_panel_comes_from_the_report(panel: SchedulePanel, session: Session) -> None:
    panel.show_report(findings.check_layout(session.layout))
    assert cells(panel, 0)[NEAREST].endswith(", box")


def test_the_order_of_bending_and_the_parts_of_the_blank_are_told(
    panel: SchedulePanel, session: Session
) -> None:
    record = schedule.build(session.layout).records[0]
    assert record.blank == record.plan.blank
    tip = panel.model.index(0, BENDS).data(Qt.ItemDataRole.ToolTipRole)
    assert tip.splitlines() == [
        "90.0°, 90.0°",
        wording.order_words(record.plan),
        "Trial bends: none: geometry only.",
    ]
    parts = panel.model.index(0, BLANK).data(Qt.ItemDataRole.ToolTipRole)
    assert parts == f"{wording.blank_words(record, MILLIMETRES)}, mm"
    assert panel.totals.endswith("1 bent tube without trial bends: geometry only.")


def test_totals_are_said_by_stock(panel: SchedulePanel, session: Session) -> None:
    (total,) = schedule.build(session.layout).by_stock
    assert panel.totals.startswith(f"{total.stock.name}: 2 blanks, ")


def test_an_empty_job_has_no_rows_but_a_word(qtbot: QtBot) -> None:
    panel = SchedulePanel(Session(), MILLIMETRES)
    qtbot.addWidget(panel)
    assert panel.model.rowCount() == 0
    assert panel.totals
