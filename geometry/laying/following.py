"""From places on the body to the tube with the fewest bends that stays in the stand-off band.

A path is dropped onto the body, a grid of distances sampled round it, polylines for each number of bends
found on the grid, and each fitted as lines and arcs against the metal itself. Liked angles are then
chosen near those of the free fit and the rest is fitted again.
"""

import itertools
from functools import partial

import numpy as np
from msgspec.structs import replace

from geometry.body.distance import BodyIndex
from geometry.errors import GeometryError
from geometry.laying import cost, field, fitting, judging, path, shape, starts
from geometry.laying import wish as wishes
from geometry.laying.fitting import Fit, Task
from geometry.laying.judging import Judged
from geometry.laying.metal import Metal
from geometry.laying.wish import Proposal, Wish
from geometry.progress import Progress, no_progress
from geometry.vectors import Floats

ON_BODY = 10.0  # mm that a place may be off the metal, if the band is narrower than that
ROUGH, FINE = 8, 30  # rounds of a fit
MENDS = 4  # times that margins are widened for what lies between the places looked at
MARGIN = 0.05  # mm
MENDABLE = 5.0  # mm; a tube that is farther out of its band won't be brought in by margins
MOST_TRIED = 6  # choices of liked angles for one number of bends; 1 where no angles fit
OUTSIDE = 10.0  # price of leaving the band from which on no choice of angles will fit
COMPARED = 2  # of these that are fitted to the end
BROKEN = 2.0  # mm of broken limits, added up, from which on a tube is past mending
WORTH = 0.1  # mm of mean excess for which a bend more is worth showing
CLOSE_ENOUGH = 0.3  # mm of mean excess from which on no more bends are tried
MORE = 2  # bends than needed that are tried, to come closer


def propose(
    index: BodyIndex, wish: Wish, progress: Progress = no_progress, more: int = MORE
) -> tuple[Proposal, ...]:
    """Return the best tube for each number of bends that brings something, the fewest bends first.

    None comes nearer than allowed; ones with few bends may leave the band on the far side. So many more
    bends than needed are tried, to come closer.
    """
    wishes.check(wish)
    metal = Metal(index)
    _check_near(metal, wish)
    progress(0.0, "Looking at the body")
    way = path.found(metal, wish)
    task = Task(metal, way, wish)
    grid = field.sampled(metal, way)
    progress(0.1, "Looking for bends")
    lines = starts.polylines(grid, way, wish, wish.most_bends)
    front: list[Proposal] = []
    last: Fit | None = None
    for bends, begun in enumerate(lines):
        done = 0.15 + 0.85 * bends / len(lines)
        task = replace(task, tick=partial(progress, done, f"Fitting {bends} bends"))
        last = _free(task, begun, last)
        found = _best(task, index, last)
        if found is not None and (not front or _is_better(found, front[-1])):
            front.append(found)
        if front and _is_enough(front, bends, more):
            break
    if not front:
        raise _hopeless(wish, last)
    return tuple(front)


def _is_enough(front: list[Proposal], bends: int, more: int) -> bool:
    """Say whether to stop once tubes with so many bends were tried."""
    best = wishes.recommended(front)
    return best.fits and (front[-1].excess < CLOSE_ENOUGH or bends >= best.bends + more)


def _check_near(metal: Metal, wish: Wish) -> None:
    if not metal.panels:
        raise GeometryError("There is no body to follow. Bring one in, or keep some of its panels.")
    gaps, _ = metal.nearest(np.array([place.point for place in wish.places]))
    for number, gap in enumerate(gaps.tolist(), start=1):
        if gap > max(wish.farthest, ON_BODY):
            raise GeometryError(f"There is nothing of the body near place {number}. Point at a panel.")


def _free(task: Task, lines: list[Floats], last: Fit | None) -> Fit:
    """Return the best fit with any angles, from polylines and from the last fit with a bend more."""
    begun = lines
    if last is not None:
        begun = [*lines, _with_corner(task, last.corners), _with_split(last.corners)]
    tried = [fitting.fitted(task, fitting.priced(task, corners), ROUGH) for corners in begun]
    tried.sort(key=lambda fit: fit.price)
    best = fitting.fitted(task, tried[0], FINE)
    if best.outside > 0.0 and len(tried) > 1:
        best = min(best, fitting.fitted(task, tried[1], FINE), key=lambda fit: fit.price)
    return best


def _with_split(corners: Floats) -> Floats:
    """Return the same tube with one corner more in the middle of its longest leg, free to bend there."""
    longest = int(np.linalg.norm(np.diff(corners, axis=0), axis=1).argmax())
    return np.insert(corners, longest + 1, corners[longest : longest + 2].mean(axis=0), axis=0)


