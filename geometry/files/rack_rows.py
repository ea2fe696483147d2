"""Rows of a rack file: which keys each kind of thing has, written from the rack and read with every doubt."""

import datetime
import json
import math
from collections.abc import Mapping, Sequence
from typing import Any, Literal, get_args

from msgspec import Struct

from geometry.errors import GeometryError
from geometry.layout import Bender, BendPart, Box, Die, Layout, Stock, TrialBend
from geometry.tolerances import FARTHEST_POINT

Thing = Stock | Die | Bender | TrialBend
Content = Literal["name", "text", "note", "number", "maybe", "angle", "choice", "yes", "date", "boxes"]
MM_PER_INCH = 25.4
N_MM2_PER_KSI = 6.894757293168361
LONGEST_TEXT, LONGEST_NOTE = 200, 4000
MOST_BOXES = 50
NOISE_PLACES = 9  # 1.5 in are 38.1 mm, not 38.099999999999994
OTHER_UNITS = {"_mm": ("_in", MM_PER_INCH), "_n_mm2": ("_ksi", N_MM2_PER_KSI)}


class Key(Struct, frozen=True):
    """One value of a row: how a file calls it, the attribute it is, and what it may hold."""

    name: str
    attribute: str
    content: Content = "number"
    is_needed: bool = False
    parts: float = 1.0  # how many in the file make one inside; divided by, so that 7850 is 7.85e-6
    choices: tuple[str, ...] = ()


class Kind(Struct, frozen=True):
    """One kind of thing in a rack file."""

    part: str  # of the file and of the layout
    one: str
    many: str
    keys: tuple[Key, ...]


class Row(Struct, frozen=True):
    """What a file says of one thing: only what stands there, names in place of ids."""

    where: str
    values: dict[str, Any]


STOCK = Kind(
    "stocks",
    "tube size",
    "tube sizes",
    (
        Key("name", "name", "name", True),
        Key("od_mm", "od", is_needed=True),
        Key("wall_mm", "wall", is_needed=True),
        Key("material", "material", "name"),
        Key("batch", "batch", "text"),
        Key("yield_strength_n_mm2", "yield_strength"),
        Key("least_clr_ratio", "least_clr_ratio"),
        Key("stick_mm", "stick"),
        Key("density_kg_m3", "density", parts=1e9),
        Key("modulus_n_mm2", "modulus"),
    ),
)
BENDER = Kind(
    "benders",
    "bender",
    "benders",
    (
        Key("name", "name", "name", True),
        Key("height_mm", "height", is_needed=True),
        Key("swing", "swing", "choice", choices=("left", "right", "up")),
        Key("moves", "moves", "choice", choices=("lead", "tail", "both")),
        Key("boxes", "boxes", "boxes"),
    ),
)
DIE = Kind(
    "dies",
    "die",
    "dies",
    (
        Key("name", "name", "name", True),
        Key("od_mm", "od", is_needed=True),
        Key("clr_mm", "clr", is_needed=True),
        Key("largest_angle_deg", "largest_angle", "angle"),
        Key("first_straight_mm", "first_straight"),
        Key("between_straight_mm", "between_straight"),
        Key("tail_mm", "tail"),
        Key("bender", "bender", "text"),
        Key("mark_at", "mark_at", "choice", choices=get_args(BendPart)),
        Key("reference_mm", "reference"),
    ),
)
TRIAL = Kind(
    "trial_bends",
    "trial bend",
    "trial bends",
    (
        Key("die", "die", "name", True),
        Key("stock", "stock", "name", True),
        Key("batch", "batch", "text"),
        Key("made", "made", "date"),
        Key("length_mm", "length", is_needed=True),
        Key("mark_mm", "mark", is_needed=True),
        Key("dial_deg", "dial", "angle", True),
        Key("angle_deg", "angle", "angle", True),
        Key("lead_leg_mm", "lead_leg", "maybe"),
        Key("tail_leg_mm", "tail_leg", "maybe"),
        Key("measured_to", "measured_to", "choice", choices=("corner", "back")),
        Key("widest_mm", "widest", "maybe"),
        Key("narrowest_mm", "narrowest", "maybe"),
        Key("used", "used", "yes"),
        Key("note", "note", "note"),
    ),
)
KINDS = (STOCK, BENDER, DIE, TRIAL)
POINT = ("x", "y", "z")


