"""Every change of a layout, as a function from layout to layout.

Each one refuses what cannot be kept (a number that is not finite, two neighbouring nodes on one
point, tubes that sit on one another in a ring) with a GeometryError, keeps landing nodes on their
tubes, and drops nodes that no tube uses any more. What an edit does not touch stays the same object.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, TypeVar

from msgspec.structs import replace

from geometry import landings, naming, refusals, weld_marks
from geometry.body import panels
from geometry.errors import GeometryError
from geometry.landings import NOTHING_WANTED
from geometry.layout import (
    LIMITS,
    NAMED,
    SELECTABLE,
    BendFrom,
    Cut,
    Landing,
    Layout,
    Limits,
    Node,
    Stock,
    Tube,
)
from geometry.tolerances import FARTHEST_POINT, LENGTH_NOISE, SAME_POINT
from geometry.tube import bending, centreline, welds
from geometry.vectors import Vec3, distance, plus, vec

Thing = TypeVar("Thing")
OTHER_END: dict[BendFrom, BendFrom] = {"start": "end", "end": "start"}
Item = Vec3 | int | Landing  # a place, a node that exists, or a place on a tube


# Nodes


def add_node(layout: Layout, position: Vec3, landing: Landing | None = None) -> tuple[Layout, int]:
    """Add a free node, or one on a tube; it stays until a tube has used it and lets it go."""
    id = layout.next_id
    if landing is not None:
        position = place_of(layout, landing)
    node = Node(id, refusals.checked_place(position), landing)
    return replace(layout, nodes={**layout.nodes, id: node}, next_id=id + 1), id


def landing_at(layout: Layout, tube: int, point: Vec3) -> Landing:
    """Return the landing on a tube that is nearest to a point; a corner gives the middle of its arc."""
    line = centreline.of(layout, _tube(layout, tube))
    return Landing(tube, centreline.nearest(line, refusals.checked_place(point))[0])


def move_nodes(layout: Layout, ids: Iterable[int], shift: Vec3) -> Layout:
    """Move nodes, and all nodes of tubes, by the same shift; landing nodes slide along their tube."""
    shift = refusals.checked_place(shift)
    chosen = dict.fromkeys(node for id in ids for node in _nodes_of(layout, id))
    return place_nodes(layout, {id: plus(layout.nodes[id].position, shift) for id in chosen})


def place_node(layout: Layout, id: int, position: Vec3) -> Layout:
    """Put a node at a place; a landing node goes to the nearest place of its tube."""
    return place_nodes(layout, {_node(layout, id).id: position})


def set_node_standoff(layout: Layout, nodes: Iterable[int], standoff: float | None) -> Layout:
    """Let nodes keep a gap to the body when they are moved by hand, or no longer."""
    if standoff is not None and not 0.0 <= standoff < FARTHEST_POINT:
        raise GeometryError("A gap to the body must be a length of 0 or more.", tuple(nodes))
    changed = {id: replace(_node(layout, id), standoff=standoff) for id in nodes}
    return _with_nodes(layout, changed)


def set_landing(layout: Layout, node: int, landing: Landing | None) -> Layout:
    """Seat a node on a tube, or free it where it is."""
    if landing is not None:
        place_of(layout, landing)
    changed = replace(_node(layout, node), landing=landing)
    return settled(layout, _with_nodes(layout, {node: changed}))


def insert_node(layout: Layout, tube: int, leg: int, position: Vec3) -> tuple[Layout, int]:
    """Add a node to a tube between its nodes leg and leg + 1."""
    asked = _tube(layout, tube)
    if not 0 <= leg < len(asked.nodes) - 1:
        raise GeometryError(f"Tube {asked.name} has no leg {leg + 1}.", (tube,))
    after, id = add_node(layout, position)
    nodes = (*asked.nodes[: leg + 1], id, *asked.nodes[leg + 1 :])
    return settled(layout, _with_tube(after, replace(asked, nodes=nodes))), id


def remove_node(layout: Layout, id: int) -> Layout:
    """Take a node out of its tubes; its neighbours are joined, a tube without a leg goes too."""
    return delete(layout, (_node(layout, id).id,))


def merge_nodes(layout: Layout, keep: int, drop: int) -> Layout:
    """Let every tube that uses one node use another instead."""
    _node(layout, keep), _node(layout, drop)
    if keep == drop:
        return layout
    tubes = {
        tube.id: _through(tube, [keep if id == drop else id for id in tube.nodes])
        for tube in layout.tubes.values()
        if drop in tube.nodes
    }
    after = with_tubes(layout, tubes)
    nodes = {id: node for id, node in after.nodes.items() if id != drop}
    return settled(layout, replace(after, nodes=nodes))


# Tubes


def add_tube(
    layout: Layout, items: Sequence[Item], stock: int, name: str | None = None
) -> tuple[Layout, int]:
    """Lay a tube through places, nodes and landings in turn."""
    known_stock(layout, stock)
    if name is not None:
        name = naming.free_for_tube(layout, name)
    after, nodes = layout, []
    for item in items:
        after, node = _node_for(after, item)
        nodes.append(node)
    id = after.next_id
    tube = Tube(id, name or naming.next_for_tube(layout), tuple(nodes), stock)
    return settled(layout, replace(_with_tube(after, tube), next_id=id + 1)), id


def extend_tube(layout: Layout, tube: int, item: Item, at_start: bool = False) -> tuple[Layout, int]:
    """Let a tube run on from its end (or its start) to one more node."""
    asked = _tube(layout, tube)
    after, node = _node_for(layout, item)
    nodes = (node, *asked.nodes) if at_start else (*asked.nodes, node)
    return settled(layout, _with_tube(after, replace(asked, nodes=nodes))), node


def split_tube(
    layout: Layout, tube: int, *, station: float | None = None, node: int | None = None
) -> tuple[Layout, int]:
    """Cut a tube in two at a station on a straight, or at one of its nodes; both share that node.

    The first part keeps the id. At a bend's corner the bend becomes a mitre.
    """
    if (station is None) == (node is None):
        raise ValueError("split at a station or at a node")
    asked = _tube(layout, tube)
    after, at = layout, asked.nodes.index(node) if node in asked.nodes else -1
    if station is not None:
        after, at = _cut_at(layout, asked, station)
    elif not 0 < at < len(asked.nodes) - 1:
        raise GeometryError(f"Tube {asked.name} can be split at a node between its ends only.", (tube,))
    id = after.next_id
    nodes = after.tubes[tube].nodes
    first = replace(asked, nodes=nodes[: at + 1], end_allowance=None, end_cut="after")
    second = replace(
        asked,
        id=id,
        name=naming.next_for_tube(layout),
        nodes=nodes[at:],
        start_allowance=None,
        start_cut="after",
    )
    after = replace(with_tubes(after, {tube: first, id: second}), next_id=id + 1)
    after = _marks_shared_out(layout, after, asked, (tube, id))
    return settled(layout, reseated(layout, after, tube, (tube, id))), id


def split_with_sleeve(layout: Layout, tube: int, station: float) -> tuple[Layout, int]:
    """Cut a tube in two on a straight, to be joined again over an inner sleeve."""
    after, id = split_tube(layout, tube, station=station)
    joint = after.nodes[after.tubes[id].nodes[0]]
    return _with_nodes(after, {joint.id: replace(joint, sleeve=True)}), id


def set_sleeve(layout: Layout, node: int, on: bool) -> Layout:
    """Join the two tubes that end at a node over an inner sleeve, or no longer."""
    changed = _node(layout, node)
    if on:
        refusals.checked_sleeve(layout, changed)
    return _with_nodes(layout, {node: replace(changed, sleeve=on)})


def may_have_sleeve(layout: Layout, node: int) -> bool:
    """Say whether the tubes at a node can be joined over an inner sleeve."""
    try:
        refusals.checked_sleeve(layout, _node(layout, node))
    except GeometryError:
        return False
    return True


def reverse_tube(layout: Layout, tube: int) -> Layout:
    """Let a tube run the other way; nothing moves."""
    asked = _tube(layout, tube)
    turned = replace(
        asked,
        nodes=asked.nodes[::-1],
        start_allowance=asked.end_allowance,
        end_allowance=asked.start_allowance,
        start_cut=asked.end_cut,
        end_cut=asked.start_cut,
        bend_from=OTHER_END.get(asked.bend_from, asked.bend_from),
    )
    length = centreline.of(layout, asked).length
    turned = replace(turned, welds=welds.reversed_on(asked.welds, length))
    seats = {
        node.id: replace(node, landing=Landing(tube, max(length - node.landing.station, 0.0)))
        for node in layout.nodes.values()
        if node.landing is not None and node.landing.tube == tube
    }
    return settled(layout, _with_nodes(_with_tube(layout, turned), seats))


def delete(layout: Layout, ids: Iterable[int]) -> Layout:
    """Delete things of any kind; what sat on a deleted tube stays where it is, free."""
    gone = set(ids)
    kinds = {kind: getattr(layout, kind) for kind in SELECTABLE}
    if unknown := [id for id in gone if not any(id in things for things in kinds.values())]:
        raise GeometryError("What was to be deleted is no longer in the job.", unknown)
    tubes = {
        tube.id: _through(tube, [id for id in tube.nodes if id not in gone])
        for tube in layout.tubes.values()
        if tube.id not in gone and not gone.isdisjoint(tube.nodes)
    }
    after = with_tubes(layout, {**tubes, **{id: None for id in gone if id in layout.tubes}})
    gone_panels = {
        panel.id for panel in layout.panels.values() if not gone.isdisjoint((panel.id, panel.body))
    }
    after = panels.without(after, gone_panels)
    standing = {
        kind: without(getattr(after, kind), gone) for kind in SELECTABLE if kind not in ("tubes", "panels")
    }
    return settled(layout, replace(after, **standing))


def set_stock(layout: Layout, tubes: Iterable[int], stock: int) -> Layout:
    """Make tubes of another stock; a chosen die of another OD is let go."""
    wanted = known_stock(layout, stock)
    changed = {tube.id: fitted(layout, replace(tube, stock=stock), wanted) for tube in _tubes(layout, tubes)}
    return settled(layout, with_tubes(layout, changed))


def set_die(layout: Layout, tubes: Iterable[int], die: int | None) -> Layout:
    """Choose the die of tubes; None takes the rack's best."""
    chosen = list(_tubes(layout, tubes))
    if die is not None:
        if die not in layout.dies:
            raise GeometryError("This die is no longer in the rack.", (die,))
        for tube in chosen:
            if not bending.is_for(layout.dies[die], layout.stocks[tube.stock]):
                raise GeometryError(
                    f"Die {layout.dies[die].name} is for another diameter than that of tube {tube.name}.",
                    (tube.id, die),
                )
    return settled(layout, with_tubes(layout, {tube.id: replace(tube, die=die) for tube in chosen}))


