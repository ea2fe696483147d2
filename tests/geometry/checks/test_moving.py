"""Panels that open: when they first meet a tube, against arithmetic and against small steps."""

import math
import tracemalloc
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from geometry import edits, hinges
from geometry.body import distance, placement, scan, split
from geometry.checks import moving
from geometry.checks.moving import Touch
from geometry.layout import Body, Die, Hinge, Layout, Limits, Mesh, Motion, Node, Panel, Slide, Stock, Tube
from geometry.tube import centreline
from geometry.vectors import Floats

OD = 40.0
DOOR, GLASS = 60, 61
MARGIN = 10.0


def plate(*corners: tuple[float, float, float]) -> Mesh:
    return Mesh(np.array(corners), np.array([[0, 1, 2], [0, 2, 3]], np.int32))


# A door in the left side, hinged at its front edge: 1 m long, from x = 0 back to -1000, 1 m high.
SIDE = plate((0.0, 800.0, 0.0), (-1000.0, 800.0, 0.0), (-1000.0, 800.0, 1000.0), (0.0, 800.0, 1000.0))
FRONT_EDGE = ((0.0, 800.0, 0.0), (0.0, 800.0, 1000.0))
OUT = -math.radians(70.0)  # about the upward axis, the rear edge moves out to the left


def job(
    runs: list[list[tuple[float, float, float]]], mesh: Mesh = SIDE, motion: Motion | None = None
) -> Layout:
    nodes, tubes = {}, {}
    for number, run in enumerate(runs):
        ids = tuple(1000 + 100 * number + place for place in range(len(run)))
        nodes |= {id: Node(id, point) for id, point in zip(ids, run, strict=True)}
        tubes[number + 1] = Tube(number + 1, f"T{number + 1}", ids, 50)
    return Layout(
        nodes=nodes,
        tubes=tubes,
        stocks={50: Stock(50, "40 x 2", OD, 2.0)},
        dies={51: Die(51, "former", OD, 120.0)},
        bodies={52: Body(52, "body")},
        panels={DOOR: Panel(DOOR, "left door", 52, mesh, motion=motion or Hinge(*FRONT_EDGE, OUT))},
        limits=Limits(swing_margin=MARGIN),
    )


def touches(layout: Layout) -> tuple[Touch, ...]:
    return moving.measured(layout, distance.build(layout), layout.panels, layout.tubes)


def upright(x: float, y: float) -> list[tuple[float, float, float]]:
    return [(x, y, -100.0), (x, y, 1100.0)]


def test_an_upright_tube_beside_a_door_is_met_where_arithmetic_says() -> None:
    # The axis stands a = 500 behind the hinge and b = 200 outside. The door's plane at angle t is a line
    # through the hinge; its distance to the axis is b cos t - a sin t on the way out.
    layout = job([upright(-500.0, 1000.0)])
    (touch,) = touches(layout)
    reach, bearing = math.hypot(500.0, 200.0), math.atan2(200.0, 500.0)
    assert touch.touches_at == pytest.approx(bearing - math.asin(OD / 2.0 / reach), abs=1.0 / reach)
    assert touch.at == pytest.approx(bearing - math.asin((OD / 2.0 + MARGIN) / reach), abs=1.0 / reach)
    assert touch.closed is None
    assert touch.least == pytest.approx(0.0, abs=1.0)
    (found,) = moving.findings(layout, [touch])
    assert (found.rule, found.severity, found.tubes, found.panels) == ("door.hits", "error", (1,), (DOOR,))
    assert found.amounts["opening"].number == touch.touches_at
    assert found.amounts["full"].number == pytest.approx(-OUT)


def test_where_they_touch_is_on_both_surfaces() -> None:
    layout = job([upright(-500.0, 1000.0)])
    (touch,) = touches(layout)
    assert touch.touches_at is not None
    assert np.hypot(touch.tube_point[0] + 500.0, touch.tube_point[1] - 1000.0) == pytest.approx(OD / 2.0)
    on_door = np.subtract(touch.panel_point, FRONT_EDGE[0])
    assert math.atan2(on_door[1], -on_door[0]) == pytest.approx(touch.touches_at, abs=1e-6)
    assert math.dist(touch.tube_point, touch.panel_point) < 1.0


