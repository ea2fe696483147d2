"""The window: it makes the rooms, connects them with each other, and arranges the furniture."""

import importlib
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QAction, QCloseEvent, QDragEnterEvent, QDropEvent, QIcon, QSurfaceFormat
from PySide6.QtWidgets import (
    QApplication,
    QDockWidget,
    QHBoxLayout,
    QLabel,
    QMainWindow,
    QStackedWidget,
    QTabWidget,
    QToolBar,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from app import actions, theme
from app.bars import HintLine, JobBar, MessageBar
from app.guarded import guarded
from app.job_files import JobFiles
from app.panels.start import CHOICES, StartPage
from app.session import Session
from app.settings import Settings

TITLE = "Outrib"
SMALLEST = QSize(960, 600)
FIRST_SIZE = QSize(1280, 800)


def run(path: Path | None = None, safe_graphics: bool = False) -> int:
    """Open the window, optionally on a file, and stay until it is closed."""
    viewport = importlib.import_module("app.viewport.viewport")
    QSurfaceFormat.setDefaultFormat(viewport.default_format())
    app = QApplication.instance() or QApplication(sys.argv[:1])
    window = MainWindow(Session(), Settings(), safe_graphics)
    window.show()
    if path is not None:
        window.files.open(path)
    return int(app.exec())


class MainWindow(QMainWindow):
    """One job at a time."""

    def __init__(self, session: Session, settings: Settings, safe_graphics: bool = False) -> None:
        super().__init__()
        self.session = session
        self.settings = settings
        self.setMinimumSize(SMALLEST)
        self.resize(FIRST_SIZE)
        self.setWindowTitle(f"{TITLE}[*]")
        self.start = StartPage()
        self.room = QLabel("The view")
        self.setCentralWidget(QStackedWidget())
        self.centralWidget().addWidget(self.start)
        self.files = JobFiles(session, settings, self)
        self.message = MessageBar(self)
        self.files.refused.connect(self.message.refuse)


if __name__ == "__main__":
    sys.exit(run())
