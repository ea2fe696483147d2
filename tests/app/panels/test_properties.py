"""The numbers of what is selected: each is right, and typing it is one undo step."""

import math
from collections.abc import Callable

import pytest
from msgspec.structs import replace
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication, QLabel, QLineEdit
from pytestqt.qtbot import QtBot

from app import wording
from app.panels.fields import LengthField
from app.panels.properties import PropertiesPanel
from app.panels.rows import ChoiceBox
from app.panels.schedule import nearest_texts
from app.session import Session
from app.units import INCH_FRACTIONS, MILLIMETRES, format_length
from geometry import axles, edits, rack
from geometry.checks import findings
from geometry.shop import schedule
from geometry.tube import centreline
from geometry.vectors import distance

Named = Callable[[str], int]


@pytest.fixture
def panel(qtbot: QtBot, session: Session) -> PropertiesPanel:
    panel = PropertiesPanel(session, MILLIMETRES)
    qtbot.addWidget(panel)
    panel.resize(292, 600)
    panel.show()
    return panel


def enter(qtbot: QtBot, field: LengthField, text: str) -> None:
    field.setFocus()
    field.selectAll()
    qtbot.keyClicks(field, text)
    qtbot.keyClick(field, Qt.Key.Key_Return)


def choose(box: ChoiceBox, words: str) -> None:
    place = box.findText(words)
    box.setCurrentIndex(place)
    box.activated.emit(place)


def test_the_page_suits_the_selection(panel: PropertiesPanel, session: Session, named: Named) -> None:
    hoop = named("Hoop")
    for ids, page in (
        ((), panel.job),
        ((hoop,), panel.tube),
        (session.layout.tubes[hoop].nodes[:1], panel.node),
        ((named("box"),), panel.panel),
        ((named("Crate"),), panel.body),
        ((hoop, named("Brace")), panel.many),
    ):
        session.select(ids)
        assert panel.page is page
        assert page.isVisible()


def test_nothing_is_wider_than_the_dock(panel: PropertiesPanel, session: Session, named: Named) -> None:
    hoop = named("Hoop")
    for ids in ((), (hoop,), session.layout.tubes[hoop].nodes[:1], (named("box"),), (hoop, named("Brace"))):
        session.select(ids)
        for units in (MILLIMETRES, INCH_FRACTIONS):
            panel.set_units(units)
            assert panel.page.minimumSizeHint().width() <= panel.viewport().width()


def test_a_tubes_numbers_are_those_of_the_schedule(
    panel: PropertiesPanel, session: Session, named: Named
) -> None:
    session.select((named("Hoop"),))
    record = schedule.record(session.layout, session.layout.tubes[named("Hoop")])
    assert panel.tube.length.text() == format_length(record.centreline, MILLIMETRES)
    assert panel.tube.blank.text() == f"{math.ceil(record.blank - 1e-6)} mm"
    assert panel.tube.bends.rowCount() == len(record.bends) == 2


def test_a_tubes_clearance_is_that_of_the_report(
    panel: PropertiesPanel, session: Session, named: Named
) -> None:
    session.select((named("Hoop"),))
    report = findings.check_layout(session.layout)
    panel.show_report(report)
    near = report.nearest[named("Hoop")]
    assert format_length(near.clearance, MILLIMETRES) in panel.tube.nearest.text()
    assert panel.tube.nearest_panel.text().startswith("to box, ")


def test_a_tube_that_cuts_in_bears_the_sign_of_an_error(
    panel: PropertiesPanel, session: Session, named: Named
) -> None:
    hoop = named("Hoop")
    session.apply("In", lambda now: edits.move_nodes(now, now.tubes[hoop].nodes, (0.0, -55.0, 0.0)))
    session.select((hoop,))
    report = findings.check_layout(session.layout)
    panel.show_report(report)
    assert report.nearest[hoop].clearance < 0.0
    assert panel.tube.nearest.text().startswith("✖ -")
    assert panel.tube.nearest_panel.text() == "cuts into box"
    assert nearest_texts(report, session.layout, MILLIMETRES)[hoop].startswith("✖ -")


def test_a_corner_tells_its_angle_and_radius_apart(
    panel: PropertiesPanel, session: Session, named: Named
) -> None:
    start, corner = session.layout.tubes[named("Hoop")].nodes[:2]
    session.select((corner,))
    assert panel.node.bend.text() == "90.0°"
    assert panel.node.clr.text() == "114.3 mm"
    session.select((start,))
    assert panel.node.bend.text() == "none"
    assert not panel.node.clr.isVisible()


