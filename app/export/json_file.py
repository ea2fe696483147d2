"""Write the schedule as JSON for scripts: mm and degrees, the unit in each key or beside the value."""

import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from app import wording
from app.export import beside
from app.units import MILLIMETRES
from geometry.checks.clearance import Clearance
from geometry.checks.finding import Finding
from geometry.checks.findings import Report
from geometry.layout import Layout
from geometry.shop import schedule as schedules
from geometry.shop.schedule import Schedule

UNIT_OF = {"length": "mm", "angle": "deg", "ratio": "ratio", None: None}


def write(schedule: Schedule, layout: Layout, report: Report, path: Path) -> None:
    """Write beside the target, then replace it."""
    record = schedules.to_json(
        schedule, layout, [finding_row(finding, layout) for finding in report.findings]
    )
    content = json.dumps(record, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
    beside.write(path, content.encode())


def finding_row(finding: Finding, layout: Layout) -> dict[str, Any]:
    """Return a finding for scripts: names of tubes and panels, ids of nodes, mm or degrees."""
    return {
        "rule": finding.rule,
        "severity": finding.severity,
        "tubes": [_name(layout.tubes, id) for id in finding.tubes],
        "nodes": list(finding.nodes),
        "panels": [_name(layout.panels, id) for id in finding.panels],
        "value": _number(finding.value, finding.quantity),
        "limit": _number(finding.limit, finding.quantity),
        "unit": UNIT_OF[finding.quantity],
        "at": None if finding.at is None else list(finding.at),
        "message": wording.say(finding, layout, MILLIMETRES),
        "mend": None if finding.mend is None else wording.say_mend(finding.mend, layout, MILLIMETRES),
    }


def clearance_row(row: Clearance, layout: Layout) -> dict[str, Any]:
    """Return a clearance for scripts, in mm."""
    return {
        "tube": _name(layout.tubes, row.tube),
        "panel": _name(layout.panels, row.panel),
        "clearance_mm": row.clearance,
        "station_mm": row.station,
        "tube_point": list(row.tube_point),
        "panel_point": list(row.panel_point),
    }


def _name(things: Mapping[int, Any], id: int) -> str | None:
    return str(things[id].name) if id in things else None


def _number(value: float | None, quantity: str | None) -> float | None:
    if value is None or not math.isfinite(value):
        return None
    return math.degrees(value) if quantity == "angle" else value
