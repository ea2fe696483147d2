import pytest

from geometry import edits
from geometry.errors import GeometryError
from geometry.layout import Landing, Layout
from geometry.tube import bending, centreline
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
    layout, (twin,) = edits.mirror(layout, [tube])
    clr = bending.clr_of(layout, layout.tubes[tube])
    expected = bending.mirrored_data(bending.bend_data(line_of(layout, tube).points, clr))
    found = bending.bend_data(line_of(layout, twin).points, clr)
    for a, b in zip(found.rows, expected.rows, strict=True):
        assert (a.straight_before, a.rotation, a.angle) == pytest.approx(
            (b.straight_before, b.rotation, b.angle)
        )


def test_mirrored_tubes_share_the_nodes_on_the_centre_plane() -> None:
    layout, tube = edits.add_tube(EMPTY, [(0, 500, 0), (0, 500, 800), (0, 0, 800)], INCH)
    layout, (twin,) = edits.mirror(layout, [tube])
    assert layout.tubes[twin].nodes[2] == layout.tubes[tube].nodes[2]
    assert len(layout.nodes) == 5


def test_mirrored_landings_sit_on_the_mirrored_tube() -> None:
    layout, host, branch = elbow_with_branch()
    layout, (host_twin, branch_twin) = edits.mirror(layout, [host, branch])
    assert seat(layout, branch_twin).landing == Landing(host_twin, 600.0)
    x, y, z = seat(layout, branch).position
    assert seat(layout, branch_twin).position == pytest.approx((x, -y, z))


def test_a_landing_finds_the_twin_that_was_made_before() -> None:
    layout, host, branch = elbow_with_branch()
    layout, (host_twin,) = edits.mirror(layout, [host])
    layout, (branch_twin,) = edits.mirror(layout, [branch])
    assert seat(layout, branch_twin).landing == Landing(host_twin, pytest.approx(600.0))


def test_a_landing_on_a_tube_across_the_car_is_mirrored_on_that_tube() -> None:
    layout, across = edits.add_tube(EMPTY, [(0, -600, 900), (0, 600, 900)], INCH)
    layout, tube = edits.add_tube(layout, [Landing(across, 1000.0), (-800, 400, 900)], INCH)
    layout, (twin,) = edits.mirror(layout, [tube])
    assert seat(layout, twin).landing == Landing(across, pytest.approx(200.0))


def test_a_mirrored_end_with_no_tube_to_sit_on_is_free() -> None:
    layout, _, branch = elbow_with_branch()
    layout, (twin,) = edits.mirror(layout, [branch])
    assert seat(layout, twin).landing is None


def test_mirroring_joins_nodes_that_stand_there_already() -> None:
    layout, across = edits.add_tube(EMPTY, [(0, -600, 900), (0, 600, 900)], INCH)
    right, left = layout.tubes[across].nodes
    layout, tube = edits.add_tube(layout, [left, (-800.0, 600.0, 900.0)], INCH)
    layout, (twin,) = edits.mirror(layout, [tube])
    assert layout.tubes[twin].nodes[0] == right


def test_a_tube_that_is_its_own_image_or_has_one_is_not_mirrored() -> None:
    layout, across = edits.add_tube(EMPTY, [(0, -600, 900), (-100, 0, 900), (0, 600, 900)], INCH)
    with pytest.raises(GeometryError, match="Nothing to mirror"):
        edits.mirror(layout, [across])
    layout, tube = elbow_on(layout)
    layout, twins = edits.mirror(layout, [across, tube])
    assert len(twins) == 1
    with pytest.raises(GeometryError, match="Nothing to mirror"):
        edits.mirror(layout, [tube])


def test_left_tubes_are_mirrored_to_right_ones() -> None:
    layout, tube = elbow()
    layout = edits.rename(layout, tube, "Left sill")
    layout, (twin,) = edits.mirror(layout, [tube])
    assert layout.tubes[twin].name == "Right sill"


def test_a_tube_across_the_car_is_its_own_image_though_other_nodes_stand_at_its_ends() -> None:
    layout, host = elbow()
    layout, (twin,) = edits.mirror(layout, [host])
    for tube in (host, twin):  # a brace lands where the header will, on a node of its own
        foot = (-800.0, 0.0, 400.0)
        layout, _ = edits.add_tube(layout, [Landing(tube, 600.0), foot], INCH)
    layout, header = edits.add_tube(layout, [Landing(host, 600.0), Landing(twin, 600.0)], INCH)
    with pytest.raises(GeometryError, match="its own mirror image"):
        edits.mirror(layout, [header])
