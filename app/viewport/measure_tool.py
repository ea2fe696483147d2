"""The tool that measures: between nodes, tubes, the body and references; what it finds stays."""

from collections.abc import Iterator
from typing import get_args

from PySide6.QtCore import Qt

from app import measure_words
from app.viewport import aids_drawn, measures_drawn, placing
from app.viewport.labels import Rect
from app.viewport.marks import Badge, Mark, Spot, Stroke, Whisper, Xy
from app.viewport.tools import Key, Pointer, Room, Tool, ToolName
from geometry import references
from geometry.aids import BodySpot, MeasureKind, NodeSpot, PointShape, Reference, ReferenceSpot, TubeSpot
from geometry.aids import Spot as Taken
from geometry.errors import GeometryError
from geometry.layout import Layout
from geometry.measuring import kept, places, values
from geometry.measuring.values import Value

WORD_UP, WORD_DOWN = 10.0, 24.0  # pixels from the pointer to the line its word stands on
WORD_WIDTH, WORD_HEIGHT = 120.0, 14.0  # what such a word takes, about
KINDS: tuple[MeasureKind, ...] = get_args(MeasureKind)
WANTED: dict[MeasureKind, tuple[str, str]] = {  # what to click first, and after that
    "distance": ("Click two places: nodes, tubes, the body or references.", "Click the second place."),
    "along": ("Click two places on one tube.", "Click the second place on this tube."),
    "gap": ("Click two tubes.", "Click the other tube."),
    "angle": (
        "Click two straights, or a straight and a reference.",
        "Click the other straight or reference.",
    ),
    "height": ("Click what to measure above the ground.", ""),
    "opening": (
        "Click the tubes round the opening, one after the other.",
        "Click the next tube; Enter or a double-click ends it.",
    ),
}


