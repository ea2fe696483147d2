"""Where a tube is to be welded to a panel: contact is no finding, a gap or a deep cut is."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from geometry import fixing
from geometry.body import distance
from geometry.body.distance import PanelIndex
from geometry.checks import findings, welding
from geometry.checks.finding import Finding
from geometry.layout import Body, Layout, Mesh, Node, Panel, Stock, Tube, Weld
from geometry.tube import centreline
from geometry.vectors import Vec3

TUBE, SHEET, RADIUS = 3, 6, 22.5
FLAT = Mesh(
    np.array([[-3000.0, -3000.0, 0.0], [3000.0, -3000.0, 0.0], [0.0, 6000.0, 0.0]]),
    np.array([[0, 1, 2]], np.int32),
)


def job(points: list[Vec3], mesh: Mesh = FLAT, *marks: Weld) -> Layout:
    nodes = {10 + i: Node(10 + i, point) for i, point in enumerate(points)}
    layout = Layout(
        nodes=nodes,
        tubes={TUBE: Tube(TUBE, "T1", tuple(nodes), 4)},
        stocks={4: Stock(4, "45 x 2.5", 45.0, 2.5)},
        bodies={5: Body(5, "body")},
        panels={SHEET: Panel(SHEET, "sheet", 5, mesh)},
    )
    for mark in marks:
        layout = fixing.add_weld(layout, TUBE, mark)
    return layout


def said(layout: Layout) -> dict[str, Finding]:
    report = findings.check(layout, distance.build(layout))
    return {found.rule: found for found in report.findings if not found.rule.startswith("bend.")}


def lying(up: float, *marks: Weld) -> Layout:
    """A tube of 500 mm along a sheet, its lowest line so far above it."""
    return job([(-250.0, 0.0, RADIUS + up), (250.0, 0.0, RADIUS + up)], FLAT, *marks)


def test_contact_is_a_finding_but_where_it_is_meant() -> None:
    assert set(said(lying(0.5))) == {"clearance.too_close"}
    assert set(said(lying(-2.0))) == {"clearance.crossing"}
    assert said(lying(0.5, Weld(SHEET))) == {}
    assert said(lying(-2.0, Weld(SHEET))) == {}


@pytest.mark.parametrize(("up", "expected"), [(0.85, set()), (1.05, {"weld.gap"}), (9.0, {"weld.gap"})])
def test_a_gap_wider_than_can_be_welded_is_a_warning(up: float, expected: set[str]) -> None:
    assert set(said(lying(up, Weld(SHEET)))) == expected


@pytest.mark.parametrize(("up", "expected"), [(-7.85, set()), (-8.15, {"weld.deep"})])
def test_deeper_in_the_sheet_than_scan_and_build_explain_is_a_warning(up: float, expected: set[str]) -> None:
    assert set(said(lying(up, Weld(SHEET)))) == expected


def test_outside_the_span_the_tube_is_judged_as_usual() -> None:
    found = said(lying(0.5, Weld(SHEET, 0.0, 200.0)))
    assert set(found) == {"clearance.too_close"}
    assert found["clearance.too_close"].amounts["station"].number >= 200.0
    assert "mark it as welded" in found["clearance.too_close"].message
    assert said(lying(0.5, Weld(SHEET, 0.0, 200.0), Weld(SHEET, 150.0, None))) == {}


def test_another_panel_is_judged_as_usual_in_the_span() -> None:
    layout = lying(0.5, Weld(SHEET))
    roof = Mesh(FLAT.vertices + np.array([0.0, 0.0, 60.0]), FLAT.triangles)
    both = replace(layout, panels={**layout.panels, 7: Panel(7, "roof", 5, roof)})
    (found,) = said(both).values()
    assert (found.rule, found.panels) == ("clearance.too_close", (7,))


def test_a_mark_on_a_panel_that_is_left_out_says_nothing() -> None:
    layout = lying(9.0, Weld(SHEET))
    left_out = replace(layout, panels={SHEET: replace(layout.panels[SHEET], kept=False)})
    assert "weld.gap" not in said(left_out)


def test_the_widest_gap_is_said_with_its_place() -> None:
    rising = job([(-250.0, 0.0, RADIUS), (250.0, 0.0, RADIUS + 5.0)], FLAT, Weld(SHEET, 0.0, 400.0))
    found = said(rising)["weld.gap"]
    assert found.value == pytest.approx(4.0, abs=0.11)
    assert found.amounts["station"].number == pytest.approx(400.0, abs=10.0)


def test_a_tube_that_ends_on_the_sheet_is_welded_at_its_end() -> None:
    """A foot: the gap is that at the end, not that of the tube above it."""
    for up, expected in ((0.0, set()), (0.9, set()), (1.1, {"weld.gap"})):
        foot = job([(0.0, 0.0, 500.0), (0.0, 0.0, up)], FLAT, Weld(SHEET, 440.0, None))
        assert set(said(foot)) == expected
    for down, expected in ((-7.8, set()), (-8.2, {"weld.deep"})):
        through = job([(0.0, 0.0, 500.0), (0.0, 0.0, down)], FLAT, Weld(SHEET, 440.0, None))
        assert set(said(through)) == expected


def test_a_foot_reversed_is_the_same() -> None:
    foot = job([(0.0, 0.0, 1.1), (0.0, 0.0, 500.0)], FLAT, Weld(SHEET, 0.0, 60.0))
    assert set(said(foot)) == {"weld.gap"}


seeds = st.integers(0, 2**32 - 1)


@settings(max_examples=60, deadline=None)
@given(seeds)
def test_gap_and_depth_are_those_of_a_fine_walk(seed: int) -> None:
    random = np.random.default_rng(seed)
    points = [tuple(point) for point in random.uniform(-150.0, 150.0, (3, 3)).tolist()]
    line = centreline.build(points, 40.0)
    vertices = random.uniform(-150.0, 150.0, (9, 3))
    panel = PanelIndex(vertices, np.arange(9).reshape(-1, 3))
    low, high = sorted(random.uniform(0.0, line.length, 2).tolist())
    high = max(high, low + 1.0)
    walked = np.linspace(low, high, 4000)
    gaps, _, near = panel.closest(centreline.point_at(line, walked))
    found = welding.gap(line, RADIUS, (low, high), panel)
    ends_on = welding._end_on(line, RADIUS, (low, high), panel)
    if not ends_on:
        assert gaps.max() - RADIUS - 0.1 <= found.value <= gaps.max() - RADIUS + 0.3
        at, _, _ = panel.closest(centreline.point_at(line, [found.station]))
        assert found.value == pytest.approx(at[0] - RADIUS, abs=1e-9)
    deepest = 0.0
    for point in near[gaps < RADIUS]:
        station, place = centreline.nearest(line, tuple(point.tolist()))
        if low <= station <= high:
            out = math.dist(place, point)
            deepest = max(deepest, min(RADIUS - out, station, line.length - station))
    assert welding.depth(line, RADIUS, (low, high), panel).value >= deepest - 0.1
