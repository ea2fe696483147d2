import math

import numpy as np
import pytest
from msgspec.structs import replace

from geometry import edits
from geometry.layout import Axle, Body, Layout, Mesh, Panel, Tyre
from geometry.measuring import sizes
from geometry.tube import centreline
from geometry.tube.stock import starting_rack

STOCKS, DIES, NEXT_ID = starting_rack(1)
INCH = next(id for id, row in STOCKS.items() if row.name == "1.75 × 0.120 in")
R = STOCKS[INCH].od / 2.0
EMPTY = Layout(stocks=STOCKS, dies=DIES, next_id=NEXT_ID)
TYRE = Tyre(800.0, 250.0, 30.0)


def plate(low, high) -> Mesh:
    (x0, y0, z0), (x1, y1, z1) = low, high
    return Mesh(
        np.array([(x0, y0, z0), (x1, y0, z0), (x1, y1, z1), (x0, y1, z1)], dtype=float),
        np.array([[0, 1, 2], [0, 2, 3]], np.int32),
    )


def with_panel(layout: Layout, mesh: Mesh, **changes) -> Layout:
    id = layout.next_id
    panel = replace(Panel(id, "Side", 500, mesh), **changes)
    return replace(
        layout, next_id=id + 1, bodies={500: Body(500, "Car")}, panels={**layout.panels, id: panel}
    )


def with_axles(layout: Layout) -> Layout:
    front = Axle(900, "Front", 0.0, 400.0, 1500.0, TYRE, 80.0, 80.0)
    return replace(layout, axles={900: front, 901: replace(front, id=901, name="Rear", x=-2400.0)})


def test_nothing_has_no_size() -> None:
    assert sizes.of(EMPTY) == sizes.Sizes(None, None, None, None)


def test_a_straight_tube_is_as_long_as_its_ends_and_as_thick_as_its_stock() -> None:
    layout, _ = edits.add_tube(EMPTY, [(0.0, 100.0, 500.0), (-1000.0, 100.0, 500.0)], INCH)
    cage = sizes.of(layout).cage
    assert (cage.length, cage.width, cage.height) == pytest.approx((1000.0, 2 * R, 2 * R))
    assert (cage.low, cage.high) == pytest.approx((500.0 - R, 500.0 + R))


def test_a_slanted_tube_reaches_as_far_as_its_square_sawn_ends() -> None:
    layout, _ = edits.add_tube(EMPTY, [(0.0, 0.0, 0.0), (300.0, 0.0, 400.0)], INCH)
    cage = sizes.of(layout).cage
    assert cage.length == pytest.approx(300.0 + 2.0 * R * 0.8)
    assert cage.height == pytest.approx(400.0 + 2.0 * R * 0.6)


def test_a_bend_reaches_no_farther_than_its_outside() -> None:
    run = [(0.0, 0.0, 0.0), (700.0, 0.0, 1000.0), (1400.0, 0.0, 0.0)]
    layout, id = edits.add_tube(EMPTY, run, INCH)
    line = centreline.of(layout, layout.tubes[id])
    points = centreline.sample(line, 1e-5)[0]
    assert sizes.of(layout).cage.high == pytest.approx(points[:, 2].max() + R, abs=1e-3)
    assert sizes.of(layout).cage.high < 1000.0


def test_turning_a_bent_tube_finds_the_same_extent_as_many_points_of_its_surface() -> None:
    rng = np.random.default_rng(3)
    for _ in range(10):
        run = [tuple(p) for p in np.cumsum(rng.uniform(-1.0, 1.0, (4, 3)) * 900.0 + 400.0, axis=0).tolist()]
        layout, id = edits.add_tube(EMPTY, run, INCH)
        line = centreline.of(layout, layout.tubes[id])
        middles, along, _ = centreline.sample(line, 1e-4)
        cage = sizes.of(layout).cage
        for number, extent in ((0, cage.length), (1, cage.width), (2, cage.height)):
            reach = R * np.sqrt(1.0 - along[:, number] ** 2)
            span = (middles[:, number] + reach).max() - (middles[:, number] - reach).min()
            assert extent == pytest.approx(span, abs=0.01)


def test_only_kept_panels_count_and_where_their_body_stands() -> None:
    layout = with_panel(EMPTY, plate((0.0, -800.0, 300.0), (-3000.0, 800.0, 1700.0)))
    layout = with_panel(layout, plate((0.0, -9000.0, 0.0), (1.0, 9000.0, 9.0)), kept=False)
    body = sizes.of(layout).body
    assert (body.length, body.width, body.height) == pytest.approx((3000.0, 1600.0, 1400.0))
    assert (body.low, body.high) == pytest.approx((300.0, 1700.0))
    assert sizes.of(layout).cage is None
    assert sizes.of(layout).both == body


def test_both_together_are_the_box_round_both() -> None:
    layout = with_panel(EMPTY, plate((0.0, -800.0, 300.0), (-3000.0, 800.0, 1700.0)))
    layout, _ = edits.add_tube(layout, [(-500.0, 850.0, 400.0), (-500.0, 850.0, 1900.0)], INCH)
    both = sizes.of(layout).both
    assert both.width == pytest.approx(800.0 + 850.0 + R)
    assert both.high == pytest.approx(1900.0)
    assert both.length == pytest.approx(3000.0)


def test_the_whole_counts_the_tyres() -> None:
    layout = with_axles(with_panel(EMPTY, plate((300.0, -600.0, 300.0), (-2700.0, 600.0, 1700.0))))
    whole = sizes.of(layout).whole
    assert whole.width == pytest.approx(1750.0)
    assert whole.length == pytest.approx(3200.0)
    assert whole.low == pytest.approx(0.0)
    assert whole.high == pytest.approx(1700.0)


def test_heights_are_square_to_the_ground_that_the_tyres_stand_on() -> None:
    layout = with_axles(with_panel(EMPTY, plate((0.0, -600.0, 300.0), (0.0, 600.0, 1700.0))))
    raised = replace(layout, axles={**layout.axles, 900: replace(layout.axles[900], height=300.0)})
    rise = -100.0 / 2400.0
    body = sizes.of(raised).body
    up = np.array((-rise, 0.0, 1.0)) / math.hypot(1.0, rise)
    ground = np.array((0.0, 0.0, -100.0))
    assert body.high == pytest.approx(float(np.dot((0.0, 0.0, 1700.0) - ground, up)))
