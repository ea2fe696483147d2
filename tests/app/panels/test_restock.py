"""What comes and goes when tubes get another stock."""

from collections.abc import Callable

from msgspec.structs import replace

from app.panels import restock
from app.panels.restock import ALL, SELECTED, RestockPanel
from app.session import Session
from geometry import edits
from geometry.checks.finding import Finding
from geometry.checks.report import Report

THIN = Finding("bend.between_short", "warning", "{tube}: bend {bend} is short.", (1,), words={"bend": "1"})
NEAR = Finding("clearance.too_close", "warning", "{tube} is close.", (1,), value=9.0, limit=15.0)


def test_the_same_finding_with_another_number_neither_comes_nor_goes() -> None:
    assert restock.new_and_gone([NEAR], [replace(NEAR, value=7.0)]) == ([], [])


def test_a_worse_finding_comes_and_the_milder_one_goes() -> None:
    worse = replace(NEAR, severity="error")
    assert restock.new_and_gone([NEAR, THIN], [worse, THIN]) == ([worse], [NEAR])


def test_a_second_bend_of_the_same_tube_is_new() -> None:
    second = replace(THIN, words={"bend": "2"})
    assert restock.new_and_gone([THIN], [THIN, second]) == ([second], [])
    assert restock.new_and_gone([THIN, THIN], [THIN]) == ([], [THIN])


def test_a_number_farther_beyond_its_limit_is_worse() -> None:
    near = replace(NEAR, quantity="length")
    assert restock.worse([near], [replace(near, value=4.0)]) == [replace(near, value=4.0)]
    assert restock.worse([near], [replace(near, value=8.5)]) == []
    assert restock.worse([], [near]) == []


def test_tubes_of_several_stocks_wait_for_a_choice(qtbot, session: Session, named) -> None:
    other = list(session.layout.stocks)[3]
    session.apply("Mix", lambda now: edits.set_stock(now, [named("Brace")], other))
    panel = RestockPanel(session)
    qtbot.addWidget(panel)
    panel.open_tubes([], None)
    assert panel.stock.chosen is None
    assert panel.summary.text() == restock.DIFFER
    assert not session.is_previewing
    panel.accept()
    assert panel.is_open
    panel.cancel()


def test_the_selected_tubes_are_meant_or_all_of_a_stock(
    qtbot, session: Session, named: Callable[[str], int]
) -> None:
    panel = RestockPanel(session)
    qtbot.addWidget(panel)
    panel.open_tubes([named("Brace")], None)
    assert panel.which.chosen == SELECTED
    assert panel._tubes == (named("Brace"),)
    panel.which.setCurrentIndex(panel.which.findData(ALL))
    assert set(panel._tubes) == {named("Brace"), named("Hoop")}
    panel.cancel()
    panel.open_tubes([], None)
    assert panel.which.chosen == ALL


def test_reports_of_other_layouts_are_not_compared(qtbot, session: Session) -> None:
    panel = RestockPanel(session)
    qtbot.addWidget(panel)
    old = Report(findings=(NEAR,), is_complete=True)
    panel.open_tubes([], old)
    panel.stock.setCurrentIndex(panel.stock.count() - 1)
    panel.stock.activated.emit(0)
    assert panel.summary.text() == restock.CHECKING
    panel.show_report(session.revision - 1, Report(is_complete=True))
    panel.show_report(session.revision, Report())  # more will follow
    assert panel.summary.text() == restock.CHECKING
    panel.show_report(session.revision, Report(findings=(THIN,), is_complete=True))
    assert panel.summary.text() == "1 new (1 warning), 1 gone (1 warning)."
    panel.cancel()


def test_another_job_ends_the_step(qtbot, session: Session) -> None:
    panel = RestockPanel(session)
    qtbot.addWidget(panel)
    panel.open_tubes([], None)
    panel.stock.setCurrentIndex(panel.stock.count() - 1)
    panel.stock.activated.emit(0)
    session.open(session.recorded, None)
    assert not panel.is_open
    assert not session.is_previewing
