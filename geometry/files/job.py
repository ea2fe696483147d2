"""The job file: a layout in a zip of JSON and mesh arrays. DEVELOPERS.md describes the format."""

import os
import struct
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Final, Literal

import msgspec
import numpy as np
from numpy.typing import NDArray

from geometry import snapshots
from geometry.errors import LayoutFileError
from geometry.files import arrays, consistency
from geometry.layout import Layout

FORMAT: Final = "outrib job"
VERSION: Final = 1
LAYOUT = "layout.json"
MESHES = "meshes/"
LARGEST_LAYOUT = 64 << 20  # bytes of layout.json; ten thousand tubes take a tenth of it
EPOCH = (1980, 1, 1, 0, 0, 0)  # the same layout gives the same bytes, whenever it is saved

# What the readers of zip, JSON and .npy raise on bytes that are none of ours.
_NOT_A_JOB = (zipfile.BadZipFile, ValueError, KeyError, EOFError, RuntimeError, struct.error)

# What turns plain data of version n into version n + 1: one function each, never changed again.
UPGRADES: dict[int, Callable[[dict[str, Any]], dict[str, Any]]] = {}


class Document(msgspec.Struct, frozen=True):
    """What layout.json holds."""

    format: Literal["outrib job"]
    version: Literal[1]
    layout: Layout


def save(layout: Layout, path: Path) -> None:
    """Write the layout beside path, then put it in the place of what was there."""
    target = Path(os.path.realpath(path))
    text, files = _encoded(layout, path)
    try:
        with replacing(target) as stream, zipfile.ZipFile(stream, "w", zipfile.ZIP_STORED) as job:
            _put(job, LAYOUT, text)
            for name, content in files.items():
                _put(job, f"{MESHES}{name}.npy", content)
    except OSError as error:
        raise LayoutFileError(
            f"{path.name} could not be saved in {target.parent}: {_reason(error)}. "
            "What was there before is unchanged; save it in another place.",
            path,
        ) from error


def load(path: Path) -> Layout:
    """Read a layout, exactly as it was saved."""
    try:
        with path.open("rb") as stream, zipfile.ZipFile(stream) as job:
            _check_entries(job, os.fstat(stream.fileno()).st_size)
            layout = _decoded(job, path)
    except FileNotFoundError as error:
        raise LayoutFileError(f"There is no job at {path}.", path) from error
    except OSError as error:
        raise LayoutFileError(f"{path} could not be read: {_reason(error)}.", path) from error
    except _NOT_A_JOB as error:
        raise LayoutFileError(
            f"{path.name} is not an Outrib job, or it is damaged ({_reason(error)}). "
            "Open a copy that was saved earlier.",
            path,
        ) from error
    fault = next(consistency.broken_promises(layout), None)
    if fault:
        raise LayoutFileError(f"{path.name} cannot be used: {fault}. Open a copy saved earlier.", path)
    return layout


def _encoded(layout: Layout, path: Path) -> tuple[bytes, dict[str, bytes]]:
    """Return layout.json and the array files it names."""
    files: dict[str, bytes] = {}
    names: dict[int, str] = {}  # of arrays by id(array): snapshots have the same ones

    def encode(value: Any) -> Any:
        if isinstance(value, np.ndarray):
            if id(value) not in names:
                names[id(value)], content = arrays.packed(value)
                files[names[id(value)]] = content
            return names[id(value)]
        if isinstance(value, np.generic):
            return value.item()
        raise NotImplementedError(f"a layout cannot hold {type(value)}")

    document = Document(FORMAT, VERSION, layout)
    plain = msgspec.to_builtins(document, str_keys=True, enc_hook=encode)
    fault = next(consistency.broken_promises(layout), None)
    if fault is None and not consistency.is_all_finite(plain):
        fault = "it holds a number that is not finite"
    if fault:
        raise LayoutFileError(f"This job cannot be saved: {fault}. Undo the last step, then save.", path)
    return msgspec.json.format(msgspec.json.encode(plain), indent=1), files


def _decoded(job: zipfile.ZipFile, path: Path) -> Layout:
    plain = _upgraded(msgspec.json.decode(_content(job, LAYOUT, LARGEST_LAYOUT)), path)
    known: dict[str, NDArray[Any]] = {}

    def decode(_kind: type, name: Any) -> NDArray[Any]:
        key = str(name)
        if key not in known:
            known[key] = _array(job, key)
        return known[key]

    document = msgspec.convert(plain, Document, str_keys=True, dec_hook=decode)
    return snapshots.sharing(document.layout)


def _upgraded(plain: Any, path: Path) -> dict[str, Any]:
    if not isinstance(plain, dict) or plain.get("format") != FORMAT:
        raise ValueError(f"{LAYOUT} is of another program")
    version = plain.get("version")
    if not isinstance(version, int) or version < 1:
        raise ValueError(f"version {version}")
    if version > VERSION:
        raise LayoutFileError(
            f"{path.name} was saved by a newer Outrib (format {version}; this one reads up to {VERSION}). "
            "Update Outrib to open it.",
            path,
        )
    document: dict[str, Any] = plain
    for step in range(version, VERSION):
        document = {**UPGRADES[step](document), "version": step + 1}
    return document


def _check_entries(job: zipfile.ZipFile, size: int) -> None:
    """Refuse entries that are compressed, doubled or larger than the file that should hold them."""
    entries = job.infolist()
    if len({entry.filename for entry in entries}) != len(entries):
        raise ValueError("an entry is there twice")
    if any(entry.compress_type != zipfile.ZIP_STORED or entry.flag_bits & 1 for entry in entries):
        raise ValueError("an entry is compressed or encrypted")
    if sum(entry.file_size for entry in entries) > size:
        raise ValueError("its entries are larger than the file")


def _content(job: zipfile.ZipFile, name: str, largest: int) -> bytes:
    entry = job.getinfo(name)
    if entry.file_size > largest:
        raise ValueError(f"{name} is too large")
    return job.read(entry)


def _array(job: zipfile.ZipFile, name: str) -> NDArray[Any]:
    entry = job.getinfo(f"{MESHES}{name}.npy")
    with job.open(entry) as stream:
        arrays.read_header(stream.read(arrays.LONGEST_HEADER), entry.file_size)
    return arrays.unpacked(name, _content(job, entry.filename, arrays.LARGEST_FILE))


def _put(job: zipfile.ZipFile, name: str, content: bytes) -> None:
    entry = zipfile.ZipInfo(name, EPOCH)
    entry.external_attr = 0o644 << 16
    job.writestr(entry, content, zipfile.ZIP_STORED)


@contextmanager
def replacing(target: Path) -> Iterator[Any]:
    """Open a file beside the target that takes its place once it is on the disk, or goes away."""
    handle, name = tempfile.mkstemp(prefix=f".{target.name}.", suffix=".tmp", dir=target.parent)
    try:
        with os.fdopen(handle, "w+b") as stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(name, _mode(target))
        os.replace(name, target)
    except BaseException:
        with suppress(OSError):
            os.unlink(name)
        raise
    _flush_folder(target.parent)


def _mode(target: Path) -> int:
    """Return the rights of the file that is replaced, or those a new file would have."""
    with suppress(OSError):
        return target.stat().st_mode & 0o777
    mask = os.umask(0o022)
    os.umask(mask)
    return 0o666 & ~mask


def _flush_folder(folder: Path) -> None:
    """Make the new name outlast a power cut, where the system knows how."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _reason(error: BaseException) -> str:
    if isinstance(error, OSError) and error.strerror:
        return error.strerror
    return str(error).strip("'\".") or type(error).__name__
