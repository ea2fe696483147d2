"""Commands that change one's mind about the selection: straighten, flatten, align, space, merge, round."""

import math
from collections.abc import Callable, Iterable

from msgspec.structs import replace
from PySide6.QtCore import QObject, Signal

from app import dialogs, units
from app.job_files import file_name
from app.selection_commands import names
from app.session import Session
from app.settings import Settings
from app.viewport.view import View
from geometry import edits, naming, part_groups
from geometry.arranging import lining_up, merging, rounding, straightening, swapping
from geometry.arranging.lining_up import Way
from geometry.arranging.straightening import Plane
from geometry.errors import GeometryError
from geometry.files import part_file
from geometry.layout import Layout
from geometry.tube import centreline
from geometry.vectors import distance

PARTS = f"Parts (*{part_file.SUFFIX})"
LOCKED = "Tube {name} is locked; Ctrl+K unlocks it when it is selected."
PLANES: dict[Plane, str] = {
    "best": "one plane",
    "upright": "one upright plane",
    "level": "one level plane",
    "lengthwise": "one lengthwise plane",
    "across": "one plane across the car",
}
WAYS: dict[Way, str] = {
    "height": "at one height",
    "station": "at one station",
    "side": "at one distance from the centre plane",
    "line": "on one line",
}


