"""What a tube hits while it is turned and bent, against poses sampled finely by other code."""

import math
import random
from collections.abc import Iterator
from typing import Literal

import numpy as np
import pytest
from msgspec.structs import replace

from geometry.layout import Bender, Box
from geometry.tube import bending, centreline, swing
from geometry.tube.swing import WITHIN, Hit, Machine, Made, Move

OD, CLR = 40.0, 120.0
FLOOR_BENDER = Bender(1, "Floor bender")
MACHINE = Machine(OD, CLR, CLR, 0.0, 1.0, FLOOR_BENDER)
POSES, STEP = 241, 3.0
RIGHT_ANGLE = math.pi / 2.0

Clearances = dict[tuple[int, str, str], float]


def kinds(hits: tuple[Hit, ...]) -> set[tuple[int, str, str]]:
    return {(hit.move, hit.kind, hit.box) for hit in hits}


# Poses, worked out as a person would who moves a bent wire about


def wire(machine: Machine, move: Move, skip: float) -> tuple[np.ndarray, np.ndarray]:
    """Return places along what is bent already, laid along x with its first bend to y; and their stations."""
    rows: list[bending.BendRow] = []
    for made in move.ahead:
        rows.append(bending.BendRow(made.straight, made.rotation if rows else 0.0, made.angle, machine.clr))
    data = bending.BendData(tuple(rows), move.lead, 0.0)
    nodes = bending.nodes_from(data, (0.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0))
    line = centreline.build(nodes, machine.clr)
    stations = np.append(np.arange(min(skip, line.length), line.length, STEP), line.length)
    return centreline.point_at(line, stations), stations


def turned(points: np.ndarray, axis: str, angle: float) -> np.ndarray:
    i, j = {"x": (1, 2), "z": (0, 1)}[axis]
    c, s = math.cos(angle), math.sin(angle)
    result = points.copy()
    result[:, i], result[:, j] = c * points[:, i] - s * points[:, j], s * points[:, i] + c * points[:, j]
    return result


def in_bender(bender: Bender, points: np.ndarray) -> np.ndarray:
    """Return places of a tube that swings to the left as those of one that swings as the bender does."""
    x, y, z = points.T
    return np.stack({"left": (x, y, z), "right": (x, -y, -z), "up": (x, -z, y)}[bender.swing], axis=1)


def to_box(points: np.ndarray, low: tuple, high: tuple) -> float:
    return float(np.linalg.norm(points - np.clip(points, low, high), axis=1).min())


def to_bender(bender: Bender, points: np.ndarray) -> Iterator[tuple[str, str, float]]:
    if len(points):
        placed = in_bender(bender, points)
        yield "floor", "", float(placed[:, 2].min()) + bender.height - OD / 2.0
        for box in bender.boxes:
            yield "bender", box.name, to_box(placed, box.low, box.high) - OD / 2.0


def sampled(machine: Machine, moves: list[Move]) -> Clearances:
    """Return how near each move comes to everything, at many poses; the better way where a tube flips."""
    found: Clearances = {}
    bender = machine.bender
    assert bender is not None
    for number, move in enumerate(moves):
        points, stations = wire(machine, move, machine.clr)
        if stations[-1] <= machine.clr:
            points = points[:0]
        rotation = move.ahead[0].rotation if move.ahead else 0.0
        note(found, number, turning(bender, points, rotation) if move.ahead else {})
        points = turned(points, "x", rotation)
        bent = swing.overbent(machine, move.angle)
        took = machine.consumed * move.angle
        for angle in np.linspace(0.0, bent, POSES):
            drawn = took * angle / bent
            lead, tail = swung(bender.moves, points, move, machine, angle, drawn)
            for part in (lead, tail):
                for kind, box, gap in to_bender(bender, part):
                    note(found, number, {(kind, box): gap})
            if move.ahead and len(points):
                middle = np.array([0.0, machine.clr, 0.0])
                seen = turned(points - middle, "z", angle) + middle
                gap = to_box(seen, (drawn - took - move.tail, 0.0, 0.0), (0.0, 0.0, 0.0)) - OD
                note(found, number, {("itself", ""): gap})
    return found


def turning(bender: Bender, points: np.ndarray, rotation: float) -> dict[tuple[str, str], float]:
    gaps: dict[tuple[str, str], float] = {}
    for angle in np.linspace(0.0, rotation, POSES):
        for kind, box, gap in to_bender(bender, turned(points, "x", angle)):
            gaps[kind, box] = min(gaps.get((kind, box), math.inf), gap)
    return gaps


