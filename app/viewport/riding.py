"""Nodes that keep a gap to the body: they slide along it when they are moved. Imports no Qt."""

from collections.abc import Iterable

from app.viewport import guides, placing
from app.viewport.placing import Outlook
from geometry import edits
from geometry.layout import Layout
from geometry.vectors import Vec3, distance

MOST_MOVED = 400.0  # mm; a node that would have to go farther to reach the body is left alone


def offset_of(layout: Layout, node: int) -> float | None:
    """Return how far from the metal the middle of a node's tube is kept; None where it goes freely."""
    known = layout.nodes[node]
    if known.standoff is None or known.landing is not None:
        return None
    return known.standoff + placing.half_od(layout, node)


def kept_off(outlook: Outlook, layout: Layout, nodes: Iterable[int]) -> Layout:
    """Return the layout with those of some nodes that keep a gap slid to where they have it."""
    places: dict[int, Vec3] = {}
    for id in nodes:
        offset = offset_of(layout, id) if id in layout.nodes else None
        if offset is None:
            continue
        start = layout.nodes[id].position
        place = guides.settled(outlook.solid, start, offset, ())
        if place is not None and distance(place, start) < MOST_MOVED:
            places[id] = place
    return edits.place_nodes(layout, places) if places else layout
