"""How one thing is drawn: a tube, a panel, lines, a plain surface. Needs no window and no Qt."""

import numpy as np
from vtkmodules.util.numpy_support import numpy_to_vtk, numpy_to_vtkIdTypeArray, vtk_to_numpy
from vtkmodules.vtkCommonCore import vtkPoints, vtkUnsignedCharArray
from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkPlane, vtkPolyData
from vtkmodules.vtkFiltersCore import vtkCutter, vtkPolyDataNormals
from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper

from app.viewport import shapes
from app.viewport.colours import rgb
from app.viewport.surface import poly_data
from app.viewport.tints import Tint
from geometry.tube import centreline
from geometry.tube.centreline import Bend, Centreline
from geometry.vectors import Floats

DRAWN_SAGITTA = 0.5  # mm; finer than a pixel until the view is 300 mm high
CREASE = 40.0  # degrees; sharper edges of the body stay sharp
FIT_POINTS = 1500  # of each panel
SMOOTHED_TRIANGLES = 200_000
NO_RINGS = np.zeros(0)


class TubeActor:
    """One tube as it is drawn."""

    def __init__(self) -> None:
        self.mapper = vtkPolyDataMapper()
        self.actor = vtkActor()
        self.actor.SetMapper(self.mapper)
        self.mapper.ScalarVisibilityOff()
        self.line: Centreline | None = None
        self.bounds = (1.0, -1.0, 1.0, -1.0, 1.0, -1.0)  # empty
        self.od = 0.0
        self.rings = NO_RINGS
        self._stations = NO_RINGS
        self._bad: tuple[Bend, ...] = ()
        surface = self.actor.GetProperty()
        surface.SetSpecular(0.25)
        surface.SetSpecularPower(24.0)
        surface.SetAmbient(0.3)
        surface.SetDiffuse(0.8)

    def bend_along(self, line: Centreline, od: float, rings: Floats = NO_RINGS) -> None:
        """Draw a tube; rings are stations where its colour needs one of its own."""
        points, directions, stations = centreline.sample(line, sagitta=DRAWN_SAGITTA)
        if len(rings):
            within = rings[(rings > 0.0) & (rings < line.length)]
            at = np.searchsorted(stations, within)
            points = np.insert(points, at, centreline.point_at(line, within), axis=0)
            directions = np.insert(directions, at, centreline.direction_at(line, within), axis=0)
            stations = np.insert(stations, at, within)
        skin = shapes.sweep(points, directions, od / 2.0)
        mesh = poly_data(skin.points, skin.triangles)
        mesh.GetPointData().SetNormals(numpy_to_vtk(skin.normals, deep=True))
        self._stations = stations
        self._bad = tuple(bend for bend in line.bends if not bend.fits)
        self.line, self.od, self.rings = line, od, rings
        self.mapper.SetInputData(mesh)
        self.bounds = mesh.GetBounds()

    def paint(self, colour: str, bad_colour: str, tint: Tint | None = None, strength: float = 1.0) -> None:
        """Paint in one colour, or tinted along; a tint that is behind is paler."""
        self.actor.GetProperty().SetColor(*rgb(colour))
        self.mapper.SetScalarVisibility(bool(self._bad) or tint is not None)
        if self._bad or tint is not None:
            mesh = self.mapper.GetInput()
            mesh.GetPointData().SetScalars(self._ring_colours(colour, bad_colour, tint, strength))

    @property
    def has_bad_bends(self) -> bool:
        return bool(self._bad)

    def _ring_colours(
        self, colour: str, bad_colour: str, tint: Tint | None, strength: float
    ) -> vtkUnsignedCharArray:
        plain = np.array(rgb(colour))
        rings = np.repeat(plain[None], len(self._stations), axis=0)
        if tint is not None:
            rings += strength * (tint.at(self._stations) - plain)
        rings[_in_bends(self._stations, self._bad)] = rgb(bad_colour)
        skin = np.repeat(rings, shapes.SIDES, axis=0)
        caps = np.repeat(rings[[0, -1]], shapes.SIDES, axis=0)
        values = np.round(255.0 * np.concatenate((skin, caps))).astype(np.uint8)
        coloured: vtkUnsignedCharArray = numpy_to_vtk(values, deep=True)
        return coloured


def _in_bends(stations: Floats, bends: tuple[Bend, ...]) -> np.ndarray:
    """Return for each station (n,) whether it lies in one of the bends."""
    inside = np.zeros(len(stations), dtype=bool)
    for bend in bends:
        inside |= (stations >= bend.start - 1e-6) & (stations <= bend.end + 1e-6)
    return inside


