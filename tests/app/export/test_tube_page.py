"""The page of a tube as text and numbers: what is set, in order, and nothing that can't be bent."""

import math
import re

import numpy as np
import pytest
from msgspec.structs import replace

from app.export import steps, tube_page
from app.export.sheet import Facts, Page, Table, Text
from app.export.turning import Stance
from app.export.views import Views
from app.units import INCH_FRACTIONS, INCHES, MILLIMETRES, Units, parse_length
from geometry import edits, rack
from geometry.checks import findings
from geometry.checks.finding import Finding
from geometry.layout import Bender, Layout
from geometry.shop import made
from geometry.shop import schedule as schedules

STOCK, DIE = 1, 2
RAIL, HOOP, KNOT = 1, 2, 3
NOTHING = findings.Report()
EIGHT_BENDS = [(i * 700.0, 300.0 * (i % 2), 200.0 * (i % 3)) for i in range(10)]


def page_of(layout: Layout, index: int = RAIL, report=NOTHING, units: Units = MILLIMETRES) -> Page:
    record = schedules.build(layout).records[index]
    return tube_page.of("Test job", record, layout, report, units)


def block(page: Page, kind, nth: int = 0):
    return [item for item in page.blocks if isinstance(item, kind)][nth]


def facts_of(page: Page):
    return {fact.label: fact for fact in block(page, Facts).facts}


def from_end(layout: Layout, way: str) -> Layout:
    return edits.set_bend_from(layout, list(layout.tubes), way)


def test_no_page_ever_prints_a_sign(job, with_trials):
    for layout in (job, with_trials(job), from_end(job, "end"), from_end(job, "middle")):
        for units in (MILLIMETRES, INCHES, INCH_FRACTIONS):
            for index in (RAIL, HOOP):
                for table in [b for b in page_of(layout, index, units=units).blocks if isinstance(b, Table)]:
                    texts = [t for row in table.rows for c in row for t in (c.over, c.text, c.under)]
                    assert not any(sign in text for text in texts for sign in "-−+")


def test_the_steps_stand_in_the_order_of_bending_with_the_mark_as_the_biggest_figure(job):
    record = schedules.build(job).records[RAIL]
    table = block(page_of(job), Table)
    assert table.large
    assert max(table.columns, key=lambda column: column.size) is table.columns[2]
    assert [row[0].text for row in table.rows] == ["1st", "2nd"]
    assert [row[1].text for row in table.rows] == [str(step.bend) for step in record.plan.steps]
    for row, step in zip(table.rows, record.plan.steps, strict=True):
        assert float(row[2].text) == pytest.approx(step.mark, abs=1.0)
        assert row[2].text.isdigit()
        assert row[6].text == f"{math.degrees(step.angle):.1f}°"
        assert row[6].under == f"included {180 - math.degrees(step.angle):.1f}°"


@pytest.mark.parametrize("units", [MILLIMETRES, INCHES, INCH_FRACTIONS], ids=["mm", "inches", "fractions"])
@pytest.mark.parametrize("way", ["start", "end", "middle"])
def test_the_printed_figures_bend_the_tube_as_near_as_the_page_says(job, with_trials, way, units, words_of):
    layout = from_end(with_trials(job), way)
    plan = schedules.build(layout).records[RAIL].plan
    page = page_of(layout, RAIL, units=units)
    facts, rows = facts_of(page), block(page, Table).rows
    trims = [parse_length(facts[f"Trim line at {end}"].value, units) for end in ("START", "END")]
    marks = [parse_length(row[2].text, units) for row in rows]
    dials, angles = ([math.radians(float(row[i].text[:-1])) for row in rows] for i in (4, 5))
    machine = made.machine_of(plan)
    bent = made.nodes(plan, np.array([*trims, *marks, *dials, *angles]), machine)
    off = made.misfits(bent, made.nodes(plan, made.settings_of(plan), machine)).max()
    said = re.search(r"come out within ([\d.]+) (mm|in) ", words_of(page))
    within = float(said[1]) * (1.0 if said[2] == "mm" else 25.4)
    # Decimal inches show three places of a sixteenth: 0.013 mm.
    assert within - 0.3 <= off <= within + 0.03


