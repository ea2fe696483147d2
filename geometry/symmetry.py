"""Twins: tubes and nodes across the centre plane, and how one side follows the other.

Both sides are stored. A twin is named by the other's id; what lies across the plane or in it names
itself. Whichever side was changed leads; where both were, the layout's leading side.
"""

import math
from collections.abc import Iterable, Sequence

import numpy as np
from msgspec.structs import replace

from geometry import edits, naming, weld_marks
from geometry.errors import GeometryError
from geometry.layout import Landing, Layout, Node, Side, Tube
from geometry.tolerances import SAME_POINT, STRAIGHT
from geometry.vectors import Vec3, angle_between, distance, image, minus

ROUNDS = 8  # of placing twins; two or three are enough where landings sit on landings
ACROSS: Vec3 = (0.0, 1.0, 0.0)
TRUE_WITHIN = 2.0 * SAME_POINT  # mm; a landing goes to the nearest place of its tube, not beside it


def is_central(point: Vec3) -> bool:
    """Say whether a point lies in the centre plane."""
    return abs(point[1]) < SAME_POINT


# What every edit passes through


def followed(before: Layout, after: Layout) -> Layout:
    """Return an edited layout with the other side following; `before` is the one last recorded.

    Where the other side can't follow, the edit stands and the two are no longer twins.
    """
    if after.tubes is before.tubes and after.nodes is before.nodes:
        return after
    if not after.both_sides and all(tube.twin is None for tube in after.tubes.values()):
        return _with_true_nodes(after)
    try:
        return _followed(before, after)
    except GeometryError:
        lost = [tube.id for tube in after.tubes.values() if (tube.twin or tube.id) not in after.tubes]
        return _with_true_nodes(released(after, (*_touched(before, after), *lost)))


def _followed(before: Layout, after: Layout) -> Layout:
    layout = _without_widows(_with_true_twins(before, after))
    for id in [id for id in after.tubes if id in layout.tubes]:
        tube, had_one = layout.tubes[id], after.tubes[id].twin is not None
        is_new = id not in before.tubes and layout.both_sides and tube.mirrors
        if tube.twin is None and (is_new or had_one):
            layout, _ = _given_twin(layout, id, may_extend=is_new)
    layout = _with_leaders(before, layout)
    touched = (layout.tubes[id] for id in _touched(before, layout))
    false = [tube.id for tube in touched if tube.twin is not None and not _is_true(layout, tube)]
    return released(layout, false) if false else layout


def _is_true(layout: Layout, tube: Tube) -> bool:
    """Say whether a tube and its twin really are mirror images: what cannot be one is none."""
    nodes, twin = layout.nodes, layout.tubes.get(tube.twin or tube.id)
    if twin is None or twin.twin != tube.id:
        return False
    run = twin.nodes[::-1] if twin is tube else twin.nodes
    return len(run) == len(tube.nodes) and all(
        nodes[one].twin == other and distance(nodes[other].position, image(nodes[one].position)) < TRUE_WITHIN
        for one, other in zip(tube.nodes, run, strict=True)
    )


def _touched(before: Layout, after: Layout) -> list[int]:
    """Return the tubes that an edit changed, themselves or by their nodes."""
    return [
        tube.id
        for tube in after.tubes.values()
        if before.tubes.get(tube.id) is not tube
        or any(before.nodes.get(node) is not after.nodes[node] for node in tube.nodes)
    ]


def _with_true_twins(before: Layout, after: Layout) -> Layout:
    """Let go of twins that do not name each other; those that were deleted just now are left to see."""
    if after.tubes is before.tubes and after.nodes.keys() == before.nodes.keys():
        return after
    tubes = {}
    for tube in after.tubes.values():
        twin = _true_twin(before, after, tube)
        if twin != tube.twin:
            tubes[tube.id] = replace(tube, twin=twin)
    after = _with_true_nodes(after)
    return replace(after, tubes={**after.tubes, **tubes}) if tubes else after


