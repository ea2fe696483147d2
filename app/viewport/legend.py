"""What the colours along the tubes mean, in a corner of the view."""

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetrics, QLinearGradient, QPainter, QPaintEvent
from PySide6.QtWidgets import QWidget

from app import units as unit_text
from app import wording
from app.guarded import guarded
from app.units import Units
from app.viewport import colours, tints
from app.viewport.colours import Theme
from app.viewport.tints import Colouring
from geometry.layout import Limits

RAMP_WIDTH, ROW, BAR = 236, 18, 12
PAD = 8
TICK = 4


class Legend(QWidget):
    """Lies over the view and lets the mouse through."""

    def __init__(self, parent: QWidget, units: Units) -> None:
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self._units = units
        self._theme: Theme = colours.LIGHT
        self._limits = Limits()
        self._colouring: Colouring = "plain"
        self._has_own = False
        self._font = QFont(self.font())
        self._font.setPixelSize(12)
        self.hide()

    def show_colouring(self, colouring: Colouring, limits: Limits, has_own: bool, is_used: bool) -> None:
        """Say what the colours mean, where some are used.

        `has_own`: some tubes or panels have a stand-off of their own.
        """
        self._colouring, self._limits, self._has_own = colouring, limits, has_own
        self.setVisible(colouring != "plain" and is_used)
        self._fit()

    def _fit(self) -> None:
        """Take the size that the words need."""
        is_ramp = self._colouring == "ramp"
        metrics = QFontMetrics(self._font)
        wide = max(metrics.horizontalAdvance(text) for text in self.words) + 2 * PAD + 2
        high = 2 * PAD + ROW * len(self.words) + (BAR + 2 * ROW if is_ramp else 0)
        self.setFixedSize(max(wide, RAMP_WIDTH if is_ramp else 0), high)
        self.update()

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self.update()

    def set_units(self, units: Units) -> None:
        self._units = units
        self._fit()

    @property
    def words(self) -> list[str]:
        """The lines of text, without the ticks of the ramp."""
        limits = self._limits
        if self._colouring == "sides":
            return ["On one side only", "Off the other side's image, or not following it"]
        if self._colouring == "ramp":
            return ["Gap from tube to metal, as drawn"]
        close, far, run = (
            self._length(value)
            for value in (limits.standoff_closest, limits.standoff_farthest, limits.standoff_run)
        )
        own = ", or its own" if self._has_own else ""
        return [
            f"{wording.BAND_SIGNS['close']} under {close} safe{own}",
            f"{wording.BAND_SIGNS['far']} over {far} for {run}{own}",
        ]

    def _length(self, mm: float) -> str:
        return unit_text.format_length(mm, self._units)

    @guarded()
    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        plate = QColor(self._theme.paper)
        plate.setAlpha(225)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(plate)
        painter.drawRoundedRect(QRectF(self.rect()), 4.0, 4.0)
        painter.setFont(self._font)
        if self._colouring == "ramp":
            self._paint_ramp(painter)
        else:
            self._paint_bands(painter)
        painter.end()

    def _paint_bands(self, painter: QPainter) -> None:
        theme = self._theme
        is_sides = self._colouring == "sides"
        tones = (theme.words["fine" if is_sides else "close"], theme.words["far"])
        for row, (text, tone) in enumerate(zip(self.words, tones, strict=True)):
            painter.setPen(QColor(tone))
            painter.drawText(self._row(row), Qt.AlignmentFlag.AlignVCenter, text)

    def _paint_ramp(self, painter: QPainter) -> None:
        painter.setPen(QColor(self._theme.text))
        painter.drawText(self._row(0), Qt.AlignmentFlag.AlignVCenter, self.words[0])
        bar = QRectF(PAD, PAD + ROW + 2, self.width() - 2 * PAD, BAR)
        gradient = QLinearGradient(bar.topLeft(), bar.topRight())
        count = len(self._theme.ramp) - 1
        for place, colour in enumerate(self._theme.ramp):
            gradient.setColorAt(place / count, QColor(colour))
        painter.fillRect(bar, gradient)
        end = tints.ramp_end(self._limits)
        limits = self._limits
        ticks = ((0.0, 0), (limits.standoff_closest, 1), (limits.standoff_farthest, 1), (end, 0))
        for value, row in ticks:
            x = bar.left() + bar.width() * min(value / end, 1.0)
            painter.setPen(QColor(self._theme.text))
            painter.drawLine(QPointF(x, bar.top()), QPointF(x, bar.bottom() + TICK + row * ROW))
            text = self._length(value) + ("+" if value == end else "")
            wide = painter.fontMetrics().horizontalAdvance(text) + 4.0
            left = min(max(x - wide / 2.0, PAD), self.width() - PAD - wide)
            at = QRectF(left, bar.bottom() + TICK - 1 + row * (ROW - 2), wide, ROW)
            painter.drawText(at, Qt.AlignmentFlag.AlignCenter, text)

    def _row(self, row: int) -> QRectF:
        return QRectF(PAD, PAD + row * ROW, self.width() - 2 * PAD, ROW)
