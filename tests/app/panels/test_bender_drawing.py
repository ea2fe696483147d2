"""The drawing of a bender holds all it has, swings where it says, and never fails to paint."""

import math
from itertools import pairwise

import pytest
from pytestqt.qtbot import QtBot

from app.panels.bender_drawing import REACH, BenderDrawing, bounds, described, swung
from geometry.layout import Bender, Box

BOX = Box("Post", (-1200.0, -90.0, -900.0), (100.0, 700.0, -100.0))


@pytest.mark.parametrize("swing", ["left", "right", "up"])
@pytest.mark.parametrize("is_side", [False, True])
def test_everything_lies_inside_the_view(swing: str, is_side: bool) -> None:
    bender = Bender(1, "B", swing=swing, boxes=(BOX,))  # type: ignore[arg-type]
    low, high = bounds(bender, is_side)
    axis = 2 if is_side else 1
    assert low[0] <= -1200.0
    assert high[0] >= REACH
    assert low[1] <= BOX.low[axis]
    assert high[1] >= BOX.high[axis]
    assert not is_side or low[1] <= -bender.height


def test_the_leading_end_swings_ahead_and_the_tail_behind() -> None:
    (lead,) = swung("lead")
    (tail,) = swung("tail")
    assert lead[-1][0] > 0.0 > tail[-1][0]
    assert lead[-1][1] == tail[-1][1] > 0.0
    assert [run[-1][0] > 0.0 for run in swung("both")] == [True, False]


@pytest.mark.parametrize("moves", ["lead", "tail", "both"])
def test_the_swung_side_is_as_long_as_it_was(moves: str) -> None:
    for run in swung(moves):
        length = sum(math.dist(a, b) for a, b in pairwise(run))
        assert length == pytest.approx(REACH, rel=1e-3)


@pytest.mark.parametrize("bender", [None, Bender(1, "B"), Bender(1, "B", 400.0, "up", "both", (BOX,))])
def test_it_paints_whatever_there_is(qtbot: QtBot, bender: Bender | None) -> None:
    drawing = BenderDrawing()
    qtbot.addWidget(drawing)
    drawing.resize(330, 150)
    drawing.show_bender(bender, 0)
    assert not drawing.grab().isNull()
    drawing.resize(8, 8)
    assert not drawing.grab().isNull()


def test_it_is_told_in_words_too() -> None:
    assert described(Bender(1, "B", boxes=(BOX,))) == "B: swings left, lead moves; Post"
