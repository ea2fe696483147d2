"""Flat templates of cut lines, at true size, and where the lines lie on the panel by tape.

The strip of panel along a line is laid flat by its turns within the panel: what bends one way only, as most
wings do, then lies on the paper without stretching, and the line itself is as long as on the panel. Tape
distances run on the panel, from marks on the line to the rims of the panel that a tape can hook.
"""

import itertools
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
FLAT = 10.0  # mm that the panel may be off the flat paper before it must be bent; common practice, no source
STEP = 4.0  # mm between the places at which the strip is laid flat
PUCKER_SIDE = 30.0  # mm beside the line at which paper and panel are compared
PUCKER_STEPS = 10  # on the way there
PUCKER_OVER = 100.0  # mm of line for which that is done
PUCKERS = 3.0  # mm in those that paper gives way; more, and it does not lie on the panel
SHORTEST, LONGEST = (
    150.0,
    1500.0,
)  # mm of line that a piece of paper is worth its while for, and can be handled
MARK_EVERY = 100.0  # mm along the line
SHORT = 0.3  # of that; the last mark but one keeps so far from the end
TAPE = 900.0  # mm; rims farther off are no help
TAPE_STEPS = 24  # of a tape's way over the panel
SQUARE = 0.3  # of a tape's way, along its edge at most
SLANTED = 1.5  # times as far a tape that meets its edge square is worth as much as one that does not
ASIDE = 15.0  # mm from the line that is surely on one side of it
ASKED = 15  # places along the line at which that is asked
LEFT = 0.05  # mm; a rim nearer to what is left than this is part of it
PIECE = 20.0  # mm of rim that is asked for at once
HALVINGS = 9  # of that, to where the cut meets it
FACES = 0.7  # of a rim's way out; so much along the thin axis is a flange
BAND, BEYOND = 20.0, 30.0  # mm; a rim with another one beyond it, in a band of that width, is an opening's
MIDDLE = 100.0  # mm beside the centre plane
Edge = Literal["front", "rear", "upper", "lower", "inner", "outer", "left", "right", "opening"]
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


class Strip(Struct, frozen=True, eq=False):
    """The panel along a cut line or a part of it, laid flat as seen from outside the car; mm."""

    line: Floats  # (k, 2); as long as on the panel
    waste: float  # 1.0: what comes off lies to the left along the line, -1.0: to the right
    rims: tuple[Floats, ...]  # the panel's rims near by, (2, 2) each
    marks: tuple[tuple[int, tuple[float, float]], ...]
    begins: float  # along the whole line
    ends: float
    off: float  # how far the panel is off a plane, at most
    puckers: float  # by how much paper is too long or too short beside the line, at most

    @property
    def is_flat(self) -> bool:
        """Whether the paper lies on the panel as it is; else it is bent round it."""
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
    strips: tuple[Strip, ...]  # none where the panel curves both ways too tightly for paper

    @property
    def bare(self) -> tuple[tuple[float, float], ...]:
        """Where along the line no strip lies: from, to."""
        ends = [0.0, *(end for strip in self.strips for end in (strip.begins, strip.ends)), self.length]
        return tuple(
            (start, end) for start, end in zip(ends[::2], ends[1::2], strict=True) if end - start > STEP
        )


def of(layout: Layout, every: float = MARK_EVERY) -> tuple[Template, ...]:
    """Return the templates of all panels that are trimmed, with marks so far apart."""
    trimmed = [panel for panel in layout.panels.values() if panel.trim is not None and panel.kept]
    return tuple(template for panel in trimmed for template in of_panel(layout, panel, every))


