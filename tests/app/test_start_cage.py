"""A whole first cage in the window, with mouse and keys, from a body that has just come in."""

from typing import Any

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtWidgets import QApplication

from app.panels import starter
from geometry import rack
from geometry.body import measured, scan
from geometry.layout import Layout

Key = Qt.Key
LEFT, SHIFT = Qt.MouseButton.LeftButton, Qt.KeyboardModifier.ShiftModifier
LONG = 120_000  # ms; these machines are shared


def with_body(meshes: Any, name: str) -> Layout:
    layout = rack.with_starting_rack(Layout(name="job"))
    if name == "two-box":
        return measured.add_to(layout, measured.shapes()[name], name)[0]
    found = scan.read(meshes / "sedan_chassis_vis.obj")
    return scan.add_to(layout, found, scan.judge(found))[0]


@pytest.fixture(params=["two-box", "sedan"])
def bodied(window: Any, request: pytest.FixtureRequest) -> Any:
    """The window with a body and no tube."""
    meshes = request.getfixturevalue("meshes") if request.param == "sedan" else None
    window.session.open(with_body(meshes, request.param), None)
    window.files.job_opened.emit(None)
    QApplication.processEvents()
    return window


class Hands:
    """What a person does; each is counted."""

    def __init__(self, qtbot: Any, window: Any) -> None:
        self.qtbot, self.window, self.actions = qtbot, window, 0

    @property
    def panel(self) -> Any:
        return self.window.on_steps._starter

    def press(self, key: Any, hold: Any = Qt.KeyboardModifier.NoModifier) -> None:
        self.actions += 1
        self.qtbot.keyClick(QApplication.focusWidget() or self.window, key, hold)

    def click(self, widget: Any, place: QPoint | None = None) -> None:
        self.actions += 1
        self.qtbot.mouseClick(widget, LEFT, pos=place or widget.rect().center())

    def click_point(self, key: str) -> None:
        rows = self.panel.list
        item = next(item for item in self.panel._items if item.data(starter.TITLE, starter.KEY) == key)
        self.click(rows.viewport(), rows.visualItemRect(item).center())

    def await_work(self) -> None:
        self.qtbot.waitUntil(lambda: not self.panel._is_working, timeout=LONG)


@pytest.fixture
def hands(qtbot: Any, bodied: Any) -> Hands:
    return Hands(qtbot, bodied)


def test_a_whole_cage_takes_three_keys(hands: Hands, bodied: Any, capsys: Any) -> None:
    session = bodied.session
    hands.press(Key.Key_T, SHIFT)
    hands.await_work()
    assert len(hands.panel.places) == 15
    hands.press(Key.Key_Return)
    hands.await_work()
    assert session.is_previewing
    assert not session.recorded.tubes
    hands.press(Key.Key_Return)
    assert not session.is_previewing
    assert not bodied.on_steps.is_open
    assert len(session.recorded.tubes) == 17
    assert session.undo_stack.count() == 1
    assert hands.actions == 3
    with capsys.disabled():
        print(f" [{hands.actions} actions, {len(session.recorded.tubes)} tubes]", end="")
    hands.qtbot.waitUntil(
        lambda: bodied.findings._is_current and len(bodied.findings._report.checked) == 17, timeout=LONG
    )
    report = bodied.findings._report
    assert not [found for found in report.findings if found.severity == "error"]
    assert not [found for found in report.findings if found.rule in ("clearance.too_close", "tubes.close")]
    bodied.commands["undo"].trigger()
    assert not session.recorded.tubes


@pytest.mark.parametrize("bodied", ["two-box"], indirect=True)
def test_a_point_is_moved_by_clicking_it_and_then_the_body(hands: Hands, bodied: Any) -> None:
    view = bodied.view
    button = bodied.properties.job.start_cage
    assert button.isVisible()
    hands.click(button)
    hands.await_work()
    hands.click_point("b_head")
    assert view.tool == "pick points"
    assert "B-pillar, head" in bodied.hint.text()
    x, y, z = hands.panel.places["b_head"].point
    wanted = (x - 120.0, y - 60.0, z + 20.0)
    hands.click(view, QPoint(*(round(part) for part in view.to_screen(wanted))))
    assert view.tool == "select"
    assert hands.panel._placed.keys() == {"b_head"}
    assert abs(hands.panel.places["b_head"].point[0] - wanted[0]) < 30.0
    for box in hands.panel.boxes.values():
        hands.click(box, QPoint(8, box.height() // 2))
    hands.click(hands.panel.boxes["b_uprights"], QPoint(8, 8))
    hands.click(hands.panel.build_button)
    hands.await_work()
    assert {tube.name for tube in bodied.session.layout.tubes.values()} == {
        "Left B upright",
        "Right B upright",
    }
    hands.click(hands.panel.accept_button)
    assert len(bodied.session.recorded.tubes) == 2
    assert not button.isVisible()


@pytest.mark.parametrize("bodied", ["two-box"], indirect=True)
def test_escape_in_the_step_stops_the_work_and_leaves_nothing(hands: Hands, bodied: Any) -> None:
    hands.press(Key.Key_T, SHIFT)
    hands.await_work()
    hands.press(Key.Key_Return)
    assert hands.panel._is_working
    hands.press(Key.Key_Escape)
    assert not bodied.on_steps.is_open
    hands.await_work()
    assert not bodied.session.is_previewing
    assert not bodied.session.layout.tubes
    hands.press(Key.Key_T, SHIFT)  # what was guessed is still known
    assert len(hands.panel.places) == 15
    hands.press(Key.Key_Escape)


@pytest.mark.parametrize("bodied", ["two-box"], indirect=True)
def test_closing_the_window_ends_the_work(hands: Hands, bodied: Any) -> None:
    hands.press(Key.Key_T, SHIFT)
    hands.await_work()
    hands.press(Key.Key_Return)
    assert bodied.close()


def test_without_a_body_there_is_nothing_to_start_on(window: Any) -> None:
    window.show_room()
    assert not window.commands["start_cage"].isEnabled()
    assert not window.properties.job.start_cage.isVisible()
