"""What a tyre sweeps through, against tubes and panels: against arithmetic and against many poses."""

import math
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from geometry import axles
from geometry.body import distance, envelope, scan
from geometry.body import tyres as sizes
from geometry.body.distance import PanelIndex
from geometry.body.tyres import Wheel
from geometry.checks import tyres
from geometry.checks.tyres import Envelope, Envelopes
from geometry.layout import Axle, Body, Die, Layout, Limits, Mesh, Node, Panel, Stock, Tube, Tyre

OD, WIDTH, RADIUS = 40.0, 240.0, 400.0
AXLE, WING, TUBE = 70, 60, 1
MARGIN = 25.0
# Nothing steers, nothing rolls: the tyre sweeps straight up and down.
PLAIN = Axle(AXLE, "Front axle", 0.0, RADIUS, 1500.0, Tyre(2 * RADIUS, WIDTH, 40.0), bump=80.0, droop=60.0)
OUTER = 750.0 + WIDTH / 2.0  # y of the left tyre's outer side
WITHIN = envelope.TOLERANCE + 0.1
COARSE = 8.0  # mm that the poses of by_matrices leave open


def job(
    runs: list[list[tuple[float, float, float]]] | None = None,
    mesh: Mesh | None = None,
    axle: Axle | None = PLAIN,
) -> Layout:
    nodes, tubes = {}, {}
    for number, run in enumerate(runs or []):
        ids = tuple(1000 + 100 * number + place for place in range(len(run)))
        nodes |= {id: Node(id, point) for id, point in zip(ids, run, strict=True)}
        tubes[TUBE + number] = Tube(TUBE + number, f"T{number + 1}", ids, 50)
    return Layout(
        nodes=nodes,
        tubes=tubes,
        stocks={50: Stock(50, "40 x 2", OD, 2.0)},
        dies={51: Die(51, "former", OD, 120.0)},
        bodies={52: Body(52, "body")},
        panels={WING: Panel(WING, "left wing", 52, mesh)} if mesh else {},
        axles={axle.id: axle} if axle else {},
        limits=Limits(tyre_margin=MARGIN),
    )


@pytest.fixture(scope="module")
def swept() -> Envelopes:
    return tyres.envelopes(job(), {}, lambda: True)


def plate(*corners: tuple[float, float, float]) -> Mesh:
    return Mesh(np.array(corners), np.array([[0, 1, 2], [0, 2, 3]], np.int32))


def level(height: float, half: float = 2000.0) -> Mesh:
    """A large flat panel over the left tyre, of two triangles."""
    return plate((-half, 300.0, height), (half, 300.0, height), (half, half, height), (-half, half, height))


def upright(y: float) -> list[tuple[float, float, float]]:
    return [(0.0, y, -200.0), (0.0, y, 1200.0)]


@pytest.mark.parametrize(
    ("gap", "rule"),
    [
        (-WITHIN - 1.0, "tyre.hits_tube"),
        (WITHIN, "tyre.near_tube"),
        (MARGIN - WITHIN, "tyre.near_tube"),
        (MARGIN + WITHIN, None),
    ],
)
def test_a_tube_beside_a_tyre_is_judged_by_the_room_it_leaves(
    swept: Envelopes, gap: float, rule: str | None
) -> None:
    layout = job([upright(OUTER + OD / 2.0 + gap)])
    rows = tyres.against_tubes(layout, swept, layout.tubes)
    found = tyres.findings(layout, rows, ())
    assert [one.rule for one in found] == ([rule] if rule else [])
    if rule:
        assert (rows[0].axle, rows[0].side, rows[0].tube) == (AXLE, "left", TUBE)
        assert rows[0].clearance == pytest.approx(gap, abs=WITHIN)
        assert found[0].words["tyre"] == "the left tyre of Front axle"


def test_a_tube_that_runs_through_a_tyre_or_ends_in_it_is_inside(swept: Envelopes) -> None:
    across = [(0.0, 500.0, 300.0), (0.0, 1300.0, 300.0)]
    short = [(-50.0, 750.0, 400.0), (60.0, 750.0, 400.0)]
    layout = job([across, short])
    through, within = tyres.against_tubes(layout, swept, layout.tubes)
    assert through.clearance < 0.0
    assert within.clearance < -100.0
    assert {one.severity for one in tyres.findings(layout, (through, within), ())} == {"error"}


