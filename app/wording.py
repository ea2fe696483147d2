"""The sentences and signs that view, lists and paper share. Imports no Qt."""

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Literal

from app import units as units_of
from app.units import MILLIMETRES, Units
from geometry.checks import standoff
from geometry.checks.finding import Finding, Mend, Severity
from geometry.checks.standoff import Standing
from geometry.layout import Layout, Panel, Tube

if TYPE_CHECKING:  # the checks bring the distance kernels along, and words need none of them
    from geometry.checks.clearance import Clearance
    from geometry.checks.findings import Report
    from geometry.shop.schedule import TubeRecord
    from geometry.tube.plan import Plan
    from geometry.tube.trials import Calibration

Band = Literal["close", "fine", "far"]

# One set of signs for view, list and paper: a shape and a word, so that nothing hangs on colour.
BAND_SIGNS: dict[Band, str] = {"close": "▲", "fine": "●", "far": "◇"}
BAND_WORDS: dict[Band, str] = {"close": "too close", "fine": "fine", "far": "too far"}
SEVERITY_SIGNS: dict[Severity, str] = {"error": "✖", "warning": "▲", "note": "◇"}
SEVERITY_WORDS: dict[Severity, str] = {
    "error": "can't be made",
    "warning": "outside a limit",
    "note": "note",
}
SEVERITY_NAMES: dict[Severity, str] = {"error": "error", "warning": "warning", "note": "note"}

RULE_TITLES: dict[str, str] = {
    "clearance.crossing": "Tube cuts into the body",
    "clearance.too_close": "Too close to the body",
    "clearance.too_far": "Far from the body",
    "clearance.inside": "Tube inside the body",
    "clearance.perhaps_inside": "Perhaps inside the body",
    "group.tied_both": "Tied to body and frame",
    "weld.gap": "Gap too wide to weld",
    "weld.deep": "Tube too deep in the sheet",
    "tubes.crossing": "Tubes run into each other",
    "tubes.close": "Tubes too close together",
    "tubes.beside": "Tubes close side by side",
    "door.hits": "Tube in the way of a door",
    "door.room": "Too little room for a door",
    "zone.in_the_way": "Tube in room kept free",
    "reference.past_limit": "Past a limit",
    "tyre.hits_tube": "Tube in the way of a tyre",
    "tyre.near_tube": "Too little room for a tyre",
    "tyre.hits_panel": "Tyre reaches a panel",
    "tyre.near_panel": "Too little room for a tyre",
    "tyre.bad_axle": "Axle that cannot be",
    "bend.no_die": "No die for this tube",
    "bend.other_die": "Die for another diameter",
    "bend.clr_below_stock": "Bend tighter than the stock allows",
    "bend.tangents_overlap": "Bends run into each other",
    "bend.between_short": "Straight between bends too short",
    "bend.angle_over_die": "Bend beyond the die",
    "bend.turn_too_sharp": "Turn too sharp to bend",
    "order.none": "No order of bending works",
    "joint.sleeve": "Sleeve that no longer fits",
    "end.cut_before": "End cut too short to bend",
    "blank.over_stick": "Blank longer than a stick",
    "tube.too_short": "Tube too short",
    "body.no_panels": "No body to check against",
}

# How the tube is turned between bends, never as a sign.
TurnWord = Literal["clockwise", "anticlockwise", "same plane", "flip"]

# Printed with every packet: a heading and what stands under it.
CAUTIONS: tuple[tuple[str, str], ...] = (
    (
        "These sheets certify nothing",
        "They hold computed geometry and estimates: no claim of strength, of safety, or that a cage meets "
        "any rule. Local codes and the event's rule book come first; a licensed engineer decides whether the "
        "structure will do, and a qualified welder makes the joints.",
    ),
    (
        "Bending",
        "Each sheet says which trial bends its numbers rest on; without any they are geometry only, without "
        "springback or stretch. Make trial bends in scrap of the same stock and batch with the same die "
        "before the first good tube. Keep hands clear of the die and of what swings, and stand where a "
        "slipping tube can't reach you.",
    ),
    (
        "Cutting",
        "Measure every mark from the one sawn, square start end. Keep the allowances on until the tube is "
        "fitted. Clamp the stock, protect eyes and ears, deburr every end.",
    ),
    (
        "Welding",
        "Disconnect the battery; take out fuel, trim and anything that burns. Strip paint and zinc off the "
        "joint, ventilate, wear a mask, keep an extinguisher and a second person at hand.",
    ),
    (
        "Relying on a cage",
        "An external cage changes how a vehicle crashes, handles and is insured, and may not be legal on the "
        "road. Tubes within reach of a head or a passer-by need padding. A cage doesn't replace belts, seats "
        "and helmets.",
    ),
)


