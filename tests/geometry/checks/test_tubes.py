"""Tubes that share no joint: where they run into each other, pass too close, or run side by side."""

import numpy as np
import pytest
from msgspec.structs import replace

from app import wording
from app.units import MILLIMETRES
from geometry import edits, sample, symmetry
from geometry.body.distance import BodyIndex
from geometry.checks import findings, tubes
from geometry.checks.finding import Finding
from geometry.checks.findings import Report
from geometry.layout import Die, Landing, Layout, Limits, Node, Stock, Tube
from geometry.vectors import Vec3

OD = 44.45


def checked(
    layout: Layout, index: BodyIndex, previous: Report | None = None, tubes: frozenset[int] | None = None
) -> Report:
    """Return the report with what follows a moment later."""
    report = findings.check(layout, index, previous, tubes)
    return findings.completed(layout, index, {}, report, lambda: True)[0]


def job(*runs: list[Vec3], limits: Limits = Limits()) -> Layout:
    nodes, laid, id = {}, {}, 100
    for number, run in enumerate(runs, start=1):
        ids = tuple(range(id, id + len(run)))
        nodes |= {id: Node(id, point) for id, point in zip(ids, run, strict=True)}
        laid[number] = Tube(number, f"T{number}", ids, 50)
        id += len(run)
    return Layout(
        next_id=1000,
        nodes=nodes,
        tubes=laid,
        stocks={50: Stock(50, "tube", OD, 2.41)},
        dies={51: Die(51, "former", OD, 152.4)},
        limits=limits,
    )


def across(gap: float, **more: Limits) -> Layout:
    """Two straight tubes square to each other, with a gap between their surfaces."""
    up = OD + gap
    return job([(0.0, 0.0, 0.0), (1000.0, 0.0, 0.0)], [(400.0, -300.0, up), (400.0, 300.0, up)], **more)


def beside(gap: float, run: float, turn: float = 0.0) -> Layout:
    """Two straight tubes side by side for a run, the second one turned about its middle."""
    reach, lean = run / 2.0 * np.cos(turn), run / 2.0 * np.sin(turn)
    return job(
        [(0.0, 0.0, 0.0), (1000.0, 0.0, 0.0)],
        [(500.0 - reach, OD + gap, -lean), (500.0 + reach, OD + gap, lean)],
    )


def found(layout: Layout) -> list[Finding]:
    return [one for one in checked(layout, {}).findings if one.rule.startswith("tubes.")]


def rules(layout: Layout) -> list[str]:
    return [one.rule for one in found(layout)]


def test_tubes_run_into_each_other_below_no_clearance() -> None:
    (one,) = found(across(-0.1))
    assert (one.rule, one.severity, one.tubes) == ("tubes.crossing", "error", (1, 2))
    assert one.value == pytest.approx(-0.1, abs=0.01)
    assert [one.amounts[name].number for name in ("station", "there")] == pytest.approx([400.0, 300.0])
    assert one.at == pytest.approx((400.0, 0.0, (OD - 0.1) / 2.0))
    assert rules(across(0.1)) == ["tubes.close"]


def test_tubes_that_pass_closer_than_the_gap_asked_for_are_a_warning() -> None:
    (one,) = found(across(9.9))
    assert (one.rule, one.severity, one.limit) == ("tubes.close", "warning", 10.0)
    assert one.value == pytest.approx(9.9, abs=0.01)
    assert rules(across(10.1)) == []
    assert rules(across(10.1, limits=Limits(tube_gap=10.2))) == ["tubes.close"]


def test_tubes_side_by_side_within_a_torch_are_a_note() -> None:
    (one,) = found(beside(74.9, 200.0))
    assert (one.rule, one.severity, one.limit) == ("tubes.beside", "note", 75.0)
    assert one.amounts["run"].number == pytest.approx(200.0)
    assert one.amounts["station"].number == pytest.approx(400.0)
    assert rules(beside(75.1, 200.0)) == []


def test_a_short_run_side_by_side_is_no_finding() -> None:
    assert rules(beside(50.0, 149.9)) == []
    assert rules(beside(50.0, 150.1)) == ["tubes.beside"]


def test_tubes_that_lean_away_from_each_other_are_no_finding() -> None:
    assert rules(beside(50.0, 400.0, np.radians(4.9))) == ["tubes.beside"]
    assert rules(beside(50.0, 400.0, np.radians(5.1))) == []


def test_the_run_ends_where_the_tubes_spread_beyond_the_reach() -> None:
    """Closed form: spread by 3 degrees from 50 apart, 75 is reached after 25 / sin 3 degrees."""
    turn = np.radians(3.0)
    end = (900.0 * np.cos(turn), OD + 50.0 + 900.0 * np.sin(turn), 0.0)
    (one,) = found(job([(0.0, OD + 50.0, 0.0), end], [(0.0, 0.0, 0.0), (1000.0, 0.0, 0.0)]))
    # Measured along the first tube, to the line of the second.
    assert one.amounts["run"].number == pytest.approx(25.0 / np.sin(turn), abs=1.0)


