"""A body from tape measurements: rows along the car become a closed mesh with named panels.

x is measured from the front axle, forwards; heights from the ground; widths from the centre plane.
"""

from collections.abc import Sequence

import numpy as np
from msgspec.structs import replace as changed
from numpy.typing import NDArray

from geometry.body import loft, measured_checks, measured_parts
from geometry.body.loft import Grid
from geometry.body.measured_parts import Zone
from geometry.body.panels import pointed, remade
from geometry.layout import (
    Body,
    DoorOpening,
    Layout,
    Measured,
    Mesh,
    Panel,
    Station,
    WheelArch,
)
from geometry.tolerances import LENGTH_NOISE
from geometry.vectors import Floats, Ints

GLASS, GRILLE = "#8fa6b2", "#6b6f72"


def shapes() -> dict[str, Measured]:
    """Return the named starting shapes."""
    return {"two-box": _two_box(), "pick-up": _pick_up(), "open tub": _open_tub()}


def _two_box() -> Measured:
    return Measured(
        "two-box",
        (
            Station(650.0, 665.0, 555.0, 690.0, 955.0, 610.0, 1008.0),
            Station(520.0, 712.0, 500.0, 742.0, 982.0, 652.0, 1034.0),
            Station(-480.0, 735.0, 470.0, 768.0, 1040.0, 712.0, 1092.0),
            Station(-800.0, 735.0, 470.0, 770.0, 1045.0, 650.0, 1694.0),
            Station(-1900.0, 735.0, 470.0, 770.0, 1050.0, 652.0, 1706.0),
            Station(-2810.0, 730.0, 495.0, 762.0, 1055.0, 642.0, 1694.0),
            Station(-2930.0, 715.0, 530.0, 750.0, 1055.0, 690.0, 1098.0),
        ),
        (WheelArch(0.0, 395.0, 395.0), WheelArch(-2230.0, 395.0, 395.0)),
        (DoorOpening(-500.0, -1500.0),),
    )


def _pick_up() -> Measured:
    return Measured(
        "pick-up",
        (
            Station(700.0, 690.0, 560.0, 715.0, 965.0, 610.0, 1020.0),
            Station(570.0, 735.0, 510.0, 765.0, 995.0, 645.0, 1048.0),
            Station(-560.0, 760.0, 480.0, 795.0, 1055.0, 700.0, 1105.0),
            Station(-920.0, 760.0, 480.0, 797.0, 1060.0, 645.0, 1700.0),
            Station(-1600.0, 760.0, 480.0, 797.0, 1065.0, 645.0, 1715.0),
            Station(-1700.0, 760.0, 482.0, 797.0, 1065.0, 665.0, 1110.0),
            Station(-1730.0, 760.0, 482.0, 797.0, 1065.0, 720.0, 880.0),
            Station(-3270.0, 755.0, 540.0, 790.0, 1070.0, 718.0, 885.0),
            Station(-3300.0, 755.0, 542.0, 790.0, 1070.0, 700.0, 1075.0),
            Station(-3350.0, 752.0, 545.0, 787.0, 1070.0, 700.0, 1075.0),
        ),
        (WheelArch(0.0, 405.0, 405.0), WheelArch(-2560.0, 405.0, 405.0)),
        (DoorOpening(-580.0, -1560.0),),
    )


def _open_tub() -> Measured:
    return Measured(
        "open tub",
        (
            Station(560.0, 560.0, 560.0, 600.0, 880.0, 500.0, 940.0),
            Station(430.0, 640.0, 500.0, 680.0, 920.0, 560.0, 985.0),
            Station(-560.0, 690.0, 470.0, 730.0, 985.0, 620.0, 1035.0),
            Station(-600.0, 690.0, 470.0, 732.0, 985.0, 660.0, 600.0),
            Station(-680.0, 690.0, 470.0, 732.0, 800.0, 660.0, 565.0),
            Station(-1330.0, 690.0, 470.0, 735.0, 790.0, 660.0, 560.0),
            Station(-1450.0, 690.0, 475.0, 735.0, 985.0, 660.0, 580.0),
            Station(-1530.0, 690.0, 475.0, 735.0, 1000.0, 660.0, 850.0),
            Station(-2400.0, 685.0, 520.0, 730.0, 1000.0, 655.0, 860.0),
            Station(-2430.0, 685.0, 522.0, 728.0, 1000.0, 620.0, 1005.0),
            Station(-2580.0, 670.0, 540.0, 705.0, 995.0, 600.0, 1000.0),
        ),
        (WheelArch(0.0, 390.0, 390.0, 230.0), WheelArch(-2060.0, 390.0, 390.0, 230.0)),
    )


def build(measured: Measured) -> tuple[tuple[str, Mesh], ...]:
    """Make the panels, named; merged they are one closed skin. Refuse numbers that make no body."""
    measured_checks.verify(measured)
    zones = measured_parts.zones_of(measured)
    grid = loft.left_half(measured, measured_parts.break_lines(measured, zones))
    points, triangles, names = _half_skin(measured, zones, grid)
    points, triangles, labels = _both_sides(points, triangles, names)
    return tuple((name, _submesh(points, triangles[labels == name])) for name in _in_order(labels))


