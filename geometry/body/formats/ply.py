"""PLY, binary and in words."""

import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from geometry.body.formats import soup
from geometry.body.formats.soup import MeshFile, Soup
from geometry.errors import BodyFileError
from geometry.progress import Progress
from geometry.vectors import Floats, Ints

TYPES = {
    "char": "i1",
    "int8": "i1",
    "uchar": "u1",
    "uint8": "u1",
    "short": "i2",
    "int16": "i2",
    "ushort": "u2",
    "uint16": "u2",
    "int": "i4",
    "int32": "i4",
    "uint": "u4",
    "uint32": "u4",
    "float": "f4",
    "float32": "f4",
    "double": "f8",
    "float64": "f8",
}
ORDERS = {"ascii": "ascii", "binary_little_endian": "<", "binary_big_endian": ">"}
CORNERS = ("vertex_indices", "vertex_index")
LONGEST_HEADER = 1 << 16  # bytes


class Property(Struct, frozen=True):
    """One column; a list has its count's type too."""

    name: str
    kind: str
    count_kind: str | None = None


class Element(Struct, frozen=True):
    """One table of the file."""

    name: str
    rows: int
    properties: tuple[Property, ...]


class Table(Struct, frozen=True, eq=False):
    """The columns of an element that are read: points, or the corners of faces and how many each has."""

    points: Floats | None = None
    corners: Ints | None = None
    sizes: Ints | None = None


def read(path: Path, progress: Progress) -> MeshFile:
    """Read a PLY file."""
    data = path.read_bytes()
    order, elements, start = _header(path, data)
    by_name = {element.name: element for element in elements}
    if not by_name.get("face", Element("face", 0, ())).rows:
        raise BodyFileError(
            f"{path.name} holds points and no triangles. "
            "Make a surface of them in the scanning program first.",
            path,
        )
    progress(0.1, f"Reading {path.name}")
    body = data[start:]
    tables = _in_words(path, body, elements) if order == "ascii" else _binary(path, body, order, elements)
    points = next((table.points for table in tables if table.points is not None), None)
    faces = next((table for table in tables if table.corners is not None), None)
    if points is None or faces is None or faces.corners is None or faces.sizes is None:
        raise soup.broken(path, "doesn't say where its points and faces are.")
    progress(0.5, f"Reading {path.name}")
    whole = faces.sizes >= 3
    corners = faces.corners if whole.all() else faces.corners[np.repeat(whole, faces.sizes)]
    return MeshFile((Soup(path.stem, points, soup.fans(corners, faces.sizes[whole])),))


def _header(path: Path, data: bytes) -> tuple[str, list[Element], int]:
    """Return the byte order ("ascii", "<" or ">"), the elements, and where they begin."""
    head = data[:LONGEST_HEADER]
    end = re.search(rb"^end_header[ \t]*\r?\n", head, re.MULTILINE)
    if not head.startswith(b"ply") or end is None:
        raise soup.broken(path, "is no PLY file: its header doesn't say what it holds.")
    order, elements = "", []
    for line in head[: end.start()].decode("latin-1").splitlines():
        words = line.split()
        match words:
            case ["format", kind, *_]:
                order = {"ascii": "ascii", "binary_little_endian": "<", "binary_big_endian": ">"}.get(
                    kind, ""
                )
            case ["element", name, rows] if rows.isdigit():
                elements.append(Element(name, int(rows), ()))
            case ["property", *rest] if elements:
                last = elements[-1]
                added = (*last.properties, _property(path, rest))
                elements[-1] = Element(last.name, last.rows, added)
    if not order or not any(element.name == "vertex" for element in elements):
        raise soup.broken(path, "is no PLY file: its header doesn't say what it holds.")
    return order, elements, end.end()


def _property(path: Path, words: list[str]) -> Property:
    match words:
        case ["list", count, kind, name] if count in TYPES and kind in TYPES:
            return Property(name, TYPES[kind], TYPES[count])
        case [kind, name] if kind in TYPES:
            return Property(name, TYPES[kind])
    raise soup.broken(path, f"has a property that PLY doesn't know: {' '.join(words)[:40]}.")


def _ends_early(path: Path, element: Element) -> BodyFileError:
    return soup.broken(path, f"ends too early: it says it holds {element.rows} rows of {element.name}.")


# Binary


def _binary(path: Path, body: bytes, order: str, elements: list[Element]) -> list[Table]:
    tables, start = [], 0
    for element in elements:
        table, start = _binary_table(path, body, start, order, element)
        tables.append(table)
        if element.name == "face":
            break  # what comes after faces is of no use here
    return tables


