"""Move the corners of a tube until it costs least, against the metal itself.

Each round asks the metal at places all along the tube, takes the distances as planes there, and solves
for the best small step; steps that cost more than they said are taken back and made shorter.
"""

from collections.abc import Callable

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from geometry.laying import cost, hinges, metal, shape
from geometry.laying.hinges import Hinges, Ties
from geometry.laying.metal import Metal
from geometry.laying.path import Path
from geometry.laying.shape import Places, Shape
from geometry.laying.wish import Wish
from geometry.tolerances import ANGLE_NOISE, LARGEST_TURN, LENGTH_NOISE
from geometry.vectors import Floats, unit

NUDGE = 1e-4  # mm by which parameters are moved to see what they do
HELD = 1e-4  # what a step costs at first: half of this times the square of its mm
LEAST_HELD, MOST_HELD = 1e-8, 1e3
LOOSER, TIGHTER = 1.0 / 3.0, 6.0
LONGEST_STEP = 150.0  # mm; the metal looks different from there
ALWAYS = 1e3  # offset of a hinge that stays open
SETTLED = 2e-3  # a round that brings less than this brings nothing
IDLE = 2  # such rounds in a row end a fit
TURN_STEPS = 30
LOST = 1e-11  # rad; liked angles are met to this


def _no_tick() -> None:
    """Nobody waits."""


class Task(Struct, frozen=True, eq=False):
    """What does not change while tubes are fitted. Margins are kept inside the band for what lies between."""

    metal: Metal
    path: Path
    wish: Wish
    near_margin: float = 0.0
    far_margin: float = 0.0
    step: float = cost.STEP
    tick: Callable[[], None] = _no_tick  # called each round: lets a person cancel


class Fit(Struct, frozen=True, eq=False):
    """A tube and what it costs."""

    corners: Floats  # (n + 2, 3)
    liked: Floats | None  # the angles (n,) it has to have; None: any
    price: float
    broken: float  # of the price, what is for limits that a real tube can't break
    outside: float  # of the price, what is for leaving the band, the corridor or places
    rows: Hinges  # around here, in terms of the parameters
    turns: Floats  # (n, p): how its angles move with the parameters
    angles: Floats
    where: Places

    @property
    def bends(self) -> int:
        return len(self.corners) - 2


def priced(task: Task, corners: Floats, liked: Floats | None = None, where: Places | None = None) -> Fit:
    """Price the tube through corners, and how the price moves with each of its parameters.

    Prices are compared only where the places along the tube are the same parts of its pieces.
    """
    wish = task.wish
    moved = _nudged(task, corners)
    where = _places(task, corners) if where is None else where
    laid = shape.shaped(moved, wish.clr, where)
    points = laid.points[0]
    gaps, nearest = task.metal.nearest(points)
    beside = task.path.beside(points)
    side = metal.sided(points, gaps, nearest, task.path.outward[beside])
    aside = task.path.aside[beside]
    astray = np.einsum("mk,mk->m", points - task.path.points[beside], aside)
    sideways = np.einsum("bmk,mk->mb", laid.points[1:] - points, aside) / NUDGE
    slope = np.einsum("bmk,mk->mb", laid.points[1:] - points, side.ways) / NUDGE
    clear = side.gaps - wish.od / 2.0
    blocks = [
        _shifted(cost.closeness(clear, wish) + cost.ASIDE * np.abs(astray), laid.weights),
        *_along(task, clear, slope, laid.weights[0]),
        *_astray(wish, astray, sideways, laid.weights[0]),
        *_limits(wish, laid),
        _block(_heights(task, moved) - wish.reach, cost.NEAR),
        *_passed(wish, laid),
    ]
    weight, offset, slopes = (np.concatenate(part) for part in zip(*blocks, strict=True))
    price = float(weight @ np.maximum(offset, 0.0)) - ALWAYS
    turns = ((laid.angles[1:] - laid.angles[0]) / NUDGE).T
    if liked is not None:
        price += cost.NEAR * wish.clr * float(np.abs(laid.angles[0] - liked).sum())
    broken, outside = (
        float(weight[which] @ np.maximum(offset[which], 0.0))
        for which in (weight == cost.NEAR, weight == cost.FAR)
    )
    return Fit(
        corners,
        liked,
        price,
        broken,
        outside,
        _reachable(weight, offset, slopes),
        turns,
        laid.angles[0],
        where,
    )


