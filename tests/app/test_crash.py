"""The last net: logged, copied, told; and never twice for the same fault."""

import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QApplication, QPushButton
from pytestqt.qtbot import QtBot

from app import crash
from app.crash import CrashDialog, CrashHook
from app.settings import state_folder
from geometry.files import job as job_file
from geometry.layout import Layout


@pytest.fixture
def hook(qapp: object, layout: Layout) -> Iterator[CrashHook]:
    crash.log.handlers.clear()
    crash.start_log()
    hook = CrashHook(lambda: layout)
    yield hook
    for dialog in dialogs():
        dialog.close()
        dialog.deleteLater()
    for handler in crash.log.handlers:
        handler.close()
    crash.log.handlers.clear()


def dialogs() -> list[CrashDialog]:
    return [widget for widget in QApplication.topLevelWidgets() if isinstance(widget, CrashDialog)]


def fail(hook: CrashHook, words: str) -> None:
    try:
        raise RuntimeError(words)
    except RuntimeError as error:
        hook.catch(type(error), error, error.__traceback__)


def shown(qtbot: QtBot) -> CrashDialog:
    qtbot.waitUntil(lambda: any(dialog.isVisible() for dialog in dialogs()))
    return next(dialog for dialog in dialogs() if dialog.isVisible())


def test_a_fault_is_logged_and_told(qtbot: QtBot, hook: CrashHook) -> None:
    fail(hook, "the jig slipped")
    dialog = shown(qtbot)
    assert "the jig slipped" in dialog.text
    assert "Traceback" in dialog.text
    assert "the jig slipped" in (state_folder() / "outrib.log").read_text()


def test_the_dialog_does_not_block(qtbot: QtBot, hook: CrashHook) -> None:
    fail(hook, "a")
    assert not shown(qtbot).isModal()


def test_the_recovery_copy_is_the_job(qtbot: QtBot, hook: CrashHook, layout: Layout) -> None:
    fail(hook, "a")
    shown(qtbot)
    (copy,) = (state_folder() / "recovery").glob("*.outrib")
    assert job_file.load(copy).tubes == layout.tubes


def test_the_same_fault_is_told_once(qtbot: QtBot, hook: CrashHook) -> None:
    for _ in range(3):
        fail(hook, "again and again")
    shown(qtbot)
    qtbot.wait(50)
    assert len(dialogs()) == 1
    assert dialogs()[0].text.count("RuntimeError: again and again") == 1


def test_another_fault_joins_the_open_dialog(qtbot: QtBot, hook: CrashHook) -> None:
    fail(hook, "first")
    dialog = shown(qtbot)
    fail(hook, "second")
    qtbot.waitUntil(lambda: "second" in dialog.text)
    assert len(dialogs()) == 1


def test_a_fault_in_a_thread_is_told_in_the_window(qtbot: QtBot, hook: CrashHook) -> None:
    before = sys.excepthook
    hook.install()
    try:
        thread = threading.Thread(target=lambda: 1 / 0)
        thread.start()
        thread.join()
        assert "ZeroDivisionError" in shown(qtbot).text
    finally:
        hook.remove()
    assert sys.excepthook is before


def test_the_text_can_be_copied(qtbot: QtBot, hook: CrashHook) -> None:
    fail(hook, "copy me")
    dialog = shown(qtbot)
    button = next(b for b in dialog.findChildren(QPushButton) if b.text() == "Copy the text")
    qtbot.mouseClick(button, Qt.MouseButton.LeftButton)
    assert "copy me" in QGuiApplication.clipboard().text()


def test_an_empty_job_needs_no_copy(qapp: object) -> None:
    assert crash.keep_copy(Layout()) is None


def test_only_the_newest_copies_are_kept(
    qapp: object, layout: Layout, monkeypatch: pytest.MonkeyPatch
) -> None:
    stamps = iter(f"2026-01-{day:02} 10-00-00.outrib" for day in range(1, crash.KEPT_COPIES + 4))
    monkeypatch.setattr(crash.time, "strftime", lambda pattern: next(stamps))
    kept = [crash.keep_copy(layout) for _ in range(crash.KEPT_COPIES + 3)]
    assert sorted((state_folder() / "recovery").iterdir()) == kept[3:]


def test_a_copy_that_can_not_be_written_is_no_second_fault(
    qapp: object, layout: Layout, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    blocked = tmp_path / "file"
    blocked.touch()
    monkeypatch.setattr(crash, "state_folder", lambda: blocked)
    assert crash.keep_copy(layout) is None
