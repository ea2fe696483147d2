"""Mesh files as they are: named triangle soups, what they say of units and axes, why they can't be read."""

import json
import re
import struct
import warnings
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from msgspec import Struct

from geometry.errors import BodyFileError
from geometry.layout import Axis, LengthUnit
from geometry.progress import Progress, no_progress
from geometry.vectors import Floats, Ints

FORMATS = {
    ".stl": "STL",
    ".obj": "OBJ",
    ".ply": "PLY",
    ".off": "OFF",
    ".glb": "glTF",
    ".gltf": "glTF",
    ".3mf": "3MF",
}
CHUNK = 1 << 23  # bytes of text between two reports of progress
LARGEST_UNPACKED = 4 << 30  # bytes; a 3MF that unpacks to more is a mistake or an attack


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


def read(path: Path, progress: Progress = no_progress) -> MeshFile:
    """Read a mesh file; BodyFileError says in a sentence why it can't be."""
    kind = FORMATS.get(path.suffix.lower())
    if kind is None:
        raise BodyFileError(
            f"{path.name} is no mesh file this program reads. "
            "Export the body as STL, OBJ, PLY, OFF, glTF or 3MF.",
            path,
        )
    if path.is_dir() or not path.exists():
        raise BodyFileError(f"There is no file {path.name} in {path.parent}. Check the name.", path)
    progress(0.0, f"Reading {path.name}")
    try:
        if path.stat().st_size == 0:
            raise BodyFileError(f"{path.name} is empty. Export or copy it again.", path)
        return _READERS[kind](path, progress)
    except OSError as error:
        raise BodyFileError(
            f"{path.name} can't be read: {error.strerror or error}. Check that it may be opened.", path
        ) from error


def _broken(path: Path, what: str) -> BodyFileError:
    return BodyFileError(f"{path.name} {what} Export or copy it again.", path)


# STL


def _read_stl(path: Path, progress: Progress) -> MeshFile:
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
        raise _broken(path, "is no STL file: it holds neither facets in words nor binary triangles.")
    return _binary_stl(path, data, said)


def _is_text(start: bytes) -> bool:
    printable = sum(byte in b"\t\r\n" or 32 <= byte < 127 for byte in start)
    return printable > 0.97 * len(start)


