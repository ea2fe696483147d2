"""What a packet says, as pages of text, tables and flat drawings.

Writers know pages, blocks and cells; they know no tubes. Imports no Qt.
"""

from typing import Literal

from msgspec import Struct

from app.export.plan import Plan
from app.export.turning import Stance, Turning
from app.export.views import Views

Align = Literal["left", "right", "centre"]
Tone = Literal["plain", "small", "findings", "stop", "warning", "caution"]


class Cell(Struct, frozen=True):
    """One cell: its text, smaller lines over and under it, and its number for files that hold numbers."""

    text: str
    under: str = ""
    number: float | None = None
    page_of: str = ""  # instead of text: the number of the page with this key
    over: str = ""
    turning: Turning | None = None  # the rotation dial, drawn before the text
    in_ring: bool = False  # as bends are numbered in the views


class Column(Struct, frozen=True):
    """A column: its heading, its share of the width, and how its cells stand."""

    title: str
    share: float = 1.0
    align: Align = "left"
    size: float = 1.0  # of its figures, as a part of the table's
    light: bool = False  # its figures are not bold where the others are


class Band(Struct, frozen=True):
    """A line across a table, above one of its rows."""

    before: int  # the row, counted from 0
    text: str
    is_loud: bool = False
    aside: str = ""  # smaller, at the right


class Table(Struct, frozen=True):
    """Rows of cells under headings; large for the shop floor, or a list."""

    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    heading: str = ""
    large: bool = False
    tight: bool = False  # a list that leaves room for what matters more
    bands: tuple[Band, ...] = ()


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


Block = Table | Facts | Text | Picture | Views | Stance | Plan


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
    claim: str  # what the sheet does not promise; under the foot
    pages: tuple[Page, ...]
