"""The keyboard sheet: every command as in the menus, and what hand and keys do in the view.

Typing narrows it by words; Enter on a command runs it.
"""

from collections.abc import Iterable, Sequence

from msgspec import Struct
from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QRect, QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent, QResizeEvent
from PySide6.QtWidgets import (
    QHeaderView,
    QLabel,
    QLineEdit,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTreeWidget,
    QTreeWidgetItem,
    QVBoxLayout,
    QWidget,
)

from app.guarded import guarded
from app.panels.rows import children

Index = QModelIndex | QPersistentModelIndex
MARGIN = 12  # px beside a sentence
NAME = Qt.ItemDataRole.UserRole  # of the command; empty for what is none


class Row(Struct, frozen=True):
    """One line of the sheet; `name` is that of a command, if it is one."""

    words: str
    key: str
    tip: str
    name: str = ""


class Group(Struct, frozen=True):
    """Lines that belong together."""

    title: str
    rows: tuple[Row, ...]


def _group(title: str, *rows: tuple[str, str, str]) -> Group:
    return Group(title, tuple(Row(*row) for row in rows))


# What is no command: the hand in the view, and keys that a tool or a field takes for itself.
BY_HAND: tuple[Group, ...] = (
    _group(
        "In the view: looking round",
        ("Turn", "Left drag", "Turn about the place under the pointer; beside what would be dragged."),
        ("Turn, anywhere", "Right drag", "The same, also over what is selected; a right click opens a menu."),
        ("Shift the view", "Middle drag", "The place under the pointer stays under it."),
        ("Shift the view, two buttons", "Shift+right drag", "For a mouse without a middle button."),
        ("Nearer or farther", "Wheel", "Towards the place under the pointer."),
        ("Turn by keys", "Arrows", "While nothing is selected; with a selection they move it."),
        ("Shift by keys", "Ctrl+Arrows", "Shift the view by a hand's breadth on the screen."),
        ("Nearer or farther by keys", "+, -", "Not while a tube is laid: there they belong to a number."),
        ("Menu of what is selected", "Menu", "The same as a right click."),
        ("The next thing there", "Space", "Mean what lies behind: the next node, tube, wheel or panel."),
    ),
    _group(
        "In the view: select and move",
        ("Select", "Click", "A click beside everything lets the selection go."),
        ("Add or leave out", "Shift+click", "Add to the selection what was clicked, or take it out."),
        ("Add what lies in a box", "Shift+drag", "Seen nodes and tubes within the box are added."),
        ("Select a box anew", "Ctrl+drag", "From an empty place: only what lies in the box is selected."),
        ("Move", "Drag", "A corner, or a tube that is selected; what is on the body rides along it."),
        ("Move freely", "Ctrl, dragging", "Let go of the body while Ctrl is held."),
        ("Without guides", "Shift, dragging", "Leave heights, stations and middles out while Shift is held."),
        ("Along one axis", "Hold X, Y, Z", "While dragging: only lengthwise, across or up."),
        ("In one plane", "Hold Shift+X, Y, Z", "While dragging: all but this axis."),
        ("Move a step", "Arrows", "The selection goes along the car's axes, by the step set at the right."),
        ("Move away or nearer", "PgUp, PgDown", "A step along the axis that points into the screen."),
        ("Move ten steps", "Shift+Arrows", "Ten times as far; Shift+PgUp and Shift+PgDown as well."),
        ("Corner here", "Double-click", "On a tube: one more corner at this place."),
        ("Corner under the pointer", "Ins", "Or in the middle of the selected tube's longest leg."),
        ("Put back, let go", "Esc", "Put back what is dragged; else let the selection go."),
    ),
    _group(
        "Laying a tube (T)",
        ("Set a point", "Click", "On the body at its stand-off, on a tube to land there, on a node to join."),
        (
            "Next point at a distance",
            "0 to 9",
            "Type a length, such as 600 or 1 1/2 in; Enter sets the point.",
        ),
        ("Turn", "A", "From the third point on: type the turn in degrees towards the pointer."),
        ("Place by numbers", ",", "Three lengths with commas between: x, y, z of the next point."),
        ("First point from a tube's end", "0 to 9", "While pointing at a tube: how far from its nearer end."),
        ("Along one axis", "Hold X, Y, Z", "The next point lies lengthwise, across or up from the last."),
        ("In one plane", "Hold Shift+X, Y, Z", "Let all but this axis change."),
        ("Ignore body and tubes", "Hold Ctrl", "Set the point in the plane of the screen."),
        ("Without guides", "Hold Shift", "Leave heights, stations and middles out."),
        ("The next thing there", "Space", "Mean the next node, tube or metal under the pointer."),
        ("End the tube", "Enter", "Or a double-click at its last point."),
        ("Take a point back", "Backspace", "Ctrl+Z does the same while a tube is laid."),
        ("Drop", "Esc", "First what was typed, then the tube, then the tool."),
    ),
    _group(
        "Along the body (W)",
        ("Set a place", "Click", "On the body; the first and the last may be on a tube or a node."),
        ("Choose the bends", "0 to 9", "Take the proposal with so many bends."),
        ("Lay it", "Enter", "Record the tube that is shown."),
        ("Take a place back", "Backspace", "Ctrl+Z does the same while places are set."),
        ("The next thing there", "Space", "Mean the next node, tube or metal under the pointer."),
        ("Drop", "Esc", "First the places, then the tool."),
    ),
    _group(
        "Measuring (D)",
        ("Another kind", "Tab", "Distance, along a tube, gap, angle, height, opening; Shift+Tab goes back."),
        ("End an opening", "Enter", "Or a double-click at its last tube."),
        ("Take a place back", "Backspace", "The last one that was clicked."),
        ("The next thing there", "Space", "Mean the next node, tube, reference or metal under the pointer."),
        ("Take it back", "Esc", "First the places, then the measure just kept, then the tool."),
    ),
    _group(
        "References (E)",
        ("Point, or line", "Enter", "After one place a point, after two a line; a third makes a plane."),
        ("Rim", "R", "After one place: the panel's edge near it, as a line."),
        ("Level plane", "L", "After one place."),
        ("Plane along the car", "S", "After one place: upright, lengthwise."),
        ("Plane across the car", "C", "After one place: upright, crosswise."),
        ("Upright plane", "U", "After two places: through both."),
        ("Take a place back", "Backspace", "The last one that was clicked."),
        ("Drop", "Esc", "First the places, then the tool."),
    ),
    _group(
        "Access zones, and placing a part",
        ("Keep the zone", "Enter", "Once it stands at its place; until then a click puts it elsewhere."),
        ("Drop the zone", "Esc", "First the zone that is not kept, then the tool."),
        ("Turn the part", "R", "By 15°; Shift+R turns it the other way."),
        ("Mirror the part", "M", "Left for right, before it is placed."),
    ),
    _group(
        "Points of the body, when a step asks for them",
        ("Close the loop", "Enter", "Where any number of points is wanted, from three on."),
        ("Take a point back", "Backspace", "The last one that was clicked."),
        ("Drop", "Esc", "First the points, then the picking."),
    ),
    _group(
        "Steps and fields at the right",
        ("Keep the step", "Enter", "Bring in, place, split, exchange stock; body measurements: Ctrl+Enter."),
        ("Leave the step", "Esc", "What it showed is put back."),
        ("Take a number", "Enter", "Fields read 38.1 mm, 1 1/2 in and sums such as 12 + 3/8."),
        ("Forget what was typed", "Esc", "The field shows its number again."),
        ("To a finding's button", "Right", "In the findings (Ctrl+F): Enter makes the mend, Left goes back."),
        ("Not needed on this car", "Space", "In the access list; Enter on a row sets its zone."),
    ),
)


