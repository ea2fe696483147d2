"""What the checks say about a layout."""

from collections.abc import Iterable

from msgspec import Struct
from msgspec.structs import replace

from geometry.body.distance import BodyIndex
from geometry.checks.clearance import Clearance
from geometry.checks.finding import Finding, Severity
from geometry.checks.moving import Touch
from geometry.checks.profile import Profile
from geometry.checks.tubes import Pair
from geometry.checks.tyres import Bite, Envelopes, TyreClearance
from geometry.checks.zones import InZone, PastLimit
from geometry.layout import Layout

SEVERITIES: tuple[Severity, ...] = ("error", "warning", "note")


class Basis(Struct, frozen=True, eq=False):
    """What results were computed from."""

    layout: Layout
    index: BodyIndex
    envelopes: Envelopes = {}


class Report(Struct, frozen=True, eq=False):
    """What the checks say about a layout.

    Pairs, profiles, touches, tyres, bites, zones and limits follow a moment after the rest, and until then
    are missing or of the layout before.
    """

    clearances: tuple[Clearance, ...] = ()  # each tube and panel nearer than the widest stand-off
    nearest: dict[int, Clearance] = {}  # by tube: its nearest panel, where one is within REACH
    pairs: tuple[Pair, ...] = ()  # tubes with no node in common that something is said of
    profiles: dict[int, Profile] = {}  # by tube: its clearance all along; only what is current
    touches: tuple[Touch, ...] = ()  # tubes in the way of panels that open
    tyres: tuple[TyreClearance, ...] = ()  # tubes near or in what tyres sweep through
    bites: tuple[Bite, ...] = ()  # panels near or in what tyres sweep through
    zones: tuple[InZone, ...] = ()  # tubes in access zones
    limits: tuple[PastLimit, ...] = ()  # tubes past limit planes, or nearly so
    findings: tuple[Finding, ...] = ()  # worst first
    checked: frozenset[int] = frozenset()  # tubes whose figures belong to this layout
    is_complete: bool = False  # what follows later is in it, and of this layout
    basis: Basis | None = None  # what the next check compares with; None: nothing can be reused
    bases: dict[str, Basis] = {}  # the same for each part that follows later, by its name


def worst_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    return tuple(
        sorted(findings, key=lambda f: (SEVERITIES.index(f.severity), f.rule, -_excess(f), f.tubes, f.panels))
    )


def without_basis(report: Report) -> Report:
    """Return the report alone, without the layouts and bodies it came from."""
    return replace(report, basis=None, bases={})


def _excess(finding: Finding) -> float:
    """Return how far the value is on the wrong side of the limit."""
    if finding.value is None or finding.limit is None:
        return 0.0
    return abs(finding.value - finding.limit)
