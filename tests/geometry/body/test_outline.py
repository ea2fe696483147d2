"""A plane cuts triangles where arithmetic says, and where trimesh says."""

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from geometry.body import outline
from geometry.vectors import Floats

SQUARE = np.array([(0, 0, -1), (10, 0, -1), (10, 0, 1), (0, 0, 1)], dtype=float)
TWO = np.array([(0, 1, 2), (0, 2, 3)])
UP = (0.0, 0.0, 1.0)


def length(segments: np.ndarray) -> float:
    return float(np.linalg.norm(segments[:, 1] - segments[:, 0], axis=1).sum())


def test_a_plane_cuts_a_wall_from_end_to_end() -> None:
    segments = outline.cut(SQUARE, TWO, (0.0, 0.0, 0.0), UP)
    assert length(segments) == pytest.approx(10.0)
    assert segments[..., 2] == pytest.approx(np.zeros(segments.shape[:2]))


def test_an_edge_in_the_plane_is_drawn_once() -> None:
    segments = outline.cut(SQUARE, TWO, (0.0, 0.0, 1.0), UP)
    assert segments.shape == (1, 2, 3)
    assert length(segments) == pytest.approx(10.0)


def test_a_sheet_in_the_plane_shows_its_rim_alone() -> None:
    flat = SQUARE[:, [0, 2, 1]]
    segments = outline.cut(flat, TWO, (0.0, 0.0, 0.0), UP)
    assert length(segments) == pytest.approx(10.0 + 10.0 + 2.0 + 2.0)


def test_a_corner_that_touches_gives_nothing() -> None:
    corner = np.array([(0, 0, 0), (1, 0, 1), (0, 1, 1)], dtype=float)
    assert len(outline.cut(corner, np.array([(0, 1, 2)]), (0.0, 0.0, 0.0), UP)) == 0


@pytest.mark.parametrize("height", [-0.99, -0.5, 0.0, 0.3, 0.999])
def test_a_cut_ball_lies_on_its_circle(height: float) -> None:
    turns, rises = np.meshgrid(np.linspace(0, 2 * np.pi, 60), np.linspace(-np.pi / 2, np.pi / 2, 40))
    points = np.stack([np.cos(turns) * np.cos(rises), np.sin(turns) * np.cos(rises), np.sin(rises)], -1)
    at = np.arange(points.shape[0] * points.shape[1]).reshape(points.shape[:2])
    a, b, c, d = at[:-1, :-1], at[:-1, 1:], at[1:, 1:], at[1:, :-1]
    triangles = np.concatenate([np.stack([a, b, c], -1), np.stack([a, c, d], -1)]).reshape(-1, 3)
    segments = outline.cut(points.reshape(-1, 3), triangles, (0.0, 0.0, height), UP)
    radius = np.hypot(segments[..., 0], segments[..., 1])
    assert np.abs(radius - np.sqrt(1.0 - height**2)).max() < 0.03
    assert segments[..., 2] == pytest.approx(np.full(segments.shape[:2], height))


def test_what_is_farther_off_than_the_half_window_is_left_out() -> None:
    origin = (5.0, 3.0, 0.0)
    assert len(outline.cut(SQUARE, TWO, origin, UP, 2.9)) == 0
    assert len(outline.cut(SQUARE, TWO, origin, UP, 3.1)) > 0


def test_triangles_near_a_place_are_those_whose_boxes_reach_it() -> None:
    assert len(outline.near(SQUARE, TWO, (5.0, 3.0, 0.0), 2.9)) == 0
    assert len(outline.near(SQUARE, TWO, (5.0, 3.0, 0.0), 3.1)) == 2


def box(low: float = -50.0) -> tuple[Floats, np.ndarray]:
    mesh = trimesh.creation.box(extents=(100.0, 60.0, 100.0))
    return np.asarray(mesh.vertices) + np.array((0.0, 0.0, 50.0 + low)), np.asarray(mesh.faces)


