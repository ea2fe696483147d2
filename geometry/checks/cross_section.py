"""A cut square to a tube at a station: the tube, its neighbours and the panels in one plane, and the gaps."""

import math

import numpy as np
from msgspec import Struct

from geometry.body import outline, placement
from geometry.body.distance import PanelIndex
from geometry.checks import standoff
from geometry.checks.report import Report
from geometry.checks.standoff import Standing
from geometry.layout import Layout
from geometry.tube import centreline
from geometry.vectors import Floats, Vec3, any_perpendicular, unit, vec

HALF = 150.0  # mm from the tube's axis that is shown
SAGITTA = 0.2  # mm; of neighbours as they are cut
SIDES = 48  # of neighbours
UPRIGHT = 0.98  # of a direction that is nearly straight up


class Plane(Struct, frozen=True):
    """Where a tube is cut; x to the right and y up on paper."""

    origin: Vec3
    right: Vec3
    up: Vec3
    is_up: bool  # y is the car's up; else, where the tube stands upright, its forward

    def flat(self, points: Floats) -> Floats:
        """Return points (..., 3) in the plane: (..., 2)."""
        placed: Floats = (points - np.array(self.origin)) @ np.array([self.right, self.up]).T
        return placed

    def ring(self, radius: float, count: int = 48) -> Floats:
        """Return points (n, 3) on a circle about the origin, closed."""
        turn = np.linspace(0.0, math.tau, count + 1)[:, None]
        circle: Floats = np.array(self.origin) + radius * (
            np.cos(turn) * np.array(self.right) + np.sin(turn) * np.array(self.up)
        )
        return circle


class Gap(Struct, frozen=True):
    """From the tube's surface to the nearest metal, and between which points of the plane."""

    panel: int
    standing: Standing
    start: tuple[float, float]  # on the tube
    end: tuple[float, float]  # on the metal


class CrossSection(Struct, frozen=True, eq=False):
    """What a cut shows, in mm about the tube's axis."""

    tube: int
    station: float
    length: float  # of the tube
    plane: Plane
    radius: float
    inner_radius: float
    half: float
    panels: dict[int, Floats]  # segments (n, 2, 2)
    tubes: dict[int, Floats]  # segments (n, 2, 2) of others
    gap: Gap | None  # least in the plane
    true_gap: Gap | None  # least in space, as the checks measure it; its end is where it falls in the plane


def plane_at(layout: Layout, tube: int, station: float) -> Plane:
    """Return the plane square to a tube; what lies ahead along the tube is beyond the paper."""
    line = centreline.of(layout, layout.tubes[tube])
    ahead = centreline.direction_at(line, [station])[0]
    is_up = abs(ahead[2]) < UPRIGHT
    wanted = np.array((0.0, 0.0, 1.0) if is_up else (1.0, 0.0, 0.0))
    across = wanted - np.dot(wanted, ahead) * ahead
    up = unit(across) if np.linalg.norm(across) > 1e-9 else any_perpendicular(ahead)
    right = np.cross(ahead, up)
    return Plane(centreline.place_at(line, station), vec(right), vec(up), is_up)


def of(
    layout: Layout, tube: int, station: float, report: Report | None = None, half: float = HALF
) -> CrossSection:
    """Cut a tube, the panels that are kept and the other tubes; the report knows how the body moves."""
    run = layout.tubes[tube]
    line, stock = centreline.of(layout, run), layout.stocks[run.stock]
    station = min(max(station, 0.0), line.length)
    plane = plane_at(layout, tube, station)
    normal = vec(np.cross(plane.right, plane.up))
    radius = stock.od / 2.0
    reach = half + radius
    panels: dict[int, Floats] = {}
    planar: tuple[float, int, Floats] | None = None
    space: tuple[float, int, Floats] | None = None
    for id, panel in layout.panels.items():
        if not panel.kept:
            continue
        points = placement.panel_vertices(layout, panel)
        triangles = outline.near(points, panel.mesh.triangles, plane.origin, math.sqrt(2.0) * reach)
        if not len(triangles):
            continue
        segments = outline.cut(points, triangles, plane.origin, normal, math.sqrt(2.0) * reach)
        if len(segments):
            panels[id] = plane.flat(segments)
            planar = _nearer(planar, id, outline.nearest_points(segments, plane.origin), plane.origin)
        bound = reach if space is None else space[0]
        if planar is not None:
            bound = min(bound, planar[0] + 1e-6)
        close = outline.near(points, triangles, plane.origin, bound)
        if len(close):
            space = _nearer(
                space, id, PanelIndex(points, close).closest(np.array([plane.origin]))[2], plane.origin
            )
    gaps = [
        None if found is None or found[0] > reach else _gap(layout, tube, radius, plane, found, report)
        for found in (planar, space)
    ]
    others = _others(layout, tube, plane, normal, math.sqrt(2.0) * reach)
    inner = max(radius - stock.wall, 0.0)
    return CrossSection(tube, station, line.length, plane, radius, inner, half, panels, others, *gaps)


