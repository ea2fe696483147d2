"""Marks that stand for the layout and its report: nodes, clearances, bad bends, axes. Imports no Qt."""

import math
from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct

from app.viewport import camera as cameras
from app.viewport import labels
from app.viewport.camera import Camera, Size
from app.viewport.colours import Band
from app.viewport.labels import Rect, Wish
from app.viewport.marks import Badge, Dot, DotKind, Mark, Shape, Sign, Stroke, Whisper, Xy
from app.viewport.placing import Outlook
from geometry.checks import standoff
from geometry.layout import Die, Layout, Node, Tube
from geometry.tolerances import LARGEST_TURN, LENGTH_NOISE
from geometry.tube import bending, centreline, feeding
from geometry.tube.centreline import Centreline
from geometry.tube.feeding import TubeEnd
from geometry.vectors import Vec3, distance, vec

if TYPE_CHECKING:  # the checks bring their kernels along, which the start need not wait for
    from geometry.checks.clearance import Clearance
    from geometry.checks.findings import Report

FAR = 300.0  # mm; clearances are known up to here
NEAR_ENOUGH = 30.0  # mm of metal in front that do not hide a node: half a tube and its gap
SMALLEST_DOT = 0.72  # part of a full dot, when the car is far away
FULL_DOT_SCALE = 0.2  # pixels per mm from which dots are full
SAME_PLACE = 15.0  # mm; two panels that meet are measured at one place, where one label serves
MOST_BADGES = 14
AXIS_LENGTH = 34.0  # pixels
WORD_BELOW = 20.0  # pixels, from a node to a word below it

BadgeSize = Callable[[str, str, bool], tuple[float, float]]


class Fact(Struct, frozen=True):
    """Something to be said at a place: a clearance, or why a bend cannot be made."""

    key: object
    at: Vec3  # where the label belongs
    other: Vec3 | None  # the metal, at the far end of the hair-line
    shape: Shape | None
    number: str
    words: str
    is_dim: bool = False
    is_hidden: bool = False  # behind the metal: no line is drawn over what lies in front


def node_dots(
    outlook: Outlook, selected: frozenset[int], hovered: int | None, followed: frozenset[int]
) -> list[Mark]:
    """Return a dot for each node that is seen; of those behind the metal only the followed ones, faint."""
    sight = outlook.sight
    dots: list[Mark] = []
    size = min(1.0, max(SMALLEST_DOT, cameras.pixels_per_mm(sight.camera, sight.size) / FULL_DOT_SCALE))
    for id, at, depth in zip(
        sight.node_ids.tolist(), sight.node_screen.tolist(), sight.node_depth, strict=True
    ):
        if depth <= 0 and not sight.camera.is_parallel:
            continue
        if not (-20 < at[0] < sight.size.width + 20 and -20 < at[1] < sight.size.height + 20):
            continue
        node = outlook.layout.nodes[id]
        if id == hovered and id not in selected:
            dots.append(Dot(tuple(at), "hovered"))
        elif id in selected:
            dots.append(Dot(tuple(at), "selected"))
        elif not outlook.is_visible(node.position, NEAR_ENOUGH):
            if id in followed:
                dots.append(Dot(tuple(at), "hidden"))
        else:
            kind: DotKind = "sleeve" if node.sleeve else "plain" if node.landing is None else "landing"
            dots.append(Dot(tuple(at), kind, size))
    return dots


def sleeve_words(outlook: Outlook, nodes: Iterable[int], to_screen: Callable[[Vec3], Xy]) -> list[Mark]:
    """Return a word below each joint over a sleeve, of these nodes, where it is seen."""
    sleeved = [node for node in map(outlook.layout.nodes.__getitem__, nodes) if node.sleeve]
    return [_word_below(node, "sleeve", 1, to_screen) for node in sleeved if _is_seen(outlook, node)]


def _word_below(node: Node, word: str, row: int, to_screen: Callable[[Vec3], Xy]) -> Whisper:
    x, y = to_screen(node.position)
    return Whisper((x, y + row * WORD_BELOW), word, "text", True)


def _is_seen(outlook: Outlook, node: Node) -> bool:
    return outlook.is_visible(node.position, NEAR_ENOUGH)