def swung(
    moves: Literal["lead", "tail", "both"],
    points: np.ndarray,
    move: Move,
    machine: Machine,
    angle: float,
    drawn: float,
) -> tuple[np.ndarray, np.ndarray]:
    """Return the places of the sides that move, when the bend has got to an angle."""
    took = machine.consumed * move.angle
    length = move.tail + (took - drawn) * (0.5 if moves == "both" else 1.0)
    back = np.append(np.arange(min(machine.clr, length), length, STEP), length)
    tail = np.stack([-back, 0.0 * back, 0.0 * back], axis=1)
    if length <= machine.clr:
        tail = tail[:0]
    nothing = points[:0]
    if moves == "lead":
        middle = np.array([0.0, machine.clr, 0.0])
        return turned(points - middle, "z", angle) + middle, nothing
    if moves == "tail":
        middle = np.array([0.0, machine.clr, 0.0])
        return nothing, turned(tail - middle, "z", -angle) + middle
    # The middle of the bend stays where it is; both sides are drawn in by half.
    middle = np.array([-took / 2.0, machine.clr, 0.0])
    lead = points - (drawn / 2.0, 0.0, 0.0)
    tail = tail - (took / 2.0, 0.0, 0.0)
    return turned(lead - middle, "z", angle / 2.0) + middle, turned(tail - middle, "z", -angle / 2.0) + middle


def note(found: Clearances, move: int, gaps: dict[tuple[str, str], float]) -> None:
    for (kind, box), gap in gaps.items():
        found[move, kind, box] = min(found.get((move, kind, box), math.inf), gap)


def random_moves(dice: random.Random) -> list[Move]:
    """Return the moves of a tube that is bent from one end."""
    made: tuple[Made, ...] = ()
    lead, moves = dice.uniform(60.0, 900.0), []
    for _ in range(dice.randint(1, 4)):
        angle = math.radians(dice.uniform(8.0, 110.0))
        moves.append(Move(angle, made, lead, dice.uniform(100.0, 1200.0)))
        rotation = math.radians(dice.choice([0.0, dice.uniform(-175.0, 175.0), dice.uniform(-175.0, 175.0)]))
        made = (Made(dice.uniform(0.0, 500.0), rotation, angle), *made)
    return moves


def random_machine(dice: random.Random) -> Machine:
    boxes = []
    for number in range(dice.randint(0, 3)):
        low = [dice.uniform(-800.0, 800.0) for _ in range(3)]
        boxes.append(
            Box(f"box {number}", tuple(low), tuple(value + dice.uniform(20.0, 500.0) for value in low))
        )
    bender = Bender(
        1,
        "Test",
        height=dice.uniform(250.0, 1200.0),
        swing=dice.choice(["left", "right", "up"]),
        moves=dice.choice(["lead", "tail", "both"]),
        boxes=tuple(boxes),
    )
    return Machine(
        OD, CLR, CLR * dice.uniform(0.9, 1.05), dice.uniform(0.0, 0.05), dice.uniform(1.0, 1.06), bender
    )


@pytest.mark.parametrize("seed", range(200))
def test_nothing_is_missed_and_nothing_is_hit_that_stays_away(seed: int) -> None:
    dice = random.Random(seed)
    machine, moves = random_machine(dice), random_moves(dice)
    hit, found = kinds(swing.hits(machine, moves)), sampled(machine, moves)
    assert {key for key, gap in found.items() if gap < 0.0} <= hit
    # Between poses and places a tube gets no nearer than half of the steps allow.
    reach = max(m.lead + m.tail + sum(made.straight + 2.0 * CLR for made in m.ahead) for m in moves)
    missed = STEP / 2.0 + reach * math.pi / POSES / 2.0
    assert hit <= {key for key, gap in found.items() if gap < WITHIN + missed}


# Cases worked by hand


def only(machine: Machine, *moves: Move) -> set[tuple[int, str, str]]:
    return kinds(swing.hits(machine, moves))


def hanging(beyond: float) -> Move:
    """A bend of 45 degrees behind a right-angled one that is turned down by a quarter of a turn."""
    return Move(RIGHT_ANGLE / 2.0, (Made(300.0, -RIGHT_ANGLE, RIGHT_ANGLE),), beyond, 500.0)


@pytest.mark.parametrize(("spare", "expected"), [(1.0, set()), (-WITHIN, {(0, "floor", "")})])
def test_a_leg_turned_down_hangs_by_its_length_and_the_radius(spare: float, expected: set) -> None:
    # Turned anticlockwise by 90 degrees, left is down: the end hangs one radius and its straight lower.
    lowest = CLR + 600.0 + OD / 2.0
    bender = replace(FLOOR_BENDER, height=lowest + spare + swing.SAGITTA)
    assert only(replace(MACHINE, bender=bender), hanging(600.0)) == expected


def test_the_depth_of_a_hit_is_told() -> None:
    (hit,) = swing.hits(replace(MACHINE, bender=replace(FLOOR_BENDER, height=700.0)), [hanging(600.0)])
    assert hit.clearance == pytest.approx(700.0 - CLR - 600.0 - OD / 2.0, abs=0.1)


def test_turned_up_nothing_hangs_down() -> None:
    low = replace(MACHINE, bender=replace(FLOOR_BENDER, height=300.0))
    turned_up = Move(RIGHT_ANGLE / 2.0, (Made(300.0, RIGHT_ANGLE, RIGHT_ANGLE),), 600.0, 500.0)
    assert only(low, hanging(600.0)) == {(0, "floor", "")}
    assert only(low, turned_up) == set()


