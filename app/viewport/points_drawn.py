"""Named points of a step, marked on the body with labels that keep clear of each other. Imports no Qt."""

from collections.abc import Callable, Iterable, Sequence

from msgspec import Struct

from app.viewport import labels
from app.viewport.labels import Rect, Wish
from app.viewport.marks import Badge, Mark, Spot, Stroke, Tone, Xy
from app.viewport.placing import Outlook
from geometry.vectors import Vec3

BEYOND = 40.0  # pixels outside of the view from where on a point has no label


class NamedPoint(Struct, frozen=True):
    """A point to be marked: where, its label, and how much it matters."""

    key: str
    at: Vec3
    label: str
    is_current: bool = False
    is_unsure: bool = False


class PointsDrawn:
    """The points that are marked now, and where their labels were."""

    def __init__(
        self,
        to_screen: Callable[[Vec3], Xy],
        badge_size: Callable[[str, str, bool], tuple[float, float]],
    ) -> None:
        self._to_screen, self._badge_size = to_screen, badge_size
        self._points: tuple[NamedPoint, ...] = ()
        self._places: dict[object, int] = {}

    def show(self, points: Iterable[NamedPoint]) -> None:
        self._points = tuple(points)

    def marks(self, outlook: Outlook, others: Sequence[Mark], covered: Iterable[Rect]) -> list[Mark]:
        """Return the spots with their labels; points behind the metal are dim and have none."""
        size = outlook.sight.size
        spots: list[Mark] = []
        wishes: list[Wish] = []
        named = {}
        for point in sorted(self._points, key=lambda point: not point.is_current):
            x, y = self._to_screen(point.at)
            is_seen = point.is_current or outlook.is_visible(point.at)
            spots.append(Spot((x, y), not is_seen))
            if is_seen and -BEYOND < x < size.width + BEYOND and -BEYOND < y < size.height + BEYOND:
                named[point.key] = (point, (x, y))
                wishes.append(Wish(point.key, x, y, *self._badge_size("", _words(point), False)))
        taken = [*covered, *(mark.rect for mark in others if isinstance(mark, Badge))]
        placed = labels.arranged(wishes, Rect(0.0, 0.0, size.width, size.height), taken, self._places)
        self._places = {key: place.candidate for key, place in placed.items()}
        badges: list[Mark] = []
        for key, (point, at) in named.items():
            rect = placed[key].rect
            tone: Tone = "accent" if point.is_current else "line"
            spots.append(Stroke((at, labels.edge_towards(rect, *at)), tone, 1.0))
            badges.append(Badge(rect, "", _words(point), None, is_quiet=not point.is_current))
        return spots + badges


def _words(point: NamedPoint) -> str:
    return f"{point.label}?" if point.is_unsure else point.label
