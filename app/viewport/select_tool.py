"""Select by click and box; drag nodes over the body, in the view plane or along an axis; nudge; delete."""

from collections.abc import Iterator

import numpy as np
from PySide6.QtCore import Qt

from app.viewport import aids_drawn, picking, placing, riding, wheel_picking
from app.viewport import camera as cameras
from app.viewport.dragging import Drag
from app.viewport.marks import Box, Mark
from app.viewport.tools import Key, Pointer, Room, Tool, ToolName
from geometry import edits, zoning
from geometry.errors import GeometryError
from geometry.layout import Layout, Tube
from geometry.vectors import Vec3, distance, plus, times

NUDGE_KEYS: dict[int, tuple[float, float, float]] = {  # right, up, towards the viewer
    Qt.Key.Key_Left: (-1.0, 0.0, 0.0),
    Qt.Key.Key_Right: (1.0, 0.0, 0.0),
    Qt.Key.Key_Up: (0.0, 1.0, 0.0),
    Qt.Key.Key_Down: (0.0, -1.0, 0.0),
    Qt.Key.Key_PageUp: (0.0, 0.0, -1.0),
    Qt.Key.Key_PageDown: (0.0, 0.0, 1.0),
}
BIG_NUDGE = 10.0  # with Shift
EDIT_KEYS = (Qt.Key.Key_Delete, Qt.Key.Key_Backspace, Qt.Key.Key_Insert)


