import math
from itertools import product

import numpy as np
import pytest
from msgspec.structs import replace

from geometry.layout import Die
from geometry.shop import made, rounding
from geometry.tube import centreline, plan, trials
from geometry.tube.feeding import Feed, Feeding

CLR = 152.4
HOOP = ((0, -700, 0), (0, -700, 1100), (0, 700, 1100), (0, 700, 0))
ZED = ((0, 0, 0), (600, 0, 0), (900, 300, 0), (1500, 300, 0))
THREE_AXES = ((0, 0, 0), (600, 0, 0), (600, 500, 0), (600, 500, 700))
GENERAL = ((0, 0, 0), (0, 0, 900), (250, 0, 1250), (1100, 150, 1300), (1250, 700, 1250), (1250, 1100, 700))
TENTH, HALF = math.radians(0.1), math.radians(0.5)
KNOWN = trials.as_bought(Die(0, "Die", 44.45, CLR))


def planned(
    points: tuple, start: float = 25.0, end: float = 25.0, known: trials.Calibration = KNOWN
) -> plan.Plan:
    line = centreline.build([tuple(map(float, point)) for point in points], CLR)
    feeds = tuple(Feed(bend, "start", 200.0, 300.0) for bend in range(len(line.bends)))
    return plan.planned(line, Feeding(feeds, start, end), known)


def is_whole(value: float, step: float) -> bool:
    return abs(value / step - round(value / step)) < 1e-9


@pytest.mark.parametrize("points", [HOOP, ZED, THREE_AXES, GENERAL])
@pytest.mark.parametrize(
    ("mark_step", "angle_step"), [(1.0, TENTH), (25.4 / 16.0, HALF), (25.4 / 32.0, TENTH)]
)
def test_every_number_is_a_whole_step_next_to_the_exact_one(
    points: tuple, mark_step: float, angle_step: float
) -> None:
    exact = planned(points)
    rounded = rounding.of(exact, mark_step, angle_step)
    marks = [(rounded.start_trim, exact.start_trim), (rounded.end_trim, exact.end_trim)]
    marks += zip(rounded.marks, (step.mark for step in exact.steps), strict=True)
    for value, wanted in marks:
        assert is_whole(value, mark_step)
        assert abs(value - wanted) < mark_step
    angles = [*zip(rounded.dials, (step.dial for step in exact.steps), strict=True)]
    angles += zip(rounded.set_angles, (step.set_angle for step in exact.steps), strict=True)
    for value, wanted in angles:
        assert is_whole(value, angle_step)
        assert abs(math.remainder(value - wanted, 2.0 * math.pi)) < angle_step
    assert rounded.angles == rounded.set_angles  # a die as bought: the dial shows the angle


def test_the_blank_is_rounded_up() -> None:
    exact = planned(HOOP)
    assert exact.blank == pytest.approx(3519.1787204)
    rounded = rounding.of(exact, 1.0, TENTH)
    assert rounded.blank == 3520.0
    assert rounding.of(exact, 25.4 / 16.0, TENTH).blank == pytest.approx(25.4 * 138 + 25.4 * 9 / 16)
    assert rounded.end_trim in (3494.0, 3495.0)


def test_a_blank_of_whole_steps_stays() -> None:
    assert rounding.of(planned(((0, 0, 0), (500, 0, 0))), 1.0, TENTH).blank == 550.0


def test_an_end_without_allowance_is_sawn_where_the_trim_line_would_be() -> None:
    rounded = rounding.of(planned(GENERAL, start=0.0, end=0.0), 1.0, TENTH)
    assert rounded.start_trim == 0.0
    assert rounded.blank == rounded.end_trim


def test_angles_that_are_whole_steps_stay() -> None:
    rounded = rounding.of(planned(HOOP), 1.0, HALF)
    assert rounded.set_angles == pytest.approx((math.pi / 2.0, math.pi / 2.0), abs=1e-12)
    assert rounding.of(planned(ZED), 1.0, TENTH).set_angles == pytest.approx((math.pi / 4.0,) * 2, abs=1e-12)


def test_bends_in_one_plane_keep_to_one_reading_and_its_opposite() -> None:
    assert rounding.of(planned(HOOP), 1.0, TENTH).dials == (0.0, 0.0)
    assert rounding.of(planned(ZED), 1.0, TENTH).dials == pytest.approx((0.0, math.pi))
    c, s = math.cos(0.3), math.sin(0.3)
    # A hoop on a first bend of another plane, its second leg cranked back: 33.27 degrees, say, then flat.
    points = ((-400, -900, 500), (0, -700, 0), (0, -700, 1100), (0, 700, 1100), (0, 700, 0), (0, 1300, -400))
    turned = tuple((c * x - s * y, s * x + c * y, z) for x, y, z in points)
    exact = planned(turned)
    first, *rest = rounding.of(exact, 1.0, HALF).dials
    assert first == 0.0
    assert not is_whole(exact.steps[1].dial, HALF)
    assert rest[1] == rest[0]
    assert abs(rest[2] - rest[1]) == pytest.approx(math.pi)


