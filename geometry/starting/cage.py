"""Lay a first cage on a body from named points: each tube fitted to the metal, joined to those before it."""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from geometry import edits, symmetry
from geometry.body import distance
from geometry.body.distance import BodyIndex
from geometry.checks import standoff
from geometry.errors import GeometryError
from geometry.laying import following, judging
from geometry.laying.judging import Judged
from geometry.laying.metal import Metal
from geometry.laying.wish import Place, Proposal, Wish
from geometry.layout import Landing, Layout, Node, Tube
from geometry.progress import Progress, no_progress
from geometry.starting import points as named_points
from geometry.starting.families import KEYS, family_of
from geometry.tube import bending, centreline
from geometry.tube.centreline import Centreline
from geometry.vectors import Floats, Vec3, image, plus, times, vec

SPARE = 1.0  # mm beyond the closest allowed, for what joining moves
MOST_BENDS = 4
LONGEST = MOST_BENDS + 2  # corners of a tube across, with its ends
FROM_END = 70.0  # mm from a tube's end to what sits on it, at least
HEADER_IN = 110.0  # mm from the end of a roof rail to a header on it
FROM_BEND = 1.1  # OD from a bend to what sits on a tube
STRAIGHT_ACROSS = (
    220.0  # mm that the middle of a tube across may lie ahead of its ends, to be drawn back to them
)
UNREMARKED = 0.9  # of the run that a tube may stand off too far with nothing said
MOST_ASIDE = 30.0  # mm by which a point may be missed: it says where a tube runs, not how close
MOST_LIFTED = 60.0  # mm
LIFTS = 8  # times that a tube across is lifted off the metal
RAISES = 3  # times that a tube is laid again, farther off, for the metal of the other side
MOST_RAISED = 20.0  # mm


class Started(Struct, frozen=True):
    """A cage that was begun: its tubes with their families, and what could not be laid, in sentences."""

    layout: Layout
    families: dict[int, str]
    left_out: tuple[str, ...]

    @property
    def tubes(self) -> tuple[int, ...]:
        return tuple(self.families)


class Laid(Struct, frozen=True):
    """What a child process sends back of a layout whose body is heavy."""

    nodes: dict[int, Node]
    tubes: dict[int, Tube]
    next_id: int
    families: dict[int, str]
    left_out: tuple[str, ...]


class _End(Struct, frozen=True):
    """An end of a tube that is to be: a place on the body, and what it is joined to, if anything."""

    place: Place
    item: int | Landing | None = None


_Tube = Callable[["_Cage"], None]


def started(
    layout: Layout,
    points: Mapping[str, Place],
    families: Iterable[str],
    index: BodyIndex,
    stock: int,
    both_sides: bool = True,
    progress: Progress = no_progress,
) -> Started:
    """Lay the families wanted; what can't be laid is left out, and said."""
    wanted = [key for key in KEYS if key in set(families)]
    cage = _Cage(layout, dict(points), index, stock, both_sides)
    tubes = [(key, name, lay) for key in wanted for name, lay in _TUBES[key]]
    for number, (key, name, lay) in enumerate(tubes):
        cage.tick = _part_of(progress, number, len(tubes), name)
        cage.tick(0.0, "")
        cage.try_to_lay(key, name, lay)
    if not cage.families:
        raise GeometryError(
            "None of the tubes could be laid. " + " ".join(cage.left_out)
            if cage.left_out
            else "No family of tubes is ticked. Tick at least one."
        )
    return Started(cage.layout, cage.families, tuple(cage.left_out))


def laid(
    layout: Layout,
    points: Mapping[str, Place],
    families: Sequence[str],
    stock: int,
    both_sides: bool,
    progress: Progress = no_progress,
) -> Laid:
    """Do the same with an index of its own, and return the tubes alone; for a child process."""
    progress(0.0, "Indexing the body")
    index = distance.build(layout)
    made = started(layout, points, families, index, stock, both_sides, progress)
    after = made.layout
    return Laid(after.nodes, after.tubes, after.next_id, made.families, made.left_out)


