import itertools
import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from geometry import edits, landings
from geometry.errors import GeometryError
from geometry.layout import Landing, Layout
from geometry.tube import centreline
from geometry.tube.stock import starting_rack

STOCKS, DIES, NEXT_ID = starting_rack(1)
INCH = next(id for id, row in STOCKS.items() if row.name == "1.75 × 0.120 in")
EMPTY = Layout(stocks=STOCKS, dies=DIES, next_id=NEXT_ID)


def elbow() -> tuple[Layout, int]:
    """One tube on the left: up 1000, then back 1000."""
    return edits.add_tube(EMPTY, [(0.0, 500.0, 0.0), (0.0, 500.0, 1000.0), (-1000.0, 500.0, 1000.0)], INCH)


def elbow_with_branch(station: float = 600.0) -> tuple[Layout, int, int]:
    """The elbow with a second tube whose start sits on it."""
    layout, host = elbow()
    layout, branch = edits.add_tube(layout, [Landing(host, station), (-600.0, 500.0, 100.0)], INCH)
    return layout, host, branch


coordinates = st.floats(-1500.0, 1500.0)
places = st.tuples(coordinates, coordinates, coordinates)


def seat(layout: Layout, tube: int, index: int = 0):
    """Return one node of a tube."""
    return layout.nodes[layout.tubes[tube].nodes[index]]


def line_of(layout: Layout, tube: int):
    return centreline.of(layout, layout.tubes[tube])


def test_lengthening_a_tube_upstream_leaves_landings_where_they_are() -> None:
    layout, host, branch = elbow_with_branch()
    longer = edits.move_nodes(layout, [layout.tubes[host].nodes[0]], (0.0, 0.0, -250.0))
    assert seat(longer, branch).position == pytest.approx((0.0, 500.0, 600.0))
    assert seat(longer, branch).landing.station == pytest.approx(850.0)


def test_lengthening_a_tube_downstream_leaves_landings_where_they_are() -> None:
    layout, host, branch = elbow_with_branch()
    longer = edits.move_nodes(layout, [layout.tubes[host].nodes[2]], (-250.0, 0.0, 0.0))
    assert seat(longer, branch) is seat(layout, branch)


def test_running_on_from_the_start_leaves_landings_where_they_are() -> None:
    layout, host, branch = elbow_with_branch()
    longer, _ = edits.extend_tube(layout, host, (0.0, 500.0, -300.0), at_start=True)
    assert seat(longer, branch).position == pytest.approx((0.0, 500.0, 600.0))
    assert seat(longer, branch).landing.station == pytest.approx(900.0)


def test_a_swung_leg_takes_its_landings_along_at_the_same_distance_from_what_stayed() -> None:
    layout, host, branch = elbow_with_branch(station=200.0)
    swung = edits.move_nodes(layout, [layout.tubes[host].nodes[0]], (400.0, 0.0, 0.0))
    corner = layout.nodes[layout.tubes[host].nodes[1]].position
    assert math.dist(seat(swung, branch).position, corner) == pytest.approx(800.0)


def test_a_landing_in_the_middle_of_an_arc_stays_in_the_middle() -> None:
    layout, host = elbow()
    landing = edits.landing_at(layout, host, (0.0, 500.0, 1000.0))
    bend = line_of(layout, host).bends[0]
    assert landing.station == pytest.approx((bend.start + bend.end) / 2.0)
    layout, branch = edits.add_tube(layout, [landing, (500.0, 0.0, 1500.0)], INCH)
    moved = edits.move_nodes(layout, [layout.tubes[host].nodes[0]], (300.0, -200.0, -90.0))
    bend = line_of(moved, host).bends[0]
    assert seat(moved, branch).landing.station == pytest.approx((bend.start + bend.end) / 2.0)


def test_a_landing_whose_bend_is_straightened_stays_at_the_former_corner() -> None:
    layout, host = elbow()
    layout, branch = edits.add_tube(
        layout, [edits.landing_at(layout, host, (0.0, 500.0, 1000.0)), (500.0, 0.0, 1500.0)], INCH
    )
    straight = edits.place_node(layout, layout.tubes[host].nodes[2], (0.0, 500.0, 2000.0))
    assert seat(straight, branch).position == pytest.approx((0.0, 500.0, 1000.0))


def test_landings_follow_through_a_chain_of_tubes() -> None:
    layout, host, branch = elbow_with_branch()
    layout, twig = edits.add_tube(layout, [Landing(branch, 200.0), (0.0, 0.0, 0.0)], INCH)
    moved = edits.move_nodes(layout, [host, layout.tubes[branch].nodes[1]], (5.0, 6.0, 7.0))
    expected = np.add(seat(layout, twig).position, (5.0, 6.0, 7.0))
    assert seat(moved, twig).position == pytest.approx(expected)


def test_another_radius_moves_landings_on_the_bend_with_it() -> None:
    layout, host = elbow()
    layout, branch = edits.add_tube(
        layout, [edits.landing_at(layout, host, (0.0, 500.0, 1000.0)), (500.0, 0.0, 1500.0)], INCH
    )
    wide = next(id for id, die in DIES.items() if die.clr == 177.8)
    changed = edits.set_die(layout, [host], wide)
    gap = math.dist(seat(changed, branch).position, (0.0, 500.0, 1000.0))
    assert gap == pytest.approx(177.8 * (math.sqrt(2.0) - 1.0))


