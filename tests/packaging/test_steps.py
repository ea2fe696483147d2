"""The steps of packaging/test.py: limits, signals and counts."""

import importlib.util
import os
import sys
import time
from pathlib import Path
from typing import Any

import pytest

REPO = Path(__file__).resolve().parents[2]


@pytest.fixture
def steps(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Any:
    monkeypatch.syspath_prepend(str(REPO / "packaging"))
    spec = importlib.util.spec_from_file_location("outrib_steps", REPO / "packaging" / "test.py")
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    monkeypatch.setattr(module, "RESULTS", tmp_path)
    return module


def outcome(steps: Any, code: str, *, limit: float = 20.0, is_pytest: bool = False) -> Any:
    step = steps.Step("trial", [sys.executable, "-X", "faulthandler", "-c", code], limit, is_pytest=is_pytest)
    return steps.outcome(step, steps.run(step, limit))


def test_a_step_that_ends_well_counts_as_passed(steps: Any) -> None:
    assert outcome(steps, "pass") == ((1, 0, 0), "")


def test_a_step_that_finds_something_fails(steps: Any) -> None:
    assert outcome(steps, "raise SystemExit(1)") == ((0, 1, 0), "failed with exit status 1")


def test_a_signal_is_named_and_faulthandler_says_where(steps: Any, capfd: Any) -> None:
    counts, fault = outcome(steps, "import os\ndef here(): os.abort()\nhere()", is_pytest=True)
    assert counts == (0, 1, 0)
    assert fault == "ended by signal SIGABRT; the trace stands above"
    assert "in here" in capfd.readouterr().err


@pytest.mark.skipif(os.name != "posix", reason="process groups")
def test_a_step_that_hangs_is_ended_with_all_its_children(steps: Any, tmp_path: Path, capfd: Any) -> None:
    code = (
        "import subprocess, sys, time\n"
        f"child = subprocess.Popen([sys.executable, '-c', 'import time; time.sleep(60)'])\n"
        f"open({str(tmp_path / 'pid')!r}, 'w').write(str(child.pid))\n"
        "def stuck(): time.sleep(60)\n"
        "stuck()\n"
    )
    started = time.monotonic()
    counts, fault = outcome(steps, code, limit=2.0)
    assert (counts, fault) == ((0, 1, 0), "still running after 2.0 s: ended")
    assert time.monotonic() - started < 20
    assert "in stuck" in capfd.readouterr().err
    assert has_ended(Path("/proc") / (tmp_path / "pid").read_text() / "status")


def has_ended(status: Path) -> bool:
    """Say whether a process is gone, allowing it the moment that dying takes."""
    for _ in range(100):
        try:
            if "\nState:\tZ" in status.read_text():
                return True
        except OSError:
            return True
        time.sleep(0.05)
    return False


REPORT = """<testsuites><testsuite errors="1" failures="2" skipped="3" tests="10"></testsuite></testsuites>"""


def test_counts_come_from_what_pytest_wrote(steps: Any, tmp_path: Path) -> None:
    (tmp_path / "trial.xml").write_text(REPORT)
    step = steps.Step("trial", [], 1, is_pytest=True)
    assert steps.outcome(step, 1) == ((4, 3, 3), "failed with exit status 1")


def test_a_run_that_ends_badly_fails_though_every_test_passed(steps: Any, tmp_path: Path) -> None:
    (tmp_path / "trial.xml").write_text(REPORT.replace('errors="1" failures="2"', 'errors="0" failures="0"'))
    step = steps.Step("trial", [], 1, is_pytest=True)
    assert steps.outcome(step, -11)[0] == (7, 1, 3)


def test_no_tests_are_no_failure_but_for_the_geometry(steps: Any) -> None:
    assert not steps.fault_of(steps.Step("pytest screen", [], 1, is_pytest=True), steps.NO_TESTS)
    assert steps.fault_of(steps.Step("pytest geometry", [], 1, is_pytest=True), steps.NO_TESTS)
    assert steps.fault_of(steps.Step("mypy", [], 1), steps.NO_TESTS)


def test_every_step_has_a_limit_and_all_tests_run_somewhere(steps: Any) -> None:
    made = steps.steps("python")
    assert all(0 < step.limit < steps.WHOLE_LIMIT < 800 for step in made)
    assert [step.name for step in made][:3] == ["ruff format", "ruff check", "mypy"]
    assert {step.name for step in made} >= {"pytest geometry", "pytest offscreen", "pytest screen"}
