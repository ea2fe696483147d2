"""A body as one sees it from the side and from above: edges, steps, and places on its skin."""

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from geometry.body import placement
from geometry.laying.wish import Place
from geometry.layout import Layout
from geometry.vectors import Floats, unit, vec

SAMPLES = 200_000
BIN = 30.0  # mm of a profile
SLAB = 50.0  # mm along the car that are looked at as one cross section
WINDOW = 360.0  # mm in which a step is looked for
LEAST_RISE = 120.0  # mm; a smaller step is no windscreen
INNER, OUTER = (0.3, 0.62), (0.58, 0.74)  # parts of the half width: where screens are seen, and pillars
HIGH = 0.78  # of the body's height, to where a step to the roof gets
FLATTER = 0.35  # of a step's greatest slope, from which on it has ended
CLEAR_SLOPE = 1.5  # greatest slope over that of what follows, to be sure of
ARCH = 45.0  # mm above the sill, from which on the lower edge is an arch
FAR_OUT = 1e5
LEFT, OUT = (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)
DIAGONAL = (0.0, 0.5**0.5, 0.5**0.5)
FORWARD, BACK = (1.0, 0.0, 0.0), (-1.0, 0.0, 0.0)
JITTER = ((0.0, 0.0), (7.0, 7.0), (-7.0, 7.0), (7.0, -7.0), (-7.0, -7.0), (23.0, 0.0), (-23.0, 0.0))


class Step(Struct, frozen=True):
    """Where a profile rises to the roof."""

    foot: float  # x
    foot_height: float
    top: float  # x
    is_clear: bool


class Profile(Struct, frozen=True, eq=False):
    """Greatest or least heights along the car: x ascending (n,) and z (n,)."""

    x: Floats
    z: Floats

    def at(self, x: float) -> float:
        return float(np.interp(x, self.x, self.z))


