"""Findings as sentences, and the signs that view, lists and paper share."""

import math

import numpy as np
import pytest
from msgspec.structs import replace

from app import wording
from app.units import INCH_FRACTIONS, MILLIMETRES
from geometry import axles, edits, rack
from geometry.checks import findings
from geometry.checks.finding import Amount, Finding, Mend
from geometry.layout import BendFrom, Die, Layout, Mesh, Panel, Tube
from geometry.tube import plan, trials
from geometry.tube.plan import Plan


@pytest.fixture
def layout() -> Layout:
    mesh = Mesh(np.zeros((3, 3)), np.array([[0, 1, 2]], dtype=np.int32))
    return Layout(
        name="Job",
        tubes={1: Tube(1, "T1", (), 9), 2: Tube(2, "left {sill}\n", (), 9)},
        panels={3: Panel(3, "left door", 8, mesh), 4: Panel(4, "aerial", 8, mesh, kept=False)},
    )


def test_a_length_is_said_in_the_units_of_the_person(layout):
    finding = Finding(
        rule="clearance.too_close",
        severity="warning",
        message="{tube} keeps {value} from {panel}; {limit} is asked for, {difference} more.",
        tubes=(1,),
        panels=(3,),
        value=12.7,
        limit=38.1,
        quantity="length",
    )
    assert (
        wording.say(finding, layout, MILLIMETRES)
        == "T1 keeps 12.7 mm from left door; 38.1 mm is asked for, 25.4 mm more."
    )
    assert (
        wording.say(finding, layout, INCH_FRACTIONS)
        == "T1 keeps 1/2 in from left door; 1 1/2 in is asked for, 1 in more."
    )
    assert wording.say_with_sign(finding, layout, MILLIMETRES).startswith("▲ T1 keeps")


def test_angles_ratios_amounts_and_words_fill_their_slots(layout):
    finding = Finding(
        rule="bend.angle_over_die",
        severity="error",
        message="Bend {bend} turns by {value}, the die {die} stops at {limit}; {least} × {od}.",
        tubes=(1,),
        value=math.radians(130),
        limit=math.radians(120),
        quantity="angle",
        amounts={"od": Amount(50.8, "length"), "least": Amount(3.0, "ratio")},
        words={"bend": "2", "die": "{odd} die"},
    )
    assert (
        wording.say(finding, layout, MILLIMETRES)
        == "Bend 2 turns by 130.0°, the die {odd} die stops at 120.0°; 3.00 × 50.8 mm."
    )


def test_names_with_braces_and_line_breaks_are_said_on_one_line(layout):
    finding = Finding("a.b", "note", "{tube} meets {other}.", tubes=(2, 1))
    assert wording.say(finding, layout, MILLIMETRES) == "left {sill} meets T1."


def test_things_that_are_gone_or_unknown_never_stop_a_sentence(layout):
    finding = Finding("a.b", "note", "{tube} by {panel}: {value}, {mystery}.", tubes=(77,), panels=(78,))
    assert wording.say(finding, layout, MILLIMETRES) == "a removed tube by a removed panel: —, —."


def test_every_severity_and_band_has_its_own_shape_and_word():
    for signs, words in (
        (wording.BAND_SIGNS, wording.BAND_WORDS),
        (wording.SEVERITY_SIGNS, wording.SEVERITY_WORDS),
    ):
        assert signs.keys() == words.keys()
        assert len(set(signs.values())) == len(set(words.values())) == 3


def test_an_unknown_rule_still_has_a_title():
    assert wording.rule_title("bend.no_die") == "No die for this tube"
    assert wording.rule_title("weld.no_room") == "Weld: no room"


def test_the_summary_says_what_was_checked_against_which_limits(layout):
    nothing = findings.Report(checked=frozenset({1, 2}))
    assert wording.report_summary(nothing, layout) == (
        "Nothing found. Checked: 2 tubes against 1 body panel, stand-off 15.0 mm to 40.0 mm, "
        "scan error 3.0 mm, build tolerance 5.0 mm."
    )
    some = findings.Report(
        findings=(Finding("a", "error", ""), Finding("b", "note", ""), Finding("c", "note", "")),
        checked=frozenset({1}),
    )
    assert wording.report_summary(some, layout).startswith("1 error and 2 notes found. Checked: 1 tube ")


