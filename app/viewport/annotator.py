"""Which marks are painted: nodes, clearances and bad bends of what is looked at, axes, the tool's own."""

import operator
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

from msgspec.structs import replace

from app.session import Session
from app.viewport import aid_facts, annotations
from app.viewport.annotations import BadgeSize, Fact
from app.viewport.colours import Band
from app.viewport.labels import Rect
from app.viewport.lines import of_all
from app.viewport.marks import Badge, Mark, Shape, Sign, Whisper, Xy
from app.viewport.placing import Outlook
from geometry.checks import standoff
from geometry.layout import Layout, Tube
from geometry.tube import feeding
from geometry.tube.centreline import Centreline
from geometry.tube.feeding import TubeEnd
from geometry.vectors import Vec3

if TYPE_CHECKING:
    from geometry.checks.clearance import Clearance
    from geometry.checks.findings import Report

MOST_TOLD = 6  # tubes of which all is told: of more only what needs attention, or badges hide the cage
MANY_NEW = 8  # tubes that a preview adds at once, from which on they are not labelled: no hand drags them
GRID_WORDS = {"metric": "grid 1 m", "imperial": "grid 1 ft, 5 ft"}


class Annotator:
    """Holds the last report, and where labels stood, so that they stay there."""

    def __init__(
        self,
        session: Session,
        to_screen: Callable[[Vec3], Xy],
        length: Callable[[float], str],
        badge_size: BadgeSize,
    ) -> None:
        self._session = session
        self._to_screen = to_screen
        self._length = length
        self._badge_size = badge_size
        self._report: Report | None = None
        self._revision = -1
        self._oldest = session.revision
        self._places: dict[object, int] = {}
        self._bend_facts: dict[int, tuple[tuple[object, ...], str, list[Fact]]] = {}  # by tube
        self._pointed_out: frozenset[tuple[int, int]] = frozenset()

    def point_out(self, pairs: frozenset[tuple[int, int]]) -> None:
        """Show the gaps between these tubes and panels too, while their tubes are labelled."""
        self._pointed_out = pairs

    def take(self, revision: int, report: "Report") -> bool:
        """Take a report, unless it is older than what is shown or from before the job was opened."""
        if revision < max(self._revision, self._oldest):
            return False
        self._report, self._revision = report, revision
        return True

    def start_anew(self) -> None:
        """Another job: whatever still arrives about the old one is dropped."""
        self._report, self._revision = None, -1
        self._oldest = self._session.revision
        self._places = {}
        self._bend_facts = {}
        self._pointed_out = frozenset()

    @property
    def is_behind(self) -> bool:
        """Whether there is a report, but of an older layout than the one shown."""
        return self._report is not None and self._revision < self._session.revision

    def marks(
        self,
        outlook: Outlook,
        hovered: int | None,
        tool_marks: list[Mark],
        grid: str | None,
        covered: Iterable[Rect] = (),
    ) -> list[Mark]:
        """Return everything to be painted, what lies on top last; labels keep out of what is covered."""
        layout, size = outlook.layout, outlook.sight.size
        labelled = self._labelled(layout, hovered)
        followed = frozenset(node for id in labelled for node in layout.tubes[id].nodes)
        taken = [*covered, *(mark.rect for mark in tool_marks if isinstance(mark, Badge))]
        marks = annotations.axis_marks(outlook.sight.camera, size)
        if grid is not None:
            marks.append(Whisper((size.width - 60.0, size.height - 14.0), GRID_WORDS[grid], "faint", True))
        marks += annotations.corner_lines([of_all(layout)[id] for id in labelled], self._to_screen)
        marks += annotations.node_dots(outlook, self._session.selection, hovered, followed)
        marks += annotations.sleeve_words(outlook, followed, self._to_screen)
        marks += self._blank_words(outlook, labelled if len(labelled) <= MOST_TOLD else [])
        marks += self._fact_marks(outlook, labelled, taken)
        return marks + tool_marks

    def _blank_words(self, outlook: Outlook, tubes: list[int]) -> list[Mark]:
        layout = outlook.layout
        marks: list[Mark] = []
        for id in tubes:
            longer = annotations.longer_blank(layout, layout.tubes[id], self._leads(id))
            tube = layout.tubes[id]
            marks += annotations.blank_words(outlook, tube, longer, self._length, self._to_screen)
        return marks

    def _leads(self, tube: int) -> dict[int, TubeEnd] | None:
        """Return the ends that lead in the recorded order while the hand moves; at rest nothing is given."""
        if not self._session.is_previewing:
            return None
        recorded = self._session.recorded
        before = recorded.tubes.get(tube)
        return leads_of(recorded, before) if before is not None else {}

    def _fact_marks(self, outlook: Outlook, labelled: list[int], taken: list[Rect]) -> list[Mark]:
        """Return badges for the labelled tubes, and for the others signs alone."""
        layout, is_old = outlook.layout, self.is_behind
        signs: list[tuple[Vec3, Shape, bool]] = []
        facts: list[Fact] = []
        lines = of_all(layout)
        for id, tube in layout.tubes.items():
            if not tube.shown:
                continue
            bad = self._bends_against(layout, tube, lines[id])
            if id in labelled:
                given = self._leads(id)
                leads = leads_of(layout, tube) if given is None else given
                facts += bad + annotations.cut_facts(layout, tube, lines[id], leads, self._length)
            else:
                signs += [(fact.at, fact.shape, False) for fact in bad if fact.shape is not None]
        if self._report is not None:
            band = _bands(layout)
            facts += annotations.clearance_facts(
                layout, self._report, labelled, band, self._length, is_old, self._pointed_out
            )
            signs += [
                (at, shape, is_old)
                for at, shape in annotations.close_signs(layout, self._report, labelled, band)
            ]
            near, places = aid_facts.of(
                layout, self._report, labelled, self._session.selection, self._length, is_old
            )
            facts += near
            signs += [(at, "close", is_old) for at in places]
        if len(labelled) > MOST_TOLD:
            facts = [fact for fact in facts if fact.shape != "fine"]
        facts = [
            replace(fact, is_hidden=not outlook.is_visible(fact.at, annotations.NEAR_ENOUGH))
            for fact in facts[: annotations.MOST_BADGES]
        ]
        sight = outlook.sight
        marks, self._places = annotations.written(
            facts, sight.camera, sight.size, self._badge_size, self._places, taken
        )
        alone: list[Mark] = [
            Sign(self._to_screen(at), shape, 6.0, is_dim)
            for at, shape, is_dim in signs
            if outlook.is_visible(at, annotations.NEAR_ENOUGH)
        ]
        return alone + marks

    def _bends_against(self, layout: Layout, tube: Tube, line: Centreline) -> list[Fact]:
        """Return what stands against the bends of a tube; worked out anew only where it may have changed."""
        basis = (tube, line, layout.dies, layout.stocks)
        words = self._length(1000.0)  # which units they are in
        known = self._bend_facts.get(tube.id)
        if known is None or known[1] != words or any(map(operator.is_not, known[0], basis)):
            known = (basis, words, annotations.bend_facts(layout, tube, line, self._length))
            self._bend_facts[tube.id] = known
        return known[2]

    def _labelled(self, layout: Layout, hovered: int | None) -> list[int]:
        """Return the tubes that show their clearance: selected, dragged, being laid or under the pointer."""
        session = self._session
        chosen = set(session.selection & layout.tubes.keys())
        nodes = session.selection & layout.nodes.keys()
        new = layout.tubes.keys() - session.recorded.tubes.keys()
        if session.is_previewing and len(new) <= MANY_NEW:
            nodes |= changed_nodes(session.recorded, layout)
            chosen |= {id for id, tube in layout.tubes.items() if session.recorded.tubes.get(id) is not tube}
        if nodes:
            chosen |= {id for id, tube in layout.tubes.items() if not nodes.isdisjoint(tube.nodes)}
        if hovered in layout.tubes:
            chosen.add(hovered)
        return sorted(id for id in chosen if layout.tubes[id].shown)


def leads_of(layout: Layout, tube: Tube) -> dict[int, TubeEnd]:
    """Return the end that leads at each bend of a tube, counted from 0."""
    return {feed.bend: feed.leads for feed in feeding.of(layout, tube).feeds}


def changed_nodes(before: Layout, after: Layout) -> frozenset[int]:
    """Return the nodes that are other objects than before."""
    if before.nodes is after.nodes:
        return frozenset()
    return frozenset(id for id, node in after.nodes.items() if before.nodes.get(id) is not node)


def _bands(layout: Layout) -> Callable[["Clearance"], Band]:
    return lambda row: standoff.standing(layout, row).band
