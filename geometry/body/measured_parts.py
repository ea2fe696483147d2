"""What the parts of a measured body are called, and where along the car each begins and ends."""

from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import NamedTuple

from geometry.body import loft
from geometry.body.loft import Grid
from geometry.body.measured_checks import HOLLOW
from geometry.layout import Measured, Station

CAB_RISE = 250.0  # mm that a roof stands above the waist, where there is a cab
WINDOW_INSET = 60.0  # mm from a door's edge to its glass
QUARTER_INSET = 90.0  # mm from the cab's edges to a fixed side window
REAR_WINDOW_INSET = 25.0  # mm of the roof's turn down that stays metal above the rear window

_Span = tuple[float, float]  # front, back


class Zone(NamedTuple):
    """One stretch between two rows: what lies on top there, and whether it has a cab."""

    front: float
    back: float
    top: str
    has_cab: bool
    is_hollow: bool


def zones_of(measured: Measured) -> list[Zone]:
    zones: list[Zone] = []
    levels = [_level(station) for station in measured.stations]
    behind_cab = behind_hollow = False
    for i, (here, there) in enumerate(pairwise(levels)):
        front, back = measured.stations[i].x, measured.stations[i + 1].x
        is_last = i == len(levels) - 2
        top = _top_name(here, there, behind_cab, behind_hollow, is_last)
        zones.append(Zone(front, back, top, "cab" in (here, there), "hollow" in (here, there)))
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


def break_lines(measured: Measured, zones: Sequence[Zone]) -> list[float]:
    """Return the places along the car where a panel or a window ends."""
    lines = [edge for door in measured.doors for edge in (door.front, door.back)]
    for front, back in (*_door_windows(measured, zones), *_quarter_windows(measured, zones)):
        lines += [front, back]
    return lines


def _cab_span(zones: Sequence[Zone]) -> _Span | None:
    cab = [zone for zone in zones if zone.has_cab]
    return (cab[0].front, cab[-1].back) if cab else None


def _door_windows(measured: Measured, zones: Sequence[Zone]) -> tuple[_Span, ...]:
    cab = _cab_span(zones)
    if cab is None:
        return ()
    windows = [
        (min(door.front, cab[0]) - WINDOW_INSET, max(door.back, cab[1]) + WINDOW_INSET)
        for door in measured.doors
    ]
    return tuple(window for window in windows if window[0] - window[1] > 2.0 * WINDOW_INSET)


def _quarter_windows(measured: Measured, zones: Sequence[Zone]) -> tuple[_Span, ...]:
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


def _wing_end(measured: Measured, zones: Sequence[Zone]) -> float:
    if measured.doors:
        return measured.doors[0].front
    behind = [zone for zone in zones if zone.top != "bonnet"]
    return behind[0].front if behind else measured.stations[-1].x


def _within(x: float, spans: Iterable[_Span]) -> bool:
    return any(front > x > back for front, back in spans)


def parts_along(measured: Measured, zones: Sequence[Zone], grid: Grid) -> list[list[str]]:
    """Return the part of each cell, by cut and row; "*" marks one of a left and right pair."""
    doors = tuple((door.front, door.back) for door in measured.doors)
    door_windows, quarter_windows = _door_windows(measured, zones), _quarter_windows(measured, zones)
    sill, wing_end = _sill_span(measured), _wing_end(measured, zones)
    middle = 0.5 * (measured.stations[0].x + measured.stations[-1].x)
    parts: list[list[str]] = []
    for x, in_arch in zip(0.5 * (grid.x[:-1] + grid.x[1:]), grid.in_arch, strict=True):
        zone = next(zone for zone in zones if zone.front >= x >= zone.back)
        side = "*door" if _within(x, doors) else "*front wing" if x > wing_end else "*rear quarter"
        glass = (
            "*door glass"
            if _within(x, door_windows)
            else "*quarter glass"
            if _within(x, quarter_windows)
            else side
        )
        arch = "floor" if not in_arch else "*front wheel arch" if x > middle else "*rear wheel arch"
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
