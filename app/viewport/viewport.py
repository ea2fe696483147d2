"""Two widgets that show one VTK scene: through OpenGL, or as an image where Qt has no OpenGL.

Both draw on demand only: change the scene, then call `update()`; many changes, one frame.
They take no input: the View above them does.
"""

import ctypes
from dataclasses import dataclass
from functools import partial
from typing import Any

import vtkmodules.vtkRenderingOpenGL2
from PySide6.QtCore import Qt, QThread, Signal
from PySide6.QtGui import (
    QGuiApplication,
    QImage,
    QOpenGLContext,
    QPainter,
    QPaintEvent,
    QResizeEvent,
    QSurfaceFormat,
)
from PySide6.QtOpenGLWidgets import QOpenGLWidget
from PySide6.QtWidgets import QWidget
from shiboken6 import isValid
from vtkmodules.util.numpy_support import vtk_to_numpy
from vtkmodules.vtkCommonCore import vtkUnsignedCharArray
from vtkmodules.vtkRenderingCore import vtkRenderer, vtkRenderWindow
from vtkmodules.vtkRenderingOpenGL2 import vtkGenericOpenGLRenderWindow

from app.guarded import guarded

assert vtkmodules.vtkRenderingOpenGL2  # importing it registers the OpenGL factories

# Where Qt draws no OpenGL; beside an X server too.
PLATFORMS_WITHOUT_OPENGL = ("offscreen", "minimal")
SOFTWARE_DRIVERS = ("llvmpipe", "softpipe", "swiftshader", "software rasterizer", "osmesa")

GL_DRAW_FRAMEBUFFER = 0x8CA9
GL_COLOR_BUFFER_BIT = 0x4000
GL_NEAREST = 0x2600
GL_LEQUAL = 0x0203
GL_DEPTH_TEST = 0x0B71


def default_format() -> QSurfaceFormat:
    """Return the format to set as the process default before the first window."""
    wanted = QSurfaceFormat()
    wanted.setRenderableType(QSurfaceFormat.RenderableType.OpenGL)
    wanted.setVersion(3, 2)
    wanted.setProfile(QSurfaceFormat.OpenGLContextProfile.CoreProfile)
    wanted.setDepthBufferSize(24)
    wanted.setAlphaBufferSize(8)
    wanted.setSamples(0)
    return wanted


def has_opengl() -> bool:
    return QGuiApplication.platformName() not in PLATFORMS_WITHOUT_OPENGL


def make_viewport(parent: QWidget | None, safe_graphics: bool = False) -> "GlViewport | ImageViewport":
    """Return the viewport that works here; safe graphics asks for the one without Qt's OpenGL."""
    if safe_graphics or not has_opengl():
        return ImageViewport(parent)
    return GlViewport(parent)


def _device_size(widget: QWidget) -> tuple[int, int]:
    ratio = widget.devicePixelRatioF()
    return max(1, round(widget.width() * ratio)), max(1, round(widget.height() * ratio))


def _is_software(window: vtkRenderWindow) -> bool:
    told = (window.ReportCapabilities() or "").lower()
    return any(name in told for name in SOFTWARE_DRIVERS)


@dataclass
class _Home:
    """The context that VTK's OpenGL objects live in. It holds no widget, so it outlives a dying one."""

    context: QOpenGLContext | None = None
    surface: Any = None

    def make_current(self, *_: Any) -> None:
        if self.context is not None and QThread.isMainThread():
            self.context.makeCurrent(self.surface)

    def is_current(self) -> bool:
        return self.context is not None and QOpenGLContext.currentContext() is self.context


def _tell_current(home: _Home, window: vtkGenericOpenGLRenderWindow, _event: str) -> None:
    window.SetIsCurrent(home.is_current())


def _leave(home: _Home, window: vtkGenericOpenGLRenderWindow) -> None:
    """Free VTK's OpenGL objects while their context still exists."""
    if home.context is None:
        return
    if isValid(home.context) and isValid(home.surface):
        home.make_current()
        window.Finalize()
    window.SetReadyForRendering(False)
    home.context = None
    home.surface = None


def _symbol(_user: Any, name: bytes) -> int:
    context = QOpenGLContext.currentContext()
    return int(context.getProcAddress(name) or 0) if context else 0


_SYMBOL_LOADER = ctypes.CFUNCTYPE(ctypes.c_void_p, ctypes.c_void_p, ctypes.c_char_p)(_symbol)


