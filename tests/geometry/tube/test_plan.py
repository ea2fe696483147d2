import math
import time

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from msgspec.structs import replace

from geometry import edits, rack
from geometry.errors import GeometryError
from geometry.layout import Die, Layout, Stock, TrialBend
from geometry.tube import centreline, feeding, plan, trials
from geometry.tube.feeding import Feed, Feeding

CLR = 152.4
GENERAL = ((0, 0, 0), (0, 0, 900), (250, 0, 1250), (1100, 150, 1300), (1250, 700, 1250), (1250, 1100, 700))
STARTS = (851.161126, 1252.973481, 2083.855789, 2660.202363)  # worked tube: bend starts without allowance
ENDS = (945.687148, 1390.738512, 2257.292323, 2794.554402)
TURNS = (12.75545488, 75.53955106, -72.43557203)
LENGTH = 3402.7343006
KNOWN = trials.as_bought(Die(0, "Die", 44.45, CLR))


def fed(*feeds: tuple[int, str], start: float = 25.0, end: float = 40.0) -> Feeding:
    return Feeding(tuple(Feed(bend, leads, 200.0, 300.0) for bend, leads in feeds), start, end)  # type: ignore[arg-type]


def general(*feeds: tuple[int, str], known: trials.Calibration = KNOWN) -> plan.Plan:
    return plan.planned(centreline.build(GENERAL, known.clr.value), fed(*feeds), known)


def rack_with(**changes: object) -> tuple[Layout, int, int]:
    """Return a layout with one stock and one die."""
    layout, stock = rack.add_stock(Layout(), Stock(0, "Tube", 44.45, 3.0))
    layout, die = rack.add_die(layout, replace(Die(0, "Die", 44.45, CLR), **changes))
    return layout, stock, die


UP = tuple((bend, "start") for bend in range(4))
DOWN = tuple((bend, "end") for bend in (3, 2, 1, 0))


def test_bends_take_the_blank_where_the_worked_tube_has_them() -> None:
    made = general(*UP)
    assert [step.bend for step in made.steps] == [1, 2, 3, 4]
    assert [step.start for step in made.steps] == pytest.approx([25.0 + at for at in STARTS], abs=1e-6)
    assert [step.end for step in made.steps] == pytest.approx([25.0 + at for at in ENDS], abs=1e-6)
    assert made.blank == pytest.approx(LENGTH + 65.0, abs=1e-6)
    assert (made.start_trim, made.end_trim) == pytest.approx((25.0, LENGTH + 25.0), abs=1e-6)
    assert made.stretch == 0.0


def test_the_dial_runs_on_from_the_bend_that_is_made_first() -> None:
    made = general(*UP)
    assert [step.turned_from for step in made.steps] == [None, 1, 1, 1]
    assert [math.degrees(step.rotation) for step in made.steps] == pytest.approx([0.0, *TURNS], abs=1e-8)
    dials = [math.degrees(step.dial) for step in made.steps]
    assert dials == pytest.approx([0.0, 12.75545488, 88.29500594, 15.85943391], abs=2e-8)


def test_the_other_end_first_reverses_the_turns_and_keeps_their_signs() -> None:
    made = general(*DOWN)
    assert [step.bend for step in made.steps] == [4, 3, 2, 1]
    assert [step.turned_from for step in made.steps] == [None, 4, 4, 4]
    rotations = [math.degrees(step.rotation) for step in made.steps]
    assert rotations == pytest.approx([0.0, *TURNS[::-1]], abs=1e-8)
    assert not any(step.is_turned_round for step in made.steps)


def test_after_turning_round_the_dial_starts_anew_from_the_neighbouring_bend() -> None:
    made = general((2, "start"), (3, "start"), (1, "end"), (0, "end"))
    assert [step.bend for step in made.steps] == [3, 4, 2, 1]
    assert [step.is_turned_round for step in made.steps] == [False, False, True, False]
    assert [step.turned_from for step in made.steps] == [None, 3, 3, 3]
    dials = [math.degrees(step.dial) for step in made.steps]
    assert dials == pytest.approx([0.0, 360.0 + TURNS[2], TURNS[1], TURNS[1] + TURNS[0]], abs=2e-8)


