"""One selected tube: its numbers, what it is made of, its bends and corners."""

import math

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHBoxLayout,
    QHeaderView,
    QLineEdit,
    QPushButton,
    QTableWidget,
    QTableWidgetItem,
    QWidget,
)

from app import units as unit_text
from app import wording
from app.panels.fields import LengthField
from app.panels.outline import node_words
from app.panels.rows import ChoiceBox, Rows, set_band
from app.panels.schedule import clearance_sign, wording_band
from app.session import Session
from app.units import Units
from geometry import edits
from geometry.checks.findings import Report
from geometry.errors import GeometryError
from geometry.layout import Layout, Stock, Tube
from geometry.shop import schedule
from geometry.tube import bending, centreline
from geometry.tube import stock as sections
from geometry.vectors import Vec3

ID = Qt.ItemDataRole.UserRole
BEST_DIE = 0  # no id is 0: the rack's best
ROW_HEIGHT = 23


class TubePage(Rows):
    """Shows a tube and records what is typed."""

    command_wanted = Signal(str)

    def __init__(self, session: Session, units: Units) -> None:
        super().__init__()
        self._session = session
        self._units = units
        self._id = 0
        self._report: Report | None = None
        self.name = QLineEdit()
        self.name.editingFinished.connect(self._on_name)
        self.field("Tube", self.name, "The tube's name, as it stands on the sheets.")
        self.length = self.number("Length", "Finished centreline, end to end.")
        self.blank = self.number("Blank", "What to saw: the length with both allowances.")
        self.mass = self.number("Mass", "Of the finished tube.")
        self.nearest = self.number("Nearest", "Least clearance from the tube's surface, and to which panel.")
        self.nearest_panel = self.words()
        self.nearest_panel.setAlignment(Qt.AlignmentFlag.AlignRight)
        self.stock = ChoiceBox()
        self.stock.activated.connect(self._on_stock)
        self.field("Stock", self.stock, "What the tube is made of.")
        self.die = ChoiceBox()
        self.die.activated.connect(self._on_die)
        self.field("Die", self.die, "The die that makes all its bends.")
        self.allowances = tuple(LengthField(units, may_be_empty=True) for _ in range(2))
        tip = "Extra length of the blank, cut off at fitting. Empty: the limit's."
        for words, field in zip(("Start allowance", "End allowance"), self.allowances, strict=True):
            field.entered.connect(self._on_allowance)
            field.emptied.connect(self._on_allowance)
            self.field(words, field, tip)
        self._bends_title = self.heading("Bends, from the start end")
        self.bends = _table(("", "Straight", "Turned", "Angle"))
        # The turn's way, cw or ccw, must never be cut off.
        self.bends.horizontalHeader().setSectionResizeMode(2, QHeaderView.ResizeMode.ResizeToContents)
        self.whole(self.bends)
        self.heading("Nodes")
        self.corners = _table(("", "x", "y", "z"))
        self.corners.itemChanged.connect(self._on_corner)
        self.corners.setToolTip("Forward of the front axle, left of the centre plane, above the ground.")
        self.whole(self.corners)
        self.whole(self._buttons())
        self.finish()
        self._filling = False
        session.opened.connect(self._on_opened)

    def _on_opened(self) -> None:
        self._report = None

    def set_units(self, units: Units) -> None:
        self._units = units
        for field in self.allowances:
            field.set_units(units)
        self.refresh()

    def show_report(self, report: Report) -> None:
        self._report = report
        self._show_nearest()

    def show_ids(self, ids: frozenset[int]) -> None:
        if ids != {self._id}:
            self.corners.setCurrentCell(-1, -1)  # the cell that was chosen was another tube's
        (self._id,) = ids
        self.refresh()

    def refresh(self) -> None:
        """Show the layout as it is now."""
        layout = self._session.layout
        tube = layout.tubes.get(self._id)
        if tube is None:
            return
        if not self.name.hasFocus():
            self.name.setText(tube.name)
        self._show_numbers(layout, tube)
        self._show_nearest()
        self.stock.show_choices(stock_choices(layout, self._units), tube.stock)
        self.die.show_choices(
            die_choices(layout, layout.stocks[tube.stock], self._units), tube.die or BEST_DIE
        )
        limit = unit_text.format_length(layout.limits.end_allowance, self._units)
        for field, value in zip(self.allowances, (tube.start_allowance, tube.end_allowance), strict=True):
            field.set_value(value)
            field.setPlaceholderText(limit)
        self._show_bends(layout, tube)
        self._show_corners(layout, tube)

    def _show_numbers(self, layout: Layout, tube: Tube) -> None:
        line = centreline.of(layout, tube)
        self.length.setText(unit_text.format_length(line.length, self._units))
        mass = sections.mass(layout.stocks[tube.stock], line.length)
        self.mass.setText(unit_text.format_mass(mass, self._units))
        try:
            record = schedule.record(layout, tube)
        except GeometryError as error:
            self.blank.setText("—")
            self.blank.setToolTip(error.message)
            return
        self.blank.setText(unit_text.format_length(record.blank, self._units))

    def _show_nearest(self) -> None:
        """How near which panel is, in large; coloured and signed by the band."""
        layout, report = self._session.layout, self._report
        near = report.nearest.get(self._id) if report is not None else None
        if near is None or near.panel not in layout.panels:
            self.nearest.setText("—")
            self.nearest_panel.setText("No panel is near." if report is not None else "")
            set_band(self.nearest, "")
            return
        band = wording_band(near.clearance, layout)
        number = unit_text.format_length(near.clearance, self._units)
        self.nearest.setText(f"{clearance_sign(near.clearance, layout)} {number}")
        panel = wording.one_line(layout.panels[near.panel].name)
        is_in = near.clearance < 0.0
        self.nearest_panel.setText(
            f"cuts into {panel}" if is_in else f"to {panel}, {wording.BAND_WORDS[band]}"
        )
        set_band(self.nearest, band)

    def _show_bends(self, layout: Layout, tube: Tube) -> None:
        points = [layout.nodes[id].position for id in tube.nodes]
        data = bending.bend_data(points, bending.clr_of(layout, tube))
        for part in (self.bends, self._bends_title):
            part.setVisible(bool(data.rows))
        self.bends.setRowCount(len(data.rows))
        for row, bend in enumerate(data.rows):
            straight = unit_text.format_length(bend.straight_before, self._units, unit=False)
            texts = (str(row + 1), straight, turn_words(bend.rotation), unit_text.format_angle(bend.angle))
            for column, text in enumerate(texts):
                _show_cell(self.bends, row, column, text)
        _fit_height(self.bends)

    def _show_corners(self, layout: Layout, tube: Tube) -> None:
        self._filling = True
        self.corners.setRowCount(len(tube.nodes))
        for row, id in enumerate(tube.nodes):
            _show_cell(self.corners, row, 0, node_words(tube, row))
            for column, value in enumerate(layout.nodes[id].position, start=1):
                text = unit_text.format_length(value, self._units, unit=False)
                item = _show_cell(self.corners, row, column, text, editable=True)
                item.setData(ID, id)
        _fit_height(self.corners)
        self._filling = False

    def _buttons(self) -> QWidget:
        row = QWidget()
        line = QHBoxLayout(row)
        line.setContentsMargins(0, 4, 0, 0)
        for words, command, tip in (
            ("Copy to other side", "mirror", "Copy the tube across the centre plane."),
            ("Reverse", "reverse", "Let the tube start at its other end."),
        ):
            button = QPushButton(words)
            button.setToolTip(tip)
            button.setObjectName(command)
            button.clicked.connect(self._on_button)
            line.addWidget(button)
        return row

    def _on_button(self) -> None:
        self.command_wanted.emit(self.sender().objectName())

    def _on_name(self) -> None:
        tube = self._session.layout.tubes.get(self._id)
        wanted = self.name.text().strip()
        if tube is None or wanted == tube.name:
            return
        if not wanted or not self._session.apply(
            f"Rename {tube.name}", lambda now: edits.rename(now, tube.id, wanted)
        ):
            self.name.setText(tube.name)

    def _on_stock(self) -> None:
        id, stock = self._id, self.stock.chosen
        if stock is not None:
            self._session.apply("Change stock", lambda now: edits.set_stock(now, (id,), stock))
        self.refresh()

    def _on_die(self) -> None:
        id, die = self._id, self.die.chosen or None
        self._session.apply("Change die", lambda now: edits.set_die(now, (id,), die))
        self.refresh()

    def _on_allowance(self) -> None:
        id = self._id
        start, end = (field.value for field in self.allowances)
        self._session.apply("Set allowance", lambda now: edits.set_allowances(now, (id,), start, end))
        self.refresh()

    def _on_corner(self, item: QTableWidgetItem) -> None:
        if self._filling:
            return
        node, axis = int(item.data(ID)), item.column() - 1
        try:
            value = unit_text.parse_length(item.text(), self._units)
        except ValueError as error:
            self._session.refused.emit(str(error))
            self.refresh()
            return
        place = with_axis(self._session.layout.nodes[node].position, axis, value)
        if not self._session.apply("Move node", lambda now: edits.place_node(now, node, place)):
            self.refresh()


