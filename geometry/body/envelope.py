"""The space that a tyre sweeps through travel, roll and steering, as one closed mesh.

The gap of a point to the swept space is the least gap to the tyre over all poses, searched pose by
pose. The mesh is where that gap is nought: vertices from the planes that touch it (dual contouring),
so that the valleys between steered poses stay as deep as they are.
"""

import itertools
import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from geometry.body.distance import PanelIndex
from geometry.body.tyres import Wheel, usual_shoulder
from geometry.layout import Mesh, Tyre
from geometry.tolerances import ANGLE_NOISE, SAME_POINT
from geometry.vectors import Floats, Ints

# mm; how far the mesh may lie from the true swept space, either way, for shoulders of the usual part of the
# width. About a sharp one it lies out by up to SHARP_TOLERANCE.
TOLERANCE, SHARP_TOLERANCE = 3.0, 8.0
CELL, FINEST = 20.0, 16.0  # mm; of the finest grid, for wide shoulders and for sharp ones
WIDE_SHOULDER = 38.0  # mm; cells of sharper ones shrink, as the sag of a chord goes with its square
LEVELS = 2  # times that a cell is halved, from the coarse grid down to the finest
STEER_STEP = math.radians(4.0)  # poses tried first; the search between them finds the rest
ROLL_STEP = math.radians(4.0)
FEWEST_STEPS = 4  # however small the range: the best poses may lie at either end and between
ROUNDS = 4  # of the search; each narrows the steps
NARROWER = 0.4
SMALL_STEPS = np.array([10.0, *np.radians([0.5, 1.0, 0.5])])  # heave, roll, steer, tilt; from a good pose
SWAPS = 2  # times that corners of the grid learn from their neighbours
SEARCH_SLACK = 10.0  # mm; by which a gap on the coarse grids may be too large
RIM_PART = 0.2  # of the shoulder: how far out on it a slanting sidewall comes nearest
WORTH_IT = 0.05  # mm; below, a neighbour's pose is not better but as good
TOO_FAR_OFF = 1.5  # mm; vertices further off are moved onto the surface
MOVES = 2  # at most, for each of them
PULL = 0.005  # of the vertices to the middle of what they were made from; steadies flat places

Bools = NDArray[np.bool_]
Pose = tuple[Floats | float, Floats | float, Floats | float]  # heave, roll, steer
HEAVE, ROLL, STEER = range(3)  # columns of poses
# Rolling with the tyre's centre kept at its height. Roll and heave both lift a tyre: searched each by
# itself they would creep along a narrow valley.
TILT = 3
_CORNERS = np.array(list(itertools.product((0, 1), repeat=3)))


LookUp = Callable[[], None]


def _work_on() -> None:
    """See nothing that should end the work."""


def tolerance(tyre: Tyre) -> float:
    """Return how far the mesh may lie from the true swept space."""
    is_sharp = tyre.shoulder < usual_shoulder(tyre.width) - SAME_POINT
    return SHARP_TOLERANCE if is_sharp else TOLERANCE


def swept(wheel: Wheel, look_up: LookUp = _work_on) -> Mesh:
    """Return the swept space as a closed mesh whose triangles face outwards, within TOLERANCE.

    look_up is called every some ten milliseconds; what it raises ends the work.
    """
    cell = float(np.clip(CELL * math.sqrt(wheel.tyre.shoulder / WIDE_SHOULDER), FINEST, CELL))
    origin, cells = _cells_near_the_surface(wheel, cell, look_up)
    grid = _Grid(wheel, origin, cell, cells, look_up)
    vertices, quads = grid.contoured(grid.crossed_edges())
    vertices = _put_on_surface(wheel, vertices, look_up)
    triangles = _halved(vertices, quads)
    vertices.setflags(write=False)
    triangles.setflags(write=False)
    return Mesh(vertices, triangles)


