"""Orbit, pan and zoom about the point under the pointer, and short flights between views."""

from collections.abc import Callable
from typing import Literal

from PySide6.QtCore import QEasingCurve, QElapsedTimer, QObject, QVariantAnimation, Signal

from app.viewport import camera as cameras
from app.viewport.camera import Camera, Size
from geometry.vectors import Vec3

ORBIT_SPEED = 0.0052  # radians a pixel: half a turn over 600 pixels
ZOOM_STEP = 0.84  # a notch of the wheel
NOTCH = 120.0
FLIGHT = 240  # ms; long enough to see where one goes, too short to wait
SAME_WHEEL = 400  # ms within which turns of the wheel zoom about the same point

Motion = Literal["orbit", "pan"]


class Navigation(QObject):
    """Moves a camera; the pivot of a drag stays where it was first seen."""

    moved = Signal(object)  # Camera

    def __init__(self, pivot_at: Callable[[float, float], Vec3], parent: QObject) -> None:
        super().__init__(parent)
        self.camera = Camera()
        self.size = Size(800.0, 600.0)
        self.flies = True
        self.motion: Motion | None = None
        self._pivot_at = pivot_at
        self._pivot: Vec3 = (0.0, 0.0, 0.0)
        self._start = self.camera
        self._from = (0.0, 0.0)
        self._wheel_clock = QElapsedTimer()
        self._wheel_at = (-1.0, -1.0)
        self._wheel_pivot: Vec3 = self._pivot
        self._flight = QVariantAnimation(self)
        self._flight.setStartValue(0.0)
        self._flight.setEndValue(1.0)
        self._flight.setDuration(FLIGHT)
        self._flight.setEasingCurve(QEasingCurve.Type.InOutCubic)
        self._flight.valueChanged.connect(self._on_flight)
        self._flight_from = self._flight_to = self.camera

    @property
    def pivot(self) -> Vec3 | None:
        """The point that a drag turns about; None when nothing is dragged."""
        return self._pivot if self.motion == "orbit" else None

    @property
    def is_moving(self) -> bool:
        """Whether the camera is dragged or flies."""
        return self.motion is not None or self._flight.state() == QVariantAnimation.State.Running

    def begin(self, motion: Motion, x: float, y: float) -> None:
        self.land()
        self.motion = motion
        self._start, self._from = self.camera, (x, y)
        self._pivot = self._pivot_at(x, y)

    def drag(self, x: float, y: float) -> None:
        """Move the camera from where it was when the drag began: no drift."""
        dx, dy = x - self._from[0], y - self._from[1]
        if self.motion == "orbit":
            self._set(cameras.orbited(self._start, self._pivot, -dx * ORBIT_SPEED, dy * ORBIT_SPEED))
        elif self.motion == "pan":
            self._set(cameras.panned(self._start, self.size, self._pivot, dx, dy))

    def end(self) -> None:
        self.motion = None

    def wheel(self, x: float, y: float, turned: float) -> None:
        """Zoom by a turn of the wheel (120 a notch) towards the point under the pointer."""
        self.land()
        recent = self._wheel_clock.isValid() and self._wheel_clock.elapsed() < SAME_WHEEL
        if not recent or (x, y) != self._wheel_at:
            self._wheel_pivot, self._wheel_at = self._pivot_at(x, y), (x, y)
        self._wheel_clock.restart()
        start = cameras.anchored(self.camera, self._wheel_pivot)
        self._set(cameras.zoomed(start, self._wheel_pivot, ZOOM_STEP ** (turned / NOTCH)))

    def step(self, turn: float, lift: float, pivot: Vec3) -> None:
        """Orbit by keys."""
        self.fly(cameras.orbited(self._target(), pivot, turn, lift))

    def zoom(self, factor: float) -> None:
        """Zoom by keys, about the middle of the view."""
        self.fly(cameras.zoomed(self._target(), self._target().focus, factor))

    def shift(self, dx: float, dy: float) -> None:
        """Pan by keys, in pixels."""
        camera = self._target()
        self.fly(cameras.panned(camera, self.size, camera.focus, dx, dy))

    def fly(self, target: Camera) -> None:
        """Go to a camera, on a short way that can be followed by eye."""
        self._flight.stop()
        if not self.flies or target == self.camera:
            self._set(target)
            return
        self._flight_from, self._flight_to = self.camera, target
        self._flight.start()

    def land(self) -> None:
        """End a flight where it is."""
        self._flight.stop()

    def set(self, camera: Camera) -> None:
        self.land()
        self._set(camera)

    def _target(self) -> Camera:
        flying = self._flight.state() == QVariantAnimation.State.Running
        return self._flight_to if flying else self.camera

    def _on_flight(self, part: float) -> None:
        self._set(cameras.between(self._flight_from, self._flight_to, part))

    def _set(self, camera: Camera) -> None:
        if camera != self.camera:
            self.camera = camera
            self.moved.emit(camera)