def test_from_the_end_side_outwards_the_start_leads_last() -> None:
    made = general((1, "end"), (0, "end"), (2, "start"), (3, "start"))
    assert [step.turned_from for step in made.steps] == [None, 2, 2, 2]
    dials = [math.degrees(step.dial) for step in made.steps]
    assert dials == pytest.approx([0.0, TURNS[0], TURNS[1], TURNS[1] + TURNS[2] % 360.0 - 360.0], abs=2e-8)


@pytest.mark.parametrize(("part", "behind"), [("start", 0.0), ("middle", 0.5), ("end", 1.0)])
def test_the_mark_is_where_the_reference_point_meets_the_blank(part: str, behind: float) -> None:
    known = trials.as_bought(Die(0, "Die", 44.45, CLR, mark_at=part, reference=30.0))  # type: ignore[arg-type]
    for step in general(*UP, known=known).steps:
        assert step.mark == pytest.approx(step.start + behind * (step.end - step.start) - 30.0)
    for step in general(*DOWN, known=known).steps:
        assert step.mark == pytest.approx(step.end - behind * (step.end - step.start) + 30.0)


def test_marks_run_from_the_start_whichever_end_leads() -> None:
    both = [{step.bend: step.mark for step in general(*order).steps} for order in (UP, DOWN)]
    for bend, start, end in zip((1, 2, 3, 4), STARTS, ENDS, strict=True):
        assert both[0][bend] == pytest.approx(25.0 + start, abs=1e-6)
        assert both[1][bend] == pytest.approx(25.0 + end, abs=1e-6)


def test_a_bend_that_takes_less_than_its_arc_makes_the_blank_shorter() -> None:
    known = replace(
        KNOWN,
        clr=replace(KNOWN.clr, value=156.0),
        consumed=replace(KNOWN.consumed, value=150.0),
        dial_at_zero=replace(KNOWN.dial_at_zero, value=0.03),
        dial_per_angle=replace(KNOWN.dial_per_angle, value=1.02),
    )
    made = general(*UP, known=known)
    line = centreline.build(GENERAL, 156.0)
    turned = sum(bend.angle for bend in line.bends)
    assert made.stretch == pytest.approx(6.0 * turned)
    assert made.blank == pytest.approx(sum(line.straights) + 150.0 * turned + 65.0)
    assert made.end_trim == pytest.approx(made.blank - 40.0)
    for step, bend in zip(made.steps, line.bends, strict=True):
        assert step.end - step.start == pytest.approx(150.0 * bend.angle)
        assert step.set_angle == pytest.approx(0.03 + 1.02 * bend.angle)
    for before, after, straight in zip(made.steps, made.steps[1:], line.straights[1:], strict=False):
        assert after.start - before.end == pytest.approx(straight)


def test_a_tube_with_a_die_is_planned_in_the_order_of_its_feeding() -> None:
    layout, stock, _ = rack_with()
    layout, tube = edits.add_tube(layout, list(GENERAL), stock)
    for order in ("start", "end"):
        turned = edits.set_bend_from(layout, [tube], order)  # type: ignore[arg-type]
        made = plan.of(turned, turned.tubes[tube])
        fed_as = feeding.of(turned, turned.tubes[tube])
        assert made.feeding == fed_as
        assert [step.bend - 1 for step in made.steps] == [feed.bend for feed in fed_as.feeds]
        assert [(step.leads, step.lead, step.tail) for step in made.steps] == [
            (feed.leads, feed.lead, feed.tail) for feed in fed_as.feeds
        ]
        assert made.blank == pytest.approx(fed_as.blank)


def test_a_straight_tube_has_a_blank_and_trims_and_no_steps() -> None:
    layout, stock, _ = rack_with()
    layout, tube = edits.add_tube(layout, [(0, 0, 0), (500, 0, 0)], stock)
    made = plan.of(layout, layout.tubes[tube])
    assert (made.steps, made.blank, made.start_trim, made.end_trim) == ((), 550.0, 25.0, 525.0)


