"""The smallest sum of hinges, a max(0, b + A x), near x = 0: Newton's way on ever sharper bends."""

import numpy as np
from msgspec import Struct

from geometry.vectors import Floats

SHARPER = (30.0, 10.0, 3.0, 1.0, 0.3, 0.1, 0.03, 0.01, 0.003)  # mm over which a hinge is rounded
NEWTON = 3  # steps for each of them
HALVINGS = 8
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
    for width in SHARPER:
        for _ in range(NEWTON):
            z = offset + slope @ y
            root = np.sqrt(z * z + width * width)
            first = hinges.weight * (0.5 + 0.5 * z / root)
            second = hinges.weight * (0.5 * width * width / root**3)
            grad = slope.T @ first + stiff @ y + pull
            curve = (slope.T * second) @ slope + stiff
            step = np.linalg.solve(curve + SINGULAR * np.eye(len(y)), -grad)
            y_new = _downhill(hinges.weight, offset, slope, stiff, pull, width, y, step, float(grad @ step))
            if y_new is None:
                break
            y = y_new
    x: Floats = base + free @ y
    return x


def _downhill(
    weight: Floats,
    offset: Floats,
    slope: Floats,
    stiff: Floats,
    pull: Floats,
    width: float,
    y: Floats,
    step: Floats,
    fall: float,
) -> Floats | None:
    """Return how far along the step the rounded sum falls enough; None if it doesn't."""

    def rounded(at: Floats) -> float:
        z = offset + slope @ at
        return float(
            weight @ (z + np.sqrt(z * z + width * width)) / 2.0 + at @ (stiff @ at) / 2.0 + pull @ at
        )

    here, part = rounded(y), 1.0
    for _ in range(HALVINGS):
        there: Floats = y + part * step
        if rounded(there) <= here + 0.1 * part * fall:
            return there
        part /= 2.0
    return None


def _tied(ties: Ties, size: int) -> tuple[Floats, Floats]:
    """Return one x that keeps the ties and the ways (n, f) in which it may move."""
    if not len(ties.value):
        return np.zeros(size), np.eye(size)
    u, s, vt = np.linalg.svd(ties.slope)
    rank = int((s > SINGULAR * s[0]).sum()) if len(s) else 0
    base = vt[:rank].T @ ((u[:, :rank].T @ ties.value) / s[:rank])
    return base, vt[rank:].T
