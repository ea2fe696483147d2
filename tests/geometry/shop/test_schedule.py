import json
import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from msgspec.structs import replace

from geometry import edits, rack, symmetry
from geometry.checks import bends
from geometry.errors import GeometryError
from geometry.layout import Landing, Layout, TrialBend
from geometry.shop import schedule
from geometry.tube import bending
from geometry.tube.stock import starting_rack

STOCKS, DIES, NEXT_ID = starting_rack(1)
INCH = next(id for id, row in STOCKS.items() if row.name == "1.75 × 0.120 in")
METRIC = next(id for id, row in STOCKS.items() if row.name == "45 × 2.5 mm")
SIX_INCH = next(id for id, die in DIES.items() if (die.od, die.clr) == (44.45, 152.4))
EMPTY = Layout(name="Test car", stocks=STOCKS, dies=DIES, next_id=NEXT_ID)

HOOP = ((0, -700, 0), (0, -700, 1100), (0, 700, 1100), (0, 700, 0))
GENERAL = ((0, 0, 0), (0, 0, 900), (250, 0, 1250), (1100, 150, 1300), (1250, 700, 1250), (1250, 1100, 700))

straights = st.floats(1.0, 900.0)
rows = st.builds(
    bending.BendRow,
    straights,
    st.floats(-math.pi, math.pi),
    st.floats(math.radians(2.0), math.radians(150.0)),
    st.just(DIES[SIX_INCH].clr),
)
places = st.tuples(*[st.floats(-1500.0, 1500.0)] * 3)


def corners(rows: list, last: float, start: tuple, turn: float) -> list:
    """Return the nodes of a tube that can be made, lying anyhow in space."""
    along = (math.cos(turn), 0.6 * math.sin(turn), 0.8 * math.sin(turn))
    data = bending.BendData(tuple(rows), last, 0.0)
    return list(bending.nodes_from(data, start, along, (0.48, 0.6, -0.64)))


polylines = st.builds(corners, st.lists(rows, max_size=4), straights, places, st.floats(0.3, 2.8))


def lay(points: tuple, layout: Layout = EMPTY) -> tuple[Layout, int]:
    """Lay one tube on the six inch die."""
    layout, tube = edits.add_tube(layout, list(points), INCH)
    return edits.set_die(layout, [tube], SIX_INCH), tube


def record_of(layout: Layout, tube: int) -> schedule.TubeRecord:
    return schedule.record(layout, layout.tubes[tube])


def test_marks_run_from_the_sawn_start_end() -> None:
    record = record_of(*lay(HOOP))
    assert record.centreline == pytest.approx(3469.1787204, abs=5.1e-8)
    assert record.blank == pytest.approx(3469.1787204 + 50.0, abs=5.1e-8)
    assert (record.start_trim, record.end_trim) == (25.0, pytest.approx(3494.1787204, abs=5.1e-8))
    assert [bend.start for bend in record.bends] == pytest.approx([972.6, 2307.189360], abs=5.1e-7)
    assert [bend.end - bend.start for bend in record.bends] == pytest.approx([239.3893602] * 2, abs=5.1e-8)
    assert record.last_straight == pytest.approx(947.6)
    assert record.makeable


def test_the_dial_runs_on_through_the_rotations() -> None:
    bends = record_of(*lay(GENERAL)).bends
    assert [math.degrees(bend.rotation) for bend in bends] == pytest.approx(
        [0.0, 12.75545488, 75.53955106, -72.43557203], abs=5.1e-9
    )
    assert [math.degrees(bend.dial) for bend in bends] == pytest.approx(
        [0.0, 12.75545488, 88.29500594, 15.85943391], abs=1.6e-8
    )
    assert [bend.number for bend in bends] == [1, 2, 3, 4]


def test_the_dial_of_a_negative_rotation_reads_from_the_other_side() -> None:
    mirrored = tuple((x, -y, z) for x, y, z in GENERAL)
    dials = [math.degrees(bend.dial) for bend in record_of(*lay(mirrored)).bends]
    assert dials == pytest.approx([0.0, 347.24454512, 271.70499406, 344.14056609], abs=1.6e-8)


