"""Puts room that must stay free at a place of the body; it is shown there until Enter keeps it."""

from PySide6.QtCore import Qt

from app.viewport import body_clicks
from app.viewport.body_clicks import BodyClick
from app.viewport.marks import Mark, Spot, Whisper
from app.viewport.tools import Key, Pointer, Room, Tool, ToolName
from geometry import zoning
from geometry.aids import Purpose
from geometry.errors import GeometryError


class ZoneTool(Tool):
    """One purpose at a time."""

    name: ToolName = "zone"
    cursor = Qt.CursorShape.CrossCursor

    def __init__(self, room: Room) -> None:
        super().__init__(room)
        self.purpose: Purpose = "other"
        self._hover: BodyClick | None = None
        self._zone: int | None = None  # the one that is shown and not yet kept

    def start(self, purpose: Purpose) -> None:
        """Take another purpose; a zone that is shown is kept."""
        self._keep()
        self.purpose = purpose
        self.room.hint_may_have_changed()

    def hint(self) -> str:
        info = zoning.PURPOSES[self.purpose]
        if self._zone is not None:
            return f"{info.label}: Enter keeps it, a click puts it elsewhere, Escape drops it."
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
            shape = zoning.starting_shape(layout, self.purpose, found.at, found.normal)
            after, self._zone = zoning.add_zone(layout, self.purpose, shape)
        except GeometryError as refused:
            self.room.say(refused.message)
            return
        session.preview(after)
        session.select({self._zone})
        self.room.hint_may_have_changed()

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
            session.commit(f"Keep free: {session.layout.zones[zone].name}")
            session.select({zone})
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
