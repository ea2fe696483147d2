"""Place the views of a tube on paper: lines, faces and words in points, nothing over anything else."""

import math
from collections.abc import Callable, Iterable, Iterator
from itertools import pairwise

from msgspec import Struct

from app.export.views import Dimension, Shape, Vec2, View, Views

TextWidth = Callable[[str, float, bool], float]  # text, size, bold -> points

DIMENSION_SIZE = 11.5
BALLOON_SIZE = 12.0
BALLOON_RADIUS = 9.0
START_SIZE = 12.0
TITLE_SIZE = 10.0
OUTLINE = 1.4  # line widths in points
FINE = 0.6
TUBE_GREY = 0.86
SPARE_GREY = 1.0
ARROW = 6.0
LARGEST_SCALE = 0.45  # points a mm: a short tube needn't fill the page
SIDE_ROOM = 62.0  # round the tube, for dimensions and balloons
TITLE_ROOM = 14.0
OVER_ROOM = 23.0  # for dimensions and balloons above the tube
UNDER_ROOM = 23.0
MEASURE_ROOM = 10.0  # more below, for the size over all
FARTHEST_LEAN = math.radians(100.0)  # nearly upright text reads from the right, as on any drawing
LEAST_TUBE = 22.0  # points; the least height of a view without its words
THINNEST = 2.4  # points; a tube drawn thinner than this is no longer seen as a tube


class Stroke(Struct, frozen=True):
    """A run of straight lines."""

    points: tuple[Vec2, ...]
    width: float
    grey: float = 0.0
    dash: tuple[float, ...] = ()
    is_round: bool = False  # its ends


class Face(Struct, frozen=True):
    """A filled polygon with a thin black edge."""

    points: tuple[Vec2, ...]
    grey: float
    edge: float = OUTLINE


class Disc(Struct, frozen=True):
    """A white disc with a black edge."""

    at: Vec2
    radius: float


class Words(Struct, frozen=True):
    """Text centred on a place, turned by an angle; clear means on a white ground."""

    at: Vec2
    text: str
    size: float
    bold: bool = False
    angle: float = 0.0
    clear: bool = False


Mark = Stroke | Face | Disc | Words
Box = tuple[Vec2, Vec2, float, float]  # centre, unit direction, half length, half height


class Drawing(Struct, frozen=True):
    """What to draw, in points from the lower left corner, and how much height it takes."""

    marks: tuple[Mark, ...]
    height: float
    scale: float  # points a mm


class _Sheet:
    """Collects marks, and the room they take."""

    def __init__(self, width: float, height: float, text_width: TextWidth) -> None:
        self.size = (width, height)
        self.text_width = text_width
        self.marks: list[Mark] = []
        self.taken: list[Box] = []
        self.written: list[Box] = []  # those of words and balloons

    def overlap(self, box: Box) -> float:
        """Return how many taken boxes this one runs into; leaving the paper counts as several."""
        outside = sum(not (0.0 <= x <= self.size[0] and 0.0 <= y <= self.size[1]) for x, y in _corners(box))
        return 4.0 * outside + sum(_meet(box, other) for other in self.taken)

    def crosses_words(self, box: Box) -> bool:
        return any(_meet(box, other) for other in self.written)

    def words_box(self, words: Words, margin: float = 2.0) -> Box:
        half = self.text_width(words.text, words.size, words.bold) / 2.0 + margin
        return (words.at, (math.cos(words.angle), math.sin(words.angle)), half, words.size * 0.5 + margin / 2)

    def add(self, *marks: Mark, box: Box | None = None) -> None:
        self.marks.extend(marks)
        if box is not None:
            self.taken.append(box)
            if any(isinstance(mark, Words | Disc) for mark in marks):
                self.written.append(box)


