"""PLY through trimesh, but for what it would read wrongly or not at all.

It takes a file in words that is cut short for a smaller one, and looks for the byte order in the second line
only. Of binary files it reads those whose faces all have equally many corners; the mixed faces that modelling
programs write are read here.
"""

import re
import struct
from collections.abc import Sequence
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np
from msgspec import Struct

from geometry.body.formats import soup
from geometry.body.formats.soup import MeshFile, Soup
from geometry.errors import BodyFileError
from geometry.progress import Progress

ORDERS = {"ascii": "", "binary_little_endian": "<", "binary_big_endian": ">"}
CORNERS = ("vertex_indices", "vertex_index")
LONGEST_HEADER = 1 << 16  # bytes
TYPES = {  # by their code in the module struct
    "b": ("char", "int8"),
    "B": ("uchar", "uint8"),
    "h": ("short", "int16"),
    "H": ("ushort", "uint16"),
    "i": ("int", "int32"),
    "I": ("uint", "uint32"),
    "f": ("float", "float32"),
    "d": ("double", "float64"),
}
CODES = {name: code for code, names in TYPES.items() for name in names}


class Element(Struct, frozen=True):
    """One table of the file; a column is such as `float x` or `list uchar int vertex_index`."""

    name: str
    rows: int
    columns: list[list[str]]


def read(path: Path, progress: Progress) -> MeshFile:
    """Read a PLY file."""
    head, body = _parted(path, path.read_bytes())
    order, elements = _described(path, head)
    before, faces = _to_faces(elements)
    if faces is None:
        raise BodyFileError(
            f"{path.name} holds points and no triangles. "
            "Make a surface of them in the scanning program first.",
            path,
        )
    if not any(column[0] == "list" and column[-1] in CORNERS for column in faces.columns):
        raise soup.broken(path, "doesn't say where its points and faces are.")
    progress(0.1, f"Reading {path.name}")
    if not order:
        rows = soup.rows(body)
        last = sum(element.rows for element in before) + faces.rows
        if len(rows) < last or (faces.columns[0][0] == "list" and not soup.is_whole(rows[last - 1])):
            raise soup.broken(path, f"ends too early: it says it holds {faces.rows} faces.")
        return MeshFile((_through_trimesh(path, head + b"\n".join(rows)),))
    try:
        return MeshFile((_through_trimesh(path, head + body),))
    except BodyFileError:
        return MeshFile((_mixed(path, head, body, order, before, faces),))


def _parted(path: Path, data: bytes) -> tuple[bytes, bytes]:
    """Return the header without its remarks, and what follows it."""
    end = re.search(rb"^end_header[ \t]*\r?\n", data[:LONGEST_HEADER], re.MULTILINE)
    if not data.startswith(b"ply") or end is None:
        raise soup.broken(path, "is no PLY file: its header doesn't say what it holds.")
    head = re.sub(rb"^((comment|obj_info)\b[^\n]*|[ \t]*\r?)\n", b"", data[: end.end()], flags=re.MULTILINE)
    return head, data[end.end() :]


def _described(path: Path, head: bytes) -> tuple[str, list[Element]]:
    """Return the byte order ("" for words) and the elements."""
    lines = [line.split() for line in head.decode("latin-1").splitlines()]
    if len(lines) < 2 or len(lines[1]) < 2 or lines[1][0] != "format" or lines[1][1] not in ORDERS:
        raise soup.broken(path, "is no PLY file: its header doesn't say how it is written.")
    elements: list[Element] = []
    for line in lines[2:-1]:
        match line:
            case ["element", name, rows] if rows.isdigit():
                elements.append(Element(name, int(rows), []))
            case ["property", "list", _, _, _] | ["property", _, _] if elements:
                elements[-1].columns.append(line[1:])
            case _:
                raise soup.broken(path, f"has a header that can't be read: {' '.join(line)[:40]}.")
    return ORDERS[lines[1][1]], elements


def _to_faces(elements: Sequence[Element]) -> tuple[Sequence[Element], Element | None]:
    """Return the elements before the faces, and the faces if there are any."""
    for index, element in enumerate(elements):
        if element.name == "face" and element.rows:
            return elements[:index], element
    return elements, None


def _through_trimesh(path: Path, data: bytes) -> Soup:
    return soup.loaded(path, path.stem, "PLY", _load, BytesIO(data))


def _load(stream: BytesIO) -> Any:
    from trimesh.exchange.ply import load_ply

    found = load_ply(stream, fix_texture=False, skip_materials=True)
    rows = found["metadata"]["_ply_raw"].get("face", {}).get("data")
    for name in CORNERS if isinstance(rows, np.ndarray) else ():
        if name in (rows.dtype.names or ()) and (rows[name]["f0"] != rows[name]["f0"][0]).any():
            raise ValueError("mixed faces that are as long as even ones")
    return found


def _mixed(
    path: Path, head: bytes, body: bytes, order: str, before: Sequence[Element], faces: Element
) -> Soup:
    """Read points through trimesh and faces of any number of corners row by row."""
    try:
        start = sum(_row_size(element) * element.rows for element in before)
        corners, sizes = _faces(body, start, order, faces)
        triangles = soup.fans(np.array(corners, np.int64), np.array(sizes, np.int64))
    except (ValueError, KeyError, OverflowError, struct.error) as error:
        raise soup.broken(
            path, f"ends too early or is damaged: it says it holds {faces.rows} faces."
        ) from error
    named = re.search(rb"^element[ \t]+face\b", head, re.MULTILINE)
    assert named is not None
    points = _through_trimesh(path, head[: named.start()] + b"end_header\n" + body[:start])
    return Soup(points.name, points.vertices, triangles)


def _row_size(element: Element) -> int:
    return struct.calcsize("<" + "".join(CODES[kind] for kind, _ in element.columns))


def _faces(body: bytes, at: int, order: str, faces: Element) -> tuple[list[int], list[int]]:
    """Return the corners of all faces in a run, and how many each has; edges are left out."""
    corners: list[int] = []
    sizes: list[int] = []
    columns = [
        (CODES[words[1]] if words[0] == "list" else "", CODES[words[-2]], words[-1] in CORNERS)
        for words in faces.columns
    ]
    for _ in range(faces.rows):
        for count_kind, kind, is_corners in columns:
            count = 1
            if count_kind:
                (count,) = struct.unpack_from(order + count_kind, body, at)
                at += struct.calcsize(order + count_kind)
            form = f"{order}{count}{kind}"
            if is_corners and count >= 3:
                corners += struct.unpack_from(form, body, at)
                sizes.append(count)
            at += struct.calcsize(form)
    if at > len(body):
        raise ValueError("the last row is cut short")
    return corners, sizes
