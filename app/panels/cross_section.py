"""A tube cut square at a station, with the metal round it: drawn live while things move."""

import time
from collections.abc import Mapping

import numpy as np
from PySide6.QtCore import QSize, Qt, QTimer, Signal
from PySide6.QtGui import (
    QColor,
    QHideEvent,
    QKeyEvent,
    QPainter,
    QPaintEvent,
    QPalette,
    QShowEvent,
    QWheelEvent,
)
from PySide6.QtWidgets import (
    QCheckBox,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QSizePolicy,
    QSlider,
    QVBoxLayout,
    QWidget,
)

from app import units as unit_text
from app import wording
from app.guarded import guarded
from app.panels import cross_section_drawing as drawing
from app.panels.cross_section_drawing import Tone
from app.panels.fields import LengthField
from app.session import Session
from app.units import Units
from geometry.checks import cross_section
from geometry.checks.cross_section import CrossSection
from geometry.checks.report import Report
from geometry.layout import Layout
from geometry.tube import centreline
from geometry.vectors import Floats

STEP, LARGE_STEP = 10.0, 100.0  # mm that an arrow key and a page key go along the tube
SHORTEST_WAIT = 15  # ms between cuts while something moves; more where a cut takes long
SIDE = 330  # pixels for the words
ZOOM_STEP, ZOOMS = 1.25, (0.5, 6.0)
WANTED_HEIGHT = 300
NO_RING: Floats = np.zeros((0, 3))


class Sheet(QWidget):
    """The drawing itself; left and right step along the tube, the wheel makes it larger."""

    stepped = Signal(float)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._cut: CrossSection | None = None
        self._layout = Layout()
        self._units = unit_text.MILLIMETRES
        self._signs: Mapping[wording.Band, str] = {}
        self.zoom = 1.0
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMinimumSize(220, 150)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setAccessibleName("Cross-section of the selected tube")

    def show_cut(self, cut: CrossSection | None, layout: Layout, units: Units) -> None:
        self._cut, self._layout, self._units = cut, layout, units
        words = drawing.said(cut, layout, self._length) if cut is not None else ["Nothing is cut."]
        self.setAccessibleDescription(" ".join(words))
        self.update()

    def set_sign_colours(self, colours: Mapping[wording.Band, str]) -> None:
        self._signs = colours
        self.update()

    @guarded(QSize(400, 260))
    def sizeHint(self) -> QSize:
        return QSize(400, 260)

    def _length(self, mm: float) -> str:
        return unit_text.format_length(mm, self._units)

    def _tones(self) -> dict[Tone, QColor]:
        palette = self.palette()
        text = palette.color(QPalette.ColorRole.Text)
        signs: dict[Tone, QColor] = {
            band: QColor(self._signs[band]) if band in self._signs else text
            for band in ("close", "fine", "far")
        }
        return {
            "text": text,
            "faint": palette.color(QPalette.ColorRole.PlaceholderText),
            "metal": text,
            "tube": palette.color(QPalette.ColorRole.Highlight),
            "ground": palette.color(QPalette.ColorRole.Base),
            **signs,
        }

    @guarded()
    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        tones = self._tones()
        painter.fillRect(self.rect(), tones["ground"])
        if self._cut is None:
            painter.setPen(tones["faint"])
            painter.drawText(self.rect(), Qt.AlignmentFlag.AlignCenter, "Select a tube to see it cut.")
        else:
            size = (float(self.width()), float(self.height()))
            whole = drawing.drawn(self._cut, self._layout, size, self._length, self.zoom)
            drawing.paint(painter, whole, tones, self.font())
        if self.hasFocus():
            painter.setPen(tones["tube"])
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawRect(self.rect().adjusted(0, 0, -1, -1))
        painter.end()

    @guarded()
    def keyPressEvent(self, event: QKeyEvent) -> None:
        steps = {
            Qt.Key.Key_Left: -STEP,
            Qt.Key.Key_Right: STEP,
            Qt.Key.Key_PageUp: -LARGE_STEP,
            Qt.Key.Key_PageDown: LARGE_STEP,
        }
        if event.key() in steps:
            self.stepped.emit(steps[Qt.Key(event.key())])
        elif event.key() in (Qt.Key.Key_Plus, Qt.Key.Key_Minus):
            self.set_zoom(self.zoom * (ZOOM_STEP if event.key() == Qt.Key.Key_Plus else 1.0 / ZOOM_STEP))
        else:
            super().keyPressEvent(event)

    @guarded()
    def wheelEvent(self, event: QWheelEvent) -> None:
        self.set_zoom(self.zoom * ZOOM_STEP ** (event.angleDelta().y() / 120.0))
        event.accept()

    def set_zoom(self, zoom: float) -> None:
        self.zoom = min(max(zoom, ZOOMS[0]), ZOOMS[1])
        self.update()


