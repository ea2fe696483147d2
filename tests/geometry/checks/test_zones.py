"""Tubes in access zones against brute force, and what is said of them and of limit planes."""

import math
import time

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from geometry import edits, references, zoning
from geometry.aids import BoxShape, ConeShape, PlaneShape
from geometry.checks import completing, findings, zones
from geometry.checks.report import Report
from geometry.layout import Die, Layout, Limits, Stock
from geometry.tube import centreline
from geometry.vectors import Vec3
from geometry.zoning import Shape

OD, CLR = 40.0, 120.0
ROOM = BoxShape((0.0, 0.0, 0.0), (200.0, 100.0, 100.0))
places = st.tuples(*[st.floats(-600.0, 600.0)] * 3)


def job(*runs: list[Vec3]) -> Layout:
    layout = Layout(
        next_id=10,
        stocks={5: Stock(5, "40 x 2", OD, 2.0)},
        dies={6: Die(6, "former", OD, CLR)},
        limits=Limits(build_tolerance=5.0),
    )
    for run in runs:
        layout, _ = edits.add_tube(layout, run, 5)
    return layout


def depths(layout: Layout, shape: Shape) -> list[zones.InZone]:
    layout, id = zoning.add_zone(layout, "other", shape)
    return list(zones.in_zones(layout, [id], layout.tubes))


def judged(layout: Layout, before: Report | None = None) -> Report:
    report, whole = completing.completed(layout, {}, {}, findings.check(layout, {}, before), lambda: True)
    assert whole
    return report


@pytest.mark.parametrize("height", [75.0, 60.0, 50.0, 10.0, 0.0])
def test_a_tube_along_a_box_is_as_deep_as_its_surface_reaches(height: float) -> None:
    rows = depths(job([(-500.0, 0.0, height), (500.0, 0.0, height)]), ROOM)
    # The box is 100 high and wide: in its middle the axis is 50 below the top, less beside it.
    depth = OD / 2.0 + 50.0 - height
    assert [row.depth for row in rows] == pytest.approx([depth] if depth > 0.0 else [], abs=0.05)
    for row in rows:
        assert zoning.gaps(ROOM, np.array([row.at]))[0] < 1e-6
        assert 400.0 <= row.station <= 600.0


def test_a_tube_wholly_inside_is_found() -> None:
    (row,) = depths(job([(-60.0, 0.0, 0.0), (60.0, 0.0, 0.0)]), ROOM)
    assert row.depth == pytest.approx(50.0 + OD / 2.0, abs=0.05)


def test_a_tube_that_only_touches_is_not_in_the_way() -> None:
    assert depths(job([(-500.0, 0.0, 70.0), (500.0, 0.0, 70.0)]), ROOM) == []
    assert depths(job([(-500.0, 0.0, 69.9), (500.0, 0.0, 69.9)]), ROOM)


def test_a_bend_that_dips_into_a_zone_is_deep_where_its_arc_is() -> None:
    # The arc's top is CLR (sqrt 2 - 1) below the corner at 500; the room begins at 460 and is wide.
    room = BoxShape((0.0, 0.0, 960.0), (2000.0, 2000.0, 1000.0))
    (row,) = depths(job([(-500.0, 0.0, 0.0), (0.0, 0.0, 500.0), (500.0, 0.0, 0.0)]), room)
    top = 500.0 - CLR * (math.sqrt(2.0) - 1.0)
    assert row.depth == pytest.approx(top + OD / 2.0 - 460.0, abs=0.05)
    assert row.at == pytest.approx((0.0, 0.0, top + OD / 2.0), abs=2.0)


shapes = st.one_of(
    st.builds(
        lambda middle, size, azimuth, tilt: zoning.turned_to(BoxShape(middle, size), azimuth, tilt),
        places,
        st.tuples(*[st.floats(5.0, 600.0)] * 3),
        st.floats(-3.0, 3.0),
        st.floats(-1.5, 1.5),
    ),
    st.builds(ConeShape, places, places, st.floats(0.0, 300.0), st.floats(5.0, 300.0)).filter(
        lambda cone: math.dist(cone.start, cone.end) > 5.0
    ),
)


@given(places, places, places, shapes)
def test_depths_are_those_of_many_places_along_the_tube(a: Vec3, b: Vec3, c: Vec3, shape: Shape) -> None:
    if min(math.dist(a, b), math.dist(b, c)) < 1.0:
        return
    layout = job([a, b, c])
    line = centreline.of(layout, next(iter(layout.tubes.values())))
    stations = np.linspace(0.0, line.length, 4000)
    least = float(zoning.gaps(shape, centreline.point_at(line, stations)).min())
    step = line.length / 4000.0
    rows = depths(layout, shape)
    if rows:
        assert OD / 2.0 - least - 0.05 <= rows[0].depth <= OD / 2.0 - least + step
        there = zoning.gaps(shape, centreline.point_at(line, [rows[0].station]))[0]
        assert OD / 2.0 - there == pytest.approx(rows[0].depth)
    else:
        assert least > OD / 2.0 - 0.06


