"""Tubes that hang together rigidly, and what each such group is tied to."""

from collections.abc import Iterable, Iterator
from functools import lru_cache

from msgspec import Struct

from geometry.checks.finding import Finding
from geometry.layout import Layout, Tie, Tube

LAYOUTS_KNOWN = 2  # the one before and the one now, each asked several times by one check
Welded = tuple[int, int]  # a tube and a panel that it is meant to be welded to


class Group(Struct, frozen=True):
    """Tubes joined by nodes, landings and sleeves, and which of them are tied to what."""

    tubes: tuple[int, ...]
    to_body: tuple[int, ...]  # those said to be tied to the body, then those welded to it
    to_frame: tuple[int, ...]
    welded: tuple[Welded, ...]

    @property
    def ties(self) -> tuple[Tie, ...]:
        """What the group is tied to."""
        body: tuple[Tie, ...] = ("body",) if self.to_body else ()
        return (*body, "frame") if self.to_frame else body


def groups(layout: Layout) -> tuple[Group, ...]:
    """Return the rigid groups of a layout, in the order of their first tubes."""
    return tuple(_group(layout, tubes) for tubes in _joined(layout))


@lru_cache(maxsize=LAYOUTS_KNOWN)
def tied_to_frame(layout: Layout) -> frozenset[int]:
    """Return the tubes that hold still while the body moves on its mounts."""
    if not any(tube.tied == "frame" for tube in layout.tubes.values()):
        return frozenset()
    tied = {id for id, tube in layout.tubes.items() if tube.tied == "frame"}
    return frozenset(id for tubes in _joined(layout) if not tied.isdisjoint(tubes) for id in tubes)


def findings(layout: Layout) -> tuple[Finding, ...]:
    """Return the groups that are tied to the frame and to the body that moves against it."""
    if not any(tube.tied == "frame" for tube in layout.tubes.values()):
        return ()
    if not any(tube.tied == "body" or tube.welds for tube in layout.tubes.values()):
        return ()
    return tuple(_tied_both(layout, group) for group in groups(layout) if len(group.ties) == 2)


def _joined(layout: Layout) -> Iterator[tuple[int, ...]]:
    """Yield the tubes of each group."""
    leader = {id: id for id in layout.tubes}

    def first(id: int) -> int:
        while leader[id] != id:
            leader[id] = leader[leader[id]]
            id = leader[id]
        return id

    at_node: dict[int, int] = {}
    for tube in layout.tubes.values():
        for number in tube.nodes:
            landing = layout.nodes[number].landing
            others = [at_node.setdefault(number, tube.id)]
            if landing is not None and landing.tube in leader:
                others.append(landing.tube)
            for other in others:
                low, high = sorted((first(tube.id), first(other)))
                leader[high] = low
    members: dict[int, list[int]] = {}
    for id in layout.tubes:
        members.setdefault(first(id), []).append(id)
    for ids in members.values():
        yield tuple(ids)


def _group(layout: Layout, tubes: tuple[int, ...]) -> Group:
    rows = [layout.tubes[id] for id in tubes]
    welded = tuple((tube.id, panel) for tube in rows for panel in _welded_to(layout, tube))
    said = [tube.id for tube in rows if tube.tied == "body"]
    to_body = tuple(dict.fromkeys((*said, *(tube for tube, _ in welded))))
    return Group(tubes, to_body, tuple(tube.id for tube in rows if tube.tied == "frame"), welded)


def _welded_to(layout: Layout, tube: Tube) -> Iterable[int]:
    kept = (weld.panel for weld in tube.welds if weld.panel in layout.panels)
    return dict.fromkeys(panel for panel in kept if layout.panels[panel].kept)


def _tied_both(layout: Layout, group: Group) -> Finding:
    body, frame = group.to_body[0], group.to_frame[0]
    if body == frame and group.to_body[1:]:
        body = group.to_body[1]  # two names say more than one
    panel = next((panel for tube, panel in group.welded if tube == body), None)
    is_welded = layout.tubes[body].tied != "body"
    tied = "welded to {panel}" if is_welded else "tied to the body"
    if body == frame:
        said = f"{{tube}} is tied to the frame and {tied}"
        mend = "Untie it from the frame, or take the weld mark off."
    else:
        said = f"{{tube}} is {tied} and {{other}} to the frame, and tubes join them"
        mend = "Tie them all to the same, or part the tubes between them."
    others = len({*group.to_body, *group.to_frame} - {body, frame})
    more = f" ({others} more of their group {'is' if others == 1 else 'are'} tied as well)" if others else ""
    tubes = dict.fromkeys((body, frame, *group.to_body, *group.to_frame))
    return Finding(
        rule="group.tied_both",
        severity="warning",
        message=f"{said}{more}: the body cannot move on its mounts without straining the cage. {mend}",
        tubes=tuple(tubes),
        panels=(panel,) if panel is not None and is_welded else (),
        at=layout.nodes[layout.tubes[body].nodes[0]].position,
    )
