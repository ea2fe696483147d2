"""Panels trimmed in the whole window: the line first, then one step, what came off, and its files."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PySide6.QtWidgets import QLabel
from pytestqt.qtbot import QtBot

from geometry import trimming
from geometry.layout import Axle, Body, Layout, Mesh, Panel, Tyre

LEFT, RIGHT, AXLE = 2, 3, 70
WAIT = 60_000


def wing(y: float) -> Mesh:
    corners = [(-700.0, y, 200.0), (700.0, y, 200.0), (700.0, y, 1100.0), (-700.0, y, 1100.0)]
    return Mesh(np.array(corners), np.array([[0, 1, 2], [0, 2, 3]], np.int32))


def car() -> Layout:
    """Two flat wings through the middles of two tyres."""
    tyre = Tyre(800.0, 240.0, 40.0)
    return Layout(
        name="Wings",
        next_id=100,
        bodies={1: Body(1, "shell")},
        panels={
            LEFT: Panel(LEFT, "left front wing", 1, wing(750.0)),
            RIGHT: Panel(RIGHT, "right front wing", 1, wing(-750.0)),
        },
        axles={AXLE: Axle(AXLE, "Front axle", 0.0, 400.0, 1500.0, tyre, bump=0.0, droop=1.0)},
    )


@pytest.fixture
def opened(qtbot: QtBot, window: Any) -> Any:
    """The window with the car, the left wing selected and checked."""
    window.session.open(car(), None)
    window.files.job_opened.emit(None)
    window.session.select((LEFT,))
    qtbot.waitUntil(window.properties.panel.trim.trim.isEnabled, timeout=WAIT)
    return window


def done(window: Any) -> bool:
    return window.on_moving._job is None


def said(window: Any) -> str:
    return " ".join(label.text() for label in window.message.findChildren(QLabel))


def test_the_line_is_shown_before_anything_is_cut_and_goes_with_what_it_was_worked_out_from(
    qtbot: QtBot, opened: Any
) -> None:
    rows, movers = opened.properties.panel.trim, opened.view.scene.movers
    rows.line.click()
    qtbot.waitUntil(lambda: done(opened) and bool(movers._proposed.GetVisibility()), timeout=WAIT)
    assert opened.session.layout.panels[LEFT].trim is None
    assert not opened.session.is_modified
    assert opened.view.hint.startswith("left front wing would be cut along ")
    rows.room.entered.emit(40.0)
    assert not movers._proposed.GetVisibility()
    assert opened.on_moving._proposed == {}


def test_a_line_that_was_shown_is_cut_at_once_as_one_step(qtbot: QtBot, opened: Any) -> None:
    rows = opened.properties.panel.trim
    rows.line.click()
    qtbot.waitUntil(lambda: done(opened) and bool(opened.on_moving._proposed), timeout=WAIT)
    whole = opened.session.layout.panels[LEFT].mesh
    rows.trim.click()
    panel = opened.session.layout.panels[LEFT]
    assert panel.trim is not None
    assert panel.whole is whole
    assert opened.session.undo_stack.undoText() == "Trim left front wing"
    assert not opened.view.scene.movers._proposed.GetVisibility()
    cuts = opened.view.scene.movers._cuts
    qtbot.waitUntil(lambda: bool(cuts.GetVisibility()))
    opened.session.undo()
    assert opened.session.layout.panels[LEFT].mesh is whole
    qtbot.waitUntil(lambda: not cuts.GetVisibility())


def test_both_sides_are_one_step_and_what_came_off_is_drawn_on_demand(qtbot: QtBot, opened: Any) -> None:
    rows, movers = opened.properties.panel.trim, opened.view.scene.movers
    assert rows.both.isVisible()
    rows.both.click()
    qtbot.waitUntil(lambda: opened.session.layout.panels[RIGHT].trim is not None, timeout=WAIT)
    qtbot.waitUntil(lambda: done(opened), timeout=WAIT)
    assert opened.session.undo_stack.count() == 1
    assert opened.session.undo_stack.undoText() == "Trim left front wing and right front wing"
    assert movers._offcuts == {}
    rows.offcuts.click()
    qtbot.waitUntil(lambda: movers._offcuts.keys() == {LEFT, RIGHT}, timeout=WAIT)
    low, high = movers._off[LEFT].vertices.min(axis=0), movers._off[LEFT].vertices.max(axis=0)
    assert (low, high) == (
        pytest.approx((-425.0, 750.0, 200.0), abs=3.0),
        pytest.approx((425.0, 750.0, 825.0), abs=3.0),
    )
    opened.session.undo()
    assert movers._offcuts == {}
    rows.offcuts.click()  # nothing to show is no trouble
    assert not opened.on_moving._shows_offcuts


def test_calling_it_off_changes_nothing(qtbot: QtBot, opened: Any) -> None:
    before = opened.session.layout
    opened.properties.panel.trim.trim.click()
    opened.on_moving._job.cancel()
    qtbot.waitUntil(lambda: done(opened), timeout=WAIT)
    assert opened.session.layout is before
    assert not opened.session.is_modified


def test_a_panel_that_would_be_gone_is_refused_in_words(qtbot: QtBot, opened: Any) -> None:
    inner = np.array([(-90.0, 750.0, 350.0), (90.0, 750.0, 350.0), (0.0, 750.0, 500.0)])
    mesh = Mesh(inner, np.array([[0, 1, 2]], np.int32))
    layout = car()
    layout.panels[LEFT] = Panel(LEFT, "left flap", 1, mesh)
    opened.session.open(layout, None)
    opened.session.select((LEFT,))
    opened.commands["trim_panels"].trigger()
    qtbot.waitUntil(lambda: done(opened), timeout=WAIT)
    assert "Nothing would be left of left flap" in said(opened)
    assert opened.session.layout.panels[LEFT].trim is None


def test_cuts_are_written_into_a_folder(qtbot: QtBot, opened: Any, answers: Any, tmp_path: Path) -> None:
    layout = car()
    made = trimming.cuts_for(layout, [LEFT, RIGHT])
    opened.session.open(trimming.set_trimmed(layout, made), None)
    opened.session.select((LEFT,))
    answers.folder = tmp_path
    opened.properties.panel.trim.files.click()
    qtbot.waitUntil(lambda: (tmp_path / "templates" / "cut-lines.csv").is_file(), timeout=WAIT)
    qtbot.waitUntil(lambda: not opened.files.is_busy, timeout=WAIT)
    names = {path.name for path in tmp_path.rglob("*") if path.is_file()}
    assert {
        "cuts.pdf",
        "templates.pdf",
        "left-front-wing-2-cut-1-part-1.svg",
        "left-front-wing-2-cut-1-part-1.dxf",
    } <= names
    assert not any(name.startswith("right") for name in names)
    assert "files in" in said(opened)


def test_without_a_trimmed_panel_there_is_nothing_to_write(opened: Any) -> None:
    assert not opened.commands["write_cuts"].isEnabled()
    opened.files.write_cuts()
    assert "No panel is trimmed yet" in said(opened)
