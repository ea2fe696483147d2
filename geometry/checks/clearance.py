"""How close each tube comes to the body: exact clearances, and what is too close, too far or inside."""

from collections.abc import Iterable
from typing import Literal

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from geometry.body.distance import WRAPPED, BodyIndex, PanelIndex
from geometry.checks import search
from geometry.checks.finding import Amount, Finding
from geometry.checks.search import Closest
from geometry.layout import Layout, Limits, Tube
from geometry.tolerances import LENGTH_NOISE
from geometry.tube import centreline
from geometry.tube.centreline import Centreline
from geometry.vectors import Floats, Vec3, any_perpendicular, vec

REACH = 300.0  # mm; farther from every panel than this, no nearest panel is said
Band = Literal["close", "fine", "far"]

# Both ways along three square directions, askew so that they slip along no edge of a straight-sided mesh.
_ASKEW = np.linalg.qr(np.array([[0.91, 0.11, 0.23], [0.17, 0.93, 0.13], [0.29, 0.19, 0.97]]))[0]
WAYS_OUT = np.concatenate([_ASKEW, -_ASKEW])


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
    asked = list(layout.tubes if tubes is None else tubes)
    return tuple(row for row in _rows(layout, index, asked, reach, reach) if row.clearance < reach)


def measured(layout: Layout, index: BodyIndex, tubes: Iterable[int]) -> Measured:
    """Return what the checks need of some tubes: rows within the widest stand-off, and the nearest panel."""
    asked = sorted(tubes)
    widest = max(layout.limits.standoff_farthest, 0.0)
    rows = _rows(layout, index, asked, widest, max(widest, REACH))
    nearest: dict[int, Clearance] = {}
    for row in rows:
        if row.tube not in nearest or row.clearance < nearest[row.tube].clearance:
            nearest[row.tube] = row
    close = tuple(row for row in rows if row.clearance < widest)
    crossing = {row.tube for row in rows if row.clearance < 0.0}
    return Measured(close, nearest, _inside(layout, index, [id for id in asked if id not in crossing]))


def findings(layout: Layout, index: BodyIndex, found: Measured, tubes: Iterable[int]) -> tuple[Finding, ...]:
    """Judge measured clearances against the stand-off band."""
    rows = [row for row in found.clearances if row.tube not in found.inside]
    judged = [_judged(row, layout.limits) for row in rows]
    inside = [_wrapped(layout, layout.tubes[id]) for id in sorted(found.inside)]
    return tuple(finding for finding in (*judged, *inside) if finding is not None)


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
        + ". Move it out there by {difference}.",
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


def _wrapped(layout: Layout, tube: Tube) -> Finding:
    line = centreline.of(layout, tube)
    return Finding(
        rule="clearance.inside",
        severity="error",
        message="{tube} runs wholly inside the body. Move it outside, or leave out the panels that wrap it.",
        tubes=(tube.id,),
        at=vec(centreline.point_at(line, [line.length / 2.0])[0]),
    )


def _inside(layout: Layout, index: BodyIndex, tubes: list[int]) -> frozenset[int]:
    """Return the tubes that some body wraps as a whole; they must cross no panel."""
    lines = [centreline.of(layout, layout.tubes[id]) for id in tubes]
    places = [centreline.point_at(line, [*line.stations, line.length]) for line in lines]
    wrapped: set[int] = set()
    for panels in _by_body(layout, index):
        low = np.min([panel.bounds[0] for panel in panels], axis=0)
        high = np.max([panel.bounds[1] for panel in panels], axis=0)
        # Cheap looks first: how often a body wraps a point takes a second to prepare for a large scan.
        boxed = [i for i, on in enumerate(places) if ((on > low) & (on < high)).all()]
        middles = np.array([places[i][len(places[i]) // 2] for i in boxed]).reshape(-1, 3)
        enclosed = np.flatnonzero(~_is_open(panels, middles))
        if len(enclosed):
            turns = np.sum([panel.winding(middles[enclosed]) for panel in panels], axis=0)
            wrapped |= {tubes[boxed[i]] for i in enclosed[np.abs(turns) > WRAPPED]}
    return frozenset(wrapped)


def _is_open(panels: list[PanelIndex], points: Floats) -> NDArray[np.bool_]:
    """Return from which points (n, 3) half of the six ways out are free: no body wraps those."""
    starts = np.repeat(points, len(WAYS_OUT), axis=0)
    ways = np.tile(WAYS_OUT, (len(points), 1))
    stopped = np.any([panel.stops(starts, ways) for panel in panels], axis=0)
    free = (~stopped).reshape(-1, len(WAYS_OUT)).sum(axis=1)
    is_open: NDArray[np.bool_] = free >= len(WAYS_OUT) // 2
    return is_open


def _by_body(layout: Layout, index: BodyIndex) -> list[list[PanelIndex]]:
    """Return the panels of each body: together they may close what each leaves open."""
    bodies: dict[int, list[PanelIndex]] = {}
    for id, panel in index.items():
        bodies.setdefault(layout.panels[id].body, []).append(panel)
    return list(bodies.values())


def _rows(layout: Layout, index: BodyIndex, tubes: list[int], within: float, reach: float) -> list[Clearance]:
    """Return each panel nearer than within, and each tube's nearest one in reach."""
    lines = [centreline.of(layout, layout.tubes[id]) for id in tubes]
    radii = np.array([layout.stocks[layout.tubes[id].stock].od / 2.0 for id in tubes])
    panels = list(index)
    found = search.closest(lines, list(index.values()), within + radii, reach + radii)
    return [
        _clearance(tubes[row.line], panels[row.panel], lines[row.line], float(radii[row.line]), row)
        for row in found
    ]


def _clearance(tube: int, panel: int, line: Centreline, radius: float, row: Closest) -> Clearance:
    if row.gap > LENGTH_NOISE:
        out = (row.panel_point - row.axis_point) / row.gap
    else:
        out = any_perpendicular(centreline.direction_at(line, [row.station])[0])
    surface = vec(row.axis_point + radius * out)
    return Clearance(tube, panel, row.gap - radius, row.station, surface, vec(row.panel_point))
