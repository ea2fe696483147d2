"""The numbers of an axle: typed, each one undo step; what its tyres need is said beside them."""

import math

import numpy as np
import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLineEdit
from pytestqt.qtbot import QtBot

from app.panels.axle_page import CHECKING, AxlePage
from app.panels.properties import PropertiesPanel
from app.session import Session
from app.units import INCH_FRACTIONS, MILLIMETRES, format_length
from geometry import axles
from geometry.body import distance
from geometry.checks import findings, tyres
from geometry.checks.findings import Report
from geometry.layout import Axle


@pytest.fixture
def panel(qtbot: QtBot, session: Session) -> PropertiesPanel:
    panel = PropertiesPanel(session, MILLIMETRES)
    qtbot.addWidget(panel)
    panel.resize(292, 900)
    panel.show()
    return panel


@pytest.fixture
def page(panel: PropertiesPanel, session: Session) -> AxlePage:
    layout, id = axles.add(session.layout)
    session.commit("Add axle", layout)
    session.select((id,))
    assert panel.page is panel.axle
    return panel.axle


def axle(session: Session) -> Axle:
    (one,) = session.layout.axles.values()
    return one


def enter(qtbot: QtBot, field: QLineEdit, text: str) -> None:
    field.setFocus()
    field.selectAll()
    qtbot.keyClicks(field, text) if text else qtbot.keyClick(field, Qt.Key.Key_Delete)
    qtbot.keyClick(field, Qt.Key.Key_Return)


def judged(session: Session, page: AxlePage) -> Report:
    """Check as the window's process does, and show the page what came of it."""
    layout = session.layout
    swept = tyres.envelopes(layout, {}, lambda: True)
    index = distance.build(layout)
    checked = findings.check(layout, index)
    report, _ = findings.completed(layout, index, swept, checked, lambda: True)
    page.show_envelopes(tyres.shown(layout, {key: one.mesh for key, one in swept.items()}))
    page.show_report(report)
    return report


@pytest.mark.parametrize(
    ("code", "od", "width", "said"),
    [
        (
            "33x12.50R15",
            838.2,
            317.5,
            "838.2 mm (33.000 in) high, 317.5 mm (12.500 in) wide and 228.6 mm (9.000 in)",
        ),
        (
            "285/75R16",
            833.9,
            285.0,
            "833.9 mm (32.831 in) high, 285.0 mm (11.220 in) wide and 213.8 mm (8.415 in)",
        ),
    ],
)
def test_a_size_code_is_one_step_and_its_meaning_is_said(
    qtbot: QtBot, page: AxlePage, session: Session, code: str, od: float, width: float, said: str
) -> None:
    hub = axle(session).height
    enter(qtbot, page.code, code)
    tyre = axle(session).tyre
    assert (tyre.code, tyre.od, tyre.width) == (code, pytest.approx(od), pytest.approx(width))
    assert axle(session).height == hub
    assert page.tyre_words.text() == f"{said} of sidewall."
    assert session.undo_stack.undoText() == "Fit tyre"
    session.undo()
    assert axle(session).tyre.code == axles.USUAL_TYRE
    assert page.code.text() == axles.USUAL_TYRE


def test_a_code_that_is_none_stays_to_be_mended_and_is_answered_in_words(
    qtbot: QtBot, page: AxlePage, session: Session
) -> None:
    before = session.layout
    enter(qtbot, page.code, "33x12.50")
    assert session.layout is before
    assert page.code.text() == "33x12.50"
    assert page.code.property("refused")
    assert page.code_words.isVisible()
    assert page.code_words.text().startswith("“33x12.50” is no tyre size: the rim diameter")
    page.refresh()
    assert page.code.text() == "33x12.50"
    enter(qtbot, page.code, "33x12.50R15")
    assert axle(session).tyre.code == "33x12.50R15"
    assert not page.code_words.isVisible()
    assert not page.code.property("refused")


def test_a_measured_size_counts_instead_of_the_code_on_the_same_rim(
    qtbot: QtBot, page: AxlePage, session: Session
) -> None:
    rim = axle(session).tyre.rim
    enter(qtbot, page.tyre_od, "32 1/2 in")
    tyre = axle(session).tyre
    assert (tyre.od, tyre.code, tyre.rim) == (pytest.approx(32.5 * 25.4), "", rim)
    assert page.code.text() == ""
    enter(qtbot, page.tyre_width, "300")
    assert axle(session).tyre.width == 300.0
    assert axle(session).tyre.shoulder == pytest.approx(36.0)


@pytest.mark.parametrize(
    ("name", "typed", "value", "step"),
    [
        ("x", "-50", -50.0, "Set position"),
        ("height", "400", 400.0, "Set hub height"),
        ("track", "60 in", 1524.0, "Set track"),
        ("offset", "-25", -25.0, "Set wheel offset"),
        ("bump", "90", 90.0, "Set bump"),
        ("droop", "0", 0.0, "Set droop"),
        ("roll", "8", math.radians(8.0), "Set roll"),
        ("roll_centre", "500", 500.0, "Set roll centre"),
        ("steer_inner", "35", math.radians(35.0), "Set inner wheel"),
        ("steer_outer", "28", math.radians(28.0), "Set outer wheel"),
        ("kingpin", "60", 60.0, "Set kingpin"),
        ("camber", "-1.5", math.radians(-1.5), "Set camber"),
    ],
)
def test_each_number_is_one_step(
    qtbot: QtBot, page: AxlePage, session: Session, name: str, typed: str, value: float, step: str
) -> None:
    steps = session.undo_stack.count()
    enter(qtbot, page.fields[name], typed)
    assert getattr(axle(session), name) == pytest.approx(value)
    assert (session.undo_stack.count(), session.undo_stack.undoText()) == (steps + 1, step)
    session.undo()
    assert page.fields[name].value == getattr(axle(session), name)


