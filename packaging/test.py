#!/usr/bin/env python3
"""Prepare everything and run every check: python3 packaging/test.py

Each step is a process with a hard limit. The last line is `N passed, N failed, N skipped`.
"""

import contextlib
import os
import shutil
import signal
import subprocess
import sys
import time
import xml.etree.ElementTree as ElementTree

import environment

RESULTS = environment.REPO / "build" / "test-results"
WHOLE_LIMIT = 780  # seconds for all steps together, set-up aside
SCREEN = "-screen 0 1920x1200x24"
NO_TESTS = 5  # pytest's exit status
NOT_ELSEWHERE = "not gl and not benchmark"
SIDE_BY_SIDE = ["-n", "auto"]  # as many processes as cores


class Step:
    """One process: its command, its limit in seconds and the variables it needs."""

    def __init__(self, name, command, limit, variables=None, is_pytest=False):
        self.name = name
        self.command = command
        self.limit = limit
        self.variables = variables or {}
        self.is_pytest = is_pytest

    @property
    def results(self):
        return RESULTS / f"{self.name.replace(' ', '-')}.xml"


def test():
    python = str(environment.prepare(for_tests=True))
    shutil.rmtree(RESULTS, ignore_errors=True)
    RESULTS.mkdir(parents=True)
    started = time.monotonic()
    passed = failed = skipped = 0
    report = []
    for step in steps(python):
        left = WHOLE_LIMIT - (time.monotonic() - started)
        begun = time.monotonic()
        counts, fault = outcome(step, run(step, min(step.limit, left)))
        passed, failed, skipped = passed + counts[0], failed + counts[1], skipped + counts[2]
        seconds = time.monotonic() - begun
        report.append(f"{step.name:<24} {seconds:5.0f} s   {fault or 'passed'}")
    print("\n" + "\n".join(report))
    print(f"\n{passed} passed, {failed} failed, {skipped} skipped", flush=True)
    return 0 if passed and not failed else 1


def steps(python):
    """Return the steps in the order they run: the quickest to fail first."""
    offscreen = {"QT_QPA_PLATFORM": "offscreen", "DISPLAY": None, "WAYLAND_DISPLAY": None}
    xcb = {"QT_QPA_PLATFORM": "xcb", "WAYLAND_DISPLAY": None} if sys.platform.startswith("linux") else {}
    made = [
        Step("ruff format", [python, "-m", "ruff", "format", "--check", "."], 60),
        Step("ruff check", [python, "-m", "ruff", "check", "."], 60),
        Step("mypy", [python, "-m", "mypy"], 240),
        pytest(
            python,
            "geometry",
            ["tests", "--ignore=tests/app", "--ignore=tests/benchmarks", "-m", NOT_ELSEWHERE, *SIDE_BY_SIDE],
            420,
            offscreen,
        ),
        pytest(python, "offscreen", ["tests/app", "-m", NOT_ELSEWHERE, *SIDE_BY_SIDE], 540, offscreen),
        pytest(
            python, "screen", ["tests", "--ignore=tests/benchmarks", "-m", "gl"], 240, xcb, virtual_screen()
        ),
    ]
    return made + benchmarks(python, offscreen, xcb)


def benchmarks(python, offscreen, xcb):
    """Return the steps that print figures: test files by pytest, scripts on a screen, one after another."""
    files = sorted((environment.REPO / "tests" / "benchmarks").glob("bench_*.py"))
    scripts = [file for file in files if "\nif __name__ ==" in file.read_text(encoding="utf-8")]
    tests = [str(file) for file in files if file not in scripts]
    made = [pytest(python, "benchmarks", [*tests, "-s"], 180, offscreen)] if tests else []
    made += [Step(file.stem, [*virtual_screen(), python, str(file)], 120, xcb) for file in scripts]
    return made


def pytest(python, name, arguments, limit, variables, before=()):
    step = Step(f"pytest {name}", [], limit, variables, is_pytest=True)
    step.command = [
        *before,
        python,
        "-X",
        "faulthandler",
        "-m",
        "pytest",
        f"--junitxml={step.results}",
        *arguments,
    ]
    return step


def virtual_screen():
    """Return what goes in front of a command so that it draws on a screen nobody sees."""
    return ["xvfb-run", "-a", "-s", SCREEN] if sys.platform.startswith("linux") else []


def run(step, limit):
    """Run a step; return its exit status, or None if it was still running at the limit."""
    environment.say(f"{step.name}: {environment.shown(step.command)}")
    if limit <= 0:
        return None
    variables = environment.environment(LIBGL_ALWAYS_SOFTWARE="1", LC_ALL="C.UTF-8", PYTHONUNBUFFERED="1")
    for name, value in step.variables.items():
        variables.pop(name, None)
        if value is not None:
            variables[name] = value
    child = subprocess.Popen(
        step.command, cwd=environment.REPO, env=variables, stdin=subprocess.DEVNULL, start_new_session=True
    )
    try:
        return child.wait(limit)
    except subprocess.TimeoutExpired:
        return None
    finally:
        end_group(child)


def end_group(child):
    """End what is left of a step's process group; faulthandler first says where a hung one stands."""
    if os.name != "posix":
        child.kill()
        return
    for ending, patience in ((signal.SIGABRT, 5), (signal.SIGKILL, 5)):
        if child.poll() is not None and ending is signal.SIGABRT:
            continue
        with contextlib.suppress(ProcessLookupError, PermissionError):
            os.killpg(child.pid, ending)
        with contextlib.suppress(subprocess.TimeoutExpired):
            child.wait(patience)


def outcome(step, status):
    """Return (passed, failed, skipped) of a step that ended with an exit status, and what went wrong."""
    fault = fault_of(step, status)
    if not step.is_pytest:
        return (0, 1, 0) if fault else (1, 0, 0), fault
    passed, failed, skipped = counted(step.results)
    if fault and not failed:
        failed = 1
    return (passed, failed, skipped), fault


def fault_of(step, status):
    if status is None:
        return f"still running after {step.limit} s: ended"
    number = -status if status < 0 else status - 128 if status > 128 else 0
    if number:
        return f"ended by signal {signal_name(number)}; the trace stands above"
    if status in (0, NO_TESTS if step.is_pytest and "geometry" not in step.name else 0):
        return ""
    return f"failed with exit status {status}"


def signal_name(number):
    try:
        return signal.Signals(number).name
    except ValueError:
        return str(number)


def counted(results):
    """Return (passed, failed, skipped) as pytest wrote them down; nothing if it never came to that."""
    try:
        suites = list(ElementTree.parse(results).getroot().iter("testsuite"))
    except (OSError, ElementTree.ParseError):
        return 0, 0, 0
    tests, failures, errors, skipped = (
        sum(int(suite.get(name, 0)) for suite in suites)
        for name in ("tests", "failures", "errors", "skipped")
    )
    # A test that passes and then fails to clean up counts as one test with an error.
    failed = failures + errors
    return max(tests - failed - skipped, 0), failed, skipped


if __name__ == "__main__":
    sys.exit(environment.main(test))
