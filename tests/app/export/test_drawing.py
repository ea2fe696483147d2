"""Views placed on paper: at scale, inside the box, words clear of each other."""

import itertools
import math

import pytest

from app.export import drawing, views
from app.export.drawing import Disc, Stroke, Words
from app.units import INCH_FRACTIONS, MILLIMETRES
from geometry.tube import centreline

OD = 44.45
BOX = (523.0, 260.0)

TUBES = {
    "straight": [(0, 0, 0), (2400, 0, 0)],
    "short": [(0, 0, 0), (300, 0, 0)],
    "one bend": [(0, 0, 0), (5000, 0, 0), (5400, 300, 0)],
    "hoop": [(0, -600, 0), (50, -600, 1200), (50, 600, 1200), (0, 600, 0)],
    "rail": [(0, 700, 300), (300, 750, 900), (1100, 650, 1500), (2400, 600, 1520), (3100, 650, 1100)],
    "six bends": [
        (0, 0, 0),
        (500, 0, 0),
        (800, 400, 0),
        (1400, 400, 300),
        (1900, 0, 300),
        (2400, 100, 700),
        (2900, 600, 700),
        (3500, 600, 300),
    ],
    "nearly closed": [(0, 0, 0), (600, 10, 0), (600, 800, 10), (20, 800, 0), (0, 120, 0)],
}


def placed(name, units=MILLIMETRES, box=BOX, spare=(25.0, 60.0)):
    corners = [tuple(map(float, corner)) for corner in TUBES[name]]
    shown = views.of(centreline.build(corners, 139.7), OD, spare, units, box)
    return drawing.place(shown, *box, text_width), shown


def text_width(text, size, bold):
    return len(text) * size * (0.58 if bold else 0.53)


def word_boxes(marks):
    """Return the boxes that words and balloons take, a little smaller than they are drawn."""
    boxes = []
    for mark in marks:
        if isinstance(mark, Words) and not mark.text.isdigit():
            half = text_width(mark.text, mark.size, mark.bold) / 2.0
            along = (math.cos(mark.angle), math.sin(mark.angle))
            boxes.append((mark.text, (mark.at, along, half, mark.size * 0.4)))
        if isinstance(mark, Disc):
            boxes.append(("balloon", (mark.at, (1.0, 0.0), mark.radius * 0.9, mark.radius * 0.9)))
    return boxes


@pytest.mark.parametrize("spare", [(25.0, 60.0), (200.0, 0.0)], ids=["short allowances", "a long one"])
@pytest.mark.parametrize("units", [MILLIMETRES, INCH_FRACTIONS], ids=["mm", "fractions"])
@pytest.mark.parametrize("name", TUBES)
def test_no_words_overlap(name, units, spare):
    drawn, _ = placed(name, units, spare=spare)
    clashes = [
        (first, second)
        for (first, a), (second, b) in itertools.combinations(word_boxes(drawn.marks), 2)
        if drawing._meet(a, b)
    ]
    assert clashes == []


@pytest.mark.parametrize("spare", [(25.0, 60.0), (200.0, 0.0)], ids=["short allowances", "a long one"])
@pytest.mark.parametrize("name", TUBES)
def test_everything_stays_in_the_box(name, spare):
    drawn, _ = placed(name, spare=spare)
    for mark in drawn.marks:
        points = mark.points if isinstance(mark, Stroke | drawing.Face) else [mark.at]
        assert all(-0.5 <= x <= BOX[0] + 0.5 and -0.5 <= y <= BOX[1] + 0.5 for x, y in points)
    for _, box in word_boxes(drawn.marks):
        assert all(-0.5 <= x <= BOX[0] + 0.5 and -0.5 <= y <= BOX[1] + 0.5 for x, y in drawing._corners(box))


@pytest.mark.parametrize("name", TUBES)
def test_the_tube_is_drawn_at_its_real_diameter(name):
    drawn, _ = placed(name)
    thick = max(mark.width for mark in drawn.marks if isinstance(mark, Stroke))
    assert thick == pytest.approx(max(OD * drawn.scale, drawing.THINNEST))


@pytest.mark.parametrize("name", TUBES)
def test_both_views_have_one_scale_and_every_word(name):
    drawn, shown = placed(name)
    texts = [mark.text for mark in drawn.marks if isinstance(mark, Words)]
    for view in shown.views:
        assert view.title in texts
        assert all(item.text in texts for item in view.dimensions)
        assert all(texts.count(balloon.text) >= len(shown.views) for balloon in view.balloons)
    assert texts.count("START") == texts.count("END") == len(shown.views)


@pytest.mark.parametrize("name", TUBES)
def test_at_its_least_height_the_tube_can_still_be_seen(name):
    _, shown = placed(name, box=(523.0, 105.0))
    drawn = drawing.place(shown, 523.0, drawing.least_height(shown), text_width)
    tall = [(view.high[1] - view.low[1]) * drawn.scale for view in shown.views]
    wide = [(view.high[0] - view.low[0]) * drawn.scale for view in shown.views]
    assert max(*tall, *wide) > 15.0


def test_upright_words_read_from_the_right():
    for degrees in range(-180, 181):
        turned = math.degrees(drawing._upright(math.radians(degrees)))
        assert -80.0 - 1e-9 <= turned <= 100.0 + 1e-9
        assert (turned - degrees) % 180.0 == pytest.approx(0.0, abs=1e-6) or (
            turned - degrees
        ) % 180.0 == pytest.approx(180.0, abs=1e-6)


def test_turned_boxes_meet_only_where_they_overlap():
    square = ((0.0, 0.0), (1.0, 0.0), 1.0, 1.0)
    slanted = math.sqrt(0.5)
    assert drawing._meet(square, ((1.9, 0.0), (1.0, 0.0), 1.0, 1.0))
    assert not drawing._meet(square, ((2.1, 0.0), (1.0, 0.0), 1.0, 1.0))
    # A turned square beside the corner: their upright boxes overlap, they do not.
    assert not drawing._meet(square, ((1.9, 1.9), (slanted, slanted), 1.0, 1.0))