def corner_lines(lines: Iterable[Centreline], to_screen: Callable[[Vec3], Xy]) -> list[Mark]:
    """Return dashes from each bend to the corner that its node stands at, off the tube."""
    marks: list[Mark] = []
    for line in lines:
        for bend in line.bends:
            start, end = centreline.point_at(line, [bend.start, bend.end])
            points = (vec(start), bend.corner, vec(end))
            marks.append(Stroke(tuple(to_screen(point) for point in points), "faint", 1.0, True))
    return marks


def longer_blank(
    layout: Layout, tube: Tube, leads: Mapping[int, TubeEnd] | None = None
) -> tuple[float, float]:
    """Return what the die needs the blank longer at each end, beyond the allowances asked for.

    Under the hand there is no time to look for the best order anew; then the ends that lead at the
    bends are taken as given, the start where nothing is said.
    """
    asked = feeding.asked_allowances(layout, tube)
    if leads is None:
        fed = feeding.of(layout, tube)
        return fed.start_allowance - asked[0], fed.end_allowance - asked[1]
    die, line = bending.die_of(layout, tube), centreline.of(layout, tube)
    if die is None or not line.bends:
        return 0.0, 0.0
    first, last = _held_straights(die, len(line.bends), leads)
    return (
        0.0 if tube.start_cut == "before" else first - max(line.straights[0], 0.0) - asked[0],
        0.0 if tube.end_cut == "before" else last - max(line.straights[-1], 0.0) - asked[1],
    )


def _held_straights(die: Die, bends: int, leads: Mapping[int, TubeEnd]) -> tuple[float, float]:
    """Return the least straights at the start and the end of a tube for the ends that lead there."""
    first = die.first_straight if leads.get(0, "start") == "start" else die.tail
    last = die.tail if leads.get(bends - 1, "start") == "start" else die.first_straight
    return first, last


def cut_facts(
    layout: Layout, tube: Tube, line: Centreline, leads: Mapping[int, TubeEnd], length: Callable[[float], str]
) -> list[Fact]:
    """Return which ends that are cut before bending leave the die too little to hold."""
    die = bending.die_of(layout, tube)
    if die is None or not line.bends or not line.is_makeable:
        return []
    needed = _held_straights(die, len(line.bends), leads)
    middles = (line.bends[0].start / 2.0, (line.bends[-1].end + line.length) / 2.0)
    straights = (line.straights[0], line.straights[-1])
    facts = []
    for end, cut in enumerate((tube.start_cut, tube.end_cut)):
        if cut == "before" and straights[end] < needed[end] - LENGTH_NOISE:
            at = vec(centreline.point_at(line, [middles[end]])[0])
            said = f"straight {length(straights[end])}, die needs {length(needed[end])}"
            facts.append(Fact(("cut", tube.id, end), at, None, "bad", "", said))
    return facts


def blank_words(
    outlook: Outlook,
    tube: Tube,
    longer: tuple[float, float],
    length: Callable[[float], str],
    to_screen: Callable[[Vec3], Xy],
) -> list[Mark]:
    """Return how much longer the blank is at each end where the die asks for more than the allowance.

    It is all that the blank has more there, as the tube's page says; no fault, but steel to saw.
    """
    asked = feeding.asked_allowances(outlook.layout, tube)
    ends = (outlook.layout.nodes[tube.nodes[0]], outlook.layout.nodes[tube.nodes[-1]])
    return [
        _word_below(node, f"blank +{length(own + more)}", 2 if node.sleeve else 1, to_screen)
        for node, own, more in zip(ends, asked, longer, strict=True)
        if more > LENGTH_NOISE and _is_seen(outlook, node)
    ]


