"""What tyres sweep through: worked out, against sixty tubes, against a million triangles in ten panels."""

import math
from collections.abc import Callable
from typing import Any

import pytest
from msgspec.structs import replace

from geometry import axles
from geometry.body import tyres as sizes
from geometry.checks import tyres
from geometry.checks.tyres import Envelopes
from geometry.layout import Layout

pytestmark = pytest.mark.benchmark

STEER = math.radians(30.0)


@pytest.fixture(scope="module")
def on_wheels(big_job: Any) -> tuple[Layout, Envelopes]:
    """The job with two axles whose tyres reach into body and cage."""
    layout, front = axles.add(big_job.layout, sizes.parsed("33x12.50R15"))
    layout = axles.change(layout, front, track=1500.0, height=450.0, camber=0.02)
    layout, rear = axles.add(layout)
    layout = axles.change(layout, rear, track=1500.0, height=450.0)
    return layout, tyres.envelopes(layout, {}, lambda: True)


def test_what_a_wheel_sweeps(
    on_wheels: tuple[Layout, Envelopes], seconds: Callable[..., float], say: Callable[[str], None]
) -> None:
    layout, _ = on_wheels
    for axle in layout.axles.values():
        one = replace(layout, axles={axle.id: axle})
        spent = seconds(lambda one=one: tyres.envelopes(one, {}, lambda: True), 3)
        triangles = len(next(iter(tyres.envelopes(one, {}, lambda: True).values())).mesh.triangles)
        say(f"{axle.name}: both wheels {spent:.2f} s, {triangles} triangles each")
    known = tyres.envelopes(layout, {}, lambda: True)
    again = seconds(lambda: tyres.envelopes(layout, known, lambda: True))
    say(f"four equal wheels again {1e3 * again:.2f} ms")


def test_tyres_against_tubes(
    big_job: Any,
    on_wheels: tuple[Layout, Envelopes],
    seconds: Callable[..., float],
    say: Callable[[str], None],
) -> None:
    layout, swept = on_wheels

    def check() -> object:
        return tyres.against_tubes(layout, swept, layout.tubes)

    count, bare = big_job.bare_queries(check)
    spent, queries = seconds(check), seconds(bare)
    say(
        f"{len(layout.tubes)} tubes against {len(swept)} tyres {1e3 * spent:.1f} ms = "
        f"{spent / max(queries, 1e-9):.2f} x its {count} bare nearest-point queries ({1e3 * queries:.1f} ms)"
    )


def test_tyres_against_panels(
    big_job: Any,
    on_wheels: tuple[Layout, Envelopes],
    seconds: Callable[..., float],
    say: Callable[[str], None],
) -> None:
    layout, swept = on_wheels

    def check() -> tuple[tyres.Bite, ...]:
        return tyres.against_panels(layout, big_job.index, swept, big_job.index)

    count, bare = big_job.bare_queries(check)
    spent, queries = seconds(check), seconds(bare)
    say(
        f"{len(big_job.index)} panels against {len(swept)} tyres {1e3 * spent:.1f} ms = "
        f"{spent / max(queries, 1e-9):.2f} x its {count} bare nearest-point queries "
        f"({1e3 * queries:.1f} ms); {len(check())} bites"
    )
