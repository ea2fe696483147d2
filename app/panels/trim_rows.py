"""What tyres need of a panel, and the buttons that trim it and make it whole again."""

from collections.abc import Callable, Iterable

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QCheckBox, QPushButton

from app import units as unit_text
from app import wording
from app.panels.fields import LengthField
from app.panels.rows import Rows
from app.session import Session
from app.units import Units
from geometry import edits, trimming
from geometry.checks.findings import Report
from geometry.checks.tyres import Bite
from geometry.layout import LIMITS, Layout, Panel

NO_AXLE = "No axle is there yet: add one (Body menu) to see what its tyres need."
CHECKING = "What tyres need of it is being worked out."


class TrimRows(Rows):
    """The rows of one panel."""

    trim_wanted = Signal(object)  # ids of panels
    line_wanted = Signal(int)  # its cut line, before it is cut
    offcuts_wanted = Signal(bool)
    files_wanted = Signal()

    def __init__(self, session: Session, units: Units) -> None:
        super().__init__()
        self._session = session
        self._units = units
        self._panel = 0
        self._twin: int | None = None
        self._like: tuple[object, object, int, int | None] = (None, None, 0, None)  # the other side's panel
        self._bites: tuple[Bite, ...] | None = None  # None: what is known is of another layout
        self._column.setContentsMargins(0, 0, 0, 0)
        self.heading("Tyres")
        self.need = self.words()
        self.room = LengthField(units)
        self.room.entered.connect(self._on_room)
        self.field("Room", self.room, f"{LIMITS['tyre_margin'].meaning} A limit of the whole job.")
        self.line = self._button("Show the cut line", "Work out where it would be cut; nothing is cut yet.")
        self.line.clicked.connect(self._on_line)
        self.trim = self._button(
            "Trim it for the tyres", "Cut away what the tyres and the room for them need."
        )
        self.trim.clicked.connect(self._on_trim)
        self.both = self._button("", "Cut the panel on the other side too, by its own shape.")
        self.both.clicked.connect(self._on_both)
        self.cut = self.words()
        self.offcuts = QCheckBox("Show what came off")
        self.offcuts.setToolTip("Draw what was cut off panels, see-through; nothing in the job changes.")
        self.offcuts.clicked.connect(self.offcuts_wanted)
        self.whole(self.offcuts)
        self.files = self._button(
            "Write templates…", "Write its sheet and its templates at true size: PDF, SVG, DXF and points."
        )
        self.files.clicked.connect(self._on_files)
        self.back = self._button("Make it whole again", "Take the trim back.")
        self.back.clicked.connect(self._on_back)

    def _button(self, words: str, tip: str) -> QPushButton:
        button = QPushButton(words)
        button.setToolTip(tip)
        self.whole(button)
        return button

    def show_panel(self, layout: Layout, panel: int, units: Units) -> None:
        self._panel, self._units = panel, units
        one = layout.panels[panel]
        bites = self._bites_of(layout, panel)
        if not layout.axles:
            self.need.setText(NO_AXLE)
        elif self._bites is None:
            self.need.setText(CHECKING)
        else:
            self.need.setText(need_words(layout, bites, units))
        self.room.set_value(layout.limits.tyre_margin)
        self._twin = self._twin_of(layout, panel) if bites else None
        for button in (self.line, self.trim):
            button.setEnabled(bool(bites) and one.kept)
        self.both.setVisible(self._twin is not None and one.kept)
        if self._twin is not None:
            name = wording.one_line(layout.panels[self._twin].name)
            self.both.setText(f"Trim {name} as well".replace("&", "&&"))
        for part in (self.cut, self.offcuts, self.files, self.back):
            part.setVisible(one.trim is not None)
        if one.trim is not None:
            self.cut.setText(cut_words(layout, one, units))

    def _bites_of(self, layout: Layout, panel: int) -> list[Bite]:
        return [bite for bite in self._bites or () if bite.panel == panel and bite.axle in layout.axles]

    def _twin_of(self, layout: Layout, panel: int) -> int | None:
        """Return the panel on the other side, where tyres need some of it too."""
        twin = self._like_of(layout, panel)
        if twin is None or not layout.panels[twin].kept or not self._bites_of(layout, twin):
            return None
        return twin

    def _like_of(self, layout: Layout, panel: int) -> int | None:
        """Return the panel's like on the other side; looked for once, not at each report."""
        panels, bodies, known, like = self._like
        if panels is not layout.panels or bodies is not layout.bodies or known != panel:
            like = trimming.twin_of(layout, panel)
            self._like = (layout.panels, layout.bodies, panel, like)
        return like

    def show_report(self, report: Report) -> None:
        """Take what the checks say of tyres and panels, once they are through."""
        self._bites = report.bites if report.is_complete else self._bites
        self._again()

    def forget(self) -> None:
        """What is known is of the layout before."""
        self._bites = None

    def _again(self) -> None:
        if self._panel in self._session.layout.panels:
            self.show_panel(self._session.layout, self._panel, self._units)

    def _on_room(self, room: float) -> None:
        self._apply("Set room for tyres", lambda now: edits.set_limits(now, tyre_margin=room))

    def _on_line(self) -> None:
        self.line_wanted.emit(self._panel)

    def _on_trim(self) -> None:
        self.trim_wanted.emit([self._panel])

    def _on_both(self) -> None:
        self.trim_wanted.emit([self._panel, self._twin])

    def _on_files(self) -> None:
        self.files_wanted.emit()

    def _on_back(self) -> None:
        panel = self._panel
        self._apply("Take the trim back", lambda now: trimming.untrimmed(now, panel))

    def _apply(self, name: str, change: Callable[[Layout], Layout]) -> None:
        if self._session.apply(name, change):
            self.forget()
        self._again()


def need_words(layout: Layout, bites: Iterable[Bite], units: Units) -> str:
    """Say by how much tyres reach into a panel, or lack room to it."""
    margin = layout.limits.tyre_margin
    worst = max(bites, key=lambda bite: bite.depth, default=None)
    room = unit_text.format_length(margin, units)
    if worst is None:
        return f"Every tyre keeps {room} or more from it."
    tyre = f"The {worst.side} tyre of {wording.one_line(layout.axles[worst.axle].name)}"
    if worst.depth > margin:
        return f"{tyre} reaches {unit_text.format_length(worst.depth - margin, units)} into it."
    return f"{tyre} leaves {unit_text.format_length(margin - worst.depth, units)} of the {room} asked for."


def cut_words(layout: Layout, panel: Panel, units: Units) -> str:
    """Say how long the cut is, and what it was laid out for."""
    assert panel.trim is not None
    length = sum(trimming.length_of(line) for line in trimming.lines_of(layout, panel))
    long, room = (unit_text.format_length(value, units) for value in (length, panel.trim.margin))
    return f"Trimmed along {long}, leaving {room} to the tyres as they were then."
