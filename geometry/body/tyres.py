"""Tyres by their size code or as measured, and axles with the wheels they carry. Millimetres, radians."""

import math
import re
from typing import Literal

from msgspec import Struct

from geometry.errors import GeometryError
from geometry.layout import Axle, Tyre
from geometry.vectors import Vec3

MM_PER_INCH = 25.4
SHOULDER_PART = 0.12  # of the width: a shoulder that a tape finds round on most off-road treads
# What speed and load add to a tyre; common practice, no source.
GROWTH_ACROSS, GROWTH_IN_WIDTH = 0.02, 0.03
EXAMPLES = "Write it as on the sidewall, for example 33x12.50R15 or 285/75R16."
# What a road or off-road tyre can be; a number outside is a slip or belongs in another place.
DIAMETERS, FLOTATION_WIDTHS, RIMS = (15.0, 60.0), (3.5, 26.0), (8.0, 30.0)  # inches
METRIC_WIDTHS, ASPECTS = (105.0, 505.0), (20.0, 105.0)  # mm, per cent
# What an axle can be; beyond, a unit slipped, and the space swept through would take hours to work out.
LARGEST_TYRE, WIDEST_TYRE, WIDEST_TRACK, LONGEST_TRAVEL = 2500.0, 1000.0, 4000.0, 1000.0  # mm
FARTHEST_AXLE, HIGHEST_HUB, FARTHEST_ROLL_CENTRE = 20000.0, 5000.0, 2000.0  # mm; the last from the hubs
LARGEST_ROLL, LARGEST_STEER, LARGEST_CAMBER = math.radians(30), math.radians(60), math.radians(15)

Side = Literal["left", "right"]

_NUMBER = r"(\d+(?:\.\d+)?)"
_RIM = rf"\s*(?:ZR|[RDB-])\s*{_NUMBER}"
# Marks that say nothing of the size: load range, plies, reinforcement, load index with speed symbol.
_MARK = r"(?:LT|ST|XL|RF|C|[A-N]|\d{1,2}PR|\d{2,3}(?:/\d{2,3})?[A-Z]\d?|M\+S)"
_MARKS = rf"(?:\s*\(?{_MARK}\)?)*\s*"
_FLOTATION = re.compile(rf"(?:LT\s*)?{_NUMBER}\s*X\s*{_NUMBER}{_RIM}{_MARKS}")
_METRIC = re.compile(rf"(?:(?:P|LT|ST|T|C)\s*)?{_NUMBER}\s*/\s*{_NUMBER}{_RIM}{_MARKS}")


class Wheel(Struct, frozen=True):
    """One tyre and the ranges it moves in; every combination of travel, roll and steering counts."""

    tyre: Tyre
    centre: Vec3
    kingpin_y: float  # of the upright line through the axle that it steers about
    bump: float
    droop: float
    roll: float  # to either side about the x direction; positive lifts the left side
    roll_centre: float  # z
    steer_left: float  # about z, positive to the left
    steer_right: float
    lean: float  # fixed turn about the x direction, from camber


def parsed(code: str) -> Tyre:
    """Return the tyre that a size code names, or say what is wrong with the code."""
    text = code.strip().upper().replace("×", "X").replace("*", "X").replace(",", ".")
    if not text:
        raise GeometryError(f"The tyre size is empty. {EXAMPLES}")
    if match := _FLOTATION.fullmatch(text):
        return _flotation(code.strip(), *map(float, match.groups()))
    if match := _METRIC.fullmatch(text):
        return _metric(code.strip(), *map(float, match.groups()))
    raise GeometryError(f"“{code.strip()}” is no tyre size{_what_is_missing(text)}. {EXAMPLES}")


def measured(od: float, width: float, shoulder: float | None = None) -> Tyre:
    """Return a tyre from a tape: outside diameter and width over the sidewalls."""
    tyre = Tyre(od=od, width=width, shoulder=usual_shoulder(width) if shoulder is None else shoulder)
    _check_tyre(tyre, "The tyre")
    return tyre


def usual_shoulder(width: float) -> float:
    return SHOULDER_PART * width


