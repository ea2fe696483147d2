"""The numbers a person can set: marks and angles rounded together so that the tube comes out best.

Each setting goes to the whole step below or above it. Which way is chosen for all of them at once:
the corners of the tube move with every setting, and what a best fit on the ground takes out again
costs nothing, so a mark that is 0.4 mm off may well make up for another. The search works on a
linear model; the errors that are reported are worked out exactly.
"""

import math
from functools import lru_cache

import numpy as np
from msgspec import Struct

from geometry.shop import made
from geometry.tolerances import STRAIGHT
from geometry.tube.plan import Plan, Step, reading
from geometry.vectors import Floats

REMEMBERED = 512  # plans; a job has some sixty
WHOLE = 1e-6  # of a step; a value this near to a whole step is that step
PROBE = 1e-4  # mm or rad; central differences are then good to 1e-8
ROUNDS = 200  # of the search; it ends by itself after some ten


class Rounded(Struct, frozen=True, eq=False):
    """A plan in steps of tape and dial, and what that leaves wrong."""

    blank: float  # rounded up; the rest of it is end allowance
    start_trim: float
    end_trim: float
    marks: tuple[float, ...]  # one a step of the plan, likewise the dials and angles
    dials: tuple[float, ...]
    set_angles: tuple[float, ...]
    angles: tuple[float, ...]  # of the bends that come out at these set angles
    left: tuple[float, ...]  # error at each node after best fit, start to end; from rounding alone
    unsure: tuple[float, ...]  # standard deviation at each node that trial bends leave; empty without any


class _Choices(Struct, frozen=True, eq=False):
    """What may be rounded: each row is one choice, which moves one or several settings."""

    exact: Floats  # (m,)
    steps: Floats  # (m,)
    moves: Floats  # (m, settings): 1 where a choice moves a setting
    fixed: Floats  # (settings,): what a setting is more than its choice, or all of it


def of(plan: Plan, mark_step: float, angle_step: float) -> Rounded:
    """Round a plan's marks, rotations and dial angles together; the same object for the same plan."""
    if not (mark_step > 0.0 and angle_step > 0.0):
        raise ValueError(f"steps must be more than 0, got {mark_step} and {angle_step}")
    return _remembered(plan, mark_step, angle_step)


def blank(plan: Plan, mark_step: float, angle_step: float) -> float:
    """Return the blank as it is cut, without looking for the rest where its trim takes up the rounding."""
    if plan.blank - plan.end_trim > WHOLE * mark_step:
        return _cut(plan, mark_step)
    return of(plan, mark_step, angle_step).blank


def _cut(plan: Plan, mark_step: float) -> float:
    return math.ceil(plan.blank / mark_step - WHOLE) * mark_step


@lru_cache(maxsize=REMEMBERED)
def _remembered(plan: Plan, mark_step: float, angle_step: float) -> Rounded:
    exact, machine = made.settings_of(plan), made.machine_of(plan)
    wanted = made.nodes(plan, exact, machine)
    choices = _choices(plan, mark_step, angle_step)
    plain = np.round(choices.exact / choices.steps)
    best = _searched(plan, choices, plain, wanted)
    rows = [_settings(choices, rows) for rows in (plain, best)]
    left = [made.misfits(made.nodes(plan, row, machine), wanted) for row in rows]
    # The search trusts a linear model, so the last word is with the exact errors.
    chosen = 1 if left[1].max() < left[0].max() else 0
    return _rounded(plan, rows[chosen], left[chosen], mark_step)


def _rounded(plan: Plan, settings: Floats, left: Floats, mark_step: float) -> Rounded:
    count = len(plan.steps)
    start_trim, end_trim, *rest = settings.tolist()
    set_angles, known = rest[2 * count :], plan.calibration
    has_trim = plan.blank - plan.end_trim > WHOLE * mark_step
    return Rounded(
        blank=_cut(plan, mark_step) if has_trim else end_trim,
        start_trim=start_trim,
        end_trim=end_trim,
        marks=tuple(rest[:count]),
        dials=tuple(reading(value) for value in rest[count : 2 * count]),
        set_angles=tuple(set_angles),
        angles=tuple((dial - known.dial_at_zero.value) / known.dial_per_angle.value for dial in set_angles),
        left=tuple(left.tolist()),
        unsure=_unsure(plan),
    )


