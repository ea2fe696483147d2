"""The PDF opens, has its pages and holds its words."""

import io
import re
import struct
import zlib
from datetime import date

import pytest
from pypdf import PdfReader

from app.export import ink, packet, pdf_file, steps
from app.export.sheet import Page, Sheet, Text
from app.units import INCH_FRACTIONS, INCHES, MILLIMETRES
from geometry import edits
from geometry.checks import findings
from geometry.checks.finding import Finding
from geometry.progress import Cancelled
from geometry.shop import schedule as schedules

MADE = date(2024, 5, 17)
STOCK = 1
FOUR_BENDS = [
    (0.0, 0.0, 0.0),
    (100.0, 0.0, 700.0),
    (600.0, 200.0, 1200.0),
    (2000.0, 200.0, 1250.0),
    (2300.0, 0.0, 700.0),
    (2300.0, 50.0, 0.0),
]


def written(layout, report, units=MILLIMETRES, paper="A4", picture=None) -> PdfReader:
    pages = packet.pages_of(schedules.build(layout), layout, report, units, MADE, picture)
    return PdfReader(io.BytesIO(pdf_file.content(pages, paper)))


def text_of(page) -> str:
    return re.sub(r"\s+", " ", page.extract_text())


def png(width: int, height: int) -> bytes:
    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    rows = b"".join(b"\0" + b"\x40\x80\xc0" * width for _ in range(height))
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", head)
        + chunk(b"IDAT", zlib.compress(rows))
        + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize("paper", ["A4", "letter"])
@pytest.mark.parametrize("units", [MILLIMETRES, INCH_FRACTIONS], ids=["mm", "fractions"])
def test_every_tube_has_one_page_of_the_right_size(job, report, paper, units):
    pdf = written(job, report, units, paper)
    texts = [text_of(page) for page in pdf.pages]
    covers = len(texts) - len(job.tubes)
    assert covers in (2, 3)
    for tube, text in zip(job.tubes.values(), texts[covers:], strict=True):
        assert text.startswith(tube.name)
    for page in pdf.pages:
        assert [float(side) for side in page.mediabox[2:]] == pytest.approx(pdf_file.PAPERS[paper], abs=0.01)


def test_pages_are_numbered_and_the_list_points_to_them(job, report):
    pdf = written(job, report)
    count = len(pdf.pages)
    for number, page in enumerate(pdf.pages, 1):
        assert f"page {number} of {count}" in text_of(page)
    assert [entry.title for entry in pdf.outline] == [
        "Test job",
        "Measures and sizes",
        "sill",
        "rail",
        "=hoop()",
        "knot",
    ]
    covers = count - len(job.tubes)
    cover = " ".join(text_of(page) for page in pdf.pages[:covers])
    assert re.search(rf"rail 44.45 × 2.41 mm 2 [\d. ]+ {covers + 2} ", cover)


def test_a_bent_page_holds_marks_turns_and_angles(job, report):
    record = schedules.build(job).records[1]
    page = text_of(written(job, report).pages[-3])
    for step in steps.of(record, job, MILLIMETRES):
        assert f" {step.mark:.0f} " in page
    for words in ("first bend", "START leads", "View A", "View B", "GEOMETRY ONLY", "tail", "dial, from"):
        assert words in page
    assert re.search(r"(anti)?clockwise", page)
    assert "no strength or safety claim" in page


def test_end_first_and_turning_round_are_on_the_paper(job, report):
    first = written(edits.set_bend_from(job, list(job.tubes), "end"), report)
    assert "END LEADS FIRST" in text_of(first.pages[-3])
    both = written(edits.set_bend_from(job, list(job.tubes), "middle"), report)
    assert "Turn the tube end for end: now the END leads" in text_of(both.pages[-3])


def test_a_new_batch_is_on_the_cover_and_on_each_bent_page(job, report, with_trials):
    pdf = written(with_trials(job, on_rack="8"), report)
    texts = [text_of(page) for page in pdf.pages]
    assert "CHECK BEND FIRST" in texts[0]
    assert all("CHECK BEND FIRST" in texts[i] for i in (-3, -2))
    assert "CHECK BEND FIRST" not in texts[-4]


@pytest.mark.parametrize("paper", ["A4", "letter"])
@pytest.mark.parametrize("units", [MILLIMETRES, INCHES, INCH_FRACTIONS], ids=["mm", "inches", "fractions"])
@pytest.mark.parametrize("way", ["start", "end", "middle"])
def test_a_tube_of_four_bends_keeps_to_one_page(empty, with_trials, way, units, paper):
    layout, tube = edits.add_tube(empty, FOUR_BENDS, STOCK, "hoop")
    layout = edits.set_bend_from(with_trials(layout, on_rack="8"), [tube], way)
    pdf = written(layout, findings.Report(checked=frozenset([tube])), units, paper)
    assert sum("hoop" in text_of(page)[:5] for page in pdf.pages) == 1


