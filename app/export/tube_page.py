"""The page of one tube, for the person at the bender: facts, views, steps in order, bench checks."""

import math
from collections.abc import Sequence

from msgspec.structs import replace

from app import units as units_of
from app import wording
from app.export import steps, trial_words
from app.export import views as tube_views
from app.export.sheet import Band, Block, Cell, Column, Fact, Facts, Page, Table, Text
from app.export.steps import BenderStep
from app.export.turning import Stance, Turning
from app.units import Units
from geometry.checks.finding import Finding
from geometry.checks.findings import Report
from geometry.layout import Layout
from geometry.shop import bench
from geometry.shop.bench import Check
from geometry.shop.rounding import Rounded
from geometry.shop.schedule import End, TubeRecord
from geometry.tolerances import SAME_POINT
from geometry.tube import feeding, springback

# Points; about the room that a page leaves for the views: less with every bend, until they need two papers.
VIEWS_ACROSS = 523.0
VIEWS_UP, MOST_UP = {2: 220.0, 3: 160.0, 4: 105.0, 5: 105.0}, 250.0
MOST_ON_ONE_PAGE = 5  # bends; those of longer tubes get a second paper
SLEEVE_ODS = 3.0  # its length; common practice
SLEEVE_SLIP = 0.5  # mm on the diameter; common practice

HOW_TO_MARK = (
    "Marks run from the sawn, square START end of the blank, whichever end leads; never from the last mark."
)
HOW_TO_TRIM = "Trim lines are measured from the sawn, square START end of the blank."
HOW_TO_SET = "Set the mark at the reference point of the die."
HOW_TO_TURN = "The dial counts up clockwise."
BENCH_WORDS = (
    "Chord: middle to middle of the end faces. Free end: its middle over a table, the bend before laid flat. "
    "Corner: where outsides cross."
)


def of(job: str, record: TubeRecord, layout: Layout, report: Report, units: Units) -> Page:
    """Return a tube's page; one that can't be made has no numbers to work from."""
    name, found = wording.one_line(record.name), findings_of(record, report)
    if not can_be_bent(record, report):
        return Page(key(record), name, job, _stopped(record, found, layout, units))
    numbers = steps.rounded(record, layout, units)
    rows = steps.of(record, layout, units)
    blocks: list[Block] = [_facts(record, numbers, layout, units)]
    if rows:
        blocks.append(trial_words.block(record, rows, units))
    elif record.bends:
        blocks.append(_no_die(record, units))
    hindering = [
        row for row in found if rows and row.severity != "note" and not row.rule.startswith("clearance.")
    ]
    if hindering:
        blocks.append(_findings(hindering, "Mind while bending", layout, units))
    spare = (record.start_allowance, record.end_allowance)
    box = (VIEWS_ACROSS, VIEWS_UP.get(len(record.bends), MOST_UP))
    blocks.append(tube_views.of(record.line, record.stock.od, spare, units, box))
    if rows:
        checks = bench.of(record.plan, record.stock.od, numbers)
        small = (*_sleeves(record, layout, units), *_small_print(record, numbers, layout, units))
        blocks += [
            step_table(rows, numbers.blank, layout, units, trial_words.heading(record.plan.calibration)),
            _stance(rows),
        ]
        blocks += [bench_table(rows, checks, units), Text(small, "", "small")]
    else:
        blocks.append(Text((HOW_TO_TRIM, *_sleeves(record, layout, units))))
    if others := [finding for finding in found if finding not in hindering]:
        blocks.append(_findings(others, "What the checks say about this tube", layout, units))
    return Page(key(record), name, job, tuple(blocks))


def key(record: TubeRecord) -> str:
    """Return what the list on the cover calls a tube's page by."""
    return f"tube-{record.tube}"


def findings_of(record: TubeRecord, report: Report) -> list[Finding]:
    return [finding for finding in report.findings if record.tube in finding.tubes]


def can_be_bent(record: TubeRecord, report: Report) -> bool:
    """Say whether bend numbers may be printed: nothing but clearance may be in error."""
    stops = any(
        finding.severity == "error" and not finding.rule.startswith("clearance.")
        for finding in findings_of(record, report)
    )
    return record.makeable and not stops


