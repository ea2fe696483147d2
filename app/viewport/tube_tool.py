"""Lay a tube by placing its nodes in turn; the real bent tube follows the pointer."""

import math

import numpy as np
from PySide6.QtCore import Qt

from app.units import parse_angle, parse_length
from app.viewport import guides
from app.viewport.guides import Guides
from app.viewport.marks import Mark, Spot, Stroke, Typed
from app.viewport.placing import Aim, Wanted
from app.viewport.surface import Place
from app.viewport.tools import Key, Pointer, Room, Tool, ToolName, aim_ball, aim_marks, seat_words
from geometry import edits
from geometry.edits import Item
from geometry.errors import GeometryError
from geometry.layout import Landing, Layout
from geometry.tolerances import SAME_POINT
from geometry.tube import centreline
from geometry.vectors import Vec3, direction, distance, plus, times, turned, vec

NUMBER_SIGNS = "0123456789.'\"/+-, "
NEXT_POINT = 1.0  # mm from the last point at which a next one is meant
UNIT_LETTERS = "mcinft"  # of mm, cm, in, ft; X, Y, Z and A keep their own meaning


START = "Click the body, a tube or a node to start; Space means the next thing there."
START_ON_BOTH = "Click body, tube or node to start, on both sides; B: one side. Space: the next thing."


