"""Panels are trimmed for tyres and made whole again; then nothing of them is in the way."""

import itertools
from pathlib import Path

import numpy as np
import pytest
from msgspec.structs import replace

from geometry import axles, edits, sample, trimming, weld_marks
from geometry.body import distance, envelope, placement, scan, trim, tyres
from geometry.checks import tyres as tyre_checks
from geometry.errors import GeometryError
from geometry.files import job
from geometry.layout import Axle, Body, Layout, Limits, Mesh, Panel, Placement, Tyre

RADIUS, WIDTH, MARGIN = 400.0, 240.0, 25.0
# Nothing steers, nothing rolls and next to nothing moves: what is swept is the tyre.
STILL = Axle(70, "Front axle", 0.0, RADIUS, 1500.0, Tyre(2 * RADIUS, WIDTH, 40.0), bump=0.0, droop=1.0)
WING = 60
TURNED = Placement(25.4, ((0.0, -1.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)), (100.0, -50.0, 20.0))


@pytest.fixture(scope="module")
def gap_of() -> object:
    swept = tyre_checks.envelopes(Layout(axles={70: STILL}), {}, lambda: True)
    return trimming.gap_to([swept[70, "left"].mesh], MARGIN)


def with_wing(y: float = 750.0, placed: Placement = TURNED) -> Layout:
    """A flat upright wing across the tyre's middle, stored as some scanner had it."""
    world = np.array([(-700.0, y, 200.0), (700.0, y, 200.0), (700.0, y, 1100.0), (-700.0, y, 1100.0)])
    mesh = Mesh(placement.mesh_points(placed, world), np.array([[0, 1, 2], [0, 2, 3]], np.int32))
    return Layout(
        next_id=100,
        bodies={1: Body(1, "shell", placed)},
        panels={WING: Panel(WING, "left wing", 1, mesh)},
        axles={70: STILL},
        limits=Limits(tyre_margin=MARGIN),
    )


def test_a_wing_square_to_the_axle_is_cut_on_the_tyre_s_circle_and_the_margin(gap_of: object) -> None:
    layout = with_wing()
    made = trimming.cut_for(layout, WING, gap_of)  # type: ignore[arg-type]
    after = trimming.set_trimmed(layout, [made])
    wing = after.panels[WING]
    (line,) = trimming.lines_of(after, wing)
    radii = np.hypot(line[:, 0], line[:, 2] - RADIUS)
    assert radii == pytest.approx(RADIUS + MARGIN, abs=envelope.TOLERANCE + 1.0)
    assert line[:, 1] == pytest.approx(750.0)
    assert wing.trim is not None
    assert wing.whole is layout.panels[WING].mesh
    assert not wing.mesh.vertices.flags.writeable
    again = trimming.untrimmed(after, WING)
    assert again.panels[WING].mesh is layout.panels[WING].mesh
    assert again.panels[WING].trim is None


def test_a_trimmed_wing_is_trimmed_anew_from_the_whole(gap_of: object) -> None:
    once = trimming.set_trimmed(with_wing(), [trimming.cut_for(with_wing(), WING, gap_of)])  # type: ignore[arg-type]
    twice = trimming.cut_for(once, WING, gap_of)  # type: ignore[arg-type]
    assert len(twice.mesh.triangles) == len(once.panels[WING].mesh.triangles)
    assert trimming.set_trimmed(once, [twice]).panels[WING].whole is once.panels[WING].whole


def test_what_cannot_be_trimmed_is_refused_in_words(gap_of: object) -> None:
    with pytest.raises(GeometryError, match="nothing to trim"):
        trimming.cut_for(with_wing(y=2000.0), WING, gap_of)  # type: ignore[arg-type]
    small = with_wing()
    inner = np.array([(-90.0, 750.0, 350.0), (90.0, 750.0, 350.0), (0.0, 750.0, 500.0)])
    mesh = Mesh(placement.mesh_points(TURNED, inner), np.array([[0, 1, 2]], np.int32))
    small = replace(small, panels={WING: replace(small.panels[WING], mesh=mesh)})
    with pytest.raises(GeometryError, match="Nothing would be left of left wing"):
        trimming.cut_for(small, WING, gap_of)  # type: ignore[arg-type]
    with pytest.raises(GeometryError, match="is not trimmed"):
        trimming.untrimmed(small, WING)
    with pytest.raises(GeometryError, match="no longer in the job"):
        trimming.untrimmed(small, 99)


def test_a_trimmed_job_opens_as_it_was_saved(gap_of: object, tmp_path: Path) -> None:
    after = trimming.set_trimmed(with_wing(), [trimming.cut_for(with_wing(), WING, gap_of)])  # type: ignore[arg-type]
    job.save(after, tmp_path / "trimmed.outrib")
    opened = job.load(tmp_path / "trimmed.outrib").panels[WING]
    wing = after.panels[WING]
    assert opened.trim is not None
    assert wing.trim is not None
    assert opened.trim.lines == wing.trim.lines
    assert np.array_equal(opened.whole.vertices, wing.whole.vertices)
    assert np.array_equal(opened.mesh.triangles, wing.mesh.triangles)


