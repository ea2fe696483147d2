"""Distances between centrelines against closed forms of plane geometry."""

import math

import numpy as np
import pytest

from geometry.tolerances import SAME_POINT
from geometry.tube import apart, centreline
from geometry.tube.centreline import Centreline
from geometry.vectors import Vec3

CLR = 152.4
TUBE = 22.225  # radius of 44.45 tube

# Closed forms of two segments (plane geometry: skew lines, or the nearest end where one is clamped).
SEGMENTS = {
    "crossing inside both": (((0, 0, 0), (1000, 0, 0)), ((500, -300, 120), (500, 300, 120)), 120.0),
    "clamped on the first": (((0, 0, 0), (1000, 0, 0)), ((1200, -300, 160), (1200, 300, 160)), 256.124969),
    "parallel": (((0, 0, 0), (1000, 0, 0)), ((0, 100, 0), (1000, 100, 0)), 100.0),
    "both clamped": (((0, 0, 0), (1000, 0, 0)), ((1300, 400, 0), (1600, 400, 0)), 500.0),
    "an end of the second": (((0, 0, 0), (600, 0, 0)), ((100, 200, 0), (500, 200, 300)), 200.0),
    "skew": (((-3e3, 0, 0), (3e3, 0, 0)), ((-1e3, -1950, -1900), (1e3, 2050, 2100)), 35.355339059),
}


@pytest.mark.parametrize(("first", "second", "gap"), SEGMENTS.values(), ids=SEGMENTS.keys())
def test_straight_centrelines_are_segments(
    first: tuple[Vec3, Vec3], second: tuple[Vec3, Vec3], gap: float
) -> None:
    found = apart.between(centreline.build(first, CLR), centreline.build(second, CLR))
    assert found.distance == pytest.approx(gap, abs=1e-6)


# Closed form: the distance of a point to the ring is sqrt((hypot(x, y) - Rc)^2 + z^2); each point lies
# off the part of the ring that the arc from 0 to 90 degrees is.
RING = {
    "outside": ((300, 0, 0), 147.6),
    "above": ((100, 100, 50), 51.191118555),
    "beside": ((107.763073453, 107.763073453, 60), 60.0),
    "over the centre": ((0, 0, 80), 172.121352539),
}


def arc() -> Centreline:
    """The arc from 0 to 90 degrees round the origin, between legs of no length to speak of."""
    return centreline.build([(CLR, -1e-3, 0.0), (CLR, CLR, 0.0), (-1e-3, CLR, 0.0)], CLR)


@pytest.mark.parametrize(("point", "gap"), RING.values(), ids=RING.keys())
def test_a_point_is_as_far_from_an_arc_as_from_its_ring(point: Vec3, gap: float) -> None:
    away = np.array([math.copysign(1.0, value) if value else 0.0 for value in point])
    end = tuple((np.array(point, dtype=float) + 500.0 * away).tolist())
    found = apart.between(arc(), centreline.build([point, end], CLR))
    assert found.distance == pytest.approx(gap, abs=SAME_POINT)


def test_an_arc_is_no_full_ring() -> None:
    """Closed form: an arc 57.810991904 clear of 44.45 tube; taken for a full ring it would be touched."""
    found = apart.between(arc(), centreline.build([(150.0, -80.0, 0.0), (150.0, -600.0, 0.0)], CLR))
    assert found.distance == pytest.approx(57.810991904 + TUBE, abs=SAME_POINT)


@pytest.mark.parametrize("height", [10.0, 60.0, 200.0])
def test_coaxial_arcs_are_as_far_apart_as_their_planes(height: float) -> None:
    """Closed form: each point of one lies straight above one of the other."""
    raised = centreline.build([(CLR, -1e-3, height), (CLR, CLR, height), (-1e-3, CLR, height)], CLR)
    assert apart.between(arc(), raised).distance == pytest.approx(height, abs=SAME_POINT)


@pytest.mark.parametrize(("large", "height"), [(300.0, 0.0), (300.0, 40.0), (170.0, 5.0)])
def test_concentric_arcs_keep_the_difference_of_their_radii(large: float, height: float) -> None:
    """Closed form: the hypotenuse of the difference of the radii and the height."""
    outer = centreline.build([(large, -1e-3, height), (large, large, height), (-1e-3, large, height)], large)
    gap = math.hypot(large - CLR, height)
    assert apart.between(arc(), outer).distance == pytest.approx(gap, abs=SAME_POINT)


@pytest.mark.parametrize("distance", [80.0, 200.0])
def test_back_to_back_bends_meet_at_their_middles(distance: float) -> None:
    """Closed form: two right angles point to point; their arcs face each other along the diagonal."""
    inset = CLR * (math.sqrt(2.0) - 1.0)  # from a corner to the middle of its arc
    first = centreline.build([(0.0, -500.0, 0.0), (0.0, 0.0, 0.0), (-500.0, 0.0, 0.0)], CLR)
    step = distance / math.sqrt(2.0)
    second = centreline.build([(step, 500.0, 0.0), (step, step, 0.0), (500.0, step, 0.0)], CLR)
    assert apart.between(first, second).distance == pytest.approx(distance + 2.0 * inset, abs=SAME_POINT)


def test_the_link_of_two_rings_at_right_angles() -> None:
    """Closed form: an arc about z and one about x through a point h above its middle are h apart there."""
    h = 35.0
    first = centreline.build([(-500.0, 0.0, 0.0), (0.0, 0.0, 0.0), (0.0, 500.0, 0.0)], CLR)
    bend = first.bends[0]
    place = centreline.point_at(first, [(bend.start + bend.end) / 2.0])[0]
    # An arch in the plane of the z axis and the tangent's normal, its lowest point straight above.
    out = np.array([1.0, -1.0, 0.0]) / math.sqrt(2.0)
    low = place + np.array([0.0, 0.0, h])
    rise = CLR * (math.sqrt(2.0) - 1.0)
    corner = low - [0.0, 0.0, rise]
    legs = [corner + 500.0 * (side * out + [0.0, 0.0, 1.0]) for side in (-1.0, 1.0)]
    arch = centreline.build([tuple(p.tolist()) for p in (legs[0], corner, legs[1])], CLR)
    assert apart.between(first, arch).distance == pytest.approx(h, abs=SAME_POINT)
