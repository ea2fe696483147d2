"""The named points that a first cage is laid from, and where they seem to be on a body.

Points of the sides are given on the left; the centre plane's lie in it. A guess is read from outlines:
the body seen from the side and from above, its lower edge, the steps from bonnet to windscreen to roof.
"""

from typing import Literal

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from geometry.body import placement
from geometry.laying.wish import Place
from geometry.layout import Layout
from geometry.progress import Progress, no_progress
from geometry.starting.outlines import Outlines, Step
from geometry.vectors import Vec3, unit, vec

Sureness = Literal["sure", "likely", "unsure"]

CORNER_IN = 45.0  # mm inwards from an edge that is seen, to be on the panel and not on its rim
ABOVE_EDGE = 35.0  # mm above the lower edge of the side
BEHIND_TYRE = 80.0  # mm from the arch to the end of a sill
B_PART = 0.46  # of the roof, from its front, where the B-pillar is if no door says


class PointName(Struct, frozen=True):
    """One of the points: its key, how it is called, and what it means in a sentence."""

    key: str
    label: str  # for a mark in the view
    title: str
    meaning: str
    is_central: bool = False


class Guess(Struct, frozen=True):
    """Where a point seems to be; no place if the body does not tell."""

    place: Place | None
    sureness: Sureness = "unsure"


NAMES: tuple[PointName, ...] = (
    PointName(
        "sill_front",
        "sill front",
        "Sill, front end",
        "On the sill's side just behind the front wheel arch: the sill tube starts here.",
    ),
    PointName(
        "sill_rear",
        "sill rear",
        "Sill, rear end",
        "On the sill's side just ahead of the rear wheel arch: the sill tube ends here.",
    ),
    PointName(
        "a_foot",
        "A foot",
        "A-pillar, foot",
        "On the side where the windscreen pillar rises from the wing: the A upright passes here.",
    ),
    PointName(
        "a_head",
        "A head",
        "A-pillar, head",
        "The front corner of the roof, above the windscreen: the roof rail starts here.",
    ),
    PointName(
        "b_head",
        "B head",
        "B-pillar, head",
        "On the roof's edge behind the front door: the B upright ends here.",
    ),
    PointName(
        "c_head",
        "C head",
        "Rear pillar, head",
        "The rear corner of the roof: the roof rail ends here.",
    ),
    PointName(
        "c_foot",
        "C foot",
        "Rear pillar, foot",
        "On the side where the rearmost pillar meets the waist: the C upright ends here.",
    ),
    PointName(
        "rear_bottom",
        "rear corner",
        "Rear bottom corner",
        "Low on the side, just ahead of the tail: the rear down tube ends here.",
    ),
    PointName(
        "bonnet_rear",
        "bonnet rear",
        "Bonnet, rear corner",
        "On the wing's upper edge just ahead of the windscreen pillar: the bonnet hoop starts here.",
    ),
    PointName(
        "bonnet_front",
        "bonnet front",
        "Bonnet, front corner",
        "On the wing's upper edge at the front corner: the bonnet hoop turns here.",
    ),
    PointName(
        "nose",
        "nose",
        "Front of the bonnet, middle",
        "On the front face a little below the bonnet: the bonnet hoop crosses here.",
        is_central=True,
    ),
    PointName(
        "roof_front",
        "roof front",
        "Roof front edge, middle",
        "On the roof above the windscreen: the windscreen header crosses here.",
        is_central=True,
    ),
    PointName(
        "roof_middle",
        "roof middle",
        "Roof at the B-pillars, middle",
        "On the roof between the B-pillar heads: the roof cross tube crosses here.",
        is_central=True,
    ),
    PointName(
        "roof_rear",
        "roof rear",
        "Roof rear edge, middle",
        "On the roof above the rear window: the rear header crosses here.",
        is_central=True,
    ),
    PointName(
        "tail",
        "tail",
        "Tail, middle",
        "On the rear face at the height of the rear bottom corners: the rear cross tube crosses here.",
        is_central=True,
    ),
)
KEYS = tuple(name.key for name in NAMES)
NOTHING = Guess(None)


def named(key: str) -> PointName:
    return next(name for name in NAMES if name.key == key)


def guessed(layout: Layout, progress: Progress = no_progress) -> dict[str, Guess]:
    """Return for each point where the kept panels seem to have it."""
    progress(0.0, "Looking at the body")
    seen = Outlines.of(layout)
    if seen is None:
        return dict.fromkeys(KEYS, NOTHING)
    found = {**_roof(layout, seen), **_sides(layout, seen)}
    return {key: found.get(key, NOTHING) for key in KEYS}


def on_left(place: Place, is_central: bool) -> Place:
    """Return a place that was pointed at as a point of the left side, or of the centre plane."""
    x, y, z = place.point
    nx, ny, nz = place.normal
    if is_central:
        return Place((x, 0.0, z), (nx, 0.0, nz) if nx or nz else place.normal)
    return place if y >= 0.0 else Place((x, -y, z), (nx, -ny, nz))


