import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from geometry.layout import Stock
from geometry.tube import springback

TUBE = Stock(1, "1.75 × 0.120 in", 44.45, 3.048, yield_strength=414.0)
radii = st.floats(60.0, 2000.0)
angles = st.floats(0.01, 2.5)


@given(radii, angles)
def test_overbending_leaves_the_angle_that_was_wanted(clr: float, angle: float) -> None:
    bent = springback.overbend(TUBE, clr, angle)
    assert springback.angle_after(TUBE, clr, bent) == pytest.approx(angle)


@given(radii, angles)
def test_the_length_of_the_arc_stays_when_it_opens(clr: float, angle: float) -> None:
    left = springback.angle_after(TUBE, clr, angle)
    assert springback.radius_after(TUBE, clr) * left == pytest.approx(clr * angle)


def test_springback_grows_with_radius_and_strength() -> None:
    assert springback.recovery(TUBE, 200.0) == pytest.approx(2.0 * springback.recovery(TUBE, 100.0))
    stronger = Stock(1, "tube", 44.45, 3.048, yield_strength=828.0)
    assert springback.recovery(stronger, 100.0) == pytest.approx(2.0 * springback.recovery(TUBE, 100.0))


def test_no_lower_bound_without_a_yield_strength_or_where_tube_never_yields() -> None:
    unknown = Stock(1, "tube", 44.45, 3.048)
    assert springback.lower_bound(unknown, 152.4, 1.0) is None
    assert springback.lower_bound(TUBE, 20_000.0, 1.0) is None
    assert (springback.lower_bound(TUBE, 152.4, 1.0) or 0.0) > 1.0
    with pytest.raises(ValueError, match="springs back wholly"):
        springback.overbend(TUBE, 20_000.0, 1.0)


def test_sheet_that_never_yields_springs_back_wholly_and_that_without_strength_not_at_all() -> None:
    assert springback.sheet_radius_ratio(500.0, 1000.0, 1.0, 1.0) == 0.0
    assert springback.sheet_radius_ratio(500.0, 1000.0, 3.0, 1.0) == 0.0
    assert springback.sheet_radius_ratio(0.0, 1000.0, 1.0, 1.0) == 1.0


@given(st.floats(10.0, 100.0), st.floats(1.5, 20.0))
def test_the_reported_thinning_is_the_larger_one(od: float, ratio: float) -> None:
    assert springback.thinning(od, ratio * od) > springback.thinning_even(od, ratio * od) > 0.0


@given(st.floats(0.5, 1.0))
def test_both_measures_of_roundness_convert_back(roundness: float) -> None:
    assert springback.roundness_at(springback.flattening_at(roundness)) == pytest.approx(roundness)
    assert springback.flattening_at(1.0) == 0.0


def test_wall_left_of_a_bend() -> None:
    assert springback.wall_left(TUBE, 3.0 * 44.45) == pytest.approx(TUBE.wall * 6.0 / 7.0)
    assert math.isclose(springback.thickening(2.0, 4.0), 1.0 / 3.0)
