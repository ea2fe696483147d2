"""Jobs that the packet is tested with."""

import math

import pytest

from geometry import edits
from geometry.checks import findings
from geometry.checks.findings import Report
from geometry.layout import Die, Layout, Stock

STOCK, DIE = 1, 2


@pytest.fixture
def empty() -> Layout:
    """A job with one stock, one die and no tubes."""
    stock = Stock(STOCK, "1 3/4 × 0.095", od=44.45, wall=2.413)
    die = Die(DIE, "six inch", od=44.45, clr=152.4, first_straight=0.0, between_straight=1.0, tail=0.0)
    return Layout(name="Test job", next_id=3, stocks={STOCK: stock}, dies={DIE: die})


@pytest.fixture
def job(empty: Layout) -> Layout:
    """A straight tube, one bent in space that lands on it, one flat hoop, and one that can't be made."""
    layout, sill = edits.add_tube(empty, [(0.0, 0.0, 0.0), (2000.0, 0.0, 0.0)], STOCK, "sill")
    seat = edits.landing_at(layout, sill, (1500.0, 0.0, 0.0))
    layout, _ = edits.add_tube(
        layout, [seat, (1500.0, 0.0, 900.0), (900.0, 300.0, 1300.0), (300.0, 300.0, 1200.0)], STOCK, "rail"
    )
    layout, _ = edits.add_tube(
        layout,
        [(3000.0, -600.0, 0.0), (3000.0, -600.0, 1200.0), (3000.0, 600.0, 1200.0), (3000.0, 600.0, 0.0)],
        STOCK,
        "=hoop()",
    )
    layout, _ = edits.add_tube(
        layout, [(0.0, 2000.0, 0.0), (100.0, 2000.0, 0.0), (100.0, 2100.0, 0.0)], STOCK, "knot"
    )
    return layout


@pytest.fixture
def report(job: Layout) -> Report:
    return findings.check_layout(job)


def circle_of_corners(count: int, radius: float, rise: float) -> list[tuple[float, float, float]]:
    """Return corners on a rising circle."""
    turns = [2.0 * math.pi * i / count for i in range(count)]
    return [(radius * math.cos(t), radius * math.sin(t), rise * t) for t in turns]
