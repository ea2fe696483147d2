"""Measurements that make no body are refused with row, column and what to do."""

import math

import pytest
from msgspec.structs import replace

from geometry.body import measured, measured_checks
from geometry.body.measured_checks import MeasurementError
from geometry.errors import GeometryError
from geometry.layout import DoorOpening, WheelArch

SHAPES = measured.shapes()


@pytest.mark.parametrize("shape", SHAPES)
def test_every_starting_shape_is_accepted(shape: str) -> None:
    measured_checks.verify(SHAPES[shape])


@pytest.mark.parametrize(
    ("row", "column", "value", "said"),
    [
        (1, "x", 900.0, "Row 2, along the car"),
        (2, "roof_half_width", 10.0, "Row 3, half width at the roof"),
        (3, "waist_height", 480.0, "Row 4, height of the waist"),
        (3, "waist_height", math.nan, "Row 4, height of the waist"),
        (0, "roof_height", 700.0, "Row 1, height of the roof"),
        (4, "sill_height", -5.0, "Row 5, height of the sill"),
        (4, "roof_height", 1e9, "Row 5, height of the roof"),
    ],
)
def test_a_bad_number_is_refused_naming_row_and_column(
    row: int, column: str, value: float, said: str
) -> None:
    stations = list(SHAPES["two-box"].stations)
    stations[row] = replace(stations[row], **{column: value})
    with pytest.raises(GeometryError, match=said):
        measured_checks.verify(replace(SHAPES["two-box"], stations=tuple(stations)))


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"arches": (WheelArch(0.0, 700.0, 395.0),)}, "Wheel arch 1, radius"),
        ({"arches": (WheelArch(500.0, 395.0, 395.0),)}, "Wheel arch 1, along the car"),
        ({"arches": (WheelArch(0.0, 395.0, 395.0), WheelArch(-300.0, 395.0, 395.0))}, "Wheel arch 2"),
        ({"arches": (WheelArch(0.0, 50.0, 200.0),)}, "Wheel arch 1, height of the centre"),
        ({"doors": (DoorOpening(-900.0, -800.0),)}, "Door 1, back edge"),
        ({"doors": (DoorOpening(900.0, -800.0),)}, "Door 1, front edge"),
        ({"doors": (DoorOpening(-500.0, math.nan),)}, "Door 1, back edge"),
        ({"arches": (WheelArch(0.0, math.inf, 395.0),)}, "Wheel arch 1, height of the centre"),
        ({"stations": SHAPES["two-box"].stations[:1]}, "two rows"),
    ],
)
def test_bad_arches_and_doors_are_refused_with_a_sentence(change: dict[str, object], said: str) -> None:
    with pytest.raises(GeometryError, match=said) as refused:
        measured_checks.verify(replace(SHAPES["two-box"], **change))
    assert refused.value.message.endswith(".")


def test_a_refusal_tells_which_cell_it_is_about() -> None:
    doors = (DoorOpening(-500.0, -1500.0), DoorOpening(-1400.0, -2000.0))
    with pytest.raises(MeasurementError) as refused:
        measured_checks.verify(replace(SHAPES["two-box"], doors=doors))
    assert (refused.value.table, refused.value.row, refused.value.column) == ("doors", 1, "front")
