"""Panels cut away for tyres. Edits: layout in, layout out; a cut in a large scan takes a while."""

import itertools
from collections.abc import Iterable, Sequence

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from geometry.body import envelope, placement, trim
from geometry.body.distance import PanelIndex
from geometry.body.trim import GapOf
from geometry.checks import tyres as tyre_checks
from geometry.errors import GeometryError
from geometry.layout import Layout, Mesh, Panel, Trim
from geometry.progress import Progress, no_progress
from geometry.vectors import Floats, Vec3, vec

ROOM = 200.0  # mm beyond margin and box at which a gap is worked out; farther off its box will do
LINE_ACCURACY = 0.2  # mm that a stored cut line may run beside what it was worked out as: a scriber's width
FAIRING = 2.0  # mm that a line may be moved so that a hand can follow it
FAIR_WIDTH = 10.0  # mm to either side that the run of a line is taken from
FAIR_STEP = 2.0  # mm between the places that are moved
LOOKS = (
    100.0  # of some ten milliseconds, in which half of what stands for the swept spaces is said to be done
)
AWAY = 0.1  # mm; what is farther from what is left came off
TWIN = 25.0  # mm that the boxes of panels on the two sides of a car may differ


Lines = tuple[tuple[Vec3, ...], ...]


class Trimmed(Struct, frozen=True, eq=False):
    """A panel's mesh once it is cut, and the cut: both as the mesh was read."""

    panel: int
    mesh: Mesh
    lines: Lines
    margin: float
    parts: int  # that the cut leaves of one that hung together, more than one when it falls apart
    islands: int  # that hung on nothing else and fell out with the cut


def gap_to(swept: Sequence[Mesh], margin: float) -> GapOf:
    """Return the gap of points (n, 3) to what tyres sweep through; negative inside."""
    indexes = [PanelIndex(mesh.vertices, mesh.triangles) for mesh in swept]

    def gaps(points: Floats) -> Floats:
        least = np.full(len(points), np.inf)
        for index in indexes:
            low, high = index.bounds
            boxed = np.linalg.norm(np.maximum(np.maximum(low - points, points - high), 0.0), axis=1)
            near = boxed < margin + ROOM
            boxed[near] = envelope.mesh_gaps(index, points[near])
            least = np.minimum(least, boxed)
        return least

    return gaps


def cut_for(layout: Layout, panel: int, gap_of: GapOf) -> Trimmed:
    """Work out what of a panel stays clear of the tyres by Limits.tyre_margin, from the whole of it."""
    one, margin = _panel(layout, panel), layout.limits.tyre_margin
    placed = layout.bodies[one.body].placement
    points = placement.world_points(placed, one.whole.vertices)
    made = trim.cut(points, one.whole.triangles, gap_of, margin)
    if not len(made.offcut.triangles):
        raise GeometryError(
            f"Every tyre keeps {margin:g} mm or more from {one.name}, so there is nothing to trim.", (panel,)
        )
    if not len(made.rest.triangles):
        raise GeometryError(
            f"Nothing would be left of {one.name}: all of it is in the way of a tyre. Leave the panel out "
            "instead, or give the axle less travel or steering.",
            (panel,),
        )
    mesh = Mesh(
        np.ascontiguousarray(placement.mesh_points(placed, made.rest.points)),
        np.ascontiguousarray(made.rest.triangles, dtype=np.int32),
    )
    for array in (mesh.vertices, mesh.triangles):
        array.setflags(write=False)
    onto = PanelIndex(points, one.whole.triangles)
    lines = tuple(_line(placement.mesh_points(placed, fewer(faired(line, onto)))) for line in made.lines)
    return Trimmed(panel, mesh, lines, margin, made.parts, made.islands)


def set_trimmed(layout: Layout, cuts: Iterable[Trimmed]) -> Layout:
    """Return the layout with panels cut as worked out."""
    panels = dict(layout.panels)
    for made in cuts:
        one = _panel(layout, made.panel)
        panels[made.panel] = replace(one, mesh=made.mesh, trim=Trim(one.whole, made.lines, made.margin))
    return replace(layout, panels=panels)


def untrimmed(layout: Layout, panel: int) -> Layout:
    """Return the layout with a panel whole again."""
    one = _panel(layout, panel)
    if one.trim is None:
        raise GeometryError(f"{one.name} is not trimmed.", (panel,))
    return replace(layout, panels={**layout.panels, panel: replace(one, mesh=one.whole, trim=None)})


def lines_of(layout: Layout, panel: Panel) -> tuple[Floats, ...]:
    """Return where a panel is cut, in the car's axes: (k, 3) each."""
    return world_lines(layout, panel.id, panel.trim.lines if panel.trim is not None else ())


def world_lines(layout: Layout, panel: int, lines: Lines) -> tuple[Floats, ...]:
    """Return lines on a panel's mesh as read in the car's axes: (k, 3) each."""
    placed = layout.bodies[layout.panels[panel].body].placement
    return tuple(placement.world_points(placed, np.array(line)) for line in lines)


def twin_of(layout: Layout, panel: int) -> int | None:
    """Return the panel that is this one's like on the other side of the car, if there is one."""
    one = _panel(layout, panel)
    if not len(one.whole.vertices):
        return None
    low, high = _box(layout, one)
    if low[1] < 0.0 < high[1]:
        return None
    mirrored = np.stack([np.array([low[0], -high[1], low[2]]), np.array([high[0], -low[1], high[2]])])
    others = {
        other.id: _box(layout, other)
        for other in layout.panels.values()
        if other.id != panel and len(other.whole.vertices)
    }
    off = {id: float(np.abs(box - mirrored).max()) for id, box in others.items()}
    best = min(off, key=lambda id: off[id], default=None)
    return best if best is not None and off[best] <= TWIN else None


