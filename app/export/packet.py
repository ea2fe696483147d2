"""Everything a job takes to the shop, written into one folder."""

import itertools
from collections.abc import Iterable, Iterator
from datetime import date
from pathlib import Path

from app import wording
from app.export import (
    cover_page,
    csv_file,
    cut_page,
    json_file,
    measures_page,
    pdf_file,
    spreadsheet,
    template_files,
    template_pdf,
    tube_page,
)
from app.export.pdf_file import Paper
from app.export.sheet import Sheet
from app.units import Units
from geometry.checks import findings
from geometry.checks.findings import Report
from geometry.layout import Layout
from geometry.progress import Progress, no_progress
from geometry.shop import schedule as schedules
from geometry.shop import templates
from geometry.shop.schedule import Schedule
from geometry.shop.templates import Template

PDF_NAME = "packet.pdf"
TUBES_NAME = "schedule.csv"
BENDS_NAME = "bends.csv"
JSON_NAME = "schedule.json"
TEMPLATES_NAME = "templates.pdf"  # and the folder, only where a panel is trimmed
TEMPLATES = "templates"
CLAIM = (
    "Geometry and estimates, no strength or safety claim: local codes, the event's rule book, a licensed "
    "engineer and a qualified welder decide."
)


def write_packet(
    layout: Layout,
    report: Report | None,
    folder: Path,
    units: Units,
    paper: Paper = "A4",
    progress: Progress = no_progress,
    picture: bytes | None = None,
    made: date | None = None,
) -> tuple[Path, ...]:
    """Write PDF, CSV and JSON into the folder and return their paths; without a report, check first."""
    progress(0.0, "Checking the layout")
    report = findings.check_layout(layout, progress) if report is None else report
    progress(0.1, "Working out the schedule")
    schedule = schedules.build(layout)
    progress(0.2, "Laying out the sheets")
    pages = pages_of(schedule, layout, report, units, made or date.today(), picture)
    paths = tuple(folder / name for name in (PDF_NAME, TUBES_NAME, BENDS_NAME, JSON_NAME))
    pdf_file.write(pages, paths[0], paper, lambda done, doing: progress(0.3 + 0.6 * done, doing))
    cuts = templates.of(layout, cut_page.MARKS[units.length])
    if cuts:
        progress(0.88, "Drawing the templates")
        foot = f"{wording.one_line(schedule.job) or 'Untitled'} — {(made or date.today()).isoformat()}"
        template_pdf.write(cuts, layout, folder / TEMPLATES_NAME, paper, foot)
        paths = (*paths, folder / TEMPLATES_NAME, *template_files.write(cuts, layout, folder / TEMPLATES))
    progress(0.9, "Writing the tables")
    csv_file.write(spreadsheet.tubes(schedule, layout, report, units), paths[1])
    csv_file.write(spreadsheet.bends(schedule, layout, report, units), paths[2])
    json_file.write(schedule, layout, report, paths[3])
    progress(1.0, f"Packet written to {folder}")
    return paths


def pages_of(
    schedule: Schedule, layout: Layout, report: Report, units: Units, made: date, picture: bytes | None = None
) -> Sheet:
    """Return the cover and one page a tube: units applied and numbers rounded here, once."""
    job = wording.one_line(schedule.job) or "Untitled"
    pages = [
        cover_page.of(job, schedule, layout, report, units, made, picture),
        measures_page.of(job, layout, units),
        *(tube_page.of(job, record, layout, report, units) for record in schedule.records),
        *(
            cut_page.of(job, list(cuts), layout, units)
            for _, cuts in by_panel(templates.of(layout, cut_page.MARKS[units.length]))
        ),
    ]
    return Sheet(job, f"{job} — {made.isoformat()} — lengths in {units_text(units)}", CLAIM, tuple(pages))


def by_panel(cuts: Iterable[Template]) -> Iterator[tuple[int, Iterator[Template]]]:
    """Yield the cuts of each panel; they stand together."""
    return itertools.groupby(cuts, key=lambda cut: cut.panel)


def units_text(units: Units) -> str:
    """Say in a foot line what lengths are in."""
    match units.length:
        case "mm":
            return "mm"
        case "in":
            return "inches"
        case "in-fraction":
            return f"inches to 1/{units.fraction}"
