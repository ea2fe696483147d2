"""A still picture of a layout for the cover of a packet. Needs no window and no Qt application."""

from vtkmodules.util.numpy_support import vtk_to_numpy
from vtkmodules.vtkIOImage import vtkPNGWriter
from vtkmodules.vtkRenderingCore import vtkRenderer, vtkRenderWindow, vtkWindowToImageFilter

from app.viewport import camera as cameras
from app.viewport import colours
from app.viewport.camera import Camera, Side, Size
from app.viewport.scene import Scene
from app.viewport.viewport import off_screen_window
from geometry.layout import Layout

PAPER = "#ffffff"


def draw(layout: Layout, width: int, height: int, side: Side = "corner") -> bytes:
    """Return the layout on white as PNG; drawn twice as large and halved, so edges are smooth."""
    window = off_screen_window()
    renderer = vtkRenderer()
    window.AddRenderer(renderer)
    window.SetSize(width, height)
    scene = Scene(renderer, colours.LIGHT)
    renderer.SetGradientBackground(False)
    renderer.SetBackground(*colours.rgb(PAPER))
    renderer.SetUseFXAA(True)
    scene.show(layout)
    scene.set_grid(False, "metric")
    size = Size(float(width), float(height))
    camera = cameras.fitted(cameras.from_side(Camera(), side), size, scene.points())
    scene.place_camera(camera)
    png = _png(window)
    window.Finalize()
    return png


def _png(window: vtkRenderWindow) -> bytes:
    window.Render()
    grab = vtkWindowToImageFilter()
    grab.SetInput(window)
    grab.ReadFrontBufferOff()
    writer = vtkPNGWriter()
    writer.SetWriteToMemory(True)
    writer.SetInputConnection(grab.GetOutputPort())
    writer.Write()
    png: bytes = vtk_to_numpy(writer.GetResult()).tobytes()
    return png
