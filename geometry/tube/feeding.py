"""In which order the bends of a tube are made, which end leads, and what the die needs to hold it.

A bend is held by the straight ahead of it, and needs one behind it. Towards an end of the blank
what is short is mended by a longer blank, unless that end is cut before bending. Between two bends
nothing mends it: every inner straight comes to lie ahead of the die once, whatever the order.
"""

from collections.abc import Iterator
from functools import lru_cache
from typing import Literal

from msgspec import Struct

from geometry.layout import BendFrom, Cut, Die, Layout, Tube
from geometry.tolerances import LENGTH_NOISE
from geometry.tube import bending, centreline, trials
from geometry.tube.centreline import CACHED_LINES, Centreline

TubeEnd = Literal["start", "end"]
Order = tuple[tuple[int, TubeEnd], ...]  # the bends as they are made, each with the end that leads


class Feed(Struct, frozen=True):
    """One bend in the order of bending."""

    bend: int  # counted from 0 at the start of the tube
    leads: TubeEnd  # the end that is ahead of the die
    lead: float  # straight held ahead of the bend: up to the bend made before, or the end of the blank
    tail: float  # straight behind the bend, likewise


class Trouble(Struct, frozen=True):
    """Why an order can't be bent: which bend, what is short or in the way, and by how much.

    What is short has its length and the least. What is in the way has the clearance to it, less
    than 0 where the tube would go into it, and a limit of 0.
    """

    bend: int  # counted from 0 at the start of the tube
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
    blank: float = 0.0  # the straight length to cut


class _End(Struct, frozen=True):
    """What is asked of an end of the blank."""

    allowance: float
    grows: bool  # a longer blank may help the die to hold it


class _Setup(Struct, frozen=True):
    """What the order depends on beside the centreline."""

    start: _End
    end: _End
    bend_from: BendFrom
    stick: float
    first_straight: float
    between: float
    tail: float
    clr: float
    consumed: float  # mm of blank for each radian


def of(layout: Layout, tube: Tube) -> Feeding:
    """Return the order in which a tube is bent; the same object as long as what it depends on is equal."""
    line, die = centreline.of(layout, tube), bending.die_of(layout, tube)
    start, end = _ends(layout, tube)
    if die is None or not line.bends:
        return _unbent(line, start, end)
    return _chosen(line, _setup(layout, tube, die, start, end))


def asked_allowances(layout: Layout, tube: Tube) -> tuple[float, float]:
    """Return what the blank shall be longer at each end, before the die has its say."""
    start, end = _ends(layout, tube)
    return start.allowance, end.allowance


def orders(count: int, bend_from: BendFrom) -> Iterator[Order]:
    """Return the orders to try, the plainest first: START leads, few turnings round, near the middle."""
    start: Order = tuple((bend, "start") for bend in range(count))
    end: Order = tuple((bend, "end") for bend in reversed(range(count)))
    if bend_from in ("best", "start") or count == 1:
        yield start
    if bend_from in ("best", "end") or (count == 1 and bend_from == "middle"):
        yield end
    if bend_from in ("best", "middle"):
        firsts = sorted(range(1, count), key=lambda first: abs(2 * first - count))
        halves = [(start[first:], end[count - first :]) for first in firsts]
        yield from (ahead + back for ahead, back in halves)
        yield from (back + ahead for ahead, back in halves)


def _ends(layout: Layout, tube: Tube) -> tuple[_End, _End]:
    nodes, first, last = layout.nodes, tube.nodes[0], tube.nodes[-1]
    return (
        _end(layout, tube.start_allowance, tube.start_cut, nodes[first].landing is not None),
        _end(layout, tube.end_allowance, tube.end_cut, nodes[last].landing is not None),
    )


def _end(layout: Layout, own: float | None, cut: Cut, is_landing: bool) -> _End:
    if cut == "before":
        return _End(0.0, grows=False)
    limits = layout.limits
    usual = limits.cope_allowance if is_landing else limits.end_allowance
    return _End(usual if own is None else own, grows=True)


