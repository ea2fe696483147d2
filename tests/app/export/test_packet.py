"""The whole packet in one folder."""

import csv
import json
import math
import re
from datetime import date

import pytest
from pypdf import PdfReader

from app.export import json_file, packet
from app.units import INCHES, MILLIMETRES
from geometry.checks.finding import Finding

MADE = date(2024, 5, 17)


def test_a_packet_is_a_pdf_two_tables_and_json(job, report, tmp_path):
    folder = tmp_path / "new" / "folder"
    paths = packet.write_packet(job, report, folder, MILLIMETRES, made=MADE)
    assert [path.name for path in paths] == ["packet.pdf", "schedule.csv", "bends.csv", "schedule.json"]
    assert sorted(folder.iterdir()) == sorted(paths)
    assert len(PdfReader(paths[0]).pages) >= 1 + len(job.tubes)
    lines = paths[1].read_text(encoding="utf-8-sig").splitlines()
    assert len(lines) == 1 + len(job.tubes)
    assert lines[3].startswith("'=hoop(),yes,")


def test_writing_again_replaces_everything(job, report, tmp_path):
    first = [p.read_bytes() for p in packet.write_packet(job, report, tmp_path, MILLIMETRES, made=MADE)]
    packet.write_packet(job, report, tmp_path, INCHES, "letter", made=MADE)
    again = [p.read_bytes() for p in packet.write_packet(job, report, tmp_path, MILLIMETRES, made=MADE)]
    assert first == again
    assert len(list(tmp_path.iterdir())) == 4


def test_without_a_report_the_layout_is_checked_first(job, report, tmp_path):
    one = packet.write_packet(job, None, tmp_path / "a", MILLIMETRES, made=MADE)
    other = packet.write_packet(job, report, tmp_path / "b", MILLIMETRES, made=MADE)
    assert [p.read_bytes() for p in one] == [p.read_bytes() for p in other]


def test_progress_only_grows_and_ends_at_one(job, report, tmp_path):
    heard = []
    packet.write_packet(job, report, tmp_path, MILLIMETRES, progress=lambda done, _: heard.append(done))
    assert heard == sorted(heard)
    assert heard[-1] == 1.0


def test_json_tables_and_pages_hold_the_same_bends_in_the_same_order(job, report, tmp_path):
    paths = packet.write_packet(job, report, tmp_path, MILLIMETRES, made=MADE)
    record = json.loads(paths[3].read_text())
    rail = record["tubes"][1]
    text = re.sub(r"\s+", " ", PdfReader(paths[0]).pages[-3].extract_text())
    with paths[2].open(encoding="utf-8-sig", newline="") as lines:
        rows = [row for row in csv.DictReader(lines) if row["tube"] == "rail"]
    assert [row["bend"] for row in rows] == [str(step["bend"]) for step in rail["steps"]]
    for row, step in zip(rows, rail["steps"], strict=True):
        assert float(row["set mark (mm)"]) == pytest.approx(step["set_mark_mm"], abs=1.0)
        assert f" {float(row['set mark (mm)']):.0f} " in text
        assert f"{step['angle_deg']:.1f}°" in text
    assert {found["rule"] for found in record["findings"]} == {found.rule for found in report.findings}


@pytest.mark.parametrize(
    ("quantity", "value", "unit", "written"),
    [
        ("length", 12.5, "mm", 12.5),
        ("angle", math.radians(45), "deg", 45.0),
        ("ratio", 2.9, "ratio", 2.9),
        (None, None, None, None),
        ("length", math.inf, "mm", None),
    ],
)
def test_a_finding_for_scripts_is_in_mm_and_degrees(job, quantity, value, unit, written):
    tube = next(iter(job.tubes))
    finding = Finding("a.b", "warning", "{tube}.", (tube, 999), value=value, quantity=quantity)
    row = json_file.finding_row(finding, job)
    assert row["value"] == (None if written is None else pytest.approx(written))
    assert row["unit"] == unit
    assert row["tubes"] == ["sill", None]
    assert row["message"] == "sill."
    json.dumps(row, allow_nan=False)


def test_every_finding_of_a_real_check_can_be_written(job, report):
    assert report.findings
    for finding in report.findings:
        row = json_file.finding_row(finding, job)
        assert set(row) >= {
            "rule",
            "severity",
            "tubes",
            "nodes",
            "panels",
            "value",
            "limit",
            "unit",
            "at",
            "message",
        }
        assert "—" not in row["message"]
