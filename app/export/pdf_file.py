"""Write a sheet as PDF: large type, black on white, vector lines, page numbers."""

import io
import re
from collections.abc import Callable, Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal

from msgspec import Struct
from msgspec.structs import replace

from app.export import beside, drawing
from app.export.drawing import Disc, Drawing, Face, Stroke, Words
from app.export.sheet import Block, Cell, Fact, Facts, Page, Picture, Sheet, Table, Text, Tone
from app.export.views import Views
from geometry.progress import Progress, no_progress

Paper = Literal["A4", "letter"]
PAPERS: dict[Paper, tuple[float, float]] = {"A4": (595.276, 841.890), "letter": (612.0, 792.0)}

FONTS = Path(__file__).parents[2] / "assets" / "fonts"
REGULAR, BOLD = "DejaVuSansCondensed", "DejaVuSansCondensed-Bold"

MARGIN = 36.0  # half an inch, inside what any printer prints
FOOT_ROOM = 20.0
HEAD_ROOM = 43.0
GAP = 9.0  # between blocks
TITLE_SIZE, LEAST_TITLE = 30.0, 15.0
LEAST_VIEWS, MOST_VIEWS = 190.0, 380.0
PICTURE_HEIGHT = 210.0
TYPE_SCALES = (1.25, 1.12, 1.0)  # the largest at which a page needs one paper is taken
LARGEST_TABLE = 1.08  # columns leave no room for figures larger than that
PADDING = 10.0  # in each cell, left and right together
WIDEST_COLUMN = 0.28  # of the paper: what a long name may take
FACT_SHRINK = 0.85
SHRINK = 0.7  # text that is too wide gets this much smaller before it is cut short
_GLUE = re.compile(r"(?<=[0-9]) (?=[0-9]+/[0-9]|(?:mm|in|kg|lb)\b)")  # a number stays with its unit
ASCENT = 0.76  # of the size: from the base line to the top of capitals and figures


class _Look(Struct, frozen=True):
    """Sizes of a table's text, in points."""

    size: float
    under: float
    head: float
    bold: bool
    air: float


LARGE = _Look(14.5, 10.0, 9.5, True, 6.0)
LIST = _Look(11.0, 8.5, 9.0, False, 5.0)
TONES: dict[Tone, tuple[float, float]] = {  # size of text, width of the frame (0: none)
    "plain": (9.5, 0.0),
    "findings": (11.0, 0.8),
    "stop": (15.0, 3.0),
    "caution": (9.5, 0.8),
}


class _Part(Struct, frozen=True):
    """A piece of a block that isn't split: its height, and how to draw it below a y."""

    height: float
    draw: Callable[[float], None]
    heading: "_Part | None" = None  # stands above it where it starts a new paper


class _Printed(Struct):
    """One sheet of paper: what it belongs to, and its parts."""

    page: Page
    is_first: bool
    parts: list[_Part]


def write(sheet: Sheet, path: Path, paper: Paper = "A4", progress: Progress = no_progress) -> None:
    """Write the sheet beside the target, then replace it."""
    beside.write(path, content(sheet, paper, progress))


def content(sheet: Sheet, paper: Paper = "A4", progress: Progress = no_progress) -> bytes:
    """Return the PDF."""
    return _Writer(sheet, paper).content(progress)


def text_width(text: str, size: float, bold: bool) -> float:
    """Return how wide a text is, in points."""
    from reportlab.pdfbase import pdfmetrics

    _register_fonts()
    return float(pdfmetrics.stringWidth(text, BOLD if bold else REGULAR, size))


@lru_cache(maxsize=1)
def _register_fonts() -> None:
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    for name in (REGULAR, BOLD):
        pdfmetrics.registerFont(TTFont(name, FONTS / f"{name}.ttf"))