def _with_true_nodes(layout: Layout) -> Layout:
    """Let go of the twins of nodes that are gone or name others."""
    nodes = layout.nodes
    loose = {
        node.id: replace(node, twin=None)
        for node in nodes.values()
        if node.twin is not None and (node.twin not in nodes or nodes[node.twin].twin != node.id)
    }
    return replace(layout, nodes={**nodes, **loose}) if loose else layout


def _true_twin(before: Layout, after: Layout, tube: Tube) -> int | None:
    """Return the twin that a tube still has; a part that was cut off has none."""
    if tube.twin is None or _is_own(after, tube):
        return tube.twin and tube.id
    if tube.twin == tube.id:
        return tube.id if _halves(after, tube.nodes)[0] is not None else None
    other = after.tubes.get(tube.twin)
    if other is None:
        return tube.twin if tube.id in before.tubes and tube.twin in before.tubes else None
    return tube.twin if other.twin == tube.id else None


def _is_own(layout: Layout, tube: Tube) -> bool:
    return tuple(layout.nodes[id].twin for id in tube.nodes[::-1]) == tube.nodes


def _without_widows(layout: Layout) -> Layout:
    """Delete the tubes whose twins were deleted."""
    widows = [
        tube.id for tube in layout.tubes.values() if tube.twin is not None and tube.twin not in layout.tubes
    ]
    return edits.delete(layout, widows) if widows else layout


def _tubes_followed(before: Layout, layout: Layout) -> Layout:
    """Run every changed tube's twin through the mirrored nodes, with the same making; nothing is settled."""
    after = layout
    for tube in layout.tubes.values():
        if tube.twin == tube.id:
            after = _own_image_kept(before, after, tube)
        elif tube.twin is not None and tube.id < tube.twin:
            pair = (after.tubes[tube.id], after.tubes[tube.twin])
            leader, follower = pair if _leads(before, layout, *pair) else pair[::-1]
            if not _is_image(layout, leader, follower):
                after, nodes = _partners(after, leader.nodes)
                twin = _alike(layout, leader, follower, nodes)
                after = replace(after, tubes={**after.tubes, twin.id: twin})
    return after


def _leads(before: Layout, layout: Layout, tube: Tube, other: Tube) -> bool:
    """Say whether the first of two twins is the one that the other follows."""
    changed = [_is_changed(before.tubes.get(one.id), one) for one in (tube, other)]
    if changed[0] != changed[1]:
        return changed[0]
    side = next((y for y in _ys(layout, tube) if abs(y) >= SAME_POINT), 1.0)
    return (side > 0.0) == (layout.leads == "left")


def _is_changed(old: Tube | None, tube: Tube) -> bool:
    return old is not tube and (old is None or _making(old) != _making(tube) or old.nodes != tube.nodes)


def _making(tube: Tube) -> Tube:
    """Return what twins have in common, as a tube."""
    return replace(tube, id=0, name="", nodes=(), welds=(), twin=None, shown=True, locked=False)


def _is_image(layout: Layout, tube: Tube, twin: Tube) -> bool:
    partners = tuple(layout.nodes[id].twin for id in tube.nodes)
    return partners == twin.nodes and _making(tube) == _making(twin) and _welds_match(tube, twin)


def _welds_match(tube: Tube, twin: Tube) -> bool:
    return [(w.start, w.end) for w in tube.welds] == [(w.start, w.end) for w in twin.welds]


def _alike(layout: Layout, tube: Tube, twin: Tube, nodes: tuple[int, ...]) -> Tube:
    """Return a twin made as the tube is, through other nodes."""
    if len(tube.welds) == len(twin.welds):
        pairs = zip(tube.welds, twin.welds, strict=True)
        marks = tuple(replace(weld, panel=old.panel) for weld, old in pairs)
    else:
        marks = weld_marks.mirrored(layout, tube.welds)
    return replace(
        tube,
        id=twin.id,
        name=twin.name,
        nodes=nodes,
        welds=marks,
        twin=tube.id,
        shown=twin.shown,
        locked=twin.locked,
    )


