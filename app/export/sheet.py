"""What a packet says, as pages of text and flat views: units applied and numbers rounded here, once.

Writers know pages, blocks and cells; they know no tubes. Imports no Qt.
"""

import math
from collections.abc import Sequence
from datetime import date
from typing import Literal

from msgspec import Struct

from app import units as units_of
from app import wording
from app.export import views as tube_views
from app.export.views import Views
from app.units import Units
from geometry.checks.finding import Finding
from geometry.checks.findings import Report
from geometry.layout import Layout
from geometry.shop.schedule import End, Schedule, ScheduleBend, TubeRecord
from geometry.tolerances import SAME_POINT

Align = Literal["left", "right", "centre"]
Tone = Literal["plain", "findings", "stop", "caution"]
ANGLE_STEP = 0.1  # degrees, as printed
VIEW_BOX = (523.0, 270.0)  # points; about the room that a page leaves for the views

GEOMETRY_ONLY = (
    "Geometry only: no springback or stretch in these numbers. Make a trial bend first. Estimates, not a "
    "strength or safety claim; local codes, the event's rule book, a licensed engineer and a qualified "
    "welder decide."
)
HOW_TO_MARK = (
    "Marks, trim lines too, run from the sawn, square START end of the blank. Straights are those of the "
    "finished tube, at true length; sizes over all are taken over the outside, between the trim lines."
)
HOW_TO_TURN = (
    "Turning: stand at the tail, face the die, START end leading. The dial counts up clockwise and stands at "
    "0.0° for bend 1."
)


class Cell(Struct, frozen=True):
    """One cell: its text, a smaller line under it, and its number for files that hold numbers."""

    text: str
    under: str = ""
    number: float | None = None
    page_of: str = ""  # instead of text: the number of the page with this key


class Column(Struct, frozen=True):
    """A column: its heading, its share of the width, and how its cells stand."""

    title: str
    share: float = 1.0
    align: Align = "left"


class Table(Struct, frozen=True):
    """Rows of cells under headings; large for the shop floor, or a list."""

    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    heading: str = ""
    large: bool = False


class Fact(Struct, frozen=True):
    """A labelled value, with a smaller line under it."""

    label: str
    value: str
    under: str = ""
    strong: bool = False


class Facts(Struct, frozen=True):
    """Labelled values side by side."""

    facts: tuple[Fact, ...]
    columns: int = 3


class Text(Struct, frozen=True):
    """Paragraphs under a heading."""

    paragraphs: tuple[str, ...]
    heading: str = ""
    tone: Tone = "plain"


class Picture(Struct, frozen=True):
    """A picture as PNG."""

    png: bytes


Block = Table | Facts | Text | Picture | Views


class Page(Struct, frozen=True):
    """What belongs together on one page, or runs on where it does not fit."""

    key: str
    title: str
    aside: str
    blocks: tuple[Block, ...]


class Sheet(Struct, frozen=True):
    """A packet: its pages, and what stands at the foot of each."""

    title: str
    foot: str
    pages: tuple[Page, ...]


def packet(
    schedule: Schedule, layout: Layout, report: Report, units: Units, made: date, picture: bytes | None = None
) -> Sheet:
    """Return the cover and one page a tube."""
    job = wording.one_line(schedule.job) or "Untitled"
    pages = [
        _cover(job, schedule, layout, report, units, made, picture),
        *(_tube_page(job, record, layout, report, units) for record in schedule.records),
    ]
    return Sheet(job, f"{job} — {made.isoformat()} — lengths in {_units_text(units)}", tuple(pages))


