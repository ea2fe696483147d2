"""What trial bends tell, in words: how much is known, each number with its doubt, and what to do next."""

import math

import pytest
from msgspec.structs import replace

from app import calibration_words
from app.trial_proposal import Proposal
from app.units import INCH_FRACTIONS, MILLIMETRES
from geometry.layout import Die, Stock
from geometry.tube import springback, trials
from geometry.tube.trials import Calibration, Estimate

DIE = Die(1, "die", 38.1, 114.3)
STOCK = Stock(2, "tube", 38.1, 2.0, batch="B 7")
MEASURED = Calibration(
    *("measured", "start", Estimate(-3.0, 0.4, True), Estimate(116.0, 1.0, True)),
    *(Estimate(113.0, 0.5, True), Estimate(math.radians(1.0), 0.002, True), Estimate(1.02, 0.002, True)),
    covariance=tuple(tuple(0.001**2 * (i == j) for j in range(5)) for i in range(5)),
    batch="B 7",
    made="2026-11-20",
    trials=(5, 6),
)


def shown(known: Calibration, name: str, stock: Stock = STOCK) -> tuple[str, str]:
    rows = calibration_words.rows(known, DIE, stock, MILLIMETRES)
    row = next(row for row in rows if row.name == name)
    return row.value, row.source


@pytest.mark.parametrize(
    ("known", "words"),
    [
        (trials.as_bought(DIE), "No trial bend of this die and stock yet: the sheets are geometry only."),
        (MEASURED, "2 trial bends, the newest of 2026-11-20: all is known."),
        (
            replace(MEASURED, state="partial", trials=(5,)),
            "1 trial bend of 2026-11-20: not all is known yet.",
        ),
        (
            replace(MEASURED, state="check first", batch="A", contradicting=(5,)),
            "Batch B 7 has no trial bend yet; the sheets go by batch A and say “check bend first”.",
        ),
        (
            replace(MEASURED, contradicting=(6,)),
            "2 trial bends, the newest of 2026-11-20: 1 of them does not fit the others.",
        ),
    ],
)
def test_one_sentence_says_how_much_is_known(known: Calibration, words: str) -> None:
    assert calibration_words.state_sentence(known, STOCK) == words


def test_a_bend_that_starts_before_the_mark_is_said_in_words() -> None:
    assert shown(MEASURED, "Bend starts") == ("3.0 mm ± 0.4 ahead of the mark", "● told")
    assert shown(trials.as_bought(DIE), "Bend starts") == ("at the mark", "○ assumed")
    middle = replace(MEASURED, mark_at="middle", offset=Estimate(2.0, 0.4))
    assert shown(middle, "Bend's middle") == ("2.0 mm ± 0.4 behind the mark", "○ assumed")


def test_the_dial_has_its_doubt() -> None:
    sd = math.degrees(trials.dial_sd(MEASURED, math.pi / 2.0))
    assert shown(MEASURED, "Dial for 90°") == (f"92.8° ± {sd:.1f}°", "● told")


def test_without_trial_bends_the_least_springback_is_told_where_the_steel_is_known() -> None:
    strong = replace(STOCK, yield_strength=350.0)
    least = springback.lower_bound(strong, DIE.clr, math.pi / 2.0)
    assert least is not None
    value, source = shown(trials.as_bought(DIE), "Dial for 90°", strong)
    assert value == f"at least {math.degrees(least):.1f}°"
    assert source == "○ assumed"


def test_what_an_older_batch_told_is_marked() -> None:
    old = replace(MEASURED, state="check first", batch="A")
    assert {row.source for row in calibration_words.rows(old, DIE, STOCK, MILLIMETRES)} == {"◐ older batch"}


def test_stretch_is_the_blank_beside_the_arc() -> None:
    assert shown(MEASURED, "Blank for 90°")[0] == "177.5 mm ± 0.8; arc 182.2 mm"


def test_doubts_are_never_written_in_fractions() -> None:
    rows = calibration_words.rows(MEASURED, DIE, STOCK, INCH_FRACTIONS)
    assert rows[0].value == "0.118 in ± 0.016 ahead of the mark"


def test_angles_beyond_the_die_are_left_out() -> None:
    short = replace(DIE, largest_angle=math.radians(50.0))
    names = [row.name for row in calibration_words.rows(MEASURED, short, STOCK, MILLIMETRES)]
    assert [name for name in names if name.startswith("Dial")] == ["Dial for 30°", "Dial for 45°"]


def test_the_guide_names_length_mark_and_dial() -> None:
    lines = calibration_words.guide(Proposal(700.0, 200.0, math.radians(90.0)), MILLIMETRES)
    assert [bold for line in lines for bold in line.split("<b>")[1:]] == [
        "700 mm</b> long; measure its length.",
        "200 mm</b> from its leading end, the end that goes through the die first.",
        "90.0°</b>; take the load off.",
    ]
