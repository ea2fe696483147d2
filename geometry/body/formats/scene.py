"""glTF and 3MF, whose meshes stand in a scene: read by trimesh once we know that it can."""

import json
import re
import struct
import zipfile
from pathlib import Path
from typing import Any

import numpy as np

from geometry.body.formats import soup
from geometry.body.formats.soup import MeshFile, Soup
from geometry.errors import BodyFileError
from geometry.layout import LengthUnit
from geometry.progress import Progress
from geometry.vectors import Floats, Ints

LARGEST_UNPACKED = 4 << 30  # bytes; a 3MF that unpacks to more is a mistake or an attack


def read_gltf(path: Path, progress: Progress) -> MeshFile:
    """Read a glTF file; the format says metres, y up, z forward."""
    described = _gltf_json(path)
    _refuse_unreadable_gltf(path, described)
    soups, remarks = _scene_soups(path, path.suffix.lower()[1:])
    progress(0.5, f"Reading {path.name}")
    return MeshFile(soups, "m", "+y", "+z", remarks)


def _gltf_json(path: Path) -> dict[str, Any]:
    data = path.read_bytes()
    if path.suffix.lower() == ".glb":
        if len(data) < 20 or data[:4] != b"glTF":
            raise soup.broken(path, "is no binary glTF file.")
        version, length, first, kind = struct.unpack_from("<IIII", data, 4)
        if version != 2 or kind != 0x4E4F534A:
            raise soup.broken(path, f"is glTF of version {version}; version 2 can be read.")
        if len(data) < length or len(data) < 20 + first:
            raise soup.broken(path, f"ends too early: it says it is {length} bytes long and is {len(data)}.")
        data = data[20 : 20 + first]
    try:
        described = json.loads(data)
    except ValueError as error:
        raise soup.broken(path, "is no glTF file: its description can't be read.") from error
    if not isinstance(described, dict):
        raise soup.broken(path, "is no glTF file: its description can't be read.")
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


_UNITS_3MF: dict[str, tuple[LengthUnit, float]] = {
    "micron": ("mm", 0.001),
    "millimeter": ("mm", 1.0),
    "centimeter": ("cm", 1.0),
    "inch": ("in", 1.0),
    "foot": ("ft", 1.0),
    "meter": ("m", 1.0),
}


def read_3mf(path: Path, progress: Progress) -> MeshFile:
    """Read a 3MF file; it states its unit, and the format says z up."""
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
                raise soup.broken(path, "unpacks to more than 4 GB, which no body needs.")
            models = [name for name in archive.namelist() if name.lower().endswith(".model")]
            if not models or archive.testzip() is not None:
                raise soup.broken(path, "is no 3MF file: the model inside is missing or damaged.")
            with archive.open(models[0]) as model:
                head = model.read(1 << 16)
    except BodyFileError:
        raise
    except Exception as error:  # zipfile raises whatever its decoders do on a damaged file
        raise soup.broken(path, "is no 3MF file, or is cut short: it can't be unpacked.") from error
    found = re.search(rb"<(?:\w+:)?model\b[^>]*\bunit\s*=\s*[\"'](\w+)", head)
    unit = found.group(1).decode() if found else "millimeter"
    if unit not in _UNITS_3MF:
        raise soup.broken(path, f"states the unit {unit}, which 3MF doesn't know.")
    return unit


def _scene_soups(path: Path, kind: str) -> tuple[tuple[Soup, ...], tuple[str, ...]]:
    """Return each mesh that stands in the scene, where it stands, under its node's name."""
    import trimesh

    try:
        scene = trimesh.load_scene(path, file_type=kind, process=False)
        nodes = [(str(name), *scene.graph[name]) for name in scene.graph.nodes_geometry]
        found = [(name, turn, scene.geometry[shape]) for name, turn, shape in nodes]
    except Exception as error:  # a loader may raise anything on a damaged file
        raise soup.unread(path, kind, error) from error
    meshes = [(name, turn, mesh) for name, turn, mesh in found if hasattr(mesh, "faces")]
    remarks = (
        [f"{path.name} also holds lines or points, which are not read."] if len(meshes) < len(found) else []
    )
    soups = [
        Soup(name, trimesh.transform_points(_floats(mesh.vertices), turn), _ints(mesh.faces))
        for name, turn, mesh in meshes
    ]
    return tuple(soups), tuple(remarks)


def _floats(values: Any) -> Floats:
    return np.array(values, dtype=np.float64).reshape(-1, 3)


def _ints(values: Any) -> Ints:
    return np.array(values, dtype=np.int64).reshape(-1, 3)
