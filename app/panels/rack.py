"""The rack: tube sizes, dies and benders that the shop has; every change is one undo step."""

from collections.abc import Callable, Sequence
from typing import Any

from msgspec.structs import replace
from PySide6.QtCore import QSize, Signal
from PySide6.QtWidgets import (
    QHBoxLayout,
    QLabel,
    QMenu,
    QPushButton,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from app.guarded import guarded
from app.panels import rack_cells
from app.panels.benders import BendersPage
from app.panels.rack_cells import DIE_COLUMNS, STOCK_COLUMNS, Column
from app.panels.rack_page import RackPage
from app.panels.rows import keep_to_width
from app.session import Session
from app.units import Units
from geometry import rack
from geometry.layout import Bender, Die, Layout, Stock

FIRST_STOCK = Stock(0, "", 38.1, 2.41)  # of an empty rack
FIRST_DIE = Die(0, "", 38.1, 114.3)
FIRST_BENDER = Bender(0, "Bender")
HEIGHT = 250  # that the drawing of a bender needs
RACK_PARTS = ("stocks", "dies", "benders", "trials")


class RackPanel(QWidget):
    """Three tabs; below the dock's tab bar, beside its own, what can be done with rows and files."""

    trials_wanted = Signal(int)  # die
    import_wanted = Signal()
    export_wanted = Signal()
    keep_wanted = Signal()  # as the rack of new jobs
    forget_wanted = Signal()  # that rack again

    def __init__(self, session: Session, units: Units, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self.setProperty("wanted_height", HEIGHT)
        self.stocks = RackPage(STOCK_COLUMNS, "Stock", units)
        self.dies = RackPage(DIE_COLUMNS, "Dies", units)
        self.benders = BendersPage(units)
        self.tabs = QTabWidget()
        self.tabs.setDocumentMode(True)
        self.tabs.tabBar().setDrawBase(False)
        for page, title in ((self.stocks, "Stock"), (self.dies, "Dies"), (self.benders, "Benders")):
            self.tabs.addTab(page, title)
        self.tabs.setCornerWidget(self._buttons())
        self._make_trials_row()
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.tabs)
        for page in (self.stocks, self.dies, self.benders):
            page.refused.connect(session.refused)
        self.stocks.changed.connect(self._on_stock_changed)
        self.dies.changed.connect(self._on_die_changed)
        self.benders.changed.connect(self._on_bender_changed)
        self.dies.chosen_changed.connect(self._show_trials)
        session.changed.connect(self._on_changed)
        self._fill()

    @guarded(QSize(760, HEIGHT))
    def sizeHint(self) -> QSize:
        return QSize(760, HEIGHT)

    def set_units(self, units: Units) -> None:
        for page in (self.stocks, self.dies, self.benders):
            page.set_units(units)

    def _make_trials_row(self) -> None:
        self._trials = QLabel(wordWrap=True)
        self._trials.setProperty("kind", "faint")
        keep_to_width(self._trials)
        self.trials_button = QPushButton("Trial bends…")
        self.trials_button.setToolTip("Bend scrap in this die, measure it, and let the sheets learn from it.")
        self.trials_button.clicked.connect(self._on_trials)
        row = QHBoxLayout()
        row.addWidget(self._trials, 1)
        row.addWidget(self.trials_button)
        self.dies.form.below.addLayout(row)

    def _buttons(self) -> QWidget:
        holder = QWidget()
        row = QHBoxLayout(holder)
        row.setContentsMargins(0, 2, 8, 2)
        for words, tip, slot in (
            ("Add", "Add one like the selected one.", self._on_add),
            (
                "Remove",
                "Take what is selected off the rack; refused while something uses it.",
                self._on_remove,
            ),
        ):
            button = QPushButton(words)
            button.setToolTip(tip)
            button.clicked.connect(slot)
            row.addWidget(button)
        self.files = QPushButton("Rack file")
        self.files.setToolTip("Take this rack to another job or another shop.")
        self.files.setMenu(self._file_menu())
        row.addWidget(self.files)
        return holder

    def _file_menu(self) -> QMenu:
        menu = QMenu(self)
        menu.setToolTipsVisible(True)
        for words, tip, signal in (
            ("&Import…", "Bring in a rack: same names are changed, new ones added.", self.import_wanted),
            ("&Export…", "Write all of it as JSON, or stock or dies as CSV.", self.export_wanted),
            (None, "", None),
            ("&Use this rack for new jobs", "New jobs start with what is here now.", self.keep_wanted),
            ("Back to the &common rack", "New jobs start with the common sizes again.", self.forget_wanted),
        ):
            if words is None or signal is None:
                menu.addSeparator()
                continue
            entry = menu.addAction(words)
            entry.setToolTip(tip)
            entry.triggered.connect(signal)
        return menu

    def _on_trials(self) -> None:
        if self.dies.chosen is not None:
            self.trials_wanted.emit(self.dies.chosen)

    def _on_add(self) -> None:
        layout, page = self._session.layout, self.tabs.currentWidget()
        if page is self.stocks:
            self._add("stock", layout.stocks, FIRST_STOCK, rack.add_stock)
        elif page is self.dies:
            self._add("die", layout.dies, FIRST_DIE, rack.add_die)
        else:
            self._add("bender", layout.benders, FIRST_BENDER, rack.add_bender)

    def _add(self, what: str, things: dict[int, Any], first: Any, add: Callable[..., Any]) -> None:
        page = self._page
        like = next((things[id] for id in (page.chosen, *reversed(things)) if id in things), first)
        new = replace(like, name=rack_cells.copy_name(like.name, things))
        if self._session.apply(f"Add {what}", lambda now: add(now, new)[0]):
            page.choose_last()

    def _on_remove(self) -> None:
        page = self.tabs.currentWidget()
        if page is self.stocks:
            self._remove(self.stocks.table.chosen_ids(), "stock", rack.remove_stock)
        elif page is self.dies:
            self._remove(self.dies.table.chosen_ids(), "die", rack.remove_die)
        else:
            chosen = self.benders.chosen
            self._remove([] if chosen is None else [chosen], "bender", rack.remove_bender)

    def _remove(self, ids: Sequence[int], what: str, remove: Callable[[Layout, int], Layout]) -> None:
        if not ids:
            self._session.refused.emit(f"Select the {what} to remove first.")
            return

        def all_removed(layout: Layout) -> Layout:
            for id in ids:
                layout = remove(layout, id)
            return layout

        self._session.apply(f"Remove {what}", all_removed)

    @property
    def _page(self) -> "RackPage | BendersPage":
        page = self.tabs.currentWidget()
        assert isinstance(page, RackPage | BendersPage)
        return page

    def _on_changed(self, before: Layout, after: Layout) -> None:
        if any(getattr(before, part) is not getattr(after, part) for part in RACK_PARTS):
            self._fill()

    def _fill(self) -> None:
        layout = self._session.layout
        self.stocks.fill(layout.stocks, layout)
        self.dies.fill(layout.dies, layout)
        self.benders.fill(layout.benders)

    def _show_trials(self) -> None:
        layout, chosen = self._session.layout, self.dies.table.chosen_ids()
        die = layout.dies.get(chosen[0]) if len(chosen) == 1 else None
        several = f"{len(chosen)} dies are selected; what is entered here is set for all." if chosen else ""
        self._trials.setText(several if die is None else rack_cells.trials_sentence(die, layout))
        self.trials_button.setEnabled(die is not None)

    def _on_stock_changed(self, ids: Sequence[int], column: Column, value: Any) -> None:
        stocks = [self._session.layout.stocks[id] for id in ids]
        self._record(stocks, "stocks", column.title, column.attribute, value, rack.replace_stock)

    def _on_die_changed(self, ids: Sequence[int], column: Column, value: Any) -> None:
        dies = [self._session.layout.dies[id] for id in ids]
        self._record(dies, "dies", column.title, column.attribute, value, rack.replace_die)

    def _on_bender_changed(self, id: int, title: str, attribute: str, value: Any) -> None:
        bender = self._session.layout.benders[id]
        self._record([bender], "benders", title, attribute, value, rack.replace_bender)

    def _record(
        self,
        old: Sequence[Any],
        kind: str,
        title: str,
        attribute: str,
        value: Any,
        change: Callable[[Layout, Any], Layout],
    ) -> None:
        """Record one value for all that are selected, or show the old ones again."""
        changed = [new for one in old if (new := replace(one, **{attribute: value})) != one]

        def all_changed(layout: Layout) -> Layout:
            for new in changed:
                layout = change(layout, new)
            return layout

        words = title if title.isupper() or " CLR" in title else title.lower()
        whose = old[0].name if len(old) == 1 else f"{len(old)} {kind}"
        if not changed or not self._session.apply(f"Set {words} of {whose}", all_changed):
            self._fill()
