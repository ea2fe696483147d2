"""Swept tubes are as thick as they should be, closed, and turned the right way out."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.viewport import shapes
from geometry.tube import centreline

POINTS = [(0.0, 0.0, 0.0), (600.0, 0.0, 0.0), (600.0, 500.0, 200.0), (0.0, 900.0, 700.0)]


def swept(points, radius: float) -> shapes.Surface:
    line = centreline.build(points, 114.3)
    where, along, _ = centreline.sample(line, sagitta=0.5)
    return shapes.sweep(where, along, radius)


def volume(surface: shapes.Surface) -> float:
    a, b, c = (surface.points[surface.triangles[:, i]] for i in range(3))
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6.0)


def test_every_vertex_of_the_skin_lies_at_the_radius() -> None:
    line = centreline.build(POINTS, 114.3)
    surface = swept(POINTS, 19.0)
    for point in surface.points:
        place = centreline.nearest(line, tuple(point.tolist()))[1]
        assert np.linalg.norm(point - place) == pytest.approx(19.0, abs=0.02)


def test_a_swept_tube_is_closed_and_its_triangles_face_outwards() -> None:
    surface = swept(POINTS, 19.0)
    line = centreline.build(POINTS, 114.3)
    polygon = 0.5 * shapes.SIDES * np.sin(2.0 * np.pi / shapes.SIDES) * 19.0**2
    assert volume(surface) == pytest.approx(polygon * line.length, rel=0.01)


@given(st.integers(0, 2), st.floats(-1.0, 1.0), st.floats(-1.0, 1.0))
def test_frames_are_square_whichever_way_a_tube_runs(axis: int, a: float, b: float) -> None:
    direction = np.array((a, b, 1.0 + abs(a)))[[axis, (axis + 1) % 3, (axis + 2) % 3]]
    directions = np.repeat([direction / np.linalg.norm(direction)], 3, axis=0)
    u, v = shapes.frames(directions)
    basis = np.stack((directions, u, v), axis=1)
    assert basis @ basis.transpose(0, 2, 1) == pytest.approx(np.repeat([np.eye(3)], 3, axis=0), abs=1e-12)


def test_a_tube_that_turns_back_on_itself_is_still_drawn() -> None:
    directions = np.array([(1.0, 0.0, 0.0), (0.0, 0.0, 1.0), (-1.0, 0.0, 0.0)])
    surface = shapes.sweep(np.array([(0.0, 0, 0), (100.0, 0, 0), (0.0, 0, 1.0)]), directions, 10.0)
    assert np.all(np.isfinite(surface.points))


def test_the_figure_is_as_high_as_a_person_and_stands_on_the_ground() -> None:
    figure = shapes.person(np.array((100.0, 200.0, 0.0)))
    low, high = figure.points.min(axis=0), figure.points.max(axis=0)
    assert low[2] == pytest.approx(0.0, abs=20.0)
    assert high[2] == pytest.approx(shapes.PERSON_HEIGHT, abs=20.0)


def test_grid_lines_lie_on_whole_steps_and_cover_the_box() -> None:
    lines = shapes.grid_lines(np.array((-2477.0, -926.0)), np.array((2412.0, 923.0)), 1000.0)
    assert np.all(lines % 1000.0 == 0.0)
    assert lines[:, :, 0].min() == -3000.0
    assert lines[:, :, 1].max() == 1000.0