def _choices(plan: Plan, mark_step: float, angle_step: float) -> _Choices:
    """Return what is rounded; turns within a plane keep to one reading and its opposite."""
    exact, count = made.settings_of(plan), len(plan.steps)
    fixed = np.zeros(len(exact))
    leaders = list(range(len(exact)))
    for i, step in enumerate(plan.steps):
        place = 2 + count + i
        runs_on = i > 0 and not step.is_turned_round
        if not _is_in_plane(step, angle_step):
            continue
        leaders[place] = leaders[place - 1] if runs_on else -1
        leading = exact[leaders[place]] if leaders[place] >= 0 else 0.0
        fixed[place] = math.pi * round((exact[place] - leading) / math.pi)
    rows = [place for place in range(len(exact)) if leaders[place] == place]
    moves = np.array([[float(leader == row) for leader in leaders] for row in rows])
    is_angle = np.array([row >= 2 + count for row in rows])
    return _Choices(exact[rows], np.where(is_angle, angle_step, mark_step), moves, fixed)


def _is_in_plane(step: Step, angle_step: float) -> bool:
    """Say whether the bend lies in the plane of its neighbour, and the dial can show just that."""
    half = math.pi / angle_step
    is_whole = abs(half - round(half)) <= WHOLE
    return abs(step.rotation) <= STRAIGHT or (is_whole and math.pi - abs(step.rotation) <= STRAIGHT)


def _settings(choices: _Choices, counts: Floats) -> Floats:
    """Return the settings for whole numbers of steps (..., m)."""
    settings: Floats = choices.fixed + (counts * choices.steps) @ choices.moves
    return settings


def _searched(plan: Plan, choices: _Choices, plain: Floats, wanted: Floats) -> Floats:
    """Return the numbers of steps that leave the least, as far as one or two changes at a time lead."""
    over = choices.exact / choices.steps - plain
    free = np.flatnonzero(np.abs(over) > WHOLE)
    if not len(free):
        return plain
    slopes = made.without_motion(_slopes(plan), wanted)
    per_step = np.einsum("cs,snk->cnk", choices.moves * choices.steps[:, None], slopes)
    off = _settings(choices, plain) - made.settings_of(plan)
    start = np.einsum("s,snk->nk", off, slopes)
    ways = np.sign(over[free])
    flipped = _flips(start, per_step[free] * ways[:, None, None])
    counts = plain.copy()
    counts[free] += np.where(flipped, ways, 0.0)
    return counts


def _flips(start: Floats, changes: Floats) -> np.ndarray:
    """Return which changes (m, n, 3) to make to the shifts (n, 3) so that the largest gets least: (m,)."""
    count = len(changes)
    one, other = np.triu_indices(count)  # a change with itself is that change alone
    flipped, here = np.zeros(count, dtype=bool), start
    score = _score(here)
    for _ in range(ROUNDS):
        ways = np.where(flipped, -1.0, 1.0)[:, None, None] * changes
        moves = ways[one] + np.where(one == other, 0.0, 1.0)[:, None, None] * ways[other]
        scores = _score(here + moves)
        best = int(np.argmin(scores))
        if scores[best] >= score - WHOLE:
            break
        score, here = scores[best], here + moves[best]
        for i in {int(one[best]), int(other[best])}:
            flipped[i] = not flipped[i]
    return flipped


def _score(shifts: Floats) -> Floats:
    """Return the largest shift, and a little of the mean so that the others count too: (...)."""
    sizes = np.linalg.norm(shifts, axis=-1)
    score: Floats = sizes.max(axis=-1) + 0.01 * sizes.mean(axis=-1)
    return score


def _slopes(plan: Plan) -> Floats:
    """Return how the nodes move with each setting: (settings, n, 3)."""
    exact = made.settings_of(plan)
    probes = PROBE * np.eye(len(exact))
    machine = made.machine_of(plan)
    ahead, behind = (made.nodes(plan, exact + probe, machine) for probe in (probes, -probes))
    slopes: Floats = (ahead - behind) / (2.0 * PROBE)
    return slopes


def _unsure(plan: Plan) -> tuple[float, ...]:
    """Return the standard deviation at each node from the calibration's; empty without trial bends."""
    covariance = np.array(plan.calibration.covariance)
    if not covariance.size:
        return ()
    exact, machine = made.settings_of(plan), made.machine_of(plan)
    probes = PROBE * np.eye(len(machine))
    ahead, behind = (made.nodes(plan, exact, machine + probe) for probe in (probes, -probes))
    slopes = made.without_motion((ahead - behind) / (2.0 * PROBE), made.nodes(plan, exact, machine))
    spread = np.einsum("ank,ab,bnk->n", slopes, covariance, slopes)
    return tuple(np.sqrt(np.maximum(spread, 0.0)).tolist())
