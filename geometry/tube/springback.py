"""What a bend does to round tube by plastic theory: springback, strain, wall and roundness.

All are estimates. Real springback is larger (steel hardens, the section flattens), so what stands here
is a lower bound; trial bends tell the rest.
"""

import math

from geometry.layout import Stock
from geometry.tube import stock as stocks


def recovery(stock: Stock, clr: float) -> float:
    """Return the part q of a bend's curvature that springs back, for steel that does not harden.

    A tube bent on radius R carries the full plastic moment Mp = Y (D^3 - d^3) / 6. Letting go takes
    Mp / (E I) off the curvature 1 / R: q = R Mp / (E I). 1 or more is a tube that never yields fully.
    """
    section = stocks.section(stock.od, stock.wall)
    plastic_moment = stock.yield_strength * section.plastic_modulus
    return clr * plastic_moment / (stock.modulus * section.second_moment)


def angle_after(stock: Stock, clr: float, bent: float) -> float:
    """Return what is left of a bend held at an angle: A (1 - q), as the length of the arc stays."""
    return bent * (1.0 - recovery(stock, clr))


def overbend(stock: Stock, clr: float, angle: float) -> float:
    """Return the angle to bend to for an angle: A / (1 - q)."""
    return angle / _kept(stock, clr)


def radius_after(stock: Stock, clr: float) -> float:
    """Return the free radius of a bend made on a radius: R / (1 - q)."""
    return clr / _kept(stock, clr)


def lower_bound(stock: Stock, clr: float, angle: float) -> float | None:
    """Return the least dial angle for a bend; None where no yield strength says so, or it never yields."""
    if stock.yield_strength <= 0.0 or recovery(stock, clr) >= 1.0:
        return None
    return overbend(stock, clr, angle)


def sheet_radius_ratio(yield_strength: float, modulus: float, radius: float, thickness: float) -> float:
    """Return K, the inside radius of bent flat sheet over its free radius, for steel that does not harden.

    K = 4 X^3 - 3 X + 1 with X = Y R / (E t); the bend keeps K of its angle. At X of 1/2 it all
    springs back.
    """
    x = yield_strength * radius / (modulus * thickness)
    return 4.0 * x**3 - 3.0 * x + 1.0 if x < 0.5 else 0.0


def outer_strain(od: float, clr: float) -> float:
    """Return how much the outer fibre stretches: D / (2 R), its middle line keeping its length."""
    return od / (2.0 * clr)


def thinning(od: float, clr: float) -> float:
    """Return the part of the outer wall that is lost when nothing comes round from the sides.

    1 - 1 / (1 + D / 2R): the larger of the two models, so the one to report.
    """
    return 1.0 - 1.0 / (1.0 + outer_strain(od, clr))


def thinning_even(od: float, clr: float) -> float:
    """Return the same when wall and girth give way alike: 1 - 1 / sqrt(1 + D / 2R)."""
    return 1.0 - 1.0 / math.sqrt(1.0 + outer_strain(od, clr))


def thickening(od: float, clr: float) -> float:
    """Return the part by which the inner wall grows: 1 / (1 - D / 2R) - 1."""
    return 1.0 / (1.0 - outer_strain(od, clr)) - 1.0


def wall_left(stock: Stock, clr: float) -> float:
    """Return the wall that is left at the outside of a bend, nothing coming round from the sides."""
    return stock.wall * (1.0 - thinning(stock.od, clr))


def roundness(widest: float, narrowest: float) -> float:
    """Return the least diameter over the largest, the measure of motor-sport rules: 1 is round."""
    return narrowest / widest


def flattening(widest: float, narrowest: float, od: float) -> float:
    """Return the spread of the diameters over the OD, the measure of piping rules: 0 is round."""
    return (widest - narrowest) / od


def flattening_of_mean(widest: float, narrowest: float) -> float:
    """Return the spread of the diameters over their mean: 0 is round."""
    return 2.0 * (widest - narrowest) / (widest + narrowest)


def flattening_at(roundness: float) -> float:
    """Return the spread over the mean diameter that goes with a roundness."""
    return 2.0 * (1.0 - roundness) / (1.0 + roundness)


def roundness_at(flattening: float) -> float:
    """Return the roundness that goes with a spread over the mean diameter."""
    return (2.0 - flattening) / (2.0 + flattening)


def _kept(stock: Stock, clr: float) -> float:
    """Return the part of a bend that stays; refuse a tube that springs back wholly."""
    kept = 1.0 - recovery(stock, clr)
    if kept <= 0.0:
        raise ValueError(f"a bend of {stock.name} on a radius of {clr} springs back wholly")
    return kept
