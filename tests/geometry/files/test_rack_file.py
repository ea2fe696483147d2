"""The rack as a file: what is written comes back, what is wrong is refused with its line and column."""

import csv
import io
import json
import math
import tempfile
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from geometry import edits, rack
from geometry.errors import GeometryError
from geometry.files import rack_file
from geometry.layout import Bender, Box, Die, Layout, Stock, TrialBend

names = st.text(
    st.characters(codec="utf-8", categories=("L", "N", "P", "S", "Zs")), min_size=1, max_size=30
).filter(lambda name: bool(name.split()))
lengths = st.floats(1.0, 9000.0)
angles = st.floats(0.01, math.pi)


def unlike(things: st.SearchStrategy[Any]) -> st.SearchStrategy[list[Any]]:
    return st.lists(things, max_size=4, unique_by=lambda thing: " ".join(thing.name.split()))


@st.composite
def stocks(draw: st.DrawFn) -> Stock:
    od = draw(lengths)
    return Stock(
        0,
        " ".join(draw(names).split()),
        od,
        draw(st.floats(0.01, 0.5)) * od,
        draw(st.sampled_from(["Steel", "S235", "1020 as drawn"])),
        draw(st.floats(1e-6, 2e-5)),
        draw(st.floats(0.5, 9.0)),
        draw(lengths),
        draw(st.floats(0.0, 2000.0)),
        draw(st.floats(1e3, 4e5)),
        draw(st.sampled_from(["", "B 7", "=1+1", "'9"])),
    )


@st.composite
def boxes(draw: st.DrawFn) -> Box:
    x, y, z = (draw(st.floats(-2000.0, 2000.0)) for _ in range(3))
    return Box("Frame", (x, y, z), (x + draw(lengths), y + draw(lengths), z + draw(lengths)))


@st.composite
def racks(draw: st.DrawFn) -> Layout:
    layout = Layout()
    for stock in draw(unlike(stocks())):
        layout, _ = rack.add_stock(layout, stock)
    machines = st.builds(
        Bender,
        st.just(0),
        names.map(lambda name: " ".join(name.split())),
        lengths,
        st.sampled_from(["left", "right", "up"]),
        st.sampled_from(["lead", "tail", "both"]),
        st.lists(boxes(), max_size=3).map(tuple),
    )
    for bender in draw(unlike(machines)):
        layout, _ = rack.add_bender(layout, bender)
    for name in draw(st.lists(names.map(lambda name: " ".join(name.split())), max_size=4, unique=True)):
        od = draw(st.sampled_from([stock.od for stock in layout.stocks.values()] or [38.1]))
        die = Die(
            0,
            name,
            od,
            od * draw(st.floats(0.5, 9.0)),
            draw(angles),
            *(draw(st.floats(0.0, 900.0)) for _ in range(3)),
            draw(st.sampled_from([None, *layout.benders])),
            draw(st.sampled_from(["start", "middle", "end"])),
            draw(st.floats(-500.0, 500.0)),
        )
        layout, _ = rack.add_die(layout, die)
    return draw(with_trials(layout))


@st.composite
def with_trials(draw: st.DrawFn, layout: Layout) -> Layout:
    pairs = [(d.id, s.id) for d in layout.dies.values() for s in layout.stocks.values() if d.od == s.od]
    for die, stock in draw(st.lists(st.sampled_from(pairs), max_size=3)) if pairs else []:
        length = draw(lengths)
        trial = TrialBend(
            0,
            die,
            stock,
            draw(st.sampled_from(["", "B 7"])),
            draw(st.sampled_from(["", "2026-03-31"])),
            length,
            length * draw(st.floats(0.1, 0.9)),
            draw(st.floats(0.1, 3.0)),
            draw(st.floats(0.1, 3.0)),
            draw(st.none() | lengths),
            draw(st.none() | lengths),
            note=draw(st.text(st.characters(codec="utf-8", categories=("L", "N", "Zs")), max_size=30)),
            used=draw(st.booleans()),
        )
        layout, _ = rack.add_trial(layout, trial)
    return layout


