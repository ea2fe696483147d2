"""The packet as text and numbers: units applied, nothing printed that can't be bent."""

import math
from datetime import date

import pytest
from msgspec.structs import replace

from app.export import sheet
from app.export.sheet import Facts, Page, Picture, Table, Text
from app.export.views import Views
from app.units import INCH_FRACTIONS, INCHES, MILLIMETRES
from geometry import edits
from geometry.checks import findings
from geometry.checks.finding import Finding
from geometry.shop import schedule as schedules
from geometry.shop.schedule import ScheduleBend

MADE = date(2024, 5, 17)
STOCK = 1


def packet(job, report, units=MILLIMETRES, picture=None):
    return sheet.packet(schedules.build(job), job, report, units, MADE, picture)


def block(page: Page, kind):
    return next(item for item in page.blocks if isinstance(item, kind))


def words(page: Page) -> str:
    parts = [page.title, page.aside]
    for item in page.blocks:
        match item:
            case Text():
                parts += [item.heading, *item.paragraphs]
            case Facts():
                parts += [text for fact in item.facts for text in (fact.label, fact.value, fact.under)]
            case Table():
                parts += [column.title for column in item.columns]
                parts += [text for row in item.rows for cell in row for text in (cell.text, cell.under)]
    return "\n".join(parts)


def bend(**changes) -> ScheduleBend:
    usual = ScheduleBend(2, 100.0, 0.0, 0.0, math.radians(45), 152.4, 100.0, 200.0)
    return replace(usual, **changes)


@pytest.mark.parametrize(
    ("degrees", "said"),
    [
        (90.0, ("90.0°", "clockwise")),
        (-90.0, ("90.0°", "anticlockwise")),
        (0.0, ("0.0°", "no turn")),
        (-0.04, ("0.0°", "no turn")),
        (180.0, ("180.0°", "half turn")),
        (-179.97, ("180.0°", "half turn")),
        (0.05, ("0.1°", "clockwise")),
    ],
)
def test_a_turn_is_said_in_words_without_a_sign(degrees, said):
    assert sheet.turn_words(bend(rotation=math.radians(degrees))) == said


def test_the_first_bend_has_no_turn():
    assert sheet.turn_words(bend(number=1)) == ("—", "first bend")


@pytest.mark.parametrize(
    ("degrees", "reading"), [(0.0, "0.0°"), (359.97, "0.0°"), (359.94, "359.9°"), (47.74, "47.7°")]
)
def test_the_dial_reads_from_0_to_359_9(degrees, reading):
    assert sheet.dial_text(bend(dial=math.radians(degrees))) == reading


def test_no_bend_table_ever_prints_a_sign(job, report):
    for units in (MILLIMETRES, INCHES, INCH_FRACTIONS):
        for page in packet(job, report, units).pages[1:]:
            for table in (item for item in page.blocks if isinstance(item, Table)):
                assert not any("-" in cell.text + cell.under for row in table.rows for cell in row)


def test_each_tube_has_a_page_after_the_cover(job, report):
    assert [page.title for page in packet(job, report).pages] == [
        "Test job",
        "sill",
        "rail",
        "=hoop()",
        "knot",
    ]


def test_the_bend_table_holds_the_schedule(job, report):
    record = schedules.build(job).records[1]
    rows = block(packet(job, report).pages[2], Table).rows
    assert len(rows) == len(record.bends) == 2
    for row, made in zip(rows, record.bends, strict=True):
        assert row[0].text == str(made.number)
        shown = [float(row[i].text) for i in (1, 2, 3)]
        assert shown == pytest.approx([made.start, made.end, made.straight_before], abs=0.05 + 1e-9)
        assert row[6].text == f"{math.degrees(made.angle):.1f}°"
        assert row[6].under == f"included {180 - math.degrees(made.angle):.1f}°"
        assert row[7].text == "152.4"


def test_fractions_have_the_decimal_under_them(job, report):
    row = block(packet(job, report, INCH_FRACTIONS).pages[2], Table).rows[0]
    made = schedules.build(job).records[1].bends[0]
    assert (row[1].text, row[1].under) == ("33", f"{made.start / 25.4:.3f}")
    assert (row[2].text, row[2].under) == ("39 3/16", f"{made.end / 25.4:.3f}")
    assert row[7].text == "6"


def test_blank_trims_stock_die_and_ends_stand_on_the_page(job, report):
    record = schedules.build(job).records[1]
    facts = {fact.label: fact for fact in block(packet(job, report).pages[2], Facts).facts}
    assert facts["Cut the blank to"].value == f"{record.blank:.1f} mm"
    assert facts["Trim line at START"].value == "25.0 mm"
    assert facts["Trim line at other end"].value == f"{record.blank - 25.0:.1f} mm"
    assert facts["Finished length"].value == f"{record.centreline:.1f} mm"
    assert facts["Stock"].value == "44.45 × 2.41 mm"
    assert (facts["Die"].value, facts["Die"].under) == ("CLR 152.4 mm", "six inch")
    seat = facts["START end lands on"]
    assert (seat.value, seat.under) == ("sill", "90.0° between them")
    assert facts["Other end"].value == "free"


