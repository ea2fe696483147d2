"""A part that hangs at the pointer until a click places it."""

import numpy as np
import pytest
from msgspec.structs import replace
from PySide6.QtCore import QEvent, QPoint, QPointF, Qt
from PySide6.QtGui import QMouseEvent
from PySide6.QtWidgets import QApplication

from geometry import edits, part_groups
from geometry.layout import Landing
from geometry.vectors import Vec3

LEFT, NONE, Key = Qt.MouseButton.LeftButton, Qt.MouseButton.NoButton, Qt.Key
SIDE = 800.0
PLACE: Vec3 = (-1000.0, SIDE, 900.0)


def at(view, point: Vec3) -> QPoint:
    x, y = view.to_screen(point)
    return QPoint(round(x), round(y))


def hover(view, place: QPoint) -> None:
    globally, plain = view.mapToGlobal(place).toPointF(), Qt.KeyboardModifier.NoModifier
    QApplication.sendEvent(
        view, QMouseEvent(QEvent.Type.MouseMove, QPointF(place), globally, NONE, NONE, plain)
    )
    QApplication.processEvents()


@pytest.fixture
def hook(empty):
    """An L of one tube: up 300, then back 200."""
    layout, tube = edits.add_tube(empty, [(0, 0, 0), (0, 0, 300), (-200, 0, 300)], 1, "Left hook")
    return part_groups.taken(layout, [tube], "Hook")


@pytest.fixture
def view(open_view, caged, hook):
    view = open_view(caged)
    view.place_part(hook)
    return view


def run(view, tube: int) -> np.ndarray:
    layout = view.session.layout
    return np.array([layout.nodes[id].position for id in layout.tubes[tube].nodes])


def newest(view) -> int:
    return max(view.session.layout.tubes)


def test_it_hangs_at_the_stand_off_and_is_no_step_yet(view) -> None:
    session = view.session
    hover(view, at(view, PLACE))
    offset = session.layout.limits.standoff_wanted + session.layout.stocks[1].od / 2.0
    assert run(view, newest(view))[0] == pytest.approx((-1000.0, SIDE + offset, 900.0), abs=15.0)
    assert session.is_previewing
    assert session.undo_stack.count() == 0
    hover(view, at(view, (-1500.0, SIDE, 900.0)))
    assert len(session.layout.tubes) == len(session.recorded.tubes) + 1


def test_r_turns_it_and_m_mirrors_it(qtbot, view) -> None:
    hover(view, at(view, PLACE))
    straight = run(view, newest(view))
    for _ in range(2):
        qtbot.keyClick(view, Key.Key_R)
    turned = run(view, newest(view)) - straight[0]
    assert turned[2] == pytest.approx((-200 * np.cos(np.pi / 6), -200 * np.sin(np.pi / 6), 300.0))
    qtbot.keyClick(view, Key.Key_R, Qt.KeyboardModifier.ShiftModifier)
    assert "turned 15°" in view.hint
    qtbot.keyClick(view, Key.Key_M)
    assert "mirrored" in view.hint
    assert view.session.layout.tubes[newest(view)].name == "Right hook"
    qtbot.mouseClick(view, LEFT, pos=at(view, PLACE))
    assert view.session.undo_stack.undoText() == "Place Hook"
    assert view.session.layout.tubes[newest(view)].name == "Right hook"


def test_a_click_on_a_tube_seats_the_base_there(qtbot, view) -> None:
    layout = view.session.layout
    (rail,) = layout.tubes
    place = at(view, (-1600.0, layout.nodes[layout.tubes[rail].nodes[1]].position[1], 1100.0))
    hover(view, place)
    qtbot.mouseClick(view, LEFT, pos=place)
    (placed,) = view.session.selection
    base = view.session.layout.nodes[view.session.layout.tubes[placed].nodes[0]]
    assert isinstance(base.landing, Landing)
    assert base.landing.tube == rail


def test_the_next_one_waits_until_the_pointer_moves(qtbot, view) -> None:
    hover(view, at(view, PLACE))
    qtbot.mouseClick(view, LEFT, pos=at(view, PLACE))
    assert not view.session.is_previewing
    hover(view, at(view, PLACE) + QPoint(1, 1))
    assert not view.session.is_previewing
    hover(view, at(view, (-1500.0, SIDE, 700.0)))
    assert view.session.is_previewing
    qtbot.mouseClick(view, LEFT, pos=at(view, (-1500.0, SIDE, 700.0)))
    assert view.session.undo_stack.count() == 2


def test_escape_or_another_tool_leaves_nothing_behind(qtbot, view, hook) -> None:
    session = view.session
    for leave in (lambda: qtbot.keyClick(view, Key.Key_Escape), lambda: view.set_tool("tube")):
        view.place_part(hook)
        hover(view, at(view, PLACE))
        assert session.is_previewing
        leave()
        assert not session.is_previewing
        assert session.layout is session.recorded
        assert session.undo_stack.count() == 0
        view.set_tool("select")
        view.place_part(hook)
        view.set_tool("select")


def test_another_job_ends_the_preview(view, empty) -> None:
    hover(view, at(view, PLACE))
    view.session.open(empty, None)
    assert view.session.layout is empty
    hover(view, at(view, PLACE) + QPoint(9, 9))
    view.set_tool("select")
    assert view.session.layout is empty


def test_with_both_sides_on_its_twin_comes_along(qtbot, open_view, caged, hook) -> None:
    view = open_view(replace(caged, both_sides=True))
    view.place_part(hook)
    hover(view, at(view, PLACE))
    qtbot.mouseClick(view, LEFT, pos=at(view, PLACE))
    layout = view.session.layout
    (placed,) = view.session.selection
    assert layout.tubes[layout.tubes[placed].twin].name == "Right hook"
    assert view.session.undo_stack.count() == 1


def test_another_step_keeps_it_away(qtbot, view) -> None:
    session = view.session
    preview, _ = edits.add_tube(session.layout, [(0, 0, 0), (0, 0, 9)], 1)
    session.preview(preview)
    hover(view, at(view, PLACE))
    assert session.layout.tubes.keys() == preview.tubes.keys()
    qtbot.mouseClick(view, LEFT, pos=at(view, PLACE))
    assert session.undo_stack.count() == 0
    session.cancel()
