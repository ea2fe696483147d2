"""Putting nodes where an arrangement wants them, exactly or not at all."""

from collections.abc import Iterable, Mapping

import numpy as np
from msgspec.structs import replace

from geometry import edits, naming
from geometry.errors import GeometryError
from geometry.layout import Layout, Node, Tube
from geometry.tolerances import LENGTH_NOISE, SAME_POINT
from geometry.tube import centreline
from geometry.vectors import Vec3, distance, dot

STEP = 5.0  # mm between the places of a tube that are tried first
HALVINGS = 60  # far below the rounding of lengths of some metres


def nodes_of(layout: Layout, ids: Iterable[int]) -> list[Node]:
    """Return nodes in the order asked, each once, or refuse one that is gone."""
    chosen = list(dict.fromkeys(ids))
    if gone := [id for id in chosen if id not in layout.nodes]:
        raise GeometryError("One of these nodes is no longer in the job.", gone)
    return [layout.nodes[id] for id in chosen]


def tube_of(layout: Layout, id: int) -> Tube:
    if id not in layout.tubes:
        raise GeometryError("This tube is no longer in the job.", (id,))
    return layout.tubes[id]


def users_of(layout: Layout, node: int) -> list[Tube]:
    return [tube for tube in layout.tubes.values() if node in tube.nodes]


def called(layout: Layout, node: Node) -> str:
    """Say in words which node this is: by the tubes that it belongs to."""
    users = users_of(layout, node.id)
    if not users:
        return "a node that no tube uses"
    is_end = any(node.id in (tube.nodes[0], tube.nodes[-1]) for tube in users)
    return f"the {'end' if is_end else 'corner'} of {naming.listed(users)}"


def put(layout: Layout, places: Mapping[int, Vec3]) -> Layout:
    """Put nodes at places; refuse it where one sits on a tube that does not pass there."""
    wanted = {
        id: place for id, place in places.items() if distance(layout.nodes[id].position, place) > LENGTH_NOISE
    }
    if not wanted:
        return layout
    after = edits.place_nodes(layout, wanted)
    for id in wanted:
        if distance(after.nodes[id].position, places[id]) > SAME_POINT:
            node = layout.nodes[id]
            assert node.landing is not None
            host = layout.tubes[node.landing.tube].name
            raise GeometryError(
                f"This would take {called(layout, node)} off tube {host}, which it sits on; free it first.",
                (id, node.landing.tube),
            )
    return after


def put_level_with(layout: Layout, ids: Iterable[int], along: Vec3, value: Mapping[int, float]) -> Layout:
    """Move nodes until their distance along a direction is as wanted; those that sit on a tube slide there.

    Free nodes move along the direction only. Hosts that move take their landings with them, so what
    comes out is looked at again.
    """
    places = {id: _place_level_with(layout, layout.nodes[id], along, value[id]) for id in ids}
    places = {id: at for id, at in places.items() if distance(layout.nodes[id].position, at) > LENGTH_NOISE}
    if not places:
        return layout
    after = edits.place_nodes(layout, places)
    for id in value:
        if abs(dot(after.nodes[id].position, along) - value[id]) > SAME_POINT:
            raise GeometryError(
                f"A tube that {called(layout, layout.nodes[id])} sits on moves as well; "
                "arrange that one first.",
                (id,),
            )
    return after


def _place_level_with(layout: Layout, node: Node, along: Vec3, value: float) -> Vec3:
    off = value - dot(node.position, along)
    if node.landing is None:
        x, y, z = (p + off * a for p, a in zip(node.position, along, strict=True))
        return (x, y, z)
    if abs(off) <= LENGTH_NOISE:
        return node.position
    host = layout.tubes[node.landing.tube]
    line = centreline.of(layout, host)
    stations = np.linspace(0.0, line.length, max(2, int(line.length / STEP) + 1))
    heights = centreline.point_at(line, stations) @ np.array(along) - value
    crossings = np.flatnonzero(np.signbit(heights[:-1]) != np.signbit(heights[1:]))
    if not len(crossings):
        raise GeometryError(
            f"Tube {host.name} does not pass where {called(layout, node)} would have to sit on it; "
            "free it first.",
            (node.id, host.id),
        )
    nearest = min(crossings, key=lambda i: abs(stations[i] - node.landing.station))  # type: ignore[union-attr]
    low, high = float(stations[nearest]), float(stations[nearest + 1])
    is_low_below = bool(np.signbit(heights[nearest]))
    for _ in range(HALVINGS):
        middle = (low + high) / 2.0
        is_below = dot(centreline.place_at(line, middle), along) < value
        low, high = (middle, high) if is_below == is_low_below else (low, middle)
    return centreline.place_at(line, (low + high) / 2.0)


def with_nodes(layout: Layout, nodes: Mapping[int, Node]) -> Layout:
    return replace(layout, nodes={**layout.nodes, **nodes})