def gaps(wheel: Wheel, points: Floats) -> Floats:
    """Return the gap of points (n, 3) to the swept space: (n,), negative inside.

    Within TOLERANCE near the surface. Hundreds of mm away the search may miss the best pose, and the gap
    comes out some per cent too large. Inside it is how deep the point lies in the tyre that holds it best.
    """
    return searched(wheel, points)[0]


def mesh_gaps(index: PanelIndex, points: Floats) -> Floats:
    """Return the gap of points (n, 3) to a swept mesh that was indexed: (n,), negative inside."""
    distance, _, _ = index.closest(points)
    signed: Floats = np.where(index.winding(points) > 0.5, -distance, distance)
    return signed


def ranges(wheel: Wheel) -> tuple[Floats, Floats]:
    """Return the least and the largest heave, roll and steer."""
    low = np.array([-wheel.droop, -wheel.roll, -wheel.steer_right])
    return low, np.array([wheel.bump, wheel.roll, wheel.steer_left])


def gaps_at(wheel: Wheel, points: Floats, poses: Floats) -> Floats:
    """Return the gap of points (n, 3) to the tyre at poses (3,) or (n, 3): heave, roll, steer."""
    heave, roll, steer = np.asarray(poses, dtype=np.float64).T
    return _gap(wheel, points, (heave, roll, steer))


def placed(wheel: Wheel, points: Floats, poses: Floats) -> Floats:
    """Return where points (n, 3) of the wheel at ride height come to lie at poses (3,) or (n, 3)."""
    heave, roll, steer = np.asarray(poses, dtype=np.float64).T
    x, y, z = points.T
    middle, kingpin = wheel.centre, wheel.kingpin_y
    x, y = _rotated(x - middle[0], y - kingpin, steer)
    y, z = _rotated(y + kingpin, z - wheel.roll_centre, roll)
    return np.column_stack([x + middle[0], y, z + wheel.roll_centre + heave])


def _rotated(a: Floats, b: Floats, angle: Floats | float) -> tuple[Floats, Floats]:
    cos, sin = np.cos(angle), np.sin(angle)
    return cos * a - sin * b, sin * a + cos * b


def _in_tyre(wheel: Wheel, points: Floats, pose: Pose) -> tuple[Floats, Floats, Floats]:
    """Return points as the tyre sees them: y along its axis."""
    heave, roll, steer = pose
    x, y, z = points.T
    y, z = _rotated(y, z - heave - wheel.roll_centre, -roll)
    x, y = _rotated(x - wheel.centre[0], y - wheel.kingpin_y, -steer)
    y, z = y + (wheel.kingpin_y - wheel.centre[1]), z + (wheel.roll_centre - wheel.centre[2])
    if wheel.lean:
        y, z = _rotated(y, z, -wheel.lean)
    return x, y, z


def _gap(wheel: Wheel, points: Floats, pose: Pose) -> Floats:
    x, y, z = _in_tyre(wheel, points, pose)
    tyre = wheel.tyre
    out = np.sqrt(x * x + z * z) - (tyre.od / 2.0 - tyre.shoulder)
    aside = np.abs(y) - (tyre.width / 2.0 - tyre.shoulder)
    beyond = np.sqrt(np.maximum(out, 0.0) ** 2 + np.maximum(aside, 0.0) ** 2)
    gap: Floats = beyond + np.minimum(np.maximum(out, aside), 0.0) - tyre.shoulder
    return gap


def _normals(wheel: Wheel, points: Floats, poses: Floats) -> Floats:
    """Return the directions (n, 3) in which the gaps at these poses grow."""
    heave, roll, steer = poses.T
    x, y, z = _in_tyre(wheel, points, (heave, roll, steer))
    around = np.maximum(np.sqrt(x * x + z * z), 1e-9)  # on the axis itself any direction will do
    out = around - (wheel.tyre.od / 2.0 - wheel.tyre.shoulder)
    aside = np.abs(y) - (wheel.tyre.width / 2.0 - wheel.tyre.shoulder)
    is_corner = (out > 0.0) & (aside > 0.0)
    size = np.where(is_corner, np.hypot(out, aside), 1.0)
    along = np.where(is_corner, out / size, (out >= aside).astype(float))
    across = np.where(is_corner, aside / size, (out < aside).astype(float)) * np.sign(y)
    x, y, z = along * x / around, across, along * z / around
    y, z = _rotated(y, z, wheel.lean)
    x, y = _rotated(x, y, steer)
    y, z = _rotated(y, z, roll)
    return np.column_stack([x, y, z])