class _Writer:
    """Lays pages out first, then draws them, so that every page can say how many there are."""

    def __init__(self, sheet: Sheet, paper: Paper) -> None:
        from reportlab.pdfgen.canvas import Canvas

        _register_fonts()
        self.sheet = sheet
        self.width, self.height = PAPERS[paper]
        self.inner = self.width - 2.0 * MARGIN
        self.room = self.height - 2.0 * MARGIN - HEAD_ROOM - FOOT_ROOM
        self.buffer = io.BytesIO()
        self.canvas: Any = Canvas(
            self.buffer, pagesize=(self.width, self.height), invariant=True, pageCompression=1
        )
        self.canvas.setTitle(sheet.title)
        self.canvas.setCreator("Outrib")
        self.number_of: dict[str, int] = {}
        self.type = 1.0

    def content(self, progress: Progress) -> bytes:
        printed: list[_Printed] = []
        for index, page in enumerate(self.sheet.pages):
            progress(0.5 * index / len(self.sheet.pages), f"Laying out {page.title}")
            self.number_of[page.key] = len(printed) + 1
            printed += self._flowed(page)
        for index, paper in enumerate(printed):
            progress(0.5 + 0.5 * index / len(printed), f"Drawing page {index + 1}")
            self._draw_paper(paper, index + 1, len(printed))
        self.canvas.save()
        return self.buffer.getvalue()

    def _flowed(self, page: Page) -> list[_Printed]:
        """Set a page in the largest type that keeps it on one paper, or let it run on in the usual type."""
        for self.type in TYPE_SCALES:
            papers = self._spread(page)
            if len(papers) == 1 and self._has_room_for_views(page):
                break
        return papers

    def _has_room_for_views(self, page: Page) -> bool:
        """Say whether the views get the height they want: larger words are no reason for smaller views."""
        spare = self._spare(page)
        return all(
            drawing.wanted_height(block, self.inner, MOST_VIEWS) <= spare
            for block in page.blocks
            if isinstance(block, Views)
        )

    def _spare(self, page: Page) -> float:
        """Return the height that the rest of the page leaves on one paper."""
        rest = (block for block in page.blocks if not isinstance(block, Views))
        return self.room - sum(sum(part.height for part in self._parts(block)) + GAP for block in rest) - GAP

    def _spread(self, page: Page) -> list[_Printed]:
        """Spread the parts of a page over as many sheets of paper as they need."""
        papers = [_Printed(page, True, [])]
        left = self.room
        spare = min(max(self._spare(page), LEAST_VIEWS), MOST_VIEWS)
        for block in page.blocks:
            for part in self._parts(block, spare):
                if part.height > left and papers[-1].parts:
                    heading = [part.heading] if part.heading else []
                    papers.append(_Printed(page, False, heading))
                    left = self.room - sum(again.height for again in heading)
                papers[-1].parts.append(part)
                left -= part.height
            papers[-1].parts.append(_Part(GAP, lambda y: None))
            left -= GAP
        return papers

    def _parts(self, block: Block, room: float = LEAST_VIEWS) -> list[_Part]:
        match block:
            case Table():
                return list(self._table(block))
            case Facts():
                return list(self._facts(block))
            case Text():
                return list(self._text(block))
            case Picture():
                return [self._picture(block)]
            case Views():
                return [self._views(block, room)]

    def _draw_paper(self, paper: _Printed, number: int, count: int) -> None:
        self._head(paper)
        self._foot(number, count)
        y = self.height - MARGIN - HEAD_ROOM
        for part in paper.parts:
            part.draw(y)
            y -= part.height
        if paper.is_first:
            self.canvas.bookmarkPage(paper.page.key)
            self.canvas.addOutlineEntry(paper.page.title, paper.page.key, 0)
        self.canvas.showPage()

    def _head(self, paper: _Printed) -> None:
        aside = _cut(paper.page.aside, 11.0, False, self.inner * 0.42)
        aside_width = text_width(aside, 11.0, False)
        room = self.inner - aside_width - 16.0
        title = paper.page.title if paper.is_first else f"{paper.page.title} — continued"
        size = _fitting_size(title, TITLE_SIZE, True, room, LEAST_TITLE / TITLE_SIZE)
        base = self.height - MARGIN - 27.0
        lines = _two_lines(title, size, True, room)
        for index, line in enumerate(reversed(lines)):
            self._words(MARGIN, base + index * size * 1.15, line, size, True)
        self._words(self.width - MARGIN - aside_width, base, aside, 11.0)
        self._line(MARGIN, base - 9.0, self.width - MARGIN, base - 9.0, 1.6)

    def _foot(self, number: int, count: int) -> None:
        self._line(MARGIN, MARGIN + 12.0, self.width - MARGIN, MARGIN + 12.0, 0.5)
        page = f"page {number} of {count}"
        wide = text_width(page, 11.0, True)
        self._words(self.width - MARGIN - wide, MARGIN, page, 11.0, True)
        foot = _cut(self.sheet.foot, 9.0, False, self.inner - wide - 12.0)
        self._words(MARGIN, MARGIN, foot, 9.0)

    # Tables

    def _table(self, table: Table) -> Iterator[_Part]:
        look = _scaled(LARGE if table.large else LIST, self.type)
        needs = _needs(table, look, self.inner)
        if sum(needs) > self.inner:
            look = replace(look, size=look.size * max(self.inner / sum(needs), SHRINK))
            needs = _needs(table, look, self.inner)
        spare = (self.inner - sum(needs)) / sum(column.share for column in table.columns)
        widths = [need + spare * column.share for need, column in zip(needs, table.columns, strict=True)]
        head = self._table_head(table, look, widths)
        again = self._table_head(replace(table, heading=""), look, widths)
        tall = any(cell.under for row in table.rows for cell in row)
        height = look.size + look.air + (look.under + 2.0 if tall else 0.0)
        for index, row in enumerate(table.rows):
            body = self._row(table, row, look, widths, height, tall)
            # The heading stays with the first row; later rows may go on to the next paper alone.
            yield _joined([head, body]) if index == 0 else replace(body, heading=again)
        if not table.rows:
            yield head

    def _table_head(self, table: Table, look: _Look, widths: list[float]) -> _Part:
        titles = [
            _wrapped(column.title, look.head, False, width - PADDING / 2.0)
            for column, width in zip(table.columns, widths, strict=True)
        ]
        lines = max(len(title) for title in titles)
        top = 17.0 if table.heading else 0.0
        height = top + lines * (look.head + 1.5) + 6.0

        def draw(y: float) -> None:
            if table.heading:
                self._words(MARGIN, y - 12.0, table.heading, 12.0, True)
            x = MARGIN
            for column, title, width in zip(table.columns, titles, widths, strict=True):
                for index, words in enumerate(title):
                    line = lines - len(title) + index
                    base = y - top - (line + 1) * (look.head + 1.5)
                    self._aligned(x, base, width, words, look.head, False, column.align)
                x += width
            self._line(MARGIN, y - height + 1.0, self.width - MARGIN, y - height + 1.0, 1.2)

        return _Part(height, draw)

    def _row(
        self,
        table: Table,
        row: tuple[Cell, ...],
        look: _Look,
        widths: list[float],
        height: float,
        tall: bool,
    ) -> _Part:
        room = widths[0] - 6.0
        small = look.size * 0.85
        name = [row[0].text]
        if not table.large and text_width(row[0].text, small, look.bold) > room:
            name = _two_lines(row[0].text, small, look.bold, room)
            height = max(height, 2.0 * small * 1.15 + look.air)

        def draw(y: float) -> None:
            x = MARGIN
            for index, (cell, column, width) in enumerate(zip(row, table.columns, widths, strict=True)):
                text = str(self.number_of.get(cell.page_of, "")) if cell.page_of else cell.text
                base = y - height / 2.0 - look.size * ASCENT / 2.0
                if cell.under:
                    base += (look.under + 3.0) / 2.0
                    under = base - look.under - 3.0
                    self._aligned(x, under, width, cell.under, look.under, False, column.align)
                if index == 0 and len(name) > 1:
                    for line, words in enumerate(name):
                        self._words(x, base + (0.5 - line) * small * 1.15, words, small, look.bold)
                else:
                    self._aligned(x, base, width, text, look.size, look.bold, column.align)
                if cell.page_of:
                    self._link(cell.page_of, x, y - height, width, height)
                x += width
            self._line(MARGIN, y - height, self.width - MARGIN, y - height, 0.4)

        return _Part(height, draw)

    def _link(self, key: str, x: float, y: float, width: float, height: float) -> None:
        self.canvas.linkRect("", key, (x, y, x + width, y + height), thickness=0)

    # Facts, words, pictures, views

    def _facts(self, facts: Facts) -> Iterator[_Part]:
        width = self.inner / facts.columns
        rows = [facts.facts[i : i + facts.columns] for i in range(0, len(facts.facts), facts.columns)]
        parts = [self._fact_row(row, width) for row in rows]
        yield _joined(parts)

    def _fact_row(self, row: tuple[Fact, ...], width: float) -> _Part:
        label, under = 9.5 * self.type, 10.0 * self.type
        usual = 14.0 * min(self.type, LARGEST_TABLE)
        sizes = [19.0 if fact.strong else usual for fact in row]
        room = width - 12.0
        lines = []
        for index, fact in enumerate(row):
            # A long name takes two lines rather than small print.
            if text_width(fact.value, sizes[index] * FACT_SHRINK, True) > room:
                sizes[index] *= FACT_SHRINK
                lines.append(_two_lines(fact.value, sizes[index], True, room))
            else:
                sizes[index] = _fitting_size(fact.value, sizes[index], True, room, FACT_SHRINK)
                lines.append([fact.value])
        tall = max(size * (1.15 * len(texts) - 0.15) for size, texts in zip(sizes, lines, strict=True))
        has_under = any(fact.under for fact in row)
        height = label + 2.5 + tall + (under + 2.5 if has_under else 0.0) + 7.0

        def draw(y: float) -> None:
            for index, fact in enumerate(row):
                x = MARGIN + index * width
                self._aligned(x, y - label, width - 4.0, fact.label, label, False, "left")
                # Single lines stand on the base line of the tallest figure beside them.
                base = y - label - 2.5 - (tall if len(lines[index]) == 1 else sizes[index]) * 0.9
                if len(lines[index]) == 1 and max(len(texts) for texts in lines) > 1:
                    base = y - label - 2.5 - sizes[index] * 0.9
                for text in lines[index]:
                    self._words(x, base, text, sizes[index], True)
                    base -= sizes[index] * 1.15
                base += sizes[index] * 1.15
                self._aligned(x, base - under - 3.0, width - 6.0, fact.under, under, False, "left")
            self._line(MARGIN, y - height + 2.0, self.width - MARGIN, y - height + 2.0, 0.4)

        return _Part(height, draw)

    def _text(self, text: Text) -> Iterator[_Part]:
        size, frame = TONES[text.tone]
        size *= self.type
        inset = 8.0 if frame else 0.0
        heading_size = max(size, 11.0) + (9.0 if text.tone == "stop" else 1.0)
        pieces: list[_Part] = []
        if frame:
            pieces.append(_Part(inset * 0.7, lambda y: None))
        if text.heading:
            pieces += self._paragraph(text.heading, heading_size, True, inset)
        for paragraph in text.paragraphs:
            pieces += self._paragraph(paragraph, size, False, inset)
        if frame:
            pieces.append(_Part(inset * 0.7, lambda y: None))
        # The heading stays with what follows; every piece draws its own stretch of the frame.
        kept = 3 if frame and text.heading else 1
        pieces = [_joined(pieces[:kept]), *pieces[kept:]]
        if len(pieces) > 1 and frame:
            pieces[-2:] = [_joined(pieces[-2:])]
        for index, piece in enumerate(pieces):
            yield (
                self._framed(piece, frame, index == 0, index == len(pieces) - 1, text.tone)
                if frame
                else piece
            )

    def _paragraph(self, words: str, size: float, bold: bool, inset: float) -> list[_Part]:
        lines = _wrapped(words, size, bold, self.inner - 2.0 * inset)
        leading = size * 1.28

        def draw(y: float) -> None:
            for index, line in enumerate(lines):
                self._words(MARGIN + inset, y - index * leading - size, line, size, bold)

        return [_Part(len(lines) * leading + size * 0.3, draw)]

    def _framed(self, part: _Part, width: float, first: bool, last: bool, tone: Tone) -> _Part:
        """Return the part with its stretch of a frame: open where the text goes on."""

        def draw(y: float) -> None:
            left, right, low = MARGIN, self.width - MARGIN, y - part.height
            for x in (left, right):
                self._line(x, y, x, low, width)
            if first:
                self._line(left, y, right, y, width)
            if last:
                self._line(left, low, right, low, width)
            part.draw(y)

        return _Part(part.height, draw)

    def _picture(self, picture: Picture) -> _Part:
        from reportlab.lib.utils import ImageReader

        image = ImageReader(io.BytesIO(picture.png))
        across, up = image.getSize()
        scale = min(self.inner / across, PICTURE_HEIGHT / up)
        width, height = across * scale, up * scale

        def draw(y: float) -> None:
            x = MARGIN + (self.inner - width) / 2.0
            self.canvas.drawImage(image, x, y - height, width, height, mask=None)
            self.canvas.setLineWidth(0.6)
            self.canvas.rect(x, y - height, width, height)

        return _Part(height, draw)

    def _views(self, views: Views, room: float) -> _Part:
        height = drawing.wanted_height(views, self.inner, room)
        placed = drawing.place(views, self.inner, height, text_width)

        def draw(y: float) -> None:
            self.canvas.saveState()
            self.canvas.translate(MARGIN, y - height)
            self._marks(placed)
            self.canvas.restoreState()

        return _Part(height, draw)

    def _marks(self, placed: Drawing) -> None:
        canvas = self.canvas
        canvas.setLineJoin(1)
        for mark in placed.marks:
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
        canvas.setFillGray(0.0)
        canvas.setStrokeGray(0.0)

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
        canvas.rotate(words.angle * 180.0 / 3.141592653589793)
        if words.clear:
            canvas.setFillGray(1.0)
            canvas.rect(-wide / 2.0 - 2.0, -words.size / 2.0, wide + 4.0, words.size, stroke=0, fill=1)
        self._words(-wide / 2.0, -words.size * ASCENT / 2.0, words.text, words.size, words.bold)
        canvas.restoreState()

    # Ink

    def _words(self, x: float, y: float, text: str, size: float, bold: bool = False) -> None:
        self.canvas.setFillGray(0.0)
        self.canvas.setFont(BOLD if bold else REGULAR, size)
        self.canvas.drawString(x, y, text)

    def _aligned(
        self, x: float, y: float, width: float, text: str, size: float, bold: bool, align: str
    ) -> None:
        """Write a text into a cell: smaller where it is too wide, cut short at last."""
        room = width - 6.0
        size = _fitting_size(text, size, bold, room, SHRINK)
        text = _cut(text, size, bold, room)
        wide = text_width(text, size, bold)
        shift = {"left": 0.0, "centre": (width - wide) / 2.0, "right": width - wide - 3.0}[align]
        self._words(x + shift, y, text, size, bold)

    def _line(self, ax: float, ay: float, bx: float, by: float, width: float) -> None:
        self.canvas.setStrokeGray(0.0)
        self.canvas.setLineWidth(width)
        self.canvas.line(ax, ay, bx, by)


