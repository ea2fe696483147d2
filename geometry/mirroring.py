"""Copies of tubes across the centre plane."""

from collections.abc import Mapping, Sequence

from msgspec.structs import replace

from geometry import naming, weld_marks
from geometry.layout import Landing, Layout, Node, Tube
from geometry.tolerances import SAME_POINT
from geometry.tube import centreline
from geometry.vectors import Vec3, distance


def mirrored(layout: Layout, tubes: Sequence[Tube]) -> tuple[Layout, tuple[int, ...]]:
    """Return the layout with the twins of tubes that lack one, and the ids of those."""
    after, partner = layout, {}
    for id in dict.fromkeys(node for tube in tubes for node in tube.nodes):
        after, partner[id] = _mirrored_node(layout, after, layout.nodes[id])
    runs = [_places(layout, tube.nodes) for tube in layout.tubes.values()]
    twins: dict[int, int] = {}
    for tube in tubes:
        nodes = tuple(partner[id] for id in tube.nodes)
        run = _places(after, nodes)
        if any(_is_same(run, other) or _is_same(run, other[::-1]) for other in runs):
            continue  # its image stands there already, perhaps on other nodes in the same places
        id = after.next_id
        twin = replace(
            tube,
            id=id,
            name=naming.twin_of(after, tube.name),
            nodes=nodes,
            welds=weld_marks.mirrored(layout, tube.welds),
        )
        after = replace(after, tubes={**after.tubes, id: twin}, next_id=id + 1)
        twins[tube.id] = id
    after = replace(after, nodes={**after.nodes, **_mirrored_seats(layout, after, partner, twins)})
    used = {node for tube in after.tubes.values() for node in tube.nodes}
    nodes_kept = {id: node for id, node in after.nodes.items() if id in used or id in layout.nodes}
    return replace(after, nodes=nodes_kept), tuple(twins.values())


def _places(layout: Layout, nodes: Sequence[int]) -> tuple[Vec3, ...]:
    return tuple(layout.nodes[id].position for id in nodes)


def _is_same(run: Sequence[Vec3], other: Sequence[Vec3]) -> bool:
    return len(run) == len(other) and all(
        distance(a, b) < SAME_POINT for a, b in zip(run, other, strict=True)
    )


def _mirrored_node(layout: Layout, after: Layout, node: Node) -> tuple[Layout, int]:
    """Return the node that stands across the centre plane, adding it where there is none."""
    x, y, z = node.position
    if abs(y) < SAME_POINT:
        return after, node.id
    place = (x, -y, z)
    for other in layout.nodes.values():
        if distance(other.position, place) < SAME_POINT:
            return after, other.id
    id = after.next_id
    return replace(after, nodes={**after.nodes, id: Node(id, place)}, next_id=id + 1), id


def _mirrored_seats(
    before: Layout, after: Layout, partner: Mapping[int, int], twins: Mapping[int, int]
) -> dict[int, Node]:
    """Return the new nodes that sit on a tube because the nodes they mirror do."""
    seats = {}
    for id, twin in partner.items():
        landing = before.nodes[id].landing
        if landing is None or twin in before.nodes:
            continue
        node = after.nodes[twin]
        if landing.tube in twins:
            seats[twin] = replace(node, landing=Landing(twins[landing.tube], landing.station))
        elif seat := _seat_near(before, landing.tube, node.position):
            seats[twin] = replace(node, landing=seat)
    return seats


def _seat_near(layout: Layout, first: int, place: Vec3) -> Landing | None:
    """Return the landing of a tube that passes through a place, trying one tube first."""
    for id in (first, *(tube for tube in layout.tubes if tube != first)):
        station, near = centreline.nearest(centreline.of(layout, layout.tubes[id]), place)
        if distance(near, place) < SAME_POINT:
            return Landing(id, station)
    return None