def add_to(layout: Layout, measured: Measured, name: str) -> tuple[Layout, int, tuple[int, ...]]:
    """Add the body and its panels; return the layout, the body's id and the panels' ids."""
    panels = build(measured)
    body = Body(layout.next_id, name, measured=measured)
    ids = tuple(range(body.id + 1, body.id + 1 + len(panels)))
    added = {
        id: Panel(id, panel_name, body.id, mesh, source=panel_name, colour=_colour(panel_name))
        for id, (panel_name, mesh) in zip(ids, panels, strict=True)
    }
    after = changed(
        layout,
        next_id=body.id + 1 + len(panels),
        bodies=layout.bodies | {body.id: body},
        panels=layout.panels | added,
    )
    return after, body.id, ids


def replace(layout: Layout, body_id: int, measured: Measured) -> Layout:
    """Make a measured body anew; panels that are still there keep their id, name and colour."""
    built = build(measured)
    old = {panel.source: panel for panel in layout.panels.values() if panel.body == body_id}
    panels = {id: panel for id, panel in layout.panels.items() if panel.body != body_id}
    next_id = layout.next_id
    for source, mesh in built:
        known = old.get(source)
        if known is None:
            panels[next_id] = Panel(next_id, source, body_id, mesh, source=source, colour=_colour(source))
            next_id += 1
        else:
            panels[known.id] = known if _same(known.whole, mesh) else remade(known, mesh)
    body = changed(layout.bodies[body_id], measured=measured)
    after = changed(
        layout,
        next_id=next_id,
        bodies=layout.bodies | {body_id: body},
        panels=dict(sorted(panels.items())),
    )
    return pointed(after, dict.fromkeys(layout.panels.keys() - panels.keys()))


def _same(one: Mesh, other: Mesh) -> bool:
    return np.array_equal(one.vertices, other.vertices) and np.array_equal(one.triangles, other.triangles)


def _colour(name: str) -> str | None:
    if name == "grille":
        return GRILLE
    return GLASS if "glass" in name or name in ("windscreen", "rear window") else None


# From the grid to meshes ---------------------------------------------------------------------------


def _half_skin(
    measured: Measured, zones: Sequence[Zone], grid: Grid
) -> tuple[Floats, Ints, NDArray[np.str_]]:
    """Return points, triangles and part names of the left half; "*" marks one of a pair."""
    skin, cells = loft.cells_to_triangles(grid.points, 0)
    names = np.array(measured_parts.parts_along(measured, zones, grid)).ravel()
    front, back = loft.cap(grid.points[0]), loft.cap(grid.points[-1])
    first = grid.points.shape[0] * grid.points.shape[1]
    front_triangles, front_cells = loft.cells_to_triangles(front, first)
    back_triangles, back_cells = loft.cells_to_triangles(back, first + front.shape[0] * front.shape[1])
    tail = "tailgate" if zones[-1].top in ("tailgate", "bed") or _ends_with_bed(zones) else "tail"
    points = np.concatenate((grid.points.reshape(-1, 3), front.reshape(-1, 3), back.reshape(-1, 3)))
    triangles = np.concatenate((skin, front_triangles, back_triangles[:, ::-1]))
    face = np.where(_is_grille(front) & (zones[0].top == "bonnet"), "grille", "front").ravel()
    labels = np.concatenate((names[cells], face[front_cells], np.full(len(back_cells), tail)))
    return points, triangles, labels


def _is_grille(front: Floats) -> NDArray[np.bool_]:
    """Tell which cells (across, up) of the front are the radiator's opening."""
    across, up = np.indices((front.shape[0] - 1, front.shape[1] - 1))
    first = loft.CELLS[loft.SILL] + 2
    is_high: NDArray[np.bool_] = (up >= first) & (up < first + loft.CELLS[loft.LOWER] - 3)
    is_grille: NDArray[np.bool_] = is_high & (across < loft.CELLS[loft.FLOOR])
    return is_grille


def _ends_with_bed(zones: Sequence[Zone]) -> bool:
    return any(zone.top == "bed" for zone in zones)


def _both_sides(
    points: Floats, triangles: Ints, names: NDArray[np.str_]
) -> tuple[Floats, Ints, NDArray[np.str_]]:
    """Mirror the left half, merge equal points, drop triangles that have fallen together."""
    both = np.concatenate((points, points * (1.0, -1.0, 1.0)))
    snapped = np.round(both / LENGTH_NOISE) + 0.0  # + 0.0: no -0.0, or twins on the centre plane differ
    _, first, same = np.unique(snapped, axis=0, return_index=True, return_inverse=True)
    all_triangles = same.reshape(-1)[np.concatenate((triangles, triangles[:, ::-1] + len(points)))]
    sided = np.char.startswith(names, "*")
    bare = np.char.lstrip(names, "*")
    labels = np.concatenate(
        (
            np.where(sided, np.char.add("left ", bare), bare),
            np.where(sided, np.char.add("right ", bare), bare),
        )
    )
    a, b, c = all_triangles.T
    whole = (a != b) & (b != c) & (c != a)
    return both[first] + 0.0, all_triangles[whole], labels[whole]


def _in_order(labels: NDArray[np.str_]) -> list[str]:
    """Return the names as one walks round the car: middle parts first, then left, then right."""
    names = sorted(set(labels.tolist()))
    return sorted(names, key=lambda name: (name.startswith("right "), name.startswith("left ")))


def _submesh(points: Floats, triangles: Ints) -> Mesh:
    used, index = np.unique(triangles, return_inverse=True)
    vertices = np.ascontiguousarray(points[used], dtype=np.float64)
    faces = np.ascontiguousarray(index.reshape(-1, 3), dtype=np.int32)
    vertices.flags.writeable = faces.flags.writeable = False
    return Mesh(vertices, faces)