def test_straights_marks_and_allowances_add_up_to_the_blank() -> None:
    record = record_of(*lay(GENERAL))
    station = record.start_allowance
    for bend in record.bends:
        station += bend.straight_before
        assert bend.start == pytest.approx(station)
        station += bend.clr * bend.angle
        assert bend.end == pytest.approx(station)
    assert station + record.last_straight + record.end_allowance == pytest.approx(record.blank)


def test_a_first_straight_too_short_for_the_die_makes_the_blank_longer() -> None:
    layout, tube = lay(((0, 0, 0), (252.4, 0, 0), (252.4, 800, 0)))
    record = record_of(layout, tube)
    assert record.bends[0].straight_before == pytest.approx(100.0)
    assert record.start_allowance == pytest.approx(100.0)
    assert record.bends[0].start == pytest.approx(DIES[SIX_INCH].first_straight)
    assert record.blank == pytest.approx(record.centreline + 100.0 + 25.0)


def test_a_tail_too_short_for_the_die_makes_the_blank_longer() -> None:
    record = record_of(*lay(((0, 0, 0), (800, 0, 0), (800, 352.4, 0))))
    assert record.last_straight == pytest.approx(200.0)
    assert record.end_allowance == pytest.approx(100.0)
    assert record.blank - record.bends[0].end == pytest.approx(DIES[SIX_INCH].tail)


def test_an_allowance_that_is_enough_for_the_die_is_kept() -> None:
    layout, tube = lay(((0, 0, 0), (252.4, 0, 0), (252.4, 800, 0)))
    record = record_of(edits.set_allowances(layout, [tube], 150.0, 0.0), tube)
    assert (record.start_allowance, record.end_allowance) == (150.0, 0.0)


def test_a_straight_tube_needs_nothing_of_a_die() -> None:
    record = record_of(*lay(((0, 0, 0), (120, 0, 0))))
    assert record.blank == pytest.approx(170.0)
    assert (record.bends, record.last_straight) == ((), pytest.approx(120.0))


def test_a_tube_without_a_die_keeps_the_asked_allowances() -> None:
    layout, tube = edits.add_tube(replace(EMPTY, dies={}), [(0, 0, 0), (200, 0, 0), (200, 800, 0)], INCH)
    record = record_of(layout, tube)
    assert record.die is None
    assert (record.start_allowance, record.bends[0].clr) == (25.0, pytest.approx(133.35))


def test_a_tube_that_cannot_be_made_says_so_and_keeps_its_true_straights() -> None:
    record = record_of(*lay(((0, 0, 0), (600, 0, 0), (600, 200, 0), (1200, 200, 0))))
    assert not record.makeable
    assert record.bends[1].straight_before == pytest.approx(200.0 - 2 * 152.4)


def test_mass_is_that_of_the_finished_tube() -> None:
    record = record_of(*lay(((0, 0, 0), (1000, 0, 0))))
    assert record.mass == pytest.approx(3.112116, abs=5.1e-7)


def test_the_wall_that_bends_leave_at_their_outside_is_estimated() -> None:
    # Nothing coming round from the sides: t / (1 + D / 2R).
    assert record_of(*lay(HOOP)).outer_wall == pytest.approx(3.048 / (1.0 + 44.45 / 304.8))
    assert record_of(*lay(((0, 0, 0), (500, 0, 0)))).outer_wall is None


def test_totals_are_by_size_in_the_order_of_the_rack() -> None:
    layout, _ = edits.add_tube(EMPTY, [(0, 0, 0), (1000, 0, 0)], METRIC)
    layout, _ = edits.add_tube(layout, [(0, 0, 0), (500, 0, 0)], INCH)
    layout, _ = edits.add_tube(layout, [(0, 0, 0), (1500, 0, 0)], INCH)
    inch, metric = schedule.build(layout).by_stock
    assert (inch.stock.id, inch.count, inch.blank) == (INCH, 2, pytest.approx(2100.0))
    assert inch.mass == pytest.approx(2 * 3.112116, abs=1.1e-6)
    assert (metric.stock.id, metric.count, metric.blank) == (METRIC, 1, pytest.approx(1050.0))


def test_a_free_end_meets_nothing() -> None:
    record = record_of(*lay(HOOP))
    assert record.ends == (schedule.End("free"), schedule.End("free"))


