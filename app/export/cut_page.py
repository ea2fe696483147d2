"""The sheet of one cut in a panel: where its line lies by tape, and what to mind before cutting."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from app import units as units_of
from app import wording
from app.export.plan import Line, Plan, Xy
from app.export.sheet import Block, Cell, Column, Fact, Facts, Page, Table, Text
from app.units import Units
from geometry import trimming
from geometry.body import placement
from geometry.layout import Layout
from geometry.shop.templates import Offset, Side, Template
from geometry.vectors import Floats

ON_IT = 0.5  # mm; a mark nearer to an edge is on it
HEIGHT = 215.0  # points, of the drawings of a sheet together
BELOW = 0.1  # of its height; the words below a drawing
ROUND_IT = 600.0  # mm; so much of a panel round its cuts is drawn
MOST_RIMS = 4000  # drawn; the rim of a rough scan has more
MARKS = {"mm": 100.0, "in": 4.0 * 25.4, "in-fraction": 4.0 * 25.4}  # mm between marks, by unit
EDGE_WORDS = {
    "front": "front edge",
    "rear": "rear edge",
    "upper": "upper edge",
    "lower": "lower edge",
    "inner": "inner edge",
    "outer": "outer edge",
    "left": "left edge",
    "right": "right edge",
    "opening": "opening's edge",
}
BEFORE = (
    "Hold the body up on both sides of a cut, and brace door openings, before the first cut; and brace "
    "both sides of the car before the second side is cut: sheet metal carries load, and gaps close or "
    "open once it is parted.",
    "Look behind the panel and take out of the way what is there: fuel and brake lines, wiring, sound "
    "deadening, tanks. Disconnect the battery. Cover glass and paint against sparks; keep an extinguisher "
    "and a second person at hand.",
    "Mark the line from at least two edges, lay the template on as a check, and measure the other side by "
    "itself: no car is alike on both. Cut short of the line first, try the wheel through its travel by "
    "hand, then trim to it.",
    "Guard eyes, ears, lungs and hands. Deburr, close what a cut opens (seams, sills, inner skins), and "
    "prime and seal every edge.",
    "Whether a panel may be cut at all, and how its strength is made good, is for the maker's body repair "
    "data, local codes and a qualified person to say. This sheet knows shapes only.",
)
READING = (
    "Tape distances run on the panel, from the mark to the nearest place of the edge named: thin lines in "
    "the drawing. The cut leaves {margin} to what the tyre sweeps through, for the axles, travel and "
    "steering of this job; so that a hand can follow it, the line is smoothed by up to {fairing}. Templates "
    "at true size are in templates.pdf: print them at 100 %, and measure the scale bars before use."
)


def of(job: str, cuts: Sequence[Template], layout: Layout, units: Units) -> Page:
    """Return the sheet of all cuts in one panel."""
    first = cuts[0]
    panel = layout.panels[first.panel]
    sides = list(dict.fromkeys(side_words(cut.side) for cut in cuts))
    length = sum(cut.length for cut in cuts)
    margin = units_of.format_length(first.margin, units)
    facts = Facts(
        (
            Fact("Side", " and ".join(sides), strong=True),
            Fact("Length to cut", units_of.format_length(length, units), lines_words(cuts)),
            Fact("Room kept for tyres", margin),
        )
    )
    tables = [marks_table(cut, units) for cut in cuts]
    fairing = units_of.format_length(trimming.FAIRING, units)
    said = READING.format(margin=margin, fairing=fairing)
    reading = (said, " ".join(paper_words(cut, units) for cut in cuts))
    by_side = [[cut for cut in cuts if cut.side == side] for side in dict.fromkeys(cut.side for cut in cuts)]
    plans = [plan_of(own, layout, HEIGHT / len(by_side)) for own in by_side]
    blocks: tuple[Block, ...] = (
        Text(BEFORE, "Before you cut", "caution"),
        facts,
        *plans,
        *tables,
        Text(reading, "How to read this sheet", "small"),
    )
    return Page(f"cut {first.panel}", f"Cut: {wording.one_line(panel.name)}", job, blocks)


def lines_words(cuts: Sequence[Template]) -> str:
    rings = sum(cut.is_closed for cut in cuts)
    parts = [wording.counted(len(cuts) - rings, "cut from edge to edge", "cuts from edge to edge")]
    if rings:
        parts.append(wording.counted(rings, "closed line"))
    return wording.listed([part for part in parts if not part.startswith("0 ")])


def side_words(side: Side) -> str:
    return {"left": "LEFT", "right": "RIGHT", "middle": "middle"}[side]


def marks_table(template: Template, units: Units) -> Table:
    """Return the marks on the line with their distances from the panel's edges."""
    columns = (
        Column("Mark", 0.5, "centre"),
        Column("Along the cut", 1.0, "right"),
        Column("From the", 1.0),
        Column("by tape", 0.9, "right"),
        Column("From the", 1.0),
        Column("by tape", 0.9, "right"),
    )
    rows = []
    for mark in template.marks:
        cells = [Cell(str(mark.number), number=mark.number, in_ring=True), _length(mark.along, units)]
        for place in range(2):
            cells += _offset(mark.offsets[place] if place < len(mark.offsets) else None, units)
        rows.append(tuple(cells))
    name = "The line by tape" if template.count == 1 else f"Cut {template.number} by tape"
    return Table(columns, tuple(rows), name)


