"""Templates of cut lines at true size, over as many sheets of paper as they need."""

import io
import itertools
import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from app import wording
from app.export import beside, cut_page
from app.export.ink import SHRINK, Ink, text_width
from app.export.ink import cut as shortened
from app.export.pdf_file import PAPERS, Paper
from geometry.layout import Layout
from geometry.shop.templates import Strip, Template
from geometry.vectors import Floats

POINTS_PER_MM = 72.0 / 25.4
MARGIN = 12.0  # mm that no printer reaches
HEAD, FOOT = 15.0, 23.0  # mm for the words above and the scale bars below
OVERLAP = 12.0  # mm that neighbouring sheets share
ROOM = 25.0  # mm of paper round the line
TICK_EVERY, TICK = 8.0, 5.0  # mm; the strokes on the side that comes off
TURN = 15  # degrees between the ways round that a template is tried on the paper
CROSS = 4.0  # mm; half a register mark
INCHES = 4.0
TITLE, TITLE_PART = 15.0, 0.75  # pt; of the width, beside the words that say which sheet it is
READING = (
    "Seen from outside. Thick: cut line. Strokes: what comes off. Grey: edges of the panel. True size: print "
    "at 100 %."
)
LIES = {
    True: "Lies flat on the panel.",
    False: "Bend it round the panel along the line, mark by mark; it is true there.",
}


class _Paper(Struct, frozen=True):
    """One sheet: what it shows, from where, and which of how many it is."""

    template: Template
    strip: Strip
    part: str
    corner: tuple[float, float]  # mm of the drawing at its lower left
    place: tuple[int, int]
    places: tuple[int, int]


def write(templates: Sequence[Template], layout: Layout, path: Path, paper: Paper, foot: str) -> None:
    """Write the templates beside the target, then replace it."""
    beside.write(path, content(templates, layout, paper, foot))


def content(templates: Sequence[Template], layout: Layout, paper: Paper, foot: str) -> bytes:
    """Return the PDF."""
    from reportlab.pdfgen.canvas import Canvas

    buffer = io.BytesIO()
    canvas: Any = Canvas(buffer, pagesize=PAPERS[paper], invariant=True, pageCompression=1)
    canvas.setTitle("Templates at true size")
    canvas.setCreator("Outrib")
    ink = Ink(canvas)
    room = _room(paper)
    sheets = [sheet for template in templates for sheet in _sheets(template, room)]
    for number, sheet in enumerate(sheets, start=1):
        _draw(ink, sheet, layout, room)
        _words(ink, sheet, layout, paper, f"{foot} — sheet {number} of {len(sheets)}")
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _room(paper: Paper) -> tuple[float, float]:
    """Return the mm of a sheet that the drawing may take."""
    width, height = (side / POINTS_PER_MM for side in PAPERS[paper])
    return width - 2.0 * MARGIN, height - 2.0 * MARGIN - HEAD - FOOT


def _sheets(template: Template, room: tuple[float, float]) -> Iterator[_Paper]:
    """Yield the sheets that a template takes, turned so that they are few."""
    count = len(template.strips)
    for number, strip in enumerate(template.strips, start=1):
        part = "" if count == 1 else f", part {number} of {count}"
        turns = [turned(strip, np.deg2rad(step)) for step in range(0, 180, TURN)]
        yield from min((list(_tiles(template, one, part, room)) for one in turns), key=len)


def _tiles(template: Template, strip: Strip, part: str, room: tuple[float, float]) -> Iterator[_Paper]:
    low, high = strip.line.min(axis=0) - ROOM, strip.line.max(axis=0) + ROOM
    steps = [side - OVERLAP for side in room]
    counts = [max(1, math.ceil((high[axis] - low[axis] - OVERLAP) / steps[axis])) for axis in (0, 1)]
    # What the sheets have over is shared out on both sides.
    size = [counts[axis] * steps[axis] + OVERLAP for axis in (0, 1)]
    first = [(low[axis] + high[axis] - size[axis]) / 2.0 for axis in (0, 1)]
    for row, column in itertools.product(range(counts[1]), range(counts[0])):
        corner = (float(first[0] + column * steps[0]), float(first[1] + row * steps[1]))
        if _shows(strip.line, corner, room):
            yield _Paper(template, strip, part, corner, (column + 1, row + 1), (counts[0], counts[1]))


def turned(strip: Strip, turn: float) -> Strip:
    """Return a strip turned on the paper."""
    cos, sin = math.cos(turn), math.sin(turn)
    turns = np.array([[cos, sin], [-sin, cos]])
    marks = tuple((number, _xy(np.array(place) @ turns)) for number, place in strip.marks)
    return replace(strip, line=strip.line @ turns, rims=tuple(rim @ turns for rim in strip.rims), marks=marks)


def _xy(point: Floats) -> tuple[float, float]:
    return float(point[0]), float(point[1])


def _shows(line: Floats, corner: tuple[float, float], room: tuple[float, float]) -> bool:
    """Say whether a line (k, 2) comes near the sheet at a corner of the drawing."""
    steps = np.linspace(0.0, 1.0, 9)[:, None, None]
    places = (line[:-1] + steps * (line[1:] - line[:-1])).reshape(-1, 2) - np.array(corner)
    near: bool = bool(((places > -TICK) & (places < np.array(room) + TICK)).all(axis=1).any())
    return near


