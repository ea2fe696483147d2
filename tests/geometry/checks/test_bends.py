"""What stands against bending a tube, rule by rule."""

import math
import string

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from geometry.checks import bends
from geometry.checks.finding import Finding
from geometry.layout import Die, Layout, Node, Stock, Tube
from geometry.tolerances import LARGEST_TURN
from geometry.tube import centreline, feeding
from geometry.vectors import Vec3

OD, CLR = 40.0, 150.0
RIGHT_ANGLE = math.pi / 2.0
MEASURED = Die(11, "150 former", OD, CLR, largest_angle=math.radians(120.0), between_straight=90.0)


def job(points: list[Vec3], *dies: Die, stock: Stock | None = None) -> Layout:
    nodes = {number: Node(number, tuple(map(float, point))) for number, point in enumerate(points, start=1)}
    return Layout(
        nodes=nodes,
        tubes={20: Tube(20, "T1", tuple(nodes), 10)},
        stocks={10: stock or Stock(10, "40 x 2", OD, 2.0)},
        dies={die.id: die for die in dies},
    )


def found(layout: Layout) -> tuple[Finding, ...]:
    return bends.findings(layout, layout.tubes[20])


def only(layout: Layout) -> Finding:
    (finding,) = found(layout)
    return finding


def hook(angle: float, leg: float = 900.0) -> list[Vec3]:
    """Two legs with one bend of this angle between them."""
    return [(-leg, 0, 0), (0, 0, 0), (leg * math.cos(angle), leg * math.sin(angle), 0)]


def zed(middle: float, leg: float = 900.0) -> list[Vec3]:
    """Two right-angled bends with a leg of this length between their corners."""
    return [(-leg, 0, 0), (0, 0, 0), (0, middle, 0), (leg, middle, 0)]


def test_a_tube_that_the_bender_can_make_has_no_findings() -> None:
    assert found(job(hook(RIGHT_ANGLE), MEASURED)) == ()
    assert found(job(zed(2.0 * CLR + 90.0), MEASURED)) == ()


def test_a_straight_tube_needs_no_die() -> None:
    assert found(job([(0, 0, 0), (500, 0, 0), (900, 0, 0)])) == ()


def test_a_bent_tube_without_a_die_is_a_warning_that_says_which_radius_is_drawn() -> None:
    finding = only(job(hook(RIGHT_ANGLE)))
    assert (finding.rule, finding.severity, finding.nodes) == ("bend.no_die", "warning", (2,))
    assert finding.amounts["clr"].number == 3.0 * OD


def test_a_chosen_die_for_another_diameter_is_an_error() -> None:
    other = replace(MEASURED, id=12, od=50.0)
    layout = job(hook(RIGHT_ANGLE), MEASURED, other)
    layout = replace(layout, tubes={20: replace(layout.tubes[20], die=12)})
    finding = only(layout)
    assert (finding.rule, finding.severity) == ("bend.other_die", "error")
    assert (finding.value, finding.limit) == (50.0, OD)


def test_a_radius_below_the_stocks_least_is_a_warning() -> None:
    finding = only(job(hook(RIGHT_ANGLE), MEASURED, stock=Stock(10, "brittle", OD, 2.0, least_clr_ratio=4.0)))
    assert (finding.rule, finding.severity) == ("bend.clr_below_stock", "warning")
    assert (finding.value, finding.limit, finding.quantity) == (CLR, 160.0, "length")


def test_a_radius_of_just_the_least_is_fine() -> None:
    assert found(job(hook(RIGHT_ANGLE), replace(MEASURED, clr=3.0 * OD))) == ()


def test_a_bend_beyond_the_die_is_an_error_at_that_bend() -> None:
    finding = only(job(hook(math.radians(121.0)), MEASURED))
    assert (finding.rule, finding.severity, finding.nodes) == ("bend.angle_over_die", "error", (2,))
    assert finding.value == pytest.approx(math.radians(121.0))
    assert (finding.limit, finding.quantity) == (MEASURED.largest_angle, "angle")
    assert finding.at == (0.0, 0.0, 0.0)


def test_a_bend_of_just_the_dies_angle_is_fine() -> None:
    assert found(job(hook(MEASURED.largest_angle), MEASURED)) == ()


def test_doubling_back_is_said_once_and_without_its_tangents() -> None:
    finding = only(job(hook(math.radians(179.0)), MEASURED))
    assert (finding.rule, finding.severity) == ("bend.turn_too_sharp", "error")
    assert finding.limit == LARGEST_TURN


def test_bends_that_run_into_each_other_say_which_and_by_how_much() -> None:
    finding = only(job(zed(2.0 * CLR - 25.0), MEASURED))
    assert (finding.rule, finding.severity, finding.nodes) == ("bend.tangents_overlap", "error", (2, 3))
    assert (finding.value, finding.limit) == (pytest.approx(275.0), pytest.approx(300.0))
    assert (finding.words["bend"], finding.words["next"]) == ("1", "2")
    assert finding.at == (0.0, pytest.approx(137.5), 0.0)