def clearance_facts(
    layout: Layout,
    report: "Report",
    tubes: Iterable[int],
    band: Callable[["Clearance"], Band],
    length: Callable[[float], str],
    is_old: bool,
    pointed_out: frozenset[tuple[int, int]] = frozenset(),
) -> list[Fact]:
    """Return what is known of the nearest metal of each tube, and of pairs of tube and panel pointed out."""
    facts = []
    for id in tubes:
        tube = layout.tubes.get(id)
        if tube is None:
            continue
        is_dim = is_old or id not in report.checked
        near = report.nearest.get(id)
        others = [
            row
            for row in report.clearances
            if row.tube == id
            and (id, row.panel) in pointed_out
            and (near is None or distance(row.tube_point, near.tube_point) > SAME_PLACE)
        ]
        if near is not None and near.panel in layout.panels:
            facts.append(_gap_fact(layout, near, ("gap", id), band, length, is_dim))
        elif layout.panels and id in report.checked and not is_dim:
            line = centreline.of(layout, tube)
            middle = centreline.point_at(line, [line.length / 2.0])[0]
            facts.append(Fact(("gap", id), tuple(middle.tolist()), None, None, "", f"over {length(FAR)}"))
        facts += [
            _gap_fact(layout, row, ("gap", id, row.panel), band, length, is_dim)
            for row in others
            if row.panel in layout.panels
        ]
    return facts


def _gap_fact(
    layout: Layout, near: "Clearance", key: object, band: Callable[["Clearance"], Band],
    length: Callable[[float], str], is_dim: bool,
) -> Fact:  # fmt: skip
    """Return what is said of the gap between a tube and a panel."""
    name = layout.panels[near.panel].name
    standing = standoff.standing(layout, near)
    safe = f", {length(standing.safe)} safe" if standing.safe < near.clearance else ""
    words = f"cuts into {name}" if near.clearance < 0.0 else f"{name}{safe}"
    shape = _shape(near, band)
    return Fact(key, near.tube_point, near.panel_point, shape, length(near.clearance), words, is_dim)


def close_signs(
    layout: Layout, report: "Report", without: Iterable[int], band: Callable[["Clearance"], Band]
) -> list[tuple[Vec3, Shape]]:
    """Return where tubes that carry no label cut in or are too close: a sign alone."""
    skipped = set(without)
    return [
        (row.tube_point, _shape(row, band))
        for row in report.clearances
        if row.tube not in skipped and is_shown(layout, row.tube) and band(row) == "close"
    ]


def is_shown(layout: Layout, tube: int) -> bool:
    return tube in layout.tubes and layout.tubes[tube].shown


def _shape(row: "Clearance", band: Callable[["Clearance"], Band]) -> Shape:
    """Return the sign of a clearance: that of an error where the tube cuts in, else its band's."""
    return "bad" if row.clearance < 0.0 else band(row)


def bend_facts(layout: Layout, tube: Tube, line: Centreline, length: Callable[[float], str]) -> list[Fact]:
    """Return what stands against the bends of a tube, at their corners and on the straights between."""
    if not line.bends:
        return []
    die, stock = bending.die_of(layout, tube), layout.stocks[tube.stock]
    facts = []
    for number, bend in enumerate(line.bends):
        shape: Shape = "bad"
        said = ""
        if bend.angle > LARGEST_TURN:
            said = "turns back on itself"
        elif not bend.fits:
            short = -min(line.straights[number], line.straights[number + 1])
            said = f"leg {length(short)} too short" + (" for this die" if die else "")
        elif die is not None and bend.angle > die.largest_angle:
            said = f"{math.degrees(bend.angle):.1f}°, die goes to {math.degrees(die.largest_angle):.0f}°"
        elif die is not None and die.clr < bending.least_clr(stock) - LENGTH_NOISE:
            shape, said = "close", f"radius {length(die.clr)} under the stock's least"
        if said:
            facts.append(Fact(("bend", tube.id, number), bend.corner, None, shape, "", said))
    return facts + ([] if die is None else _straight_facts(tube, line, die, length))


def _straight_facts(tube: Tube, line: Centreline, die: Die, length: Callable[[float], str]) -> list[Fact]:
    """Return which straights between two bends are too short for the die; an error once that is measured."""
    least = bending.least_between(die)
    is_measured = die.between_straight > 0.0
    shape: Shape = "bad" if is_measured else "close"
    needs = f"{'die needs' if is_measured else 'die assumed to need'} {length(least)}"
    facts = []
    for number, (before, after) in enumerate(zip(line.bends, line.bends[1:], strict=False), 1):
        straight = line.straights[number]
        if before.fits and after.fits and straight < least - LENGTH_NOISE:
            middle = centreline.point_at(line, [(before.end + after.start) / 2.0])[0]
            said = f"straight {length(straight)}, {needs}"
            facts.append(Fact(("straight", tube.id, number), vec(middle), None, shape, "", said))
    return facts


