"""The body's surface as the pointer meets it: what a ray hits, and how near the metal is. Imports no Qt.

Asked for one ray or one point at a time in the UI thread, so it uses VTK's static locator, which is
built in a tenth of a second for a million triangles and answers in some hundredths of a millisecond.
"""

from collections.abc import Sequence
from functools import cached_property
from typing import Any

import numpy as np
from msgspec import Struct
from vtkmodules.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray
from vtkmodules.vtkCommonCore import reference, vtkPoints
from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkGenericCell, vtkPolyData, vtkStaticCellLocator

from app.viewport.camera import Ray
from geometry.body import placement
from geometry.layout import Layout, Panel
from geometry.tolerances import CLEARANCE_ACCURACY
from geometry.vectors import Floats, Vec3, vec

# A march along a ray; a grazing ray takes many short steps.
MOST_STEPS = 160


class Place(Struct, frozen=True):
    """A point of the body: where, which panel and which of its triangles, how far from what asked."""

    point: Vec3
    panel: int
    triangle: int
    distance: float


class _Built(Struct, frozen=True, eq=False):
    """The locator, with what turns its cells into panels and triangles."""

    mesh: vtkPolyData
    locator: vtkStaticCellLocator
    cell: vtkGenericCell
    starts: np.ndarray  # of each panel's triangles
    kept: np.ndarray  # triangles with an area
    low: Floats
    high: Floats


