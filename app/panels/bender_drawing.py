"""A bender from above and from the side: floor, boxes, the tube in it and where its moving side goes."""

import math

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPalette, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from app.guarded import guarded
from geometry.layout import Bender, Box

REACH = 800.0  # mm of tube drawn on each side
RADIUS = 152.0  # of the bend that is drawn
TURN = math.radians(60.0)
TUBE = 44.0  # OD that is drawn
MARGIN = 6.0  # pixels
Point = tuple[float, float]  # in the plane of a view, mm; x to the leading end, then left or up


class BenderDrawing(QWidget):
    """Two views at one scale, in the colours of the theme."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._bender: Bender | None = None
        self._marked: int | None = None
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setAccessibleName("Drawing of the bender")

    def show_bender(self, bender: Bender | None, marked: int | None = None) -> None:
        """Draw a bender, one of its boxes marked."""
        self._bender, self._marked = bender, marked
        self.setAccessibleDescription(described(bender) if bender else "")
        self.update()

    @guarded(QSize(330, 150))
    def sizeHint(self) -> QSize:
        return QSize(330, 150)

    @guarded()
    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        if self._bender is None:
            painter.setPen(self.palette().color(QPalette.ColorRole.PlaceholderText))
            painter.drawText(self.rect(), Qt.AlignmentFlag.AlignCenter, "No bender yet: Add makes one.")
            return
        half = self.width() / 2.0
        for place, title in enumerate(("from above", "from the right")):
            frame = QRectF(place * half, 0.0, half, self.height()).adjusted(MARGIN, 0.0, -MARGIN, 0.0)
            _View(painter, self.palette(), frame, self._bender, place == 1).draw(title, self._marked)


class _View:
    """One view: the plane's second axis is y from above and z from the side."""

    def __init__(
        self, painter: QPainter, palette: QPalette, frame: QRectF, bender: Bender, is_side: bool
    ) -> None:
        self.painter, self.palette, self.bender, self.is_side = painter, palette, bender, is_side
        self.line = painter.fontMetrics().height()
        self.frame = frame.adjusted(0.0, self.line, 0.0, -2.0)
        low, high = bounds(bender, is_side)
        self.scale = min(self.frame.width() / (high[0] - low[0]), self.frame.height() / (high[1] - low[1]))
        self.middle = ((low[0] + high[0]) / 2.0, (low[1] + high[1]) / 2.0)

    def draw(self, title: str, marked: int | None) -> None:
        self._text(QPointF(self.frame.left(), self.frame.top() - 3.0), title)
        if self.is_side:
            self._draw_floor()
        for place, box in enumerate(self.bender.boxes):
            self._draw_box(box, place == marked)
        self._draw_tube([(-REACH, 0.0), (REACH, 0.0)], self._colour(QPalette.ColorRole.Text), TUBE)
        if self.is_side == (self.bender.swing == "up"):
            self._draw_swing()
        self._draw_start()

    def at(self, point: Point) -> QPointF:
        centre = self.frame.center()
        return QPointF(
            centre.x() + (point[0] - self.middle[0]) * self.scale,
            centre.y() - (point[1] - self.middle[1]) * self.scale,
        )

    def _draw_floor(self) -> None:
        y = self.at((0.0, -self.bender.height)).y()
        self.painter.setPen(QPen(self._colour(QPalette.ColorRole.Text), 1.5))
        self.painter.drawLine(QPointF(self.frame.left(), y), QPointF(self.frame.right(), y))
        self._text(QPointF(self.frame.left() + 2.0, y - 3.0), "floor")

    def _draw_box(self, box: Box, is_marked: bool) -> None:
        axis = 2 if self.is_side else 1
        corners = QRectF(self.at((box.low[0], box.high[axis])), self.at((box.high[0], box.low[axis])))
        colour = self._colour(
            QPalette.ColorRole.Highlight if is_marked else QPalette.ColorRole.PlaceholderText
        )
        fill = QColor(colour)
        fill.setAlpha(90 if is_marked else 50)
        self.painter.setPen(QPen(colour, 2.0 if is_marked else 1.0))
        self.painter.setBrush(fill)
        self.painter.drawRect(corners)
        if self.painter.fontMetrics().horizontalAdvance(box.name) < corners.width() - 4.0:
            self.painter.setPen(self._colour(QPalette.ColorRole.Text))
            self.painter.drawText(corners, Qt.AlignmentFlag.AlignCenter, box.name)

    def _draw_swing(self) -> None:
        """Draw where the moving side goes, with an arrow at its end."""
        colour = self._colour(QPalette.ColorRole.Highlight)
        side = -1.0 if self.bender.swing == "right" else 1.0
        for run in swung(self.bender.moves):
            points = [(x, y * side) for x, y in run]
            self._draw_tube(points, colour, TUBE / 2.0)
            self._draw_arrow(points[-2], points[-1], colour)

    def _draw_arrow(self, before: Point, end: Point, colour: QColor) -> None:
        tip, back = self.at(end), self.at(before)
        along = math.atan2(tip.y() - back.y(), tip.x() - back.x())
        wings = [
            QPointF(tip.x() - 9.0 * math.cos(along + turn), tip.y() - 9.0 * math.sin(along + turn))
            for turn in (0.45, -0.45)
        ]
        self.painter.setPen(Qt.PenStyle.NoPen)
        self.painter.setBrush(colour)
        self.painter.drawPolygon(QPolygonF([tip, *wings]))

    def _draw_tube(self, points: list[Point], colour: QColor, width: float) -> None:
        pen = QPen(colour, max(width * self.scale, 2.0))
        pen.setCapStyle(Qt.PenCapStyle.FlatCap)
        self.painter.setPen(pen)
        self.painter.setBrush(Qt.BrushStyle.NoBrush)
        self.painter.drawPolyline(QPolygonF([self.at(point) for point in points]))

    def _draw_start(self) -> None:
        """Mark the origin, and say which end is which."""
        self.painter.setPen(QPen(self._colour(QPalette.ColorRole.Base), 1.5))
        self.painter.setBrush(self._colour(QPalette.ColorRole.Highlight))
        self.painter.drawEllipse(self.at((0.0, 0.0)), 4.0, 4.0)
        below = self.at((0.0, -TUBE / 2.0)).y() + self.line - 2.0
        self._text(QPointF(self.at((-REACH, 0.0)).x(), below), "tail")
        lead = "lead"
        wide = self.painter.fontMetrics().horizontalAdvance(lead)
        self._text(QPointF(self.at((REACH, 0.0)).x() - wide, below), lead)

    def _text(self, place: QPointF, text: str) -> None:
        self.painter.setPen(self._colour(QPalette.ColorRole.PlaceholderText))
        self.painter.drawText(place, text)

    def _colour(self, role: QPalette.ColorRole) -> QColor:
        return self.palette.color(QPalette.ColorGroup.Active, role)


