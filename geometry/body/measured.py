"""A body from tape measurements: rows along the car become a closed mesh with named panels.

x is measured from the front axle, forwards; heights from the ground; widths from the centre plane.
"""

from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import Literal, NamedTuple

import numpy as np
from msgspec.structs import replace as changed
from numpy.typing import NDArray

from geometry.body import loft
from geometry.body.loft import Grid
from geometry.errors import GeometryError
from geometry.layout import (
    Body,
    DoorOpening,
    Layout,
    Measured,
    Mesh,
    Panel,
    Station,
    WheelArch,
)
from geometry.tolerances import LENGTH_NOISE
from geometry.vectors import Floats, Ints

COLUMNS = {
    "x": "along the car",
    "sill_half_width": "half width at the sill",
    "sill_height": "height of the sill",
    "waist_half_width": "half width at the waist",
    "waist_height": "height of the waist",
    "roof_half_width": "half width at the roof",
    "roof_height": "height of the roof",
}
ARCH_COLUMNS = {
    "x": "along the car",
    "z": "height of the centre",
    "radius": "radius",
    "depth": "depth",
}
DOOR_COLUMNS = {"front": "front edge", "back": "back edge"}
Table = Literal["stations", "arches", "doors"]
_LABELS: dict[Table, tuple[str, dict[str, str]]] = {
    "stations": ("Row", COLUMNS),
    "arches": ("Wheel arch", ARCH_COLUMNS),
    "doors": ("Door", DOOR_COLUMNS),
}

GLASS, GRILLE = "#8fa6b2", "#6b6f72"

LEAST_STEP = 5.0  # mm from one row of measurements to the next
LEAST_HEIGHT = 50.0  # mm from sill to waist, and from a hollow's bottom up to the waist's level
LEAST_WIDTH = 100.0  # mm; also of a door
LEAST_ARCH, LEAST_DEPTH = 50.0, 20.0  # mm
FARTHEST = 20_000.0  # mm; no car has a measure beyond it, so it is a slip of the pen
CAB_RISE = 250.0  # mm that a roof stands above the waist, where there is a cab
HOLLOW = 50.0  # mm below the waist, where there is an open tub or bed
WINDOW_INSET = 60.0  # mm from a door's edge to its glass
QUARTER_INSET = 90.0  # mm from the cab's edges to a fixed side window
REAR_WINDOW_INSET = 25.0  # mm of the roof's turn down that stays metal above the rear window


_Span = tuple[float, float]  # front, back


class MeasurementError(GeometryError):
    """A measurement that makes no body: which table, which row (from 0), which column."""

    def __init__(self, message: str, table: Table, row: int, column: str) -> None:
        super().__init__(message)
        self.table: Table = table
        self.row = row
        self.column = column


class _Zone(NamedTuple):
    """One stretch between two rows: what lies on top there, and whether it has a cab."""

    front: float
    back: float
    top: str
    has_cab: bool
    is_hollow: bool


def shapes() -> dict[str, Measured]:
    """Return the named starting shapes."""
    return {"two-box": _two_box(), "pick-up": _pick_up(), "open tub": _open_tub()}


def _two_box() -> Measured:
    return Measured(
        "two-box",
        (
            Station(650.0, 665.0, 555.0, 690.0, 955.0, 610.0, 1008.0),
            Station(520.0, 712.0, 500.0, 742.0, 982.0, 652.0, 1034.0),
            Station(-480.0, 735.0, 470.0, 768.0, 1040.0, 712.0, 1092.0),
            Station(-800.0, 735.0, 470.0, 770.0, 1045.0, 650.0, 1694.0),
            Station(-1900.0, 735.0, 470.0, 770.0, 1050.0, 652.0, 1706.0),
            Station(-2810.0, 730.0, 495.0, 762.0, 1055.0, 642.0, 1694.0),
            Station(-2930.0, 715.0, 530.0, 750.0, 1055.0, 690.0, 1098.0),
        ),
        (WheelArch(0.0, 395.0, 395.0), WheelArch(-2230.0, 395.0, 395.0)),
        (DoorOpening(-500.0, -1500.0),),
    )


