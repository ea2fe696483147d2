"""Tubes along bodies whose best tube is known, and what every proposal promises."""

import itertools
import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from geometry.body import distance
from geometry.body.distance import BodyIndex, PanelIndex
from geometry.checks import clearance
from geometry.errors import GeometryError
from geometry.laying import cost, following, shape
from geometry.laying.wish import Place, Proposal, Wish, recommended
from geometry.layout import Body, Die, Layout, Mesh, Node, Panel, Stock, Tube
from geometry.progress import Cancelled
from geometry.tolerances import CLEARANCE_ACCURACY
from geometry.tube import centreline
from geometry.vectors import Floats, vec

OD, CLR, BETWEEN = 44.45, 152.4, 88.9
RADIUS = OD / 2.0
UP = (0.0, 0.0, 1.0)
FIVE = math.radians(5.0)


def wished(*places: Place, **changes: object) -> Wish:
    plain = Wish(
        places,
        od=OD,
        clr=CLR,
        between_straight=BETWEEN,
        largest_angle=math.radians(120.0),
        closest=15.0,
        wanted=30.0,
        farthest=40.0,
    )
    return replace(plain, **changes)


def sheet(form: Callable[[Floats, Floats], tuple[Floats, Floats, Floats]], u: Floats, v: Floats) -> Mesh:
    """Return a mesh over a grid of u and v."""
    grid_u, grid_v = np.meshgrid(u, v, indexing="ij")
    points = np.stack(np.broadcast_arrays(*form(grid_u, grid_v)), axis=-1).reshape(-1, 3)
    numbers = np.arange(len(points)).reshape(grid_u.shape)
    a, b, c, d = (
        part.ravel() for part in (numbers[:-1, :-1], numbers[1:, :-1], numbers[1:, 1:], numbers[:-1, 1:])
    )
    triangles = np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)])
    return Mesh(points, triangles.astype(np.int32))


def indexed(*meshes: Mesh) -> BodyIndex:
    return {10 + number: PanelIndex(mesh.vertices, mesh.triangles) for number, mesh in enumerate(meshes)}


def flat() -> Mesh:
    return sheet(lambda x, y: (x, y, 0.0 * x), np.linspace(-500, 2500, 61), np.linspace(-500, 500, 21))


def creased(angle: float) -> Mesh:
    """Return a sheet that falls off by an angle from x = 0 on (rises if it is negative)."""
    return sheet(
        lambda x, y: (
            np.where(x > 0, x * math.cos(angle), x),
            y,
            np.where(x > 0, -x * math.sin(angle), 0.0),
        ),
        np.linspace(-1500, 1500, 61),
        np.linspace(-500, 500, 21),
    )


def over_crease(angle: float) -> tuple[Place, Place]:
    sine, cosine = math.sin(angle), math.cos(angle)
    return Place((-1000.0, 0.0, 0.0), UP), Place((1000 * cosine, 0.0, -1000 * sine), (sine, 0.0, cosine))


def cylinder(radius: float) -> Mesh:
    """Return the upper part of a cylinder along y; facets are 0.1 mm off at most."""
    return sheet(
        lambda t, y: (radius * np.sin(t), y, radius * np.cos(t)),
        np.linspace(-2.0, 2.0, 400),
        np.linspace(-500, 500, 21),
    )


def on_cylinder(radius: float, angle: float) -> Place:
    out = (math.sin(angle), 0.0, math.cos(angle))
    return Place((radius * out[0], 0.0, radius * out[2]), out)


def bulged(x: Floats, y: Floats) -> Floats:
    return 60.0 * np.exp(-(x**2 + y**2) / 2.0 / 200.0**2)


def bulge() -> Mesh:
    return sheet(lambda x, y: (x, y, bulged(x, y)), np.linspace(-1500, 1500, 121), np.linspace(-600, 600, 51))


