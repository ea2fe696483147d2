import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from geometry import edits, keeping, sample
from geometry.arranging import merging
from geometry.errors import GeometryError
from geometry.layout import Landing, Layout, Tube, Weld
from geometry.tolerances import LENGTH_NOISE
from geometry.tube import centreline
from geometry.tube.stock import starting_rack

STOCKS, DIES, NEXT_ID = starting_rack(1)
STOCK, OTHER = list(STOCKS)[:2]
EMPTY = Layout(stocks=STOCKS, dies=DIES, next_id=NEXT_ID)
POINTS = [(0.0, 500.0, 0.0), (0.0, 500.0, 1000.0), (-900.0, 450.0, 1300.0), (-1800.0, 450.0, 1200.0)]


def roof() -> tuple[Layout, int]:
    """A tube of two bends with a branch on it, allowances, cuts and weld marks of its own."""
    layout, tube = edits.add_tube(EMPTY, POINTS, STOCK, "Roof")
    layout, _ = edits.add_tube(layout, [Landing(tube, 300.0), (900.0, 500.0, 300.0)], STOCK)
    layout, _ = edits.add_tube(layout, [Landing(tube, 1500.0), (-500.0, -500.0, 1000.0)], STOCK)
    layout = edits.set_allowances(layout, [tube], 11.0, 22.0)
    layout = edits.set_cuts(layout, [tube], "before", "before")
    welds = (Weld(7), Weld(8, 100.0, 1900.0), Weld(9, 1600.0, None))
    return replace(layout, tubes={**layout.tubes, tube: replace(layout.tubes[tube], welds=welds)}), tube


def free_joint(layout: Layout) -> tuple[Layout, int, int, int]:
    """Two tubes of one stock that meet at right angles, and where."""
    layout, first = edits.add_tube(layout, [(0, 0, 0), (0, 0, 1000)], STOCK)
    joint = layout.tubes[first].nodes[1]
    layout, second = edits.add_tube(layout, [joint, (-1000.0, 0.0, 1000.0)], STOCK)
    return layout, first, second, joint


def alike(a: Tube, b: Tube) -> None:
    assert replace(a, welds=()) == replace(b, welds=())
    one, other = (sorted(tube.welds, key=lambda weld: weld.panel) for tube in (a, b))
    for weld, same in zip(one, other, strict=True):
        assert weld.panel == same.panel
        assert weld.start == pytest.approx(same.start, abs=LENGTH_NOISE)
        assert (weld.end is None) == (same.end is None)
        assert weld.end == pytest.approx(same.end, abs=LENGTH_NOISE)


@settings(deadline=None, max_examples=60)
@given(st.floats(5.0, 2800.0))
def test_split_then_merge_gives_the_same_tube(station: float) -> None:
    layout, tube = roof()
    try:
        parts, second = edits.split_tube(layout, tube, station=station)
    except GeometryError:
        return  # inside a bend or beyond the end
    after = merging.merge(parts, tube, second)
    alike(after.tubes[tube], layout.tubes[tube])
    assert set(after.tubes) == set(layout.tubes)
    assert set(after.nodes) == set(layout.nodes)
    for id, node in layout.nodes.items():
        assert after.nodes[id].position == pytest.approx(node.position, abs=1e-5)
        assert (after.nodes[id].landing is None) == (node.landing is None)
        if node.landing is not None:
            assert after.nodes[id].landing.tube == node.landing.tube
            assert after.nodes[id].landing.station == pytest.approx(node.landing.station, abs=1e-5)


@pytest.mark.parametrize("corner", [1, 2])
def test_split_at_a_corner_then_merge_gives_the_bend_back(corner: int) -> None:
    layout, tube = roof()
    parts, second = edits.split_tube(layout, tube, node=layout.tubes[tube].nodes[corner])
    after = merging.merge(parts, tube, second)
    assert replace(after.tubes[tube], welds=()) == replace(layout.tubes[tube], welds=())
    assert centreline.of(after, after.tubes[tube]) is centreline.of(layout, layout.tubes[tube])


@pytest.mark.parametrize("turn_first", [False, True])
@pytest.mark.parametrize("turn_second", [False, True])
def test_two_tubes_become_one_whichever_way_they_run(turn_first: bool, turn_second: bool) -> None:
    layout, first, second, joint = free_joint(EMPTY)
    for tube, turned in ((first, turn_first), (second, turn_second)):
        layout = edits.reverse_tube(layout, tube) if turned else layout
    layout, branch = edits.add_tube(layout, [(-500.0, 900.0, 1000.0), Landing(second, 400.0)], STOCK)
    end = layout.tubes[branch].nodes[1]
    starts = layout.tubes[first].nodes[0] != joint
    after = merging.merge(layout, first, second)
    merged = after.tubes[first]
    assert second not in after.tubes
    assert merged.nodes[1] == joint
    assert merged.name == "T1"
    assert merged.nodes[0 if starts else -1] == layout.tubes[first].nodes[0 if starts else -1]
    assert after.nodes[end].landing.tube == first
    assert after.nodes[end].position == pytest.approx(layout.nodes[end].position, abs=1e-6)
    assert len(centreline.of(after, merged).bends) == 1


