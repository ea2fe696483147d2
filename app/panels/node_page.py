"""One selected node: where it is, what is before and after it, what it sits on."""

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QCheckBox, QLabel

from app import units as unit_text
from app import wording
from app.panels.fields import LengthField
from app.panels.outline import node_words
from app.panels.rows import Page
from app.panels.tube_page import with_axis
from app.session import Session
from app.units import Units
from geometry import axles, edits
from geometry.layout import Landing, Layout, Node, Tube
from geometry.tolerances import SAME_POINT
from geometry.tube import bending
from geometry.vectors import Vec3, distance

AXES = (
    ("x", "forward of the front axle", "behind the front axle"),
    ("y", "left of the centre plane", "right of the centre plane"),
    ("z", "above the ground", "below the ground"),
)
LEVEL = "above the level the body stood on when it came in"


class NodePage(Page):
    """Shows a node and records what is typed."""

    def __init__(self, session: Session, units: Units) -> None:
        super().__init__(session, units)
        self.title = self.words("heading")
        self.place = tuple(LengthField(units) for _ in AXES)
        for axis, (field, (name, ahead, _)) in enumerate(zip(self.place, AXES, strict=True)):
            field.setProperty("axis", axis)
            field.entered.connect(self._on_place)
            counts = LEVEL if name == "z" else ahead
            self.field(name, field, f"Distance {counts}; negative: the other way.")
        self.where = self.words()
        self.heading("Legs")
        self.before, self.after = LengthField(units), LengthField(units)
        self._leg_names: list[QLabel] = []
        for field, words, tip in (
            (self.before, "To the node before", "Typing moves this node along the leg."),
            (self.after, "To the node after", "Typing moves this node along the leg."),
        ):
            field.entered.connect(self._on_leg)
            self._leg_names.append(self.field(words, field, tip))
        self.bend = self.number("Bend here", "Angle of the bend at this node.")
        self.clr = QLabel()
        self.clr.setProperty("kind", "number")
        self.clr.setAlignment(Qt.AlignmentFlag.AlignRight)
        self._clr_name = self.field("CLR", self.clr, "Centreline radius that the die makes here.")
        self.heading("Joint")
        self.joint = self.words()
        self.station = LengthField(units)
        self.station.entered.connect(self._on_station)
        self._station_name = self.field("Along that tube", self.station, "From its start, on its centreline.")
        tip = "Let the end stay where it is and no longer follow the tube."
        self.free = self.command_button("Free it", "free_end", tip)
        self.whole(self.free)
        self.sleeve = QCheckBox("Joined over an inner sleeve")
        self.sleeve.setToolTip("For two tubes of one OD that end here in line: the sleeve sits inside both.")
        self.sleeve.clicked.connect(self._on_sleeve)
        self.whole(self.sleeve)
        self.heading("Body")
        self.kept_gap = LengthField(units, may_be_empty=True)
        self.kept_gap.entered.connect(self._on_kept_gap)
        self.kept_gap.emptied.connect(self._on_kept_gap)
        tip = "The gap that is kept while the node slides along the body; empty: it goes freely."
        self._gap_name = self.field("Gap kept", self.kept_gap, tip)
        self.finish()

    def refresh(self) -> None:
        layout = self._session.layout
        node = layout.nodes.get(self._id)
        if node is None:
            return
        users = [tube for tube in layout.tubes.values() if node.id in tube.nodes]
        names = [f"{node_words(tube, tube.nodes.index(node.id))} of {tube.name}" for tube in users]
        self.title.setText(wording.listed(names).capitalize()[:1] + wording.listed(names)[1:])
        for field, value in zip(self.place, node.position, strict=True):
            field.set_value(value)
        self.where.setText(place_words(layout, node.position, self._units))
        self._show_legs(layout, users[0] if users else None)
        self._show_joint(layout, node, users)

        for part in (self.kept_gap, self._gap_name):
            part.setEnabled(node.landing is None)
        self.kept_gap.set_value(node.standoff)

    def _show_legs(self, layout: Layout, tube: Tube | None) -> None:
        before, after = neighbours(tube, self._id)
        place = layout.nodes[self._id].position
        for field, name, other in (
            (self.before, self._leg_names[0], before),
            (self.after, self._leg_names[1], after),
        ):
            field.setVisible(other is not None)
            name.setVisible(other is not None)
            if other is not None:
                field.set_value(distance(place, layout.nodes[other].position))
        angle = bend_angle(layout, tube, self._id)
        self.bend.setText("none" if angle is None else unit_text.format_angle(angle))
        for part in (self.clr, self._clr_name):
            part.setVisible(angle is not None)
        if tube is not None and angle is not None:
            self.clr.setText(unit_text.format_size(bending.clr_of(layout, tube), self._units))

    def _show_joint(self, layout: Layout, node: Node, users: list[Tube]) -> None:
        landing = node.landing
        for part in (self.station, self._station_name, self.free):
            part.setVisible(landing is not None)
        if landing is not None:
            self.joint.setText(f"Sits on {layout.tubes[landing.tube].name} and follows it.")
            self.station.set_value(landing.station)
        elif len(users) > 1:
            self.joint.setText(f"Shared by {wording.listed([tube.name for tube in users])}.")
        else:
            self.joint.setText("Meets no other tube.")
        self.sleeve.setVisible(node.sleeve or edits.may_have_sleeve(layout, node.id))
        self.sleeve.setChecked(node.sleeve)

    def _on_place(self, value: float) -> None:
        axis = int(self.sender().property("axis"))
        node = self._session.layout.nodes.get(self._id)
        if node is None:  # deleted while its number was typed
            return
        place = with_axis(node.position, axis, value)
        self._session.apply("Move node", lambda now: edits.place_node(now, node.id, place))
        self.refresh()

    def _on_leg(self, length: float) -> None:
        layout = self._session.layout
        users = [tube for tube in layout.tubes.values() if self._id in tube.nodes]
        before, after = neighbours(users[0] if users else None, self._id)
        other = before if self.sender() is self.before else after
        if other is None:
            return
        place = at_distance(layout.nodes[other].position, layout.nodes[self._id].position, length)
        self._session.apply("Set leg", lambda now: edits.place_node(now, self._id, place))
        self.refresh()

    def _on_station(self, station: float) -> None:
        node = self._session.layout.nodes.get(self._id)
        landing = node.landing if node is not None else None
        if landing is not None:
            moved = Landing(landing.tube, station)
            self._session.apply("Move landing", lambda now: edits.set_landing(now, self._id, moved))
        self.refresh()

    def _on_kept_gap(self) -> None:
        gap = self.kept_gap.value
        if self._id not in self._session.layout.nodes:
            return
        words = "Let go of the body" if gap is None else "Ride on the body"
        done = self._session.apply(words, lambda now: edits.set_node_standoff(now, (self._id,), gap))
        if done and gap is not None:
            self.command_wanted.emit("stand_off")
        self.refresh()

    def _on_sleeve(self, on: bool) -> None:
        words = "Join over a sleeve" if on else "Take the sleeve out"
        self._session.apply(words, lambda now: edits.set_sleeve(now, self._id, on))
        self.refresh()


