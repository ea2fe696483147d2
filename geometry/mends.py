"""Do what a finding proposes: the change behind the button.

A mend that moves nodes apart names the node that stays first, then those that move: away from it,
along the leg to the first of them. A mend of a cut names the end's node.
"""

from geometry import edits, fixing
from geometry.checks.finding import Mend
from geometry.errors import GeometryError
from geometry.layout import Layout, Tube
from geometry.vectors import direction, times

GONE = "What this would change is no longer as it was; look at the findings again."


def mended(layout: Layout, mend: Mend) -> Layout:
    """Return the layout with a mend made, or refuse with a sentence where it no longer applies."""
    tube = layout.tubes.get(mend.tube)
    if tube is None:
        raise GeometryError("This tube is no longer in the job.", (mend.tube,))
    match mend.do:
        case "take die":
            return edits.set_die(layout, [tube.id], mend.die)
        case "move apart":
            return _moved_apart(layout, tube, mend)
        case "split with sleeve":
            return edits.split_with_sleeve(layout, tube.id, mend.amount or 0.0)[0]
        case "cut after":
            return _cut_after(layout, tube, mend)
        case "bend from":
            return edits.set_bend_from(layout, [tube.id], mend.bend_from or "best")
        case "stand off":
            return fixing.set_hugs(layout, [tube.id], False)


def _moved_apart(layout: Layout, tube: Tube, mend: Mend) -> Layout:
    if len(mend.nodes) < 2 or not set(mend.nodes) <= set(tube.nodes):
        raise GeometryError(GONE, (tube.id,))
    stays, first = (layout.nodes[id].position for id in mend.nodes[:2])
    return edits.move_nodes(layout, mend.nodes[1:], times(direction(stays, first), mend.amount or 0.0))


def _cut_after(layout: Layout, tube: Tube, mend: Mend) -> Layout:
    ends = (tube.nodes[0], tube.nodes[-1])
    if not set(mend.nodes) <= set(ends):
        raise GeometryError(GONE, (tube.id,))
    cuts = (tube.start_cut, tube.end_cut)
    start, end = ("after" if id in mend.nodes else cut for id, cut in zip(ends, cuts, strict=True))
    return edits.set_cuts(layout, [tube.id], start, end)
