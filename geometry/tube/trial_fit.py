"""What each measurement of a trial bend says, and the fit to all of them.

Two fits, so that a dial that is not quite straight cannot bend the lengths: (offset, clr, consumed) to
the legs, and (dial_at_zero, dial_per_angle) to the dial. Both are linear once the angle is measured.
Their errors are tied through that angle, so they are carried together.
"""

import math
from collections.abc import Sequence
from typing import Literal

import numpy as np
from msgspec import Struct

from geometry.layout import BendPart, Die, Limits, Stock, TrialBend
from geometry.tube import least_squares
from geometry.tube.least_squares import Assumption, Rows, Solved, Verdict
from geometry.vectors import Floats

What = Literal["lead leg", "tail leg", "dial"]

# How much of a bend lies between its leading side and the part that the reference point belongs to.
PART: dict[BendPart, float] = {"start": 0.0, "middle": 0.5, "end": 1.0}
LEGS, DIAL = slice(0, 3), slice(3, 5)  # of the five parameters

# What is taken for granted until trial bends tell better, with the standard deviation it is given.
# No source: wide enough for the ways shops bend, so that nothing assumed passes for known.
OFFSET_SD = 25.0  # mm; a reference point that nobody has tried
CLR_SD = 0.05  # of the radius; the die's radius, opened as far as the dial is ahead of the angle
STRETCH_SD = 0.05  # of the radius; a bend takes as much blank as its arc is long
DIAL_AT_ZERO_SD = math.radians(2.0)  # the dial starts at 0
DIAL_PER_ANGLE_SD = 0.1  # of 1; used only where no dial reading makes sense
# Trial bends that know a parameter less well than this do not tell it, and the assumption helps out.
OFFSET_ENOUGH = 5.0  # mm
RADIUS_ENOUGH = 0.05  # of the radius, and of what a bend takes
# How much another batch of the same tube may differ from the last.
BATCH_DIAL_SD = 0.01
BATCH_RADIUS_SD = 0.01  # of the radius, and of what a bend takes
# Measured numbers that are farther than this from what the die makes one expect are slips.
PLAUSIBLE = 2.0  # times as much, or as little
LARGEST_DIAL_AT_ZERO = math.radians(45.0)

# Nobody reads better than this; it keeps the weights finite where a shop states no error at all.
LEAST_TAPE = 1e-3  # mm
LEAST_GAUGE = 1e-5  # rad
ERRORS = 6  # of a trial, each apart from the others
MARK, LENGTH, LEAD_LEG, TAIL_LEG, ANGLE, DIAL_SET = range(ERRORS)
SETTLED, ROUNDS = 1e-12, 20  # of the weights


class Accuracy(Struct, frozen=True):
    """The standard deviation of one length, and of one angle. The dial is set as well as an angle is read."""

    tape: float
    gauge: float


class Prior(Struct, frozen=True, eq=False):
    """What an older batch taught of the five parameters."""

    values: Floats
    covariance: Floats


class Fit(Struct, frozen=True, eq=False):
    """Both fits of one batch, and the rows they were made from."""

    leg_rows: Rows
    dial_rows: Rows
    legs: Solved
    dials: Solved
    covariance: Floats  # (5, 5)
    legs_make_sense: bool  # if not, only what is assumed counts
    dials_make_sense: bool

    @property
    def values(self) -> Floats:
        return np.concatenate([self.legs.value, self.dials.value])

    @property
    def told(self) -> tuple[bool, ...]:
        return (*self.legs.told, *self.dials.told)


class Verdicts(Struct, frozen=True):
    """Whether the trial bends of a batch agree; who is wrong is named by place."""

    legs: Verdict
    dials: Verdict


def accuracy(limits: Limits) -> Accuracy:
    return Accuracy(max(limits.tape_error, LEAST_TAPE), max(limits.gauge_error, LEAST_GAUGE))


def fit(
    trials: Sequence[TrialBend], die: Die, stock: Stock, accuracy: Accuracy, prior: Prior | None = None
) -> Fit:
    """Fit dial and legs of one batch; numbers that cannot be are left aside for what is assumed."""
    dial_rows, dials = _dials(trials, accuracy, prior)
    at_zero, per_angle = dials.value
    dials_make_sense = _is_near(per_angle, 1.0) and abs(at_zero) <= LARGEST_DIAL_AT_ZERO
    if not dials_make_sense:
        dials = least_squares.solve(dial_rows.none, assumed_of_dial((), prior))
    assumed = assumed_of_legs(die, _opening(trials) if dials_make_sense else 1.0, prior)
    leg_rows, legs = _legs(trials, die, stock, accuracy, assumed)
    offset, clr, consumed = legs.value
    radii_make_sense = _is_near(clr, die.clr) and _is_near(consumed, die.clr)
    legs_make_sense = radii_make_sense and abs(offset - die.reference) <= PLAUSIBLE * die.clr
    if not legs_make_sense:
        legs = least_squares.solve(leg_rows.none, assumed)
    covariance = least_squares.joint_covariance(legs, dials, _tie(prior, legs, dials))
    return Fit(leg_rows, dial_rows, legs, dials, covariance, legs_make_sense, dials_make_sense)


