"""The clearance of tubes all along them: what colours and runs are made of.

Between stations a clearance changes no faster than the station does, so a panel that is farther off at a
station than another is at the next one, by more than the way between, need not be asked there.
"""

import itertools
from collections.abc import Iterable, Sequence

import numpy as np
from msgspec import Struct

from geometry.body.distance import BodyIndex, PanelIndex
from geometry.checks.clearance import REACH
from geometry.layout import Layout
from geometry.tube import centreline
from geometry.tube.centreline import Centreline
from geometry.vectors import Floats, Ints

STEP = 15.0  # mm between stations, at most
NOWHERE = -1  # no panel's id
COARSE = 6  # every so many stations each panel in reach is asked
MOST_AT_ONCE = 1_000_000  # stations times panels
SHORT_RUN = 40  # stations that are held against the panels near them where there are many panels


class Profile(Struct, frozen=True, eq=False):
    """Raw clearance (n,) at stations (n,) of a tube to its nearest kept panel, at most REACH."""

    stations: Floats
    clearances: Floats
    panels: Ints  # (n,) the ids of those panels; NOWHERE at REACH


def measured(layout: Layout, index: BodyIndex, tubes: Iterable[int]) -> dict[int, Profile]:
    """Return the profile of each tube, exact at its stations: the ends of its pieces and places between."""
    ids = list(tubes)
    if not ids:
        return {}
    lines = [centreline.of(layout, layout.tubes[id]) for id in ids]
    stations = [_stations(line) for line in lines]
    points = np.concatenate([centreline.point_at(*pair) for pair in zip(lines, stations, strict=True)])
    counts = [len(some) for some in stations]
    radii = np.array([layout.stocks[layout.tubes[id].stock].od / 2.0 for id in ids])
    gaps, numbers = _near_gaps(list(index.values()), points, counts, np.repeat(REACH + radii, counts))
    panels = np.array([*index, NOWHERE])[numbers]
    cuts = np.cumsum(counts)[:-1]
    columns = (np.split(gaps - np.repeat(radii, counts), cuts), np.split(panels, cuts))
    return {id: Profile(*rows) for id, *rows in zip(ids, stations, *columns, strict=True)}


def _stations(line: Centreline) -> Floats:
    ends = [*line.stations, line.length]
    pieces = [
        np.linspace(start, end, max(int(np.ceil((end - start) / STEP)), 1), endpoint=False)
        for start, end in itertools.pairwise(ends)
    ]
    return np.concatenate([*pieces, [line.length]])


def _near_gaps(
    panels: Sequence[PanelIndex], points: Floats, counts: Sequence[int], most: Floats
) -> tuple[Floats, Ints]:
    """Return what `_gaps` does; with many panels, short runs are held against the few near them."""
    if len(points) * len(panels) <= MOST_AT_ONCE:
        return _gaps(panels, points, counts, most)
    low = np.array([panel.bounds[0] for panel in panels])
    high = np.array([panel.bounds[1] for panel in panels])
    gaps, nearest = np.empty(len(points)), np.empty(len(points), dtype=np.int64)
    cuts = np.unique(np.concatenate([np.cumsum([0, *counts]), np.arange(0, len(points), SHORT_RUN)]))
    for start, end in itertools.pairwise(cuts.tolist()):
        part, reach = points[start:end], most[start:end].max()
        is_near = ((low < part.max(axis=0) + reach) & (high > part.min(axis=0) - reach)).all(axis=1)
        chosen = np.append(np.flatnonzero(is_near), len(panels))
        found = _gaps([panels[i] for i in chosen[:-1]], part, [end - start], most[start:end])
        gaps[start:end], nearest[start:end] = found[0], chosen[found[1]]
    return gaps, nearest


def _gaps(
    panels: Sequence[PanelIndex], points: Floats, counts: Sequence[int], most: Floats
) -> tuple[Floats, Ints]:
    """Return the distance of points (n, 3) to the nearest panel, at most `most` (n,), and its number.

    Points come in runs of `counts`, along one tube each.
    """
    gaps, nearest = most.copy(), np.full(len(points), len(panels))
    if not panels:
        return gaps, nearest
    least = _box_gaps(panels, points)
    marks = _marks(counts)
    least[marks] = _asked(panels, points[marks], least[marks], gaps[marks])
    is_near = least[marks].min(axis=1) < gaps[marks]
    nearest[marks[is_near]] = least[marks[is_near]].argmin(axis=1)
    gaps[marks] = np.minimum(gaps[marks], least[marks].min(axis=1))
    beside, way = _nearest_mark(points, marks)
    least = np.maximum(least, least[marks][beside] - way[:, None])
    others = np.setdiff1d(np.arange(len(points)), marks)
    order = np.argsort(least[others], axis=1)
    for rank in range(len(panels)):
        panel = order[:, rank]
        open_ = np.flatnonzero(least[others, panel] < gaps[others])
        for number in np.unique(panel[open_]).tolist():
            chosen = others[open_[panel[open_] == number]]
            asked = panels[number].closest(points[chosen])[0]
            nearest[chosen[asked < gaps[chosen]]] = number
            gaps[chosen] = np.minimum(gaps[chosen], asked)
    return gaps, nearest


def _marks(counts: Sequence[int]) -> Ints:
    """Return the numbers of the points where every panel in reach is asked; both ends of a run are."""
    starts = np.cumsum([0, *counts[:-1]])
    marks: Ints = np.concatenate(
        [
            start + np.unique(np.append(np.arange(0, count, COARSE), count - 1))
            for start, count in zip(starts, counts, strict=True)
        ]
    )
    return marks


def _nearest_mark(points: Floats, marks: Ints) -> tuple[Ints, Floats]:
    """Return for each point one of the marks beside it in its run, and how far off that is."""
    after = np.clip(np.searchsorted(marks, np.arange(len(points))), 1, len(marks) - 1)
    choices = np.stack([after - 1, after])
    ways = np.linalg.norm(points[None] - points[marks[choices]], axis=2)
    pick = ways.argmin(axis=0)
    rows = np.arange(len(points))
    return choices[pick, rows], ways[pick, rows]


def _box_gaps(panels: Sequence[PanelIndex], points: Floats) -> Floats:
    """Return how far points (n, 3) are from the boxes of panels: (n, m)."""
    low = np.array([panel.bounds[0] for panel in panels])
    high = np.array([panel.bounds[1] for panel in panels])
    outside = np.maximum(np.maximum(low - points[:, None], points[:, None] - high), 0.0)
    gaps: Floats = np.linalg.norm(outside, axis=2)
    return gaps


def _asked(panels: Sequence[PanelIndex], points: Floats, least: Floats, most: Floats) -> Floats:
    """Return distances (n, m) where they are below `most` (n,), and `least` where they cannot be."""
    gaps = least.copy()
    for number, panel in enumerate(panels):
        near = np.flatnonzero(least[:, number] < most)
        if len(near):
            gaps[near, number] = panel.closest(points[near])[0]
    return gaps
