"""Clearances against an independent brute force, the laws they keep, and what is said about them."""

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from geometry.body import distance
from geometry.body.distance import PanelIndex
from geometry.checks import clearance, findings, standoff
from geometry.checks.clearance import REACH, Clearance
from geometry.layout import Body, Die, Layout, Mesh, Node, Panel, Placement, Stock, Tube
from geometry.tolerances import CLEARANCE_ACCURACY, SAME_POINT
from geometry.tube import centreline
from geometry.tube.centreline import Arc, Centreline
from geometry.vectors import Floats, Vec3, turned

FAR = 5000.0  # a reach that holds everything
SAGITTA = 0.004  # of the brute force's chords
ROUNDING = 1e-6
seeds = st.integers(0, 2**32 - 1)


# Brute force: every chord of the tube against every triangle, in closed form.


def brute(line: Centreline, radius: float, mesh: Mesh) -> float:
    starts, ends = chords(line)
    corners = mesh.vertices[mesh.triangles]
    a, b = (np.repeat(points, len(corners), axis=0) for points in (starts, ends))
    return float(segment_to_triangle(a, b, np.tile(corners, (len(starts), 1, 1))).min()) - radius


def chords(line: Centreline) -> tuple[Floats, Floats]:
    starts, ends = [], []
    for piece in line.pieces:
        if isinstance(piece, Arc):
            centre, out = np.array(piece.centre), np.subtract(piece.start, piece.centre)
            step = 2.0 * math.sqrt(2.0 * SAGITTA / np.linalg.norm(out))
            angles = np.linspace(0.0, piece.angle, max(2, math.ceil(piece.angle / step) + 1))
            points = [centre + turned(out, np.array(piece.axis), angle) for angle in angles]
        else:
            points = [np.array(piece.start), np.array(piece.end)]
        starts += points[:-1]
        ends += points[1:]
    return np.array(starts), np.array(ends)


def segment_to_triangle(a: Floats, b: Floats, corners: Floats) -> Floats:
    """Return the distance of each segment ab, or of one, to each triangle (n, 3, 3): (n,)."""
    gaps = [segment_to_segment(a, b, corners[:, i], corners[:, (i + 1) % 3]) for i in range(3)]
    first, second = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    normal = np.cross(first, second)
    height = np.linalg.norm(normal, axis=1)
    is_flat = height <= 1e-9 * (np.linalg.norm(first, axis=1) * np.linalg.norm(second, axis=1) + 1e-300)
    unit = normal / np.where(is_flat, 1.0, height)[:, None]
    above = [np.einsum("ij,ij->i", end - corners[:, 0], unit) for end in (a, b)]
    for end, h in zip((a, b), above, strict=True):
        gaps.append(np.where(~is_flat & within(end - h[:, None] * unit, corners, unit), np.abs(h), np.inf))
    climb = above[0] - above[1]
    part = above[0] / np.where(climb == 0.0, 1.0, climb)
    crosses = ~is_flat & (climb != 0.0) & (part >= 0.0) & (part <= 1.0)
    pierced = crosses & within(a + part[:, None] * (b - a), corners, unit)
    gaps.append(np.where(pierced, 0.0, np.inf))
    return np.min(gaps, axis=0)


def within(points: Floats, corners: Floats, normal: Floats) -> np.ndarray:
    sides = [
        np.einsum(
            "ij,ij->i", np.cross(corners[:, (i + 1) % 3] - corners[:, i], points - corners[:, i]), normal
        )
        for i in range(3)
    ]
    return np.min(sides, axis=0) >= 0.0


def segment_to_segment(a: Floats, b: Floats, c: Floats, d: Floats) -> Floats:
    ab, cd = np.broadcast_to(b - a, c.shape), d - c
    gaps = [to_segment(np.broadcast_to(end, c.shape), c, cd) for end in (a, b)]
    gaps += [to_segment(end, np.broadcast_to(a, c.shape), ab) for end in (c, d)]
    normal = np.cross(ab, cd)
    length2 = np.einsum("ij,ij->i", normal, normal)
    is_skew = length2 > 1e-18 * np.einsum("ij,ij->i", ab, ab) * np.einsum("ij,ij->i", cd, cd)
    safe = np.where(is_skew, length2, 1.0)
    s = np.einsum("ij,ij->i", np.cross(c - a, cd), normal) / safe
    t = np.einsum("ij,ij->i", np.cross(c - a, ab), normal) / safe
    is_between = is_skew & (s >= 0.0) & (s <= 1.0) & (t >= 0.0) & (t <= 1.0)
    apart = np.linalg.norm(c + t[:, None] * cd - a - s[:, None] * ab, axis=1)
    return np.minimum(np.min(gaps, axis=0), np.where(is_between, apart, np.inf))


