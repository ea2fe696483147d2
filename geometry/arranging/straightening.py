"""Taking bends out of tubes, and bringing their corners into one plane."""

import itertools
from collections.abc import Iterable, Sequence
from typing import Literal

import numpy as np
from msgspec.structs import replace

from geometry import edits, naming
from geometry.arranging import places
from geometry.errors import GeometryError
from geometry.layout import Layout, Tube
from geometry.tolerances import SAME_POINT
from geometry.vectors import Floats, Vec3, any_perpendicular, between, direction, distance, dot, unit, vec

Plane = Literal["best", "upright", "level", "lengthwise", "across"]
AXES: dict[Plane, int] = {"level": 2, "lengthwise": 1, "across": 0}
UP = np.array((0.0, 0.0, 1.0))


def straighten(layout: Layout, tubes: Iterable[int]) -> Layout:
    """Let tubes run straight between their ends; joints that other tubes have on them come along."""
    for id in dict.fromkeys(tubes):
        layout = _straightened(layout, places.tube_of(layout, id))
    return layout


def straighten_corners(layout: Layout, nodes: Iterable[int]) -> Layout:
    """Put corners on the straight line between the nodes beside them that are not chosen."""
    chosen = {node.id for node in places.nodes_of(layout, nodes)}
    wanted: dict[int, Vec3] = {}
    for tube in layout.tubes.values():
        for run in _runs(tube, chosen):
            if twice := wanted.keys() & set(run[1:-1]):
                users = naming.listed(places.users_of(layout, min(twice)))
                raise GeometryError(f"{users} share this corner; straighten one of them.", twice)
            wanted |= _on_the_line(layout, run)
    if not wanted:
        raise GeometryError("Only corners between the ends of a tube can be straightened.", chosen)
    return places.put(layout, wanted)


def flatten(layout: Layout, tube: int, plane: Plane) -> Layout:
    """Bring a tube into one plane, which makes it easier to bend.

    "best" and "upright" planes pass through both ends, so only corners move; in the others every
    coordinate of one axis becomes equal, that of ends that sit on tubes, else the mean.
    """
    flat = places.tube_of(layout, tube)
    if plane in AXES:
        return _flattened_square(layout, flat, AXES[plane])
    points = np.array([layout.nodes[id].position for id in flat.nodes])
    normal = _normal(points, UP if plane == "upright" else None)
    off = (points - points[0]) @ normal
    moved = points - off[:, None] * normal
    return places.put(layout, {id: vec(at) for id, at in zip(flat.nodes[1:-1], moved[1:-1], strict=True)})


def _straightened(layout: Layout, tube: Tube) -> Layout:
    """Drop the corners that are this tube's alone, and put the rest on the line."""
    shared = [id for id in tube.nodes[1:-1] if len(places.users_of(layout, id)) > 1]
    run = (tube.nodes[0], *shared, tube.nodes[-1])
    wanted = {
        id: at
        for id, at in _on_the_line(layout, run).items()
        if distance(at, layout.nodes[id].position) > SAME_POINT
    }
    if stuck := [id for id in wanted if layout.nodes[id].landing is not None]:
        named = places.called(layout, layout.nodes[stuck[0]])
        raise GeometryError(f"{named[0].upper()}{named[1:]} sits on another tube; free it first.", stuck)
    if run == tube.nodes and not wanted:
        return layout
    nodes = {id: replace(layout.nodes[id], position=at) for id, at in wanted.items()}
    after = edits.with_tubes(places.with_nodes(layout, nodes), {tube.id: replace(tube, nodes=run)})
    return edits.settled(layout, after)


def _runs(tube: Tube, chosen: set[int]) -> Iterable[tuple[int, ...]]:
    """Return the runs of chosen corners of a tube, each with the nodes beside it."""
    run = [tube.nodes[0]]
    for id in tube.nodes[1:]:
        run.append(id)
        if id not in chosen or id == tube.nodes[-1]:
            if len(run) > 2:
                yield tuple(run)
            run = [id]


def _on_the_line(layout: Layout, run: Sequence[int]) -> dict[int, Vec3]:
    """Return the nearest places on the line for the nodes in a run; in even parts if those double back."""
    points = [layout.nodes[id].position for id in run]
    length = distance(points[0], points[-1])
    if length < SAME_POINT:
        raise GeometryError("The two ends meet, so there is no straight line between them.", run)
    along = direction(points[0], points[-1])
    start = dot(points[0], along)
    parts = [(dot(point, along) - start) / length for point in points]
    room = SAME_POINT / length
    if any(b - a <= room for a, b in itertools.pairwise(parts)):
        parts = [i / (len(run) - 1) for i in range(len(run))]
    return {id: between(points[0], points[-1], part) for id, part in zip(run[1:-1], parts[1:-1], strict=True)}


def _normal(points: Floats, within: Floats | None) -> Floats:
    """Return the normal of the best plane through the first and last point, which holds a direction."""
    chord = points[-1] - points[0]
    chord = chord if float(np.linalg.norm(chord)) > SAME_POINT else np.zeros(3)
    held = [unit(chord)] if chord.any() else []
    if within is not None and (not held or float(np.linalg.norm(np.cross(held[0], within))) > 1e-9):
        held.append(within)
    if len(held) == 2:
        return unit(np.cross(held[0], held[1]))
    off = points - points[0]
    for axis in held:
        off = off - np.outer(off @ axis, axis)
    if within is not None and not held:
        off = off - np.outer(off @ within, within)
    _, sizes, axes = np.linalg.svd(off)
    if not held:
        return np.asarray(axes[2])
    if float(sizes[0]) < SAME_POINT:
        return any_perpendicular(held[0])
    return unit(np.cross(held[0], axes[0]))


def _flattened_square(layout: Layout, tube: Tube, axis: int) -> Layout:
    """Give all nodes of a tube the same coordinate on one axis."""
    nodes = [layout.nodes[id] for id in tube.nodes]
    seated = [node.position[axis] for node in nodes if node.landing is not None]
    if seated and max(seated) - min(seated) > SAME_POINT:
        raise GeometryError(
            f"The ends of {tube.name} sit on other tubes at different places; align them first.",
            (tube.id, *tube.nodes),
        )
    values = seated or [node.position[axis] for node in nodes]
    along = vec([float(i == axis) for i in range(3)])
    wanted = dict.fromkeys(tube.nodes, sum(values) / len(values))
    return places.put_level_with(layout, tube.nodes, along, wanted)