class TubeTool(Tool):
    """Places the nodes of one new tube after the other."""

    name: ToolName = "tube"
    cursor = Qt.CursorShape.CrossCursor
    axis_matters = True

    def __init__(self, room: Room) -> None:
        super().__init__(room)
        self._items: list[Item] = []
        self._points: list[Vec3] = []
        self._aim: Aim | None = None
        self._pointer: Pointer | None = None
        self._typed = ""
        self._angle = ""  # typed after A
        self._types_angle = False
        self._refusal = ""
        self._start: Layout | None = None  # the layout that the tube is added to
        self._known_guides: tuple[Layout, list[Vec3], Guides] | None = None
        self.tube: int | None = None  # in the preview

    @property
    def is_drawing(self) -> bool:
        return bool(self._items)

    def hint(self) -> str:
        if self.room.stock is None:
            return "Choose a tube size first; the rack is empty."
        if self._typed or self._types_angle:
            return self._typing_hint()
        if not self._items:
            return START_ON_BOTH if self.room.session.layout.both_sides else START
        if len(self._items) == 1:
            return "Click the next point or type its distance; X, Y, Z hold an axis, Shift+X a plane."
        return "Click on; Enter ends the tube, Backspace takes a point back, Shift leaves guides out."

    def _typing_hint(self) -> str:
        if self._types_angle:
            return "Type the turn in degrees, towards the pointer; Enter sets the point, Escape clears."
        if "," in self._typed:
            return "Three lengths with commas: x, y, z. Enter sets the point there, Escape clears."
        if not self._items:
            return "How far from the nearer end of the tube; Enter sets the point, Escape clears."
        turn = " A adds the turn," if len(self._items) > 1 else ""
        return f"Enter sets the point at this distance;{turn} Escape clears."

    # -- pointer ------------------------------------------------------------------

    def press(self, pointer: Pointer) -> bool:
        return False  # a drag orbits, so that one can look round while laying

    def move(self, pointer: Pointer | None) -> None:
        self._pointer = pointer
        self._show()

    def click(self, pointer: Pointer) -> None:
        if self.room.stock is None:
            self.room.say("Choose a tube size first; the rack is empty.")
            return
        self._pointer = pointer
        self._show()
        self._set_point()

    def double_click(self, pointer: Pointer) -> bool:
        self._finish()
        return True

    def axis_changed(self) -> None:
        self._show()

    def _set_point(self) -> None:
        """Take the aimed place as the next node."""
        aim = self._aim
        if aim is None or self._refusal:
            if self._refusal:
                self.room.say(self._refusal)
            return
        if self._points and distance(aim.point, self._points[-1]) < SAME_POINT:
            return
        if self._start is None:
            if self.is_kept_out():
                return
            self._start = self.room.session.layout
        self._items.append(aim.item)
        self._points.append(aim.point)
        self._clear_typed()
        self._show()
        self.room.hint_may_have_changed()

    def _wanted(self) -> Wanted:
        stock = self.room.stock
        limits = self.room.session.layout.limits
        od = stock.od if stock else 0.0
        used = frozenset(item for item in self._items if isinstance(item, int))
        nodes, tubes = self._own()
        pointer = self._pointer
        return Wanted(
            limits.standoff_wanted + od / 2.0,
            self._points[-1] if self._points else None,
            self.room.held_axis,
            self.room.held_plane,
            bool(pointer and pointer.ctrl),
            self.room.snaps and not (pointer and pointer.shift),
            pointer.turn if pointer else 0,
            used | nodes,
            tubes,
        )

    def _own(self) -> tuple[frozenset[int], frozenset[int]]:
        """Return the nodes and tubes of the preview: the tube that is being laid, and its twin."""
        if self._start is None:
            return frozenset(), frozenset()
        layout = self.room.session.layout
        nodes = layout.nodes.keys() - self._start.nodes.keys()
        return frozenset(nodes), frozenset(layout.tubes.keys() - self._start.tubes.keys())

    def _guides(self, pointer: Pointer) -> Guides | None:
        """Return what the next point may be drawn to; Shift keeps it where it is pointed at."""
        if pointer.shift or not self.room.snaps:
            return None
        layout = self._start or self.room.session.layout
        known = self._known_guides
        if known is None or known[0] is not layout or known[1] != self._points:
            last = self._items[-1] if self._items else None
            seat = layout.nodes[last].landing if isinstance(last, int) else last
            host = seat.tube if isinstance(seat, Landing) else None
            edge = guides.edge_by(layout, self._foot())
            found = guides.of(layout, self._points, host, edge=edge)
            known = self._known_guides = (layout, list(self._points), found)
        return known[2]

    def _show(self) -> None:
        """Aim at what lies under the pointer and preview the tube to there."""
        pointer = self._pointer
        self._aim = None
        self._refusal = ""
        if self.room.stock is None:
            return
        if pointer is not None:
            self._aim = guides.aimed(
                self.room.outlook, pointer.x, pointer.y, self._wanted(), self._guides(pointer)
            )
        self._aim = self._with_typed(self._aim)
        self._preview()
        self.room.redraw()

    def _preview(self) -> None:
        if self._start is None:
            return
        session, stock = self.room.session, self.room.stock
        items = list(self._items)
        if self._aim is not None and not self._is_set(self._aim):
            items.append(self._aim.item)
        if stock is None or len(items) < 2:
            self.tube = None
            if session.is_previewing:
                session.preview(self._start)
            return
        try:
            layout, self.tube = edits.add_tube(self._start, items, stock.id)
        except GeometryError as refused:
            self._refusal = refused.message
            return
        session.preview(layout)

    def _foot(self) -> Place | None:
        """Return the metal that the last point stands off."""
        return self.room.outlook.solid.nearest(self._points[-1]) if self._points else None

    # -- typed numbers ------------------------------------------------------------

    def wants(self, key: Key) -> bool:
        if key.ctrl:
            return self._takes_back(key)
        if key.is_any(Qt.Key.Key_Escape):
            return True
        if key.is_any(Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_Backspace):
            return bool(self._items or self._typed)
        return self._is_typing(key)

    def _takes_back(self, key: Key) -> bool:
        """Whether this is Ctrl+Z in the middle of a tube: there it takes back a point."""
        return self.is_drawing and key.ctrl and not key.shift and key.is_any(Qt.Key.Key_Z)

    def _is_typing(self, key: Key) -> bool:
        if len(key.text) != 1:
            return False
        if key.text in NUMBER_SIGNS:
            return bool(self._typed or (key.text != " " and (self._items or key.text not in "/,")))
        if key.text.lower() == "a":
            return len(self._points) > 1
        return bool(self._typed) and key.text.lower() in UNIT_LETTERS

    def key(self, key: Key) -> bool:
        if key.is_any(Qt.Key.Key_Escape):
            self._escape()
        elif key.is_any(Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self._enter()
        elif key.is_any(Qt.Key.Key_Backspace) or self._takes_back(key):
            self._backspace()
        elif key.text.lower() == "a" and self._is_typing(key):
            self._types_angle = not self._types_angle
        elif not key.ctrl and self._is_typing(key):
            self._type(key.text)
        else:
            return False
        self._show()
        self.room.hint_may_have_changed()
        return True

    def _type(self, text: str) -> None:
        if self._types_angle:
            self._angle += text
        else:
            self._typed += text

    def _escape(self) -> None:
        if self._typed or self._types_angle:
            self._clear_typed()
        elif self._items:
            self._drop()
        else:
            self.room.use_tool("select")

    def _enter(self) -> None:
        if self._typed or self._angle:
            if self._aim is None:
                self.room.say("Point where the tube shall go, then press Enter.")
            else:
                self._set_point()
        else:
            self._finish()

    def _backspace(self) -> None:
        if self._types_angle:
            self._types_angle = bool(self._angle)
            self._angle = self._angle[:-1]
        elif self._typed:
            self._typed = self._typed[:-1]
        elif self._items:
            self._items.pop()
            self._points.pop()
            if not self._items:
                self._drop()

    def _clear_typed(self) -> None:
        self._typed = self._angle = ""
        self._types_angle = False

    def _with_typed(self, aim: Aim | None) -> Aim | None:
        """Return the aim at the typed place, distance or turn."""
        if not self._typed and not self._angle:
            return aim
        try:
            if "," in self._typed:
                return self._typed_place()
            if aim is not None and not self._points:
                return self._at_station(aim)
            if aim is None:
                return aim
            return self._at_distance(aim)
        except ValueError as refused:
            self._refusal = str(refused)
            return aim

    def _typed_place(self) -> Aim:
        parts = self._typed.split(",")
        if len(parts) != 3 or not all(part.strip() for part in parts):
            raise ValueError("Write a place as three lengths: x, y, z.")
        x, y, z = (parse_length(part, self.room.units) for part in parts)
        return Aim("free", (x, y, z), (x, y, z), self.room.outlook.solid.nearest((x, y, z)))

    def _at_station(self, aim: Aim) -> Aim:
        """Return the place on a tube at the typed distance from its nearer end."""
        if not isinstance(aim.item, Landing):
            return aim
        layout = self.room.session.layout
        tube = layout.tubes[aim.item.tube]
        line = centreline.of(layout, tube)
        far = parse_length(self._typed, self.room.units)
        if not 0.0 <= far <= line.length:
            raise ValueError(f"Tube {tube.name} is {self.room.length(line.length)} long; type less.")
        station = far if aim.item.station <= line.length / 2.0 else line.length - far
        return Aim("tube", centreline.place_at(line, station), Landing(tube.id, station), word=aim.word)

    def _at_distance(self, aim: Aim) -> Aim:
        last = self._points[-1]
        along = direction(last, aim.point)
        if self._angle and len(self._points) > 1:
            along = self._at_angle(along)
        far = parse_length(self._typed, self.room.units) if self._typed else distance(last, aim.point)
        if far <= 0.0:
            raise ValueError("The distance to the next point must be more than 0.")
        point = plus(last, times(along, far))
        return Aim("free", point, point, self.room.outlook.solid.nearest(point))

    def _at_angle(self, towards: Vec3) -> Vec3:
        """Return the direction that turns by the typed angle towards the pointer."""
        before = np.asarray(direction(self._points[-2], self._points[-1]))
        axis = np.cross(before, towards)
        length = float(np.linalg.norm(axis))
        if length < 1e-9:
            return vec(before)
        return vec(turned(before, axis / length, parse_angle(self._angle)))

    # -- ends ---------------------------------------------------------------------

    def _finish(self) -> None:
        """Record the tube through the points that were set."""
        stock = self.room.stock
        if self._start is None or stock is None:
            return
        if len(self._items) < 2:
            self.room.say("A tube needs two points; click one more.")
            return
        items, start = self._items, self._start
        laid: list[int] = []

        def lay() -> Layout:
            layout, tube = edits.add_tube(start, items, stock.id)
            laid.append(tube)
            return layout

        after = self.attempt(lay)
        if after is None:
            return
        self._reset()
        self.room.session.commit(f"Lay tube {after.tubes[laid[0]].name}", after)
        self.room.session.select({laid[0]})
        self._show()
        self.room.hint_may_have_changed()

    def _drop(self) -> None:
        """Forget the points that were set."""
        had_started = self._start is not None
        self._reset()
        if had_started:
            self.room.session.cancel()

    def _reset(self) -> None:
        self._items, self._points = [], []
        self._start = self.tube = None
        self._clear_typed()

    def end(self) -> None:
        """Record what is laid so far if it makes a tube; another job's tube is not this one's."""
        if len(self._items) > 1 and self.room.session.recorded is self._start:
            self._finish()
        self.leave()

    def leave(self) -> None:
        self._drop()
        self._aim = None
        self._pointer = None

    def layout_changed(self) -> None:
        """Someone else recorded a change: what was laid so far, and aimed at, belongs to what is gone."""
        self._reset()
        self._show()

    # -- what is painted ----------------------------------------------------------

    def marks(self) -> list[Mark]:
        room, stock = self.room, self.room.stock
        if stock is None:
            return []
        marks: list[Mark] = []
        if len(self._points) == 1:  # no tube shows yet where it begins
            marks.append(Spot(room.to_screen(self._points[0])))
        if self._aim is not None and self._points and self._is_set(self._aim):
            marks.append(aim_ball(room, self._aim, stock.od))
        elif self._aim is not None:
            marks += aim_marks(room, self._aim, stock.od, self._leg_words())
            if self._points:
                ends = room.to_screen(self._points[-1]), room.to_screen(self._aim.point)
                marks.append(Stroke(ends, "line", 1.0, True))
        if self._typed or self._types_angle:
            marks.append(self._typed_mark())
        return marks

    def _is_set(self, aim: Aim) -> bool:
        """Whether the pointer still is where the last point was set."""
        return distance(aim.point, self._points[-1]) < NEXT_POINT

    def _leg_words(self) -> str:
        if self._aim is None:
            return ""
        seat = seat_words(self.room, self._aim)
        if not self._points:
            return seat
        words = [f"leg {self.room.length(distance(self._points[-1], self._aim.point))}"]
        words += [seat] if seat else []
        if len(self._points) > 1 and self.tube is not None:
            layout = self.room.session.layout
            if self.tube in layout.tubes:
                bends = centreline.of(layout, layout.tubes[self.tube]).bends
                if bends and bends[-1].index == len(self._points) - 1:
                    words.append(f"bend {math.degrees(bends[-1].angle):.1f}°")
        return ", ".join(words)

    def _typed_mark(self) -> Typed:
        at = self.room.to_screen(self._aim.point) if self._aim else (20.0, 20.0)
        text = self._typed
        if self._types_angle:
            text = f"{text} ∠ {self._angle}".strip()
        words = "x, y, z" if "," in self._typed else "turn, degrees" if self._types_angle else "to next point"
        return Typed((at[0] + 18.0, at[1] + 48.0), text, words, bool(self._refusal))
