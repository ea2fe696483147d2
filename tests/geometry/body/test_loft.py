"""The skin runs straight between rows, turns softly at them, and meets wheel arches where they begin."""

import numpy as np
import pytest

from geometry.body import loft, measured
from geometry.layout import Measured, Station, WheelArch

TWO_BOX = measured.shapes()["two-box"]


def row(x: float, roof: float) -> Station:
    return Station(x, 700.0, 400.0, 750.0, 900.0, 650.0, roof)


RIDGE = (row(1000.0, 1200.0), row(0.0, 1600.0), row(-1000.0, 1200.0))


def test_profile_is_straight_away_from_the_rows() -> None:
    profile = loft.profile_at(RIDGE, np.array([900.0, 500.0, 100.0, -500.0]))
    assert profile.roof_height == pytest.approx([1240.0, 1400.0, 1560.0, 1400.0])


def test_profile_turns_without_a_kink_at_a_row() -> None:
    x = np.linspace(-loft.ROUND_CREASE, loft.ROUND_CREASE, 2001)
    height = loft.profile_at(RIDGE, x).roof_height
    slopes = np.diff(height) / np.diff(x)
    assert np.abs(np.diff(slopes)).max() < 2.0 * 0.8 / 2000.0  # 0.8 in all, evenly
    assert height.max() == pytest.approx(1600.0 - 0.8 * loft.ROUND_CREASE / 4.0)


def test_arch_meets_a_level_sill_where_the_circle_does() -> None:
    front, back = loft.arch_span(RIDGE, WheelArch(100.0, 360.0, 200.0))
    half = (200.0**2 - 40.0**2) ** 0.5
    assert (front, back) == pytest.approx((100.0 + half, 100.0 - half), abs=1e-6)


def test_arch_centred_above_the_sill_stands_on_legs() -> None:
    front, back = loft.arch_span(RIDGE, WheelArch(0.0, 460.0, 200.0))
    assert front == pytest.approx(200.0 + loft.ARCH_LEAN)
    assert back == pytest.approx(-200.0 - loft.ARCH_LEAN)


def test_arch_centred_below_a_hanging_sill_is_narrower_than_its_circle() -> None:
    front, back = loft.arch_span(RIDGE, WheelArch(0.0, 250.0, 200.0))
    half = (200.0**2 - 150.0**2) ** 0.5
    assert (front, back) == pytest.approx((half, -half), abs=1e-6)


def test_cuts_run_to_the_back_in_steps_no_longer_than_allowed() -> None:
    x = loft.left_half(TWO_BOX, ()).x
    steps = -np.diff(x)
    assert steps.min() > 0.0
    assert steps.max() <= loft.LONGEST_CELL + 1e-9
    assert (x[0], x[-1]) == (TWO_BOX.stations[0].x, TWO_BOX.stations[-1].x)


def test_asked_cuts_are_met_exactly() -> None:
    assert {-123.4, -1500.0} <= set(loft.left_half(TWO_BOX, (-123.4, -1500.0)).x.tolist())


def test_cap_has_the_section_as_its_rim() -> None:
    section = loft.left_half(TWO_BOX, ()).points[0]
    grid = loft.cap(section)
    rim = {tuple(point) for edge in (grid[-1], grid[:, 0], grid[:, -1]) for point in edge.tolist()}
    assert {tuple(point) for point in section.tolist()} <= rim
    assert grid[..., 0] == pytest.approx(section[0, 0])
    assert np.all(grid[0, :, 1] == 0.0)


def test_cells_are_cut_along_their_shorter_diagonal() -> None:
    grid = np.array([[[0.0, 0.0, 0.0], [0.0, 1.0, 0.0]], [[1.0, 0.0, 0.0], [3.0, 1.0, 0.0]]])
    triangles, cells = loft.cells_to_triangles(grid, 10)
    assert cells.tolist() == [0, 0]
    assert all({11, 12} <= set(triangle) for triangle in triangles.tolist())


def test_a_box_without_shoulders_closes_too() -> None:
    stations = tuple(Station(x, 700.0, 400.0, 700.0, 1000.0, 700.0, 1000.0) for x in (500.0, -500.0))
    panels = measured.build(Measured("box", stations))
    corners = np.concatenate([np.round(mesh.vertices, 6)[mesh.triangles] for _, mesh in panels])
    _, index = np.unique(corners.reshape(-1, 3), axis=0, return_inverse=True)
    triangles = index.reshape(-1, 3)
    edges = np.sort(triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    assert (np.unique(edges, axis=0, return_counts=True)[1] == 2).all()
    assert corners.reshape(-1, 3).min(axis=0) == pytest.approx([-500.0, -700.0, 400.0])
