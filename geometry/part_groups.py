"""Reusable parts: a group of tubes with all it needs, to be placed in any job."""

import math
import re
from collections.abc import Iterable, Mapping
from typing import TypeVar

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from geometry import edits, naming, refusals
from geometry.errors import GeometryError
from geometry.layout import Die, Landing, Layout, Node, Stock, Tube
from geometry.tolerances import SAME_POINT
from geometry.tube import bending
from geometry.vectors import UNTURNED, Floats, Rows3, Vec3, minus, vec

Row = TypeVar("Row", Stock, Die)


class PartGroup(Struct, frozen=True):
    """Tubes with their nodes, in axes of their own, and the rack that they need.

    Nodes are measured from the base, along the axes (rows, in those of the car it was taken from).
    """

    name: str
    base: Vec3
    nodes: tuple[Node, ...]
    tubes: tuple[Tube, ...]
    stocks: tuple[Stock, ...]
    dies: tuple[Die, ...] = ()
    axes: Rows3 = UNTURNED


def taken(layout: Layout, tubes: Iterable[int], name: str = "", base: Vec3 | None = None) -> PartGroup:
    """Return tubes as a part that stands by itself; its base is the lowest of their ends.

    Ends that sit on tubes of the group keep doing so, others become free. What belongs to this
    body or its other side (weld marks, stand-offs, twins) stays behind.
    """
    chosen = _chosen(layout, tubes)
    ids = {tube.id for tube in chosen}
    nodes = [layout.nodes[id] for id in dict.fromkeys(id for tube in chosen for id in tube.nodes)]
    if base is None:
        ends = [layout.nodes[id].position for tube in chosen for id in (tube.nodes[0], tube.nodes[-1])]
        base = min(ends, key=lambda at: round(at[2] / SAME_POINT))
    stocks = dict.fromkeys(tube.stock for tube in chosen)
    dies = {tube.id: bending.die_of(layout, tube) for tube in chosen}
    kept = {die.id: replace(die, bender=None) for die in dies.values() if die is not None}
    return PartGroup(
        name=naming.checked(name or naming.listed(chosen)),
        base=refusals.checked_place(base),
        nodes=tuple(_loose(node, base, ids) for node in nodes),
        tubes=tuple(
            replace(
                tube,
                welds=(),
                twin=None,
                shown=True,
                locked=False,
                die=tube.die if tube.die in kept else None,
            )
            for tube in chosen
        ),
        stocks=tuple(layout.stocks[id] for id in stocks),
        dies=tuple(kept.values()),
    )


def placed(
    layout: Layout, part: PartGroup, at: Vec3, turn: float = 0.0, mirrored: bool = False
) -> tuple[Layout, tuple[int, ...]]:
    """Put a part with its base at a place, turned about the upright; returns the new tubes.

    Mirrored parts are mirrored first, across the lengthwise plane through their base. Tube sizes and dies
    that the rack has, by name and size, are used; others are added.
    """
    refusals.checked_place(at)
    if not math.isfinite(turn):
        raise GeometryError("The turn of a part must be a number.")
    after, stocks = _with_stocks(layout, part)
    after, dies = _with_dies(after, part)
    first = after.next_id
    node_ids = {node.id: first + i for i, node in enumerate(part.nodes)}
    tube_ids = {tube.id: first + len(node_ids) + i for i, tube in enumerate(part.tubes)}
    points = _turned(part, at, turn, mirrored)
    nodes = {
        node_ids[node.id]: replace(
            node,
            id=node_ids[node.id],
            position=refusals.checked_place(vec(point)),
            landing=_landing(node, tube_ids),
        )
        for node, point in zip(part.nodes, points, strict=True)
    }
    after = replace(after, nodes={**after.nodes, **nodes}, next_id=first + len(node_ids) + len(tube_ids))
    for tube in part.tubes:
        new = replace(
            tube,
            id=tube_ids[tube.id],
            name=_free_name(after, tube.name, mirrored),
            nodes=tuple(node_ids[id] for id in tube.nodes),
            stock=stocks[tube.stock],
            die=None if tube.die is None else dies[tube.die],
        )
        after = replace(after, tubes={**after.tubes, new.id: new})
    return edits.settled(layout, after), tuple(tube_ids.values())


def as_layout(part: PartGroup) -> Layout:
    """Return a job that holds a part alone, under the ids that the part uses; for checks."""
    return Layout(
        name=part.name,
        next_id=max(ids_of(part), default=0) + 1,
        nodes={node.id: node for node in part.nodes},
        tubes={tube.id: tube for tube in part.tubes},
        stocks={stock.id: stock for stock in part.stocks},
        dies={die.id: die for die in part.dies},
    )


