"""OBJ: objects, groups and materials by name, faces of any number of corners.

Read here because trimesh counts a face's negative corners back from the end of the file, where OBJ counts
them back from the face: in a file of several objects they would all take the last one's shape.
"""

import re
from pathlib import Path

import numpy as np
from msgspec import Struct

from geometry.body.formats import soup
from geometry.body.formats.soup import CHUNK, MeshFile, Soup
from geometry.errors import BodyFileError
from geometry.progress import Progress
from geometry.vectors import Floats, Ints


class _Named(Struct, frozen=True):
    """What an OBJ file has named so far."""

    object: str = ""
    group: str = ""
    material: str = ""


def read(path: Path, progress: Progress) -> MeshFile:
    """Read an OBJ file."""
    data = path.read_bytes().replace(b"\\\n", b" ").replace(b"\\\r\n", b" ")
    if b"\0" in data[:4096]:
        raise soup.broken(path, "is no OBJ file: it holds bytes that are no text.")
    vertices, faces, remarks = [np.empty((0, 3))], [], []
    named, count = _Named(), 0
    for start, end, named in _sections(data):
        while start < end:
            stop = end if start + CHUNK >= end else data.find(b"\n", start + CHUNK, end) + 1 or end
            chunk = data[start:stop]
            found = _vertices(path, chunk)
            corners, sizes = _faces(path, chunk, count)
            if len(sizes):
                faces.append((named, soup.fans(corners, sizes)))
            if len(found):
                vertices.append(found)
            count += len(found)
            start = stop
            progress(0.5 * start / len(data), f"Reading {path.name}")
    if re.search(rb"^[ \t]*(curv|surf|cstype)\b", data, re.MULTILINE):
        remarks.append(f"{path.name} also holds curved surfaces, which are not read.")
    points = np.concatenate(vertices)
    return MeshFile(_grouped(path, points, faces), warnings=tuple(remarks))


def _sections(data: bytes) -> list[tuple[int, int, _Named]]:
    """Return the stretches of the file that lie between two names, with what is named there."""
    sections, named, start = [], _Named(), 0
    kinds = {b"o": "object", b"g": "group", b"usemtl": "material"}
    for match in re.finditer(rb"^[ \t]*(o|g|usemtl)(?:[ \t]+([^\r\n]*))?\r?$", data, re.MULTILINE):
        sections.append((start, match.start(), named))
        start = match.end()
        name = (match.group(2) or b"").decode("utf-8", "replace").strip()
        values = {field: getattr(named, field) for field in named.__struct_fields__}
        named = _Named(**{**values, kinds[match.group(1)]: name})
    return [*sections, (start, len(data), named)]


def _vertices(path: Path, chunk: bytes) -> Floats:
    lines = re.findall(rb"^[ \t]*v[ \t]+([^\r\n]*)", chunk, re.MULTILINE)
    if not lines:
        return np.empty((0, 3))
    width = len(lines[0].split())  # colours or a weight may follow
    try:
        return soup.numbers(path, b"\n".join(lines), len(lines), max(width, 3))[:, :3]
    except BodyFileError:
        firsts = b"\n".join(b" ".join(line.split(b"#")[0].split()[:3]) for line in lines)
        return soup.numbers(path, firsts, len(lines), 3)


def _faces(path: Path, chunk: bytes, before: int) -> tuple[Ints, Ints]:
    """Return the corners of all faces in a run, counted from 0, and how many each has."""
    lines = re.findall(rb"^[ \t]*f[ \t]+([^\r\n#]*)", chunk, re.MULTILINE)
    if not lines:
        return np.empty(0, np.int64), np.empty(0, np.int64)
    text = b"\n".join(lines)
    if b"/" in text:
        text = re.sub(rb"/\S*", b"", text)
        lines = text.split(b"\n")
    sizes = np.fromiter((len(line.split()) for line in lines), np.int64, len(lines))
    corners = soup.whole_numbers(path, soup.numbers(path, text, int(sizes.sum()), 1)[:, 0])
    if (corners == 0).any() or (sizes < 3).any():
        raise soup.broken(path, "has a face that names no corner.")
    if (corners < 0).any():
        counts = np.repeat(before + _vertices_before_faces(chunk), sizes)
        corners = np.where(corners < 0, counts + corners, corners - 1)
        if (corners < 0).any():
            raise soup.broken(path, "has a face that names a point the file doesn't hold.")
        return corners, sizes
    return corners - 1, sizes


def _vertices_before_faces(chunk: bytes) -> Ints:
    """Return for each face how many points stand before it in the chunk; faces may count backwards."""
    kinds = re.findall(rb"^[ \t]*([vf])[ \t]", chunk, re.MULTILINE)
    is_vertex = np.array([kind == b"v" for kind in kinds])
    counted: Ints = np.cumsum(is_vertex)[~is_vertex].astype(np.int64)
    return counted


def _grouped(path: Path, points: Floats, faces: list[tuple[_Named, Ints]]) -> tuple[Soup, ...]:
    """Return one soup for each object; for each group or material where a file names one object only."""
    for kind in _Named.__struct_fields__:
        names = list(dict.fromkeys(getattr(named, kind) for named, _ in faces))
        if len(names) > 1:
            break
    else:
        kind = "object"
        names = list(dict.fromkeys(getattr(named, kind) for named, _ in faces))
    soups = []
    for name in names:
        triangles = np.concatenate([some for named, some in faces if getattr(named, kind) == name])
        if triangles.max() >= len(points):
            raise soup.broken(path, "has a face that names a point the file doesn't hold.")
        used = np.zeros(len(points), bool)
        used[triangles] = True
        soups.append(Soup(name or path.stem, points[used], (np.cumsum(used) - 1)[triangles]))
    return tuple(soups)
