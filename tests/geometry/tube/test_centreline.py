import itertools
import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from geometry import edits, rack
from geometry.layout import Layout
from geometry.tolerances import LARGEST_TURN, STRAIGHT
from geometry.tube import bending, centreline
from geometry.tube.centreline import Arc, Line

R = 152.4
ELBOW = ((0.0, 0.0, 0.0), (600.0, 0.0, 0.0), (600.0, 500.0, 0.0))

coordinates = st.floats(-2000.0, 2000.0, allow_nan=False)
places = st.tuples(coordinates, coordinates, coordinates)
polylines = st.lists(places, min_size=2, max_size=7)
radii = st.floats(0.0, 400.0)


def spaced(points: list) -> bool:
    """Say whether neighbours keep a millimetre apart."""
    return all(math.dist(a, b) > 1.0 for a, b in itertools.pairwise(points))


def rigid(angles: tuple, shift: tuple, points: list) -> list:
    """Return points turned about x, y, z in turn and shifted."""
    turn = np.eye(3)
    for axis, angle in enumerate(angles):
        c, s = math.cos(angle), math.sin(angle)
        step = np.eye(3)
        i, j = [k for k in range(3) if k != axis]
        step[i, i] = step[j, j] = c
        step[i, j], step[j, i] = -s, s
        turn = step @ turn
    return [tuple(float(v) for v in turn @ np.array(p) + np.array(shift)) for p in points]


def test_two_points_are_one_straight() -> None:
    line = centreline.build(((0.0, 0.0, 0.0), (3.0, 4.0, 0.0)), R)
    assert line.pieces == (Line((0.0, 0.0, 0.0), (3.0, 4.0, 0.0)),)
    assert (line.length, line.straights, line.bends, line.is_makeable) == (5.0, (5.0,), (), True)


def test_an_elbow_is_line_arc_line() -> None:
    line = centreline.build(ELBOW, R)
    first, arc, last = line.pieces
    assert first.start == ELBOW[0]
    assert first.end == pytest.approx((447.6, 0.0, 0.0))
    assert isinstance(arc, Arc)
    assert arc.start == pytest.approx((447.6, 0.0, 0.0))
    assert arc.centre == pytest.approx((447.6, 152.4, 0.0))
    assert arc.axis == pytest.approx((0.0, 0.0, 1.0))
    assert arc.angle == pytest.approx(math.pi / 2)
    assert last.start == pytest.approx((600.0, 152.4, 0.0))
    assert last.end == ELBOW[2]
    assert line.stations == pytest.approx((0.0, 447.6, 447.6 + R * math.pi / 2))


def test_a_node_that_turns_by_less_than_a_dial_shows_is_no_bend() -> None:
    just_under, just_over = (math.tan(STRAIGHT * part) * 500.0 for part in (0.99, 1.01))
    assert not centreline.build(((0, 0, 0), (500, 0, 0), (1000, just_under, 0)), R).bends
    assert len(centreline.build(((0, 0, 0), (500, 0, 0), (1000, just_over, 0)), R).bends) == 1


def test_straight_nodes_split_no_straight_and_bends_keep_their_index() -> None:
    points = ((0, 0, 0), (100, 0, 0), (500, 0, 0), (600, 0, 0), (600, 250, 0), (600, 500, 0))
    line = centreline.build(points, R)
    assert [bend.index for bend in line.bends] == [3]
    assert line.straights == pytest.approx((447.6, 347.6))
    assert line.length == pytest.approx(centreline.build(ELBOW, R).length)


def test_repeated_points_are_passed_over() -> None:
    line = centreline.build((ELBOW[0], ELBOW[0], *ELBOW[1:], ELBOW[2]), R)
    assert line.length == pytest.approx(centreline.build(ELBOW, R).length)
    assert [bend.index for bend in line.bends] == [2]


def test_all_points_on_one_place_still_give_a_line() -> None:
    line = centreline.build(((1.0, 2.0, 3.0),) * 3, R)
    assert line.length == 0.0
    assert centreline.nearest(line, (5.0, 5.0, 5.0)) == (0.0, (1.0, 2.0, 3.0))
    assert np.isfinite(centreline.sample(line)[0]).all()


def test_one_point_is_no_line() -> None:
    with pytest.raises(ValueError, match="two points"):
        centreline.build(((0.0, 0.0, 0.0),), R)


@pytest.mark.parametrize("clr", [-1.0, math.nan, math.inf])
def test_a_radius_that_is_no_length_is_refused(clr: float) -> None:
    with pytest.raises(ValueError, match="radius"):
        centreline.build(ELBOW, clr)


def test_tangents_that_overlap_are_said_and_drawn_tighter() -> None:
    line = centreline.build(((0, 0, 0), (600, 0, 0), (600, 200, 0), (1200, 200, 0)), R)
    assert line.straights == pytest.approx((447.6, 200 - 2 * R, 447.6))
    assert [bend.fits for bend in line.bends] == [False, False]
    assert [bend.drawn_radius for bend in line.bends] == pytest.approx([100.0, 100.0])
    assert [bend.radius for bend in line.bends] == [R, R]
    assert not line.is_makeable


