"""What can go wrong that a person can mend; each message is a sentence for that person."""

from collections.abc import Iterable
from pathlib import Path


class GeometryError(Exception):
    """Geometry that cannot be made: what is wrong, where, and what to do."""

    def __init__(self, message: str, ids: Iterable[int] = ()) -> None:
        super().__init__(message)
        self.message = message
        self.ids = tuple(ids)

    def __reduce__(self) -> tuple[type["GeometryError"], tuple[str, tuple[int, ...]]]:
        return type(self), (self.message, self.ids)  # comes back whole from a child process


class BodyFileError(Exception):
    """A mesh file that cannot become a body."""

    def __init__(self, message: str, path: Path) -> None:
        super().__init__(message)
        self.message = message
        self.path = path

    def __reduce__(self) -> tuple[type["BodyFileError"], tuple[str, Path]]:
        return type(self), (self.message, self.path)  # comes back whole from a child process


class LayoutFileError(Exception):
    """A job file that cannot be read or written."""

    def __init__(self, message: str, path: Path) -> None:
        super().__init__(message)
        self.message = message
        self.path = path

    def __reduce__(self) -> tuple[type["LayoutFileError"], tuple[str, Path]]:
        return type(self), (self.message, self.path)  # comes back whole from a child process