def tube_rows(schedule: Schedule, layout: Layout, report: Report, units: Units) -> Table:
    """Return one row a tube, with numbers, for spreadsheets."""
    length, mass = units_of.length_unit(units), units_of.mass_unit(units)
    titles = [
        "tube", "can be made", "stock", f"OD ({length})", f"wall ({length})", "die", f"CLR ({length})",
        "bends", f"blank ({length})", f"start allowance ({length})", f"end allowance ({length})",
        f"finished length ({length})", f"last straight ({length})", f"mass ({mass})", "start end", "end",
        "findings",
    ]  # fmt: skip
    rows = [_tube_row(record, layout, report, units) for record in schedule.records]
    return Table(tuple(Column(title) for title in titles), tuple(rows))


def bend_rows(schedule: Schedule, report: Report, units: Units) -> Table:
    """Return one row a bend, with numbers, for spreadsheets; tubes that can't be made have none."""
    length = units_of.length_unit(units)
    titles = [
        "tube", "bend", f"bend starts ({length})", f"bend ends ({length})", f"straight before ({length})",
        "turn the tube", "turn (degrees)", "dial (degrees)", "bend (degrees)", "included (degrees)",
        f"CLR ({length})",
    ]  # fmt: skip
    rows = [
        _bend_row(record, bend, units)
        for record in schedule.records
        if can_be_bent(record, report)
        for bend in record.bends
    ]
    return Table(tuple(Column(title) for title in titles), tuple(rows))


def can_be_bent(record: TubeRecord, report: Report) -> bool:
    """Say whether bend numbers may be printed: nothing but clearance may be in error."""
    return record.makeable and not _stops(_findings_of(record, report))


def turn_words(bend: ScheduleBend) -> tuple[str, str]:
    """Return how far to turn the tube and which way, without a sign: 90.0° and clockwise."""
    if bend.number == 1:
        return "—", "first bend"
    steps = units_of.nearest_step(abs(math.degrees(bend.rotation)), ANGLE_STEP)
    if steps == 0:
        return "0.0°", "no turn"
    text = units_of.format_angle(abs(bend.rotation))
    if steps == units_of.nearest_step(180.0, ANGLE_STEP):
        return text, "half turn"
    return text, "clockwise" if bend.rotation > 0.0 else "anticlockwise"


def dial_text(bend: ScheduleBend) -> str:
    """Return the reading of a dial from 0.0° to 359.9°."""
    steps = units_of.nearest_step(math.degrees(bend.dial), ANGLE_STEP)
    return f"{units_of.decimal(steps % 3600 * ANGLE_STEP, 1)}°"


def _cover(
    job: str,
    schedule: Schedule,
    layout: Layout,
    report: Report,
    units: Units,
    made: date,
    picture: bytes | None,
) -> Page:
    blank = sum(record.blank for record in schedule.records)
    facts = Facts(
        (
            Fact("Tubes", str(len(schedule.records)), _unmade(schedule, report)),
            Fact("Tube to cut, blanks together", units_of.format_length(blank, units), _metres(blank, units)),
            Fact(
                "Mass, finished, estimate",
                units_of.format_mass(sum(record.mass for record in schedule.records), units),
            ),
        )
    )
    heading, words = wording.CAUTIONS[0]
    blocks: list[Block] = [facts, Text((words,), heading, "caution")]
    if picture is not None:
        blocks.append(Picture(picture))
    blocks += [
        _findings_text(report.findings, layout, report, units),
        _tube_list(schedule, report, units),
        _totals(schedule, units),
        Text(tuple(f"{heading}. {words}" for heading, words in wording.CAUTIONS[1:]), "Cautions", "caution"),
    ]
    return Page("cover", job, f"Tube packet, {made.isoformat()}", tuple(blocks))


def _unmade(schedule: Schedule, report: Report) -> str:
    count = sum(not can_be_bent(record, report) for record in schedule.records)
    return f"counting {count} that can't be made" if count else ""


