"""Millimetres, radians and kilograms to and from the text that people read and type.

Every rounding is half away from zero, once, from the full value. Imports no Qt.
"""

import math
import re
from typing import Literal

from msgspec import Struct

from geometry.layout import MM_PER_UNIT

MM_PER_INCH = 25.4
KG_PER_POUND = 0.45359237

LengthStyle = Literal["mm", "in", "in-fraction"]
Fraction = Literal[8, 16, 32]

# Float noise of a few operations on lengths of some metres: a tie that misses by less is still a tie.
TIE_NOISE = 1e-9
LONGEST_TEXT = 80  # nobody types a longer length; keeps hostile text cheap
NOT_A_NUMBER = "—"


class Units(Struct, frozen=True):
    """How lengths are read and written: mm, decimal inches, or inches in fractions."""

    length: LengthStyle = "mm"
    fraction: Fraction = 16


MILLIMETRES = Units()
INCHES = Units("in")
INCH_FRACTIONS = Units("in-fraction")


def nearest_step(value: float, step: float) -> int:
    """Return how many steps make the value, half away from zero."""
    count = math.floor(abs(value) / step + 0.5 + TIE_NOISE)
    return -count if value < 0 else count


def decimal(value: float, places: int) -> str:
    """Write a number with a fixed number of places; never "-0.0"."""
    if not math.isfinite(value):
        return NOT_A_NUMBER
    count = nearest_step(value * 10**places, 1.0)
    whole, rest = divmod(abs(count), 10**places)
    sign = "-" if count < 0 else ""
    return f"{sign}{whole}.{rest:0{places}d}" if places else f"{sign}{whole}"


def trimmed_decimal(value: float, places: int) -> str:
    """Write a number with at most this many places: 38.1, 50, 2.41."""
    text = decimal(value, places)
    return text.rstrip("0").rstrip(".") if "." in text else text


def inch_fraction(inches: float, denominator: int) -> str:
    """Write inches as a whole number and a reduced fraction: 1 1/2, 3/8, -2."""
    if not math.isfinite(inches):
        return NOT_A_NUMBER
    count = nearest_step(inches * denominator, 1.0)
    whole, part = divmod(abs(count), denominator)
    shared = math.gcd(part, denominator)
    fraction = f"{part // shared}/{denominator // shared}" if part else ""
    words = [str(whole)] if whole or not part else []
    text = " ".join([*words, fraction] if fraction else words)
    return f"-{text}" if count < 0 else text


def length_unit(units: Units) -> str:
    """Return the name of the unit: mm or in."""
    return "mm" if units.length == "mm" else "in"


def mass_unit(units: Units) -> str:
    """Return the name of the unit: kg or lb."""
    return "kg" if units.length == "mm" else "lb"


def length_step(units: Units) -> float:
    """Return the smallest step that format_length shows, in mm."""
    match units.length:
        case "mm":
            return 0.1
        case "in":
            return 0.001 * MM_PER_INCH
        case "in-fraction":
            return MM_PER_INCH / units.fraction


def format_length(mm: float, units: Units, *, unit: bool = True) -> str:
    """Write a length: 600.0 mm, 23.622 in, 23 5/8 in."""
    match units.length:
        case "mm":
            text = decimal(mm, 1)
        case "in":
            text = decimal(mm / MM_PER_INCH, 3)
        case "in-fraction":
            text = inch_fraction(mm / MM_PER_INCH, units.fraction)
    return _with_unit(text, length_unit(units), unit)


def mark_step(units: Units) -> float:
    """Return what marks on a tube are set to, in mm: 1 mm, 1/16 in, or 1/32 in where that is chosen."""
    return 1.0 if units.length == "mm" else MM_PER_INCH / _mark_fraction(units)


def format_mark(mm: float, units: Units, *, unit: bool = True) -> str:
    """Write a length to the step of marks: 600 mm, 23.625 in, 23 5/8 in."""
    match units.length:
        case "mm":
            text = decimal(mm, 0)
        case "in":
            text = decimal(nearest_step(mm, mark_step(units)) / _mark_fraction(units), 3)
        case "in-fraction":
            text = inch_fraction(mm / MM_PER_INCH, _mark_fraction(units))
    return _with_unit(text, length_unit(units), unit)


