"""All trial bends of a die with a stock as they were measured, newest first."""

from collections.abc import Callable, Collection, Sequence

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QAbstractItemView, QTableWidgetItem

from app import units as unit_text
from app.guarded import guarded
from app.panels.trial_form import angle_text
from app.panels.typed_table import LEFT, RIGHT, TypedTable
from app.units import Units
from geometry.layout import TrialBend
from geometry.tube import springback

ID = Qt.ItemDataRole.UserRole
USED = 0
LONGEST_BATCH = 12
DOUBTFUL = "▲"
Text = Callable[[TrialBend, Units], str]


def _length(value: float | None, units: Units) -> str:
    return "" if value is None else unit_text.format_length(value, units, unit=False)


def _short(batch: str) -> str:
    """Return a batch that leaves room for the rest."""
    return (batch if len(batch) <= LONGEST_BATCH else f"{batch[: LONGEST_BATCH - 1]}…") or "—"


def _to(trial: TrialBend) -> str:
    is_measured = trial.lead_leg is not None or trial.tail_leg is not None
    return trial.measured_to if is_measured else ""


def _roundness(trial: TrialBend) -> str:
    if trial.widest is None or trial.narrowest is None:
        return ""
    return unit_text.format_ratio(springback.roundness(trial.widest, trial.narrowest))


# Title, tip, text.
COLUMNS: tuple[tuple[str, str, Text], ...] = (
    ("Used", "Ticked trial bends count; the others are only kept", lambda t, u: ""),
    ("Made", "The day it was bent", lambda t, u: t.made),
    ("Batch", "The delivery that the scrap came from", lambda t, u: _short(t.batch)),
    ("Scrap", "Length of the scrap", lambda t, u: _length(t.length, u)),
    ("Mark", "From the leading end", lambda t, u: _length(t.mark, u)),
    ("Dial", "What it was bent to", lambda t, u: angle_text(t.dial)),
    ("Angle", "What came out", lambda t, u: angle_text(t.angle)),
    ("Lead", "Leading leg", lambda t, u: _length(t.lead_leg, u)),
    ("Tail", "Tail leg", lambda t, u: _length(t.tail_leg, u)),
    ("To", "Legs are measured to where the outsides cross, or to the back", lambda t, u: _to(t)),
    ("Round", "Least over largest diameter; 1 is round", lambda t, u: _roundness(t)),
    ("Note", "What was noted", lambda t, u: t.note),
)
WORDS = {"Used", "Made", "Batch", "To", "Note"}


class TrialList(TypedTable):
    """Rows of trial bends; tells what is wanted, changes nothing itself."""

    used_changed = Signal(int, bool)
    change_wanted = Signal(int)
    delete_wanted = Signal(int)

    def __init__(self) -> None:
        super().__init__(len(COLUMNS), "Trial bends of this die and stock", len(COLUMNS) - 1)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setAlternatingRowColors(True)
        self.setShowGrid(False)
        self.show_titles([(title, tip, title not in WORDS) for title, tip, _ in COLUMNS])
        self.itemChanged.connect(self._on_item_changed)
        self.doubleClicked.connect(self._on_double_clicked)

    @guarded(QSize(400, 110))
    def sizeHint(self) -> QSize:
        return QSize(400, 110)

    def fill(self, shown: Sequence[TrialBend], doubtful: Collection[int], units: Units) -> None:
        """Show trial bends; doubtful ones do not fit the others."""
        chosen = self.chosen
        self.is_filling = True
        self.setRowCount(len(shown))
        for row, trial in enumerate(shown):
            for place, (title, _, text) in enumerate(COLUMNS):
                self.setItem(row, place, _cell(trial, title, text(trial, units)))
            if trial.id in doubtful:
                _mark_doubtful(self.item(row, USED))
        self.is_filling = False
        self.choose(chosen)

    @property
    def chosen(self) -> int | None:
        """The trial bend whose row is selected."""
        rows = self.selectionModel().selectedRows()
        item = self.item(rows[0].row(), USED) if rows else None
        return None if item is None else int(item.data(ID))

    def choose(self, id: int | None) -> None:
        self.clearSelection()
        for row in range(self.rowCount()):
            item = self.item(row, USED)
            if item is not None and item.data(ID) == id:
                self.selectRow(row)

    def _on_item_changed(self, item: QTableWidgetItem) -> None:
        if not self.is_filling and item.column() == USED:
            self.used_changed.emit(int(item.data(ID)), item.checkState() == Qt.CheckState.Checked)

    def _on_double_clicked(self) -> None:
        if self.chosen is not None:
            self.change_wanted.emit(self.chosen)

    @guarded()
    def keyPressEvent(self, event: QKeyEvent) -> None:
        chosen = self.chosen
        if chosen is not None and event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_F2):
            self.change_wanted.emit(chosen)
        elif chosen is not None and event.key() == Qt.Key.Key_Delete:
            self.delete_wanted.emit(chosen)
        elif chosen is not None and event.key() == Qt.Key.Key_Space:
            self._turn_used()
        else:
            super().keyPressEvent(event)

    def _turn_used(self) -> None:
        item = self.item(self.selectionModel().selectedRows()[0].row(), USED)
        if item is not None:
            was = item.checkState() == Qt.CheckState.Checked
            item.setCheckState(Qt.CheckState.Unchecked if was else Qt.CheckState.Checked)


def _cell(trial: TrialBend, title: str, text: str) -> QTableWidgetItem:
    item = QTableWidgetItem(text)
    item.setData(ID, trial.id)
    flags = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
    if title == "Used":
        flags |= Qt.ItemFlag.ItemIsUserCheckable
        item.setCheckState(Qt.CheckState.Checked if trial.used else Qt.CheckState.Unchecked)
    item.setFlags(flags)
    item.setTextAlignment(LEFT if title in WORDS else RIGHT)
    if title in ("Note", "Batch"):
        item.setToolTip(trial.note if title == "Note" else trial.batch)
    return item


def _mark_doubtful(item: QTableWidgetItem | None) -> None:
    if item is not None:
        item.setText(DOUBTFUL)
        item.setToolTip("It does not fit the other trial bends.")
