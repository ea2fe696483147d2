"""How long, wide and high the whole is: the body, the cage by the outside of its tubes, and both."""

import math
from collections.abc import Iterable
from functools import lru_cache

import numpy as np
from msgspec import Struct

from geometry.body import placement
from geometry.layout import Layout, Panel
from geometry.measuring import places
from geometry.tube import centreline
from geometry.tube.centreline import Arc, Centreline, Line
from geometry.vectors import Vec3, cross, direction, dot, minus, plus, times

CACHED = 4096
AXES: tuple[Vec3, ...] = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))


class Size(Struct, frozen=True):
    """The box round something, and how far its lowest and highest points are above the ground."""

    length: float  # x
    width: float  # y
    height: float  # square to the ground
    low: float  # above the ground
    high: float


class Sizes(Struct, frozen=True):
    """Overall sizes; None where there is nothing to measure."""

    body: Size | None  # the panels that are kept
    cage: Size | None  # the outside of all tubes
    both: Size | None
    whole: Size | None  # with the tyres as they stand


Reach = tuple[float, ...]  # the farthest along x, -x, y, -y, up from the ground, and down from it


def of(layout: Layout) -> Sizes:
    """Return the overall sizes of a layout."""
    ground = places.ground(layout)
    ways = (*(times(axis, sign) for axis in AXES[:2] for sign in (1.0, -1.0)), ground.normal)
    ways = (*ways, times(ground.normal, -1.0))
    level = dot(ground.at, ground.normal)
    body = _together(_panel_reach(layout, panel, ways) for panel in layout.panels.values() if panel.kept)
    cage = _together(
        _tube_reach(centreline.of(layout, tube), layout.stocks[tube.stock].od / 2.0, ways)
        for tube in layout.tubes.values()
    )
    tyres = _together(_tyre_reaches(layout, ways))
    both = _together(reach for reach in (body, cage) if reach)
    whole = _together(reach for reach in (body, cage, tyres) if reach) if tyres else None
    return Sizes(*(_size(reach, level) for reach in (body, cage, both, whole)))


def _size(reach: Reach | None, level: float) -> Size | None:
    if reach is None:
        return None
    front, back, left, right, up, down = reach
    return Size(front + back, left + right, up + down, -down - level + 0.0, up - level)


def _together(reaches: Iterable[Reach]) -> Reach | None:
    rows = list(reaches)
    return tuple(max(row[i] for row in rows) for i in range(6)) if rows else None


def _panel_reach(layout: Layout, panel: Panel, ways: tuple[Vec3, ...]) -> Reach:
    points = placement.panel_vertices(layout, panel)
    if not len(points):
        return (-math.inf,) * 6
    return tuple(float((points @ np.array(way)).max()) for way in ways)


@lru_cache(maxsize=CACHED)
def _tube_reach(line: Centreline, radius: float, ways: tuple[Vec3, ...]) -> Reach:
    """Return how far the outside of a tube reaches each way: at a piece's end, or where it runs square."""
    return tuple(max(_piece_reach(piece, radius, way) for piece in line.pieces) for way in ways)


def _piece_reach(piece: Line | Arc, radius: float, way: Vec3) -> float:
    if isinstance(piece, Line):
        along = direction(piece.start, piece.end)
        return max(_disc_reach(end, along, radius, way) for end in (piece.start, piece.end))
    out = minus(piece.start, piece.centre)
    across = cross(piece.axis, out)
    turns = [0.0, piece.angle]
    square = math.atan2(dot(across, way), dot(out, way))
    turns += [turn for turn in (square % (2.0 * math.pi),) if turn < piece.angle]
    reaches = []
    for turn in turns:
        at = plus(piece.centre, plus(times(out, math.cos(turn)), times(across, math.sin(turn))))
        along = direction(times(out, math.sin(turn)), times(across, math.cos(turn)))
        reaches.append(_disc_reach(at, along, radius, way))
    return max(reaches)


def _disc_reach(at: Vec3, along: Vec3, radius: float, way: Vec3) -> float:
    """Return how far the section of a tube reaches."""
    return dot(at, way) + radius * math.sqrt(max(0.0, 1.0 - dot(along, way) ** 2))


def _tyre_reaches(layout: Layout, ways: tuple[Vec3, ...]) -> Iterable[Reach]:
    """Yield how far each tyre reaches, as a disc with square shoulders, straight ahead and upright."""
    for axle in layout.axles.values():
        for side in (1.0, -1.0):
            middle = (axle.x, side * (axle.track / 2.0 - axle.offset), axle.height)
            yield tuple(
                dot(middle, way)
                + axle.tyre.od / 2.0 * math.hypot(way[0], way[2])
                + axle.tyre.width / 2.0 * abs(way[1])
                for way in ways
            )
