"""Rows about how tubes are held and kept: stand-off, what they are tied to, what they are welded to."""

from collections.abc import Callable, Iterable, Sequence

from msgspec.structs import replace
from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QCheckBox,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app import units as unit_text
from app import wording
from app.panels.fields import LengthField
from app.panels.rows import ChoiceBox, Rows
from app.session import Session
from app.units import Units
from geometry import fixing
from geometry.checks import groups
from geometry.layout import Layout, Limits, Panel, Tie, Tube, Weld
from geometry.tube import centreline

TIES: tuple[tuple[Tie, str], ...] = (
    ("neither", "neither"),
    ("body", "the body"),
    ("frame", "the frame"),
)
TIE_STEPS: dict[Tie, str] = {"neither": "Untie", "body": "Tie to the body", "frame": "Tie to the frame"}
CLOSEST_TIP = (
    "Closest allowed, after scan error, build tolerance and movement. Empty: as the {other} or the limits "
    "say; the larger of two counts."
)
FARTHEST_TIP = "Farthest wanted. Empty: as the {other} or the limits say."


class StandOffFields(QWidget):
    """The closest and the farthest that tubes or panels have of their own, or what counts instead, pale."""

    def __init__(self, session: Session, units: Units, other: str) -> None:
        super().__init__()
        self._session = session
        self._units = units
        self._ids: tuple[int, ...] = ()
        self.closest = LengthField(units, may_be_empty=True)
        self.farthest = LengthField(units, may_be_empty=True)
        line = QHBoxLayout(self)
        line.setContentsMargins(0, 0, 0, 0)
        line.setSpacing(5)
        line.addWidget(self.closest, 1)
        line.addWidget(QLabel("to"))
        line.addWidget(self.farthest, 1)
        self.setFocusProxy(self.closest)
        for field, name, tip in (
            (self.closest, "Closest allowed", CLOSEST_TIP),
            (self.farthest, "Farthest wanted", FARTHEST_TIP),
        ):
            field.setAccessibleName(name)
            field.setToolTip(tip.format(other=other))
        self.closest.entered.connect(self._on_closest)
        self.closest.emptied.connect(self._on_closest)
        self.farthest.entered.connect(self._on_farthest)
        self.farthest.emptied.connect(self._on_farthest)

    def show_things(self, limits: Limits, things: Sequence[Tube | Panel], units: Units) -> None:
        """Show what these have of their own."""
        self._units = units
        self._ids = tuple(thing.id for thing in things)
        rows = (
            (self.closest, {thing.standoff_closest for thing in things}, limits.standoff_closest),
            (self.farthest, {thing.standoff_farthest for thing in things}, limits.standoff_farthest),
        )
        for field, values, inherited in rows:
            if len(values) > 1:
                field.set_several()
            else:
                field.set_value(next(iter(values), None))
                field.setPlaceholderText(unit_text.format_length(inherited, units))

    def _on_closest(self) -> None:
        self._set(closest=self.closest.value)

    def _on_farthest(self) -> None:
        self._set(farthest=self.farthest.value)

    def _set(self, **changes: float | None) -> None:
        ids = self._ids
        self._session.apply("Set stand-off", lambda now: fixing.set_standoff(now, ids, **changes))
        layout = self._session.layout
        things = [layout.tubes.get(id) or layout.panels.get(id) for id in ids]
        self.show_things(layout.limits, [thing for thing in things if thing is not None], self._units)