def set_allowances(layout: Layout, tubes: Iterable[int], start: float | None, end: float | None) -> Layout:
    """Set what the blanks of tubes are longer at each end; None takes the layout's limit."""
    for allowance in (start, end):
        if allowance is not None and not 0.0 <= allowance < FARTHEST_POINT:
            raise GeometryError("An allowance must be a length of 0 or more.", tuple(tubes))
    changed = {
        tube.id: replace(tube, start_allowance=start, end_allowance=end) for tube in _tubes(layout, tubes)
    }
    return with_tubes(layout, changed)


def set_cuts(layout: Layout, tubes: Iterable[int], start: Cut, end: Cut) -> Layout:
    """Say whether the ends of tubes are cut to fit before bending or after it."""
    changed = {tube.id: replace(tube, start_cut=start, end_cut=end) for tube in _tubes(layout, tubes)}
    return with_tubes(layout, changed)


def set_bend_from(layout: Layout, tubes: Iterable[int], bend_from: BendFrom) -> Layout:
    """Choose the end at which bending begins; "best" leaves it to what the bender allows."""
    changed = {tube.id: replace(tube, bend_from=bend_from) for tube in _tubes(layout, tubes)}
    return with_tubes(layout, changed)


# Names, panels, limits


def rename(layout: Layout, id: int, name: str) -> Layout:
    """Give a thing that has a name another one."""
    name = naming.checked(name)
    if id in layout.tubes and name != layout.tubes[id].name:
        name = naming.free_for_tube(layout, name)
    for kind in (*NAMED, "stocks", "dies", "benders", "snapshots"):
        things = getattr(layout, kind)
        if id in things:
            if things[id].name == name:
                return layout
            return replace(layout, **{kind: {**things, id: replace(things[id], name=name)}})
    raise GeometryError("What was to be renamed is no longer in the job.", (id,))


