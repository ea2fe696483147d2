import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from geometry import edits, keeping, sample, symmetry
from geometry.errors import GeometryError
from geometry.files import consistency
from geometry.layout import Landing, Layout
from geometry.tolerances import SAME_POINT
from geometry.tube import bending, centreline
from geometry.tube.stock import starting_rack
from geometry.vectors import distance, image, plus, times

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


def seat(layout: Layout, tube: int, index: int = 0):
    """Return one node of a tube."""
    return layout.nodes[layout.tubes[tube].nodes[index]]


def line_of(layout: Layout, tube: int):
    return centreline.of(layout, layout.tubes[tube])


def elbow_on(layout: Layout) -> tuple[Layout, int]:
    return edits.add_tube(layout, [(0, 500, 0), (0, 500, 1000), (-1000, 500, 1000)], INCH)


def test_a_mirrored_tube_has_the_same_bends_with_rotations_negated() -> None:
    layout, tube = edits.add_tube(
        EMPTY, [(0, 500, 0), (0, 500, 800), (-700, 450, 900), (-900, 700, 1500)], INCH
    )
    layout, (twin,) = symmetry.paired(layout, [tube])
    clr = bending.clr_of(layout, layout.tubes[tube])
    expected = bending.mirrored_data(bending.bend_data(line_of(layout, tube).points, clr))
    found = bending.bend_data(line_of(layout, twin).points, clr)
    for a, b in zip(found.rows, expected.rows, strict=True):
        assert (a.straight_before, a.rotation, a.angle) == pytest.approx(
            (b.straight_before, b.rotation, b.angle)
        )


def test_mirrored_tubes_share_the_nodes_on_the_centre_plane() -> None:
    layout, tube = edits.add_tube(EMPTY, [(0, 500, 0), (0, 500, 800), (0, 0, 800)], INCH)
    layout, (twin,) = symmetry.paired(layout, [tube])
    assert layout.tubes[twin].nodes[2] == layout.tubes[tube].nodes[2]
    assert len(layout.nodes) == 5


def test_mirrored_landings_sit_on_the_mirrored_tube() -> None:
    layout, host, branch = elbow_with_branch()
    layout, (host_twin, branch_twin) = symmetry.paired(layout, [host, branch])
    assert seat(layout, branch_twin).landing == Landing(host_twin, 600.0)
    x, y, z = seat(layout, branch).position
    assert seat(layout, branch_twin).position == pytest.approx((x, -y, z))


def test_a_landing_finds_the_twin_that_was_made_before() -> None:
    layout, host, branch = elbow_with_branch()
    layout, (host_twin,) = symmetry.paired(layout, [host])
    layout, (branch_twin,) = symmetry.paired(layout, [branch])
    assert seat(layout, branch_twin).landing == Landing(host_twin, pytest.approx(600.0))


def test_a_landing_on_a_tube_across_the_car_is_mirrored_on_that_tube() -> None:
    layout, across = edits.add_tube(EMPTY, [(0, -600, 900), (0, 600, 900)], INCH)
    layout, tube = edits.add_tube(layout, [Landing(across, 1000.0), (-800, 400, 900)], INCH)
    layout, (twin,) = symmetry.paired(layout, [tube])
    assert seat(layout, twin).landing == Landing(across, pytest.approx(200.0))


def test_a_mirrored_end_with_no_tube_to_sit_on_is_free() -> None:
    layout, _, branch = elbow_with_branch()
    layout, (twin,) = symmetry.paired(layout, [branch])
    assert seat(layout, twin).landing is None


def test_mirroring_joins_nodes_that_stand_there_already() -> None:
    layout, across = edits.add_tube(EMPTY, [(0, -600, 900), (0, 600, 900)], INCH)
    right, left = layout.tubes[across].nodes
    layout, tube = edits.add_tube(layout, [left, (-800.0, 600.0, 900.0)], INCH)
    layout, (twin,) = symmetry.paired(layout, [tube])
    assert layout.tubes[twin].nodes[0] == right


def test_a_tube_that_has_its_twin_is_not_paired_again() -> None:
    layout, across = edits.add_tube(EMPTY, [(0, -600, 900), (-100, 0, 900), (0, 600, 900)], INCH)
    layout, made = symmetry.paired(layout, [across])
    assert made == ()
    assert layout.tubes[across].twin == across
    layout, tube = elbow_on(layout)
    layout, (twin,) = symmetry.paired(layout, [across, tube])
    assert (layout.tubes[tube].twin, layout.tubes[twin].twin) == (twin, tube)
    with pytest.raises(GeometryError, match="has its twin already"):
        symmetry.paired(layout, [tube, across])


