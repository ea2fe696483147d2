"""Cut lines for machines: SVG and DXF of the flat templates, and the lines in space as DXF and CSV."""

import io
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from app import wording
from app.export import beside, csv_file, template_pdf
from app.export.sheet import Cell, Column, Table
from geometry.layout import Layout
from geometry.shop.templates import Strip, Template
from geometry.vectors import Floats

ROOM = 20.0  # mm of paper round a drawing
PLACES = 3  # decimals of a mm
LAYERS = {"CUT": 1, "WASTE": 8, "EDGE": 5, "MARK": 3}  # names and colours of the DXF's layers


def write(templates: Sequence[Template], layout: Layout, folder: Path) -> tuple[Path, ...]:
    """Write SVG and DXF of each cut laid flat, a DXF of it in space, one CSV of all; return their paths."""
    paths = []
    for template in templates:
        stem = _stem(template, layout)
        for number, strip in enumerate(template.strips, start=1):
            part = f"-part-{number}" if len(template.strips) > 1 else ""
            paths.append(folder / f"{stem}{part}.svg")
            beside.write(paths[-1], svg(strip, _title(template, layout)).encode())
            paths.append(folder / f"{stem}{part}.dxf")
            beside.write(paths[-1], flat_dxf(strip).encode())
        paths.append(folder / f"{stem}-in-space.dxf")
        beside.write(paths[-1], space_dxf(template).encode())
    paths.append(folder / "cut-lines.csv")
    csv_file.write(points_table(templates, layout), paths[-1])
    return tuple(paths)


def svg(strip: Strip, title: str) -> str:
    """Return a cut laid flat as SVG at true size: one unit is a mm."""
    low, high = strip.line.min(axis=0) - ROOM, strip.line.max(axis=0) + ROOM
    width, height = (float(side) for side in high - low)

    def path(points: Floats) -> str:
        places = " ".join(f"{_number(x - low[0])},{_number(high[1] - y)}" for x, y in points)
        return f'<polyline points="{places}"/>'

    marks = "".join(
        f'<circle cx="{_number(x - low[0])}" cy="{_number(high[1] - y)}" r="2"/>'
        f'<text x="{_number(x - low[0] + 3)}" y="{_number(high[1] - y - 3)}">{number}</text>'
        for number, (x, y) in strip.marks
    )
    groups = (
        ("edge", "#888", 0.25, "".join(path(rim) for rim in strip.rims)),
        ("waste", "#888", 0.2, "".join(path(tick) for tick in template_pdf.ticks(strip))),
        ("cut", "#000", 0.5, path(strip.line)),
        ("mark", "#000", 0.25, marks),
    )
    body = "\n".join(
        f'<g id="{name}" fill="none" stroke="{colour}" stroke-width="{thick}" font-size="5">{inside}</g>'
        for name, colour, thick, inside in groups
    )
    size = f'width="{_number(width)}mm" height="{_number(height)}mm"'
    box = f'viewBox="0 0 {_number(width)} {_number(height)}"'
    head = f'<svg xmlns="http://www.w3.org/2000/svg" {size} {box}>'
    return f"{head}\n<title>{_escaped(title)}</title>\n{body}\n</svg>\n"


def flat_dxf(strip: Strip) -> str:
    """Return a cut laid flat as DXF in mm, on layers CUT, WASTE, EDGE and MARK."""
    document, space = _dxf()
    space.add_lwpolyline(strip.line.tolist(), dxfattribs={"layer": "CUT"})
    for rim in strip.rims:
        space.add_lwpolyline(rim.tolist(), dxfattribs={"layer": "EDGE"})
    for tick in template_pdf.ticks(strip):
        space.add_lwpolyline(tick.tolist(), dxfattribs={"layer": "WASTE"})
    for number, place in strip.marks:
        space.add_circle(place, 2.0, dxfattribs={"layer": "MARK"})
        text = space.add_text(str(number), height=5.0, dxfattribs={"layer": "MARK"})
        text.set_placement((place[0] + 3.0, place[1] + 3.0))
    return _written(document)


def space_dxf(template: Template) -> str:
    """Return the line where it lies on the car as a DXF polyline: x forward, y left, z up, in mm."""
    document, space = _dxf()
    space.add_polyline3d(template.line.tolist(), dxfattribs={"layer": "CUT"})
    for mark in template.marks:
        space.add_point(mark.place, dxfattribs={"layer": "MARK"})
    return _written(document)


def points_table(templates: Sequence[Template], layout: Layout) -> Table:
    """Return the points of all lines in the car's axes, in mm."""
    titles = ("panel", "side", "cut", "point", "x_mm", "y_mm", "z_mm")
    rows = [
        (
            Cell(wording.one_line(layout.panels[template.panel].name)),
            Cell(template.side),
            *(Cell(str(number), number=number) for number in (template.number, place)),
            *(Cell(_number(value), number=float(value)) for value in point),
        )
        for template in templates
        for place, point in enumerate(template.line, start=1)
    ]
    return Table(tuple(Column(title) for title in titles), tuple(rows))


def _dxf() -> tuple[Any, Any]:
    """Return a new drawing in mm with its layers, and where things are drawn."""
    from ezdxf import filemanagement, units

    document = filemanagement.new("R2010", units=units.MM)
    for name, colour in LAYERS.items():
        document.layers.add(name, color=colour)
    return document, document.modelspace()


def _written(document: Any) -> str:
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue()


def _title(template: Template, layout: Layout) -> str:
    name = wording.one_line(layout.panels[template.panel].name)
    return f"{template.side.upper()}: {name}, cut {template.number}"


def _stem(template: Template, layout: Layout) -> str:
    """Return a file name that every system takes."""
    name = re.sub(r"[^\w-]+", "-", wording.one_line(layout.panels[template.panel].name)).strip("-")[:60]
    return f"{name or 'panel'}-{template.panel}-cut-{template.number}"


def _number(value: float) -> str:
    return f"{value:.{PLACES}f}".rstrip("0").rstrip(".")


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
