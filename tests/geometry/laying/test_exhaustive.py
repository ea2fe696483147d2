"""Tubes over wavy panels, compared with every combination of coarse corners and ends."""

import itertools
import math
from collections.abc import Callable

import numpy as np
import pytest

from geometry.body.distance import PanelIndex
from geometry.laying import cost, following, shape
from geometry.laying.wish import Place, Wish, recommended
from geometry.tube import centreline
from geometry.vectors import Floats, vec

OD, CLR = 44.45, 152.4
HALF = 700.0
Profile = Callable[[Floats], Floats]


def wavy(seed: int) -> Profile:
    waves = np.random.default_rng(seed).uniform((5.0, 1 / 500, 0.0), (40.0, 1 / 150, 6.0), (3, 3))
    return lambda x: sum(0.5 * height * np.sin(pace * x + start) for height, pace, start in waves)


def panel_of(profile: Profile) -> PanelIndex:
    """Return a panel 600 mm wide with this profile along it."""
    x, y = np.meshgrid(np.linspace(-1000.0, 1000.0, 201), np.linspace(-300.0, 300.0, 3), indexing="ij")
    number = np.arange(x.size).reshape(x.shape)
    a, b, c, d = (
        part.ravel() for part in (number[:-1, :-1], number[1:, :-1], number[1:, 1:], number[:-1, 1:])
    )
    triangles = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])
    return PanelIndex(np.stack([x, y, profile(x)], axis=-1).reshape(-1, 3), triangles)


def wish_over(profile: Profile, panel: PanelIndex) -> Wish:
    places = []
    for x in (-HALF, HALF):
        slope = float(profile(np.array(x + 1.0)) - profile(np.array(x - 1.0))) / 2.0
        out = np.array([-slope, 0.0, 1.0]) / math.hypot(slope, 1.0)
        point = panel.closest(np.array([[x, 0.0, float(profile(np.array(x)))]]))[2][0]
        places.append(Place(vec(point), vec(out)))
    return Wish(tuple(places), OD, CLR, 88.9, math.radians(120.0), 15.0, 30.0, 45.0)


def clearances(panel: PanelIndex, points: Floats) -> Floats:
    return panel.closest(points.reshape(-1, 3))[0].reshape(points.shape[:-1]) - OD / 2.0


def cheapest(panel: PanelIndex, profile: Profile, wish: Wish, bends: int) -> float:
    """Return the least price of the tubes in the band through coarse ends and corners; none: infinite."""
    ends = [
        [np.array(place.point) + (OD / 2.0 + lift) * np.array(place.normal) for lift in range(15, 46, 6)]
        for place in wish.places
    ]
    marks = itertools.product(np.linspace(-HALF, HALF, 29)[1:-1], np.linspace(12.0, 70.0, 12))
    corners = [np.array((x, 0.0, float(profile(x)) + OD / 2.0 + up)) for x, up in marks]
    inner = itertools.combinations(corners, bends)
    tubes = np.array([(a, *some, b) for some, a, b in itertools.product(inner, *ends)])
    coarse = shape.places(np.full(bends + 1, 300.0), np.full(bends, 60.0), 100.0, 30.0)
    tubes = tubes[_in_band(clearances(panel, shape.shaped(tubes, CLR, coarse).points), wish)]
    if not len(tubes):
        return math.inf
    fine = shape.places(np.full(bends + 1, 700.0), np.full(bends, 60.0), 5.0, 2.0)
    laid = shape.shaped(tubes, CLR, fine)
    clear = clearances(panel, laid.points)
    fits = _in_band(clear, wish) & (laid.straights >= 0.0).all(axis=1)
    prices = np.sum(cost.closeness(clear, wish) * laid.weights, axis=1) / laid.weights.sum(axis=1)
    return float(prices[fits].min(initial=math.inf))


def _in_band(clear: Floats, wish: Wish) -> Floats:
    return (clear.min(axis=1) >= wish.closest) & (clear.max(axis=1) <= wish.farthest)


@pytest.mark.parametrize("seed", [0, 1, 4, 8, 13])
def test_no_other_tube_has_fewer_bends_or_is_closer(seed: int) -> None:
    profile = wavy(seed)
    panel = panel_of(profile)
    wish = wish_over(profile, panel)
    tube = recommended(following.propose({1: panel}, wish))
    assert tube.fits
    for fewer in range(min(tube.bends, 2)):
        assert cheapest(panel, profile, wish, fewer) == math.inf
    if tube.bends < 2:
        line = centreline.build(tube.corners, CLR)
        clear = clearances(panel, centreline.point_at(line, np.linspace(0.0, line.length, 1500)))
        own = float(cost.closeness(clear, wish).mean())
        assert own <= 1.02 * cheapest(panel, profile, wish, tube.bends)
