"""What the overlay paints over the scene, as values in logical pixels. Imports no Qt."""

from typing import Literal

from msgspec import Struct

from app.viewport.labels import Rect

Xy = tuple[float, float]
Tone = Literal["text", "faint", "line", "accent", "close", "fine", "far", "unknown", "x", "y", "z"]
Shape = Literal["close", "fine", "far", "unknown", "bad"]
DotKind = Literal["plain", "selected", "hovered", "hidden", "landing", "sleeve"]


class Dot(Struct, frozen=True):
    """A node."""

    at: Xy
    kind: DotKind
    size: float = 1.0


class Stroke(Struct, frozen=True):
    """A line through points; thin, or dashed."""

    points: tuple[Xy, ...]
    tone: Tone
    width: float = 1.0
    is_dashed: bool = False
    is_dim: bool = False


class Ball(Struct, frozen=True):
    """The section of a tube that is about to be placed."""

    at: Xy
    radius: float


class Sign(Struct, frozen=True):
    """One of the signs: triangle too close, disc fine, diamond too far, cross can't be made."""

    at: Xy
    shape: Shape
    size: float = 6.0
    is_dim: bool = False


class Spot(Struct, frozen=True):
    """A point that was measured or picked, or the point that the view turns about."""

    at: Xy
    is_dim: bool = False


class Badge(Struct, frozen=True):
    """A number with a word beside it on a small plate, with a sign in front."""

    rect: Rect
    number: str
    words: str
    shape: Shape | None
    is_dim: bool = False
    is_quiet: bool = False


class Whisper(Struct, frozen=True):
    """A word beside the pointer, with no plate."""

    at: Xy
    text: str
    tone: Tone = "text"
    is_centred: bool = False


class Typed(Struct, frozen=True):
    """What is being typed, on a plate beside the pointer."""

    at: Xy
    text: str
    words: str
    is_refused: bool = False


class Box(Struct, frozen=True):
    """The box being dragged to select."""

    start: Xy
    end: Xy


Mark = Dot | Stroke | Ball | Sign | Spot | Badge | Whisper | Typed | Box