@pytest.mark.parametrize(
    ("beyond", "rule"), [(-1.5, "door.hits"), (1.5, "door.room"), (8.5, "door.room"), (11.5, None)]
)
def test_a_tube_past_the_edge_is_judged_by_the_room_it_leaves(beyond: float, rule: str | None) -> None:
    # The rear edge sweeps a circle of 1 m about the hinge; the tube stands just outside of it at 45 degrees.
    far = 1000.0 + OD / 2.0 + beyond
    layout = job([upright(-far * math.sqrt(0.5), 800.0 + far * math.sqrt(0.5))])
    found = moving.findings(layout, touches(layout))
    assert [one.rule for one in found] == ([rule] if rule else [])
    if rule == "door.room":
        assert found[0].value == pytest.approx(beyond, abs=1.0)
        assert found[0].amounts["opening"].number == pytest.approx(math.radians(45.0), abs=0.05)


def test_a_tube_that_runs_far_off_by_a_slip_of_the_keyboard_is_no_load() -> None:
    near, far = (job([[(-500.0, 1000.0, 500.0), (end, 1000.0, 500.0)]]) for end in (-5000.0, -1.0e5))
    tracemalloc.start()
    try:
        (touch,) = touches(far)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    (expected,) = touches(near)
    assert touch.touches_at == pytest.approx(expected.touches_at, abs=1.0 / 1000.0)
    assert peak < 50_000_000


def test_the_other_way_the_same_tube_is_no_matter() -> None:
    assert touches(job([upright(-500.0, 1000.0)], motion=Hinge(*FRONT_EDGE, -OUT))) == ()


def test_a_panel_that_is_fixed_meets_nothing() -> None:
    layout = job([upright(-500.0, 1000.0)])
    fixed = replace(layout, panels={DOOR: replace(layout.panels[DOOR], motion=None)})
    assert touches(fixed) == ()


def test_a_tube_near_the_closed_door_counts_only_if_opening_brings_it_nearer() -> None:
    # In front of the hinge line and 5 mm off: the door turns away from it.
    near = job([[(100.0, 700.0, 500.0), (-900.0, 775.0, 500.0)]])
    assert touches(near) == ()
    # The same outside: it is 5 mm off when closed and is hit at once.
    outside = job([[(-900.0, 825.0, 500.0), (-100.0, 1200.0, 500.0)]])
    (touch,) = touches(outside)
    assert touch.closed == pytest.approx(5.0, abs=0.1)
    assert touch.touches_at == pytest.approx(5.0 / 900.0, abs=0.002)


def test_a_slide_meets_a_tube_across_its_way_where_arithmetic_says() -> None:
    # The panel slides 900 back; its rear edge is at -1000, the tube's front side at -1500.
    layout = job(
        [[(-1500.0 - OD / 2.0, 400.0, 500.0), (-1500.0 - OD / 2.0, 1200.0, 500.0)]],
        motion=Slide((-900.0, 0.0, 0.0)),
    )
    (touch,) = touches(layout)
    assert touch.touches_at == pytest.approx(500.0, abs=1.0)
    assert touch.at == pytest.approx(500.0 - MARGIN, abs=1.0)
    (found,) = moving.findings(layout, [touch])
    assert found.amounts["opening"].quantity == "length"


def test_what_a_door_carries_moves_with_it_and_the_first_to_meet_the_tube_is_named() -> None:
    layout = job([upright(-500.0, 1000.0)])
    handle = plate(
        (-480.0, 830.0, 400.0), (-520.0, 830.0, 400.0), (-520.0, 830.0, 440.0), (-480.0, 830.0, 440.0)
    )
    carried = replace(
        layout, panels={**layout.panels, GLASS: Panel(GLASS, "handle", 52, handle, moves_with=DOOR)}
    )
    found = touches(carried)
    assert {touch.panel for touch in found} == {DOOR, GLASS}
    (said,) = moving.findings(carried, found)
    assert said.panels == (GLASS, DOOR)
    assert said.words["carrier"] == "left door"
    assert said.amounts["opening"].number == min(touch.touches_at or 9.0 for touch in found)


@pytest.mark.parametrize("spoilt", ["inside out", "doubled", "with a sliver"])
def test_meshes_that_are_not_clean_give_the_same(spoilt: str) -> None:
    (clean,) = touches(job([upright(-500.0, 1000.0)]))
    triangles = {
        "inside out": SIDE.triangles[:, ::-1],
        "doubled": np.concatenate([SIDE.triangles, SIDE.triangles]),
        "with a sliver": np.concatenate([SIDE.triangles, [[0, 0, 1]]]),
    }[spoilt]
    mesh = Mesh(SIDE.vertices, np.ascontiguousarray(triangles, dtype=np.int32))
    (same,) = touches(job([upright(-500.0, 1000.0)], mesh))
    assert same.touches_at == pytest.approx(clean.touches_at, abs=1e-6)