def _pick_up() -> Measured:
    return Measured(
        "pick-up",
        (
            Station(700.0, 690.0, 560.0, 715.0, 965.0, 610.0, 1020.0),
            Station(570.0, 735.0, 510.0, 765.0, 995.0, 645.0, 1048.0),
            Station(-560.0, 760.0, 480.0, 795.0, 1055.0, 700.0, 1105.0),
            Station(-920.0, 760.0, 480.0, 797.0, 1060.0, 645.0, 1700.0),
            Station(-1600.0, 760.0, 480.0, 797.0, 1065.0, 645.0, 1715.0),
            Station(-1700.0, 760.0, 482.0, 797.0, 1065.0, 665.0, 1110.0),
            Station(-1730.0, 760.0, 482.0, 797.0, 1065.0, 720.0, 880.0),
            Station(-3270.0, 755.0, 540.0, 790.0, 1070.0, 718.0, 885.0),
            Station(-3300.0, 755.0, 542.0, 790.0, 1070.0, 700.0, 1075.0),
            Station(-3350.0, 752.0, 545.0, 787.0, 1070.0, 700.0, 1075.0),
        ),
        (WheelArch(0.0, 405.0, 405.0), WheelArch(-2560.0, 405.0, 405.0)),
        (DoorOpening(-580.0, -1560.0),),
    )


def _open_tub() -> Measured:
    return Measured(
        "open tub",
        (
            Station(560.0, 560.0, 560.0, 600.0, 880.0, 500.0, 940.0),
            Station(430.0, 640.0, 500.0, 680.0, 920.0, 560.0, 985.0),
            Station(-560.0, 690.0, 470.0, 730.0, 985.0, 620.0, 1035.0),
            Station(-600.0, 690.0, 470.0, 732.0, 985.0, 660.0, 600.0),
            Station(-680.0, 690.0, 470.0, 732.0, 800.0, 660.0, 565.0),
            Station(-1330.0, 690.0, 470.0, 735.0, 790.0, 660.0, 560.0),
            Station(-1450.0, 690.0, 475.0, 735.0, 985.0, 660.0, 580.0),
            Station(-1530.0, 690.0, 475.0, 735.0, 1000.0, 660.0, 850.0),
            Station(-2400.0, 685.0, 520.0, 730.0, 1000.0, 655.0, 860.0),
            Station(-2430.0, 685.0, 522.0, 728.0, 1000.0, 620.0, 1005.0),
            Station(-2580.0, 670.0, 540.0, 705.0, 995.0, 600.0, 1000.0),
        ),
        (WheelArch(0.0, 390.0, 390.0, 230.0), WheelArch(-2060.0, 390.0, 390.0, 230.0)),
    )


def build(measured: Measured) -> tuple[tuple[str, Mesh], ...]:
    """Make the panels, named; merged they are one closed skin. Refuse numbers that make no body."""
    verify(measured)
    zones = _zones(measured)
    grid = loft.left_half(measured, _break_lines(measured, zones))
    points, triangles, names = _half_skin(measured, zones, grid)
    points, triangles, labels = _both_sides(points, triangles, names)
    return tuple((name, _submesh(points, triangles[labels == name])) for name in _in_order(labels))


def add_to(layout: Layout, measured: Measured, name: str) -> tuple[Layout, int, tuple[int, ...]]:
    """Add the body and its panels; return the layout, the body's id and the panels' ids."""
    panels = build(measured)
    body = Body(layout.next_id, name, measured=measured)
    ids = tuple(range(body.id + 1, body.id + 1 + len(panels)))
    added = {
        id: Panel(id, panel_name, body.id, mesh, source=panel_name, colour=_colour(panel_name))
        for id, (panel_name, mesh) in zip(ids, panels, strict=True)
    }
    after = changed(
        layout,
        next_id=body.id + 1 + len(panels),
        bodies=layout.bodies | {body.id: body},
        panels=layout.panels | added,
    )
    return after, body.id, ids


