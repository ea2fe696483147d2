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
from geometry.tolerances import SAME_POINT
from geometry.tube import centreline
from geometry.vectors import distance, vec


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
    if isinstance(spot, TubeSpot):
        return _on_tube(before, after, spot)
    if isinstance(spot, BodySpot):
        return _on_body(before, after, spot)
    return spot


def _on_tube(before: Layout, after: Layout, spot: TubeSpot) -> TubeSpot:
    """Return where a place on a tube is now; of a tube cut in two it may be on the new part."""
    if spot.tube not in before.tubes or spot.tube not in after.tubes:
        return spot
    old_tube, tube = before.tubes[spot.tube], after.tubes[spot.tube]
    old, line = centreline.of(before, old_tube), centreline.of(after, tube)
    if old is line:
        return spot
    if old_tube.nodes == tube.nodes:
        return TubeSpot(tube.id, landings.carried(old, line, spot.station))
    place = centreline.place_at(old, spot.station)
    station, nearest = centreline.nearest(line, place)
    best = (distance(nearest, place), tube.id, station)
    for id in after.tubes.keys() - before.tubes.keys():
        station, there = centreline.nearest(centreline.of(after, after.tubes[id]), place)
        best = min(best, (distance(there, place) + SAME_POINT, id, station))
    return TubeSpot(best[1], best[2])


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
