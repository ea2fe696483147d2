"""Tubes that leave the body for longer than wanted: by runs of their profile."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from geometry import fixing, mends
from geometry.checks import findings, standing_off
from geometry.checks.finding import Finding
from geometry.checks.profile import Profile
from geometry.layout import Body, Layout, Mesh, Node, Panel, Stock, Tube
from geometry.vectors import Vec3

TUBE, SHEET = 3, 6
FLAT = Mesh(
    np.array([[-3000.0, -3000.0, 0.0], [3000.0, -3000.0, 0.0], [0.0, 6000.0, 0.0]]),
    np.array([[0, 1, 2]], np.int32),
)


def job(*points: Vec3) -> Layout:
    """A tube with its surface at these places above a sheet."""
    nodes = {10 + i: Node(10 + i, (x, y, z + 22.5)) for i, (x, y, z) in enumerate(points)}
    return Layout(
        nodes=nodes,
        tubes={TUBE: Tube(TUBE, "T1", tuple(nodes), 4)},
        stocks={4: Stock(4, "45 x 2.5", 45.0, 2.5)},
        bodies={5: Body(5, "body")},
        panels={SHEET: Panel(SHEET, "sheet", 5, FLAT)},
    )


def level(length: float, gap: float) -> Layout:
    return job((-length / 2.0, 0.0, gap), (length / 2.0, 0.0, gap))


def said(layout: Layout, stations: list[float], clearances: list[float]) -> Finding | None:
    profile = Profile(np.array(stations), np.array(clearances), np.full(len(stations), SHEET))
    found = standing_off.findings(layout, {TUBE: profile}, [TUBE])
    return found[0] if found else None


@pytest.mark.parametrize(("run", "is_said"), [(299.0, False), (301.0, True)])
def test_a_run_longer_than_allowed_is_a_note_with_its_ends(run: float, is_said: bool) -> None:
    rises, falls = 100.0, 115.0 + run
    stations = [0.0, rises - 10.0, rises + 10.0, falls - 30.0, falls - 10.0, 1000.0]
    clearances = [30.0, 30.0, 50.0, 70.0, 30.0, 30.0]
    found = said(level(1000.0, 30.0), stations, clearances)
    assert (found is not None) == is_said
    if found is not None:
        assert (found.rule, found.severity, found.value, found.limit) == (
            "clearance.too_far",
            "note",
            70.0,
            40.0,
        )
        assert found.amounts["start"].number == pytest.approx(100.0)
        assert found.amounts["end"].number == pytest.approx(100.0 + run)


def test_the_longest_of_several_runs_is_said() -> None:
    stations = [0.0, 400.0, 401.0, 500.0, 501.0, 1200.0]
    clearances = [90.0, 90.0, 30.0, 30.0, 60.0, 60.0]
    found = said(level(1200.0, 30.0), stations, clearances)
    assert found is not None
    assert found.value == 60.0
    assert found.amounts["end"].number == 1200.0
    assert found.at == pytest.approx((-600.0 + 501.0, 0.0, 52.5))


@pytest.mark.parametrize(
    ("gap", "expected"), [(39.9, []), (40.1, ["clearance.too_far"]), (400.0, ["clearance.too_far"])]
)
def test_a_tube_that_is_far_off_all_along_says_so(gap: float, expected: list[str]) -> None:
    report = findings.check_layout(level(800.0, gap))
    assert [found.rule for found in report.findings] == expected
    if gap == 40.1:
        assert "all along" in report.findings[0].message
    if gap == 400.0:
        assert "every panel" in report.findings[0].message


def test_a_short_tube_and_one_that_need_not_follow_say_nothing() -> None:
    assert findings.check_layout(level(299.0, 90.0)).findings == ()
    assert findings.check_layout(fixing.set_hugs(level(800.0, 90.0), [TUBE], False)).findings == ()


def test_what_is_said_of_following_is_mended_by_saying_that_it_need_not() -> None:
    layout = level(800.0, 90.0)
    (found,) = findings.check_layout(layout).findings
    assert found.mend is not None
    assert findings.check_layout(mends.mended(layout, found.mend)).findings == ()


def test_an_own_farthest_of_the_tube_counts() -> None:
    own = fixing.set_standoff(level(800.0, 90.0), [TUBE], farthest=91.0)
    assert findings.check_layout(own).findings == ()
    assert [
        one.limit for one in findings.check_layout(fixing.set_standoff(own, [TUBE], farthest=89.0)).findings
    ] == [89.0]


def test_the_farthest_of_the_nearest_panel_counts_where_it_is_nearest() -> None:
    layout = job((-900.0, 0.0, 90.0), (900.0, 0.0, 90.0))
    halves = {}
    for id, (low, high) in {6: (-3000.0, 0.0), 7: (0.0, 3000.0)}.items():
        corners = np.array([(x, y, 0.0) for x in (low, high) for y in (-900.0, 900.0)])
        halves[id] = Panel(id, f"half {id}", 5, Mesh(corners, np.array([[0, 1, 2], [1, 2, 3]], np.int32)))
    layout = fixing.set_standoff(replace(layout, panels=halves), [6], farthest=120.0)
    (found,) = findings.check_layout(layout).findings
    assert (found.amounts["start"].number, found.amounts["end"].number) == pytest.approx(
        (900.0, 1800.0), abs=16.0
    )
    assert found.limit == 40.0
    assert findings.check_layout(fixing.set_standoff(layout, [7], farthest=120.0)).findings == ()


def test_without_a_body_nothing_is_far_from_it() -> None:
    layout = level(800.0, 90.0)
    left_out = replace(layout, panels={SHEET: replace(layout.panels[SHEET], kept=False)})
    assert [found.rule for found in findings.check_layout(left_out).findings] == ["body.no_panels"]


heights = st.lists(st.floats(0.0, 100.0), min_size=2, max_size=30)


@given(heights)
def test_a_run_is_as_long_as_a_fine_walk_finds_it(clearances: list[float]) -> None:
    stations = np.linspace(0.0, 10.0 * (len(clearances) - 1), len(clearances))
    run = standing_off.longest_run(stations, np.array(clearances), np.full(len(clearances), 40.0))
    fine = np.linspace(0.0, stations[-1], 20 * len(clearances) + 1)
    over = np.interp(fine, stations, clearances) > 40.0
    best = length = 0
    for is_over in over:
        length = length + 1 if is_over else 0
        best = max(best, length)
    walked = max(best - 1, 0) * (fine[1] - fine[0])
    assert (0.0 if run is None else run.length) >= walked - 1e-6


def test_backwards_a_tube_is_as_far() -> None:
    clearances = np.array([30.0, 55.0, 80.0, 41.0, 20.0])
    wanted = np.full(5, 40.0)
    stations = np.array([0.0, 100.0, 350.0, 500.0, 600.0])
    there = standing_off.longest_run(stations, clearances, wanted)
    back = standing_off.longest_run(600.0 - stations[::-1], clearances[::-1], wanted)
    assert there is not None
    assert back is not None
    assert (back.start, back.end) == pytest.approx((600.0 - there.end, 600.0 - there.start))
    assert back.largest == there.largest