def place(views: Views, width: float, height: float, text_width: TextWidth) -> Drawing:
    """Lay the views into a box, as large as the words round them allow."""
    scale = _scale(views, width, height)
    sheet = _Sheet(width, height, text_width)
    spots = _spots(views, scale, width, height)
    for view, spot in zip(views.views, spots, strict=True):
        _draw_tube(sheet, view, views.od, scale, spot)
    for index, (view, spot) in enumerate(zip(views.views, spots, strict=True)):
        _draw_title(sheet, view, scale, spot, left_most=index == 0 or not views.beside)
        _draw_overall(sheet, view, scale, spot)
    for view, spot in zip(views.views, spots, strict=True):
        _draw_ends(sheet, view, views.od, scale, spot)
        for balloon in view.balloons:
            _draw_balloon(
                sheet, balloon.text, _on(balloon.at, scale, spot), balloon.outward, views.od * scale
            )
    for view, spot in zip(views.views, spots, strict=True):
        middle = _on(((view.low[0] + view.high[0]) / 2, (view.low[1] + view.high[1]) / 2), scale, spot)
        # Long straights first: they need one place, short ones can be written anywhere near.
        for dimension in sorted(view.dimensions, key=lambda item: -math.dist(item.start, item.end)):
            _draw_dimension(sheet, dimension, views.od, scale, spot, middle)
    return Drawing(tuple(sheet.marks), height, scale)


def wanted_height(views: Views, width: float, most: float) -> float:
    """Return the height that the views fill at the scale they get in a box of at most this height."""
    scale = _scale(views, width, most)
    heights = [_size(view, scale)[1] + _rooms(view) for view in views.views]
    return min(most, max(heights) if views.beside else sum(heights))


def least_height(views: Views) -> float:
    """Return the height below which the tube could not be seen for words."""
    rooms = [_rooms(view) + LEAST_TUBE for view in views.views]
    return max(rooms) if views.beside else sum(rooms)


def _rooms(view: View) -> float:
    """Return the height that words take above and below a view."""
    return TITLE_ROOM + OVER_ROOM + _under(view)


def _under(view: View) -> float:
    return UNDER_ROOM + (MEASURE_ROOM if view.overall_across else 0.0)


def _scale(views: Views, width: float, height: float) -> float:
    sizes = [_size(view, 1.0) for view in views.views]
    across, up = [size[0] for size in sizes], [size[1] for size in sizes]
    rooms = [_rooms(view) for view in views.views]
    if views.beside:
        fit = min((width - 2.0 * SIDE_ROOM * len(sizes)) / sum(across), (height - max(rooms)) / max(up))
    else:
        fit = min((width - 2.0 * SIDE_ROOM) / max(across), (height - sum(rooms)) / sum(up))
    return max(min(fit, LARGEST_SCALE), 1e-4)


def _size(view: View, scale: float) -> Vec2:
    low, high = view.outer_low, view.outer_high
    return ((high[0] - low[0]) * scale, (high[1] - low[1]) * scale)


def _spots(views: Views, scale: float, width: float, height: float) -> list[Vec2]:
    """Return for each view where its own origin lies on paper."""
    sizes = [_size(view, scale) for view in views.views]
    if views.beside:
        room = [size[0] + 2.0 * SIDE_ROOM for size in sizes]
        spare = (width - sum(room)) / len(room)
        lefts = [sum(room[:i]) + spare * (i + 0.5) + SIDE_ROOM for i in range(len(room))]
        # Side by side, both stand at the same height, as they would on the floor.
        lows = [height - TITLE_ROOM - OVER_ROOM - max(size[1] for size in sizes)] * len(sizes)
    else:
        lefts = [(width - size[0]) / 2.0 for size in sizes]
        taken = sum(size[1] + _rooms(view) for size, view in zip(sizes, views.views, strict=True))
        spare = max(0.0, height - taken) / len(sizes)
        lows, y = [], height
        for size, view in zip(sizes, views.views, strict=True):
            y -= TITLE_ROOM + OVER_ROOM + size[1] + spare / 2.0
            lows.append(y)
            y -= _under(view) + spare / 2.0
    return [
        (left - view.outer_low[0] * scale, low - view.outer_low[1] * scale)
        for left, low, view in zip(lefts, lows, views.views, strict=True)
    ]


