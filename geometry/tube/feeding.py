"""In which order the bends of a tube are made, which end leads, and what the die needs to hold it.

A bend is held by the straight ahead of it, and needs one behind it. Towards an end of the blank
what is short is mended by a longer blank, unless that end is cut before bending. Between two bends
nothing mends it: every inner straight comes to lie ahead of the die once, whatever the order.
"""

from collections.abc import Iterator
from functools import lru_cache
from itertools import pairwise
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from geometry.layout import BendFrom, Cut, Die, Layout, Tube
from geometry.tolerances import LENGTH_NOISE
from geometry.tube import bending, centreline, swing, trials
from geometry.tube.centreline import CACHED_LINES, Centreline
from geometry.tube.swing import Machine, Made, Move

TubeEnd = Literal["start", "end"]
NOTHING_AGAINST = (0, False)
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
    machine: Machine


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
    either = bend_from == "best" or (bend_from == "middle" and count == 1)
    if either or bend_from == "start":
        yield start
    if either or bend_from == "end":
        yield end
    if bend_from in ("best", "middle"):
        firsts = sorted(range(1, count), key=lambda first: abs(2 * first - count))
        halves = [(start[first:], end[count - first :]) for first in firsts]
        yield from (ahead + back for ahead, back in halves)
        yield from (back + ahead for ahead, back in halves)


def moves(line: Centreline, machine: Machine, fed: Feeding) -> list[Move]:
    """Return how a tube lies at each bend that is fed: all that is bent then is ahead of the die."""
    return _moves(line, _blank(line, machine), fed)


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
        machine=Machine(
            od=stock.od,
            clr=learnt.clr.value,
            consumed=learnt.consumed.value,
            dial_at_zero=learnt.dial_at_zero.value,
            dial_per_angle=learnt.dial_per_angle.value,
            bender=None if die.bender is None else layout.benders.get(die.bender),
        ),
    )


@lru_cache(maxsize=CACHED_LINES)
def _unbent(line: Centreline, start: _End, end: _End) -> Feeding:
    """Return the feeding of a tube that is straight, or has no die."""
    blank = start.allowance + line.length + end.allowance
    return Feeding((), start.allowance, end.allowance, (), blank)


@lru_cache(maxsize=CACHED_LINES)
def _chosen(line: Centreline, setup: _Setup) -> Feeding:
    """Return the first order that nothing stands against, or the one with the least against it."""
    blank = _blank(line, setup.machine)
    known: dict[Move, int] = {}  # orders have many moves in common
    best, least = None, None
    for order in orders(len(line.bends), setup.bend_from):
        fed = _held(line, blank, setup, order)
        if not line.is_makeable:
            return fed
        moves = _moves(line, blank, fed)
        if least is not None and _badness(fed, setup, sum(known.get(move, 0) for move in moves)) >= least:
            continue
        new = [move for move in moves if move not in known]
        known.update(zip(new, swing.counts(setup.machine, new), strict=True))
        badness = _badness(fed, setup, sum(known[move] for move in moves))
        if least is None or badness < least:
            best, least = fed, badness
        if least == NOTHING_AGAINST:
            break
    assert best is not None, "a bent tube has an order"
    return best if least == _badness(best, setup) else _swung(line, blank, setup, best)


def _badness(fed: Feeding, setup: _Setup, hits: int = 0) -> tuple[int, bool]:
    """Return what an order is judged by: what stands against it, and whether a stick is long enough.

    A short straight between bends is short in every order.
    """
    troubles = hits + sum(trouble.kind != "between" for trouble in fed.troubles)
    return troubles, fed.blank > setup.stick + LENGTH_NOISE


class _Blank(Struct, frozen=True, eq=False):
    """Where the bends take the straight blank, without allowances; and the turns between their planes."""

    bends: tuple[tuple[float, float], ...]
    length: float
    stretched: float  # how much longer than its blank the tube gets
    rotations: tuple[float, ...]  # from each bend to the next