def replace(layout: Layout, body_id: int, measured: Measured) -> Layout:
    """Make a measured body anew; panels that are still there keep their id, name and colour."""
    built = build(measured)
    old = {panel.source: panel for panel in layout.panels.values() if panel.body == body_id}
    panels = {id: panel for id, panel in layout.panels.items() if panel.body != body_id}
    next_id = layout.next_id
    for source, mesh in built:
        known = old.get(source)
        if known is None:
            panels[next_id] = Panel(next_id, source, body_id, mesh, source=source, colour=_colour(source))
            next_id += 1
        else:
            panels[known.id] = known if _same(known.mesh, mesh) else changed(known, mesh=mesh)
    body = changed(layout.bodies[body_id], measured=measured)
    return changed(
        layout,
        next_id=next_id,
        bodies=layout.bodies | {body_id: body},
        panels=dict(sorted(panels.items())),
    )


def _same(one: Mesh, other: Mesh) -> bool:
    return np.array_equal(one.vertices, other.vertices) and np.array_equal(one.triangles, other.triangles)


def _colour(name: str) -> str | None:
    if name == "grille":
        return GRILLE
    return GLASS if "glass" in name or name in ("windscreen", "rear window") else None


# What is refused -------------------------------------------------------------------------------


def verify(measured: Measured) -> None:
    """Refuse measurements that make no body, naming row and column."""
    stations = measured.stations
    if len(stations) < 2:
        raise GeometryError("A body needs two rows of measurements or more; add a row.")
    for row, station in enumerate(stations, 1):
        _verify_row(row, station)
    for row, (before, station) in enumerate(pairwise(stations), 2):
        if station.x > before.x - LEAST_STEP:
            raise _bad(row, "x", f"must lie behind row {row - 1}; rows run from the front to the back")
    for row in (1, len(stations)):
        end = stations[row - 1]
        if end.roof_height < end.waist_height:
            raise _bad(row, "roof_height", "may not be lower than the waist at the car's end; raise it")
        if end.waist_height - end.sill_height < 2.0 * loft.ROUND_END + LEAST_HEIGHT:
            raise _bad(
                row, "waist_height", "leaves too little height above the sill at the car's end; raise it"
            )
    if stations[0].x - stations[-1].x < 3.0 * loft.ROUND_END:
        raise _bad(len(stations), "x", "is too near the first row for a body; move it back")
    _verify_arches(measured)
    _verify_doors(measured)


def _verify_row(row: int, station: Station) -> None:
    for column in COLUMNS:
        value = getattr(station, column)
        if not np.isfinite(value) or abs(value) > FARTHEST:
            raise _bad(row, column, "is not a length a car can have; measure again")
    for column in ("sill_half_width", "waist_half_width", "roof_half_width"):
        if getattr(station, column) < LEAST_WIDTH:
            raise _bad(row, column, "is too small for a body; it counts from the centre plane outwards")
    if station.sill_height < 0.0:
        raise _bad(row, "sill_height", "lies below the ground; heights count from the ground up")
    if station.waist_height < station.sill_height + LEAST_HEIGHT:
        raise _bad(row, "waist_height", "must be well above the sill; raise it or lower the sill")
    if station.roof_height < station.sill_height + HOLLOW:
        raise _bad(row, "roof_height", "must be above the sill; raise it or lower the sill")
    if (
        station.roof_half_width > station.waist_half_width - 5.0
        and station.roof_height < station.waist_height
    ):
        raise _bad(row, "roof_half_width", "must be less than at the waist, to leave a rim round the hollow")