class SelectTool(Tool):
    """The tool at rest."""

    name: ToolName = "select"
    axis_matters = True

    def __init__(self, room: Room) -> None:
        super().__init__(room)
        self.step = 5.0
        self._press: Pointer | None = None
        self._drag: Drag | None = None
        self._box: tuple[Pointer, Pointer] | None = None
        self._nudged = False

    def hint(self) -> str:
        if self._drag is not None:
            return self._drag.hint()
        if self._box is not None:
            return "Release to select what lies in the box."
        layout, chosen = self.room.session.layout, self.room.session.selection
        if not layout.tubes and not layout.panels:
            return "Bring in a body with Ctrl+I, or measure one with Ctrl+B; a file dropped here opens."
        if any(id in layout.zones or id in layout.references for id in chosen):
            return "Arrows move it, H hides it, F2 names it, Delete removes it; its numbers are at the right."
        if not layout.tubes:
            return "Press T to lay the first tube, W along the body; drag to turn, wheel to zoom."
        if any(id in layout.tubes for id in chosen):
            return _tube_hint([layout.tubes[id] for id in chosen if id in layout.tubes])
        if any(id in layout.nodes for id in chosen):
            if any(layout.nodes[id].twin not in (None, id) for id in chosen if id in layout.nodes):
                return "Drag to move, arrows nudge; the other side follows. Delete removes, Shift-click adds."
            return "Drag to move, arrows nudge, Delete removes; Shift-click adds to the selection."
        if any(id in layout.axles for id in chosen):
            return "Shift+X shows what its tyres sweep through; sliders at the right move the wheels."
        if any(id in layout.panels or id in layout.bodies for id in chosen):
            return "H hides it, F2 names it; a right click offers more. Escape lets it go."
        return "Click a tube or node; Shift-drag a box; drag empty space to turn, wheel to zoom."

    # -- pointer ------------------------------------------------------------------

    def press(self, pointer: Pointer) -> bool:
        self._press = pointer
        if pointer.shift or (pointer.ctrl and self._under(pointer) is None):
            self._box = None
            return True
        found = self._under(pointer)
        session = self.room.session
        if found is None or not _moves(session.layout, found) or self._is_busy_elsewhere:
            return False
        if found in session.layout.tubes and found not in session.selection:
            return False  # a click selects it; a drag looks round, as beside it
        if self.is_locked([found]):
            return False
        if found not in session.selection:
            session.select({found})
        self._drag = Drag(self.room, pointer, found)
        return True

    def _under(self, pointer: Pointer) -> int | None:
        """Return the node, tube, axle or panel under the pointer, or the next one that was asked for."""
        found = self._things_under(pointer)
        if pointer.turn:
            return ((things := list(found)) and things[pointer.turn % len(things)]) or None
        return next(found, None)

    def _things_under(self, pointer: Pointer) -> Iterator[int]:
        """Yield all that lies under the pointer: nodes, tubes, then the wheel or panel that is seen."""
        outlook = self.room.outlook
        yield from placing.nodes_at(outlook, pointer.x, pointer.y)
        for pick in placing.tubes_at(outlook, pointer.x, pointer.y):
            yield pick.tube
        aid = aids_drawn.at(outlook, pointer.x, pointer.y)
        if aid is not None:
            yield aid
        ray = outlook.ray(pointer.x, pointer.y)
        metal = outlook.body_at(ray)
        wheel = wheel_picking.axle_at(outlook.layout, ray) if outlook.shows_wheels else None
        if wheel is not None and (metal is None or wheel[1] < metal.distance):
            yield wheel[0]
        if metal is not None:
            yield metal.panel

    def under(self, pointer: Pointer) -> int | None:
        return self._under(pointer)

    @property
    def _is_busy_elsewhere(self) -> bool:
        """Whether a preview is open that is not this tool's: a step that must end first."""
        is_own = self._nudged or (self._drag is not None and self._drag.has_moved)
        return self.room.session.is_previewing and not is_own

    def drag(self, pointer: Pointer) -> None:
        if self._press is None or not (self._has_begun or pointer.is_far_from(self._press)):
            return
        if self._drag is not None:
            self._drag.move_to(pointer)
        elif self._press.shift or self._press.ctrl:
            self._box = (self._press, pointer)
            self.room.redraw()
        self.room.hint_may_have_changed()

    @property
    def _has_begun(self) -> bool:
        return self.is_dragging or self._box is not None

    @property
    def is_dragging(self) -> bool:
        return self._drag is not None and self._drag.has_moved

    def release(self, pointer: Pointer) -> None:
        if self._box is not None:
            self._select_box(pointer)
        elif self._drag is not None and self._drag.has_moved:
            self._drag.record()
        elif self._press is not None and (self._press.shift or self._press.ctrl):
            self._toggle(self._press)
        self._forget()

    def _select_box(self, pointer: Pointer) -> None:
        assert self._box is not None
        press, _ = self._box
        sight = self.room.outlook.sight
        found = picking.things_in_box(sight, press.x, press.y, pointer.x, pointer.y)
        before = self.room.session.selection if press.shift else frozenset()
        self.room.session.select(before | {id for id in found if placing.is_seen(self.room.outlook, id)})

    def _toggle(self, pointer: Pointer) -> None:
        found = self._under(pointer)
        if found is not None:
            self.room.session.select(self.room.session.selection ^ {found})

    def click(self, pointer: Pointer) -> None:
        found, session = self._under(pointer), self.room.session
        if found in session.layout.panels and not session.selection <= session.layout.panels.keys():
            found = None  # a click beside tubes lets them go; the panel is not what was meant
        session.select(() if found is None else {found})

    def move(self, pointer: Pointer | None) -> None:
        found = None if pointer is None else self._under(pointer)
        self.room.hover(None if found in self.room.session.layout.panels else found)

    def double_click(self, pointer: Pointer) -> bool:
        pick = placing.tube_at(self.room.outlook, pointer.x, pointer.y)
        on_node = placing.node_at(self.room.outlook, pointer.x, pointer.y) is not None
        if pick is None or on_node or self.room.session.is_previewing:
            return False
        self._insert(pick.tube, pick.point)
        return True

    # -- keys ---------------------------------------------------------------------

    def wants(self, key: Key) -> bool:
        if self._drag is not None or self._box is not None:
            return key.is_any(Qt.Key.Key_Escape)
        has_any = bool(self.room.session.selection)
        return has_any and (
            (key.code in NUDGE_KEYS and not key.ctrl)
            or key.is_any(Qt.Key.Key_Escape, Qt.Key.Key_Delete, Qt.Key.Key_Insert)
        )

    def key(self, key: Key) -> bool:
        if key.is_any(Qt.Key.Key_Escape):
            return self._escape()
        if self._drag is not None:
            return False
        is_edit = key.code in NUDGE_KEYS or key.is_any(*EDIT_KEYS)
        if is_edit and self.room.session.selection and self._is_busy_elsewhere:
            return self.is_kept_out()
        if key.code in NUDGE_KEYS and not key.ctrl:
            return self._nudge(NUDGE_KEYS[key.code], BIG_NUDGE if key.shift else 1.0)
        if key.is_any(Qt.Key.Key_Delete, Qt.Key.Key_Backspace):
            return self.delete()
        if key.is_any(Qt.Key.Key_Insert):
            return self.insert()
        return False

    def key_released(self, key: Key) -> None:
        if self._nudged and key.code in NUDGE_KEYS:
            self._end_nudge()

    def _end_nudge(self) -> None:
        if self._nudged:
            self._nudged = False
            self.room.session.commit("Nudge")

    def _escape(self) -> bool:
        if self._drag is not None or self._box is not None or self._nudged:
            was_moved = self.is_dragging or self._nudged
            self._nudged = False
            self._forget()
            if was_moved:
                self.room.session.cancel()
            return True
        if self.room.session.selection:
            self.room.session.select(())
            return True
        return False

    def axis_changed(self) -> None:
        if self._drag is not None and self._drag.has_moved and self.room.pointer is not None:
            self._drag.move_to(self.room.pointer)
            self.room.hint_may_have_changed()

    def _nudge(self, arrow: tuple[float, float, float], many: float) -> bool:
        """Move the selection by a step along the car's axis that the arrow points along on the screen."""
        session = self.room.session
        layout = session.layout
        ids = [id for id in session.selection if _moves(layout, id)]
        aids = [id for id in session.selection if id in layout.references or id in layout.zones]
        if not ids and not aids:
            return False
        if self.is_locked(ids):
            return True
        shift = times(_axis_along(self.room.outlook.sight.camera, arrow), self.step * many)
        moved = self.attempt(lambda: zoning.move_aids(self._shifted(layout, ids, shift), aids, shift))
        if moved is not None and moved is not session.layout:
            self._nudged = True
            session.preview(moved)
        return True

    def _shifted(self, layout: Layout, ids: list[int], shift: Vec3) -> Layout:
        """Return the layout with nodes and tubes moved; what rides on the body slides back to its gap."""
        nodes = {node for id in ids if id in layout.tubes for node in layout.tubes[id].nodes}
        nodes |= layout.nodes.keys() & set(ids)
        return riding.kept_off(self.room.outlook, edits.move_nodes(layout, ids, shift), nodes)

    def delete(self) -> bool:
        """Delete what is selected but panels and bodies, which are left out in the list of panels."""
        session = self.room.session
        layout = session.layout
        ids = [id for id in session.selection if id not in layout.panels and id not in layout.bodies]
        if not ids:
            if session.selection:
                self.room.say("Body panels are left out or removed in the list of panels.")
            return bool(session.selection)
        if self.is_locked(id for id in ids if _moves(layout, id)):
            return True
        deleted = self.attempt(lambda: edits.delete(layout, ids))
        if deleted is not None:
            session.commit(_delete_name(layout, ids), deleted)
        return True

    def insert(self) -> bool:
        """Add a node to the tube under the pointer, or to the longest leg of the selected tube."""
        room, layout = self.room, self.room.session.layout
        if room.pointer is not None:
            pick = placing.tube_at(room.outlook, room.pointer.x, room.pointer.y)
            if pick is not None:
                self._insert(pick.tube, pick.point)
                return True
        chosen = [id for id in room.session.selection if id in layout.tubes]
        if len(chosen) != 1:
            room.say("Point at a leg, or select one tube, to insert a node.")
            return True
        tube = layout.tubes[chosen[0]]
        leg = max(range(len(tube.nodes) - 1), key=lambda i: distance(*_leg(layout, tube, i)))
        a, b = _leg(layout, tube, leg)
        self._insert(tube.id, times(plus(a, b), 0.5))
        return True

    def _insert(self, tube: int, point: Vec3) -> None:
        if self.is_locked((tube,)):
            return
        session = self.room.session
        layout = session.layout
        leg, on_leg = nearest_leg(layout, layout.tubes[tube], point)
        try:
            after, node = edits.insert_node(layout, tube, leg, on_leg)
        except GeometryError as refused:
            self.room.say(refused.message)
            return
        session.commit("Insert node", after)
        session.select({node})

    def leave(self) -> None:
        was_moving = self.is_dragging
        self._forget()
        if self._nudged:
            self._end_nudge()
        elif was_moving:
            self.room.session.cancel()

    def _forget(self) -> None:
        self._press = self._drag = self._box = None
        self.room.hint_may_have_changed()
        self.room.redraw()

    # -- what is painted ----------------------------------------------------------

    def marks(self) -> list[Mark]:
        if self._box is not None:
            a, b = self._box
            return [Box((a.x, a.y), (b.x, b.y))]
        return [] if self._drag is None else self._drag.marks()


