"""The schedule while the cage is being laid: one row a tube, totals below."""

from collections import Counter, defaultdict
from collections.abc import Callable, Sequence
from typing import Any

from PySide6.QtCore import (
    QAbstractTableModel,
    QItemSelection,
    QItemSelectionModel,
    QModelIndex,
    QPersistentModelIndex,
    Qt,
    QTimer,
    Signal,
)
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QLabel,
    QTableView,
    QVBoxLayout,
    QWidget,
)

from app import units as unit_text
from app import wording
from app.guarded import guarded
from app.panels.rows import keep_to_width
from app.session import Session
from app.units import Units
from geometry.checks import standoff
from geometry.checks.findings import Report
from geometry.errors import GeometryError
from geometry.layout import Layout
from geometry.shop import schedule
from geometry.shop.schedule import Schedule, TubeRecord

REBUILD_MS = 120  # after the last change; a drag must not wait for the table
Index = QModelIndex | QPersistentModelIndex
Text = Callable[[TubeRecord, Layout, Units], str]


def bends_text(record: TubeRecord, layout: Layout, units: Units) -> str:
    """The bends' angles in order; "straight" for none."""
    if not record.bends:
        return "straight"
    return ", ".join(unit_text.format_angle(bend.angle) for bend in record.bends)


def _length(value: float, units: Units) -> str:
    return unit_text.format_length(value, units, unit=False)


# Title, with the unit of its numbers in place of {length} and {mass}; tip; text.
COLUMNS: tuple[tuple[str, str, Text], ...] = (
    ("Tube", "", lambda r, _, u: r.name),
    ("Stock", "What it is made of", lambda r, _, u: r.stock.name),
    ("Centreline {length}", "Finished length, end to end", lambda r, _, u: _length(r.centreline, u)),
    (
        "Blank {length}",
        "What to saw, with both allowances",
        lambda r, job, u: wording.blank_text(r, job, u, unit=False),
    ),
    ("Mass {mass}", "Of the finished tube", lambda r, _, u: unit_text.format_mass(r.mass, u, unit=False)),
    ("Bends", "Angle of each bend from the start end", bends_text),
)
NUMBERS = (2, 3, 4)
BLANK, BENDS = 3, 5
NEAREST = len(COLUMNS)


class SchedulePanel(QWidget):
    """A table that follows the layout; a row and its tube are selected together."""

    fly_to_wanted = Signal(object)  # frozenset of ids

    def __init__(self, session: Session, units: Units, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self._selecting = False
        self.model = ScheduleModel(units, self)
        self.table = _make_table(self.model)
        self._totals = QLabel(wordWrap=True)
        self._totals.setContentsMargins(10, 4, 10, 5)
        keep_to_width(self._totals)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.table, 1)
        column.addWidget(self._totals)
        self._timer = QTimer(self, singleShot=True, interval=REBUILD_MS)
        self._timer.timeout.connect(self.rebuild)
        session.opened.connect(self.model.forget_report)
        session.changed.connect(self._on_changed)
        session.selection_changed.connect(self._show_selection)
        self.table.selectionModel().selectionChanged.connect(self._on_selected)
        self.table.doubleClicked.connect(self._on_double_clicked)
        self.rebuild()

    @property
    def totals(self) -> str:
        return self._totals.text()

    def set_units(self, units: Units) -> None:
        self.model.set_units(units)
        self.table.horizontalHeader().reset()
        self._show_totals()

    def show_report(self, report: Report) -> None:
        self.model.set_report(report, self._session.layout)

    def rebuild(self) -> None:
        """Compute the schedule of the layout that is shown."""
        self._timer.stop()
        try:
            built = schedule.build(self._session.layout)
        except GeometryError as error:
            self._totals.setText(error.message)
            return
        self._selecting = True
        self.model.set_schedule(built, self._session.layout)
        self._selecting = False
        self._show_selection(self._session.selection)
        self._show_totals()

    def _show_totals(self) -> None:
        self._totals.setText(totals_text(self.model.schedule, self._session.layout, self.model.units))

    def _on_changed(self, before: Layout, after: Layout) -> None:
        self._timer.start()

    def _show_selection(self, selection: frozenset[int]) -> None:
        if self._selecting:
            return
        self._selecting = True
        chosen = QItemSelection()
        for row, record in enumerate(self.model.records):
            if record.tube in selection:
                chosen.select(self.model.index(row, 0), self.model.index(row, NEAREST))
        flags = QItemSelectionModel.SelectionFlag.ClearAndSelect
        self.table.selectionModel().select(chosen, flags)
        self._selecting = False

    def _on_selected(self) -> None:
        if self._selecting:
            return
        rows = {index.row() for index in self.table.selectionModel().selectedRows()}
        self._selecting = True
        self._session.select(self.model.records[row].tube for row in rows)
        self._selecting = False

    def _on_double_clicked(self, index: QModelIndex) -> None:
        self.fly_to_wanted.emit(frozenset((self.model.records[index.row()].tube,)))


