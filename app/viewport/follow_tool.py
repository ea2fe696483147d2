"""Lay a tube along the body: point at places, and the tube with the fewest bends follows them."""

from msgspec import Struct
from PySide6.QtCore import Qt

from app import wording
from app.viewport import placing
from app.viewport.marks import Mark, Spot, Stroke, Whisper
from app.viewport.placing import Aim, Wanted
from app.viewport.tools import Key, Pointer, Room, Tool, ToolName, aim_marks
from geometry import edits
from geometry.edits import Item
from geometry.errors import GeometryError
from geometry.laying import asked, wish
from geometry.laying.wish import Angles, Place, Proposal
from geometry.layout import Landing, Layout
from geometry.vectors import Vec3, direction, distance

JOINS_WITHIN = 60.0  # mm from an end that was pointed at on a tube or node, to join it there
REFUSED_ENDS = "The tube can be laid, but not joined where it ends: {why}"


class Along(Struct, frozen=True, eq=False):
    """How far laying along the body has come, for whoever shows it."""

    places: int = 0
    is_working: bool = False
    doing: str = ""
    proposals: tuple[Proposal, ...] = ()
    chosen: int = 0
    trouble: str = ""

    @property
    def proposal(self) -> Proposal | None:
        return self.proposals[self.chosen] if self.proposals else None


class _Picked(Struct, frozen=True):
    """A place that was pointed at, and what the tube's end is to be joined to there."""

    place: Place
    panel: int
    point: Vec3  # where the middle of the tube would be
    item: Item


