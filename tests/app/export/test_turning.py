"""The small drawings of dial and stance."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.export import turning
from app.export.drawing import Disc, Face, Stroke, Words
from app.export.turning import Turning


def points(marks):
    for mark in marks:
        match mark:
            case Stroke(run) | Face(run):
                yield from run
            case Disc(at, radius):
                yield from ((at[0] + radius, at[1]), (at[0] - radius, at[1]), (at[0], at[1] + radius))
            case Words():
                yield mark.at


def needle(marks):
    return max((mark for mark in marks if isinstance(mark, Stroke)), key=lambda mark: mark.width).points[1]


@pytest.mark.parametrize(("degrees", "x", "y"), [(0, 0, 1), (90, 1, 0), (180, 0, -1), (270, -1, 0)])
def test_the_needle_runs_clockwise_from_the_top(degrees, x, y):
    tip = needle(turning.dial(Turning(math.radians(degrees), 0.0)))
    assert (tip[0] / math.hypot(*tip), tip[1] / math.hypot(*tip)) == pytest.approx((x, y), abs=1e-9)


@given(st.floats(0.0, 6.28), st.floats(-3.14, 3.14).filter(lambda turn: abs(turn) > 1e-3))
def test_the_arrow_ends_at_the_reading_and_goes_the_way_of_the_turn(reading, turn):
    marks = turning.dial(Turning(reading, turn))
    head = next(mark for mark in marks if isinstance(mark, Face))
    tip = head.points[0]
    assert math.remainder(math.atan2(tip[0], tip[1]) - reading, 2 * math.pi) == pytest.approx(0, abs=1e-6)
    run = next(mark for mark in marks if isinstance(mark, Stroke) and len(mark.points) > 2).points
    before = math.atan2(run[-2][0], run[-2][1])
    after = math.atan2(run[-1][0], run[-1][1])
    assert math.copysign(1, math.remainder(after - before, 2 * math.pi)) == math.copysign(1, turn)


@given(st.floats(0.0, 6.28), st.floats(-3.14, 3.14))
def test_a_dial_keeps_to_its_room(reading, turn):
    assert all(math.hypot(*p) <= turning.DIAL_REACH for p in points(turning.dial(Turning(reading, turn))))


def test_without_a_turn_there_is_no_arrow():
    assert not any(isinstance(mark, Face) for mark in turning.dial(Turning(1.0, 0.0)))


@pytest.mark.parametrize("leads", ["START", "END"])
def test_the_stance_names_tail_die_and_the_end_that_leads_inside_its_box(leads):
    marks = turning.stance(leads)
    texts = [mark.text for mark in marks if isinstance(mark, Words)]
    assert {"tail", "die", leads, "leads", "clockwise", "0°", "90°", "180°", "270°"} <= set(texts)
    across, up = turning.STANCE_SIZE
    assert all(-0.5 <= x <= across and -0.5 <= y <= up for x, y in points(marks))


def test_clockwise_goes_down_on_the_near_side_of_the_tube():
    # Who looks along the tube from the left has our side on the right hand: clockwise takes it down.
    near = [mark for mark in turning.stance("START") if isinstance(mark, Stroke) and mark.width == 1.9]
    heights = [y for _, y in near[0].points]
    assert heights == sorted(heights, reverse=True)
