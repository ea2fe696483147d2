"""The space that tyres sweep through, against tubes and panels."""

from collections.abc import Callable, Iterable, Mapping

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from geometry.body import envelope, tyres
from geometry.body.distance import BodyIndex, PanelIndex
from geometry.body.tyres import Side, Wheel
from geometry.checks import search
from geometry.checks.finding import Amount, Finding
from geometry.errors import GeometryError
from geometry.layout import Axle, Layout, Mesh
from geometry.progress import Cancelled
from geometry.tolerances import SAME_POINT
from geometry.tube import centreline
from geometry.vectors import Floats, Ints, Vec3, any_perpendicular, vec

ACCURACY = 1.0  # mm that the least gap of a panel is known to, beside what the envelope itself leaves open
CELL = 40.0  # mm; triangles are looked at together first
FIRST_LOOK = 64  # cells whose triangles are asked at once, to begin with
SIDES: tuple[Side, Side] = ("left", "right")

WheelKey = tuple[int, Side]  # axle id and side


class Envelope(Struct, frozen=True, eq=False):
    """What one tyre sweeps through."""

    wheel: Wheel
    mesh: Mesh
    index: PanelIndex


Envelopes = dict[WheelKey, Envelope]


class Shown(Struct, frozen=True, eq=False):
    """What a tyre swept through when it was worked out last."""

    wheel: Wheel
    mesh: Mesh


class TyreClearance(Struct, frozen=True):
    """Where a tube comes closest to what a tyre sweeps through; negative where it is inside."""

    axle: int
    side: Side
    tube: int
    clearance: float
    station: float
    tube_point: Vec3  # on the tube's outer surface
    tyre_point: Vec3


class Bite(Struct, frozen=True):
    """By how much a panel lacks the room kept for a tyre."""

    axle: int
    side: Side
    panel: int
    depth: float  # more than the margin: the tyre itself reaches the panel
    at: Vec3


def wheels(layout: Layout) -> dict[WheelKey, Wheel]:
    """Return the wheels of all axles that can be."""
    found = {}
    for axle in layout.axles.values():
        if fault(axle) is None:
            for side, wheel in zip(SIDES, tyres.wheels(axle), strict=True):
                found[axle.id, side] = wheel
    return found


def shown(layout: Layout, meshes: Mapping[WheelKey, Mesh]) -> dict[WheelKey, Shown]:
    """Return swept spaces with the wheels of the layout that they were worked out from."""
    known = wheels(layout)
    return {key: Shown(known[key], mesh) for key, mesh in meshes.items() if key in known}


def fault(axle: Axle) -> str | None:
    """Return the sentence that says why an axle cannot be, or None."""
    try:
        tyres.check(axle)
    except GeometryError as error:
        return str(error)
    return None


def envelopes(layout: Layout, known: Envelopes, go_on: Callable[[], bool]) -> Envelopes:
    """Return what each tyre sweeps through; equal wheels, and mirrored ones, are worked out once.

    Where it may not go on, wheels that are not known yet are missing.
    """
    made = {each.wheel: each for each in known.values()}
    found: Envelopes = {}
    for key, wheel in wheels(layout).items():
        if wheel not in made:
            if _mirrored_wheel(wheel) in made:
                made[wheel] = _mirrored(made[_mirrored_wheel(wheel)], wheel)
            elif not go_on():
                continue
            else:
                try:
                    made[wheel] = _swept(wheel, go_on)
                except Cancelled:
                    continue
        found[key] = made[wheel]
    return found


def against_tubes(layout: Layout, envelopes: Envelopes, tubes: Iterable[int]) -> tuple[TyreClearance, ...]:
    """Return the tubes with less room to a tyre than Limits.tyre_margin, exact for the envelope's mesh."""
    ids, keys = list(tubes), list(envelopes)
    if not ids or not keys:
        return ()
    lines = [centreline.of(layout, layout.tubes[id]) for id in ids]
    radii = np.array([layout.stocks[layout.tubes[id].stock].od / 2.0 for id in ids])
    within = radii + layout.limits.tyre_margin
    rows = []
    for key in keys:
        index = envelopes[key].index
        near = {row.line: row for row in search.closest(lines, [index], within, within)}
        for i, line in enumerate(lines):
            row = near.get(i)
            if row is None and not _may_be_inside(index, line.points[0]):
                continue
            if row is None:  # all of it is deeper inside than the search looked for
                (row,) = search.closest([line], [index], np.array([1.0e6]), np.array([1.0e6]))
                if not _is_inside(index, row.axis_point):
                    continue
            is_inside = row.gap > SAME_POINT and _is_inside(index, row.axis_point)
            axis_gap = -row.gap if is_inside else row.gap
            if row.gap > SAME_POINT:
                out = (row.panel_point - row.axis_point) / axis_gap
            else:
                out = any_perpendicular(centreline.direction_at(line, [row.station])[0])
            on_tube = vec(row.axis_point + radii[i] * out)
            clearance = float(axis_gap - radii[i])
            rows.append(TyreClearance(*key, ids[i], clearance, row.station, on_tube, vec(row.panel_point)))
    return tuple(rows)