def ids_of(part: PartGroup) -> list[int]:
    """Return every id that a part gives out."""
    rows: tuple[Node | Tube | Stock | Die, ...] = (*part.nodes, *part.tubes, *part.stocks, *part.dies)
    return [row.id for row in rows]


def _chosen(layout: Layout, tubes: Iterable[int]) -> list[Tube]:
    ids = list(dict.fromkeys(tubes))
    if not ids:
        raise GeometryError("Select the tubes of the part first.")
    if gone := [id for id in ids if id not in layout.tubes]:
        raise GeometryError("A tube of this part is no longer in the job.", gone)
    return [layout.tubes[id] for id in ids]


def _loose(node: Node, base: Vec3, tubes: set[int]) -> Node:
    sits = node.landing is not None and node.landing.tube in tubes
    return replace(
        node,
        position=minus(node.position, base),
        landing=node.landing if sits else None,
        standoff=None,
        twin=None,
    )


def _landing(node: Node, tubes: Mapping[int, int]) -> Landing | None:
    return None if node.landing is None else Landing(tubes[node.landing.tube], node.landing.station)


def _turned(part: PartGroup, at: Vec3, turn: float, mirrored: bool) -> Floats:
    """Return where the nodes of a part come to stand (n, 3)."""
    points = np.array([node.position for node in part.nodes]).reshape(-1, 3) @ np.array(part.axes)
    if mirrored:
        points = points * (1.0, -1.0, 1.0)
    c, s = math.cos(turn), math.sin(turn)
    turned: Floats = points @ np.array(((c, s, 0.0), (-s, c, 0.0), (0.0, 0.0, 1.0))) + at
    return turned


def _with_stocks(layout: Layout, part: PartGroup) -> tuple[Layout, dict[int, int]]:
    found: dict[int, int] = {}
    for row in part.stocks:
        refusals.checked_stock(row)
        same = next((s.id for s in layout.stocks.values() if _is_same_stock(s, row)), None)
        found[row.id] = layout.next_id if same is None else same
        if same is None:
            new = replace(row, id=layout.next_id, name=_free_row(layout.stocks, row))
            layout = replace(layout, stocks={**layout.stocks, new.id: new}, next_id=layout.next_id + 1)
    return layout, found


def _with_dies(layout: Layout, part: PartGroup) -> tuple[Layout, dict[int, int]]:
    """Return the rack with the dies that a part needs: those it chose, and one where there is none."""
    chosen = {tube.die for tube in part.tubes}
    ods = {stock.id: stock.od for stock in part.stocks}
    found: dict[int, int] = {}
    for row in part.dies:
        refusals.checked_die(row)
        same = next((d.id for d in layout.dies.values() if _is_same_die(d, row)), None)
        is_wanted = row.id in chosen or (
            any(abs(od - row.od) <= SAME_POINT for od in ods.values())
            and not any(abs(die.od - row.od) <= SAME_POINT for die in layout.dies.values())
        )
        if same is not None:
            found[row.id] = same
        elif is_wanted:
            new = replace(row, id=layout.next_id, bender=None, name=_free_row(layout.dies, row))
            found[row.id] = new.id
            layout = replace(layout, dies={**layout.dies, new.id: new}, next_id=layout.next_id + 1)
    return layout, found


def _is_same_stock(a: Stock, b: Stock) -> bool:
    sizes = abs(a.od - b.od) <= SAME_POINT and abs(a.wall - b.wall) <= SAME_POINT
    return sizes and _plain(a.name) == _plain(b.name)


def _is_same_die(a: Die, b: Die) -> bool:
    sizes = abs(a.od - b.od) <= SAME_POINT and abs(a.clr - b.clr) <= SAME_POINT
    return sizes and _plain(a.name) == _plain(b.name)


def _plain(name: str) -> str:
    return " ".join(name.split()).casefold()


def _free_row(rows: Mapping[int, Row], row: Row) -> str:
    """Return a name that no row of the rack has: one of this name has another size."""
    return _numbered(naming.checked(row.name), {_plain(other.name) for other in rows.values()})


def _free_name(layout: Layout, name: str, mirrored: bool) -> str:
    taken = {_plain(tube.name) for tube in layout.tubes.values()}
    name = naming.checked(name)
    if mirrored:
        twin = naming.twin_of(layout, name)
        if not re.fullmatch(r"T\d+", twin):
            return twin
    if _plain(name) not in taken:
        return name
    return naming.next_for_tube(layout) if re.fullmatch(r"T\d+", name) else _numbered(name, taken)


def _numbered(name: str, taken: set[str]) -> str:
    if _plain(name) not in taken:
        return name
    number = 2
    while _plain(f"{name} {number}") in taken:
        number += 1
    return f"{name} {number}"