class CrossSectionPanel(QWidget):
    """Follows the closest place of the selected tube until a station is set."""

    ring_changed = Signal(object)  # points (n, 3) round the tube where it is cut; none while nothing is

    def __init__(self, session: Session, units: Units, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self._units = units
        self._report: Report | None = None
        self._tube: int | None = None
        self._station = 0.0
        self.cut: CrossSection | None = None
        self.setProperty("wanted_height", WANTED_HEIGHT)
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(SHORTEST_WAIT)
        self._timer.timeout.connect(self._cut_anew)
        self._make()
        session.changed.connect(self._on_changed)
        session.selection_changed.connect(self._on_selection_changed)
        session.opened.connect(self._on_opened)

    def _make(self) -> None:
        self.sheet = Sheet()
        self.sheet.stepped.connect(self.step)
        self._title = QLabel()
        self._title.setProperty("kind", "heading")
        self._said = QLabel()
        self._said.setWordWrap(True)
        self._said.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.follows = QCheckBox("At the &closest place")
        self.follows.setChecked(True)
        self.follows.setToolTip("Cut where the tube is closest to the body, whatever moves.")
        self.follows.toggled.connect(self._on_follows)
        self.field = LengthField(self._units)
        self.field.setToolTip("How far along the tube it is cut, from its start.")
        self.field.entered.connect(self.set_station)
        self.slider = QSlider(Qt.Orientation.Horizontal)
        self.slider.setAccessibleName("Station along the tube")
        self.slider.setSingleStep(int(STEP))
        self.slider.setPageStep(int(LARGE_STEP))
        self.slider.valueChanged.connect(self._on_slid)
        rows = QGridLayout()
        label = QLabel("Al&ong the tube")
        label.setBuddy(self.field)
        rows.addWidget(label, 0, 0)
        rows.addWidget(self.field, 0, 1)
        rows.addWidget(self.slider, 1, 0, 1, 2)
        rows.addWidget(self.follows, 2, 0, 1, 2)
        column = QVBoxLayout()
        column.addWidget(self._title)
        column.addLayout(rows)
        column.addWidget(self._said)
        column.addStretch(1)
        side = QWidget()
        side.setFixedWidth(SIDE)
        side.setLayout(column)
        whole = QHBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(self.sheet, 1)
        whole.addWidget(side)
        self._show()

    @property
    def station(self) -> float:
        return self._station

    def set_units(self, units: Units) -> None:
        self._units = units
        self.field.set_units(units)
        self._show()

    def set_sign_colours(self, colours: Mapping[wording.Band, str]) -> None:
        self.sheet.set_sign_colours(colours)

    def show_report(self, report: Report) -> None:
        self._report = report
        self._soon()

    def set_station(self, station: float) -> None:
        """Cut there, and stay there."""
        self._station = station
        self.follows.setChecked(False)
        self._cut_anew()

    def step(self, by: float) -> None:
        self.set_station(self._station + by)

    def _on_changed(self, _before: Layout, _after: Layout) -> None:
        self._soon()

    def _on_selection_changed(self, _selection: object) -> None:
        self._soon()

    def _on_opened(self) -> None:
        self._report, self._tube = None, None
        self.follows.setChecked(True)
        self._soon()

    def _on_follows(self, _on: bool) -> None:
        self._soon()

    def _on_slid(self, value: int) -> None:
        self.set_station(float(value))

    def _soon(self) -> None:
        """Cut when the hand leaves time for it; the newest layout wins."""
        if self.isVisible() and not self._timer.isActive():
            self._timer.start()

    def _tube_meant(self) -> int | None:
        layout, chosen = self._session.layout, self._session.selection
        tubes = sorted(chosen & layout.tubes.keys())
        nodes = chosen & layout.nodes.keys()
        if not tubes and nodes:
            tubes = sorted(id for id, tube in layout.tubes.items() if not nodes.isdisjoint(tube.nodes))
        if self._tube in tubes:
            return self._tube
        return tubes[0] if tubes else None

    def _cut_anew(self) -> None:
        self._timer.stop()
        if not self.isVisible():
            return
        begun = time.perf_counter()
        layout, tube = self._session.layout, self._tube_meant()
        if (
            tube != self._tube
            and tube is not None
            and not self.follows.isChecked()
            and self._tube is not None
        ):
            self.follows.setChecked(True)
        self._tube = tube
        self.cut = None
        if tube is not None:
            length = centreline.of(layout, layout.tubes[tube]).length
            self._station = min(max(self._wanted_station(tube, length), 0.0), length)
            self.cut = cross_section.of(layout, tube, self._station, self._report)
        self._show()
        taken = 1000.0 * (time.perf_counter() - begun)
        self._timer.setInterval(max(SHORTEST_WAIT, int(2.0 * taken)))

    def _wanted_station(self, tube: int, length: float) -> float:
        if not self.follows.isChecked():
            return self._station
        near = self._report.nearest.get(tube) if self._report is not None else None
        return near.station if near is not None else length / 2.0

    def _show(self) -> None:
        layout, cut = self._session.layout, self.cut
        for part in (self.field, self.slider, self.follows):
            part.setEnabled(cut is not None)
        self.sheet.show_cut(cut, layout, self._units)
        if cut is None or cut.tube not in layout.tubes:
            self._title.setText("")
            self._said.setText("")
            self.field.set_value(None)
            self.ring_changed.emit(NO_RING)
            return
        self._title.setText(wording.one_line(layout.tubes[cut.tube].name))
        self._said.setText("\n".join(drawing.said(cut, layout, self._length)))
        self.field.set_value(cut.station)
        self.slider.blockSignals(True)
        self.slider.setRange(0, int(cut.length))
        self.slider.setValue(round(cut.station))
        self.slider.blockSignals(False)
        self.ring_changed.emit(cut.plane.ring(cut.radius * 1.6))

    def _length(self, mm: float) -> str:
        return unit_text.format_length(mm, self._units)

    @guarded()
    def showEvent(self, event: QShowEvent) -> None:
        super().showEvent(event)
        self._timer.start()

    @guarded()
    def hideEvent(self, event: QHideEvent) -> None:
        super().hideEvent(event)
        self.cut = None
        self.ring_changed.emit(NO_RING)
