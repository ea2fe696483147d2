"""A table as the rack and the trial bends have it; cells that may be changed are typed over."""

from collections.abc import Sequence

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QHeaderView, QTableWidget, QTableWidgetItem

from app.guarded import guarded

ROW_HEIGHT = 24
RIGHT = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
LEFT = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter


class TypedTable(QTableWidget):
    """As wide as there is room, one column taking what the others leave; Enter opens a cell."""

    def __init__(self, columns: int, name: str, wide: int = 0) -> None:
        super().__init__(0, columns)
        self.is_filling = False  # cells change by themselves: nothing was typed
        self.setAccessibleName(name)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setWordWrap(False)
        self.setTabKeyNavigation(False)
        self.verticalHeader().hide()
        self.verticalHeader().setDefaultSectionSize(ROW_HEIGHT)
        header = self.horizontalHeader()
        header.setHighlightSections(False)
        header.setMinimumSectionSize(30)
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header.setSectionResizeMode(wide, QHeaderView.ResizeMode.Stretch)

    def show_titles(self, titles: Sequence[tuple[str, str, bool]]) -> None:
        """Head the columns; each has its title, its tip, and whether its cells are numbers."""
        for place, (title, tip, is_number) in enumerate(titles):
            heading = QTableWidgetItem(title)
            heading.setToolTip(f"{tip}.")
            heading.setTextAlignment(RIGHT if is_number else LEFT)
            self.setHorizontalHeaderItem(place, heading)

    @guarded()
    def keyPressEvent(self, event: QKeyEvent) -> None:
        is_enter = event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter)
        item = self.currentItem()
        if is_enter and item is not None and self.state() != self.State.EditingState:
            self.editItem(item)
        else:
            super().keyPressEvent(event)
