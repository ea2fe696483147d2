"""Which tubes hang together: those that share a node, and those that sit on one another."""

from collections import deque
from collections.abc import Iterable

from geometry.layout import Layout


def neighbours(layout: Layout) -> dict[int, set[int]]:
    """Return for each tube the tubes that it meets."""
    users: dict[int, set[int]] = {}
    meets: dict[int, set[int]] = {id: set() for id in layout.tubes}
    for tube in layout.tubes.values():
        for id in tube.nodes:
            users.setdefault(id, set()).add(tube.id)
    for id, tubes in users.items():
        landing = layout.nodes[id].landing
        together = tubes if landing is None else tubes | {landing.tube}
        for tube_id in together:
            meets[tube_id] |= together - {tube_id}
    return meets


def connected(layout: Layout, tubes: Iterable[int]) -> frozenset[int]:
    """Return all tubes that hang together with some, themselves included."""
    meets, found = neighbours(layout), set(tubes)
    waiting = deque(found)
    while waiting:
        new = meets[waiting.popleft()] - found
        found |= new
        waiting.extend(new)
    return frozenset(found)


def between(layout: Layout, tubes: Iterable[int]) -> frozenset[int] | None:
    """Return the fewest tubes that lead from the first one to each other; None if there is no way."""
    chosen = list(dict.fromkeys(tubes))
    if not chosen:
        return None
    meets = neighbours(layout)
    came_from: dict[int, int | None] = {chosen[0]: None}
    waiting = deque(chosen[:1])
    while waiting:
        here = waiting.popleft()
        for there in sorted(meets[here]):
            if there not in came_from:
                came_from[there] = here
                waiting.append(there)
    found: set[int] = set()
    for end in chosen:
        if end not in came_from:
            return None
        step: int | None = end
        while step is not None:
            found.add(step)
            step = came_from[step]
    return frozenset(found)
