import contextlib
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from geometry import edits, part_groups
from geometry.errors import GeometryError
from geometry.files import part_file
from geometry.layout import Landing, Layout
from geometry.part_groups import PartGroup
from geometry.tube.stock import starting_rack

STOCKS, DIES, NEXT_ID = starting_rack(1)
STOCK = next(iter(STOCKS))


def part() -> PartGroup:
    layout = Layout(stocks=STOCKS, dies=DIES, next_id=NEXT_ID)
    layout, hoop = edits.add_tube(layout, [(0, 700, 100), (0, 700, 1200), (0, -700, 1200)], STOCK, "Höop")
    layout, bar = edits.add_tube(layout, [Landing(hoop, 500.0), (0.1, -300.0, 600.0)], STOCK)
    return part_groups.taken(layout, [hoop, bar], "Half a gate")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / f"gate{part_file.SUFFIX}"


def test_a_part_comes_back_as_it_was_saved(path: Path) -> None:
    part_file.save(part(), path)
    assert part_file.load(path) == part()


def test_saving_twice_writes_the_same_bytes(path: Path) -> None:
    part_file.save(part(), path)
    first = path.read_bytes()
    part_file.save(part_file.load(path), path)
    assert path.read_bytes() == first


def test_a_folder_that_is_not_there_is_said_so(tmp_path: Path) -> None:
    with pytest.raises(GeometryError, match="could not be written"):
        part_file.save(part(), tmp_path / "gone" / "x.outrib-part")
    with pytest.raises(GeometryError, match="There is no file"):
        part_file.load(tmp_path / "gone.outrib-part")
    with pytest.raises(GeometryError, match="could not be read"):
        part_file.load(tmp_path)


@pytest.mark.parametrize(
    "content",
    [b"", b"{", b"null", b"[]", b"\xff\xfe\x00", b'{"format": "outrib rack"}', b"[" * 200_000, b"1" * 5000],
    ids=["empty", "cut", "null", "list", "bytes", "rack", "deep", "digits"],
)
def test_files_that_are_no_part_are_refused_in_words(path: Path, content: bytes) -> None:
    path.write_bytes(content)
    with pytest.raises(GeometryError, match=r"^gate\.outrib-part can't be used\. It is no part"):
        part_file.load(path)


def test_a_huge_file_is_not_read(path: Path) -> None:
    path.write_bytes(b" " * (part_file.LARGEST_FILE + 1))
    with pytest.raises(GeometryError, match="too large"):
        part_file.load(path)


def _set(*keys: Any, to: Any) -> Callable[[Any], None]:
    def change(plain: Any) -> None:
        for key in keys[:-1]:
            plain = plain[key]
        plain[keys[-1]] = to

    return change


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (_set("version", to=2), "newer Outrib"),
        (_set("version", to=0), "version must be"),
        (_set("version", to=True), "version must be"),
        (_set("part", to=None), "damaged"),
        (_set("part", "tubes", to=[]), "no tube"),
        (_set("more", to=1), "damaged"),
        (_set("part", "tubes", 0, "nodes", to=[]), "tube Höop"),
        (_set("part", "tubes", 0, "nodes", to=[9999, 9998]), "Höop"),
        (_set("part", "tubes", 0, "stock", to=9999), "Höop"),
        (_set("part", "tubes", 0, "id", to=-4), "never given out"),
        (_set("part", "tubes", 0, "twin", to=3), "damaged|other side|job that it was"),
        (_set("part", "tubes", 0, "welds", to=[{"panel": 3}]), "damaged|taken from"),
        (_set("part", "tubes", 0, "name", to="x" * 999), "too long"),
        (_set("part", "tubes", 0, "name", to="a\nb"), "can't be printed"),
        (_set("part", "nodes", 0, "position", to=[0, 0]), "damaged"),
        (_set("part", "nodes", 0, "position", to=[1e300, 0, 0]), "kilometre"),
        (_set("part", "nodes", 0, "id", to=NEXT_ID + 1), "id"),
        (_set("part", "stocks", 0, "od", to=-1.0), "damaged"),
        (_set("part", "stocks", 0, "wall", to=500.0), "damaged|half its diameter"),
        (_set("part", "stocks", 0, "stick", to="long"), "damaged"),
        (_set("part", "dies", 0, "clr", to=1.0), "half its diameter|damaged"),
        (_set("part", "dies", 0, "bender", to=7), "bender 7"),
        (_set("part", "axes", to=[[0, 0, 0]] * 3), "square"),
        (_set("part", "axes", to=[[1, 0, 0]] * 2), "damaged"),
        (_set("part", "nodes", 0, "landing", to={"tube": 9999, "station": 1.0}), "damaged"),
    ],
)
def test_broken_parts_are_refused_in_words(path: Path, change: Callable[[Any], None], words: str) -> None:
    part_file.save(part(), path)
    plain = json.loads(path.read_text("utf-8"))
    change(plain)
    path.write_text(json.dumps(plain), "utf-8")
    with pytest.raises(GeometryError, match=words) as refusal:
        part_file.load(path)
    assert re.match(r"gate\.outrib-part can't be used\. [A-Z].*\.$", refusal.value.message)


def test_numbers_that_are_not_finite_are_refused(path: Path) -> None:
    part_file.save(part(), path)
    text = path.read_text("utf-8")
    for number in ("1e999", "NaN", "-Infinity"):
        path.write_text(text.replace("700.0", number, 1).replace("0.1", number, 1), "utf-8")
        with pytest.raises(GeometryError, match="can't be used"):
            part_file.load(path)


@settings(deadline=None, max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_no_change_of_bytes_does_more_than_be_refused(path: Path, data: st.DataObject) -> None:
    part_file.save(part(), path)
    content = bytearray(path.read_bytes())
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(content) - 1))
        content[at] = data.draw(st.sampled_from(b'0123456789-.eE,:{}[]"nulltrue \x00\xff'))
    path.write_bytes(bytes(content))
    with contextlib.suppress(GeometryError):
        part_groups.placed(Layout(), part_file.load(path), (0.0, 0.0, 0.0))
