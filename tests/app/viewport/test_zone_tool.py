"""Access zones put on the body by a click, shown until Enter keeps them."""

import pytest
from PySide6.QtCore import QPoint, Qt

from geometry import zoning
from geometry.aids import BoxShape, ConeShape
from geometry.vectors import Vec3

LEFT, Key = Qt.MouseButton.LeftButton, Qt.Key
SIDE = 800.0
PLACE: Vec3 = (-1000.0, SIDE, 900.0)


def at(view, point: Vec3) -> QPoint:
    x, y = view.to_screen(point)
    return QPoint(round(x), round(y))


@pytest.fixture
def view(open_view, body):
    view = open_view(body)
    view.set_zone("filler nozzle")
    return view


def only(view):
    (zone,) = view.session.layout.zones.values()
    return zone


def test_a_click_shows_it_and_enter_keeps_it_as_one_step(qtbot, view) -> None:
    assert "the filler cap" in view.hint
    qtbot.mouseClick(view, LEFT, pos=at(view, PLACE))
    assert view.session.is_previewing
    assert not view.session.recorded.zones
    shape = only(view).shape
    assert isinstance(shape, ConeShape)
    assert shape.start == pytest.approx(PLACE, abs=5.0)
    assert shape.end[1] > SIDE + 200.0  # out of the metal
    assert "Enter keeps it" in view.hint
    qtbot.keyClick(view, Key.Key_Return)
    assert not view.session.is_previewing
    assert view.session.undo_stack.count() == 1
    assert view.session.undo_stack.undoText() == "Keep free: Filler nozzle"
    assert view.session.selection == {only(view).id}
    assert view.tool == "select"
    view.session.undo()
    assert not view.session.layout.zones


def test_another_click_puts_it_elsewhere(qtbot, view) -> None:
    qtbot.mouseClick(view, LEFT, pos=at(view, PLACE))
    qtbot.mouseClick(view, LEFT, pos=at(view, (-2000.0, SIDE, 600.0)))
    qtbot.keyClick(view, Key.Key_Enter)
    assert zoning.place_of(only(view).shape) == pytest.approx((-2000.0, SIDE, 600.0), abs=5.0)


def test_escape_drops_it_and_escape_again_leaves(qtbot, view) -> None:
    qtbot.mouseClick(view, LEFT, pos=at(view, PLACE))
    qtbot.keyClick(view, Key.Key_Escape)
    assert not view.session.layout.zones
    assert not view.session.is_previewing
    assert view.tool == "zone"
    qtbot.keyClick(view, Key.Key_Escape)
    assert view.tool == "select"
    assert view.session.undo_stack.count() == 0


def test_taking_another_tool_or_purpose_keeps_what_is_shown(qtbot, view) -> None:
    qtbot.mouseClick(view, LEFT, pos=at(view, PLACE))
    view.set_zone("door handle")
    qtbot.mouseClick(view, LEFT, pos=at(view, (-1800.0, SIDE, 900.0)))
    view.set_tool("select")
    assert [zone.purpose for zone in view.session.recorded.zones.values()] == ["filler nozzle", "door handle"]
    assert isinstance(view.session.layout.zones[max(view.session.layout.zones)].shape, BoxShape)
    assert view.session.undo_stack.count() == 2


def test_beside_the_body_nothing_is_shown(qtbot, view) -> None:
    qtbot.mouseClick(view, LEFT, pos=QPoint(4, 4))
    assert "Point at the body" in view.hint
    assert not view.session.is_previewing


def test_another_open_step_is_not_recorded_with_it(qtbot, view, body) -> None:
    view.session.preview(zoning.set_needed(body, "jack", False))
    qtbot.mouseClick(view, LEFT, pos=at(view, PLACE))
    assert not view.session.layout.zones
    assert "open step" in view.hint


def test_one_that_there_is_goes_elsewhere_with_its_sizes(qtbot, view) -> None:
    qtbot.mouseClick(view, LEFT, pos=at(view, PLACE))
    qtbot.keyClick(view, Key.Key_Return)
    zone = only(view)
    smaller = ConeShape(zone.shape.start, zone.shape.end, 20.0, 30.0)
    view.session.commit("Size", zoning.set_zone(view.session.layout, zone.id, shape=smaller))
    view.set_zone(zone.purpose, zone.id)
    assert "click where it shall go" in view.hint
    qtbot.mouseClick(view, LEFT, pos=at(view, (-2000.0, SIDE, 600.0)))
    assert view.session.recorded.zones[zone.id].shape == smaller
    qtbot.keyClick(view, Key.Key_Return)
    moved = only(view)
    assert moved.id == zone.id
    assert moved.shape.start == pytest.approx((-2000.0, SIDE, 600.0), abs=5.0)
    assert (moved.shape.start_radius, moved.shape.end_radius) == (20.0, 30.0)
    assert view.session.undo_stack.undoText() == "Move Filler nozzle"
    view.session.undo()
    assert only(view).shape == smaller
    view.set_zone("door handle")  # the next is a new one again
    qtbot.mouseClick(view, LEFT, pos=at(view, PLACE))
    qtbot.keyClick(view, Key.Key_Return)
    assert len(view.session.layout.zones) == 2
