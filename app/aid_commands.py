"""Commands that set references and access zones, and bring them to the other side."""

from collections.abc import Callable
from functools import partial

from PySide6.QtCore import QObject

from app.session import Session
from app.viewport.view import View
from geometry import references, zoning
from geometry.aids import Purpose
from geometry.layout import Layout

ZONE_COMMANDS: dict[str, Purpose] = {
    f"zone_{purpose.replace(' ', '_')}": purpose for purpose in zoning.PURPOSES
}


class AidCommands(QObject):
    """Each command is one undo step; a refusal is said by the session."""

    def __init__(self, session: Session, view: View, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self._view = view

    def zone_commands(self) -> dict[str, Callable[[], None]]:
        """What each of the commands that set a zone calls."""
        return {name: partial(self._view.set_zone, purpose, None) for name, purpose in ZONE_COMMANDS.items()}

    def reference_ground(self) -> None:
        self._add("Set the ground as a limit", lambda now: _one(references.add_ground(now)))

    def reference_height(self) -> None:
        self._add("Set a height limit", lambda now: _one(references.add_height_limit(now)))

    def reference_width(self) -> None:
        self._add("Set width limits", references.add_width_limits)

    def reference_trailer(self) -> None:
        self._add("Set the sides of a trailer", references.add_trailer_limits)

    def move_zone(self) -> None:
        """Ask for another place for the selected zone."""
        (zone,) = self.zones
        self._view.set_zone(self._session.layout.zones[zone].purpose, zone)

    def aid_other_side(self) -> None:
        """Copy the selected references and zones to the other side, and select the copies."""
        made: list[int] = []

        def mirrored(layout: Layout) -> Layout:
            for id in sorted(self.chosen):
                edit = references.mirror_reference if id in layout.references else zoning.mirror_zone
                layout, other = edit(layout, id)
                made.append(other)
            return layout

        if self._session.apply("Copy to the other side", mirrored):
            self._session.select(made)

    @property
    def chosen(self) -> frozenset[int]:
        """The selected references and zones."""
        layout = self._session.layout
        return self._session.selection & (layout.references.keys() | layout.zones.keys())

    @property
    def zones(self) -> frozenset[int]:
        """The selected zones."""
        return self._session.selection & self._session.layout.zones.keys()

    def _add(self, words: str, edit: Callable[[Layout], tuple[Layout, tuple[int, ...]]]) -> None:
        """Record what is added and select the first of it, whose page takes its number."""
        made: list[int] = []

        def added(layout: Layout) -> Layout:
            after, ids = edit(layout)
            made.extend(ids)
            return after

        if self._session.apply(words, added):
            self._session.select(made[:1])


def _one(added: tuple[Layout, int]) -> tuple[Layout, tuple[int, ...]]:
    return added[0], (added[1],)
