"""Triangles and lines for things that are not the body: swept tubes, the ground grid, a person."""

import functools
import math

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from geometry.vectors import Floats, any_perpendicular

SIDES = 20  # of a tube's section; round enough at the size of a hand on the screen
PERSON_HEIGHT = 1750.0
RIM_PART = 0.5  # of a tyre's diameter, where its rim was not asked for


class Surface(Struct, frozen=True, eq=False):
    """Points and normals (n, 3) and triangles (m, 3)."""

    points: Floats
    normals: Floats
    triangles: NDArray[np.int64]


def frames(directions: Floats) -> tuple[Floats, Floats]:
    """Return two unit vectors square to each direction (n, 3), carried along without twist."""
    x, y, z = (float(value) for value in any_perpendicular(directions[0]))
    sides = []
    for dx, dy, dz in directions.tolist():
        along = x * dx + y * dy + z * dz
        x, y, z = x - along * dx, y - along * dy, z - along * dz
        length = math.sqrt(x * x + y * y + z * z)
        if length < 1e-6:  # the direction turned onto the side vector: start anew
            x, y, z = (float(value) for value in any_perpendicular(np.array((dx, dy, dz))))
        else:
            x, y, z = x / length, y / length, z / length
        sides.append((x, y, z))
    side = np.array(sides)
    return side, np.cross(directions, side)


def sweep(points: Floats, directions: Floats, radius: float, sides: int = SIDES) -> Surface:
    """Return a round tube with flat ends along points (n, 3); ring k is vertices k * sides ..."""
    u, v = frames(directions)
    turn = np.arange(sides) * (math.tau / sides)
    out = np.cos(turn)[None, :, None] * u[:, None, :] + np.sin(turn)[None, :, None] * v[:, None, :]
    skin = points[:, None, :] + radius * out
    caps = np.concatenate((skin[0], skin[-1]))
    cap_normals = np.repeat([-directions[0], directions[-1]], sides, axis=0)
    return Surface(
        np.concatenate((skin.reshape(-1, 3), caps)),
        np.concatenate((out.reshape(-1, 3), cap_normals)),
        _sweep_triangles(len(points), sides),
    )


@functools.lru_cache(maxsize=256)
def _sweep_triangles(rings: int, sides: int) -> NDArray[np.int64]:
    ring = np.arange(rings - 1)[:, None] * sides
    here = np.arange(sides)[None, :]
    after = (here + 1) % sides
    a, b = ring + here, ring + after
    skin = np.stack((a, b, b + sides, a, b + sides, a + sides), axis=-1).reshape(-1, 3)
    first = rings * sides
    fan = np.arange(1, sides - 1)
    start = np.column_stack((np.full_like(fan, first), first + fan + 1, first + fan))
    end = np.column_stack((np.full_like(fan, first), first + fan, first + fan + 1)) + sides
    return np.concatenate((skin, start, end))


def ball(centre: Floats, radius: float, rings: int = 10, sides: int = SIDES) -> Surface:
    """Return a ball."""
    lift = np.linspace(-math.pi / 2, math.pi / 2, rings)
    turn = np.arange(sides) * (math.tau / sides)
    normals = np.stack(
        (
            np.cos(lift)[:, None] * np.cos(turn)[None, :],
            np.cos(lift)[:, None] * np.sin(turn)[None, :],
            np.repeat(np.sin(lift)[:, None], sides, axis=1),
        ),
        axis=-1,
    ).reshape(-1, 3)
    skin = _sweep_triangles(rings, sides)[: (rings - 1) * sides * 2]
    return Surface(centre + radius * normals, normals, skin)


def joined(parts: list[Surface]) -> Surface:
    starts = np.cumsum([0] + [len(part.points) for part in parts[:-1]])
    return Surface(
        np.concatenate([part.points for part in parts]),
        np.concatenate([part.normals for part in parts]),
        np.concatenate([part.triangles + start for part, start in zip(parts, starts, strict=True)]),
    )