class MeasureTool(Tool):
    """Takes measures; each one is kept as it is finished, and Backspace takes it back."""

    name: ToolName = "measure"
    cursor = Qt.CursorShape.CrossCursor

    def __init__(self, room: Room) -> None:
        super().__init__(room)
        self.kind: MeasureKind = "distance"
        self._spots: tuple[Taken, ...] = ()
        self._hover: Taken | None = None
        self._kept: tuple[int, Layout] | None = None  # what the last click kept, and the layout with it

    def hint(self) -> str:
        first, then = WANTED[self.kind]
        title = measure_words.KINDS[self.kind]
        if (just := self._just_kept) is not None:
            name = self.room.session.layout.measures[just].name
            return f"{name} is kept. Backspace takes it back. Click on, or Tab for another kind."
        if self._spots:
            back = "Backspace takes back, " if len(self._spots) > 1 else ""
            return f"{title}. {then} {back}Escape starts anew."
        return f"{title}. {first} Tab: {self._next_title().lower()}. Escape leaves."

    def _next_title(self) -> str:
        return measure_words.KINDS[KINDS[(KINDS.index(self.kind) + 1) % len(KINDS)]]

    def take(self, kind: MeasureKind) -> None:
        """Measure something of another kind."""
        self.kind = kind
        self._start_anew()

    @property
    def _just_kept(self) -> int | None:
        """The measure that the last click kept, as long as nothing was done since."""
        if self._kept is None or self.room.session.recorded is not self._kept[1] or self._spots:
            return None
        return self._kept[0]

    # -- the hand ------------------------------------------------------------------

    def move(self, pointer: Pointer | None) -> None:
        self._hover = None if pointer is None else self._at(pointer)
        self.room.redraw()

    def click(self, pointer: Pointer) -> None:
        found = self._at(pointer)
        if found is None:
            self.room.say(self._nothing_there())
            return
        if self.is_kept_out():
            return
        self._spots = (*self._spots, found)
        most = values.SPOTS[self.kind][1]
        if most is not None and len(self._spots) >= most:
            self._finish()
        self.room.hint_may_have_changed()
        self.room.redraw()

    def double_click(self, pointer: Pointer) -> bool:
        if self.kind != "opening" or len(self._spots) < values.SPOTS["opening"][0]:
            return False
        self._finish()
        return True

    def _nothing_there(self) -> str:
        if self.kind in ("along", "gap"):
            return "Point at a tube."
        if self.kind == "angle":
            return "Point at the straight of a tube, or at a reference line or plane."
        return "Point at a node, a tube, the body or a reference."

    def _finish(self) -> None:
        """Keep what was measured as one undo step, or say why it has no value."""
        session, spots, kind = self.room.session, self._spots, self.kind
        made: list[int] = []
        after = self.attempt(lambda: _with_measure(session.layout, kind, spots, made))
        if after is None:
            self._spots = spots[:-1] if kind != "opening" else spots
            self.room.redraw()
            return
        self._spots = ()
        session.commit(f"Measure {measure_words.KINDS[kind].lower()}", after)
        self._kept = (made[0], session.recorded)
        self.room.hint_may_have_changed()
        self.room.redraw()

    # -- what lies under the pointer -------------------------------------------------

    def _at(self, pointer: Pointer) -> Taken | None:
        found = list(self._options(pointer))
        return found[pointer.turn % len(found)] if found else None

    def _options(self, pointer: Pointer) -> Iterator[Taken]:
        """Yield what can be meant, the likeliest first."""
        outlook, x, y = self.room.outlook, pointer.x, pointer.y
        if self.kind not in ("gap", "angle"):
            yield from (NodeSpot(node) for node in placing.nodes_at(outlook, x, y))
        reference = aids_drawn.at(outlook, x, y)
        if reference is not None and self._may_be(outlook.layout.references.get(reference)):
            yield ReferenceSpot(reference)
        yield from (TubeSpot(pick.tube, pick.station) for pick in placing.tubes_at(outlook, x, y))
        if self.kind in ("distance", "height", "opening"):
            metal = outlook.body_at(outlook.ray(x, y))
            if metal is not None and metal.panel in outlook.layout.panels:
                yield BodySpot(metal.panel, metal.point)

    def _may_be(self, reference: Reference | None) -> bool:
        if reference is None or self.kind in ("along", "gap"):
            return False
        return self.kind != "angle" or not isinstance(reference.shape, PointShape)

    # -- keys -------------------------------------------------------------------------

    def wants(self, key: Key) -> bool:
        if key.is_any(Qt.Key.Key_Return, Qt.Key.Key_Enter):
            return bool(self._spots)
        if key.is_any(Qt.Key.Key_Backspace):
            return bool(self._spots) or self._just_kept is not None
        return key.is_any(Qt.Key.Key_Escape, Qt.Key.Key_Tab, Qt.Key.Key_Backtab)

    def key(self, key: Key) -> bool:
        if key.is_any(Qt.Key.Key_Tab, Qt.Key.Key_Backtab):
            step = -1 if key.shift or key.is_any(Qt.Key.Key_Backtab) else 1
            self.take(KINDS[(KINDS.index(self.kind) + step) % len(KINDS)])
        elif key.is_any(Qt.Key.Key_Escape):
            self._escape()
        elif key.is_any(Qt.Key.Key_Backspace) and self._spots:
            self._spots = self._spots[:-1]
        elif key.is_any(Qt.Key.Key_Backspace) and self._just_kept is not None:
            self._kept = None
            self.room.session.undo()
        elif key.is_any(Qt.Key.Key_Return, Qt.Key.Key_Enter) and self._spots:
            self._finish()
        else:
            return False
        self.room.hint_may_have_changed()
        self.room.redraw()
        return True

    def _escape(self) -> None:
        if self._spots:
            self._spots = ()
        else:
            self.room.use_tool("select")

    def _start_anew(self) -> None:
        self._spots, self._kept = (), None
        if self.room.pointer is not None:
            self._hover = self._at(self.room.pointer)
        self.room.hint_may_have_changed()
        self.room.redraw()

    def leave(self) -> None:
        self._spots, self._hover, self._kept = (), None, None

    def layout_changed(self) -> None:
        """What was pointed at may be gone."""
        layout = self.room.session.layout
        if not all(_is_there(layout, spot) for spot in self._spots):
            self._spots = ()
        if self._hover is not None and not _is_there(layout, self._hover):
            self._hover = None

    # -- what is drawn ------------------------------------------------------------------

    def marks(self) -> list[Mark]:
        layout = self.room.session.layout
        spots = self._spots if self._hover is None else (*self._spots, self._hover)
        spots = tuple(spot for spot in spots if _is_there(layout, spot))
        least = values.SPOTS[self.kind][0]
        marks: list[Mark] = []
        badge: Badge | None = None
        if len(spots) >= least and (self._spots or least == 1):
            found = values.taken(layout, self.kind, spots)
            at = measures_drawn.seen(self.room.outlook, found) if isinstance(found, Value) else None
            if isinstance(found, Value) and at is not None:
                marks += [Stroke(path, "accent", 1.6) for path in at.paths]
                badge = self._badge(found, at.at)
        points = tuple(
            self.room.to_screen(references.place_of(places.shape_of(layout, spot))) for spot in spots
        )
        if len(points) > 1 and not marks:
            marks.append(Stroke(points, "accent", 1.2, is_dashed=True))
        marks += [Spot(point) for point in points]
        if badge is not None:
            marks.append(badge)
        if self._hover is not None and points:
            marks.append(_word_at(points[-1], measure_words.spot_words(layout, spots[-1]), badge))
        return marks

    def _badge(self, found: Value, at: Xy) -> Badge:
        units = self.room.units
        number, words = measure_words.number(found, units), measure_words.beside(self.kind, found, units)
        width, height = self.room.badge_size(number, words)
        x, y = at
        view = self.room.outlook.sight.size
        left = min(max(x - width / 2.0, 3.0), max(view.width - width - 3.0, 3.0))
        top = min(max(y - height - 14.0, 3.0), max(view.height - height - 3.0, 3.0))
        return Badge(Rect(left, top, width, height), number, words, None)


def _word_at(at: Xy, word: str, badge: Badge | None) -> Whisper:
    """Return the word beside the pointer, below it where the number stands above."""
    is_covered = badge is not None and (
        badge.rect.left - WORD_WIDTH < at[0] < badge.rect.right
        and badge.rect.top - WORD_HEIGHT < at[1] - WORD_UP < badge.rect.bottom + WORD_HEIGHT
    )
    return Whisper((at[0] + 12.0, at[1] + (WORD_DOWN if is_covered else -WORD_UP)), word)


def _with_measure(layout: Layout, kind: MeasureKind, spots: tuple[Taken, ...], made: list[int]) -> Layout:
    layout, id = kept.add(layout, kind, spots)
    made.append(id)
    return layout


def _is_there(layout: Layout, spot: Taken) -> bool:
    try:
        places.shape_of(layout, spot)
    except GeometryError:
        return False
    return True
