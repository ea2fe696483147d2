"""How long work reports its progress, and how it is cancelled: progress raises Cancelled."""

from typing import Protocol


class Cancelled(Exception):
    """The person asked for the work to stop."""


class Progress(Protocol):
    """Called with the part that is done (0 to 1) and what is being done."""

    def __call__(self, done: float, doing: str) -> None: ...


def no_progress(done: float, doing: str) -> None:
    """Ignore the report."""
