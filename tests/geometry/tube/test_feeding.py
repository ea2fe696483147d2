"""In which order a tube is bent, what the die holds at each bend, and what that makes of the blank."""

import math
from itertools import combinations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from geometry import edits
from geometry.layout import Bender, Box, Die, Landing, Layout, Limits, Node, Stock, TrialBend, Tube
from geometry.tube import bending, centreline, feeding, plan, swing
from geometry.tube.centreline import Centreline
from geometry.tube.feeding import Feed, Feeding, Trouble
from geometry.tube.swing import Machine
from geometry.vectors import Vec3, turned

OD, CLR = 40.0, 150.0
RIGHT_ANGLE = math.pi / 2.0
ARC = CLR * RIGHT_ANGLE
DIE = Die(11, "150 former", OD, CLR, first_straight=200.0, between_straight=90.0, tail=300.0)
LIMITS = Limits(end_allowance=25.0, cope_allowance=50.0)


def job(points: list[Vec3], die: Die | None = DIE, **changes: object) -> Layout:
    nodes = {number: Node(number, tuple(map(float, point))) for number, point in enumerate(points, start=1)}
    return Layout(
        next_id=100,
        nodes=nodes,
        tubes={20: replace(Tube(20, "T1", tuple(nodes), 10), **changes)},
        stocks={10: Stock(10, "40 x 2", OD, 2.0)},
        dies={die.id: die} if die else {},
        limits=LIMITS,
    )


def fed(layout: Layout) -> Feeding:
    return feeding.of(layout, layout.tubes[20])


def run(straights: list[float], angles: list[float], rotations: list[float] | None = None) -> list[Vec3]:
    """Return the corners of a tube with these straights, bends and turns between the bends."""
    turns = rotations or [math.pi / 3.0] * (len(angles) - 1)
    rows = [
        bending.BendRow(straight, turn, angle, CLR)
        for straight, turn, angle in zip(straights, [0.0, *turns], angles, strict=False)
    ]
    data = bending.BendData(tuple(rows), straights[-1], 0.0)
    return list(bending.nodes_from(data, (10.0, 20.0, 30.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)))


HOOP = run([400.0, 500.0, 600.0], [RIGHT_ANGLE, RIGHT_ANGLE])  # long enough at both ends


def shortened(start: float, end: float) -> list[Vec3]:
    return run([start, 500.0, end], [RIGHT_ANGLE, RIGHT_ANGLE])


def test_start_first_holds_what_was_made_and_has_the_rest_of_the_blank_behind() -> None:
    rest = 500.0 + ARC + 600.0 + 25.0
    assert fed(job(HOOP, bend_from="start")).feeds == (
        Feed(0, "start", pytest.approx(425.0), pytest.approx(rest)),
        Feed(1, "start", pytest.approx(500.0), pytest.approx(625.0)),
    )


def test_end_first_is_the_same_from_the_other_side() -> None:
    rest = 500.0 + ARC + 400.0 + 25.0
    assert fed(job(HOOP, bend_from="end")).feeds == (
        Feed(1, "end", pytest.approx(625.0), pytest.approx(rest)),
        Feed(0, "end", pytest.approx(500.0), pytest.approx(425.0)),
    )


def test_from_the_middle_the_first_bend_holds_the_unbent_half() -> None:
    lead = 25.0 + 400.0 + ARC + 500.0
    assert fed(job(HOOP, bend_from="middle")).feeds == (
        Feed(1, "start", pytest.approx(lead), pytest.approx(625.0)),
        Feed(0, "end", pytest.approx(500.0), pytest.approx(425.0)),
    )


# What the blank is longer at each end when its straight is 50: the leading end at its first bend
# needs 200, an end that is behind at its last bend needs 300.
@pytest.mark.parametrize(
    ("bend_from", "allowances"),
    [("start", (150.0, 250.0)), ("end", (250.0, 150.0)), ("middle", (250.0, 250.0))],
)
def test_an_end_too_short_to_hold_makes_the_blank_longer(bend_from: str, allowances: tuple) -> None:
    found = fed(job(shortened(50.0, 50.0), bend_from=bend_from))
    assert (found.start_allowance, found.end_allowance) == pytest.approx(allowances)
    assert found.troubles == ()


