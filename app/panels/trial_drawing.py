"""What is measured where on a trial bend: the straight scrap with its mark, and the bend with its legs."""

import math

from msgspec import Struct
from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QFont, QPainter, QPaintEvent, QPalette, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.guarded import guarded

TAIL, LEAD, RADIUS, TUBE = 190.0, 150.0, 90.0, 42.0  # mm of what is drawn; not the real ones
USUAL = math.radians(90.0)
LEAST, MOST = math.radians(25.0), math.radians(140.0)  # that can be drawn well
STRIP = 66.0  # pixels for the straight scrap
SECTION = 108.0  # pixels beside it for the flattened section
ROOM = 46.0  # pixels round the bend, for words
AWAY = 15.0  # pixels from the tube to a measure
LARGEST = 1.3  # pixels for each mm
Role = QPalette.ColorRole
LEFT, CENTRE = Qt.AlignmentFlag.AlignLeft, Qt.AlignmentFlag.AlignHCenter
Point = tuple[float, float]  # mm, y up


class Shape(Struct, frozen=True):
    """A bent scrap: its centreline from the tail on, and where both legs are measured from and to."""

    run: tuple[Point, ...]
    lead: Point  # direction of the leading leg
    tail_leg: tuple[Point, Point]  # from the end on, along the outside
    lead_leg: tuple[Point, Point]
    corner: Point  # where the centrelines cross


