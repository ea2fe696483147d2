"""Commands that change what is selected: mirror, split, join, delete and their like."""

from collections.abc import Callable, Iterable, Iterator
from itertools import pairwise

from PySide6.QtCore import QObject

from app import wording
from app.session import Session
from geometry import chains, edits, references, symmetry, zoning
from geometry.aids import Reference, Zone
from geometry.errors import GeometryError
from geometry.layout import NAMED, Layout, Panel, Tube
from geometry.vectors import Vec3, distance

NO_PLACE = (
    "{name} has no straight where a sleeve keeps clear of bends, joints and ends and both parts can be bent; "
    "take the split tool (K) and choose a place."
)


class SelectionCommands(QObject):
    """Each command is one undo step; a refusal is said by the session."""

    def __init__(self, session: Session, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._session = session

    @property
    def tubes(self) -> list[int]:
        return self._chosen(self._session.layout.tubes)

    @property
    def nodes(self) -> list[int]:
        return self._chosen(self._session.layout.nodes)

    @property
    def panels(self) -> list[int]:
        return self._chosen(self._session.layout.panels)

    @property
    def bodies(self) -> list[int]:
        return self._chosen(self._session.layout.bodies)

    @property
    def has_hidden(self) -> bool:
        """Whether anything of the job is hidden in the view."""
        kinds = (getattr(self._session.layout, kind) for kind in ("panels", "tubes", "references", "zones"))
        return any(not thing.shown for things in kinds for thing in things.values())

    def delete(self) -> None:
        ids = self._session.selection
        words = f"Delete {names(self._session.layout, ids)}"
        self._session.apply(words, lambda now: edits.delete(now, ids))

    def select_all(self) -> None:
        self._session.select(self._session.layout.tubes)

    def select_nodes(self) -> None:
        layout = self._session.layout
        self._session.select(node for id in self.tubes for node in layout.tubes[id].nodes)

    def mirror(self) -> None:
        """Make the selected tubes' twins across the centre plane, or pair them with what stands there."""
        tubes = self.tubes
        words = f"Pair {names(self._session.layout, tubes)} with the other side"
        if self._session.apply(words, lambda now: symmetry.paired(now, tubes)[0]):
            layout = self._session.layout
            twins = (layout.tubes[id].twin for id in tubes)
            self._session.select({*tubes, *(twin for twin in twins if twin is not None)})

    def release_twins(self) -> None:
        """Let the selected tubes and their twins each go their own way."""
        tubes = [id for id in self.tubes if self._session.layout.tubes[id].twin is not None]
        words = f"Release {names(self._session.layout, tubes)} from the other side"
        self._session.apply(words, lambda now: symmetry.released(now, tubes))

    def both_sides(self, on: bool) -> None:
        """Let what is laid from now on appear on both sides, or not."""
        words = "Lay on both sides" if on else "Lay on one side"
        self._session.apply(words, lambda now: symmetry.set_both_sides(now, on))

    def reverse(self) -> None:
        self._for_each("Reverse", self.tubes, edits.reverse_tube)

    def set_stock(self, stock: int) -> None:
        tubes = self.tubes
        self._session.apply("Change stock", lambda now: edits.set_stock(now, tubes, stock))

    def add_corner(self) -> None:
        """Put a node in the middle of the longest leg of each selected tube."""
        made: list[int] = []

        def added(layout: Layout, id: int) -> Layout:
            leg, middle = longest_leg(layout, id)
            after, node = edits.insert_node(layout, id, leg, middle)
            made.append(node)
            return after

        if self._for_each("Insert corner in", self.tubes, added):
            self._session.select(made)

    def remove_corner(self) -> None:
        self._for_each("Remove node", self.nodes, edits.remove_node)

    def split_here(self) -> None:
        (node,) = self.nodes
        layout = self._session.layout
        through = [tube.id for tube in layout.tubes.values() if node in tube.nodes[1:-1]]
        if not through:
            self._session.refused.emit(
                "This node is the end of its tube; a tube is split at a node between its ends."
            )
            return
        self._for_each("Split", through, lambda now, id: edits.split_tube(now, id, node=node)[0])

    def split_sleeve(self) -> None:
        """Split the selected tube where a sleeve joins it best, and select both parts."""
        from geometry.tube import splitting

        (tube,) = self.tubes
        name = self._session.layout.tubes[tube].name
        made: list[int] = []

        def split(layout: Layout) -> Layout:
            station = splitting.place(layout, layout.tubes[tube])
            if station is None:
                raise GeometryError(NO_PLACE.format(name=name), (tube,))
            after, part = edits.split_with_sleeve(layout, tube, station)
            made.append(part)
            return after

        if self._session.apply(f"Split {name} with a sleeve", split):
            self._session.select((tube, *made))

    @property
    def may_toggle_sleeve(self) -> bool:
        """Whether the one selected node has a sleeve, or could have one."""
        layout, nodes = self._session.layout, self.nodes
        return len(nodes) == 1 and (layout.nodes[nodes[0]].sleeve or edits.may_have_sleeve(layout, nodes[0]))

    def sleeve(self) -> None:
        """Put a sleeve into the joint at the selected node, or take it out."""
        (node,) = self.nodes
        on = not self._session.layout.nodes[node].sleeve
        words = "Join over a sleeve" if on else "Take the sleeve out"
        self._session.apply(words, lambda now: edits.set_sleeve(now, node, on))

    def join_nodes(self) -> None:
        """Bring two nodes together half way; a landing keeps its place."""
        first, second = self.nodes
        layout = self._session.layout
        keep, drop = (second, first) if layout.nodes[second].landing else (first, second)

        def joined(now: Layout) -> Layout:
            if now.nodes[keep].landing is None:
                now = edits.place_node(now, keep, middle(now.nodes[keep].position, now.nodes[drop].position))
            return edits.merge_nodes(now, keep, drop)

        if self._session.apply("Join nodes", joined):
            self._session.select((keep,))

    def free_end(self) -> None:
        landed = [id for id in self.nodes if self._session.layout.nodes[id].landing]
        self._for_each("Free", landed, lambda now, id: edits.set_landing(now, id, None))

    def hide(self) -> None:
        """Hide what is selected and shown; if all of it is hidden, show it."""
        layout, panels, tubes = self._session.layout, self._panels_meant(), self.tubes
        aids = [*self._chosen(layout.references), *self._chosen(layout.zones)]
        show = not any(thing.shown for thing in _things(layout, (*panels, *tubes, *aids)))
        self._show("Show" if show else "Hide", panels, tubes, aids, show)

    def show_all(self) -> None:
        layout = self._session.layout
        panels = [panel.id for panel in layout.panels.values() if not panel.shown]
        tubes = [tube.id for tube in layout.tubes.values() if not tube.shown]
        aids = [one.id for one in layout.references.values() if not one.shown]
        aids += [one.id for one in layout.zones.values() if not one.shown]
        self._show("Show", panels, tubes, aids, True)

    def isolate(self) -> None:
        """Hide all tubes but the selected ones and what they sit on."""
        layout, tubes = self._session.layout, self.tubes
        landings = [layout.nodes[node].landing for id in tubes for node in layout.tubes[id].nodes]
        kept = {*tubes, *(landing.tube for landing in landings if landing is not None)}
        others = [id for id in layout.tubes if id not in kept]
        words = f"Show {names(layout, tubes)} alone"
        self._session.apply(
            words, lambda now: edits.set_tubes(edits.set_tubes(now, kept, shown=True), others, shown=False)
        )

    def lock(self) -> None:
        """Lock the selected tubes against being moved by hand; if all are locked, unlock them."""
        layout, tubes = self._session.layout, self.tubes
        on = not all(layout.tubes[id].locked for id in tubes)
        words = f"{'Lock' if on else 'Unlock'} {names(layout, tubes)}"
        self._session.apply(words, lambda now: edits.set_tubes(now, tubes, locked=on))

    def select_chain(self) -> None:
        """Select the tubes that lead from the first selected thing to the others, the fewest there are."""
        layout, chosen = self._session.layout, [*self.tubes, *self.nodes]
        ends = [id for id in chosen if id in layout.tubes]
        for node in (id for id in chosen if id in layout.nodes):
            ends += [tube.id for tube in layout.tubes.values() if node in tube.nodes][:1]
        found = chains.between(layout, ends)
        if found is None:
            self._session.refused.emit(
                "The selected tubes don't hang together; there is no way between them."
            )
        else:
            self._session.select(found)

    def select_connected(self) -> None:
        """Select every tube that hangs together with the selected ones."""
        layout = self._session.layout
        self._session.select(chains.connected(layout, self.tubes))

    def leave_out(self) -> None:
        layout, panels = self._session.layout, self._panels_meant()
        keep = not any(layout.panels[id].kept for id in panels)
        self._set_panels("Keep" if keep else "Leave out", panels, kept=keep)

    def _panels_meant(self) -> list[int]:
        """The selected panels and those of the selected bodies."""
        bodies = set(self.bodies)
        layout, selection = self._session.layout, self._session.selection
        return [id for id, panel in layout.panels.items() if id in selection or panel.body in bodies]

    def _show(self, verb: str, panels: list[int], tubes: list[int], aids: list[int], shown: bool) -> None:
        def all_shown(layout: Layout) -> Layout:
            for id in panels:
                layout = edits.set_panel(layout, id, shown=shown)
            for id in aids:
                is_zone = id in layout.zones
                edit = zoning.set_zone if is_zone else references.set_reference
                layout = edit(layout, id, shown=shown)
            return edits.set_tubes(layout, tubes, shown=shown)

        things = [*panels, *tubes, *aids]
        if things:
            self._session.apply(f"{verb} {names(self._session.layout, things)}", all_shown)

    def _set_panels(self, verb: str, panels: Iterable[int], **changes: object) -> None:
        self._for_each(verb, list(panels), lambda now, id: edits.set_panel(now, id, **changes))

    def _for_each(self, verb: str, ids: list[int], change: Callable[[Layout, int], Layout]) -> bool:
        def all_changed(layout: Layout) -> Layout:
            for id in ids:
                layout = change(layout, id)
            return layout

        words = f"{verb} {names(self._session.layout, ids)}"
        return bool(ids) and self._session.apply(words, all_changed)

    def _chosen(self, things: Iterable[int]) -> list[int]:
        selection = self._session.selection
        return [id for id in things if id in selection]


def names(layout: Layout, ids: Iterable[int]) -> str:
    """What things are called in the undo menu: a name for one, a count for several."""
    chosen = list(ids)
    if len(chosen) != 1:
        return wording.things(layout, chosen)
    named = (getattr(layout, kind) for kind in NAMED)
    thing = next((things[chosen[0]] for things in named if chosen[0] in things), None)
    return str(getattr(thing, "name", "node"))


def _things(layout: Layout, ids: Iterable[int]) -> Iterator[Panel | Tube | Reference | Zone]:
    """Yield what can be hidden, by its id."""
    for id in ids:
        if id in layout.panels:
            yield layout.panels[id]
        elif id in layout.tubes:
            yield layout.tubes[id]
        else:
            yield layout.references[id] if id in layout.references else layout.zones[id]


def longest_leg(layout: Layout, tube: int) -> tuple[int, Vec3]:
    """The number of a tube's longest leg, and its middle."""
    points = [layout.nodes[id].position for id in layout.tubes[tube].nodes]
    lengths = [distance(a, b) for a, b in pairwise(points)]
    leg = lengths.index(max(lengths))
    return leg, middle(points[leg], points[leg + 1])


def middle(a: Vec3, b: Vec3) -> Vec3:
    x, y, z = ((p + q) / 2.0 for p, q in zip(a, b, strict=True))
    return (x, y, z)
