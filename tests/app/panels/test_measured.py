"""The step that makes a body from tape measurements, driven as a person would."""

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QLineEdit, QPushButton

from app.panels.measure_table import MeasureTable
from app.panels.measured import MeasuredPanel
from app.session import Session
from app.units import INCH_FRACTIONS, INCHES
from geometry.body import measured as tape
from geometry.layout import Layout

SHAPES = tape.shapes()
X, SILL_HALF, SILL, WAIST_HALF, WAIST, ROOF_HALF, ROOF = range(7)


@pytest.fixture
def session(qtbot):
    return Session()


@pytest.fixture
def panel(qtbot, session):
    made = MeasuredPanel(session)
    qtbot.addWidget(made)
    made.resize(320, 700)
    made.show()
    yield made
    made.cancel()


def write(table: MeasureTable, row: int, column: int, text: str) -> None:
    """Type into a cell with the keyboard, as far as the offscreen window goes."""
    table.setFocus()
    table.setCurrentCell(row, column)
    table.editItem(table.item(row, column))
    editor = next(field for field in table.findChildren(QLineEdit) if field.isVisible())
    editor.selectAll()
    QTest.keyClicks(editor, text)
    QTest.keyClick(editor, Qt.Key.Key_Return)
    QApplication.processEvents()


def body_of(layout: Layout):
    (body,) = layout.bodies.values()
    return body


def test_the_first_shape_is_seen_at_once_and_nothing_is_recorded(session, panel) -> None:
    assert session.is_previewing
    assert body_of(session.layout).measured == SHAPES["two-box"]
    assert not session.recorded.bodies


def test_a_typed_number_changes_the_body_in_the_view(session, panel) -> None:
    write(panel.stations, 3, ROOF, "1750")
    assert body_of(session.layout).measured.stations[3].roof_height == 1750.0
    top = max(panel.mesh.vertices[:, 2].max() for panel in session.layout.panels.values())
    assert top > 1740.0


def test_cells_take_fractions_of_inches(session, panel) -> None:
    panel.set_units(INCH_FRACTIONS)
    write(panel.stations, 3, ROOF, "68 1/2")
    assert body_of(session.layout).measured.stations[3].roof_height == pytest.approx(68.5 * 25.4)
    assert panel.stations.item(3, ROOF).text() == "68 1/2"


def test_changing_units_changes_no_number(panel) -> None:
    before = panel.measured
    for units in (INCHES, INCH_FRACTIONS):
        panel.set_units(units)
        assert panel.measured == before


def test_opening_and_leaving_a_cell_does_not_round_it(session, panel) -> None:
    write(panel.stations, 3, ROOF, "1700.04")
    write(panel.stations, 3, ROOF, "1700")
    assert panel.measured.stations[3].roof_height == 1700.04


def test_accept_is_one_undo_step(session, panel) -> None:
    write(panel.stations, 3, ROOF, "1700")
    panel.accept()
    assert session.undo_stack.count() == 1
    assert session.undo_stack.undoText() == "Bring in Measured body"
    assert body_of(session.recorded).measured.stations[3].roof_height == 1700.0
    session.undo()
    assert not session.layout.bodies


def test_cancel_leaves_the_job_as_it_was(session, panel) -> None:
    before = session.recorded
    write(panel.stations, 3, ROOF, "1700")
    panel.cancel()
    assert session.layout is before
    assert session.undo_stack.count() == 0


def test_a_number_that_makes_no_body_is_said_with_row_and_column(session, panel) -> None:
    good = session.layout
    write(panel.stations, 2, WAIST, "300")
    assert panel.problem.startswith("Row 3, height of the waist:")
    assert panel.problem.endswith(".")
    assert session.layout is good
    assert not panel.accept_button.isEnabled()
    assert panel.stations.item(2, WAIST).font().bold()
    panel.accept()
    assert not session.recorded.bodies
    write(panel.stations, 2, WAIST, "1040")
    assert panel.problem == ""
    assert panel.accept_button.isEnabled()


def test_text_that_is_no_length_stays_in_its_cell_and_is_said(session, panel) -> None:
    write(panel.arches, 1, 2, "about 400")
    assert panel.arches.item(1, 2).text() == "about 400"
    assert panel.problem.startswith("Wheel arch 2, radius: “about 400”")
    panel.stations.insert(1, panel.stations.things[0])
    panel.stations.remove(1)
    assert panel.arches.item(1, 2).text() == "about 400"
    write(panel.arches, 1, 2, "380")
    assert panel.problem == ""
    assert panel.measured.arches[1].radius == 380.0


def test_text_that_is_no_length_moves_with_its_row(panel) -> None:
    write(panel.stations, 3, ROOF, "high")
    panel.stations.setCurrentCell(0, 0)
    panel._on_add_station()
    assert panel.stations.item(4, ROOF).text() == "high"
    assert panel.problem.startswith("Row 5, height of the roof")


def test_an_added_place_lies_between_its_neighbours_and_changes_no_outline(session, panel) -> None:
    panel.stations.setCurrentCell(3, 0)
    panel._on_add_station()
    rows = panel.measured.stations
    assert len(rows) == 8
    assert rows[4].x == pytest.approx(0.5 * (rows[3].x + rows[5].x))
    assert rows[4].roof_height == pytest.approx(0.5 * (rows[3].roof_height + rows[5].roof_height))
    assert panel.problem == ""