def test_a_first_leg_shorter_than_the_tangent_is_said() -> None:
    line = centreline.build(((0, 0, 0), (100, 0, 0), (100, 500, 0)), R)
    assert line.straights == pytest.approx((100 - R, 500 - R))
    assert line.bends[0].drawn_radius == pytest.approx(100.0)
    assert not line.is_makeable


def test_tangents_that_just_meet_fit() -> None:
    line = centreline.build(((0, 0, 0), (R, 0, 0), (R, 2 * R, 0), (3 * R, 2 * R, 0)), R)
    assert line.is_makeable
    assert line.straights == pytest.approx((0.0, 0.0, R))
    assert [type(piece) for piece in line.pieces] == [Arc, Arc, Line]


def test_a_turn_beyond_the_largest_is_drawn_as_a_corner() -> None:
    turn = LARGEST_TURN + 0.001
    end = (1000 + 1000 * math.cos(turn), 1000 * math.sin(turn), 0)
    line = centreline.build(((0, 0, 0), (1000, 0, 0), end), R)
    assert [type(piece) for piece in line.pieces] == [Line, Line]
    assert line.bends[0].start == line.bends[0].end == 1000.0
    assert line.length == pytest.approx(2000.0)


def test_a_turn_straight_back_is_drawn_as_a_corner() -> None:
    line = centreline.build(((0, 0, 0), (1000, 0, 0), (300, 0, 0)), R)
    assert line.length == 1700.0
    assert not line.is_makeable
    assert np.isfinite(centreline.sample(line)[1]).all()


def test_a_sharp_corner_does_not_spoil_its_neighbours() -> None:
    points = ((0, 0, 0), (800, 0, 0), (800, 800, 0), (800, 10, 0), (0, 10, 0))
    line = centreline.build(points, R)
    assert line.bends[0].drawn_radius == pytest.approx(R)
    assert line.bends[1].drawn_radius == 0.0


def test_the_direction_at_a_sharp_corner_halves_the_turn() -> None:
    line = centreline.build(ELBOW, 0.0)
    points, directions, stations = centreline.sample(line)
    assert stations == pytest.approx([0.0, 600.0, 1100.0])
    assert directions[1] == pytest.approx((math.sqrt(0.5), math.sqrt(0.5), 0.0))
    assert points[1] == pytest.approx(ELBOW[1])


def test_a_bend_too_small_to_draw_is_a_sharp_corner() -> None:
    line = centreline.build(ELBOW, 1e-7)
    assert line.bends[0].drawn_radius == 0.0
    assert [type(piece) for piece in line.pieces] == [Line, Line]


def test_samples_are_no_farther_apart_than_asked() -> None:
    line = centreline.build(ELBOW, R)
    _, _, stations = centreline.sample(line, longest=25.0)
    assert np.diff(stations).max() <= 25.0 + 1e-9
    assert set(np.round(line.stations, 6)) <= set(np.round(stations, 6))


def test_stations_beyond_the_ends_are_held_at_the_ends() -> None:
    line = centreline.build(ELBOW, R)
    assert centreline.point_at(line, [-5.0, 1e9]) == pytest.approx(np.array([ELBOW[0], ELBOW[2]]))
    assert centreline.place_at(line, -5.0) == pytest.approx(ELBOW[0])


def test_the_point_nearest_to_a_corner_is_the_middle_of_its_arc() -> None:
    line = centreline.build(ELBOW, R)
    station, place = centreline.nearest(line, ELBOW[1])
    assert station == pytest.approx((line.bends[0].start + line.bends[0].end) / 2)
    assert math.dist(place, ELBOW[1]) == pytest.approx(R * (math.sqrt(2) - 1))


def test_the_centre_of_an_arc_is_as_near_to_all_of_it() -> None:
    line = centreline.build(ELBOW, R)
    _, place = centreline.nearest(line, line.pieces[1].centre)
    assert math.dist(place, line.pieces[1].centre) == pytest.approx(R)


def test_legs_and_bends_at_a_station() -> None:
    line = centreline.build(((0, 0, 0), (300, 0, 0), (600, 0, 0), (600, 500, 0)), R)
    bend = line.bends[0]
    assert [centreline.leg_at(line, s) for s in (0.0, 299.0, 301.0, bend.start, bend.end)] == [0, 0, 1, 1, 2]
    assert centreline.leg_at(line, line.length) == 2
    assert centreline.bend_at(line, bend.start) is None
    assert centreline.bend_at(line, (bend.start + bend.end) / 2) is bend
    assert centreline.bend_at(line, bend.end) is None


def test_dragging_one_node_rebuilds_no_other_tube() -> None:
    layout = rack.with_starting_rack(Layout())
    stock = next(iter(layout.stocks))
    layout, first = edits.add_tube(layout, ELBOW, stock)
    layout, second = edits.add_tube(layout, [(0, 0, 900), (600, 0, 900), (600, 500, 900)], stock)
    moved = edits.move_nodes(layout, [layout.tubes[first].nodes[0]], (10.0, 0.0, 0.0))
    line = centreline.of(layout, layout.tubes[second])
    assert centreline.of(moved, moved.tubes[second]) is line
    assert centreline.of(moved, moved.tubes[first]) is not centreline.of(layout, layout.tubes[first])


