"""The numbers a person can set: marks and angles rounded together so that the tube comes out best."""

from msgspec import Struct

from geometry.tube.plan import Plan


class Rounded(Struct, frozen=True, eq=False):
    """A plan in steps of tape and dial, and what that leaves wrong."""

    blank: float  # rounded up; the rest of it is end allowance
    start_trim: float
    end_trim: float
    marks: tuple[float, ...]  # one a step of the plan, likewise the dials and angles
    dials: tuple[float, ...]
    set_angles: tuple[float, ...]
    left: tuple[float, ...]  # error at each node after best fit, start to end; from rounding alone
    unsure: tuple[float, ...]  # standard deviation at each node from what the trial bends leave open


def of(plan: Plan, mark_step: float, angle_step: float) -> Rounded:
    """Round a plan's marks, rotations and dial angles together."""
    raise NotImplementedError
