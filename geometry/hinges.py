"""How panels open: hinges and slides, and what moves with what. Edits: layout in, layout out."""

import math
from collections.abc import Sequence
from typing import Literal

import numpy as np
from msgspec.structs import replace
from numpy.typing import NDArray

from geometry.body import placement
from geometry.checks import moving
from geometry.errors import GeometryError
from geometry.layout import Hinge, Layout, Motion, Panel, Slide
from geometry.tolerances import ANGLE_NOISE, FARTHEST_POINT
from geometry.vectors import Floats, Ints, Vec3, is_finite, unit, vec

PanelEdge = Literal["front", "rear", "top", "bottom"]
USUAL_ANGLE = math.radians(70.0)  # that a door opens; a start, to be changed
LARGEST_ANGLE = math.radians(180.0)
SHORTEST_HINGE = 20.0  # mm between the points of a hinge: nearer, a click's error turns its line
SHORTEST_SLIDE = 1.0  # mm
EDGE_DEPTH = 40.0  # mm in from the foremost point that still count as the edge of a panel
JAGGED_RUN = 100.0  # mm; a rim that runs straight for less may be one that a scan made jagged
JAGGED = 12.0  # mm that such a rim may lie beside the line that it keeps to
STRAIGHT_FOR = 8.0  # times as long as it is jagged: less says nothing of a direction
FIRST_REACH, LONGEST_RUN = 60.0, 3000.0  # mm along the rim, either way
STRAIGHT_ON = math.radians(15.0)  # a boundary that turns by less is the same edge
# The way to each edge, and the line that a hinge there usually has.
EDGES: dict[PanelEdge, Vec3] = {
    "front": (1.0, 0.0, 0.0),
    "rear": (-1.0, 0.0, 0.0),
    "top": (0.0, 0.0, 1.0),
    "bottom": (0.0, 0.0, -1.0),
}


def set_motion(layout: Layout, panel: int, motion: Motion | None) -> Layout:
    """Say how a panel opens, or that it is fixed."""
    old = _panel(layout, panel)
    if motion is not None:
        _check(old.name, motion)
        if old.moves_with is not None:
            carrier = layout.panels[old.moves_with].name
            raise GeometryError(
                f"{old.name} moves with {carrier}. Part them first, then say how it opens by itself.",
                (panel,),
            )
    return replace(layout, panels={**layout.panels, panel: replace(old, motion=motion)})


def set_carrier(layout: Layout, panel: int, carrier: int | None) -> Layout:
    """Let a panel move with another, as glass and handle do with their door; None parts them."""
    old = _panel(layout, panel)
    if carrier is not None:
        other = _panel(layout, carrier)
        if carrier == panel or moving.carrier_of(layout, carrier).id == panel:
            raise GeometryError(
                f"{old.name} cannot move with {other.name}, which moves with it. "
                "Choose the panel that has the hinge.",
                (panel, carrier),
            )
    changed = replace(old, moves_with=carrier, motion=None if carrier is not None else old.motion)
    return replace(layout, panels={**layout.panels, panel: changed})


def turned_other_way(motion: Motion) -> Motion:
    """Return the motion that opens to the other side."""
    if isinstance(motion, Hinge):
        return replace(motion, angle=-motion.angle)
    x, y, z = motion.shift
    return Slide((-x, -y, -z))


def opened_to(motion: Motion, full: float) -> Motion:
    """Return the motion that opens so far: radians, or mm of a slide."""
    if isinstance(motion, Hinge):
        return replace(motion, angle=math.copysign(full, motion.angle))
    length = moving.full_opening(motion)
    if length <= 0.0:
        raise GeometryError("A slide needs a way to go before it can be made longer.")
    return Slide(vec(np.array(motion.shift) * (full / length)))


def hinge_through(layout: Layout, panel: int, start: Vec3, end: Vec3, angle: float = USUAL_ANGLE) -> Hinge:
    """Return the hinge along two points that turns the panel away from the middle of its body."""
    one = Hinge(start, end, abs(angle))
    _check(_panel(layout, panel).name, one)
    other = replace(one, angle=-one.angle)
    points = _points(layout, panel)
    middle = _middle_of_body(layout, layout.panels[panel].body)
    out = [
        float(np.linalg.norm(moving.moved(hinge, points, 0.5).mean(axis=0) - middle))
        for hinge in (one, other)
    ]
    return one if out[0] >= out[1] else other


