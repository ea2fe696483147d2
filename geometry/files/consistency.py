"""What every layout promises, checked on what a file says; the first broken promise is said in words."""

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
from msgspec import structs

from geometry import edits, references, zoning
from geometry.aids import Measure
from geometry.body import tyres
from geometry.errors import GeometryError
from geometry.layout import SELECTABLE, Axle, Layout, Mesh, Motion, Panel, Slide, Stock, Tube
from geometry.measuring import values
from geometry.tolerances import FARTHEST_POINT, SAME_POINT

Seen = set[tuple[int, int]]  # meshes, by the identity of their arrays
PLAIN = (str, int, bool, type(None))
KINDS = (*SELECTABLE, "stocks", "dies", "benders", "trials", "snapshots")


def broken_promises(layout: Layout) -> Iterator[str]:
    """Yield what is wrong with a layout, as the end of 'This job cannot be used: ...'."""
    seen: Seen = set()
    yield from _broken(layout, seen)
    yield from _bad_snapshots(layout, seen)


def _broken(layout: Layout, seen: Seen) -> Iterator[str]:
    """Yield what is wrong in a layout, snapshots aside; meshes seen before are not gone through again."""
    yield from _bad_ids(layout)
    yield from _bad_limits(layout)
    things: list[Tube | Panel] = [*layout.tubes.values(), *layout.panels.values()]
    for thing in things:
        own = (thing.standoff_closest, thing.standoff_farthest)
        yield from (f"{thing.name} {fault}" for fault in _bad_standoff(*own))
    for node in layout.nodes.values():
        yield from (f"node {node.id} {fault}" for fault in _bad_standoff(node.standoff))
        if node.twin is not None and node.twin not in layout.nodes:
            yield f"node {node.id} is the twin of node {node.twin}, which is missing"
        if FARTHEST_POINT < max(map(abs, node.position)) < math.inf:
            yield f"node {node.id} lies more than a kilometre from the car"
    for tube in layout.tubes.values():
        yield from _bad_tube(layout, tube)
    yield from _bad_landings(layout)
    for panel in layout.panels.values():
        if panel.body not in layout.bodies:
            yield f"panel {panel.name} belongs to body {panel.body}, which is missing"
        yield from (f"panel {panel.name} {fault}" for fault in _bad_mesh(panel.mesh, seen))
        if panel.motion is not None:
            yield from (f"panel {panel.name} {fault}" for fault in _bad_motion(panel.motion))
        if panel.trim is not None:
            whole = _bad_mesh(panel.trim.whole, seen)
            yield from (f"panel {panel.name}, untrimmed, {fault}" for fault in whole)
    yield from _bad_carriers(layout)
    for axle in layout.axles.values():
        yield from _bad_axle(axle)
    yield from _bad_aids(layout)
    for measure in layout.measures.values():
        yield from _bad_measure(layout, measure)
    for stock in layout.stocks.values():
        yield from _bad_stock(stock)
    for die in layout.dies.values():
        if die.od <= 0 or die.clr <= 0:
            yield f"die {die.name} has no size"
        if die.bender is not None and die.bender not in layout.benders:
            yield f"die {die.name} is used in bender {die.bender}, which is missing"
    for trial in layout.trials.values():
        if trial.die not in layout.dies or trial.stock not in layout.stocks:
            yield f"trial bend {trial.id} has lost its die or its stock"


def is_all_finite(value: Any) -> bool:
    """Say whether plain data (dicts, lists, numbers) holds no NaN and no infinity."""
    if isinstance(value, float):
        return math.isfinite(value)
    if not isinstance(value, dict | list | tuple):
        return True
    for inner in value.values() if isinstance(value, dict) else value:
        kind = type(inner)
        if kind is float:  # nearly all there is: no call for each
            if not math.isfinite(inner):
                return False
        elif kind not in PLAIN and not is_all_finite(inner):
            return False
    return True


def _bad_ids(layout: Layout) -> Iterator[str]:
    seen: set[int] = set()
    for kind in KINDS:
        for id, thing in getattr(layout, kind).items():
            if thing.id != id:
                yield f"id {id} of {kind} holds id {thing.id}"
            if id in seen:
                yield f"id {id} is used twice"
            if not 0 < id < layout.next_id:
                yield f"id {id} was never given out"
            seen.add(id)


def _bad_limits(layout: Layout) -> Iterator[str]:
    try:
        edits.set_limits(Layout(), **structs.asdict(layout.limits))
    except GeometryError as error:
        yield f"a limit cannot be so ({str(error).rstrip('.')})"


def _bad_standoff(*lengths: float | None) -> Iterator[str]:
    for own in lengths:
        if own is not None and not 0.0 <= own < FARTHEST_POINT:
            yield f"is to stand off by {own:g} mm, which is no length of 0 or more"


def _bad_motion(motion: Motion) -> Iterator[str]:
    """Yield why a panel cannot be moved so; what is merely unusual is no fault of a file."""
    if isinstance(motion, Slide):
        if not math.hypot(*motion.shift) < FARTHEST_POINT:
            yield "slides more than a kilometre"
    elif not max(map(abs, (*motion.start, *motion.end))) < FARTHEST_POINT:
        yield "has its hinge more than a kilometre from the car"
    elif math.dist(motion.start, motion.end) <= SAME_POINT:
        yield "has a hinge whose two points are one"
    elif not abs(motion.angle) <= math.tau:
        yield "opens by more than a whole turn"


