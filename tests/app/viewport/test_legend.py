"""The legend says what the colours mean, in the person's units, and only where there are colours."""

from collections.abc import Iterator

import pytest
from PySide6.QtGui import QFontMetrics
from PySide6.QtWidgets import QWidget
from pytestqt.qtbot import QtBot

from app.units import MILLIMETRES, Units
from app.viewport.legend import Legend
from geometry.layout import Limits


@pytest.fixture
def legend(qtbot: QtBot) -> Iterator[Legend]:
    parent = QWidget()
    qtbot.addWidget(parent)
    parent.show()
    yield Legend(parent, MILLIMETRES)
    parent.close()


def test_it_names_the_limits_that_the_colours_go_by(legend: Legend) -> None:
    legend.show_colouring("bands", Limits(), has_own=False, is_used=True)
    assert legend.isVisible()
    words = " ".join(legend.words)
    for part in ("15.0 mm safe", "40.0 mm", "300.0 mm"):
        assert part in words
    assert "its own" not in words
    legend.show_colouring("bands", Limits(), has_own=True, is_used=True)
    assert all("its own" in line for line in legend.words)


def test_it_speaks_the_units_of_the_person(legend: Legend) -> None:
    legend.show_colouring("bands", Limits(standoff_closest=25.4), has_own=False, is_used=True)
    legend.set_units(Units("in"))
    assert "1.000 in" in legend.words[0]


def test_it_is_away_where_nothing_is_coloured(legend: Legend) -> None:
    legend.show_colouring("plain", Limits(), has_own=False, is_used=True)
    assert not legend.isVisible()
    legend.show_colouring("bands", Limits(), has_own=False, is_used=False)
    assert not legend.isVisible()
    legend.show_colouring("ramp", Limits(), has_own=False, is_used=True)
    assert legend.isVisible()


def test_no_word_is_cut_short(legend: Legend) -> None:
    for colouring in ("bands", "ramp"):
        legend.show_colouring(colouring, Limits(), has_own=True, is_used=True)
        metrics = QFontMetrics(legend._font)
        assert all(metrics.horizontalAdvance(text) < legend.width() for text in legend.words)
        assert not legend.grab().toImage().isNull()