def test_a_dial_that_cannot_show_half_a_turn_is_set_as_near_as_it_can() -> None:
    step = math.radians(0.7)
    first, second = rounding.of(planned(ZED), 1.0, step).dials
    assert first == 0.0
    assert is_whole(second, step)
    assert abs(second - math.pi) < step


def test_a_reading_just_below_a_full_turn_becomes_zero() -> None:
    exact = planned(((0, 0, 0), (600, 0, 0), (900, 300, 0), (900, 800, -1)))
    assert math.degrees(exact.steps[1].dial) == pytest.approx(359.838, abs=5.1e-4)
    assert rounding.of(exact, 1.0, HALF).dials == (0.0, 0.0)


def brute(exact: plan.Plan, mark_step: float, angle_step: float) -> float:
    """Return the least that any choice of steps below or above leaves, each worked out exactly."""
    settings, machine = made.settings_of(exact), made.machine_of(exact)
    wanted = made.nodes(exact, settings, machine)
    count = len(exact.steps)
    steps = np.array([mark_step] * (2 + count) + [angle_step] * (2 * count))
    near = np.round(settings / steps)
    whole = np.abs(settings / steps - near) < 1e-6
    choices = [
        (value,) if known else (math.floor(value), math.ceil(value))
        for value, known in zip(settings / steps, whole, strict=True)
    ]
    rows = np.array(list(product(*choices))) * steps
    rows[:, whole] = settings[whole]
    return min(made.misfits(made.nodes(exact, row, machine), wanted).max() for row in rows)


@pytest.mark.parametrize("seed", range(12))
def test_two_bends_come_out_nearly_as_well_as_any_rounding_lets_them(seed: int) -> None:
    rng = np.random.default_rng(seed)
    legs = rng.uniform(350.0, 700.0, 3)
    one, two = rng.uniform(0.4, 1.5, 2)
    points = [(0.0, 0.0, 0.0), (legs[0], 0.0, 0.0)]
    points.append((legs[0] + legs[1] * math.cos(one), legs[1] * math.sin(one), 0.0))
    x, y, _ = points[-1]
    points.append((x + legs[2] * math.cos(two), y, legs[2] * math.sin(two)))
    exact = planned(tuple(points))
    rounded = rounding.of(exact, 1.0, HALF)
    assert max(rounded.left) <= 1.15 * brute(exact, 1.0, HALF) + 0.01


def test_the_same_plan_is_rounded_once() -> None:
    exact = planned(GENERAL)
    assert rounding.of(exact, 1.0, TENTH) is rounding.of(exact, 1.0, TENTH)
    assert rounding.of(exact, 1.0, HALF) is not rounding.of(exact, 1.0, TENTH)


def test_finer_steps_leave_less() -> None:
    left = [max(rounding.of(planned(GENERAL), step, step * TENTH).left) for step in (1.0, 0.1, 0.01, 1e-4)]
    assert left == sorted(left, reverse=True)
    assert left[-1] < 1e-3


def test_a_straight_tube_is_as_wrong_at_one_end_as_at_the_other() -> None:
    rounded = rounding.of(planned(((0, 0, 0), (500.3, 0, 0))), 1.0, TENTH)
    assert rounded.left == pytest.approx((0.15, 0.15))
    assert (rounded.marks, rounded.dials, rounded.set_angles) == ((), (), ())


def test_without_trial_bends_nothing_is_said_of_how_unsure_the_nodes_are() -> None:
    assert rounding.of(planned(GENERAL), 1.0, TENTH).unsure == ()


def test_a_place_of_bending_that_is_unsure_is_felt_as_worked_out_by_hand() -> None:
    covariance = np.zeros((5, 5))
    covariance[0, 0] = 2.0**2
    known = replace(KNOWN, covariance=tuple(map(tuple, covariance.tolist())))
    exact = planned(((0, 0, 0), (600, 0, 0), (600, 600, 0)), known=known)
    unsure = np.array(rounding.of(exact, 1.0, TENTH).unsure)
    # The bend 2 mm too far on: one leg 2 mm longer, the other 2 mm shorter, then the best fit of the three
    # nodes: by hand, the shifts less their mean and less the turn about the middle.
    shifts = np.array([[0.0, 0.0], [2.0, 0.0], [2.0, -2.0]])
    places = np.array([[0.0, 0.0], [600.0, 0.0], [600.0, 600.0]])
    away = places - places.mean(axis=0)
    shifts = shifts - shifts.mean(axis=0)
    spin = np.stack([-away[:, 1], away[:, 0]], axis=1)
    shifts = shifts - (shifts * spin).sum() / (spin**2).sum() * spin
    assert unsure == pytest.approx(np.linalg.norm(shifts, axis=1), abs=1e-6)


@pytest.mark.parametrize(
    ("mark_step", "angle_step"), [(0.0, TENTH), (1.0, 0.0), (-1.0, TENTH), (math.nan, TENTH)]
)
def test_steps_must_be_more_than_nothing(mark_step: float, angle_step: float) -> None:
    with pytest.raises(ValueError, match="steps must be more than 0"):
        rounding.of(planned(HOOP), mark_step, angle_step)
