"""Axles and their tyres. Edits: layout in, layout out."""

import math
from typing import Any

import numpy as np
from msgspec.structs import replace

from geometry import naming
from geometry.body import placement, tyres
from geometry.errors import GeometryError
from geometry.layout import Axle, Layout, Tyre

USUAL_TYRE = "31x10.50R15"
USUAL_TRACK = 1400.0  # mm; without a body to go by
USUAL_WHEELBASE = 2300.0  # mm; likewise
SHORTEST_WHEELBASE = 500.0  # mm; axles nearer to each other say nothing of a rake
USUAL_BUMP, USUAL_DROOP = 100.0, 120.0  # mm; common practice, no source: 75-125 and 100-150
USUAL_ROLL_HEIGHT = 250.0  # mm between the wheels of a solid axle; common practice, no source: 200-300
USUAL_STEER = math.radians(30.0)  # of the inner wheel; common practice, no source: 25-35 with solid axles
OUTER_PART = 0.85  # of the inner wheel's steering that the outer one makes; assumed


def add(layout: Layout, tyre: Tyre | None = None) -> tuple[Layout, int]:
    """Add the front axle, or behind it the next; on the ground, as wide as the body, with usual travel."""
    first = not layout.axles
    id = layout.next_id
    rolling = tyre or _tyre_in_use(layout)
    track = max(_track(layout, rolling), rolling.width + 100.0)
    axle = Axle(
        id=id,
        name=free_name(layout, "Front axle" if first else "Rear axle"),
        x=0.0 if first else _rear_x(layout),
        height=rolling.od / 2.0,
        track=track,
        tyre=rolling,
        bump=USUAL_BUMP,
        droop=USUAL_DROOP,
        roll=tyres.roll_of(track, min(USUAL_ROLL_HEIGHT, track / 2.0)),
        steer_inner=USUAL_STEER if first else 0.0,
        steer_outer=USUAL_STEER * OUTER_PART if first else 0.0,
    )
    return _with(replace(layout, next_id=id + 1), axle), id


def change(layout: Layout, id: int, **changes: Any) -> Layout:
    """Change fields of an axle, or refuse what cannot be in a sentence."""
    old = known(layout, id)
    if "name" in changes:
        changes["name"] = naming.checked(changes["name"])
    return _with(layout, replace(old, **changes))


def duplicate(layout: Layout, id: int) -> tuple[Layout, int]:
    """Add a copy of an axle behind the last one, without steering."""
    old = known(layout, id)
    copy = layout.next_id
    axle = replace(
        old,
        id=copy,
        name=free_name(layout, "Rear axle"),
        x=_rear_x(layout),
        steer_inner=0.0,
        steer_outer=0.0,
    )
    return _with(replace(layout, next_id=copy + 1), axle), copy


def ground(layout: Layout) -> tuple[float, float]:
    """Return how high the ground is at x = 0, and how much it rises for each mm forward.

    The tyres stand on it at ride height; one axle, or none, leaves it level.
    """
    feet = sorted((axle.x, axle.height - axle.tyre.od / 2.0) for axle in layout.axles.values())
    if not feet:
        return 0.0, 0.0
    if feet[-1][0] - feet[0][0] < SHORTEST_WHEELBASE:
        return min(z for _, z in feet), 0.0
    middle = (feet[0][0] + feet[-1][0]) / 2.0
    behind = [foot for foot in feet if foot[0] <= middle]
    ahead = [foot for foot in feet if foot[0] > middle]
    # Of all lines through two feet, the one that is lowest between them has no foot below it.
    lines = [_line(rear, front) for rear in behind for front in ahead]
    return min(lines, key=lambda line: line[0] + line[1] * middle)


def _line(rear: tuple[float, float], front: tuple[float, float]) -> tuple[float, float]:
    rise = (front[1] - rear[1]) / (front[0] - rear[0])
    return rear[1] - rise * rear[0], rise


def known(layout: Layout, id: int) -> Axle:
    if id not in layout.axles:
        raise GeometryError("This axle is no longer in the job.", (id,))
    return layout.axles[id]


def free_name(layout: Layout, name: str) -> str:
    """Return the name, with a number behind it where another axle has it already."""
    taken = {axle.name for axle in layout.axles.values()}
    free, number = name, 2
    while free in taken:
        free, number = f"{name} {number}", number + 1
    return free


def _with(layout: Layout, axle: Axle) -> Layout:
    tyres.check(axle)
    if axle.height <= 0.0:
        raise GeometryError(
            f"The axle “{axle.name}” has its hubs {axle.height:g} mm up. Put its hubs above the ground.",
            (axle.id,),
        )
    return replace(layout, axles={**layout.axles, axle.id: axle})


def _tyre_in_use(layout: Layout) -> Tyre:
    """Return the tyre of the axle added last, or a usual one."""
    return list(layout.axles.values())[-1].tyre if layout.axles else tyres.parsed(USUAL_TYRE)


def _track(layout: Layout, tyre: Tyre) -> float:
    """Return the track of the axle there is, or one with the tyres' outer sides level with the body's."""
    if layout.axles:
        return list(layout.axles.values())[-1].track
    width = [
        float(np.ptp(placement.panel_vertices(layout, panel)[:, 1]))
        for panel in layout.panels.values()
        if panel.kept and len(panel.mesh.vertices)
    ]
    return max(width) - tyre.width if width and max(width) > 800.0 else USUAL_TRACK


def _rear_x(layout: Layout) -> float:
    """Return where an axle behind the last one goes: at a rear wheel arch, if the body was measured."""
    last = min((axle.x for axle in layout.axles.values()), default=0.0)
    arches = [
        arch.x
        for body in layout.bodies.values()
        if body.measured is not None
        for arch in body.measured.arches
        if arch.x < last - SHORTEST_WHEELBASE
    ]
    return max(arches) if arches else last - USUAL_WHEELBASE
