"""What the car drives up, off and over: approach, departure and breakover angles.

As ISO 612 and the terms of SAE J1100 have them, without the texts of the standards at hand. Approach:
the largest angle between the ground and a plane that touches the front tyres and under which nothing
of the vehicle ahead of the front axle lies; departure: the same behind the rear axle. Breakover (ramp
angle): the least angle between a plane that touches the front tyres and one that touches the rear tyres,
the two meeting at something of the vehicle between the axles. Tyres are circles of their diameter at ride
height; nothing sags and nothing of the running gear counts.
"""

import math
from collections.abc import Iterable
from functools import lru_cache

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from geometry import axles
from geometry.body import placement
from geometry.layout import Axle, Layout
from geometry.tube import centreline
from geometry.tube.centreline import Centreline
from geometry.vectors import Floats, Ints, Vec3, any_perpendicular, vec

AROUND = 72  # points round a tube: 0.03 mm off its surface at most, for tubes up to 60 mm
ARC_STEP = math.radians(2.0)  # along its bends: likewise
RIGHT_ANGLE = math.pi / 2.0
CACHED = 1024
SPLITS = 16  # parts of an edge that are tried in each round; the next takes the two round the best
ROUNDS = 5
AT_ONCE = 4096  # edges
FEW = 512  # points from which the height that matters is guessed
COLUMNS = 256  # places between the axles where that height is tried
HEIGHT_SLACK = 2.0  # mm
NOWHERE = np.zeros(1, dtype=np.int64)  # where the only thing of a surface starts


class Ramp(Struct, frozen=True):
    """An angle that the car drives, and what touches first; None where nothing does before a right angle."""

    angle: float
    at: Vec3 | None
    touches: int | None  # the panel or tube


class Ramps(Struct, frozen=True):
    """Approach, departure and breakover."""

    approach: Ramp
    departure: Ramp
    breakover: Ramp


class _Surface(Struct, frozen=True, eq=False):
    """Points (n, 3) of a surface and what joins them: edges (m, 2), or triangles (m, 3)."""

    points: Floats
    rows: NDArray[np.integer]
    ids: tuple[int, ...]  # what it is made of, one after the other
    starts: Ints  # the first point of each

    def owner(self, point: int) -> int:
        return self.ids[int(np.searchsorted(self.starts, point, side="right")) - 1]


class _Found(Struct, frozen=True, eq=False):
    """The least angle of a surface, where it is and on what."""

    angle: float = math.inf
    at: Floats | None = None
    touches: int | None = None


def of(layout: Layout, *, with_cage: bool) -> Ramps | None:
    """Return the angles of a car with two axles or more; None of others."""
    bare = of_body(layout)
    return with_the_cage(layout, bare) if with_cage else bare


def of_body(layout: Layout) -> Ramps | None:
    """Return the angles as if there were no cage; slow on large scans, and tubes don't change them."""
    return _of(layout, _panels(layout))


def with_the_cage(layout: Layout, bare: Ramps | None) -> Ramps | None:
    """Return the angles with the cage, from those without."""
    caged = _of(layout, _tubes(layout))
    if bare is None or caged is None:
        return None
    return Ramps(*(min(pair, key=_angle) for pair in zip(_all(bare), _all(caged), strict=True)))


def _all(found: Ramps) -> tuple[Ramp, Ramp, Ramp]:
    return found.approach, found.departure, found.breakover


def _angle(found: Ramp) -> float:
    return found.angle


def _of(layout: Layout, surfaces: list[_Surface]) -> Ramps | None:
    rows = sorted(layout.axles.values(), key=lambda axle: axle.x)
    if len(rows) < 2 or rows[-1].x - rows[0].x < axles.SHORTEST_WHEELBASE:
        return None
    side = _Side(layout, rows[0], rows[-1])
    return Ramps(
        _least([side.ahead(surface) for surface in surfaces]),
        _least([side.behind(surface) for surface in surfaces]),
        _least(_over(side, surfaces)),
    )


def _over(side: "_Side", surfaces: Iterable[_Surface]) -> list[_Found]:
    found: list[_Found] = []
    best = math.pi
    for surface in surfaces:
        found.append(side.between(surface, best))
        best = min(best, found[-1].angle)
    return found


def _least(found: list[_Found]) -> Ramp:
    least = min(found, key=lambda row: row.angle, default=_Found())
    if least.at is None or least.angle >= RIGHT_ANGLE:
        return Ramp(RIGHT_ANGLE, None, None)
    # What reaches below the ground leaves no slope at all.
    return Ramp(max(least.angle, 0.0), vec(least.at), least.touches)