# Written


def written(layout: Layout, kind: Kind, thing: Thing) -> dict[str, Any]:
    """Return a thing as plain data of a rack file."""
    return {key.name: _plain(layout, key, getattr(thing, key.attribute)) for key in kind.keys}


def likeness(layout: Layout, kind: Kind, thing: Thing) -> str:
    """Return a thing as text that is equal for things no shop could tell apart: degrees are not exact."""
    return json.dumps(_rounded(written(layout, kind, thing)))


def _rounded(plain: Any) -> Any:
    if isinstance(plain, dict):
        return {name: _rounded(value) for name, value in plain.items()}
    if isinstance(plain, list):
        return [_rounded(value) for value in plain]
    return round(float(plain), NOISE_PLACES) if isinstance(plain, float | int) else plain


def _plain(layout: Layout, key: Key, value: Any) -> Any:
    if key.attribute in ("die", "stock", "bender") and isinstance(value, int):
        return _named(layout, key.attribute)[value].name
    if key.content == "boxes":
        return [
            {
                "name": box.name,
                "from_mm": [_tidy(number) for number in box.low],
                "to_mm": [_tidy(number) for number in box.high],
            }
            for box in value
        ]
    if key.content in ("number", "maybe", "angle") and value is not None:
        return _tidy(_shortest(value, key))
    return value


def _named(layout: Layout, attribute: str) -> dict[int, Any]:
    """Return the things that an attribute names by id."""
    things: dict[str, dict[int, Any]] = {
        "die": layout.dies,
        "stock": layout.stocks,
        "bender": layout.benders,
    }
    return things[attribute]


def _shortest(value: float, key: Key) -> float:
    """Return the number with the fewest places that reads back as the very same value."""
    outside = math.degrees(value) if key.content == "angle" else value * key.parts
    for places in range(14):
        if inside(key, round(outside, places)) == value:
            return round(outside, places)
    return outside


def _tidy(number: float) -> float | int:
    return int(number) if number == int(number) else number


def inside(key: Key, number: float) -> float:
    """Return a number of a file as the layout holds it."""
    return math.radians(number) if key.content == "angle" else number / key.parts


# Read


def read(kind: Kind, plain: Mapping[str, Any], where: str) -> Row:
    """Return a row of plain data, or refuse it in a sentence that says where."""
    values: dict[str, Any] = {}
    given: dict[str, str] = {}
    for name, content in plain.items():
        key, factor = found(kind, name, where)
        if key.attribute in given:
            raise GeometryError(
                f"{where} gives both {given[key.attribute]} and {name}; leave one of them out."
            )
        given[key.attribute] = name
        values[key.attribute] = _value(key, factor, content, f"{where}, {name}")
    for key in kind.keys:
        if key.is_needed and key.attribute not in values:
            raise GeometryError(f"{where} has no {key.name}; every {kind.one} needs one.")
    return Row(where, values)


def found(kind: Kind, name: str, where: str) -> tuple[Key, float]:
    """Return the key of a name and what its unit is worth, or refuse it with the names there are."""
    for key in kind.keys:
        if name == key.name:
            return key, 1.0
        for unit, (other, factor) in OTHER_UNITS.items():
            if key.name.endswith(unit) and name == key.name.removesuffix(unit) + other:
                return key, factor
    known = ", ".join(key.name for key in kind.keys)
    raise GeometryError(f"{where}: {shown(name)} is nothing a {kind.one} has; it has {known}.")


