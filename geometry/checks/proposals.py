"""Which change would settle a finding about bending: looked for, tried, and only then offered."""

import math
from collections.abc import Callable, Iterator
from itertools import chain, islice

from msgspec.structs import replace

from geometry import mends
from geometry.checks.finding import Amount, Finding, Mend
from geometry.errors import GeometryError
from geometry.layout import BendFrom, Die, Layout, Tube
from geometry.tolerances import ANGLE_NOISE, LENGTH_NOISE
from geometry.tube import bending, centreline, feeding, splitting
from geometry.tube.centreline import Centreline
from geometry.vectors import direction, plus, times

Judge = Callable[[Layout, Tube], tuple[Finding, ...]]
Harms = Callable[[Layout, int, frozenset[int]], bool]  # a mended layout, the mended tube, all it changed
Mends = Iterator[Mend]
STEPS = 6  # of the search for how far a corner has to go; each gets some ten times nearer
FARTHEST = 20.0  # times the length that is missing; a corner that has to go farther is no mend
ROOMIER = (50.0, 200.0)  # mm; tried where a tube hits itself
MOST = 10  # of these tries; each takes some ms


def no_harm(after: Layout, tube: int, touched: frozenset[int]) -> bool:
    """Say that a change does no harm but what bending shows; for where no body is known."""
    return False


def with_mend(layout: Layout, tube: Tube, finding: Finding, judge: Judge, harms: Harms = no_harm) -> Finding:
    """Return the finding with the first change that settles it and brings no other."""
    search = SEARCHES.get(finding.rule)
    if search is None:
        return finding
    before = judge(layout, tube)
    offered = (
        mend
        for mend in search(layout, tube, finding)
        if _settles(layout, mend, before, finding, judge, harms)
    )
    mend = next(offered, None)
    if finding.rule in REMEDIES:
        finding = _with_remedy(finding, mend)
    return replace(finding, mend=mend)


def _with_remedy(finding: Finding, mend: Mend | None) -> Finding:
    """Return the finding with a sentence more, that says what to do."""
    remedies = REMEDIES[finding.rule]
    if mend is None:
        remedy = remedies.get(finding.words.get("kind", ""), remedies["nothing"])
        return replace(finding, message=f"{finding.message} {remedy}")
    amounts = finding.amounts
    if mend.amount is not None:
        amounts = {**amounts, "amount": Amount(mend.amount, "length")}
    message = f"{finding.message} {mend.words}{remedies['or']}."
    return replace(finding, message=message, amounts=amounts)


def _settles(
    layout: Layout,
    mend: Mend,
    before: tuple[Finding, ...],
    finding: Finding,
    judge: Judge,
    harms: Harms,
) -> bool:
    """Say whether a mend does away with a finding, and with none worse in its place."""
    try:
        after = mends.mended(layout, mend)
    except GeometryError:
        return False
    touched = [tube for tube in after.tubes.values() if tube.id == mend.tube or _differs(layout, after, tube)]
    left = [found for tube in touched for found in judge(after, tube)]
    if any(_is_same(found, finding) for found in left):
        return False
    others = [layout.tubes[tube.id] for tube in touched if tube.id != mend.tube and tube.id in layout.tubes]
    known = [*before, *(found for tube in others for found in judge(layout, tube))]
    if not all(any(_is_same(found, one) for one in known) for found in left if found.severity != "note"):
        return False
    return not harms(after, mend.tube, frozenset(tube.id for tube in touched))


def _differs(before: Layout, after: Layout, tube: Tube) -> bool:
    """Say whether a tube is new, was changed, or runs through a node that moved."""
    if before.tubes.get(tube.id) is not tube:
        return True
    return any(before.nodes[id] is not after.nodes[id] for id in tube.nodes)


def _is_same(found: Finding, other: Finding) -> bool:
    """Say whether two findings speak of the same thing, whatever their figures."""
    if (found.rule, found.nodes) != (other.rule, other.nodes):
        return False
    return found.words.get("straight") == other.words.get("straight")


def _take_die(layout: Layout, tube: Tube, finding: Finding) -> Mends:
    """Offer the dies of the rack for this tube, the nearest radius first."""
    now = bending.clr_of(layout, tube)
    stock = layout.stocks[tube.stock]
    dies = [
        die for die in layout.dies.values() if bending.is_for(die, stock) and _would_do(layout, tube, die)
    ]
    for die in sorted(dies, key=lambda die: abs(die.clr - now)):
        yield Mend("take die", "Take {die}", tube.id, die=die.id)


def _would_do(layout: Layout, tube: Tube, die: Die) -> bool:
    """Say whether a die bends as far as the tube turns, and no tighter than its stock may be."""
    line = centreline.of(layout, tube)
    most = max((bend.angle for bend in line.bends), default=0.0)
    least = bending.least_clr(layout.stocks[tube.stock])
    return die.largest_angle >= most - ANGLE_NOISE and die.clr >= least - LENGTH_NOISE


def _short_straight(layout: Layout, tube: Tube, finding: Finding) -> Mends:
    """Offer to move apart the ends of a straight that is too short."""
    line, die = centreline.of(layout, tube), bending.die_of(layout, tube)
    number = int(finding.words["straight"])
    is_between = 0 < number < len(line.bends)
    wanted = bending.least_between(die) if is_between and die is not None else 0.0
    yield from _apart(layout, tube, line, number, wanted - line.straights[number])
    yield from _corner_apart(layout, tube, line, number, wanted)