class ArrangingCommands(QObject):
    """Each command is one undo step; a refusal is said by the session."""

    told = Signal(str)

    def __init__(
        self, session: Session, view: View, settings: Settings, parent: QObject | None = None
    ) -> None:
        super().__init__(parent)
        self._session = session
        self._view = view
        self._settings = settings
        self._order: list[int] = []  # what is selected, in the order it was
        self._at_once: frozenset[int] = frozenset()  # what of it came together, in no order
        session.selection_changed.connect(self._on_selection)
        self._on_selection(session.selection)

    def possible(self) -> dict[str, bool]:
        """Which of the commands make sense for what is selected."""
        layout = self._session.layout
        tubes, nodes = self._tubes, self._nodes
        bent = [id for id in tubes if len(layout.tubes[id].nodes) > 2]
        corners = {node for tube in layout.tubes.values() for node in tube.nodes[1:-1]} if nodes else set()
        has_many = len(nodes) > 2 or len(tubes) > 2
        meet = len(tubes) == 2 and merging.shared_end(layout, tubes[0], tubes[1]) is not None
        found = {"straighten": bool(bent) or not corners.isdisjoint(nodes)}
        found |= {f"flatten_{plane}": bool(bent) for plane in PLANES}
        found |= {f"align_{way}": len(nodes) > (2 if way == "line" else 1) for way in WAYS}
        has_joint = len(nodes) == 1 and swapping.joint_of(layout, nodes[0]) is not None
        found |= {
            "swap_through": has_joint,
            "space_evenly": has_many,
            "merge_tubes": meet,
            "save_part": bool(tubes),
            "place_part": True,
        }
        return found | {f"round_bends_{step}": bool(bent) for step in (1, 5, 15)}

    def straighten(self) -> None:
        """Take the bends out of the selected tubes, or out of the selected corners alone."""
        tubes, nodes = self._tubes, self._nodes
        if tubes:
            self._arrange(
                f"Straighten {self._named(tubes)}",
                tubes,
                lambda now: straightening.straighten(now, tubes),
                "straight",
            )
        else:
            self._arrange(
                f"Straighten {self._named(nodes)}",
                nodes,
                lambda now: straightening.straighten_corners(now, nodes),
                "on the line",
            )

    def flatten_best(self) -> None:
        self._flatten("best")

    def flatten_upright(self) -> None:
        self._flatten("upright")

    def flatten_level(self) -> None:
        self._flatten("level")

    def flatten_lengthwise(self) -> None:
        self._flatten("lengthwise")

    def flatten_across(self) -> None:
        self._flatten("across")

    def align_height(self) -> None:
        self._align("height")

    def align_station(self) -> None:
        self._align("station")

    def align_side(self) -> None:
        self._align("side")

    def align_line(self) -> None:
        self._align("line")

    def space_evenly(self) -> None:
        """Leave equal gaps between the selected nodes, or the selected parallel tubes."""
        tubes, nodes = self._tubes, self._nodes
        if len(nodes) > 2:
            self._arrange(
                f"Space {self._named(nodes)} evenly", nodes, lambda now: lining_up.space_nodes(now, nodes)
            )
        else:
            self._arrange(
                f"Space {self._named(tubes)} evenly", tubes, lambda now: lining_up.space_tubes(now, tubes)
            )

    def merge_tubes(self) -> None:
        """Make one bent tube of the two that are selected."""
        first, second = self._tubes
        layout = self._session.layout
        words = f"Merge {naming.listed([layout.tubes[id] for id in (first, second)])}"
        if self._arrange(words, (first, second), lambda now: merging.merge(now, first, second)):
            self._session.select((first,))

    def swap_through(self) -> None:
        """Let the tube that ends at the selected node run on, and the other one end there."""
        (node,) = self._nodes
        found = swapping.joint_of(self._session.layout, node)
        if found is None:
            self._session.refused.emit(swapping.NO_JOINT)
            return
        through, ending = found
        words = f"Let {ending.name} run through {through.name}"
        self._arrange(words, (through.id, ending.id), lambda now: swapping.swap_through(now, node))

    def round_bends_1(self) -> None:
        self._round(1)

    def round_bends_5(self) -> None:
        self._round(5)

    def round_bends_15(self) -> None:
        self._round(15)

    def save_part(self) -> None:
        """Keep the selected tubes as a part that other jobs can take."""
        layout, tubes = self._session.layout, self._tubes
        try:
            part = part_groups.taken(layout, tubes)
        except GeometryError as error:
            self._session.refused.emit(error.message)
            return
        proposed = self._settings.folder("parts") / f"{file_name(part.name)}{part_file.SUFFIX}"
        path = dialogs.ask_save_path(self._view, "Save as a part", proposed, PARTS)
        if path is None:
            return
        path = path if path.suffix == part_file.SUFFIX else path.with_name(path.name + part_file.SUFFIX)
        try:
            part_file.save(replace(part, name=naming.checked(path.stem)), path)
        except GeometryError as error:
            self._session.refused.emit(error.message)
            return
        self._settings.set_folder("parts", path.parent)
        self.told.emit(f"{names(layout, tubes)} kept as part {path.stem}; any job can take it.")

    def place_part(self) -> None:
        """Choose a part and hang it at the pointer."""
        folder = self._settings.folder("parts")
        path = dialogs.ask_open_path(self._view, "Place a part", folder, f"{PARTS};;All files (*)")
        if path is None:
            return
        try:
            part = part_file.load(path)
        except GeometryError as error:
            self._session.refused.emit(error.message)
            return
        self._settings.set_folder("parts", path.parent)
        self._view.place_part(part)

    # What they share

    @property
    def _tubes(self) -> list[int]:
        """The selected tubes, the first selected first."""
        return [id for id in self._order if id in self._session.layout.tubes]

    @property
    def _nodes(self) -> list[int]:
        return [id for id in self._order if id in self._session.layout.nodes]

    def _on_selection(self, chosen: frozenset[int]) -> None:
        stays = [id for id in self._order if id in chosen]
        come = sorted(chosen.difference(stays))
        self._order = stays + come
        self._at_once = frozenset(come) if not stays and len(come) > 1 else self._at_once & chosen

    def _flatten(self, plane: Plane) -> None:
        tubes = self._bent()

        def flat(layout: Layout) -> Layout:
            for id in tubes:
                layout = straightening.flatten(layout, id, plane)
            return layout

        self._arrange(f"Flatten {self._named(tubes)}", tubes, flat, f"in {PLANES[plane]}")

    def _align(self, way: Way) -> None:
        nodes = self._nodes
        # What was selected by a box has no first, so nothing of it can be what the others go by.
        to: lining_up.To = "mean" if nodes[0] in self._at_once else "first"
        self._arrange(
            f"Align {self._named(nodes)}",
            nodes,
            lambda now: lining_up.align(now, nodes, way, to),
            WAYS[way],
        )

    def _round(self, degrees: int) -> None:
        tubes = self._bent()
        whose = f"the bends of {self._named(tubes)}"

        def rounded(layout: Layout) -> Layout:
            for id in tubes:
                layout = rounding.round_angles(layout, id, math.radians(degrees))
            return layout

        before = self._session.recorded
        if self._arrange(f"Round {whose}", tubes, rounded, f"bent by multiples of {degrees}°"):
            far = _farthest(before, self._session.recorded)
            self.told.emit(f"Corners moved by {units.format_length(far, self._settings.units)} or less.")

    def _bent(self) -> list[int]:
        layout = self._session.layout
        return [id for id in self._tubes if centreline.of(layout, layout.tubes[id]).bends]

    def _named(self, ids: Iterable[int]) -> str:
        return names(self._session.layout, ids)

    def _arrange(
        self, words: str, ids: Iterable[int], edit: Callable[[Layout], Layout], done: str = "evenly spaced"
    ) -> bool:
        """Record an edit of what no lock holds; say so where there was nothing to do."""
        before = self._session.recorded

        def unlocked(layout: Layout) -> Layout:
            for id in ids:
                lock = edits.locked_by(layout, id)
                if lock is not None:
                    raise GeometryError(LOCKED.format(name=lock.name), (lock.id,))
            return edit(layout)

        is_done = self._session.apply(words, unlocked)
        if is_done and self._session.recorded is before:
            self.told.emit(f"What is selected is {done} already.")
            return False
        return is_done


def _farthest(before: Layout, after: Layout) -> float:
    """Return how far the node that moved most has moved."""
    both = before.nodes.keys() & after.nodes.keys()
    return max((distance(before.nodes[id].position, after.nodes[id].position) for id in both), default=0.0)
