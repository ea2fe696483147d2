"""Overall sizes with and without the cage, what the car drives up, and the measures that are kept."""

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtGui import QKeyEvent, QShowEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QPushButton,
    QSplitter,
    QStackedWidget,
    QTreeWidget,
    QTreeWidgetItem,
    QVBoxLayout,
    QWidget,
)

from app import measure_words
from app import units as unit_text
from app.guarded import guarded
from app.panels.rows import keep_to_width
from app.session import Session
from app.units import Units
from geometry import edits
from geometry.layout import Layout
from geometry.measuring import kept, ramps, sizes
from geometry.measuring.ramps import Ramps
from geometry.measuring.values import NoValue, Remembered

MEASURES_MS, SIZES_MS = 60, 200  # after the last change; the hand comes first
SIZES_WIDTH, WIDEST_SIZES = 330, 460
MEASURE = Qt.ItemDataRole.UserRole
NAME, VALUE, MORE, BETWEEN = range(4)
SIZE_TITLES = ("", "Body", "Cage", "Both", "With tyres")
WITH_TYRES = 4
NOTHING_YET = (
    "Nothing is measured yet. Take a kind above, or press D, and click in the view: a measure stays, "
    "follows the cage and stands on the sheets."
)
NO_AXLES = "Approach, departure and breakover need two axles with tyres: Shift+A adds one."
NOTHING_THERE = "Sizes show as soon as there is a body or a tube."


class _List(QTreeWidget):
    """The measures; a tick says whether one is printed."""

    delete_wanted = Signal()

    @guarded()
    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() == Qt.Key.Key_Delete:
            self.delete_wanted.emit()
        else:
            super().keyPressEvent(event)


