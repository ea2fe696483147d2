"""The import step: one preview, one undo step, every guess shown and changed with one action."""

from functools import cache
from pathlib import Path

import numpy as np
import pytest
import trimesh
from msgspec.structs import replace
from PySide6.QtCore import Qt
from PySide6.QtWidgets import (
    QAbstractButton,
    QApplication,
    QComboBox,
    QLabel,
    QLineEdit,
    QScrollArea,
    QTreeWidget,
    QWidget,
)
from pytestqt.qtbot import QtBot

from app import theme
from app.panels.body_in import BodyInPanel
from app.session import Session
from app.units import INCH_FRACTIONS
from geometry import edits
from geometry.body import cleaning, mesh_files, placement, scan
from geometry.body.scan import Part, Scan

KEY = Qt.Key
PANEL_WIDTH = 320


@cache
def some_scan() -> Scan:
    """A body of 4.0 x 1.7 x 1.4 m in metres, a box on a longer box, and a plate beside it."""
    shapes = {
        "lower": trimesh.creation.box((4.0, 1.7, 0.8)).apply_translation((0, 0, 0.4)),
        "cabin": trimesh.creation.box((1.6, 1.5, 0.6)).apply_translation((-0.5, 0, 1.1)),
        "plate": trimesh.creation.box((0.4, 0.2, 0.1)).apply_translation((0, 1.5, 0.05)),
    }
    parts = []
    for name, shape in shapes.items():
        mesh, _ = cleaning.cleaned(np.array(shape.vertices), np.array(shape.faces))
        parts.append(Part(name, name, mesh))
    counts = cleaning.Cleaned(duplicate_faces=1, collapsed_faces=2)
    return scan._scan("van.obj", parts, mesh_files.MeshFile(()), counts)


@pytest.fixture
def session(qapp: object) -> Session:
    return Session()


@pytest.fixture
def panel(qtbot: QtBot, session: Session) -> BodyInPanel:
    panel = BodyInPanel(session)
    qtbot.addWidget(panel)
    panel.resize(PANEL_WIDTH, 900)
    panel.show()
    return panel


@pytest.fixture
def opened(panel: BodyInPanel) -> BodyInPanel:
    panel.bring_in(some_scan())
    return panel


def only_body(session: Session):  # type: ignore[no-untyped-def]
    (body,) = session.layout.bodies.values()
    return body


def type_into(qtbot: QtBot, field: QLineEdit, text: str) -> None:
    field.setFocus()
    field.selectAll()
    qtbot.keyClicks(field, text)
    qtbot.keyClick(field, KEY.Key_Return)


def test_the_body_is_previewed_at_once_and_nothing_is_recorded(opened: BodyInPanel, session: Session) -> None:
    assert session.is_previewing
    assert len(session.layout.panels) == 3
    assert not session.recorded.bodies
    assert not session.is_modified


def test_enter_accepts_everything_as_one_undo_step(
    qtbot: QtBot, opened: BodyInPanel, session: Session
) -> None:
    with qtbot.waitSignal(opened.accepted) as accepted:
        qtbot.keyClick(opened, KEY.Key_Return)
    assert accepted.args == [only_body(session).id]
    assert session.undo_stack.count() == 1
    assert session.undo_stack.undoText() == "Bring in body"
    assert not opened.is_open
    session.undo()
    assert not session.layout.bodies


def test_escape_leaves_the_job_as_it_was(qtbot: QtBot, opened: BodyInPanel, session: Session) -> None:
    before = session.recorded
    with qtbot.waitSignal(opened.cancelled):
        qtbot.keyClick(opened, KEY.Key_Escape)
    assert session.layout is before
    assert not session.is_previewing
    assert not opened.is_open


def test_enter_on_cancel_cancels(qtbot: QtBot, opened: BodyInPanel, session: Session) -> None:
    opened.back.setFocus()
    with qtbot.waitSignal(opened.cancelled):
        qtbot.keyClick(opened.back, KEY.Key_Return)
    assert not session.recorded.bodies


