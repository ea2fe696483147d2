"""The page of a packet with overall sizes and with what was measured."""

from app import measure_words
from app import units as units_of
from app.export.sheet import Block, Cell, Column, Page, Table, Text
from app.units import Units
from geometry.layout import Layout
from geometry.measuring import ramps, sizes

KEY = "measures"
SIZES = (
    "Sizes are taken over the panels that are kept and over the outside of all tubes. Heights are square to "
    "the ground that the tyres stand on at ride height, or from z = 0 where there are none."
)
RAMPS = (
    "Approach, departure: the steepest plane from the ground that touches the tyres of the first or last "
    "axle and has nothing of the car before or behind that axle under it. Breakover: the sharpest crest "
    "between the axles that touches tyres only. Tyres are circles at ride height; nothing sags and no "
    "running gear counts."
)
MEASURES = (
    "Computed from the plan, not from what was built. Gaps lie between outer surfaces, all else between "
    "centrelines; an opening is seen square to its plane, and the tubes pointed at are its rim."
)


def of(job: str, layout: Layout, units: Units) -> Page:
    """Return the page."""
    blocks: list[Block] = [_sizes(layout, units)]
    bare = ramps.of_body(layout)
    if bare is not None:
        blocks.append(_ramps(layout, bare, ramps.with_the_cage(layout, bare)))
    said = [SIZES, *([RAMPS] if bare is not None else [])]
    measures = _measures(layout, units)
    if measures.rows:
        blocks.append(measures)
        said.append(MEASURES)
    blocks.append(Text(tuple(said), "What is meant", "small"))
    return Page(KEY, "Measures and sizes", job, tuple(blocks))


def _sizes(layout: Layout, units: Units) -> Table:
    length = units_of.length_unit(units)
    columns = (
        Column("Overall", 2.0),
        *(Column(f"{title}, {length}", 1.0, "right") for title in ("Body", "Cage", "Both", "With tyres")),
    )
    rows = tuple(
        tuple(Cell(text) for text in (row.name, row.body, row.cage, row.both, row.whole))
        for row in measure_words.size_rows(sizes.of(layout), units)
    )
    return Table(columns, rows, "Overall sizes")


def _ramps(layout: Layout, bare: ramps.Ramps, caged: ramps.Ramps | None) -> Table:
    columns = (
        Column("Angle", 2.0),
        Column("Without the cage", 1.4, "right"),
        Column("With the cage", 1.4, "right"),
        Column("", 1.6),
    )
    rows = tuple(
        tuple(Cell(text) for text in (row.name, row.bare, row.caged, row.touches))
        for row in measure_words.ramp_rows(layout, bare, caged)
    )
    return Table(columns, rows, "What it drives up, off and over")


def _measures(layout: Layout, units: Units) -> Table:
    columns = (
        Column("Measure", 1.6),
        Column("Value", 1.0, "right"),
        Column("Of it", 2.0),
        Column("Taken from", 2.2),
    )
    rows = tuple(tuple(Cell(text) for text in row) for row in measure_words.printed(layout, units))
    return Table(columns, rows, "Measured")