def step_table(
    rows: Sequence[BenderStep], blank: float, layout: Layout, units: Units, warning: str = ""
) -> Table:
    """Return what to set, in the order of bending; the mark is the biggest figure."""
    again = [Band(0, warning, True)] if warning and len(rows) > MOST_ON_ONE_PAGE else []
    unit, step = units_of.length_unit(units), layout.limits.angle_step
    columns = (
        Column("Order", 0.4, "left", 0.76, light=True),
        Column("Bend", 0.4, "centre"),
        Column(f"Set this mark\nat the die, {unit}", 1.0, "right", 1.7 if units.length == "mm" else 1.35),
        Column("Bend runs\nfrom, to", 1.0, "right", 0.76, light=True),
        Column("Turn the tube;\nthe dial then reads", 1.0, "left"),
        Column("Bend to\n(dial of bender)", 1.0, "right", 1.15),
        Column("Must\ncome out", 1.0, "right"),
    )
    cells = tuple(
        (
            Cell(wording.ordinal(row.number)),
            Cell(str(row.bend), in_ring=True),
            _mark(row.mark, blank, units),
            Cell(
                units_of.format_mark(row.start, units, unit=False),
                units_of.format_mark(row.end, units, unit=False),
            ),
            _turn(row, step),
            _bend_to(row, step),
            Cell(units_of.format_angle(row.angle), f"included {units_of.format_angle(math.pi - row.angle)}"),
        )
        for row in rows
    )
    return Table(columns, cells, large=True, bands=_bands(rows, again))


def bench_table(rows: Sequence[BenderStep], checks: Sequence[Sequence[Check]], units: Units) -> Table:
    """Return what tape and table should give after each step."""
    unit = units_of.length_unit(units)
    columns = (
        Column("Check after bend", 1.0),
        Column(f"straight between, {unit}", 1.0, "right"),
        Column(f"chord, {unit}", 1.0, "right"),
        Column(f"free end, {unit}", 1.0, "right"),
        Column(f"over outsides, {unit}", 1.0, "right"),
        Column("taken", 0.8, "left"),
    )
    cells = []
    for row, taken in zip(rows, checks, strict=True):
        found = {check.kind: check for check in taken}
        texts = [_check_text(found.get(kind), units) for kind in ("straight", "chord", "height", "across")]
        cells.append((Cell(str(row.bend)), *map(Cell, texts), Cell(sides_text(found.get("across")))))
    return Table(columns, tuple(cells), tight=True)


def end_text(end: End, layout: Layout) -> tuple[str, str]:
    """Return what an end lands on or meets, and the angle there."""
    if end.kind == "free" or end.tube is None:
        return "free", ""
    other = layout.tubes.get(end.tube)
    name = wording.one_line(other.name) if other else "a removed tube"
    if end.kind == "sleeve":
        return name, "over a sleeve"
    return name, f"{units_of.format_angle(end.angle)} between them" if end.angle is not None else ""


def meets(end: End) -> str:
    """Return how an end meets the tube that `end_text` names."""
    return {"landing": "lands on", "joint": "meets", "sleeve": "joins", "free": ""}[end.kind]


def _findings(found: Sequence[Finding], heading: str, layout: Layout, units: Units) -> Text:
    return Text(tuple(wording.say_with_sign(row, layout, units) for row in found), heading, "findings")


def _bands(rows: Sequence[BenderStep], above: Sequence[Band]) -> tuple[Band, ...]:
    """Return the lines that say which end leads, and where the tube is turned round."""
    first = rows[0]
    if first.leads == "START":
        bands = [*above, Band(0, "START leads. The END is at the tail, with you.")]
    else:
        bands = [*above, Band(0, "END LEADS FIRST. The START is at the tail, with you.", True)]
    for i, row in enumerate(rows):
        if row.is_turned_round:
            flat = f"dial 0° with bend {row.flat_bend} as if just bent" if row.flat_bend else ""
            bands.append(Band(i, f"Turn the tube end for end: now the {row.leads} leads.", True, flat))
    return tuple(bands)


def _mark(mm: float, blank: float, units: Units) -> Cell:
    """Return a mark; one that would lie off the blank is measured from the end it is past."""
    past = "past START" if mm < 0.0 else "past END" if mm > blank else ""
    from_there = -mm if mm < 0.0 else mm - blank if past else mm
    text = units_of.format_mark(from_there, units, unit=False)
    return Cell(text, units_of.other_mark(from_there, units), over=past)


