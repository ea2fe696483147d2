"""The guided page for trial bends: bend scrap, measure it, see what the die with this stock really does."""

from collections.abc import Callable

from msgspec.structs import replace
from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent, QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from app import calibration_words, trial_proposal
from app.guarded import guarded
from app.panels.rows import keep_to_width
from app.panels.trial_drawing import TrialDrawing
from app.panels.trial_form import Refusal, TrialForm, angle_text, fault_of, too_long
from app.panels.trial_list import TrialList
from app.panels.trial_pair import Pair, PairRow, best_pair, pairs
from app.panels.trial_result import ResultView
from app.session import Session
from app.units import Units
from geometry import rack, refusals
from geometry.errors import GeometryError
from geometry.layout import Die, Layout, Stock, TrialBend
from geometry.tube import trials

NO_PAIR = "The rack holds no die and tube of one diameter; add them there first."
FOLLOWS = ("trials", "stocks", "dies", "limits")
STATE_KINDS = {"none": "near", "check first": "bad", "partial": "near", "measured": "fine"}


class TrialsPage(QScrollArea):
    """One die with one stock at a time; every change is one undo step."""

    left = Signal()  # back to the view

    def __init__(self, session: Session, units: Units, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self._units = units
        self._pair: Pair | None = None
        self._changing: int | None = None  # the trial bend in the fields
        self.setWidgetResizable(True)
        self.setFrameShape(QFrame.Shape.NoFrame)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._make_parts()
        self.setWidget(self._arranged())
        self._connect()
        self.open_on()

    # What there is

    def _make_parts(self) -> None:
        self.head = PairRow()
        self.guide = QLabel(wordWrap=True)
        self.guide.setTextFormat(Qt.TextFormat.RichText)
        keep_to_width(self.guide)
        self.caution = QLabel(calibration_words.CAUTION, wordWrap=True)
        self.caution.setProperty("kind", "faint")
        keep_to_width(self.caution)
        self.drawing = TrialDrawing()
        self.form = TrialForm(self._units)
        self.list = TrialList()
        self.change = QPushButton("Change…")
        self.change.setToolTip("Bring the selected trial bend into the fields (Enter, or double-click).")
        self.delete = QPushButton("Delete")
        self.delete.setToolTip("Forget the selected trial bend and what it taught (Del).")
        self.result = ResultView()

    def _arranged(self) -> QWidget:
        holder = QWidget()
        grid = QGridLayout(holder)
        grid.setContentsMargins(14, 8, 14, 8)
        grid.setHorizontalSpacing(18)
        grid.setVerticalSpacing(8)
        grid.addWidget(self.head, 0, 0, 1, 3)
        grid.addLayout(self._bend(), 1, 0)
        grid.addWidget(self.form, 1, 1)
        grid.addLayout(self._rows(), 2, 0, 1, 2)
        grid.addWidget(self.result, 1, 2, 2, 1)
        for column, share in enumerate((38, 26, 42)):
            grid.setColumnStretch(column, share)
        grid.setRowStretch(1, 5)
        grid.setRowStretch(2, 2)
        return holder

    def _bend(self) -> QVBoxLayout:
        title = QLabel("One trial bend")
        title.setProperty("kind", "heading")
        column = QVBoxLayout()
        column.setSpacing(4)
        column.addWidget(title)
        column.addWidget(self.guide)
        column.addWidget(self.drawing, 1)
        column.addWidget(self.caution)
        return column

    def _rows(self) -> QVBoxLayout:
        self.count = QLabel()
        self.count.setProperty("kind", "heading")
        row = QHBoxLayout()
        row.addWidget(self.count, 1)
        row.addWidget(self.change)
        row.addWidget(self.delete)
        column = QVBoxLayout()
        column.setSpacing(4)
        column.addLayout(row)
        column.addWidget(self.list, 1)
        self.list.setMinimumHeight(100)
        return column

    def _connect(self) -> None:
        self.head.chosen.connect(self._on_pair)
        self.head.batch_entered.connect(self._on_batch)
        self.head.back.clicked.connect(self.left)
        self.form.add_wanted.connect(self.add)
        self.form.drop_wanted.connect(self._on_drop)
        self.form.focused.connect(self.drawing.set_active)
        self.form.typed.connect(self._draw_bend)
        self.list.used_changed.connect(self._on_used)
        self.list.change_wanted.connect(self._on_change_wanted)
        self.list.delete_wanted.connect(self._on_delete_wanted)
        self.list.itemSelectionChanged.connect(self._on_row)
        self.change.clicked.connect(self._on_change)
        self.delete.clicked.connect(self._on_delete)
        for key in ("Ctrl+Return", "Ctrl+Enter"):
            shortcut = QShortcut(QKeySequence(key), self)
            shortcut.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
            shortcut.activated.connect(self.add)
        self._session.changed.connect(self._on_changed)
        self._session.opened.connect(self._on_opened)

    # Which die with which stock

    def open_on(self, die: int | None = None) -> None:
        """Show a die, else the pair of the selected tube, else what was shown, else what the job uses."""
        session = self._session
        if die is None and self.pair is not None and self.form.is_begun:
            return  # what was typed stays with its die
        self._take_pair(best_pair(session.layout, die, session.selection, self._pair))

    def begin(self) -> None:
        """Let typing start with the first field."""
        self.form.numbers["length"].setFocus(Qt.FocusReason.TabFocusReason)

    @property
    def pair(self) -> tuple[Die, Stock] | None:
        """The die and stock that are shown."""
        layout = self._session.layout
        if self._pair is None or self._pair not in pairs(layout):
            return None
        return layout.dies[self._pair[0]], layout.stocks[self._pair[1]]

    def set_units(self, units: Units) -> None:
        self._units = units
        self.form.set_units(units)
        self.refresh()
        self._propose()

    def _take_pair(self, pair: Pair | None) -> None:
        """Show another pair; measurements that were typed for a new trial bend go along."""
        is_other = pair != self._pair
        self._pair = pair
        self.refresh()
        if (is_other and self._changing is not None) or not self.form.is_begun:
            self._start_anew()

    # What is shown

    def refresh(self) -> None:
        """Show the layout as it is now."""
        layout, pair = self._session.layout, self.pair
        self.head.show_pair(self._pair if pair else None, layout)
        self.form.setEnabled(pair is not None)
        if pair is None:
            self._show_nothing()
            return
        die, stock = pair
        calibration = trials.learnt(layout, die, stock)
        sentence = calibration_words.state_sentence(calibration, stock)
        self.head.say(sentence, "bad" if calibration.contradicting else STATE_KINDS[calibration.state])
        self.result.show_learnt(calibration, die, stock, layout, self._units)
        mine = sorted(self._mine(), key=lambda trial: (trial.made, trial.id), reverse=True)
        self.list.fill(mine, calibration.contradicting, self._units)
        self.count.setText(f"Trial bends of this die and stock ({len(mine)})")
        self._show_guide()
        self._on_row()
        if self._changing is not None and self._changing not in layout.trials:
            self._start_anew()

    def _show_nothing(self) -> None:
        self.head.say(NO_PAIR, "near")
        self.guide.clear()
        self.list.fill((), (), self._units)
        self.count.setText("Trial bends")
        self.result.show_nothing("")
        self._on_row()

    def _show_guide(self) -> None:
        assert self.pair is not None
        proposal = trial_proposal.propose(self._session.layout, *self.pair, self._units)
        lines = calibration_words.guide(proposal, self._units)
        rows = "".join(
            f"<tr><td style='padding-right:6px'>{n}.</td><td>{line}</td></tr>"
            for n, line in enumerate(lines, 1)
        )
        self.guide.setText(f"<table cellspacing='0' cellpadding='1'>{rows}</table>")

    def _draw_bend(self) -> None:
        numbers = self.form.numbers
        angle = numbers["angle"].value or numbers["dial"].value
        self.drawing.show_bend(angle, self.form.measured_to.currentData() == "back")

    def _propose(self) -> None:
        """Fill in the next bend's mark and dial, unless something was measured already."""
        if self._changing is None and not self.form.is_begun:
            self._start_anew()

    def _start_anew(self) -> None:
        self._changing = None
        pair = self.pair
        proposal = trial_proposal.propose(self._session.layout, *pair, self._units) if pair else None
        self.form.clear(proposal)
        self._draw_bend()

    def _mine(self) -> list[TrialBend]:
        layout = self._session.layout
        return [trial for trial in layout.trials.values() if (trial.die, trial.stock) == self._pair]

    # What is wanted

    def add(self) -> None:
        """Record what stands in the fields as one undo step."""
        pair = self.pair
        if pair is None:
            return
        try:
            trial = self._typed(*pair)
        except Refusal as refusal:
            self.form.refuse(refusal.field, str(refusal))
            return
        what = f"trial bend of {angle_text(trial.angle)}"
        if self._changing is None:
            done = self._apply(f"Add {what}", lambda now: rack.add_trial(now, trial)[0])
        else:
            done = self._apply(f"Change {what}", lambda now: rack.replace_trial(now, trial))
        if done:
            self._start_anew()
            self.begin()

    def _typed(self, die: Die, stock: Stock) -> TrialBend:
        """Return the trial bend in the fields; Refusal names the field that can't be."""
        values = self.form.read()
        old = self._session.layout.trials.get(self._changing or 0)
        if old is None:
            trial = TrialBend(0, die.id, stock.id, stock.batch, **values)
        else:
            trial = replace(old, **values)
        try:
            refusals.checked_trial(self._session.layout, trial)
        except GeometryError as error:
            raise Refusal(fault_of(trial) or "length", error.message) from None
        refusal = too_long(trial, die, stock, self._units)
        if refusal is not None:
            raise refusal
        if trial.widest is not None and trial.narrowest is not None and trial.narrowest > trial.widest:
            raise Refusal("narrowest", "The least diameter can't be more than the largest.")
        return trial

    def _apply(self, words: str, change: Callable[[Layout], Layout]) -> bool:
        return self._session.apply(words, change)

    def _on_drop(self) -> None:
        self._start_anew()
        self.begin()

    def _on_change_wanted(self, id: int) -> None:
        self._changing = id
        self.form.show_trial(self._session.layout.trials[id])
        self._draw_bend()
        self.begin()

    def _on_delete_wanted(self, id: int) -> None:
        words = f"Delete trial bend of {angle_text(self._session.layout.trials[id].angle)}"
        self._apply(words, lambda now: rack.remove_trial(now, id))

    def _on_change(self) -> None:
        if self.list.chosen is not None:
            self._on_change_wanted(self.list.chosen)

    def _on_delete(self) -> None:
        if self.list.chosen is not None:
            self._on_delete_wanted(self.list.chosen)

    def _on_used(self, id: int, used: bool) -> None:
        trial = self._session.layout.trials[id]
        words = f"{'Use' if used else 'Leave out'} trial bend of {angle_text(trial.angle)}"
        if not self._apply(words, lambda now: rack.replace_trial(now, replace(trial, used=used))):
            self.refresh()

    def _on_row(self) -> None:
        for button in (self.change, self.delete):
            button.setEnabled(self.list.chosen is not None)

    def _on_pair(self, die: int, stock: int) -> None:
        self._take_pair((die, stock))

    def _on_batch(self, batch: str) -> None:
        pair = self.pair
        if pair is None or batch == pair[1].batch:
            return
        stock = pair[1]
        changed = replace(stock, batch=batch)
        self._apply(f"Set batch of {stock.name}", lambda now: rack.replace_stock(now, changed))
        self.refresh()

    # What happens elsewhere

    def _on_changed(self, before: Layout, after: Layout) -> None:
        if all(getattr(before, part) is getattr(after, part) for part in FOLLOWS):
            return
        touched = _touched_pair(before, after)
        if self.pair is None:
            self._pair = None
            self.open_on()
        elif touched is not None and touched in pairs(after) and self.isVisible():
            self._take_pair(touched)  # undo shows what it brings back
        else:
            self.refresh()
            self._propose()

    def _on_opened(self) -> None:
        self._pair = None
        self._start_anew()
        self.open_on()

    @guarded()
    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() != Qt.Key.Key_Escape:
            super().keyPressEvent(event)
        elif self._changing is not None:
            self._on_drop()
        else:
            self.left.emit()


def _touched_pair(before: Layout, after: Layout) -> Pair | None:
    """Return the pair whose trial bends changed, if it is one pair's alone."""
    old, new = before.trials, after.trials
    ids = [id for id in {*old, *new} if old.get(id) != new.get(id)]
    touched = {(trial.die, trial.stock) for id in ids if (trial := new.get(id) or old.get(id)) is not None}
    return touched.pop() if len(touched) == 1 else None