@pytest.mark.parametrize(
    ("cuts", "bend_from", "trouble"),
    [
        ({"start_cut": "before"}, "start", Trouble(0, "lead", pytest.approx(50.0), 200.0)),
        ({"end_cut": "before"}, "start", Trouble(1, "tail", pytest.approx(50.0), 300.0)),
        ({"start_cut": "before"}, "end", Trouble(0, "tail", pytest.approx(50.0), 300.0)),
        ({"end_cut": "before"}, "end", Trouble(1, "lead", pytest.approx(50.0), 200.0)),
    ],
)
def test_an_end_cut_before_bending_cannot_grow(cuts: dict, bend_from: str, trouble: Trouble) -> None:
    found = fed(job(shortened(50.0, 50.0), bend_from=bend_from, **cuts))
    assert found.troubles == (trouble,)
    assert 0.0 in (found.start_allowance, found.end_allowance)


def test_another_end_leads_where_one_is_cut_too_short_for_the_tail() -> None:
    # 250 of straight is enough to lead with, and too little for a tail.
    found = fed(job(shortened(400.0, 250.0), end_cut="before"))
    assert [(feed.bend, feed.leads) for feed in found.feeds] == [(1, "end"), (0, "end")]
    assert found.troubles == ()


def test_a_short_straight_between_bends_is_short_in_every_order() -> None:
    points = run([400.0, 60.0, 600.0], [RIGHT_ANGLE, RIGHT_ANGLE])
    for bend_from, bend in (("start", 1), ("end", 0), ("middle", 0), ("best", 1)):
        (trouble,) = fed(job(points, bend_from=bend_from)).troubles
        assert trouble == Trouble(bend, "between", pytest.approx(60.0), 90.0)


@pytest.mark.parametrize(("straight", "count"), [(89.999, 1), (90.0, 0)])
def test_just_the_least_straight_will_do(straight: float, count: int) -> None:
    points = run([400.0, straight, 600.0], [RIGHT_ANGLE, RIGHT_ANGLE])
    assert len(fed(job(points)).troubles) == count


def test_orders_are_tried_the_plainest_first() -> None:
    tried = list(feeding.orders(3, "best"))
    assert tried[0] == ((0, "start"), (1, "start"), (2, "start"))
    assert tried[1] == ((2, "end"), (1, "end"), (0, "end"))
    assert tried[2:] == [
        ((1, "start"), (2, "start"), (0, "end")),
        ((2, "start"), (1, "end"), (0, "end")),
        ((0, "end"), (1, "start"), (2, "start")),
        ((1, "end"), (0, "end"), (2, "start")),
    ]
    assert list(feeding.orders(1, "middle")) == [((0, "start"),), ((0, "end"),)]


@given(st.integers(1, 7), st.sampled_from(["best", "start", "end", "middle"]))
def test_every_order_makes_every_bend_once_and_never_between_two_made(count: int, bend_from: str) -> None:
    for order in feeding.orders(count, bend_from):
        bends = [bend for bend, _ in order]
        assert sorted(bends) == list(range(count))
        for place in range(1, count):
            made = bends[:place]
            assert max(made) - min(made) == place - 1
            # What is bent lies ahead: the tail stays straight.
            leads = order[place][1]
            assert bends[place] == (max(made) + 1 if leads == "start" else min(made) - 1)


def test_allowances_come_from_tube_cope_and_limits_in_that_order() -> None:
    layout = job([(0, 0, 0), (1000, 0, 0)])
    assert (fed(layout).start_allowance, fed(layout).end_allowance) == (25.0, 25.0)
    layout, host = edits.add_tube(layout, [(0.0, -500.0, 0.0), (0.0, 500.0, 0.0)], 10)
    landed = edits.set_landing(layout, 1, Landing(host, 500.0))
    assert (fed(landed).start_allowance, fed(landed).end_allowance) == (50.0, 25.0)
    own = edits.set_allowances(landed, [20], 7.0, None)
    assert fed(own).start_allowance == 7.0
    cut = edits.set_cuts(own, [20], "before", "after")
    assert (fed(cut).start_allowance, fed(cut).blank) == (0.0, 1025.0)


