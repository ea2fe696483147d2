"""Flat templates of cut lines, at true size, and where the lines lie on the panel by tape.

A cut line is parted into stretches along which the panel is nearly flat; each is laid flat by itself. Tape
distances run on the panel, from marks on the line to the rims of the panel that a tape can hook.
"""

from collections.abc import Iterator
from typing import Literal

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from geometry import trimming
from geometry.body import placement
from geometry.body.distance import PanelIndex
from geometry.layout import Layout, Panel
from geometry.tolerances import LENGTH_NOISE
from geometry.vectors import Floats, Ints, Vec3, vec

BESIDE = 60.0  # mm on either side of the line that the paper lies on
FLAT = 4.0  # mm that the panel may be off the flat paper there; common practice, no source
SHORTEST = 120.0  # mm; a stretch is parted no further
MARK_EVERY = 100.0  # mm along the line
TAPE = 900.0  # mm; rims farther off are no help
TAPE_STEPS = 24  # of a tape's way over the panel
ASIDE = 15.0  # mm from the line that is surely on one side of it
LEFT = 1.0  # mm; a rim nearer to what is left than this is part of it
SAME_RIM = 40.0  # mm; a rim nearer than this is no place to measure from
Edge = Literal["front", "rear", "upper", "lower", "inner", "outer"]
Side = Literal["left", "right", "middle"]


class Offset(Struct, frozen=True):
    """How far a mark lies from a rim of the panel, along the panel."""

    edge: Edge
    distance: float
    place: Vec3  # on the rim


class Mark(Struct, frozen=True):
    """A numbered place on the cut line."""

    number: int  # counted through all lines of the panel
    along: float  # mm from the line's beginning
    place: Vec3
    offsets: tuple[Offset, ...]  # the nearest rims first


class Stretch(Struct, frozen=True, eq=False):
    """A part of a cut line laid flat: x runs along it, y away from what is cut off; mm."""

    line: Floats  # (k, 2)
    waste: Floats  # (2,): a place beside the middle of the line, on the part that comes off
    rims: tuple[Floats, ...]  # the panel's rims near by, (k, 2) each
    marks: tuple[tuple[int, tuple[float, float]], ...]
    begins: float  # along the whole line
    ends: float
    off: float  # how far the panel is off the flat paper, at most

    @property
    def is_flat(self) -> bool:
        """Whether the paper can lie on the panel there."""
        return self.off <= FLAT


class Template(Struct, frozen=True, eq=False):
    """One cut line of one panel."""

    panel: int
    number: int  # of the panel's lines, from 1
    count: int
    side: Side
    line: Floats  # (k, 3), in the car's axes
    length: float
    is_closed: bool
    margin: float
    marks: tuple[Mark, ...]
    stretches: tuple[Stretch, ...]


def of(layout: Layout) -> tuple[Template, ...]:
    """Return the templates of all panels that are trimmed."""
    trimmed = [panel for panel in layout.panels.values() if panel.trim is not None and panel.kept]
    return tuple(template for panel in trimmed for template in of_panel(layout, panel))


def of_panel(layout: Layout, panel: Panel) -> Iterator[Template]:
    """Yield a template for each line that a panel is cut on, the longest first."""
    assert panel.trim is not None
    points = placement.world_points(layout.bodies[panel.body].placement, panel.whole.vertices)
    rest = PanelIndex(placement.panel_vertices(layout, panel), panel.mesh.triangles)
    surface = _Surface(points, panel.whole.triangles, rest)
    lines = sorted(trimming.lines_of(layout, panel), key=_length, reverse=True)
    first = 1
    for number, line in enumerate(lines, start=1):
        marks = _marks(surface, line, first)
        first += len(marks)
        yield Template(
            panel=panel.id,
            number=number,
            count=len(lines),
            side=_side(line),
            line=line,
            length=_length(line),
            is_closed=bool(np.linalg.norm(line[0] - line[-1]) < LENGTH_NOISE),
            margin=panel.trim.margin,
            marks=marks,
            stretches=tuple(_stretch(surface, line, part, marks) for part in _flat_parts(surface, line)),
        )