@given(polylines, radii)
def test_pieces_follow_one_another_without_gap_or_kink(points: list, clr: float) -> None:
    assume(spaced(points))
    line = centreline.build(points, clr)
    sharp = [bend.start for bend in line.bends if bend.drawn_radius == 0.0]
    for station in line.stations[1:]:
        before, after = centreline.point_at(line, [station - 1e-7, station])
        assert math.dist(before, after) < 1e-5
        if min((abs(station - corner) for corner in sharp), default=1.0) > 1e-3:
            arriving, leaving = centreline.direction_at(line, [np.nextafter(station, 0.0), station])
            assert arriving == pytest.approx(leaving, abs=1e-4)


@given(polylines, radii)
def test_the_drawn_tube_runs_from_the_first_point_to_the_last(points: list, clr: float) -> None:
    assume(spaced(points))
    line = centreline.build(points, clr)
    ends = centreline.point_at(line, [0.0, line.length])
    assert ends == pytest.approx(np.array([points[0], points[-1]]), abs=1e-6)
    assert line.length <= sum(math.dist(a, b) for a, b in itertools.pairwise(points)) + 1e-6


@given(polylines, radii)
def test_the_true_lengths_are_drawn_wherever_the_tube_can_be_made(points: list, clr: float) -> None:
    assume(spaced(points))
    line = centreline.build(points, clr)
    true = bending.bend_data(points, clr)
    if line.is_makeable:
        assert line.length == pytest.approx(true.length, abs=1e-4)
        assert all(bend.drawn_radius == pytest.approx(clr) for bend in line.bends if clr > 1e-3)
    else:
        assert min(line.straights) < 0.0 or max(bend.angle for bend in line.bends) > LARGEST_TURN


@given(polylines, radii, st.floats(0.02, 5.0))
def test_samples_keep_within_the_sagitta(points: list, clr: float, sagitta: float) -> None:
    assume(spaced(points))
    line = centreline.build(points, clr)
    samples, directions, stations = centreline.sample(line, sagitta)
    middles = centreline.point_at(line, (stations[1:] + stations[:-1]) / 2.0)
    gaps = np.linalg.norm(middles - (samples[1:] + samples[:-1]) / 2.0, axis=1)
    assert gaps.max(initial=0.0) <= max(sagitta * 1.001, 1e-6)
    assert np.linalg.norm(directions, axis=1) == pytest.approx(1.0)
    assert (np.diff(stations) > 0.0).all()


@given(polylines, radii, places)
def test_no_sample_is_nearer_than_the_nearest_point(points: list, clr: float, place: tuple) -> None:
    assume(spaced(points))
    line = centreline.build(points, clr)
    station, near = centreline.nearest(line, place)
    assert centreline.place_at(line, station) == pytest.approx(near, abs=1e-6)
    samples, _, _ = centreline.sample(line, longest=5.0)
    gaps = np.linalg.norm(samples - place, axis=1)
    assert math.dist(near, place) <= gaps.min() + 1e-6
    assert gaps.min() <= math.dist(near, place) + 2.6


@given(polylines, radii, st.floats(0.0, 1.0))
def test_one_place_is_the_same_as_one_of_many(points: list, clr: float, part: float) -> None:
    assume(spaced(points))
    line = centreline.build(points, clr)
    station = part * line.length
    assert centreline.place_at(line, station) == pytest.approx(
        centreline.point_at(line, station)[0], abs=1e-6
    )


@given(polylines, radii, st.tuples(*[st.floats(-3.0, 3.0)] * 3), places)
def test_rigid_motion_keeps_the_centreline(points: list, clr: float, angles: tuple, shift: tuple) -> None:
    assume(spaced(points))
    line = centreline.build(points, clr)
    assume(all(abs(bend.angle - LARGEST_TURN) > 1e-6 for bend in line.bends))
    assume(all(abs(straight) > 1e-3 for straight in line.straights))
    moved = centreline.build(rigid(angles, shift, points), clr)
    assert moved.length == pytest.approx(line.length, abs=1e-3)
    assert moved.is_makeable == line.is_makeable
    if max((bend.angle for bend in line.bends), default=0.0) < LARGEST_TURN:
        assert moved.straights == pytest.approx(line.straights, abs=1e-3)


@given(polylines, radii)
def test_a_reversed_tube_lies_on_the_same_line(points: list, clr: float) -> None:
    assume(spaced(points))
    line, back = centreline.build(points, clr), centreline.build(points[::-1], clr)
    stations = np.linspace(0.0, line.length, 9)
    assert back.length == pytest.approx(line.length, abs=1e-6)
    assert centreline.point_at(back, line.length - stations) == pytest.approx(
        centreline.point_at(line, stations), abs=1e-4
    )
