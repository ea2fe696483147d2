"""Views of a bent tube, two square to each other or one of a flat tube, as flat lines in mm with words."""

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from app import units as units_of
from app.units import Units
from geometry.tube import centreline
from geometry.tube.centreline import Arc, Centreline, Line
from geometry.vectors import Floats, unit

Vec2 = tuple[float, float]

CHUNK_ODS = 3.0  # straights are cut into pieces this long so that crossings sort by depth
CHUNK_TURN = math.radians(10.0)
ROLL_STEPS = 72  # views are tried every 2.5 degrees about the long axis
SQUARE_COUNTS = 1.03  # a true shape is worth this much more than one a few degrees off
CHORD_COUNTS = 0.5  # start and end set the long axis when they are this part of the tube's spread apart
NAMED_LOOK = math.radians(20.0)  # a view within this of a side of the car is named after it
ON_EDGE = 0.1  # cosine below which an end face is seen as a line
WORDS_ACROSS, WORDS_UP = 124.0, 70.0  # points that the words round a view take
FLAT = 0.02  # a view whose height is the tube's own diameter, to this part, shows no shape

CAR_SIDES: tuple[tuple[str, Sequence[float]], ...] = (
    ("the front of the car", (1, 0, 0)),
    ("the back of the car", (-1, 0, 0)),
    ("the left of the car", (0, 1, 0)),
    ("the right of the car", (0, -1, 0)),
    ("above the car", (0, 0, 1)),
    ("below the car", (0, 0, -1)),
)


class Shape(Struct, frozen=True):
    """A stretch of tube (a run of points to be drawn as wide as the tube) or an end face (a polygon)."""

    points: tuple[Vec2, ...]
    depth: float  # larger is nearer to the eye
    order: int = -1  # of a stretch, along the tube; the first and the last end square
    is_last: bool = False
    is_face: bool = False
    is_spare: bool = False  # an allowance, cut off later


class Balloon(Struct, frozen=True):
    """A bend's number, beside the middle of its arc."""

    text: str
    at: Vec2
    outward: Vec2


class Dimension(Struct, frozen=True):
    """A straight's true length, along where it lies."""

    start: Vec2
    end: Vec2
    text: str


class View(Struct, frozen=True):
    """What the eye sees from one side; x to the right, y up, mm."""

    title: str
    shapes: tuple[Shape, ...]  # back to front
    centre: tuple[Vec2, ...]
    ticks: tuple[tuple[Vec2, Vec2], ...]  # where bends start and end, and the trim lines
    balloons: tuple[Balloon, ...]
    dimensions: tuple[Dimension, ...]
    start: Vec2  # of the blank: the sawn end
    before_start: Vec2  # the direction out of the start end
    end: Vec2
    after_end: Vec2
    low: Vec2  # of the finished tube, over the outside
    high: Vec2
    outer_low: Vec2  # with the allowances
    outer_high: Vec2
    overall_across: str = ""
    overall_up: str = ""


class Views(Struct, frozen=True):
    """One or two views, one under the other or side by side, on one scale."""

    views: tuple[View, ...]
    beside: bool
    od: float


class _Frame(Struct, frozen=True):
    right: Floats
    up: Floats

    @property
    def eye(self) -> Floats:
        towards: Floats = np.cross(self.right, self.up)
        return towards


def of(line: Centreline, od: float, spare: tuple[float, float], units: Units, box: Vec2) -> Views:
    """Return the two views in which the bends read best within a box of this shape.

    spare: how much longer than the finished tube the blank is at its start and its end.
    """
    frames, beside = _best_frames(line, od, box)
    straights = _straights(line)
    seen_in = [_clearest(start, end, frames) for start, end in straights]
    views = []
    for index, frame in enumerate(frames):
        dimensions = tuple(
            Dimension(
                _flat(start, frame), _flat(end, frame), units_of.format_length(length, units, unit=False)
            )
            for (start, end), length, best in zip(straights, _lengths(straights), seen_in, strict=True)
            if best == index
        )
        views.append(_view(line, od, spare, frame, _title(index, frame, beside, len(frames)), dimensions))
    if len(views) == 2 and _is_edge_on(views[1], beside, od):  # it would show nothing more
        views = [replace(views[0], title=f"{views[0].title}: the tube lies flat")]
    return Views(tuple(_with_overall(views, units, beside, od, bool(line.bends))), beside, od)


