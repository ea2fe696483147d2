"""A job opens again exactly as it was saved, or is refused with a sentence."""

import io
import math
import os
import stat
import zipfile
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from geometry.errors import LayoutFileError
from geometry.files import job
from geometry.layout import (
    Axle,
    Body,
    Die,
    Hinge,
    Landing,
    Layout,
    Limits,
    Mesh,
    Node,
    Panel,
    Placement,
    Slide,
    Stock,
    Trim,
    Tube,
    Tyre,
    Weld,
)
from geometry.tolerances import FARTHEST_POINT


def read_only(values: Any, kind: type) -> Any:
    array = np.array(values, dtype=kind)
    array.flags.writeable = False
    return array


def tetrahedron() -> Mesh:
    corners = [[0, 0, 0], [0.1, 0, 0], [0, 1 / 3, 0], [0, 0, -0.0]]
    return Mesh(read_only(corners, np.float64), read_only([[0, 2, 1], [0, 1, 3]], np.int32))


def a_layout() -> Layout:
    """A layout with one of everything, ids out of order."""
    return Layout(
        name="Trial “4x4”",
        next_id=40,
        nodes={
            9: Node(9, (0.1, 0.2, 0.30000000000000004)),
            3: Node(3, (1e-300, -0.0, 1000.0)),
            4: Node(4, (0.5, 0.0, 500.0), Landing(20, 123.456)),
            5: Node(5, (0.0, 900.0, 500.0)),
        },
        tubes={
            21: Tube(21, "T2", (4, 5), 30, die=31, start_allowance=0.0, tied="frame", hugs=False),
            20: Tube(20, "T1", (9, 3), 30, standoff_closest=1 / 3, welds=(Weld(12, 0.1, None),)),
        },
        bodies={11: Body(11, "shell", Placement(25.4, shift=(1.0, 2.0, 3.0)), unit="in", up="-y")},
        panels={
            13: Panel(13, "roof", 11, tetrahedron(), source="Roof.001", kept=False, colour="#a0b1c2"),
            12: Panel(12, "sill", 11, tetrahedron(), trim=Trim(tetrahedron(), (((0.1, 0.2, 1 / 3),),), 25.0)),
            14: Panel(14, "door", 11, tetrahedron(), motion=Hinge((0.1, 0.0, 0.0), (0.1, 0.0, 1 / 3), -1.2)),
            15: Panel(15, "glass", 11, tetrahedron(), motion=Slide((0.0, -0.0, 300.0)), moves_with=14),
        },
        stocks={30: Stock(30, "1-3/4 x .120", 44.45, 3.048)},
        dies={31: Die(31, "six inch", 44.45, 152.4, largest_angle=math.radians(100))},
        axles={35: Axle(35, "front", 0.0, 400.0, 1500.0, Tyre(800.0, 250.0, 30.0, code="x"), 80.0, 1 / 3)},
        limits=Limits(standoff_wanted=25.0),
    )


def plain(layout: Layout) -> Any:
    """A layout as dicts and lists, arrays as their bytes, in order."""
    return msgspec.to_builtins(
        layout, enc_hook=lambda array: (array.shape, array.dtype.str, array.tobytes()), builtin_types=(bytes,)
    )


def in_order(value: Any) -> Any:
    """Dicts as lists of pairs: == on dicts forgets their order."""
    if isinstance(value, dict):
        return [(key, in_order(item)) for key, item in value.items()]
    return [in_order(item) for item in value] if isinstance(value, list | tuple) else value


def same(a: Layout, b: Layout) -> bool:
    return repr(in_order(plain(a))) == repr(in_order(plain(b)))  # repr tells -0.0 from 0.0


def test_a_job_opens_exactly_as_it_was_saved(tmp_path: Path) -> None:
    job.save(a_layout(), tmp_path / "one.outrib")
    assert same(job.load(tmp_path / "one.outrib"), a_layout())


def test_the_empty_layout_opens_again(tmp_path: Path) -> None:
    job.save(Layout(), tmp_path / "empty.outrib")
    assert same(job.load(tmp_path / "empty.outrib"), Layout())


