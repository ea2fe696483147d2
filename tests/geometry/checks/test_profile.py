"""Clearance all along a tube is what the nearest triangle says at each of its stations."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geometry.body import distance
from geometry.checks import profile
from geometry.checks.clearance import REACH
from geometry.layout import Body, Die, Layout, Mesh, Node, Panel, Stock, Tube
from geometry.tube import centreline
from geometry.vectors import Floats

OD = 45.0


def job(runs: list[list[tuple[float, float, float]]], meshes: list[Mesh]) -> Layout:
    nodes, tubes = {}, {}
    for number, run in enumerate(runs):
        ids = tuple(1000 + 100 * number + place for place in range(len(run)))
        nodes |= {id: Node(id, point) for id, point in zip(ids, run, strict=True)}
        tubes[number + 1] = Tube(number + 1, f"T{number + 1}", ids, 50)
    return Layout(
        nodes=nodes,
        tubes=tubes,
        stocks={50: Stock(50, "45 x 2.5", OD, 2.5)},
        dies={51: Die(51, "former", OD, 150.0)},
        bodies={52: Body(52, "body")},
        panels={60 + i: Panel(60 + i, f"panel {i}", 52, mesh) for i, mesh in enumerate(meshes)},
    )


def square(height: float, x: float = 0.0, half: float = 500.0) -> Mesh:
    corners = [
        (x - half, -half, height),
        (x + half, -half, height),
        (x + half, half, height),
        (x - half, half, height),
    ]
    return Mesh(np.array(corners), np.array([[0, 1, 2], [0, 2, 3]], np.int32))


def by_triangles(points: Floats, mesh: Mesh) -> Floats:
    """The distance of points to the nearest of the triangles, from planes and edges one by one."""
    best = np.full(len(points), np.inf)
    for corners in mesh.vertices[mesh.triangles]:
        for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
            along = np.clip((points - a) @ (b - a) / max((b - a) @ (b - a), 1e-30), 0.0, 1.0)
            best = np.minimum(best, np.linalg.norm(points - a - along[:, None] * (b - a), axis=1))
        normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
        if np.linalg.norm(normal) < 1e-9:
            continue
        normal /= np.linalg.norm(normal)
        height = (points - corners[0]) @ normal
        foot = points - height[:, None] * normal
        inside = np.all(
            [
                np.cross(b - a, foot - a) @ normal >= 0.0
                for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)
            ],
            axis=0,
        )
        best = np.where(inside, np.minimum(best, np.abs(height)), best)
    return best


def test_a_tube_that_leaves_a_panel_at_an_angle_has_the_gap_of_a_straight_line() -> None:
    layout = job([[(-400.0, 0.0, 60.0), (400.0, 0.0, 160.0)]], [square(0.0)])
    (found,) = profile.measured(layout, distance.build(layout), [1]).values()
    line = centreline.of(layout, layout.tubes[1])
    heights = centreline.point_at(line, found.stations)[:, 2]
    assert found.clearances == pytest.approx(heights - OD / 2.0)
    assert (found.stations[0], found.stations[-1]) == (0.0, line.length)
    assert np.diff(found.stations).max() <= profile.STEP + 1e-9


def test_beyond_reach_and_without_a_body_it_is_the_reach() -> None:
    run = [[(-400.0, 0.0, 900.0), (400.0, 0.0, 900.0)]]
    for meshes in ([square(0.0)], []):
        layout = job(run, meshes)
        (found,) = profile.measured(layout, distance.build(layout), [1]).values()
        assert found.clearances == pytest.approx(REACH)
    assert profile.measured(layout, {}, []) == {}


def test_the_ends_of_bends_are_stations() -> None:
    layout = job([[(-400.0, 0.0, 60.0), (100.0, 0.0, 60.0), (100.0, 400.0, 60.0)]], [square(0.0)])
    (found,) = profile.measured(layout, distance.build(layout), [1]).values()
    line = centreline.of(layout, layout.tubes[1])
    assert set(line.stations) <= set(found.stations)


place = st.tuples(*(st.floats(-400.0, 400.0) for _ in range(3)))
meshes = st.lists(
    st.tuples(st.lists(place, min_size=4, max_size=7), st.lists(st.integers(0, 3), min_size=3, max_size=12)),
    min_size=1,
    max_size=4,
)


@settings(max_examples=40)
@given(st.lists(st.lists(place, min_size=2, max_size=4), min_size=1, max_size=3), meshes)
def test_it_agrees_with_every_triangle_one_by_one(runs: list, soups: list) -> None:
    runs = [run for run in runs if min(np.linalg.norm(np.diff(run, axis=0), axis=1)) > 1.0]
    solid = [
        Mesh(np.array(corners), np.array(picks[: len(picks) // 3 * 3], np.int32).reshape(-1, 3))
        for corners, picks in soups
    ]
    layout = job(runs, solid)
    found = profile.measured(layout, distance.build(layout), layout.tubes)
    assert found.keys() == layout.tubes.keys()
    for id, one in found.items():
        points = centreline.point_at(centreline.of(layout, layout.tubes[id]), one.stations)
        gaps = np.min([by_triangles(points, mesh) for mesh in solid], axis=0) - OD / 2.0
        assert one.clearances == pytest.approx(np.minimum(gaps, REACH), abs=1e-6)


def test_among_many_panels_it_is_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    random = np.random.default_rng(8)
    places = random.uniform(-900.0, 900.0, (300, 3))
    layout = job(
        [[tuple(p) for p in random.uniform(-900.0, 900.0, (4, 3)).tolist()] for _ in range(4)],
        [Mesh(square(0.0, half=20.0).vertices + place, square(0.0).triangles) for place in places],
    )
    index = distance.build(layout)
    whole = profile.measured(layout, index, layout.tubes)
    monkeypatch.setattr(profile, "MOST_AT_ONCE", 0)
    runs = profile.measured(layout, index, layout.tubes)
    for tube in layout.tubes:
        assert np.abs(runs[tube].clearances - whole[tube].clearances).max() < 1e-9
        assert (runs[tube].panels == whole[tube].panels).mean() > 0.99  # ties may go either way
