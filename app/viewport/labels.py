"""Where labels go, so that none hides another and none jumps about. Imports no Qt.

Coordinates are logical pixels, y down.
"""

import math
from collections.abc import Iterable, Mapping, Sequence

from msgspec import Struct

# Places tried round the anchor: directions (right and up first), then farther out.
_DIRECTIONS = tuple(
    (math.cos(math.radians(a)), -math.sin(math.radians(a))) for a in (35, 145, -35, -145, 0, 180, 90, -90)
)
_DISTANCES = (26.0, 52.0, 84.0, 124.0, 170.0)
CANDIDATES = tuple((dx * far, dy * far) for far in _DISTANCES for dx, dy in _DIRECTIONS)
EDGE = 6.0  # pixels kept free at the view's edge
AIR = 4.0  # pixels between labels
STAY = 90.0  # a label leaves its place only for one this much better


class Rect(Struct, frozen=True):
    """A box on the screen."""

    left: float
    top: float
    width: float
    height: float

    @property
    def right(self) -> float:
        return self.left + self.width

    @property
    def bottom(self) -> float:
        return self.top + self.height


class Wish(Struct, frozen=True):
    """A label of some size that belongs to the point x, y; the key is the same from frame to frame."""

    key: object
    x: float
    y: float
    width: float
    height: float


class Placed(Struct, frozen=True):
    """Where a label went, and which of the candidates that was."""

    rect: Rect
    candidate: int


def arranged(
    wishes: Sequence[Wish],
    room: Rect,
    taken: Iterable[Rect] = (),
    before: Mapping[object, int] | None = None,
) -> dict[object, Placed]:
    """Place the labels one after the other, each at the candidate that costs least."""
    occupied = list(taken)
    placed: dict[object, Placed] = {}
    for wish in wishes:
        last = (before or {}).get(wish.key)
        costs = [_cost(wish, i, room, occupied, last) for i in range(len(CANDIDATES))]
        best = min(range(len(costs)), key=costs.__getitem__)
        rect = _kept_inside(_rect_at(wish, best), room)
        occupied.append(rect)
        placed[wish.key] = Placed(rect, best)
    return placed


def _rect_at(wish: Wish, candidate: int) -> Rect:
    """Return the box whose side or corner towards the anchor lies at the candidate's offset."""
    dx, dy = CANDIDATES[candidate]
    far = math.hypot(dx, dy)
    x, y = wish.x + dx, wish.y + dy
    return Rect(
        x - wish.width / 2.0 + dx / far * wish.width / 2.0,
        y - wish.height / 2.0 + dy / far * wish.height / 2.0,
        wish.width,
        wish.height,
    )


def _cost(wish: Wish, candidate: int, room: Rect, occupied: Sequence[Rect], last: int | None) -> float:
    asked = _rect_at(wish, candidate)
    rect = _kept_inside(asked, room)
    cost = math.hypot(*CANDIDATES[candidate]) + 4.0 * (candidate % len(_DIRECTIONS))
    cost += 6.0 * math.hypot(rect.left - asked.left, rect.top - asked.top)
    cost += sum(400.0 + overlap(rect, other) for other in occupied if overlap(rect, other) > 0.0)
    if _holds(rect, wish.x, wish.y):
        cost += 600.0
    return cost - (STAY if candidate == last else 0.0)


def overlap(a: Rect, b: Rect) -> float:
    """Return the shared area of two boxes, each with a little air round it."""
    width = min(a.right, b.right) - max(a.left, b.left) + AIR
    height = min(a.bottom, b.bottom) - max(a.top, b.top) + AIR
    return max(0.0, width) * max(0.0, height)


def _holds(rect: Rect, x: float, y: float) -> bool:
    return rect.left <= x <= rect.right and rect.top <= y <= rect.bottom


def _kept_inside(rect: Rect, room: Rect) -> Rect:
    left = min(max(rect.left, room.left + EDGE), max(room.left + EDGE, room.right - EDGE - rect.width))
    top = min(max(rect.top, room.top + EDGE), max(room.top + EDGE, room.bottom - EDGE - rect.height))
    return Rect(left, top, rect.width, rect.height)


def edge_towards(rect: Rect, x: float, y: float) -> tuple[float, float]:
    """Return the point of a box nearest to a point outside it: where its hair-line starts."""
    return min(max(x, rect.left), rect.right), min(max(y, rect.top), rect.bottom)
