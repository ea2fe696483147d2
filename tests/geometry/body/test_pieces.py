"""A mesh falls into its connected pieces."""

import numpy as np
import trimesh

from geometry.body import cleaning, pieces
from geometry.layout import Mesh


def mesh_of(*parts: trimesh.Trimesh) -> Mesh:
    whole = trimesh.util.concatenate(list(parts))
    return cleaning.cleaned(np.array(whole.vertices), np.array(whole.faces))[0]


def ball(x: float, subdivisions: int) -> trimesh.Trimesh:
    return trimesh.creation.icosphere(subdivisions).apply_translation((x, 0, 0))


def test_pieces_are_numbered_from_the_largest() -> None:
    numbers = pieces.piece_numbers(mesh_of(ball(0, 1), ball(5, 2), ball(10, 0)))
    assert np.bincount(numbers).tolist() == [320, 80, 20]
    assert numbers[0] == 1


def test_one_piece_is_the_mesh_itself() -> None:
    mesh = mesh_of(ball(0, 2))
    assert pieces.named_pieces(mesh) == [("piece 1", mesh)]


def test_all_triangles_are_found_again_in_the_pieces() -> None:
    mesh = mesh_of(ball(0, 3), ball(5, 2), *(ball(10 + 3 * n, 0) for n in range(40)))
    named = pieces.named_pieces(mesh)
    assert sum(len(part.triangles) for _, part in named) == len(mesh.triangles)
    assert [name for name, _ in named][:2] == ["piece 1", "piece 2"]
    assert len(named) <= pieces.MOST_PIECES + 1


def test_crumbs_of_a_scan_go_together() -> None:
    crumbs = [
        trimesh.Trimesh([[0, 0, n], [1, 0, n], [0, 1, n]], [[0, 1, 2]], process=False) for n in range(50, 80)
    ]
    named = pieces.named_pieces(mesh_of(ball(0, 5), *crumbs))
    assert [name for name, _ in named] == ["piece 1", pieces.SMALL_PIECES]
    assert len(named[1][1].triangles) == 30
