"""Snapshots of the job and other jobs' layouts, each to be held against another."""

import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

from PySide6.QtCore import QDateTime, QEvent, QLocale, Qt, QTimer, Signal
from PySide6.QtGui import QFont, QKeyEvent, QShowEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QLineEdit,
    QPushButton,
    QSplitter,
    QTreeWidget,
    QTreeWidgetItem,
    QVBoxLayout,
    QWidget,
)

from app import dialogs
from app import units as unit_text
from app.guarded import guarded
from app.jobs import Job, Work, in_child
from app.panels import version_rows
from app.panels.rows import keep_to_width
from app.session import Session
from app.units import Units
from geometry import comparing, snapshots
from geometry.checks import findings
from geometry.checks.findings import Report
from geometry.errors import GeometryError, LayoutFileError
from geometry.files import job as job_file
from geometry.layout import Layout
from geometry.progress import Progress

SLICE = 0.02  # s at a time that comparing may take
WAIT_MS = 200  # after the last change; the hand comes first
NAME, MADE, TUBES, MASS = range(4)
KEY = Qt.ItemDataRole.UserRole
NOW = 0  # key of the layout as it is; snapshots have their ids, other jobs negative numbers
JOBS = "Jobs (*.outrib)"
NOTHING_YET = (
    "No snapshot yet. Type a name above and press Enter: the layout as it is now is kept under it, in the "
    "job's file. Select it here to see what has changed since, and to go back to it."
)
CHOOSE = "Select a version to hold it against the layout as it is now, or two to hold against each other."
RIGHT = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter


class Version(NamedTuple):
    """A layout that can be held against another."""

    key: int
    name: str
    made: str
    layout: Layout


class _List(QTreeWidget):
    """The versions; Delete and F2 are for the selected one here, whatever they do in the window."""

    delete_wanted = Signal()
    rename_wanted = Signal()

    @guarded(False)
    def event(self, event: QEvent) -> bool:
        is_key = event.type() == QEvent.Type.ShortcutOverride and isinstance(event, QKeyEvent)
        if is_key and event.key() in (Qt.Key.Key_Delete, Qt.Key.Key_F2):  # type: ignore[attr-defined]
            event.accept()
            return True
        return super().event(event)

    @guarded()
    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() == Qt.Key.Key_Delete:
            self.delete_wanted.emit()
        elif event.key() == Qt.Key.Key_F2:
            self.rename_wanted.emit()
        else:
            super().keyPressEvent(event)