def _best_frames(line: Centreline, od: float, box: Vec2) -> tuple[list[_Frame], bool]:
    """Try rolls about the long axis and both arrangements; return the frames that show most, largest."""
    points, _, _ = centreline.sample(line, 1.0)
    along = _long_axis(points)
    normals = np.array([piece.axis for piece in line.pieces if isinstance(piece, Arc)]).reshape(-1, 3)
    if not len(normals):
        return [_rolled(along, 0.0)], False
    best, best_score = ([_rolled(along, 0.0)], False), -1.0
    for roll, weight in _rolls(along, normals):
        first = _rolled(along, roll)
        under, side = _Frame(first.right, first.eye), _Frame(-first.eye, first.up)
        for second, beside in ((under, False), (side, True)):
            size = _scale(points, od, first, second, beside, box)
            score = weight * _clarity(normals, first, second) * math.sqrt(size)
            if score > best_score * (1.0 + 1e-9):
                best, best_score = ([first, second], beside), score
    return best


def _long_axis(points: Floats) -> Floats:
    """Return the direction that lies level on paper, from the start end to the right."""
    spread = points - points.mean(axis=0)
    _, _, axes = np.linalg.svd(spread, full_matrices=False)
    chord = points[-1] - points[0]
    longest = float(np.ptp(spread @ axes[0]))
    if float(np.linalg.norm(chord)) > CHORD_COUNTS * longest:
        return unit(chord)
    axis: Floats = axes[0]
    return axis if float(chord @ axis) >= 0.0 else -axis


def _rolls(along: Floats, normals: Floats) -> list[tuple[float, float]]:
    """Return rolls to try, each with its weight: square to a bend counts more than nearly so."""
    level = _rolled(along, 0.0)
    square = [math.atan2(float(normal @ -level.up), float(normal @ level.eye)) for normal in normals]
    return [
        *((roll + turn, SQUARE_COUNTS) for roll in square for turn in (0.0, math.pi)),
        *((step * 2.0 * math.pi / ROLL_STEPS, 1.0) for step in range(ROLL_STEPS)),
    ]


def _rolled(along: Floats, roll: float) -> _Frame:
    """Return the frame with along to the right, turned about it; unrolled, z is up where it can be."""
    z = np.array([0.0, 0.0, 1.0])
    up = z - (z @ along) * along
    if float(np.linalg.norm(up)) < 0.1:
        x = np.array([1.0, 0.0, 0.0])
        up = x - (x @ along) * along
    up = unit(up)
    turned: Floats = math.cos(roll) * up + math.sin(roll) * np.cross(along, up)
    return _Frame(along, turned)


def _clarity(normals: Floats, first: _Frame, second: _Frame) -> float:
    """Return how squarely the bends are seen: the better of both views, and more in the first."""
    a, b = np.abs(normals @ first.eye), np.abs(normals @ second.eye)
    better = np.maximum(a, b)
    upright = max(float(first.up[2]), 0.0) + 0.5 * max(float(first.eye @ np.array([-0.2, 1.0, 0.6])), 0.0)
    return float(better.mean() + better.min() + 0.3 * a.mean() + 0.02 * upright)


def _scale(points: Floats, od: float, first: _Frame, second: _Frame, beside: bool, box: Vec2) -> float:
    """Return the scale at which both views and the words round them fit; never 0, so that any can win."""
    across = float(np.ptp(points @ first.right)) + od
    up = float(np.ptp(points @ first.up)) + od
    if beside:
        across += float(np.ptp(points @ second.right)) + od
    else:
        up += float(np.ptp(points @ second.up)) + od
    columns, rows = (2, 1) if beside else (1, 2)
    room = (box[0] - columns * WORDS_ACROSS, box[1] - rows * WORDS_UP)
    return max(min(room[0] / across, room[1] / up), 1e-6)


