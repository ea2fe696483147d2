"""The tour on the sample: opens it, watches what is done, and leads on by itself."""

from collections.abc import Callable

from msgspec import Struct
from PySide6.QtCore import QObject, QTimer, Signal

from app.job_files import JobFiles
from app.jobs import Job
from app.panels.findings import FindingsPanel
from app.panels.tour import LESSONS, TourCard
from app.session import Session
from app.settings import Settings, Tour
from app.viewport.view import View
from geometry.layout import Layout

PAUSE = 1600  # ms that what was done stays to be seen before the next lesson
TURNED = 0.3  # radians; so far the view has been looked round


class Seen(Struct, frozen=True, eq=False):
    """What the window shows of the person's doing."""

    layout: Layout  # recorded
    steps: int  # of the undo stack
    chosen: int  # how often the selection has changed
    mends: int
    yaw: float
    pitch: float
    has_tube: bool  # selected
    last: str  # name of the last step


def _has_turned(before: Seen, now: Seen) -> bool:
    return abs(now.yaw - before.yaw) + abs(now.pitch - before.pitch) > TURNED


def _has_chosen(before: Seen, now: Seen) -> bool:
    return now.has_tube and now.chosen > before.chosen


def _has_moved(before: Seen, now: Seen) -> bool:
    nodes = before.layout.nodes
    return now.steps > before.steps and any(
        id in nodes and node.position != nodes[id].position for id, node in now.layout.nodes.items()
    )


def _has_undone(before: Seen, now: Seen) -> bool:
    return now.steps < before.steps


def _has_laid(before: Seen, now: Seen) -> bool:
    return now.steps > before.steps and bool(now.layout.tubes.keys() - before.layout.tubes.keys())


def _has_followed(before: Seen, now: Seen) -> bool:
    return _has_laid(before, now) and now.last.endswith("along the body")


def _has_mended(before: Seen, now: Seen) -> bool:
    return now.mends > before.mends


# Whether a lesson is done, from how things stood when it began and how they stand now.
DONE: dict[str, Callable[[Seen, Seen], bool]] = {
    "look": _has_turned,
    "select": _has_chosen,
    "drag": _has_moved,
    "undo": _has_undone,
    "lay": _has_laid,
    "sides": _has_turned,
    "follow": _has_followed,
    "mend": _has_mended,
}


class TourCommands(QObject):
    """Takes the person through the lessons; leaving or finishing is remembered."""

    ended = Signal()

    def __init__(
        self,
        session: Session,
        view: View,
        findings: FindingsPanel,
        files: JobFiles,
        settings: Settings,
        parent: QObject,
    ) -> None:
        super().__init__(parent)
        self._session, self._view, self._files, self._settings = session, view, files, settings
        self._number: int | None = None
        self._is_waiting = False  # for the sample
        self._chosen = self._mends = 0
        self._before: Seen | None = None
        self.card = TourCard(view)
        view.cover(self.card)
        self.pause = QTimer(self, singleShot=True, interval=PAUSE)
        self.pause.timeout.connect(self.next)
        self.card.back_wanted.connect(self.back)
        self.card.next_wanted.connect(self.next)
        self.card.leave_wanted.connect(self.leave)
        self.card.placed.connect(view.cards_have_moved)
        files.job_started.connect(self._on_job_started)
        files.job_opened.connect(self._on_opened)
        session.undo_stack.indexChanged.connect(self._look)
        session.selection_changed.connect(self._on_selected)
        view.camera_changed.connect(self._look)
        findings.mended.connect(self._on_mended)

    @property
    def is_running(self) -> bool:
        return self._number is not None

    def tour(self) -> None:
        """Open the sample, as ever asking about work that is not saved, and begin."""
        self._is_waiting = not self._files.is_busy
        self._files.open_sample()
        if not self._files.is_busy:  # it was refused, or the person stays with the job
            self._is_waiting = False

    def decline(self) -> None:
        """Remember that the tour is not wanted."""
        self._settings.set_tour("left")

    def back(self) -> None:
        if self._number:
            self._go(self._number - 1)

    def next(self) -> None:
        if self._number is None:
            return
        if self._number + 1 < len(LESSONS):
            self._go(self._number + 1)
        else:
            self._end("finished")

    def leave(self) -> None:
        """End the tour here; the job stays as it is."""
        if self.is_running:
            self._end("left")

    def _end(self, how: Tour) -> None:
        self.pause.stop()
        self._number = self._before = None
        if self._settings.tour != "finished":
            self._settings.set_tour(how)
        has_focus = self.card.isAncestorOf(self._view.window().focusWidget() or self._view)
        self.card.hide()
        if has_focus:
            self._view.setFocus()
        self._view.cards_have_moved()
        self.ended.emit()

    def _go(self, number: int) -> None:
        self.pause.stop()
        self._number = number
        self._before = self._seen()
        self.card.show_lesson(number)

    def _seen(self) -> Seen:
        session, camera = self._session, self._view.camera()
        layout, stack = session.recorded, session.undo_stack
        return Seen(
            layout,
            stack.index(),
            self._chosen,
            self._mends,
            camera["yaw"],
            camera["pitch"],
            any(id in layout.tubes for id in session.selection),
            stack.undoText(),
        )

    def _look(self, *_: object) -> None:
        """Go on once what the lesson asks for is done."""
        if self._number is None or self._before is None or self.pause.isActive():
            return
        is_done = DONE.get(LESSONS[self._number].name)
        if is_done is not None and is_done(self._before, self._seen()):
            self.card.show_done(True)
            self.pause.start()

    def _on_selected(self, _ids: object) -> None:
        self._chosen += 1
        self._look()

    def _on_mended(self) -> None:
        self._mends += 1
        self._look()

    def _on_job_started(self, job: Job) -> None:
        if self._is_waiting:
            job.ended.connect(self._on_job_ended)

    def _on_job_ended(self) -> None:
        self._is_waiting = False

    def _on_opened(self, _path: object) -> None:
        """Begin on the sample; another job ends the tour."""
        if self._is_waiting:
            self._is_waiting = False
            self._go(0)
        else:
            self.leave()
