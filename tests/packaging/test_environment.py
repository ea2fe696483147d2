"""The set-up that the two commands share: what it reuses, what it makes anew, what it asks for."""

import importlib.util
import json
import re
import sys
import tomllib
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

REPO = Path(__file__).resolve().parents[2]


@pytest.fixture
def environment(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> ModuleType:
    """The module with its folders in a temporary place and every command only written down."""
    spec = importlib.util.spec_from_file_location("environment", REPO / "packaging" / "environment.py")
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    venv = tmp_path / ".venv"
    monkeypatch.setattr(module, "REPO", tmp_path)
    monkeypatch.setattr(module, "VENV", venv)
    monkeypatch.setattr(module, "STAMP", venv / "stamp.json")
    monkeypatch.setattr(module, "LOCK", tmp_path / "lock.txt")
    monkeypatch.setattr(module, "PROJECT", tmp_path / "pyproject.toml")
    (tmp_path / "lock.txt").write_text("one==1\n")
    (tmp_path / "pyproject.toml").write_text("[project]\n")
    module.ran = []  # type: ignore[attr-defined]
    module.fails = ""  # type: ignore[attr-defined]

    def status(command: list[str], **_options: Any) -> int:
        line = " ".join(command)
        module.ran.append(line)
        if "-m venv" in line:
            venv.mkdir(exist_ok=True)
        return 1 if module.fails and module.fails in line else 0

    monkeypatch.setattr(module, "_status", status)
    monkeypatch.setattr(module, "_works", venv.exists)
    monkeypatch.setattr(module, "_missing_packages", lambda _for_tests: ([], []))
    monkeypatch.setattr(module.time, "sleep", lambda _seconds: None)
    return module


def commands_of(environment: Any, word: str) -> list[str]:
    return [line for line in environment.ran if word in line]


def test_a_complete_environment_is_reused_without_a_command(environment: Any) -> None:
    environment.prepare()
    environment.ran.clear()
    environment.prepare()
    assert environment.ran == []


def test_the_stamp_is_written_last(environment: Any) -> None:
    environment.fails = "--editable"
    with pytest.raises(environment.Refused, match="run the same command again"):
        environment.prepare()
    assert not environment.STAMP.exists()


def test_what_broke_off_is_made_anew(environment: Any) -> None:
    environment.fails = "--requirement"
    with pytest.raises(environment.Refused):
        environment.prepare()
    environment.fails = ""
    environment.ran.clear()
    environment.prepare()
    assert commands_of(environment, "-m venv --clear")
    assert environment.STAMP.exists()


@pytest.mark.parametrize("text", ["", "{", "[]", '{"python": "CPython 2.7"}'])
def test_a_stamp_that_says_something_else_counts_for_nothing(environment: Any, text: str) -> None:
    environment.VENV.mkdir()
    environment.STAMP.write_text(text)
    environment.prepare()
    assert commands_of(environment, "-m venv --clear")


def test_another_lock_makes_it_anew(environment: Any) -> None:
    environment.prepare()
    environment.LOCK.write_text("one==2\n")
    environment.ran.clear()
    environment.prepare()
    assert commands_of(environment, "-m venv --clear")
    assert commands_of(environment, "--requirement")


def test_another_python_makes_it_anew(environment: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    environment.prepare()
    monkeypatch.setattr(environment.platform, "python_version", lambda: "3.13.99")
    environment.ran.clear()
    environment.prepare()
    assert commands_of(environment, "-m venv --clear")


def test_a_folder_that_moved_is_made_anew(environment: Any) -> None:
    environment.prepare()
    stamp = json.loads(environment.STAMP.read_text())
    environment.STAMP.write_text(json.dumps(stamp | {"place": "/elsewhere"}))
    environment.ran.clear()
    environment.prepare()
    assert commands_of(environment, "-m venv --clear")


def test_another_pyproject_installs_only_outrib_again(environment: Any) -> None:
    environment.prepare()
    environment.PROJECT.write_text('[project]\nversion = "2"\n')
    environment.ran.clear()
    environment.prepare()
    assert [line.split()[-2] for line in environment.ran] == ["--editable"]
    environment.ran.clear()
    environment.prepare()
    assert environment.ran == []


def test_a_python_that_is_too_old_or_too_new_is_refused(
    environment: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    for version in ((3, 10, 9), (3, 14, 0)):
        monkeypatch.setattr(environment.sys, "version_info", version)
        with pytest.raises(environment.Refused, match=r"Python 3\.11 to 3\.13"):
            environment.prepare()
    assert environment.ran == []


def missing(
    environment: Any, monkeypatch: pytest.MonkeyPatch, *, must: list[str], may: list[str], root: bool
) -> None:
    monkeypatch.setattr(environment, "_missing_packages", lambda _for_tests: (must, may))
    monkeypatch.setattr(environment, "_can_use_apt", lambda: True)
    monkeypatch.setattr(environment.os, "geteuid", lambda: 0 if root else 1000, raising=False)


def test_root_on_debian_gets_what_is_missing(environment: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    missing(environment, monkeypatch, must=["python3-venv"], may=["libgl1"], root=True)
    environment.prepare()
    update, install = environment.ran[:2]
    assert update.endswith("update")
    assert install.endswith("install -y --no-install-recommends python3-venv libgl1")
    assert "DPkg::Lock::Timeout=" in install


def test_an_interrupted_dpkg_is_finished_first(environment: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    missing(environment, monkeypatch, must=["python3-venv"], may=[], root=True)
    environment.fails = "install -y"
    with pytest.raises(environment.Refused, match="apt-get could not install"):
        environment.prepare()
    assert environment.ran[2] == "dpkg --configure -a"


def test_others_are_told_the_one_command(environment: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    missing(environment, monkeypatch, must=["python3-venv"], may=["libgl1"], root=False)
    with pytest.raises(environment.Refused) as refused:
        environment.prepare()
    command = "sudo apt-get install -y --no-install-recommends python3-venv libgl1"
    assert re.search(rf"^ *{re.escape(command)}$", str(refused.value), re.MULTILINE)
    assert environment.ran == []


def test_without_a_screen_the_libraries_of_a_window_are_not_asked_for(
    environment: Any, monkeypatch: pytest.MonkeyPatch, capsys: Any
) -> None:
    missing(environment, monkeypatch, must=[], may=["libgl1"], root=False)
    environment.prepare(needs_screen_libraries=False)
    assert "libgl1" in capsys.readouterr().out
    assert environment.STAMP.exists()


def test_a_refusal_is_a_sentence_and_2_and_an_interrupt_is_130(environment: Any, capsys: Any) -> None:
    def refuse() -> int:
        raise environment.Refused("Do this.")

    def interrupt() -> int:
        raise KeyboardInterrupt

    before = environment.signal.getsignal(environment.signal.SIGTERM)
    try:
        assert environment.main(refuse) == 2
        assert environment.main(interrupt) == 130
    finally:
        environment.signal.signal(environment.signal.SIGTERM, before)
    assert capsys.readouterr().err.split("\n")[1] == "Do this."


# The lock


def pins() -> list[Requirement]:
    lines = (REPO / "packaging" / "lock.txt").read_text(encoding="utf-8").splitlines()
    return [Requirement(line) for line in lines if line and not line.startswith("#")]


def test_every_line_of_the_lock_names_one_exact_version() -> None:
    names = [canonicalize_name(pin.name) for pin in pins()]
    assert len(set(names)) == len(names)
    assert all([spec.operator for spec in pin.specifier] == ["=="] for pin in pins())


def test_the_lock_holds_each_dependency_in_its_tested_range() -> None:
    project = tomllib.loads((REPO / "pyproject.toml").read_text(encoding="utf-8"))
    locked = {canonicalize_name(pin.name): next(iter(pin.specifier)).version for pin in pins()}
    wanted = [*project["project"]["dependencies"], *project["project"]["optional-dependencies"]["test"]]
    wanted += project["build-system"]["requires"]
    for requirement in map(Requirement, wanted):
        assert requirement.specifier.contains(locked[canonicalize_name(requirement.name)]), requirement


def test_the_scripts_need_nothing_that_must_be_installed() -> None:
    import ast

    for path in (REPO / "packaging").glob("*.py"):
        if path.name.startswith("make_"):
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            names += [str(node.module)] if isinstance(node, ast.ImportFrom) else []
            for name in names:
                assert name.split(".")[0] in {*sys.stdlib_module_names, "environment"}, f"{path.name}: {name}"
