"""The kept measures as they are drawn: in a quiet tone, each with its number where there is room."""

from collections.abc import Callable, Iterable

from app import measure_words
from app.session import Session
from app.units import Units
from app.viewport import labels
from app.viewport.annotations import BadgeSize
from app.viewport.labels import Rect, Wish
from app.viewport.marks import Badge, Mark, Spot, Stroke, Xy
from app.viewport.placing import Outlook
from geometry.aids import Measure
from geometry.measuring.values import Remembered, Value
from geometry.vectors import Vec3

MOST = 24  # numbers at once; more would be a thicket
BEYOND = 40.0  # pixels outside the view from where a number still shows at its edge


class MeasuresDrawn:
    """Remembers where the numbers stood, so that they stay there."""

    def __init__(self, session: Session, to_screen: Callable[[Vec3], Xy], badge_size: BadgeSize) -> None:
        self._session = session
        self._to_screen = to_screen
        self._badge_size = badge_size
        self._places: dict[object, int] = {}
        self._values = Remembered()

    def marks(
        self, outlook: Outlook, units: Units, others: list[Mark], covered: Iterable[Rect]
    ) -> list[Mark]:
        """Return the other marks with lines below and numbers above them; numbers keep clear of labels."""
        layout, chosen = outlook.layout, self._session.selection
        if not layout.measures:
            self._places = {}
            return others
        # The selected ones take the best places.
        order = sorted(layout.measures.values(), key=lambda measure: (measure.id not in chosen, measure.id))
        found = [
            (measure, value)
            for measure in order
            if isinstance(value := self._values.of(layout, measure), Value)
        ]
        taken = [*covered, *(mark.rect for mark in others if isinstance(mark, Badge))]
        lines: list[Mark] = []
        for measure, value in found:
            lines += self._lines(value, measure.id in chosen)
        return lines + others + self._badges(outlook, found[:MOST], taken, units)

    def _lines(self, value: Value, is_chosen: bool) -> list[Mark]:
        marks: list[Mark] = [
            Stroke(points, "accent", 2.0 if is_chosen else 1.4, is_dim=not is_chosen)
            for path in value.paths
            if (points := tuple(self._to_screen(point) for point in path))
        ]
        marks += [Spot(self._to_screen(end), not is_chosen) for end in value.ends]
        return marks

    def _badges(
        self,
        outlook: Outlook,
        found: Iterable[tuple[Measure, Value]],
        taken: list[Rect],
        units: Units,
    ) -> list[Mark]:
        size, chosen = outlook.sight.size, self._session.selection
        wishes, texts = [], {}
        for measure, value in found:
            x, y = self._to_screen(value.at)
            if not (-BEYOND < x < size.width + BEYOND and -BEYOND < y < size.height + BEYOND):
                continue
            is_chosen = measure.id in chosen
            number = measure_words.number(value, units)
            beside = measure_words.beside(measure.kind, value, units) if is_chosen else ""
            texts[measure.id] = (number, f"{measure.name}  {beside}".strip(), (x, y), is_chosen)
            wishes.append(Wish(measure.id, x, y, *self._badge_size(number, texts[measure.id][1], False)))
        room = Rect(0.0, 0.0, size.width, size.height)
        placed = labels.arranged(wishes, room, taken, self._places)
        self._places = {key: place.candidate for key, place in placed.items()}
        leaders: list[Mark] = []
        badges: list[Mark] = []
        for id, (number, words, at, is_chosen) in texts.items():
            rect = placed[id].rect
            leaders.append(Stroke((at, labels.edge_towards(rect, *at)), "line", 1.0))
            badges.append(Badge(rect, number, words, None, is_quiet=not is_chosen))
        return leaders + badges