def _on(point: Vec2, scale: float, spot: Vec2) -> Vec2:
    return (spot[0] + point[0] * scale, spot[1] + point[1] * scale)


def _draw_tube(sheet: _Sheet, view: View, od: float, scale: float, spot: Vec2) -> None:
    thick = max(od * scale, THINNEST)
    fills: dict[int, Stroke] = {}
    for shape in view.shapes:
        points = tuple(_on(point, scale, spot) for point in shape.points)
        grey = SPARE_GREY if shape.is_spare else TUBE_GREY
        if shape.is_face:
            sheet.add(Face(points, grey, FINE))
            continue
        if shape.is_spare:
            sheet.add(Stroke(points, thick, grey), *_edges(points[0], points[-1], thick))
        else:
            fill = _fill(shape, points, thick, grey)
            sheet.add(Stroke(points, thick, 0.0, is_round=fill.is_round))
            # The outline's round end runs over the neighbours behind it; their fill covers it again.
            sheet.add(*(fills[side] for side in (shape.order - 1, shape.order + 1) if side in fills), fill)
            fills[shape.order] = fill
            if len(points) == 2:  # on a coarse screen the rim of the wide stroke may round to nothing
                sheet.add(*_edges(points[0], points[1], thick))
        for a, b in pairwise(points):
            if a != b:
                sheet.add(box=_segment_box(a, b, thick / 2.0))
    sheet.add(Stroke(tuple(_on(p, scale, spot) for p in view.centre), 0.35, 0.35, (7.0, 2.0, 1.5, 2.0)))
    for a, b in view.ticks:
        sheet.add(Stroke((_on(a, scale, spot), _on(b, scale, spot)), 0.8))


def _fill(shape: Shape, points: tuple[Vec2, ...], thick: float, grey: float) -> Stroke:
    """Return the inside of a stretch; only the tube's own ends are square."""
    is_square = shape.order == 0 or shape.is_last
    return Stroke(
        _stretched(points, 0.4) if is_square else points, thick - OUTLINE, grey, is_round=not is_square
    )


def _edges(a: Vec2, b: Vec2, thick: float) -> Iterator[Mark]:
    """Return the two long sides of a straight stretch."""
    if math.dist(a, b) < FINE:
        return
    x, y = _normal((b[0] - a[0], b[1] - a[1]))
    for side in (0.5, -0.5):
        dx, dy = -y * side * (thick - FINE), x * side * (thick - FINE)
        yield Stroke(((a[0] + dx, a[1] + dy), (b[0] + dx, b[1] + dy)), FINE)


def _stretched(points: tuple[Vec2, ...], by: float) -> tuple[Vec2, ...]:
    """Return the run a little longer at both ends, so that the next run's fill leaves no seam."""
    (ax, ay), (bx, by_) = points[0], points[1]
    (cx, cy), (dx, dy) = points[-2], points[-1]
    first, last = math.hypot(ax - bx, ay - by_) or 1.0, math.hypot(dx - cx, dy - cy) or 1.0
    start = (ax + (ax - bx) / first * by, ay + (ay - by_) / first * by)
    end = (dx + (dx - cx) / last * by, dy + (dy - cy) / last * by)
    return (start, *points[1:-1], end)


def _draw_title(sheet: _Sheet, view: View, scale: float, spot: Vec2, left_most: bool) -> None:
    left, top = _on((view.outer_low[0], view.outer_high[1]), scale, spot)
    half = sheet.text_width(view.title, TITLE_SIZE, True) / 2.0
    middle = half if left_most else min(left + _size(view, scale)[0] / 2.0, sheet.size[0] - half)
    words = Words((middle, top + OVER_ROOM + TITLE_ROOM / 2.0), view.title, TITLE_SIZE, bold=True)
    sheet.add(words, box=sheet.words_box(words))