def _tube_hint(tubes: list[Tube]) -> str:
    """Say what keys do with the selected tubes."""
    if all(tube.locked for tube in tubes):
        return "Locked: it stays where it is. Ctrl+K unlocks it, H hides it."
    if any(tube.twin not in (None, tube.id) for tube in tubes):
        return "Drag to move, arrows nudge; the other side follows. Double-click: a corner, Delete removes."
    return "Drag to move, arrows nudge, a double-click adds a corner, Delete removes; M: the other side."


def _moves(layout: Layout, id: int) -> bool:
    """Whether a thing can be dragged in the view."""
    return id in layout.nodes or id in layout.tubes


def _leg(layout: Layout, tube: Tube, leg: int) -> tuple[Vec3, Vec3]:
    a, b = tube.nodes[leg], tube.nodes[leg + 1]
    return layout.nodes[a].position, layout.nodes[b].position


def nearest_leg(layout: Layout, tube: Tube, point: Vec3) -> tuple[int, Vec3]:
    """Return the leg of a tube nearest to a point, and the place on it."""
    best: tuple[float, int, Vec3] | None = None
    for leg in range(len(tube.nodes) - 1):
        a, b = (np.asarray(end) for end in _leg(layout, tube, leg))
        along = b - a
        part = float(
            np.clip(np.dot(np.subtract(point, a), along) / max(np.dot(along, along), 1e-9), 0.0, 1.0)
        )
        place = tuple((a + along * part).tolist())
        gap = distance(place, point)
        if best is None or gap < best[0]:
            best = (gap, leg, place)
    assert best is not None
    return best[1], best[2]