def test_without_a_die_nothing_is_held_and_nothing_grows() -> None:
    found = fed(job(shortened(50.0, 50.0), die=None))
    assert found.feeds == ()
    assert (found.start_allowance, found.end_allowance, found.troubles) == (25.0, 25.0, ())


def test_the_same_tube_gives_the_same_object() -> None:
    layout = job(HOOP)
    again = replace(layout, nodes=dict(layout.nodes), limits=replace(layout.limits))
    assert fed(again) is fed(layout)


def test_what_trial_bends_teach_counts_for_the_blank() -> None:
    layout = job(HOOP)
    trials = {
        30 + number: TrialBend(
            30 + number,
            11,
            10,
            "",
            "2026-01-01",
            900.0,
            300.0,
            1.05 * angle,
            angle,
            *legs(angle, 160.0, 140.0),
        )
        for number, angle in enumerate((0.6, 1.2, 1.6))
    }
    learnt = replace(layout, trials=trials)
    line, found = centreline.of(learnt, learnt.tubes[20]), fed(learnt)
    turned = sum(bend.angle for bend in line.bends)
    assert found.blank == pytest.approx(line.length + 50.0 - (160.0 - 140.0) * turned, abs=0.05)


def legs(angle: float, clr: float, consumed: float) -> tuple[float, float]:
    """Return both legs of a scrap of 900 that was marked at 300, to where the outsides cross."""
    reach = (clr + OD / 2.0) * math.tan(angle / 2.0)
    return 300.0 + reach, 900.0 - 300.0 - consumed * angle + reach


lengths = st.floats(0.0, 700.0)
angles = st.floats(math.radians(10.0), math.radians(110.0))
turns = st.floats(-3.0, 3.0)
tubes = st.integers(1, 4).flatmap(
    lambda count: st.builds(
        run,
        st.lists(lengths, min_size=count + 1, max_size=count + 1),
        st.lists(angles, min_size=count, max_size=count),
        st.lists(turns, min_size=count - 1, max_size=count - 1),
    )
)
benders = st.builds(
    Bender,
    st.just(7),
    st.just("B"),
    height=st.floats(300.0, 1200.0),
    swing=st.sampled_from(["left", "right", "up"]),
    moves=st.sampled_from(["lead", "tail", "both"]),
    boxes=st.sampled_from([(), (Box("post", (100.0, 250.0, -900.0), (200.0, 400.0, 50.0)),)]),
)


def bent_in(layout: Layout, bender: Bender) -> Layout:
    return replace(layout, dies={11: replace(DIE, bender=7)}, benders={7: bender})


@given(tubes, benders)
def test_a_reversed_tube_bent_from_its_other_end_fares_alike(points: list[Vec3], bender: Bender) -> None:
    layout = bent_in(job(points, bend_from="start"), bender)
    there, back = fed(layout), fed(edits.reverse_tube(layout, 20))
    last = len(there.feeds) - 1
    other = {"start": "end", "end": "start"}
    for a, b in zip(there.feeds, back.feeds, strict=True):
        assert (b.bend, b.leads) == (last - a.bend, other[a.leads])
        assert (b.lead, b.tail) == pytest.approx((a.lead, a.tail))
    assert (back.end_allowance, back.start_allowance) == pytest.approx(
        (there.start_allowance, there.end_allowance)
    )
    assert sorted((last - t.bend, t.kind, t.box) for t in back.troubles) == sorted(
        (t.bend, t.kind, t.box) for t in there.troubles
    )


@given(tubes, benders)
def test_the_order_that_is_chosen_has_the_least_against_it(points: list[Vec3], bender: Bender) -> None:
    layout = bent_in(job(points), bender)
    best = counted(fed(layout))
    for bend_from in ("start", "end", "middle"):
        other = edits.set_bend_from(layout, [20], bend_from)
        assert best <= counted(fed(other))


def counted(found: Feeding) -> int:
    return sum(trouble.kind != "between" for trouble in found.troubles)


@given(tubes)
def test_the_blank_is_that_of_the_plan(points: list[Vec3]) -> None:
    layout = job(points)
    found = plan.of(layout, layout.tubes[20])
    assert found.blank == pytest.approx(fed(layout).blank)
    assert (found.start_trim, found.blank - found.end_trim) == pytest.approx(
        (fed(layout).start_allowance, fed(layout).end_allowance)
    )