def against_panels(
    layout: Layout, index: BodyIndex, envelopes: Envelopes, panels: Iterable[int]
) -> tuple[Bite, ...]:
    """Return the panels that lack room to a tyre, with the place where most of it is missing.

    What is missing less than ACCURACY is none: a panel trimmed to the margin is not said to be in the way.
    """
    margin = layout.limits.tyre_margin
    bites = []
    for key, swept in envelopes.items():
        for id in panels:
            least = _least_gap(index[id], swept.index, margin - ACCURACY) if id in index else None
            if least is not None:
                bites.append(Bite(*key, id, margin - least[0], vec(least[1])))
    return tuple(bites)


def findings(layout: Layout, rows: Iterable[TyreClearance], bites: Iterable[Bite]) -> tuple[Finding, ...]:
    """Say which tubes and panels are in the way of tyres, and which axles cannot be."""
    margin = layout.limits.tyre_margin
    return (
        *(_cannot_be(axle, why) for axle in layout.axles.values() if (why := fault(axle)) is not None),
        *(_of_tube(layout, row) for row in rows if row.clearance < margin),
        *(_of_panel(layout, bite) for bite in bites),
    )


def _cannot_be(axle: Axle, why: str) -> Finding:
    return Finding(
        rule="tyre.bad_axle",
        severity="error",
        message="{why}",
        at=(axle.x, 0.0, axle.height),
        words={"why": why},
    )


def _of_tube(layout: Layout, row: TyreClearance) -> Finding:
    hits = row.clearance < 0.0
    said = "{tube} is in the way of {tyre}, {station} from its start"
    if not hits:
        said = "{tube} leaves {tyre} {value} of the {limit} asked for, {station} from its start"
    return Finding(
        rule="tyre.hits_tube" if hits else "tyre.near_tube",
        severity="error" if hits else "warning",
        message=said + ". Move it out of there, or give the axle less travel or steering.",
        tubes=(row.tube,),
        value=row.clearance,
        limit=0.0 if hits else layout.limits.tyre_margin,
        quantity="length",
        at=row.tube_point,
        amounts={"station": Amount(row.station, "length")},
        words={"tyre": _tyre_words(layout, row.axle, row.side)},
    )


def _of_panel(layout: Layout, bite: Bite) -> Finding:
    margin = layout.limits.tyre_margin
    gap = margin - bite.depth
    hits = gap < 0.0
    said = (
        "{tyre} reaches {reach} into {panel}"
        if hits
        else "{panel} leaves {tyre} {value} of the {limit} asked for"
    )
    return Finding(
        rule="tyre.hits_panel" if hits else "tyre.near_panel",
        severity="warning",
        message=said + ". Trim the panel, or give the axle less travel or steering.",
        panels=(bite.panel,),
        value=gap,
        limit=0.0 if hits else margin,
        quantity="length",
        at=bite.at,
        amounts={"reach": Amount(-gap, "length")},
        words={"tyre": _tyre_words(layout, bite.axle, bite.side, starts=hits)},
    )


def _tyre_words(layout: Layout, axle: int, side: Side, starts: bool = False) -> str:
    return f"{'The' if starts else 'the'} {side} tyre of {layout.axles[axle].name}"


def _swept(wheel: Wheel, go_on: Callable[[], bool]) -> Envelope:
    def look_up() -> None:
        if not go_on():
            raise Cancelled

    mesh = envelope.swept(wheel, look_up)
    return Envelope(wheel, mesh, PanelIndex(mesh.vertices, mesh.triangles))


def _mirrored_wheel(wheel: Wheel) -> Wheel:
    """Return the same wheel on the other side."""
    x, y, z = wheel.centre
    return replace(
        wheel,
        centre=(x, -y, z),
        kingpin_y=-wheel.kingpin_y,
        steer_left=wheel.steer_right,
        steer_right=wheel.steer_left,
        lean=-wheel.lean,
    )


def _mirrored(other: Envelope, wheel: Wheel) -> Envelope:
    vertices = other.mesh.vertices * np.array([1.0, -1.0, 1.0])
    triangles = np.ascontiguousarray(other.mesh.triangles[:, ::-1])
    vertices.setflags(write=False)
    triangles.setflags(write=False)
    return Envelope(wheel, Mesh(vertices, triangles), PanelIndex(vertices, triangles))


