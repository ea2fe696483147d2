"""What helps to lay a cage and is no metal: references, access zones and measures, as frozen values."""

from typing import Literal

from msgspec import Struct

from geometry.vectors import UNTURNED, Rows3, Vec3


class PointShape(Struct, frozen=True, tag="point"):
    """A place."""

    at: Vec3


class LineShape(Struct, frozen=True, tag="line"):
    """A straight line through two places; it goes on beyond them."""

    start: Vec3
    end: Vec3


class PlaneShape(Struct, frozen=True, tag="plane"):
    """A plane through a place; its normal has length 1."""

    at: Vec3
    normal: Vec3


class Reference(Struct, frozen=True):
    """A point, line or plane of the body or the road, to snap to and to measure from."""

    id: int
    name: str
    shape: PointShape | LineShape | PlaneShape
    limit: bool = False  # of a plane: the cage must stay on the side that its normal comes from
    shown: bool = True


class BoxShape(Struct, frozen=True, tag="box"):
    """A box round its middle; `turn` holds its axes as rows."""

    middle: Vec3
    size: Vec3
    turn: Rows3 = UNTURNED


class ConeShape(Struct, frozen=True, tag="cone"):
    """A cone from one round face to the other; a face of radius 0 is a point, equal ones a cylinder."""

    start: Vec3
    end: Vec3
    start_radius: float
    end_radius: float


Purpose = Literal[
    "filler nozzle",
    "door handle",
    "lamp beam",
    "number plate",
    "wiper",
    "mirror",
    "winch rope",
    "jack",
    "tow eye",
    "belt anchorage",
    "view ahead",
    "other",
]


class Zone(Struct, frozen=True):
    """Room that must stay free of tube, and what for."""

    id: int
    name: str
    purpose: Purpose
    shape: BoxShape | ConeShape
    shown: bool = True


class NodeSpot(Struct, frozen=True, tag="node"):
    """A node, wherever it goes."""

    node: int


class TubeSpot(Struct, frozen=True, tag="tube"):
    """A place on the centreline of a tube, in mm from its start."""

    tube: int
    station: float


class BodySpot(Struct, frozen=True, tag="body"):
    """A place on a panel."""

    panel: int
    at: Vec3


class ReferenceSpot(Struct, frozen=True, tag="reference"):
    """A reference point, line or plane."""

    reference: int


class FreeSpot(Struct, frozen=True, tag="free"):
    """A place in space."""

    at: Vec3


Spot = NodeSpot | TubeSpot | BodySpot | ReferenceSpot | FreeSpot
MeasureKind = Literal["distance", "along", "gap", "angle", "height", "opening"]


class Measure(Struct, frozen=True):
    """Something measured that stays and follows the cage; its value is computed, never stored."""

    id: int
    name: str
    kind: MeasureKind
    spots: tuple[Spot, ...]
    printed: bool = True
