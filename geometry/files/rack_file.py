"""The rack as a file: all of it as JSON, or tube sizes or dies as CSV. DEVELOPERS.md describes both.

Reading trusts nothing; what is wrong is said in a sentence that names the line and the column.
"""

import csv
import io
import json
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, Final, Literal, NoReturn

from msgspec import Struct
from msgspec.structs import replace

from geometry import rack
from geometry.errors import GeometryError
from geometry.files import job, rack_rows
from geometry.files.rack_rows import BENDER, DIE, KINDS, STOCK, TRIAL, Kind, Row, Thing, shown
from geometry.layout import Bender, Die, Layout, Stock, TrialBend

FORMAT: Final = "outrib rack"
VERSION: Final = 1
LARGEST_FILE = 4 << 20  # bytes; a thousand dies take a tenth of it
MOST_ROWS = 1000  # of each kind
Part = Literal["stock", "dies"]  # what one CSV file holds
TABLES: dict[Part, Kind] = {"stock": STOCK, "dies": DIE}
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "'")  # a spreadsheet would run it, or eat the apostrophe


class Contents(Struct, frozen=True):
    """What a rack file says, not yet part of any job."""

    stocks: tuple[Row, ...] = ()
    benders: tuple[Row, ...] = ()
    dies: tuple[Row, ...] = ()
    trial_bends: tuple[Row, ...] = ()


class Arrived(Struct, frozen=True):
    """How much of a file was new to a rack, by part of the file."""

    changed: dict[str, int]
    added: dict[str, int]

    @property
    def is_nothing(self) -> bool:
        return not (sum(self.changed.values()) or sum(self.added.values()))


# Writing


def save(layout: Layout, path: Path, part: Part | None = None) -> None:
    """Write the rack beside path and put it in its place: .csv holds one part, .json everything."""
    is_table = path.suffix.lower() == ".csv"
    if is_table and part is None:
        raise GeometryError("A CSV file holds one kind of thing; say whether stock or dies.")
    text = to_csv(layout, part) if is_table and part else to_json(layout)
    content = text.encode("utf-8-sig" if is_table else "utf-8")  # spreadsheets know UTF-8 by its mark
    try:
        with job.replacing(path) as stream:
            stream.write(content)
    except OSError as error:
        raise GeometryError(f"{path} could not be written: {error.strerror or error}.") from error


def to_json(layout: Layout) -> str:
    """Return the whole rack as JSON, names in place of ids."""
    for kind in (STOCK, BENDER, DIE):
        _by_name(layout, kind)
    plain = {
        kind.part: [rack_rows.written(layout, kind, thing) for thing in _things(layout, kind)]
        for kind in KINDS
    }
    return json.dumps({"format": FORMAT, "version": VERSION, **plain}, indent=1, ensure_ascii=False) + "\n"


def to_csv(layout: Layout, part: Part) -> str:
    """Return tube sizes or dies as a table, units in the titles."""
    kind = TABLES[part]
    _by_name(layout, kind)
    lines = io.StringIO()
    table = csv.writer(lines)
    table.writerow([key.name for key in kind.keys])
    for thing in _things(layout, kind):
        table.writerow(map(_cell, rack_rows.written(layout, kind, thing).values()))
    return lines.getvalue()


def _cell(value: Any) -> Any:
    if value is None:
        return ""
    return f"'{value}" if isinstance(value, str) and value.lstrip().startswith(FORMULA_STARTS) else value


def _things(layout: Layout, kind: Kind) -> list[Any]:
    parts: dict[str, dict[int, Any]] = {
        STOCK.part: layout.stocks,
        BENDER.part: layout.benders,
        DIE.part: layout.dies,
        TRIAL.part: layout.trials,
    }
    return [*parts[kind.part].values()]


