"""Select by click and box; drag nodes over the body, in the view plane or along an axis; nudge; delete."""

import numpy as np
from msgspec import Struct
from PySide6.QtCore import Qt

from app.viewport import camera as cameras
from app.viewport import picking, placing
from app.viewport.marks import Box, Mark, Stroke, Whisper
from app.viewport.placing import AXES, Aim, Wanted
from app.viewport.tools import Key, Pointer, Room, Tool, ToolName
from geometry import edits
from geometry.errors import GeometryError
from geometry.layout import Layout, Tube
from geometry.tube import centreline
from geometry.vectors import Vec3, distance, minus, plus, times

RIDES_WITHIN = 2.5  # times the farthest stand-off wanted: nodes farther from the metal are not on it
SAME_RIDE = 8.0  # mm; a node that is not where its ride would put it is not ridden
SLIDES_WITHIN = 30.0  # pixels that a landing may be pulled from its tube before it comes off
NUDGE_KEYS: dict[int, tuple[float, float, float]] = {  # right, up, towards the viewer
    Qt.Key.Key_Left: (-1.0, 0.0, 0.0),
    Qt.Key.Key_Right: (1.0, 0.0, 0.0),
    Qt.Key.Key_Up: (0.0, 1.0, 0.0),
    Qt.Key.Key_Down: (0.0, -1.0, 0.0),
    Qt.Key.Key_PageUp: (0.0, 0.0, -1.0),
    Qt.Key.Key_PageDown: (0.0, 0.0, 1.0),
}
BIG_NUDGE = 10.0  # with Shift


