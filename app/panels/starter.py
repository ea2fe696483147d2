"""The step that begins a cage: named points of the body, families of tubes, and what is laid from them."""

from collections.abc import Callable
from typing import Any

from msgspec.structs import replace
from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import (
    QApplication,
    QCheckBox,
    QGridLayout,
    QHBoxLayout,
    QHeaderView,
    QPushButton,
    QTreeWidget,
    QTreeWidgetItem,
    QWidget,
)

from app import units as unit_text
from app import wording
from app.guarded import guarded
from app.panels.job_page import sums
from app.panels.rack_choices import stock_choices
from app.panels.rows import ChoiceBox, Rows
from app.session import Session
from app.units import MILLIMETRES, Units
from geometry.checks.report import Report
from geometry.errors import GeometryError
from geometry.laying.wish import Place
from geometry.layout import Layout
from geometry.starting import cage
from geometry.starting import points as named
from geometry.starting.cage import Laid
from geometry.starting.families import FAMILIES
from geometry.starting.points import NAMES, Guess
from geometry.vectors import Vec3

KEY = Qt.ItemDataRole.UserRole
TITLE, STATE = range(2)
PLACED, SURE, UNSURE, MISSING = "✔ placed", "● guessed", "? guessed", "○ missing"
ROWS_SEEN = 15
INTRODUCTION = "Click a point, then the body, to move it. Points of the left side count for both."
NO_BODY = "There is no body to lay a cage on. Bring one in first."
NOT_BUILT = "Enter lays the cage and shows it; nothing is kept yet."

Work = Callable[..., Any]


class _List(QTreeWidget):
    """The points; Space asks where one is, Enter is for the step."""

    point_wanted = Signal(QTreeWidgetItem)

    @guarded()
    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() == Qt.Key.Key_Space and self.currentItem() is not None:
            self.point_wanted.emit(self.currentItem())
        elif event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            event.ignore()
        else:
            super().keyPressEvent(event)


