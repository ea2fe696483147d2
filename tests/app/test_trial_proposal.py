"""The next trial bend: one that the die can hold, at the angle that would tell most."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from app import trial_proposal
from app.units import INCHES, MILLIMETRES, MM_PER_INCH, Units
from geometry import rack
from geometry.layout import BendPart, Die, Layout, Stock, TrialBend
from geometry.tube import trial_fit

QUARTER = math.pi / 2.0


def shop(die: Die) -> tuple[Layout, Die, Stock]:
    layout, stock = rack.add_stock(Layout(), Stock(0, "tube", die.od, 2.0))
    layout, id = rack.add_die(layout, die)
    return layout, layout.dies[id], layout.stocks[stock]


def bent(layout: Layout, die: Die, stock: Stock, angle: float, batch: str = "") -> Layout:
    trial = TrialBend(0, die.id, stock.id, batch, "2026-11-20", 800.0, 250.0, angle * 1.03, angle)
    return rack.add_trial(layout, trial)[0]


@given(
    clr=st.floats(40.0, 300.0),
    first=st.floats(0.0, 400.0),
    tail=st.floats(0.0, 500.0),
    reference=st.floats(-150.0, 150.0),
    mark_at=st.sampled_from(["start", "middle", "end"]),
    largest=st.floats(0.3, 3.1),
    units=st.sampled_from([MILLIMETRES, INCHES]),
)
def test_the_die_holds_the_proposed_bend_at_both_ends(
    clr: float,
    first: float,
    tail: float,
    reference: float,
    mark_at: BendPart,
    largest: float,
    units: Units,
) -> None:
    die = Die(0, "die", 38.1, clr, largest, first, 0.0, tail, mark_at=mark_at, reference=reference)
    proposal = trial_proposal.propose(*shop(die), units)
    start = proposal.mark + reference - trial_fit.PART[mark_at] * clr * proposal.dial
    assert start >= first - 1e-6
    assert proposal.length - start - clr * proposal.dial >= tail - 1e-6
    assert proposal.length >= trial_proposal.METRIC.usual
    assert proposal.dial <= largest + 1e-6


@pytest.mark.parametrize(("units", "step"), [(MILLIMETRES, 10.0), (INCHES, 0.5 * MM_PER_INCH)])
def test_marks_are_easy_to_find_on_the_tape(units: Units, step: float) -> None:
    proposal = trial_proposal.propose(*shop(Die(0, "die", 38.1, 114.3, first_straight=187.0)), units)
    for value in (proposal.mark, proposal.length):
        assert value / step == pytest.approx(round(value / step))


def test_the_first_bend_is_square_where_the_die_reaches_that_far() -> None:
    die = Die(0, "die", 38.1, 114.3)
    assert trial_proposal.propose(*shop(die), MILLIMETRES).dial == pytest.approx(QUARTER)
    short = replace(die, largest_angle=math.radians(70.0))
    assert trial_proposal.propose(*shop(short), MILLIMETRES).dial == pytest.approx(math.radians(60.0))


def test_the_second_bend_is_far_from_the_first() -> None:
    layout, die, stock = shop(Die(0, "die", 38.1, 114.3))
    after = bent(layout, die, stock, QUARTER)
    proposal = trial_proposal.propose(after, die, stock, MILLIMETRES)
    assert abs(proposal.dial - QUARTER) >= math.radians(30.0) - 1e-9


def test_a_new_batch_is_checked_at_a_right_angle() -> None:
    layout, die, stock = shop(Die(0, "die", 38.1, 114.3))
    layout = bent(layout, die, stock, QUARTER, "old")
    assert trial_proposal.propose(layout, die, stock, MILLIMETRES).dial == pytest.approx(QUARTER)
