import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geometry import edits
from geometry.arranging import straightening
from geometry.arranging.straightening import Plane
from geometry.errors import GeometryError
from geometry.layout import Landing, Layout
from geometry.tolerances import SAME_POINT
from geometry.tube import centreline
from geometry.tube.stock import starting_rack
from geometry.vectors import distance

STOCKS, DIES, NEXT_ID = starting_rack(1)
STOCK = next(iter(STOCKS))
EMPTY = Layout(stocks=STOCKS, dies=DIES, next_id=NEXT_ID)
OFF = st.floats(-150.0, 150.0)


@st.composite
def wandering(draw: st.DrawFn) -> tuple[Layout, int]:
    """A tube of four to six corners that goes up and wanders sideways."""
    count = draw(st.integers(4, 6))
    points = [(draw(OFF), 400.0 + draw(OFF), 600.0 * i + draw(OFF)) for i in range(count)]
    return edits.add_tube(EMPTY, points, STOCK)


def places(layout: Layout, tube: int) -> np.ndarray:
    return np.array([layout.nodes[id].position for id in layout.tubes[tube].nodes])


@settings(deadline=None, max_examples=40)
@given(wandering())
def test_a_straightened_tube_keeps_its_ends_and_nothing_else(made: tuple[Layout, int]) -> None:
    layout, tube = made
    after = straightening.straighten(layout, [tube])
    ends = layout.tubes[tube].nodes[0], layout.tubes[tube].nodes[-1]
    assert after.tubes[tube].nodes == ends
    assert set(after.nodes) == set(ends)
    assert straightening.straighten(after, [tube]) is after


@settings(deadline=None, max_examples=40)
@given(wandering(), st.sets(st.integers(1, 2), min_size=1))
def test_straightened_corners_no_longer_turn_and_stay_so(made: tuple[Layout, int], chosen: set[int]) -> None:
    layout, tube = made
    nodes = layout.tubes[tube].nodes
    corners = [nodes[i] for i in chosen]
    after = straightening.straighten_corners(layout, corners)
    turning = {bend.index for bend in centreline.of(after, after.tubes[tube]).bends}
    assert turning.isdisjoint(nodes.index(id) for id in corners)
    assert straightening.straighten_corners(after, corners) is after
    assert all(after.nodes[id] is layout.nodes[id] for id in nodes if id not in corners)


@settings(deadline=None, max_examples=60)
@given(wandering(), st.sampled_from(("best", "upright", "level", "lengthwise", "across")))
def test_a_flattened_tube_lies_in_its_plane_and_stays_so(made: tuple[Layout, int], plane: Plane) -> None:
    layout, tube = made
    after = straightening.flatten(layout, tube, plane)
    points = places(after, tube)
    off = points - points.mean(axis=0)
    _, sizes, axes = np.linalg.svd(off)
    assert sizes[2] < 1.0e-6
    if plane == "upright":
        normal = axes[2]
        assert sizes[1] < 1e-6 or abs(normal[2]) < 1e-6
    if plane in straightening.AXES:
        assert np.ptp(points[:, straightening.AXES[plane]]) < 1.0e-6
    else:
        assert np.array_equal(points[[0, -1]], places(layout, tube)[[0, -1]])
    assert straightening.flatten(after, tube, plane) is after


@settings(deadline=None, max_examples=40)
@given(wandering(), st.floats(0.0, math.pi))
def test_no_plane_through_the_ends_is_nearer_than_the_best(made: tuple[Layout, int], angle: float) -> None:
    layout, tube = made
    before, best = places(layout, tube), places(straightening.flatten(layout, tube, "best"), tube)
    chord = before[-1] - before[0]
    u = np.cross(chord, (1.0, 0.0, 0.0))
    u /= np.linalg.norm(u)
    v = np.cross(chord, u) / np.linalg.norm(chord)
    normal = math.cos(angle) * u + math.sin(angle) * v
    other = (before - before[0]) @ normal
    assert float(((best - before) ** 2).sum()) <= float((other**2).sum()) + 1e-6


