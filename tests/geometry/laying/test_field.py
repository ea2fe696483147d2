"""The path over a body and the grid of distances round it."""

import numpy as np
import pytest

from geometry.body.distance import PanelIndex
from geometry.laying import field, path, starts
from geometry.laying.metal import Metal, sided
from geometry.laying.wish import Place, Wish
from geometry.vectors import Floats

RADIUS, HEIGHT = 700.0, 30.0 + 20.0


def half_pipe() -> Metal:
    turn, along = np.meshgrid(np.linspace(-2.0, 2.0, 401), np.linspace(-500.0, 500.0, 11), indexing="ij")
    points = np.stack([RADIUS * np.sin(turn), along, RADIUS * np.cos(turn)], axis=-1)
    number = np.arange(turn.size).reshape(turn.shape)
    a, b, c, d = (
        part.ravel() for part in (number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:])
    )
    triangles = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])
    return Metal({1: PanelIndex(points.reshape(-1, 3), triangles)})


def wish() -> Wish:
    def place(turn: float) -> Place:
        out = (float(np.sin(turn)), 0.0, float(np.cos(turn)))
        return Place((RADIUS * out[0], 0.0, RADIUS * out[2]), out)

    return Wish((place(-0.8), place(0.1), place(0.8)), 40.0, 150.0, 80.0, 2.0, 15.0, 30.0, 40.0)


def reach(points: Floats) -> Floats:
    return np.hypot(points[:, 0], points[:, 2]) - RADIUS


def test_the_path_keeps_the_stand_off_and_stops_at_the_places() -> None:
    way = path.found(half_pipe(), wish())
    assert reach(way.points) == pytest.approx(np.full(len(way.points), HEIGHT), abs=0.6)
    for stop, place in zip(way.stops, wish().places, strict=True):
        assert way.points[stop] == pytest.approx(np.array(place.point) + HEIGHT * np.array(place.normal))
    assert way.outward == pytest.approx(way.points / np.linalg.norm(way.points, axis=1)[:, None], abs=0.02)


def test_the_grid_knows_distances_on_both_sides_of_the_metal() -> None:
    way = path.found(half_pipe(), wish())
    grid = field.sampled(half_pipe(), way)
    random = np.random.default_rng(3)
    out = random.uniform(-70.0, 30.0, len(way.points))
    near = way.points + out[:, None] * way.outward
    assert grid.at(near) == pytest.approx(reach(near), abs=2.0)
    far = way.points[1:-1] + 150.0 * way.outward[1:-1]
    assert grid.at(far) == pytest.approx(reach(far), abs=25.0)


def test_polylines_have_as_many_corners_as_asked_and_go_from_end_to_end() -> None:
    way = path.found(half_pipe(), wish())
    lines = starts.polylines(field.sampled(half_pipe(), way), way, wish(), 3)
    for bends, some in enumerate(lines):
        for line in some:
            assert line.shape == (bends + 2, 3)
            assert line[[0, -1]] == pytest.approx(way.points[[0, -1]])


def test_sides_follow_what_is_said_to_be_out() -> None:
    points = np.array([(0.0, 0.0, 5.0), (0.0, 0.0, -5.0)])
    found = sided(points, np.full(2, 5.0), np.zeros((2, 3)), np.tile((0.0, 0.0, 1.0), (2, 1)))
    assert found.gaps == pytest.approx([5.0, -5.0])
    assert found.ways == pytest.approx(np.tile((0.0, 0.0, 1.0), (2, 1)))
