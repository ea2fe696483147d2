"""The pieces of centrelines as rows of arrays: many places, and nearest places, at once."""

from functools import lru_cache

import numpy as np
from msgspec import Struct

from geometry.tube.centreline import Arc, Centreline, Line
from geometry.vectors import Floats, Ints, Vec3, cross, direction, minus

CACHED_LINES = 4096
NONE = (0.0, 0.0, 0.0)


class Pieces(Struct, frozen=True, eq=False):
    """Pieces as rows: a point is base + along forward + cos out + sin across."""

    base: Floats
    forward: Floats
    out: Floats
    across: Floats
    curvature: Floats
    length: Floats
    start: Floats

    def points(self, piece: Ints, along: Floats) -> Floats:
        turn = along * self.curvature[piece]
        points: Floats = (
            self.base[piece]
            + along[:, None] * self.forward[piece]
            + np.cos(turn)[:, None] * self.out[piece]
            + np.sin(turn)[:, None] * self.across[piece]
        )
        return points

    def nearest(self, piece: Ints, points: Floats) -> Floats:
        """Return for each point (n, 3) the mm along its piece (n,) where that is nearest."""
        away = points - self.base[piece]
        along = np.einsum("ij,ij->i", away, self.forward[piece])
        bent = np.flatnonzero(self.curvature[piece])
        if len(bent):
            arcs = piece[bent]
            angle = np.arctan2(
                np.einsum("ij,ij->i", away[bent], self.across[arcs]),
                np.einsum("ij,ij->i", away[bent], self.out[arcs]),
            )
            # Beyond the arc, the end that is nearer round the circle is the nearer one in space.
            half = self.length[arcs] * self.curvature[arcs] / 2.0
            past = np.remainder(angle - half + np.pi, 2.0 * np.pi) - np.pi
            along[bent] = (half + np.clip(past, -half, half)) / self.curvature[arcs]
        held: Floats = np.clip(along, 0.0, self.length[piece])
        return held


@lru_cache(maxsize=CACHED_LINES)
def of(line: Centreline) -> Pieces:
    """Return the pieces of one line."""
    base, forward, out, across = np.array([_row(piece) for piece in line.pieces]).transpose(1, 0, 2)
    radius = np.linalg.norm(out, axis=1)
    curvature = np.divide(1.0, radius, out=np.zeros(len(radius)), where=radius > 0.0)
    ends = np.array([*line.stations, line.length])
    return Pieces(base, forward, out, across, curvature, np.diff(ends), ends[:-1])


def _row(piece: Line | Arc) -> tuple[Vec3, Vec3, Vec3, Vec3]:
    if isinstance(piece, Line):
        return (
            piece.start,
            direction(piece.start, piece.end) if piece.start != piece.end else NONE,
            NONE,
            NONE,
        )
    out = minus(piece.start, piece.centre)
    return piece.centre, NONE, out, cross(piece.axis, out)
