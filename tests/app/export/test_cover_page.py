"""The cover of a packet as text."""

from datetime import date

from msgspec.structs import replace

from app.export import cover_page, steps
from app.export.sheet import Picture, Table, Text
from app.units import INCHES, MILLIMETRES
from geometry import zoning
from geometry.checks import findings
from geometry.shop import schedule as schedules

MADE = date(2024, 5, 17)
STOCK = 1


def cover(layout, report, units=MILLIMETRES, picture=None):
    return cover_page.of("Test job", schedules.build(layout), layout, report, units, MADE, picture)


def dies_of(page):
    return next(item for item in page.blocks if isinstance(item, Table) and item.heading.startswith("Dies"))


def test_the_cover_holds_totals_findings_and_cautions(job, report, words_of):
    text = words_of(cover(job, report))
    assert "What the checks say: these findings stand" in text
    assert "✖" in text
    for word in ("Bending.", "Cutting.", "Welding.", "Relying on a cage.", "certify nothing"):
        assert word in text
    for word in ("licensed engineer", "qualified welder", "rule book", "Local codes", "2024-05-17"):
        assert word in text
    total = sum(steps.rounded(row, job, MILLIMETRES).blank for row in schedules.build(job).records)
    assert f"{total:.0f} mm" in text


def test_the_cover_says_so_when_nothing_was_found(job, words_of):
    text = words_of(cover(job, findings.Report(checked=frozenset(job.tubes))))
    assert "Nothing found. Checked: 4 tubes" in text


def test_a_picture_stands_on_the_cover_only_when_there_is_one(job, report):
    pictures = [item for item in cover(job, report, picture=b"png").blocks if isinstance(item, Picture)]
    assert [picture.png for picture in pictures] == [b"png"]
    assert not any(isinstance(item, Picture) for item in cover(job, report).blocks)


def test_each_die_and_stock_has_its_trial_bends_and_the_scrap_that_is_still_wanted(job, report, with_trials):
    states = {
        "none": job,
        "check": with_trials(job, on_rack="8"),
        "partial": with_trials(job, angles=(45.0,)),
        "measured": with_trials(job),
    }
    rows = {name: dies_of(cover(layout, report)).rows for name, layout in states.items()}
    assert {name: [cell.text for cell in found[0]] for name, found in rows.items()} == {
        "none": ["six inch", "1 3/4 × 0.095", "—", "5", "none: geometry only", "2 × 600 mm"],
        "check": ["six inch", "1 3/4 × 0.095", "8", "5", "check bend first", "2 × 600 mm"],
        "partial": ["six inch", "1 3/4 × 0.095", "7", "5", "2024-05-16: more wanted", "2 × 600 mm"],
        "measured": ["six inch", "1 3/4 × 0.095", "7", "5", "2024-05-16: 3 bends", "—"],
    }
    totals = next(i for i in cover(job, report).blocks if isinstance(i, Table) and "Totals" in i.heading)
    assert totals.rows[0][5].text == "2 × 600 mm"
    assert dies_of(cover(job, report, INCHES)).rows[0][5].text == "2 × 24 in"


def test_trial_bends_that_are_wanted_stand_before_everything_that_is_cut(job, report, with_trials):
    def warnings(layout):
        return [b for b in cover(layout, report).blocks if isinstance(b, Text) and b.tone == "warning"]

    assert warnings(job)[0].paragraphs[0].startswith("GEOMETRY ONLY: six inch, 1 3/4 × 0.095")
    assert "for rail, =hoop()" in warnings(job)[0].paragraphs[0]
    assert "CHECK BEND FIRST" in warnings(with_trials(job, on_rack="8"))[0].paragraphs[0]
    assert warnings(with_trials(job)) == []


def test_straight_tubes_need_no_trial_bends(empty, report, words_of):
    text = words_of(cover(replace(empty, name="x"), findings.Report()))
    assert "Dies" not in text
    assert "GEOMETRY ONLY" not in text


def test_purposes_that_nobody_looked_at_stand_in_one_line(job, report, words_of):
    line = "Neither set nor said not to be needed: filler nozzle, door handle, lamp beam"
    assert line in words_of(cover(job, report))
    done = job
    for purpose in zoning.ASKED_FOR:
        done = zoning.set_needed(done, purpose, False)
    assert "Access zones not looked at" not in words_of(cover(done, report))
