"""Words, lines and drawings on the paper of a PDF, in points from the lower left corner."""

import math
import re
from functools import lru_cache
from pathlib import Path
from typing import Any

from app.export.drawing import Disc, Face, Mark, Stroke, Words
from app.export.sheet import Align

FONTS = Path(__file__).parents[2] / "assets" / "fonts"
REGULAR, BOLD = "DejaVuSansCondensed", "DejaVuSansCondensed-Bold"

SHRINK = 0.7  # text that is too wide gets this much smaller before it is cut short
ASCENT = 0.76  # of the size: from the base line to the top of capitals and figures
_GLUE = re.compile(r"(?<=[0-9]) (?=[0-9]+/[0-9]|(?:mm|in|kg|lb)\b)")  # a number stays with its unit


class Ink:
    """Draws on one canvas."""

    def __init__(self, canvas: Any) -> None:
        register_fonts()
        self.canvas = canvas
        self.number_of: dict[str, int] = {}  # of the page with a key

    def words(
        self, x: float, y: float, text: str, size: float, bold: bool = False, grey: float = 0.0
    ) -> None:
        """Write a text from a place on its base line."""
        self.canvas.setFillGray(grey)
        self.canvas.setFont(BOLD if bold else REGULAR, size)
        self.canvas.drawString(x, y, text)
        self.canvas.setFillGray(0.0)

    def aligned(
        self, x: float, y: float, width: float, text: str, size: float, bold: bool, align: Align
    ) -> None:
        """Write a text into a cell: smaller where it is too wide, cut short at last."""
        room = width - 6.0
        size = fitting_size(text, size, bold, room, SHRINK)
        text = cut(text, size, bold, room)
        wide = text_width(text, size, bold)
        shift = {"left": 0.0, "centre": (width - wide) / 2.0, "right": width - wide - 3.0}[align]
        self.words(x + shift, y, text, size, bold)

    def line(self, ax: float, ay: float, bx: float, by: float, width: float) -> None:
        self.canvas.setStrokeGray(0.0)
        self.canvas.setLineWidth(width)
        self.canvas.line(ax, ay, bx, by)

    def block(self, x: float, y: float, width: float, height: float, grey: float = 0.0) -> None:
        """Fill a rectangle from its lower left corner."""
        self.canvas.setFillGray(grey)
        self.canvas.rect(x, y, width, height, stroke=0, fill=1)
        self.canvas.setFillGray(0.0)

    def marks(self, marks: tuple[Mark, ...], x: float, y: float) -> None:
        """Draw marks whose origin lies at a place."""
        canvas = self.canvas
        canvas.saveState()
        canvas.translate(x, y)
        canvas.setLineJoin(1)
        for mark in marks:
            self._mark(mark)
        canvas.restoreState()

    def _mark(self, mark: Mark) -> None:
        canvas = self.canvas
        match mark:
            case Stroke(points, width, grey, dash, is_round):
                canvas.setLineCap(1 if is_round else 0)
                canvas.setStrokeGray(grey)
                canvas.setLineWidth(width)
                canvas.setDash(list(dash))
                canvas.drawPath(self._path(points, closed=False), stroke=1, fill=0)
                canvas.setDash()
            case Face(points, grey, edge):
                canvas.setStrokeGray(0.0)
                canvas.setFillGray(grey)
                canvas.setLineWidth(edge)
                canvas.drawPath(self._path(points, closed=True), stroke=1, fill=1)
            case Disc(at, radius):
                canvas.setStrokeGray(0.0)
                canvas.setFillGray(1.0)
                canvas.setLineWidth(1.1)
                canvas.circle(*at, radius, stroke=1, fill=1)
            case Words():
                self._placed_words(mark)

    def _path(self, points: tuple[tuple[float, float], ...], closed: bool) -> Any:
        path = self.canvas.beginPath()
        path.moveTo(*points[0])
        for point in points[1:]:
            path.lineTo(*point)
        if closed:
            path.close()
        return path

    def _placed_words(self, words: Words) -> None:
        canvas = self.canvas
        wide = text_width(words.text, words.size, words.bold)
        canvas.saveState()
        canvas.translate(*words.at)
        canvas.rotate(math.degrees(words.angle))
        if words.clear:
            self.block(-wide / 2.0 - 2.0, -words.size / 2.0, wide + 4.0, words.size, 1.0)
        self.words(-wide / 2.0, -words.size * ASCENT / 2.0, words.text, words.size, words.bold)
        canvas.restoreState()


def text_width(text: str, size: float, bold: bool) -> float:
    """Return how wide a text is, in points."""
    from reportlab.pdfbase import pdfmetrics

    register_fonts()
    return float(pdfmetrics.stringWidth(text, BOLD if bold else REGULAR, size))


@lru_cache(maxsize=1)
def register_fonts() -> None:
    """Make the fonts known, once."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    for name in (REGULAR, BOLD):
        pdfmetrics.registerFont(TTFont(name, FONTS / f"{name}.ttf"))


def fitting_size(text: str, size: float, bold: bool, room: float, least: float) -> float:
    """Return the size at which a text fits, but no less than a part of the one wanted."""
    wide = text_width(text, size, bold)
    return size if wide <= room else max(size * room / wide, size * least)


def cut(text: str, size: float, bold: bool, room: float) -> str:
    """Return the text, cut short with a … where it is wider than the room."""
    if text_width(text, size, bold) <= room + 0.01:  # shrunk text has exactly this width
        return text
    kept, low, high = "", 0, len(text)
    while low < high:
        middle = (low + high + 1) // 2
        kept = text[:middle].rstrip() + "…"
        low, high = (middle, high) if text_width(kept, size, bold) <= room else (low, middle - 1)
    return text[:low].rstrip() + "…"


def two_lines(text: str, size: float, bold: bool, room: float) -> list[str]:
    """Return the text in one or two lines, cut short after the second."""
    lines = wrapped(text, size, bold, room)
    return lines if len(lines) < 2 else [lines[0], cut(" ".join(lines[1:]), size, bold, room)]


def wrapped(text: str, size: float, bold: bool, room: float) -> list[str]:
    """Return the text in lines; a word wider than a line is broken."""
    lines: list[str] = []
    line = ""
    if "\n" in text:
        return [line for part in text.split("\n") for line in wrapped(part, size, bold, room)]
    for word in _GLUE.sub("\u00a0", text).split(" "):
        longer = f"{line} {word}".strip()
        if text_width(longer, size, bold) <= room + 0.01:
            line = longer
            continue
        if line:
            lines.append(line)
        line = word
        while text_width(line, size, bold) > room + 0.01 and len(line) > 1:
            count = len(line)
            while count > 1 and text_width(line[:count], size, bold) > room:
                count -= 1
            lines.append(line[:count])
            line = line[count:]
    return [*lines, line] if line or not lines else lines
