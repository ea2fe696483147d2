"""From corner points to what a bender needs (straight, rotation, angle) and back; which die bends a tube."""

import math
from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from geometry.layout import Die, Layout, Stock, Tube
from geometry.tolerances import ANGLE_NOISE, LENGTH_NOISE, SAME_POINT, STRAIGHT
from geometry.tube import trials
from geometry.vectors import (
    Vec3,
    any_perpendicular,
    cross,
    direction,
    distance,
    dot,
    plus,
    times,
    turned,
    vec,
)


class Turn(Struct, frozen=True):
    """A corner where the direction of travel turns right-handed about axis by angle."""

    index: int  # into the points
    corner: Vec3
    axis: Vec3
    angle: float


class BendRow(Struct, frozen=True):
    """One bend: the straight before it, the turn of the bend plane since the last bend, its angle."""

    straight_before: float
    rotation: float
    angle: float
    clr: float


class BendData(Struct, frozen=True):
    """A tube as a bender sees it, walking from its start."""

    rows: tuple[BendRow, ...]
    last_straight: float
    length: float


def tangent(clr: float, angle: float) -> float:
    """Return how far from its corner a bend starts and ends."""
    return clr * math.tan(angle / 2.0)


def die_of(layout: Layout, tube: Tube) -> Die | None:
    """Return the chosen die, or the best that the rack offers for the tube's OD."""
    if tube.die is not None and tube.die in layout.dies:
        return layout.dies[tube.die]
    return best_die(layout, layout.stocks[tube.stock])


def best_die(layout: Layout, stock: Stock) -> Die | None:
    """Return the tightest die the stock may be bent on; failing that the widest of its OD."""
    od = stock.od  # the test of is_for, in place: this runs for every tube at every mouse move
    offered = [die for die in layout.dies.values() if -SAME_POINT <= die.od - od <= SAME_POINT]
    least = least_clr(stock) - LENGTH_NOISE
    allowed = [die for die in offered if die.clr >= least]
    if allowed:
        return min(allowed, key=lambda die: die.clr)
    return max(offered, key=lambda die: die.clr, default=None)


def is_for(die: Die, stock: Stock) -> bool:
    """Say whether the die takes tube of the stock's OD."""
    return abs(die.od - stock.od) <= SAME_POINT


def least_clr(stock: Stock) -> float:
    return stock.least_clr_ratio * stock.od


def least_between(die: Die) -> float:
    """Return the least straight between two bends: the die's, or twice the OD until it is measured."""
    return die.between_straight or 2.0 * die.od


# The radii of the rack that was asked last: every tube asks at every mouse move.
_Rack = tuple[object, object, object, object]
_last: tuple[_Rack, dict[tuple[int, int | None], float]] = ((None, None, None, None), {})


def clr_of(layout: Layout, tube: Tube) -> float:
    """Return the radius of the tube's bends: what trial bends of its die taught, the die's, or the least."""
    global _last
    rack, known = _last
    asked = (layout.dies, layout.stocks, layout.trials, layout.limits)
    if any(old is not new for old, new in zip(rack, asked, strict=True)):
        known = {}
        _last = (asked, known)
    key = (tube.stock, tube.die)
    if key not in known:
        known[key] = _clr(layout, tube)
    return known[key]


def _clr(layout: Layout, tube: Tube) -> float:
    die, stock = die_of(layout, tube), layout.stocks[tube.stock]
    if die is None:
        return least_clr(stock)
    return trials.learnt(layout, die, stock).clr.value if layout.trials else die.clr


def turns(points: Sequence[Vec3]) -> tuple[Turn, ...]:
    """Return the corners that are bends; the points between them lie on straights."""
    kept = _distinct(points)
    while True:
        found = [_turn(points, *three) for three in zip(kept, kept[1:], kept[2:], strict=False)]
        straight = {turn.index for turn in found if turn.angle < STRAIGHT}
        if not straight:
            return tuple(found)
        kept = [index for index in kept if index not in straight]


