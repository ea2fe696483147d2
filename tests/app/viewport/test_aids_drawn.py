"""References and access zones in the view: drawn, named, hidden, picked."""

import time

import numpy as np
import pytest
from msgspec.structs import replace
from PySide6.QtCore import QPoint, Qt

from app.viewport import aids_drawn, colours
from app.viewport.marks import Badge, Sign, Whisper
from geometry import edits, references, zoning
from geometry.aids import BoxShape, ConeShape, LineShape, PlaneShape, PointShape
from geometry.checks import findings
from geometry.layout import Layout
from geometry.vectors import Vec3

LEFT = Qt.MouseButton.LeftButton
SIDE = 800.0  # y of the block's left side
HANDLE = BoxShape((-1500.0, SIDE + 30.0, 900.0), (200.0, 60.0, 100.0))


def at(view, point: Vec3) -> QPoint:
    x, y = view.to_screen(point)
    return QPoint(round(x), round(y))


def with_zone(layout: Layout, shape=HANDLE, purpose="door handle") -> tuple[Layout, int]:
    return zoning.add_zone(layout, purpose, shape)


def visible(view, id: int) -> bool:
    return bool(view.scene.aids._drawn[id].lines.GetVisibility())


def test_a_zone_is_drawn_until_it_is_hidden_and_shows_while_it_is_selected(qtbot, open_view, body) -> None:
    layout, zone = with_zone(body)
    view = open_view(layout)
    assert visible(view, zone)
    view.session.commit("Hide", zoning.set_zone(layout, zone, shown=False))
    qtbot.wait(1)
    assert not visible(view, zone)
    view.session.select({zone})
    qtbot.wait(1)
    assert visible(view, zone)
    view.session.undo()
    view.session.select(())
    qtbot.wait(1)
    assert visible(view, zone)


def test_what_is_deleted_is_no_longer_drawn(qtbot, open_view, body) -> None:
    layout, zone = with_zone(body)
    view = open_view(layout)
    count = view._renderer.GetActors().GetNumberOfItems()
    view.session.commit("Delete", replace(layout, zones={}))
    qtbot.wait(1)
    assert zone not in view.scene.aids._drawn
    assert view._renderer.GetActors().GetNumberOfItems() == count - 3


@pytest.mark.parametrize("dark", [False, True])
def test_zones_and_references_have_their_colours_in_both_themes(qtbot, open_view, body, dark: bool) -> None:
    layout, zone = with_zone(body)
    layout, point = references.add_reference(layout, PointShape((-1000.0, SIDE, 800.0)))
    view = open_view(layout)
    view.set_theme(dark)
    theme = colours.theme(dark)
    for id, colour in ((zone, theme.zone), (point, theme.reference)):
        drawn = view.scene.aids._drawn[id].lines.GetProperty().GetColor()
        assert drawn == pytest.approx(colours.rgb(colour), abs=1e-3)


def test_the_name_is_written_where_it_is_selected(qtbot, open_view, body) -> None:
    layout, zone = with_zone(body)
    layout, roof = references.add_height_limit(layout, 1500.0)
    view = open_view(layout)
    view.session.select({zone, roof})
    qtbot.wait(20)
    words = {mark.text for mark in view.overlay.marks if isinstance(mark, Whisper)}
    assert {"Door handle", "Roof height limit (limit)"} <= words


def test_a_plane_is_framed_a_little_larger_than_the_car() -> None:
    room = (np.array((-3000.0, -800.0, 300.0)), np.array((600.0, 800.0, 1300.0)))
    frame, grid = aids_drawn.plane_lines(PlaneShape((0.0, 0.0, 1500.0), (0.0, 0.0, 1.0)), room)
    assert frame[..., 2] == pytest.approx(1500.0)
    assert (frame.min(axis=(0, 1))[:2]) == pytest.approx((-3200.0, -1000.0))
    assert (frame.max(axis=(0, 1))[:2]) == pytest.approx((800.0, 1000.0))
    assert grid[..., 2] == pytest.approx(1500.0)
    assert len(grid) > 8
    for normal in ((0.0, 1.0, 0.0), (1.0, 0.0, 0.0), (0.6, 0.0, 0.8), (0.0, 0.0, -1.0)):
        frame, grid = aids_drawn.plane_lines(PlaneShape((-1000.0, 5.0, 700.0), normal), room)
        off = (np.concatenate([frame, grid]).reshape(-1, 3) - (-1000.0, 5.0, 700.0)) @ np.array(normal)
        assert np.abs(off).max() < 1e-6


def test_edges_lie_on_the_shape() -> None:
    for shape in (HANDLE, ConeShape((0.0, 0.0, 0.0), (0.0, 500.0, 0.0), 0.0, 90.0)):
        pieces = aids_drawn.edges(shape)
        assert np.abs(zoning.gaps(shape, pieces.reshape(-1, 3))).max() < 1e-6
    assert len(aids_drawn.edges(HANDLE)) == 12


def test_a_click_on_its_edge_selects_a_zone_and_elsewhere_what_lies_behind(qtbot, open_view, body) -> None:
    layout, zone = with_zone(body)
    view = open_view(layout)
    qtbot.mouseClick(view, LEFT, pos=at(view, (-1400.0, SIDE + 60.0, 900.0)))
    assert view.session.selection == {zone}
    beside = at(view, (-1500.0, SIDE + 60.0, 900.0))
    qtbot.mouseClick(view, LEFT, pos=beside)
    assert view.session.selection == frozenset()
    qtbot.mouseClick(view, LEFT, pos=beside)
    assert view.session.selection == set(body.panels)


