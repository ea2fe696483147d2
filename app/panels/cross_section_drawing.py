"""The drawing of a cross-section as lines and words, and how they are painted. Sizes in pixels or points."""

from collections.abc import Callable
from typing import Literal

import numpy as np
from msgspec import Struct
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QPainter, QPen, QPolygonF

from app import wording
from geometry.checks.cross_section import CrossSection, Gap
from geometry.checks.standoff import Band, Standing
from geometry.layout import Layout
from geometry.vectors import Floats

Tone = Literal["text", "faint", "metal", "tube", "ground", "close", "fine", "far"]
Place = tuple[float, float]
METRIC_BARS = (10.0, 20.0, 50.0, 100.0, 200.0)
INCH_BARS = (12.7, 25.4, 50.8, 101.6, 203.2)
MARGIN = 10.0
ROW = 16.0
ARROW = 22.0
NOTICED = 0.5  # mm by which the gap in space differs from that in the plane to be drawn too


class Stroke(Struct, frozen=True):
    """Separate lines (n, 2, 2), or a closed shape (n, 2) that is filled."""

    points: Floats
    tone: Tone
    width: float = 1.0
    is_dashed: bool = False
    is_filled: bool = False


class Words(Struct, frozen=True):
    """A line of text; `side` is where it lies from its place."""

    at: Place
    text: str
    tone: Tone = "text"
    side: Literal["right", "left", "middle"] = "right"
    is_large: bool = False


class Drawing(Struct, frozen=True):
    """Everything in the order in which it is painted."""

    strokes: tuple[Stroke, ...]
    words: tuple[Words, ...]


def drawn(
    cut: CrossSection, layout: Layout, size: tuple[float, float], length: Callable[[float], str], zoom: float
) -> Drawing:
    """Lay a cut out on a sheet of a size; at zoom 1 the whole half window fits the smaller side."""
    scale = zoom * (min(size) / 2.0 - MARGIN) / cut.half
    middle = np.array(size) / 2.0

    def on(points: Floats) -> Floats:
        placed: Floats = middle + np.asarray(points) * np.array((scale, -scale))
        return placed

    strokes = [Stroke(on(segments), "metal", 2.0) for segments in cut.panels.values()]
    strokes += [Stroke(on(segments), "tube", 1.2) for segments in cut.tubes.values()]
    strokes += [
        Stroke(on(_circle(cut.radius)), "tube", 1.6, is_filled=True),
        Stroke(on(_circle(cut.inner_radius)), "ground", 1.0, is_filled=True),
    ]
    words = _names(cut, layout, on, size)
    if cut.gap is not None and cut.gap.standing.raw > 0.0:
        strokes.append(Stroke(on(np.array([[cut.gap.start, cut.gap.end]])), cut.gap.standing.band, 2.0))
    words += _number(cut.gap, on, size, length)
    bar, bar_words = _scale_bar(size, scale, length)
    arrow, arrow_words = _arrow(cut, size)
    return Drawing((*strokes, bar, arrow), (*words, bar_words, arrow_words))


def said(cut: CrossSection, layout: Layout, length: Callable[[float], str]) -> list[str]:
    """Say what a cut shows, beside the drawing: the gap in the plane, and in space where that is less."""
    lines = []
    if cut.gap is None:
        lines.append(f"No panel within {length(cut.half)} in this plane.")
    else:
        lines += [f"In this plane, to {_name(layout, cut.gap.panel)}:", _gap_words(cut.gap.standing, length)]
    true = cut.true_gap
    if true is not None and (cut.gap is None or cut.gap.standing.raw - true.standing.raw > NOTICED):
        lines += [
            f"Nearest in space from here, to {_name(layout, true.panel)}:",
            _gap_words(true.standing, length),
        ]
    elif true is not None:
        lines.append("The nearest metal in space is in this plane too.")
    return lines


def paint(painter: QPainter, drawing: Drawing, tones: dict[Tone, QColor], font: QFont) -> None:
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    for stroke in drawing.strokes:
        _paint_stroke(painter, stroke, tones)
    for words in drawing.words:
        _paint_words(painter, words, tones, font)


def _paint_stroke(painter: QPainter, stroke: Stroke, tones: dict[Tone, QColor]) -> None:
    pen = QPen(tones[stroke.tone], stroke.width)
    pen.setCapStyle(Qt.PenCapStyle.RoundCap)
    if stroke.is_dashed:
        pen.setStyle(Qt.PenStyle.DashLine)
    painter.setPen(pen)
    if stroke.is_filled:
        fill = QColor(tones[stroke.tone])
        fill.setAlphaF(1.0 if stroke.tone == "ground" else 0.35)
        painter.setBrush(fill)
        painter.drawPolygon(QPolygonF([QPointF(x, y) for x, y in stroke.points.tolist()]))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        return
    for (ax, ay), (bx, by) in stroke.points.tolist():
        painter.drawLine(QPointF(ax, ay), QPointF(bx, by))


