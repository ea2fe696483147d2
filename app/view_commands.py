"""Commands of the view: tools, where to look from, how the body is drawn."""

from typing import Literal

import numpy as np
from PySide6.QtCore import QObject

from app.session import Session
from app.viewport.view import View
from geometry import references, zoning
from geometry.checks.findings import Finding
from geometry.layout import Layout
from geometry.measuring import values
from geometry.measuring.values import Value
from geometry.tube import centreline
from geometry.vectors import Vec3, vec

OPACITY_STEP = 0.2
LEAST_OPACITY = 0.2
SECTION_STEP = 50.0  # mm
NEAR = 250.0  # mm round a place that is flown to


class ViewCommands(QObject):
    """Each method is a command of the same name."""

    def __init__(self, view: View, session: Session, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._view = view
        self._session = session
        self._opacity = 1.0
        self._section: Literal["x", "y", "z"] | None = None
        self._offset = 0.0

    def tool_select(self) -> None:
        self._take("select")

    def tool_tube(self) -> None:
        self._take("tube")

    def tool_node(self) -> None:
        self._take("node")

    def tool_split(self) -> None:
        self._take("split")

    def tool_measure(self) -> None:
        self._take("measure")

    def tool_reference(self) -> None:
        self._take("reference")

    def guides(self, on: bool) -> None:
        self._view.snaps = on

    def ride(self) -> None:
        self._view.ride_selection()

    def stand_off(self) -> None:
        self._view.stand_off_selection()

    def fit(self) -> None:
        self._view.fit()

    def fly_to(self) -> None:
        """To the selection, or to everything when nothing is selected."""
        self.fly_to_ids(self._session.selection)

    def look_front(self) -> None:
        self._view.look_from("front")

    def look_back(self) -> None:
        self._view.look_from("back")

    def look_left(self) -> None:
        self._view.look_from("left")

    def look_right(self) -> None:
        self._view.look_from("right")

    def look_top(self) -> None:
        self._view.look_from("top")

    def look_bottom(self) -> None:
        self._view.look_from("bottom")

    def look_corner(self) -> None:
        self._view.look_from("corner")

    def parallel(self, on: bool) -> None:
        self._view.set_parallel(on)

    def grid(self, on: bool) -> None:
        self._view.set_grid(on)

    def show_measures(self, on: bool) -> None:
        self._view.set_measures(on)

    def figure(self, on: bool) -> None:
        self._view.set_figure(on)

    def colour_bands(self) -> None:
        self._view.set_colouring("bands")

    def colour_ramp(self) -> None:
        self._view.set_colouring("ramp")

    def colour_plain(self) -> None:
        self._view.set_colouring("plain")

    def colour_sides(self) -> None:
        self._view.set_colouring("sides")

    def fainter(self) -> None:
        self._set_opacity(self._opacity - OPACITY_STEP)

    def denser(self) -> None:
        self._set_opacity(self._opacity + OPACITY_STEP)

    def section_off(self) -> None:
        self._cut(None, 0.0)

    def section_x(self) -> None:
        self._cut("x", self._middle(0))

    def section_y(self) -> None:
        self._cut("y", 0.0)

    def section_z(self) -> None:
        self._cut("z", self._middle(2))

    def section_back(self) -> None:
        self._cut(self._section, self._offset - SECTION_STEP)

    def section_on(self) -> None:
        self._cut(self._section, self._offset + SECTION_STEP)

    def fly_to_ids(self, ids: frozenset[int]) -> None:
        """Bring things into the middle of the view."""
        points = places_of(self._session.layout, ids)
        if not points:
            self._view.fit()
            return
        low, high = np.min(points, axis=0), np.max(points, axis=0)
        radius = float(np.linalg.norm(high - low)) / 2.0
        self._view.fly_to(vec((low + high) / 2.0), max(radius, NEAR))

    def show_finding(self, finding: Finding) -> None:
        """Fly to where a finding is, and show what it speaks of."""
        self._view.point_out(finding.tubes, finding.panels)
        if finding.at is not None:
            self._view.fly_to(finding.at, NEAR)
        else:
            self.fly_to_ids(frozenset((*finding.tubes, *finding.nodes)))

    def _take(self, tool: str) -> None:
        self._view.set_tool(tool)  # type: ignore[arg-type]
        self._view.setFocus()

    def _set_opacity(self, opacity: float) -> None:
        self._opacity = min(max(opacity, LEAST_OPACITY), 1.0)
        self._view.set_body_opacity(self._opacity)

    def _cut(self, axis: Literal["x", "y", "z"] | None, offset: float) -> None:
        self._section, self._offset = axis, offset
        self._view.set_section(axis, offset)

    def _middle(self, axis: int) -> float:
        """The middle of everything along an axis, where a first cut shows most."""
        points = places_of(self._session.layout, frozenset(self._session.layout.panels))
        if not points:
            return 0.0
        values = [point[axis] for point in points]
        return (min(values) + max(values)) / 2.0


def places_of(layout: Layout, ids: frozenset[int]) -> list[Vec3]:
    """Points that span things: nodes, ends and corners of tubes, the boxes of panels and wheels."""
    from geometry.body import placement, tyres

    points: list[Vec3] = [layout.nodes[id].position for id in ids if id in layout.nodes]
    for id in ids & layout.tubes.keys():
        points += centreline.of(layout, layout.tubes[id]).points
    for id in ids & layout.axles.keys():
        for wheel in tyres.wheels(layout.axles[id]):
            half = (wheel.tyre.od / 2.0, wheel.tyre.width / 2.0, wheel.tyre.od / 2.0)
            points += [vec(np.subtract(wheel.centre, half)), vec(np.add(wheel.centre, half))]
    for id in ids & layout.references.keys():
        points += references.places_of(layout.references[id].shape)
    for id in ids & layout.zones.keys():
        points += [vec(corner) for corner in zoning.bounds(layout.zones[id].shape)]
    for id in ids & layout.measures.keys():
        value = values.of(layout, layout.measures[id])
        points += value.ends if isinstance(value, Value) else ()
    for panel in layout.panels.values():
        if panel.id in ids or panel.body in ids:
            vertices = placement.panel_vertices(layout, panel)
            if len(vertices):
                points += [vec(vertices.min(axis=0)), vec(vertices.max(axis=0))]
    return points
