"""The next trial bend to make: what to saw, where to mark it, what to set the dial to. Imports no Qt."""

import math

from msgspec import Struct

from app.units import MM_PER_INCH, Units
from geometry.layout import Die, Layout, Stock
from geometry.tube import trial_fit, trials

SMALL = 1e-6  # a length that is a whole number of steps stays as it is


class Proposal(Struct, frozen=True):
    """One bend in scrap: its length, where to mark it from the leading end, and the dial."""

    length: float
    mark: float
    dial: float


class Steps(Struct, frozen=True):
    """Lengths that are easy to mark with the person's tape."""

    usual: float  # scrap
    length: float
    mark: float


METRIC = Steps(600.0, 50.0, 10.0)
INCHES = Steps(24.0 * MM_PER_INCH, 2.0 * MM_PER_INCH, 0.5 * MM_PER_INCH)


def propose(layout: Layout, die: Die, stock: Stock, units: Units) -> Proposal:
    """Return a bend that the die can hold, at the angle that would tell most."""
    calibration = trials.learnt(layout, die, stock)
    steps = METRIC if units.length == "mm" else INCHES
    angle = calibration.next_angle
    taken = calibration.consumed.value * angle
    ahead = trial_fit.PART[calibration.mark_at] * taken - calibration.offset.value
    mark = max(_up(die.first_straight + ahead, steps.mark), steps.mark)
    needed = mark - ahead + taken + die.tail
    return Proposal(max(_up(needed, steps.length), steps.usual), mark, angle)


def _up(value: float, step: float) -> float:
    return math.ceil(value / step - SMALL) * step