def _setup(layout: Layout, tube: Tube, die: Die, start: _End, end: _End) -> _Setup:
    stock = layout.stocks[tube.stock]
    learnt = trials.learnt(layout, die, stock)
    return _Setup(
        start=start,
        end=end,
        bend_from=tube.bend_from,
        stick=stock.stick,
        first_straight=die.first_straight,
        between=bending.least_between(die),
        tail=die.tail,
        clr=learnt.clr.value,
        consumed=learnt.consumed.value,
    )


@lru_cache(maxsize=CACHED_LINES)
def _unbent(line: Centreline, start: _End, end: _End) -> Feeding:
    """Return the feeding of a tube that is straight, or has no die."""
    blank = start.allowance + line.length + end.allowance
    return Feeding((), start.allowance, end.allowance, (), blank)


@lru_cache(maxsize=CACHED_LINES)
def _chosen(line: Centreline, setup: _Setup) -> Feeding:
    """Return the first order that nothing stands against, or the one with the least against it."""
    held = [_held(line, setup, order) for order in orders(len(line.bends), setup.bend_from)]
    return min(held, key=lambda fed: _badness(fed, setup))


def _badness(fed: Feeding, setup: _Setup) -> tuple[int, bool]:
    """Return what an order is judged by: what stands against it, and whether a stick is long enough.

    A short straight between bends is short in every order.
    """
    troubles = sum(trouble.kind != "between" for trouble in fed.troubles)
    return troubles, fed.blank > setup.stick + LENGTH_NOISE


def _held(line: Centreline, setup: _Setup, order: Order) -> Feeding:
    """Return what the die holds at each bend of an order, with a blank as long as that takes."""
    taken, length = _taken(line, setup.consumed)
    # Where no bend is made yet, a side runs to the end of the blank: its length without allowance.
    sides: list[tuple[int, TubeEnd, Literal["lead", "tail"], float, int | None]] = []
    made: set[int] = set()
    for bend, leads in order:
        low, high = taken[bend]
        below = max((one for one in made if one < bend), default=None)
        above = min((one for one in made if one > bend), default=None)
        to_start = low - (0.0 if below is None else taken[below][1])
        to_end = (length if above is None else taken[above][0]) - high
        starts_ahead = leads == "start"
        sides.append((bend, "start", "lead" if starts_ahead else "tail", to_start, below))
        sides.append((bend, "end", "tail" if starts_ahead else "lead", to_end, above))
        made.add(bend)
    least = {"lead": setup.first_straight, "tail": setup.tail}
    grown = {"start": setup.start.allowance, "end": setup.end.allowance}
    for _, side, part, free, stop in sides:
        if stop is None and (setup.start if side == "start" else setup.end).grows:
            grown[side] = max(grown[side], least[part] - free)
    rows = [(row[0], row[2], row[3] + (grown[row[1]] if row[4] is None else 0.0), row[4]) for row in sides]
    troubles = []
    for bend, part, straight, stop in rows:
        limit = least[part] if stop is None else setup.between
        if straight < limit - LENGTH_NOISE:
            troubles.append(Trouble(bend, part if stop is None else "between", straight, limit))
    held = {(bend, part): straight for bend, part, straight, _ in rows}
    feeds = tuple(Feed(bend, leads, held[bend, "lead"], held[bend, "tail"]) for bend, leads in order)
    stretch = (setup.clr - setup.consumed) * sum(bend.angle for bend in line.bends)
    # What cannot be bent does not stretch either: its blank is that of the drawn tube.
    blank = grown["start"] + line.length - (stretch if line.is_makeable else 0.0) + grown["end"]
    return Feeding(feeds, grown["start"], grown["end"], tuple(troubles), blank)


def _taken(line: Centreline, consumed: float) -> tuple[list[tuple[float, float]], float]:
    """Return where each bend takes the blank, and its length; without allowances.

    A straight below 0 cannot be made at all; a longer blank would not mend that.
    """
    taken, here = [], 0.0
    for straight, bend in zip(line.straights, line.bends, strict=False):
        start = here + max(straight, 0.0)
        here = start + consumed * bend.angle
        taken.append((start, here))
    return taken, here + max(line.straights[-1], 0.0)
