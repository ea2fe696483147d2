"""A place on the body under the pointer, with the way that the metal faces there. Imports no Qt."""

import numpy as np
from msgspec import Struct

from app.viewport import placing
from app.viewport.placing import Outlook
from geometry.vectors import Vec3, vec


class BodyClick(Struct, frozen=True):
    """A place, the way out of the metal there, and what it is on."""

    at: Vec3
    normal: Vec3
    word: str = ""
    panel: int | None = None


def under(outlook: Outlook, x: float, y: float) -> BodyClick | None:
    """Return the place on the body under a screen point, or the node that is seen there."""
    node = placing.node_at(outlook, x, y)
    if node is not None:
        at = outlook.layout.nodes[node].position
        metal = outlook.solid.nearest(at)
        out = np.zeros(3) if metal is None else np.subtract(at, metal.point)
        size = float(np.linalg.norm(out))
        return BodyClick(at, vec(out / size) if size > 1e-6 else (0.0, 0.0, 0.0), "node")
    ray = outlook.ray(x, y)
    place = outlook.body_at(ray)
    if place is None:
        return None
    normal = outlook.shown.normal(place)
    facing = normal if float(np.dot(normal, ray.direction)) <= 0.0 else -normal
    panel = outlook.layout.panels.get(place.panel)
    return BodyClick(place.point, vec(facing), panel.name if panel else "body", place.panel)
