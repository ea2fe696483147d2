"""The first page of a packet: what the job takes, what stands against it, what to be careful of."""

from collections.abc import Sequence
from datetime import date

from app import units as units_of
from app import wording
from app.export import steps, trial_words, tube_page
from app.export.sheet import Block, Cell, Column, Fact, Facts, Page, Picture, Table, Text
from app.units import Units
from geometry import zoning
from geometry.checks.finding import Finding
from geometry.checks.findings import Report
from geometry.layout import Layout
from geometry.shop.schedule import Schedule, TubeRecord
from geometry.tube.trials import State

WANTED: dict[State, str] = {
    "none": "no trial bend yet",
    "check first": "a new batch",
    "partial": "another trial bend is wanted",
    "measured": "measure them again",
}
READING = (
    "Views. Bends are numbered from START. Straights are at true length; sizes over all are taken over the "
    "outside, between the trim lines.",
    "Steps. They stand in the order of bending. All marks run from the sawn, square START end, whichever end "
    "leads; set each at the reference point of the die. Clockwise is as seen from the tail, facing the die. "
    "Same plane: leave the tube as it lies. Flip: half a turn.",
    "Check while bending. Straight between: from the end of one bend to the start of the next. Chord: from "
    "the middle of one end face to the middle of the other, allowances on. Free end: how high its middle "
    "stands over a table, the legs of the bend before lying flat on it. Over outsides: along the straight "
    "between two bends, to where the outsides of the legs would cross (corner) or, from 90° on, to the back "
    "of the bend (back).",
)


def of(
    job: str,
    schedule: Schedule,
    layout: Layout,
    report: Report,
    units: Units,
    made: date,
    picture: bytes | None,
) -> Page:
    """Return the cover."""
    blank = _cut(schedule.records, layout, units)
    facts = Facts(
        (
            Fact("Tubes", str(len(schedule.records)), _unmade(schedule, report)),
            Fact("Tube to cut, blanks together", units_of.format_mark(blank, units), _metres(blank, units)),
            Fact(
                "Mass, finished, estimate",
                units_of.format_mass(sum(record.mass for record in schedule.records), units),
            ),
        )
    )
    heading, words = wording.CAUTIONS[0]
    dies = _dies(schedule, units)
    blocks: list[Block] = [facts, Text((words,), heading, "caution")]
    if picture is not None:
        blocks.append(Picture(picture))
    if (wanted := _trials_wanted(schedule)).paragraphs:
        blocks.append(wanted)
    blocks.append(_findings_text(report.findings, layout, report, units))
    blocks.append(_tube_list(schedule, layout, report, units))
    if (unset := _unset_zones(layout)).paragraphs:
        blocks.append(unset)
    if (to_cut := _panels_to_cut(layout)).paragraphs:
        blocks.append(to_cut)
    if dies.rows:
        blocks.append(dies)
    blocks += [
        _totals(schedule, layout, units),
        Text(tuple(f"{heading}. {words}" for heading, words in wording.CAUTIONS[1:]), "Cautions", "caution"),
        Text(READING, "How to read the sheets", "small"),
    ]
    return Page("cover", job, f"Tube packet, {made.isoformat()}", tuple(blocks))


def _unset_zones(layout: Layout) -> Text:
    """Name in one line what room nobody has said to keep free, or not to need."""
    unset = [zoning.PURPOSES[purpose].label.lower() for purpose in zoning.unset(layout)]
    if not unset:
        return Text(())
    return Text(
        (f"Neither set nor said not to be needed: {', '.join(unset)}.",), "Access zones not looked at"
    )


def _panels_to_cut(layout: Layout) -> Text:
    """Name the panels that are cut for tyres: their sheets follow those of the tubes."""
    names = [
        wording.one_line(panel.name)
        for panel in layout.panels.values()
        if panel.trim is not None and panel.kept
    ]
    if not names:
        return Text(())
    words = f"{wording.listed(names)}. A sheet for each stands after the tubes; templates.pdf has the lines."
    return Text((words,), "Panels to cut for tyres")


def _bent_on(schedule: Schedule) -> dict[tuple[int, int], list[TubeRecord]]:
    """Return the bent tubes of each die and stock."""
    found: dict[tuple[int, int], list[TubeRecord]] = {}
    for record in schedule.records:
        if record.bends and record.die is not None:
            found.setdefault((record.die.id, record.stock.id), []).append(record)
    return found


