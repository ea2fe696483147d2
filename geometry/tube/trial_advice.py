"""What to bend or measure next, so that trial bends tell more: short sentences for the shop."""

import math
from collections.abc import Sequence
from typing import Literal

import numpy as np
from msgspec.structs import replace

from geometry.layout import Die, Limits, Stock, TrialBend
from geometry.tolerances import ANGLE_NOISE
from geometry.tube import trial_fit
from geometry.tube.trial_fit import Guess
from geometry.vectors import Floats

Part = Literal["legs", "dial"]

ANGLES = tuple(math.radians(a) for a in (30.0, 45.0, 60.0, 90.0, 120.0, 150.0))  # to choose from
APART = math.radians(30.0)  # angles closer than this tell little apart
WORDS: dict[Part, tuple[str, str]] = {
    "legs": ("The legs", "in their legs"),
    "dial": ("Dial and angle", "in dial and angle"),
}


def first(die: Die) -> tuple[str, ...]:
    """Return what to do where no trial bend was made yet."""
    few, many = _reachable(die)[0], _reachable(die)[-1]
    return (
        f"Bend one scrap near {shown(few)} and one near {shown(many)}; measure the angle, both legs and the "
        "scrap's length of each.",
    )


def check_first() -> str:
    return "Make one check bend in the new batch; until then the last batch's trial bends stand in."


def batch_differs(batch: str) -> str:
    called = f"batch {batch}" if batch else "the batch before"
    return f"The new batch bends differently from {called}: bend it anew at two or more angles."


def no_sense(part: Part) -> str:
    """Say that what was measured is so far off that it is left aside."""
    if part == "legs":
        return "The legs cannot be right for this die; check mark, legs and length of each trial bend."
    return "Dial and angle are too far apart to be springback; check both of each trial bend."


def contradiction(part: Part, wrong: Sequence[TrialBend], count: int, more: float) -> str:
    """Say which trial bends do not fit the others, or that it can't be told which."""
    what, in_what = WORDS[part]
    if wrong:
        return f"{what} of {_named(wrong)} do not fit the others; measure again, or leave it out of the fit."
    which = "one of them" if count == 1 else f"which of the {count}"
    return (
        f"The {count} trial bends disagree {in_what}, and it cannot be told {which} is wrong; measure "
        f"them again, or bend one more near {shown(more)}."
    )


def unmeasured_legs(trials: Sequence[TrialBend]) -> str | None:
    """Say whose legs are not measured yet."""
    neither = [t for t in trials if t.lead_leg is None and t.tail_leg is None]
    either = [t for t in trials if (t.lead_leg is None) != (t.tail_leg is None)]
    if neither and not either:
        return f"Measure both legs and the scrap's length of {_named(neither)}."
    if either and not neither:
        return f"Measure the other leg too of {_named(either)}."
    if neither and either:
        return f"Measure both legs of {_named([*neither, *either])}."
    return None


def one_more(trials: Sequence[TrialBend], near: float) -> str:
    """Say at which angle to bend one more."""
    angles = [trial.angle for trial in trials]
    if max(angles) - min(angles) < APART / 2.0:
        middle = sum(angles) / len(angles)
        if abs(near - middle) >= APART - ANGLE_NOISE:
            away = f"at least {shown(APART)} away from {shown(round(math.degrees(middle)) * math.pi / 180.0)}"
            return f"Bend one more at an angle {away}, best near {shown(near)}; measure both legs."
    return f"Bend one more near {shown(near)} and measure both legs; the angles so far tell too little apart."


def steadier(near: float) -> str:
    return f"The trial bends scatter more than tape and gauge explain; bend one more near {shown(near)}."


def best_next(
    trials: Sequence[TrialBend], die: Die, stock: Stock, limits: Limits, leg_sd: Floats, dial_sd: Floats
) -> float:
    """Return the angle at which one more bend, wholly measured, would tell most."""

    def worst(angle: float) -> tuple[float, float]:
        new = replace(trials[0], angle=angle, measured_to="corner", lead_leg=1.0, tail_leg=1.0)
        sd = open_sd([*trials, new], die, stock, limits, leg_sd, dial_sd)
        nearest = min(abs(angle - trial.angle) for trial in trials)
        return float(sd.max()), -nearest

    return min(_reachable(die), key=worst)


def open_sd(
    trials: Sequence[TrialBend], die: Die, stock: Stock, limits: Limits, leg_sd: Floats, dial_sd: Floats
) -> Floats:
    """Return how well trial bends tell each of the five, in terms of what is assumed; 1 or less is told."""
    guess = Guess(die.clr, die.clr, 1.0)
    legs = trial_fit.own_sd(trial_fit.leg_rows(trials, die, stock, limits, guess), leg_sd)
    return np.concatenate([legs, trial_fit.own_sd(trial_fit.dial_rows(trials, limits, guess), dial_sd)])


def shown(angle: float) -> str:
    return f"{round(math.degrees(angle), 1):g}°"


def _reachable(die: Die) -> tuple[float, ...]:
    """Return the angles to choose from that the die can bend."""
    reachable = [angle for angle in ANGLES if angle <= die.largest_angle + ANGLE_NOISE]
    return tuple(reachable) or (die.largest_angle,)


def _named(trials: Sequence[TrialBend]) -> str:
    angles = list(dict.fromkeys(shown(trial.angle) for trial in sorted(trials, key=lambda t: t.angle)))
    if len(trials) == 1:
        return f"the trial bend of {angles[0]}"
    listed = angles[0] if len(angles) == 1 else f"{', '.join(angles[:-1])} and {angles[-1]}"
    return f"the trial bends of {listed}"
