"""The swept mesh holds every pose of the tyre, and no more than that."""

import itertools
import math
from functools import cache

import numpy as np
import pytest
from msgspec.structs import replace

from geometry.body import envelope, tyres
from geometry.body.distance import PanelIndex
from geometry.body.envelope import TOLERANCE
from geometry.body.tyres import Wheel
from geometry.layout import Axle, Mesh
from geometry.vectors import Floats

MOST_TRIANGLES = 30_000
SOLID_FRONT = Axle(
    id=1,
    name="Front",
    x=0.0,
    height=420.0,
    track=1600.0,
    tyre=tyres.parsed("33x12.50R15"),
    bump=100.0,
    droop=125.0,
    roll=math.radians(8.0),
    roll_centre=500.0,
    steer_inner=math.radians(35.0),
    steer_outer=math.radians(28.0),
    kingpin=60.0,
)
SOLID_REAR = replace(SOLID_FRONT, name="Rear", x=-2400.0, steer_inner=0.0, steer_outer=0.0)
AXLES = {
    "solid, steered": SOLID_FRONT,
    "solid": SOLID_REAR,
    "independent, steered": replace(SOLID_FRONT, suspension="independent", steer_inner=math.radians(40.0)),
    "independent": replace(SOLID_REAR, suspension="independent"),
    "cambered": replace(SOLID_FRONT, camber=math.radians(3.0)),
    "kingpin in the tyre's centre, much roll": replace(SOLID_FRONT, kingpin=0.0, roll=math.radians(12.0)),
}
NAMES = pytest.mark.parametrize("name", AXLES)


@NAMES
def test_the_mesh_is_closed_faces_outwards_and_stays_small(name: str) -> None:
    mesh = swept(name)
    edges = mesh.triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
    assert len(np.unique(edges, axis=0)) == len(edges)
    assert {tuple(edge) for edge in edges} == {tuple(edge) for edge in edges[:, ::-1]}
    assert volume(mesh) > 0.1e9
    assert len(mesh.triangles) <= MOST_TRIANGLES
    assert not mesh.vertices.flags.writeable
    assert not mesh.triangles.flags.writeable


@NAMES
def test_every_pose_of_the_tyre_lies_in_the_mesh(name: str) -> None:
    wheel, random = wheel_of(name), np.random.default_rng(4)
    poses = random_poses(wheel, 20_000, random)
    points = moved(wheel, tread_and_sidewalls(wheel, 20_000, random), poses)
    gaps = envelope.mesh_gaps(PanelIndex(swept(name).vertices, swept(name).triangles), points)
    assert gaps.max() <= TOLERANCE


@NAMES
def test_every_point_of_the_mesh_lies_at_some_pose_of_the_tyre(name: str) -> None:
    mesh, random = swept(name), np.random.default_rng(5)
    corners = mesh.vertices[mesh.triangles[random.integers(0, len(mesh.triangles), 150)]]
    shares = random.dirichlet((1.0, 1.0, 1.0), len(corners))
    points = np.concatenate([corners[:, 0], np.einsum("ij,ijk->ik", shares, corners)])
    assert np.abs(least_gaps(wheel_of(name), points)).max() <= TOLERANCE


@NAMES
def test_near_the_surface_gaps_are_those_of_the_best_pose(name: str) -> None:
    wheel, random = wheel_of(name), np.random.default_rng(6)
    around = np.array(wheel.centre) + random.uniform(-700.0, 700.0, (2000, 3))
    gaps = envelope.gaps(wheel, around)
    near = np.flatnonzero((gaps > 0.0) & (gaps < 60.0))[:120]
    assert gaps[near] == pytest.approx(least_gaps(wheel, around[near]), abs=TOLERANCE)


def test_valleys_between_steered_poses_are_not_bridged() -> None:
    """Level with the hub no pose comes so far out as front and rear do; a hull would fill the place."""
    wheel = wheel_of("independent, steered")
    place = np.array([[0.0, wheel.centre[1] + 240.0, wheel.centre[2]]])
    index = PanelIndex(swept("independent, steered").vertices, swept("independent, steered").triangles)
    assert envelope.mesh_gaps(index, place)[0] == pytest.approx(least_gaps(wheel, place)[0], abs=TOLERANCE)
    assert envelope.mesh_gaps(index, place)[0] > 0.0
    assert PanelIndex(*hull(swept("independent, steered"))).inside(place).all()


