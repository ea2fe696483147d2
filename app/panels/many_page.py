"""Several selected things: what they have in common can be set for all of them."""

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QCheckBox

from app import units as unit_text
from app import wording
from app.panels.fields import LengthField
from app.panels.fixing_rows import FixingRows, StandOffFields
from app.panels.job_page import sums
from app.panels.rack_choices import BEST_DIE, die_choices, stock_choices
from app.panels.rows import ChoiceBox, Page
from app.session import Session
from app.units import Units
from geometry import edits, zoning
from geometry.layout import Layout, Panel
from geometry.vectors import Vec3


class ManyPage(Page):
    """Several things: what they have in common can be set for all of them."""

    def __init__(self, session: Session, units: Units) -> None:
        super().__init__(session, units)
        self.title = self.words("heading")
        self.length = self.number("Centreline", "Of the selected tubes together.")
        self.mass = self.number("Mass", "Of the selected tubes together.")
        self._sum_names = [self.label_of(part) for part in (self.length, self.mass)]
        self.stock = ChoiceBox()
        self.stock.activated.connect(self._on_stock)
        self._stock_name = self.field("Stock", self.stock, "For all selected tubes.")
        self.die = ChoiceBox()
        self.die.activated.connect(self._on_die)
        self._die_name = self.field("Die", self.die, "For all selected tubes; they must have one OD.")
        self.fixing = FixingRows(session, units)
        self.whole(self.fixing)
        self._places_title = self.heading("Nodes: set for all")
        self.place = tuple(LengthField(units) for _ in "xyz")
        self._place_names = [
            self.field(name, field, "Brings all of them to this place.")
            for name, field in zip("xyz", self.place, strict=True)
        ]
        self._shift_title = self.heading("Move by")
        self.shift = tuple(LengthField(units) for _ in "xyz")
        tips = ("Forward; negative: back.", "Left; negative: right.", "Up; negative: down.")
        for axis, (field, name, tip) in enumerate(
            zip(self.shift, ("Forward", "Left", "Up"), tips, strict=True)
        ):
            field.setProperty("axis", axis)
            field.entered.connect(self._on_shift)
            self.field(name, field, tip)
            field.set_value(0.0)
        for axis, field in enumerate(self.place):
            field.setProperty("axis", axis)
            field.entered.connect(self._on_place)
        self._panels_title = self.heading("Panels")
        self.kept = QCheckBox("Kept: drawn and checked")
        self.shown = QCheckBox("Shown in the view")
        self.kept.clicked.connect(self._on_kept)
        self.shown.clicked.connect(self._on_shown)
        self.whole(self.kept)
        self.whole(self.shown)
        self.standoff = StandOffFields(session, units, "tube")
        self._standoff_name = self.field("Stand-off", self.standoff)
        self.finish()

    def refresh(self) -> None:
        layout = self._session.layout
        tubes, nodes, panels = self._tubes(), self._nodes(), self._panels()
        self.title.setText(wording.things(layout, self._session.selection))
        self._show_tubes(layout, tubes)
        self._show_places([layout.nodes[id].position for id in nodes])
        movable = bool(tubes or nodes or self._aids())
        for part in (self._shift_title, *self.shift, *(self.label_of(field) for field in self.shift)):
            part.setVisible(movable)
        self._show_panels([layout.panels[id] for id in panels])

    def _show_tubes(self, layout: Layout, tubes: list[int]) -> None:
        length, mass = sums(layout, tubes)
        self.length.setText(unit_text.format_length(length, self._units))
        self.mass.setText(unit_text.format_mass(mass, self._units))
        stocks = {layout.tubes[id].stock for id in tubes}
        dies = {layout.tubes[id].die or BEST_DIE for id in tubes}
        self.stock.show_choices(stock_choices(layout), only(stocks))
        stock = layout.stocks.get(only(stocks) or 0)
        if stock is not None:
            self.die.show_choices(die_choices(layout, stock), only(dies))
        for part in (self.length, self.mass, *self._sum_names, self.stock, self._stock_name):
            part.setVisible(bool(tubes))
        for part in (self.die, self._die_name):
            part.setVisible(stock is not None)
        self.fixing.setVisible(bool(tubes))
        self.fixing.show_tubes(layout, tubes, self._units)

    def _show_places(self, places: list[Vec3]) -> None:
        for part in (self._places_title, *self.place, *self._place_names):
            part.setVisible(len(places) > 1)
        for axis, field in enumerate(self.place):
            values = {place[axis] for place in places}
            if len(values) == 1:
                field.set_value(values.pop())
            else:
                field.set_several()

    def _show_panels(self, panels: list[Panel]) -> None:
        for part in (self._panels_title, self.kept, self.shown, self.standoff, self._standoff_name):
            part.setVisible(bool(panels))
        self.standoff.show_things(self._session.layout.limits, panels, self._units)
        for box, states in (
            (self.kept, {panel.kept for panel in panels}),
            (self.shown, {panel.shown for panel in panels}),
        ):
            state = {True: Qt.CheckState.Checked, False: Qt.CheckState.Unchecked}
            box.setCheckState(state[states.pop()] if len(states) == 1 else Qt.CheckState.PartiallyChecked)

    def _tubes(self) -> list[int]:
        return [id for id in self._session.layout.tubes if id in self._session.selection]

    def _nodes(self) -> list[int]:
        return [id for id in self._session.layout.nodes if id in self._session.selection]

    def _panels(self) -> list[int]:
        return [id for id in self._session.layout.panels if id in self._session.selection]

    def _on_stock(self) -> None:
        tubes, stock = self._tubes(), self.stock.chosen
        if stock is not None:
            self._session.apply("Change stock", lambda now: edits.set_stock(now, tubes, stock))
        self.refresh()

    def _on_die(self) -> None:
        tubes, die = self._tubes(), self.die.chosen or None
        self._session.apply("Change die", lambda now: edits.set_die(now, tubes, die))
        self.refresh()

    def _on_place(self, value: float) -> None:
        axis, nodes = int(self.sender().property("axis")), self._nodes()

        def aligned(layout: Layout) -> Layout:
            for id in nodes:
                x, y, z = (value if axis == n else old for n, old in enumerate(layout.nodes[id].position))
                layout = edits.place_node(layout, id, (x, y, z))
            return layout

        self._session.apply("Align nodes", aligned)
        self.refresh()

    def _on_shift(self, value: float) -> None:
        axis = int(self.sender().property("axis"))
        x, y, z = (value if axis == n else 0.0 for n in range(3))
        ids, aids, shift = (*self._tubes(), *self._nodes()), self._aids(), (x, y, z)
        self._session.apply(
            "Move selection", lambda now: zoning.move_aids(edits.move_nodes(now, ids, shift), aids, shift)
        )
        self.shift[axis].set_value(0.0)

    def _aids(self) -> list[int]:
        """The selected references and access zones."""
        layout = self._session.layout
        return [id for id in self._ids if id in layout.references or id in layout.zones]

    def _on_kept(self) -> None:
        self._set_panels("Keep or leave out panels", kept=self.kept.checkState() == Qt.CheckState.Checked)

    def _on_shown(self) -> None:
        self._set_panels("Show or hide panels", shown=self.shown.checkState() == Qt.CheckState.Checked)

    def _set_panels(self, words: str, **changes: object) -> None:
        panels = self._panels()

        def all_set(layout: Layout) -> Layout:
            for id in panels:
                layout = edits.set_panel(layout, id, **changes)
            return layout

        self._session.apply(words, all_set)
        self.refresh()


def only(values: set[int]) -> int | None:
    """The one value of a set; None when there are several or none."""
    return next(iter(values)) if len(values) == 1 else None