def test_roll_is_typed_as_an_angle_or_as_a_height_between_the_wheels(
    qtbot: QtBot, page: AxlePage, session: Session
) -> None:
    enter(qtbot, page.roll, "200")
    one = axle(session)
    assert math.sin(one.roll) * one.track == pytest.approx(200.0)
    enter(qtbot, page.fields["roll"], "5")
    assert page.roll.value == pytest.approx(math.sin(math.radians(5.0)) * one.track)


def test_the_roll_centre_may_be_left_to_the_hubs(qtbot: QtBot, page: AxlePage, session: Session) -> None:
    enter(qtbot, page.fields["roll_centre"], "500")
    enter(qtbot, page.fields["roll_centre"], "")
    assert axle(session).roll_centre is None
    assert page.fields["roll_centre"].placeholderText() == page.fields["height"].text()


def test_wheels_that_move_by_themselves_do_not_roll(page: AxlePage, session: Session) -> None:
    page.suspension.setCurrentIndex(1)
    page.suspension.activated.emit(1)
    assert axle(session).suspension == "independent"
    assert not page.roll.isVisible()
    assert not page.fields["roll_centre"].isVisible()


@pytest.mark.parametrize(
    ("name", "typed", "says"),
    [
        ("track", "100", "into each other"),
        ("steer_inner", "90", "Give an angle from"),
        ("bump", "-5", "Give it as 0 mm or more"),
    ],
)
def test_what_cannot_be_is_refused_in_words_and_put_back(
    qtbot: QtBot, page: AxlePage, session: Session, name: str, typed: str, says: str
) -> None:
    before = session.layout
    with qtbot.waitSignal(session.refused) as refused:
        enter(qtbot, page.fields[name], typed)
    assert says in refused.args[0]
    assert session.layout is before
    assert page.fields[name].value == getattr(axle(session), name)


def test_no_travel_at_all_is_refused(qtbot: QtBot, page: AxlePage, session: Session) -> None:
    enter(qtbot, page.fields["bump"], "0")
    with qtbot.waitSignal(session.refused) as refused:
        enter(qtbot, page.fields["droop"], "0")
    assert "has no travel" in refused.args[0]


def test_the_room_is_said_once_it_is_known_and_forgotten_with_each_change(
    qtbot: QtBot, page: AxlePage, session: Session
) -> None:
    assert page.room.text() == CHECKING
    report = judged(session, page)
    deepest = max(report.bites, key=lambda bite: bite.depth)
    tubes, panels = page.room.text().split("\n")
    assert session.layout.panels[deepest.panel].name in panels
    assert deepest.side in panels
    assert tubes.startswith("Tubes: ")
    space = next(iter(page._spaces.values())).mesh.vertices
    high = format_length(float(np.ptp(space[:, 2])), MILLIMETRES)
    assert page.space.text().endswith(f"wide and {high} high; the room asked for comes on top.")
    enter(qtbot, page.fields["x"], "-9000")
    assert page.room.text() == CHECKING
    assert not page.space.isVisible()
    judged(session, page)
    assert page.room.text() == "Tubes: all keep 25.0 mm or more.\nPanels: all keep 25.0 mm or more."


def test_another_axle_of_a_like_name_says_nothing_here(page: AxlePage, session: Session) -> None:
    first = axle(session).id
    layout = axles.change(session.layout, first, x=-9000.0)
    layout, second = axles.duplicate(layout, first)
    layout = axles.change(layout, second, x=0.0, name="Front axle 2")
    session.commit("Add another", layout)
    assert judged(session, page).bites
    assert page.room.text() == "Tubes: all keep 25.0 mm or more.\nPanels: all keep 25.0 mm or more."


def test_how_real_tyres_differ_is_said(qtbot: QtBot, page: AxlePage) -> None:
    enter(qtbot, page.code, "33x12.50R15")
    assert "8.4 mm to the radius and 4.8 mm to each side" in page.growth.text()
    assert "The 25.0 mm of room asked for" in page.growth.text()


def test_sliders_show_the_wheels_in_their_travel_without_changing_the_job(
    qtbot: QtBot, page: AxlePage, session: Session
) -> None:
    before = session.layout
    with qtbot.waitSignal(page.posed) as posed:
        page.poses[0].setValue(100)
    assert posed.args == [axle(session).id, (1.0, 0.0, 0.0)]
    page.poses[2].setValue(-50)
    assert page.pose_words.text() == "Shown: 100.0 mm up and steered 15.0° to the right."
    assert session.layout is before
    with qtbot.waitSignal(page.posed):
        session.select(())
    assert page.pose == (0.0, 0.0, 0.0)


def test_nothing_is_wider_than_the_dock(panel: PropertiesPanel, page: AxlePage) -> None:
    for units in (MILLIMETRES, INCH_FRACTIONS):
        panel.set_units(units)
        assert page.minimumSizeHint().width() <= panel.viewport().width()


def test_the_height_of_the_roll_has_a_name_of_its_own(page: AxlePage) -> None:
    assert page.roll_label.text() == "Roll height"
