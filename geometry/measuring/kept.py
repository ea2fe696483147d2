"""Measures that stay: taken into the layout, and following whatever is edited."""

import numpy as np
from msgspec.structs import replace

from geometry import landings
from geometry.aids import BodySpot, Measure, MeasureKind, NodeSpot, ReferenceSpot, Spot, TubeSpot
from geometry.body import placement
from geometry.errors import GeometryError
from geometry.layout import Layout
from geometry.measuring import values
from geometry.measuring.values import NoValue
from geometry.tube import centreline
from geometry.vectors import Vec3, distance, vec

SAME_PLACE = 1.0  # mm; a tube that passes nearer to where a measure was taken runs through that place


def add(layout: Layout, kind: MeasureKind, spots: tuple[Spot, ...]) -> tuple[Layout, int]:
    """Keep a measure; refuse one that has no value."""
    found = values.taken(layout, kind, spots)
    if isinstance(found, NoValue):
        raise GeometryError(found.why)
    id = layout.next_id
    measure = Measure(id, _free_name(layout, kind), kind, spots)
    return replace(layout, next_id=id + 1, measures={**layout.measures, id: measure}), id


def set_printed(layout: Layout, id: int, printed: bool) -> Layout:
    """Say whether a measure stands on the sheets."""
    if id not in layout.measures:
        raise GeometryError("This measure is no longer in the job.", (id,))
    measure = replace(layout.measures[id], printed=printed)
    return replace(layout, measures={**layout.measures, id: measure})


def followed(before: Layout, after: Layout) -> Layout:
    """Return after with the spots of measures where they were in space, without measures of what is gone.

    `before` is the layout last recorded.
    """
    if not after.measures or (
        after.measures is before.measures
        and after.nodes is before.nodes
        and after.tubes is before.tubes
        and after.panels is before.panels
        and after.bodies is before.bodies
        and after.references is before.references
    ):
        return after
    measures = {}
    for id, measure in after.measures.items():
        # Always from what was recorded: a preview may have been through here before.
        old = before.measures.get(id)
        now = measure.spots if old is None else tuple(_followed(before, after, spot) for spot in old.spots)
        if not all(_is_there(after, spot) for spot in now):
            continue
        measures[id] = measure if now == measure.spots else replace(measure, spots=now)
    is_same = len(measures) == len(after.measures) and all(
        measure is after.measures[id] for id, measure in measures.items()
    )
    return after if is_same else replace(after, measures=measures)


def _is_there(layout: Layout, spot: Spot) -> bool:
    match spot:
        case NodeSpot(node):
            return node in layout.nodes
        case TubeSpot(tube, _):
            return tube in layout.tubes
        case BodySpot(panel, _):
            return panel in layout.panels
        case ReferenceSpot(reference):
            return reference in layout.references
    return True


def _followed(before: Layout, after: Layout, spot: Spot) -> Spot:
    match spot:
        case NodeSpot():
            return _at_node(before, after, spot)
        case TubeSpot():
            return _on_tube(before, after, spot)
        case BodySpot():
            return _on_body(before, after, spot)
    return spot


def _at_node(before: Layout, after: Layout, spot: NodeSpot) -> NodeSpot:
    """Return the node that took the place of one that was joined with it."""
    if spot.node in after.nodes:
        return spot
    for old in before.tubes.values():
        tube = after.tubes.get(old.id)
        if tube is not None and spot.node in old.nodes and len(tube.nodes) == len(old.nodes):
            return NodeSpot(tube.nodes[old.nodes.index(spot.node)])
    return spot


def _on_tube(before: Layout, after: Layout, spot: TubeSpot) -> TubeSpot:
    """Return where a place on a tube is now; of a tube that was cut or joined it may be on another."""
    if spot.tube not in before.tubes:
        return spot
    old_tube, tube = before.tubes[spot.tube], after.tubes.get(spot.tube)
    old = centreline.of(before, old_tube)
    if tube is not None and tube.nodes == old_tube.nodes:
        line = centreline.of(after, tube)
        return spot if line is old else TubeSpot(tube.id, landings.carried(old, line, spot.station))
    return _nearest(before, after, spot, centreline.place_at(old, spot.station))


def _nearest(before: Layout, after: Layout, spot: TubeSpot, place: Vec3) -> TubeSpot:
    """Return the place on the tube itself, or on one made or lengthened in this edit that runs there."""
    found = []
    for tube in after.tubes.values():
        was = before.tubes.get(tube.id)
        if was is None or was.nodes != tube.nodes:
            station, there = centreline.nearest(centreline.of(after, tube), place)
            away, is_other = distance(there, place), tube.id != spot.tube
            if not is_other or away < SAME_PLACE:
                found.append((away, is_other, TubeSpot(tube.id, station)))
    return min(found, key=lambda row: (max(row[0], SAME_PLACE), row[1]))[2] if found else spot


def _on_body(before: Layout, after: Layout, spot: BodySpot) -> BodySpot:
    """Return a place on a panel where its body went."""
    if spot.panel not in before.panels or spot.panel not in after.panels:
        return spot
    old = before.bodies[before.panels[spot.panel].body].placement
    new = after.bodies[after.panels[spot.panel].body].placement
    if old == new:
        return spot
    at = placement.world_points(new, placement.mesh_points(old, np.array([spot.at])))[0]
    return BodySpot(spot.panel, vec(at))


def _free_name(layout: Layout, kind: MeasureKind) -> str:
    taken = {measure.name for measure in layout.measures.values()}
    number = 1
    while (name := f"{kind.capitalize()} {number}") in taken:
        number += 1
    return name
