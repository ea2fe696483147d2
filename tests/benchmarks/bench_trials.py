"""What trial bends cost while tubes are drawn and moved, and what learning from them takes."""

import math
from collections.abc import Callable
from typing import Any

import pytest
from msgspec.structs import replace

from geometry.layout import Layout, TrialBend
from geometry.tube import bending, centreline, trials

pytestmark = pytest.mark.benchmark

ROUNDS = 200  # of all tubes, so that the clock's own grain does not count
ANGLES = (30.0, 60.0, 90.0, 120.0)


def taught(layout: Layout) -> Layout:
    """Return the layout with a set of trial bends for each die and stock in use."""
    pairs = {(bending.die_of(layout, tube), tube.stock) for tube in layout.tubes.values()}
    rows = [
        trial(next_id, die.id, stock, degrees)
        for next_id, (die, stock, degrees) in enumerate(
            [(die, stock, degrees) for die, stock in pairs if die is not None for degrees in ANGLES], 10_000
        )
    ]
    return replace(layout, trials={row.id: row for row in rows})


def trial(id: int, die: int, stock: int, degrees: float) -> TrialBend:
    """Return a trial bend on CLR 155 that takes 150 mm a radian and starts at the mark."""
    angle = math.radians(degrees)
    outside = (155.0 + 44.45 / 2.0) * math.tan(angle / 2.0)
    tail = 900.0 - 300.0 - 150.0 * angle + outside
    return TrialBend(
        id, die, stock, "", "2026-05-01", 900.0, 300.0, 1.03 * angle, angle, 300.0 + outside, tail
    )


def test_radius_of_every_tube(
    big_job: Any, seconds: Callable[..., float], say: Callable[[str], None]
) -> None:
    for name, layout in (("without", big_job.layout), ("with", taught(big_job.layout))):
        tubes = list(layout.tubes.values())

        def for_all(work: Callable[..., object], layout: Layout = layout, tubes: list[Any] = tubes) -> float:
            def rounds() -> None:
                for _ in range(ROUNDS):
                    for tube in tubes:
                        work(layout, tube)

            return 1e6 * seconds(rounds) / ROUNDS / len(tubes)

        die, radius, line = (for_all(work) for work in (bending.die_of, bending.clr_of, centreline.of))
        say(
            f"{name} trial bends, a tube: its die {die:.2f} us, its radius {radius:.2f} us, "
            f"its centreline (unchanged) {line:.2f} us"
        )


def test_learning(big_job: Any, seconds: Callable[..., float], say: Callable[[str], None]) -> None:
    layout = taught(big_job.layout)
    tube = next(iter(layout.tubes.values()))
    die = bending.die_of(layout, tube)
    stock = layout.stocks[tube.stock]
    assert die is not None
    for count in (1, 2, 4):
        few = dict([(id, row) for id, row in layout.trials.items() if row.die == die.id][:count])
        nudge = iter(range(1_000_000))

        def anew(few: dict[int, TrialBend] = few, nudge: Any = nudge) -> object:
            moved = {id: replace(row, mark=row.mark + 1e-6 * next(nudge)) for id, row in few.items()}
            return trials.learnt(replace(layout, trials=moved), die, stock)

        say(f"learning from {count} new trial bends {1e3 * seconds(anew, 50):.2f} ms")
