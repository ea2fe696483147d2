"""A card over the view that leads through a first cage: each time one thing to do in the real window."""

from itertools import pairwise

from msgspec import Struct
from PySide6.QtCore import QEvent, QObject, QPoint, Qt, Signal
from PySide6.QtGui import QKeyEvent, QMouseEvent
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QPushButton, QToolButton, QVBoxLayout, QWidget

from app.guarded import guarded

WIDTH = 310
GAP = 10  # px to the edges of the view


class Lesson(Struct, frozen=True):
    """One thing to do; `words` may hold bold keys."""

    name: str
    title: str
    words: str


LESSONS: tuple[Lesson, ...] = (
    Lesson(
        "look",
        "Look round",
        "Hold the left button and drag: the car turns about the place under the pointer. The wheel goes "
        "nearer, the middle button shifts. By keys: arrows, <b>+</b> and <b>−</b>.",
    ),
    Lesson(
        "select",
        "Take a tube",
        "Click any tube. At the right stand its length, bends and mass; in the view a number says how close "
        "it comes to the body, and a thin line where.",
    ),
    Lesson(
        "drag",
        "Move a corner",
        "Drag one of the round dots at its bends. The corner rides on the body, and the gap follows the "
        "hand. <b>Ctrl</b> lets go of the body; <b>arrows</b> move what is selected in steps.",
    ),
    Lesson(
        "undo",
        "Take it back",
        "Press <b>Ctrl+Z</b>. The line below the view says what was undone. Everything you do is one step "
        "that can be taken back.",
    ),
    Lesson(
        "lay",
        "Lay a tube",
        "Press <b>T</b> and click two places on the door: a ball shows the tube at its stand-off. "
        "<b>Enter</b> ends the tube, <b>Backspace</b> takes a point back.",
    ),
    Lesson(
        "sides",
        "Both sides at once",
        "Turn the car until you see its other door. The tube stands there as well, and each follows the "
        "other. <b>B</b> lays on one side only; <b>Shift+M</b> lets a pair differ.",
    ),
    Lesson(
        "follow",
        "Along the body",
        "Press <b>W</b> and click two places where metal lies between, such as both ends of the bonnet. The "
        "tube with the fewest bends that keeps clear is worked out; <b>Enter</b> lays it.",
    ),
    Lesson(
        "mend",
        "What the checks say",
        "<b>F4</b> goes from finding to finding. Where one can be mended, a button says by how much: rest "
        "on it to see it, click to take it. By keys: <b>Ctrl+F</b>, <b>Right</b>, <b>Enter</b>.",
    ),
    Lesson(
        "paper",
        "To the shop",
        "<b>Ctrl+E</b> writes the packet: a sheet for each tube with blank, marks, turns and angles, the "
        "totals, CSV and JSON. Findings that stand are on its cover. <b>F1</b> lists every key.",
    ),
)