def likeness(layout: Layout, *parts: str) -> list[dict[str, Any]]:
    """The rack as plain data, so that ids and the last digit of an angle do not count."""
    plain = json.loads(rack_file.to_json(layout))
    kept = {part: plain[part] for part in parts or ("stocks", "benders", "dies", "trial_bends")}
    return json.loads(json.dumps(kept), parse_float=lambda text: round(float(text), 9))


@given(racks())
def test_a_rack_comes_back_from_json_as_it_was(layout: Layout) -> None:
    again = rack_file.rack_only(rack_file.from_json(rack_file.to_json(layout)))
    assert likeness(again) == likeness(layout)
    assert list(again.stocks.values()) == [
        replace(stock, id=id, density=pytest.approx(stock.density, rel=1e-14))
        for id, stock in zip(again.stocks, layout.stocks.values(), strict=True)
    ]


@given(racks())
def test_a_rack_joined_with_itself_is_the_very_same(layout: Layout) -> None:
    again, arrived = rack_file.merged(layout, rack_file.from_json(rack_file.to_json(layout)))
    assert again is layout
    assert arrived.is_nothing
    assert rack_file.told(arrived) == "Everything in it was in the rack already."


@given(
    racks(), st.sampled_from(["stock", "dies"]), st.sampled_from([",", ";"]), st.sampled_from(["", "\ufeff"])
)
def test_a_table_comes_back_from_csv_as_it_was(layout: Layout, part: Any, comma: str, mark: str) -> None:
    rows = list(csv.reader(io.StringIO(rack_file.to_csv(layout, part), newline="")))
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=comma).writerows(rows)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "rack.csv"
        path.write_bytes((mark + text.getvalue()).encode())
        contents = rack_file.load(path)
    empty = replace(layout, stocks={}, dies={}, trials={})
    again, _ = rack_file.merged(empty, contents)
    kind = {"stock": "stocks", "dies": "dies"}[part]
    assert likeness(again, kind) == likeness(layout, kind)


@pytest.fixture
def job() -> Layout:
    layout = rack.with_starting_rack(Layout())
    points = [(0.0, 0.0, 0.0), (0.0, 0.0, 900.0), (0.0, 900.0, 900.0)]
    return edits.add_tube(layout, points, next(iter(layout.stocks)), "Hoop")[0]


def merged_csv(job: Layout, text: str) -> tuple[Layout, str]:
    after, arrived = rack_file.merged(job, rack_file.from_csv(text))
    return after, rack_file.told(arrived)


def test_what_has_the_same_name_is_changed_and_tubes_follow(job: Layout) -> None:
    first = next(iter(job.stocks.values()))
    after, words = merged_csv(job, f"name,od_in,wall_in\n{first.name},1.5,0.134\n42 × 3,1.65354,0.11811\n")
    assert words == "1 tube size changed, 1 added."
    assert after.stocks[first.id].wall == pytest.approx(0.134 * 25.4)
    assert after.tubes == job.tubes
    assert list(after.stocks)[: len(job.stocks)] == list(job.stocks)


def test_what_a_table_leaves_out_stays_as_it_is(job: Layout) -> None:
    first = replace(next(iter(job.stocks.values())), batch="B 7", yield_strength=350.0)
    job = rack.replace_stock(job, first)
    after, _ = merged_csv(job, f"name;od_mm;wall_mm;batch\n{first.name};38.1;3;\n")
    assert after.stocks[first.id] == replace(first, wall=3.0)


def test_a_die_is_used_in_the_bender_that_the_table_names(job: Layout) -> None:
    job, bender = rack.add_bender(job, Bender(0, "Yard bender"))
    after, words = merged_csv(job, "Name,OD_mm,CLR_mm,bender\n42 on 130,42.4,130,Yard bender\n")
    assert list(after.dies.values())[-1].bender == bender
    assert words == "1 die added."