def searched(wheel: Wheel, points: Floats, look_up: LookUp = _work_on) -> tuple[Floats, Floats]:
    """Return the least gaps (n,) of points (n, 3) and the poses (n, 3) that give them."""
    low, high = ranges(wheel)
    best = np.full(len(points), np.inf)
    poses = np.zeros((len(points), 3))
    rolls, steers = _spread(low[1], high[1], ROLL_STEP), _spread(low[2], high[2], STEER_STEP)
    for roll, steer in itertools.product(rolls, steers):
        look_up()
        for heave in _likely_heaves(wheel, points, roll, steer):
            gap = _gap(wheel, points, (heave, roll, steer))
            better = gap < best
            best = np.where(better, gap, best)
            poses[better] = np.column_stack([heave[better], np.full((better.sum(), 2), (roll, steer))])
    steps = np.array([(high[0] - low[0]) / 4.0, _step(rolls), _step(steers), _step(rolls)])
    return _narrowed(wheel, points, best, poses, steps, look_up=look_up)


def _likely_heaves(wheel: Wheel, points: Floats, roll: float, steer: float) -> list[Floats]:
    """Return heaves (n,) of which one is near the best: level with the point, or its rim there.

    A tilted tyre rises along a slant, so its sidewall comes nearest where the rim is about to pass.
    """
    x, _, z = _in_tyre(wheel, points, (0.0, roll, steer))
    (dx,), (dy,), (dz,) = _turned_into_tyre(wheel, np.array([[0.0, 0.0, 1.0]]), roll, steer)
    level = (x * dx + z * dz) / (dx * dx + dz * dz)
    if abs(dy) < ANGLE_NOISE:
        return [np.clip(level, -wheel.droop, wheel.bump)]
    slant = math.hypot(dx, dz)
    aside = np.abs(x * dz - z * dx) / slant
    flat, tread = wheel.tyre.od / 2.0 - wheel.tyre.shoulder, wheel.tyre.od / 2.0
    rim = np.where(aside < flat, flat + RIM_PART * wheel.tyre.shoulder, (aside + tread) / 2.0)
    chord = np.sqrt(np.maximum(rim**2 - aside**2, 0.0)) / slant
    return [np.clip(heave, -wheel.droop, wheel.bump) for heave in (level, level - chord, level + chord)]


def _turned_into_tyre(
    wheel: Wheel, directions: Floats, roll: float, steer: float
) -> tuple[Floats, Floats, Floats]:
    x, y, z = directions.T
    y, z = _rotated(y, z, -roll)
    x, y = _rotated(x, y, -steer)
    y, z = _rotated(y, z, -wheel.lean)
    return x, y, z


def _rise(wheel: Wheel, roll: Floats) -> Floats:
    """Return how high above the roll centre roll alone puts the tyre's centre."""
    rise: Floats = np.sin(roll) * wheel.centre[1] + np.cos(roll) * (wheel.centre[2] - wheel.roll_centre)
    return rise


def _spread(low: float, high: float, step: float) -> Floats:
    steps = max(math.ceil((high - low) / step), FEWEST_STEPS) if high > low else 0
    return np.linspace(low, high, steps + 1)


def _step(samples: Floats) -> float:
    return float(samples[1] - samples[0]) if len(samples) > 1 else 0.0