class KeysPanel(QWidget):
    """A sheet to look things up in."""

    command_wanted = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.search = _Search(
            placeholderText="Type words to find a command or a key", clearButtonEnabled=True
        )
        self.search.setAccessibleName("Find a command or a key")
        self.search.textChanged.connect(self._narrow)
        self.search.down_wanted.connect(self._go_to_list)
        self.tree = _Sheet()
        self.tree.wanted.connect(self._on_wanted)
        self.tree.itemDoubleClicked.connect(self._on_wanted)
        self.nothing = QLabel("No command and no key goes by these words.")
        self.nothing.setProperty("kind", "faint")
        self.nothing.setContentsMargins(10, 6, 10, 6)
        self.nothing.hide()
        self.setFocusProxy(self.search)
        self.setProperty("wanted_height", 260)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.search)
        column.addWidget(self.nothing)
        column.addWidget(self.tree, 1)

    def set_groups(self, groups: Iterable[Group]) -> None:
        """Show groups of commands, and below them what hand and keys do."""
        self.tree.clear()
        for group in (*groups, *BY_HAND):
            self.tree.add(group)
        self._narrow(self.search.text())

    def rows_shown(self) -> list[QTreeWidgetItem]:
        """Return the lines that the words in the search field leave."""
        return [row for row in self.tree.rows() if not row.isHidden()]

    def _narrow(self, text: str) -> None:
        wanted = text.lower().split()
        found = False
        for group in children(self.tree.invisibleRootItem()):
            title = group.text(0).lower()
            for row in children(group):
                row.setHidden(not _has_words(title, row, wanted))
            is_empty = all(row.isHidden() for row in children(group))
            group.setHidden(is_empty)
            found |= not is_empty
        self.nothing.setVisible(not found)

    def _go_to_list(self) -> None:
        rows = self.rows_shown()
        if rows:
            self.tree.setCurrentItem(rows[0])
            self.tree.setFocus()

    def _on_wanted(self, item: QTreeWidgetItem) -> None:
        name = item.data(0, NAME)
        if name:
            self.command_wanted.emit(name)


