"""What trial bends teach of a die with a stock: where a bend starts, springback, stretch, radius."""

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Literal

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from geometry.layout import BendPart, Die, Layout, Limits, Stock, TrialBend
from geometry.tube import trial_advice, trial_fit
from geometry.tube.trial_fit import PART, Assumption, Guess, Rows, Solved
from geometry.vectors import Floats

State = Literal["none", "check first", "partial", "measured"]
What = Literal["lead leg", "tail leg", "dial"]

# What is taken for granted until trial bends tell better, with the standard deviation it is given.
# No source: wide enough for the ways shops bend, so that nothing assumed passes for known.
OFFSET_SD = 10.0  # mm; a reference point that nobody has tried
CLR_SD = 0.05  # of the radius; the die's radius, opened as far as the dial is ahead of the angle
STRETCH_SD = 0.05  # of the radius; a bend takes as much blank as its arc is long
DIAL_AT_ZERO_SD = math.radians(2.0)  # the dial starts at 0
DIAL_PER_ANGLE_SD = 0.1  # of 1; used only where no dial reading makes sense
# How much another batch of the same tube may differ from the last.
BATCH_DIAL_SD = 0.01
BATCH_RADIUS_SD = 0.01  # of the radius, and of what a bend takes
DISAGREES = 3.0  # standard deviations
PLAUSIBLE = 2.0  # times as much, or as little, as the die makes one expect: no measured number is farther off
LARGEST_DIAL_AT_ZERO = math.radians(45.0)
REMEMBERED = 256  # calibrations: the dies and stocks of some layouts
SETTLED, ROUNDS = 1e-12, 20


class Estimate(Struct, frozen=True):
    """A number with its standard deviation; told by trial bends, or assumed."""

    value: float
    sd: float = 0.0
    told: bool = False


class Residual(Struct, frozen=True):
    """What one measurement of a trial bend says against the fit: measured less fitted.

    The sd is what tape and gauge leave open, the measured angle's part included.
    """

    trial: int
    what: What
    value: float
    sd: float


class Calibration(Struct, frozen=True):
    """How a die bends a stock. Without trial bends: the die as bought, pure geometry.

    To get a bend of angle A: set the dial to dial_at_zero + dial_per_angle * A. The bend takes
    consumed * A of the blank and becomes an arc of radius clr. The part of the bend that `mark_at`
    names lies `offset` behind the mark that was set at the reference point, towards the tail.
    """

    state: State
    mark_at: BendPart
    offset: Estimate
    clr: Estimate
    consumed: Estimate  # mm of blank for each radian
    dial_at_zero: Estimate
    dial_per_angle: Estimate
    covariance: tuple[tuple[float, ...], ...] = ()  # of the five in this order; empty: no trials
    batch: str = ""  # whose trial bends these are
    made: str = ""  # date of the newest
    trials: tuple[int, ...] = ()
    residuals: tuple[Residual, ...] = ()
    contradicting: tuple[int, ...] = ()  # trials that do not fit the others
    missing: tuple[str, ...] = ()  # sentences: what to bend or measure next
    borrowed: str | None = None  # the older batch that the rest is taken from


class Foretold(Struct, frozen=True):
    """What a calibration expects to be measured on a trial bend that came out at its angle."""

    lead_leg: float
    tail_leg: float
    dial: float


class DialPoint(Struct, frozen=True):
    """One point of the springback line: the dial for an angle, and its standard deviation."""

    angle: float
    dial: float
    sd: float


def learnt(layout: Layout, die: Die, stock: Stock) -> Calibration:
    """Return what the trial bends of a die with a stock and its present batch say.

    The same object as long as the trial bends, the die, the stock and the limits stay the same.
    """
    if not layout.trials:
        return as_bought(die)
    # By identity, as this runs for every tube at every mouse move; the entry keeps what it names alive.
    key = (id(layout.trials), id(die), id(stock), id(layout.limits))
    known = _by_identity.get(key)
    if known is not None:
        return known[1]
    limits = layout.limits
    mine = tuple(t for t in layout.trials.values() if t.used and t.die == die.id and t.stock == stock.id)
    found = _learnt(mine, die, stock, limits) if mine else as_bought(die)
    if len(_by_identity) >= REMEMBERED:
        _by_identity.clear()
    _by_identity[key] = ((layout.trials, die, stock, limits), found)
    return found


@lru_cache(maxsize=REMEMBERED)
def as_bought(die: Die) -> Calibration:
    """Return the calibration of a die that nothing is known of but its radius."""
    return Calibration(
        "none",
        die.mark_at,
        Estimate(die.reference),
        Estimate(die.clr),
        Estimate(die.clr),
        Estimate(0.0),
        Estimate(1.0),
        missing=trial_advice.first(die),
    )