def _turn(row: BenderStep, step: float) -> Cell:
    reading = units_of.format_step_angle(row.dial, step)
    return Cell(reading, over=row.word or "first bend", turning=Turning(row.dial, row.turn))


def _bend_to(row: BenderStep, step: float) -> Cell:
    if row.set_angle is None:
        return Cell(units_of.NOT_A_NUMBER, "no trial bend")
    return Cell(
        units_of.format_step_angle(row.set_angle, step), over="" if row.trust == "told" else row.trust
    )


def _check_text(check: Check | None, units: Units) -> str:
    return units_of.NOT_A_NUMBER if check is None else units_of.format_mark(check.value, units, unit=False)


def sides_text(check: Check | None) -> str:
    if check is None or check.sides is None:
        return ""
    if check.sides[0] == check.sides[1]:
        return f"{check.sides[0]} to {check.sides[1]}"
    return f"{check.sides[0]} of {check.other}, {check.sides[1]} of {check.bend}"


def _stance(rows: Sequence[BenderStep]) -> Stance:
    leads = rows[0].leads
    turn = f"Stand at the tail and face the die, {leads} leading. {HOW_TO_TURN}"
    return Stance(leads, (HOW_TO_MARK, HOW_TO_SET, turn))


def _no_die(record: TubeRecord, units: Units) -> Text:
    od = units_of.format_size(record.stock.od, units)
    return Text(
        (
            f"The rack has no die for {od} tube, so there are no marks and no angles to set. Radius, length "
            "and blank are assumed. Add the die and print again.",
        ),
        "No die, no marks",
        "warning",
    )


def _stopped(record: TubeRecord, found: Sequence[Finding], layout: Layout, units: Units) -> tuple[Block, ...]:
    why = _findings(found, "Why", layout, units)
    stop = "This tube can't be made as it is drawn, so this page has no marks and no bend numbers."
    facts = (Fact("Stock", *_stock_text(record, units)), Fact("Die", *_die_text(record, layout, units)))
    return (
        Text(
            (stop, "Change the tube in the job and print the packet again."), "Don't cut, don't bend", "stop"
        ),
        Facts(facts, 2),
        why if why.paragraphs else replace(why, paragraphs=("Its bends don't fit its legs.",)),
    )


def _facts(record: TubeRecord, numbers: Rounded, layout: Layout, units: Units) -> Facts:
    start, end = record.ends
    finished = units_of.format_length(record.centreline, units)
    mass = f"{units_of.format_mass(record.mass, units)}, estimate"
    return Facts(
        (
            Fact("Cut the blank to", *_both(numbers.blank, units), strong=True),
            _trim(record, numbers.start_trim, layout, units, at_start=True),
            _trim(record, numbers.end_trim, layout, units, at_start=False),
            Fact("Finished length", finished, mass),
            Fact("Stock", *_stock_text(record, units)),
            Fact("Die", *_die_text(record, layout, units)),
            Fact(f"START end {meets(start)}".strip(), *end_text(start, layout)),
            Fact(f"END {meets(end)}".strip(), *end_text(end, layout)),
        ),
        4,
    )


def _both(mm: float, units: Units) -> tuple[str, str]:
    """Return a mark, and in inches the other way of writing it to stand under it."""
    other = units_of.other_mark(mm, units)
    return units_of.format_mark(mm, units), f"{other} in" if other else ""


def _trim(record: TubeRecord, mark: float, layout: Layout, units: Units, *, at_start: bool) -> Fact:
    """Return where an end is cut off after bending, or that it is cut to fit before."""
    tube, name = layout.tubes[record.tube], "START" if at_start else "END"
    cut, allowance = (
        (tube.start_cut, record.start_allowance) if at_start else (tube.end_cut, record.end_allowance)
    )
    if cut == "before" and allowance <= SAME_POINT:
        return Fact(f"{name} end", "cut to fit", "before bending, once marked")
    text, under = _both(mark, units)
    longer = "longer for the die" if _is_longer(record, layout, at_start) else ""
    return Fact(f"Trim line at {name}", text, ", ".join(part for part in (under, longer) if part))


def _is_longer(record: TubeRecord, layout: Layout, at_start: bool) -> bool:
    """Say whether an allowance had to grow for the die."""
    asked = feeding.asked_allowances(layout, layout.tubes[record.tube])[0 if at_start else 1]
    cut = record.start_allowance if at_start else record.end_allowance
    return cut - asked > SAME_POINT


