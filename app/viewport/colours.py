"""The view's colours, light and dark, and the three signs by which clearance is told."""

from typing import Literal

from msgspec import Struct

Band = Literal["close", "fine", "far", "unknown"]


class Theme(Struct, frozen=True):
    """Every colour of the view as "#rrggbb"."""

    sky: str  # top of the background
    floor: str  # bottom of the background
    grid: str
    grid_strong: str
    body: str
    body_selected: str
    tube: str
    tube_hovered: str
    tube_selected: str
    tube_bad: str  # a bend that cannot be made
    section: str
    tyre: str
    swept: str  # what tyres sweep through
    reference: str  # points, lines and planes to go by
    zone: str  # room kept free
    figure: str
    text: str
    faint: str
    paper: str  # behind text
    line: str  # hair-lines and frames
    node: str
    accent: str
    signs: dict[Band, str]  # for shapes and lines
    words: dict[Band, str]  # the same for text: contrast 4.5 to 1 on paper
    ramp: tuple[str, ...]  # from the metal outwards; its lightness changes steadily


# Okabe and Ito's colours: told apart by all kinds of colour sight. A shape and a word go with each.
SIGNS: dict[Band, str] = {"close": "#D55E00", "fine": "#0072B2", "far": "#E69F00", "unknown": "#999999"}

LIGHT = Theme(
    sky="#f3f2ee",
    floor="#dddbd4",
    grid="#cdcac2",
    grid_strong="#b7b3a9",
    body="#c3c6c4",
    body_selected="#aec6c2",
    tube="#4d5a66",
    tube_hovered="#6b8191",
    tube_selected="#1d8a80",
    tube_bad="#D55E00",
    section="#7a3e12",
    tyre="#6f6a64",
    swept="#8a6fb0",
    reference="#35689c",
    zone="#a8497f",
    figure="#cfd2d0",
    text="#1f2421",
    faint="#5f655f",
    paper="#fbfaf8",
    line="#8b8f8c",
    node="#f7f6f3",
    accent="#1d6660",
    signs=SIGNS,
    words={"close": "#a84800", "fine": "#005a8e", "far": "#7a5200", "unknown": "#5f655f"},
    ramp=("#00224e", "#414d6b", "#7c7b78", "#bcae6c", "#fee838"),
)
DARK = Theme(
    sky="#2c3134",
    floor="#17191b",
    grid="#33393c",
    grid_strong="#464d51",
    body="#6d7375",
    body_selected="#66807c",
    tube="#b9c3cb",
    tube_hovered="#dfe7ec",
    tube_selected="#4cc4b6",
    tube_bad="#ff7a1f",
    section="#f0b64a",
    tyre="#716a63",
    swept="#a48bd0",
    reference="#7fb2e0",
    zone="#dc8dba",
    figure="#565c5f",
    text="#e9ebe8",
    faint="#a3aaa6",
    paper="#24282a",
    line="#7d8588",
    node="#23282b",
    accent="#5bb5aa",
    signs={"close": "#ff7a1f", "fine": "#4aa8e0", "far": "#f0b030", "unknown": "#999999"},
    words={"close": "#ff9b62", "fine": "#7cc4f0", "far": "#f0b64a", "unknown": "#a3aaa6"},
    ramp=("#fee838", "#bcae6c", "#7c7b78", "#4a5a86", "#2c4a86"),
)


def theme(dark: bool) -> Theme:
    return DARK if dark else LIGHT


def rgb(colour: str) -> tuple[float, float, float]:
    """Return red, green and blue from 0 to 1."""
    return (int(colour[1:3], 16) / 255.0, int(colour[3:5], 16) / 255.0, int(colour[5:7], 16) / 255.0)


def mixed(a: str, b: str, part: float) -> str:
    """Return the colour on the way from a to b."""
    values = (round(255 * (x * (1 - part) + y * part)) for x, y in zip(rgb(a), rgb(b), strict=True))
    return "#" + "".join(f"{value:02x}" for value in values)
