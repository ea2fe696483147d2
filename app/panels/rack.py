"""The rack: the tubes and dies the shop has, as two tables that can be edited."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Literal, TypeVar

from msgspec import Struct
from msgspec.structs import replace
from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHBoxLayout,
    QHeaderView,
    QPushButton,
    QTableWidget,
    QTableWidgetItem,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from app import units as unit_text
from app.session import Session
from app.units import Units
from geometry import rack
from geometry.layout import Die, Layout, Stock
from geometry.tube import stock as sections

Kind = Literal["text", "size", "length", "angle", "ratio", "mass"]
Thing = TypeVar("Thing", Stock, Die)
ID = Qt.ItemDataRole.UserRole
FIRST_STOCK = Stock(0, "", 38.1, 2.41)  # of an empty rack
FIRST_DIE = Die(0, "", 38.1, 114.3)
MM_PER_METRE, MM_PER_FOOT = 1000.0, 304.8


class Column(Struct, frozen=True):
    """One attribute of a stock or die as a table shows it."""

    title: str
    attribute: str
    kind: Kind
    tip: str


STOCK_COLUMNS = (
    Column("Name", "name", "text", "What the shop calls it"),
    Column("OD", "od", "size", "Outside diameter"),
    Column("Wall", "wall", "size", "Wall thickness"),
    Column("Material", "material", "text", "Grade as bought"),
    Column("Least CLR", "least_clr_ratio", "ratio", "Tightest bend radius as a multiple of OD"),
    Column("Stick", "stick", "length", "Longest length sold"),
    Column("Mass", "", "mass", "Per metre or foot; follows from OD, wall and material"),
)
DIE_COLUMNS = (
    Column("Name", "name", "text", "What the shop calls it"),
    Column("OD", "od", "size", "Tube it takes"),
    Column("CLR", "clr", "size", "Centreline radius of its bends"),
    Column("Largest", "largest_angle", "angle", "Largest bend angle"),
    Column("First", "first_straight", "length", "Least straight before the first bend"),
    Column("Between", "between_straight", "length", "Least straight between bends; 0 means twice the OD"),
    Column("Tail", "tail", "length", "Least straight after the last bend"),
)


class RackPanel(QWidget):
    """A table of stock and one of dies; every change is one undo step."""

    def __init__(self, session: Session, units: Units, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self.stocks = RackTable(STOCK_COLUMNS, "Stock", units)
        self.dies = RackTable(DIE_COLUMNS, "Dies", units)
        self.tabs = QTabWidget()
        self.tabs.setDocumentMode(True)
        self.tabs.addTab(self.stocks, "Stock")
        self.tabs.addTab(self.dies, "Dies")
        self.tabs.setCornerWidget(self._buttons())
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.tabs)
        self.stocks.edited = self._on_stock_edited
        self.dies.edited = self._on_die_edited
        session.changed.connect(self._on_changed)
        self._fill()

    def set_units(self, units: Units) -> None:
        self.stocks.units = self.dies.units = units
        self._fill()

    def _buttons(self) -> QWidget:
        holder = QWidget()
        row = QHBoxLayout(holder)
        row.setContentsMargins(0, 2, 8, 2)
        for words, tip, slot in (
            ("Add", "Add a row like the selected one.", self._on_add),
            (
                "Remove",
                "Take the selected rows off the rack; refused while a tube uses them.",
                self._on_remove,
            ),
        ):
            button = QPushButton(words)
            button.setToolTip(tip)
            button.clicked.connect(slot)
            row.addWidget(button)
        return holder

    def _on_add(self) -> None:
        if self.tabs.currentWidget() is self.stocks:
            self._add_stock()
        else:
            self._add_die()

    def _on_remove(self) -> None:
        if self.tabs.currentWidget() is self.stocks:
            self._remove(self.stocks.chosen_ids(), "stock", rack.remove_stock)
        else:
            self._remove(self.dies.chosen_ids(), "die", rack.remove_die)

    def _on_changed(self, before: Layout, after: Layout) -> None:
        if before.stocks is not after.stocks or before.dies is not after.dies:
            self._fill()

    def _fill(self) -> None:
        layout = self._session.layout
        self.stocks.fill(layout.stocks)
        self.dies.fill(layout.dies)

    def _on_stock_edited(self, id: int, column: Column, text: str) -> None:
        old = self._session.layout.stocks[id]
        self._edit(self.stocks, old, column, text, rack.replace_stock)

    def _on_die_edited(self, id: int, column: Column, text: str) -> None:
        old = self._session.layout.dies[id]
        self._edit(self.dies, old, column, text, rack.replace_die)

    def _edit(
        self,
        table: "RackTable",
        old: Thing,
        column: Column,
        text: str,
        record: Callable[[Layout, Thing], Layout],
    ) -> None:
        """Record a typed cell, or say why not and show the old value again."""
        try:
            changed = replace(old, **{column.attribute: cell_value(column, text, table.units)})
        except ValueError as error:
            self._session.refused.emit(str(error))
            self._fill()
            return
        words = f"Set {column.title.lower() if column.title == 'Name' else column.title} of {old.name}"
        if changed == old or not self._session.apply(words, lambda now: record(now, changed)):
            self._fill()

    def _add_stock(self) -> None:
        stocks = self._session.layout.stocks
        like = next((stocks[id] for id in (*self.stocks.chosen_ids(), *reversed(stocks))), FIRST_STOCK)
        new = replace(like, name=_copy_name(like.name, stocks))
        self._session.apply("Add stock", lambda now: rack.add_stock(now, new)[0])
        self.stocks.show_last()

    def _add_die(self) -> None:
        dies = self._session.layout.dies
        like = next((dies[id] for id in (*self.dies.chosen_ids(), *reversed(dies))), FIRST_DIE)
        new = replace(like, name=_copy_name(like.name, dies))
        self._session.apply("Add die", lambda now: rack.add_die(now, new)[0])
        self.dies.show_last()

    def _remove(self, ids: Sequence[int], what: str, remove: Callable[[Layout, int], Layout]) -> None:
        if not ids:
            self._session.refused.emit(f"Select the rows of the {what} to remove first.")
            return

        def all_removed(layout: Layout) -> Layout:
            for id in ids:
                layout = remove(layout, id)
            return layout

        self._session.apply(f"Remove {what}", all_removed)


class RackTable(QTableWidget):
    """Rows of stocks or dies as text; tells what was typed, changes nothing itself."""

    def __init__(self, columns: Sequence[Column], name: str, units: Units) -> None:
        super().__init__(0, len(columns))
        self.columns = columns
        self.units = units
        self.edited: Callable[[int, Column, str], None] = lambda id, column, text: None
        self._filling = False
        self.setAccessibleName(name)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setAlternatingRowColors(True)
        self.setShowGrid(False)
        self.setWordWrap(False)
        self.setTabKeyNavigation(False)
        self.verticalHeader().hide()
        self.verticalHeader().setDefaultSectionSize(24)
        header = self.horizontalHeader()
        header.setHighlightSections(False)
        header.setMinimumSectionSize(30)
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header.setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
        self.itemChanged.connect(self._on_item_changed)

    def fill(self, things: Mapping[int, Stock] | Mapping[int, Die]) -> None:
        self._filling = True
        self.setRowCount(len(things))
        self._show_titles()
        rows: list[Stock | Die] = [*things.values()]
        for row, thing in enumerate(rows):
            for place, column in enumerate(self.columns):
                self.setItem(row, place, self._cell(thing, column))
        self._filling = False

    def chosen_ids(self) -> list[int]:
        rows = sorted({index.row() for index in self.selectionModel().selectedRows()})
        items = [self.item(row, 0) for row in rows]
        return [int(item.data(ID)) for item in items if item is not None]

    def show_last(self) -> None:
        self.selectRow(self.rowCount() - 1)
        self.scrollToBottom()

    def _show_titles(self) -> None:
        for place, column in enumerate(self.columns):
            heading = QTableWidgetItem(column.title)
            heading.setToolTip(f"{column.tip}.")
            is_text = column.kind == "text"
            side = Qt.AlignmentFlag.AlignLeft if is_text else Qt.AlignmentFlag.AlignRight
            heading.setTextAlignment(side | Qt.AlignmentFlag.AlignVCenter)
            self.setHorizontalHeaderItem(place, heading)

    def _cell(self, thing: Stock | Die, column: Column) -> QTableWidgetItem:
        item = QTableWidgetItem(cell_text(thing, column, self.units))
        item.setData(ID, thing.id)
        flags = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
        item.setFlags(flags | Qt.ItemFlag.ItemIsEditable if column.attribute else flags)
        if column.kind != "text":
            item.setTextAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        item.setToolTip(f"{column.tip}: {item.text()}")
        return item

    def _on_item_changed(self, item: QTableWidgetItem) -> None:
        if not self._filling:
            self.edited(int(item.data(ID)), self.columns[item.column()], item.text())


def cell_text(thing: Stock | Die, column: Column, units: Units) -> str:
    """A stock's or die's number as people read it."""
    if column.kind == "mass":
        return _mass_text(thing, units)
    value = getattr(thing, column.attribute)
    match column.kind:
        case "size":
            return unit_text.format_size(value, units)
        case "length":
            return unit_text.format_length(value, units)
        case "angle":
            return unit_text.format_angle(value)
        case "ratio":
            return f"{unit_text.trimmed_decimal(value, 2)} × OD"
    return str(value)


def cell_value(column: Column, text: str, units: Units) -> Any:
    """Read what was typed into a cell; ValueError with a sentence."""
    match column.kind:
        case "size" | "length":
            return unit_text.parse_length(text, units)
        case "angle":
            return unit_text.parse_angle(text)
        case "ratio":
            return _ratio(text)
    if not text.strip():
        raise ValueError(f"{column.title} can't be empty; type a word or two.")
    return text.strip()


def _ratio(text: str) -> float:
    plain = text.upper().replace("OD", "").replace("×", "").replace("X", "").strip()
    try:
        return float(plain)
    except ValueError:
        raise ValueError(f"“{text}” is no multiple of OD; type a number such as 3 or 2.5.") from None


def _mass_text(thing: Stock | Die, units: Units) -> str:
    assert isinstance(thing, Stock)
    per_mm = sections.mass_per_mm(thing)
    if units.length == "mm":
        return f"{unit_text.format_mass(per_mm * MM_PER_METRE, units)}/m"
    return f"{unit_text.format_mass(per_mm * MM_PER_FOOT, units)}/ft"


def _copy_name(name: str, things: Mapping[int, Stock] | Mapping[int, Die]) -> str:
    taken = {thing.name for thing in things.values()}
    number = 2
    while f"{name} ({number})" in taken:
        number += 1
    return f"{name} ({number})" if name else "New"
