"""The centrelines of a whole layout, where only what changed since the last one is looked up anew. No Qt."""

from geometry.layout import Layout, Tube
from geometry.tube import centreline
from geometry.tube.centreline import Centreline

KEPT = 4  # layouts: the one drawn, the one at the press of a drag, the recorded one and one to spare

_recent: list[tuple[Layout, dict[int, Centreline]]] = []


def of_all(layout: Layout) -> dict[int, Centreline]:
    """Return the centreline of every tube by its id; nobody changes the result."""
    for i, (known, lines) in enumerate(_recent):
        if known is layout:
            if i:
                _recent.insert(0, _recent.pop(i))
            return lines
    before, lines = _recent[0] if _recent else (Layout(), {})
    found = {id: _line(before, lines, layout, tube) for id, tube in layout.tubes.items()}
    _recent.insert(0, (layout, found))
    del _recent[KEPT:]
    return found


def _line(before: Layout, lines: dict[int, Centreline], layout: Layout, tube: Tube) -> Centreline:
    is_same = (
        before.tubes.get(tube.id) is tube
        and before.dies is layout.dies
        and before.stocks is layout.stocks
        and before.trials is layout.trials
        and all(before.nodes[node] is layout.nodes[node] for node in tube.nodes)
    )
    return lines[tube.id] if is_same else centreline.of(layout, tube)