def _binary_table(path: Path, body: bytes, start: int, order: str, element: Element) -> tuple[Table, int]:
    sizes = _first_sizes(path, body, start, order, element)
    row = np.dtype(
        [
            field
            for number, column in enumerate(element.properties)
            for field in _fields(number, column, order, sizes)
        ]
    )
    stop = start + row.itemsize * element.rows
    if not any(column.count_kind for column in element.properties):
        if stop > len(body):
            raise _ends_early(path, element)
        return _table_of(np.frombuffer(body, row, element.rows, start), element, sizes), stop
    if stop <= len(body):
        rows = np.frombuffer(body, row, element.rows, start)
        lists = [number for number, column in enumerate(element.properties) if column.count_kind]
        if all((rows[f"count{number}"] == sizes[number]).all() for number in lists):
            return _table_of(rows, element, sizes), stop
    return _uneven_table(path, body, start, order, element)


def _fields(
    number: int, column: Property, order: str, sizes: dict[int, int]
) -> Iterator[tuple[str, str] | tuple[str, str, tuple[int]]]:
    if column.count_kind:
        yield (f"count{number}", order + column.count_kind)
        yield (f"value{number}", order + column.kind, (sizes[number],))
    else:
        yield (f"value{number}", order + column.kind)


def _first_sizes(path: Path, body: bytes, start: int, order: str, element: Element) -> dict[int, int]:
    """Return how long each list of the first row is."""
    sizes: dict[int, int] = {}
    for number, column in enumerate(element.properties):
        count = 1
        if column.count_kind:
            count, start = _count(path, body, start, order, column.count_kind, element)
            sizes[number] = count
        start += count * np.dtype(column.kind).itemsize
    return sizes


def _count(path: Path, body: bytes, at: int, order: str, kind: str, element: Element) -> tuple[int, int]:
    if not element.rows:
        return 0, at
    width = np.dtype(kind).itemsize
    if at + width > len(body):
        raise _ends_early(path, element)
    count = float(np.frombuffer(body, order + kind, 1, at)[0])
    if not 0 <= count <= len(body):
        raise _ends_early(path, element)
    return int(count), at + width


def _table_of(rows: "NDArray[np.void]", element: Element, sizes: dict[int, int]) -> Table:
    columns = {column.name: number for number, column in enumerate(element.properties)}
    if element.name == "vertex" and {"x", "y", "z"} <= columns.keys():
        with np.errstate(invalid="ignore"):  # what is no number is refused later, with a count
            points = np.stack([rows[f"value{columns[axis]}"].astype(np.float64) for axis in "xyz"], axis=1)
        return Table(points=points)
    corners = next((columns[name] for name in CORNERS if name in columns), None)
    if element.name == "face" and corners in sizes:
        assert corners is not None
        flat = rows[f"value{corners}"].astype(np.int64).ravel()
        return Table(corners=flat, sizes=np.full(len(rows), sizes[corners], np.int64))
    return Table()


def _uneven_table(path: Path, body: bytes, start: int, order: str, element: Element) -> tuple[Table, int]:
    """Read rows whose lists differ in length, one by one."""
    found: list[NDArray[np.int64]] = []
    for _ in range(element.rows):
        for column in element.properties:
            count = 1
            if column.count_kind:
                count, start = _count(path, body, start, order, column.count_kind, element)
            width = count * np.dtype(column.kind).itemsize
            if start + width > len(body):
                raise _ends_early(path, element)
            if element.name == "face" and column.name in CORNERS and column.count_kind:
                found.append(np.frombuffer(body, order + column.kind, count, start).astype(np.int64))
            start += width
    if not found:
        return Table(), start
    return Table(corners=np.concatenate(found), sizes=np.array([len(some) for some in found])), start


# In words


def _in_words(path: Path, body: bytes, elements: list[Element]) -> list[Table]:
    lines = [line for line in body.splitlines() if line.strip()]
    tables, start = [], 0
    for element in elements:
        some = lines[start : start + element.rows]
        if len(some) < element.rows:
            raise _ends_early(path, element)
        tables.append(_worded_table(path, some, element))
        start += element.rows
    return tables


def _worded_table(path: Path, lines: list[bytes], element: Element) -> Table:
    names = [column.name for column in element.properties]
    if element.name == "vertex" and {"x", "y", "z"} <= set(names) and lines:
        rows = soup.numbers(path, b"\n".join(lines), len(lines), len(names))
        return Table(points=rows[:, [names.index(axis) for axis in "xyz"]])
    if element.name == "face" and names and names[0] in CORNERS and lines:
        corners, sizes = soup.counted_rows(path, lines)
        return Table(corners=corners, sizes=sizes)
    return Table()
