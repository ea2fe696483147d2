"""Buttons that mend what a finding says: shown in the view while looked at, recorded by a click."""

from PySide6.QtCore import QEvent, QObject, Qt, QTimer, Signal
from PySide6.QtGui import QFocusEvent, QKeyEvent, QMouseEvent
from PySide6.QtWidgets import QPushButton, QWidget

from app.guarded import guarded
from app.session import Session
from geometry import mends
from geometry.checks.finding import Mend
from geometry.errors import GeometryError
from geometry.layout import Layout

HOVER_MS = 120  # so that a pointer that only passes by changes nothing
ASKED = (Qt.FocusReason.TabFocusReason, Qt.FocusReason.BacktabFocusReason, Qt.FocusReason.OtherFocusReason)


class Mending(QObject):
    """Previews one mend at a time, and only of the layout that the findings speak of.

    It keeps out of the way of whatever else is being previewed or done step by step.
    """

    refused = Signal(str)  # why a mend cannot be shown, a sentence

    def __init__(self, session: Session, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self._judged: Layout | None = None
        self._shown: Layout | None = None
        self._is_allowed = True

    @property
    def is_shown(self) -> bool:
        """Whether the view shows the job as a mend would leave it."""
        # The session tells of a preview before it shows it; then the layout still is the judged one.
        mine = (self._shown, self._judged)
        return self._shown is not None and any(self._session.layout is layout for layout in mine)

    @property
    def is_offered(self) -> bool:
        """Whether the findings speak of the job as it is, and nothing else is going on."""
        session = self._session
        is_quiet = self._is_allowed and (not session.is_previewing or self.is_shown)
        return is_quiet and session.recorded is self._judged

    def set_judged(self, layout: Layout | None) -> None:
        """Say which layout the findings speak of."""
        self._judged = layout

    def set_allowed(self, allowed: bool) -> None:
        """Allow mends, or not while a step is open."""
        if not allowed:
            self.leave()
        self._is_allowed = allowed

    def show(self, mend: Mend) -> None:
        """Show the job as it would be."""
        if not self.is_offered:
            return
        try:
            self._shown = mends.mended(self._session.recorded, mend)
        except GeometryError as error:
            self.leave()
            self.refused.emit(error.message)
            return
        self._session.preview(self._shown)

    def leave(self) -> None:
        """Show the job as it is again; another's preview is left alone."""
        was_shown, self._shown = self.is_shown, None
        if was_shown:
            self._session.cancel()

    def make(self, mend: Mend, words: str) -> bool:
        """Record a mend as one undo step; say why where it is refused."""
        if not self.is_offered:
            return False
        self.leave()
        return self._session.apply(words, lambda now: mends.mended(now, mend))


class MendButton(QPushButton):
    """Says how large a mend is; resting on it, by pointer or keyboard, asks to see it."""

    looked_at = Signal(object, bool)  # the mend, and whether it is to be seen
    wanted = Signal(object, str)  # the mend and its words
    left = Signal()  # by a key that goes back to the list

    def __init__(self, mend: Mend, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("mend")
        self.mend = mend
        self._is_looked_at = False
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)  # a click leaves the keys where they were
        self.setMouseTracking(True)
        # No tip: it would cover the sentences, and the view shows what the button does.
        self.setAccessibleDescription("Shown in the view while it has the focus; Enter records it.")
        self._timer = QTimer(self, singleShot=True, interval=HOVER_MS)
        self._timer.timeout.connect(self._look)
        self.clicked.connect(self._on_clicked)

    def set_mend(self, mend: Mend, words: str) -> None:
        self.mend = mend
        if words != self.text():
            self.setText(words)

    def _on_clicked(self) -> None:
        self.wanted.emit(self.mend, self.text())

    def _look(self) -> None:
        self._set_looked_at(True)

    def _set_looked_at(self, is_looked_at: bool) -> None:
        self._timer.stop()
        if is_looked_at != self._is_looked_at:
            self._is_looked_at = is_looked_at
            self.looked_at.emit(self.mend, is_looked_at)

    @guarded()
    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        # Entering is not enough: after a click another button may come to lie under a pointer at rest.
        if not self._is_looked_at and not self._timer.isActive():
            self._timer.start()
        super().mouseMoveEvent(event)

    @guarded()
    def leaveEvent(self, event: QEvent) -> None:
        self._set_looked_at(False)
        super().leaveEvent(event)

    @guarded()
    def focusInEvent(self, event: QFocusEvent) -> None:
        super().focusInEvent(event)
        if event.reason() in ASKED:
            self._timer.start()  # the focus may only pass by, as when the widget that had it goes

    @guarded()
    def focusOutEvent(self, event: QFocusEvent) -> None:
        self._set_looked_at(False)
        super().focusOutEvent(event)

    @guarded()
    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.click()
        elif event.key() in (Qt.Key.Key_Escape, Qt.Key.Key_Left):
            self._set_looked_at(False)
            self.left.emit()
        else:
            super().keyPressEvent(event)
