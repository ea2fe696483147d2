"""A tube along the body while it is laid: how many bends, how close, and which angles the shop likes."""

import math

from PySide6.QtCore import QSignalBlocker, Qt, Signal
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QLabel, QPushButton, QSlider, QWidget

from app import units as unit_text
from app import wording
from app.panels.fields import TextField
from app.panels.rows import Page
from app.session import Session
from app.units import Units
from geometry.laying.wish import Angles, Proposal

LISTED = "listed"
CHOICES: tuple[tuple[str, str], ...] = (
    ("Any angle", ""),
    ("Multiples of 5°", "5"),
    ("Multiples of 10°", "10"),
    ("Multiples of 15°", "15"),
    ("Only those listed", LISTED),
)
FIRST_LIST = "30, 45, 60, 90"
NO_LIST = "Write angles in degrees with commas between them, as 30, 45, 90."


class FollowPage(Page):
    """Shown while the tool is in the hand; the numbers are those of the tube that the view shows."""

    chosen = Signal(int)  # number of a proposal
    angles_chosen = Signal(object, str)  # Angles, and the words for them that are kept
    lay_wanted = Signal()
    anew_wanted = Signal()

    def __init__(self, session: Session, units: Units) -> None:
        super().__init__(session, units)
        self._proposals: tuple[Proposal, ...] = ()
        self._chosen = 0
        self.heading("Along the body")
        self.state = self.words("plain")
        self._make_slider()
        self.bends = self.number("Bends")
        self.angles_made = self.number("Angles", "The bends from the start of the tube on.")
        self.gap = self.number("Gap", "Clearance along the tube, from the closest to the farthest.")
        self.mean = self.number("On average")
        self.outside = self.number("Too far for", "Length of tube that stands off farther than wanted.")
        self.aside = self.number("Misses by", "How far the tube passes from the place it misses most.")
        self.heading("Angles the shop likes")
        self.angles = QComboBox()
        for words, key in CHOICES:
            self.angles.addItem(words, key)
        self.field("Bend to", self.angles, "Only such angles are proposed.")
        self.listed = TextField()
        self._listed_name = self.field("Degrees", self.listed, NO_LIST)
        self.trouble = self.words("bad")
        self.lay = QPushButton("Lay it")
        self.lay.setToolTip("Record the tube that is shown.  (Enter)")
        self.anew = QPushButton("Start anew")
        self.anew.setToolTip("Forget the places.  (Escape)")
        for button, wanted in ((self.lay, self.lay_wanted), (self.anew, self.anew_wanted)):
            button.clicked.connect(wanted)
            self.whole(button)
        self.slider.valueChanged.connect(self.chosen)
        self.angles.activated.connect(self._on_angles)
        self.listed.editingFinished.connect(self._on_angles)
        self.finish()
        self.show_laying(0, False, "", (), 0, "")

    def _make_slider(self) -> None:
        holder = QWidget()
        row = QHBoxLayout(holder)
        row.setContentsMargins(0, 0, 0, 0)
        self.slider = QSlider(Qt.Orientation.Horizontal)
        self.slider.setTickPosition(QSlider.TickPosition.TicksBelow)
        self.slider.setPageStep(1)
        self.slider.setAccessibleName("From fewer bends to closer")
        self.slider.setToolTip("To the left fewer bends, to the right closer to the body.")
        for part in (QLabel("Fewer bends"), self.slider, QLabel("Closer")):
            row.addWidget(part, 1 if part is self.slider else 0)
        self.whole(holder)

    def show_kept_angles(self, kept: str) -> None:
        """Show the angles that were liked last time."""
        is_step = any(key == kept for _, key in CHOICES)
        self.angles.setCurrentIndex(max(self.angles.findData(kept if is_step else LISTED), 0))
        self.listed.setText(kept if kept and not is_step else FIRST_LIST)
        self._show_list()

    def show_laying(
        self,
        places: int,
        is_working: bool,
        doing: str,
        proposals: tuple[Proposal, ...],
        chosen: int,
        trouble: str,
    ) -> None:
        """Show how far it has come; see FollowTool."""
        self._proposals, self._chosen = proposals, chosen
        with QSignalBlocker(self.slider):
            self.slider.setRange(0, max(len(proposals) - 1, 0))
            self.slider.setValue(chosen)
        self.slider.setEnabled(len(proposals) > 1)
        self.lay.setEnabled(bool(proposals))
        self.anew.setEnabled(places > 0)
        self.state.setText(_state(places, is_working, doing, proposals))
        self.trouble.setText(trouble)
        self.trouble.setVisible(bool(trouble))
        self.refresh()

    def refresh(self) -> None:
        rows = (self.bends, self.angles_made, self.gap, self.mean, self.outside, self.aside)
        if not self._proposals:
            for row in rows:
                row.setText("—")
            return
        tube, units = self._proposals[self._chosen], self._units
        self.bends.setText(str(tube.bends))
        self.angles_made.setText(", ".join(unit_text.format_angle(angle) for angle in tube.angles) or "none")
        low = unit_text.format_length(tube.closest, units, unit=False)
        self.gap.setText(f"{low} to {unit_text.format_length(tube.farthest, units)}")
        self.mean.setText(unit_text.format_length(tube.mean, units))
        self.aside.setText(unit_text.format_length(tube.aside, units) if tube.aside else "nothing")
        self.outside.setText(unit_text.format_length(tube.outside, units) if tube.outside else "nowhere")

    def _show_list(self) -> None:
        is_listed = self.angles.currentData() == LISTED
        self.listed.setVisible(is_listed)
        self._listed_name.setVisible(is_listed)

    def _on_angles(self) -> None:
        self._show_list()
        kept = self.angles.currentData()
        if kept == LISTED:
            kept = self.listed.text()
        try:
            angles = angles_of(kept)
        except ValueError as refused:
            self.trouble.setText(str(refused))
            self.trouble.show()
            return
        self.trouble.hide()
        self.angles_chosen.emit(angles, kept)


def angles_of(kept: str) -> Angles:
    """Return what a text says of angles: nothing for any, one number for its multiples, or a list."""
    parts = [part.strip() for part in kept.replace(";", ",").split(",") if part.strip()]
    try:
        degrees = [float(part.rstrip("°")) for part in parts]
    except ValueError:
        raise ValueError(NO_LIST) from None
    if any(not 0.0 < angle < 180.0 for angle in degrees):
        raise ValueError("An angle to bend to lies between 0° and 180°.")
    if not degrees:
        return None
    if kept in [key for _, key in CHOICES]:
        return math.radians(degrees[0])
    return tuple(math.radians(angle) for angle in degrees)


def _state(places: int, is_working: bool, doing: str, proposals: tuple[Proposal, ...]) -> str:
    if is_working:
        return f"{doing or 'Working it out'}…"
    if proposals:
        fitting = [tube for tube in proposals if tube.fits]
        if fitting:
            best = min(tube.bends for tube in fitting)
            return f"{wording.counted(best, 'bend')} will do to keep the stand-off all along."
        if min(tube.aside for tube in proposals) > 0.0:
            return "None of these passes every place; are they in the order of the tube? Start anew if not."
        return "None of these keeps the stand-off all along; the numbers below say by how much."
    if places == 0:
        return "Click places on the body in turn; the tube with the fewest bends follows them."
    return "One more place is needed."
