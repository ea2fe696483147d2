"""The colour of tubes along them, by how clear they keep of the body. Imports no Qt and no VTK."""

from typing import TYPE_CHECKING, Literal

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from app.viewport.colours import Theme, rgb
from geometry.asymmetry import Standing
from geometry.checks import standoff
from geometry.layout import Layout, Limits
from geometry.vectors import Floats

if TYPE_CHECKING:
    from geometry.checks.profile import Profile

Colouring = Literal["plain", "bands", "ramp", "sides"]
RING_STEP = 25.0  # mm between rings of a tube whose colour runs on
EDGE = 0.25  # mm over which one band turns into the next
NO_PLACES = np.zeros(0)


class Tint(Struct, frozen=True, eq=False):
    """Colours (n, 3) from 0 to 1 at stations (n,) of a tube, straight between; and where rings are needed."""

    stations: Floats
    colours: Floats
    rings: Floats

    def at(self, stations: Floats) -> Floats:
        """Return the colours at stations (m,): (m, 3)."""
        columns = [np.interp(stations, self.stations, self.colours[:, part]) for part in range(3)]
        return np.stack(columns, axis=1)


def of(colouring: Colouring, layout: Layout, tube: int, profile: "Profile", theme: Theme) -> Tint | None:
    """Return the tint of a tube; None where it is plain all along."""
    if colouring in ("plain", "sides") or not len(profile.stations):
        return None
    if colouring == "ramp":
        return _ramp_tint(layout.limits, profile, theme)
    return _band_tint(layout, tube, profile, theme)


def of_side(standing: Standing, length: float, theme: Theme) -> Tint | None:
    """Return the tint of a tube by how it stands to the other side; None where twins are in step."""
    if standing.kind == "twin":
        return None
    colour = rgb(theme.signs["far" if standing.kind == "near" else "fine"])
    return Tint(np.array([0.0, length]), np.array([colour, colour]), NO_PLACES)


def _band_tint(layout: Layout, tube: int, profile: "Profile", theme: Theme) -> Tint | None:
    """Colour what is too close or stands off too far; what is fine stays as tubes are."""
    held = standoff.along(layout, tube, profile)
    close = (profile.clearances < held.close_below) & ~held.is_welded
    is_far = _long_runs(profile.clearances > held.far_above, profile.stations, layout.limits.standoff_run)
    band = np.where(close, 1, np.where(is_far, 2, 0))
    if not band.any():
        return None
    table = np.array([rgb(theme.tube), rgb(theme.signs["close"]), rgb(theme.signs["far"])])
    turns = np.flatnonzero(np.diff(band))
    places = [_turn(profile, held, int(turn)) for turn in turns]
    edges = np.array([place + side * EDGE for place in places for side in (-1.0, 1.0)])
    runs = [band[0], *band[turns + 1]]  # each with a colour at its beginning and its end
    stations = np.concatenate([[profile.stations[0]], edges, [profile.stations[-1]]])
    return Tint(np.maximum.accumulate(stations), np.repeat(table[runs], 2, axis=0), edges)


def _long_runs(here: NDArray[np.bool_], stations: Floats, longest_unremarked: float) -> NDArray[np.bool_]:
    """Return where something holds for longer than goes unremarked: corners and windows stay calm."""
    edges = np.diff(np.concatenate([[False], here, [False]]).astype(np.int8))
    long = np.zeros(len(here), dtype=bool)
    for first, last in zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - 1, strict=True):
        if stations[last] - stations[first] > longest_unremarked:
            long[first : last + 1] = True
    return long


def _turn(profile: "Profile", held: standoff.Along, at: int) -> float:
    """Return where between two stations one band turns into the next."""
    here, there = profile.clearances[at : at + 2]
    start, end = profile.stations[at : at + 2]
    for level in (held.close_below[at], held.far_above[at]):
        if min(here, there) <= level <= max(here, there) and here != there:
            return float(start + (level - here) / (there - here) * (end - start))
    return float((start + end) / 2.0)


def _ramp_tint(limits: Limits, profile: "Profile", theme: Theme) -> Tint:
    count = max(int(np.ceil(profile.stations[-1] / RING_STEP)), 1)
    colours = ramp(ramp_part(profile.clearances, limits), theme)
    return Tint(profile.stations, colours, np.linspace(0.0, profile.stations[-1], count + 1)[1:-1])


def ramp_end(limits: Limits) -> float:
    """Return the clearance at which the ramp ends: farther off makes no difference to the eye."""
    return 2.0 * max(limits.standoff_farthest, limits.standoff_closest + standoff.error(limits), 1.0)


def ramp_part(clearances: Floats, limits: Limits) -> Floats:
    """Return how far along the ramp clearances (n,) are, from 0 at the metal to 1."""
    parts: Floats = np.clip(clearances / ramp_end(limits), 0.0, 1.0)
    return parts


def ramp(parts: Floats, theme: Theme) -> Floats:
    """Return the colours (n, 3) along the ramp: lighter steadily, so that it is read without its hues."""
    table = np.array([rgb(colour) for colour in theme.ramp])
    places = np.linspace(0.0, 1.0, len(table))
    return np.stack([np.interp(parts, places, table[:, part]) for part in range(3)], axis=1)
