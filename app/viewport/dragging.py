"""A drag of nodes: riding the body, sliding along a tube, joining, along an axis, or in the view plane."""

import numpy as np
from msgspec import Struct

from app.viewport import camera as cameras
from app.viewport import guides, picking, placing, riding
from app.viewport.guides import Guides, Level
from app.viewport.lines import of_all
from app.viewport.marks import Mark, Stroke, Whisper
from app.viewport.placing import AXES, Aim, Outlook, Wanted
from app.viewport.tools import Pointer, Room
from geometry import edits
from geometry.errors import GeometryError
from geometry.layout import Landing, Layout
from geometry.tube import centreline
from geometry.vectors import Vec3, distance, minus, plus, times

RIDES_WITHIN = 2.5  # times the farthest stand-off wanted: nodes farther from the metal are not on it
SAME_RIDE = 8.0  # mm; a node that is not where its ride would put it is not ridden
SLIDES_WITHIN = 30.0  # pixels that a landing may be pulled from its tube before it comes off


class Held(Struct, frozen=True, eq=False):
    """What was taken, as it was at the press; every move is worked out from here, so nothing drifts."""

    start: Layout
    selection: frozenset[int]
    nodes: frozenset[int]
    grabbed: Vec3  # where the thing under the pointer was
    node: int | None  # the node under the pointer; None: a tube
    slip: tuple[float, float]  # from the pointer to the grabbed point on the screen
    ride: float | None  # distance from the metal that is kept

    @property
    def lone(self) -> int | None:
        """The node, when nothing else is moved with it."""
        return self.node if self.nodes == {self.node} else None


def take(room: Room, pointer: Pointer, found: int) -> Held:
    """Take the selection by the node or tube under the pointer."""
    layout, selection = room.session.layout, room.session.selection
    nodes = {id for id in selection if id in layout.nodes}
    for id in selection & layout.tubes.keys():
        nodes |= set(layout.tubes[id].nodes)
    nodes -= {node for tube in layout.tubes.values() if tube.locked for node in tube.nodes}
    node = found if found in layout.nodes else None
    grabbed = layout.nodes[found].position if node is not None else _tube_point(room, pointer, found)
    x, y = room.to_screen(grabbed)
    ride = (
        None
        if node is None
        else riding.offset_of(layout, node) or _ride_of(room.outlook, node, grabbed, (x, y))
    )
    slip = (x - pointer.x, y - pointer.y)
    return Held(layout, selection, frozenset(nodes), grabbed, node, slip, ride)


def _tube_point(room: Room, pointer: Pointer, tube: int) -> Vec3:
    for pick in picking.tubes_at(room.outlook.sight, pointer.x, pointer.y):
        if pick.tube == tube:
            return pick.point
    raise AssertionError("the tube was under the pointer")


def _ride_of(outlook: Outlook, node: int, position: Vec3, at: tuple[float, float]) -> float | None:
    """Return the distance from the metal to keep, if the node is seen to sit on the body."""
    layout = outlook.layout
    if layout.nodes[node].landing is not None:
        return None
    ods = [layout.stocks[tube.stock].od for tube in layout.tubes.values() if node in tube.nodes]
    gap = outlook.solid.gap(position)
    if not gap - max(ods, default=0.0) / 2.0 <= RIDES_WITHIN * layout.limits.standoff_farthest:
        return None
    rode = placing.ride(outlook, *at, gap - 0.03)
    return gap if rode is not None and distance(rode, position) < SAME_RIDE else None


