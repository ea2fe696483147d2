"""Tables as CSV: numbers stay numbers, and no text runs as a formula."""

import csv

import pytest

from app.export import csv_file
from app.export.sheet import Cell, Column, Table


def table(*cells: Cell) -> Table:
    return Table(tuple(Column(f"c{i}") for i in range(len(cells))), (cells,))


@pytest.mark.parametrize(
    "name", ["=1+1", "+1", "-1", "@SUM(A1)", " =1", "\t=1", "\r=1", "=cmd|' /C calc'!A0", "＝1", "-"]
)
def test_text_that_starts_like_a_formula_is_made_harmless(name):
    assert csv_file.harmless(name) == f"'{name}"


@pytest.mark.parametrize("name", ["", "T1", "1 1/2 × 0.095", "left sill", "a=b", "'quoted"])
def test_other_text_stays_as_it_is(name):
    assert csv_file.harmless(name) == name


def test_numbers_stay_numbers_even_below_zero(tmp_path):
    path = tmp_path / "deep" / "t.csv"
    csv_file.write(table(Cell("-12.50", number=-12.5), Cell("=x"), Cell('a,"b"\nc'), Cell("")), path)
    raw = path.read_bytes()
    assert raw.startswith(b"\xef\xbb\xbf")
    assert b"\r\n-12.50,'=x," in raw
    with path.open(encoding="utf-8-sig", newline="") as lines:
        rows = list(csv.reader(lines))
    assert rows == [["c0", "c1", "c2", "c3"], ["-12.50", "'=x", 'a,"b"\nc', ""]]