def _findings_text(findings: Sequence[Finding], layout: Layout, report: Report, units: Units) -> Text:
    if not findings:
        return Text((wording.report_summary(report, layout, units),), "What the checks say", "findings")
    summary = wording.report_summary(report, layout, units)
    sentences = [wording.say_with_sign(finding, layout, units) for finding in findings]
    signs = [
        f"{sign}\u00a0{wording.SEVERITY_NAMES[name]}: {wording.SEVERITY_WORDS[name]}"
        for name, sign in wording.SEVERITY_SIGNS.items()
        if name != "note"
    ]
    signs.append(f"{wording.SEVERITY_SIGNS['note']}\u00a0note")
    return Text(
        (*sentences, f"{summary} Signs: {', '.join(signs)}."),
        "What the checks say: these findings stand",
        "findings",
    )


def _tube_list(schedule: Schedule, report: Report, units: Units) -> Table:
    length = units_of.length_unit(units)
    columns = (
        Column("Tube", 2.2),
        Column("Stock", 2.4),
        Column("Bends", 0.8, "right"),
        Column(f"Blank, {length}", 1.3, "right"),
        Column(f"Finished, {length}", 1.3, "right"),
        Column(f"Mass, {units_of.mass_unit(units)}", 1.0, "right"),
        Column("Page", 0.8, "right"),
    )
    rows = []
    for record in schedule.records:
        key = Cell("", page_of=_key(record))
        name = wording.one_line(record.name)
        section = Cell(units_of.format_section(record.stock.od, record.stock.wall, units))
        if not can_be_bent(record, report):
            sign = wording.SEVERITY_SIGNS["error"]
            dash = Cell(units_of.NOT_A_NUMBER)
            rows.append((Cell(f"{sign} {name}"), section, Cell("can't"), dash, dash, dash, key))
            continue
        rows.append(
            (
                Cell(name),
                section,
                Cell(str(len(record.bends))),
                Cell(units_of.format_length(record.blank, units, unit=False)),
                Cell(units_of.format_length(record.centreline, units, unit=False)),
                Cell(units_of.format_mass(record.mass, units, unit=False)),
                key,
            )
        )
    return Table(columns, tuple(rows), "Tubes")


def _totals(schedule: Schedule, units: Units) -> Table:
    columns = (
        Column("Stock", 3.0),
        Column("Section", 2.2),
        Column("Tubes", 0.8, "right"),
        Column("Blanks together", 1.8, "right"),
        Column("Mass, finished", 1.4, "right"),
    )
    rows = tuple(
        (
            Cell(wording.one_line(total.stock.name)),
            Cell(units_of.format_section(total.stock.od, total.stock.wall, units)),
            Cell(str(total.count)),
            Cell(units_of.format_length(total.blank, units)),
            Cell(units_of.format_mass(total.mass, units)),
        )
        for total in schedule.by_stock
    )
    return Table(columns, rows, "Totals by stock, without saw kerf and offcuts")


def _tube_page(job: str, record: TubeRecord, layout: Layout, report: Report, units: Units) -> Page:
    name = wording.one_line(record.name)
    found = _findings_of(record, report)
    if not can_be_bent(record, report):
        return Page(_key(record), name, job, _stopped(record, found, layout, units))
    blocks: list[Block] = [_tube_facts(record, layout, units)]
    spare = (record.start_allowance, record.end_allowance)
    blocks.append(tube_views.of(record.line, record.stock.od, spare, units, VIEW_BOX))
    if record.bends:
        blocks.append(_bend_table(record, units))
    blocks.append(Text((f"{HOW_TO_MARK} {HOW_TO_TURN}" if record.bends else HOW_TO_MARK, GEOMETRY_ONLY)))
    if found:
        sentences = tuple(wording.say_with_sign(finding, layout, units) for finding in found)
        blocks.append(Text(sentences, "What the checks say about this tube", "findings"))
    return Page(_key(record), name, job, tuple(blocks))