def test_arches_and_doors_can_be_added_and_removed(session, panel) -> None:
    for remove in (panel.arches, panel.doors):
        while remove.things:
            remove.remove(0)
    assert panel.problem == ""
    names = {shown.name for shown in session.layout.panels.values()}
    assert not {"left door", "left front wheel arch"} & names
    panel._on_add_arch()
    panel._on_add_door()
    assert panel.problem == ""
    names = {shown.name for shown in session.layout.panels.values()}
    assert names >= {"left door", "left front wheel arch"}


def test_another_shape_keeps_what_was_typed_for_the_first(session, panel) -> None:
    write(panel.stations, 3, ROOF, "1700")
    panel.shape.setCurrentIndex(1)
    panel.shape.activated.emit(1)
    assert body_of(session.layout).measured == SHAPES["pick-up"]
    panel.shape.setCurrentIndex(0)
    panel.shape.activated.emit(0)
    assert panel.measured.stations[3].roof_height == 1700.0


def test_panels_that_did_not_change_stay_the_same_objects(session, panel) -> None:
    before = {shown.name: shown for shown in session.layout.panels.values()}
    write(panel.stations, 6, X, "-2960")
    after = {shown.name: shown for shown in session.layout.panels.values()}
    assert after["bonnet"] is before["bonnet"]
    assert after["tailgate"] is not before["tailgate"]


def test_measurements_of_a_body_in_the_job_can_be_changed(qtbot, session) -> None:
    layout, body, _ = tape.add_to(Layout(), SHAPES["pick-up"], "Yard truck")
    session.open(layout, None)
    panel = MeasuredPanel(session, body=body)
    qtbot.addWidget(panel)
    panel.show()
    assert panel.name.text() == "Yard truck"
    write(panel.stations, 3, ROOF, "1720")
    panel.accept()
    assert session.undo_stack.undoText() == "Change measurements of Yard truck"
    assert session.recorded.bodies[body].measured.stations[3].roof_height == 1720.0
    assert {shown.id for shown in session.recorded.panels.values()} == set(layout.panels)


def test_the_preview_comes_back_when_another_tool_ends_it(qtbot, session, panel) -> None:
    session.cancel()
    assert not session.layout.bodies
    qtbot.waitUntil(lambda: bool(session.layout.bodies), timeout=2000)


def test_opening_another_job_closes_the_step(qtbot, session, panel) -> None:
    with qtbot.waitSignal(panel.cancelled):
        session.open(Layout(name="Other"), None)
    QApplication.processEvents()
    assert not session.layout.bodies
    assert not session.is_previewing


def test_escape_cancels_and_control_enter_accepts(qtbot, session) -> None:
    for key, modifier, bodies in (
        (Qt.Key.Key_Escape, Qt.KeyboardModifier.NoModifier, 0),
        (Qt.Key.Key_Return, Qt.KeyboardModifier.ControlModifier, 1),
    ):
        panel = MeasuredPanel(session)
        qtbot.addWidget(panel)
        panel.show()
        QTest.keyClick(panel.stations, key, modifier)
        assert len(session.recorded.bodies) == bodies


def test_cell_has_room_for_a_fraction_while_it_is_typed(qapp, panel) -> None:
    for column in (0, ROOF):
        panel.stations.setCurrentCell(2, column)
        panel.stations.editItem(panel.stations.item(2, column))
        qapp.processEvents()
        editor = next(field for field in panel.stations.findChildren(QLineEdit) if field.isVisible())
        assert editor.width() > editor.fontMetrics().horizontalAdvance("166 11/16 in")
        assert editor.x() >= 0
        assert editor.geometry().right() < panel.stations.viewport().width()
        QTest.keyClick(editor, Qt.Key.Key_Escape)
        qapp.processEvents()


def test_number_with_a_decimal_is_not_cut_off(qapp, panel) -> None:
    panel.resize(372, 700)  # as wide as a step is at first
    qapp.processEvents()
    write(panel.stations, 2, ROOF, "66 3/4 in")
    item = panel.stations.item(2, ROOF)
    assert item.text() == "1695.5"
    text = panel.stations.fontMetrics().horizontalAdvance(item.text())
    assert text + 8 <= panel.stations.visualItemRect(item).width()


def test_enter_presses_a_button_and_accepts_nothing(qtbot, session, panel) -> None:
    add = next(one for one in panel.findChildren(QPushButton) if one.accessibleName() == "Add a door")
    for widget in (add, panel.name):
        widget.setFocus()
        qtbot.keyClick(widget, Qt.Key.Key_Return)
    assert len(panel.doors.things) == 2
    assert not session.recorded.bodies
    panel.cancel_button.setFocus()
    qtbot.keyClick(panel.cancel_button, Qt.Key.Key_Return)
    assert not session.is_previewing


def test_every_part_can_be_reached_with_tab(qtbot, panel) -> None:
    stops = []
    widget = panel
    for _ in range(200):
        widget = widget.nextInFocusChain()
        if widget.focusPolicy() & Qt.FocusPolicy.TabFocus and panel.isAncestorOf(widget):
            stops.append(widget)
    for wanted in (
        panel.shape,
        panel.name,
        panel.stations,
        panel.arches,
        panel.doors,
        panel.accept_button,
        panel.cancel_button,
    ):
        assert wanted in stops


def test_no_table_is_wider_than_a_narrow_panel(panel) -> None:
    for table in (panel.stations, panel.arches, panel.doors):
        assert table.horizontalScrollBar().maximum() == 0
        assert table.verticalScrollBar().maximum() == 0