class FixingRows(Rows):
    """The rows of a tube, or of several."""

    def __init__(self, session: Session, units: Units) -> None:
        super().__init__()
        self._session = session
        self._units = units
        self._tubes: tuple[int, ...] = ()
        self._column.setContentsMargins(0, 0, 0, 0)
        self.heading("At the body")
        self.standoff = StandOffFields(session, units, "panel")
        self.field("Stand-off", self.standoff)
        self.tied = ChoiceBox()
        self.tied.activated.connect(self._on_tied)
        tip = (
            "A body on rubber mounts moves against its frame: what is tied to the frame needs room for that."
        )
        self.field("Fixed to", self.tied, tip)
        self.tie_words = self.words()
        self.hugs = QCheckBox("Follows the body")
        self.hugs.setToolTip(
            "It shall not stand off farther than wanted. Untick it where it crosses free space."
        )
        self.hugs.clicked.connect(self._on_hugs)
        self.whole(self.hugs)
        self.welds = WeldRows(session, units)
        self.whole(self.welds)

    def show_tubes(self, layout: Layout, tubes: Iterable[int], units: Units) -> None:
        """Show what these tubes have in common."""
        self._tubes, self._units = tuple(tubes), units
        rows = [layout.tubes[id] for id in self._tubes]
        self.standoff.show_things(layout.limits, rows, units)
        ties = {tube.tied for tube in rows}
        names = [name for name, _ in TIES]
        choices = [(place, words) for place, (_, words) in enumerate(TIES)]
        self.tied.show_choices(choices, names.index(next(iter(ties))) if len(ties) == 1 else None)
        words = tie_words(layout, self._tubes)
        self.tie_words.setText(words)
        self.tie_words.setVisible(bool(words))
        follow = {tube.hugs for tube in rows}
        states = {True: Qt.CheckState.Checked, False: Qt.CheckState.Unchecked}
        self.hugs.setCheckState(states[follow.pop()] if len(follow) == 1 else Qt.CheckState.PartiallyChecked)
        self.welds.setVisible(len(rows) == 1 and bool(layout.panels))
        if len(rows) == 1:
            self.welds.show_tube(layout, rows[0], units)

    def _again(self) -> None:
        layout = self._session.layout
        self.show_tubes(layout, [id for id in self._tubes if id in layout.tubes], self._units)

    def _on_tied(self) -> None:
        tubes, tied = self._tubes, TIES[self.tied.chosen or 0][0]
        self._session.apply(TIE_STEPS[tied], lambda now: fixing.set_tied(now, tubes, tied))
        self._again()

    def _on_hugs(self) -> None:
        tubes, hugs = self._tubes, self.hugs.checkState() != Qt.CheckState.Unchecked
        name = "Follow the body" if hugs else "Let it stand off the body"
        self._session.apply(name, lambda now: fixing.set_hugs(now, tubes, hugs))
        self._again()


class WeldRows(QWidget):
    """The panels that a tube is to be welded to: from where to where, added and removed."""

    def __init__(self, session: Session, units: Units) -> None:
        super().__init__()
        self._session = session
        self._units = units
        self._tube = 0
        self._count = 0
        self._column = QVBoxLayout(self)
        self._column.setContentsMargins(0, 0, 0, 0)
        self._column.setSpacing(5)
        self.rows: list[WeldRow] = []
        self.nearest: int | None = None  # the panel that a new mark is on
        self.add = QPushButton("Mark as welded to a panel")
        self.add.setToolTip(
            "Where a tube is meant to be welded to the sheet, contact is no finding and a wide gap is."
        )
        self.add.clicked.connect(self._on_add)
        self._column.addWidget(self.add)

    def show_tube(self, layout: Layout, tube: Tube, units: Units) -> None:
        """Show the marks of a tube."""
        self._tube, self._units, self._count = tube.id, units, len(tube.welds)
        length = centreline.of(layout, tube).length
        while len(self.rows) < len(tube.welds):
            self._add_row()
        choices = [(panel.id, wording.one_line(panel.name)) for panel in layout.panels.values() if panel.kept]
        for number, row in enumerate(self.rows):
            row.setVisible(number < len(tube.welds))
            if number < len(tube.welds):
                row.show_weld(layout, tube.welds[number], choices, length, units)
        self.add.setEnabled(bool(choices))

    def _add_row(self) -> None:
        row = WeldRow(len(self.rows), self._units, self._on_changed, self._on_remove)
        self.rows.append(row)
        self._column.insertWidget(len(self.rows) - 1, row)
        # Tab goes in the order that is seen.
        before = self.rows[-2].parts[-1] if self.rows[:-1] else None
        for part in (*row.parts, self.add):
            if before is not None:
                QWidget.setTabOrder(before, part)
            before = part

    def _on_add(self) -> None:
        layout, tube = self._session.layout, self._tube
        kept = [id for id, panel in layout.panels.items() if panel.kept]
        panel = self.nearest if self.nearest in kept else kept[0]
        assert panel is not None
        number = self._count
        self._apply("Mark weld", lambda now: fixing.add_weld(now, tube, Weld(panel)))
        if number < self._count:
            self.rows[number].panel.setFocus()

    def _on_changed(self) -> None:
        number, tube = int(self.sender().property("row")), self._tube
        old = self._session.layout.tubes[tube].welds[number]
        wanted = self.rows[number].weld(old)
        self._apply("Change weld mark", lambda now: fixing.replace_weld(now, tube, number, wanted))

    def _on_remove(self) -> None:
        number, tube = int(self.sender().property("row")), self._tube
        self._apply("Remove weld mark", lambda now: fixing.remove_weld(now, tube, number))
        (self.rows[min(number, self._count - 1)].panel if self._count else self.add).setFocus()

    def _apply(self, name: str, change: Callable[[Layout], Layout]) -> None:
        self._session.apply(name, change)
        layout = self._session.layout
        if self._tube in layout.tubes:
            self.show_tube(layout, layout.tubes[self._tube], self._units)