COUNTED = {
    "tubes": ("tube", "tubes"),
    "nodes": ("node", "nodes"),
    "panels": ("panel", "panels"),
    "bodies": ("body", "bodies"),
    "axles": ("axle", "axles"),
    "references": ("reference", "references"),
    "zones": ("access zone", "access zones"),
    "measures": ("measure", "measures"),
}


def safe_words(standing: Standing, units: Units) -> str:
    """Say what of a clearance is sure to be left in the shop: 23.2 mm safe."""
    return f"{units_of.format_length(standing.safe, units)} safe"


def nearest_words(layout: Layout, report: "Report", near: "Clearance", band: Band, units: Units) -> str:
    """Say which panel is nearest to a tube, what is sure to be left, and which one it is too close to."""
    panel = one_line(layout.panels[near.panel].name)
    if near.clearance < 0.0:
        return f"cuts into {panel}"
    standing = standoff.standing(layout, near)
    said = f"to {panel}, {safe_words(standing, units)}"
    if band == standing.band:
        return f"{said}: {BAND_WORDS[band]}"
    other = next((row for row in report.clearances if row.tube == near.tube and _is_close(layout, row)), None)
    where = f" to {one_line(layout.panels[other.panel].name)}" if other is not None else ""
    return f"{said}; {BAND_WORDS[band]}{where}"


def _is_close(layout: Layout, row: "Clearance") -> bool:
    return row.panel in layout.panels and standoff.standing(layout, row).band == "close"


def listed(words: Sequence[str]) -> str:
    """Join words as a sentence does: a, b and c."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"


def counted(count: int, one: str, many: str | None = None) -> str:
    """Write a count with its noun: 1 bend, 3 bends."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def things(layout: Layout, ids: Iterable[int]) -> str:
    """Count things by their kind: 2 tubes and 1 node."""
    chosen = set(ids)
    counts = ((len(chosen & getattr(layout, kind).keys()), kind) for kind in COUNTED)
    return listed([counted(count, *COUNTED[kind]) for count, kind in counts if count])


