"""The space that tyres sweep through, against tubes and panels."""

from collections.abc import Callable, Iterable

from msgspec import Struct

from geometry.body.distance import BodyIndex, PanelIndex
from geometry.body.tyres import Side, Wheel
from geometry.checks.finding import Finding
from geometry.layout import Layout, Mesh
from geometry.vectors import Vec3

WheelKey = tuple[int, Side]  # axle id and side


class Envelope(Struct, frozen=True, eq=False):
    """What one tyre sweeps through."""

    wheel: Wheel
    mesh: Mesh
    index: PanelIndex


Envelopes = dict[WheelKey, Envelope]


class TyreClearance(Struct, frozen=True):
    """Where a tube comes closest to what a tyre sweeps through."""

    axle: int
    side: Side
    tube: int
    clearance: float
    station: float
    tube_point: Vec3
    tyre_point: Vec3


class Bite(Struct, frozen=True):
    """By how much a panel lacks the room kept for a tyre."""

    axle: int
    side: Side
    panel: int
    depth: float
    at: Vec3


def envelopes(layout: Layout, known: Envelopes, go_on: Callable[[], bool]) -> Envelopes:
    return {}


def against_tubes(layout: Layout, envelopes: Envelopes, tubes: Iterable[int]) -> tuple[TyreClearance, ...]:
    return ()


def against_panels(
    layout: Layout, index: BodyIndex, envelopes: Envelopes, panels: Iterable[int]
) -> tuple[Bite, ...]:
    return ()


def findings(layout: Layout, rows: Iterable[TyreClearance], bites: Iterable[Bite]) -> tuple[Finding, ...]:
    return ()
