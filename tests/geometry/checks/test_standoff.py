"""Which stand-off counts where layout, panel and tube each say one."""

import numpy as np
import pytest
from msgspec.structs import replace

from geometry import fixing
from geometry.body import distance
from geometry.checks import clearance, findings, standoff
from geometry.checks.findings import Report
from geometry.checks.profile import NOWHERE, Profile
from geometry.checks.standoff import StandOff
from geometry.errors import GeometryError
from geometry.layout import Body, Layout, Mesh, Node, Panel, Stock, Tube, Weld

TUBE, SHEET, WALL = 3, 6, 7


def flat(z: float) -> Mesh:
    corners = np.array([[-3000.0, -3000.0, z], [3000.0, -3000.0, z], [0.0, 6000.0, z]])
    return Mesh(corners, np.array([[0, 1, 2]], np.int32))


def job(gap: float, length: float = 800.0) -> Layout:
    """A tube over a sheet, with another sheet 1 m above it."""
    height = 22.5 + gap
    return Layout(
        nodes={1: Node(1, (-length / 2.0, 0.0, height)), 2: Node(2, (length / 2.0, 0.0, height))},
        tubes={TUBE: Tube(TUBE, "T1", (1, 2), 4)},
        stocks={4: Stock(4, "45 x 2.5", 45.0, 2.5)},
        bodies={5: Body(5, "body")},
        panels={SHEET: Panel(SHEET, "sheet", 5, flat(0.0)), WALL: Panel(WALL, "lid", 5, flat(1000.0))},
    )


def report(layout: Layout) -> Report:
    return findings.check(layout, distance.build(layout))


def rules(layout: Layout) -> list[str]:
    return [found.rule for found in report(layout).findings]


@pytest.mark.parametrize(
    ("tube", "panel", "expected"),
    [
        ((None, None), (None, None), (15.0, 40.0)),
        ((20.0, None), (None, None), (20.0, 40.0)),
        ((None, None), (25.0, 90.0), (25.0, 90.0)),
        ((20.0, 60.0), (25.0, 90.0), (25.0, 60.0)),
        ((30.0, None), (25.0, 90.0), (30.0, 90.0)),
        ((2.0, None), (None, None), (2.0, 40.0)),  # one's own may be less than the layout's
    ],
)
def test_the_larger_closest_counts_and_the_tubes_farthest_before_the_panels(tube, panel, expected) -> None:
    layout = fixing.set_standoff(job(30.0), [TUBE], closest=tube[0], farthest=tube[1])
    layout = fixing.set_standoff(layout, [SHEET], closest=panel[0], farthest=panel[1])
    assert standoff.wanted(layout, TUBE, SHEET) == StandOff(*expected)


@pytest.mark.parametrize("which", [TUBE, SHEET])
@pytest.mark.parametrize(("gap", "expected"), [(57.9, ["clearance.too_close"]), (58.1, [])])
def test_an_own_closest_is_judged_and_measured_as_far_as_it_reaches(which, gap, expected) -> None:
    layout = fixing.set_standoff(job(gap), [which], closest=50.0)
    assert rules(layout) == expected
    assert {row.panel for row in report(layout).clearances} == ({SHEET} if gap < 58.0 else set())


def test_another_panels_closest_is_not_this_ones() -> None:
    assert rules(fixing.set_standoff(job(30.0), [WALL], closest=90.0)) == []


def test_a_row_reaches_as_far_as_the_widest_stand_off_of_any_panel() -> None:
    layout = fixing.set_standoff(job(80.0), [WALL], farthest=100.0)
    assert {row.panel for row in report(layout).clearances} == {SHEET}
    assert report(job(80.0)).clearances == ()


def test_a_panel_with_another_stand_off_has_its_tubes_judged_again() -> None:
    layout = job(30.0)
    index = distance.build(layout)
    first = findings.check(layout, index)
    after = fixing.set_standoff(layout, [SHEET], closest=40.0)
    second = findings.check(after, distance.build(after, index), first)
    assert second.findings == report(after).findings != first.findings


