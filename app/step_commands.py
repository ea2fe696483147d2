"""Steps that take the right side for a while: the body comes in, is measured, placed again, split."""

from collections.abc import Callable
from typing import Any

from PySide6.QtCore import QObject, Signal
from PySide6.QtWidgets import QWidget

from app import dialogs
from app.furniture import Furniture
from app.jobs import Job, in_child
from app.session import Session
from app.settings import Settings
from app.units import Units
from app.viewport.points_drawn import NamedPoint
from app.viewport.view import View
from geometry.checks.report import Report
from geometry.errors import GeometryError

ACCEPT, DROP = "Accept them", "Drop them"
BRING_IN_HINT = "See that size and direction are right; Enter brings the body in, Escape leaves it out."
PLACE_HINT = "Change how the body stands; Enter keeps it, Escape leaves it as it was."
MEASURE_HINT = "Type what tape and plumb line say; the body follows. Ctrl+Enter keeps it, Escape drops it."
RESTOCK_HINT = "See what another stock breaks; Enter keeps it, Escape leaves the tubes as they are."
CAGE_HINT = "Choose a point, then click the body to move it; Enter builds, then keeps; Escape leaves."
SPLIT_HINT = "Choose the faces of the new panel; Enter splits them off, Escape leaves."


class StepCommands(QObject):
    """Opens a step, connects it with the view, and closes it when it ends."""

    refused = Signal(str)
    changed = Signal()  # a step was opened or closed
    job_started = Signal(object)  # Job

    def __init__(
        self, session: Session, view: View, furniture: Furniture, settings: Settings, parent: QObject
    ) -> None:
        super().__init__(parent)
        self._session = session
        self._view = view
        self._furniture = furniture
        self._settings = settings
        self._step: Any = None
        self._hint = ""
        self._body_in: Any = None
        self._split: Any = None
        self._restock: Any = None
        self._starter: Any = None
        self._job: Job | None = None
        self._report: Report | None = None  # of the layout that was last recorded
        view.points_picked.connect(self._on_picked)
        session.opened.connect(self._on_opened)

    @property
    def is_open(self) -> bool:
        return self._step is not None

    @property
    def hint(self) -> str:
        """What the open step waits for; empty when none is open."""
        return self._hint if self.is_open else ""

    def bodies_meant(self) -> list[int]:
        """The selected bodies, those of the selected panels, or the only one there is."""
        layout, selection = self._session.layout, self._session.selection
        chosen = {id for id in selection if id in layout.bodies}
        chosen |= {layout.panels[id].body for id in selection if id in layout.panels}
        if not chosen and len(layout.bodies) == 1:
            return list(layout.bodies)
        return sorted(chosen)

    def set_units(self, units: Units) -> None:
        for panel in (self._body_in, self._split, self._restock, self._starter, self._step):
            if panel is not None:
                panel.set_units(units)

    def close(self) -> None:
        """End the step that is open; what it previewed is dropped."""
        step = self._step
        if step is None:
            return
        if step is self._split:
            self._split.close_step()
        else:
            step.cancel()

    def settle(self) -> bool:
        """Ask about measurements that were typed and not accepted; False to go on with them."""
        from app.panels.measured import MeasuredPanel

        if not isinstance(self._step, MeasuredPanel):
            return True
        text = "The measurements of the body are not accepted yet."
        choice = dialogs.ask_choice(self._view, "Measured body", text, (ACCEPT, DROP))
        if choice == ACCEPT:
            self.accept()
        elif choice == DROP:
            self.cancel()
        return not self.is_open

    def accept(self) -> None:
        """Enter in the view does what it does in the step."""
        if self._step is not None:
            self._step.accept()

    def cancel(self) -> None:
        """Escape in the view does what it does in the step."""
        if self._step is not None:
            self._step.cancel()

    def bring_in(self, scan: Any) -> None:
        """Judge a mesh that was read and let the person say how it stands."""
        panel = self._body_panel()
        self._open("Bring in a body", panel, BRING_IN_HINT)
        self._view.set_figure(True)
        panel.bring_in(scan)

    def measured_body(self) -> None:
        self._measure(None)

    def change_measurements(self) -> None:
        layout = self._session.layout
        measured = [id for id in self.bodies_meant() if layout.bodies[id].measured is not None]
        if len(measured) == 1:
            self._measure(measured[0])
        else:
            self.refused.emit("Select the measured body whose numbers shall change first.")

    def place_body(self) -> None:
        bodies = self.bodies_meant()
        if len(bodies) != 1:
            self.refused.emit("Select the body that shall be placed again first.")
            return
        panel = self._body_panel()
        self._open("Place the body", panel, PLACE_HINT)
        panel.open_body(bodies[0])
        if not panel.is_open:  # it was refused, and said why
            self._on_ended()

    def split_panel(self) -> None:
        layout, selection = self._session.layout, self._session.selection
        chosen = [id for id in selection if id in layout.panels]
        if len(chosen) != 1:
            self.refused.emit("Select the one panel that shall be split first.")
            return
        panel = self._split_panel()
        self._open("Split a panel", panel, SPLIT_HINT)
        panel.open_panel(chosen[0])

    def join_panels(self) -> None:
        from geometry.body import split

        layout, selection = self._session.layout, self._session.selection
        chosen = [id for id in layout.panels if id in selection]
        if self._session.apply("Join panels", lambda now: split.join_panels(now, chosen)):
            self._session.select(chosen[:1])

    def restock(self) -> None:
        """Let the selected tubes, or all, be of another stock once what breaks has been seen."""
        layout, selection = self._session.layout, self._session.selection
        if not layout.tubes:
            self.refused.emit("There is no tube yet whose stock could be replaced.")
            return
        chosen = [id for id in layout.tubes if id in selection]
        if self._restock is None:
            from app.panels.restock import RestockPanel

            panel = self._restock = RestockPanel(self._session, self._settings.units)
            panel.refused.connect(self.refused)
            panel.accepted.connect(self._on_ended)
            panel.cancelled.connect(self._on_ended)
        self._open("Exchange stock", self._restock, RESTOCK_HINT)
        self._restock.open_tubes(chosen, self._report)

    def _on_opened(self) -> None:
        """What the checks said was of another job."""
        self._report = None

    def show_report(self, revision: int, report: Report) -> None:
        """Hand what the checks say to the step that compares it."""
        if not self._session.is_previewing and revision == self._session.revision and report.is_complete:
            self._report = report
        if self._step is not None and self._step is self._restock:
            self._restock.show_report(revision, report)
        if self._step is not None and self._step is self._starter:
            self._starter.show_report(revision, report)

    def start_cage(self) -> None:
        """Lay a whole cage from points of the body."""
        if self._starter is None:
            from app.panels.starter import StarterPanel

            panel = self._starter = StarterPanel(self._session, self._settings.units)
            panel.pick_points_wanted.connect(self._on_pick_wanted)
            panel.marked.connect(self._on_marked)
            panel.work_wanted.connect(self._on_work_wanted)
            panel.work_unwanted.connect(self._on_work_unwanted)
            panel.refused.connect(self.refused)
            panel.accepted.connect(self._on_ended)
            panel.cancelled.connect(self._on_ended)
        stock = self._view.stock
        self._open("First cage", self._starter, CAGE_HINT)
        self._starter.open_cage(None if stock is None else stock.id)

    def stop(self) -> None:
        """End the work that still runs; for closing the window."""
        if self._job is not None:
            self._job.cancel()
            self._job.wait()

    def _on_marked(self, marks: list[Any]) -> None:
        self._view.show_points([NamedPoint(*mark) for mark in marks])

    def _on_work_wanted(
        self,
        title: str,
        function: Callable[..., Any],
        arguments: tuple[Any, ...],
        then: Callable[[Any], None],
    ) -> None:
        """Run what a step wants beside the window."""
        self.stop()
        job = self._job = Job(title, in_child(function, *arguments), self)
        job.done.connect(then)
        job.failed.connect(self._on_work_failed)
        job.ended.connect(self._on_work_ended)
        self.job_started.emit(job)
        job.start()

    def _on_work_unwanted(self) -> None:
        if self._job is not None:
            self._job.cancel()

    def _on_work_failed(self, error: BaseException) -> None:
        if not isinstance(error, GeometryError):
            raise error
        self.refused.emit(error.message)

    def _on_work_ended(self) -> None:
        job = self.sender()
        if job is self._job:
            self._job = None
            self._starter.work_ended()
        job.deleteLater()

    def _measure(self, body: int | None) -> None:
        from app.panels.measured import MeasuredPanel

        self.close()
        panel = MeasuredPanel(self._session, self._settings.units, body)
        panel.accepted.connect(self._on_ended)
        panel.cancelled.connect(self._on_ended)
        self._open("Measure a body", panel, MEASURE_HINT)

    def _body_panel(self) -> Any:
        """The panel of the import step, made when it is first wanted."""
        if self._body_in is None:
            from app.panels.body_in import BodyInPanel

            panel = self._body_in = BodyInPanel(self._session, self._settings.units)
            panel.pick_points_wanted.connect(self._on_pick_wanted)
            panel.refused.connect(self.refused)
            panel.accepted.connect(self._on_ended)
            panel.cancelled.connect(self._on_ended)
        return self._body_in

    def _split_panel(self) -> Any:
        if self._split is None:
            from app.panels.split import SplitPanel

            panel = self._split = SplitPanel(self._session, self._settings.units)
            panel.pick_points_wanted.connect(self._on_pick_wanted)
            panel.refused.connect(self.refused)
            panel.closed.connect(self._on_ended)
        return self._split

    def _open(self, title: str, panel: QWidget, hint: str) -> None:
        if self._step is not None and self._step is not panel:
            self.close()
        self._step, self._hint = panel, hint
        self._view.set_tool("select")
        self._session.select(())  # Escape is for the step now, not for the selection
        self._furniture.open_step(title, panel)
        panel.setFocus()
        panel.focusNextChild()
        self.changed.emit()

    def _on_ended(self, *_: object) -> None:
        self._step = None
        self._furniture.close_step()
        self._view.set_tool("select")
        self._view.set_figure(False)
        self._view.setFocus()
        self.changed.emit()

    def _on_pick_wanted(self, count: int, text: str) -> None:
        """Let the person point at the body: count points, until Enter (-1), or no more (0)."""
        if count == 0:
            self._view.set_tool("select")
            return
        self._view.pick_points(max(count, 0), text)  # the view's own word for "until Enter" is 0
        self._view.setFocus()

    def _on_picked(self, picked: list[Any]) -> None:
        if self._step is not None and hasattr(self._step, "take_points"):
            points = [one.point for one in picked]
            self._step.take_points(points, [(one.panel, one.triangle) for one in picked])