class StarterPanel(Rows):
    """While it is open a cage that was laid is a preview; Accept records it as one step.

    What takes time is asked for by work_wanted, with what shall be done with the value; the marks of the
    points by marked; a point of the body by pick_points_wanted, which take_points answers.
    """

    accepted = Signal()
    cancelled = Signal()
    refused = Signal(str)
    pick_points_wanted = Signal(int, str)
    marked = Signal(object)  # (key, place, label, is_current, is_unsure) of each point
    work_wanted = Signal(str, object, object, object)  # title, function, arguments, what takes its value
    work_unwanted = Signal()

    def __init__(self, session: Session, units: Units = MILLIMETRES, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self._units = units
        self._is_open = False
        self._panels: object = None  # that the points were guessed on
        self._guesses: dict[str, Guess] = {}
        self._placed: dict[str, Place] = {}
        self._current = ""  # the point that is being pointed at
        self._made: Laid | None = None
        self._made_of: Layout | None = None
        self._built: tuple[str, ...] = ()  # families
        self._is_working = False
        self._again = QTimer(self, singleShot=True, interval=0)
        self._again.timeout.connect(self._on_again)
        self._make()
        session.previewing_changed.connect(self._on_previewing)
        session.committed.connect(self._on_committed)
        session.opened.connect(self._on_opened)

    # What the window calls

    @property
    def is_open(self) -> bool:
        return self._is_open

    @property
    def places(self) -> dict[str, Place]:
        """Where the points are, as placed or guessed."""
        guessed = {key: guess.place for key, guess in self._guesses.items() if guess.place is not None}
        return {**guessed, **self._placed}

    @property
    def families(self) -> tuple[str, ...]:
        """The families that are ticked."""
        return tuple(key for key, box in self.boxes.items() if box.isChecked())

    def set_units(self, units: Units) -> None:
        self._units = units
        self._show_result()

    def open_cage(self, stock: int | None) -> None:
        """Start on the body of the job, with the stock for new tubes."""
        layout = self._session.recorded
        self._is_open, self._current = True, ""
        self._forget()
        known = stock if stock in layout.stocks else next(iter(layout.stocks), None)
        self.stock.show_choices(stock_choices(layout), known)
        if self._panels is layout.panels:
            self._show()
        else:
            self._guess()

    def take_points(self, points: list[Vec3], faces: list[tuple[int, int]]) -> None:
        """Put the point that was asked for where the body was clicked; none leaves it."""
        key, self._current = self._current, ""
        if key and points:
            try:
                self._placed[key] = named.placed(self._session.layout, key, points[0], *faces[0])
            except GeometryError as error:
                self.refused.emit(error.message)
            self._forget()
        self._show()

    def show_report(self, revision: int, report: Report) -> None:
        """Say how many findings the cage has that is shown."""
        if self._is_open and self._made is not None and revision == self._session.revision:
            self._findings = wording.counted(len(report.findings), "finding") if report.is_complete else ""
            if report.is_complete and not report.findings:
                self._findings = "nothing to find"
            self._show_result()

    def accept(self) -> None:
        """Record the cage as one step; build it if that wasn't done."""
        if not self._is_open or self._is_working:
            return
        if self._made is None or self._made_of is not self._session.recorded:
            self.build()
            return
        layout = self._laid(self._made)
        self._close()
        self._session.commit("Start a cage", layout)
        self.accepted.emit()

    def cancel(self) -> None:
        """Leave the job as it was."""
        if self._is_open:
            self._close()
            if self._session.is_previewing:
                self._session.cancel()
            self.cancelled.emit()

    def build(self) -> None:
        """Lay the ticked families beside the window."""
        layout, stock = self._session.recorded, self.stock.chosen
        if self._is_working or not self._is_open or stock is None:
            return
        if not self.families:
            self.refused.emit("No tubes are ticked. Tick the ones that the cage shall have.")
            return
        self._stop_pointing()
        self._forget()
        self._begin("Laying the cage")
        wanted = self.families
        arguments = (_light(layout), self.places, wanted, stock, self.both.isChecked())
        self._made_of, self._built = layout, wanted
        self.work_wanted.emit("Laying the cage", cage.laid, arguments, self._on_laid)

    def work_ended(self) -> None:
        """The work that was wanted came to its end, one way or another."""
        self._is_working = False
        if self._is_open:
            self._show()

    # What it is made of

    def _make(self) -> None:
        self._findings = ""
        intro = self.words()
        intro.setText(INTRODUCTION)
        self.heading("Points")
        self.list = self._make_list()
        self.whole(self.list)
        self.meaning = self.words()
        self.again = QPushButton("&Guess again")
        self.again.setToolTip("Read all points from the body anew; what was placed is forgotten.")
        self.again.clicked.connect(self._on_guess_again)
        self.heading("Tubes")
        self.whole(self._make_boxes())
        self.stock = ChoiceBox()
        self.stock.activated.connect(self._on_changed)
        self.field("Stock", self.stock, "What all tubes of the cage are made of.")
        self.result = self.words("")
        self.left_out = self.words("near")
        self.whole(self._make_buttons())
        self.finish()

    def _make_list(self) -> _List:
        tree = _List()
        tree.setAccessibleName("Points of the body")
        tree.setRootIsDecorated(False)
        tree.setUniformRowHeights(True)
        tree.setHeaderHidden(True)
        tree.setColumnCount(2)
        tree.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        tree.header().setStretchLastSection(False)
        tree.header().setSectionResizeMode(TITLE, QHeaderView.ResizeMode.Stretch)
        tree.header().setSectionResizeMode(STATE, QHeaderView.ResizeMode.ResizeToContents)
        self._items = [QTreeWidgetItem([name.title, MISSING]) for name in NAMES]
        for item, name in zip(self._items, NAMES, strict=True):
            item.setData(TITLE, KEY, name.key)
            item.setToolTip(TITLE, name.meaning)
            tree.addTopLevelItem(item)
        rows = tree.sizeHintForRow(0) * ROWS_SEEN + 2 * tree.frameWidth() + 2
        tree.setMinimumHeight(rows)
        tree.setMaximumHeight(rows)
        tree.currentItemChanged.connect(self._on_row)
        tree.itemClicked.connect(self._on_point_wanted)
        tree.point_wanted.connect(self._on_point_wanted)
        return tree

    def _make_boxes(self) -> QWidget:
        widget = QWidget()
        grid = QGridLayout(widget)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setVerticalSpacing(2)
        self.boxes: dict[str, QCheckBox] = {}
        for number, family in enumerate(FAMILIES):
            box = QCheckBox(family.title)
            box.setToolTip(family.meaning)
            box.setChecked(True)
            box.toggled.connect(self._on_ticked)
            grid.addWidget(box, number // 2, number % 2)
            self.boxes[family.key] = box
        self.both = QCheckBox("B&oth sides alike")
        self.both.setChecked(True)
        self.both.setToolTip("Lay twins on the right; without it, only the left side is laid.")
        self.both.toggled.connect(self._on_changed)
        grid.addWidget(self.both, len(FAMILIES) // 2, len(FAMILIES) % 2)
        return widget

    def _make_buttons(self) -> QWidget:
        self.build_button = QPushButton("Bu&ild")
        self.build_button.setToolTip("Lay the ticked tubes and show them (Enter).")
        self.build_button.clicked.connect(self._on_build)
        self.accept_button = QPushButton("&Accept")
        self.accept_button.setToolTip("Record the cage as one step (Enter).")
        self.accept_button.clicked.connect(self.accept)
        self.cancel_button = QPushButton("Ca&ncel")
        self.cancel_button.setToolTip("Leave the job as it was (Escape).")
        self.cancel_button.clicked.connect(self.cancel)
        widget = QWidget()
        row = QHBoxLayout(widget)
        row.setContentsMargins(0, 0, 0, 0)
        for button in (self.again, self.build_button, self.accept_button, self.cancel_button):
            row.addWidget(button, 1)
        return widget

    # Points

    def _guess(self) -> None:
        layout = self._session.recorded
        self._panels, self._guesses, self._placed = None, {}, {}
        if not any(panel.kept for panel in layout.panels.values()):
            self._show()
            return
        self._begin("Looking for the points")
        self.work_wanted.emit("Looking for the points", named.guessed, (_light(layout),), self._on_guessed)

    def _on_guessed(self, guesses: dict[str, Guess]) -> None:
        self._guesses, self._panels = guesses, self._session.recorded.panels

    def _on_guess_again(self) -> None:
        if not self._is_working:
            self._stop_pointing()
            self._forget()
            self._guess()

    def _on_row(self, item: QTreeWidgetItem | None) -> None:
        key = item.data(TITLE, KEY) if item is not None else ""
        self.meaning.setText(named.named(key).meaning if key else "")
        self._mark()

    def _on_point_wanted(self, item: QTreeWidgetItem) -> None:
        """Ask for the place of a point of the list."""
        if self._is_working:
            return
        self._current = item.data(TITLE, KEY)
        title = named.named(self._current).title
        self.pick_points_wanted.emit(1, f"Click the body where this is: {title}")
        self._mark()

    def _stop_pointing(self) -> None:
        if self._current:
            self._current = ""
            self.pick_points_wanted.emit(0, "")

    def _mark(self) -> None:
        """Have the points marked in the view."""
        selected = self.list.selectedItems()
        chosen = self._current or (selected[0].data(TITLE, KEY) if selected else "")
        marks = [
            (key, place.point, named.named(key).label, key == chosen, self._state(key) == UNSURE)
            for key, place in self.places.items()
            if self._is_open and (self._made is None or key == chosen)
        ]
        self.marked.emit(marks)

    def _state(self, key: str) -> str:
        if key in self._placed:
            return PLACED
        guess = self._guesses.get(key)
        if guess is None or guess.place is None:
            return MISSING
        return UNSURE if guess.sureness == "unsure" else SURE

    # The cage

    def _on_build(self) -> None:
        if self._is_working:
            self.work_unwanted.emit()
        else:
            self.build()

    def _on_laid(self, made: Laid) -> None:
        if self._is_open and self._made_of is self._session.recorded:
            self._made = made
            self._preview()

    def _laid(self, made: Laid) -> Layout:
        return cage.with_laid(self._session.recorded, made, self.families)

    def _preview(self) -> None:
        if self._made is not None:
            self._session.preview(self._laid(self._made))

    def _tubes_of(self, layout: Layout) -> list[int]:
        families = {} if self._made is None else self._made.families
        return [id for id in families if id in layout.tubes]

    def _forget(self) -> None:
        """Take back the cage that is shown: what it was laid from has changed."""
        self._made, self._made_of, self._findings = None, None, ""
        if self._session.is_previewing:
            self._session.cancel()

    def _on_changed(self, *_: object) -> None:
        if self._is_open and not self._is_working:
            self._forget()
            self._show()

    def _on_ticked(self) -> None:
        """Show what was laid without the families no longer wanted; what wasn't laid needs building."""
        if not self._is_open or self._is_working:
            return
        if self._made is not None and set(self.families) <= set(self._built) and self.families:
            self._preview()
        else:
            self._forget()
        self._show()

    # What is shown

    def _begin(self, doing: str) -> None:
        self._is_working = True
        focused = QApplication.focusWidget()
        if focused is not None and self.isAncestorOf(focused):
            self.list.setFocus()  # what is about to be greyed would hand the focus to any neighbour
        self._show()
        self.result.setText(f"{doing}…")

    def _show(self) -> None:
        for item in self._items:
            item.setText(STATE, self._state(item.data(TITLE, KEY)))
        self._show_result()
        self._mark()
        is_ready = not self._is_working and self._made is not None
        for widget in (self.again, self.stock, self.both, *self.boxes.values()):
            widget.setEnabled(not self._is_working)
        self.build_button.setText("Sto&p" if self._is_working else "Bu&ild")
        self.build_button.setEnabled(self._is_working or (self._made is None and bool(self.places)))
        self.accept_button.setEnabled(is_ready)
        self._show_main(self.accept_button if is_ready else self.build_button)

    def _show_main(self, main: QPushButton) -> None:
        for button in (self.build_button, self.accept_button):
            if button.property("main") != (button is main):
                button.setProperty("main", button is main)
                button.style().unpolish(button)
                button.style().polish(button)

    def _show_result(self) -> None:
        if self._is_working:
            return
        self.left_out.setVisible(self._made is not None and bool(self._made.left_out))
        if self._made is None:
            has_body = any(panel.kept for panel in self._session.recorded.panels.values())
            self.result.setText(NOT_BUILT if has_body else NO_BODY)
            return
        layout = self._session.layout
        tubes = self._tubes_of(layout)
        length, mass = sums(layout, tubes)
        words = [
            wording.counted(len(tubes), "tube"),
            unit_text.format_length(length, self._units),
            unit_text.format_mass(mass, self._units),
            self._findings or "checking",
        ]
        self.result.setText(f"{', '.join(words)}.")
        self.left_out.setText("\n".join(f"Left out: {said}" for said in self._made.left_out))

    # What happens elsewhere

    def _close(self) -> None:
        self._is_open = False
        self._current = ""
        if self._is_working:
            self.work_unwanted.emit()
        self._made, self._made_of = None, None
        self.marked.emit([])

    def _on_previewing(self, previewing: bool) -> None:
        # Other tools end previews; as long as this step is open its cage is to be seen.
        if not previewing and self._is_open and self._made is not None:
            self._again.start()

    def _on_again(self) -> None:
        if self._is_open and self._made is not None and not self._session.is_previewing:
            self._preview()

    def _on_committed(self, layout: Layout) -> None:
        """Something else was recorded: what was laid is of the layout before."""
        if self._is_open and self._made_of is not None and self._made_of is not layout:
            self._made, self._made_of = None, None
            self._show()

    def _on_opened(self) -> None:
        self._panels = None
        if self._is_open:
            self._close()
            self.cancelled.emit()

    @guarded()
    def keyPressEvent(self, event: QKeyEvent) -> None:
        focused = self.focusWidget()
        if event.key() == Qt.Key.Key_Escape:
            self.cancel()
        elif event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            if isinstance(focused, QPushButton):
                focused.click()
            else:
                self.accept()
        else:
            super().keyPressEvent(event)


def _light(layout: Layout) -> Layout:
    """Return of a layout what a cage is laid from: what is left out is too heavy to send along."""
    kept = {id: panel for id, panel in layout.panels.items() if panel.kept}
    bare = {id: replace(panel, trim=None) for id, panel in kept.items()}
    return replace(layout, panels=bare, snapshots={})
