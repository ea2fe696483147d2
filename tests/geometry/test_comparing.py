"""Two versions side by side: the same both ways round, and nothing where nothing differs."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from geometry import comparing, edits, sample
from geometry.checks import findings
from geometry.checks.finding import Finding
from geometry.checks.report import Report
from geometry.layout import Layout
from geometry.shop import schedule
from geometry.tube import centreline
from geometry.tube.stock import starting_rack

STOCKS, DIES, NEXT_ID = starting_rack(1)
THICK, THIN = (
    next(id for id, row in STOCKS.items() if row.name == name)
    for name in ("1.75 × 0.120 in", "1.50 × 0.095 in")
)
EMPTY = Layout(stocks=STOCKS, dies=DIES, next_id=NEXT_ID)
shifts = st.tuples(*[st.floats(-400.0, 400.0)] * 3)


def two_tubes() -> tuple[Layout, int, int]:
    layout, hoop = edits.add_tube(
        EMPTY, [(0.0, 700.0, 0.0), (0.0, 700.0, 1500.0), (0.0, -700.0, 1500.0), (0.0, -700.0, 0.0)], THICK
    )
    layout, brace = edits.add_tube(layout, [(500.0, 0.0, 0.0), (500.0, 0.0, 1000.0)], THIN)
    return layout, hoop, brace


def moved_by(layout: Layout, tube: int, shift: tuple[float, float, float], corner: int = 1) -> Layout:
    return edits.move_nodes(layout, [layout.tubes[tube].nodes[corner]], shift)


def the_other_way(found: comparing.Comparison) -> comparing.Comparison:
    return comparing.Comparison(
        tubes=tuple(comparing.TubeChange(each.other, each.one, each.moved) for each in found.tubes),
        same=found.same,
        one=found.other,
        other=found.one,
        new=found.gone,
        gone=found.new,
    )


def in_any_order(found: comparing.Comparison) -> tuple[object, ...]:
    return (
        sorted(found.tubes, key=repr),
        found.same,
        found.one,
        found.other,
        found.new,
        found.gone,
    )


def test_a_version_is_the_same_as_itself() -> None:
    cage = sample.build()
    report = findings.check_layout(cage)
    found = comparing.compared(cage, cage, report, report)
    assert found.tubes == ()
    assert found.same == len(cage.tubes)
    assert found.one == found.other
    assert found.new == ()
    assert found.gone == ()


@given(shifts, shifts, st.booleans(), st.booleans())
@settings(deadline=None, max_examples=30)
def test_the_other_way_round_it_is_mirrored(
    first: tuple[float, float, float], second: tuple[float, float, float], drop: bool, by_id: bool
) -> None:
    one, hoop, brace = two_tubes()
    other = moved_by(moved_by(one, hoop, first), brace, second)
    if drop:
        other = edits.delete(other, [brace])
        other, _ = edits.add_tube(other, [(0.0, 0.0, -500.0), second], THIN)
    there = comparing.compared(one, other, by_id=by_id)
    back = comparing.compared(other, one, by_id=by_id)
    assert in_any_order(the_other_way(there)) == in_any_order(back)


@given(shifts)
@settings(deadline=None, max_examples=50)
def test_a_tube_moved_as_a_whole_sideways_has_moved_so_far(shift: tuple[float, float, float]) -> None:
    one, _, brace = two_tubes()
    aside = (shift[0], shift[1], 0.0)
    other = edits.move_nodes(one, one.tubes[brace].nodes, aside)
    far = comparing.moved(centreline.of(one, one.tubes[brace]), centreline.of(other, other.tubes[brace]))
    assert far == pytest.approx(math.hypot(*aside), abs=1e-9)


def test_an_end_drawn_out_has_moved_by_what_it_is_longer() -> None:
    one, _, brace = two_tubes()
    other = moved_by(one, brace, (0.0, 0.0, 123.0))
    (change,) = comparing.compared(one, other).tubes
    assert change.moved == pytest.approx(123.0)
    assert change.other is not None
    assert change.one is not None
    assert change.other.blank - change.one.blank == pytest.approx(123.0)


@given(shifts)
@settings(deadline=None, max_examples=25)
def test_the_distance_is_that_of_a_dense_sample(shift: tuple[float, float, float]) -> None:
    one, hoop, _ = two_tubes()
    other = moved_by(one, hoop, shift)
    lines = [centreline.of(layout, layout.tubes[hoop]) for layout in (one, other)]
    dense = [centreline.point_at(line, np.linspace(0.0, line.length, 400)) for line in lines]
    far = max(
        math.dist(point, centreline.nearest(line, tuple(point))[1])
        for points, line in ((dense[0], lines[1]), (dense[1], lines[0]))
        for point in points
    )
    found = comparing.moved(*lines)
    assert found >= far - 0.06  # never less than at any place, but for what chords stand off arcs
    assert found <= far + lines[0].length / 400 + 0.06  # distance changes no faster than the place


def test_a_tube_turned_round_has_not_moved() -> None:
    one, hoop, _ = two_tubes()
    other = edits.reverse_tube(one, hoop)
    assert comparing.compared(one, other).tubes == ()


def test_another_bend_radius_moves_the_tube() -> None:
    one, hoop, _ = two_tubes()
    stock = STOCKS[THICK]
    dies = [die for die in DIES.values() if abs(die.od - stock.od) < 0.01]
    wide = replace(dies[0], id=NEXT_ID + 500, clr=dies[0].clr + 100.0)
    grown = replace(one, next_id=NEXT_ID + 501, dies={**one.dies, wide.id: wide})
    other = edits.set_die(grown, [hoop], wide.id)
    (change,) = comparing.compared(one, other).tubes
    before, after = (centreline.of(job, job.tubes[hoop]).bends[0].radius for job in (one, other))
    assert change.moved == pytest.approx((after - before) * (math.sqrt(2.0) - 1.0), abs=0.05)


def test_added_removed_renamed_and_restocked_are_told_apart() -> None:
    one, hoop, brace = two_tubes()
    other = edits.rename(edits.set_stock(one, [hoop], THIN), hoop, "Main hoop")
    other, new = edits.add_tube(edits.delete(other, [brace]), [(0.0, 0.0, 0.0), (900.0, 0.0, 0.0)], THIN)
    found = {change.name: change for change in comparing.compared(one, other).tubes}
    assert found["Main hoop"].is_renamed
    assert found["Main hoop"].is_restocked
    assert found[one.tubes[brace].name].is_removed
    assert found[other.tubes[new].name].is_added
    assert len(found) == 3


def test_totals_are_the_sums_of_what_the_schedule_says() -> None:
    cage = sample.build()
    built, sums = schedule.build(cage), comparing.compared(cage, cage).one
    assert sums.tubes == len(built.records)
    assert sums.blank == pytest.approx(sum(row.blank for row in built.records))
    assert sums.mass == pytest.approx(sum(row.mass for row in built.by_stock))
    assert sums.bends == sum(len(row.bends) for row in built.records)


def test_tubes_with_other_ids_are_matched_by_name() -> None:
    one, hoop, brace = two_tubes()
    swapped = {hoop: replace(one.tubes[brace], id=hoop), brace: replace(one.tubes[hoop], id=brace)}
    other = replace(one, tubes=swapped)
    assert not comparing.is_one_job(one, other)
    assert comparing.is_one_job(one, moved_by(one, hoop, (0.0, 5.0, 0.0)))
    assert comparing.compared(one, other, by_id=False).tubes == ()
    assert len(comparing.compared(one, other).tubes) == 2


def finding(rule: str, *tubes: int, at: tuple[float, float, float] | None = None) -> Finding:
    return Finding(rule, "warning", "Sentence.", tubes=tubes, at=at)


def test_findings_are_new_or_gone_by_what_they_are_about() -> None:
    one, hoop, brace = two_tubes()
    stays, goes, comes = finding("a", hoop), finding("a", brace), finding("b", hoop)
    numbers = replace(stays, value=12.0)
    found = comparing.compared(one, one, Report(findings=(stays, goes)), Report(findings=(comes, numbers)))
    assert found.new == (comes,)
    assert found.gone == (goes,)
    assert comparing.compared(one, one, Report()).new is None


def test_of_several_alike_the_one_that_has_no_neighbour_is_new() -> None:
    one, hoop, _ = two_tubes()
    first, second, third = (finding("a", hoop, at=(x, 0.0, 0.0)) for x in (0.0, 100.0, 200.0))
    near = finding("a", hoop, at=(104.0, 0.0, 0.0))
    far = finding("a", hoop, at=(198.0, 0.0, 0.0))
    found = comparing.compared(
        one, one, Report(findings=(near, far)), Report(findings=(first, second, third))
    )
    assert found.new == (first,)
    assert found.gone == ()
