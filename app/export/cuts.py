"""Cuts in panels by themselves, for the day on which only these are made."""

from collections.abc import Collection
from datetime import date
from pathlib import Path

from app import wording
from app.export import cut_page, packet, pdf_file, template_files, template_pdf
from app.export.pdf_file import Paper
from app.export.sheet import Sheet
from app.units import Units
from geometry.errors import GeometryError
from geometry.layout import Layout
from geometry.progress import Progress, no_progress
from geometry.shop import templates

PDF_NAME = "cuts.pdf"


def write(
    layout: Layout,
    panels: Collection[int],
    folder: Path,
    units: Units,
    paper: Paper = "A4",
    progress: Progress = no_progress,
    made: date | None = None,
) -> tuple[Path, ...]:
    """Write sheets and templates of the cuts in panels into the folder and return their paths."""
    progress(0.0, "Laying out the cuts")
    every = cut_page.MARKS[units.length]
    cuts = [cut for cut in templates.of(layout, every) if cut.panel in panels]
    if not cuts:
        raise GeometryError("None of these panels is trimmed, so there is no cut to write.", tuple(panels))
    job = wording.one_line(layout.name) or "Untitled"
    day = (made or date.today()).isoformat()
    pages = tuple(cut_page.of(job, list(own), layout, units) for _, own in packet.by_panel(cuts))
    foot = f"{job} — {day} — lengths in {packet.units_text(units)}"
    progress(0.3, "Writing the sheets")
    pdf_file.write(Sheet(job, foot, packet.CLAIM, pages), folder / PDF_NAME, paper)
    progress(0.6, "Drawing the templates")
    template_pdf.write(cuts, layout, folder / packet.TEMPLATES_NAME, paper, f"{job} — {day}")
    more = template_files.write(cuts, layout, folder / packet.TEMPLATES)
    progress(1.0, f"Cuts written to {folder}")
    return (folder / PDF_NAME, folder / packet.TEMPLATES_NAME, *more)