def test_the_right_wheel_sweeps_the_mirror_image() -> None:
    left, right = (envelope.swept(wheel) for wheel in tyres.wheels(SOLID_FRONT))
    mirrored = right.vertices * (1.0, -1.0, 1.0)
    assert volume(right) == pytest.approx(volume(left), rel=2e-3)
    apart, _, _ = PanelIndex(left.vertices, left.triangles).closest(mirrored)
    assert apart.max() <= 2.0 * TOLERANCE


def test_travel_alone_sweeps_the_tyre_stretched_upwards() -> None:
    wheel, mesh = wheel_of("independent"), swept("independent")
    tyre, middle = wheel.tyre, np.array(wheel.centre)
    low, high = mesh.vertices.min(axis=0), mesh.vertices.max(axis=0)
    half = np.array([tyre.od / 2.0, tyre.width / 2.0, tyre.od / 2.0])
    assert low == pytest.approx(middle - half - (0, 0, wheel.droop), abs=TOLERANCE)
    assert high == pytest.approx(middle + half + (0, 0, wheel.bump), abs=TOLERANCE)


def test_a_tyre_that_stands_still_fills_its_own_volume() -> None:
    tyre = tyres.measured(800.0, 300.0, 40.0)
    mesh = envelope.swept(Wheel(tyre, (0.0, 0.0, 0.0), 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0))
    edge = 2.0 * math.pi * (360.0 * 40.0**2 * math.pi / 2.0 + 2.0 * 40.0**3 / 3.0) + math.pi * 360.0**2 * 80.0
    assert volume(mesh) == pytest.approx(math.pi * 400.0**2 * 220.0 + edge, rel=5e-3)


@pytest.mark.parametrize(
    ("od", "width", "part"), [(500.0, 89.0, 1.0), (560.0, 125.0, 1.0), (838.0, 317.0, 0.0)]
)
def test_the_space_is_as_true_as_it_says_for_narrow_tyres_and_sharp_shoulders(
    od: float, width: float, part: float
) -> None:
    tyre = tyres.measured(od, width, part * tyres.usual_shoulder(width))
    wheel = Wheel(tyre, (0.0, 700.0, 330.0), 640.0, 60.0, 50.0, 0.1, 330.0, 0.6, 0.5, 0.0)
    mesh = envelope.swept(wheel)
    random = np.random.default_rng(5)
    chosen = mesh.triangles[random.integers(len(mesh.triangles), size=4000)]
    places = np.einsum("nij,ni->nj", mesh.vertices[chosen], random.dirichlet((1, 1, 1), 4000))
    off = np.abs(envelope.gaps(wheel, places)).max()
    assert off <= envelope.tolerance(tyre)
    assert envelope.tolerance(tyre) == (envelope.TOLERANCE if part else envelope.SHARP_TOLERANCE)


# What follows places the tyre by matrices, apart from the code under test.


@cache
def swept(name: str) -> Mesh:
    return envelope.swept(wheel_of(name))


def wheel_of(name: str) -> Wheel:
    return tyres.wheel(AXLES[name], "left")


def volume(mesh: Mesh) -> float:
    a, b, c = np.moveaxis(mesh.vertices[mesh.triangles], 1, 0)
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6.0)


def hull(mesh: Mesh) -> tuple[Floats, Floats]:
    import trimesh

    whole = trimesh.convex.convex_hull(mesh.vertices)
    return np.array(whole.vertices), np.array(whole.faces)


def about_x(angle: Floats) -> Floats:
    one, nought, cos, sin = np.ones_like(angle), np.zeros_like(angle), np.cos(angle), np.sin(angle)
    rows = [[one, nought, nought], [nought, cos, -sin], [nought, sin, cos]]
    return np.moveaxis(np.array(rows), -1, 0)


def about_z(angle: Floats) -> Floats:
    one, nought, cos, sin = np.ones_like(angle), np.zeros_like(angle), np.cos(angle), np.sin(angle)
    return np.moveaxis(np.array([[cos, -sin, nought], [sin, cos, nought], [nought, nought, one]]), -1, 0)