def _apart(layout: Layout, tube: Tube, line: Centreline, number: int, amount: float) -> Mends:
    """Offer to move one side of a straight, all of it, so that no turn changes; first the smaller side."""
    before, after = _leg(line, number)
    sides = ((before, range(after, len(tube.nodes))), (after, range(before, -1, -1)))
    for stays, moving in sorted(sides, key=lambda side: len(side[1])):
        nodes = tuple(tube.nodes[index] for index in moving)
        if all(_is_own(layout, tube, id) for id in nodes):
            words = _moving_words(line, number, is_later=stays == before)
            yield Mend("move apart", words, tube.id, amount, (tube.nodes[stays], *nodes))


def _corner_apart(layout: Layout, tube: Tube, line: Centreline, number: int, wanted: float) -> Mends:
    """Offer to move one corner alone along the leg; its turn and its neighbour's change."""
    before, after = _leg(line, number)
    for stays, moves in ((before, after), (after, before)):
        is_corner = 0 < moves < len(tube.nodes) - 1
        if not is_corner or not _is_own(layout, tube, tube.nodes[moves]):
            continue
        amount = _far_enough(line, number, stays, moves, wanted)
        if amount is not None:
            which = number + 1 if moves == after else number
            words = f"Move the corner of bend {which} {{amount}} along the leg"
            yield Mend("move apart", words, tube.id, amount, (tube.nodes[stays], tube.nodes[moves]))


def _far_enough(line: Centreline, number: int, stays: int, moves: int, wanted: float) -> float | None:
    """Return how far a corner goes from the one that stays until a straight is as long as wanted."""
    along = direction(line.points[stays], line.points[moves])
    clr = line.bends[0].radius

    def straight(amount: float) -> float:
        points = list(line.points)
        points[moves] = plus(points[moves], times(along, amount))
        turns = bending.turns(points)
        if len(turns) != len(line.bends):
            return math.nan
        return bending.true_straights(points, turns, clr)[number]

    start = line.straights[number]
    missing = wanted - start
    amount = missing
    for _ in range(STEPS):
        gained = straight(amount) - start
        if not gained > 0.0 or amount > FARTHEST * missing:
            return None
        if gained >= missing - LENGTH_NOISE:
            return amount
        amount *= missing / gained
    return amount + LENGTH_NOISE


def _leg(line: Centreline, number: int) -> tuple[int, int]:
    """Return the nodes between which a straight lies."""
    stops = (0, *(bend.index for bend in line.bends), len(line.points) - 1)
    return stops[number], stops[number + 1]


def _moving_words(line: Centreline, number: int, is_later: bool) -> str:
    """Say which nodes move, and which way."""
    last = len(line.bends)
    if is_later:
        what = "its end" if number == last else f"bend {number + 1} and all after it"
        stays = f"bend {number}" if number else "its start"
    else:
        what = "its start" if number == 0 else f"bend {number} and all before it"
        stays = f"bend {number + 1}" if number < last else "its end"
    return f"Move {what} {{amount}} away from {stays}"


def _is_own(layout: Layout, tube: Tube, id: int) -> bool:
    """Say whether no other tube uses a node."""
    return not any(id in other.nodes for other in layout.tubes.values() if other.id != tube.id)


def _cut_after(layout: Layout, tube: Tube, finding: Finding) -> Mends:
    """Offer to cut an end after bending."""
    end = finding.words["end"]
    yield Mend("cut after", f"Cut its {end} after bending", tube.id, nodes=finding.nodes)


def _other_order(layout: Layout, tube: Tube, finding: Finding) -> Mends:
    """Offer to bend from another end, to move apart what comes round to itself, then to split."""
    yield from _bend_from(layout, tube)
    if finding.severity == "error":
        line = centreline.of(layout, tube)
        inner = range(1, len(line.bends))
        roomier = (_apart(layout, tube, line, number, amount) for amount in ROOMIER for number in inner)
        yield from islice(chain.from_iterable(roomier), MOST)
    yield from _split(layout, tube, finding)


def _shorter_blank(layout: Layout, tube: Tube, finding: Finding) -> Mends:
    yield from _bend_from(layout, tube)
    yield from _split(layout, tube, finding)


def _bend_from(layout: Layout, tube: Tube) -> Mends:
    """Offer the order that is best where another one was chosen."""
    if tube.bend_from == "best":
        return
    fed = feeding.of(layout, replace(tube, bend_from="best"))
    if not fed.feeds:
        return
    first, last = fed.feeds[0].leads, fed.feeds[-1].leads
    wanted: BendFrom = first if first == last else "middle"
    yield Mend("bend from", f"Bend it from the {wanted}", tube.id, bend_from=wanted)


def _split(layout: Layout, tube: Tube, finding: Finding) -> Mends:
    station = splitting.place(layout, tube)
    if station is not None:
        words = "Split it with a sleeve {amount} from its start"
        yield Mend("split with sleeve", words, tube.id, station)


# What is said after the finding: with a mend its words and an alternative, without one what is left.
REMEDIES: dict[str, dict[str, str]] = {
    "blank.over_stick": {
        "or": ", or shorten it by {difference}",
        "nothing": "No straight has room for a sleeve clear of bends and joints; shorten it by "
        "{difference}, or move its bends and joints.",
    },
    "order.none": {
        "or": "",
        "itself": "Leave more straight between its bends, or turn less.",
        "floor": "Raise the bender in the rack if it stands higher, or let the tube turn less.",
        "bender": "Put the boxes of the bender right in the rack if they are not, or move the bends.",
        "nothing": "",
    },
}
SEARCHES: dict[str, Callable[[Layout, Tube, Finding], Mends]] = {
    "bend.other_die": _take_die,
    "bend.clr_below_stock": _take_die,
    "bend.angle_over_die": _take_die,
    "bend.tangents_overlap": _short_straight,
    "bend.between_short": _short_straight,
    "end.cut_before": _cut_after,
    "order.none": _other_order,
    "blank.over_stick": _shorter_blank,
}