numbers = st.floats(-FARTHEST_POINT, FARTHEST_POINT)


@given(st.lists(st.tuples(numbers, numbers, numbers), max_size=8), st.text(max_size=12), st.randoms())
def test_any_numbers_and_any_name_open_again(
    tmp_path_factory: pytest.TempPathFactory, points: list[Any], name: str, random: Any
) -> None:
    ids = list(range(1, len(points) + 1))
    random.shuffle(ids)
    nodes = {id: Node(id, point) for id, point in zip(ids, points, strict=True)}
    layout = Layout(name=name, next_id=len(points) + 1, nodes=nodes)
    path = tmp_path_factory.mktemp("job") / "any.outrib"
    job.save(layout, path)
    assert same(job.load(path), layout)


def test_the_same_layout_gives_the_same_bytes(tmp_path: Path) -> None:
    job.save(a_layout(), tmp_path / "one.outrib")
    job.save(job.load(tmp_path / "one.outrib"), tmp_path / "two.outrib")
    assert (tmp_path / "one.outrib").read_bytes() == (tmp_path / "two.outrib").read_bytes()


def test_equal_meshes_are_stored_once_and_nothing_is_compressed(tmp_path: Path) -> None:
    job.save(a_layout(), tmp_path / "one.outrib")
    with zipfile.ZipFile(tmp_path / "one.outrib") as stored:
        entries = stored.infolist()
    assert entries[0].filename == "layout.json"
    assert len(entries) == 3
    assert {entry.compress_type for entry in entries} == {zipfile.ZIP_STORED}


def test_meshes_come_back_read_only(tmp_path: Path) -> None:
    job.save(a_layout(), tmp_path / "one.outrib")
    mesh = job.load(tmp_path / "one.outrib").panels[12].mesh
    assert not mesh.vertices.flags.writeable
    assert not mesh.triangles.flags.writeable


def test_numbers_of_numpy_are_saved_as_numbers(tmp_path: Path) -> None:
    point: Any = (np.float64(0.1), np.float32(0.5), np.int64(3))
    job.save(Layout(next_id=2, nodes={1: Node(1, point)}), tmp_path / "one.outrib")
    assert job.load(tmp_path / "one.outrib").nodes[1].position == (0.1, 0.5, 3.0)


def with_node(position: Any) -> Layout:
    return Layout(next_id=2, nodes={1: Node(1, position)})


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_number_that_is_not_finite_is_never_saved(tmp_path: Path, value: float) -> None:
    path = tmp_path / "one.outrib"
    job.save(a_layout(), path)
    before = path.read_bytes()
    with pytest.raises(LayoutFileError, match="a number that is not finite"):
        job.save(with_node((0.0, value, 0.0)), path)
    assert path.read_bytes() == before


class Interrupted(BaseException):
    """Stands for a power cut, Ctrl+C or a full disk in the middle of a save."""


@pytest.mark.parametrize("error", [Interrupted(), OSError(28, "No space left on device")])
def test_a_save_that_breaks_off_leaves_the_old_job(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: BaseException
) -> None:
    path = tmp_path / "one.outrib"
    job.save(a_layout(), path)
    before = path.read_bytes()

    def broken(*_: Any) -> None:
        raise error

    monkeypatch.setattr(os, "fsync", broken)
    expected = LayoutFileError if isinstance(error, OSError) else Interrupted
    with pytest.raises(expected):
        job.save(Layout(), path)
    assert path.read_bytes() == before
    assert os.listdir(tmp_path) == ["one.outrib"]


def test_a_full_disk_is_said_in_a_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(LayoutFileError) as caught:
        job.save(Layout(), tmp_path / "one.outrib")
    assert caught.value.message == (
        f"one.outrib could not be saved in {tmp_path}: No space left on device. "
        "What was there before is unchanged; save it in another place."
    )


