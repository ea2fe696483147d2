"""The bends of a tube in the order in which they are made."""

from collections.abc import Sequence

from msgspec import Struct

from geometry.tube.bending import BendData
from geometry.tube.feeding import TubeEnd
from geometry.tube.plan import Plan

Order = tuple[tuple[int, TubeEnd], ...]  # the bends, counted from 0, each with the end that leads


class BendRow(Struct, frozen=True):
    """One bend as it is made: the straight ahead of it, and the turn from the bend made next to it."""

    number: int
    straight: float
    rotation: float
    angle: float


def order_of(plan: Plan, count: int) -> Order:
    """Return the order of a plan; without one, from the start on."""
    planned: Order = tuple((step.bend - 1, step.leads) for step in plan.steps)
    return planned or tuple((bend, "start") for bend in range(count))


def in_order(data: BendData, order: Order) -> Sequence[BendRow]:
    """Return the rows of bend data in an order of bending."""
    straights = (*(row.straight_before for row in data.rows), data.last_straight)
    rows: list[BendRow] = []
    made: set[int] = set()
    for bend, leads in order:
        ahead = -1 if leads == "start" else 1
        beside = next((one for one in (bend + ahead, bend - ahead) if one in made), None)
        # The row of the later of two neighbours holds the turn between them, whichever is made first.
        rotation = 0.0 if beside is None else data.rows[max(bend, beside)].rotation
        straight = straights[bend if leads == "start" else bend + 1]
        rows.append(BendRow(bend + 1, straight, rotation, data.rows[bend].angle))
        made.add(bend)
    return rows