class Surface:
    """The triangles of some panels of a layout, in the car's axes."""

    def __init__(self, layout: Layout, panels: Sequence[Panel]) -> None:
        self._ids = [panel.id for panel in panels]
        self._layout = layout
        self._panels = list(panels)

    @cached_property
    def _built(self) -> "_Built | None":
        """What answers; built when first asked, as an import shows many placements nobody points at."""
        if not self._panels:
            return None
        vertices = [placement.panel_vertices(self._layout, panel) for panel in self._panels]
        triangles = [np.asarray(panel.mesh.triangles, dtype=np.int64) for panel in self._panels]
        shifts = np.cumsum([0] + [len(part) for part in vertices[:-1]])
        points = np.concatenate(vertices)
        corners = np.concatenate([part + shift for part, shift in zip(triangles, shifts, strict=True)])
        starts = np.cumsum([0] + [len(part) for part in triangles[:-1]])
        kept = _with_area(points, corners)
        if len(kept) == 0:
            return None
        used = np.zeros(len(points), dtype=bool)
        used[corners[kept].ravel()] = True
        mesh = poly_data(points, corners[kept])
        locator = vtkStaticCellLocator()
        locator.SetDataSet(mesh)
        locator.BuildLocator()
        low, high = points[used].min(axis=0), points[used].max(axis=0)
        return _Built(mesh, locator, vtkGenericCell(), starts, kept, low, high)

    @property
    def is_empty(self) -> bool:
        return self._built is None

    @property
    def bounds(self) -> tuple[Floats, Floats] | None:
        built = self._built
        return None if built is None else (built.low, built.high)

    def hit(self, ray: Ray, start: float = 0.0, end: float = np.inf) -> Place | None:
        """Return the first point of the body on the ray between two distances."""
        built = self._built
        if built is None or (span := self._span(ray, 1.0)) is None:
            return None
        first, last = max(span[0], start), min(span[1], end)
        if first >= last:
            return None
        along: Any = reference(0.0)  # VTK's stubs call what comes back plain numbers
        cell: Any = reference(0)
        sub: Any = reference(0)
        place, inside = [0.0] * 3, [0.0] * 3
        found = built.locator.IntersectWithLine(
            ray.at(first), ray.at(last), 1e-6, along, place, inside, sub, cell, built.cell
        )
        if not found:
            return None
        panel, triangle = self._name(built, int(cell))
        distance = first + float(along) * (last - first)
        return Place(vec(place), panel, triangle, distance)

    def nearest(self, point: Vec3) -> Place | None:
        """Return the point of the body nearest to a point."""
        built = self._built
        if built is None:
            return None
        cell: Any = reference(0)
        sub: Any = reference(0)
        squared: Any = reference(0.0)
        place = [0.0] * 3
        built.locator.FindClosestPoint(point, place, built.cell, cell, sub, squared)
        panel, triangle = self._name(built, int(cell))
        return Place(vec(place), panel, triangle, float(squared) ** 0.5)

    def normal(self, place: Place) -> Floats:
        """Return the unit normal of the triangle at a place, on the side its winding says."""
        built = self._built
        assert built is not None
        cell = int(np.searchsorted(built.kept, built.starts[self._ids.index(place.panel)] + place.triangle))
        ids = built.mesh.GetCell(cell).GetPointIds()
        a, b, c = (np.array(built.mesh.GetPoint(ids.GetId(i))) for i in range(3))
        across = np.cross(b - a, c - a)
        normal: Floats = across / np.linalg.norm(across)
        return normal

    def gap(self, point: Vec3) -> float:
        """Return the distance of a point to the body; infinite without one."""
        place = self.nearest(point)
        return np.inf if place is None else place.distance

    def on_offset(self, ray: Ray, offset: float, start: float = 0.0, end: float = np.inf) -> Vec3 | None:
        """Return the first point of the ray whose true nearest distance to the body is the offset.

        Steps of the distance itself cannot overshoot, as no point is nearer to the body than that.
        """
        span = self._span(ray, offset + 1.0)
        if span is None:
            return None
        at = max(span[0], start)
        if self.gap(ray.at(at)) < offset:
            return None
        for _ in range(MOST_STEPS):
            spare = self.gap(ray.at(at)) - offset
            if spare <= CLEARANCE_ACCURACY / 2.0:
                return ray.at(at)
            at += spare
            if at > min(span[1], end):
                return None
        return None

    def pushed_out(self, foot: Vec3, direction: Vec3, offset: float) -> Vec3:
        """Return the point along a direction from the body that is the first to keep the offset."""
        ray, at = Ray(foot, direction), offset
        for _ in range(MOST_STEPS):
            short = offset - self.gap(ray.at(at))
            if short <= CLEARANCE_ACCURACY / 2.0:
                break
            at += short
        return ray.at(at)

    def _name(self, built: "_Built", cell: int) -> tuple[int, int]:
        cell = int(built.kept[cell])
        part = int(np.searchsorted(built.starts, cell, side="right")) - 1
        return self._ids[part], cell - int(built.starts[part])

    def _span(self, ray: Ray, room: float) -> tuple[float, float] | None:
        """Return where the ray enters and leaves the body's box with some room round it."""
        built = self._built
        if built is None:
            return None
        low, high = built.low - room, built.high + room
        first, last = 0.0, np.inf
        for o, d, a, b in zip(ray.origin, ray.direction, low, high, strict=True):
            if abs(d) < 1e-12:
                if not a <= o <= b:
                    return None
                continue
            near, far = sorted(((a - o) / d, (b - o) / d))
            first, last = max(first, near), min(last, far)
        return (first, last) if first < last else None


def _with_area(points: Floats, triangles: np.ndarray) -> np.ndarray:
    """Return which triangles have an area: a collapsed one has no inside to hit."""
    a, b, c = (points[triangles[:, i]] for i in range(3))
    (ux, uy, uz), (vx, vy, vz) = (b - a).T, (c - a).T
    x, y, z = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    return np.flatnonzero(x * x + y * y + z * z > 1e-18)


def poly_data(points: Floats, triangles: np.ndarray) -> vtkPolyData:
    """Return VTK's form of triangles (m, 3) over points (n, 3)."""
    cells = vtkCellArray()
    offsets = np.arange(0, 3 * len(triangles) + 1, 3, dtype=np.int64)
    flat = np.ascontiguousarray(triangles, dtype=np.int64).ravel()
    cells.SetData(numpy_to_vtkIdTypeArray(offsets, deep=True), numpy_to_vtkIdTypeArray(flat, deep=True))
    held = vtkPoints()
    held.SetData(numpy_to_vtk(np.ascontiguousarray(points, dtype=np.float64), deep=True))
    result = vtkPolyData()
    result.SetPoints(held)
    result.SetPolys(cells)
    return result
