import itertools
import math
import re

import numpy as np
import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule
from msgspec.structs import replace

from geometry import edits, rack, symmetry
from geometry.errors import GeometryError
from geometry.layout import Body, Die, Landing, Layout, Mesh, Panel, Stock
from geometry.tolerances import SAME_POINT
from geometry.tube import centreline
from geometry.tube.stock import starting_rack

STOCKS, DIES, NEXT_ID = starting_rack(1)
INCH = next(id for id, row in STOCKS.items() if row.name == "1.75 × 0.120 in")
METRIC = next(id for id, row in STOCKS.items() if row.name == "45 × 2.5 mm")
EMPTY = Layout(stocks=STOCKS, dies=DIES, next_id=NEXT_ID)


def elbow() -> tuple[Layout, int]:
    """One tube on the left: up 1000, then back 1000."""
    return edits.add_tube(EMPTY, [(0.0, 500.0, 0.0), (0.0, 500.0, 1000.0), (-1000.0, 500.0, 1000.0)], INCH)


def elbow_with_branch(station: float = 600.0) -> tuple[Layout, int, int]:
    """The elbow with a second tube whose start sits on it."""
    layout, host = elbow()
    layout, branch = edits.add_tube(layout, [Landing(host, station), (-600.0, 500.0, 100.0)], INCH)
    return layout, host, branch


def panel_layout() -> Layout:
    mesh = Mesh(np.zeros((3, 3)), np.array([[0, 1, 2]], dtype=np.int32))
    bodies = {100: Body(100, "Car"), 101: Body(101, "Trailer")}
    panels = {110: Panel(110, "Bonnet", 100, mesh), 111: Panel(111, "Bed", 101, mesh)}
    return replace(EMPTY, bodies=bodies, panels=panels, next_id=120)


def seat(layout: Layout, tube: int, index: int = 0):
    """Return one node of a tube."""
    return layout.nodes[layout.tubes[tube].nodes[index]]


def line_of(layout: Layout, tube: int):
    return centreline.of(layout, layout.tubes[tube])


# Nodes and tubes


def test_a_tube_is_laid_through_places_nodes_and_landings() -> None:
    layout, host = elbow()
    shared = layout.tubes[host].nodes[0]
    layout, tube = edits.add_tube(layout, [shared, (-500.0, 0.0, 0.0), Landing(host, 600.0)], INCH)
    assert layout.tubes[tube].nodes[0] == shared
    assert seat(layout, tube, 2).position == pytest.approx((0.0, 500.0, 600.0))
    assert seat(layout, tube, 2).landing == Landing(host, 600.0)


def test_automatic_names_go_on_after_the_highest_in_use() -> None:
    layout, first = elbow()
    layout, second = edits.add_tube(layout, [(0, 0, 0), (1, 1, 1)], INCH)
    layout = edits.rename(layout, second, "T7")
    layout, third = edits.add_tube(layout, [(0, 0, 0), (1, 1, 1)], INCH)
    assert [layout.tubes[id].name for id in (first, second, third)] == ["T1", "T7", "T8"]


def test_two_tubes_cannot_have_one_name() -> None:
    layout, tube = elbow()
    layout, other = edits.add_tube(layout, [(0, 0, 0), (1, 1, 1)], INCH, name="Left sill")
    with pytest.raises(GeometryError, match="T1 already"):
        edits.rename(layout, other, "T1")
    with pytest.raises(GeometryError, match="Left sill already"):
        edits.add_tube(layout, [(0, 0, 0), (1, 1, 1)], INCH, name=" Left  sill ")
    assert edits.rename(layout, tube, "T1") is layout


def test_ids_are_never_given_twice() -> None:
    layout, tube = elbow()
    used = {*layout.nodes, *layout.tubes}
    layout = edits.delete(layout, [tube])
    layout, _ = elbow_on(layout)
    assert used.isdisjoint({*layout.nodes, *layout.tubes})