class PanelActor:
    """One panel of the body as it is drawn."""

    def __init__(self, mesh: vtkPolyData) -> None:
        self.mapper = vtkPolyDataMapper()
        self.mapper.ScalarVisibilityOff()
        self.actor = vtkActor()
        self.actor.SetMapper(self.mapper)
        surface = self.actor.GetProperty()
        surface.SetAmbient(0.3)
        surface.SetDiffuse(0.74)
        surface.SetSpecular(0.06)
        surface.SetSpecularPower(12.0)
        self.show(mesh)

    def show(self, mesh: vtkPolyData) -> None:
        self.outer_points = _outer_points(mesh)
        if mesh.GetNumberOfPolys() > SMOOTHED_TRIANGLES:  # drawn with flat faces until its stand-in is there
            self.mesh = mesh
            self.mapper.SetInputData(mesh)
            return
        normals = vtkPolyDataNormals()
        normals.SetInputData(mesh)
        normals.SetFeatureAngle(CREASE)
        normals.Update()
        self.mesh = normals.GetOutput()
        self.mapper.SetInputData(self.mesh)


def _outer_points(mesh: vtkPolyData) -> Floats:
    """Return some points (n, 3) of a mesh, those that reach farthest among them: enough to fit it by."""
    if mesh.GetNumberOfPoints() == 0:
        return np.zeros((0, 3))
    points: Floats = vtk_to_numpy(mesh.GetPoints().GetData())
    farthest = np.concatenate((points.argmin(axis=0), points.argmax(axis=0)))
    return np.concatenate((points[:: max(1, len(points) // FIT_POINTS)], points[farthest]))


def plain_actor() -> vtkActor:
    actor = vtkActor()
    mapper = vtkPolyDataMapper()
    mapper.ScalarVisibilityOff()
    mapper.SetInputData(vtkPolyData())
    actor.SetMapper(mapper)
    actor.GetProperty().SetAmbient(0.5)
    actor.GetProperty().SetDiffuse(0.5)
    return actor


def lines_actor(width: float) -> vtkActor:
    actor = plain_actor()
    actor.GetProperty().SetLighting(False)
    actor.GetProperty().SetLineWidth(width)
    return actor


def smooth(points: Floats, triangles: np.ndarray) -> vtkPolyData:
    """Return a mesh with normals that round its facets off."""
    normals = vtkPolyDataNormals()
    normals.SetInputData(poly_data(points, triangles))
    normals.SetFeatureAngle(CREASE)
    normals.Update()
    smoothed: vtkPolyData = normals.GetOutput()
    return smoothed


def set_surface(actor: vtkActor, surface: shapes.Surface) -> None:
    mesh = poly_data(surface.points, surface.triangles)
    mesh.GetPointData().SetNormals(numpy_to_vtk(np.ascontiguousarray(surface.normals), deep=True))
    actor.GetMapper().SetInputData(mesh)


def set_lines(actor: vtkActor, lines: Floats) -> None:
    """Draw line segments (n, 2, 3)."""
    count = len(lines)
    points = vtkPoints()
    points.SetData(numpy_to_vtk(np.ascontiguousarray(lines.reshape(-1, 3)), deep=True))
    cells = vtkCellArray()
    cells.SetData(
        numpy_to_vtkIdTypeArray(np.arange(0, 2 * count + 1, 2, dtype=np.int64), deep=True),
        numpy_to_vtkIdTypeArray(np.arange(2 * count, dtype=np.int64), deep=True),
    )
    mesh = vtkPolyData()
    mesh.SetPoints(points)
    mesh.SetLines(cells)
    actor.GetMapper().SetInputData(mesh)


def cut_through(mesh: vtkPolyData, plane: vtkPlane) -> Floats:
    """Return the segments (n, 2, 3) where a plane meets a mesh."""
    cutter = vtkCutter()
    cutter.SetInputData(mesh)
    cutter.SetCutFunction(plane)
    cutter.Update()
    cut = cutter.GetOutput()
    if cut.GetNumberOfLines() == 0:
        return np.zeros((0, 2, 3))
    points = vtk_to_numpy(cut.GetPoints().GetData())
    ends = vtk_to_numpy(cut.GetLines().GetConnectivityArray())
    chords: Floats = points[ends].reshape(-1, 2, 3).astype(np.float64)
    return chords
