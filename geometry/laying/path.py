"""A way along the body from one place to the next, at the stand-off wanted."""

import numpy as np
from msgspec import Struct

from geometry.laying.metal import Metal
from geometry.laying.wish import Place, Wish
from geometry.vectors import Floats, Ints, unit

STEP = 45.0  # mm between stations of a path
MOST_STATIONS = 72
FEWEST_BETWEEN = 6  # steps from one place to the next
DROPS = 40  # steps of a drop onto the metal, at most
ON_THE_WAY = 0.5  # mm; a drop that is this near to the stand-off has arrived


class Path(Struct, frozen=True, eq=False):
    """Stations along the body: where they are (k, 3), which way is out, which way is on; and the places'."""

    points: Floats
    outward: Floats
    onward: Floats
    stops: tuple[int, ...]  # the stations of the places

    @property
    def length(self) -> float:
        return float(np.linalg.norm(np.diff(self.points, axis=0), axis=1).sum())

    @property
    def aside(self) -> Floats:
        """The way square to on and out at each station: (k, 3)."""
        return unit(np.cross(self.onward, self.outward))

    def beside(self, points: Floats) -> Ints:
        """Return the station nearest to each point (n, 3)."""
        away = points[:, None] - self.points
        stations: Ints = np.einsum("ijk,ijk->ij", away, away).argmin(axis=1)
        return stations


def found(metal: Metal, wish: Wish) -> Path:
    """Drop stations onto the body all along the chords between the places."""
    height = wish.wanted + wish.od / 2.0
    chords = [_chord(one, other) for one, other in zip(wish.places, wish.places[1:], strict=False)]
    total = sum(chords)
    step = max(STEP, total / MOST_STATIONS)
    points, outward, stops = [], [], [0]
    for one, other, chord in zip(wish.places, wish.places[1:], chords, strict=False):
        parts = max(int(np.ceil(chord / step)), FEWEST_BETWEEN)
        part = np.linspace(0.0, 1.0, parts + 1)[:-1, None]
        first, last = unit(np.array(one.normal)), unit(np.array(other.normal))
        out = unit((1.0 - part) * first + part * last)
        base = (1.0 - part) * np.array(one.point) + part * np.array(other.point)
        points.append(_dropped(metal, base, out, chord, height))
        outward.append(out)
        stops.append(stops[-1] + parts)
    end = wish.places[-1]
    out = unit(np.array(end.normal))
    points.append((np.array(end.point) + _height(end, height) * out)[None])
    outward.append(out[None])
    joined = np.concatenate(points)
    for stop, place in zip(stops, wish.places, strict=True):
        joined[stop] = np.array(place.point) + _height(place, height) * unit(np.array(place.normal))
    onward = unit(np.gradient(joined, axis=0))
    return Path(joined, np.concatenate(outward), onward, tuple(stops))


def _height(place: Place, wanted: float) -> float:
    return wanted if place.height is None else place.height


def _chord(one: Place, other: Place) -> float:
    return float(np.linalg.norm(np.subtract(other.point, one.point)))


def _dropped(metal: Metal, base: Floats, out: Floats, chord: float, height: float) -> Floats:
    """Let balls of the stand-off's size fall from outside until they touch; missing ones follow others."""
    way = chord / 2.0 + 2.0 * height
    fallen, is_falling = np.zeros(len(base)), np.ones(len(base), dtype=bool)
    for _ in range(DROPS):
        moving = np.flatnonzero(is_falling)
        if not len(moving):
            break
        places = base[moving] + (way - fallen[moving])[:, None] * out[moving]
        room = metal.nearest(places)[0] - height
        fallen[moving] += np.maximum(room, 0.0)
        is_falling[moving] = (room > ON_THE_WAY) & (fallen[moving] < 2.0 * way)
    has_hit = fallen < 2.0 * way
    has_hit[0] = True
    fallen[0] = way - height
    marks = np.arange(len(base))
    held = np.interp(marks, marks[has_hit], fallen[has_hit])
    dropped: Floats = base + (way - held)[:, None] * out
    return dropped