def laid_out(tube: Proposal, *meshes: Mesh) -> Layout:
    """Return a layout of this one tube and a body."""
    return Layout(
        nodes={100 + number: Node(100 + number, corner) for number, corner in enumerate(tube.corners)},
        tubes={1: Tube(1, "T1", tuple(100 + number for number in range(len(tube.corners))), 2, 3)},
        stocks={2: Stock(2, "44", OD, 2.0)},
        dies={3: Die(3, "152", OD, CLR, between_straight=BETWEEN)},
        bodies={4: Body(4, "scan")},
        panels={10 + number: Panel(10 + number, "p", 4, mesh) for number, mesh in enumerate(meshes)},
    )


def assert_kept(tube: Proposal, wish: Wish, *meshes: Mesh) -> None:
    """Check what a proposal promises by other means than those it was found with."""
    layout = laid_out(tube, *meshes)
    index = distance.build(layout)
    rows = clearance.clearances(layout, index, reach=5000.0)
    assert min(row.clearance for row in rows) >= wish.closest
    assert min(row.clearance for row in rows) == pytest.approx(tube.closest, abs=CLEARANCE_ACCURACY)
    line = centreline.build(tube.corners, wish.clr)
    assert line.is_makeable
    assert [bend.angle for bend in line.bends] == pytest.approx(tube.angles, abs=1e-12)
    assert all(straight >= wish.between_straight - 1e-6 for straight in line.straights[1:-1])
    assert all(angle <= wish.largest_angle + 1e-9 for angle in tube.angles)
    if tube.fits:
        stations = np.linspace(0.0, line.length, 3001)
        points = centreline.point_at(line, stations)
        gaps = np.min([panel.closest(points)[0] for panel in index.values()], axis=0)
        assert gaps.max() - RADIUS <= wish.farthest + 1.0
        for place in wish.places[1:-1]:
            nearest = centreline.nearest(line, place.point)[1]
            assert math.dist(nearest, place.point) <= wish.reach + 1e-6
    for place, end in ((wish.places[0], tube.corners[0]), (wish.places[-1], tube.corners[-1])):
        away = np.subtract(end, place.point)
        out = np.array(place.normal) / np.linalg.norm(place.normal)
        assert np.linalg.norm(np.cross(away, out)) < 1e-6


def test_a_flat_panel_takes_a_straight_tube_at_the_wanted_stand_off() -> None:
    wish = wished(Place((0.0, 0.0, 0.0), UP), Place((2000.0, 100.0, 0.0), UP))
    (tube,) = following.propose(indexed(flat()), wish)
    assert tube.bends == 0
    assert (tube.closest, tube.farthest, tube.mean) == pytest.approx((30.0, 30.0, 30.0), abs=0.1)
    assert_kept(tube, wish, flat())


@pytest.mark.parametrize("degrees", [20.0, 45.0, -20.0])
def test_a_crease_takes_one_bend_of_its_angle_above_it(degrees: float) -> None:
    angle = math.radians(degrees)
    wish = wished(*over_crease(angle))
    tube = recommended(following.propose(indexed(creased(angle)), wish))
    assert tube.fits
    assert tube.bends == 1
    assert math.degrees(tube.angles[0]) == pytest.approx(abs(degrees), abs=0.1)
    # Both legs stand off as wanted, so they meet on the bisector.
    height = 30.0 + RADIUS
    corner = (height * math.tan(angle / 2.0), 0.0, height)
    assert tube.corners[1] == pytest.approx(corner, abs=1.0)
    assert_kept(tube, wish, creased(angle))


@pytest.mark.parametrize(("radius", "half"), [(600.0, 45.0), (1500.0, 45.0), (1500.0, 20.0), (4000.0, 10.0)])
def test_a_cylinder_takes_as_many_bends_as_the_sagitta_asks_for(radius: float, half: float) -> None:
    angle = math.radians(half)
    wish = wished(on_cylinder(radius, -angle), on_cylinder(radius, angle), most_bends=5)
    tubes = following.propose(indexed(cylinder(radius)), wish)
    inner, outer = radius + RADIUS + 15.0, radius + RADIUS + 40.0
    # A straight that touches the inner circle reaches the outer one so far either way of there. A bend's
    # middle is on the outer circle at the farthest, which puts its corner a little outside of it.
    needed = 0
    while True:
        turn = 2.0 * angle / max(needed, 1)
        cut = CLR * (1.0 / math.cos(turn / 2.0) - 1.0) if needed else 0.0
        ends, legs = math.acos(inner / outer), math.acos(min(inner / (outer + cut), 1.0))
        if 2.0 * (ends + needed * legs) >= 2.0 * angle:
            break
        needed += 1
    assert recommended(tubes).fits
    assert recommended(tubes).bends == needed
    for tube in tubes:
        assert_kept(tube, wish, cylinder(radius))


