"""References set by clicking the body, with real clicks and keys."""

import numpy as np
import pytest
from PySide6.QtCore import QPoint, Qt

from geometry import zoning
from geometry.aids import BoxShape, LineShape, PlaneShape, PointShape
from geometry.layout import Mesh
from geometry.vectors import Vec3

LEFT, Key = Qt.MouseButton.LeftButton, Qt.Key
SIDE = 800.0
A, B, C = (-500.0, SIDE, 500.0), (-1500.0, SIDE, 500.0), (-1000.0, SIDE, 900.0)


def at(view, point: Vec3) -> QPoint:
    x, y = view.to_screen(point)
    return QPoint(round(x), round(y))


@pytest.fixture
def tool(qtbot, open_view, body):
    view = open_view(body)
    view.set_tool("reference")
    return view


def click(qtbot, view, *points: Vec3) -> None:
    for point in points:
        qtbot.mouseClick(view, LEFT, pos=at(view, point))


def only(view):
    (reference,) = view.session.layout.references.values()
    return reference


def test_one_place_and_enter_make_a_point_on_the_metal(qtbot, tool) -> None:
    click(qtbot, tool, A)
    assert not tool.session.layout.references
    qtbot.keyClick(tool, Key.Key_Return)
    assert isinstance(only(tool).shape, PointShape)
    assert only(tool).shape.at == pytest.approx(A, abs=5.0)
    assert only(tool).shape.at[1] == pytest.approx(SIDE)
    assert tool.session.selection == {only(tool).id}
    assert tool.session.undo_stack.count() == 1
    assert tool.tool == "reference"  # ready for the next


def test_two_places_make_a_line_and_three_a_plane(qtbot, tool) -> None:
    click(qtbot, tool, A, B)
    qtbot.keyClick(tool, Key.Key_Return)
    line = only(tool)
    assert isinstance(line.shape, LineShape)
    assert line.shape.start == pytest.approx(A, abs=5.0)
    assert line.shape.end == pytest.approx(B, abs=5.0)
    click(qtbot, tool, A, B, C)
    plane = list(tool.session.layout.references.values())[1]
    assert isinstance(plane.shape, PlaneShape)
    assert plane.shape.normal == pytest.approx((0.0, 1.0, 0.0), abs=1e-6)
    assert not plane.limit
    assert plane.name == "Reference 2"


@pytest.mark.parametrize(
    ("key", "places", "normal"),
    [
        (Key.Key_L, (A,), (0.0, 0.0, 1.0)),
        (Key.Key_S, (A,), (0.0, 1.0, 0.0)),
        (Key.Key_C, (A,), (1.0, 0.0, 0.0)),
        (Key.Key_U, (A, B), (0.0, 1.0, 0.0)),
    ],
)
def test_keys_make_planes_of_one_or_two_places(qtbot, tool, key, places, normal) -> None:
    click(qtbot, tool, *places)
    qtbot.keyClick(tool, key)
    shape = only(tool).shape
    assert isinstance(shape, PlaneShape)
    assert shape.normal == pytest.approx(normal, abs=1e-6)


def test_the_hint_says_what_is_next(qtbot, tool) -> None:
    assert "one makes a point" in tool.hint
    click(qtbot, tool, A)
    assert tool.hint.startswith("Enter: a point")
    click(qtbot, tool, B)
    assert tool.hint.startswith("Enter: a line")


def test_places_that_make_nothing_are_refused_and_the_last_is_asked_again(qtbot, tool) -> None:
    click(qtbot, tool, A, B, (-1000.0, SIDE, 500.0))
    assert not tool.session.layout.references
    assert "in one line" in tool.hint
    click(qtbot, tool, C)
    assert isinstance(only(tool).shape, PlaneShape)


def test_backspace_and_escape_go_back_one_step_at_a_time(qtbot, tool) -> None:
    click(qtbot, tool, A, B)
    qtbot.keyClick(tool, Key.Key_Backspace)
    qtbot.keyClick(tool, Key.Key_Return)
    assert isinstance(only(tool).shape, PointShape)
    click(qtbot, tool, A)
    qtbot.keyClick(tool, Key.Key_Escape)
    assert tool.tool == "reference"
    qtbot.keyClick(tool, Key.Key_Escape)
    assert tool.tool == "select"
    assert len(tool.session.layout.references) == 1


def test_beside_the_body_nothing_is_set(qtbot, tool) -> None:
    qtbot.mouseClick(tool, LEFT, pos=QPoint(5, 5))
    assert "Point at the body" in tool.hint
    qtbot.keyClick(tool, Key.Key_Return)
    assert not tool.session.layout.references


def test_a_node_is_taken_where_one_is_seen(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    view.set_tool("reference")
    node = next(iter(caged.nodes.values()))
    qtbot.mouseClick(view, LEFT, pos=at(view, node.position))
    qtbot.keyClick(view, Key.Key_Return)
    assert only(view).shape == PointShape(node.position)


def test_the_rim_of_a_panel_becomes_a_line_by_one_click(qtbot, open_view, empty, with_body) -> None:
    corners = [(0.0, SIDE, 300.0), (-2000.0, SIDE, 300.0), (-2000.0, SIDE, 700.0), (0.0, SIDE, 700.0)]
    side = Mesh(np.array(corners), np.array([[0, 1, 2], [0, 2, 3]], dtype=np.int32))
    view = open_view(with_body(empty, side, "left sill"))
    view.set_tool("reference")
    click(qtbot, view, (-900.0, SIDE, 330.0))
    qtbot.keyClick(view, Key.Key_R)
    assert only(view).name == "Left sill edge"
    shape = only(view).shape
    assert isinstance(shape, LineShape)
    assert sorted((shape.start, shape.end)) == [(-2000.0, SIDE, 300.0), (0.0, SIDE, 300.0)]


def test_where_there_is_no_rim_two_places_are_asked_for(qtbot, open_view, empty, with_body) -> None:
    corners = np.array([(x, y, z) for x in (-3000.0, 0.0) for y in (-SIDE, SIDE) for z in (300.0, 1000.0)])
    closed = zoning.mesh(BoxShape((-1500.0, 0.0, 650.0), (3000.0, 2.0 * SIDE, 700.0)))[1]
    view = open_view(with_body(empty, Mesh(corners, closed), "left sill"))
    view.set_tool("reference")
    click(qtbot, view, A)
    qtbot.keyClick(view, Key.Key_R)
    assert not view.session.layout.references
    assert "Click two places" in view.hint
    click(qtbot, view, B)
    qtbot.keyClick(view, Key.Key_Return)
    assert isinstance(only(view).shape, LineShape)
