"""Can the bender make the tube: radius, die, tangents, straights, angles, order, length of the blank."""

from geometry.checks import proposals
from geometry.checks.finding import Amount, Finding
from geometry.checks.proposals import Harms, no_harm
from geometry.layout import BendFrom, Die, Layout, Tube
from geometry.tolerances import ANGLE_NOISE, LARGEST_TURN, LENGTH_NOISE
from geometry.tube import bending, centreline, feeding
from geometry.tube.centreline import Bend, Centreline
from geometry.tube.feeding import Trouble, TubeEnd
from geometry.vectors import Vec3, between

Found = tuple[Finding, ...]
ENDS: tuple[TubeEnd, TubeEnd] = ("start", "end")
FROM: dict[BendFrom, str] = {"start": "its start", "end": "its end", "middle": "its middle"}
THINGS = {"itself": "its own tail", "floor": "the floor", "bender": "the bender ({box})"}


def findings(layout: Layout, tube: Tube, harms: Harms = no_harm) -> Found:
    """Return what stands against bending the tube from one piece of stock, with changes that mend it."""
    found = judged(layout, tube)
    return tuple(proposals.with_mend(layout, tube, one, judged, harms) for one in found)


def judged(layout: Layout, tube: Tube) -> Found:
    """Return what stands against bending the tube, without what would mend it."""
    line = centreline.of(layout, tube)
    short = _too_short(layout, tube, line)
    if short:
        return short
    if not line.bends:
        return _over_stick(layout, tube, line)
    die = bending.die_of(layout, tube)
    return (
        *_die(layout, tube, line, die),
        *(found for number in range(len(line.bends)) for found in _angle(tube, line, number, die)),
        *(found for number in range(len(line.straights)) for found in _straight(tube, line, number, die)),
        *_feeding(layout, tube, line, die),
        *_over_stick(layout, tube, line),
    )


def _too_short(layout: Layout, tube: Tube, line: Centreline) -> Found:
    od = layout.stocks[tube.stock].od
    if line.length >= od:
        return ()
    return (
        Finding(
            rule="tube.too_short",
            severity="error",
            message="{tube} is {value} long, less than its own diameter of {limit}. Move its ends apart, "
            "or delete it.",
            tubes=(tube.id,),
            nodes=tube.nodes,
            value=line.length,
            limit=od,
            quantity="length",
            at=line.points[0],
        ),
    )


def _die(layout: Layout, tube: Tube, line: Centreline, die: Die | None) -> Found:
    """Judge the die as such: whether there is one, for this OD, and gentle enough for the stock."""
    stock = layout.stocks[tube.stock]
    nodes = tuple(tube.nodes[bend.index] for bend in line.bends)
    at = line.bends[0].corner
    if die is None:
        message = (
            "The rack has no die for {tube}, which is {od} tube; its bends are drawn with a radius of {clr}. "
            "Add a die for that diameter to the rack, or choose another stock."
        )
        amounts = {"od": Amount(stock.od, "length"), "clr": Amount(line.bends[0].radius, "length")}
        return (Finding("bend.no_die", "warning", message, (tube.id,), nodes, at=at, amounts=amounts),)
    if not bending.is_for(die, stock):
        return (
            Finding(
                rule="bend.other_die",
                severity="error",
                message="{tube} is {limit} tube, but its die ({die}) takes {value} tube. Choose a die for "
                "{limit} tube.",
                tubes=(tube.id,),
                nodes=nodes,
                value=die.od,
                limit=stock.od,
                quantity="length",
                at=at,
                words={"die": die.name},
            ),
        )
    if die.clr >= bending.least_clr(stock) - LENGTH_NOISE:
        return ()
    return (
        Finding(
            rule="bend.clr_below_stock",
            severity="warning",
            message="The die of {tube} ({die}) bends on a radius of {value}; its stock ({stock}) needs "
            "{limit} or more. Choose a die with a larger radius, or a stock that may be bent tighter.",
            tubes=(tube.id,),
            nodes=nodes,
            value=die.clr,
            limit=bending.least_clr(stock),
            quantity="length",
            at=at,
            words={"die": die.name, "stock": stock.name},
        ),
    )