def test_a_landing_names_its_tube_and_the_acute_angle() -> None:
    layout, host = lay(((0, 0, 0), (1000, 0, 0)))
    layout, tube = lay((Landing(host, 500.0), (200, 300, 0)), layout)
    assert record_of(layout, tube).ends[0] == schedule.End("landing", host, pytest.approx(math.pi / 4))


def test_two_ends_at_one_node_have_the_angle_between_the_tubes() -> None:
    layout, first = lay(((0, 0, 0), (1000, 0, 0)))
    shared = layout.tubes[first].nodes[1]
    layout, second = lay((shared, (1300, 300, 0)), layout)
    expected = pytest.approx(math.radians(135.0))
    assert record_of(layout, second).ends[0] == schedule.End("joint", first, expected)
    assert record_of(layout, first).ends[1] == schedule.End("joint", second, expected)


def test_an_end_is_cut_to_fit_the_tube_that_runs_through() -> None:
    layout, first = lay(((500, 0, 0), (500, 0, 900)))
    shared = layout.tubes[first].nodes[0]
    layout, through = lay(((0, 0, 0), shared, (1000, 0, 0)), layout)
    layout, third = lay((shared, (900, 400, 0)), layout)
    assert record_of(layout, third).ends[0] == schedule.End("joint", through, pytest.approx(math.pi / 4))


def test_json_has_millimetres_and_degrees_with_the_unit_in_each_key() -> None:
    layout, host = lay(HOOP)
    layout, _ = lay((Landing(host, 500.0), (800, -700, 500)), layout)
    rows = schedule.to_json(schedule.build(layout), layout, findings=[{"rule": "bend.no_die"}])
    hoop, branch = rows["tubes"]
    assert rows["job"] == "Test car"
    assert rows["findings"] == [{"rule": "bend.no_die"}]
    assert hoop["stock"] == "1.75 × 0.120 in"
    assert (hoop["od_mm"], hoop["wall_mm"]) == (44.45, 3.048)
    assert hoop["nodes"] == [list(map(float, point)) for point in HOOP]
    assert hoop["bends"][1]["angle_deg"] == pytest.approx(90.0)
    assert hoop["bends"][1]["start_mm"] == pytest.approx(2307.189360, abs=5.1e-7)
    assert hoop["bends"][1]["straight_before_mm"] == pytest.approx(1095.2)
    assert branch["ends"][0] == {"kind": "landing", "tube": "T1", "angle_deg": pytest.approx(90.0)}
    assert branch["ends"][1] == {"kind": "free", "tube": None, "angle_deg": None}
    required = {
        *("name", "stock", "od_mm", "wall_mm", "centreline_mm", "start_allowance_mm", "end_allowance_mm"),
        *("blank_mm", "mass_kg", "nodes", "bends", "last_straight_mm", "ends"),
    }
    assert required <= set(hoop)
    assert {"straight_before_mm", "rotation_deg", "angle_deg", "clr_mm", "start_mm"} <= set(hoop["bends"][0])
    assert json.loads(json.dumps(rows, allow_nan=False)) == rows


def test_an_empty_job_has_an_empty_schedule() -> None:
    rows = schedule.build(EMPTY)
    assert (rows.records, rows.by_stock) == ((), ())
    assert schedule.to_json(rows, EMPTY)["tubes"] == []


def laid(points: list) -> tuple[Layout, int]:
    """Lay a tube whose shape is far enough from every limit for rounding not to matter."""
    try:
        layout, tube = lay(tuple(points))
    except GeometryError:
        assume(False)
    line = record_of(layout, tube).line
    assume(line.is_makeable)
    assume(all(math.radians(1.0) < bend.angle < math.radians(170.0) for bend in line.bends))
    assume(len(line.bends) == len(points) - 2)
    assume(all(straight > 0.01 for straight in line.straights))
    return layout, tube


def shape(record: schedule.TubeRecord) -> tuple:
    """Return what must not depend on where a tube lies."""
    bends = [(bend.straight_before, bend.angle, bend.start, bend.end) for bend in record.bends]
    return [*(value for row in bends for value in row), record.blank, record.mass, record.last_straight]