def _stopped(record: TubeRecord, found: Sequence[Finding], layout: Layout, units: Units) -> tuple[Block, ...]:
    reasons = tuple(wording.say_with_sign(finding, layout, units) for finding in found)
    stop = "This tube can't be made as it is drawn, so this page has no marks and no bend numbers."
    facts = (Fact("Stock", *_stock_text(record, units)), Fact("Die", *_die_text(record, units)))
    return (
        Text(
            (stop, "Change the tube in the job and print the packet again."), "Don't cut, don't bend", "stop"
        ),
        Facts(facts, 2),
        Text(reasons or ("Its bends don't fit its legs.",), "Why", "findings"),
        Text((GEOMETRY_ONLY,)),
    )


def _tube_facts(record: TubeRecord, layout: Layout, units: Units) -> Facts:
    start, end = record.ends
    finished = units_of.format_length(record.centreline, units)
    mass = f"{units_of.format_mass(record.mass, units)}, estimate"
    return Facts(
        (
            Fact("Cut the blank to", *_both(record.blank, units), strong=True),
            Fact("Trim line at START", *_trim(record, record.start_trim, layout, units)),
            Fact("Trim line at other end", *_trim(record, record.end_trim, layout, units)),
            Fact("Finished length", finished, mass),
            Fact("Stock", *_stock_text(record, units)),
            Fact("Die", *_die_text(record, units)),
            Fact(f"START end{_meets(start)}", *_end_text(start, layout)),
            Fact(f"Other end{_meets(end)}", *_end_text(end, layout)),
        ),
        4,
    )


def _bend_table(record: TubeRecord, units: Units) -> Table:
    unit = units_of.length_unit(units)
    columns = (
        Column("Bend", 1.0, "centre"),
        Column(f"Bend starts\n{unit}", 1.0, "right"),
        Column(f"Bend ends\n{unit}", 1.0, "right"),
        Column(f"Straight before\n{unit}", 1.0, "right"),
        Column("Turn the tube", 1.0, "right"),
        Column("Dial", 1.0, "right"),
        Column("Bend by", 1.0, "right"),
        Column(f"CLR\n{unit}", 1.0, "right"),
    )
    rows = []
    for bend in record.bends:
        turn, way = turn_words(bend)
        arrow = {"clockwise": "↻ ", "anticlockwise": "↺ "}.get(way, "")
        included = units_of.format_angle(math.pi - bend.angle)
        rows.append(
            (
                Cell(str(bend.number)),
                _length_cell(bend.start, units),
                _length_cell(bend.end, units),
                _length_cell(bend.straight_before, units),
                Cell(arrow + turn, way),
                Cell(dial_text(bend)),
                Cell(units_of.format_angle(bend.angle), f"included {included}"),
                Cell(units_of.format_size(bend.clr, units, unit=False)),
            )
        )
    return Table(columns, tuple(rows), large=True)


def _tube_row(record: TubeRecord, layout: Layout, report: Report, units: Units) -> tuple[Cell, ...]:
    made = can_be_bent(record, report)
    found = [wording.say(finding, layout, units) for finding in _findings_of(record, report)]
    die = wording.one_line(record.die.name) if record.die else ""
    clr = record.bends[0].clr if made and record.bends else None
    lengths = (record.blank, record.start_allowance, record.end_allowance, record.centreline)
    return (
        Cell(wording.one_line(record.name)),
        Cell("yes" if made else "no"),
        Cell(wording.one_line(record.stock.name)),
        _number(record.stock.od, units),
        _number(record.stock.wall, units),
        Cell(die),
        _number(clr, units),
        Cell(str(len(record.bends)), number=len(record.bends)) if made else Cell(""),
        *(_number(length if made else None, units) for length in (*lengths, record.last_straight)),
        _mass_number(record.mass if made else None, units),
        *(Cell(" ".join((_meets(end), *_end_text(end, layout))).strip()) for end in record.ends),
        Cell(" ".join(found)),
    )


