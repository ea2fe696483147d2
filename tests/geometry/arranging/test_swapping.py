import pytest

from geometry import edits, keeping, sample
from geometry.arranging import swapping
from geometry.errors import GeometryError
from geometry.files import consistency
from geometry.layout import Landing, Layout
from geometry.tube import centreline
from geometry.tube.stock import starting_rack

STOCKS, DIES, NEXT_ID = starting_rack(1)
STOCK, OTHER = list(STOCKS)[:2]
EMPTY = Layout(stocks=STOCKS, dies=DIES, next_id=NEXT_ID)


def length(layout: Layout) -> float:
    """What all legs measure, corner to corner."""
    nodes = layout.nodes
    runs = [[nodes[id].position for id in tube.nodes] for tube in layout.tubes.values()]
    return sum(sum(map(_dist, run, run[1:])) for run in runs)


def _dist(a: tuple[float, ...], b: tuple[float, ...]) -> float:
    return sum((p - q) ** 2 for p, q in zip(a, b, strict=True)) ** 0.5


def tee(shared: bool) -> tuple[Layout, int, int, int]:
    """A post, and a rail that comes from behind and below and meets it half way up."""
    layout, post = edits.add_tube(EMPTY, [(0, 0, 0), (0, 0, 500), (0, 0, 1000)], STOCK, "Post")
    joint = layout.tubes[post].nodes[1] if shared else Landing(post, 500.0)
    layout, rail = edits.add_tube(layout, [(-800.0, 0.0, 100.0), joint], STOCK, "Rail")
    return layout, post, rail, layout.tubes[rail].nodes[1]


@pytest.mark.parametrize("shared", [True, False])
@pytest.mark.parametrize("turned", [True, False])
def test_the_rail_runs_on_up_and_the_post_ends_there(shared: bool, turned: bool) -> None:
    layout, post, rail, node = tee(shared)
    layout = edits.reverse_tube(layout, post) if turned else layout
    after = swapping.swap_through(layout, node)
    assert after.tubes.keys() == layout.tubes.keys()
    ends = {after.nodes[after.tubes[rail].nodes[i]].position for i in (0, -1)}
    assert ends == {(-800.0, 0.0, 100.0), (0.0, 0.0, 1000.0)}
    assert len(centreline.of(after, after.tubes[rail]).bends) == 1
    stops = sorted(after.nodes[after.tubes[post].nodes[i]].position[2] for i in (0, -1))
    assert stops == pytest.approx([0.0, 500.0])
    assert length(after) == pytest.approx(length(layout))
    assert next(consistency.broken_promises(after), None) is None


def test_swapping_back_gives_the_same_runs() -> None:
    layout, post, rail, node = tee(shared=True)
    after = swapping.swap_through(swapping.swap_through(layout, node), node)
    for id in (post, rail):
        runs = (after.tubes[id].nodes, after.tubes[id].nodes[::-1])
        assert layout.tubes[id].nodes in runs


def test_what_sat_on_the_part_that_changed_hands_stays_on_it() -> None:
    layout, _, rail, node = tee(shared=True)
    post = next(iter(layout.tubes))
    layout, stay = edits.add_tube(layout, [(0.0, 700.0, 800.0), Landing(post, 800.0)], STOCK)
    seat = layout.tubes[stay].nodes[1]
    after = swapping.swap_through(layout, node)
    assert after.nodes[seat].landing.tube == rail
    assert after.nodes[seat].position == pytest.approx((0.0, 0.0, 800.0))


def test_both_sides_of_the_sample_are_swapped() -> None:
    layout, swapped = sample.build(), 0
    for id, node in layout.nodes.items():
        if node.landing is None or node.twin in (None, id):
            continue
        try:
            after = keeping.kept(layout, swapping.swap_through(layout, id))
        except GeometryError:
            continue
        swapped += 1
        assert next(consistency.broken_promises(after), None) is None
        assert after.tubes.keys() == layout.tubes.keys()
    assert swapped > 4


def test_what_is_no_such_joint_is_refused() -> None:
    layout, post, rail, node = tee(shared=True)
    with pytest.raises(GeometryError, match="Select the end of a tube"):
        swapping.swap_through(layout, layout.tubes[post].nodes[0])
    with pytest.raises(GeometryError, match="not of one stock"):
        swapping.swap_through(edits.set_stock(layout, [rail], OTHER), node)
    with pytest.raises(GeometryError, match="no longer"):
        swapping.swap_through(layout, 9999)