def test_a_landing_node_slides_along_its_tube() -> None:
    layout, host, branch = elbow_with_branch()
    node = seat(layout, branch).id
    slid = edits.move_nodes(layout, [node], (80.0, 40.0, -150.0))
    assert slid.nodes[node].position == pytest.approx((0.0, 500.0, 450.0))
    placed = edits.place_node(layout, node, (999.0, 500.0, 50.0))
    assert placed.nodes[node].landing == Landing(host, pytest.approx(50.0))


def test_a_freed_node_stays_where_it_was() -> None:
    layout, _, branch = elbow_with_branch()
    node = seat(layout, branch)
    freed = edits.set_landing(layout, node.id, None)
    assert freed.nodes[node.id].landing is None
    assert freed.nodes[node.id].position == node.position


def test_a_node_is_seated_where_the_landing_is() -> None:
    layout, host, branch = elbow_with_branch()
    node = layout.tubes[branch].nodes[1]
    seated = edits.set_landing(layout, node, Landing(host, 300.0))
    assert seated.nodes[node].position == pytest.approx((0.0, 500.0, 300.0))
    with pytest.raises(GeometryError, match="beyond the ends of tube T1"):
        edits.set_landing(layout, node, Landing(host, 5000.0))


def test_a_tube_cannot_sit_on_itself() -> None:
    layout, host = elbow()
    with pytest.raises(GeometryError, match="T1 cannot sit on itself"):
        edits.set_landing(layout, layout.tubes[host].nodes[0], Landing(host, 700.0))


def test_tubes_cannot_sit_on_one_another_in_a_ring() -> None:
    layout, host, branch = elbow_with_branch()
    with pytest.raises(GeometryError, match="in a ring"):
        edits.set_landing(layout, layout.tubes[host].nodes[0], Landing(branch, 100.0))
    with pytest.raises(GeometryError, match="cannot sit on itself"):
        edits.extend_tube(layout, host, seat(layout, branch).id)


def test_deleting_a_tube_frees_what_sat_on_it_where_it_was() -> None:
    layout, host, branch = elbow_with_branch()
    left = edits.delete(layout, [host])
    assert seat(left, branch).landing is None
    assert seat(left, branch).position == seat(layout, branch).position
    assert set(left.nodes) == set(layout.tubes[branch].nodes)


@given(places, st.floats(0.0, 1.0), places)
def test_moving_everything_moves_landings_rigidly(end: tuple, part: float, shift: tuple) -> None:
    layout, host = elbow()
    landing = Landing(host, part * line_of(layout, host).length)
    try:
        layout, branch = edits.add_tube(layout, [landing, end], INCH)
    except GeometryError:
        return
    moved = edits.move_nodes(layout, layout.tubes, shift)
    for id, node in layout.nodes.items():
        assert moved.nodes[id].position == pytest.approx(np.add(node.position, shift), abs=1e-5)
    assert seat(moved, branch).landing.station == pytest.approx(landing.station, abs=1e-5)


@given(places, st.floats(0.0, 1.0), st.floats(1e-4, 1.0))
def test_a_small_drag_moves_landings_a_little(shift: tuple, part: float, size: float) -> None:
    layout, host, branch = elbow_with_branch()
    layout = edits.set_landing(
        layout, seat(layout, branch).id, Landing(host, part * line_of(layout, host).length)
    )
    step = np.array(shift)
    step = size * step / max(float(np.linalg.norm(step)), 1.0)
    moved = edits.move_nodes(layout, [layout.tubes[host].nodes[1]], tuple(step))
    assert math.dist(seat(moved, branch).position, seat(layout, branch).position) <= 3.0 * size


@given(st.lists(places, min_size=2, max_size=5), st.integers(0, 4), st.floats(0.0, 1.0), places)
def test_landings_never_jump_while_a_tube_is_dragged(
    points: list, which: int, part: float, shift: tuple
) -> None:
    assume(all(math.dist(a, b) > 150.0 for a, b in itertools.pairwise(points)))
    old = centreline.build(points, 150.0)
    assume(old.is_makeable and all(bend.angle < math.radians(120.0) for bend in old.bends))
    step = 0.5 * np.array(shift) / 1500.0
    dragged = list(points)
    dragged[which % len(points)] = tuple(np.add(points[which % len(points)], step))
    new = centreline.build(dragged, 150.0)
    station = part * old.length
    now = landings.carried(old, new, station)
    gap = math.dist(centreline.place_at(new, now), centreline.place_at(old, station))
    assert gap <= 4.0 * float(np.linalg.norm(step)) + 1e-4


@given(st.floats(0.02, 0.98), st.floats(0.0, 1.0))
def test_a_node_put_on_a_leg_moves_no_landing(along: float, part: float) -> None:
    layout, host, branch = elbow_with_branch()
    node = seat(layout, branch).id
    layout = edits.set_landing(layout, node, Landing(host, part * line_of(layout, host).length))
    longer, _ = edits.insert_node(layout, host, 0, (0.0, 500.0, 1000.0 * along))
    assert longer.nodes[node].position == pytest.approx(layout.nodes[node].position, abs=1e-5)
