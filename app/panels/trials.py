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
    QLineEdit,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from app import calibration_words, trial_proposal
from app.guarded import guarded
from app.panels.rows import ChoiceBox, keep_to_width, set_kind
from app.panels.trial_drawing import TrialDrawing
from app.panels.trial_form import Refusal, TrialForm, angle_text, fault_of
from app.panels.trial_list import TrialList
from app.panels.trial_result import ResultView
from app.session import Session
from app.units import Units
from geometry import rack, refusals
from geometry.errors import GeometryError
from geometry.layout import Die, Layout, Stock, TrialBend
from geometry.tube import bending, trials

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
        self._pair: tuple[int, int] | None = None  # die, stock
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
        self.die, self.stock = ChoiceBox(), ChoiceBox()
        self.batch = QLineEdit()
        self.batch.setPlaceholderText("not named")
        self.state = QLabel(wordWrap=True)
        keep_to_width(self.state)
        self.back = QPushButton("Back to the view")
        self.back.setToolTip("Escape does the same.")
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
        grid.addLayout(self._head(), 0, 0, 1, 3)
        grid.addLayout(self._bend(), 1, 0)
        grid.addWidget(self.form, 1, 1)
        grid.addLayout(self._rows(), 2, 0, 1, 2)
        grid.addWidget(self.result, 1, 2, 2, 1)
        for column, share in enumerate((37, 26, 42)):
            grid.setColumnStretch(column, share)
        grid.setRowStretch(1, 3)
        grid.setRowStretch(2, 2)
        return holder

    def _head(self) -> QVBoxLayout:
        row = QHBoxLayout()
        row.setSpacing(8)
        tips = (
            ("Die", self.die, "The die that bends the scrap.", 3),
            ("Stock", self.stock, "The tube that the scrap is of; only tubes that fit the die.", 3),
            (
                "Batch on the rack",
                self.batch,
                "How the shop calls the delivery on the rack now. A new batch asks for one check bend.",
                2,
            ),
        )
        for words, field, tip, share in tips:
            label = QLabel(words)
            label.setBuddy(field)
            field.setAccessibleName(words)
            for part in (label, field):
                part.setToolTip(tip)
            row.addWidget(label)
            row.addWidget(field, share)
        row.addStretch(1)
        row.addWidget(self.back)
        column = QVBoxLayout()
        column.setSpacing(4)
        column.addLayout(row)
        column.addWidget(self.state)
        return column

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
        self.die.activated.connect(self._on_die)
        self.stock.activated.connect(self._on_stock)
        self.batch.editingFinished.connect(self._on_batch)
        self.back.clicked.connect(self.left)
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
        layout = self._session.layout
        wanted: list[tuple[int, int]] = []
        if die in layout.dies:
            wanted += [pair for pair in _pairs(layout) if pair[0] == die]
            wanted = [pair for pair in wanted if pair in _used_pairs(layout)] or wanted
        chosen = [id for id in layout.tubes if id in self._session.selection]
        wanted += _used_pairs(layout, chosen)
        wanted += [self._pair] if self._pair in _pairs(layout) and self._pair is not None else []
        wanted += [*_used_pairs(layout), *_pairs(layout)]
        self._take_pair(wanted[0] if wanted else None)

    def begin(self) -> None:
        """Let typing start with the first field."""
        self.form.numbers["length"].setFocus(Qt.FocusReason.TabFocusReason)

    @property
    def pair(self) -> tuple[Die, Stock] | None:
        """The die and stock that are shown."""
        layout = self._session.layout
        if self._pair is None or self._pair not in _pairs(layout):
            return None
        return layout.dies[self._pair[0]], layout.stocks[self._pair[1]]

    def set_units(self, units: Units) -> None:
        self._units = units
        self.form.set_units(units)
        self.refresh()
        self._propose()

    def _take_pair(self, pair: tuple[int, int] | None) -> None:
        """Show another pair; what was typed for the one before is dropped."""
        is_other = pair != self._pair
        self._pair = pair
        self.refresh()
        if is_other or not self.form.is_begun:
            self._start_anew()

    # What is shown

    def refresh(self) -> None:
        """Show the layout as it is now."""
        layout, pair = self._session.layout, self.pair
        self._show_choices(layout)
        self.form.setEnabled(pair is not None)
        if pair is None:
            self._show_nothing()
            return
        die, stock = pair
        if not (self.batch.hasFocus() and self.batch.isModified()):
            self.batch.setText(stock.batch)
        calibration = trials.learnt(layout, die, stock)
        self.state.setText(calibration_words.state_sentence(calibration, die, stock))
        set_kind(self.state, STATE_KINDS[calibration.state])
        self.result.show_learnt(calibration, die, stock, layout, self._units)
        mine = sorted(self._mine(), key=lambda trial: (trial.made, trial.id), reverse=True)
        self.list.fill(mine, calibration.contradicting, self._units)
        self.count.setText(f"Trial bends of this die and stock ({len(mine)})")
        self._show_guide()
        self._on_row()
        if self._changing is not None and self._changing not in layout.trials:
            self._start_anew()

    def _show_choices(self, layout: Layout) -> None:
        pairs, shown = _pairs(layout), self._pair
        dies = dict.fromkeys(die for die, _ in pairs)
        self.die.show_choices([(id, layout.dies[id].name) for id in dies], shown[0] if shown else None)
        stocks = [stock for die, stock in pairs if shown and die == shown[0]]
        self.stock.show_choices([(id, layout.stocks[id].name) for id in stocks], shown[1] if shown else None)
        for part in (self.die, self.stock, self.batch):
            part.setEnabled(bool(pairs))

    def _show_nothing(self) -> None:
        self.batch.clear()
        self.state.setText(NO_PAIR)
        set_kind(self.state, "near")
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

    def _on_die(self) -> None:
        layout = self._session.layout
        mine = [pair for pair in _pairs(layout) if pair[0] == self.die.chosen]
        same_stock = [pair for pair in mine if self._pair and pair[1] == self._pair[1]]
        used = [pair for pair in _used_pairs(layout) if pair in mine]
        if mine:
            self._take_pair((same_stock or used or mine)[0])

    def _on_stock(self) -> None:
        if self._pair is not None and self.stock.chosen is not None:
            self._take_pair((self._pair[0], self.stock.chosen))

    def _on_batch(self) -> None:
        pair, batch = self.pair, self.batch.text().strip()
        self.batch.setModified(False)
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
        if self.pair is None:
            self._pair = None
            self.open_on()
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


def _pairs(layout: Layout) -> list[tuple[int, int]]:
    """Return every die with every stock of its diameter."""
    dies, stocks = layout.dies.values(), layout.stocks.values()
    return [(die.id, stock.id) for die in dies for stock in stocks if bending.is_for(die, stock)]


def _used_pairs(layout: Layout, tubes: list[int] | None = None) -> list[tuple[int, int]]:
    """Return the pairs that tubes are bent of, in the order of the tubes."""
    found = []
    for id in layout.tubes if tubes is None else tubes:
        die = bending.die_of(layout, layout.tubes[id])
        if die is not None and bending.is_for(die, layout.stocks[layout.tubes[id].stock]):
            found.append((die.id, layout.tubes[id].stock))
    return list(dict.fromkeys(found))