def _verify_arches(measured: Measured) -> None:
    stations = measured.stations
    spans: list[_Span] = []
    for row, arch in enumerate(measured.arches, 1):
        for column in ARCH_COLUMNS:
            if not abs(getattr(arch, column)) <= FARTHEST:
                raise _bad(row, column, "is not a length a car can have; measure again", "arches")
        if arch.radius < LEAST_ARCH:
            raise _bad(row, "radius", "is too small for a wheel; make it larger", "arches")
        if arch.depth < LEAST_DEPTH:
            raise _bad(row, "depth", "is too small to show; make it deeper", "arches")
        _verify_arch_fits(row, arch, stations)
        front, back = loft.arch_span(stations, arch)
        if front > stations[0].x - loft.ROUND_END or back < stations[-1].x + loft.ROUND_END:
            raise _bad(row, "x", "lets the arch run out of the body; move it or make it smaller", "arches")
        if any(front > other[1] - LEAST_STEP and back < other[0] + LEAST_STEP for other in spans):
            raise _bad(row, "x", "lets two arches overlap; move them apart", "arches")
        spans.append((front, back))


def _verify_arch_fits(row: int, arch: WheelArch, stations: tuple[Station, ...]) -> None:
    across = np.linspace(arch.x - arch.radius, arch.x + arch.radius, 33)
    profile = loft.profile_at(stations, across)
    over = arch.z + np.sqrt(np.maximum(arch.radius**2 - (across - arch.x) ** 2, 0.0))
    if np.all(over <= profile.sill_height + 1.0):
        raise _bad(row, "z", "leaves the arch wholly below the sill; raise it", "arches")
    if np.any(over > np.minimum(profile.waist_height, profile.roof_height) - LEAST_HEIGHT):
        raise _bad(
            row,
            "radius",
            "lets the arch cut through the waist or the floor above it; make it smaller or lower it",
            "arches",
        )


def _verify_doors(measured: Measured) -> None:
    first, last = measured.stations[0].x, measured.stations[-1].x
    for row, door in enumerate(measured.doors, 1):
        if not door.front < first - loft.ROUND_END:
            raise _bad(row, "front", "lies before the body begins; move it back", "doors")
        if not door.back > last + loft.ROUND_END:
            raise _bad(row, "back", "lies behind the body's end; move it forward", "doors")
        if door.back > door.front - LEAST_WIDTH:
            raise _bad(row, "back", "must lie well behind the front edge; move it back", "doors")
    for row, (before, door) in enumerate(pairwise(measured.doors), 2):
        if door.front > before.back - LEAST_STEP:
            raise _bad(row, "front", f"must lie behind door {row - 1}; move it back", "doors")


def _bad(row: int, column: str, what: str, table: Table = "stations") -> MeasurementError:
    name, columns = _LABELS[table]
    return MeasurementError(f"{name} {row}, {columns[column]}: {what}.", table, row - 1, column)


# What the parts are called -----------------------------------------------------------------------


def _zones(measured: Measured) -> list[_Zone]:
    zones: list[_Zone] = []
    levels = [_level(station) for station in measured.stations]
    behind_cab = behind_hollow = False
    for i, (here, there) in enumerate(pairwise(levels)):
        front, back = measured.stations[i].x, measured.stations[i + 1].x
        is_last = i == len(levels) - 2
        top = _top_name(here, there, behind_cab, behind_hollow, is_last)
        zones.append(_Zone(front, back, top, "cab" in (here, there), "hollow" in (here, there)))
        behind_cab |= here == "cab" or there == "cab"
        behind_hollow |= here == "hollow" or there == "hollow"
    return zones


def _level(station: Station) -> str:
    rise = station.roof_height - station.waist_height
    return "cab" if rise > CAB_RISE else "hollow" if rise < -HOLLOW else "deck"


def _top_name(here: str, there: str, behind_cab: bool, behind_hollow: bool, is_last: bool) -> str:
    if (here, there) == ("cab", "cab"):
        return "roof"
    if there == "cab":
        return "windscreen"
    if here == "cab":
        return "tailgate" if is_last else "cab back"
    if "hollow" in (here, there):
        return "bed" if behind_cab else "tub"
    return "rear deck" if behind_cab or behind_hollow else "bonnet"