def _dies(schedule: Schedule, units: Units) -> Table:
    """Return each die with each stock that is bent on it, and what trial bends there are."""
    columns = (
        Column("Die", 2.0),
        Column("Stock", 2.0),
        Column("Batch", 0.8),
        Column("Bends", 0.7, "right"),
        Column("Trial bends", 1.8),
        Column("Scrap to reserve", 1.0, "right"),
    )
    rows = []
    for records in _bent_on(schedule).values():
        first, known = records[0], records[0].plan.calibration
        rows.append(
            (
                Cell(wording.one_line(first.die.name) if first.die else ""),
                Cell(wording.one_line(first.stock.name)),
                Cell(wording.one_line(first.stock.batch) or units_of.NOT_A_NUMBER),
                Cell(str(sum(len(record.bends) for record in records))),
                Cell(_state_text(first)),
                Cell(trial_words.scrap(known, units)),
            )
        )
    return Table(
        columns, tuple(rows), "Dies, and what trial bends say of them (scrap: common practice, a batch)"
    )


def _state_text(record: TubeRecord) -> str:
    known = record.plan.calibration
    match known.state:
        case "none":
            return "none: geometry only"
        case "check first":
            return "check bend first"
        case "partial":
            return f"{known.made}: more wanted"
        case "measured":
            return f"{known.made}: {wording.counted(len(known.trials), 'bend')}"


def _trials_wanted(schedule: Schedule) -> Text:
    """Say before anything is cut where numbers don't rest on trial bends of the batch."""
    lines = []
    for records in _bent_on(schedule).values():
        first, known = records[0], records[0].plan.calibration
        names = wording.listed([wording.one_line(record.name) for record in records])
        pair = (
            f"{wording.one_line(first.die.name if first.die else '')}, {wording.one_line(first.stock.name)}"
        )
        if heading := trial_words.heading(known):
            lines.append(f"{heading}: {pair}: {WANTED[known.state]}; for {names}.")
    return Text(tuple(lines), "Before the first good tube: trial bends", "warning")


def _unmade(schedule: Schedule, report: Report) -> str:
    count = sum(not tube_page.can_be_bent(record, report) for record in schedule.records)
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


def _tube_list(schedule: Schedule, layout: Layout, report: Report, units: Units) -> Table:
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
        key = Cell("", page_of=tube_page.key(record))
        name = wording.one_line(record.name)
        section = Cell(units_of.format_section(record.stock.od, record.stock.wall, units))
        if not tube_page.can_be_bent(record, report):
            sign = wording.SEVERITY_SIGNS["error"]
            dash = Cell(units_of.NOT_A_NUMBER)
            rows.append((Cell(f"{sign} {name}"), section, Cell("can't"), dash, dash, dash, key))
            continue
        rows.append(
            (
                Cell(name),
                section,
                Cell(str(len(record.bends))),
                Cell(units_of.format_mark(steps.rounded(record, layout, units).blank, units, unit=False)),
                Cell(units_of.format_length(record.centreline, units, unit=False)),
                Cell(units_of.format_mass(record.mass, units, unit=False)),
                key,
            )
        )
    return Table(columns, tuple(rows), "Tubes")


def _totals(schedule: Schedule, layout: Layout, units: Units) -> Table:
    columns = (
        Column("Stock", 2.6),
        Column("Section", 2.0),
        Column("Tubes", 0.7, "right"),
        Column("Blanks together", 1.6, "right"),
        Column("Mass, finished", 1.3, "right"),
        Column("And for trial bends", 1.4, "right"),
    )
    rows = []
    for total in schedule.by_stock:
        records = [record for record in schedule.records if record.stock.id == total.stock.id]
        rows.append(
            (
                Cell(wording.one_line(total.stock.name)),
                Cell(units_of.format_section(total.stock.od, total.stock.wall, units)),
                Cell(str(total.count)),
                Cell(units_of.format_mark(_cut(records, layout, units), units)),
                Cell(units_of.format_mass(total.mass, units)),
                Cell(_scrap(records, units)),
            )
        )
    return Table(columns, tuple(rows), "Totals by stock, without saw kerf and offcuts")


def _cut(records: Sequence[TubeRecord], layout: Layout, units: Units) -> float:
    """Return the length of all blanks as they are cut."""
    return sum(steps.rounded(record, layout, units).blank for record in records)


def _scrap(records: Sequence[TubeRecord], units: Units) -> str:
    """Return the scrap to reserve of one stock, for each die that it has to be tried on."""
    wanted = {
        record.die.id: trial_words.scrap(record.plan.calibration, units)
        for record in records
        if record.bends and record.die is not None
    }
    texts = [text for text in wanted.values() if text != units_of.NOT_A_NUMBER]
    return " + ".join(texts) or units_of.NOT_A_NUMBER


def _metres(mm: float, units: Units) -> str:
    if units.length == "mm":
        return f"{units_of.decimal(mm / 1000.0, 2)} m"
    return f"{units_of.decimal(mm / 304.8, 1)} ft"