def verdicts(fit: Fit) -> Verdicts:
    return Verdicts(least_squares.verdict(fit.leg_rows), least_squares.verdict(fit.dial_rows))


def rows_of_legs(
    trials: Sequence[TrialBend], die: Die, stock: Stock, accuracy: Accuracy, clr: float, consumed: float
) -> Rows:
    """Return what the legs say of (offset, clr, consumed): of each trial, the lead leg first.

    lead leg - mark - r t = offset + t clr - k A consumed
    tail leg - length + mark - r t = -offset + t clr - (1 - k) A consumed
    with r = OD / 2, t = tan(A / 2) (or 1, measured to the back), k the part of the bend at the mark.
    The clr and consumed given only say how much a wrong angle moves a row.
    """
    tape, part = accuracy.tape, PART[die.mark_at]
    rows = _Table(3)
    for place, trial in enumerate(trials):
        reach, growth = leg_reach(trial)
        outside, grows = stock.od / 2.0 * reach, (clr + stock.od / 2.0) * growth
        if trial.lead_leg is not None:
            taken = part * trial.angle
            errors = {
                LEAD_LEG: tape,
                MARK: -tape,
                ANGLE: (part * consumed - grows) * accuracy.gauge,
            }
            rows.add(place, (1.0, reach, -taken), trial.lead_leg - trial.mark - outside, errors)
        if trial.tail_leg is not None:
            rest = 1.0 - part
            errors = {
                TAIL_LEG: tape,
                LENGTH: -tape,
                MARK: tape,
                ANGLE: (rest * consumed - grows) * accuracy.gauge,
            }
            value = trial.tail_leg - trial.length + trial.mark - outside
            rows.add(place, (-1.0, reach, -rest * trial.angle), value, errors)
    return rows.built(len(trials))


def legs_measured(trials: Sequence[TrialBend]) -> tuple[What, ...]:
    """Return what each row of the legs is."""
    whats: list[What] = []
    for trial in trials:
        whats += ["lead leg"] if trial.lead_leg is not None else []
        whats += ["tail leg"] if trial.tail_leg is not None else []
    return tuple(whats)


def rows_of_dials(trials: Sequence[TrialBend], accuracy: Accuracy, per_angle: float) -> Rows:
    """Return what the dials say of (dial_at_zero, dial_per_angle): dial = at zero + A per angle."""
    rows = _Table(2)
    for place, trial in enumerate(trials):
        errors = {DIAL_SET: accuracy.gauge, ANGLE: -per_angle * accuracy.gauge}
        rows.add(place, (1.0, trial.angle), trial.dial, errors)
    return rows.built(len(trials))


def leg_reach(trial: TrialBend) -> tuple[float, float]:
    """Return how many radii a leg reaches beyond its straight, and how that grows with the angle."""
    if trial.measured_to == "back":
        return 1.0, 0.0
    reach = math.tan(trial.angle / 2.0)
    return reach, 0.5 * (1.0 + reach**2)


def assumed_of_legs(die: Die, opening: float, prior: Prior | None = None) -> Assumption:
    """Return what holds of (offset, clr, consumed) where nothing tells; opening is dial over angle."""
    clr = die.clr * opening  # the arc keeps its length when it opens
    enough = np.array([OFFSET_ENOUGH, RADIUS_ENOUGH * clr, RADIUS_ENOUGH * clr])
    if prior is not None:
        return _from_prior(prior, LEGS, enough)
    rows = np.array(
        [
            [1.0 / OFFSET_SD, 0.0, 0.0],
            [0.0, 1.0 / (CLR_SD * clr), 0.0],
            [0.0, -1.0 / (STRETCH_SD * clr), 1.0 / (STRETCH_SD * clr)],
        ]
    )
    return Assumption(rows, np.array([die.reference / OFFSET_SD, 1.0 / CLR_SD, 0.0]), enough)