def test_raw_and_safe_are_both_said() -> None:
    (row,) = report(job(30.0)).clearances
    standing = standoff.standing(job(30.0), row)
    assert standing.raw == pytest.approx(30.0, abs=0.05)
    assert standing.safe == pytest.approx(22.0, abs=0.05)
    assert standing.band == "fine"


def test_the_farthest_wanted_leaves_room_for_the_closest_allowed() -> None:
    layout = fixing.set_standoff(job(50.0), [SHEET], closest=45.0)
    assert standoff.judged(layout, TUBE, SHEET, 52.0).band == "close"
    assert standoff.judged(layout, TUBE, SHEET, 53.0).band == "fine"
    assert standoff.judged(layout, TUBE, SHEET, 53.1).band == "far"


def test_a_tube_that_need_not_follow_the_body_and_a_short_one_are_never_far() -> None:
    assert standoff.judged(job(90.0), TUBE, SHEET, 90.0).band == "far"
    assert standoff.judged(fixing.set_hugs(job(90.0), [TUBE], False), TUBE, SHEET, 90.0).band == "fine"
    assert standoff.judged(job(90.0, length=299.0), TUBE, SHEET, 90.0).band == "fine"


def test_the_band_of_a_tube_is_its_worst_panels_not_its_nearests() -> None:
    layout = fixing.set_standoff(job(30.0), [WALL], closest=50.0)
    near = replace(layout.panels[WALL], mesh=flat(75.0 + 35.0))
    layout = replace(layout, panels={**layout.panels, WALL: near})
    found = report(layout)
    assert found.nearest[TUBE].panel == SHEET
    assert standoff.standing(layout, found.nearest[TUBE]).band == "fine"
    assert standoff.bands(layout, found) == {TUBE: "close"}


def test_what_counts_along_a_tube_is_said_place_by_place() -> None:
    layout = fixing.set_standoff(job(30.0), [WALL], closest=25.0, farthest=90.0)
    layout = fixing.add_weld(layout, TUBE, Weld(SHEET, 100.0, 300.0))
    stations = np.array([0.0, 200.0, 400.0, 600.0])
    profile = Profile(stations, np.full(4, 30.0), np.array([SHEET, SHEET, WALL, NOWHERE]))
    along = standoff.along(layout, TUBE, profile, movement=10.0)
    assert along.close_below.tolist() == [33.0, 33.0, 43.0, 33.0]
    assert along.far_above.tolist() == [40.0, 40.0, 90.0, 40.0]
    assert along.is_welded.tolist() == [False, True, False, False]
    free = standoff.along(fixing.set_hugs(layout, [TUBE], False), TUBE, profile)
    assert np.isinf(free.far_above).all()


def test_bands_leave_out_what_is_gone() -> None:
    layout = job(30.0)
    found = report(layout)
    assert standoff.bands(layout, found) == {TUBE: "fine"}
    assert standoff.bands(replace(layout, tubes={}), found) == {}
    assert standoff.bands(replace(layout, panels={}), found) == {}


def test_a_closest_beyond_the_own_farthest_is_refused() -> None:
    for id in (TUBE, SHEET):
        with pytest.raises(GeometryError, match="more than its farthest"):
            fixing.set_standoff(job(30.0), [id], closest=50.0, farthest=40.0)
        with pytest.raises(GeometryError, match="0 or more"):
            fixing.set_standoff(job(30.0), [id], closest=float("nan"))


def test_clearances_are_the_same_whatever_is_wanted_of_them() -> None:
    layout = job(30.0)
    wide = fixing.set_standoff(layout, [TUBE], closest=25.0, farthest=200.0)
    index = distance.build(layout)
    assert clearance.clearances(layout, index) == clearance.clearances(wide, index)
