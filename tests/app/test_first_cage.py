"""A first cage laid from nothing, with mouse and keys alone, to the packet in the folder.

Where the pointer goes is worked out from the body; every edit is an event, and each is looked at
in the layout afterwards.
"""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PySide6.QtCore import QEvent, QPoint, QPointF, Qt
from PySide6.QtGui import QMouseEvent
from PySide6.QtWidgets import QApplication, QLineEdit
from pytestqt.qtbot import QtBot

from app.main_window import MainWindow
from app.viewport.camera import Ray
from geometry.files import job as job_file
from geometry.layout import Layout, Tube
from geometry.tube import centreline
from geometry.vectors import Vec3, distance

Key = Qt.Key
LEFT = Qt.MouseButton.LeftButton
CTRL, SHIFT = Qt.KeyboardModifier.ControlModifier, Qt.KeyboardModifier.ShiftModifier

# Places on the left side: parts of the length from the nose, and of the height from the lowest point.
Place = tuple[float, float]
PLACES: dict[str, dict[str, Place]] = {
    "sedan": {
        "sill front": (0.34, 0.06),
        "sill back": (0.66, 0.06),
        "wing": (0.32, 0.35),
        "waist": (0.33, 0.50),
        "pillar": (0.40, 0.77),
        "header": (0.45, 0.90),
        "rail": (0.55, 0.94),
        "rail end": (0.65, 0.90),
        "door": (0.50, 0.35),
        "door top": (0.51, 0.55),
        "back door": (0.66, 0.35),
        "quarter": (0.68, 0.55),
        "boot": (0.80, 0.70),
        "lamp": (0.93, 0.53),
        "bumper": (0.94, 0.20),
    },
    "two-box": {
        "sill front": (0.33, 0.06),
        "sill back": (0.62, 0.06),
        "wing": (0.31, 0.35),
        "waist": (0.34, 0.50),
        "pillar": (0.39, 0.75),
        "header": (0.43, 0.92),
        "rail": (0.60, 0.94),
        "rail end": (0.85, 0.92),
        "door": (0.50, 0.35),
        "door top": (0.51, 0.60),
        "back door": (0.64, 0.35),
        "quarter": (0.72, 0.60),
        "boot": (0.93, 0.70),
        "lamp": (0.95, 0.50),
        "bumper": (0.95, 0.20),
    },
}
SILL, UPRIGHT_A, RAIL, UPRIGHT_B, UPRIGHT_C, REAR = "T1", "T2", "T3", "T4", "T5", "T6"


