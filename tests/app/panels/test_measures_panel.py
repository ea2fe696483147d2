"""Sizes and measures in their tab: what stands there, and that list and selection go together."""

import pytest
from msgspec.structs import replace
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

from app.panels.measures_panel import MEASURE, MORE, NAME, NOTHING_THERE, VALUE, MeasuresPanel
from app.session import Session
from app.units import INCHES, MILLIMETRES
from geometry import axles, edits
from geometry.aids import TubeSpot
from geometry.layout import Layout
from geometry.measuring import kept, sizes


@pytest.fixture
def panel(qtbot: QtBot, session: Session) -> MeasuresPanel:
    panel = MeasuresPanel(session, MILLIMETRES)
    qtbot.addWidget(panel)
    panel.resize(760, 220)
    panel.show()
    return panel


def measure_height(session: Session, station: float = 100.0) -> int:
    tube = next(iter(session.layout.tubes))
    made: list[int] = []

    def measured(layout: Layout) -> Layout:
        layout, id = kept.add(layout, "height", (TubeSpot(tube, station),))
        made.append(id)
        return layout

    session.apply("Measure height", measured)
    return made[0]


def size_texts(panel: MeasuresPanel) -> dict[str, list[str]]:
    rows = [panel.sizes.topLevelItem(number) for number in range(panel.sizes.topLevelItemCount())]
    return {row.text(0): [row.text(column) for column in range(1, 5)] for row in rows}


def names(panel: MeasuresPanel) -> list[str]:
    return [panel.list.topLevelItem(row).text(NAME) for row in range(panel.list.topLevelItemCount())]


def test_sizes_are_those_of_the_layout_with_and_without_the_cage(
    panel: MeasuresPanel, session: Session
) -> None:
    found = sizes.of(session.layout)
    texts = size_texts(panel)
    assert texts["Width"][:3] == [f"{size.width:.1f}" for size in (found.body, found.cage, found.both)]
    assert texts["Height"][3] == "—"
    assert "Approach" not in texts
    assert "two axles" in panel.note.text()


def test_two_axles_bring_the_angles(qtbot: QtBot, panel: MeasuresPanel, session: Session) -> None:
    for _ in range(2):
        session.apply("Add axle", lambda layout: axles.add(layout)[0])
    qtbot.waitUntil(lambda: "Breakover" in size_texts(panel))
    bare, _, caged, _ = size_texts(panel)["Approach"]
    assert bare.endswith("°") or bare == "nothing in the way"
    assert caged
    assert panel.note.isHidden()


def test_nothing_at_all_says_what_to_do(qtbot: QtBot) -> None:
    panel = MeasuresPanel(Session(), MILLIMETRES)
    qtbot.addWidget(panel)
    panel.show()
    assert panel.note.text() == NOTHING_THERE
    assert panel.sizes.isHidden()
    assert panel.empty.isVisible()
    assert "Nothing is measured yet" in panel.empty.text()


def test_a_measure_has_a_row_that_follows_the_cage(
    qtbot: QtBot, panel: MeasuresPanel, session: Session
) -> None:
    measure_height(session)
    qtbot.waitUntil(lambda: names(panel) == ["Height 1"])
    before = panel.list.topLevelItem(0).text(VALUE)
    assert "underside" in panel.list.topLevelItem(0).text(MORE)
    session.apply("Lift", lambda now: edits.move_nodes(now, now.nodes, (0.0, 0.0, 111.0)))
    qtbot.waitUntil(lambda: panel.list.topLevelItem(0).text(VALUE) != before)
    assert float(panel.list.topLevelItem(0).text(VALUE).split()[0]) == pytest.approx(
        float(before.split()[0]) + 111.0, abs=0.11
    )
    panel.set_units(INCHES)
    assert panel.list.topLevelItem(0).text(VALUE).endswith("in")
    assert panel.sizes.headerItem().text(0) == "in"


def test_row_and_measure_are_selected_together(qtbot: QtBot, panel: MeasuresPanel, session: Session) -> None:
    first, second = measure_height(session), measure_height(session, 200.0)
    qtbot.waitUntil(lambda: len(names(panel)) == 2)
    panel.list.setCurrentItem(panel.list.topLevelItem(1))
    assert session.selection == {second}
    session.select({first})
    assert [item.data(NAME, MEASURE) for item in panel.list.selectedItems()] == [first]


def test_the_tick_says_whether_it_is_printed_as_one_step(
    qtbot: QtBot, panel: MeasuresPanel, session: Session
) -> None:
    id = measure_height(session)
    qtbot.waitUntil(lambda: len(names(panel)) == 1)
    panel.list.topLevelItem(0).setCheckState(NAME, Qt.CheckState.Unchecked)
    assert not session.layout.measures[id].printed
    assert session.undo_stack.undoText() == "Leave Height 1 off the sheets"
    session.undo()
    qtbot.waitUntil(lambda: panel.list.topLevelItem(0).checkState(NAME) == Qt.CheckState.Checked)


def test_delete_takes_the_selected_rows(qtbot: QtBot, panel: MeasuresPanel, session: Session) -> None:
    measure_height(session)
    qtbot.waitUntil(lambda: len(names(panel)) == 1)
    panel.list.setCurrentItem(panel.list.topLevelItem(0))
    qtbot.keyClick(panel.list, Qt.Key.Key_Delete)
    assert not session.layout.measures
    assert session.undo_stack.undoText() == "Delete Height 1"
    qtbot.waitUntil(lambda: panel.empty.isVisible())


def test_a_kind_is_asked_for_by_its_button(qtbot: QtBot, panel: MeasuresPanel) -> None:
    with qtbot.waitSignal(panel.kind_wanted) as told:
        qtbot.mouseClick(panel.kinds["opening"], Qt.MouseButton.LeftButton)
    assert told.args == ["opening"]


def test_only_what_concerns_the_cage_is_worked_out_again(
    qtbot: QtBot, panel: MeasuresPanel, session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    for _ in range(2):
        session.apply("Add axle", lambda layout: axles.add(layout)[0])
    qtbot.waitUntil(lambda: "Breakover" in size_texts(panel))
    before = panel._bare
    session.apply("Lift", lambda now: edits.move_nodes(now, now.nodes, (0.0, 0.0, 10.0)))
    qtbot.wait(300)
    assert panel._bare is before
    changed = replace(session.layout, axles=dict(session.layout.axles))
    session.commit("Same again", changed)
    qtbot.waitUntil(lambda: panel._bare is not before)