@pytest.mark.parametrize(("moves", "x"), [("lead", 400.0), ("tail", -500.0)])
def test_the_side_that_moves_hits_what_stands_beside_it(moves: Literal["lead", "tail"], x: float) -> None:
    """A post beside one side of the die; the other side is at rest."""
    post = Box("post", (x, 150.0, -100.0), (x + 50.0, 200.0, 100.0))
    first = Move(RIGHT_ANGLE, (), 900.0, 900.0)
    bender = replace(FLOOR_BENDER, moves=moves, boxes=(post,))
    assert only(replace(MACHINE, bender=bender), first) == {(0, "bender", "post")}
    other: Literal["lead", "tail"] = "tail" if moves == "lead" else "lead"
    assert only(replace(MACHINE, bender=replace(bender, moves=other)), first) == set()


def test_both_sides_hit_what_stands_beside_them() -> None:
    posts = [
        Box(name, (x, 100.0, -100.0), (x + 50.0, 150.0, 100.0)) for name, x in (("A", 450.0), ("B", -700.0))
    ]
    bender = replace(FLOOR_BENDER, moves="both", boxes=tuple(posts))
    first = Move(RIGHT_ANGLE, (), 900.0, 900.0)
    assert only(replace(MACHINE, bender=bender), first) == {(0, "bender", "A"), (0, "bender", "B")}


def test_a_box_round_the_die_does_not_stop_the_tube_in_it() -> None:
    die = Box("die", (-50.0, -60.0, -60.0), (60.0, 60.0, 60.0))
    bender = replace(FLOOR_BENDER, boxes=(die,))
    assert only(replace(MACHINE, bender=bender), Move(RIGHT_ANGLE, (), 900.0, 900.0)) == set()


@pytest.mark.parametrize(("gap", "expected"), [(OD - WITHIN, {(0, "itself", "")}), (OD + WITHIN, set())])
def test_a_flat_spiral_meets_its_own_tail(gap: float, expected: set) -> None:
    """Three right angles to the left: the end runs at the tail from the side, and stops short by a gap.

    Its last arc ends 500 + CLR above the tail.
    """
    ahead = (Made(500.0, 0.0, RIGHT_ANGLE), Made(300.0, 0.0, RIGHT_ANGLE))
    move = Move(RIGHT_ANGLE, ahead, 500.0 + CLR - gap, 900.0)
    assert only(replace(MACHINE, bender=None), move) == expected


def test_half_a_turn_goes_whichever_way_is_free() -> None:
    """A leg flips over: a post stands above the axis, one below would leave no way."""
    made = Move(0.3, (Made(300.0, math.pi, RIGHT_ANGLE),), 500.0, 500.0)
    above = Box("above", (380.0, -50.0, 300.0), (450.0, 50.0, 400.0))
    below = replace(above, name="below", low=(380.0, -50.0, -400.0), high=(450.0, 50.0, -300.0))
    assert only(replace(MACHINE, bender=replace(FLOOR_BENDER, boxes=(above,))), made) == set()
    assert only(replace(MACHINE, bender=replace(FLOOR_BENDER, boxes=(below,))), made) == set()
    both = only(replace(MACHINE, bender=replace(FLOOR_BENDER, boxes=(above, below))), made)
    assert len(both) == 1


def test_without_a_bender_only_the_tube_itself_is_in_the_way() -> None:
    assert only(replace(MACHINE, bender=None), hanging(5000.0)) == set()


@pytest.mark.parametrize("seed", range(40))
def test_a_mirrored_tube_in_a_mirrored_bender_fares_alike(seed: int) -> None:
    dice = random.Random(seed)
    machine, moves = random_machine(dice), random_moves(dice)
    bender = machine.bender
    assert bender is not None
    bender = replace(bender, swing="left")
    twin = [
        replace(move, ahead=tuple(replace(made, rotation=-made.rotation) for made in move.ahead))
        for move in moves
    ]
    boxes = tuple(
        Box(box.name, (box.low[0], -box.high[1], box.low[2]), (box.high[0], -box.low[1], box.high[2]))
        for box in bender.boxes
    )
    here = swing.hits(replace(machine, bender=bender), moves)
    there = swing.hits(replace(machine, bender=replace(bender, swing="right", boxes=boxes)), twin)
    assert kinds(here) == kinds(there)
    assert [hit.clearance for hit in here] == pytest.approx([hit.clearance for hit in there])


def test_a_bend_is_swung_as_far_as_the_dial_says() -> None:
    springy = replace(MACHINE, dial_at_zero=0.02, dial_per_angle=1.05)
    assert swing.overbent(springy, 1.0) == pytest.approx(1.07)
    assert swing.overbent(replace(MACHINE, dial_at_zero=-0.5), 1.0) == 1.0
