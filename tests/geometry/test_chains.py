"""Which tubes hang together, and the shortest way from one to another."""

from hypothesis import given
from hypothesis import strategies as st

from geometry import chains, edits
from geometry.layout import Landing, Layout
from geometry.tube.stock import starting_rack

STOCKS, DIES, NEXT_ID = starting_rack(1)
EMPTY = Layout(stocks=STOCKS, dies=DIES, next_id=NEXT_ID)
STOCK = next(iter(STOCKS))


def row(count: int) -> tuple[Layout, list[int]]:
    """Tubes end to end, and one beside them that meets none."""
    layout, tubes, last = EMPTY, [], (0.0, 0.0, 0.0)
    for number in range(count):
        layout, tube = edits.add_tube(layout, [last, (100.0 * (number + 1), 0.0, 0.0)], STOCK)
        last = layout.tubes[tube].nodes[-1]
        tubes.append(tube)
    return layout, tubes


def test_the_way_between_two_tubes_is_the_shortest() -> None:
    layout, tubes = row(5)
    assert chains.between(layout, [tubes[1], tubes[3]]) == set(tubes[1:4])
    short, bridge = edits.add_tube(layout, [Landing(tubes[0], 50.0), Landing(tubes[4], 50.0)], STOCK)
    assert chains.between(short, [tubes[0], tubes[4]]) == {tubes[0], bridge, tubes[4]}


def test_where_there_is_no_way_there_is_none() -> None:
    layout, tubes = row(2)
    layout, alone = edits.add_tube(layout, [(0.0, 500.0, 0.0), (900.0, 500.0, 0.0)], STOCK)
    assert chains.between(layout, [tubes[0], alone]) is None
    assert chains.connected(layout, [tubes[0]]) == set(tubes)
    assert chains.connected(layout, [alone]) == {alone}
    assert chains.between(layout, []) is None


@given(st.lists(st.tuples(st.integers(0, 7), st.integers(0, 7)), max_size=12))
def test_what_hangs_together_is_what_networkx_says(pairs: list[tuple[int, int]]) -> None:
    """Against connected components and shortest paths of networkx."""
    import networkx as nx

    layout, tubes = EMPTY, []
    for number in range(8):
        layout, tube = edits.add_tube(
            layout, [(0.0, 100.0 * number, 0.0), (900.0, 100.0 * number, 0.0)], STOCK
        )
        tubes.append(tube)
    graph = nx.Graph()
    graph.add_nodes_from(tubes)
    for place, (low, high) in enumerate(sorted(pair) for pair in pairs):
        if low == high:
            continue
        ends = [Landing(tubes[low], 50.0 + 10.0 * place), Landing(tubes[high], 50.0 + 10.0 * place)]
        layout, strut = edits.add_tube(layout, ends, STOCK)
        graph.add_edges_from([(tubes[low], strut), (strut, tubes[high])])
    assert chains.connected(layout, tubes[:1]) == nx.node_connected_component(graph, tubes[0])
    found = chains.between(layout, [tubes[0], tubes[7]])
    if nx.has_path(graph, tubes[0], tubes[7]):
        assert len(found or ()) == nx.shortest_path_length(graph, tubes[0], tubes[7]) + 1
    else:
        assert found is None
