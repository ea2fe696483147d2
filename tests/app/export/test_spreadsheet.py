"""The tables for spreadsheets hold the numbers of the sheets."""

import pytest

from app.export import spreadsheet, steps, tube_page
from app.export.sheet import Table
from app.units import INCH_FRACTIONS, MILLIMETRES
from geometry import edits
from geometry.shop import schedule as schedules


def column(table: Table, title: str) -> list:
    index = [column.title for column in table.columns].index(title)
    return [row[index] for row in table.rows]


def test_every_row_is_as_wide_as_the_headings(job, report, with_trials):
    layout = with_trials(job)
    schedule = schedules.build(layout)
    for build in (spreadsheet.tubes, spreadsheet.bends):
        table = build(schedule, layout, report, MILLIMETRES)
        assert {len(row) for row in table.rows} == {len(table.columns)}


def test_tubes_have_rounded_blanks_and_those_that_cannot_be_made_none(job, report):
    schedule = schedules.build(job)
    table = spreadsheet.tubes(schedule, job, report, INCH_FRACTIONS)
    blanks = column(table, "blank (in)")
    for record, cell in zip(schedule.records[:3], blanks, strict=False):
        blank = steps.rounded(record, job, INCH_FRACTIONS).blank
        assert cell.number == pytest.approx(blank / 25.4, abs=0.0006)
        assert cell.number * 25.4 >= record.blank - 0.02
    assert blanks[3].number is None
    assert [cell.text for cell in column(table, "can be made")] == ["yes", "yes", "yes", "no"]


def test_bends_stand_in_the_order_of_bending_with_the_numbers_of_the_sheet(job, report, with_trials):
    layout = edits.set_bend_from(with_trials(job), list(job.tubes), "end")
    schedule = schedules.build(layout)
    table = spreadsheet.bends(schedule, layout, report, MILLIMETRES)
    assert [cell.text for cell in column(table, "tube")] == ["rail", "rail", "=hoop()", "=hoop()"]
    assert [cell.number for cell in column(table, "bend")] == [2, 1, 2, 1]
    assert {cell.text for cell in column(table, "end that leads")} == {"END"}
    page = tube_page.of("j", schedule.records[1], layout, report, MILLIMETRES)
    shown = next(item for item in page.blocks if isinstance(item, Table)).rows
    assert [float(row[2].text) for row in shown] == [c.number for c in column(table, "set mark (mm)")[:2]]
    assert [row[3].text for row in shown] == [c.text for c in column(table, "bend starts (mm)")[:2]]
    checked = [item for item in page.blocks if isinstance(item, Table)][1].rows
    assert [row[2].text for row in checked] == [c.text for c in column(table, "chord end to end (mm)")[:2]]
    assert [row[5].text for row in shown] == [f"{c.text}°" for c in column(table, "bend to (degrees)")[:2]]
    assert [row[4].text for row in shown] == [f"{c.text}°" for c in column(table, "dial (degrees)")[:2]]
    assert all(cell.number >= 0 for row in table.rows for cell in row if cell.number is not None)


def test_an_angle_that_nobody_knows_is_empty(job, report):
    table = spreadsheet.bends(schedules.build(job), job, report, MILLIMETRES)
    assert {cell.text for cell in column(table, "bend to (degrees)")} == {""}
    assert {cell.text for cell in column(table, "turn the tube")} >= {"first bend", "same plane"}
