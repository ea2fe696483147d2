"""Two versions of a layout side by side: what differs in tubes, metal and findings."""

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache

import numpy as np
from msgspec import Struct

from geometry.checks.finding import Finding
from geometry.checks.report import Report
from geometry.layout import NAMED, Layout, Tube
from geometry.tube import bending, centreline, plan, stock
from geometry.tube.centreline import Centreline
from geometry.vectors import Floats

SAGITTA = 0.02  # mm that chords stand off an arc
NEAR_ENOUGH = 0.02  # mm that the largest distance may be short of the true one between the chords
SAME_PLACE = 0.1  # mm below which nothing has moved: more than the two above can add up to
SAME_MASS = 1e-3  # kg
FINEST = 40  # halvings of a chord, at most


class Figures(Struct, frozen=True):
    """What is known of one tube of one version."""

    tube: int
    name: str
    stock: str
    bends: int
    length: float  # of the centreline
    blank: float
    mass: float


class TubeChange(Struct, frozen=True):
    """A tube that is not the same in both; None where there is no such tube."""

    one: Figures | None
    other: Figures | None
    moved: float = 0.0  # largest distance from a point of either centreline to the other one

    @property
    def is_added(self) -> bool:
        return self.one is None

    @property
    def is_removed(self) -> bool:
        return self.other is None

    @property
    def is_renamed(self) -> bool:
        return self.one is not None and self.other is not None and self.one.name != self.other.name

    @property
    def is_restocked(self) -> bool:
        return self.one is not None and self.other is not None and self.one.stock != self.other.stock

    @property
    def name(self) -> str:
        return self.other.name if self.other is not None else self.one.name if self.one is not None else ""


class Totals(Struct, frozen=True):
    """The whole of one version."""

    tubes: int
    bends: int
    length: float
    blank: float
    mass: float


class Comparison(Struct, frozen=True):
    """What differs between one version and the other; findings are None where one has no report."""

    tubes: tuple[TubeChange, ...]  # in the order of the one, then what is added
    same: int  # tubes that are the same in both
    one: Totals
    other: Totals
    new: tuple[Finding, ...] | None = None  # in the other only, ids of the other
    gone: tuple[Finding, ...] | None = None  # in the one only, ids of the one


def compared(
    one: Layout,
    other: Layout,
    report_one: Report | None = None,
    report_other: Report | None = None,
    by_id: bool = True,
) -> Comparison:
    """Compare two versions; tubes are matched by id first, then by name.

    Layouts of two jobs give ids of their own: `by_id` False matches them by name alone.
    """
    pairs = matched(one, other, by_id)
    rows, other_rows = (
        {id: figures(layout, tube) for id, tube in layout.tubes.items()} for layout in (one, other)
    )
    changes = [
        _change(one, other, rows.get(first or 0), other_rows.get(second or 0)) for first, second in pairs
    ]
    new, gone = None, None
    if report_one is not None and report_other is not None:
        keys = _Keys(one, other, pairs, by_id)
        new = _only_in(report_other.findings, report_one.findings, keys.of_other, keys.of_one)
        gone = _only_in(report_one.findings, report_other.findings, keys.of_one, keys.of_other)
    differing = tuple(change for change in changes if change is not None)
    sums, other_sums = summed(rows.values()), summed(other_rows.values())
    return Comparison(differing, len(changes) - len(differing), sums, other_sums, new, gone)


def prepared(one: Layout, other: Layout, first: int | None, second: int | None) -> None:
    """Work out what is slow in comparing one pair of tubes, so that `compared` finds it done."""
    before = None if first is None else figures(one, one.tubes[first])
    after = None if second is None else figures(other, other.tubes[second])
    _change(one, other, before, after)


def matched(one: Layout, other: Layout, by_id: bool = True) -> list[tuple[int | None, int | None]]:
    """Return which tube is which: each tube of either in one pair, None where it has no match."""
    known = {id: id for id in one.tubes if id in other.tubes} if by_id else {}
    taken = set(known.values())
    named: dict[str, list[int]] = defaultdict(list)
    for id, tube in other.tubes.items():
        if id not in taken:
            named[tube.name].append(id)
    for id, tube in one.tubes.items():
        if id not in known and named[tube.name]:
            known[id] = named[tube.name].pop(0)
    taken = set(known.values())
    pairs: list[tuple[int | None, int | None]] = [(id, known.get(id)) for id in one.tubes]
    return pairs + [(None, id) for id in other.tubes if id not in taken]


def is_one_job(one: Layout, other: Layout) -> bool:
    """Say whether ids mean the same in both: most tubes of one id have one name, too."""
    common = [id for id in one.tubes if id in other.tubes]
    alike = sum(one.tubes[id].name == other.tubes[id].name for id in common)
    return 2 * alike > len(common)


def summed(tubes: Iterable[Figures]) -> Totals:
    """Return the sums of some tubes."""
    rows = tuple(tubes)
    return Totals(
        tubes=len(rows),
        bends=sum(row.bends for row in rows),
        length=sum(row.length for row in rows),
        blank=sum(row.blank for row in rows),
        mass=sum(row.mass for row in rows),
    )


def mass(layout: Layout) -> float:
    """Return what all tubes of a version weigh."""
    return sum(
        stock.mass(layout.stocks[tube.stock], centreline.of(layout, tube).length)
        for tube in layout.tubes.values()
    )


def figures(layout: Layout, tube: Tube) -> Figures:
    """Return what is compared of one tube."""
    line, material = centreline.of(layout, tube), layout.stocks[tube.stock]
    return Figures(
        tube=tube.id,
        name=tube.name,
        stock=material.name,
        bends=len(line.bends),
        length=line.length,
        blank=plan.of(layout, tube).blank,
        mass=stock.mass(material, line.length),
    )