def _by_name(layout: Layout, kind: Kind) -> dict[str, Any]:
    """Return things by the name that files know them by; refuse when two are called alike."""
    things: dict[str, Any] = {}
    for thing in _things(layout, kind):
        name = " ".join(thing.name.split())
        if name in things:
            raise GeometryError(
                f"Two {kind.many} in this rack are called {name}; give one of them another name first.",
                (thing.id,),
            )
        things[name] = thing
    return things


# Reading


def load(path: Path) -> Contents:
    """Read a rack file; .csv is a table, anything else JSON."""
    try:
        with path.open("rb") as stream:
            content = stream.read(LARGEST_FILE + 1)
    except FileNotFoundError as error:
        raise GeometryError(f"There is no file {path}.") from error
    except OSError as error:
        raise GeometryError(f"{path} could not be read: {error.strerror or error}.") from error
    if len(content) > LARGEST_FILE:
        raise GeometryError(f"{path.name} is too large to be a rack; choose another file.")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise GeometryError(
            f"Line {line} of {path.name} is not written in UTF-8; save the file as UTF-8 and try again."
        ) from error
    try:
        return from_csv(text) if path.suffix.lower() == ".csv" else from_json(text)
    except GeometryError as error:
        raise GeometryError(f"{path.name} can't be used. {error.message}") from error


def from_json(text: str) -> Contents:
    """Read a whole rack."""
    plain = _parsed(text)
    if not isinstance(plain, dict) or plain.get("format") != FORMAT:
        raise GeometryError(f'It is no rack: a rack begins with "format": "{FORMAT}".')
    version = plain.get("version")
    if isinstance(version, bool) or not isinstance(version, int) or version < 1:
        raise GeometryError(f"Its version is {shown(version)}; it must be a number such as {VERSION}.")
    if version > VERSION:
        raise GeometryError("A newer Outrib wrote it; update Outrib to read it.")
    known = {kind.part for kind in KINDS}
    for name in plain.keys() - known - {"format", "version"}:
        raise GeometryError(f"{shown(name)} is no part of a rack; its parts are {', '.join(sorted(known))}.")
    return Contents(**{kind.part: _rows(kind, plain.get(kind.part, [])) for kind in KINDS})


def _parsed(text: str) -> Any:
    try:
        return json.loads(text, parse_constant=_no_number, object_pairs_hook=_once)
    except json.JSONDecodeError as error:
        raise GeometryError(
            f"It is no JSON: line {error.lineno}, column {error.colno} can't be read ({error.msg})."
        ) from error
    except RecursionError:
        raise GeometryError("It is no rack: its brackets stand too deep in one another.") from None
    except ValueError as error:  # a number of thousands of digits
        raise GeometryError("It holds a number with too many digits.") from error


def _no_number(name: str) -> NoReturn:
    raise GeometryError(f"It holds {name}, which is no number that can be used.")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    plain = dict(pairs)
    if len(plain) != len(pairs):
        twice = next(name for name, count in Counter(name for name, _ in pairs).items() if count > 1)
        raise GeometryError(f"{shown(twice)} stands twice in the same brackets; leave one of them out.")
    return plain


def _rows(kind: Kind, plain: Any) -> tuple[Row, ...]:
    if not isinstance(plain, list):
        raise GeometryError(f"{kind.part} must be a list.")
    rows = []
    for place, row in enumerate(plain, 1):
        where = f"{kind.one} {place}"
        if not isinstance(row, dict):
            raise GeometryError(f"{_capital(where)} must be a row of keys and values.")
        name = row.get("name")
        if isinstance(name, str) and name.strip():
            where += f" ({shown(name)[1:-1]})"
        rows.append(rack_rows.read(kind, row, _capital(where)))
    return _distinct(kind, rows)


def from_csv(text: str) -> Contents:
    """Read a table of tube sizes or dies, commas or semicolons between its columns."""
    lines = _table(text)
    first = next(lines, None)
    if first is None:
        raise GeometryError("It is empty; its first line must be the titles of the columns.")
    titles = _titles(first[1])
    kind = _kind_of(titles)
    for title in titles:
        rack_rows.found(kind, title, f"Line {first[0]}")
    _refuse_missing(kind, titles)
    rows = [rack_rows.read(kind, _keyed(kind, titles, cells, line), f"Line {line}") for line, cells in lines]
    return Contents(**{kind.part: _distinct(kind, rows)})


