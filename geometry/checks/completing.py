"""What a check adds once the tubes are judged: tubes between them, profiles, doors, zones, tyres.

Each part looks at what it was computed from last and does again only what hangs on something that changed.
A part may be left out when something newer waits; it catches up the next time.
"""

from collections.abc import Callable, Iterable, Mapping
from typing import Any, TypeVar

from msgspec.structs import replace

from geometry import references
from geometry.body.distance import BodyIndex
from geometry.checks import groups, moving, profile, standing_off, tyres, zones
from geometry.checks import tubes as between_tubes
from geometry.checks.report import Basis, Report, worst_first
from geometry.checks.tyres import Envelopes
from geometry.layout import Layout

Thing = TypeVar("Thing")
Part = Callable[[Report, Basis], Report]

BETWEEN, PROFILES, DOORS, ZONES, TYRES = "between", "profiles", "doors", "zones", "tyres"
# Rules that each part speaks for: it takes back what it said and says it anew.
FAMILIES: dict[str, tuple[str, ...]] = {
    BETWEEN: ("tubes.",),
    PROFILES: ("clearance.too_far",),
    DOORS: ("door.",),
    ZONES: ("zone.", "reference."),
    TYRES: ("tyre.",),
}
RULES = tuple(rule for rules in FAMILIES.values() for rule in rules)


def completed(
    layout: Layout, index: BodyIndex, envelopes: Envelopes, report: Report, go_on: Callable[[], bool]
) -> tuple[Report, bool]:
    """Return the report with what can be added while it may go on, and whether that was all."""
    basis = Basis(layout, index, envelopes)
    for part in (_with_profiles, _with_pairs, _with_doors, _with_zones, _with_tyres):
        if not go_on():
            return report, False
        report = part(report, basis)
    return replace(report, is_complete=True), True


def is_later(rule: str) -> bool:
    """Say whether a rule is judged here, and so follows a moment after the others."""
    return rule.startswith(RULES)


def without_gone(bases: dict[str, Basis], layout: Layout) -> dict[str, Basis]:
    """Return bases that know nothing of what is gone from the layout.

    Rows about it are dropped at once; should it come back as it was, they are found anew.
    """
    return {part: _without_gone(basis, layout) for part, basis in bases.items()}


def _without_gone(basis: Basis, layout: Layout) -> Basis:
    known = basis.layout
    gone_axles = known.axles.keys() - layout.axles.keys()
    return Basis(
        replace(
            known,
            tubes=_still_in(known.tubes, layout.tubes),
            zones=_still_in(known.zones, layout.zones),
            references=_still_in(known.references, layout.references),
        ),
        _still_in(basis.index, layout.panels),
        {key: envelope for key, envelope in basis.envelopes.items() if key[0] not in gone_axles},
    )


def _still_in(known: dict[int, Thing], things: Mapping[int, object]) -> dict[int, Thing]:
    return {id: thing for id, thing in known.items() if id in things}


def _with_profiles(report: Report, basis: Basis) -> Report:
    layout, before = basis.layout, report.bases.get(PROFILES)
    stale = set(layout.tubes)
    if before is not None and _same_index(before, basis):
        stale = _changed_tubes(before.layout, layout)
    kept = {id: known for id, known in report.profiles.items() if id in layout.tubes and id not in stale}
    asked = layout.tubes.keys() - kept.keys()
    profiles = kept | profile.measured(layout, basis.index, sorted(asked)) if asked else kept
    judged = set(profiles) if before is None or not _stood_alike(before.layout, layout) else set(asked)
    said = [
        old
        for old in report.findings
        if old.rule.startswith(FAMILIES[PROFILES]) and old.tubes[0] in profiles.keys() - judged
    ]
    said += standing_off.findings(layout, profiles, sorted(judged))
    return _with(report, PROFILES, basis, said, profiles=profiles)


def _stood_alike(before: Layout, after: Layout) -> bool:
    """Say whether tubes that did not move stand off as they did: panels and ties have a say in it."""
    return (
        before.panels is after.panels
        and before.limits is after.limits
        and groups.tied_to_frame(before) == groups.tied_to_frame(after)
    )


def _with_pairs(report: Report, basis: Basis) -> Report:
    layout, before = basis.layout, report.bases.get(BETWEEN)
    tubes = set(layout.tubes)
    if before is not None:
        tubes = _changed_tubes(before.layout, layout) | between_tubes.joined_anew(before.layout, layout)
    same = [pair for pair in report.pairs if (layout.tubes.keys() - tubes).issuperset(pair.tubes)]
    pairs = sorted((*same, *between_tubes.measured(layout, tubes)), key=lambda pair: pair.tubes)
    return _with(report, BETWEEN, basis, (pair.finding for pair in pairs), pairs=tuple(pairs))


