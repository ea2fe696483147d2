"""Commands for what moves: panels that open, axles with their tyres."""

from typing import Any

from PySide6.QtCore import QObject, Signal

from app import wording
from app.jobs import Job, in_child
from app.panels.properties import PropertiesPanel
from app.session import Session
from app.viewport.view import View
from geometry import axles, trimming
from geometry.checks import moving
from geometry.errors import GeometryError
from geometry.layout import Layout, Panel

PICK_TWO = "Click the two ends of the hinge line on the body."
PICK_EDGE = "Click near the straight rim that the panel turns about."


class MovingCommands(QObject):
    """Each public method is a command of the same name."""

    refused = Signal(str)
    job_started = Signal(object)  # Job

    def __init__(
        self, session: Session, view: View, properties: PropertiesPanel, parent: QObject | None = None
    ) -> None:
        super().__init__(parent)
        self._session = session
        self._view = view
        self._rows = properties.panel.motion
        self._picking = ""
        self._panel = 0
        self._trims = properties.panel.trim
        self._job: Job | None = None
        self._before: dict[int, Panel] = {}
        self._trims.trim_wanted.connect(self._on_trim_wanted)
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

    def trim_panels(self) -> None:
        """Trim the selected panels for the tyres."""
        layout = self._session.layout
        self._trim([id for id in layout.panels if id in self._session.selection])

    def stop(self) -> None:
        """End the work that still runs; for closing the window."""
        if self._job is not None:
            self._job.cancel()
            self._job.wait()

    def _on_trim_wanted(self, panel: int) -> None:
        self._trim([panel])

    def _trim(self, panels: list[int]) -> None:
        """Work the cuts out beside the window; then they are one step."""
        layout = self._session.recorded
        if self._job is not None:
            self.refused.emit("Panels are being trimmed already; wait for that or cancel it first.")
            return
        self._before = {id: layout.panels[id] for id in panels}
        names = wording.listed([wording.one_line(panel.name) for panel in self._before.values()])
        job = self._job = Job(
            f"Trimming {names}", in_child(trimming.cuts_for, _light(layout, panels), panels), self
        )
        job.done.connect(self._on_cut)
        job.failed.connect(self._on_failed)
        job.ended.connect(self._on_ended)
        self.job_started.emit(job)
        job.start()

    def _on_cut(self, cuts: tuple[trimming.Trimmed, ...]) -> None:
        now = self._session.recorded.panels
        if any(now.get(id) is not panel for id, panel in self._before.items()):
            self.refused.emit("A panel changed while its cut was worked out; trim it again.")
            return
        names = wording.listed([wording.one_line(panel.name) for panel in self._before.values()])
        self._trims.forget()
        self._session.apply(f"Trim {names}", lambda layout: trimming.set_trimmed(layout, cuts))

    def _on_failed(self, error: BaseException) -> None:
        if isinstance(error, GeometryError):
            self.refused.emit(error.message)
            return
        raise error

    def _on_ended(self) -> None:
        job, self._job = self._job, None
        if job is not None:
            job.deleteLater()

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


def _light(layout: Layout, panels: list[int]) -> Layout:
    """Return of a layout what a cut is worked out from: other panels are too heavy to send along."""
    few = {id: layout.panels[id] for id in panels}
    return Layout(bodies=layout.bodies, panels=few, axles=layout.axles, limits=layout.limits)
