"""Axles by mouse and keys in the whole window."""

from typing import Any

import pytest
from PySide6.QtCore import QPoint, Qt
from pytestqt.qtbot import QtBot

from app.panels.axle_page import CHECKING
from app.panels.outline import NAME
from app.viewport import movers
from geometry import axles
from geometry.checks.findings import Report
from geometry.layout import Axle

SHIFT = Qt.KeyboardModifier.ShiftModifier
WAIT = 60_000


def axle(window: Any) -> Axle:
    return next(iter(window.session.layout.axles.values()))


def names(window: Any) -> list[str]:
    return [item.text(NAME) for item in window.outline._all_items()]


@pytest.fixture
def on_wheels(qtbot: QtBot, cage: Any) -> Any:
    """The small cage with a front axle, added with its key."""
    cage.view.setFocus()
    qtbot.keyClick(cage.view, Qt.Key.Key_A, SHIFT)
    qtbot.waitUntil(lambda: bool(cage.session.layout.axles))
    return cage


def test_a_key_adds_an_axle_and_shows_its_page(on_wheels: Any) -> None:
    window = on_wheels
    assert window.session.undo_stack.undoText() == "Add axle"
    assert window.session.selection == {axle(window).id}
    assert window.properties.page is window.properties.axle
    assert {"Wheels", "Front axle"} <= set(names(window))


def test_what_tyres_need_arrives_with_its_findings(qtbot: QtBot, on_wheels: Any) -> None:
    window = on_wheels
    page, drawn = window.properties.axle, window.view.scene.movers
    qtbot.waitUntil(lambda: page.room.text() not in ("", CHECKING), timeout=WAIT)
    assert "box" in page.room.text()
    assert all(space.GetProperty().GetOpacity() == movers.OPACITY for space in drawn._swept.values())
    assert len(drawn._swept) == 2
    assert not any(space.GetVisibility() for space in drawn._swept.values())
    window.commands["show_swept"].trigger()
    assert all(space.GetVisibility() for space in drawn._swept.values())


def test_a_finding_about_a_tyre_is_flown_to(qtbot: QtBot, on_wheels: Any) -> None:
    window = on_wheels
    reports: list[Report] = []
    window.live.ready.connect(lambda _, report: reports.append(report))
    window.session.apply("Widen", lambda now: axles.change(now, axle(window).id, track=1560.0, x=100.0))
    qtbot.waitUntil(
        lambda: bool(reports) and reports[-1].is_complete and bool(reports[-1].tyres), timeout=WAIT
    )
    found = next(one for one in reports[-1].findings if one.rule.startswith("tyre.") and one.tubes)
    window.on_view.show_finding(found)
    assert window.view._camera.focus == pytest.approx(found.at)


def test_an_axle_is_renamed_copied_and_deleted_one_step_each(qtbot: QtBot, on_wheels: Any) -> None:
    window = on_wheels
    steps = window.session.undo_stack.count()
    item = window.outline._items[axle(window).id][0]
    item.setText(NAME, "Steering axle")
    assert window.session.undo_stack.undoText() == "Rename Front axle"
    window.commands["duplicate_axle"].trigger()
    assert [one.name for one in window.session.layout.axles.values()] == ["Steering axle", "Rear axle"]
    assert [window.session.layout.axles[id].name for id in window.session.selection] == ["Rear axle"]
    window.commands["delete"].trigger()
    assert window.session.undo_stack.undoText() == "Delete Rear axle"
    assert window.session.undo_stack.count() == steps + 3
    assert "Rear axle" not in names(window)


def test_a_click_on_a_wheel_selects_its_axle_and_delete_takes_it_out(qtbot: QtBot, on_wheels: Any) -> None:
    window = on_wheels
    view, id = window.view, axle(window).id
    window.session.apply("Widen", lambda now: axles.change(now, id, track=2600.0))
    window.session.select(())
    view.look_from("front")
    place = QPoint(*map(round, view.to_screen((0.0, 1300.0, axle(window).height))))
    qtbot.mouseClick(view, Qt.MouseButton.LeftButton, pos=place)
    assert window.session.selection == {id}
    window.commands["show_no_wheels"].trigger()
    window.session.select(())
    qtbot.mouseClick(view, Qt.MouseButton.LeftButton, pos=place)
    assert id not in window.session.selection
    window.commands["show_wheels"].trigger()
    qtbot.mouseClick(view, Qt.MouseButton.LeftButton, pos=place)
    view.setFocus()
    qtbot.keyClick(view, Qt.Key.Key_Delete)
    assert window.session.layout.axles == {}
    assert window.session.undo_stack.undoText() == "Delete axle Front axle"


def test_dragging_on_a_wheel_looks_round_and_moves_nothing(qtbot: QtBot, on_wheels: Any) -> None:
    window = on_wheels
    view, id = window.view, axle(window).id
    window.session.apply("Widen", lambda now: axles.change(now, id, track=2600.0))
    view.look_from("front")
    before, camera = window.session.layout, view.camera()
    place = QPoint(*map(round, view.to_screen((0.0, 1300.0, axle(window).height))))
    qtbot.mousePress(view, Qt.MouseButton.LeftButton, pos=place)
    for step in (10, 30, 60):
        qtbot.mouseMove(view, place + QPoint(step, 0))
        qtbot.wait(1)
    qtbot.mouseRelease(view, Qt.MouseButton.LeftButton, pos=place + QPoint(60, 0))
    assert window.session.layout is before
    assert view.camera() != camera


def test_the_axle_alone_is_gone_to(on_wheels: Any) -> None:
    window = on_wheels
    window.on_view.fly_to()
    x, y, z = window.view._camera.focus
    assert (x, y, z) == pytest.approx((0.0, 0.0, axle(window).height))


def test_holding_the_x_axis_too_long_adds_no_axle(qtbot: QtBot, cage: Any) -> None:
    cage.view.setFocus()
    qtbot.keyClick(cage.view, Qt.Key.Key_X)
    assert cage.session.layout.axles == {}
