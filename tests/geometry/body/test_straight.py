"""A body that stands askew is turned onto its plane of symmetry."""

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from geometry.body import cleaning, scan, shape, straight


def turn_about(axis: np.ndarray, angle: float) -> np.ndarray:
    x, y, z = axis / np.linalg.norm(axis)
    cross = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
    return np.eye(3) + math.sin(angle) * cross + (1 - math.cos(angle)) * cross @ cross


@given(st.floats(0.0, math.pi), st.integers(0, 99))
def test_angle_of_a_turn_is_found_from_its_rows(angle: float, seed: int) -> None:
    axis = np.random.default_rng(seed).normal(size=3)
    assert straight.angle_of(turn_about(axis, angle)) == pytest.approx(angle, abs=1e-7)


@given(st.integers(0, 999))
def test_any_direction_goes_onto_an_axis_by_the_shortest_way(seed: int) -> None:
    direction = np.random.default_rng(seed).normal(size=3)
    direction /= np.linalg.norm(direction)
    turn = straight._onto_axis(direction)
    assert np.allclose(turn @ turn.T, np.eye(3))
    assert np.linalg.det(turn) == pytest.approx(1.0)
    assert sorted(np.abs(turn @ direction)) == pytest.approx([0.0, 0.0, 1.0], abs=1e-9)
    assert straight.angle_of(turn) == pytest.approx(math.acos(np.abs(direction).max()), abs=1e-6)


@pytest.mark.parametrize(
    ("name", "up", "left"),
    [
        ("sedan_chassis_vis.obj", (0.0, 0.0, 1.0), (0.0, 1.0, 0.0)),
        ("autoRallyPlatform.stl", (0.0, 0.0, 1.0), (0.0, 1.0, 0.0)),
        ("vehicle-truck-yellow.glb", (0.0, 1.0, 0.0), (1.0, 0.0, 0.0)),
    ],
)
@pytest.mark.parametrize("degrees", [3.0, 28.0, -40.0])
def test_symmetry_of_real_bodies_is_found_to_a_tenth_of_a_degree(
    meshes: Path, name: str, up: tuple[float, ...], left: tuple[float, ...], degrees: float
) -> None:
    turn = turn_about(np.array(up), math.radians(degrees))
    parts = scan.read(meshes / name).parts
    turned = [cleaning.frozen_mesh(part.mesh.vertices @ turn.T, part.mesh.triangles) for part in parts]
    found = straight.straightening(shape.sampled(turned)) @ turn @ np.array(left)
    assert math.degrees(math.acos(min(1.0, float(np.abs(found).max())))) < 0.1
