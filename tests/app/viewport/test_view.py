"""The view driven as a person would: real events on a real window, the layout read afterwards."""

import math

import numpy as np
import pytest
from msgspec.structs import replace
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QContextMenuEvent, QFocusEvent, QWheelEvent
from PySide6.QtWidgets import QApplication

from app.units import INCHES
from app.viewport import camera as cameras
from app.viewport.marks import Badge, Ball, Dot, Sign, Stroke
from app.viewport.tools import Key
from geometry import edits
from geometry.layout import Landing
from geometry.tube import centreline

LEFT, RIGHT, MIDDLE = Qt.MouseButton.LeftButton, Qt.MouseButton.RightButton, Qt.MouseButton.MiddleButton
SHIFT, CTRL = Qt.KeyboardModifier.ShiftModifier, Qt.KeyboardModifier.ControlModifier


def at(view, point) -> QPoint:
    x, y = view.to_screen(point)
    return QPoint(round(x), round(y))


def drag(
    qtbot, view, start: QPoint, end: QPoint, button=LEFT, keys=Qt.KeyboardModifier.NoModifier, release=True
):
    qtbot.mousePress(view, button, keys, start)
    for part in (0.3, 0.7, 1.0):
        place = QPointF(start) + (QPointF(end) - QPointF(start)) * part
        move(view, place.toPoint(), button, keys)
    if release:
        qtbot.mouseRelease(view, button, keys, end)


def move(view, place: QPoint, button=Qt.MouseButton.NoButton, keys=Qt.KeyboardModifier.NoModifier) -> None:
    """Send a move with its buttons and keys, and let the frame that it asks for be made."""
    from PySide6.QtCore import QEvent
    from PySide6.QtGui import QMouseEvent

    event = QMouseEvent(
        QEvent.Type.MouseMove,
        QPointF(place),
        view.mapToGlobal(QPointF(place)),
        Qt.MouseButton.NoButton,
        button,
        keys,
    )
    QApplication.sendEvent(view, event)
    QApplication.processEvents()


def only_tube(layout):
    (tube,) = layout.tubes.values()
    return tube


def position(view, index: int):
    layout = view.session.layout
    return layout.nodes[only_tube(layout).nodes[index]].position


def gap(view, point, stock: int = 1) -> float:
    return view.outlook.solid.gap(point) - view.session.layout.stocks[stock].od / 2.0


# -- selecting -------------------------------------------------------------------


