"""How a panel opens is set beside its name; each change is one step, and the slider only shows."""

import math

import numpy as np
import pytest
from pytestqt.qtbot import QtBot

from app.panels.body_pages import PanelPage
from app.panels.motion_rows import CARRIED, FIXED, HINGED, SLIDES, STEPS, MotionRows, opening_words
from app.session import Session
from app.units import MILLIMETRES
from geometry import edits, hinges
from geometry.checks.findings import Report
from geometry.checks.moving import Touch
from geometry.layout import Body, Hinge, Layout, Mesh, Node, Panel, Slide, Stock, Tube

SHELL, DOOR, GLASS, TUBE = 1, 2, 3, 9


def plate(*corners: tuple[float, float, float]) -> Mesh:
    return Mesh(np.array(corners), np.array([[0, 1, 2], [0, 2, 3]], np.int32))


def car() -> Layout:
    door = plate((0.0, 800.0, 300.0), (-1000.0, 800.0, 300.0), (-1000.0, 800.0, 900.0), (0.0, 800.0, 900.0))
    glass = plate(
        (-100.0, 790.0, 900.0), (-900.0, 790.0, 900.0), (-900.0, 700.0, 1300.0), (-200.0, 700.0, 1300.0)
    )
    side = plate(
        (0.0, -800.0, 300.0), (-2000.0, -800.0, 300.0), (-2000.0, -800.0, 900.0), (0.0, -800.0, 900.0)
    )
    return Layout(
        next_id=20,
        nodes={10: Node(10, (0.0, 1200.0, 0.0)), 11: Node(11, (0.0, 1200.0, 900.0))},
        tubes={TUBE: Tube(TUBE, "Side bar", (10, 11), 12)},
        stocks={12: Stock(12, "40 x 2", 40.0, 2.0)},
        bodies={SHELL: Body(SHELL, "shell")},
        panels={
            DOOR: Panel(DOOR, "left door", SHELL, door),
            GLASS: Panel(GLASS, "left glass", SHELL, glass),
            4: Panel(4, "right side", SHELL, side),
        },
    )


@pytest.fixture
def session() -> Session:
    return Session(car())


@pytest.fixture
def page(qtbot: QtBot, session: Session) -> PanelPage:
    page = PanelPage(session, MILLIMETRES)
    qtbot.addWidget(page)
    page.show_ids(frozenset((DOOR,)))
    page.show()
    return page


@pytest.fixture
def rows(page: PanelPage) -> MotionRows:
    return page.motion


def choose(rows: MotionRows, kind: int) -> None:
    rows.kind.setCurrentIndex(rows.kind.findData(kind))
    rows.kind.activated.emit(rows.kind.currentIndex())


def motion(session: Session, panel: int = DOOR) -> Hinge | Slide | None:
    return session.layout.panels[panel].motion


def test_a_door_gets_its_usual_hinge_with_one_choice(session: Session, rows: MotionRows) -> None:
    choose(rows, HINGED)
    hinge = motion(session)
    assert isinstance(hinge, Hinge)
    assert hinge.start[:2] == pytest.approx((0.0, 800.0))
    assert rows.place.currentText() == "Front edge"
    assert rows.angle.value == pytest.approx(math.radians(70.0))
    assert session.undo_stack.undoText() == "Let panel open"
    session.undo()
    assert motion(session) is None


def test_the_other_edge_the_other_way_and_another_angle_are_steps_of_their_own(
    session: Session, rows: MotionRows
) -> None:
    choose(rows, HINGED)
    before = motion(session)
    rows.place.setCurrentIndex(1)
    rows.place.activated.emit(1)
    rear = motion(session)
    assert isinstance(rear, Hinge)
    assert rear.start[0] == pytest.approx(-1000.0)
    rows.angle.setText("55")
    rows.angle.textEdited.emit("55")
    rows.angle.editingFinished.emit()
    assert abs(motion(session).angle) == pytest.approx(math.radians(55.0))  # type: ignore[union-attr]
    rows.other_way.click()
    assert motion(session).angle == pytest.approx(-math.copysign(math.radians(55.0), rear.angle))  # type: ignore[union-attr]
    for _ in range(3):
        session.undo()
    assert motion(session) == before


