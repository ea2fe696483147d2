"""Measuring with the mouse and the keys on a real window; the layout read afterwards."""

import pytest
from msgspec.structs import replace
from PySide6.QtCore import QEvent, QPoint, QPointF, Qt
from PySide6.QtGui import QMouseEvent
from PySide6.QtWidgets import QApplication

from app.viewport import aids_drawn
from app.viewport.labels import overlap
from app.viewport.marks import Badge, Stroke
from geometry import edits
from geometry.aids import BodySpot, NodeSpot, PlaneShape, Reference, ReferenceSpot, TubeSpot
from geometry.layout import Landing
from geometry.measuring import kept, values
from geometry.tube import centreline

LEFT = Qt.MouseButton.LeftButton
SHIFT = Qt.KeyboardModifier.ShiftModifier


def at(view, point) -> QPoint:
    x, y = view.to_screen(point)
    return QPoint(round(x), round(y))


def click(qtbot, view, *points) -> None:
    for point in points:
        qtbot.mouseClick(view, LEFT, pos=at(view, point))


def point_at(view, point) -> None:
    place = QPointF(at(view, point))
    none = Qt.MouseButton.NoButton
    event = QMouseEvent(
        QEvent.Type.MouseMove, place, view.mapToGlobal(place), none, none, Qt.KeyboardModifier.NoModifier
    )
    QApplication.sendEvent(view, event)
    QApplication.processEvents()


def badges(view) -> list[Badge]:
    QApplication.processEvents()
    return [mark for mark in view.overlay.marks if isinstance(mark, Badge)]


def numbers(view) -> list[str]:
    return [badge.number for badge in badges(view)]


def only_measure(view):
    (measure,) = view.session.layout.measures.values()
    return measure


def measured(view) -> float:
    found = values.of(view.session.layout, only_measure(view))
    assert isinstance(found, values.Value), found
    return found.number


@pytest.fixture
def framed(body):
    """Four tubes round an opening on the left, clear of the body: 1600 by 600 between centres."""
    y = 900.0
    layout, sill = edits.add_tube(body, [(0.0, y, 500.0), (-2400.0, y, 500.0)], 1)
    layout, rail = edits.add_tube(layout, [(0.0, y, 1100.0), (-2400.0, y, 1100.0)], 1)
    for x in (-400.0, -2000.0):
        ends = [Landing(sill, -x), Landing(rail, -x)]
        layout, _ = edits.add_tube(layout, ends, 1)
    return layout, sill, rail


def nodes_of(layout) -> list:
    (tube,) = layout.tubes.values()
    return [layout.nodes[id] for id in tube.nodes]


