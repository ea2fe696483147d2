"""A plane cuts triangles where arithmetic says, and where trimesh says."""

import time

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from geometry.body import outline
from geometry.vectors import Floats

ORIGIN, UP = (0.0, 0.0, 0.0), (0.0, 0.0, 1.0)
FAR = 1e6


def length(segments: Floats) -> float:
    return float(np.linalg.norm(segments[:, 1] - segments[:, 0], axis=1).sum())


def box(low: float = -50.0) -> tuple[Floats, np.ndarray]:
    mesh = trimesh.creation.box(extents=(100.0, 60.0, 100.0))
    return np.asarray(mesh.vertices) + (0.0, 0.0, 50.0 + low), np.asarray(mesh.faces)


def test_a_box_is_cut_all_round() -> None:
    segments = outline.cut(*box(), ORIGIN, UP)
    assert length(segments) == pytest.approx(320.0)
    assert np.abs(segments[:, :, 2]).max() == 0.0
    ends = np.abs(segments.reshape(-1, 3))
    assert np.all(np.isclose(ends[:, 0], 50.0) | np.isclose(ends[:, 1], 30.0))


@pytest.mark.parametrize("low", [0.0, -100.0])
def test_a_face_in_the_plane_gives_the_edges_round_it_once(low: float) -> None:
    segments = outline.cut(*box(low), ORIGIN, UP)
    assert len(segments) == 4
    assert length(segments) == pytest.approx(320.0)


def test_a_sheet_that_touches_with_an_edge_gives_the_edge() -> None:
    points = np.array([(0.0, 0.0, 0.0), (9.0, 0.0, 0.0), (0.0, 0.0, 5.0)])
    segments = outline.cut(points, np.array([(0, 1, 2)]), ORIGIN, UP)
    assert sorted(segments[0].tolist()) == [[0.0, 0.0, 0.0], [9.0, 0.0, 0.0]]


def test_a_corner_that_touches_gives_nothing() -> None:
    points = np.array([(0.0, 0.0, 0.0), (9.0, 0.0, 4.0), (0.0, 3.0, 5.0)])
    assert len(outline.cut(points, np.array([(0, 1, 2)]), ORIGIN, UP)) == 0


@pytest.mark.parametrize("order", [(0, 1, 2), (1, 2, 0), (2, 0, 1), (2, 1, 0)])
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_a_plane_through_a_corner_cuts_the_edge_across(order: tuple[int, int, int], side: float) -> None:
    points = np.array([(0.0, 0.0, 0.0), (10.0, 4.0, 5.0 * side), (10.0, -4.0, -5.0 * side)])
    (segment,) = outline.cut(points, np.array([order]), ORIGIN, UP)
    assert sorted(segment.tolist()) == [[0.0, 0.0, 0.0], [10.0, 0.0, 0.0]]


def test_triangles_without_area_do_no_harm() -> None:
    points = np.array([(0.0, 0.0, -1.0), (0.0, 0.0, 1.0), (5.0, 0.0, 0.0)])
    triangles = np.array([(0, 1, 1), (0, 0, 0), (2, 2, 2), (2, 2, 0)])
    segments = outline.cut(points, triangles, ORIGIN, UP)
    assert np.isfinite(segments).all()
    assert length(segments) == 0.0


def test_nothing_gives_nothing() -> None:
    nothing = outline.cut(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int32), ORIGIN, UP)
    assert nothing.shape == (0, 2, 3)
    assert outline.cut(*box(10.0), ORIGIN, UP).shape == (0, 2, 3)


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


def test_a_million_triangles_are_cut_between_two_frames() -> None:
    steps = np.linspace(0.0, 4000.0, 708)
    x, y = np.meshgrid(steps, steps)
    points = np.column_stack([x.ravel(), y.ravel(), 40.0 * np.sin(x / 300.0).ravel()])
    first = (np.arange(707)[:, None] * 708 + np.arange(707)).ravel()
    triangles = np.concatenate(
        [
            np.column_stack([first, first + 1, first + 708]),
            np.column_stack([first + 1, first + 709, first + 708]),
        ]
    ).astype(np.int32)
    took = []
    for _ in range(7):
        start = time.perf_counter()
        segments = outline.cut(points, triangles, (2000.0, 2000.0, 0.0), (0.6, 0.8, 0.0), 150.0)
        took.append(time.perf_counter() - start)
    print(f"{len(triangles)} triangles: {1000.0 * min(took):.1f} ms")
    assert len(segments) > 20
    assert min(took) < 0.1  # 30 ms on a quiet machine