def test_nodes_alone_have_no_length_and_mass_to_be_summed(
    panel: PropertiesPanel, session: Session, named: Named
) -> None:
    def words() -> set[str]:
        return {label.text() for label in panel.many.findChildren(QLabel) if label.isVisible()}

    session.select(session.layout.tubes[named("Hoop")].nodes)
    assert not words() & {"Centreline", "Mass", "Stock"}
    session.select((named("Hoop"), named("Brace")))
    assert {"Centreline", "Mass", "Stock"} <= words()


def test_a_cell_chosen_in_one_tubes_table_is_not_chosen_in_the_next(
    panel: PropertiesPanel, session: Session, named: Named
) -> None:
    session.select((named("Hoop"),))
    panel.tube.corners.setCurrentCell(1, 2)
    session.apply("Move", lambda now: edits.move_nodes(now, now.tubes[named("Hoop")].nodes, (0, 0, 5.0)))
    assert len(panel.tube.corners.selectedItems()) == 1
    session.select((named("Brace"),))
    assert panel.tube.corners.selectedItems() == []


def test_no_turn_of_a_bend_is_cut_off(panel: PropertiesPanel, session: Session, named: Named) -> None:
    points = [(0.0, 900.0, 0.0), (0.0, 900.0, 900.0), (-900.0, 900.0, 950.0), (-1800.0, 1500.0, 600.0)]
    session.apply("Lay", lambda now: edits.add_tube(now, points, next(iter(now.stocks)), "Bent")[0])
    session.select((named("Bent"),))
    table = panel.tube.bends
    cell = table.item(1, 2)
    assert cell.text().endswith("cw")
    widest = table.fontMetrics().horizontalAdvance("179.9° ccw")
    cell.setText("179.9° ccw")
    assert table.columnWidth(2) > widest


def test_the_numbers_follow_a_drag(
    qtbot: QtBot, panel: PropertiesPanel, session: Session, named: Named
) -> None:
    session.select((named("Hoop"),))
    node = session.layout.tubes[named("Hoop")].nodes[0]
    session.preview(edits.move_nodes(session.layout, (node,), (0.0, 0.0, -50.0)))
    line = centreline.of(session.layout, session.layout.tubes[named("Hoop")])
    qtbot.waitUntil(lambda: panel.tube.length.text() == format_length(line.length, MILLIMETRES))
    session.cancel()


def test_the_blank_is_pale_under_the_hand_and_right_when_it_rests(
    qtbot: QtBot, panel: PropertiesPanel, session: Session, named: Named
) -> None:
    hoop = named("Hoop")
    session.select((hoop,))
    node = session.layout.tubes[hoop].nodes[0]
    session.preview(edits.move_nodes(session.layout, (node,), (0.0, 0.0, 300.0)))
    panel._refresh()
    assert not panel.tube.blank.isEnabled()
    record = schedule.record(session.layout, session.layout.tubes[hoop])
    qtbot.waitUntil(panel.tube.blank.isEnabled)
    assert panel.tube.blank.text() == f"{math.ceil(record.blank - 1e-6)} mm"
    session.cancel()
    assert panel.tube.blank.isEnabled()
    record = schedule.record(session.layout, session.layout.tubes[hoop])
    assert panel.tube.blank.text() == f"{math.ceil(record.blank - 1e-6)} mm"


def test_a_coordinate_typed_in_the_table_moves_the_node(
    panel: PropertiesPanel, session: Session, named: Named
) -> None:
    session.select((named("Hoop"),))
    node = session.layout.tubes[named("Hoop")].nodes[1]
    cell = panel.tube.corners.item(1, 3)
    assert cell is not None
    cell.setText("1300")
    assert session.layout.nodes[node].position == (0.0, 760.0, 1300.0)
    assert session.undo_stack.undoText() == "Move node"


