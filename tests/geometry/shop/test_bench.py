"""Bench checks of the worked tubes, measured on coordinates that are drawn here by hand."""

import math

import numpy as np
import pytest

from geometry.layout import Die
from geometry.shop import bench, rounding
from geometry.tube import centreline, plan, trials
from geometry.tube.feeding import Feed, Feeding

CLR, OD = 152.4, 44.45
HOOP = ((0, -700, 0), (0, -700, 1100), (0, 700, 1100), (0, 700, 0))
ZED = ((0, 0, 0), (600, 0, 0), (900, 300, 0), (1500, 300, 0))
THREE_AXES = ((0, 0, 0), (600, 0, 0), (600, 500, 0), (600, 500, 700))
GENERAL = ((0, 0, 0), (0, 0, 900), (250, 0, 1250), (1100, 150, 1300), (1250, 700, 1250), (1250, 1100, 700))
ARC = CLR * math.pi / 2.0
KNOWN = trials.as_bought(Die(0, "Die", OD, CLR))


def planned(points: tuple, leads: str = "start", start: float = 25.0, end: float = 25.0) -> plan.Plan:
    line = centreline.build([tuple(map(float, point)) for point in points], CLR)
    bends = range(len(line.bends)) if leads == "start" else range(len(line.bends))[::-1]
    feeds = tuple(Feed(bend, leads, 200.0, 300.0) for bend in bends)  # type: ignore[arg-type]
    return plan.planned(line, Feeding(feeds, start, end), KNOWN)


def checks(points: tuple, leads: str = "start") -> list[dict[str, bench.Check]]:
    return [{check.kind: check for check in after} for after in bench.of(planned(points, leads), OD)]


def test_a_first_bend_is_checked_by_its_angle_and_its_chord() -> None:
    first, _ = checks(THREE_AXES)
    assert set(first) == {"included", "chord"}
    assert first["included"].value == pytest.approx(math.pi / 2.0)
    # The rest of the blank still straight: what is left after the first bend, and the tangent.
    rest = 1669.1787204 + 50.0 - 25.0 - 447.6 - ARC
    assert first["chord"].value == pytest.approx(math.hypot(625.0, rest + CLR))


def test_the_tube_on_three_axes_measures_as_its_corners_say() -> None:
    _, second = checks(THREE_AXES)
    assert second["chord"].value == pytest.approx(math.hypot(625.0, 500.0, 725.0))
    assert second["straight"].value == pytest.approx(195.2)
    # The first two legs flat on the table, the third stands straight up.
    assert second["height"].value == pytest.approx(725.0 + OD / 2.0)
    assert second["across"].value == pytest.approx(500.0 + OD)
    assert second["across"].sides == ("back", "back")
    assert {second[kind].other for kind in ("straight", "height", "across")} == {1}


def test_a_hoop_is_as_wide_over_its_outsides_as_its_corners_and_the_tube() -> None:
    _, second = checks(HOOP)
    assert second["across"].value == pytest.approx(1400.0 + OD)
    assert second["chord"].value == pytest.approx(1400.0)
    assert second["straight"].value == pytest.approx(1095.2)
    assert "height" not in second  # it lies flat


def test_bends_to_opposite_sides_have_no_outsides_that_a_tape_can_join() -> None:
    _, second = checks(ZED)
    assert set(second) == {"straight", "included", "chord"}
    assert second["included"].value == pytest.approx(math.radians(135.0))
    assert second["straight"].value == pytest.approx(298.0117749)
    assert second["chord"].value == pytest.approx(math.hypot(1550.0, 300.0))


def test_outsides_of_shallow_bends_are_measured_to_where_they_cross() -> None:
    _, second = checks(((-500, -500, 0), (0, 0, 0), (600, 0, 0), (1100, -500, 0)))
    # By lines: the straight's outside is y = OD/2; the legs' outsides y = x + OD/2 sqrt 2 and its mirror.
    cross_at = OD / 2.0 - OD / 2.0 * math.sqrt(2.0)
    assert second["across"].value == pytest.approx(600.0 - 2.0 * cross_at)
    assert second["across"].sides == ("corner", "corner")


