"""What the rack shows of a stock or a die, and how it is read back. Imports no Qt."""

import math
import re
from collections.abc import Mapping
from typing import Any, Literal

from msgspec import Struct

from app import units as unit_text
from app.units import Units
from geometry.layout import Die, Layout, Stock
from geometry.tube import stock as sections
from geometry.tube import trials

Kind = Literal["text", "size", "length", "angle", "ratio", "stress", "density", "choice", "mass", "trials"]
Thing = Stock | Die
MM_PER_METRE, MM_PER_FOOT = 1000.0, 304.8
KSI = 6.894757293168361  # N/mm2
KG_M3 = 1e-9  # kg/mm3
LB_FT3 = unit_text.KG_PER_POUND / MM_PER_FOOT**3
NO_BENDER = 0  # no id is 0
MARKS = {"start": "bend start", "middle": "bend middle", "end": "bend end"}
STRESS_NAMES = {"n/mm²": 1.0, "n/mm2": 1.0, "mpa": 1.0, "ksi": KSI}
DENSITY_NAMES = {"kg/m³": KG_M3, "kg/m3": KG_M3, "lb/ft³": LB_FT3, "lb/ft3": LB_FT3}


class Column(Struct, frozen=True):
    """One attribute of a stock or die: its title, what it means, and where it is shown."""

    title: str
    attribute: str
    kind: Kind
    tip: str
    in_table: bool = False
    may_be_empty: bool = False  # empty is "" in a text, 0 in a number
    empty: str = ""  # what an empty field stands for


STOCK_COLUMNS = (
    Column("Name", "name", "text", "What the shop calls it", True),
    Column("OD", "od", "size", "Outside diameter", True),
    Column("Wall", "wall", "size", "Wall thickness", True),
    Column("Mass", "", "mass", "Per metre or foot; follows from OD, wall and density", True),
    Column("Material", "material", "text", "Grade as bought"),
    Column(
        "Batch",
        "batch",
        "text",
        "The delivery on the rack now, as the shop calls it; a new one asks for a check bend",
        may_be_empty=True,
        empty="none named",
    ),
    Column(
        "Yield",
        "yield_strength",
        "stress",
        "Yield strength from the certificate of the batch; it gives the least springback to expect",
        may_be_empty=True,
        empty="not known",
    ),
    Column("Least CLR", "least_clr_ratio", "ratio", "Tightest bend radius as a multiple of OD"),
    Column("Stick", "stick", "length", "Longest length sold"),
    Column("Modulus", "modulus", "stress", "Elastic modulus; steel has about 205000 N/mm² (29700 ksi)"),
    Column("Density", "density", "density", "Steel has about 7850 kg/m³ (490 lb/ft³)"),
)
DIE_COLUMNS = (
    Column("Name", "name", "text", "What the shop calls it", True),
    Column("OD", "od", "size", "Tube it takes", True),
    Column("CLR", "clr", "size", "Centreline radius of its bends, as bought", True),
    Column("Trials", "", "trials", "How many trial bends in scrap were measured on it", True),
    Column("Largest", "largest_angle", "angle", "Largest bend angle"),
    Column("Bender", "bender", "choice", "The machine it is used in; see the tab Benders"),
    Column("First", "first_straight", "length", "Least straight before the first bend"),
    Column(
        "Between",
        "between_straight",
        "length",
        "Least straight between bends, measured on the die; empty: twice the OD is assumed",
        may_be_empty=True,
        empty="2 × OD",
    ),
    Column("Tail", "tail", "length", "Least straight after the last bend"),
    Column(
        "Mark is at",
        "mark_at",
        "choice",
        "Which part of the bend a mark on the tube stands for when it is set at the die's reference point",
    ),
    Column(
        "Reference",
        "reference",
        "length",
        "How far that part of the bend lies behind the reference point, towards the tail; trial bends tell "
        "it better",
    ),
)


def cell_text(thing: Thing, column: Column, units: Units, layout: Layout | None = None) -> str:
    """A stock's or die's value as people read it; empty where an empty field stands for it."""
    if column.kind == "mass":
        return _mass_text(thing, units)
    if column.kind == "trials":
        return trials_text(thing, layout)
    value = getattr(thing, column.attribute)
    if column.may_be_empty and not value:
        return ""
    return str(value) if column.kind == "text" else number_text(value, column, units)


def number_text(value: float, column: Column, units: Units) -> str:
    """A number with its unit."""
    match column.kind:
        case "size":
            return unit_text.format_size(value, units)
        case "angle":
            return unit_text.format_angle(value)
        case "ratio":
            return f"{unit_text.trimmed_decimal(value, 2)} × OD"
        case "stress" if units.length == "mm":
            return f"{unit_text.trimmed_decimal(value, 1)} N/mm²"
        case "stress":
            return f"{unit_text.trimmed_decimal(value / KSI, 1)} ksi"
        case "density" if units.length == "mm":
            return f"{unit_text.trimmed_decimal(value / KG_M3, 1)} kg/m³"
        case "density":
            return f"{unit_text.trimmed_decimal(value / LB_FT3, 1)} lb/ft³"
    return unit_text.format_length(value, units)