def test_a_mark_off_the_blank_is_measured_past_its_end_without_a_sign(job):
    for reference, leads, past in ((900.0, "start", "past START"), (900.0, "end", "past END")):
        layout = rack.replace_die(job, replace(job.dies[DIE], reference=reference))
        layout = from_end(layout, leads)
        record = schedules.build(layout).records[RAIL]
        cell = block(page_of(layout), Table).rows[0][2]
        mark = record.plan.steps[0].mark
        off = -mark if leads == "start" else mark - record.blank
        assert cell.over == past
        assert float(cell.text) == pytest.approx(off, abs=1.0)


def test_the_dial_and_rotation_keep_to_the_angle_step(job):
    layout = edits.set_limits(job, angle_step=math.radians(0.5))
    page = page_of(layout)
    assert all(row[4].text[-3:] in (".0°", ".5°") for row in block(page, Table).rows)
    assert "angles to 0.5°" in block(page, Text, 1).paragraphs[1]


def test_a_bend_is_shown_where_its_mark_as_set_puts_it(job):
    # The die's mark is where the bend starts: both figures must be the same on paper.
    for units in (MILLIMETRES, INCHES, INCH_FRACTIONS):
        for row in block(page_of(job, units=units), Table).rows:
            assert row[2].text == row[3].text


def test_start_leading_is_said_and_end_leading_is_said_loudly(job):
    start, end = (block(page_of(from_end(job, way)), Table).bands for way in ("start", "end"))
    assert [(band.before, band.text, band.is_loud) for band in start] == [
        (0, "START leads. The END is at the tail, with you.", False)
    ]
    assert [(band.before, band.is_loud) for band in end] == [(0, True)]
    assert end[0].text.startswith("END LEADS FIRST")
    assert block(page_of(from_end(job, "end")), Stance).leads == "END"


def test_turning_the_tube_round_stands_above_its_step(job):
    table = block(page_of(from_end(job, "middle")), Table)
    turned = [band for band in table.bands if band.before > 0]
    assert [band.before for band in turned] == [1]
    assert turned[0].is_loud
    assert turned[0].text == "Turn the tube end for end: now the END leads."
    assert turned[0].aside == "dial 0° with bend 2 as if just bent"
    assert [row[1].text for row in table.rows] == ["2", "1"]


def test_turns_are_words_with_the_running_reading_and_a_dial(job):
    first, second = block(page_of(job), Table).rows
    assert (first[4].over, first[4].text) == ("first bend", "0.0°")
    assert second[4].over in ("clockwise", "anticlockwise")
    assert second[4].turning.reading == pytest.approx(math.radians(float(second[4].text[:-1])))
    assert first[4].turning.turn == 0.0


def test_a_flat_tube_stays_in_its_plane_or_is_flipped_in_words(job, empty):
    assert [row[4].over for row in block(page_of(job, HOOP), Table).rows] == ["first bend", "same plane"]
    corners = [(0.0, 0.0, 0.0), (600.0, 0.0, 0.0), (1100.0, 500.0, 0.0), (1800.0, 500.0, 0.0)]
    layout, _ = edits.add_tube(empty, corners, STOCK)
    assert [row[4].over for row in block(page_of(layout, 0), Table).rows] == ["first bend", "flip"]


def test_without_trial_bends_the_bender_has_no_angle_and_the_page_says_geometry_only(job, words_of):
    page = page_of(job)
    assert [(row[5].text, row[5].under) for row in block(page, Table).rows] == [("—", "no trial bend")] * 2
    text = block(page, Text)
    assert (text.tone, text.heading) == ("warning", "GEOMETRY ONLY")
    assert "no stretch and no springback" in words_of(page)