class Drag(Struct, frozen=True, eq=False):
    """A drag as it began; every move is worked out from here, so nothing drifts."""

    press: Pointer
    start: Layout
    selection: frozenset[int]
    nodes: frozenset[int]
    grabbed: Vec3  # where the thing under the pointer was
    node: int | None  # the node under the pointer; None: a tube
    slip: tuple[float, float]  # from the pointer to the grabbed point on the screen
    ride: float | None  # distance from the metal that is kept
    host: str | None  # the tube that a lone landing slides along


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
        self._plane_through: Vec3 | None = None
        self._aim: Aim | None = None
        self._nudged = False
        self._at_press: placing.Outlook | None = None

    def hint(self) -> str:
        if self._drag is not None:
            if self.room.held_axis:
                axis = self.room.held_axis.upper()
                return f"Moving along {axis} only; let go of {axis} to move freely. Escape puts it back."
            if self._drag.host is not None:
                return f"Sliding along {self._drag.host}; pull it away to free it. Escape puts it back."
            if self._drag.ride is not None:
                return "Riding the body. Hold Ctrl to free it, X, Y or Z for an axis; Escape puts it back."
            return "Moving. Hold X, Y or Z for one axis; Escape puts it back."
        if self._box is not None:
            return "Release to select what lies in the box."
        layout, chosen = self.room.session.layout, self.room.session.selection
        if any(id in layout.tubes for id in chosen):
            return "Drag to move, arrows nudge, double-click a leg adds a node, Delete removes."
        if any(id in layout.nodes for id in chosen):
            return "Drag to move, arrows nudge, Delete removes; Shift-click adds to the selection."
        return "Click a tube or node; Shift-drag a box; drag empty space to orbit, wheel to zoom."

    # -- pointer ------------------------------------------------------------------

    def press(self, pointer: Pointer) -> bool:
        self._press = pointer
        if pointer.shift or (pointer.ctrl and self._under(pointer) is None):
            self._box = None
            return True
        found = self._under(pointer)
        if found is None or found in self.room.session.layout.panels:
            return False
        session = self.room.session
        if found in session.layout.tubes and found not in session.selection:
            return False  # a click selects it; a drag looks round, as beside it
        if found not in session.selection:
            session.select({found})
        self._take(pointer, found)
        return True

    def _under(self, pointer: Pointer) -> int | None:
        """Return the node, tube or panel under the pointer."""
        outlook = self.room.outlook
        node = placing.node_at(outlook, pointer.x, pointer.y)
        if node is not None:
            return node
        tube = placing.tube_at(outlook, pointer.x, pointer.y)
        if tube is not None:
            return tube.tube
        metal = outlook.body_at(outlook.ray(pointer.x, pointer.y))
        return None if metal is None else metal.panel

    def under(self, pointer: Pointer) -> int | None:
        return self._under(pointer)

    def _take(self, pointer: Pointer, found: int) -> None:
        """Get ready to drag the selection by the thing under the pointer."""
        layout, selection = self.room.session.layout, self.room.session.selection
        nodes = {id for id in selection if id in layout.nodes}
        for id in selection & layout.tubes.keys():
            nodes |= set(layout.tubes[id].nodes)
        node = found if found in layout.nodes else None
        grabbed = layout.nodes[found].position if node is not None else self._tube_point(pointer, found)
        at = self.room.to_screen(grabbed)
        self._drag = Drag(
            pointer,
            layout,
            selection,
            frozenset(nodes),
            grabbed,
            node,
            (at[0] - pointer.x, at[1] - pointer.y),
            None if node is None else self._ride_of(node, grabbed, at),
            None if node is None or len(nodes) > 1 else _host_name(layout, node),
        )
        self._plane_through = grabbed

    def _tube_point(self, pointer: Pointer, tube: int) -> Vec3:
        for pick in picking.tubes_at(self.room.outlook.sight, pointer.x, pointer.y):
            if pick.tube == tube:
                return pick.point
        raise AssertionError("the tube was under the pointer")

    def _ride_of(self, node: int, position: Vec3, at: tuple[float, float]) -> float | None:
        """Return the distance from the metal to keep, if the node is seen to sit on the body."""
        outlook = self.room.outlook
        layout = outlook.layout
        if layout.nodes[node].landing is not None:
            return None
        ods = [layout.stocks[tube.stock].od for tube in layout.tubes.values() if node in tube.nodes]
        gap = outlook.solid.gap(position)
        if not gap - max(ods, default=0.0) / 2.0 <= RIDES_WITHIN * layout.limits.standoff_farthest:
            return None
        rode = placing.ride(outlook, *at, gap - 0.03)
        return gap if rode is not None and distance(rode, position) < SAME_RIDE else None

    def drag(self, pointer: Pointer) -> None:
        if self._press is None or not (self._drag_began or pointer.is_far_from(self._press)):
            return
        if self._drag is not None:
            self._move_to(pointer)
        elif self._press.shift or self._press.ctrl:
            self._box = (self._press, pointer)
            self.room.redraw()
        self.room.hint_may_have_changed()

    @property
    def _drag_began(self) -> bool:
        return self.room.session.is_previewing or self._box is not None

    @property
    def is_dragging(self) -> bool:
        return self._drag is not None and self.room.session.is_previewing

    def _move_to(self, pointer: Pointer) -> None:
        drag = self._drag
        assert drag is not None
        x, y = pointer.x + drag.slip[0], pointer.y + drag.slip[1]
        try:
            layout = self._moved(drag, x, y, pointer)
        except GeometryError as refused:
            self.room.say(refused.message)
            return
        if layout is drag.start and self.room.session.layout is drag.start:
            return
        self.room.session.preview(layout)
        self.room.session.select(drag.selection)  # a node that was joined to another may be back

    def _moved(self, drag: Drag, x: float, y: float, pointer: Pointer) -> Layout:
        lone = drag.node if drag.node is not None and drag.nodes == {drag.node} else None
        self._aim = None
        axis = self.room.held_axis
        if lone is not None and axis is None:
            layout = self._drawn_on(drag, lone, x, y, pointer)
            if layout is not None:
                return layout
        place = self._place(drag, x, y, pointer, axis)
        if lone is not None:
            start = drag.start
            if start.nodes[lone].landing is not None:  # pulled off its tube
                start = edits.set_landing(start, lone, None)
            return edits.place_node(start, lone, place)
        return edits.move_nodes(drag.start, drag.nodes, minus(place, drag.grabbed))

    def _drawn_on(self, drag: Drag, node: int, x: float, y: float, pointer: Pointer) -> Layout | None:
        """Return the layout with one node slid along its tube, or drawn onto a node or tube."""
        start = drag.start
        landing = start.nodes[node].landing
        if pointer.ctrl:
            return None
        if landing is not None:
            seat = self._slid(start, landing.tube, x, y)
            return None if seat is None else edits.place_node(start, node, seat)
        outlook = self._outlook_at(start)
        own = frozenset(tube.id for tube in start.tubes.values() if node in tube.nodes)
        near = {n for id in own for n in start.tubes[id].nodes} | {node}
        onto = placing.node_at(outlook, x, y, near)
        if onto is not None:
            self._aim = Aim("node", start.nodes[onto].position, onto, word="release to join")
            return edits.merge_nodes(start, onto, node)
        if not _is_end(start, node):
            return None
        pick = placing.tube_at(outlook, x, y, own)
        if pick is None:
            return None
        seat_on = edits.landing_at(start, pick.tube, pick.point)
        self._aim = Aim("tube", pick.point, seat_on, word=f"on {start.tubes[pick.tube].name}")
        return edits.set_landing(start, node, seat_on)

    def _outlook_at(self, layout: Layout) -> placing.Outlook:
        """Return the outlook with the nodes and tubes where they were at the press."""
        now, known = self.room.outlook, self._at_press
        if known is None or known.layout is not layout or known.sight.camera is not now.sight.camera:
            sight = picking.look(layout, now.sight.camera, now.sight.size)
            known = placing.Outlook(sight, now.shown, now.solid, now.cut, now.sees_through)
            self._at_press = known
        return known

    def _slid(self, layout: Layout, host: int, x: float, y: float) -> Vec3 | None:
        """Return the point of the host tube by the pointer; None when it is pulled away."""
        line = centreline.of(layout, layout.tubes[host])
        sight = self.room.outlook.sight
        points = centreline.sample(line, sagitta=1.0, longest=15.0)[0]
        screen, _ = cameras.project(sight.camera, sight.size, points)
        gaps = np.hypot(screen[:, 0] - x, screen[:, 1] - y)
        best = int(np.argmin(gaps))
        if gaps[best] > SLIDES_WITHIN:
            return None
        low, high = points[max(best - 1, 0)], points[min(best + 1, len(points) - 1)]
        return picking.nearest_on_segment_to_ray(low, high, self.room.outlook.ray(x, y))

    def _place(self, drag: Drag, x: float, y: float, pointer: Pointer, axis: str | None) -> Vec3:
        outlook = self.room.outlook
        if axis is not None:
            wanted = Wanted(0.0, drag.grabbed, axis)
            self._aim = placing.aim(outlook, x, y, wanted)
            return self._aim.point
        if drag.ride is not None and not pointer.ctrl:
            ridden = placing.aim_on_body(outlook, x, y, drag.ride)
            if ridden is not None:
                self._plane_through = ridden.point
                self._aim = ridden
                return ridden.point
        through = self._plane_through or drag.grabbed
        wanted = Wanted(0.0, through, None, True)
        return placing.aim(outlook, x, y, wanted).point

    def release(self, pointer: Pointer) -> None:
        if self._box is not None:
            self._select_box(pointer)
        elif self._drag is not None and self.room.session.is_previewing:
            self._record(self._drag)
        elif self._press is not None and (self._press.shift or self._press.ctrl):
            self._toggle(self._press)
        self._forget()

    def _record(self, drag: Drag) -> None:
        session = self.room.session
        session.commit(_move_name(drag, session.layout))
        if (
            drag.node not in session.layout.nodes
            and self._aim is not None
            and isinstance(self._aim.item, int)
        ):
            session.select({self._aim.item})

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
        found = self._under(pointer)
        self.room.session.select(() if found is None else {found})

    def move(self, pointer: Pointer | None) -> None:
        found = None if pointer is None else self._under(pointer)
        self.room.hover(None if found in self.room.session.layout.panels else found)

    def double_click(self, pointer: Pointer) -> bool:
        pick = placing.tube_at(self.room.outlook, pointer.x, pointer.y)
        if pick is None or placing.node_at(self.room.outlook, pointer.x, pointer.y) is not None:
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
            was_moved = self._drag is not None or self._nudged
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
        if self.is_dragging and self.room.pointer is not None:
            self._move_to(self.room.pointer)

    def _nudge(self, arrow: tuple[float, float, float], many: float) -> bool:
        """Move the selection by a step along the car's axis that the arrow points along on the screen."""
        session = self.room.session
        ids = [id for id in session.selection if id in session.layout.nodes or id in session.layout.tubes]
        if not ids:
            return False
        shift = times(_axis_along(self.room.outlook.sight.camera, arrow), self.step * many)
        moved = self.attempt(lambda: edits.move_nodes(session.layout, ids, shift))
        if moved is not None and moved is not session.layout:
            self._nudged = True
            session.preview(moved)
        return True

    def delete(self) -> bool:
        """Delete the selected nodes and tubes; panels are left out in the list of panels."""
        session = self.room.session
        layout = session.layout
        ids = [id for id in session.selection if id in layout.nodes or id in layout.tubes]
        if not ids:
            if session.selection:
                self.room.say("Body panels are left out or removed in the list of panels.")
            return bool(session.selection)
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
        session = self.room.session
        if session.is_previewing:
            session.cancel()
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
        was_moving = self._drag is not None and self.room.session.is_previewing
        self._forget()
        if self._nudged:
            self._end_nudge()
        elif was_moving:
            self.room.session.cancel()

    def _forget(self) -> None:
        self._press = self._drag = self._box = self._plane_through = self._aim = self._at_press = None
        self.room.hint_may_have_changed()
        self.room.redraw()

    # -- what is painted ----------------------------------------------------------

    def marks(self) -> list[Mark]:
        if self._box is not None:
            a, b = self._box
            return [Box((a.x, a.y), (b.x, b.y))]
        if not self.is_dragging or self._aim is None or self._drag is None:
            return []
        at = self.room.to_screen(self._aim.point)
        marks: list[Mark] = []
        if self._aim.kind == "axis" and self.room.held_axis:
            marks.append(_axis_line(self.room, self._drag.grabbed, self.room.held_axis))
        if self._aim.kind == "body" and self._aim.foot is not None:
            marks.append(Stroke((at, self.room.to_screen(self._aim.foot.point)), "accent", 1.4))
        if self._aim.word:
            marks.append(Whisper((at[0] + 14.0, at[1] - 10.0), self._aim.word, "accent"))
        return marks


def _axis_line(room: Room, through: Vec3, axis: str) -> Stroke:
    a, b = (room.to_screen(plus(through, times(AXES[axis], reach))) for reach in (-3000.0, 3000.0))
    return Stroke((a, b), axis, 1.2, True)  # type: ignore[arg-type]


def _is_end(layout: Layout, node: int) -> bool:
    """Whether a node only ends tubes and turns none."""
    tubes = [tube for tube in layout.tubes.values() if node in tube.nodes]
    return bool(tubes) and all(node in (tube.nodes[0], tube.nodes[-1]) for tube in tubes)


def _host_name(layout: Layout, node: int) -> str | None:
    landing = layout.nodes[node].landing
    return None if landing is None else layout.tubes[landing.tube].name


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


def _move_name(drag: Drag, layout: Layout) -> str:
    if drag.node is not None and len(drag.nodes) == 1:
        return "Move node" if drag.node in layout.nodes else "Join nodes"
    return f"Move {len(drag.nodes)} nodes"


def _delete_name(layout: Layout, ids: list[int]) -> str:
    if len(ids) == 1:
        return f"Delete tube {layout.tubes[ids[0]].name}" if ids[0] in layout.tubes else "Delete node"
    return f"Delete {len(ids)} things"
