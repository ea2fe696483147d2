"""What is set at the bender, step by step, as the sheet and the tables print it: rounded once, here."""

import math
from typing import Literal

from msgspec import Struct

from app import units as units_of
from app import wording
from app.units import Units
from app.wording import TurnWord
from geometry.layout import Layout
from geometry.shop import rounding
from geometry.shop.rounding import Rounded
from geometry.shop.schedule import TubeRecord
from geometry.tube import springback
from geometry.tube.plan import Step
from geometry.tube.trials import Calibration

Trust = Literal["told", "about", "at least"]  # by trial bends, by too few of them, by plastic theory alone


class BenderStep(Struct, frozen=True):
    """One bend as it is set. Lengths from the sawn start end of the blank; what is set is rounded."""

    number: int  # in the order of bending
    bend: int  # as in the views
    leads: str  # START or END
    is_turned_round: bool
    flat_bend: int | None  # the made bend that lies flat when the dial shows 0
    mark: float  # set at the die
    start: float  # where the bend takes the blank when that mark is set
    end: float
    dial: float
    turn: float  # up to this reading, clockwise positive, in (-pi, pi]
    word: TurnWord | None  # None for the first bend
    set_angle: float | None  # of the bender; None: nobody knows it
    trust: Trust  # how that is known
    angle: float  # that must come out
    straight: float | None  # up to the bend made before, beside this one
    error: float | None  # what rounding leaves at the bend's corner


def rounded(record: TubeRecord, layout: Layout, units: Units) -> Rounded:
    """Return a tube's numbers in the steps of the print's tape and the shop's dial."""
    return rounding.of(record.plan, units_of.mark_step(units), layout.limits.angle_step)


def of(record: TubeRecord, layout: Layout, units: Units) -> tuple[BenderStep, ...]:
    """Return the steps of a tube in the order of bending."""
    numbers, plan = rounded(record, layout, units), record.plan
    rows: list[BenderStep] = []
    for i, step in enumerate(plan.steps):
        starts_anew = i == 0 or step.is_turned_round
        dial = numbers.dials[i]
        turn = _wrapped(dial - (0.0 if starts_anew else numbers.dials[i - 1]))
        moved = numbers.marks[i] - step.mark  # the bend moves with its mark
        set_angle, trust = _set_angle(record, step, numbers.set_angles[i], layout.limits.angle_step)
        rows.append(
            BenderStep(
                number=i + 1,
                bend=step.bend,
                leads=leads_text(step),
                is_turned_round=step.is_turned_round,
                flat_bend=step.turned_from,
                mark=numbers.marks[i],
                start=step.start + moved,
                end=step.end + moved,
                dial=dial,
                turn=turn,
                word=None if i == 0 else wording.turn_word(turn, layout.limits.angle_step),
                set_angle=set_angle,
                trust=trust,
                angle=numbers.angles[i],
                straight=_straight(record, plan.steps[:i], step),
                error=numbers.left[step.bend] if len(numbers.left) > step.bend else None,
            )
        )
    return tuple(rows)


def leads_text(step: Step) -> str:
    """Return the end that leads, as the views name it."""
    return step.leads.upper()


def tells_dial(known: Calibration) -> bool:
    """Say whether trial bends tell what the bender must be set to."""
    return known.dial_at_zero.told and known.dial_per_angle.told


def _set_angle(record: TubeRecord, step: Step, rounded: float, by: float) -> tuple[float | None, Trust]:
    """Return what the bender is set to; without trial bends its lower bound, rounded down."""
    known = record.plan.calibration
    if known.state != "none":
        return rounded, "told" if tells_dial(known) else "about"
    least = springback.lower_bound(record.stock, known.clr.value, step.angle)
    return None if least is None else math.floor(least / by + units_of.TIE_NOISE) * by, "at least"


def _straight(record: TubeRecord, before: tuple[Step, ...], step: Step) -> float | None:
    """Return the straight between a bend and the made one beside it, ahead of it where there are two."""
    made = {other.bend for other in before}
    ahead = step.bend - 1 if step.leads == "start" else step.bend + 1
    behind = step.bend + 1 if step.leads == "start" else step.bend - 1
    neighbour = next((bend for bend in (ahead, behind) if bend in made), None)
    if neighbour is None:
        return None
    return record.bends[max(step.bend, neighbour) - 1].straight_before


def _wrapped(angle: float) -> float:
    """Return an angle in (-pi, pi]; a hair above half a turn the other way is half a turn."""
    turn = math.remainder(angle, 2.0 * math.pi)
    return math.pi if turn <= units_of.TIE_NOISE - math.pi else turn