class MeasuresPanel(QWidget):
    """Sizes at the left, measures at the right; a row and its measure are selected together."""

    kind_wanted = Signal(str)  # of the next measure
    fly_to_wanted = Signal(object)  # frozenset of ids

    def __init__(self, session: Session, units: Units, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self._units = units
        self._filling = False
        self._values = Remembered()
        self._bare: tuple[tuple[object, ...], Ramps | None] | None = None
        self.sizes = _tree(SIZE_TITLES, "Overall sizes")
        self.sizes.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.sizes.setSelectionMode(QAbstractItemView.SelectionMode.NoSelection)
        self.note = QLabel(wordWrap=True)
        self.note.setProperty("kind", "faint")
        self.note.setContentsMargins(8, 3, 8, 5)
        keep_to_width(self.note)
        self.list = self._make_list()
        self.empty = QLabel(NOTHING_YET, wordWrap=True)
        self.empty.setProperty("kind", "faint")
        self.empty.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.empty.setContentsMargins(10, 8, 10, 8)
        self._stack = QStackedWidget()
        self._stack.addWidget(self.empty)
        self._stack.addWidget(self.list)
        self.kinds = {kind: self._kind_button(kind) for kind in measure_words.KINDS}
        self._arrange()
        self._list_timer = QTimer(self, singleShot=True, interval=MEASURES_MS)
        self._list_timer.timeout.connect(self._fill_list)
        self._size_timer = QTimer(self, singleShot=True, interval=SIZES_MS)
        self._size_timer.timeout.connect(self._fill_sizes)
        session.changed.connect(self._on_changed)
        session.selection_changed.connect(self._show_selection)
        self._fill_list()

    # -- what it is made of ------------------------------------------------------------

    def _make_list(self) -> _List:
        made = _List()
        _dress(made, ("Measure", "Value", "", "Between"), "Measures")
        made.setToolTip("A tick puts a measure on the sheets. Double-click brings it into the view.")
        made.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        made.itemSelectionChanged.connect(self._on_selected)
        made.itemChanged.connect(self._on_ticked)
        made.itemDoubleClicked.connect(self._on_double_clicked)
        made.delete_wanted.connect(self.delete_selected)
        for column in (MORE, BETWEEN):
            made.header().setSectionResizeMode(column, QHeaderView.ResizeMode.Stretch)
        return made

    def _kind_button(self, kind: str) -> QPushButton:
        button = QPushButton(kind.capitalize())
        button.setObjectName(kind)
        button.setToolTip(f"{measure_words.KINDS[kind]}: click in the view then.")  # type: ignore[index]
        button.setAccessibleName(f"Measure {measure_words.KINDS[kind].lower()}")  # type: ignore[index]
        button.clicked.connect(self._on_kind)
        return button

    def _arrange(self) -> None:
        left, right = QWidget(), QWidget()
        column = QVBoxLayout(left)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.sizes, 1)
        column.addWidget(self.note)
        row = QHBoxLayout()
        row.setContentsMargins(8, 4, 8, 4)
        row.setSpacing(4)
        for button in self.kinds.values():
            row.addWidget(button)
        row.addStretch(1)
        column = QVBoxLayout(right)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addLayout(row)
        column.addWidget(self._stack, 1)
        split = QSplitter()
        split.setChildrenCollapsible(False)
        split.addWidget(left)
        split.addWidget(right)
        split.setSizes([SIZES_WIDTH, 2 * SIZES_WIDTH])
        split.setStretchFactor(1, 1)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(split)

    # -- what it shows -----------------------------------------------------------------

    def set_units(self, units: Units) -> None:
        self._units = units
        self._fill_list()
        if self.isVisible():
            self._fill_sizes()

    @guarded()
    def showEvent(self, event: QShowEvent) -> None:
        super().showEvent(event)
        self._fill_sizes()

    def _on_changed(self, before: Layout, after: Layout) -> None:
        if not self._list_timer.isActive():
            self._list_timer.start()
        if self.isVisible():
            self._size_timer.start()  # anew with each change: only once the hand rests

    def _fill_sizes(self) -> None:
        """Work the sizes out; what concerns the body alone only when it changed."""
        self._size_timer.stop()
        layout, units = self._session.layout, self._units
        found = sizes.of(layout)
        bare = self._bare_ramps(layout)
        caged = ramps.with_the_cage(layout, bare)
        rows = [
            ((row.name, row.body, row.cage, row.both, row.whole), row.tip)
            for row in measure_words.size_rows(found, units)
        ]
        if bare is not None:
            rows += [
                ((row.name, row.bare, "", row.caged, ""), f"{row.tip} {row.touches}".strip())
                for row in measure_words.ramp_rows(layout, bare, caged)
            ]
        self.sizes.clear()
        self.sizes.setHeaderLabels([unit_text.length_unit(units), *SIZE_TITLES[1:]])
        for texts, tip in rows:
            item = QTreeWidgetItem(self.sizes, list(texts))
            for column in range(len(SIZE_TITLES)):
                item.setToolTip(column, tip)
                if column:
                    item.setTextAlignment(column, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        self.sizes.setColumnHidden(WITH_TYRES, found.whole is None)
        self._give_width()
        is_bare = found.both is None
        self.sizes.setVisible(not is_bare)
        self.note.setText(NOTHING_THERE if is_bare else NO_AXLES if bare is None else "")
        self.note.setVisible(bool(self.note.text()))

    def _give_width(self) -> None:
        """Leave the sizes as much width as they take."""
        header = self.sizes.header()
        header.resizeSections(QHeaderView.ResizeMode.ResizeToContents)
        bar = self.sizes.verticalScrollBar().sizeHint().width()
        self.sizes.setMinimumWidth(min(header.length() + bar, WIDEST_SIZES))

    def _bare_ramps(self, layout: Layout) -> Ramps | None:
        key = (layout.panels, layout.bodies, layout.axles)
        if self._bare is None or any(a is not b for a, b in zip(self._bare[0], key, strict=True)):
            self._bare = (key, ramps.of_body(layout))
        return self._bare[1]

    def _fill_list(self) -> None:
        """Bring the rows up to date; they stay the same items, so that a selection stays too."""
        self._list_timer.stop()
        layout = self._session.layout
        measures = measure_words.in_order(layout.measures.values())
        self._filling = True
        while self.list.topLevelItemCount() > len(measures):
            self.list.takeTopLevelItem(len(measures))
        for number, measure in enumerate(measures):
            item = self.list.topLevelItem(number) or QTreeWidgetItem(self.list)
            value = self._values.of(layout, measure)
            item.setData(NAME, MEASURE, measure.id)
            item.setText(NAME, measure.name)
            item.setText(VALUE, measure_words.number(value, self._units))
            item.setTextAlignment(VALUE, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
            more = (
                ""
                if measure.kind in ("along", "gap")
                else measure_words.beside(measure.kind, value, self._units)
            )
            item.setText(MORE, value.why if isinstance(value, NoValue) else more)
            item.setText(BETWEEN, measure_words.between(layout, measure))
            for column in (MORE, BETWEEN):
                item.setToolTip(column, item.text(column))
            item.setCheckState(NAME, Qt.CheckState.Checked if measure.printed else Qt.CheckState.Unchecked)
        self._filling = False
        self._stack.setCurrentWidget(self.list if measures else self.empty)
        self._show_selection(self._session.selection)

    def _show_selection(self, selection: frozenset[int]) -> None:
        if self._filling:
            return
        self._filling = True
        for number in range(self.list.topLevelItemCount()):
            item = self.list.topLevelItem(number)
            if item is not None:
                item.setSelected(item.data(NAME, MEASURE) in selection)
        self._filling = False

    # -- what it does --------------------------------------------------------------------

    def _on_selected(self) -> None:
        if not self._filling:
            self._filling = True
            self._session.select(item.data(NAME, MEASURE) for item in self.list.selectedItems())
            self._filling = False

    def _on_ticked(self, item: QTreeWidgetItem, column: int) -> None:
        if self._filling or column != NAME:
            return
        id, printed = int(item.data(NAME, MEASURE)), item.checkState(NAME) == Qt.CheckState.Checked
        name = self._session.layout.measures[id].name
        words = f"Print {name}" if printed else f"Leave {name} off the sheets"
        self._session.apply(words, lambda now: kept.set_printed(now, id, printed))

    def _on_double_clicked(self, item: QTreeWidgetItem) -> None:
        self.fly_to_wanted.emit(frozenset((int(item.data(NAME, MEASURE)),)))

    def _on_kind(self) -> None:
        self.kind_wanted.emit(self.sender().objectName())

    def delete_selected(self) -> None:
        layout = self._session.layout
        ids = [int(item.data(NAME, MEASURE)) for item in self.list.selectedItems()]
        if ids:
            what = layout.measures[ids[0]].name if len(ids) == 1 else f"{len(ids)} measures"
            self._session.apply(f"Delete {what}", lambda now: edits.delete(now, ids))


def _tree(titles: tuple[str, ...], name: str) -> QTreeWidget:
    made = QTreeWidget()
    _dress(made, titles, name)
    return made


def _dress(tree: QTreeWidget, titles: tuple[str, ...], name: str) -> None:
    tree.setColumnCount(len(titles))
    tree.setHeaderLabels(list(titles))
    tree.setAccessibleName(name)
    tree.setRootIsDecorated(False)
    tree.setUniformRowHeights(True)
    tree.setAlternatingRowColors(True)
    tree.setTabKeyNavigation(False)
    header = tree.header()
    header.setSectionsMovable(False)
    header.setStretchLastSection(False)
    header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
    for column in range(1, len(titles)):
        if titles[column] != "Between":
            item = tree.headerItem()
            if item is not None and titles[column]:
                item.setTextAlignment(column, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