def test_two_clicks_on_nodes_keep_their_distance_as_one_step(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    view.set_tool("measure")
    _, corner, end = nodes_of(caged)
    click(qtbot, view, corner.position, end.position)
    assert only_measure(view).spots == (NodeSpot(corner.id), NodeSpot(end.id))
    assert measured(view) == pytest.approx(1600.0)
    assert "1600.0 mm" in numbers(view)
    assert view.session.undo_stack.count() == 1
    assert view.session.undo_stack.undoText() == "Measure distance"
    assert "Distance 1 is kept. Backspace takes it back." in view.hint


def test_the_distance_shows_before_the_second_click(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    view.set_tool("measure")
    _, corner, end = nodes_of(caged)
    click(qtbot, view, corner.position)
    point_at(view, end.position)
    assert "1600.0 mm" in numbers(view)
    assert view.session.layout is caged


def test_backspace_takes_back_what_was_kept_and_escape_leaves(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    view.set_tool("measure")
    _, corner, end = nodes_of(caged)
    click(qtbot, view, corner.position, end.position)
    qtbot.keyClick(view, Qt.Key.Key_Backspace)
    assert not view.session.layout.measures
    assert view.tool == "measure"
    qtbot.keyClick(view, Qt.Key.Key_Escape)
    assert view.tool == "select"


def test_what_was_kept_before_other_work_is_left_alone(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    view.set_tool("measure")
    _, corner, end = nodes_of(caged)
    click(qtbot, view, corner.position, end.position)
    view.session.apply("Rename", lambda layout: edits.rename_job(layout, "Other"))
    qtbot.keyClick(view, Qt.Key.Key_Backspace)
    qtbot.keyClick(view, Qt.Key.Key_Escape)
    assert view.session.layout.measures
    assert view.tool == "select"


def test_escape_first_drops_the_first_place(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    view.set_tool("measure")
    click(qtbot, view, nodes_of(caged)[1].position)
    assert view.hint.startswith("Distance. Click the second place.")
    qtbot.keyClick(view, Qt.Key.Key_Escape)
    assert view.hint.startswith("Distance. Click two places")
    assert view.tool == "measure"


def test_tab_goes_round_the_kinds_and_the_hint_says_so(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    view.set_tool("measure")
    said = []
    for _ in range(6):
        said.append(view.hint.split(".")[0])
        qtbot.keyClick(view, Qt.Key.Key_Tab)
        assert view.hasFocus()
    assert said == ["Distance", "Along a tube", "Gap between tubes", "Angle", "Height", "Opening"]
    assert view.hint.startswith("Distance. ")
    qtbot.keyClick(view, Qt.Key.Key_Backtab, SHIFT)
    assert view.hint.startswith("Opening. ")


def test_tab_leaves_the_view_with_another_tool(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    assert view.focusNextPrevChild(True) in (True, False)
    view.set_tool("measure")
    assert view.focusNextPrevChild(True) is False


def test_along_a_tube_takes_two_places_on_it(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    view.set_measuring("along")
    (tube,) = caged.tubes.values()
    line = centreline.of(caged, tube)
    click(qtbot, view, *(centreline.place_at(line, station) for station in (300.0, line.length - 500.0)))
    assert [type(spot) for spot in only_measure(view).spots] == [TubeSpot, TubeSpot]
    assert measured(view) == pytest.approx(line.length - 800.0, abs=15.0)


def test_the_gap_of_two_tubes_does_not_depend_on_where_they_are_clicked(qtbot, open_view, framed) -> None:
    layout, sill, rail = framed
    view = open_view(layout)
    view.set_measuring("gap")
    click(qtbot, view, (-100.0, 900.0, 500.0), (-2300.0, 900.0, 1100.0))
    assert {spot.tube for spot in only_measure(view).spots} == {sill, rail}
    assert measured(view) == pytest.approx(600.0 - layout.stocks[1].od)


def test_a_gap_of_one_tube_with_itself_is_refused_in_words(qtbot, open_view, framed) -> None:
    layout, _, _ = framed
    view = open_view(layout)
    view.set_measuring("gap")
    click(qtbot, view, (-100.0, 900.0, 500.0), (-2300.0, 900.0, 500.0))
    assert view.session.layout is layout
    assert "point at one tube and then at another" in view.hint
    click(qtbot, view, (-2300.0, 900.0, 1100.0))
    assert measured(view) == pytest.approx(600.0 - layout.stocks[1].od)


def test_the_angle_between_two_straights(qtbot, open_view, framed) -> None:
    view = open_view(framed[0])
    view.set_measuring("angle")
    click(qtbot, view, (-1200.0, 900.0, 500.0), (-400.0, 900.0, 800.0))
    assert measured(view) == pytest.approx(1.5707963, abs=1e-6)
    assert "90.0°" in numbers(view)


def test_a_height_takes_one_click_and_shows_before_it(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    view.set_measuring("height")
    end = nodes_of(caged)[2]
    point_at(view, end.position)
    assert "1100.0 mm" in numbers(view)
    click(qtbot, view, end.position)
    assert measured(view) == pytest.approx(1100.0)


def test_a_height_of_the_body_keeps_the_panel(qtbot, open_view, body) -> None:
    view = open_view(body)
    view.set_measuring("height")
    click(qtbot, view, (-1500.0, 800.0, 700.0))
    (spot,) = only_measure(view).spots
    assert isinstance(spot, BodySpot)
    assert spot.panel in body.panels
    assert measured(view) == pytest.approx(700.0, abs=10.0)


@pytest.mark.parametrize("ending", ["enter", "double click"])
def test_an_opening_takes_the_tubes_round_it_and_ends(qtbot, open_view, framed, ending: str) -> None:
    layout, _, _ = framed
    view = open_view(layout)
    view.set_measuring("opening")
    round_it = [
        (-1000.0, 900.0, 500.0),
        (-2000.0, 900.0, 850.0),
        (-1500.0, 900.0, 1100.0),
        (-400.0, 900.0, 750.0),
    ]
    click(qtbot, view, *round_it)
    assert not view.session.layout.measures
    if ending == "enter":
        assert "Enter or a double-click ends it" in view.hint
        qtbot.keyClick(view, Qt.Key.Key_Return)
    else:
        qtbot.mouseDClick(view, LEFT, pos=at(view, round_it[-1]))
    assert measured(view) == pytest.approx(600.0 - layout.stocks[1].od, abs=0.3)
    found = values.of(view.session.layout, only_measure(view))
    assert found.parts[0].number == pytest.approx(1600.0 - layout.stocks[1].od, abs=0.3)


def test_backspace_takes_a_place_of_an_opening_back(qtbot, open_view, framed) -> None:
    view = open_view(framed[0])
    view.set_measuring("opening")
    click(qtbot, view, (-1000.0, 900.0, 500.0), (-2000.0, 900.0, 850.0), (-1500.0, 900.0, 1100.0))
    qtbot.keyClick(view, Qt.Key.Key_Backspace)
    qtbot.keyClick(view, Qt.Key.Key_Return)
    assert not view.session.layout.measures
    assert "right number" in view.hint or "more" in view.hint


def test_a_reference_plane_is_measured_to_square(qtbot, open_view, caged) -> None:
    id = caged.next_id
    limit = Reference(id, "Roof limit", PlaneShape((0.0, 0.0, 1400.0), (0.0, 0.0, 1.0)))
    layout = replace(caged, next_id=id + 1, references={id: limit})
    view = open_view(layout)
    view.set_tool("measure")
    edge = 800.0 + aids_drawn.PLANE_MARGIN
    click(qtbot, view, nodes_of(caged)[2].position, (-1200.0, edge, 1400.0))
    assert only_measure(view).spots[1] == ReferenceSpot(id)
    assert measured(view) == pytest.approx(300.0)


def test_a_kept_measure_follows_a_drag_and_stays_drawn(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    _, corner, end = nodes_of(caged)
    with_it, _ = kept.add(caged, "distance", (NodeSpot(corner.id), NodeSpot(end.id)))
    view.session.commit("Measure", with_it)
    assert "1600.0 mm" in numbers(view)
    view.session.preview(edits.move_nodes(with_it, [end.id], (-100.0, 0.0, 0.0)))
    assert "1700.0 mm" in numbers(view)
    view.session.cancel()
    assert "1600.0 mm" in numbers(view)


def test_kept_measures_do_not_cover_each_other(qtbot, open_view, framed) -> None:
    layout, sill, rail = framed
    for station in (1000.0, 1010.0, 1020.0, 1030.0):
        layout, _ = kept.add(layout, "distance", (TubeSpot(sill, station), TubeSpot(rail, station)))
    view = open_view(layout)
    shown = badges(view)
    assert len(shown) == 4
    for number, one in enumerate(shown):
        for other in shown[number + 1 :]:
            assert overlap(one.rect, other.rect) < 1.0


def test_a_selected_measure_stands_out(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    _, corner, end = nodes_of(caged)
    with_it, id = kept.add(caged, "distance", (NodeSpot(corner.id), NodeSpot(end.id)))
    view.session.commit("Measure", with_it)
    (quiet,) = badges(view)
    assert quiet.is_quiet
    view.session.select({id})
    (loud,) = badges(view)
    assert not loud.is_quiet
    assert any(isinstance(mark, Stroke) and mark.tone == "accent" for mark in view.overlay.marks)


def test_deleting_the_tube_takes_the_measure_and_undo_brings_both_back(qtbot, open_view, caged) -> None:
    view = open_view(caged)
    _, corner, end = nodes_of(caged)
    with_it, _ = kept.add(caged, "distance", (NodeSpot(corner.id), NodeSpot(end.id)))
    view.session.commit("Measure", with_it)
    view.session.apply("Delete", lambda layout: edits.delete(layout, layout.tubes))
    assert not view.session.layout.measures
    view.session.undo()
    assert len(view.session.layout.measures) == 1


def test_what_reaches_behind_the_eye_is_not_drawn(qtbot, open_view, framed) -> None:
    layout, sill, rail = framed
    for station in (100.0, 2300.0):
        layout, _ = kept.add(layout, "distance", (TubeSpot(sill, station), TubeSpot(rail, station)))
    view = open_view(layout)
    view.set_parallel(False)
    camera = view.camera()
    # From behind the first measure, along the tubes to the second one.
    view.look_from("front")
    view.fly_to((-1500.0, 900.0, 800.0), 150.0)
    assert len(badges(view)) == 1
    for mark in view.overlay.marks:
        if isinstance(mark, Stroke) and mark.tone == "accent":
            assert all(abs(x) < 1e4 and abs(y) < 1e4 for x, y in mark.points)
    view.set_camera(camera)
    assert len(badges(view)) == 2


def test_measures_can_be_left_undrawn_but_for_the_selected_one(qtbot, open_view, framed) -> None:
    layout, sill, rail = framed
    layout, first = kept.add(layout, "distance", (TubeSpot(sill, 100.0), TubeSpot(rail, 100.0)))
    layout, _ = kept.add(layout, "distance", (TubeSpot(sill, 900.0), TubeSpot(rail, 900.0)))
    view = open_view(layout)
    assert len(badges(view)) == 2
    view.set_measures(False)
    assert badges(view) == []
    view.session.select({first})
    assert len(badges(view)) == 1
