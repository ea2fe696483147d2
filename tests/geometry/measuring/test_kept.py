import numpy as np
import pytest
from msgspec.structs import replace

from geometry import edits
from geometry.aids import BodySpot, FreeSpot, NodeSpot, PlaneShape, Reference, ReferenceSpot, TubeSpot
from geometry.body import panels
from geometry.errors import GeometryError
from geometry.layout import Body, Layout, Mesh, Panel, Placement
from geometry.measuring import kept, values
from geometry.tube import centreline
from geometry.tube.stock import starting_rack

STOCKS, DIES, NEXT_ID = starting_rack(1)
INCH = next(id for id, row in STOCKS.items() if row.name == "1.75 × 0.120 in")
EMPTY = Layout(stocks=STOCKS, dies=DIES, next_id=NEXT_ID)
MESH = Mesh(np.array([(0.0, 0, 0), (100, 0, 0), (0, 100, 0)]), np.array([[0, 1, 2]], np.int32))
ORIGIN = FreeSpot((0.0, 0.0, 0.0))


def elbow() -> tuple[Layout, int]:
    return edits.add_tube(EMPTY, [(0.0, 0.0, 0.0), (0.0, 0.0, 1000.0), (-1000.0, 0.0, 1000.0)], INCH)


def place(layout: Layout, spot: TubeSpot):
    return centreline.place_at(centreline.of(layout, layout.tubes[spot.tube]), spot.station)


def kept_height(layout: Layout, spot) -> tuple[Layout, int]:
    return kept.add(layout, "height", (spot,))


def after(before: Layout, edited: Layout, id: int):
    return kept.followed(before, edited).measures[id].spots


def test_a_kept_measure_has_an_id_of_its_own_and_a_free_name() -> None:
    layout, first = kept_height(EMPTY, ORIGIN)
    layout, second = kept_height(layout, ORIGIN)
    assert [layout.measures[id].name for id in (first, second)] == ["Height 1", "Height 2"]
    assert layout.next_id == second + 1
    assert layout.measures[first].printed


def test_what_has_no_value_is_not_kept() -> None:
    layout, id = elbow()
    with pytest.raises(GeometryError, match="another"):
        kept.add(layout, "gap", (TubeSpot(id, 1.0), TubeSpot(id, 2.0)))


def test_whether_it_is_printed_can_be_changed() -> None:
    layout, id = kept_height(EMPTY, ORIGIN)
    assert not kept.set_printed(layout, id, False).measures[id].printed
    with pytest.raises(GeometryError, match="no longer"):
        kept.set_printed(layout, 9999, False)


def test_a_place_on_a_tube_stays_where_it_is_when_the_tube_gets_longer_before_it() -> None:
    layout, tube = elbow()
    layout, id = kept_height(layout, TubeSpot(tube, 600.0))
    longer = edits.move_nodes(layout, [layout.tubes[tube].nodes[0]], (0.0, 0.0, -250.0))
    (spot,) = after(layout, longer, id)
    assert spot.station == pytest.approx(850.0)
    assert place(longer, spot) == pytest.approx((0.0, 0.0, 600.0))


def test_following_twice_moves_nothing_twice() -> None:
    layout, tube = elbow()
    layout, _ = kept_height(layout, TubeSpot(tube, 600.0))
    once = kept.followed(layout, edits.move_nodes(layout, [layout.tubes[tube].nodes[0]], (0.0, 0.0, -250.0)))
    assert kept.followed(layout, once) is once


def test_a_tube_cut_in_two_keeps_the_place_on_the_part_it_is_on() -> None:
    layout, tube = elbow()
    length = centreline.of(layout, layout.tubes[tube]).length
    layout, low = kept_height(layout, TubeSpot(tube, 100.0))
    layout, high = kept_height(layout, TubeSpot(tube, length - 100.0))
    halves = edits.split_tube(layout, tube, station=500.0)[0]
    for id, at in ((low, (0.0, 0.0, 100.0)), (high, (-900.0, 0.0, 1000.0))):
        (spot,) = after(layout, halves, id)
        assert place(halves, spot) == pytest.approx(at, abs=1e-6)