def ordinal(number: int) -> str:
    """Write a place in an order: 1st, 2nd, 3rd, 4th, 11th."""
    ending = "th" if number % 100 in (11, 12, 13) else {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{ending}"


def one_line(text: str) -> str:
    """Return a person's text on one line, without control characters."""
    return " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())


def rule_title(rule: str) -> str:
    """Return a rule's heading; an unknown rule reads as its own name."""
    if rule in RULE_TITLES:
        return RULE_TITLES[rule]
    words = rule.replace(".", ": ").replace("_", " ")
    return words[:1].upper() + words[1:]


def quantity_text(value: float | None, quantity: str | None, units: Units) -> str:
    """Write a finding's value or limit in the person's units."""
    if value is None:
        return units_of.NOT_A_NUMBER
    match quantity:
        case "length":
            return units_of.format_length(value, units)
        case "angle":
            return units_of.format_angle(value)
        case "ratio":
            return units_of.format_ratio(value)
    return units_of.trimmed_decimal(value, 2)


def turn_word(turn: float, step: float) -> TurnWord:
    """Say which way a tube is turned, positive clockwise; within a plane it stays or goes half round."""
    count = units_of.nearest_step(abs(turn), step)
    if count == 0:
        return "same plane"
    if count == units_of.nearest_step(math.pi, step):
        return "flip"
    return "clockwise" if turn > 0.0 else "anticlockwise"


def say(finding: Finding, layout: Layout, units: Units) -> str:
    """Write a finding as a sentence in the person's units."""
    return finding.message.format_map(_Slots(_slots(finding, layout, units)))


def say_with_sign(finding: Finding, layout: Layout, units: Units) -> str:
    """Write a finding with the sign of its severity in front."""
    return f"{SEVERITY_SIGNS[finding.severity]} {say(finding, layout, units)}"


def say_mend(mend: Mend, layout: Layout, units: Units) -> str:
    """Write what a mend does as its button and the Edit menu say it, in the person's units."""
    slots = {"amount": quantity_text(mend.amount, "length", units)}
    slots["tube"] = _name(layout.tubes, mend.tube, "a removed tube")
    if mend.die is not None:
        slots["die"] = _name(layout.dies, mend.die, "a removed die")
    return mend.words.format_map(_Slots(slots))


def blank_length(record: "TubeRecord", layout: Layout, units: Units) -> float:
    """Return the blank as it is cut: to the step of the tape, as on the sheet."""
    return planned_blank(record.plan, layout, units)


def planned_blank(plan: "Plan", layout: Layout, units: Units) -> float:
    """Return the blank of a plan as it is cut."""
    from geometry.shop import rounding

    return rounding.blank(plan, units_of.mark_step(units), layout.limits.angle_step)


def blank_text(record: "TubeRecord", layout: Layout, units: Units, *, unit: bool = True) -> str:
    """Write the blank as it is cut."""
    return units_of.format_mark(blank_length(record, layout, units), units, unit=unit)


def blank_words(record: "TubeRecord", units: Units) -> str:
    """Write what a blank has more than its tube: both allowances, less what bending stretches."""
    start, end, stretch = (
        units_of.format_length(abs(part), units, unit=False)
        for part in (record.start_allowance, record.end_allowance, record.stretch)
    )
    said = [f"+{start} start", f"+{end} end"]
    if abs(record.stretch) >= units_of.length_step(units) / 2.0:
        said.append(f"{'−' if record.stretch > 0.0 else '+'}{stretch} stretch")
    return ", ".join(said)


def trials_state(calibration: "Calibration") -> str:
    """Say in a few words what trial bends there are of a die with a stock."""
    match calibration.state:
        case "none":
            return "none: geometry only"
        case "check first":
            return "check bend first"
        case "partial":
            return f"{calibration.made}, more needed"
    return f"of {calibration.made}"


def order_words(plan: "Plan") -> str:
    """Say which end leads through which bends, and when the tube is turned round."""
    if not plan.steps:
        return "It cannot be bent as it is."
    runs = bending_runs(plan)
    if len(runs) == 1:
        return f"The {runs[0][0]} leads; the tube is never turned round."
    said = [f"the {leads} leads for {_bends(numbers)}" for leads, numbers in runs]
    return said[0][:1].upper() + "; turned round, ".join(said)[1:] + "."


def bending_runs(plan: "Plan") -> list[tuple[str, list[int]]]:
    """Return the bends that are made without turning the tube round, with the end that leads."""
    runs: list[tuple[str, list[int]]] = []
    for step in plan.steps:
        if not runs or runs[-1][0] != step.leads:
            runs.append((step.leads, []))
        runs[-1][1].append(step.bend)
    return runs


def _bends(numbers: Sequence[int]) -> str:
    words = [str(number) for number in numbers]
    return f"bend{'s' if len(words) > 1 else ''} {listed(words)}"


def severity_counts(findings: Iterable[Finding]) -> str:
    """Count findings in words: 1 error, 2 warnings and 3 notes; nothing for none."""
    counts = Counter(finding.severity for finding in findings)
    return listed([counted(counts[name], SEVERITY_NAMES[name]) for name in SEVERITY_NAMES if counts[name]])


def report_summary(report: "Report", layout: Layout, units: Units = MILLIMETRES) -> str:
    """Say what the checks found, or that they found nothing, and what was checked against what."""
    kept = sum(panel.kept for panel in layout.panels.values())
    limits = layout.limits
    if not layout.tubes:  # tyres and panels are held against each other without any
        tyres = _tyre_words(layout, units) if report.is_complete else ""
        held = f"{counted(kept, 'body panel')}{tyres}; no tube yet"
        found = severity_counts(report.findings)
        return f"{found or 'Nothing'} found. Checked: {held}."
    checked = (
        f"{counted(len(report.checked), 'tube')} against {counted(kept, 'body panel')}, stand-off "
        f"{units_of.format_length(limits.standoff_closest, units)} to "
        f"{units_of.format_length(limits.standoff_farthest, units)}{_own_standoffs(layout)}, scan error "
        f"{units_of.format_length(limits.scan_error, units)}, build tolerance "
        f"{units_of.format_length(limits.build_tolerance, units)}{_mount_words(layout, units)}"
        f"{_tyre_words(layout, units) + _zone_words(layout) if report.is_complete else ''}"
    )
    found = severity_counts(report.findings)
    return f"{found} found. Checked: {checked}." if found else f"Nothing found. Checked: {checked}."


def _own_standoffs(layout: Layout) -> str:
    """Say how many tubes and panels have a stand-off of their own."""
    counts = [
        counted(own, one)
        for one, things in (("tube", layout.tubes), ("panel", layout.panels))
        if (own := sum(_has_own_standoff(thing) for thing in things.values()))
    ]
    return f" (other for {listed(counts)})" if counts else ""


def _has_own_standoff(thing: Tube | Panel) -> bool:
    return thing.standoff_closest is not None or thing.standoff_farthest is not None


def _zone_words(layout: Layout) -> str:
    """Say how many access zones and limit planes the tubes were held against."""
    limits = sum(reference.limit for reference in layout.references.values())
    counts = [
        counted(count, one) for count, one in ((len(layout.zones), "access zone"), (limits, "limit")) if count
    ]
    return f", {listed(counts)}" if counts else ""


def _mount_words(layout: Layout, units: Units) -> str:
    """Say how far the body moves on its mounts, where a tube is tied to the frame."""
    limits = layout.limits
    if not any(tube.tied == "frame" for tube in layout.tubes.values()):
        return ""
    moves = [units_of.format_length(move, units) for move in (limits.mount_x, limits.mount_y, limits.mount_z)]
    said = moves[0] if len(set(moves)) == 1 else f"{' × '.join(moves)} (lengthways, sideways, up)"
    return f", body on its mounts ±{said}"


def _tyre_words(layout: Layout, units: Units) -> str:
    """Say how many tyres were held against tubes and panels."""
    if not layout.axles:
        return ""
    room = units_of.format_length(layout.limits.tyre_margin, units)
    return f", {counted(2 * len(layout.axles), 'tyre')} with {room} of room"


class _Slots(dict[str, str]):
    """Template slots; a slot nobody filled shows as a dash rather than stopping a report."""

    def __missing__(self, key: str) -> str:
        return units_of.NOT_A_NUMBER


def _slots(finding: Finding, layout: Layout, units: Units) -> dict[str, str]:
    tubes = [_name(layout.tubes, id, "a removed tube") for id in finding.tubes]
    panels = [_name(layout.panels, id, "a removed panel") for id in finding.panels]
    slots = {key: one_line(words) for key, words in finding.words.items()}
    for key, amount in finding.amounts.items():
        slots[key] = quantity_text(amount.number, amount.quantity, units)
    slots["value"] = quantity_text(finding.value, finding.quantity, units)
    slots["limit"] = quantity_text(finding.limit, finding.quantity, units)
    if finding.value is not None and finding.limit is not None:
        slots["difference"] = quantity_text(abs(finding.limit - finding.value), finding.quantity, units)
    for key, names in (("tube", tubes[:1]), ("other", tubes[1:2]), ("panel", panels[:1])):
        if names:
            slots[key] = names[0]
    return slots


def _name(things: Mapping[int, object], id: int, gone: str) -> str:
    name = getattr(things.get(id), "name", None)
    return one_line(name) if isinstance(name, str) and name.strip() else gone
