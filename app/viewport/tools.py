"""What every tool has in common: pointer and keys come in, previews and commits go to the session.

A tool is told of each press, move and release in logical pixels. One that takes a press returns
True, and the camera stays still.
"""

from collections.abc import Callable, Iterable
from typing import Literal, Protocol

from msgspec import Struct
from PySide6.QtCore import Qt

from app.session import Session
from app.units import Units
from app.viewport.labels import Rect
from app.viewport.marks import Badge, Ball, Mark, Stroke, Xy
from app.viewport.placing import Aim, Outlook
from geometry import edits
from geometry.errors import GeometryError
from geometry.laying.wish import Wish
from geometry.layout import Landing, Layout, Stock
from geometry.tube import centreline
from geometry.vectors import Vec3

ToolName = Literal[
    "select", "tube", "node", "split", "measure", "pick points", "reference", "zone", "follow", "part"
]  # fmt: skip
DRAG_STARTS = 4.0  # pixels a press may wander and still be a click
STEM_REACH = 300.0  # mm; a place off the body that is nearer than this shows how near
BADGE_GAP = 3.0  # pixels between badges, and to the edge of the view


class Pointer(Struct, frozen=True):
    """Where the pointer is and which keys go with it."""

    x: float
    y: float
    shift: bool = False
    ctrl: bool = False
    turn: int = 0  # how often the next thing under it was asked for

    def is_far_from(self, other: "Pointer") -> bool:
        return abs(self.x - other.x) + abs(self.y - other.y) >= DRAG_STARTS


class Key(Struct, frozen=True):
    """A key that was pressed."""

    code: int  # Qt.Key
    text: str = ""
    shift: bool = False
    ctrl: bool = False

    def is_any(self, *codes: Qt.Key) -> bool:
        return self.code in codes


class Room(Protocol):
    """What a tool may ask of the view it works in."""

    session: Session
    units: Units
    held_axis: str | None
    held_plane: str | None
    snaps: bool
    pointer: Pointer | None  # None: outside the view

    @property
    def outlook(self) -> Outlook: ...
    @property
    def stock(self) -> Stock | None: ...
    def to_screen(self, point: Vec3) -> Xy: ...
    def badge_size(self, number: str, words: str) -> tuple[float, float]: ...
    def scale_at(self, point: Vec3) -> float: ...
    def length(self, mm: float) -> str: ...
    def redraw(self) -> None: ...
    def hover(self, id: int | None) -> None: ...
    def say(self, sentence: str) -> None: ...
    def hint_may_have_changed(self) -> None: ...
    def use_tool(self, name: ToolName) -> None: ...
    def points_were_picked(self, points: list[object]) -> None: ...
    def lay_along(self, wish: Wish | None) -> None: ...
    def laying_has_changed(self, state: object) -> None: ...


class Tool:
    """A tool that does nothing; the others say what they do differently."""

    name: ToolName = "select"
    cursor = Qt.CursorShape.ArrowCursor
    axis_matters = False  # X, Y and Z are held for it

    def __init__(self, room: Room) -> None:
        self.room = room

    def hint(self) -> str:
        """Say in a dozen words what the tool waits for and which keys help."""
        return ""

    def press(self, pointer: Pointer) -> bool:
        return False

    def drag(self, pointer: Pointer) -> None:
        """The pointer moved while the press that this tool took is held."""

    def release(self, pointer: Pointer) -> None:
        """The press that this tool took ended."""

    def click(self, pointer: Pointer) -> None:
        """A press that this tool did not take ended where it began."""

    def double_click(self, pointer: Pointer) -> bool:
        return False

    def move(self, pointer: Pointer | None) -> None:
        """The pointer moved with no button held, or left (None)."""

    def wants(self, key: Key) -> bool:
        """Whether the key is this tool's before it is any menu's."""
        return False

    def key(self, key: Key) -> bool:
        return False

    def key_released(self, key: Key) -> None:
        """A held key was let go."""

    def axis_changed(self) -> None:
        """X, Y or Z was pressed or let go."""

    def end(self) -> None:
        """Another tool was taken: record what can stand by itself, put the rest back."""
        self.leave()

    def leave(self) -> None:
        """What was being done is off: put back what is not recorded."""

    def layout_changed(self) -> None:
        """The layout was replaced by someone else, by undo perhaps."""

    def marks(self) -> list[Mark]:
        return []

    def is_kept_out(self) -> bool:
        """Whether another step's preview is open; says so, as recording now would record that too."""
        if self.room.session.is_previewing:
            self.room.say("Finish or cancel the open step first.")
        return self.room.session.is_previewing

    def is_locked(self, ids: Iterable[int]) -> bool:
        """Whether one of these is locked; says so."""
        layout = self.room.session.layout
        lock = next((lock for id in ids if (lock := edits.locked_by(layout, id)) is not None), None)
        if lock is not None:
            self.room.say(f"Tube {lock.name} is locked; Ctrl+K unlocks it when it is selected.")
        return lock is not None

    def attempt(self, edit: Callable[[], Layout]) -> Layout | None:
        """Return the edited layout, or say why it is refused."""
        try:
            return edit()
        except GeometryError as refused:
            self.room.say(refused.message)
            return None