def _draw_overall(sheet: _Sheet, view: View, scale: float, spot: Vec2) -> None:
    left, low = _on(view.low, scale, spot)
    right, high = _on(view.high, scale, spot)
    if view.overall_across:
        y = _on(view.outer_low, scale, spot)[1] - 24.0
        _draw_measure(sheet, (left, y), (right, y), view.overall_across, (0.0, 1.0))
    if view.overall_up:
        x = _on(view.outer_high, scale, spot)[0] + SIDE_ROOM - 12.0
        _draw_measure(sheet, (x, low), (x, high), view.overall_up, (-1.0, 0.0))


def _draw_measure(sheet: _Sheet, a: Vec2, b: Vec2, text: str, towards: Vec2) -> None:
    """Draw a dimension line over the outside, its text in a gap or beside it."""
    length = math.dist(a, b)
    middle = ((a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0)
    direction = ((b[0] - a[0]) / length, (b[1] - a[1]) / length)
    for end in (a, b):
        tip = (end[0] + towards[0] * 8.0, end[1] + towards[1] * 8.0)
        foot = (end[0] - towards[0] * 4.0, end[1] - towards[1] * 4.0)
        sheet.add(Stroke((foot, tip), 0.4, 0.0), box=_segment_box(foot, tip, 2.0))
    angle = _upright(math.atan2(direction[1], direction[0]))
    wide = sheet.text_width(text, DIMENSION_SIZE, False)
    fits = length > wide + 4.0 * ARROW
    at = middle
    if not fits and direction[1]:  # beside an upright line there is room for level text only
        at, angle = (min(middle[0], sheet.size[0] - wide / 2.0), a[1] - 10.0), 0.0
    elif not fits:
        reach = 6.0 + wide / 2.0
        right = b[0] + reach
        at = (right if right + wide / 2.0 <= sheet.size[0] else a[0] - reach, middle[1])
    sheet.add(*_arrowed(a, b), box=_segment_box(a, b, 2.0))
    words = Words(at, text, DIMENSION_SIZE, angle=angle, clear=True)
    sheet.add(words, box=sheet.words_box(words))


def _draw_ends(sheet: _Sheet, view: View, od: float, scale: float, spot: Vec2) -> None:
    radius = max(od * scale, THINNEST) / 2.0
    for text, at, outward in (
        ("START", view.start, view.before_start),
        ("END", view.end, view.after_end),
    ):
        bold = text == "START"
        size = START_SIZE if bold else DIMENSION_SIZE - 1.5
        half = sheet.text_width(text, size, bold) / 2.0
        end = _on(at, scale, spot)
        words = _best(sheet, _round(end, _normal(outward), radius, half, size), text, size, bold)
        if math.dist(words.at, end) > radius + half + 22.0:
            _lead(sheet, words, end)
        sheet.add(words, box=sheet.words_box(words))


def _draw_balloon(sheet: _Sheet, text: str, at: Vec2, outward: Vec2, thick: float) -> None:
    options = []
    for distance in (3.0, 8.0, 15.0, 24.0, 36.0, 52.0):
        for turn in (0.0, 0.5, -0.5, 1.0, -1.0, 1.6, -1.6, 2.3, -2.3, 3.14):
            x, y = _turned(outward, turn)
            reach = max(thick, THINNEST) / 2.0 + BALLOON_RADIUS + distance
            options.append((at[0] + x * reach, at[1] + y * reach))
    square = (1.0, 0.0)
    size = BALLOON_RADIUS + 1.0
    spot = min(
        enumerate(options), key=lambda option: (sheet.overlap((option[1], square, size, size)), option[0])
    )[1]
    away = math.dist(spot, at)
    rim = (
        spot[0] + (at[0] - spot[0]) * BALLOON_RADIUS / away,
        spot[1] + (at[1] - spot[1]) * BALLOON_RADIUS / away,
    )
    sheet.add(Stroke((rim, at), FINE), Disc(spot, BALLOON_RADIUS), box=(spot, square, size, size))
    sheet.add(Words(spot, text, BALLOON_SIZE, bold=True))


def _draw_dimension(
    sheet: _Sheet, dimension: Dimension, od: float, scale: float, spot: Vec2, middle: Vec2
) -> None:
    """Draw a straight's length: along it where it is long enough on paper, else at the end of a line."""
    a, b = _on(dimension.start, scale, spot), _on(dimension.end, scale, spot)
    radius = max(od * scale, THINNEST) / 2.0
    length = math.dist(a, b)
    wide = sheet.text_width(dimension.text, DIMENSION_SIZE, False)
    if length > wide + 2.0 * ARROW + 10.0:
        offset = _free_offset(sheet, a, b, radius, middle)
        if offset is not None:
            _draw_parallel(sheet, dimension.text, a, b, radius, offset)
            return
    centre = ((a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0)
    away = _normal((centre[0] - middle[0], centre[1] - middle[1]))
    spots = _round(centre, away, radius, wide / 2.0, DIMENSION_SIZE)
    words = _best(sheet, spots, dimension.text, DIMENSION_SIZE, False)
    _lead(sheet, words, centre)
    sheet.add(words, box=sheet.words_box(words))


def _free_offset(sheet: _Sheet, a: Vec2, b: Vec2, radius: float, middle: Vec2) -> float | None:
    """Return how far to the side a dimension line finds room, negative on the right-hand side."""
    along = _normal((b[0] - a[0], b[1] - a[1]))
    square = (-along[1], along[0])
    centre = ((a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0)
    outside = (centre[0] - middle[0]) * square[0] + (centre[1] - middle[1]) * square[1]
    first = 1.0 if outside >= 0.0 else -1.0
    for distance in (12.0, 18.0, 26.0, 36.0):
        for side in (first, -first):
            offset = side * (radius + distance)
            at = (centre[0] + square[0] * offset, centre[1] + square[1] * offset)
            crossed = any(
                sheet.crosses_words(_segment_box(foot, tip, 0.2))
                for foot, tip in _witnesses(a, b, radius, offset)
            )
            box = (at, along, math.dist(a, b) / 2.0 - 0.5, DIMENSION_SIZE / 2.0 + 1.0)
            if not crossed and not sheet.overlap(box):
                return offset
    return None


def _draw_parallel(sheet: _Sheet, text: str, a: Vec2, b: Vec2, radius: float, offset: float) -> None:
    along = _normal((b[0] - a[0], b[1] - a[1]))
    square = (-along[1], along[0])
    moved = [(end[0] + square[0] * offset, end[1] + square[1] * offset) for end in (a, b)]
    for foot, tip in _witnesses(a, b, radius, offset):
        sheet.add(Stroke((foot, tip), 0.4), box=_segment_box(foot, tip, 1.5))
    sheet.add(*_arrowed(moved[0], moved[1]))
    centre = ((moved[0][0] + moved[1][0]) / 2.0, (moved[0][1] + moved[1][1]) / 2.0)
    angle = _upright(math.atan2(along[1], along[0]))
    box = (centre, along, math.dist(a, b) / 2.0, DIMENSION_SIZE / 2.0 + 1.0)
    sheet.add(Words(centre, text, DIMENSION_SIZE, angle=angle, clear=True), box=box)


def _witnesses(a: Vec2, b: Vec2, radius: float, offset: float) -> list[tuple[Vec2, Vec2]]:
    """Return the thin lines from the ends of a straight out past its dimension line."""
    along = _normal((b[0] - a[0], b[1] - a[1]))
    side = math.copysign(1.0, offset)
    x, y = -along[1] * side, along[0] * side
    near, far = radius + 1.5, abs(offset) + 3.0
    return [((end[0] + x * near, end[1] + y * near), (end[0] + x * far, end[1] + y * far)) for end in (a, b)]


def _arrowed(a: Vec2, b: Vec2) -> Iterator[Mark]:
    yield Stroke((a, b), FINE)
    for tip, other in ((a, b), (b, a)):
        x, y = _normal((other[0] - tip[0], other[1] - tip[1]))
        back = (tip[0] + x * ARROW, tip[1] + y * ARROW)
        wing = ARROW * 0.22
        left, right = (back[0] - y * wing, back[1] + x * wing), (back[0] + y * wing, back[1] - x * wing)
        yield Face((tip, left, right), 0.0, 0.2)


def _round(at: Vec2, outward: Vec2, radius: float, half: float, size: float) -> list[Vec2]:
    """Return places for level words round a point, the nearest and most outward first."""
    places = []
    for distance in (6.0, 12.0, 20.0, 30.0, 42.0, 58.0):
        for turn in (0.0, 0.6, -0.6, 1.2, -1.2, 1.6, -1.6, 2.2, -2.2, 3.14):
            x, y = _turned(outward, turn)
            reach = radius + distance
            places.append((at[0] + x * (reach + half), at[1] + y * (reach + size / 2.0)))
    return places


def _best(sheet: _Sheet, places: Iterable[Vec2], text: str, size: float, bold: bool) -> Words:
    options = [Words(place, text, size, bold) for place in places]
    return min(enumerate(options), key=lambda option: (sheet.overlap(sheet.words_box(option[1])), option[0]))[
        1
    ]


def _lead(sheet: _Sheet, words: Words, to: Vec2) -> None:
    """Draw a thin line from the edge of the words to what they are about."""
    (x, y), _, half, high = sheet.words_box(words, 1.0)
    start = (min(max(to[0], x - half), x + half), min(max(to[1], y - high), y + high))
    sheet.add(Stroke((start, to), 0.5))


def _upright(angle: float) -> float:
    """Return the angle by which text along a line reads from below or from the right."""
    while angle > FARTHEST_LEAN:
        angle -= math.pi
    while angle <= FARTHEST_LEAN - math.pi:
        angle += math.pi
    return angle


def _normal(v: Vec2) -> Vec2:
    length = math.hypot(*v)
    return (v[0] / length, v[1] / length) if length > 1e-9 else (0.0, 1.0)


def _turned(v: Vec2, angle: float) -> Vec2:
    c, s = math.cos(angle), math.sin(angle)
    return (v[0] * c - v[1] * s, v[0] * s + v[1] * c)


def _segment_box(a: Vec2, b: Vec2, half_height: float) -> Box:
    centre = ((a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0)
    return (centre, _normal((b[0] - a[0], b[1] - a[1])), math.dist(a, b) / 2.0, half_height)


def _corners(box: Box) -> list[Vec2]:
    (x, y), (dx, dy), half, high = box
    return [
        (x + i * half * dx - j * high * dy, y + i * half * dy + j * high * dx)
        for i, j in ((1, 1), (1, -1), (-1, -1), (-1, 1))
    ]


def _meet(a: Box, b: Box) -> bool:
    """Say whether two turned boxes overlap: no line along either's sides keeps them apart."""
    if math.dist(a[0], b[0]) > math.hypot(a[2], a[3]) + math.hypot(b[2], b[3]):
        return False
    between = (b[0][0] - a[0][0], b[0][1] - a[0][1])
    for dx, dy in (a[1], (-a[1][1], a[1][0]), b[1], (-b[1][1], b[1][0])):
        reach = 0.0
        for _, (ux, uy), half, high in (a, b):
            reach += half * abs(ux * dx + uy * dy) + high * abs(-uy * dx + ux * dy)
        if abs(between[0] * dx + between[1] * dy) >= reach:
            return False
    return True
