"""The first page: three ways to begin, and the jobs used last with their pictures."""

from collections.abc import Sequence
from pathlib import Path

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QIcon, QPixmap
from PySide6.QtWidgets import (
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QScrollArea,
    QSizePolicy,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

PICTURE = QSize(176, 110)
COLUMNS = 4
WIDEST = 1120  # wider, the eye loses the row
DRAWING = QSize(52, 52)
CHOICES = (
    ("body", "Bring in a scan", "STL, OBJ, PLY, OFF, GLB or 3MF of the vehicle"),
    ("tape", "Measure a body", "A body from tape and plumb-line numbers"),
    ("sample", "Open the sample", "A small two-door 4×4 with its cage finished"),
)


class StartPage(QScrollArea):
    """Shown while there is no job."""

    scan_wanted = Signal()
    measures_wanted = Signal()
    sample_wanted = Signal()
    open_wanted = Signal()
    job_wanted = Signal(object)  # Path
    tour_wanted = Signal()
    tour_declined = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWidgetResizable(True)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        page = QWidget()
        self._choices: list[Choice] = []
        self._cards: list[QToolButton] = []
        self._jobs = QGridLayout()
        self._jobs.setSpacing(14)
        self._jobs_title = _heading("Recent jobs", 15)
        column = QVBoxLayout(page)
        column.setContentsMargins(48, 40, 48, 32)
        column.setSpacing(12)
        column.addStretch(1)
        column.addWidget(_heading("Lay out a cage", 26))
        column.addWidget(_faint("Start from the body the tubes go round. Dropping a file here works too."))
        column.addSpacing(10)
        column.addLayout(self._choice_row())
        column.addWidget(self._tour_row())
        column.addSpacing(22)
        column.addWidget(self._jobs_title)
        column.addLayout(self._jobs)
        column.addWidget(self._open_button(), 0, Qt.AlignmentFlag.AlignLeft)
        column.addStretch(2)
        page.setMaximumWidth(WIDEST)
        middle = QWidget()
        row = QHBoxLayout(middle)
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(page, 1)
        self.setWidget(middle)

    def set_icons(self, icons: Sequence[QIcon]) -> None:
        """Give the three choices their drawings, in their order."""
        for button, icon in zip(self._choices, icons, strict=True):
            button.set_drawing(icon)

    def set_recent(self, jobs: Sequence[tuple[Path, Path]]) -> None:
        """List jobs, each with the file of its picture (which may not exist)."""
        for card in self._cards:
            self._jobs.removeWidget(card)
            card.deleteLater()
        self._cards = [self._job_card(job, picture) for job, picture in jobs[: 2 * COLUMNS]]
        for place, card in enumerate(self._cards):
            self._jobs.addWidget(card, place // COLUMNS, place % COLUMNS)
        self._jobs.setColumnStretch(COLUMNS, 1)
        self._jobs_title.setVisible(bool(jobs))

    def _choice_row(self) -> QHBoxLayout:
        row = QHBoxLayout()
        row.setSpacing(14)
        wanted = (self.scan_wanted, self.measures_wanted, self.sample_wanted)
        for (_, title, words), signal in zip(CHOICES, wanted, strict=True):
            card = Choice(title, words)
            card.clicked.connect(signal)
            self._choices.append(card)
            row.addWidget(card, 1)
        return row

    def offer_tour(self, is_offered: bool) -> None:
        """Offer the tour below the choices, or no more."""
        self._tour.setVisible(is_offered)

    def _tour_row(self) -> QWidget:
        self._tour = QWidget()
        row = QHBoxLayout(self._tour)
        row.setContentsMargins(0, 6, 0, 0)
        take, decline = QPushButton("Take the tour"), QPushButton("No, thanks")
        take.setToolTip("Open the sample with a small card that leads from one thing to the next.")
        decline.setToolTip("Don't offer it here any more; the Help menu keeps it.")
        take.clicked.connect(self.tour_wanted)
        decline.clicked.connect(self.tour_declined)
        words = _faint("New here? A tour on the sample takes five minutes and can be left at any time.")
        words.setWordWrap(False)
        row.addWidget(words)
        row.addSpacing(8)
        row.addWidget(take)
        row.addWidget(decline)
        row.addStretch(1)
        return self._tour

    def _open_button(self) -> QToolButton:
        button = QToolButton()
        button.setText("Open another job…")
        button.setToolTip("Choose a job file.")
        button.clicked.connect(self.open_wanted)
        return button

    def _job_card(self, job: Path, picture: Path) -> QToolButton:
        card = _card(job.stem, PICTURE)
        pixmap = QPixmap(str(picture)) if picture.is_file() else QPixmap()
        card.setIcon(QIcon(pixmap) if not pixmap.isNull() else _no_picture())
        card.setText(card.fontMetrics().elidedText(job.stem, Qt.TextElideMode.ElideMiddle, PICTURE.width()))
        card.setToolTip(str(job))
        card.setProperty("job", str(job))
        card.clicked.connect(self._on_job)
        return card

    def _on_job(self) -> None:
        self.job_wanted.emit(Path(str(self.sender().property("job"))))


class Choice(QToolButton):
    """A large button: a drawing, a title and a line of words."""

    def __init__(self, title: str, words: str) -> None:
        super().__init__()
        self.setObjectName("card")
        self.setAccessibleName(f"{title}. {words}")
        self.setToolTip(f"{words}.")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setCursor(Qt.CursorShape.PointingHandCursor)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setMinimumHeight(168)
        self._drawing = QLabel()
        column = QVBoxLayout(self)
        column.setContentsMargins(20, 16, 20, 16)
        column.addWidget(self._drawing)
        column.addStretch(1)
        name = QLabel(title)
        name.setObjectName("card-title")
        column.addWidget(name)
        column.addWidget(_faint(words))
        for label in self.findChildren(QLabel):
            label.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)

    def set_drawing(self, icon: QIcon) -> None:
        self._drawing.setPixmap(icon.pixmap(DRAWING, self.devicePixelRatioF()))


def _card(text: str, icon_size: QSize) -> QToolButton:
    card = QToolButton()
    card.setText(text)
    card.setObjectName("card")
    card.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextUnderIcon)
    card.setIconSize(icon_size)
    card.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
    card.setCursor(Qt.CursorShape.PointingHandCursor)
    return card


def _no_picture() -> QIcon:
    """An empty picture, so that all cards are of one size."""
    pixmap = QPixmap(PICTURE)
    pixmap.fill(Qt.GlobalColor.transparent)
    return QIcon(pixmap)


def _heading(text: str, pixels: int) -> QLabel:
    label = QLabel(text)
    font = label.font()
    font.setPixelSize(pixels)
    font.setWeight(font.Weight.DemiBold)
    label.setFont(font)
    return label


def _faint(text: str) -> QLabel:
    label = QLabel(text, wordWrap=True)
    label.setProperty("kind", "faint")
    return label