def _narrowed(
    wheel: Wheel,
    points: Floats,
    best: Floats,
    poses: Floats,
    steps: Floats,
    rounds: int = ROUNDS,
    look_up: LookUp = _work_on,
) -> tuple[Floats, Floats]:
    """Return gaps and poses after walking down along one way after the other."""
    for turn in range(rounds):
        for axis in _ways(wheel):
            look_up()
            step = steps[axis] * NARROWER**turn
            below, above = _moved(wheel, poses, axis, -step), _moved(wheel, poses, axis, step)
            under, over = gaps_at(wheel, points, below), gaps_at(wheel, points, above)
            curve = under - 2.0 * best + over
            dip = np.where(curve > 0.0, 0.5 * (under - over) / np.where(curve > 0.0, curve, 1.0), 0.0)
            between = _moved(wheel, poses, axis, step * np.clip(dip, -1.0, 1.0))
            for moved, gap in ((below, under), (above, over), (between, gaps_at(wheel, points, between))):
                better = gap < best
                best = np.where(better, gap, best)
                poses = np.where(better[:, None], moved, poses)
    return best, poses


def _ways(wheel: Wheel) -> list[int]:
    """Return the ways in which the wheel moves at all."""
    low, high = ranges(wheel)
    moves = [axis for axis in (STEER, ROLL, HEAVE) if high[axis] > low[axis]]
    return [TILT, *moves] if ROLL in moves and HEAVE in moves else moves


def _moved(wheel: Wheel, poses: Floats, way: int, step: Floats | float) -> Floats:
    """Return poses a step further along one way."""
    low, high = ranges(wheel)
    axis = ROLL if way == TILT else way
    moved = poses.copy()
    moved[:, axis] = np.clip(poses[:, axis] + step, low[axis], high[axis])
    if way == TILT:
        lift = _rise(wheel, moved[:, ROLL]) - _rise(wheel, poses[:, ROLL])
        moved[:, HEAVE] = np.clip(poses[:, HEAVE] - lift, low[HEAVE], high[HEAVE])
    return moved


def _box(wheel: Wheel) -> tuple[Floats, Floats]:
    """Return the corners of a box that holds the swept space, with room to spare."""
    centre = np.array(wheel.centre)
    reach = math.hypot(wheel.tyre.od / 2.0, wheel.tyre.width / 2.0)
    arm = math.hypot(wheel.centre[1], wheel.centre[2] - wheel.roll_centre)
    steer = max(wheel.steer_left, wheel.steer_right)
    swing = 2.0 * abs(wheel.centre[1] - wheel.kingpin_y) * math.sin(steer / 2.0)
    room = reach + swing + 2.0 * (arm + reach) * math.sin(wheel.roll / 2.0)
    return centre - room - (0, 0, wheel.droop), centre + room + (0, 0, wheel.bump)


def _cells_near_the_surface(wheel: Wheel, cell: float, look_up: LookUp) -> tuple[Floats, Ints]:
    """Return the grid's origin and the cells (n, 3) that the surface may pass: the gap is 1-Lipschitz."""
    low, high = _box(wheel)
    size = cell * 2**LEVELS
    counts = np.ceil((high - low) / size).astype(np.int64) + 2
    cells = np.argwhere(np.ones(counts, dtype=bool))
    origin = low - size
    for _ in range(LEVELS):
        middles = origin + (cells + 0.5) * size
        near = np.abs(searched(wheel, middles, look_up)[0]) <= math.sqrt(0.75) * size + SEARCH_SLACK
        cells = (2 * cells[near][:, None, :] + _CORNERS).reshape(-1, 3)
        size /= 2.0
    return origin, cells