class Hands:
    """What a person does: points, clicks, drags and types."""

    def __init__(self, qtbot: QtBot, window: MainWindow, places: dict[str, Place]) -> None:
        self._qtbot, self._places = qtbot, places
        self.window, self.view, self.session = window, window.view, window.session

    @property
    def layout(self) -> Layout:
        return self.session.layout

    def tube(self, name: str) -> Tube:
        return next(tube for tube in self.layout.tubes.values() if tube.name == name)

    def at(self, name: str) -> QPoint:
        """The pixel of a named place, at the stand-off from the metal."""
        from_nose, height = self._places[name]
        bounds = self.view.outlook.solid.bounds
        assert bounds is not None
        low, high = bounds
        x, z = high[0] - from_nose * (high[0] - low[0]), low[2] + height * (high[2] - low[2])
        metal = self.view.outlook.solid.hit(Ray((x, 4000.0, z), (0.0, -1.0, 0.0)))
        assert metal is not None, name
        assert metal.point[1] > 200.0, name
        return self.pixel((x, metal.point[1] + 49.0, z))

    def along(self, name: str, part: float) -> QPoint:
        """The pixel of a place part of the way along a tube."""
        line = centreline.of(self.layout, self.tube(name))
        return self.pixel(tuple(centreline.point_at(line, [part * line.length])[0].tolist()))

    def node(self, name: str, index: int) -> QPoint:
        return self.pixel(self.position(name, index))

    def position(self, name: str, index: int) -> Vec3:
        return self.layout.nodes[self.tube(name).nodes[index]].position

    def pixel(self, point: Vec3) -> QPoint:
        x, y = self.view.to_screen(point)
        return QPoint(round(x), round(y))

    def move(self, pixel: QPoint, button: Qt.MouseButton = Qt.MouseButton.NoButton) -> None:
        place = QPointF(pixel)
        event = QMouseEvent(
            QEvent.Type.MouseMove,
            place,
            self.view.mapToGlobal(place),
            Qt.MouseButton.NoButton,
            button,
            Qt.KeyboardModifier.NoModifier,
        )
        QApplication.sendEvent(self.view, event)
        QApplication.processEvents()

    def click(self, *pixels: QPoint) -> None:
        for pixel in pixels:
            self.move(pixel)
            self._qtbot.mouseClick(self.view, LEFT, pos=pixel)

    def double_click(self, pixel: QPoint) -> None:
        self.click(pixel)
        self._qtbot.mouseDClick(self.view, LEFT, pos=pixel)
        self._qtbot.mouseRelease(self.view, LEFT, pos=pixel)

    def drag(self, start: QPoint, end: QPoint) -> None:
        self.move(start)
        self._qtbot.mousePress(self.view, LEFT, pos=start)
        for part in (0.3, 0.6, 1.0):
            self.move((QPointF(start) + (QPointF(end) - QPointF(start)) * part).toPoint(), LEFT)
        self._qtbot.mouseRelease(self.view, LEFT, pos=end)

    def press(self, *keys: Any, hold: Any = Qt.KeyboardModifier.NoModifier) -> None:
        """Press keys one after the other wherever the focus is."""
        for key in keys:
            self._qtbot.keyClick(QApplication.focusWidget() or self.window, key, hold)

    def type(self, text: str) -> None:
        self._qtbot.keyClicks(QApplication.focusWidget(), text)

    def lay(self, name: str, *pixels: QPoint) -> Tube:
        """Lay a tube through pixels; it is one step, and selected."""
        count, steps = len(self.layout.tubes), self.session.undo_stack.index()
        self.press(Key.Key_T)
        assert self.view.tool == "tube"
        self.click(*pixels)
        assert self.session.is_previewing
        self.press(Key.Key_Return)
        assert not self.session.is_previewing
        assert len(self.layout.tubes) == count + 1
        assert self.session.undo_stack.index() == steps + 1
        assert self.session.undo_stack.undoText() == f"Lay tube {name}"
        tube = self.tube(name)
        assert self.session.selection == {tube.id}
        assert len(tube.nodes) == len(pixels)
        return tube

    def gap(self, name: str, index: int) -> float:
        """The clearance at a node of a tube."""
        od = self.layout.stocks[self.tube(name).stock].od
        return self.view.outlook.solid.gap(self.position(name, index)) - od / 2.0

    def wait_for_checks(self) -> Any:
        findings = self.window.findings
        self._qtbot.waitUntil(
            lambda: findings._is_current and len(findings._report.checked) == len(self.layout.tubes),
            timeout=20_000,
        )
        return findings._report


@pytest.fixture(params=["sedan", "two-box"])
def hands(request: pytest.FixtureRequest, qtbot: QtBot, window: MainWindow, answers: Any) -> Hands:
    """The window with a body brought in as a person does it, seen from the left."""
    hands = Hands(qtbot, window, PLACES[request.param])
    if request.param == "sedan":
        answers.open_path = request.getfixturevalue("meshes") / "sedan_chassis_vis.obj"
        hands.press(Key.Key_I, hold=CTRL)
        qtbot.waitUntil(lambda: window.on_steps.is_open and hands.session.is_previewing, timeout=20_000)
        hands.press(Key.Key_Return)
        name = "Bring in body"
    else:
        hands.press(Key.Key_B, hold=CTRL)
        qtbot.waitUntil(lambda: hands.session.is_previewing)
        hands.press(Key.Key_Return, hold=CTRL)
        name = "Bring in Measured body"
    assert not window.on_steps.is_open
    assert not hands.session.is_previewing
    assert len(hands.layout.bodies) == 1
    assert hands.session.undo_stack.undoText() == name
    hands.press(Key.Key_3, hold=CTRL)
    return hands