def elbow_on(layout: Layout) -> tuple[Layout, int]:
    return edits.add_tube(layout, [(0, 500, 0), (0, 500, 1000), (-1000, 500, 1000)], INCH)


@pytest.mark.parametrize("bad", [math.nan, math.inf, -math.inf, 2.0e6])
def test_numbers_that_are_no_place_are_refused_everywhere(bad: float) -> None:
    layout, tube = elbow()
    node = layout.tubes[tube].nodes[0]
    for edit in (
        lambda: edits.add_node(layout, (0.0, bad, 0.0)),
        lambda: edits.add_tube(layout, [(0.0, 0.0, 0.0), (bad, 0.0, 0.0)], INCH),
        lambda: edits.extend_tube(layout, tube, (bad, 0.0, 0.0)),
        lambda: edits.insert_node(layout, tube, 0, (0.0, 0.0, bad)),
        lambda: edits.move_nodes(layout, [node], (bad, 0.0, 0.0)),
        lambda: edits.place_node(layout, node, (bad, 0.0, 0.0)),
        lambda: edits.set_landing(layout, node, Landing(tube, bad)),
        lambda: edits.split_tube(layout, tube, station=bad),
        lambda: edits.set_allowances(layout, [tube], bad, None),
        lambda: edits.set_limits(layout, scan_error=bad),
        lambda: edits.landing_at(layout, tube, (bad, 0.0, 0.0)),
    ):
        with pytest.raises(GeometryError):
            edit()


def test_two_neighbours_on_one_point_are_refused() -> None:
    layout, tube = elbow()
    first, second, _ = layout.tubes[tube].nodes
    with pytest.raises(GeometryError, match="T1 would lie on one point") as refusal:
        edits.place_node(layout, first, layout.nodes[second].position)
    assert refusal.value.ids == (tube, first, second)


def test_one_point_is_no_tube() -> None:
    with pytest.raises(GeometryError, match="two points"):
        edits.add_tube(EMPTY, [(0.0, 0.0, 0.0)], INCH)


def test_a_tube_cannot_pass_a_node_twice() -> None:
    layout, tube = elbow()
    with pytest.raises(GeometryError, match="twice"):
        edits.extend_tube(layout, tube, layout.tubes[tube].nodes[0])


def test_things_that_are_gone_are_said_to_be_gone() -> None:
    layout, tube = elbow()
    for edit in (
        lambda: edits.place_node(layout, 999, (0.0, 0.0, 0.0)),
        lambda: edits.extend_tube(layout, 999, (0.0, 0.0, 0.0)),
        lambda: edits.delete(layout, [tube, 999]),
        lambda: edits.set_stock(layout, [tube], 999),
        lambda: edits.set_die(layout, [tube], 999),
        lambda: edits.rename(layout, 999, "A"),
        lambda: edits.set_panel(layout, 999, shown=False),
        lambda: edits.add_tube(layout, [(0.0, 0.0, 0.0), 999], INCH),
        lambda: edits.set_landing(layout, layout.tubes[tube].nodes[0], Landing(999, 1.0)),
    ):
        with pytest.raises(GeometryError, match="no longer in the"):
            edit()


def test_a_tube_runs_on_from_either_end() -> None:
    layout, tube = elbow()
    nodes = layout.tubes[tube].nodes
    layout, at_end = edits.extend_tube(layout, tube, (-1000.0, 0.0, 1000.0))
    layout, at_start = edits.extend_tube(layout, tube, (500.0, 500.0, 0.0), at_start=True)
    assert layout.tubes[tube].nodes == (at_start, *nodes, at_end)


def test_a_node_is_inserted_into_its_leg_and_taken_out_again() -> None:
    layout, tube = elbow()
    before = layout.tubes[tube].nodes
    longer, node = edits.insert_node(layout, tube, 1, (-500.0, 600.0, 1000.0))
    assert longer.tubes[tube].nodes == (*before[:2], node, before[2])
    shorter = edits.remove_node(longer, node)
    assert (shorter.tubes, shorter.nodes) == (layout.tubes, layout.nodes)


