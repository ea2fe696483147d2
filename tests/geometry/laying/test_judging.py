"""What is measured of a tube, where it can be said in closed form."""

import numpy as np
import pytest

from geometry.body.distance import PanelIndex
from geometry.laying import judging
from geometry.laying.metal import Metal
from geometry.laying.wish import Place, Wish

UP = (0.0, 0.0, 1.0)
SQUARE = PanelIndex(
    np.array([(-500.0, -500.0, 0.0), (1500.0, -500.0, 0.0), (1500.0, 500.0, 0.0), (-500.0, 500.0, 0.0)]),
    np.array([(0, 1, 2), (0, 2, 3)]),
)


def judged(*corners: tuple[float, float, float], between: tuple[Place, ...] = ()) -> judging.Judged:
    ends = (Place((0.0, 0.0, 0.0), UP), *between, Place((1000.0, 0.0, 0.0), UP))
    wish = Wish(ends, 40.0, 150.0, 80.0, 2.0, closest=10.0, wanted=30.0, farthest=40.0)
    return judging.judged({1: SQUARE}, Metal({1: SQUARE}), wish, np.array(corners))


def test_a_leaning_tube_over_a_flat_panel() -> None:
    found = judged((0.0, 0.0, 40.0), (1000.0, 0.0, 80.0)).proposal
    assert found.closest == pytest.approx(20.0, abs=0.05)
    assert found.farthest == pytest.approx(60.0)
    assert found.mean == pytest.approx(40.0)
    assert found.excess == pytest.approx(0.75 * 15.0, abs=0.01)
    assert found.outside == pytest.approx(np.hypot(1000.0, 40.0) / 2.0, abs=0.01)
    assert not found.fits


def test_a_place_that_is_missed_says_by_how_much() -> None:
    found = judged((0.0, 0.0, 50.0), (1000.0, 0.0, 50.0), between=(Place((500.0, 120.0, 0.0), UP),)).proposal
    assert found.aside == pytest.approx(np.hypot(120.0, 50.0) - 60.0)
    assert found.outside == 0.0


def test_places_out_of_order_are_noticed() -> None:
    places = (Place((600.0, 0.0, 0.0), UP), Place((400.0, 0.0, 0.0), UP))
    assert not judged((0.0, 0.0, 50.0), (1000.0, 0.0, 50.0), between=places).is_in_order


def test_bends_too_near_each_other_cannot_be_made() -> None:
    found = judged((0.0, 0.0, 50.0), (400.0, 0.0, 50.0), (450.0, 0.0, 90.0), (1000.0, 0.0, 90.0))
    assert not found.is_makeable
