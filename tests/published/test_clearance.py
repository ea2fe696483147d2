"""Distances and clearances against closed forms, published tables and a reference library."""

import math

import numpy as np
import pytest

from geometry.body.distance import PanelIndex
from geometry.checks import clearance
from geometry.checks.clearance import Clearance
from geometry.layout import Body, Die, Layout, Mesh, Node, Panel, Stock, Tube
from geometry.tolerances import CLEARANCE_ACCURACY
from geometry.vectors import Floats, Vec3

OD = 44.45
RADIUS = OD / 2.0
CLR = 152.4
TUBE, PANEL = 100, 200

# The seven regions round a triangle: textbook (distance methods in three dimensions, a 3D game-engine
# book of O'Reilly / Taylor & Francis, chapter 14); rows recomputed with trimesh.
TRIANGLE = np.array([[0.0, 0.0, 0.0], [4.0, 0.0, 0.0], [0.0, 3.0, 0.0]])
REGIONS = {
    "face": ((1, 1, 5), (1, 1, 0), 5.0),
    "face, from below": ((1, 0.5, -2.5), (1, 0.5, 0), 2.5),
    "vertex A": ((-1, -1, 0), (0, 0, 0), 1.414213562),
    "vertex B": ((6, -1, 2), (4, 0, 0), 3.0),
    "vertex C": ((-1, 5, 2), (0, 3, 0), 3.0),
    "edge AB": ((2, -3, 4), (2, 0, 0), 5.0),
    "edge CA": ((-2, 1, 1), (0, 1, 0), 2.236067977),
    "edge BC": ((3, 3, 0), (1.92, 1.56, 0), 1.8),
    "edge BC, above": ((2.5, 2.5, 1), (1.84, 1.62, 0), 1.486606875),
}


@pytest.mark.parametrize(("point", "nearest", "gap"), REGIONS.values(), ids=REGIONS.keys())
@pytest.mark.parametrize("turn", [(0, 1, 2), (2, 1, 0), (1, 2, 0)])
def test_nearest_points_in_the_seven_regions_of_a_triangle(
    point: Vec3, nearest: Vec3, gap: float, turn: tuple[int, int, int]
) -> None:
    distance, triangle, place = PanelIndex(TRIANGLE, np.array([turn])).closest(np.array([point], dtype=float))
    assert distance[0] == pytest.approx(gap, abs=1e-9)
    assert place[0] == pytest.approx(nearest, abs=1e-9)
    assert triangle.tolist() == [0]


# Segment to segment, closed forms. The second segment stands as a needle: a triangle with no width.
SEGMENTS = {
    "crossing inside both": ((500, -300, 120), (500, 300, 120), 120.0),
    "clamped on the first": ((1200, -300, 160), (1200, 300, 160), 256.124969),
    "parallel": ((0, 100, 0), (1000, 100, 0), 100.0),
    "both clamped": ((1300, 400, 0), (1600, 400, 0), 500.0),
}


@pytest.mark.parametrize(("start", "end", "gap"), SEGMENTS.values(), ids=SEGMENTS.keys())
def test_a_straight_tube_and_a_needle_are_two_segments(start: Vec3, end: Vec3, gap: float) -> None:
    needle = mesh([start, end, end], [[0, 1, 2]])
    row = only(job([(0, 0, 0), (1000, 0, 0)], needle))
    assert row.clearance == pytest.approx(gap - RADIUS, abs=CLEARANCE_ACCURACY)


def test_the_end_of_a_needle_can_be_nearest() -> None:
    """Closed form: (0,0,0)-(600,0,0) and (100,200,0)-(500,200,300) are 200 apart."""
    needle = mesh([(100, 200, 0), (500, 200, 300), (500, 200, 300)], [[0, 1, 2]])
    row = only(job([(0, 0, 0), (600, 0, 0)], needle))
    assert row.clearance == pytest.approx(200.0 - RADIUS, abs=CLEARANCE_ACCURACY)
    assert row.station == pytest.approx(100.0, abs=1.0)


