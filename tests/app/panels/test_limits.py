"""The limits: each with its meaning and source, typed in the person's unit."""

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel, QPushButton
from pytestqt.qtbot import QtBot

from app.panels.limits import LimitsPanel
from app.session import Session
from app.units import INCHES, MILLIMETRES
from geometry.layout import LIMITS, Limits


@pytest.fixture
def panel(qtbot: QtBot, session: Session) -> LimitsPanel:
    panel = LimitsPanel(session, MILLIMETRES)
    qtbot.addWidget(panel)
    panel.show()
    return panel


def enter(qtbot: QtBot, panel: LimitsPanel, name: str, text: str) -> None:
    field = panel.fields[name]
    field.setFocus()
    field.selectAll()
    qtbot.keyClicks(field, text)
    qtbot.keyClick(field, Qt.Key.Key_Return)


def test_each_limit_says_its_meaning_and_source(panel: LimitsPanel) -> None:
    words = " ".join(label.text() for label in panel.findChildren(QLabel))
    for info in LIMITS.values():
        assert info.meaning in words
        assert info.source in words


def test_typing_a_limit_is_one_undo_step(qtbot: QtBot, panel: LimitsPanel, session: Session) -> None:
    enter(qtbot, panel, "scan_error", "1.5")
    assert session.layout.limits.scan_error == 1.5
    assert session.undo_stack.undoText() == "Set scan error"
    session.undo()
    assert panel.fields["scan_error"].value == Limits().scan_error


def test_a_limit_is_typed_in_inches(qtbot: QtBot, panel: LimitsPanel, session: Session) -> None:
    panel.set_units(INCHES)
    enter(qtbot, panel, "standoff_farthest", "2")
    assert session.layout.limits.standoff_farthest == pytest.approx(50.8)


def test_an_impossible_limit_is_refused_and_put_back(
    qtbot: QtBot, panel: LimitsPanel, session: Session
) -> None:
    with qtbot.waitSignal(session.refused):
        enter(qtbot, panel, "standoff_closest", "-4")
    assert panel.fields["standoff_closest"].value == session.layout.limits.standoff_closest


def test_the_defaults_come_back_in_one_step(qtbot: QtBot, panel: LimitsPanel, session: Session) -> None:
    enter(qtbot, panel, "scan_error", "1.5")
    (button,) = panel.findChildren(QPushButton)
    button.click()
    assert session.layout.limits == Limits()
