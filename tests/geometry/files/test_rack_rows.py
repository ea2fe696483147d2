"""Numbers of a rack file are the shortest that mean the same value."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from geometry.errors import GeometryError
from geometry.files import rack_rows
from geometry.files.rack_rows import BENDER, DIE, KINDS, STOCK, TRIAL
from geometry.layout import Bender, Box, Die, Layout, Stock


def test_each_attribute_of_each_thing_has_its_key() -> None:
    from geometry.layout import TrialBend

    for kind, thing in ((STOCK, Stock), (DIE, Die), (BENDER, Bender), (TRIAL, TrialBend)):
        assert [key.attribute for key in kind.keys if key.attribute not in thing.__struct_fields__] == []
        assert {key.attribute for key in kind.keys} == {*thing.__struct_fields__} - {"id"}
    assert [kind.part for kind in KINDS] == ["stocks", "benders", "dies", "trial_bends"]


@given(st.integers(1, 1800))
def test_an_angle_typed_in_tenths_of_a_degree_is_written_as_it_was_typed(tenths: int) -> None:
    die = Die(1, "a", 38.1, 114.3, math.radians(tenths / 10.0))
    assert rack_rows.written(Layout(), DIE, die)["largest_angle_deg"] == tenths / 10.0


def test_a_size_in_inches_is_the_one_in_millimetres() -> None:
    in_inches = rack_rows.read(STOCK, {"name": "a", "od_in": 1.5, "wall_in": 0.095}, "Row 1").values
    assert in_inches == {"name": "a", "od": 38.1, "wall": 2.413}


def test_a_strength_in_ksi_is_the_one_in_n_per_mm2() -> None:
    row = {"name": "a", "od_mm": 38.1, "wall_mm": 2.4, "yield_strength_ksi": 60.0}
    assert rack_rows.read(STOCK, row, "Row 1").values["yield_strength"] == pytest.approx(413.685, abs=5e-4)


def test_the_density_of_steel_is_written_as_people_know_it() -> None:
    assert rack_rows.written(Layout(), STOCK, Stock(1, "a", 38.1, 2.4))["density_kg_m3"] == 7850


def test_boxes_come_back_as_they_were() -> None:
    bender = Bender(1, "Floor bender", boxes=(Box("Frame", (-700.0, 60.5, -600.0), (-150.0, 260.0, -250.0)),))
    plain = rack_rows.written(Layout(), BENDER, bender)
    assert rack_rows.read(BENDER, plain, "Bender 1").values["boxes"] == bender.boxes


BOX = {"name": "Frame", "from_mm": [0, 0, 0], "to_mm": [1, 1, 1]}


@pytest.mark.parametrize(
    ("kind", "changes", "says"),
    [
        (STOCK, {"od_mm": "thick"}, "Row 1, od_mm: “thick” is no number"),
        (STOCK, {"od_mm": True}, "Row 1, od_mm: True is no number"),
        (STOCK, {"od_mm": None}, "Row 1, od_mm: nothing is no number"),
        (STOCK, {"od_mm": 10**400}, "no number that can be used"),
        (STOCK, {"od_mm": float("nan")}, "no number that can be used"),
        (STOCK, {"od_in": 1.5}, "gives both od_mm and od_in"),
        (STOCK, {"colour": "red"}, "“colour” is nothing a tube size has; it has name, od_mm"),
        (STOCK, {"name": "  "}, "Row 1, name is empty"),
        (STOCK, {"name": 12}, "no text"),
        (STOCK, {"name": "x" * 201}, "longer than 200 letters"),
        (STOCK, {"name": "\ud800"}, "can't be shown"),
        (DIE, {"mark_at": "centre"}, "“centre” must be one of start, middle, end"),
        (DIE, {"mark_at": 3}, "3 must be one of"),
        (BENDER, {"boxes": {}}, "must be a list"),
        (BENDER, {"boxes": [BOX] * 51}, "at most 50"),
        (BENDER, {"boxes": [{"name": "x"}]}, "Row 1, boxes, box 1 must have a name, from_mm and to_mm"),
        (BENDER, {"boxes": [BOX | {"to_mm": [1, 2]}]}, "box 1, to_mm must be three numbers"),
        (BENDER, {"boxes": [BOX | {"to_mm": [1, 2, "x"]}]}, "box 1, to_mm, z: “x” is no number"),
        (TRIAL, {"made": "last week"}, "“last week” is no date"),
        (TRIAL, {"used": 1}, "1 must be true or false"),
        (TRIAL, {"lead_leg_mm": "x"}, "lead_leg_mm: “x” is no number"),
    ],
)
def test_what_is_no_value_is_refused_where_it_stands(kind: rack_rows.Kind, changes: dict, says: str) -> None:
    good = {
        "stocks": {"name": "a", "od_mm": 38.1, "wall_mm": 2.4},
        "dies": {"name": "a", "od_mm": 38.1, "clr_mm": 114.3},
        "benders": {"name": "a", "height_mm": 1000},
        "trial_bends": {"die": "a", "stock": "a", "length_mm": 900, "mark_mm": 400}
        | {"dial_deg": 90, "angle_deg": 88},
    }[kind.part]
    rack_rows.read(kind, good, "Row 1")
    with pytest.raises(GeometryError) as refused:
        rack_rows.read(kind, good | changes, "Row 1")
    assert says in refused.value.message


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_needed_and_missing_is_named(kind: rack_rows.Kind) -> None:
    with pytest.raises(GeometryError, match=r"Row 1 has no \w+; every"):
        rack_rows.read(kind, {}, "Row 1")


@given(st.one_of(st.text(), st.integers(), st.none(), st.lists(st.integers())))
def test_what_a_file_holds_is_shown_on_one_short_line(content: object) -> None:
    text = rack_rows.shown(content)
    assert len(text) <= 62
    assert text.isprintable()
