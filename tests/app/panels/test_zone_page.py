"""The page of one access zone: typed numbers, purpose, what stands in it."""

import math

import pytest
from PySide6.QtWidgets import QLineEdit
from pytestqt.qtbot import QtBot

from app.panels.properties import PropertiesPanel
from app.panels.zone_page import ALL, ZonePage
from app.session import Session
from app.units import MILLIMETRES
from geometry import edits, zoning
from geometry.aids import BoxShape, ConeShape, Zone
from geometry.checks import findings
from geometry.zoning import Shape

BOX = BoxShape((0.0, 0.0, 5000.0), (200.0, 100.0, 60.0))
CONE = ConeShape((0.0, 900.0, 500.0), (0.0, 1200.0, 500.0), 60.0, 100.0)


@pytest.fixture
def panel(qtbot: QtBot, session: Session) -> PropertiesPanel:
    panel = PropertiesPanel(session, MILLIMETRES)
    qtbot.addWidget(panel)
    panel.resize(292, 900)
    panel.show()
    return panel


def page_of(panel: PropertiesPanel, session: Session, shape: Shape) -> ZonePage:
    layout, id = zoning.add_zone(session.layout, "filler nozzle", shape)
    session.commit("Keep free", layout)
    session.select((id,))
    assert panel.page is panel.zone
    return panel.zone


def only(session: Session) -> Zone:
    return next(iter(session.layout.zones.values()))


def type_into(field: QLineEdit, text: str) -> None:
    field.setText(text)
    field.editingFinished.emit()


def test_a_box_is_moved_sized_and_turned_by_typing(panel: PropertiesPanel, session: Session) -> None:
    page = page_of(panel, session, BOX)
    assert page.middle.isVisible()
    assert not page.start.isVisible()
    type_into(page.middle.fields[0], "-500")
    type_into(page.sides[2], "90")
    shape = only(session).shape
    assert isinstance(shape, BoxShape)
    assert shape.middle == (-500.0, 0.0, 5000.0)
    assert shape.size == (200.0, 100.0, 90.0)
    type_into(page.tilt, "0")
    type_into(page.azimuth, "90")
    turned = only(session).shape
    assert isinstance(turned, BoxShape)
    assert turned.turn[2] == pytest.approx((0.0, 1.0, 0.0))
    assert page.azimuth.value == pytest.approx(math.pi / 2.0)


def test_a_cone_is_carried_turned_and_sized_by_typing(panel: PropertiesPanel, session: Session) -> None:
    page = page_of(panel, session, CONE)
    assert not page.middle.isVisible()
    type_into(page.start.fields[2], "700")
    assert only(session).shape == ConeShape((0.0, 900.0, 700.0), (0.0, 1200.0, 700.0), 60.0, 100.0)
    type_into(page.length, "400")
    assert only(session).shape == ConeShape((0.0, 900.0, 700.0), (0.0, 1300.0, 700.0), 60.0, 100.0)
    type_into(page.end_radius, "0")
    type_into(page.end.fields[0], "250")
    assert only(session).shape == ConeShape((0.0, 900.0, 700.0), (250.0, 1300.0, 700.0), 60.0, 0.0)


def test_what_cannot_be_is_refused_and_the_old_number_comes_back(
    panel: PropertiesPanel, session: Session
) -> None:
    page = page_of(panel, session, BOX)
    refused: list[str] = []
    session.refused.connect(refused.append)
    type_into(page.sides[0], "0")
    assert "at least 1 mm" in refused[0]
    assert page.sides[0].value == 200.0
    assert only(session).shape == BOX


def test_the_purpose_is_chosen_and_its_source_is_said(panel: PropertiesPanel, session: Session) -> None:
    page = page_of(panel, session, BOX)
    page.purpose.setCurrentIndex(ALL.index("tow eye"))
    page.purpose.activated.emit(ALL.index("tow eye"))
    assert only(session).purpose == "tow eye"
    assert "assumed, no source" in page.source.text()


def test_it_says_which_tubes_stand_in_it(panel: PropertiesPanel, session: Session) -> None:
    stock = next(iter(session.layout.stocks))
    layout, _ = edits.add_tube(session.layout, [(-900.0, 0.0, 5000.0), (900.0, 0.0, 5000.0)], stock, "Rail")
    session.commit("Add tube", layout)
    page = page_of(panel, session, BOX)
    assert page.result.text() == "It is being checked."
    report, _ = findings.completed(session.layout, {}, {}, findings.check(session.layout, {}), lambda: True)
    panel.show_report(report)
    assert page.result.text().startswith("Rail by ")
    assert page.result.text().endswith(" mm in it.")
    gone, _ = findings.completed(
        layout, {}, {}, findings.check(edits.delete(layout, list(layout.tubes)), {}), lambda: True
    )
    panel.show_report(gone)
    assert page.result.text() == "No tube reaches into it."


def test_one_that_is_only_shown_cannot_be_changed_yet(panel: PropertiesPanel, session: Session) -> None:
    layout, id = zoning.add_zone(session.layout, "jack", CONE)
    session.preview(layout)
    session.select((id,))
    assert not panel.zone.isEnabled()
    session.commit("Keep free: Jack")
    assert panel.zone.isEnabled()


def test_hiding_is_a_step(panel: PropertiesPanel, session: Session) -> None:
    page = page_of(panel, session, CONE)
    page.shown.click()
    assert not only(session).shown
    assert session.undo_stack.undoText() == "Hide Filler nozzle"


def test_several_are_moved_together_by_a_typed_shift(panel: PropertiesPanel, session: Session) -> None:
    page_of(panel, session, CONE)
    layout, box = zoning.add_zone(session.layout, "other", BOX)
    session.commit("Keep free", layout)
    session.select(session.layout.zones)
    assert panel.page is panel.many
    assert panel.many.shift[2].isVisible()
    type_into(panel.many.shift[2], "50")
    assert session.layout.zones[box].shape == BoxShape((0.0, 0.0, 5050.0), BOX.size)
    assert session.layout.zones[box - 1].shape == ConeShape(
        (0.0, 900.0, 550.0), (0.0, 1200.0, 550.0), 60.0, 100.0
    )
    session.select(list(session.layout.panels))
    assert not panel.many.shift[2].isVisible()
    assert not panel.many.label_of(panel.many.shift[2]).isVisible()


@pytest.mark.parametrize("what", ["middle", "side", "azimuth", "start", "end", "length"])
def test_what_is_typed_while_its_zone_goes_is_forgotten(
    qtbot: QtBot, panel: PropertiesPanel, session: Session, what: str
) -> None:
    page = page_of(panel, session, CONE if what in ("start", "end", "length") else BOX)
    field = {
        "middle": page.middle.fields[0],
        "side": page.sides[0],
        "azimuth": page.azimuth,
        "start": page.start.fields[0],
        "end": page.end.fields[0],
        "length": page.length,
    }[what]
    field.setFocus()
    field.selectAll()
    qtbot.keyClicks(field, "30")
    session.apply("Delete", lambda now: edits.delete(now, tuple(now.zones)))
    after = session.layout
    field.finish()
    assert session.layout is after
