"""Many tubes at once as lines and arcs: places along them that move smoothly with their corners."""

import numpy as np
from msgspec import Struct

from geometry.vectors import Floats, Ints, unit


class Shape(Struct, frozen=True, eq=False):
    """Tubes (b) with the same number of bends (n) and the same number of places (m) along them."""

    points: Floats  # (b, m, 3)
    weights: Floats  # (b, m): the length that each place stands for
    straights: Floats  # (b, n + 1): true, negative where tangents overlap
    angles: Floats  # (b, n)


class Places(Struct, frozen=True, eq=False):
    """Where along a tube to look: piece (even: straight, odd: arc), part of it, share it stands for."""

    piece: Ints
    part: Floats
    share: Floats


def places(straights: Floats, arcs: Floats, step: float, arc_step: float) -> Places:
    """Spread places along the pieces of one tube, no farther apart than the steps; at their ends too."""
    piece, part, share = [], [], []
    for number in range(len(straights) + len(arcs)):
        length = float((arcs if number % 2 else straights)[number // 2])
        parts = max(int(np.ceil(length / (arc_step if number % 2 else step))), 1)
        marks = np.linspace(0.0, 1.0, parts + 1)
        shares = np.full(parts + 1, 1.0 / parts)
        shares[[0, -1]] /= 2.0
        piece.append(np.full(parts + 1, number))
        part.append(marks)
        share.append(shares)
    return Places(np.concatenate(piece), np.concatenate(part), np.concatenate(share))


def measures(corners: Floats, clr: float) -> tuple[Floats, Floats]:
    """Return the straights (b, n + 1) and angles (b, n) of tubes through corners (b, n + 2, 3)."""
    _, straights, angles, _ = _measured(corners, clr)
    return straights, angles


def shaped(corners: Floats, clr: float, where: Places) -> Shape:
    """Lay tubes through corners (b, n + 2, 3)."""
    forward, straights, angles, reach = _measured(corners, clr)
    none = np.zeros((len(corners), 1))
    before = np.concatenate([none, reach], axis=1)
    starts = corners[:, :-1] + before[..., None] * forward
    count = straights.shape[1] + angles.shape[1]
    base = np.empty((len(corners), count, 3))
    along, across, lengths = np.empty_like(base), np.zeros_like(base), np.empty((len(corners), count))
    base[:, 0::2], along[:, 0::2], lengths[:, 0::2] = starts, forward, straights
    turn = np.zeros((len(corners), count))
    if angles.shape[1]:
        arriving = forward[:, :-1]
        base[:, 1::2] = corners[:, 1:-1] - reach[..., None] * arriving
        along[:, 1::2], lengths[:, 1::2], turn[:, 1::2] = arriving, clr * angles, angles
        leaving = forward[:, 1:]
        across[:, 1::2] = unit(leaving - np.sum(leaving * arriving, axis=2, keepdims=True) * arriving)
    piece, part = where.piece, where.part
    phi = turn[:, piece] * part
    is_arc = (piece % 2 == 1)[None]
    ahead = np.where(is_arc, clr * np.sin(phi), lengths[:, piece] * part)
    aside = np.where(is_arc, clr * (1.0 - np.cos(phi)), 0.0)
    points = base[:, piece] + ahead[..., None] * along[:, piece] + aside[..., None] * across[:, piece]
    weights = np.maximum(lengths[:, piece], 0.0) * where.share
    return Shape(points, weights, straights, angles)


def _measured(corners: Floats, clr: float) -> tuple[Floats, Floats, Floats, Floats]:
    """Return directions and true straights of the legs, angles of the corners, and their tangents."""
    legs = np.diff(corners, axis=1)
    lengths = np.linalg.norm(legs, axis=2)
    forward = unit(legs)
    arriving, leaving = forward[:, :-1], forward[:, 1:]
    sines = np.linalg.norm(np.cross(arriving, leaving), axis=2)
    angles: Floats = np.arctan2(sines, np.sum(arriving * leaving, axis=2))
    reach: Floats = clr * np.tan(np.minimum(angles, np.radians(179.0)) / 2.0)
    none = np.zeros((len(corners), 1))
    taken = np.concatenate([none, reach, none], axis=1)
    straights: Floats = lengths - taken[:, :-1] - taken[:, 1:]
    return forward, straights, angles, reach
