"""Meshes stand in the car's axes as their placement says."""

import gc
import math
import weakref

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from geometry.body import cleaning, placement
from geometry.layout import Body, Layout, Mesh, Panel, Placement

QUARTER = ((0.0, 1.0, 0.0), (-1.0, 0.0, 0.0), (0.0, 0.0, 1.0))


def triangle() -> Mesh:
    return cleaning.frozen_mesh(np.eye(3), np.array([[0, 1, 2]]))


def layout_with(mesh: Mesh, placed: Placement) -> tuple[Layout, Panel]:
    panel = Panel(2, "roof", 1, mesh)
    return Layout(next_id=3, bodies={1: Body(1, "body", placed)}, panels={2: panel}), panel


def test_points_are_scaled_then_turned_then_shifted() -> None:
    placed = placement.world_points(Placement(10.0, QUARTER, (1.0, 2.0, 3.0)), np.array([[1.0, 2.0, 3.0]]))
    assert placed.tolist() == [[21.0, -8.0, 33.0]]


@given(st.floats(0.001, 1000.0), st.floats(-math.pi, math.pi), st.integers(0, 99))
def test_the_way_back_is_the_way_back(scale: float, angle: float, seed: int) -> None:
    turn = (
        (math.cos(angle), -math.sin(angle), 0.0),
        (math.sin(angle), math.cos(angle), 0.0),
        (0.0, 0.0, 1.0),
    )
    placed = Placement(scale, turn, (5.0, -7.0, 11.0))
    points = np.random.default_rng(seed).normal(size=(5, 3)) * 1000
    there = placement.world_points(placed, points)
    assert np.allclose(placement.mesh_points(placed, there), points, rtol=1e-9, atol=1e-6)


def test_a_panel_is_placed_once_and_nobody_can_write_to_it() -> None:
    layout, panel = layout_with(triangle(), Placement(2.0))
    vertices = placement.panel_vertices(layout, panel)
    assert vertices.tolist() == (2.0 * np.eye(3)).tolist()
    assert placement.panel_vertices(layout, panel) is vertices
    assert not vertices.flags.writeable


def test_a_body_that_is_turned_is_placed_anew() -> None:
    mesh = triangle()
    before = placement.panel_vertices(*layout_with(mesh, Placement(2.0)))
    after = placement.panel_vertices(*layout_with(mesh, Placement(3.0)))
    assert after.tolist() == (before * 1.5).tolist()


def test_placed_vertices_go_with_their_mesh() -> None:
    layout, panel = layout_with(triangle(), Placement())
    placed = weakref.ref(placement.panel_vertices(layout, panel))
    del layout, panel
    gc.collect()
    assert placed() is None
