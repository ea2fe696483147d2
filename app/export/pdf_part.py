"""A piece of a page that is not split over two sheets of paper."""

from collections.abc import Callable

from msgspec import Struct


class Part(Struct, frozen=True):
    """A piece of a block that isn't split: its height, and how to draw it below a y."""

    height: float
    draw: Callable[[float], None]
    heading: "Part | None" = None  # stands above it where it starts a new paper


def joined(parts: list[Part]) -> Part:
    """Return parts that stay together as one."""

    def draw(y: float) -> None:
        for part in parts:
            part.draw(y)
            y -= part.height

    return Part(sum(part.height for part in parts), draw)
