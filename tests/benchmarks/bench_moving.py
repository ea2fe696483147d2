"""One door of a body of a million triangles on its way past sixty tubes."""

import math
from collections.abc import Callable
from typing import Any

import pytest
from msgspec.structs import replace

from geometry import hinges
from geometry.checks import moving
from geometry.layout import Layout, Motion, Slide

pytestmark = pytest.mark.benchmark

DOOR = 14  # of the ten panels: the left half of the third length of the body, 720 mm long
CASES = ("front edge", "lower edge", "in among the tubes", "slides back")


def motion(layout: Layout, case: str) -> Motion:
    if case == "slides back":
        return Slide((-700.0, 150.0, 0.0))
    hinge = hinges.hinge_at(layout, DOOR, "bottom" if case == "lower edge" else "front")
    inward = case == "in among the tubes"
    return replace(hinge, angle=math.copysign(math.radians(70.0), -hinge.angle if inward else hinge.angle))


@pytest.mark.parametrize("case", CASES)
def test_door_past_sixty_tubes(
    big_job: Any, case: str, seconds: Callable[..., float], say: Callable[[str], None]
) -> None:
    layout = hinges.set_motion(big_job.layout, DOOR, motion(big_job.layout, case))
    index = big_job.index

    def check(tubes: Any = tuple(layout.tubes)) -> tuple[moving.Touch, ...]:
        return moving.measured(layout, index, [DOOR], tubes)

    found = check()
    count, bare = big_job.bare_queries(check)
    spent, queries = seconds(check), seconds(bare)
    hits = sum(touch.touches_at is not None for touch in found)
    few = seconds(lambda: check(sorted(big_job.at_joint)))
    say(
        f"{case}: {len(layout.tubes)} tubes {1e3 * spent:.1f} ms = {spent / max(queries, 1e-9):.2f} x its "
        f"{count} bare nearest-point queries ({1e3 * queries:.1f} ms); three tubes {1e3 * few:.1f} ms; "
        f"meets {hits}, passes {len(found) - hits} too near"
    )
