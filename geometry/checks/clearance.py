"""How close each tube comes to the body: exact clearances, and what is too close, too far or inside."""

import math
from collections.abc import Iterable
from typing import Literal

import numpy as np
from msgspec import Struct

from geometry.body.distance import WRAPPED, BodyIndex, PanelIndex
from geometry.checks.finding import Amount, Finding
from geometry.layout import Layout, Limits, Tube
from geometry.tolerances import CLEARANCE_ACCURACY, LENGTH_NOISE
from geometry.tube import centreline
from geometry.tube.centreline import Arc, Centreline
from geometry.vectors import Floats, Vec3, any_perpendicular, vec

REACH = 300.0  # mm; farther from every panel than this, no nearest panel is said
Band = Literal["close", "fine", "far"]


class Clearance(Struct, frozen=True):
    """Where a tube comes closest to a panel; negative where it cuts in."""

    tube: int
    panel: int
    clearance: float
    station: float
    tube_point: Vec3  # on the tube's outer surface
    panel_point: Vec3


class Measured(Struct, frozen=True):
    """The clearances of some tubes, and which of them run wholly inside the body."""

    clearances: tuple[Clearance, ...]
    nearest: dict[int, Clearance]
    inside: frozenset[int]


def band(clearance: float, limits: Limits) -> Band:
    """Say where a raw clearance lies in the stand-off band."""
    if safe(clearance, limits) < limits.standoff_closest:
        return "close"
    return "far" if clearance > limits.standoff_farthest else "fine"


def safe(clearance: float, limits: Limits) -> float:
    """Return what a clearance is still sure to be in the shop."""
    return clearance - limits.scan_error - limits.build_tolerance


def clearances(
    layout: Layout, index: BodyIndex, tubes: Iterable[int] | None = None, reach: float = REACH
) -> tuple[Clearance, ...]:
    """Return for each tube each panel nearer than reach, exact to CLEARANCE_ACCURACY.

    A tube's ends count as balls. Distances are unsigned, so doubled, open and inside-out meshes serve.
    """
    rows = []
    for id in layout.tubes if tubes is None else sorted(tubes):
        tube = layout.tubes[id]
        line = centreline.of(layout, tube)
        radius = layout.stocks[tube.stock].od / 2.0
        for panel, panel_index in index.items():
            row = _closest(line, radius, panel_index, reach)
            if row is not None:
                rows.append(_clearance(id, panel, line, radius, *row))
    return tuple(row for row in rows if row.clearance < reach)


def measured(layout: Layout, index: BodyIndex, tubes: Iterable[int]) -> Measured:
    """Return what the checks need of some tubes: rows within the widest stand-off, and the nearest panel."""
    rows = clearances(layout, index, tubes)
    nearest: dict[int, Clearance] = {}
    for row in rows:
        if row.tube not in nearest or row.clearance < nearest[row.tube].clearance:
            nearest[row.tube] = row
    close = tuple(row for row in rows if row.clearance < layout.limits.standoff_farthest)
    crossing = {row.tube for row in rows if row.clearance < 0.0}
    return Measured(close, nearest, _inside(layout, index, set(tubes) - crossing))


def findings(layout: Layout, index: BodyIndex, found: Measured, tubes: Iterable[int]) -> tuple[Finding, ...]:
    """Judge measured clearances against the stand-off band."""
    rows = [row for row in found.clearances if row.tube not in found.inside]
    judged = [_judged(row, layout.limits) for row in rows]
    inside = [_wrapped(layout, layout.tubes[id]) for id in sorted(found.inside)]
    loose = [id for id in sorted(tubes) if index and id not in found.inside]
    far = [_too_far(layout, layout.tubes[id], found.nearest.get(id)) for id in loose]
    return tuple(finding for finding in (*judged, *inside, *far) if finding is not None)


def _judged(row: Clearance, limits: Limits) -> Finding | None:
    if row.clearance < 0.0:
        return _crossing(row)
    return _too_close(row, limits) if band(row.clearance, limits) == "close" else None


def _crossing(row: Clearance) -> Finding:
    return Finding(
        rule="clearance.crossing",
        severity="error",
        message="{tube} cuts into {panel}, {station} from its start. Move it out there, or leave the panel "
        "out if it will be cut away.",
        tubes=(row.tube,),
        panels=(row.panel,),
        value=row.clearance,
        limit=0.0,
        quantity="length",
        at=row.panel_point,
        amounts={"station": Amount(row.station, "length")},
    )


def _too_close(row: Clearance, limits: Limits) -> Finding:
    error = limits.scan_error + limits.build_tolerance
    less = ": less {error} for scan and build, {value} of the {limit} asked for is left" if error else ""
    asked = "" if error else ", and {limit} is asked for"
    return Finding(
        rule="clearance.too_close",
        severity="warning",
        message="{tube} passes {raw} from {panel}, {station} from its start"
        + (less or asked)
        + ". Move it {difference} out there.",
        tubes=(row.tube,),
        panels=(row.panel,),
        value=safe(row.clearance, limits),
        limit=limits.standoff_closest,
        quantity="length",
        at=row.tube_point,
        amounts={
            "raw": Amount(row.clearance, "length"),
            "station": Amount(row.station, "length"),
            "error": Amount(error, "length"),
        },
    )


