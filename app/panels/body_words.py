"""How the import step words what was read, guessed and cleaned."""

from app import units as unit_text
from app import wording
from app.units import Units
from geometry.body.scan import UNEVEN_SIDES, Reading, Scan
from geometry.layout import LengthUnit

UNIT_NAMES: dict[LengthUnit, str] = {
    "mm": "millimetres",
    "cm": "centimetres",
    "m": "metres",
    "in": "inches",
    "ft": "feet",
}


def unit_words(reading: Reading, is_chosen: bool, like: str | None) -> str:
    """Say how the file's numbers became mm; like is the body whose place was taken."""
    if like is not None:
        return f"Scaled as “{like}” is."
    if reading.is_scaled:
        return f"Scaled by a known length: 1 in the file is {reading.placement.scale:.6g} mm."
    how = "guessed from the size" if reading.unit_guessed else "as the file states"
    return f"Read as {UNIT_NAMES[reading.unit]}, {'as chosen' if is_chosen else how}."


def symmetry_words(reading: Reading, units: Units) -> str:
    """Say how far the two sides differ."""
    if UNEVEN_SIDES in reading.warnings:
        return UNEVEN_SIDES
    if reading.symmetry is None:
        return "No plane of symmetry is found."
    differ = unit_text.format_length(reading.symmetry.deviation, units)
    return f"Left and right differ by {differ} at most over nine tenths of the body."


def axes_words(reading: Reading) -> str:
    """Say which directions were guessed."""
    guesses = (("up", reading.up_guessed), ("forward", reading.forward_guessed))
    guessed = " and ".join(name for name, is_guess in guesses if is_guess)
    said = f"{guessed[:1].upper()}{guessed[1:]} guessed from shape and symmetry."
    return said if guessed else "As stated or chosen."


def cleaned_words(scan: Scan) -> str:
    """Say what was taken out of the mesh."""
    counts = (
        (scan.cleaned.duplicate_faces, "duplicate face"),
        (scan.cleaned.collapsed_faces, "collapsed face"),
        (scan.cleaned.unused_vertices, "unused point"),
    )
    said = [wording.counted(count, name) for count, name in counts if count]
    return f"Taken out: {', '.join(said)}." if said else "Nothing had to be taken out of the mesh."


def rough(mm: float, units: Units) -> str:
    """A length at a glance."""
    small, large = ((1.0, "mm"), (1000.0, "m")) if units.length == "mm" else ((25.4, "in"), (304.8, "ft"))
    size, unit = large if mm >= 0.1 * large[0] else small
    value = mm / size
    return (
        f"{value:.0f} {unit}"
        if value >= 100
        else f"{value:.2g} {unit}"
        if value < 1
        else f"{value:.3g} {unit}"
    )
