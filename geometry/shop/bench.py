"""What to measure at the bench after each bend, with tape, gauge and table, while it can still be mended.

- straight: between the tangent points of two neighbouring bends; where a straightedge on the tube
  begins to show daylight.
- included: the angle between the two legs of the bend, with a gauge.
- chord: from the middle of one end face to the middle of the other, the rest of the blank still
  straight, allowances still on.
- height: of the middle of the free end above the table, the two legs of the neighbouring bend lying
  flat on it. Given where the turn lifts that end, within reach, and no part of the tube would have to
  be below the table.
- across: over two neighbouring bends, along the straight between them, outside to outside. Each side
  is measured to where the outsides of the two legs of its bend cross, or from 90 degrees on to the back
  of the bend, square to the straight. A crossing is found with a straightedge along the outer leg; with
  one on either side of the tube no tape can join them, so those are given for bends the same way only.
"""

import math
from functools import lru_cache
from typing import Literal

import numpy as np
from msgspec import Struct

from geometry.shop import made
from geometry.shop.made import Bends
from geometry.shop.rounding import REMEMBERED, Rounded
from geometry.tolerances import ANGLE_NOISE, LENGTH_NOISE, STRAIGHT
from geometry.tube.plan import Plan, Step
from geometry.vectors import Floats

Kind = Literal["straight", "included", "chord", "height", "across"]
Side = Literal["corner", "back"]

LEAST_LIFT = 10.0  # mm; a smaller lift is lost in the sag of the tube and the flatness of a table
MOST_LIFT = 1500.0  # mm; a longer end nods, and is out of reach of a square on the table
SAME_WAY = math.radians(2.0)  # outsides that lie within this of one line are measured as one


class Check(Struct, frozen=True):
    """One measurement and what it should give."""

    kind: Kind
    value: float
    bend: int  # just made; numbers count from 1 at the start of the tube
    other: int | None = None  # the neighbouring bend made before, where it takes part
    sides: tuple[Side, Side] | None = None  # of across: what is measured to at `other` and at `bend`


def of(plan: Plan, od: float, rounded: Rounded | None = None) -> tuple[tuple[Check, ...], ...]:
    """Return what to check after each step, of the tube as it is set: exact, or as it was rounded."""
    return _remembered(plan, od, rounded)


@lru_cache(maxsize=REMEMBERED)
def _remembered(plan: Plan, od: float, rounded: Rounded | None) -> tuple[tuple[Check, ...], ...]:
    settings = made.settings_of(plan) if rounded is None else _rounded_settings(rounded)
    blank = plan.blank if rounded is None else rounded.blank
    bends = made.bends_of(plan, settings, made.machine_of(plan))
    return tuple(_after(plan.steps[: i + 1], bends, blank, od) for i in range(len(plan.steps)))


def _rounded_settings(rounded: Rounded) -> Floats:
    trims = (rounded.start_trim, rounded.end_trim)
    return np.array([*trims, *rounded.marks, *rounded.dials, *rounded.set_angles])


def _after(steps: tuple[Step, ...], bends: Bends, blank: float, od: float) -> tuple[Check, ...]:
    """Return the checks after the last of some steps."""
    step = steps[-1]
    bend = step.bend
    points = _bent_so_far(steps, bends, blank)
    included = Check("included", math.pi - float(bends.angles[bend - 1]), bend)
    chord = Check("chord", float(np.linalg.norm(points[-1] - points[0])), bend)
    other = _neighbour(steps)
    if other is None:
        return included, chord
    first = min(bend, other) - 1
    straight = float(bends.starts[first + 1] - bends.ends[first])
    return (
        Check("straight", straight, bend, other),
        included,
        chord,
        *_height(steps, points, other, od),
        *_across(bends, bend, other, straight, od),
    )


def _neighbour(steps: tuple[Step, ...]) -> int | None:
    """Return the bend ahead of the last one, where it is made already."""
    step = steps[-1]
    ahead = step.bend - 1 if step.leads == "start" else step.bend + 1
    return ahead if any(before.bend == ahead for before in steps) else None


def _bent_so_far(steps: tuple[Step, ...], bends: Bends, blank: float) -> Floats:
    """Return the ends of the blank and the corners of the bends that are made."""
    indexes = sorted(step.bend - 1 for step in steps)
    rows = slice(indexes[0], indexes[-1] + 1)  # bends are made next to each other
    between = slice(indexes[0], indexes[-1])
    part = Bends(bends.starts[rows], bends.ends[rows], bends.angles[rows], bends.turns[between], bends.clr)
    return made.walked(part, np.zeros(1), np.array([blank]))


def _height(steps: tuple[Step, ...], points: Floats, other: int, od: float) -> tuple[Check, ...]:
    """Return the height of the free end over the plane of the neighbouring bend, if it can be measured."""
    step = steps[-1]
    corner = 1 + sum(before.bend < other for before in steps)  # of the neighbour, in points
    before, at, after = points[corner - 1 : corner + 2]
    normal = np.cross(at - before, after - at)
    size = float(np.linalg.norm(normal))
    if size <= STRAIGHT * float(np.linalg.norm(at - before) * np.linalg.norm(after - at)):
        return ()  # the angle of the neighbouring bend was rounded to nothing: its legs give no plane
    heights = (points - at) @ (normal / size)
    free = -1 if step.leads == "start" else 0
    if heights[free] < 0.0:
        heights = -heights  # the tube is laid down the other way up
    if not LEAST_LIFT <= heights[free] <= MOST_LIFT or heights.min() < -LENGTH_NOISE:
        return ()
    return (Check("height", float(heights[free]) + od / 2.0, step.bend, other),)


def _across(bends: Bends, bend: int, other: int, straight: float, od: float) -> tuple[Check, ...]:
    """Return the measure over two neighbouring bends, if a tape can take it."""
    angles = [float(bends.angles[number - 1]) for number in (other, bend)]
    sides = _side(angles[0]), _side(angles[1])
    turn = math.remainder(float(bends.turns[min(bend, other) - 1]), 2.0 * math.pi)
    if "corner" in sides and abs(turn) > SAME_WAY:
        return ()
    outside = float(bends.clr[0]) + od / 2.0
    reach = [
        outside * (1.0 if side == "back" else math.tan(angle / 2.0))
        for side, angle in zip(sides, angles, strict=True)
    ]
    return (Check("across", straight + sum(reach), bend, other, sides),)


def _side(angle: float) -> Side:
    return "back" if angle >= math.pi / 2.0 - ANGLE_NOISE else "corner"
