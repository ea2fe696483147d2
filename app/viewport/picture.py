"""A still picture of a layout for the cover of a packet. Needs no window and no Qt application."""

from io import BytesIO

from msgspec.structs import replace

from app.viewport import camera as cameras
from app.viewport import colours
from app.viewport.camera import Camera, Side, Size
from app.viewport.scene import Scene
from geometry.layout import Layout

PAPER = "#ffffff"


def draw(layout: Layout, width: int, height: int, side: Side = "corner") -> bytes:
    """Return the layout on white as PNG."""
    import pyvista  # brings matplotlib along, which the start need not wait for

    plotter = pyvista.Plotter(off_screen=True, window_size=(width, height), lighting=None)
    renderer = plotter.renderer
    scene = Scene(renderer, colours.LIGHT)
    renderer.SetGradientBackground(False)
    renderer.SetBackground(*colours.rgb(PAPER))
    scene.show(replace(layout, references={}, zones={}))  # what is built, not what it was laid by
    scene.set_grid(False, "metric")
    size = Size(float(width), float(height))
    scene.place_camera(cameras.fitted(cameras.from_side(Camera(), side), size, scene.points()))
    plotter.enable_anti_aliasing("ssaa")
    png = BytesIO()
    plotter.camera_set = True  # it stands where the scene put it
    plotter.screenshot(png)
    plotter.close()
    return png.getvalue()
