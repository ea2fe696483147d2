"""Sets reference points, lines and planes by one, two or three places of the body."""

from collections.abc import Callable

from PySide6.QtCore import Qt

from app.viewport import body_clicks
from app.viewport.body_clicks import BodyClick
from app.viewport.marks import Mark, Spot, Stroke, Whisper
from app.viewport.tools import Key, Pointer, Room, Tool, ToolName
from geometry import references
from geometry.aids import PlaneShape, PointShape
from geometry.errors import GeometryError
from geometry.references import Shape
from geometry.vectors import Vec3, distance

LEVEL: Vec3 = (0.0, 0.0, 1.0)
HINTS = (
    "Click the body: one makes a point, two a line, three a plane. Escape leaves.",
    "Enter: a point. R: the rim. L, S, C: a plane level, along, across. Or click again.",
    "Enter: a line. U: an upright plane. A third click: a plane through all. Backspace takes back.",
)


class ReferenceTool(Tool):
    """Takes places until they are what is wanted."""

    name: ToolName = "reference"
    cursor = Qt.CursorShape.CrossCursor

    def __init__(self, room: Room) -> None:
        super().__init__(room)
        self._places: list[BodyClick] = []
        self._hover: BodyClick | None = None

    def hint(self) -> str:
        return HINTS[min(len(self._places), 2)]

    def move(self, pointer: Pointer | None) -> None:
        outlook = self.room.outlook
        self._hover = None if pointer is None else body_clicks.under(outlook, pointer.x, pointer.y)
        self.room.redraw()

    def click(self, pointer: Pointer) -> None:
        found = body_clicks.under(self.room.outlook, pointer.x, pointer.y)
        if found is None:
            self.room.say("Point at the body or at a node.")
            return
        if self.is_kept_out():
            return
        self._places.append(found)
        if len(self._places) == 3:
            self._make("plane", lambda: references.plane_through(*self._points()))
        self._changed()

    def double_click(self, pointer: Pointer) -> bool:
        return True  # the second click of a pair is at the same place

    def wants(self, key: Key) -> bool:
        return self._doing(key) is not None

    def key(self, key: Key) -> bool:
        doing = self._doing(key)
        if doing is None:
            return False
        doing()
        return True

    def _doing(self, key: Key) -> Callable[[], None] | None:
        """Return what a key does now."""
        count = len(self._places)
        if key.is_any(Qt.Key.Key_Escape):
            return self._drop if count else self._leave
        if not count or key.ctrl:
            return None
        if key.is_any(Qt.Key.Key_Backspace):
            return self._take_back
        if key.is_any(Qt.Key.Key_Return, Qt.Key.Key_Enter):
            return self._point if count == 1 else self._line
        if count == 1 and key.is_any(Qt.Key.Key_R):
            return self._rim
        if count == 1 and key.is_any(Qt.Key.Key_L, Qt.Key.Key_S, Qt.Key.Key_C):
            return {Qt.Key.Key_L: self._level, Qt.Key.Key_S: self._along, Qt.Key.Key_C: self._across}[
                Qt.Key(key.code)
            ]
        return self._upright if count == 2 and key.is_any(Qt.Key.Key_U) else None

    def _points(self) -> tuple[Vec3, ...]:
        return tuple(place.at for place in self._places)

    def _point(self) -> None:
        self._make("point", lambda: PointShape(self._places[0].at))

    def _line(self) -> None:
        self._make("line", lambda: references.line_through(self._places[0].at, self._places[1].at))

    def _rim(self) -> None:
        place, layout = self._places[0], self.room.session.layout
        if place.panel not in layout.panels:
            self.room.say("A node has no rim. Click the panel near its edge.")
            return
        panel = layout.panels[place.panel]
        name = f"{panel.name[:1].upper()}{panel.name[1:]} edge"
        self._make("line", lambda: references.rim_near(layout, panel.id, place.at), name)

    def _level(self) -> None:
        self._make("level plane", lambda: PlaneShape(self._places[0].at, LEVEL))

    def _along(self) -> None:
        at = self._places[0].at
        self._make("plane", lambda: PlaneShape(at, (0.0, 1.0 if at[1] >= 0.0 else -1.0, 0.0)))

    def _across(self) -> None:
        self._make("plane", lambda: PlaneShape(self._places[0].at, (1.0, 0.0, 0.0)))

    def _upright(self) -> None:
        first, second = self._points()
        self._make("upright plane", lambda: references.upright_through(first, second))

    def _make(self, word: str, shape: Callable[[], Shape], name: str | None = None) -> None:
        """Record a reference and select it; places that make none are kept but for the last."""
        session = self.room.session
        try:
            after, id = references.add_reference(session.layout, shape(), name)
        except GeometryError as refused:
            self.room.say(refused.message)
            if len(self._places) > 1:
                self._places.pop()
            self._changed()
            return
        self._places = []
        session.commit(f"Set reference {word}", after)
        session.select({id})
        self._changed()
        self.room.say(
            f"{after.references[id].name} is set. F2 names it; click on for another, Escape leaves."
        )

    def _take_back(self) -> None:
        self._places.pop()
        self._changed()

    def _drop(self) -> None:
        self._places = []
        self._changed()

    def _leave(self) -> None:
        self.room.use_tool("select")

    def _changed(self) -> None:
        self.room.hint_may_have_changed()
        self.room.redraw()

    def leave(self) -> None:
        self._places, self._hover = [], None

    def marks(self) -> list[Mark]:
        to_screen = self.room.to_screen
        marks: list[Mark] = [Spot(to_screen(place.at)) for place in self._places]
        places = [place.at for place in self._places]
        if self._hover is not None:
            at = to_screen(self._hover.at)
            marks.append(Spot(at, True))
            places.append(self._hover.at)
            gap = distance(places[-2], places[-1]) if len(places) > 1 else 0.0
            far = self.room.length(gap) if gap > references.SHORTEST_LINE else ""
            word = ", ".join(word for word in (far, self._hover.word) if word)
            marks.append(Whisper((at[0] + 12.0, at[1] + 18.0), word))  # the name of a point stands above it
        if len(places) > 1:
            ring = (*places, places[0]) if len(places) == 3 else tuple(places)
            marks.insert(0, Stroke(tuple(to_screen(place) for place in ring), "accent", 1.4))
        return marks
