"""Mesh files become panels: read, clean, judge unit and axes, stand on the ground."""

import math
import os
from collections.abc import Iterable, Sequence
from itertools import takewhile
from pathlib import Path

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from geometry.body import cleaning, mesh_files, pieces, shape, straight, trim
from geometry.body.cleaning import Cleaned
from geometry.body.mesh_files import Soup
from geometry.body.panels import placed_anew, pointed, remade
from geometry.body.placement import world_points
from geometry.body.shape import Mirror, Sample
from geometry.errors import BodyFileError, GeometryError
from geometry.layout import (
    MM_PER_UNIT,
    Axis,
    Body,
    Layout,
    LengthUnit,
    Mesh,
    Panel,
    Placement,
)
from geometry.progress import Progress, no_progress
from geometry.vectors import UNTURNED, Floats, Rows3, Vec3, vec

ASKEW = 0.005  # of the width: two sides that differ by more may be so because the body stands askew
LEAST_SAMPLE = 100  # points; fewer say nothing of a shape
LEAST_ASKEW = math.radians(0.1)  # below, a body is as straight as a plane can be found
UNEVEN_SIDES = "The two sides differ too much to find a centre plane; the body is centred on its width."
LONGEST_NAME = 32  # characters; beyond, what all names of a file begin with is left out


class Part(Struct, frozen=True, eq=False):
    """One object of a mesh file, or one of its connected pieces."""

    name: str  # as people read it
    source: str  # as the file has it
    mesh: Mesh


class Stance(Struct, frozen=True, eq=False):
    """How a body stands for judging: after a turn (rows) of the file's axes, with what is seen then."""

    turn: Rows3
    sample: Sample
    planes: tuple[Mirror, Mirror, Mirror]  # square to x, y and z after the turn; all parts

    @property
    def crookedness(self) -> float:
        """How far the two sides of the best plane differ, as a part of the width."""
        widths = np.maximum(self.sample.high - self.sample.low, 1e-12)
        return float(min(plane.deviation / width for plane, width in zip(self.planes, widths, strict=True)))


class Scan(Struct, frozen=True, eq=False):
    """A mesh file that has been read and cleaned; nothing is scaled or turned yet."""

    source: str
    parts: tuple[Part, ...]
    stated_unit: LengthUnit | None
    stated_up: Axis | None
    stated_forward: Axis | None
    cleaned: Cleaned
    warnings: tuple[str, ...]
    as_read: Stance
    straightened: Stance | None = None  # where the file's axes lie askew to the body


class Symmetry(Struct, frozen=True):
    """The centre plane of a body: y before centring, and how far nine tenths of the two sides differ."""

    y: float
    deviation: float


class Reading(Struct, frozen=True):
    """How a scan stands in the car's axes, and what of it was guessed."""

    unit: LengthUnit
    up: Axis
    forward: Axis
    unit_guessed: bool
    up_guessed: bool
    forward_guessed: bool
    front_axle: float  # mm from the foremost point back to the front axle
    front_axle_guessed: bool
    symmetry: Symmetry | None  # None: the two sides differ too much
    size: Vec3  # length, width, height in mm of what is kept
    placement: Placement
    is_scaled: bool = False  # from a known dimension: the unit alone does not say the scale
    straightened: float = 0.0  # rad; how far the body was turned out of the file's axes
    warnings: tuple[str, ...] = ()


class Choice(Struct, frozen=True):
    """What a person decides about one part before it becomes a panel."""

    name: str
    kept: bool = True
    shown: bool = True
    colour: str | None = None


# Reading