def test_a_bent_tube_is_met_on_its_arc_not_at_its_corner() -> None:
    # The corner would be met earlier than the arc inside it.
    run = [(-900.0, 1400.0, 500.0), (-500.0, 1000.0, 500.0), (-100.0, 1400.0, 500.0)]
    layout = job([run])
    (touch,) = touches(layout)
    assert touch.touches_at == pytest.approx(stepped(layout, 0.0), abs=0.008)


place = st.tuples(st.floats(-700.0, 700.0), st.floats(-700.0, 700.0), st.floats(-700.0, 700.0))
runs = st.lists(place, min_size=2, max_size=4).filter(
    lambda run: min(np.linalg.norm(np.diff(run, axis=0), axis=1)) > 50.0
)
turns = st.builds(Hinge, place, place, st.floats(-2.5, 2.5)).filter(
    lambda h: math.dist(h.start, h.end) > 100.0 and abs(h.angle) > 0.1
)
slides = st.builds(Slide, place).filter(lambda s: math.hypot(*s.shift) > 50.0)
soups = st.lists(place, min_size=4, max_size=6).map(
    lambda corners: Mesh(np.array(corners), np.array([[0, 1, 2], [1, 2, 3]], np.int32))
)


@settings(max_examples=25, deadline=None)
@given(runs, soups, st.one_of(turns, slides))
def test_random_doors_are_stopped_where_small_steps_say(run: Any, mesh: Mesh, motion: Motion) -> None:
    layout = job([run], mesh, motion)
    found = touches(layout)
    steps, gaps = swept(layout)
    closed = gaps[0] - BETWEEN
    touch_below = min(0.0, closed - moving.ACCURACY)
    full = moving.full_opening(motion)
    if touch_below <= -OD / 2.0:
        return
    hit = found[0].touches_at if found else None
    if hit is None:
        assert gaps.min() > touch_below - moving.ACCURACY - BETWEEN
    else:
        # At the opening said the clearance is what it was asked for, and nothing came nearer before.
        assert float(np.interp(hit / full, steps, gaps)) < touch_below + STEP_SLACK
        assert (
            gaps[steps < hit / full - 6e-3].min(initial=np.inf) > touch_below - moving.ACCURACY - STEP_SLACK
        )
    if not found and closed > MARGIN + moving.ACCURACY:
        assert gaps.min() > MARGIN - moving.ACCURACY
    if found and hit is None:
        assert found[0].least == pytest.approx(gaps.min(), abs=moving.ACCURACY + STEP_SLACK)


BETWEEN = 1.0  # mm; what lies between the points of the slow way, where they come nearest
STEP_SLACK = 8.0  # mm; what lies between the steps of the slow way


def stepped(layout: Layout, below: float) -> float:
    steps, gaps = swept(layout)
    return float(steps[np.flatnonzero(gaps < below)[0]]) * moving.full_opening(
        layout.panels[DOOR].motion or Slide((0, 0, 1))
    )


def swept(layout: Layout) -> tuple[Floats, Floats]:
    """Return openings and the clearance there, from points on the tube and turned triangles."""
    panel, tube = layout.panels[DOOR], layout.tubes[1]
    points, _, _ = centreline.sample(centreline.of(layout, tube), sagitta=0.1, longest=2.0)
    steps = np.linspace(0.0, 1.0, 181)
    gaps = [by_triangles(points, opened(panel, step)) for step in steps]
    return steps, np.array(gaps) - OD / 2.0


def opened(panel: Panel, step: float) -> Floats:
    """Return the triangles (m, 3, 3) of a panel opened so far, by rotation matrices."""
    corners = panel.mesh.vertices
    motion = panel.motion
    if isinstance(motion, Slide):
        corners = corners + step * np.array(motion.shift)
    elif motion is not None:
        x, y, z = np.subtract(motion.end, motion.start) / math.dist(motion.start, motion.end)
        skew = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
        angle = step * motion.angle
        turn = np.eye(3) + math.sin(angle) * skew + (1.0 - math.cos(angle)) * skew @ skew
        corners = (corners - motion.start) @ turn.T + motion.start
    return corners[panel.mesh.triangles]