def assumed_of_dial(trials: Sequence[TrialBend], prior: Prior | None = None) -> Assumption:
    """Return what holds of (dial_at_zero, dial_per_angle): with a reading, only where the dial starts."""
    middle = sum(trial.angle for trial in trials) / len(trials) if trials else 1.0
    enough = np.array([DIAL_AT_ZERO_SD, DIAL_AT_ZERO_SD / middle])
    if prior is not None:
        return _from_prior(prior, DIAL, enough)
    if trials:
        return Assumption(np.array([[1.0 / DIAL_AT_ZERO_SD, 0.0]]), np.array([0.0]), enough)
    sd = np.array([DIAL_AT_ZERO_SD, DIAL_PER_ANGLE_SD])
    return Assumption(np.diag(1.0 / sd), np.array([0.0, 1.0 / DIAL_PER_ANGLE_SD]), enough)


def for_another_batch(die: Die, covariance: Floats) -> Floats:
    """Return the covariance of what one batch taught as it holds for another."""
    radius = (BATCH_RADIUS_SD * die.clr) ** 2
    wider: Floats = covariance + np.diag([0.0, radius, radius, 0.0, BATCH_DIAL_SD**2])
    return wider


def _dials(trials: Sequence[TrialBend], accuracy: Accuracy, prior: Prior | None) -> tuple[Rows, Solved]:
    """Fit, weigh anew by what was found, and fit again until it settles."""
    per_angle, assumed = 1.0, assumed_of_dial(trials, prior)
    for _ in range(ROUNDS):
        rows = rows_of_dials(trials, accuracy, per_angle)
        solved = least_squares.solve(rows, assumed)
        before, per_angle = per_angle, _held(solved.value[1], 1.0)
        if abs(per_angle - before) < SETTLED:
            break
    return rows, solved


def _legs(
    trials: Sequence[TrialBend], die: Die, stock: Stock, accuracy: Accuracy, assumed: Assumption
) -> tuple[Rows, Solved]:
    """Do the same with the legs."""
    clr = consumed = die.clr
    for _ in range(ROUNDS):
        rows = rows_of_legs(trials, die, stock, accuracy, clr, consumed)
        solved = least_squares.solve(rows, assumed)
        before = clr, consumed
        clr, consumed = (_held(value, die.clr) for value in solved.value[1:])
        if max(abs(clr - before[0]), abs(consumed - before[1])) < SETTLED * die.clr:
            break
    return rows, solved


def _opening(trials: Sequence[TrialBend]) -> float:
    """Return how many times the dial is the angle that came out."""
    return sum(trial.dial / trial.angle for trial in trials) / len(trials)


class _Table:
    """Gathers rows: the trial's place, design, value, and what its errors do."""

    def __init__(self, parameters: int) -> None:
        self._parameters = parameters
        self._rows: list[tuple[int, tuple[float, ...], float, dict[int, float]]] = []

    def add(self, place: int, design: tuple[float, ...], value: float, errors: dict[int, float]) -> None:
        self._rows.append((place, design, value, errors))

    def built(self, trials: int) -> Rows:
        response = np.zeros((len(self._rows), ERRORS * trials))
        for i, (place, _, _, errors) in enumerate(self._rows):
            for error, moved in errors.items():
                response[i, ERRORS * place + error] = moved
        return Rows(
            tuple(row[0] for row in self._rows),
            np.array([row[1] for row in self._rows]).reshape(-1, self._parameters),
            np.array([row[2] for row in self._rows]),
            response,
        )


def _from_prior(prior: Prior, block: slice, enough: Floats) -> Assumption:
    rows = np.linalg.inv(np.linalg.cholesky(prior.covariance[block, block]))
    return Assumption(rows, rows @ prior.values[block], enough)


def _tie(prior: Prior | None, legs: Solved, dials: Solved) -> Floats:
    """Return the covariance between the assumed rows of the legs and those of the dial."""
    if prior is None:
        return np.zeros((legs.assumed_gain.shape[1], dials.assumed_gain.shape[1]))
    left = np.linalg.cholesky(prior.covariance[LEGS, LEGS])
    right = np.linalg.cholesky(prior.covariance[DIAL, DIAL])
    tie: Floats = np.linalg.solve(left, prior.covariance[LEGS, DIAL]) @ np.linalg.inv(right).T
    return tie


def _held(value: float, usual: float) -> float:
    return min(max(float(value), usual / PLAUSIBLE), usual * PLAUSIBLE)


def _is_near(value: float, usual: float) -> bool:
    return usual / PLAUSIBLE <= float(value) <= usual * PLAUSIBLE
