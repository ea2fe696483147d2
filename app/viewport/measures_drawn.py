"""The kept measures as they are drawn: in a quiet tone, each with its number where there is room."""

from collections.abc import Iterable
from itertools import islice

import numpy as np
from msgspec import Struct

from app import measure_words
from app.session import Session
from app.units import Units
from app.viewport import camera as cameras
from app.viewport import labels
from app.viewport.annotations import BadgeSize
from app.viewport.labels import Rect, Wish
from app.viewport.marks import Badge, Mark, Spot, Stroke, Xy
from app.viewport.placing import Outlook
from geometry.aids import Measure
from geometry.measuring.values import Remembered, Value

MOST = 24  # numbers at once; more would be a thicket
BEYOND = 40.0  # pixels outside the view from where a number still shows at its edge


class Seen(Struct, frozen=True):
    """A value on the screen; nothing of it where it reaches behind the eye."""

    paths: tuple[tuple[Xy, ...], ...]
    ends: tuple[Xy, ...]
    at: Xy


def seen(outlook: Outlook, value: Value) -> Seen | None:
    """Return where a value is on the screen, all its points in one go."""
    sight = outlook.sight
    points = [*value.ends, value.at, *(point for path in value.paths for point in path)]
    screen, depth = cameras.project(sight.camera, sight.size, np.array(points))
    if not sight.camera.is_parallel and float(depth.min()) <= 0.0:
        return None
    places = iter([(x, y) for x, y in screen.tolist()])
    ends = tuple(islice(places, len(value.ends)))
    at = next(places)
    return Seen(tuple(tuple(islice(places, len(path))) for path in value.paths), ends, at)


class MeasuresDrawn:
    """Remembers where the numbers stood, so that they stay there."""

    def __init__(self, session: Session, badge_size: BadgeSize) -> None:
        self.shown = True
        self._session = session
        self._badge_size = badge_size
        self._places: dict[object, int] = {}
        self._values = Remembered()

    def marks(
        self, outlook: Outlook, units: Units, others: list[Mark], covered: Iterable[Rect]
    ) -> list[Mark]:
        """Return the other marks with lines below and numbers above them; numbers keep clear of labels."""
        layout, chosen = outlook.layout, self._session.selection
        measures = [one for one in layout.measures.values() if self.shown or one.id in chosen]
        if not measures:
            self._places = {}
            return others
        # The selected ones take the best places.
        order = sorted(measures, key=lambda measure: (measure.id not in chosen, measure.id))
        found = []
        for measure in order:
            value = self._values.of(layout, measure)
            on_screen = seen(outlook, value) if isinstance(value, Value) else None
            if isinstance(value, Value) and on_screen is not None:
                found.append((measure, value, on_screen))
        taken = [*covered, *(mark.rect for mark in others if isinstance(mark, Badge))]
        lines = [mark for measure, _, at in found for mark in _lines(at, measure.id in chosen)]
        return lines + others + self._badges(outlook, found[:MOST], taken, units)

    def _badges(
        self,
        outlook: Outlook,
        found: Iterable[tuple[Measure, Value, Seen]],
        taken: list[Rect],
        units: Units,
    ) -> list[Mark]:
        size, chosen = outlook.sight.size, self._session.selection
        wishes, texts = [], {}
        for measure, value, on_screen in found:
            x, y = on_screen.at
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


def _lines(on_screen: Seen, is_chosen: bool) -> list[Mark]:
    marks: list[Mark] = [
        Stroke(path, "accent", 2.0 if is_chosen else 1.4, is_dim=not is_chosen) for path in on_screen.paths
    ]
    return marks + [Spot(end, not is_chosen) for end in on_screen.ends]