def test_a_trial_bend_is_added_once_and_made_twice_is_kept_twice(job: Layout) -> None:
    die = next(iter(job.dies.values()))
    trial = TrialBend(0, die.id, next(iter(job.stocks)), "B 7", "2026-03-31", 900.0, 400.0, 1.6, 1.5)
    twice = rack.add_trial(rack.add_trial(job, trial)[0], trial)[0]
    contents = rack_file.from_json(rack_file.to_json(twice))
    for layout, added in ((job, 2), (rack.add_trial(job, trial)[0], 1), (twice, 0)):
        after, arrived = rack_file.merged(layout, contents)
        assert arrived.added["trial_bends"] == added
        assert len(after.trials) == 2


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "It is empty"),
        ("name,od_mm\na,38\n", "neither a column wall_mm or wall_in"),
        ("od_mm,wall_mm\n38,2\n", "The column name is missing; every tube size needs it."),
        ("name,od_mm,wall_mm,colour\na,38,2,red\n", "Line 1: “colour” is nothing a tube size has"),
        ("name,od_mm,wall_mm,od_mm\na,38,2,38\n", "Two columns are called “od_mm”"),
        ("name,od_mm,,wall_mm\na,38,,2\n", "Column 3 has no title"),
        ("name,od_mm,wall_mm\na,38,2\nb,thick,2\n", "Line 3, od_mm: “thick” is no number."),
        ("name;od_mm;wall_mm\na;38,1;2\n", "Line 2, od_mm: “38,1” has a comma; write decimals with a point."),
        ("name,od_mm,wall_mm\na,nan,2\n", "Line 2, od_mm: nan is no number that can be used"),
        ("name,od_mm,wall_mm\na,1e999,2\n", "Line 2, od_mm: inf is no number"),
        ("name,od_mm,wall_mm\na,3_8,2\n", "Line 2, od_mm: “3_8” is no number"),
        ("name,od_mm,wall_mm\na,38\n", "Line 2 has no wall_mm; every tube size needs one."),
        ("name,od_mm,wall_mm\na,38,2,7,8\n", "Line 2 has 5 cells, but there are 3 titles."),
        ("name,od_mm,wall_mm\na,38,2\n\na,40,2\n", "Line 4: a is there twice, the first time at line 2."),
        ("name,od_mm,od_in,wall_mm\na,38,1.5,2\n", "Line 2 gives both od_mm and od_in"),
        ('name,od_mm,wall_mm\n"a,38,2\n', "is no line of a table"),
        ("name,od_mm,wall_mm\na,38,30\n", "Line 2: The wall of a cannot be more than half its diameter."),
        ("name,od_mm,wall_mm\na,-38,2\n", "Line 2: Every number of tube size a must be more than 0."),
        ("name,od_mm,clr_mm,bender\na,38,114,Nobody\n", "Line 2, bender: there is no bender “Nobody”"),
        (
            "name,od_mm,clr_mm,mark_at\na,38,114,centre\n",
            "Line 2, mark_at: “centre” must be one of start",
        ),
    ],
)
def test_a_table_that_is_wrong_is_refused_with_line_and_column(text: str, says: str) -> None:
    with pytest.raises(GeometryError) as refused:
        rack_file.rack_only(rack_file.from_csv(text))
    assert says in refused.value.message
    assert refused.value.message.endswith(".")


def whole(**parts: Any) -> str:
    return json.dumps({"format": "outrib rack", "version": 1, **parts})