def test_a_leg_that_is_not_there_is_refused() -> None:
    layout, tube = elbow()
    for leg in (-1, 2):
        with pytest.raises(GeometryError, match="no leg"):
            edits.insert_node(layout, tube, leg, (0.0, 0.0, 0.0))


def test_taking_a_node_of_the_last_leg_takes_the_tube() -> None:
    layout, tube = edits.add_tube(EMPTY, [(0, 0, 0), (1000, 0, 0)], INCH)
    layout = edits.remove_node(layout, layout.tubes[tube].nodes[0])
    assert (layout.tubes, layout.nodes) == ({}, {})


def test_only_what_moves_becomes_a_new_object() -> None:
    layout, host, branch = elbow_with_branch()
    layout, other = edits.add_tube(layout, [(0, 0, 0), (1000, 0, 0)], INCH)
    moved = edits.move_nodes(layout, [layout.tubes[host].nodes[0]], (50.0, 0.0, 0.0))
    new = {id for id, node in moved.nodes.items() if node is not layout.nodes[id]}
    assert new == {layout.tubes[host].nodes[0], layout.tubes[branch].nodes[0]}
    assert moved.tubes is layout.tubes
    assert other in moved.tubes


def test_an_edit_that_changes_nothing_returns_the_same_layout() -> None:
    layout, host, branch = elbow_with_branch()
    node = layout.tubes[host].nodes[0]
    assert edits.move_nodes(layout, [node], (0.0, 0.0, 0.0)) is layout
    assert edits.place_node(layout, node, layout.nodes[node].position) is layout
    assert edits.set_stock(layout, [host], INCH) is layout
    assert edits.merge_nodes(layout, node, node) is layout
    assert edits.set_allowances(layout, [host, branch], None, None) is layout


def test_moving_a_tube_moves_all_its_nodes() -> None:
    layout, tube = elbow()
    moved = edits.move_nodes(layout, [tube, layout.tubes[tube].nodes[0]], (10.0, 20.0, 30.0))
    for id in layout.tubes[tube].nodes:
        shift = np.subtract(moved.nodes[id].position, layout.nodes[id].position)
        assert shift == pytest.approx([10.0, 20.0, 30.0])


def test_a_free_node_waits_for_its_tube() -> None:
    layout, node = edits.add_node(EMPTY, (0.0, 0.0, 0.0))
    layout, other = edits.add_tube(layout, [(0, 0, 500), (0, 0, 900)], INCH)
    layout = edits.delete(layout, [other])
    assert set(layout.nodes) == {node}
    layout, tube = edits.add_tube(layout, [node, (500.0, 0.0, 0.0)], INCH)
    assert edits.delete(layout, [tube]).nodes == {}


# Merging, splitting, reversing


def test_merged_nodes_join_tubes() -> None:
    layout, first = edits.add_tube(EMPTY, [(0, 0, 0), (1000, 0, 0)], INCH)
    layout, second = edits.add_tube(layout, [(1000, 20, 0), (1000, 900, 0)], INCH)
    keep, drop = layout.tubes[first].nodes[1], layout.tubes[second].nodes[0]
    merged = edits.merge_nodes(layout, keep, drop)
    assert merged.tubes[second].nodes == (keep, layout.tubes[second].nodes[1])
    assert drop not in merged.nodes
    assert merged.nodes[keep] is layout.nodes[keep]


def test_merging_two_neighbours_takes_the_leg_between_them() -> None:
    layout, tube = elbow()
    first, second, third = layout.tubes[tube].nodes
    assert edits.merge_nodes(layout, first, second).tubes[tube].nodes == (first, third)


def test_merging_the_ends_of_a_tube_is_refused() -> None:
    layout, tube = elbow()
    first, _, third = layout.tubes[tube].nodes
    with pytest.raises(GeometryError, match="twice"):
        edits.merge_nodes(layout, first, third)