def read(path: str | os.PathLike[str], progress: Progress = no_progress) -> Scan:
    """Read and clean a mesh file; BodyFileError says in a sentence why it can't be a body."""
    path = Path(path)
    file = mesh_files.read(path, progress)
    if not any(len(soup.triangles) for soup in file.soups):
        raise BodyFileError(f"{path.name} holds no triangles. Export the body as a mesh with surfaces.", path)
    counts, parts = Cleaned(), []
    for done, soup in enumerate(file.soups):
        progress(0.5 + 0.2 * done / len(file.soups), "Cleaning the mesh")
        _refuse_nonsense(path, soup)
        mesh, taken_out = cleaning.cleaned(soup.vertices, soup.triangles)
        counts = counts.plus(taken_out)
        if len(mesh.triangles):
            parts.append(Part(soup.name, soup.name, mesh))
    if not parts:
        raise BodyFileError(
            f"Every triangle of {path.name} is collapsed to a line or a point. Export the body again.", path
        )
    progress(0.7, "Looking for pieces")
    named = _with_short_names(_with_single_sources(pieces_of_one(parts)))
    progress(0.85, "Looking for symmetry")
    return _scan(path.name, named, file, counts, progress)


def _refuse_nonsense(path: Path, soup: Soup) -> None:
    if not len(soup.triangles):
        return
    if soup.triangles.min() < 0 or soup.triangles.max() >= len(soup.vertices):
        raise BodyFileError(
            f"{path.name} has a face that names a point the file doesn't hold. Export it again.", path
        )
    used = soup.vertices[soup.triangles.ravel()] if not np.isfinite(soup.vertices).all() else soup.vertices
    lost = int((~np.isfinite(used)).any(axis=1).sum())
    if lost:
        raise BodyFileError(
            f"{path.name} has {lost} triangle corners that are no numbers (NaN or infinite) in {soup.name}. "
            "Export it again.",
            path,
        )
    if np.abs(used).max() > 1e12:
        raise BodyFileError(
            f"{path.name} has points farther out than any body could be in {soup.name}. Export it again.",
            path,
        )


def pieces_of_one(parts: Sequence[Part]) -> list[Part]:
    """Return the connected pieces of a file that names one object only; else its objects."""
    if len(parts) != 1:
        return list(parts)
    named = pieces.named_pieces(parts[0].mesh)
    if len(named) == 1:
        return list(parts)
    return [Part(name, name, mesh) for name, mesh in named]


def _with_single_sources(parts: Iterable[Part]) -> list[Part]:
    """Number the parts whose names the file uses twice: panels are matched by them."""
    taken: set[str] = set()
    single = []
    for part in parts:
        name = _free_name(part.source or "unnamed", taken)
        taken.add(name)
        single.append(Part(name, name, part.mesh))
    return single


def _free_name(name: str, taken: "set[str] | frozenset[str]") -> str:
    free, number = name, 2
    while free in taken:
        free, number = f"{name} {number}", number + 1
    return free


def _with_short_names(parts: list[Part]) -> list[Part]:
    """Leave out what all long names begin with: labels in the view have little room."""
    names = [part.source for part in parts]
    if len(parts) < 2 or max(map(len, names)) <= LONGEST_NAME:
        return parts
    first, last = min(names), max(names)
    alike = sum(1 for _ in takewhile(lambda pair: pair[0] == pair[1], zip(first, last, strict=False)))
    cut = max(first[:alike].rfind(mark) for mark in "_ .-/:|") + 1
    return [Part(part.source[cut:] or part.source, part.source, part.mesh) for part in parts]


def _scan(
    source: str,
    parts: list[Part],
    file: mesh_files.MeshFile,
    counts: Cleaned,
    progress: Progress = no_progress,
) -> Scan:
    meshes = [part.mesh for part in parts]
    sample = shape.sampled(meshes)
    progress(0.88, "Looking for symmetry")
    as_read = Stance(UNTURNED, sample, shape.mirrors(sample))
    progress(0.92, "Looking for symmetry")
    return Scan(
        source,
        tuple(parts),
        file.stated_unit,
        file.stated_up,
        file.stated_forward,
        counts,
        file.warnings,
        as_read,
        _straightened(as_read, meshes),
    )


