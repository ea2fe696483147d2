"""What can't be asked for, and which proposal is recommended."""

import math

import pytest
from msgspec.structs import replace

from geometry.errors import GeometryError
from geometry.laying import wish as wishes
from geometry.laying.wish import Place, Proposal, Wish

UP = (0.0, 0.0, 1.0)
PLAIN = Wish(
    (Place((0.0, 0.0, 0.0), UP), Place((900.0, 0.0, 0.0), UP)),
    od=44.45,
    clr=152.4,
    between_straight=88.9,
    largest_angle=math.radians(120.0),
    closest=15.0,
    wanted=30.0,
    farthest=40.0,
)
FAR_OUT = Proposal(((0.0, 0.0, 0.0), (9.0, 0.0, 0.0)), (), 15.0, 90.0, 50.0, 20.0, outside=400.0)


def test_two_equal_places_are_refused_by_number() -> None:
    first = PLAIN.places[0]
    with pytest.raises(GeometryError, match="Places 1 and 2 are one and the same"):
        wishes.check(replace(PLAIN, places=(first, first, PLAIN.places[1])))


def test_places_on_opposite_sides_need_one_between_them() -> None:
    below = Place((0.0, 0.0, -500.0), (0.0, 0.1, -1.0))
    with pytest.raises(GeometryError, match="opposite sides"):
        wishes.check(replace(PLAIN, places=(PLAIN.places[0], below)))


def test_one_place_is_no_tube() -> None:
    with pytest.raises(GeometryError, match="two places"):
        wishes.check(replace(PLAIN, places=PLAIN.places[:1]))


def test_a_band_that_is_empty_is_refused() -> None:
    with pytest.raises(GeometryError, match="no room"):
        wishes.check(replace(PLAIN, closest=41.0))


def test_angles_that_the_die_cannot_bend_are_refused() -> None:
    with pytest.raises(GeometryError, match="None of the angles"):
        wishes.check(replace(PLAIN, angles=(math.radians(150.0),)))


@pytest.mark.parametrize("change", [{"od": 0.0}, {"clr": math.nan}, {"angles": 0.0}, {"most_bends": -1}])
def test_numbers_that_mean_nothing_are_refused(change: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=r"got|finite"):
        wishes.check(replace(PLAIN, **change))


def test_liked_angles_end_at_the_die() -> None:
    steps = wishes.liked_angles(replace(PLAIN, angles=math.radians(5.0)))
    assert steps == pytest.approx([math.radians(5.0 * number) for number in range(1, 25)])


def test_the_fewest_bends_that_fit_are_recommended() -> None:
    fits = replace(FAR_OUT, angles=(0.3, 0.3), outside=0.0, excess=2.0)
    closer = replace(fits, angles=(0.3, 0.3, 0.1), excess=0.1)
    assert wishes.recommended([FAR_OUT, fits, closer]) is fits


def test_where_none_fits_the_least_outside_is_recommended() -> None:
    better = replace(FAR_OUT, angles=(0.3,), outside=100.0)
    assert wishes.recommended([FAR_OUT, better]) is better