def test_tab_walks_through_the_coordinates(
    qtbot: QtBot, panel: PropertiesPanel, session: Session, named: Named
) -> None:
    session.select((named("Hoop"),))
    node = session.layout.tubes[named("Hoop")].nodes[1]
    table = panel.tube.corners
    panel.activateWindow()
    qtbot.waitUntil(panel.isActiveWindow)
    table.setFocus()
    table.setCurrentCell(1, 1)
    table.editItem(table.item(1, 1))
    for text in ("40", "800", "1300"):
        editor = QApplication.focusWidget()
        assert isinstance(editor, QLineEdit)
        editor.selectAll()
        qtbot.keyClicks(editor, text)
        qtbot.keyClick(editor, Qt.Key.Key_Tab)
    assert session.layout.nodes[node].position == (40.0, 800.0, 1300.0)


def test_nonsense_in_the_table_is_refused_with_a_sentence(
    qtbot: QtBot, panel: PropertiesPanel, session: Session, named: Named
) -> None:
    session.select((named("Hoop"),))
    cell = panel.tube.corners.item(1, 3)
    assert cell is not None
    with qtbot.waitSignal(session.refused) as refused:
        cell.setText("high")
    assert "high" in refused.args[0]
    shown = panel.tube.corners.item(1, 3)
    assert shown is not None
    assert shown.text() == "1260.0"


def test_stock_and_die_are_chosen_from_the_rack(
    panel: PropertiesPanel, session: Session, named: Named
) -> None:
    hoop = named("Hoop")
    session.select((hoop,))
    box = panel.tube.stock
    last = box.count() - 1
    box.setCurrentIndex(last)
    box.activated.emit(last)
    assert session.layout.tubes[hoop].stock == box.itemData(last)
    session.undo()
    assert session.layout.tubes[hoop].stock == box.itemData(0)
    assert box.currentIndex() == 0


def test_an_allowance_left_empty_is_the_limits(
    qtbot: QtBot, panel: PropertiesPanel, session: Session, named: Named
) -> None:
    hoop = named("Hoop")
    session.select((hoop,))
    start = panel.tube.allowances[0]
    enter(qtbot, start, "60")
    assert session.layout.tubes[hoop].start_allowance == 60.0
    start.selectAll()
    qtbot.keyClick(start, Qt.Key.Key_Delete)
    qtbot.keyClick(start, Qt.Key.Key_Return)
    assert session.layout.tubes[hoop].start_allowance is None


def test_a_node_moves_to_what_is_typed(
    qtbot: QtBot, panel: PropertiesPanel, session: Session, named: Named
) -> None:
    node = session.layout.tubes[named("Hoop")].nodes[0]
    session.select((node,))
    enter(qtbot, panel.node.place[0], "4 in")
    assert session.layout.nodes[node].position == pytest.approx((101.6, 760.0, 300.0))


def test_a_leg_takes_the_length_that_is_typed(
    qtbot: QtBot, panel: PropertiesPanel, session: Session, named: Named
) -> None:
    start, corner = session.layout.tubes[named("Hoop")].nodes[:2]
    session.select((start,))
    enter(qtbot, panel.node.after, "1000")
    nodes = session.layout.nodes
    assert distance(nodes[start].position, nodes[corner].position) == pytest.approx(1000.0)
    assert nodes[corner].position == (0.0, 760.0, 1260.0)


def test_a_landing_slides_to_the_station_that_is_typed(
    qtbot: QtBot, panel: PropertiesPanel, session: Session, named: Named
) -> None:
    node = session.layout.tubes[named("Brace")].nodes[0]
    session.select((node,))
    assert "Sits on Hoop" in panel.node.joint.text()
    enter(qtbot, panel.node.station, "500")
    landing = session.layout.nodes[node].landing
    assert landing is not None
    assert landing.station == pytest.approx(500.0)


def test_the_place_of_a_node_is_said_in_words(panel: PropertiesPanel, session: Session, named: Named) -> None:
    session.select(session.layout.tubes[named("Hoop")].nodes[3:])
    assert "760.0 mm right of the centre plane" in panel.node.where.text()


@pytest.mark.parametrize("name", ["x", "leg", "station", "gap"])
def test_a_number_that_is_typed_while_its_node_goes_is_forgotten(
    qtbot: QtBot, panel: PropertiesPanel, session: Session, named: Named, name: str
) -> None:
    node = session.layout.tubes[named("Brace")].nodes[0 if name == "station" else 1]
    session.select((node,))
    page = panel.node
    field = {"x": page.place[0], "leg": page.before, "station": page.station, "gap": page.kept_gap}[name]
    field.setFocus()
    field.selectAll()
    qtbot.keyClicks(field, "500")
    session.apply("Delete", lambda now: edits.delete(now, (named("Brace"),)))
    after = session.layout
    field.finish()
    assert session.layout is after


