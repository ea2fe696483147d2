"""Places are drawn to heights, stations, lines and middles: real events on a real window."""

import math

import numpy as np
import pytest
from msgspec.structs import replace
from PySide6.QtCore import QEvent, QPoint, QPointF, Qt
from PySide6.QtGui import QMouseEvent
from PySide6.QtWidgets import QApplication

from app.viewport.marks import Badge, Whisper
from geometry import edits, references, symmetry
from geometry.aids import LineShape, PlaneShape, PointShape
from geometry.checks import findings
from geometry.layout import Landing, Mesh
from geometry.tube import centreline

LEFT, SHIFT = Qt.MouseButton.LeftButton, Qt.KeyboardModifier.ShiftModifier
NO_BUTTON = Qt.MouseButton.NoButton
NONE, Key = Qt.KeyboardModifier.NoModifier, Qt.Key


ROOF = PlaneShape((0.0, 0.0, 1250.0), (0.0, 0.0, 1.0))


def pixel(view, point) -> QPoint:
    x, y = view.to_screen(point)
    return QPoint(round(x), round(y))


def aimed(view, point, keys=NONE, aside: tuple[int, int] = (0, 0)):
    """Point near a place and return what that was drawn to."""
    place = QPointF(pixel(view, point) + QPoint(*aside))
    event = QMouseEvent(QEvent.Type.MouseMove, place, view.mapToGlobal(place), NO_BUTTON, NO_BUTTON, keys)
    QApplication.sendEvent(view, event)
    QApplication.processEvents()
    return view.current_tool._aim


def click(qtbot, view, point) -> None:
    qtbot.mouseClick(view, LEFT, pos=pixel(view, point))


def offset(view) -> float:
    layout = view.session.layout
    return layout.limits.standoff_wanted + view.stock.od / 2.0


def test_a_place_on_the_body_is_drawn_to_a_height_and_keeps_its_gap(open_view, caged) -> None:
    view = open_view(caged)
    view.set_tool("tube")
    y = 800.0 + offset(view)
    aim = aimed(view, (-2600.0, y, 504.0))
    assert "same height" in aim.word
    assert aim.point[2] == pytest.approx(500.0, abs=1e-6)
    assert view.outlook.solid.gap(aim.point) == pytest.approx(offset(view), abs=0.1)
    (source, there) = aim.cues[0]
    assert source == pytest.approx((200.0, y, 500.0))
    assert there == aim.point
    assert aimed(view, (-2600.0, y, 504.0), SHIFT).word == ""
    view.snaps = False
    assert aimed(view, (-2600.0, y, 504.0)).word == ""


def test_height_and_station_may_both_be_met(open_view, caged) -> None:
    view = open_view(caged)
    view.set_tool("tube")
    aim = aimed(view, (-804.0, 848.0, 504.0))
    assert {"same height", "same station"} <= set(aim.word.split(", "))
    assert aim.point[0] == pytest.approx(-800.0, abs=1e-6)
    assert aim.point[2] == pytest.approx(500.0, abs=1e-6)


def test_the_next_point_is_drawn_to_plumb_and_to_where_that_is_as_high_as_another(
    qtbot, open_view, caged
) -> None:
    view = open_view(caged)
    view.set_tool("tube")
    start = (-1500.0, 800.0 + offset(view), 700.0)
    click(qtbot, view, start)
    began = view.current_tool._points[0]
    aim = aimed(view, (-1503.0, start[1], 903.0))
    assert aim.word == "plumb"
    assert aim.point[:2] == pytest.approx(began[:2], abs=1e-9)
    aim = aimed(view, (-1503.0, start[1], 503.0))
    assert aim.word == "plumb, same height"
    assert aim.point[2] == pytest.approx(500.0, abs=1e-6)


