"""Bringing nodes into line, and nodes and tubes to equal gaps."""

import itertools
import math
from collections.abc import Iterable, Sequence
from typing import Literal

import numpy as np

from geometry.arranging import places
from geometry.errors import GeometryError
from geometry.layout import Layout, Node
from geometry.tolerances import LENGTH_NOISE, SAME_POINT
from geometry.tube import centreline
from geometry.vectors import Vec3, angle_between, direction, distance, dot, minus, plus, times

Way = Literal["height", "station", "side", "line"]
To = Literal["first", "mean"]
AXES: dict[Way, Vec3] = {"height": (0.0, 0.0, 1.0), "station": (1.0, 0.0, 0.0), "side": (0.0, 1.0, 0.0)}
PARALLEL = math.radians(5.0)  # tubes that the eye calls parallel
NEEDS_TWO = "Select two nodes or more to bring them into line."
NEEDS_THREE = "Select three nodes or more: the two outermost stay, the others go between them."
NEEDS_THREE_TUBES = "Select three parallel tubes or more: the two outermost stay, the others go between them."


def align(layout: Layout, nodes: Iterable[int], way: Way, to: To = "mean") -> Layout:
    """Bring nodes to one height, one station x, one distance from the centre plane, or onto one line.

    "to" says whether the first node's value counts or the mean; the line is that through the two
    nodes that are farthest apart. Nodes that sit on tubes slide along them.
    """
    chosen = places.nodes_of(layout, nodes)
    if way == "line":
        return _onto_line(layout, chosen)
    if len(chosen) < 2:
        raise GeometryError(NEEDS_TWO, [node.id for node in chosen])
    along = AXES[way]
    found = {node.id: dot(node.position, along) for node in chosen}
    if way == "side":
        value = _value([abs(off) for off in found.values()], to)
        wanted = {id: math.copysign(value, off) for id, off in found.items()}
    else:
        wanted = dict.fromkeys(found, _value(list(found.values()), to))
    return places.put_level_with(layout, found, along, wanted)


def space_nodes(layout: Layout, nodes: Iterable[int]) -> Layout:
    """Leave equal gaps between nodes: along the tube that all of them sit on, else along their line."""
    chosen = places.nodes_of(layout, nodes)
    if len(chosen) < 3:
        raise GeometryError(NEEDS_THREE, [node.id for node in chosen])
    hosts = {node.landing.tube if node.landing else None for node in chosen}
    if len(hosts) == 1 and None not in hosts:
        return _spaced_on_tube(layout, chosen)
    first, last = _outer(chosen)
    along = direction(first.position, last.position)
    wanted = _even({node.id: dot(node.position, along) for node in chosen})
    return places.put_level_with(layout, wanted, along, wanted)


def space_tubes(layout: Layout, tubes: Iterable[int]) -> Layout:
    """Leave equal gaps between the middles of parallel tubes; the two outermost stay."""
    chosen = [places.tube_of(layout, id) for id in dict.fromkeys(tubes)]
    if len(chosen) < 3:
        raise GeometryError(NEEDS_THREE_TUBES, [tube.id for tube in chosen])
    chords = {
        tube.id: (layout.nodes[tube.nodes[0]].position, layout.nodes[tube.nodes[-1]].position)
        for tube in chosen
    }
    run = direction(*chords[chosen[0].id])
    for tube in chosen:
        turn = angle_between(np.array(run), np.array(direction(*chords[tube.id])))
        if min(turn, math.pi - turn) > PARALLEL:
            raise GeometryError(
                f"Tube {tube.name} is not parallel to {chosen[0].name}; only parallel tubes are spaced.",
                (tube.id, chosen[0].id),
            )
    middles = {id: times(plus(a, b), 0.5) for id, (a, b) in chords.items()}
    first, last = _farthest({id: minus(at, times(run, dot(at, run))) for id, at in middles.items()})
    across = minus(middles[last], middles[first])
    across = minus(across, times(run, dot(across, run)))
    if math.hypot(*across) < SAME_POINT:
        raise GeometryError("These tubes lie on one line; move one of them aside first.", list(chords))
    across = direction((0.0, 0.0, 0.0), across)
    found = {id: dot(at, across) for id, at in middles.items()}
    wanted = _even(found)
    shifts = {id: wanted[id] - found[id] for id in found if abs(wanted[id] - found[id]) > LENGTH_NOISE}
    stays = {node for tube in chosen if tube.id not in shifts for node in tube.nodes}
    levels: dict[int, float] = {}
    for tube in chosen:
        for node in tube.nodes if tube.id in shifts else ():
            if node in stays or node in levels:
                raise GeometryError(
                    f"Tube {tube.name} shares a node with another one here, so it cannot move by itself.",
                    (tube.id, node),
                )
            levels[node] = dot(layout.nodes[node].position, across) + shifts[tube.id]
    return places.put_level_with(layout, levels, across, levels)


def _value(values: Sequence[float], to: To) -> float:
    return values[0] if to == "first" else sum(values) / len(values)


def _onto_line(layout: Layout, chosen: Sequence[Node]) -> Layout:
    if len(chosen) < 3:
        raise GeometryError(NEEDS_THREE, [node.id for node in chosen])
    first, last = _outer(chosen)
    along = direction(first.position, last.position)
    wanted = {
        node.id: plus(first.position, times(along, dot(minus(node.position, first.position), along)))
        for node in chosen
        if node not in (first, last)
    }
    return places.put(layout, wanted)


def _spaced_on_tube(layout: Layout, chosen: Sequence[Node]) -> Layout:
    landings = {node.id: node.landing for node in chosen if node.landing is not None}
    wanted = _even({id: landing.station for id, landing in landings.items()})
    line = centreline.of(layout, layout.tubes[next(iter(landings.values())).tube])
    return places.put(layout, {id: centreline.place_at(line, station) for id, station in wanted.items()})


def _even(found: dict[int, float]) -> dict[int, float]:
    """Return values at equal gaps in the order they have now; the least and the greatest stay."""
    order = sorted(found, key=lambda id: found[id])
    low, high = found[order[0]], found[order[-1]]
    gaps = len(order) - 1
    if high - low < gaps * SAME_POINT:
        raise GeometryError("These lie on one place; there is no room between the outermost.", order)
    return {id: high if i == gaps else low + (high - low) * i / gaps for i, id in enumerate(order)}


def _outer(chosen: Sequence[Node]) -> tuple[Node, Node]:
    """Return the two nodes that are farthest apart, in the order asked."""
    by_id = {node.id: node for node in chosen}
    first, last = _farthest({id: node.position for id, node in by_id.items()})
    if distance(by_id[first].position, by_id[last].position) < SAME_POINT:
        raise GeometryError("These nodes lie on one place; there is no line through them.", list(by_id))
    return by_id[first], by_id[last]


def _farthest(points: dict[int, Vec3]) -> tuple[int, int]:
    return max(itertools.combinations(points, 2), key=lambda pair: distance(points[pair[0]], points[pair[1]]))
