"""The two flat views of a tube."""

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.export import views
from app.units import MILLIMETRES
from geometry.tube import centreline

OD = 44.45
BOX = (523.0, 270.0)
HOOP = [(0.0, -600.0, 0.0), (0.0, -600.0, 1200.0), (0.0, 600.0, 1200.0), (0.0, 600.0, 0.0)]
IN_SPACE = [(0.0, 0.0, 0.0), (800.0, 0.0, 0.0), (1300.0, 500.0, 0.0), (1800.0, 500.0, 700.0)]


def seen(corners, clr=152.4, spare=(25.0, 25.0)):
    return views.of(centreline.build(corners, clr), OD, spare, MILLIMETRES, BOX)


def spans(view):
    return np.array(view.high) - np.array(view.low)


def test_every_straight_is_dimensioned_once_with_its_true_length():
    for corners in (HOOP, IN_SPACE):
        line = centreline.build(corners, 152.4)
        texts = [item.text for view in seen(corners).views for item in view.dimensions]
        assert sorted(texts) == sorted(f"{length:.1f}" for length in line.straights)


def test_every_bend_is_numbered_in_both_views():
    for corners in (HOOP, IN_SPACE):
        for view in seen(corners).views:
            assert [balloon.text for balloon in view.balloons] == [str(i + 1) for i in range(2)]


def test_a_flat_tube_needs_one_view_of_its_true_shape():
    (only,) = seen(HOOP).views
    assert sorted(spans(only)) == pytest.approx([1200.0 + OD / 2, 1200.0 + OD], abs=0.1)
    assert only.title.endswith(": the tube lies flat")
    assert {only.overall_across, only.overall_up} == {"1244.5 mm", "1222.2 mm"}


@given(st.floats(0.0, 6.28), st.floats(0.1, 2.0))
def test_a_tube_of_one_bend_is_seen_square_wherever_it_lies(turn, bend):
    along = (math.cos(turn), math.sin(turn), 0.3)
    leaving = (math.cos(turn + bend), math.sin(turn + bend), 0.3)
    corners = [tuple(-700.0 * v for v in along), (0.0, 0.0, 0.0), tuple(500.0 * v for v in leaving)]
    (only,) = seen(corners).views
    straights = centreline.build(corners, 152.4).straights
    drawn = [math.dist(item.start, item.end) for item in only.dimensions]
    assert sorted(drawn) == pytest.approx(sorted(straights), abs=0.1)


def test_a_straight_tube_needs_one_view():
    only = seen([(0.0, 0.0, 0.0), (0.0, 0.0, 900.0)]).views
    assert len(only) == 1
    assert spans(only[0]) == pytest.approx([900.0, OD])
    assert [item.text for item in only[0].dimensions] == ["900.0"]


def test_the_start_is_on_the_left_of_the_first_view():
    for corners in (IN_SPACE, IN_SPACE[::-1], HOOP):
        first = seen(corners).views[0]
        assert first.start[0] < first.end[0]


def test_both_views_share_the_axis_they_are_turned_about():
    shown = seen(IN_SPACE)
    axis = 1 if shown.beside else 0
    a, b = shown.views
    assert [p[axis] for p in a.centre] == pytest.approx([p[axis] for p in b.centre], abs=1e-6)


def test_a_view_is_no_mirror_image():
    # Looked at from A, the second view's depth is the first one's height: together they give the tube back.
    shown = seen(IN_SPACE)
    a, b = (np.array(view.centre) for view in shown.views)
    # Beside: B's right is away from A's eye. Under: B's up is towards A's eye.
    flat = np.column_stack([a, -b[:, 0]] if shown.beside else [a, b[:, 1]])
    points, _, _ = centreline.sample(centreline.build(IN_SPACE, 152.4), OD / 200.0)
    turn, _, other = np.linalg.svd((points - points.mean(0)).T @ (flat - flat.mean(0)))
    assert np.linalg.det(turn @ other) == pytest.approx(1.0)
    assert (points - points.mean(0)) @ turn @ other == pytest.approx(flat - flat.mean(0), abs=1e-6)


def test_bends_are_seen_nearly_square_in_one_of_the_views():
    # Two bends whose planes are square to each other: each has a view that shows its true angle.
    line = centreline.build(IN_SPACE, 152.4)
    shown = seen(IN_SPACE).views
    for bend in line.bends:
        best = 0.0
        for view in shown:
            run = np.array(view.centre)
            stations = centreline.sample(line, OD / 200.0)[2]
            at = [np.argmin(abs(stations - s)) for s in (bend.start, bend.end)]
            steps = np.diff(run, axis=0)
            into, out = steps[at[0] - 1], steps[min(at[1], len(steps) - 1)]
            turn = math.acos(np.clip(into @ out / np.linalg.norm(into) / np.linalg.norm(out), -1, 1))
            best = max(best, turn)
        assert best > 0.6 * bend.angle


@given(
    st.lists(st.tuples(*[st.floats(-1500, 1500)] * 3), min_size=2, max_size=7),
    st.floats(10.0, 200.0),
)
def test_any_tube_can_be_drawn(corners, clr):
    if any(math.dist(a, b) < 1.0 for a, b in pairwise(corners)):
        return
    shown = seen([tuple(map(float, corner)) for corner in corners], clr)
    for view in shown.views:
        assert np.isfinite(view.centre).all()
        assert (spans(view) > 0).all()
        inside = np.array(view.centre)
        assert (inside >= np.array(view.low) - 1e-6).all()
        assert (inside <= np.array(view.high) + 1e-6).all()
