"""Versions in the whole window: by key and by mouse, drawn beside the cage, and no load while dragging."""

import pickle
import time
from typing import Any

import pytest
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

from app import layout_changes
from geometry import edits, snapshots
from geometry.layout import Layout

LEFT, NO_KEY = Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier
MADE = "2026-11-25T21:00:00+00:00"


def with_snapshots(layout: Layout, count: int) -> Layout:
    for number in range(count):
        nodes = next(iter(layout.tubes.values())).nodes[:1]
        layout = edits.move_nodes(layout, nodes, (0.0, 1.0, 0.0))
        layout, _ = snapshots.take(layout, f"Version {number + 1}", MADE)
    return layout


def row_of(window: Any, name: str) -> Any:
    rows = window.versions.list
    return next(
        item
        for item in (rows.topLevelItem(number) for number in range(rows.topLevelItemCount()))
        if item.text(0) == name
    )


def test_a_key_keeps_a_snapshot_and_the_way_back_is_an_undo_step(qtbot: QtBot, cage: Any) -> None:
    session, panel = cage.session, cage.versions
    before = session.layout
    qtbot.keyClick(cage, Qt.Key.Key_D, Qt.KeyboardModifier.ControlModifier)
    qtbot.waitUntil(panel.name.hasFocus)
    qtbot.keyClick(panel.name, Qt.Key.Key_Return)
    assert [each.name for each in session.layout.snapshots.values()] == ["Version 1"]
    assert "Version 1" in cage.message.text
    tube = next(iter(session.layout.tubes))
    session.select({tube})
    cage.commands["delete"].trigger()
    assert tube not in session.layout.tubes
    qtbot.mouseClick(panel.back_button, LEFT)
    assert session.layout.tubes is before.tubes
    assert session.undo_stack.undoText() == "Go back to Version 1"
    cage.commands["undo"].trigger()
    assert tube not in session.layout.tubes
    assert len(session.layout.snapshots) == 1


def test_delete_in_the_list_takes_the_snapshot_and_no_tube(qtbot: QtBot, cage: Any) -> None:
    session = cage.session
    cage.commands["take_snapshot"].trigger()
    cage.versions.take()
    session.select(list(session.layout.tubes)[:1])
    tubes = session.layout.tubes
    tree = cage.versions.list
    qtbot.mouseClick(tree.viewport(), LEFT, NO_KEY, tree.visualItemRect(row_of(cage, "Version 1")).center())
    qtbot.waitUntil(tree.hasFocus)
    qtbot.keyClick(tree, Qt.Key.Key_Delete)
    assert session.layout.tubes is tubes
    assert not session.layout.snapshots


def test_the_other_version_is_drawn_pale_while_wanted(qtbot: QtBot, cage: Any) -> None:
    cage.commands["take_snapshot"].trigger()
    cage.versions.take()
    qtbot.mouseClick(cage.versions.ghost_button, LEFT)
    assert cage.view.scene.ghosts.is_shown
    cage.session.open(Layout(), None)
    assert not cage.view.scene.ghosts.is_shown


def test_snapshots_never_travel_to_the_checks(layout: Layout) -> None:
    many = with_snapshots(layout, 20)
    plain = snapshots.bare(many)
    nodes = next(iter(many.tubes.values())).nodes[1:2]
    sizes = [
        len(pickle.dumps(layout_changes.between(job, edits.move_nodes(job, nodes, (0.0, 0.0, 1.0)), id)))
        for job in (many, plain)
    ]
    assert sizes[0] == sizes[1]


@pytest.mark.parametrize("tab", ["findings", "versions"])
def test_a_drag_costs_no_more_with_twenty_snapshots(
    qtbot: QtBot, window: Any, layout: Layout, tab: str
) -> None:
    """The hand's part of a drag: a preview and all that follows it at once."""
    took = []
    for job in (snapshots.bare(with_snapshots(layout, 20)), with_snapshots(layout, 20)):
        window.session.open(job, None)
        window.show_room()
        window.commands[tab].trigger()
        nodes = next(iter(job.tubes.values())).nodes[1:2]
        best = float("inf")
        for step in range(60):
            moved = edits.move_nodes(job, nodes, (0.0, 0.0, 0.1 * step))
            start = time.perf_counter()
            window.session.preview(moved)
            best = min(best, time.perf_counter() - start)
        window.session.cancel()
        took.append(best)
    assert took[1] < took[0] + 0.002, took
