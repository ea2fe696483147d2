"""What no edit accepts, each refused in a sentence."""

import math

from geometry import naming
from geometry.errors import GeometryError
from geometry.layout import Die, Stock
from geometry.tolerances import FARTHEST_POINT
from geometry.vectors import Vec3, is_finite, vec


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
    return row


def checked_die(row: Die) -> Die:
    """Return a die that can exist."""
    naming.checked(row.name)
    if not all(math.isfinite(value) and value > 0.0 for value in (row.od, row.clr, row.largest_angle)):
        raise GeometryError(f"OD, radius and largest angle of {row.name} must be more than 0.", (row.id,))
    if row.largest_angle > math.pi:
        raise GeometryError(f"The largest angle of {row.name} cannot be more than 180°.", (row.id,))
    if row.clr < row.od / 2.0:
        raise GeometryError(f"The radius of {row.name} cannot be less than half its diameter.", (row.id,))
    if not all(
        0.0 <= value < FARTHEST_POINT for value in (row.first_straight, row.between_straight, row.tail)
    ):
        raise GeometryError(f"The least straights of {row.name} must be 0 or more.", (row.id,))
    return row