def _box(layout: Layout, panel: Panel) -> Floats:
    """Return the corners (2, 3) of the box round a whole panel, in the car's axes."""
    points = placement.world_points(layout.bodies[panel.body].placement, panel.whole.vertices)
    return np.stack([points.min(axis=0), points.max(axis=0)])


def length_of(line: Floats) -> float:
    """Return the length of a line (k, 3)."""
    return float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())


def cuts_for(layout: Layout, panels: Sequence[int], progress: Progress = no_progress) -> tuple[Trimmed, ...]:
    """Work out what the tyres of a layout leave of panels; for work beside the window."""
    if not tyre_checks.wheels(layout):
        raise GeometryError("No axle is there to trim for. Add one first.", panels)
    looks = itertools.count()

    def go_on() -> bool:
        progress(0.6 * (1.0 - 1.0 / (1.0 + next(looks) / LOOKS)), "Working out what the tyres sweep through")
        return True

    # The very spaces that the checks hold panels against: the other side's mirrored, not worked out anew.
    swept = [each.mesh for each in tyre_checks.envelopes(layout, {}, go_on).values()]
    gap_of = gap_to(swept, layout.limits.tyre_margin)
    cuts = []
    for number, panel in enumerate(panels):
        progress(0.6 + 0.4 * number / len(panels), f"Cutting {_panel(layout, panel).name}")
        cuts.append(cut_for(layout, panel, gap_of))
    return tuple(cuts)


def offcuts(layout: Layout, panels: Sequence[int], progress: Progress = no_progress) -> dict[int, Mesh]:
    """Return what came off panels that are trimmed, in the car's axes; for work beside the window."""
    meshes = {}
    for number, id in enumerate(panels):
        progress(number / len(panels), "Finding what came off")
        panel = _panel(layout, id)
        rest = PanelIndex(placement.panel_vertices(layout, panel), panel.mesh.triangles)
        whole = placement.world_points(layout.bodies[panel.body].placement, panel.whole.vertices)
        gone = trim.cut(whole, panel.whole.triangles, _nearness(rest), -AWAY).offcut
        mesh = Mesh(gone.points, np.ascontiguousarray(gone.triangles, dtype=np.int32))
        for array in (mesh.vertices, mesh.triangles):
            array.setflags(write=False)
        meshes[id] = mesh
    return meshes


def _nearness(rest: PanelIndex) -> GapOf:
    return lambda points: -rest.closest(points)[0]


def faired(line: Floats, onto: PanelIndex) -> Floats:
    """Return a line (k, 3) on a panel as a hand can follow it: without what a rough mesh puts into its run.

    No place is moved by more than FAIRING, so it comes no nearer to a tyre than the margin less that.
    """
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    count = max(int(np.ceil(along[-1] / FAIR_STEP)), 2)
    places = np.linspace(0.0, along[-1], count + 1)
    even = np.stack([np.interp(places, along, line[:, axis]) for axis in range(3)], axis=1)
    is_closed = bool(np.array_equal(line[0], line[-1]))
    width = max(FAIR_WIDTH / (along[-1] / count), 1e-6)
    half = min(int(np.ceil(3.0 * width)), count // 2)
    reach = 2 * half
    if is_closed:
        ahead, behind = even[1 : reach + 1], even[-reach - 1 : -1]
    else:  # turned about the ends, so that these stay
        ahead = 2.0 * even[-1] - even[-2 : -reach - 2 : -1]
        behind = 2.0 * even[0] - even[reach:0:-1]
    once = np.exp(-0.5 * (np.arange(-half, half + 1) / width) ** 2)
    once /= once.sum()
    # Twice once less once of once: so smooth curves stay where they are instead of shrinking.
    weights = 2.0 * np.pad(once, half) - np.convolve(once, once)
    run = np.concatenate([behind, even, ahead])
    smooth = np.stack([np.convolve(run[:, axis], weights, mode="valid") for axis in range(3)], axis=1)
    smooth = _no_farther(smooth, even)
    _, _, on = onto.closest(smooth)
    moved = _no_farther(on, even)
    if is_closed:
        moved[-1] = moved[0]
    else:
        moved[[0, -1]] = even[[0, -1]]
    return moved


def _no_farther(points: Floats, even: Floats) -> Floats:
    """Return points (n, 3), moved back where they are farther than FAIRING from where they were."""
    way = points - even
    length = np.linalg.norm(way, axis=1)
    held: Floats = even + way * np.minimum(1.0, FAIRING / np.maximum(length, FAIRING))[:, None]
    return held


def fewer(line: Floats) -> Floats:
    """Return a line with the points that it needs to stay within LINE_ACCURACY."""
    keep = np.zeros(len(line), dtype=bool)
    keep[[0, -1]] = True
    open_ = [(0, len(line) - 1)]
    while open_:
        first, last = open_.pop()
        between = line[first + 1 : last]
        if not len(between):
            continue
        way = line[last] - line[first]
        length = max(float(way @ way), 1e-12)
        part = np.clip((between - line[first]) @ way / length, 0.0, 1.0)
        off = np.linalg.norm(between - line[first] - part[:, None] * way, axis=1)
        worst = int(off.argmax())
        if off[worst] > LINE_ACCURACY:
            middle = first + 1 + worst
            keep[middle] = True
            open_ += [(first, middle), (middle, last)]
    return line[keep]


def _line(points: Floats) -> tuple[Vec3, ...]:
    return tuple(vec(point) for point in points)


def _panel(layout: Layout, id: int) -> Panel:
    if id not in layout.panels:
        raise GeometryError("This panel is no longer in the job.", (id,))
    return layout.panels[id]
