import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from geometry import edits
from geometry.arranging import lining_up
from geometry.arranging.lining_up import To, Way
from geometry.errors import GeometryError
from geometry.layout import Landing, Layout
from geometry.tolerances import SAME_POINT
from geometry.tube import centreline
from geometry.tube.stock import starting_rack

STOCKS, DIES, NEXT_ID = starting_rack(1)
STOCK = next(iter(STOCKS))
EMPTY = Layout(stocks=STOCKS, dies=DIES, next_id=NEXT_ID)
AT = st.floats(-900.0, 900.0)
POINT = st.tuples(AT, AT, AT)


@st.composite
def pegs(draw: st.DrawFn) -> tuple[Layout, list[int]]:
    """Three to six tubes of their own, and the node at the top of each."""
    layout, tops = EMPTY, []
    for _ in range(draw(st.integers(3, 6))):
        top = draw(POINT)
        layout, tube = edits.add_tube(layout, [(top[0], top[1], top[2] - 2000.0), top], STOCK)
        tops.append(layout.tubes[tube].nodes[-1])
    return layout, tops


def rungs(*gaps: float) -> tuple[Layout, list[int]]:
    """Cross tubes on two posts that lean apart, each a gap above the one before."""
    layout, left = edits.add_tube(EMPTY, [(0, 500, 0), (0, 600, 2000)], STOCK)
    layout, right = edits.add_tube(layout, [(0, -500, 0), (0, -600, 2000)], STOCK)
    tubes, at = [], 100.0
    for gap in gaps:
        at += gap
        layout, tube = edits.add_tube(layout, [Landing(left, at), Landing(right, at)], STOCK)
        tubes.append(tube)
    return layout, tubes


def positions(layout: Layout, nodes: list[int]) -> np.ndarray:
    return np.array([layout.nodes[id].position for id in nodes])


def middles(layout: Layout, tubes: list[int]) -> np.ndarray:
    return np.array([positions(layout, list(layout.tubes[id].nodes)).mean(axis=0) for id in tubes])


@settings(deadline=None, max_examples=60)
@given(pegs(), st.sampled_from(("height", "station", "side")), st.sampled_from(("first", "mean")))
def test_aligned_nodes_agree_and_keep_the_rest(made: tuple[Layout, list[int]], way: Way, to: To) -> None:
    layout, nodes = made
    axis = {"station": 0, "side": 1, "height": 2}[way]
    before = positions(layout, nodes)
    after = positions(lining_up.align(layout, nodes, way, to), nodes)
    values = np.abs(before[:, axis]) if way == "side" else before[:, axis]
    wanted = values[0] if to == "first" else values.mean()
    assert (np.abs(after[:, axis]) if way == "side" else after[:, axis]) == pytest.approx(wanted, abs=1e-6)
    others = [i for i in range(3) if i != axis]
    assert np.array_equal(after[:, others], before[:, others])
    if way == "side":
        assert (after[:, 1] * before[:, 1] >= 0.0).all()


@settings(deadline=None, max_examples=60)
@given(pegs())
def test_nodes_are_brought_onto_the_line_of_the_outer_two(made: tuple[Layout, list[int]]) -> None:
    layout, nodes = made
    try:
        after = lining_up.align(layout, nodes, "line")
    except GeometryError:
        assert np.ptp(positions(layout, nodes), axis=0).max() < SAME_POINT
        return
    off = positions(after, nodes)
    off = off - off.mean(axis=0)
    assert np.linalg.svd(off)[1][1] < 0.05
    assert lining_up.align(after, nodes, "line") is after


@settings(deadline=None, max_examples=60)
@given(pegs())
def test_spaced_nodes_have_equal_gaps(made: tuple[Layout, list[int]]) -> None:
    layout, nodes = made
    before = positions(layout, nodes)
    try:
        spaced = lining_up.space_nodes(layout, nodes)
    except GeometryError:
        assert np.ptp(before, axis=0).max() < 0.1
        return
    after = positions(spaced, nodes)
    stays = np.flatnonzero((after == before).all(axis=1))
    assert len(stays) >= 2
    far = max(
        ((a, b) for a in stays for b in stays), key=lambda ab: np.linalg.norm(after[ab[0]] - after[ab[1]])
    )
    along = after[far[1]] - after[far[0]]
    gaps = np.diff(np.sort(after @ (along / np.linalg.norm(along))))
    assert np.ptp(gaps) < 1e-6


