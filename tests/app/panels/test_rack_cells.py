"""What the rack shows reads back as what it is, in every unit."""

import math

import pytest
from msgspec.structs import replace

from app.panels import rack_cells
from app.panels.rack_cells import DIE_COLUMNS, STOCK_COLUMNS, Column, cell_text, cell_value
from app.units import INCH_FRACTIONS, INCHES, MILLIMETRES, Units
from geometry import rack
from geometry.layout import Die, Layout, Stock, TrialBend

LOST = {"length": 25.4 / 32, "size": 0.0127}
NUMBERS = ("size", "length", "angle", "ratio", "stress", "density")


def column(attribute: str) -> Column:
    return next(one for one in (*STOCK_COLUMNS, *DIE_COLUMNS) if one.attribute == attribute)


@pytest.mark.parametrize("units", [MILLIMETRES, INCHES, INCH_FRACTIONS])
def test_every_cell_reads_back_as_its_number(units: Units) -> None:
    """Half of the smallest step that is shown is all that a cell may lose."""
    layout = rack.with_starting_rack(Layout())
    stock = replace(next(iter(layout.stocks.values())), yield_strength=355.0)
    for thing, columns in ((stock, STOCK_COLUMNS), (next(iter(layout.dies.values())), DIE_COLUMNS)):
        for one in columns:
            if one.kind in NUMBERS:
                value = getattr(thing, one.attribute)
                read = cell_value(one, cell_text(thing, one, units), units)
                assert read == pytest.approx(value, rel=1e-3, abs=LOST.get(one.kind, 1e-9))


@pytest.mark.parametrize(
    ("text", "units", "value"),
    [
        ("350", MILLIMETRES, 350.0),
        ("350 N/mm²", MILLIMETRES, 350.0),
        ("350 MPa", INCHES, 350.0),
        ("50", INCHES, 344.738),
        ("50 ksi", MILLIMETRES, 344.738),
        ("50ksi", MILLIMETRES, 344.738),
        ("", MILLIMETRES, 0.0),
    ],
)
def test_a_yield_strength_is_read_in_either_unit(text: str, units: Units, value: float) -> None:
    assert cell_value(column("yield_strength"), text, units) == pytest.approx(value, abs=1e-3)


@pytest.mark.parametrize(
    ("attribute", "text", "says"),
    [
        ("yield_strength", "strong", "“strong” can't be read; write a number such as 350 N/mm²."),
        ("yield_strength", "-350", "write a number such as"),
        ("yield_strength", "350 psi", "write a number such as"),
        ("density", "heavy", "write a number such as 7850 kg/m³."),
        ("least_clr_ratio", "3 D", "is no multiple of OD"),
        ("name", "  ", "Name can't be empty; type a word or two."),
        ("od", "", "Nothing is written here"),
    ],
)
def test_what_can_not_be_read_is_refused_with_an_example(attribute: str, text: str, says: str) -> None:
    with pytest.raises(ValueError, match=r"\.$") as refused:
        cell_value(column(attribute), text, MILLIMETRES)
    assert says in str(refused.value)


def test_what_is_not_known_is_an_empty_cell() -> None:
    stock, die = Stock(1, "a", 38.1, 2.4), Die(1, "a", 38.1, 114.3)
    assert cell_text(stock, column("yield_strength"), MILLIMETRES) == ""
    assert cell_text(stock, column("batch"), MILLIMETRES) == ""
    assert cell_text(die, column("between_straight"), MILLIMETRES) == ""
    assert cell_value(column("between_straight"), "", MILLIMETRES) == 0.0


def test_choices_stand_for_what_they_say() -> None:
    layout = rack.with_starting_rack(Layout())
    die = next(iter(layout.dies.values()))
    for attribute in ("bender", "mark_at"):
        one = column(attribute)
        chosen = rack_cells.chosen(one, die)
        assert chosen in dict(rack_cells.choices(one, layout))
        assert rack_cells.choice_value(one, chosen) == getattr(die, attribute)
    assert rack_cells.choice_value(column("bender"), rack_cells.NO_BENDER) is None


def test_trial_bends_are_told_by_stock_and_batch() -> None:
    layout = rack.with_starting_rack(Layout())
    die, stock = next(iter(layout.dies.values())), next(iter(layout.stocks.values()))
    assert rack_cells.trials_text(die, layout) == "none"
    assert "geometry only" in rack_cells.trials_sentence(die, layout)
    layout = rack.replace_stock(layout, replace(stock, batch="B 8"))
    for batch in ("B 7", "B 7", "B 8"):
        trial = TrialBend(0, die.id, stock.id, batch, "", 900.0, 400.0, math.pi / 2, 1.5)
        layout, _ = rack.add_trial(layout, trial)
    assert rack_cells.trials_text(die, layout) == "3"
    assert rack_cells.trials_sentence(die, layout) == (
        "3 trial bends: 2 of 1.50 × 0.095 in, batch B 7; 1 of 1.50 × 0.095 in, batch B 8."
    )
    layout = rack.replace_stock(layout, replace(stock, batch="B 9"))
    assert rack_cells.trials_text(die, layout) == "3, check"
    assert rack_cells.trials_sentence(die, layout).endswith(
        "Check bend first: 1.50 × 0.095 in is of a new batch."
    )


def test_a_copy_has_a_name_of_its_own() -> None:
    things = {1: Stock(1, "a", 38.1, 2.4), 2: Stock(2, "a (2)", 38.1, 2.4)}
    assert rack_cells.copy_name("a", things) == "a (3)"
    assert rack_cells.copy_name("", things) == "New"
