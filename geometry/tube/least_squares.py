"""Least squares where some parameters may not be told: what the rows tell, what must be assumed, who errs."""

import math

import numpy as np
from msgspec import Struct

from geometry.vectors import Floats

NULL = 1e-9  # a singular value this much less than the largest is none
TOUCHED = 1e-6  # a parameter with this much of a direction that nothing tells is not told
THREE_SD = 2.782  # normal quantile of the probability that 3 standard deviations leave inside
MOST_FOR_PAIRS = 12  # groups up to which two contradicting ones are looked for
WITNESSES = 2  # groups that must agree against others, more than those: fewer may do so by chance


class Rows(Struct, frozen=True, eq=False):
    """Measurements as linear equations: values (n,) = design (n, k) times parameters, and errors."""

    groups: tuple[int, ...]  # for each row the piece of work it was measured on
    design: Floats
    values: Floats
    response: Floats  # (n, errors): what each independent error, one standard deviation of it, does

    @property
    def sd(self) -> Floats:
        """Return the standard deviation of each value (n,)."""
        sd: Floats = np.linalg.norm(self.response, axis=1)
        return sd

    @property
    def none(self) -> "Rows":
        return Rows((), self.design[:0], self.values[:0], self.response[:0])


class Assumption(Struct, frozen=True, eq=False):
    """What is taken for granted where nothing tells: rows (m, k) times parameters = values (m,), sd 1."""

    rows: Floats
    values: Floats
    enough: Floats  # (k,) standard deviations: rows that know a parameter less well do not tell it


class Solved(Struct, frozen=True, eq=False):
    """Parameters, which of them the rows tell by themselves, and how errors come through."""

    value: Floats
    told: tuple[bool, ...]
    gain: Floats  # (k, n) on whitened rows, each of sd 1 (the scale is in it)
    assumed_gain: Floats  # (k, m)
    response: Floats  # (n, errors) of the whitened rows
    enough: Floats  # (k,) of the assumption
    scale: float  # by which variances were raised, as the values scatter more than stated

    @property
    def covariance(self) -> Floats:
        both: Floats = self.gain @ self.gain.T + self.assumed_gain @ self.assumed_gain.T
        return both


def solve(rows: Rows, assumed: Assumption) -> Solved:
    """Return the best parameters: those the rows tell from the rows alone, the rest with what is assumed.

    A told parameter takes nothing from the assumption; one that is not told follows from the told
    ones, the rows and the assumption together.
    """
    white = _whitened(rows)
    misfit, freedom = _misfit(white.design, white.values)
    scale = max(1.0, misfit / freedom) if freedom else 1.0
    design, values = white.design / math.sqrt(scale), white.values / math.sqrt(scale)

    unit = assumed.enough
    own_gain, own_sd = _own(design * unit)
    told = own_sd <= 1.0
    gain = np.where(told[:, None], own_gain, 0.0)
    assumed_gain = np.zeros((len(unit), len(assumed.values)))
    if not told.all():
        both = np.vstack([design, assumed.rows]) * unit
        inverse = np.linalg.pinv(both[:, ~told])
        # What the told ones explain is taken off before the others are fitted to the rest.
        gain[~told] = inverse[:, : len(values)] - inverse @ both[:, told] @ gain[told]
        assumed_gain[~told] = inverse[:, len(values) :]
    gain, assumed_gain = gain * unit[:, None], assumed_gain * unit[:, None]
    value: Floats = gain @ values + assumed_gain @ assumed.values
    return Solved(value, tuple(bool(one) for one in told), gain, assumed_gain, white.response, unit, scale)


def told_sd(rows: Rows, sd: Floats) -> Floats:
    """Return the standard deviation of each parameter from the rows alone, in terms of sd (k,)."""
    return _own(_whitened(rows).design * sd)[1]


def joint_covariance(first: Solved, second: Solved, assumed: Floats) -> Floats:
    """Return the covariance of two fits to rows that share errors; assumed (m, m') is that of their rows."""
    cross = first.gain @ (first.response @ second.response.T) @ second.gain.T
    cross = cross + first.assumed_gain @ assumed @ second.assumed_gain.T
    joint: Floats = np.block([[first.covariance, cross], [cross.T, second.covariance]])
    return joint


class Verdict(Struct, frozen=True):
    """Whether the groups agree, and which of them are wrong where that can be told."""

    agree: bool
    wrong: tuple[int, ...] = ()


def verdict(rows: Rows) -> Verdict:
    """Judge whether groups of rows contradict one another.

    A group is named only if enough others agree without it, can check one another, and no other group
    could be the wrong one instead, all within 3 standard deviations.
    """
    white = _whitened(rows)
    judge = _Judge(white.design, white.values, np.array(rows.groups))
    everyone = frozenset(rows.groups)
    if judge.agree(everyone):
        return Verdict(True)
    wrong = judge.suspect([frozenset({one}) for one in everyone], everyone)
    if wrong is None and len(everyone) <= MOST_FOR_PAIRS:
        wrong = judge.suspect([frozenset({a, b}) for a in everyone for b in everyone if a < b], everyone)
    return Verdict(False, tuple(sorted(wrong or ())))


class _Judge:
    """Says whether some of the groups agree with one another."""

    def __init__(self, design: Floats, values: Floats, groups: np.ndarray) -> None:
        self._design, self._values, self._groups = design, values, groups
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

    def suspect(self, some: list[frozenset[int]], everyone: frozenset[int]) -> frozenset[int] | None:
        """Return the one of some without which the rest agree; empty: more than one may be, None: none."""
        cleared = sorted(
            (self._misfit(everyone - those)[0], sorted(those))
            for those in some
            if self._can_judge(everyone - those, those) and self.agree(everyone - those)
        )
        if not cleared:
            return None
        if len(cleared) > 1 and cleared[1][0] - cleared[0][0] <= _limit(1):
            return frozenset()
        return frozenset(cleared[0][1])

    def _can_judge(self, rest: frozenset[int], those: frozenset[int]) -> bool:
        return len(rest) >= len(those) + WITNESSES and self._misfit(rest)[1] >= 1

    def _misfit(self, some: frozenset[int]) -> tuple[float, int]:
        if some not in self._known:
            chosen = np.isin(self._groups, list(some))
            self._known[some] = _misfit(self._design[chosen], self._values[chosen])
        return self._known[some]


class _White(Struct, frozen=True, eq=False):
    """Rows turned so that their errors are independent, each of standard deviation 1."""

    design: Floats
    values: Floats
    response: Floats


def _whitened(rows: Rows) -> _White:
    if not len(rows.values):
        return _White(rows.design, rows.values, rows.response)
    unit = np.linalg.inv(np.linalg.cholesky(rows.response @ rows.response.T))
    return _White(unit @ rows.design, unit @ rows.values, unit @ rows.response)


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