def plan_of(cuts: Sequence[Template], layout: Layout, height: float = HEIGHT) -> Plan:
    """Return the cuts on one side with the panel round them as seen from outside: from the side, or above."""
    panel, side = layout.panels[cuts[0].panel], cuts[0].side
    points = placement.world_points(layout.bodies[panel.body].placement, panel.whole.vertices)
    marks = [mark for cut in cuts for mark in cut.marks]
    places = _seen(np.array([mark.place for mark in marks]), side)
    every = np.concatenate([_seen_points(cut.line, side) for cut in cuts])
    low, high = every.min(axis=0) - ROUND_IT, every.max(axis=0) + ROUND_IT
    rims = [_seen(rim, side) for rim in _rims(points, panel.whole.triangles)]
    tapes = [_seen(np.array([mark.place, offset.place]), side) for mark in marks for offset in mark.offsets]
    lines = [Line(rim, 0.5) for rim in rims if _is_inside(rim, low, high)][:MOST_RIMS]
    lines += [Line(_seen(cut.line, side), 2.2) for cut in cuts]
    lines += [Line(tape, 0.4, (1.5, 2.5)) for tape in tapes if _is_inside(tape, low, high)]
    numbers = tuple((mark.number, at) for mark, at in zip(marks, places, strict=True))
    words = f"{side_words(side)}, seen from {'above' if side == 'middle' else 'outside'}"
    drawn = np.array([point for line in lines for point in line.points])
    size = float(np.ptp(drawn[:, 1]))
    below = (float(drawn[:, 0].mean()), float(drawn[:, 1].min()) - BELOW * max(size, ROUND_IT))
    lines.append(Line((below, below), 0.0))  # so that there is room for the words
    return Plan(tuple(lines), numbers, ((words, below),), height)


def _is_inside(points: Sequence[Xy], low: Floats, high: Floats) -> bool:
    return all(low[0] <= x <= high[0] and low[1] <= y <= high[1] for x, y in points)


def paper_words(cut: Template, units: Units) -> str:
    """Say how the templates of a cut lie on the panel, and where there are none."""
    name = "The cut" if cut.count == 1 else f"Cut {cut.number}"
    said = []
    flat = sum(strip.is_flat for strip in cut.strips)
    bent = len(cut.strips) - flat
    if flat:
        said.append(f"{name} has {wording.counted(flat, 'template')} that {_lie(flat)} flat on the panel.")
    if bent:
        off = _mm(max(strip.off for strip in cut.strips), units)
        said.append(
            f"{name} has {wording.counted(bent, 'template')} of the panel laid flat along the line, up to "
            f"{off} off a plane: bend the paper round the panel, mark by mark."
        )
    if cut.bare:
        spans = [f"from {_mm(start, units)} to {_mm(end, units)}" for start, end in cut.bare]
        said.append(
            f"{name} has none {wording.listed(spans)}, where the panel curves both ways and paper would "
            "pucker: go by the marks there."
        )
    return " ".join(said)


def _lie(count: int) -> str:
    return "lies" if count == 1 else "lie"


def _mm(value: float, units: Units) -> str:
    return units_of.format_length(value, units)


def _seen(points: Floats, side: Side) -> tuple[Xy, ...]:
    return tuple((float(x), float(y)) for x, y in _seen_points(points, side))


def _seen_points(points: Floats, side: Side) -> Floats:
    """Return points (n, 3) as seen from outside the car (n, 2): front to the left on its left side."""
    match side:
        case "left":
            return np.stack([-points[:, 0], points[:, 2]], axis=1)
        case "right":
            return np.stack([points[:, 0], points[:, 2]], axis=1)
        case "middle":
            return np.stack([-points[:, 1], points[:, 0]], axis=1)


def _rims(points: Floats, triangles: NDArray[np.integer]) -> Floats:
    """Return the rim edges (r, 2, 3) of a mesh."""
    ends = np.sort(np.asarray(triangles, dtype=np.int64)[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    size = int(ends.max()) + 1
    flat, uses = np.unique(ends @ np.array([size, 1]), return_counts=True)
    rims: Floats = points[np.stack(np.divmod(flat[uses == 1], size), axis=1)]
    return rims


def _length(value: float, units: Units) -> Cell:
    return Cell(units_of.format_length(value, units, unit=False), number=value)


def _offset(offset: Offset | None, units: Units) -> tuple[Cell, Cell]:
    if offset is None:
        return Cell("—"), Cell("—")
    if offset.distance < ON_IT:
        return Cell(EDGE_WORDS[offset.edge]), Cell("on it", number=0.0)
    return Cell(EDGE_WORDS[offset.edge]), _length(offset.distance, units)
