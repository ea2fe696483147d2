"""From a tube and what its die was taught to marks on the blank, turns and dial angles."""

from typing import Literal

from msgspec import Struct

from geometry.layout import Layout, Tube
from geometry.tube.feeding import Feeding
from geometry.tube.trials import Calibration


class Step(Struct, frozen=True):
    """One bend as it is made, in the order of bending. Marks run from the sawn start end of the blank."""

    bend: int  # its number, counted from 1 at the start of the tube
    leads: Literal["start", "end"]  # the end that is ahead of the die
    is_turned_round: bool  # the tube is turned end for end before this bend
    start: float  # where the bend takes the straight blank: the side nearer the start of the tube
    end: float
    mark: float  # what is set at the die's reference point
    turned_from: int | None  # the made bend that lies flat when the dial shows 0; None: this is the first
    rotation: float  # from there to this bend, positive clockwise as seen from the tail, in (-pi, pi]
    dial: float  # reading of the rotation dial, in [0, 2 pi); it runs on until the tube is turned round
    angle: float  # of the bend
    set_angle: float  # of the bender's dial, so that the angle comes out
    lead: float  # straight ahead of the bend that the die holds
    tail: float


class Plan(Struct, frozen=True, eq=False):
    """How one tube is sawn, marked and bent: exact, before any rounding."""

    steps: tuple[Step, ...]
    blank: float
    start_trim: float  # marks of the trim lines
    end_trim: float
    stretch: float  # how much longer than its blank the tube gets
    feeding: Feeding
    calibration: Calibration


def of(layout: Layout, tube: Tube) -> Plan:
    """Return the plan of a tube; the same object as long as what it depends on is equal."""
    raise NotImplementedError
