"""Racks from file to file, and the one that new jobs start with."""

from pathlib import Path
from typing import Any

import pytest
from msgspec.structs import replace
from pytestqt.qtbot import QtBot

from app import rack_files
from app.rack_files import RackFiles, empty_job, kept_rack
from app.session import Session
from app.settings import Settings
from geometry import rack
from geometry.files import rack_file
from geometry.layout import Layout


class Heard:
    """What was told and refused."""

    def __init__(self, files: RackFiles) -> None:
        self.told: list[str] = []
        self.refused: list[str] = []
        files.told.connect(self.told.append)
        files.refused.connect(self.refused.append)


@pytest.fixture
def session(qapp: object, layout: Layout) -> Session:
    return Session(layout)


@pytest.fixture
def files(session: Session, answers: Any) -> RackFiles:
    return RackFiles(session, Settings(), None)  # type: ignore[arg-type]


@pytest.fixture
def heard(files: RackFiles) -> Heard:
    return Heard(files)


def other_rack(session: Session) -> Layout:
    """The session's rack with one wall changed and a die more."""
    layout = session.layout
    first = next(iter(layout.stocks.values()))
    layout = rack.replace_stock(layout, replace(first, wall=3.0))
    return rack.add_die(layout, replace(next(iter(layout.dies.values())), name="Tight", clr=95.0))[0]


def test_a_rack_joins_in_one_undo_step_and_says_what_came(
    files: RackFiles, heard: Heard, session: Session, answers: Any, tmp_path: Path
) -> None:
    answers.open_path = tmp_path / "yard.json"
    rack_file.save(other_rack(session), answers.open_path)
    before = session.layout
    files.bring_in()
    assert heard.told == ["yard.json: 1 tube size changed; 1 die added."]
    assert [die.name for die in session.layout.dies.values()][-1] == "Tight"
    assert session.layout.tubes == before.tubes
    assert session.undo_stack.count() == 1
    session.undo()
    assert session.layout is before


def test_a_rack_that_is_wrong_changes_nothing(
    files: RackFiles, session: Session, answers: Any, tmp_path: Path
) -> None:
    said: list[str] = []
    session.refused.connect(said.append)
    answers.open_path = tmp_path / "yard.csv"
    answers.open_path.write_text("name,od_mm,wall_mm\na,38,x\n", encoding="utf-8")
    before = session.layout
    files.bring_in()
    assert said == ["yard.csv can't be used. Line 2, wall_mm: “x” is no number."]
    assert session.layout is before


@pytest.mark.parametrize(("kind", "suffix"), [(k, Path(v[0]).suffix) for k, v in rack_files.WRITTEN.items()])
def test_each_kind_of_file_is_written_and_reads_back(
    files: RackFiles, heard: Heard, session: Session, answers: Any, tmp_path: Path, kind: str, suffix: str
) -> None:
    answers.choice, answers.save_path = kind, tmp_path / "mine"
    files.write()
    path = tmp_path / f"mine{suffix}"
    assert heard.told == [f"The rack is written: {path}"]
    assert rack_file.merged(session.layout, rack_file.load(path))[0] is session.layout


def test_backing_out_of_a_question_does_nothing(files: RackFiles, heard: Heard, answers: Any) -> None:
    answers.choice = None
    files.write()
    files.bring_in()
    assert heard.told == heard.refused == []
    assert answers.asked == ["Export rack", "Import rack"]


def test_a_place_that_can_not_be_written_is_said(
    files: RackFiles, heard: Heard, answers: Any, tmp_path: Path
) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    answers.choice, answers.save_path = "Stock, as CSV", tmp_path / "file" / "stock.csv"
    files.write()
    assert len(heard.refused) == 1


def test_new_jobs_start_with_the_kept_rack_until_it_is_forgotten(
    files: RackFiles, heard: Heard, session: Session
) -> None:
    session.commit("Change the rack", other_rack(session))
    files.keep()
    new, trouble = empty_job()
    assert trouble == ""
    assert [die.name for die in new.dies.values()] == [die.name for die in session.layout.dies.values()]
    assert new.tubes == {}
    assert next(iter(new.stocks.values())).wall == 3.0
    files.forget()
    usual = rack.with_starting_rack(Layout())
    assert empty_job()[0].dies == usual.dies
    files.forget()  # nothing to forget is no trouble
    assert heard.refused == []


def test_a_damaged_kept_rack_gives_the_common_one_and_a_sentence(
    qtbot: QtBot, files: RackFiles, heard: Heard
) -> None:
    kept_rack().parent.mkdir(parents=True, exist_ok=True)
    kept_rack().write_bytes(b"\x00\xff{")
    assert files.empty_job().stocks == rack.with_starting_rack(Layout()).stocks
    qtbot.waitUntil(lambda: bool(heard.told))
    assert heard.told == [
        "New jobs start with the common rack: Line 1 of rack.json is not written in UTF-8; save the file as "
        "UTF-8 and try again."
    ]
    kept_rack().write_text('{"format": "outrib rack", "version": 1, "dies": 7}', encoding="utf-8")
    assert (
        empty_job()[1] == "New jobs start with the common rack: rack.json can't be used. dies must be a list."
    )


def test_the_window_carries_racks_and_says_what_came(
    qtbot: QtBot, window: Any, answers: Any, tmp_path: Path
) -> None:
    answers.open_path = tmp_path / "yard.csv"
    answers.open_path.write_text("name;od_in;wall_in\n1.25 × 0.095 in;1.25;0.095\n", encoding="utf-8")
    window.rack.import_wanted.emit()
    assert window.message.text == "yard.csv: 1 tube size added."
    window.rack.keep_wanted.emit()
    answers.choice = "Don't save"
    window.files.new()
    assert [*window.session.layout.stocks.values()][-1].name == "1.25 × 0.095 in"
    kept_rack().write_text("[]", encoding="utf-8")
    window.files.new()
    qtbot.waitUntil(lambda: "New jobs start with the common rack" in window.message.text)
    answers.choice = "Dies, as CSV"
    answers.save_path = tmp_path / "dies.csv"
    window.rack.export_wanted.emit()
    assert answers.save_path.is_file()
    window.rack.forget_wanted.emit()
    assert not kept_rack().exists()
