"""The panels round a path, asked as one: the nearest metal and on which side of it a point is."""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from geometry.body.distance import BodyIndex, PanelIndex
from geometry.vectors import Floats, unit

BEHIND = -0.3  # cosine; metal lies sideways at its edges, and only what is clearly behind it is inside


class Metal:
    """Answers for the nearest of some panels; those whose box is farther than a nearer one aren't asked."""

    def __init__(self, index: BodyIndex) -> None:
        self.panels: Sequence[PanelIndex] = [index[id] for id in sorted(index)]
        self.low = np.array([panel.bounds[0] for panel in self.panels]).reshape(-1, 3)
        self.high = np.array([panel.bounds[1] for panel in self.panels]).reshape(-1, 3)

    def nearest(self, points: Floats) -> tuple[Floats, Floats]:
        """Return for points (n, 3) the distance (n,) and the nearest point (n, 3)."""
        beside = np.maximum(np.maximum(self.low - points[:, None], points[:, None] - self.high), 0.0)
        least = np.sqrt(np.einsum("ijk,ijk->ij", beside, beside))
        gaps, places = np.full(len(points), np.inf), np.zeros((len(points), 3))
        order = np.argsort(least, axis=1, kind="stable")
        rows = np.arange(len(points))
        for rank in range(len(self.panels)):
            panel = order[:, rank]
            worth = least[rows, panel] < gaps
            if not worth.any():
                break
            for number in np.unique(panel[worth]).tolist():
                chosen = np.flatnonzero(worth & (panel == number))
                gap, _, place = self.panels[number].closest(points[chosen])
                nearer = gap < gaps[chosen]
                gaps[chosen[nearer]], places[chosen[nearer]] = gap[nearer], place[nearer]
        return gaps, places


class Sided(Struct, frozen=True, eq=False):
    """Distances (n,), negative behind the metal, and the ways in which they grow (n, 3)."""

    gaps: Floats
    ways: Floats


def sided(points: Floats, gaps: Floats, places: Floats, outward: Floats) -> Sided:
    """Give distances a sign: a point is inside where its way from the metal runs against `outward` (n, 3).

    This is a guide for the search only: triangles themselves have no sides that could be relied on.
    """
    away = unit(points - places)
    along = np.einsum("ij,ij->i", away, outward)
    away = np.where((gaps > 0.0)[:, None], away, outward)
    sign = np.where(along < BEHIND, -1.0, 1.0)
    return Sided(gaps * sign, away * sign[:, None])