def to_segment(points: Floats, start: Floats, along: Floats) -> Floats:
    length2 = np.einsum("ij,ij->i", along, along)
    part = np.einsum("ij,ij->i", points - start, along) / np.where(length2 > 0.0, length2, 1.0)
    place = start + np.clip(part, 0.0, 1.0)[:, None] * along
    gaps: Floats = np.linalg.norm(points - place, axis=1)
    return gaps


def test_the_brute_force_knows_closed_forms() -> None:
    triangle = np.array([[[0.0, 0.0, 0.0], [4.0, 0.0, 0.0], [0.0, 3.0, 0.0]]])
    cases = [
        ((1, 1, 5), (1, 1, 9), 5.0),
        ((1, 1, 5), (1, 1, -5), 0.0),
        ((3, 3, 0), (9, 9, 9), 1.8),
        ((-5, -1, 2), (9, -1, 2), math.sqrt(5.0)),
    ]
    for a, b, expected in cases:
        gap = segment_to_triangle(np.array(a, dtype=float), np.array(b, dtype=float), triangle)
        assert gap[0] == pytest.approx(expected, abs=1e-12)


# Random cages and bodies.


def random_mesh(random: np.random.Generator, count: int = 12) -> Mesh:
    """Triangles of all sizes, some of them needles or collapsed."""
    middles = random.uniform(-500.0, 500.0, (count, 1, 3))
    corners = middles + random.normal(size=(count, 3, 3)) * 10.0 ** random.uniform(-1.0, 2.7, (count, 1, 1))
    for number in range(count):
        if random.random() < 0.15:
            corners[number, 2] = corners[number, 0] + random.random() * (
                corners[number, 1] - corners[number, 0]
            )
        if random.random() < 0.05:
            corners[number, 1] = corners[number, 0]
    return Mesh(corners.reshape(-1, 3), np.arange(3 * count, dtype=np.int32).reshape(-1, 3))


def random_points(random: np.random.Generator) -> list[Vec3]:
    return [tuple(p) for p in random.uniform(-600.0, 600.0, (random.integers(2, 6), 3)).tolist()]


def job(points: list[Vec3], mesh: Mesh, clr: float = 152.4, od: float = 44.45) -> Layout:
    nodes = {number: Node(number, point) for number, point in enumerate(points, start=1)}
    return Layout(
        nodes=nodes,
        tubes={100: Tube(100, "T1", tuple(nodes), 101)},
        stocks={101: Stock(101, "tube", od, od / 20.0)},
        dies={102: Die(102, "die", od, clr)},
        bodies={103: Body(103, "body")},
        panels={104: Panel(104, "sill", 103, mesh)},
    )


def random_job(seed: int) -> Layout:
    random = np.random.default_rng(seed)
    return job(
        random_points(random),
        random_mesh(random),
        clr=float(random.uniform(40.0, 250.0)),
        od=float(random.uniform(20.0, 70.0)),
    )


def rows_of(layout: Layout, reach: float = FAR) -> tuple[Clearance, ...]:
    return clearance.clearances(layout, distance.build(layout), reach=reach)


def only(layout: Layout) -> Clearance:
    (row,) = rows_of(layout)
    return row


@settings(max_examples=150)
@given(seeds)
def test_clearances_agree_with_brute_force(seed: int) -> None:
    layout = random_job(seed)
    line = centreline.of(layout, layout.tubes[100])
    expected = brute(line, layout.stocks[101].od / 2.0, layout.panels[104].mesh)
    # Chords lie inside their arcs by up to SAGITTA.
    assert only(layout).clearance == pytest.approx(expected, abs=CLEARANCE_ACCURACY + SAGITTA)