def cell_value(column: Column, text: str, units: Units) -> Any:
    """Read what was typed; ValueError with a sentence."""
    stripped = " ".join(text.split())
    if not stripped and column.may_be_empty:
        return "" if column.kind == "text" else 0.0
    match column.kind:
        case "size" | "length":
            return unit_text.parse_length(text, units)
        case "angle":
            return unit_text.parse_angle(text)
        case "ratio":
            return _ratio(text)
        case "stress":
            usual, example = ("n/mm²", "350 N/mm²") if units.length == "mm" else ("ksi", "50 ksi")
            return _with_unit(text, STRESS_NAMES, usual, example)
        case "density":
            usual, example = ("kg/m³", "7850 kg/m³") if units.length == "mm" else ("lb/ft³", "490 lb/ft³")
            return _with_unit(text, DENSITY_NAMES, usual, example)
    if not stripped:
        raise ValueError(f"{column.title} can't be empty; type a word or two.")
    return stripped


def choices(column: Column, layout: Layout) -> tuple[tuple[int, str], ...]:
    """What a choice offers, each with a number that stands for it."""
    if column.attribute == "bender":
        benders = ((bender.id, bender.name) for bender in layout.benders.values())
        return ((NO_BENDER, "not said"), *benders)
    return tuple(enumerate(MARKS.values()))


def chosen(column: Column, thing: Thing) -> int:
    """The number of what a thing has chosen."""
    value = getattr(thing, column.attribute)
    return (value or NO_BENDER) if column.attribute == "bender" else [*MARKS].index(value)


def choice_value(column: Column, number: int) -> Any:
    """What a number of a choice stands for."""
    return (number or None) if column.attribute == "bender" else [*MARKS][number]


def trials_text(thing: Thing, layout: Layout | None) -> str:
    """How many trial bends were measured on a die, and whether a new batch asks for one more."""
    if layout is None or not isinstance(thing, Die):
        return "none"
    count = sum(trial.die == thing.id for trial in layout.trials.values())
    if not count:
        return "none"
    return f"{count}, check" if check_due(thing, layout) else str(count)


def trials_sentence(die: Die, layout: Layout) -> str:
    """What was measured on a die: 3 trial bends: 2 of 38 × 2 mm, batch B 7; 1 of 38 × 2.5 mm."""
    found: dict[tuple[str, str], int] = {}
    for trial in layout.trials.values():
        if trial.die == die.id:
            key = (layout.stocks[trial.stock].name, trial.batch)
            found[key] = found.get(key, 0) + 1
    if not found:
        return "No trial bend yet: its sheets are geometry only."
    parts = [
        f"{count} of {name}" + (f", batch {batch}" if batch else "") for (name, batch), count in found.items()
    ]
    total = sum(found.values())
    words = f"{total} trial bend{'s' if total > 1 else ''}: {'; '.join(parts)}."
    due = check_due(die, layout)
    if not due:
        return words
    names = ", ".join(stock.name for stock in due)
    return f"{words} Check bend first: {names} {'are' if len(due) > 1 else 'is'} of a new batch."


def check_due(die: Die, layout: Layout) -> list[Stock]:
    """The tube sizes whose trial bends on a die are all of another batch than the one on the rack."""
    tried = {trial.stock for trial in layout.trials.values() if trial.die == die.id}
    return [
        layout.stocks[id]
        for id in sorted(tried)
        if trials.learnt(layout, die, layout.stocks[id]).state == "check first"
    ]


def copy_name(name: str, things: Mapping[int, Any]) -> str:
    """A name that no other row has."""
    taken = {thing.name for thing in things.values()}
    number = 2
    while f"{name} ({number})" in taken:
        number += 1
    return f"{name} ({number})" if name else "New"


def _ratio(text: str) -> float:
    plain = text.upper().replace("OD", "").replace("×", "").replace("X", "").strip()
    try:
        return float(plain)
    except ValueError:
        raise ValueError(f"“{text}” is no multiple of OD; type a number such as 3 or 2.5.") from None


def _with_unit(text: str, names: Mapping[str, float], usual: str, example: str) -> float:
    """Read a number and a unit; no unit means the shown one."""
    parts = re.fullmatch(r"\s*([0-9]*\.?[0-9]+)\s*([a-z/²³23]*)\s*", text.lower().replace("ksi", " ksi"))
    scale = names.get(parts[2] or usual) if parts else None
    if parts is None or scale is None or not math.isfinite(float(parts[1])):
        raise ValueError(f"“{text.strip()}” can't be read; write a number such as {example}.")
    return float(parts[1]) * scale


def _mass_text(thing: Thing, units: Units) -> str:
    assert isinstance(thing, Stock)
    per_mm = sections.mass_per_mm(thing)
    if units.length == "mm":
        return f"{unit_text.format_mass(per_mm * MM_PER_METRE, units)}/m"
    return f"{unit_text.format_mass(per_mm * MM_PER_FOOT, units)}/ft"
