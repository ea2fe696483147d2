"""What tyres need of a panel stands beside its name, with the buttons that suit it."""

import numpy as np
import pytest
from msgspec.structs import replace
from pytestqt.qtbot import QtBot

from app.panels import trim_rows
from app.panels.body_pages import PanelPage
from app.panels.trim_rows import TrimRows
from app.session import Session
from app.units import MILLIMETRES
from geometry import trimming
from geometry.checks.findings import Report
from geometry.checks.tyres import Bite
from geometry.layout import Axle, Body, Layout, Mesh, Panel, Tyre

LEFT, RIGHT, ROOF, AXLE = 2, 3, 4, 70


def wing(y: float) -> Mesh:
    corners = [(-700.0, y, 200.0), (700.0, y, 200.0), (700.0, y, 1100.0), (-700.0, y, 1100.0)]
    return Mesh(np.array(corners), np.array([[0, 1, 2], [0, 2, 3]], np.int32))


def car() -> Layout:
    tyre = Tyre(800.0, 240.0, 40.0)
    return Layout(
        next_id=100,
        bodies={1: Body(1, "shell")},
        panels={
            LEFT: Panel(LEFT, "left & front wing", 1, wing(750.0)),
            RIGHT: Panel(RIGHT, "right front wing", 1, wing(-750.0)),
        },
        axles={AXLE: Axle(AXLE, "Front axle", 0.0, 400.0, 1500.0, tyre, bump=80.0, droop=80.0)},
    )


def report(*bites: Bite) -> Report:
    return Report(bites=bites, is_complete=True)


def bite(panel: int, depth: float = 59.0) -> Bite:
    return Bite(AXLE, "left" if panel == LEFT else "right", panel, depth, (0.0, 0.0, 0.0))


@pytest.fixture
def session() -> Session:
    return Session(car())


@pytest.fixture
def page(qtbot: QtBot, session: Session) -> PanelPage:
    page = PanelPage(session, MILLIMETRES)
    qtbot.addWidget(page)
    page.show_ids(frozenset((LEFT,)))
    page.show()
    return page


@pytest.fixture
def rows(page: PanelPage) -> TrimRows:
    return page.trim


def test_without_an_axle_one_sentence_says_to_add_one(page: PanelPage, rows: TrimRows) -> None:
    page._session.apply("Delete axle", lambda now: replace(now, axles={}))
    page.refresh()
    assert rows.need.text() == trim_rows.NO_AXLE
    assert not rows.trim.isEnabled()
    assert not rows.line.isEnabled()


def test_nothing_can_be_cut_before_it_was_checked(rows: TrimRows) -> None:
    assert rows.need.text() == trim_rows.CHECKING
    assert not rows.trim.isEnabled()


def test_how_far_a_tyre_reaches_into_a_panel_is_said_and_the_cut_offered(rows: TrimRows) -> None:
    rows.show_report(report(bite(LEFT, 59.0)))
    assert rows.need.text() == "The left tyre of Front axle reaches 34.0 mm into it."
    assert rows.trim.isEnabled()
    assert rows.line.isEnabled()
    assert not rows.both.isVisible()
    assert not rows.back.isVisible()
    rows.show_report(report(bite(LEFT, 10.0)))
    assert rows.need.text() == "The left tyre of Front axle leaves 15.0 mm of the 25.0 mm asked for."
    rows.show_report(report())
    assert rows.need.text() == "Every tyre keeps 25.0 mm or more from it."
    assert not rows.trim.isEnabled()


def test_a_panel_on_the_other_side_that_is_bitten_too_is_offered_with_it(
    qtbot: QtBot, rows: TrimRows
) -> None:
    rows.show_report(report(bite(LEFT), bite(RIGHT)))
    assert rows.both.isVisible()
    assert rows.both.text() == "Trim right front wing as well"
    with qtbot.waitSignal(rows.trim_wanted) as both:
        rows.both.click()
    assert both.args == [[LEFT, RIGHT]]
    with qtbot.waitSignal(rows.trim_wanted) as one:
        rows.trim.click()
    assert one.args == [[LEFT]]
    with qtbot.waitSignal(rows.line_wanted) as line:
        rows.line.click()
    assert line.args == [LEFT]


def test_the_other_side_s_button_shows_an_ampersand_as_it_is(page: PanelPage, rows: TrimRows) -> None:
    page.show_ids(frozenset((RIGHT,)))
    rows.show_report(report(bite(LEFT), bite(RIGHT)))
    assert rows.both.text() == "Trim left && front wing as well"


def test_the_room_for_tyres_is_a_limit_that_can_be_set_here(session: Session, rows: TrimRows) -> None:
    assert rows.room.value == 25.0
    rows.room.setText("40")
    rows.room.textEdited.emit("40")
    rows.room.editingFinished.emit()
    assert session.layout.limits.tyre_margin == 40.0
    assert session.undo_stack.undoText() == "Set room for tyres"
    assert rows.need.text() == trim_rows.CHECKING  # what was known was of the other room


def test_a_trimmed_panel_says_so_and_is_made_whole_again(
    qtbot: QtBot, session: Session, page: PanelPage, rows: TrimRows
) -> None:
    made = trimming.cut_for(session.layout, LEFT, lambda p: np.hypot(p[:, 0], p[:, 2] - 400.0) - 400.0)
    session.apply("Trim", lambda now: trimming.set_trimmed(now, [made]))
    page.refresh()
    assert rows.cut.text().startswith("Trimmed along ")
    assert "leaving 25.0 mm to the tyres as they were then" in rows.cut.text()
    for part in (rows.offcuts, rows.files, rows.back):
        assert part.isVisible()
    with qtbot.waitSignal(page.command_wanted) as wanted:
        rows.files.click()
    assert wanted.args == ["write_cuts"]
    rows.back.click()
    assert session.layout.panels[LEFT].trim is None
    assert session.undo_stack.undoText() == "Take the trim back"
    assert not rows.back.isVisible()
