"""Ready-made limits, access zones by menu and list, and the other side, in the whole window."""

from typing import Any

import pytest
from PySide6.QtCore import QPoint, Qt
from pytestqt.qtbot import QtBot

from app.aid_commands import ZONE_COMMANDS
from geometry import references, zoning
from geometry.aids import BoxShape, PlaneShape, PointShape

Key = Qt.Key
LEFT = Qt.MouseButton.LeftButton


def trigger(window: Any, name: str) -> None:
    assert window.commands[name].isEnabled(), name
    window.commands[name].trigger()


def at(window: Any, point: tuple[float, float, float]) -> QPoint:
    x, y = window.view.to_screen(point)
    return QPoint(round(x), round(y))


@pytest.mark.parametrize(
    ("command", "count"),
    [("reference_ground", 1), ("reference_height", 1), ("reference_width", 2), ("reference_trailer", 2)],
)
def test_usual_limits_are_one_step_each_and_their_number_is_typed_beside_them(
    cage: Any, command: str, count: int
) -> None:
    trigger(cage, command)
    layout = cage.session.layout
    assert len(layout.references) == count
    assert all(one.limit and isinstance(one.shape, PlaneShape) for one in layout.references.values())
    assert cage.session.undo_stack.count() == 1
    assert cage.properties.page is cage.properties.reference
    assert cage.properties.reference.away.isVisible()
    cage.session.undo()
    assert not cage.session.layout.references


def test_both_width_limits_follow_the_number_typed_for_one(cage: Any) -> None:
    trigger(cage, "reference_width")
    away = cage.properties.reference.away
    away.setText("850")
    away.editingFinished.emit()
    offsets = sorted(one.shape.at[1] for one in cage.session.layout.references.values())
    assert offsets == [-850.0, 850.0]


def test_every_purpose_has_a_command_that_takes_the_tool(cage: Any) -> None:
    assert set(ZONE_COMMANDS.values()) == set(zoning.PURPOSES)
    for name, purpose in ZONE_COMMANDS.items():
        trigger(cage, name)
        assert cage.view.tool == "zone"
        assert zoning.PURPOSES[purpose].where in cage.hint.text()


def test_the_list_is_walked_by_keys_and_a_click(qtbot: QtBot, cage: Any) -> None:
    cage.view.look_from("left")
    qtbot.keyClick(cage.view, Key.Key_Q)
    assert cage.access.tree.isVisible()
    qtbot.waitUntil(cage.access.tree.hasFocus)
    qtbot.keyClick(cage.access.tree, Key.Key_Return)
    assert cage.view.tool == "zone"
    qtbot.mouseClick(cage.view, LEFT, pos=at(cage, (-500.0, 700.0, 700.0)))
    assert cage.session.is_previewing
    qtbot.keyClick(cage.view, Key.Key_Return)
    (zone,) = cage.session.layout.zones.values()
    assert zone.purpose == "filler nozzle"
    assert cage.properties.page is cage.properties.zone
    assert cage.properties.zone.isEnabled()
    assert cage.access.purpose == "door handle"
    qtbot.waitUntil(lambda: not cage.properties.zone.result.text().startswith("It is"), timeout=20_000)


def test_the_other_side_is_a_command_for_zones_and_references(cage: Any) -> None:
    assert not cage.commands["aid_other_side"].isEnabled()
    layout, zone = zoning.add_zone(
        cage.session.layout, "mirror", BoxShape((0.0, 800.0, 900.0), (99.0, 99.0, 99.0)), "Left mirror"
    )
    layout, point = references.add_reference(layout, PointShape((0.0, 700.0, 200.0)), "Left sill")
    cage.session.commit("Set both", layout)
    cage.session.select({zone, point})
    trigger(cage, "aid_other_side")
    after = cage.session.layout
    assert [one.name for one in after.zones.values()] == ["Left mirror", "Right mirror"]
    assert [one.name for one in after.references.values()] == ["Left sill", "Right sill"]
    assert cage.session.selection == {max(after.zones), max(after.references)}
    assert cage.session.undo_stack.count() == 2


def test_h_hides_and_shows_aids_and_show_all_brings_them_back(qtbot: QtBot, cage: Any) -> None:
    layout, zone = zoning.add_zone(
        cage.session.layout, "mirror", BoxShape((0.0, 800.0, 900.0), (99.0, 99.0, 99.0))
    )
    cage.session.commit("Keep free", layout)
    cage.session.select({zone})
    qtbot.keyClick(cage.view, Key.Key_H)
    assert not cage.session.layout.zones[zone].shown
    trigger(cage, "show_all")
    assert cage.session.layout.zones[zone].shown


def test_the_reference_tool_has_a_key_and_an_entry(qtbot: QtBot, cage: Any) -> None:
    qtbot.keyClick(cage.view, Key.Key_E)
    assert cage.view.tool == "reference"
    assert cage.commands["tool_reference"].isChecked()
    qtbot.keyClick(cage.view, Key.Key_Escape)
    assert cage.view.tool == "select"


def test_going_to_a_zone_brings_it_into_the_middle(cage: Any) -> None:
    layout, zone = zoning.add_zone(
        cage.session.layout, "mirror", BoxShape((0.0, 800.0, 900.0), (99.0, 99.0, 99.0))
    )
    cage.session.commit("Keep free", layout)
    cage.session.select({zone})
    trigger(cage, "fly_to")
    assert cage.view.navigation.camera.focus == pytest.approx((0.0, 800.0, 900.0), abs=1.0)
