"""Letting the other tube of a joint run through."""

import numpy as np
from msgspec.structs import replace

from geometry import edits, naming
from geometry.arranging import merging, places
from geometry.errors import GeometryError
from geometry.layout import Layout, Tube
from geometry.vectors import angle_between, minus

NO_JOINT = (
    "Select the end of a tube where it meets another tube that runs through; then the two can be swapped."
)


def swap_through(layout: Layout, node: int) -> Layout:
    """Where one tube ends at another that runs through, let it run on and the other end there.

    The tube that ended takes over the half of the other that carries it on most nearly straight. The
    joint across the centre plane is swapped too.
    """
    places.nodes_of(layout, (node,))
    twin = layout.nodes[node].twin
    after = _swapped(layout, node)
    if twin is not None and twin != node and twin in after.nodes:
        after = _swapped(after, twin)
    return after


def joint_of(layout: Layout, node: int) -> tuple[Tube, Tube] | None:
    """Return the tube that runs through at a node and the one that ends there, if it is such a joint."""
    users = places.users_of(layout, node)
    ending = [tube for tube in users if node in (tube.nodes[0], tube.nodes[-1])]
    through = [tube for tube in users if node in tube.nodes[1:-1]]
    landing = layout.nodes[node].landing
    if landing is not None and len(users) == 1:
        through = [layout.tubes[landing.tube]]
    return (through[0], ending[0]) if len(through) == 1 == len(ending) else None


def _swapped(layout: Layout, node: int) -> Layout:
    found = joint_of(layout, node)
    if found is None:
        raise GeometryError(NO_JOINT, (node,))
    through, ending = found
    if through.stock != ending.stock:
        raise GeometryError(
            f"{naming.listed(found)} are not of one stock, so neither can run on as the other.",
            (through.id, ending.id),
        )
    # The part that is taken over has to be the one that the split makes a tube of.
    if _goes_on_backwards(layout, through, ending, node):
        layout = edits.reverse_tube(layout, through.id)
    landing = layout.nodes[node].landing
    if landing is None:
        after, part = edits.split_tube(layout, through.id, node=node)
    else:
        after, part = edits.split_tube(layout, through.id, station=landing.station)
        joint = after.tubes[part].nodes[0]
        after = edits.merge_nodes(after, joint, node)
    # Twins are swapped by themselves.
    after = edits.with_tubes(after, {part: replace(after.tubes[part], twin=None)})
    return merging.joined(after, ending.id, part)


def _goes_on_backwards(layout: Layout, through: Tube, ending: Tube, node: int) -> bool:
    """Say whether a tube that ends runs on most nearly straight towards the start of the other one."""
    here = layout.nodes[node].position
    before = layout.nodes[ending.nodes[1 if ending.nodes[0] == node else -2]].position
    arriving = np.array(minus(here, before))
    if node in through.nodes:
        at = through.nodes.index(node)
        ends = [layout.nodes[through.nodes[i]].position for i in (at - 1, at + 1)]
    else:
        ends = [layout.nodes[id].position for id in (through.nodes[0], through.nodes[-1])]
    back, on = (angle_between(arriving, np.array(minus(end, here))) for end in ends)
    return back < on
