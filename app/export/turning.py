"""Small drawings for the bender: the rotation dial as seen from the tail, and how to stand."""

import math

from msgspec import Struct

from app.export.drawing import Disc, Face, Mark, Stroke, Words
from app.export.views import Vec2

DIAL_RADIUS = 9.8  # points
ARROW_RADIUS = 13.5
DIAL_REACH = 16.8  # from the middle to the rim of all that is drawn
LEAST_ARROW = math.radians(40.0)  # a shorter arrow shows no way
WING = 4.6  # length of an arrow's head
CHORD = math.radians(6.0)

STANCE_SIZE = (262.0, 61.0)


class Turning(Struct, frozen=True):
    """A turn of the tube: what the dial reads after it, and how far it went; clockwise is positive."""

    reading: float
    turn: float


class Stance(Struct, frozen=True):
    """How to stand and which way is clockwise, beside what there is to say about it."""

    leads: str  # the end that leads first: START or END
    paragraphs: tuple[str, ...]


def dial(turning: Turning) -> tuple[Mark, ...]:
    """Draw the dial round the origin: 0 at the top, the needle at the reading, an arrow the way to turn."""
    marks: list[Mark] = [Disc((0.0, 0.0), DIAL_RADIUS)]
    for quarter in range(4):
        inner = 0.62 if quarter == 0 else 0.8
        width = 1.4 if quarter == 0 else 0.5
        marks.append(_spoke(quarter * math.pi / 2.0, inner * DIAL_RADIUS, DIAL_RADIUS, width))
    marks.append(_spoke(turning.reading, -0.2 * DIAL_RADIUS, 0.72 * DIAL_RADIUS, 2.0))
    if turning.turn:
        marks += _arrow(turning)
    return tuple(marks)


def stance(leads: str) -> tuple[Mark, ...]:
    """Draw who stands where, in a box of STANCE_SIZE: the tail, the die, the end that leads."""
    tube = 20.0
    return (
        *_person(12.0, tube),
        Stroke(_round_the_tube(-70, 90), 1.0, 0.45, (2.0, 2.0)),
        Stroke(((36.0, tube), (186.0, tube)), 8.0),
        Stroke(((36.6, tube), (185.4, tube)), 6.4, 0.86),
        Face(((122.0, 6.0), (146.0, 6.0), (146.0, 34.0), (122.0, 34.0)), 1.0, 1.4),
        Words((134.0, tube), "die", 9.5, bold=True),
        Words((46.0, 6.5), "tail", 9.5),
        Stroke(_round_the_tube(90, 240), 1.9),
        Face((_ellipse(262), _ellipse(236, 1.35), _ellipse(232, 0.68)), 0.0, 0.3),
        Words((82.0, 47.0), "clockwise", 9.5, bold=True),
        Words((172.0, 33.0), leads, 10.5, bold=True),
        Words((172.0, 8.0), "leads", 9.5),
        *_legend(228.0, 35.0),
    )


def _spoke(angle: float, inner: float, outer: float, width: float) -> Stroke:
    return Stroke((_at(angle, inner), _at(angle, outer)), width)


def _at(angle: float, radius: float) -> Vec2:
    """Return a place round the origin; angles run clockwise from the top, as on the dial."""
    return (radius * math.sin(angle), radius * math.cos(angle))


def _arrow(turning: Turning) -> list[Mark]:
    """Draw an arrow round the dial that ends at the reading."""
    way = math.copysign(1.0, turning.turn)
    length = max(abs(turning.turn), LEAST_ARROW)
    head = WING / ARROW_RADIUS
    first, last = turning.reading - way * length, turning.reading - way * head * 0.8
    count = max(2, math.ceil(length / CHORD))
    run = tuple(_at(first + (last - first) * i / count, ARROW_RADIUS) for i in range(count + 1))
    back = turning.reading - way * head
    tip = _at(turning.reading, ARROW_RADIUS)
    left, right = _at(back, ARROW_RADIUS - 2.8), _at(back, ARROW_RADIUS + 2.8)
    return [Stroke(run, 1.5), Face((tip, left, right), 0.0, 0.3)]


def _person(x: float, hands: float) -> tuple[Mark, ...]:
    """Draw a person who faces to the right, hands on the tail of the tube."""
    hip, neck = hands - 2.0, hands + 23.0
    return (
        Stroke(((x - 5.0, 0.0), (x, hip), (x + 5.0, 0.0)), 2.2, is_round=True),
        Stroke(((x, hip), (x + 1.0, neck)), 3.2, is_round=True),
        Stroke(((x + 1.0, neck - 4.0), (x + 12.0, hands + 5.0), (x + 25.0, hands + 1.0)), 2.0, is_round=True),
        Disc((x + 2.5, neck + 7.0), 5.5),
    )


def _round_the_tube(first: int, last: int) -> tuple[Vec2, ...]:
    """Return a part of a ring round the tube in degrees; from 90 to 270 it lies before the tube.

    That side is on the right of who looks along the tube from its tail, so clockwise goes down there.
    """
    return tuple(_ellipse(turn) for turn in range(first, last + 1, 10))


def _ellipse(degrees: float, size: float = 1.0) -> Vec2:
    turn = math.radians(degrees)
    return (82.0 + 7.0 * size * math.cos(turn), 20.0 + 14.0 * size * math.sin(turn))


def _legend(x: float, y: float) -> tuple[Mark, ...]:
    """Draw the dial with its numbers."""
    shown = Turning(math.radians(45.0), math.radians(45.0))
    marks = [_moved(mark, x, y) for mark in dial(shown)]
    numbers = ((0, 0.0, 22.5), (90, 24.0, 0.0), (180, 0.0, -22.0), (270, -24.0, 0.0))
    words = [Words((x + right, y + up), f"{number}°", 8.5) for number, right, up in numbers]
    return (*marks, *words, Words((x, 3.5), "dial, from the tail", 8.5))


def _moved(mark: Mark, x: float, y: float) -> Mark:
    match mark:
        case Disc(at, radius):
            return Disc((at[0] + x, at[1] + y), radius)
        case Face(points, grey, edge):
            return Face(tuple((px + x, py + y) for px, py in points), grey, edge)
        case Stroke(points, width, grey, dash, is_round):
            return Stroke(tuple((px + x, py + y) for px, py in points), width, grey, dash, is_round)
        case Words():
            return mark
