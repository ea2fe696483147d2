"""What is selected, with its numbers; with nothing selected, the job as a whole."""

from collections.abc import Iterable

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QLineEdit,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from app import units as unit_text
from app import wording
from app.panels.fields import LengthField
from app.panels.node_page import NodePage
from app.panels.rows import ChoiceBox, Rows
from app.panels.tube_page import BEST_DIE, TubePage, die_choices, stock_choices
from app.session import Session
from app.units import Units
from geometry import edits
from geometry.body import placement
from geometry.checks.findings import Report
from geometry.layout import Layout, Panel
from geometry.tube import centreline
from geometry.tube import stock as sections
from geometry.vectors import Vec3

FOLLOW_MS = 40  # between two looks at a drag
THEME_COLOUR = ""
# Quiet tones that stand apart from each other and from the three signs.
PANEL_COLOURS = (
    ("as the body", THEME_COLOUR),
    ("sand", "#c9b99a"),
    ("clay", "#b08d7a"),
    ("moss", "#93a585"),
    ("slate", "#8797a3"),
    ("plum", "#a08ba0"),
    ("chalk", "#e6e3da"),
    ("soot", "#5d6163"),
)


class PropertiesPanel(QScrollArea):
    """Shows the page that suits the selection and keeps it up to date."""

    command_wanted = Signal(str)  # name of a command
    stock_chosen = Signal(int)  # for new tubes

    def __init__(self, session: Session, units: Units, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self.job = JobPage(session, units)
        self.tube = TubePage(session, units)
        self.node = NodePage(session, units)
        self.panel = PanelPage(session, units)
        self.body = BodyPage(session, units)
        self.many = ManyPage(session, units)
        self._page: AnyPage = self.job
        holder = QWidget()
        column = QVBoxLayout(holder)
        column.setContentsMargins(0, 0, 0, 0)
        for page in self._all_pages():
            page.setVisible(page is self._page)
            column.addWidget(page)
        self.setWidget(holder)
        self.setWidgetResizable(True)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        for teller in (self.tube, self.node, self.panel, self.body):
            teller.command_wanted.connect(self.command_wanted)
        self.job.stock_chosen.connect(self.stock_chosen)
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(FOLLOW_MS)
        self._timer.timeout.connect(self._refresh)
        session.changed.connect(self._on_changed)
        session.selection_changed.connect(self._on_selection)
        self._on_selection(session.selection)

    @property
    def page(self) -> "AnyPage":
        """The page that is shown."""
        return self._page

    def set_units(self, units: Units) -> None:
        for page in self._all_pages():
            page.set_units(units)

    def show_report(self, report: Report) -> None:
        self.tube.show_report(report)

    def _all_pages(self) -> tuple["AnyPage", ...]:
        return (self.job, self.tube, self.node, self.panel, self.body, self.many)

    def _on_changed(self, before: Layout, after: Layout) -> None:
        # The hand comes first: while dragging, the numbers follow a few frames behind.
        if not self._session.is_previewing:
            self._refresh()
        elif not self._timer.isActive():
            self._timer.start()

    def _refresh(self) -> None:
        self._timer.stop()
        self._page.refresh()

    def _on_selection(self, selection: frozenset[int]) -> None:
        page = self._page_for(selection)
        page.show_ids(selection)
        if page is not self._page:
            self._page.hide()
            self._page = page
            page.show()
            self.verticalScrollBar().setValue(0)

    def _page_for(self, selection: frozenset[int]) -> "AnyPage":
        layout = self._session.layout
        if not selection:
            return self.job
        if len(selection) > 1:
            return self.many
        (id,) = selection
        if id in layout.tubes:
            return self.tube
        if id in layout.nodes:
            return self.node
        return self.panel if id in layout.panels else self.body


class JobPage(Rows):
    """The whole job, and what the next tube is made of."""

    stock_chosen = Signal(int)

    def __init__(self, session: Session, units: Units) -> None:
        super().__init__()
        self._session = session
        self._units = units
        self._sized: tuple[tuple[object, ...], str] | None = None
        self.name = QLineEdit()
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
        self.next = self.words()
        self.finish()

    @property
    def chosen_stock(self) -> int | None:
        return self.stock.chosen

    def choose_stock(self, id: int) -> None:
        """Make the next tube of this stock."""
        self.stock.show_choices(stock_choices(self._session.layout, self._units), id)
        self.stock_chosen.emit(id)

    def set_units(self, units: Units) -> None:
        self._units = units
        self.standoff.set_units(units)
        self.refresh()

    def show_ids(self, ids: frozenset[int]) -> None:
        self.refresh()

    def refresh(self) -> None:
        """Show the layout as it is now."""
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
        self.stock.show_choices(stock_choices(layout, self._units), chosen)
        self.next.setText(next_words(layout))

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

    def _on_standoff(self, value: float) -> None:
        self._session.apply("Set stand-off", lambda now: edits.set_limits(now, standoff_wanted=value))
        self.refresh()


class PanelPage(Rows):
    """One body panel."""

    command_wanted = Signal(str)

    def __init__(self, session: Session, units: Units) -> None:
        super().__init__()
        self._session = session
        self._units = units
        self._id = 0
        self.name = QLineEdit()
        self.name.editingFinished.connect(self._on_name)
        self.field("Panel", self.name, "The panel's name in lists, findings and on paper.")
        self.size_words = self.words()
        self.kept = QCheckBox("Kept: drawn and checked")
        self.kept.setToolTip("Left out, the panel is neither drawn nor checked.")
        self.kept.clicked.connect(self._on_kept)
        self.whole(self.kept)
        self.shown = QCheckBox("Shown in the view")
        self.shown.setToolTip("Hidden, the panel is checked all the same.")
        self.shown.clicked.connect(self._on_shown)
        self.whole(self.shown)
        self.colour = QComboBox()
        for words, value in PANEL_COLOURS:
            self.colour.addItem(words, value)
        self.colour.activated.connect(self._on_colour)
        self.field("Colour", self.colour, "How the panel is drawn.")
        self.split = QPushButton("Split…")
        self.split.setToolTip("Make a panel of its own of some faces of this one.")
        self.split.clicked.connect(self._on_split)
        self.whole(self.split)
        self.finish()

    def set_units(self, units: Units) -> None:
        self._units = units
        self.refresh()

    def show_ids(self, ids: frozenset[int]) -> None:
        (self._id,) = ids
        self.refresh()

    def refresh(self) -> None:
        """Show the layout as it is now."""
        layout = self._session.layout
        panel = layout.panels.get(self._id)
        if panel is None:
            return
        if not self.name.hasFocus():
            self.name.setText(panel.name)
        count = wording.counted(len(panel.mesh.triangles), "triangle")
        came = f", came as “{panel.source}”" if panel.source and panel.source != panel.name else ""
        words = f"{size_words(layout, [panel], self._units)}; {count}{came}."
        self.size_words.setText(breakable(words))
        self.kept.setChecked(panel.kept)
        self.shown.setChecked(panel.shown)
        self.colour.setCurrentIndex(max(self.colour.findData(panel.colour or THEME_COLOUR), 0))

    def _set(self, words: str, **changes: object) -> None:
        id = self._id
        self._session.apply(words, lambda now: edits.set_panel(now, id, **changes))
        self.refresh()

    def _on_name(self) -> None:
        panel = self._session.layout.panels.get(self._id)
        wanted = self.name.text().strip()
        if panel is not None and wanted and wanted != panel.name:
            self._session.apply(f"Rename {panel.name}", lambda now: edits.rename(now, panel.id, wanted))
        self.refresh()

    def _on_kept(self, kept: bool) -> None:
        self._set("Keep panel" if kept else "Leave panel out", kept=kept)

    def _on_shown(self, shown: bool) -> None:
        self._set("Show panel" if shown else "Hide panel", shown=shown)

    def _on_colour(self) -> None:
        self._set("Colour panel", colour=self.colour.currentData() or None)

    def _on_split(self) -> None:
        self.command_wanted.emit("split_panel")


class BodyPage(Rows):
    """One body: where it came from and how it was read."""

    command_wanted = Signal(str)

    def __init__(self, session: Session, units: Units) -> None:
        super().__init__()
        self._session = session
        self._units = units
        self._id = 0
        self.name = QLineEdit()
        self.name.editingFinished.connect(self._on_name)
        self.field("Body", self.name, "The body's name in the list.")
        self.size_words = self.words("heading")
        self.read_as = self.words()
        self.place = QPushButton("Place it again…")
        self.place.setToolTip("Change unit, up, forward, front axle and which panels are kept.")
        self.place.clicked.connect(self._on_place)
        self.whole(self.place)
        self.measures = QPushButton("Change measurements…")
        self.measures.setToolTip("Change the numbers this body is built from.")
        self.measures.clicked.connect(self._on_measures)
        self.whole(self.measures)
        self.finish()

    def set_units(self, units: Units) -> None:
        self._units = units
        self.refresh()

    def show_ids(self, ids: frozenset[int]) -> None:
        (self._id,) = ids
        self.refresh()

    def refresh(self) -> None:
        """Show the layout as it is now."""
        layout = self._session.layout
        body = layout.bodies.get(self._id)
        if body is None:
            return
        if not self.name.hasFocus():
            self.name.setText(body.name)
        panels = [panel for panel in layout.panels.values() if panel.body == body.id]
        kept = [panel for panel in panels if panel.kept]
        self.size_words.setText(size_words(layout, kept or panels, self._units).capitalize())
        triangles = sum(len(panel.mesh.triangles) for panel in panels)
        counts = f"{wording.counted(len(panels), 'panel')}, {len(kept)} kept; {triangles} triangles"
        if body.measured is not None:
            self.read_as.setText(f"Built from measurements. {counts}.")
        else:
            self.read_as.setText(f"Read as {body.unit}, {body.up} up, {body.forward} forward. {counts}.")
        self.place.setVisible(body.measured is None)
        self.measures.setVisible(body.measured is not None)

    def _on_name(self) -> None:
        body = self._session.layout.bodies.get(self._id)
        wanted = self.name.text().strip()
        if body is not None and wanted and wanted != body.name:
            self._session.apply(f"Rename {body.name}", lambda now: edits.rename(now, body.id, wanted))
        self.refresh()

    def _on_place(self) -> None:
        self.command_wanted.emit("place_body")

    def _on_measures(self) -> None:
        self.command_wanted.emit("change_measurements")


class ManyPage(Rows):
    """Several things: what they have in common can be set for all of them."""

    def __init__(self, session: Session, units: Units) -> None:
        super().__init__()
        self._session = session
        self._units = units
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
        self.finish()

    def set_units(self, units: Units) -> None:
        self._units = units
        for field in (*self.place, *self.shift):
            field.set_units(units)
        self.refresh()

    def show_ids(self, ids: frozenset[int]) -> None:
        self.refresh()

    def refresh(self) -> None:
        """Show the layout as it is now."""
        layout = self._session.layout
        tubes, nodes, panels = self._tubes(), self._nodes(), self._panels()
        bodies = [id for id in self._session.selection if id in layout.bodies]
        counts = (
            (tubes, "tube", "tubes"),
            (nodes, "node", "nodes"),
            (panels, "panel", "panels"),
            (bodies, "body", "bodies"),
        )
        words = [wording.counted(len(things), one, many) for things, one, many in counts if things]
        self.title.setText(wording.listed(words))
        self._show_tubes(layout, tubes)
        self._show_places([layout.nodes[id].position for id in nodes])
        movable = bool(tubes or nodes)
        for part in (self._shift_title, *self.shift):
            part.setVisible(movable)
        self._show_panels([layout.panels[id] for id in panels])

    def _show_tubes(self, layout: Layout, tubes: list[int]) -> None:
        length, mass = sums(layout, tubes)
        self.length.setText(unit_text.format_length(length, self._units))
        self.mass.setText(unit_text.format_mass(mass, self._units))
        stocks = {layout.tubes[id].stock for id in tubes}
        dies = {layout.tubes[id].die or BEST_DIE for id in tubes}
        self.stock.show_choices(stock_choices(layout, self._units), only(stocks))
        stock = layout.stocks.get(only(stocks) or 0)
        if stock is not None:
            self.die.show_choices(die_choices(layout, stock, self._units), only(dies))
        for part in (self.length, self.mass, *self._sum_names, self.stock, self._stock_name):
            part.setVisible(bool(tubes))
        for part in (self.die, self._die_name):
            part.setVisible(stock is not None)

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
        for part in (self._panels_title, self.kept, self.shown):
            part.setVisible(bool(panels))
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
        ids = (*self._tubes(), *self._nodes())
        self._session.apply("Move selection", lambda now: edits.move_nodes(now, ids, (x, y, z)))
        self.shift[axis].set_value(0.0)

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


AnyPage = JobPage | TubePage | NodePage | PanelPage | BodyPage | ManyPage


def only(values: set[int]) -> int | None:
    """The one value of a set; None when there are several or none."""
    return next(iter(values)) if len(values) == 1 else None


def sums(layout: Layout, tubes: Iterable[int]) -> tuple[float, float]:
    """Length and mass of tubes together."""
    length = mass = 0.0
    for id in tubes:
        tube = layout.tubes[id]
        own = centreline.of(layout, tube).length
        length += own
        mass += sections.mass(layout.stocks[tube.stock], own)
    return length, mass


def size_words(layout: Layout, panels: Iterable[Panel], units: Units) -> str:
    """How long and wide panels are together, and how high their top stands."""
    corners = [(points.min(axis=0), points.max(axis=0)) for points in _points(layout, panels) if len(points)]
    if not corners:
        return "empty"
    low = [min(float(lowest[axis]) for lowest, _ in corners) for axis in range(3)]
    high = [max(float(highest[axis]) for _, highest in corners) for axis in range(3)]
    sizes = (high[0] - low[0], high[1] - low[1], high[2])
    long, wide, top = (unit_text.format_length(size, units) for size in sizes)
    return f"{long} long, {wide} wide, top {top} above the ground"


def _points(layout: Layout, panels: Iterable[Panel]):  # type: ignore[no-untyped-def]
    return (placement.panel_vertices(layout, panel) for panel in panels)


def breakable(text: str) -> str:
    """Let long names of objects break where their parts meet."""
    for sign in "_-":
        text = text.replace(sign, f"{sign}\u200b")
    return text


def next_words(layout: Layout) -> str:
    """What could be done next, while the job is young."""
    if not layout.bodies:
        return "Bring in a body first (Ctrl+I), or build one from measurements (Ctrl+B)."
    if not layout.tubes:
        return "Press T and click on the body to lay the first tube."
    return "Select a tube, node or panel to see its numbers."