def _axis_along(camera: cameras.Camera, arrow: tuple[float, float, float]) -> Vec3:
    """Return the car's axis, or its opposite, that lies nearest to an arrow on the screen."""
    right, up, forward = cameras.axes(camera)
    wish = arrow[0] * right + arrow[1] * up - arrow[2] * forward
    index = _screen_axes(camera)[0 if arrow[0] else 1 if arrow[1] else 2]
    axis = np.zeros(3)
    axis[index] = 1.0 if wish[index] >= 0.0 else -1.0
    return (float(axis[0]), float(axis[1]), float(axis[2]))


def _screen_axes(camera: cameras.Camera) -> tuple[int, int, int]:
    """Return which of the car's axes go across, up and into the screen; each one once."""
    right, up, _ = np.abs(cameras.axes(camera))
    vertical = int(np.argmax(up))
    across = max((i for i in range(3) if i != vertical), key=lambda i: right[i])
    return across, vertical, 3 - across - vertical


def _delete_name(layout: Layout, ids: list[int]) -> str:
    if len(ids) == 1:
        for word, things in (("tube", layout.tubes), ("axle", layout.axles)):
            if ids[0] in things:
                return f"Delete {word} {things[ids[0]].name}"
        for aids in (layout.references, layout.zones, layout.measures):
            if ids[0] in aids:
                return f"Delete {aids[ids[0]].name}"
        return "Delete node"
    return f"Delete {len(ids)} things"
