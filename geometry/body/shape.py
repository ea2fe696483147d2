"""What a body's shape tells: planes of symmetry, which way is up and forward, unit, front axle."""

import math
import re
from collections.abc import Sequence
from itertools import product
from typing import Literal

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from geometry.layout import MM_PER_UNIT, Axis, LengthUnit, Mesh
from geometry.vectors import Floats, Ints, unit

SAMPLES = 16000
AXES: tuple[Axis, ...] = ("+x", "-x", "+y", "-y", "+z", "-z")
TYPICAL_MM = (4200.0, 1750.0, 1500.0)  # length, width, height of a vehicle
LEAST_MM = (2200.0, 1250.0, 700.0)
LARGEST_MM = (7500.0, 2800.0, 3200.0)
MODEL_MM = (200.0, 2200.0)  # length of a scale model
TYPICAL_OVERHANG = 0.19  # from the foremost point to the front axle, as a part of the length
SYMMETRICAL = 0.04  # of the width: two sides that differ by more have no plane between them
SAME_PLANE = 0.001  # of the width: finer than a plane can be found from samples


class Sample(Struct, frozen=True, eq=False):
    """Points spread evenly over a body's surface, in the file's axes and unit."""

    points: Floats  # (n, 3)
    normals: Floats  # (n, 3)
    parts: Ints  # (n,) the part each point lies on
    lows: Floats  # (parts, 3)
    highs: Floats  # (parts, 3)

    def of(self, parts: Sequence[int]) -> "Sample":
        """Return the sample of some of the parts."""
        on = np.isin(self.parts, parts)
        chosen = list(parts)
        return Sample(
            self.points[on], self.normals[on], self.parts[on], self.lows[chosen], self.highs[chosen]
        )

    @property
    def low(self) -> Floats:
        lowest: Floats = self.lows.min(axis=0)
        return lowest

    @property
    def high(self) -> Floats:
        highest: Floats = self.highs.max(axis=0)
        return highest


def turned_sample(sample: Sample, meshes: Sequence[Mesh], turn: Floats) -> Sample:
    """Return a sample of the meshes as it is after a turn (rows)."""
    boxes = [mesh.vertices @ turn.T for mesh in meshes]
    return Sample(
        sample.points @ turn.T,
        sample.normals @ turn.T,
        sample.parts,
        np.array([points.min(axis=0) for points in boxes]),
        np.array([points.max(axis=0) for points in boxes]),
    )


class Mirror(Struct, frozen=True):
    """The best plane of symmetry square to an axis, in the file's unit."""

    offset: float
    deviation: float  # nine tenths of the surface lie within this of their mirror image


def sampled(meshes: Sequence[Mesh]) -> Sample:
    """Return points spread evenly over the surface of all meshes, always the same ones."""
    random = np.random.default_rng(7)
    asked = [_some_triangles(mesh, random) for mesh in meshes]
    doubled = [_doubled_areas(mesh, some) for mesh, some in zip(meshes, asked, strict=True)]
    sums = [
        float(areas.sum()) * len(mesh.triangles) / len(areas)
        for mesh, areas in zip(meshes, doubled, strict=True)
    ]
    counts = random.multinomial(SAMPLES, np.array(sums) / sum(sums))
    points, normals, parts = [], [], []
    for index, (mesh, some, areas) in enumerate(zip(meshes, asked, doubled, strict=True)):
        spots = np.sort(random.random(counts[index])) * areas.sum()
        triangles = some[np.searchsorted(np.cumsum(areas), spots).clip(max=len(areas) - 1)]
        on, square = _points_on(mesh, triangles, random)
        points.append(on)
        normals.append(square)
        parts.append(np.full(len(on), index, np.int64))
    lows = np.array([mesh.vertices.min(axis=0) for mesh in meshes])
    highs = np.array([mesh.vertices.max(axis=0) for mesh in meshes])
    return Sample(np.concatenate(points), np.concatenate(normals), np.concatenate(parts), lows, highs)


def _some_triangles(mesh: Mesh, random: np.random.Generator) -> Ints:
    """Return the triangles to choose from: all, or of a fine mesh enough to know where surface is."""
    count = len(mesh.triangles)
    return np.arange(count) if count <= 8 * SAMPLES else np.sort(random.integers(0, count, 8 * SAMPLES))


def _doubled_areas(mesh: Mesh, triangles: Ints) -> Floats:
    a, b, c = (mesh.vertices[mesh.triangles[triangles, corner]] for corner in range(3))
    areas: Floats = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    return areas


