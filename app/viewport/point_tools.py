"""Tools that take single points: a lone node, a cut through a tube, points for the import."""

import numpy as np
from msgspec import Struct
from PySide6.QtCore import Qt

from app.viewport import guides, placing
from app.viewport.marks import Mark, Spot, Stroke, Whisper, Xy
from app.viewport.picking import TubePick
from app.viewport.placing import Aim, Wanted
from app.viewport.select_tool import nearest_leg
from app.viewport.tools import Key, Pointer, Room, Tool, ToolName, aim_marks, seat_words
from geometry import edits
from geometry.layout import Landing, Layout
from geometry.tube import centreline
from geometry.vectors import Vec3


class NodeTool(Tool):
    """Puts corners into tubes, and sets nodes that belong to no tube yet."""

    name: ToolName = "node"
    cursor = Qt.CursorShape.CrossCursor

    def __init__(self, room: Room) -> None:
        super().__init__(room)
        self._aim: Aim | None = None

    def hint(self) -> str:
        return "Click a tube for a corner, the body for a lone node; Ctrl ignores both. Escape leaves."

    def move(self, pointer: Pointer | None) -> None:
        self._aim = None if pointer is None else self._at(pointer)
        self.room.redraw()

    def _at(self, pointer: Pointer) -> Aim:
        od = self.room.stock.od if self.room.stock else 0.0
        offset = self.room.session.layout.limits.standoff_wanted + od / 2.0
        is_drawn = self.room.snaps and not pointer.shift
        wanted = Wanted(offset, is_free=pointer.ctrl, middles=is_drawn, turn=pointer.turn)
        snaps = guides.of(self.room.session.layout) if is_drawn else None
        return guides.aimed(self.room.outlook, pointer.x, pointer.y, wanted, snaps)

    def click(self, pointer: Pointer) -> None:
        aim = self._at(pointer)
        if isinstance(aim.item, int):
            self.room.session.select({aim.item})
            return
        on_tube = [aim.item.tube] if isinstance(aim.item, Landing) else []
        if self.is_kept_out() or self.is_locked(on_tube):
            return
        made: list[int] = []
        layout = self.room.session.layout
        after = self.attempt(lambda: _with_node(layout, aim, made))
        if after is not None:
            host = layout.tubes[aim.item.tube].name if isinstance(aim.item, Landing) else ""
            self.room.session.commit(f"Insert corner in {host}" if host else "Add node", after)
            self.room.session.select(made)

    def wants(self, key: Key) -> bool:
        return key.is_any(Qt.Key.Key_Escape)

    def key(self, key: Key) -> bool:
        if key.is_any(Qt.Key.Key_Escape):
            self.room.use_tool("select")
            return True
        return False

    def leave(self) -> None:
        self._aim = None

    def marks(self) -> list[Mark]:
        od = self.room.stock.od if self.room.stock else 0.0
        return (
            [] if self._aim is None else aim_marks(self.room, self._aim, od, seat_words(self.room, self._aim))
        )


def _with_node(layout: Layout, aim: Aim, made: list[int]) -> Layout:
    if isinstance(aim.item, Landing):
        leg, on_leg = nearest_leg(layout, layout.tubes[aim.item.tube], aim.point)
        layout, node = edits.insert_node(layout, aim.item.tube, leg, on_leg)
    else:
        layout, node = edits.add_node(layout, aim.point)
    made.append(node)
    return layout


class SplitTool(Tool):
    """Cuts a tube in two where it is clicked."""

    name: ToolName = "split"
    cursor = Qt.CursorShape.CrossCursor

    def __init__(self, room: Room) -> None:
        super().__init__(room)
        self._pick: TubePick | None = None
        self._node: int | None = None

    def hint(self) -> str:
        return "Click a tube where it shall be cut in two; near a corner, just there. Escape leaves."

    def move(self, pointer: Pointer | None) -> None:
        self._aim_at(pointer)
        self.room.hover(self._pick.tube if self._pick else None)
        self.room.redraw()

    def _aim_at(self, pointer: Pointer | None) -> None:
        self._pick = self._node = None
        if pointer is None:
            return
        outlook = self.room.outlook
        self._pick = placing.tube_at(outlook, pointer.x, pointer.y)
        node = placing.node_at(outlook, pointer.x, pointer.y)
        if self._pick is not None and node in outlook.layout.tubes[self._pick.tube].nodes[1:-1]:
            self._node = node

    def click(self, pointer: Pointer) -> None:
        self._aim_at(pointer)
        pick, node, layout = self._pick, self._node, self.room.session.layout
        if pick is None or self.is_kept_out() or self.is_locked([pick.tube]):
            return
        where = {"node": node} if node is not None else {"station": pick.station}
        after = self.attempt(lambda: edits.split_tube(layout, pick.tube, **where)[0])
        if after is not None:
            self.room.session.commit(f"Split tube {layout.tubes[pick.tube].name}", after)
        self._aim_at(None)

    def wants(self, key: Key) -> bool:
        return key.is_any(Qt.Key.Key_Escape)

    def key(self, key: Key) -> bool:
        if key.is_any(Qt.Key.Key_Escape):
            self.room.use_tool("select")
            return True
        return False

    def leave(self) -> None:
        self._aim_at(None)
        self.room.hover(None)

    def marks(self) -> list[Mark]:
        if self._pick is None or self._pick.tube not in self.room.session.layout.tubes:
            return []
        layout = self.room.session.layout
        line = centreline.of(layout, layout.tubes[self._pick.tube])
        at = self.room.to_screen(self._pick.point)
        ahead = self.room.to_screen(
            tuple((self._pick.point + 50.0 * centreline.direction_at(line, [self._pick.station])[0]).tolist())
        )
        along = np.subtract(ahead, at)
        across = np.array((-along[1], along[0])) / max(float(np.hypot(*along)), 1e-6) * 16.0
        cut = Stroke(
            (tuple(np.subtract(at, across).tolist()), tuple(np.add(at, across).tolist())), "accent", 2.0
        )
        word = (
            "at the node"
            if self._node is not None
            else f"{self.room.length(self._pick.station)} from its start"
        )
        return [cut, Whisper((at[0] + 18.0, at[1] - 12.0), word)]


