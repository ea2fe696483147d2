"""The tube that comes off the bender with given settings, and how far it is from the one wanted.

Settings are rows of numbers: the two trim lines, then the marks, the readings of the rotation dial
and the bender's angles, one of each for every step of a plan. A machine is a row of five: offset,
clr, consumed, dial_at_zero, dial_per_angle of a calibration. Both may carry leading axes, so that many
tubes are bent at once.
"""

from itertools import pairwise

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from geometry.tube.plan import Plan
from geometry.tube.trial_fit import PART
from geometry.vectors import Floats, Ints

SAME_RANK = 1e-9  # a motion that moves the nodes by less than this part of the largest is none

# At the start of the tube: its direction, the axis of its first bend, their cross product.
ALONG, AXIS, ACROSS = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])


class Bends(Struct, frozen=True, eq=False):
    """The bends of a tube in the order of the tube: rows (..., n)."""

    starts: Floats  # where they take the blank
    ends: Floats
    angles: Floats
    turns: Floats  # of the bend plane, between neighbours: (..., n - 1)
    clr: Floats  # (..., 1)


class _Laid(Struct, frozen=True, eq=False):
    """The steps of a plan in the order of the tube, not of bending."""

    order: Ints  # the step that makes the bend
    from_start: NDArray[np.bool_]  # whether the start leads
    later: Ints  # between each two neighbours: the step that makes the turn between them
    zero: Ints  # the step whose reading that turn is counted from; -1: from 0


def settings_of(plan: Plan) -> Floats:
    """Return the exact settings of a plan: (2 + 3n,)."""
    rows = [(step.mark, step.dial, step.set_angle) for step in plan.steps]
    columns = np.array(rows).T.ravel() if rows else np.empty(0)
    return np.concatenate([[plan.start_trim, plan.end_trim], columns])


def machine_of(plan: Plan) -> Floats:
    """Return what the plan takes its machine for: (5,)."""
    known = plan.calibration
    rows = (known.offset, known.clr, known.consumed, known.dial_at_zero, known.dial_per_angle)
    return np.array([row.value for row in rows])


def nodes(plan: Plan, settings: Floats, machine: Floats) -> Floats:
    """Return start end, corners and end end of the bent and trimmed tube: (..., n + 2, 3).

    The tube starts along x from the origin and first turns from x to y.
    """
    bends = bends_of(plan, settings, machine)
    return walked(bends, settings[..., :1], settings[..., 1:2])


def bends_of(plan: Plan, settings: Floats, machine: Floats) -> Bends:
    """Return the bends that come out, in the order of the tube."""
    shape = np.broadcast_shapes(settings.shape[:-1], machine.shape[:-1])
    settings = np.broadcast_to(settings, (*shape, settings.shape[-1]))
    laid, count = _laid(plan), len(plan.steps)
    marks, dials, set_angles = (settings[..., 2 + i * count : 2 + (i + 1) * count] for i in range(3))
    offset, clr, consumed, at_zero, per_angle = (machine[..., i, None] for i in range(5))
    angles = (set_angles[..., laid.order] - at_zero) / per_angle
    took = consumed * angles
    behind = PART[plan.calibration.mark_at] * took - offset
    starts = marks[..., laid.order] + np.where(laid.from_start, -behind, behind - took)
    turns = dials[..., laid.later] - np.where(laid.zero < 0, 0.0, dials[..., laid.zero])
    return Bends(starts, starts + took, angles, turns, clr)


def walked(bends: Bends, start: Floats, end: Floats) -> Floats:
    """Return the nodes (..., n + 2, 3) of a tube from one mark on its blank to another (..., 1)."""
    shape = bends.starts.shape[:-1]
    start, end = (np.broadcast_to(mark, (*shape, 1)) for mark in (start, end))
    reaches, none = bends.clr * np.tan(bends.angles / 2.0), np.zeros((*shape, 1))
    legs = np.concatenate([bends.starts, end], -1) - np.concatenate([start, bends.ends], -1)
    legs = legs + np.concatenate([none, reaches], -1) + np.concatenate([reaches, none], -1)
    return _walk(legs, bends.turns, bends.angles)


def misfits(points: Floats, wanted: Floats) -> Floats:
    """Return how far each point (n, 3) is from its wanted place after the best rigid fit of all: (n,)."""
    moved, fixed = points - points.mean(axis=0), wanted - wanted.mean(axis=0)
    left, _, right = np.linalg.svd(moved.T @ fixed)
    left[:, -1] *= np.sign(np.linalg.det(left) * np.linalg.det(right)) or 1.0
    distances: Floats = np.linalg.norm(moved @ left @ right - fixed, axis=1)
    return distances


def without_motion(shifts: Floats, points: Floats) -> Floats:
    """Return small shifts (..., n, 3) of points less what moving them as one piece explains."""
    away = points - points.mean(axis=0)
    axes = np.eye(3)
    motions = [np.tile(axis, (len(points), 1)) for axis in axes] + [np.cross(axis, away) for axis in axes]
    basis, sizes, _ = np.linalg.svd(np.stack(motions).reshape(6, -1).T, full_matrices=False)
    basis = basis[:, sizes > SAME_RANK * sizes[0]]
    flat = shifts.reshape(*shifts.shape[:-2], -1)
    kept: Floats = (flat - flat @ basis @ basis.T).reshape(shifts.shape)
    return kept


def _laid(plan: Plan) -> _Laid:
    """Sort the steps of a plan along the tube and find which readings make each turn."""
    steps = plan.steps
    order = sorted(range(len(steps)), key=lambda i: steps[i].bend)
    later = [max(pair) for pair in pairwise(order)]
    zero = [-1 if steps[i].is_turned_round else i - 1 for i in later]
    from_start = np.array([steps[i].leads == "start" for i in order], dtype=np.bool_)
    return _Laid(_whole(order), from_start, _whole(later), _whole(zero))


def _whole(values: list[int]) -> Ints:
    return np.array(values, dtype=np.int64)


def _walk(legs: Floats, turns: Floats, angles: Floats) -> Floats:
    """Return the nodes of a walk.

    Legs are (..., n + 1), turns of the bend plane between neighbours (..., n - 1), angles (..., n).
    """
    shape = (*legs.shape[:-1], 3)
    along, axis, across = (np.broadcast_to(row, shape) for row in (ALONG, AXIS, ACROSS))
    here = legs[..., :1] * along
    places = [np.zeros(shape), here]
    for i in range(angles.shape[-1]):
        if i:
            c, s = np.cos(turns[..., i - 1 : i]), np.sin(turns[..., i - 1 : i])
            axis, across = c * axis + s * across, c * across - s * axis
        c, s = np.cos(angles[..., i : i + 1]), np.sin(angles[..., i : i + 1])
        along, across = c * along - s * across, c * across + s * along
        here = here + legs[..., i + 1 : i + 2] * along
        places.append(here)
    return np.stack(places, axis=-2)
