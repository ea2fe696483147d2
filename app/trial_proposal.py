"""The next trial bend to make: what to saw, where to mark it, what to set the dial to. Imports no Qt."""

import math

from msgspec import Struct

from app.units import MM_PER_INCH, Units
from geometry.layout import Die, Layout, Stock
from geometry.tolerances import ANGLE_NOISE
from geometry.tube import trial_advice, trial_fit, trials
from geometry.tube.trials import Calibration

FIRST_ANGLE = math.radians(90.0)  # squares are at hand, and its back can be measured
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
    angle = next_angle(layout, die, stock, calibration)
    taken = calibration.consumed.value * angle
    ahead = trial_fit.PART[calibration.mark_at] * taken - calibration.offset.value
    mark = max(_up(die.first_straight + ahead, steps.mark), steps.mark)
    needed = mark - ahead + taken + die.tail
    return Proposal(max(_up(needed, steps.length), steps.usual), mark, angle)


def next_angle(layout: Layout, die: Die, stock: Stock, calibration: Calibration) -> float:
    """Return the angle at which one more bend of the batch on the rack tells most."""
    bent = [layout.trials[id] for id in calibration.trials if id in layout.trials]
    if calibration.state == "check first" or not bent:
        most = min(FIRST_ANGLE, die.largest_angle) + ANGLE_NOISE
        return max((angle for angle in trial_advice.ANGLES if angle <= most), default=die.largest_angle)
    accuracy = trial_fit.accuracy(layout.limits)
    return trial_advice.best_next(bent, die, stock, accuracy, trial_fit.fit(bent, die, stock, accuracy))


def _up(value: float, step: float) -> float:
    return math.ceil(value / step - SMALL) * step
