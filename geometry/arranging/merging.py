"""Making one bent tube of two that end at one node."""

from msgspec.structs import replace

from geometry import edits, symmetry
from geometry.arranging import places
from geometry.errors import GeometryError
from geometry.layout import Layout, Tube, Weld
from geometry.tolerances import SAME_POINT, STRAIGHT
from geometry.tube import bending, centreline
from geometry.tube.centreline import Centreline


def shared_end(layout: Layout, first: int, second: int) -> int | None:
    """Return the node at which two tubes end, or None."""
    a, b = layout.tubes[first].nodes, layout.tubes[second].nodes
    return next((id for id in (a[-1], a[0]) if id in (b[0], b[-1])), None)


def merge(layout: Layout, first: int, second: int) -> Layout:
    """Make one tube of two that end at one node; it is the first one, with a bend where they met.

    Outer ends keep their allowances and cuts, and what sits on either of the two stays in space. A node
    that nothing else needs and that does not turn goes, so this undoes a split. Twins of both are merged too.
    """
    keep, gone = places.tube_of(layout, first), places.tube_of(layout, second)
    node = shared_end(layout, first, second) if first != second else None
    if node is None:
        raise GeometryError(
            f"{keep.name} and {gone.name} do not end at one node; join their ends first (J).", (first, second)
        )
    _check_alike(layout, keep, gone)
    after, twins = _with_sides_ready(layout, keep, gone)
    after = _merged(after, first, second, node)
    if twins is not None and (other := shared_end(after, *twins)) is not None:
        after = _merged(after, *twins, other)
    return after


def joined(layout: Layout, first: int, second: int) -> Layout:
    """Make one tube of two that end at one node, twins left aside."""
    node = shared_end(layout, first, second)
    assert node is not None
    _check_alike(layout, layout.tubes[first], layout.tubes[second])
    return _merged(layout, first, second, node)


def _with_sides_ready(layout: Layout, keep: Tube, gone: Tube) -> tuple[Layout, tuple[int, int] | None]:
    """Return the layout in which two tubes can be merged, and the twins to merge with them."""
    if keep.twin is None and gone.twin is None:
        return layout, None
    if keep.twin == gone.id:  # the halves of one that is its own image from now on
        return edits.with_tubes(layout, {keep.id: replace(keep, twin=keep.id)}), None
    own = {keep.id, gone.id}
    if keep.twin is not None and gone.twin is not None and own.isdisjoint((keep.twin, gone.twin)):
        return layout, (keep.twin, gone.twin)
    return symmetry.released(layout, [tube.id for tube in (keep, gone) if tube.twin is not None]), None


def _merged(layout: Layout, first: int, second: int, node: int) -> Layout:
    keep, gone = layout.tubes[first], layout.tubes[second]
    is_at_end = keep.nodes[-1] == node
    if is_at_end != (gone.nodes[0] == node):
        layout = edits.reverse_tube(layout, second)
        gone = layout.tubes[second]
    head, tail = (keep, gone) if is_at_end else (gone, keep)
    merged = replace(
        keep,
        nodes=(*head.nodes, *tail.nodes[1:]),
        start_allowance=head.start_allowance,
        start_cut=head.start_cut,
        end_allowance=tail.end_allowance,
        end_cut=tail.end_cut,
    )
    after = edits.with_tubes(layout, {first: merged, second: None})
    after = _without_idle_node(layout, after, merged, node)
    after = _with_marks(layout, after, head, tail, first)
    for host in (first, second):
        after = edits.reseated(layout, after, host, (first,))
    return edits.settled(layout, after)


def _check_alike(layout: Layout, keep: Tube, gone: Tube) -> None:
    ids = (keep.id, gone.id)
    if keep.stock != gone.stock:
        names = [layout.stocks[tube.stock].name for tube in (keep, gone)]
        raise GeometryError(
            f"{keep.name} is {names[0]} and {gone.name} is {names[1]}; one tube is of one stock.", ids
        )
    dies = [bending.die_of(layout, tube) for tube in (keep, gone)]
    if keep.die != gone.die and dies[0] != dies[1]:
        named = [die.name if die else "no die" for die in dies]
        raise GeometryError(
            f"{keep.name} is bent on {named[0]} and {gone.name} on {named[1]}; choose one die for both.", ids
        )
    if set(keep.nodes[1:-1]) & set(gone.nodes) or {keep.nodes[0], keep.nodes[-1]} == {
        gone.nodes[0],
        gone.nodes[-1],
    }:
        raise GeometryError(
            f"{keep.name} and {gone.name} meet twice; one tube cannot close a ring or cross itself.", ids
        )


def _without_idle_node(before: Layout, after: Layout, merged: Tube, node: int) -> Layout:
    """Take out the node where two parts met in line, and a sleeve that joined them."""
    at = merged.nodes.index(node)
    around = [before.nodes[id].position for id in merged.nodes[at - 1 : at + 2]]
    turns = [turn.angle for turn in bending.turns(around)]
    is_idle = len(places.users_of(after, node)) == 1 and before.nodes[node].landing is None
    if is_idle and not any(angle >= STRAIGHT for angle in turns):
        nodes = tuple(id for id in merged.nodes if id != node)
        return edits.with_tubes(after, {merged.id: replace(merged, nodes=nodes)})
    if before.nodes[node].sleeve:
        return places.with_nodes(after, {node: replace(before.nodes[node], sleeve=False)})
    return after


def _with_marks(before: Layout, after: Layout, head: Tube, tail: Tube, merged: int) -> Layout:
    """Give the merged tube the weld marks of both parts, those that met at the joint as one."""
    if not head.welds and not tail.welds:
        return after
    line = centreline.of(after, after.tubes[merged])
    first, last = centreline.of(before, head), centreline.of(before, tail)
    waiting = list(tail.welds)
    marks: list[Weld] = []
    for weld in head.welds:
        start = weld.start if weld.start <= 0.0 else _now(first, line, weld.start)
        meets = weld.end is None or weld.end >= first.length - SAME_POINT
        partner = next(
            (w for w in waiting if meets and w.panel == weld.panel and w.start <= SAME_POINT), None
        )
        if partner is not None:
            waiting.remove(partner)
            marks.append(replace(weld, start=start, end=_end_now(last, line, partner.end)))
        else:
            end = first.length if weld.end is None else weld.end
            marks.append(replace(weld, start=start, end=_now(first, line, end)))
    marks += [
        replace(weld, start=_now(last, line, weld.start), end=_end_now(last, line, weld.end))
        for weld in waiting
    ]
    return edits.with_tubes(after, {merged: replace(after.tubes[merged], welds=tuple(marks))})


def _end_now(old: Centreline, new: Centreline, end: float | None) -> float | None:
    return None if end is None else _now(old, new, end)


def _now(old: Centreline, new: Centreline, station: float) -> float:
    return centreline.nearest(new, centreline.place_at(old, station))[0]