def _value(key: Key, factor: float, content: Any, where: str) -> Any:
    match key.content:
        case "name" | "text":
            if content is None and key.attribute == "bender":
                return None
            text = " ".join(_text(content, LONGEST_TEXT, where).split())
            if not text and key.content == "name":
                raise GeometryError(f"{where} is empty; write a word or two.")
            return text
        case "note":
            return _text(content, LONGEST_NOTE, where)
        case "choice":
            return _choice(content, key.choices, where)
        case "yes":
            if not isinstance(content, bool):
                raise GeometryError(f"{where}: {shown(content)} must be true or false.")
            return content
        case "date":
            return _date(content, where)
        case "boxes":
            return _boxes(content, where)
    if content is None and key.content == "maybe":
        return None
    number = _number(content, where)
    return inside(key, number) if factor == 1.0 else round(number * factor, NOISE_PLACES)


def _text(content: Any, longest: int, where: str) -> str:
    if not isinstance(content, str):
        raise GeometryError(f"{where}: {shown(content)} is no text; write it in quotes.")
    if len(content) > longest:
        raise GeometryError(f"{where} is longer than {longest} letters; shorten it.")
    if any(
        (ord(letter) < 32 and letter not in "\t\n\r") or 0xD800 <= ord(letter) < 0xE000 for letter in content
    ):
        raise GeometryError(f"{where} holds letters that can't be shown; write it anew.")
    return content


def _choice(content: Any, choices: Sequence[str], where: str) -> str:
    if isinstance(content, str) and content.strip().lower() in choices:
        return content.strip().lower()
    raise GeometryError(f"{where}: {shown(content)} must be one of {', '.join(choices)}.")


def _date(content: Any, where: str) -> str:
    text = _text(content, LONGEST_TEXT, where).strip()
    try:
        return datetime.date.fromisoformat(text).isoformat() if text else ""
    except ValueError:
        raise GeometryError(f"{where}: {shown(text)} is no date; write one such as 2026-03-31.") from None


def _boxes(content: Any, where: str) -> tuple[Box, ...]:
    if not isinstance(content, list) or len(content) > MOST_BOXES:
        raise GeometryError(f"{where} must be a list of at most {MOST_BOXES} boxes.")
    return tuple(_box(box, f"{where}, box {place}") for place, box in enumerate(content, 1))


def _box(content: Any, where: str) -> Box:
    if not isinstance(content, dict) or set(content) != {"name", "from_mm", "to_mm"}:
        raise GeometryError(f"{where} must have a name, from_mm and to_mm, and nothing else.")
    name = " ".join(_text(content["name"], LONGEST_TEXT, f"{where}, name").split())
    low, high = (_corner(content[end], f"{where}, {end}") for end in ("from_mm", "to_mm"))
    return Box(name or "Box", low, high)


def _corner(content: Any, where: str) -> tuple[float, float, float]:
    if not isinstance(content, list) or len(content) != 3:
        raise GeometryError(f"{where} must be three numbers: x, y and z.")
    x, y, z = (_number(number, f"{where}, {axis}") for axis, number in zip(POINT, content, strict=True))
    return x, y, z


def _number(content: Any, where: str) -> float:
    if isinstance(content, bool) or not isinstance(content, int | float):
        raise GeometryError(f"{where}: {shown(content)} is no number.")
    if not -FARTHEST_POINT <= content <= FARTHEST_POINT:
        raise GeometryError(f"{where}: {shown(content)} is no number that can be used here.")
    return float(content)


def shown(content: Any) -> str:
    """Return what a file holds, short enough for a sentence."""
    text = content if isinstance(content, str) else "nothing" if content is None else str(content)[:60]
    text = " ".join("".join(letter if letter.isprintable() else " " for letter in text[:60]).split())
    return f"“{text}”" if isinstance(content, str) else text