def _straightened(as_read: Stance, meshes: Sequence[Mesh]) -> Stance | None:
    """Return how the body stands with its plane of symmetry square to an axis, if that is clearly better."""
    if as_read.crookedness < ASKEW:
        return None
    turn = straight.straightening(as_read.sample)
    if straight.angle_of(turn) < LEAST_ASKEW:
        return None
    sample = shape.turned_sample(as_read.sample, meshes, turn)
    stance = Stance(_rows(turn), sample, shape.mirrors(sample))
    is_better = stance.crookedness < min(as_read.crookedness / 2, shape.SYMMETRICAL)
    return stance if is_better else None


def scan_of(layout: Layout, body: int) -> Scan:
    """Return the scan that a body's panels are, to judge it anew."""
    panels = [panel for panel in layout.panels.values() if panel.body == body]
    if not panels:
        raise GeometryError(f"Body {layout.bodies[body].name} has no panels left.", (body,))
    for panel in panels:
        if not trim.areas(panel.mesh.vertices, panel.mesh.triangles).sum() > 0.0:
            raise GeometryError(
                f"Panel {panel.name} has no surface to place the body by. Delete it first.", (body, panel.id)
            )
    parts = [Part(panel.name, panel.source, panel.mesh) for panel in panels]
    return _scan(layout.bodies[body].name, parts, mesh_files.MeshFile(()), Cleaned())


# Judging


def judge(
    scan: Scan,
    unit: LengthUnit | None = None,
    up: Axis | None = None,
    forward: Axis | None = None,
    front_axle: float | None = None,
    centred: bool = True,
    known: tuple[float, float] | None = None,
    kept: Sequence[int] | None = None,
    straighten: bool = True,
) -> Reading:
    """Return how the scan would stand; what isn't given is guessed.

    `known` is a length in the file's unit with its true mm; `kept` the indices of the parts that
    count, all by default; `straighten` lets a body that lies askew in its file be turned straight.
    """
    if up is not None and forward is not None and up[1] == forward[1]:
        raise GeometryError(f"Up {up} and forward {forward} lie on one line. Choose two different axes.")
    parts = list(range(len(scan.parts))) if kept is None else list(kept)
    if not parts:
        raise GeometryError("Every part of the body is left out. Keep at least one.")
    stance = scan.straightened if straighten and scan.straightened is not None else scan.as_read
    everything = len(parts) == len(scan.parts)
    sample = stance.sample if everything else _sample_of(scan, stance, parts)
    names = [scan.parts[index].source for index in parts]
    above, ahead = shape.guess_axes(
        sample, stance.planes, names, up, forward, scan.stated_up, scan.stated_forward
    )
    turn = shape.turn_of(above, ahead)
    across = int(np.argmax(np.abs(turn[1])))
    plane = stance.planes[across] if everything else shape.mirror(sample, across)
    extent = np.abs(turn @ (sample.high - sample.low))
    guessed, _ = shape.guess_unit(extent, scan.stated_unit)
    scale = _known_scale(known) if known else MM_PER_UNIT[unit or guessed]
    odd = shape.odd_size(extent, unit or guessed)
    warnings: tuple[str, ...] = () if known or not odd else (odd,)
    chosen = unit or (_nearest_unit(scale) if known else guessed)
    symmetry = _symmetry(sample, plane, turn, scale)
    lows, highs = _turned_boxes(sample, scale * turn)
    middle = symmetry.y if symmetry else float(lows[:, 1].min() + highs[:, 1].max()) / 2
    if symmetry is None and centred:
        warnings += (UNEVEN_SIDES,)
    askew = straight.angle_of(np.array(stance.turn))
    if askew:
        warnings += (
            f"The body lies askew in its file; it is turned by {math.degrees(askew):.1f}° to stand straight.",
        )
    if front_axle is None:
        points = sample.points @ (scale * turn).T - np.array([0.0, middle, 0.0])
        axle = shape.guess_front_axle(points, names, lows, highs)
    else:
        axle = front_axle
    shift = (axle - float(highs[:, 0].max()), 0.0 - middle * centred, 0.0 - float(lows[:, 2].min()))
    return Reading(
        unit=chosen,
        up=above,
        forward=ahead,
        unit_guessed=unit is None and known is None and scan.stated_unit is None,
        up_guessed=up is None and above != scan.stated_up,
        forward_guessed=forward is None and ahead != scan.stated_forward,
        front_axle=axle,
        front_axle_guessed=front_axle is None,
        symmetry=symmetry,
        size=vec(extent * scale),
        placement=Placement(scale, _rows(turn @ np.array(stance.turn)), shift),
        is_scaled=known is not None,
        straightened=askew,
        warnings=warnings,
    )


