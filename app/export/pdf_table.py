"""Tables on paper: columns as wide as their words ask, rows that stay whole, headings on every sheet."""

from collections.abc import Iterator
from itertools import pairwise

from msgspec import Struct
from msgspec.structs import replace

from app.export import turning
from app.export.drawing import Disc
from app.export.ink import ASCENT, SHRINK, Ink, text_width, two_lines, wrapped
from app.export.pdf_part import Part, joined
from app.export.sheet import Band, Cell, Column, Table

LARGEST_TABLE = 1.08  # columns leave no room for figures larger than that
PADDING = 10.0  # in each cell, left and right together
WIDEST_COLUMN = 0.28  # of the paper: what a long name may take
LINE_GAP = 3.5  # between the lines of a cell
INSET = 7.0  # of a left-hand column beside a right-hand one
RING = 9.0  # radius
LOUD = 1.15  # times as large as other lines across a table


class _Look(Struct, frozen=True):
    """Sizes of a table's text, in points."""

    size: float
    under: float
    over: float
    head: float
    bold: bool
    air: float


LARGE = _Look(14.5, 10.0, 11.0, 9.5, True, 4.0)
LIST = _Look(11.0, 8.5, 8.5, 9.0, False, 4.0)
TIGHT = _Look(10.5, 8.5, 8.5, 9.0, False, 1.0)

_Line = tuple[str, float, bool]  # text, size, bold


def parts(table: Table, ink: Ink, left: float, inner: float, type: float) -> Iterator[Part]:
    """Return the pieces of a table: the first row with its heading, the others alone."""
    look = LARGE if table.large else TIGHT if table.tight else LIST
    writer = _TableWriter(table, ink, left, inner, _scaled(look, type))
    head, again = writer.head(table.heading), writer.head("")
    height = writer.row_height()
    for index, row in enumerate(table.rows):
        body = joined([*map(writer.band, _bands(table, index)), writer.row(row, height)])
        # The heading stays with the first row; later rows may go on to the next paper alone.
        yield joined([head, body]) if index == 0 else replace(body, heading=again)
    if not table.rows:
        yield head


def _bands(table: Table, index: int) -> list[Band]:
    return [band for band in table.bands if band.before == index]