class _Sheet(QTreeWidget):
    """Groups with their lines; Enter asks for the command of a line."""

    wanted = Signal(QTreeWidgetItem)

    def __init__(self) -> None:
        super().__init__()
        self.setRootIsDecorated(False)
        self.setItemsExpandable(False)
        self.setIndentation(12)
        self.setWordWrap(True)
        self.setItemDelegateForColumn(2, _Wrapping(self))
        self.setHeaderLabels(["Command", "Key", "What it does"])
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setAccessibleName("Commands and keys")
        header = self.header()
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header.setSectionResizeMode(2, QHeaderView.ResizeMode.Stretch)

    def add(self, group: Group) -> None:
        title = QTreeWidgetItem(self, [group.title])
        title.setFlags(Qt.ItemFlag.ItemIsEnabled)
        font = title.font(0)
        font.setBold(True)
        title.setFont(0, font)
        title.setFirstColumnSpanned(True)
        for row in group.rows:
            item = QTreeWidgetItem(title, [row.words, row.key, row.tip])
            item.setToolTip(2, row.tip)
            item.setData(0, NAME, row.name)
        title.setExpanded(True)

    @guarded()
    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self.scheduleDelayedItemsLayout()  # sentences wrap elsewhere now

    def rows(self) -> list[QTreeWidgetItem]:
        return [row for group in children(self.invisibleRootItem()) for row in children(group)]

    @guarded()
    def keyPressEvent(self, event: QKeyEvent) -> None:
        item = self.currentItem()
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and item is not None:
            self.wanted.emit(item)
            return
        super().keyPressEvent(event)


class _Wrapping(QStyledItemDelegate):
    """Makes rows as high as their sentences wrap."""

    def __init__(self, view: QTreeWidget) -> None:
        super().__init__(view)
        self._view = view

    @guarded(QSize(10, 20))
    def sizeHint(self, option: QStyleOptionViewItem, index: Index) -> QSize:
        size: QSize = super().sizeHint(option, index)
        width = self._view.columnWidth(index.column()) - MARGIN
        box = QRect(0, 0, max(width, 60), 10_000)
        text = option.fontMetrics.boundingRect(box, Qt.TextFlag.TextWordWrap, index.data() or "")
        return QSize(size.width(), max(size.height(), text.height() + 5))


class _Search(QLineEdit):
    """Down goes from the words to what they found."""

    down_wanted = Signal()

    @guarded()
    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() in (Qt.Key.Key_Down, Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.down_wanted.emit()
        elif event.key() == Qt.Key.Key_Escape and self.text():
            self.clear()
        else:
            super().keyPressEvent(event)


def _has_words(title: str, row: QTreeWidgetItem, wanted: Sequence[str]) -> bool:
    words = " ".join((title, *(row.text(column) for column in range(3)))).lower()
    return all(word in words for word in wanted)
