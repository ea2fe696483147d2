"""The whole job, and what the next tube is made of: the page of an empty selection."""

from collections.abc import Iterable

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QCheckBox

from app import units as unit_text
from app.panels.body_pages import size_words
from app.panels.fields import LengthField, TextField
from app.panels.rack_choices import stock_choices
from app.panels.rows import ChoiceBox, Page
from app.session import Session
from app.units import Units
from geometry import edits, symmetry
from geometry.layout import Layout, Side
from geometry.tube import centreline
from geometry.tube import stock as sections

SIDES = ((0, "Left"), (1, "Right"))


class JobPage(Page):
    """The whole job, and what the next tube is made of."""

    stock_chosen = Signal(int)
    step_chosen = Signal(float)

    def __init__(self, session: Session, units: Units) -> None:
        super().__init__(session, units)
        self._sized: tuple[tuple[object, ...], str] | None = None
        self.name = TextField()
        self.name.editingFinished.connect(self._on_name)
        self.field("Job", self.name, "The job's name, as it stands on the sheets.")
        self.tubes = self.number("Tubes", "How many tubes are laid.")
        self.length = self.number("Centreline", "Of all tubes together.")
        self.mass = self.number("Mass", "Of all tubes together.")
        self.size_words = self.words()
        self.heading("New tubes")
        self.stock = ChoiceBox()
        self.stock.activated.connect(self._on_stock)
        self.field("Stock", self.stock, "What the next tube is made of.")
        self.standoff = LengthField(units)
        self.standoff.entered.connect(self._on_standoff)
        self.field("Stand-off", self.standoff, "Gap from tube to metal at which a new node is placed.")
        self.both_sides = QCheckBox("On both sides at once")
        self.both_sides.setToolTip("What is laid appears across the centre plane too, and follows.  (B)")
        self.both_sides.clicked.connect(self._on_both_sides)
        self.whole(self.both_sides)
        self.leads = ChoiceBox()
        self.leads.activated.connect(self._on_leads)
        tip = "The side that the other one follows where both were moved at once. Else what you touch leads."
        self._leads_name = self.field("Leading side", self.leads, tip)
        self.heading("By hand")
        self.step = LengthField(units)
        self.step.entered.connect(self.step_chosen)
        tip = "How far an arrow key moves the selection; with Shift ten times as far."
        self.field("Arrows move by", self.step, tip)
        self.next = self.words()
        self.start_cage = self.command_button(
            "First cage from points…", "start_cage", "Lay a whole cage on the body in one step (Shift+T)."
        )
        self.whole(self.start_cage)
        self.finish()

    @property
    def chosen_stock(self) -> int | None:
        return self.stock.chosen

    def choose_stock(self, id: int) -> None:
        """Make the next tube of this stock."""
        self.stock.show_choices(stock_choices(self._session.layout), id)
        self.stock_chosen.emit(id)

    def refresh(self) -> None:
        layout = self._session.layout
        if not self.name.hasFocus():
            self.name.setText(layout.name)
        self.tubes.setText(str(len(layout.tubes)))
        length, mass = sums(layout, layout.tubes)
        self.length.setText(unit_text.format_length(length, self._units))
        self.mass.setText(unit_text.format_mass(mass, self._units))
        self.size_words.setText(self._body_words(layout))
        self.standoff.set_value(layout.limits.standoff_wanted)
        chosen = self.stock.chosen if self.stock.chosen in layout.stocks else next(iter(layout.stocks), None)
        self.stock.show_choices(stock_choices(layout), chosen)
        self.both_sides.setChecked(layout.both_sides)
        self.leads.show_choices(SIDES, 0 if layout.leads == "left" else 1)
        for part in (self.leads, self._leads_name):
            part.setVisible(layout.both_sides)
        self.next.setText(next_words(layout))
        has_body = any(panel.kept for panel in layout.panels.values())
        self.start_cage.setVisible(has_body and not layout.tubes)

    def _body_words(self, layout: Layout) -> str:
        """How large the body is; worked out again only when it changed, for large scans."""
        key = (layout.panels, layout.bodies, self._units)
        if self._sized is None or any(a is not b for a, b in zip(self._sized[0], key, strict=True)):
            kept = [panel for panel in layout.panels.values() if panel.kept]
            words = f"Body {size_words(layout, kept, self._units)}." if kept else "No body yet."
            self._sized = (key, words)
        return self._sized[1]

    def _on_name(self) -> None:
        wanted = self.name.text().strip()
        if wanted != self._session.layout.name and not (
            wanted and self._session.apply("Rename job", lambda now: edits.rename_job(now, wanted))
        ):
            self.refresh()

    def _on_stock(self) -> None:
        if self.stock.chosen is not None:
            self.stock_chosen.emit(self.stock.chosen)

    def _on_both_sides(self, on: bool) -> None:
        words = "Lay on both sides" if on else "Lay on one side"
        self._session.apply(words, lambda now: symmetry.set_both_sides(now, on))
        self.refresh()

    def _on_leads(self) -> None:
        side: Side = "right" if self.leads.chosen else "left"
        self._session.apply(f"Let the {side} lead", lambda now: symmetry.set_leads(now, side))

    def _on_standoff(self, value: float) -> None:
        self._session.apply("Set stand-off", lambda now: edits.set_limits(now, standoff_wanted=value))
        self.refresh()


def sums(layout: Layout, tubes: Iterable[int]) -> tuple[float, float]:
    """Length and mass of tubes together."""
    length = mass = 0.0
    for id in tubes:
        tube = layout.tubes[id]
        own = centreline.of(layout, tube).length
        length += own
        mass += sections.mass(layout.stocks[tube.stock], own)
    return length, mass


def next_words(layout: Layout) -> str:
    """What could be done next, while the job is young."""
    if not layout.bodies:
        return "Bring in a body first (Ctrl+I), or build one from measurements (Ctrl+B)."
    if not layout.tubes:
        return "Press T and click on the body to lay the first tube, or Shift+T for a whole first cage."
    return "Select a tube, node or panel to see its numbers."
