"""The layout: everything that undo can bring back, as frozen values. Millimetres, radians, kilograms.

Mappings are plain dicts that nobody changes in place. Ids are integers from one counter
(`Layout.next_id`), shared by all kinds of thing and never used twice in a job, so an id alone says
what it names. Lengths, bends and clearances are never stored: they are computed.
"""

import math
from typing import Literal

import numpy as np
from msgspec import Struct, field
from numpy.typing import NDArray

from geometry.vectors import Vec3

Axis = Literal["+x", "-x", "+y", "-y", "+z", "-z"]
LengthUnit = Literal["mm", "cm", "m", "in", "ft"]
MM_PER_UNIT: dict[LengthUnit, float] = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8}

Rows3 = tuple[Vec3, Vec3, Vec3]
UNTURNED: Rows3 = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))


Cut = Literal["before", "after"]  # an end is cut to fit before bending, or after it at a trim line
BendFrom = Literal["best", "start", "end", "middle"]  # the end that leads at the first bend
BendPart = Literal["start", "middle", "end"]  # of one bend, the end that leads first


class Landing(Struct, frozen=True):
    """Where a tube end sits on another tube: that tube and the mm along its centreline."""

    tube: int
    station: float


class Node(Struct, frozen=True):
    """A point where tubes meet, end or turn.

    A node with a landing sits on another tube; `position` then repeats where that is, and the
    functions of `edits` keep the two in step.
    """

    id: int
    position: Vec3
    landing: Landing | None = None
    sleeve: bool = False  # the two tubes that end here are joined over an inner sleeve


class Tube(Struct, frozen=True):
    """One piece of stock: an ordered run of nodes. Each interior node that turns is a bend."""

    id: int
    name: str
    nodes: tuple[int, ...]
    stock: int
    die: int | None = None  # None: the rack's best die for this stock
    start_allowance: float | None = None  # None: the layout's limit
    end_allowance: float | None = None
    start_cut: Cut = "after"
    end_cut: Cut = "after"
    bend_from: BendFrom = "best"


class Stock(Struct, frozen=True):
    """Round tube as bought."""

    id: int
    name: str
    od: float
    wall: float
    material: str = "Steel"
    density: float = 7.85e-6  # kg/mm3
    least_clr_ratio: float = 3.0  # least centreline radius as a multiple of OD
    stick: float = 6096.0  # longest stick sold
    yield_strength: float = 0.0  # N/mm2; 0: not known, so no springback can be estimated
    modulus: float = 205000.0  # N/mm2
    batch: str = ""  # the delivery on the rack now, as the shop calls it


class Die(Struct, frozen=True):
    """Bending tooling for one OD."""

    id: int
    name: str
    od: float
    clr: float
    largest_angle: float = math.radians(120.0)
    first_straight: float = 200.0  # least straight before the first bend
    between_straight: float = 0.0  # least straight between bends; 0: twice the OD
    tail: float = 300.0  # least straight after the last bend
    bender: int | None = None  # the machine it is used in
    mark_at: BendPart = "start"  # the part of the bend that the reference point belongs to
    reference: float = 0.0  # how far that part lies behind the reference point, towards the tail


class Box(Struct, frozen=True):
    """A part of a bender that the tube must not hit: its corners in the bender's axes."""

    name: str
    low: Vec3
    high: Vec3


class Bender(Struct, frozen=True):
    """A machine that dies are used in, as boxes above a floor.

    Its axes start in the middle of the tube where a bend starts: x runs from the tail to the leading
    end, y to the left and z up, as seen from the tail.
    """

    id: int
    name: str
    height: float = 1000.0  # from the floor to the middle of the tube
    swing: Literal["left", "right", "up"] = "left"  # where the moving side goes
    moves: Literal["lead", "tail", "both"] = "lead"  # the side of the bend that swings
    boxes: tuple[Box, ...] = ()


class TrialBend(Struct, frozen=True):
    """One bend in scrap, as it was measured. What follows from it is computed, never stored.

    A leg is measured from its end to where the outsides of the two legs would cross ("corner"), or
    to the back of the bend, square to the leg ("back"; bends of 90 degrees and more).
    """

    id: int
    die: int
    stock: int
    batch: str
    made: str  # date, ISO 8601
    length: float  # of the scrap, sawn square
    mark: float  # set at the reference point; from the leading end
    dial: float  # angle that the bender was set to
    angle: float  # angle that came out, the turn of the tube
    lead_leg: float | None = None
    tail_leg: float | None = None
    measured_to: Literal["corner", "back"] = "corner"
    widest: float | None = None  # largest and least diameter at the middle of the bend
    narrowest: float | None = None
    used: bool = True  # False keeps it out of the fit
    note: str = ""


class Mesh(Struct, frozen=True, eq=False, weakref=True):
    """Triangles as they were read: vertices (n, 3) float64 and triangles (m, 3) int32, read-only."""

    vertices: NDArray[np.float64]
    triangles: NDArray[np.int32]


class Placement(Struct, frozen=True):
    """From a mesh as read to the car's axes: scale, then turn (rows), then shift."""

    scale: float = 1.0
    turn: Rows3 = UNTURNED
    shift: Vec3 = (0.0, 0.0, 0.0)


