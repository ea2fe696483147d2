"""Whether tape measurements can make a body; what can't is refused naming its row and column."""

from itertools import pairwise
from typing import Literal

import numpy as np

from geometry.body import loft
from geometry.errors import GeometryError
from geometry.layout import Measured, Station, WheelArch

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

LEAST_STEP = 5.0  # mm from one row of measurements to the next
LEAST_HEIGHT = 50.0  # mm from sill to waist, and from a hollow's bottom up to the waist's level
LEAST_WIDTH = 100.0  # mm; also of a door
LEAST_ARCH, LEAST_DEPTH = 50.0, 20.0  # mm
FARTHEST = 20_000.0  # mm; no car has a measure beyond it, so it is a slip of the pen
HOLLOW = 50.0  # mm below the waist, where there is an open tub or bed


class MeasurementError(GeometryError):
    """A measurement that makes no body: which table, which row (from 0), which column."""

    def __init__(self, message: str, table: Table, row: int, column: str) -> None:
        super().__init__(message)
        self.table: Table = table
        self.row = row
        self.column = column


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
    spans: list[tuple[float, float]] = []
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
