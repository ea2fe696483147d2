"""Jobs that the packet is tested with."""

import math
from collections.abc import Callable

import pytest
from msgspec.structs import replace

from app.export.sheet import Facts, Page, Table, Text
from app.export.turning import Stance
from geometry import edits, rack
from geometry.checks import findings
from geometry.checks.findings import Report
from geometry.layout import Die, Layout, Stock, TrialBend

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


@pytest.fixture
def words_of() -> Callable[[Page], str]:
    """All that a page says, line by line."""
    return _words


@pytest.fixture
def with_trials() -> Callable[..., Layout]:
    """Trial bends without error on a die that springs back, stretches and starts 12 mm late."""
    return _with_trials


def _words(page: Page) -> str:
    parts = [page.title, page.aside]
    for item in page.blocks:
        match item:
            case Text():
                parts += [item.heading, *item.paragraphs]
            case Stance():
                parts += item.paragraphs
            case Facts():
                parts += [text for fact in item.facts for text in (fact.label, fact.value, fact.under)]
            case Table():
                parts += [item.heading, *(column.title for column in item.columns)]
                parts += [band.text for band in item.bands]
                parts += [
                    text for row in item.rows for cell in row for text in (cell.over, cell.text, cell.under)
                ]
    return "\n".join(parts)


def _with_trials(
    layout: Layout, angles: tuple[float, ...] = (30.0, 60.0, 90.0), batch: str = "7", on_rack: str = "7"
) -> Layout:
    layout = rack.replace_stock(layout, replace(layout.stocks[STOCK], batch=on_rack))
    clr, consumed, offset, od = 155.0, 149.5, 12.0, layout.stocks[STOCK].od
    for degrees in angles:
        angle = math.radians(degrees)
        reach = (clr + od / 2.0) * math.tan(angle / 2.0)
        start = 250.0 + offset
        trial = TrialBend(
            id=0,
            die=DIE,
            stock=STOCK,
            batch=batch,
            made="2024-05-16",
            length=800.0,
            mark=250.0,
            dial=math.radians(1.2) + 1.022 * angle,
            angle=angle,
            lead_leg=start + reach,
            tail_leg=800.0 - start - consumed * angle + reach,
            widest=46.0,
            narrowest=42.0,
        )
        layout, _ = rack.add_trial(layout, trial)
    return layout