def test_a_zone_in_front_of_nothing_is_selected_by_its_face(qtbot, open_view, body) -> None:
    layout, zone = with_zone(body, BoxShape((-1500.0, 0.0, 1600.0), (300.0, 300.0, 300.0)), "other")
    view = open_view(layout)
    qtbot.mouseClick(view, LEFT, pos=at(view, (-1500.0, 0.0, 1600.0)))
    assert view.session.selection == {zone}


def test_references_are_picked_near_their_lines_unless_hidden_or_behind_metal(qtbot, open_view, body) -> None:
    layout, line = references.add_reference(body, LineShape((-2000.0, SIDE, 500.0), (-500.0, SIDE, 500.0)))
    layout, behind = references.add_reference(layout, PointShape((-1000.0, -SIDE, 800.0)))
    view = open_view(layout)
    x, y = view.to_screen((-1200.0, SIDE, 500.0))
    assert aids_drawn.at(view.outlook, x, y + 3.0) == line
    assert aids_drawn.at(view.outlook, x, y + 30.0) is None
    assert aids_drawn.at(view.outlook, *view.to_screen((-1000.0, -SIDE, 800.0))) is None
    view.look_from("right")
    assert aids_drawn.at(view.outlook, *view.to_screen((-1000.0, -SIDE, 800.0))) == behind
    view.look_from("left")
    view.session.commit("Hide", references.set_reference(layout, line, shown=False))
    assert aids_drawn.at(view.outlook, x, y + 3.0) is None


def test_a_limit_plane_is_picked_by_its_frame(qtbot, open_view, body) -> None:
    layout, roof = references.add_height_limit(body, 1500.0)
    view = open_view(layout)
    x, y = view.to_screen((-1000.0, 1000.0, 1500.0))
    assert aids_drawn.at(view.outlook, x, y) == roof


def test_picking_among_many_is_quick(open_view, body) -> None:
    layout = body
    for number in range(12):
        layout, _ = with_zone(
            layout, ConeShape((-200.0 * number, SIDE, 900.0), (-200.0 * number, 1400.0, 900.0), 60.0, 200.0)
        )
        layout, _ = references.add_reference(layout, PlaneShape((0.0, 0.0, 200.0 * number), (0.0, 0.0, 1.0)))
    view = open_view(layout)
    outlook = view.outlook
    aids_drawn.at(outlook, 450.0, 10.0)
    start = time.process_time()
    for _ in range(5):
        aids_drawn.at(outlook, 450.0, 10.0)
    assert (time.process_time() - start) / 5 < 0.02


def test_delete_in_the_view_takes_a_selected_zone_away(qtbot, open_view, body) -> None:
    layout, zone = with_zone(body)
    view = open_view(layout)
    view.session.select({zone})
    assert "H hides" in view.hint
    assert "Arrows move it" in view.hint
    qtbot.keyClick(view, Qt.Key.Key_Delete)
    assert not view.session.layout.zones
    assert view.session.undo_stack.undoText() == "Delete Door handle"


def test_pictures_for_paper_show_the_cage_alone(body) -> None:
    from app.viewport import picture

    layout, _ = with_zone(body)
    layout, _ = references.add_height_limit(layout, 1500.0)
    assert picture.draw(layout, 200, 120) == picture.draw(body, 200, 120)


def test_arrows_move_a_selected_zone_and_reference_as_one_step(qtbot, open_view, body) -> None:
    layout, zone = with_zone(body)
    layout, point = references.add_reference(layout, PointShape((-1000.0, SIDE, 800.0)))
    view = open_view(layout)
    view.session.select({zone, point})
    qtbot.keyClick(view, Qt.Key.Key_Up)
    qtbot.keyClick(view, Qt.Key.Key_Up)
    step = view.nudge_step
    after = view.session.layout
    assert after.zones[zone].shape == replace(HANDLE, middle=(-1500.0, SIDE + 30.0, 900.0 + 2.0 * step))
    assert after.references[point].shape == PointShape((-1000.0, SIDE, 800.0 + 2.0 * step))
    assert not view.session.is_previewing
    view.session.undo()
    view.session.undo()
    assert view.session.layout.zones[zone].shape == HANDLE


def test_a_tube_in_the_way_is_signed_and_said_where_it_is_deepest(qtbot, open_view, caged) -> None:
    tube = next(iter(caged.tubes))
    x, y, z = caged.nodes[caged.tubes[tube].nodes[-1]].position
    layout, zone = with_zone(caged, BoxShape((x + 400.0, y, z), (200.0, 100.0, 100.0)))
    layout, limit = references.added(layout, PlaneShape((0.0, 0.0, z), (0.0, 0.0, 1.0)), "Roof", limit=True)
    view = open_view(layout)
    report, _ = findings.completed(layout, {}, {}, findings.check(layout, {}), lambda: True)
    view.show_report(view.session.revision, report)
    qtbot.wait(50)
    signs = [mark for mark in view.overlay.marks if isinstance(mark, Sign) and mark.shape == "close"]
    assert len(signs) == 2
    close = pytest.approx(colours.rgb(colours.LIGHT.signs["close"]), abs=1e-3)
    for id in (zone, limit):
        assert view.scene.aids._drawn[id].lines.GetProperty().GetColor() == close
    view.session.select({tube})
    qtbot.wait(50)
    said = {mark.words: mark.number for mark in view.overlay.marks if isinstance(mark, Badge)}
    radius = layout.stocks[layout.tubes[tube].stock].od / 2.0
    assert said["into Door handle"] == view.length(50.0 + radius)
    assert said["past Roof"] == view.length(radius)
    view.session.commit("Hide", edits.set_tubes(layout, [tube], shown=False))
    view.session.select(())
    view.show_report(view.session.revision, report)
    qtbot.wait(50)
    assert not [mark for mark in view.overlay.marks if isinstance(mark, Sign) and mark.shape == "close"]
