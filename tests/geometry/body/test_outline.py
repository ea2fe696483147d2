import numpy as np
import pytest

from geometry.body import outline

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