class TrialDrawing(QWidget):
    """Two pictures in the colours of the theme; what is typed into stands out."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._active = ""
        self._angle, self._to_back = USUAL, False
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumSize(220, 185)
        self.setAccessibleName("Drawing of what is measured")

    @property
    def active(self) -> str:
        return self._active

    def set_active(self, name: str) -> None:
        """Let one measure stand out."""
        self._active = name
        self.update()

    def show_bend(self, angle: float | None, to_back: bool) -> None:
        """Draw a bend of about an angle, its legs measured to the corner or to the back."""
        self._angle = min(max(angle or USUAL, LEAST), MOST)
        self._to_back = to_back and self._angle >= USUAL - 0.02
        self.update()

    @guarded(QSize(380, 185))
    def sizeHint(self) -> QSize:
        return QSize(380, 185)

    @guarded()
    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        pen = _Pen(painter, self.palette(), self._active)
        pen.draw_scrap(QRectF(0.0, 0.0, self.width(), STRIP))
        frame = QRectF(0.0, STRIP, self.width(), self.height() - STRIP)
        pen.draw_bend(frame, bent(self._angle, self._to_back))


class _Pen:
    """Draws; every measure has a name, and the active one is in the accent colour."""

    def __init__(self, painter: QPainter, palette: QPalette, active: str) -> None:
        self.painter, self.palette, self.active = painter, palette, active
        self.line = painter.fontMetrics().height()

    def draw_scrap(self, frame: QRectF) -> None:
        self._section(QPointF(frame.right() - SECTION + 30.0, frame.top() + 31.0))
        left, right = frame.left() + 32.0, frame.right() - SECTION - 40.0
        middle, half = frame.top() + 31.0, 6.0
        mark = right - 0.36 * (right - left)
        self._tube([QPointF(left, middle), QPointF(right, middle)], 2.0 * half)
        self._note(QPointF(left - 30.0, middle + 5.0), "tail")
        self._note(QPointF(right + 5.0, middle + 5.0), "lead")
        self._pen("mark", 2.0)
        self.painter.drawLine(QPointF(mark, middle - half - 3.0), QPointF(mark, middle + half + 3.0))
        self._measure(
            "mark", "mark", QPointF(mark, middle - half), QPointF(right, middle - half), (0.0, -1.0)
        )
        self._measure(
            "length", "scrap", QPointF(left, middle + half), QPointF(right, middle + half), (0.0, 1.0)
        )

    def draw_bend(self, frame: QRectF, shape: Shape) -> None:
        ends = [*shape.run, *shape.tail_leg, *shape.lead_leg, (0.0, RADIUS)]
        low, high = (tuple(pick(p[k] for p in ends) for k in (0, 1)) for pick in (min, max))
        inner = frame.adjusted(ROOM * 0.4, ROOM * 0.5, -ROOM * 1.6, -ROOM)
        scale = min(
            inner.width() / max(high[0] - low[0], 1.0), inner.height() / max(high[1] - low[1], 1.0), LARGEST
        )
        left = inner.left() + (inner.width() - scale * (high[0] - low[0])) / 2.0
        below = inner.bottom() - (inner.height() - scale * (high[1] - low[1])) / 2.0

        def at(point: Point) -> QPointF:
            return QPointF(left + scale * (point[0] - low[0]), below - scale * (point[1] - low[1]))

        self._die(at((0.0, RADIUS)), scale * (RADIUS - TUBE / 2.0), shape.lead)
        self._tube([at(p) for p in shape.run], TUBE * scale)
        tail, lead = shape.tail_leg, shape.lead_leg
        self._measure("tail_leg", "tail leg", at(tail[0]), at(tail[1]), (0.0, 1.0))
        outward = (shape.lead[1], shape.lead[0])  # on the screen, away from the die
        self._measure("lead_leg", "leading leg", at(lead[0]), at(lead[1]), outward)
        self._angle(at(shape.corner), shape.lead, max(scale * 100.0, 40.0))

    def _tube(self, points: list[QPointF], width: float) -> None:
        for role, less in ((Role.PlaceholderText, 0.0), (Role.Midlight, 2.0)):
            pen = QPen(self._colour(role), max(width - less, 1.0))
            pen.setCapStyle(Qt.PenCapStyle.FlatCap)
            pen.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
            self.painter.setPen(pen)
            self.painter.setBrush(Qt.BrushStyle.NoBrush)
            self.painter.drawPolyline(QPolygonF(points))

    def _die(self, centre: QPointF, radius: float, lead: Point) -> None:
        """The part of the die that bends; its turn is what the dial reads."""
        self._pen("dial", 1.2)
        self.painter.setBrush(Qt.BrushStyle.NoBrush)
        box = QRectF(centre.x() - radius, centre.y() - radius, 2.0 * radius, 2.0 * radius)
        turn = math.degrees(math.atan2(lead[1], lead[0]))
        self.painter.drawPie(box, -90 * 16, round(turn * 16.0))
        above = QRectF(centre.x() - 50.0, centre.y() - self.line, 46.0, self.line)
        self._words("dial", "dial", above, Qt.AlignmentFlag.AlignRight)

    def _angle(self, corner: QPointF, lead: Point, reach: float) -> None:
        """The angle between the leading leg and where the tube would have gone straight on."""
        pen = self._pen("angle", 1.2)
        pen.setStyle(Qt.PenStyle.DashLine)
        self.painter.setPen(pen)
        self.painter.drawLine(corner, QPointF(corner.x() + reach, corner.y()))
        self._pen("angle", 1.6)
        turn = math.atan2(lead[1], lead[0])
        radius = reach * 0.6
        box = QRectF(corner.x() - radius, corner.y() - radius, 2.0 * radius, 2.0 * radius)
        self.painter.setBrush(Qt.BrushStyle.NoBrush)
        self.painter.drawArc(box, 0, round(math.degrees(turn) * 16.0))
        place = corner + QPointF(reach + 4.0, 0.0)
        box = QRectF(place.x(), place.y() - self.line / 2.0, self._width("angle", "angle"), self.line)
        self.painter.fillRect(box, self._colour(Role.Window))
        self._words("angle", "angle", box, LEFT)

    def _section(self, centre: QPointF) -> None:
        """The flattened tube at the middle of the bend; it is least across, in the plane of the bend."""
        wide, high = 19.0, 14.0
        self.painter.setPen(QPen(self._colour(Role.PlaceholderText), 1.4))
        self.painter.setBrush(self._colour(Role.Midlight))
        self.painter.drawEllipse(centre, wide, high)
        self._pen("widest", 1.4)
        self.painter.drawLine(centre - QPointF(wide, 0.0), centre + QPointF(wide, 0.0))
        self._pen("narrowest", 1.4)
        self.painter.drawLine(centre - QPointF(0.0, high), centre + QPointF(0.0, high))
        side = centre + QPointF(wide + 7.0, 0.0)
        for name, words, up in (("widest", "largest", -self.line), ("narrowest", "least", 0.0)):
            self._words(name, words, QRectF(side.x(), side.y() + up, 60.0, self.line), LEFT)

    def _measure(self, name: str, words: str, a: QPointF, b: QPointF, outward: Point) -> None:
        """A line with arrows beside the tube, and its name."""
        away = QPointF(outward[0] * AWAY, outward[1] * AWAY)
        pen = self._pen(name, 1.0)
        for end in (a, b):
            self.painter.drawLine(end + away * 0.25, end + away * 1.3)
        pen.setWidthF(2.2 if name == self.active else 1.2)
        self.painter.setPen(pen)
        self.painter.drawLine(a + away, b + away)
        along = math.atan2(b.y() - a.y(), b.x() - a.x())
        for tip, turned in ((a + away, along), (b + away, along + math.pi)):
            self._arrow(tip, turned, pen.color())
        place = a + (b - a) * (0.3 if name == "lead_leg" else 0.5) + away
        width = self._width(name, words)
        if abs(outward[1]) > 0.8:
            box = QRectF(place.x() - width / 2.0, place.y() - self.line / 2.0, width, self.line)
            self.painter.fillRect(box, self._colour(Role.Window))
            self._words(name, words, box)
        else:
            left = place.x() + 6.0 if outward[0] > 0.0 else place.x() - width - 6.0
            self._words(name, words, QRectF(left, place.y() - self.line / 2.0, width, self.line), LEFT)

    def _arrow(self, tip: QPointF, along: float, colour: QColor) -> None:
        wings = [
            tip + QPointF(7.0 * math.cos(along + turn), 7.0 * math.sin(along + turn)) for turn in (0.4, -0.4)
        ]
        self.painter.setPen(Qt.PenStyle.NoPen)
        self.painter.setBrush(colour)
        self.painter.drawPolygon(QPolygonF([tip, *wings]))

    def _width(self, name: str, words: str) -> float:
        self._set_font(name)
        return self.painter.fontMetrics().horizontalAdvance(words) + 8.0

    def _words(self, name: str, words: str, box: QRectF, side: Qt.AlignmentFlag = CENTRE) -> None:
        self._set_font(name)
        self.painter.setPen(self._colour(Role.Highlight if name == self.active else Role.WindowText))
        self.painter.drawText(
            box, int(side | Qt.AlignmentFlag.AlignVCenter | Qt.TextFlag.TextDontClip), words
        )

    def _note(self, place: QPointF, words: str) -> None:
        self._set_font("")
        self.painter.setPen(self._colour(Role.PlaceholderText))
        self.painter.drawText(place, words)

    def _set_font(self, name: str) -> None:
        font = QFont(self.painter.font())
        font.setBold(bool(name) and name == self.active)
        self.painter.setFont(font)

    def _pen(self, name: str, width: float) -> QPen:
        active = name == self.active
        colour = self._colour(Role.Highlight if active else Role.PlaceholderText)
        pen = QPen(colour, width * (1.6 if active else 1.0))
        self.painter.setPen(pen)
        return pen

    def _colour(self, role: QPalette.ColorRole) -> QColor:
        return self.palette.color(QPalette.ColorGroup.Active, role)


def bent(angle: float, to_back: bool) -> Shape:
    """Return a scrap whose tail leg lies along x and whose leading leg is turned up by an angle."""
    lead = (math.cos(angle), math.sin(angle))
    steps = [angle * step / 24.0 for step in range(25)]
    arc = [(RADIUS * math.sin(a), RADIUS * (1.0 - math.cos(a))) for a in steps]
    end = (arc[-1][0] + LEAD * lead[0], arc[-1][1] + LEAD * lead[1])
    outside = RADIUS + TUBE / 2.0
    reach = outside if to_back else outside * math.tan(angle / 2.0)
    edge = (end[0] + TUBE / 2.0 * lead[1], end[1] - TUBE / 2.0 * lead[0])
    back = (edge[0] - (LEAD + reach) * lead[0], edge[1] - (LEAD + reach) * lead[1])
    return Shape(
        ((-TAIL, 0.0), *arc, end),
        lead,
        ((-TAIL, -TUBE / 2.0), (reach, -TUBE / 2.0)),
        (edge, back),
        (RADIUS * math.tan(angle / 2.0), 0.0),
    )
