"""What a tube really keeps: clearances exact against the triangles, places passed, what a bender can do."""

import numpy as np
from msgspec import Struct

from geometry.body.distance import BodyIndex
from geometry.checks import search
from geometry.laying.metal import Metal
from geometry.laying.wish import Proposal, Wish
from geometry.tolerances import ANGLE_NOISE, LARGEST_TURN, LENGTH_NOISE
from geometry.tube import centreline
from geometry.tube.centreline import Centreline
from geometry.vectors import Floats, distance, vec

LOOK = 2.0  # mm between stations: no clearance is farther than 1 mm from that of a station
SIGHT = 1e5  # mm; farther than any body


class Judged(Struct, frozen=True, eq=False):
    """A tube as proposed, and whether it can be made and is nowhere too near."""

    proposal: Proposal
    is_makeable: bool
    is_in_order: bool


def judged(index: BodyIndex, metal: Metal, wish: Wish, corners: Floats) -> Judged:
    """Measure the tube through corners (n + 2, 3)."""
    line = centreline.build([vec(corner) for corner in corners], wish.clr)
    radius = wish.od / 2.0
    panels = [index[id] for id in sorted(index)]
    rows = search.closest([line], panels, np.array([0.0]), np.array([SIGHT]))
    closest = min(row.gap for row in rows) - radius
    stations = np.linspace(0.0, line.length, max(int(np.ceil(line.length / LOOK)), 1) + 1)
    clear = metal.nearest(centreline.point_at(line, stations))[0] - radius
    missed, in_order = _passed(line, wish)
    proposal = Proposal(
        corners=tuple(vec(corner) for corner in corners),
        angles=tuple(bend.angle for bend in line.bends),
        closest=closest,
        farthest=float(clear.max()),
        mean=_mean(stations, clear),
        excess=_mean(stations, np.maximum(clear - wish.wanted, 0.0)),
        outside=_length_over(stations, clear, wish.farthest),
        aside=missed,
    )
    return Judged(proposal, _is_makeable(line, wish), in_order)


def _mean(stations: Floats, values: Floats) -> float:
    return float(np.trapezoid(values, stations) / (stations[-1] - stations[0]))


def _length_over(stations: Floats, clear: Floats, limit: float) -> float:
    """Return the length over which clearances, straight between stations, are more than the limit."""
    over = clear - limit - LENGTH_NOISE
    start, end = over[:-1], over[1:]
    rise = np.abs(end - start)
    part = np.divide(np.maximum(start, end), rise, out=np.ones(len(rise)), where=rise > 0.0)
    share = np.where((start > 0.0) & (end > 0.0), 1.0, np.where((start > 0.0) | (end > 0.0), part, 0.0))
    return float(share @ np.diff(stations))


def _passed(line: Centreline, wish: Wish) -> tuple[float, bool]:
    """Return by how much the place missed most is missed, and whether the places are passed in order."""
    missed, stations = 0.0, [0.0]
    for place in wish.places[1:-1]:
        station, nearest = centreline.nearest(line, place.point)
        over = distance(nearest, place.point) - wish.reach
        missed = max(missed, over if over > LENGTH_NOISE else 0.0)
        stations.append(station)
    return missed, stations == sorted(stations)


def _is_makeable(line: Centreline, wish: Wish) -> bool:
    most = min(wish.largest_angle, LARGEST_TURN) + ANGLE_NOISE
    inner = line.straights[1:-1]
    return (
        line.is_makeable
        and all(bend.angle <= most for bend in line.bends)
        and all(straight >= wish.between_straight - LENGTH_NOISE for straight in inner)
    )