def with_laid(layout: Layout, made: Laid, families: Iterable[str]) -> Layout:
    """Return the layout that a cage was laid for with the families wanted of it."""
    wanted = set(families)
    full = replace(layout, nodes=made.nodes, tubes=made.tubes, next_id=made.next_id)
    gone = [id for id, key in made.families.items() if key not in wanted]
    return edits.delete(full, gone) if gone else full


def _part_of(progress: Progress, number: int, count: int, name: str) -> Progress:
    def tick(done: float, doing: str) -> None:
        progress((number + done) / count, f"Laying the {name[0].lower()}{name[1:]}")

    return tick


class _Cage:
    """The cage as far as it is laid."""

    def __init__(
        self, layout: Layout, points: dict[str, Place], index: BodyIndex, stock: int, both_sides: bool
    ) -> None:
        self.layout, self.points, self.index, self.stock = layout, points, index, stock
        self.both_sides = both_sides
        self.metal = Metal(index)
        self.families: dict[int, str] = {}
        self.left_out: list[str] = []
        self.by_name: dict[str, int] = {}
        self.tick: Progress = no_progress
        self._family = ""
        self._name = ""

    def try_to_lay(self, family: str, name: str, lay: _Tube) -> None:
        self._family, self._name = family, name
        missing = [key for key in _NEEDS.get(name, family_of(family).needs) if key not in self.points]
        if family_of(family).is_across and not self.both_sides:
            self.left_out.append(f"{name}: it crosses to the other side, which is not wanted.")
        elif missing:
            titles = " and ".join(f"“{named_points.named(key).title}”" for key in missing)
            self.left_out.append(f"{name}: point at {titles} first.")
        else:
            try:
                lay(self)
            except GeometryError as error:
                self.left_out.append(f"{name}: {error.message}")

    # Ends

    def free(self, key: str) -> _End:
        return _End(replace(self.points[key], height=None))

    def on(self, tube: str, near: Vec3, from_end: float = FROM_END) -> _End | None:
        """Return an end on a tube near a point, off its ends and bends; None if there is no such tube."""
        id = self.by_name.get(tube)
        if id is None:
            return None
        host = self.layout.tubes[id]
        line = centreline.of(self.layout, host)
        od = self.layout.stocks[self.stock].od
        station = _seat(line, centreline.nearest(line, near)[0], from_end, FROM_BEND * od)
        landing = Landing(id, station)
        return _End(self._joined(edits.place_of(self.layout, landing)), landing)

    def at_end(self, tube: str, last: bool) -> _End | None:
        """Return the end that a tube shares with another; None if there is no such tube."""
        id = self.by_name.get(tube)
        if id is None:
            return None
        node = self.layout.nodes[self.layout.tubes[id].nodes[-1 if last else 0]]
        return _End(self._joined(node.position), node.id)

    def _joined(self, centre: Vec3) -> Place:
        gaps, nearest = self.metal.nearest(np.array([centre]))
        way = np.array(centre) - nearest[0]
        return Place(vec(nearest[0]), vec(way / max(float(gaps[0]), 1e-9)), float(gaps[0]))

    def outside(self, key: str) -> Vec3:
        """Return where a tube's centre would be over a point."""
        place, wish = self.points[key], self._wish((), 0.0)
        return plus(place.point, times(place.normal, wish.wanted + wish.od / 2.0))

    # Tubes

    def side(self, name: str, start: _End, vias: Sequence[str], end: _End) -> None:
        """Lay a tube of the left side, and its twin."""
        raised = 0.0
        places = (start.place, *(self.points[key] for key in vias), end.place)
        for _ in range(RAISES):
            wish = self._wish(places, raised)
            corners = np.array(self._best_first(self._proposed(wish, 0))[0].corners)
            other = self._judged(wish, corners * (1.0, -1.0, 1.0)) if self.both_sides else None
            short = 0.0 if other is None else self._wish(places, 0.0).closest - other.proposal.closest
            if short <= 0.0 or raised + short > MOST_RAISED:
                break
            raised += short + SPARE
        self._add(name, start, corners, end)

    def across(self, name: str, start: _End, vias: Sequence[Place], middle: Place, is_flat: bool) -> None:
        """Lay a tube from the left side to the right that is its own mirror image."""
        if is_flat and abs(middle.point[0] - _centre(start)[0]) < STRAIGHT_ACROSS:
            middle = self._beside(middle, _centre(start)[0])
        half = (start.place, *vias)
        wish = self._wish((*half, middle, *(_mirrored(place) for place in half[::-1])), 0.0)
        evened = [_even(np.array(tube.corners)) for tube in self._proposed(wish, following.MORE)]
        able = self._able(wish, evened)
        if not any(self._passes(tube) for tube in able):
            halves = self._proposed(self._wish((*half, middle), 0.0), following.MORE)
            doubled = [_doubled(np.array(tube.corners)) for tube in halves]
            able |= self._able(wish, [corners for corners in doubled if len(corners) <= LONGEST])
        if not able:
            raise GeometryError("It comes too near to the body. Move its points, or lay it by hand.")
        corners = able[self._best_first(able)[0]]
        if is_flat and self._is_kept(wish, flat := _in_plane(corners)):
            corners = flat
        self._add(name, start, corners, None)

    def _able(self, wish: Wish, tubes: Iterable[Floats]) -> dict[Proposal, Floats]:
        """Return of even tubes those that can be made and keep clear, lifted where that takes it."""
        lifted = [self._lifted(wish, corners) for corners in tubes]
        judged = [(self._judged(wish, corners), corners) for corners in lifted if corners is not None]
        return {found.proposal: corners for found, corners in judged if found.is_makeable}

    def _passes(self, tube: Proposal) -> bool:
        """Say whether the checks let a tube pass that leaves its band, if it does, on the far side."""
        return tube.aside <= MOST_ASIDE and tube.outside <= UNREMARKED * self.layout.limits.standoff_run

    def _best_first(self, found: Iterable[Proposal]) -> list[Proposal]:
        """Return proposals; those first that the checks let pass, and of these the fewest bends."""

        def rank(tube: Proposal) -> tuple[bool, float, int]:
            if self._passes(tube):
                return (False, float(tube.bends), 0)
            return (True, tube.outside + tube.aside, tube.bends)

        return sorted(found, key=rank)

    def _proposed(self, wish: Wish, more: int) -> tuple[Proposal, ...]:
        try:
            return following.propose(self.index, wish, self.tick, more)
        except GeometryError as error:
            raise GeometryError(
                re.sub(r" near place \d+", " near one of its points", error.message)
            ) from None

    def _wish(self, places: tuple[Place, ...], raised: float) -> Wish:
        layout, limits, stock = self.layout, self.layout.limits, self.layout.stocks[self.stock]
        die, tube = bending.best_die(layout, stock), Tube(0, "", (), self.stock)
        own = [panel.standoff_closest or 0.0 for panel in layout.panels.values() if panel.kept]
        closest = max(limits.standoff_closest, *own, 0.0) + standoff.error(limits) + SPARE + raised
        wanted = max(limits.standoff_wanted, closest)
        return Wish(
            places,
            od=stock.od,
            clr=bending.clr_of(layout, tube),
            between_straight=2.0 * stock.od if die is None else bending.least_between(die),
            largest_angle=np.radians(120.0) if die is None else die.largest_angle,
            closest=closest,
            wanted=wanted,
            farthest=max(limits.standoff_farthest, wanted),
            most_bends=MOST_BENDS,
        )

    def _beside(self, middle: Place, x: float) -> Place:
        """Return the place in the centre plane at another x, on the metal that a place is on."""
        out = np.array(middle.normal) * 200.0
        asked = np.array(middle.point) + out
        asked[0] = x
        _, nearest = self.metal.nearest(asked[None])
        spot = np.array([nearest[0][0], 0.0, nearest[0][2]])
        way = asked - spot
        return Place(vec(spot), vec(way / np.linalg.norm(way)))

    def _judged(self, wish: Wish, corners: Floats) -> Judged:
        return judging.judged(self.index, self.metal, wish, corners)

    def _is_kept(self, wish: Wish, corners: Floats) -> bool:
        found = self._judged(wish, corners)
        return found.is_makeable and found.proposal.closest >= wish.closest - SPARE

    def _lifted(self, wish: Wish, corners: Floats) -> Floats | None:
        """Return corners moved off the metal until the tube keeps clear of it, its ends held; None if not."""
        begun = corners
        for _ in range(LIFTS):
            short = wish.closest - SPARE - self._judged(wish, corners).proposal.closest
            if short <= 0.0 or np.abs(corners - begun).max() > MOST_LIFTED:
                break
            _, nearest = self.metal.nearest(corners[1:-1])
            way = corners[1:-1] - nearest
            way /= np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-9)
            corners = corners.copy()
            corners[1:-1] += (short + 0.3) * way
            corners = _even(corners)
        is_near = np.abs(corners - begun).max() <= MOST_LIFTED
        return corners if is_near and self._is_kept(wish, corners) else None

    def _add(self, name: str, start: _End, corners: Floats, end: _End | None) -> None:
        """Add a tube through corners; without an end it goes to where its start is on the right."""
        items: list[edits.Item] = [vec(corner) for corner in corners]
        if start.item is not None:
            items[0] = start.item
        if end is not None and end.item is not None:
            items[-1] = end.item
        if end is None and start.item is not None:
            items[-1] = self._twin_item(start.item, vec(corners[-1]))
        layout, id = edits.add_tube(self.layout, items, self.stock, _free_name(self.layout, name))
        made: tuple[int, ...] = (id,)
        if self.both_sides:
            layout, twins = symmetry.paired(layout, [id])
            made = (id, *twins)
        else:
            alone = replace(layout.tubes[id], mirrors=False)
            layout = replace(layout, tubes={**layout.tubes, id: alone})
        self.layout = layout
        self.by_name[name] = id
        self.families |= dict.fromkeys(made, self._family)

    def _twin_item(self, item: int | Landing, near: Vec3) -> edits.Item:
        if isinstance(item, Landing):
            twin = self.layout.tubes[item.tube].twin
            return near if twin is None else edits.landing_at(self.layout, twin, near)
        node = self.layout.nodes[item]
        return near if node.twin is None else node.twin