def test_left_tubes_are_mirrored_to_right_ones() -> None:
    layout, tube = elbow()
    layout = edits.rename(layout, tube, "Left sill")
    layout, (twin,) = symmetry.paired(layout, [tube])
    assert layout.tubes[twin].name == "Right sill"


def test_a_tube_across_the_car_is_its_own_image_though_other_nodes_stand_at_its_ends() -> None:
    layout, host = elbow()
    layout, (twin,) = symmetry.paired(layout, [host])
    for tube in (host, twin):  # a brace lands where the header will, on a node of its own
        foot = (-800.0, 0.0, 400.0)
        layout, _ = edits.add_tube(layout, [Landing(tube, 600.0), foot], INCH)
    layout, header = edits.add_tube(layout, [Landing(host, 600.0), Landing(twin, 600.0)], INCH)
    layout, made = symmetry.paired(layout, [header])
    assert made == ()
    assert layout.tubes[header].twin == header


# Followed: whatever is edited, twins stay images of each other


def assert_twins_are_images(layout: Layout) -> None:
    for tube in layout.tubes.values():
        if tube.twin is None:
            continue
        twin = layout.tubes[tube.twin]
        assert twin.twin == tube.id
        partners = tuple(layout.nodes[id].twin for id in tube.nodes)
        assert partners == (twin.nodes[::-1] if twin is tube else twin.nodes)
        assert (twin.stock, twin.die, twin.tied) == (tube.stock, tube.die, tube.tied)
        assert line_of(layout, twin.id).length == pytest.approx(line_of(layout, tube.id).length, abs=1e-3)
        for id in tube.nodes:
            node, other = layout.nodes[id], layout.nodes[layout.nodes[id].twin]
            assert other.twin == id
            assert distance(other.position, image(node.position)) < 2.0 * SAME_POINT


def edited(layout: Layout, change, *args, **words) -> Layout:
    """Make an edit as the session does."""
    after = change(layout, *args, **words)
    return keeping.kept(layout, after[0] if isinstance(after, tuple) else after)


def paired_elbow() -> tuple[Layout, int, int]:
    layout, tube = elbow()
    layout, (twin,) = symmetry.paired(layout, [tube])
    return layout, tube, twin


def test_a_node_that_is_moved_takes_its_twin_along_from_either_side() -> None:
    layout, tube, twin = paired_elbow()
    for side in (tube, twin):
        after = edited(layout, edits.move_nodes, [layout.tubes[side].nodes[1]], (10.0, 20.0, 30.0))
        assert_twins_are_images(after)
        moved = after.nodes[layout.tubes[side].nodes[1]].position
        was = layout.nodes[layout.tubes[side].nodes[1]].position
        assert moved == pytest.approx((was[0] + 10.0, was[1] + 20.0, was[2] + 30.0))


@pytest.mark.parametrize(("leads", "width"), [("left", 510.0), ("right", 490.0)])
def test_where_both_sides_were_moved_the_leading_one_is_followed(leads: str, width: float) -> None:
    layout, tube, twin = paired_elbow()
    after = edited(replace(layout, leads=leads), edits.move_nodes, [tube, twin], (0.0, 10.0, 0.0))
    assert [node.position[1] for node in after.nodes.values()] == pytest.approx([width] * 3 + [-width] * 3)


def test_a_corner_put_in_on_one_side_comes_on_the_other() -> None:
    layout, tube, twin = paired_elbow()
    after = edited(layout, edits.insert_node, twin, 0, (50.0, -480.0, 500.0))
    assert len(after.tubes[tube].nodes) == 4
    assert_twins_are_images(after)
    after = edited(after, edits.remove_node, after.tubes[tube].nodes[1])
    assert len(after.tubes[twin].nodes) == 3
    assert after.nodes.keys() == layout.nodes.keys()


def test_a_split_on_one_side_splits_the_other() -> None:
    layout, tube, _ = paired_elbow()
    after = edited(layout, edits.split_tube, tube, station=500.0)
    assert len(after.tubes) == 4
    assert all(one.twin is not None for one in after.tubes.values())
    assert_twins_are_images(after)
    assert len(after.nodes) == 8


def test_stock_and_reversing_reach_the_twin_and_a_deleted_one_takes_it_away() -> None:
    layout, tube, twin = paired_elbow()
    other = next(id for id in STOCKS if id != INCH)
    after = edited(layout, edits.set_stock, [twin], other)
    assert after.tubes[tube].stock == other
    after = edited(after, edits.reverse_tube, tube)
    assert_twins_are_images(after)
    assert after.tubes[twin].nodes == layout.tubes[twin].nodes[::-1]
    assert edited(after, edits.delete, [twin]).tubes == {}