def growth(tyre: Tyre) -> tuple[float, float]:
    """Return by how much speed and load may lift the tread, and each sidewall."""
    return GROWTH_ACROSS * tyre.od / 2.0, GROWTH_IN_WIDTH * tyre.width / 2.0


def wheel(axle: Axle, side: Side) -> Wheel:
    """Return one wheel of an axle, or say what cannot be about the axle."""
    check(axle)
    out = 1.0 if side == "left" else -1.0
    middle = axle.track / 2.0 - axle.offset
    is_solid = axle.suspension == "solid"
    return Wheel(
        tyre=axle.tyre,
        centre=(axle.x, out * middle, axle.height),
        kingpin_y=out * (middle - axle.kingpin),
        bump=axle.bump,
        droop=axle.droop,
        roll=axle.roll if is_solid else 0.0,
        roll_centre=axle.height if axle.roll_centre is None else axle.roll_centre,
        steer_left=axle.steer_inner if side == "left" else axle.steer_outer,
        steer_right=axle.steer_outer if side == "left" else axle.steer_inner,
        lean=-out * axle.camber,
    )


def wheels(axle: Axle) -> tuple[Wheel, Wheel]:
    """Return the left and the right wheel."""
    return wheel(axle, "left"), wheel(axle, "right")


def roll_of(track: float, difference: float) -> float:
    """Return the roll of a solid axle whose wheels stand at heights that differ by so much."""
    if not abs(difference) < track:
        raise GeometryError(
            f"A height difference of {difference:g} mm is more than a track of {track:g} mm allows. "
            "Give a smaller difference between the left and the right wheel."
        )
    return math.asin(difference / track)


def check(axle: Axle) -> None:
    """Say the first thing about an axle that cannot be."""
    where = f"The axle “{axle.name}”"
    _check_numbers(axle, where)
    _check_tyre(axle.tyre, f"The tyre of the axle “{axle.name}”")
    if axle.bump + axle.droop <= 0.0:
        raise GeometryError(
            f"{where} has no travel: bump and droop are both 0 mm. Give how far its wheels "
            "move up or down from ride height.",
            [axle.id],
        )
    if axle.track / 2.0 - axle.offset < axle.tyre.width / 2.0:
        raise GeometryError(
            f"{where} has a track of {axle.track:g} mm and a wheel offset of {axle.offset:g} mm, which "
            f"puts the two tyres of {axle.tyre.width:g} mm into each other. Check track and offset.",
            [axle.id],
        )


def _check_numbers(axle: Axle, where: str) -> None:
    if not all(math.isfinite(value) for value in _numbers(axle)):
        raise GeometryError(f"{where} has a number that is not finite. Type it again.", [axle.id])
    for words, value in (("bump", axle.bump), ("droop", axle.droop)):
        if not 0.0 <= value <= LONGEST_TRAVEL:
            raise GeometryError(
                f"{where} has a {words} of {value:g} mm. "
                f"Give it as 0 mm or more, from ride height, and up to {LONGEST_TRAVEL:g} mm.",
                [axle.id],
            )
    if axle.track > WIDEST_TRACK:
        raise GeometryError(
            f"{where} has a track of {axle.track:g} mm. Give one of up to {WIDEST_TRACK:g} mm.", [axle.id]
        )
    if abs(axle.height) > HIGHEST_HUB or abs(axle.x) > FARTHEST_AXLE:
        raise GeometryError(
            f"{where} stands at x {axle.x:g} mm with its hubs {axle.height:g} mm up. "
            "Give a place within 20 m of the front axle and hubs above the ground.",
            [axle.id],
        )
    if axle.roll_centre is not None and abs(axle.roll_centre - axle.height) > FARTHEST_ROLL_CENTRE:
        raise GeometryError(
            f"{where} rolls about a line at a height of {axle.roll_centre:g} mm. "
            f"Give one within {FARTHEST_ROLL_CENTRE:g} mm of the hubs, or none.",
            [axle.id],
        )
    angles = (
        ("roll", axle.roll, 0.0, LARGEST_ROLL),
        ("steering angle of the inner wheel", axle.steer_inner, 0.0, LARGEST_STEER),
        ("steering angle of the outer wheel", axle.steer_outer, 0.0, LARGEST_STEER),
        ("camber", axle.camber, -LARGEST_CAMBER, LARGEST_CAMBER),
    )
    for words, value, least, most in angles:
        if not least <= value <= most:
            raise GeometryError(
                f"{where} has a {words} of {math.degrees(value):.4g}°. "
                f"Give an angle from {math.degrees(least):g}° to {math.degrees(most):g}°.",
                [axle.id],
            )
    if abs(axle.kingpin) > axle.track / 2.0:
        raise GeometryError(
            f"{where} steers about a line {axle.kingpin:g} mm from the tyre's centre, which is more than "
            "half the track. Give the distance from the tyre's centre in to the kingpin.",
            [axle.id],
        )


