"""The docks round the view: what is folded, and which step has the right side for itself."""

from typing import Any, Literal

from PySide6.QtCore import QByteArray, QObject, Qt, Signal
from PySide6.QtWidgets import (
    QDockWidget,
    QHBoxLayout,
    QLabel,
    QMainWindow,
    QScrollArea,
    QSizePolicy,
    QTabBar,
    QTabWidget,
    QToolButton,
    QWidget,
)

Place = Literal["job", "selection", "below"]
PLACES: tuple[Place, ...] = ("job", "selection", "below")
AREAS = {
    "job": Qt.DockWidgetArea.LeftDockWidgetArea,
    "selection": Qt.DockWidgetArea.RightDockWidgetArea,
    "step": Qt.DockWidgetArea.RightDockWidgetArea,
    "below": Qt.DockWidgetArea.BottomDockWidgetArea,
}
FIRST_SIZES = {"job": 220, "selection": 292, "below": 190}
STATE_VERSION = 1


class Furniture(QObject):
    """Keeps what the person folded apart from what the moment hides."""

    folded_changed = Signal(str, bool)  # place, folded

    def __init__(self, window: QMainWindow) -> None:
        super().__init__(window)
        self._window = window
        self._folded: dict[Place, bool] = dict.fromkeys(PLACES, False)
        self._is_away = False  # on the start page, or while the view is alone
        self._step: QDockWidget | None = None
        self._docks: dict[Place, QDockWidget] = {}
        self.tabs = QTabWidget(documentMode=True)
        self._lasting: list[QWidget] = []
        for corner in (Qt.Corner.BottomLeftCorner, Qt.Corner.TopLeftCorner):
            window.setCorner(corner, Qt.DockWidgetArea.LeftDockWidgetArea)
        for corner in (Qt.Corner.BottomRightCorner, Qt.Corner.TopRightCorner):
            window.setCorner(corner, Qt.DockWidgetArea.RightDockWidgetArea)

    def set_side(self, place: Place, title: str, key: str, widget: QWidget) -> None:
        """Put a widget into the dock at one side."""
        self._docks[place] = self._dock(place, title, key, widget)

    def set_below(self, key: str) -> None:
        """Put the tabs under the view; they bring their own titles."""
        self.tabs.setTabsClosable(True)
        self.tabs.tabCloseRequested.connect(self._on_close_tab)
        fold = _fold_button("below", key)
        fold.clicked.connect(self._on_fold)
        self.tabs.setCornerWidget(fold)
        dock = self._dock("below", "", key, self.tabs)
        dock.setTitleBarWidget(QWidget())
        self._docks["below"] = dock

    def add_tab(self, widget: QWidget, title: str, tip: str, *, lasting: bool = True) -> None:
        """Add a tab; lasting ones can't be closed."""
        place = self.tabs.addTab(widget, title)
        self.tabs.setTabToolTip(place, tip)
        if lasting:
            self._lasting.append(widget)
            for side in (QTabBar.ButtonPosition.LeftSide, QTabBar.ButtonPosition.RightSide):
                self.tabs.tabBar().setTabButton(place, side, None)

    def show_tab(self, widget: QWidget, title: str, tip: str) -> None:
        """Bring a tab to the front, adding it when it was closed, and unfold."""
        if self.tabs.indexOf(widget) < 0:
            self.add_tab(widget, title, tip, lasting=False)
        self.tabs.setCurrentWidget(widget)
        self.fold("below", False)

    def name_tab(self, widget: QWidget, title: str) -> None:
        place = self.tabs.indexOf(widget)
        if place >= 0 and self.tabs.tabText(place) != title:
            self.tabs.setTabText(place, title)

    def is_folded(self, place: Place) -> bool:
        return self._folded[place]

    def fold(self, place: Place, folded: bool) -> None:
        if self._folded[place] != folded:
            self._folded[place] = folded
            self.folded_changed.emit(place, folded)
        self._arrange()

    def set_away(self, away: bool) -> None:
        """Hide everything for the moment, or bring back what is not folded."""
        self._is_away = away
        self._arrange()

    @property
    def step(self) -> QWidget | None:
        """The step that has the right side for itself."""
        return self._step.widget() if self._step is not None else None

    def open_step(self, title: str, widget: QWidget) -> None:
        """Give the right side to a step until it is closed."""
        self.close_step()
        if isinstance(widget, QDockWidget):
            self._step = widget
            widget.setObjectName("dock-step")
            widget.setFeatures(QDockWidget.DockWidgetFeature.NoDockWidgetFeatures)
            self._window.addDockWidget(AREAS["step"], widget)
        else:
            self._step = self._dock("step", title, "", _scrolling(widget))
        width = max(
            self._docks["selection"].width(), widget.sizeHint().width() + 24, FIRST_SIZES["selection"]
        )
        self._arrange()
        self._window.resizeDocks([self._step], [min(width, 380)], Qt.Orientation.Horizontal)

    def close_step(self) -> None:
        if self._step is None:
            return
        step, self._step = self._step, None
        self._window.removeDockWidget(step)
        step.deleteLater()
        self._arrange()

    def first_arrangement(self) -> None:
        """Sizes for a person who has not set any."""
        across = [self._docks["job"], self._docks["selection"]]
        widths = [FIRST_SIZES["job"], FIRST_SIZES["selection"]]
        self._window.resizeDocks(across, widths, Qt.Orientation.Horizontal)
        self._window.resizeDocks([self._docks["below"]], [FIRST_SIZES["below"]], Qt.Orientation.Vertical)

    def state(self) -> dict[str, Any]:
        """What is folded, which tab is in front and how large the docks are, for the next time."""
        sizes = bytes(self._window.saveState(STATE_VERSION).toBase64().data()).decode("ascii")
        return {"folded": dict(self._folded), "tab": self.tabs.currentIndex(), "sizes": sizes}

    def restore(self, state: dict[str, Any]) -> None:
        """Bring back what state() gave; whatever is missing stays as it is."""
        sizes = state.get("sizes")
        if isinstance(sizes, str):
            self._window.restoreState(QByteArray.fromBase64(sizes.encode("ascii")), STATE_VERSION)
        folded = state.get("folded")
        for place in PLACES:
            if isinstance(folded, dict) and isinstance(folded.get(place), bool):
                self.fold(place, folded[place])
        tab = state.get("tab")
        if isinstance(tab, int) and 0 <= tab < self.tabs.count():
            self.tabs.setCurrentIndex(tab)
        self._arrange()

    def _arrange(self) -> None:
        for place, dock in self._docks.items():
            is_covered = place == "selection" and self._step is not None
            dock.setVisible(not (self._is_away or self._folded[place] or is_covered))
        if self._step is not None:
            self._step.setVisible(not self._is_away)

    def _dock(self, name: str, title: str, key: str, widget: QWidget) -> QDockWidget:
        dock = QDockWidget(title, self._window)
        dock.setObjectName(f"dock-{name}")
        dock.setAllowedAreas(AREAS[name])
        dock.setFeatures(QDockWidget.DockWidgetFeature.NoDockWidgetFeatures)
        dock.setWidget(widget)
        dock.setTitleBarWidget(self._title_bar(name, title, key))
        self._window.addDockWidget(AREAS[name], dock)
        return dock

    def _title_bar(self, name: str, title: str, key: str) -> QWidget:
        bar = QWidget()
        row = QHBoxLayout(bar)
        row.setContentsMargins(2, 0, 4, 0)
        label = QLabel(title, objectName="dock-title")
        label.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        row.addWidget(label, 1)
        if key:
            fold = _fold_button(name, key)
            fold.clicked.connect(self._on_fold)
            row.addWidget(fold)
        return bar

    def _on_fold(self) -> None:
        self.fold(self.sender().property("place"), True)

    def _on_close_tab(self, place: int) -> None:
        if self.tabs.widget(place) not in self._lasting:
            self.tabs.removeTab(place)


def _fold_button(place: str, key: str) -> QToolButton:
    button = QToolButton(text="–", objectName="fold")
    button.setProperty("place", place)
    button.setToolTip(f"Fold this away; {key} brings it back.")
    button.setAccessibleName("Fold away")
    button.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    return button


def _scrolling(widget: QWidget) -> QScrollArea:
    area = QScrollArea(widgetResizable=True)
    area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    area.setWidget(widget)
    return area
