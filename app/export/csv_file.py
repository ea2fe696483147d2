"""Write a table as CSV that a spreadsheet opens as it stands."""

import csv
import io
from pathlib import Path

from app.export import beside
from app.export.sheet import Cell, Table

# A cell that starts so is a formula to a spreadsheet, also after the blanks it strips.
BLANKS = ("\t", "\r", "\n")
FORMULA_STARTS = ("=", "+", "-", "@", "＝", "＋", "－", "＠")


def write(table: Table, path: Path) -> None:
    """Write the table beside the target, then replace it. UTF-8 with a mark, as spreadsheets expect."""
    beside.write(path, text(table).encode("utf-8-sig"))


def text(table: Table) -> str:
    """Return the table as CSV; numbers stay numbers, and no text can be taken for a formula."""
    lines = io.StringIO()
    writer = csv.writer(lines)
    writer.writerow([harmless(column.title) for column in table.columns])
    for row in table.rows:
        writer.writerow([_written(cell) for cell in row])
    return lines.getvalue()


def harmless(words: str) -> str:
    """Return words that no spreadsheet runs as a formula."""
    return f"'{words}" if words.lstrip().startswith(FORMULA_STARTS) or words.startswith(BLANKS) else words


def _written(cell: Cell) -> str | float:
    if cell.number is not None:
        return cell.text
    return harmless(cell.text)