def test_split_on_a_straight_shares_the_cut_and_moves_nothing() -> None:
    layout, tube = elbow()
    line = line_of(layout, tube)
    split, second = edits.split_tube(layout, tube, station=400.0)
    cut = split.tubes[tube].nodes[-1]
    assert cut == split.tubes[second].nodes[0]
    assert split.nodes[cut].position == pytest.approx((0.0, 500.0, 400.0))
    assert line_of(split, tube).length == pytest.approx(400.0)
    assert line_of(split, second).length == pytest.approx(line.length - 400.0)
    assert line_of(split, second).bends[0].angle == pytest.approx(line.bends[0].angle)


def test_split_in_a_bend_or_at_an_end_is_refused() -> None:
    layout, tube = elbow()
    bend = line_of(layout, tube).bends[0]
    with pytest.raises(GeometryError, match="inside a bend"):
        edits.split_tube(layout, tube, station=(bend.start + bend.end) / 2.0)
    for station in (0.0, line_of(layout, tube).length, -10.0):
        with pytest.raises(GeometryError, match="between its ends"):
            edits.split_tube(layout, tube, station=station)
    with pytest.raises(GeometryError, match="between its ends"):
        edits.split_tube(layout, tube, node=layout.tubes[tube].nodes[0])


def test_split_at_a_corner_leaves_two_straights_that_meet_there() -> None:
    layout, tube = elbow()
    corner = layout.tubes[tube].nodes[1]
    split, second = edits.split_tube(layout, tube, node=corner)
    assert line_of(split, tube).length == line_of(split, second).length == 1000.0
    assert split.tubes[second].nodes[0] == corner


def test_split_at_a_straight_node_uses_that_node() -> None:
    layout, tube = edits.add_tube(EMPTY, [(0, 0, 0), (400, 0, 0), (1000, 0, 0)], INCH)
    middle = layout.tubes[tube].nodes[1]
    split, second = edits.split_tube(layout, tube, station=400.0)
    assert split.tubes[second].nodes[0] == middle
    assert set(split.nodes) == set(layout.nodes)


def test_the_allowances_of_a_split_tube_stay_at_its_outer_ends() -> None:
    layout, tube = elbow()
    layout = edits.set_allowances(layout, [tube], 10.0, 20.0)
    split, second = edits.split_tube(layout, tube, station=400.0)
    first, second = split.tubes[tube], split.tubes[second]
    assert (first.start_allowance, first.end_allowance) == (10.0, None)
    assert (second.start_allowance, second.end_allowance) == (None, 20.0)


@pytest.mark.parametrize("station", [100.0, 300.0, 700.0, 1200.0, 1700.0])
def test_what_sits_on_a_split_tube_stays_where_it_is(station: float) -> None:
    layout, host, branch = elbow_with_branch(station)
    split, second = edits.split_tube(layout, host, station=400.0)
    node = seat(split, branch)
    assert node.landing.tube == (host if station < 400.0 else second)
    assert node.position == pytest.approx(seat(layout, branch).position, abs=1e-6)


def test_a_reversed_tube_moves_nothing_and_swaps_its_ends() -> None:
    layout, host, branch = elbow_with_branch()
    layout = edits.set_allowances(layout, [host], 10.0, 20.0)
    back = edits.reverse_tube(layout, host)
    assert back.tubes[host].nodes == layout.tubes[host].nodes[::-1]
    assert (back.tubes[host].start_allowance, back.tubes[host].end_allowance) == (20.0, 10.0)
    assert seat(back, branch).landing.station == pytest.approx(line_of(layout, host).length - 600.0)
    assert seat(back, branch).position == pytest.approx(seat(layout, branch).position, abs=1e-6)


# Stock, dies, rack


def test_another_stock_lets_go_of_a_die_of_another_diameter() -> None:
    layout, tube = elbow()
    die = next(id for id, row in DIES.items() if row.od == 44.45)
    layout = edits.set_die(layout, [tube], die)
    assert edits.set_stock(layout, [tube], INCH - 1).tubes[tube].die == die
    assert edits.set_stock(layout, [tube], METRIC).tubes[tube].die is None