class Drag:
    """Moves what is held to wherever the pointer is; the session shows it as a preview."""

    def __init__(self, room: Room, pointer: Pointer, found: int) -> None:
        self._room = room
        self.held = take(room, pointer, found)
        self.has_moved = False
        self._aim: Aim | None = None
        self._plane_through = self.held.grabbed
        self._at_press: Outlook | None = None
        self._known_guides: Guides | None = None

    def hint(self) -> str:
        axis, lone, plane = self._room.held_axis, self.held.lone, self._room.held_plane
        if plane:
            return f"Moving while {plane.upper()} stays; let go to move freely. Escape puts it back."
        if axis:
            axis = axis.upper()
            return f"Moving along {axis} only; let go of {axis} to move freely. Escape puts it back."
        if self._aim is not None and self._aim.kind == "node":
            return "Release to join the two nodes; Escape puts it back."
        if self._aim is not None and isinstance(self._aim.item, Landing):
            name = self._room.session.layout.tubes[self._aim.item.tube].name
            return f"Release to land the end on {name}; Escape puts it back."
        if lone is not None and (landing := self.held.start.nodes[lone].landing) is not None:
            name = self.held.start.tubes[landing.tube].name
            return f"Sliding along {name}; pull it away to free it. Escape puts it back."
        if self.held.ride is not None:
            return "Riding the body. Ctrl frees it; X, Y, Z hold an axis, with Shift a plane; Escape: back."
        return "Moving. Hold X, Y or Z for one axis; Escape puts it back."

    def move_to(self, pointer: Pointer) -> None:
        held, session = self.held, self._room.session
        try:
            layout = self._moved(pointer.x + held.slip[0], pointer.y + held.slip[1], pointer)
        except GeometryError as refused:
            self._room.say(refused.message)
            return
        if layout is held.start and not self.has_moved:
            return
        self.has_moved = True
        session.preview(layout)
        session.select(held.selection)  # a node that was joined to another may be back

    def record(self) -> None:
        """Record the move as one step."""
        held, session = self.held, self._room.session
        is_joined = held.node is not None and held.node not in session.layout.nodes
        session.commit(_name(held, is_joined))
        if is_joined and self._aim is not None and isinstance(self._aim.item, int):
            session.select({self._aim.item})

    def marks(self) -> list[Mark]:
        """Show what the node is drawn to."""
        if self._aim is None or not self.has_moved:
            return []
        room, aim = self._room, self._aim
        at = room.to_screen(aim.point)
        marks: list[Mark] = [
            Stroke((room.to_screen(a), room.to_screen(b)), "accent", 1.0, True) for a, b in aim.cues
        ]
        if aim.kind == "axis" and room.held_axis:
            marks.append(_axis_line(room, self.held.grabbed, room.held_axis))
        if aim.kind == "body" and aim.foot is not None:
            marks.append(Stroke((at, room.to_screen(aim.foot.point)), "accent", 1.4))
        if aim.word:
            marks.append(Whisper((at[0] + 14.0, at[1] - 10.0), aim.word, "accent"))
        return marks

    def _moved(self, x: float, y: float, pointer: Pointer) -> Layout:
        """Return the layout with what is held by the screen point x, y."""
        held, lone = self.held, self.held.lone
        self._aim = None
        is_held = self._room.held_axis is not None or self._room.held_plane is not None
        if lone is not None and not is_held and not pointer.ctrl:
            layout = self._drawn_on(lone, x, y)
            if layout is not None:
                return layout
        place = self._place(x, y, pointer)
        if lone is None:
            moved = edits.move_nodes(held.start, held.nodes, minus(place, held.grabbed))
            is_held = self._room.held_axis is not None or self._room.held_plane is not None
            if is_held or pointer.ctrl:
                return moved
            return riding.kept_off(self._room.outlook, moved, held.nodes)
        is_seated = held.start.nodes[lone].landing is not None  # and is pulled off its tube
        start = edits.set_landing(held.start, lone, None) if is_seated else held.start
        return edits.place_node(start, lone, place)

    def _drawn_on(self, node: int, x: float, y: float) -> Layout | None:
        """Return the layout with one node slid along its tube, or drawn onto a node or tube."""
        start = self.held.start
        landing = start.nodes[node].landing
        if landing is not None:
            seat = self._slid(start, landing.tube, x, y)
            return None if seat is None else edits.place_node(start, node, seat)
        outlook = self._outlook_at_press()
        own = frozenset(tube.id for tube in start.tubes.values() if node in tube.nodes)
        near = {n for id in own for n in start.tubes[id].nodes} | {node}
        onto = placing.node_at(outlook, x, y, near)
        if onto is not None:
            self._aim = Aim("node", start.nodes[onto].position, onto, word="release to join")
            return edits.merge_nodes(start, onto, node)
        pick = placing.tube_at(outlook, x, y, own) if _is_end(start, node) else None
        if pick is None:
            return None
        seat_on = edits.landing_at(start, pick.tube, pick.point)
        self._aim = Aim("tube", pick.point, seat_on, word=f"on {start.tubes[pick.tube].name}")
        return edits.set_landing(start, node, seat_on)

    def _outlook_at_press(self) -> Outlook:
        """Return the outlook with the nodes and tubes where they were at the press."""
        start, now, known = self.held.start, self._room.outlook, self._at_press
        if known is None or known.sight.camera is not now.sight.camera:
            sight = picking.look(start, now.sight.camera, now.sight.size)
            known = self._at_press = Outlook(sight, now.shown, now.solid, now.cut, now.sees_through)
        return known

    def _slid(self, layout: Layout, host: int, x: float, y: float) -> Vec3 | None:
        """Return the point of the host tube by the pointer; None when it is pulled away."""
        sight = self._room.outlook.sight
        points = centreline.sample(of_all(layout)[host], sagitta=1.0, longest=15.0)[0]
        screen, _ = cameras.project(sight.camera, sight.size, points)
        gaps = np.hypot(screen[:, 0] - x, screen[:, 1] - y)
        best = int(np.argmin(gaps))
        if gaps[best] > SLIDES_WITHIN:
            return None
        low, high = points[max(best - 1, 0)], points[min(best + 1, len(points) - 1)]
        return picking.nearest_on_segment_to_ray(low, high, self._room.outlook.ray(x, y))

    def _place(self, x: float, y: float, pointer: Pointer) -> Vec3:
        """Return where the grabbed point goes: on an axis, over the body, or in the view plane."""
        outlook, held, axis = self._room.outlook, self.held, self._room.held_axis
        if axis is not None:
            self._aim = placing.aim(outlook, x, y, Wanted(0.0, held.grabbed, axis))
            return self._aim.point
        aim = None
        if held.ride is not None and not pointer.ctrl:
            aim = placing.aim_on_body(outlook, x, y, held.ride)
        if aim is None:
            aim = placing.aim(outlook, x, y, Wanted(0.0, self._plane_through, is_free=True))
        plane = self._room.held_plane
        if plane is not None:
            level = Level(held.grabbed, placing.AXES[plane], f"{plane.upper()} stays", held.grabbed)
            aim = guides.held_in(outlook, outlook.ray(x, y), aim, level, held.ride or 0.0)
        elif held.node is not None and self._room.snaps and not (pointer.ctrl or pointer.shift):
            aim = guides.drawn(outlook, x, y, aim, self._guides(), held.ride or 0.0)
        if aim.kind != "free":
            self._aim = aim
        if aim.kind == "body":
            self._plane_through = aim.point  # beside the body it goes on from there
        return aim.point

    def _guides(self) -> Guides:
        """Return what the node may be drawn to: all but what moves with it."""
        if self._known_guides is None:
            moving = {id for id in self.held.nodes if self.held.start.nodes[id].twin is not None}
            twins = {self.held.start.nodes[id].twin or id for id in moving}
            self._known_guides = guides.of(self.held.start, own={*self.held.nodes, *twins})
        return self._known_guides


def _name(held: Held, is_joined: bool) -> str:
    if held.lone is None:
        return f"Move {len(held.nodes)} nodes"
    return "Join nodes" if is_joined else "Move node"


def _axis_line(room: Room, through: Vec3, axis: str) -> Stroke:
    a, b = (room.to_screen(plus(through, times(AXES[axis], reach))) for reach in (-3000.0, 3000.0))
    return Stroke((a, b), axis, 1.2, True)  # type: ignore[arg-type]


def _is_end(layout: Layout, node: int) -> bool:
    """Whether a node only ends tubes and turns none."""
    tubes = [tube for tube in layout.tubes.values() if node in tube.nodes]
    return bool(tubes) and all(node in (tube.nodes[0], tube.nodes[-1]) for tube in tubes)