def rename_job(layout: Layout, name: str) -> Layout:
    return replace(layout, name=naming.checked(name))


def set_panel(layout: Layout, id: int, **changes: Any) -> Layout:
    """Change a panel's name, kept, shown or colour."""
    if unknown := set(changes) - {"name", "kept", "shown", "colour"}:
        raise ValueError(f"a panel has no {unknown} to set")
    if id not in layout.panels:
        raise GeometryError("This panel is no longer in the job.", (id,))
    if "name" in changes:
        changes["name"] = naming.checked(changes["name"])
    return replace(layout, panels={**layout.panels, id: replace(layout.panels[id], **changes)})


def set_tubes(layout: Layout, tubes: Iterable[int], **changes: bool) -> Layout:
    """Show or hide tubes, lock or unlock them."""
    if unknown := set(changes) - {"shown", "locked"}:
        raise ValueError(f"a tube has no {unknown} to set")
    return with_tubes(layout, {tube.id: replace(tube, **changes) for tube in _tubes(layout, tubes)})


def locked_by(layout: Layout, id: int) -> Tube | None:
    """Return the locked tube that keeps a tube or node from being moved by hand, if there is one.

    What has a locked twin is kept as well, for it would take that along.
    """
    run = set(_nodes_of(layout, id))
    run |= {twin for node in run if (twin := layout.nodes[node].twin) is not None}
    locked = (tube for tube in layout.tubes.values() if tube.locked)
    return next((tube for tube in locked if not run.isdisjoint(tube.nodes)), None)