def test_points_left_out_of_a_line_are_no_loss() -> None:
    turn = np.linspace(0.0, 3.0, 400)
    line = 400.0 * np.stack([np.cos(turn), np.sin(turn), 0.1 * turn], axis=1)
    few = trimming.fewer(line)
    assert len(few) < 80
    assert set(map(tuple, few)) <= set(map(tuple, line))
    near = np.concatenate([np.linspace(a, b, 200) for a, b in itertools.pairwise(few)])
    assert max(np.linalg.norm(near - point, axis=1).min() for point in line) < trimming.LINE_ACCURACY + 0.1


def test_a_ragged_line_is_faired_by_no_more_than_said_and_keeps_its_ends() -> None:
    x = np.linspace(-500.0, 500.0, 400)
    ragged = np.stack(
        [x, np.full_like(x, 750.0), 600.0 + np.random.default_rng(3).normal(0.0, 1.0, 400)], axis=1
    )
    plane = np.array(
        [(-700.0, 750.0, 200.0), (700.0, 750.0, 200.0), (700.0, 750.0, 1100.0), (-700.0, 750.0, 1100.0)]
    )
    onto = distance.PanelIndex(plane, np.array([[0, 1, 2], [0, 2, 3]]))
    fair = trimming.faired(ragged, onto)
    assert np.array_equal(fair[[0, -1]], ragged[[0, -1]])
    assert fair[:, 1] == pytest.approx(750.0)

    def bends(line: np.ndarray) -> float:
        ways = np.diff(line[:, [0, 2]], axis=0)
        return float(np.abs(np.diff(np.unwrap(np.arctan2(ways[:, 1], ways[:, 0])))).sum())

    assert bends(fair) < 0.1 * bends(ragged)
    dense = np.concatenate([np.linspace(a, b, 20) for a, b in itertools.pairwise(ragged)])
    beside = [np.linalg.norm(dense - place, axis=1).min() for place in fair]
    assert max(beside) < trimming.FAIRING + 0.1


def test_a_faired_ring_closes_and_keeps_its_place() -> None:
    turn = np.linspace(0.0, 2.0 * np.pi, 200)
    ring = np.stack([100.0 * np.cos(turn), np.full_like(turn, 750.0), 650.0 + 100.0 * np.sin(turn)], axis=1)
    ring[-1] = ring[0]
    plane = np.array(
        [(-700.0, 750.0, 200.0), (700.0, 750.0, 200.0), (700.0, 750.0, 1100.0), (-700.0, 750.0, 1100.0)]
    )
    fair = trimming.faired(ring, distance.PanelIndex(plane, np.array([[0, 1, 2], [0, 2, 3]])))
    assert np.array_equal(fair[0], fair[-1])
    assert np.hypot(fair[:, 0], fair[:, 2] - 650.0) == pytest.approx(100.0, abs=0.1)


def test_the_like_of_a_panel_is_found_on_the_other_side() -> None:
    layout = sample.build()
    ids = {panel.name: id for id, panel in layout.panels.items()}
    assert trimming.twin_of(layout, ids["left front wing"]) == ids["right front wing"]
    assert trimming.twin_of(layout, ids["right door"]) == ids["left door"]
    assert trimming.twin_of(layout, ids["bonnet"]) is None


def trimmed_for(layout: Layout) -> tuple[Layout, set[int]]:
    """Trim each panel that a tyre comes too near to; return the layout and those panels."""
    swept = tyre_checks.envelopes(layout, {}, lambda: True)
    index = distance.build(layout)
    bitten = {bite.panel for bite in tyre_checks.against_panels(layout, index, swept, index)}
    gaps = trimming.gap_to([one.mesh for one in swept.values()], layout.limits.tyre_margin)
    gone, cuts = [], []
    for panel in sorted(bitten):
        try:
            cuts.append(trimming.cut_for(layout, panel, gaps))
        except GeometryError:  # nothing would be left of it
            gone.append(panel)
    return edits.delete(trimming.set_trimmed(layout, cuts), gone), bitten


def left_over(layout: Layout) -> float:
    """Return the most that panels still lack of the room for tyres."""
    swept, index = tyre_checks.envelopes(layout, {}, lambda: True), distance.build(layout)
    return max((b.depth for b in tyre_checks.against_panels(layout, index, swept, index)), default=0.0)


