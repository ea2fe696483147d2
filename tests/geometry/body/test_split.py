"""Faces are taken off a panel by growth, box and loop, and joined again."""

import math

import numpy as np
import pytest
import trimesh

from geometry.body import cleaning, split
from geometry.errors import GeometryError
from geometry.layout import Body, Layout, Mesh, Panel


def mesh_of(shape: trimesh.Trimesh) -> Mesh:
    return cleaning.cleaned(np.array(shape.vertices), np.array(shape.faces))[0]


def fine_box() -> Mesh:
    """A box of 200 x 100 x 80 whose faces are many triangles."""
    shape = trimesh.creation.box((200, 100, 80))
    for _ in range(4):
        shape = shape.subdivide()
    return mesh_of(shape)


def normals(mesh: Mesh) -> np.ndarray:
    a, b, c = (mesh.vertices[mesh.triangles[:, corner]] for corner in range(3))
    square = np.cross(b - a, c - a)
    return square / np.linalg.norm(square, axis=1, keepdims=True)


def surface(mesh: Mesh) -> set[frozenset[tuple[float, ...]]]:
    return {frozenset(map(tuple, corners)) for corners in mesh.vertices[mesh.triangles]}


def layout_of(mesh: Mesh) -> Layout:
    return Layout(next_id=3, bodies={1: Body(1, "van")}, panels={2: Panel(2, "van", 1, mesh, "van")})


def top_of(mesh: Mesh) -> np.ndarray:
    return np.flatnonzero(normals(mesh)[:, 2] > 0.9)


def test_growth_stops_at_the_edges_of_a_box() -> None:
    mesh = fine_box()
    top = top_of(mesh)
    assert np.array_equal(split.grown(mesh, int(top[3]), math.radians(30)), top)


def test_growth_with_a_wide_crease_takes_everything() -> None:
    mesh = fine_box()
    assert len(split.grown(mesh, 0, math.radians(100))) == len(mesh.triangles)


def test_growth_ignores_which_way_triangles_are_wound() -> None:
    mesh = fine_box()
    triangles = mesh.triangles.copy()
    triangles[::3] = triangles[::3, ::-1]
    mixed = cleaning.frozen_mesh(mesh.vertices, triangles)
    top = top_of(mesh)
    assert np.array_equal(split.grown(mixed, int(top[0]), math.radians(30)), top)


def test_growth_follows_a_round_panel_whose_facets_turn_a_little_each() -> None:
    mesh = mesh_of(trimesh.creation.icosphere(4))
    assert len(split.grown(mesh, 0, math.radians(15))) == len(mesh.triangles)
    assert len(split.grown(mesh, 0, math.radians(0.1))) < 10


def test_box_takes_the_triangles_whose_middle_is_inside() -> None:
    mesh = fine_box()
    chosen = split.in_box(mesh.vertices, mesh.triangles, (1000, 60, 60), (0, -60, -60))
    middles = mesh.vertices[mesh.triangles].mean(axis=1)
    assert np.array_equal(chosen, np.flatnonzero(middles[:, 0] >= 0))


def test_loop_takes_its_own_sheet_and_not_the_one_behind() -> None:
    mesh = fine_box()
    loop = [(-50.0, -30.0, 40.0), (50.0, -30.0, 40.0), (50.0, 30.0, 40.0), (-50.0, 30.0, 40.0)]
    chosen = split.inside_loop(mesh.vertices, mesh.triangles, loop)
    middles = mesh.vertices[mesh.triangles].mean(axis=1)
    expected = (np.abs(middles[:, 0]) < 50) & (np.abs(middles[:, 1]) < 30) & (middles[:, 2] > 39)
    assert np.array_equal(chosen, np.flatnonzero(expected))


def test_loop_may_be_hollow_and_runs_either_way_round() -> None:
    mesh = fine_box()
    outline = [(-50, -30), (50, -30), (50, 30), (0, 0), (-50, 30)]
    loop = [(float(x), float(y), 40.0) for x, y in outline]
    one = split.inside_loop(mesh.vertices, mesh.triangles, loop)
    other = split.inside_loop(mesh.vertices, mesh.triangles, loop[::-1])
    assert np.array_equal(one, other)
    middles = mesh.vertices[mesh.triangles[one]].mean(axis=1)
    assert not ((np.abs(middles[:, 0]) < 5) & (middles[:, 1] > 5)).any()


