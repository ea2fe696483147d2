"""Number fields: what is typed is read in the person's unit, and nothing is rounded by looking at it."""

import math

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PySide6.QtCore import QEvent, Qt
from PySide6.QtGui import QKeyEvent, QKeySequence, QShortcut
from PySide6.QtWidgets import QApplication, QLineEdit, QVBoxLayout, QWidget
from pytestqt.qtbot import QtBot

from app.panels.fields import SEVERAL, AngleField, LengthField, NumberField, TextField
from app.units import INCH_FRACTIONS, INCHES, MILLIMETRES, length_step


def typed(qtbot: QtBot, field: NumberField, text: str) -> None:
    field.setFocus()
    field.selectAll()
    qtbot.keyClicks(field, text)
    qtbot.keyClick(field, Qt.Key.Key_Return)


@pytest.fixture
def field(qtbot: QtBot) -> LengthField:
    field = LengthField(INCHES)
    qtbot.addWidget(field)
    field.set_value(100.0)
    return field


@pytest.mark.parametrize(
    ("text", "mm"),
    [("1 1/2", 38.1), ("38.1 mm", 38.1), ("1' 6 1/2\"", 469.9), ("12 + 3/8", 314.325), ("600mm", 600.0)],
)
def test_what_is_typed_is_a_length_in_mm(qtbot: QtBot, field: LengthField, text: str, mm: float) -> None:
    with qtbot.waitSignal(field.entered) as entered:
        typed(qtbot, field, text)
    assert entered.args == [pytest.approx(mm, abs=1e-9)]
    assert field.value == pytest.approx(mm, abs=1e-9)


def test_enter_without_a_change_says_nothing(qtbot: QtBot, field: LengthField) -> None:
    field.set_value(math.pi)
    with qtbot.assertNotEmitted(field.entered):
        field.setFocus()
        qtbot.keyClick(field, Qt.Key.Key_Return)
    assert field.value == math.pi


def test_a_unit_change_keeps_the_exact_value(field: LengthField) -> None:
    field.set_value(38.123456)
    for units in (MILLIMETRES, INCH_FRACTIONS, INCHES):
        field.set_units(units)
    assert field.value == 38.123456


def test_nonsense_is_marked_and_changes_nothing(qtbot: QtBot, field: LengthField) -> None:
    with qtbot.assertNotEmitted(field.entered):
        typed(qtbot, field, "long")
    assert field.is_refused
    assert field.value == 100.0
    assert field.text() == "long"


def test_escape_brings_the_old_number_back(qtbot: QtBot, field: LengthField) -> None:
    shown = field.text()
    typed(qtbot, field, "long")
    qtbot.keyClick(field, Qt.Key.Key_Escape)
    assert field.text() == shown
    assert not field.is_refused


def test_escape_with_nothing_typed_is_left_to_the_window(qtbot: QtBot) -> None:
    seen: list[int] = []

    class Window(QWidget):
        def keyPressEvent(self, event):  # type: ignore[no-untyped-def]
            seen.append(event.key())

    window = Window()
    qtbot.addWidget(window)
    field = LengthField(MILLIMETRES, window)
    field.set_value(5.0)
    qtbot.keyClick(field, Qt.Key.Key_Escape)
    assert seen == [Qt.Key.Key_Escape]


def test_a_field_that_may_be_empty_says_when_it_is_emptied(qtbot: QtBot) -> None:
    field = LengthField(MILLIMETRES, may_be_empty=True)
    qtbot.addWidget(field)
    field.set_value(5.0)
    field.setFocus()
    field.selectAll()
    with qtbot.waitSignal(field.emptied):
        qtbot.keyClick(field, Qt.Key.Key_Delete)
        qtbot.keyClick(field, Qt.Key.Key_Return)
    assert field.value is None


def test_a_field_that_must_not_be_empty_takes_its_number_back(qtbot: QtBot, field: LengthField) -> None:
    shown = field.text()
    field.setFocus()
    field.selectAll()
    qtbot.keyClick(field, Qt.Key.Key_Delete)
    qtbot.keyClick(field, Qt.Key.Key_Return)
    assert field.text() == shown
    assert field.value == 100.0


def test_several_values_show_as_a_word_and_one_can_be_typed(qtbot: QtBot, field: LengthField) -> None:
    field.set_several()
    assert field.text() == ""
    assert field.placeholderText() == SEVERAL
    typed(qtbot, field, "2")
    assert field.value == pytest.approx(50.8)


