"""The whole window without a screen, with every question answered by the test."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from msgspec.structs import replace
from PySide6.QtCore import QRect, Qt
from pytestqt.qtbot import QtBot

from geometry import edits, rack
from geometry.layout import Body, Landing, Layout, Mesh, Panel, Placement

CORNERS = [(x, y, z) for x in (-1500.0, 500.0) for y in (-700.0, 700.0) for z in (200.0, 1200.0)]
FACES = [
    *((0, 1, 3), (0, 3, 2), (4, 6, 7), (4, 7, 5), (0, 4, 5), (0, 5, 1)),
    *((2, 3, 7), (2, 7, 6), (0, 2, 6), (0, 6, 4), (1, 5, 7), (1, 7, 3)),
]


def _fixed(values: Any, kind: type) -> Any:
    array = np.array(values, dtype=kind)
    array.flags.writeable = False
    return array


def with_crate(layout: Layout) -> Layout:
    """Add a body of two panels, a box and one that lies inside it."""
    body, box, seat = layout.next_id, layout.next_id + 1, layout.next_id + 2
    faces = _fixed(FACES, np.int32)
    large, small = (Mesh(_fixed(np.array(CORNERS) * scale, np.float64), faces) for scale in (1.0, 0.5))
    panels = {box: Panel(box, "box", body, large, "box"), seat: Panel(seat, "seat", body, small, "seat")}
    return replace(
        layout,
        next_id=seat + 1,
        bodies={**layout.bodies, body: Body(body, "Crate", Placement())},
        panels={**layout.panels, **panels},
    )


def small_cage() -> Layout:
    """A hoop over the box, and a straight tube that lands on it."""
    layout = with_crate(rack.with_starting_rack(Layout(name="Crate job")))
    stock = next(iter(layout.stocks))
    hoop = [(0.0, 760.0, 300.0), (0.0, 760.0, 1260.0), (0.0, -760.0, 1260.0), (0.0, -760.0, 300.0)]
    layout, top = edits.add_tube(layout, hoop, stock, "Hoop")
    layout, _ = edits.add_tube(layout, [Landing(top, 400.0), (-1400.0, 760.0, 700.0)], stock, "Brace")
    return layout


@pytest.fixture
def layout() -> Layout:
    return small_cage()


class Answers:
    """What the person answers to the next questions; records what was asked."""

    def __init__(self) -> None:
        self.open_path: Path | None = None
        self.save_path: Path | None = None
        self.folder: Path | None = None
        self.choice: str | None = "Don't save"
        self.asked: list[str] = []


@pytest.fixture
def answers(monkeypatch: pytest.MonkeyPatch) -> Answers:
    from app import dialogs

    answers = Answers()

    def answer(name: str) -> Callable[..., Any]:
        def ask(parent: object, title: str, *rest: object) -> Any:
            answers.asked.append(title)
            return getattr(answers, name)

        return ask

    monkeypatch.setattr(dialogs, "ask_open_path", answer("open_path"))
    monkeypatch.setattr(dialogs, "ask_save_path", answer("save_path"))
    monkeypatch.setattr(dialogs, "ask_folder", answer("folder"))
    monkeypatch.setattr(dialogs, "ask_choice", answer("choice"))
    return answers


@pytest.fixture
def window(qtbot: QtBot, answers: Answers) -> Iterator[Any]:
    """The window on its first page, of the size that a small laptop leaves it."""
    from app.main_window import MainWindow
    from app.session import Session
    from app.settings import Settings

    window = MainWindow(Session(rack.with_starting_rack(Layout())), Settings())
    window.view.navigation.flies = False  # cameras are there at once
    window.setWindowState(Qt.WindowState.WindowNoState)  # the screen of these tests is small
    window.setGeometry(QRect(0, 0, 1280, 780))
    window.show()
    window.activateWindow()
    qtbot.waitUntil(window.isActiveWindow)
    yield window
    answers.choice = "Don't save"
    window.close()
    window.deleteLater()


@pytest.fixture
def cage(window: Any, layout: Layout) -> Any:
    """The window with a small cage opened, not yet saved anywhere."""
    window.session.open(layout, None)
    window.files.job_opened.emit(None)
    return window