class WeldRow(QWidget):
    """One mark: the panel, from where, to where, and a button that removes it."""

    def __init__(
        self, number: int, units: Units, changed: Callable[[], None], removed: Callable[[], None]
    ) -> None:
        super().__init__()
        self.panel = ChoiceBox()
        self.panel.setMinimumContentsLength(6)
        self.start = LengthField(units)
        self.end = LengthField(units, may_be_empty=True)
        self.remove = QToolButton()
        self.remove.setText("✕")
        self.remove.setAutoRaise(True)
        self.parts: tuple[QWidget, ...] = (self.panel, self.start, self.end, self.remove)
        said = (
            ("Panel", "The panel that the tube is to be welded to."),
            ("From", "Where the weld begins, along the tube from its start."),
            ("To", "Where the weld ends. Empty: with the tube."),
            ("Remove", "Take this mark off."),
        )
        for part, (name, tip) in zip(self.parts, said, strict=True):
            part.setProperty("row", number)
            part.setAccessibleName(f"{name}, weld {number + 1}")
            part.setToolTip(tip)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 3)
        column.setSpacing(4)
        title = QLabel("Welded to")
        title.setBuddy(self.panel)
        lines: tuple[tuple[QWidget, ...], ...] = (
            (title, self.panel, self.remove),
            (QLabel("from"), self.start, QLabel("to"), self.end),
        )
        for pieces in lines:
            line = QHBoxLayout()
            line.setSpacing(5)
            for piece in pieces:
                line.addWidget(piece, 1 if piece in (self.panel, self.start, self.end) else 0)
            column.addLayout(line)
        self.panel.activated.connect(changed)
        self.start.entered.connect(changed)
        self.end.entered.connect(changed)
        self.end.emptied.connect(changed)
        self.remove.clicked.connect(removed)

    def show_weld(
        self, layout: Layout, weld: Weld, choices: Sequence[tuple[int, str]], length: float, units: Units
    ) -> None:
        own = [row for row in choices if row[0] == weld.panel]
        if not own:
            name = wording.one_line(layout.panels[weld.panel].name) if weld.panel in layout.panels else "—"
            choices = [(weld.panel, f"{name} (left out)"), *choices]
        self.panel.show_choices(choices, weld.panel)
        self.panel.setToolTip(f"Welded to {self.panel.currentText()}.")
        self.start.set_value(weld.start)
        self.end.set_value(weld.end)
        self.end.setPlaceholderText(unit_text.format_length(length, units))

    def weld(self, old: Weld) -> Weld:
        """Return the mark as it stands in the fields."""
        start = old.start if self.start.value is None else self.start.value
        return replace(old, panel=self.panel.chosen or old.panel, start=start, end=self.end.value)


def tie_words(layout: Layout, tubes: Sequence[int]) -> str:
    """Say what a tube is tied to through others; of several tubes nothing is said."""
    if len(tubes) != 1:
        return ""
    (id,) = tubes
    group = next(group for group in groups.groups(layout) if id in group.tubes)
    own = [tie for tie, to in (("body", group.to_body), ("frame", group.to_frame)) if id in to]
    if len(group.ties) == 2:
        return "Its group of tubes is tied to the body and to the frame."
    if not group.ties or group.ties[0] in own:
        return ""
    tied = (group.to_body or group.to_frame)[0]
    return f"Tied to the {group.ties[0]} through {wording.one_line(layout.tubes[tied].name)}."
