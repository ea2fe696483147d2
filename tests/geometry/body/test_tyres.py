"""Size codes that are no sizes, axles that cannot be, and where wheels stand."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from geometry.body import tyres
from geometry.errors import GeometryError
from geometry.layout import Axle

AXLE = Axle(
    id=7,
    name="Front",
    x=0.0,
    height=420.0,
    track=1600.0,
    tyre=tyres.parsed("33x12.50R15"),
    bump=100.0,
    droop=125.0,
    offset=-20.0,
    roll=math.radians(8.0),
    steer_inner=math.radians(35.0),
    steer_outer=math.radians(28.0),
    kingpin=60.0,
)
NONSENSE = {
    "": "empty",
    "   ": "empty",
    "big ones": "width as well",
    "33": "width as well",
    "33x12.50": "rim diameter at the end is missing",
    "285/75": "rim diameter at the end is missing",
    "285/75R16 soft": "what follows the rim diameter is not known",
    "315x75R16": "outside diameter of 315 in",
    "33/12.50R15": "width of 33 mm",
    "285/750R16": "sidewall of 750 % of the width",
    "285/75R160": "rim of 160 in",
    "33x125R15": "width of 125 in",
    "15x12.50R16": "no sidewall",
    "-285/75R16": "no tyre size",
    "nan/75R16": "no tyre size",
    "33x12.50R": "no tyre size",
}
SAME = [
    "285/75R16",
    "LT285/75R16",
    "285/75-16",
    "285 / 75 R 16",
    "LT285/75R16E 126/123Q",
    "285/75ZR16 (122S)",
]


@pytest.mark.parametrize(("code", "words"), NONSENSE.items(), ids=NONSENSE.keys())
def test_nonsense_is_answered_with_what_is_wrong_and_an_example(code: str, words: str) -> None:
    with pytest.raises(GeometryError) as error:
        tyres.parsed(code)
    assert words in error.value.message
    assert "33x12.50R15" in error.value.message


@given(st.text(max_size=30))
def test_any_text_is_a_tyre_or_a_sentence(text: str) -> None:
    try:
        tyre = tyres.parsed(text)
    except GeometryError as error:
        tyre, answer = None, error.message
    if tyre is None:
        assert answer.endswith("285/75R16.")
    else:
        assert 0.0 < (tyre.rim or 0.0) < tyre.od


@pytest.mark.parametrize("code", SAME)
def test_what_follows_the_size_does_not_change_it(code: str) -> None:
    tyre = tyres.parsed(code)
    assert (tyre.od, tyre.width, tyre.rim) == pytest.approx((833.9, 285.0, 406.4))
    assert tyre.code == code


@given(
    st.integers(11, 50).map(lambda n: 10 * n + 5), st.integers(4, 21).map(lambda n: 5 * n), st.integers(8, 30)
)
def test_metric_codes_give_back_their_numbers(width: int, aspect: int, rim: int) -> None:
    tyre = tyres.parsed(f"{width}/{aspect}R{rim}")
    assert tyre.sidewall is not None
    assert (tyre.width, 100.0 * tyre.sidewall / tyre.width) == pytest.approx((width, aspect))
    assert tyre.rim == pytest.approx(25.4 * rim)


@given(st.integers(31, 60), st.integers(14, 104).map(lambda n: n / 4), st.integers(8, 30))
def test_flotation_codes_give_back_their_numbers(od: int, width: float, rim: int) -> None:
    tyre = tyres.parsed(f"{od}X{width:.2f}R{rim}LT")
    assert (tyre.od, tyre.width, tyre.rim) == pytest.approx((25.4 * od, 25.4 * width, 25.4 * rim))


def test_the_two_wheels_of_an_axle_are_mirror_images() -> None:
    left, right = tyres.wheels(replace(AXLE, camber=math.radians(2.0)))
    assert (left.centre[0], -left.centre[1], left.centre[2]) == right.centre
    assert (left.kingpin_y, left.lean) == (-right.kingpin_y, -right.lean)
    assert (left.steer_left, left.steer_right) == (right.steer_right, right.steer_left)


def test_a_negative_offset_puts_the_tyre_further_out() -> None:
    wheel = tyres.wheel(AXLE, "left")
    assert wheel.centre == (0.0, 820.0, 420.0)
    assert wheel.kingpin_y == 760.0


def test_the_inner_wheel_of_a_left_turn_is_the_left_one() -> None:
    wheel = tyres.wheel(AXLE, "left")
    assert (wheel.steer_left, wheel.steer_right) == (AXLE.steer_inner, AXLE.steer_outer)


def test_independent_wheels_do_not_roll() -> None:
    assert tyres.wheel(replace(AXLE, suspension="independent"), "left").roll == 0.0


WRONG = {
    "no travel": ({"bump": 0.0, "droop": 0.0}, "no travel"),
    "bump": ({"bump": -5.0}, "bump of -5 mm"),
    "roll": ({"roll": 2.0}, "roll of 114.6°"),
    "steer": ({"steer_inner": -0.1}, "steering angle of the inner wheel"),
    "camber": ({"camber": 1.0}, "camber of 57.3°"),
    "track": ({"track": 200.0}, "into each other"),
    "kingpin": ({"kingpin": 900.0}, "more than half the track"),
    "not finite": ({"x": math.nan}, "not finite"),
    "no width": ({"tyre": replace(AXLE.tyre, width=0.0)}, "Give both as lengths above 0 mm"),
    "wide track": ({"track": 950000.0}, "track of 950000 mm. Give one of up to 4000 mm"),
    "long travel": ({"droop": 1.0e6}, "up to 1000 mm"),
    "roll centre": ({"roll_centre": -1.0e5}, "within 2000 mm of the hubs"),
    "far off": ({"x": 1.0e6}, "within 20 m of the front axle"),
    "huge": ({"tyre": replace(AXLE.tyre, od=83300.0)}, "Give up to 2500 mm across"),
    "shoulder": ({"tyre": replace(AXLE.tyre, shoulder=200.0)}, "shoulder radius of 200 mm"),
}


@pytest.mark.parametrize(("changes", "words"), WRONG.values(), ids=WRONG.keys())
def test_an_axle_that_cannot_be_is_answered_with_a_sentence(changes: dict[str, object], words: str) -> None:
    with pytest.raises(GeometryError) as error:
        tyres.wheel(replace(AXLE, **changes), "left")
    assert words in error.value.message
    assert "“Front”" in error.value.message


def test_a_measured_tyre_has_no_rim_and_a_usual_shoulder() -> None:
    tyre = tyres.measured(830.0, 300.0)
    assert (tyre.od, tyre.width, tyre.rim, tyre.sidewall) == (830.0, 300.0, None, None)
    assert tyre.shoulder == pytest.approx(36.0)
    with pytest.raises(GeometryError, match="above 0 mm"):
        tyres.measured(0.0, 300.0)


def test_wheels_further_apart_in_height_than_the_track_are_refused() -> None:
    with pytest.raises(GeometryError, match="smaller difference"):
        tyres.roll_of(1600.0, 1600.0)