def dial(calibration: Calibration, angle: float) -> float:
    """Return the dial angle for a bend of an angle."""
    return calibration.dial_at_zero.value + calibration.dial_per_angle.value * angle


def dial_sd(calibration: Calibration, angle: float) -> float:
    """Return the standard deviation of the dial for an angle, as far as the fit goes."""
    return spread(calibration, (0.0, 0.0, 0.0, 1.0, angle))


def spread(calibration: Calibration, weights: Sequence[float]) -> float:
    """Return the standard deviation of a sum of the five parameters, each times its weight."""
    if not calibration.covariance:
        return 0.0
    along = np.asarray(weights)
    return math.sqrt(max(0.0, float(along @ np.array(calibration.covariance) @ along)))


def dial_line(calibration: Calibration, largest_angle: float, count: int = 25) -> tuple[DialPoint, ...]:
    """Return the springback line from 0 to an angle, for drawing."""
    return tuple(
        DialPoint(float(a), dial(calibration, float(a)), dial_sd(calibration, float(a)))
        for a in np.linspace(0.0, largest_angle, count)
    )


def foretold(calibration: Calibration, trial: TrialBend, od: float) -> Foretold:
    """Return the legs and the dial that a calibration expects of a trial bend, from its angle."""
    clr, consumed = calibration.clr.value, calibration.consumed.value
    taken = consumed * trial.angle
    start = trial.mark + calibration.offset.value - PART[calibration.mark_at] * taken
    reach = 1.0 if trial.measured_to == "back" else math.tan(trial.angle / 2.0)
    outside = (clr + od / 2.0) * reach
    tail = trial.length - start - taken + outside
    return Foretold(start + outside, tail, dial(calibration, trial.angle))


_by_identity: dict[tuple[int, int, int, int], tuple[object, Calibration]] = {}


@lru_cache(maxsize=REMEMBERED)
def _learnt(mine: tuple[TrialBend, ...], die: Die, stock: Stock, limits: Limits) -> Calibration:
    """Return what trial bends of one die and stock teach; the newest batch stands in for the present one."""
    batches: dict[str, list[TrialBend]] = {}
    for trial in mine:
        batches.setdefault(trial.batch, []).append(trial)
    present = batches.pop(stock.batch, None)
    last = max(batches.values(), key=lambda trials: max(t.made for t in trials), default=None)
    old = _fitted(last, die, stock, limits, None) if last else None
    if present is None:
        assert old is not None
        return _for_new_batch(old, die)
    fitted = _fitted(present, die, stock, limits, None)
    if old is None or fitted.state == "measured":
        return fitted
    return _fitted(present, die, stock, limits, old)


def _for_new_batch(old: Calibration, die: Die) -> Calibration:
    """Return an older batch's calibration as it holds for a new one until a check bend is made."""
    covariance = np.array(old.covariance) + np.diag(_batch_variance(die))
    missing = (trial_advice.check_first(), *old.missing)
    return replace(_stated(old, covariance), state="check first", missing=missing)


def _fitted(
    trials: Sequence[TrialBend], die: Die, stock: Stock, limits: Limits, old: Calibration | None
) -> Calibration:
    """Return the fit of one batch; what it does not tell comes from an older one, or is assumed."""
    fit = _fit(trials, die, stock, limits, old)
    told = (*fit.legs.told, *fit.dials.told)
    differs = old is not None and _differs(fit, old)
    if old is not None and not differs:
        told = tuple(own or e.told for own, e in zip(told, _estimates(old), strict=True))
    values = (*fit.legs.value, *fit.dials.value)
    covariance = trial_fit.together(fit.legs, fit.dials, fit.tie)
    offset, clr, consumed, at_zero, per_angle = (
        Estimate(float(value), math.sqrt(variance), known)
        for value, variance, known in zip(values, np.diag(covariance), told, strict=True)
    )
    wrong = [trial_fit.contradicting(rows, len(trials)) for rows in (fit.leg_rows, fit.dial_rows)]
    named = {place for places, _ in wrong for place in places}
    missing = _missing(trials, die, stock, limits, fit, told, wrong)
    if differs and old is not None:
        missing = (trial_advice.batch_differs(old.batch), *missing)
    return Calibration(
        "measured" if all(told) else "partial",
        die.mark_at,
        offset,
        clr,
        consumed,
        at_zero,
        per_angle,
        covariance=_as_tuples(covariance),
        batch=trials[0].batch,
        made=max(trial.made for trial in trials),
        trials=tuple(trial.id for trial in trials),
        residuals=_residuals(trials, fit),
        contradicting=tuple(trials[place].id for place in sorted(named)),
        missing=missing,
        borrowed=None if old is None else old.batch,
    )


