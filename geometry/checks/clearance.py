"""How close each tube comes to the body: exact clearances, and what is too close or inside.

Where a tube is meant to be welded to a panel, its clearance to that panel is that of what is not.
"""

import math
from collections.abc import Iterable

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import NDArray

from geometry.body.distance import WRAPPED, BodyIndex, PanelIndex
from geometry.checks import groups, mounts, search, standoff, welding
from geometry.checks.finding import Amount, Finding
from geometry.checks.search import Closest
from geometry.checks.standoff import Standing
from geometry.layout import Layout, Limits, Tube
from geometry.tolerances import LENGTH_NOISE
from geometry.tube import centreline, welds
from geometry.tube.centreline import Centreline
from geometry.vectors import Floats, Vec3, any_perpendicular, vec

UNSURE = 0.4  # of a turn; less is outside a body that has holes, more may be inside of one
REACH = 300.0  # mm; farther from every panel than this, no nearest panel is said

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
    movement: float = 0.0  # what the body's movement on its mounts takes away; what is tied to it has none
    worst: float | None = None  # where it takes most, if that is another station


class _Found(Struct, frozen=True, eq=False):
    """A row of a search: the tube by its number, the part of it that was searched, and where that starts."""

    tube: int
    line: Centreline
    start: float
    row: Closest


class Measured(Struct, frozen=True):
    """The clearances of some tubes, and which of them run wholly inside the body."""

    clearances: tuple[Clearance, ...]
    nearest: dict[int, Clearance]
    inside: frozenset[int]
    unsure: frozenset[int] = frozenset()  # the body is too open to tell whether these run inside it


def clearances(
    layout: Layout, index: BodyIndex, tubes: Iterable[int] | None = None, reach: float = REACH
) -> tuple[Clearance, ...]:
    """Return for each tube each panel nearer than reach, exact to CLEARANCE_ACCURACY.

    A tube's ends count as balls. Distances are unsigned, so doubled, open and inside-out meshes serve.
    """
    asked = list(layout.tubes if tubes is None else tubes)
    far = np.full(len(asked), reach)
    return tuple(row for row in _rows(layout, index, asked, far, far) if row.clearance < reach)


def measured(layout: Layout, index: BodyIndex, tubes: Iterable[int]) -> Measured:
    """Return what the checks need of some tubes: rows within the widest stand-off, and the nearest panel."""
    asked = sorted(tubes)
    within = _within(layout, index, asked)
    rows = _rows(layout, index, asked, within, np.maximum(within, REACH))
    nearest: dict[int, Clearance] = {}
    for row in rows:
        if row.tube not in nearest or row.clearance < nearest[row.tube].clearance:
            nearest[row.tube] = row
    widest = dict(zip(asked, within.tolist(), strict=True))
    close = tuple(row for row in rows if row.clearance < widest[row.tube])
    crossing = {row.tube for row in rows if row.clearance < 0.0}
    return Measured(close, nearest, *_inside(layout, index, [id for id in asked if id not in crossing]))


def findings(layout: Layout, index: BodyIndex, found: Measured, tubes: Iterable[int]) -> tuple[Finding, ...]:
    """Judge measured clearances against the closest allowed, and what is to be welded."""
    rows = [row for row in found.clearances if row.tube not in found.inside]
    judged = [_judged(layout, row) for row in rows if row.clearance < 0.0 or not _moves_close(layout, row)]
    judged += _moved_close(layout, rows)
    inside = [_wrapped(layout, layout.tubes[id]) for id in sorted(found.inside)]
    inside += [_perhaps_wrapped(layout, layout.tubes[id]) for id in sorted(found.unsure)]
    welded = welding.findings(layout, index, tubes)
    return tuple(finding for finding in (*judged, *inside, *welded) if finding is not None)


def _judged(layout: Layout, row: Clearance) -> Finding | None:
    if row.clearance < 0.0:
        return _crossing(layout, row)
    standing = standoff.standing(layout, row)
    return _too_close(layout, row, standing) if standing.band == "close" else None


def _moves_close(layout: Layout, row: Clearance) -> bool:
    """Say whether a tube is too close only because the body moves on its mounts."""
    still = standoff.judged(layout, row.tube, row.panel, row.clearance)
    return row.movement > 0.0 and still.band != "close" and standoff.standing(layout, row).band == "close"


def _moved_close(layout: Layout, rows: list[Clearance]) -> list[Finding | None]:
    """Return one finding for each tube that the moving body comes too close to, of its worst panel."""
    worst: dict[int, tuple[Clearance, Standing, int]] = {}
    for row in rows:
        if row.clearance < 0.0 or not _moves_close(layout, row):
            continue
        standing = standoff.standing(layout, row)
        known = worst.get(row.tube)
        if known is None:
            worst[row.tube] = (row, standing, 0)
        else:
            is_worse = standing.safe - standing.wanted.closest < known[1].safe - known[1].wanted.closest
            worst[row.tube] = (*((row, standing) if is_worse else known[:2]), known[2] + 1)
    return [_too_close(layout, row, standing, more) for row, standing, more in worst.values()]