def _paint_words(painter: QPainter, words: Words, tones: dict[Tone, QColor], font: QFont) -> None:
    used = QFont(font)
    if words.is_large:
        used.setPointSizeF(font.pointSizeF() * 1.35)
        used.setBold(True)
    painter.setFont(used)
    metrics = painter.fontMetrics()
    wide, high = metrics.horizontalAdvance(words.text) + 8.0, metrics.height() + 2.0
    x, y = words.at
    left = {"right": x, "left": x - wide, "middle": x - wide / 2.0}[words.side]
    frame = QRectF(left, y - high / 2.0, wide, high)
    plate = QColor(tones["ground"])
    plate.setAlphaF(0.85)
    painter.fillRect(frame, plate)
    painter.setPen(tones[words.tone])
    painter.drawText(frame, Qt.AlignmentFlag.AlignCenter, words.text)


def _circle(radius: float) -> Floats:
    turn = np.linspace(0.0, 2.0 * np.pi, 72, endpoint=False)
    return radius * np.column_stack([np.cos(turn), np.sin(turn)])


def _gap_words(standing: Standing, length: Callable[[float], str]) -> str:
    band: Band = standing.band
    sign, word = wording.BAND_SIGNS[band], wording.BAND_WORDS[band]
    if standing.raw < 0.0:
        return f"{sign} cuts in by {length(-standing.raw)}"
    return f"{sign} {length(standing.raw)} drawn, {length(standing.safe)} safe: {word}"


def _name(layout: Layout, panel: int) -> str:
    return wording.one_line(layout.panels[panel].name) if panel in layout.panels else "a panel that is gone"


def _names(
    cut: CrossSection, layout: Layout, on: Callable[[Floats], Floats], size: tuple[float, float]
) -> list[Words]:
    """Write the name of each panel and tube where it is in the picture, none over another."""
    words: list[Words] = []
    taken = [float(on(np.zeros(2))[1])]
    if cut.gap is not None:
        level = float(on(np.array([cut.gap.start, cut.gap.end]))[:, 1].mean())
        taken += [level + part * ROW for part in (-2.4, -1.1, 0.0, 1.2)]
    things = [(segments, _name(layout, id), "text") for id, segments in cut.panels.items()]
    things += [
        (segments, wording.one_line(layout.tubes[id].name), "faint")
        for id, segments in cut.tubes.items()
        if id in layout.tubes
    ]
    low, high = np.array((MARGIN, ROW + MARGIN)), np.array(size) - np.array((MARGIN, 2.0 * ROW + MARGIN))
    for segments, name, tone in things:
        places = on(segments.mean(axis=1))
        seen = places[((places > low) & (places < high)).all(axis=1)]
        if not len(seen):
            continue
        far = np.linalg.norm(seen - on(np.zeros(2)), axis=1)
        order = np.argsort(np.abs(far - 0.7 * min(size) / 2.0))
        free = [k for k in order.tolist() if all(abs(seen[k][1] - y) > ROW for y in taken)]
        x, y = seen[free[0] if free else order[0]].tolist()
        taken.append(y)
        is_left = x < size[0] / 2.0
        gap = -8.0 if is_left else 8.0
        words.append(Words((x + gap, y), name, tone, "left" if is_left else "right"))  # type: ignore[arg-type]
    return words


def _number(
    gap: Gap | None, on: Callable[[Floats], Floats], size: tuple[float, float], length: Callable[[float], str]
) -> list[Words]:
    if gap is None:
        return []
    start, end = on(np.array([gap.start, gap.end]))
    sign = wording.BAND_SIGNS[gap.standing.band]
    x, y = ((start + end) / 2.0).tolist()
    is_level = abs(end[0] - start[0]) > abs(end[1] - start[1])
    at = (x, y - 2.4 * ROW) if is_level else (x + 12.0, y)
    text = f"{sign} {length(gap.standing.raw)}"
    side: Literal["middle", "right"] = "middle" if is_level else "right"
    number = Words(at, text, gap.standing.band, side, is_large=True)
    if gap.standing.raw < 0.0:
        return [number]
    below = (x, y - 1.1 * ROW) if is_level else (x + 12.0, y + ROW + 4.0)
    return [number, Words(below, f"{length(gap.standing.safe)} safe", "faint", side)]


def _scale_bar(
    size: tuple[float, float], scale: float, length: Callable[[float], str]
) -> tuple[Stroke, Words]:
    bars = METRIC_BARS if length(0.0).endswith("mm") else INCH_BARS
    bar = next((bar for bar in bars if bar * scale >= 50.0), bars[-1])
    left, y, wide = MARGIN, size[1] - MARGIN, bar * scale
    lines = [
        [(left, y), (left + wide, y)],
        [(left, y - 4), (left, y + 4)],
        [(left + wide, y - 4), (left + wide, y + 4)],
    ]
    words = Words((left + wide + 4.0, y - 2.0), length(bar), "faint")
    return Stroke(np.array(lines), "faint", 1.5), words


def _arrow(cut: CrossSection, size: tuple[float, float]) -> tuple[Stroke, Words]:
    x, top = size[0] - MARGIN - 10.0, ROW + MARGIN
    lines = [[(x, top), (x, top + ARROW)], [(x, top), (x - 4, top + 7)], [(x, top), (x + 4, top + 7)]]
    return Stroke(np.array(lines), "faint", 1.5), Words(
        (x, top - 9.0), "up" if cut.plane.is_up else "front", "faint", "middle"
    )
