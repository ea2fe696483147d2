import math

import pytest

from geometry.tube import bending, stock


def test_a_wall_that_leaves_no_tube_is_refused() -> None:
    for od, wall in ((44.45, 0.0), (44.45, 22.3), (0.0, 1.0), (-1.0, 1.0), (math.nan, 1.0)):
        with pytest.raises(ValueError, match="wall"):
            stock.section(od, wall)


def test_the_starting_rack_has_fresh_ids_and_says_the_next_one() -> None:
    stocks, dies, next_id = stock.starting_rack(17)
    assert sorted([*stocks, *dies]) == list(range(17, next_id))
    assert all(row.id == id for rows in (stocks, dies) for id, row in rows.items())


def test_every_size_of_the_starting_rack_has_a_die_that_it_may_be_bent_on() -> None:
    stocks, dies, _ = stock.starting_rack(1)
    for row in stocks.values():
        fitting = [die for die in dies.values() if bending.is_for(die, row)]
        assert any(die.clr >= row.least_clr_ratio * row.od - 1e-6 for die in fitting), row.name


def test_inch_sizes_of_the_starting_rack_are_not_their_metric_look_alikes() -> None:
    stocks, _, _ = stock.starting_rack(1)
    ods = {row.name: (row.od, row.wall) for row in stocks.values()}
    assert ods["1.75 × 0.120 in"] == (44.45, 3.048)
    assert ods["45 × 2.5 mm"] == (45.0, 2.5)
    assert len({row.name for row in stocks.values()}) == len(stocks)


def test_the_starting_bender_stands_clear_of_a_straight_tube_in_it() -> None:
    bender = stock.starting_bender(7)
    assert (bender.id, bender.height, bender.swing, bender.moves) == (7, 1000.0, "left", "lead")
    radius = max(size.od for size in stock.starting_rack(1)[0].values()) / 2.0
    for box in bender.boxes:
        assert all(low < high for low, high in zip(box.low, box.high, strict=True))
        assert box.high[2] < -radius
        assert box.low[2] >= -bender.height