@settings(max_examples=60)
@given(seeds)
def test_a_clearance_lies_between_its_two_points(seed: int) -> None:
    layout = random_job(seed)
    row, radius = only(layout), layout.stocks[101].od / 2.0
    line = centreline.of(layout, layout.tubes[100])
    axis_point = centreline.point_at(line, [row.station])[0]
    assert math.dist(row.tube_point, row.panel_point) == pytest.approx(abs(row.clearance), abs=ROUNDING)
    assert math.dist(axis_point, row.tube_point) == pytest.approx(radius, abs=ROUNDING)
    assert math.dist(axis_point, row.panel_point) == pytest.approx(row.clearance + radius, abs=ROUNDING)
    corners = layout.panels[104].mesh.vertices[layout.panels[104].mesh.triangles]
    point = np.array(row.panel_point)
    assert segment_to_triangle(point, point, corners).min() < SAME_POINT


@settings(max_examples=40)
@given(seeds)
def test_how_a_mesh_is_wound_doubled_or_joined_changes_nothing(seed: int) -> None:
    layout = random_job(seed)
    mesh = layout.panels[104].mesh
    expected = only(layout).clearance
    flipped = mesh.triangles[:, ::-1]
    fan = np.stack([np.zeros(3, dtype=np.int32), np.array([1, 1, 1]), np.array([2, 2, 2])], axis=1)
    for triangles in (
        flipped,
        np.concatenate([mesh.triangles, mesh.triangles]),
        np.concatenate([mesh.triangles, flipped]),
        np.concatenate([mesh.triangles, fan]),  # one edge with five triangles on it
    ):
        again = only(with_mesh(layout, Mesh(mesh.vertices, triangles.astype(np.int32))))
        assert again.clearance == pytest.approx(expected, abs=CLEARANCE_ACCURACY)


@settings(max_examples=40)
@given(seeds)
def test_how_a_surface_is_cut_into_triangles_changes_nothing(seed: int) -> None:
    """T-junctions, needles, triangles of no area and edges with many triangles lie in the same surface."""
    layout = random_job(seed)
    random = np.random.default_rng(seed + 2)
    mesh = layout.panels[104].mesh
    corners = mesh.vertices[mesh.triangles]
    expected = only(layout).clearance
    part = random.uniform(0.0, 1.0, (len(corners), 1))
    on_edge = corners[:, 0] + part * (corners[:, 1] - corners[:, 0])
    # Each triangle in two; its neighbours over that edge stay whole.
    halves = np.concatenate(
        [
            np.stack([corners[:, 0], on_edge, corners[:, 2]], 1),
            np.stack([on_edge, corners[:, 1], corners[:, 2]], 1),
        ]
    )
    thin = corners[:, 0] + 1e-7 * (corners[:, 2] - corners[:, 0])
    needles = np.stack([corners[:, 0], corners[:, 1], thin], 1)
    flat = np.stack([corners[:, 0], on_edge, corners[:, 1]], 1)
    points = np.repeat(on_edge[:, None], 3, axis=1)
    for soup in (halves, *(np.concatenate([corners, more]) for more in (needles, flat, points))):
        again = Mesh(soup.reshape(-1, 3), np.arange(3 * len(soup), dtype=np.int32).reshape(-1, 3))
        assert only(with_mesh(layout, again)).clearance == pytest.approx(expected, abs=CLEARANCE_ACCURACY)


@settings(max_examples=40)
@given(seeds)
def test_moving_tube_and_body_together_keeps_clearances(seed: int) -> None:
    layout = random_job(seed)
    random = np.random.default_rng(seed + 1)
    turn = np.linalg.qr(random.normal(size=(3, 3)))[0]
    turn *= np.sign(np.linalg.det(turn))
    shift = random.uniform(-3000.0, 3000.0, 3)
    place = Placement(turn=tuple(map(tuple, turn.tolist())), shift=tuple(shift.tolist()))
    nodes = {
        id: replace(node, position=tuple((turn @ node.position + shift).tolist()))
        for id, node in layout.nodes.items()
    }
    moved = replace(layout, nodes=nodes, bodies={103: Body(103, "body", place)})
    assert only(moved).clearance == pytest.approx(only(layout).clearance, abs=CLEARANCE_ACCURACY)


@settings(max_examples=30)
@given(seeds)
def test_a_tube_walked_from_its_other_end_clears_the_same(seed: int) -> None:
    layout = random_job(seed)
    tube = layout.tubes[100]
    back = replace(layout, tubes={100: replace(tube, nodes=tube.nodes[::-1])})
    assert only(back).clearance == pytest.approx(only(layout).clearance, abs=CLEARANCE_ACCURACY)


