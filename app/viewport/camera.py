"""The camera as a value: where it looks, from which side, how far. Imports no Qt and no VTK.

The camera never rolls: it has a heading (yaw) round the car's z axis and a height (pitch). Screen
points are logical pixels with y down.
"""

import math
from functools import lru_cache
from typing import Any, Literal

import msgspec
import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from geometry.vectors import Floats, Vec3, direction, distance, minus, times, vec

VIEW_ANGLE = math.radians(28.0)  # from top to bottom; calmer than a wide lens
LOWEST, HIGHEST = math.radians(-90.0), math.radians(90.0)
NEAREST_DISTANCE, FARTHEST_DISTANCE = 40.0, 200_000.0  # mm from the focus
BEHIND = 50_000.0  # mm; rays of a parallel view start this far back, so nothing lies behind them
ROOM_ROUND_FIT = 1.08  # a fitted thing keeps this much air

Side = Literal["front", "back", "left", "right", "top", "bottom", "corner"]
SIDES: dict[Side, tuple[float, float]] = {  # yaw and pitch; in top and bottom the car faces left
    "front": (0.0, 0.0),
    "back": (math.pi, 0.0),
    "left": (math.pi / 2, 0.0),
    "right": (-math.pi / 2, 0.0),
    "top": (math.pi / 2, HIGHEST),
    "bottom": (math.pi / 2, LOWEST),
    "corner": (math.radians(38.0), math.radians(20.0)),
}


class Size(Struct, frozen=True):
    """The view's width and height in logical pixels."""

    width: float
    height: float


class Ray(Struct, frozen=True):
    """From the eye through a pixel; the direction has length 1."""

    origin: Vec3
    direction: Vec3

    def at(self, far: float) -> Vec3:
        (x, y, z), (dx, dy, dz) = self.origin, self.direction
        return (x + dx * far, y + dy * far, z + dz * far)


class Camera(Struct, frozen=True):
    """Looks at the focus from `distance` away, from the side that yaw and pitch give."""

    focus: Vec3 = (-1200.0, 0.0, 700.0)
    yaw: float = SIDES["corner"][0]
    pitch: float = SIDES["corner"][1]
    distance: float = 9000.0
    is_parallel: bool = False


@lru_cache(maxsize=16)
def axes(camera: Camera) -> Floats:
    """Return rows right, up and forward of the view (3, 3), read-only."""
    cy, sy = math.cos(camera.yaw), math.sin(camera.yaw)
    cp, sp = math.cos(camera.pitch), math.sin(camera.pitch)
    rows = np.array([(-sy, cy, 0.0), (-sp * cy, -sp * sy, cp), (-cp * cy, -cp * sy, -sp)])
    rows.setflags(write=False)
    return rows


@lru_cache(maxsize=16)
def eye(camera: Camera) -> Vec3:
    return vec(np.asarray(camera.focus) - axes(camera)[2] * camera.distance)


def pixels_per_mm(camera: Camera, size: Size, depth: float | None = None) -> float:
    """Return the scale at a depth in front of the eye; at the focus when no depth is given."""
    at = camera.distance if depth is None or camera.is_parallel else max(depth, 1e-3)
    return size.height / 2.0 / (math.tan(VIEW_ANGLE / 2.0) * at)


def project(camera: Camera, size: Size, points: Floats) -> tuple[Floats, Floats]:
    """Return screen points (n, 2) and depths (n,) of points (n, 3); depth <= 0 is behind the eye."""
    seen = (np.asarray(points, dtype=float).reshape(-1, 3) - eye(camera)) @ axes(camera).T
    depth = seen[:, 2]
    at = np.full(len(seen), camera.distance) if camera.is_parallel else np.maximum(depth, 1e-3)
    scale = size.height / 2.0 / math.tan(VIEW_ANGLE / 2.0) / at
    screen = np.column_stack((size.width / 2.0 + seen[:, 0] * scale, size.height / 2.0 - seen[:, 1] * scale))
    return screen, depth


def ray(camera: Camera, size: Size, x: float, y: float) -> Ray:
    """Return the ray through a screen point."""
    right, up, forward = axes(camera)
    half = math.tan(VIEW_ANGLE / 2.0) / (size.height / 2.0)
    sideways = (x - size.width / 2.0) * half * right + (size.height / 2.0 - y) * half * up
    at = np.asarray(eye(camera))
    if camera.is_parallel:
        return Ray(vec(at + sideways * camera.distance - forward * BEHIND), vec(forward))
    towards = forward + sideways
    return Ray(vec(at), vec(towards / np.linalg.norm(towards)))


def ray_to(camera: Camera, point: Vec3) -> tuple[Ray, float]:
    """Return the ray from the eye to a point, and how far along it the point lies."""
    if camera.is_parallel:
        forward = vec(axes(camera)[2])
        return Ray(minus(point, times(forward, BEHIND)), forward), BEHIND
    at = eye(camera)
    return Ray(at, direction(at, point)), distance(at, point)


