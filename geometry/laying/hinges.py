"""The smallest sum of hinges, a max(0, b + A x), near x = 0: Newton's way on ever sharper bends."""

import numpy as np
from msgspec import Struct

from geometry.vectors import Floats

SHARPER = (30.0, 8.0, 2.0, 0.5, 0.12, 0.03)  # mm over which a hinge is rounded; heavy ones over less
NEWTON = 8  # steps for each of them
HALVINGS = 8
ENOUGH = 1e-4  # a step that brings less than this is the last with its rounding
SINGULAR = 1e-9


class Hinges(Struct, frozen=True, eq=False):
    """Rows that cost weight (m,) for each unit of offset (m,) + slope (m, n) x above 0."""

    weight: Floats
    offset: Floats
    slope: Floats

    def value(self, x: Floats) -> float:
        return float(self.weight @ np.maximum(self.offset + self.slope @ x, 0.0))


class Ties(Struct, frozen=True, eq=False):
    """Equations slope (k, n) x = value (k,) that hold."""

    slope: Floats
    value: Floats


def smallest(hinges: Hinges, held: Floats, ties: Ties) -> Floats:
    """Return x (n,) with the smallest sum of hinges and held (n,) x^2 / 2, the ties kept."""
    base, free = _tied(ties, len(held))
    offset, slope = hinges.offset + hinges.slope @ base, hinges.slope @ free
    stiff: Floats = free.T * held @ free
    pull = free.T @ (held * base)
    y = np.zeros(free.shape[1])
    if not len(y):
        return base
    z = offset.copy()
    # So much less that each keeps about the same way off its bend.
    fine = 1.0 / np.sqrt(np.maximum(hinges.weight, 1.0))
    for sharp in SHARPER:
        width = sharp * fine
        for _ in range(NEWTON):
            root = np.sqrt(z * z + width * width)
            first = hinges.weight * (0.5 + 0.5 * z / root)
            second = hinges.weight * (0.5 * width * width / root**3)
            grad = slope.T @ first + stiff @ y + pull
            curve = (slope.T * second) @ slope + stiff
            step = np.linalg.solve(curve + SINGULAR * np.eye(len(y)), -grad)
            way: Floats = slope @ step
            bent, fall = float(step @ (stiff @ step)), float(grad @ step)
            part = _downhill(_Rounded(hinges.weight, width, z, way), bent, fall)
            y, z = y + part * step, z + part * way
            if part * abs(fall) < ENOUGH:
                break
    x: Floats = base + free @ y
    return x


class _Rounded(Struct, frozen=True, eq=False):
    """Rounded hinges of weight and width (m,) along a step that moves their arms z (m,) on by way (m,)."""

    weight: Floats
    width: Floats
    z: Floats
    way: Floats

    def at(self, part: float) -> float:
        z = self.z + part * self.way
        return float(self.weight @ (z + np.sqrt(z * z + self.width * self.width))) / 2.0


def _downhill(along: _Rounded, stiff: float, fall: float) -> float:
    """Return the part of a step after which the sum falls enough; 0 if there is none."""
    here, part = along.at(0.0), 1.0
    # The quadratic's slope at the start is in `fall`; what is left of it grows with the step squared.
    first = along.weight @ (along.way * (0.5 + 0.5 * along.z / np.sqrt(along.z**2 + along.width**2)))
    pull = fall - float(first)
    for _ in range(HALVINGS):
        if along.at(part) + part * pull + part * part * stiff / 2.0 <= here + 0.1 * part * fall:
            return part
        part /= 2.0
    return 0.0


def _tied(ties: Ties, size: int) -> tuple[Floats, Floats]:
    """Return one x that keeps the ties and the ways (n, f) in which it may move."""
    if not len(ties.value):
        return np.zeros(size), np.eye(size)
    u, s, vt = np.linalg.svd(ties.slope)
    rank = int((s > SINGULAR * s[0]).sum()) if len(s) else 0
    base = vt[:rank].T @ ((u[:, :rank].T @ ties.value) / s[:rank])
    return base, vt[rank:].T
