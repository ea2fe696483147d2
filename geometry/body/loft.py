"""A closed skin over rows of tape measurements: cross-sections along the car, joined and capped.

One half section runs from the middle of the floor outwards, round the wheel arch, up the side and
in to the middle of the roof. All sections have the same strips, so the skin is a grid; strips that
have no height somewhere (the wall of a wheel arch between the arches) fall together there.
"""

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from geometry.layout import Measured, Station, WheelArch
from geometry.vectors import Floats, Ints

FLOOR, ARCH_WALL, ARCH_TOP, SILL, LOWER, WAIST, UPPER, RAIL, TOP = range(9)
CELLS = (7, 4, 3, 3, 7, 3, 8, 4, 10)  # cells of each strip, from the floor to the roof
FIRST = tuple(int(n) for n in np.concatenate(([0], np.cumsum(CELLS))))  # first row of each strip
STRIP_OF_ROW = np.repeat(np.arange(9), CELLS)

ROUND_SILL, ROUND_WAIST, ROUND_RAIL, ROUND_END = 20.0, 45.0, 70.0, 45.0  # mm
ROUND_CREASE = 40.0  # mm either side of a row over which the skin turns
CROWN = 0.025  # rise of the roof to its middle, as a part of its half width
LONGEST_CELL = 60.0  # mm along the car; the skin is straight between rows of measurements
ARCH_STEP = math.radians(7.5)
ARCH_LEAN = 6.0  # mm; the legs of an arch centred above the sill lean this much, so that x orders them
FRAME = 45.0  # mm of sheet metal round side windows
CLOSE_CUTS = 8.0  # mm; a cut that only serves smoothness gives way to one this near that must be met


class Grid(NamedTuple):
    """The left half of the skin: x of the cuts (n,), and points (n, rows, 3)."""

    x: Floats
    points: Floats
    in_arch: NDArray[np.bool_]  # (n - 1,): the cell from this cut to the next lies in a wheel arch


class Profile(NamedTuple):
    """The measurements at each cut, each (n,)."""

    sill_half_width: Floats
    sill_height: Floats
    waist_half_width: Floats
    waist_height: Floats
    roof_half_width: Floats
    roof_height: Floats


def profile_at(stations: Sequence[Station], x: Floats) -> Profile:
    """Return the measurements at x: straight between rows, turning softly at each row."""
    rows = np.array([_numbers(station) for station in stations])
    at = np.array([station.x for station in stations])
    values = np.array([np.interp(-x, -at, column) for column in rows.T])
    slopes = np.diff(rows, axis=0) / np.diff(at)[:, None]
    for i in range(1, len(at) - 1):
        reach = crease_reach(at, i)
        away = np.abs(x - at[i])
        # A parabola that leaves both straights at `reach`: highest correction at the row itself.
        bend = (slopes[i - 1] - slopes[i])[:, None] * ((np.maximum(reach - away, 0.0) ** 2) / (4.0 * reach))
        values += bend
    return Profile(*values)


def _numbers(station: Station) -> tuple[float, ...]:
    return (
        station.sill_half_width,
        station.sill_height,
        station.waist_half_width,
        station.waist_height,
        station.roof_half_width,
        station.roof_height,
    )


def crease_reach(at: Floats, i: int) -> float:
    """Return how far either side of row i the skin turns."""
    return float(min(ROUND_CREASE, 0.4 * (at[i - 1] - at[i]), 0.4 * (at[i] - at[i + 1])))


@lru_cache(maxsize=64)
def arch_span(stations: tuple[Station, ...], arch: WheelArch) -> tuple[float, float]:
    """Return the x (front, back) at which an arch meets the sill."""
    return (_arch_foot(stations, arch, 1.0), _arch_foot(stations, arch, -1.0))