@lru_cache(maxsize=512)
def moved(one: Centreline, other: Centreline) -> float:
    """Return the largest distance from a point of either centreline to the other one.

    Both are taken as chords within SAGITTA, and chords are halved until the distance is within
    NEAR_ENOUGH: along a chord no point is farther from the other line than the nearer chord's farther end.
    """
    first, second = (centreline.sample(line, SAGITTA)[0] for line in (one, other))
    return max(_farthest(first, second), _farthest(second, first))


def _change(one: Layout, other: Layout, before: Figures | None, after: Figures | None) -> TubeChange | None:
    """Return how a pair differs, or None where it does not."""
    if before is None or after is None:
        return TubeChange(before, after)
    shift = _shift(one, other, one.tubes[before.tube], other.tubes[after.tube])
    is_same = (
        shift <= SAME_PLACE
        and (before.name, before.stock, before.bends) == (after.name, after.stock, after.bends)
        and abs(before.blank - after.blank) <= SAME_PLACE
        and abs(before.mass - after.mass) <= SAME_MASS
    )
    return None if is_same else TubeChange(before, after, shift if shift > SAME_PLACE else 0.0)


def _shift(one: Layout, other: Layout, first: Tube, second: Tube) -> float:
    lines = centreline.of(one, first), centreline.of(other, second)
    is_same = lines[0].points == lines[1].points
    if is_same and bending.clr_of(one, first) == bending.clr_of(other, second):
        return 0.0
    return moved(*lines)


def _farthest(points: Floats, run: Floats) -> float:
    """Return how far the chords through points reach away from a run of chords."""
    gaps = _gaps(points, run)
    best = float(gaps.min(axis=1).max())
    starts, ends, first, last = points[:-1], points[1:], gaps[:-1], gaps[1:]
    for _ in range(FINEST):
        # The distance to one chord is convex along another, so its largest value is at an end.
        most = np.maximum(first, last).min(axis=1)
        is_open = most > best + NEAR_ENOUGH
        if not is_open.any():
            break
        starts, ends, first, last = starts[is_open], ends[is_open], first[is_open], last[is_open]
        middles = 0.5 * (starts + ends)
        between = _gaps(middles, run)
        best = max(best, float(between.min(axis=1).max()))
        starts, ends = np.concatenate((starts, middles)), np.concatenate((middles, ends))
        first, last = np.concatenate((first, between)), np.concatenate((between, last))
    return best


def _gaps(points: Floats, run: Floats) -> Floats:
    """Return the distances (n, m) of points from each chord of a run."""
    base, along = run[:-1], np.diff(run, axis=0)
    square = np.maximum(np.einsum("ij,ij->i", along, along), 1e-30)
    off = points[:, None, :] - base
    part = np.clip(np.einsum("nmk,mk->nm", off, along) / square, 0.0, 1.0)
    gaps: Floats = np.linalg.norm(off - part[:, :, None] * along, axis=2)
    return gaps


Key = tuple[object, ...]
KeyOf = Callable[[Finding], Key]


class _Keys:
    """What a finding is about, said alike for both versions."""

    def __init__(
        self, one: Layout, other: Layout, pairs: Iterable[tuple[int | None, int | None]], by_id: bool
    ) -> None:
        self._layouts = one, other
        self._by_id = by_id
        self._tubes = {second: first for first, second in pairs if first is not None and second is not None}

    def of_one(self, found: Finding) -> Key:
        return self._key(found, 0, tuple(("one", id) for id in found.tubes))

    def of_other(self, found: Finding) -> Key:
        tubes = (("one", self._tubes[id]) if id in self._tubes else ("other", id) for id in found.tubes)
        return self._key(found, 1, tuple(tubes))

    def _key(self, found: Finding, which: int, tubes: Key) -> Key:
        about = tuple(self._known(which, id) for id in (*found.panels, *found.aids))
        return (found.rule, found.severity, tubes, about)

    def _known(self, which: int, id: int) -> object:
        """Return an id where ids speak, else the name of what it stands for."""
        if self._by_id:
            return id
        for kind in NAMED:
            things = getattr(self._layouts[which], kind)
            if id in things:
                return things[id].name
        return id


def _only_in(
    mine: Sequence[Finding], others: Sequence[Finding], key_of: KeyOf, other_key: KeyOf
) -> tuple[Finding, ...]:
    """Return the findings without a counterpart: of several about the same thing those most unlike."""
    left: dict[Key, list[Finding]] = defaultdict(list)
    for found in others:
        left[other_key(found)].append(found)
    groups: dict[Key, list[Finding]] = defaultdict(list)
    for found in mine:
        groups[key_of(found)].append(found)
    alone = {id(found) for key, group in groups.items() for found in _unmatched(group, left[key])}
    return tuple(found for found in mine if id(found) in alone)


def _unmatched(group: list[Finding], others: list[Finding]) -> list[Finding]:
    """Return what is over when the nearest two are paired, and the next nearest, and so on."""
    if len(others) >= len(group):
        return []
    apart = sorted(
        ((_apart(mine, theirs), i, j) for i, mine in enumerate(group) for j, theirs in enumerate(others)),
    )
    mine_left, theirs_left = set(range(len(group))), set(range(len(others)))
    for _, i, j in apart:
        if i in mine_left and j in theirs_left:
            mine_left.discard(i)
            theirs_left.discard(j)
    return [group[i] for i in sorted(mine_left)]


def _apart(one: Finding, other: Finding) -> float:
    if one.at is None or other.at is None:
        return 0.0
    return float(np.linalg.norm(np.subtract(one.at, other.at)))
