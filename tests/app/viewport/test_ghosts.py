"""Another version's tubes in the view: dashed, one actor, in either theme, and gone again."""

import numpy as np

from app.viewport import colours, ghosts
from geometry.layout import Layout
from geometry.tube import centreline


def test_ghosts_are_one_actor_that_comes_and_goes(qtbot, open_view, body) -> None:
    view = open_view(body)
    count = view._renderer.GetActors().GetNumberOfItems()
    view.show_ghosts(body)
    assert view.scene.ghosts.is_shown == bool(body.tubes)
    assert view._renderer.GetActors().GetNumberOfItems() == count
    view.show_ghosts(None)
    assert not view.scene.ghosts.is_shown
    view.show_ghosts(Layout())
    assert not view.scene.ghosts.is_shown


def test_a_ghost_is_half_gaps_and_lies_within_its_tube() -> None:
    line = centreline.build([(0.0, 0.0, 0.0), (0.0, 0.0, 1000.0), (900.0, 0.0, 1000.0)], 150.0)
    whole = ghosts.dashed(line, 20.0)
    used = whole.points[np.unique(whole.triangles)]
    gaps = [abs(np.linalg.norm(point - centreline.nearest(line, tuple(point))[1]) - 20.0) for point in used]
    assert max(gaps) < 1.0  # chords of arcs
    stations = np.array([centreline.nearest(line, tuple(point))[0] for point in used])
    in_dash = np.floor(stations / ghosts.DASH) % 2 == 0
    assert in_dash.mean() > 0.6
    assert len(np.unique(whole.triangles)) < 0.75 * len(whole.points)


def test_ghosts_are_told_apart_from_tubes_in_either_theme(open_view, body) -> None:
    view = open_view(body)
    for dark in (False, True):
        view.set_theme(dark)
        theme = colours.theme(dark)
        ghost = np.array(view.scene.ghosts.actor.GetProperty().GetColor())
        for other in (theme.tube, theme.tube_selected, theme.body, theme.sky):
            assert np.abs(ghost - colours.rgb(other)).max() > 0.12
