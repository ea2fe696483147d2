"""What paper and scripts say of sizes and measures: the same as the layout, in the units of the sheet."""

import json
from datetime import date

import pytest
from msgspec.structs import replace
from pypdf import PdfReader

from app.export import json_file, measures_page, packet
from app.export.sheet import Table
from app.units import INCHES, MILLIMETRES
from geometry import axles, edits
from geometry.aids import FreeSpot, Measure, TubeSpot
from geometry.layout import Layout
from geometry.measuring import kept, sizes, values


def tube_named(layout: Layout, name: str) -> int:
    return next(tube.id for tube in layout.tubes.values() if tube.name == name)


@pytest.fixture
def measured(job: Layout) -> Layout:
    """Three measures, one of them not to be printed."""
    sill, rail = tube_named(job, "sill"), tube_named(job, "rail")
    job, _ = kept.add(job, "height", (TubeSpot(rail, 600.0),))
    job, _ = kept.add(job, "angle", (TubeSpot(sill, 200.0), TubeSpot(rail, 300.0)))
    job, hidden = kept.add(job, "distance", (FreeSpot((0.0, 0.0, 0.0)), FreeSpot((0.0, 3.0, 4.0))))
    return kept.set_printed(job, hidden, False)


def tables(layout: Layout, units=MILLIMETRES) -> dict[str, list[list[str]]]:
    page = measures_page.of("Test job", layout, units)
    return {
        block.heading: [[cell.text for cell in row] for row in block.rows]
        for block in page.blocks
        if isinstance(block, Table)
    }


def test_sizes_stand_in_the_units_of_the_sheet(job: Layout) -> None:
    cage = sizes.of(job).cage
    row = tables(job)["Overall sizes"][0]
    assert row == ["Length", "—", f"{cage.length:.1f}", f"{cage.length:.1f}", "—"]
    inches = tables(job, INCHES)["Overall sizes"][0][2]
    assert float(inches) == pytest.approx(cage.length / 25.4, abs=0.01)


def test_only_what_is_printed_stands_on_the_page(measured: Layout) -> None:
    rows = tables(measured)["Measured"]
    assert [row[0] for row in rows] == ["Height 1", "Angle 1"]
    assert rows[0][1].endswith("mm")
    assert "underside" in rows[0][2]
    assert rows[0][3] == "rail"
    assert rows[1][1:] == ["90.0°", "turn 90.0°", "sill – rail"]


def test_without_axles_no_angles_are_claimed(job: Layout) -> None:
    assert "What it drives up, off and over" not in tables(job)


def test_with_axles_the_angles_stand_there_with_and_without_the_cage(job: Layout) -> None:
    for _ in range(2):
        job, _ = axles.add(job)
    rows = tables(job)["What it drives up, off and over"]
    assert [row[0] for row in rows] == ["Approach", "Departure", "Breakover"]
    assert rows[0][1] == "nothing in the way"


def test_the_packet_has_the_page_behind_its_cover(measured: Layout, tmp_path) -> None:
    paths = packet.write_packet(measured, None, tmp_path, MILLIMETRES, made=date(2026, 1, 2))
    pages = [page.extract_text() for page in PdfReader(paths[0]).pages]
    words = next(text for text in pages if "Overall sizes" in text)
    for said in ("Overall sizes", "Height 1", "Angle 1", "90.0°", "Measured"):
        assert said in words
    assert "Distance 1" not in words


def test_scripts_get_measures_in_mm_and_degrees(measured: Layout) -> None:
    rows = [json_file.measure_row(measure, measured) for measure in measured.measures.values()]
    json.dumps(rows, allow_nan=False)
    assert [(row["kind"], row["unit"], row["printed"]) for row in rows] == [
        ("height", "mm", True),
        ("angle", "deg", True),
        ("distance", "mm", False),
    ]
    assert rows[1]["value"] == pytest.approx(90.0)
    assert rows[2]["value"] == pytest.approx(5.0)
    assert {part["name"]: part["value"] for part in rows[2]["parts"]} == {"x": 0.0, "y": 3.0, "z": 4.0}
    assert rows[0]["between"] == ["rail"]


def test_scripts_are_told_why_a_measure_has_no_value(job: Layout) -> None:
    sill = tube_named(job, "sill")
    lost = Measure(900, "Gap 1", "gap", (TubeSpot(sill, 1.0), TubeSpot(sill, 2.0)))
    row = json_file.measure_row(lost, job)
    assert row["value"] is None
    assert row["why"] == values.of(job, lost).why


def test_scripts_get_sizes_and_angles(job: Layout, empty: Layout) -> None:
    row = json_file.sizes_row(job)
    assert row["body"] is None
    assert row["with_cage"] is None
    assert row["cage"]["width_mm"] == pytest.approx(sizes.of(job).cage.width)
    for _ in range(2):
        empty, _ = axles.add(empty)
    stock = next(iter(empty.stocks))
    job, _ = edits.add_tube(empty, [(900.0, -500.0, 500.0), (900.0, 500.0, 500.0)], stock, "nose")
    row = json_file.sizes_row(job)
    assert row["without_cage"]["approach_deg"] is None
    assert 0.0 < row["with_cage"]["approach_deg"] < 90.0
    assert row["with_cage"]["touches"] == {"approach": "nose", "departure": None, "breakover": None}
    json.dumps(row, allow_nan=False)


def test_a_measure_without_a_value_prints_why(job: Layout) -> None:
    sill = tube_named(job, "sill")
    lost = Measure(job.next_id, "Gap 1", "gap", (TubeSpot(sill, 1.0), TubeSpot(sill, 2.0)))
    layout = replace(job, next_id=job.next_id + 1, measures={lost.id: lost})
    ((name, number, said, _),) = tables(layout)["Measured"]
    assert (name, number) == ("Gap 1", "—")
    assert "another" in said