class PickedPoint(Struct, frozen=True):
    """A point of the body, its panel and triangle."""

    point: Vec3
    panel: int
    triangle: int


class PickPointsTool(Tool):
    """Takes points of the body for the import step and for splitting panels."""

    name: ToolName = "pick points"
    cursor = Qt.CursorShape.CrossCursor

    def __init__(self, room: Room) -> None:
        super().__init__(room)
        self.count = 1  # 0: until Enter
        self.text = ""
        self._picked: list[PickedPoint] = []
        self._hover: PickedPoint | None = None

    def start(self, count: int, text: str) -> None:
        self.count, self.text = count, text
        self._picked, self._hover = [], None
        self.room.hint_may_have_changed()

    def hint(self) -> str:
        text = self.text or "Click a point of the body"
        if not self._picked:
            return f"{text.rstrip('.')}. Escape leaves."
        closes = "Enter closes the loop, " if self.count == 0 else ""
        end = f"{closes}Backspace takes back, Escape drops them."
        return f"{text.rstrip('.')}. {end[:1].upper()}{end[1:]}"

    def move(self, pointer: Pointer | None) -> None:
        self._hover = None if pointer is None else self._at(pointer)
        self.room.redraw()

    def _at(self, pointer: Pointer) -> PickedPoint | None:
        outlook = self.room.outlook
        metal = outlook.body_at(outlook.ray(pointer.x, pointer.y))
        return None if metal is None else PickedPoint(metal.point, metal.panel, metal.triangle)

    def click(self, pointer: Pointer) -> None:
        found = self._at(pointer)
        if found is None:
            self.room.say("Point at the body.")
            return
        self._picked.append(found)
        self.room.hint_may_have_changed()
        if self.count and len(self._picked) >= self.count:
            self._finish()
        self.room.redraw()

    def double_click(self, pointer: Pointer) -> bool:
        if self.count == 0:
            self._finish()
        return True

    def _finish(self) -> None:
        picked, self._picked = list(self._picked), []
        self.room.use_tool("select")
        self.room.points_were_picked(list(picked))

    def wants(self, key: Key) -> bool:
        return key.is_any(Qt.Key.Key_Escape, Qt.Key.Key_Backspace, Qt.Key.Key_Return, Qt.Key.Key_Enter)

    def key(self, key: Key) -> bool:
        if key.is_any(Qt.Key.Key_Escape) and not self._picked:
            self.room.use_tool("select")
            self.room.points_were_picked([])
        elif key.is_any(Qt.Key.Key_Escape):
            self._picked = []
            self.room.hint_may_have_changed()
        elif key.is_any(Qt.Key.Key_Backspace):
            self._picked = self._picked[:-1]
            self.room.hint_may_have_changed()
        elif key.is_any(Qt.Key.Key_Return, Qt.Key.Key_Enter):
            if self.count == 0 and len(self._picked) >= 3:
                self._finish()
            else:
                return False
        else:
            return False
        self.room.redraw()
        return True

    def leave(self) -> None:
        self._picked, self._hover = [], None

    def marks(self) -> list[Mark]:
        places: list[Xy] = [self.room.to_screen(point.point) for point in self._picked]
        marks: list[Mark] = [Spot(at) for at in places]
        if self._hover is not None:
            at = self.room.to_screen(self._hover.point)
            marks.append(Spot(at, True))
            places = [*places, at]
        if len(places) > 1:
            closed = (*places, places[0]) if self.count == 0 and len(places) > 2 else tuple(places)
            marks.insert(0, Stroke(tuple(closed), "accent", 1.4))
        return marks