def _too_far(layout: Layout, tube: Tube, nearest: Clearance | None) -> Finding | None:
    farthest = layout.limits.standoff_farthest
    if nearest is None:
        message = "{tube} keeps more than {reach} from every panel; {limit} is the farthest wanted."
    elif nearest.clearance > farthest:
        message = (
            "{tube} comes no nearer to the body than {value}, at {panel}; {limit} is the farthest wanted."
        )
    else:
        return None
    return Finding(
        rule="clearance.too_far",
        severity="note",
        message=message + " Move it in if it should follow the body.",
        tubes=(tube.id,),
        panels=(nearest.panel,) if nearest else (),
        value=nearest.clearance if nearest else None,
        limit=farthest,
        quantity="length",
        at=nearest.tube_point if nearest else centreline.of(layout, tube).points[0],
        amounts={"reach": Amount(REACH, "length")},
    )


def _wrapped(layout: Layout, tube: Tube) -> Finding:
    line = centreline.of(layout, tube)
    return Finding(
        rule="clearance.inside",
        severity="error",
        message="{tube} runs wholly inside the body. Move it outside, or leave out the panels that wrap it.",
        tubes=(tube.id,),
        at=vec(centreline.point_at(line, [line.length / 2.0])[0]),
    )


def _inside(layout: Layout, index: BodyIndex, tubes: Iterable[int]) -> frozenset[int]:
    """Return the tubes that some body wraps as a whole; they must cross no panel."""
    asked = sorted(tubes)
    if not asked:
        return frozenset()
    lines = [centreline.of(layout, layout.tubes[id]) for id in asked]
    middles = np.concatenate([centreline.point_at(line, [line.length / 2.0]) for line in lines])
    turns: dict[int, Floats] = {}
    for panel, panel_index in index.items():
        body = layout.panels[panel].body
        turns[body] = turns.get(body, 0.0) + panel_index.winding(middles)
    wrapped = np.any([np.abs(turn) > WRAPPED for turn in turns.values()], axis=0) if turns else []
    return frozenset(id for id, is_wrapped in zip(asked, wrapped, strict=False) if is_wrapped)


def _closest(line: Centreline, radius: float, panel: PanelIndex, reach: float) -> tuple[float, Vec3] | None:
    """Return the station and the panel's point where the two are closest, or None beyond reach.

    Metal whose nearest place on the centreline lies in a cell of half length h about c is square to it,
    so its distance is at least sqrt(d(c)^2 - h^2) from a straight, and a little less from an arc.
    """
    limit = reach + radius
    ends = np.array([*line.stations, line.length])
    best, where = _best(line, panel, ends, limit)
    centres, halves = (ends[:-1] + ends[1:]) / 2.0, np.diff(ends) / 2.0
    curvature = np.array([1.0 / centreline.radius_of(p) if isinstance(p, Arc) else 0.0 for p in line.pieces])
    while len(centres):
        gaps, _, points = panel.closest(centreline.point_at(line, centres))
        nearest = int(gaps.argmin())
        if gaps[nearest] < best:
            best, where = float(gaps[nearest]), (float(centres[nearest]), vec(points[nearest]))
        least = np.sqrt(np.maximum(gaps**2 - halves**2 * (1.0 + gaps * curvature), 0.0))
        left = least < best - CLEARANCE_ACCURACY / 2.0
        quarters = halves[left] / 2.0
        centres = np.concatenate([centres[left] - quarters, centres[left] + quarters])
        halves, curvature = np.tile(quarters, 2), np.tile(curvature[left], 2)
    return where


def _best(
    line: Centreline, panel: PanelIndex, stations: Floats, limit: float
) -> tuple[float, tuple[float, Vec3] | None]:
    gaps, _, points = panel.closest(centreline.point_at(line, stations))
    nearest = int(gaps.argmin())
    if gaps[nearest] >= limit:
        return limit, None
    return float(gaps[nearest]), (float(stations[nearest]), vec(points[nearest]))


def _clearance(
    tube: int, panel: int, line: Centreline, radius: float, station: float, point: Vec3
) -> Clearance:
    """Return the row, settled on the place of the centreline that is nearest to the panel's point."""
    station, axis_point = centreline.nearest(line, point)
    gap = math.dist(axis_point, point)
    if gap > LENGTH_NOISE:
        out = (np.array(point) - axis_point) / gap
    else:
        out = any_perpendicular(centreline.direction_at(line, [station])[0])
    return Clearance(tube, panel, gap - radius, station, vec(axis_point + radius * out), point)
