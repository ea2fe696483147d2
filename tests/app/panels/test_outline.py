"""The job list: it shows what there is, and selects and renames in both directions."""

from collections.abc import Callable

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QTreeWidgetItem
from pytestqt.qtbot import QtBot

from app.panels.outline import NAME, STATE, OutlinePanel
from app.session import Session
from app.units import INCHES, MILLIMETRES, format_length
from geometry import edits
from geometry.checks import findings

Named = Callable[[str], int]


@pytest.fixture
def panel(qtbot: QtBot, session: Session) -> OutlinePanel:
    panel = OutlinePanel(session, MILLIMETRES)
    qtbot.addWidget(panel)
    panel.show()
    return panel


def rows(panel: OutlinePanel) -> dict[str, QTreeWidgetItem]:
    return {item.text(NAME): item for item in panel._all_items()}


def test_every_body_panel_and_tube_has_a_row(panel: OutlinePanel) -> None:
    assert {"Crate", "box", "seat", "Tubes (2)", "Hoop", "Brace"} <= rows(panel).keys()


def test_a_tubes_nodes_stand_below_it_in_order(panel: OutlinePanel) -> None:
    hoop = rows(panel)["Hoop"]
    names = [hoop.child(row).text(NAME) for row in range(hoop.childCount())]
    assert names == ["start", "corner 1", "corner 2", "end"]


def test_selecting_rows_selects_in_the_session(panel: OutlinePanel, session: Session, named: Named) -> None:
    rows(panel)["Hoop"].setSelected(True)
    rows(panel)["seat"].setSelected(True)
    assert session.selection == {named("Hoop"), named("seat")}


def test_selecting_in_the_session_selects_rows(panel: OutlinePanel, session: Session, named: Named) -> None:
    session.select((named("Brace"),))
    assert [item.text(NAME) for item in panel.tree.selectedItems()] == ["Brace"]


def test_typing_a_name_is_one_undo_step(panel: OutlinePanel, session: Session, named: Named) -> None:
    id = named("Hoop")
    rows(panel)["Hoop"].setText(NAME, "Main hoop")
    assert session.layout.tubes[id].name == "Main hoop"
    assert session.undo_stack.undoText() == "Rename Hoop"
    session.undo()
    assert session.layout.tubes[id].name == "Hoop"
    assert "Hoop" in rows(panel)


def test_an_empty_name_is_put_back(panel: OutlinePanel, session: Session) -> None:
    rows(panel)["Hoop"].setText(NAME, "  ")
    assert "Hoop" in rows(panel)
    assert not session.undo_stack.canUndo()


def test_the_tick_hides_a_panel(panel: OutlinePanel, session: Session, named: Named) -> None:
    rows(panel)["seat"].setCheckState(NAME, Qt.CheckState.Unchecked)
    assert not session.layout.panels[named("seat")].shown
    assert session.undo_stack.undoText() == "Hide seat"


def test_a_panel_left_out_says_so(panel: OutlinePanel, session: Session, named: Named) -> None:
    session.apply("Leave out", lambda now: edits.set_panel(now, named("seat"), kept=False))
    assert rows(panel)["seat"].text(STATE) == "left out"


def test_moving_a_node_leaves_the_rows_alone(panel: OutlinePanel, session: Session, named: Named) -> None:
    before = rows(panel)["Hoop"]
    node = session.layout.tubes[named("Hoop")].nodes[1]
    session.preview(edits.move_nodes(session.layout, (node,), (0.0, 0.0, 30.0)))
    assert rows(panel)["Hoop"] is before
    session.cancel()


def test_what_is_open_stays_open_after_a_change(panel: OutlinePanel, session: Session, named: Named) -> None:
    rows(panel)["Hoop"].setExpanded(True)
    session.apply("Delete", lambda now: edits.delete(now, (named("Brace"),)))
    assert rows(panel)["Hoop"].isExpanded()
    assert "Brace" not in rows(panel)


def test_a_tube_shows_how_near_it_is(panel: OutlinePanel, session: Session, named: Named) -> None:
    report = findings.check_layout(session.layout)
    panel.show_report(report)
    metric = rows(panel)["Hoop"].text(STATE)
    near = report.nearest[named("Hoop")].clearance
    assert metric.split()[0] == format_length(near, MILLIMETRES, unit=False)
    panel.set_units(INCHES)
    assert rows(panel)["Hoop"].text(STATE) != metric


def test_a_double_click_asks_to_go_there(qtbot: QtBot, panel: OutlinePanel, named: Named) -> None:
    with qtbot.waitSignal(panel.fly_to_wanted) as asked:
        panel.tree.itemDoubleClicked.emit(rows(panel)["Brace"], NAME)
    assert asked.args == [frozenset((named("Brace"),))]


def test_a_node_never_shows_what_was_said_of_a_tube_of_a_preview(
    panel: OutlinePanel, session: Session, named: Named
) -> None:
    """A tube being laid takes the next free id; with one point more that id is a node's."""
    before, stock = session.layout, next(iter(session.layout.stocks))
    points = [(0.0, 900.0, 200.0), (0.0, 900.0, 800.0), (-500.0, 900.0, 900.0)]
    shorter, laid = edits.add_tube(before, points[:2], stock)
    session.preview(shorter)
    panel.show_report(findings.check_layout(shorter))
    longer, _ = edits.add_tube(before, points, stock)
    assert laid in longer.nodes
    session.preview(longer)
    assert [item.text(STATE) for item in panel._items[laid]] == [""]
    session.cancel()


def test_a_tube_opened_by_picking_its_node_in_the_view_folds_again(
    panel: OutlinePanel, session: Session, named: Named
) -> None:
    panel.tree.collapseItem(rows(panel)["Hoop"])
    panel.tree.collapseItem(rows(panel)["Brace"])
    panel.tree.clearFocus()
    session.select(session.layout.tubes[named("Hoop")].nodes[:1])
    assert rows(panel)["Hoop"].isExpanded()
    session.select(session.layout.tubes[named("Brace")].nodes[1:])
    assert not rows(panel)["Hoop"].isExpanded()
    assert rows(panel)["Brace"].isExpanded()
    session.select(())
    assert not rows(panel)["Brace"].isExpanded()


def test_a_tube_opened_by_hand_stays_open(panel: OutlinePanel, session: Session, named: Named) -> None:
    panel.tree.expandItem(rows(panel)["Hoop"])
    panel.tree.clearFocus()
    session.select(session.layout.tubes[named("Hoop")].nodes[:1])
    session.select(())
    assert rows(panel)["Hoop"].isExpanded()


def test_a_body_opened_by_picking_a_panel_in_the_view_folds_again(
    panel: OutlinePanel, session: Session, named: Named
) -> None:
    panel.tree.collapseItem(rows(panel)["Crate"])
    panel.tree.clearFocus()
    session.select((named("box"),))
    assert rows(panel)["Crate"].isExpanded()
    session.select((named("Hoop"),))
    assert not rows(panel)["Crate"].isExpanded()


def test_a_tube_far_from_every_panel_bears_the_sign_that_its_finding_has(
    panel: OutlinePanel, session: Session, named: Named
) -> None:
    far = edits.move_nodes(session.layout, session.layout.tubes[named("Hoop")].nodes, (0.0, 0.0, 5000.0))
    session.apply("Move", lambda now: far)
    report = findings.check_layout(session.layout)
    assert named("Hoop") not in report.nearest
    panel.show_report(report)
    assert rows(panel)["Hoop"].text(STATE) == "◇"
