"""The limits: each with its meaning and source, typed in the person's unit."""

import math

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QComboBox, QLabel, QPushButton
from pytestqt.qtbot import QtBot

from app.panels.limits import GROUPS, LimitsPanel
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


def test_every_limit_stands_in_one_group(panel: LimitsPanel) -> None:
    grouped = [name for _, names in GROUPS for name in names]
    assert sorted(grouped) == sorted(LIMITS)
    words = [label.text() for label in panel.findChildren(QLabel)]
    assert all(title in words for title, _ in GROUPS)


def test_a_default_is_said_in_the_persons_unit(panel: LimitsPanel) -> None:
    assert "Default 25.0 mm" in panel._words["end_allowance"].text()
    panel.set_units(INCHES)
    assert "Default 0.984 in" in panel._words["end_allowance"].text()


def test_the_step_of_angles_is_chosen_or_typed(qtbot: QtBot, panel: LimitsPanel, session: Session) -> None:
    (box,) = panel.findChildren(QComboBox)
    assert [box.itemText(place) for place in range(box.count())] == ["0.1°", "0.5°"]
    box.setCurrentIndex(1)
    box.activated.emit(1)
    assert session.layout.limits.angle_step == math.radians(0.5)
    assert session.undo_stack.undoText() == "Set angles read to"
    assert box.currentText() == "0.5°"
    enter(qtbot, panel, "angle_step", "0.25")
    assert session.layout.limits.angle_step == pytest.approx(math.radians(0.25))
    assert box.currentText() == "0.25°"
    with qtbot.waitSignal(session.refused):
        enter(qtbot, panel, "angle_step", "0")
    assert box.currentText() == "0.25°"
    session.undo()
    assert box.currentText() == "0.5°"


def test_the_defaults_come_back_in_one_step(qtbot: QtBot, panel: LimitsPanel, session: Session) -> None:
    enter(qtbot, panel, "scan_error", "1.5")
    (button,) = panel.findChildren(QPushButton)
    button.click()
    assert session.layout.limits == Limits()