def lay_left_side(hands: Hands) -> None:
    """Sill, three uprights, rail and rear tube, joined by landings and shared nodes."""
    at = hands.at
    sill = hands.lay(SILL, at("sill front"), at("sill back"))
    a = hands.lay(UPRIGHT_A, hands.along(SILL, 0.1), at("wing"), at("waist"), at("pillar"), at("header"))
    rail = hands.lay(RAIL, hands.node(UPRIGHT_A, -1), at("rail"), at("rail end"))
    b = hands.lay(UPRIGHT_B, hands.along(SILL, 0.55), at("door"), at("door top"), hands.along(RAIL, 0.3))
    c = hands.lay(UPRIGHT_C, hands.along(SILL, 0.88), at("back door"), at("quarter"), hands.node(RAIL, -1))
    rear = hands.lay(REAR, hands.node(RAIL, -1), at("boot"), at("lamp"), at("bumper"))
    assert a.nodes[-1] == rail.nodes[0]
    assert rail.nodes[-1] == c.nodes[-1] == rear.nodes[0]
    nodes = hands.layout.nodes
    for tube, node in ((a, a.nodes[0]), (b, b.nodes[0]), (c, c.nodes[0])):
        assert nodes[node].landing is not None, tube.name
        assert nodes[node].landing.tube == sill.id, tube.name
    assert nodes[b.nodes[-1]].landing.tube == rail.id
    wanted = hands.layout.limits.standoff_wanted
    for name, indices in ((SILL, (0, 1)), (UPRIGHT_A, (1, 2, 3, 4)), (RAIL, (1, 2)), (REAR, (1, 2, 3))):
        for index in indices:
            assert hands.gap(name, index) == pytest.approx(wanted, abs=5.0), (name, index)


def copy_to_the_other_side(hands: Hands) -> None:
    hands.press(Key.Key_A, hold=CTRL)
    assert len(hands.session.selection) == 6
    hands.press(Key.Key_M)
    assert len(hands.layout.tubes) == 12
    for number in range(1, 7):
        left, right = hands.tube(f"T{number}"), hands.tube(f"T{number + 6}")
        for here, there in zip(left.nodes, right.nodes, strict=True):
            x, y, z = hands.layout.nodes[here].position
            assert hands.layout.nodes[there].position == pytest.approx((x, -y, z), abs=1e-6)


def lay_header(hands: Hands) -> None:
    """From rail to rail over the roof, its middle drawn onto the centre plane."""
    hands.press(Key.Key_5, hold=CTRL)
    left, right = hands.position(RAIL, 0), hands.position("T9", 0)
    middle = hands.pixel((left[0], 3.0, left[2]))
    tube = hands.lay("T13", hands.pixel(left), middle, hands.pixel(right))
    assert tube.nodes[0] == hands.tube(RAIL).nodes[0]
    assert tube.nodes[-1] == hands.tube("T9").nodes[0]
    assert hands.position("T13", 1)[1] == 0.0
    assert hands.gap("T13", 1) == pytest.approx(hands.layout.limits.standoff_wanted, abs=0.5)
    hands.press(Key.Key_3, hold=CTRL)


def change_and_take_back(hands: Hands) -> None:
    """Typed distances, tools changed midway, corners put in, moved and taken out; all of it undone."""
    before, at = hands.layout, hands.at
    hands.press(Key.Key_T)
    hands.click(at("door"))
    hands.move(at("back door"))
    hands.type("600")
    hands.press(Key.Key_Return)
    hands.press(Key.Key_V)  # another tool in the middle of a tube: the two points are a tube
    assert hands.view.tool == "select"
    assert distance(hands.position("T14", 0), hands.position("T14", 1)) == pytest.approx(600.0, abs=1e-6)

    hands.double_click(hands.along(UPRIGHT_B, 0.15))
    (corner,) = hands.session.selection
    assert hands.tube(UPRIGHT_B).nodes[1] == corner
    hands.press(Key.Key_O)
    assert hands.gap(UPRIGHT_B, 1) == pytest.approx(hands.layout.limits.standoff_wanted, abs=0.06)
    goal = hands.pixel(hands.position(UPRIGHT_B, 1)) + QPoint(14, 4)
    hands.drag(hands.node(UPRIGHT_B, 1), goal)
    assert (hands.node(UPRIGHT_B, 1) - goal).manhattanLength() <= 12  # drawn to a height or station near by
    assert hands.gap(UPRIGHT_B, 1) == pytest.approx(hands.layout.limits.standoff_wanted, abs=0.2)
    hands.press(Key.Key_Delete, hold=SHIFT)
    assert corner not in hands.layout.nodes
    after = hands.layout
    for _ in range(5):  # laid, put in, stood off, dragged, taken out
        hands.press(Key.Key_Z, hold=CTRL)
    assert hands.layout is before
    for _ in range(5):
        hands.press(Key.Key_Z, hold=CTRL | SHIFT)
    assert hands.layout is after
    hands.click(hands.along("T14", 0.5))
    assert hands.session.selection == {hands.tube("T14").id}
    hands.press(Key.Key_Delete)
    assert len(hands.layout.tubes) == 13