def test_a_turned_round_tube_keeps_the_place() -> None:
    layout, tube = elbow()
    layout, id = kept_height(layout, TubeSpot(tube, 100.0))
    turned = edits.reverse_tube(layout, tube)
    (spot,) = after(layout, turned, id)
    assert place(turned, spot) == pytest.approx((0.0, 0.0, 100.0))


def test_a_measure_goes_with_the_tube_node_panel_or_reference_it_was_taken_from() -> None:
    layout, tube = elbow()
    layout = replace(
        layout,
        next_id=700,
        bodies={500: Body(500, "Car")},
        panels={501: Panel(501, "Roof", 500, MESH)},
        references={502: Reference(502, "Limit", PlaneShape((0.0, 0.0, 0.0), (0.0, 0.0, 1.0)))},
    )
    node = layout.tubes[tube].nodes[0]
    spots = {
        "tube": TubeSpot(tube, 10.0),
        "node": NodeSpot(node),
        "panel": BodySpot(501, (0.0, 0.0, 0.0)),
        "reference": ReferenceSpot(502),
    }
    ids = {}
    for word, spot in spots.items():
        layout, ids[word] = kept.add(layout, "distance", (spot, FreeSpot((0.0, 3.0, 0.0))))
    layout, free = kept_height(layout, ORIGIN)
    bare = panels.without(edits.delete(layout, [tube, 502]), {501})
    assert list(kept.followed(layout, bare).measures) == [free]
    assert set(kept.followed(layout, layout).measures) == {*ids.values(), free}


def test_a_place_on_a_panel_goes_where_its_body_goes() -> None:
    layout = replace(EMPTY, bodies={500: Body(500, "Car")}, panels={501: Panel(501, "Roof", 500, MESH)})
    layout, id = kept_height(replace(layout, next_id=600), BodySpot(501, (50.0, 10.0, 0.0)))
    moved = panels.placed_anew(layout, 500, Placement(scale=2.0, shift=(0.0, 0.0, 30.0)))
    (spot,) = after(layout, moved, id)
    assert spot.at == pytest.approx((100.0, 20.0, 30.0))
    assert values.of(moved, kept.followed(layout, moved).measures[id]).number == pytest.approx(30.0)


def test_nothing_measured_is_nothing_to_follow() -> None:
    layout, tube = elbow()
    edited = edits.move_nodes(layout, [layout.tubes[tube].nodes[0]], (0.0, 0.0, -250.0))
    assert kept.followed(layout, edited) is edited


def test_a_node_that_is_joined_with_another_one_hands_its_measures_on() -> None:
    layout, tube = elbow()
    layout, other = edits.add_tube(layout, [(-1200.0, 0.0, 1000.0), (-1200.0, 0.0, 0.0)], INCH)
    end, start = layout.tubes[tube].nodes[-1], layout.tubes[other].nodes[0]
    layout, id = kept_height(layout, NodeSpot(end))
    assert after(layout, edits.merge_nodes(layout, keep=start, drop=end), id) == (NodeSpot(start),)


def test_a_tube_that_goes_on_as_another_one_hands_its_measures_on() -> None:
    layout, tube = elbow()
    layout, id = kept_height(layout, TubeSpot(tube, 100.0))
    nodes = layout.tubes[tube].nodes
    bare = edits.delete(layout, [tube])
    bare = replace(bare, nodes=layout.nodes)
    joined, longer = edits.add_tube(bare, [(0.0, 0.0, -500.0), *nodes], INCH)
    (spot,) = after(layout, joined, id)
    assert spot.tube == longer
    assert place(joined, spot) == pytest.approx((0.0, 0.0, 100.0))


def test_a_measure_is_not_handed_on_to_a_tube_that_was_there_before() -> None:
    layout, tube = elbow()
    layout, _ = edits.add_tube(layout, [(-500.0, 0.0, 100.0), (500.0, 0.0, 100.0)], INCH)
    layout, _ = kept_height(layout, TubeSpot(tube, 100.0))
    assert not kept.followed(layout, edits.delete(layout, [tube])).measures