def test_a_die_of_another_diameter_is_refused() -> None:
    layout, tube = elbow()
    with pytest.raises(GeometryError, match="another diameter than that of tube T1"):
        edits.set_die(layout, [tube], next(id for id, die in DIES.items() if die.od == 45.0))


def test_stock_and_dies_in_use_are_not_removed() -> None:
    layout, tube = elbow()
    layout, _ = edits.add_tube(layout, [(0, 0, 0), (1, 1, 1)], INCH)
    die = next(id for id, row in DIES.items() if row.od == 44.45)
    layout = edits.set_die(layout, [tube], die)
    with pytest.raises(GeometryError, match="used by T1 and T2"):
        rack.remove_stock(layout, INCH)
    with pytest.raises(GeometryError, match="used by T1"):
        rack.remove_die(layout, die)
    assert METRIC not in rack.remove_stock(layout, METRIC).stocks
    assert die not in rack.remove_die(edits.set_die(layout, [tube], None), die).dies


def test_the_rack_grows_and_changes() -> None:
    layout, stock = rack.add_stock(EMPTY, Stock(0, "42 × 3 mm", 42.0, 3.0))
    layout, die = rack.add_die(layout, Die(0, "42 on 130", 42.0, 130.0))
    assert (layout.stocks[stock].id, layout.dies[die].id) == (stock, die)
    layout = rack.replace_die(layout, replace(layout.dies[die], clr=140.0))
    layout = rack.replace_stock(layout, replace(layout.stocks[stock], wall=2.5))
    assert (layout.dies[die].clr, layout.stocks[stock].wall) == (140.0, 2.5)


def test_a_die_that_a_tube_has_chosen_keeps_its_diameter() -> None:
    layout, tube = elbow()
    die = next(id for id, row in DIES.items() if row.od == 44.45)
    layout = edits.set_die(layout, [tube], die)
    with pytest.raises(GeometryError, match="bends T1 of another diameter"):
        rack.replace_die(layout, replace(DIES[die], od=45.0))


def test_a_stock_of_another_diameter_lets_go_of_chosen_dies() -> None:
    layout, tube = elbow()
    layout = edits.set_die(layout, [tube], next(id for id, row in DIES.items() if row.od == 44.45))
    changed = rack.replace_stock(layout, replace(STOCKS[INCH], od=45.0))
    assert changed.tubes[tube].die is None


@pytest.mark.parametrize(
    "row",
    [
        Stock(0, "x", 0.0, 1.0),
        Stock(0, "x", 40.0, 20.1),
        Stock(0, "x", 40.0, math.nan),
        Stock(0, "x", 40.0, 2.0, density=-1.0),
        Stock(0, " ", 40.0, 2.0),
        Die(0, "x", 40.0, 19.0),
        Die(0, "x", 40.0, 120.0, largest_angle=3.2),
        Die(0, "x", 40.0, 120.0, tail=-1.0),
        Die(0, "x", 40.0, math.inf),
    ],
)
def test_impossible_rows_of_the_rack_are_refused(row: Stock | Die) -> None:
    with pytest.raises(GeometryError):
        rack.add_stock(EMPTY, row) if isinstance(row, Stock) else rack.add_die(EMPTY, row)


# Panels, names, limits


def test_deleting_a_body_takes_its_panels() -> None:
    layout = edits.delete(panel_layout(), [100])
    assert (set(layout.bodies), set(layout.panels)) == ({101}, {111})
    assert set(edits.delete(panel_layout(), [110]).bodies) == {100, 101}


def test_a_panel_is_hidden_renamed_and_left_out() -> None:
    layout = edits.set_panel(panel_layout(), 110, shown=False, kept=False, name=" Hood ", colour="#445566")
    panel = layout.panels[110]
    assert (panel.shown, panel.kept, panel.name, panel.colour) == (False, False, "Hood", "#445566")
    with pytest.raises(ValueError, match="mesh"):
        edits.set_panel(layout, 110, mesh=None)


