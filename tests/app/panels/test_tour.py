"""The tour on the sample: each lesson can be done with mouse and keys, and goes on by itself."""

from collections.abc import Callable
from itertools import pairwise
from typing import Any

import pytest
from PySide6.QtCore import QEvent, QPoint, QPointF, Qt
from PySide6.QtGui import QMouseEvent
from PySide6.QtWidgets import QApplication, QPushButton
from pytestqt.qtbot import QtBot

from app.panels.mending import MendButton
from app.panels.tour import LESSONS, TourCard
from app.settings import Settings
from app.tour_commands import DONE
from app.viewport.camera import Ray
from geometry.layout import Tube
from geometry.tube import centreline
from geometry.vectors import Vec3

Key = Qt.Key
LEFT = Qt.MouseButton.LeftButton
CTRL = Qt.KeyboardModifier.ControlModifier


class Person:
    """Does what the card asks for, by events alone."""

    def __init__(self, qtbot: QtBot, window: Any) -> None:
        self.qtbot, self.window, self.view, self.tour = qtbot, window, window.view, window.on_tour

    @property
    def lesson(self) -> str:
        return LESSONS[self.tour._number].name

    def tube(self, name: str) -> Tube:
        return next(tube for tube in self.window.session.layout.tubes.values() if tube.name == name)

    def pixel(self, point: Vec3) -> QPoint:
        x, y = self.view.to_screen(point)
        return QPoint(round(x), round(y))

    def metal(self, x: float, z: float) -> QPoint:
        """The pixel of a place on the left side of the body."""
        hit = self.view.outlook.solid.hit(Ray((x, 4000.0, z), (0.0, -1.0, 0.0)))
        return self.pixel((x, hit.point[1] + 49.0, z))

    def top(self, x: float, y: float) -> QPoint:
        hit = self.view.outlook.solid.hit(Ray((x, y, 4000.0), (0.0, 0.0, -1.0)))
        return self.pixel((x, y, hit.point[2] + 49.0))

    def move(self, pixel: QPoint, button: Qt.MouseButton = Qt.MouseButton.NoButton) -> None:
        place, none = QPointF(pixel), Qt.KeyboardModifier.NoModifier
        kind = QEvent.Type.MouseMove
        at = self.view.mapToGlobal(place)
        event = QMouseEvent(kind, place, at, Qt.MouseButton.NoButton, button, none)
        QApplication.sendEvent(self.view, event)
        QApplication.processEvents()

    def click(self, *pixels: QPoint) -> None:
        for pixel in pixels:
            self.move(pixel)
            self.qtbot.mouseClick(self.view, LEFT, pos=pixel)

    def drag(self, start: QPoint, by: QPoint) -> None:
        self.move(start)
        self.qtbot.mousePress(self.view, LEFT, pos=start)
        for part in (0.3, 0.6, 1.0):
            self.move(start + by * part, LEFT)
        self.qtbot.mouseRelease(self.view, LEFT, pos=start + by)

    def press(self, key: Qt.Key, keys: Qt.KeyboardModifier = Qt.KeyboardModifier.NoModifier) -> None:
        self.qtbot.keyClick(self.view, key, keys)

    # What the lessons ask for

    def do_look(self) -> None:
        self.drag(QPoint(60, 60), QPoint(-90, 10))

    def do_select(self) -> None:
        line = centreline.of(self.window.session.layout, self.tube("Left B upright"))
        self.click(self.pixel(centreline.place_at(line, line.length * 0.3)))

    def do_drag(self) -> None:
        corner = self.tube("Left B upright").nodes[1]
        self.drag(self.pixel(self.window.session.layout.nodes[corner].position), QPoint(12, 8))

    def do_undo(self) -> None:
        self.press(Key.Key_Z, CTRL)

    def do_lay(self) -> None:
        self.press(Key.Key_T)
        self.click(self.metal(-800.0, 700.0), self.metal(-1300.0, 700.0))
        self.press(Key.Key_Return)

    def do_sides(self) -> None:
        self.drag(QPoint(60, 60), QPoint(250, 0))

    def do_follow(self) -> None:
        self.press(Key.Key_W)
        self.click(self.top(-1100.0, 250.0), self.top(-2300.0, 250.0))
        follow = self.view.follow_tool
        self.qtbot.waitUntil(lambda: bool(follow.state.proposals), timeout=60_000)
        self.press(Key.Key_Return)

    def do_mend(self) -> None:
        self.press(Key.Key_V)
        tabs = self.window.findings

        def offered() -> list[MendButton]:
            return [one for one in tabs.findChildren(MendButton) if one.isEnabled() and one.isVisible()]

        self.press(Key.Key_F4)
        self.qtbot.waitUntil(lambda: bool(offered()), timeout=30_000)
        self.qtbot.mouseClick(offered()[0], LEFT)


