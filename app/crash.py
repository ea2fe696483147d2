"""The last net: an exception nobody caught is logged, the job is copied, and the person is told."""

import logging
import logging.handlers
import platform
import sys
import threading
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from types import TracebackType

from PySide6.QtCore import QCoreApplication, QObject, Qt, QThread, QUrl, Signal
from PySide6.QtGui import QDesktopServices, QFontDatabase, QGuiApplication
from PySide6.QtWidgets import QDialog, QHBoxLayout, QLabel, QPlainTextEdit, QPushButton, QVBoxLayout

from app.settings import state_folder
from geometry.files import job as job_file
from geometry.layout import Layout

LOG_BYTES = 500_000
KEPT_COPIES = 10

log = logging.getLogger("outrib")


def start_log() -> Path:
    """Send our log to a file in the state folder; return the file."""
    folder = state_folder()
    folder.mkdir(parents=True, exist_ok=True)
    file = folder / "outrib.log"
    if not log.handlers:
        handler = logging.handlers.RotatingFileHandler(
            file, maxBytes=LOG_BYTES, backupCount=1, encoding="utf-8", delay=True
        )
        handler.setFormatter(logging.Formatter("%(asctime)s %(levelname)s %(message)s"))
        log.addHandler(handler)
        log.setLevel(logging.INFO)
    return file


class CrashHook(QObject):
    """Takes the place of sys.excepthook; `layout` is asked for what to keep a copy of."""

    _caught = Signal(str)

    def __init__(self, layout: Callable[[], Layout], parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._layout = layout
        self._told: set[str] = set()
        self._dialog: CrashDialog | None = None
        self._before = sys.excepthook
        self._caught.connect(self._on_caught, Qt.ConnectionType.QueuedConnection)

    def install(self) -> None:
        self._before = sys.excepthook
        sys.excepthook = self.catch
        threading.excepthook = self._catch_in_thread

    def remove(self) -> None:
        sys.excepthook = self._before
        threading.excepthook = threading.__excepthook__

    def catch(self, kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
        """Log at once; tell the person from the event loop, where a window may open safely."""
        if issubclass(kind, KeyboardInterrupt):
            QCoreApplication.quit()
            return
        text = "".join(traceback.format_exception(kind, error, trace))
        log.error("uncaught\n%s", text)
        print(text, file=sys.stderr)
        self._caught.emit(text)

    def _catch_in_thread(self, args: threading.ExceptHookArgs) -> None:
        if args.exc_value is not None:
            self.catch(args.exc_type, args.exc_value, args.exc_traceback)

    def _on_caught(self, text: str) -> None:
        # A fault in painting comes back with every frame: one dialog for each is enough.
        if text in self._told or QThread.currentThread() is not self.thread():
            return
        self._told.add(text)
        copy = keep_copy(self._layout())
        if self._dialog is not None and self._dialog.isVisible():
            self._dialog.add(text)
            return
        self._dialog = CrashDialog(text, copy)
        self._dialog.show()


class CrashDialog(QDialog):
    """Says calmly what happened, where the copy lies, and holds the text to send on."""

    def __init__(self, text: str, copy: Path | None) -> None:
        super().__init__()
        self.setWindowTitle("A fault in Outrib")
        self.setAttribute(Qt.WidgetAttribute.WA_QuitOnClose, False)
        self.resize(640, 420)
        self._copy = copy
        words = (
            "Something in the program went wrong; the fault is ours. "
            "You can go on, but save under another name."
        )
        if copy is not None:
            words += f" A copy of the job as it was recorded last is kept at {copy}."
        says = QLabel(words, wordWrap=True)
        says.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self._text = QPlainTextEdit(_described(text), readOnly=True)
        self._text.setFont(QFontDatabase.systemFont(QFontDatabase.SystemFont.FixedFont))
        column = QVBoxLayout(self)
        column.addWidget(says)
        column.addWidget(QLabel("This text helps to mend it:"))
        column.addWidget(self._text, 1)
        column.addLayout(self._buttons())

    @property
    def text(self) -> str:
        return self._text.toPlainText()

    def add(self, text: str) -> None:
        self._text.appendPlainText("\n" + text)

    def _buttons(self) -> QHBoxLayout:
        row = QHBoxLayout()
        for words, tip, slot in (
            ("Copy the text", "Put the whole text on the clipboard.", self._on_copy),
            ("Open the folder", "Show where the log and the copy lie.", self._on_folder),
        ):
            button = QPushButton(words)
            button.setToolTip(tip)
            button.clicked.connect(slot)
            row.addWidget(button)
        row.addStretch(1)
        close = QPushButton("Go on")
        close.setDefault(True)
        close.clicked.connect(self.accept)
        row.addWidget(close)
        return row

    def _on_copy(self) -> None:
        QGuiApplication.clipboard().setText(self.text)

    def _on_folder(self) -> None:
        QDesktopServices.openUrl(QUrl.fromLocalFile(str(state_folder())))


def keep_copy(layout: Layout) -> Path | None:
    """Save a recovery copy; None when there is nothing to keep or it can't be written."""
    if not layout.tubes and not layout.panels:
        return None
    folder = state_folder() / "recovery"
    path = folder / time.strftime("%Y-%m-%d %H-%M-%S.outrib")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        job_file.save(layout, path)
    except Exception:  # the hook itself must never fail; the log says why there is no copy
        log.exception("no recovery copy")
        return None
    for old in sorted(folder.glob("*.outrib"))[:-KEPT_COPIES]:
        old.unlink(missing_ok=True)
    return path


def _described(text: str) -> str:
    from app.version import version

    return f"Outrib {version()}, Python {platform.python_version()}, {platform.platform()}\n\n{text}"
