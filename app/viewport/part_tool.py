"""Hangs a part at the pointer until a click puts it into the job."""

import math

from PySide6.QtCore import Qt

from app.viewport import guides
from app.viewport.marks import Mark
from app.viewport.placing import Aim, Wanted
from app.viewport.tools import Key, Pointer, Room, Tool, ToolName, aim_marks
from geometry import edits, part_groups
from geometry.errors import GeometryError
from geometry.layout import Landing, Layout
from geometry.part_groups import PartGroup
from geometry.tolerances import SAME_POINT
from geometry.vectors import Vec3, distance

STEP = math.radians(15.0)


class PartTool(Tool):
    """Puts one part as often as it is clicked; the view previews it through the session."""

    name: ToolName = "part"
    cursor = Qt.CursorShape.CrossCursor

    def __init__(self, room: Room) -> None:
        super().__init__(room)
        self._part: PartGroup | None = None
        self._turns = 0  # by a step, anticlockwise as seen from above
        self._is_mirrored = False
        self._aim: Aim | None = None
        self._shows = False
        self._put_down: Pointer | None = None  # where the last one was placed: the next waits for a move

    def start(self, part: PartGroup) -> None:
        """Take a part to hang at the pointer."""
        self.leave()
        self._part, self._turns, self._is_mirrored, self._put_down = part, 0, False, None
        self.room.hint_may_have_changed()

    @property
    def _turn(self) -> float:
        return self._turns * STEP

    def hint(self) -> str:
        if self._part is None:
            return "Choose a part first."
        turned = f", turned {(self._turns * 15) % 360}°" if self._turns % 24 else ""
        mirrored = ", mirrored" if self._is_mirrored else ""
        keys = "click places it, R turns by 15°, M mirrors, Escape leaves."
        return f"Part {self._part.name}{turned}{mirrored}: {keys}"

    def move(self, pointer: Pointer | None) -> None:
        if pointer is None or (self._put_down is not None and not pointer.is_far_from(self._put_down)):
            self._drop()
            return
        self._put_down = None
        self._aim = self._at(pointer)
        self._show()

    def click(self, pointer: Pointer) -> None:
        session = self.room.session
        if self._part is None or (not self._shows and self.is_kept_out()):
            return
        aim = self._at(pointer)
        found: list[int] = []
        after = self.attempt(lambda: self._joined(aim, found))
        if after is None:
            return
        self._shows = False
        session.commit(f"Place {self._part.name}", after)
        session.select(id for id in found if id in session.layout.tubes)
        self._put_down, self._aim = pointer, None
        self.room.redraw()

    def double_click(self, pointer: Pointer) -> bool:
        return True  # the second click of a pair is at the same place

    def wants(self, key: Key) -> bool:
        return key.is_any(Qt.Key.Key_R, Qt.Key.Key_M, Qt.Key.Key_Escape) and not key.ctrl

    def key(self, key: Key) -> bool:
        if not self.wants(key):
            return False
        if key.is_any(Qt.Key.Key_Escape):
            self.room.use_tool("select")
            return True
        if key.is_any(Qt.Key.Key_R):
            self._turns += -1 if key.shift else 1
        else:
            self._is_mirrored = not self._is_mirrored
        self._show()
        self.room.hint_may_have_changed()
        return True

    def leave(self) -> None:
        self._drop()
        self._part = self._put_down = None

    def layout_changed(self) -> None:
        if not self.room.session.is_previewing:
            self._shows = False

    def marks(self) -> list[Mark]:
        if self._aim is None or self._part is None:
            return []
        return aim_marks(self.room, self._aim, self._od)

    @property
    def _od(self) -> float:
        return max((stock.od for stock in self._part.stocks), default=0.0) if self._part else 0.0

    def _at(self, pointer: Pointer) -> Aim:
        session = self.room.session
        old, now = session.recorded, session.layout
        wanted = Wanted(
            old.limits.standoff_wanted + self._od / 2.0,
            is_free=pointer.ctrl,
            turn=pointer.turn,
            without_nodes=frozenset(now.nodes.keys() - old.nodes.keys()),
            without_tubes=frozenset(now.tubes.keys() - old.tubes.keys()),
        )
        snaps = guides.of(old) if self.room.snaps and not pointer.shift else None
        return guides.aimed(self.room.outlook, pointer.x, pointer.y, wanted, snaps)

    def _show(self) -> None:
        """Preview the part where the pointer is."""
        session = self.room.session
        if self._part is None or self._aim is None or (session.is_previewing and not self._shows):
            return
        aim = self._aim
        try:
            after = self._joined(aim, [])
        except GeometryError as refused:
            self.room.say(refused.message)
            return
        self._shows = True
        session.preview(after)
        self.room.redraw()

    def _joined(self, aim: Aim, found: list[int]) -> Layout:
        """Return the job with the part, its base joined to the node or tube pointed at if it can be."""
        assert self._part is not None
        before = self.room.session.recorded
        after, tubes = part_groups.placed(before, self._part, aim.point, self._turn, self._is_mirrored)
        found.extend(tubes)
        base = _node_at(before, after, aim.point)
        if base is None:
            return after
        try:
            if isinstance(aim.item, int):
                return edits.merge_nodes(after, aim.item, base)
            if isinstance(aim.item, Landing):
                return edits.set_landing(after, base, aim.item)
        except GeometryError:
            return after  # it hangs there all the same, joined to nothing
        return after

    def _drop(self) -> None:
        self._aim = None
        if self._shows:
            self._shows = False
            self.room.session.cancel()
        self.room.redraw()


def _node_at(before: Layout, after: Layout, place: Vec3) -> int | None:
    """Return the new node at a place."""
    new = (node for id, node in after.nodes.items() if id not in before.nodes)
    return next((node.id for node in new if distance(node.position, place) < SAME_POINT), None)
