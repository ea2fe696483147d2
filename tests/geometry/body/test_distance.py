"""Nearest points, winding and what makes a panel worth indexing."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from geometry.body import distance
from geometry.body.distance import PanelIndex
from geometry.layout import Body, Layout, Mesh, Panel, Placement
from geometry.tolerances import SAME_POINT
from geometry.vectors import Floats

CUBE = np.array([(x, y, z) for x in (0.0, 100.0) for y in (0.0, 100.0) for z in (0.0, 100.0)])
FACES = np.array(
    [t for a, b, c, d in ((0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3))
     for t in ((a, b, c), (a, c, d))]
)  # fmt: skip
MIDDLE = np.array([[50.0, 50.0, 50.0]])
OUTSIDE = np.array([[150.0, 50.0, 50.0]])


def test_a_closed_panel_wraps_what_is_inside_it_either_way_out() -> None:
    for faces in (FACES, FACES[:, ::-1]):
        cube = PanelIndex(CUBE, faces)
        assert cube.is_closed
        assert cube.inside(np.concatenate([MIDDLE, OUTSIDE])).tolist() == [True, False]
        assert abs(cube.winding(MIDDLE)[0]) == pytest.approx(1.0, abs=1e-3)


def test_an_open_tray_wraps_nothing() -> None:
    tray = PanelIndex(CUBE, FACES[:6])
    assert not tray.is_closed
    assert not tray.inside(MIDDLE)[0]


def test_a_coarse_copy_wraps_what_the_panel_wraps(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two halves of a closed, noisy shape, each drawn to the grid by itself, against all their triangles."""
    trimesh = pytest.importorskip("trimesh")
    ball = trimesh.creation.icosphere(subdivisions=5, radius=150.0)
    random = np.random.default_rng(4)
    vertices = ball.vertices * (1.0 + 0.01 * random.normal(size=(len(ball.vertices), 1)))
    halves = [ball.faces[:9000], ball.faces[9000:]]
    points = random.uniform(-200.0, 200.0, (400, 3))
    points = points[PanelIndex(vertices, ball.faces).closest(points)[0] > distance.GRID]
    exact = [PanelIndex(vertices, half).winding(points) for half in halves]
    monkeypatch.setattr(distance, "LARGE", 100)
    coarse = [PanelIndex(vertices, half).winding(points) for half in halves]
    assert len(distance._drawn_to_grid(vertices, ball.faces)[1]) < 0.8 * len(ball.faces)
    assert np.abs(np.sum(coarse, axis=0) - np.sum(exact, axis=0)).max() < 0.01
    assert np.abs(np.array(coarse) - exact).max() < 0.1


def test_a_coarse_copy_of_what_is_too_far_apart_is_the_panel_itself() -> None:
    far = np.concatenate([CUBE, CUBE + 1e12])
    assert distance._drawn_to_grid(far, FACES)[0] is far


def test_a_panel_stops_the_rays_that_meet_it() -> None:
    tray = PanelIndex(CUBE, FACES[:6])
    ways = np.array([[1.0, 0.1, 0.2], [-1.0, 0.1, 0.2], [0.1, 1.0, 0.2], [0.1, -1.0, 0.2]])
    assert tray.stops(np.repeat(MIDDLE, 4, axis=0), ways).tolist() == [True, True, False, True]
    assert tray.stops(np.repeat(OUTSIDE, 4, axis=0), ways).tolist() == [False, True, False, False]


def test_edges_shared_by_three_triangles_are_not_closed() -> None:
    assert not PanelIndex(CUBE, np.concatenate([FACES, [[0, 7, 1]]])).is_closed


def test_bounds_leave_out_corners_that_no_triangle_uses() -> None:
    vertices = np.concatenate([CUBE, [[9e9, 0.0, 0.0]]])
    low, high = PanelIndex(vertices, FACES).bounds
    assert (low.tolist(), high.tolist()) == ([0.0] * 3, [100.0] * 3)


