"""Centrelines of a whole layout: looked up anew where what they hang on changed."""

import math

from app.viewport.lines import of_all
from geometry import edits, rack
from geometry.layout import Layout, TrialBend
from geometry.tube import bending, centreline


def test_what_trial_bends_teach_bends_the_drawn_tubes() -> None:
    layout = rack.with_starting_rack(Layout())
    stock = next(iter(layout.stocks.values()))
    places = [(0.0, 0.0, 0.0), (0.0, 0.0, 900.0), (0.0, 900.0, 900.0)]
    layout, id = edits.add_tube(layout, places, stock.id)
    die = bending.die_of(layout, layout.tubes[id])
    assert die is not None
    before = of_all(layout)[id]
    quarter = math.radians(90.0)
    legs = 300.0 + die.clr + 6.0 + stock.od / 2.0
    for _ in range(2):
        trial = TrialBend(0, die.id, stock.id, "", "2026-11-25", 900.0, 300.0, quarter, quarter, legs, legs)
        layout, _ = rack.add_trial(layout, trial)
    after = of_all(layout)[id]
    assert after is centreline.of(layout, layout.tubes[id])
    assert (after is before) == (bending.clr_of(layout, layout.tubes[id]) == die.clr)
