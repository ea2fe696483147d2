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

from geometry.aids import Measure, Purpose, Reference, Zone
from geometry.vectors import UNTURNED, Rows3, Vec3

Axis = Literal["+x", "-x", "+y", "-y", "+z", "-z"]
LengthUnit = Literal["mm", "cm", "m", "in", "ft"]
MM_PER_UNIT: dict[LengthUnit, float] = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4, "ft": 304.8}


Cut = Literal["before", "after"]  # an end is cut to fit before bending, or after it at a trim line
BendFrom = Literal["best", "start", "end", "middle"]  # the end that leads at the first bend
BendPart = Literal["start", "middle", "end"]  # of one bend, the end that leads first
Tie = Literal["body", "frame", "neither"]  # what a tube is fixed to by itself, not through other tubes
Suspension = Literal["solid", "independent"]
Side = Literal["left", "right"]


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
    standoff: float | None = None  # of the thickest tube through it: kept while it slides along the body
    twin: int | None = None  # the node across the centre plane; its own id: it stays in the plane


class Weld(Struct, frozen=True):
    """A span of a tube, in mm along its centreline, that is meant to be welded to a panel."""

    panel: int
    start: float = 0.0
    end: float | None = None  # None: to the tube's end


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
    tied: Tie = "neither"
    standoff_closest: float | None = None  # None: as the panel or the layout has it
    standoff_farthest: float | None = None
    hugs: bool = True  # False: not meant to follow the body, so it never stands off too far
    welds: tuple[Weld, ...] = ()
    twin: int | None = None  # the tube across the centre plane; its own id: it is its own mirror image
    mirrors: bool = True  # False: of this side only, it gets no twin
    shown: bool = True  # hidden tubes are checked all the same
    locked: bool = False  # neither it nor its nodes are moved by hand


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


class Hinge(Struct, frozen=True, tag="hinge"):
    """A line that a panel turns about, and how far: right-handed from its start to its end."""

    start: Vec3
    end: Vec3
    angle: float


class Slide(Struct, frozen=True, tag="slide"):
    """A straight way that a panel is moved along, from closed to open."""

    shift: Vec3


Motion = Hinge | Slide


class Trim(Struct, frozen=True, eq=False):
    """What was cut off a panel to make room for tyres: a decision, so it stays when tyres change."""

    whole: Mesh  # the panel before
    lines: tuple[tuple[Vec3, ...], ...]  # where it is cut, in the axes of the mesh as read
    margin: float  # room that the cut was laid out for


class Panel(Struct, frozen=True, eq=False):
    """A named part of the body. Its mesh is what is there: without what was trimmed off."""

    id: int
    name: str
    body: int
    mesh: Mesh
    source: str = ""  # the object's name in the file it came from
    kept: bool = True  # left-out panels are neither checked nor drawn
    shown: bool = True
    colour: str | None = None  # "#rrggbb", or the theme's
    standoff_closest: float | None = None  # None: as the tube or the layout has it
    standoff_farthest: float | None = None
    motion: Motion | None = None  # in the car's axes; None: fixed
    moves_with: int | None = None  # a panel that carries this one: a door its glass and its handle
    trim: Trim | None = None

    @property
    def whole(self) -> Mesh:
        """The mesh without regard to trimming."""
        return self.mesh if self.trim is None else self.trim.whole


class Tyre(Struct, frozen=True):
    """A tyre as the solid it fills: a disc with rounded shoulders."""

    od: float
    width: float
    shoulder: float  # radius between tread and sidewall
    rim: float | None = None  # diameter; None: measured without asking for it
    code: str = ""  # as typed; empty when measured

    @property
    def sidewall(self) -> float | None:
        return None if self.rim is None else (self.od - self.rim) / 2.0


class Axle(Struct, frozen=True):
    """Two wheels and how they move against the body. Angles and travel count from ride height."""

    id: int
    name: str
    x: float  # 0 at the front axle, negative behind it
    height: float  # of the hubs, z
    track: float  # between the mounting faces of the hubs: between tyre centres at offset 0
    tyre: Tyre
    bump: float
    droop: float
    suspension: Suspension = "solid"
    offset: float = 0.0  # of the wheel; positive: the tyre sits further in
    roll: float = 0.0  # to either side; a solid axle only
    roll_centre: float | None = None  # z of the line that a solid axle rolls about; None: hub height
    steer_inner: float = 0.0  # largest turn of the wheel inside the corner
    steer_outer: float = 0.0  # and of the one outside
    kingpin: float = 0.0  # from the tyre's centre in to the upright line it steers about
    camber: float = 0.0  # positive: the tops lean out


class Limits(Struct, frozen=True):
    """What the checks judge by; LIMITS says what each one is and where its default comes from."""

    standoff_wanted: float = 30.0
    standoff_closest: float = 15.0
    standoff_farthest: float = 40.0
    standoff_run: float = 300.0
    scan_error: float = 3.0
    build_tolerance: float = 5.0
    mount_x: float = 15.0
    mount_y: float = 15.0
    mount_z: float = 15.0
    weld_gap: float = 1.0
    swing_margin: float = 10.0
    tyre_margin: float = 25.0
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
    "standoff_run": LimitInfo(
        "Longest run too far",
        "length",
        "A tube may stand off farther than wanted for so long, over a window or a step, unremarked.",
        "assumed, no source",
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
    "mount_x": LimitInfo(
        "Body on its mounts, lengthways",
        "length",
        "How far the body moves against its frame, either way; taken off what is tied to the frame.",
        "common practice, no source",
    ),
    "mount_y": LimitInfo(
        "Body on its mounts, sideways",
        "length",
        "The same, across the car.",
        "common practice, no source",
    ),
    "mount_z": LimitInfo(
        "Body on its mounts, up and down",
        "length",
        "The same, up and down.",
        "common practice, no source",
    ),
    "weld_gap": LimitInfo(
        "Widest gap to weld",
        "length",
        "Where a tube is to be welded to a panel, a wider gap than this is a warning.",
        "common practice, no source",
    ),
    "swing_margin": LimitInfo(
        "Room for doors",
        "length",
        "What a door, bonnet or slide must keep clear of every tube on its way.",
        "common practice, no source",
    ),
    "tyre_margin": LimitInfo(
        "Room for tyres",
        "length",
        "What tubes and panels must keep clear of the space a tyre sweeps through.",
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


# What can be selected, and what of that has a name that people read.
NAMED = ("tubes", "bodies", "panels", "axles", "references", "zones", "measures")
SELECTABLE = ("nodes", *NAMED)


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
    axles: dict[int, Axle] = field(default_factory=dict)
    limits: Limits = Limits()
    both_sides: bool = False  # new tubes get a twin across the centre plane
    leads: Side = "left"  # the side that the other one follows where both were changed at once
    references: dict[int, Reference] = field(default_factory=dict)
    zones: dict[int, Zone] = field(default_factory=dict)
    not_needed: tuple[Purpose, ...] = ()  # purposes of zones that this car has no use for
    measures: dict[int, Measure] = field(default_factory=dict)
    snapshots: dict[int, "Snapshot"] = field(default_factory=dict)


class Snapshot(Struct, frozen=True, eq=False):
    """The layout as it was once, under a name; it holds no snapshots itself."""

    id: int
    name: str
    made: str  # date and time, ISO 8601
    layout: Layout
