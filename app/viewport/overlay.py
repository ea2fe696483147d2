"""A widget over the scene that paints dots, hair-lines and labels; the pointer passes through it."""

from collections.abc import Callable, Iterable
from typing import Any

from PySide6.QtCore import QPointF, QRectF, QSizeF, Qt
from PySide6.QtGui import (
    QColor,
    QFont,
    QFontMetricsF,
    QPainter,
    QPaintEvent,
    QPen,
    QPolygonF,
    QRadialGradient,
)
from PySide6.QtWidgets import QWidget

from app.guarded import guarded
from app.viewport import colours
from app.viewport.colours import Theme
from app.viewport.marks import Badge, Ball, Box, Dot, Mark, Shape, Sign, Spot, Stroke, Tone, Typed, Whisper

PADDING = 7.0
SIGN_ROOM = 18.0
DIM = 0.45
WORD_HIGH = 11.0  # px, over its baseline
DOT_RADII = {"plain": 3.6, "landing": 3.6, "sleeve": 3.6, "hidden": 2.4, "hovered": 5.6, "selected": 5.2}
RINGS = {"selected": 0.5, "sleeve": 0.9}
AXIS_TONES = {"x": ("#b0483f", "#e0857c"), "y": ("#4b7d3c", "#8fc47e"), "z": ("#3f66a8", "#88aee6")}