def with_axis(position: Vec3, axis: int, value: float) -> Vec3:
    """A place with one of its coordinates replaced."""
    x, y, z = (value if axis == place else old for place, old in enumerate(position))
    return (x, y, z)


def turn_words(rotation: float) -> str:
    """How the bend plane turns since the bend before; no sign to misread."""
    if abs(rotation) < math.radians(0.05):
        return "—"
    way = "cw" if rotation > 0 else "ccw"
    return f"{unit_text.format_angle(abs(rotation))} {way}"


def stock_choices(layout: Layout, units: Units) -> list[tuple[int, str]]:
    return [(stock.id, stock.name) for stock in layout.stocks.values()]


def die_choices(layout: Layout, stock: Stock, units: Units) -> list[tuple[int, str]]:
    """The dies for a stock; the first choice is the rack's best."""
    best = bending.best_die(layout, stock)
    words = f"best: {best.name}" if best is not None else "none in the rack"
    fitting = [(die.id, die.name) for die in layout.dies.values() if bending.is_for(die, stock)]
    return [(BEST_DIE, words), *fitting]


def _table(titles: tuple[str, ...]) -> QTableWidget:
    table = QTableWidget(0, len(titles))
    table.setHorizontalHeaderLabels(titles)
    table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
    table.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    table.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    table.setShowGrid(False)
    table.setWordWrap(False)
    table.setTabKeyNavigation(False)  # Tab leaves the table; while typing it goes to the next cell
    table.verticalHeader().hide()
    table.verticalHeader().setDefaultSectionSize(ROW_HEIGHT)
    header = table.horizontalHeader()
    header.setHighlightSections(False)
    header.setMinimumSectionSize(18)
    header.setDefaultAlignment(Qt.AlignmentFlag.AlignRight)
    header.setSectionResizeMode(QHeaderView.ResizeMode.Stretch)
    header.setSectionResizeMode(0, QHeaderView.ResizeMode.ResizeToContents)
    return table


def _show_cell(
    table: QTableWidget, row: int, column: int, text: str, *, editable: bool = False
) -> QTableWidgetItem:
    """Show a text in a cell; the first column holds words, the others numbers."""
    item = table.item(row, column)
    if item is None:
        item = QTableWidgetItem()
        flags = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
        item.setFlags(flags | Qt.ItemFlag.ItemIsEditable if editable else flags)
        side = Qt.AlignmentFlag.AlignRight if column else Qt.AlignmentFlag.AlignLeft
        item.setTextAlignment(side | Qt.AlignmentFlag.AlignVCenter)
        table.setItem(row, column, item)
    if item.text() != text:
        item.setText(text)
    return item


def _fit_height(table: QTableWidget) -> None:
    height = table.horizontalHeader().sizeHint().height() + ROW_HEIGHT * table.rowCount() + 2
    table.setFixedHeight(height)