def _bad_tube(layout: Layout, tube: Tube) -> Iterator[str]:
    if len(tube.nodes) < 2:
        yield f"tube {tube.name} has {len(tube.nodes)} nodes and needs two"
    for node in tube.nodes:
        if node not in layout.nodes:
            yield f"tube {tube.name} runs through node {node}, which is missing"
    if tube.stock not in layout.stocks:
        yield f"tube {tube.name} is of stock {tube.stock}, which is missing"
    if tube.die is not None and tube.die not in layout.dies:
        yield f"tube {tube.name} is bent on die {tube.die}, which is missing"
    if tube.twin is not None and tube.twin not in layout.tubes:
        yield f"tube {tube.name} is the twin of tube {tube.twin}, which is missing"
    for weld in tube.welds:
        if weld.panel not in layout.panels:
            yield f"tube {tube.name} is welded to panel {weld.panel}, which is missing"


def _bad_landings(layout: Layout) -> Iterator[str]:
    hosts: dict[int, set[int]] = {tube: set() for tube in layout.tubes}
    for tube in layout.tubes.values():
        for node in tube.nodes:
            landing = layout.nodes[node].landing if node in layout.nodes else None
            if landing is not None:
                hosts[tube.id].add(landing.tube)
    for node_id, point in layout.nodes.items():
        if point.landing is not None and point.landing.tube not in layout.tubes:
            yield f"node {node_id} lands on tube {point.landing.tube}, which is missing"
    while leaves := [tube for tube, on in hosts.items() if not on & hosts.keys()]:
        for tube_id in leaves:
            del hosts[tube_id]
    if hosts:
        names = ", ".join(layout.tubes[tube].name for tube in hosts)
        yield f"tubes {names} land on one another in a ring"


def _bad_carriers(layout: Layout) -> Iterator[str]:
    """Yield the panels that move with one that is missing, or in a ring."""
    for panel in layout.panels.values():
        carrier, seen = panel, {panel.id}
        while carrier.moves_with is not None:
            if carrier.moves_with not in layout.panels:
                yield f"panel {carrier.name} moves with panel {carrier.moves_with}, which is missing"
                return
            if carrier.moves_with in seen:
                yield f"panel {panel.name} moves with itself in the end"
                return
            seen.add(carrier.moves_with)
            carrier = layout.panels[carrier.moves_with]


def _bad_axle(axle: Axle) -> Iterator[str]:
    try:
        tyres.check(axle)
    except GeometryError as error:
        yield f"axle {axle.name} cannot be so ({str(error).rstrip('.')})"


def _bad_aids(layout: Layout) -> Iterator[str]:
    for reference in layout.references.values():
        try:
            references.checked(reference)
        except GeometryError as error:
            yield f"reference {reference.name} cannot be so ({str(error).rstrip('.')})"
    for zone in layout.zones.values():
        try:
            zoning.checked(zone)
        except GeometryError as error:
            yield f"access zone {zone.name} cannot be so ({str(error).rstrip('.')})"


def _bad_measure(layout: Layout, measure: Measure) -> Iterator[str]:
    least, most = values.SPOTS[measure.kind]
    count = len(measure.spots)
    if count < least or (most is not None and count > most):
        yield f"measure {measure.name} is taken from {count} places and needs {least}"
    for spot in measure.spots:
        named = {
            "nodes": getattr(spot, "node", None),
            "tubes": getattr(spot, "tube", None),
            "panels": getattr(spot, "panel", None),
            "references": getattr(spot, "reference", None),
        }
        for kind, id in named.items():
            if id is not None and id not in getattr(layout, kind):
                yield f"measure {measure.name} is taken from {kind[:-1]} {id}, which is missing"


def _bad_snapshots(layout: Layout, seen: Seen) -> Iterator[str]:
    """Yield what is wrong within snapshots, and ids that stand for one thing here and for another there."""
    kinds = _kinds_of_ids(layout)
    for snapshot in layout.snapshots.values():
        then, where = snapshot.layout, f"in the snapshot {snapshot.name}"
        if then.snapshots:
            yield f"{where} there are snapshots again"
        if then.next_id > snapshot.id:
            yield f"{where} ids were given out that the job has no count of"
        for id, kind in _kinds_of_ids(then).items():
            if kinds.setdefault(id, kind) != kind:
                yield f"{where} id {id} is of {kind}, and of {kinds[id]} elsewhere, so it is used twice"
        yield from (f"{where}, {fault}" for fault in _broken(then, seen))


def _kinds_of_ids(layout: Layout) -> dict[int, str]:
    return {id: kind for kind in KINDS for id in getattr(layout, kind)}


def _bad_mesh(mesh: Mesh, seen: Seen) -> Iterator[str]:
    key = (id(mesh.vertices), id(mesh.triangles))
    if key in seen:
        return
    seen.add(key)
    vertices, triangles = mesh.vertices, mesh.triangles
    if vertices.dtype != np.float64 or triangles.dtype != np.int32:
        yield "has its arrays mixed up"
        return
    if not np.isfinite(vertices).all():
        yield "has a vertex that is nowhere"
    if len(triangles) and not (triangles.min() >= 0 and triangles.max() < len(vertices)):
        yield "has a triangle whose corner is missing"


def _bad_stock(stock: Stock) -> Iterator[str]:
    if not 0 < stock.wall <= stock.od / 2:
        yield f"stock {stock.name} has a wall of {stock.wall:g} mm on {stock.od:g} mm"