def _stock_text(record: TubeRecord, units: Units) -> tuple[str, str]:
    stock = record.stock
    batch = f"batch {stock.batch}" if stock.batch else ""
    section = units_of.format_section(stock.od, stock.wall, units)
    return section, ", ".join(wording.one_line(part) for part in (stock.name, stock.material, batch) if part)


def _die_text(record: TubeRecord, layout: Layout, units: Units) -> tuple[str, str]:
    if not record.line.bends:
        return "none needed", ""
    clr = f"CLR {units_of.format_size(record.line.bends[0].radius, units)}"
    if record.die is None:
        return clr, "no die in the rack: assumed"
    bender = layout.benders.get(record.die.bender) if record.die.bender is not None else None
    names = [record.die.name, *([bender.name] if bender else [])]
    return clr, ", ".join(map(wording.one_line, names))


def _sleeves(record: TubeRecord, layout: Layout, units: Units) -> list[str]:
    """Say what goes into the ends that are joined over a sleeve."""
    stock, lines = record.stock, []
    for name, end in zip(("START", "END"), record.ends, strict=True):
        if end.kind != "sleeve":
            continue
        long = SLEEVE_ODS * stock.od
        across = stock.od - 2.0 * stock.wall - SLEEVE_SLIP
        lines.append(
            f"Sleeve at {name}, to {end_text(end, layout)[0]}: {units_of.format_mark(long, units)} long, "
            f"half in each tube, {units_of.format_size(across, units)} outside diameter "
            f"({units_of.format_size(SLEEVE_SLIP, units)} slip; common practice)."
        )
    return lines


def _small_print(record: TubeRecord, numbers: Rounded, layout: Layout, units: Units) -> tuple[str, ...]:
    return (
        BENCH_WORDS,
        f"{_rounding_text(numbers, layout, units)} {_estimates(record, layout, units)}",
    )


def _rounding_text(numbers: Rounded, layout: Layout, units: Units) -> str:
    """Say what rounding and trial bends leave open, at the worst place and at each."""
    names = ["START", *(f"bend {i}" for i in range(1, len(numbers.left) - 1)), "END"]
    worst = max(range(len(numbers.left)), key=lambda i: numbers.left[i])
    step = units_of.format_step_angle(layout.limits.angle_step, layout.limits.angle_step)
    text = (
        f"Marks to {units_of.mark_step_text(units)}, angles to {step}: the corners come out within "
        f"{error_text(numbers.left[worst], units)} (worst: {names[worst]})."
    )
    each = ", ".join(
        f"{name.removeprefix('bend ')}:\u00a0{error_text(error, units, unit=False)}"
        for name, error in zip(names, numbers.left, strict=True)
    )
    text += f" At each, after best fit: {each}."
    if numbers.unsure:
        loose = max(range(len(numbers.unsure)), key=lambda i: numbers.unsure[i])
        text += (
            f" The trial bends leave ±{error_text(numbers.unsure[loose], units)} (standard deviation, at "
            f"{names[loose]})."
        )
    return text


def error_text(mm: float, units: Units, *, unit: bool = True) -> str:
    """Write a small error, rounded up: 1.3 mm, 0.05 in."""
    if units.length == "mm":
        text = units_of.decimal(math.ceil(mm * 10.0 - units_of.TIE_NOISE) / 10.0, 1)
    else:
        inches = math.ceil(mm / units_of.MM_PER_INCH * 100.0 - units_of.TIE_NOISE) / 100.0
        text = units_of.decimal(inches, 2)
    return f"{text} {units_of.length_unit(units)}" if unit else text


def _estimates(record: TubeRecord, layout: Layout, units: Units) -> str:
    """Say what bending does to the wall and the section, each marked as what it is."""
    known, stock = record.plan.calibration, record.stock
    left = units_of.format_size(springback.wall_left(stock, known.clr.value), units)
    part = units_of.decimal(100.0 * springback.thinning(stock.od, known.clr.value), 0)
    text = f"Estimate: the outer wall of a bend thins by {part} % to {left}."
    roundness = trial_words.least_roundness(known, layout)
    if roundness is not None:
        ratio = units_of.decimal(roundness, 3)
        text += (
            f" Measured on trial bends: least / largest diameter {ratio} (a published rule for cages asks "
            "for 0.9 or more; your rule book decides)."
        )
    return text