def test_lists_and_counts_read_as_a_sentence():
    assert wording.listed([]) == ""
    assert wording.listed(["a"]) == "a"
    assert wording.listed(["a", "b"]) == "a and b"
    assert wording.listed(["a", "b", "c"]) == "a, b and c"
    assert wording.counted(1, "bend") == "1 bend"
    assert wording.counted(2, "box", "boxes") == "2 boxes"


def test_the_summary_counts_tyres_once_they_were_checked():
    layout = Layout()
    on_wheels, _ = axles.add(layout)
    assert "tyre" not in wording.report_summary(findings.Report(), on_wheels)
    whole = findings.Report(is_complete=True)
    assert ", 2 tyres with 25.0 mm of room" in wording.report_summary(whole, on_wheels)
    assert "tyre" not in wording.report_summary(whole, layout)


def test_the_cautions_name_who_decides():
    text = " ".join(f"{heading} {words}" for heading, words in wording.CAUTIONS)
    for word in ("certify nothing", "Local codes", "rule book", "licensed engineer", "qualified welder"):
        assert word in text


def test_a_mend_says_its_size_in_the_units_of_the_person(layout):
    apart = Mend("move apart", "Move the corners {amount} apart", 1, 23.8125)
    assert wording.say_mend(apart, layout, MILLIMETRES) == "Move the corners 23.8 mm apart"
    assert wording.say_mend(apart, layout, INCH_FRACTIONS) == "Move the corners 15/16 in apart"
    die = Mend("take die", "Take {die} for {tube}", 2, die=7)
    racked = replace(layout, dies={7: Die(7, "1.75 in, CLR 7 in", 44.45, 177.8)})
    assert wording.say_mend(die, racked, MILLIMETRES) == "Take 1.75 in, CLR 7 in for left {sill}"


def bent_from(bend_from: BendFrom) -> Plan:
    """The plan of a tube with three bends."""
    layout = rack.with_starting_rack(Layout())
    places = [
        (0.0, 0.0, 0.0),
        (900.0, 0.0, 0.0),
        (900.0, 900.0, 0.0),
        (1800.0, 900.0, 0.0),
        (1800.0, 0.0, 0.0),
    ]
    layout, tube = edits.add_tube(layout, places, next(iter(layout.stocks)))
    layout = edits.set_bend_from(layout, (tube,), bend_from)
    return plan.of(layout, layout.tubes[tube])


def test_the_order_of_bending_is_said_with_the_end_that_leads():
    assert wording.order_words(bent_from("start")) == "The start leads; the tube is never turned round."
    assert wording.bending_runs(bent_from("end")) == [("end", [3, 2, 1])]
    middle = wording.order_words(bent_from("middle"))
    assert middle == "The start leads for bends 2 and 3; turned round, the end leads for bend 1."


@pytest.mark.parametrize(
    ("state", "words"),
    [
        ("none", "none: geometry only"),
        ("check first", "check bend first"),
        ("partial", "2026-11-25, more needed"),
        ("measured", "of 2026-11-25"),
    ],
)
def test_the_state_of_trial_bends_is_said_in_a_few_words(state, words):
    known = replace(trials.as_bought(Die(1, "Die", 38.1, 114.3)), state=state, made="2026-11-25")
    assert wording.trials_state(known) == words


@pytest.mark.parametrize(
    ("degrees", "word"),
    [
        (90.0, "clockwise"),
        (-90.0, "anticlockwise"),
        (0.0, "same plane"),
        (-0.04, "same plane"),
        (180.0, "flip"),
        (-179.97, "flip"),
        (0.05, "clockwise"),
    ],
)
def test_a_turn_is_said_in_words_without_a_sign(degrees, word):
    assert wording.turn_word(math.radians(degrees), math.radians(0.1)) == word


@pytest.mark.parametrize(
    ("number", "text"),
    [(1, "1st"), (2, "2nd"), (3, "3rd"), (4, "4th"), (11, "11th"), (12, "12th"), (22, "22nd")],
)
def test_a_place_in_an_order_has_its_ending(number, text):
    assert wording.ordinal(number) == text