@pytest.fixture
def person(qtbot: QtBot, window: Any) -> Person:
    return Person(qtbot, window)


@pytest.fixture
def touring(qtbot: QtBot, person: Person) -> Person:
    """On the first lesson, in the sample."""
    person.tour.pause.setInterval(0)
    qtbot.keyClick(person.window, Key.Key_F1, Qt.KeyboardModifier.ShiftModifier)
    qtbot.waitUntil(lambda: person.tour.is_running, timeout=20_000)
    qtbot.waitUntil(person.view.isVisible)
    qtbot.wait(30)  # the room takes its size, and the sample is fitted into it
    return person


def test_every_lesson_but_the_last_is_one_that_can_be_done() -> None:
    names = [lesson.name for lesson in LESSONS]
    assert list(DONE) == names[:-1]
    assert all(hasattr(Person, f"do_{name}") for name in DONE)


def test_the_words_are_short_and_calm() -> None:
    for lesson in LESSONS:
        assert len(lesson.words.split()) <= 42, lesson.name
        assert "!" not in lesson.words


def test_the_tour_is_done_with_mouse_and_keys_and_goes_on_by_itself(qtbot: QtBot, touring: Person) -> None:
    for before, after in pairwise(LESSONS):
        assert touring.lesson == before.name
        getattr(touring, f"do_{before.name}")()
        qtbot.waitUntil(_is_at(touring, after.name), timeout=20_000)
    card = touring.tour.card
    assert card.next.text() == "Finish"
    qtbot.mouseClick(card.next, LEFT)
    assert not touring.tour.is_running
    assert card.isHidden()
    assert touring.window.settings.tour == "finished"


def _is_at(person: Person, name: str) -> Callable[[], bool]:
    return lambda: person.lesson == name


@pytest.mark.parametrize("name", ["select", "drag", "undo", "lay", "mend"])
def test_looking_round_is_not_taken_for_another_lesson(qtbot: QtBot, touring: Person, name: str) -> None:
    while touring.lesson != name:
        touring.tour.next()
    touring.do_look()
    qtbot.wait(5)
    assert touring.lesson == name


def test_a_mend_is_made_by_keys_as_the_card_says(qtbot: QtBot, touring: Person) -> None:
    touring.tour._go(7)
    tabs = touring.window.findings
    qtbot.waitUntil(lambda: bool(tabs.findChildren(MendButton)), timeout=30_000)
    touring.press(Key.Key_F4)
    assert touring.view.hasFocus()
    touring.press(Key.Key_F, CTRL)
    qtbot.keyClick(touring.window.focusWidget(), Key.Key_Right)
    button = touring.window.focusWidget()
    assert isinstance(button, MendButton)
    qtbot.keyClick(button, Key.Key_Return)
    qtbot.waitUntil(_is_at(touring, "paper"), timeout=5_000)


def test_next_and_back_go_from_lesson_to_lesson_by_keys(qtbot: QtBot, touring: Person) -> None:
    card = touring.tour.card
    assert not card.back.isEnabled()
    qtbot.keyClick(touring.view, Key.Key_Tab)
    assert touring.window.focusWidget() is card.next  # nothing lies before the first lesson
    qtbot.keyClick(card.next, Key.Key_Return)
    assert touring.lesson == "select"
    qtbot.keyClick(card.next, Key.Key_Space)
    assert touring.lesson == "drag"
    qtbot.keyClick(card.next, Key.Key_Tab)
    qtbot.keyClick(card.back, Key.Key_Return)
    assert touring.lesson == "select"
    assert card.count.text() == f"Tour, 2 of {len(LESSONS)}"