@given(polylines, st.floats(-3.0, 3.0), st.tuples(*[st.floats(-500.0, 500.0)] * 3))
def test_rigid_motion_keeps_the_schedule(points: list, turn: float, shift: tuple) -> None:
    record = record_of(*laid(points))
    c, s = math.cos(turn), math.sin(turn)
    moved = [(c * x - s * z + shift[0], y + shift[1], s * x + c * z + shift[2]) for x, y, z in points]
    other = record_of(*lay(tuple(moved)))
    assert shape(other) == pytest.approx(shape(record), abs=1e-6)
    for a, b in zip(record.bends, other.bends, strict=True):
        assert abs(math.remainder(a.dial - b.dial, 2 * math.pi)) < 1e-6


@given(polylines)
def test_a_mirrored_tube_has_its_rotations_negated_and_nothing_else(points: list) -> None:
    assume(all(abs(y) > 1.0 for _, y, _ in points))
    layout, tube = laid(points)
    try:
        layout, (twin,) = symmetry.paired(layout, [tube])
    except GeometryError:
        assume(False)
    record, other = record_of(layout, tube), record_of(layout, twin)
    assert shape(other) == pytest.approx(shape(record), abs=1e-6)
    for a, b in zip(record.bends, other.bends, strict=True):
        assert abs(math.remainder(a.rotation + b.rotation, 2 * math.pi)) < 1e-6
        assert abs(math.remainder(a.dial + b.dial, 2 * math.pi)) < 1e-6


@given(polylines)
def test_a_reversed_tube_has_its_rows_reversed_with_the_same_signs(points: list) -> None:
    layout, tube = laid(points)
    back = record_of(edits.reverse_tube(layout, tube), tube)
    record = record_of(layout, tube)
    assert [bend.angle for bend in back.bends] == pytest.approx([b.angle for b in record.bends[::-1]])
    for a, b in zip(record.bends[:0:-1], back.bends[1:], strict=True):
        assert abs(math.remainder(a.rotation - b.rotation, 2 * math.pi)) < 1e-6
    assert back.centreline == pytest.approx(record.centreline)


@given(polylines)
def test_walking_the_schedule_gives_back_the_nodes(points: list) -> None:
    record = record_of(*laid(points))
    assume(record.bends)
    rows = tuple(
        bending.BendRow(bend.straight_before, bend.rotation, bend.angle, bend.clr) for bend in record.bends
    )
    data = bending.BendData(rows, record.last_straight, record.centreline)
    along = tuple(b - a for a, b in zip(points[0], points[1], strict=True))
    nodes = bending.nodes_from(data, points[0], along, bending.turns(points)[0].axis)
    for node, point in zip(nodes, points, strict=True):
        assert node == pytest.approx(point, abs=1e-5)


@given(polylines)
def test_the_check_and_the_schedule_agree_on_the_blank(points: list) -> None:
    layout, tube = laid(points)
    stocks = {**layout.stocks, INCH: replace(layout.stocks[INCH], stick=1.0)}
    layout = replace(layout, stocks=stocks)
    over = [row for row in bends.findings(layout, layout.tubes[tube]) if row.rule == "blank.over_stick"]
    assume(over)  # a tube that is shorter than it is wide is told of that, and nothing else
    assert over[0].value == pytest.approx(record_of(layout, tube).blank)


def taught(layout: Layout) -> Layout:
    """Add two trial bends, measured without error, of a die that bends wider and stretches the tube."""
    clr, consumed, offset, at_zero, per_angle = 156.0, 150.0, 12.0, math.radians(2.0), 1.03
    for angle in (math.radians(45.0), math.radians(100.0)):
        outside = (clr + 22.225) * math.tan(angle / 2.0)
        lead = 300.0 + offset
        row = TrialBend(
            *(0, SIX_INCH, INCH, "", "2026-11-25", 900.0, 300.0, at_zero + per_angle * angle, angle),
            lead_leg=lead + outside,
            tail_leg=900.0 - lead - consumed * angle + outside,
        )
        layout, _ = rack.add_trial(layout, row)
    return layout


