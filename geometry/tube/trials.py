"""What trial bends teach of a die with a stock: where a bend starts, springback, stretch, radius."""

import math
from collections.abc import Sequence
from functools import lru_cache
from typing import Literal

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from geometry.layout import BendPart, Die, Layout, Stock, TrialBend
from geometry.tube import trial_advice, trial_fit
from geometry.tube.trial_fit import DIAL, LEGS, Accuracy, Fit, Prior, What
from geometry.vectors import Floats

State = Literal["none", "check first", "partial", "measured"]
DISAGREES = 3.0  # standard deviations
REMEMBERED = 256  # calibrations: the dies and stocks of some layouts
NAMES = ("offset", "clr", "consumed", "dial_at_zero", "dial_per_angle")


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


class Calibration(Struct, frozen=True, cache_hash=True):
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
    next_angle: float = math.pi / 2.0  # at which one more bend would tell most


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
    mine = tuple(t for t in layout.trials.values() if t.used and t.die == die.id and t.stock == stock.id)
    found = _learnt(mine, die, stock, trial_fit.accuracy(layout.limits)) if mine else as_bought(die)
    if len(_by_identity) >= REMEMBERED:
        _by_identity.clear()
    _by_identity[key] = ((layout.trials, die, stock, layout.limits), found)
    return found


@lru_cache(maxsize=REMEMBERED)
def as_bought(die: Die) -> Calibration:
    """Return the calibration of a die that nothing is known of but its radius."""
    angles = trial_advice.first(die)
    return Calibration(
        "none",
        die.mark_at,
        Estimate(die.reference),
        Estimate(die.clr),
        Estimate(die.clr),
        Estimate(0.0),
        Estimate(1.0),
        missing=(trial_advice.two_bends(angles),),
        next_angle=max(angles),
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


_by_identity: dict[tuple[int, int, int, int], tuple[object, Calibration]] = {}


@lru_cache(maxsize=REMEMBERED)
def _learnt(mine: tuple[TrialBend, ...], die: Die, stock: Stock, accuracy: Accuracy) -> Calibration:
    """Return what trial bends of one die and stock teach; the newest batch stands in for the present one."""
    batches: dict[str, list[TrialBend]] = {}
    for trial in mine:
        batches.setdefault(trial.batch, []).append(trial)
    present = batches.pop(stock.batch, None)
    newest = max(batches.values(), key=lambda trials: max(t.made for t in trials), default=None)
    if present is None:
        assert newest is not None
        return _for_new_batch(_fitted(newest, die, stock, accuracy), die)
    fitted = _fitted(present, die, stock, accuracy)
    if newest is None or fitted.state == "measured":
        return fitted
    return _fitted(present, die, stock, accuracy, _fitted(newest, die, stock, accuracy))


def _for_new_batch(old: Calibration, die: Die) -> Calibration:
    """Return an older batch's calibration as it holds for a new one until a check bend is made."""
    covariance = trial_fit.for_another_batch(die, np.array(old.covariance))
    sds = np.sqrt(np.diag(covariance))
    estimates = {
        name: replace(estimate, sd=float(sd))
        for name, estimate, sd in zip(NAMES, estimates_of(old), sds, strict=True)
    }
    missing = (trial_advice.check_first(), *old.missing)
    wider = replace(old, covariance=_as_tuples(covariance), **estimates)
    next_angle = trial_advice.check_angle(die)
    return replace(wider, state="check first", missing=missing, next_angle=next_angle)


def _fitted(
    trials: Sequence[TrialBend],
    die: Die,
    stock: Stock,
    accuracy: Accuracy,
    old: Calibration | None = None,
) -> Calibration:
    """Return the fit of one batch; what it does not tell comes from an older one, or is assumed."""
    fit = trial_fit.fit(trials, die, stock, accuracy, None if old is None else _prior(old, die))
    differs = old is not None and _differs(fit, old)
    told = fit.told
    if old is not None and not differs:
        told = tuple(own or known.told for own, known in zip(told, estimates_of(old), strict=True))
    offset, clr, consumed, at_zero, per_angle = (
        Estimate(float(value), math.sqrt(variance), known)
        for value, variance, known in zip(fit.values, np.diag(fit.covariance), told, strict=True)
    )
    verdicts = trial_fit.verdicts(fit)
    next_angle = trial_advice.best_next(trials, die, stock, accuracy)
    missing = trial_advice.next_steps(trials, die, stock, accuracy, fit, verdicts, told, next_angle)
    if old is not None and differs:
        missing = (trial_advice.batch_differs(old.batch), *missing)
    return Calibration(
        "measured" if all(told) else "partial",
        die.mark_at,
        offset,
        clr,
        consumed,
        at_zero,
        per_angle,
        covariance=_as_tuples(fit.covariance),
        batch=trials[0].batch,
        made=max(trial.made for trial in trials),
        trials=tuple(trial.id for trial in trials),
        residuals=_residuals(trials, fit),
        contradicting=tuple(
            trial.id
            for place, trial in enumerate(trials)
            if place in (*verdicts.legs.wrong, *verdicts.dials.wrong)
        ),
        missing=missing,
        borrowed=None if old is None else old.batch,
        next_angle=next_angle,
    )


def _prior(old: Calibration, die: Die) -> Prior:
    covariance = trial_fit.for_another_batch(die, np.array(old.covariance))
    return Prior(np.array([estimate.value for estimate in estimates_of(old)]), covariance)


def _differs(fit: Fit, old: Calibration) -> bool:
    """Say whether a batch was measured to bend otherwise than an older one, beyond doubt."""
    values = np.array([estimate.value for estimate in estimates_of(old)])
    covariance = np.array(old.covariance)
    for rows, block in ((fit.leg_rows, LEGS), (fit.dial_rows, DIAL)):
        off = rows.values - rows.design @ values[block]
        taught = np.einsum("ij,jk,ik->i", rows.design, covariance[block, block], rows.design)
        if (np.abs(off) > DISAGREES * np.sqrt(rows.sd**2 + taught)).any():
            return True
    return False


def _residuals(trials: Sequence[TrialBend], fit: Fit) -> tuple[Residual, ...]:
    """Return the residuals, trial by trial."""
    found: dict[int, list[Residual]] = {trial.id: [] for trial in trials}
    dials: list[What] = ["dial" for _ in trials]
    for rows, solved, whats in (
        (fit.leg_rows, fit.legs, trial_fit.legs_measured(trials)),
        (fit.dial_rows, fit.dials, dials),
    ):
        off = rows.values - rows.design @ solved.value
        for place, what, value, sd in zip(rows.groups, whats, off, rows.sd, strict=True):
            id = trials[place].id
            found[id].append(Residual(id, what, float(value), float(sd)))
    return tuple(residual for residuals in found.values() for residual in residuals)


def estimates_of(calibration: Calibration) -> tuple[Estimate, ...]:
    """Return the five parameters in the order of the covariance."""
    return (
        calibration.offset,
        calibration.clr,
        calibration.consumed,
        calibration.dial_at_zero,
        calibration.dial_per_angle,
    )


def _as_tuples(matrix: Floats) -> tuple[tuple[float, ...], ...]:
    return tuple(tuple(float(value) for value in row) for row in matrix)
