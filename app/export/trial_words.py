"""What trial bends say about the numbers of a sheet, in plain lines."""

from collections.abc import Iterable

from app import units as units_of
from app import wording
from app.export import steps
from app.export.sheet import Text
from app.export.steps import BenderStep
from app.units import Units
from geometry.layout import Layout
from geometry.shop.schedule import TubeRecord
from geometry.tube import springback
from geometry.tube.trials import Calibration, State

SCRAPS, SCRAP_MM, SCRAP_INCHES = 2, 600.0, 24.0  # common practice, for each batch
HEADINGS: dict[State, str] = {
    "none": "GEOMETRY ONLY",
    "check first": "CHECK BEND FIRST",
    "partial": "NOT ALL IS KNOWN YET",
    "measured": "",
}


def block(record: TubeRecord, rows: Iterable[BenderStep], units: Units) -> Text:
    """Return what stands above a tube's steps: how far its numbers can be trusted."""
    known = record.plan.calibration
    match known.state:
        case "none":
            return _geometry_only(record, any(row.set_angle is not None for row in rows))
        case "check first":
            return _check_first(record)
        case "partial":
            missing = known.missing or ("Make one more trial bend.",)
            words = " ".join((f"{based_on(known)}.", *_assumed(known), *missing))
            return Text((words,), heading(known), "warning")
        case "measured":
            words = f"{based_on(known)}: in these numbers. {_takes(known, units)}"
            if not known.contradicting:
                return Text((words,))
            return Text((" ".join((words, *known.missing)),), heading(known), "warning")


def heading(known: Calibration) -> str:
    """Return the warning that stands over numbers which trial bends don't hold; none for those they do."""
    disagree = known.contradicting and known.state != "check first"
    return "TRIAL BENDS DISAGREE" if disagree else HEADINGS[known.state]


def based_on(known: Calibration) -> str:
    """Say which trial bends there are: Trial bends of 2026-11-25, batch 7, 3 bends."""
    batch = wording.one_line(known.batch)
    parts = [f"Trial bends of {known.made}", *([f"batch {batch}"] if batch else [])]
    parts.append(wording.counted(len(known.trials), "bend"))
    if known.borrowed is not None and known.borrowed != known.batch:
        parts.append(f"the rest from batch {wording.one_line(known.borrowed) or 'before'}")
    return ", ".join(parts)


def least_roundness(known: Calibration, layout: Layout) -> float | None:
    """Return the least over the largest diameter at its worst trial bend, where it was measured."""
    rows = [layout.trials[id] for id in known.trials if id in layout.trials]
    measured = [
        springback.roundness(row.widest, row.narrowest)
        for row in rows
        if row.widest is not None and row.narrowest is not None
    ]
    return min(measured, default=None)


def scrap(known: Calibration, units: Units) -> str:
    """Say what scrap to keep for trial bends that are still to be made."""
    if known.state == "measured":
        return units_of.NOT_A_NUMBER
    length = f"{SCRAP_MM:.0f} mm" if units.length == "mm" else f"{SCRAP_INCHES:.0f} in"
    return f"{SCRAPS} × {length}"


def _geometry_only(record: TubeRecord, has_least: bool) -> Text:
    die = wording.one_line(record.die.name) if record.die else "this die"
    springs = (
        "“At least” is the elastic-plastic lower bound: real springback is larger."
        if has_least
        else "Springback is not known: bend by the angle that must come out, a little at a time. Once the "
        "rack holds the stock's yield strength, its lower bound stands here."
    )
    return Text(
        (
            f"No trial bend was made on {die} with {wording.one_line(record.stock.name)}: no stretch and no "
            f"springback in these numbers. {springs} Make a trial bend in scrap first.",
        ),
        HEADINGS["none"],
        "warning",
    )


def _check_first(record: TubeRecord) -> Text:
    known = record.plan.calibration
    batch = wording.one_line(record.stock.batch)
    new = f"Batch {batch} is new" if batch else "This batch is new"
    words = based_on(known)
    return Text(
        (
            f"{new}. Until one check bend is made in scrap of it and written down, these numbers rest on "
            f"{words[:1].lower()}{words[1:]}.",
        ),
        HEADINGS["check first"],
        "warning",
    )


def _assumed(known: Calibration) -> list[str]:
    """Say what the trial bends don't tell, in the words of the bender."""
    names = (
        (known.offset.told, "where a bend starts"),
        (known.clr.told, "the radius"),
        (known.consumed.told, "the stretch"),
        (steps.tells_dial(known), "the springback"),
    )
    assumed = [name for is_told, name in names if not is_told]
    return [f"Not yet told by them: {wording.listed(assumed)}."] if assumed else []


def _takes(known: Calibration, units: Units) -> str:
    clr = units_of.format_size(known.clr.value, units)
    return f"Bends come out at CLR {clr}."