def other_mark(mm: float, units: Units) -> str:
    """Write a mark in inches the other way, for a tape of the other kind; nothing for mm."""
    match units.length:
        case "mm":
            return ""
        case "in":
            return inch_fraction(mm / MM_PER_INCH, _mark_fraction(units))
        case "in-fraction":
            return decimal(nearest_step(mm, mark_step(units)) / _mark_fraction(units), 3)


def mark_step_text(units: Units) -> str:
    """Write the step of marks: 1 mm, 1/16 in."""
    return "1 mm" if units.length == "mm" else f"1/{_mark_fraction(units)} in"


def _mark_fraction(units: Units) -> int:
    return 32 if units.length == "in-fraction" and units.fraction == 32 else 16


def format_size(mm: float, units: Units, *, unit: bool = True) -> str:
    """Write a size as bought, such as a wall or a die's CLR: 2.41 mm, 0.095 in. Never a fraction."""
    text = trimmed_decimal(mm, 2) if units.length == "mm" else trimmed_decimal(mm / MM_PER_INCH, 3)
    return _with_unit(text, length_unit(units), unit)


def format_section(od: float, wall: float, units: Units) -> str:
    """Write a tube's section: 38.1 × 2.41 mm, 1.75 × 0.120 in."""
    if units.length == "mm":
        return f"{format_size(od, units, unit=False)} × {format_size(wall, units)}"
    return f"{format_size(od, units, unit=False)} × {decimal(wall / MM_PER_INCH, 3)} in"


def format_angle(radians: float, *, unit: bool = True) -> str:
    """Write an angle in degrees: 45.0°."""
    text = decimal(math.degrees(radians), 1)
    return f"{text}°" if unit and text != NOT_A_NUMBER else text


def format_step_angle(radians: float, step: float) -> str:
    """Write an angle to a step of the dial, with as many places as the step has: 45.5°, 22.25°."""
    degrees = math.degrees(step)
    places = next((n for n in range(1, 4) if abs(round(degrees, n) - degrees) < TIE_NOISE), 3)
    return f"{decimal(nearest_step(radians, step) * degrees, places)}°"


def format_mass(kg: float, units: Units, *, unit: bool = True) -> str:
    """Write a mass: 3.42 kg, 7.54 lb."""
    text = decimal(kg if units.length == "mm" else kg / KG_PER_POUND, 2)
    return _with_unit(text, mass_unit(units), unit)


def format_ratio(ratio: float) -> str:
    """Write a plain number: 2.95."""
    return decimal(ratio, 2)


def _with_unit(text: str, name: str, wanted: bool) -> str:
    return f"{text} {name}" if wanted and text != NOT_A_NUMBER else text


_NUMBER = r"(?:[0-9]+\.?[0-9]*|\.[0-9]+)"
_RATIO = rf"{_NUMBER}\s*/\s*{_NUMBER}"
_VALUE = rf"(?P<whole>[0-9]+)\s+(?P<part>{_RATIO})|(?P<lone>{_RATIO})|(?P<plain>{_NUMBER})"
_LENGTH_NAMES: dict[str, float] = {
    **{str(name): mm for name, mm in MM_PER_UNIT.items()},
    '"': MM_PER_INCH,
    "''": MM_PER_INCH,
    "inch": MM_PER_INCH,
    "inches": MM_PER_INCH,
    "'": MM_PER_UNIT["ft"],
    "foot": MM_PER_UNIT["ft"],
    "feet": MM_PER_UNIT["ft"],
}
_ANGLE_NAMES = dict.fromkeys(("°", "deg", "degs", "degree", "degrees"), math.pi / 180.0)
_FEET = {"'", "ft", "foot", "feet"}
_TERM = re.compile(rf"\s*(?P<sign>[+-])?\s*(?:{_VALUE})\s*(?P<unit>[a-z]+|''|[\"'°])?\s*")
_SAME_SIGN = str.maketrans(
    {"−": "-", "–": "-", "⁄": "/", "″": '"', "”": '"', "“": '"', "′": "'", "’": "'", "º": "°", "\u00a0": " "}
)
_READY_FRACTIONS = {
    "½": "1/2",
    "¼": "1/4",
    "¾": "3/4",
    "⅛": "1/8",
    "⅜": "3/8",
    "⅝": "5/8",
    "⅞": "7/8",
}  # fmt: skip
_HYPHENED = re.compile(r"([0-9]+)-([0-9]+/[0-9]+)")
_FEET_DASH = re.compile(r"('|ft|feet|foot)-(?=[0-9.])")


