"""How far tubes are from being mirror images, against hand-worked cases."""

import pytest
from msgspec.structs import replace

from geometry import asymmetry, edits, symmetry
from geometry.asymmetry import Standing
from geometry.layout import Layout
from geometry.tube.stock import starting_rack
from geometry.vectors import image

STOCKS, DIES, NEXT_ID = starting_rack(1)
EMPTY = Layout(stocks=STOCKS, dies=DIES, next_id=NEXT_ID)
STOCK = next(iter(STOCKS))
RUN = ((0.0, 700.0, 500.0), (0.0, 700.0, 1200.0), (-900.0, 650.0, 1250.0))


def test_twins_are_in_step() -> None:
    layout, tube = edits.add_tube(EMPTY, RUN, STOCK)
    layout, (twin,) = symmetry.paired(layout, [tube])
    assert {id: one.kind for id, one in asymmetry.standing(layout).items()} == {tube: "twin", twin: "twin"}


@pytest.mark.parametrize("shift", [(4.0, 0.0, 0.0), (0.0, -3.0, 0.0), (0.0, 0.0, 6.0)])
def test_a_copy_that_was_moved_is_off_by_that_much(shift: tuple[float, float, float]) -> None:
    layout, tube = edits.add_tube(EMPTY, RUN, STOCK)
    layout, (twin,) = symmetry.paired(layout, [tube])
    layout = edits.move_nodes(symmetry.released(layout, [tube]), [twin], shift)
    found = asymmetry.standing(layout)
    length = max(map(abs, shift))
    assert found[tube].other == twin
    assert found[twin].other == tube
    # Along a leg a shift is seen only at the end that sticks out.
    assert found[tube].off == pytest.approx(length, abs=0.05 * length)
    assert found[tube].kind == "near"


def test_a_tube_that_runs_the_other_way_is_an_image_all_the_same() -> None:
    layout, tube = edits.add_tube(EMPTY, RUN, STOCK)
    layout, other = edits.add_tube(layout, [image(point) for point in RUN[::-1]], STOCK)
    assert asymmetry.standing(layout)[tube] == Standing("near", other, pytest.approx(0.0, abs=1e-6))


def test_what_has_nothing_across_stands_alone_and_a_crooked_hoop_is_off_itself() -> None:
    layout, tube = edits.add_tube(EMPTY, RUN, STOCK)
    layout, hoop = edits.add_tube(layout, [(0.0, 700.0, 0.0), (0.0, -692.0, 0.0)], STOCK)
    found = asymmetry.standing(layout)
    assert found[tube] == Standing("alone")
    assert found[hoop] == Standing("near", hoop, pytest.approx(8.0))


def test_nothing_is_said_of_nothing() -> None:
    assert asymmetry.standing(replace(EMPTY, both_sides=True)) == {}
