"""What has no surface or stands twice is taken out and counted."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from geometry.body import cleaning
from geometry.body.cleaning import Cleaned

SQUARE = np.array([[0, 0, 0], [1, 0, 0], [1, 1, 0], [0, 1, 0]], dtype=float)


def test_a_clean_mesh_stays_as_it_is() -> None:
    triangles = np.array([[0, 1, 2], [0, 2, 3]])
    mesh, counts = cleaning.cleaned(SQUARE, triangles)
    assert np.array_equal(mesh.vertices, SQUARE)
    assert np.array_equal(mesh.triangles, triangles)
    assert counts == Cleaned()


def test_duplicate_faces_go_whichever_way_they_are_wound() -> None:
    triangles = np.array([[0, 1, 2], [2, 1, 0], [1, 2, 0], [0, 2, 3]])
    mesh, counts = cleaning.cleaned(SQUARE, triangles)
    assert mesh.triangles.tolist() == [[0, 1, 2], [0, 2, 3]]
    assert counts == Cleaned(duplicate_faces=2)


def test_collapsed_faces_go_also_when_their_corners_only_lie_on_a_line() -> None:
    points = np.vstack([SQUARE, [[0.5, 0, 0], [0.3, 0, 0]]])
    triangles = np.array([[0, 1, 2], [0, 0, 1], [0, 4, 1], [5, 5, 5]])
    mesh, counts = cleaning.cleaned(points, triangles)
    assert mesh.triangles.tolist() == [[0, 1, 2]]
    assert counts == Cleaned(collapsed_faces=3, unused_vertices=3)


def test_a_thin_triangle_that_has_a_surface_stays() -> None:
    points = np.array([[0, 0, 0], [1000, 0, 0], [500, 1e-3, 0]], dtype=float)
    _, counts = cleaning.cleaned(points, np.array([[0, 1, 2]]))
    assert counts.collapsed_faces == 0


def test_points_that_lie_at_one_place_are_joined_but_near_ones_are_not() -> None:
    points = np.vstack([SQUARE, SQUARE + 0.0, SQUARE + 1e-9])
    points[4, 0] = -0.0
    triangles = np.array([[0, 1, 2], [4, 6, 7], [8, 9, 10]])
    mesh, counts = cleaning.cleaned(points, triangles)
    assert mesh.triangles.tolist() == [[0, 1, 2], [0, 2, 3], [4, 5, 6]]
    assert counts == Cleaned(merged_vertices=4, unused_vertices=1)


def test_what_comes_out_cannot_be_written_to() -> None:
    mesh, _ = cleaning.cleaned(SQUARE, np.array([[0, 1, 2]]))
    assert not mesh.vertices.flags.writeable
    assert not mesh.triangles.flags.writeable
    assert (mesh.vertices.dtype, mesh.triangles.dtype) == (np.float64, np.int32)


@given(st.lists(st.tuples(*[st.integers(0, 6)] * 3), max_size=30), st.integers(0, 2**32 - 1))
def test_cleaning_twice_changes_nothing_more_and_no_surface_is_lost(
    faces: list[tuple[int, int, int]], seed: int
) -> None:
    points = np.random.default_rng(seed).integers(0, 3, (7, 3)).astype(float)
    triangles = np.array(faces, dtype=np.int64).reshape(-1, 3)
    mesh, counts = cleaning.cleaned(points, triangles)
    again, none = cleaning.cleaned(mesh.vertices, mesh.triangles.astype(np.int64))
    assert none == Cleaned()
    assert np.array_equal(again.triangles, mesh.triangles)
    assert len(mesh.triangles) + counts.duplicate_faces + counts.collapsed_faces == len(triangles)
    corners = points[triangles]
    areas = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1)
    before = {frozenset(map(tuple, some)) for some in corners[areas > 0]}
    assert {frozenset(map(tuple, some)) for some in mesh.vertices[mesh.triangles]} == before