def test_a_known_yield_strength_gives_a_lower_bound_that_is_labelled(job):
    strong = rack.replace_stock(job, replace(job.stocks[STOCK], yield_strength=414.0))
    page = page_of(strong)
    steps_made = schedules.build(strong).records[RAIL].plan.steps
    for row, step in zip(block(page, Table).rows, steps_made, strict=True):
        assert row[5].over == "at least"
        # 1.75 x 0.095 in on 152.4 mm of 414 N/mm2 recovers 0.0186 of its bend.
        least = math.degrees(step.angle) / (1.0 - 0.01860321)
        assert least - 0.1 <= float(row[5].text[:-1]) <= least
    assert "lower bound" in block(page, Text).paragraphs[0]


def test_trial_bends_give_the_bender_its_angle_and_say_which_they_are(job, with_trials, words_of):
    layout = with_trials(job)
    page = page_of(layout)
    steps_made = schedules.build(layout).records[RAIL].plan.steps
    for row, step in zip(block(page, Table).rows, steps_made, strict=True):
        assert float(row[5].text[:-1]) == pytest.approx(1.2 + 1.022 * math.degrees(step.angle), abs=0.1)
        assert (row[5].over, row[5].under) == ("", "")
    assert "Trial bends of 2024-05-16, batch 7, 3 bends: in these numbers." in words_of(page)
    assert "The trial bends leave ±" in words_of(page)
    assert "least / largest diameter 0.913" in words_of(page)
    assert "GEOMETRY ONLY" not in words_of(page)


def test_a_new_batch_asks_for_a_check_bend_first(job, with_trials):
    text = block(page_of(with_trials(job, on_rack="8")), Text)
    assert (text.tone, text.heading) == ("warning", "CHECK BEND FIRST")
    assert text.paragraphs[0].startswith("Batch 8 is new.")
    assert text.paragraphs[0].endswith("trial bends of 2024-05-16, batch 7, 3 bends.")


def test_too_few_trial_bends_give_about_an_angle_and_say_what_is_missing(job, with_trials):
    page = page_of(with_trials(job, angles=(45.0,)))
    assert [row[5].over for row in block(page, Table).rows] == ["about", "about"]
    text = block(page, Text)
    assert text.heading == "NOT ALL IS KNOWN YET"
    assert "Bend one more" in text.paragraphs[0]


def test_one_check_bend_of_a_new_batch_says_what_the_rest_rests_on(job, with_trials, words_of):
    layout = with_trials(with_trials(job), angles=(60.0,), batch="8", on_rack="8")
    assert "Trial bends of 2024-05-16, batch 8, 1 bend, the rest from batch 7" in words_of(page_of(layout))


def test_trial_bends_that_disagree_are_a_loud_warning(job, with_trials):
    layout = with_trials(job, angles=(30.0, 45.0, 60.0, 75.0, 90.0))
    wrong = next(reversed(layout.trials.values()))
    layout = rack.replace_trial(layout, replace(wrong, dial=wrong.dial + math.radians(5.0)))
    text = block(page_of(layout), Text)
    assert (text.tone, text.heading) == ("warning", "TRIAL BENDS DISAGREE")
    assert "90°" in text.paragraphs[0]


def test_inches_in_fractions_have_the_decimal_under_them_and_decimals_the_fraction(job):
    row = block(page_of(job, units=INCH_FRACTIONS), Table).rows[0]
    assert (row[2].text, row[2].under) == ("34", "34.000")
    row = block(page_of(job, units=INCHES), Table).rows[0]
    assert (row[2].text, row[2].under) == ("34.000", "34")
    trim = facts_of(page_of(job, units=INCH_FRACTIONS))["Trim line at START"]
    assert (trim.value, trim.under) in (("1 15/16 in", "1.938 in"), ("2 in", "2.000 in"))