def test_a_hinge_through_equal_points_is_refused_in_words_and_shown_as_it_was(
    session: Session, rows: MotionRows
) -> None:
    choose(rows, HINGED)
    before, said = motion(session), []
    session.refused.connect(said.append)
    rows.take_points("two", [(0.0, 800.0, 300.0), (0.0, 800.0, 300.0)])
    assert motion(session) == before
    assert "Pick them farther apart" in said[0]


def test_points_and_edges_that_were_picked_become_the_hinge(session: Session, rows: MotionRows) -> None:
    choose(rows, HINGED)
    rows.take_points("two", [(0.0, 810.0, 300.0), (0.0, 810.0, 800.0)])
    assert motion(session).end == (0.0, 810.0, 800.0)  # type: ignore[union-attr]
    rows.take_points("edge", [(-500.0, 800.0, 890.0)])
    assert {motion(session).start, motion(session).end} == {(0.0, 800.0, 900.0), (-1000.0, 800.0, 900.0)}  # type: ignore[union-attr]
    rows.take_points("two", [])  # called off


def test_slides_and_panels_that_are_carried(session: Session, page: PanelPage, rows: MotionRows) -> None:
    choose(rows, SLIDES)
    assert isinstance(motion(session), Slide)
    rows.way.entered.emit((-700.0, 40.0, 0.0))
    assert motion(session) == Slide((-700.0, 40.0, 0.0))
    page.show_ids(frozenset((GLASS,)))
    choose(rows, CARRIED)
    assert session.layout.panels[GLASS].moves_with == DOOR  # the one that opens is meant
    assert rows.carrier.chosen == DOOR
    assert rows.slider.isVisibleTo(rows)
    choose(rows, FIXED)
    assert session.layout.panels[GLASS].moves_with is None


def test_the_slider_shows_and_changes_nothing(session: Session, rows: MotionRows) -> None:
    choose(rows, HINGED)
    layout, shown = session.layout, []
    rows.opening_moved.connect(lambda panel, part: shown.append((panel, part)))
    rows.slider.setValue(STEPS // 2)
    rows.toggle()
    rows.toggle()
    assert shown == [(DOOR, 0.5), (DOOR, 0.0), (DOOR, 1.0)]
    assert session.layout is layout


def touch(at: float, touches_at: float | None, least: float) -> Touch:
    return Touch(DOOR, TUBE, at, touches_at, least, touches_at or at, None, 10.0, (0, 0, 0), (0, 0, 0))


def test_what_is_met_is_said_and_marked_once_the_checks_are_through(
    session: Session, page: PanelPage, rows: MotionRows
) -> None:
    choose(rows, HINGED)
    assert "being checked" in rows.result.text()
    page.show_report(Report(touches=()))  # not through yet
    assert "being checked" in rows.result.text()
    full = math.radians(70.0)
    page.show_report(Report(touches=(touch(0.5, full / 2.0, 0.0),), is_complete=True))
    assert rows.result.text() == "Opens 35.0° of 70.0°, then it meets Side bar."
    assert rows.slider.notch == pytest.approx(0.5)
    page.show_report(Report(is_complete=True))
    assert rows.result.text() == "Opens 70.0° and keeps clear of every tube."
    assert rows.slider.notch is None


def test_a_tube_that_leaves_too_little_room_is_said_with_its_number() -> None:
    words = opening_words(car(), Slide((-600.0, 0.0, 0.0)), [touch(200.0, None, 6.0)], MILLIMETRES)
    assert words == "Opens 600.0 mm; at 200.0 mm it passes Side bar with 6.0 mm."


@pytest.mark.parametrize("what", ["end", "angle", "slider"])
def test_what_is_typed_while_its_panel_goes_is_forgotten(
    qtbot: QtBot, page: PanelPage, session: Session, what: str
) -> None:
    rows = page.motion
    hinge = Hinge((0.0, 800.0, 300.0), (0.0, 800.0, 900.0), -1.0)
    session.apply("Hang", lambda now: hinges.set_motion(now, DOOR, hinge))
    field = rows.angle if what == "angle" else rows.start.fields[0]
    field.setFocus()
    field.selectAll()
    qtbot.keyClicks(field, "30")
    session.apply("Delete", lambda now: edits.delete(now, (DOOR,)))
    after = session.layout
    if what == "slider":
        rows.slider.setValue(100)
    field.finish()
    assert session.layout is after