def test_everything_with_a_name_is_renamed() -> None:
    layout = panel_layout()
    layout, tube = elbow_on(layout)
    die = next(iter(DIES))
    for id, kind in ((100, "bodies"), (110, "panels"), (tube, "tubes"), (INCH, "stocks"), (die, "dies")):
        assert getattr(edits.rename(layout, id, "New  name"), kind)[id].name == "New name"
    with pytest.raises(GeometryError, match="at least one letter"):
        edits.rename(layout, tube, "  ")
    assert edits.rename_job(layout, "Cage").name == "Cage"


def test_limits_are_set_within_reason() -> None:
    assert edits.set_limits(EMPTY, scan_error=1.5).limits.scan_error == 1.5
    with pytest.raises(GeometryError, match="closest stand-off"):
        edits.set_limits(EMPTY, standoff_closest=50.0)
    with pytest.raises(ValueError, match="no limit"):
        edits.set_limits(EMPTY, nonsense=1.0)


def test_angles_cannot_be_read_to_a_step_of_zero() -> None:
    half = math.radians(0.5)
    assert edits.set_limits(EMPTY, angle_step=half).limits.angle_step == half
    with pytest.raises(GeometryError, match="more than 0°"):
        edits.set_limits(EMPTY, angle_step=0.0)


# Sleeves


def two_ends(angle: float = 0.0, second: int = INCH) -> tuple[Layout, int]:
    """Two tubes that meet, the second one turned by an angle; and the node that they share."""
    layout, first = edits.add_tube(EMPTY, [(0.0, 0.0, 500.0), (800.0, 0.0, 500.0)], INCH)
    joint = layout.tubes[first].nodes[-1]
    end = (800.0 + 600.0 * math.cos(angle), 600.0 * math.sin(angle), 500.0)
    return edits.add_tube(layout, [joint, end], second)[0], joint


@pytest.mark.parametrize("angle", [0.0, math.radians(0.9)])
def test_two_ends_in_line_take_a_sleeve_and_let_it_go(angle: float) -> None:
    layout, joint = two_ends(angle)
    sleeved = edits.set_sleeve(layout, joint, True)
    assert sleeved.nodes[joint].sleeve
    assert sleeved.tubes is layout.tubes
    assert edits.set_sleeve(sleeved, joint, False).nodes == layout.nodes


def test_a_sleeve_is_refused_where_it_joins_nothing_straight() -> None:
    turned, joint = two_ends(math.radians(1.1))
    with pytest.raises(GeometryError, match=r"turn by 1\.1° here"):
        edits.set_sleeve(turned, joint, True)
    unlike, joint = two_ends(second=METRIC)
    with pytest.raises(GeometryError, match="differ in diameter"):
        edits.set_sleeve(unlike, joint, True)
    crossed, joint = two_ends()
    crossed, _ = edits.add_tube(crossed, [joint, (800.0, 0.0, 0.0)], INCH)
    with pytest.raises(GeometryError, match="no other tube"):
        edits.set_sleeve(crossed, joint, True)
    layout, tube = elbow()
    with pytest.raises(GeometryError, match="runs through here; split it"):
        edits.set_sleeve(layout, layout.tubes[tube].nodes[1], True)
    with pytest.raises(GeometryError, match="no other tube"):
        edits.set_sleeve(layout, layout.tubes[tube].nodes[0], True)


# Any sequence of edits

coordinates = st.floats(-1500.0, 1500.0)
places = st.tuples(coordinates, coordinates, coordinates)