def on_triangles(points: np.ndarray, triangles: np.ndarray, seed: int) -> np.ndarray:
    """Return places (n, 3) strewn over triangles, not only their corners."""
    parts = np.random.default_rng(seed).dirichlet((1.0, 1.0, 1.0), (len(triangles), 4))
    places: np.ndarray = np.einsum("tkc,tcd->tkd", parts, points[triangles]).reshape(-1, 3)
    return places


def test_what_is_left_of_a_body_keeps_clear_of_every_place_the_tyre_goes() -> None:
    """Asked of the tyre itself at each place, not of the mesh of what it sweeps through."""
    layout, front = axles.add(sample.build())
    layout = axles.change(layout, front, tyre=tyres.parsed("33x12.50R15"), height=420.0)
    ids = [id for id, panel in layout.panels.items() if "front wing" in panel.name]
    after = trimming.set_trimmed(layout, trimming.cuts_for(layout, ids))
    wheels = tyre_checks.wheels(layout).values()
    for seed, id in enumerate(ids):
        panel = after.panels[id]
        points = placement.panel_vertices(after, panel)
        places = np.concatenate([points, on_triangles(points, panel.mesh.triangles, seed)])
        gap = np.min([envelope.gaps(wheel, places) for wheel in wheels], axis=0)
        assert gap.min() > layout.limits.tyre_margin - 1.0
        lines = np.concatenate(trimming.lines_of(after, panel))
        on_line = np.min([envelope.gaps(wheel, lines) for wheel in wheels], axis=0)
        assert on_line.min() > layout.limits.tyre_margin - trimming.FAIRING - 1.0
        assert on_line.max() < layout.limits.tyre_margin + trimming.FAIRING + 1.0


def test_a_trimmed_panel_on_either_side_is_in_no_tyre_s_way_for_the_checks() -> None:
    layout, _ = axles.add(sample.build())
    layout, _ = axles.add(layout)
    ids = [id for id, panel in layout.panels.items() if "front wing" in panel.name]
    after = trimming.set_trimmed(layout, trimming.cuts_for(layout, ids))
    swept, index = tyre_checks.envelopes(after, {}, lambda: True), distance.build(after)
    assert tyre_checks.against_panels(after, index, swept, ids) == ()


def test_what_came_off_and_what_is_left_are_the_whole() -> None:
    layout = with_wing(placed=Placement())

    def tyre(points: np.ndarray) -> np.ndarray:
        return np.hypot(points[:, 0], points[:, 2] - RADIUS) - RADIUS

    after = trimming.set_trimmed(layout, [trimming.cut_for(layout, WING, tyre)])
    off = trimming.offcuts(after, [WING])[WING]
    rest = after.panels[WING].mesh
    came_off = trim.areas(off.vertices, off.triangles).sum()
    assert came_off + trim.areas(rest.vertices, rest.triangles).sum() == pytest.approx(
        1400.0 * 900.0, abs=200.0
    )
    # The circle of the tyre and the margin, less what of it lies below the panel.
    radius, below = RADIUS + MARGIN, 200.0
    segment = radius**2 * np.arccos(below / radius) - below * np.sqrt(radius**2 - below**2)
    assert came_off == pytest.approx(np.pi * radius**2 - segment, rel=2e-3)
    assert not off.vertices.flags.writeable


def test_the_sample_body_trimmed_for_large_tyres_is_out_of_their_way() -> None:
    layout, front = axles.add(sample.build())
    layout = axles.change(layout, front, tyre=tyres.parsed("33x12.50R15"), height=420.0)
    after, bitten = trimmed_for(layout)
    names = {layout.panels[id].name for id in bitten}
    assert {"left front wing", "right front wing"} <= names
    assert left_over(after) < 1.0


def test_the_wings_of_a_real_body_are_trimmed_for_its_tyres(meshes: Path) -> None:
    read = scan.read(meshes / "sedan_chassis_vis.obj")
    layout, _, _ = scan.add_to(Layout(), read, scan.judge(read))
    layout, front = axles.add(layout)
    layout = axles.change(layout, front, tyre=tyres.parsed("285/75R16"), height=420.0, bump=120.0)
    after, bitten = trimmed_for(layout)
    assert bitten
    assert left_over(after) < 1.0
    for id in bitten & after.panels.keys():
        for line in trimming.lines_of(after, after.panels[id]):
            assert len(line) > 1


def test_a_panel_without_triangles_is_nobodys_like() -> None:
    mesh = Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int32))
    wing = Mesh(
        np.array([[0.0, 500.0, 0.0], [300.0, 500.0, 0.0], [0.0, 500.0, 300.0]]), np.array([[0, 1, 2]])
    )
    layout = Layout(
        bodies={1: Body(1, "Body")},
        panels={2: Panel(2, "nothing", 1, mesh), 3: Panel(3, "left wing", 1, wing)},
    )
    for panel in layout.panels:
        assert trimming.twin_of(layout, panel) is None
        assert weld_marks.twin_of(layout, panel) is None