def _nearer(
    best: tuple[float, int, Floats] | None, panel: int, points: Floats, origin: Vec3
) -> tuple[float, int, Floats] | None:
    far = np.linalg.norm(points - np.array(origin), axis=1)
    least = int(far.argmin())
    if best is not None and best[0] <= far[least]:
        return best
    return float(far[least]), panel, points[least]


def _gap(
    layout: Layout, tube: int, radius: float, plane: Plane, found: tuple[float, int, Floats],
    report: Report | None,
) -> Gap:  # fmt: skip
    distance, panel, at = found
    end = plane.flat(at)
    way = end / max(float(np.linalg.norm(end)), 1e-12)
    start = way * radius
    standing = standoff.judged(layout, tube, panel, distance - radius, _movement(report, tube, panel))
    return Gap(panel, standing, (float(start[0]), float(start[1])), (float(end[0]), float(end[1])))


def _movement(report: Report | None, tube: int, panel: int) -> float:
    """Return what the body's movement takes of a tube's gap to a panel, as far as it was measured."""
    if report is None:
        return 0.0
    rows = [row.movement for row in report.clearances if row.tube == tube and row.panel == panel]
    nearest = report.nearest.get(tube)
    return max(rows, default=nearest.movement if nearest is not None else 0.0)


def _others(layout: Layout, tube: int, plane: Plane, normal: Vec3, reach: float) -> dict[int, Floats]:
    found = {}
    for id, other in layout.tubes.items():
        if id == tube:
            continue
        radius = layout.stocks[other.stock].od / 2.0
        line = centreline.of(layout, other)
        points, ways, _ = centreline.sample(line, sagitta=SAGITTA)
        heights = (points - np.array(plane.origin)) @ np.array(normal)
        low, high = points.min(axis=0) - radius, points.max(axis=0) + radius
        away = np.maximum(np.maximum(low - plane.origin, plane.origin - high), 0.0)
        if np.linalg.norm(away) > reach or heights.min() > radius or heights.max() < -radius:
            continue
        skin, triangles = _skin(points, ways, radius)
        segments = outline.cut(skin, triangles, plane.origin, normal, reach)
        if len(segments):
            found[id] = plane.flat(segments)
    return found


def _skin(points: Floats, ways: Floats, radius: float) -> tuple[Floats, np.ndarray]:
    """Return the surface of a tube along points: vertices (n, 3) and triangles (m, 3), its ends closed."""
    side = any_perpendicular(ways[0])
    rings = []
    turn = np.linspace(0.0, math.tau, SIDES, endpoint=False)[:, None]
    for point, way in zip(points, ways, strict=True):
        side = unit(side - np.dot(side, way) * way)
        rings.append(point + radius * (np.cos(turn) * side + np.sin(turn) * np.cross(way, side)))
    here = np.arange(SIDES)
    after = (here + 1) % SIDES
    base = (np.arange(len(points) - 1) * SIDES)[:, None]
    a, b, c, d = ((base + corner).reshape(-1) for corner in (here, after, after + SIDES, here + SIDES))
    last = len(points) * SIDES
    first_cap = np.column_stack([np.full(SIDES, last), after, here])
    end = (len(points) - 1) * SIDES
    end_cap = np.column_stack([np.full(SIDES, last + 1), end + here, end + after])
    triangles = np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d]), first_cap, end_cap])
    return np.concatenate([*rings, points[:1], points[-1:]]), triangles
