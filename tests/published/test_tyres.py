"""Tyre sizes, steering and articulation against published conversions and closed forms."""

import math

import numpy as np
import pytest

from geometry.body import envelope, tyres
from geometry.body.tyres import Wheel
from geometry.layout import Axle, Tyre

# Metric: outside diameter = 25.4 D + 2 W A / 100 [read: suncityhamradio.org tire-aspect-ratio-formula page;
# engineerfix.com/are-295-tires-the-same-as-35-inch-tires]; the rows are [derived] from it:
# sidewall mm, OD mm, OD in, circumference mm, turns a km.
METRIC = {
    "315/75R16": (236.25, 878.9, 34.602362, 2761.1458, 362.16849),
    "285/75R16": (213.75, 833.9, 32.830709, 2619.7741, 381.71230),
    "265/75R16": (198.75, 803.9, 31.649606, 2525.5263, 395.95707),
    "245/75R16": (183.75, 773.9, 30.468504, 2431.2786, 411.30622),
    "235/85R16": (199.75, 805.9, 31.728346, 2531.8095, 394.97442),
    "255/85R16": (216.75, 839.9, 33.066929, 2638.6237, 378.98546),
    "315/70R17": (220.50, 872.8, 34.362205, 2741.9821, 364.69969),
    "285/70R17": (199.50, 830.8, 32.708661, 2610.0352, 383.13660),
    "295/70R17": (206.50, 844.8, 33.259843, 2654.0175, 376.78727),
    "215/65R15": (139.75, 660.5, 26.003937, 2075.0219, 481.92261),
}
# Flotation: outside diameter, section width, rim, all inches [read:
# engineerfix.com/what-tire-size-is-the-same-as-35x12-50r17]; rows [derived]:
# OD, width, sidewall mm, aspect %.
FLOTATION = {
    "31x10.50R15": (787.4, 266.70, 203.20, 76.190476),
    "33x12.50R15": (838.2, 317.50, 228.60, 72.000000),
    "35x12.50R15": (889.0, 317.50, 254.00, 80.000000),
    "37x12.50R17": (939.8, 317.50, 254.00, 80.000000),
    "40x13.50R17": (1016.0, 342.90, 292.10, 85.185185),
}
# Ways of writing [read: an owner's-manual tyre table].
WRITTEN = {
    "P215/65R15XL 95H": (660.5, 215.0, 381.0),
    "LT235/85R16C": (805.9, 235.0, 406.4),
    "T145/80D18 103M": (689.2, 145.0, 457.2),
    "31x10.5 R15 LT": (787.4, 266.7, 381.0),
    "31x10.5R15LT": (787.4, 266.7, 381.0),
    "31 x 10.5 D 15 LT": (787.4, 266.7, 381.0),
}
# A tyre of 35x12.50 as a box in plan, pivot at the wheel centre [derived]: degrees -> along, across mm.
STEERED = {
    0: (444.50000, 158.75000),
    10: (465.31369, 233.52485),
    20: (471.98907, 301.20416),
    30: (464.32329, 359.73153),
    35: (455.16834, 384.99511),
    40: (442.54929, 407.32865),
}
# A beam axle, tyre centres 1600 mm apart, its middle held, tyres of 889 mm [derived]:
# height difference mm -> tilt degrees, wheel centre in mm, top of the tyre in mm.
TILTED = {
    100: (3.583322, 1.564029, 27.781250),
    200: (7.180756, 6.274607, 55.562500),
    300: (10.806923, 14.188318, 83.343750),
}
BOX = Tyre(od=889.0, width=317.5, shoulder=0.0)


@pytest.mark.parametrize(("code", "row"), METRIC.items(), ids=METRIC.keys())
def test_metric_sizes_convert_as_published(code: str, row: tuple[float, ...]) -> None:
    tyre = tyres.parsed(code)
    circumference = math.pi * tyre.od
    got = (tyre.sidewall, tyre.od, tyre.od / 25.4, circumference, 1e6 / circumference)
    assert got == pytest.approx(row, rel=3e-8)


@pytest.mark.parametrize(("code", "row"), FLOTATION.items(), ids=FLOTATION.keys())
def test_flotation_sizes_convert_as_published(code: str, row: tuple[float, ...]) -> None:
    tyre = tyres.parsed(code)
    assert tyre.sidewall is not None
    got = (tyre.od, tyre.width, tyre.sidewall, 100.0 * tyre.sidewall / tyre.width)
    assert got == pytest.approx(row, rel=3e-8)


@pytest.mark.parametrize(("code", "row"), WRITTEN.items(), ids=WRITTEN.keys())
def test_sizes_are_read_however_they_are_written(code: str, row: tuple[float, ...]) -> None:
    tyre = tyres.parsed(code)
    assert (tyre.od, tyre.width, tyre.rim) == pytest.approx(row)