def frames(wheel: Wheel, poses: Floats) -> tuple[Floats, Floats]:
    """Return the turns (n, 3, 3) and centres (n, 3) of the tyre: steered, then rolled, then lifted."""
    heave, roll, steer = poses.T
    kingpin = np.array([wheel.centre[0], wheel.kingpin_y, wheel.centre[2]])
    axis = np.array([wheel.centre[0], 0.0, wheel.roll_centre])
    rolled = about_x(roll)
    steered = kingpin + about_z(steer) @ (np.array(wheel.centre) - kingpin)
    centres = axis + np.einsum("nij,nj->ni", rolled, steered - axis)
    centres[:, 2] += heave
    return rolled @ about_z(steer) @ about_x(np.array([wheel.lean])), centres


def moved(wheel: Wheel, points: Floats, poses: Floats) -> Floats:
    turns, centres = frames(wheel, poses)
    return centres + np.einsum("nij,nj->ni", turns, points)


def depth_of(wheel: Wheel, points: Floats, poses: Floats) -> Floats:
    """Return the signed gap of each point to the tyre at its pose."""
    turns, centres = frames(wheel, poses)
    x, y, z = np.einsum("nji,nj->in", turns, points - centres)
    tyre = wheel.tyre
    past = np.array([np.hypot(x, z) - tyre.od / 2.0, np.abs(y) - tyre.width / 2.0]) + tyre.shoulder
    return np.linalg.norm(np.maximum(past, 0.0), axis=0) + np.minimum(past.max(axis=0), 0.0) - tyre.shoulder


def limits(wheel: Wheel) -> Floats:
    return np.array(
        [
            (-wheel.droop, wheel.bump),
            (-wheel.roll, wheel.roll),
            (-wheel.steer_right, wheel.steer_left),
        ]
    )


def random_poses(wheel: Wheel, count: int, random: np.random.Generator) -> Floats:
    """Return poses anywhere in the ranges, many of them at the ends: that is where the surface is."""
    low, high = limits(wheel).T
    parts = random.random((count, 3))
    at_end = random.random((count, 3)) < 0.4
    return low + (high - low) * np.where(at_end, np.round(parts), parts)


def tread_and_sidewalls(wheel: Wheel, count: int, random: np.random.Generator) -> Floats:
    """Return points on the surface of the tyre about its own centre."""
    tyre = wheel.tyre
    around, across = (
        random.uniform(-math.pi, math.pi, count),
        random.uniform(-math.pi / 2, math.pi / 2, count),
    )
    radius = tyre.od / 2.0 - tyre.shoulder + tyre.shoulder * np.cos(across)
    y = np.sign(across) * (tyre.width / 2.0 - tyre.shoulder) + tyre.shoulder * np.sin(across)
    is_side = np.abs(across) > 1.2
    radius = np.where(is_side, (tyre.od / 2.0 - tyre.shoulder) * np.sqrt(random.random(count)), radius)
    y = np.where(is_side, np.sign(across) * tyre.width / 2.0, y)
    return np.column_stack([radius * np.cos(around), y, radius * np.sin(around)])


def least_gaps(wheel: Wheel, points: Floats) -> Floats:
    """Return the least gap over all poses: every pose of a lattice, then a descent from the best few."""
    ranges = limits(wheel)
    counts = [15 if part == 0 else 11 for part in range(3)]
    axes = [
        np.linspace(*ends, count if ends[1] > ends[0] else 1)
        for ends, count in zip(ranges, counts, strict=True)
    ]
    lattice = np.array(list(itertools.product(*axes)))
    return np.array([_least_gap(wheel, point, lattice, ranges) for point in points])


def _least_gap(wheel: Wheel, point: Floats, lattice: Floats, ranges: Floats) -> float:
    gaps = depth_of(wheel, np.broadcast_to(point, lattice.shape), lattice)
    best = np.argsort(gaps)[:6]
    poses, step = lattice[best], (ranges[:, 1] - ranges[:, 0]) / 10.0
    random = np.random.default_rng(7)
    for _ in range(40):
        tries = poses[:, None, :] + step * random.uniform(-1.0, 1.0, (len(poses), 24, 3))
        tries = np.clip(np.concatenate([tries, poses[:, None, :]], axis=1), *ranges.T)
        flat = tries.reshape(-1, 3)
        found = depth_of(wheel, np.broadcast_to(point, flat.shape), flat).reshape(len(poses), -1)
        poses = tries[np.arange(len(poses)), found.argmin(axis=1)]
        step = step * 0.87
    return float(depth_of(wheel, np.broadcast_to(point, poses.shape), poses).min())
