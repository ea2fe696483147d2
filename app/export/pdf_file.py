"""Write a sheet as PDF: large type, black on white, vector lines, page numbers."""

import io
from collections.abc import Iterator, Sequence
from itertools import zip_longest
from pathlib import Path
from typing import Any, Literal

from msgspec import Struct

from app.export import beside, drawing, pdf_table, plan, turning
from app.export.ink import Ink, cut, fitting_size, text_width, two_lines, wrapped
from app.export.pdf_part import Part, joined
from app.export.plan import Plan
from app.export.sheet import Block, Fact, Facts, Page, Picture, Sheet, Table, Text, Tone
from app.export.turning import Stance
from app.export.views import Views
from geometry.progress import Progress, no_progress

Paper = Literal["A4", "letter"]
PAPERS: dict[Paper, tuple[float, float]] = {"A4": (595.276, 841.890), "letter": (612.0, 792.0)}

MARGIN = 36.0  # half an inch left and right, for holes
EDGE = 26.0  # above and below; inside what any printer prints
FOOT_ROOM = 30.0
HEAD_ROOM = 38.0
GAP = 7.0  # between blocks
TITLE_SIZE, LEAST_TITLE = 30.0, 15.0
USUAL_VIEWS, MOST_VIEWS = 280.0, 380.0
SCANTY = 30.0  # more than the least height of the views makes them worth being on the first of two papers
PICTURE_HEIGHT = 210.0
TYPE_SCALES = (1.25, 1.12, 1.0)  # the largest at which a page needs one paper is taken
FACT_SHRINK = 0.85
STANCE_TYPE = 9.2
TONES: dict[Tone, tuple[float, float]] = {  # size of text, width of the frame (0: none)
    "plain": (9.5, 0.0),
    "small": (8.2, 0.0),
    "findings": (11.0, 0.8),
    "stop": (15.0, 3.0),
    "warning": (9.5, 2.4),
    "caution": (9.5, 0.8),
}


class _Printed(Struct):
    """One sheet of paper: what it belongs to, and its parts."""

    page: Page
    is_first: bool
    parts: list[Part]


def write(sheet: Sheet, path: Path, paper: Paper = "A4", progress: Progress = no_progress) -> None:
    """Write the sheet beside the target, then replace it."""
    beside.write(path, content(sheet, paper, progress))


def content(sheet: Sheet, paper: Paper = "A4", progress: Progress = no_progress) -> bytes:
    """Return the PDF."""
    return _Writer(sheet, paper).content(progress)


