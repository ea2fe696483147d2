"""Cuts on paper and for machines: true size, every line there, the words that keep hands and cars whole."""

import io
import re
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from msgspec.structs import replace
from pypdf import PdfReader

from app import units
from app.export import cut_page, cuts, packet, template_files, template_pdf
from app.export.pdf_file import PAPERS, Paper
from app.export.plan import Plan
from app.export.sheet import Facts, Table, Text
from geometry import trimming
from geometry.errors import GeometryError
from geometry.layout import Body, Layout, Limits, Mesh, Panel
from geometry.shop import templates
from geometry.shop.templates import Template

WING = 60


def trimmed(half: float = 150.0) -> Layout:
    """A flat left wing whose cut is a ring of that radius."""
    corners = np.array(
        [(-700.0, 800.0, 200.0), (700.0, 800.0, 200.0), (700.0, 800.0, 1100.0), (-700.0, 800.0, 1100.0)]
    )
    mesh = Mesh(corners, np.array([[0, 1, 2], [0, 2, 3]], np.int32))
    layout = Layout(
        name="=Sedan",
        bodies={1: Body(1, "shell")},
        panels={WING: Panel(WING, "left <front> wing", 1, mesh)},
        limits=Limits(tyre_margin=25.0),
    )

    def cylinder(points: np.ndarray) -> np.ndarray:
        return np.hypot(points[:, 0], points[:, 2] - 650.0) - half + 25.0

    return trimming.set_trimmed(layout, [trimming.cut_for(layout, WING, cylinder)])


@pytest.fixture(scope="module")
def layout() -> Layout:
    return trimmed()


@pytest.fixture(scope="module")
def cut(layout: Layout) -> Template:
    (template,) = templates.of(layout)
    return template


def test_the_sheet_says_side_length_and_room_and_warns_before_it(layout: Layout, cut: Template) -> None:
    page = cut_page.of("job", [cut], layout, units.MILLIMETRES)
    warning, facts, plan, table, reading = page.blocks
    assert isinstance(warning, Text)
    assert isinstance(facts, Facts)
    assert isinstance(plan, Plan)
    assert isinstance(table, Table)
    assert isinstance(reading, Text)
    assert "both sides" in " ".join(warning.paragraphs)
    assert "local codes" in " ".join(warning.paragraphs)
    assert [fact.value for fact in facts.facts] == [
        "LEFT",
        units.format_length(cut.length, units.MILLIMETRES),
        "25.0 mm",
    ]
    assert facts.facts[1].under == "1 closed line"
    assert len(table.rows) == len(cut.marks)
    assert [row[1].number for row in table.rows] == [mark.along for mark in cut.marks]
    assert "lies flat on the panel" in reading.paragraphs[-1]
    assert "smoothed by up to 2.0 mm" in reading.paragraphs[0]


def test_the_sheet_says_when_paper_is_bent_and_where_there_is_none(cut: Template) -> None:
    bent = replace(cut, strips=(replace(cut.strips[0], off=45.0),))
    said = cut_page.paper_words(bent, units.MILLIMETRES)
    assert said.startswith("The cut has 1 template of the panel laid flat along the line, up to 45.0 mm off")
    part = replace(cut, strips=(replace(cut.strips[0], begins=200.0, ends=cut.length),), count=2, number=2)
    said = cut_page.paper_words(part, units.MILLIMETRES)
    assert "Cut 2 has 1 template that lies flat on the panel. Cut 2 has none from 0.0 mm to 200.0 mm" in said
    none = replace(cut, strips=())
    assert cut_page.paper_words(none, units.MILLIMETRES).startswith("The cut has none from 0.0 mm to")
    assert list(template_pdf._sheets(none, (180.0, 240.0))) == []


def lines_of(data: bytes) -> list[float]:
    """Return the lengths in points of the plain two-point lines that are drawn on the first sheet."""
    content = PdfReader(io.BytesIO(data)).pages[0].get_contents().get_data().decode("latin-1")
    number = r"(-?[\d.]+)"
    found = re.findall(rf"n {number} {number} m {number} {number} l S", content)
    return [float(np.hypot(float(c) - float(a), float(d) - float(b))) for a, b, c, d in found]


@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_the_scale_bars_are_100_mm_and_4_inches_on_every_paper(
    layout: Layout, cut: Template, paper: Paper
) -> None:
    data = template_pdf.content([cut], layout, paper, "job")
    lengths = lines_of(data)
    assert any(length == pytest.approx(100.0 / 25.4 * 72.0, abs=0.01) for length in lengths)
    assert any(length == pytest.approx(4.0 * 72.0, abs=0.01) for length in lengths)
    assert rightmost(data) < PAPERS[paper][0] - template_pdf.MARGIN * 72.0 / 25.4


def rightmost(data: bytes) -> float:
    """Return how far right the plain level lines of the first sheet reach, in points."""
    content = PdfReader(io.BytesIO(data)).pages[0].get_contents().get_data().decode("latin-1")
    below = content[content.rindex("[]") :]  # after the dashed frame: words and scale bars
    number = r"(-?[\d.]+)"
    found = re.findall(rf"n {number} {number} m {number} {number} l S", below)
    return max(max(float(a), float(c)) for a, _, c, _ in found)