@given(tubes, st.sampled_from(["start", "end", "middle"]))
def test_what_swings_is_the_tube_as_it_is_drawn(points: list[Vec3], bend_from: str) -> None:
    """After the last bend: both ends of the blank and of that bend lie as in the drawn tube, not mirrored."""
    layout = job(points, bend_from=bend_from)
    line, found = centreline.of(layout, layout.tubes[20]), fed(layout)
    last = found.feeds[-1]
    bend = line.bends[last.bend]
    start, low, high, end = centreline.point_at(line, [0.0, bend.start, bend.end, line.length])
    inwards, outwards = centreline.direction_at(line, [0.0, line.length])
    drawn = [start - found.start_allowance * inwards, low, high, end + found.end_allowance * outwards]
    made = in_the_die(layout, line, found)
    assert legs_of(made) == pytest.approx(legs_of(drawn if last.leads == "start" else drawn[::-1]), abs=1e-6)


def in_the_die(layout: Layout, line: Centreline, found: Feeding) -> list[np.ndarray]:
    """Return leading end, both ends of the bend and trailing end, as they lie after the last bend."""
    machine = Machine(OD, CLR, CLR, 0.0, 1.0, None)
    move = feeding.moves(line, machine, found)[-1]
    lead = swing.chain(machine, move)[-1]
    if move.ahead:
        lead = turned(lead, np.array([1.0, 0.0, 0.0]), move.ahead[0].rotation)
    centre, up = np.array([0.0, CLR, 0.0]), np.array([0.0, 0.0, 1.0])
    ahead = [turned(point - centre, up, move.angle) + centre for point in (lead, np.zeros(3))]
    return [*ahead, np.zeros(3), np.array([-move.tail, 0.0, 0.0])]


def legs_of(points: list[np.ndarray]) -> list[float]:
    """Return the distances between four points, and the volume they span with its sign."""
    a, b, c, d = points
    sides = [float(np.linalg.norm(one - other)) for one, other in combinations(points, 2)]
    return [*sides, float(np.dot(np.cross(b - a, c - a), d - a)) / 1e6]


def hanging_leg(bend_from: str = "best") -> Layout:
    """A tube that holds a leg of 1300 down when it is bent from its start, and one of 300 from its end."""
    points = run([1300.0, 400.0, 300.0], [RIGHT_ANGLE, RIGHT_ANGLE], [-RIGHT_ANGLE])
    return bent_in(job(points, bend_from=bend_from), Bender(7, "B", height=1000.0))


def test_a_leg_that_would_reach_the_floor_is_bent_last() -> None:
    # Bent from the start, the second bend turns the long leg straight down: 1300 + 25 + CLR + OD / 2.
    (trouble,) = fed(hanging_leg("start")).troubles
    assert trouble == Trouble(1, "floor", pytest.approx(1000.0 - 1495.0, abs=0.1), 0.0)
    assert [(feed.bend, feed.leads) for feed in fed(hanging_leg()).feeds] == [(1, "end"), (0, "end")]
    assert fed(hanging_leg()).troubles == ()


def test_a_leg_that_the_floor_just_leaves_room_for() -> None:
    layout = hanging_leg("start")
    for height, count in ((1494.0, 1), (1498.0, 0)):
        low = replace(layout, benders={7: Bender(7, "B", height=height)})
        assert len(fed(low).troubles) == count


def test_an_order_whose_blank_is_too_long_for_a_stick_gives_way() -> None:
    # 250 of straight and 25 of allowance are enough to lead with, and 25 too little for a tail.
    points = run([250.0, 500.0, 400.0], [RIGHT_ANGLE, RIGHT_ANGLE])
    layout = job(points)
    plain = fed(layout)
    assert plain.feeds[0].leads == "start"
    reversed_job = edits.reverse_tube(layout, 20)
    longer = fed(edits.set_bend_from(reversed_job, [20], "start"))
    assert longer.blank == pytest.approx(plain.blank + 25.0)
    short = replace(reversed_job, stocks={10: replace(layout.stocks[10], stick=plain.blank + 1.0)})
    assert fed(short).feeds[0].leads == "end"
    assert fed(short).blank == pytest.approx(plain.blank)