def test_skew_lines_keep_their_distance() -> None:
    """Closed form: the x axis and the line through (0,50,100) along (1,2,2)/3 are 35.355339059 apart."""
    along = np.array([1.0, 2.0, 2.0]) / 3.0
    ends = [np.array([0.0, 50.0, 100.0]) + along * t for t in (-3000.0, 3000.0)]
    row = only(job([(-3000, 0, 0), (3000, 0, 0)], mesh([ends[0], ends[1], ends[1]], [[0, 1, 2]])))
    assert row.clearance == pytest.approx(35.355339059 - RADIUS, abs=CLEARANCE_ACCURACY)


def test_a_sloping_tube_keeps_its_lower_end_from_a_plane() -> None:
    """Closed form: an axis that ends 100 and 300 above a plane, ends as balls: 77.775."""
    row = only(job([(0, 0, 100), (1000, 0, 300)], plane((0, 0, 0), (0, 0, 1))))
    assert row.clearance == pytest.approx(77.775, abs=1e-6)
    assert row.station == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("degrees", [0, 30, 60, 90])
def test_an_end_as_a_ball_is_safe_for_a_square_cut(degrees: int) -> None:
    """Closed form: a flat end at an angle to the plane clears 100 - r cos(angle); a ball never says more."""
    angle = math.radians(degrees)
    axis = [(0, 0, 100), (800 * math.cos(angle), 0, 100 + 800 * math.sin(angle))]
    row = only(job(axis, plane((0, 0, 0), (0, 0, 1))))
    flat = 100.0 - RADIUS * math.cos(angle)
    assert row.clearance <= flat + CLEARANCE_ACCURACY
    assert row.clearance == pytest.approx(77.775, abs=1e-6)


@pytest.mark.parametrize(("centre", "expected"), [((400, 300, 0), 177.775), ((1300, 400, 0), 377.775)])
def test_a_straight_tube_clears_a_sphere(centre: Vec3, expected: float) -> None:
    """Closed form, less what the facets of the sphere lie inside it (a sagitta of 0.13 at most here)."""
    ball = sphere(centre, 100.0)
    row = only(job([(0, 0, 0), (1000, 0, 0)], ball))
    assert row.clearance == pytest.approx(expected + 0.065, abs=0.065 + CLEARANCE_ACCURACY)


# A ring of radius 152.4 in the plane z = 0, tube radius 22.225: hypot(hypot(x, y) - 152.4, z) - 22.225.
RING = {
    (300.0, 0.0, 0.0): 125.375,
    (0.0, 0.0, 0.0): 130.175,
    (152.4, 0.0, 0.0): -22.225,
    (100.0, 100.0, 50.0): 28.966118555,
    (0.0, 0.0, 80.0): 149.896352539,
    (107.763073453, 107.763073453, 60.0): 37.775,
}


@pytest.mark.parametrize(("point", "expected"), RING.items())
def test_a_bend_keeps_the_distance_of_a_ring(point: Vec3, expected: float) -> None:
    row = only(job(QUARTER, speck(point)))
    assert row.clearance == pytest.approx(expected, abs=CLEARANCE_ACCURACY)


@pytest.mark.parametrize(("degrees", "expected"), [(0, 227.775), (30, 151.575), (90, 75.375)])
def test_a_whole_ring_over_a_plane(degrees: int, expected: float) -> None:
    """Closed form: h - R sin g - r with the centre 250 above and g between plane normal and ring axis."""
    round_ = [(CLR, 0, 0), (CLR, CLR, 0), (-CLR, CLR, 0), (-CLR, -CLR, 0), (CLR, -CLR, 0), (CLR, 0, 0)]
    angle = math.radians(degrees)
    normal = (math.sin(angle), 0.0, math.cos(angle))
    floor = plane((-250.0 * normal[0], 0.0, -250.0 * normal[2]), normal)
    assert only(job(round_, floor)).clearance == pytest.approx(expected, abs=CLEARANCE_ACCURACY)


# A bend is only an arc: 0 to 90 degrees about the origin, whatever the rest of its ring would do.
QUARTER = [(CLR, 0.0, 0.0), (CLR, CLR, 0.0), (0.0, CLR, 0.0)]


