"""Every command with its key and what it does; typing narrows the list."""

from collections.abc import Sequence

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QHeaderView, QLineEdit, QTreeWidget, QTreeWidgetItem, QVBoxLayout, QWidget

from app.panels.rows import children


class KeysPanel(QWidget):
    """A list to look things up in."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.search = QLineEdit(placeholderText="Type to find a command", clearButtonEnabled=True)
        self.search.textChanged.connect(self._narrow)
        self.tree = QTreeWidget()
        self.tree.setRootIsDecorated(False)
        self.tree.setUniformRowHeights(True)
        self.tree.setHeaderLabels(["Command", "Key", "What it does"])
        self.tree.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.tree.setAccessibleName("Commands and keys")
        header = self.tree.header()
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header.setSectionResizeMode(2, QHeaderView.ResizeMode.Stretch)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self.search)
        column.addWidget(self.tree, 1)

    def set_commands(self, rows: Sequence[tuple[str, str, str]]) -> None:
        """Show rows of command, key and sentence."""
        self.tree.clear()
        for row in rows:
            item = QTreeWidgetItem(self.tree, [*row])
            item.setToolTip(2, row[2])
        self._narrow(self.search.text())

    def _narrow(self, text: str) -> None:
        wanted = text.lower().split()
        for item in children(self.tree.invisibleRootItem()):
            words = " ".join(item.text(column) for column in range(3)).lower()
            item.setHidden(not all(word in words for word in wanted))