class TourCard(QFrame):
    """Shows a lesson in a corner of the view; can be moved out of the way, and left at any time."""

    back_wanted = Signal()
    next_wanted = Signal()
    leave_wanted = Signal()
    placed = Signal()

    def __init__(self, over: QWidget) -> None:
        super().__init__(over)
        self._over = over
        self._grip: QPoint | None = None
        self._is_moved = False  # by hand: it stays there
        self.setObjectName("bar")
        self.setAutoFillBackground(True)
        self.setAttribute(Qt.WidgetAttribute.WA_NoMousePropagation)
        self.setCursor(Qt.CursorShape.ArrowCursor)
        self.setAccessibleName("Tour")
        self.hide()
        self.count = QLabel()
        self.count.setProperty("kind", "faint")
        self.title = QLabel()
        self.title.setObjectName("card-title")
        self.words = QLabel(wordWrap=True)
        self.words.setTextFormat(Qt.TextFormat.RichText)
        self.state = QLabel()
        self.close_button = QToolButton()
        self.close_button.setText("✕")
        self.close_button.setObjectName("fold")
        self.close_button.setToolTip("Leave the tour (Escape); the Help menu has it.")
        self.close_button.setAccessibleName("Leave the tour")
        self.back = QPushButton("Back")
        self.next = QPushButton("Next")
        for label in (self.count, self.title, self.words, self.state):
            label.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self._arrange()
        self.close_button.clicked.connect(self.leave_wanted)
        self.back.clicked.connect(self.back_wanted)
        self.next.clicked.connect(self.next_wanted)
        over.installEventFilter(self)
        for before, after in pairwise((over, self.next, self.back, self.close_button)):
            QWidget.setTabOrder(before, after)

    def _arrange(self) -> None:
        top, foot = QHBoxLayout(), QHBoxLayout()
        top.addWidget(self.count, 1)
        top.addWidget(self.close_button)
        foot.addWidget(self.state, 1)
        foot.addWidget(self.back)
        foot.addWidget(self.next)
        column = QVBoxLayout(self)
        column.setContentsMargins(12, 6, 8, 8)
        column.setSpacing(4)
        column.addLayout(top)
        column.addWidget(self.title)
        column.addWidget(self.words)
        column.addLayout(foot)

    def show_lesson(self, number: int, lessons: tuple[Lesson, ...] = LESSONS) -> None:
        """Show what is to be done now; what it replaces keeps its place on the screen."""
        lesson, is_last = lessons[number], number == len(lessons) - 1
        self.count.setText(f"Tour, {number + 1} of {len(lessons)}")
        self.title.setText(lesson.title)
        self.words.setText(lesson.words)
        self.setAccessibleDescription(lesson.words.replace("<b>", "").replace("</b>", ""))
        self.back.setEnabled(number > 0)
        self.next.setText("Finish" if is_last else "Next")
        self.show_done(False)
        self.show()
        self.place()

    def show_done(self, is_done: bool) -> None:
        """Say that what was asked for is done; the next lesson follows."""
        self.state.setText("● Done" if is_done else "")
        self.state.setProperty("kind", "fine")
        self.state.style().unpolish(self.state)
        self.state.style().polish(self.state)

    def place(self) -> None:
        """Stand in the upper left corner, where the car leaves most room, or where it was moved to."""
        row, over = self.layout(), self._over
        if row is None:
            return
        self.setFixedWidth(min(WIDTH, over.width() - 2 * GAP))
        frame = self.contentsMargins()  # the style sheet's border is not part of the layout
        inner = self.width() - frame.left() - frame.right()
        self.setFixedHeight(row.heightForWidth(inner) + frame.top() + frame.bottom())
        self._go(self.pos() if self._is_moved else QPoint(GAP, GAP))
        self.raise_()

    def _go(self, place: QPoint) -> None:
        room = self._over.rect().adjusted(0, 0, -self.width(), -self.height())
        x = max(min(place.x(), room.right() + 1), 0)
        y = max(min(place.y(), room.bottom() + 1), 0)
        self.move(x, y)
        self.placed.emit()

    @guarded(False)
    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if event.type() == QEvent.Type.Resize and self.isVisible():
            self.place()
        return False

    @guarded()
    def mousePressEvent(self, event: QMouseEvent) -> None:
        self._grip = event.position().toPoint()
        event.accept()

    @guarded()
    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        if self._grip is not None:
            self._is_moved = True
            self._go(self.mapToParent(event.position().toPoint()) - self._grip)

    @guarded()
    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        self._grip = None
        event.accept()

    @guarded()
    def keyPressEvent(self, event: QKeyEvent) -> None:
        is_enter = event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter)
        if event.key() == Qt.Key.Key_Escape:
            self.leave_wanted.emit()
        elif is_enter and self.back.hasFocus():
            self.back.click()
        elif is_enter and self.next.hasFocus():
            self.next.click()
        elif is_enter and self.close_button.hasFocus():
            self.close_button.click()
        else:
            super().keyPressEvent(event)
