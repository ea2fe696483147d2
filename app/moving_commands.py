"""Commands for what moves: panels that open, axles with their tyres."""

from collections.abc import Callable, Iterable, Sequence
from typing import Any

from PySide6.QtCore import QObject, Signal

from app import wording
from app.jobs import Job, Work, in_child
from app.panels.properties import PropertiesPanel
from app.session import Session
from app.viewport.view import View
from geometry import axles, trimming
from geometry.checks import moving
from geometry.errors import GeometryError
from geometry.layout import Layout, Mesh, Panel
from geometry.vectors import Floats

PICK_TWO = "Click the two ends of the hinge line on the body."
PICK_EDGE = "Click near the straight rim that the panel turns about."


class MovingCommands(QObject):
    """Each public method is a command of the same name."""

    refused = Signal(str)
    told = Signal(str)
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
        self._proposed: dict[int, trimming.Trimmed] = {}
        self._worked_from = Layout()  # what those were worked out from
        self._shows_offcuts = False
        self._is_finding = False  # what came off
        self._is_stopped = False
        self._offcuts: dict[int, tuple[Mesh, Mesh]] = {}  # what is left of a panel, and what came off
        self._trims.trim_wanted.connect(self._trim)
        self._trims.line_wanted.connect(self._on_line_wanted)
        self._trims.offcuts_wanted.connect(self._on_offcuts_wanted)
        session.changed.connect(self._on_changed)
        session.committed.connect(self._update_offcuts)
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
        self._is_stopped = True
        if self._job is not None:
            self._job.cancel()
            self._job.wait()

    def _trim(self, panels: list[int]) -> None:
        """Work the cuts out beside the window; then they are one step."""
        if self._proposed.keys() >= set(panels):
            self._before = {id: self._session.recorded.panels[id] for id in panels}
            self._on_cut(tuple(self._proposed[id] for id in panels))
        else:
            self._work_out(panels, self._on_cut)

    def _on_line_wanted(self, panel: int) -> None:
        self._work_out([panel], self._on_line)

    def _work_out(self, panels: list[int], then: Callable[[tuple[trimming.Trimmed, ...]], None]) -> None:
        layout = self._session.recorded
        if self._is_busy():
            return
        self._before = {id: layout.panels[id] for id in panels}
        work = in_child(trimming.cuts_for, _light(layout, panels), panels)
        self._run(f"Working out where {self._names()} is cut", work, then)
        self._worked_from = layout

    def _names(self) -> str:
        return wording.listed([wording.one_line(panel.name) for panel in self._before.values()])

    def _is_busy(self) -> bool:
        if self._job is not None:
            self.refused.emit("A cut is being worked out already; wait for that or cancel it first.")
        return self._job is not None

    def _run(self, title: str, work: Work, then: Callable[[Any], None]) -> None:
        job = self._job = Job(title, work, self)
        job.done.connect(then)
        job.failed.connect(self._on_failed)
        job.ended.connect(self._on_ended)
        self.job_started.emit(job)
        job.start()

    def _on_line(self, cuts: tuple[trimming.Trimmed, ...]) -> None:
        layout = self._session.layout
        if not _is_same(self._worked_from, layout, self._before):
            self.refused.emit("The job changed while the line was worked out; ask for it again.")
            return
        self._proposed = {made.panel: made for made in cuts}
        lines = [line for made in cuts for line in trimming.world_lines(layout, made.panel, made.lines)]
        self._view.show_cut_lines(lines)
        self._view.say(f"{self._names()} would be cut along {self._view.length(_length(lines))}.")

    def _on_cut(self, cuts: tuple[trimming.Trimmed, ...]) -> None:
        now = self._session.recorded.panels
        if any(now.get(id) is not panel for id, panel in self._before.items()):
            self.refused.emit("A panel changed while its cut was worked out; trim it again.")
            return
        self._trims.forget()
        if self._session.apply(f"Trim {self._names()}", lambda layout: trimming.set_trimmed(layout, cuts)):
            said = _said(self._session.layout, cuts)
            if said:
                self.told.emit(said)

    def _on_changed(self, before: Layout, after: Layout) -> None:
        """Take back a line that belongs to another layout."""
        if self._proposed and not _is_same(self._worked_from, after, self._proposed):
            self._proposed = {}
            self._view.show_cut_lines(())

    def _on_offcuts_wanted(self, shown: bool) -> None:
        self._shows_offcuts = shown
        self._update_offcuts()

    def _update_offcuts(self, *_: object) -> None:
        """Show what came off the panels that are trimmed, or nothing; what is not known is worked out."""
        layout = self._session.recorded
        trimmed = [
            panel for panel in layout.panels.values() if panel.trim is not None and panel.kept and panel.shown
        ]
        wanted = {panel.id: panel.mesh for panel in trimmed if self._shows_offcuts}
        known = {id: pair for id, pair in self._offcuts.items() if wanted.get(id) is pair[0]}
        self._offcuts = known
        self._view.show_offcuts({id: off for id, (_, off) in known.items()})
        missing = [id for id in wanted if id not in known]
        if missing and self._job is None and not self._is_stopped:
            self._worked_from, self._is_finding = layout, True
            work = in_child(trimming.offcuts, _light(layout, missing), missing)
            self._run("Finding what came off", work, self._on_offcuts)

    def _on_offcuts(self, meshes: dict[int, Mesh]) -> None:
        before, self._is_finding = self._worked_from.panels, False
        self._offcuts |= {id: (before[id].mesh, mesh) for id, mesh in meshes.items()}

    def _on_failed(self, error: BaseException) -> None:
        if isinstance(error, GeometryError):
            self.refused.emit(error.message)
            return
        raise error

    def _on_ended(self) -> None:
        job, self._job = self._job, None
        if job is not None:
            job.deleteLater()
        if self._is_finding:  # it was called off, or failed
            self._is_finding = self._shows_offcuts = False
            self._trims.offcuts.setChecked(False)
        self._update_offcuts()

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


def _is_same(before: Layout, after: Layout, panels: Iterable[int]) -> bool:
    """Say whether what cuts of panels are worked out from is the same."""
    return (
        before.axles is after.axles
        and before.bodies is after.bodies
        and before.limits.tyre_margin == after.limits.tyre_margin
        and all(before.panels[id] is after.panels.get(id) for id in panels)
    )


def _said(layout: Layout, cuts: Sequence[trimming.Trimmed]) -> str:
    """Say what a person may not expect of cuts."""
    apart = [wording.one_line(layout.panels[made.panel].name) for made in cuts if made.parts > 1]
    islands = sum(made.islands for made in cuts)
    said = []
    if apart:
        said.append(f"What is left of {wording.listed(apart)} no longer hangs together.")
    if islands:
        pieces = wording.counted(islands, "piece")
        said.append(f"{pieces} that would have hung on nothing fell out with the cut.")
    return " ".join(said)


def _length(lines: Iterable[Floats]) -> float:
    return sum(trimming.length_of(line) for line in lines)


def _light(layout: Layout, panels: list[int]) -> Layout:
    """Return of a layout what a cut is worked out from: other panels are too heavy to send along."""
    few = {id: layout.panels[id] for id in panels}
    return Layout(bodies=layout.bodies, panels=few, axles=layout.axles, limits=layout.limits)
