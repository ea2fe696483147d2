"""One selected tube: its numbers, what it is made of, how it is bent and cut, its corners."""

import math

from PySide6.QtCore import Qt, QTimer
from PySide6.QtWidgets import (
    QCheckBox,
    QGridLayout,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QTableWidgetItem,
    QWidget,
)

from app import calibration_words, wording
from app import units as unit_text
from app.panels import bend_rows
from app.panels.fields import LengthField
from app.panels.fixing_rows import FixingRows
from app.panels.number_table import fit_height, number_table, show_cell
from app.panels.outline import node_words
from app.panels.rack_choices import BEST_DIE, die_choices, stock_choices
from app.panels.rows import ChoiceBox, NamedPage, set_band
from app.panels.schedule import nearest_sign
from app.session import Session
from app.units import Units
from geometry import edits
from geometry.checks import standoff
from geometry.checks.findings import Report
from geometry.layout import BendFrom, Cut, Layout, Tube
from geometry.shop import schedule
from geometry.shop.schedule import TubeRecord
from geometry.tube import bending, centreline, springback
from geometry.tube import stock as sections
from geometry.tube.plan import Plan, Step
from geometry.vectors import Vec3

ID = Qt.ItemDataRole.UserRole
CUTS: tuple[tuple[Cut, str], ...] = (("after", "after bending"), ("before", "before bending"))
BEGINNINGS: tuple[tuple[BendFrom, str], ...] = (
    ("best", "best"),
    ("start", "the start"),
    ("end", "the end"),
    ("middle", "the middle"),
)
REST_MS = 150  # without a move, until the hand is said to rest
TURNED = 2  # a column of the bends