def _bend_row(record: TubeRecord, bend: ScheduleBend, units: Units) -> tuple[Cell, ...]:
    _, way = turn_words(bend)
    turn = 0.0 if bend.number == 1 else abs(math.degrees(bend.rotation))
    dial = units_of.nearest_step(math.degrees(bend.dial), ANGLE_STEP) % 3600 * ANGLE_STEP
    angles = (turn, dial, math.degrees(bend.angle), 180.0 - math.degrees(bend.angle))
    return (
        Cell(wording.one_line(record.name)),
        Cell(str(bend.number), number=bend.number),
        *(_number(length, units) for length in (bend.start, bend.end, bend.straight_before)),
        Cell(way),
        *(Cell(text, number=float(text)) for text in (units_of.decimal(angle, 1) for angle in angles)),
        _number(bend.clr, units),
    )


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


def _length_cell(mm: float, units: Units) -> Cell:
    """Return a length, with the decimal under a fraction."""
    text = units_of.format_length(mm, units, unit=False)
    if units.length != "in-fraction":
        return Cell(text)
    return Cell(text, units_of.decimal(mm / units_of.MM_PER_INCH, 3))


def _both(mm: float, units: Units) -> tuple[str, str]:
    """Return a length, and for fractions the decimal to stand beside it."""
    text = units_of.format_length(mm, units)
    if units.length != "in-fraction":
        return text, ""
    return text, f"{units_of.decimal(mm / units_of.MM_PER_INCH, 3)} in"


def _trim(record: TubeRecord, mark: float, layout: Layout, units: Units) -> tuple[str, str]:
    """Return a trim line's mark, and whether the allowance there had to grow for the die."""
    text, under = _both(mark, units)
    tube = layout.tubes[record.tube]
    if mark == record.start_trim:
        asked, cut = tube.start_allowance, record.start_allowance
    else:
        asked, cut = tube.end_allowance, record.end_allowance
    grown = cut - (layout.limits.end_allowance if asked is None else asked) > SAME_POINT
    return text, ", ".join(part for part in (under, "longer for the die" if grown else "") if part)


def _stock_text(record: TubeRecord, units: Units) -> tuple[str, str]:
    stock = record.stock
    section = units_of.format_section(stock.od, stock.wall, units)
    return section, ", ".join(wording.one_line(part) for part in (stock.name, stock.material) if part)


def _die_text(record: TubeRecord, units: Units) -> tuple[str, str]:
    if not record.line.bends:
        return "none needed", ""
    clr = f"CLR {units_of.format_size(record.line.bends[0].radius, units)}"
    return (clr, wording.one_line(record.die.name)) if record.die else (clr, "no die in the rack: assumed")


def _meets(end: End) -> str:
    return {"landing": " lands on", "joint": " meets", "free": ""}[end.kind]


def _end_text(end: End, layout: Layout) -> tuple[str, str]:
    """Return what an end lands on or meets, and the angle there."""
    if end.kind == "free" or end.tube is None:
        return "free", ""
    other = layout.tubes.get(end.tube)
    name = wording.one_line(other.name) if other else "a removed tube"
    return name, f"{units_of.format_angle(end.angle)} between them" if end.angle is not None else ""


def _metres(mm: float, units: Units) -> str:
    if units.length == "mm":
        return f"{units_of.decimal(mm / 1000.0, 2)} m"
    return f"{units_of.decimal(mm / 304.8, 1)} ft"


def _units_text(units: Units) -> str:
    match units.length:
        case "mm":
            return "mm"
        case "in":
            return "inches"
        case "in-fraction":
            return f"inches to 1/{units.fraction}"


def _findings_of(record: TubeRecord, report: Report) -> list[Finding]:
    return [finding for finding in report.findings if record.tube in finding.tubes]


def _stops(findings: Sequence[Finding]) -> bool:
    """Say whether a finding means the tube can't be bent; one that cuts into the body can."""
    return any(
        finding.severity == "error" and not finding.rule.startswith("clearance.") for finding in findings
    )


def _key(record: TubeRecord) -> str:
    return f"tube-{record.tube}"