class Outlines:
    """What outlines of kept panels say; places are on the left or in the centre plane."""

    def __init__(self, corners: Floats) -> None:
        self._corners = corners
        self.cloud = _cloud(corners)
        self.low, self.high = self.cloud.min(axis=0), self.cloud.max(axis=0)
        self.half = float(np.quantile(np.abs(self.cloud[:, 1]), 0.995))
        self._views: dict[tuple[float, float, float], _View] = {}
        self._steps: tuple[Step, Step] | None = None
        self._has_looked = False

    @classmethod
    def of(cls, layout: Layout) -> "Outlines | None":
        corners = [
            placement.panel_vertices(layout, panel)[panel.mesh.triangles]
            for panel in layout.panels.values()
            if panel.kept and len(panel.mesh.triangles)
        ]
        return cls(np.concatenate(corners)) if corners else None

    # Places

    def on_side(self, x: float, z: float) -> Place | None:
        """Return the outermost place of the left side at x and z."""
        return self._hit(LEFT, (x, 0.0, z))

    def on_top(self, x: float) -> Place | None:
        """Return the highest place in the centre plane at x."""
        return _centred(self._hit(OUT, (x, 0.0, 0.0)))

    def on_nose(self, z: float) -> Place | None:
        return _centred(self._hit(FORWARD, (0.0, 0.0, z)))

    def on_tail(self, z: float) -> Place | None:
        return _centred(self._hit(BACK, (0.0, 0.0, z)))

    def edge(self, x: float, below: float = FAR_OUT) -> Place | None:
        """Return the upper outer edge of the left side at x: of the roof, or of the wing."""
        cloud = self.cloud
        near = cloud[(np.abs(cloud[:, 0] - x) < SLAB / 2.0) & (cloud[:, 1] > 0.0) & (cloud[:, 2] < below)]
        if not len(near):
            return None
        return Place(vec(near[int((near @ np.array(DIAGONAL)).argmax())]), DIAGONAL)

    def _hit(self, way: tuple[float, float, float], through: tuple[float, float, float]) -> Place | None:
        if way not in self._views:
            self._views[way] = _View(self._corners, np.array(way))
        return self._views[way].first(np.array(through))

    # Profiles

    def lower_edge(self, x: float) -> float:
        """Return the height of the side's lower edge at x."""
        return self._lower().at(x)

    def _lower(self) -> Profile:
        return self._profile(self._outer(), lowest=True)

    def _outer(self) -> Floats:
        return self.cloud[self.cloud[:, 1] > 0.78 * self.half]

    def _top(self, band: tuple[float, float]) -> Profile:
        """Return the greatest heights in a band beside the centre plane, parts of the half width."""
        side = np.abs(self.cloud[:, 1])
        within = (side > band[0] * self.half) & (side < band[1] * self.half)
        found = self._profile(self.cloud[within], lowest=False)
        return Profile(found.x, _middling(found.z))

    def _profile(self, points: Floats, lowest: bool) -> Profile:
        count = max(int((self.high[0] - self.low[0]) / BIN), 4)
        edges = np.linspace(self.low[0], self.high[0], count + 1)
        slot = np.clip(np.searchsorted(edges, points[:, 0], side="right") - 1, 0, count - 1)
        worst = np.inf if lowest else -np.inf
        heights = np.full(count, worst)
        (np.minimum if lowest else np.maximum).at(heights, slot, points[:, 2])
        middles, known = (edges[1:] + edges[:-1]) / 2.0, np.isfinite(heights)
        filled = np.interp(middles, middles[known], heights[known]) if known.any() else np.zeros(count)
        return Profile(middles, filled)

    def windscreen(self) -> Step | None:
        steps = self._both_steps()
        return None if steps is None else steps[0]

    def rear_window(self) -> Step | None:
        steps = self._both_steps()
        return None if steps is None else steps[1]

    def _both_steps(self) -> tuple[Step, Step] | None:
        """Return the steps up to the roof from the front and from the rear; None if there is no roof."""
        if not self._has_looked:
            self._has_looked = True
            inner, outer = self._steps_in(INNER), self._steps_in(OUTER)
            if inner is not None:
                outer = outer or inner
                front, rear = (_with_foot(one, side) for one, side in zip(inner, outer, strict=True))
                self._steps = (front, rear)
        return self._steps

    def _steps_in(self, band: tuple[float, float]) -> tuple[Step, Step] | None:
        top = self._top(band)
        summit = int(top.z.argmax())
        high = float(self.low[2] + HIGH * self._tall)
        front = _step(top.x[summit:][::-1], top.z[summit:][::-1], high)
        rear = _step(top.x[: summit + 1], top.z[: summit + 1], high)
        tail = float(top.x[0])
        upright = Step(tail, top.at(tail) - 0.35 * self._tall, tail, False)
        return None if front is None else (front, rear or upright)

    @property
    def _tall(self) -> float:
        return float(self.high[2] - self.low[2])

    def cowl(self) -> float:
        """Return where the bonnet of a body without a roof ends: before the top falls away."""
        top = self._top(INNER)
        front = int(len(top.x) * 0.5)
        falls = np.flatnonzero(np.diff(top.z[front:]) > 150.0)
        return float(top.x[front + falls[-1] + 2]) if len(falls) else self.high[0] - 0.35 * self._long

    @property
    def _long(self) -> float:
        return float(self.high[0] - self.low[0])

    def front_corner(self) -> float:
        """Return how far ahead the wings still have nearly their width."""
        return self._corner(self.high[0], -1.0)

    def rear_corner(self) -> float:
        return self._corner(self.low[0], 1.0)

    def _corner(self, end: float, way: float) -> float:
        for off in np.arange(60.0, 0.2 * self._long, BIN):
            x = float(end + way * off)
            near = self.cloud[np.abs(self.cloud[:, 0] - x) < SLAB / 2.0]
            if len(near) and np.abs(near[:, 1]).max() > 0.88 * self.half:
                return x
        return float(end + way * 150.0)

    def arches(self) -> tuple[float, float] | None:
        """Return the rear end of the front arch and the front end of the rear one, if both are seen."""
        lower = self._lower()
        middle = lower.z[int(0.4 * len(lower.z)) : int(0.62 * len(lower.z))]
        is_arch = lower.z > np.median(middle) + ARCH
        centre = int(0.5 * len(is_arch))
        ahead, behind = np.flatnonzero(is_arch[centre:]), np.flatnonzero(is_arch[:centre])
        if not len(ahead) or not len(behind):
            return None
        return float(lower.x[centre + ahead[0]]), float(lower.x[behind[-1]])