def bounds(bender: Bender, is_side: bool) -> tuple[Point, Point]:
    """Return the corners of what a view shows, mm; both views show as much along the tube."""
    axis = 2 if is_side else 1
    along = [x for box in bender.boxes for x in (box.low[0], box.high[0])]
    across = [value for box in bender.boxes for value in (box.low[axis], box.high[axis])]
    if is_side:
        across.append(-bender.height)
    if is_side == (bender.swing == "up"):
        most = max(y for run in swung(bender.moves) for _, y in run)
        across.append(-most if bender.swing == "right" else most)
    low = (min([-REACH, *along]), min([-4.0 * TUBE, *across]))
    high = (max([REACH, *along]), max([2.0 * TUBE, *across]))
    return low, high


def swung(moves: str) -> list[list[Point]]:
    """Return the moving sides after a bend, each from the bend outwards, swung to the positive side."""
    lead = _bent(TURN / 2.0 if moves == "both" else TURN)
    runs = {"lead": [lead], "tail": [_mirrored(lead)], "both": [lead, _mirrored(lead)]}
    return runs[moves]


def _bent(turn: float) -> list[Point]:
    steps = [turn * step / 12.0 for step in range(13)]
    arc = [(RADIUS * math.sin(angle), RADIUS * (1.0 - math.cos(angle))) for angle in steps]
    rest = REACH - RADIUS * turn
    return [*arc, (arc[-1][0] + rest * math.cos(turn), arc[-1][1] + rest * math.sin(turn))]


def _mirrored(run: list[Point]) -> list[Point]:
    return [(-x, y) for x, y in run]


def described(bender: Bender) -> str:
    """Say in words what the drawing shows."""
    boxes = ", ".join(box.name for box in bender.boxes) or "no boxes"
    return f"{bender.name}: swings {bender.swing}, {bender.moves} moves; {boxes}"
