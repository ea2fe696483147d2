"""What the bender and the saw need to know of each tube. Millimetres, radians, kilograms."""

import math
from collections.abc import Sequence
from typing import Any, Literal

from msgspec import Struct

from geometry.layout import Die, Layout, Stock, Tube
from geometry.shop import bench
from geometry.shop.bench import Check
from geometry.tube import bending, centreline, plan, springback, stock
from geometry.tube.centreline import Centreline
from geometry.tube.plan import Plan, Step
from geometry.tube.trials import Calibration
from geometry.vectors import Floats, Vec3, angle_between


class End(Struct, frozen=True):
    """What a tube's end meets, and the angle between the two tubes there."""

    kind: Literal["free", "joint", "landing", "sleeve"]
    tube: int | None = None
    angle: float | None = None


class ScheduleBend(Struct, frozen=True):
    """One bend along the tube; start and end are marks from the sawn start end of the blank."""

    number: int
    straight_before: float
    rotation: float
    dial: float  # the running rotation, in [0, 2 pi)
    angle: float
    clr: float
    start: float
    end: float


class TubeRecord(Struct, frozen=True, eq=False):
    """Everything the shop needs of one tube."""

    tube: int
    name: str
    stock: Stock
    die: Die | None
    plan: Plan  # the same tube in the order of bending
    centreline: float  # length of the finished tube, end to end
    start_allowance: float  # as cut: longer than asked where the die needs more to hold
    end_allowance: float
    start_trim: float  # marks of the trim lines, from the sawn start end
    end_trim: float
    blank: float
    stretch: float  # how much longer than its blank bending makes the tube
    mass: float  # of the finished tube
    nodes: tuple[Vec3, ...]
    bends: tuple[ScheduleBend, ...]
    last_straight: float
    ends: tuple[End, End]
    makeable: bool
    outer_wall: float | None  # estimate of what a bend leaves at its outside; None: there is no bend
    line: Centreline


class StockTotal(Struct, frozen=True):
    """What a job takes of one tube size."""

    stock: Stock
    count: int
    blank: float
    mass: float


class Schedule(Struct, frozen=True, eq=False):
    """The records of a job in the order of its tubes."""

    job: str
    records: tuple[TubeRecord, ...]
    by_stock: tuple[StockTotal, ...]


def build(layout: Layout) -> Schedule:
    """Return the fabrication record of every tube and the totals of every tube size."""
    records = tuple(record(layout, tube) for tube in layout.tubes.values())
    return Schedule(layout.name, records, _totals(layout, records))


def record(layout: Layout, tube: Tube) -> TubeRecord:
    """Return the fabrication record of one tube."""
    material, die = layout.stocks[tube.stock], bending.die_of(layout, tube)
    line, planned = centreline.of(layout, tube), plan.of(layout, tube)
    data = bending.bend_data(line.points, bending.clr_of(layout, tube))
    return TubeRecord(
        tube=tube.id,
        name=tube.name,
        stock=material,
        die=die,
        plan=planned,
        centreline=line.length,
        start_allowance=planned.feeding.start_allowance,
        end_allowance=planned.feeding.end_allowance,
        start_trim=planned.start_trim,
        end_trim=planned.end_trim,
        blank=planned.blank,
        stretch=planned.stretch,
        mass=stock.mass(material, line.length),
        nodes=line.points,
        bends=_bends(line, data, planned),
        last_straight=data.last_straight,
        ends=(_end(layout, tube, at_start=True), _end(layout, tube, at_start=False)),
        makeable=line.is_makeable,
        outer_wall=springback.wall_left(material, bending.clr_of(layout, tube)) if line.bends else None,
        line=line,
    )


def to_json(
    schedule: Schedule, layout: Layout, findings: Sequence[dict[str, Any]] | None = None
) -> dict[str, Any]:
    """Return the schedule for scripts: millimetres and degrees, the unit in each key."""
    tubes = [_tube_json(row, layout) for row in schedule.records]
    totals = [
        {
            "stock": total.stock.name,
            "count": total.count,
            "blank_mm": total.blank,
            "mass_kg": total.mass,
        }
        for total in schedule.by_stock
    ]
    rows: dict[str, Any] = {"job": schedule.job, "tubes": tubes, "by_stock": totals}
    return rows if findings is None else {**rows, "findings": list(findings)}


def _bends(line: Centreline, data: bending.BendData, planned: Plan) -> tuple[ScheduleBend, ...]:
    """Return the bends along the tube with their running dial and their marks."""
    rows, dial = [], 0.0
    taken = _taken(line, planned)
    for number, (row, (start, end)) in enumerate(zip(data.rows, taken, strict=True), 1):
        dial = plan.reading(dial + row.rotation)
        rows.append(
            ScheduleBend(number, row.straight_before, row.rotation, dial, row.angle, row.clr, start, end)
        )
    return tuple(rows)


def _taken(line: Centreline, planned: Plan) -> list[tuple[float, float]]:
    """Return where each bend takes the blank; of a tube without steps, where it is drawn."""
    if planned.steps:
        return [(step.start, step.end) for step in sorted(planned.steps, key=lambda step: step.bend)]
    start = planned.start_trim
    return [(start + bend.start, start + bend.end) for bend in line.bends]


