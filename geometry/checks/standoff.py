"""What a clearance is judged by: the band wanted of a tube and a panel, and what is taken off first.

A clearance in the shop is sure to be no less than the raw one less scan error, build tolerance, and for
what is tied to the frame the movement of the body on its mounts. That is its safe value; the closest
allowed is held against it, the farthest wanted against the raw one.
"""

from typing import TYPE_CHECKING, Literal

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from geometry.layout import Layout, Limits
from geometry.tube import centreline, welds
from geometry.vectors import Floats

if TYPE_CHECKING:
    from geometry.checks.clearance import Clearance
    from geometry.checks.profile import Profile
    from geometry.checks.report import Report

Band = Literal["close", "fine", "far"]
WORST_FIRST: tuple[Band, ...] = ("close", "far", "fine")


class StandOff(Struct, frozen=True):
    """How a tube shall keep to a panel: the closest allowed, and the farthest wanted."""

    closest: float
    farthest: float


class Standing(Struct, frozen=True):
    """A clearance as it is judged."""

    raw: float
    error: float  # of the scan and of building
    movement: float  # what the body's movement on its mounts takes away
    wanted: StandOff
    band: Band

    @property
    def safe(self) -> float:
        """What is left of the clearance in the shop."""
        return self.raw - self.error - self.movement


class Along(Struct, frozen=True, eq=False):
    """What raw clearances along a tube are held against, each (n,).

    A place is too close where the clearance is below the first and the tube is not to be welded there,
    and too far where it is above the second.
    """

    close_below: Floats
    far_above: Floats
    is_welded: NDArray[np.bool_]


def wanted(layout: Layout, tube: int, panel: int | None = None) -> StandOff:
    """Return the band that a tube shall keep to a panel; the larger closest of the two rules."""
    limits, run = layout.limits, layout.tubes[tube]
    sheet = layout.panels.get(panel) if panel is not None else None
    closest = [one.standoff_closest for one in (run, sheet) if one is not None]
    widest = [one.standoff_farthest for one in (run, sheet) if one is not None]
    return StandOff(
        max((own for own in closest if own is not None), default=limits.standoff_closest),
        next((own for own in widest if own is not None), limits.standoff_farthest),
    )


def farthest(layout: Layout, tube: int, panel: int | None, movement: float = 0.0) -> float:
    """Return the farthest wanted; nobody can keep nearer than what the closest allowed leaves room for."""
    asked = wanted(layout, tube, panel)
    return max(asked.farthest, asked.closest + error(layout.limits) + movement)


def error(limits: Limits) -> float:
    """Return what scan and building may be out by together."""
    return limits.scan_error + limits.build_tolerance


def standing(layout: Layout, row: "Clearance") -> Standing:
    """Judge a row of a report; of a tube's rows only that of its nearest panel can be too far."""
    return judged(layout, row.tube, row.panel, row.clearance, row.movement)


def judged(layout: Layout, tube: int, panel: int | None, raw: float, movement: float = 0.0) -> Standing:
    """Judge a raw clearance of a tube to a panel, whatever place of it that is of."""
    asked, off = wanted(layout, tube, panel), error(layout.limits)
    band: Band = "fine"
    if raw - off - movement < asked.closest:
        band = "close"
    elif raw > farthest(layout, tube, panel, movement) and is_meant_to_follow(layout, tube):
        band = "far"
    return Standing(raw, off, movement, asked, band)


def is_meant_to_follow(layout: Layout, tube: int) -> bool:
    """Say whether a tube can stand off too far: it shall follow the body, and is long enough to."""
    run = layout.tubes[tube]
    return run.hugs and centreline.of(layout, run).length > layout.limits.standoff_run


def along(layout: Layout, tube: int, profile: "Profile", movement: float = 0.0) -> Along:
    """Return what the raw clearances of a profile are held against, place by place.

    Movement is what the body on its mounts takes away: that of the tube's nearest row, or 0.
    """
    run, off = layout.tubes[tube], error(layout.limits)
    low, high = np.empty(len(profile.panels)), np.empty(len(profile.panels))
    is_welded = np.zeros(len(profile.panels), dtype=bool)
    marked = welds.spans(run, centreline.of(layout, run).length) if run.welds else {}
    for id in np.unique(profile.panels).tolist():
        here = profile.panels == id
        panel = id if id in layout.panels else None
        low[here] = wanted(layout, tube, panel).closest + off + movement
        high[here] = farthest(layout, tube, panel, movement)
        for start, end in marked.get(id, ()):
            is_welded |= here & (profile.stations >= start) & (profile.stations <= end)
    if not is_meant_to_follow(layout, tube):
        high[:] = np.inf
    return Along(low, high, is_welded)


def bands(layout: Layout, report: "Report") -> dict[int, Band]:
    """Return the band of each tube as a whole, its worst; tubes with no panel near have none."""
    seen: dict[int, set[Band]] = {}
    for row in report.clearances:
        is_known = row.tube in layout.tubes and row.panel in layout.panels
        if is_known and standing(layout, row).band == "close":
            seen.setdefault(row.tube, set()).add("close")
    for id, near in report.nearest.items():
        if id in layout.tubes and near.panel in layout.panels:
            seen.setdefault(id, set()).add(standing(layout, near).band)
    for found in report.findings:
        if found.rule == "clearance.too_far":
            for id in found.tubes:
                seen.setdefault(id, set()).add("far")
    return {id: next(band for band in WORST_FIRST if band in found) for id, found in seen.items()}