@pytest.mark.skipif(os.name != "posix", reason="rights and links as on Linux and macOS")
def test_saving_keeps_rights_and_follows_links(tmp_path: Path) -> None:
    real = tmp_path / "real.outrib"
    link = tmp_path / "link.outrib"
    job.save(Layout(), real)
    real.chmod(0o640)
    link.symlink_to(real)
    job.save(a_layout(), link)
    assert link.is_symlink()
    assert stat.S_IMODE(real.stat().st_mode) == 0o640
    assert same(job.load(real), a_layout())


def rewritten(path: Path, change: Any, compression: int = zipfile.ZIP_STORED) -> None:
    """Save a layout at path with its entries (name -> bytes) changed."""
    buffer = path.with_suffix(".first")
    job.save(a_layout(), buffer)
    with zipfile.ZipFile(buffer) as stored:
        entries = {name: stored.read(name) for name in stored.namelist()}
    change(entries)
    with zipfile.ZipFile(path, "w", compression) as made:
        for name, content in entries.items():
            made.writestr(name, content)


def replace_text(old: str, new: str) -> Any:
    def change(entries: dict[str, bytes]) -> None:
        assert old.encode() in entries["layout.json"]
        entries["layout.json"] = entries["layout.json"].replace(old.encode(), new.encode(), 1)

    return change


def refused(path: Path) -> str:
    with pytest.raises(LayoutFileError) as caught:
        job.load(path)
    assert caught.value.path == path
    assert caught.value.message.endswith(".")
    return caught.value.message


def test_a_newer_format_is_named_as_such(tmp_path: Path) -> None:
    path = tmp_path / "new.outrib"
    rewritten(path, replace_text('"version": 1', '"version": 99'))
    assert refused(path) == (
        "new.outrib was saved by a newer Outrib (format 99; this one reads up to 1). "
        "Update Outrib to open it."
    )


def test_an_older_format_is_upgraded_step_by_step(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "old.outrib"
    rewritten(path, replace_text('"name": "T2"', '"nom": "T2"'))

    def to_two(document: dict[str, Any]) -> dict[str, Any]:
        for tube in document["layout"]["tubes"].values():
            tube["name"] = tube.pop("nom", None) or tube["name"]
        return document

    class Two(msgspec.Struct):
        format: str
        version: int
        layout: Layout

    monkeypatch.setattr(job, "VERSION", 2)
    monkeypatch.setattr(job, "Document", Two)
    monkeypatch.setitem(job.UPGRADES, 1, to_two)
    assert same(job.load(path), a_layout())


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ('"stock": 30', '"stock": 29', "tube T2 is of stock 29, which is missing"),
        ('"die": 31', '"die": 30', "tube T2 is bent on die 30, which is missing"),
        ('"tube": 20', '"tube": 22', "node 4 lands on tube 22, which is missing"),
        ('"tube": 20', '"tube": 21', "tubes T2 land on one another in a ring"),
        ('"next_id": 40', '"next_id": 31', "id 35 was never given out"),
        ('"id": 31', '"id": 32', "id 31 of dies holds id 32"),
        ('"body": 11', '"body": 12', "panel roof belongs to body 12, which is missing"),
        ('"panel": 12', '"panel": 19', "tube T1 is welded to panel 19, which is missing"),
        ('"moves_with": 14', '"moves_with": 19', "panel glass moves with panel 19, which is missing"),
        ('"moves_with": 14', '"moves_with": 15', "panel glass moves with itself in the end"),
        (
            '"bump": 80.0',
            '"bump": -1.0',
            "axle front cannot be so (The axle “front” has a bump of -1 mm. "
            "Give it as 0 mm or more, from ride height, and up to 1000 mm)",
        ),
        ('"wall": 3.048', '"wall": 30', "stock 1-3/4 x .120 has a wall of 30 mm on 44.45 mm"),
    ],
)
def test_a_broken_promise_is_named(tmp_path: Path, old: str, new: str, fault: str) -> None:
    path = tmp_path / "bad.outrib"
    rewritten(path, replace_text(old, new))
    assert refused(path) == f"bad.outrib cannot be used: {fault}. Open a copy saved earlier."


