"""The step in which tubes get another stock: what breaks is listed before anything is kept."""

import math
from collections import Counter
from collections.abc import Iterable, Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHBoxLayout,
    QListWidget,
    QListWidgetItem,
    QPushButton,
    QWidget,
)

from app import units as unit_text
from app import wording
from app.guarded import guarded
from app.panels import rack_choices
from app.panels.rack_choices import BEST_DIE
from app.panels.rows import ChoiceBox, Rows
from app.session import Session
from app.units import MILLIMETRES, Units
from geometry import comparing, edits
from geometry.checks.finding import Finding
from geometry.checks.report import Report
from geometry.errors import GeometryError
from geometry.layout import Layout

SELECTED, ALL = 0, -1  # no stock has these ids
MOST_ROWS = 200
SEEN_WORSE = {"length": 1.0, "angle": math.radians(0.5), "ratio": 0.05}  # less is nothing to a shop
SEEN_MASS = 0.005  # kg; less rounds to nothing
UNCHANGED = "The same stock and die: nothing changes."
DIFFER = "These tubes are of several stocks; choose the one they shall be of."
CHECKING = "Checking…"
Key = tuple[object, ...]


class RestockPanel(Rows):
    """Previews tubes of another stock through the session; Accept records it as one step.

    The window hands it the reports of the live checks; findings are compared with those of the layout as
    it was when the step was opened.
    """

    accepted = Signal()
    cancelled = Signal()
    refused = Signal(str)

    def __init__(self, session: Session, units: Units = MILLIMETRES, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self._units = units
        self._selected: tuple[int, ...] = ()
        self._is_open = False
        self._before: Report | None = None
        self._after: tuple[int, Report] | None = None  # revision and what the checks say of the preview
        self._findings: list[Finding] = []  # one a row
        self._make()
        session.opened.connect(self.cancel)

    # What the window calls

    @property
    def is_open(self) -> bool:
        return self._is_open

    def set_units(self, units: Units) -> None:
        self._units = units
        if self._is_open:
            self._show()

    def open_tubes(self, tubes: Iterable[int], report: Report | None) -> None:
        """Start with the tubes that were selected, or all of them; the report is that of the layout now."""
        layout = self._session.recorded
        self._selected = tuple(id for id in layout.tubes if id in set(tubes))
        self._is_open, self._before, self._after = True, report, None
        self.which.show_choices(self._choices_of_tubes(), SELECTED if self._selected else ALL)
        self._on_which()

    def show_report(self, revision: int, report: Report) -> None:
        """Take what the checks say of the layout of a revision."""
        if not self._is_open or revision != self._session.revision or not report.is_complete:
            return
        if self._session.is_previewing:
            self._after = (revision, report)
        else:
            self._before = report
        self._show()

    def accept(self) -> None:
        """Keep the new stock as one undo step."""
        if not self._is_open:
            return
        after, stock = self._changed(), self.stock.chosen
        if after is None or stock is None or after is self._session.recorded:
            return
        self._is_open = False
        tubes = self._tubes
        words = wording.counted(len(tubes), "tube")
        self._session.commit(f"Make {words} of {after.stocks[stock].name}", after)
        self._session.select(tubes)
        self.accepted.emit()

    def cancel(self) -> None:
        """Leave everything as it was."""
        if not self._is_open:
            return
        self._is_open = False
        if self._session.is_previewing:
            self._session.cancel()
        self._session.select(self._selected)
        self.cancelled.emit()

    # What it is made of

    def _make(self) -> None:
        self.which = ChoiceBox()
        self.which.activated.connect(self._on_which)
        self.field("Tubes", self.which, "Which tubes get the other stock.")
        self.stock = ChoiceBox()
        self.stock.activated.connect(self._on_stock)
        self.field("New stock", self.stock, "What they shall be made of.")
        self.die = ChoiceBox()
        self.die.activated.connect(self._preview)
        self.field("Die", self.die, "What bends them; the best is the tightest that the stock allows.")
        self.mass = self.number("Cage", "Mass of all tubes as they would be, before ends are cut to shape.")
        self.change = self.number("Change", "How much heavier or lighter the cage becomes.")
        self.summary = self.words("")
        self.list = QListWidget()
        self.list.setWordWrap(True)
        self.list.setAccessibleName("What changes in the findings")
        self.list.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.list.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.list.setMinimumHeight(180)
        self.list.setSpacing(3)
        self.list.currentRowChanged.connect(self._on_row)
        self._column.addWidget(self.list, 1)
        self._column.addStretch(0)
        self.ok = QPushButton("Exchan&ge")
        self.ok.setProperty("main", True)
        self.ok.setToolTip("Make these tubes of the new stock, as one undo step. Enter")
        self.ok.clicked.connect(self.accept)
        self.back = QPushButton("Cancel")
        self.back.setToolTip("Leave the tubes as they are. Escape")
        self.back.clicked.connect(self.cancel)
        holder = QWidget()
        row = QHBoxLayout(holder)
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(self.ok)
        row.addWidget(self.back)
        self._column.addWidget(holder)

    def _choices_of_tubes(self) -> list[tuple[int, str]]:
        layout = self._session.recorded
        used = Counter(tube.stock for tube in layout.tubes.values())
        choices = [(ALL, f"all {wording.counted(len(layout.tubes), 'tube')}")]
        choices += [
            (id, f"all of {layout.stocks[id].name} ({count})") for id, count in used.items() if len(used) > 1
        ]
        if self._selected:
            count = len(self._selected)
            choices.insert(0, (SELECTED, f"the selected {wording.counted(count, 'tube')}"))
        return choices

    # What is chosen

    @property
    def _tubes(self) -> tuple[int, ...]:
        layout, chosen = self._session.recorded, self.which.chosen
        if chosen == SELECTED:
            return tuple(id for id in self._selected if id in layout.tubes)
        return tuple(id for id, tube in layout.tubes.items() if chosen in (ALL, tube.stock))

    def _changed(self) -> Layout | None:
        """The layout with the tubes of the chosen stock and die, or None where that was refused."""
        tubes, stock, die = self._tubes, self.stock.chosen, self.die.chosen or BEST_DIE
        if stock is None:
            return self._session.recorded
        try:
            after = edits.set_stock(self._session.recorded, tubes, stock)
            return edits.set_die(after, tubes, None if die == BEST_DIE else die)
        except GeometryError as error:
            self.refused.emit(error.message)
            return None

    def _on_which(self, *_: object) -> None:
        """Other tubes: begin with the stock that they have, if it is one."""
        layout = self._session.recorded
        had = {layout.tubes[id].stock for id in self._tubes}
        self.stock.show_choices(rack_choices.stock_choices(layout), had.pop() if len(had) == 1 else None)
        self._on_stock()

    def _on_stock(self, *_: object) -> None:
        """Another stock: the die that all of them had if it fits, else the best."""
        layout, stock = self._session.recorded, self.stock.chosen
        self.die.setEnabled(stock is not None)
        choices = [] if stock is None else rack_choices.die_choices(layout, layout.stocks[stock])
        had = {layout.tubes[id].die for id in self._tubes}
        kept = had.pop() if len(had) == 1 else None
        fits = any(id == kept for id, _ in choices)
        self.die.show_choices(choices, kept if fits else BEST_DIE if choices else None)
        self._preview()

    def _preview(self, *_: object) -> None:
        if not self._is_open:
            return
        after = self._changed()
        self._after = None
        if after is None:
            return
        if after is self._session.recorded:
            self._session.cancel()
        else:
            self._session.preview(after)
        self._show()

    # What it shows

    def _show(self) -> None:
        before, now = self._session.recorded, self._session.layout
        self.ok.setEnabled(now is not before)
        old, new = comparing.mass(before), comparing.mass(now)
        self.mass.setText(unit_text.format_mass(new, self._units))
        change = unit_text.format_mass(abs(new - old), self._units)
        is_same = abs(new - old) < SEEN_MASS
        self.change.setText("none" if is_same else f"{change} {'more' if new > old else 'less'}")
        self._show_findings()

    def _show_findings(self) -> None:
        self._findings = []
        self.list.clear()
        self.list.hide()
        if not self._session.is_previewing:
            self.summary.setText(DIFFER if self.stock.chosen is None else UNCHANGED)
            return
        is_current = self._after is not None and self._after[0] == self._session.revision
        if self._before is None or self._after is None or not is_current:
            self.summary.setText(CHECKING)
            return
        old, new = self._before.findings, self._after[1].findings
        come, gone = new_and_gone(old, new)
        grown = worse(old, new)
        self.summary.setText(_summary(come, grown, gone))
        before, now = self._session.recorded, self._session.layout
        for word, findings, layout in (("New", come, now), ("Worse", grown, now), ("Gone", gone, before)):
            for finding in findings[: MOST_ROWS - len(self._findings)]:
                self._add_row(f"{word}: ", finding, layout)
        self.list.setVisible(bool(self._findings))

    def _add_row(self, word: str, finding: Finding, layout: Layout) -> None:
        text = f"{word}{wording.say_with_sign(finding, layout, self._units)}"
        row = QListWidgetItem(text)
        row.setToolTip(text)
        self._findings.append(finding)
        self.list.addItem(row)

    def _on_row(self, row: int) -> None:
        """Select what a finding is about."""
        if 0 <= row < len(self._findings):
            self._session.select(self._findings[row].tubes or self._tubes)

    @guarded()
    def keyPressEvent(self, event: QKeyEvent) -> None:
        is_enter = event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter)
        if event.key() == Qt.Key.Key_Escape or (is_enter and self.back.hasFocus()):
            self.cancel()
        elif is_enter:
            if self.ok.isEnabled():
                self.accept()
        else:
            super().keyPressEvent(event)