class VersionsPanel(QWidget):
    """The versions at the left, what differs between two of them at the right."""

    ghosts_wanted = Signal(object)  # the layout to draw pale beside the present one, or None
    fly_to_wanted = Signal(object)  # frozenset of ids
    refused = Signal(str)
    told = Signal(str)

    def __init__(self, session: Session, units: Units, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self._units = units
        self._filling = False
        self._others: list[Version] = []  # of other jobs, as they were opened
        self._reports: dict[int, tuple[Layout, Report]] = {}  # by id(layout)
        self._job: Job | None = None
        self._checked: Layout | None = None  # what the job checks
        self._masses: dict[int, tuple[Layout, float]] = {}  # by key
        self._failed: set[int] = set()  # by id(layout): not checked a second time
        self._ghost: Layout | None = None
        self._folder = Path.home()
        self.name = QLineEdit()
        self.name.setPlaceholderText("Name")
        self.name.setAccessibleName("Name of the snapshot")
        self.name.setToolTip("Enter keeps the layout as it is now under this name.")
        self.name.setMinimumWidth(70)
        self.name.setMaximumWidth(220)
        self.name.returnPressed.connect(self.take)
        self.list = self._make_list()
        self.table = _make_table(units)
        self.table.itemSelectionChanged.connect(self._on_row)
        self.table.itemDoubleClicked.connect(self._on_row_opened)
        self.words = QLabel(CHOOSE, wordWrap=True)
        self.words.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.words.setContentsMargins(8, 3, 8, 3)
        keep_to_width(self.words)
        self.empty = QLabel(NOTHING_YET, wordWrap=True)
        self.empty.setProperty("kind", "faint")
        self.empty.setContentsMargins(8, 4, 8, 4)
        self.empty.setAlignment(Qt.AlignmentFlag.AlignTop)
        keep_to_width(self.empty)
        self._make_buttons()
        self._arrange()
        self._comparing: tuple[Version, Version] | None = None
        self._slow: Iterator[tuple[int | None, int | None]] = iter(())  # tubes still to be compared
        self._slice = QTimer(self, singleShot=True, interval=0)
        self._slice.timeout.connect(self._go_on_comparing)
        self._timer = QTimer(self, singleShot=True, interval=WAIT_MS)
        self._timer.timeout.connect(self.refresh)
        session.changed.connect(self._on_changed)
        session.opened.connect(self._on_opened)
        self._fill_list()
        self._propose_name()

    # -- what it is made of ------------------------------------------------------------

    def _make_list(self) -> _List:
        made = _List()
        made.setAccessibleName("Versions")
        made.setHeaderLabels(["Version", "Made", "Tubes", f"Mass {unit_text.mass_unit(self._units)}"])
        made.setRootIsDecorated(False)
        made.setUniformRowHeights(True)
        made.setAlternatingRowColors(True)
        made.setTabKeyNavigation(False)
        made.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        made.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        made.setToolTip("Ctrl+click selects two, to hold them against each other. F2 renames.")
        header = made.header()
        header.setStretchLastSection(False)
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header.setSectionResizeMode(NAME, QHeaderView.ResizeMode.Stretch)
        for column in (TUBES, MASS):
            item = made.headerItem()
            if item is not None:
                item.setTextAlignment(column, RIGHT)
        made.itemSelectionChanged.connect(self._on_selected)
        made.itemChanged.connect(self._on_renamed)
        made.delete_wanted.connect(self.delete)
        made.rename_wanted.connect(self.rename)
        return made

    def _make_buttons(self) -> None:
        def button(text: str, tip: str, slot: Callable[..., None]) -> QPushButton:
            made = QPushButton(text)
            made.setToolTip(tip)
            made.clicked.connect(slot)
            return made

        self.take_button = button(
            "Take a snapshot", "Keep the layout as it is now under this name.", self.take
        )
        self.ghost_button = button(
            "Show in the view", "Draw the other version's tubes pale and dashed in the view.", self._on_ghost
        )
        self.ghost_button.setCheckable(True)
        self.back_button = button(
            "Go back to it", "Make the job as it was at this snapshot; undo takes that back.", self.go_back
        )
        self.rename_button = button("Rename", "Give the snapshot another name.", self.rename)
        self.delete_button = button("Delete", "Forget the snapshot.", self.delete)
        self.open_button = button(
            "Another job…",
            "Open another job's file to hold it against this one; it is only read.",
            self.ask_open,
        )

    def _arrange(self) -> None:
        row = QHBoxLayout()
        row.setContentsMargins(8, 4, 8, 4)
        row.setSpacing(4)
        row.addWidget(self.name, 1)
        row.addWidget(self.take_button)
        row.addStretch(0)
        for button in (
            self.ghost_button,
            self.back_button,
            self.rename_button,
            self.delete_button,
            self.open_button,
        ):
            row.addWidget(button)
        left, right = QWidget(), QWidget()
        column = QVBoxLayout(left)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.list, 1)
        column = QVBoxLayout(right)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.words)
        column.addWidget(self.table, 1)
        column.addWidget(self.empty, 1)
        column.addStretch(0)
        split = QSplitter()
        split.setChildrenCollapsible(False)
        split.addWidget(left)
        split.addWidget(right)
        split.setSizes([252, 498])
        split.setStretchFactor(1, 1)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.setSpacing(0)
        whole.addLayout(row)
        whole.addWidget(split, 1)

    # -- what there is -----------------------------------------------------------------

    def versions(self) -> list[Version]:
        """The layout as it is, its snapshots, newest first, then what was opened of other jobs."""
        layout = self._session.layout
        kept = [Version(each.id, each.name, each.made, each.layout) for each in layout.snapshots.values()]
        return [Version(NOW, "Now", "", snapshots.bare(layout)), *reversed(kept), *self._others]

    def chosen(self) -> list[Version]:
        """The one or two versions that are selected."""
        keys = {int(item.data(NAME, KEY)) for item in self.list.selectedItems()}
        return [version for version in self.versions() if version.key in keys]

    def pair(self) -> tuple[Version, Version] | None:
        """The two that are compared: before and after; None where nothing is to be compared."""
        chosen = self.chosen()
        if len(chosen) == 1 and chosen[0].key != NOW:
            return chosen[0], self.versions()[0]
        return (chosen[1], chosen[0]) if len(chosen) == 2 else None

    def _snapshot(self) -> int | None:
        """The one snapshot that is selected."""
        kept = [version.key for version in self.chosen() if version.key > 0]
        return kept[0] if len(kept) == 1 else None

    # -- what it shows -----------------------------------------------------------------

    def set_units(self, units: Units) -> None:
        self._units = units
        item = self.list.headerItem()
        if item is not None:
            item.setText(MASS, f"Mass {unit_text.mass_unit(units)}")
        self.table.setHeaderLabels(list(version_rows.headers(units)))
        self._fill_list()
        self._compare()

    def begin(self) -> None:
        """Let the person type a name for a snapshot."""
        self._propose_name()
        self.name.setFocus(Qt.FocusReason.ShortcutFocusReason)
        self.name.selectAll()

    def show_report(self, report: Report, is_current: bool) -> None:
        """Remember what the checks say of the layout as it is."""
        if is_current and report.is_complete:
            layout = self._session.layout
            for id_, (known, _) in list(self._reports.items()):
                if not self._is_listed(known):
                    del self._reports[id_]
            self._reports[id(layout)] = (layout, report)
            if self.isVisible() and not self._session.is_previewing:
                self._compare()

    @guarded()
    def showEvent(self, event: QShowEvent) -> None:
        super().showEvent(event)
        self.refresh()

    def refresh(self) -> None:
        """Bring list and table up to date."""
        self._timer.stop()
        self._fill_list()
        self._compare()

    def _on_changed(self, before: Layout, after: Layout) -> None:
        if before.snapshots is not after.snapshots:
            self._fill_list()
            self._propose_name()
        if self.isVisible():
            self._timer.start()  # anew with each change: only once the hand rests

    def _on_opened(self) -> None:
        self.stop()
        self._others, self._reports, self._masses, self._failed = [], {}, {}, set()
        self._comparing = None
        self.ghost_button.setChecked(False)
        self.refresh()
        self._propose_name()

    def _propose_name(self) -> None:
        self.name.setText(snapshots.free_name(self._session.layout))

    def _fill_list(self) -> None:
        chosen = {int(item.data(NAME, KEY)) for item in self.list.selectedItems()}
        shown = self.versions()
        self._filling = True
        while self.list.topLevelItemCount() > len(shown):
            self.list.takeTopLevelItem(len(shown))
        for number, version in enumerate(shown):
            item = self.list.topLevelItem(number) or QTreeWidgetItem(self.list)
            self._word(item, version)
            item.setSelected(version.key in chosen)
        self._filling = False
        self._on_selection()

    def _word(self, item: QTreeWidgetItem, version: Version) -> None:
        mass = self._mass(version)
        item.setData(NAME, KEY, version.key)
        item.setText(NAME, version.name)
        item.setText(MADE, when(version.made))
        item.setText(TUBES, str(len(version.layout.tubes)))
        item.setText(MASS, unit_text.format_mass(mass, self._units, unit=False))
        item.setToolTip(NAME, _tip(version))
        for column in (TUBES, MASS):
            item.setTextAlignment(column, RIGHT)
        flags = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
        item.setFlags(flags | Qt.ItemFlag.ItemIsEditable if version.key > 0 else flags)

    def _mass(self, version: Version) -> float:
        """What a version weighs; that of a snapshot never changes."""
        known = self._masses.get(version.key)
        if known is None or known[0] is not version.layout:
            known = self._masses[version.key] = (version.layout, comparing.mass(version.layout))
        return known[1]

    def _on_selected(self) -> None:
        if not self._filling:
            self._on_selection()
            self._compare()

    def _on_selection(self) -> None:
        """What can be done with what is selected."""
        one = self._snapshot()
        self.back_button.setEnabled(one is not None and not self._session.is_previewing)
        self.rename_button.setEnabled(one is not None)
        self.delete_button.setEnabled(any(version.key != NOW for version in self.chosen()))
        self.ghost_button.setEnabled(self.pair() is not None or self.ghost_button.isChecked())
        self._show_ghost()

    def _compare(self) -> None:
        """Show what differs between the two that are selected."""
        pair = self.pair()
        has_any = len(self.versions()) > 1
        self._slice.stop()
        self.table.setVisible(pair is not None)
        self.empty.setVisible(pair is None and not has_any)
        self.words.setVisible(pair is not None or has_any)
        if pair is None:
            self.words.setText(CHOOSE)
            return
        one, other = pair
        self._comparing = pair
        self._slow = iter(comparing.matched(one.layout, other.layout, _by_id(one, other)))
        self._go_on_comparing()

    def _go_on_comparing(self) -> None:
        """Compare tube by tube for a moment, then let the hand in; show the whole once all are done."""
        if self._comparing is None:
            return
        one, other = self._comparing
        start = time.perf_counter()
        try:
            for first, second in self._slow:
                comparing.prepared(one.layout, other.layout, first, second)
                if time.perf_counter() - start > SLICE:
                    self._slice.start()
                    return
            found = comparing.compared(
                one.layout,
                other.layout,
                self._report_of(one),
                self._report_of(other),
                by_id=_by_id(one, other),
            )
        except GeometryError as error:
            self.words.setText(error.message)
            return
        names = "" if other.key == NOW else f"{one.name}{version_rows.ARROW}{other.name}: "
        self.words.setText(names + version_rows.summary(found, self._units))
        self._fill_table(version_rows.rows(found, one.layout, other.layout, self._units))
        self._check_next()

    def _fill_table(self, rows: list[version_rows.Row]) -> None:
        place = self.table.verticalScrollBar().value()
        self._filling = True
        self.table.clear()
        for row in rows:
            item = QTreeWidgetItem(self.table, list(row.cells))
            item.setData(0, KEY, row.tube)
            for column in range(len(row.cells)):
                item.setToolTip(column, row.tip or row.cells[column])
                if column > 1:
                    item.setTextAlignment(column, RIGHT)
            if row.kind in ("all", "group"):
                for column in range(len(row.cells)):
                    font = item.font(column)
                    font.setWeight(QFont.Weight.DemiBold)
                    item.setFont(column, font)
            item.setFirstColumnSpanned(row.kind in ("group", "finding"))
        self._filling = False
        self.table.verticalScrollBar().setValue(place)

    # -- what the checks say of it -----------------------------------------------------

    def _report_of(self, version: Version) -> Report | None:
        layout = self._session.layout if version.key == NOW else version.layout
        known = self._reports.get(id(layout))
        return known[1] if known is not None and known[0] is layout else None

    def _is_listed(self, layout: Layout) -> bool:
        return any(version.layout is layout for version in self.versions())

    def _check_next(self) -> None:
        """Have the first selected version checked that has no report; the present one comes by itself."""
        pair = self.pair()
        if self._job is not None or pair is None or not self.isVisible():
            return
        for version in pair:
            wanted = version.key != NOW and id(version.layout) not in self._failed
            if wanted and self._report_of(version) is None:
                self._checked = version.layout
                work = in_child(findings.check_layout, snapshots.bare(version.layout))
                job = Job(f"Checking {version.name}", work, self)
                job.done.connect(self._on_checked)
                self._start(job)
                return

    def _start(self, job: Job) -> None:
        self._job = job
        job.progressed.connect(self._on_progressed)
        job.failed.connect(self._on_failed)
        job.cancelled.connect(self._on_cancelled)
        job.ended.connect(job.deleteLater)
        job.start()

    def _on_progressed(self, done: float, doing: str) -> None:
        if self._job is not None and self.table.isVisible():
            last = self.table.topLevelItem(self.table.topLevelItemCount() - 1)
            if last is not None and last.data(0, KEY) is None and last.isFirstColumnSpanned():
                last.setText(0, f"{self._job.title}: {doing.lower()}, {round(100 * done)} %")

    def _on_checked(self, report: Report) -> None:
        layout, self._checked, self._job = self._checked, None, None
        if layout is not None:
            self._reports[id(layout)] = (layout, report)
        self._compare()

    def _on_failed(self, error: Exception) -> None:
        layout, self._checked, self._job = self._checked, None, None
        if layout is not None:
            self._failed.add(id(layout))
        if not isinstance(error, GeometryError | LayoutFileError):
            raise error
        self.refused.emit(error.message)

    def _on_cancelled(self) -> None:
        self._job, self._checked = None, None

    def stop(self) -> None:
        """End the check that runs; for another job, and for closing the window."""
        job, self._job, self._checked = self._job, None, None
        if job is not None:
            for signal in (job.progressed, job.done, job.failed, job.cancelled):
                signal.disconnect()
            job.cancel()
            job.wait()

    # -- what it does --------------------------------------------------------------------

    def take(self) -> None:
        """Keep the layout as it is now under the name that was typed."""
        session = self._session
        if session.is_previewing:
            self.refused.emit("Finish or cancel what is being changed first, then take the snapshot.")
            return
        before, made = session.recorded, datetime.now(UTC).isoformat(timespec="seconds")
        name, taken = self.name.text(), session.recorded.next_id
        report = self._reports.get(id(before))
        done = session.apply(f"Take snapshot {name.strip()}", lambda now: snapshots.take(now, name, made)[0])
        if not done:
            return
        kept = session.recorded.snapshots[taken]
        if report is not None:  # it is the same layout
            for layout in (kept.layout, session.recorded):
                self._reports[id(layout)] = (layout, report[1])
        self._fill_list()
        self._select(taken)
        self._compare()
        self.told.emit(f"The layout as it is now is kept as {kept.name}; saving the job saves it too.")

    def go_back(self) -> None:
        """Make the job as it was at the selected snapshot: one step, which undo takes back."""
        id = self._snapshot()
        if id is None or self._session.is_previewing:
            return
        name = self._session.recorded.snapshots[id].name
        if self._session.apply(f"Go back to {name}", lambda now: snapshots.returned(now, id)):
            self.refresh()
            self.told.emit(f"The job is as it was at “{name}”. Undo takes that back.")

    def rename(self) -> None:
        """Edit the selected snapshot's name where it stands."""
        id = self._snapshot()
        for number in range(self.list.topLevelItemCount()):
            item = self.list.topLevelItem(number)
            if item is not None and item.data(NAME, KEY) == id and id is not None:
                self.list.setFocus()
                self.list.editItem(item, NAME)

    def _on_renamed(self, item: QTreeWidgetItem, column: int) -> None:
        if self._filling or column != NAME:
            return
        id, name = int(item.data(NAME, KEY)), item.text(NAME)
        self._session.apply(f"Rename snapshot {name}", lambda now: snapshots.rename(now, id, name))
        self._timer.start(0)  # the field is still open; a refused name is put back

    def delete(self) -> None:
        """Forget the selected snapshots, and put other jobs away."""
        chosen = [version for version in self.chosen() if version.key != NOW]
        gone = {version.key for version in chosen}
        self._others = [version for version in self._others if version.key not in gone]
        ids = [version.key for version in chosen if version.key > 0]

        def without(layout: Layout) -> Layout:
            for id in ids:
                layout = snapshots.delete(layout, id)
            return layout

        if ids:
            what = f"snapshot {chosen[0].name}" if len(ids) == 1 else f"{len(ids)} snapshots"
            self._session.apply(f"Delete {what}", without)
        self.refresh()

    def ask_open(self) -> None:
        """Ask for another job and read it, only to compare."""
        if self._job is not None and self._checked is None:
            return
        path = dialogs.ask_open_path(self, "Compare with another job", self._start_folder(), JOBS)
        if path is not None:
            self.open_other(path)

    def open_other(self, path: Path) -> None:
        self.stop()
        self._folder = path.parent
        job = Job(f"Reading {path.name}", _reading(path), self)
        job.done.connect(self._on_read)
        self._start(job)

    def _on_read(self, read: tuple[Path, str, Layout]) -> None:
        self._job = None
        path, made, layout = read
        key = min([-1, *(version.key - 1 for version in self._others)])
        self._others.append(Version(key, path.stem, made, snapshots.bare(layout)))
        self._fill_list()
        self._select(key)
        self._compare()

    def _select(self, key: int) -> None:
        """Select one version and no other."""
        self._filling = True
        for number in range(self.list.topLevelItemCount()):
            item = self.list.topLevelItem(number)
            if item is not None:
                item.setSelected(item.data(NAME, KEY) == key)
                if item.isSelected():
                    self.list.setCurrentItem(item)
                    self.list.scrollToItem(item)
        self._filling = False
        self._on_selection()

    def _start_folder(self) -> Path:
        path = self._session.path
        return path.parent if path is not None else self._folder

    def _on_ghost(self) -> None:
        self._on_selection()

    def _show_ghost(self) -> None:
        """Draw the version that is held against the other, while that is wanted."""
        pair = self.pair()
        wanted = pair[0].layout if pair is not None and self.ghost_button.isChecked() else None
        if wanted is not self._ghost:
            self._ghost = wanted
            self.ghosts_wanted.emit(wanted)

    def _on_row(self) -> None:
        if not self._filling:
            tubes = [item.data(0, KEY) for item in self.table.selectedItems()]
            present = [tube for tube in tubes if tube in self._session.layout.tubes]
            if present:
                self._session.select(present)

    def _on_row_opened(self, item: QTreeWidgetItem) -> None:
        tube = item.data(0, KEY)
        if tube in self._session.layout.tubes:
            self.fly_to_wanted.emit(frozenset((tube,)))


