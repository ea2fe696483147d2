"""STL, binary and in words, through trimesh.

What a file says of itself is looked at first: trimesh would search a binary file whose count lies for words,
and find nothing in it or in any other text.
"""

import re
import struct
from io import BytesIO
from pathlib import Path

from geometry.body.formats import soup
from geometry.body.formats.soup import MeshFile, Soup
from geometry.progress import Progress


def read(path: Path, progress: Progress) -> MeshFile:
    """Read an STL file."""
    data = path.read_bytes()
    size, said = len(data), 0
    if size >= 84:
        said = int(struct.unpack_from("<I", data, 80)[0])
        if size == 84 + 50 * said:
            return _binary(path, data, said)
    if re.match(rb"\s*solid\b", data[:1024], re.IGNORECASE) and (
        b"facet" in data[:4096] or b"endsolid" in data[:4096]
    ):
        return _in_words(path, data, progress)
    if size < 84 or _is_text(data[:4096]):
        raise soup.broken(path, "is no STL file: it holds neither facets in words nor binary triangles.")
    return _binary(path, data, said)


def _is_text(start: bytes) -> bool:
    printable = sum(byte in b"\t\r\n" or 32 <= byte < 127 for byte in start)
    return printable > 0.97 * len(start)


def _binary(path: Path, data: bytes, said: int) -> MeshFile:
    from trimesh.exchange.stl import load_stl_binary

    room = (len(data) - 84) // 50
    if room != said:
        wrong = "ends too early" if room < said else "contradicts itself"
        raise soup.broken(path, f"{wrong}: it says it holds {said} triangles and there is room for {room}.")
    found = soup.loaded(path, path.stem, "STL", load_stl_binary, BytesIO(data[: 84 + 50 * said]))
    unit = re.search(rb"UNITS?\s*=\s*(mm|cm|m|in|ft)\b", data[:80], re.IGNORECASE)
    stated = unit and unit.group(1).decode().lower()
    return MeshFile((found,), stated_unit=stated or None)  # type: ignore[arg-type]


def _in_words(path: Path, data: bytes, progress: Progress) -> MeshFile:
    if not re.search(rb"endsolid[^\n]*\s*\Z", data[-1024:], re.IGNORECASE):
        raise soup.broken(path, "ends too early: its last solid is not closed.")
    heads = list(re.finditer(rb"^\s*solid\b([^\n]*)", data, re.MULTILINE | re.IGNORECASE))
    ends = [*(head.start() for head in heads[1:]), len(data)]
    soups = []
    for head, end in zip(heads, ends, strict=True):
        name = head.group(1).decode("utf-8", "replace").strip() or path.stem
        soups.append(_solid(path, name, data[head.end() : end]))
        progress(0.5 * end / len(data), f"Reading {path.name}")
    return MeshFile(tuple(soups))


def _solid(path: Path, name: str, facets: bytes) -> Soup:
    """Read one solid; trimesh doesn't see its name, in which it might find words of its own."""
    from trimesh.exchange.stl import load_stl_ascii

    found = soup.loaded(path, name, "STL", load_stl_ascii, BytesIO(b"solid" + facets))
    if len(found.triangles) != facets.lower().count(b"endfacet"):
        raise soup.broken(path, f"has facets without three corners, or without numbers, in {name}.")
    return found
