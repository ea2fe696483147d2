"""Parts as files, to be placed in other jobs. Reading trusts nothing; what is wrong is said in a sentence."""

from pathlib import Path
from typing import Any, Final, Literal

import msgspec
import numpy as np

from geometry import part_groups
from geometry.errors import GeometryError
from geometry.files import consistency, job
from geometry.layout import Die, Layout, Stock, Tube
from geometry.part_groups import PartGroup

FORMAT: Final = "outrib part"
VERSION: Final = 1
SUFFIX: Final = ".outrib-part"
LARGEST_FILE = 4 << 20  # bytes; a part of a hundred tubes takes a fiftieth of it
MOST_ROWS = 2000  # tubes, nodes, tube sizes and dies together
LONGEST_NAME = 200
SQUARE = 1e-6  # what rounded axes may be off


class Document(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A part as its file holds it: mm and radians."""

    format: Literal["outrib part"]
    version: Literal[1]
    part: PartGroup


def save(part: PartGroup, path: Path) -> None:
    """Write a part beside path and put it in its place."""
    plain = msgspec.to_builtins(Document(FORMAT, VERSION, part))
    content = msgspec.json.format(msgspec.json.encode(plain), indent=1) + b"\n"
    try:
        with job.replacing(path) as stream:
            stream.write(content)
    except OSError as error:
        raise GeometryError(f"{path} could not be written: {error.strerror or error}.") from error


def load(path: Path) -> PartGroup:
    """Read a part that can be placed."""
    try:
        with path.open("rb") as stream:
            content = stream.read(LARGEST_FILE + 1)
    except FileNotFoundError as error:
        raise GeometryError(f"There is no file {path}.") from error
    except OSError as error:
        raise GeometryError(f"{path} could not be read: {error.strerror or error}.") from error
    if len(content) > LARGEST_FILE:
        raise GeometryError(f"{path.name} is too large to be a part; choose another file.")
    try:
        return _read(content)
    except GeometryError as error:
        raise GeometryError(f"{path.name} can't be used. {error.message}") from error


def _read(content: bytes) -> PartGroup:
    try:
        plain = msgspec.json.decode(content)
    except (msgspec.DecodeError, RecursionError, UnicodeDecodeError) as error:
        raise GeometryError(f"It is no part, or it is damaged ({_reason(error)}).") from error
    _check_head(plain)
    try:
        part = msgspec.convert(plain, Document).part
    except (msgspec.ValidationError, OverflowError) as error:
        raise GeometryError(f"It is damaged: {_reason(error)}.") from error
    _check(part, plain)
    return part


def _check_head(plain: Any) -> None:
    if not isinstance(plain, dict) or plain.get("format") != FORMAT:
        raise GeometryError(f'It is no part: a part begins with "format": "{FORMAT}".')
    version = plain.get("version")
    if isinstance(version, bool) or not isinstance(version, int) or version < 1:
        raise GeometryError(f"Its version must be a number such as {VERSION}.")
    if version > VERSION:
        raise GeometryError("A newer Outrib wrote it; update Outrib to read it.")


def _check(part: PartGroup, plain: Any) -> None:
    """Refuse what could not be placed: it is placed in an empty job to see."""
    ids = part_groups.ids_of(part)
    if len(ids) > MOST_ROWS:
        raise GeometryError("It has too many tubes and nodes for one part.")
    if not part.tubes:
        raise GeometryError("It holds no tube.")
    if not consistency.is_all_finite(plain):
        raise GeometryError("It holds a number that is not finite.")
    named: tuple[PartGroup | Tube | Stock | Die, ...] = (part, *part.tubes, *part.stocks, *part.dies)
    names = [one.name for one in named]
    if any(len(name) > LONGEST_NAME or not name.isprintable() for name in names):
        raise GeometryError("It holds a name that is too long, or with letters that can't be printed.")
    if len(set(ids)) < len(ids):
        raise GeometryError("It uses one id twice.")
    fault = next(consistency.broken_promises(part_groups.as_layout(part)), None)
    if fault:
        raise GeometryError(f"It is damaged: {fault}.")
    if float(np.abs(np.array(part.axes) @ np.array(part.axes).T - np.eye(3)).max()) > SQUARE:
        raise GeometryError("Its axes are not square to one another.")
    twins = [*(node.twin for node in part.nodes), *(tube.twin for tube in part.tubes)]
    if any(tube.welds for tube in part.tubes) or any(twin is not None for twin in twins):
        raise GeometryError("It names panels or tubes of the job that it was taken from.")
    part_groups.placed(Layout(), part, (0.0, 0.0, 0.0))


def _reason(error: BaseException) -> str:
    return str(error).strip("'\".") or type(error).__name__
