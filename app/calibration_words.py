"""What trial bends tell of a die with a stock, in words and numbers. Imports no Qt."""

import math

from msgspec import Struct

from app import units as units_of
from app import wording
from app.trial_proposal import Proposal
from app.units import MM_PER_INCH, Units
from geometry.layout import Die, Stock
from geometry.tube import springback, trials
from geometry.tube.trials import Calibration, Estimate

TOLD, ASSUMED, OLDER = "● told", "○ assumed", "◐ older batch"
ANGLES = tuple(math.radians(a) for a in (30.0, 45.0, 60.0, 90.0))  # whose dial is shown
QUARTER = math.pi / 2.0
ZERO = 0.05  # mm; shown as 0
BEGINNING = {"start": "Bend starts", "middle": "Bend's middle", "end": "Bend ends"}
CAUTION = (
    "Keep hands clear of die and swinging tail, stand where a slipping tube can't reach you, deburr the ends."
)


class Row(Struct, frozen=True):
    """One number that trial bends tell, how well, and what it means."""

    name: str
    value: str
    source: str
    tip: str


def state_sentence(calibration: Calibration, stock: Stock) -> str:
    """Say how much is known of a die with a stock."""
    wrong = len(calibration.contradicting)
    if wrong and calibration.state != "check first":
        return f"{_made(calibration)}: {wrong} of them {'does' if wrong == 1 else 'do'} not fit the others."
    match calibration.state:
        case "none":
            return "No trial bend of this die and stock yet: the sheets are geometry only."
        case "check first":
            new = f"Batch {wording.one_line(stock.batch)}" if stock.batch else "This batch"
            older = (
                f"batch {wording.one_line(calibration.batch)}" if calibration.batch else "the batch before"
            )
            return f"{new} has no trial bend yet; the sheets go by {older} and say “check bend first”."
        case "partial":
            return f"{_made(calibration)}: not all is known yet."
    return f"{_made(calibration)}: all is known."


def rows(calibration: Calibration, die: Die, stock: Stock, units: Units) -> tuple[Row, ...]:
    """Return what trial bends tell, each number with its doubt and where it comes from."""
    fine = Units("in") if units.length == "in-fraction" else units
    return (
        _start_row(calibration, fine),
        *(_dial_row(calibration, angle, stock, die) for angle in ANGLES if angle <= die.largest_angle),
        _taken_row(calibration, fine),
        Row(
            "Radius (CLR)",
            _length(calibration.clr, fine),
            _source(calibration, calibration.clr.told),
            f"Effective centreline radius after springback; the die's is "
            f"{units_of.format_length(die.clr, fine)}.",
        ),
    )


def guide(proposal: Proposal, units: Units) -> tuple[str, ...]:
    """Return the steps of one trial bend, in the order in which they are done."""
    length, mark = (units_of.format_mark(value, units) for value in (proposal.length, proposal.mark))
    return (
        f"Saw a scrap square, about <b>{length}</b> long; measure its length.",
        f"Mark it <b>{mark}</b> from its leading end, the end that goes through the die first.",
        "Lay it in the die with the mark at the die's reference point.",
        f"Bend until the dial reads <b>{units_of.format_angle(proposal.dial)}</b>; take the load off.",
        "Measure the angle it has now, then both legs. From 90° on, legs may be measured to the back.",
    )


def spread_text(sd: float, units: Units) -> str:
    """Write a standard deviation of a length without its unit; never a fraction."""
    return units_of.decimal(sd, 1) if units.length == "mm" else units_of.decimal(sd / MM_PER_INCH, 3)


def _start_row(calibration: Calibration, units: Units) -> Row:
    offset = calibration.offset
    side = "behind" if offset.value > -ZERO else "ahead of"
    size = Estimate(abs(offset.value), offset.sd, offset.told)
    value = f"{_length(size, units)} {side} the mark"
    if offset.value == 0.0 and offset.sd == 0.0:
        value = "at the mark"
    return Row(
        BEGINNING[calibration.mark_at],
        value,
        _source(calibration, offset.told),
        "How far this part lies from the mark at the reference point; behind is towards the tail.",
    )


def _dial_row(calibration: Calibration, angle: float, stock: Stock, die: Die) -> Row:
    dial, sd = trials.dial(calibration, angle), trials.dial_sd(calibration, angle)
    value = units_of.format_angle(dial)
    told = calibration.dial_per_angle.told and calibration.dial_at_zero.told
    if sd > 0.0:
        value += f" ± {units_of.decimal(math.degrees(sd), 1)}°"
    elif (least := springback.lower_bound(stock, die.clr, angle)) is not None:
        value = f"at least {units_of.format_angle(least)}"
    words = units_of.format_angle(angle)
    return Row(
        f"Dial for {units_of.trimmed_decimal(math.degrees(angle), 1)}°",
        value,
        _source(calibration, told),
        f"What to bend to, so that {words} are left after springback.",
    )


def _taken_row(calibration: Calibration, units: Units) -> Row:
    taken = Estimate(
        calibration.consumed.value * QUARTER, calibration.consumed.sd * QUARTER, calibration.consumed.told
    )
    arc = units_of.format_length(calibration.clr.value * QUARTER, units)
    return Row(
        "Blank for 90°",
        f"{_length(taken, units)}; arc {arc}",
        _source(calibration, taken.told and calibration.clr.told),
        "How much straight blank a bend of 90° takes, and how long its arc is; the difference is stretch.",
    )


def _length(estimate: Estimate, units: Units) -> str:
    text = units_of.format_length(estimate.value, units)
    return f"{text} ± {spread_text(estimate.sd, units)}" if estimate.sd > 0.0 else text


def _source(calibration: Calibration, told: bool) -> str:
    if not told:
        return ASSUMED
    return OLDER if calibration.state == "check first" else TOLD


def _made(calibration: Calibration) -> str:
    count = wording.counted(len(calibration.trials), "trial bend")
    newest = "" if len(calibration.trials) == 1 else ", the newest"
    return f"{count}{newest} of {calibration.made}"
