"""What to bend or measure next, so that trial bends tell more: short sentences for the shop."""

import math
from collections.abc import Sequence
from itertools import combinations
from typing import Literal

import numpy as np
from msgspec.structs import replace

from geometry.layout import Die, Limits, Stock, TrialBend
from geometry.tolerances import ANGLE_NOISE
from geometry.tube import least_squares, trial_fit
from geometry.tube.least_squares import Verdict
from geometry.tube.trial_fit import LEGS, Accuracy, Fit, Verdicts
from geometry.vectors import Floats

Part = Literal["legs", "dial"]

ANGLES = tuple(math.radians(a) for a in (30.0, 45.0, 60.0, 90.0, 120.0, 150.0))  # to choose from
APART = math.radians(30.0)  # angles closer than this tell little apart
EASY = math.radians(90.0)  # beyond, the outsides of the legs cross far from the tube: hard to measure to
SURELY = 0.7  # of what is just enough: errors that happen to be larger still leave it told
WORDS: dict[Part, tuple[str, str]] = {
    "legs": ("The legs", "in their legs"),
    "dial": ("Dial and angle", "in dial and angle"),
}


def next_steps(
    trials: Sequence[TrialBend],
    die: Die,
    stock: Stock,
    accuracy: Accuracy,
    fit: Fit,
    verdicts: Verdicts,
    told: Sequence[bool],
    near: float,
) -> tuple[str, ...]:
    """Return what the person should do next, most urgent first; near is the angle of the next bend."""
    judged: tuple[tuple[Part, bool, Verdict], ...] = (
        ("legs", fit.legs_make_sense, verdicts.legs),
        ("dial", fit.dials_make_sense, verdicts.dials),
    )
    sentences = []
    for part, makes_sense, verdict in judged:
        if not makes_sense:
            sentences.append(no_sense(part))
        elif not verdict.agree:
            wrong = [trials[place] for place in verdict.wrong]
            sentences.append(contradiction(part, wrong, len(trials), near))
    if all(told):
        return tuple(sentences)
    legs = None if all(told[LEGS]) else unmeasured_legs(trials)
    sentences += [legs] if legs else []
    whole = [_pretended(trial, trial.angle) for trial in trials]
    if (untold(whole, die, stock, accuracy) > 1.0).any():
        sentences.append(one_more(trials, near))
    return tuple(sentences) or (steadier(near),)


def first(die: Die) -> tuple[float, float]:
    """Return the two angles at which two bends would tell most of a die that nothing is known of."""
    stock, accuracy = Stock(0, "", die.od, die.od / 2.0), trial_fit.accuracy(Limits())
    scrap = TrialBend(0, die.id, 0, "", "", 1.0, 1.0, 1.0, 1.0)

    def left_open(angles: tuple[float, float]) -> tuple[bool, bool, float]:
        return _left_open([_pretended(scrap, angle) for angle in angles], max(angles), die, stock, accuracy)

    pairs = list(combinations(_reachable(die), 2))
    return min(pairs, key=left_open, default=(die.largest_angle / 2.0, die.largest_angle))


def two_bends(angles: tuple[float, float]) -> str:
    few, many = angles
    return (
        f"Bend one scrap near {shown(few)} and one near {shown(many)}; measure the angle, both legs and the "
        "scrap's length of each."
    )


def check_angle(die: Die) -> float:
    """Return the angle for a check bend: a square is at hand for 90 degrees."""
    return min(EASY, die.largest_angle)


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
        leave = "leave it out" if len(wrong) == 1 else "leave them out"
        return f"{what} of {_named(wrong)} do not fit the others; measure again, or {leave} of the fit."
    return (
        f"The {count} trial bends disagree {in_what}, and it cannot be told which is wrong; measure them "
        f"again, or bend one more near {shown(more)}."
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
    is_one = max(angles) - min(angles) < APART / 2.0
    if is_one and min(abs(near - angle) for angle in angles) >= APART - ANGLE_NOISE:
        away = f"at least {shown(APART)} away from {_listed(trials)}"
        return f"Bend one more at an angle {away}, best near {shown(near)}; measure both legs."
    return f"Bend one more near {shown(near)} and measure both legs; the angles so far tell too little apart."


def steadier(near: float) -> str:
    return f"The trial bends scatter more than tape and gauge explain; bend one more near {shown(near)}."


def best_next(trials: Sequence[TrialBend], die: Die, stock: Stock, accuracy: Accuracy) -> float:
    """Return the angle at which one more bend, wholly measured, would tell most; an easy one if that does."""

    def left_open(angle: float) -> tuple[bool, bool, float, float]:
        more = (*trials, _pretended(trials[0], angle))
        nearest = min(abs(angle - trial.angle) for trial in trials)
        return (*_left_open(more, angle, die, stock, accuracy), -nearest)

    return min(_reachable(die), key=left_open)


def untold(trials: Sequence[TrialBend], die: Die, stock: Stock, accuracy: Accuracy) -> Floats:
    """Return how badly trial bends tell each of the five; 1 or less counts as told."""
    legs = trial_fit.rows_of_legs(trials, die, stock, accuracy, die.clr, die.clr)
    dials = trial_fit.rows_of_dials(trials, accuracy, 1.0)
    return np.concatenate(
        [
            least_squares.told_sd(legs, trial_fit.assumed_of_legs(die, 1.0).enough),
            least_squares.told_sd(dials, trial_fit.assumed_of_dial(trials).enough),
        ]
    )


def _left_open(
    trials: Sequence[TrialBend], angle: float, die: Die, stock: Stock, accuracy: Accuracy
) -> tuple[bool, bool, float]:
    """Return what speaks against a set with a bend of an angle: it won't do, it is hard, it tells less."""
    worst = float(untold(trials, die, stock, accuracy).max())
    will_do = worst <= SURELY
    return not will_do, will_do and angle > EASY + ANGLE_NOISE, worst


def _pretended(trial: TrialBend, angle: float) -> TrialBend:
    """Return a trial bend as if both its legs were measured; only what it would tell is asked of it."""
    to: Literal["corner", "back"] = trial.measured_to if angle == trial.angle else "corner"
    return replace(trial, angle=angle, measured_to=to, lead_leg=1.0, tail_leg=1.0)


def shown(angle: float) -> str:
    return f"{round(math.degrees(angle), 1):g}°"


def _reachable(die: Die) -> tuple[float, ...]:
    """Return the angles to choose from that the die can bend."""
    reachable = [angle for angle in ANGLES if angle <= die.largest_angle + ANGLE_NOISE]
    return tuple(reachable) or (die.largest_angle,)


def _named(trials: Sequence[TrialBend]) -> str:
    return f"the trial bend{'s' if len(trials) > 1 else ''} of {_listed(trials)}"


def _listed(trials: Sequence[TrialBend]) -> str:
    *others, last = dict.fromkeys(shown(angle) for angle in sorted(trial.angle for trial in trials))
    return f"{', '.join(others)} and {last}" if others else last
