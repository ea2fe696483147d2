"""Commands for what moves: panels that open, axles with their tyres."""

from typing import Any

from PySide6.QtCore import QObject, Signal

from app.panels.properties import PropertiesPanel
from app.session import Session
from app.viewport.view import View
from geometry import axles
from geometry.checks import moving

PICK_TWO = "Click the two ends of the hinge line on the body; Escape leaves the hinge as it is."
PICK_EDGE = "Click near the straight rim that the panel turns about; Escape leaves the hinge as it is."


class MovingCommands(QObject):
    """Each public method is a command of the same name."""

    refused = Signal(str)

    def __init__(
        self, session: Session, view: View, properties: PropertiesPanel, parent: QObject | None = None
    ) -> None:
        super().__init__(parent)
        self._session = session
        self._view = view
        self._rows = properties.panel.motion
        self._picking = ""
        self._panel = 0
        self._rows.pick_wanted.connect(self._on_pick_wanted)
        self._rows.opening_moved.connect(view.set_opening)
        properties.axle.posed.connect(view.set_pose)
        view.points_picked.connect(self._on_picked)
        session.opened.connect(self._rows.forget_openings)

    def open_panel(self) -> None:
        """Open the selected panel in the view, or close it."""
        layout = self._session.layout
        chosen = [id for id in self._session.selection if id in layout.panels]
        if len(chosen) == 1 and moving.carrier_of(layout, chosen[0]).motion is not None:
            self._rows.toggle()
        else:
            self.refused.emit("Select one panel that opens first; how it opens is set beside its name.")

    def add_axle(self) -> None:
        made: list[int] = []

        def add(now: Any) -> Any:
            after, id = axles.add(now)
            made.append(id)
            return after

        if self._session.apply("Add axle", add):
            self._session.select(made[-1:])

    def duplicate_axle(self) -> None:
        """Put a copy of the selected axle behind the last one."""
        made: list[int] = []
        layout = self._session.layout
        chosen = [id for id in self._session.selection if id in layout.axles]
        if len(chosen) != 1:
            self.refused.emit("Select the one axle that shall be copied first.")
            return

        def copy(now: Any) -> Any:
            after, id = axles.duplicate(now, chosen[0])
            made.append(id)
            return after

        if self._session.apply("Copy axle", copy):
            self._session.select(made[-1:])

    def show_wheels(self) -> None:
        self._view.set_wheels("wheels")

    def show_swept(self) -> None:
        self._view.set_wheels("swept")

    def show_no_wheels(self) -> None:
        self._view.set_wheels("neither")

    def _on_pick_wanted(self, what: str) -> None:
        (self._panel,) = self._session.selection
        self._picking = what
        self._view.pick_points(2 if what == "two" else 1, PICK_TWO if what == "two" else PICK_EDGE)
        self._view.setFocus()

    def _on_picked(self, picked: list[Any]) -> None:
        what, self._picking = self._picking, ""
        if not what or self._panel not in self._session.layout.panels:
            return
        self._session.select((self._panel,))
        if picked:
            self._rows.take_points(what, [one.point for one in picked])
        self._view.set_tool("select")