def _own_image_kept(before: Layout, layout: Layout, tube: Tube) -> Layout:
    """Let one half of a tube that is its own image follow the other; let it go if it has no halves."""
    if _is_own(layout, tube):
        return layout
    first, middle, second = _halves(layout, tube.nodes)
    old = before.tubes.get(tube.id)
    known = frozenset() if old is None else frozenset(old.nodes)
    if first is None:
        return released(layout, (tube.id,))
    changed = [not known >= set(half) for half in (first, second)]
    if not any(changed) and len(first) != len(second):  # a node was taken out on one side
        changed = [len(first) < len(second), len(first) > len(second)]
    starts_left = layout.nodes[tube.nodes[0]].position[1] > 0.0
    is_first = changed[0] if changed[0] != changed[1] else starts_left == (layout.leads == "left")
    lead = first if is_first else second[::-1]
    layout, partners = _partners(layout, (*lead, *middle))
    nodes = (*lead, *middle, *partners[: len(lead)][::-1])
    whole = replace(layout.tubes[tube.id], nodes=nodes if is_first else nodes[::-1])
    return replace(layout, tubes={**layout.tubes, tube.id: whole})


def _halves(
    layout: Layout, nodes: Sequence[int]
) -> tuple[tuple[int, ...] | None, tuple[int, ...], tuple[int, ...]]:
    """Return a run's nodes before, in and behind the plane; None where it does not cross it once."""
    signs = [0 if is_central(layout.nodes[id].position) else _sign(layout.nodes[id].position) for id in nodes]
    crossing = [i for i in range(1, len(signs)) if signs[i] != signs[i - 1]]
    is_plain = len(crossing) == 1 or (len(crossing) == 2 and signs[crossing[0]] == 0)
    if not is_plain or signs[0] == 0 or signs[0] != -signs[-1]:
        return None, (), ()
    return tuple(nodes[: crossing[0]]), tuple(nodes[crossing[0] : crossing[-1]]), tuple(nodes[crossing[-1] :])


def _sign(point: Vec3) -> int:
    return 1 if point[1] > 0.0 else -1


def _ys(layout: Layout, tube: Tube) -> list[float]:
    return [layout.nodes[id].position[1] for id in tube.nodes]


def _with_leaders(before: Layout, layout: Layout) -> Layout:
    """Let tubes and nodes that were not changed follow those that were.

    What lands on a tube moves with it, on either side: so the nodes are gone through again until all of
    them are where the mirror has them.
    """
    after = _with_true_nodes(_tubes_followed(before, layout))
    leaders: dict[int, int] = {}  # by the first of two twins; who leads is settled before anything moves
    settled = layout
    for _ in range(ROUNDS):
        for node in _out_of_step(before, after):
            leaders.setdefault(node.id, _leader(before, after, node))
        after, wanted = _mirrored_nodes(after, leaders.values())
        if after is settled:
            break
        after = settled = edits.settled(settled, after, wanted)
    return after


def _out_of_step(before: Layout, layout: Layout) -> list[Node]:
    """Return the first of any two twins, or what is its own, that are not where the mirror has them."""
    old, nodes = before.nodes, layout.nodes
    firsts = (node for node in nodes.values() if node.twin is not None and node.id <= node.twin)
    if before.tubes is layout.tubes:  # then only what moved can be out of step
        firsts = (
            node
            for node in firsts
            if old.get(node.id) is not node or old.get(node.twin or 0) is not nodes[node.twin or 0]
        )
    return [node for node in firsts if not _is_in_step(layout, node, nodes[node.twin or 0])]


def _is_in_step(layout: Layout, node: Node, twin: Node) -> bool:
    (x, y, z), (twin_x, twin_y, twin_z) = node.position, twin.position
    if node is twin:
        return abs(y) < SAME_POINT
    if abs(x - twin_x) + abs(y + twin_y) + abs(z - twin_z) >= SAME_POINT:
        return False
    if node.landing is not None and twin.landing is not None:
        return layout.tubes[node.landing.tube].twin in (twin.landing.tube, None)
    return (node.landing is None) == (twin.landing is None) and (node.sleeve, node.standoff) == (
        twin.sleeve,
        twin.standoff,
    )