@settings(max_examples=30)
@given(seeds)
def test_many_tubes_and_panels_at_once_are_as_one_by_one(seed: int) -> None:
    layouts = [random_job(seed + i) for i in range(3)]
    together = merged(layouts)
    index = distance.build(together)
    rows = {(row.tube, row.panel): row.clearance for row in clearance.clearances(together, index, reach=FAR)}
    assert len(rows) == 9
    for tube in together.tubes:
        for panel in together.panels:
            (alone,) = clearance.clearances(together, {panel: index[panel]}, [tube], reach=FAR)
            assert rows[tube, panel] == pytest.approx(alone.clearance, abs=CLEARANCE_ACCURACY)


@settings(max_examples=30)
@given(seeds, st.floats(-20.0, 600.0))
def test_reach_leaves_out_what_is_farther_and_nothing_else(seed: int, reach: float) -> None:
    together = merged([random_job(seed + i) for i in range(3)])
    far = {(row.tube, row.panel): row.clearance for row in rows_of(together)}
    near = {(row.tube, row.panel): row.clearance for row in rows_of(together, reach)}
    for key, gap in far.items():
        if gap < reach - CLEARANCE_ACCURACY:
            assert near[key] == pytest.approx(gap, abs=CLEARANCE_ACCURACY)
        elif gap >= reach + CLEARANCE_ACCURACY:
            assert key not in near


@settings(max_examples=30)
@given(seeds)
def test_the_checks_give_the_rows_in_the_band_and_the_nearest_panel(seed: int) -> None:
    together = merged([random_job(seed + i) for i in range(3)])
    exact = rows_of(together)
    report = findings.check(together, distance.build(together))
    widest = together.limits.standoff_farthest
    expected = {(row.tube, row.panel): row.clearance for row in exact if row.clearance < widest}
    given_rows = {(row.tube, row.panel): row.clearance for row in report.clearances}
    assert given_rows.keys() == expected.keys()
    for key, gap in expected.items():
        assert given_rows[key] == pytest.approx(gap, abs=CLEARANCE_ACCURACY)
    for tube in together.tubes:
        least = min(row.clearance for row in exact if row.tube == tube)
        if least < REACH:
            assert report.nearest[tube].clearance == pytest.approx(least, abs=CLEARANCE_ACCURACY)
        else:
            assert tube not in report.nearest


@pytest.mark.parametrize(
    "name", ["autoRallyPlatform.stl", "sedan_chassis_vis.obj", "vehicle-truck-yellow.glb"]
)
def test_clearances_to_real_meshes_agree_with_brute_force(meshes: Path, name: str) -> None:
    trimesh = pytest.importorskip("trimesh")
    read = trimesh.load(meshes / name, force="mesh", process=False)
    vertices = np.array(read.vertices - read.bounds.mean(axis=0)) * (3500.0 / read.extents.max())
    mesh = Mesh(vertices, np.array(read.faces, np.int32))
    index = {104: PanelIndex(mesh.vertices, mesh.triangles)}
    random = np.random.default_rng(3)
    for _ in range(8):
        points = random.uniform(vertices.min(axis=0) - 150.0, vertices.max(axis=0) + 150.0, (3, 3))
        layout = job([tuple(point) for point in points.tolist()], mesh)
        (row,) = clearance.clearances(layout, index, reach=FAR)
        expected = nearest_of_a_large_mesh(layout, mesh, row.clearance + 22.225 + 1.0) - 22.225
        assert row.clearance == pytest.approx(expected, abs=CLEARANCE_ACCURACY + SAGITTA)


def nearest_of_a_large_mesh(layout: Layout, mesh: Mesh, limit: float) -> float:
    """Return the brute distance from the centreline to all triangles whose box is nearer than limit."""
    corners = mesh.vertices[mesh.triangles]
    low, high = corners.min(axis=1), corners.max(axis=1)
    best = math.inf
    for a, b in zip(*chords(centreline.of(layout, layout.tubes[100])), strict=True):
        near = ((np.minimum(a, b) - limit <= high) & (np.maximum(a, b) + limit >= low)).all(axis=1)
        if near.any():
            best = min(best, float(segment_to_triangle(a, b, corners[near]).min()))
    return best


