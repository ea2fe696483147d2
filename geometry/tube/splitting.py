"""Where a tube that is too long, or that no order can bend, is best split and sleeved."""

from itertools import pairwise

from msgspec import Struct
from msgspec.structs import replace

from geometry.layout import Layout, Node, Tube
from geometry.tolerances import LENGTH_NOISE, SAME_POINT
from geometry.tube import centreline, feeding
from geometry.tube.centreline import Centreline

SLEEVE = 3.0  # length of an inner sleeve in diameters, half of it each side; common practice, no source
WELD_ROOM = 25.0  # mm of straight beside a sleeve, for the weld and the fit; common practice, no source
STEPS = 8  # parts that a free straight is looked at in
MOST = 12  # places that are tried, those with most room first; each takes some ms


class _Stop(Struct, frozen=True):
    """A part of the tube that a sleeve keeps clear of: a bend, a joint or an end."""

    start: float  # stations
    end: float


class _Place(Struct, frozen=True):
    """Where the tube could be split."""

    station: float
    room: float  # to the nearest bend, joint or end


def half_sleeve(layout: Layout, tube: Tube) -> float:
    """Return how far a sleeve reaches to each side of a split, with room to weld."""
    return SLEEVE / 2.0 * layout.stocks[tube.stock].od + WELD_ROOM


def place(layout: Layout, tube: Tube) -> float | None:
    """Return the station with the most room round it at which both parts can be sawn and bent.

    None where there is no such place.
    """
    line = centreline.of(layout, tube)
    if not line.is_makeable:
        return None
    middle = line.length / 2.0
    places = sorted(
        _places(line, _stops(layout, tube, line), half_sleeve(layout, tube)),
        key=lambda one: (-round(one.room / SAME_POINT), abs(one.station - middle)),
    )
    stick = layout.stocks[tube.stock].stick
    asked = sum(feeding.asked_allowances(layout, tube))
    # No part can stretch more than the whole tube does, nor have a shorter blank than this leaves.
    stretch = max(0.0, line.length + asked - feeding.of(layout, tube).blank)
    could_fit = [one for one in places if max(one.station, line.length - one.station) - stretch <= stick]
    tried = (one.station for one in could_fit[:MOST])
    return next((station for station in tried if _makes_good_parts(layout, tube, line, station)), None)


def _stops(layout: Layout, tube: Tube, line: Centreline) -> list[_Stop]:
    """Return what a sleeve keeps clear of, in the order of the tube."""
    stops = [_Stop(0.0, 0.0), _Stop(line.length, line.length)]
    stops += [_Stop(bend.start, bend.end) for bend in line.bends]
    inner = set(tube.nodes[1:-1])
    for other in layout.tubes.values():
        if other.id == tube.id:
            continue
        half = layout.stocks[other.stock].od / 2.0
        for id in other.nodes:
            node = layout.nodes[id]
            if node.landing is not None and node.landing.tube == tube.id:
                station = node.landing.station
            elif id in inner:
                station, _ = centreline.nearest(line, node.position)
            else:
                continue
            stops.append(_Stop(station - half, station + half))
    return sorted(stops, key=lambda stop: stop.start)


def _places(line: Centreline, stops: list[_Stop], clear: float) -> list[_Place]:
    """Return places between neighbouring stops that a sleeve has room at."""
    places, reached = [], 0.0
    for before, after in pairwise(stops):
        reached = max(reached, before.end)
        low, high = reached + clear, after.start - clear
        if high < low - LENGTH_NOISE:
            continue
        for step in range(STEPS + 1):
            station = low + (high - low) * step / STEPS
            places.append(_Place(station, min(station - reached, after.start - station)))
    return places


def _makes_good_parts(layout: Layout, tube: Tube, line: Centreline, station: float) -> bool:
    """Say whether both parts come from one stick, and nothing stands against bending them."""
    stick = layout.stocks[tube.stock].stick
    split, parts = _split(layout, tube, line, station)
    for part in parts:
        fed = feeding.of(split, part)
        if fed.troubles or fed.blank > stick + LENGTH_NOISE:
            return False
    return True


def _split(layout: Layout, tube: Tube, line: Centreline, station: float) -> tuple[Layout, tuple[Tube, Tube]]:
    """Return both parts of a tube and a layout that has the node between them."""
    leg = centreline.leg_at(line, station)
    node = Node(layout.next_id, centreline.place_at(line, station))
    first = replace(tube, nodes=(*tube.nodes[: leg + 1], node.id), end_allowance=None, end_cut="after")
    second = replace(tube, nodes=(node.id, *tube.nodes[leg + 1 :]), start_allowance=None, start_cut="after")
    return replace(layout, nodes={**layout.nodes, node.id: node}), (first, second)