def test_trial_bends_change_the_blank_the_marks_and_the_dial() -> None:
    layout, tube = lay(HOOP)
    record = record_of(taught(layout), tube)
    # By hand: legs less tangents of 156 mm, two quarter turns of 150 mm a radian.
    first, between, took = 1100.0 - 156.0, 1400.0 - 2 * 156.0, 150.0 * math.pi / 2.0
    assert record.plan.calibration.state == "measured"
    assert record.centreline == pytest.approx(2 * first + between + 156.0 * math.pi)
    assert record.stretch == pytest.approx(6.0 * math.pi)
    assert record.blank == pytest.approx(record.centreline + 50.0 - 6.0 * math.pi)
    starts = [25.0 + first, 25.0 + first + took + between]
    assert [bend.start for bend in record.bends] == pytest.approx(starts)
    assert [bend.end for bend in record.bends] == pytest.approx([start + took for start in starts])
    assert [step.mark for step in record.plan.steps] == pytest.approx([start - 12.0 for start in starts])
    assert [math.degrees(step.set_angle) for step in record.plan.steps] == pytest.approx([94.7, 94.7])
    assert record.end_trim == pytest.approx(record.blank - 25.0)


def test_json_tells_the_steps_in_the_order_of_bending() -> None:
    layout, tube = lay(GENERAL)
    layout = edits.set_bend_from(taught(layout), [tube], "end")
    record = record_of(layout, tube)
    (row,) = schedule.to_json(schedule.build(layout), layout)["tubes"]
    assert [step["bend"] for step in row["steps"]] == [4, 3, 2, 1]
    assert [step["leads"] for step in row["steps"]] == ["end"] * 4
    assert [step["zero_bend"] for step in row["steps"]] == [None, 4, 4, 4]
    rotations = [step["rotation_deg"] for step in row["steps"]]
    assert rotations == pytest.approx([0.0, -72.43557203, 75.53955106, 12.75545488], abs=5.1e-9)
    dials = [step["dial_deg"] for step in row["steps"]]
    assert dials == pytest.approx([0.0, 287.56442797, 3.10397903, 15.85943391], abs=1.6e-8)
    for step, planned in zip(row["steps"], record.plan.steps, strict=True):
        bend = row["bends"][step["bend"] - 1]
        assert step["set_mark_mm"] == bend["set_mark_mm"] == planned.mark
        assert step["set_angle_deg"] == bend["set_angle_deg"] == math.degrees(planned.set_angle)
        assert step["angle_deg"] == pytest.approx(bend["angle_deg"])
        assert step["included_deg"] == pytest.approx(180.0 - bend["angle_deg"])
    for step, after in zip(row["steps"][1:], row["bends"][:0:-1], strict=True):
        assert step["straight_mm"] == pytest.approx(after["straight_before_mm"])
    assert (row["steps"][0]["straight_mm"], row["steps"][0]["height_mm"]) == (None, None)
    along = (np.array(GENERAL[1]) - GENERAL[0]) / 900.0, (np.array(GENERAL[-1]) - GENERAL[-2]) / 680.0735254
    ends = GENERAL[0] - 25.0 * along[0], GENERAL[-1] + 25.0 * along[1]
    assert row["steps"][-1]["chord_mm"] == pytest.approx(float(np.linalg.norm(ends[1] - ends[0])))
    assert row["stretch_mm"] == record.stretch > 0.0
    assert row["trial_bends"]["state"] == "measured"
    assert row["trial_bends"]["count"] == 2
    assert row["trial_bends"]["clr_mm"] == pytest.approx(156.0)
    assert json.loads(json.dumps(row, allow_nan=False)) == row


def test_json_of_a_tube_that_cannot_be_bent_has_no_steps() -> None:
    layout, _ = lay(((0, 0, 0), (600, 0, 0), (600, 200, 0), (1200, 200, 0)))
    (row,) = schedule.to_json(schedule.build(layout), layout)["tubes"]
    assert row["steps"] == []
    assert [bend["set_mark_mm"] for bend in row["bends"]] == [None, None]


def test_two_ends_in_line_with_a_sleeve_say_so() -> None:
    layout, tube = lay(((0, 0, 0), (1000, 0, 0)))
    layout, other = edits.split_with_sleeve(layout, tube, 400.0)
    expected = pytest.approx(math.pi)
    assert record_of(layout, tube).ends[1] == schedule.End("sleeve", other, expected)
    assert record_of(layout, other).ends[0] == schedule.End("sleeve", tube, expected)
