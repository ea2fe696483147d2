"""How nodes that sit on another tube follow it when it changes."""

import math
from collections.abc import Iterable, Iterator, Mapping
from graphlib import CycleError, TopologicalSorter

from msgspec.structs import replace

from geometry.errors import GeometryError
from geometry.layout import Landing, Layout, Node
from geometry.tolerances import LENGTH_NOISE
from geometry.tube import centreline
from geometry.tube.centreline import Centreline
from geometry.vectors import Vec3, direction, distance, plus, times

NOTHING_WANTED: Mapping[int, Vec3] = {}


def followed(before: Layout, after: Layout, wanted: Mapping[int, Vec3] = NOTHING_WANTED) -> Layout:
    """Return after with every landing node back on its tube, hosts first.

    A node keeps its distance to the end of the leg that stayed; a wanted place slides it along.
    """
    resting = _resting(after)
    if not resting:
        return after
    nodes = dict(after.nodes)
    work = replace(after, nodes=nodes)
    for host in _hosts_first(after, resting):
        if host not in resting:
            continue
        line = centreline.of(work, after.tubes[host])
        for node in resting[host]:
            nodes[node.id] = _put(node, line, _station(before, after, line, node, wanted))
    is_same = all(node is after.nodes[id] for id, node in nodes.items())
    return after if is_same else work


def released(layout: Layout) -> Layout:
    """Return the layout with nodes free where the tube they sat on is gone."""
    freed = {
        node.id: replace(node, landing=None)
        for node in layout.nodes.values()
        if node.landing is not None and node.landing.tube not in layout.tubes
    }
    return replace(layout, nodes={**layout.nodes, **freed}) if freed else layout


def carried(old: Centreline, new: Centreline, station: float) -> float:
    """Return where a station goes when the points of its line move (as many before as after)."""
    bend = centreline.bend_at(old, station)
    if bend is None:
        return centreline.nearest(new, _carried_on_leg(old, new, station))[0]
    part = (station - bend.start) / (bend.end - bend.start)
    for now in new.bends:
        if now.index == bend.index:
            return now.start + part * (now.end - now.start)
    return centreline.nearest(new, new.points[bend.index])[0]


def _carried_on_leg(old: Centreline, new: Centreline, station: float) -> Vec3:
    """Return the place on the new leg: the less an end moved, the more its distance counts."""
    leg = centreline.leg_at(old, station)
    place = centreline.place_at(old, station)
    old_ends, new_ends = old.points[leg : leg + 2], new.points[leg : leg + 2]
    moved = [distance(*ends) for ends in zip(old_ends, new_ends, strict=True)]
    if sum(moved) == 0.0:
        return place
    from_start, from_end = distance(old_ends[0], place), distance(place, old_ends[1])
    length = distance(*new_ends)
    trust_end = moved[0] / sum(moved)
    along = trust_end * (length - from_end) + (1.0 - trust_end) * from_start
    return plus(new_ends[0], times(direction(*new_ends), min(max(along, 0.0), length)))


def _station(
    before: Layout, after: Layout, line: Centreline, node: Node, wanted: Mapping[int, Vec3]
) -> float:
    """Return the station of a landing node on its host's new line."""
    assert node.landing is not None
    host, station = node.landing.tube, node.landing.station
    if node.id in wanted:
        return centreline.nearest(line, wanted[node.id])[0]
    old_node = before.nodes.get(node.id)
    was_there = old_node is not None and old_node.landing == node.landing and host in before.tubes
    if not was_there:
        return min(max(station, 0.0), line.length)
    old_host = before.tubes[host]
    old_line = centreline.of(before, old_host)
    if old_line is line:
        return station
    if old_host.nodes == after.tubes[host].nodes:
        return carried(old_line, line, station)
    return centreline.nearest(line, node.position)[0]


def _put(node: Node, line: Centreline, station: float) -> Node:
    """Return the node at a station of its host; the same object where nothing changed."""
    assert node.landing is not None
    place = centreline.place_at(line, station)
    stays = distance(place, node.position) <= LENGTH_NOISE
    if stays and math.isclose(station, node.landing.station, rel_tol=0.0, abs_tol=LENGTH_NOISE):
        return node
    return replace(node, position=place, landing=Landing(node.landing.tube, float(station)))


def _resting(layout: Layout) -> dict[int, list[Node]]:
    """Return the landing nodes of each tube that has some."""
    resting: dict[int, list[Node]] = {}
    for node in layout.nodes.values():
        if node.landing is not None:
            resting.setdefault(node.landing.tube, []).append(node)
    return resting


def _hosts_first(layout: Layout, resting: Iterable[int]) -> Iterator[int]:
    """Return the tubes that sit on others and those others, each after the ones it sits on."""
    nodes = layout.nodes
    sits_on: dict[int, set[int]] = {host: set() for host in resting}
    for tube in layout.tubes.values():
        for id in tube.nodes:
            landing = nodes[id].landing
            if landing is not None:
                sits_on.setdefault(tube.id, set()).add(landing.tube)
    try:
        return iter(tuple(TopologicalSorter(sits_on).static_order()))
    except CycleError as error:
        raise GeometryError(_cycle_message(layout, error.args[1]), error.args[1]) from None


def _cycle_message(layout: Layout, cycle: list[int]) -> str:
    names = [layout.tubes[id].name for id in dict.fromkeys(cycle)]
    if len(names) == 1:
        return f"Tube {names[0]} cannot sit on itself; choose another tube for it to sit on."
    ring = " on ".join([*names, names[0]])
    return f"Tubes cannot sit on one another in a ring ({ring}); free one of their ends first."
