"""Tubes that stand off farther than wanted for too long."""

from collections.abc import Iterable

import numpy as np
from msgspec import Struct

from geometry.checks import groups, standoff
from geometry.checks.clearance import REACH
from geometry.checks.finding import Amount, Finding, Mend
from geometry.checks.profile import Profile
from geometry.layout import Layout, Tube
from geometry.tolerances import CLEARANCE_ACCURACY, LENGTH_NOISE
from geometry.tube import centreline
from geometry.vectors import Floats, vec


class Run(Struct, frozen=True):
    """A stretch of a tube that is farther from the body than wanted: its ends, the widest gap and where."""

    start: float
    end: float
    largest: float
    station: float

    @property
    def length(self) -> float:
        return self.end - self.start


def findings(layout: Layout, profiles: dict[int, Profile], tubes: Iterable[int]) -> tuple[Finding, ...]:
    """Return the tubes meant to follow the body that leave it for longer than allowed; one run of each."""
    if not any(panel.kept and len(panel.mesh.triangles) for panel in layout.panels.values()):
        return ()
    tied, limits = groups.tied_to_frame(layout), layout.limits
    moves = max(limits.mount_x, limits.mount_y, limits.mount_z)
    found = (
        _judged(layout, layout.tubes[id], profiles[id], moves if id in tied else 0.0)
        for id in tubes
        if id in profiles
    )
    return tuple(finding for finding in found if finding is not None)


def longest_run(stations: Floats, clearances: Floats, farthest: Floats) -> Run | None:
    """Return the longest stretch with more clearance than farthest (n,), straight between stations."""
    excess = clearances - farthest
    over = excess > 0.0
    if not over.any():
        return None
    edges = np.diff(np.concatenate([[False], over, [False]]).astype(np.int8))
    firsts, lasts = np.flatnonzero(edges == 1).tolist(), (np.flatnonzero(edges == -1) - 1).tolist()
    starts = [_crossed(stations, excess, first, first - 1) for first in firsts]
    ends = [_crossed(stations, excess, last, last + 1) for last in lasts]
    longest = int(np.argmax(np.subtract(ends, starts)))
    part = slice(firsts[longest], lasts[longest] + 1)
    top = firsts[longest] + int(np.argmax(clearances[part]))
    return Run(starts[longest], ends[longest], float(clearances[top]), float(stations[top]))


def _crossed(stations: Floats, excess: Floats, over: int, under: int) -> float:
    """Return where the excess comes to nothing between two stations; past the ends, the end."""
    if not 0 <= under < len(stations):
        return float(stations[over])
    rise = excess[over] - excess[under]
    part = -excess[under] / rise if rise > LENGTH_NOISE else 1.0
    return float(stations[under] + part * (stations[over] - stations[under]))


def _judged(layout: Layout, tube: Tube, profile: Profile, movement: float) -> Finding | None:
    if not standoff.is_meant_to_follow(layout, tube.id) or not len(profile.stations):
        return None
    farthest = standoff.along(layout, tube.id, profile, movement).far_above
    run = longest_run(profile.stations, profile.clearances, farthest)
    if run is None or run.length <= layout.limits.standoff_run:
        return None
    line = centreline.of(layout, tube)
    is_whole = run.length >= line.length - CLEARANCE_ACCURACY
    return Finding(
        rule="clearance.too_far",
        severity="note",
        message=_message(is_whole, run.largest >= REACH, profile)
        + " Move it in if it should follow the body.",
        mend=Mend("stand off", "It need not follow the body", tube.id),
        tubes=(tube.id,),
        value=run.largest,
        limit=float(farthest[np.searchsorted(profile.stations, run.station)]),
        quantity="length",
        at=vec(centreline.point_at(line, [run.station])[0]),
        amounts={
            "reach": Amount(REACH, "length"),
            "start": Amount(run.start, "length"),
            "end": Amount(run.end, "length"),
            "run": Amount(run.length, "length"),
        },
    )


def _message(is_whole: bool, is_out_of_reach: bool, profile: Profile) -> str:
    if is_whole and profile.clearances.min() >= REACH:
        return "{tube} keeps more than {reach} from every panel; {limit} is the farthest wanted."
    where = "all along" if is_whole else "for {run}, from {start} to {end} from its start"
    most = "more than {reach}" if is_out_of_reach else "{value}"
    return f"{{tube}} stands off farther than the {{limit}} wanted {where}, {most} at the most."