def test_joints_on_a_straightened_tube_come_along() -> None:
    layout, tube = edits.add_tube(EMPTY, [(0, 0, 0), (100, 0, 500), (0, 0, 1000)], STOCK)
    joint = layout.tubes[tube].nodes[1]
    layout, branch = edits.add_tube(layout, [joint, (1000.0, 0.0, 500.0)], STOCK)
    after = straightening.straighten(layout, [tube])
    assert after.nodes[joint].position == pytest.approx((0.0, 0.0, 500.0))
    assert after.tubes[branch].nodes[0] == joint
    assert straightening.straighten(after, [tube]) is after


def test_what_sits_on_a_straightened_tube_stays_on_it() -> None:
    layout, tube = edits.add_tube(EMPTY, [(0, 0, 0), (0, 0, 600), (300, 0, 1200)], STOCK)
    layout, branch = edits.add_tube(layout, [Landing(tube, 300.0), (900.0, 0.0, 300.0)], STOCK)
    end = layout.tubes[branch].nodes[0]
    after = straightening.straighten(layout, [tube])
    line = centreline.of(after, after.tubes[tube])
    assert centreline.nearest(line, after.nodes[end].position)[1] == pytest.approx(after.nodes[end].position)
    assert distance(after.nodes[end].position, layout.nodes[end].position) < 150.0


def test_corners_that_double_back_are_put_in_even_parts() -> None:
    layout, tube = edits.add_tube(EMPTY, [(0, 0, 0), (0, 500, 900), (0, 500, 300), (0, 0, 1200)], STOCK)
    after = straightening.straighten_corners(layout, layout.tubes[tube].nodes[1:-1])
    assert places(after, tube)[:, 2] == pytest.approx([0.0, 400.0, 800.0, 1200.0])


def test_what_cannot_be_straight_is_refused_in_words() -> None:
    layout, tube = edits.add_tube(EMPTY, [(0, 0, 0), (0, 500, 900), (0, 0, SAME_POINT / 2)], STOCK)
    with pytest.raises(GeometryError, match="no straight line"):
        straightening.straighten_corners(layout, layout.tubes[tube].nodes[1:2])
    with pytest.raises(GeometryError, match="Only corners between"):
        straightening.straighten_corners(layout, layout.tubes[tube].nodes[:1])
    with pytest.raises(GeometryError, match="no longer"):
        straightening.straighten(layout, [9999])


def test_a_corner_that_sits_on_another_tube_is_not_torn_off() -> None:
    layout, host = edits.add_tube(EMPTY, [(500, -500, 100), (500, 500, 100)], STOCK)
    layout, tube = edits.add_tube(layout, [(0, 0, 0), Landing(host, 500.0), (0, 0, 1000)], STOCK)
    seat = layout.tubes[tube].nodes[1]
    layout, _ = edits.add_tube(layout, [seat, (900.0, 0.0, 300.0)], STOCK)
    with pytest.raises(GeometryError, match="free it first"):
        straightening.straighten(layout, [tube])
    with pytest.raises(GeometryError, match="sits on"):
        straightening.straighten_corners(layout, [seat])


def test_ends_that_sit_on_tubes_at_two_heights_are_not_levelled() -> None:
    layout, post = edits.add_tube(EMPTY, [(0, 0, 0), (0, 0, 1000)], STOCK)
    layout, other = edits.add_tube(layout, [(900, 0, 0), (900, 0, 1000)], STOCK)
    layout, bar = edits.add_tube(layout, [Landing(post, 300.0), (400, 0, 500), Landing(other, 500.0)], STOCK)
    with pytest.raises(GeometryError, match="align them first"):
        straightening.flatten(layout, bar, "level")
    level, bar = edits.add_tube(layout, [Landing(post, 300.0), (400, 0, 500), (900, 50, 800)], STOCK)
    assert places(straightening.flatten(level, bar, "level"), bar)[:, 2] == pytest.approx([300.0] * 3)