def set_limits(layout: Layout, **changes: float) -> Layout:
    """Change limits that the checks judge by."""
    if unknown := set(changes) - set(Limits.__struct_fields__):
        raise ValueError(f"there is no limit {unknown}")
    for name, value in changes.items():
        if not 0.0 <= value < FARTHEST_POINT:
            raise GeometryError(f"{LIMITS[name].label} must be a number of 0 or more.")
    if changes.get("angle_step", 1.0) <= 0.0:
        raise GeometryError("Angles are read to a step of more than 0°; 0.1° and 0.5° are usual.")
    limits = replace(layout.limits, **changes)
    if limits.standoff_closest > limits.standoff_farthest:
        raise GeometryError("The closest stand-off allowed cannot be more than the farthest wanted.")
    # Tape and gauge errors weigh trial bends, and so have a say in radii.
    return settled(layout, replace(layout, limits=limits))


# What every edit shares


def settled(before: Layout, after: Layout, wanted: Mapping[int, Vec3] = NOTHING_WANTED) -> Layout:
    """Return after with landings followed and unused nodes dropped, or refuse it."""
    if after.tubes is not before.tubes:
        after = _without_unused(before, landings.released(after))
    for tube in after.tubes.values():
        _check_nodes(before, tube)
    after = landings.followed(before, after, wanted)
    for tube in after.tubes.values():
        _check_legs(before, after, tube)
    return weld_marks.followed(before, after)


