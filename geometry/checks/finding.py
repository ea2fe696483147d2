"""What a check says: a finding, with the numbers and names its sentence needs."""

from typing import Literal

from msgspec import Struct

from geometry.layout import BendFrom
from geometry.vectors import Vec3

Severity = Literal["error", "warning", "note"]  # can't be made; outside a limit; worth knowing
Quantity = Literal["length", "angle", "ratio"]


class Amount(Struct, frozen=True):
    """A number that a sentence needs beside the value and the limit."""

    number: float
    quantity: Quantity


class Mend(Struct, frozen=True):
    """A change that would settle a finding: what to do, to what, by how much, and how a button says it.

    The words are a template like a finding's message; {amount} is the amount.
    """

    do: Literal["take die", "move apart", "split with sleeve", "cut after", "bend from", "stand off"]
    words: str
    tube: int
    amount: float | None = None  # mm: how far apart; the station of the split
    nodes: tuple[int, ...] = ()
    die: int | None = None
    bend_from: BendFrom | None = None


class Finding(Struct, frozen=True):
    """One judgement about a layout: which rule, how bad, where, and the sentence that says so.

    The message is a template. Its slots are {value} and {limit}, {difference} between them, {tube},
    {other}, {panel} (the first and second of the ids here), and the keys of amounts and words.
    """

    rule: str
    severity: Severity
    message: str
    tubes: tuple[int, ...] = ()
    nodes: tuple[int, ...] = ()
    panels: tuple[int, ...] = ()
    value: float | None = None
    limit: float | None = None
    quantity: Quantity | None = None
    at: Vec3 | None = None
    amounts: dict[str, Amount] = {}
    words: dict[str, str] = {}  # said as they stand: the number of a bend, the name of a die
    mend: Mend | None = None
    aids: tuple[int, ...] = ()  # zones and references that it is about