def test_the_middle_of_a_tube_and_its_legs_are_met_and_space_takes_the_next_thing(
    qtbot, open_view, caged
) -> None:
    view = open_view(caged)
    view.set_tool("tube")
    (tube,) = caged.tubes.values()
    line = centreline.of(caged, tube)
    middle = centreline.place_at(line, line.length / 2.0)
    aim = aimed(view, middle, aside=(3, 2))
    assert (aim.kind, aim.word) == ("tube", f"middle of {tube.name}")
    assert aim.item == Landing(tube.id, pytest.approx(line.length / 2.0, abs=1e-3))
    qtbot.keyClick(view, Key.Key_Space)
    assert view.current_tool._aim.kind == "body"
    qtbot.keyClick(view, Key.Key_Space)
    assert view.current_tool._aim.kind == "tube"
    aimed(view, middle, aside=(40, 60))
    assert aimed(view, middle).kind == "tube"


def test_a_typed_length_starts_a_tube_so_far_along_another(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    view.set_tool("tube")
    (tube,) = caged.tubes.values()
    aimed(view, centreline.place_at(centreline.of(caged, tube), 400.0))
    qtbot.keyClicks(view, "250")
    assert view.current_tool._aim.item == Landing(tube.id, 250.0)


def test_references_are_met(qtbot, open_view, caged) -> None:
    y = 800.0 + caged.limits.standoff_wanted + caged.stocks[1].od / 2.0
    layout, _ = references.add_reference(caged, PointShape((-2000.0, y, 600.0)), "Jack point")
    layout, _ = references.add_reference(
        layout, PlaneShape((0.0, 0.0, 1250.0), (0.0, 0.0, 1.0)), "Roof limit"
    )
    layout, _ = references.add_reference(layout, LineShape((0.0, y, 400.0), (-500.0, y, 450.0)), "Sill edge")
    view = open_view(layout)
    view.set_tool("tube")
    assert aimed(view, (-2000.0, y, 600.0), aside=(5, 3)).point == (-2000.0, y, 600.0)
    aim = aimed(view, (-1800.0, y, 1254.0))
    assert aim.word == "Roof limit"
    assert aim.point[2] == pytest.approx(1250.0, abs=1e-6)
    aim = aimed(view, (-250.0, y, 429.0))
    assert aim.word == "on Sill edge"
    assert np.cross(np.subtract(aim.point, (0.0, y, 400.0)), (-500.0, 0.0, 50.0)) == pytest.approx(
        0.0, abs=1e-3
    )
    click(qtbot, view, (-1200.0, y, 700.0))
    start = view.current_tool._points[0]
    aim = aimed(view, (start[0] - 600.0, y, start[2] + 63.0))
    assert aim.word == "parallel to Sill edge"
    assert (aim.point[2] - start[2]) / (aim.point[0] - start[0]) == pytest.approx(-0.1)


def test_a_leg_in_the_air_turns_by_a_liked_angle(qtbot, open_view, empty) -> None:
    view = open_view(empty)
    view.set_tool("tube")
    for point in ((0.0, 0.0, 500.0), (-600.0, 0.0, 500.0)):
        click(qtbot, view, point)
    a, b = view.current_tool._points
    turn = math.radians(29.2)
    aim = aimed(view, (b[0] - 500.0 * math.cos(turn), 0.0, b[2] + 500.0 * math.sin(turn)))
    assert aim.word == "turns 30°"
    way, leg = np.subtract(aim.point, b), np.subtract(b, a)
    cosine = np.dot(way, leg) / np.linalg.norm(way) / np.linalg.norm(leg)
    assert math.degrees(math.acos(cosine)) == pytest.approx(30.0, abs=1e-6)


def test_x_with_shift_keeps_the_station_over_the_body(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    view.set_tool("tube")
    click(qtbot, view, (-1500.0, 840.0, 700.0))
    began = view.current_tool._points[0]
    qtbot.keyPress(view, Key.Key_X, SHIFT)
    aim = aimed(view, (-1300.0, 840.0, 950.0), SHIFT)
    assert aim.word == "X stays"
    assert aim.point[0] == pytest.approx(began[0], abs=1e-6)
    assert view.outlook.solid.gap(aim.point) == pytest.approx(offset(view), abs=0.1)
    qtbot.keyRelease(view, Key.Key_X)
    assert aimed(view, (-1300.0, 840.0, 950.0), SHIFT).point[0] == pytest.approx(-1300.0, abs=6.0)


def test_a_dragged_corner_is_drawn_to_the_station_of_another(qtbot, open_view, caged) -> None:
    layout, other = edits.add_tube(caged, [(-1700.0, 840.0, 400.0), (-1700.0, 840.0, 600.0)], 1)
    view = open_view(layout)
    node = caged.tubes[next(iter(caged.tubes))].nodes[2]
    start = layout.nodes[node].position
    qtbot.mousePress(view, LEFT, pos=pixel(view, start))
    for x in (-2300.0, -2000.0, -1704.0):
        place = QPointF(pixel(view, (x, start[1], start[2] - 40.0)))
        event = QMouseEvent(QEvent.Type.MouseMove, place, view.mapToGlobal(place), LEFT, LEFT, NONE)
        QApplication.sendEvent(view, event)
        QApplication.processEvents()
    qtbot.mouseRelease(view, LEFT, pos=pixel(view, (-1704.0, start[1], start[2] - 40.0)))
    assert view.session.layout.nodes[node].position[0] == pytest.approx(-1700.0, abs=1e-6)
    assert view.session.undo_stack.count() == 1
    assert other in view.session.layout.tubes


def test_what_is_laid_on_one_side_appears_on_both(qtbot, open_view, body) -> None:
    view = open_view(replace(body, both_sides=True))
    view.set_tool("tube")
    for point in ((200.0, 840.0, 500.0), (-800.0, 840.0, 1100.0)):
        click(qtbot, view, point)
    aimed(view, (-1600.0, 840.0, 900.0))
    assert len(view.session.layout.tubes) == 2
    qtbot.keyClick(view, Key.Key_Return)
    one, other = view.session.layout.tubes.values()
    assert (one.twin, other.twin) == (other.id, one.id)
    assert view.session.undo_stack.count() == 1
    view.session.undo()
    assert view.session.layout.tubes == {}


def test_what_is_hidden_is_not_picked_and_what_is_locked_stays(qtbot, open_view, caged) -> None:
    (tube,) = caged.tubes.values()
    place = caged.nodes[tube.nodes[1]].position
    view = open_view(edits.set_tubes(caged, [tube.id], shown=False))
    qtbot.mouseClick(view, LEFT, pos=pixel(view, place))
    assert view.session.selection.isdisjoint({tube.id, *tube.nodes})
    view = open_view(edits.set_tubes(caged, [tube.id], locked=True))
    qtbot.mouseClick(view, LEFT, pos=pixel(view, place))
    assert view.session.selection == {tube.nodes[1]}
    qtbot.keyClick(view, Key.Key_Right)
    qtbot.keyClick(view, Key.Key_Delete)
    on_leg = pixel(view, centreline.place_at(centreline.of(caged, tube), 300.0))
    for tool in ("node", "split"):
        view.set_tool(tool)
        qtbot.mouseClick(view, LEFT, pos=on_leg)
    view.set_tool("select")
    qtbot.mouseClick(view, LEFT, pos=on_leg)
    qtbot.keyClick(view, Key.Key_Insert)
    assert view.session.undo_stack.count() == 0
    assert view.hint == f"Tube {tube.name} is locked; Ctrl+K unlocks it when it is selected."


def test_a_tube_that_keeps_to_the_body_slides_along_it(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    (tube,) = caged.tubes.values()
    view.session.select({tube.id})
    view.ride_selection()
    assert view.session.undo_stack.undoText() == "Ride on the body"
    before = view.session.layout
    line = centreline.of(before, before.tubes[tube.id])
    start = pixel(view, centreline.place_at(line, line.length * 0.7))
    qtbot.mousePress(view, LEFT, pos=start)
    for part in (0.3, 0.7, 1.0):
        place = QPointF(start) + QPointF(0.0, 60.0) * part
        event = QMouseEvent(QEvent.Type.MouseMove, place, view.mapToGlobal(place), LEFT, LEFT, NONE)
        QApplication.sendEvent(view, event)
        QApplication.processEvents()
    qtbot.mouseRelease(view, LEFT, pos=start + QPoint(0, 60))
    layout = view.session.layout
    assert all(layout.nodes[id].position[2] < before.nodes[id].position[2] - 50.0 for id in tube.nodes)
    for id in tube.nodes:
        assert view.outlook.solid.gap(layout.nodes[id].position) == pytest.approx(offset(view), abs=0.05)
    qtbot.keyClick(view, Key.Key_PageUp)  # into the body, and out again
    for id in tube.nodes:
        gap = view.outlook.solid.gap(view.session.layout.nodes[id].position)
        assert gap == pytest.approx(offset(view), abs=0.05)
    view.ride_selection()
    assert all(view.session.layout.nodes[id].standoff is None for id in tube.nodes)


def test_what_is_not_the_same_on_both_sides_says_by_how_much(open_view, caged) -> None:
    view = open_view(caged)
    view.set_colouring("sides")
    words = [mark.text for mark in view._marks() if isinstance(mark, Whisper)]
    assert "one side only" in words
    (tube,) = caged.tubes
    view.session.apply("Pair", lambda now: symmetry.paired(now, [tube])[0])
    assert "one side only" not in [mark.text for mark in view._marks() if isinstance(mark, Whisper)]
    view.session.apply("Release", lambda now: symmetry.released(now, [tube]))
    view.session.apply("Move", lambda now: edits.move_nodes(now, [tube], (0.0, 0.0, 7.0)))
    words = [mark.text for mark in view._marks() if isinstance(mark, Whisper)]
    assert any(text.startswith("7.0 mm off the image of") for text in words)


def test_a_leg_may_run_parallel_to_the_edge_of_the_panel_it_starts_by(
    qtbot, open_view, empty, with_body
) -> None:
    corners = [(0.0, 400.0), (-2000.0, 500.0), (-2000.0, 1300.0), (0.0, 1300.0)]
    slope = np.array([(x, 800.0, z) for x, z in corners])
    sheet = Mesh(slope, np.array([(0, 1, 2), (0, 2, 3)], dtype=np.int32))
    view = open_view(with_body(empty, sheet, "left door"))
    view.set_tool("tube")
    y = 800.0 + offset(view)
    click(qtbot, view, (-300.0, y, 500.0))
    start = view.current_tool._points[0]
    aim = aimed(view, (start[0] - 900.0, y, start[2] + 47.0))
    assert aim.word == "parallel to the edge of left door"
    assert (aim.point[2] - start[2]) / (aim.point[0] - start[0]) == pytest.approx(-100.0 / 2000.0)


def test_the_twin_of_what_is_laid_is_paler_until_it_is_recorded(qtbot, open_view, body) -> None:
    view = open_view(replace(body, both_sides=True))
    view.set_tool("tube")
    for point in ((200.0, 840.0, 500.0), (-800.0, 840.0, 1100.0)):
        click(qtbot, view, point)
    view._prepare_frame()
    laid, twin = sorted(view.session.layout.tubes)
    opacity = {id: drawn.actor.GetProperty().GetOpacity() for id, drawn in view.scene._tubes.items()}
    assert opacity[laid] == 1.0
    assert opacity[twin] < 1.0
    qtbot.keyClick(view, Key.Key_Return)
    view._prepare_frame()
    assert {drawn.actor.GetProperty().GetOpacity() for drawn in view.scene._tubes.values()} == {1.0}


def test_of_many_selected_tubes_only_what_needs_attention_is_told(open_view, body) -> None:
    layout = body
    for number in range(8):
        gap = 30.0 if number else 4.0
        y = 800.0 + gap + body.stocks[1].od / 2.0
        run = [(-300.0 * number, y, 500.0), (-300.0 * number, y, 1000.0)]
        layout, _ = edits.add_tube(layout, run, 1)
    view = open_view(layout)
    report = findings.check_layout(layout)
    view.show_report(view.session.revision, report)

    def told() -> list[str]:
        return sorted(mark.shape for mark in view._marks() if isinstance(mark, Badge) and mark.shape)

    view.session.select(list(layout.tubes)[:3])
    assert told() == ["close", "fine", "fine"]
    view.session.select(layout.tubes)
    assert told() == ["close"]
