import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from geometry import edits, part_groups, rack, sample
from geometry.errors import GeometryError
from geometry.files import consistency
from geometry.layout import Landing, Layout, Weld
from geometry.part_groups import PartGroup
from geometry.tube import centreline
from geometry.tube.stock import starting_rack

STOCKS, DIES, NEXT_ID = starting_rack(1)
STOCK = next(iter(STOCKS))
EMPTY = Layout(stocks=STOCKS, dies=DIES, next_id=NEXT_ID)
NO_RACK = Layout()
AT = st.floats(-3000.0, 3000.0)
PLACE = st.tuples(AT, AT, AT)
TURN = st.floats(-7.0, 7.0)


def gate() -> tuple[Layout, list[int]]:
    """A hoop, a bar that sits on it, and a stay that ends on a tube that is no part of the gate."""
    layout, wall = edits.add_tube(EMPTY, [(500, -900, 0), (500, -900, 2000)], STOCK, "Wall")
    hoop = [(0, 700, 100), (0, 700, 1200), (0, -700, 1200), (0, -700, 100)]
    layout, first = edits.add_tube(layout, hoop, STOCK, "Left hoop")
    layout, bar = edits.add_tube(layout, [Landing(first, 500.0), (0.0, -300.0, 600.0)], STOCK)
    shared = layout.tubes[bar].nodes[1]
    layout, stay = edits.add_tube(layout, [shared, Landing(wall, 900.0)], STOCK)
    return layout, [first, bar, stay]


def shape(layout: Layout, tube: int) -> np.ndarray:
    return np.array(centreline.of(layout, layout.tubes[tube]).points)


def part_of_gate() -> PartGroup:
    layout, tubes = gate()
    return part_groups.taken(layout, tubes, "Gate")


def test_a_part_stands_by_itself() -> None:
    layout, tubes = gate()
    marked = replace(layout.tubes[tubes[0]], welds=(Weld(3),), twin=tubes[0], locked=True, shown=False)
    part = part_groups.taken(edits.with_tubes(layout, {marked.id: marked}), tubes)
    assert next(consistency.broken_promises(part_groups.as_layout(part)), None) is None
    assert [tube.name for tube in part.tubes] == ["Left hoop", "T1", "T2"]
    assert all(not tube.welds and tube.twin is None and tube.shown and not tube.locked for tube in part.tubes)
    assert [stock.id for stock in part.stocks] == [STOCK]
    assert len(part.dies) == 1
    assert sum(node.landing is not None for node in part.nodes) == 1


def test_the_base_is_the_lowest_end() -> None:
    part = part_of_gate()
    assert part.base == pytest.approx((0.0, 700.0, 100.0))
    assert part.nodes[0].position == (0.0, 0.0, 0.0)


def test_a_part_put_back_where_it_was_is_the_same() -> None:
    layout, tubes = gate()
    after, new = part_groups.placed(layout, part_groups.taken(layout, tubes), (0.0, 700.0, 100.0))
    for id, copy in zip(tubes, new, strict=True):
        assert shape(after, copy) == pytest.approx(shape(layout, id))
    assert after.stocks is layout.stocks
    assert after.dies is layout.dies


@settings(deadline=None, max_examples=40)
@given(PLACE, TURN, st.booleans())
def test_placing_is_a_rigid_motion(at: tuple[float, float, float], turn: float, mirrored: bool) -> None:
    layout, tubes = gate()
    part = part_groups.taken(layout, tubes)
    after, new = part_groups.placed(layout, part, at, turn, mirrored)
    before = np.vstack([shape(layout, id) for id in tubes]) - part.base
    now = np.vstack([shape(after, id) for id in new]) - at
    assert now[:, 2] == pytest.approx(before[:, 2], abs=1e-6)
    assert now @ now.T == pytest.approx(before @ before.T, abs=1e-2)
    flip = -1.0 if mirrored else 1.0
    turned = math.atan2(now[2, 1], now[2, 0]) - math.atan2(flip * before[2, 1], before[2, 0])
    assert math.cos(turned - turn) == pytest.approx(1.0, abs=1e-9)