def test_size_unit_and_guesses_are_said(opened: BodyInPanel) -> None:
    assert opened.size_words.text() == "4000.0 mm long, 2450.0 mm wide, 1400.0 mm high"
    assert opened.read_as.text() == "Read as metres, guessed from the size."
    assert "Up and forward guessed" in opened.axes_words.text()
    assert opened.axle_words.text().startswith("A guess")
    assert opened.cleaned.text() == "Taken out: 1 duplicate face, 2 collapsed faces."


def test_sizes_follow_the_persons_unit(opened: BodyInPanel) -> None:
    opened.set_units(INCH_FRACTIONS)
    assert opened.size_words.text().startswith("157 1/2 in long")
    assert opened.sizes[0].text() == "157 1/2 in"
    assert opened.units.button(2).text() == "m\n13.1 ft"


def test_each_unit_button_says_how_long_the_body_would_be(opened: BodyInPanel) -> None:
    texts = [button.text() for button in opened.units.buttons()]
    assert texts == ["mm\n4 mm", "cm\n40 mm", "m\n4 m", "in\n0.1 m", "ft\n1.22 m"]
    assert opened.units.checkedId() == 2


def test_another_unit_is_one_click(qtbot: QtBot, opened: BodyInPanel, session: Session) -> None:
    qtbot.mouseClick(opened.units.button(4), Qt.MouseButton.LeftButton)
    assert only_body(session).unit == "ft"
    assert only_body(session).placement.scale == pytest.approx(304.8)
    assert opened.read_as.text() == "Read as feet, as chosen."
    assert "1.22 m long, which is not the size of a vehicle" in opened.warnings.text()
    qtbot.mouseClick(opened.units.button(2), Qt.MouseButton.LeftButton)
    assert not opened.warnings.isVisible()


def test_typing_one_true_size_scales_the_body(qtbot: QtBot, opened: BodyInPanel, session: Session) -> None:
    type_into(qtbot, opened.sizes[2], "1505")
    assert opened.reading is not None
    assert opened.reading.size == pytest.approx((4300.0, 2633.75, 1505.0))
    assert opened.is_open  # Enter in a field is not Enter for all
    assert "known length" in opened.read_as.text()
    assert opened.units.checkedId() == -1


def test_two_picked_points_and_their_true_distance_scale_the_body(
    qtbot: QtBot, opened: BodyInPanel, session: Session
) -> None:
    with qtbot.waitSignal(opened.pick_points_wanted) as wanted:
        opened.pick_two.click()
    assert wanted.args[0] == 2
    opened.take_points([(0.0, 0.0, 0.0), (1000.0, 0.0, 0.0)], [(2, 0), (2, 1)])
    assert "1000.0 mm now" in opened.between.text()
    type_into(qtbot, opened.true_length, "1100")
    assert only_body(session).placement.scale == pytest.approx(1100.0)
    opened.take_points([(0.0, 0.0, 0.0)], [(2, 0)])  # nothing is waited for any more


def test_field_for_the_true_distance_scrolls_into_sight(
    qtbot: QtBot, qapp: QApplication, opened: BodyInPanel
) -> None:
    area = QScrollArea(widgetResizable=True)
    qtbot.addWidget(area)
    area.setWidget(opened)
    area.resize(360, 300)
    area.show()
    opened.pick_two.click()
    area.verticalScrollBar().setValue(area.verticalScrollBar().maximum())
    opened.take_points([(0.0, 0.0, 0.0), (1000.0, 0.0, 0.0)])
    assert not opened.true_length.visibleRegion().isEmpty()
    area.takeWidget()


def test_escape_ends_the_picking_before_the_step(qtbot: QtBot, opened: BodyInPanel) -> None:
    opened.pick_two.click()
    with qtbot.waitSignal(opened.pick_points_wanted) as wanted:
        qtbot.keyClick(opened, KEY.Key_Escape)
    assert wanted.args == [0, ""]
    assert opened.is_open


def test_turning_end_for_end_is_one_click_and_twice_is_nothing(opened: BodyInPanel, session: Session) -> None:
    before = only_body(session)
    opened.turns["end for end"].click()
    assert only_body(session).forward != before.forward
    assert only_body(session).forward[1] == before.forward[1]
    opened.turns["end for end"].click()
    assert only_body(session).forward == before.forward
    assert opened.axes_words.text() == "As stated or chosen."


