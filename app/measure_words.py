"""How measures and sizes are put in words, on the screen and on paper. Imports no Qt."""

from collections.abc import Iterable

from msgspec import Struct

from app import units as unit_text
from app.units import Units
from geometry.aids import BodySpot, Measure, MeasureKind, NodeSpot, ReferenceSpot, Spot, TubeSpot
from geometry.layout import Layout
from geometry.measuring import ramps, sizes, values
from geometry.measuring.ramps import Ramp
from geometry.measuring.sizes import Size
from geometry.measuring.values import NoValue, Part, Value

KINDS: dict[MeasureKind, str] = {
    "distance": "Distance",
    "along": "Along a tube",
    "gap": "Gap between tubes",
    "angle": "Angle",
    "height": "Height",
    "opening": "Opening",
}
NUMBERS: dict[MeasureKind, str] = {  # what the large number is, where the kind doesn't say so
    "along": "along the centreline",
    "gap": "between the outer surfaces",
    "height": "above the ground",
    "opening": "largest circle that fits",
}
NO_AXLES = "needs two axles"
NOTHING = "—"


class SizeRow(Struct, frozen=True):
    """One line of the overall sizes: what, and the texts of body, cage, both, and both with the tyres."""

    name: str
    body: str
    cage: str
    both: str
    whole: str
    tip: str


class RampRow(Struct, frozen=True):
    """One angle that the car drives: without and with the cage, and what touches first."""

    name: str
    bare: str
    caged: str
    touches: str
    tip: str


def number(value: Value | NoValue, units: Units) -> str:
    """Return the value of a measure as text."""
    if isinstance(value, NoValue):
        return NOTHING
    return _amount(value.number, value.quantity, units)


def parts(value: Value | NoValue, units: Units) -> list[tuple[str, str]]:
    """Return what else a measure says: names and texts. Ways along the axes go without their signs."""
    if isinstance(value, NoValue):
        return []
    return [(part.name, _part(part, units)) for part in value.parts]


def beside(kind: MeasureKind, value: Value | NoValue, units: Units) -> str:
    """Return the few words that stand beside the number in the view."""
    if isinstance(value, NoValue):
        return value.why
    if kind == "opening":
        wide, high = (unit_text.format_length(part.number, units, unit=False) for part in value.parts)
        return f"circle, {wide} × {high}"
    if kind in ("gap", "along"):
        return NUMBERS[kind]
    return "  ".join(f"{name} {text}" for name, text in parts(value, units))


def between(layout: Layout, measure: Measure) -> str:
    """Return what a measure is taken between."""
    said = [spot_words(layout, spot) for spot in measure.spots]
    return (", " if measure.kind == "opening" else " – ").join(dict.fromkeys(said))


def spot_words(layout: Layout, spot: Spot) -> str:
    """Return what a measure was taken from."""
    match spot:
        case NodeSpot(node):
            users = [tube.name for tube in layout.tubes.values() if node in tube.nodes]
            return f"node of {users[0]}" if users else "node"
        case TubeSpot(tube, _):
            return layout.tubes[tube].name if tube in layout.tubes else "a tube"
        case BodySpot(panel, _):
            return layout.panels[panel].name if panel in layout.panels else "a panel"
        case ReferenceSpot(reference):
            return layout.references[reference].name if reference in layout.references else "a reference"
    return "a place"


def size_rows(found: sizes.Sizes, units: Units) -> list[SizeRow]:
    """Return length, width, height and what is lowest and highest, as texts without the unit."""
    columns = (found.body, found.cage, found.both, found.whole)
    rows = (
        ("length", "Length", "From front to back."),
        ("width", "Width", "From left to right."),
        ("height", "Height", "From the lowest to the highest point."),
        ("low", "Lowest point", "Above the ground that the tyres stand on."),
        ("high", "Highest point", "Above the ground that the tyres stand on."),
    )
    found_rows = []
    for field, name, tip in rows:
        body, cage, both, whole = (_size(size, field, units) for size in columns)
        found_rows.append(SizeRow(name, body, cage, both, whole, tip))
    return found_rows


def _size(size: Size | None, field: str, units: Units) -> str:
    return NOTHING if size is None else unit_text.format_length(getattr(size, field), units, unit=False)


def ramp_rows(layout: Layout, bare: ramps.Ramps | None, caged: ramps.Ramps | None) -> list[RampRow]:
    """Return the angles that the car drives, as texts."""
    rows = (
        ("approach", "Approach", "Up a slope in front before anything but the front tyres touches."),
        ("departure", "Departure", "The same behind the rear axle."),
        ("breakover", "Breakover", "Of a crest between the axles before anything touches it."),
    )
    return [
        RampRow(
            name,
            NO_AXLES if bare is None else ramp(getattr(bare, field)),
            NO_AXLES if caged is None else ramp(getattr(caged, field)),
            touching(layout, None if caged is None else getattr(caged, field)),
            tip,
        )
        for field, name, tip in rows
    ]


def touching(layout: Layout, found: Ramp | None) -> str:
    """Return what touches first."""
    if found is None or found.touches is None:
        return ""
    for things in (layout.tubes, layout.panels):
        if found.touches in things:
            return f"{things[found.touches].name} touches first."
    return ""


def ramp(found: Ramp) -> str:
    return "nothing in the way" if found.at is None else unit_text.format_angle(found.angle)


def printed(layout: Layout, units: Units) -> list[tuple[str, str, str, str]]:
    """Return the measures that stand on the sheets: name, value, what else, what it is between."""
    rows = []
    for measure in in_order(layout.measures.values()):
        if measure.printed:
            value = values.of(layout, measure)
            said = _on_paper(measure.kind, value, units)
            rows.append((measure.name, number(value, units), said, between(layout, measure)))
    return rows


def _on_paper(kind: MeasureKind, value: Value | NoValue, units: Units) -> str:
    """Return what else a sheet says of a measure, short enough for one line."""
    if isinstance(value, NoValue):
        return value.why
    if kind == "opening":
        wide, high = (text for _, text in parts(value, units))
        return f"circle; {wide} wide, {high} high"
    most = 1 if kind == "gap" else None
    return ", ".join(f"{name} {text}" for name, text in parts(value, units)[:most])


def in_order(measures: Iterable[Measure]) -> list[Measure]:
    return sorted(measures, key=lambda measure: measure.id)


def _part(part: Part, units: Units) -> str:
    return _amount(abs(part.number) if part.name in ("x", "y", "z") else part.number, part.quantity, units)


def _amount(amount: float, quantity: str, units: Units) -> str:
    is_angle = quantity == "angle"
    return unit_text.format_angle(amount) if is_angle else unit_text.format_length(amount, units)
