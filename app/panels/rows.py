"""Rows of labels and fields, as the panels at the right are made of."""

from collections.abc import Iterable
from typing import Any

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QWheelEvent
from PySide6.QtWidgets import (
    QComboBox,
    QGridLayout,
    QLabel,
    QPushButton,
    QSizePolicy,
    QTreeWidgetItem,
    QVBoxLayout,
    QWidget,
)

from app.guarded import guarded
from app.panels.fields import SEVERAL, LengthField, TextField
from app.session import Session
from app.units import Units
from geometry import edits
from geometry.layout import NAMED

LONG_LABEL = "Trial bends"  # so wide is the column of labels, that fields stand below each other


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
            self._grid.setColumnMinimumWidth(0, self.fontMetrics().horizontalAdvance(LONG_LABEL))
            self._grid.setColumnStretch(1, 1)
            self._column.addLayout(self._grid)
        return self._grid


class Page(Rows):
    """What is selected, with its numbers; a subclass shows them in refresh()."""

    command_wanted = Signal(str)  # name of a command

    def __init__(self, session: Session, units: Units) -> None:
        super().__init__()
        self._session = session
        self._units = units
        self._ids: frozenset[int] = frozenset()

    @property
    def _id(self) -> int:
        """What a page of one thing shows; no id is 0."""
        return next(iter(self._ids), 0)

    def set_units(self, units: Units) -> None:
        self._units = units
        for field in self.findChildren(LengthField):
            field.set_units(units)
        self.refresh()

    def show_ids(self, ids: frozenset[int]) -> None:
        self._ids = ids
        self.refresh()

    def refresh(self) -> None:
        """Show the layout as it is now."""
        raise NotImplementedError

    def command_button(self, words: str, command: str, tip: str) -> QPushButton:
        """A button that asks for one of the window's commands."""
        button = QPushButton(words)
        button.setToolTip(tip)
        button.setObjectName(command)
        button.clicked.connect(self._on_command_button)
        return button

    def _on_command_button(self) -> None:
        self.command_wanted.emit(self.sender().objectName())


class NamedPage(Page):
    """A page of one thing that has a name, which stands in its first field."""

    def __init__(self, session: Session, units: Units, label: str, tip: str) -> None:
        super().__init__(session, units)
        self.name = TextField()
        self.name.editingFinished.connect(self._on_name)
        self.field(label, self.name, tip)

    def _show_name(self) -> None:
        thing = self._thing()
        if thing is not None and not self.name.hasFocus():
            self.name.setText(thing.name)

    def _thing(self) -> Any:
        """The thing that is shown; it has an id and a name."""
        layout, id = self._session.layout, self._id
        kinds = (getattr(layout, kind) for kind in NAMED)
        return next((things[id] for things in kinds if id in things), None)

    def _on_name(self) -> None:
        thing, wanted = self._thing(), self.name.text().strip()
        if thing is None or wanted == thing.name:
            return
        words = f"Rename {thing.name}"
        if not wanted or not self._session.apply(words, lambda now: edits.rename(now, thing.id, wanted)):
            self.name.setText(thing.name)


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

    @guarded()
    def wheelEvent(self, event: QWheelEvent) -> None:
        event.ignore()  # it scrolls the page: nothing in the job changes in passing

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
