"""What lies under the pointer: nodes by distance on the screen, tubes by their drawn width. Imports no Qt."""

from functools import lru_cache

import numpy as np
from msgspec import Struct

from app.viewport import camera as cameras
from app.viewport.camera import Camera, Ray, Size
from app.viewport.lines import of_all
from geometry.layout import Layout
from geometry.tube import centreline
from geometry.tube.centreline import Centreline
from geometry.vectors import Floats, Vec3, vec

NODE_REACH = 12.0  # pixels within which a node is taken
TUBE_REACH = 7.0  # the least half width of a tube for the pointer
PICK_SAGITTA = 1.0  # mm; chords this near are exact enough to point at


class Sight(Struct, frozen=True, eq=False):
    """The nodes and tubes of a layout as points on the screen, for one camera."""

    layout: Layout
    camera: Camera
    size: Size
    node_ids: np.ndarray
    node_screen: Floats  # (n, 2)
    node_depth: Floats  # (n,)
    tube_ids: np.ndarray  # of each chord
    chord_start: Floats  # (m, 2) on the screen
    chord_end: Floats
    chord_depth: Floats  # (m, 2) at start and end
    chord_points: Floats  # (m, 2, 3)
    radius: Floats  # (m,) mm


class TubePick(Struct, frozen=True):
    """A tube under the pointer, the place on its centreline, and how far in front of the eye."""

    tube: int
    station: float
    point: Vec3
    depth: float


def look(layout: Layout, camera: Camera, size: Size) -> Sight:
    """Project everything that can be pointed at."""
    hidden = hidden_nodes(layout)
    ids = np.array([id for id in layout.nodes if id not in hidden], dtype=np.int64)
    positions = np.array([layout.nodes[id].position for id in ids.tolist()]).reshape(-1, 3)
    node_screen, node_depth = cameras.project(camera, size, positions)
    tube_ids, chords, radii = _chords(layout)
    screen, depth = cameras.project(camera, size, chords.reshape(-1, 3))
    screen = screen.reshape(-1, 2, 2)
    return Sight(
        layout, camera, size, ids, node_screen, node_depth, tube_ids,
        screen[:, 0], screen[:, 1], depth.reshape(-1, 2), chords, radii,
    )  # fmt: skip


def hidden_nodes(layout: Layout) -> frozenset[int]:
    """Return the nodes that only hidden tubes use."""
    away = {node for tube in layout.tubes.values() if not tube.shown for node in tube.nodes}
    if not away:
        return frozenset()
    return frozenset(away - {node for tube in layout.tubes.values() if tube.shown for node in tube.nodes})


@lru_cache(maxsize=2000)
def _chords_of(line: Centreline) -> Floats:
    """Return the chords (n, 2, 3) that stand for a tube under the pointer."""
    points = centreline.sample(line, sagitta=PICK_SAGITTA)[0]
    return np.stack((points[:-1], points[1:]), axis=1)


def _chords(layout: Layout) -> tuple[np.ndarray, Floats, Floats]:
    """Return the tube of each chord, the chords (m, 2, 3) and half the OD at each."""
    tubes = [tube for tube in layout.tubes.values() if tube.shown]
    if not tubes:
        return np.zeros(0, dtype=np.int64), np.zeros((0, 2, 3)), np.zeros(0)
    lines = of_all(layout)
    chords = [_chords_of(lines[tube.id]) for tube in tubes]
    counts = [len(part) for part in chords]
    radii = np.array([layout.stocks[tube.stock].od / 2.0 for tube in tubes])
    return np.repeat([tube.id for tube in tubes], counts), np.concatenate(chords), np.repeat(radii, counts)


def nodes_at(sight: Sight, x: float, y: float, reach: float = NODE_REACH) -> list[int]:
    """Return the nodes within reach of a screen point, the nearest on the screen first."""
    gaps = np.hypot(sight.node_screen[:, 0] - x, sight.node_screen[:, 1] - y)
    if not sight.camera.is_parallel:
        gaps[sight.node_depth <= 0] = np.inf
    order = np.argsort(gaps, kind="stable")
    return [int(sight.node_ids[i]) for i in order if gaps[i] <= reach]


