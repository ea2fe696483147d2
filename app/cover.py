"""The picture on a packet's cover, drawn in a child process: where nothing can be drawn, there is none."""

import os
import sys

from app.child import in_child
from geometry.layout import Layout
from geometry.progress import Cancelled, Progress

SIZE = (1600, 1000)


def picture(layout: Layout, progress: Progress) -> bytes | None:
    """Return the cage on its body as PNG; None where OpenGL is missing, which can end the child."""
    try:
        png: bytes = in_child(_draw, layout)(progress)
    except Cancelled:
        raise
    except Exception:
        return None
    return png


def _draw(layout: Layout, progress: Progress) -> bytes:
    if sys.platform.startswith("linux"):  # no window is needed, so neither is a screen
        os.environ.setdefault("VTK_DEFAULT_OPENGL_WINDOW", "vtkEGLRenderWindow")
    from app.viewport import picture

    progress(0.0, "Drawing the cover")
    return picture.draw(layout, *SIZE)
