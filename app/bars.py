"""What the window says over and under the view: refusals, news, progress and the hint line."""

from collections.abc import Callable

from PySide6.QtCore import QEvent, QObject, Qt, QTimer
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QProgressBar, QPushButton, QToolButton, QWidget

from app.guarded import guarded
from app.jobs import Job

NEWS_MS = 12_000  # long enough to read two lines twice
GAP = 10  # px between a bar and the edge of what it lies over


class Bar(QFrame):
    """A calm strip that lies over the top of another widget and takes no focus."""

    def __init__(self, over: QWidget) -> None:
        super().__init__(over)
        self._over = over
        self.setObjectName("bar")
        self.setAutoFillBackground(True)
        self.hide()
        over.installEventFilter(self)
        self.above: Bar | None = None  # while it is shown, this one stands below it

    def place(self) -> None:
        """Centre at the top or under the bar above, never wider than what is below."""
        over, row = self._over, self.layout()
        if row is None:
            return
        width = min(over.width() - 2 * GAP, 640)
        self.setFixedWidth(max(width, 80))
        frame = self.contentsMargins()  # the style sheet's border is not part of the layout
        inner = self.width() - frame.left() - frame.right()
        height = row.heightForWidth(inner) if row.hasHeightForWidth() else -1
        height = max(height, row.sizeHint().height() if height < 0 else 0)
        self.setFixedHeight(height + frame.top() + frame.bottom())
        taken = self.above.geometry().bottom() if self.above is not None and self.above.isVisible() else 0
        self.move((over.width() - self.width()) // 2, taken + GAP)
        self.raise_()

    @guarded(False)
    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        kinds = (QEvent.Type.Resize, QEvent.Type.Show, QEvent.Type.Hide, QEvent.Type.Move)
        if event.type() in kinds and self.isVisible():
            self.place()
        return False

    def stand_below(self, other: "Bar") -> None:
        """Keep out of another bar's way."""
        self.above = other
        other.installEventFilter(self)


class MessageBar(Bar):
    """Says one thing: why something was refused, or what was done and where it went."""

    def __init__(self, over: QWidget) -> None:
        super().__init__(over)
        self._text = QLabel()
        self._text.setWordWrap(True)
        self._text.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self._button = QPushButton()
        self._close = quiet_button("✕")
        self._close.setToolTip("Put this message away.")
        self._close.setAccessibleName("Put this message away")
        self._act: Callable[[], object] | None = None
        row = QHBoxLayout(self)
        row.setContentsMargins(12, 6, 6, 6)
        row.addWidget(self._text, 1)
        row.addWidget(self._button)
        row.addWidget(self._close)
        self._close.clicked.connect(self.hide)
        self._button.clicked.connect(self._on_button)
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(NEWS_MS)
        self._timer.timeout.connect(self.hide)

    @property
    def text(self) -> str:
        return self._text.text() if self.isVisible() else ""

    def refuse(self, sentence: str) -> None:
        """Say why something could not be done; stays until the next message or a click."""
        self._show("refused", sentence, "", None)
        self._timer.stop()

    def tell(self, sentence: str, button: str = "", act: Callable[[], object] | None = None) -> None:
        """Say what was done; goes away by itself."""
        self._show("news", sentence, button, act)
        self._timer.start()

    def forget_refusal(self) -> None:
        """What was refused is no longer of interest: something else was done."""
        if self.property("kind") == "refused":
            self.hide()

    def _show(self, kind: str, sentence: str, button: str, act: Callable[[], object] | None) -> None:
        self.setProperty("kind", kind)
        self.style().unpolish(self)
        self.style().polish(self)
        self._text.setText(sentence)
        self._button.setText(button)
        self._button.setVisible(bool(button))
        self._act = act
        self.show()
        self.place()

    def _on_button(self) -> None:
        if self._act is not None:
            self._act()


class JobBar(Bar):
    """Progress of one piece of long work, with a button that stops it."""

    def __init__(self, over: QWidget) -> None:
        super().__init__(over)
        self._title = QLabel()
        self._doing = QLabel()
        self._doing.setProperty("kind", "faint")
        self._progress = QProgressBar()
        self._progress.setTextVisible(False)
        self._stop = QPushButton("Cancel")
        self._stop.setToolTip("Stop this work; nothing is changed.")
        self.job: Job | None = None
        row = QHBoxLayout(self)
        row.setContentsMargins(12, 6, 8, 6)
        row.addWidget(self._title)
        row.addWidget(self._progress, 1)
        row.addWidget(self._doing)
        row.addWidget(self._stop)
        self._stop.clicked.connect(self.cancel)

    def follow(self, job: Job) -> None:
        """Show a job until it ends."""
        self.job = job
        self._title.setText(job.title)
        self._doing.setText("")
        self._progress.setMaximum(0)
        self._stop.setEnabled(True)
        job.progressed.connect(self._on_progressed)
        job.ended.connect(self._on_ended)
        self.show()
        self.place()

    def cancel(self) -> None:
        if self.job is not None:
            self._stop.setEnabled(False)
            self._doing.setText("Stopping")
            self.job.cancel()

    def _on_progressed(self, done: float, doing: str) -> None:
        self._progress.setMaximum(1000)
        self._progress.setValue(round(done * 1000))
        if self._stop.isEnabled():
            self._doing.setText(doing)

    def _on_ended(self) -> None:
        self.job = None
        self.hide()


def quiet_button(text: str) -> QToolButton:
    """A small button of one sign, without a frame."""
    button = QToolButton()
    button.setText(text)
    button.setObjectName("fold")
    return button


class HintLine(QLabel):
    """The one line under the view: what the tool waits for and which keys help."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("hint")
        self.setMinimumWidth(1)
        self.setTextFormat(Qt.TextFormat.PlainText)