def _centre(end: _End) -> Vec3:
    """Return where the centre of an end is, or about."""
    return plus(end.place.point, times(end.place.normal, end.place.height or 0.0))


def _seat(line: Centreline, station: float, from_end: float, from_bend: float) -> float:
    """Return the station nearest to one that is off the ends and bends of a tube."""
    low, high = from_end, line.length - from_end
    if low >= high:
        return line.length / 2.0
    marks = np.linspace(low, high, max(int((high - low) / 2.0), 1) + 1)
    free = np.ones(len(marks), dtype=bool)
    for bend in line.bends:
        free &= (marks < bend.start - from_bend) | (marks > bend.end + from_bend)
    if low <= station <= high and not any(
        bend.start - from_bend <= station <= bend.end + from_bend for bend in line.bends
    ):
        return station
    able = marks[free] if free.any() else marks
    return float(able[np.abs(able - station).argmin()])


def _mirrored(place: Place) -> Place:
    return Place(image(place.point), image(place.normal), place.height)


def _even(corners: Floats) -> Floats:
    """Return corners as the mean of what they are and of their mirror image."""
    middled: Floats = (corners + corners[::-1] * (1.0, -1.0, 1.0)) / 2.0
    return middled


def _doubled(corners: Floats) -> Floats:
    """Return a tube to the centre plane, run on to the other side; there it may have one bend more."""
    return np.concatenate([corners, corners[-2::-1] * (1.0, -1.0, 1.0)])