def name_and_change_stock(hands: Hands) -> None:
    hands.click(hands.along(SILL, 0.3))
    assert hands.session.selection == {hands.tube(SILL).id}
    hands.press(Key.Key_F2)
    assert isinstance(QApplication.focusWidget(), QLineEdit)
    hands.press(Key.Key_A, hold=CTRL)
    hands.type("left sill")
    hands.press(Key.Key_Return)
    QApplication.processEvents()  # lists take a name over when the key is done with
    sill = hands.tube("left sill")
    choice = hands.window.properties.tube.stock
    choice.setFocus()
    hands.press(Key.Key_Down)
    assert hands.layout.tubes[sill.id].stock != sill.stock
    assert hands.session.undo_stack.undoText() == "Change stock"
    hands.view.setFocus()


def save_and_reopen(hands: Hands, answers: Any, path: Path, qtbot: QtBot) -> None:
    answers.save_path = path
    hands.press(Key.Key_S, hold=CTRL)
    assert not hands.session.is_modified
    saved = hands.layout
    answers.open_path = path
    with qtbot.waitSignal(hands.session.opened, timeout=20_000):
        hands.press(Key.Key_O, hold=CTRL)
    assert hands.layout is not saved
    assert_same(hands.layout, saved)
    assert_same(job_file.load(path), saved)


def assert_same(a: Layout, b: Layout) -> None:
    """Everything alike to the last bit."""
    for name in ("name", "nodes", "tubes", "bodies", "stocks", "dies", "limits", "next_id"):
        assert getattr(a, name) == getattr(b, name), name
    assert a.panels.keys() == b.panels.keys()
    for id, panel in a.panels.items():
        other = b.panels[id]
        assert (panel.name, panel.kept, panel.shown) == (other.name, other.kept, other.shown)
        assert np.array_equal(panel.mesh.vertices, other.mesh.vertices)
        assert np.array_equal(panel.mesh.triangles, other.mesh.triangles)


def export(hands: Hands, answers: Any, folder: Path, qtbot: QtBot) -> None:
    answers.folder = folder
    hands.press(Key.Key_E, hold=CTRL)
    qtbot.waitUntil(lambda: "packet is written" in hands.window.message.text, timeout=30_000)
    assert {file.name for file in folder.iterdir()} >= {"packet.pdf", "schedule.csv", "schedule.json"}
    tubes = json.loads((folder / "schedule.json").read_text(encoding="utf-8"))["tubes"]
    assert [tube["name"] for tube in tubes] == [tube.name for tube in hands.layout.tubes.values()]
    for tube, row in zip(hands.layout.tubes.values(), tubes, strict=True):
        line = centreline.of(hands.layout, tube)
        assert row["centreline_mm"] == pytest.approx(line.length, abs=1e-6)
        assert len(row["bends"]) == len(line.bends)
    assert (folder / "packet.pdf").read_bytes().startswith(b"%PDF")


def test_a_first_cage_from_nothing_to_the_packet(
    hands: Hands, qtbot: QtBot, answers: Any, tmp_path: Path
) -> None:
    lay_left_side(hands)
    copy_to_the_other_side(hands)
    lay_header(hands)
    change_and_take_back(hands)
    name_and_change_stock(hands)
    report = hands.wait_for_checks()
    assert report.nearest.keys() >= {hands.tube(name).id for name in (UPRIGHT_A, RAIL, REAR, "T13")}
    save_and_reopen(hands, answers, tmp_path / "first cage.outrib", qtbot)
    assert hands.layout.name == "first cage"
    folder = tmp_path / "packet"
    folder.mkdir()
    export(hands, answers, folder, qtbot)