def test_an_end_that_is_landed_lands_on_the_other_side_too() -> None:
    layout, host, twin_host = paired_elbow()
    layout, tube = edits.add_tube(layout, [(-600.0, 500.0, 100.0), (-600.0, 500.0, 800.0)], INCH)
    layout, (twin,) = symmetry.paired(layout, [tube])
    after = edited(layout, edits.set_landing, layout.tubes[tube].nodes[1], Landing(host, 1500.0))
    assert seat(after, twin, 1).landing == Landing(twin_host, pytest.approx(1500.0))
    after = edited(after, edits.move_nodes, [after.tubes[twin_host].nodes[1]], (0.0, -40.0, 25.0))
    assert_twins_are_images(after)
    assert seat(after, twin, 1).landing.station == pytest.approx(seat(after, tube, 1).landing.station)


def test_a_new_tube_gets_its_twin_at_once_and_one_that_ends_in_the_plane_runs_on() -> None:
    layout = symmetry.set_both_sides(EMPTY, True)
    after = edited(layout, edits.add_tube, [(0, 500, 0), (0, 500, 1000)], INCH)
    assert len(after.tubes) == 2
    assert_twins_are_images(after)
    cranked = edited(layout, edits.add_tube, [(0, 500, 0), (0, 500, 900), (0, 0, 1000)], INCH)
    (hoop,) = cranked.tubes.values()
    assert hoop.twin == hoop.id
    assert [cranked.nodes[id].position for id in hoop.nodes] == [
        (0, 500, 0), (0, 500, 900), (0, 0, 1000), (0, -500, 900), (0, -500, 0),
    ]  # fmt: skip
    level = edited(layout, edits.add_tube, [(0, 500, 0), (0, 500, 900), (0, 0, 900)], INCH)
    (hoop,) = level.tubes.values()
    assert len(hoop.nodes) == 4
    assert_twins_are_images(level)


def hoop_across() -> tuple[Layout, int]:
    layout, tube = edits.add_tube(EMPTY, [(0, 500, 0), (0, 450, 900), (0, -450, 900), (0, -500, 0)], INCH)
    return symmetry.paired(layout, [tube])[0], tube


def test_a_tube_across_the_car_stays_its_own_image() -> None:
    layout, tube = hoop_across()
    _, b, c, _ = layout.tubes[tube].nodes
    after = edited(layout, edits.move_nodes, [c], (10.0, -5.0, 3.0))
    assert after.nodes[b].position == pytest.approx((10.0, 455.0, 903.0))
    after = edited(layout, edits.insert_node, tube, 2, (0.0, -480.0, 500.0))
    assert len(after.tubes[tube].nodes) == 6
    assert_twins_are_images(after)
    after = edited(after, edits.remove_node, after.tubes[tube].nodes[1])
    assert len(after.tubes[tube].nodes) == 4
    assert_twins_are_images(after)
    after = edited(layout, edits.insert_node, tube, 1, (0.0, 0.0, 950.0))
    middle = after.tubes[tube].nodes[2]
    assert edited(after, edits.move_nodes, [middle], (0.0, 30.0, 5.0)).nodes[middle].position == (0, 0, 955)


def test_a_tube_across_that_is_split_in_the_middle_becomes_twins() -> None:
    layout, tube = hoop_across()
    layout = edited(layout, edits.insert_node, tube, 1, (0.0, 0.0, 950.0))
    after = edited(layout, edits.split_tube, tube, node=layout.tubes[tube].nodes[2])
    assert len(after.tubes) == 2
    assert_twins_are_images(after)
    assert all(one.twin not in (None, one.id) for one in after.tubes.values())


def test_released_twins_go_their_own_way() -> None:
    layout, tube, twin = paired_elbow()
    layout = symmetry.released(layout, [twin])
    after = edited(layout, edits.move_nodes, [tube], (0.0, 10.0, 0.0))
    assert after.tubes[twin] == layout.tubes[twin]
    assert [after.nodes[id] for id in after.tubes[twin].nodes] == [
        layout.nodes[id] for id in layout.tubes[twin].nodes
    ]
    assert all(node.twin is None for node in after.nodes.values())


def test_a_node_that_outlives_its_twin_lets_it_go_and_can_be_mirrored_again() -> None:
    layout, tube = elbow()
    layout, (twin,) = symmetry.paired(layout, [tube])
    shared = layout.tubes[tube].nodes[1]
    layout, other = edits.add_tube(layout, [shared, (800.0, 700.0, 1000.0)], INCH)
    after = keeping.kept(layout, edits.delete(layout, [tube, twin]))
    assert after.nodes[shared].twin is None
    assert not list(consistency.broken_promises(after))
    _, made = symmetry.paired(after, [other])
    assert len(made) == 1


