"""The rack in a layout: benders, trial bends, and what is refused."""

import math
from typing import Any

import pytest
from msgspec.structs import replace

from geometry import edits, rack
from geometry.errors import GeometryError
from geometry.layout import Bender, Box, Die, Layout, Stock, TrialBend

BASE, BENDER_ID = rack.add_bender(Layout(), Bender(0, "Yard bender"))
BASE, STOCK_ID = rack.add_stock(BASE, Stock(0, "38 × 2 mm", 38.0, 2.0))
BASE, DIE_ID = rack.add_die(BASE, Die(0, "38 mm, CLR 114 mm", 38.0, 114.0, bender=BENDER_ID))
TRIAL = TrialBend(0, DIE_ID, STOCK_ID, "B 7", "2026-03-31", 900.0, 400.0, math.radians(93), math.radians(90))
LEG = [(0.0, 0.0, 0.0), (0.0, 0.0, 900.0), (0.0, 900.0, 900.0)]


def refusal(change: Any, *given: Any) -> str:
    with pytest.raises(GeometryError) as refused:
        change(*given)
    assert refused.value.message.endswith(".")
    return refused.value.message


def test_the_starting_rack_holds_a_bender_that_all_its_dies_are_used_in() -> None:
    layout = rack.with_starting_rack(Layout())
    (bender,) = layout.benders.values()
    assert {die.bender for die in layout.dies.values()} == {bender.id}
    ids = [*layout.stocks, *layout.dies, *layout.benders]
    assert len(set(ids)) == len(ids)
    assert max(ids) == layout.next_id - 1


def test_the_starting_rack_joins_what_is_there() -> None:
    layout = rack.with_starting_rack(BASE)
    assert layout.dies[DIE_ID] is BASE.dies[DIE_ID]
    assert len(layout.benders) == 2


# Benders


def test_a_bender_comes_changes_and_goes() -> None:
    layout, id = rack.add_bender(BASE, Bender(0, "Second", height=900.0))
    assert layout.benders[id] == Bender(id, "Second", height=900.0)
    assert layout.next_id == id + 1
    box = Box("Post", (-100.0, 0.0, -900.0), (100.0, 200.0, -100.0))
    layout = rack.replace_bender(layout, replace(layout.benders[id], boxes=(box,), swing="up"))
    assert layout.benders[id].boxes == (box,)
    layout = rack.remove_bender(layout, id)
    assert layout.benders == BASE.benders
    assert "no longer" in refusal(rack.replace_bender, layout, Bender(id, "Second"))
    assert "no longer" in refusal(rack.remove_bender, layout, id)


def test_a_bender_that_holds_dies_stays() -> None:
    says = "Yard bender is used by the dies 38 mm, CLR 114 mm. Give them another bender first."
    assert refusal(rack.remove_bender, BASE, BENDER_ID) == says
    usual = rack.with_starting_rack(Layout())
    assert "; and 14 more. Give" in refusal(rack.remove_bender, usual, next(iter(usual.benders)))
    free = rack.replace_die(BASE, replace(BASE.dies[DIE_ID], bender=None))
    assert rack.remove_bender(free, BENDER_ID).benders == {}


POST = Box("Post", (-100.0, 0.0, -900.0), (100.0, 200.0, -100.0))


@pytest.mark.parametrize(
    ("row", "says"),
    [
        (Bender(0, "  "), "A name needs"),
        (Bender(0, "B", height=0.0), "The height of B above the floor must be more than 0"),
        (Bender(0, "B", height=math.nan), "The height of B"),
        (Bender(0, "B", height=math.inf), "The height of B"),
        (Bender(0, "B", boxes=(replace(POST, high=(-100.0, 200.0, -100.0)),)), "Box Post of B has a corner"),
        (Bender(0, "B", boxes=(replace(POST, low=(-100.0, math.nan, -900.0)),)), "not a number"),
        (Bender(0, "B", boxes=(replace(POST, high=(2e6, 200.0, -100.0)),)), "more than a kilometre"),
    ],
)
def test_a_bender_that_can_not_exist_is_refused(row: Bender, says: str) -> None:
    assert says in refusal(rack.add_bender, BASE, row)
    assert says in refusal(rack.replace_bender, BASE, replace(row, id=BENDER_ID))


# Stock and dies


@pytest.mark.parametrize(
    ("row", "says"),
    [
        (Stock(0, " ", 38.0, 2.0), "A name needs"),
        (Stock(0, "S", 0.0, 2.0), "Every number of tube size S must be more than 0"),
        (Stock(0, "S", 38.0, 2.0, stick=math.inf), "Every number of tube size S"),
        (Stock(0, "S", 38.0, 19.1), "The wall of S"),
        (
            Stock(0, "S", 38.0, 2.0, yield_strength=-1.0),
            "The yield strength of S must be 0 (not known) or more",
        ),
        (Stock(0, "S", 38.0, 2.0, yield_strength=math.nan), "The yield strength of S"),
        (Stock(0, "S", 38.0, 2.0, modulus=0.0), "The elastic modulus of S"),
    ],
)
def test_a_tube_size_that_can_not_exist_is_refused(row: Stock, says: str) -> None:
    assert says in refusal(rack.add_stock, BASE, row)
    assert says in refusal(rack.replace_stock, BASE, replace(row, id=STOCK_ID))