@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_the_steps_of_eight_bends_stand_together_on_one_of_two_papers(empty, paper):
    corners = [(i * 520.0, 300.0 * (i % 2), 150.0 * (i % 3)) for i in range(10)]
    layout, tube = edits.add_tube(empty, corners, STOCK, "snake")
    layout = edits.set_bend_from(layout, [tube], "start")
    texts = [text_of(page) for page in written(layout, findings.Report(), paper=paper).pages]
    assert sum("snake" in text[:6] for text in texts) == 2
    rows = steps.of(schedules.build(layout).records[0], layout, MILLIMETRES)
    assert len(rows) == 8
    (steps_on,) = [text for text in texts[-2:] if "START leads" in text]
    assert all(f" {row.mark:.0f} " in steps_on for row in rows)
    assert "GEOMETRY ONLY" in steps_on
    assert all(words in texts[-2] for words in ("Cut the blank to", "View A", "View B"))
    assert "Check after bend" in texts[-1]


def test_a_tube_that_cannot_be_made_says_so_in_place_of_numbers(job, report):
    page = text_of(written(job, report).pages[-1])
    assert "Don't cut, don't bend" in page
    assert "Set this mark" not in page


def test_only_the_fonts_we_ship_are_used_and_embedded(job, report):
    fonts = {
        font.get_object()["/BaseFont"]: "/FontFile2" in font.get_object()["/FontDescriptor"]
        for page in written(job, report).pages
        for font in page["/Resources"]["/Font"].values()
        if "/FontDescriptor" in font.get_object()
    }
    assert fonts
    assert all("DejaVuSansCondensed" in name and embedded for name, embedded in fonts.items())


def test_a_picture_is_on_the_cover(job, report):
    assert len(written(job, report, picture=png(40, 30)).pages[0].images) == 1
    assert len(written(job, report).pages[0].images) == 0


def test_many_bends_and_long_names_and_findings_run_on_to_more_pages(empty):
    corners = [(i * 500.0, 300.0 * (i % 2), 200.0 * (i % 3)) for i in range(25)]
    name = "A name that is far longer than any page is wide " * 4
    layout, tube = edits.add_tube(empty, corners, STOCK, name)
    found = tuple(Finding("x", "warning", f"Finding number {i} of {{tube}}.", (tube,)) for i in range(60))
    pdf = written(layout, findings.Report(findings=found))
    text = " ".join(text_of(page) for page in pdf.pages)
    assert all(text.count(f"Finding number {i} of") == 2 for i in range(60))
    assert "— continued" in text
    assert text.count("Set this mark") >= 2  # the headings stand above the rows on each page


def test_signs_of_other_scripts_and_controls_do_not_stop_it(empty):
    layout, _ = edits.add_tube(empty, [(0.0, 0.0, 0.0), (900.0, 0.0, 0.0)], STOCK, "Ü ß 中 🚙 \x07 \u202e")
    assert "Ü ß" in text_of(written(layout, findings.Report()).pages[-1])


def test_the_same_sheet_gives_the_same_file(job, report):
    pages = packet.pages_of(schedules.build(job), job, report, MILLIMETRES, MADE)
    assert pdf_file.content(pages) == pdf_file.content(pages)


def test_cancelling_leaves_the_old_file_as_it_was(job, report, tmp_path):
    path = tmp_path / "packet.pdf"
    path.write_bytes(b"old")

    def stop(done, doing):
        raise Cancelled

    with pytest.raises(Cancelled):
        pdf_file.write(
            packet.pages_of(schedules.build(job), job, report, MILLIMETRES, MADE), path, "A4", stop
        )
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_number_is_never_parted_from_its_fraction_or_unit():
    for room in range(40, 200, 3):
        for line in ink.wrapped("keep 1 9/16 in here and 12.5 mm there", 11.0, False, float(room)):
            text = line.replace("\u00a0", " ")
            assert not text.startswith(("9/16", "in", "mm")) or room < 60


@pytest.mark.parametrize("tone", ["plain", "small", "caution", "stop", "warning"])
def test_a_heading_never_stands_without_its_words_at_the_foot_of_a_page(tone):
    for count in range(30, 75):
        filling = Text(tuple(f"line {n}" for n in range(count)))
        page = Page("cover", "Job", "Packet", (filling, Text(("first words", "more"), "The heading", tone)))
        sheet = Sheet("Job", "foot", "claim", (page,))
        texts = [text_of(page) for page in PdfReader(io.BytesIO(pdf_file.content(sheet, "A4"))).pages]
        assert ["The heading" in text for text in texts] == ["first words" in text for text in texts], count