def _with_doors(report: Report, basis: Basis) -> Report:
    layout, before = basis.layout, report.bases.get(DOORS)
    openable = {id for id in basis.index if moving.carrier_of(layout, id).motion is not None}
    tubes, panels = set(layout.tubes), openable
    if before is not None:
        tubes = _changed_tubes(before.layout, layout)
        panels = {id for id in openable if not _moves_alike(before, basis, id)}
    kept = [
        row
        for row in report.touches
        if row.panel in openable - panels and row.tube in layout.tubes.keys() - tubes
    ]
    fresh = [
        *moving.measured(layout, basis.index, sorted(panels), sorted(layout.tubes)),
        *moving.measured(layout, basis.index, sorted(openable - panels), sorted(tubes)),
    ]
    touches = tuple(sorted((*kept, *fresh), key=lambda row: (row.panel, row.tube)))
    return _with(report, DOORS, basis, moving.findings(layout, touches), touches=touches)


def _with_zones(report: Report, basis: Basis) -> Report:
    layout, before = basis.layout, report.bases.get(ZONES)
    tubes, keep_out, limits = set(layout.tubes), set(layout.zones), _limits(layout)
    if before is not None:
        tubes = _changed_tubes(before.layout, layout)
        keep_out = {id for id in layout.zones if before.layout.zones.get(id) is not layout.zones[id]}
        limits = {id for id in limits if before.layout.references.get(id) is not layout.references[id]}
    same = layout.tubes.keys() - tubes
    known_zones, known_limits = layout.zones.keys() - keep_out, _limits(layout) - limits
    within = [row for row in report.zones if row.zone in known_zones and row.tube in same]
    within += zones.in_zones(layout, keep_out, layout.tubes)
    within += zones.in_zones(layout, known_zones, tubes)
    past = [row for row in report.limits if row.reference in known_limits and row.tube in same]
    past += zones.past_limits(layout, limits, layout.tubes)
    past += zones.past_limits(layout, known_limits, tubes)
    said = zones.findings(layout, within, past)
    within.sort(key=lambda row: (row.zone, row.tube))
    past.sort(key=lambda row: (row.reference, row.tube))
    return _with(report, ZONES, basis, said, zones=tuple(within), limits=tuple(past))


def _limits(layout: Layout) -> set[int]:
    return {reference.id for reference in references.limits(layout)}


def _with_tyres(report: Report, basis: Basis) -> Report:
    layout, before = basis.layout, report.bases.get(TYRES)
    tubes, fresh = set(layout.tubes), basis.envelopes
    if before is not None:
        tubes = _changed_tubes(before.layout, layout)
        fresh = {
            key: envelope
            for key, envelope in basis.envelopes.items()
            if before.envelopes.get(key) is not envelope
        }
    known = {key: envelope for key, envelope in basis.envelopes.items() if key not in fresh}
    rows = [
        row
        for row in report.tyres
        if (row.axle, row.side) in known and row.tube in layout.tubes.keys() - tubes
    ]
    rows += tyres.against_tubes(layout, fresh, sorted(layout.tubes))
    rows += tyres.against_tubes(layout, known, sorted(tubes))
    bites = _bites(report, basis, before, fresh, known)
    said = tyres.findings(layout, tuple(rows), bites)
    return _with(report, TYRES, basis, said, tyres=tuple(rows), bites=bites)


def _bites(
    report: Report, basis: Basis, before: Basis | None, fresh: Envelopes, known: Envelopes
) -> tuple[tyres.Bite, ...]:
    """Return how panels stand to tyres: measured where tyre, panel or limits changed."""
    layout, index = basis.layout, basis.index
    panels = set(index)
    if before is not None and before.layout.limits == layout.limits:
        panels = {id for id in index if before.index.get(id) is not index[id]}
    kept = [
        bite
        for bite in report.bites
        if (bite.axle, bite.side) in known and bite.panel in index.keys() - panels
    ]
    return (
        *kept,
        *tyres.against_panels(layout, index, fresh, sorted(index)),
        *tyres.against_panels(layout, index, known, sorted(panels)),
    )


def _with(report: Report, part: str, basis: Basis, found: Iterable[Any], **results: Any) -> Report:
    others = [old for old in report.findings if not old.rule.startswith(FAMILIES[part])]
    bases = report.bases | {part: basis}
    return replace(report, findings=worst_first((*others, *found)), bases=bases, **results)


def _changed_tubes(before: Layout, after: Layout) -> set[int]:
    """Return the tubes that do not run as they did, or are judged by other limits."""
    surroundings = [
        (layout.limits, layout.stocks, layout.dies, layout.benders, layout.trials)
        for layout in (before, after)
    ]
    if surroundings[0] != surroundings[1]:
        return set(after.tubes)
    return {
        id
        for id, tube in after.tubes.items()
        if before.tubes.get(id) is not tube
        or any(before.nodes.get(node) is not after.nodes[node] for node in tube.nodes)
    }


def _same_index(before: Basis, after: Basis) -> bool:
    return before.index.keys() == after.index.keys() and all(
        before.index[id] is after.index[id] for id in after.index
    )


def _moves_alike(before: Basis, after: Basis, panel: int) -> bool:
    if before.index.get(panel) is not after.index[panel]:
        return False
    was, now = (moving.carrier_of(basis.layout, panel) for basis in (before, after))
    return was.motion == now.motion
