"""Measuring in the whole window: by mouse and keys, from the tool to the tab, the page and back."""

from typing import Any

import pytest
from PySide6.QtCore import QPoint, Qt
from pytestqt.qtbot import QtBot

from app.main_window import MainWindow
from geometry import edits
from geometry.aids import FreeSpot, NodeSpot
from geometry.files import job
from geometry.measuring import kept, values

Window = MainWindow
LEFT = Qt.MouseButton.LeftButton


def tube(window: Window, name: str) -> Any:
    return next(tube for tube in window.session.layout.tubes.values() if tube.name == name)


def click(qtbot: QtBot, window: Window, node: int) -> None:
    x, y = window.view.to_screen(window.session.layout.nodes[node].position)
    qtbot.mouseClick(window.view, LEFT, pos=QPoint(round(x), round(y)))


def value(window: Window, id: int) -> float:
    found = values.of(window.session.layout, window.session.layout.measures[id])
    assert isinstance(found, values.Value)
    return found.number


def test_a_measure_is_taken_shown_selected_followed_and_deleted(qtbot: QtBot, cage: Window) -> None:
    window = cage
    window.view.look_from("left")
    window.view.setFocus()
    qtbot.keyClick(window.view, Qt.Key.Key_D)
    assert window.view.tool == "measure"
    hoop = tube(window, "Hoop")
    click(qtbot, window, hoop.nodes[0])
    click(qtbot, window, hoop.nodes[1])
    ((id, measure),) = window.session.layout.measures.items()
    assert measure.name == "Distance 1"
    assert value(window, id) == pytest.approx(960.0)
    window.commands["measures"].trigger()
    assert window.measures.isVisible()
    qtbot.waitUntil(lambda: window.measures.list.topLevelItemCount() == 1)
    window.measures.list.setCurrentItem(window.measures.list.topLevelItem(0))
    assert window.properties.page is window.properties.measure
    assert window.properties.measure.value.text() == "960.0 mm"
    window.session.apply("Lift", lambda now: edits.move_nodes(now, [hoop.nodes[1]], (0.0, 0.0, 40.0)))
    assert window.properties.measure.value.text() == "1000.0 mm"
    window.commands["delete"].trigger()
    assert not window.session.layout.measures
    window.commands["undo"].trigger()
    assert list(window.session.layout.measures) == [id]


def test_the_tab_takes_the_tool_in_the_wanted_kind(qtbot: QtBot, cage: Window) -> None:
    cage.commands["measures"].trigger()
    qtbot.mouseClick(cage.measures.kinds["height"], LEFT)
    assert cage.view.tool == "measure"
    assert cage.hint.text().startswith("Height. Click what to measure above the ground")
    assert cage.commands["tool_measure"].isChecked()


def test_the_tab_takes_no_tool_while_a_step_is_open(qtbot: QtBot, cage: Window) -> None:
    cage.commands["measures"].trigger()
    cage.commands["measured_body"].trigger()
    assert cage.on_steps.is_open
    cage.measures.kind_wanted.emit("height")
    assert cage.view.tool != "measure"
    cage.on_steps.cancel()


def test_units_are_those_of_the_window(qtbot: QtBot, cage: Window) -> None:
    cage.commands["measures"].trigger()
    assert cage.measures.sizes.headerItem().text(0) == "mm"
    cage.commands["units_in"].trigger()
    assert cage.measures.sizes.headerItem().text(0) == "in"


def test_a_measure_can_be_flown_to(qtbot: QtBot, cage: Window) -> None:
    hoop = tube(cage, "Hoop")
    cage.session.apply(
        "Measure",
        lambda now: kept.add(now, "distance", (NodeSpot(hoop.nodes[0]), NodeSpot(hoop.nodes[1])))[0],
    )
    (id,) = cage.session.layout.measures
    cage.on_view.fly_to_ids(frozenset((id,)))
    focus = cage.view.camera()["focus"]
    assert focus == pytest.approx((0.0, 760.0, 780.0))


def test_several_measures_are_selected_and_deleted_together(qtbot: QtBot, cage: Window) -> None:
    for height in (100.0, 200.0, 300.0):
        spot = FreeSpot((0.0, 0.0, height))
        cage.session.apply("Measure", lambda now, spot=spot: kept.add(now, "height", (spot,))[0])
    cage.commands["measures"].trigger()
    qtbot.waitUntil(lambda: cage.measures.list.topLevelItemCount() == 3)
    for row in (0, 2):
        cage.measures.list.topLevelItem(row).setSelected(True)
    assert len(cage.session.selection) == 2
    assert cage.properties.page is cage.properties.many
    cage.commands["delete"].trigger()
    assert [measure.name for measure in cage.session.layout.measures.values()] == ["Height 2"]


def test_a_measure_is_renamed_in_the_list_of_the_job(qtbot: QtBot, cage: Window) -> None:
    cage.session.apply("Measure", lambda now: kept.add(now, "height", (FreeSpot((0.0, 0.0, 9.0)),))[0])
    (id,) = cage.session.layout.measures
    cage.session.apply("Rename", lambda now: edits.rename(now, id, "Sill over ground"))
    cage.commands["measures"].trigger()
    qtbot.waitUntil(lambda: cage.measures.list.topLevelItemCount() == 1)
    assert cage.measures.list.topLevelItem(0).text(0) == "Sill over ground"


def test_saving_and_opening_keeps_measures(qtbot: QtBot, cage: Window, tmp_path: Any) -> None:
    hoop = tube(cage, "Hoop")
    cage.session.apply("Measure", lambda now: kept.add(now, "height", (NodeSpot(hoop.nodes[1]),))[0])
    job.save(cage.session.layout, tmp_path / "one.outrib")
    again = job.load(tmp_path / "one.outrib")
    assert again.measures == cage.session.layout.measures


def test_measures_are_left_out_of_the_view_by_a_command(qtbot: QtBot, cage: Window) -> None:
    cage.session.apply("Measure", lambda now: kept.add(now, "height", (FreeSpot((0.0, 0.0, 900.0)),))[0])

    def is_drawn() -> bool:
        return any(getattr(mark, "is_quiet", False) for mark in cage.view.overlay.marks)

    assert cage.commands["show_measures"].isChecked()
    qtbot.waitUntil(is_drawn)
    cage.commands["show_measures"].trigger()
    qtbot.waitUntil(lambda: not is_drawn())
    cage.commands["show_measures"].trigger()
    qtbot.waitUntil(is_drawn)
