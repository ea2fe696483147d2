"""Run every check over a layout; what did not change since the previous report is taken from there.

`check` judges tubes one by one and answers at once; `completed` adds what takes longer.
"""

from collections.abc import Callable, Iterable

from msgspec.structs import replace

from geometry.body import distance
from geometry.body.distance import BodyIndex
from geometry.checks import bends, clearance, completing, groups, harm, joints, proposals, tyres
from geometry.checks.clearance import Clearance
from geometry.checks.finding import Amount, Finding, Quantity, Severity
from geometry.checks.report import Basis, Report, without_basis, worst_first
from geometry.checks.tyres import Envelopes
from geometry.layout import Layout, Panel
from geometry.progress import Progress, no_progress

__all__ = [
    "Amount",
    "Basis",
    "Finding",
    "Quantity",
    "Report",
    "Severity",
    "check",
    "check_layout",
    "completed",
    "without_basis",
]

OF_SEVERAL = ("group.tied_both",)  # judged anew each time, from the groups that tubes are in


def check(
    layout: Layout, index: BodyIndex, previous: Report | None = None, tubes: frozenset[int] | None = None
) -> Report:
    """Judge the tubes given, or all; tubes whose inputs are those of the previous report are not redone.

    Tubes that changed but were not asked for keep their old figures and are missing in `checked`.
    """
    unchanged = _unchanged(layout, index, previous)
    wanted = frozenset(layout.tubes) if tubes is None else tubes & layout.tubes.keys()
    redone = wanted - unchanged
    kept = set(layout.tubes) - redone
    old = previous or Report()
    fresh = clearance.measured(layout, index, redone)
    beside = clearance.findings(layout, index, fresh, redone)
    harms = harm.of(layout, index, beside)
    return replace(
        old,
        clearances=_ordered((*_of(old.clearances, kept), *fresh.clearances)),
        nearest={id: near for id, near in old.nearest.items() if id in kept} | fresh.nearest,
        pairs=tuple(pair for pair in old.pairs if layout.tubes.keys() >= set(pair.tubes)),
        profiles={id: known for id, known in old.profiles.items() if id in kept},
        touches=tuple(row for row in old.touches if row.tube in layout.tubes and row.panel in layout.panels),
        tyres=tuple(row for row in old.tyres if row.tube in layout.tubes and row.axle in layout.axles),
        bites=tuple(row for row in old.bites if row.panel in layout.panels and row.axle in layout.axles),
        zones=tuple(row for row in old.zones if row.tube in layout.tubes and row.zone in layout.zones),
        limits=tuple(
            row for row in old.limits if row.tube in layout.tubes and row.reference in layout.references
        ),
        findings=worst_first(
            (
                *(found for found in old.findings if _stands(found, layout, kept)),
                *beside,
                *(found for id in redone for found in bends.findings(layout, layout.tubes[id], harms)),
                *joints.findings(layout),
                *groups.findings(layout),
                *_about_the_body(layout, index),
            )
        ),
        checked=redone | unchanged,
        is_complete=False,
        basis=Basis(layout, index),
        bases=completing.without_gone(old.bases, layout),
    )


def completed(
    layout: Layout, index: BodyIndex, envelopes: Envelopes, report: Report, go_on: Callable[[], bool]
) -> tuple[Report, bool]:
    """Return the report of a check with what takes longer, and whether it came to its end.

    What this adds is of the whole layout, whichever tubes the check was asked for.
    """
    return completing.completed(layout, index, envelopes, report, go_on)


def check_layout(layout: Layout, progress: Progress = no_progress) -> Report:
    """Index the body and judge the whole layout; for work that has no index yet."""
    progress(0.0, "Indexing the body")
    index = distance.build(layout)
    progress(0.5, "Working out what the tyres sweep through" if layout.axles else "Checking the tubes")
    envelopes = tyres.envelopes(layout, {}, _always)
    progress(0.7, "Checking the tubes")
    report, _ = completed(layout, index, envelopes, check(layout, index), _always)
    return without_basis(report)


def _always() -> bool:
    return True


def _stands(found: Finding, layout: Layout, kept: set[int]) -> bool:
    """Say whether a finding of the previous report goes into the next."""
    if completing.is_later(found.rule):  # until it is judged again, so that lists do not flicker
        aids = layout.zones.keys() | layout.references.keys()
        return (
            layout.tubes.keys() >= set(found.tubes)
            and layout.panels.keys() >= set(found.panels)
            and aids >= set(found.aids)
        )
    return bool(set(found.tubes) & kept) and found.rule not in OF_SEVERAL


def _unchanged(layout: Layout, index: BodyIndex, previous: Report | None) -> frozenset[int]:
    """Return the tubes that the previous report judged from the same inputs."""
    if previous is None or previous.basis is None or not _same_surroundings(layout, index, previous.basis):
        return frozenset()
    before = previous.basis.layout
    unchanged = frozenset(
        id
        for id in previous.checked & layout.tubes.keys()
        if before.tubes.get(id) is layout.tubes[id]
        and all(before.nodes.get(node) is layout.nodes[node] for node in layout.tubes[id].nodes)
    )
    # What a tube is tied to it may be through others.
    unchanged -= groups.tied_to_frame(before) ^ groups.tied_to_frame(layout)
    # What mends a tube hangs on others as well.
    mended = {found.tubes[0] for found in previous.findings if found.rule in proposals.SEARCHES} & unchanged
    return unchanged - {id for id in mended if harm.concerned(before, id) != harm.concerned(layout, id)}


def _same_surroundings(layout: Layout, index: BodyIndex, basis: Basis) -> bool:
    before = basis.layout
    return (
        (before.limits, before.stocks, before.dies, before.benders, before.trials)
        == (layout.limits, layout.stocks, layout.dies, layout.benders, layout.trials)
        and index.keys() == basis.index.keys()
        and all(index[id] is basis.index[id] for id in index)
        and all(
            id in before.panels and _judged_by(layout.panels[id]) == _judged_by(before.panels[id])
            for id in index
            if id in layout.panels
        )
    )


def _judged_by(panel: Panel) -> tuple[float | int | None, ...]:
    return (panel.body, panel.standoff_closest, panel.standoff_farthest)


def _of(rows: Iterable[Clearance], tubes: Iterable[int]) -> tuple[Clearance, ...]:
    chosen = set(tubes)
    return tuple(row for row in rows if row.tube in chosen)


def _ordered(rows: Iterable[Clearance]) -> tuple[Clearance, ...]:
    return tuple(sorted(rows, key=lambda row: (row.tube, row.clearance, row.panel)))


def _about_the_body(layout: Layout, index: BodyIndex) -> tuple[Finding, ...]:
    if index or not layout.tubes:
        return ()
    return (
        Finding(
            rule="body.no_panels",
            severity="note",
            message="There is no body panel to check against, so no clearance is known. Bring in a body, "
            "or keep at least one of its panels.",
        ),
    )
