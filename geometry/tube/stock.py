"""Round tube as bought: section properties, mass, and the rack that a new job starts with."""

import json
import math
from functools import cache
from pathlib import Path
from typing import Any

from msgspec import Struct

from geometry.layout import Bender, Box, Die, Stock
from geometry.vectors import vec

RACK_FILE = Path(__file__).parents[2] / "assets" / "rack.json"


class Section(Struct, frozen=True):
    """What a cross-section is worth: mm2, mm4, mm3, mm4, mm, mm3."""

    area: float
    second_moment: float
    section_modulus: float
    polar: float
    gyration: float
    plastic_modulus: float


def section(od: float, wall: float) -> Section:
    """Return the properties of a round tube."""
    if not (od > 0.0 and 0.0 < wall <= od / 2.0):
        raise ValueError(f"a tube of OD {od} cannot have a wall of {wall}")
    bore = od - 2.0 * wall
    area = math.pi * (od - wall) * wall
    second_moment = math.pi / 64.0 * (od**4 - bore**4)
    return Section(
        area,
        second_moment,
        2.0 * second_moment / od,
        2.0 * second_moment,
        math.sqrt(second_moment / area),
        (od**3 - bore**3) / 6.0,
    )


def mass_per_mm(stock: Stock) -> float:
    """Return kg for each mm of tube."""
    return section(stock.od, stock.wall).area * stock.density


def mass(stock: Stock, length: float) -> float:
    return mass_per_mm(stock) * length


def starting_rack(next_id: int) -> tuple[dict[int, Stock], dict[int, Die], int]:
    """Return common tube sizes and dies with fresh ids, and the next id that is free."""
    rack = _rack()
    stocks = {id: Stock(id, **row) for id, row in enumerate(rack["stocks"], next_id)}
    next_id += len(stocks)
    dies = {id: Die(id, **row) for id, row in enumerate(rack["dies"], next_id)}
    return stocks, dies, next_id + len(dies)


def starting_bender(id: int) -> Bender:
    """Return the machine that the dies of the starting rack are used in: invented, to be measured anew."""
    row = dict(_rack()["benders"][0])
    boxes = tuple(Box(box["name"], vec(box["low"]), vec(box["high"])) for box in row.pop("boxes"))
    return Bender(id, boxes=boxes, **row)


@cache
def _rack() -> dict[str, list[dict[str, Any]]]:
    rack: dict[str, list[dict[str, Any]]] = json.loads(RACK_FILE.read_text(encoding="utf-8"))
    return rack
