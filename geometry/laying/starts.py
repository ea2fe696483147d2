"""Polylines to start from: the best with each number of corners, by dynamic programming over a corridor."""

import numpy as np
from msgspec import Struct

from geometry.laying import cost
from geometry.laying.field import Field
from geometry.laying.path import Path
from geometry.laying.wish import Wish
from geometry.vectors import Floats, Ints

LOOKS = 10  # places along an edge where its distance is looked up
MOST_STATIONS = 36  # of the path where corners are tried
SIDE = 0.8  # of the corridor; corners are also tried so far beside the path
FARTHER = (25.0, 90.0)  # mm beyond the wanted stand-off where corners are tried too
STRAIGHTER = 0.1  # what a mm too short between corners costs
# What closeness, the far side of the band and its near side count: arcs cut corners, so that a tube may
# keep what its polyline breaks, or the reverse.
VIEWS = np.array([[1.0, 0.1, 1.0], [1.0, 1.0, 1.0], [0.1, 1.0, 0.1]])
HARD = 5.0  # times what a mm too far costs, a mm too near


class _Corridor(Struct, frozen=True, eq=False):
    """Where corners may be: points (n, 3) sorted by the station (n,) of the path that they stand at."""

    points: Floats
    station: Ints


def polylines(field: Field, path: Path, wish: Wish, most: int) -> list[list[Floats]]:
    """Return for n = 0 ... most the best polylines of n corners: (n + 2, 3) with both ends.

    Several come from different views of what counts most; equal ones are given once.
    """
    corridor = _corridor(path, wish)
    first, second, prices = _edges(field, path, wish, corridor)
    found: list[list[Floats]] = [[] for _ in range(most + 1)]
    for view in VIEWS:
        for bends, line in enumerate(_shortest(corridor, first, second, view @ prices, most)):
            if not any(np.array_equal(line, known) for known in found[bends]):
                found[bends].append(line)
    return [lines for lines in found if lines]


def _shortest(corridor: _Corridor, first: Ints, second: Ints, edge: Floats, most: int) -> list[Floats]:
    """Return the cheapest polyline for each number of corners, as far as there are that many."""
    count = len(corridor.points)
    table = np.full((count, count), np.inf)
    table[first, second] = edge
    best = np.full(count, np.inf)
    best[0] = 0.0
    before: list[Ints] = []
    lines = []
    for _ in range(most + 1):
        sums = best[:, None] + table
        before.append(sums.argmin(axis=0))
        best = sums.min(axis=0)
        if not np.isfinite(best[-1]):
            break
        lines.append(corridor.points[_walked(before, count - 1)])
    return lines


def _walked(before: list[Ints], last: int) -> list[int]:
    found = [last]
    for step in reversed(before):
        found.append(int(step[found[-1]]))
    return found[::-1]


def _corridor(path: Path, wish: Wish) -> _Corridor:
    low, aside = -0.7 * (wish.wanted - wish.closest), SIDE * wish.corridor
    offsets = [(0.0, 0.0), (low, 0.0), *((high, 0.0) for high in FARTHER)]
    offsets += [(0.0, side) for side in (-aside, aside)] + [(FARTHER[0], side) for side in (-aside, aside)]
    out, side = np.array(offsets).T
    inner = np.arange(1, len(path.points) - 1)
    inner = inner[:: max(int(np.ceil(len(inner) / MOST_STATIONS)), 1)]
    points = (
        path.points[inner, None]
        + out[:, None] * path.outward[inner, None]
        + side[:, None] * path.aside[inner, None]
    )
    stations = np.repeat(inner, len(offsets))
    return _Corridor(
        np.concatenate([path.points[:1], points.reshape(-1, 3), path.points[-1:]]),
        np.concatenate([[0], stations, [len(path.points) - 1]]),
    )


def _edges(field: Field, path: Path, wish: Wish, corridor: _Corridor) -> tuple[Ints, Ints, Floats]:
    """Return from where to where corners can be joined, and what that costs in each respect: (3, e)."""
    first, second = np.nonzero(corridor.station[:, None] < corridor.station)
    start, end = corridor.points[first], corridor.points[second]
    lengths = np.linalg.norm(end - start, axis=1)
    parts = (np.arange(LOOKS) + 0.5) / LOOKS
    looks = start[:, None] + parts[:, None] * (end - start)[:, None]
    clear = field.at(looks.reshape(-1, 3)).reshape(len(first), LOOKS) - wish.od / 2.0
    # An edge counts as many places as the fit would look at along it.
    places = np.maximum(lengths / cost.STEP, 1.0)
    near = HARD * places * cost.FAR * np.maximum(wish.closest - clear, 0.0).mean(axis=1)
    far = places * cost.FAR * np.maximum(clear - wish.farthest, 0.0).mean(axis=1)
    close = cost.closeness(clear, wish).mean(axis=1) * lengths / path.length
    inner = (corridor.station[first] > 0) & (corridor.station[second] < len(path.points) - 1)
    near += STRAIGHTER * inner * np.maximum(wish.between_straight - lengths, 0.0)
    for stop, place in zip(path.stops[1:-1], wish.places[1:-1], strict=True):
        passes = (corridor.station[first] <= stop) & (stop <= corridor.station[second])
        part = np.einsum("ij,ij->i", np.array(place.point) - start, end - start) / lengths**2
        beside = start + np.clip(part, 0.0, 1.0)[:, None] * (end - start)
        missed = np.linalg.norm(beside - np.array(place.point), axis=1) - wish.reach
        near += passes * cost.FAR * np.maximum(missed, 0.0)
    return first, second, np.stack([close, far, near])