def wheel(od: float, width: float, shoulder: float, rim: float | None, sides: int = 48) -> Surface:
    """Return a tyre about the y axis, with a dished disc in place of its rim."""
    inner = (rim or RIM_PART * od) / 2.0
    turn = np.linspace(0.0, math.pi / 2.0, 5)
    edge = width / 2.0 - shoulder + shoulder * np.sin(turn)
    height = od / 2.0 - shoulder + shoulder * np.cos(turn)
    half = [
        (0.0, od / 2.0),
        *zip(edge, height, strict=True),
        (width / 2.0, inner),
        (0.3 * width, 0.9 * inner),
    ]
    half.append((0.3 * width, 0.0))
    rows = np.array([(-y, r) for y, r in half[:0:-1]] + half)
    along = np.gradient(rows, axis=0)
    out = np.stack([-along[:, 1], along[:, 0]], axis=1)
    out /= np.maximum(np.linalg.norm(out, axis=1), 1e-9)[:, None]
    angle = np.arange(sides) * (math.tau / sides)

    def round_(profile: Floats) -> Floats:
        y = np.repeat(profile[:, :1], sides, axis=1)
        x, z = (np.outer(profile[:, 1], part(angle)) for part in (np.cos, np.sin))
        return np.stack([x, y, z], axis=-1).reshape(-1, 3)

    return Surface(
        round_(rows), round_(out), _sweep_triangles(len(rows), sides)[: (len(rows) - 1) * sides * 2]
    )


# A plain standing figure, facing +x: limbs as rods from a to b with a radius (fractions of its height).
_LIMBS = (
    ((0.0, 0.055, 0.05), (0.0, 0.05, 0.48), 0.042),
    ((0.0, -0.055, 0.05), (0.0, -0.05, 0.48), 0.042),
    ((0.0, 0.045, 0.50), (0.0, 0.06, 0.76), 0.062),
    ((0.0, -0.045, 0.50), (0.0, -0.06, 0.76), 0.062),
    ((0.0, 0.0, 0.50), (0.0, 0.0, 0.78), 0.066),
    ((0.0, 0.115, 0.78), (0.01, 0.15, 0.60), 0.027),
    ((0.0, -0.115, 0.78), (0.01, -0.15, 0.60), 0.027),
    ((0.01, 0.15, 0.60), (0.04, 0.155, 0.45), 0.023),
    ((0.01, -0.15, 0.60), (0.04, -0.155, 0.45), 0.023),
    ((0.0, 0.0, 0.80), (0.0, 0.0, 0.87), 0.030),
    ((-0.02, 0.055, 0.025), (0.075, 0.065, 0.018), 0.024),
    ((-0.02, -0.055, 0.025), (0.075, -0.065, 0.018), 0.024),
)


def person(feet: Floats, height: float = PERSON_HEIGHT) -> Surface:
    """Return a plain standing figure for scale."""
    parts = [ball(feet + np.array((0.005, 0.0, 0.935)) * height, 0.065 * height)]
    for start, end, radius in _LIMBS:
        a, b = feet + np.array(start) * height, feet + np.array(end) * height
        along = np.repeat([(b - a) / np.linalg.norm(b - a)], 2, axis=0)
        parts += [
            sweep(np.array((a, b)), along, radius * height),
            ball(a, radius * height),
            ball(b, radius * height),
        ]
    return joined(parts)


def grid_lines(low: Floats, high: Floats, step: float) -> Floats:
    """Return end points (n, 2, 3) of the lines at multiples of step that cover low..high on the ground."""
    x0, y0 = (math.floor(value / step) * step for value in low[:2])
    x1, y1 = (math.ceil(value / step) * step for value in high[:2])
    xs = np.arange(round((x1 - x0) / step) + 1) * step + x0
    ys = np.arange(round((y1 - y0) / step) + 1) * step + y0
    across = [((x, y0, 0.0), (x, y1, 0.0)) for x in xs]
    along = [((x0, y, 0.0), (x1, y, 0.0)) for y in ys]
    return np.array(across + along)