def test_mirror_twins_that_cross_at_the_centre_plane_are_found() -> None:
    layout = job([(0.0, 300.0, 0.0), (200.0, -15.0, 0.0), (900.0, -15.0, 0.0)])
    layout, _ = symmetry.paired(layout, [1])
    assert [one.rule for one in found(layout)] == ["tubes.crossing"]


def test_a_node_in_common_is_a_joint() -> None:
    layout = across(-10.0)
    shared = replace(layout.tubes[2], nodes=(layout.tubes[1].nodes[1], layout.tubes[2].nodes[1]))
    assert rules(replace(layout, tubes={**layout.tubes, 2: shared})) == []


def test_a_tube_that_sits_on_another_one_is_joined_to_it() -> None:
    layout = job([(0.0, 0.0, 0.0), (1000.0, 0.0, 0.0)])
    layout, _ = edits.add_tube(layout, [Landing(1, 400.0), (400.0, 500.0, 0.0)], 50)
    assert rules(layout) == []


def on_a_third(between: float) -> Layout:
    layout = job([(0.0, 0.0, 0.0), (1000.0, 0.0, 0.0)])
    layout, _ = edits.add_tube(layout, [Landing(1, 400.0), (400.0, 500.0, 0.0)], 50)
    layout, _ = edits.add_tube(layout, [Landing(1, 400.0 + between), (400.0 + between, 0.0, 500.0)], 50)
    return layout


def test_tubes_on_one_place_of_a_third_share_that_joint() -> None:
    assert rules(on_a_third(0.0)) == []
    assert rules(on_a_third(OD - 0.5)) == []
    assert rules(on_a_third(OD + 0.5)) == ["tubes.close"]


def joined(*runs: list[int | Vec3], gap: float = 10.0) -> Layout:
    """Tubes through points; a number stands for the point of the first tube with that number."""
    layout = job([point for point in runs[0] if not isinstance(point, int)], limits=Limits(tube_gap=gap))
    nodes = layout.tubes[1].nodes
    for run in runs[1:]:
        layout, _ = edits.add_tube(layout, [nodes[at] if isinstance(at, int) else at for at in run], 50)
    return layout


RAIL: list[int | Vec3] = [(0.0, 0.0, 0.0), (1000.0, 0.0, 0.0), (1000.0, 1000.0, 0.0)]


@pytest.mark.parametrize("apart", [-5.0, 5.0])
def test_a_tube_that_comes_back_to_the_one_it_is_joined_to_is_found(apart: float) -> None:
    """Closed form: it leaves the rail's end square, turns round and passes over it 400 mm further on."""
    up = OD + apart
    back = [0, (0.0, -400.0, 0.0), (400.0, -400.0, up), (400.0, 300.0, up)]
    layout = joined(RAIL, back)
    (one,) = found(layout)
    assert one.rule == ("tubes.crossing" if apart < 0.0 else "tubes.close")
    assert one.value == pytest.approx(apart, abs=0.02)
    assert one.amounts["station"].number == pytest.approx(400.0, abs=0.1)
    assert one.at == pytest.approx((400.0, 0.0, up / 2.0), abs=0.1)
    # The same whichever way each of them runs.
    for turned in ((1,), (2,), (1, 2)):
        other = layout
        for id in turned:
            other = edits.reverse_tube(other, sorted(layout.tubes)[id - 1])
        (again,) = found(other)
        assert (again.rule, again.value) == (one.rule, pytest.approx(one.value, abs=0.02))
        assert again.at == pytest.approx(one.at, abs=0.2)


def test_a_tube_that_comes_back_to_the_joint_itself_is_found() -> None:
    layout = joined(
        RAIL, [0, (0.0, -400.0, 0.0), (300.0, -400.0, 0.0), (300.0, 0.0, 0.0), (-200.0, 0.0, 30.0)]
    )
    assert [one.rule for one in found(layout)] == ["tubes.crossing"]


@pytest.mark.parametrize("degrees", [15, 30, 60, 90, 150, 180])
def test_a_joint_at_any_angle_is_no_finding(degrees: int) -> None:
    turn = np.radians(degrees)
    for at in (0, 2):
        x, y, _ = RAIL[at]  # type: ignore[misc]
        away = (1.0, 0.0) if at == 0 else (0.0, -1.0)
        end = (
            x + 900.0 * (away[0] * np.cos(turn) - away[1] * np.sin(turn)),
            y + 900.0 * (away[1] * np.cos(turn) + away[0] * np.sin(turn)),
            0.0,
        )
        said = rules(joined(RAIL, [at, end]))
        assert "tubes.crossing" not in said
        assert "tubes.close" not in said