class FollowTool(Tool):
    """Takes places on the body; the tube along them is worked out elsewhere and shown as a preview."""

    name: ToolName = "follow"
    cursor = Qt.CursorShape.CrossCursor

    def __init__(self, room: Room) -> None:
        super().__init__(room)
        self.angles: Angles = None
        self.state = Along()
        self._picked: list[_Picked] = []
        self._aim: Aim | None = None
        self._start: Layout | None = None
        self._is_own = False  # the change that comes is this tool's

    def hint(self) -> str:
        if self.room.stock is None:
            return "Choose a tube size first; the rack is empty."
        if not self._picked:
            return "Click the body where the tube shall begin. Escape leaves."
        if len(self._picked) == 1:
            return "Click the next place on the body, or a tube or node to end there."
        if self.state.proposals:
            return "Enter lays it; 0 to 9 choose the bends, more clicks lead on, Backspace takes back."
        if self.state.trouble:
            return "No tube goes there; Backspace takes the last place back, Escape all of them."
        return "Working out the tube with the fewest bends; more clicks lead on."

    # -- pointer ------------------------------------------------------------------

    def move(self, pointer: Pointer | None) -> None:
        self._aim = None if pointer is None else self._aimed(pointer)
        self.room.redraw()

    def _aimed(self, pointer: Pointer) -> Aim | None:
        stock = self.room.stock
        if stock is None:
            return None
        offset = self.room.session.layout.limits.standoff_wanted + stock.od / 2.0
        layout, start = self.room.session.layout, self._start
        own_nodes = layout.nodes.keys() - start.nodes.keys() if start is not None else ()
        own_tubes = layout.tubes.keys() - start.tubes.keys() if start is not None else ()
        wanted = Wanted(
            offset, turn=pointer.turn, without_nodes=frozenset(own_nodes), without_tubes=frozenset(own_tubes)
        )
        aim = placing.aim(self.room.outlook, pointer.x, pointer.y, wanted)
        return aim if aim.kind in ("node", "tube", "body") else None

    def click(self, pointer: Pointer) -> None:
        aim = self._aimed(pointer)
        if self.room.stock is None:
            self.room.say("Choose a tube size first; the rack is empty.")
        elif aim is None:
            self.room.say("Point at the body: the tube follows its metal.")
        elif self._picked or not self.is_kept_out():
            self._take(aim)

    def _take(self, aim: Aim) -> None:
        metal = self.room.outlook.solid.nearest(aim.point)
        if metal is None or metal.distance < 1e-6:
            self.room.say("There is no body to follow here.")
            return
        if self._picked and distance(self._picked[-1].point, aim.point) < 1.0:
            return
        if self._start is None:
            self._start = self.room.session.layout
        place = Place(metal.point, direction(metal.point, aim.point))
        self._picked.append(_Picked(place, metal.panel, aim.point, aim.item))
        self._ask()

    def _ask(self) -> None:
        """Have the tube through the places worked out."""
        stock, start = self.room.stock, self._start
        self._set(Along(len(self._picked)))
        if stock is None or start is None or len(self._picked) < 2:
            self.room.lay_along(None)
            self._show_start()
            return
        try:
            wanted = asked.wish(
                start,
                [picked.place for picked in self._picked],
                stock,
                {picked.panel for picked in self._picked},
                self.angles,
            )
            wish.check(wanted)
        except GeometryError as refused:
            self.room.lay_along(None)
            self._set(Along(len(self._picked), trouble=refused.message))
            self._show_start()
            return
        self._set(Along(len(self._picked), is_working=True))
        self.room.lay_along(wanted)

    def set_angles(self, angles: Angles) -> None:
        """Allow any angle, multiples of one, or those of a list."""
        if angles != self.angles:
            self.angles = angles
            if len(self._picked) > 1:
                self._ask()

    # -- what comes back ----------------------------------------------------------

    def take_progress(self, doing: str) -> None:
        if self.state.is_working:
            self._set(Along(len(self._picked), is_working=True, doing=doing))

    def take(self, proposals: tuple[Proposal, ...]) -> None:
        best = proposals.index(wish.recommended(proposals))
        self._set(Along(len(self._picked), proposals=proposals, chosen=best))
        self._preview()

    def refuse(self, sentence: str) -> None:
        self._set(Along(len(self._picked), trouble=sentence))
        self.room.say(sentence)
        self._show_start()

    def choose(self, number: int) -> None:
        """Show another of the proposals."""
        if self.state.proposals and 0 <= number < len(self.state.proposals):
            self._set(Along(len(self._picked), proposals=self.state.proposals, chosen=number))
            self._preview()

    def _set(self, state: Along) -> None:
        self.state = state
        self.room.laying_has_changed(state)
        self.room.hint_may_have_changed()
        self.room.redraw()

    def _preview(self) -> None:
        laid = self._laid()
        if laid is not None:
            self.room.session.preview(laid[0])
        self.room.redraw()

    def _show_start(self) -> None:
        if self._start is not None and self.room.session.is_previewing:
            self.room.session.cancel()
        self.room.redraw()

    def _laid(self) -> tuple[Layout, int] | None:
        """Return the layout with the chosen tube, joined at its ends where they were pointed at."""
        proposal, stock, start = self.state.proposal, self.room.stock, self._start
        if proposal is None or stock is None or start is None:
            return None
        items: list[Item] = list(proposal.corners)
        for end in (0, -1):
            picked = self._picked[end]
            is_joint = isinstance(picked.item, int | Landing)
            if is_joint and distance(picked.point, proposal.corners[end]) < JOINS_WITHIN:
                items[end] = picked.item
        try:
            return edits.add_tube(start, items, stock.id)
        except GeometryError as refused:
            self.room.say(REFUSED_ENDS.format(why=refused.message))
        try:
            return edits.add_tube(start, list(proposal.corners), stock.id)
        except GeometryError as refused:
            self.room.say(refused.message)
            return None

    # -- keys ---------------------------------------------------------------------

    def wants(self, key: Key) -> bool:
        if key.ctrl:
            return bool(self._picked) and not key.shift and key.is_any(Qt.Key.Key_Z)
        if key.is_any(Qt.Key.Key_Escape):
            return True
        return bool(self._picked) and (
            key.is_any(Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_Backspace) or key.text.isdigit()
        )

    def key(self, key: Key) -> bool:
        if not self.wants(key):
            return False
        if key.is_any(Qt.Key.Key_Escape):
            if self._picked:
                self._drop()
            else:
                self.room.use_tool("select")
        elif key.is_any(Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.finish()
        elif key.is_any(Qt.Key.Key_Backspace, Qt.Key.Key_Z):
            self._take_back()
        else:
            self._choose_bends(int(key.text))
        self.room.redraw()
        return True

    def _choose_bends(self, bends: int) -> None:
        for number, proposal in enumerate(self.state.proposals):
            if proposal.bends == bends:
                self.choose(number)
                return
        if self.state.proposals:
            known = [str(proposal.bends) for proposal in self.state.proposals]
            wanted = wording.counted(bends, "bend")
            self.room.say(
                f"There is no tube worth showing with {wanted}; there is one with {', '.join(known)}."
            )

    def _take_back(self) -> None:
        self._picked.pop()
        if self._picked:
            self._ask()
        else:
            self._drop()

    def double_click(self, pointer: Pointer) -> bool:
        return True  # the first click of it set a place; the second is none of its own

    # -- ends ---------------------------------------------------------------------

    def finish(self) -> None:
        """Record the tube that is shown."""
        laid = self._laid()
        if laid is None:
            self.room.say(self.state.trouble or "The tube is still being worked out.")
            return
        after, tube = laid
        self._forget()
        self._is_own = True
        self.room.session.commit(f"Lay tube {after.tubes[tube].name} along the body", after)
        self._is_own = False
        self.room.session.select({tube})

    def _drop(self) -> None:
        had_started = self._start is not None
        self._forget()
        if had_started and self.room.session.is_previewing:
            self.room.session.cancel()

    def _forget(self) -> None:
        self._picked = []
        self._start = None
        self.room.lay_along(None)
        self._set(Along())

    def end(self) -> None:
        """Another tool was taken: what is shown is recorded."""
        if self.state.proposals and self.room.session.recorded is self._start:
            self.finish()
        self.leave()

    def leave(self) -> None:
        self._drop()
        self._aim = None

    def layout_changed(self) -> None:
        """Someone else recorded a change: the places belong to what is gone."""
        if not self._is_own and self._start is not None:
            self._forget()

    # -- what is painted ----------------------------------------------------------

    def marks(self) -> list[Mark]:
        room, stock = self.room, self.room.stock
        if stock is None:
            return []
        at = [room.to_screen(picked.point) for picked in self._picked]
        marks: list[Mark] = []
        ends = [*at, room.to_screen(self._aim.point)] if self._aim is not None and at else at
        if len(ends) > 1:
            marks.append(Stroke(tuple(ends), "line", 1.0, True))
        for number, place in enumerate(at, start=1):
            marks += [Spot(place), Whisper((place[0] + 10.0, place[1] - 10.0), str(number), "accent")]
        if self._aim is not None and not self._is_set(self._aim):
            marks += aim_marks(room, self._aim, stock.od, self.state.doing if self.state.is_working else "")
        return marks

    def _is_set(self, aim: Aim) -> bool:
        return bool(self._picked) and distance(aim.point, self._picked[-1].point) < 1.0