def _straights(line: Centreline) -> list[tuple[Floats, Floats]]:
    return [(np.array(p.start), np.array(p.end)) for p in line.pieces if isinstance(p, Line)]


def _lengths(straights: list[tuple[Floats, Floats]]) -> list[float]:
    return [float(np.linalg.norm(end - start)) for start, end in straights]


def _clearest(start: Floats, end: Floats, frames: list[_Frame]) -> int:
    """Return the view in which the straight looks longest; the first where they are nearly equal."""
    seen = [math.dist(_flat(start, frame), _flat(end, frame)) for frame in frames]
    return 0 if seen[0] >= 0.8 * max(seen) else int(np.argmax(seen))


def _flat(point: Floats, frame: _Frame) -> Vec2:
    return (float(point @ frame.right), float(point @ frame.up))


def _title(index: int, frame: _Frame, beside: bool, count: int) -> str:
    if count == 1:
        return "View A — a straight tube, alike from all sides"
    side = _seen_from(frame)
    if index == 0:
        return f"View A{side}"
    return f"View B{side or (' — A seen from its ' + ('right' if beside else 'underside'))}"


def _is_edge_on(view: View, beside: bool, od: float) -> bool:
    axis = 0 if beside else 1
    return view.high[axis] - view.low[axis] <= od * (1.0 + FLAT)


def _seen_from(frame: _Frame) -> str:
    for name, towards in CAR_SIDES:
        if float(frame.eye @ np.array(towards, dtype=np.float64)) >= math.cos(NAMED_LOOK):
            return f" — from {name}"
    return ""


def _view(
    line: Centreline,
    od: float,
    spare: tuple[float, float],
    frame: _Frame,
    title: str,
    dimensions: tuple[Dimension, ...],
) -> View:
    points, directions, _ = centreline.sample(line, od / 200.0)
    reach = od / 2.0 * np.sqrt(np.clip(1.0 - (directions @ np.stack([frame.right, frame.up], 1)) ** 2, 0, 1))
    flat = np.stack([points @ frame.right, points @ frame.up], axis=1)
    low, high = (flat - reach).min(axis=0), (flat + reach).max(axis=0)
    shapes = [*_stretches(line, od, frame), *_ends(points, directions, od, spare, frame)]
    arcs = [
        (start, start + piece.angle * centreline.radius_of(piece), piece)
        for piece, start in zip(line.pieces, line.stations, strict=True)
        if isinstance(piece, Arc)
    ]
    marks = [station for start, end, _ in arcs for station in (start, end)] + [0.0, line.length]
    tips = np.stack([points[0] - spare[0] * directions[0], points[-1] + spare[1] * directions[-1]])
    flat_tips = np.stack([tips @ frame.right, tips @ frame.up], axis=1)
    outer_low = np.minimum(low, (flat_tips - reach[[0, -1]]).min(axis=0))
    outer_high = np.maximum(high, (flat_tips + reach[[0, -1]]).max(axis=0))
    return View(
        title,
        tuple(sorted(shapes, key=lambda shape: shape.depth)),
        tuple((float(x), float(y)) for x, y in flat),
        tuple(_tick(line, station, od, frame) for station in marks),
        tuple(_balloon(line, number, arc, frame) for number, arc in enumerate(arcs, 1)),
        dimensions,
        _flat(tips[0], frame),
        _flat(-directions[0], frame),
        _flat(tips[1], frame),
        _flat(directions[-1], frame),
        (float(low[0]), float(low[1])),
        (float(high[0]), float(high[1])),
        (float(outer_low[0]), float(outer_low[1])),
        (float(outer_high[0]), float(outer_high[1])),
    )