def test_what_is_far_from_all_tyres_says_nothing(swept: Envelopes) -> None:
    layout = job([[(0.0, 2000.0, 500.0), (500.0, 2000.0, 500.0)]], level(3000.0))
    assert tyres.against_tubes(layout, swept, layout.tubes) == ()
    assert tyres.against_panels(layout, distance.build(layout), swept, [WING]) == ()
    assert tyres.against_tubes(layout, {}, layout.tubes) == ()
    assert tyres.against_tubes(layout, swept, []) == ()


@pytest.mark.parametrize(
    ("above", "rule"), [(-30.0, "tyre.hits_panel"), (10.0, "tyre.near_panel"), (MARGIN + WITHIN, None)]
)
def test_a_flat_panel_over_a_tyre_lacks_what_arithmetic_says(
    swept: Envelopes, above: float, rule: str | None
) -> None:
    top = 2.0 * RADIUS + PLAIN.bump
    layout = job(mesh=level(top + above))
    bites = tyres.against_panels(layout, distance.build(layout), swept, [WING])
    found = tyres.findings(layout, (), bites)
    assert [one.rule for one in found] == ([rule] if rule else [])
    if rule:
        (bite,) = bites
        assert (bite.side, bite.panel) == ("left", WING)
        assert bite.depth == pytest.approx(MARGIN - above, abs=WITHIN + tyres.ACCURACY)
        assert bite.at[2] == pytest.approx(top + above)
        assert found[0].tubes == ()
        assert found[0].panels == (WING,)


def test_finer_triangles_lack_the_same(swept: Envelopes) -> None:
    top = 2.0 * RADIUS + PLAIN.bump - 30.0
    x, y = np.meshgrid(np.arange(-1000.0, 1001.0, 9.0), np.arange(300.0, 1301.0, 9.0))
    points = np.stack([x, y, np.full_like(x, top)], axis=-1)
    number = np.arange(x.size).reshape(x.shape)
    a, b, c, d = number[:-1, :-1], number[:-1, 1:], number[1:, 1:], number[1:, :-1]
    triangles = np.concatenate(
        [np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)]
    )
    fine = job(mesh=Mesh(points.reshape(-1, 3), triangles.astype(np.int32)))
    (bite,) = tyres.against_panels(fine, distance.build(fine), swept, [WING])
    assert bite.depth == pytest.approx(MARGIN + 30.0, abs=WITHIN + tyres.ACCURACY)


def test_equal_and_mirrored_wheels_are_worked_out_once(monkeypatch: pytest.MonkeyPatch) -> None:
    worked: list[Wheel] = []
    inner = envelope.swept

    def counted(wheel: Wheel, look_up: envelope.LookUp) -> Mesh:
        worked.append(wheel)
        return inner(wheel, look_up)

    monkeypatch.setattr(envelope, "swept", counted)
    first = tyres.envelopes(job(), {}, lambda: True)
    assert len(worked) == 1
    again = tyres.envelopes(job(), first, lambda: True)
    assert len(worked) == 1
    assert all(again[key] is first[key] for key in first)
    other = job(axle=replace(PLAIN, bump=90.0))
    assert tyres.envelopes(other, first, lambda: False) == {}
    assert set(tyres.envelopes(other, first, lambda: True)) == {(AXLE, "left"), (AXLE, "right")}
    assert len(worked) == 2


def test_work_ends_in_the_midst_of_a_wheel_when_something_newer_waits() -> None:
    asked: list[float] = []

    def go_on() -> bool:
        asked.append(time.perf_counter())
        return len(asked) < 40

    assert tyres.envelopes(job(axle=MOVING), {}, go_on) == {}
    assert len(asked) == 41  # once more for the other wheel, which is not begun
    asked.clear()

    def always() -> bool:
        asked.append(time.perf_counter())
        return True

    assert len(tyres.envelopes(job(axle=MOVING), {}, always)) == 2
    waits = np.diff(asked)
    assert np.median(waits) < 0.02


def test_the_mirrored_space_is_the_other_wheels_own() -> None:
    steered = replace(
        PLAIN, steer_inner=math.radians(30), steer_outer=math.radians(24), camber=0.03, kingpin=50.0
    )
    both = tyres.envelopes(job(axle=steered), {}, lambda: True)
    right = both[AXLE, "right"]
    points = np.random.default_rng(3).uniform((-600, -1400, -100), (600, -300, 1000), (400, 3))
    told = envelope.mesh_gaps(right.index, points)
    true = envelope.gaps(right.wheel, points)
    near = np.abs(true) < 150.0
    assert np.abs(told - true)[near & (true > 0.0)].max() < 2.0 * envelope.TOLERANCE
    outward = right.index.winding(np.array([[0.0, -750.0, 400.0]]))
    assert outward == pytest.approx([1.0], abs=0.01)