def test_loop_round_a_roof_keeps_to_the_roof_of_a_double_shell() -> None:
    inner = fine_box()
    outer = np.concatenate([inner.vertices * 1.1, inner.vertices])
    both = np.concatenate([inner.triangles, inner.triangles + len(inner.vertices)])
    loop = [(-50.0, -30.0, 44.0), (50.0, -30.0, 44.0), (50.0, 30.0, 44.0), (-50.0, 30.0, 44.0)]
    chosen = split.inside_loop(outer, both.astype(np.int32), loop)
    assert len(chosen)
    assert (outer[both[chosen]][..., 2] > 43).all()


@pytest.mark.parametrize("loop", [[(0.0, 0.0, 0.0), (1.0, 0.0, 0.0)], [(0.0, 0.0, 0.0)] * 4])
def test_loop_of_too_few_places_is_refused(loop: list[tuple[float, float, float]]) -> None:
    mesh = fine_box()
    with pytest.raises(GeometryError, match="loop"):
        split.inside_loop(mesh.vertices, mesh.triangles, loop)


def test_split_keeps_the_surface_and_gives_the_new_panel_its_own_id() -> None:
    mesh = fine_box()
    layout, new = split.split_panel(layout_of(mesh), 2, top_of(mesh), "roof")
    rest, roof = layout.panels[2], layout.panels[new]
    assert (rest.name, roof.name, new, layout.next_id) == ("van", "roof", 3, 4)
    assert surface(rest.mesh) | surface(roof.mesh) == surface(mesh)
    assert not surface(rest.mesh) & surface(roof.mesh)
    assert rest.source == "van"
    assert roof.source != rest.source


def test_split_of_nothing_or_all_is_refused() -> None:
    mesh = fine_box()
    for triangles in (np.array([], dtype=int), np.arange(len(mesh.triangles))):
        with pytest.raises(GeometryError):
            split.split_panel(layout_of(mesh), 2, triangles, "roof")


def test_a_name_that_is_taken_gets_a_number() -> None:
    mesh = fine_box()
    layout, new = split.split_panel(layout_of(mesh), 2, top_of(mesh), "van")
    assert layout.panels[new].name == "van 2"


def test_joining_undoes_a_split() -> None:
    mesh = fine_box()
    apart, new = split.split_panel(layout_of(mesh), 2, top_of(mesh), "roof")
    joined = split.join_panels(apart, (2, new))
    assert list(joined.panels) == [2]
    assert surface(joined.panels[2].mesh) == surface(mesh)
    assert len(joined.panels[2].mesh.vertices) == len(mesh.vertices)


def test_panels_of_two_bodies_are_not_joined() -> None:
    mesh = fine_box()
    layout = layout_of(mesh)
    layout.bodies[4] = Body(4, "trailer")
    layout.panels[5] = Panel(5, "trailer", 4, mesh)
    with pytest.raises(GeometryError, match="different bodies"):
        split.join_panels(layout, (2, 5))


def test_loose_pieces_become_panels_and_the_largest_stays() -> None:
    parts = [trimesh.creation.icosphere(n).apply_translation((5 * n, 0, 0)) for n in (1, 3, 2)]
    layout, new = split.split_pieces(layout_of(mesh_of(trimesh.util.concatenate(parts))), 2)
    assert [len(layout.panels[id].mesh.triangles) for id in (2, *new)] == [1280, 320, 80]
    with pytest.raises(GeometryError, match="one piece"):
        split.split_pieces(layout, 2)


def test_the_roof_of_the_sedan_is_taken_off_by_a_loop(meshes) -> None:  # type: ignore[no-untyped-def]
    from geometry.body import scan

    found = scan.read(meshes / "sedan_chassis_vis.obj")
    body = max(found.parts, key=lambda part: len(part.mesh.triangles)).mesh
    loop = [(-0.9, -0.4, 1.42), (-0.2, -0.4, 1.44), (-0.2, 0.4, 1.44), (-0.9, 0.4, 1.42)]
    chosen = split.inside_loop(body.vertices, body.triangles, loop)
    heights = body.vertices[body.triangles[chosen]].mean(axis=1)[:, 2]
    assert len(chosen) > 20
    assert heights.min() > 1.3