def _within(layout: Layout, index: BodyIndex, tubes: list[int]) -> Floats:
    """Return for each tube how far off panels may be that there is something to say of.

    What other tubes and left-out panels ask for has no say in it, or it would be a reason to measure anew.
    """
    limits = layout.limits
    tied = groups.tied_to_frame(layout)
    panels = [layout.panels[id] for id in index]
    farthest = max([limits.standoff_farthest, *(own.standoff_farthest or 0.0 for own in panels)])
    closest = max([limits.standoff_closest, *(own.standoff_closest or 0.0 for own in panels)])
    movement = math.hypot(limits.mount_x, limits.mount_y, limits.mount_z)

    def reach(tube: Tube) -> float:
        least = max(closest, tube.standoff_closest or 0.0) + standoff.error(limits)
        moved = least + movement if tube.id in tied else least
        return max(farthest, tube.standoff_farthest or 0.0, moved)

    return np.array([reach(layout.tubes[id]) for id in tubes])


def _crossing(layout: Layout, row: Clearance) -> Finding:
    marks = _marks_words(layout, row)
    return Finding(
        rule="clearance.crossing",
        severity="error",
        message="{tube} cuts into {panel}, {station} from its start. Move it out there"
        + (marks or ", or leave the panel out if it will be cut away")
        + ".",
        tubes=(row.tube,),
        panels=(row.panel,),
        value=row.clearance,
        limit=0.0,
        quantity="length",
        at=row.panel_point,
        amounts={"station": Amount(row.station, "length")},
    )


def _too_close(layout: Layout, row: Clearance, standing: Standing, more: int = 0) -> Finding:
    """Say that a tube is too close to a panel, and to how many more that the body moves."""
    limits = layout.limits
    others = f" It is so to {more} more panel{'' if more == 1 else 's'}." if more else ""
    return Finding(
        rule="clearance.too_close",
        severity="warning",
        message="{tube} passes {raw} from {panel}, {station} from its start"
        + _left_words(limits, row, standing)
        + ". Move it out there by {difference}"
        + _marks_words(layout, row)
        + "."
        + others,
        tubes=(row.tube,),
        panels=(row.panel,),
        value=standing.safe,
        limit=standing.wanted.closest,
        quantity="length",
        at=row.tube_point,
        amounts={
            "raw": Amount(row.clearance, "length"),
            "station": Amount(row.station, "length"),
            "error": Amount(standing.error, "length"),
            "movement": Amount(row.movement, "length"),
            "worst": Amount(row.station if row.worst is None else row.worst, "length"),
        },
    )


def _left_words(limits: Limits, row: Clearance, standing: Standing) -> str:
    """Say what is taken off a clearance, and what is left of what is asked for."""
    takes = ["{error} for scan and build"] if standing.error else []
    if row.movement:
        takes.append("{movement} for the body on its mounts")
    if not takes:
        return ", and {limit} is asked for"
    most = " (most at {worst})" if row.worst is not None else ""
    left = "{value}" if standing.safe > 0.0 else "nothing"
    return f": less {' and '.join(takes)}{most}, {left} of the {{limit}} asked for is left"


def _marks_words(layout: Layout, row: Clearance) -> str:
    """Offer to weld on where the tube is welded to the panel already."""
    is_marked = any(weld.panel == row.panel for weld in layout.tubes[row.tube].welds)
    return ", or mark it as welded to {panel} up to there" if is_marked else ""


def _wrapped(layout: Layout, tube: Tube) -> Finding:
    return Finding(
        rule="clearance.inside",
        severity="error",
        message="{tube} runs wholly inside the body. Move it outside, or leave out the panels that wrap it.",
        tubes=(tube.id,),
        at=_middle(layout, tube),
    )


def _perhaps_wrapped(layout: Layout, tube: Tube) -> Finding:
    return Finding(
        rule="clearance.perhaps_inside",
        severity="note",
        message="Whether {tube} runs inside the body cannot be told: the panels around it leave the body too "
        "open. Look at it in a section.",
        tubes=(tube.id,),
        at=_middle(layout, tube),
    )


def _middle(layout: Layout, tube: Tube) -> Vec3:
    line = centreline.of(layout, tube)
    return vec(centreline.point_at(line, [line.length / 2.0])[0])