class Overlay(QWidget):
    """Paints marks; asks for a paint only when they differ from the last ones."""

    def __init__(self, parent: QWidget, theme: Theme) -> None:
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self.setAttribute(Qt.WidgetAttribute.WA_NoSystemBackground)
        self.theme = theme
        self.marks: tuple[Mark, ...] = ()
        self._number_font = QFont(self.font())
        self._number_font.setPixelSize(15)
        self._number_font.setWeight(QFont.Weight.DemiBold)
        self._word_font = QFont(self.font())
        self._word_font.setPixelSize(12)

    def set_theme(self, theme: Theme) -> None:
        self.theme = theme
        self.update()

    def set_marks(self, marks: tuple[Mark, ...]) -> None:
        if marks != self.marks:
            self.marks = marks
            self.update()

    def badge_size(self, number: str, words: str, has_sign: bool) -> QSizeF:
        """Return how large a badge with these texts is."""
        width = self._width(number, self._number_font) + self._width(words, self._word_font)
        gap = 6.0 if number and words else 0.0
        return QSizeF(width + gap + 2 * PADDING + (SIGN_ROOM if has_sign else 0.0), 26.0)

    @staticmethod
    def _width(text: str, font: QFont) -> float:
        return QFontMetricsF(font).horizontalAdvance(text) if text else 0.0

    @guarded()
    def paintEvent(self, _event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        for mark in self.marks:
            _PAINTERS[type(mark)](self, painter, mark)
        painter.end()

    def _colour(self, tone: Tone | str) -> QColor:
        theme = self.theme
        if tone in AXIS_TONES:
            return QColor(AXIS_TONES[tone][theme is colours.DARK])
        if tone in theme.signs:
            return QColor(theme.signs[tone])
        return QColor({"text": theme.text, "faint": theme.faint, "line": theme.line}.get(tone, theme.accent))

    def _dot(self, painter: QPainter, dot: Dot) -> None:
        centre, theme = QPointF(*dot.at), self.theme
        radius = DOT_RADII[dot.kind] * dot.size
        if dot.kind == "hidden":
            painter.setPen(QPen(_faded(QColor(theme.text), 0.35), 1.0))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawEllipse(centre, radius, radius)
            return
        fill = QColor(theme.accent if dot.kind == "selected" else theme.node)
        shine = QRadialGradient(centre - QPointF(radius * 0.3, radius * 0.35), radius * 1.3)
        shine.setColorAt(0.0, fill.lighter(125))
        shine.setColorAt(1.0, fill.darker(112))
        painter.setPen(QPen(QColor(theme.text), 1.6 if dot.kind == "hovered" else 1.2))
        painter.setBrush(shine)
        if dot.kind == "landing":  # sits on another tube: a small diamond
            arm = 1.2 * radius
            painter.drawPolygon(_polygon(centre, ((0, -arm), (arm, 0), (0, arm), (-arm, 0))))
        else:
            painter.drawEllipse(centre, radius, radius)
        if dot.kind in RINGS:  # a joint over a sleeve has a ring as well: a tube within a tube
            ring = QColor(theme.accent) if dot.kind == "selected" else QColor(theme.text)
            painter.setPen(QPen(_faded(ring, RINGS[dot.kind]), 1.6))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawEllipse(centre, radius + 3.4, radius + 3.4)

    def _stroke(self, painter: QPainter, stroke: Stroke) -> None:
        colour = self._colour(stroke.tone)
        pen = QPen(_faded(colour, DIM) if stroke.is_dim else colour, stroke.width)
        if stroke.is_dashed:
            pen.setDashPattern([5.0, 4.0])
        painter.setPen(pen)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.drawPolyline(QPolygonF([QPointF(*point) for point in stroke.points]))

    def _ball(self, painter: QPainter, ball: Ball) -> None:
        accent = QColor(self.theme.accent)
        painter.setPen(QPen(accent, 1.6))
        painter.setBrush(_faded(accent, 0.28))
        painter.drawEllipse(QPointF(*ball.at), ball.radius, ball.radius)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(accent)
        painter.drawEllipse(QPointF(*ball.at), 2.2, 2.2)

    def _sign(self, painter: QPainter, sign: Sign) -> None:
        self._draw_sign(painter, QPointF(*sign.at), sign.shape, sign.size, sign.is_dim)

    def _draw_sign(self, painter: QPainter, at: QPointF, shape: Shape, size: float, is_dim: bool) -> None:
        colour = QColor(self.theme.signs["close" if shape == "bad" else shape])
        colour = _faded(colour, DIM) if is_dim else colour
        edge = QPen(QColor(self.theme.paper), 1.0)
        painter.setPen(edge)
        painter.setBrush(colour)
        if shape == "close":
            painter.drawPolygon(
                _polygon(at, ((0, -size), (size * 1.05, size * 0.85), (-size * 1.05, size * 0.85)))
            )
        elif shape == "fine":
            painter.drawEllipse(at, size * 0.8, size * 0.8)
        elif shape == "bad":
            painter.setBrush(QColor(self.theme.paper))
            painter.setPen(QPen(colour, 2.0))
            painter.drawEllipse(at, size * 1.25, size * 1.25)
            arm = size * 0.55
            painter.setPen(QPen(colour, 2.6))
            painter.drawLine(at + QPointF(-arm, -arm), at + QPointF(arm, arm))
            painter.drawLine(at + QPointF(-arm, arm), at + QPointF(arm, -arm))
        else:
            painter.setBrush(QColor(self.theme.paper))
            painter.setPen(QPen(colour, 2.0))
            painter.drawPolygon(_polygon(at, ((0, -size), (size, 0), (0, size), (-size, 0))))

    def _spot(self, painter: QPainter, spot: Spot) -> None:
        at, accent = QPointF(*spot.at), QColor(self.theme.accent)
        accent = _faded(accent, 0.6) if spot.is_dim else accent
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(_faded(QColor(self.theme.paper), 0.8), 3.4))
        painter.drawEllipse(at, 4.6, 4.6)
        painter.setPen(QPen(accent, 1.6))
        painter.drawEllipse(at, 4.6, 4.6)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(accent)
        painter.drawEllipse(at, 1.4, 1.4)

    def _badge(self, painter: QPainter, badge: Badge) -> None:
        rect = QRectF(badge.rect.left, badge.rect.top, badge.rect.width, badge.rect.height)
        tone = "close" if badge.shape == "bad" else badge.shape
        plain = QColor(self.theme.faint if badge.is_quiet else self.theme.text)
        text = QColor(self.theme.words[tone]) if tone else plain
        self._plate(painter, rect, text if badge.shape else QColor(self.theme.line), badge.is_dim)
        left = rect.left() + PADDING
        if badge.shape:
            self._draw_sign(painter, QPointF(left + 5.5, rect.center().y()), badge.shape, 5.5, badge.is_dim)
            left += SIGN_ROOM
        painter.setPen(_faded(text, DIM) if badge.is_dim else text)
        left = self._write(painter, badge.number, self._number_font, left, rect)
        painter.setPen(_faded(plain, DIM) if badge.is_dim else plain)
        self._write(painter, badge.words, self._word_font, left + (6.0 if badge.number else 0.0), rect)

    def _plate(self, painter: QPainter, rect: QRectF, edge: QColor, is_dim: bool) -> None:
        painter.setPen(QPen(_faded(edge, 0.35 if is_dim else 0.8), 1.0))
        painter.setBrush(_faded(QColor(self.theme.paper), 0.8 if is_dim else 0.94))
        painter.drawRoundedRect(rect, 5.0, 5.0)

    def _write(self, painter: QPainter, text: str, font: QFont, left: float, rect: QRectF) -> float:
        if not text:
            return left
        painter.setFont(font)
        width = self._width(text, font)
        place = QRectF(left, rect.top(), width + 2.0, rect.height())
        painter.drawText(place, Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft, text)
        return left + width

    def _whisper(self, painter: QPainter, whisper: Whisper) -> None:
        painter.setFont(self._word_font)
        width = self._width(whisper.text, self._word_font)
        x = whisper.at[0] - (width / 2.0 if whisper.is_centred else 0.0)
        at = QPointF(x, below_plates(x, whisper.at[1], width, self.marks))
        painter.setPen(_faded(QColor(self.theme.paper), 0.85))
        for dx, dy in ((-1, 0), (1, 0), (0, -1), (0, 1)):  # a thin halo: readable over tube and metal
            painter.drawText(at + QPointF(dx, dy), whisper.text)
        painter.setPen(self._colour(whisper.tone))
        painter.drawText(at, whisper.text)

    def _typed(self, painter: QPainter, typed: Typed) -> None:
        size = self.badge_size(typed.text + "|", typed.words, False)
        rect = QRectF(QPointF(*typed.at), size)
        colour = QColor(self.theme.words["close"] if typed.is_refused else self.theme.accent)
        self._plate(painter, rect, colour, False)
        painter.setPen(colour)
        left = self._write(painter, typed.text + "|", self._number_font, rect.left() + PADDING, rect)
        painter.setPen(QColor(self.theme.text))
        self._write(painter, typed.words, self._word_font, left + 6.0, rect)

    def _box(self, painter: QPainter, box: Box) -> None:
        accent = QColor(self.theme.accent)
        painter.setPen(QPen(accent, 1.0))
        painter.setBrush(_faded(accent, 0.12))
        painter.drawRect(QRectF(QPointF(*box.start), QPointF(*box.end)).normalized())


def below_plates(x: float, baseline: float, width: float, marks: Iterable[Mark]) -> float:
    """Return the baseline of a word, lowered where a badge would be written over it."""
    for mark in marks:
        if isinstance(mark, Badge):
            plate = mark.rect
            is_beside = x > plate.left + plate.width or x + width < plate.left
            if (
                not is_beside
                and plate.top < baseline + 3.0
                and baseline - WORD_HIGH < plate.top + plate.height
            ):
                baseline = plate.top + plate.height + WORD_HIGH + 2.0
    return baseline


def _faded(colour: QColor, part: float) -> QColor:
    faded = QColor(colour)
    faded.setAlphaF(part)
    return faded


def _polygon(centre: QPointF, corners: tuple[tuple[float, float], ...]) -> QPolygonF:
    return QPolygonF([centre + QPointF(x, y) for x, y in corners])


_PAINTERS: dict[type, Callable[[Overlay, QPainter, Any], None]] = {
    Dot: Overlay._dot,
    Stroke: Overlay._stroke,
    Ball: Overlay._ball,
    Sign: Overlay._sign,
    Spot: Overlay._spot,
    Badge: Overlay._badge,
    Whisper: Overlay._whisper,
    Typed: Overlay._typed,
    Box: Overlay._box,
}