def of_panel(layout: Layout, panel: Panel, every: float = MARK_EVERY) -> Iterator[Template]:
    """Yield a template for each line that a panel is cut on, the longest first."""
    assert panel.trim is not None
    points = placement.world_points(layout.bodies[panel.body].placement, panel.whole.vertices)
    rest = PanelIndex(placement.panel_vertices(layout, panel), panel.mesh.triangles)
    surface = _Surface(points, panel.whole.triangles, rest)
    lines = sorted(trimming.lines_of(layout, panel), key=_length, reverse=True)
    first = 1
    for number, line in enumerate(lines, start=1):
        marks = _marks(surface, line, first, every)
        first += len(marks)
        yield Template(
            panel=panel.id,
            number=number,
            count=len(lines),
            side=_side(line),
            line=line,
            length=_length(line),
            is_closed=_is_closed(line),
            margin=panel.trim.margin,
            marks=marks,
            strips=tuple(_strips(surface, line, marks)),
        )


class _Surface:
    """A whole panel: its points, the rims that stay, and the nearest places on it and on what stays."""

    def __init__(self, points: Floats, triangles: NDArray[np.integer], rest: PanelIndex) -> None:
        self.index = PanelIndex(points, triangles)
        corners = points[np.asarray(triangles)]
        self.normals: Floats = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        self.points = points[np.unique(triangles)]
        self.rest = rest
        ends = np.asarray(triangles, dtype=np.int64)[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
        size = int(ends.max()) + 1
        flat = np.sort(ends, axis=1) @ np.array([size, 1])
        _, first, uses = np.unique(flat, return_index=True, return_counts=True)
        rim = first[uses == 1]
        names = edge_names(points[ends[rim]], corners[rim // 3].mean(axis=1))
        self.rims, whose = _left_of(points[ends[rim]], rest)  # (r, 2, 3)
        self.names = [names[number] for number in whose.tolist()]


def _left_of(rims: Floats, rest: PanelIndex) -> tuple[Floats, Ints]:
    """Return what is left of rim edges (r, 2, 3), and which they were: no tape hooks on what comes off."""
    pieces = np.maximum(np.ceil(np.linalg.norm(rims[:, 1] - rims[:, 0], axis=1) / PIECE).astype(int), 1)
    whose = np.repeat(np.arange(len(rims)), pieces)
    number = np.arange(len(whose)) - np.repeat(np.cumsum(pieces) - pieces, pieces)
    parts = np.stack([number, number + 1], axis=1) / pieces[whose][:, None]
    ways = rims[whose, 1] - rims[whose, 0]
    ends = rims[whose, 0][:, None] + parts[:, :, None] * ways[:, None]
    stays = (rest.closest(ends.reshape(-1, 3))[0] <= LEFT).reshape(-1, 2)
    crossed = stays[:, 0] != stays[:, 1]
    # Turned so that what stays comes first; then the other end is moved up to the cut.
    first = np.where(stays[crossed, 0], 0, 1)
    rows = np.arange(len(first))
    good, gone = ends[crossed][rows, first], ends[crossed][rows, 1 - first]
    for _ in range(HALVINGS if len(rows) else 0):
        half = (good + gone) / 2.0
        stays_there = (rest.closest(half)[0] <= LEFT)[:, None]
        good, gone = np.where(stays_there, half, good), np.where(stays_there, gone, half)
    ends[crossed] = np.stack([ends[crossed][rows, first], good], axis=1)
    kept = stays.any(axis=1)
    return ends[kept], whose[kept]


def edge_names(rims: Floats, inner: Floats) -> list[Edge]:
    """Name the rim edges (r, 2, 3) of one panel by where they face, away from places inside (r, 3)."""
    if not len(rims):
        return []
    middles = rims.mean(axis=1)
    low, high = middles.min(axis=0), middles.max(axis=0)
    thin = int(np.argmin(high - low))
    broad = [axis for axis in range(3) if axis != thin]
    along = rims[:, 1] - rims[:, 0]
    along /= np.maximum(np.linalg.norm(along, axis=1), LENGTH_NOISE)[:, None]
    out = middles - inner
    out -= np.einsum("ij,ij->i", out, along)[:, None] * along
    out /= np.maximum(np.linalg.norm(out, axis=1), LENGTH_NOISE)[:, None]
    is_flange = np.abs(out[:, thin]) > FACES
    axis = np.array(broad)[np.abs(out[:, broad]).argmax(axis=1)]
    rows = np.arange(len(rims))
    forward = out[rows, axis] > 0.0
    is_inside = _has_rim_beyond(middles, axis, forward, broad) & ~is_flange
    # A flange faces nowhere along the panel: it belongs to the side of the panel where it is.
    gaps = np.stack([middles - low, high - middles], axis=2)[:, broad].reshape(len(rims), 4)
    nearest = gaps.argmin(axis=1)
    axis = np.where(is_flange, np.array(broad)[nearest // 2], axis)
    forward = np.where(is_flange, nearest % 2 == 1, forward)
    y = float((low[1] + high[1]) / 2.0)
    return [
        "opening" if inside else _name(int(a), bool(f), y)
        for a, f, inside in zip(axis, forward, is_inside, strict=True)
    ]


def _has_rim_beyond(middles: Floats, axis: Ints, forward: NDArray[np.bool_], broad: list[int]) -> Ints:
    """Say of rims whether the way that they face ends at another rim: then they are an opening's."""
    found = np.zeros(len(middles), dtype=bool)
    for one, other in (broad, broad[::-1]):
        band = np.floor((middles[:, other] - middles[:, other].min()) / BAND).astype(int) + 1
        most, least = np.full(band.max() + 2, -np.inf), np.full(band.max() + 2, np.inf)
        np.maximum.at(most, band, middles[:, one])
        np.minimum.at(least, band, middles[:, one])
        beyond_most = np.max([most[band - 1], most[band], most[band + 1]], axis=0)
        beyond_least = np.min([least[band - 1], least[band], least[band + 1]], axis=0)
        here = axis == one
        found |= here & forward & (beyond_most > middles[:, one] + BEYOND)
        found |= here & ~forward & (beyond_least < middles[:, one] - BEYOND)
    return found


def _name(axis: int, forward: bool, y: float) -> Edge:
    """Return the name of a side of a panel whose middle is at y."""
    if axis == 0:
        return "front" if forward else "rear"
    if axis == 2:
        return "upper" if forward else "lower"
    if abs(y) < MIDDLE:
        return "left" if forward else "right"
    return "outer" if forward == (y > 0.0) else "inner"


def _marks(surface: _Surface, line: Floats, first: int, every: float) -> tuple[Mark, ...]:
    """Return marks at the ends of the line and so far apart between, numbered from the first."""
    along = _along(line)
    places = np.arange(0.0, along[-1] - SHORT * every, every)
    if not _is_closed(line) or len(places) < 2:
        places = np.append(places, along[-1])
    return tuple(
        Mark(number, float(place), vec(at), _offsets(surface, at))
        for number, place in enumerate(places, start=first)
        for at in [_at(line, along, float(place))]
    )


def _offsets(surface: _Surface, place: Floats) -> tuple[Offset, ...]:
    """Return the two rims that a tape reaches soonest, each of another name; openings only if need be."""
    if not len(surface.rims):
        return ()
    start, way = surface.rims[:, 0], surface.rims[:, 1] - surface.rims[:, 0]
    length = np.maximum(np.einsum("ij,ij->i", way, way), LENGTH_NOISE)
    part = np.clip(np.einsum("ij,ij->i", place - start, way) / length, 0.0, 1.0)
    nearest = start + part[:, None] * way
    gaps = np.linalg.norm(nearest - place, axis=1)
    # A tape that meets its edge square says where the mark is; one to the corner where an edge begins hardly.
    tape = (nearest - place) / np.maximum(gaps, LENGTH_NOISE)[:, None]
    slant = np.abs(np.einsum("ij,ij->i", tape, way)) / np.sqrt(length)
    worth = gaps * np.where(slant > SQUARE, SLANTED, 1.0)
    best: dict[Edge, int] = {}
    for number in np.argsort(worth).tolist():
        if gaps[number] <= TAPE:
            best.setdefault(surface.names[number], number)
    chosen = sorted(best.items(), key=lambda row: (row[0] == "opening", worth[row[1]]))[:2]
    return tuple(
        Offset(name, _over(surface, place, nearest[number]), vec(nearest[number])) for name, number in chosen
    )


def _over(surface: _Surface, start: Floats, end: Floats) -> float:
    """Return how long a tape from one place of the panel to another is, lying on the panel."""
    steps = start + np.linspace(0.0, 1.0, TAPE_STEPS + 1)[:, None] * (end - start)
    _, _, on = surface.index.closest(steps)
    on[[0, -1]] = start, end
    return max(_length(on), float(np.linalg.norm(end - start)))


def _strips(surface: _Surface, line: Floats, marks: tuple[Mark, ...]) -> Iterator[Strip]:
    """Lay the panel along a line flat, as seen from outside the car, wherever paper lies on it."""
    dense = _dense(line)
    forward, normals = _frames(surface, dense)
    flat = _developed(dense, forward, normals)
    laid = _Laid(dense, forward, np.cross(normals, forward), flat)
    puckers = _puckers(surface, laid, normals)
    waste = _waste(surface, dense, laid.aside)
    for first, last in _runs(puckers <= PUCKERS, _along(dense)):
        yield _strip(surface, line, marks, laid, (first, last), waste, float(puckers[first:last].max()))


class _Laid(Struct, frozen=True, eq=False):
    """A line in space (k, 3) and on the flat (k, 2); which way each piece runs, and what is left of it."""

    dense: Floats
    forward: Floats  # (k - 1, 3)
    aside: Floats
    flat: Floats


def _runs(lies: NDArray[np.bool_], along: Floats) -> Iterator[tuple[int, int]]:
    """Yield the first and last point of each stretch whose pieces all lie, none too short or too long."""
    changes = np.flatnonzero(np.diff(np.concatenate([[False], lies, [False]]).astype(int)))
    for first, last in changes.reshape(-1, 2).tolist():
        length = along[last] - along[first]
        if length < SHORTEST and (first > 0 or last < len(lies)):
            continue
        count = int(np.ceil(length / LONGEST))
        ends = np.searchsorted(along, along[first] + length * np.arange(1, count) / count)
        yield from itertools.pairwise([first, *ends.tolist(), last])


def _strip(
    surface: _Surface,
    line: Floats,
    marks: tuple[Mark, ...],
    laid: _Laid,
    ends: tuple[int, int],
    waste: float,
    puckers: float,
) -> Strip:
    """Return the strip between two points of a line that is laid flat."""
    first, last = ends
    dense = laid.dense[first : last + 1]
    along, dense_along = _along(line), _along(laid.dense)
    begins, finish = float(dense_along[first]), float(dense_along[last])
    own = along[(along > begins + LENGTH_NOISE) & (along < finish - LENGTH_NOISE)]

    def at(places: Floats) -> Floats:
        return np.stack([np.interp(places, dense_along, laid.flat[:, axis]) for axis in (0, 1)], axis=-1)

    rims = surface.rims
    if len(rims):
        gaps = np.min([np.linalg.norm(rims.mean(axis=1) - point, axis=1) for point in dense[::4]], axis=0)
        rims = rims[gaps <= 2.0 * BESIDE]
    on = [m for m in marks if begins - LENGTH_NOISE <= m.along <= finish + LENGTH_NOISE]
    near = _beside(surface, dense)
    middle, rows = _plane(near)
    return Strip(
        line=at(np.concatenate([[begins], own, [finish]])),
        waste=waste,
        rims=tuple(np.stack([_on_paper(point, laid, ends) for point in rim]) for rim in rims),
        marks=tuple((m.number, (float(x), float(y))) for m in on for x, y in [at(np.array(m.along))]),
        begins=begins,
        ends=finish,
        off=float(np.abs((near - middle) @ rows[2]).max()),
        puckers=puckers,
    )


def _dense(line: Floats) -> Floats:
    """Return a line with places no more than STEP apart, its own among them."""
    parts = [
        start
        + np.linspace(0.0, 1.0, max(int(np.ceil(np.linalg.norm(end - start) / STEP)), 1) + 1)[:-1, None]
        * (end - start)
        for start, end in itertools.pairwise(line)
    ]
    return np.concatenate([*parts, line[-1:]])


def _frames(surface: _Surface, dense: Floats) -> tuple[Floats, Floats]:
    """Return for each piece of a line (k, 3) its way and the panel's way out there: (k - 1, 3) each."""
    forward = np.diff(dense, axis=0)
    forward /= np.maximum(np.linalg.norm(forward, axis=1), LENGTH_NOISE)[:, None]
    middles = (dense[:-1] + dense[1:]) / 2.0
    _, triangle, _ = surface.index.closest(middles)
    normals = surface.normals[triangle]
    normals = normals - np.einsum("ij,ij->i", normals, forward)[:, None] * forward
    normals /= np.maximum(np.linalg.norm(normals, axis=1), LENGTH_NOISE)[:, None]
    # Scans turn their triangles any way round; neighbours face alike, and most face out of the car.
    turns = np.einsum("ij,ij->i", normals[1:], normals[:-1]) < 0.0
    normals = normals * np.where(np.concatenate([[0], np.cumsum(turns)]) % 2, -1.0, 1.0)[:, None]
    ways_out = np.array([_outside(point) for point in middles])
    return forward, normals * (1.0 if (normals * ways_out).sum() >= 0.0 else -1.0)


def _developed(dense: Floats, forward: Floats, normals: Floats) -> Floats:
    """Return a line (k, 3) on the flat: as long, and turning as it turns within the panel."""
    mean = normals[1:] + normals[:-1]
    mean /= np.maximum(np.linalg.norm(mean, axis=1), LENGTH_NOISE)[:, None]
    before = forward[:-1] - np.einsum("ij,ij->i", forward[:-1], mean)[:, None] * mean
    after = forward[1:] - np.einsum("ij,ij->i", forward[1:], mean)[:, None] * mean
    turns = np.arctan2(
        np.einsum("ij,ij->i", mean, np.cross(before, after)), np.einsum("ij,ij->i", before, after)
    )
    heading = np.concatenate([[0.0], np.cumsum(turns)])
    steps = np.linalg.norm(np.diff(dense, axis=0), axis=1)
    ways = steps[:, None] * np.stack([np.cos(heading), np.sin(heading)], axis=1)
    flat: Floats = np.concatenate([np.zeros((1, 2)), np.cumsum(ways, axis=0)])
    return flat


def _on_paper(point: Floats, laid: _Laid, ends: tuple[int, int]) -> Floats:
    """Return where a place near a line lies on the paper: as far from it, and the same way."""
    first, last = ends
    number = first + int(np.linalg.norm(laid.dense[first : last + 1] - point, axis=1).argmin())
    number = min(number, last - 1)
    gap = point - laid.dense[number]
    at = np.array([gap @ laid.forward[number], gap @ laid.aside[number]])
    at *= np.linalg.norm(gap) / max(float(np.linalg.norm(at)), LENGTH_NOISE)
    way = laid.flat[number + 1] - laid.flat[number]
    way = way / max(float(np.linalg.norm(way)), LENGTH_NOISE)
    place: Floats = laid.flat[number] + at[0] * way + at[1] * np.array([-way[1], way[0]])
    return place


def _puckers(surface: _Surface, laid: _Laid, normals: Floats) -> Floats:
    """Return for each piece of a line (k - 1,) by how much paper beside it is longer or shorter there.

    That is counted over PUCKER_OVER of the line, of which the piece is the middle.
    """
    ways = np.diff(laid.flat, axis=0)
    ways /= np.maximum(np.linalg.norm(ways, axis=1), LENGTH_NOISE)[:, None]
    left = np.stack([-ways[:, 1], ways[:, 0]], axis=1)
    along = _along(laid.dense)
    worst = np.zeros(len(ways))
    for side in (1.0, -1.0):
        on, has_panel = _walked(surface, laid.dense[:-1], side * laid.aside, normals)
        paper = laid.flat[:-1] + side * PUCKER_SIDE * left
        more = np.linalg.norm(np.diff(on, axis=0), axis=1) - np.linalg.norm(np.diff(paper, axis=0), axis=1)
        more[~(has_panel[1:] & has_panel[:-1])] = 0.0
        if not _is_closed(laid.dense):  # beside its ends the panel ends too
            at = along[1:-1]
            more[(at < PUCKER_SIDE) | (at > along[-1] - PUCKER_SIDE)] = 0.0
        run = np.concatenate([[0.0], np.cumsum(more)])
        middles = (along[1:] + along[:-1]) / 2.0
        ahead, behind = (np.interp(middles + way * PUCKER_OVER / 2.0, along[:-1], run) for way in (1.0, -1.0))
        worst = np.maximum(worst, np.abs(ahead - behind))
    return worst


def _walked(
    surface: _Surface, places: Floats, ways: Floats, normals: Floats
) -> tuple[Floats, NDArray[np.bool_]]:
    """Walk from places (n, 3) straight over the panel: return the ends, and whether it went on so far."""
    step = PUCKER_SIDE / PUCKER_STEPS
    on_panel = np.ones(len(places), dtype=bool)
    for _ in range(PUCKER_STEPS):
        asked = places + step * ways
        _, triangle, after = surface.index.closest(asked)
        there = surface.normals[triangle]
        there = there / np.maximum(np.linalg.norm(there, axis=1), LENGTH_NOISE)[:, None]
        there = there * np.where(np.einsum("ij,ij->i", there, normals) < 0.0, -1.0, 1.0)[:, None]
        gap = asked - after
        beside = gap - np.einsum("ij,ij->i", gap, there)[:, None] * there
        on_panel &= np.linalg.norm(beside, axis=1) < 0.1 * step  # else the way goes over a rim
        # Turned with the panel, so that a straight way over a fold stays one when that is laid flat.
        both = normals + there
        share = np.einsum("ij,ij->i", ways, there) / (1.0 + np.einsum("ij,ij->i", normals, there))
        ways, normals, places = ways - share[:, None] * both, there, after
    return places, on_panel


def _beside(surface: _Surface, dense: Floats) -> Floats:
    """Return places (n, 3) of the panel beside a line, the line's own with them."""
    low, high = dense.min(axis=0) - BESIDE, dense.max(axis=0) + BESIDE
    boxed = surface.points[((surface.points >= low) & (surface.points <= high)).all(axis=1)]
    if not len(boxed):
        return dense
    far = np.min([np.linalg.norm(boxed - point, axis=1) for point in dense[::4]], axis=0)
    return np.concatenate([dense, boxed[far <= BESIDE]])


def _plane(points: Floats) -> tuple[Floats, Floats]:
    """Return the middle of points and the rows of their best plane: two along it, then square to it."""
    middle = points.mean(axis=0)
    _, rows = np.linalg.eigh((points - middle).T @ (points - middle))
    return middle, rows.T[::-1]


def _outside(middle: Floats) -> Floats:
    """Return the way out of the car at a place of its body: to the side, or up or ahead in the middle."""
    return np.array([0.2 * np.sign(middle[0]), np.sign(middle[1]), 0.3])


def _waste(surface: _Surface, dense: Floats, aside: Floats) -> float:
    """Say on which side of a line the panel comes off: 1.0 to the left, -1.0 to the right."""
    asked = np.unique(np.linspace(0, len(aside) - 1, ASKED).astype(int))
    left, right = (
        surface.rest.closest(dense[asked] + side * ASIDE * aside[asked])[0] for side in (1.0, -1.0)
    )
    return 1.0 if float((left - right).sum()) >= 0.0 else -1.0


def _side(line: Floats) -> Side:
    y = float(line[:, 1].mean())
    return "middle" if abs(y) < MIDDLE else "left" if y > 0.0 else "right"


def _is_closed(line: Floats) -> bool:
    return bool(np.linalg.norm(line[0] - line[-1]) < LENGTH_NOISE)


def _length(line: Floats) -> float:
    return trimming.length_of(line)


def _along(line: Floats) -> Floats:
    """Return how far along the line each of its points is: (k,)."""
    found: Floats = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    return found


def _at(line: Floats, along: Floats, place: float) -> Floats:
    at: Floats = np.array([np.interp(place, along, line[:, axis]) for axis in range(3)])
    return at