def test_solid_bar_is_a_tube_size() -> None:
    layout, id = rack.add_stock(BASE, Stock(0, "Bar", 20.0, 10.0))
    assert layout.stocks[id].wall == 10.0


@pytest.mark.parametrize(
    ("row", "says"),
    [
        (Die(0, " ", 38.0, 114.0), "A name needs"),
        (Die(0, "D", 38.0, 0.0), "OD, radius and largest angle of D must be more than 0"),
        (Die(0, "D", 38.0, 114.0, largest_angle=math.nan), "OD, radius and largest angle of D"),
        (Die(0, "D", 38.0, 114.0, largest_angle=3.2), "The largest angle of D cannot be more than 180°"),
        (Die(0, "D", 38.0, 18.0), "The radius of D cannot be less than half its diameter"),
        (Die(0, "D", 38.0, 114.0, tail=-1.0), "The least straights of D must be 0 or more"),
        (Die(0, "D", 38.0, 114.0, between_straight=math.nan), "The least straights of D"),
        (Die(0, "D", 38.0, 114.0, reference=math.inf), "The reference point of D must be a length"),
    ],
)
def test_a_die_that_can_not_exist_is_refused(row: Die, says: str) -> None:
    assert says in refusal(rack.add_die, BASE, row)
    assert says in refusal(rack.replace_die, BASE, replace(row, id=DIE_ID))


def test_a_reference_point_may_lie_on_either_side() -> None:
    for reference in (-35.0, 35.0):
        after = rack.replace_die(BASE, replace(BASE.dies[DIE_ID], reference=reference))
        assert after.dies[DIE_ID].reference == reference


# Trial bends


def test_a_trial_bend_comes_changes_and_goes() -> None:
    layout, id = rack.add_trial(BASE, TRIAL)
    assert layout.trials == {id: replace(TRIAL, id=id)}
    layout = rack.replace_trial(layout, replace(layout.trials[id], used=False))
    assert not layout.trials[id].used
    layout = rack.remove_trial(layout, id)
    assert layout.trials == {}
    assert "no longer" in refusal(rack.replace_trial, layout, replace(TRIAL, id=id))
    assert "no longer" in refusal(rack.remove_trial, layout, id)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"die": 99}, "no longer in the rack"),
        ({"stock": 99}, "no longer in the rack"),
        ({"length": math.inf}, "The mark must lie on the scrap"),
        ({"mark": 0.0}, "The mark must lie on the scrap"),
        ({"mark": 900.0}, "The mark must lie on the scrap"),
        ({"mark": math.nan}, "The mark must lie on the scrap"),
        ({"angle": math.pi}, "The dial and the angle that came out"),
        ({"angle": 0.0}, "The dial and the angle that came out"),
        ({"dial": math.nan}, "The dial and the angle that came out"),
        (
            {"measured_to": "back", "angle": math.radians(60)},
            "The back of a bend can be measured from 90° on",
        ),
        ({"lead_leg": 0.0}, "What was measured must be more than 0"),
        ({"tail_leg": math.nan}, "What was measured must be more than 0"),
        ({"widest": -1.0}, "What was measured must be more than 0"),
        ({"narrowest": math.inf}, "What was measured must be more than 0"),
    ],
)
def test_a_trial_bend_that_can_not_have_been_made_is_refused(changes: dict[str, Any], says: str) -> None:
    layout, id = rack.add_trial(BASE, TRIAL)
    assert says in refusal(rack.add_trial, BASE, replace(TRIAL, **changes))
    assert says in refusal(rack.replace_trial, layout, replace(TRIAL, id=id, **changes))


def test_the_back_is_measured_at_a_right_angle_that_sprang_back_a_little() -> None:
    layout, id = rack.add_trial(BASE, replace(TRIAL, measured_to="back", angle=math.radians(89.2)))
    assert layout.trials[id].measured_to == "back"


def test_a_trial_bend_takes_tube_of_its_dies_diameter() -> None:
    layout, other = rack.add_stock(BASE, Stock(0, "40 × 2 mm", 40.0, 2.0))
    assert "does not take 40 × 2 mm" in refusal(rack.add_trial, layout, replace(TRIAL, stock=other))


def test_what_was_measured_keeps_its_die_and_its_tube_size() -> None:
    layout, _ = rack.add_trial(BASE, TRIAL)
    die, stock = layout.dies[DIE_ID], layout.stocks[STOCK_ID]
    assert "has 1 trial bend measured on it" in refusal(rack.remove_die, layout, DIE_ID)
    assert "has 1 trial bend measured on it" in refusal(rack.remove_stock, layout, STOCK_ID)
    layout, _ = rack.add_trial(layout, TRIAL)
    assert "has 2 trial bends" in refusal(rack.replace_die, layout, replace(die, od=38.1))
    assert "keep its diameter" in refusal(rack.replace_stock, layout, replace(stock, od=38.1))
    assert rack.replace_die(layout, replace(die, clr=120.0)).dies[DIE_ID].clr == 120.0
    assert rack.replace_stock(layout, replace(stock, batch="B 8")).stocks[STOCK_ID].batch == "B 8"


def test_a_trial_bend_leaves_tubes_and_nodes_as_they_are() -> None:
    layout, tube = edits.add_tube(BASE, LEG, STOCK_ID)
    after, _ = rack.add_trial(layout, TRIAL)
    assert after.tubes[tube] is layout.tubes[tube]
    assert after.nodes == layout.nodes