def parse_length(text: str, units: Units) -> float:
    """Read a length in mm: a plain sum of numbers, fractions and units; no unit means the shown one.

    `1' 6 1/2"` and the drawing-office `1'-6 1/2"` are one foot and six and a half inches.
    Raises ValueError with a sentence.
    """
    usual = 1.0 if units.length == "mm" else MM_PER_INCH
    example = "600, 38.1 mm or 1 1/2 in" if units.length == "mm" else "1 1/2, 23.625 or 600 mm"
    return _parse_sum(text, _LENGTH_NAMES, usual, f"a length such as {example}")


def parse_angle(text: str) -> float:
    """Read an angle in degrees, as radians: `45`, `22.5°`, `90 - 30`. Raises ValueError with a sentence."""
    return _parse_sum(text, _ANGLE_NAMES, math.pi / 180.0, "an angle in degrees such as 45 or 22.5")


def _parse_sum(text: str, names: dict[str, float], usual: float, wanted: str) -> float:
    cleaned = _cleaned(text, wanted)
    unreadable = ValueError(f"“{text.strip()}” can't be read; write {wanted}.")
    total = 0.0
    place = 0
    after_feet = False
    while place < len(cleaned):
        term = _TERM.match(cleaned, place)
        if term is None or (term["sign"] is None and place > 0 and not after_feet):
            raise unreadable
        inches_follow = after_feet and term["sign"] is None
        scale = _scale(term["unit"], names, MM_PER_INCH if inches_follow else usual, wanted)
        if inches_follow and scale != MM_PER_INCH:
            raise unreadable
        total += (-1.0 if term["sign"] == "-" else 1.0) * _value(term) * scale
        after_feet = term["unit"] in _FEET
        place = term.end()
    if not math.isfinite(total):
        raise ValueError(f"“{text.strip()}” is too large; write {wanted}.")
    return total


def _cleaned(text: str, wanted: str) -> str:
    """Return the text with one spelling for each sign; refuse what could be read in two ways."""
    cleaned = text.strip().lower().translate(_SAME_SIGN)
    for sign, fraction in _READY_FRACTIONS.items():
        cleaned = cleaned.replace(sign, f" {fraction}")
    if not cleaned.strip():
        raise ValueError(f"Nothing is written here; write {wanted}.")
    if len(cleaned) > LONGEST_TEXT:
        raise ValueError(f"This is too long to be read; write {wanted}.")
    if "," in cleaned:
        raise ValueError(
            f"“{text.strip()}” has a comma; write decimals with a point, without thousands marks."
        )
    cleaned = _FEET_DASH.sub(r"\1 ", cleaned)
    if found := _HYPHENED.search(cleaned):
        whole, part = found.groups()
        raise ValueError(
            f"“{found[0]}” can mean two things; write {whole} {part} for the sum or {whole} - {part} for the "
            "difference."
        )
    return cleaned


def _scale(name: str | None, names: dict[str, float], usual: float, wanted: str) -> float:
    if name is None:
        return usual
    if name not in names:
        raise ValueError(f"“{name}” is no unit known here; write {wanted}.")
    return names[name]


def _value(term: "re.Match[str]") -> float:
    fraction = term["part"] or term["lone"]
    if fraction is None:
        return float(term["plain"])
    over, under = (float(number) for number in fraction.split("/"))
    if under == 0.0:
        raise ValueError(f"“{fraction}” divides by zero; write a fraction such as 3/8.")
    return float(term["whole"] or 0) + over / under