def test_the_cut_is_drawn_at_true_size(layout: Layout, cut: Template) -> None:
    reader = PdfReader(io.BytesIO(template_pdf.content([cut], layout, "A4", "job")))
    # A ring of 300 mm with room round it takes two sheets each way, at most.
    assert 2 <= len(reader.pages) <= 4
    content = reader.pages[0].get_contents().get_data().decode("latin-1")
    scales = [
        (float(x), float(y)) for x, y in re.findall(r"([\d.]+) 0 0 ([\d.]+) [\d.-]+ [\d.-]+ cm", content)
    ]
    drawing = max(scales)
    assert drawing == pytest.approx((72.0 / 25.4, 72.0 / 25.4), abs=1e-4)
    words = reader.pages[0].extract_text()
    assert "LEFT: left <front> wing" in words
    assert "print at 100" in words


def test_a_long_name_leaves_room_for_which_cut_it_is(layout: Layout, cut: Template) -> None:
    panel = replace(
        layout.panels[cut.panel], name="a wing with an uncommonly long name, as scans have it, " * 2
    )
    named = replace(layout, panels={**layout.panels, cut.panel: panel})
    second = replace(cut, count=12, number=11)
    words = (
        PdfReader(io.BytesIO(template_pdf.content([second], named, "letter", "job"))).pages[0].extract_text()
    )
    assert "LEFT: a wing with" in words
    assert "…, cut 11" in words


def test_the_svg_is_in_millimetres_and_holds_the_line(layout: Layout, cut: Template) -> None:
    text = template_files.svg(cut.strips[0], "left <front> wing")
    width = float(re.search(r'width="([\d.]+)mm"', text)[1])  # type: ignore[index]
    assert width == pytest.approx(300.0 + 2.0 * template_files.ROOM, abs=0.5)
    assert f'viewBox="0 0 {width:g}' in text
    assert "&lt;front&gt;" in text
    points = re.search(r'id="cut"[^>]*><polyline points="([^"]+)"', text)
    assert points
    drawn = np.array([[float(v) for v in pair.split(",")] for pair in points[1].split()])
    assert np.linalg.norm(np.diff(drawn, axis=0), axis=1).sum() == pytest.approx(cut.length, abs=0.1)


def test_the_dxf_holds_the_line_in_mm_on_its_layer(cut: Template) -> None:
    import ezdxf

    document = ezdxf.read(io.StringIO(template_files.flat_dxf(cut.strips[0])))
    assert document.units == ezdxf.units.MM
    (line,) = document.modelspace().query('LWPOLYLINE[layer=="CUT"]')
    drawn = np.array(line.get_points("xy"))
    assert np.linalg.norm(np.diff(drawn, axis=0), axis=1).sum() == pytest.approx(cut.length)
    assert len(document.modelspace().query('CIRCLE[layer=="MARK"]')) == len(cut.marks)
    space = ezdxf.read(io.StringIO(template_files.space_dxf(cut)))
    (polyline,) = space.modelspace().query("POLYLINE")
    assert np.array([tuple(vertex.dxf.location) for vertex in polyline.vertices]) == pytest.approx(cut.line)


def test_a_packet_holds_templates_only_where_a_panel_is_trimmed(layout: Layout, tmp_path: Path) -> None:
    made = date(2030, 1, 2)
    paths = packet.write_packet(layout, None, tmp_path / "a", units.MILLIMETRES, made=made)
    names = {path.relative_to(tmp_path / "a").as_posix() for path in paths}
    assert {"packet.pdf", "templates.pdf", "templates/cut-lines.csv"} <= names
    assert any(name.endswith("-in-space.dxf") for name in names)
    assert all(path.is_file() for path in paths)
    words = "".join(page.extract_text() for page in PdfReader(tmp_path / "a" / "packet.pdf").pages)
    assert "Before you cut" in words
    assert "Panels to cut for tyres" in words
    whole = trimming.untrimmed(layout, WING)
    plain = packet.write_packet(whole, None, tmp_path / "b", units.MILLIMETRES, made=made)
    assert len(plain) == 4
    assert not (tmp_path / "b" / "templates.pdf").exists()


def test_cuts_can_be_written_by_themselves_and_only_of_trimmed_panels(layout: Layout, tmp_path: Path) -> None:
    paths = cuts.write(layout, {WING}, tmp_path, units.INCHES, "letter", made=date(2030, 1, 2))
    assert {path.name for path in paths} >= {"cuts.pdf", "templates.pdf", "cut-lines.csv"}
    assert all(path.is_file() for path in paths)
    words = " ".join(page.extract_text() for page in PdfReader(tmp_path / "cuts.pdf").pages)
    assert "Before you cut" in words
    assert "lengths in inches" in words
    with pytest.raises(GeometryError, match="no cut to write"):
        cuts.write(trimming.untrimmed(layout, WING), {WING}, tmp_path, units.INCHES)


def test_marks_stand_at_round_steps_of_the_unit(layout: Layout) -> None:
    for unit, every in ((units.MILLIMETRES, 100.0), (units.INCHES, 101.6)):
        (one,) = templates.of(layout, cut_page.MARKS[unit.length])
        assert [mark.along for mark in one.marks[:3]] == pytest.approx([0.0, every, 2.0 * every])


def test_the_points_of_all_lines_come_as_a_table(layout: Layout, cut: Template) -> None:
    table = template_files.points_table([cut], layout)
    assert len(table.rows) == len(cut.line)
    assert [cell.number for cell in table.rows[0][-3:]] == pytest.approx(cut.line[0])
