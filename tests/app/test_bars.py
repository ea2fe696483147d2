"""Bars over the view: one sentence each, never in each other's way, never wider than the view."""

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QPushButton, QWidget
from pytestqt.qtbot import QtBot

from app.bars import JobBar, MessageBar
from app.jobs import Job


@pytest.fixture
def room(qtbot: QtBot) -> QWidget:
    room = QWidget()
    qtbot.addWidget(room)
    room.resize(600, 400)
    room.show()
    return room


def test_a_refusal_stays_until_something_else_is_done(room: QWidget) -> None:
    bar = MessageBar(room)
    bar.refuse("The leg is 40 mm too short for this die.")
    assert bar.text == "The leg is 40 mm too short for this die."
    assert not bar._timer.isActive()
    bar.forget_refusal()
    assert bar.text == ""


def test_news_go_away_by_themselves_and_may_have_a_button(qtbot: QtBot, room: QWidget) -> None:
    bar, pressed = MessageBar(room), []
    bar.tell("Written.", "Open the folder", lambda: pressed.append(True))
    assert bar._timer.isActive()
    bar.forget_refusal()
    assert bar.text == "Written."
    qtbot.mouseClick(bar.findChild(QPushButton), Qt.MouseButton.LeftButton)
    assert pressed == [True]


def test_a_long_sentence_wraps_inside_a_narrow_view(room: QWidget) -> None:
    room.resize(300, 400)
    bar = MessageBar(room)
    bar.refuse("This is a long sentence that says what is wrong, where it is, and what to do about it. " * 2)
    assert bar.geometry().left() >= 0
    assert bar.geometry().right() <= 300
    assert bar._text.height() >= bar._text.heightForWidth(bar._text.width())


def test_two_bars_stand_below_each_other(qtbot: QtBot, room: QWidget) -> None:
    progress, message = JobBar(room), MessageBar(room)
    message.stand_below(progress)
    job = Job("Reading", lambda progress: None)
    progress.follow(job)
    message.tell("Saved.")
    assert not progress.geometry().intersects(message.geometry())
    below = message.y()
    with qtbot.waitSignal(job.ended):
        job.start()
    assert not progress.isVisible()
    assert message.y() < below


def test_progress_is_shown_and_cancel_asks_once(qtbot: QtBot, room: QWidget) -> None:
    bar = JobBar(room)
    steps: list[float] = []

    def work(progress):  # type: ignore[no-untyped-def]
        while True:
            progress(0.25, "Cleaning")
            steps.append(0.25)

    job = Job("Reading", work)
    bar.follow(job)
    job.start()
    qtbot.waitUntil(lambda: bar._progress.value() == 250)
    assert bar._doing.text() == "Cleaning"
    with qtbot.waitSignal(job.cancelled):
        bar.cancel()
    assert not bar.isVisible()
    job.wait()
