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

from app.bars import quiet_button

Place = Literal["job", "selection", "below"]
PLACES: tuple[Place, ...] = ("job", "selection", "below")
AREAS = {
    "job": Qt.DockWidgetArea.LeftDockWidgetArea,
    "selection": Qt.DockWidgetArea.RightDockWidgetArea,
    "step": Qt.DockWidgetArea.RightDockWidgetArea,
    "below": Qt.DockWidgetArea.BottomDockWidgetArea,
}
FIRST_SIZES = {"job": 232, "selection": 292, "below": 204}
STATE_VERSION = 1
STEP_WIDTH, WIDEST_STEP = 366, 560
STEP_MARGIN = 20  # frame and scroll bar


class Furniture(QObject):
    """Keeps what the person folded apart from what the moment hides."""

    folded_changed = Signal(str, bool)  # place, folded

    def __init__(self, window: QMainWindow) -> None:
        super().__init__(window)
        self._window = window
        self._folded: dict[Place, bool] = dict.fromkeys(PLACES, False)
        self._is_away = False  # on the start page, or while the view is alone
        self._has_step = False
        self._width_before = FIRST_SIZES["selection"]
        self._docks: dict[Place, QDockWidget] = {}
        self.tabs = QTabWidget()
        self.tabs.setDocumentMode(True)
        self._step_area = QScrollArea()
        self._step_area.setWidgetResizable(True)
        self._step_area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._step_title = _title("")
        self._step = self._dock("step", self._step_title, "", self._step_area)
        for corner in (Qt.Corner.BottomLeftCorner, Qt.Corner.TopLeftCorner):
            window.setCorner(corner, Qt.DockWidgetArea.LeftDockWidgetArea)
        for corner in (Qt.Corner.BottomRightCorner, Qt.Corner.TopRightCorner):
            window.setCorner(corner, Qt.DockWidgetArea.RightDockWidgetArea)

    def set_side(self, place: Place, title: str, key: str, widget: QWidget) -> None:
        """Put a widget into the dock at one side."""
        label = _title(title)
        self._docks[place] = self._dock(place, label, key, widget)

    def set_below(self, key: str) -> None:
        """Put the tabs under the view; they bring their own titles."""
        self.tabs.tabBar().setDrawBase(False)
        fold = _fold_button("below", key)
        fold.clicked.connect(self._on_fold)
        self.tabs.setCornerWidget(fold)
        dock = self._dock("below", QLabel(), key, self.tabs)
        dock.setTitleBarWidget(QWidget())
        self._docks["below"] = dock

    def add_tab(self, widget: QWidget, title: str, tip: str, *, lasting: bool = True) -> None:
        """Add a tab; those that don't last have a button that closes them."""
        place = self.tabs.addTab(widget, title)
        self.tabs.setTabToolTip(place, tip)
        if not lasting:
            button = quiet_button("✕")
            button.setToolTip("Close this tab.")
            button.setAccessibleName(f"Close {title}")
            button.setProperty("tab", widget)
            button.clicked.connect(self._on_close_tab)
            self.tabs.tabBar().setTabButton(place, QTabBar.ButtonPosition.RightSide, button)

    def show_tab(self, widget: QWidget, title: str, tip: str) -> None:
        """Bring a tab to the front, adding it when it was closed, and unfold."""
        if self.tabs.indexOf(widget) < 0:
            self.add_tab(widget, title, tip, lasting=False)
        self.tabs.setCurrentWidget(widget)
        self.fold("below", False)
        self._give_height(widget)

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

    def open_step(self, title: str, widget: QWidget) -> None:
        """Give the right side to a step until it is closed."""
        self.close_step()
        self._width_before = self._docks["selection"].width()
        self._step_title.setText(title)
        self._step_area.setWidget(widget)
        widget.show()
        self._has_step = True
        self._arrange()
        wanted = min(max(widget.sizeHint().width() + STEP_MARGIN, STEP_WIDTH), WIDEST_STEP)
        self._window.resizeDocks([self._step], [wanted], Qt.Orientation.Horizontal)

    def close_step(self) -> None:
        """Take the step's widget out; it belongs to its owner again."""
        if not self._has_step:
            return
        widget = self._step_area.takeWidget()
        widget.hide()
        widget.setParent(None)
        self._has_step = False
        self._arrange()
        dock = [self._docks["selection"]]
        self._window.resizeDocks(dock, [self._width_before], Qt.Orientation.Horizontal)

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
            is_covered = place == "selection" and self._has_step
            dock.setVisible(not (self._is_away or self._folded[place] or is_covered))
        self._step.setVisible(self._has_step and not self._is_away)

    def _give_height(self, widget: QWidget) -> None:
        """Make the dock below as high as a tab says it needs; one that is higher stays as it is."""
        wanted, dock = widget.property("wanted_height"), self._docks["below"]
        whole = int(wanted or 0) + self.tabs.tabBar().sizeHint().height()
        if wanted and dock.height() < whole:
            self._window.resizeDocks([dock], [whole], Qt.Orientation.Vertical)

    def _dock(self, name: str, title: QLabel, key: str, widget: QWidget) -> QDockWidget:
        dock = QDockWidget(title.text(), self._window)
        dock.setObjectName(f"dock-{name}")
        dock.setAllowedAreas(AREAS[name])
        dock.setFeatures(QDockWidget.DockWidgetFeature.NoDockWidgetFeatures)
        dock.setWidget(widget)
        dock.setTitleBarWidget(self._title_bar(name, title, key))
        self._window.addDockWidget(AREAS[name], dock)
        return dock

    def _title_bar(self, name: str, title: QLabel, key: str) -> QWidget:
        bar = QWidget()
        row = QHBoxLayout(bar)
        row.setContentsMargins(2, 0, 4, 0)
        title.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        row.addWidget(title, 1)
        if key:
            fold = _fold_button(name, key)
            fold.clicked.connect(self._on_fold)
            row.addWidget(fold)
        return bar

    def _on_fold(self) -> None:
        self.fold(self.sender().property("place"), True)

    def _on_close_tab(self) -> None:
        place = self.tabs.indexOf(self.sender().property("tab"))
        if place >= 0:
            self.tabs.removeTab(place)


def _title(text: str) -> QLabel:
    label = QLabel(text)
    label.setObjectName("dock-title")
    return label


def _fold_button(place: str, key: str) -> QToolButton:
    button = quiet_button("–")
    button.setProperty("place", place)
    button.setToolTip(f"Fold this away; {key} brings it back.")
    button.setAccessibleName("Fold away")
    button.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    return button
