"""How tubes are held and kept: what they are tied and welded to, and how near they stay to the body."""

import math
from collections.abc import Iterable
from typing import TypeVar

from msgspec.structs import replace

from geometry import edits
from geometry.errors import GeometryError
from geometry.layout import Layout, Panel, Tie, Tube, Weld
from geometry.tolerances import FARTHEST_POINT, SAME_POINT
from geometry.tube import centreline

Kept = TypeVar("Kept", Tube, Panel)


def set_tied(layout: Layout, tubes: Iterable[int], tied: Tie) -> Layout:
    """Say what tubes are tied to by themselves; tubes that are joined to them share it."""
    return edits.with_tubes(
        layout, {id: replace(tube, tied=tied) for id, tube in _tubes(layout, tubes).items()}
    )


def set_hugs(layout: Layout, tubes: Iterable[int], hugs: bool) -> Layout:
    """Say whether tubes are meant to follow the body."""
    return edits.with_tubes(
        layout, {id: replace(tube, hugs=hugs) for id, tube in _tubes(layout, tubes).items()}
    )


def set_standoff(layout: Layout, ids: Iterable[int], **changes: float | None) -> Layout:
    """Give tubes and panels a closest or a farthest of their own; None takes it away again."""
    if unknown := set(changes) - {"closest", "farthest"}:
        raise ValueError(f"a stand-off has no {unknown}")
    wanted = {f"standoff_{name}": _checked(value) for name, value in changes.items()}
    tubes, panels = {}, {}
    for id in dict.fromkeys(ids):
        if id in layout.panels:
            panels[id] = _in_order(layout, replace(layout.panels[id], **wanted))
        else:
            tubes[id] = _in_order(layout, replace(_tube(layout, id), **wanted))
    after = edits.with_tubes(layout, tubes)
    return replace(after, panels={**layout.panels, **panels}) if panels else after


def add_weld(layout: Layout, tube: int, weld: Weld) -> Layout:
    """Mark a span of a tube as meant to be welded to a panel."""
    marks = _tube(layout, tube).welds
    return _with_welds(layout, tube, (*marks, _checked_weld(layout, tube, weld)))


def replace_weld(layout: Layout, tube: int, number: int, weld: Weld) -> Layout:
    """Put another mark in the place of one."""
    marks = _tube(layout, tube).welds
    _check_number(marks, number)
    checked = _checked_weld(layout, tube, weld)
    return _with_welds(layout, tube, (*marks[:number], checked, *marks[number + 1 :]))


def remove_weld(layout: Layout, tube: int, number: int) -> Layout:
    """Take a mark off a tube."""
    marks = _tube(layout, tube).welds
    _check_number(marks, number)
    return _with_welds(layout, tube, marks[:number] + marks[number + 1 :])


def _with_welds(layout: Layout, tube: int, marks: tuple[Weld, ...]) -> Layout:
    return edits.with_tubes(layout, {tube: replace(layout.tubes[tube], welds=marks)})


def _check_number(marks: tuple[Weld, ...], number: int) -> None:
    if not 0 <= number < len(marks):
        raise GeometryError("This weld mark is no longer on the tube.")


def _checked_weld(layout: Layout, tube: int, weld: Weld) -> Weld:
    """Return a weld that lies on its tube, its end None where that is the tube's."""
    run = layout.tubes[tube]
    if weld.panel not in layout.panels:
        raise GeometryError("This panel is no longer in the job.", (tube, weld.panel))
    length = centreline.of(layout, run).length
    end = length if weld.end is None else weld.end
    if not (math.isfinite(weld.start) and math.isfinite(end) and weld.start >= 0.0):
        raise GeometryError("A weld begins and ends at lengths of 0 or more along the tube.", (tube,))
    if weld.start > length - SAME_POINT:
        raise GeometryError(
            f"{run.name} is not so long; a weld on it begins before its end.", (tube, weld.panel)
        )
    if end - weld.start <= SAME_POINT:
        raise GeometryError("A weld must end farther along the tube than it begins.", (tube, weld.panel))
    return replace(weld, start=float(weld.start), end=None if end >= length - SAME_POINT else float(end))


def _checked(value: float | None) -> float | None:
    if value is not None and not 0.0 <= value < FARTHEST_POINT:
        raise GeometryError("A stand-off must be a length of 0 or more; leave it empty to have none.")
    return None if value is None else float(value)


def _in_order(layout: Layout, thing: Kept) -> Kept:
    """Refuse a closest that is more than the farthest, own or the layout's."""
    closest, farthest = thing.standoff_closest, thing.standoff_farthest
    if closest is not None and farthest is not None and closest > farthest:
        raise GeometryError(
            f"The closest stand-off of {thing.name} cannot be more than its farthest.", (thing.id,)
        )
    return thing


def _tubes(layout: Layout, ids: Iterable[int]) -> dict[int, Tube]:
    return {id: _tube(layout, id) for id in dict.fromkeys(ids)}


def _tube(layout: Layout, id: int) -> Tube:
    if id not in layout.tubes:
        raise GeometryError("This tube is no longer in the job.", (id,))
    return layout.tubes[id]
