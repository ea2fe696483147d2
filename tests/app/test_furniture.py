"""Furniture: what is folded stays folded, whatever the moment hides."""

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QDockWidget, QLabel, QMainWindow
from pytestqt.qtbot import QtBot

from app.furniture import Furniture


@pytest.fixture
def window(qtbot: QtBot) -> QMainWindow:
    window = QMainWindow()
    window.setCentralWidget(QLabel("view"))
    qtbot.addWidget(window)
    window.resize(1000, 700)
    window.show()
    return window


@pytest.fixture
def furniture(window: QMainWindow) -> Furniture:
    return furnished(window)


def furnished(window: QMainWindow) -> Furniture:
    furniture = Furniture(window)
    furniture.set_side("job", "Job", "F6", QLabel("job"))
    furniture.set_side("selection", "Selection", "F7", QLabel("selection"))
    furniture.set_below("F8")
    for name in ("findings", "schedule"):
        furniture.add_tab(QLabel(name), name, name)
    furniture.first_arrangement()
    return furniture


def docks(window: QMainWindow) -> set[str]:
    return {dock.objectName() for dock in window.findChildren(QDockWidget) if dock.isVisible()}


ALL = {"dock-job", "dock-selection", "dock-below"}


def test_what_is_away_comes_back_as_it_was_folded(window: QMainWindow, furniture: Furniture) -> None:
    furniture.fold("job", True)
    furniture.set_away(True)
    assert docks(window) == set()
    furniture.set_away(False)
    assert docks(window) == ALL - {"dock-job"}


def test_a_step_takes_the_place_of_the_selection(window: QMainWindow, furniture: Furniture) -> None:
    step = QLabel("step")
    furniture.open_step("Step", step)
    assert docks(window) == {"dock-job", "dock-step", "dock-below"}
    furniture.close_step()
    assert docks(window) == ALL
    assert step.parent() is None
    furniture.open_step("Step", step)
    assert step.isVisible()
    furniture.close_step()


def test_a_step_does_not_unfold_the_selection(window: QMainWindow, furniture: Furniture) -> None:
    furniture.fold("selection", True)
    furniture.open_step("Step", QLabel("step"))
    assert "dock-step" in docks(window)
    furniture.close_step()
    assert docks(window) == ALL - {"dock-selection"}


def test_folding_is_told(qtbot: QtBot, furniture: Furniture) -> None:
    with qtbot.waitSignal(furniture.folded_changed) as told:
        furniture.fold("below", True)
    assert told.args == ["below", True]


def test_the_arrangement_comes_back(qtbot: QtBot, furniture: Furniture) -> None:
    furniture.fold("job", True)
    furniture.tabs.setCurrentIndex(1)
    state = furniture.state()
    other = QMainWindow()
    other.setCentralWidget(QLabel("view"))
    qtbot.addWidget(other)
    other.show()
    again = furnished(other)
    again.restore(state)
    assert again.is_folded("job")
    assert again.tabs.currentIndex() == 1
    assert docks(other) == ALL - {"dock-job"}


@pytest.mark.parametrize(
    "state", [{}, {"folded": 3, "tab": "x", "sizes": None}, {"folded": {"job": "no"}, "tab": 99}]
)
def test_a_state_that_makes_no_sense_changes_nothing(
    window: QMainWindow, furniture: Furniture, state: dict[str, object]
) -> None:
    furniture.restore(state)
    assert docks(window) == ALL


def test_a_tab_shown_again_is_the_same_tab(furniture: Furniture) -> None:
    rack = QLabel("rack")
    furniture.fold("below", True)
    furniture.show_tab(rack, "Rack", "The rack.")
    furniture.show_tab(rack, "Rack", "The rack.")
    assert furniture.tabs.count() == 3
    assert not furniture.is_folded("below")


def test_a_tab_that_needs_height_gets_it_and_keeps_what_there_is(
    qtbot: QtBot, window: QMainWindow, furniture: Furniture
) -> None:
    rack = QLabel("rack")
    rack.setProperty("wanted_height", 250)
    furniture.show_tab(rack, "Rack", "The rack.")
    below = furniture._docks["below"]
    qtbot.waitUntil(lambda: below.height() >= 250)
    window.resizeDocks([below], [320], Qt.Orientation.Vertical)
    qtbot.waitUntil(lambda: below.height() >= 310)
    height = below.height()
    furniture.show_tab(rack, "Rack", "The rack.")
    assert below.height() == height