class _Grid:
    """Gaps at the corners of the finest cells, and the surface between them."""

    def __init__(self, wheel: Wheel, origin: Floats, cell: float, cells: Ints, look_up: LookUp) -> None:
        self.look_up = look_up
        self.wheel, self.origin, self.cell = wheel, origin, cell
        self.shape = tuple(cells.max(axis=0) + 2)
        is_corner = np.zeros(self.shape, dtype=bool)
        for shift in _CORNERS:
            is_corner[tuple((cells + shift).T)] = True
        self.corners = np.argwhere(is_corner)
        self.row = np.full(self.shape, -1)
        self.row[is_corner] = np.arange(len(self.corners))
        self.points = origin + self.corners * cell
        self.gaps, self.poses = searched(wheel, self.points, look_up)
        for _ in range(SWAPS):
            self._ask_neighbours()

    def _ask_neighbours(self) -> None:
        """Try at each corner the poses that are best next to it: what one search missed, another found."""
        gaps, poses = self.gaps, self.poses
        for axis, step in itertools.product(range(3), (-1, 1)):
            mine, next = self._next_to(axis, step)
            asked = gaps_at(self.wheel, self.points[mine], self.poses[next])
            better = asked < gaps[mine] - WORTH_IT
            gaps, poses = gaps.copy(), poses.copy()
            gaps[mine[better]], poses[mine[better]] = asked[better], self.poses[next[better]]
        changed = np.flatnonzero(gaps < self.gaps)
        gaps[changed], poses[changed] = _narrowed(
            self.wheel, self.points[changed], gaps[changed], poses[changed], SMALL_STEPS, 2, self.look_up
        )
        self.gaps, self.poses = gaps, poses

    def _next_to(self, axis: int, step: int) -> tuple[Ints, Ints]:
        """Return the rows of corners that have a neighbour there, and of those neighbours."""
        place = self.corners.copy()
        place[:, axis] += step
        mine = np.flatnonzero((place[:, axis] >= 0) & (place[:, axis] < self.shape[axis]))
        neighbours = self.row[tuple(place[mine].T)]
        return mine[neighbours >= 0], neighbours[neighbours >= 0]

    def crossed_edges(self) -> tuple[Ints, Ints, Ints]:
        """Return the rows of the inner and the outer corner of each crossed edge, and its axis."""
        inner, outer, axes = [], [], []
        for axis in range(3):
            first, second = self._next_to(axis, 1)
            crossed = (self.gaps[first] < 0.0) != (self.gaps[second] < 0.0)
            first, second = first[crossed], second[crossed]
            is_in = self.gaps[first] < 0.0
            inner.append(np.where(is_in, first, second))
            outer.append(np.where(is_in, second, first))
            axes.append(np.full(len(first), axis))
        return np.concatenate(inner), np.concatenate(outer), np.concatenate(axes)

    def crossings(self, inner: Ints, outer: Ints) -> tuple[Floats, Floats]:
        """Return where edges leave the swept space (n, 3), and the normals there."""
        start, end = self.points[inner], self.points[outer]
        depth, height = -self.gaps[inner], self.gaps[outer]
        part = np.zeros(len(inner))
        low, high = np.zeros(len(inner)), np.ones(len(inner))
        for _ in range(3):
            part = low + (high - low) * depth / np.maximum(depth + height, 1e-12)
            at = start + part[:, None] * (end - start)
            gap, poses = self._settled(at, inner, outer)
            is_in = gap < 0.0
            low, depth = np.where(is_in, part, low), np.where(is_in, -gap, depth)
            high, height = np.where(is_in, high, part), np.where(is_in, height, gap)
        return at, _normals(self.wheel, at, poses)

    def _settled(self, at: Floats, inner: Ints, outer: Ints) -> tuple[Floats, Floats]:
        """Return gaps and poses at points between corners, from the better of the corners' poses."""
        first = gaps_at(self.wheel, at, self.poses[inner])
        second = gaps_at(self.wheel, at, self.poses[outer])
        poses = np.where((first < second)[:, None], self.poses[inner], self.poses[outer])
        return _narrowed(self.wheel, at, np.minimum(first, second), poses, SMALL_STEPS, 1, self.look_up)

    def contoured(self, edges: tuple[Ints, Ints, Ints]) -> tuple[Floats, Ints]:
        """Return one vertex for each crossed cell and a quad (m, 4) round each crossed edge."""
        inner, outer, axes = edges
        at, normals = self.crossings(inner, outer)
        cells = self._cells_round(np.minimum(self.corners[inner], self.corners[outer]), axes)
        numbers = np.ravel_multi_index(tuple(cells.reshape(-1, 3).T), self.shape)
        used, users = np.unique(numbers, return_inverse=True)
        corners = np.column_stack(np.unravel_index(used, self.shape)) * self.cell + self.origin
        quads = users.reshape(-1, 4)
        vertices = _fitted(quads, at, normals, corners, self.cell)
        runs_back = np.any(self.corners[inner] > self.corners[outer], axis=1)
        quads[runs_back] = quads[runs_back, ::-1]
        return vertices, quads

    def _cells_round(self, lower: Ints, axes: Ints) -> Ints:
        """Return the four cells (n, 4, 3) round edges, right-handed about their axis."""
        turns = np.zeros((3, 4, 3), dtype=np.int64)
        for axis in range(3):
            second, third = (axis + 1) % 3, (axis + 2) % 3
            turns[axis, [0, 3], second] = -1
            turns[axis, [0, 1], third] = -1
        return lower[:, None, :] + turns[axes]