class GlViewport(QOpenGLWidget):
    """A VTK render window that draws into a QOpenGLWidget."""

    about_to_render = Signal()
    rendered = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.is_software = False
        self.render_window = window = vtkGenericOpenGLRenderWindow()
        self._home = home = _Home()
        window.SetMultiSamples(0)
        window.SetReadyForRendering(False)
        window.SetFrameBlitModeToNoBlit()
        window.SetOwnContext(0)
        window.AddObserver("WindowMakeCurrentEvent", home.make_current)
        window.AddObserver("WindowIsCurrentEvent", partial(_tell_current, home))

    def add_renderer(self, renderer: vtkRenderer) -> None:
        self.render_window.AddRenderer(renderer)

    @guarded()
    def initializeGL(self) -> None:
        # Runs again after undocking or moving to another screen: the old objects go first.
        home, window = self._home, self.render_window
        _leave(home, window)
        home.context = self.context()
        home.surface = home.context.surface()
        home.context.aboutToBeDestroyed.connect(partial(_leave, home, window))
        window.SetOpenGLSymbolLoader2(ctypes.cast(_SYMBOL_LOADER, ctypes.c_void_p).value or 0, 0)
        window.OpenGLInitContext()
        window.OpenGLInit()
        window.SetForceMaximumHardwareLineWidth(1)
        window.SetReadyForRendering(True)
        self.is_software = _is_software(window)

    @guarded()
    def resizeGL(self, _width: int, _height: int) -> None:
        self._fit_window()

    @guarded()
    def paintGL(self) -> None:
        if self._home.context is None:
            return
        self._fit_window()
        self.about_to_render.emit()
        self._render_and_blit()
        self.rendered.emit()

    def shutdown(self) -> None:
        """Free the graphics; the widget shows nothing more."""
        _leave(self._home, self.render_window)

    def _fit_window(self) -> None:
        size = _device_size(self)
        if tuple(self.render_window.GetSize()) != size:
            self.render_window.SetSize(*size)
        self.render_window.SetDPI(round(72 * self.devicePixelRatioF()))

    def _render_and_blit(self) -> None:
        window, context = self.render_window, self._home.context
        assert context is not None
        state = window.GetState()
        state.Reset()  # Qt changed the OpenGL state behind VTK's back
        state.Push()
        state.vtkglDepthFunc(GL_LEQUAL)
        state.vtkglEnable(GL_DEPTH_TEST)
        window.Render()
        self.makeCurrent()
        width, height = window.GetSize()
        gl = context.extraFunctions()
        gl.glBindFramebuffer(GL_DRAW_FRAMEBUFFER, self.defaultFramebufferObject())
        window.BlitDisplayFramebuffer(
            0, 0, 0, width, height, 0, 0, width, height, GL_COLOR_BUFFER_BIT, GL_NEAREST
        )
        # A see-through framebuffer would let the desktop shine through: alpha becomes 1 everywhere.
        gl.glColorMask(False, False, False, True)
        gl.glClearColor(0.0, 0.0, 0.0, 1.0)
        gl.glClear(GL_COLOR_BUFFER_BIT)
        gl.glColorMask(True, True, True, True)
        state.Pop()


class ImageViewport(QWidget):
    """A VTK render window drawn off screen and painted as an image; needs no OpenGL from Qt."""

    about_to_render = Signal()
    rendered = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.is_software = True
        self._pixels: vtkUnsignedCharArray | None = vtkUnsignedCharArray()
        self._is_dirty = True  # paints for other reasons (an overlay moved) reuse the last frame
        self._image = QImage()
        self.render_window = off_screen_window()

    def add_renderer(self, renderer: vtkRenderer) -> None:
        self.render_window.AddRenderer(renderer)

    @guarded()
    def update(self, *args: Any) -> None:
        self._is_dirty = True
        super().update(*args)

    @guarded()
    def resizeEvent(self, event: QResizeEvent) -> None:
        self._is_dirty = True
        super().resizeEvent(event)

    @guarded()
    def paintEvent(self, _event: QPaintEvent) -> None:
        if self._pixels is None:
            return
        size = _device_size(self)
        if self._is_dirty or (self._image.width(), self._image.height()) != size:
            self._is_dirty = False
            self._render(size)
        painter = QPainter(self)
        painter.translate(0, self.height())
        painter.scale(1, -1)
        painter.drawImage(self.rect(), self._image)
        painter.end()

    def shutdown(self) -> None:
        """Free the graphics; the widget shows nothing more."""
        self._image = QImage()
        self._pixels = None
        self.render_window.Finalize()

    def _render(self, size: tuple[int, int]) -> None:
        assert self._pixels is not None
        window: Any = self.render_window  # VTK's stubs know no array to read pixels into
        window.SetSize(*size)
        window.SetDPI(round(72 * self.devicePixelRatioF()))
        self.about_to_render.emit()
        window.Render()
        width, height = size
        window.GetRGBACharPixelData(0, 0, width - 1, height - 1, 0, self._pixels)
        data = vtk_to_numpy(self._pixels).data
        self._image = QImage(data, width, height, 4 * width, QImage.Format.Format_RGBX8888)
        self.rendered.emit()


def off_screen_window() -> vtkRenderWindow:
    """Return a render window that never appears on a screen."""
    window = vtkRenderWindow()
    window.SetShowWindow(False)
    window.SetUseOffScreenBuffers(True)
    window.SetMultiSamples(0)
    if hasattr(window, "SetConnectContextToNSView"):
        window.SetConnectContextToNSView(False)
    return window