def _sample_of(scan: Scan, stance: Stance, parts: Sequence[int]) -> Sample:
    """Return the sample of some parts; a tiny part among large ones gets points of its own."""
    sample = stance.sample.of(parts)
    if len(sample.points) >= LEAST_SAMPLE:
        return sample
    meshes = [scan.parts[index].mesh for index in parts]
    return shape.turned_sample(shape.sampled(meshes), meshes, np.array(stance.turn))


def stand_like(scan: Scan, body: Body, kept: Sequence[int] | None = None) -> Reading:
    """Return the reading that puts the scan where a body from the same axes stands."""
    indices = range(len(scan.parts)) if kept is None else kept
    placed = [world_points(body.placement, scan.parts[index].mesh.vertices) for index in indices]
    lows = np.array([points.min(axis=0) for points in placed])
    highs = np.array([points.max(axis=0) for points in placed])
    size = highs.max(axis=0) - lows.min(axis=0)
    return Reading(
        unit=body.unit,
        up=body.up,
        forward=body.forward,
        unit_guessed=False,
        up_guessed=False,
        forward_guessed=False,
        front_axle=float(highs[:, 0].max()),
        front_axle_guessed=False,
        symmetry=None,
        size=vec(size),
        placement=body.placement,
        is_scaled=body.placement.scale != MM_PER_UNIT[body.unit],
    )


def _known_scale(known: tuple[float, float]) -> float:
    measured, true = known
    if not (np.isfinite(measured) and np.isfinite(true) and measured > 0 and true > 0):
        raise GeometryError("The known dimension must be longer than nothing, on the mesh and in truth.")
    return true / measured


def _nearest_unit(scale: float) -> LengthUnit:
    return min(MM_PER_UNIT, key=lambda name: abs(float(np.log(scale / MM_PER_UNIT[name]))))


def _symmetry(sample: Sample, plane: Mirror, turn: Floats, scale: float) -> Symmetry | None:
    axis = int(np.argmax(np.abs(turn[1])))
    width = float((sample.high - sample.low)[axis])
    if plane.deviation > shape.SYMMETRICAL * width:
        return None
    # The file's own centre plane stays where it is when the found one differs by noise only.
    offset = 0.0 if abs(plane.offset) < shape.SAME_PLANE * width else plane.offset
    return Symmetry(float(turn[1, axis]) * offset * scale, plane.deviation * scale)


def _turned_boxes(sample: Sample, turn: Floats) -> tuple[Floats, Floats]:
    """Return the lows and highs (parts, 3) of boxes after a quarter turn with scale."""
    a, b = sample.lows @ turn.T, sample.highs @ turn.T
    return np.minimum(a, b), np.maximum(a, b)


def _rows(turn: Floats) -> Rows3:
    x, y, z = (vec(row + 0.0) for row in turn)
    return x, y, z


# Into the layout


def choices_of(scan: Scan) -> tuple[Choice, ...]:
    """Return the choice that keeps every part as it is."""
    return tuple(Choice(part.name) for part in scan.parts)