def _angle(tube: Tube, line: Centreline, number: int, die: Die | None) -> Found:
    """Judge how far one bend turns."""
    bend = line.bends[number]
    if bend.angle > LARGEST_TURN:
        rule, limit = "bend.turn_too_sharp", LARGEST_TURN
        message = (
            "Bend {bend} of {tube} doubles back by {value}, more than any bend can ({limit}). Move the "
            "corner so that the tube turns less, or split the tube there."
        )
    elif die is not None and bend.angle > die.largest_angle + ANGLE_NOISE:
        rule, limit = "bend.angle_over_die", die.largest_angle
        message = (
            "Bend {bend} of {tube} turns by {value}; its die ({die}) stops at {limit}. Spread the turn over "
            "two bends, or choose a die that bends farther."
        )
    else:
        return ()
    return (
        Finding(
            rule=rule,
            severity="error",
            message=message,
            tubes=(tube.id,),
            nodes=(tube.nodes[bend.index],),
            value=bend.angle,
            limit=limit,
            quantity="angle",
            at=bend.corner,
            words={"bend": str(number + 1), "die": die.name if die else ""},
        ),
    )


def _straight(tube: Tube, line: Centreline, number: int, die: Die | None) -> Found:
    """Judge one straight: number 0 runs to the first bend, the last one from the last bend."""
    neighbours = line.bends[max(number - 1, 0) : number + 1]
    if any(bend.angle > LARGEST_TURN for bend in neighbours):
        return ()  # its tangents mean nothing, and the corner has a finding of its own
    straight = line.straights[number]
    if straight < -LENGTH_NOISE:
        return (_overlap(tube, line, number, neighbours),)
    if len(neighbours) < 2 or die is None:
        return ()
    least = bending.least_between(die)
    if straight >= least - LENGTH_NOISE:
        return ()
    is_measured = die.between_straight > 0.0
    because = (
        "its die ({die}) needs {limit}"
        if is_measured
        else "{limit} is assumed until the least straight of its die ({die}) is entered in the rack"
    )
    return (
        Finding(
            rule="bend.between_short",
            severity="error" if is_measured else "warning",
            message="Between bends {bend} and {next} of {tube} {value} of straight is left; "
            + because
            + ". Move their corners {difference} farther apart.",
            tubes=(tube.id,),
            nodes=_nodes_of(tube, neighbours),
            value=straight,
            limit=least,
            quantity="length",
            at=_middle(neighbours),
            words={
                "bend": str(number),
                "next": str(number + 1),
                "die": die.name,
                "straight": str(number),
            },
        ),
    )


def _overlap(tube: Tube, line: Centreline, number: int, neighbours: tuple[Bend, ...]) -> Finding:
    needed = sum(bend.tangent for bend in neighbours)
    is_between = 0 < number < len(line.straights) - 1
    if is_between:
        where = "The leg between bends {bend} and {next} of {tube}"
        mend = "Move their corners {difference} farther apart, or turn less."
    else:
        where = f"The leg from the {'start' if number == 0 else 'end'} of {{tube}} to bend {{bend}}"
        mend = "Move the end {difference} out, or turn less."
    first = number if number else 1
    return Finding(
        rule="bend.tangents_overlap",
        severity="error",
        message=where + " is {value} long, and bending takes {limit} of it. " + mend,
        tubes=(tube.id,),
        nodes=_nodes_of(tube, neighbours),
        value=needed + line.straights[number],
        limit=needed,
        quantity="length",
        at=_middle(neighbours),
        words={"bend": str(first), "next": str(first + 1), "straight": str(number)},
    )