@pytest.mark.parametrize("name", ["quarter", "tip", "roll"])
def test_four_quarter_turns_are_nothing(opened: BodyInPanel, session: Session, name: str) -> None:
    before = only_body(session)
    seen = set()
    for _ in range(4):
        opened.turns[name].click()  # type: ignore[index]
        seen.add((only_body(session).up, only_body(session).forward))
    assert (only_body(session).up, only_body(session).forward) == (before.up, before.forward)
    assert len(seen) == 4


def test_quarter_turn_turns_the_nose_to_the_left(opened: BodyInPanel, session: Session) -> None:
    def nose() -> np.ndarray:
        turn = np.array(only_body(session).placement.turn)
        return turn @ first

    first = np.array(only_body(session).placement.turn)[0]
    assert nose().tolist() == [1, 0, 0]
    opened.turns["quarter"].click()
    assert nose().tolist() == [0, 1, 0]


def test_tip_turns_the_nose_down(opened: BodyInPanel, session: Session) -> None:
    first = np.array(only_body(session).placement.turn)[0]
    opened.turns["tip"].click()
    assert (np.array(only_body(session).placement.turn) @ first).tolist() == [0, 0, -1]


def test_turn_buttons_stay_under_the_pointer(opened: BodyInPanel) -> None:
    button = opened.turns["roll"]
    places = set()
    for name in ("roll", "quarter", "tip", "tip", "end for end"):
        opened.turns[name].click()
        opened.layout().activate()
        places.add(button.mapTo(opened, button.rect().topLeft()).y())
    assert len(places) == 1


def test_choosing_up_on_forwards_line_moves_forward_too(opened: BodyInPanel, session: Session) -> None:
    opened.forward.setCurrentText("+x")
    opened.forward.activated.emit(0)
    opened.up.setCurrentText("+x")
    opened.up.activated.emit(0)
    body = only_body(session)
    assert (body.up, body.forward) == ("+x", "+z")


def test_body_that_lies_askew_is_straightened_and_may_be_left_askew(
    opened: BodyInPanel, session: Session
) -> None:
    assert not opened.straighten.isVisible()
    opened.cancel()
    turn = np.array([[0.8, -0.6, 0.0], [0.6, 0.8, 0.0], [0.0, 0.0, 1.0]])
    straight = some_scan()
    parts = [
        Part(part.name, part.source, cleaning.frozen_mesh(part.mesh.vertices @ turn.T, part.mesh.triangles))
        for part in straight.parts[:2]
    ]
    opened.bring_in(scan._scan("askew.obj", parts, mesh_files.MeshFile(()), straight.cleaned))
    assert opened.straighten.isVisible()
    assert opened.straighten.isChecked()
    assert opened.reading is not None
    assert opened.reading.size == pytest.approx((4000.0, 1700.0, 1400.0), abs=1.0)
    assert "it is turned by 36.9° to stand straight" in opened.warnings.text()
    opened.straighten.click()
    assert not opened.straighten.isChecked()
    assert opened.reading.size[1] > 2500.0


def test_front_axle_is_typed_or_picked(qtbot: QtBot, opened: BodyInPanel, session: Session) -> None:
    type_into(qtbot, opened.axle, "800")
    body = only_body(session)
    assert scan.placed_bounds(session.layout, body.id)[1][0] == pytest.approx(800.0)
    opened.pick_axle.click()
    opened.take_points([(-150.0, 700.0, 300.0)], [(2, 0)])
    assert scan.placed_bounds(session.layout, body.id)[1][0] == pytest.approx(950.0)
    assert not opened.axle_words.isVisible()


def test_part_left_out_no_longer_counts(qtbot: QtBot, opened: BodyInPanel, session: Session) -> None:
    opened.parts.tree.topLevelItem(2).setCheckState(0, Qt.CheckState.Unchecked)
    assert opened.size_words.text().startswith("4000.0 mm long, 1700.0 mm wide")
    assert [panel.kept for panel in session.layout.panels.values()] == [True, True, False]