@settings(deadline=None, max_examples=20)
@given(PLACE, TURN)
def test_taking_what_was_placed_gives_the_part_again(at: tuple[float, float, float], turn: float) -> None:
    part = part_of_gate()
    after, new = part_groups.placed(NO_RACK, part, at, turn)
    again = part_groups.taken(after, new, "Gate", base=at)
    lengths = [centreline.of(after, after.tubes[id]).length for id in new]
    alone = part_groups.as_layout(part)
    assert lengths == pytest.approx([centreline.of(alone, tube).length for tube in part.tubes])
    for one, other in zip(part.stocks + part.dies, again.stocks + again.dies, strict=True):
        assert replace(one, id=0) == replace(other, id=0)


def test_inner_landings_and_shared_nodes_stay_together() -> None:
    part = part_of_gate()
    after, (hoop, bar, stay) = part_groups.placed(NO_RACK, part, (100.0, 0.0, 0.0))
    seat = after.nodes[after.tubes[bar].nodes[0]]
    assert seat.landing == Landing(hoop, 500.0)
    assert after.tubes[bar].nodes[1] == after.tubes[stay].nodes[0]
    assert after.nodes[after.tubes[stay].nodes[1]].landing is None


def test_names_stay_unique_and_change_sides_when_mirrored() -> None:
    part = part_of_gate()
    layout, _ = part_groups.placed(NO_RACK, part, (0.0, 0.0, 0.0))
    layout, second = part_groups.placed(layout, part, (500.0, 0.0, 0.0))
    layout, third = part_groups.placed(layout, part, (900.0, 0.0, 0.0), mirrored=True)
    assert [layout.tubes[id].name for id in second] == ["Left hoop 2", "T3", "T4"]
    assert layout.tubes[third[0]].name == "Right hoop"
    names = [tube.name for tube in layout.tubes.values()]
    assert len(set(names)) == len(names) == 9


def test_a_rack_that_has_the_size_is_used_and_another_one_grows() -> None:
    part = part_of_gate()
    full, _ = part_groups.placed(EMPTY, part, (0.0, 0.0, 0.0))
    assert full.stocks is EMPTY.stocks
    assert full.dies is EMPTY.dies
    bare, new = part_groups.placed(NO_RACK, part, (0.0, 0.0, 0.0))
    assert [stock.name for stock in bare.stocks.values()] == [part.stocks[0].name]
    assert [die.name for die in bare.dies.values()] == [part.dies[0].name]
    assert bare.tubes[new[0]].stock in bare.stocks


def test_a_size_of_the_same_name_but_another_wall_is_added_beside_it() -> None:
    part = part_of_gate()
    thick = replace(part.stocks[0], wall=4.0)
    layout, _ = part_groups.placed(EMPTY, replace(part, stocks=(thick,)), (0.0, 0.0, 0.0))
    (added,) = layout.stocks.keys() - EMPTY.stocks.keys()
    assert layout.stocks[added].name == f"{thick.name} 2"


def test_a_chosen_die_comes_along() -> None:
    layout, tubes = gate()
    od = layout.stocks[STOCK].od
    wide = [die.id for die in layout.dies.values() if die.od == od][-1]
    part = part_groups.taken(edits.set_die(layout, tubes, wide), tubes)
    other, die = rack.add_die(NO_RACK, replace(DIES[wide], name="Own", clr=DIES[wide].clr + 50.0))
    after, new = part_groups.placed(other, part, (0.0, 0.0, 0.0))
    assert after.dies[after.tubes[new[0]].die].clr == DIES[wide].clr
    assert die in after.dies


def test_what_is_no_part_is_refused() -> None:
    layout, tubes = gate()
    with pytest.raises(GeometryError, match="Select the tubes"):
        part_groups.taken(layout, [])
    with pytest.raises(GeometryError, match="no longer in the job"):
        part_groups.taken(layout, [9999])
    part = part_groups.taken(layout, tubes)
    with pytest.raises(GeometryError, match="not a number"):
        part_groups.placed(layout, part, (math.nan, 0.0, 0.0))
    with pytest.raises(GeometryError, match="must be a number"):
        part_groups.placed(layout, part, (0.0, 0.0, 0.0), math.inf)
    with pytest.raises(GeometryError, match="kilometre"):
        part_groups.placed(layout, part, (9.9e5, 0.0, 999_999.0))


def test_the_whole_sample_cage_is_a_part() -> None:
    layout = sample.build()
    part = part_groups.taken(layout, layout.tubes)
    after, new = part_groups.placed(rack.with_starting_rack(NO_RACK), part, part.base)
    for id, copy in zip(layout.tubes, new, strict=True):
        assert shape(after, copy) == pytest.approx(shape(layout, id), abs=0.1)
    assert next(consistency.broken_promises(after), None) is None
