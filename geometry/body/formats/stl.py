"""STL, binary and in words."""

import re
import struct
from pathlib import Path

import numpy as np

from geometry.body.formats import soup
from geometry.body.formats.soup import CHUNK, MeshFile, Soup
from geometry.progress import Progress
from geometry.vectors import Floats, Ints


def read(path: Path, progress: Progress) -> MeshFile:
    """Read an STL file."""
    data = path.read_bytes()
    size, said = len(data), 0
    if size >= 84:
        said = int(struct.unpack_from("<I", data, 80)[0])
        if size == 84 + 50 * said:
            return _binary_stl(path, data, said)
    if data[:1024].lstrip()[:5].lower() == b"solid" and (
        b"facet" in data[:4096] or b"endsolid" in data[:4096]
    ):
        return _text_stl(path, data, progress)
    if size < 84 or _is_text(data[:4096]):
        raise soup.broken(path, "is no STL file: it holds neither facets in words nor binary triangles.")
    return _binary_stl(path, data, said)


def _is_text(start: bytes) -> bool:
    printable = sum(byte in b"\t\r\n" or 32 <= byte < 127 for byte in start)
    return printable > 0.97 * len(start)


def _binary_stl(path: Path, data: bytes, said: int) -> MeshFile:
    room = (len(data) - 84) // 50
    if room < said:
        raise soup.broken(
            path, f"ends too early: it says it holds {said} triangles and there is room for {room}."
        )
    if room > said:
        raise soup.broken(
            path, f"contradicts itself: it says it holds {said} triangles and there is room for {room}."
        )
    record = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
    with np.errstate(invalid="ignore"):  # what is no number is refused later, with a count
        corners = np.frombuffer(data, record, said, 84)["corners"].reshape(-1, 3).astype(np.float64)
    unit = re.search(rb"UNITS?\s*=\s*(mm|cm|m|in|ft)\b", data[:80], re.IGNORECASE)
    stated = unit and unit.group(1).decode().lower()
    return MeshFile((Soup(path.stem, corners, _thirds(len(corners))),), stated_unit=stated or None)  # type: ignore[arg-type]


def _thirds(count: int) -> Ints:
    """Return the triangles of corners that stand in the file three by three."""
    return np.arange(count, dtype=np.int64).reshape(-1, 3)


def _text_stl(path: Path, data: bytes, progress: Progress) -> MeshFile:
    starts = [match.start() for match in re.finditer(rb"^[ \t]*solid\b", data, re.MULTILINE | re.IGNORECASE)]
    if not re.search(rb"endsolid[^\n]*\s*\Z", data[-1024:], re.IGNORECASE):
        raise soup.broken(path, "ends too early: its last solid is not closed.")
    soups = []
    for start, end in zip(starts, [*starts[1:], len(data)], strict=True):
        first_line = data[start : start + 200].split(b"\n", 1)[0].split(None, 1)
        name = first_line[1].decode("utf-8", "replace").strip() if len(first_line) > 1 else path.stem
        corners = _text_stl_corners(path, data, start, end, progress)
        soups.append(Soup(name, corners, _thirds(len(corners))))
    return MeshFile(tuple(soups))


def _text_stl_corners(path: Path, data: bytes, start: int, end: int, progress: Progress) -> Floats:
    pieces = []
    while start < end:
        stop = end if start + CHUNK >= end else data.find(b"\n", start + CHUNK, end) + 1 or end
        lines = re.findall(rb"(?i)\bvertex\b([^\n]*)", data[start:stop])
        pieces.append(soup.numbers(path, b"\n".join(lines), len(lines), 3))
        start = stop
        progress(0.5 * start / len(data), f"Reading {path.name}")
    corners = np.concatenate(pieces)
    if len(corners) % 3:
        raise soup.broken(path, "has a facet without three corners.")
    return corners
