"""Fields that take numbers as people write them: `1 1/2`, `38.1 mm`, `12 + 3/8`, `45`."""

import math

from PySide6.QtCore import QEvent, QPoint, Qt, Signal
from PySide6.QtGui import QFocusEvent, QKeyEvent, QKeySequence
from PySide6.QtWidgets import QLineEdit, QToolTip, QWidget

from app import units as unit_text
from app.guarded import guarded
from app.units import Units

SEVERAL = "several"


class TextField(QLineEdit):
    """A line of text; undo and redo are the window's keys where the line itself has nothing to take back."""

    @guarded(False)
    def event(self, event: QEvent) -> bool:
        if event.type() == QEvent.Type.ShortcutOverride and isinstance(event, QKeyEvent):
            is_undo = event.matches(QKeySequence.StandardKey.Undo) and not self.isUndoAvailable()
            is_redo = event.matches(QKeySequence.StandardKey.Redo) and not self.isRedoAvailable()
            if is_undo or is_redo:
                event.ignore()
                return True
        return bool(super().event(event))


class NumberField(QLineEdit):
    """A plain number; Enter or leaving the field commits it, Escape brings the old one back.

    The exact value is kept beside the text, so looking at a number never rounds it.
    """

    entered = Signal(float)
    emptied = Signal()  # only fields that may be empty

    def __init__(self, parent: QWidget | None = None, *, may_be_empty: bool = False) -> None:
        super().__init__(parent)
        self._value: float | None = None
        self._several = False
        self._shown = ""
        self.may_be_empty = may_be_empty
        self.setAlignment(Qt.AlignmentFlag.AlignRight)
        self.setMinimumWidth(64)
        self.editingFinished.connect(self._on_finished)
        self.textEdited.connect(self._on_edited)

    @property
    def value(self) -> float | None:
        """The last value set or entered; None when empty or when there are several."""
        return self._value

    @property
    def is_refused(self) -> bool:
        """The text in the field could not be read."""
        return bool(self.property("refused"))

    def set_value(self, value: float | None) -> None:
        """Show a value, or nothing; what is being typed just now is left alone."""
        self._value = value
        self._several = False
        self._show()

    def set_several(self) -> None:
        """Show that the selected things differ here; typing sets them all."""
        self._value = None
        self._several = True
        self._show()

    def revert(self) -> None:
        """Forget what was typed."""
        self.setText(self._shown)
        self._mark("")

    def finish(self) -> None:
        """Take what stands in the field now, as leaving it would."""
        self._on_finished()

    def refuse(self, sentence: str) -> None:
        """Mark the field and say at it why its number is not taken."""
        self._mark(sentence)

    def text_of(self, value: float) -> str:
        return f"{value:g}"

    def read(self, text: str) -> float:
        """Return the number that the text says; ValueError with a sentence otherwise."""
        try:
            value = float(text.replace(",", "."))
        except ValueError:
            raise ValueError(f"“{text}” is not a number; type one such as 2.5.") from None
        if not math.isfinite(value):
            raise ValueError(f"“{text}” is not a number that can be used here.")
        return value

    def _show(self) -> None:
        text = "" if self._value is None else self.text_of(self._value)
        is_typing = self.hasFocus() and self.text() != self._shown
        self._shown = text
        if self._several:
            self.setPlaceholderText(SEVERAL)
        elif self.placeholderText() == SEVERAL:
            self.setPlaceholderText("")
        if not is_typing:
            self.setText(text)
            self.setCursorPosition(0)
            self._mark("")

    def _on_edited(self) -> None:
        self._mark("")

    def _on_finished(self) -> None:
        text = self.text().strip()
        if text == self._shown:
            return
        if not text:
            self._finish_empty()
            return
        try:
            value = self.read(text)
        except ValueError as error:
            self._mark(str(error))
            return
        self._several = False
        self._value = value
        self._shown = self.text_of(value)
        self.setText(self._shown)
        self._mark("")
        self.entered.emit(value)

    def _finish_empty(self) -> None:
        if not self.may_be_empty:
            self.revert()
            return
        self._value = None
        self._shown = ""
        self._mark("")
        self.emptied.emit()

    def _mark(self, sentence: str) -> None:
        """Show that the text is refused and why, or take the mark away."""
        if sentence:
            QToolTip.showText(self.mapToGlobal(QPoint(0, self.height())), sentence, self)
        if bool(sentence) != self.is_refused:
            self.setProperty("refused", bool(sentence))
            self.style().unpolish(self)
            self.style().polish(self)

    @guarded()
    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() == Qt.Key.Key_Escape and self.text() != self._shown:
            self.revert()
            self.selectAll()
            return
        super().keyPressEvent(event)
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            if self.hasFocus():
                self.selectAll()
            event.accept()

    @guarded(False)
    def event(self, event: QEvent) -> bool:
        # Escape belongs to the field only while there is something to forget; else to the tool.
        is_override = event.type() == QEvent.Type.ShortcutOverride
        if is_override and isinstance(event, QKeyEvent) and event.key() == Qt.Key.Key_Escape:
            if self.text() != self._shown:
                event.accept()
                return True
            return False
        if is_override and isinstance(event, QKeyEvent) and self._is_a_command(event):
            event.ignore()
            return True
        return bool(super().event(event))

    def _is_a_command(self, event: QKeyEvent) -> bool:
        """Whether a key is the window's: letters where a number would begin, undo where nothing was typed."""
        is_undo = event.matches(QKeySequence.StandardKey.Undo) or event.matches(QKeySequence.StandardKey.Redo)
        if is_undo:
            return self.text() == self._shown
        is_plain = event.modifiers() in (Qt.KeyboardModifier.NoModifier, Qt.KeyboardModifier.ShiftModifier)
        return is_plain and event.text().isalpha() and self.selectedText() == self.text()

    @guarded()
    def focusInEvent(self, event: QFocusEvent) -> None:
        super().focusInEvent(event)
        if event.reason() in (Qt.FocusReason.TabFocusReason, Qt.FocusReason.BacktabFocusReason):
            self.selectAll()


class LengthField(NumberField):
    """A length in mm, shown and read in the person's unit."""

    def __init__(self, units: Units, parent: QWidget | None = None, *, may_be_empty: bool = False) -> None:
        super().__init__(parent, may_be_empty=may_be_empty)
        self._units = units

    def set_units(self, units: Units) -> None:
        self._units = units
        self._show()

    def text_of(self, value: float) -> str:
        return unit_text.format_length(value, self._units)

    def read(self, text: str) -> float:
        return unit_text.parse_length(text, self._units)


class AngleField(NumberField):
    """An angle in radians, shown and read in degrees."""

    def text_of(self, value: float) -> str:
        return unit_text.format_angle(value)

    def read(self, text: str) -> float:
        return unit_text.parse_angle(text)