def _break_lines(measured: Measured, zones: Sequence[_Zone]) -> list[float]:
    """Return the places along the car where a panel or a window ends."""
    lines = [edge for door in measured.doors for edge in (door.front, door.back)]
    for front, back in (*_door_windows(measured, zones), *_quarter_windows(measured, zones)):
        lines += [front, back]
    return lines


def _cab_span(zones: Sequence[_Zone]) -> _Span | None:
    cab = [zone for zone in zones if zone.has_cab]
    return (cab[0].front, cab[-1].back) if cab else None


def _door_windows(measured: Measured, zones: Sequence[_Zone]) -> tuple[_Span, ...]:
    cab = _cab_span(zones)
    if cab is None:
        return ()
    windows = [
        (min(door.front, cab[0]) - WINDOW_INSET, max(door.back, cab[1]) + WINDOW_INSET)
        for door in measured.doors
    ]
    return tuple(window for window in windows if window[0] - window[1] > 2.0 * WINDOW_INSET)


def _quarter_windows(measured: Measured, zones: Sequence[_Zone]) -> tuple[_Span, ...]:
    roofs = [zone for zone in zones if zone.top == "roof"]
    if not roofs or not measured.doors:
        return ()
    front, back = measured.doors[-1].back - QUARTER_INSET, roofs[-1].back + QUARTER_INSET
    return ((front, back),) if front - back > 2.0 * QUARTER_INSET else ()


def _sill_span(measured: Measured) -> _Span:
    """Return where the sill runs: between the first and the last wheel arch, or all along."""
    spans = sorted((loft.arch_span(measured.stations, arch) for arch in measured.arches), reverse=True)
    if len(spans) < 2:
        return (measured.stations[0].x, measured.stations[-1].x)
    return (spans[0][1], spans[-1][0])


def _wing_end(measured: Measured, zones: Sequence[_Zone]) -> float:
    if measured.doors:
        return measured.doors[0].front
    behind = [zone for zone in zones if zone.top != "bonnet"]
    return behind[0].front if behind else measured.stations[-1].x


def _within(x: float, spans: Iterable[_Span]) -> bool:
    return any(front > x > back for front, back in spans)


def _parts_along(measured: Measured, zones: Sequence[_Zone], grid: Grid) -> list[list[str]]:
    """Return the part of each cell, by cut and row; "*" marks one of a left and right pair."""
    doors = tuple((door.front, door.back) for door in measured.doors)
    door_windows, quarter_windows = _door_windows(measured, zones), _quarter_windows(measured, zones)
    sill, wing_end = _sill_span(measured), _wing_end(measured, zones)
    arches = sorted(measured.arches, key=lambda arch: -arch.x)
    parts: list[list[str]] = []
    for x, in_arch in zip(0.5 * (grid.x[:-1] + grid.x[1:]), grid.in_arch, strict=True):
        zone = next(zone for zone in zones if zone.front >= x >= zone.back)
        nearest = min(range(len(arches)), key=lambda i: abs(arches[i].x - x), default=0)
        side = "*door" if _within(x, doors) else "*front wing" if x > wing_end else "*rear quarter"
        glass = (
            "*door glass"
            if _within(x, door_windows)
            else "*quarter glass"
            if _within(x, quarter_windows)
            else side
        )
        arch = "floor" if not in_arch else "*front wheel arch" if nearest == 0 else "*rear wheel arch"
        top = zone.top
        window = "rear window" if top == "tailgate" and x < zone.front - REAR_WINDOW_INSET else top
        upper = f"*{top} side" if zone.is_hollow and not zone.has_cab else side
        rail = "*roof rail" if zone.has_cab else side
        foot = "*sill" if _within(x, (sill,)) and not in_arch else side
        cells = loft.CELLS
        parts.append(
            ["floor"] * cells[loft.FLOOR]
            + [arch] * (cells[loft.ARCH_WALL] + cells[loft.ARCH_TOP])
            + [foot] * (cells[loft.SILL] + 1)
            + [side] * (cells[loft.LOWER] - 1 + cells[loft.WAIST])
            + ([upper] + [glass if zone.has_cab else upper] * (cells[loft.UPPER] - 2))
            + [rail if zone.has_cab else upper]
            + [rail if zone.has_cab else upper] * cells[loft.RAIL]
            + [top]
            + [window] * (cells[loft.TOP] - 1)
        )
    return parts


