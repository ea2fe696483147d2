"""Rows of labels and fields, as the panels at the right are made of."""

from collections.abc import Iterable

from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QComboBox,
    QGridLayout,
    QLabel,
    QSizePolicy,
    QTreeWidgetItem,
    QVBoxLayout,
    QWidget,
)

from app.panels.fields import SEVERAL


class Rows(QWidget):
    """A column of rows; everything keeps to the width there is."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._column = QVBoxLayout(self)
        self._column.setContentsMargins(10, 4, 10, 8)
        self._column.setSpacing(6)
        self._grid: QGridLayout | None = None

    def heading(self, text: str) -> QLabel:
        """A line with a name over what follows."""
        label = QLabel(text)
        label.setProperty("kind", "heading")
        label.setProperty("ruled", True)
        label.setIndent(0)
        self.whole(label)
        return label

    def whole(self, widget: QWidget) -> None:
        """A widget as wide as the panel."""
        self._grid = None
        self._column.addWidget(widget)

    def field(self, label: str, widget: QWidget, tip: str = "") -> QLabel:
        """A field with its label before it; the tip says what the number means."""
        grid = self._open_grid()
        row = grid.rowCount()
        name = QLabel(label)
        name.setBuddy(widget)
        widget.setAccessibleName(label)
        for part in (name, widget):
            part.setToolTip(tip)
        grid.addWidget(name, row, 0)
        grid.addWidget(widget, row, 1)
        return name

    def number(self, label: str, tip: str = "") -> QLabel:
        """A large number that can't be typed; returns the label that shows it."""
        value = QLabel("—")
        value.setProperty("kind", "number")
        value.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        value.setAlignment(Qt.AlignmentFlag.AlignRight)
        value.setWordWrap(True)
        self.field(label, value, tip)
        return value

    def label_of(self, widget: QWidget) -> QLabel:
        """The label before a field or number."""
        return next(label for label in self.findChildren(QLabel) if label.buddy() is widget)

    def words(self, kind: str = "faint") -> QLabel:
        """A paragraph."""
        label = QLabel(wordWrap=True)
        label.setProperty("kind", kind)
        label.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        keep_to_width(label)
        self.whole(label)
        return label

    def finish(self) -> None:
        """Push everything to the top."""
        self._column.addStretch(1)

    def _open_grid(self) -> QGridLayout:
        if self._grid is None:
            self._grid = QGridLayout()
            self._grid.setHorizontalSpacing(8)
            self._grid.setVerticalSpacing(5)
            self._grid.setColumnStretch(0, 2)
            self._grid.setColumnStretch(1, 3)
            self._column.addLayout(self._grid)
        return self._grid


class ChoiceBox(QComboBox):
    """A list of (id, words) that can also show that the selected things differ."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.setMinimumContentsLength(8)
        self.setPlaceholderText(SEVERAL)
        self._shown: tuple[tuple[int, str], ...] = ()

    def show_choices(self, choices: Iterable[tuple[int, str]], chosen: int | None) -> None:
        """Fill the list when it differs and choose; None shows "several"."""
        wanted = tuple(choices)
        if wanted != self._shown:
            self.clear()
            for id, words in wanted:
                self.addItem(words, id)
            self._shown = wanted
        self.setCurrentIndex(-1 if chosen is None else self.findData(chosen))

    @property
    def chosen(self) -> int | None:
        data = self.currentData()
        return None if data is None else int(data)


def children(item: QTreeWidgetItem) -> list[QTreeWidgetItem]:
    """The rows of a tree below another."""
    rows = (item.child(place) for place in range(item.childCount()))
    return [row for row in rows if row is not None]


def keep_to_width(label: QLabel) -> None:
    """Let a wrapping label take the width there is, and the height that it then needs."""
    policy = label.sizePolicy()
    policy.setHorizontalPolicy(QSizePolicy.Policy.Ignored)
    policy.setVerticalPolicy(QSizePolicy.Policy.Minimum)
    policy.setHeightForWidth(True)
    label.setSizePolicy(policy)


def set_kind(label: QLabel, kind: str) -> None:
    """Change how a label is dressed."""
    _dress(label, "kind", kind)


def set_band(label: QLabel, band: str) -> None:
    """Colour a number by its band: close, fine, far, or none of them."""
    _dress(label, "band", band)


def _dress(label: QLabel, property: str, value: str) -> None:
    if label.property(property) != value:
        label.setProperty(property, value)
        label.style().unpolish(label)
        label.style().polish(label)
