"""What a mend would bring beside what it settles: tubes in the body or in each other, ties that cannot be."""

from functools import cache

import numpy as np

from geometry.body.distance import BodyIndex
from geometry.checks import clearance, groups
from geometry.checks import tubes as between_tubes
from geometry.checks.finding import Finding
from geometry.checks.proposals import Harms
from geometry.checks.tubes import Pair
from geometry.layout import Layout, Node, Tube

NEAR = 500.0  # mm; no mend moves a tube so far that one farther off has a say in it

About = tuple[str, frozenset[int], tuple[int, ...]]


def of(layout: Layout, index: BodyIndex, known: tuple[Finding, ...], pairs: tuple[Pair, ...]) -> Harms:
    """Return what says whether a mend brings a finding that is neither known nor about bending."""

    @cache
    def before() -> tuple[Finding, ...]:
        return (*known, *groups.findings(layout), *between_tubes.findings(layout, pairs))

    def harms(after: Layout, mended: int, touched: frozenset[int]) -> bool:
        others = (touched - {mended}) & layout.tubes.keys()
        allowed = {_about(one, {}) for one in (*before(), *_at_the_body(layout, index, others))}
        found = (
            *_at_the_body(after, index, touched),
            *groups.findings(after),
            *between_tubes.findings(after, between_tubes.measured(after, touched)),
        )
        # What a tube that was split off has, the whole tube had.
        parts = dict.fromkeys(touched - layout.tubes.keys(), mended)
        return any(_about(one, parts) not in allowed for one in found if one.severity != "note")

    return harms


def concerned(layout: Layout, tube: int) -> list[tuple[Tube, tuple[Node, ...]]]:
    """Return the tubes that have a say in what mends a tube, with all their nodes: those near and joined."""
    nodes = layout.nodes
    own = set(layout.tubes[tube].nodes)
    seats = {node.id for node in nodes.values() if node.landing is not None and node.landing.tube == tube}
    joined = own | seats
    low, high = _box(layout, layout.tubes[tube])
    found = []
    for other in layout.tubes.values():
        if other.id == tube:
            continue
        other_low, other_high = _box(layout, other)
        is_near = bool((other_low < high + NEAR).all() and (other_high > low - NEAR).all())
        if is_near or not joined.isdisjoint(other.nodes):
            found.append((other, tuple(nodes[id] for id in other.nodes)))
    return found


def _at_the_body(layout: Layout, index: BodyIndex, tubes: frozenset[int]) -> tuple[Finding, ...]:
    if not tubes:
        return ()
    return clearance.findings(layout, index, clearance.measured(layout, index, tubes), tubes)


def _about(found: Finding, instead: dict[int, int]) -> About:
    """Return what a finding is about, whatever its figures."""
    return found.rule, frozenset(instead.get(id, id) for id in found.tubes), found.panels


def _box(layout: Layout, tube: Tube) -> tuple[np.ndarray, np.ndarray]:
    places = np.array([layout.nodes[id].position for id in tube.nodes])
    return places.min(axis=0), places.max(axis=0)