def test_an_allowance_that_is_typed_while_its_tube_goes_is_forgotten(
    qtbot: QtBot, panel: PropertiesPanel, session: Session, named: Named
) -> None:
    session.select((named("Brace"),))
    field = panel.tube.allowances[1]
    field.setFocus()
    field.selectAll()
    qtbot.keyClicks(field, "20")
    session.apply("Delete", lambda now: edits.delete(now, (named("Brace"),)))
    after = session.layout
    field.finish()
    assert session.layout is after


def test_the_height_of_a_node_is_said_from_the_ground_that_the_tyres_stand_on(
    panel: PropertiesPanel, session: Session, named: Named
) -> None:
    node = session.layout.tubes[named("Hoop")].nodes[0]
    session.select((node,))
    z = session.layout.nodes[node].position[2]
    added, axle = axles.add(session.layout)
    lifted = axles.change(added, axle, height=added.axles[axle].height - 60.0)
    session.commit("Fit taller tyres", lifted)
    assert panel.node.place[2].value == z
    assert f"{format_length(z + 60.0, MILLIMETRES)} above the ground" in panel.node.where.text()


def test_several_tubes_take_one_stock_in_one_step(
    panel: PropertiesPanel, session: Session, named: Named
) -> None:
    both = (named("Hoop"), named("Brace"))
    session.select(both)
    box = panel.many.stock
    box.setCurrentIndex(1)
    box.activated.emit(1)
    assert {session.layout.tubes[id].stock for id in both} == {box.itemData(1)}
    assert session.undo_stack.count() == 1


def test_several_nodes_are_aligned_by_typing_once(
    qtbot: QtBot, panel: PropertiesPanel, session: Session, named: Named
) -> None:
    nodes = session.layout.tubes[named("Hoop")].nodes
    session.select(nodes)
    assert panel.many.place[2].text() == ""
    enter(qtbot, panel.many.place[0], "25")
    assert {session.layout.nodes[id].position[0] for id in nodes} == {25.0}
    assert session.undo_stack.count() == 1


def test_moving_by_a_length_moves_everything_chosen(
    qtbot: QtBot, panel: PropertiesPanel, session: Session, named: Named
) -> None:
    session.select((named("Hoop"), named("Brace")))
    enter(qtbot, panel.many.shift[2], "50")
    first = session.layout.tubes[named("Hoop")].nodes[0]
    assert session.layout.nodes[first].position == (0.0, 760.0, 350.0)
    assert panel.many.shift[2].value == 0.0


def test_a_panel_is_left_out_hidden_and_coloured(
    panel: PropertiesPanel, session: Session, named: Named
) -> None:
    seat = named("seat")
    session.select((seat,))
    panel.panel.kept.click()
    panel.panel.shown.click()
    panel.panel.colour.setCurrentIndex(2)
    panel.panel.colour.activated.emit(2)
    now = session.layout.panels[seat]
    assert (now.kept, now.shown, now.colour) == (False, False, panel.panel.colour.itemData(2))
    for _ in range(3):
        session.undo()
    assert session.layout.panels[seat].kept


def test_the_size_of_the_body_counts_kept_panels_only(
    panel: PropertiesPanel, session: Session, named: Named
) -> None:
    assert "2000.0 mm long, 1400.0 mm wide, top 1200.0 mm above the ground" in panel.job.size_words.text()
    session.apply("Leave out", lambda now: edits.set_panel(now, named("box"), kept=False))
    assert "1000.0 mm long, 700.0 mm wide, top 600.0 mm above the ground" in panel.job.size_words.text()


def test_the_standoff_for_new_nodes_is_typed_with_nothing_selected(
    qtbot: QtBot, panel: PropertiesPanel, session: Session
) -> None:
    enter(qtbot, panel.job.standoff, "1 in")
    assert session.layout.limits.standoff_wanted == pytest.approx(25.4)


def test_an_empty_job_says_what_to_do_first(qtbot: QtBot) -> None:
    session = Session(rack.with_starting_rack(replace(Session().layout)))
    panel = PropertiesPanel(session, MILLIMETRES)
    qtbot.addWidget(panel)
    assert "Bring in a body" in panel.job.next.text()