def _leader(before: Layout, layout: Layout, node: Node) -> int:
    """Return which of a node and its twin the other one follows."""
    other = layout.nodes[node.twin or node.id]
    return node.id if _node_leads(before, layout, node, other) else other.id


def _mirrored_nodes(layout: Layout, leaders: Iterable[int]) -> tuple[Layout, dict[int, Vec3]]:
    """Return the layout with the twins of leaders where the mirror has them, and where that is."""
    nodes = dict(layout.nodes)
    wanted: dict[int, Vec3] = {}
    for id in leaders:
        node = nodes.get(id)
        if node is None or node.twin not in nodes:
            continue
        if node.twin == id:
            if not is_central(node.position):
                wanted[id] = (node.position[0], 0.0, node.position[2])
        elif distance(nodes[node.twin].position, image(node.position)) >= SAME_POINT:
            wanted[node.twin] = image(node.position)
    for id, place in wanted.items():
        if nodes[id].landing is None:
            nodes[id] = replace(nodes[id], position=place)
    placed = replace(layout, nodes=nodes)  # the lines that landings are looked for on
    for id in leaders:
        node = nodes.get(id)
        if node is not None and node.twin in nodes and node.twin != id:
            nodes[node.twin] = _mirrored(placed, node, nodes[node.twin])
    is_same = all(nodes[id] is node or nodes[id] == node for id, node in layout.nodes.items())
    return (layout, {}) if is_same and not wanted else (placed, wanted)


def _node_leads(before: Layout, layout: Layout, node: Node, other: Node) -> bool:
    changed = [_is_moved(before.nodes.get(one.id), one) for one in (node, other)]
    if changed[0] != changed[1]:
        return changed[0]
    return (node.position[1] > other.position[1]) == (layout.leads == "left")


def _is_moved(old: Node | None, node: Node) -> bool:
    return old is not node and (old is None or replace(old, twin=None) != replace(node, twin=None))


def _mirrored(layout: Layout, node: Node, twin: Node) -> Node:
    """Return a node's twin as the mirror has it; what it lands on is the twin of what the node lands on."""
    place, landing = image(node.position), None
    if node.landing is not None:
        host = layout.tubes[node.landing.tube].twin
        if host is None:
            landing = twin.landing if twin.landing is not None else None
        else:
            is_kept = twin.landing is not None and twin.landing.tube == host
            near = distance(twin.position, place) < SAME_POINT
            landing = twin.landing if is_kept and near else edits.landing_at(layout, host, place)
    if distance(twin.position, place) < SAME_POINT:
        place = twin.position  # rounding of float64 is no movement
    return replace(
        twin, position=place, landing=landing, sleeve=node.sleeve, standoff=node.standoff, twin=node.id
    )


# Making and letting go


def paired(layout: Layout, tubes: Iterable[int]) -> tuple[Layout, tuple[int, ...]]:
    """Make twins of tubes and their images across the centre plane; returns the tubes that were added.

    A tube that is its own image is kept so; one whose image stands there already is paired with it.
    """
    made: list[int] = []
    before, chosen = layout, tuple(dict.fromkeys(tubes))
    for id in chosen:
        if id not in layout.tubes:
            raise GeometryError("This tube is no longer in the job.", (id,))
        if layout.tubes[id].twin is None:
            layout, new = _given_twin(layout, id, may_extend=False)
            made += new
    if layout is before:
        raise GeometryError("Each chosen tube has its twin already, or is its own mirror image.", chosen)
    return layout, tuple(made)