@settings(deadline=None, max_examples=40)
@given(st.lists(st.floats(30.0, 300.0), min_size=3, max_size=6))
def test_spaced_landings_have_equal_gaps_along_their_tube(gaps: list[float]) -> None:
    layout, tubes = rungs(*gaps)
    ends = [layout.tubes[id].nodes[0] for id in tubes]
    after = lining_up.space_nodes(layout, ends)
    stations = [after.nodes[id].landing.station for id in ends]
    assert np.ptp(np.diff(stations)) < 1e-6
    assert stations[0] == layout.nodes[ends[0]].landing.station
    assert stations[-1] == layout.nodes[ends[-1]].landing.station


@settings(deadline=None, max_examples=40)
@given(st.lists(st.floats(30.0, 300.0), min_size=3, max_size=6), st.randoms())
def test_spaced_tubes_have_equal_gaps_and_stay_on_their_posts(gaps: list[float], shuffle) -> None:
    layout, tubes = rungs(*gaps)
    asked = list(tubes)
    shuffle.shuffle(asked)
    after = lining_up.space_tubes(layout, asked)
    heights = middles(after, tubes)[:, 2]
    assert np.ptp(np.diff(heights)) < 1e-6
    for end in (tubes[0], tubes[-1]):
        assert middles(after, [end]) == pytest.approx(middles(layout, [end]))
    for id in tubes:
        for node in after.tubes[id].nodes:
            seat = after.nodes[node]
            line = centreline.of(after, after.tubes[seat.landing.tube])
            assert centreline.place_at(line, seat.landing.station) == pytest.approx(seat.position)


def test_curved_tubes_are_spaced_as_wholes() -> None:
    layout, tubes = EMPTY, []
    for x in (0.0, -200.0, -1000.0):
        bow = [(x, 600, 1000), (x, 500, 1300), (x, -500, 1300), (x, -600, 1000)]
        layout, tube = edits.add_tube(layout, bow, STOCK)
        tubes.append(tube)
    after = lining_up.space_tubes(layout, tubes)
    moved = [positions(after, list(after.tubes[id].nodes))[:, 0] for id in tubes]
    assert [set(xs) for xs in moved] == [{0.0}, {-500.0}, {-1000.0}]


def test_an_end_that_sits_on_a_tube_slides_to_the_height() -> None:
    layout, tubes = rungs(200.0, 300.0)
    nodes = [layout.tubes[tubes[0]].nodes[0], layout.tubes[tubes[1]].nodes[1]]
    after = lining_up.align(layout, nodes, "height", "first")
    assert after.nodes[nodes[1]].position[2] == pytest.approx(after.nodes[nodes[0]].position[2])
    assert after.nodes[nodes[1]].landing.tube == layout.nodes[nodes[1]].landing.tube


def test_what_cannot_be_lined_up_is_refused_in_words() -> None:
    layout, tubes = rungs(200.0, 300.0, 400.0)
    end = layout.tubes[tubes[0]].nodes[0]
    layout, high = edits.add_tube(layout, [(0, 0, 4000), (0, 0, 5000)], STOCK)
    top = layout.tubes[high].nodes[1]
    with pytest.raises(GeometryError, match="does not pass where"):
        lining_up.align(layout, [top, end], "height", "first")
    with pytest.raises(GeometryError, match="two nodes or more"):
        lining_up.align(layout, [end], "height")
    with pytest.raises(GeometryError, match="three nodes or more"):
        lining_up.space_nodes(layout, [end, top])
    with pytest.raises(GeometryError, match="not parallel"):
        lining_up.space_tubes(layout, [*tubes, high])
    with pytest.raises(GeometryError, match="three parallel tubes"):
        lining_up.space_tubes(layout, tubes[:2])
    nodes = [end, top, layout.tubes[tubes[2]].nodes[1]]
    with pytest.raises(GeometryError, match="free it first"):
        lining_up.align(layout, nodes, "line")


def test_tubes_of_a_chain_are_not_spaced() -> None:
    layout, first = edits.add_tube(EMPTY, [(0, 0, 0), (0, 1000, 0)], STOCK)
    corner = layout.tubes[first].nodes[1]
    layout, second = edits.add_tube(layout, [corner, (10.0, 2000.0, 0.0)], STOCK)
    layout, third = edits.add_tube(layout, [(500, 0, 0), (500, 1000, 0)], STOCK)
    with pytest.raises(GeometryError, match="shares a node"):
        lining_up.space_tubes(layout, [first, second, third])


def test_nodes_that_are_even_on_a_line_stay() -> None:
    layout, nodes = EMPTY, []
    for x in (0.0, 100.0, 700.0, 900.0):
        layout, tube = edits.add_tube(layout, [(x, x, -500.0), (x, x, 0.0)], STOCK)
        nodes.append(layout.tubes[tube].nodes[1])
    after = lining_up.space_nodes(layout, nodes)
    assert positions(after, nodes)[:, 0] == pytest.approx([0.0, 300.0, 600.0, 900.0])
    assert lining_up.space_nodes(after, nodes) is after
