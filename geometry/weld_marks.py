"""How the spans of tubes that are meant to be welded to panels follow edits of tubes."""

from msgspec.structs import replace

from geometry import landings
from geometry.body import placement
from geometry.layout import Layout, Panel, Tube, Weld
from geometry.tube import centreline, welds
from geometry.tube.centreline import Centreline
from geometry.vectors import Floats

TWIN_WITHIN = 20.0  # mm; the boxes of a panel and of its image on the other side differ by no more


def followed(before: Layout, after: Layout) -> Layout:
    """Return after with the weld marks of changed tubes where they were in space, and within the tubes.

    Marks that an edit set itself are only held within the tube.
    """
    changed = {}
    for id, tube in after.tubes.items():
        if not tube.welds:
            continue
        line, old = centreline.of(after, tube), before.tubes.get(id)
        marks = tube.welds
        if old is not None and old.welds is marks:
            old_line = centreline.of(before, old)
            if old_line is line:
                continue
            marks = tuple(_carried(weld, old, old_line, tube, line) for weld in marks)
        marks = welds.clipped(marks, line.length)
        if marks != tube.welds:
            changed[id] = replace(tube, welds=marks)
    return replace(after, tubes={**after.tubes, **changed}) if changed else after


def mirrored(layout: Layout, marks: tuple[Weld, ...]) -> tuple[Weld, ...]:
    """Return the marks of a tube's twin: on the image of each panel, where there is one."""
    found = ((weld, twin_of(layout, weld.panel)) for weld in marks)
    return tuple(replace(weld, panel=panel) for weld, panel in found if panel is not None)


def twin_of(layout: Layout, panel: int) -> int | None:
    """Return the panel whose box is the image of a panel's box across the centre plane."""
    if not len(layout.panels[panel].mesh.vertices):
        return None
    low, high = _bounds(layout, layout.panels[panel])
    low[1], high[1] = -high[1], -low[1]
    best, nearest = None, TWIN_WITHIN
    for id, other in layout.panels.items():
        if not len(other.mesh.vertices):
            continue
        other_low, other_high = _bounds(layout, other)
        off = max(float(abs(other_low - low).max()), float(abs(other_high - high).max()))
        # A panel that is its own image stays itself where another one lies as well.
        if off < nearest or (id == panel and off <= nearest):
            best, nearest = id, off
    return best


def _bounds(layout: Layout, panel: Panel) -> tuple[Floats, Floats]:
    points = placement.panel_vertices(layout, panel)
    return points.min(axis=0), points.max(axis=0)


def _carried(weld: Weld, old: Tube, old_line: Centreline, tube: Tube, line: Centreline) -> Weld:
    """Return a mark where it was in space; ends that are the tube's stay the tube's."""
    start, end = welds.span_of(weld, old_line.length)
    keeps_run = old.nodes == tube.nodes

    def now(station: float) -> float:
        if keeps_run:
            return landings.carried(old_line, line, station)
        return centreline.nearest(line, centreline.place_at(old_line, station))[0]

    keeps_start = weld.start <= 0.0 and old.nodes[0] == tube.nodes[0]
    keeps_end = weld.end is None and old.nodes[-1] == tube.nodes[-1]
    return replace(weld, start=0.0 if keeps_start else now(start), end=None if keeps_end else now(end))