def test_a_bulge_is_passed_within_the_band() -> None:
    wish = wished(Place((-900.0, 0.0, 0.0), UP), Place((900.0, 0.0, 0.0), UP))
    tubes = following.propose(indexed(bulge()), wish)
    assert recommended(tubes).fits
    for tube in tubes:
        assert_kept(tube, wish, bulge())
    counts = [tube.bends for tube in tubes]
    assert counts == sorted(set(counts))


def test_places_between_the_ends_are_passed() -> None:
    place = Place((0.0, 250.0, float(bulged(np.array(0.0), np.array(250.0)))), UP)
    wish = wished(Place((-900.0, 100.0, 0.0), UP), place, Place((900.0, 100.0, 0.0), UP))
    tube = recommended(following.propose(indexed(bulge()), wish))
    assert tube.fits
    assert tube.bends >= 1
    assert_kept(tube, wish, bulge())


@pytest.mark.parametrize("angles", [FIVE, tuple(math.radians(a) for a in (10.0, 22.5, 30.0, 45.0))])
def test_liked_angles_are_met_exactly(angles: float | tuple[float, ...]) -> None:
    wish = wished(on_cylinder(600.0, -0.7), on_cylinder(600.0, 0.7), angles=angles)
    tubes = following.propose(indexed(cylinder(600.0)), wish)
    assert recommended(tubes).bends >= 2
    for tube in tubes:
        bends = centreline.build(tube.corners, CLR).bends
        for bend in bends:
            liked = angles if isinstance(angles, tuple) else [round(bend.angle / angles) * angles]
            assert min(abs(bend.angle - one) for one in liked) < 1e-9
        assert_kept(tube, wish, cylinder(600.0))


def test_more_bends_come_closer_or_fit_better() -> None:
    wish = wished(on_cylinder(1500.0, -0.7), on_cylinder(1500.0, 0.7), most_bends=5)
    tubes = following.propose(indexed(cylinder(1500.0)), wish)
    assert len(tubes) >= 3
    for fewer, more in itertools.pairwise(tubes):
        assert fewer.bends < more.bends
        assert more.excess < fewer.excess or more.fits > fewer.fits or more.outside < fewer.outside


def mirrored(wish: Wish) -> Wish:
    """Return the wish with x turned round and its places in reverse."""
    flipped = [
        Place((-p.point[0], p.point[1], p.point[2]), (-p.normal[0], p.normal[1], p.normal[2]))
        for p in wish.places
    ]
    return replace(wish, places=tuple(reversed(flipped)))


def test_a_mirrored_wish_gets_as_good_a_tube() -> None:
    index = indexed(bulge())
    wish = wished(Place((-900.0, 50.0, 0.0), UP), Place((700.0, 50.0, 0.0), UP))
    here = following.propose(index, wish)
    there = following.propose(index, mirrored(wish))
    assert recommended(here).bends == recommended(there).bends
    assert price(recommended(here), wish) == pytest.approx(
        price(recommended(there), wish), rel=0.02, abs=0.05
    )


def price(tube: Proposal, wish: Wish, steps: int = 2000) -> float:
    """Return what the stand-off of a tube over the bulge, or round a cylinder about y, costs."""
    line = centreline.build(tube.corners, wish.clr)
    points = centreline.point_at(line, np.linspace(0.0, line.length, steps))
    gaps = indexed(bulge())[10].closest(points)[0] - RADIUS
    return float(cost.closeness(gaps, wish).mean())