def test_blank_trims_stock_die_and_ends_stand_on_the_page(job):
    record = schedules.build(job).records[RAIL]
    facts = facts_of(page_of(job))
    numbers = steps.rounded(record, job, MILLIMETRES)
    assert facts["Cut the blank to"].value == f"{math.ceil(record.blank)} mm"
    assert facts["Trim line at START"].value == f"{numbers.start_trim:.0f} mm"
    assert facts["Trim line at END"].value == f"{numbers.end_trim:.0f} mm"
    assert facts["Finished length"].value == f"{record.centreline:.1f} mm"
    assert facts["Stock"].value == "44.45 × 2.41 mm"
    assert (facts["Die"].value, facts["Die"].under) == ("CLR 152.4 mm", "six inch")
    seat = facts["START end lands on"]
    assert (seat.value, seat.under) == ("sill", "90.0° between them")
    assert facts["END"].value == "free"


def test_the_die_names_its_bender_and_the_stock_its_batch(job, with_trials):
    layout, bender = rack.add_bender(with_trials(job), Bender(0, "Floor bender"))
    layout = rack.replace_die(layout, replace(layout.dies[DIE], bender=bender))
    facts = facts_of(page_of(layout, HOOP))
    assert facts["Die"].under == "six inch, Floor bender"
    assert facts["Stock"].under.endswith("batch 7")


def test_an_end_cut_before_bending_has_no_trim_line(job):
    layout = edits.set_cuts(job, list(job.tubes), "before", "after")
    facts = facts_of(page_of(layout))
    assert (facts["START end"].value, facts["START end"].under) == (
        "cut to fit",
        "before bending, once marked",
    )
    assert "Trim line at START" not in facts
    assert "Trim line at END" in facts


def test_an_allowance_that_grows_for_the_die_says_so(job):
    longer = replace(job, dies={DIE: replace(job.dies[DIE], first_straight=900.0)})
    facts = facts_of(page_of(from_end(longer, "start")))
    assert facts["Trim line at START"].under == "longer for the die"
    assert facts["Trim line at END"].under == ""


def test_the_bench_table_says_what_to_measure_after_each_bend(job):
    table = block(page_of(job, HOOP), Table, 1)
    assert [row[0].text for row in table.rows] == ["1", "2"]
    first, second = table.rows
    assert [cell.text for cell in first[1:2]] == ["—"]
    # A hoop of 1200 between corners: 1200 less two tangents of 152.4, and 1200 + 44.45 over the backs.
    assert [float(second[i].text) for i in (1, 4)] == pytest.approx([895.2, 1244.45], abs=1.5)
    assert second[5].text == "back to back"


def test_rounding_errors_and_estimates_are_printed_as_such(job, words_of):
    text = words_of(page_of(job))
    left = steps.rounded(schedules.build(job).records[RAIL], job, MILLIMETRES).left
    worst = math.ceil(max(left) * 10.0 - 1e-9) / 10.0
    assert f"Marks to 1 mm, angles to 0.1°: the corners come out within {worst:.1f} mm (worst: " in text
    assert "START:\xa00." in text
    assert "Estimate: the outer wall of a bend thins by 13 % to 2.11 mm." in text
    assert "± " not in text


def test_a_sleeve_is_described_where_it_goes(empty, words_of):
    corners = [(0.0, 0.0, 0.0), (900.0, 0.0, 0.0), (900.0, 900.0, 0.0)]
    layout, tube = edits.add_tube(empty, corners, STOCK, "left")
    layout, _ = edits.split_with_sleeve(layout, tube, 400.0)
    texts = [words_of(page_of(layout, index)) for index in (0, 1)]
    said = "133 mm long, half in each tube, 39.12 mm outside diameter (0.5 mm slip; common practice)."
    assert all(said in text for text in texts)
    assert "over a sleeve" in texts[0]


def test_a_tube_without_a_die_has_no_marks(job, words_of):
    layout = replace(job, dies={})
    page = page_of(layout)
    assert "No die, no marks" in words_of(page)
    assert not any(isinstance(item, Table | Stance) for item in page.blocks)


def test_a_straight_tube_has_its_length_and_no_table(job, words_of):
    page = page_of(job, 0)
    assert facts_of(page)["Cut the blank to"].value == "2050 mm"
    assert not any(isinstance(item, Table | Stance) for item in page.blocks)
    assert "GEOMETRY ONLY" not in words_of(page)