def test_a_click_selects_and_shift_click_adds_and_takes_away(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    tube = only_tube(caged)
    first, last = caged.nodes[tube.nodes[0]], caged.nodes[tube.nodes[-1]]
    qtbot.mouseClick(view, LEFT, pos=at(view, first.position))
    assert view.session.selection == {first.id}
    qtbot.mouseClick(view, LEFT, SHIFT, at(view, last.position))
    assert view.session.selection == {first.id, last.id}
    qtbot.mouseClick(view, LEFT, SHIFT, at(view, first.position))
    assert view.session.selection == {last.id}
    qtbot.mouseClick(view, LEFT, pos=QPoint(890, 20))
    assert view.session.selection == frozenset()


def test_a_click_on_the_body_lets_tubes_go_first_and_then_takes_the_panel(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    view.session.select(caged.tubes)
    metal = at(view, (-2700.0, 800.0, 500.0))
    qtbot.mouseClick(view, LEFT, pos=metal)
    assert view.session.selection == frozenset()
    qtbot.mouseClick(view, LEFT, pos=metal)
    assert view.session.selection == set(caged.panels)


def test_a_tube_is_selected_where_it_is_drawn(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    line = centreline.of(caged, only_tube(caged))
    qtbot.mouseClick(view, LEFT, pos=at(view, centreline.point_at(line, [line.length * 0.7])[0]))
    assert view.session.selection == {only_tube(caged).id}


def test_what_the_metal_hides_is_not_picked(qtbot, open_view, caged) -> None:
    view = open_view(caged, "right")
    tube = only_tube(caged)
    qtbot.mouseClick(view, LEFT, pos=at(view, caged.nodes[tube.nodes[1]].position))
    assert not view.session.selection & {tube.id, *tube.nodes}
    view.set_body_opacity(0.4)
    qtbot.mouseClick(view, LEFT, pos=at(view, caged.nodes[tube.nodes[1]].position))
    assert view.session.selection == {tube.nodes[1]}


def test_a_box_selects_what_lies_in_it(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    drag(qtbot, view, QPoint(5, 5), QPoint(895, 595), keys=SHIFT)
    tube = only_tube(caged)
    assert view.session.selection == {tube.id, *tube.nodes}
    assert not view.session.is_previewing


def test_a_drag_that_starts_on_a_tube_not_selected_looks_round(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    line = centreline.of(caged, only_tube(caged))
    start, before = at(view, centreline.point_at(line, [line.length * 0.7])[0]), view.camera()
    drag(qtbot, view, start, start + QPoint(60, 20))
    assert view.camera()["yaw"] != before["yaw"]
    assert view.session.layout is caged
    view.set_camera(before)
    qtbot.mouseClick(view, LEFT, pos=start)
    drag(qtbot, view, start, start + QPoint(60, 20))
    assert view.camera() == before
    assert view.session.undo_stack.undoText() == "Move 3 nodes"


def test_each_tool_says_in_about_a_dozen_words_what_it_waits_for(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    said = set()
    for name in view._tools:
        view.set_tool(name)
        said.add(view.hint)
        for place in ((-900.0, 800.0, 900.0), (-1900.0, 800.0, 700.0)):
            lay(qtbot, view, place)
            said.add(view.hint)
    view.set_tool("select")
    for kind in (caged.tubes, caged.nodes, caged.panels):
        view.session.select({next(iter(kind))})
        said.add(view.hint)
    assert [hint for hint in said if not 4 <= len(hint.split()) <= 17] == []


# -- dragging --------------------------------------------------------------------


def test_a_dragged_node_rides_the_body_at_its_stand_off_in_one_undo_step(qtbot, open_view, caged) -> None:
    view = open_view(caged, "corner")
    before = position(view, 1)
    start = at(view, before)
    drag(qtbot, view, start, start + QPoint(30, 22))
    after = position(view, 1)
    assert math.dist(before, after) > 50.0
    assert gap(view, after) == pytest.approx(gap(view, before), abs=0.1)
    assert QPointF(at(view, after) - start - QPoint(30, 22)).manhattanLength() <= 3.0
    assert view.session.undo_stack.count() == 1
    assert view.session.undo_stack.undoText() == "Move node"
    view.session.undo()
    assert view.session.layout is caged


def test_pressing_a_node_off_its_middle_does_not_move_it(qtbot, open_view, caged) -> None:
    view = open_view(caged, "corner")
    start = at(view, position(view, 1)) + QPoint(6, 3)
    drag(qtbot, view, start, start + QPoint(2, 1))
    assert view.session.undo_stack.count() == 0
    assert view.session.layout is caged


def test_a_node_grabbed_off_its_middle_does_not_jump_to_the_pointer(qtbot, open_view, caged) -> None:
    view = open_view(caged, "corner")
    node = at(view, position(view, 1))
    drag(qtbot, view, node + QPoint(7, 4), node + QPoint(17, 10))
    assert QPointF(at(view, position(view, 1)) - node - QPoint(10, 6)).manhattanLength() <= 2.0


def test_ctrl_frees_a_dragged_node_into_the_view_plane(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    before = position(view, 1)
    start = at(view, before)
    drag(qtbot, view, start, start + QPoint(-20, -90), keys=CTRL)
    after = position(view, 1)
    assert after[1] == pytest.approx(before[1], abs=1e-6)
    assert after[2] > before[2] + 100.0


def test_a_held_key_keeps_a_drag_on_one_axis(qtbot, open_view, caged) -> None:
    view = open_view(caged, "corner")
    before = position(view, 1)
    start = at(view, before)
    drag(qtbot, view, start, start + QPoint(25, -60), release=False)
    qtbot.keyPress(view, Qt.Key.Key_Z)
    move(view, start + QPoint(30, -70), LEFT)
    after = position(view, 1)
    assert after[:2] == pytest.approx(before[:2])
    assert after[2] > before[2] + 50.0
    qtbot.keyRelease(view, Qt.Key.Key_Z)
    move(view, start + QPoint(31, -70), LEFT)
    assert position(view, 1)[:2] != pytest.approx(before[:2])
    qtbot.mouseRelease(view, LEFT, pos=start + QPoint(31, -70))
    assert view.session.undo_stack.count() == 1


def test_escape_puts_a_dragged_node_back(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    start = at(view, position(view, 1))
    drag(qtbot, view, start, start + QPoint(40, 30), release=False)
    assert view.session.is_previewing
    qtbot.keyClick(view, Qt.Key.Key_Escape)
    qtbot.mouseRelease(view, LEFT, pos=start + QPoint(40, 30))
    assert view.session.layout is caged
    assert view.session.undo_stack.count() == 0


def test_several_nodes_move_together(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    tube = only_tube(caged)
    view.session.select(tube.nodes[:2])
    start = at(view, position(view, 1))
    drag(qtbot, view, start, start + QPoint(-30, -20), keys=CTRL)
    shifts = [np.subtract(position(view, i), caged.nodes[tube.nodes[i]].position) for i in range(3)]
    assert shifts[0] == pytest.approx(shifts[1])
    assert np.linalg.norm(shifts[0]) > 50.0
    assert shifts[2] == pytest.approx(np.zeros(3))


def test_an_end_dragged_onto_another_tube_lands_on_it(qtbot, open_view, caged) -> None:
    layout, strut = edits.add_tube(caged, [(-1500.0, 900.0, 500.0), (-1500.0, 900.0, 800.0)], 1)
    view = open_view(layout)
    rail = only_tube(caged)
    end = layout.tubes[strut].nodes[1]
    start = at(view, layout.nodes[end].position)
    goal = at(view, centreline.point_at(centreline.of(layout, rail), [2000.0])[0])
    drag(qtbot, view, start, goal, release=False)
    assert view.hint == f"Release to land the end on {rail.name}; Escape puts it back."
    qtbot.mouseRelease(view, LEFT, pos=goal)
    landing = view.session.layout.nodes[end].landing
    assert landing is not None
    assert landing.tube == rail.id
    assert landing.station == pytest.approx(2000.0, abs=10.0)
    assert view.session.undo_stack.count() == 1


def test_a_node_dragged_onto_another_becomes_one_with_it(qtbot, open_view, caged) -> None:
    layout, strut = edits.add_tube(caged, [(-1500.0, 900.0, 500.0), (-1500.0, 900.0, 800.0)], 1)
    view = open_view(layout)
    rail, end = only_tube(caged), layout.tubes[strut].nodes[1]
    goal = at(view, layout.nodes[rail.nodes[2]].position)
    drag(qtbot, view, at(view, layout.nodes[end].position), goal, release=False)
    assert view.hint.startswith("Release to join")
    qtbot.mouseRelease(view, LEFT, pos=goal)
    assert view.session.layout.tubes[strut].nodes[1] == rail.nodes[2]
    assert end not in view.session.layout.nodes
    assert view.session.undo_stack.undoText() == "Join nodes"
    assert view.session.selection == {rail.nodes[2]}


def test_a_landing_slides_along_its_tube(qtbot, open_view, caged) -> None:
    rail = only_tube(caged)
    layout, strut = edits.add_tube(caged, [(-1500.0, 900.0, 500.0), Landing(rail.id, 2000.0)], 1)
    view = open_view(layout)
    end = layout.tubes[strut].nodes[1]
    start = at(view, layout.nodes[end].position)
    drag(qtbot, view, start, start + QPoint(40, 5))
    after = view.session.layout.nodes[end]
    assert after.landing is not None
    assert after.landing.tube == rail.id
    assert after.landing.station > 2100.0


def test_a_landing_pulled_far_from_its_tube_comes_off(qtbot, open_view, caged) -> None:
    rail = only_tube(caged)
    layout, strut = edits.add_tube(caged, [(-1500.0, 900.0, 500.0), Landing(rail.id, 2000.0)], 1)
    view = open_view(layout)
    end = layout.tubes[strut].nodes[1]
    start = at(view, layout.nodes[end].position)
    drag(qtbot, view, start, start + QPoint(10, -60))
    assert view.session.layout.nodes[end].landing is None


def test_beside_the_body_a_ridden_node_goes_on_in_the_view_plane(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    start = at(view, position(view, 1))
    drag(qtbot, view, start, start + QPoint(0, -150))
    after = position(view, 1)
    assert QPointF(at(view, after) - start - QPoint(0, -150)).manhattanLength() <= 3.0
    assert gap(view, after) > 100.0


def test_while_another_step_is_open_nothing_is_dragged_or_deleted(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    other = edits.move_nodes(caged, [only_tube(caged).nodes[0]], (0.0, 0.0, 10.0))
    view.session.preview(other)
    start = at(view, position(view, 1))
    drag(qtbot, view, start, start + QPoint(40, 30))
    view.session.select(only_tube(caged).nodes)
    qtbot.keyClick(view, Qt.Key.Key_Delete)
    assert "step" in view.hint
    assert view.session.layout is other
    assert view.session.is_previewing
    assert view.session.undo_stack.count() == 0
    view.session.cancel()


@pytest.mark.parametrize("tool", ["tube", "node", "split"])
def test_while_another_step_is_open_no_tool_records_anything(qtbot, open_view, caged, tool) -> None:
    view = open_view(caged)
    other = edits.move_nodes(caged, [only_tube(caged).nodes[0]], (0.0, 0.0, 10.0))
    view.session.preview(other)
    view.set_tool(tool)
    line = centreline.of(caged, only_tube(caged))
    lay(qtbot, view, tuple(centreline.point_at(line, [line.length - 500.0])[0]), (-2500.0, 800.0, 500.0))
    qtbot.keyClick(view, Qt.Key.Key_Return)
    assert view.session.layout is other
    assert view.session.undo_stack.count() == 0
    view.session.cancel()


def test_a_refused_move_says_why_and_changes_nothing(qtbot, open_view, caged) -> None:
    layout, strut = edits.add_tube(caged, [(-1500.0, 900.0, 500.0), (-1500.0, 900.0, 800.0)], 1)
    view = open_view(layout)
    rail = only_tube(caged)
    first = layout.tubes[strut].nodes[0]
    start = at(view, layout.nodes[first].position)
    drag(qtbot, view, start, at(view, layout.nodes[rail.nodes[2]].position), release=False)
    drag_again = at(view, layout.nodes[rail.nodes[2]].position)
    qtbot.mouseRelease(view, LEFT, pos=drag_again)
    second = view.session.layout.tubes[strut].nodes[1]
    before = view.session.layout
    drag(qtbot, view, at(view, before.nodes[second].position), drag_again)
    assert view.session.layout.tubes[strut].nodes == before.tubes[strut].nodes


# -- keys ------------------------------------------------------------------------


def test_arrows_nudge_the_selection_by_the_step_as_seen(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    node = only_tube(caged).nodes[1]
    view.session.select({node})
    before = caged.nodes[node].position
    qtbot.keyClick(view, Qt.Key.Key_Up)
    qtbot.keyClick(view, Qt.Key.Key_Right)
    after = view.session.layout.nodes[node].position
    assert np.subtract(after, before) == pytest.approx((-5.0, 0.0, 5.0))
    assert view.session.undo_stack.count() == 2
    qtbot.keyClick(view, Qt.Key.Key_Up, SHIFT)
    assert view.session.layout.nodes[node].position[2] == pytest.approx(before[2] + 55.0)


def test_a_nudge_in_inches_is_a_quarter_inch(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    view.set_units(INCHES)
    node = only_tube(caged).nodes[1]
    view.session.select({node})
    qtbot.keyClick(view, Qt.Key.Key_Up)
    assert view.session.layout.nodes[node].position[2] == pytest.approx(caged.nodes[node].position[2] + 6.35)


def test_delete_removes_the_selection_and_undo_brings_it_back(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    tube = only_tube(caged)
    view.session.select({tube.id})
    qtbot.keyClick(view, Qt.Key.Key_Delete)
    assert not view.session.layout.tubes
    assert not view.session.layout.nodes
    assert view.session.undo_stack.undoText() == f"Delete tube {tube.name}"
    view.session.undo()
    assert view.session.layout is caged


def test_delete_leaves_body_panels_alone(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    view.session.select(caged.panels)
    with qtbot.waitSignal(view.hint_changed):
        qtbot.keyClick(view, Qt.Key.Key_Delete)
    assert view.session.layout is caged


def test_a_double_click_on_a_leg_adds_a_node_there(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    tube = only_tube(caged)
    line = centreline.of(caged, tube)
    place = centreline.point_at(line, [line.length * 0.8])[0]
    qtbot.mouseClick(view, LEFT, pos=at(view, place))
    qtbot.mouseDClick(view, LEFT, pos=at(view, place))
    after = only_tube(view.session.layout)
    assert len(after.nodes) == 4
    assert view.session.layout.nodes[after.nodes[2]].position == pytest.approx(tuple(place), abs=6.0)
    assert view.session.selection == {after.nodes[2]}
    assert view.session.undo_stack.count() == 1


def test_a_selected_corner_goes_out_to_the_stand_off_in_one_step(qtbot, open_view, caged) -> None:
    tube = only_tube(caged)
    near, _ = edits.insert_node(caged, tube.id, 1, (-1500.0, 806.0, 1100.0))
    view = open_view(near)
    node = only_tube(near).nodes[2]
    view.session.select({node})
    view.stand_off_selection()
    place = view.session.layout.nodes[node].position
    assert place == pytest.approx((-1500.0, 849.05, 1100.0), abs=0.06)
    assert gap(view, place) == pytest.approx(near.limits.standoff_wanted, abs=0.05)
    assert view.session.undo_stack.undoText() == "Move to the stand-off"
    view.session.undo()
    assert view.session.layout is near


def test_a_corner_inside_the_metal_comes_out_on_the_side_that_is_seen(open_view, caged) -> None:
    tube = only_tube(caged)
    sunk, node = edits.insert_node(caged, tube.id, 1, (-1500.0, 795.0, 1100.0))
    view = open_view(sunk)
    view.session.select({node})
    view.stand_off_selection()
    assert view.session.layout.nodes[node].position == pytest.approx((-1500.0, 849.05, 1100.0), abs=0.06)


def test_without_a_corner_nothing_stands_off_and_the_hint_says_why(open_view, caged) -> None:
    view = open_view(caged)
    view.session.select(caged.tubes)
    view.stand_off_selection()
    assert view.session.layout is caged
    assert "corner" in view.hint


def test_insert_without_a_pointer_halves_the_longest_leg(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    view.pointer = None
    view.session.select({only_tube(caged).id})
    qtbot.keyClick(view, Qt.Key.Key_Insert)
    assert position(view, 2) == pytest.approx((-1600.0, position(view, 1)[1], 1100.0))


# -- laying tube -----------------------------------------------------------------


def lay(qtbot, view, *places) -> None:
    for place in places:
        move(view, at(view, place))
        qtbot.mouseClick(view, LEFT, pos=at(view, place))


def test_a_tube_is_laid_over_the_body_by_clicks_and_enter(qtbot, open_view, body) -> None:
    view = open_view(body)
    view.set_tool("tube")
    lay(qtbot, view, (0.0, 800.0, 600.0), (-900.0, 800.0, 1000.0), (-2000.0, 800.0, 1000.0))
    assert view.session.undo_stack.count() == 0
    qtbot.keyClick(view, Qt.Key.Key_Return)
    tube = only_tube(view.session.layout)
    assert len(tube.nodes) == 3
    for id in tube.nodes:
        assert gap(view, view.session.layout.nodes[id].position) == pytest.approx(30.0, abs=0.1)
    assert view.session.undo_stack.count() == 1
    assert view.session.undo_stack.undoText() == "Lay tube T1"
    assert view.session.selection == {tube.id}
    assert view.tool == "tube"


def test_the_tube_being_laid_follows_the_pointer_with_its_bends(qtbot, open_view, body) -> None:
    view = open_view(body)
    view.set_tool("tube")
    lay(qtbot, view, (0.0, 800.0, 600.0), (-900.0, 800.0, 1000.0))
    move(view, at(view, (-2000.0, 800.0, 1000.0)))
    tube = only_tube(view.session.layout)
    line = centreline.of(view.session.layout, tube)
    assert len(line.bends) == 1
    assert line.bends[0].radius == pytest.approx(114.3)
    assert view.session.is_previewing


def test_typing_a_distance_and_enter_sets_the_next_point_there(qtbot, open_view, body) -> None:
    view = open_view(body)
    view.set_tool("tube")
    lay(qtbot, view, (0.0, 800.0, 800.0))
    move(view, at(view, (-900.0, 800.0, 800.0)))
    qtbot.keyClicks(view, "600")
    qtbot.keyClick(view, Qt.Key.Key_Return)
    move(view, at(view, (-900.0, 800.0, 1000.0)))
    qtbot.keyClick(view, Qt.Key.Key_Return)
    assert math.dist(position(view, 0), position(view, 1)) == pytest.approx(600.0)


def test_typing_a_turn_bends_by_that_angle(qtbot, open_view, body) -> None:
    view = open_view(body)
    view.set_tool("tube")
    lay(qtbot, view, (0.0, 800.0, 500.0), (-900.0, 800.0, 500.0))
    move(view, at(view, (-1400.0, 800.0, 1100.0)))
    qtbot.keyClicks(view, "700a45")
    qtbot.keyClick(view, Qt.Key.Key_Return)
    qtbot.keyClick(view, Qt.Key.Key_Return)
    line = centreline.of(view.session.layout, only_tube(view.session.layout))
    assert math.degrees(line.bends[0].angle) == pytest.approx(45.0)
    assert math.dist(position(view, 1), position(view, 2)) == pytest.approx(700.0)


def test_a_place_can_be_typed(qtbot, open_view, body) -> None:
    view = open_view(body)
    view.set_tool("tube")
    lay(qtbot, view, (0.0, 800.0, 500.0))
    qtbot.keyClicks(view, "-900, 850, 1 1/2 in")
    qtbot.keyClick(view, Qt.Key.Key_Return)
    qtbot.keyClick(view, Qt.Key.Key_Return)
    assert position(view, 1) == pytest.approx((-900.0, 850.0, 38.1))


def test_text_that_is_no_length_sets_nothing_and_says_why(qtbot, open_view, body) -> None:
    view = open_view(body)
    view.set_tool("tube")
    lay(qtbot, view, (0.0, 800.0, 800.0))
    move(view, at(view, (-900.0, 800.0, 800.0)))
    qtbot.keyClicks(view, "6..0")
    with qtbot.waitSignal(view.hint_changed) as said:
        qtbot.keyClick(view, Qt.Key.Key_Return)
    assert "can't be read" in said.args[0]
    qtbot.keyClick(view, Qt.Key.Key_Escape)
    qtbot.keyClick(view, Qt.Key.Key_Escape)
    assert view.session.layout is body


def test_backspace_takes_points_back_and_escape_leaves(qtbot, open_view, body) -> None:
    view = open_view(body)
    view.set_tool("tube")
    lay(qtbot, view, (0.0, 800.0, 600.0), (-900.0, 800.0, 1000.0), (-2000.0, 800.0, 1000.0))
    qtbot.keyClick(view, Qt.Key.Key_Backspace)
    qtbot.keyClick(view, Qt.Key.Key_Return)
    assert len(only_tube(view.session.layout).nodes) == 2
    lay(qtbot, view, (-500.0, 800.0, 500.0))
    qtbot.keyClick(view, Qt.Key.Key_Backspace)
    assert not view.session.is_previewing
    qtbot.keyClick(view, Qt.Key.Key_Escape)
    assert view.tool == "select"
    assert view.session.undo_stack.count() == 1


def test_escape_drops_an_unfinished_tube(qtbot, open_view, body) -> None:
    view = open_view(body)
    view.set_tool("tube")
    lay(qtbot, view, (0.0, 800.0, 600.0), (-900.0, 800.0, 1000.0))
    qtbot.keyClick(view, Qt.Key.Key_Escape)
    assert view.session.layout is body
    assert view.tool == "tube"


def test_a_double_click_sets_the_last_point_and_ends_the_tube(qtbot, open_view, body) -> None:
    view = open_view(body)
    view.set_tool("tube")
    lay(qtbot, view, (0.0, 800.0, 600.0), (-900.0, 800.0, 1000.0))
    qtbot.mouseDClick(view, LEFT, pos=at(view, (-900.0, 800.0, 1000.0)))
    assert len(only_tube(view.session.layout).nodes) == 2
    assert not view.session.is_previewing


def test_a_tube_starts_on_a_node_and_lands_on_a_tube(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    rail = only_tube(caged)
    seat = centreline.point_at(centreline.of(caged, rail), [2200.0])[0]
    view.set_tool("tube")
    lay(qtbot, view, caged.nodes[rail.nodes[0]].position, (-1600.0, 850.0, 500.0), tuple(seat))
    qtbot.keyClick(view, Qt.Key.Key_Return)
    layout = view.session.layout
    tube = next(tube for tube in layout.tubes.values() if tube.id != rail.id)
    assert tube.nodes[0] == rail.nodes[0]
    landing = layout.nodes[tube.nodes[-1]].landing
    assert landing is not None
    assert landing.tube == rail.id
    assert landing.station == pytest.approx(2200.0, abs=12.0)


def test_a_point_near_the_centre_plane_is_drawn_onto_it(qtbot, open_view, body) -> None:
    view = open_view(body, "front")
    view.set_tool("tube")
    view.look_from("top")
    lay(qtbot, view, (-500.0, 12.0, 1300.0), (-500.0, 600.0, 1300.0))
    qtbot.keyClick(view, Qt.Key.Key_Return)
    assert position(view, 0)[1] == 0.0
    assert gap(view, position(view, 0)) == pytest.approx(30.0, abs=0.5)


def test_a_held_axis_key_lays_the_leg_along_it(qtbot, open_view, body) -> None:
    view = open_view(body, "corner")
    view.set_tool("tube")
    lay(qtbot, view, (600.0, 300.0, 800.0))
    qtbot.keyPress(view, Qt.Key.Key_X)
    move(view, at(view, position_of_last_aim(view)) + QPoint(-60, 40))
    qtbot.mouseClick(view, LEFT, pos=at(view, position_of_last_aim(view)) + QPoint(-60, 40))
    qtbot.keyRelease(view, Qt.Key.Key_X)
    qtbot.keyClick(view, Qt.Key.Key_Return)
    a, b = position(view, 0), position(view, 1)
    assert a[1:] == pytest.approx(b[1:])
    assert abs(a[0] - b[0]) > 20.0


def position_of_last_aim(view):
    return view.current_tool._points[-1]


def test_a_change_of_tool_ends_a_tube_of_two_points_and_drops_one_point(qtbot, open_view, body) -> None:
    view = open_view(body)
    view.set_tool("tube")
    lay(qtbot, view, (0.0, 800.0, 600.0))
    with qtbot.waitSignal(view.tool_changed) as told:
        view.set_tool("measure")
    assert told.args == ["measure"]
    assert view.session.layout is body
    assert not view.session.is_previewing
    view.set_tool("tube")
    lay(qtbot, view, (0.0, 800.0, 600.0), (-900.0, 800.0, 1000.0))
    move(view, at(view, (-1500.0, 800.0, 600.0)))  # aimed at, not set
    view.set_tool("select")
    assert len(only_tube(view.session.recorded).nodes) == 2
    assert view.session.layout is view.session.recorded
    assert view.session.undo_stack.count() == 1


def test_another_job_gets_nothing_of_a_tube_that_was_being_laid(qtbot, open_view, body, caged) -> None:
    view = open_view(body)
    view.set_tool("tube")
    lay(qtbot, view, (0.0, 800.0, 600.0), (-900.0, 800.0, 1000.0))
    view.session.open(caged, None)
    assert view.session.layout is caged
    assert view.session.undo_stack.count() == 0
    view.set_tool("tube")
    qtbot.keyClick(view, Qt.Key.Key_Return)
    assert view.session.layout is caged


def test_the_tube_tool_lets_the_selection_go_so_that_its_stock_is_seen(open_view, caged) -> None:
    view = open_view(caged)
    view.session.select(caged.tubes)
    view.set_tool("tube")
    assert view.session.selection == frozenset()


def test_ctrl_z_takes_back_a_point_of_the_tube_being_laid(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    view.set_tool("tube")
    lay(qtbot, view, (0.0, 800.0, 600.0), (-900.0, 800.0, 700.0), (-1500.0, 800.0, 500.0))
    qtbot.keyClick(view, Qt.Key.Key_Z, CTRL)
    qtbot.keyClick(view, Qt.Key.Key_Return)
    (laid,) = view.session.selection
    assert len(view.session.layout.tubes[laid].nodes) == 2
    assert not view.current_tool.wants(Key(Qt.Key.Key_Z, ctrl=True))  # now it is undo's again


def test_where_a_point_was_just_set_no_label_speaks_of_a_leg_of_nothing(qtbot, open_view, body) -> None:
    view = open_view(body)
    view.set_tool("tube")
    lay(qtbot, view, (0.0, 800.0, 600.0), (-900.0, 800.0, 1000.0))
    assert not [mark for mark in view.current_tool.marks() if isinstance(mark, Badge)]
    move(view, at(view, (-1500.0, 800.0, 800.0)))
    assert [mark for mark in view.current_tool.marks() if isinstance(mark, Badge)]


def test_the_first_point_of_a_tube_stays_marked_while_the_pointer_is_elsewhere(
    qtbot, open_view, body
) -> None:
    view = open_view(body)
    view.set_tool("tube")
    lay(qtbot, view, (0.0, 800.0, 600.0))
    view.current_tool.move(None)
    (spot,) = view.current_tool.marks()
    assert spot.at == view.to_screen(position_of_last_aim(view))


def test_after_undo_nothing_is_aimed_at_what_is_gone(qtbot, open_view, body) -> None:
    view = open_view(body)
    view.set_tool("tube")
    lay(qtbot, view, (0.0, 800.0, 600.0), (-900.0, 800.0, 1000.0))
    qtbot.keyClick(view, Qt.Key.Key_Return)
    assert [mark.words for mark in view.current_tool.marks() if isinstance(mark, Badge)] == ["joint"]
    view.session.undo()
    assert [mark.words for mark in view.current_tool.marks() if isinstance(mark, Badge)] == ["left sill"]


def test_a_place_beside_the_body_says_so_and_how_near_the_metal_is(qtbot, open_view, body) -> None:
    view = open_view(body)
    view.set_tool("tube")
    lay(qtbot, view, (0.0, 800.0, 1250.0))
    move(view, at(view, (-900.0, 800.0, 1450.0)))
    (place, _leg) = [mark for mark in view.current_tool.marks() if isinstance(mark, Badge)]
    assert place.words.startswith("left sill, off the body")
    aim = view.current_tool._aim
    assert place.number == view.length(gap(view, aim.point))


def test_labels_of_the_aim_stay_inside_the_view(qtbot, open_view, body) -> None:
    view = open_view(body, "left")
    view.set_tool("tube")
    for place in (QPoint(896, 300), QPoint(450, 597), QPoint(896, 3), QPoint(3, 597)):
        move(view, place)
        rects = [mark.rect for mark in view.current_tool.marks() if isinstance(mark, Badge)]
        assert rects
        assert all(r.left >= 0 and r.top >= 0 and r.right <= 900 and r.bottom <= 600 for r in rects)


def test_with_an_empty_rack_the_tube_tool_says_so(qtbot, open_view, body) -> None:
    view = open_view(replace(body, stocks={}, dies={}))
    view.set_tool("tube")
    assert "rack" in view.hint
    lay(qtbot, view, (0.0, 800.0, 600.0))
    assert not view.session.layout.nodes


# -- the other tools -------------------------------------------------------------


def test_the_node_tool_sets_lone_nodes(qtbot, open_view, body) -> None:
    view = open_view(body)
    view.set_tool("node")
    lay(qtbot, view, (-900.0, 800.0, 900.0))
    (node,) = view.session.layout.nodes.values()
    assert gap(view, node.position) == pytest.approx(30.0, abs=0.1)
    assert view.session.undo_stack.undoText() == "Add node"


def test_the_split_tool_cuts_a_tube_in_two(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    view.set_tool("split")
    line = centreline.of(caged, only_tube(caged))
    lay(qtbot, view, tuple(centreline.point_at(line, [line.length - 600.0])[0]))
    assert len(view.session.layout.tubes) == 2
    assert view.session.undo_stack.undoText() == "Split tube T1"


def test_picked_points_tell_panel_and_triangle(qtbot, open_view, body) -> None:
    view = open_view(body)
    view.pick_points(2, "Click both ends of a length that you know.")
    assert view.hint.startswith("Click both ends of a length that you know.")
    with qtbot.waitSignal(view.points_picked) as told:
        lay(qtbot, view, (-900.0, 800.0, 900.0), (-1900.0, 800.0, 700.0))
    (panel,) = body.panels.values()
    for picked, x in zip(told.args[0], (-900.0, -1900.0), strict=True):
        assert picked.point == pytest.approx((x, 800.0, picked.point[2]), abs=10.0)
        assert picked.panel == panel.id
        assert np.all(panel.mesh.vertices[panel.mesh.triangles[picked.triangle]][:, 1] == 800.0)
    assert view.tool == "select"


def test_a_loop_of_points_ends_with_enter_and_escape_calls_it_off(qtbot, open_view, body) -> None:
    view = open_view(body)
    corners = ((-900.0, 800.0, 900.0), (-1900.0, 800.0, 900.0), (-1900.0, 800.0, 500.0))
    view.pick_points(0, "Click round the door")
    lay(qtbot, view, *corners)
    with qtbot.waitSignal(view.points_picked) as told:
        qtbot.keyClick(view, Qt.Key.Key_Return)
    assert len(told.args[0]) == 3
    view.pick_points(0, "Click round the door")
    with qtbot.waitSignal(view.points_picked) as told:
        qtbot.keyClick(view, Qt.Key.Key_Escape)
    assert told.args[0] == []


def test_escape_drops_the_points_before_it_leaves(qtbot, open_view, body) -> None:
    view = open_view(body)
    view.pick_points(0, "Click round the door.")
    assert view.hint == "Click round the door. Escape leaves."
    lay(qtbot, view, (-900.0, 800.0, 900.0))
    assert view.hint.endswith("Enter closes the loop, Backspace takes back, Escape drops them.")
    qtbot.keyClick(view, Qt.Key.Key_Escape)
    assert view.tool == "pick points"
    assert view.hint == "Click round the door. Escape leaves."
    with qtbot.waitSignal(view.points_picked):
        qtbot.keyClick(view, Qt.Key.Key_Escape)
    assert view.tool == "select"


# -- looking round ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("button", "keys"), [(RIGHT, Qt.KeyboardModifier.NoModifier), (LEFT, Qt.KeyboardModifier.NoModifier)]
)
def test_dragging_the_body_orbits_about_the_point_under_the_pointer(
    qtbot, open_view, body, button, keys
) -> None:
    view = open_view(body)
    spot = (-700.0, 800.0, 800.0)
    place = at(view, spot)
    before = view.camera()
    drag(qtbot, view, place, place + QPoint(80, 30), button, keys)
    assert view.camera()["yaw"] != before["yaw"]
    assert QPointF(at(view, spot) - place).manhattanLength() <= 3.0
    assert view.session.undo_stack.count() == 0


@pytest.mark.parametrize(("button", "keys"), [(MIDDLE, Qt.KeyboardModifier.NoModifier), (RIGHT, SHIFT)])
def test_panning_carries_the_body_with_the_pointer(qtbot, open_view, body, button, keys) -> None:
    view = open_view(body)
    spot = (-700.0, 800.0, 800.0)
    place = at(view, spot)
    drag(qtbot, view, place, place + QPoint(80, -40), button, keys)
    assert QPointF(at(view, spot) - place - QPoint(80, -40)).manhattanLength() <= 3.0


@pytest.mark.parametrize("keys", [Qt.KeyboardModifier.NoModifier, CTRL])
def test_the_wheel_zooms_to_the_pointer_with_or_without_ctrl(qtbot, open_view, body, keys) -> None:
    view = open_view(body)
    spot = (-2500.0, 800.0, 1200.0)
    place, far = at(view, spot), eye_to(view, spot)
    for _ in range(4):
        wheel(view, place, 120, keys)
    assert eye_to(view, spot) == pytest.approx(far * 0.84**4, rel=0.002)
    assert QPointF(at(view, spot) - place).manhattanLength() <= 2.0
    assert view.session.layout is body


def test_the_ball_stays_under_the_pointer_while_the_wheel_zooms(qtbot, open_view, body) -> None:
    view = open_view(body)
    view.set_tool("tube")
    place = at(view, (-2500.0, 800.0, 900.0))
    move(view, place)
    for _ in range(3):
        wheel(view, place, 120)
    settle(view)
    (ball,) = [mark for mark in view.overlay.marks if isinstance(mark, Ball)]
    assert ball.at == pytest.approx((place.x(), place.y()), abs=0.6)


def test_a_view_reached_by_keyboard_shows_it(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    for reason, frames in ((Qt.FocusReason.TabFocusReason, 1), (Qt.FocusReason.MouseFocusReason, 0)):
        QApplication.sendEvent(view, QFocusEvent(QFocusEvent.Type.FocusIn, reason))
        settle(view)
        assert (
            sum(isinstance(mark, Stroke) and len(mark.points) == 5 for mark in view.overlay.marks) == frames
        )


def eye_to(view, point) -> float:
    return math.dist(cameras.eye(view.navigation.camera), point)


def wheel(view, place: QPoint, turned: int, keys=Qt.KeyboardModifier.NoModifier) -> None:
    event = QWheelEvent(
        QPointF(place), view.mapToGlobal(QPointF(place)), QPoint(), QPoint(0, turned),
        Qt.MouseButton.NoButton, keys, Qt.ScrollPhase.NoScrollPhase, False,
    )  # fmt: skip
    QApplication.sendEvent(view, event)


def test_the_frame_of_a_view_reached_by_keyboard_goes_when_the_mouse_is_used(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    view.shows_focus = True
    qtbot.mouseClick(view, LEFT, pos=QPoint(890, 20))
    assert not view.shows_focus


def test_a_right_click_asks_for_the_menu_of_what_is_there(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    node = only_tube(caged).nodes[1]
    with qtbot.waitSignal(view.context_menu_wanted) as told:
        qtbot.mouseClick(view, RIGHT, pos=at(view, caged.nodes[node].position))
    assert told.args[1] == {node}
    assert view.session.selection == {node}


def test_the_menu_key_asks_for_the_menu_of_the_selection(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    view.session.select({only_tube(caged).id})
    event = QContextMenuEvent(
        QContextMenuEvent.Reason.Keyboard, QPoint(10, 10), view.mapToGlobal(QPoint(10, 10))
    )
    with qtbot.waitSignal(view.context_menu_wanted) as told:
        QApplication.sendEvent(view, event)
    assert told.args[1] == {only_tube(caged).id}


def test_the_camera_can_be_saved_and_brought_back(open_view, body) -> None:
    view = open_view(body)
    saved = view.camera()
    view.look_from("top")
    view.set_parallel(True)
    view.set_camera(saved)
    assert view.camera() == saved
    view.set_camera({"focus": "nonsense"})
    assert view.camera() == saved


def test_the_section_hides_metal_from_the_eye_and_the_pointer(qtbot, open_view, body) -> None:
    view = open_view(body)
    ray = view.outlook.ray(*view.to_screen((-900.0, 800.0, 800.0)))
    assert view.outlook.body_at(ray).point[1] == pytest.approx(800.0)
    view.set_section("y", 0.0)
    assert view.outlook.body_at(ray).point[1] == pytest.approx(-800.0)
    view.set_section(None)
    assert view.outlook.body_at(ray).point[1] == pytest.approx(800.0)


def test_nodes_behind_the_metal_are_not_painted_until_their_tube_is_selected(open_view, caged) -> None:
    view = open_view(caged, "right")
    assert dots(view) == []
    view.session.select({only_tube(caged).id})
    assert dots(view) == ["hidden"] * 3
    view.look_from("left")
    assert dots(view) == ["plain"] * 3


def test_nodes_that_come_behind_the_metal_go_when_a_held_orbit_rests(qtbot, open_view, caged) -> None:
    layout = caged
    for x in range(-2800, 400, 90):  # more nodes than are asked for in each frame
        layout, _ = edits.add_tube(layout, [(float(x), 850.0, 600.0), (float(x), 850.0, 900.0)], 1)
    view = open_view(layout)
    assert len(dots(view)) > 60
    place = at(view, (-700.0, 800.0, 1000.0))
    drag(qtbot, view, place, place + QPoint(600, 0), release=False)
    qtbot.waitUntil(lambda: len(dots(view)) < 5, timeout=5000)
    qtbot.mouseRelease(view, LEFT, pos=place + QPoint(600, 0))


def dots(view) -> list[str]:
    settle(view)
    return [mark.kind for mark in view.overlay.marks if isinstance(mark, Dot)]


# -- reports ---------------------------------------------------------------------


def badges(view) -> list[Badge]:
    settle(view)
    return [mark for mark in view.overlay.marks if isinstance(mark, Badge)]


def settle(view) -> None:
    """Let the frame that was asked for be made, also one that waits a moment for its report."""
    while view._frame_timer.isActive():
        QApplication.processEvents()


def checked(layout):
    from geometry.checks import findings

    return findings.check_layout(layout)


def test_the_selected_tube_shows_its_least_clearance_and_panel(open_view, caged) -> None:
    view = open_view(caged)
    view.show_report(view.session.revision, checked(caged))
    assert badges(view) == []
    view.session.select({only_tube(caged).id})
    (badge,) = badges(view)
    assert (badge.number, badge.words, badge.shape, badge.is_dim) == (
        "30.0 mm",
        "left sill, 22.0 mm safe",
        "fine",
        False,
    )
    view.set_units(INCHES)
    assert badges(view)[0].number == "1.181 in"


def test_a_report_of_an_older_layout_is_dimmed_and_an_older_report_dropped(open_view, caged) -> None:
    view = open_view(caged)
    node = only_tube(caged).nodes[1]
    report = checked(caged)
    view.show_report(view.session.revision, report)
    old = view.session.revision
    closer = edits.move_nodes(caged, only_tube(caged).nodes, (0.0, -20.0, 0.0))
    view.session.select({node})
    view.session.preview(closer)
    assert badges(view)[0].is_dim
    view.show_report(view.session.revision, checked(closer))
    (badge,) = badges(view)
    assert (badge.number, badge.shape, badge.is_dim) == ("10.0 mm", "close", False)
    view.show_report(old, report)
    assert badges(view)[0].number == "10.0 mm"
    view.session.cancel()


def test_a_tube_that_is_too_close_bears_a_sign_even_when_it_is_not_selected(open_view, caged) -> None:
    view = open_view(edits.move_nodes(caged, only_tube(caged).nodes, (0.0, -20.0, 0.0)))
    view.show_report(view.session.revision, checked(view.session.layout))
    QApplication.processEvents()
    assert [mark.shape for mark in view.overlay.marks if isinstance(mark, Sign)] == ["close"]


def test_a_gap_that_is_pointed_out_is_shown_beside_the_least(open_view, block, with_body, caged) -> None:
    layout = with_body(caged, block((-2300.0, 900.0, 1080.0), (-2200.0, 920.0, 1120.0)), "handle")
    view = open_view(layout)
    tube = only_tube(layout)
    view.session.select({tube.id})
    view.show_report(view.session.revision, checked(layout))
    settle(view)
    assert [badge.words.split(",")[0] for badge in badges(view)] == ["left sill"]
    handle = next(panel.id for panel in layout.panels.values() if panel.name == "handle")
    view.point_out((tube.id,), (handle,))
    settle(view)
    shown = {badge.words.split(",")[0]: badge.number for badge in badges(view)}
    assert shown.keys() == {"left sill", "handle"}
    assert shown["handle"] == view.length(900.0 - 849.05 - 19.05)


def test_no_line_to_a_gap_behind_the_metal_is_drawn_over_what_is_in_front(open_view, caged) -> None:
    heavy = {}
    for side in ("left", "right"):
        view = open_view(caged, side)
        view.session.select({only_tube(caged).id})
        view.show_report(view.session.revision, checked(caged))
        settle(view)
        assert [badge.words.split(",")[0] for badge in badges(view)] == ["left sill"]
        strokes = [mark for mark in view.overlay.marks if isinstance(mark, Stroke)]
        heavy[side] = [stroke for stroke in strokes if stroke.tone == "fine"]
    assert heavy["left"]
    assert not heavy["right"]


def test_a_far_tube_says_so_calmly(open_view, caged) -> None:
    view = open_view(edits.move_nodes(caged, only_tube(caged).nodes, (0.0, 900.0, 0.0)))
    view.show_report(view.session.revision, checked(view.session.layout))
    view.session.select({only_tube(caged).id})
    (badge,) = badges(view)
    assert (badge.number, badge.words, badge.shape) == ("", "over 300.0 mm", None)


def test_a_report_from_before_another_job_was_opened_is_dropped(open_view, caged) -> None:
    view = open_view(caged)
    old, report = view.session.revision, checked(caged)
    moved = edits.move_nodes(caged, only_tube(caged).nodes, (0.0, -20.0, 0.0))
    view.session.open(moved, None)
    view.session.select({only_tube(caged).id})
    view.show_report(old, report)
    assert badges(view) == []


def test_a_bend_that_cannot_be_made_is_marked_and_says_why_when_selected(open_view, empty) -> None:
    layout, tube = edits.add_tube(empty, [(0.0, 0.0, 0.0), (60.0, 0.0, 0.0), (60.0, 500.0, 0.0)], 1)
    view = open_view(layout)
    QApplication.processEvents()
    assert [mark.shape for mark in view.overlay.marks if isinstance(mark, Sign)] == ["bad"]
    view.session.select({tube})
    (badge,) = badges(view)
    assert badge.words == "leg 54.3 mm too short for this die"


# -- life and death --------------------------------------------------------------


def test_twenty_views_open_and_close_without_leaving_anything(open_view, caged) -> None:
    for _ in range(20):
        view = open_view(caged)
        view.shutdown()
        view.close()


def test_a_shut_view_ignores_what_still_arrives(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    view.shutdown()
    view.session.commit("Move", edits.move_nodes(caged, only_tube(caged).nodes, (1.0, 0.0, 0.0)))
    view.redraw()
    qtbot.wait(5)


def test_the_picture_is_a_png_of_the_size_asked_for(open_view, caged) -> None:
    from PySide6.QtGui import QImage

    image = QImage.fromData(open_view(caged).picture(640, 400), "PNG")
    assert (image.width(), image.height()) == (640, 400)
    assert image.pixelColor(2, 2).name() == "#ffffff"
    colours = {image.pixel(x, y) for x in range(0, 640, 4) for y in range(0, 400, 4)}
    assert len(colours) > 20


def test_the_corner_tool_puts_a_corner_into_the_tube_it_is_clicked_on(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    view.set_tool("node")
    tube = only_tube(caged)
    line = centreline.of(caged, tube)
    place = centreline.place_at(line, line.length - 600.0)
    lay(qtbot, view, place)
    after = view.session.layout.tubes[tube.id]
    (corner,) = set(after.nodes) - set(tube.nodes)
    assert after.nodes.index(corner) not in (0, len(after.nodes) - 1)
    assert math.dist(view.session.layout.nodes[corner].position, place) < 5.0
    assert view.session.layout.nodes[corner].landing is None
    assert view.session.undo_stack.undoText() == f"Insert corner in {tube.name}"
    assert view.session.selection == {corner}


def test_what_is_typed_while_laying_is_said_truly(qtbot, open_view, body) -> None:
    view = open_view(body)
    view.set_tool("tube")
    lay(qtbot, view, (-900.0, 800.0, 900.0))
    qtbot.keyClicks(view, "600")
    assert view.hint == "Enter sets the point at this distance; Escape clears."
    qtbot.keyClick(view, Qt.Key.Key_Return)
    qtbot.keyClicks(view, "600")
    assert "A adds the turn" in view.hint
    qtbot.keyClick(view, Qt.Key.Key_A)
    assert view.hint.startswith("Type the turn in degrees")


def test_a_step_that_changed_both_sides_says_so(qtbot, open_view, body) -> None:
    view = open_view(replace(body, both_sides=True))
    view.set_tool("tube")
    assert "B: one side" in view.hint
    lay(qtbot, view, (-900.0, 800.0, 900.0), (-1900.0, 800.0, 700.0))
    qtbot.keyClick(view, Qt.Key.Key_Return)
    assert len(view.session.layout.tubes) == 2
    assert view.hint == "Lay tube T1, on both sides."
    view._hint_timer.stop()
    view.set_tool("select")
    assert "the other side follows" in view.hint
    qtbot.keyClick(view, Qt.Key.Key_Right)
    assert view.hint == "Nudge, on both sides."
    view.session.undo()
    assert view.hint == "Nudge, on both sides."  # whoever asked for the undo says what was undone