def _table(text: str) -> Iterator[tuple[int, list[str]]]:
    """Yield the lines that hold anything, each with its number."""
    head = next((line for line in text.splitlines() if line.strip()), "")
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=";" if ";" in head else ",", strict=True)
    try:
        for cells in reader:
            while cells and not cells[-1].strip():
                del cells[-1]
            if cells:
                yield reader.line_num, [cell.strip() for cell in cells]
    except csv.Error as error:
        raise GeometryError(f"Line {reader.line_num} is no line of a table: {error}.") from error


def _titles(cells: list[str]) -> list[str]:
    titles = [cell.lower() for cell in cells]
    for place, title in enumerate(titles, 1):
        if not title:
            raise GeometryError(f"Column {place} has no title in the first line.")
        if titles.count(title) > 1:
            raise GeometryError(f"Two columns are called {shown(title)}; leave one of them out.")
    return titles


def _kind_of(titles: list[str]) -> Kind:
    for kind, length in ((STOCK, "wall"), (DIE, "clr")):
        if f"{length}_mm" in titles or f"{length}_in" in titles:
            return kind
    raise GeometryError(
        "Its first line has neither a column wall_mm or wall_in, as tube sizes have, nor clr_mm or clr_in, "
        "as dies have."
    )


def _refuse_missing(kind: Kind, titles: list[str]) -> None:
    there = {rack_rows.found(kind, title, "Line 1")[0].attribute for title in titles}
    missing = [key.name for key in kind.keys if key.is_needed and key.attribute not in there]
    if missing:
        raise GeometryError(f"The column {missing[0]} is missing; every {kind.one} needs it.")


def _keyed(kind: Kind, titles: list[str], cells: list[str], line: int) -> dict[str, Any]:
    """Return the cells that hold anything by their titles, numbers read."""
    if len(cells) > len(titles):
        raise GeometryError(f"Line {line} has {len(cells)} cells, but there are {len(titles)} titles.")
    plain: dict[str, Any] = {}
    for title, cell in zip(titles, cells, strict=False):
        if cell:
            is_number = rack_rows.found(kind, title, "")[0].content in ("number", "angle")
            plain[title] = _number(cell, f"Line {line}, {title}") if is_number else cell.removeprefix("'")
    return plain


def _number(text: str, where: str) -> float:
    if "," in text:
        raise GeometryError(f"{where}: {shown(text)} has a comma; write decimals with a point.")
    if not text.isascii() or "_" in text:
        raise GeometryError(f"{where}: {shown(text)} is no number.")
    try:
        return float(text)
    except ValueError:
        raise GeometryError(f"{where}: {shown(text)} is no number.") from None


def _distinct(kind: Kind, rows: list[Row]) -> tuple[Row, ...]:
    """Return the rows; refuse too many, and two of a name."""
    if len(rows) > MOST_ROWS:
        raise GeometryError(f"It has more than {MOST_ROWS} {kind.many}; split the file.")
    seen: dict[str, str] = {}
    for row in rows:
        name = row.values.get("name")
        if name in seen:
            raise GeometryError(
                f"{row.where}: {name} is there twice, the first time at {_small(seen[name])}."
            )
        if name is not None:
            seen[name] = row.where
    return tuple(rows)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _small(text: str) -> str:
    return text[:1].lower() + text[1:]


# Joining a rack


def merged(layout: Layout, contents: Contents) -> tuple[Layout, Arrived]:
    """Bring a file into a rack: what has the same name is changed and keeps its id, the rest is added.

    What a row leaves out stays as it is, or becomes the usual value. Nothing is removed. Trial bends
    that are there already are not added again.
    """
    changed = {kind.part: 0 for kind in KINDS}
    added = dict(changed)
    for kind in (STOCK, BENDER, DIE):
        for row in getattr(contents, kind.part):
            before = layout
            layout = _said_where(row, _with_named, layout, kind, row)
            if layout is not before:
                is_new = len(_things(layout, kind)) > len(_things(before, kind))
                (added if is_new else changed)[kind.part] += 1
    layout, added[TRIAL.part] = _with_trials(layout, contents.trial_bends)
    return layout, Arrived(changed, added)