def aim_marks(room: Room, aim: Aim, od: float, words: str = "") -> list[Mark]:
    """Show a place for a node: the tube's section, a stem to the metal with the gap, what it snapped to."""
    at = room.to_screen(aim.point)
    marks: list[Mark] = []
    number, beside = "", aim.word
    if aim.foot is not None and (aim.kind == "body" or aim.foot.distance < STEM_REACH):
        foot = room.to_screen(aim.foot.point)
        is_off = aim.kind != "body"
        marks += [Stroke((at, foot), "accent", 1.6, is_off), Stroke(_tick(at, foot), "accent", 1.6)]
        panel = room.session.layout.panels.get(aim.foot.panel)
        number = room.length(aim.foot.distance - od / 2.0)
        beside = ", ".join(word for word in (panel.name if panel else "", aim.word) if word)
    marks += [Stroke((room.to_screen(a), room.to_screen(b)), "accent", 1.0, True) for a, b in aim.cues]
    ball = aim_ball(room, aim, od)
    marks.append(ball)
    said = [(big, small) for big, small in ((number, beside), ("", words)) if big or small]
    return marks + _badges_beside(room, at, ball.radius + 12.0, said)


def seat_words(room: Room, aim: Aim) -> str:
    """Say how far along a tube a place is, from its nearer end; nothing for other places."""
    layout = room.session.layout
    if not isinstance(aim.item, Landing) or aim.item.tube not in layout.tubes:
        return ""
    length = centreline.of(layout, layout.tubes[aim.item.tube]).length
    is_near_start = aim.item.station <= length / 2.0
    far = aim.item.station if is_near_start else length - aim.item.station
    return f"{room.length(far)} from its {'start' if is_near_start else 'end'}"


def aim_ball(room: Room, aim: Aim, od: float) -> Ball:
    """Show a place as the section of the tube that would pass there."""
    return Ball(room.to_screen(aim.point), max(5.0, od / 2.0 * room.scale_at(aim.point)))


def _badges_beside(room: Room, at: Xy, away: float, said: list[tuple[str, str]]) -> list[Mark]:
    """Return badges one below the other to the right of a point, or where the view has room for them."""
    view = room.outlook.sight.size
    sizes = [room.badge_size(big, small) for big, small in said]
    widest = max((width for width, _ in sizes), default=0.0)
    tall = sum(height + BADGE_GAP for _, height in sizes)
    is_left = at[0] + away + widest > view.width - BADGE_GAP
    top = max(BADGE_GAP, min(at[1] - 12.0, view.height - tall))
    badges: list[Mark] = []
    for (big, small), (width, height) in zip(said, sizes, strict=True):
        left = at[0] - away - width if is_left else at[0] + away
        badges.append(Badge(Rect(left, top, width, height), big, small, None))
        top += height + BADGE_GAP
    return badges


def _tick(at: Xy, foot: Xy) -> tuple[Xy, Xy]:
    """Return a short line across the foot of a stem."""
    dx, dy = foot[0] - at[0], foot[1] - at[1]
    length = max((dx * dx + dy * dy) ** 0.5, 1e-6)
    nx, ny = -dy / length * 5.0, dx / length * 5.0
    return ((foot[0] - nx, foot[1] - ny), (foot[0] + nx, foot[1] + ny))