def _fitted(quads: Ints, at: Floats, normals: Floats, corners: Floats, cell: float) -> Floats:
    """Return for each cell the point that fits the planes through its crossings best (n, 3)."""
    count = len(corners)
    users, rows = quads.ravel(), np.repeat(np.arange(len(quads)), 4)

    def summed(values: Floats) -> Floats:
        return np.bincount(users, weights=values[rows], minlength=count).astype(np.float64)

    shares = np.bincount(users, minlength=count).astype(float)
    middle = np.column_stack([summed(at[:, axis]) for axis in range(3)]) / shares[:, None]
    matrix = np.empty((count, 3, 3))
    for i, j in itertools.combinations_with_replacement(range(3), 2):
        matrix[:, i, j] = matrix[:, j, i] = summed(normals[:, i] * normals[:, j])
    level = np.einsum("ij,ij->i", normals, at)
    wanted = np.column_stack([summed(normals[:, axis] * level) for axis in range(3)])
    wanted -= np.einsum("nij,nj->ni", matrix, middle)
    matrix += (PULL * shares)[:, None, None] * np.eye(3)
    shift = np.linalg.solve(matrix, wanted[:, :, None])[:, :, 0]
    fitted: Floats = np.clip(middle + shift, corners, corners + cell)
    return fitted


def _put_on_surface(wheel: Wheel, vertices: Floats, look_up: LookUp) -> Floats:
    """Return the vertices, those too far off it moved onto the surface.

    The planes of a valley may miss it, and now and then a crossing was found on a tyre that others hide.
    """
    moved = vertices.copy()
    asked = np.arange(len(moved))
    for _ in range(MOVES):
        gap, poses = searched(wheel, moved[asked], look_up)
        off = np.abs(gap) > TOO_FAR_OFF
        asked, gap, poses = asked[off], gap[off], poses[off]
        moved[asked] -= gap[:, None] * _normals(wheel, moved[asked], poses)
    return moved


def _halved(vertices: Floats, quads: Ints) -> NDArray[np.int32]:
    """Return two triangles for each quad, cut along its shorter diagonal."""
    a, b, c, d = quads.T
    first = np.linalg.norm(vertices[a] - vertices[c], axis=1)
    second = np.linalg.norm(vertices[b] - vertices[d], axis=1)
    is_first = first <= second
    one = np.where(is_first[:, None], np.column_stack([a, b, c]), np.column_stack([a, b, d]))
    two = np.where(is_first[:, None], np.column_stack([a, c, d]), np.column_stack([b, c, d]))
    triangles: NDArray[np.int32] = np.concatenate([one, two]).astype(np.int32)
    return triangles