def released(layout: Layout, tubes: Iterable[int]) -> Layout:
    """Let tubes and their twins each go their own way."""
    gone: set[int] = set()
    for id in tubes:
        gone |= {id, layout.tubes[id].twin or id} & layout.tubes.keys()
    changed = {id: replace(layout.tubes[id], twin=None, mirrors=False) for id in gone}
    after = replace(layout, tubes={**layout.tubes, **changed})
    bound = {node for tube in after.tubes.values() if tube.twin is not None for node in tube.nodes}
    free = {node for id in gone for node in layout.tubes[id].nodes} - bound
    nodes = {id: replace(after.nodes[id], twin=None) for id in free if after.nodes[id].twin is not None}
    return replace(after, nodes={**after.nodes, **nodes}) if nodes else after


def set_both_sides(layout: Layout, on: bool) -> Layout:
    """Let new tubes have twins, or not; when switched on, images that stand there already are paired."""
    after = replace(layout, both_sides=on)
    if not on:
        return after
    for id in layout.tubes:
        tube = after.tubes[id]
        if tube.twin is None:
            if has_image(after, tube):
                after, _ = _given_twin(after, id, may_extend=False)
            else:
                after = replace(after, tubes={**after.tubes, id: replace(tube, mirrors=False)})
    return after


def set_leads(layout: Layout, side: Side) -> Layout:
    """Choose the side that the other one follows where both were changed at once."""
    return replace(layout, leads=side)


def has_image(layout: Layout, tube: Tube) -> bool:
    """Say whether a tube is its own mirror image, or another one stands where its image would."""
    run = [image(point) for point in _run(layout, tube)]
    return _is_same(run, _run(layout, tube)[::-1]) or _standing(layout, run, tube.id) is not None


def _given_twin(layout: Layout, id: int, *, may_extend: bool) -> tuple[Layout, tuple[int, ...]]:
    """Return the layout with a tube's twin found or made, and the ids of what was added."""
    tube = layout.tubes[id]
    if may_extend:
        layout, tube = _carried_across(layout, tube)
    layout, nodes = _partners(layout, tube.nodes)
    if nodes[::-1] == tube.nodes:
        return _with_tubes(layout, replace(tube, twin=id, mirrors=True)), ()
    run = [layout.nodes[node].position for node in nodes]
    standing = _standing(layout, run, id)
    if standing is not None:
        return _with_standing(layout, tube, standing, nodes), ()
    if any(layout.nodes[n].twin != m for n, m in zip(tube.nodes, nodes, strict=True)):
        raise GeometryError(f"A node of tube {tube.name} has another twin already; free it first.", (id,))
    new = layout.next_id
    twin = replace(
        tube,
        id=new,
        name=naming.twin_of(layout, tube.name),
        nodes=nodes,
        welds=weld_marks.mirrored(layout, tube.welds),
        twin=id,
        mirrors=True,
    )
    before = layout
    layout = _with_tubes(layout, replace(tube, twin=new, mirrors=True), twin)
    layout = _seated(replace(layout, next_id=new + 1), tube.nodes)
    return edits.settled(before, layout), (new,)


def _with_standing(layout: Layout, tube: Tube, standing: Tube, nodes: tuple[int, ...]) -> Layout:
    """Pair a tube with the one that stands where its image would; one that has a twin is left alone."""
    if standing.twin is not None:
        return layout
    way = 1 if _is_same([layout.nodes[n].position for n in nodes], _run(layout, standing)) else -1
    for one, other in zip(tube.nodes, standing.nodes[::way], strict=True):
        layout = _bound(layout, one, other)
    both = (replace(tube, twin=standing.id, mirrors=True), replace(standing, twin=tube.id, mirrors=True))
    if way == -1:
        layout = edits.reverse_tube(_with_tubes(layout, both[0]), standing.id)
        return _with_tubes(layout, replace(layout.tubes[standing.id], twin=tube.id, mirrors=True))
    return _with_tubes(layout, *both)


