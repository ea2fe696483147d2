"""The fit to trial bends, drawn: dial against angle, and what every measurement misses."""

import math
from collections.abc import Sequence

from msgspec import Struct
from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPalette, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.guarded import guarded
from app.panels.trial_form import angle_text
from geometry.tube.trials import DialPoint

LEFT, RIGHT, TOP, BOTTOM = 42.0, 10.0, 20.0, 20.0  # pixels round what is drawn
DOT = 4.0
GRID = 30.0  # degrees
BAR = 9.0  # pixels, the widest bar
Role = QPalette.ColorRole


class Bent(Struct, frozen=True):
    """A trial bend in the chart, radians."""

    angle: float
    dial: float
    doubtful: bool


class Bar(Struct, frozen=True):
    """What one measurement misses the fit by, with its standard deviation, as shown."""

    name: str  # of the trial bend
    what: str
    value: float
    sd: float
    doubtful: bool


class _Chart(QWidget):
    """A title, and what a subclass draws below it."""

    def __init__(self, title: str, empty: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.title = title
        self._empty = empty
        self.setAccessibleName(title)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumSize(150, 86)

    @guarded(QSize(240, 90))
    def sizeHint(self) -> QSize:
        return QSize(240, 90)

    @guarded()
    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        line = painter.fontMetrics().height()
        painter.setPen(self.colour(Role.WindowText))
        title = painter.fontMetrics().elidedText(self.title, Qt.TextElideMode.ElideRight, self.width())
        painter.drawText(QRectF(0.0, 0.0, self.width(), line), Qt.AlignmentFlag.AlignLeft, title)
        frame = QRectF(self.rect()).adjusted(LEFT, TOP, -RIGHT, -BOTTOM)
        if self.is_empty():
            painter.setPen(self.colour(Role.PlaceholderText))
            flags = int(Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap)
            painter.drawText(QRectF(self.rect()).adjusted(4.0, TOP, -4.0, 0.0), flags, self._empty)
            return
        self.draw(painter, frame)

    def describe(self, words: str) -> None:
        """Say in words what is drawn, for who hovers or can't see it."""
        self.setToolTip(words)
        self.setAccessibleDescription(words)

    def is_empty(self) -> bool:
        raise NotImplementedError

    def draw(self, painter: QPainter, frame: QRectF) -> None:
        raise NotImplementedError

    def colour(self, role: QPalette.ColorRole) -> QColor:
        return self.palette().color(QPalette.ColorGroup.Active, role)

    def tick(self, painter: QPainter, box: QRectF, words: str, side: Qt.AlignmentFlag) -> None:
        painter.setPen(self.colour(Role.PlaceholderText))
        flags = int(side | Qt.AlignmentFlag.AlignVCenter | Qt.TextFlag.TextDontClip)
        painter.drawText(box, flags, words)


class DialChart(_Chart):
    """Dial against angle: the line with its doubt, the trial bends, and a dial that needs no more."""

    def __init__(self) -> None:
        super().__init__("Dial against angle", "Here the line of springback will stand.")
        self._line: Sequence[DialPoint] = ()
        self._bends: Sequence[Bent] = ()

    def show_fit(self, line: Sequence[DialPoint], bends: Sequence[Bent]) -> None:
        self._line, self._bends = line, bends
        told = "\n".join(f"{angle_text(b.dial)} gave {angle_text(b.angle)}" for b in bends)
        self.describe(told)
        self.update()

    def is_empty(self) -> bool:
        return not self._bends

    def draw(self, painter: QPainter, frame: QRectF) -> None:
        across = max([p.angle for p in self._line] + [b.angle for b in self._bends]) * 1.03
        up = max([p.dial for p in self._line] + [b.dial for b in self._bends]) * 1.03

        def at(angle: float, dial: float) -> QPointF:
            return QPointF(
                frame.left() + frame.width() * angle / across, frame.bottom() - frame.height() * dial / up
            )

        self._draw_grid(painter, frame, across, up)
        painter.setClipRect(frame.adjusted(-DOT, -DOT, DOT, DOT))
        plain = min(across, up)
        painter.setPen(QPen(self.colour(Role.PlaceholderText), 1.0, Qt.PenStyle.DashLine))
        painter.drawLine(at(0.0, 0.0), at(plain, plain))
        band = [at(p.angle, p.dial + 2.0 * p.sd) for p in self._line]
        band += [at(p.angle, p.dial - 2.0 * p.sd) for p in reversed(self._line)]
        shade = self.colour(Role.Highlight)
        shade.setAlpha(60)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(shade)
        painter.drawPolygon(QPolygonF(band))
        painter.setPen(QPen(self.colour(Role.Highlight), 1.8))
        painter.drawPolyline(QPolygonF([at(p.angle, p.dial) for p in self._line]))
        for bend in self._bends:
            self._draw_bend(painter, at(bend.angle, bend.dial), bend.doubtful)
        painter.setClipping(False)

    def _draw_grid(self, painter: QPainter, frame: QRectF, across: float, up: float) -> None:
        painter.setBrush(Qt.BrushStyle.NoBrush)
        for degrees in _grid(across):
            x = frame.left() + frame.width() * math.radians(degrees) / across
            painter.setPen(QPen(self.colour(Role.Mid), 1.0))
            painter.drawLine(QPointF(x, frame.top()), QPointF(x, frame.bottom()))
            box = QRectF(x - 20.0, frame.bottom() + 2.0, 40.0, BOTTOM - 2.0)
            self.tick(painter, box, f"{degrees:g}°", Qt.AlignmentFlag.AlignHCenter)
        for degrees in _grid(up):
            y = frame.bottom() - frame.height() * math.radians(degrees) / up
            painter.setPen(QPen(self.colour(Role.Mid), 1.0))
            painter.drawLine(QPointF(frame.left(), y), QPointF(frame.right(), y))
            box = QRectF(0.0, y - 10.0, LEFT - 6.0, 20.0)
            self.tick(painter, box, f"{degrees:g}°", Qt.AlignmentFlag.AlignRight)

    def _draw_bend(self, painter: QPainter, place: QPointF, doubtful: bool) -> None:
        painter.setPen(QPen(self.colour(Role.Window), 1.0))
        painter.setBrush(self.colour(Role.BrightText if doubtful else Role.WindowText))
        if doubtful:
            wide = DOT + 2.0
            corners = [place + QPointF(x * wide, y * wide) for x, y in ((0.0, -1.0), (1.0, 0.8), (-1.0, 0.8))]
            painter.drawPolygon(QPolygonF(corners))
        else:
            painter.drawEllipse(place, DOT, DOT)


class MissChart(_Chart):
    """Bars of what measurements miss, over what tape or gauge leave open."""

    def __init__(self, title: str, empty: str, unit: str) -> None:
        super().__init__(title, empty)
        self._bars: Sequence[Bar] = ()
        self._unit = unit

    def show_bars(self, bars: Sequence[Bar], unit: str) -> None:
        self._bars, self._unit = bars, unit
        bends = ((b.name.partition(" ")[0], b) for b in bars)
        self.describe("\n".join(f"{name}, {b.what}: {b.value:+.3g} {unit} ± {b.sd:.2g}" for name, b in bends))
        self.update()

    def is_empty(self) -> bool:
        return not self._bars

    def draw(self, painter: QPainter, frame: QRectF) -> None:
        most = max(max(abs(b.value), b.sd) for b in self._bars) * 1.15 or 1.0
        middle = frame.center().y()

        def height(value: float) -> float:
            return middle - value / most * frame.height() / 2.0

        shown = _nice(most / 1.15)
        scale = {value: self._scale_words(value) for value in (shown, 0.0, -shown)}
        wide = max(painter.fontMetrics().horizontalAdvance(words) for words in scale.values())
        frame = frame.adjusted(max(0.0, wide + 7.0 - LEFT), 0.0, 0.0, 0.0)
        for value, words in scale.items():
            painter.setPen(QPen(self.colour(Role.Mid), 1.0))
            y = height(value)
            painter.drawLine(QPointF(frame.left(), y), QPointF(frame.right(), y))
            box = QRectF(0.0, y - 9.0, frame.left() - 5.0, 18.0)
            self.tick(painter, box, words, Qt.AlignmentFlag.AlignRight)
        step = frame.width() / len(self._bars)
        for place, bar in enumerate(self._bars):
            self._draw_bar(painter, frame.left() + (place + 0.5) * step, step, bar, height)
        self._name_bends(painter, frame, step)

    def _scale_words(self, value: float) -> str:
        if value:
            return f"{value:+g}"
        return "0°" if self._unit == "°" else f"0 {self._unit}"

    def _draw_bar(self, painter: QPainter, x: float, step: float, bar: Bar, height: object) -> None:
        assert callable(height)
        half = min(BAR, step * 0.32)
        shade = self.colour(Role.PlaceholderText)
        shade.setAlpha(70)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(shade)
        top = height(bar.sd)
        painter.drawRect(QRectF(x - half - 3.0, top, 2.0 * half + 6.0, height(-bar.sd) - top))
        painter.setBrush(self.colour(Role.BrightText if bar.doubtful else Role.Highlight))
        end, zero = height(bar.value), height(0.0)
        painter.drawRect(QRectF(x - half, min(end, zero), 2.0 * half, max(abs(end - zero), 1.5)))

    def _name_bends(self, painter: QPainter, frame: QRectF, step: float) -> None:
        """Write each trial bend's angle once, below its bars; none where they would run together."""
        last, begun = "", 0
        for place, bar in enumerate([*self._bars, Bar("", "", 0.0, 0.0, False)]):
            if bar.name == last:
                continue
            if last:
                left, width = frame.left() + begun * step, (place - begun) * step
                words = last.partition(" ")[0]
                if painter.fontMetrics().horizontalAdvance(words) < width:
                    box = QRectF(left, frame.bottom() + 2.0, width, BOTTOM - 2.0)
                    self.tick(painter, box, words, Qt.AlignmentFlag.AlignHCenter)
            last, begun = bar.name, place


def _grid(most: float) -> list[float]:
    """Return the whole degrees that lines are drawn at."""
    count = int(math.degrees(most) // GRID)
    return [GRID * step for step in range(count + 1)]


def _nice(value: float) -> float:
    """Return 1, 2 or 5 times a power of ten, at most the value."""
    power = 10.0 ** math.floor(math.log10(max(value, 1e-9)))
    return max((step * power for step in (1.0, 2.0, 5.0) if step * power <= value * 1.0001), default=power)
