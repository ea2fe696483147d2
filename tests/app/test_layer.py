"""Wishes for tubes along the body: the newest wins, the process is told the body once and ends when told."""

import math
import multiprocessing

import pytest
from msgspec.structs import replace
from PySide6.QtCore import QObject
from pytestqt.qtbot import QtBot

from app import layer as layers
from app.layer import Layer
from geometry import rack
from geometry.body import measured
from geometry.laying import asked
from geometry.laying.wish import Place, Wish
from geometry.layout import Layout


@pytest.fixture(scope="module")
def layout() -> Layout:
    bare = rack.with_starting_rack(Layout())
    return measured.add_to(bare, measured.shapes()["two-box"], "Two-door")[0]


@pytest.fixture
def layer(qapp: QObject):
    made = Layer(qapp)
    yield made
    made.stop()


def wish(layout: Layout, start: float = -500.0, end: float = -2200.0) -> Wish:
    from geometry.body import distance

    index = distance.build(layout)
    places = []
    for x in (start, end):
        found = [panel.closest([[x, 1500.0, 900.0]]) for panel in index.values()]
        gap, _, point = min(found, key=lambda one: one[0][0])
        assert gap[0] < 1500.0
        places.append(Place(tuple(point[0].tolist()), (0.0, 1.0, 0.0)))
    return asked.wish(layout, places, next(iter(layout.stocks.values())))


def test_a_wish_is_answered_under_its_number(qtbot: QtBot, layer: Layer, layout: Layout) -> None:
    with qtbot.waitSignal(layer.found, timeout=30_000) as said:
        number = layer.ask(layout, wish(layout))
    assert said.args[0] == number
    assert said.args[1][0].closest >= wish(layout).closest


def test_of_several_wishes_the_newest_alone_is_answered(qtbot: QtBot, layer: Layer, layout: Layout) -> None:
    heard: list[int] = []
    layer.found.connect(lambda number, _: heard.append(number))
    for end in (-1500.0, -1800.0, -2100.0):
        newest = layer.ask(layout, wish(layout, end=end))
    qtbot.waitUntil(lambda: newest in heard, timeout=30_000)
    assert heard == [newest]


def test_what_is_wanted_no_more_is_not_answered(qtbot: QtBot, layer: Layer, layout: Layout) -> None:
    heard: list[int] = []
    layer.found.connect(lambda number, _: heard.append(number))
    layer.ask(layout, wish(layout))
    layer.forget()
    with qtbot.waitSignal(layer.found, timeout=30_000):
        last = layer.ask(layout, wish(layout, end=-2000.0))
    assert heard == [last]


def test_a_wish_that_cannot_be_met_is_refused_in_words(qtbot: QtBot, layer: Layer, layout: Layout) -> None:
    far = tuple(replace(place, point=(9e3, 9e3, 9e3)) for place in wish(layout).places)
    with qtbot.waitSignal(layer.refused, timeout=30_000) as said:
        layer.ask(layout, replace(wish(layout), places=(far[0], wish(layout).places[1])))
    assert said.args[1].endswith(".")


def test_after_a_stop_the_next_wish_gets_a_process_of_its_own(
    qtbot: QtBot, layer: Layer, layout: Layout
) -> None:
    layer.ask(layout, wish(layout))
    layer.stop()
    with qtbot.waitSignal(layer.found, timeout=30_000) as said:
        layer.ask(layout, wish(layout))
    assert all(math.isfinite(angle) for angle in said.args[1][0].angles)


def test_a_process_that_ended_unasked_is_replaced_for_the_next_wish(
    qtbot: QtBot, layer: Layer, layout: Layout
) -> None:
    with qtbot.waitSignal(layer.found, timeout=30_000):
        layer.ask(layout, wish(layout))
    (child,) = multiprocessing.active_children()
    child.kill()
    worker = layer._worker
    layer.prepare(replace(layout, panels=dict(layout.panels)))  # the body is told, and nobody hears it
    qtbot.waitUntil(lambda: not worker.is_alive, timeout=10_000)
    with qtbot.waitSignal(layer.found, timeout=30_000):
        layer.ask(layout, wish(layout))


def test_the_body_is_one_object_until_it_changes(layout: Layout) -> None:
    body = layers.body_of(layout)
    assert layers.body_of(replace(layout, name="other")) is body
    assert layers.body_of(replace(layout, panels=dict(layout.panels))) is not body
