"""What no edit accepts, each refused in a sentence."""

import math

import numpy as np

from geometry import naming
from geometry.errors import GeometryError
from geometry.layout import Bender, Die, Layout, Node, Stock, TrialBend
from geometry.tolerances import FARTHEST_POINT, SAME_POINT
from geometry.vectors import Vec3, angle_between, direction, is_finite, vec

IN_LINE = math.radians(1.0)  # an inner sleeve takes up no more than this


def checked_place(point: Vec3) -> Vec3:
    """Return a point as floats, or refuse one that is not a place near the car."""
    place = vec(point)
    if not is_finite(place):
        raise GeometryError("A place needs three numbers; one of these is not a number.")
    if max(abs(value) for value in place) > FARTHEST_POINT:
        raise GeometryError("This place is more than a kilometre from the car; check the number.")
    return place


def checked_stock(row: Stock) -> Stock:
    """Return a tube size that can exist."""
    naming.checked(row.name)
    values = (row.od, row.wall, row.density, row.least_clr_ratio, row.stick)
    if not all(math.isfinite(value) and value > 0.0 for value in values):
        raise GeometryError(f"Every number of tube size {row.name} must be more than 0.", (row.id,))
    if row.wall > row.od / 2.0:
        raise GeometryError(f"The wall of {row.name} cannot be more than half its diameter.", (row.id,))
    if max(row.od, row.stick) > FARTHEST_POINT:
        raise GeometryError(f"Diameter and stick of {row.name} must be less than a kilometre.", (row.id,))
    if not (math.isfinite(row.yield_strength) and row.yield_strength >= 0.0):
        raise GeometryError(f"The yield strength of {row.name} must be 0 (not known) or more.", (row.id,))
    if not (math.isfinite(row.modulus) and row.modulus > 0.0):
        raise GeometryError(f"The elastic modulus of {row.name} must be more than 0.", (row.id,))
    return row


def checked_die(row: Die) -> Die:
    """Return a die that can exist."""
    naming.checked(row.name)
    if not all(math.isfinite(value) and value > 0.0 for value in (row.od, row.clr, row.largest_angle)):
        raise GeometryError(f"OD, radius and largest angle of {row.name} must be more than 0.", (row.id,))
    if row.largest_angle > math.pi:
        raise GeometryError(f"The largest angle of {row.name} cannot be more than 180°.", (row.id,))
    if max(row.od, row.clr) > FARTHEST_POINT:
        raise GeometryError(f"OD and radius of {row.name} must be less than a kilometre.", (row.id,))
    if row.clr < row.od / 2.0:
        raise GeometryError(f"The radius of {row.name} cannot be less than half its diameter.", (row.id,))
    if not all(
        0.0 <= value < FARTHEST_POINT for value in (row.first_straight, row.between_straight, row.tail)
    ):
        raise GeometryError(f"The least straights of {row.name} must be 0 or more.", (row.id,))
    if not abs(row.reference) < FARTHEST_POINT:
        raise GeometryError(f"The reference point of {row.name} must be a length.", (row.id,))
    return row


def checked_bender(row: Bender) -> Bender:
    """Return a machine that can exist."""
    naming.checked(row.name)
    if not 0.0 < row.height < FARTHEST_POINT:
        raise GeometryError(f"The height of {row.name} above the floor must be more than 0.", (row.id,))
    for box in row.boxes:
        checked_place(box.low)
        checked_place(box.high)
        if not all(low < high for low, high in zip(box.low, box.high, strict=True)):
            raise GeometryError(
                f"Box {box.name} of {row.name} has a corner on the wrong side: each “to” must be more "
                "than its “from”.",
                (row.id,),
            )
    return row


def checked_trial(layout: Layout, row: TrialBend) -> TrialBend:
    """Return a trial bend that can have been made."""
    if row.die not in layout.dies or row.stock not in layout.stocks:
        raise GeometryError(
            "The die or the tube size of this trial bend is no longer in the rack.", (row.id,)
        )
    if abs(layout.dies[row.die].od - layout.stocks[row.stock].od) > SAME_POINT:
        raise GeometryError(
            f"Die {layout.dies[row.die].name} does not take {layout.stocks[row.stock].name}; choose tube of "
            "its diameter.",
            (row.id,),
        )
    if not (0.0 < row.length < FARTHEST_POINT and 0.0 < row.mark < row.length):
        raise GeometryError(
            "The mark must lie on the scrap: more than 0 from its leading end, and less than its length.",
            (row.id,),
        )
    if not (0.0 < row.angle < math.pi and 0.0 < row.dial < 2.0 * math.pi):
        raise GeometryError(
            "The dial and the angle that came out must be more than 0°, and the angle less than 180°.",
            (row.id,),
        )
    if row.measured_to == "back" and row.angle < math.radians(89.0):
        raise GeometryError(
            "The back of a bend can be measured from 90° on; measure this one to where the outsides cross.",
            (row.id,),
        )
    for value in (row.lead_leg, row.tail_leg, row.widest, row.narrowest):
        if value is not None and not 0.0 < value < FARTHEST_POINT:
            raise GeometryError("What was measured must be more than 0; leave out what was not.", (row.id,))
    return row


def checked_sleeve(layout: Layout, node: Node) -> None:
    """Refuse an inner sleeve where two ends of one diameter do not meet in line."""
    users = [tube for tube in layout.tubes.values() if node.id in tube.nodes]
    ends = [tube for tube in users if node.id in (tube.nodes[0], tube.nodes[-1])]
    ids = (node.id, *(tube.id for tube in users))
    if len(users) == 1 and not ends:
        raise GeometryError(
            f"{users[0].name} runs through here; split it here first, then add a sleeve.", ids
        )
    if len(users) != 2 or len(ends) != 2 or node.landing is not None:
        raise GeometryError("A sleeve joins two tube ends that meet each other and no other tube.", ids)
    first, second = ends
    if abs(layout.stocks[first.stock].od - layout.stocks[second.stock].od) > SAME_POINT:
        raise GeometryError(
            f"{first.name} and {second.name} differ in diameter; a sleeve joins tubes of one OD.", ids
        )
    inner = [tube.nodes[1 if tube.nodes[0] == node.id else -2] for tube in ends]
    legs = [direction(node.position, layout.nodes[id].position) for id in inner]
    off = math.pi - angle_between(np.array(legs[0]), np.array(legs[1]))
    if off > IN_LINE:
        raise GeometryError(
            f"{first.name} and {second.name} turn by {math.degrees(off):.1f}° here; a sleeve needs them in "
            "line.",
            ids,
        )