def _without_unused(before: Layout, after: Layout) -> Layout:
    """Drop the nodes that a tube used before and none uses now."""
    used_before = {node for tube in before.tubes.values() for node in tube.nodes}
    used = {node for tube in after.tubes.values() for node in tube.nodes}
    gone = (used_before - used).intersection(after.nodes)
    return replace(after, nodes=without(after.nodes, gone)) if gone else after


def _check_nodes(before: Layout, tube: Tube) -> None:
    """Refuse a changed tube with less than a leg or with a node twice."""
    if before.tubes.get(tube.id) is tube:
        return
    if len(tube.nodes) < 2:
        raise GeometryError("A tube needs two points; add one more.", (tube.id,))
    if len(set(tube.nodes)) < len(tube.nodes):
        raise GeometryError(f"Tube {tube.name} would pass one node twice; use another node.", (tube.id,))


def _check_legs(before: Layout, after: Layout, tube: Tube) -> None:
    """Refuse a changed tube with two neighbours on one point."""
    nodes = after.nodes
    if before.tubes.get(tube.id) is tube and all(before.nodes[id] is nodes[id] for id in tube.nodes):
        return
    for a, b in zip(tube.nodes, tube.nodes[1:], strict=False):
        if distance(nodes[a].position, nodes[b].position) < SAME_POINT:
            raise GeometryError(
                f"Two nodes of tube {tube.name} would lie on one point; keep them apart or remove one.",
                (tube.id, a, b),
            )


def place_nodes(layout: Layout, places: Mapping[int, Vec3]) -> Layout:
    """Return the layout with nodes at these places, as far as their landings let them."""
    moved, wanted = {}, {}
    for id, place in places.items():
        node = layout.nodes[id]
        if node.landing is not None:
            wanted[id] = refusals.checked_place(place)
        elif node.position != refusals.checked_place(place):
            moved[id] = replace(node, position=vec(place))
    if not moved and not wanted:
        return layout
    return settled(layout, _with_nodes(layout, moved), wanted)


def _node_for(layout: Layout, item: Item) -> tuple[Layout, int]:
    """Return the node that an item names, adding it where it is new."""
    if isinstance(item, Landing):
        return add_node(layout, (0.0, 0.0, 0.0), item)
    if isinstance(item, int):
        return layout, _node(layout, item).id
    return add_node(layout, item)


def _cut_at(layout: Layout, tube: Tube, station: float) -> tuple[Layout, int]:
    """Return the layout with a node of the tube at a station, and which of its nodes that is."""
    line = centreline.of(layout, tube)
    if not SAME_POINT <= station <= line.length - SAME_POINT:
        raise GeometryError(f"Tube {tube.name} can be split between its ends only.", (tube.id,))
    if centreline.bend_at(line, station):
        raise GeometryError(f"Tube {tube.name} cannot be split inside a bend; choose a straight.", (tube.id,))
    place = centreline.place_at(line, station)
    for index, id in enumerate(tube.nodes):
        if distance(layout.nodes[id].position, place) < SAME_POINT:
            return layout, index
    leg = centreline.leg_at(line, station)
    after, id = add_node(layout, place)
    nodes = (*tube.nodes[: leg + 1], id, *tube.nodes[leg + 1 :])
    return _with_tube(after, replace(tube, nodes=nodes)), leg + 1


def reseated(before: Layout, after: Layout, host: int, parts: Sequence[int]) -> Layout:
    """Seat what sat on a tube on the nearest of the parts that it became."""
    lines = {part: centreline.of(after, after.tubes[part]) for part in parts}
    seats = {}
    for node in before.nodes.values():
        if node.landing is None or node.landing.tube != host or node.id not in after.nodes:
            continue
        found = {part: centreline.nearest(line, node.position) for part, line in lines.items()}
        best = min(parts, key=lambda part: distance(found[part][1], node.position))
        seats[node.id] = replace(node, landing=Landing(best, found[best][0]))
    return _with_nodes(after, seats)