class _Side:
    """The car seen from its left side, with the ground level: x forward, z up."""

    def __init__(self, layout: Layout, rear: Axle, front: Axle) -> None:
        self._height, rise = axles.ground(layout)
        tilt = math.atan(rise)
        self._turn = np.array(((math.cos(tilt), math.sin(tilt)), (-math.sin(tilt), math.cos(tilt))))
        self._wheels = [
            (self._flat(np.array([(axle.x, 0.0, axle.height)]))[0], axle.tyre.od / 2.0)
            for axle in (rear, front)
        ]

    def _flat(self, points: Floats) -> Floats:
        flat: Floats = (points[:, ::2] - (0.0, self._height)) @ self._turn.T
        return flat

    def ahead(self, surface: _Surface) -> _Found:
        """Return the least angle under which points ahead of the front axle are seen from its tyres."""
        return self._outer(surface, 1, 1.0)

    def behind(self, surface: _Surface) -> _Found:
        return self._outer(surface, 0, -1.0)

    def _outer(self, surface: _Surface, wheel: int, way: float) -> _Found:
        """Corners are enough: what lies above a plane at all corners does so between them."""
        flat = self._flat(surface.points)
        chosen = np.flatnonzero((flat[:, 0] - self._wheels[wheel][0][0]) * way > 0.0)
        if not len(chosen):
            return _Found()
        angles = np.where(self._is_beside(flat[chosen], wheel), np.inf, self._seen(flat[chosen], wheel, way))
        least = int(np.argmin(angles))
        point = int(chosen[least])
        return _Found(float(angles[least]), surface.points[point], surface.owner(point))

    def _seen(self, flat: Floats, wheel: int, way: float) -> Floats:
        """Return the slope of the plane through points (n, 2) that touches a tyre from below: (n,).

        Points within the circle of the tyre lie above all such planes; here they get the slope of the one
        that touches it in their direction.
        """
        centre, radius = self._wheels[wheel]
        across, up = (flat[..., 0] - centre[0]) * way, flat[..., 1] - centre[1]
        far = np.hypot(across, up)
        lift = np.arcsin(np.divide(radius, far, out=np.ones_like(far), where=far > radius))
        angles: Floats = np.arctan2(up, across) + lift
        return angles

    def _is_beside(self, flat: Floats, wheel: int) -> NDArray[np.bool_]:
        """Say which points lie beside a tyre, within its circle."""
        centre, radius = self._wheels[wheel]
        beside: NDArray[np.bool_] = np.hypot(*np.moveaxis(flat - centre, -1, 0)) <= radius
        return beside

    def _over(self, flat: Floats) -> Floats:
        """Return the breakover angle of points between the axles."""
        angles = self._seen(flat, 1, -1.0) + self._seen(flat, 0, 1.0)
        is_beside = self._is_beside(flat, 0) | self._is_beside(flat, 1)
        over: Floats = np.where(is_beside, np.inf, angles)
        return over

    def between(self, surface: _Surface, best: float) -> _Found:
        """Return the least breakover angle of a surface between the axles, if it is below the best known.

        Corners are not enough: a long level edge is touched in its middle. Along an edge the angle falls
        and then rises.
        """
        flat = self._flat(surface.points)
        found = _Found()
        inside = self._lowest_inside(flat, best)
        if len(inside):
            angles = self._over(flat[inside])
            least = int(np.argmin(angles))
            if angles[least] < best:
                best, point = float(angles[least]), int(inside[least])
                found = _Found(best, surface.points[point], surface.owner(point))
        for edges in self._worth_walking(flat, surface.rows, best):
            starts, ends = (flat[edges[:, number]] for number in (0, 1))
            angle, edge, part = self._along_edges(starts, ends)
            if angle < best:
                best, (one, other) = angle, surface.points[edges[edge]]
                found = _Found(best, one + part * (other - one), surface.owner(int(edges[edge][0])))
        return found

    def _lowest_inside(self, flat: Floats, best: float) -> Ints:
        """Return the points between the axles that are low enough to matter, judged by the lowest ones."""
        rear, front = self._wheels[0][0][0], self._wheels[1][0][0]
        inside = np.flatnonzero((flat[:, 0] > rear) & (flat[:, 0] < front))
        if len(inside) <= FEW:
            return inside
        heights = flat[inside, 1]
        lowest = inside[np.argpartition(heights, FEW)[:FEW]]
        best = min(best, float(self._over(flat[lowest]).min()))
        found: Ints = inside[heights < self._height_of(best)]
        return found

    def _height_of(self, angle: float) -> float:
        """Return the height above which no place between the axles has so small a breakover angle."""
        rear, front = self._wheels[0][0][0], self._wheels[1][0][0]
        along = np.linspace(rear, front, COLUMNS)[1:-1]
        low, high = -front + rear, 2.0 * (front - rear)
        while high - low > HEIGHT_SLACK / 2.0:
            middle = (low + high) / 2.0
            angles = self._over(np.stack([along, np.full_like(along, middle)], axis=1))
            low, high = (middle, high) if angles.min() < angle else (low, middle)
        return float(high + HEIGHT_SLACK)

    def _worth_walking(self, flat: Floats, rows: NDArray[np.integer], best: float) -> Iterable[Ints]:
        """Yield the edges, some at a time, that may hold a smaller angle than the best known.

        The angle grows with height, and on one level to one side of where it is greatest or least of
        each tyre: no point of an edge has less than the lower corners of the box round it.
        """
        rear, front = self._wheels[0][0][0], self._wheels[1][0][0]
        is_low = flat[:, 1] < self._height_of(best)
        edges = _edges(rows[is_low[rows].any(axis=1)])
        x, z = flat[:, 0][edges], flat[:, 1][edges]
        near = np.flatnonzero((x.min(axis=1) < front) & (x.max(axis=1) > rear))
        x, bottom = np.clip(x[near], rear, front), z[near].min(axis=1)
        corners = np.stack([np.stack([x.min(axis=1), bottom], 1), np.stack([x.max(axis=1), bottom], 1)])
        least = self._seen(corners, 1, -1.0).min(axis=0) + self._seen(corners, 0, 1.0).min(axis=0)
        worth = np.flatnonzero(least < best)
        for begin in range(0, len(worth), AT_ONCE):
            yield edges[near[worth[begin : begin + AT_ONCE]]]

    def _along_edges(self, starts: Floats, ends: Floats) -> tuple[float, int, float]:
        """Return the least angle along edges, the edge and the part of it where it is."""
        rear, front = self._wheels[0][0][0], self._wheels[1][0][0]
        ways = ends - starts
        is_upright = ways[:, 0] == 0.0
        run = np.where(is_upright, 1.0, ways[:, 0])
        cuts = np.sort((np.array((rear, front)) - starts[:, :1]) / run[:, None], axis=1)
        low = np.where(is_upright, 0.0, np.clip(cuts[:, 0], 0.0, 1.0))
        high = np.where(is_upright, 1.0, np.clip(cuts[:, 1], 0.0, 1.0))
        rows, least = np.arange(len(starts)), np.zeros(len(starts), dtype=np.int64)
        for _ in range(ROUNDS):
            parts = low[:, None] + (high - low)[:, None] * np.linspace(0.0, 1.0, SPLITS + 1)
            angles = self._over(starts[:, None] + parts[..., None] * ways[:, None])
            least = np.argmin(angles, axis=1)
            low, high = parts[rows, np.maximum(least - 1, 0)], parts[rows, np.minimum(least + 1, SPLITS)]
        top = int(np.argmin(angles[rows, least]))
        return float(angles[top, least[top]]), top, float(parts[top, least[top]])