def by_triangles(points: Floats, triangles: Floats) -> float:
    best = np.full(len(points), np.inf)
    for corners in triangles:
        sides = list(zip(corners, np.roll(corners, -1, axis=0), strict=True))
        for a, b in sides:
            along = np.clip((points - a) @ (b - a) / max((b - a) @ (b - a), 1e-30), 0.0, 1.0)
            best = np.minimum(best, np.linalg.norm(points - a - along[:, None] * (b - a), axis=1))
        normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
        if np.linalg.norm(normal) < 1e-6:
            continue
        normal /= np.linalg.norm(normal)
        height = (points - corners[0]) @ normal
        foot = points - height[:, None] * normal
        inside = np.all([np.cross(b - a, foot - a) @ normal >= 0.0 for a, b in sides], axis=0)
        best = np.where(inside, np.minimum(best, np.abs(height)), best)
    return float(best.min())


def least_gap(points: Floats, corners: Floats) -> float:
    """Return the least distance of points (n, 3) to triangles (m, 3, 3), all pairs at once."""
    best = np.inf
    for number in range(3):
        a, b = corners[:, number], corners[:, (number + 1) % 3]
        way = b - a
        size = np.maximum(np.einsum("ij,ij->i", way, way), 1e-30)
        away = points[:, None] - a
        along = np.clip(np.einsum("nij,ij->ni", away, way) / size, 0.0, 1.0)
        best = min(best, float(np.linalg.norm(away - along[..., None] * way, axis=2).min()))
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1)
    normal[length > 1e-9] /= length[length > 1e-9, None]
    height = np.einsum("nij,ij->ni", points[:, None] - corners[:, 0], normal)
    foot = points[:, None] - height[..., None] * normal
    inside = length[None] > 1e-9
    for number in range(3):
        a, b = corners[:, number], corners[:, (number + 1) % 3]
        inside = inside & (np.einsum("nij,ij->ni", np.cross(b - a, foot - a), normal) >= 0.0)
    return min(best, float(np.where(inside, np.abs(height), np.inf).min()))


def test_the_door_of_a_real_body_is_stopped_where_turning_its_triangles_says(meshes: Path) -> None:
    read = scan.read(meshes / "sedan_chassis_vis.obj")
    layout, _, ids = scan.add_to(job([]), read, scan.judge(read))
    shell = max(ids, key=lambda id: len(layout.panels[id].mesh.triangles))
    points = placement.panel_vertices(layout, layout.panels[shell])
    chosen = split.in_box(
        points, layout.panels[shell].mesh.triangles, (-1700.0, 650.0, 250.0), (-650.0, 950.0, 850.0)
    )
    layout, door = split.split_panel(layout, shell, chosen, "left front door")
    layout = hinges.set_motion(layout, door, hinges.hinge_at(layout, door, "front"))
    hinge = layout.panels[door].motion
    assert isinstance(hinge, Hinge)
    # A side bar that stands off the door, right in its way.
    x, y = hinge.start[0] - 600.0, 1150.0
    layout, tube = edits.add_tube(layout, [(x, y, 200.0), (x, y, 900.0)], 50)
    (touch,) = moving.measured(layout, distance.build(layout), [door], [tube])
    assert touch.touches_at is not None
    assert touch.panel == door

    bar = np.linspace((x, y, 200.0), (x, y, 900.0), 141)
    panel = layout.panels[door]
    placed = Panel(
        door, "door", 1, Mesh(placement.panel_vertices(layout, panel), panel.mesh.triangles), motion=hinge
    )

    def clearance(step: float) -> float:
        return least_gap(bar, opened(placed, step)) - OD / 2.0

    full = abs(hinge.angle)
    steps = np.linspace(0.0, touch.touches_at / full, 16)
    assert min(clearance(step) for step in steps[:-1]) > 0.0
    low, high = steps[-2], min(touch.touches_at / full + 0.01, 1.0)
    for _ in range(14):
        middle = (low + high) / 2.0
        low, high = (middle, high) if clearance(middle) > 0.0 else (low, middle)
    reach = math.hypot(600.0, y - hinge.start[1])
    assert touch.touches_at == pytest.approx(high * full, abs=(moving.ACCURACY + 0.4) / reach)
    (found,) = moving.findings(layout, [touch])
    assert found.rule == "door.hits"