def test_last_part_cannot_be_left_out(opened: BodyInPanel, session: Session) -> None:
    opened.parts.tree.selectAll()
    opened.parts.kept.click()
    assert all(panel.kept for panel in session.layout.panels.values())


def test_parts_are_renamed_hidden_and_coloured(qtbot: QtBot, opened: BodyInPanel, session: Session) -> None:
    item = opened.parts.tree.topLevelItem(1)
    item.setText(0, "greenhouse")
    opened.parts.tree.setCurrentItem(item)
    opened.parts.shown.click()
    opened.parts.colour.setCurrentIndex(2)
    opened.parts.colour.activated.emit(2)
    panel = list(session.layout.panels.values())[1]
    assert (panel.name, panel.source, panel.shown, panel.kept) == ("greenhouse", "cabin", False, True)
    assert panel.colour == opened.parts.colour.itemData(2)
    assert item.text(1) == "hidden"


def test_name_that_is_taken_or_empty_is_not_taken_over(opened: BodyInPanel) -> None:
    item = opened.parts.tree.topLevelItem(1)
    for name in ("lower", "  "):
        item.setText(0, name)
        assert item.text(0) == "cabin"


def test_selecting_a_part_selects_its_panel(opened: BodyInPanel, session: Session) -> None:
    opened.parts.tree.setCurrentItem(opened.parts.tree.topLevelItem(1))
    (id,) = session.selection
    assert session.layout.panels[id].name == "cabin"


def test_second_file_may_stand_where_the_first_one_does(
    qtbot: QtBot, opened: BodyInPanel, session: Session
) -> None:
    assert not opened.like.isVisible()
    opened.turns["end for end"].click()
    opened.accept()
    first = only_body(session)
    opened.bring_in(some_scan())
    assert opened.like.isVisible()
    opened.like.click()
    second = next(body for body in session.layout.bodies.values() if body.id != first.id)
    assert second.placement == first.placement
    assert opened.read_as.text() == "Scaled as “van” is."
    opened.accept()
    assert len(session.recorded.bodies) == 2
    assert len(session.recorded.panels) == 6


def test_body_that_is_there_opens_as_it_stands_and_is_placed_anew(
    opened: BodyInPanel, session: Session
) -> None:
    opened.accept()
    body = only_body(session)
    meshes = [panel.mesh for panel in session.layout.panels.values()]
    opened.open_body(body.id)
    assert only_body(session).placement == body.placement
    assert opened.ok.text() == "Place"
    opened.units.button(3).click()
    opened.accept()
    assert only_body(session).unit == "in"
    assert session.undo_stack.undoText() == "Place body"
    assert all(a is b.mesh for a, b in zip(meshes, session.layout.panels.values(), strict=True))


def test_opening_a_body_and_accepting_changes_nothing(opened: BodyInPanel, session: Session) -> None:
    opened.centred.click()
    opened.accept()
    before = session.recorded
    opened.open_body(only_body(session).id)
    opened.accept()
    for id, panel in session.recorded.panels.items():
        assert panel is before.panels[id]
        assert np.array_equal(
            placement.panel_vertices(before, before.panels[id]),
            placement.panel_vertices(session.layout, panel),
        )


def test_next_file_while_one_is_judged_records_that_one(
    qtbot: QtBot, opened: BodyInPanel, session: Session
) -> None:
    with qtbot.assertNotEmitted(opened.accepted):
        opened.bring_in(some_scan())
    assert opened.is_open
    assert len(session.recorded.bodies) == 1
    assert len(session.layout.bodies) == 2


def test_what_is_recorded_meanwhile_stays_under_the_preview(opened: BodyInPanel, session: Session) -> None:
    session.apply("Rename job", lambda now: replace(now, name="cage"))
    assert session.is_previewing
    assert (session.layout.name, len(session.layout.panels)) == ("cage", 3)
    opened.accept()
    assert (session.recorded.name, len(session.recorded.panels)) == ("cage", 3)


