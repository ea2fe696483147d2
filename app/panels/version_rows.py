"""A comparison of two versions as rows of text, before and after."""

from typing import Literal, NamedTuple

from app import units as unit_text
from app import wording
from app.units import Units
from geometry.checks.finding import Finding
from geometry.comparing import Comparison, TubeChange
from geometry.layout import Layout
from geometry.tube import plan

ARROW = " → "
Kind = Literal["all", "tube", "group", "finding"]
FINDINGS_WAIT = "Findings follow once both versions are checked."
NO_DIFFERENCE = "No tube differs."


class Row(NamedTuple):
    """One line: what it is of, its cells, and the tube of the after version that it is about."""

    kind: Kind
    cells: tuple[str, ...]  # tube, change, bends, blank, mass; one sentence for groups and findings
    tip: str = ""
    tube: int | None = None


def headers(units: Units) -> tuple[str, ...]:
    length, mass = unit_text.length_unit(units), unit_text.mass_unit(units)
    return ("Tube", "Change", "Bends", f"Blank {length}", f"Mass {mass}")


def rows(found: Comparison, one: Layout, other: Layout, units: Units) -> list[Row]:
    """Return the totals, then each tube that differs, then what is found now or no longer."""
    one_sum, other_sum = found.one, found.other
    whole = Row(
        "all",
        (
            "All tubes",
            _step(str(one_sum.tubes), str(other_sum.tubes)),
            _step(str(one_sum.bends), str(other_sum.bends)),
            _step(_length(_sawn_whole(one, units), units), _length(_sawn_whole(other, units), units)),
            _step(_mass(one_sum.mass, units), _mass(other_sum.mass, units)),
        ),
        _totals_tip(found, _sawn_whole(other, units) - _sawn_whole(one, units), units),
    )
    changes = [_tube_row(change, one, other, units) for change in found.tubes]
    return [whole, *changes, *_finding_rows(found, one, other, units)]


def summary(found: Comparison, units: Units) -> str:
    """Say in one sentence how two versions differ."""
    if found.tubes:
        words = f"{wording.counted(len(found.tubes), 'tube differs', 'tubes differ')}, {found.same} the same"
    else:
        words = NO_DIFFERENCE.rstrip(".")
    if found.new is None or found.gone is None:
        return f"{words}."
    if not found.new and not found.gone:
        return f"{words}; the same is found."
    new, gone = (len(each) for each in (found.new, found.gone))
    if not new:
        return f"{words}; {wording.counted(gone, 'finding')} gone."
    return f"{words}; {wording.counted(new, 'finding')} new{f', {gone} gone' if gone else ''}."


def change_words(change: TubeChange, units: Units) -> str:
    """Say what became of a tube, as short as a cell."""
    if change.is_added:
        return "added"
    if change.is_removed:
        return "removed"
    words = []
    if change.moved:
        words.append(_distance(change.moved, units))
    if change.is_restocked:
        words.append("stock")
    if change.is_renamed:
        words.append("name")
    return ", ".join(words) or "blank"


def _tube_row(change: TubeChange, before: Layout, after: Layout, units: Units) -> Row:
    one, other = change.one, change.other
    cells = (
        change.name,
        change_words(change, units),
        _step(str(one.bends) if one else "", str(other.bends) if other else ""),
        _step(
            _length(_sawn(before, one.tube, units), units) if one else "",
            _length(_sawn(after, other.tube, units), units) if other else "",
        ),
        _step(_mass(one.mass, units) if one else "", _mass(other.mass, units) if other else ""),
    )
    lines = [f"{change.name}: {change_words(change, units)}."] if change.one is None or other is None else []
    if change.is_restocked and one and other:
        lines.append(f"Stock: {one.stock}{ARROW}{other.stock}.")
    if change.is_renamed and one and other:
        lines.append(f"Name: {one.name}{ARROW}{other.name}.")
    if change.moved:
        far = _distance(change.moved, units)
        lines.append(f"Moved: the centreline is up to {far} from where it was.")
    if not lines:
        lines.append("Another length to saw: what it meets has changed.")
    return Row("tube", cells, "\n".join(lines), other.tube if other else None)


def _finding_rows(found: Comparison, one: Layout, other: Layout, units: Units) -> list[Row]:
    if found.new is None or found.gone is None:
        return [Row("group", (FINDINGS_WAIT,))]
    made: list[Row] = []
    for title, findings, layout in (
        ("New findings", found.new, other),
        ("Findings that are gone", found.gone, one),
    ):
        if findings:
            made.append(Row("group", (f"{title} ({len(findings)})",)))
            made += [_finding_row(each, layout, units, layout is other) for each in findings]
    return made or [Row("group", ("The same is found in both.",))]


def _finding_row(found: Finding, layout: Layout, units: Units, is_now: bool) -> Row:
    sentence = wording.say_with_sign(found, layout, units)
    return Row("finding", (sentence,), sentence, found.tubes[0] if found.tubes and is_now else None)


def _totals_tip(found: Comparison, length: float, units: Units) -> str:
    mass = found.other.mass - found.one.mass
    return (
        f"Mass {_signed(unit_text.format_mass(mass, units))}, "
        f"blanks {_signed(unit_text.format_length(length, units))}, the second against the first."
    )


def _signed(text: str) -> str:
    return text if text.startswith(("-", "−")) else f"+{text}"


def _step(before: str, after: str) -> str:
    """Two numbers side by side; one where they are the same or there is but one."""
    if before == after:
        return after
    return f"{before or '–'}{ARROW}{after or '–'}"


def _sawn(layout: Layout, tube: int, units: Units) -> float:
    """Return the blank as it is cut, as in the schedule and on the sheets."""
    return wording.planned_blank(plan.of(layout, layout.tubes[tube]), layout, units)


def _sawn_whole(layout: Layout, units: Units) -> float:
    return sum(_sawn(layout, id, units) for id in layout.tubes)


def _length(value: float, units: Units) -> str:
    return unit_text.format_mark(value, units, unit=False)


def _distance(value: float, units: Units) -> str:
    """A distance as whole as it can be said."""
    coarse = unit_text.format_mark(value, units)
    return coarse if value >= 10.0 * unit_text.mark_step(units) else unit_text.format_length(value, units)


def _mass(value: float, units: Units) -> str:
    return unit_text.format_mass(value, units, unit=False)