def add_to(
    layout: Layout, scan: Scan, reading: Reading, choices: Sequence[Choice] | None = None
) -> tuple[Layout, int, tuple[int, ...]]:
    """Return the layout with the scan as one more body, the body's id and its panels' ids."""
    body = layout.next_id
    taken = {panel.name for panel in layout.panels.values()}
    panels = {}
    for index, (part, choice) in enumerate(zip(scan.parts, choices or choices_of(scan), strict=True)):
        id, name = body + 1 + index, _free_name(choice.name, taken)
        taken.add(name)
        panels[id] = Panel(id, name, body, part.mesh, part.source, choice.kept, choice.shown, choice.colour)
    added = replace(
        layout,
        next_id=body + 1 + len(panels),
        bodies={**layout.bodies, body: _body(body, Path(scan.source).stem, reading)},
        panels={**layout.panels, **panels},
    )
    return added, body, tuple(panels)


def _body(id: int, name: str, reading: Reading) -> Body:
    return Body(id, name, reading.placement, reading.unit, reading.up, reading.forward)


def set_reading(layout: Layout, body: int, reading: Reading) -> Layout:
    """Return the layout with a body that stands as the reading says."""
    placed = placed_anew(layout, body, reading.placement)
    changed = replace(placed.bodies[body], unit=reading.unit, up=reading.up, forward=reading.forward)
    return replace(placed, bodies={**placed.bodies, body: changed})


def replace_body(layout: Layout, body: int, scan: Scan, reading: Reading) -> Layout:
    """Return the layout with another scan in a body's place; panels keep their id by source name."""
    old = {panel.source: panel for panel in layout.panels.values() if panel.body == body}
    panels = {id: panel for id, panel in layout.panels.items() if panel.body != body}
    taken = {panel.name for panel in panels.values()}
    next_id = layout.next_id
    for part in scan.parts:
        known = old.get(part.source)
        if known is not None:
            panels[known.id] = remade(known, part.mesh)
        else:
            panels[next_id] = Panel(next_id, _free_name(part.name, taken), body, part.mesh, part.source)
            next_id += 1
        taken.add(part.name)
    placed = replace(_body(body, Path(scan.source).stem, reading), name=layout.bodies[body].name)
    after = replace(
        layout, next_id=next_id, panels=dict(sorted(panels.items())), bodies={**layout.bodies, body: placed}
    )
    return pointed(after, dict.fromkeys(layout.panels.keys() - panels.keys()))


def placed_bounds(layout: Layout, body: int) -> tuple[Vec3, Vec3]:
    """Return the lowest and highest corner of a body's kept panels in the car's axes."""
    placement = layout.bodies[body].placement
    points = [
        world_points(placement, panel.mesh.vertices)
        for panel in layout.panels.values()
        if panel.body == body and panel.kept
    ]
    if not points:
        raise GeometryError(f"Body {layout.bodies[body].name} has no panels that are kept.", (body,))
    low = np.min([some.min(axis=0) for some in points], axis=0)
    high = np.max([some.max(axis=0) for some in points], axis=0)
    return vec(low), vec(high)


def with_choices(layout: Layout, panels: Sequence[int], choices: Sequence[Choice]) -> Layout:
    """Return the layout with panels as the person chose; those that stay are the same objects."""
    changed = dict(layout.panels)
    for id, choice in zip(panels, choices, strict=True):
        old = changed[id]
        if Choice(old.name, old.kept, old.shown, old.colour) != choice:
            changed[id] = replace(
                old, name=choice.name, kept=choice.kept, shown=choice.shown, colour=choice.colour
            )
    return replace(layout, panels=changed)


def front_axle_of(layout: Layout, body: int) -> float:
    """How far behind its foremost kept point a body has its front axle."""
    try:
        _, high = placed_bounds(layout, body)
    except GeometryError:
        return 0.0
    return high[0]