def test_exhaustive_search_finds_no_fewer_bends_and_nothing_closer() -> None:
    radius, half = 600.0, math.radians(45.0)
    wish = wished(on_cylinder(radius, -half), on_cylinder(radius, half), most_bends=2)
    tube = recommended(following.propose(indexed(cylinder(radius)), wish))
    assert tube.bends == 2
    assert _exhaustive(wish, radius, half, 1)[0] == math.inf
    _, coarse = _exhaustive(wish, radius, half, 2)
    assert coarse is not None
    best = _polished(wish, radius, coarse)
    line = centreline.build(tube.corners, CLR)
    points = centreline.point_at(line, np.linspace(0.0, line.length, 2000))
    own = float(cost.closeness(np.hypot(points[:, 0], points[:, 2]) - radius - RADIUS, wish).mean())
    assert own <= 1.02 * best


def _exhaustive(wish: Wish, radius: float, half: float, bends: int) -> tuple[float, Floats | None]:
    """Try all combinations of coarse corners round a cylinder; return the least price in the band."""
    heights = radius + RADIUS + np.linspace(15.0, 60.0, 10)
    turns = np.linspace(-half, half, 25)[1:-1]
    corners = [(h * math.sin(t), 0.0, h * math.cos(t)) for t, h in itertools.product(turns, heights)]
    ends = radius + RADIUS + np.linspace(15.0, 40.0, 6)
    first = [(-h * math.sin(half), 0.0, h * math.cos(half)) for h in ends]
    last = [(h * math.sin(half), 0.0, h * math.cos(half)) for h in ends]
    best, tube = math.inf, None
    for start, end in itertools.product(first, last):
        chosen = [
            inner
            for inner in itertools.combinations(corners, bends)
            if all(a[0] < b[0] for a, b in itertools.pairwise(inner))
        ]
        tubes = np.array([(start, *inner, end) for inner in chosen])
        where = shape.places(np.full(bends + 1, 300.0), np.full(bends, 80.0), 25.0, 20.0)
        laid = shape.shaped(tubes, wish.clr, where)
        clear = np.hypot(laid.points[..., 0], laid.points[..., 2]) - radius - RADIUS
        fits = (clear.min(axis=1) >= wish.closest) & (clear.max(axis=1) <= wish.farthest)
        fits &= (laid.straights >= 0.0).all(axis=1) & (laid.straights[:, 1:-1] >= BETWEEN).all(axis=1)
        if fits.any():
            prices = np.sum(cost.closeness(clear, wish) * laid.weights, axis=1) / laid.weights.sum(axis=1)
            number = int(np.where(fits, prices, np.inf).argmin())
            if prices[number] < best:
                best, tube = float(prices[number]), tubes[number]
    return best, tube


