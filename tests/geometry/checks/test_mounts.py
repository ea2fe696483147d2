"""What a body moving on its mounts takes off a clearance, against a fine brute force over all shifts."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from geometry import fixing
from geometry.body.distance import PanelIndex
from geometry.checks import clearance, mounts, search
from geometry.checks.search import Closest
from geometry.layout import Body, Layout, Limits, Mesh, Node, Panel, Stock, Tube, Weld
from geometry.tube import centreline
from geometry.tube.centreline import Centreline
from geometry.vectors import Floats, Vec3

STEP = 1.0  # mm, of the brute force over tube and metal; wrong by less than that
FAR = np.array([1e4])
seeds = st.integers(0, 2**32 - 1)


def brute(line: Centreline, vertices: Floats, box: Floats) -> float:
    """Return the least of |d - clamp(d, box)| over places of the line and of triangles (n, 3, 3)."""
    places, _, _ = centreline.sample(line, 0.01, longest=STEP)
    metal = []
    for a, b, c in vertices:
        longest = max(np.linalg.norm(b - a), np.linalg.norm(c - a), np.linalg.norm(c - b))
        u, v = np.meshgrid(*[np.linspace(0.0, 1.0, math.ceil(longest / STEP) + 2)] * 2)
        inside = u + v <= 1.0
        metal.append(a + u[inside][:, None] * (b - a) + v[inside][:, None] * (c - a))
    points = np.concatenate(metal)
    best = math.inf
    for place in places:
        away = points - place
        best = min(best, float(np.linalg.norm(away - np.clip(away, -box, box), axis=1).min()))
    return best


def moved(line: Centreline, panel: PanelIndex, box: Floats) -> tuple[Closest, mounts.Least]:
    (row,) = search.closest([line], [panel], FAR, FAR)
    limits = Limits(mount_x=box[0], mount_y=box[1], mount_z=box[2])
    (least,) = mounts.least([line], [panel], [row], limits)
    return row, least


@settings(max_examples=40, deadline=None)
@given(seeds)
def test_it_never_says_more_than_a_millimetre_too_much_room(seed: int) -> None:
    random = np.random.default_rng(seed)
    points = [tuple(point) for point in random.uniform(-120.0, 120.0, (3, 3)).tolist()]
    if random.random() < 0.3:  # along the axes of the car, as most tubes are
        points = [(-100.0, 0.0, 0.0), (60.0, 0.0, 0.0), (60.0, 90.0, 0.0)]
    line = centreline.build(points, 40.0)
    count = int(random.integers(1, 4))
    spread = random.choice([2.0, 40.0, 90.0])
    vertices = random.uniform(-120.0, 120.0, (count, 1, 3)) + random.uniform(-spread, spread, (count, 3, 3))
    panel = PanelIndex(vertices.reshape(-1, 3), np.arange(3 * count).reshape(-1, 3))
    box = random.choice([0.0, 5.0, 15.0, 40.0], 3)
    row, least = moved(line, panel, box)
    truth = brute(line, vertices, box)
    assert truth - STEP <= least.gap <= truth + 1.0
    assert row.gap - np.linalg.norm(box) - 1e-6 <= least.gap <= row.gap + 1e-9


SHEET = np.array([[-3000.0, -3000.0, 0.0], [3000.0, -3000.0, 0.0], [0.0, 6000.0, 0.0]])


@pytest.mark.parametrize("along", [(1.0, 0.0, 0.0), (0.6, 0.8, 0.0), (0.0, 0.6, 0.8)])
def test_a_flat_sheet_takes_the_movement_square_to_it(along: Vec3) -> None:
    start = np.array([0.0, 0.0, 90.0])
    line = centreline.build([tuple(start), tuple(start + 400.0 * np.array(along))], 100.0)
    row, least = moved(line, PanelIndex(SHEET, np.array([[0, 1, 2]])), np.array([11.0, 12.0, 13.0]))
    assert row.gap == pytest.approx(90.0, abs=0.05)
    assert least.gap == pytest.approx(77.0, abs=0.05)


def test_the_closest_place_need_not_be_the_worst() -> None:
    """Metal beside the tube is nearer, but the body moves up and down only."""
    beside = np.array([[100.0, 40.0, 0.0], [101.0, 40.0, 0.0], [100.0, 41.0, 0.0]])
    above = np.array([[700.0, 0.0, 45.0], [701.0, 0.0, 45.0], [700.0, 0.0, 46.0]])
    panel = PanelIndex(np.concatenate([beside, above]), np.array([[0, 1, 2], [3, 4, 5]]))
    line = centreline.build([(0.0, 0.0, 0.0), (1000.0, 0.0, 0.0)], 100.0)
    row, least = moved(line, panel, np.array([0.0, 0.0, 20.0]))
    assert (row.gap, row.station) == pytest.approx((40.0, 100.0), abs=0.1)
    assert (least.gap, least.station) == pytest.approx((25.0, 700.0), abs=0.1)


def test_an_end_that_points_at_metal_loses_the_movement_along_it() -> None:
    wall = np.array([[160.0, -900.0, -900.0], [160.0, 900.0, -900.0], [160.0, 0.0, 900.0]])
    line = centreline.build([(0.0, 0.0, 0.0), (100.0, 0.0, 0.0)], 100.0)
    _, least = moved(line, PanelIndex(wall, np.array([[0, 1, 2]])), np.array([15.0, 2.0, 2.0]))
    assert least.gap == pytest.approx(45.0, abs=0.05)


def test_a_body_that_cannot_move_takes_nothing() -> None:
    line = centreline.build([(0.0, 0.0, 90.0), (400.0, 0.0, 90.0)], 100.0)
    row, least = moved(line, PanelIndex(SHEET, np.array([[0, 1, 2]])), np.zeros(3))
    assert least.gap == row.gap


def over_a_sheet(gap: float, **limits: float) -> Layout:
    height = 22.5 + gap
    return Layout(
        nodes={1: Node(1, (-250.0, 0.0, height)), 2: Node(2, (250.0, 0.0, height))},
        tubes={3: Tube(3, "T1", (1, 2), 4)},
        stocks={4: Stock(4, "45 x 2.5", 45.0, 2.5)},
        bodies={5: Body(5, "body")},
        panels={6: Panel(6, "sheet", 5, Mesh(SHEET, np.array([[0, 1, 2]], np.int32)))},
        limits=Limits(**limits),
    )


def said(layout: Layout) -> list[str]:
    index = {6: PanelIndex(SHEET, np.array([[0, 1, 2]]))}
    found = clearance.measured(layout, index, [3])
    return [finding.rule for finding in clearance.findings(layout, index, found, [3])]


@pytest.mark.parametrize(
    ("gap", "tied", "expected"),
    [
        (23.1, "neither", []),
        (23.1, "body", []),
        (23.1, "frame", ["clearance.too_close"]),
        (37.9, "frame", ["clearance.too_close"]),
        (38.1, "frame", []),
    ],
)
def test_what_is_tied_to_the_frame_needs_room_for_the_body_to_move(
    gap: float, tied: str, expected: list[str]
) -> None:
    assert said(fixing.set_tied(over_a_sheet(gap), [3], tied)) == expected


def test_room_beyond_the_farthest_wanted_is_looked_at_where_movement_may_eat_it() -> None:
    layout = over_a_sheet(60.0, mount_z=50.0)
    assert said(layout) == []
    assert said(fixing.set_tied(layout, [3], "frame")) == ["clearance.too_close"]


def test_the_finding_says_raw_and_all_that_is_taken_off() -> None:
    layout = fixing.set_tied(over_a_sheet(30.0), [3], "frame")
    index = {6: PanelIndex(SHEET, np.array([[0, 1, 2]]))}
    found = clearance.measured(layout, index, [3])
    (finding,) = clearance.findings(layout, index, found, [3])
    assert finding.value == pytest.approx(7.0, abs=0.06)
    numbers = {name: amount.number for name, amount in finding.amounts.items()}
    assert numbers["raw"] == pytest.approx(30.0, abs=0.05)
    assert numbers["error"] == 8.0
    assert numbers["movement"] == pytest.approx(15.0, abs=0.05)
    for slot in ("{raw}", "{error}", "{movement}", "{value}", "{limit}", "{difference}"):
        assert slot in finding.message


def test_movement_counts_outside_of_what_is_welded_only() -> None:
    layout = fixing.set_tied(over_a_sheet(30.0), [3], "frame")
    rising = replace(layout, nodes={**layout.nodes, 2: Node(2, (250.0, 0.0, 152.5))})
    index = {6: PanelIndex(SHEET, np.array([[0, 1, 2]]))}
    marked = fixing.add_weld(rising, 3, Weld(6, 0.0, 200.0))
    (row,) = clearance.measured(marked, index, [3]).nearest.values()
    assert row.station == pytest.approx(200.0, abs=1.0)
    assert row.worst is None
    assert row.movement == pytest.approx(15.0, abs=1.0)


def test_where_movement_takes_all_the_room_nothing_is_said_to_be_left() -> None:
    layout = fixing.set_tied(over_a_sheet(20.0), [3], "frame")
    index = {6: PanelIndex(SHEET, np.array([[0, 1, 2]]))}
    (finding,) = clearance.findings(layout, index, clearance.measured(layout, index, [3]), [3])
    assert "nothing of the {limit} asked for is left" in finding.message
    assert finding.value == pytest.approx(-3.0, abs=0.1)


def test_panels_that_only_move_too_close_are_one_finding_a_tube() -> None:
    layout = fixing.set_tied(over_a_sheet(30.0), [3], "frame")
    sheet, one_triangle = layout.panels[6], np.array([[0, 1, 2]])
    lower = SHEET - np.array([0.0, 0.0, 2.0])
    farther = Panel(7, "lower sheet", sheet.body, Mesh(lower, sheet.mesh.triangles))
    both = replace(layout, panels={6: sheet, 7: farther})
    index = {6: PanelIndex(SHEET, one_triangle), 7: PanelIndex(lower, one_triangle)}
    found = clearance.measured(both, index, [3])
    (finding,) = clearance.findings(both, index, found, [3])
    assert finding.panels == (6,)
    assert finding.message.endswith("It is so to 1 more panel.")
    # What is too close even while the body stands still is said of each panel.
    near = {6: PanelIndex(SHEET + np.array([0.0, 0.0, 15.0]), one_triangle), 7: index[7]}
    rows = clearance.measured(both, near, [3])
    assert [one.panels for one in clearance.findings(both, near, rows, [3])] == [(6,), (7,)]