def test_a_shallow_bend_beside_a_square_one_names_what_each_side_is_measured_to() -> None:
    _, second = checks(((-500, -500, 0), (0, 0, 0), (600, 0, 0), (600, -700, 0)))
    cross_at = OD / 2.0 - OD / 2.0 * math.sqrt(2.0)
    assert second["across"].value == pytest.approx(600.0 + OD / 2.0 - cross_at)
    assert second["across"].sides == ("corner", "back")


def test_the_general_tube_stands_off_the_table_as_far_as_its_corners_say() -> None:
    exact = planned(GENERAL)
    _, second, third, _ = checks(GENERAL)
    nodes = np.array(GENERAL, dtype=float)
    # The bend of corner 2 made, all that comes after it still straight.
    along = (nodes[3] - nodes[2]) / np.linalg.norm(nodes[3] - nodes[2])
    tip = nodes[2] + (exact.blank - exact.steps[1].end + 73.9910555) * along
    normal = np.cross(nodes[1] - nodes[0], nodes[2] - nodes[1])
    height = abs((tip - nodes[1]) @ normal) / np.linalg.norm(normal)
    assert second["height"].value == pytest.approx(height + OD / 2.0, abs=1e-6)
    sawn = nodes[0] - np.array([0.0, 0.0, 25.0])
    assert second["chord"].value == pytest.approx(np.linalg.norm(tip - sawn), abs=1e-6)
    assert third["straight"].value == pytest.approx(693.1172775, abs=1e-6)


def test_no_height_is_given_where_another_part_would_hang_below_the_table() -> None:
    # Legs 2 and 3 flat: leg 1 goes down where leg 4 goes up.
    points = ((0, 0, -600), (0, 0, 0), (600, 0, 0), (600, 600, 0), (600, 600, 600))
    _, second, third = checks(points)
    assert "height" in second
    assert "height" not in third
    # Both up: the tube lies on legs 2 and 3.
    up = ((0, 0, 600), *points[1:])
    assert checks(up)[2]["height"].value == pytest.approx(600.0 + 25.0 + OD / 2.0)


def test_the_other_end_first_measures_the_finished_tube_alike() -> None:
    forwards, backwards = checks(GENERAL)[-1], checks(GENERAL, "end")[-1]
    assert backwards["chord"].value == pytest.approx(forwards["chord"].value)
    assert [step["included"].bend for step in checks(GENERAL, "end")] == [4, 3, 2, 1]
    assert [step["straight"].other for step in checks(GENERAL, "end")[1:]] == [4, 3, 2]


def test_a_rounded_tube_is_checked_as_it_was_set() -> None:
    exact = planned(THREE_AXES)
    rounded = rounding.of(exact, 1.0, math.radians(0.1))
    _, second = ({check.kind: check for check in after} for after in bench.of(exact, OD, rounded))
    first, last = rounded.marks
    assert second["straight"].value == pytest.approx(last - first - ARC)
    # The start was sawn square at 0: what the first leg has of blank is its mark.
    legs = (first + CLR, last - first - ARC + 2.0 * CLR, rounded.blank - last - ARC + CLR)
    assert second["chord"].value == pytest.approx(math.hypot(*legs))


def test_a_straight_tube_has_nothing_to_check() -> None:
    assert bench.of(planned(((0, 0, 0), (500, 0, 0))), OD) == ()


def test_no_height_is_given_of_an_end_that_stands_up_out_of_reach() -> None:
    short = ((0, 0, 0), (600, 0, 0), (600, 600, 0), (600, 600, 1400))
    assert checks(short)[1]["height"].value == pytest.approx(1425.0 + OD / 2.0)
    long = (*short[:3], (600, 600, 1500))
    assert "height" not in checks(long)[1]


def test_over_a_bend_that_rounds_to_nothing_no_height_is_measured() -> None:
    made = planned(((0, 0, 0), (600, 0, 0), (1200, 0.2, 0), (1500, 0.3, 500)))
    assert len(made.steps) == 2
    rounded = rounding.of(made, 1.0, math.radians(0.5))
    assert rounded.set_angles[0] == 0.0
    _, after = bench.of(made, OD, rounded)
    assert [check.kind for check in after if check.kind == "height"] == []
    assert all(math.isfinite(check.value) for check in after)
