"""The list of what a body consists of: keep, leave out, rename, hide and colour."""

from collections.abc import Sequence
from typing import Any

from msgspec.structs import replace
from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QAbstractItemView,
    QCheckBox,
    QComboBox,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QTreeWidget,
    QTreeWidgetItem,
    QVBoxLayout,
    QWidget,
)

from app import wording
from app.panels.body_pages import PANEL_COLOURS
from geometry.body.scan import Choice

NAME, STATE, COUNT = 0, 1, 2
ROWS_SEEN = 6


class PartList(QWidget):
    """One row a part with a tick for keeping it; what stands below acts on the selected rows."""

    changed = Signal(bool)  # whether what is kept changed
    selected = Signal(object)  # row numbers

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._choices: list[Choice] = []
        self._filling = False
        self.tree = QTreeWidget()
        self.tree.setColumnCount(3)
        self.tree.setRootIsDecorated(False)
        self.tree.setUniformRowHeights(True)
        self.tree.setHeaderLabels(["Kept", "", "Triangles"])
        self.tree.setAccessibleName("Panels of this body")
        self.tree.setToolTip("A tick keeps a part; F2 renames it, space ticks it.")
        self.tree.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        self.tree.setTextElideMode(Qt.TextElideMode.ElideMiddle)
        self.tree.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.tree.setTabKeyNavigation(False)
        header = self.tree.header()
        header.setStretchLastSection(False)
        header.setSectionResizeMode(NAME, QHeaderView.ResizeMode.Stretch)
        for column in (STATE, COUNT):
            header.setSectionResizeMode(column, QHeaderView.ResizeMode.ResizeToContents)
        self.tree.itemChanged.connect(self._on_item_changed)
        self.tree.itemSelectionChanged.connect(self._on_selection)
        self.kept = self._tick("&Kept", "Parts left out are neither drawn nor checked.", self._on_kept)
        self.shown = self._tick("Sho&wn", "Hidden parts are checked all the same.", self._on_shown)
        self.colour = QComboBox()
        for words, value in PANEL_COLOURS:
            self.colour.addItem(words, value)
        self.colour.setAccessibleName("Colour of the selected parts")
        self.colour.setToolTip("How the selected parts are drawn.")
        self.colour.activated.connect(self._on_colour)
        label = QLabel("C&olour")
        label.setBuddy(self.colour)
        below = QHBoxLayout()
        below.setSpacing(6)
        for widget in (self.kept, self.shown, label):
            below.addWidget(widget)
        below.addWidget(self.colour, 1)
        column_of_all = QVBoxLayout(self)
        column_of_all.setContentsMargins(0, 0, 0, 0)
        column_of_all.addWidget(self.tree)
        column_of_all.addLayout(below)

    @property
    def choices(self) -> tuple[Choice, ...]:
        return tuple(self._choices)

    def show_parts(self, choices: Sequence[Choice], triangles: Sequence[int]) -> None:
        """Fill the list anew."""
        self._filling = True
        self._choices = list(choices)
        self.tree.clear()
        for count in triangles:
            item = QTreeWidgetItem(self.tree)
            item.setFlags(item.flags() | Qt.ItemFlag.ItemIsEditable | Qt.ItemFlag.ItemIsUserCheckable)
            item.setText(COUNT, f"{count}")
            item.setTextAlignment(COUNT, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        height = self.tree.sizeHintForRow(0) * min(max(len(triangles), 2), ROWS_SEEN)
        self.tree.setFixedHeight(height + self.tree.header().sizeHint().height() + 6)
        self._filling = False
        self._show()
        self._on_selection()

    def _tick(self, words: str, tip: str, slot: Any) -> QCheckBox:
        box = QCheckBox(words)
        box.setToolTip(tip)
        box.clicked.connect(slot)
        return box

    def _rows(self) -> list[int]:
        return sorted(self.tree.indexOfTopLevelItem(item) for item in self.tree.selectedItems())

    def _show(self) -> None:
        self._filling = True
        for number, choice in enumerate(self._choices):
            item = self.tree.topLevelItem(number)
            assert item is not None
            item.setText(NAME, choice.name)
            item.setToolTip(NAME, wording.one_line(choice.name))
            item.setCheckState(NAME, Qt.CheckState.Checked if choice.kept else Qt.CheckState.Unchecked)
            item.setText(
                STATE, "" if choice.kept and choice.shown else "left out" if not choice.kept else "hidden"
            )
        self._filling = False

    def _on_selection(self) -> None:
        rows = self._rows()
        chosen = [self._choices[row] for row in rows]
        for widget in (self.kept, self.shown, self.colour):
            widget.setEnabled(bool(rows))
        if chosen:
            self.kept.setChecked(all(choice.kept for choice in chosen))
            self.shown.setChecked(all(choice.shown for choice in chosen))
            self.colour.setCurrentIndex(max(self.colour.findData(chosen[0].colour or ""), 0))
        self.selected.emit(rows)

    def _on_item_changed(self, item: QTreeWidgetItem, column: int) -> None:
        if self._filling or column != NAME:
            return
        row = self.tree.indexOfTopLevelItem(item)
        old = self._choices[row]
        kept = item.checkState(NAME) == Qt.CheckState.Checked
        name = item.text(NAME).strip()
        taken = {choice.name for number, choice in enumerate(self._choices) if number != row}
        if not name or name in taken:
            name = old.name
        self._set([row], name=name, kept=kept)

    def _on_kept(self, kept: bool) -> None:
        self._set(self._rows(), kept=kept)

    def _on_shown(self, shown: bool) -> None:
        self._set(self._rows(), shown=shown)

    def _on_colour(self) -> None:
        self._set(self._rows(), colour=self.colour.currentData() or None)

    def _set(self, rows: Sequence[int], **changes: Any) -> None:
        before = self.choices
        for row in rows:
            self._choices[row] = replace(self._choices[row], **changes)
        if not any(choice.kept for choice in self._choices):
            self._choices = list(before)  # something has to stay
        self._show()
        self._on_selection()
        if self.choices != before:
            pairs = zip(before, self._choices, strict=True)
            self.changed.emit(any(old.kept != new.kept for old, new in pairs))
