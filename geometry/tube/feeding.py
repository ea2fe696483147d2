"""In which order the bends of a tube are made, which end leads, and what the die needs to hold it."""

from typing import Literal

from msgspec import Struct

from geometry.layout import Layout, Tube
from geometry.tube import bending, centreline


class Feed(Struct, frozen=True):
    """One bend in the order of bending."""

    bend: int  # counted from 0 at the start of the tube
    leads: Literal["start", "end"]  # the end that is ahead of the die
    lead: float  # straight held ahead of the bend: up to the bend made before, or the end of the blank
    tail: float  # straight behind the bend, likewise


class Trouble(Struct, frozen=True):
    """Why an order can't be bent: which bend, what is short or in the way, and by how much."""

    bend: int
    kind: Literal["lead", "between", "tail", "floor", "bender", "itself"]
    value: float
    limit: float
    box: str = ""


class Feeding(Struct, frozen=True):
    """The order that was chosen, what it makes the blank longer at each end, and what stands against it."""

    feeds: tuple[Feed, ...]
    start_allowance: float  # as cut: longer than asked where the die needs more to hold
    end_allowance: float
    troubles: tuple[Trouble, ...] = ()  # of the best order; empty: it can be bent


def of(layout: Layout, tube: Tube) -> Feeding:
    """Return the order in which a tube is bent; the same object as long as what it depends on is equal."""
    line, die = centreline.of(layout, tube), bending.die_of(layout, tube)
    start, end = bending.allowances(layout, tube, line.straights)
    straights = line.straights
    feeds = tuple(
        Feed(i, "start", straights[i] + (start if i == 0 else 0.0), straights[i + 1])
        for i in range(len(line.bends))
        if die is not None
    )
    return Feeding(feeds, start, end)
