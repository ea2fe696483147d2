"""Write the schedule as JSON for scripts: mm and degrees, the unit in each key or beside the value."""

import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from app import measure_words, wording
from app.export import beside
from app.units import MILLIMETRES
from geometry.aids import Measure
from geometry.checks import moving, standoff
from geometry.checks.clearance import Clearance
from geometry.checks.finding import Finding
from geometry.checks.findings import Report
from geometry.checks.groups import Group
from geometry.checks.moving import Touch
from geometry.checks.tyres import Bite, TyreClearance
from geometry.checks.zones import InZone, PastLimit
from geometry.layout import Hinge, Layout
from geometry.measuring import ramps, sizes, values
from geometry.measuring.ramps import Ramp, Ramps
from geometry.measuring.sizes import Size
from geometry.measuring.values import NoValue
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
    """Return a clearance for scripts, in mm: raw, and as it is judged."""
    standing = standoff.standing(layout, row)
    return {
        "tube": _name(layout.tubes, row.tube),
        "panel": _name(layout.panels, row.panel),
        "clearance_mm": row.clearance,
        "safe_mm": standing.safe,
        "movement_mm": row.movement,
        "closest_mm": standing.wanted.closest,
        "farthest_mm": standing.wanted.farthest,
        "band": standing.band,
        "station_mm": row.station,
        "tube_point": list(row.tube_point),
        "panel_point": list(row.panel_point),
    }


def tie_row(group: Group, layout: Layout) -> dict[str, Any]:
    """Return what a rigid group of tubes is tied to, for scripts."""
    return {
        "tubes": [_name(layout.tubes, id) for id in group.tubes],
        "tied_to": list(group.ties),
        "to_body": [_name(layout.tubes, id) for id in group.to_body],
        "to_frame": [_name(layout.tubes, id) for id in group.to_frame],
        "welded": [
            {"tube": _name(layout.tubes, tube), "panel": _name(layout.panels, panel)}
            for tube, panel in group.welded
        ],
    }


def tyre_row(row: TyreClearance, layout: Layout) -> dict[str, Any]:
    """Return the room a tube leaves to what a tyre sweeps through, for scripts, in mm."""
    return {
        "axle": _name(layout.axles, row.axle),
        "side": row.side,
        "tube": _name(layout.tubes, row.tube),
        "clearance_mm": row.clearance,
        "station_mm": row.station,
        "tube_point": list(row.tube_point),
        "tyre_point": list(row.tyre_point),
    }


def bite_row(bite: Bite, layout: Layout) -> dict[str, Any]:
    """Return the room a panel leaves to what a tyre sweeps through, for scripts, in mm."""
    return {
        "axle": _name(layout.axles, bite.axle),
        "side": bite.side,
        "panel": _name(layout.panels, bite.panel),
        "clearance_mm": layout.limits.tyre_margin - bite.depth,
        "missing_mm": bite.depth,
        "at": list(bite.at),
    }


def zone_row(row: InZone, layout: Layout) -> dict[str, Any]:
    """Return how deep a tube reaches into an access zone, for scripts, in mm."""
    zone = layout.zones.get(row.zone)
    return {
        "zone": _name(layout.zones, row.zone),
        "purpose": zone.purpose if zone is not None else None,
        "tube": _name(layout.tubes, row.tube),
        "depth_mm": row.depth,
        "station_mm": row.station,
        "at": list(row.at),
    }


def limit_row(row: PastLimit, layout: Layout) -> dict[str, Any]:
    """Return how far a tube reaches past a limit plane (negative: before it), for scripts, in mm."""
    return {
        "limit": _name(layout.references, row.reference),
        "tube": _name(layout.tubes, row.tube),
        "past_mm": row.past,
        "station_mm": row.station,
        "at": list(row.at),
    }


def measure_row(measure: Measure, layout: Layout) -> dict[str, Any]:
    """Return a kept measure for scripts: its value in mm or degrees, or null and why."""
    value = values.of(layout, measure)
    row: dict[str, Any] = {
        "name": measure.name,
        "kind": measure.kind,
        "between": [measure_words.spot_words(layout, spot) for spot in measure.spots],
        "printed": measure.printed,
    }
    if isinstance(value, NoValue):
        return row | {"value": None, "unit": None, "parts": [], "points": [], "why": value.why}
    parts = [
        {"name": p.name, "value": _number(p.number, p.quantity), "unit": UNIT_OF[p.quantity]}
        for p in value.parts
    ]
    return row | {
        "value": _number(value.number, value.quantity),
        "unit": UNIT_OF[value.quantity],
        "parts": parts,
        "points": [list(point) for point in value.ends],
        "why": None,
    }


def sizes_row(layout: Layout) -> dict[str, Any]:
    """Return overall sizes in mm, and the angles that the car drives in degrees, for scripts."""
    found = sizes.of(layout)
    bare = ramps.of_body(layout)
    caged = ramps.with_the_cage(layout, bare)
    return {
        "body": _size(found.body),
        "cage": _size(found.cage),
        "both": _size(found.both),
        "with_tyres": _size(found.whole),
        "without_cage": _ramps(layout, bare),
        "with_cage": _ramps(layout, caged),
    }


def _size(size: Size | None) -> dict[str, float] | None:
    if size is None:
        return None
    fields = ("length", "width", "height", "low", "high")
    return {f"{field}_mm": getattr(size, field) for field in fields}


def _ramps(layout: Layout, found: Ramps | None) -> dict[str, Any] | None:
    """Return angles; null where nothing is in the way before a right angle."""
    if found is None:
        return None
    angles = {"approach": found.approach, "departure": found.departure, "breakover": found.breakover}
    return {
        f"{name}_deg": None if ramp.at is None else math.degrees(ramp.angle) for name, ramp in angles.items()
    } | {"touches": {name: _touched(layout, ramp) for name, ramp in angles.items()}}


def _touched(layout: Layout, ramp: Ramp) -> str | None:
    if ramp.touches is None:
        return None
    return _name(layout.tubes, ramp.touches) or _name(layout.panels, ramp.touches)


def touch_row(touch: Touch, layout: Layout) -> dict[str, Any]:
    """Return where a panel that opens comes too near to a tube, for scripts, in mm and degrees."""
    carrier = moving.carrier_of(layout, touch.panel)
    turns = isinstance(carrier.motion, Hinge)
    full = moving.full_opening(carrier.motion) if carrier.motion is not None else None

    def opening(value: float | None) -> float | None:
        return math.degrees(value) if turns and value is not None else value

    return {
        "panel": _name(layout.panels, touch.panel),
        "carrier": carrier.name,
        "tube": _name(layout.tubes, touch.tube),
        "at": opening(touch.at),
        "touches_at": opening(touch.touches_at),
        "full": opening(full),
        "unit": "deg" if turns else "mm",
        "least_mm": touch.least,
        "station_mm": touch.station,
        "tube_point": list(touch.tube_point),
    }


def _name(things: Mapping[int, Any], id: int) -> str | None:
    return str(things[id].name) if id in things else None


def _number(value: float | None, quantity: str | None) -> float | None:
    if value is None or not math.isfinite(value):
        return None
    return math.degrees(value) if quantity == "angle" else value