def test_a_metric_width_is_converted_once_at_the_end() -> None:
    # Seen on an owners' forum: 315 mm taken as 12.86 in (true 12.402) gives 35.2 in; exact is 34.602.
    tyre = tyres.parsed("315/75R16")
    assert (tyre.width / 25.4, tyre.od / 25.4) == pytest.approx((12.402, 34.602), abs=5e-4)


@pytest.mark.parametrize(("degrees", "extents"), STEERED.items())
def test_a_steered_box_reaches_as_far_as_published(degrees: int, extents: tuple[float, float]) -> None:
    angle = math.radians(degrees)
    corners = np.array([[x, y, 0.0] for x in (-444.5, 444.5) for y in (-158.75, 158.75)])
    reached = envelope.placed(steering(angle, angle), corners, np.array([0.0, 0.0, angle])).max(axis=0)
    assert reached[:2] == pytest.approx(extents, abs=1e-5)


@pytest.mark.parametrize(("degrees", "extents"), STEERED.items())
def test_the_steered_tyre_touches_its_published_extents(degrees: int, extents: tuple[float, float]) -> None:
    angle = math.radians(degrees)
    along, across = extents
    y, x = np.linspace(-500, 500, 20001), np.linspace(-500, 500, 20001)
    front = np.column_stack([np.full_like(y, along), y, np.zeros_like(y)])
    beside = np.column_stack([x, np.full_like(x, across), np.zeros_like(x)])
    for plane in (front, beside):
        gaps = envelope.gaps_at(steering(angle, angle), plane, np.array([0.0, 0.0, angle]))
        assert gaps.min() == pytest.approx(0.0, abs=0.03)


def test_the_farthest_reach_lies_between_the_ends_of_the_steering() -> None:
    # Corner radius 471.997683 mm; greatest along at 19.653824 degrees [derived].
    wheel, ends = steering(math.radians(35), math.radians(35)), np.radians([-35.0, 35.0])
    front = np.array([[471.997683, 0.0, 0.0]])
    best = np.array([0.0, 0.0, math.radians(19.653824)])
    assert envelope.gaps_at(wheel, front, best)[0] == pytest.approx(0.0, abs=1e-6)
    assert envelope.gaps(wheel, front)[0] == pytest.approx(0.0, abs=0.5)
    assert all(envelope.gaps_at(wheel, front, np.array([0.0, 0.0, end]))[0] > 10.0 for end in ends)


@pytest.mark.parametrize(("y", "radius"), [(158.75, 495.410751), (-158.75, 455.337032)])
def test_a_kingpin_60_mm_inboard_swings_the_corners_as_published(y: float, radius: float) -> None:
    # Outer corner sweeps 495.410751, inner corner 455.337032 [derived].
    wheel = steering(math.radians(35), math.radians(35), kingpin=60.0)
    for angle in np.radians([-35, -10, 0, 20, 35]):
        corner = envelope.placed(wheel, np.array([[444.5, y, 0.0]]), np.array([0.0, 0.0, angle]))[0]
        assert math.hypot(corner[0], corner[1] + 60.0) == pytest.approx(radius, abs=1e-6)


@pytest.mark.parametrize("z", [0.0, 150.0, 300.0, 444.0])
def test_above_the_hub_the_tread_stands_back_by_its_chord(z: float) -> None:
    # True clearance from a tyre at height z above the hub uses the chord sqrt(R^2 - z^2) [derived].
    edge = np.array([[math.sqrt(444.5**2 - z * z), 0.0, z]])
    assert envelope.gaps_at(steering(0.0, 0.0), edge, np.zeros(3)) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(("difference", "row"), TILTED.items())
def test_a_tilted_beam_axle_moves_its_tyres_as_published(
    difference: float, row: tuple[float, float, float]
) -> None:
    tilt = tyres.roll_of(1600.0, difference)
    axle = Axle(1, "Rear", 0.0, 0.0, 1600.0, BOX, bump=difference / 2, droop=difference / 2, roll=tilt)
    wheel = tyres.wheel(axle, "left")
    points = np.array([wheel.centre, (0.0, 800.0, 444.5)])
    centre, top = envelope.placed(wheel, points, np.array([0.0, tilt, 0.0]))
    assert (math.degrees(tilt), 800.0 - centre[1], centre[1] - top[1]) == pytest.approx(row, abs=1e-6)
    assert 2.0 * centre[2] == pytest.approx(difference)


def steering(left: float, right: float, kingpin: float = 0.0) -> Wheel:
    """A wheel at the origin that only steers."""
    return Wheel(BOX, (0.0, 0.0, 0.0), -kingpin, 0.0, 0.0, 0.0, 0.0, left, right, 0.0)
