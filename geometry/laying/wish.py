"""What a person asks of a tube along the body, what comes back, and what cannot be asked for."""

import math
from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from geometry.errors import GeometryError
from geometry.tolerances import ANGLE_NOISE, LARGEST_TURN, SAME_POINT, STRAIGHT
from geometry.vectors import Vec3, angle_between, distance, is_finite

LARGEST_ROUND = math.radians(150.0)  # beyond, the way round from one place to the next is anyone's guess

Angles = float | tuple[float, ...] | None  # multiples of a step, the ones of a list, or any


class Place(Struct, frozen=True):
    """A place on the metal, and the way out from there."""

    point: Vec3
    normal: Vec3
    height: float | None = None  # of the centreline, at an end that meets another tube; None: as fits


class Wish(Struct, frozen=True):
    """A tube along the body. The first and last place are its ends; it passes the others in order.

    The stand-off is raw clearance to the triangles: whoever asks has added scan error, build
    tolerance and movement where they are due.
    """

    places: tuple[Place, ...]
    od: float
    clr: float
    between_straight: float  # least straight between bends
    largest_angle: float
    closest: float
    wanted: float
    farthest: float
    angles: Angles = None
    most_bends: int = 4
    corridor: float = 60.0  # how far the tube may run beside the straight way from place to place

    @property
    def reach(self) -> float:
        """How far from the metal the centreline may be."""
        return self.farthest + self.od / 2.0


class Proposal(Struct, frozen=True):
    """A tube that can be bent and is nowhere nearer to the body than allowed."""

    corners: tuple[Vec3, ...]  # with both ends
    angles: tuple[float, ...]
    closest: float  # clearances along the tube
    farthest: float
    mean: float
    excess: float  # mean of what the clearance is over the one wanted
    outside: float  # mm of the tube that are farther off than the band allows
    aside: float = 0.0  # mm by which the place that is missed most is missed; 0: all are passed

    @property
    def bends(self) -> int:
        return len(self.angles)

    @property
    def fits(self) -> bool:
        """Whether the tube keeps its band all along and passes every place."""
        return self.outside == 0.0 and self.aside == 0.0


def recommended(proposals: Sequence[Proposal]) -> Proposal:
    """Return the one with the fewest bends that keeps the band; if none does, the one least out of it."""
    fitting = [proposal for proposal in proposals if proposal.fits]
    if fitting:
        return min(fitting, key=lambda proposal: proposal.bends)
    return min(proposals, key=lambda proposal: (proposal.outside + proposal.aside, proposal.bends))


def check(wish: Wish) -> None:
    """Refuse what cannot be asked for."""
    _check_numbers(wish)
    if len(wish.places) < 2:
        raise GeometryError("A tube needs two places on the body, its ends. Point at one more.")
    if not 0.0 <= wish.closest <= wish.wanted <= wish.farthest:
        raise GeometryError(
            "The stand-off leaves no room: closest, wanted and farthest must follow each other in size. "
            "Change one of them."
        )
    if isinstance(wish.angles, tuple) and not liked_angles(wish):
        raise GeometryError(
            "None of the angles listed can be bent with this die. List a smaller one, or take another die."
        )
    for number, (one, other) in enumerate(zip(wish.places, wish.places[1:], strict=False), start=1):
        if distance(one.point, other.point) <= SAME_POINT:
            raise GeometryError(
                f"Places {number} and {number + 1} are one and the same. Point at two different places."
            )
        if angle_between(np.array(one.normal), np.array(other.normal)) > LARGEST_ROUND:
            raise GeometryError(
                f"Places {number} and {number + 1} lie on opposite sides of the body. Point at a place "
                "between them, to say which way round the tube goes."
            )


def liked_angles(wish: Wish) -> tuple[float, ...]:
    """Return the angles the shop likes that the die can bend, in order; none if any will do."""
    most = min(wish.largest_angle, LARGEST_TURN) + ANGLE_NOISE
    if wish.angles is None:
        return ()
    if isinstance(wish.angles, tuple):
        return tuple(sorted({angle for angle in wish.angles if STRAIGHT <= angle <= most}))
    return tuple(number * wish.angles for number in range(1, math.floor(most / wish.angles) + 1))


def _check_numbers(wish: Wish) -> None:
    for place in wish.places:
        if not (is_finite(place.point) and is_finite(place.normal)) or not np.any(place.normal):
            raise ValueError(f"a place needs a finite point and normal, got {place}")
    lengths = (
        wish.od,
        wish.clr,
        wish.between_straight,
        wish.closest,
        wish.wanted,
        wish.farthest,
        wish.corridor,
    )
    if not all(math.isfinite(value) for value in lengths):
        raise ValueError(f"lengths must be finite, got {lengths}")
    if (
        wish.od <= 0.0
        or wish.clr <= 0.0
        or wish.largest_angle < STRAIGHT
        or min(wish.between_straight, wish.corridor) < 0.0
    ):
        raise ValueError(f"a tube needs a diameter, a radius and an angle it can be bent by, got {wish}")
    if isinstance(wish.angles, float | int) and wish.angles < STRAIGHT:
        raise ValueError(f"a step of angles must be more than nothing, got {wish.angles}")
    if wish.most_bends < 0:
        raise ValueError(f"the number of bends must be 0 or more, got {wish.most_bends}")