class _TableWriter:
    """Draws one table whose column widths are settled."""

    def __init__(self, table: Table, ink: Ink, left: float, inner: float, look: _Look) -> None:
        needs = _needs(table, look, inner)
        if sum(needs) > inner:
            look = replace(look, size=look.size * max(inner / sum(needs), SHRINK))
            needs = _needs(table, look, inner)
        spare = (inner - sum(needs)) / sum(column.share for column in table.columns)
        self.widths = [need + spare * column.share for need, column in zip(needs, table.columns, strict=True)]
        self.insets = _insets(table)
        self.table, self.ink, self.left, self.inner, self.look = table, ink, left, inner, look

    def head(self, heading: str) -> Part:
        """Return the titles of the columns, under the table's heading where there is one."""
        look = self.look
        titles = [
            wrapped(column.title, look.head, False, width - inset - PADDING / 2.0)
            for column, width, inset in zip(self.table.columns, self.widths, self.insets, strict=True)
        ]
        lines = max(len(title) for title in titles)
        size = 12.0 if self.table.large else 10.5
        top = size + 5.0 if heading else 0.0
        height = top + lines * (look.head + 1.5) + 6.0

        def draw(y: float) -> None:
            if heading:
                self.ink.words(self.left, y - size, heading, size, True)
            x = self.left
            for column, title, width, inset in zip(
                self.table.columns, titles, self.widths, self.insets, strict=True
            ):
                for index, words in enumerate(title):
                    line = lines - len(title) + index
                    base = y - top - (line + 1) * (look.head + 1.5)
                    self.ink.aligned(x + inset, base, width - inset, words, look.head, False, column.align)
                x += width
            low = y - height + 1.0
            self.ink.line(self.left, low, self.left + self.inner, low, 1.2)

        return Part(height, draw)

    def band(self, band: Band) -> Part:
        """Return a line across the table; a loud one is white on black."""
        size = self.look.over * (LOUD if band.is_loud else 1.0)
        aside = text_width(band.aside, self.look.under, False)
        lines = wrapped(band.text, size, True, self.inner - 12.0 - (aside + 6.0 if aside else 0.0))
        height = len(lines) * size * 1.2 + 5.0
        white = 1.0 if band.is_loud else 0.0

        def draw(y: float) -> None:
            if band.is_loud:
                self.ink.block(self.left, y - height, self.inner, height)
            for index, line in enumerate(lines):
                base = y - 2.0 - size * (index * 1.2 + 1.0)
                self.ink.words(self.left + 6.0, base, line, size, True, white)
            low = y - height + 5.5
            self.ink.words(
                self.left + self.inner - 6.0 - aside, low, band.aside, self.look.under, False, white
            )
            self.ink.line(self.left, y - height, self.left + self.inner, y - height, 0.4)

        return Part(height, draw)

    def row_height(self) -> float:
        """Return the height of the tallest row, which all rows get."""
        stacks = [
            _stack_height(self._lines(cell, column))
            for row in self.table.rows
            for cell, column in zip(row, self.table.columns, strict=True)
        ]
        dials = any(cell.turning for row in self.table.rows for cell in row)
        tallest = max(stacks, default=0.0) + self.look.air + 4.0
        return max(tallest, 2.0 * turning.DIAL_REACH if dials else 0.0)

    def row(self, row: tuple[Cell, ...], height: float) -> Part:
        look = self.look
        small = look.size * 0.85
        name = [row[0].text]
        if not self.table.large and text_width(row[0].text, small, look.bold) > self.widths[0] - 6.0:
            name = two_lines(row[0].text, small, look.bold, self.widths[0] - 6.0)
            height = max(height, 2.0 * small * 1.15 + look.air)

        def draw(y: float) -> None:
            x = self.left
            for index, (cell, column, width) in enumerate(
                zip(row, self.table.columns, self.widths, strict=True)
            ):
                if index == 0 and len(name) > 1:
                    base = y - height / 2.0 - look.size * ASCENT / 2.0
                    for line, words in enumerate(name):
                        self.ink.words(x, base + (0.5 - line) * small * 1.15, words, small, look.bold)
                else:
                    inset = self.insets[index]
                    self._cell(cell, column, x + inset, y - height / 2.0, width - inset)
                if cell.page_of:
                    self._link(cell.page_of, x, y - height, width, height)
                x += width
            self.ink.line(self.left, y - height, self.left + self.inner, y - height, 0.4)

        return Part(height, draw)

    def _cell(self, cell: Cell, column: Column, x: float, middle: float, width: float) -> None:
        """Draw a cell's lines as one stack round the middle of its row."""
        if cell.turning:
            self.ink.marks(turning.dial(cell.turning), x + turning.DIAL_REACH, middle)
            x, width = x + 2.0 * turning.DIAL_REACH + 2.0, width - 2.0 * turning.DIAL_REACH - 2.0
        lines = self._lines(cell, column)
        top = middle + _stack_height(lines) / 2.0
        for text, size, bold in lines:
            base = top - size * ASCENT
            if cell.in_ring:
                self.ink.marks((Disc((0.0, 0.0), RING),), x + width / 2.0, middle)
            self.ink.aligned(x, base, width, text, size, bold, column.align)
            top -= size * ASCENT + LINE_GAP

    def _lines(self, cell: Cell, column: Column) -> list[_Line]:
        text = str(self.ink.number_of.get(cell.page_of, "")) if cell.page_of else cell.text
        return _cell_lines(cell, text, column, self.look)

    def _link(self, key: str, x: float, y: float, width: float, height: float) -> None:
        self.ink.canvas.linkRect("", key, (x, y, x + width, y + height), thickness=0)


def _cell_lines(cell: Cell, text: str, column: Column, look: _Look) -> list[_Line]:
    size = 13.0 if cell.in_ring else look.size * column.size
    over = [(cell.over, look.over, True)] if cell.over else []
    under = [(cell.under, look.under, False)] if cell.under else []
    return [*over, (text, size, look.bold and not column.light), *under]


def _stack_height(lines: list[_Line]) -> float:
    return sum(size * ASCENT for _, size, _ in lines) + LINE_GAP * (len(lines) - 1)


def _insets(table: Table) -> list[float]:
    """Return how far the words of each column stand in, so that they don't run on from those before."""
    aligns = [column.align for column in table.columns]
    beside = [False, *(before == "right" and here == "left" for before, here in pairwise(aligns))]
    return [INSET if is_beside else 0.0 for is_beside in beside]


def _needs(table: Table, look: _Look, inner: float) -> list[float]:
    """Return the width that each column's widest text asks for; long names ask for a part only."""
    needs, insets = [], _insets(table)
    for index, column in enumerate(table.columns):
        words = [(word, look.head, False) for word in column.title.split("\n")]
        dials = False
        for row in table.rows:
            words += _cell_lines(row[index], row[index].text, column, look)
            dials = dials or row[index].turning is not None
        widest = max(text_width(*word) for word in words) + PADDING
        dial = 2.0 * turning.DIAL_REACH if dials else 0.0
        needs.append(min(widest, inner * WIDEST_COLUMN) + dial + insets[index])
    return needs


def _scaled(look: _Look, type: float) -> _Look:
    by = min(type, LARGEST_TABLE)
    return _Look(look.size * by, look.under * by, look.over * by, look.head * by, look.bold, look.air * type)