class _Surface:
    """A whole panel: its points, the rims that stay, and the nearest places on it and on what stays."""

    def __init__(self, points: Floats, triangles: NDArray[np.integer], rest: PanelIndex) -> None:
        self.index = PanelIndex(points, triangles)
        self.points = points[np.unique(triangles)]
        self.rest = rest
        ends = np.asarray(triangles, dtype=np.int64)[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
        size = int(ends.max()) + 1
        flat = np.sort(ends, axis=1) @ np.array([size, 1])
        _, first, uses = np.unique(flat, return_index=True, return_counts=True)
        rim = first[uses == 1]
        # A tape hooks on what is left; what comes off is no edge any more.
        stays = rest.closest(points[ends[rim]].mean(axis=1))[0] <= LEFT
        rim = rim[stays] if stays.any() else rim
        self.rims = points[ends[rim]]  # (r, 2, 3)
        middles = points[np.asarray(triangles)[rim // 3]].mean(axis=1)
        thin = int(np.argmin(np.ptp(points, axis=0)))  # no tape hooks on a rim that faces there
        self.rim_ways = _outward(self.rims, middles, thin)


def _outward(rims: Floats, middles: Floats, thin: int) -> Ints:
    """Return for each rim edge (r, 2, 3) which way it faces: 0-5 for +x, -x, +z, -z, +y, -y.

    The axis that a panel is thinnest along has no say.
    """
    way = rims[:, 1] - rims[:, 0]
    length = np.maximum(np.linalg.norm(way, axis=1), LENGTH_NOISE)[:, None]
    out = rims.mean(axis=1) - middles
    out -= (np.einsum("ij,ij->i", out, way / length))[:, None] * way / length
    out[:, thin] = 0.0
    shares = np.stack([out[:, 0], -out[:, 0], out[:, 2], -out[:, 2], out[:, 1], -out[:, 1]], axis=1)
    ways: Ints = shares.argmax(axis=1)
    return ways


def _edge_name(way: int, y: float) -> Edge:
    if way < 4:
        names: tuple[Edge, Edge, Edge, Edge] = ("front", "rear", "upper", "lower")
        return names[way]
    outward = (way == 4) == (y >= 0.0)
    return "outer" if outward else "inner"


def _marks(surface: _Surface, line: Floats, first: int) -> tuple[Mark, ...]:
    """Return marks at the ends of the line and every MARK_EVERY between, numbered from the first."""
    along = _along(line)
    count = max(round(along[-1] / MARK_EVERY), 1)
    is_closed = np.linalg.norm(line[0] - line[-1]) < LENGTH_NOISE
    places = np.linspace(0.0, along[-1], count + 1)[: -1 if is_closed else None]
    return tuple(
        Mark(number, float(place), vec(at), _offsets(surface, at))
        for number, place in enumerate(places, start=first)
        for at in [_at(line, along, float(place))]
    )


def _offsets(surface: _Surface, place: Floats) -> tuple[Offset, ...]:
    """Return the two rims that a tape reaches soonest, each of another name."""
    if not len(surface.rims):
        return ()
    start, way = surface.rims[:, 0], surface.rims[:, 1] - surface.rims[:, 0]
    length = np.maximum(np.einsum("ij,ij->i", way, way), LENGTH_NOISE)
    part = np.clip(np.einsum("ij,ij->i", place - start, way) / length, 0.0, 1.0)
    nearest = start + part[:, None] * way
    gaps = np.linalg.norm(nearest - place, axis=1)
    names = [_edge_name(int(which), float(place[1])) for which in surface.rim_ways]
    best: dict[Edge, int] = {}
    for number in np.argsort(gaps).tolist():
        if gaps[number] > TAPE or len(best) == 2:
            break
        if gaps[number] > SAME_RIM and names[number] not in best:
            best[names[number]] = number
    return tuple(
        Offset(name, _over(surface, place, nearest[number]), vec(nearest[number]))
        for name, number in best.items()
    )


def _over(surface: _Surface, start: Floats, end: Floats) -> float:
    """Return how long a tape from one place of the panel to another is, lying on the panel."""
    steps = start + np.linspace(0.0, 1.0, TAPE_STEPS + 1)[:, None] * (end - start)
    _, _, on = surface.index.closest(steps)
    on[[0, -1]] = start, end
    return max(_length(on), float(np.linalg.norm(end - start)))


def _flat_parts(surface: _Surface, line: Floats) -> list[tuple[int, int]]:
    """Return the stretches of a line, as first and last point, along which the panel is nearly flat."""
    open_, found = [(0, len(line) - 1)], []
    while open_:
        first, last = open_.pop()
        part = line[first : last + 1]
        if len(part) <= 3 or _length(part) < 2.0 * SHORTEST or _flatness(surface, part) <= FLAT:
            found.append((first, last))
            continue
        along = _along(part)
        middle = first + int(np.clip(np.searchsorted(along, along[-1] / 2.0), 1, len(part) - 2))
        open_ += [(middle, last), (first, middle)]
    return found


def _flatness(surface: _Surface, part: Floats) -> float:
    """Return how far the panel is off its best plane beside a part of the line, at most."""
    near = _beside(surface, part)
    middle, rows = _plane(near)
    return float(np.abs((near - middle) @ rows[2]).max())


def _beside(surface: _Surface, part: Floats) -> Floats:
    """Return places (n, 3) of the panel beside a part of the line, the line's own with them."""
    low, high = part.min(axis=0) - BESIDE, part.max(axis=0) + BESIDE
    boxed = surface.points[((surface.points >= low) & (surface.points <= high)).all(axis=1)]
    if not len(boxed):
        return part
    far = np.min([np.linalg.norm(boxed - point, axis=1) for point in part], axis=0)
    return np.concatenate([part, boxed[far <= BESIDE]])


def _plane(points: Floats) -> tuple[Floats, Floats]:
    """Return the middle of points and the rows of their best plane: two along it, then square to it."""
    middle = points.mean(axis=0)
    _, _, rows = np.linalg.svd(points - middle, full_matrices=True)
    return middle, rows


def _stretch(surface: _Surface, line: Floats, ends: tuple[int, int], marks: tuple[Mark, ...]) -> Stretch:
    """Lay a stretch of the line flat, as seen from outside the car."""
    part = line[ends[0] : ends[1] + 1]
    near = _beside(surface, part)
    middle, rows = _plane(near)
    normal = rows[2] * (1.0 if rows[2] @ _outside(middle) >= 0.0 else -1.0)
    x = part[-1] - part[0] if np.linalg.norm(part[-1] - part[0]) > SAME_RIM else rows[0]
    x = x - (x @ normal) * normal
    x /= np.linalg.norm(x)
    axes = np.stack([x, np.cross(normal, x)], axis=1)

    def flat(points: Floats) -> Floats:
        laid: Floats = (points - part[0]) @ axes
        return laid

    along, begins = _along(line), _along(line)[ends[0]]
    on = [m for m in marks if begins - LENGTH_NOISE <= m.along <= along[ends[1]] + LENGTH_NOISE]
    close = (
        np.linalg.norm(surface.rims.mean(axis=1)[:, None] - part[None], axis=2).min(axis=1) <= 3.0 * BESIDE
    )
    return Stretch(
        line=flat(part),
        waste=flat(_waste(surface, part, normal)[None])[0],
        rims=tuple(flat(rim) for rim in surface.rims[close]),
        marks=tuple(
            (mark.number, (float(at[0]), float(at[1]))) for mark in on for at in flat(np.array([mark.place]))
        ),
        begins=float(begins),
        ends=float(along[ends[1]]),
        off=float(np.abs((near - middle) @ rows[2]).max()),
    )


def _outside(middle: Floats) -> Floats:
    """Return the way out of the car at a place of its body: to the side, or up or ahead in the middle."""
    return np.array([0.2 * np.sign(middle[0]), np.sign(middle[1]), 0.3])


def _waste(surface: _Surface, part: Floats, normal: Floats) -> Floats:
    """Return a place beside the middle of the line, on the side that comes off."""
    middle = len(part) // 2
    way = part[min(middle + 1, len(part) - 1)] - part[max(middle - 1, 0)]
    aside = np.cross(normal, way)
    aside *= ASIDE / max(float(np.linalg.norm(aside)), LENGTH_NOISE)
    both: Floats = np.stack([part[middle] + aside, part[middle] - aside])
    far: Floats = both[int(surface.rest.closest(both)[0].argmax())]
    return far


def _side(line: Floats) -> Side:
    y = float(line[:, 1].mean())
    return "middle" if abs(y) < 100.0 else "left" if y > 0.0 else "right"


def _length(line: Floats) -> float:
    return float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())


def _along(line: Floats) -> Floats:
    """Return how far along the line each of its points is: (k,)."""
    found: Floats = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    return found


def _at(line: Floats, along: Floats, place: float) -> Floats:
    at: Floats = np.array([np.interp(place, along, line[:, axis]) for axis in range(3)])
    return at