def _edges(rows: NDArray[np.integer]) -> Ints:
    """Return the edges (n, 2) of triangles; edges stay as they are."""
    pairs = ((0, 1),) if rows.shape[1] == 2 else ((0, 1), (1, 2), (2, 0))
    edges: Ints = np.concatenate([rows[:, pair] for pair in pairs]).astype(np.int64)
    return edges


def _panels(layout: Layout) -> list[_Surface]:
    return [
        _Surface(placement.panel_vertices(layout, panel), panel.mesh.triangles, (panel.id,), NOWHERE)
        for panel in layout.panels.values()
        if panel.kept and len(panel.mesh.triangles)
    ]


def _tubes(layout: Layout) -> list[_Surface]:
    """Return the outsides of all tubes as one surface."""
    swept = [
        _swept(centreline.of(layout, tube), layout.stocks[tube.stock].od / 2.0)
        for tube in layout.tubes.values()
    ]
    if not swept:
        return []
    starts = np.cumsum([0, *(len(one.points) for one in swept[:-1])])
    rows = [one.rows + start for one, start in zip(swept, starts.tolist(), strict=True)]
    points = np.concatenate([one.points for one in swept])
    return [_Surface(points, np.concatenate(rows), tuple(layout.tubes), starts)]


@lru_cache(maxsize=CACHED)
def _swept(line: Centreline, radius: float) -> _Surface:
    """Return the outside of a tube as rings of points and the edges along it between them."""
    sagitta = max((bend.drawn_radius for bend in line.bends), default=0.0) * (1.0 - math.cos(ARC_STEP / 2.0))
    middles, along, _ = centreline.sample(line, max(sagitta, 1e-3))
    turns = np.linspace(0.0, 2.0 * math.pi, AROUND, endpoint=False)
    rings, out = [], any_perpendicular(along[0])
    for middle, way in zip(middles, along, strict=True):
        out = out - np.dot(out, way) * way
        out = out / np.linalg.norm(out) if np.linalg.norm(out) > 1e-9 else any_perpendicular(way)
        across = np.cross(way, out)
        rings.append(middle + radius * (np.outer(np.cos(turns), out) + np.outer(np.sin(turns), across)))
    points = np.concatenate(rings)
    first = np.arange(len(points) - AROUND)
    edges = np.stack([first, first + AROUND], axis=1)
    return _Surface(points, edges, (0,), NOWHERE)