def test_an_axle_that_cannot_be_is_said_and_has_no_space() -> None:
    layout = job(axle=replace(PLAIN, bump=0.0, droop=0.0))
    assert tyres.envelopes(layout, {}, lambda: True) == {}
    (found,) = tyres.findings(layout, (), ())
    assert (found.rule, found.severity) == ("tyre.bad_axle", "error")
    assert "has no travel" in found.words["why"]


place = st.tuples(st.floats(-700.0, 700.0), st.floats(400.0, 1300.0), st.floats(-100.0, 1100.0))


@settings(max_examples=40, deadline=None)
@given(place, place, st.lists(place, min_size=3, max_size=3))
def test_random_tubes_and_triangles_have_the_gap_that_many_poses_say(
    swept: Envelopes,
    start: tuple[float, float, float],
    end: tuple[float, float, float],
    corners: list[tuple[float, float, float]],
) -> None:
    if math.dist(start, end) < 10.0:
        return
    layout = job([[start, end]], Mesh(np.array(corners), np.array([[0, 1, 2]], np.int32)))
    on_line = np.linspace(start, end, 300)
    least = by_poses(swept[AXLE, "left"].wheel, on_line) - OD / 2.0
    rows = {row.side: row for row in tyres.against_tubes(layout, swept, layout.tubes)}
    slack = WITHIN + math.dist(start, end) / 300.0
    if least < MARGIN - slack:
        assert rows["left"].clearance == pytest.approx(least, abs=slack) or (
            least < 0 > rows["left"].clearance
        )
    if least > MARGIN + slack:
        assert "left" not in rows
    weights = np.random.default_rng(0).dirichlet((0.5, 0.5, 0.5), 4000)
    lowest = by_poses(swept[AXLE, "left"].wheel, weights @ np.array(corners))
    bites = {b.side: b for b in tyres.against_panels(layout, distance.build(layout), swept, [WING])}
    if lowest < MARGIN - WITHIN - tyres.ACCURACY:
        assert bites["left"].depth > MARGIN - lowest - WITHIN - tyres.ACCURACY
    if "left" in bites and bites["left"].depth > WITHIN:
        at = np.array([bites["left"].at])
        assert bites["left"].depth == pytest.approx(
            MARGIN - by_poses(swept[AXLE, "left"].wheel, at), abs=WITHIN
        )


def by_poses(wheel: Wheel, points: np.ndarray) -> float:
    """Return the least gap of points to the tyre at many heights: nothing steers or rolls here."""
    heights = np.linspace(-PLAIN.droop, PLAIN.bump, 141)
    return float(min(envelope.gaps_at(wheel, points, np.array([h, 0.0, 0.0])).min() for h in heights))


def test_an_envelope_is_told_apart_by_its_wheel(swept: Envelopes) -> None:
    left, right = swept[AXLE, "left"], swept[AXLE, "right"]
    assert isinstance(left, Envelope)
    assert isinstance(left.index, PanelIndex)
    assert left.wheel.centre == (0.0, 750.0, RADIUS)
    assert right.wheel.centre == (0.0, -750.0, RADIUS)


MOVING = replace(
    PLAIN, roll=0.15, steer_inner=0.6, steer_outer=0.5, kingpin=60.0, camber=0.03, bump=100.0, droop=110.0
)


@pytest.fixture(scope="module")
def moving() -> Envelopes:
    return tyres.envelopes(job(axle=MOVING), {}, lambda: True)


@settings(max_examples=40, deadline=None)
@given(place, place)
def test_random_tubes_beside_a_tyre_that_steers_rolls_and_leans_have_the_room_that_many_poses_say(
    moving: Envelopes, start: tuple[float, float, float], end: tuple[float, float, float]
) -> None:
    if math.dist(start, end) < 10.0:
        return
    layout = job([[start, end]], axle=MOVING)
    rows = {row.side: row for row in tyres.against_tubes(layout, moving, layout.tubes)}
    least = float(by_matrices(MOVING, "left", np.linspace(start, end, 200)).min()) - OD / 2.0
    slack = WITHIN + COARSE + math.dist(start, end) / 200.0
    if "left" not in rows:
        assert least > MARGIN - WITHIN
    elif rows["left"].clearance > -OD / 2.0 + WITHIN:
        assert least - slack <= rows["left"].clearance <= least + WITHIN
    else:
        assert least < -OD / 2.0 + slack