def hinge_at(layout: Layout, panel: int, edge: PanelEdge) -> Hinge:
    """Return a hinge along the front, rear, top or bottom edge of a panel as it lies in the car."""
    points = _points(layout, panel)
    heights = points @ np.array(EDGES[edge])
    near = points[heights >= heights.max() - EDGE_DEPTH]
    middle = near.mean(axis=0)
    # The edge runs where its points spread most, square to the way that leads to it.
    spread = near - middle
    spread -= np.outer(spread @ np.array(EDGES[edge]), EDGES[edge])
    _, sizes, rows = np.linalg.svd(spread, full_matrices=False)
    if sizes[0] <= ANGLE_NOISE:
        raise GeometryError(
            f"{layout.panels[panel].name} ends in a point there. Choose another edge, or pick two points.",
            (panel,),
        )
    axis = rows[0] if rows[0][np.argmax(np.abs(rows[0]))] > 0.0 else -rows[0]
    along = (near - middle) @ axis
    start, end = (vec(middle + reach * axis) for reach in (along.min(), along.max()))
    return hinge_through(layout, panel, start, end)


def usual_hinge(layout: Layout, panel: int) -> Hinge:
    """Return the hinge that a panel most likely has: upright panels at their front edge, others at the rear.

    A panel that stands across the car at its back end hangs from its top edge.
    """
    points = _points(layout, panel)
    long, wide, high = np.ptp(points, axis=0)
    if high < min(long, wide):
        return hinge_at(layout, panel, "rear")
    stands_across = long < wide
    is_behind = points[:, 0].mean() < _middle_of_body(layout, layout.panels[panel].body)[0]
    return hinge_at(layout, panel, "top" if stands_across and is_behind else "front")


def hinge_near(layout: Layout, panel: int, place: Vec3) -> Hinge:
    """Return a hinge along the straight run of the panel's rim nearest to a place on it.

    A jagged rim, as scans have, gives the line that it keeps to.
    """
    one = _panel(layout, panel)
    if not len(one.mesh.triangles):
        raise GeometryError(f"{one.name} has no triangles to hang on a hinge.", (panel,))
    points = placement.panel_vertices(layout, one)
    start, end = straight_rim(points, one.mesh.triangles, np.array(place), one.name)
    if math.dist(start, end) < JAGGED_RUN:
        start, end = max(((start, end), jagged_rim(points, one.mesh.triangles, place)), key=_apart)
    if math.dist(start, end) < SHORTEST_HINGE:
        raise GeometryError(
            f"The rim of {one.name} runs straight for {math.dist(start, end):.3g} mm only, "
            "as the rims of scans do. Pick two points of the hinge instead.",
            (panel,),
        )
    return hinge_through(layout, panel, start, end)


def _apart(ends: tuple[Vec3, Vec3]) -> float:
    return math.dist(*ends)


def straight_rim(
    points: Floats, triangles: NDArray[np.integer], place: Floats, name: str
) -> tuple[Vec3, Vec3]:
    """Return the ends of the straight run of a mesh's rim (edges of one triangle) nearest to a place."""
    edges = _rim(triangles)
    if not len(edges):
        raise GeometryError(
            f"{name} is closed all round and has no rim. Pick two points of the hinge instead."
        )
    first = _nearest_edge(points, edges, place)
    beside = _beside(edges)
    axis = unit(points[edges[first][1]] - points[edges[first][0]])
    return _walked(points, edges, beside, first, 0, axis), _walked(points, edges, beside, first, 1, axis)


def jagged_rim(points: Floats, triangles: NDArray[np.integer], place: Vec3) -> tuple[Vec3, Vec3]:
    """Return the ends of the line that a mesh's rim keeps to, either way of the place nearest to it."""
    edges = _rim(triangles)
    first = _nearest_edge(points, edges, np.array(place))
    beside = _beside(edges)
    a, b = (int(corner) for corner in edges[first])
    behind, ahead = (_run(points, edges, beside, first, corner) for corner in (a, b))
    run = points[[*behind[::-1], *ahead]]
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(run, axis=0), axis=1))])
    along -= along[len(behind) - 1]
    axis, middle, reach = unit(points[b] - points[a]), points[a], FIRST_REACH
    while True:
        part = run[np.abs(along) <= reach]
        centre = part.mean(axis=0)
        way = np.linalg.svd(part - centre, full_matrices=False)[2][0]
        off = _beside_line(part, centre, way).max()
        if off > JAGGED or off * STRAIGHT_FOR > np.ptp(part @ way):
            break
        axis, middle = way, centre
        if len(part) == len(run):
            break
        reach *= 1.25
    # The place need not be in the middle: on to either side as far as the rim keeps to the line.
    beyond = np.flatnonzero(_beside_line(run, middle, axis) > JAGGED)
    here = len(behind) - 1
    low = int(beyond[beyond < here].max(initial=-1)) + 1
    high = int(beyond[beyond > here].min(initial=len(run)))
    places = (run[low:high] - middle) @ axis
    return vec(middle + places.min() * axis), vec(middle + places.max() * axis)


def _beside_line(points: Floats, middle: Floats, axis: Floats) -> Floats:
    """Return how far points (n, 3) lie beside a line: (n,)."""
    away = points - middle
    off: Floats = np.linalg.norm(away - np.outer(away @ axis, axis), axis=1)
    return off