def fitted(task: Task, start: Fit, rounds: int) -> Fit:
    """Return the tube after at most so many rounds."""
    best, held, idle = priced(task, start.corners, start.liked), HELD, 0
    for _ in range(rounds):
        task.tick()
        ties = Ties(np.zeros((0, 0)), np.zeros(0))
        if best.liked is not None:
            ties = Ties(best.turns, best.liked - best.angles)
        size = best.rows.slope.shape[1]
        step = hinges.smallest(best.rows, np.full(size, held), ties)
        step *= min(1.0, LONGEST_STEP / max(float(np.abs(step).max()), LENGTH_NOISE))
        tried = priced(task, _stepped(task, best.corners, step), best.liked, best.where)
        gain = best.price - tried.price
        idle = 0 if gain > SETTLED else idle + 1
        if gain > 0.0:
            best, held = tried, max(held * LOOSER, LEAST_HELD)
        else:
            held = held * TIGHTER
        if idle >= IDLE or held > MOST_HELD:
            break
    return best


def turned_to(task: Task, fit: Fit) -> Fit:
    """Return the fit with its liked angles met to float noise, moved as little as that takes."""
    if fit.liked is None or not fit.bends:
        return fit
    corners = fit.corners
    for _ in range(TURN_STEPS):
        moved = _nudged(task, corners)
        angles = shape.measures(moved, task.wish.clr)[1]
        error = fit.liked - angles[0]
        if np.abs(error).max() < LOST:
            break
        turns = ((angles[1:] - angles[0]) / NUDGE).T
        corners = _stepped(task, corners, np.linalg.lstsq(turns, error, rcond=None)[0])
    return replace(fit, corners=corners)


def _ways_out(task: Task) -> Floats:
    ends = (task.wish.places[0], task.wish.places[-1])
    return unit(np.array([end.normal for end in ends]))


def _heights(task: Task, corners: Floats) -> Floats:
    """Return how high above their places the ends of tubes (b) are: (b, 2)."""
    places = np.array([task.wish.places[0].point, task.wish.places[-1].point])
    heights: Floats = np.einsum("bek,ek->be", corners[:, [0, -1]] - places, _ways_out(task))
    return heights


def _nudged(task: Task, corners: Floats) -> Floats:
    """Return the corners, and those after a nudge of each parameter: (p + 1, n + 2, 3)."""
    inner = 3 * (len(corners) - 2)
    moved = np.repeat(corners[None], inner + 3, axis=0)
    flat = moved.reshape(len(moved), -1)
    flat[np.arange(1, inner + 1), np.arange(3, inner + 3)] += NUDGE
    out = _ways_out(task)
    out *= _is_free(task)[:, None]
    moved[inner + 1, 0] += NUDGE * out[0]
    moved[inner + 2, -1] += NUDGE * out[1]
    return moved


def _is_free(task: Task) -> Floats:
    """Return for both ends 1 where they may slide on their ways out, 0 where their height is given."""
    ends = (task.wish.places[0], task.wish.places[-1])
    return np.array([1.0 if end.height is None else 0.0 for end in ends])


def _stepped(task: Task, corners: Floats, step: Floats) -> Floats:
    """Return corners after a step: each inner one as it likes, the ends along their ways out."""
    moved = corners.copy()
    moved[1:-1] += step[:-2].reshape(-1, 3)
    moved[[0, -1]] += (step[-2:] * _is_free(task))[:, None] * _ways_out(task)
    return moved


