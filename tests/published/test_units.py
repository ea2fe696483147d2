"""Rounding and conversion against outside figures, the source beside each."""

import pytest

from app import units
from app.units import Units

# The international inch and pound: 25.4 mm (1959 agreement) and 0.45359237 kg, exact.
# Fractions: the shop rule, half away from zero (ASTM E29 with the road agencies' half-up clause),
# reduced, 16/16 carried into the inch.
SIXTEENTHS_AND_THIRTY_SECONDS = [
    (0.03125, "1/16", "1/32"),
    (-0.03125, "-1/16", "-1/32"),
    (0.09375, "1/8", "3/32"),
    (10.71875, "10 3/4", "10 23/32"),
    (11.96875, "12", "11 31/32"),
    (11.984375, "12", "12"),
    (0.984375, "1", "1"),
    (13.68437, "13 11/16", "13 11/16"),
    (39.375, "39 3/8", "39 3/8"),
]


@pytest.mark.parametrize(("inches", "sixteenth", "thirty_second"), SIXTEENTHS_AND_THIRTY_SECONDS)
def test_fractions_round_half_away_from_zero_reduce_and_carry(inches, sixteenth, thirty_second):
    mm = inches * 25.4
    assert units.format_length(mm, Units("in-fraction", 16), unit=False) == sixteenth
    assert units.format_length(mm, Units("in-fraction", 32), unit=False) == thirty_second


@pytest.mark.parametrize(
    ("mm", "sixteenth", "error", "thirty_second"),
    [
        (1000.0, "39 3/8", 0.125, "39 3/8"),
        (600.0, "23 5/8", 0.075, "23 5/8"),
        (500.0, "19 11/16", 0.0625, "19 11/16"),
        (1669.17872, "65 11/16", -0.71622, "65 23/32"),
        (3469.1787204, "136 9/16", -0.49122, "136 19/32"),
    ],
)
def test_lengths_in_mm_as_inch_fractions(mm, sixteenth, error, thirty_second):
    shown = Units("in-fraction", 16)
    assert units.format_length(mm, shown, unit=False) == sixteenth
    assert units.parse_length(sixteenth, shown) - mm == pytest.approx(error, abs=1e-4)
    assert units.format_length(mm, Units("in-fraction", 32), unit=False) == thirty_second


def test_nominal_inch_sizes_in_mm():
    # Birmingham and imperial wire gauges (BS 3737): 13 BWG 0.095 in, 11 BWG 0.120 in.
    for inches, mm in (("1.5", 38.1), ("1.625", 41.275), ("0.095", 2.413), ("0.120", 3.048)):
        assert units.parse_length(f"{inches} in", Units()) == pytest.approx(mm, abs=1e-12)


def test_marks_to_a_sixteenth_from_one_datum():
    # Bend starts and ends of a four-bend tube and its cut end, rounded from the tube end.
    texts = ["33 1/2", "37 1/4", "49 5/16", "54 3/4", "82 1/16", "88 7/8", "104 3/4", "110", "133 15/16"]
    errors = [-0.261, 0.463, -0.436, -0.089, 0.532, 0.133, 0.448, -0.554, -0.722]
    shown = Units("in-fraction", 16)
    for text, error in zip(texts, errors, strict=True):
        exact = units.parse_length(text, shown) - error
        assert units.format_length(exact, shown, unit=False) == text