def array_file(array: Any, **options: Any) -> bytes:
    stream = io.BytesIO()
    np.lib.format.write_array(stream, array, **options)
    return stream.getvalue()


@pytest.mark.parametrize(
    "content",
    [
        array_file(np.array([["a"]], dtype=object), allow_pickle=True),
        array_file(np.zeros((2, 2))),
        array_file(np.zeros((2, 3), dtype="<f4")),
        array_file(np.zeros((4, 3)))[:-1],
        array_file(np.zeros((4, 3))).replace(b"(4, 3)", b"(9, 3)"),
        array_file(np.asfortranarray(np.ones((4, 3)))),
        array_file(np.ones((4, 3))),
        b"",
        b"\x93NUMPY\x01\x00\xff\xff",
    ],
    ids=["pickle", "shape", "type", "short", "lying header", "column order", "other content", "empty", "cut"],
)
def test_an_array_that_is_not_what_it_should_be_is_refused(tmp_path: Path, content: bytes) -> None:
    def change(entries: dict[str, bytes]) -> None:
        entries[next(name for name in entries if name.startswith("meshes/"))] = content

    rewritten(tmp_path / "bad.outrib", change)
    assert "is not an Outrib job, or it is damaged" in refused(tmp_path / "bad.outrib")


def drop_meshes(entries: dict[str, bytes]) -> None:
    for name in [name for name in entries if name.startswith("meshes/")]:
        del entries[name]


@pytest.mark.parametrize(
    "change",
    [
        drop_meshes,
        lambda entries: entries.pop("layout.json"),
        lambda entries: entries.update({"layout.json": b"{"}),
        lambda entries: entries.update({"layout.json": b"[" * 100_000}),
        lambda entries: entries.update({"layout.json": b'{"format": "of another program"}'}),
        replace_text('"od": 44.45', '"od": null'),
        replace_text('"od": 44.45', '"od": 1e999'),
    ],
    ids=["no meshes", "no layout", "cut", "deep", "other format", "null", "too large"],
)
def test_an_entry_that_is_missing_or_wrong_is_refused(tmp_path: Path, change: Any) -> None:
    rewritten(tmp_path / "bad.outrib", change)
    assert "is not an Outrib job, or it is damaged" in refused(tmp_path / "bad.outrib")


def test_a_compressed_zip_is_refused_before_it_is_read(tmp_path: Path) -> None:
    rewritten(tmp_path / "bomb.outrib", lambda entries: None, zipfile.ZIP_DEFLATED)
    assert "an entry is compressed" in refused(tmp_path / "bomb.outrib")


def test_an_entry_that_is_there_twice_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "twice.outrib"
    job.save(Layout(), path)
    with zipfile.ZipFile(path, "a") as stored, pytest.warns(UserWarning, match="Duplicate"):
        stored.writestr("layout.json", b"{}")
    assert "an entry is there twice" in refused(path)


@pytest.mark.parametrize("content", [b"", b"solid cube", b"PK\x03\x04"])
def test_a_file_of_another_kind_is_refused(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "cube.stl"
    path.write_bytes(content)
    assert "cube.stl is not an Outrib job, or it is damaged" in refused(path)


def test_no_file_and_a_folder_are_refused(tmp_path: Path) -> None:
    assert refused(tmp_path / "none.outrib") == f"There is no job at {tmp_path / 'none.outrib'}."
    assert "could not be read" in refused(tmp_path)


@given(st.data())
def test_a_damaged_byte_is_refused_or_harmless(
    tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    path = tmp_path_factory.mktemp("job") / "one.outrib"
    job.save(a_layout(), path)
    content = bytearray(path.read_bytes())
    place = data.draw(st.integers(0, len(content) - 1))
    content[place] ^= data.draw(st.integers(1, 255))
    path.write_bytes(content)
    try:
        assert same(job.load(path), a_layout())
    except LayoutFileError as error:
        assert error.message.endswith(".")  # noqa: PT017 - both ends are right