class Station(Struct, frozen=True):
    """What a tape and a plumb line give at one place along the car. Heights from the ground."""

    x: float
    sill_half_width: float
    sill_height: float
    waist_half_width: float
    waist_height: float
    roof_half_width: float
    roof_height: float


class WheelArch(Struct, frozen=True):
    """A round cut-out in both sides, centred at x, z, and how far it reaches in from the sill."""

    x: float
    z: float
    radius: float
    depth: float = 260.0


class DoorOpening(Struct, frozen=True):
    """Where a side door begins and ends along the car; both sides alike."""

    front: float
    back: float


class Measured(Struct, frozen=True):
    """A body from tape measurements; stations run from the front to the back."""

    shape: str
    stations: tuple[Station, ...]
    arches: tuple[WheelArch, ...] = ()
    doors: tuple[DoorOpening, ...] = ()


class Body(Struct, frozen=True):
    """One source of panels: a file that came in, or a table of measurements."""

    id: int
    name: str
    placement: Placement = Placement()
    unit: LengthUnit = "mm"
    up: Axis = "+z"
    forward: Axis = "+x"
    measured: Measured | None = None


class Panel(Struct, frozen=True, eq=False):
    """A named part of the body."""

    id: int
    name: str
    body: int
    mesh: Mesh
    source: str = ""  # the object's name in the file it came from
    kept: bool = True  # left-out panels are neither checked nor drawn
    shown: bool = True
    colour: str | None = None  # "#rrggbb", or the theme's


class Limits(Struct, frozen=True):
    """What the checks judge by; LIMITS says what each one is and where its default comes from."""

    standoff_wanted: float = 30.0
    standoff_closest: float = 15.0
    standoff_farthest: float = 40.0
    scan_error: float = 3.0
    build_tolerance: float = 5.0
    tube_gap: float = 10.0
    weld_room: float = 75.0
    end_allowance: float = 25.0
    cope_allowance: float = 50.0
    angle_step: float = math.radians(0.1)
    tape_error: float = 0.5
    gauge_error: float = math.radians(0.2)


class LimitInfo(Struct, frozen=True):
    """How a limit is called and where its default comes from."""

    label: str
    quantity: Literal["length", "angle", "ratio"]
    meaning: str
    source: str


LIMITS: dict[str, LimitInfo] = {
    "standoff_wanted": LimitInfo(
        "Stand-off for new nodes",
        "length",
        "Gap from tube to metal at which a node is placed on the body.",
        "common practice, no source",
    ),
    "standoff_closest": LimitInfo(
        "Closest allowed",
        "length",
        "Less clearance than this, after scan error and build tolerance, is a warning.",
        "common practice, no source",
    ),
    "standoff_farthest": LimitInfo(
        "Farthest wanted",
        "length",
        "A tube that keeps farther than this from all panels stands off too far.",
        "common practice, no source",
    ),
    "scan_error": LimitInfo(
        "Scan error",
        "length",
        "How far the mesh may be from the real metal; taken off every clearance.",
        "common practice, no source",
    ),
    "build_tolerance": LimitInfo(
        "Build tolerance",
        "length",
        "How far the built cage may be from the plan; taken off every clearance.",
        "common practice, no source",
    ),
    "tube_gap": LimitInfo(
        "Gap between tubes that don't meet",
        "length",
        "Tubes that share no joint and come closer than this are a warning.",
        "assumed, no source",
    ),
    "weld_room": LimitInfo(
        "Room for a torch",
        "length",
        "Tubes that run side by side closer than this are a note: hard to weld or paint between.",
        "common practice, no source",
    ),
    "end_allowance": LimitInfo(
        "Allowance at each end",
        "length",
        "Extra length of the blank at each end, cut off when the tube is fitted.",
        "common practice, no source",
    ),
    "cope_allowance": LimitInfo(
        "Allowance at a coped end",
        "length",
        "Extra length at an end that sits on another tube and is coped after bending.",
        "common practice, no source",
    ),
    "angle_step": LimitInfo(
        "Angles read to",
        "angle",
        "What the dial and the rotation gauge can be read to; sheets round angles to it.",
        "common practice, no source",
    ),
    "tape_error": LimitInfo(
        "Tape error",
        "length",
        "Standard deviation of one length measured on a trial bend.",
        "assumed, no source",
    ),
    "gauge_error": LimitInfo(
        "Angle gauge error",
        "angle",
        "Standard deviation of one angle measured on a trial bend.",
        "assumed, no source",
    ),
}


class Layout(Struct, frozen=True, eq=False):
    """Everything that undo can bring back."""

    name: str = "Untitled"
    next_id: int = 1
    nodes: dict[int, Node] = field(default_factory=dict)
    tubes: dict[int, Tube] = field(default_factory=dict)
    bodies: dict[int, Body] = field(default_factory=dict)
    panels: dict[int, Panel] = field(default_factory=dict)
    stocks: dict[int, Stock] = field(default_factory=dict)
    dies: dict[int, Die] = field(default_factory=dict)
    benders: dict[int, Bender] = field(default_factory=dict)
    trials: dict[int, TrialBend] = field(default_factory=dict)
    limits: Limits = Limits()
