"""What tubes and panels say of other panels, kept true while panels come and go."""

from collections.abc import Callable, Mapping, Set

import numpy as np
from msgspec.structs import replace

from geometry.aids import BoxShape, ConeShape, LineShape, PlaneShape, PointShape
from geometry.body.placement import mesh_points, world_points
from geometry.layout import Hinge, Layout, Mesh, Motion, Panel, Placement, Slide, Tube
from geometry.tolerances import FARTHEST_POINT
from geometry.vectors import Vec3, distance, minus, plus, vec

SHORTEST_LINE = 1.0  # mm; a reference line that a change of unit makes shorter stays as it was


def without(layout: Layout, gone: Set[int]) -> Layout:
    """Return the layout without some panels, and without what others say of them."""
    if not gone:
        return layout
    left = {id: panel for id, panel in layout.panels.items() if id not in gone}
    return pointed(replace(layout, panels=left), dict.fromkeys(gone))


def pointed(layout: Layout, instead: Mapping[int, int | None]) -> Layout:
    """Return the layout with what is said of some panels said of others, or of none."""
    tubes = {id: _tube(tube, instead) for id, tube in layout.tubes.items()}
    panels = {id: _panel(panel, instead) for id, panel in layout.panels.items()}
    same_tubes = all(tubes[id] is tube for id, tube in layout.tubes.items())
    same_panels = all(panels[id] is panel for id, panel in layout.panels.items())
    return replace(
        layout,
        tubes=layout.tubes if same_tubes else tubes,
        panels=layout.panels if same_panels else panels,
    )


def remade(panel: Panel, mesh: Mesh) -> Panel:
    """Return a panel with another mesh; what was trimmed off the old one says nothing of it."""
    return replace(panel, mesh=mesh, trim=None)


def placed_anew(layout: Layout, body: int, new: Placement) -> Layout:
    """Return the layout with a body at another placement, and the hinges and slides of its panels with it.

    References and access zones were set on the only body there is, so they go along; limits stay.
    """
    old = layout.bodies[body].placement
    bodies = {**layout.bodies, body: replace(layout.bodies[body], placement=new)}
    if old == new:
        return layout
    panels = {
        id: replace(panel, motion=_carried(panel.motion, old, new))
        if panel.body == body and panel.motion is not None
        else panel
        for id, panel in layout.panels.items()
    }
    same = all(panels[id] is panel for id, panel in layout.panels.items())
    if len(layout.bodies) == 1:
        layout = _aids_carried(layout, old, new)
    return replace(layout, bodies=bodies, panels=layout.panels if same else panels)


def _aids_carried(layout: Layout, old: Placement, new: Placement) -> Layout:
    """Return the layout with its references and zones where the body went, as large as they were."""

    def there(point: Vec3) -> Vec3:
        place = world_points(new, mesh_points(old, np.array([point])))[0]
        return vec(np.clip(place, -FARTHEST_POINT, FARTHEST_POINT))

    def turned(way: Vec3) -> Vec3:
        return vec(np.array(new.turn) @ np.array(old.turn).T @ np.array(way))

    references = {
        id: one if one.limit else replace(one, shape=_shape_carried(one.shape, there, turned))
        for id, one in layout.references.items()
    }
    zones = {
        id: replace(one, shape=_zone_carried(one.shape, there, turned)) for id, one in layout.zones.items()
    }
    return replace(layout, references=references, zones=zones) if references or zones else layout


def _shape_carried(
    shape: PointShape | LineShape | PlaneShape,
    there: Callable[[Vec3], Vec3],
    turned: Callable[[Vec3], Vec3],
) -> PointShape | LineShape | PlaneShape:
    if isinstance(shape, LineShape):
        start, end = there(shape.start), there(shape.end)
        return LineShape(start, end) if distance(start, end) > SHORTEST_LINE else shape
    if isinstance(shape, PlaneShape):
        return PlaneShape(there(shape.at), turned(shape.normal))
    return PointShape(there(shape.at))


def _zone_carried(
    shape: BoxShape | ConeShape, there: Callable[[Vec3], Vec3], turned: Callable[[Vec3], Vec3]
) -> BoxShape | ConeShape:
    if isinstance(shape, BoxShape):
        x, y, z = (turned(row) for row in shape.turn)
        return BoxShape(there(shape.middle), shape.size, (x, y, z))
    along = turned(minus(shape.end, shape.start))
    start = there(shape.start)
    return ConeShape(start, plus(start, along), shape.start_radius, shape.end_radius)


def _carried(motion: Motion, old: Placement, new: Placement) -> Motion:
    """Return a motion as it is where the body went: by the way from the old placement to the new."""

    def there(points: list[Vec3]) -> list[Vec3]:
        return [vec(p) for p in world_points(new, mesh_points(old, np.array(points)))]

    if isinstance(motion, Hinge):
        start, end = there([motion.start, motion.end])
        return Hinge(start, end, motion.angle)
    origin, end = there([(0.0, 0.0, 0.0), motion.shift])
    return Slide(minus(end, origin))


def _tube(tube: Tube, instead: Mapping[int, int | None]) -> Tube:
    if not any(weld.panel in instead for weld in tube.welds):
        return tube
    welds = []
    for weld in tube.welds:
        panel = instead.get(weld.panel, weld.panel)
        if panel is not None:
            welds.append(replace(weld, panel=panel))
    return replace(tube, welds=tuple(dict.fromkeys(welds)))


def _panel(panel: Panel, instead: Mapping[int, int | None]) -> Panel:
    if panel.moves_with is None or panel.moves_with not in instead:
        return panel
    carrier = instead[panel.moves_with]
    return replace(panel, moves_with=None if carrier == panel.id else carrier)