def test_an_edit_that_the_other_side_cannot_follow_stands_and_releases_the_twins() -> None:
    layout, host, twin = paired_elbow()
    station = 1800.0
    across = edited(layout, edits.set_landing, layout.tubes[host].nodes[0], Landing(twin, station))
    assert seat(across, host).landing == Landing(twin, station)
    assert (across.tubes[host].twin, across.tubes[twin].twin) == (None, None)


coordinate = st.integers(-8, 8).map(lambda step: 100.0 * step)
place = st.tuples(coordinate, st.integers(0, 8).map(lambda step: 100.0 * step), coordinate)


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_whatever_is_edited_twins_stay_images(data: st.DataObject) -> None:
    layout = symmetry.set_both_sides(EMPTY, True)

    def pick(things):
        return data.draw(st.sampled_from(sorted(things)))

    def item():
        kind = data.draw(st.sampled_from(["place", "node", "tube"]))
        if kind == "node" and layout.nodes:
            return pick(layout.nodes)
        if kind == "tube" and layout.tubes:
            tube = pick(layout.tubes)
            return Landing(tube, data.draw(st.floats(0.0, 1.0)) * line_of(layout, tube).length)
        return data.draw(place)

    def change(now: Layout):
        kinds = ["add"] if not now.tubes else [
            "add", "move", "place", "insert", "remove", "land", "split", "cut", "merge", "reverse",
            "delete", "stock", "extend", "pair", "release",
        ]  # fmt: skip
        kind = data.draw(st.sampled_from(kinds))
        if kind == "add":
            return edits.add_tube(now, [item() for _ in range(data.draw(st.integers(2, 4)))], INCH)
        tube, node = pick(now.tubes), pick(now.nodes)
        at, part = data.draw(place), data.draw(st.floats(0.0, 1.0))
        station = part * line_of(now, tube).length
        return {
            "move": lambda: edits.move_nodes(now, [node, tube], at),
            "place": lambda: edits.place_node(now, node, at),
            "insert": lambda: edits.insert_node(now, tube, 0, at),
            "remove": lambda: edits.remove_node(now, node),
            "land": lambda: edits.set_landing(now, node, Landing(tube, station)),
            "split": lambda: edits.split_tube(now, tube, station=station),
            "cut": lambda: edits.split_tube(now, tube, node=node),
            "merge": lambda: edits.merge_nodes(now, node, pick(now.nodes)),
            "reverse": lambda: edits.reverse_tube(now, tube),
            "delete": lambda: edits.delete(now, [tube]),
            "stock": lambda: edits.set_stock(now, [tube], pick(STOCKS)),
            "extend": lambda: edits.extend_tube(now, tube, item()),
            "pair": lambda: symmetry.paired(now, [tube]),
            "release": lambda: symmetry.released(now, [tube]),
        }[kind]()

    for _ in range(data.draw(st.integers(1, 12))):
        try:
            layout = edited(layout, change)
        except GeometryError:
            continue
        assert_twins_are_images(layout)
        assert next(consistency.broken_promises(layout), None) is None


# A whole cage, in which tubes land on tubes that land on tubes


@pytest.fixture(scope="module")
def cage() -> Layout:
    return sample.build()


def twins_of(layout: Layout) -> dict[int, int | None]:
    return {tube.id: tube.twin for tube in layout.tubes.values()}


def test_any_node_of_a_cage_may_be_moved_and_all_twins_stay_twins(cage: Layout) -> None:
    for id, node in cage.nodes.items():
        after = edited(cage, edits.place_node, id, plus(node.position, (14.0, 6.0, 9.0)))
        assert twins_of(after) == twins_of(cage), id
        assert_twins_are_images(after)


def test_any_tube_of_a_cage_may_be_split_reversed_or_get_a_corner_and_all_twins_stay_twins(
    cage: Layout,
) -> None:
    for tube in cage.tubes.values():
        middle = plus(cage.nodes[tube.nodes[0]].position, cage.nodes[tube.nodes[1]].position)
        corner = plus(times(middle, 0.5), (3.0, 4.0, 5.0))
        for change in (
            lambda now, tube=tube: edits.reverse_tube(now, tube.id),
            lambda now, tube=tube, corner=corner: edits.insert_node(now, tube.id, 0, corner),
        ):
            after = edited(cage, change)
            assert twins_of(after) == twins_of(cage), tube.name
            assert_twins_are_images(after)
        if tube.twin != tube.id:
            try:
                after = edited(cage, edits.split_tube, tube.id, station=0.37 * line_of(cage, tube.id).length)
            except GeometryError:
                continue  # in a bend
            assert all(one.twin is not None for one in after.tubes.values()), tube.name
            assert_twins_are_images(after)