def test_a_finding_names_tube_zone_depth_and_place() -> None:
    layout, id = zoning.add_zone(job([(-500.0, 0.0, 50.0), (500.0, 0.0, 50.0)]), "filler nozzle", ROOM)
    (found,) = judged(layout).findings[:1]
    assert found.rule == "zone.in_the_way"
    assert found.severity == "warning"
    assert found.aids == (id,)
    assert found.tubes == tuple(layout.tubes)
    assert found.words["zone"] == "Filler nozzle"
    assert found.amounts["depth"].number == pytest.approx(20.0, abs=0.05)


def test_hidden_zones_are_checked_too() -> None:
    layout, id = zoning.add_zone(job([(-500.0, 0.0, 50.0), (500.0, 0.0, 50.0)]), "jack", ROOM)
    layout = zoning.set_zone(layout, id, shown=False)
    assert "zone.in_the_way" in {found.rule for found in judged(layout).findings}


@pytest.mark.parametrize(("height", "severity"), [(990.0, "warning"), (1022.0, "note"), (1026.0, None)])
def test_a_limit_plane_warns_past_it_and_notes_what_the_build_may_take_past(
    height: float, severity: str | None
) -> None:
    layout = job([(0.0, 0.0, 1000.0), (500.0, 0.0, 1000.0)])
    layout, _ = references.added(
        layout, PlaneShape((0.0, 0.0, height), (0.0, 0.0, 1.0)), "Roof height limit", limit=True
    )
    said = [found for found in judged(layout).findings if found.rule == "reference.past_limit"]
    assert [found.severity for found in said] == ([severity] if severity else [])
    if severity == "warning":
        assert said[0].amounts["past"].number == pytest.approx(30.0)


def test_a_plane_that_is_no_limit_says_nothing() -> None:
    layout = job([(0.0, 0.0, 1000.0), (500.0, 0.0, 1000.0)])
    layout, _ = references.added(layout, PlaneShape((0.0, 0.0, 500.0), (0.0, 0.0, 1.0)))
    assert not judged(layout).limits


def test_what_did_not_change_is_not_searched_again(monkeypatch: pytest.MonkeyPatch) -> None:
    layout = job([(-500.0, 0.0, 50.0), (500.0, 0.0, 50.0)], [(-500.0, 0.0, 900.0), (500.0, 0.0, 900.0)])
    first, second = layout.tubes
    layout, near = zoning.add_zone(layout, "jack", ROOM)
    layout, far = zoning.add_zone(layout, "mirror", replace(ROOM, middle=(0.0, 0.0, 900.0)))
    report = judged(layout)
    assert {(row.zone, row.tube) for row in report.zones} == {(near, first), (far, second)}
    asked: list[tuple[list[int], list[int]]] = []
    real = zones.in_zones

    def counted(layout: Layout, zones: object, tubes: object) -> tuple[zones.InZone, ...]:
        asked.append((sorted(zones), sorted(tubes)))  # type: ignore[call-overload]
        return real(layout, zones, tubes)  # type: ignore[arg-type]

    monkeypatch.setattr(zones, "in_zones", counted)
    again = judged(edits.rename_job(layout, "Other name"), report)
    assert again.zones == report.zones
    assert all(not zones or not tubes for zones, tubes in asked)
    asked.clear()
    moved = zoning.set_zone(layout, far, shape=replace(ROOM, middle=(0.0, 0.0, 2000.0)))
    after = judged(moved, report)
    assert {(row.zone, row.tube) for row in after.zones} == {(near, first)}
    assert [(zones, tubes) for zones, tubes in asked if zones and tubes] == [([far], [first, second])]
    gone = judged(edits.delete(moved, (near,)), after)
    assert not gone.zones
    assert not [found for found in gone.findings if found.rule == "zone.in_the_way"]


def test_a_changed_tube_is_searched_against_all_zones_and_equals_a_fresh_report() -> None:
    layout = job([(-500.0, 0.0, 900.0), (500.0, 0.0, 900.0)])
    layout, _ = zoning.add_zone(layout, "jack", ROOM)
    layout, _ = references.add_height_limit(layout, 800.0)
    report = judged(layout)
    moved = edits.move_nodes(layout, list(layout.tubes), (0.0, 0.0, -850.0))
    after = judged(moved, report)
    assert after.zones == judged(moved).zones != ()
    assert after.limits == ()
    assert after.findings == judged(moved).findings


def test_sixty_tubes_and_twelve_zones_take_a_moment() -> None:
    rng = np.random.default_rng(3)
    runs = [[tuple(p) for p in rng.uniform(-2000.0, 2000.0, (4, 3)).tolist()] for _ in range(60)]
    layout = job(*runs)
    for _ in range(12):
        middle = tuple(rng.uniform(-1500.0, 1500.0, 3).tolist())
        layout, _ = zoning.add_zone(layout, "other", ConeShape(middle, (0.0, 0.0, 0.0), 60.0, 200.0))
    zones.in_zones(layout, layout.zones, layout.tubes)
    start = time.process_time()
    rows = zones.in_zones(layout, layout.zones, layout.tubes)
    assert time.process_time() - start < 0.2
    assert rows