# From the grid to meshes ---------------------------------------------------------------------------


def _half_skin(
    measured: Measured, zones: Sequence[_Zone], grid: Grid
) -> tuple[Floats, Ints, NDArray[np.str_]]:
    """Return points, triangles and part names of the left half; "*" marks one of a pair."""
    skin, cells = loft.cells_to_triangles(grid.points, 0)
    names = np.array(_parts_along(measured, zones, grid)).ravel()
    front, back = loft.cap(grid.points[0]), loft.cap(grid.points[-1])
    first = grid.points.shape[0] * grid.points.shape[1]
    front_triangles, front_cells = loft.cells_to_triangles(front, first)
    back_triangles, back_cells = loft.cells_to_triangles(back, first + front.shape[0] * front.shape[1])
    tail = "tailgate" if zones[-1].top in ("tailgate", "bed") or _ends_with_bed(zones) else "tail"
    points = np.concatenate((grid.points.reshape(-1, 3), front.reshape(-1, 3), back.reshape(-1, 3)))
    triangles = np.concatenate((skin, front_triangles, back_triangles[:, ::-1]))
    face = np.where(_is_grille(front) & (zones[0].top == "bonnet"), "grille", "front").ravel()
    labels = np.concatenate((names[cells], face[front_cells], np.full(len(back_cells), tail)))
    return points, triangles, labels


def _is_grille(front: Floats) -> NDArray[np.bool_]:
    """Tell which cells (across, up) of the front are the radiator's opening."""
    across, up = np.indices((front.shape[0] - 1, front.shape[1] - 1))
    first = loft.CELLS[loft.SILL] + 2
    is_high: NDArray[np.bool_] = (up >= first) & (up < first + loft.CELLS[loft.LOWER] - 3)
    is_grille: NDArray[np.bool_] = is_high & (across < loft.CELLS[loft.FLOOR])
    return is_grille


def _ends_with_bed(zones: Sequence[_Zone]) -> bool:
    return any(zone.top == "bed" for zone in zones)


def _both_sides(
    points: Floats, triangles: Ints, names: NDArray[np.str_]
) -> tuple[Floats, Ints, NDArray[np.str_]]:
    """Mirror the left half, merge equal points, drop triangles that have fallen together."""
    both = np.concatenate((points, points * (1.0, -1.0, 1.0)))
    snapped = np.round(both / LENGTH_NOISE) + 0.0  # + 0.0: no -0.0, or twins on the centre plane differ
    _, first, same = np.unique(snapped, axis=0, return_index=True, return_inverse=True)
    all_triangles = same.reshape(-1)[np.concatenate((triangles, triangles[:, ::-1] + len(points)))]
    sided = np.char.startswith(names, "*")
    bare = np.char.lstrip(names, "*")
    labels = np.concatenate(
        (
            np.where(sided, np.char.add("left ", bare), bare),
            np.where(sided, np.char.add("right ", bare), bare),
        )
    )
    a, b, c = all_triangles.T
    whole = (a != b) & (b != c) & (c != a)
    return both[first] + 0.0, all_triangles[whole], labels[whole]


def _in_order(labels: NDArray[np.str_]) -> list[str]:
    """Return the names as one walks round the car: middle parts first, then left, then right."""
    names = sorted(set(labels.tolist()))
    return sorted(names, key=lambda name: (name.startswith("right "), name.startswith("left ")))


def _submesh(points: Floats, triangles: Ints) -> Mesh:
    used, index = np.unique(triangles, return_inverse=True)
    vertices = np.ascontiguousarray(points[used], dtype=np.float64)
    faces = np.ascontiguousarray(index.reshape(-1, 3), dtype=np.int32)
    vertices.flags.writeable = faces.flags.writeable = False
    return Mesh(vertices, faces)
