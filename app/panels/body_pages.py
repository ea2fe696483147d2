"""One selected panel or body: its name, its size, and whether it is drawn and checked."""

import re
from collections.abc import Iterable

from PySide6.QtWidgets import QCheckBox, QComboBox

from app import units as unit_text
from app import wording
from app.panels.fixing_rows import StandOffFields
from app.panels.motion_rows import MotionRows
from app.panels.rows import NamedPage
from app.panels.trim_rows import TrimRows
from app.session import Session
from app.units import Units
from geometry import edits
from geometry.body import placement
from geometry.checks.findings import Report
from geometry.layout import Layout, Panel

SPLIT_MARK = re.compile(r"(#\d+)+$")  # tells what was split off from the whole that the file names
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


class PanelPage(NamedPage):
    """One body panel."""

    def __init__(self, session: Session, units: Units) -> None:
        super().__init__(session, units, "Panel", "The panel's name in lists, findings and on paper.")
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
        self.standoff = StandOffFields(session, units, "tube")
        self.field("Stand-off", self.standoff)
        self.motion = MotionRows(session, units)
        self.whole(self.motion)
        self.trim = TrimRows(session, units)
        self.trim.files_wanted.connect(self._on_files_wanted)
        self.whole(self.trim)
        tip = "Make a panel of its own of some faces of this one."
        self.split = self.command_button("Split…", "split_panel", tip)
        self.whole(self.split)
        self.finish()

    def refresh(self) -> None:
        layout = self._session.layout
        panel = layout.panels.get(self._id)
        if panel is None:
            return
        self._show_name()
        count = wording.counted(len(panel.mesh.triangles), "triangle")
        source = SPLIT_MARK.sub("", panel.source)
        came = f", came as “{source}”" if source and source != panel.name else ""
        words = f"{size_words(layout, [panel], self._units)}; {count}{came}."
        self.size_words.setText(breakable(words))
        self.kept.setChecked(panel.kept)
        self.shown.setChecked(panel.shown)
        self.colour.setCurrentIndex(max(self.colour.findData(panel.colour or THEME_COLOUR), 0))
        self.standoff.show_things(layout.limits, [panel], self._units)
        self.motion.show_panel(layout, panel.id, self._units)
        self.trim.show_panel(layout, panel.id, self._units)

    def show_report(self, report: Report) -> None:
        if report.is_complete:
            self.motion.show_touches(report.touches)
            self.trim.show_report(report)

    def _on_files_wanted(self) -> None:
        self.command_wanted.emit("write_cuts")

    def _set(self, words: str, **changes: object) -> None:
        id = self._id
        self._session.apply(words, lambda now: edits.set_panel(now, id, **changes))
        self.refresh()

    def _on_kept(self, kept: bool) -> None:
        self._set("Keep panel" if kept else "Leave panel out", kept=kept)

    def _on_shown(self, shown: bool) -> None:
        self._set("Show panel" if shown else "Hide panel", shown=shown)

    def _on_colour(self) -> None:
        self._set("Colour panel", colour=self.colour.currentData() or None)


class BodyPage(NamedPage):
    """One body: where it came from and how it was read."""

    def __init__(self, session: Session, units: Units) -> None:
        super().__init__(session, units, "Body", "The body's name in the list.")
        self.size_words = self.words("heading")
        self.read_as = self.words()
        tip = "Change unit, up, forward, front axle and which panels are kept."
        self.place = self.command_button("Place it again…", "place_body", tip)
        self.whole(self.place)
        tip = "Change the numbers this body is built from."
        self.measures = self.command_button("Change measurements…", "change_measurements", tip)
        self.whole(self.measures)
        self.finish()

    def refresh(self) -> None:
        layout = self._session.layout
        body = layout.bodies.get(self._id)
        if body is None:
            return
        self._show_name()
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
