"""Where the spots of a measure are now: points, lines and planes in the car's axes."""

from collections.abc import Iterable

from msgspec import Struct

from geometry import axles, references
from geometry.aids import (
    BodySpot,
    FreeSpot,
    NodeSpot,
    PlaneShape,
    PointShape,
    ReferenceSpot,
    Spot,
    TubeSpot,
)
from geometry.errors import GeometryError
from geometry.layout import Layout, Tube
from geometry.references import Shape
from geometry.tube import centreline
from geometry.tube.centreline import Centreline
from geometry.vectors import Vec3, dot, times, vec


class OnTube(Struct, frozen=True, eq=False):
    """A place on the centreline of a tube."""

    tube: Tube
    line: Centreline
    station: float
    radius: float

    @property
    def at(self) -> Vec3:
        return centreline.place_at(self.line, self.station)

    @property
    def along(self) -> Vec3:
        """The direction of travel there."""
        return vec(centreline.direction_at(self.line, [self.station])[0])


def shape_of(layout: Layout, spot: Spot) -> Shape:
    """Return what a spot is now; refuse one that is no longer there."""
    match spot:
        case NodeSpot(node):
            if node not in layout.nodes:
                raise GeometryError("A node it was taken from is no longer there.", (node,))
            return PointShape(layout.nodes[node].position)
        case TubeSpot(tube, station):
            return PointShape(on_tube(layout, tube, station).at)
        case BodySpot(panel, at):
            if panel not in layout.panels:
                raise GeometryError("A panel it was taken from is no longer there.", (panel,))
            return PointShape(at)
        case ReferenceSpot(reference):
            if reference not in layout.references:
                raise GeometryError("A reference it was taken from is no longer there.", (reference,))
            return layout.references[reference].shape
        case FreeSpot(at):
            return PointShape(at)


def on_tube(layout: Layout, tube: int, station: float) -> OnTube:
    """Return a place on a tube, held within it; refuse a tube that is no longer there."""
    if tube not in layout.tubes:
        raise GeometryError("A tube it was taken from is no longer there.", (tube,))
    found = layout.tubes[tube]
    line = centreline.of(layout, found)
    return OnTube(found, line, min(max(station, 0.0), line.length), layout.stocks[found.stock].od / 2.0)


def tubes_under(layout: Layout, spot: Spot) -> list[OnTube]:
    """Return the places on tubes that a spot stands for: a node has one on each tube through it."""
    if isinstance(spot, TubeSpot):
        return [on_tube(layout, spot.tube, spot.station)]
    if not isinstance(spot, NodeSpot):
        return []
    at = references.place_of(shape_of(layout, spot))
    found = [
        on_tube(layout, tube.id, centreline.nearest(centreline.of(layout, tube), at)[0])
        for tube in layout.tubes.values()
        if spot.node in tube.nodes
    ]
    landing = layout.nodes[spot.node].landing
    return found if landing is None else [*found, on_tube(layout, landing.tube, landing.station)]


def ground(layout: Layout) -> PlaneShape:
    """Return the plane that the tyres stand on; z = 0 without tyres. Its normal points up."""
    height, rise = axles.ground(layout)
    up = (-rise, 0.0, 1.0)
    return PlaneShape((0.0, 0.0, height), times(up, 1.0 / dot(up, up) ** 0.5))


def names(layout: Layout, tubes: Iterable[int]) -> str:
    """Return the names of tubes as they stand in a sentence."""
    return " and ".join(layout.tubes[id].name for id in tubes)