def on_view_plane(camera: Camera, at: Ray, through: Vec3) -> Vec3:
    """Return where a ray meets the plane through a point that faces the viewer."""
    forward = axes(camera)[2]
    across = float(np.dot(forward, at.direction))
    return at.at(float(np.dot(np.subtract(through, at.origin), forward)) / max(across, 1e-6))


def orbited(camera: Camera, pivot: Vec3, turn: float, lift: float) -> Camera:
    """Return the camera swung about a pivot, which keeps its place on the screen."""
    pitch = min(HIGHEST, max(LOWEST, camera.pitch + lift))
    swung = replace(camera, yaw=math.remainder(camera.yaw + turn, math.tau), pitch=pitch)
    seen = axes(camera) @ np.subtract(camera.focus, pivot)
    return replace(swung, focus=vec(np.asarray(pivot) + axes(swung).T @ seen))


def panned(camera: Camera, size: Size, pivot: Vec3, dx: float, dy: float) -> Camera:
    """Return the camera moved so that the pivot moves by dx, dy pixels on the screen."""
    right, up, forward = axes(camera)
    depth = float(np.dot(np.subtract(pivot, eye(camera)), forward))
    scale = pixels_per_mm(camera, size, depth)
    return replace(camera, focus=vec(np.asarray(camera.focus) - (dx * right - dy * up) / scale))


def anchored(camera: Camera, pivot: Vec3) -> Camera:
    """Return the same picture with the focus as deep as the pivot, so that zooming can get there."""
    depth = float(np.dot(np.subtract(pivot, eye(camera)), axes(camera)[2]))
    if camera.is_parallel or not NEAREST_DISTANCE <= depth <= FARTHEST_DISTANCE:
        return camera
    return replace(camera, focus=vec(np.asarray(eye(camera)) + depth * axes(camera)[2]), distance=depth)


def zoomed(camera: Camera, pivot: Vec3, factor: float) -> Camera:
    """Return the camera nearer (factor < 1) or farther; the pivot keeps its place on the screen."""
    far = min(FARTHEST_DISTANCE, max(NEAREST_DISTANCE, camera.distance * factor))
    focus = np.asarray(pivot) + (np.asarray(camera.focus) - pivot) * (far / camera.distance)
    return replace(camera, focus=vec(focus), distance=far)


def fitted(camera: Camera, size: Size, points: Floats) -> Camera:
    """Return the camera on the same side, just far enough away to show all points (n, 3)."""
    if len(points) == 0:
        return camera
    seen = np.asarray(points, dtype=float) @ axes(camera).T
    half_tan = math.tan(VIEW_ANGLE / 2.0) / ROOM_ROUND_FIT
    aspect = size.width / max(size.height, 1.0)
    low, high = seen.min(axis=0), seen.max(axis=0)
    middle = (low + high) / 2.0
    spans = np.abs(seen - middle)
    needed = np.maximum(spans[:, 0] / aspect, spans[:, 1]) / half_tan
    if not camera.is_parallel:
        needed = needed + (middle[2] - seen[:, 2])
    far = min(FARTHEST_DISTANCE, max(NEAREST_DISTANCE, float(needed.max()), 200.0))
    return replace(camera, focus=vec(axes(camera).T @ middle), distance=far)


def from_side(camera: Camera, side: Side) -> Camera:
    yaw, pitch = SIDES[side]
    return replace(camera, yaw=yaw, pitch=pitch)


def between(a: Camera, b: Camera, part: float) -> Camera:
    """Return a camera on the way from a to b; part runs from 0 to 1."""
    if part >= 1.0:
        return b
    turn = math.remainder(b.yaw - a.yaw, math.tau)
    focus = np.asarray(a.focus) * (1.0 - part) + np.asarray(b.focus) * part
    return replace(
        b,
        focus=vec(focus),
        yaw=a.yaw + turn * part,
        pitch=a.pitch + (b.pitch - a.pitch) * part,
        distance=a.distance ** (1.0 - part) * b.distance**part,
    )


def to_plain(camera: Camera) -> dict[str, Any]:
    """Return the camera as plain data."""
    plain: dict[str, Any] = msgspec.to_builtins(camera)
    return plain


def from_plain(plain: dict[str, Any]) -> Camera | None:
    """Return the camera that plain data describes; None when it describes none."""
    try:
        camera = msgspec.convert(plain, Camera, strict=False)
    except msgspec.ValidationError:
        return None
    numbers = (*camera.focus, camera.yaw, camera.pitch, camera.distance)
    is_sound = all(math.isfinite(number) for number in numbers) and camera.distance >= NEAREST_DISTANCE
    return camera if is_sound else None