def _binary_stl(path: Path, data: bytes, said: int) -> MeshFile:
    room = (len(data) - 84) // 50
    if room < said:
        raise _broken(
            path, f"ends too early: it says it holds {said} triangles and there is room for {room}."
        )
    if room > said:
        raise _broken(
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
        raise _broken(path, "ends too early: its last solid is not closed.")
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
        pieces.append(_numbers(path, b"\n".join(lines), len(lines), 3))
        start = stop
        progress(0.5 * start / len(data), f"Reading {path.name}")
    corners = np.concatenate(pieces)
    if len(corners) % 3:
        raise _broken(path, "has a facet without three corners.")
    return corners


def _numbers(path: Path, text: bytes, rows: int, columns: int) -> Floats:
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
        raise _broken(path, "holds something else where numbers should stand.")
    return values.reshape(rows, columns)


def _whole(path: Path, values: Floats) -> Ints:
    """Return numbers of points as integers, or say that they aren't."""
    if not ((values == np.floor(values)) & (np.abs(values) < 2**52)).all():
        raise _broken(path, "has a face whose corners are no whole numbers.")
    return values.astype(np.int64)


# OBJ


class _Named(Struct, frozen=True):
    """What an OBJ file has named so far."""

    object: str = ""
    group: str = ""
    material: str = ""


def _read_obj(path: Path, progress: Progress) -> MeshFile:
    data = path.read_bytes().replace(b"\\\n", b" ").replace(b"\\\r\n", b" ")
    if b"\0" in data[:4096]:
        raise _broken(path, "is no OBJ file: it holds bytes that are no text.")
    vertices, faces, remarks = [np.empty((0, 3))], [], []
    named, count = _Named(), 0
    for start, end, named in _obj_sections(data):
        while start < end:
            stop = end if start + CHUNK >= end else data.find(b"\n", start + CHUNK, end) + 1 or end
            chunk = data[start:stop]
            found = _obj_vertices(path, chunk)
            corners, sizes = _obj_faces(path, chunk, count)
            if len(sizes):
                faces.append((named, _fans(corners, sizes)))
            if len(found):
                vertices.append(found)
            count += len(found)
            start = stop
            progress(0.5 * start / len(data), f"Reading {path.name}")
    if re.search(rb"^[ \t]*(curv|surf|cstype)\b", data, re.MULTILINE):
        remarks.append(f"{path.name} also holds curved surfaces, which are not read.")
    points = np.concatenate(vertices)
    return MeshFile(_grouped(path, points, faces), warnings=tuple(remarks))


def _obj_sections(data: bytes) -> list[tuple[int, int, _Named]]:
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


def _obj_vertices(path: Path, chunk: bytes) -> Floats:
    lines = re.findall(rb"^[ \t]*v[ \t]+([^\r\n]*)", chunk, re.MULTILINE)
    if not lines:
        return np.empty((0, 3))
    width = len(lines[0].split())  # colours or a weight may follow
    try:
        return _numbers(path, b"\n".join(lines), len(lines), max(width, 3))[:, :3]
    except BodyFileError:
        firsts = b"\n".join(b" ".join(line.split(b"#")[0].split()[:3]) for line in lines)
        return _numbers(path, firsts, len(lines), 3)


def _obj_faces(path: Path, chunk: bytes, before: int) -> tuple[Ints, Ints]:
    """Return the corners of all faces in a run, counted from 0, and how many each has."""
    lines = re.findall(rb"^[ \t]*f[ \t]+([^\r\n#]*)", chunk, re.MULTILINE)
    if not lines:
        return np.empty(0, np.int64), np.empty(0, np.int64)
    text = b"\n".join(lines)
    if b"/" in text:
        text = re.sub(rb"/\S*", b"", text)
        lines = text.split(b"\n")
    sizes = np.fromiter((len(line.split()) for line in lines), np.int64, len(lines))
    corners = _whole(path, _numbers(path, text, int(sizes.sum()), 1)[:, 0])
    if (corners == 0).any() or (sizes < 3).any():
        raise _broken(path, "has a face that names no corner.")
    if (corners < 0).any():
        counts = np.repeat(before + _vertices_before_faces(chunk), sizes)
        corners = np.where(corners < 0, counts + corners, corners - 1)
        if (corners < 0).any():
            raise _broken(path, "has a face that names a point the file doesn't hold.")
        return corners, sizes
    return corners - 1, sizes


def _vertices_before_faces(chunk: bytes) -> Ints:
    """Return for each face how many points stand before it in the chunk; faces may count backwards."""
    kinds = re.findall(rb"^[ \t]*([vf])[ \t]", chunk, re.MULTILINE)
    is_vertex = np.array([kind == b"v" for kind in kinds])
    counted: Ints = np.cumsum(is_vertex)[~is_vertex].astype(np.int64)
    return counted


def _fans(corners: Ints, sizes: Ints) -> Ints:
    """Return faces of any number of corners as triangles that share each face's first corner."""
    if (sizes == 3).all():
        return corners.reshape(-1, 3)
    first = np.cumsum(sizes) - sizes
    inside = sizes - 2
    start = np.repeat(first, inside)
    step = np.arange(inside.sum()) - np.repeat(np.cumsum(inside) - inside, inside)
    return np.stack([corners[start], corners[start + step + 1], corners[start + step + 2]], axis=1)


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
            raise _broken(path, "has a face that names a point the file doesn't hold.")
        used = np.zeros(len(points), bool)
        used[triangles] = True
        soups.append(Soup(name or path.stem, points[used], (np.cumsum(used) - 1)[triangles]))
    return tuple(soups)


# OFF


def _read_off(path: Path, progress: Progress) -> MeshFile:
    text = re.sub(rb"#[^\n]*", b"", path.read_bytes())
    head = re.match(rb"\s*(\w*OFF)\s+(\d+)\s+(\d+)(?:[ \t]+\d+)?[ \t]*\r?\n", text)
    if head is None or head.group(1) != b"OFF":
        raise _broken(
            path, "is no OFF file in words: its first lines don't say OFF and how many points follow."
        )
    points, count = int(head.group(2)), int(head.group(3))
    lines = [line for line in text[head.end() :].splitlines() if line.strip()]
    if len(lines) < points + count:
        raise _broken(path, f"ends too early: it says it holds {points} points and {count} faces.")
    progress(0.2, f"Reading {path.name}")
    vertices = _numbers(path, b"\n".join(lines[:points]), points, 3)
    progress(0.4, f"Reading {path.name}")
    corners, sizes = _off_faces(path, lines[points : points + count])
    if len(corners) and (corners.min() < 0 or corners.max() >= points):
        raise _broken(path, "has a face that names a point the file doesn't hold.")
    return MeshFile((Soup(path.stem, vertices, _fans(corners, sizes)),))


def _off_faces(path: Path, lines: list[bytes]) -> tuple[Ints, Ints]:
    if not lines:
        return np.empty(0, np.int64), np.empty(0, np.int64)
    try:
        table = _numbers(path, b"\n".join(lines), len(lines), len(lines[0].split()))
        if (table[:, 0] == table[0, 0]).all() and 3 <= table[0, 0] < table.shape[1]:
            size = int(table[0, 0])
            return _whole(path, table[:, 1 : size + 1].ravel()), np.full(len(table), size)
    except BodyFileError:
        pass  # faces of several sizes, or with colours behind some
    faces = [_off_face(path, line.split()) for line in lines]
    faces = [face for face in faces if len(face) >= 3]
    corners = np.array([corner for face in faces for corner in face], dtype=np.int64)
    return corners, np.array([len(face) for face in faces], dtype=np.int64)


def _off_face(path: Path, words: list[bytes]) -> list[int]:
    try:
        size = int(words[0])
        face = [int(word) for word in words[1 : size + 1]]
    except ValueError:
        size, face = 1, []
    if len(face) != size:
        raise _broken(path, "holds something else where the corners of a face should stand.")
    return face


# PLY


def _read_ply(path: Path, progress: Progress) -> MeshFile:
    with path.open("rb") as file:
        head = file.read(1 << 16)
    said = dict(re.findall(rb"element\s+(\w+)\s+(\d+)", head.split(b"end_header")[0]))
    if not head.startswith(b"ply") or b"end_header" not in head or b"vertex" not in said:
        raise _broken(path, "is no PLY file: its header doesn't say what it holds.")
    if int(said.get(b"face", b"0")) == 0:
        raise BodyFileError(
            f"{path.name} holds points and no triangles. "
            "Make a surface of them in the scanning program first.",
            path,
        )
    mesh = _through_trimesh(path, "ply")
    if len(mesh.vertices) != int(said[b"vertex"]) or len(mesh.faces) < int(said[b"face"]):
        raise _broken(path, "ends too early: it holds less than its header says.")
    progress(0.5, f"Reading {path.name}")
    return MeshFile((Soup(path.stem, _floats(mesh.vertices), _ints(mesh.faces)),))


# glTF


def _read_gltf(path: Path, progress: Progress) -> MeshFile:
    described = _gltf_json(path)
    _refuse_unreadable_gltf(path, described)
    soups, remarks = _scene_soups(path, path.suffix.lower()[1:])
    progress(0.5, f"Reading {path.name}")
    # The format says metres, y up, z forward.
    return MeshFile(soups, "m", "+y", "+z", remarks)


def _gltf_json(path: Path) -> dict[str, Any]:
    data = path.read_bytes()
    if path.suffix.lower() == ".glb":
        if len(data) < 20 or data[:4] != b"glTF":
            raise _broken(path, "is no binary glTF file.")
        version, length, first, kind = struct.unpack_from("<IIII", data, 4)
        if version != 2 or kind != 0x4E4F534A:
            raise _broken(path, f"is glTF of version {version}; version 2 can be read.")
        if len(data) < length or len(data) < 20 + first:
            raise _broken(path, f"ends too early: it says it is {length} bytes long and is {len(data)}.")
        data = data[20 : 20 + first]
    try:
        described = json.loads(data)
    except ValueError as error:
        raise _broken(path, "is no glTF file: its description can't be read.") from error
    if not isinstance(described, dict):
        raise _broken(path, "is no glTF file: its description can't be read.")
    return described


_READ_EXTENSIONS = ("KHR_materials_", "KHR_texture_", "KHR_lights_", "EXT_texture_", "MSFT_texture_")


def _refuse_unreadable_gltf(path: Path, described: dict[str, Any]) -> None:
    required = [str(name) for name in described.get("extensionsRequired", [])]
    compressed = [name for name in required if "draco" in name or "meshopt" in name]
    if compressed:
        raise BodyFileError(
            f"{path.name} holds compressed triangles ({compressed[0]}), which can't be read. "
            "Export it again without mesh compression.",
            path,
        )
    unknown = [name for name in required if not name.startswith(_READ_EXTENSIONS)]
    if unknown:
        raise BodyFileError(
            f"{path.name} needs the glTF extension {unknown[0]}, which can't be read. "
            "Export it as plain glTF.",
            path,
        )


# 3MF

_UNITS_3MF: dict[str, tuple[LengthUnit, float]] = {
    "micron": ("mm", 0.001),
    "millimeter": ("mm", 1.0),
    "centimeter": ("cm", 1.0),
    "inch": ("in", 1.0),
    "foot": ("ft", 1.0),
    "meter": ("m", 1.0),
}


def _read_3mf(path: Path, progress: Progress) -> MeshFile:
    unit, factor = _UNITS_3MF[_unit_of_3mf(path)]
    soups, remarks = _scene_soups(path, "3mf")
    progress(0.5, f"Reading {path.name}")
    if factor != 1.0:
        soups = tuple(Soup(soup.name, soup.vertices * factor, soup.triangles) for soup in soups)
    return MeshFile(soups, unit, "+z", warnings=remarks)


def _unit_of_3mf(path: Path) -> str:
    try:
        with zipfile.ZipFile(path) as archive:
            if sum(entry.file_size for entry in archive.infolist()) > LARGEST_UNPACKED:
                raise _broken(path, "unpacks to more than 4 GB, which no body needs.")
            models = [name for name in archive.namelist() if name.lower().endswith(".model")]
            if not models or archive.testzip() is not None:
                raise _broken(path, "is no 3MF file: the model inside is missing or damaged.")
            with archive.open(models[0]) as model:
                head = model.read(1 << 16)
    except BodyFileError:
        raise
    except Exception as error:  # zipfile raises whatever its decoders do on a damaged file
        raise _broken(path, "is no 3MF file, or is cut short: it can't be unpacked.") from error
    found = re.search(rb"<(?:\w+:)?model\b[^>]*\bunit\s*=\s*[\"'](\w+)", head)
    unit = found.group(1).decode() if found else "millimeter"
    if unit not in _UNITS_3MF:
        raise _broken(path, f"states the unit {unit}, which 3MF doesn't know.")
    return unit


# What trimesh reads


def _through_trimesh(path: Path, kind: str) -> Any:
    import trimesh

    try:
        return trimesh.load(path, file_type=kind, process=False, force="mesh")
    except Exception as error:  # a loader may raise anything on a damaged file
        raise _unread(path, error) from error


def _scene_soups(path: Path, kind: str) -> tuple[tuple[Soup, ...], tuple[str, ...]]:
    """Return each mesh that stands in the scene, where it stands, under its node's name."""
    import trimesh

    try:
        scene = trimesh.load_scene(path, file_type=kind, process=False)
        nodes = [(str(name), *scene.graph[name]) for name in scene.graph.nodes_geometry]
        found = [(name, turn, scene.geometry[shape]) for name, turn, shape in nodes]
    except Exception as error:  # a loader may raise anything on a damaged file
        raise _unread(path, error) from error
    meshes = [(name, turn, mesh) for name, turn, mesh in found if hasattr(mesh, "faces")]
    remarks = (
        [f"{path.name} also holds lines or points, which are not read."] if len(meshes) < len(found) else []
    )
    soups = [
        Soup(name, trimesh.transform_points(_floats(mesh.vertices), turn), _ints(mesh.faces))
        for name, turn, mesh in meshes
    ]
    return tuple(soups), tuple(remarks)


def _unread(path: Path, error: Exception) -> BodyFileError:
    said = (str(error).strip().splitlines() or [type(error).__name__])[0].rstrip(".! ")
    return _broken(path, f"is damaged or of an unknown kind of {FORMATS[path.suffix.lower()]} ({said}).")


def _floats(values: Any) -> Floats:
    return np.array(values, dtype=np.float64).reshape(-1, 3)


def _ints(values: Any) -> Ints:
    return np.array(values, dtype=np.int64).reshape(-1, 3)


_READERS: dict[str, Callable[[Path, Progress], MeshFile]] = {
    "STL": _read_stl,
    "OBJ": _read_obj,
    "OFF": _read_off,
    "PLY": _read_ply,
    "glTF": _read_gltf,
    "3MF": _read_3mf,
}