def _needs(table: Table, look: _Look, inner: float) -> list[float]:
    """Return the width that each column's widest text asks for; long names ask for a part only."""
    needs = []
    for index, column in enumerate(table.columns):
        words = [(word, look.head, False) for word in column.title.split("\n")]
        for row in table.rows:
            words += [(row[index].text, look.size, look.bold), (row[index].under, look.under, False)]
        widest = max(text_width(*word) for word in words) + PADDING
        needs.append(min(widest, inner * WIDEST_COLUMN))
    return needs


def _scaled(look: _Look, type: float) -> _Look:
    return _Look(
        look.size * min(type, LARGEST_TABLE),
        look.under * min(type, LARGEST_TABLE),
        look.head * min(type, LARGEST_TABLE),
        look.bold,
        look.air * type,
    )


def _joined(parts: list[_Part]) -> _Part:
    """Return parts that stay together as one."""

    def draw(y: float) -> None:
        for part in parts:
            part.draw(y)
            y -= part.height

    return _Part(sum(part.height for part in parts), draw)


def _fitting_size(text: str, size: float, bold: bool, room: float, least: float) -> float:
    wide = text_width(text, size, bold)
    return size if wide <= room else max(size * room / wide, size * least)


def _cut(text: str, size: float, bold: bool, room: float) -> str:
    """Return the text, cut short with a … where it is wider than the room."""
    if text_width(text, size, bold) <= room + 0.01:  # shrunk text has exactly this width
        return text
    kept, low, high = "", 0, len(text)
    while low < high:
        middle = (low + high + 1) // 2
        kept = text[:middle].rstrip() + "…"
        low, high = (middle, high) if text_width(kept, size, bold) <= room else (low, middle - 1)
    return text[:low].rstrip() + "…"


def _two_lines(text: str, size: float, bold: bool, room: float) -> list[str]:
    """Return the text in one or two lines, cut short after the second."""
    lines = _wrapped(text, size, bold, room)
    return lines if len(lines) < 2 else [lines[0], _cut(" ".join(lines[1:]), size, bold, room)]


def _wrapped(text: str, size: float, bold: bool, room: float) -> list[str]:
    """Return the text in lines; a word wider than a line is broken."""
    lines: list[str] = []
    line = ""
    if "\n" in text:
        return [line for part in text.split("\n") for line in _wrapped(part, size, bold, room)]
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
