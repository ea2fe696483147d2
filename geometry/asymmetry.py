"""How far each tube is from being the mirror image of another, or of itself."""

from typing import Literal

import numpy as np
from msgspec import Struct

from geometry.layout import Layout, Tube
from geometry.tube import centreline
from geometry.vectors import Floats, distance, image

LOOKED_FOR_WITHIN = 300.0  # mm that ends may be off where another tube still counts as the image
STEP = 60.0  # mm between places of a centreline that are compared
MIRROR = np.array((1.0, -1.0, 1.0))
SAME = 0.05  # mm; twins that are off by less are in step


class Standing(Struct, frozen=True):
    """What stands across the centre plane of a tube.

    `off` is the largest distance of any place along either from the other's image. A tube without any
    that comes near stands on one side only; then there is no other.
    """

    kind: Literal["twin", "near", "alone"]  # twin: follows; near: as good as an image, or nearly, but free
    other: int | None = None
    off: float = 0.0


def standing(layout: Layout) -> dict[int, Standing]:
    """Return how each tube of a layout stands to the other side."""
    found = {
        tube.id: Standing("twin", tube.twin) for tube in layout.tubes.values() if _is_in_step(layout, tube)
    }
    others = [tube for tube in layout.tubes.values() if tube.id not in found]
    if not others:
        return found
    lines = {id: _sampled(layout, tube) for id, tube in layout.tubes.items()}
    for tube in others:
        if tube.twin is not None:
            off = _off(lines[tube.id] * MIRROR, lines[tube.twin])
            found[tube.id] = Standing("twin" if off < SAME else "near", tube.twin, off)
        else:
            found[tube.id] = _nearest(tube.id, lines)
    return {id: found[id] for id in layout.tubes}


def _is_in_step(layout: Layout, tube: Tube) -> bool:
    """Say whether the nodes of a twin lie where the mirror has a tube's: then so does all between."""
    twin = layout.tubes.get(tube.twin or 0)
    if twin is None or len(twin.nodes) != len(tube.nodes):
        return False
    if (twin.stock, twin.die) != (tube.stock, tube.die):
        return False
    other = twin.nodes[::-1] if twin is tube else twin.nodes
    return all(
        distance(image(layout.nodes[a].position), layout.nodes[b].position) < SAME
        for a, b in zip(tube.nodes, other, strict=True)
    )


def _nearest(id: int, lines: dict[int, Floats]) -> Standing:
    mirrored = lines[id] * MIRROR
    best = Standing("alone")
    for other, line in lines.items():
        if _ends_off(mirrored, line) < LOOKED_FOR_WITHIN:
            off = _off(mirrored, line)
            if best.other is None or off < best.off:
                best = Standing("near", other, off)
    return best if best.off < LOOKED_FOR_WITHIN else Standing("alone")


def _ends_off(line: Floats, other: Floats) -> float:
    """Return how far the ends of two lines are apart, whichever way they run."""
    ends, others = line[[0, -1]], other[[0, -1]]
    ways = (others, others[::-1])
    return min(float(np.linalg.norm(ends - way, axis=1).max()) for way in ways)


def _off(line: Floats, other: Floats) -> float:
    """Return the largest distance of the points (n, 3) of a polyline from another, and the reverse."""
    return max(_farthest(line, other), _farthest(other, line))


def _farthest(points: Floats, line: Floats) -> float:
    start, leg = line[:-1], np.diff(line, axis=0)
    away = points[:, None] - start
    part = np.einsum("nij,ij->ni", away, leg) / np.maximum(np.einsum("ij,ij->i", leg, leg), 1e-12)
    gaps = np.linalg.norm(away - np.clip(part, 0.0, 1.0)[..., None] * leg, axis=2)
    return float(gaps.min(axis=1).max())


def _sampled(layout: Layout, tube: Tube) -> Floats:
    return centreline.sample(centreline.of(layout, tube), sagitta=0.01, longest=STEP)[0]
