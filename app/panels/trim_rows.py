"""What tyres need of a panel, and the buttons that trim it and make it whole again."""

from collections.abc import Callable, Iterable

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QPushButton

from app import units as unit_text
from app import wording
from app.panels.rows import Rows
from app.session import Session
from app.units import Units
from geometry import trimming
from geometry.checks.findings import Report
from geometry.checks.tyres import Bite
from geometry.layout import Layout, Panel

NO_AXLE = "No axle is there yet: add one (Body menu) to see what its tyres need."
CHECKING = "What tyres need of it is being worked out."


class TrimRows(Rows):
    """The rows of one panel."""

    trim_wanted = Signal(int)

    def __init__(self, session: Session, units: Units) -> None:
        super().__init__()
        self._session = session
        self._units = units
        self._panel = 0
        self._bites: tuple[Bite, ...] | None = None  # None: what is known is of another layout
        self._column.setContentsMargins(0, 0, 0, 0)
        self.heading("Tyres")
        self.need = self.words()
        self.trim = self._button(
            "Trim it for the tyres", "Cut away what the tyres and the room for them need."
        )
        self.trim.clicked.connect(self._on_trim)
        self.back = self._button("Make it whole again", "Take the trim back.")
        self.back.clicked.connect(self._on_back)
        self.cut = self.words()

    def _button(self, words: str, tip: str) -> QPushButton:
        button = QPushButton(words)
        button.setToolTip(tip)
        self.whole(button)
        return button

    def show_panel(self, layout: Layout, panel: int, units: Units) -> None:
        self._panel, self._units = panel, units
        one = layout.panels[panel]
        bites = [bite for bite in self._bites or () if bite.panel == panel and bite.axle in layout.axles]
        if not layout.axles:
            self.need.setText(NO_AXLE)
        elif self._bites is None:
            self.need.setText(CHECKING)
        else:
            self.need.setText(need_words(layout, bites, units))
        self.trim.setEnabled(bool(bites) and one.kept)
        self.back.setVisible(one.trim is not None)
        self.cut.setVisible(one.trim is not None)
        if one.trim is not None:
            self.cut.setText(cut_words(layout, one, units))

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

    def _on_trim(self) -> None:
        self.trim_wanted.emit(self._panel)

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
    return (
        f"Trimmed along {long}, leaving {room} to the tyres as they were then. The packet holds its sheet "
        "and its templates."
    )
