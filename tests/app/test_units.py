"""Lengths, angles and masses as people read and type them."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app import units
from app.units import INCH_FRACTIONS, INCHES, MILLIMETRES, Units

LENGTHS = st.floats(-20_000.0, 20_000.0)
ALL_UNITS = st.sampled_from(
    [MILLIMETRES, INCHES, Units("in-fraction", 8), Units("in-fraction", 16), Units("in-fraction", 32)]
)


@given(LENGTHS, ALL_UNITS, st.booleans())
def test_a_formatted_length_reads_back_within_half_a_step(mm: float, shown: Units, unit: bool):
    read = units.parse_length(units.format_length(mm, shown, unit=unit), shown)
    assert abs(read - mm) <= units.length_step(shown) * (0.5 + 1e-6)


@given(LENGTHS, ALL_UNITS)
def test_formatting_a_read_length_changes_nothing(mm: float, shown: Units):
    text = units.format_length(mm, shown)
    assert units.format_length(units.parse_length(text, shown), shown) == text


@given(LENGTHS, ALL_UNITS)
def test_opposite_lengths_have_opposite_texts(mm: float, shown: Units):
    there, back = units.format_length(mm, shown), units.format_length(-mm, shown)
    assert there.lstrip("-") == back.lstrip("-")
    assert there == back or there.startswith("-") != back.startswith("-")


@given(st.floats(-2 * math.pi, 2 * math.pi))
def test_a_formatted_angle_reads_back_within_half_a_step(radians: float):
    read = units.parse_angle(units.format_angle(radians))
    assert abs(read - radians) <= math.radians(0.05) * (1 + 1e-6)


@given(st.floats(0.001, 20_000.0))
def test_a_size_reads_back_within_half_a_hundredth_mm_or_thousandth_inch(mm: float):
    for shown, step in ((MILLIMETRES, 0.01), (INCH_FRACTIONS, 0.0254)):
        assert abs(units.parse_length(units.format_size(mm, shown), shown) - mm) <= step * (0.5 + 1e-6)


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("600", 600.0),
        ("38.1 mm", 38.1),
        ("38.1mm", 38.1),
        ("1 1/2 in", 38.1),
        ('1 1/2"', 38.1),
        ("1½ in", 38.1),
        ("1' 6 1/2\"", 469.9),
        ("1'6.5\"", 469.9),
        ("1'-6 1/2\"", 469.9),
        ("1' 6 1/2", 469.9),
        ("1 ft 6 1/2 in", 469.9),
        ("1′ 6 1/2″", 469.9),
        ("2 ft", 609.6),
        ("1.2 m", 1200.0),
        ("12 cm", 120.0),
        ("12 + 3/8", 12.375),
        ("12 - 3/8", 11.625),
        ("600 - 1 in", 574.6),
        ("100 + 50 - 25", 125.0),
        ("-40", -40.0),
        ("−40", -40.0),
        (".5", 0.5),
        ("5.", 5.0),
        ("  7  ", 7.0),
        ("1'' ", 25.4),
        ("6' - 2\"", 1778.0),
    ],
)
def test_lengths_as_people_type_them_with_mm_shown(text: str, mm: float):
    assert units.parse_length(text, MILLIMETRES) == pytest.approx(mm, abs=1e-9)


@pytest.mark.parametrize(
    ("text", "inches"),
    [("1 1/2", 1.5), ("12 + 3/8", 12.375), ("600 mm", 600 / 25.4), ("1' 6 1/2\"", 18.5), ("3/8", 0.375)],
)
def test_lengths_as_people_type_them_with_inches_shown(text: str, inches: float):
    assert units.parse_length(text, INCH_FRACTIONS) == pytest.approx(inches * 25.4, abs=1e-9)
    assert units.parse_length(text, INCHES) == pytest.approx(inches * 25.4, abs=1e-9)


NO_LENGTHS = """
abc | 12 furlongs | 1 2 | 3/0 | 1--2 | 1,500 | 38,1 | 2 * 3 | __import__('os') | 1e999 | 1 + | + | /2
12 mm 3 | nan | inf | 1-1/2 | 45° | ٣ | 1' 2' | 1.5 1/2
"""


@pytest.mark.parametrize("text", ["", "   ", "9" * 400, *re.split(r" \| |\n", NO_LENGTHS.strip())])
def test_what_is_no_length_is_refused_with_a_sentence(text: str):
    with pytest.raises(ValueError, match=r"^[“A-Z].*\.$"):
        units.parse_length(text, MILLIMETRES)


@given(st.text(max_size=30))
def test_any_text_is_a_finite_length_or_refused_with_a_sentence(text: str):
    try:
        assert math.isfinite(units.parse_length(text, INCHES))
    except ValueError as error:
        assert str(error).endswith(".")  # noqa: PT017


def test_a_hyphen_that_may_mean_and_or_minus_is_asked_about():
    with pytest.raises(ValueError, match="write 1 1/2 for the sum or 1 - 1/2 for the difference"):
        units.parse_length("1-1/2", INCH_FRACTIONS)


@pytest.mark.parametrize(
    ("text", "degrees"), [("45", 45.0), ("22.5°", 22.5), ("90 - 30", 60.0), ("45 deg", 45.0), ("-10", -10.0)]
)
def test_angles_as_people_type_them(text: str, degrees: float):
    assert units.parse_angle(text) == pytest.approx(math.radians(degrees))


@pytest.mark.parametrize("text", ["", "45 mm", "x", "1/0"])
def test_what_is_no_angle_is_refused_with_a_sentence(text: str):
    with pytest.raises(ValueError, match=r"\.$"):
        units.parse_angle(text)


def test_texts_of_lengths():
    assert units.format_length(600.0, MILLIMETRES) == "600.0 mm"
    assert units.format_length(600.0, INCHES) == "23.622 in"
    assert units.format_length(600.0, INCH_FRACTIONS) == "23 5/8 in"
    assert units.format_length(-0.01, MILLIMETRES, unit=False) == "0.0"
    assert units.format_length(-0.01, INCH_FRACTIONS) == "0 in"
    assert units.format_length(math.nan, INCH_FRACTIONS) == "—"
    assert units.format_length(math.inf, MILLIMETRES) == "—"


def test_texts_of_sizes_masses_angles_and_places():
    assert units.format_section(38.1, 2.413, MILLIMETRES) == "38.1 × 2.41 mm"
    assert units.format_section(38.1, 2.413, INCH_FRACTIONS) == "1.5 × 0.095 in"
    assert units.format_section(44.45, 3.048, INCHES) == "1.75 × 0.120 in"
    assert units.format_section(45.0, 2.5, MILLIMETRES) == "45 × 2.5 mm"
    assert units.format_size(100.0, MILLIMETRES) == "100 mm"
    assert units.format_mass(3.4151, MILLIMETRES) == "3.42 kg"
    assert units.format_mass(0.45359237, INCHES) == "1.00 lb"
    assert units.format_angle(math.radians(45)) == "45.0°"


@pytest.mark.parametrize(
    ("shown", "step", "mark", "other"),
    [
        (MILLIMETRES, 1.0, "851 mm", ""),
        (INCHES, 25.4 / 16, "33.500 in", "33 1/2"),
        (INCH_FRACTIONS, 25.4 / 16, "33 1/2 in", "33.500"),
        (Units("in-fraction", 8), 25.4 / 16, "33 1/2 in", "33.500"),
        (Units("in-fraction", 32), 25.4 / 32, "33 1/2 in", "33.500"),
    ],
)
def test_marks_are_written_in_steps_that_a_tape_has(shown, step, mark, other):
    assert units.mark_step(shown) == pytest.approx(step)
    assert units.format_mark(851.161126, shown) == mark
    assert units.other_mark(851.161126, shown) == other


@given(st.integers(0, 6000), st.sampled_from([MILLIMETRES, INCH_FRACTIONS, Units("in-fraction", 32)]))
def test_a_mark_on_a_step_is_read_back_as_it_was(count, shown):
    mark = count * units.mark_step(shown)
    assert units.parse_length(units.format_mark(mark, shown), shown) == pytest.approx(mark)


@pytest.mark.parametrize(
    ("degrees", "step", "text"),
    [
        (15.87, 0.1, "15.9°"),
        (15.87, 0.5, "16.0°"),
        (15.7, 0.25, "15.75°"),
        (15.6, 1.0, "16.0°"),
        (0.0, 0.1, "0.0°"),
    ],
)
def test_an_angle_is_written_to_the_step_of_the_dial(degrees, step, text):
    assert units.format_step_angle(math.radians(degrees), math.radians(step)) == text
