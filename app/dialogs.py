"""Every question that needs a window of its own; tests replace these functions."""

from collections.abc import Sequence
from pathlib import Path

from PySide6.QtWidgets import QFileDialog, QMessageBox, QWidget


def ask_open_path(parent: QWidget | None, title: str, folder: Path, kinds: str) -> Path | None:
    """Ask for a file that exists; kinds as in "Jobs (*.outrib)"."""
    name, _ = QFileDialog.getOpenFileName(parent, title, str(folder), kinds)
    return Path(name) if name else None


def ask_save_path(parent: QWidget | None, title: str, proposed: Path, kinds: str) -> Path | None:
    """Ask where to write; the file dialog itself asks before replacing a file."""
    name, _ = QFileDialog.getSaveFileName(parent, title, str(proposed), kinds)
    return Path(name) if name else None


def ask_folder(parent: QWidget | None, title: str, proposed: Path) -> Path | None:
    """Ask for a folder to write into."""
    name = QFileDialog.getExistingDirectory(parent, title, str(proposed))
    return Path(name) if name else None


def ask_choice(parent: QWidget | None, title: str, text: str, choices: Sequence[str]) -> str | None:
    """Ask for one of the choices, the first being the default; None when the person backs out."""
    box = QMessageBox(QMessageBox.Icon.NoIcon, title, text, QMessageBox.StandardButton.NoButton, parent)
    box.setTextInteractionFlags(box.textInteractionFlags())
    roles = [QMessageBox.ButtonRole.AcceptRole] + [QMessageBox.ButtonRole.DestructiveRole] * len(choices)
    buttons = [box.addButton(choice, role) for choice, role in zip(choices, roles, strict=False)]
    back = box.addButton("Cancel", QMessageBox.ButtonRole.RejectRole)
    box.setDefaultButton(buttons[0])
    box.setEscapeButton(back)
    box.exec()
    clicked = box.clickedButton()
    return next((choice for choice, button in zip(choices, buttons, strict=True) if button is clicked), None)
