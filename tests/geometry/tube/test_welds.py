"""Spans of tubes that are welded to panels: which they are, and parts of centrelines."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from geometry.layout import Tube, Weld
from geometry.tube import centreline, welds

LINE = centreline.build(
    [(0.0, 0.0, 0.0), (500.0, 0.0, 0.0), (500.0, 400.0, 0.0), (500.0, 400.0, 600.0)], 120.0
)
stations = st.floats(0.0, LINE.length)


def tube(*marks: Weld) -> Tube:
    return Tube(1, "T1", (1, 2), 3, welds=marks)


def test_spans_that_touch_are_one_and_panels_are_apart() -> None:
    marked = tube(Weld(7, 300.0, 400.0), Weld(7, 0.0, 100.0), Weld(8, 50.0, None), Weld(7, 90.0, 200.0))
    assert welds.spans(marked, 1000.0) == {7: [(0.0, 200.0), (300.0, 400.0)], 8: [(50.0, 1000.0)]}


def test_what_is_left_of_a_tube_lies_between_its_spans() -> None:
    assert welds.rest([(0.0, 200.0), (300.0, 400.0)], 1000.0) == [(200.0, 300.0), (400.0, 1000.0)]
    assert welds.rest([(0.0, 1000.0)], 1000.0) == []
    assert welds.rest([], 1000.0) == [(0.0, 1000.0)]


def test_a_place_is_in_a_span_or_not() -> None:
    marked = tube(Weld(7, 300.0, 400.0))
    assert [
        welds.covers(marked, 1000.0, panel, at) for panel, at in ((7, 350.0), (7, 401.0), (8, 350.0))
    ] == [
        True,
        False,
        False,
    ]


@given(stations, stations)
def test_a_part_of_a_line_runs_where_the_line_runs(a: float, b: float) -> None:
    start, end = min(a, b), max(a, b)
    if end - start < 0.01:
        return
    part = welds.part(LINE, start, end)
    assert part.length == pytest.approx(end - start)
    along = np.linspace(0.0, end - start, 40)
    assert centreline.point_at(part, along) == pytest.approx(
        centreline.point_at(LINE, start + along), abs=1e-6
    )
    assert centreline.direction_at(part, along[1:-1]) == pytest.approx(
        centreline.direction_at(LINE, start + along[1:-1]), abs=1e-6
    )


@given(stations, st.one_of(st.none(), stations))
def test_turning_a_tube_round_twice_leaves_its_marks(start: float, end: float | None) -> None:
    marks = welds.clipped((Weld(7, start, end),), LINE.length)
    twice = welds.reversed_on(welds.reversed_on(marks, LINE.length), LINE.length)
    spans = [welds.span_of(mark, LINE.length) for mark in marks]
    assert [welds.span_of(mark, LINE.length) for mark in twice] == [
        pytest.approx(span, abs=1e-6) for span in spans
    ]


def test_marks_are_held_within_the_tube() -> None:
    marks = (Weld(7, -5.0, 2000.0), Weld(8, 1200.0, None), Weld(9, 10.0, 20.0))
    assert welds.clipped(marks, 1000.0) == (Weld(7, 0.0, 1000.0), Weld(9, 10.0, 20.0))
    kept = (Weld(9, 10.0, 20.0), Weld(9, 0.0, None))
    assert welds.clipped(kept, 1000.0) is kept
