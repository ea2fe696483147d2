"""What every mesh reader gives, and what they share."""

import warnings
from pathlib import Path

import numpy as np
from msgspec import Struct

from geometry.errors import BodyFileError
from geometry.layout import Axis, LengthUnit
from geometry.vectors import Floats, Ints

CHUNK = 1 << 23  # bytes of text between two reports of progress


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


def numbers(path: Path, text: bytes, rows: int, columns: int) -> Floats:
    """Return a table of numbers written as text (rows, columns), or say that it isn't one."""
    if rows == 0:
        return np.empty((0, columns))
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", DeprecationWarning)  # what can't be read shows in the count
            values = np.fromstring(text, dtype=np.float64, sep=" ")
    except ValueError:
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


def counted_rows(path: Path, lines: list[bytes]) -> tuple[Ints, Ints]:
    """Read faces written as a count and that many corners; what stands behind, such as colours, is not read.

    Returns the corners of all faces in a run, and how many each has.
    """
    if not lines:
        return np.empty(0, np.int64), np.empty(0, np.int64)
    try:
        table = numbers(path, b"\n".join(lines), len(lines), len(lines[0].split()))
        if (table[:, 0] == table[0, 0]).all() and 3 <= table[0, 0] < table.shape[1]:
            size = int(table[0, 0])
            return whole_numbers(path, table[:, 1 : size + 1].ravel()), np.full(len(table), size)
    except BodyFileError:
        pass  # faces of several sizes, or with colours behind some
    faces = [_counted_row(path, line.split()) for line in lines]
    faces = [face for face in faces if len(face) >= 3]
    corners = np.array([corner for face in faces for corner in face], dtype=np.int64)
    return corners, np.array([len(face) for face in faces], dtype=np.int64)


def _counted_row(path: Path, words: list[bytes]) -> list[int]:
    try:
        size = int(words[0])
        face = [int(word) for word in words[1 : size + 1]]
    except ValueError:
        size, face = 1, []
    if len(face) != size:
        raise broken(path, "holds something else where the corners of a face should stand.")
    return face