class Fit(Struct, frozen=True, eq=False):
    """Both fits of one batch, and the rows they were made from."""

    leg_rows: Rows
    dial_rows: Rows
    legs: Solved
    dials: Solved
    tie: Floats  # between what was assumed of the legs and of the dial
    makes_sense: tuple[bool, bool]  # of legs and dial; where not, only what is assumed counts


def _fit(trials: Sequence[TrialBend], die: Die, stock: Stock, limits: Limits, old: Calibration | None) -> Fit:
    """Fit, weigh anew by what was found, and fit again until it settles."""
    guess = Guess(die.clr, die.clr, 1.0)
    for _ in range(ROUNDS):
        leg_rows = trial_fit.leg_rows(trials, die, stock, limits, guess)
        dial_rows = trial_fit.dial_rows(trials, limits, guess)
        dials = trial_fit.solve(dial_rows, _assumed_dial(trials, old, die))
        per_angle = float(dials.value[1])
        legs = trial_fit.solve(leg_rows, _assumed_legs(die, per_angle, old))
        found = Guess(_held(legs.value[1], die.clr), _held(legs.value[2], die.clr), _held(per_angle, 1.0))
        change = max(
            abs(found.clr - guess.clr) / die.clr,
            abs(found.consumed - guess.consumed) / die.clr,
            abs(found.dial_per_angle - guess.dial_per_angle),
        )
        guess = found
        if change < SETTLED:
            break
    legs_ok = _is_near(legs.value[1], die.clr) and _is_near(legs.value[2], die.clr)
    dials_ok = _is_near(per_angle, 1.0) and abs(dials.value[0]) <= LARGEST_DIAL_AT_ZERO
    if not dials_ok:
        dials = trial_fit.solve(_none_of(dial_rows), _assumed_dial((), old, die))
    if not legs_ok:
        assumed = _assumed_legs(die, float(dials.value[1]), old)
        legs = trial_fit.solve(_none_of(leg_rows), assumed)
    return Fit(leg_rows, dial_rows, legs, dials, _tie(old, die, legs, dials), (legs_ok, dials_ok))


def _assumed_legs(die: Die, dial_per_angle: float, old: Calibration | None) -> Assumption:
    """Return what holds of (offset, clr, consumed) where nothing tells."""
    clr = die.clr * _held(dial_per_angle, 1.0)  # the arc keeps its length when it opens
    sd = np.array([OFFSET_SD, CLR_SD * clr, math.hypot(CLR_SD, STRETCH_SD) * clr])
    if old is not None:
        return _from_old(old, die, slice(0, 3), sd)
    rows = np.array(
        [
            [1.0 / OFFSET_SD, 0.0, 0.0],
            [0.0, 1.0 / (CLR_SD * clr), 0.0],
            [0.0, -1.0 / (STRETCH_SD * clr), 1.0 / (STRETCH_SD * clr)],
        ]
    )
    return Assumption(rows, np.array([die.reference / OFFSET_SD, 1.0 / CLR_SD, 0.0]), sd)


def _assumed_dial(trials: Sequence[TrialBend], old: Calibration | None, die: Die) -> Assumption:
    """Return what holds of (dial_at_zero, dial_per_angle): with a reading, only where the dial starts."""
    if not trials and old is None:
        sd = np.array([DIAL_AT_ZERO_SD, DIAL_PER_ANGLE_SD])
        return Assumption(np.diag(1.0 / sd), np.array([0.0, 1.0 / DIAL_PER_ANGLE_SD]), sd)
    middle = sum(t.angle for t in trials) / len(trials) if trials else 1.0
    sd = np.array([DIAL_AT_ZERO_SD, DIAL_AT_ZERO_SD / middle])
    if old is not None:
        return _from_old(old, die, slice(3, 5), sd)
    return Assumption(np.array([[1.0 / DIAL_AT_ZERO_SD, 0.0]]), np.array([0.0]), sd)


def _from_old(old: Calibration, die: Die, block: slice, sd: Floats) -> Assumption:
    covariance = (np.array(old.covariance) + np.diag(_batch_variance(die)))[block, block]
    rows = np.linalg.inv(np.linalg.cholesky(covariance))
    return Assumption(rows, rows @ np.array([e.value for e in _estimates(old)[block]]), sd)