def tubes_at(sight: Sight, x: float, y: float) -> list[TubePick]:
    """Return the tubes under a screen point, the nearest to the eye first."""
    if len(sight.tube_ids) == 0:
        return []
    along, gaps = _chord_gaps(sight, x, y)
    depth = sight.chord_depth[:, 0] * (1 - along) + sight.chord_depth[:, 1] * along
    visible = (sight.chord_depth.min(axis=1) > 0) | sight.camera.is_parallel
    at = np.full(len(depth), sight.camera.distance) if sight.camera.is_parallel else np.maximum(depth, 1e-3)
    scale = cameras.pixels_per_mm(sight.camera, sight.size) * sight.camera.distance / at
    under = visible & (gaps <= np.maximum(sight.radius * scale, TUBE_REACH))
    picks: dict[int, TubePick] = {}
    for i in np.flatnonzero(under)[np.argsort(gaps[under], kind="stable")]:
        tube = int(sight.tube_ids[i])
        if tube not in picks:
            picks[tube] = _tube_pick(sight, tube, i, float(along[i]), x, y)
    return sorted(picks.values(), key=lambda pick: pick.depth)


def _chord_gaps(sight: Sight, x: float, y: float) -> tuple[Floats, Floats]:
    """Return for each chord the part along it that is nearest to a screen point, and the pixels to it."""
    chord = sight.chord_end - sight.chord_start
    away = np.array((x, y)) - sight.chord_start
    squared = np.maximum(np.einsum("ij,ij->i", chord, chord), 1e-9)
    along = np.clip(np.einsum("ij,ij->i", away, chord) / squared, 0.0, 1.0)
    return along, np.linalg.norm(away - along[:, None] * chord, axis=1)


def _tube_pick(sight: Sight, tube: int, chord: int, along: float, x: float, y: float) -> TubePick:
    """Return the exact place on the centreline that the ray passes nearest."""
    start, end = sight.chord_points[chord]
    ray = cameras.ray(sight.camera, sight.size, x, y)
    guess = nearest_on_segment_to_ray(start, end, ray)
    line = of_all(sight.layout)[tube]
    station, point = centreline.nearest(line, guess)
    forward = cameras.axes(sight.camera)[2]
    depth = float(np.dot(np.subtract(point, cameras.eye(sight.camera)), forward))
    return TubePick(tube, station, point, depth)


def nearest_on_segment_to_ray(start: Floats, end: Floats, ray: Ray) -> Vec3:
    """Return the point of a segment that a ray passes nearest."""
    leg = np.subtract(end, start)
    length = float(np.linalg.norm(leg))
    if length < 1e-9:
        return vec(np.asarray(start))
    along = along_line_nearest_ray(vec(np.asarray(start)), vec(leg / length), ray)
    return vec(np.asarray(start) + leg / length * min(max(along, 0.0), length))


def along_line_nearest_ray(point: Vec3, direction: Vec3, ray: Ray) -> float:
    """Return how far along a line (unit direction) the ray passes nearest; 0 where they are parallel."""
    d, r = np.asarray(direction), np.asarray(ray.direction)
    away = np.subtract(ray.origin, point)
    across = float(np.dot(d, r))
    spread = 1.0 - across * across
    if spread < 1e-6:
        return 0.0
    return float((np.dot(away, d) - across * np.dot(away, r)) / spread)


def things_in_box(sight: Sight, x0: float, y0: float, x1: float, y1: float) -> frozenset[int]:
    """Return the nodes inside a screen box and the tubes that lie in it whole."""
    low, high = np.array((min(x0, x1), min(y0, y1))), np.array((max(x0, x1), max(y0, y1)))
    nodes = sight.node_ids[np.all((sight.node_screen >= low) & (sight.node_screen <= high), axis=1)]
    inside = np.all((sight.chord_start >= low) & (sight.chord_start <= high), axis=1)
    inside &= np.all((sight.chord_end >= low) & (sight.chord_end <= high), axis=1)
    tubes = set(sight.tube_ids.tolist()) - set(sight.tube_ids[~inside].tolist())
    return frozenset(nodes.tolist()) | tubes
