"""Edits of how tubes are held and kept."""

import math

import numpy as np
import pytest

from geometry import fixing
from geometry.errors import GeometryError
from geometry.layout import Body, Layout, Mesh, Node, Panel, Stock, Tube, Weld

TUBE, OTHER, SHEET = 3, 4, 6
LENGTH = 500.0


def job() -> Layout:
    mesh = Mesh(np.zeros((3, 3)), np.array([[0, 1, 2]], np.int32))
    return Layout(
        nodes={1: Node(1, (0.0, 0.0, 0.0)), 2: Node(2, (LENGTH, 0.0, 0.0))},
        tubes={TUBE: Tube(TUBE, "T1", (1, 2), 9), OTHER: Tube(OTHER, "T2", (2, 1), 9)},
        stocks={9: Stock(9, "45 x 2.5", 45.0, 2.5)},
        bodies={5: Body(5, "body")},
        panels={SHEET: Panel(SHEET, "sheet", 5, mesh)},
        next_id=10,
    )


def test_ties_and_following_are_set_for_the_tubes_named_alone() -> None:
    layout = fixing.set_hugs(fixing.set_tied(job(), [TUBE], "frame"), [TUBE], False)
    assert (layout.tubes[TUBE].tied, layout.tubes[TUBE].hugs) == ("frame", False)
    assert layout.tubes[OTHER] == job().tubes[OTHER]
    assert fixing.set_tied(layout, [TUBE], "frame") is layout


def test_an_own_stand_off_is_set_and_taken_away_one_side_at_a_time() -> None:
    layout = fixing.set_standoff(job(), [TUBE, SHEET], closest=20.0)
    layout = fixing.set_standoff(layout, [TUBE, SHEET], farthest=60.0)
    for thing in (layout.tubes[TUBE], layout.panels[SHEET]):
        assert (thing.standoff_closest, thing.standoff_farthest) == (20.0, 60.0)
    layout = fixing.set_standoff(layout, [TUBE], closest=None)
    assert (layout.tubes[TUBE].standoff_closest, layout.tubes[TUBE].standoff_farthest) == (None, 60.0)


def test_marks_are_added_changed_and_removed() -> None:
    layout = fixing.add_weld(job(), TUBE, Weld(SHEET, 10.0, 90.0))
    layout = fixing.add_weld(layout, TUBE, Weld(SHEET, 200.0, LENGTH + 70.0))
    assert layout.tubes[TUBE].welds == (Weld(SHEET, 10.0, 90.0), Weld(SHEET, 200.0, None))
    layout = fixing.replace_weld(layout, TUBE, 0, Weld(SHEET, 20.0, 80.0))
    assert layout.tubes[TUBE].welds[0] == Weld(SHEET, 20.0, 80.0)
    layout = fixing.remove_weld(layout, TUBE, 0)
    assert layout.tubes[TUBE].welds == (Weld(SHEET, 200.0, None),)


@pytest.mark.parametrize(
    ("weld", "sentence"),
    [
        (Weld(99), "no longer in the job"),
        (Weld(SHEET, -1.0), "0 or more"),
        (Weld(SHEET, math.nan), "0 or more"),
        (Weld(SHEET, 0.0, math.inf), "0 or more"),
        (Weld(SHEET, LENGTH + 1.0), "not so long"),
        (Weld(SHEET, 90.0, 90.0), "farther along"),
        (Weld(SHEET, 90.0, 10.0), "farther along"),
    ],
)
def test_a_weld_that_cannot_be_is_refused_in_a_sentence(weld: Weld, sentence: str) -> None:
    with pytest.raises(GeometryError, match=sentence):
        fixing.add_weld(job(), TUBE, weld)


def test_what_is_gone_is_refused() -> None:
    for edit in (
        lambda: fixing.set_tied(job(), [77], "body"),
        lambda: fixing.set_standoff(job(), [77], closest=5.0),
        lambda: fixing.remove_weld(job(), TUBE, 0),
        lambda: fixing.replace_weld(job(), TUBE, 3, Weld(SHEET)),
    ):
        with pytest.raises(GeometryError, match="no longer"):
            edit()
    with pytest.raises(ValueError, match="widest"):
        fixing.set_standoff(job(), [TUBE], widest=5.0)