def _arch_foot(stations: tuple[Station, ...], arch: WheelArch, side: float) -> float:
    near, far = 0.0, arch.radius
    for _ in range(6):  # a hundredth of the reach each time
        out = np.linspace(near, far, 101)
        sill = profile_at(stations, arch.x + side * out).sill_height
        below = np.flatnonzero(arch.z + np.sqrt(np.maximum(arch.radius**2 - out**2, 0.0)) <= sill)
        if not len(below):
            return arch.x + side * (arch.radius + ARCH_LEAN)
        near, far = out[max(below[0] - 1, 0)], out[below[0]]
    return float(arch.x + side * far)


def left_half(measured: Measured, cuts: Sequence[float]) -> Grid:
    """Lay the left half of the skin; `cuts` are places along the car where a cell must end."""
    stations = measured.stations
    spans = [arch_span(stations, arch) for arch in measured.arches]
    x = _cuts(measured, spans, cuts)
    profile = _inset_at_ends(profile_at(stations, x), _end_inset(x))
    edge = _lower_edge(measured, spans, x, profile.sill_height)
    middles = 0.5 * (x[:-1] + x[1:])
    in_arch = np.zeros(len(middles), dtype=bool)
    for front, back in spans:
        in_arch |= (middles < front) & (middles > back)
    return Grid(x, _sections(x, profile, edge, _inner_half_width(measured, profile)), in_arch)


def _cuts(measured: Measured, spans: Sequence[tuple[float, float]], cuts: Sequence[float]) -> Floats:
    """Return where the skin is cut along the car, from the front to the back."""
    at = np.array([station.x for station in measured.stations])
    must = [*at, *cuts, *(foot for span in spans for foot in span)]
    soft: list[float] = []
    for i in range(1, len(at) - 1):
        reach = crease_reach(at, i)
        soft += [at[i] + part * reach for part in (-1.0, -0.5, 0.5, 1.0)]
    for turn in np.linspace(0.0, math.pi / 2, 5):
        from_end = ROUND_END * (1.0 - math.sin(turn))
        soft += [at[0] - from_end, at[-1] + from_end]
    for arch in measured.arches:
        angles = np.arange(0.0, math.pi + 0.5 * ARCH_STEP, ARCH_STEP)
        soft += list(arch.x + arch.radius * np.cos(angles))
    kept = sorted(set(must), reverse=True)
    for cut in sorted(soft, reverse=True):
        near = 0.3 if at[0] - cut < ROUND_END or cut - at[-1] < ROUND_END else CLOSE_CUTS
        if at[-1] < cut < at[0] and min(abs(cut - other) for other in kept) > near:
            kept.append(cut)
    kept.sort(reverse=True)
    filled = [kept[0]]
    for back in kept[1:]:
        pieces = max(1, math.ceil((filled[-1] - back) / LONGEST_CELL))
        filled += list(np.linspace(filled[-1], back, pieces + 1)[1:])
    return np.array(filled)


def _end_inset(x: Floats) -> Floats:
    """Return how far the section draws in at each cut, so that the ends are rounded."""
    from_end = np.minimum(x[0] - x, x - x[-1])
    short = np.maximum(ROUND_END - from_end, 0.0)
    inset: Floats = ROUND_END - np.sqrt(ROUND_END**2 - short**2)
    return inset


def _inset_at_ends(profile: Profile, inset: Floats) -> Profile:
    return Profile(
        profile.sill_half_width - inset,
        profile.sill_height + inset,
        profile.waist_half_width - inset,
        profile.waist_height - inset,
        profile.roof_half_width - inset,
        profile.roof_height - inset,
    )


def _lower_edge(measured: Measured, spans: Sequence[tuple[float, float]], x: Floats, sill: Floats) -> Floats:
    """Return the height at which the side begins: the sill, or the arch above it."""
    edge = sill.copy()
    for arch, (front, back) in zip(measured.arches, spans, strict=True):
        inside = (x < front - 1e-6) & (x > back + 1e-6)
        out = np.abs(x - arch.x)
        over = arch.z + np.sqrt(np.maximum(arch.radius**2 - out**2, 0.0))
        edge = np.where(inside, np.maximum(edge, over), edge)
    return edge