def test_a_tube_that_cannot_be_made_has_no_numbers_to_bend_from(job, report, words_of):
    page = page_of(job, KNOT, report)
    text = words_of(page)
    assert "can't be made" in text
    assert "✖" in text
    assert not any(isinstance(item, Table | Views) for item in page.blocks)
    assert "blank" not in text
    assert "mark at the die" not in text


def test_a_tube_cutting_into_the_body_can_still_be_bent_and_one_over_the_die_cannot(job):
    record = schedules.build(job).records[RAIL]
    cuts = Finding("clearance.crossing", "error", "", (record.tube,))
    over = Finding("bend.angle_over_die", "error", "", (record.tube,))
    assert tube_page.can_be_bent(record, findings.Report(findings=(cuts,)))
    assert not tube_page.can_be_bent(record, findings.Report(findings=(cuts, over)))


def test_a_tube_page_holds_its_own_findings(job, words_of):
    tubes = list(job.tubes)
    found = Finding("x", "warning", "{tube} is odd by {value}.", (tubes[1],), value=25.4, quantity="length")
    report = findings.Report(findings=(found,))
    assert "▲ rail is odd by 1.000 in." in words_of(page_of(job, RAIL, report, INCHES))
    assert "odd" not in words_of(page_of(job, 0, report, INCHES))


def test_what_hinders_bending_stands_above_the_steps_and_the_rest_below(job):
    tube = list(job.tubes)[RAIL]
    short = Finding("bend.between_short", "warning", "Short.", (tube,))
    close = Finding("clearance.too_close", "warning", "Close.", (tube,))
    page = page_of(job, RAIL, findings.Report(findings=(close, short)))
    texts = [b.paragraphs[0] if isinstance(b, Text) else type(b).__name__ for b in page.blocks]
    assert texts.index("▲ Short.") < texts.index("Table") < texts.index("▲ Close.")


def test_marks_of_a_published_tube_to_a_sixteenth_run_from_one_datum(empty):
    # Four bends on CLR 152.4 mm; the marks are within a step of the bend starts, never chained.
    corners = [
        (0, 0, 0),
        (0, 0, 900),
        (250, 0, 1250),
        (1100, 150, 1300),
        (1250, 700, 1250),
        (1250, 1100, 700),
    ]
    layout, id = edits.add_tube(empty, [tuple(map(float, corner)) for corner in corners], STOCK)
    layout = edits.set_allowances(layout, [id], 0.0, 0.0)
    layout = edits.set_bend_from(layout, [id], "start")
    page = page_of(layout, 0, units=INCH_FRACTIONS)
    rows = block(page, Table).rows
    marks = [sum(map(_number, row[2].text.split())) * 25.4 for row in rows]
    assert marks == pytest.approx([851.161, 1252.973, 2083.856, 2660.202], abs=25.4 / 16)
    assert block(page, Facts).facts[0].value == "133 15/16 in"  # of 3402.734 mm
    assert [row[4].over for row in rows] == ["first bend", "clockwise", "clockwise", "anticlockwise"]
    readings = [float(row[4].text[:-1]) for row in rows]
    assert readings == pytest.approx([0.0, 12.755, 88.295, 15.859], abs=0.1 + 1e-9)
    assert [row[6].text for row in rows] == ["35.5°", "51.8°", "65.2°", "50.5°"]


def _number(text: str) -> float:
    over, _, under = text.partition("/")
    return float(over) / float(under or 1)


def test_eight_bends_are_eight_steps(empty):
    layout, _ = edits.add_tube(empty, EIGHT_BENDS, STOCK)
    page = page_of(layout, 0)
    assert len(block(page, Table).rows) == len(block(page, Table, 1).rows) == 8
    assert block(page, Table).rows[7][0].text == "8th"
    # They stand on a paper of their own, so the warning stands above them once more.
    assert block(page, Table).bands[0].text == "GEOMETRY ONLY"