def test_large_tyres_on_the_sedan_bite_as_deep_as_its_metal_lies_in_what_they_sweep(meshes: Path) -> None:
    """As many poses say, placed by matrices apart from the code."""
    found = scan.read(meshes / "sedan_chassis_vis.obj")
    layout, _, _ = scan.add_to(Layout(), found, scan.judge(found))
    layout, front = axles.add(layout, sizes.parsed("33x12.50R15"))
    layout = axles.change(layout, front, height=360.0, kingpin=60.0, camber=0.02)
    swept = tyres.envelopes(layout, {}, lambda: True)
    index = distance.build(layout)
    bites = {(bite.side, bite.panel): bite for bite in tyres.against_panels(layout, index, swept, index)}
    assert {side for side, _ in bites} == {"left", "right"}
    ball = np.random.default_rng(4).normal(size=(400, 3))
    ball /= np.linalg.norm(ball, axis=1)[:, None]
    for (side, panel), bite in bites.items():
        points, gap = np.array(bite.at), layout.limits.tyre_margin - bite.depth
        axle = layout.axles[front]
        if gap >= 0.0:
            assert by_matrices(axle, side, points[None])[0] == pytest.approx(gap, abs=WITHIN + COARSE)
        else:  # as far from there to all sides the tyre gets, and to some side no farther
            assert by_matrices(axle, side, points + (-gap - WITHIN) * ball).max() <= COARSE
            assert by_matrices(axle, side, points + (-gap + WITHIN + COARSE) * ball).max() > 0.0
        corners = index[panel].vertices[np.unique(index[panel].triangles)]
        lowest = envelope.mesh_gaps(swept[front, side].index, corners).min()
        assert lowest > gap - tyres.ACCURACY
    deepest = max(bites.values(), key=lambda bite: bite.depth)
    assert deepest.depth > layout.limits.tyre_margin + 100.0
    rules = {one.rule for one in tyres.findings(layout, (), bites.values())}
    assert "tyre.hits_panel" in rules


def by_matrices(axle: Axle, side: str, points: np.ndarray) -> np.ndarray:
    """Return the least gap of points (n, 3) over a grid of poses: (n,), too large by COARSE at most."""
    out = 1.0 if side == "left" else -1.0
    y, kingpin = out * (axle.track / 2.0 - axle.offset), out * (axle.track / 2.0 - axle.offset - axle.kingpin)
    left, right = (axle.steer_inner, axle.steer_outer)[:: 1 if side == "left" else -1]
    lean = about_x(-out * axle.camber)
    least = np.full(len(points), np.inf)
    for steer in np.linspace(-right, left, 15):
        turn = about_z(steer)
        for roll in np.linspace(-axle.roll, axle.roll, 9):
            frame = about_x(roll) @ turn
            middle = about_x(roll) @ (turn @ np.array([0.0, y - kingpin, 0.0]) + (0.0, kingpin, 0.0))
            for heave in np.linspace(-axle.droop, axle.bump, 9):
                centre = np.add(middle, (axle.x, 0.0, axle.height + heave))
                own = (points - centre) @ (frame @ lean)
                over_tread = np.hypot(own[:, 0], own[:, 2]) - axle.tyre.od / 2.0
                past = np.array([over_tread, np.abs(own[:, 1]) - axle.tyre.width / 2.0])
                past += axle.tyre.shoulder
                beyond = np.linalg.norm(np.maximum(past, 0.0), axis=0)
                gap = beyond + np.minimum(past.max(axis=0), 0.0) - axle.tyre.shoulder
                least = np.minimum(least, gap)
    return least


def about_x(angle: float) -> np.ndarray:
    cos, sin = math.cos(angle), math.sin(angle)
    return np.array([[1.0, 0.0, 0.0], [0.0, cos, -sin], [0.0, sin, cos]])


def about_z(angle: float) -> np.ndarray:
    cos, sin = math.cos(angle), math.sin(angle)
    return np.array([[cos, -sin, 0.0], [sin, cos, 0.0], [0.0, 0.0, 1.0]])
