"""What the job consists of: bodies with their panels, tubes with their nodes."""

from collections.abc import Iterable

from PySide6.QtCore import QItemSelectionModel, QPoint, Qt, Signal
from PySide6.QtGui import QBrush, QColor
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QTreeWidget,
    QTreeWidgetItem,
    QVBoxLayout,
    QWidget,
)

from app import units as unit_text
from app import wording
from app.panels.rows import children
from app.session import Session
from app.units import Units
from geometry import edits
from geometry.checks import standoff
from geometry.checks.findings import Report
from geometry.layout import NAMED, Layout, Tube

ID = Qt.ItemDataRole.UserRole
NAME, STATE = 0, 1
HEADINGS = ("Body", "Tubes", "Wheels", "References", "Access zones", "Measures")
PLAIN = {"axles": "Wheels", "references": "References", "zones": "Access zones", "measures": "Measures"}
OPEN_UP_TO = 10  # panels of a body that are listed at once; more would push the tubes out of sight


class OutlinePanel(QWidget):
    """A tree that selects in both directions; names are changed in place."""

    fly_to_wanted = Signal(object)  # frozenset of ids
    menu_wanted = Signal(QPoint)  # where on the screen

    def __init__(self, session: Session, units: Units, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self._units = units
        self._report: Report | None = None
        self._items: dict[int, list[QTreeWidgetItem]] = {}
        self._states: dict[int, str] = {}
        self._colours: dict[str, QColor] = {}
        self._filling = False
        self._unfolded: int | None = None  # what was opened to show a node or panel of it
        self._tree = self._make_tree()
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self._tree)
        session.opened.connect(self._on_opened)
        session.changed.connect(self._on_changed)
        session.selection_changed.connect(self._show_selection)
        self._fill()

    @property
    def tree(self) -> QTreeWidget:
        return self._tree

    def set_units(self, units: Units) -> None:
        self._units = units
        if self._report is not None:
            self.show_report(self._report)

    def set_sign_colours(self, colours: dict[wording.Band, str]) -> None:
        """Colour the signs of clearance; their shapes differ as well."""
        self._colours = {wording.BAND_SIGNS[band]: QColor(value) for band, value in colours.items()}
        self._colours[wording.SEVERITY_SIGNS["error"]] = QColor(colours["close"])
        # Strong colour is for what needs attention.
        self._colours[wording.BAND_SIGNS["fine"]] = self.palette().placeholderText().color()
        self._show_states()

    def show_report(self, report: Report) -> None:
        """Show beside each tube what the checks say of it: a sign, and the least clearance."""
        self._report = report
        self._states = tube_states(report, self._session.layout, self._units)
        self._show_states()

    def _show_states(self) -> None:
        self._filling = True
        for id, state in self._states.items():
            for item in self._items.get(id, ()):
                self._show_state(item, state)
        self._filling = False

    def _show_state(self, item: QTreeWidgetItem, state: str) -> None:
        colour = self._colours.get(state[-1:], self.palette().text().color())
        item.setText(STATE, state)
        item.setForeground(STATE, QBrush(colour))

    def rename_current(self) -> bool:
        """Start typing a new name for the selected thing; False when it has no name."""
        named = [id for id in self._session.selection if id in _named(self._session.layout)]
        if len(named) != 1:
            return False
        item = self._items[named[0]][0]
        if self._tree.state() == QAbstractItemView.State.EditingState:
            return True
        self._tree.scrollToItem(item)  # opens what it lies in
        self._tree.setCurrentItem(item)
        self._tree.editItem(item, NAME)
        return True

    def _make_tree(self) -> QTreeWidget:
        tree = QTreeWidget()
        tree.setColumnCount(2)
        tree.setHeaderHidden(True)
        tree.setUniformRowHeights(True)
        tree.setAccessibleName("What the job consists of")
        tree.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        tree.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        tree.setContextMenuPolicy(Qt.ContextMenuPolicy.CustomContextMenu)
        tree.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        tree.setTextElideMode(Qt.TextElideMode.ElideMiddle)
        tree.setIndentation(14)
        tree.header().setStretchLastSection(False)
        tree.header().setSectionResizeMode(NAME, QHeaderView.ResizeMode.Stretch)
        tree.header().setSectionResizeMode(STATE, QHeaderView.ResizeMode.ResizeToContents)
        tree.itemSelectionChanged.connect(self._on_selected)
        tree.itemChanged.connect(self._on_item_changed)
        tree.itemDoubleClicked.connect(self._on_double_clicked)
        tree.customContextMenuRequested.connect(self._on_menu)
        return tree

    def _on_opened(self) -> None:
        """What was said of another job's tubes is no longer true."""
        self._report, self._states = None, {}
        self._fill()

    def _on_changed(self, before: Layout, after: Layout) -> None:
        same = before.tubes == after.tubes and before.bodies == after.bodies
        same = same and all(getattr(before, kind) is getattr(after, kind) for kind in PLAIN)
        if same and _panels_look(before) == _panels_look(after) and before.nodes.keys() == after.nodes.keys():
            return  # nodes that only moved look the same here
        self._fill()

    def _fill(self) -> None:
        """Build the tree again, keeping what was open."""
        self._filling = True
        closed = {self._key(item) for item in self._all_items() if not item.isExpanded()}
        known = {self._key(item) for item in self._all_items()}
        place = self._tree.verticalScrollBar().value()
        self._tree.clear()
        self._items = {}
        layout = self._session.layout
        for body in layout.bodies.values():
            item = self._add(self._tree.invisibleRootItem(), body.id, body.name or HEADINGS[0])
            for panel in layout.panels.values():
                if panel.body == body.id:
                    self._add_panel(item, panel.id, layout)
        if layout.tubes:
            group = QTreeWidgetItem(self._tree, [f"{HEADINGS[1]} ({len(layout.tubes)})", ""])
            group.setFlags(Qt.ItemFlag.ItemIsEnabled)
            for tube in layout.tubes.values():
                self._add_tube(group, tube)
        for kind, heading in PLAIN.items():
            if things := getattr(layout, kind):
                group = QTreeWidgetItem(self._tree, [heading, ""])
                group.setFlags(Qt.ItemFlag.ItemIsEnabled)
                for thing in things.values():
                    self._add(group, thing.id, thing.name)
        for item in self._all_items():
            key = self._key(item)
            is_long = key in layout.tubes or item.childCount() > OPEN_UP_TO
            item.setExpanded(key not in closed if key in known else key in HEADINGS or not is_long)
            item.setFirstColumnSpanned(key not in layout.tubes and not item.text(STATE))
        self._tree.verticalScrollBar().setValue(place)
        self._filling = False
        self._show_selection(self._session.selection)

    def _add(
        self, parent: QTreeWidgetItem, id: int, name: str, *, may_rename: bool = True
    ) -> QTreeWidgetItem:
        item = QTreeWidgetItem(parent, [name, ""])
        item.setTextAlignment(STATE, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        if id in self._states and id in self._session.layout.tubes:  # a preview's ids may be others later
            self._show_state(item, self._states[id])
        item.setData(NAME, ID, id)
        flags = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
        item.setFlags(flags | Qt.ItemFlag.ItemIsEditable if may_rename else flags)
        self._items.setdefault(id, []).append(item)
        return item

    def _add_panel(self, parent: QTreeWidgetItem, id: int, layout: Layout) -> None:
        panel = layout.panels[id]
        item = self._add(parent, id, panel.name)
        item.setFlags(item.flags() | Qt.ItemFlag.ItemIsUserCheckable)
        item.setCheckState(NAME, Qt.CheckState.Checked if panel.shown else Qt.CheckState.Unchecked)
        item.setToolTip(NAME, "The tick shows or hides the panel in the view; it is checked all the same.")
        if not panel.kept:
            item.setText(STATE, "left out")
            item.setForeground(NAME, QBrush(self.palette().placeholderText()))
            item.setToolTip(NAME, "Left out: neither drawn nor checked.")

    def _add_tube(self, parent: QTreeWidgetItem, tube: Tube) -> None:
        item = self._add(parent, tube.id, tube.name)
        item.setFlags(item.flags() | Qt.ItemFlag.ItemIsUserCheckable)
        item.setCheckState(NAME, Qt.CheckState.Checked if tube.shown else Qt.CheckState.Unchecked)
        tips = ["The tick shows or hides the tube in the view; it is checked all the same."]
        if tube.locked:
            font = item.font(NAME)
            font.setItalic(True)
            item.setFont(NAME, font)
            tips.append("Locked: it is not moved by hand.")
        item.setToolTip(NAME, " ".join(tips))
        for place, node in enumerate(tube.nodes):
            self._add(item, node, node_words(tube, place), may_rename=False)

    def _all_items(self) -> Iterable[QTreeWidgetItem]:
        for top in children(self._tree.invisibleRootItem()):
            yield top
            yield from children(top)

    def _key(self, item: QTreeWidgetItem) -> object:
        id = item.data(NAME, ID)
        return item.text(NAME).partition(" (")[0] if id is None else id

    def _show_selection(self, selection: frozenset[int]) -> None:
        if self._filling:
            return
        self._filling = True
        model = self._tree.selectionModel()
        model.clearSelection()
        for id in selection:
            for item in self._items.get(id, ()):
                item.setSelected(True)
        shown = [item for id in selection for item in self._items.get(id, ())[:1]]
        self._fold_again(selection)
        if len(shown) == 1:
            self._note_unfolding(shown[0].parent())
            index = self._tree.indexFromItem(shown[0])
            model.setCurrentIndex(index, QItemSelectionModel.SelectionFlag.NoUpdate)
            self._tree.scrollToItem(shown[0])
        self._filling = False

    def _note_unfolding(self, parent: QTreeWidgetItem | None) -> None:
        """Remember a tube or body that opens only because something in it is selected."""
        if parent is not None and parent.data(NAME, ID) is not None and not parent.isExpanded():
            self._unfolded = parent.data(NAME, ID)

    def _fold_again(self, selection: frozenset[int]) -> None:
        """Close what was opened for something no longer selected; never under a hand in the list."""
        for item in self._items.get(self._unfolded or 0, ()):
            inside = {child.data(NAME, ID) for child in children(item)} | {self._unfolded}
            if self._tree.hasFocus() or not selection.isdisjoint(inside):
                return
            item.setExpanded(False)
        self._unfolded = None

    def _on_selected(self) -> None:
        if self._filling:
            return
        chosen = (item.data(NAME, ID) for item in self._tree.selectedItems())
        self._session.select(id for id in chosen if id is not None)

    def _on_item_changed(self, item: QTreeWidgetItem, column: int) -> None:
        if self._filling or column != NAME:
            return
        id, layout = item.data(NAME, ID), self._session.layout
        panel, tube = layout.panels.get(id), layout.tubes.get(id)
        shown = item.checkState(NAME) == Qt.CheckState.Checked
        if panel is not None and panel.shown != shown:
            words = f"{'Show' if shown else 'Hide'} {panel.name}"
            self._session.apply(words, lambda now: edits.set_panel(now, id, shown=shown))
            return
        if tube is not None and tube.shown != shown:
            words = f"{'Show' if shown else 'Hide'} {tube.name}"
            self._session.apply(words, lambda now: edits.set_tubes(now, (id,), shown=shown))
            return
        self._rename(id, item.text(NAME).strip())

    def _rename(self, id: int, name: str) -> None:
        old = _named(self._session.layout).get(id)
        if old is None or name == old:
            return
        done = name and self._session.apply(f"Rename {old}", lambda now: edits.rename(now, id, name))
        if not done:
            self._fill()

    def _on_double_clicked(self, item: QTreeWidgetItem) -> None:
        id = item.data(NAME, ID)
        if id is not None:
            self.fly_to_wanted.emit(frozenset((id,)))

    def _on_menu(self, point: QPoint) -> None:
        self.menu_wanted.emit(self._tree.viewport().mapToGlobal(point))


def node_words(tube: Tube, place: int) -> str:
    """How a node is called within a tube: start, corner 1, corner 2, end."""
    if place == 0:
        return "start"
    return "end" if place == len(tube.nodes) - 1 else f"corner {place}"


def tube_states(report: Report, layout: Layout, units: Units) -> dict[int, str]:
    """For each tube its worst sign, and how near the nearest panel is."""
    states: dict[int, str] = {}
    bands = standoff.bands(layout, report)
    for id in layout.tubes:
        near = report.nearest.get(id)
        known = near is not None and near.panel in layout.panels
        band = bands.get(id)
        sign = wording.BAND_SIGNS[band] if band is not None else ""
        if any(found.severity == "error" and id in found.tubes for found in report.findings):
            sign = wording.SEVERITY_SIGNS["error"]
        number = (
            unit_text.format_length(near.clearance, units, unit=False) if near is not None and known else ""
        )
        states[id] = f"{number} {sign}".strip()
    return states


def _named(layout: Layout) -> dict[int, str]:
    return {id: thing.name for kind in NAMED for id, thing in getattr(layout, kind).items()}


def _panels_look(layout: Layout) -> list[tuple[object, ...]]:
    return [(p.id, p.name, p.body, p.kept, p.shown) for p in layout.panels.values()]
