"""A tube along the body: places are clicked, the tube comes from a process of its own and is laid."""

import math
from typing import Any

import pytest
from PySide6.QtCore import QPoint, Qt
from pytestqt.qtbot import QtBot

from app.panels.follow_page import LISTED, angles_of
from geometry import rack
from geometry.body import measured
from geometry.checks import findings
from geometry.layout import Layout
from geometry.tube import centreline

Key, LEFT = Qt.Key, Qt.MouseButton.LeftButton
Places = tuple[tuple[float, float, float], ...]
OVER_THE_TOP: Places = ((0.0, 300.0, 960.0), (-1500.0, 300.0, 1690.0))
PLACES: Places = ((-100.0, 700.0, 900.0), (-1100.0, 800.0, 900.0), (-2100.0, 800.0, 900.0))


@pytest.fixture
def room(qtbot: QtBot, window: Any) -> Any:
    bare = rack.with_starting_rack(Layout())
    layout, _, _ = measured.add_to(bare, measured.shapes()["two-box"], "Two-door")
    window.session.open(layout, None)
    window.files.job_opened.emit(None)
    window.view.look_from("left")
    qtbot.wait(1)
    return window


def click(qtbot: QtBot, window: Any, point: tuple[float, float, float]) -> None:
    x, y = window.view.to_screen(point)
    qtbot.mouseClick(window.view, LEFT, pos=QPoint(round(x), round(y)))


def lay(qtbot: QtBot, window: Any, places: Places = PLACES) -> Any:
    """Point at the places and wait for the tube."""
    window.commands["tool_follow"].trigger()
    for place in places:
        click(qtbot, window, place)
    qtbot.waitUntil(lambda: bool(window.view.follow_tool.state.proposals), timeout=30_000)
    return window.view.follow_tool.state


def test_the_tube_that_is_laid_keeps_its_stand_off_and_is_one_step(qtbot: QtBot, room: Any) -> None:
    state = lay(qtbot, room)
    assert room.properties.page is room.properties.follow
    assert room.properties.follow.bends.text() == str(state.proposal.bends)
    assert len(room.session.layout.tubes) == 1
    qtbot.keyClick(room.view, Key.Key_Return)
    (tube,) = room.session.layout.tubes.values()
    assert room.session.undo_stack.count() == 1
    assert room.session.selection == {tube.id}
    corners = [room.session.layout.nodes[id].position for id in tube.nodes]
    assert corners == [pytest.approx(corner) for corner in state.proposal.corners]
    report = findings.check_layout(room.session.layout)
    about = [found.rule for found in report.findings if tube.id in found.tubes]
    assert [rule for rule in about if rule.startswith(("clearance.too_close", "bend."))] == []


def test_the_slider_and_the_keys_trade_bends_for_closeness(qtbot: QtBot, room: Any) -> None:
    room.view.look_from("corner")
    qtbot.wait(1)
    state = lay(qtbot, room, OVER_THE_TOP)
    assert len(state.proposals) > 1
    page = room.properties.follow
    page.slider.setValue(0)
    fewest = room.view.follow_tool.state.proposal
    assert fewest is state.proposals[0]
    (tube,) = room.session.layout.tubes.values()
    assert len(tube.nodes) == fewest.bends + 2
    qtbot.keyClick(room.view, getattr(Key, f"Key_{state.proposals[-1].bends}"))
    assert page.slider.value() == len(state.proposals) - 1
    assert page.bends.text() == str(state.proposals[-1].bends)


def test_enter_lays_the_tube_though_the_slider_was_touched_last(qtbot: QtBot, room: Any) -> None:
    room.view.look_from("corner")
    qtbot.wait(1)
    lay(qtbot, room, OVER_THE_TOP)
    slider = room.properties.follow.slider
    slider.setFocus()
    qtbot.keyClick(slider, Key.Key_Return)
    assert room.session.undo_stack.count() == 1
    assert not room.session.is_previewing


def test_only_the_angles_listed_are_bent(qtbot: QtBot, room: Any) -> None:
    lay(qtbot, room)
    page = room.properties.follow
    page.angles.setCurrentIndex(page.angles.findData(LISTED))
    page.listed.setText("5, 10, 20, 30")
    page._on_angles()
    qtbot.waitUntil(lambda: bool(room.view.follow_tool.state.proposals), timeout=30_000)
    for proposal in room.view.follow_tool.state.proposals:
        liked = [
            min(abs(math.degrees(angle) - each) for each in (5, 10, 20, 30)) for angle in proposal.angles
        ]
        assert max(liked, default=0.0) < 1e-6
    assert room.settings.liked_angles == "5, 10, 20, 30"


def test_escape_and_backspace_take_places_back_and_leave_nothing(qtbot: QtBot, room: Any) -> None:
    before = room.session.layout
    lay(qtbot, room)
    qtbot.keyClick(room.view, Key.Key_Backspace)
    assert room.view.follow_tool.state.places == 2
    qtbot.keyClick(room.view, Key.Key_Escape)
    assert room.session.layout is before
    assert room.view.tool == "follow"
    qtbot.keyClick(room.view, Key.Key_Escape)
    assert room.view.tool == "select"
    assert room.session.undo_stack.count() == 0


def test_another_tool_records_what_is_shown(qtbot: QtBot, room: Any) -> None:
    lay(qtbot, room)
    room.commands["tool_select"].trigger()
    (tube,) = room.session.layout.tubes.values()
    assert room.session.undo_stack.undoText() == f"Lay tube {tube.name} along the body"
    assert centreline.of(room.session.layout, tube).length > 1900.0
    assert room.properties.page is room.properties.tube


def test_what_cannot_be_laid_is_said(qtbot: QtBot, room: Any) -> None:
    room.commands["tool_follow"].trigger()
    click(qtbot, room, PLACES[0])
    click(qtbot, room, (PLACES[0][0] - 40.0, *PLACES[0][1:]))
    click(qtbot, room, (PLACES[0][0] + 60.0, *PLACES[0][1:]))
    tool = room.view.follow_tool
    qtbot.waitUntil(lambda: bool(tool.state.trouble or tool.state.proposals), timeout=30_000)
    assert tool.state.trouble.endswith(".") or tool.state.proposals


@pytest.mark.parametrize("text", ["x", "30, nothing", "0", "200", "-5"])
def test_angles_that_are_none_are_refused_in_words(text: str) -> None:
    with pytest.raises(ValueError, match=r"\.$"):
        angles_of(text)


def test_angles_are_read() -> None:
    assert angles_of("") is None
    assert angles_of("5") == pytest.approx(math.radians(5.0))
    assert angles_of("30; 45°, 90") == pytest.approx(tuple(map(math.radians, (30.0, 45.0, 90.0))))