def _polished(wish: Wish, radius: float, tube: Floats) -> float:
    """Return what the price of a tube round a cylinder falls to where each corner may move in the plane."""
    from scipy.optimize import minimize

    def price_of(x: Floats) -> float:
        corners = np.column_stack([x[::2], np.zeros(len(x) // 2), x[1::2]])
        out = tube[[0, -1]] / np.linalg.norm(tube[[0, -1]], axis=1, keepdims=True)
        corners[0], corners[-1] = out[0] * math.hypot(x[0], x[1]), out[1] * math.hypot(x[-2], x[-1])
        bends = len(corners) - 2
        where = shape.places(np.full(bends + 1, 300.0), np.full(bends, 80.0), 10.0, 8.0)
        laid = shape.shaped(corners[None], wish.clr, where)
        clear = np.hypot(laid.points[0, :, 0], laid.points[0, :, 2]) - radius - RADIUS
        broken = np.maximum(wish.closest - clear, 0.0).sum() + np.maximum(clear - wish.farthest, 0.0).sum()
        return float(cost.closeness(clear, wish) @ laid.weights[0] / laid.weights.sum()) + 100.0 * broken

    found = minimize(
        price_of, tube[:, ::2].ravel(), method="Nelder-Mead", options={"maxiter": 6000, "adaptive": True}
    )
    return float(found.fun)


@settings(max_examples=12)
@given(st.integers(0, 10_000), st.sampled_from([None, FIVE]))
def test_what_is_recommended_on_a_bumpy_body_keeps_its_promises(seed: int, angles: float | None) -> None:
    random = np.random.default_rng(seed)
    waves = random.uniform((2.0, 1 / 400, 1 / 400, 0.0), (12.0, 1 / 120, 1 / 120, 6.0), (4, 4))

    def bumpy(x: Floats, y: Floats) -> Floats:
        return sum(h * np.sin(a * x + p) * np.cos(b * y + p) for h, a, b, p in waves)

    mesh = sheet(lambda x, y: (x, y, bumpy(x, y)), np.linspace(-900, 900, 91), np.linspace(-400, 400, 41))
    spots = np.sort(random.uniform(-800, 800, 3))
    spots[[0, -1]] = -800.0, 800.0
    panel = indexed(mesh)[10]
    picked = np.array([(x, random.uniform(-40, 40), 0.0) for x in spots])
    picked = panel.closest(picked)[2]
    wish = wished(*(Place(vec(point), UP) for point in picked), angles=angles, farthest=60.0)
    tubes = following.propose(indexed(mesh), wish)
    for tube in tubes:
        assert_kept(tube, wish, mesh)
        if angles is not None:
            assert all(abs(a - round(a / angles) * angles) < 1e-9 for a in tube.angles)


def test_a_place_off_the_body_is_named() -> None:
    wish = wished(Place((0.0, 0.0, 0.0), UP), Place((2000.0, 0.0, 300.0), UP))
    with pytest.raises(GeometryError, match="near place 2"):
        following.propose(indexed(flat()), wish)


def test_without_a_body_there_is_nothing_to_follow() -> None:
    with pytest.raises(GeometryError, match="no body"):
        following.propose({}, wished(Place((0.0, 0.0, 0.0), UP), Place((900.0, 0.0, 0.0), UP)))


def test_places_too_near_each_other_for_the_radius_are_refused() -> None:
    angle = math.radians(90.0)
    wish = wished(
        Place((-40.0, 0.0, 0.0), UP), Place((0.0, 0.0, -40.0), (1.0, 0.0, 0.0)), farthest=32.0, wanted=30.0
    )
    with pytest.raises(GeometryError, match=r"too near each other|No tube"):
        following.propose(indexed(creased(angle)), wish)


def test_work_can_be_cancelled() -> None:
    calls = []

    def cancel(done: float, doing: str) -> None:
        calls.append(done)
        if len(calls) == 4:
            raise Cancelled

    wish = wished(on_cylinder(600.0, -0.7), on_cylinder(600.0, 0.7))
    with pytest.raises(Cancelled):
        following.propose(indexed(cylinder(600.0)), wish, cancel)
    assert calls == sorted(calls)


def _sedan(meshes: Path) -> tuple[Mesh, PanelIndex]:
    from geometry.body import scan

    found = scan.read(meshes / "sedan_chassis_vis.obj")
    body = max(found.parts, key=lambda part: len(part.mesh.triangles)).mesh
    scaled = Mesh(np.asarray(body.vertices) * 1000.0, body.triangles)
    return scaled, PanelIndex(scaled.vertices, scaled.triangles)


@pytest.mark.parametrize(("part", "height"), [((0.40, 0.62), 0.15), ((0.50, 0.62), 0.93)])
def test_sill_and_roof_rail_of_the_sedan_are_followed(
    meshes: Path, part: tuple[float, float], height: float
) -> None:
    mesh, panel = _sedan(meshes)
    low, high = panel.bounds
    picked = []
    for along in part:
        x = high[0] - along * (high[0] - low[0])
        z = low[2] + height * (high[2] - low[2])
        beside = np.array([x, high[1] + 400.0, z])
        above = np.array([x, high[1] + 100.0, z + 400.0])
        eye = beside if height < 0.5 else above
        point = panel.closest(eye)[2][0]
        picked.append(Place(vec(point), vec((eye - point) / np.linalg.norm(eye - point))))
    wish = wished(*picked, farthest=60.0)
    tubes = following.propose({10: panel}, wish)
    for tube in tubes:
        assert_kept(tube, wish, mesh)
    assert recommended(tubes).fits