def _by_id(one: Version, other: Version) -> bool:
    """Say whether ids mean the same in both."""
    return min(one.key, other.key) >= 0 or comparing.is_one_job(one.layout, other.layout)


def when(made: str) -> str:
    """A date as short as it can be: the time of today, the day of this year."""
    time = QDateTime.fromString(made, Qt.DateFormat.ISODate).toLocalTime()
    if not time.isValid():
        return made
    today = QDateTime.currentDateTime().date()
    if time.date() == today:
        return QLocale().toString(time, "HH:mm")
    return QLocale().toString(time, "d MMM" if time.date().year() == today.year() else "d MMM yyyy")


def _tip(version: Version) -> str:
    if version.key == NOW:
        return "The layout as it is now."
    where = "From another job's file, which is only read." if version.key < 0 else "A snapshot in this job."
    time = QDateTime.fromString(version.made, Qt.DateFormat.ISODate).toLocalTime()
    return f"{version.name}, {QLocale().toString(time, QLocale.FormatType.ShortFormat)}\n{where}"


def _make_table(units: Units) -> QTreeWidget:
    made = QTreeWidget()
    titles = version_rows.headers(units)
    made.setColumnCount(len(titles))
    made.setHeaderLabels(list(titles))
    made.setAccessibleName("What differs")
    made.setRootIsDecorated(False)
    made.setUniformRowHeights(True)
    made.setAlternatingRowColors(True)
    made.setTabKeyNavigation(False)
    header = made.header()
    header.setSectionsMovable(False)
    header.setStretchLastSection(False)
    header.setMinimumSectionSize(40)
    header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
    for column in (0, 1):
        header.setSectionResizeMode(column, QHeaderView.ResizeMode.Stretch)
    made.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    item = made.headerItem()
    for column in range(2, len(titles)):
        if item is not None:
            item.setTextAlignment(column, RIGHT)
    return made


def _reading(path: Path) -> Work:
    def work(progress: Progress) -> tuple[Path, str, Layout]:
        progress(0.0, "Reading")
        layout = job_file.load(path)
        made = datetime.fromtimestamp(path.stat().st_mtime, UTC).isoformat(timespec="seconds")
        return path, made, layout

    return work