class _View:
    """Triangles seen along a way, to find which one a ray meets first."""

    def __init__(self, corners: Floats, way: Floats) -> None:
        axis = int(np.abs(way).argmax())
        self._sign = float(way[axis])
        self._axis, self._flat = axis, [other for other in range(3) if other != axis]
        self._corners = corners
        flat = corners[:, :, self._flat]
        self._low, self._high = flat.min(axis=1), flat.max(axis=1)

    def first(self, through: Floats) -> Place | None:
        """Return the outermost place on the way through a point; beside it where there is a gap."""
        hits = [hit for dx, dy in JITTER if (hit := self._first(through[self._flat] + (dx, dy))) is not None]
        if not hits:
            return None
        heights = np.array([hit[0] for hit in hits])
        middle = float(np.median(heights))
        _, point, normal = min(hits, key=lambda hit: abs(hit[0] - middle) if hit[0] < middle - 8.0 else 0.0)
        return Place(vec(point), vec(normal))

    def _first(self, at: Floats) -> tuple[float, Floats, Floats] | None:
        near = np.flatnonzero(((self._low <= at) & (self._high >= at)).all(axis=1))
        if not len(near):
            return None
        corners = self._corners[near]
        a, b, c = (corners[:, number][:, self._flat] for number in range(3))
        shares = _shares(a, b, c, at)
        inside = (shares >= -1e-9).all(axis=1)
        if not inside.any():
            return None
        points = np.einsum("ik,ikj->ij", shares[inside], corners[inside])
        heights = self._sign * points[:, self._axis]
        best = int(heights.argmax())
        one, two, three = corners[inside][best]
        normal = unit(np.cross(two - one, three - one))
        if normal[self._axis] * self._sign < 0.0:
            normal = -normal
        return float(heights[best]), points[best], normal


def _shares(a: Floats, b: Floats, c: Floats, at: Floats) -> Floats:
    """Return the barycentric shares (n, 3) of a point in flat triangles; negative ones for slivers."""
    ab, ac, ap = b - a, c - a, at - a
    doubled = ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]
    safe = np.where(np.abs(doubled) > 1e-9, doubled, np.nan)
    second = (ap[:, 0] * ac[:, 1] - ap[:, 1] * ac[:, 0]) / safe
    third = (ab[:, 0] * ap[:, 1] - ab[:, 1] * ap[:, 0]) / safe
    shares = np.stack([1.0 - second - third, second, third], axis=1)
    return np.nan_to_num(shares, nan=-1.0)


def _centred(place: Place | None) -> Place | None:
    if place is None:
        return None
    (x, _, z), (nx, _, nz) = place.point, place.normal
    return Place((x, 0.0, z), vec(unit(np.array((nx, 0.0, nz)))))


def _cloud(corners: Floats) -> Floats:
    """Return points spread over the skin, and of a coarse mesh its corners too."""
    random = np.random.default_rng(20)
    if len(corners) > SAMPLES:
        picked: Floats = corners.mean(axis=1)[random.integers(0, len(corners), SAMPLES)]
        return picked
    areas = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    chosen = random.choice(len(corners), SAMPLES, p=areas / areas.sum())
    root, along = np.sqrt(random.random((SAMPLES, 1))), random.random((SAMPLES, 1))
    a, b, c = (corners[chosen, number] for number in range(3))
    spread = (1.0 - root) * a + root * (1.0 - along) * b + root * along * c
    return np.concatenate([spread, corners.reshape(-1, 3)])


def _middling(values: Floats) -> Floats:
    """Return each value as the middle one of five, so that an aerial is not seen."""
    padded = np.pad(values, 2, mode="edge")
    windows: NDArray[np.float64] = np.lib.stride_tricks.sliding_window_view(padded, 5)
    return np.asarray(np.median(windows, axis=1))


def _with_foot(step: Step, pillar: Step) -> Step:
    """Return a step of the screen with the foot of its pillar, unless that is beyond its own top."""
    if (pillar.foot - step.top) * (step.foot - step.top) <= 0.0:
        return step
    return Step(pillar.foot, pillar.foot_height, step.top, step.is_clear)


def _step(x: Floats, z: Floats, high: float) -> Step | None:
    """Return the step from the outer end (first) of a profile up to its summit (last); it ends high up."""
    bins = max(int(WINDOW / BIN), 2)
    if len(z) <= bins:
        return None
    rises = np.where(z[bins:] > high, z[bins:] - z[:-bins], 0.0)
    if rises.max() < LEAST_RISE:
        return None
    start = int(rises.argmax())
    slopes = np.diff(z) / np.abs(np.diff(x))
    steepest = start + int(slopes[start : start + bins].argmax())
    least = FLATTER * float(slopes[steepest])
    top, foot = steepest + 1, steepest
    while top < len(z) - 1 and slopes[top : top + 2].mean() > least:
        top += 1
    while foot > 0 and slopes[max(foot - 2, 0) : foot].mean() > least:
        foot -= 1
    outer = slopes[:foot].mean() if foot else 0.0
    is_clear = float(slopes[steepest]) > CLEAR_SLOPE * max(float(outer), 0.1)
    return Step(float(x[foot]), float(z[foot]), float(x[top]), bool(is_clear))