def placed(layout: Layout, key: str, point: Vec3, panel: int, triangle: int) -> Place:
    """Return a point that was pointed at on a triangle of a panel; the metal faces away from the body."""
    kept = [one for one in layout.panels.values() if one.kept and len(one.mesh.triangles)]
    boxes = [placement.panel_vertices(layout, one) for one in kept]
    low = np.min([vertices.min(axis=0) for vertices in boxes], axis=0)
    high = np.max([vertices.max(axis=0) for vertices in boxes], axis=0)
    mesh = layout.panels[panel].mesh
    a, b, c = placement.panel_vertices(layout, layout.panels[panel])[mesh.triangles[triangle]]
    normal = unit(np.cross(b - a, c - a))
    away = (np.array(point) - (low + high) / 2.0) / np.maximum(high - low, 1.0) ** 2
    if float(normal @ away) < 0.0:
        normal = -normal
    return on_left(Place(point, vec(normal)), named(key).is_central)


def _roof(layout: Layout, seen: Outlines) -> dict[str, Guess]:
    """Return the points of roof and pillars."""
    screen, back = seen.windscreen(), seen.rear_window()
    if screen is None:
        return {}
    assert back is not None
    front, rear = screen.top - CORNER_IN, back.top + CORNER_IN
    pillar = _door_end(layout, front, rear)
    middle = pillar if pillar is not None else front - B_PART * (front - rear)
    by_step: Sureness = "sure" if screen.is_clear else "likely"
    by_back: Sureness = "sure" if back.is_clear else "likely"
    by_door: Sureness = "sure" if pillar is not None else "unsure"
    return {
        "a_head": Guess(seen.edge(front), by_step),
        "b_head": Guess(seen.edge(middle), by_door),
        "c_head": Guess(seen.edge(rear), by_back),
        "roof_front": Guess(seen.on_top(front), by_step),
        "roof_middle": Guess(seen.on_top(middle), by_door),
        "roof_rear": Guess(seen.on_top(rear), by_back),
        "a_foot": Guess(_foot(seen, screen), by_step),
        "c_foot": Guess(_foot(seen, _ahead_of(back, seen.rear_corner())), by_back),
    }


def _ahead_of(step: Step, corner: float) -> Step:
    """Return a step whose foot is on the side, not round the corner on the tail."""
    return replace(step, foot=max(step.foot, corner + CORNER_IN))


def _foot(seen: Outlines, step: Step) -> Place | None:
    """Return the place on the side at the foot of a pillar, a little below the shoulder there."""
    shoulder = seen.edge(step.foot, below=step.foot_height)
    if shoulder is None:
        return None
    return seen.on_side(step.foot, shoulder.point[2] - CORNER_IN)


def _door_end(layout: Layout, front: float, rear: float) -> float | None:
    """Return where the front door of a measured body ends; None if nothing says."""
    ends = [
        door.back
        for body in layout.bodies.values()
        if body.measured is not None
        for door in body.measured.doors
    ]
    ends = [end - 1.5 * CORNER_IN for end in ends if rear + 300.0 < end < front - 300.0]
    return max(ends, default=None)


def _sides(layout: Layout, seen: Outlines) -> dict[str, Guess]:
    """Return the points of sills, bonnet and tail."""
    front, rear, is_clear = _sill_ends(layout, seen)
    screen = seen.windscreen()
    corner = seen.front_corner()
    back = seen.rear_corner()
    foot = screen.foot + 1.5 * CORNER_IN if screen is not None else seen.cowl()
    bonnet = seen.edge(corner)
    low = seen.on_side(back, seen.lower_edge(back) + ABOVE_EDGE)
    arches: Sureness = "sure" if is_clear else "unsure"
    return {
        "sill_front": Guess(seen.on_side(front, seen.lower_edge(front) + ABOVE_EDGE), arches),
        "sill_rear": Guess(seen.on_side(rear, seen.lower_edge(rear) + ABOVE_EDGE), arches),
        "bonnet_rear": Guess(seen.edge(foot), "sure" if screen is not None else "likely"),
        "bonnet_front": Guess(bonnet, "likely"),
        "nose": Guess(seen.on_nose(bonnet.point[2] - CORNER_IN) if bonnet else None, "likely"),
        "rear_bottom": Guess(low, "likely"),
        "tail": Guess(seen.on_tail(low.point[2]) if low else None, "likely"),
    }


def _sill_ends(layout: Layout, seen: Outlines) -> tuple[float, float, bool]:
    """Return where the sill begins and ends between the wheels, and whether wheels or arches say so."""
    axles = sorted(layout.axles.values(), key=lambda axle: -axle.x)
    if len(axles) >= 2:
        ahead, behind = axles[0], axles[1]
        front = ahead.x - ahead.tyre.od / 2.0 - BEHIND_TYRE
        return front, behind.x + behind.tyre.od / 2.0 + BEHIND_TYRE, True
    arches = seen.arches()
    if arches is not None:
        return arches[0] - BEHIND_TYRE, arches[1] + BEHIND_TYRE, True
    low, high = seen.low[0], seen.high[0]
    return high - 0.3 * (high - low), low + 0.33 * (high - low), False
