"""What a mend would bring beside what it settles: tubes in the body, ties that cannot be.

Whether tubes come close to each other is left out: each tube near would have to be judged again with
every move of another. The window says so while a mend is looked at.
"""

from functools import cache

from geometry.body.distance import BodyIndex
from geometry.checks import clearance, groups
from geometry.checks.finding import Finding
from geometry.checks.proposals import Harms
from geometry.layout import Layout, Node, Tube

About = tuple[str, frozenset[int], tuple[int, ...]]


def of(layout: Layout, index: BodyIndex, known: tuple[Finding, ...]) -> Harms:
    """Return what says whether a mend brings a finding that is neither known nor about bending."""

    @cache
    def before() -> tuple[Finding, ...]:
        return (*known, *groups.findings(layout))

    def harms(after: Layout, mended: int, touched: frozenset[int]) -> bool:
        others = (touched - {mended}) & layout.tubes.keys()
        allowed = {_about(one, {}) for one in (*before(), *_at_the_body(layout, index, others))}
        found = (*_at_the_body(after, index, touched), *groups.findings(after))
        # What a tube that was split off has, the whole tube had.
        parts = dict.fromkeys(touched - layout.tubes.keys(), mended)
        return any(_about(one, parts) not in allowed for one in found if one.severity != "note")

    return harms


def concerned(layout: Layout, tube: int) -> list[tuple[Tube, tuple[Node, ...]]]:
    """Return the tubes that have a say in what mends a tube, with all their nodes: those joined to it."""
    nodes = layout.nodes
    own = set(layout.tubes[tube].nodes)
    seats = {node.id for node in nodes.values() if node.landing is not None and node.landing.tube == tube}
    joined = own | seats
    return [
        (other, tuple(nodes[id] for id in other.nodes))
        for other in layout.tubes.values()
        if other.id != tube and not joined.isdisjoint(other.nodes)
    ]


def _at_the_body(layout: Layout, index: BodyIndex, tubes: frozenset[int]) -> tuple[Finding, ...]:
    if not tubes:
        return ()
    return clearance.findings(layout, index, clearance.measured(layout, index, tubes), tubes)


def _about(found: Finding, instead: dict[int, int]) -> About:
    """Return what a finding is about, whatever its figures."""
    return found.rule, frozenset(instead.get(id, id) for id in found.tubes), found.panels
