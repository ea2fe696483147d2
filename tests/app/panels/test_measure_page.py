"""The page of one measure."""

import pytest
from msgspec.structs import replace
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QPushButton
from pytestqt.qtbot import QtBot

from app.panels.properties import PropertiesPanel
from app.session import Session
from app.units import MILLIMETRES
from geometry import edits
from geometry.aids import Measure, MeasureKind, Spot, TubeSpot
from geometry.layout import Layout
from geometry.measuring import kept
from geometry.tube import centreline


@pytest.fixture
def properties(qtbot: QtBot, session: Session) -> PropertiesPanel:
    made = PropertiesPanel(session, MILLIMETRES)
    qtbot.addWidget(made)
    made.resize(300, 500)
    made.show()
    return made


def measured(session: Session, kind: MeasureKind, *spots: Spot) -> int:
    made: list[int] = []

    def with_it(layout: Layout) -> Layout:
        layout, id = kept.add(layout, kind, spots)
        made.append(id)
        return layout

    session.apply("Measure", with_it)
    session.select({made[0]})
    return made[0]


def test_a_selected_measure_shows_its_value_and_follows(
    properties: PropertiesPanel, session: Session
) -> None:
    tube = next(iter(session.layout.tubes))
    measured(session, "height", TubeSpot(tube, 100.0))
    page = properties.measure
    assert properties.page is page
    height = centreline.place_at(centreline.of(session.layout, session.layout.tubes[tube]), 100.0)[2]
    assert page.value.text() == f"{height:.1f} mm"
    assert page.between.text() == f"{session.layout.tubes[tube].name}."
    assert [name.text() for name, _ in page.parts if name.isVisible()] == ["Underside", "Top"]
    session.apply("Lift", lambda now: edits.move_nodes(now, now.nodes, (0.0, 0.0, 50.0)))
    assert page.value.text() == f"{height + 50.0:.1f} mm"


def test_a_new_name_is_one_step(properties: PropertiesPanel, session: Session) -> None:
    id = measured(session, "height", TubeSpot(next(iter(session.layout.tubes)), 100.0))
    properties.measure.name.setText("Sill height")
    properties.measure.name.editingFinished.emit()
    assert session.layout.measures[id].name == "Sill height"
    assert session.undo_stack.undoText() == "Rename Height 1"


def test_printing_is_switched(qtbot: QtBot, properties: PropertiesPanel, session: Session) -> None:
    id = measured(session, "height", TubeSpot(next(iter(session.layout.tubes)), 100.0))
    properties.measure.printed.click()
    assert not session.layout.measures[id].printed


def test_a_measure_without_a_value_says_why(properties: PropertiesPanel, session: Session) -> None:
    one = next(iter(session.layout.tubes))
    id = session.layout.next_id
    measure = Measure(id, "Gap 1", "gap", (TubeSpot(one, 10.0), TubeSpot(one, 20.0)))
    session.commit("Measure", replace(session.layout, next_id=id + 1, measures={id: measure}))
    session.select({id})
    assert properties.page is properties.measure
    assert properties.measure.value.text() == "—"
    assert "point at one tube and then at another" in properties.measure.kind.text()


def test_deleting_is_asked_of_the_window(qtbot: QtBot, properties: PropertiesPanel, session: Session) -> None:
    measured(session, "height", TubeSpot(next(iter(session.layout.tubes)), 100.0))
    button = properties.measure.findChild(QPushButton, "delete")
    with qtbot.waitSignal(properties.command_wanted) as told:
        qtbot.mouseClick(button, Qt.MouseButton.LeftButton)
    assert told.args == ["delete"]