def test_the_blank_says_what_it_has_more_than_the_tube(
    panel: PropertiesPanel, session: Session, named: Named
) -> None:
    session.select((named("Hoop"),))
    record = schedule.record(session.layout, session.layout.tubes[named("Hoop")])
    words = panel.tube.blank_parts.text()
    first, last = (float(part.split()[0]) for part in words.split(", "))
    assert first + record.centreline + last == pytest.approx(record.blank, abs=0.11)
    stretched = replace(record, stretch=4.14)
    assert wording.blank_words(stretched, MILLIMETRES) == f"{words}, −4.1 stretch"


def test_each_end_is_cut_before_or_after_bending(
    panel: PropertiesPanel, session: Session, named: Named
) -> None:
    hoop = named("Hoop")
    session.select((hoop,))
    start, end = panel.tube.cuts
    assert (start.currentText(), end.currentText()) == ("after bending", "after bending")
    choose(end, "before bending")
    assert session.layout.tubes[hoop].start_cut == "after"
    assert session.layout.tubes[hoop].end_cut == "before"
    assert not panel.tube.allowances[1].isEnabled()
    assert panel.tube.allowances[1].placeholderText() == "0.0 mm"
    assert session.undo_stack.undoText() == "Set cuts"
    session.undo()
    assert end.currentText() == "after bending"


def test_bending_begins_where_the_person_says(panel: PropertiesPanel, session: Session, named: Named) -> None:
    hoop = named("Hoop")
    session.select((hoop,))
    assert panel.tube.bend_from.currentText().startswith("best: the ")
    choose(panel.tube.bend_from, "the end")
    assert session.layout.tubes[hoop].bend_from == "end"
    assert panel.tube.bend_from.itemText(0) == "best"


def test_the_bends_stand_in_the_order_of_bending(
    panel: PropertiesPanel, session: Session, named: Named
) -> None:
    hoop = named("Hoop")
    session.select((hoop,))
    session.apply("End", lambda now: edits.set_bend_from(now, (hoop,), "end"))
    record = schedule.record(session.layout, session.layout.tubes[hoop])
    numbers = [panel.tube.bends.item(row, 0).text() for row in range(panel.tube.bends.rowCount())]
    assert numbers == [str(step.bend) for step in record.plan.steps]
    straight = panel.tube.bends.item(0, 1).text()
    ahead = record.last_straight if record.plan.steps[0].leads == "end" else record.bends[0].straight_before
    assert straight == format_length(ahead, MILLIMETRES, unit=False)
    assert "Mark " in panel.tube.bends.item(0, 1).toolTip()


def test_a_die_without_trial_bends_is_geometry_only_and_the_wall_an_estimate(
    qtbot: QtBot, panel: PropertiesPanel, session: Session, named: Named
) -> None:
    session.select((named("Hoop"),))
    assert "geometry only" in panel.tube.trials.text()
    assert "estimate" in panel.tube.wall.text()
    with qtbot.waitSignal(panel.command_wanted) as wanted:
        panel.tube.trials.click()
    assert wanted.args == ["trial_bends"]
    session.select((named("Brace"),))
    assert not panel.tube.trials.isVisible()


def test_a_joint_of_two_ends_in_line_takes_a_sleeve(
    panel: PropertiesPanel, session: Session, named: Named
) -> None:
    hoop = named("Hoop")
    (corner,) = session.layout.tubes[hoop].nodes[1:2]
    session.select((corner,))
    assert not panel.node.sleeve.isVisible()
    session.apply("Split", lambda now: edits.split_tube(now, hoop, station=300.0)[0])
    joint = session.layout.tubes[hoop].nodes[-1]
    session.select((joint,))
    assert panel.node.sleeve.isVisible()
    panel.node.sleeve.click()
    assert session.layout.nodes[joint].sleeve
    assert session.undo_stack.undoText() == "Join over a sleeve"
    panel.node.sleeve.click()
    assert not session.layout.nodes[joint].sleeve


def test_panel_split_off_says_what_the_file_calls_the_whole(panel: PropertiesPanel, session: Session) -> None:
    name, id = next((panel.name, id) for id, panel in session.layout.panels.items())
    old = session.layout.panels[id]
    split = replace(old, name="left half", source=f"{name}#44#45")
    session.commit("Split", replace(session.layout, panels={**session.layout.panels, id: split}))
    session.select((id,))
    assert panel.panel.size_words.text().endswith(f"came as “{name}”.")
