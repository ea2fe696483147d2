"""What every mesh reader gives, and what they share."""

import logging
from collections.abc import Callable
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
from msgspec import Struct

from geometry.errors import BodyFileError
from geometry.layout import Axis, LengthUnit
from geometry.vectors import Floats, Ints

CHUNK = 1 << 23  # bytes of text between two reports of progress

logging.getLogger("trimesh").addHandler(logging.NullHandler())  # else its remarks go to the terminal


class Soup(Struct, frozen=True, eq=False):
    """One named object of a file: vertices (n, 3) and triangles (m, 3) that nobody has looked at yet."""

    name: str
    vertices: Floats
    triangles: Ints


class MeshFile(Struct, frozen=True, eq=False):
    """What a file holds and says."""

    soups: tuple[Soup, ...]
    stated_unit: LengthUnit | None = None
    stated_up: Axis | None = None
    stated_forward: Axis | None = None
    warnings: tuple[str, ...] = ()


def broken(path: Path, what: str) -> BodyFileError:
    return BodyFileError(f"{path.name} {what} Export or copy it again.", path)


def unread(path: Path, kind: str, error: Exception) -> BodyFileError:
    """Say that a loader couldn't read the file, and what it said."""
    said = (str(error).strip().splitlines() or [type(error).__name__])[0].rstrip(".! ")
    return broken(path, f"is damaged or of an unknown kind of {kind} ({said}).")


# Through trimesh


def loaded(path: Path, name: str, kind: str, load: Callable[[BytesIO], Any], stream: BytesIO) -> Soup:
    """Return what one of trimesh's loaders finds in the stream; faces of many corners become fans."""
    try:
        found = load(stream)
        with np.errstate(invalid="ignore"):  # what is no number is refused later, with a count
            vertices = np.asarray(found.get("vertices", ()), np.float64).reshape(-1, 3)
            faces = np.asarray(found.get("faces", ()), np.int64)
    except Exception as error:  # a loader may raise anything on a damaged file
        raise unread(path, kind, error) from error
    size = faces.shape[1] if faces.ndim == 2 else 0
    if size < 3:
        return Soup(name, vertices, np.empty((0, 3), np.int64))
    return Soup(name, vertices, fans(faces.ravel(), np.full(len(faces), size)))


def rows(text: bytes) -> list[bytes]:
    """Return the lines that hold something."""
    return [line for line in text.splitlines() if line.strip()]


def is_whole(row: bytes) -> bool:
    """Say whether a face written as a count and that many corners has them all."""
    count, *corners = row.split()
    return count.isdigit() and len(corners) >= int(count)


# In words


def numbers(path: Path, text: bytes, rows: int, columns: int) -> Floats:
    """Return a table of numbers written as text (rows, columns), or say that it isn't one."""
    if rows == 0:
        return np.empty((0, columns))
    try:
        values = np.fromstring(text, dtype=np.float64, sep=" ")
    except (ValueError, DeprecationWarning):
        values = np.empty(0)
    if len(values) != rows * columns:
        raise broken(path, "holds something else where numbers should stand.")
    return values.reshape(rows, columns)


def whole_numbers(path: Path, values: Floats) -> Ints:
    """Return numbers of points as integers, or say that they aren't."""
    if not ((values == np.floor(values)) & (np.abs(values) < 2**52)).all():
        raise broken(path, "has a face whose corners are no whole numbers.")
    return values.astype(np.int64)


def fans(corners: Ints, sizes: Ints) -> Ints:
    """Return faces of any number of corners as triangles that share each face's first corner."""
    if (sizes == 3).all():
        return corners.reshape(-1, 3)
    first = np.cumsum(sizes) - sizes
    inside = sizes - 2
    start = np.repeat(first, inside)
    step = np.arange(inside.sum()) - np.repeat(np.cumsum(inside) - inside, inside)
    return np.stack([corners[start], corners[start + step + 1], corners[start + step + 2]], axis=1)
