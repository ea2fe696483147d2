"""What a tube along the body costs: closeness counts once, what breaks a limit counts far more."""

import numpy as np

from geometry.laying.wish import Wish
from geometry.vectors import Floats

STEP = 20.0  # mm between the places along a tube where the fit looks, at most
FINE_STEP = 8.0  # the same in bends, where most happens, and in the end everywhere
NEARER = 0.1  # a mm nearer than wanted costs this part of a mm farther: of equal tubes, the one as wanted
ASIDE = 0.05  # a mm beside the way from place to place: bends in one plane are easier made
FAR = 2.0  # a mm out of the band or the corridor, at one place
NEAR = 3000.0  # a mm nearer than allowed, too short or too far round: such a tube can't be
LENGTH = 1e-3  # a mm of tube: of tubes that are equally close, the shortest


def closeness(clearances: Floats, wish: Wish) -> Floats:
    """Return what each clearance costs that keeps the band."""
    over = clearances - wish.wanted
    price: Floats = np.maximum(over, -NEARER * over)
    return price