def _inner_half_width(measured: Measured, profile: Profile) -> float:
    narrowest = float(profile.sill_half_width.min())
    depth = max((arch.depth for arch in measured.arches), default=0.35 * narrowest)
    return max(0.2 * narrowest, min(narrowest - depth, 0.9 * narrowest))


def _sections(x: Floats, profile: Profile, edge: Floats, inner: float) -> Floats:
    """Return the points (n, rows, 3) of the left half."""
    n = len(x)
    part = np.clip(
        (edge - profile.sill_height) / np.maximum(profile.waist_height - profile.sill_height, 1e-9), 0.0, 1.0
    )
    hip = profile.sill_half_width + part * (profile.waist_half_width - profile.sill_half_width)
    rise = np.clip((profile.roof_height - profile.waist_height) / 50.0, 0.0, 1.0)
    crown = CROWN * profile.roof_half_width * rise
    zero = np.zeros(n)
    middle = np.stack((zero, profile.sill_height), axis=1)
    wall_foot = np.stack((np.full(n, inner), profile.sill_height), axis=1)
    wall_head = np.stack((np.full(n, inner), edge), axis=1)
    sill = np.stack((hip, edge), axis=1)
    waist = np.stack((profile.waist_half_width, profile.waist_height), axis=1)
    rail = np.stack((profile.roof_half_width, profile.roof_height - crown), axis=1)
    inward = rail + np.stack((-profile.roof_half_width, 2.0 * crown), axis=1)
    sill_round = _rounded(wall_head, sill, waist, ROUND_SILL, CELLS[SILL])
    waist_round = _rounded(sill, waist, rail, ROUND_WAIST, CELLS[WAIST])
    rail_round = _rounded(waist, rail, inward, ROUND_RAIL, CELLS[RAIL])
    strips = (
        _straight(middle, wall_foot, CELLS[FLOOR]),
        _straight(wall_foot, wall_head, CELLS[ARCH_WALL]),
        _straight(wall_head, sill_round[:, 0], CELLS[ARCH_TOP]),
        sill_round,
        _straight(sill_round[:, -1], waist_round[:, 0], CELLS[LOWER]),
        waist_round,
        _framed(waist_round[:, -1], rail_round[:, 0], CELLS[UPPER]),
        rail_round,
        _crowned(rail_round[:, -1], profile.roof_height, CELLS[TOP]),
    )
    yz = np.concatenate([strip[:, :-1] for strip in strips] + [strips[-1][:, -1:]], axis=1)
    yz[:, 0, 0] = yz[:, -1, 0] = 0.0
    return np.concatenate((np.broadcast_to(x[:, None, None], (n, yz.shape[1], 1)), yz), axis=2)


def _straight(start: Floats, end: Floats, cells: int) -> Floats:
    part = np.linspace(0.0, 1.0, cells + 1)[None, :, None]
    points: Floats = start[:, None] + part * (end - start)[:, None]
    return points


def _framed(start: Floats, end: Floats, cells: int) -> Floats:
    """Return a straight strip whose first and last cell are a window frame's width, if there is room."""
    length = np.linalg.norm(end - start, axis=1)
    frame = np.minimum(FRAME / np.maximum(length, 1e-9), 1.0 / cells)
    inner = np.linspace(0.0, 1.0, cells - 1)
    part = np.concatenate(
        (
            np.zeros((len(frame), 1)),
            frame[:, None] + inner * (1.0 - 2.0 * frame[:, None]),
            np.ones((len(frame), 1)),
        ),
        axis=1,
    )
    points: Floats = start[:, None] + part[:, :, None] * (end - start)[:, None]
    return points


