"""What a tube along the body is asked for, taken from a layout: its stand-off, its stock and its die."""

import math
from collections.abc import Iterable, Sequence

from geometry.errors import GeometryError
from geometry.laying.wish import Angles, Place, Wish
from geometry.layout import Layout, Stock, Tube
from geometry.tube import bending

DEFAULT_LARGEST = math.radians(120.0)  # as new dies have it
LEAST_BETWEEN = 2.0  # times the OD, where no die says anything


def wish(
    layout: Layout,
    places: Sequence[Place],
    stock: Stock,
    panels: Iterable[int] = (),
    angles: Angles = None,
    most_bends: int = 4,
) -> Wish:
    """Return the wish for a tube of a stock along places on panels, at the stand-off that counts there.

    The closest allowed has scan error and build tolerance added: what is laid is fine when it is judged.
    """
    limits = layout.limits
    on = [layout.panels[id] for id in panels if id in layout.panels]
    own_closest = [panel.standoff_closest for panel in on if panel.standoff_closest is not None]
    own_farthest = [panel.standoff_farthest for panel in on if panel.standoff_farthest is not None]
    closest = max(own_closest, default=limits.standoff_closest) + limits.scan_error + limits.build_tolerance
    farthest = min(own_farthest, default=limits.standoff_farthest)
    if closest > farthest:
        raise GeometryError(
            "The stand-off leaves no room: closest allowed, scan error and build tolerance together are more "
            "than the farthest wanted. Change one of these limits."
        )
    die = bending.best_die(layout, stock)
    return Wish(
        places=tuple(places),
        od=stock.od,
        clr=bending.clr_of(layout, Tube(0, "", (), stock.id)),
        between_straight=bending.least_between(die) if die is not None else LEAST_BETWEEN * stock.od,
        largest_angle=die.largest_angle if die is not None else DEFAULT_LARGEST,
        closest=closest,
        wanted=min(max(limits.standoff_wanted, closest), farthest),
        farthest=farthest,
        angles=angles,
        most_bends=most_bends,
    )