@given(
    st.integers(0, 2**32 - 1),
    st.floats(0.0, 2.0 * SAME_POINT),
    st.floats(0.0, 1.0),
    st.floats(1.0, 3000.0),
)
def test_slivers_are_as_near_as_the_segment_they_hug(
    seed: int, height: float, part: float, length: float
) -> None:
    random = np.random.default_rng(seed)
    along, aside = np.linalg.qr(random.normal(size=(3, 2)))[0].T
    start = random.uniform(-1000.0, 1000.0, 3)
    corners = np.array([start, start + length * along, start + part * length * along + height * aside])
    points = random.uniform(-1500.0, 1500.0, (20, 3))
    triangles = np.array([[0, 1, 2]])[:, random.permutation(3)]
    gaps, _, nearest = PanelIndex(corners, triangles).closest(points)
    segment = _to_segment(points, corners[0], corners[1])
    assert (np.abs(gaps - segment) <= height + 1e-6).all()
    assert np.linalg.norm(points - nearest, axis=1) == pytest.approx(gaps, abs=1e-9)


def test_a_triangle_collapsed_to_a_point_is_that_point() -> None:
    gaps, _, nearest = PanelIndex(np.ones((3, 3)), np.array([[0, 1, 2]])).closest(np.zeros((1, 3)))
    assert gaps[0] == pytest.approx(math.sqrt(3.0))
    assert nearest.tolist() == [[1.0, 1.0, 1.0]]


def test_nothing_asked_is_nothing_answered() -> None:
    gaps, triangles, nearest = PanelIndex(CUBE, FACES).closest(np.zeros((0, 3)))
    assert (gaps.shape, triangles.shape, nearest.shape) == ((0,), (0,), (0, 3))


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_a_panel_with_numbers_that_are_none_is_refused(bad: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        PanelIndex(np.array([[0.0, 0.0, bad], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0]]), np.array([[0, 1, 2]]))


def test_a_panel_without_triangles_is_refused() -> None:
    with pytest.raises(ValueError, match="triangle"):
        PanelIndex(CUBE, np.zeros((0, 3), dtype=int))


def layout(placement: Placement = Placement()) -> Layout:
    mesh = Mesh(CUBE, FACES.astype(np.int32))
    empty = Mesh(np.zeros((0, 3)), np.zeros((0, 3), dtype=np.int32))
    return Layout(
        bodies={1: Body(1, "body", placement)},
        panels={
            2: Panel(2, "door", 1, mesh),
            3: Panel(3, "aerial", 1, Mesh(CUBE, FACES.astype(np.int32)), kept=False),
            4: Panel(4, "nothing", 1, empty),
        },
    )


def test_only_kept_panels_with_triangles_are_indexed_where_they_stand() -> None:
    index = distance.build(layout(Placement(scale=10.0, shift=(5.0, 0.0, 0.0))))
    assert index.keys() == {2}
    assert index[2].bounds[0].tolist() == [5.0, 0.0, 0.0]
    assert index[2].bounds[1].tolist() == [1005.0, 1000.0, 1000.0]


def test_an_index_is_kept_while_triangles_and_place_stay() -> None:
    first = layout()
    index = distance.build(first)
    renamed = replace(first, panels={**first.panels, 2: replace(first.panels[2], name="hatch", shown=False)})
    assert distance.build(renamed, index)[2] is index[2]
    moved = replace(renamed, bodies={1: replace(first.bodies[1], placement=Placement(shift=(0.0, 0.0, 1.0)))})
    assert distance.build(moved, index)[2] is not index[2]


def _to_segment(points: Floats, start: Floats, end: Floats) -> Floats:
    along = end - start
    part = np.clip((points - start) @ along / (along @ along), 0.0, 1.0)
    gaps: Floats = np.linalg.norm(points - start - part[:, None] * along, axis=1)
    return gaps