class TubePage(NamedPage):
    """Shows a tube and records what is typed."""

    def __init__(self, session: Session, units: Units) -> None:
        super().__init__(session, units, "Tube", "The tube's name, as it stands on the sheets.")
        self._report: Report | None = None
        self._filling = False
        self._planned = (0, 0)  # the tube whose plan is shown, and how many bends it had
        self._order: bend_rows.Order = ()
        self._steps: tuple[Step, ...] = ()
        self._rest = QTimer(self, singleShot=True, interval=REST_MS)
        self._rest.timeout.connect(self._on_rest)
        self._make_numbers()
        self._make_choices()
        self._make_bends()
        self.heading("Ends")
        self.whole(self._make_ends())
        self.fixing = FixingRows(session, units)
        self.whole(self.fixing)
        self.heading("Nodes")
        self.corners = number_table(("", "x", "y", "z"))
        self.corners.itemChanged.connect(self._on_corner)
        self.corners.setToolTip(
            "Forward of the front axle, left of the centre plane, above the level the body stood on."
        )
        self.whole(self.corners)
        self.locked = QCheckBox("Locked: not moved by hand")
        self.locked.clicked.connect(self._on_locked)
        self.whole(self.locked)
        self.side = self.words()
        self.whole(self._buttons())
        self.finish()
        session.opened.connect(self._on_opened)

    # What there is

    def _make_numbers(self) -> None:
        self.length = self.number("Length", "Finished centreline, end to end.")
        self.blank = self.number(
            "Blank", "What to saw: the length with both allowances, less what bending stretches."
        )
        self.blank_parts = self.words()
        self.blank_parts.setAlignment(Qt.AlignmentFlag.AlignRight)
        self.mass = self.number("Mass", "Of the finished tube.")
        self.nearest = self.number("Nearest", "Least clearance from the tube's surface, and to which panel.")
        self.nearest_panel = self.words()
        self.nearest_panel.setAlignment(Qt.AlignmentFlag.AlignRight)

    def _make_choices(self) -> None:
        self.stock = ChoiceBox()
        self.stock.activated.connect(self._on_stock)
        self.field("Stock", self.stock, "What the tube is made of.")
        self.die = ChoiceBox()
        self.die.activated.connect(self._on_die)
        self.field("Die", self.die, "The die that makes all its bends.")
        self.trials = self.command_button("", "trial_bends", "")
        tip = "What is known of how this die bends this stock."
        self._trials_name = self.field("Trial bends", self.trials, tip)

    def _make_bends(self) -> None:
        self._bends_title = self.heading("Bends, in the order of bending")
        self.bends = number_table(("", "Straight", "Turned", "Angle"))
        self.bends.setToolTip("The straight ahead of each bend, and the turn from the bend made next to it.")
        # The turn's way, cw or ccw, must never be cut off.
        self.bends.horizontalHeader().setSectionResizeMode(TURNED, QHeaderView.ResizeMode.ResizeToContents)
        self.whole(self.bends)
        self.order = self.words()
        self.bend_from = ChoiceBox()
        self.bend_from.activated.connect(self._on_bend_from)
        tip = "The end that is ahead of the die at the first bend. The best one lets the die hold the tube."
        self._bend_from_name = self.field("Begins at", self.bend_from, tip)
        self.wall = QLabel()
        self.wall.setProperty("kind", "faint")
        self.wall.setAlignment(Qt.AlignmentFlag.AlignRight)
        self._wall_name = self.field("Outer wall", self.wall)
        self._bend_parts = (
            self._bends_title,
            self.bends,
            self.order,
            self.bend_from,
            self._bend_from_name,
            self.wall,
            self._wall_name,
            self.trials,
            self._trials_name,
        )

    def _make_ends(self) -> QWidget:
        """A row an end, so that what belongs together stands together."""
        holder = QWidget()
        grid = QGridLayout(holder)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setHorizontalSpacing(8)
        grid.setVerticalSpacing(5)
        grid.setColumnStretch(1, 4)
        grid.setColumnStretch(2, 5)
        for column, title in ((1, "Allowance"), (2, "Cut to fit")):
            label = QLabel(title)
            label.setProperty("kind", "faint")
            grid.addWidget(label, 0, column)
        self.allowances = tuple(LengthField(self._units, may_be_empty=True) for _ in range(2))
        self.cuts = tuple(ChoiceBox() for _ in range(2))
        for row, (end, allowance, cut) in enumerate(
            zip(("Start", "End"), self.allowances, self.cuts, strict=True), start=1
        ):
            allowance.entered.connect(self._on_allowance)
            allowance.emptied.connect(self._on_allowance)
            allowance.setAccessibleName(f"{end} allowance")
            allowance.setToolTip("Extra length of the blank, cut off at fitting. Empty: as the limits say.")
            cut.activated.connect(self._on_cut)
            cut.setAccessibleName(f"{end} cut to fit")
            cut.setToolTip("Before bending: no allowance is left to cut. After it: at a trim line.")
            name = QLabel(end)
            name.setBuddy(allowance)
            for column, part in enumerate((name, allowance, cut)):
                grid.addWidget(part, row, column)
        return holder

    def _buttons(self) -> QWidget:
        row = QWidget()
        line = QHBoxLayout(row)
        line.setContentsMargins(0, 4, 0, 0)
        self.pair = self.command_button(
            "Pair with other side", "mirror", "Make its twin across the centre plane."
        )
        tip = "Let this tube and its twin each go their own way."
        self.release = self.command_button("Let the sides differ", "release_twins", tip)
        reverse = self.command_button("Reverse", "reverse", "Let the tube start at its other end.")
        for button in (self.pair, self.release, reverse):
            line.addWidget(button)
        return row

    def _show_side(self, layout: Layout, tube: Tube) -> None:
        twin = layout.tubes.get(tube.twin or 0)
        self.pair.setVisible(twin is None)
        self.release.setVisible(twin is not None)
        if twin is None:
            self.side.setText("Follows no other side.")
        elif twin is tube:
            self.side.setText("Its own mirror image: each half follows the other.")
        else:
            self.side.setText(f"Twin of {twin.name}: each follows the other.")

    def _on_locked(self, on: bool) -> None:
        id = self._id
        self._session.apply("Lock" if on else "Unlock", lambda now: edits.set_tubes(now, (id,), locked=on))

    # What is shown

    def _on_opened(self) -> None:
        self._report = None

    def show_report(self, report: Report) -> None:
        self._report = report
        self._show_nearest()

    def show_ids(self, ids: frozenset[int]) -> None:
        if ids != self._ids:
            self.corners.setCurrentCell(-1, -1)  # the cell that was chosen was another tube's
        super().show_ids(ids)

    def refresh(self) -> None:
        layout = self._session.layout
        tube = layout.tubes.get(self._id)
        if tube is None:
            return
        self._show_name()
        self._show_nearest()
        self.stock.show_choices(stock_choices(layout), tube.stock)
        self.die.show_choices(die_choices(layout, layout.stocks[tube.stock]), tube.die or BEST_DIE)
        self._show_numbers(layout, tube)
        self._show_bends(layout, tube)
        self.fixing.show_tubes(layout, (tube.id,), self._units)
        self._show_corners(layout, tube)
        self._show_side(layout, tube)
        self.locked.setChecked(tube.locked)

    def _show_numbers(self, layout: Layout, tube: Tube) -> None:
        line = centreline.of(layout, tube)
        self.length.setText(unit_text.format_length(line.length, self._units))
        mass = sections.mass(layout.stocks[tube.stock], line.length)
        self.mass.setText(unit_text.format_mass(mass, self._units))
        # To look for the best order of bending takes too long under the hand: its numbers are pale until
        # the hand rests.
        is_known = self._planned == (tube.id, len(line.bends))
        is_late = self._session.is_previewing and is_known
        for label in (self.blank, self.blank_parts):
            label.setEnabled(not is_late)
        if is_late:
            self._rest.start()
        else:
            self._show_plan()

    def _show_plan(self) -> None:
        """Show what follows from how the tube is bent."""
        self._rest.stop()
        layout = self._session.layout
        tube = layout.tubes.get(self._id)
        if tube is None:
            return
        record = schedule.record(layout, tube)
        self._planned = (tube.id, len(record.bends))
        self._order = bend_rows.order_of(record.plan, len(record.bends))
        self._steps = record.plan.steps
        for label in (self.blank, self.blank_parts):
            label.setEnabled(True)
        self.blank.setText(wording.blank_text(record, layout, self._units))
        self.blank_parts.setText(wording.blank_words(record, self._units))
        self._show_order(tube, record)
        self._show_ends(tube, record)

    def _on_rest(self) -> None:
        self._show_plan()
        tube = self._session.layout.tubes.get(self._id)
        if tube is not None:
            self._show_bends(self._session.layout, tube)

    def _show_nearest(self) -> None:
        """How near which panel is, in large; coloured and signed by the band."""
        layout, report = self._session.layout, self._report
        near = report.nearest.get(self._id) if report is not None else None
        self.fixing.welds.nearest = near.panel if near is not None else None
        is_known = near is not None and near.panel in layout.panels and near.tube in layout.tubes
        if report is None or near is None or not is_known:
            self.nearest.setText("—")
            self.nearest_panel.setText("No panel is near." if report is not None else "")
            set_band(self.nearest, "")
            return
        band = standoff.bands(layout, report).get(self._id, "fine")
        number = unit_text.format_length(near.clearance, self._units)
        self.nearest.setText(f"{nearest_sign(near.clearance, band)} {number}")
        self.nearest_panel.setText(wording.nearest_words(layout, report, near, band, self._units))
        set_band(self.nearest, band)

    def _show_order(self, tube: Tube, record: TubeRecord) -> None:
        """Show from which end the bends are made, and what is known of the die."""
        plan = record.plan
        for part in self._bend_parts:
            part.setVisible(bool(record.bends))
        self.order.setVisible(bool(record.bends) and len(wording.bending_runs(plan)) != 1)
        self.order.setText(wording.order_words(plan))
        self.trials.setText(wording.trials_state(plan.calibration))
        state = calibration_words.state_sentence(plan.calibration, record.stock)
        self.trials.setToolTip(f"{state} Opens the page where trial bends are entered.")
        self._show_beginning(tube, plan)
        if record.bends:
            self._show_wall(record)

    def _show_bends(self, layout: Layout, tube: Tube) -> None:
        points = [layout.nodes[id].position for id in tube.nodes]
        data = bending.bend_data(points, bending.clr_of(layout, tube))
        rows = bend_rows.in_order(data, self._order)
        steps = self._steps or (None,) * len(rows)
        self.bends.setRowCount(len(rows))
        for place, (row, step) in enumerate(zip(rows, steps, strict=True)):
            texts = (
                str(row.number),
                unit_text.format_length(row.straight, self._units, unit=False),
                turn_words(row.rotation),
                unit_text.format_angle(row.angle),
            )
            for column, text in enumerate(texts):
                show_cell(self.bends, place, column, text).setToolTip(step_tip(step, self._units))
        fit_height(self.bends)

    def _show_beginning(self, tube: Tube, plan: Plan) -> None:
        """Offer the ends to begin at; the best one says which it is."""
        runs = wording.bending_runs(plan)
        best = "" if not runs or tube.bend_from != "best" else f": the {'middle' if runs[1:] else runs[0][0]}"
        choices = [
            (place, words + best if name == "best" else words)
            for place, (name, words) in enumerate(BEGINNINGS)
        ]
        self.bend_from.show_choices(choices, [name for name, _ in BEGINNINGS].index(tube.bend_from))

    def _show_wall(self, record: TubeRecord) -> None:
        """Show what bending leaves of the outer wall: an estimate, and said to be one."""
        stock, clr = record.stock, record.bends[0].clr
        left = unit_text.format_size(springback.wall_left(stock, clr), self._units)
        lost = unit_text.trimmed_decimal(100.0 * springback.thinning(stock.od, clr), 0)
        self.wall.setText(f"≈ {left}, estimate")
        self.wall.setToolTip(
            f"At the outside of the bends, {lost} % thinner; if nothing comes round from the sides."
        )

    def _show_ends(self, tube: Tube, record: TubeRecord) -> None:
        choices = [(place, words) for place, (_, words) in enumerate(CUTS)]
        for field, asked, sawn, cut in zip(
            self.allowances,
            (tube.start_allowance, tube.end_allowance),
            (record.start_allowance, record.end_allowance),
            (tube.start_cut, tube.end_cut),
            strict=True,
        ):
            field.setEnabled(cut == "after")  # an end that is cut before bending has none
            field.set_value(asked if cut == "after" else None)
            field.setPlaceholderText(unit_text.format_length(sawn, self._units))
        for box, cut in zip(self.cuts, (tube.start_cut, tube.end_cut), strict=True):
            box.show_choices(choices, [name for name, _ in CUTS].index(cut))

    def _show_corners(self, layout: Layout, tube: Tube) -> None:
        self._filling = True
        self.corners.setRowCount(len(tube.nodes))
        for row, id in enumerate(tube.nodes):
            show_cell(self.corners, row, 0, node_words(tube, row))
            for column, value in enumerate(layout.nodes[id].position, start=1):
                text = unit_text.format_length(value, self._units, unit=False)
                item = show_cell(self.corners, row, column, text, editable=True)
                item.setData(ID, id)
        fit_height(self.corners)
        self._filling = False

    # What is typed

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
        tube = self._session.layout.tubes.get(id)
        if tube is None:  # deleted while its number was typed
            return
        known = (tube.start_allowance, tube.end_allowance)
        start, end = (
            field.value if field.isEnabled() else asked
            for field, asked in zip(self.allowances, known, strict=True)
        )
        self._session.apply("Set allowance", lambda now: edits.set_allowances(now, (id,), start, end))
        self.refresh()

    def _on_cut(self) -> None:
        id = self._id
        start, end = (CUTS[box.chosen or 0][0] for box in self.cuts)
        self._session.apply("Set cuts", lambda now: edits.set_cuts(now, (id,), start, end))
        self.refresh()

    def _on_bend_from(self) -> None:
        id, bend_from = self._id, BEGINNINGS[self.bend_from.chosen or 0][0]
        self._session.apply(
            "Set where bending begins", lambda now: edits.set_bend_from(now, (id,), bend_from)
        )
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
        if node not in self._session.layout.nodes:
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


def step_tip(step: Step | None, units: Units) -> str:
    """The mark and the dials of one bend."""
    if step is None:
        return ""
    mark = unit_text.format_length(step.mark, units)
    return (
        f"Mark {mark} from the sawn start end; rotation dial {unit_text.format_angle(step.dial)}, "
        f"bend to {unit_text.format_angle(step.set_angle)}."
    )