def _may_be_inside(index: PanelIndex, point: Vec3) -> bool:
    low, high = index.bounds
    return bool(np.all(low < point) and np.all(point < high)) and _is_inside(index, np.array(point))


def _is_inside(index: PanelIndex, point: Floats) -> bool:
    return bool(index.inside(point.reshape(1, 3))[0])


def _least_gap(panel: PanelIndex, swept: PanelIndex, below: float) -> tuple[float, Floats] | None:
    """Return the least gap of a panel to a swept space, to ACCURACY, and where; None from `below` on.

    Gaps change no faster than places do, so a triangle or a cell of triangles whose middle is far off
    by more than its size need not be looked at.
    """
    corners = _near_box(panel, swept.bounds, below)
    if not len(corners):
        return None
    middles, sizes = _round(corners)
    cell = _cells(middles)
    sums = [np.bincount(cell, column) for column in middles.T]
    centres: Floats = np.stack(sums, axis=1) / np.bincount(cell).astype(np.float64)[:, None]
    reaches = np.zeros(len(centres))
    np.maximum.at(reaches, cell, np.linalg.norm(middles - centres[cell], axis=1) + sizes)
    bounds = envelope.mesh_gaps(swept, centres) - reaches
    order, least = np.argsort(bounds), _Least(swept, below)
    for chosen in (order[:FIRST_LOOK], order[FIRST_LOOK:]):
        near = chosen[bounds[chosen] < least.gap - ACCURACY]
        _ask_triangles(least, corners[np.isin(cell, near)])
    return None if least.place is None else (least.gap, least.place)


class _Least:
    """The least gap known so far, and where."""

    def __init__(self, swept: PanelIndex, below: float) -> None:
        self._swept = swept
        self.gap = below
        self.place: Floats | None = None

    def ask(self, points: Floats) -> Floats:
        """Return the gaps of points (n, 3) of the panel: (n,); the least one is kept."""
        gaps = envelope.mesh_gaps(self._swept, points)
        lowest = int(gaps.argmin())
        if gaps[lowest] < self.gap:
            self.gap, self.place = float(gaps[lowest]), points[lowest]
        return gaps


def _near_box(panel: PanelIndex, box: tuple[Floats, Floats], below: float) -> Floats:
    """Return the corners (m, 3, 3) of the panel's triangles that come within `below` of a box."""
    near = panel.triangles
    low, high = box[0] - max(below, 0.0), box[1] + max(below, 0.0)
    if (panel.bounds[0] > high).any() or (panel.bounds[1] < low).any():
        near = near[:0]
    for axis in range(3):  # one axis at a time leaves less for the next
        places = panel.vertices[:, axis][near]
        least = np.minimum(np.minimum(places[:, 0], places[:, 1]), places[:, 2])
        most = np.maximum(np.maximum(places[:, 0], places[:, 1]), places[:, 2])
        near = near[(most >= low[axis]) & (least <= high[axis])]
    return panel.vertices[near]


def _round(corners: Floats) -> tuple[Floats, Floats]:
    """Return the middles (m, 3) of triangles and how far their corners are from them (m,)."""
    middles = corners.mean(axis=1)
    return middles, np.linalg.norm(corners - middles[:, None], axis=2).max(axis=1)


def _cells(middles: Floats) -> Ints:
    """Return for each point (n, 3) the number of the cell of a grid that it is in."""
    key = np.floor(middles / CELL).astype(np.int64)
    key -= key.min(axis=0)
    size = key.max(axis=0) + 1
    # Rows as single numbers: twenty times faster to sort than rows.
    flat = (key[:, 0] * size[1] + key[:, 1]) * size[2] + key[:, 2]
    _, cell = np.unique(flat, return_inverse=True)
    return np.asarray(cell).reshape(-1)


def _ask_triangles(least: _Least, corners: Floats) -> None:
    """Ask at the middles of triangles, and quarter those that may hold something nearer."""
    while len(corners):
        middles, sizes = _round(corners)
        gaps = least.ask(middles)
        corners = _quartered(corners[gaps - sizes < least.gap - ACCURACY])


def _quartered(corners: Floats) -> Floats:
    halves = (corners + np.roll(corners, -1, axis=1)) / 2.0
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    ab, bc, ca = halves[:, 0], halves[:, 1], halves[:, 2]
    parts = [(a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca)]
    quarters: Floats = np.concatenate([np.stack(part, axis=1) for part in parts])
    return quarters