@pytest.mark.parametrize("end", [(1000.0, 0.0, 900.0), (1700.0, -700.0, 0.0), (300.0, 700.0, 0.0)])
def test_a_tube_that_ends_in_the_corner_of_a_bend_is_joined_there(end: Vec3) -> None:
    """From outside the bend and from inside, where it crosses the bend before it ends in the corner."""
    assert rules(joined(RAIL, [1, end])) == []


def test_tubes_that_turn_in_the_same_corner_are_joined_there() -> None:
    assert rules(joined(RAIL, [(1000.0, -900.0, 0.0), 1, (1000.0, 0.0, 900.0)])) == []


def test_two_tubes_through_the_same_nodes_run_into_each_other() -> None:
    layout = joined(RAIL, [0, 1, 2])
    assert rules(layout) == ["tubes.crossing"]


def test_a_sister_tube_on_the_same_joints_is_held_against_the_first() -> None:
    """It leaves and comes back at its ends; between them it runs along 20 mm clear of a straight rail."""
    rail: list[int | Vec3] = [(0.0, 0.0, 0.0), (2000.0, 0.0, 0.0)]
    sister = [0, (0.0, 0.0, OD + 60.0), (2000.0, 0.0, OD + 60.0), 1]
    (one,) = found(joined(rail, sister))
    assert one.rule == "tubes.beside"
    assert one.value == pytest.approx(60.0, abs=0.01)


def test_a_third_tube_in_the_joint_hides_nothing_further_on() -> None:
    back = [0, (0.0, -400.0, 0.0), (400.0, -400.0, 30.0), (400.0, 300.0, 30.0)]
    layout = joined(RAIL, back, [0, (-500.0, 0.0, 400.0)])
    assert [one.rule for one in found(layout)] == ["tubes.crossing"]


def test_the_sample_gains_no_finding() -> None:
    assert rules(sample.build()) == []


def test_every_sentence_names_both_tubes() -> None:
    for layout in (across(-5.0), across(5.0), beside(50.0, 300.0)):
        (one,) = found(layout)
        words = wording.say(one, layout, MILLIMETRES)
        assert "T1" in words
        assert "T2" in words
        assert "{" not in words
        assert one.rule in wording.RULE_TITLES


def crowd(seed: int, count: int = 14) -> Layout:
    random = np.random.default_rng(seed)
    runs = [[tuple(p) for p in random.uniform(-500.0, 500.0, (3, 3)).tolist()] for _ in range(count)]
    return job(*runs)


def same(first: Report, second: Report) -> bool:
    return (first.pairs, first.findings, first.checked) == (second.pairs, second.findings, second.checked)


@pytest.mark.parametrize("seed", range(8))
def test_a_drag_gives_what_a_fresh_check_gives(seed: int) -> None:
    layout = crowd(seed)
    report = checked(layout, {})
    assert report.pairs
    for step in range(4):
        node = layout.nodes[101 + 3 * step]
        layout = edits.move_nodes(layout, [node.id], (30.0, -20.0, 10.0))
        report = checked(layout, {}, report, frozenset({1 + step}))
        assert same(report, checked(layout, {}))


def test_only_pairs_of_touched_tubes_are_measured_again(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[list[int]] = []
    inner = tubes.measured
    monkeypatch.setattr(
        tubes, "measured", lambda layout, ids: (asked.append(sorted(ids)), inner(layout, ids))[1]
    )
    layout = crowd(1)
    first = checked(layout, {})
    second = checked(edits.move_nodes(layout, [104], (5.0, 0.0, 0.0)), {}, first)
    assert asked == [list(range(1, 15)), [2]]
    untouched = [pair for pair in second.pairs if 2 not in pair.tubes]
    assert all(any(pair is old for old in first.pairs) for pair in untouched)


def test_a_tube_that_is_gone_takes_its_pairs_along() -> None:
    layout = across(-5.0)
    report = checked(layout, {})
    after = edits.delete(layout, [2])
    assert checked(after, {}, report).pairs == ()


def test_a_third_tube_that_comes_to_join_two_settles_what_was_said_of_them() -> None:
    layout = job(
        [(0.0, 0.0, 0.0), (0.0, 0.0, 800.0)],
        [(30.0, 0.0, 0.0), (600.0, 0.0, 600.0)],
        [(0.0, 900.0, 0.0), (900.0, 900.0, 0.0)],
    )
    first = checked(layout, {})
    assert [one.tubes for one in first.findings if one.rule == "tubes.crossing"] == [(1, 2)]
    through = replace(layout.tubes[3], nodes=(layout.tubes[1].nodes[0], layout.tubes[2].nodes[0]))
    after = replace(layout, tubes={**layout.tubes, 3: through})
    again = checked(after, {}, first)
    assert same(again, checked(after, {}))
    assert [one.tubes for one in again.findings if one.rule == "tubes.crossing"] == []