def _points_on(mesh: Mesh, triangles: Ints, random: np.random.Generator) -> tuple[Floats, Floats]:
    a, b, c = (mesh.vertices[mesh.triangles[triangles, corner]] for corner in range(3))
    root, along = np.sqrt(random.random((len(a), 1))), random.random((len(a), 1))
    points = a + root * (b - a) * (1 - along) + root * along * (c - a)
    return points, unit(np.cross(b - a, c - a))


def mirrors(sample: Sample) -> tuple[Mirror, Mirror, Mirror]:
    """Return the best plane of symmetry square to x, y and z."""
    return mirror(sample, 0), mirror(sample, 1), mirror(sample, 2)


def mirror(sample: Sample, axis: int) -> Mirror:
    """Return the best plane of symmetry square to an axis."""
    from scipy.spatial import cKDTree

    tree = cKDTree(sample.points)
    few = sample.points[:: max(1, len(sample.points) // 4000)]
    offset = float(sample.low[axis] + sample.high[axis]) / 2
    for _ in range(4):
        image = few.copy()
        image[:, axis] = 2 * offset - image[:, axis]
        distances, nearest = tree.query(image)
        close = distances <= np.quantile(distances, 0.7)
        # Only where the surface looks sideways does it say where the plane lies.
        square = np.abs(sample.normals[nearest, axis])
        gaps = sample.points[nearest, axis] - image[:, axis]
        weights = square * close
        offset += float((weights * gaps).sum() / max(weights.sum(), 1e-12)) / 2
    image = few.copy()
    image[:, axis] = 2 * offset - image[:, axis]
    distances, nearest = tree.query(image, k=3)
    apart = sample.points[nearest] - image[:, None]
    off_plane = np.abs((apart * sample.normals[nearest]).sum(axis=2)).min(axis=1)
    # Where the nearest metal is far, the distance along its normal says nothing.
    spacing = np.median(distances[:, 0])
    off = np.where(distances[:, 0] > 4 * spacing, distances[:, 0], off_plane)
    return Mirror(offset, float(np.quantile(off, 0.9)))


# Up and forward


def direction(axis: Axis) -> Floats:
    """Return the unit vector an axis names."""
    vector = np.zeros(3)
    vector["xyz".index(axis[1])] = 1.0 if axis[0] == "+" else -1.0
    return vector


def turn_of(up: Axis, forward: Axis) -> Floats:
    """Return the turn (rows) from the file's axes to x forward, y left, z up."""
    ahead, above = direction(forward), direction(up)
    return np.array([ahead, np.cross(above, ahead), above])


QuarterTurn = Literal["end for end", "quarter", "tip", "roll"]


def turned(how: QuarterTurn, up: Axis, forward: Axis) -> tuple[Axis, Axis]:
    """Return up and forward (axes of the file) once the body is turned about, left, nose down or over."""
    match how:
        case "end for end":
            return up, _opposite(forward)
        case "quarter":
            return up, _square_to(forward, up)
        case "tip":
            return _opposite(forward), up
        case "roll":
            return _square_to(up, forward), forward


def _opposite(axis: Axis) -> Axis:
    return AXES[AXES.index(axis) ^ 1]


def _square_to(a: Axis, b: Axis) -> Axis:
    """Return the axis square to two others, right-handed."""
    square = np.cross(direction(a), direction(b))
    return next(axis for axis in AXES if np.array_equal(direction(axis), square))


def guess_axes(
    sample: Sample,
    planes: tuple[Mirror, Mirror, Mirror],
    names: Sequence[str],
    up: Axis | None = None,
    forward: Axis | None = None,
    stated_up: Axis | None = None,
    stated_forward: Axis | None = None,
) -> tuple[Axis, Axis]:
    """Return the most likely (up, forward), holding fast to those that are given."""
    ups = AXES if up is None else (up,)
    forwards = AXES if forward is None else (forward,)
    pairs = [(above, ahead) for above, ahead in product(ups, forwards) if above[1] != ahead[1]]
    if not pairs:
        raise ValueError(f"up {up} and forward {forward} lie on one line")

    def likelihood(pair: tuple[Axis, Axis]) -> float:
        return (
            _axes_evidence(sample, planes, *pair)
            + _up_evidence(sample, pair[0])
            + _forward_evidence(sample, names, *pair)
            + _habit(*pair, stated_up, stated_forward)
        )

    return max(pairs, key=likelihood)


def _axes_evidence(sample: Sample, planes: tuple[Mirror, Mirror, Mirror], up: Axis, forward: Axis) -> float:
    """Judge proportions and symmetry, whichever way the axes point."""
    high, long = "xyz".index(up[1]), "xyz".index(forward[1])
    wide = 3 - high - long
    size = np.maximum(sample.high - sample.low, 1e-12)
    slim = math.log(size[long] / size[wide]) - math.log(2.3)
    tall = math.log(size[high] / size[wide]) - math.log(0.85)
    deviations = [planes[axis].deviation / size.max() for axis in range(3)]
    best, own = min(deviations), deviations[wide]
    crooked = math.log((own + 0.002) / (best + 0.002))
    return -((slim / 0.4) ** 2) - (tall / 0.4) ** 2 - 2.0 * crooked


def _up_evidence(sample: Sample, up: Axis) -> float:
    """A vehicle is narrower and shorter at the roof than below."""
    axis = "xyz".index(up[1])
    heights = _fractions(sample, up)
    others = [other for other in range(3) if other != axis]
    score = 0.0
    for low, high in ((0.2, 0.8), (0.45, 0.55)):
        below, above = (sample.points[side][:, others] for side in (heights < low, heights > high))
        if len(below) < 20 or len(above) < 20:
            continue
        spans = [np.prod(np.maximum(np.ptp(_within(points), axis=0), 1e-12)) for points in (below, above)]
        score += float(np.clip(math.log(spans[0] / spans[1]), -2.0, 2.0))
    return score


def _within(points: Floats) -> Floats:
    """Return the 3rd and 97th hundredth of each column (2, k): an aerial doesn't count."""
    low_high: Floats = np.quantile(points, (0.03, 0.97), axis=0)
    return low_high


def _fractions(sample: Sample, axis: Axis) -> Floats:
    """Return how far along the axis each sample point lies, 0 to 1 (n,)."""
    index = "xyz".index(axis[1])
    low, high = sample.low[index], sample.high[index]
    along: Floats = (sample.points[:, index] - low) / max(high - low, 1e-12)
    return along if axis[0] == "+" else 1.0 - along


_FRONT_WORDS = (
    "front",
    "bonnet",
    "hood",
    "grille",
    "grill",
    "headlight",
    "headlamp",
    "windscreen",
    "windshield",
)
_REAR_WORDS = ("rear", "back", "tail", "tailgate", "boot", "trunk", "bed", "taillight", "exhaust")


def _forward_evidence(sample: Sample, names: Sequence[str], up: Axis, forward: Axis) -> float:
    """The bonnet end is lower than the other, and names may say which is which."""
    along, heights = _fractions(sample, forward), _fractions(sample, up)
    score = 0.0
    for inner in (0.08, 0.2):
        front, back = heights[along > 1 - inner], heights[along < inner]
        if len(front) >= 20 and len(back) >= 20:
            score += 2.0 * float(np.quantile(back, 0.9) - np.quantile(front, 0.9))
    return score + 6.0 * _named_forward(sample, names, forward)


def _named_forward(sample: Sample, names: Sequence[str], forward: Axis) -> float:
    """Return 1 if the parts' names agree with forward, -1 if they say the opposite, 0 if they say nothing."""
    middles = (sample.lows + sample.highs) / 2 @ direction(forward)
    words = [words_of(name) for name in names]
    fronts = [middle for middle, some in zip(middles, words, strict=True) if some & set(_FRONT_WORDS)]
    backs = [middle for middle, some in zip(middles, words, strict=True) if some & set(_REAR_WORDS)]
    if not fronts and not backs:
        return 0.0
    middle = float((sample.low + sample.high) / 2 @ direction(forward))
    ahead = float(np.mean(fronts)) if fronts else middle
    behind = float(np.mean(backs)) if backs else middle
    return float(np.sign(ahead - behind))


def words_of(name: str) -> set[str]:
    """Return the words of an object's name: frontLeft_wheel.001 -> front, left, wheel."""
    parted = re.sub(r"([a-z])([A-Z])", r"\1 \2", name)
    return set(re.findall(r"[a-z]+", parted.lower()))


def _habit(up: Axis, forward: Axis, stated_up: Axis | None, stated_forward: Axis | None) -> float:
    """What the format says, and what most files do."""
    score = 0.6 * (up == "+z") + 0.3 * (up == "+y") + 0.1 * (forward[0] == "+") + 0.2 * (forward == "+x")
    return score + 4.0 * (up == stated_up) + 1.0 * (forward == stated_forward)


# Unit


def guess_unit(size: Floats, stated: LengthUnit | None = None) -> tuple[LengthUnit, str]:
    """Return the unit in which a size (length, width, height) fits a vehicle, and a warning or ''."""
    if stated is not None:
        return stated, odd_size(size, stated)
    vehicles = [name for name in MM_PER_UNIT if _is_vehicle(size * MM_PER_UNIT[name])]
    if vehicles:
        return min(vehicles, key=lambda name: _unlikeliness(size * MM_PER_UNIT[name])), ""
    models = [name for name in MM_PER_UNIT if MODEL_MM[0] <= size[0] * MM_PER_UNIT[name] <= MODEL_MM[1]]
    metric = [name for name in models if name in ("mm", "cm", "m")]
    for choice in (metric, models, list(MM_PER_UNIT)):
        if choice:
            chosen = min(choice, key=lambda name: _unlikeliness(size * MM_PER_UNIT[name]))
            return chosen, odd_size(size, chosen)
    raise AssertionError("some unit is always left")


def _is_vehicle(size_mm: Floats) -> bool:
    return bool((size_mm >= LEAST_MM).all() and (size_mm <= LARGEST_MM).all())


def _unlikeliness(size_mm: Floats) -> float:
    return float((np.log(np.maximum(size_mm, 1e-9) / TYPICAL_MM) ** 2).sum())


def odd_size(size: Floats, unit: LengthUnit) -> str:
    """Say that a size, in the unit given, is not a vehicle's; empty when it is one's, turned or not."""
    sides = np.sort(size) * MM_PER_UNIT[unit]
    if (sides >= np.sort(LEAST_MM)).all() and (sides <= np.sort(LARGEST_MM)).all():
        return ""
    length = size[0] * MM_PER_UNIT[unit] / 1000
    said = f"{length:.3g}" if length < 100 else f"{length:.0f}"
    return (
        f"Read as {unit} the body is {said} m long, which is not the size of a vehicle. "
        "Choose another unit or give one dimension you know."
    )


# Front axle


def guess_front_axle(points: Floats, names: Sequence[str], lows: Floats, highs: Floats) -> float:
    """Return how far behind the foremost point the front axle lies; points (n, 3) in the car's axes."""
    foremost, length = float(highs[:, 0].max()), float(np.ptp([lows[:, 0].min(), highs[:, 0].max()]))
    wheels = [
        index for index, name in enumerate(names) if words_of(name) & {"wheel", "wheels", "tyre", "tire"}
    ]
    middles = (lows[wheels, 0] + highs[wheels, 0]) / 2
    ahead = middles[middles > foremost - length / 2]
    if len(ahead):
        return foremost - float(ahead.mean())
    for found in (_touching_wheel(points), _front_arch(points)):
        if found is not None and 0.05 * length < foremost - found < 0.35 * length:
            return foremost - found
    return TYPICAL_OVERHANG * length


def _edge_profile(points: Floats) -> tuple[Floats, Floats] | None:
    """Return x places from the front and the lowest height of the sides there, as a part of the height."""
    half = np.quantile(np.abs(points[:, 1]), 0.98)
    sides = points[np.abs(points[:, 1]) > 0.75 * half]
    if len(sides) < 400:
        return None
    edges = np.linspace(points[:, 0].min(), points[:, 0].max(), 61)
    slot = np.clip(np.digitize(sides[:, 0], edges) - 1, 0, 59)
    lowest = np.full(60, np.nan)
    for index in range(60):
        column = sides[slot == index, 2]
        if len(column):
            lowest[index] = column.min()
    heights = (lowest - points[:, 2].min()) / max(float(np.ptp(points[:, 2])), 1e-12)
    places: Floats = (edges[1:] + edges[:-1]) / 2
    return places[::-1], heights[::-1]


def _touching_wheel(points: Floats) -> float | None:
    """Return where the front one of two wheels touches the ground, if two are seen there."""
    profile = _edge_profile(points)
    if profile is None:
        return None
    runs = _runs(profile[1] < 0.05)
    wheels = [profile[0][list(run)].mean() for run in runs if len(run) <= 9]
    return float(wheels[0]) if len(wheels) == 2 == len(runs) else None


def _front_arch(points: Floats) -> float | None:
    """Return the middle of the front one of two gaps in the lower edge of the sides."""
    profile = _edge_profile(points)
    if profile is None:
        return None
    middle = profile[1][20:40]
    if np.isnan(middle).all():
        return None
    sill = np.nanmedian(middle)
    inner = profile[1][3:57]
    runs = [run for run in _runs(~(inner < sill + 0.12)) if 5 <= len(run) <= 16]
    return float(profile[0][3:57][list(runs[0])].mean()) if len(runs) >= 2 else None


def _runs(flags: NDArray[np.bool_]) -> list[range]:
    """Return the stretches of a row of flags that are set."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(np.int8)))
    return [range(start, end) for start, end in zip(edges[::2], edges[1::2], strict=True)]