def bend_data(points: Sequence[Vec3], clr: float) -> BendData:
    """Return the bend data of a tube through these corners; straights are true and may be negative."""
    corners = turns(points)
    straights = true_straights(points, corners, clr)
    rows = tuple(
        BendRow(straights[i], rotation_between(corners[i - 1], turn) if i else 0.0, turn.angle, clr)
        for i, turn in enumerate(corners)
    )
    return BendData(rows, straights[-1], sum(straights) + sum(clr * turn.angle for turn in corners))


def true_straights(points: Sequence[Vec3], corners: Sequence[Turn], clr: float) -> tuple[float, ...]:
    """Return what each leg keeps after the bends at its ends took their tangents; may be negative."""
    stops = (points[0], *(turn.corner for turn in corners), points[-1])
    taken = (0.0, *(tangent(clr, turn.angle) for turn in corners), 0.0)
    return tuple(distance(stops[i], stops[i + 1]) - taken[i] - taken[i + 1] for i in range(len(corners) + 1))


def rotation_between(first: Turn, second: Turn) -> float:
    """Return the turn of the bend plane about the direction of travel, in (-pi, pi]."""
    along = direction(first.corner, second.corner)
    angle = math.atan2(dot(along, cross(first.axis, second.axis)), dot(first.axis, second.axis))
    return math.pi if angle <= ANGLE_NOISE - math.pi else angle


def nodes_from(data: BendData, start: Vec3, direction: Vec3, axis: Vec3) -> tuple[Vec3, ...]:
    """Walk the rows from start; the first bend turns right-handed about axis."""
    along = np.asarray(direction) / np.linalg.norm(direction)
    normal = np.asarray(axis) - np.dot(axis, along) * along
    normal = normal / np.linalg.norm(normal)
    nodes, before = [start], 0.0
    for row in data.rows:
        reach = tangent(row.clr, row.angle)
        nodes.append(plus(nodes[-1], times(vec(along), before + row.straight_before + reach)))
        normal = turned(normal, along, row.rotation)
        along = turned(along, normal, row.angle)
        before = reach
    nodes.append(plus(nodes[-1], times(vec(along), before + data.last_straight)))
    return tuple(nodes)


def reversed_data(data: BendData) -> BendData:
    """Return the same tube walked from its end: rows reversed, signs unchanged."""
    if not data.rows:
        return data
    straights = (*(row.straight_before for row in data.rows), data.last_straight)[::-1]
    rotations = (0.0, *(row.rotation for row in data.rows[:0:-1]))
    rows = tuple(
        BendRow(straight, rotation, row.angle, row.clr)
        for straight, rotation, row in zip(straights, rotations, data.rows[::-1], strict=False)
    )
    return BendData(rows, straights[-1], data.length)


def mirrored_data(data: BendData) -> BendData:
    """Return the twin: lengths and angles equal, rotations negated (half a turn stays itself)."""
    rows = tuple(
        replace(row, rotation=row.rotation if row.rotation == math.pi else 0.0 - row.rotation)
        for row in data.rows
    )
    return replace(data, rows=rows)


def _distinct(points: Sequence[Vec3]) -> list[int]:
    """Return the indexes of the points that differ from the one before."""
    kept = [0]
    for index in range(1, len(points)):
        if distance(points[index], points[kept[-1]]) > LENGTH_NOISE:
            kept.append(index)
    return kept


def _turn(points: Sequence[Vec3], before: int, index: int, after: int) -> Turn:
    corner = points[index]
    arriving, leaving = direction(points[before], corner), direction(corner, points[after])
    normal = cross(arriving, leaving)
    sine = math.hypot(*normal)
    angle = math.atan2(sine, dot(arriving, leaving))
    if sine > ANGLE_NOISE:
        return Turn(index, corner, times(normal, 1.0 / sine), angle)
    return Turn(index, corner, vec(any_perpendicular(np.asarray(arriving))), angle)