def test_a_new_value_leaves_alone_what_is_being_typed(qtbot: QtBot) -> None:
    window = QWidget()
    qtbot.addWidget(window)
    column = QVBoxLayout(window)
    field, other = LengthField(MILLIMETRES), QLineEdit()
    column.addWidget(field)
    column.addWidget(other)
    window.show()
    window.activateWindow()
    field.set_value(1.0)
    field.setFocus()
    qtbot.waitUntil(field.hasFocus)
    field.selectAll()
    qtbot.keyClicks(field, "12")
    field.set_value(3.0)
    assert field.text() == "12"


def test_leaving_the_field_commits(qtbot: QtBot) -> None:
    window = QWidget()
    qtbot.addWidget(window)
    column = QVBoxLayout(window)
    field, other = LengthField(MILLIMETRES), QLineEdit()
    column.addWidget(field)
    column.addWidget(other)
    window.show()
    window.activateWindow()
    field.setFocus()
    qtbot.waitUntil(field.hasFocus)
    qtbot.keyClicks(field, "12")
    with qtbot.waitSignal(field.entered):
        qtbot.keyClick(field, Qt.Key.Key_Tab)
    assert field.value == 12.0


@given(mm=st.floats(-20_000, 20_000), units=st.sampled_from([MILLIMETRES, INCHES, INCH_FRACTIONS]))
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_what_is_shown_reads_as_the_value_to_half_a_step(qapp: object, mm: float, units: object) -> None:
    field = LengthField(units)  # type: ignore[arg-type]
    assert abs(field.read(field.text_of(mm)) - mm) <= length_step(units) / 2.0 + 1e-6  # type: ignore[arg-type]


def test_an_angle_is_typed_in_degrees(qtbot: QtBot) -> None:
    field = AngleField()
    qtbot.addWidget(field)
    with qtbot.waitSignal(field.entered) as entered:
        typed(qtbot, field, "90 - 30")
    assert entered.args == [pytest.approx(math.radians(60.0))]


@pytest.mark.parametrize("text", ["nan", "inf", "many", ""])
def test_a_plain_number_refuses_what_is_none(qapp: object, text: str) -> None:
    with pytest.raises(ValueError, match="number"):
        NumberField().read(text)


def test_a_letter_where_a_number_would_begin_is_the_windows_key(qtbot: QtBot) -> None:
    window = QWidget()
    field = LengthField(MILLIMETRES)
    QVBoxLayout(window).addWidget(field)
    pressed: list[str] = []
    shortcut = QShortcut(QKeySequence("T"), window)
    shortcut.activated.connect(lambda: pressed.append("T"))
    qtbot.addWidget(window)
    window.show()
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow)
    field.setFocus()
    qtbot.keyClicks(field, "40")
    qtbot.keyClick(field, Qt.Key.Key_Return)
    qtbot.keyClicks(field, "t")
    assert pressed == ["T"]
    assert field.text() == "40.0 mm"
    field.setFocus()
    field.selectAll()
    qtbot.keyClicks(field, "3 ft")  # after a digit letters are a unit
    qtbot.keyClick(field, Qt.Key.Key_Return)
    assert pressed == ["T"]
    assert field.value == pytest.approx(914.4)


def test_undo_is_the_windows_key_until_something_is_typed(qtbot: QtBot) -> None:
    field = NumberField()
    qtbot.addWidget(field)
    field.set_value(2.0)

    def is_kept() -> bool:
        key = QKeyEvent(
            QEvent.Type.ShortcutOverride, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier, "\x1a"
        )
        key.ignore()
        QApplication.sendEvent(field, key)
        return key.isAccepted()

    assert not is_kept()
    qtbot.keyClicks(field, "5")
    assert is_kept()


def test_undo_in_a_line_of_text_is_the_windows_key_until_something_is_typed(qtbot: QtBot) -> None:
    line = TextField()
    qtbot.addWidget(line)
    line.setText("heat A7")

    def is_kept(letter: Qt.Key, modifiers: Qt.KeyboardModifier) -> bool:
        key = QKeyEvent(QEvent.Type.ShortcutOverride, letter, modifiers, "\x1a")
        key.ignore()
        QApplication.sendEvent(line, key)
        return key.isAccepted()

    control = Qt.KeyboardModifier.ControlModifier
    undo, redo = (Qt.Key.Key_Z, control), (Qt.Key.Key_Z, control | Qt.KeyboardModifier.ShiftModifier)
    assert not is_kept(*undo)
    assert not is_kept(*redo)
    qtbot.keyClicks(line, "5")
    assert is_kept(*undo)
    assert not is_kept(*redo)
    line.undo()
    assert not is_kept(*undo)
    assert is_kept(*redo)
    assert is_kept(Qt.Key.Key_A, control)