Block = tuple[Floats, Floats, Floats]  # weight (m,), offset (m,), slope (m, p)


def _along(task: Task, clear: Floats, slope: Floats, weights: Floats) -> list[Block]:
    """Price the clearances all along."""
    wish, ones = task.wish, np.ones(len(clear))
    share = weights / max(float(weights.sum()), cost.STEP)
    wanted = min(max(wish.wanted, wish.closest + task.near_margin), wish.farthest - task.far_margin)
    return [
        (share, clear - wanted, slope),
        (cost.NEARER * share, wanted - clear, -slope),
        (cost.FAR * ones, clear - wish.farthest + task.far_margin, slope),
        (cost.NEAR * ones, wish.closest + task.near_margin - clear, -slope),
    ]


def _places(task: Task, corners: Floats) -> Places:
    straights, angles = shape.measures(corners[None], task.wish.clr)
    arcs = task.wish.clr * angles[0]
    return shape.places(np.maximum(straights[0], 0.0), arcs, task.step, cost.FINE_STEP)


def _shifted(prices: Floats, weights: Floats) -> Block:
    """Price that pieces of a different price get longer and shorter: a hinge that is always open."""
    means = weights @ prices / np.maximum(weights.sum(axis=1), cost.STEP)
    return _block((means - means[0] + ALWAYS)[:, None], 1.0)


def _reachable(weight: Floats, offset: Floats, slope: Floats) -> Hinges:
    """Return the rows as hinges, without those that no step gets to."""
    near = offset > -LONGEST_STEP
    return Hinges(weight[near], offset[near], slope[near])


def _astray(wish: Wish, astray: Floats, slope: Floats, weights: Floats) -> list[Block]:
    """Price how far beside the path the tube runs."""
    share, ones = cost.ASIDE * weights / max(float(weights.sum()), cost.STEP), np.ones(len(astray))
    return [
        (share, astray, slope),
        (share, -astray, -slope),
        (cost.FAR * ones, astray - wish.corridor, slope),
        (cost.FAR * ones, -astray - wish.corridor, -slope),
    ]


def _limits(wish: Wish, laid: Shape) -> list[Block]:
    """Price length, straights that are too short and bends that turn too far."""
    least = np.full(laid.straights.shape[1], wish.between_straight)
    least[[0, -1]] = 0.0
    most = min(wish.largest_angle, LARGEST_TURN) - ANGLE_NOISE
    lengths = laid.weights.sum(axis=1, keepdims=True)
    return [
        _block(lengths, cost.LENGTH),
        _block(least - laid.straights, cost.NEAR),
        _block(wish.clr * (laid.angles - most), cost.NEAR),
    ]


def _passed(wish: Wish, laid: Shape) -> list[Block]:
    """Price by how much places between the ends are missed."""
    blocks = []
    for place in wish.places[1:-1]:
        away = laid.points - np.array(place.point)
        number = int(np.einsum("mk,mk->m", away[0], away[0]).argmin())
        blocks.append(_block(_miss(laid, number, np.array(place.point)) - wish.reach, cost.FAR))
    return blocks


def _miss(laid: Shape, number: int, place: Floats) -> Floats:
    """Return how far tubes (b) pass a place (b, 1), which is nearest to a numbered place along them."""
    before, after = max(number - 1, 0), min(number + 1, laid.points.shape[1] - 1)
    way = unit(laid.points[:, after] - laid.points[:, before])
    away = laid.points[:, number] - place
    reach = np.sum(away * way, axis=1, keepdims=True)
    beside: Floats = np.linalg.norm(away - reach * way, axis=1)[:, None]
    return beside


def _block(values: Floats, weight: float) -> Block:
    """Return hinges from values (p + 1, m) before and after each nudge."""
    return np.full(values.shape[1], weight), values[0], ((values[1:] - values[0]) / NUDGE).T