def test_a_bend_against_a_plane_beside_it_is_not_the_whole_ring() -> None:
    """Closed form: 7.775 from y = -30; the whole ring would give -144.625."""
    assert only(job(QUARTER, plane((0, -30, 0), (0, 1, 0)))).clearance == pytest.approx(7.775, abs=1e-6)


def test_a_bend_against_a_plane_outside_it_touches_with_its_middle() -> None:
    """Closed form: 9.222763109 from x + y = 260."""
    row = only(job(QUARTER, plane((130, 130, 0), (1, 1, 0))))
    assert row.clearance == pytest.approx(9.222763109, abs=CLEARANCE_ACCURACY)
    assert row.station == pytest.approx(CLR * math.pi / 4.0, abs=5.0)


def test_a_point_beside_the_arc_is_measured_from_its_end() -> None:
    """Closed form: (150,-80,0) is 57.810991904 away; the whole ring would give -4.625."""
    row = only(job(QUARTER, speck((150, -80, 0))))
    assert row.clearance == pytest.approx(57.810991904, abs=CLEARANCE_ACCURACY)


# Capsule against box: the public test suites of the FCL and coal collision libraries (BSD). The capsule
# has radius 2 and 4 between the centres of its caps; the box is 1 x 2 x 4 about the origin.
CAPSULES = {
    "upright beside": ([(3, 0, -2), (3, 0, 2)], 0.5, (0.5, 0.0, None)),
    "upright above": ([(0, 0, 6), (0, 0, 10)], 2.0, (0.0, 0.0, 2.0)),
    "lying before": ([(-12, 0, 0), (-8, 0, 0)], 5.5, (-0.5, 0.0, 0.0)),
    "lying before, aside": ([(-12, 0.8, 1.5), (-8, 0.8, 1.5)], 5.5, (-0.5, 0.8, 1.5)),
}


@pytest.mark.parametrize(("axis", "expected", "nearest"), CAPSULES.values(), ids=CAPSULES.keys())
def test_a_capsule_and_a_box_agree_with_collision_libraries(
    axis: list[Vec3], expected: float, nearest: tuple[float | None, ...]
) -> None:
    row = only(job(axis, box((1.0, 2.0, 4.0)), od=4.0))
    assert row.clearance == pytest.approx(expected, rel=1e-4)
    for place, known in zip(row.panel_point, nearest, strict=True):
        assert known is None or place == pytest.approx(known, abs=1e-3)


def test_facets_inside_a_curved_panel_cost_their_sagitta() -> None:
    """Closed form R - sqrt(R^2 - c^2/4): edges of 20 mm on a radius of 100 mm lie 0.501256 inside it."""
    half_turn = math.asin(10.0 / 100.0)
    rim = [(100.0 * math.cos(a), 100.0 * math.sin(a)) for a in (-half_turn, half_turn)]
    strip = mesh([(x, y, z) for x, y in rim for z in (-50.0, 50.0)], [[0, 1, 3], [0, 3, 2]])
    row = only(job([(200, 0, -40), (200, 0, 40)], strip))
    assert row.clearance == pytest.approx(100.0 - RADIUS + 0.501256, abs=1e-6)


def test_nearest_points_agree_with_a_reference_library() -> None:
    """trimesh.proximity.closest_point_naive asks every triangle."""
    trimesh = pytest.importorskip("trimesh")
    torus = trimesh.creation.torus(
        major_radius=300.0, minor_radius=80.0, major_sections=24, minor_sections=12
    )
    asked = np.random.default_rng(5).uniform(-500.0, 500.0, (200, 3))
    _, expected, _ = trimesh.proximity.closest_point_naive(torus, asked)
    distance, triangle, place = PanelIndex(torus.vertices, torus.faces).closest(asked)
    assert distance == pytest.approx(expected, abs=1e-9)
    assert np.linalg.norm(asked - place, axis=1) == pytest.approx(expected, abs=1e-9)
    on_plane = np.einsum("ij,ij->i", place - torus.triangles[triangle, 0], torus.face_normals[triangle])
    assert np.abs(on_plane).max() < 1e-9


