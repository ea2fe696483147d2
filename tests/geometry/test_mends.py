"""A mend settles the finding that offered it."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from geometry import edits, mends, rack, sample
from geometry.body import distance
from geometry.checks import bends, findings
from geometry.checks.finding import Finding, Mend
from geometry.errors import GeometryError
from geometry.layout import Bender, Die, Landing, Layout, Mesh, Node, Panel, Stock, Tube
from geometry.tube import bending, centreline, stock
from geometry.vectors import Vec3

OD, CLR = 40.0, 150.0
RIGHT_ANGLE = math.pi / 2.0
DIE = Die(11, "150 former", OD, CLR, first_straight=200.0, between_straight=90.0, tail=300.0)
WIDE = replace(DIE, id=12, name="180 former", clr=180.0)
STOCK = Stock(10, "40 x 2", OD, 2.0)


def job(points: list[Vec3], *dies: Die, stock: Stock = STOCK, **changes: object) -> Layout:
    nodes = {number: Node(number, tuple(map(float, point))) for number, point in enumerate(points, start=1)}
    return Layout(
        next_id=100,
        nodes=nodes,
        tubes={20: replace(Tube(20, "T1", tuple(nodes), 10), **changes)},
        stocks={10: stock},
        dies={die.id: die for die in dies or (DIE,)},
    )


def run(straights: list[float], angles: list[float], turn: float = 0.5) -> list[Vec3]:
    rows = [
        bending.BendRow(straight, turn, angle, CLR)
        for straight, angle in zip(straights, angles, strict=False)
    ]
    data = bending.BendData(tuple(rows), straights[-1], 0.0)
    return list(bending.nodes_from(data, (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)))


def found(layout: Layout, rule: str) -> Finding:
    (finding,) = [one for one in bends.findings(layout, layout.tubes[20]) if one.rule == rule]
    return finding


def settled(layout: Layout, rule: str) -> tuple[Mend, Layout]:
    """Make the mend of a finding; check that this leaves no finding at all."""
    mend = found(layout, rule).mend
    assert mend is not None
    after = mends.mended(layout, mend)
    assert [one.rule for tube in after.tubes.values() for one in bends.findings(after, tube)] == []
    return mend, after


def hook(angle: float) -> list[Vec3]:
    return run([700.0, 900.0], [angle])


def test_a_wider_die_settles_a_radius_below_the_stocks_least() -> None:
    layout = job(hook(1.0), DIE, WIDE, stock=replace(STOCK, least_clr_ratio=4.0), die=11)
    mend, after = settled(layout, "bend.clr_below_stock")
    assert (mend.do, mend.die, after.tubes[20].die) == ("take die", 12, 12)


def test_a_die_for_its_diameter_settles_one_for_another() -> None:
    layout = job(hook(1.0), DIE, replace(WIDE, od=50.0), die=12)
    assert settled(layout, "bend.other_die")[0].die == 11


def test_a_die_that_bends_farther_settles_an_angle() -> None:
    layout = job(hook(2.5), DIE, replace(WIDE, largest_angle=3.0), die=11)
    assert settled(layout, "bend.angle_over_die")[0].die == 12


def plate(y: float) -> Mesh:
    """A small upright sheet beside the winch hoop of the sample."""
    corners = [(696.0, y, 690.0), (716.0, y, 690.0), (706.0, y, 710.0)]
    return Mesh(np.array(corners), np.array([[0, 1, 2]], np.int32))


def test_no_mend_is_offered_that_brings_a_tube_too_close_to_the_body() -> None:
    layout = sample.build()
    hoop = next(tube.id for tube in layout.tubes.values() if tube.name == "Winch hoop")
    body = next(iter(layout.bodies))
    edge = 150.0 + layout.stocks[layout.tubes[hoop].stock].od / 2.0
    room = 8.0 + 15.0 + 1.0  # what is asked for, and a millimetre
    offered = []
    for sides in ((), (-1.0,), (-1.0, 1.0)):
        plates = {
            layout.next_id + i: Panel(layout.next_id + i, f"plate {i}", body, plate(side * (edge + room)))
            for i, side in enumerate(sides)
        }
        walled = replace(layout, panels={**layout.panels, **plates})
        index = distance.build(walled)
        (short,) = [one for one in findings.check(walled, index).findings if one.rule == "bend.between_short"]
        offered.append(short.mend)
        if short.mend is not None:
            after = mends.mended(walled, short.mend)
            rules = [one.rule for one in findings.check(after, index).findings if hoop in one.tubes]
            assert rules == []
    assert offered[0] is not None
    assert offered[0] != offered[1] != offered[2]


def test_a_mend_that_would_do_harm_is_not_offered() -> None:
    layout = sample.build()
    hoop = next(tube.id for tube in layout.tubes.values() if tube.name == "Winch hoop")
    (found,) = [
        one
        for one in bends.findings(layout, layout.tubes[hoop], lambda *_: True)
        if one.rule == "bend.between_short"
    ]
    assert found.mend is None


def test_no_die_is_offered_that_would_not_settle_it() -> None:
    assert found(job(hook(2.5), DIE, WIDE, die=11), "bend.angle_over_die").mend is None
    # The wide die bends farther, but its bends would run into each other.
    layout = job(run([20.0, 900.0], [2.5]), DIE, replace(WIDE, largest_angle=3.0), die=11)
    assert found(layout, "bend.angle_over_die").mend is None


@pytest.mark.parametrize("turn", [0.0, 0.5, math.pi])
def test_bends_too_close_are_moved_apart_by_what_is_missing(turn: float) -> None:
    layout = job(run([500.0, 60.0, 700.0], [RIGHT_ANGLE, 1.0], turn))
    mend, after = settled(layout, "bend.between_short")
    assert (mend.do, mend.nodes, mend.amount) == ("move apart", (2, 3, 4), pytest.approx(30.0))
    line = centreline.of(after, after.tubes[20])
    assert line.straights == pytest.approx((500.0, 90.0, 700.0))
    assert [bend.angle for bend in line.bends] == pytest.approx([RIGHT_ANGLE, 1.0])


def test_the_side_moves_that_no_other_tube_shares() -> None:
    layout = job(run([500.0, 60.0, 700.0], [RIGHT_ANGLE, 1.0]))
    layout, _ = edits.add_tube(layout, [4, (5000.0, 0.0, 0.0)], 10)
    mend = found(layout, "bend.between_short").mend
    assert mend is not None
    assert mend.nodes == (3, 2, 1)
    after = mends.mended(layout, mend)
    assert bends.findings(after, after.tubes[20]) == ()


def test_a_corner_goes_alone_where_both_ends_are_shared() -> None:
    layout = job(run([500.0, 60.0, 700.0], [RIGHT_ANGLE, 1.0]))
    layout, _ = edits.add_tube(layout, [4, (5000.0, 0.0, 0.0)], 10)
    layout, _ = edits.add_tube(layout, [1, (0.0, -900.0, 0.0)], 10)
    finding = found(layout, "bend.between_short")
    assert finding.mend is not None
    assert len(finding.mend.nodes) == 2
    after = mends.mended(layout, finding.mend)
    assert bends.findings(after, after.tubes[20]) == ()
    assert centreline.of(after, after.tubes[20]).straights[1] == pytest.approx(90.0)


def test_nothing_moves_that_other_tubes_hold() -> None:
    layout = job(run([500.0, 60.0, 700.0], [RIGHT_ANGLE, 1.0]))
    for node in (1, 2, 3, 4):
        x, y, z = layout.nodes[node].position
        layout, _ = edits.add_tube(layout, [node, (x, y, z - 900.0)], 10)
    assert found(layout, "bend.between_short").mend is None


@pytest.mark.parametrize("at_start", [True, False])
def test_an_end_too_near_its_bend_is_moved_out(at_start: bool) -> None:
    layout = job(run([-40.0, 700.0] if at_start else [700.0, -40.0], [RIGHT_ANGLE]))
    mend, after = settled(layout, "bend.tangents_overlap")
    assert mend.nodes == ((2, 1) if at_start else (2, 3))
    assert mend.amount == pytest.approx(40.0)
    assert min(centreline.of(after, after.tubes[20]).straights) == pytest.approx(0.0, abs=1e-6)


def test_bends_that_run_into_each_other_are_moved_as_far_as_the_die_needs() -> None:
    layout = job(run([500.0, -20.0, 700.0], [RIGHT_ANGLE, 1.0]))
    mend, _ = settled(layout, "bend.tangents_overlap")
    assert mend.amount == pytest.approx(110.0)


@pytest.mark.parametrize(("cuts", "node"), [({"start_cut": "before"}, 1), ({"end_cut": "before"}, 3)])
def test_an_end_cut_too_short_is_cut_after_bending(cuts: dict, node: int) -> None:
    layout = job(run([100.0, 100.0], [RIGHT_ANGLE]), **cuts)
    finding = found(layout, "end.cut_before")
    assert (finding.severity, finding.nodes, finding.value) == ("error", (node,), pytest.approx(100.0))
    mend, after = settled(layout, "end.cut_before")
    assert mend.do == "cut after"
    assert (after.tubes[20].start_cut, after.tubes[20].end_cut) == ("after", "after")


@pytest.mark.parametrize(("straight", "count"), [(199.9, 1), (200.0, 0)])
def test_an_end_cut_before_bending_needs_just_what_the_die_holds(straight: float, count: int) -> None:
    layout = job(run([straight, 900.0], [RIGHT_ANGLE]), start_cut="before", bend_from="start")
    assert len(bends.findings(layout, layout.tubes[20])) == count


def hanging(bend_from: str) -> Layout:
    """A tube that holds its long first leg into the floor when it is bent from its start."""
    layout = job(run([1300.0, 400.0, 300.0], [RIGHT_ANGLE, RIGHT_ANGLE], -RIGHT_ANGLE), bend_from=bend_from)
    return replace(layout, dies={11: replace(DIE, bender=7)}, benders={7: Bender(7, "B")})


def test_the_floor_in_the_way_is_settled_by_bending_from_the_other_end() -> None:
    finding = found(hanging("start"), "order.none")
    assert (finding.severity, finding.nodes, finding.words["thing"]) == ("warning", (3,), "the floor")
    assert finding.message.endswith("Bend it from the end.")
    mend, after = settled(hanging("start"), "order.none")
    assert (mend.do, after.tubes[20].bend_from) == ("bend from", "end")


def test_legs_too_long_for_every_order_are_split() -> None:
    """Both legs hang down, whichever comes first; from the middle one of them does."""
    points = run([2600.0, 400.0, 2600.0], [RIGHT_ANGLE, RIGHT_ANGLE], -RIGHT_ANGLE)
    layout = job(points, stock=replace(STOCK, stick=9000.0))
    layout = replace(layout, dies={11: replace(DIE, bender=7)}, benders={7: Bender(7, "B")})
    finding = found(layout, "order.none")
    assert "No order of bending keeps {tube} clear" in finding.message
    assert "Split it with a sleeve {amount} from its start." in finding.message
    mend, after = settled(layout, "order.none")
    assert mend.do == "split with sleeve"
    assert sum(node.sleeve for node in after.nodes.values()) == 1


def spiral(end: float) -> list[Vec3]:
    """Three right angles one way: the last leg comes down at the first one, and ends that far from it."""
    return [(0, 0, 0), (900, 0, 0), (900, 700, 0), (400, 700, 0), (400, end, 0)]


@pytest.mark.parametrize(("end", "rules"), [(44.0, []), (39.0, ["order.none"])])
def test_a_tube_keeps_a_diameter_away_from_itself(end: float, rules: list[str]) -> None:
    # Its allowance reaches farther down, until the blank is trimmed.
    layout = job(spiral(end + 25.0))
    assert [one.rule for one in bends.findings(layout, layout.tubes[20])] == rules


def test_bends_are_moved_apart_where_a_tube_just_meets_itself() -> None:
    layout = job(spiral(30.0))
    finding = found(layout, "order.none")
    assert (finding.severity, finding.words["thing"]) == ("error", "its own tail")
    mend, _ = settled(layout, "order.none")
    assert (mend.do, mend.amount) == ("move apart", 50.0)
    assert "{amount} away from bend" in finding.message


def test_a_tube_that_crosses_itself_is_an_error_in_every_order() -> None:
    finding = found(job(spiral(-500.0)), "order.none")
    assert (finding.severity, finding.words["thing"]) == ("error", "its own tail")


def test_a_blank_longer_than_a_stick_is_split() -> None:
    layout = job(run([2000.0, 3000.0, 2000.0], [1.0, 1.0]), stock=replace(STOCK, stick=4500.0))
    mend, after = settled(layout, "blank.over_stick")
    assert mend.amount == pytest.approx(2000.0 + CLR + 1500.0)
    assert len(after.tubes) == 2
    assert (
        "Split it with a sleeve {amount} from its start, or shorten it"
        in found(layout, "blank.over_stick").message
    )


def test_without_a_place_for_a_sleeve_the_sentence_says_so() -> None:
    layout = job(run([100.0, 100.0, 100.0], [1.0, 1.0]), stock=replace(STOCK, stick=700.0))
    finding = found(layout, "blank.over_stick")
    assert finding.mend is None
    assert "No straight has room for a sleeve" in finding.message


def test_a_split_keeps_clear_of_a_tube_that_lands_there_later() -> None:
    layout = job([(0, 0, 0), (4000, 0, 0)], stock=replace(STOCK, stick=3500.0))
    before = found(layout, "blank.over_stick").mend
    layout, _ = edits.add_tube(layout, [Landing(20, 2000.0), (2000.0, 500.0, 0.0)], 10)
    after = found(layout, "blank.over_stick").mend
    assert before is not None
    assert after is not None
    assert (before.amount, after.amount) != (after.amount, before.amount)


def test_every_mend_of_the_sample_settles_its_finding() -> None:
    layout = sample.build()
    offered = [found for tube in layout.tubes.values() for found in bends.findings(layout, tube)]
    assert [finding.rule for finding in offered] == ["bend.between_short"]
    for finding in offered:
        assert finding.mend is not None
        after = mends.mended(layout, finding.mend)
        assert [one for tube in after.tubes.values() for one in bends.findings(after, tube)] == []


places = st.lists(st.tuples(*[st.floats(-900.0, 900.0)] * 3), min_size=2, max_size=6)
racks = st.lists(
    st.builds(
        replace,
        st.just(DIE),
        clr=st.sampled_from([60.0, 120.0, 150.0]),
        largest_angle=st.sampled_from([1.0, 2.0, 3.0]),
        between_straight=st.sampled_from([0.0, 90.0]),
        bender=st.sampled_from([None, 7]),
    ),
    min_size=1,
    max_size=3,
)


@given(
    places,
    racks,
    st.floats(500.0, 4000.0),
    st.sampled_from(["best", "start", "end", "middle"]),
    st.sampled_from(["before", "after"]),
    st.sampled_from(["before", "after"]),
)
def test_no_mend_is_offered_that_would_not_settle_its_finding(
    points: list[Vec3], dies: list[Die], stick: float, bend_from: str, start_cut: str, end_cut: str
) -> None:
    numbered = [replace(die, id=11 + number) for number, die in enumerate(dies)]
    layout = job(
        points,
        *numbered,
        stock=replace(STOCK, stick=stick),
        die=11,
        bend_from=bend_from,
        start_cut=start_cut,
        end_cut=end_cut,
    )
    layout = replace(layout, benders={7: stock.starting_bender(7)})
    before = bends.findings(layout, layout.tubes[20])
    known = {(one.rule, one.nodes) for one in before}
    for finding in before:
        if finding.mend is None:
            continue
        after = mends.mended(layout, finding.mend)
        left = [one for tube in after.tubes.values() for one in bends.findings(after, tube)]
        place = finding.words.get("straight")
        assert not [
            one
            for one in left
            if (one.rule, one.nodes, one.words.get("straight")) == (finding.rule, finding.nodes, place)
        ]
        assert {(one.rule, one.nodes) for one in left} <= known


def test_a_mend_of_what_is_gone_is_refused_in_a_sentence() -> None:
    layout = job(hook(1.0))
    for mend in (
        Mend("take die", "Take {die}", 99, die=11),
        Mend("take die", "Take {die}", 20, die=99),
        Mend("move apart", "Move", 20, 5.0, (1, 77)),
        Mend("cut after", "Cut", 20, nodes=(2,)),
        Mend("split with sleeve", "Split", 20, 1e9),
    ):
        with pytest.raises(GeometryError, match=r"\.$"):
            mends.mended(layout, mend)


def test_no_mend_is_offered_that_spoils_a_tube_which_lands_on_the_mended_one() -> None:
    layout = rack.with_starting_rack(Layout())
    stock = next(row.id for row in layout.stocks.values() if row.name == "1.75 × 0.120 in")
    layout, host = edits.add_tube(layout, [(0, 0, 0), (600, 0, 0), (600, 300, 0), (1600, 300, 0)], stock)
    alone = _between_short(layout, host)
    assert alone.mend is not None
    # Its first leg has 40 mm more than the bend takes; the host's mend would take 68 mm of it.
    on = edits.landing_at(layout, host, (1200, 300, 0))
    layout, branch = edits.add_tube(layout, [on, (1200, 480, 0), (2000, 480, 0)], stock)
    spoilt = mends.mended(layout, alone.mend)
    assert "bend.tangents_overlap" in {row.rule for row in bends.findings(spoilt, spoilt.tubes[branch])}
    offered = _between_short(layout, host).mend
    if offered is not None:
        after = mends.mended(layout, offered)
        assert not bends.findings(after, after.tubes[branch])


def _between_short(layout: Layout, tube: int) -> Finding:
    (short,) = [f for f in bends.findings(layout, layout.tubes[tube]) if f.rule == "bend.between_short"]
    return short
