"""Mends: seen while their button is looked at, recorded by a click, never in the way of anything else."""

from collections.abc import Callable

import pytest
from msgspec.structs import replace
from PySide6.QtCore import QEvent, QPoint, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from app.panels import mending
from app.panels.findings import FindingsPanel
from app.panels.mending import HOVER_MS, MendButton
from app.session import Session
from app.units import INCH_FRACTIONS, MILLIMETRES
from geometry import edits, mends
from geometry.checks import findings
from geometry.checks.finding import Finding, Mend
from geometry.checks.findings import Report
from geometry.errors import GeometryError
from geometry.layout import Layout

Named = Callable[[str], int]


@pytest.fixture(autouse=True)
def made(monkeypatch: pytest.MonkeyPatch) -> None:
    """A mend that moves the tube up by its amount."""

    def up(layout: Layout, mend: Mend) -> Layout:
        if mend.do == "cut after":
            raise GeometryError("This end is on another tube now.")
        return edits.move_nodes(layout, layout.tubes[mend.tube].nodes, (0.0, 0.0, mend.amount or 0.0))

    monkeypatch.setattr(mends, "mended", up)
    monkeypatch.setattr(mending, "HOVER_MS", 0)


@pytest.fixture
def report(session: Session, named: Named) -> Report:
    """Two findings of the hoop, one with a mend, and one of the brace."""
    hoop, brace = named("Hoop"), named("Brace")
    apart = Mend("move apart", "Move the corners {amount} apart", hoop, 24.0)
    found = (
        Finding("bend.between_short", "error", "Too short.", (hoop,), mend=apart),
        Finding("clearance.too_far", "note", "Far.", (hoop,)),
        Finding("x", "note", "No.", (brace,), mend=Mend("cut after", "Cut {tube} later", brace)),
    )
    return replace(findings.check_layout(session.layout), findings=found)


@pytest.fixture
def panel(qtbot: QtBot, session: Session, report: Report) -> FindingsPanel:
    panel = FindingsPanel(session, MILLIMETRES)
    qtbot.addWidget(panel)
    panel.resize(700, 240)
    panel.show()
    qtbot.waitExposed(panel)
    panel.show_report(report, True)
    return panel


def buttons(panel: FindingsPanel) -> list[MendButton]:
    return panel.findChildren(MendButton)


def top(session: Session, tube: int) -> float:
    return max(session.layout.nodes[id].position[2] for id in session.layout.tubes[tube].nodes)


def rest_on(qtbot: QtBot, button: MendButton) -> None:
    QTest.mouseMove(button, QPoint(9, 9))
    with qtbot.waitSignal(button.looked_at):
        QTest.mouseMove(button, button.rect().center())


def leave(qtbot: QtBot, button: MendButton) -> None:
    QApplication.sendEvent(button, QEvent(QEvent.Type.Leave))


def test_a_mend_is_a_button_that_says_its_size(panel: FindingsPanel) -> None:
    assert [button.text() for button in buttons(panel)] == [
        "Move the corners 24.0 mm apart",
        "Cut Brace later",
    ]
    panel.set_units(INCH_FRACTIONS)
    panel.grab()
    assert "15/16 in" in panel._buttons[0].text()


def test_resting_on_a_mend_shows_it_and_leaving_puts_it_back(
    qtbot: QtBot, panel: FindingsPanel, session: Session, named: Named
) -> None:
    before, height = session.layout, top(session, named("Hoop"))
    button = buttons(panel)[0]
    rest_on(qtbot, button)
    assert session.is_previewing
    assert top(session, named("Hoop")) == height + 24.0
    leave(qtbot, button)
    assert session.layout is before
    assert not session.is_previewing
    assert not session.undo_stack.canUndo()
    assert button.isEnabled()


def test_a_click_records_the_mend_as_one_step_of_its_name(
    qtbot: QtBot, panel: FindingsPanel, session: Session, named: Named
) -> None:
    height = top(session, named("Hoop"))
    button = buttons(panel)[0]
    rest_on(qtbot, button)
    qtbot.mouseClick(button, Qt.MouseButton.LeftButton)
    assert top(session, named("Hoop")) == height + 24.0
    assert session.undo_stack.undoText() == "Move the corners 24.0 mm apart"
    assert session.undo_stack.count() == 1
    leave(qtbot, button)
    assert top(session, named("Hoop")) == height + 24.0
    session.undo()
    assert top(session, named("Hoop")) == height


def test_keys_go_from_the_sentence_to_its_button_and_make_the_mend(
    qtbot: QtBot, panel: FindingsPanel, session: Session, named: Named
) -> None:
    panel.activateWindow()
    panel.tree.setFocus()
    panel.step(1)
    assert panel.tree.hasFocus()
    assert not session.is_previewing
    height = top(session, named("Hoop"))
    qtbot.keyClick(panel.tree, Qt.Key.Key_Right)
    (button, other) = buttons(panel)
    assert button.hasFocus()
    qtbot.waitUntil(lambda: session.is_previewing)
    qtbot.keyClick(button, Qt.Key.Key_Escape)
    assert not session.is_previewing
    assert panel.tree.hasFocus()
    qtbot.keyClick(panel.tree, Qt.Key.Key_Right)
    qtbot.keyClick(button, Qt.Key.Key_Return)
    assert top(session, named("Hoop")) == height + 24.0
    assert panel.tree.hasFocus()
    assert button.nextInFocusChain() is other