class _Writer:
    """Lays pages out first, then draws them, so that every page can say how many there are."""

    def __init__(self, sheet: Sheet, paper: Paper) -> None:
        from reportlab.pdfgen.canvas import Canvas

        self.sheet = sheet
        self.width, self.height = PAPERS[paper]
        self.inner = self.width - 2.0 * MARGIN
        self.room = self.height - 2.0 * EDGE - HEAD_ROOM - FOOT_ROOM
        self.buffer = io.BytesIO()
        self.canvas: Any = Canvas(
            self.buffer, pagesize=(self.width, self.height), invariant=True, pageCompression=1
        )
        self.canvas.setTitle(sheet.title)
        self.canvas.setCreator("Outrib")
        self.ink = Ink(self.canvas)
        self.type = 1.0

    def content(self, progress: Progress) -> bytes:
        printed: list[_Printed] = []
        for index, page in enumerate(self.sheet.pages):
            progress(0.5 * index / len(self.sheet.pages), f"Laying out {page.title}")
            self.ink.number_of[page.key] = len(printed) + 1
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
        spare = self._spare(page.blocks)
        return all(
            drawing.wanted_height(block, self.inner, MOST_VIEWS) <= spare
            for block in page.blocks
            if isinstance(block, Views)
        )

    def _spare(self, blocks: Sequence[Block]) -> float:
        """Return the height that the other blocks leave to the views on one paper."""
        rest = (block for block in blocks if not isinstance(block, Views))
        return self.room - sum(sum(part.height for part in self._parts(block)) + GAP for block in rest) - GAP

    def _spread(self, page: Page) -> list[_Printed]:
        """Spread the parts of a page over as many sheets of paper as they need."""
        papers = [_Printed(page, True, [])]
        left = self.room
        spare = self._views_height(page)
        for block, after in zip_longest(page.blocks, page.blocks[1:]):
            parts = self._parts(block, spare)
            is_kept = isinstance(block, Table) and (block.large or block.tight)
            keeps = is_kept and left < self._kept(parts, after) <= self.room
            for index, part in enumerate(parts):
                if (part.height > left or (keeps and index == 0)) and papers[-1].parts:
                    heading = [part.heading] if part.heading else []
                    papers.append(_Printed(page, False, heading))
                    left = self.room - sum(again.height for again in heading)
                papers[-1].parts.append(part)
                left -= part.height
            papers[-1].parts.append(Part(GAP, lambda y: None))
            left -= GAP
        return papers

    def _kept(self, parts: list[Part], after: Block | None) -> float:
        """Return the height of what stays together: a table, and how to stand below its steps."""
        below = sum(part.height for part in self._parts(after)) + GAP if isinstance(after, Stance) else 0.0
        return sum(part.height for part in parts) + below

    def _views_height(self, page: Page) -> float:
        """Return what the views get: what is left on one paper, or plenty where there are two anyway."""
        spare = self._spare(page.blocks)
        least = max(
            (drawing.least_height(block) for block in page.blocks if isinstance(block, Views)), default=0.0
        )
        if spare < least:
            needed = [isinstance(block, Stance) for block in page.blocks]
            first = page.blocks[: needed.index(True) + 1] if any(needed) else page.blocks
            spare = self._spare(first)
            if spare < least + SCANTY:  # the steps then stand together on the second paper
                spare = USUAL_VIEWS
        return min(spare, MOST_VIEWS)

    def _parts(self, block: Block, room: float = USUAL_VIEWS) -> list[Part]:
        match block:
            case Table():
                return list(pdf_table.parts(block, self.ink, MARGIN, self.inner, self.type))
            case Facts():
                return list(self._facts(block))
            case Text():
                return list(self._text(block))
            case Picture():
                return [self._picture(block)]
            case Views():
                return [self._views(block, room)]
            case Stance():
                return [self._stance(block)]
            case Plan():
                return [self._plan(block)]

    def _draw_paper(self, paper: _Printed, number: int, count: int) -> None:
        self._head(paper)
        self._foot(number, count)
        y = self.height - EDGE - HEAD_ROOM
        for part in paper.parts:
            part.draw(y)
            y -= part.height
        if paper.is_first:
            self.canvas.bookmarkPage(paper.page.key)
            self.canvas.addOutlineEntry(paper.page.title, paper.page.key, 0)
        self.canvas.showPage()

    def _head(self, paper: _Printed) -> None:
        aside = cut(paper.page.aside, 11.0, False, self.inner * 0.42)
        aside_width = text_width(aside, 11.0, False)
        room = self.inner - aside_width - 16.0
        title = paper.page.title if paper.is_first else f"{paper.page.title} — continued"
        size = fitting_size(title, TITLE_SIZE, True, room, LEAST_TITLE / TITLE_SIZE)
        base = self.height - EDGE - 25.0
        lines = two_lines(title, size, True, room)
        for index, line in enumerate(reversed(lines)):
            self.ink.words(MARGIN, base + index * size * 1.15, line, size, True)
        self.ink.words(self.width - MARGIN - aside_width, base, aside, 11.0)
        self.ink.line(MARGIN, base - 9.0, self.width - MARGIN, base - 9.0, 1.6)

    def _foot(self, number: int, count: int) -> None:
        base = EDGE + 10.0
        self.ink.line(MARGIN, base + 12.0, self.width - MARGIN, base + 12.0, 0.5)
        page = f"page {number} of {count}"
        wide = text_width(page, 11.0, True)
        self.ink.words(self.width - MARGIN - wide, base, page, 11.0, True)
        foot = cut(self.sheet.foot, 9.0, False, self.inner - wide - 12.0)
        self.ink.words(MARGIN, base, foot, 9.0)
        self.ink.words(MARGIN, EDGE, cut(self.sheet.claim, 8.0, False, self.inner), 8.0)

    # Facts, words, pictures, views

    def _facts(self, facts: Facts) -> Iterator[Part]:
        width = self.inner / facts.columns
        rows = [facts.facts[i : i + facts.columns] for i in range(0, len(facts.facts), facts.columns)]
        parts = [self._fact_row(row, width) for row in rows]
        yield joined(parts)

    def _fact_row(self, row: tuple[Fact, ...], width: float) -> Part:
        label, under = 9.5 * self.type, 10.0 * self.type
        usual = 14.0 * min(self.type, pdf_table.LARGEST_TABLE)
        sizes = [19.0 if fact.strong else usual for fact in row]
        room = width - 12.0
        lines = []
        for index, fact in enumerate(row):
            # A long name takes two lines rather than small print.
            if text_width(fact.value, sizes[index] * FACT_SHRINK, True) > room:
                sizes[index] *= FACT_SHRINK
                lines.append(two_lines(fact.value, sizes[index], True, room))
            else:
                sizes[index] = fitting_size(fact.value, sizes[index], True, room, FACT_SHRINK)
                lines.append([fact.value])
        tall = max(size * (1.15 * len(texts) - 0.15) for size, texts in zip(sizes, lines, strict=True))
        has_under = any(fact.under for fact in row)
        height = label + 2.5 + tall + (under + 2.5 if has_under else 0.0) + 5.5

        def draw(y: float) -> None:
            for index, fact in enumerate(row):
                x = MARGIN + index * width
                self.ink.aligned(x, y - label, width - 4.0, fact.label, label, False, "left")
                # Single lines stand on the base line of the tallest figure beside them.
                base = y - label - 2.5 - (tall if len(lines[index]) == 1 else sizes[index]) * 0.9
                if len(lines[index]) == 1 and max(len(texts) for texts in lines) > 1:
                    base = y - label - 2.5 - sizes[index] * 0.9
                for text in lines[index]:
                    self.ink.words(x, base, text, sizes[index], True)
                    base -= sizes[index] * 1.15
                base += sizes[index] * 1.15
                self.ink.aligned(x, base - under - 3.0, width - 6.0, fact.under, under, False, "left")
            self.ink.line(MARGIN, y - height + 2.0, self.width - MARGIN, y - height + 2.0, 0.4)

        return Part(height, draw)

    def _text(self, text: Text) -> Iterator[Part]:
        size, frame = TONES[text.tone]
        size *= self.type
        inset = 8.0 if frame else 0.0
        heading_size = max(size, 11.0) + {"stop": 9.0, "warning": 4.0}.get(text.tone, 1.0)
        pieces: list[Part] = []
        if text.tone == "warning":
            pieces.append(self._black_heading(text.heading, heading_size, inset))
        if frame:
            pieces.append(Part(inset * (0.3 if text.tone == "warning" else 0.7), lambda y: None))
        if text.heading and text.tone != "warning":
            pieces += self._paragraph(text.heading, heading_size, True, inset)
        for paragraph in text.paragraphs:
            pieces += self._paragraph(paragraph, size, False, inset)
        if frame:
            pieces.append(Part(inset * (0.4 if text.tone == "warning" else 0.7), lambda y: None))
        # The heading stays with what follows; every piece draws its own stretch of the frame.
        kept = (3 if frame else 2) if text.heading else 1
        pieces = [joined(pieces[:kept]), *pieces[kept:]]
        if len(pieces) > 1 and frame:
            pieces[-2:] = [joined(pieces[-2:])]
        for index, piece in enumerate(pieces):
            yield (
                self._framed(piece, frame, index == 0, index == len(pieces) - 1, text.tone)
                if frame
                else piece
            )

    def _black_heading(self, words: str, size: float, inset: float) -> Part:
        """Return a heading in white on black, which nobody overlooks."""
        lines = wrapped(words, size, True, self.inner - 2.0 * inset)
        height = len(lines) * size * 1.2 + 4.0

        def draw(y: float) -> None:
            self.ink.block(MARGIN, y - height, self.inner, height)
            for index, line in enumerate(lines):
                base = y - 1.0 - size * (index * 1.2 + 1.0)
                self.ink.words(MARGIN + inset, base, line, size, True, 1.0)

        return Part(height, draw)

    def _paragraph(self, words: str, size: float, bold: bool, inset: float) -> list[Part]:
        lines = wrapped(words, size, bold, self.inner - 2.0 * inset)
        leading = size * 1.28

        def draw(y: float) -> None:
            for index, line in enumerate(lines):
                self.ink.words(MARGIN + inset, y - index * leading - size, line, size, bold)

        return [Part(len(lines) * leading + size * 0.3, draw)]

    def _framed(self, part: Part, width: float, first: bool, last: bool, tone: Tone) -> Part:
        """Return the part with its stretch of a frame: open where the text goes on."""

        def draw(y: float) -> None:
            left, right, low = MARGIN, self.width - MARGIN, y - part.height
            for x in (left, right):
                self.ink.line(x, y, x, low, width)
            if first:
                self.ink.line(left, y, right, y, width)
            if last:
                self.ink.line(left, low, right, low, width)
            part.draw(y)

        return Part(part.height, draw)

    def _picture(self, picture: Picture) -> Part:
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

        return Part(height, draw)

    def _plan(self, block: Plan) -> Part:
        marks, height = plan.drawn(block, self.inner)

        def draw(y: float) -> None:
            self.ink.marks(marks, MARGIN, y - height)

        return Part(height, draw)

    def _views(self, views: Views, room: float) -> Part:
        height = drawing.wanted_height(views, self.inner, room)
        placed = drawing.place(views, self.inner, height, text_width)

        def draw(y: float) -> None:
            self.ink.marks(placed.marks, MARGIN, y - height)

        return Part(height, draw)

    def _stance(self, stance: Stance) -> Part:
        """Return the drawing of how to stand with its words to the right."""
        across, up = turning.STANCE_SIZE
        size = STANCE_TYPE * self.type
        room = self.inner - across - 10.0
        lines = [line for words in stance.paragraphs for line in wrapped(words, size, False, room)]
        leading = size * 1.25
        height = max(up, len(lines) * leading + 2.0)

        def draw(y: float) -> None:
            self.ink.marks(turning.stance(stance.leads), MARGIN, y - up)
            for index, line in enumerate(lines):
                self.ink.words(MARGIN + across + 10.0, y - index * leading - size, line, size)

        return Part(height, draw)