def _in_plane(corners: Floats) -> Floats:
    flat = corners.copy()
    flat[:, 0] = corners[0, 0]
    return flat


def _free_name(layout: Layout, name: str) -> str:
    taken = {tube.name for tube in layout.tubes.values()}
    pairs = {name, name.replace("Left ", "Right ", 1)}
    if not pairs & taken:
        return name
    number = 2
    while {f"{one} {number}" for one in pairs} & taken:
        number += 1
    return f"{name} {number}"


# What each tube runs along -------------------------------------------------------------------------

SILL, RAIL, A, B, C = "Left sill tube", "Left roof rail", "Left A upright", "Left B upright", "Left C upright"
REAR = "Left rear down tube"


def _sill(cage: _Cage) -> None:
    cage.side(SILL, cage.free("sill_front"), (), cage.free("sill_rear"))


def _rail(cage: _Cage) -> None:
    cage.side(RAIL, cage.free("a_head"), ("b_head",), cage.free("c_head"))


def _a_upright(cage: _Cage) -> None:
    foot = cage.on(SILL, cage.outside("sill_front")) or cage.free("sill_front")
    head = cage.at_end(RAIL, last=False) or cage.free("a_head")
    cage.side(A, foot, ("a_foot",), head)


def _b_upright(cage: _Cage) -> None:
    x, sill = cage.points["b_head"].point[0], cage.points["sill_front"]
    below = replace(sill, point=(x, *sill.point[1:]))
    foot = cage.on(SILL, below.point) or _End(replace(below, height=None))
    head = cage.on(RAIL, cage.outside("b_head")) or cage.free("b_head")
    cage.side(B, foot, (), head)


