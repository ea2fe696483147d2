"""Which die with which stock the trial bends are of, and the batch of it on the rack."""

from collections.abc import Iterable

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from app.panels.fields import TextField
from app.panels.rows import ChoiceBox, keep_to_width, set_kind
from geometry.layout import Layout
from geometry.tube import bending

Pair = tuple[int, int]  # die, stock
TIPS = {
    "Die": "The die that bends the scrap.",
    "Stock": "The tube that the scrap is of; only tubes that fit the die.",
    "Batch on the rack": "How the shop calls the delivery on the rack now. A new one asks for a check bend.",
}


class PairRow(QWidget):
    """Tells what was chosen and typed; changes nothing itself."""

    chosen = Signal(int, int)
    batch_entered = Signal(str)

    def __init__(self) -> None:
        super().__init__()
        self._layout = Layout()
        self._pair: Pair | None = None
        self.die, self.stock = ChoiceBox(), ChoiceBox()
        self.batch = TextField()
        self.batch.setPlaceholderText("not named")
        self.back = QPushButton("Back to the view")
        self.back.setToolTip("Escape does the same.")
        self._state = QLabel(wordWrap=True)
        keep_to_width(self._state)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(4)
        column.addLayout(self._arranged())
        column.addWidget(self._state)
        self.die.activated.connect(self._on_die)
        self.stock.activated.connect(self._on_stock)
        self.batch.editingFinished.connect(self._on_batch)

    def _arranged(self) -> QHBoxLayout:
        row = QHBoxLayout()
        row.setSpacing(8)
        for (words, tip), field, share in zip(
            TIPS.items(), (self.die, self.stock, self.batch), (3, 3, 2), strict=True
        ):
            label = QLabel(words)
            label.setBuddy(field)
            field.setAccessibleName(words)
            for part in (label, field):
                part.setToolTip(tip)
            row.addWidget(label)
            row.addWidget(field, share)
        row.addStretch(1)
        row.addWidget(self.back)
        return row

    def show_pair(self, pair: Pair | None, layout: Layout) -> None:
        """Show a die and a stock among those that fit each other."""
        self._pair, self._layout = pair, layout
        fitting = pairs(layout)
        die, stock = pair if pair is not None else (None, None)
        dies = dict.fromkeys(die for die, _ in fitting)
        self.die.show_choices([(id, layout.dies[id].name) for id in dies], die)
        mine = [each for of, each in fitting if of == die]
        self.stock.show_choices([(id, layout.stocks[id].name) for id in mine], stock)
        if not (self.batch.hasFocus() and self.batch.isModified()):
            self.batch.setText(layout.stocks[stock].batch if stock in layout.stocks else "")
        for part in (self.die, self.stock, self.batch):
            part.setEnabled(pair is not None)

    def say(self, sentence: str, kind: str) -> None:
        """Say how much is known of the pair."""
        self._state.setText(sentence)
        set_kind(self._state, kind)

    @property
    def state(self) -> str:
        return self._state.text()

    def _on_die(self) -> None:
        mine = [pair for pair in pairs(self._layout) if pair[0] == self.die.chosen]
        same_stock = [pair for pair in mine if self._pair is not None and pair[1] == self._pair[1]]
        used = [pair for pair in used_pairs(self._layout) if pair in mine]
        if mine:
            self.chosen.emit(*(same_stock or used or mine)[0])

    def _on_stock(self) -> None:
        if self._pair is not None and self.stock.chosen is not None:
            self.chosen.emit(self._pair[0], self.stock.chosen)

    def _on_batch(self) -> None:
        self.batch.setModified(False)
        self.batch_entered.emit(self.batch.text().strip())


def pairs(layout: Layout) -> list[Pair]:
    """Return every die with every stock of its diameter."""
    dies, stocks = layout.dies.values(), layout.stocks.values()
    return [(die.id, stock.id) for die in dies for stock in stocks if bending.is_for(die, stock)]


def used_pairs(layout: Layout, tubes: Iterable[int] | None = None) -> list[Pair]:
    """Return the pairs that tubes are bent of, in the order of the tubes."""
    found = []
    for id in layout.tubes if tubes is None else tubes:
        stock, die = layout.stocks[layout.tubes[id].stock], bending.die_of(layout, layout.tubes[id])
        if die is not None and bending.is_for(die, stock):
            found.append((die.id, stock.id))
    return list(dict.fromkeys(found))


def best_pair(layout: Layout, die: int | None, selection: frozenset[int], now: Pair | None) -> Pair | None:
    """Return a pair of a die, else of the selected tube, else the one that is shown, else a used one."""
    fitting = pairs(layout)
    used = used_pairs(layout)
    wanted = [pair for pair in used if pair[0] == die] + [pair for pair in fitting if pair[0] == die]
    wanted += used_pairs(layout, [id for id in layout.tubes if id in selection])
    wanted += [pair for pair in fitting if pair == now]
    return next(iter([*wanted, *used, *fitting]), None)