def _stretches(line: Centreline, od: float, frame: _Frame) -> list[Shape]:
    """Return the tube in short runs, so that they can be drawn from back to front."""
    ends = (*line.stations[1:], line.length)
    runs = []
    for piece, start, end in zip(line.pieces, line.stations, ends, strict=True):
        if isinstance(piece, Line):
            count, inner = max(1, round((end - start) / (CHUNK_ODS * od))), 2
        else:
            count, inner = max(1, round(piece.angle / CHUNK_TURN)), 5
        cuts = np.linspace(start, end, count + 1)
        for a, b in pairwise(cuts):
            runs.append(centreline.point_at(line, np.linspace(a, b, inner)))
    return [
        Shape(
            tuple(_flat(point, frame) for point in run),
            float((run @ frame.eye).mean()),
            order,
            is_last=order == len(runs) - 1,
        )
        for order, run in enumerate(runs)
    ]


def _ends(
    points: Floats, directions: Floats, od: float, spare: tuple[float, float], frame: _Frame
) -> list[Shape]:
    """Return both end faces as seen, and the allowances that stand out beyond them."""
    shapes = []
    for point, outward, extra in (
        (points[0], -directions[0], spare[0]),
        (points[-1], directions[-1], spare[1]),
    ):
        tip = point + extra * outward
        towards_eye = float(outward @ frame.eye)
        if extra > 0.0:
            run = (_flat(point, frame), _flat(tip, frame))
            shapes.append(Shape(run, float(((point + tip) / 2.0) @ frame.eye), is_spare=True))
        # The face hides behind its own tube only when it clearly looks away from the eye.
        depth = float(tip @ frame.eye) + (od if towards_eye > -ON_EDGE else -od)
        shapes.append(Shape(_face(tip, outward, od, frame), depth, is_face=True, is_spare=extra > 0.0))
    return shapes


def _face(centre: Floats, normal: Floats, od: float, frame: _Frame) -> tuple[Vec2, ...]:
    helper = frame.eye if abs(float(normal @ frame.eye)) < 0.9 else frame.right
    a = unit(np.cross(normal, helper))
    b = np.cross(normal, a)
    turns = np.linspace(0.0, 2.0 * math.pi, 25)[:-1]
    ring = centre + od / 2.0 * (np.cos(turns)[:, None] * a + np.sin(turns)[:, None] * b)
    return tuple(_flat(point, frame) for point in ring)


def _tick(line: Centreline, station: float, od: float, frame: _Frame) -> tuple[Vec2, Vec2]:
    """Return a mark across the tube, as long as the tube is wide."""
    x, y = _flat(centreline.point_at(line, [station])[0], frame)
    dx, dy = _flat(centreline.direction_at(line, [station])[0], frame)
    seen = math.hypot(dx, dy)
    if seen < 0.2:
        return ((x, y), (x, y))
    nx, ny = -dy / seen * od / 2.0, dx / seen * od / 2.0
    return ((x - nx, y - ny), (x + nx, y + ny))


def _balloon(line: Centreline, number: int, arc: tuple[float, float, Arc], frame: _Frame) -> Balloon:
    start, end, piece = arc
    middle = centreline.point_at(line, [(start + end) / 2.0])[0]
    outward = _flat(middle - np.array(piece.centre), frame)
    seen = math.hypot(*outward) / centreline.radius_of(piece)
    if seen < 0.2:  # seen along its own radius: to the side instead
        dx, dy = _flat(centreline.direction_at(line, [(start + end) / 2.0])[0], frame)
        outward = (-dy, dx)
    length = math.hypot(*outward) or 1.0
    return Balloon(str(number), _flat(middle, frame), (outward[0] / length, outward[1] / length))


def _with_overall(views: list[View], units: Units, beside: bool, od: float, is_bent: bool) -> list[View]:
    """Add the sizes over the outside, each once."""
    texts = []
    for view in views:
        across, up = view.high[0] - view.low[0], view.high[1] - view.low[1]
        texts.append((units_of.format_length(across, units), units_of.format_length(up, units), across, up))
    finished = []
    for index, (view, (across_text, up_text, across, up)) in enumerate(zip(views, texts, strict=True)):
        wants_across = is_bent and (index == 0 or beside) and across > od * (1.0 + FLAT)
        wants_up = (index == 0 or not beside) and up > od * (1.0 + FLAT)
        finished.append(
            replace(
                view,
                overall_across=across_text if wants_across else "",
                overall_up=up_text if wants_up else "",
            )
        )
    return finished