def _feeding(layout: Layout, tube: Tube, line: Centreline, die: Die | None) -> Found:
    """Judge the best order of bending: what the die can hold, and what is in the way."""
    if die is None or not line.is_makeable or not bending.is_for(die, layout.stocks[tube.stock]):
        return ()
    fed = feeding.of(layout, tube)
    leads = {feed.bend: feed.leads for feed in fed.feeds}
    held = [trouble for trouble in fed.troubles if trouble.kind in ("lead", "tail")]
    ends = {_end_of(trouble, leads[trouble.bend]): trouble for trouble in reversed(held)}
    swung = [trouble for trouble in fed.troubles if trouble.kind in ("itself", "floor", "bender")]
    # What the tube does to itself is worse than what a box may only seem to do.
    worst = min(swung, key=lambda trouble: (trouble.kind != "itself", trouble.value), default=None)
    return (
        *(_cut_before(tube, line, die, end, ends[end]) for end in ENDS if end in ends),
        *((_in_the_way(tube, line, worst, leads[worst.bend]),) if worst else ()),
    )


def _end_of(trouble: Trouble, leads: TubeEnd) -> TubeEnd:
    """Return the end of the tube on whose side a straight is too short."""
    return leads if trouble.kind == "lead" else ENDS[1 - ENDS.index(leads)]


def _cut_before(tube: Tube, line: Centreline, die: Die, end: TubeEnd, trouble: Trouble) -> Finding:
    bend = line.bends[trouble.bend]
    return Finding(
        rule="end.cut_before",
        severity="error",
        message="The {end} of {tube} is cut to fit before bending and leaves {value} of straight beside bend "
        "{bend}; its die ({die}) needs {limit} there. Cut that end after bending, or make its straight "
        "{difference} longer.",
        tubes=(tube.id,),
        nodes=(tube.nodes[0 if end == "start" else -1],),
        value=trouble.value,
        limit=trouble.limit,
        quantity="length",
        at=bend.corner,
        words={"end": end, "bend": str(trouble.bend + 1), "die": die.name},
    )


def _in_the_way(tube: Tube, line: Centreline, trouble: Trouble, leads: TubeEnd) -> Finding:
    """Word what no order, or not the one that was chosen, keeps clear of."""
    bend = line.bends[trouble.bend]
    if tube.bend_from == "best":
        whence = (
            "No order of bending keeps {tube} clear: in the best one it would go {difference} into {thing}"
        )
    else:
        whence = f"Bent from {FROM[tube.bend_from]}, {{tube}} would go {{difference}} into {{thing}}"
    return Finding(
        rule="order.none",
        severity="error" if trouble.kind == "itself" else "warning",
        message=whence + " at bend {bend}, with its {end} leading.",
        tubes=(tube.id,),
        nodes=(tube.nodes[bend.index],),
        value=trouble.value,
        limit=trouble.limit,
        quantity="length",
        at=bend.corner,
        words={
            "bend": str(trouble.bend + 1),
            "end": leads,
            "thing": THINGS[trouble.kind].format(box=trouble.box),
            "kind": trouble.kind,
        },
    )


def _over_stick(layout: Layout, tube: Tube, line: Centreline) -> Found:
    stock = layout.stocks[tube.stock]
    blank = feeding.of(layout, tube).blank
    if blank <= stock.stick + LENGTH_NOISE:
        return ()
    return (
        Finding(
            rule="blank.over_stick",
            severity="error",
            message="{tube} needs a blank of {value}, and the longest stick of its stock ({stock}) is "
            "{limit}.",
            tubes=(tube.id,),
            value=blank,
            limit=stock.stick,
            quantity="length",
            at=line.points[0],
            words={"stock": stock.name},
        ),
    )


def _nodes_of(tube: Tube, some: tuple[Bend, ...]) -> tuple[int, ...]:
    return tuple(tube.nodes[bend.index] for bend in some)


def _middle(neighbours: tuple[Bend, ...]) -> Vec3:
    return between(neighbours[0].corner, neighbours[-1].corner, 0.5)