class Editing(RuleBasedStateMachine):
    """Any sequence of edits: each one holds every promise or refuses in a sentence."""

    def __init__(self) -> None:
        super().__init__()
        self.layout = EMPTY
        self.refusals: list[str] = []
        self.free: set[int] = set()  # nodes that no tube has used yet

    def attempt(self, edit) -> None:
        before = self.layout
        try:
            result = edit(before)
        except GeometryError as refusal:
            self.refusals.append(refusal.message)
            return
        self.layout = result[0] if isinstance(result, tuple) else result
        used = {id for tube in self.layout.tubes.values() for id in tube.nodes}
        self.free = (self.free - used) & set(self.layout.nodes)
        self.check_promises_of(before)

    def check_promises_of(self, before: Layout) -> None:
        layout = self.layout
        assert layout.next_id >= before.next_id
        for kind in ("nodes", "tubes"):
            old, new = getattr(before, kind), getattr(layout, kind)
            assert all(id >= before.next_id for id in set(new) - set(old))
            assert all(new[id] is old[id] for id in set(new) & set(old) if new[id] == old[id])

    def node(self, data) -> int:
        return data.draw(st.sampled_from(sorted(self.layout.nodes)), "node")

    def tube(self, data) -> int:
        return data.draw(st.sampled_from(sorted(self.layout.tubes)), "tube")

    def landing(self, data) -> Landing:
        tube = self.tube(data)
        part = data.draw(st.sampled_from([0.0, 0.2, 0.5, 0.77, 1.0]), "part")
        return Landing(tube, part * line_of(self.layout, tube).length)

    def item(self, data):
        kinds = ["place", "place"]
        kinds += ["node"] if self.layout.nodes else []
        kinds += ["landing"] if self.layout.tubes else []
        kind = data.draw(st.sampled_from(kinds), "kind")
        if kind == "place":
            return data.draw(places, "place")
        return self.node(data) if kind == "node" else self.landing(data)

    @rule(data=st.data(), size=st.integers(1, 4), stock=st.sampled_from([INCH, METRIC]))
    def add_tube(self, data, size, stock) -> None:
        items = [self.item(data) for _ in range(size)]
        self.attempt(lambda layout: edits.add_tube(layout, items, stock))

    @rule(place=places)
    def add_node(self, place) -> None:
        self.free.add(self.layout.next_id)
        self.attempt(lambda layout: edits.add_node(layout, place))

    @precondition(lambda self: self.layout.tubes)
    @rule(data=st.data(), at_start=st.booleans())
    def extend_tube(self, data, at_start) -> None:
        tube, item = self.tube(data), self.item(data)
        self.attempt(lambda layout: edits.extend_tube(layout, tube, item, at_start))

    @precondition(lambda self: self.layout.tubes)
    @rule(data=st.data(), leg=st.integers(0, 3), place=places)
    def insert_node(self, data, leg, place) -> None:
        tube = self.tube(data)
        self.attempt(lambda layout: edits.insert_node(layout, tube, leg, place))

    @precondition(lambda self: self.layout.nodes)
    @rule(data=st.data())
    def remove_node(self, data) -> None:
        node = self.node(data)
        self.attempt(lambda layout: edits.remove_node(layout, node))

    @precondition(lambda self: self.layout.nodes)
    @rule(data=st.data(), shift=places)
    def move_nodes(self, data, shift) -> None:
        ids = {self.node(data), self.node(data)}
        self.attempt(lambda layout: edits.move_nodes(layout, ids, shift))

    @precondition(lambda self: self.layout.nodes)
    @rule(data=st.data(), place=places)
    def place_node(self, data, place) -> None:
        node = self.node(data)
        self.attempt(lambda layout: edits.place_node(layout, node, place))

    @precondition(lambda self: self.layout.tubes)
    @rule(data=st.data(), free=st.booleans())
    def set_landing(self, data, free) -> None:
        node, landing = self.node(data), None if free else self.landing(data)
        self.attempt(lambda layout: edits.set_landing(layout, node, landing))

    @precondition(lambda self: self.layout.tubes)
    @rule(data=st.data(), part=st.floats(0.0, 1.0))
    def split_at_station(self, data, part) -> None:
        tube = self.tube(data)
        station = part * line_of(self.layout, tube).length
        before = {id: node.position for id, node in self.layout.nodes.items()}
        was = self.layout
        self.attempt(lambda layout: edits.split_tube(layout, tube, station=station))
        if self.layout is not was:
            kept = before.keys() & self.layout.nodes.keys()
            moved = [math.dist(before[id], self.layout.nodes[id].position) for id in kept]
            assert max(moved, default=0.0) < SAME_POINT

    @precondition(lambda self: self.layout.tubes)
    @rule(data=st.data())
    def split_at_node(self, data) -> None:
        tube = self.tube(data)
        node = data.draw(st.sampled_from(self.layout.tubes[tube].nodes), "node")
        self.attempt(lambda layout: edits.split_tube(layout, tube, node=node))

    @precondition(lambda self: len(self.layout.nodes) > 1)
    @rule(data=st.data())
    def merge_nodes(self, data) -> None:
        keep, drop = self.node(data), self.node(data)
        self.attempt(lambda layout: edits.merge_nodes(layout, keep, drop))

    @precondition(lambda self: self.layout.tubes)
    @rule(data=st.data())
    def reverse_tube(self, data) -> None:
        tube = self.tube(data)
        before = self.layout.nodes
        self.attempt(lambda layout: edits.reverse_tube(layout, tube))
        for id, node in self.layout.nodes.items():
            assert math.dist(node.position, before[id].position) < 1e-5

    @precondition(lambda self: self.layout.tubes)
    @rule(data=st.data())
    def mirror(self, data) -> None:
        tubes = {self.tube(data), self.tube(data)}
        self.attempt(lambda layout: symmetry.paired(layout, tubes))

    @precondition(lambda self: self.layout.tubes)
    @rule(data=st.data())
    def delete(self, data) -> None:
        ids = {self.tube(data), self.node(data)}
        self.attempt(lambda layout: edits.delete(layout, ids))

    @precondition(lambda self: self.layout.tubes)
    @rule(data=st.data(), stock=st.sampled_from([INCH, METRIC]))
    def set_stock(self, data, stock) -> None:
        tube = self.tube(data)
        self.attempt(lambda layout: edits.set_stock(layout, [tube], stock))

    @precondition(lambda self: self.layout.tubes)
    @rule(data=st.data(), die=st.sampled_from(sorted(DIES)))
    def set_die(self, data, die) -> None:
        tube = self.tube(data)
        self.attempt(lambda layout: edits.set_die(layout, [tube], die))

    @invariant()
    def refusals_are_sentences(self) -> None:
        assert all(re.fullmatch(r"[A-Z0-9].*\.", message) for message in self.refusals)

    @invariant()
    def nothing_dangles(self) -> None:
        layout = self.layout
        for tube in layout.tubes.values():
            assert len(tube.nodes) >= 2
            assert set(tube.nodes) <= set(layout.nodes)
            assert tube.stock in layout.stocks
            assert tube.die is None or tube.die in layout.dies
        names = [tube.name for tube in layout.tubes.values()]
        assert len(names) == len(set(names))
        used = {id for tube in layout.tubes.values() for id in tube.nodes}
        assert set(layout.nodes) == used | self.free
        assert all(id == thing.id for id, thing in (*layout.nodes.items(), *layout.tubes.items()))

    @invariant()
    def no_leg_is_nothing(self) -> None:
        nodes = self.layout.nodes
        for tube in self.layout.tubes.values():
            for a, b in itertools.pairwise(tube.nodes):
                assert math.dist(nodes[a].position, nodes[b].position) >= SAME_POINT

    @invariant()
    def landings_are_on_their_hosts(self) -> None:
        for node in self.layout.nodes.values():
            if node.landing is None:
                continue
            line = line_of(self.layout, node.landing.tube)
            assert -1e-6 <= node.landing.station <= line.length + 1e-6
            place = centreline.place_at(line, node.landing.station)
            assert math.dist(place, node.position) <= 1e-4


Editing.TestCase.settings = settings(
    max_examples=60, stateful_step_count=25, suppress_health_check=list(HealthCheck)
)
TestAnySequenceOfEdits = Editing.TestCase