def _with_corner(task: Task, corners: Floats) -> Floats:
    """Return the corners with the station of the path put in that is farthest from their legs."""
    stations = task.path.points[1:-1]
    start, leg = corners[:-1], np.diff(corners, axis=0)
    part = np.einsum("sik,ik->si", stations[:, None] - start, leg) / np.einsum("ik,ik->i", leg, leg)
    beside = start + np.clip(part, 0.0, 1.0)[..., None] * leg
    away = np.linalg.norm(stations[:, None] - beside, axis=2)
    worst = int(away.min(axis=1).argmax())
    return np.insert(corners, int(away[worst].argmin()) + 1, stations[worst], axis=0)


def _best(task: Task, index: BodyIndex, free: Fit) -> Proposal | None:
    """Return the proposal that the free fit leads to; None if no such tube can be."""
    if free.broken > BROKEN * cost.NEAR:
        return None
    if task.wish.angles is None or not free.bends:
        return _mended(task, index, free)
    tried = []
    is_inside = free.outside < OUTSIDE
    for liked in _choices(task.wish, free.angles)[: MOST_TRIED if is_inside else 1]:
        tried.append(fitting.fitted(task, fitting.priced(task, free.corners, liked), ROUGH))
    found = []
    for fit in sorted(tried, key=lambda fit: fit.price):
        proposal = _mended(task, index, fitting.fitted(task, fit, FINE))
        found += [] if proposal is None else [proposal]
        if len(found) == COMPARED:
            break
    return min(found, key=_rank, default=None)


def _choices(wish: Wish, angles: Floats) -> list[Floats]:
    """Return liked angles for the bends, those nearest to the angles first."""
    liked = np.array(wishes.liked_angles(wish))
    if not len(liked):
        return []
    sides = [liked[np.argsort(np.abs(liked - angle), kind="stable")[:2]] for angle in angles]
    combined = [np.array(choice) for choice in itertools.product(*sides)]
    combined.sort(key=lambda choice: float(np.abs(choice - angles).sum()))
    return combined


def _mended(task: Task, index: BodyIndex, fit: Fit) -> Proposal | None:
    """Measure a fit exactly, and fit again with wider margins where the metal between places asks for it."""
    best: Proposal | None = None
    for _ in range(MENDS):
        held = fitting.turned_to(task, fit)
        found = judging.judged(index, task.metal, task.wish, held.corners)
        if _is_real(task.wish, found, fit.bends) and (best is None or _rank(found.proposal) < _rank(best)):
            best = found.proposal
        wider = _wider(task, found.proposal)
        if wider is None:
            break
        task = wider
        fit = fitting.fitted(task, fit, ROUGH)
    return best


def _is_real(wish: Wish, found: Judged, bends: int) -> bool:
    """Say whether a tube can be made with so many bends and nowhere comes too near."""
    tube = found.proposal
    return found.is_makeable and found.is_in_order and tube.closest >= wish.closest and tube.bends == bends


def _wider(task: Task, tube: Proposal) -> Task | None:
    """Return the task with the margins that the tube lacked; None if it lacks none, or too much."""
    near, far = task.wish.closest - tube.closest, tube.farthest - task.wish.farthest
    if not (0.0 < near < MENDABLE or 0.0 < far < MENDABLE):
        return None
    near_margin = task.near_margin + (near + MARGIN if 0.0 < near < MENDABLE else 0.0)
    far_margin = task.far_margin + (far + MARGIN if 0.0 < far < MENDABLE else 0.0)
    return replace(task, near_margin=near_margin, far_margin=far_margin, step=cost.FINE_STEP)


def _rank(tube: Proposal) -> tuple[float, float]:
    return tube.outside + tube.aside, tube.excess


def _is_better(tube: Proposal, known: Proposal) -> bool:
    """Say whether a tube with more bends is worth showing beside one with fewer."""
    if tube.fits != known.fits:
        return tube.fits
    gains = known.excess - tube.excess > WORTH
    return gains if tube.fits else gains or known.outside + known.aside > tube.outside + tube.aside + 1.0


def _hopeless(wish: Wish, last: Fit | None) -> GeometryError:
    """Say why there is no tube at all."""
    if last is not None and any(
        len(straights) and straights.min() < 0.0 for straights in [_straights(wish, last)]
    ):
        return GeometryError(
            "The places are too near each other for the radius of this die: its bends don't fit between "
            "them. Point at places farther apart, or take a die with a smaller radius."
        )
    return GeometryError(
        f"No tube with up to {wish.most_bends} bends keeps clear of the body along these places. Allow more "
        "bends, point at places that a tube gets past more easily, or come closer to the body."
    )


def _straights(wish: Wish, fit: Fit) -> Floats:
    straights: Floats = shape.measures(fit.corners[None], wish.clr)[0][0]
    return straights
