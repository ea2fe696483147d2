"""A grid of distances in a corridor round a path: a guide that is quick to ask, never the last word."""

import numpy as np
from msgspec import Struct

from geometry.laying.metal import Metal, sided
from geometry.laying.path import Path
from geometry.vectors import Floats, Ints

SPACING = 25.0  # mm between the points of the grid; longer paths have a coarser one
MOST_ALONG = 90  # points of the grid along a path
MARGIN = 3  # spacings round the path that are asked of the metal itself
ROOM = 10  # spacings round the path's box that the grid covers


class Field(Struct, frozen=True, eq=False):
    """Distances (nx, ny, nz), negative behind the metal, at points low + spacing times their numbers."""

    low: Floats
    spacing: float
    gaps: Floats

    def at(self, points: Floats) -> Floats:
        """Return the distance at points (n, 3); past the grid, its edge's and the way to there."""
        asked = (points - self.low) / self.spacing
        held = np.clip(asked, 0.0, np.array(self.gaps.shape) - 1.000001)
        corner = held.astype(np.int64)
        part = held - corner
        flat = self.gaps.ravel()
        _, height, depth = self.gaps.shape
        base = (corner[:, 0] * height + corner[:, 1]) * depth + corner[:, 2]
        x, y, z = part.T
        near = self._mixed(flat, base, height * depth, depth, y, z, x)
        past = np.abs(asked - held).max(axis=1)
        gaps: Floats = near + past * self.spacing
        return gaps

    @staticmethod
    def _mixed(flat: Floats, base: Ints, far: int, up: int, y: Floats, z: Floats, x: Floats) -> Floats:
        def line(start: Ints) -> Floats:
            return flat[start] * (1.0 - z) + flat[start + 1] * z

        def face(start: Ints) -> Floats:
            return line(start) * (1.0 - y) + line(start + up) * y

        mixed: Floats = face(base) * (1.0 - x) + face(base + far) * x
        return mixed


def sampled(metal: Metal, path: Path) -> Field:
    """Ask the metal near the path; farther points add the way to the nearest asked."""
    from scipy import ndimage

    spacing = max(SPACING, path.length / MOST_ALONG)
    low = path.points.min(axis=0) - ROOM * spacing
    size = np.ceil((np.ptp(path.points, axis=0)) / spacing).astype(np.int64) + 2 * ROOM + 1
    marks = _near(path, low, spacing, size)
    points = low + spacing * np.column_stack(np.unravel_index(marks, size))
    gaps, nearest = metal.nearest(points)
    known = np.full(int(np.prod(size)), np.nan)
    known[marks] = sided(points, gaps, nearest, path.outward[path.beside(points)]).gaps
    grid = known.reshape(size)
    way, source = ndimage.distance_transform_edt(np.isnan(grid), return_indices=True)
    filled = grid[tuple(source)]
    return Field(low, spacing, filled + np.where(filled < 0.0, -spacing, spacing) * way)


def _near(path: Path, low: Floats, spacing: float, size: Ints) -> Ints:
    """Return the flat numbers of the grid points within MARGIN spacings of the path."""
    dense = _dense(path.points, spacing)
    middle = np.round((dense - low) / spacing).astype(np.int64)
    around = np.arange(-MARGIN, MARGIN + 1)
    ball = np.stack(np.meshgrid(around, around, around, indexing="ij"), axis=-1).reshape(-1, 3)
    ball = ball[np.einsum("ij,ij->i", ball, ball) <= MARGIN**2]
    cells = (middle[:, None] + ball).reshape(-1, 3)
    numbers: Ints = np.unique(np.ravel_multi_index(tuple(cells.T), tuple(size)))
    return numbers


def _dense(points: Floats, step: float) -> Floats:
    ways = np.linalg.norm(np.diff(points, axis=0), axis=1)
    runs = [
        np.linspace(start, end, max(int(np.ceil(way / step)), 1), endpoint=False)
        for start, end, way in zip(points, points[1:], ways, strict=False)
    ]
    return np.concatenate([*runs, points[-1:]])