def test_what_the_checks_say_of_a_mend_leaves_its_button_in_place(
    qtbot: QtBot, panel: FindingsPanel, report: Report
) -> None:
    button = buttons(panel)[0]
    rest_on(qtbot, button)
    panel.show_report(replace(report, findings=()), True)
    assert buttons(panel)[0] is button
    assert panel.summary.startswith("As it would be: Nothing found")
    leave(qtbot, button)
    assert not panel.summary.startswith("As it would be")


def test_numbers_that_change_leave_rows_and_buttons_in_place(panel: FindingsPanel, report: Report) -> None:
    button, row = panel._buttons[0], panel._rows()[0]
    panel.step(1)
    first = report.findings[0]
    assert first.mend is not None
    nearer = replace(first, value=12.0, mend=replace(first.mend, amount=30.0))
    panel.show_report(replace(report, findings=(nearer, *report.findings[1:])), True)
    assert panel._rows()[0] is row
    assert panel.tree.currentItem() is row
    assert panel._buttons[0] is button
    assert button.text() == "Move the corners 30.0 mm apart"
    assert button.mend.amount == 30.0


def test_a_button_has_room_for_its_words_from_the_start(panel: FindingsPanel, report: Report) -> None:
    panel.show_report(replace(report, findings=report.findings[1:]), True)
    panel.show_report(report, True)
    panel.grab()
    assert all(button.width() == button.sizeHint().width() for button in panel._buttons)


def test_nothing_is_shown_over_another_preview(
    qtbot: QtBot, panel: FindingsPanel, session: Session, named: Named
) -> None:
    button = buttons(panel)[0]
    dragged = edits.move_nodes(session.layout, (named("Brace"),), (0.0, 0.0, 5.0))
    session.preview(dragged)
    assert not button.isEnabled()
    panel._mending.show(button.mend)
    panel._mending.leave()
    assert session.layout is dragged
    session.cancel()
    assert button.isEnabled()


def test_findings_of_an_older_job_offer_no_mend(
    panel: FindingsPanel, session: Session, named: Named, report: Report
) -> None:
    session.apply("Move", lambda now: edits.move_nodes(now, (named("Brace"),), (0.0, 0.0, 5.0)))
    assert not any(button.isEnabled() for button in buttons(panel))
    assert not panel._mending.make(buttons(panel)[0].mend, "Mend")
    assert session.undo_stack.count() == 1
    panel.show_report(report, False)
    assert not any(button.isEnabled() for button in buttons(panel))
    panel.show_report(report, True)
    assert all(button.isEnabled() for button in buttons(panel))


def test_an_open_step_is_left_alone(panel: FindingsPanel) -> None:
    panel.set_mending(False)
    assert not any(button.isEnabled() for button in buttons(panel))
    panel.set_mending(True)
    assert all(button.isEnabled() for button in buttons(panel))


def test_a_mend_that_no_longer_applies_says_why(qtbot: QtBot, panel: FindingsPanel, session: Session) -> None:
    button = buttons(panel)[1]
    rest_on(qtbot, button)
    assert not session.is_previewing
    assert panel.summary == "This end is on another tube now."
    with qtbot.waitSignal(session.refused):
        qtbot.mouseClick(button, Qt.MouseButton.LeftButton)
    assert not session.undo_stack.canUndo()


@pytest.mark.parametrize("width", [330, 700])
def test_the_button_hides_no_word_of_its_sentence(
    qtbot: QtBot, panel: FindingsPanel, report: Report, width: int
) -> None:
    long = replace(report.findings[0], message="Between bends 1 and 2 there is far too little straight. " * 3)
    panel.resize(width, 300)
    panel.show_report(replace(report, findings=(long,)), True)
    panel.grab()
    (button,) = panel._buttons
    row = panel.tree.visualItemRect(panel._rows()[0])
    assert row.contains(button.geometry())
    assert panel.tree.viewport().width() >= row.right()
    is_beside = button.geometry().top() < row.center().y()
    assert is_beside == (width == 700)


def test_a_focus_that_only_passes_by_shows_no_mend(
    qtbot: QtBot, panel: FindingsPanel, session: Session, named: Named
) -> None:
    panel.activateWindow()
    panel.tree.setFocus()
    button = buttons(panel)[0]
    button.setFocus(Qt.FocusReason.TabFocusReason)
    panel.tree.setFocus()
    qtbot.wait(2 * HOVER_MS)
    assert not session.is_previewing