def test_an_allowance_that_grows_for_the_die_says_so(job, report):
    die = replace(job.dies[2], first_straight=900.0)
    longer = replace(job, dies={2: die})
    facts = {fact.label: fact for fact in block(packet(longer, report).pages[2], Facts).facts}
    assert facts["Trim line at START"].under == "longer for the die"
    assert facts["Trim line at other end"].under == ""


def test_a_tube_that_cannot_be_made_has_no_numbers_to_bend_from(job, report):
    page = packet(job, report).pages[4]
    text = words(page)
    assert "can't be made" in text
    assert "✖" in text
    assert not any(isinstance(item, Table | Views) for item in page.blocks)
    assert "blank" not in text
    assert "Bend starts" not in text


def test_a_tube_cutting_into_the_body_can_still_be_bent_and_one_over_the_die_cannot(job):
    record = schedules.build(job).records[1]
    cuts = Finding("clearance.crossing", "error", "", (record.tube,))
    over = Finding("bend.angle_over_die", "error", "", (record.tube,))
    assert sheet.can_be_bent(record, findings.Report(findings=(cuts,)))
    assert not sheet.can_be_bent(record, findings.Report(findings=(cuts, over)))


def test_the_cover_holds_totals_findings_and_cautions(job, report):
    text = words(packet(job, report).pages[0])
    assert "What the checks say: these findings stand" in text
    assert "✖" in text
    for word in ("Bending.", "Cutting.", "Welding.", "Relying on a cage.", "certify nothing"):
        assert word in text
    for word in ("licensed engineer", "qualified welder", "rule book", "Local codes", "2024-05-17"):
        assert word in text
    total = sum(record.blank for record in schedules.build(job).records)
    assert f"{total:.1f} mm" in text


def test_the_cover_says_so_when_nothing_was_found(job):
    text = words(packet(job, findings.Report(checked=frozenset(job.tubes))).pages[0])
    assert "Nothing found. Checked: 4 tubes" in text


def test_a_picture_stands_on_the_cover_only_when_there_is_one(job, report):
    with_one = packet(job, report, picture=b"png").pages[0]
    assert block(with_one, Picture).png == b"png"
    assert not any(isinstance(item, Picture) for item in packet(job, report).pages[0].blocks)


def test_every_bent_page_says_that_the_numbers_are_geometry_only(job, report):
    for page in packet(job, report).pages[1:]:
        assert "no springback or stretch" in words(page)


def test_a_tube_page_holds_its_own_findings(job):
    tubes = list(job.tubes)
    found = Finding("x", "warning", "{tube} is odd by {value}.", (tubes[1],), value=25.4, quantity="length")
    pages = packet(job, findings.Report(findings=(found,)), INCHES).pages
    assert "▲ rail is odd by 1.000 in." in words(pages[2])
    assert "odd" not in words(pages[1])


def test_marks_of_a_published_tube_to_a_sixteenth_run_from_one_datum(empty):
    # Four bends on CLR 152.4 mm; each mark is rounded from the tube end, never chained.
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
    page = packet(layout, findings.Report(), INCH_FRACTIONS).pages[1]
    rows = block(page, Table).rows
    marks = [cell.text for row in rows for cell in row[1:3]]
    assert marks == ["33 1/2", "37 1/4", "49 5/16", "54 3/4", "82 1/16", "88 7/8", "104 3/4", "110"]
    assert block(page, Facts).facts[0].value == "133 15/16 in"
    assert [(row[4].text, row[4].under) for row in rows] == [
        ("—", "first bend"),
        ("↻ 12.8°", "clockwise"),
        ("↻ 75.5°", "clockwise"),
        ("↺ 72.4°", "anticlockwise"),
    ]
    assert [row[5].text for row in rows] == ["0.0°", "12.8°", "88.3°", "15.9°"]
    assert [row[6].text for row in rows] == ["35.5°", "51.8°", "65.2°", "50.5°"]


def test_spreadsheet_rows_hold_numbers_and_skip_bends_that_cannot_be_made(job, report):
    schedule = schedules.build(job)
    tubes = sheet.tube_rows(schedule, job, report, INCH_FRACTIONS)
    titles = [column.title for column in tubes.columns]
    assert len({len(row) for row in tubes.rows} | {len(titles)}) == 1
    blank = [row[titles.index("blank (in)")] for row in tubes.rows]
    for record, cell in zip(schedule.records[:3], blank, strict=False):
        assert cell.number == pytest.approx(record.blank / 25.4, abs=0.0005 + 1e-9)
    assert blank[3].number is None
    assert [row[1].text for row in tubes.rows] == ["yes", "yes", "yes", "no"]
    bends = sheet.bend_rows(schedule, report, MILLIMETRES)
    assert [row[0].text for row in bends.rows] == ["rail", "rail", "=hoop()", "=hoop()"]
    assert all(cell.number >= 0 for row in bends.rows for cell in row if cell.number is not None)


def test_names_with_line_breaks_stand_on_one_line(empty):
    layout, _ = edits.add_tube(empty, [(0.0, 0.0, 0.0), (900.0, 0.0, 0.0)], STOCK, "left\nsill")
    assert packet(layout, findings.Report()).pages[1].title == "left sill"


def test_a_job_without_tubes_has_a_cover(empty):
    pages = packet(empty, findings.Report()).pages
    assert [page.key for page in pages] == ["cover"]