def test_body_that_is_deleted_meanwhile_ends_the_step(
    qtbot: QtBot, opened: BodyInPanel, session: Session
) -> None:
    opened.accept()
    opened.open_body(only_body(session).id)
    with qtbot.waitSignal(opened.cancelled):
        session.apply("Delete", lambda now: replace(now, bodies={}, panels={}))
    assert not session.layout.bodies


def test_panel_that_is_deleted_meanwhile_ends_the_step(
    qtbot: QtBot, opened: BodyInPanel, session: Session
) -> None:
    opened.accept()
    opened.open_body(only_body(session).id)
    gone = next(iter(session.recorded.panels))
    with qtbot.waitSignal(opened.cancelled):
        session.apply("Delete", lambda now: edits.delete(now, (gone,)))
    assert gone not in session.layout.panels
    assert len(session.layout.panels) > 0


def test_another_job_ends_the_step(qtbot: QtBot, opened: BodyInPanel, session: Session) -> None:
    from geometry.layout import Layout

    with qtbot.waitSignal(opened.cancelled):
        session.open(Layout(name="other"), None)
    assert not opened.is_open
    assert session.layout.name == "other"


def test_real_mesh_comes_in(opened: BodyInPanel, session: Session, meshes: Path) -> None:
    opened.cancel()
    opened.bring_in(scan.read(meshes / "sedan_chassis_vis.obj"))
    assert opened.size_words.text() == "4889.5 mm long, 1849.1 mm wide, 1465.6 mm high"
    opened.accept()
    assert len(session.recorded.panels) == 12


# Reach and room


def controls(panel: QWidget) -> list[QWidget]:
    kinds = (QAbstractButton, QComboBox, QLineEdit, QTreeWidget)
    found = [widget for widget in panel.findChildren(QWidget) if isinstance(widget, kinds)]
    return [widget for widget in found if widget.isVisible() and widget.isEnabled()]


def test_tab_reaches_every_control(qtbot: QtBot, opened: BodyInPanel) -> None:
    opened.parts.tree.setCurrentItem(opened.parts.tree.topLevelItem(0))
    reached = set()
    widget = opened.nextInFocusChain()
    while widget is not opened and widget not in reached:
        if widget.focusPolicy() & Qt.FocusPolicy.TabFocus and widget.isVisible() and widget.isEnabled():
            reached.add(widget)
        widget = widget.nextInFocusChain()
    in_groups = set(opened.units.buttons())  # arrow keys go on within a group
    assert {widget for widget in controls(opened) if widget not in reached} <= in_groups


def test_every_control_has_a_name_and_says_what_it_does(opened: BodyInPanel) -> None:
    for widget in controls(opened):
        assert widget.toolTip()
        said = widget.accessibleName() or getattr(widget, "text", str)()
        assert said, widget


@pytest.mark.parametrize("dark", [False, True])
def test_nothing_is_clipped_at_320_pixels(qtbot: QtBot, qapp, panel: BodyInPanel, dark: bool) -> None:  # type: ignore[no-untyped-def]
    before = qapp.styleSheet()
    theme.apply(qapp, dark)
    try:
        area = QScrollArea()
        area.setWidgetResizable(True)
        area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        area.setWidget(panel)
        qtbot.addWidget(area)
        area.resize(PANEL_WIDTH, 500)
        area.show()
        panel.bring_in(some_scan())
        panel.accept()
        panel.bring_in(some_scan())
        panel.set_units(INCH_FRACTIONS)
        qtbot.wait(20)
        assert panel.width() <= area.viewport().width()
        for widget in [*controls(panel), *panel.findChildren(QLabel)]:
            if widget.isVisible():
                left = widget.mapTo(panel, widget.rect().topLeft()).x()
                assert left >= 0
                assert left + widget.width() <= panel.width()
        for button in (*panel.turns.values(), panel.ok, panel.back, panel.pick_two, panel.pick_axle):
            assert button.fontMetrics().horizontalAdvance(button.text()) < button.width() - 20
        for button in panel.units.buttons():
            widest = max(map(button.fontMetrics().horizontalAdvance, button.text().split("\n")))
            assert widest < button.width() - 4
    finally:
        qapp.setStyleSheet(before)
        panel.setParent(None)