def test_a_bent_tube_agrees_with_a_reference_library() -> None:
    """The least of trimesh's distances at a point each 0.02 mm can be 0.01 mm too large, never too small."""
    trimesh = pytest.importorskip("trimesh")
    torus = trimesh.creation.torus(major_radius=300.0, minor_radius=80.0, major_sections=16, minor_sections=8)
    layout = job([(-250, -350, 60), (180, -330, 150), (350, 250, 120)], Mesh(torus.vertices, torus.faces))
    row = only(layout)
    from geometry.tube import centreline

    line = centreline.of(layout, layout.tubes[TUBE])
    near = np.arange(row.station - 5.0, row.station + 5.0, 0.02)
    stations = np.concatenate([np.arange(0.0, line.length, 5.0), near])
    _, gaps, _ = trimesh.proximity.closest_point_naive(torus, centreline.point_at(line, stations))
    assert row.clearance == pytest.approx(gaps.min() - RADIUS, abs=CLEARANCE_ACCURACY)


def job(points: list[Vec3], panel: Mesh, od: float = OD) -> Layout:
    nodes = {number: Node(number, tuple(map(float, point))) for number, point in enumerate(points, start=1)}
    return Layout(
        nodes=nodes,
        tubes={TUBE: Tube(TUBE, "T1", tuple(nodes), 101)},
        stocks={101: Stock(101, "tube", od, od / 20.0)},
        dies={102: Die(102, "die", od, CLR)},
        bodies={103: Body(103, "body")},
        panels={PANEL: Panel(PANEL, "panel", 103, panel)},
    )


def only(layout: Layout, reach: float = 500.0) -> Clearance:
    panel = layout.panels[PANEL].mesh
    index = {PANEL: PanelIndex(panel.vertices, panel.triangles)}
    (row,) = clearance.clearances(layout, index, reach=reach)
    return row


def mesh(vertices: list[Vec3] | Floats, triangles: list[list[int]]) -> Mesh:
    return Mesh(np.array(vertices, dtype=float), np.array(triangles, dtype=np.int32))


def speck(point: Vec3) -> Mesh:
    """A triangle collapsed to a point."""
    return mesh([point, point, point], [[0, 1, 2]])


def plane(point: Vec3, normal: Vec3, half: float = 3000.0) -> Mesh:
    n = np.array(normal, dtype=float) / np.linalg.norm(normal)
    u = np.cross(n, [0.0, 0.0, 1.0] if abs(n[2]) < 0.9 else [1.0, 0.0, 0.0])
    u /= np.linalg.norm(u)
    v = np.cross(n, u)
    corners = [np.array(point) + half * (a * u + b * v) for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    return mesh(np.array(corners), [[0, 1, 2], [0, 2, 3]])


def sphere(centre: Vec3, radius: float, rows: int = 60) -> Mesh:
    """A sphere of facets whose corners lie on it; 6 degrees is a sagitta of 0.0014 radii."""
    polar, round_ = np.meshgrid(
        np.linspace(0.0, math.pi, rows // 2 + 1), np.linspace(0.0, 2.0 * math.pi, rows + 1), indexing="ij"
    )
    out = np.stack([np.sin(polar) * np.cos(round_), np.sin(polar) * np.sin(round_), np.cos(polar)], axis=-1)
    grid = np.arange(out.shape[0] * out.shape[1]).reshape(out.shape[:2])
    a, b, c, d = (part.ravel() for part in (grid[:-1, :-1], grid[1:, :-1], grid[1:, 1:], grid[:-1, 1:]))
    triangles = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])
    return mesh(np.array(centre) + radius * out.reshape(-1, 3), triangles.tolist())


def box(size: Vec3) -> Mesh:
    x, y, z = (np.array(size) / 2.0).tolist()
    corners = [(sx * x, sy * y, sz * z) for sx in (-1, 1) for sy in (-1, 1) for sz in (-1, 1)]
    faces = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    return mesh(corners, [list(t) for a, b, c, d in faces for t in ((a, b, c), (a, c, d))])