def _end(layout: Layout, tube: Tube, at_start: bool) -> End:
    """Return what the first or last node of a tube meets."""
    node = layout.nodes[tube.nodes[0 if at_start else -1]]
    inwards = _inwards(centreline.of(layout, tube), at_start)
    if node.landing is not None:
        host = layout.tubes[node.landing.tube]
        along = centreline.direction_at(centreline.of(layout, host), node.landing.station)[0]
        return End("landing", host.id, _acute(inwards, along))
    others = [other for other in layout.tubes.values() if other.id != tube.id and node.id in other.nodes]
    if not others:
        return End("free")
    if node.sleeve and len(others) == 1 and node.id in (others[0].nodes[0], others[0].nodes[-1]):
        return End("sleeve", others[0].id, _joint_angle(layout, others[0], node.id, inwards))
    # A tube that runs through is the one this end is cut to fit.
    other = min(others, key=lambda other: node.id in (other.nodes[0], other.nodes[-1]))
    return End("joint", other.id, _joint_angle(layout, other, node.id, inwards))


def _joint_angle(layout: Layout, other: Tube, node: int, inwards: Floats) -> float:
    """Return the angle to another tube at a shared node: of two ends in [0, pi], else the acute one."""
    line = centreline.of(layout, other)
    if node in (other.nodes[0], other.nodes[-1]):
        return angle_between(inwards, _inwards(line, node == other.nodes[0]))
    station, _ = centreline.nearest(line, layout.nodes[node].position)
    return _acute(inwards, centreline.direction_at(line, station)[0])


def _inwards(line: Centreline, at_start: bool) -> Floats:
    """Return the direction from an end into its tube."""
    along: Floats = centreline.direction_at(line, 0.0 if at_start else line.length)[0]
    return along if at_start else -along


def _acute(a: Floats, b: Floats) -> float:
    angle = angle_between(a, b)
    return min(angle, math.pi - angle)


def _totals(layout: Layout, records: Sequence[TubeRecord]) -> tuple[StockTotal, ...]:
    """Return the totals of each tube size that is used, in the order of the rack."""
    totals = []
    for material in layout.stocks.values():
        rows = [row for row in records if row.stock.id == material.id]
        if rows:
            blank, mass = sum(row.blank for row in rows), sum(row.mass for row in rows)
            totals.append(StockTotal(material, len(rows), blank, mass))
    return tuple(totals)


def _tube_json(row: TubeRecord, layout: Layout) -> dict[str, Any]:
    return {
        "name": row.name,
        "stock": row.stock.name,
        "od_mm": row.stock.od,
        "wall_mm": row.stock.wall,
        "die": row.die.name if row.die else None,
        "centreline_mm": row.centreline,
        "start_allowance_mm": row.start_allowance,
        "end_allowance_mm": row.end_allowance,
        "start_trim_mm": row.start_trim,
        "end_trim_mm": row.end_trim,
        "blank_mm": row.blank,
        "stretch_mm": row.stretch,
        "mass_kg": row.mass,
        "makeable": row.makeable,
        "estimated_outer_wall_mm": row.outer_wall,
        "nodes": [list(node) for node in row.nodes],
        "bends": [_bend_json(bend, row.plan) for bend in row.bends],
        "last_straight_mm": row.last_straight,
        "ends": [_end_json(end, layout) for end in row.ends],
        "steps": _steps_json(row),
        "trial_bends": _calibration_json(row.plan.calibration),
    }


def _bend_json(bend: ScheduleBend, planned: Plan) -> dict[str, float | None]:
    step = next((step for step in planned.steps if step.bend == bend.number), None)
    return {
        "straight_before_mm": bend.straight_before,
        "rotation_deg": math.degrees(bend.rotation),
        "dial_deg": math.degrees(bend.dial),
        "angle_deg": math.degrees(bend.angle),
        "clr_mm": bend.clr,
        "start_mm": bend.start,
        "end_mm": bend.end,
        "set_mark_mm": step.mark if step else None,
        "set_angle_deg": math.degrees(step.set_angle) if step else None,
    }


def _steps_json(row: TubeRecord) -> list[dict[str, Any]]:
    checks = bench.of(row.plan, row.stock.od)
    return [_step_json(step, taken) for step, taken in zip(row.plan.steps, checks, strict=True)]


def _step_json(step: Step, checks: Sequence[Check]) -> dict[str, Any]:
    by_kind = {check.kind: check.value for check in checks}
    return {
        "bend": step.bend,
        "leads": step.leads,
        "turned_round": step.is_turned_round,
        "set_mark_mm": step.mark,
        "zero_bend": step.turned_from,
        "rotation_deg": math.degrees(step.rotation),
        "dial_deg": math.degrees(step.dial),
        "angle_deg": math.degrees(step.angle),
        "set_angle_deg": math.degrees(step.set_angle),
        "lead_mm": step.lead,
        "tail_mm": step.tail,
        "straight_mm": by_kind.get("straight"),
        "included_deg": math.degrees(by_kind["included"]),
        "chord_mm": by_kind["chord"],
        "height_mm": by_kind.get("height"),
        "across_mm": by_kind.get("across"),
    }


def _calibration_json(known: Calibration) -> dict[str, Any]:
    return {
        "state": known.state,
        "batch": known.batch,
        "made": known.made,
        "count": len(known.trials),
        "mark_at": known.mark_at,
        "offset_mm": known.offset.value,
        "clr_mm": known.clr.value,
        "consumed_mm_per_rad": known.consumed.value,
        "dial_at_zero_deg": math.degrees(known.dial_at_zero.value),
        "dial_per_angle": known.dial_per_angle.value,
    }


def _end_json(end: End, layout: Layout) -> dict[str, Any]:
    return {
        "kind": end.kind,
        "tube": None if end.tube is None else layout.tubes[end.tube].name,
        "angle_deg": None if end.angle is None else math.degrees(end.angle),
    }