def _numbers(axle: Axle) -> tuple[float, ...]:
    roll_centre = axle.height if axle.roll_centre is None else axle.roll_centre
    motion = (axle.bump, axle.droop, axle.roll, roll_centre, axle.steer_inner, axle.steer_outer)
    return (axle.x, axle.height, axle.track, axle.offset, axle.kingpin, axle.camber, *motion)


def _check_tyre(tyre: Tyre, where: str) -> None:
    if not (math.isfinite(tyre.od) and math.isfinite(tyre.width) and tyre.od > 0.0 and tyre.width > 0.0):
        raise GeometryError(
            f"{where} measures {tyre.od:g} mm across and {tyre.width:g} mm in width. "
            "Give both as lengths above 0 mm."
        )
    if tyre.od > LARGEST_TYRE or tyre.width > WIDEST_TYRE:
        raise GeometryError(
            f"{where} measures {tyre.od:g} mm across and {tyre.width:g} mm in width. "
            f"Give up to {LARGEST_TYRE:g} mm across and {WIDEST_TYRE:g} mm in width."
        )
    if not 0.0 <= tyre.shoulder <= min(tyre.width, tyre.od) / 2.0:
        raise GeometryError(
            f"{where} has a shoulder radius of {tyre.shoulder:g} mm. "
            f"Give one from 0 mm to half the width, {tyre.width / 2.0:g} mm."
        )


def _flotation(code: str, diameter: float, width: float, rim: float) -> Tyre:
    _within(code, "an outside diameter", diameter, DIAMETERS, "in")
    _within(code, "a width", width, FLOTATION_WIDTHS, "in")
    _within(code, "a rim", rim, RIMS, "in")
    if diameter <= rim:
        raise GeometryError(
            f"“{code}” names a tyre of {diameter:g} in on a rim of {rim:g} in, which leaves no sidewall. "
            f"The outside diameter comes first, the rim last. {EXAMPLES}"
        )
    width_mm = width * MM_PER_INCH
    return Tyre(diameter * MM_PER_INCH, width_mm, usual_shoulder(width_mm), rim * MM_PER_INCH, code)


def _metric(code: str, width: float, aspect: float, rim: float) -> Tyre:
    _within(code, "a width", width, METRIC_WIDTHS, "mm")
    _within(code, "a sidewall", aspect, ASPECTS, "% of the width")
    _within(code, "a rim", rim, RIMS, "in")
    od = rim * MM_PER_INCH + 2.0 * width * aspect / 100.0
    return Tyre(od, width, usual_shoulder(width), rim * MM_PER_INCH, code)


def _within(code: str, words: str, value: float, limits: tuple[float, float], unit: str) -> None:
    least, most = limits
    if not least <= value <= most:
        raise GeometryError(
            f"“{code}” names {words} of {value:g} {unit}; tyres have {least:g} to {most:g} {unit}. {EXAMPLES}"
        )


def _what_is_missing(text: str) -> str:
    """Return what the code lacks, as the end of a sentence."""
    size = rf"(?:[A-Z]+\s*)?{_NUMBER}\s*[X/]\s*{_NUMBER}"
    if re.fullmatch(rf"{size}{_RIM}.+", text):
        return ": what follows the rim diameter is not known"
    if re.fullmatch(size, text):
        return ": the rim diameter at the end is missing"
    if not re.search(r"[X/]", text):
        return ": it needs the width as well, behind an x (inches) or before a / (millimetres)"
    return ""
