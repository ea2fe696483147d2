"""The whole sample cage round its bare body, by mouse and keys, in a counted number of actions.

An action is a click, a key that commands something, or a number or place typed with its Enter.
"""

from itertools import pairwise
from typing import Any

import pytest
from PySide6.QtCore import QEvent, QPoint, QPointF, Qt
from PySide6.QtGui import QMouseEvent
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from geometry import edits, sample
from geometry.layout import Landing, Layout, Tube
from geometry.vectors import Vec3, distance

Key = Qt.Key
LEFT = Qt.MouseButton.LeftButton
CTRL, SHIFT = Qt.KeyboardModifier.ControlModifier, Qt.KeyboardModifier.ShiftModifier
NO_BUTTON, NO_KEY = Qt.MouseButton.NoButton, Qt.KeyboardModifier.NoModifier
LOOKS = (Key.Key_7, Key.Key_3, Key.Key_5, Key.Key_1, Key.Key_2)
MOST_ACTIONS = 130
CLICKED, TYPED = 12.0, 1e-3  # mm that a place may be off: two pixels where it was clicked; typed, none


class Hands:
    """What a person does, counted."""

    def __init__(self, qtbot: QtBot, window: Any) -> None:
        self.qtbot, self.window, self.view, self.session = qtbot, window, window.view, window.session
        self.actions = 0

    @property
    def layout(self) -> Layout:
        return self.session.layout

    def press(self, key: Key, hold: Qt.KeyboardModifier = NO_KEY) -> None:
        self.actions += 1
        self.qtbot.keyClick(self.view, key, hold)
        QApplication.processEvents()

    def type_place(self, place: Vec3) -> None:
        self.actions += 1
        self.qtbot.keyClicks(self.view, ", ".join(f"{value:.1f}" for value in place))
        self.qtbot.keyClick(self.view, Key.Key_Return)

    def choose_stock(self, stock: int) -> None:
        """Go up or down in the list of tube sizes until the right one is chosen."""
        choice = self.window.properties.job.stock
        place = choice.findData(stock)
        choice.setFocus()
        while choice.currentIndex() != place:
            self.actions += 1
            self.qtbot.keyClick(choice, Key.Key_Down if choice.currentIndex() < place else Key.Key_Up)
        self.view.setFocus()

    def move(self, pixel: QPoint) -> None:
        place = QPointF(pixel)
        event = QMouseEvent(
            QEvent.Type.MouseMove, place, self.view.mapToGlobal(place), NO_BUTTON, NO_BUTTON, NO_KEY
        )
        QApplication.sendEvent(self.view, event)
        QApplication.processEvents()

    def seat(self, host: int, place: Vec3) -> None:
        """Click a place on a tube, from where it is seen.

        Space takes the next thing under the pointer; Shift keeps it from being drawn to a middle near by.
        """
        for look in (None, *LOOKS):
            if look is not None:
                self.press(look, CTRL)
            x, y = self.view.to_screen(place)
            self.move(QPoint(10, 10))
            self.move(pixel := QPoint(round(x), round(y)))
            for _ in range(4):
                aim = self.view.current_tool._aim
                if aim is not None and isinstance(aim.item, Landing) and aim.item.tube == host:
                    keys = SHIFT if aim.word.startswith("middle") else NO_KEY
                    self.actions += 1
                    self.qtbot.mouseClick(self.view, LEFT, keys, pixel)
                    return
                self.press(Key.Key_Space)
        pytest.fail(f"{self.layout.tubes[host].name} is not seen at {place}")


def test_the_sample_cage_is_laid_again_from_nothing(qtbot: QtBot, window: Any) -> None:
    wanted = sample.build()
    window.session.open(edits.delete(wanted, wanted.tubes), None)
    window.files.job_opened.emit(None)
    qtbot.wait(1)
    hands = Hands(qtbot, window)
    assert hands.layout.both_sides
    assert not hands.layout.tubes
    hands.press(Key.Key_T)
    laid: dict[int, int] = {}  # tubes of the sample, and what stands for them
    for model in wanted.tubes.values():
        if model.id not in laid:
            lay(hands, wanted, model, laid)
    assert hands.layout.tubes.keys() == set(laid.values())
    for model in wanted.tubes.values():
        copy = hands.layout.tubes[laid[model.id]]
        assert copy.stock == model.stock
        assert copy.twin == laid[model.twin or 0]
    print(f"\nthe sample cage: {len(laid)} tubes in {hands.actions} actions")
    assert hands.actions <= MOST_ACTIONS


def lay(hands: Hands, wanted: Layout, model: Tube, laid: dict[int, int]) -> None:
    """Lay one tube of the sample, or the left half of one that runs across, and look at what came of it."""
    before, steps = hands.layout.tubes.keys(), hands.session.undo_stack.count()
    hands.choose_stock(model.stock)
    run = [wanted.nodes[id] for id in model.nodes]
    is_across = model.twin == model.id
    for node in run[: len(run) // 2] if is_across else run:
        if node.landing is None:
            hands.type_place(node.position)
        else:
            hands.seat(laid[node.landing.tube], node.position)
    if is_across:
        x, _, z = run[len(run) // 2 - 1].position
        hands.type_place((x, 0.0, z))
    hands.press(Key.Key_Return)
    assert hands.session.undo_stack.count() == steps + 1
    new = [hands.layout.tubes[id] for id in hands.layout.tubes if id not in before]
    assert len(new) == (1 if is_across else 2)
    laid[model.id] = new[0].id
    laid[model.twin or 0] = new[-1].id
    copied = [hands.layout.nodes[id] for id in new[0].nodes]
    assert len(copied) == len(run)
    for node, copy in zip(run, copied, strict=True):
        off = CLICKED if node.landing is not None else TYPED
        assert distance(node.position, copy.position) < off, model.name
        assert (copy.landing is None) == (node.landing is None)
        if copy.landing is not None and node.landing is not None:
            assert copy.landing.tube == laid[node.landing.tube]
    assert all(distance(a.position, b.position) > 1.0 for a, b in pairwise(copied))
