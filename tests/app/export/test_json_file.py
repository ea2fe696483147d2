import json
import math
from pathlib import Path

import pytest

from app.export import json_file
from geometry import edits, rack
from geometry.checks import findings
from geometry.checks.finding import Finding, Mend
from geometry.layout import Layout
from geometry.shop import schedule


def bent() -> tuple[Layout, int]:
    """Return a job with one tube of the starting rack, bent twice."""
    layout = rack.with_starting_rack(Layout(name="Test car"))
    stock = next(row for row in layout.stocks.values() if row.name == "1.75 × 0.120 in")
    points = [(0.0, -700.0, 0.0), (0.0, -700.0, 1100.0), (0.0, 700.0, 1100.0), (0.0, 700.0, 0.0)]
    return edits.add_tube(layout, points, stock.id)


def test_the_file_holds_the_schedule_and_what_the_checks_say(tmp_path: Path) -> None:
    layout, _ = bent()
    report, built = findings.check_layout(layout), schedule.build(layout)
    json_file.write(built, layout, report, tmp_path / "schedule.json")
    read = json.loads((tmp_path / "schedule.json").read_text(encoding="utf-8"))
    rows = [json_file.finding_row(finding, layout) for finding in report.findings]
    assert read == json.loads(json.dumps(schedule.to_json(built, layout, rows)))
    assert read["tubes"][0]["steps"][1]["across_mm"] == pytest.approx(1444.45)
    assert math.isclose(read["tubes"][0]["blank_mm"], built.records[0].blank)


def test_a_finding_tells_its_mend_as_the_button_does() -> None:
    layout, tube = bent()
    mend = Mend("move apart", "Move the corners of {tube} apart by {amount}", tube, amount=12.0)
    finding = Finding("bend.straight_short", "warning", "Short.", (tube,), mend=mend)
    assert json_file.finding_row(finding, layout)["mend"] == "Move the corners of T1 apart by 12.0 mm"


def test_a_finding_that_no_button_mends_has_none() -> None:
    layout, tube = bent()
    row = json_file.finding_row(Finding("bend.no_die", "warning", "No die.", (tube,)), layout)
    assert row["mend"] is None
