"""From a tube and what its die was taught to marks on the blank, turns and dial angles."""

import math
from functools import lru_cache
from typing import Literal

from msgspec import Struct

from geometry.layout import Layout, Tube
from geometry.tolerances import ANGLE_NOISE
from geometry.tube import bending, centreline, feeding, trials
from geometry.tube.centreline import CACHED_LINES, Centreline
from geometry.tube.feeding import Feed, Feeding
from geometry.tube.trial_fit import PART
from geometry.tube.trials import Calibration, Estimate

FULL_TURN = 2.0 * math.pi


class Step(Struct, frozen=True):
    """One bend as it is made, in the order of bending. Marks run from the sawn start end of the blank."""

    bend: int  # its number, counted from 1 at the start of the tube
    leads: Literal["start", "end"]  # the end that is ahead of the die
    is_turned_round: bool  # the tube is turned end for end before this bend
    start: float  # where the bend takes the straight blank: the side nearer the start of the tube
    end: float
    mark: float  # what is set at the die's reference point
    turned_from: int | None  # the made bend that lies flat when the dial shows 0; None: this is the first
    rotation: float  # from the neighbouring made bend, positive clockwise from the tail, in (-pi, pi]
    dial: float  # reading of the rotation dial, in [0, 2 pi); it runs on until the tube is turned round
    angle: float  # of the bend
    set_angle: float  # of the bender's dial, so that the angle comes out
    lead: float  # straight ahead of the bend that the die holds
    tail: float


class Plan(Struct, frozen=True, eq=False):
    """How one tube is sawn, marked and bent: exact, before any rounding.

    A tube that cannot be made, or has no die, has no steps; its blank then is that of the drawn tube.
    """

    steps: tuple[Step, ...]
    blank: float
    start_trim: float  # marks of the trim lines
    end_trim: float
    stretch: float  # how much longer than its blank the tube gets
    feeding: Feeding
    calibration: Calibration


def of(layout: Layout, tube: Tube) -> Plan:
    """Return the plan of a tube; the same object as long as what it depends on is equal."""
    die = bending.die_of(layout, tube)
    if die is None:
        calibration = undied(bending.clr_of(layout, tube))
    else:
        calibration = trials.learnt(layout, die, layout.stocks[tube.stock])
    return planned(centreline.of(layout, tube), feeding.of(layout, tube), calibration)


@lru_cache(maxsize=CACHED_LINES)
def planned(line: Centreline, fed: Feeding, calibration: Calibration) -> Plan:
    """Return the plan of a centreline bent in a given order on a given machine."""
    consumed = calibration.consumed.value
    turned = sum(bend.angle for bend in line.bends)
    is_bent = line.is_makeable and bool(fed.feeds)
    # What cannot be bent does not stretch either: its blank is that of the drawn tube.
    stretch = (calibration.clr.value - consumed) * turned if is_bent else 0.0
    blank = fed.start_allowance + line.length - stretch + fed.end_allowance
    steps = _steps(line, fed, calibration) if is_bent else ()
    return Plan(steps, blank, fed.start_allowance, blank - fed.end_allowance, stretch, fed, calibration)


def undied(clr: float) -> Calibration:
    """Return the calibration of a tube that no die is there for: its drawn radius, nothing else."""
    drawn, nothing = Estimate(clr), Estimate(0.0)
    return Calibration("none", "start", nothing, drawn, drawn, nothing, Estimate(1.0))


def reading(angle: float) -> float:
    """Return what the rotation dial shows, in [0, 2 pi); a hair below a full turn is zero."""
    shown = angle % FULL_TURN
    return 0.0 if FULL_TURN - shown <= ANGLE_NOISE else shown


def _steps(line: Centreline, fed: Feeding, calibration: Calibration) -> tuple[Step, ...]:
    """Return the bends in the order of the feeds."""
    starts = _starts(line, fed.start_allowance, calibration.consumed.value)
    rows = bending.bend_data(line.points, calibration.clr.value).rows
    steps: list[Step] = []
    made: set[int] = set()
    for feed in fed.feeds:
        before = steps[-1] if steps else None
        from_bend = _neighbour(feed, made)
        # The row of the later of two neighbours holds the turn between them, whichever is made first.
        rotation = 0.0 if from_bend is None else rows[max(feed.bend, from_bend)].rotation
        is_turned_round = before is not None and before.leads != feed.leads
        runs_on = before is not None and not is_turned_round
        angle, start = rows[feed.bend].angle, starts[feed.bend]
        end = start + calibration.consumed.value * angle
        steps.append(
            Step(
                bend=feed.bend + 1,
                leads=feed.leads,
                is_turned_round=is_turned_round,
                start=start,
                end=end,
                mark=_mark(feed.leads, start, end, calibration),
                turned_from=_flat_bend(steps, from_bend, runs_on),
                rotation=rotation,
                dial=reading((before.dial if before and runs_on else 0.0) + rotation),
                angle=angle,
                set_angle=trials.dial(calibration, angle),
                lead=feed.lead,
                tail=feed.tail,
            )
        )
        made.add(feed.bend)
    return tuple(steps)


def _flat_bend(steps: list[Step], from_bend: int | None, runs_on: bool) -> int | None:
    """Return the number of the bend that lies flat while the dial shows 0."""
    if from_bend is None:
        return None
    if not runs_on:
        return from_bend + 1
    # The run's first bend was made at 0, or at its turn from the bend that was flat then.
    return steps[-1].turned_from or steps[-1].bend


def _starts(line: Centreline, start_allowance: float, consumed: float) -> list[float]:
    """Return where each bend begins on the blank, from its start."""
    starts, here = [], start_allowance
    for straight, bend in zip(line.straights, line.bends, strict=False):
        here += straight
        starts.append(here)
        here += consumed * bend.angle
    return starts


def _neighbour(feed: Feed, made: set[int]) -> int | None:
    """Return the made bend next to a bend: the one on the leading side where there are two."""
    ahead = -1 if feed.leads == "start" else 1
    return next((i for i in (feed.bend + ahead, feed.bend - ahead) if i in made), None)


def _mark(leads: Literal["start", "end"], start: float, end: float, calibration: Calibration) -> float:
    """Return the mark that is set at the reference point, from the start of the blank."""
    behind = PART[calibration.mark_at] * (end - start) - calibration.offset.value
    return start + behind if leads == "start" else end - behind
