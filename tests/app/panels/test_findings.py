"""The findings list: sentences by tube, and a click that goes there."""

from collections.abc import Callable

import pytest
from pytestqt.qtbot import QtBot

from app.panels.findings import FINDING, FindingsPanel, by_tube
from app.session import Session
from app.units import INCHES, MILLIMETRES
from geometry import axles, edits, rack
from geometry.checks import findings
from geometry.checks.findings import Report

Named = Callable[[str], int]


@pytest.fixture
def panel(qtbot: QtBot, session: Session) -> FindingsPanel:
    panel = FindingsPanel(session, MILLIMETRES)
    qtbot.addWidget(panel)
    panel.resize(500, 240)
    panel.show()
    return panel


@pytest.fixture
def report(session: Session, named: Named) -> Report:
    """A report of a hoop that stands 10 mm from the box."""
    session.apply(
        "Move", lambda now: edits.move_nodes(now, now.tubes[named("Hoop")].nodes, (0.0, -31.0, 0.0))
    )
    return findings.check_layout(session.layout)


def test_findings_are_said_as_sentences_below_their_tube(panel: FindingsPanel, report: Report) -> None:
    panel.show_report(report, True)
    rows = panel._rows()
    assert len(rows) == len(report.findings) > 0
    assert [row.data(0, FINDING) for row in rows[:1]] == [report.findings[0]]
    assert rows[0].text(0).endswith(".")


def test_a_finding_that_is_chosen_selects_its_tube(
    qtbot: QtBot, panel: FindingsPanel, report: Report, session: Session
) -> None:
    panel.show_report(report, True)
    with qtbot.waitSignal(panel.chosen) as chosen:
        panel.step(1)
    assert session.selection == set(chosen.args[0].tubes)


def test_stepping_goes_round_the_end(panel: FindingsPanel, report: Report) -> None:
    panel.show_report(report, True)
    rows = panel._rows()
    for place in (*range(len(rows)), 0):
        panel.step(1)
        assert panel.tree.currentItem() is rows[place]
    panel.step(-1)
    assert panel.tree.currentItem() is rows[-1]


def test_the_units_change_the_sentences(panel: FindingsPanel, report: Report) -> None:
    panel.show_report(report, True)
    metric = [row.text(0) for row in panel._rows()]
    panel.set_units(INCHES)
    assert [row.text(0) for row in panel._rows()] != metric
    assert " in" in panel.summary


def test_nothing_found_says_what_was_checked(panel: FindingsPanel, session: Session, named: Named) -> None:
    session.apply("Delete", lambda now: edits.delete(now, (named("Brace"), named("Hoop"))))
    stock = next(iter(session.layout.stocks))
    across = [(-900.0, 752.0, 700.0), (300.0, 752.0, 700.0)]
    session.apply("Tube", lambda now: edits.add_tube(now, across, stock)[0])
    panel.show_report(findings.check_layout(session.layout), True)
    assert panel.summary.startswith("Nothing found")
    assert "15.0 mm to 40.0 mm" in panel.summary


def test_a_late_report_says_that_it_is_late(panel: FindingsPanel, report: Report) -> None:
    panel.show_report(report, True)
    assert "Checking again" not in panel.summary
    panel.show_report(report, False)
    assert "Checking again" in panel.summary


def test_another_job_forgets_the_findings(panel: FindingsPanel, report: Report, session: Session) -> None:
    panel.show_report(report, True)
    session.open(rack.with_starting_rack(type(session.layout)()), None)
    assert not panel._rows()
    assert "No tube yet" in panel.summary


def test_tyres_are_judged_before_there_is_a_tube(panel: FindingsPanel, session: Session) -> None:
    session.apply("Delete", lambda now: edits.delete(now, tuple(now.tubes)))
    session.apply("Add axle", lambda now: axles.add(now)[0])
    report = findings.check_layout(session.layout)
    panel.show_report(report, True)
    assert "Checked: 2 body panels, 2 tyres with 25.0 mm of room; no tube yet." in panel.summary
    assert panel.summary.startswith("4 warnings found")


def test_groups_keep_the_worst_first(report: Report) -> None:
    groups = by_tube(report.findings)
    assert groups[0][1][0] is report.findings[0]
    assert sum(len(found) for _, found in groups) == len(report.findings)