@pytest.mark.parametrize(
    "points",
    [
        ((0, 0, 0), (600, 0, 0), (600, 200, 0), (1200, 200, 0)),  # tangents overlap
        ((0, 0, 0), (600, 0, 0), (10, 1, 0)),  # doubles back
        ((0, 0, 0), (50, 0, 0), (50, 50, 0)),  # too short for its bend
    ],
)
def test_a_tube_that_cannot_be_made_still_has_a_blank(points: tuple) -> None:
    layout, stock, _ = rack_with()
    layout, tube = edits.add_tube(layout, list(points), stock)
    made = plan.of(layout, layout.tubes[tube])
    assert made.steps == ()
    assert made.stretch == 0.0
    assert made.blank > 0.0
    assert math.isfinite(made.blank)
    assert made.start_trim < made.end_trim < made.blank


def test_a_tube_without_a_die_has_no_steps() -> None:
    layout, stock = rack.add_stock(Layout(), Stock(0, "Tube", 44.45, 3.0))
    layout, tube = edits.add_tube(layout, [(0, 0, 0), (700, 0, 0), (700, 700, 0)], stock)
    made = plan.of(layout, layout.tubes[tube])
    assert made.steps == ()
    assert made.calibration.state == "none"
    assert made.calibration.clr.value == pytest.approx(3.0 * 44.45)


def test_the_plan_stays_the_same_object_until_something_it_depends_on_changes() -> None:
    layout, stock, die = rack_with()
    layout, tube = edits.add_tube(layout, list(GENERAL), stock)
    layout, other = edits.add_tube(layout, [(0, 900, 0), (0, 1500, 0)], stock)
    before = plan.of(layout, layout.tubes[tube])
    moved = edits.move_nodes(layout, [layout.tubes[other].nodes[0]], (5.0, 0.0, 0.0))
    assert plan.of(moved, moved.tubes[tube]) is before
    moved = edits.move_nodes(layout, [layout.tubes[tube].nodes[0]], (5.0, 0.0, 0.0))
    assert plan.of(moved, moved.tubes[tube]) is not before
    row = TrialBend(0, die, stock, "", "2026-11-25", 900.0, 300.0, 1.0, 0.97, 400.0, 470.0)
    taught, _ = rack.add_trial(layout, row)
    assert plan.of(taught, taught.tubes[tube]).steps[0].set_angle != before.steps[0].set_angle


def test_the_twin_turns_the_other_way_and_is_the_same_in_all_else() -> None:
    mirrored = tuple((x, -y, z) for x, y, z in GENERAL)
    for order in (UP, DOWN):
        one = general(*order)
        other = plan.planned(centreline.build(mirrored, CLR), fed(*order), KNOWN)
        assert other.blank == pytest.approx(one.blank)
        for step, twin in zip(one.steps, other.steps, strict=True):
            assert (twin.mark, twin.set_angle) == pytest.approx((step.mark, step.set_angle))
            assert math.remainder(step.dial + twin.dial, 2.0 * math.pi) == pytest.approx(0.0, abs=1e-9)


places = st.floats(-1500.0, 1500.0) | st.sampled_from([0.0, 300.0, 800.0])


@given(st.lists(st.tuples(places, places, places), min_size=2, max_size=7), st.sampled_from([22.3, 152.4]))
def test_whatever_a_tube_looks_like_it_has_a_plan(points: list, clr: float) -> None:
    layout, stock, _ = rack_with(clr=clr)
    try:
        layout, tube = edits.add_tube(layout, points, stock)
    except GeometryError:
        assume(False)
    made = plan.of(layout, layout.tubes[tube])
    line = centreline.of(layout, layout.tubes[tube])
    assert len(made.steps) == (len(line.bends) if line.is_makeable else 0)
    assert all(0.0 <= step.dial < 2.0 * math.pi for step in made.steps)
    assert made.end_trim - made.start_trim == pytest.approx(line.length - made.stretch)
    marks = sorted((step.start, step.end) for step in made.steps)
    ordered = [made.start_trim, *(mark for pair in marks for mark in pair), made.end_trim, made.blank]
    assert ordered == pytest.approx(sorted(ordered), abs=1e-5)


def test_a_new_plan_takes_a_fraction_of_a_millisecond() -> None:
    line = centreline.build(GENERAL, CLR)
    rows = [fed(*UP, start=float(start)) for start in range(50)]
    begun = time.perf_counter()
    for row in rows:
        plan.planned(line, row, KNOWN)
    assert (time.perf_counter() - begun) / len(rows) < 2e-3  # some 0.1 ms, and room for a busy machine
