"""Puts room that must stay free at a place of the body; it is shown there until Enter keeps it."""

from PySide6.QtCore import Qt

from app.viewport import body_clicks
from app.viewport.body_clicks import BodyClick
from app.viewport.marks import Mark, Spot, Whisper
from app.viewport.tools import Key, Pointer, Room, Tool, ToolName
from geometry import zoning
from geometry.aids import Purpose
from geometry.errors import GeometryError
from geometry.layout import Layout


class ZoneTool(Tool):
    """One purpose at a time."""

    name: ToolName = "zone"
    cursor = Qt.CursorShape.CrossCursor

    def __init__(self, room: Room) -> None:
        super().__init__(room)
        self.purpose: Purpose = "other"
        self._hover: BodyClick | None = None
        self._zone: int | None = None  # the one that is shown and not yet kept
        self._moved: int | None = None  # one that there is, to be put elsewhere

    def start(self, purpose: Purpose, moved: int | None = None) -> None:
        """Take another purpose, or a zone that shall go elsewhere; one that is shown is kept."""
        self._keep()
        self.purpose, self._moved = purpose, moved
        self.room.hint_may_have_changed()

    def hint(self) -> str:
        info = zoning.PURPOSES[self.purpose]
        if self._zone is not None:
            return f"{info.label}: Enter keeps it, a click puts it elsewhere, Escape drops it."
        if self._moved in self.room.session.layout.zones:
            name = self.room.session.layout.zones[self._moved].name
            return f"{name}: click where it shall go. Escape leaves it where it is."
        return f"{info.label}: click {info.where}. Escape leaves."

    def move(self, pointer: Pointer | None) -> None:
        outlook = self.room.outlook
        self._hover = None if pointer is None else body_clicks.under(outlook, pointer.x, pointer.y)
        self.room.redraw()

    def click(self, pointer: Pointer) -> None:
        found = body_clicks.under(self.room.outlook, pointer.x, pointer.y)
        session = self.room.session
        if found is None:
            self.room.say("Point at the body or at a node.")
            return
        if self._zone is None and self.is_kept_out():
            return
        layout = session.recorded
        try:
            after, self._zone = self._with_zone(layout, found)
        except GeometryError as refused:
            self.room.say(refused.message)
            return
        session.preview(after)
        session.select({self._zone})
        self.room.hint_may_have_changed()

    def _with_zone(self, layout: Layout, place: BodyClick) -> tuple[Layout, int]:
        """Return the layout with the zone at a place, and its id."""
        if self._moved in layout.zones:
            shape = zoning.placed(layout, self._moved, place.at, place.normal)
            return zoning.set_zone(layout, self._moved, shape=shape), self._moved
        shape = zoning.starting_shape(layout, self.purpose, place.at, place.normal)
        return zoning.add_zone(layout, self.purpose, shape)

    def double_click(self, pointer: Pointer) -> bool:
        return True  # the second click of a pair is at the same place

    def wants(self, key: Key) -> bool:
        if key.is_any(Qt.Key.Key_Return, Qt.Key.Key_Enter):
            return self._zone is not None
        return key.is_any(Qt.Key.Key_Escape)

    def key(self, key: Key) -> bool:
        if not self.wants(key):
            return False
        if key.is_any(Qt.Key.Key_Escape):
            if self._zone is not None:
                self._drop()
            else:
                self.room.use_tool("select")
            return True
        self._keep()
        self.room.use_tool("select")
        return True

    def _keep(self) -> None:
        zone, self._zone = self._zone, None
        session = self.room.session
        if zone is not None and session.is_previewing and zone in session.layout.zones:
            verb = "Move" if zone in session.recorded.zones else "Keep free:"
            session.commit(f"{verb} {session.layout.zones[zone].name}")
            session.select({zone})
        self._moved = None
        self.room.hint_may_have_changed()

    def _drop(self) -> None:
        if self._zone is not None:
            self._zone = None
            if self.room.session.is_previewing:
                self.room.session.cancel()
        self.room.hint_may_have_changed()

    def end(self) -> None:
        self._keep()
        self._hover = None

    def leave(self) -> None:
        self._drop()
        self._hover = None

    def layout_changed(self) -> None:
        if self._zone is not None and not self.room.session.is_previewing:
            self._zone = None

    def marks(self) -> list[Mark]:
        if self._hover is None:
            return []
        at = self.room.to_screen(self._hover.at)
        marks: list[Mark] = [Spot(at, True)]
        if self._zone is None:  # its name stands there already
            marks.append(Whisper((at[0] + 12.0, at[1] - 10.0), self._hover.word))
        return marks