def test_a_tube_along_a_flat_panel_is_exact_everywhere() -> None:
    floor = np.array([(x, y, 0.0) for x in range(-1000, 1001, 50) for y in (-100.0, 100.0)])
    strip = [[i, i + 1, i + 2] for i in range(len(floor) - 2)]
    floor[40, 2] = 7.0  # one corner of the sheet stands up
    row = only(job([(-900.0, -100.0, 60.0), (900.0, -100.0, 60.0)], Mesh(floor, np.array(strip, np.int32))))
    assert row.clearance == pytest.approx(53.0 - 22.225, abs=1e-3)
    assert row.station == pytest.approx(900.0, abs=1.0)


def test_a_spike_between_the_places_asked_first_is_found() -> None:
    spike = np.array([[437.0, -1.0, -500.0], [437.0, 1.0, -500.0], [437.0, 0.0, -25.0]])
    floor = np.array([[-900.0, -900.0, -60.0], [2900.0, -900.0, -60.0], [0.0, 2900.0, -60.0]])
    mesh = Mesh(np.concatenate([spike, floor]), np.array([[0, 1, 2], [3, 4, 5]], np.int32))
    row = only(job([(0.0, 0.0, 0.0), (1000.0, 0.0, 0.0)], mesh))
    assert row.clearance == pytest.approx(25.0 - 22.225, abs=CLEARANCE_ACCURACY)
    assert row.station == pytest.approx(437.0, abs=1.0)


def test_a_tube_that_lies_in_the_metal_is_found_at_once() -> None:
    floor = np.array([[-900.0, -900.0, 0.0], [2900.0, -900.0, 0.0], [0.0, 2900.0, 0.0]])
    row = only(job([(0.0, 0.0, 0.0), (1000.0, 0.0, 0.0)], Mesh(floor, np.array([[0, 1, 2]], np.int32))))
    assert row.clearance == pytest.approx(-22.225, abs=ROUNDING)
    assert math.dist(row.tube_point, row.panel_point) == pytest.approx(22.225, abs=ROUNDING)


def test_a_corner_too_sharp_to_bend_is_measured_from_its_tip() -> None:
    tip = math.tau / 2.0 - math.radians(1.0)
    points = [(-800.0, 0.0, 0.0), (0.0, 0.0, 0.0), (800.0 * math.cos(tip), 800.0 * math.sin(tip), 0.0)]
    row = only(job(points, speck((90.0, 0.0, 0.0))))
    assert row.clearance == pytest.approx(90.0 - 22.225, abs=CLEARANCE_ACCURACY)
    assert row.station == pytest.approx(800.0, abs=1.0)


def test_a_tube_without_length_is_a_ball() -> None:
    row = only(job([(5.0, 5.0, 5.0), (5.0, 5.0, 5.0)], speck((105.0, 5.0, 5.0))))
    assert row.clearance == pytest.approx(100.0 - 22.225, abs=ROUNDING)


def speck(point: Vec3) -> Mesh:
    """A triangle collapsed to a point."""
    return Mesh(np.array([point] * 3), np.array([[0, 1, 2]], np.int32))


# What is said.


def box(half: float = 500.0) -> Mesh:
    corners = np.array([(x, y, z) for x in (-half, half) for y in (-half, half) for z in (-half, half)])
    faces = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    triangles = [t for a, b, c, d in faces for t in ((a, b, c), (a, c, d))]
    return Mesh(corners, np.array(triangles, np.int32))


def rules(layout: Layout) -> list[str]:
    report = findings.check(layout, distance.build(layout))
    return [found.rule for found in report.findings if found.rule.startswith("clearance.")]


def beside(gap: float) -> Layout:
    """A straight tube that keeps `gap` from the top of a box."""
    height = 500.0 + 22.225 + gap
    return job([(-400.0, 0.0, height), (400.0, 0.0, height)], box())


@pytest.mark.parametrize(
    ("gap", "band", "found"),
    [
        (-10.0, "close", ["clearance.crossing"]),
        (0.5, "close", ["clearance.too_close"]),
        (22.9, "close", ["clearance.too_close"]),
        (23.1, "fine", []),
        (39.9, "fine", []),
        (40.1, "far", []),  # for how long it is too far is judged apart
        (900.0, "far", []),
    ],
)
def test_the_band_is_judged_less_scan_error_and_build_tolerance(
    gap: float, band: str, found: list[str]
) -> None:
    layout = beside(gap)
    assert standoff.judged(layout, 100, 104, gap).band == band
    report = findings.check(layout, distance.build(layout))
    assert [one.rule for one in report.findings] == found


