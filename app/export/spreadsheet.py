"""The packet's numbers as tables for spreadsheets: the same as on the sheets."""

import math

from app import units as units_of
from app import wording
from app.export import steps, tube_page
from app.export.sheet import Cell, Column, Table
from app.export.steps import BenderStep, Trust
from app.units import Units
from geometry.checks.findings import Report
from geometry.layout import Layout
from geometry.shop import bench
from geometry.shop.bench import Check
from geometry.shop.schedule import Schedule, TubeRecord

TRUST_WORDS: dict[Trust, str] = {
    "told": "by trial bends",
    "about": "about",
    "at least": "lower bound only",
}


def tubes(schedule: Schedule, layout: Layout, report: Report, units: Units) -> Table:
    """Return one row a tube."""
    length, mass = units_of.length_unit(units), units_of.mass_unit(units)
    titles = [
        "tube", "can be made", "stock", f"OD ({length})", f"wall ({length})", "batch", "die", "bender",
        f"CLR ({length})", "trial bends", "bends", f"blank ({length})", f"trim line at START ({length})",
        f"trim line at END ({length})", f"start allowance ({length})", f"end allowance ({length})",
        f"finished length ({length})", f"last straight ({length})", f"mass ({mass})", "start end", "end",
        f"rounding leaves ({length})", "findings",
    ]  # fmt: skip
    rows = [_tube(record, layout, report, units) for record in schedule.records]
    return Table(tuple(Column(title) for title in titles), tuple(rows))


def bends(schedule: Schedule, layout: Layout, report: Report, units: Units) -> Table:
    """Return one row a bend in the order of bending; tubes that can't be made have none."""
    length = units_of.length_unit(units)
    titles = [
        "tube", "step", "bend", "end that leads", "turned end for end", f"set mark ({length})",
        f"bend starts ({length})", f"bend ends ({length})", "turn the tube", "turn (degrees)",
        "dial (degrees)", "bend to (degrees)", "bend to is known", "comes out (degrees)",
        "included (degrees)",
        f"CLR ({length})", f"straight between ({length})", f"chord end to end ({length})",
        f"free end above table ({length})", f"over the outsides ({length})", "outsides taken",
        f"rounding leaves ({length})",
    ]  # fmt: skip
    rows = []
    for record in schedule.records:
        if tube_page.can_be_bent(record, report):
            numbers = steps.rounded(record, layout, units)
            checks = bench.of(record.plan, record.stock.od, numbers)
            rows += [
                _bend(record, step, taken, layout, units)
                for step, taken in zip(steps.of(record, layout, units), checks, strict=True)
            ]
    return Table(tuple(Column(title) for title in titles), tuple(rows))


def _tube(record: TubeRecord, layout: Layout, report: Report, units: Units) -> tuple[Cell, ...]:
    made = tube_page.can_be_bent(record, report)
    found = [wording.say(finding, layout, units) for finding in tube_page.findings_of(record, report)]
    die = record.die
    bender = layout.benders.get(die.bender) if die and die.bender is not None else None
    clr = record.bends[0].clr if made and record.bends else None
    numbers = steps.rounded(record, layout, units) if made else None
    marks = (numbers.blank, numbers.start_trim, numbers.end_trim) if numbers else (None, None, None)
    lengths = (record.start_allowance, record.end_allowance, record.centreline, record.last_straight)
    return (
        Cell(wording.one_line(record.name)),
        Cell("yes" if made else "no"),
        Cell(wording.one_line(record.stock.name)),
        _number(record.stock.od, units),
        _number(record.stock.wall, units),
        Cell(wording.one_line(record.stock.batch)),
        Cell(wording.one_line(die.name) if die else ""),
        Cell(wording.one_line(bender.name) if bender else ""),
        _number(clr, units),
        Cell(record.plan.calibration.state if record.bends else ""),
        Cell(str(len(record.bends)), number=len(record.bends)) if made else Cell(""),
        *(_mark(mark, units) for mark in marks),
        *(_number(length if made else None, units) for length in lengths),
        _mass_number(record.mass if made else None, units),
        *(
            Cell(" ".join((tube_page.meets(end), *tube_page.end_text(end, layout))).strip())
            for end in record.ends
        ),
        _error(max(numbers.left) if numbers and record.plan.steps else None, units),
        Cell(" ".join(found)),
    )


def _bend(
    record: TubeRecord, step: BenderStep, taken: tuple[Check, ...], layout: Layout, units: Units
) -> tuple[Cell, ...]:
    found = {check.kind: check for check in taken}
    across = found.get("across")
    angle_step = layout.limits.angle_step
    return (
        Cell(wording.one_line(record.name)),
        Cell(str(step.number), number=step.number),
        Cell(str(step.bend), number=step.bend),
        Cell(step.leads),
        Cell("yes" if step.is_turned_round else "no"),
        *(_mark(mm, units) for mm in (step.mark, step.start, step.end)),
        Cell(step.word or "first bend"),
        _set(abs(step.turn), angle_step),
        _set(step.dial, angle_step),
        _set(step.set_angle, angle_step),
        Cell("" if step.set_angle is None else TRUST_WORDS[step.trust]),
        *(_angle(angle) for angle in (step.angle, math.pi - step.angle)),
        _number(record.plan.calibration.clr.value, units),
        *(
            _mark(found[kind].value if kind in found else None, units)
            for kind in ("straight", "chord", "height")
        ),
        _mark(across.value if across else None, units),
        Cell(tube_page.sides_text(across)),
        _error(step.error, units),
    )


def _set(radians: float | None, step: float) -> Cell:
    """Return an angle that is set, in whole steps of the dial as the sheet prints it."""
    if radians is None:
        return Cell("")
    text = units_of.format_step_angle(radians, step).rstrip("°")
    return Cell(text, number=float(text))


def _angle(radians: float) -> Cell:
    text = units_of.format_angle(radians, unit=False)
    return Cell(text, number=float(text))


def _mark(mm: float | None, units: Units) -> Cell:
    """Return a length in whole steps of the tape, as on the sheets."""
    if mm is None:
        return Cell("")
    steps_made = units_of.nearest_step(mm, units_of.mark_step(units)) * units_of.mark_step(units)
    places, scale = (0, 1.0) if units.length == "mm" else (3, units_of.MM_PER_INCH)
    text = units_of.decimal(steps_made / scale, places)
    return Cell(text, number=float(text))


def _error(mm: float | None, units: Units) -> Cell:
    """Return a small error, rounded up as on the sheets."""
    if mm is None:
        return Cell("")
    text = tube_page.error_text(mm, units, unit=False)
    return Cell(text, number=float(text))


def _number(mm: float | None, units: Units) -> Cell:
    """Return a length as a number for a spreadsheet: fractions would be read as dates there."""
    if mm is None:
        return Cell("")
    text = units_of.decimal(mm, 2) if units.length == "mm" else units_of.decimal(mm / units_of.MM_PER_INCH, 3)
    return Cell(text, number=float(text))


def _mass_number(kg: float | None, units: Units) -> Cell:
    if kg is None:
        return Cell("")
    text = units_of.format_mass(kg, units, unit=False)
    return Cell(text, number=float(text))
