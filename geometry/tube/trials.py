"""What trial bends teach of a die with a stock: where a bend starts, springback, stretch, radius."""

from typing import Literal

from msgspec import Struct

from geometry.layout import BendPart, Die, Layout, Stock

State = Literal["none", "check first", "partial", "measured"]


class Estimate(Struct, frozen=True):
    """A number with its standard deviation; told by trial bends, or assumed."""

    value: float
    sd: float = 0.0
    told: bool = False


class Residual(Struct, frozen=True):
    """What one measurement of a trial bend says against the fit: measured less fitted."""

    trial: int
    what: Literal["lead leg", "tail leg", "dial"]
    value: float
    sd: float


class Calibration(Struct, frozen=True):
    """How a die bends a stock. Without trial bends: the die as bought, pure geometry.

    To get a bend of angle A: set the dial to dial_at_zero + dial_per_angle * A. The bend takes
    consumed * A of the blank and becomes an arc of radius clr. The part of the bend that `mark_at`
    names lies `offset` behind the mark that was set at the reference point, towards the tail.
    """

    state: State
    mark_at: BendPart
    offset: Estimate
    clr: Estimate
    consumed: Estimate  # mm of blank for each radian
    dial_at_zero: Estimate
    dial_per_angle: Estimate
    covariance: tuple[tuple[float, ...], ...] = ()  # of the five in this order; empty: no trials
    batch: str = ""  # whose trial bends these are
    made: str = ""  # date of the newest
    trials: tuple[int, ...] = ()
    residuals: tuple[Residual, ...] = ()
    contradicting: tuple[int, ...] = ()  # trials that do not fit the others
    missing: tuple[str, ...] = ()  # sentences: what to bend or measure next


def learnt(layout: Layout, die: Die, stock: Stock) -> Calibration:
    """Return what the trial bends of a die with a stock and its present batch say."""
    return as_bought(die)


def as_bought(die: Die) -> Calibration:
    """Return the calibration of a die that nothing is known of but its radius."""
    return Calibration(
        "none",
        die.mark_at,
        Estimate(die.reference),
        Estimate(die.clr),
        Estimate(die.clr),
        Estimate(0.0),
        Estimate(1.0),
    )


def dial(calibration: Calibration, angle: float) -> float:
    """Return the dial angle for a bend of an angle."""
    return calibration.dial_at_zero.value + calibration.dial_per_angle.value * angle