def _c_upright(cage: _Cage) -> None:
    head = cage.at_end(RAIL, last=True) or cage.free("c_head")
    cage.side(C, head, (), cage.free("c_foot"))


def _rear_down(cage: _Cage) -> None:
    head = cage.at_end(C, last=True) or cage.free("c_foot")
    cage.side(REAR, head, (), cage.free("rear_bottom"))


def _front_header(cage: _Cage) -> None:
    start = cage.on(RAIL, cage.outside("a_head"), HEADER_IN) or cage.free("a_head")
    cage.across("Windscreen header", start, (), cage.points["roof_front"], is_flat=True)


def _rear_header(cage: _Cage) -> None:
    start = cage.on(RAIL, cage.outside("c_head"), HEADER_IN) or cage.free("c_head")
    cage.across("Rear header", start, (), cage.points["roof_rear"], is_flat=True)


def _roof_cross(cage: _Cage) -> None:
    start = cage.on(RAIL, cage.outside("b_head")) or cage.free("b_head")
    cage.across("Roof cross tube", start, (), cage.points["roof_middle"], is_flat=True)


def _bonnet_hoop(cage: _Cage) -> None:
    start = cage.on(A, cage.outside("bonnet_rear")) or cage.free("bonnet_rear")
    cage.across("Bonnet hoop", start, (cage.points["bonnet_front"],), cage.points["nose"], is_flat=False)


def _rear_cross(cage: _Cage) -> None:
    start = cage.at_end(REAR, last=True) or cage.free("rear_bottom")
    cage.across("Rear cross tube", start, (), cage.points["tail"], is_flat=False)


_TUBES: dict[str, tuple[tuple[str, _Tube], ...]] = {
    "sills": ((SILL, _sill),),
    "rails": ((RAIL, _rail),),
    "a_uprights": ((A, _a_upright),),
    "b_uprights": ((B, _b_upright),),
    "c_uprights": ((C, _c_upright),),
    "rear_downs": ((REAR, _rear_down),),
    "headers": (("Windscreen header", _front_header), ("Rear header", _rear_header)),
    "bonnet": (("Bonnet hoop", _bonnet_hoop),),
    "cross": (("Roof cross tube", _roof_cross), ("Rear cross tube", _rear_cross)),
}
_NEEDS: dict[str, tuple[str, ...]] = {
    "Windscreen header": ("a_head", "roof_front"),
    "Rear header": ("c_head", "roof_rear"),
    "Roof cross tube": ("b_head", "roof_middle"),
    "Rear cross tube": ("rear_bottom", "tail"),
}