def written(
    facts: list[Fact], camera: Camera, size: Size, badge_size: BadgeSize, before: dict[object, int],
    taken: Iterable[Rect] = (),
) -> tuple[list[Mark], dict[object, int]]:  # fmt: skip
    """Place a badge for each fact with its hair-lines; return the marks and which places they took."""
    facts = facts[:MOST_BADGES]
    if not facts:
        return [], {}
    screen, depth = cameras.project(camera, size, np.array([fact.at for fact in facts]))
    ends, _ = cameras.project(camera, size, np.array([fact.other or fact.at for fact in facts]))
    seen = [camera.is_parallel or value > 0 for value in depth]
    wishes = [
        Wish(
            fact.key, float(at[0]), float(at[1]), *badge_size(fact.number, fact.words, fact.shape is not None)
        )
        for fact, at, is_seen in zip(facts, screen, seen, strict=True)
        if is_seen and -60 < at[0] < size.width + 60 and -60 < at[1] < size.height + 60
    ]
    placed = labels.arranged(wishes, Rect(0.0, 0.0, size.width, size.height), taken, before)
    marks: list[Mark] = []
    badges: list[Mark] = []
    for fact, at, end in zip(facts, screen.tolist(), ends.tolist(), strict=True):
        if fact.key in placed:
            marks += _hair_lines(fact, (at[0], at[1]), (end[0], end[1]), placed[fact.key].rect)
            badges.append(Badge(placed[fact.key].rect, fact.number, fact.words, fact.shape, fact.is_dim))
    return marks + badges, {key: place.candidate for key, place in placed.items()}


def _hair_lines(fact: Fact, at: Xy, end: Xy, rect: Rect) -> list[Mark]:
    """Return the leader to the label, the line from the tube to the metal with its ends, and the sign."""
    tone = "close" if fact.shape == "bad" else fact.shape or "faint"
    edge = labels.edge_towards(rect, *at)
    marks: list[Mark] = [Stroke((at, edge), "line", 1.0, fact.is_hidden, fact.is_dim)]
    if fact.is_hidden:
        return marks
    if fact.other is not None:
        marks.append(Stroke((at, end), tone, 2.2, False, fact.is_dim))
        dx, dy = end[0] - at[0], end[1] - at[1]
        far = math.hypot(dx, dy)
        nx, ny = (-dy / far * 4.5, dx / far * 4.5) if far > 1.0 else (4.5, 0.0)
        for x, y in (at, end):
            marks.append(Stroke(((x - nx, y - ny), (x + nx, y + ny)), tone, 2.2, False, fact.is_dim))
    elif fact.shape is not None:
        marks.append(Sign(at, fact.shape, 6.0, fact.is_dim))
    return marks


def axis_marks(camera: Camera, size: Size) -> list[Mark]:
    """Return the small cross of the car's axes in the lower left corner, far ends first."""
    right, up, forward = cameras.axes(camera)
    x0, y0 = 68.0, size.height - 56.0
    named = (("x", (1.0, 0.0, 0.0), "front"), ("y", (0.0, 1.0, 0.0), "left"), ("z", (0.0, 0.0, 1.0), "up"))
    marks: list[Mark] = []
    for axis, direction, name in sorted(named, key=lambda row: -float(np.dot(row[1], forward))):
        dx, dy = float(np.dot(direction, right)), -float(np.dot(direction, up))
        end = (x0 + dx * AXIS_LENGTH, y0 + dy * AXIS_LENGTH)
        marks.append(Stroke(((x0, y0), end), axis, 2.2))  # type: ignore[arg-type]
        if math.hypot(dx, dy) > 0.3:
            at = (x0 + dx * (AXIS_LENGTH + 15.0), y0 + dy * (AXIS_LENGTH + 10.0) + 4.0)
            marks.append(Whisper(at, name, axis, True))  # type: ignore[arg-type]
    return marks
