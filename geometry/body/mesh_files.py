"""Mesh files as they are: named triangle soups, what they say of units and axes, why they can't be read."""

from collections.abc import Callable
from pathlib import Path

from geometry.body.formats import obj, off, ply, scene, stl
from geometry.body.formats.soup import MeshFile, Soup
from geometry.errors import BodyFileError
from geometry.progress import Progress, no_progress

__all__ = ["FORMATS", "MeshFile", "Soup", "read"]

FORMATS: dict[str, Callable[[Path, Progress], MeshFile]] = {
    ".stl": stl.read,
    ".obj": obj.read,
    ".ply": ply.read,
    ".off": off.read,
    ".glb": scene.read_gltf,
    ".gltf": scene.read_gltf,
    ".3mf": scene.read_3mf,
}


def read(path: Path, progress: Progress = no_progress) -> MeshFile:
    """Read a mesh file; BodyFileError says in a sentence why it can't be."""
    reader = FORMATS.get(path.suffix.lower())
    if reader is None:
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
        return reader(path, progress)
    except OSError as error:
        raise BodyFileError(
            f"{path.name} can't be read: {error.strerror or error}. Check that it may be opened.", path
        ) from error