def _tie(old: Calibration | None, die: Die, legs: Solved, dials: Solved) -> Floats:
    """Return the covariance between what was assumed of the legs and of the dial, in units of their sd."""
    if old is None:
        return np.zeros((legs.assumed_gain.shape[1], dials.assumed_gain.shape[1]))
    whole = np.array(old.covariance) + np.diag(_batch_variance(die))
    left, right = np.linalg.cholesky(whole[:3, :3]), np.linalg.cholesky(whole[3:, 3:])
    tie: Floats = np.linalg.solve(left, whole[:3, 3:]) @ np.linalg.inv(right).T
    return tie


def _batch_variance(die: Die) -> tuple[float, ...]:
    radius = (BATCH_RADIUS_SD * die.clr) ** 2
    return (0.0, radius, radius, 0.0, BATCH_DIAL_SD**2)


def _differs(fit: Fit, old: Calibration) -> bool:
    """Say whether a batch was measured to bend otherwise than an older one, beyond doubt."""
    values, covariance = np.array([e.value for e in _estimates(old)]), np.array(old.covariance)
    for rows, block in ((fit.leg_rows, slice(0, 3)), (fit.dial_rows, slice(3, 5))):
        off = rows.values - rows.design @ values[block]
        own = (rows.noise**2).sum(axis=1)
        variance = own + ((rows.design @ covariance[block, block]) * rows.design).sum(axis=1)
        if (np.abs(off) > DISAGREES * np.sqrt(variance)).any():
            return True
    return False


def _missing(
    trials: Sequence[TrialBend],
    die: Die,
    stock: Stock,
    limits: Limits,
    fit: Fit,
    told: tuple[bool, ...],
    wrong: list[tuple[tuple[int, ...], bool]],
) -> tuple[str, ...]:
    """Return what the person should do next, most urgent first."""
    sds = fit.legs.against, fit.dials.against
    near = trial_advice.best_next(trials, die, stock, limits, *sds)
    sentences = []
    parts: tuple[trial_advice.Part, trial_advice.Part] = ("legs", "dial")
    for part, makes_sense, (places, disagree) in zip(parts, fit.makes_sense, wrong, strict=True):
        if not makes_sense:
            sentences.append(trial_advice.no_sense(part))
        elif disagree:
            culprits = [trials[place] for place in places]
            sentences.append(trial_advice.contradiction(part, culprits, len(trials), near))
    if all(told):
        return tuple(sentences)
    legs = None if all(told[:3]) else trial_advice.unmeasured_legs(trials)
    if legs is not None:
        sentences.append(legs)
    whole = [replace(trial, lead_leg=1.0, tail_leg=1.0) for trial in trials]
    if (trial_advice.open_sd(whole, die, stock, limits, *sds) > 1.0).any():
        sentences.append(trial_advice.one_more(trials, near))
    return tuple(sentences) or (trial_advice.steadier(near),)


def _residuals(trials: Sequence[TrialBend], fit: Fit) -> tuple[Residual, ...]:
    """Return the residuals, trial by trial."""
    residuals = []
    for rows, solved in ((fit.leg_rows, fit.legs), (fit.dial_rows, fit.dials)):
        off = rows.values - rows.design @ solved.value
        sds = np.sqrt((rows.noise**2).sum(axis=1))
        for place, what, value, sd in zip(rows.trials, rows.what, off, sds, strict=True):
            residuals.append((place, Residual(trials[place].id, what, float(value), float(sd))))
    return tuple(residual for _, residual in sorted(residuals, key=lambda pair: pair[0]))


def _estimates(calibration: Calibration) -> tuple[Estimate, ...]:
    return (
        calibration.offset,
        calibration.clr,
        calibration.consumed,
        calibration.dial_at_zero,
        calibration.dial_per_angle,
    )


def _stated(calibration: Calibration, covariance: Floats) -> Calibration:
    """Return the calibration with another covariance, its standard deviations in step."""
    sds = np.sqrt(np.diag(covariance))
    names = ("offset", "clr", "consumed", "dial_at_zero", "dial_per_angle")
    changed = {
        name: replace(estimate, sd=float(sd))
        for name, estimate, sd in zip(names, _estimates(calibration), sds, strict=True)
    }
    return replace(calibration, covariance=_as_tuples(covariance), **changed)


def _none_of(rows: Rows) -> Rows:
    return Rows((), (), rows.design[:0], rows.values[:0], rows.noise[:0])


def _held(value: float, usual: float) -> float:
    return min(max(float(value), usual / PLAUSIBLE), usual * PLAUSIBLE)


def _is_near(value: float, usual: float) -> bool:
    return usual / PLAUSIBLE <= value <= usual * PLAUSIBLE


def _as_tuples(matrix: Floats) -> tuple[tuple[float, ...], ...]:
    return tuple(tuple(float(value) for value in row) for row in matrix)