def _crowned(start: Floats, height: Floats, cells: int) -> Floats:
    part = np.linspace(1.0, 0.0, cells + 1)[None, :]
    y = start[:, :1] * part
    z = start[:, 1:] + (height[:, None] - start[:, 1:]) * (1.0 - part**2)
    return np.stack((y, z), axis=2)


def _rounded(before: Floats, corner: Floats, after: Floats, radius: float, cells: int) -> Floats:
    """Return an arc (n, cells + 1, 2) in each corner, smaller where a neighbour is near."""
    back, on = before - corner, after - corner
    room = 0.45 * np.minimum(np.linalg.norm(back, axis=1), np.linalg.norm(on, axis=1))
    back_unit, on_unit = _unit(back), _unit(on)
    cosine = np.clip(-np.sum(back_unit * on_unit, axis=1), -1.0, 1.0)
    half = 0.5 * np.arccos(cosine)
    tangent = np.minimum(radius * np.tan(np.minimum(half, 1.4)), room)
    start = corner + tangent[:, None] * back_unit
    end = corner + tangent[:, None] * on_unit
    weight = np.cos(half)[:, None]  # a rational parabola with this weight is a circular arc
    u = np.linspace(0.0, 1.0, cells + 1)[None, :]
    a, b, c = (1.0 - u) ** 2, 2.0 * u * (1.0 - u) * weight, u**2
    top = a[..., None] * start[:, None] + b[..., None] * corner[:, None] + c[..., None] * end[:, None]
    points: Floats = top / (a + b + c)[..., None]
    return points


def _unit(v: Floats) -> Floats:
    length = np.linalg.norm(v, axis=1, keepdims=True)
    scaled: Floats = np.divide(v, length, out=np.zeros_like(v), where=length > 0.0)
    return scaled


def cap(section: Floats) -> Floats:
    """Return a grid (across, up, 3) that fills one half section; its rim is the section's own points."""
    bottom = np.concatenate((section[: FIRST[ARCH_WALL] + 1], section[FIRST[ARCH_TOP] + 1 : FIRST[SILL] + 1]))
    side = section[FIRST[SILL] : FIRST[TOP] + 1]
    top = section[FIRST[TOP] :][::-1]
    low, high = bottom[0], top[0]
    share = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(side, axis=0), axis=1))))
    share /= share[-1]
    middle = low + share[:, None] * (high - low)
    u = np.linspace(0.0, 1.0, len(bottom))[:, None, None]
    v = share[None, :, None]
    between_ends = (1.0 - v) * bottom[:, None] + v * top[:, None]
    between_sides = (1.0 - u) * middle[None] + u * side[None]
    corners = (1.0 - u) * ((1.0 - v) * low + v * high) + u * ((1.0 - v) * side[0] + v * side[-1])
    points: Floats = between_ends + between_sides - corners
    points[..., 0] = section[0, 0]
    points[0], points[-1], points[:, 0], points[:, -1] = middle, side, bottom, top
    return points


def cells_to_triangles(points: Floats, first: int) -> tuple[Ints, Ints]:
    """Cut each cell of a grid (n, m, 3) along its shorter diagonal: triangles (k, 3), cell of each (k,)."""
    n, m = points.shape[:2]
    index = first + np.arange(n * m).reshape(n, m)
    a, b = index[:-1, :-1].ravel(), index[1:, :-1].ravel()
    c, d = index[1:, 1:].ravel(), index[:-1, 1:].ravel()
    flat = points.reshape(-1, 3)
    ac = np.linalg.norm(flat[a - first] - flat[c - first], axis=1)
    bd = np.linalg.norm(flat[b - first] - flat[d - first], axis=1)
    use_ac = (ac <= bd)[:, None]
    one = np.where(use_ac, np.stack((a, b, c), 1), np.stack((a, b, d), 1))
    two = np.where(use_ac, np.stack((a, c, d), 1), np.stack((b, c, d), 1))
    cells = np.arange(len(a))
    return np.concatenate((one, two)), np.concatenate((cells, cells))
