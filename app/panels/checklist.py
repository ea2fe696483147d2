"""What needs room on a car: which of it has a zone, which is not needed, which nobody looked at yet."""

from typing import cast

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import (
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QPushButton,
    QTreeWidget,
    QTreeWidgetItem,
    QVBoxLayout,
    QWidget,
)

from app import wording
from app.guarded import guarded
from app.panels.rows import children
from app.session import Session
from geometry import zoning
from geometry.aids import Purpose
from geometry.checks.findings import Report
from geometry.layout import Layout

PURPOSE = Qt.ItemDataRole.UserRole
NAME, STATE, WHERE = range(3)
SET, UNSET, NOT_NEEDED = "✔", "○", "–"


class _List(QTreeWidget):
    """The rows; Enter sets, Space says not needed or needed."""

    set_wanted = Signal()
    need_switched = Signal()

    @guarded()
    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.set_wanted.emit()
        elif event.key() == Qt.Key.Key_Space:
            self.need_switched.emit()
        else:
            super().keyPressEvent(event)


class Checklist(QWidget):
    """One row a purpose."""

    zone_wanted = Signal(str)  # purpose

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self._report: Report | None = None
        self._asked: Purpose | None = None  # that a place is asked for
        self.tree = self._make_list()
        self.summary = QLabel()
        self.summary.setProperty("kind", "faint")
        self.set_it = self._button("Set &it", "Click the place on the body then.", self._on_set)
        self.need = self._button("Not &needed", "This car has no use for it.", self._on_need)
        line = QHBoxLayout()
        line.setContentsMargins(8, 4, 8, 4)
        line.setSpacing(10)
        line.addWidget(self.set_it)
        line.addWidget(self.need)
        line.addWidget(self.summary, 1)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addLayout(line)
        column.addWidget(self.tree, 1)
        self.setFocusProxy(self.tree)
        session.changed.connect(self._on_changed)
        session.previewing_changed.connect(self._show_buttons)
        session.committed.connect(self._on_committed)
        self._fill()

    def _make_list(self) -> _List:
        tree = _List()
        tree.setRootIsDecorated(False)
        tree.setUniformRowHeights(True)
        tree.setHeaderLabels(["Room for", "State", "To set it, click"])
        tree.setAccessibleName("What needs room")
        tree.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        tree.header().resizeSection(NAME, 180)
        tree.header().resizeSection(STATE, 300)
        tree.header().setSectionResizeMode(WHERE, QHeaderView.ResizeMode.Stretch)
        tree.itemSelectionChanged.connect(self._on_selected)
        tree.itemDoubleClicked.connect(self._on_set)
        tree.set_wanted.connect(self._on_set)
        tree.need_switched.connect(self._on_need)
        return tree

    def _button(self, words: str, tip: str, slot: object) -> QPushButton:
        button = QPushButton(words)
        button.setToolTip(tip)
        button.clicked.connect(slot)
        return button

    def show_report(self, report: Report) -> None:
        """Show which rooms a tube stands in."""
        self._report = report
        self._show()

    @property
    def purpose(self) -> Purpose | None:
        """The purpose of the row that is chosen."""
        item = self.tree.currentItem()
        return None if item is None else cast(Purpose, item.data(NAME, PURPOSE))

    def choose(self, purpose: Purpose) -> None:
        """Choose the row of a purpose."""
        self.tree.setCurrentItem(self._rows()[list(zoning.PURPOSES).index(purpose)])

    def _rows(self) -> list[QTreeWidgetItem]:
        return children(self.tree.invisibleRootItem())

    def _fill(self) -> None:
        for purpose, info in zoning.PURPOSES.items():
            item = QTreeWidgetItem(self.tree, [info.label, "", info.where])
            item.setData(NAME, PURPOSE, purpose)
            item.setToolTip(NAME, f"{info.size} Sizes: {info.source}.")
        self._show()
        self.tree.setCurrentItem(self._rows()[0])

    def _on_changed(self, before: Layout, after: Layout) -> None:
        if before.zones is not after.zones or before.not_needed is not after.not_needed:
            self._show()

    def _on_committed(self, layout: Layout) -> None:
        """Once what was asked for is set, choose the next that is left."""
        if self._asked is None or not zoning.of_purpose(layout, self._asked):
            return
        order = list(zoning.PURPOSES)
        place, self._asked = order.index(self._asked), None
        left = zoning.unset(layout)
        if left and self.purpose == order[place]:
            self.choose(next((one for one in left if order.index(one) > place), left[0]))

    def _show(self) -> None:
        layout = self._session.layout
        in_the_way = {row.zone for row in self._report.zones} if self._report is not None else set()
        for item in self._rows():
            purpose = cast(Purpose, item.data(NAME, PURPOSE))
            item.setText(STATE, state_words(layout, purpose, in_the_way))
            is_quiet = purpose in layout.not_needed
            colour = self.palette().placeholderText() if is_quiet else self.palette().text()
            for column in (NAME, STATE, WHERE):
                item.setForeground(column, colour)
        unset = len(zoning.unset(layout))
        everything = "Everything is set, or said not to be needed."
        self.summary.setText(f"{wording.counted(unset, 'purpose')} left to look at." if unset else everything)
        self._show_buttons()

    def _show_buttons(self) -> None:
        purpose, layout = self.purpose, self._session.layout
        if purpose is None:
            return
        quiet = not self._session.is_previewing
        has_zone = bool(zoning.of_purpose(layout, purpose))
        self.set_it.setText("Set an&other" if has_zone else "Set &it")
        self.set_it.setEnabled(quiet)
        self.need.setText("&Needed" if purpose in layout.not_needed else "Not &needed")
        self.need.setEnabled(quiet and purpose != "other" and not has_zone)

    def _on_selected(self) -> None:
        self._show_buttons()
        purpose = self.purpose
        zones = zoning.of_purpose(self._session.layout, purpose) if purpose is not None else []
        if zones and self.tree.hasFocus() and not self._session.is_previewing:
            self._session.select(zone.id for zone in zones)

    def _on_set(self) -> None:
        if self.purpose is not None and self.set_it.isEnabled():
            self._asked = self.purpose
            self.zone_wanted.emit(self.purpose)

    def _on_need(self) -> None:
        purpose = self.purpose
        if purpose is None or not self.need.isEnabled():
            return
        needed = purpose in self._session.layout.not_needed
        label = zoning.PURPOSES[purpose].label
        words = f"{label} is needed" if needed else f"{label} is not needed"
        self._session.apply(words, lambda now: zoning.set_needed(now, purpose, needed))


def state_words(layout: Layout, purpose: Purpose, in_the_way: set[int]) -> str:
    """Say whether a purpose has a zone, with its name and whether a tube stands in it."""
    zones = zoning.of_purpose(layout, purpose)
    if zones:
        names = wording.listed([wording.one_line(zone.name) for zone in zones])
        blocked = any(zone.id in in_the_way for zone in zones)
        sign = wording.SEVERITY_SIGNS["warning"] if blocked else SET
        return f"{sign} {names}{': a tube is in the way' if blocked else ''}"
    if purpose in layout.not_needed:
        return f"{NOT_NEEDED} not needed"
    return "" if purpose == "other" else f"{UNSET} unset"