def _nearest_edge(points: Floats, edges: Ints, place: Floats) -> int:
    ends = points[edges]
    way = ends[:, 1] - ends[:, 0]
    length = np.maximum(np.einsum("ij,ij->i", way, way), 1e-12)
    part = np.clip(np.einsum("ij,ij->i", place - ends[:, 0], way) / length, 0.0, 1.0)
    return int(np.linalg.norm(ends[:, 0] + part[:, None] * way - place, axis=1).argmin())


def _beside(edges: Ints) -> dict[int, list[int]]:
    """Return the edges at each corner."""
    beside: dict[int, list[int]] = {}
    for number, pair in enumerate(edges.tolist()):
        for corner in pair:
            beside.setdefault(corner, []).append(number)
    return beside


def _run(points: Floats, edges: Ints, beside: dict[int, list[int]], first: int, corner: int) -> list[int]:
    """Return the corners of the rim from one end of an edge on, to where it forks or comes back."""
    run, seen, length = [corner], {first}, 0.0
    while length < LONGEST_RUN:
        onward = [other for other in beside[corner] if other not in seen]
        if len(onward) != 1:
            break
        seen.add(onward[0])
        a, b = (int(end) for end in edges[onward[0]])
        length += float(np.linalg.norm(points[b] - points[a]))
        corner = b if a == corner else a
        run.append(corner)
    return run


def _rim(triangles: NDArray[np.integer]) -> Ints:
    edges = np.sort(np.asarray(triangles)[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    flat, uses = np.unique(edges[:, 0].astype(np.int64) * (edges.max() + 1) + edges[:, 1], return_counts=True)
    single = flat[uses == 1]
    return np.stack(np.divmod(single, edges.max() + 1), axis=1)


def _walked(
    points: Floats, edges: Ints, beside: dict[int, list[int]], first: int, side: int, axis: Floats
) -> Vec3:
    """Return how far the rim runs straight on from one end of an edge."""
    edge, corner, seen = first, int(edges[first][side]), {first}
    while True:
        onward = [other for other in beside[corner] if other not in seen]
        if len(onward) != 1:
            return vec(points[corner])
        edge = onward[0]
        seen.add(edge)
        a, b = (int(end) for end in edges[edge])
        far = b if a == corner else a
        step = points[far] - points[corner]
        size = float(np.linalg.norm(step))
        if size > 0.0 and abs(float(step @ axis)) < math.cos(STRAIGHT_ON) * size:
            return vec(points[corner])
        corner = far


def _check(name: str, motion: Motion) -> None:
    """Say the first thing about a motion that cannot be."""
    if isinstance(motion, Slide):
        if not is_finite(motion.shift) or moving.full_opening(motion) >= FARTHEST_POINT:
            raise GeometryError(f"The slide of {name} has a number that cannot be. Type it again.")
        if moving.full_opening(motion) < SHORTEST_SLIDE:
            raise GeometryError(f"{name} slides nowhere: its way is 0 mm long. Give how far it slides.")
        return
    ends: Sequence[Vec3] = (motion.start, motion.end)
    if not all(is_finite(end) and max(map(abs, end)) < FARTHEST_POINT for end in ends):
        raise GeometryError(f"The hinge of {name} has a number that cannot be. Type it again.")
    if math.dist(*ends) < SHORTEST_HINGE:
        raise GeometryError(
            f"The two points of the hinge of {name} lie {math.dist(*ends):.3g} mm apart, too near to say "
            "which way its line runs. Pick them farther apart, best at the two hinges."
        )
    if not ANGLE_NOISE < abs(motion.angle) <= LARGEST_ANGLE:
        raise GeometryError(
            f"{name} opens by {math.degrees(abs(motion.angle)):.4g}°. Give an angle above 0° and up to 180°."
        )


def _panel(layout: Layout, id: int) -> Panel:
    if id not in layout.panels:
        raise GeometryError("This panel is no longer in the job.", (id,))
    return layout.panels[id]


def _points(layout: Layout, panel: int) -> Floats:
    """Return the points (n, 3) of a panel that its triangles use, in the car's axes."""
    one = _panel(layout, panel)
    if not len(one.mesh.triangles):
        raise GeometryError(f"{one.name} has no triangles to hang on a hinge.", (panel,))
    return placement.panel_vertices(layout, one)[np.unique(one.mesh.triangles)]


def _middle_of_body(layout: Layout, body: int) -> Floats:
    """Return the middle of the box round a body's kept panels."""
    parts = [
        placement.panel_vertices(layout, panel)[np.unique(panel.mesh.triangles)]
        for panel in layout.panels.values()
        if panel.body == body and len(panel.mesh.triangles)
    ]
    low = np.min([part.min(axis=0) for part in parts], axis=0)
    high = np.max([part.max(axis=0) for part in parts], axis=0)
    middle: Floats = (low + high) / 2.0
    return middle