class ScheduleModel(QAbstractTableModel):
    """The records as text in the person's units."""

    def __init__(self, units: Units, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.units = units
        self.schedule: Schedule | None = None
        self._nearest: dict[int, str] = {}
        self._report: Report | None = None
        self._layout = Layout()

    @property
    def records(self) -> Sequence[TubeRecord]:
        return self.schedule.records if self.schedule is not None else ()

    def set_schedule(self, built: Schedule, layout: Layout) -> None:
        same_rows = [r.tube for r in built.records] == [r.tube for r in self.records]
        if not same_rows:
            self.beginResetModel()
        self.schedule, self._layout = built, layout
        if not same_rows:
            self.endResetModel()
        self._say_changed()

    def set_units(self, units: Units) -> None:
        self.units = units
        self._word_nearest()
        self._say_changed()

    def set_report(self, report: Report, layout: Layout) -> None:
        self._report, self._layout = report, layout
        self._word_nearest()
        self._say_changed()

    def forget_report(self) -> None:
        self._report, self._nearest = None, {}
        self._say_changed()

    @guarded(0)
    def rowCount(self, parent: Index = QModelIndex()) -> int:
        return 0 if parent.isValid() else len(self.records)

    @guarded(0)
    def columnCount(self, parent: Index = QModelIndex()) -> int:
        return 0 if parent.isValid() else len(COLUMNS) + 1

    @guarded()
    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        if role == Qt.ItemDataRole.TextAlignmentRole:
            side = Qt.AlignmentFlag.AlignRight if index.column() in NUMBERS else Qt.AlignmentFlag.AlignLeft
            return int(side | Qt.AlignmentFlag.AlignVCenter)
        if role not in (Qt.ItemDataRole.DisplayRole, Qt.ItemDataRole.ToolTipRole):
            return None
        record = self.records[index.row()]
        if index.column() == NEAREST:
            return self._nearest.get(record.tube, "")
        if role == Qt.ItemDataRole.ToolTipRole:
            return cell_tip(record, index.column(), self._layout, self.units)
        return COLUMNS[index.column()][2](record, self._layout, self.units)

    @guarded()
    def headerData(self, section: int, way: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        if way != Qt.Orientation.Horizontal:
            return None
        name, tip = ("Nearest panel", "Least clearance")
        if section < NEAREST:
            name, tip, _ = COLUMNS[section]
        if role == Qt.ItemDataRole.TextAlignmentRole:
            side = Qt.AlignmentFlag.AlignRight if section in NUMBERS else Qt.AlignmentFlag.AlignLeft
            return int(side | Qt.AlignmentFlag.AlignVCenter)
        name = name.format(length=unit_text.length_unit(self.units), mass=unit_text.mass_unit(self.units))
        if role == Qt.ItemDataRole.ToolTipRole:
            return tip
        return name if role == Qt.ItemDataRole.DisplayRole else None

    def _word_nearest(self) -> None:
        report = self._report
        if report is not None:
            self._nearest = nearest_texts(report, self._layout, self.units)

    def _say_changed(self) -> None:
        if self.records:
            self.dataChanged.emit(self.index(0, 0), self.index(len(self.records) - 1, NEAREST))


def cell_tip(record: TubeRecord, column: int, layout: Layout, units: Units) -> str:
    """What a cell has no room for: the parts of the blank, the order in words; else its text in full."""
    if column == BLANK:
        return f"{wording.blank_words(record, units)}, {unit_text.length_unit(units)}"
    text = COLUMNS[column][2](record, layout, units)
    if column == BENDS and record.bends:
        plan = record.plan
        trials = wording.trials_state(plan.calibration)
        return f"{text}\n{wording.order_words(plan)}\nTrial bends: {trials}."
    return text


def nearest_texts(report: Report, layout: Layout, units: Units) -> dict[int, str]:
    """For each tube sign, clearance and panel, such as "● 31.2 mm, left sill"; none where nothing is near."""
    bands = standoff.bands(layout, report)
    return {
        id: f"{nearest_sign(near.clearance, bands[id])} {unit_text.format_length(near.clearance, units)}, "
        f"{layout.panels[near.panel].name}"
        for id, near in report.nearest.items()
        if id in bands and near.panel in layout.panels
    }


def nearest_sign(clearance: float, band: wording.Band) -> str:
    """The sign of a tube's clearance: that of an error where it cuts in, else its band's."""
    return wording.SEVERITY_SIGNS["error"] if clearance < 0.0 else wording.BAND_SIGNS[band]


def totals_text(built: Schedule | None, layout: Layout, units: Units) -> str:
    """What the cage needs in all, by stock."""
    if built is None or not built.records:
        return "The schedule begins with the first tube."
    blanks: dict[int, float] = defaultdict(float)
    for record in built.records:
        blanks[record.stock.id] += wording.blank_length(record, layout, units)
    parts = [
        f"{total.stock.name}: {wording.counted(total.count, 'blank')}, "
        f"{unit_text.format_mark(blanks[total.stock.id], units)}, {unit_text.format_mass(total.mass, units)}"
        for total in built.by_stock
    ]
    mass = unit_text.format_mass(sum(record.mass for record in built.records), units)
    return "; ".join(parts) + (f". In all {mass}." if len(parts) > 1 else ".") + trials_text(built)


def trials_text(built: Schedule) -> str:
    """How many bent tubes go by geometry only or wait for a check bend; nothing when all is told."""
    states: Counter[str] = Counter(record.plan.calibration.state for record in built.records if record.bends)
    said = [
        f"{wording.counted(states[state], 'bent tube')} {words}"
        for state, words in (
            ("none", "without trial bends: geometry only"),
            ("check first", "waiting for a check bend"),
            ("partial", "with trial bends that leave something open"),
        )
        if states[state]
    ]
    return f" {wording.listed(said)}." if said else ""


def _make_table(model: ScheduleModel) -> QTableView:
    table = QTableView()
    table.setModel(model)
    table.setAccessibleName("Schedule")
    table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
    table.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    table.setShowGrid(False)
    table.setAlternatingRowColors(True)
    table.setTabKeyNavigation(False)
    table.verticalHeader().hide()
    table.verticalHeader().setDefaultSectionSize(24)
    header = table.horizontalHeader()
    header.setHighlightSections(False)
    header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
    header.setSectionResizeMode(BENDS, QHeaderView.ResizeMode.Stretch)
    return table