def neighbours(tube: Tube | None, node: int) -> tuple[int | None, int | None]:
    """The nodes before and after a node of a tube."""
    if tube is None:
        return None, None
    place = tube.nodes.index(node)
    before = tube.nodes[place - 1] if place > 0 else None
    after = tube.nodes[place + 1] if place + 1 < len(tube.nodes) else None
    return before, after


def at_distance(origin: Vec3, towards: Vec3, length: float) -> Vec3:
    """The point at a distance from origin in the direction of another."""
    span = distance(origin, towards)
    part = length / span if span > SAME_POINT else 0.0
    x, y, z = (a + part * (b - a) for a, b in zip(origin, towards, strict=True))
    return (x, y, z)


def bend_angle(layout: Layout, tube: Tube | None, node: int) -> float | None:
    """The angle of the bend at a node; None where the tube runs straight on or ends."""
    if tube is None:
        return None
    points = [layout.nodes[id].position for id in tube.nodes]
    place = tube.nodes.index(node)
    return next((turn.angle for turn in bending.turns(points) if turn.index == place), None)


def place_words(layout: Layout, position: Vec3, units: Units) -> str:
    """A place as it is said: so far forward, so far left, so high above what the tyres stand on."""
    x, y, z = position
    height, rise = axles.ground(layout)
    parts = [
        f"{unit_text.format_length(abs(value), units)} {ahead if value >= 0 else behind}"
        for value, (_, ahead, behind) in zip((x, y, z - height - rise * x), AXES, strict=True)
    ]
    return wording.listed(parts) + "."
