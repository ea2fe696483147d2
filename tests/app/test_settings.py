"""Preferences: kept in one INI file in the configuration folder, robust against nonsense."""

from pathlib import Path

import pytest
from PySide6.QtCore import QByteArray
from pytestqt.qtbot import QtBot

from app.settings import RECENT_JOBS, Settings, config_folder
from app.units import Units


@pytest.fixture
def settings(qapp: object) -> Settings:
    return Settings()


def reopened(settings: Settings) -> Settings:
    settings.sync()
    return Settings()


def test_the_file_lies_in_the_configuration_folder(settings: Settings, own_settings: Path) -> None:
    settings.set_theme("dark")
    settings.sync()
    assert config_folder() == own_settings / "outrib"
    assert (own_settings / "outrib" / "outrib.ini").is_file()


@pytest.mark.parametrize("units", [Units(), Units("in"), Units("in-fraction", 8), Units("in-fraction", 32)])
def test_units_come_back(settings: Settings, units: Units) -> None:
    settings.set_units(units)
    assert reopened(settings).units == units


def test_a_unit_change_is_told_once(qtbot: QtBot, settings: Settings) -> None:
    with qtbot.waitSignal(settings.units_changed) as changed:
        settings.set_units(Units("in"))
    assert changed.args == [Units("in")]
    with qtbot.assertNotEmitted(settings.units_changed):
        settings.set_units(Units("in"))


def test_nonsense_in_the_file_reads_as_the_default(own_settings: Path, qapp: object) -> None:
    file = own_settings / "outrib" / "outrib.ini"
    file.parent.mkdir(parents=True)
    file.write_text(
        "[units]\nlength=cubits\nfraction=7\n[look]\ntheme=loud\n[recent]\njobs={{{\n[export]\npaper=A0\n"
    )
    settings = Settings()
    assert settings.units == Units()
    assert settings.theme == "system"
    assert settings.paper == "A4"
    assert settings.recent_jobs == ()


def test_recent_jobs_are_newest_first_without_doubles_or_lost_ones(
    settings: Settings, tmp_path: Path
) -> None:
    jobs = [tmp_path / f"{number}.outrib" for number in range(RECENT_JOBS + 2)]
    for job in jobs:
        job.touch()
        settings.add_recent_job(job)
    settings.add_recent_job(jobs[5])
    newest = [jobs[5], *(job for job in reversed(jobs) if job != jobs[5])][:RECENT_JOBS]
    assert list(reopened(settings).recent_jobs) == newest
    newest[1].unlink()
    assert newest[1] not in settings.recent_jobs


def test_how_a_job_was_left_comes_back(settings: Settings, tmp_path: Path) -> None:
    state = {"camera": {"focus": [1.0, 2.5, 3.0]}, "selection": [4, 7], "folded": {"job": True}}
    settings.set_job_state(tmp_path / "a.outrib", state)
    again = reopened(settings)
    assert again.job_state(tmp_path / "a.outrib") == state
    assert again.job_state(tmp_path / "b.outrib") == {}


def test_a_folder_that_is_gone_is_home(settings: Settings, tmp_path: Path) -> None:
    folder = tmp_path / "jobs"
    folder.mkdir()
    settings.set_folder("jobs", folder)
    assert settings.folder("jobs") == folder
    folder.rmdir()
    assert settings.folder("jobs") == Path.home()


def test_bytes_come_back(settings: Settings) -> None:
    settings.set_bytes("window/geometry", QByteArray(b"\x00\x01abc"))
    assert reopened(settings).bytes_at("window/geometry") == QByteArray(b"\x00\x01abc")
    assert settings.bytes_at("nothing").isEmpty()
