"""From a mesh as it was read to the car's axes."""

from weakref import WeakKeyDictionary

import numpy as np

from geometry.layout import Layout, Mesh, Panel, Placement
from geometry.vectors import Floats

# Each mesh with the last placement it was asked for: a body that turns is placed anew once, not sixty times.
_placed: "WeakKeyDictionary[Mesh, tuple[Placement, Floats]]" = WeakKeyDictionary()


def world_points(placement: Placement, vertices: Floats) -> Floats:
    """Return vertices (n, 3) scaled, turned and shifted into the car's axes: (n, 3)."""
    scaled_turn = placement.scale * np.array(placement.turn)
    placed: Floats = vertices @ scaled_turn.T
    placed += np.array(placement.shift)
    return placed


def mesh_points(placement: Placement, points: Floats) -> Floats:
    """Return points (n, 3) of the car's axes as the mesh would hold them: the way back of world_points."""
    back: Floats = (points - np.array(placement.shift)) @ np.array(placement.turn) / placement.scale
    return back


def placed_vertices(placement: Placement, mesh: Mesh) -> Floats:
    """Return the mesh's vertices in the car's axes (n, 3), read-only; kept while the mesh lives."""
    known = _placed.get(mesh)
    if known is not None and known[0] == placement:
        return known[1]
    placed = world_points(placement, mesh.vertices)
    placed.setflags(write=False)
    _placed[mesh] = (placement, placed)
    return placed


def panel_vertices(layout: Layout, panel: Panel) -> Floats:
    """Return the panel's vertices in the car's axes (n, 3), read-only."""
    return placed_vertices(layout.bodies[panel.body].placement, panel.mesh)