def test_a_box_is_cut_all_round() -> None:
    segments = outline.cut(*box(), (0.0, 0.0, 0.0), UP)
    assert length(segments) == pytest.approx(320.0)
    assert np.abs(segments[:, :, 2]).max() == 0.0
    ends = np.abs(segments.reshape(-1, 3))
    assert np.all(np.isclose(ends[:, 0], 50.0) | np.isclose(ends[:, 1], 30.0))


@pytest.mark.parametrize("low", [0.0, -100.0])
def test_a_face_in_the_plane_gives_the_edges_round_it_once(low: float) -> None:
    segments = outline.cut(*box(low), (0.0, 0.0, 0.0), UP)
    assert len(segments) == 4
    assert length(segments) == pytest.approx(320.0)


def test_a_sheet_that_touches_with_an_edge_gives_the_edge() -> None:
    points = np.array([(0.0, 0.0, 0.0), (9.0, 0.0, 0.0), (0.0, 0.0, 5.0)])
    segments = outline.cut(points, np.array([(0, 1, 2)]), (0.0, 0.0, 0.0), UP)
    assert sorted(segments[0].tolist()) == [[0.0, 0.0, 0.0], [9.0, 0.0, 0.0]]


@pytest.mark.parametrize("order", [(0, 1, 2), (1, 2, 0), (2, 0, 1), (2, 1, 0)])
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_a_plane_through_a_corner_cuts_the_edge_across(order: tuple[int, int, int], side: float) -> None:
    points = np.array([(0.0, 0.0, 0.0), (10.0, 4.0, 5.0 * side), (10.0, -4.0, -5.0 * side)])
    (segment,) = outline.cut(points, np.array([order]), (0.0, 0.0, 0.0), UP)
    assert sorted(segment.tolist()) == [[0.0, 0.0, 0.0], [10.0, 0.0, 0.0]]


def test_triangles_without_area_do_no_harm() -> None:
    points = np.array([(0.0, 0.0, -1.0), (0.0, 0.0, 1.0), (5.0, 0.0, 0.0)])
    triangles = np.array([(0, 1, 1), (0, 0, 0), (2, 2, 2), (2, 2, 0)])
    segments = outline.cut(points, triangles, (0.0, 0.0, 0.0), UP)
    assert np.isfinite(segments).all()
    assert length(segments) == 0.0


def test_nothing_gives_nothing() -> None:
    nothing = outline.cut(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int32), (0.0, 0.0, 0.0), UP)
    assert nothing.shape == (0, 2, 3)
    assert outline.cut(*box(10.0), (0.0, 0.0, 0.0), UP).shape == (0, 2, 3)


def test_only_what_comes_near_is_given() -> None:
    at = (50.0, 0.0, 0.0)
    segments = outline.cut(*box(), at, UP, 10.0)
    assert len(segments) > 0
    assert np.allclose(segments[:, :, 0], 50.0)
    assert (outline.distances(segments, at) <= 10.0).all()
    assert len(outline.cut(*box(), (200.0, 0.0, 0.0), UP, 149.0)) == 0


@given(st.integers(0, 2**32 - 1))
def test_random_meshes_are_cut_as_trimesh_cuts_them(seed: int) -> None:
    random = np.random.default_rng(seed)
    points = random.normal(size=(40, 3)) * 100.0
    triangles = random.integers(0, 40, (120, 3))
    triangles = triangles[(triangles != np.roll(triangles, 1, axis=1)).all(axis=1)]
    origin, normal = random.normal(size=3) * 30.0, random.normal(size=3)
    ours = outline.cut(points, triangles, tuple(origin), tuple(normal))
    mesh = trimesh.Trimesh(points, triangles, process=False)
    theirs = trimesh.intersections.mesh_plane(mesh, normal, origin)
    assert ours.shape == theirs.shape
    assert _sorted(ours) == pytest.approx(_sorted(theirs), abs=1e-6)


def _sorted(segments: Floats) -> Floats:
    """Middles and lengths, which no order of ends changes, in an order of their own."""
    lengths = np.linalg.norm(segments[:, 1] - segments[:, 0], axis=1)
    rows = np.column_stack([segments.mean(axis=1), lengths])
    return rows[np.lexsort(np.round(rows, 5).T)]