def new_and_gone(before: Sequence[Finding], after: Sequence[Finding]) -> tuple[list[Finding], list[Finding]]:
    """Return the findings that only come after, and those that were only there before."""
    return _without(after, before), _without(before, after)


def _without(findings: Sequence[Finding], others: Sequence[Finding]) -> list[Finding]:
    known: Counter[Key] = Counter(map(_key, others))
    left = []
    for finding in findings:
        if known[_key(finding)] > 0:
            known.subtract([_key(finding)])
        else:
            left.append(finding)
    return left


def _key(finding: Finding) -> Key:
    """What makes two findings the same one, whatever their numbers are."""
    things = (finding.tubes, finding.nodes, finding.panels, finding.aids)
    return (finding.rule, finding.severity, *things, finding.words.get("bend"))


def worse(before: Sequence[Finding], after: Sequence[Finding]) -> list[Finding]:
    """Return the findings that were there before, with a number that is now farther beyond its limit."""
    known: dict[Key, list[float]] = {}
    for finding in before:
        known.setdefault(_key(finding), []).append(_beyond(finding))
    grown = []
    for finding in after:
        was = known.get(_key(finding))
        if was and _beyond(finding) > was.pop(0) + SEEN_WORSE.get(finding.quantity or "", math.inf):
            grown.append(finding)
    return grown


def _beyond(finding: Finding) -> float:
    if finding.value is None or finding.limit is None:
        return 0.0
    return abs(finding.value - finding.limit)


def _summary(come: Sequence[Finding], grown: Sequence[Finding], gone: Sequence[Finding]) -> str:
    if not come and not grown and not gone:
        return "No finding comes or goes, and none gets worse."
    words = []
    if come:
        words.append(f"{len(come)} new ({wording.severity_counts(come)})")
    if grown:
        words.append(f"{len(grown)} worse")
    if gone:
        words.append(f"{len(gone)} gone ({wording.severity_counts(gone)})")
    return ", ".join(words) + "."
