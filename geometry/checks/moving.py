"""Doors, bonnets and slides on their way, against tubes."""

from collections.abc import Iterable

from msgspec import Struct

from geometry.body.distance import BodyIndex
from geometry.checks.finding import Finding
from geometry.layout import Layout


class Touch(Struct, frozen=True):
    """A tube in the way of a panel that opens."""

    panel: int
    tube: int


def measured(
    layout: Layout, index: BodyIndex, panels: Iterable[int], tubes: Iterable[int]
) -> tuple[Touch, ...]:
    return ()


def findings(layout: Layout, touches: Iterable[Touch]) -> tuple[Finding, ...]:
    return ()
