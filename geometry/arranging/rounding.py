"""Giving all bends of a tube angles that the shop likes, with the least movement of its corners."""

import itertools
import math

import numpy as np

from geometry.arranging import places
from geometry.errors import GeometryError
from geometry.layout import Layout, Tube
from geometry.tolerances import SAME_POINT
from geometry.tube import bending
from geometry.vectors import Floats, angle_between, between, distance, unit, vec

ROUNDS = 100
REACHED = 1e-10  # rad; far below what any gauge shows
FARTHEST = 500.0  # mm; a corner that has to go farther is another tube, not a rounder angle


def round_angles(layout: Layout, tube: int, step: float) -> Layout:
    """Move the corners of a tube as little as possible until every bend is a multiple of step.

    Both ends stay, and nodes on straights stay at their part of the way. No bend is rounded away.
    """
    if not 0.0 < step <= math.pi / 2.0:
        raise GeometryError("Bends can be rounded to a step between 0° and 90°; 5° is usual.")
    rounded = places.tube_of(layout, tube)
    points = np.array([layout.nodes[id].position for id in rounded.nodes])
    turns = bending.turns([vec(point) for point in points])
    wanted = np.array([max(1, round(turn.angle / step)) * step for turn in turns])
    if all(abs(turn.angle - angle) < REACHED * 10.0 for turn, angle in zip(turns, wanted, strict=True)):
        return layout
    fixed = [0, *(turn.index for turn in turns), len(points) - 1]
    found = _solved(points[fixed], wanted)
    if found is None or float(np.linalg.norm(found - points[fixed], axis=1).max()) > FARTHEST:
        raise GeometryError(
            f"The bends of {rounded.name} cannot all be multiples of {math.degrees(step):g}° with its ends "
            "where they are.",
            (tube,),
        )
    return places.put(layout, _places(layout, rounded, fixed, found))


def _solved(start: Floats, wanted: Floats) -> Floats | None:
    """Return points near the start with the wanted turns between fixed ends; None where there are none.

    Each round takes the nearest points to the start that meet the turns as they are now linearised.
    """
    points = start.copy()
    for _ in range(ROUNDS):
        angles, slopes = _angles(points)
        off = angles - wanted
        if float(np.abs(off).max()) < REACHED:
            return points
        back = (start - points)[1:-1].ravel()
        push, *_ = np.linalg.lstsq(slopes @ slopes.T, off + slopes @ back, rcond=None)
        step = back - slopes.T @ push
        if not np.isfinite(step).all():
            return None
        points[1:-1] += _held(step.reshape(-1, 3), points)
    return None


def _held(step: Floats, points: Floats) -> Floats:
    """Return the step, shorter where it would take a corner past its neighbours."""
    legs = np.linalg.norm(np.diff(points, axis=0), axis=1)
    most = float(np.linalg.norm(step, axis=1).max())
    room = float(legs.min()) / 3.0
    return step if most <= room else step * (room / most)


def _angles(points: Floats) -> tuple[Floats, Floats]:
    """Return the turn at each inner point (n,), and how it changes with each of their coordinates (n, 3n)."""
    legs = np.diff(points, axis=0)
    count = len(points) - 2
    angles = np.empty(count)
    slopes = np.zeros((count, 3 * (count + 2)))
    for i in range(count):
        before, after = legs[i], legs[i + 1]
        angles[i] = angle_between(before, after)
        ahead, along = unit(before), unit(after)
        by_before = -unit(along - (along @ ahead) * ahead) / np.linalg.norm(before)
        by_after = -unit(ahead - (ahead @ along) * along) / np.linalg.norm(after)
        slopes[i, 3 * i : 3 * i + 3] -= by_before
        slopes[i, 3 * i + 3 : 3 * i + 6] += by_before - by_after
        slopes[i, 3 * i + 6 : 3 * i + 9] += by_after
    return angles, slopes[:, 3:-3]


def _places(
    layout: Layout, tube: Tube, fixed: list[int], found: Floats
) -> dict[int, tuple[float, float, float]]:
    """Return where each node goes: corners as found, nodes of straights at their part of the way."""
    old = [layout.nodes[id].position for id in tube.nodes]
    new = {tube.nodes[index]: vec(point) for index, point in zip(fixed, found, strict=True)}
    for low, high in itertools.pairwise(fixed):
        whole = distance(old[low], old[high])
        for index in range(low + 1, high):
            part = distance(old[low], old[index]) / max(whole, SAME_POINT)
            new[tube.nodes[index]] = between(new[tube.nodes[low]], new[tube.nodes[high]], part)
    return new