def _draw(ink: Ink, sheet: _Paper, layout: Layout, room: tuple[float, float]) -> None:
    """Draw what of the strip lies on this sheet."""
    canvas = ink.canvas
    canvas.saveState()
    canvas.translate(MARGIN * POINTS_PER_MM, (MARGIN + FOOT) * POINTS_PER_MM)
    canvas.scale(POINTS_PER_MM, POINTS_PER_MM)
    frame = canvas.beginPath()
    frame.rect(0.0, 0.0, *room)
    canvas.clipPath(frame, stroke=0, fill=0)
    canvas.translate(-sheet.corner[0], -sheet.corner[1])
    for rim in sheet.strip.rims:
        _line(canvas, rim, 0.25, 0.45)
    for tick in ticks(sheet.strip):
        _line(canvas, tick, 0.2, 0.3)
    _line(canvas, sheet.strip.line, 0.5, 0.0)
    for number, (x, y) in sheet.strip.marks:
        _line(canvas, np.array([(x - CROSS, y), (x + CROSS, y)]), 0.25, 0.0)
        _line(canvas, np.array([(x, y - CROSS), (x, y + CROSS)]), 0.25, 0.0)
        ink.words(x + 1.5, y + 1.5, str(number), 4.0, True)
    for x, y in _register(sheet, room):
        canvas.setLineWidth(0.2)
        canvas.circle(x, y, CROSS / 2.0, stroke=1, fill=0)
        _line(canvas, np.array([(x - CROSS, y), (x + CROSS, y)]), 0.2, 0.0)
        _line(canvas, np.array([(x, y - CROSS), (x, y + CROSS)]), 0.2, 0.0)
    canvas.restoreState()
    canvas.setLineWidth(0.4)
    canvas.setDash([3, 3])
    canvas.rect(
        MARGIN * POINTS_PER_MM, (MARGIN + FOOT) * POINTS_PER_MM, *(side * POINTS_PER_MM for side in room)
    )
    canvas.setDash()


def _register(sheet: _Paper, room: tuple[float, float]) -> Iterator[tuple[float, float]]:
    """Yield the middles of the overlaps with neighbouring sheets, in mm of the drawing."""
    (x, y), half = sheet.corner, OVERLAP / 2.0
    sides = (x + half, x + room[0] - half)
    levels = (y + half, y + room[1] - half)
    column, row = sheet.place
    columns, rows = sheet.places
    across = [
        side for side, is_shared in zip(sides, (column > 1, column < columns), strict=True) if is_shared
    ]
    up = [level for level, is_shared in zip(levels, (row > 1, row < rows), strict=True) if is_shared]
    for side in across:
        yield from ((side, y + part * room[1]) for part in (0.25, 0.75))
    for level in up:
        yield from ((x + part * room[0], level) for part in (0.25, 0.75))


def ticks(strip: Strip) -> Iterator[Floats]:
    """Yield short strokes (2, 2) from the line to the side that comes off."""
    line = strip.line
    steps = np.linalg.norm(np.diff(line, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    for place in np.arange(TICK_EVERY / 2.0, along[-1], TICK_EVERY):
        number = min(int(np.searchsorted(along, place)), len(line) - 1)
        forward = (line[number] - line[number - 1]) / max(steps[number - 1], 1e-9)
        start = line[number] - forward * (along[number] - place)
        out = strip.waste * np.array([-forward[1], forward[0]])
        yield np.stack([start, start + TICK * (out + 0.5 * forward)])


def _line(canvas: Any, points: Floats, width: float, grey: float) -> None:
    canvas.setStrokeGray(grey)
    canvas.setLineWidth(width)
    path = canvas.beginPath()
    path.moveTo(*map(float, points[0]))
    for point in points[1:]:
        path.lineTo(*map(float, point))
    canvas.drawPath(path, stroke=1, fill=0)
    canvas.setStrokeGray(0.0)


def _words(ink: Ink, sheet: _Paper, layout: Layout, paper: Paper, foot: str) -> None:
    """Write above and below the drawing: what it is, and bars to see whether the printer kept the size."""
    width, height = PAPERS[paper]
    left, mm = MARGIN * POINTS_PER_MM, POINTS_PER_MM
    name = wording.one_line(layout.panels[sheet.template.panel].name)
    side = cut_page.side_words(sheet.template.side)
    cut = "" if sheet.template.count == 1 else f", cut {sheet.template.number}"
    top = height - MARGIN * mm
    inner = width - 2.0 * left
    room = inner * TITLE_PART
    # A long name gives way, so that which cut it is can be read on each sheet.
    rest = room - 6.0 - text_width(f"{side}: {cut}{sheet.part}", TITLE * SHRINK, True)
    title = f"{side}: {shortened(name, TITLE * SHRINK, True, rest)}{cut}{sheet.part}"
    ink.aligned(left, top - 14.0, room, title, TITLE, True, "left")
    tile = f"{'ABCDEFGHIJKLMNOPQRSTUVWXYZ'[(sheet.place[1] - 1) % 26]}{sheet.place[0]}"
    tiles = sheet.places[0] * sheet.places[1]
    of = "one sheet" if tiles == 1 else f"sheet {tile}, {sheet.places[0]} across and {sheet.places[1]} up"
    ink.aligned(left + inner * 0.6, top - 14.0, inner * 0.4, of, 10.0, False, "right")
    ink.aligned(left, top - 26.0, inner, READING, 8.0, False, "left")
    ink.aligned(left, top - 36.0, inner, LIES[sheet.strip.is_flat], 8.0, True, "left")
    for base, length, text in ((38.0, 100.0, "100 mm"), (18.0, INCHES * 25.4, "4 in")):
        base += MARGIN * mm
        ink.line(left, base, left + length * mm, base, 0.8)
        for end in (left, left + length * mm):
            ink.line(end, base - 5.0, end, base + 5.0, 0.8)
        ink.words(left + length * mm + 8.0, base - 3.0, f"must measure {text}", 8.0, False)
    ink.aligned(left, MARGIN * mm - 2.0, inner, foot, 7.5, False, "left")
