"""The numbers behind trial bends: what each measurement says, and the fit to all of them.

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
from geometry.vectors import Floats

What = Literal["lead leg", "tail leg", "dial"]

# How much of a bend lies between its leading side and the part that the reference point belongs to.
PART: dict[BendPart, float] = {"start": 0.0, "middle": 0.5, "end": 1.0}
# Nobody reads better than this; it keeps the weights finite where a shop states no error at all.
LEAST_TAPE = 1e-3  # mm
LEAST_GAUGE = 1e-5  # rad
ERRORS = 6  # of a trial: mark, length, lead leg, tail leg, angle, dial; each apart from the others
MARK, LENGTH, LEAD, TAIL, ANGLE, DIAL = range(ERRORS)
NULL = 1e-9  # a singular value this much less than the largest is none
TOUCHED = 1e-6  # a parameter with this much of a direction that nothing tells is not told
THREE_SD = 2.782  # normal quantile of the probability that 3 standard deviations leave inside
MOST_FOR_PAIRS = 12  # trial bends up to which two contradicting ones are looked for


class Guess(Struct, frozen=True):
    """What the weights need to know: how much a wrong angle moves each row."""

    clr: float
    consumed: float
    dial_per_angle: float


class Rows(Struct, frozen=True, eq=False):
    """Measurements as linear equations, values (n,) = design (n, k) times parameters + noise."""

    trials: tuple[int, ...]  # for each row the place of its trial
    what: tuple[What, ...]
    design: Floats
    values: Floats
    noise: Floats  # (n, 6 a trial): what each error of one standard deviation does to each row


class Assumption(Struct, frozen=True, eq=False):
    """What is taken for granted where nothing tells: rows (m, k) times parameters = values (m,), sd 1."""

    rows: Floats
    values: Floats
    sd: Floats  # (k,) of each parameter by itself: trials that know less do not count as telling it


class Solved(Struct, frozen=True, eq=False):
    """Parameters, which of them the measurements tell by themselves, and how errors come through."""

    value: Floats
    told: tuple[bool, ...]
    gain: Floats  # (k, n) of whitened measurements, each of sd 1 (the scale is in it)
    assumed_gain: Floats  # (k, m)
    noise: Floats  # (n, 6 a trial) whitened
    against: Floats  # (k,) the assumption's sd, which a told parameter is known better than
    scale: float  # by which variances were raised, as the measurements scatter more than stated

    @property
    def covariance(self) -> Floats:
        both: Floats = self.gain @ self.gain.T + self.assumed_gain @ self.assumed_gain.T
        return both


def leg_rows(trials: Sequence[TrialBend], die: Die, stock: Stock, limits: Limits, guess: Guess) -> Rows:
    """Return what the legs say of (offset, clr, consumed).

    lead leg - mark - r t = offset + t clr - k A consumed
    tail leg - length + mark - r t = -offset + t clr - (1 - k) A consumed
    with r = OD / 2, t = tan(A / 2) (or 1, measured to the back), k the part of the bend at the mark.
    """
    tape, part = max(limits.tape_error, LEAST_TAPE), PART[die.mark_at]
    gauge, half = max(limits.gauge_error, LEAST_GAUGE), stock.od / 2.0
    rows = _Table(3, len(trials))
    for place, trial in enumerate(trials):
        reach, growth = _reach(trial)
        outside = (guess.clr + half) * growth
        if trial.lead_leg is not None:
            taken = part * trial.angle
            errors = {LEAD: tape, MARK: -tape, ANGLE: (part * guess.consumed - outside) * gauge}
            value = trial.lead_leg - trial.mark - half * reach
            rows.add(place, "lead leg", (1.0, reach, -taken), value, errors)
        if trial.tail_leg is not None:
            rest = 1.0 - part
            errors = {
                TAIL: tape,
                LENGTH: -tape,
                MARK: tape,
                ANGLE: (rest * guess.consumed - outside) * gauge,
            }
            value = trial.tail_leg - trial.length + trial.mark - half * reach
            rows.add(place, "tail leg", (-1.0, reach, -rest * trial.angle), value, errors)
    return rows.built()


def dial_rows(trials: Sequence[TrialBend], limits: Limits, guess: Guess) -> Rows:
    """Return what the dials say of (dial_at_zero, dial_per_angle): dial = at zero + A per angle.

    The dial is taken to be set as well as an angle is measured.
    """
    gauge = max(limits.gauge_error, LEAST_GAUGE)
    rows = _Table(2, len(trials))
    for place, trial in enumerate(trials):
        errors = {DIAL: gauge, ANGLE: -guess.dial_per_angle * gauge}
        rows.add(place, "dial", (1.0, trial.angle), trial.dial, errors)
    return rows.built()


def solve(rows: Rows, assumed: Assumption) -> Solved:
    """Return the best parameters: those the rows tell from the rows alone, the rest with what is assumed.

    A told parameter takes nothing from the assumption; one that is not told follows from the told
    ones, the rows and the assumption together.
    """
    unit = np.linalg.inv(np.linalg.cholesky(rows.noise @ rows.noise.T)) if len(rows.values) else None
    noise = rows.noise if unit is None else unit @ rows.noise
    design = rows.design if unit is None else unit @ rows.design
    values = rows.values if unit is None else unit @ rows.values
    misfit, freedom = _misfit(design, values)
    scale = max(1.0, misfit / freedom) if freedom else 1.0
    design, values = design / math.sqrt(scale), values / math.sqrt(scale)

    spread = assumed.sd
    own_gain, own_sd = _own(design * spread)
    told = own_sd <= 1.0
    gain = np.where(told[:, None], own_gain, 0.0)
    assumed_gain = np.zeros((len(spread), len(assumed.values)))
    open_ = ~told
    if open_.any():
        both = np.vstack([design, assumed.rows]) * spread
        inverse = np.linalg.pinv(both[:, open_])
        by_rows, by_assumption = inverse[:, : len(values)], inverse[:, len(values) :]
        # What the told ones explain is taken off before the others are fitted to the rest.
        gain[open_] = by_rows - inverse @ both[:, told] @ gain[told]
        assumed_gain[open_] = by_assumption
    gain, assumed_gain = gain * spread[:, None], assumed_gain * spread[:, None]
    value: Floats = gain @ values + assumed_gain @ assumed.values
    return Solved(value, tuple(bool(one) for one in told), gain, assumed_gain, noise, spread, scale)


def together(legs: Solved, dials: Solved, tie: Floats) -> Floats:
    """Return the covariance (5, 5) of both fits; tie (m, m') is that of what was assumed for them."""
    cross = legs.gain @ (legs.noise @ dials.noise.T) @ dials.gain.T
    cross = cross + legs.assumed_gain @ tie @ dials.assumed_gain.T
    covariance: Floats = np.block([[legs.covariance, cross], [cross.T, dials.covariance]])
    return covariance


def own_sd(rows: Rows, sd: Floats) -> Floats:
    """Return how well the rows alone tell each parameter, in terms of the sd given (k,)."""
    if not len(rows.values):
        return np.full(len(sd), math.inf)
    unit = np.linalg.inv(np.linalg.cholesky(rows.noise @ rows.noise.T))
    return _own(unit @ rows.design * sd)[1]


def contradicting(rows: Rows, count: int) -> tuple[tuple[int, ...], bool]:
    """Return the places of trials that do not fit the others, and whether the trials disagree at all.

    A trial is named only if the others agree without it, can check one another, and no other trial
    could be the wrong one instead.
    """
    if not len(rows.values):
        return (), False
    unit = np.linalg.inv(np.linalg.cholesky(rows.noise @ rows.noise.T))
    places = np.array(rows.trials)
    judge = _Judge(unit @ rows.design, unit @ rows.values, places)
    everyone = frozenset(range(count))
    if judge.agree(everyone):
        return (), False
    suspects = [{one} for one in everyone if judge.clears(everyone - {one})]
    if not suspects and count <= MOST_FOR_PAIRS:
        pairs = [{a, b} for a in everyone for b in everyone if a < b]
        suspects = [pair for pair in pairs if judge.clears(everyone - pair)]
    return (tuple(sorted(suspects[0])), True) if len(suspects) == 1 else ((), True)


class _Judge:
    """Says whether some of the trials agree with one another."""

    def __init__(self, design: Floats, values: Floats, places: np.ndarray) -> None:
        self._design, self._values, self._places = design, values, places
        self._known: dict[frozenset[int], tuple[float, int]] = {}

    def agree(self, some: frozenset[int]) -> bool:
        """Say whether they scatter no more than stated, together and each against the others."""
        misfit, freedom = self._misfit(some)
        if misfit > _limit(freedom):
            return False
        for one in some:
            rest, rest_freedom = self._misfit(some - {one})
            if misfit - rest > _limit(freedom - rest_freedom):
                return False
        return True

    def clears(self, rest: frozenset[int]) -> bool:
        """Say whether the rest check one another, and agree."""
        return self._misfit(rest)[1] >= 1 and self.agree(rest)

    def _misfit(self, some: frozenset[int]) -> tuple[float, int]:
        if some not in self._known:
            chosen = np.isin(self._places, list(some))
            self._known[some] = _misfit(self._design[chosen], self._values[chosen])
        return self._known[some]


class _Table:
    """Gathers rows."""

    def __init__(self, parameters: int, trials: int) -> None:
        self._parameters, self._trials = parameters, trials
        self._rows: list[tuple[int, What, tuple[float, ...], float, dict[int, float]]] = []

    def add(
        self, place: int, what: What, design: tuple[float, ...], value: float, errors: dict[int, float]
    ) -> None:
        self._rows.append((place, what, design, value, errors))

    def built(self) -> Rows:
        noise = np.zeros((len(self._rows), ERRORS * self._trials))
        for i, (place, _, _, _, errors) in enumerate(self._rows):
            for error, response in errors.items():
                noise[i, ERRORS * place + error] = response
        return Rows(
            tuple(row[0] for row in self._rows),
            tuple(row[1] for row in self._rows),
            np.array([row[2] for row in self._rows]).reshape(-1, self._parameters),
            np.array([row[3] for row in self._rows]),
            noise,
        )


def _reach(trial: TrialBend) -> tuple[float, float]:
    """Return how many radii a leg reaches beyond its straight, and how that grows with the angle."""
    if trial.measured_to == "back":
        return 1.0, 0.0
    reach = math.tan(trial.angle / 2.0)
    return reach, 0.5 * (1.0 + reach**2)


def _own(scaled: Floats) -> tuple[Floats, Floats]:
    """Return the least-squares gain (k, n) of whitened rows and each parameter's sd, inf if not told."""
    u, s, vt = np.linalg.svd(scaled, full_matrices=True)
    rank = int(np.count_nonzero(s > NULL * s[0])) if len(s) else 0
    known, unknown = vt[:rank] / s[:rank, None], vt[rank:]
    sd: Floats = np.linalg.norm(known, axis=0)
    sd[(np.abs(unknown) > TOUCHED).any(axis=0)] = math.inf
    gain: Floats = known.T @ u[:, :rank].T
    return gain, sd


def _misfit(design: Floats, values: Floats) -> tuple[float, int]:
    """Return the sum of squares that the best parameters leave of whitened rows, and its freedom."""
    if not len(values):
        return 0.0, 0
    u, s, _ = np.linalg.svd(design / np.maximum(np.abs(design).max(axis=0), NULL), full_matrices=False)
    u = u[:, s > NULL * s[0]]
    left = values - u @ (u.T @ values)
    return float(left @ left), len(values) - u.shape[1]


def _limit(freedom: int) -> float:
    """Return the sum of squares that is passed as rarely as 3 standard deviations (Wilson, Hilferty)."""
    if freedom == 0:
        return math.inf
    part = 2.0 / (9.0 * freedom)
    return freedom * (1.0 - part + THREE_SD * math.sqrt(part)) ** 3