def _blank(line: Centreline, machine: Machine) -> _Blank:
    """Return the blank of a centreline.

    A straight below 0 cannot be made at all; a longer blank would not mend that.
    """
    taken, here = [], 0.0
    for straight, bend in zip(line.straights, line.bends, strict=False):
        start = here + max(straight, 0.0)
        here = start + machine.consumed * bend.angle
        taken.append((start, here))
    turned = sum(bend.angle for bend in line.bends)
    # What cannot be bent does not stretch either: its blank is that of the drawn tube.
    stretched = (machine.clr - machine.consumed) * turned if line.is_makeable else 0.0
    turns = bending.turns(line.points)
    rotations = tuple(bending.rotation_between(*pair) for pair in pairwise(turns))
    return _Blank(tuple(taken), here + max(line.straights[-1], 0.0), stretched, rotations)


class _Side(Struct, frozen=True):
    """What is straight on one side of a bend when it is made."""

    bend: int
    part: Literal["lead", "tail"]
    towards: TubeEnd
    free: float  # up to the bend made before, or the end of a blank without allowances
    is_open: bool  # no bend was made on this side


def _held(line: Centreline, blank: _Blank, setup: _Setup, order: Order) -> Feeding:
    """Return what the die holds at each bend of an order, with a blank as long as that takes."""
    sides = _sides(blank, order)
    ends = {"start": setup.start, "end": setup.end}
    least = {"lead": setup.first_straight, "tail": setup.tail}
    grown = {name: end.allowance for name, end in ends.items()}
    for side in sides:
        if side.is_open and ends[side.towards].grows:
            grown[side.towards] = max(grown[side.towards], least[side.part] - side.free)
    straights: dict[tuple[int, str], float] = {}
    troubles = []
    for side in sides:
        straight = side.free + (grown[side.towards] if side.is_open else 0.0)
        limit = least[side.part] if side.is_open else setup.between
        straights[side.bend, side.part] = straight
        if straight < limit - LENGTH_NOISE:
            troubles.append(Trouble(side.bend, side.part if side.is_open else "between", straight, limit))
    return Feeding(
        tuple(Feed(bend, leads, straights[bend, "lead"], straights[bend, "tail"]) for bend, leads in order),
        grown["start"],
        grown["end"],
        tuple(troubles),
        grown["start"] + line.length - blank.stretched + grown["end"],
    )


def _sides(blank: _Blank, order: Order) -> list[_Side]:
    """Return both sides of each bend of an order."""
    sides: list[_Side] = []
    made: set[int] = set()
    for bend, leads in order:
        low, high = blank.bends[bend]
        below = max((one for one in made if one < bend), default=None)
        above = min((one for one in made if one > bend), default=None)
        to_start = low if below is None else low - blank.bends[below][1]
        to_end = (blank.length if above is None else blank.bends[above][0]) - high
        sides.append(_Side(bend, "lead" if leads == "start" else "tail", "start", to_start, below is None))
        sides.append(_Side(bend, "tail" if leads == "start" else "lead", "end", to_end, above is None))
        made.add(bend)
    return sides


def _swung(line: Centreline, blank: _Blank, setup: _Setup, fed: Feeding) -> Feeding:
    """Return the feeding with what gets in the way of it."""
    hits = swing.hits(setup.machine, _moves(line, blank, fed))
    in_the_way = [Trouble(fed.feeds[hit.move].bend, hit.kind, hit.clearance, 0.0, hit.box) for hit in hits]
    return replace(fed, troubles=(*fed.troubles, *in_the_way))


def _moves(line: Centreline, blank: _Blank, fed: Feeding) -> list[Move]:
    """Return the shape that the tube has at each bend; all that is bent then lies ahead of the die."""
    moves = []
    made: set[int] = set()
    for feed in fed.feeds:
        ahead, here = [], feed.bend
        step = -1 if feed.leads == "start" else 1
        while here + step in made:
            gap = min(here, here + step)
            straight = blank.bends[gap + 1][0] - blank.bends[gap][1]
            here += step
            ahead.append(Made(straight, blank.rotations[gap], line.bends[here].angle))
        low, high = blank.bends[here]
        beyond = low + fed.start_allowance if step < 0 else blank.length - high + fed.end_allowance
        moves.append(Move(line.bends[feed.bend].angle, tuple(ahead), beyond, feed.tail))
        made.add(feed.bend)
    return moves