def test_escape_leaves_the_tour_and_it_is_remembered(qtbot: QtBot, touring: Person) -> None:
    touring.press(Key.Key_Escape)
    assert not touring.tour.is_running
    assert touring.window.settings.tour == "left"
    assert Settings().tour == "left"
    assert touring.view.hasFocus()


def test_escape_belongs_to_what_is_begun_first(qtbot: QtBot, touring: Person) -> None:
    touring.press(Key.Key_T)
    touring.click(touring.metal(-800.0, 700.0))
    for _ in range(2):  # the tube, the tool
        touring.press(Key.Key_Escape)
        assert touring.tour.is_running
    touring.press(Key.Key_Escape)
    assert not touring.tour.is_running


def test_escape_on_the_card_leaves_and_gives_the_keys_back(qtbot: QtBot, touring: Person) -> None:
    touring.tour.card.next.setFocus()
    qtbot.keyClick(touring.tour.card.next, Key.Key_Escape)
    assert not touring.tour.is_running
    assert touring.view.hasFocus()


def test_a_finished_tour_that_is_left_the_next_time_stays_finished(touring: Person) -> None:
    touring.window.settings.set_tour("finished")
    touring.tour.leave()
    assert touring.window.settings.tour == "finished"


def test_unsaved_work_is_asked_for_and_kept_by_who_stays(qtbot: QtBot, cage: Any, answers: Any) -> None:
    cage.session.select(cage.session.layout.tubes)
    cage.commands["reverse"].trigger()
    layout, answers.choice = cage.session.layout, None
    cage.commands["tour"].trigger()
    assert answers.asked == ["Unsaved changes"]
    assert not cage.on_tour.is_running
    assert cage.session.layout is layout
    cage.files.job_opened.emit(None)  # another job later on begins no tour
    assert not cage.on_tour.is_running


def test_another_job_ends_the_tour(touring: Person) -> None:
    touring.window.files.new()
    assert not touring.tour.is_running
    assert touring.tour.card.isHidden()


def test_the_first_page_offers_it_until_it_is_answered(qtbot: QtBot, window: Any) -> None:
    def button(words: str) -> QPushButton:
        return next(one for one in window.start.findChildren(QPushButton) if one.text() == words)

    assert button("Take the tour").isVisible()
    qtbot.mouseClick(button("No, thanks"), LEFT)
    assert not button("Take the tour").isVisible()
    assert window.settings.tour == "left"
    window.show_room()
    window.show_start()
    assert not button("Take the tour").isVisible()


def test_the_first_page_begins_it(qtbot: QtBot, window: Any) -> None:
    take = next(one for one in window.start.findChildren(QPushButton) if one.text() == "Take the tour")
    qtbot.mouseClick(take, LEFT)
    qtbot.waitUntil(lambda: window.on_tour.is_running, timeout=20_000)
    assert window.on_tour.card.isVisible()


def test_the_card_stays_inside_the_view_and_can_be_moved_out_of_the_way(
    qtbot: QtBot, touring: Person
) -> None:
    card: TourCard = touring.tour.card
    before = touring.view.camera()
    for lesson in range(len(LESSONS)):
        card.show_lesson(lesson)
        assert touring.view.rect().contains(card.geometry())
    qtbot.mousePress(card, LEFT, pos=QPoint(20, 20))
    qtbot.mouseMove(card, QPoint(-2000, -2000))
    qtbot.mouseRelease(card, LEFT, pos=QPoint(20, 20))
    assert card.pos() == QPoint(0, 0)
    card.show_lesson(3)
    assert card.pos() == QPoint(0, 0)
    assert touring.view.camera() == before  # the view below felt nothing