GOOD = {"name": "a", "od_mm": 38.0, "wall_mm": 2.0}
TRIAL = {"die": "d", "stock": "s", "length_mm": 900, "mark_mm": 1, "dial_deg": 9, "angle_deg": 9}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[]", "It is no rack"),
        ('{"format": "outrib rack"}', "Its version is nothing"),
        ('{"format": "outrib rack", "version": true}', "Its version is True"),
        ('{"format": "outrib rack", "version": 99}', "update Outrib"),
        ('{\n"format": outrib}', "line 2, column 11 can't be read"),
        ('{"format": "outrib rack", "version": 1, "version": 1}', "“version” stands twice"),
        ('{"format": "outrib rack", "version": NaN}', "It holds NaN"),
        ('{"format": "outrib rack", "version": ' + "9" * 5000 + "}", "too many digits"),
        ("[" * 100000, "too deep"),
        (whole(welders=[]), "“welders” is no part of a rack"),
        (whole(stocks={}), "stocks must be a list"),
        (whole(stocks=[1]), "Tube size 1 must be a row"),
        (whole(stocks=[GOOD, GOOD]), "Tube size 2 (a): a is there twice, the first time at tube size 1 (a)"),
        (whole(stocks=[GOOD | {"wall_mm": "x"}]), "Tube size 1 (a), wall_mm: “x” is no number"),
        (whole(stocks=[GOOD] * 1001), "more than 1000 tube sizes"),
        (whole(benders=[{"name": "b", "height_mm": 0}]), "Bender 1 (b): The height of b above the floor"),
        (whole(trial_bends=[TRIAL]), "Trial bend 1, die: there is no die “d”"),
    ],
)  # fmt: skip
def test_a_rack_that_is_wrong_is_refused_where_it_is_wrong(text: str, says: str) -> None:
    with pytest.raises(GeometryError) as refused:
        rack_file.rack_only(rack_file.from_json(text))
    assert says in refused.value.message
    assert refused.value.message.endswith(".")


def said(read: Any, text: str) -> str:
    try:
        return rack_file.told(rack_file.merged(Layout(), read(text))[1])
    except GeometryError as error:
        return error.message


@given(st.text() | st.text("[]{}:,\"'0123456789.eE-; \nnameod_mwl", max_size=80))
def test_any_text_is_read_or_refused_with_a_sentence(text: str) -> None:
    for read in (rack_file.from_json, rack_file.from_csv):
        assert said(read, text).endswith(".")


def test_a_file_in_another_encoding_or_too_large_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "rack.csv"
    path.write_bytes("name,od_mm,wall_mm\n38 × 2,38,2\n".encode("cp1252"))
    with pytest.raises(GeometryError, match=r"Line 2 of rack\.csv is not written in UTF-8"):
        rack_file.load(path)
    path.write_bytes(b" " * (rack_file.LARGEST_FILE + 1))
    with pytest.raises(GeometryError, match="too large"):
        rack_file.load(path)
    with pytest.raises(GeometryError, match="There is no file"):
        rack_file.load(tmp_path / "none.json")
    with pytest.raises(GeometryError, match="could not be read"):
        rack_file.load(tmp_path)


def test_two_of_a_name_can_not_be_written(job: Layout) -> None:
    job, _ = rack.add_die(job, replace(next(iter(job.dies.values())), clr=200.0))
    with pytest.raises(GeometryError, match=r"Two dies in this rack are called 1\.50 in, CLR 4\.5 in"):
        rack_file.to_json(job)


def test_no_name_is_a_formula_to_a_spreadsheet(job: Layout) -> None:
    job, _ = rack.add_stock(job, Stock(0, "=1+1", 42.0, 2.0))
    text = rack_file.to_csv(job, "stock")
    assert "\n'=1+1," in text.replace("\r", "")
    assert list(merged_csv(job, text)[0].stocks) == list(job.stocks)


def test_saving_writes_what_loading_reads(job: Layout, tmp_path: Path) -> None:
    for name, part in (("rack.json", None), ("stock.csv", "stock"), ("dies.csv", "dies")):
        rack_file.save(job, tmp_path / name, part)  # type: ignore[arg-type]
        assert rack_file.merged(job, rack_file.load(tmp_path / name))[0] is job
    with pytest.raises(GeometryError, match="whether stock or dies"):
        rack_file.save(job, tmp_path / "rack.csv")
    with pytest.raises(GeometryError, match="could not be written"):
        rack_file.save(job, tmp_path / "nowhere" / "rack.json")
