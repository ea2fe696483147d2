"""What is said in the view of tubes in access zones and past limits. Imports no Qt."""

from collections.abc import Callable, Container, Iterator
from typing import TYPE_CHECKING

from msgspec import Struct

from app.viewport.annotations import Fact
from geometry.layout import Layout
from geometry.tolerances import SAME_POINT
from geometry.vectors import Vec3

if TYPE_CHECKING:
    from geometry.checks.findings import Report


class _Row(Struct, frozen=True):
    """A tube too far in: what it is in or past, by how much, and where."""

    aid: int
    tube: int
    by: float
    at: Vec3
    word: str


def of(
    layout: Layout,
    report: "Report",
    tubes: Container[int],
    chosen: Container[int],
    length: Callable[[float], str],
    is_old: bool,
) -> tuple[list[Fact], list[Vec3]]:
    """Return a fact where the tube is labelled or the aid is chosen, and for the others the place alone."""
    facts: list[Fact] = []
    places: list[Vec3] = []
    for row in _rows(layout, report):
        if not layout.tubes[row.tube].shown:
            continue
        if row.tube in tubes or row.aid in chosen:
            key = ("aid", row.aid, row.tube)
            facts.append(Fact(key, row.at, None, "close", length(row.by), row.word, is_old))
        else:
            places.append(row.at)
    return facts, places


def in_the_way(report: "Report") -> frozenset[int]:
    """Return the zones that a tube reaches into, and the limits that one reaches past."""
    past = (row.reference for row in report.limits if row.past > SAME_POINT)
    return frozenset((*(row.zone for row in report.zones), *past))


def _rows(layout: Layout, report: "Report") -> Iterator[_Row]:
    for row in report.zones:
        if row.zone in layout.zones and row.tube in layout.tubes:
            yield _Row(row.zone, row.tube, row.depth, row.at, f"into {layout.zones[row.zone].name}")
    for past in report.limits:
        if past.past > SAME_POINT and past.reference in layout.references and past.tube in layout.tubes:
            name = layout.references[past.reference].name
            yield _Row(past.reference, past.tube, past.past, past.at, f"past {name}")