def _inside(layout: Layout, index: BodyIndex, tubes: list[int]) -> tuple[frozenset[int], frozenset[int]]:
    """Return the tubes that some body wraps as a whole, and those it may wrap; they must cross no panel."""
    lines = [centreline.of(layout, layout.tubes[id]) for id in tubes]
    places = [centreline.point_at(line, [*line.stations, line.length]) for line in lines]
    wrapped: set[int] = set()
    unsure: set[int] = set()
    for panels in _by_body(layout, index):
        low = np.min([panel.bounds[0] for panel in panels], axis=0)
        high = np.max([panel.bounds[1] for panel in panels], axis=0)
        # Cheap looks first: how often a body wraps a point takes a second to prepare for a large scan.
        boxed = [i for i, on in enumerate(places) if ((on > low) & (on < high)).all()]
        middles = np.array([places[i][len(places[i]) // 2] for i in boxed]).reshape(-1, 3)
        enclosed = np.flatnonzero(~_is_open(panels, middles))
        if len(enclosed):
            turns = np.abs(np.sum([panel.winding(middles[enclosed]) for panel in panels], axis=0))
            wrapped |= {tubes[boxed[i]] for i in enclosed[turns > WRAPPED]}
            unsure |= {tubes[boxed[i]] for i in enclosed[(turns > UNSURE) & (turns <= WRAPPED)]}
    return frozenset(wrapped), frozenset(unsure - wrapped)


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


def _rows(
    layout: Layout, index: BodyIndex, tubes: list[int], within: Floats, reach: Floats
) -> list[Clearance]:
    """Return each panel nearer than within, and each tube's nearest one in reach."""
    lines = [centreline.of(layout, layout.tubes[id]) for id in tubes]
    radii = np.array([layout.stocks[layout.tubes[id].stock].od / 2.0 for id in tubes])
    panels = list(index)
    plain = [i for i, id in enumerate(tubes) if not welds.is_welded(layout, layout.tubes[id])]
    limits = (within + radii, reach + radii)
    rows = search.closest([lines[i] for i in plain], list(index.values()), *(some[plain] for some in limits))
    found = [_Found(plain[row.line], lines[plain[row.line]], 0.0, row) for row in rows]
    for i in sorted(set(range(len(tubes))) - set(plain)):
        marked = welds.spans(layout.tubes[tubes[i]], lines[i].length)
        found += _beside_welds(i, lines[i], index, marked, *(some[[i]] for some in limits))
    tied = groups.tied_to_frame(layout)
    moved = _moved(layout, index, [one for one in found if tubes[one.tube] in tied])
    return [
        _clearance(tubes[one.tube], panels[one.row.panel], float(radii[one.tube]), one, moved.get(id(one)))
        for one in found
    ]


def _beside_welds(
    tube: int,
    line: Centreline,
    index: BodyIndex,
    marked: dict[int, list[welds.Span]],
    within: Floats,
    reach: Floats,
) -> list[_Found]:
    """Return the rows of one line: to panels it is welded to, those of what is not meant to touch them."""
    found = []
    for number, (panel, tree) in enumerate(index.items()):
        rows = []
        for start, end in welds.rest(marked.get(panel, []), line.length):
            part = welds.part(line, start, end) if panel in marked else line
            closest = search.closest([part], [tree], within, reach)
            rows += [_Found(tube, part, start, replace(row, panel=number)) for row in closest]
        found += sorted(rows, key=lambda one: one.row.gap)[:1]
    nearest = min((one.row.gap for one in found), default=0.0)
    return [one for one in found if one.row.gap < within[0] or one.row.gap == nearest]


def _moved(layout: Layout, index: BodyIndex, found: list[_Found]) -> dict[int, mounts.Least]:
    """Return what the movement of the body leaves of each row, by the row's identity."""
    lines = list({id(one.line): one.line for one in found}.values())
    numbers = {id(line): number for number, line in enumerate(lines)}
    rows = [replace(one.row, line=numbers[id(one.line)]) for one in found]
    least = mounts.least(lines, list(index.values()), rows, layout.limits)
    return {id(one): left for one, left in zip(found, least, strict=True)}


def _clearance(tube: int, panel: int, radius: float, found: _Found, least: mounts.Least | None) -> Clearance:
    row = found.row
    if row.gap > LENGTH_NOISE:
        out = (row.panel_point - row.axis_point) / row.gap
    else:
        out = any_perpendicular(centreline.direction_at(found.line, [row.station])[0])
    surface = vec(row.axis_point + radius * out)
    station = found.start + row.station
    clearance = Clearance(tube, panel, row.gap - radius, station, surface, vec(row.panel_point))
    if least is None:
        return clearance
    elsewhere = abs(least.station - row.station) > 2.0 * radius
    worst = found.start + least.station if elsewhere else None
    return replace(clearance, movement=max(row.gap - least.gap, 0.0), worst=worst)