def test_too_close_says_what_is_left_and_what_is_asked() -> None:
    layout = beside(18.0)
    (found,) = findings.check(layout, distance.build(layout)).findings
    assert found.value == pytest.approx(10.0, abs=CLEARANCE_ACCURACY)
    assert found.limit == 15.0
    assert found.amounts["raw"].number == pytest.approx(18.0, abs=CLEARANCE_ACCURACY)
    assert (found.tubes, found.panels) == ((100,), (104,))
    assert found.at is not None
    assert found.at[2] == pytest.approx(518.0, abs=CLEARANCE_ACCURACY)


def test_a_tube_wholly_inside_a_closed_body_is_found() -> None:
    assert rules(job([(-200.0, 0.0, 0.0), (200.0, 0.0, 0.0)], box())) == ["clearance.inside"]
    inside_out = Mesh(box().vertices, np.ascontiguousarray(box().triangles[:, ::-1]))
    assert rules(job([(-200.0, 0.0, 0.0), (200.0, 0.0, 0.0)], inside_out)) == ["clearance.inside"]


def test_a_tube_inside_a_body_that_its_panels_close_together_is_found() -> None:
    layout = job([(-200.0, 0.0, 0.0), (200.0, 0.0, 0.0)], box())
    halves = [Mesh(box().vertices, box().triangles[part]) for part in (slice(0, 5), slice(5, 12))]
    panels = {id: Panel(id, f"half {id}", 103, mesh) for id, mesh in zip((104, 105), halves, strict=True)}
    assert rules(replace(layout, panels=panels)) == ["clearance.inside"]
    assert rules(replace(layout, panels={104: panels[104]})) == []


def test_a_tube_in_an_open_tray_is_not_inside() -> None:
    tray = Mesh(box().vertices, box().triangles[:-2])
    assert rules(job([(-200.0, 0.0, 450.0), (200.0, 0.0, 450.0)], tray)) == []


def test_where_a_body_is_too_open_to_tell_that_is_said() -> None:
    # Without two sides, two thirds of a turn are left round the middle.
    run = [(-200.0, 0.0, 0.0), (200.0, 0.0, 0.0)]
    open_ = Mesh(box().vertices, box().triangles[:-4])
    assert "clearance.perhaps_inside" in rules(job(run, open_))
    assert "clearance.perhaps_inside" not in rules(job(run, Mesh(box().vertices, box().triangles[:2])))


def test_a_panel_left_out_is_not_checked() -> None:
    layout = beside(5.0)
    left_out = replace(layout, panels={104: replace(layout.panels[104], kept=False)})
    assert [found.rule for found in findings.check_layout(left_out).findings] == ["body.no_panels"]


def with_mesh(layout: Layout, mesh: Mesh) -> Layout:
    return replace(layout, panels={104: replace(layout.panels[104], mesh=mesh)})


def merged(layouts: list[Layout]) -> Layout:
    """Put the tubes and panels of some layouts side by side."""
    all_nodes, tubes, panels, stocks, dies = {}, {}, {}, {}, {}
    for number, layout in enumerate(layouts):
        by = 1000 * number
        tube, stock, die = layout.tubes[100], layout.stocks[101], layout.dies[102]
        all_nodes |= {id + by: replace(node, id=id + by) for id, node in layout.nodes.items()}
        nodes = tuple(id + by for id in tube.nodes)
        tubes[100 + by] = replace(tube, id=100 + by, nodes=nodes, stock=101 + by, die=102 + by)
        stocks[101 + by] = replace(stock, id=101 + by)
        dies[102 + by] = replace(die, id=102 + by)
        panels[104 + by] = replace(layout.panels[104], id=104 + by)
    return replace(layouts[0], nodes=all_nodes, tubes=tubes, panels=panels, stocks=stocks, dies=dies)


def test_an_index_serves_without_a_layout_of_its_own() -> None:
    mesh = box()
    layout = beside(18.0)
    (row,) = clearance.clearances(layout, {104: PanelIndex(mesh.vertices, mesh.triangles)}, [100])
    assert row.clearance == pytest.approx(18.0, abs=CLEARANCE_ACCURACY)