def _carried_across(layout: Layout, tube: Tube) -> tuple[Layout, Tube]:
    """Let a tube that ends free in the centre plane run on to the other side, as its own image."""
    central = [is_central(layout.nodes[id].position) for id in tube.nodes]
    if sum(central) != 1 or not (central[0] or central[-1]):
        return layout, tube
    run = tube.nodes if central[-1] else tube.nodes[::-1]
    end = layout.nodes[run[-1]]
    is_free = end.landing is None and all(
        end.id not in other.nodes for other in layout.tubes.values() if other.id != tube.id
    )
    if not is_free:
        return layout, tube
    layout, other = _partners(layout, run[:-1])
    leg = minus(end.position, layout.nodes[run[-2]].position)
    turn = angle_between(np.array(leg), np.array(ACROSS))
    is_straight = min(turn, math.pi - turn) < STRAIGHT
    middle = () if is_straight else (end.id,)
    nodes = (*run[:-1], *middle, *other[::-1])
    whole = replace(tube, nodes=nodes if central[-1] else nodes[::-1])
    return edits.settled(layout, _with_tubes(layout, whole)), whole


def _partners(layout: Layout, nodes: Sequence[int]) -> tuple[Layout, tuple[int, ...]]:
    """Return the twins of nodes; those that have none are found or made."""
    twins = []
    for id in nodes:
        node = layout.nodes[id]
        if node.twin is None or node.twin not in layout.nodes:
            layout, twin = _found_or_made(layout, node, nodes)
            layout = _bound(layout, id, twin)
            twins.append(twin)
        else:
            twins.append(node.twin)
    return layout, tuple(twins)


def _found_or_made(layout: Layout, node: Node, own: Sequence[int]) -> tuple[Layout, int]:
    """Return the free node where a node's image is, of the same tube first; or a new one."""
    if is_central(node.position):
        return layout, node.id
    place = image(node.position)
    for id in (*own, *layout.nodes):
        other = layout.nodes[id]
        if other.twin is None and distance(other.position, place) < SAME_POINT:
            return layout, id
    id = layout.next_id
    made = Node(id, place, None, node.sleeve, node.standoff)
    return replace(layout, nodes={**layout.nodes, id: made}, next_id=id + 1), id


def _bound(layout: Layout, one: int, other: int) -> Layout:
    """Let two nodes name each other as twins, if neither names another yet."""
    nodes = layout.nodes
    if any(nodes[a].twin not in (None, b) for a, b in ((one, other), (other, one))):
        return layout
    pair = {one: replace(nodes[one], twin=other), other: replace(nodes[other], twin=one)}
    return replace(layout, nodes={**nodes, **pair})


def _seated(layout: Layout, nodes: Iterable[int]) -> Layout:
    """Let the twins of nodes that sit on a tube sit on that tube's twin, or on the tube where it passes."""
    seats = {}
    for id in nodes:
        node = layout.nodes[id]
        if node.landing is None or node.twin in (None, id):
            continue
        twin = layout.nodes[node.twin]
        if twin.landing is not None:
            continue
        host = layout.tubes[node.landing.tube].twin or node.landing.tube
        seat = edits.landing_at(layout, host, twin.position)
        if distance(edits.place_of(layout, seat), twin.position) < SAME_POINT:
            seats[twin.id] = replace(twin, landing=Landing(host, seat.station))
    return replace(layout, nodes={**layout.nodes, **seats}) if seats else layout


def _standing(layout: Layout, run: Sequence[Vec3], without: int) -> Tube | None:
    """Return the tube that stands along a run of places, in either direction."""
    for tube in layout.tubes.values():
        if tube.id != without and len(tube.nodes) == len(run):
            places = _run(layout, tube)
            if _is_same(run, places) or _is_same(run, places[::-1]):
                return tube
    return None


def _run(layout: Layout, tube: Tube) -> list[Vec3]:
    return [layout.nodes[id].position for id in tube.nodes]


def _is_same(run: Sequence[Vec3], other: Sequence[Vec3]) -> bool:
    return len(run) == len(other) and all(
        distance(a, b) < SAME_POINT for a, b in zip(run, other, strict=True)
    )


def _with_tubes(layout: Layout, *tubes: Tube) -> Layout:
    return replace(layout, tubes={**layout.tubes, **{tube.id: tube for tube in tubes}})