def _marks_shared_out(before: Layout, after: Layout, whole: Tube, parts: tuple[int, int]) -> Layout:
    """Give each part of a tube that was split the weld marks that lie on it."""
    if not whole.welds:
        return after
    line = centreline.of(before, whole)
    first, second = (after.tubes[part] for part in parts)
    length = centreline.of(after, second).length
    at, _ = centreline.nearest(line, after.nodes[second.nodes[0]].position)
    marks = welds.shared_out(whole.welds, line.length, at, length)
    changed = (replace(part, welds=own) for part, own in zip((first, second), marks, strict=True))
    return with_tubes(after, {part.id: part for part in changed})


def place_of(layout: Layout, landing: Landing) -> Vec3:
    """Return where a landing is, or refuse one that is off its tube."""
    tube = _tube(layout, landing.tube)
    line = centreline.of(layout, tube)
    if not -LENGTH_NOISE <= landing.station <= line.length + LENGTH_NOISE:
        raise GeometryError(f"This place is beyond the ends of tube {tube.name}.", (tube.id,))
    return centreline.place_at(line, landing.station)


def fitted(layout: Layout, tube: Tube, stock: Stock) -> Tube:
    """Return the tube without its chosen die where that is for another OD."""
    is_misfit = tube.die is not None and not bending.is_for(layout.dies[tube.die], stock)
    return replace(tube, die=None) if is_misfit else tube


def _through(tube: Tube, nodes: Sequence[int]) -> Tube | None:
    """Return the tube through other nodes, neighbours that are one node joined; None without a leg."""
    joined = tuple(id for i, id in enumerate(nodes) if i == 0 or id != nodes[i - 1])
    return replace(tube, nodes=joined) if len(joined) >= 2 else None


def _with_nodes(layout: Layout, nodes: Mapping[int, Node]) -> Layout:
    changed = {id: node for id, node in nodes.items() if layout.nodes.get(id) != node}
    return replace(layout, nodes={**layout.nodes, **changed}) if changed else layout


def _with_tube(layout: Layout, tube: Tube) -> Layout:
    return replace(layout, tubes={**layout.tubes, tube.id: tube})


def with_tubes(layout: Layout, changes: Mapping[int, Tube | None]) -> Layout:
    """Return the layout with tubes changed, or gone where the change is None."""
    merged = {**layout.tubes, **changes}
    tubes = {id: tube for id, tube in merged.items() if tube is not None}
    if len(tubes) == len(layout.tubes) and all(layout.tubes.get(id) == tubes[id] for id in tubes):
        return layout
    return replace(layout, tubes=tubes)


def without(things: dict[int, Thing], gone: set[int]) -> dict[int, Thing]:
    return {id: thing for id, thing in things.items() if id not in gone} if gone & set(things) else things


def _nodes_of(layout: Layout, id: int) -> tuple[int, ...]:
    """Return the node itself, or the nodes of a tube."""
    return layout.tubes[id].nodes if id in layout.tubes else (_node(layout, id).id,)


def _node(layout: Layout, id: int) -> Node:
    if id not in layout.nodes:
        raise GeometryError("This node is no longer in the job.", (id,))
    return layout.nodes[id]


def _tube(layout: Layout, id: int) -> Tube:
    if id not in layout.tubes:
        raise GeometryError("This tube is no longer in the job.", (id,))
    return layout.tubes[id]


def _tubes(layout: Layout, ids: Iterable[int]) -> Iterable[Tube]:
    return [_tube(layout, id) for id in dict.fromkeys(ids)]


def known_stock(layout: Layout, id: int) -> Stock:
    if id not in layout.stocks:
        raise GeometryError("This tube size is no longer in the rack.", (id,))
    return layout.stocks[id]