@pytest.mark.parametrize(("turn_round", "where", "bend"), [(False, "start", "1"), (True, "end", "2")])
def test_an_end_too_near_its_bend_says_which_end(turn_round: bool, where: str, bend: str) -> None:
    points = zed(500.0)
    points[0] = (-100.0, 0, 0)
    finding = only(job(points[::-1] if turn_round else points, MEASURED))
    assert finding.rule == "bend.tangents_overlap"
    assert f"from the {where} of" in finding.message
    assert finding.words["bend"] == bend
    assert (finding.value, finding.limit) == (pytest.approx(100.0), pytest.approx(CLR))


def test_a_short_straight_between_bends_is_an_error_once_the_die_is_measured() -> None:
    finding = only(job(zed(2.0 * CLR + 60.0), MEASURED))
    assert (finding.rule, finding.severity) == ("bend.between_short", "error")
    assert (finding.value, finding.limit) == (pytest.approx(60.0), 90.0)


def test_a_short_straight_is_a_warning_while_the_least_is_a_guess_of_twice_the_diameter() -> None:
    guessed = replace(MEASURED, between_straight=0.0)
    finding = only(job(zed(2.0 * CLR + 60.0), guessed))
    assert (finding.rule, finding.severity, finding.limit) == ("bend.between_short", "warning", 80.0)
    assert found(job(zed(2.0 * CLR + 81.0), guessed)) == ()


def test_a_short_first_straight_or_tail_makes_the_blank_longer_and_is_no_finding() -> None:
    layout = job([(-200, 0, 0), (0, 0, 0), (0, 900, 0)], MEASURED)
    assert found(layout) == ()
    tube = layout.tubes[20]
    line = centreline.of(layout, tube)
    # 50 is left of the first leg, the die takes 200: 150 of allowance instead of 25. The tail has 750.
    assert feeding.of(layout, tube).blank == pytest.approx(line.length + 150.0 + 25.0)


def test_allowances_of_the_tube_go_before_those_of_the_layout() -> None:
    layout = job([(0, 0, 0), (1000, 0, 0)])
    tube = replace(layout.tubes[20], start_allowance=0.0, end_allowance=40.0)
    assert feeding.of(layout, tube).blank == pytest.approx(1040.0)


@pytest.mark.parametrize(("stick", "rules"), [(1049.0, ["blank.over_stick"]), (1050.0, [])])
def test_the_blank_with_its_allowances_must_come_from_one_stick(stick: float, rules: list[str]) -> None:
    layout = job([(0, 0, 0), (1000, 0, 0)], stock=Stock(10, "short", OD, 2.0, stick=stick))
    assert [finding.rule for finding in found(layout)] == rules


def test_a_tube_shorter_than_it_is_wide_is_an_error_and_nothing_else_is_said() -> None:
    finding = only(job([(0, 0, 0), (20, 0, 0), (20, 15, 0)]))
    assert (finding.rule, finding.severity, finding.limit) == ("tube.too_short", "error", OD)
    assert only(job([(5, 5, 5), (5, 5, 5)])).value == pytest.approx(0.0)


points = st.lists(st.tuples(*[st.floats(-800.0, 800.0)] * 3), min_size=2, max_size=6)
dies = st.one_of(
    st.none(), st.builds(replace, st.just(MEASURED), between_straight=st.sampled_from([0.0, 90.0]))
)


@given(points, dies, st.floats(50.0, 6000.0))
def test_every_sentence_has_its_figures_and_a_finding_has_its_place(
    points: list[Vec3], die: Die | None, stick: float
) -> None:
    layout = job(points, *([die] if die else []), stock=Stock(10, "40 x 2", OD, 2.0, stick=stick))
    for finding in found(layout):
        slots = {name for _, name, _, _ in string.Formatter().parse(finding.message) if name}
        known = {"tube", *finding.amounts, *finding.words}
        if finding.limit is not None:
            known |= {"value", "limit", "difference"}
        assert slots <= known
        assert "{tube}" in finding.message
        assert finding.message.endswith(".")
        assert finding.at is not None
        assert finding.tubes == (20,)


@given(points)
def test_what_cannot_be_drawn_as_asked_is_an_error(points: list[Vec3]) -> None:
    layout = job(points, MEASURED)
    line = centreline.of(layout, layout.tubes[20])
    errors = {finding.rule for finding in found(layout) if finding.severity == "error"}
    if not line.is_makeable:
        assert errors & {"bend.tangents_overlap", "bend.turn_too_sharp", "tube.too_short"}
    else:
        assert not errors & {"bend.tangents_overlap", "bend.turn_too_sharp"}