def test_outer_ends_keep_allowances_and_cuts() -> None:
    layout, first, second, _ = free_joint(EMPTY)
    layout = edits.reverse_tube(layout, second)
    layout = edits.set_allowances(layout, [first], 1.0, 2.0)
    layout = edits.set_allowances(layout, [second], 3.0, 4.0)
    layout = edits.set_cuts(layout, [second], "before", "after")
    merged = merging.merge(layout, first, second).tubes[first]
    assert (merged.start_allowance, merged.end_allowance) == (1.0, 3.0)
    assert (merged.start_cut, merged.end_cut) == ("after", "before")


def test_weld_marks_of_the_second_tube_stay_where_they_were() -> None:
    layout, first, second, _ = free_joint(EMPTY)
    marked = replace(layout.tubes[second], welds=(Weld(5, 600.0, 800.0),))
    layout = edits.with_tubes(layout, {second: marked})
    after = merging.merge(layout, first, second)
    line = centreline.of(after, after.tubes[first])
    (weld,) = after.tubes[first].welds
    assert centreline.place_at(line, weld.start) == pytest.approx((-600.0, 0.0, 1000.0))
    assert centreline.place_at(line, weld.end) == pytest.approx((-800.0, 0.0, 1000.0))


def test_a_sleeve_goes_with_the_joint() -> None:
    layout, tube = roof()
    parts, second = edits.split_with_sleeve(layout, tube, 500.0)
    after = merging.merge(parts, tube, second)
    assert not any(node.sleeve for node in after.nodes.values())


def test_a_third_tube_at_the_joint_stays_there() -> None:
    layout, first, second, joint = free_joint(EMPTY)
    layout, third = edits.add_tube(layout, [joint, (0.0, 900.0, 1000.0)], STOCK)
    after = merging.merge(layout, first, second)
    assert all(joint in after.tubes[id].nodes for id in (first, third))


def test_what_cannot_be_one_tube_is_refused_in_words() -> None:
    layout, first, second, joint = free_joint(EMPTY)
    layout, apart = edits.add_tube(layout, [(0, 0, 3000), (0, 0, 4000)], STOCK)
    with pytest.raises(GeometryError, match="do not end at one node"):
        merging.merge(layout, first, apart)
    with pytest.raises(GeometryError, match="do not end at one node"):
        merging.merge(layout, first, first)
    with pytest.raises(GeometryError, match="one tube is of one stock"):
        merging.merge(edits.set_stock(layout, [second], OTHER), first, second)
    ring, second = edits.add_tube(layout, [joint, (500.0, 0.0, 500.0), layout.tubes[first].nodes[0]], STOCK)
    with pytest.raises(GeometryError, match="meet twice"):
        merging.merge(ring, first, second)


def test_a_tube_is_not_merged_with_one_that_sits_on_it() -> None:
    layout, first = edits.add_tube(EMPTY, [(0, 0, 0), (0, 0, 1000)], STOCK)
    joint = layout.tubes[first].nodes[1]
    layout, second = edits.add_tube(layout, [joint, (500.0, 0.0, 800.0), Landing(first, 400.0)], STOCK)
    with pytest.raises(GeometryError, match="cannot sit on itself"):
        merging.merge(layout, first, second)


# Both sides


def test_twins_are_split_and_merged_on_both_sides() -> None:
    layout, merged = sample.build(), 0
    for tube in (tube for tube in layout.tubes.values() if tube.twin != tube.id):
        middle = centreline.of(layout, tube).length * 0.37
        parts = keeping.kept(layout, edits.split_tube(layout, tube.id, station=middle)[0])
        second = next(
            id for id in parts.tubes.keys() - layout.tubes.keys() if merging.shared_end(parts, tube.id, id)
        )
        if parts.tubes[tube.id].twin is None:
            continue  # the split itself let the two sides go
        merged += 1
        after = keeping.kept(parts, merging.merge(parts, tube.id, second))
        assert after.tubes.keys() == layout.tubes.keys(), tube.name
        assert after.tubes[tube.id].twin == tube.twin, tube.name
        for id, before in layout.tubes.items():
            assert after.tubes[id].nodes == before.nodes, before.name
    assert merged > 10


def test_halves_that_meet_in_the_plane_become_one_tube_that_is_its_own_image() -> None:
    layout = sample.build()
    for tube in (tube for tube in layout.tubes.values() if tube.twin == tube.id):
        middle = centreline.of(layout, tube).length / 2.0
        halves = keeping.kept(layout, edits.split_tube(layout, tube.id, station=middle)[0])
        (other,) = halves.tubes.keys() - layout.tubes.keys()
        assert halves.tubes[tube.id].twin == other
        after = keeping.kept(halves, merging.merge(halves, tube.id, other))
        assert after.tubes.keys() == layout.tubes.keys()
        assert after.tubes[tube.id].twin == tube.id
        assert after.tubes[tube.id].nodes == tube.nodes


def test_a_tube_that_has_a_twin_lets_it_go_when_merged_with_one_that_has_none() -> None:
    layout = replace(EMPTY, both_sides=True)
    laid, left = edits.add_tube(layout, [(0, 600, 0), (0, 500, 1000)], STOCK)
    layout = keeping.kept(layout, laid)
    right = layout.tubes[left].twin
    laid, beam = edits.add_tube(layout, [layout.tubes[left].nodes[1], layout.tubes[right].nodes[1]], STOCK)
    layout = keeping.kept(layout, laid)
    assert layout.tubes[beam].twin == beam
    after = keeping.kept(layout, merging.merge(layout, left, beam))
    assert after.tubes.keys() == {left, right}
    assert after.tubes[left].twin is None
    assert after.tubes[right].nodes == layout.tubes[right].nodes