def rack_only(contents: Contents) -> Layout:
    """Return an empty job with the rack of a file."""
    return merged(Layout(), contents)[0]


def told(arrived: Arrived) -> str:
    """Say what came in: 2 tube sizes changed, 3 added; 1 die added."""
    parts = [words for kind in KINDS if (words := _counted(kind, arrived))]
    return f"{_capital('; '.join(parts))}." if parts else "Everything in it was in the rack already."


def _counted(kind: Kind, arrived: Arrived) -> str:
    words: list[str] = []
    for counts, verb in ((arrived.changed, "changed"), (arrived.added, "added")):
        if count := counts[kind.part]:
            name = "" if words else f" {kind.one if count == 1 else kind.many}"
            words.append(f"{count}{name} {verb}")
    return ", ".join(words)


def _said_where(row: Row, work: Callable[..., Layout], *given: Any) -> Layout:
    """Do the work; a refusal says which row it is about."""
    try:
        return work(*given)
    except GeometryError as error:
        if error.message.startswith(row.where):
            raise
        raise GeometryError(f"{row.where}: {error.message}", error.ids) from error


def _with_named(layout: Layout, kind: Kind, row: Row) -> Layout:
    values = _with_ids(layout, row)
    old: Thing | None = _by_name(layout, kind).get(row.values["name"])
    if old is None:
        return _added(layout, kind, values)
    changed = replace(old, **values)
    if rack_rows.likeness(layout, kind, changed) == rack_rows.likeness(layout, kind, old):
        return layout
    return _replaced(layout, changed)


def _with_ids(layout: Layout, row: Row) -> dict[str, Any]:
    """Return a row's values with ids in place of names."""
    values = dict(row.values)
    for attribute, kind in (("bender", BENDER), ("die", DIE), ("stock", STOCK)):
        name = values.get(attribute)
        if attribute in values and name is not None:
            things = _by_name(layout, kind)
            if name and name not in things:
                raise GeometryError(
                    f"{row.where}, {attribute}: there is no {kind.one} {shown(name)} in the rack; "
                    "add it first."
                )
            values[attribute] = things[name].id if name else None
    return values


def _added(layout: Layout, kind: Kind, values: Mapping[str, Any]) -> Layout:
    match kind.part:
        case "stocks":
            return rack.add_stock(layout, Stock(0, **values))[0]
        case "benders":
            return rack.add_bender(layout, Bender(0, **values))[0]
        case _:
            return rack.add_die(layout, Die(0, **values))[0]


def _replaced(layout: Layout, changed: Thing) -> Layout:
    if isinstance(changed, Stock):
        return rack.replace_stock(layout, changed)
    if isinstance(changed, Bender):
        return rack.replace_bender(layout, changed)
    assert isinstance(changed, Die)
    return rack.replace_die(layout, changed)


def _with_trials(layout: Layout, rows: tuple[Row, ...]) -> tuple[Layout, int]:
    """Add the trial bends that the rack has not; return how many."""
    there = Counter(rack_rows.likeness(layout, TRIAL, trial) for trial in layout.trials.values())
    count = 0
    for row in rows:
        trial = TrialBend(0, **{"batch": "", "made": "", **_with_ids(layout, row)})
        same = rack_rows.likeness(layout, TRIAL, trial)
        if there[same] > 0:
            there[same] -= 1
            continue
        layout = _said_where(row, _with_trial, layout, trial)
        count += 1
    return layout, count


def _with_trial(layout: Layout, trial: TrialBend) -> Layout:
    return rack.add_trial(layout, trial)[0]
