"""Checks beside the UI thread: the newest layout wins, and the tubes under the hand come first."""

import logging
import multiprocessing
import threading
from collections.abc import Callable
from multiprocessing.connection import Connection, wait

from msgspec import Struct
from msgspec.structs import replace
from PySide6.QtCore import QObject, Qt, QTimer, Signal

from app import check_process, layout_changes
from app.check_process import Answer, Nudge, Request
from geometry.checks import tyres
from geometry.checks.profile import Profile
from geometry.layout import Layout, Mesh

WHOLE_AFTER = 150  # ms after the last change the whole layout is checked
ENDS_TO_GIVE_UP = 2  # a layout that ends the process twice would end it again
# What every tube is judged by.
SURROUNDINGS = ("panels", "bodies", "axles", "stocks", "dies", "benders", "trials", "limits")

ENDED_ONCE = "The checks stopped unexpectedly and were started again; their figures are current once more."
ENDED_TWICE = (
    "The checks stopped twice on this layout, so its figures are not current. Save the job, undo the last "
    "step or leave out the panel brought in last; the checks start again with the next change."
)
CHECK_FAILED = (
    "This layout could not be checked, so its figures are not current. Undo the last step; "
    "the checks go on with the next change."
)


class _Asked(Struct, frozen=True, eq=False):
    """A layout to check; tubes None is the whole of it."""

    revision: int
    layout: Layout
    tubes: frozenset[int] | None

    def after(self, older: "_Asked | None") -> "_Asked":
        """Return this request with the tubes of an older one that it replaces unanswered.

        It stands for a whole layout too: the tubes under the hand come first, and the whole is asked
        for again once the hand rests.
        """
        if older is None or older.tubes is None or self.tubes is None:
            return self
        return _Asked(self.revision, self.layout, self.tubes | older.tubes)


class LiveChecks(QObject):
    """Has layouts judged by a process of its own; its signals come in the UI thread.

    A report may be older than the layout that is shown, never older than one already given; the tubes
    it names in `checked` are current for its revision. What takes longer follows in a second report of the
    same revision. Whoever makes one calls stop().
    """

    ready = Signal(int, object)  # revision, Report
    envelopes_changed = Signal(object)  # what tyres sweep through: {(axle, side): tyres.Shown}, all of them
    failed = Signal(str)  # a sentence for the person
    busy_changed = Signal(bool)  # whether the whole of the newest layout still waits for its report
    _answered = Signal(object, object)  # _Asked, and its Answer
    _gave_up = Signal(object, str)  # _Asked, why there is no report
    _said = Signal(str)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._newest: _Asked | None = None
        self._oldest_wanted = 0
        self._is_busy = False
        self._last_said = ""
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(WHOLE_AFTER)
        self._timer.timeout.connect(self._ask_whole)
        self._answered.connect(self._on_answered, Qt.ConnectionType.QueuedConnection)
        self._gave_up.connect(self._on_gave_up, Qt.ConnectionType.QueuedConnection)
        self._said.connect(self._on_said, Qt.ConnectionType.QueuedConnection)
        self._worker: _Worker | None = _Worker(self)

    @property
    def is_busy(self) -> bool:
        return self._is_busy

    @property
    def process_id(self) -> int | None:
        """The number of the process that checks, while there is one."""
        return self._worker.process_id if self._worker else None

    def request(self, revision: int, layout: Layout, tubes: frozenset[int] | None = None) -> None:
        """Check the tubes given, or those that changed since the last request; the rest follows soon.

        Bodies, panels, limits and the rack travel along when they changed.
        """
        before = self._newest.layout if self._newest else None
        self._newest = _Asked(revision, layout, None)
        touched = _touched(before, layout)
        self._set_busy(True)
        if touched is None:
            self._ask_whole()
            return
        self._timer.start()
        self._ask(_Asked(revision, layout, touched if tubes is None else tubes))

    def forget_before(self, revision: int) -> None:
        """Drop what still comes for older revisions: they belong to another job."""
        self._oldest_wanted = max(self._oldest_wanted, revision)

    def stop(self) -> None:
        """End the thread and the process; nothing comes after it."""
        self._timer.stop()
        worker, self._worker = self._worker, None
        if worker is not None:
            worker.stop()

    def _ask_whole(self) -> None:
        self._timer.stop()
        if self._newest is not None:
            self._ask(self._newest)

    def _ask(self, asked: _Asked) -> None:
        if self._worker is not None:
            self._worker.ask(asked)

    def _on_answered(self, asked: _Asked, answer: Answer) -> None:
        if self._worker is None:
            return
        if answer.envelopes is not None:
            self.envelopes_changed.emit(tyres.shown(asked.layout, answer.envelopes))
        if answer.report is None:
            return
        self._last_said = ""
        if asked.revision >= self._oldest_wanted:
            self._oldest_wanted = asked.revision
            self.ready.emit(asked.revision, answer.report)
        if not answer.follows:
            self._end_busy(asked)

    def _on_gave_up(self, asked: _Asked, why: str) -> None:
        self._on_said(why)
        self._end_busy(asked)

    def _on_said(self, sentence: str) -> None:
        # A check that fails at each step of a drag says so once.
        if self._worker is not None and sentence != self._last_said:
            self._last_said = sentence
            self.failed.emit(sentence)

    def _end_busy(self, asked: _Asked) -> None:
        if asked.tubes is None and self._newest is not None and asked.revision == self._newest.revision:
            self._set_busy(False)

    def _set_busy(self, busy: bool) -> None:
        if busy != self._is_busy:
            self._is_busy = busy
            self.busy_changed.emit(busy)


def _touched(before: Layout | None, after: Layout) -> frozenset[int] | None:
    """Return the tubes that changed, or None where something changed that all tubes hang on."""
    if before is None or any(getattr(before, name) is not getattr(after, name) for name in SURROUNDINGS):
        return None
    return frozenset(
        id
        for id, tube in after.tubes.items()
        if before.tubes.get(id) is not tube
        or any(before.nodes.get(node) is not after.nodes[node] for node in tube.nodes)
    )


Deliver = Callable[[_Asked, Answer], None]


class _Worker:
    """The thread that talks to the process; one request waits at most, the newest."""

    def __init__(self, checks: LiveChecks) -> None:
        self._answered, self._gave_up, self._said = checks._answered, checks._gave_up, checks._said
        self._waiting_lock = threading.Lock()
        self._waiting: _Asked | None = None
        self._process_lock = threading.Lock()
        self._process: _Process | None = None
        self._ends = 0  # how often the process ended since it last answered all it was asked
        self._stopping = False
        self._woken, self._wake = multiprocessing.Pipe(duplex=False)
        self._thread = threading.Thread(target=self._run, name="live checks", daemon=True)
        self._thread.start()

    @property
    def process_id(self) -> int | None:
        process = self._process
        return process.id if process else None

    def ask(self, asked: _Asked) -> None:
        with self._waiting_lock:
            is_first = self._waiting is None
            self._waiting = asked.after(self._waiting)
        if is_first:
            self._wake.send_bytes(b".")

    def stop(self) -> None:
        with self._process_lock:
            self._stopping = True
            if self._process is not None:
                self._process.kill()
        self._wake.send_bytes(b".")
        self._thread.join()
        self._wake.close()
        self._woken.close()

    def _run(self) -> None:
        hand: _Asked | None = None  # the request in hand
        last: _Asked | None = None
        while not self._stopping:
            try:
                if hand is None:
                    process = self._process
                    if process is None and self._ends < ENDS_TO_GIVE_UP:
                        process = self._running()
                    hand = self._next(process)
                if hand is None:
                    continue
                last = hand
                answer = self._running().answer(hand, self._woken, self._deliver)
            except (EOFError, OSError):
                self._end_process()
                self._ends += 1
                hand = self._after_an_end(self._taken() or last)
                continue
            self._deliver(hand, answer)
            hand = None
        self._end_process()

    def _next(self, process: "_Process | None") -> _Asked | None:
        """Wait for a request, or return None to look again; an idle process that ends is noticed."""
        if process is None:
            wait([self._woken])
        elif process.connection in wait([self._woken, process.connection]):
            process.take_second(self._deliver)
            return None
        return self._taken()

    def _taken(self) -> _Asked | None:
        with self._waiting_lock:
            asked, self._waiting = self._waiting, None
        if asked is not None:
            self._woken.recv_bytes()
        return asked

    def _after_an_end(self, asked: _Asked | None) -> _Asked | None:
        """Return what a new process shall be asked, if anything."""
        if self._stopping:
            return None
        if self._ends < ENDS_TO_GIVE_UP:
            self._said.emit(ENDED_ONCE)
            return _Asked(asked.revision, asked.layout, None) if asked else None
        if asked is not None:
            self._gave_up.emit(asked, ENDED_TWICE)
        return None

    def _deliver(self, asked: _Asked, answer: Answer) -> None:
        if not answer.follows:
            self._ends = 0
        if answer.error is None:
            self._answered.emit(asked, answer)
            return
        logging.getLogger(__name__).error("the check of revision %s failed: %s", asked.revision, answer.error)
        self._gave_up.emit(asked, CHECK_FAILED)

    def _running(self) -> "_Process":
        with self._process_lock:
            if self._stopping:
                raise EOFError
            self._process = self._process or _Process()
            return self._process

    def _end_process(self) -> None:
        with self._process_lock:
            process, self._process = self._process, None
        if process is not None:
            process.end()


class _Process:
    """The process that checks, the layout it holds, and the meshes it has been sent."""

    def __init__(self) -> None:
        context = multiprocessing.get_context("spawn")
        self.connection, other = context.Pipe()
        self._process = context.Process(
            target=check_process.serve, args=(other,), name="outrib checks", daemon=True
        )
        self._process.start()
        other.close()  # so that the end of the process shows as the end of the connection
        self._layout = Layout()
        self._asked: _Asked | None = None  # what was answered last; a second answer belongs to it
        self._profiles: dict[int, Profile] = {}  # of the report that came last
        self._meshes: dict[int, tuple[int, Mesh]] = {}  # key and mesh, by id(mesh)
        self._next_key = self._sent_keys = 0

    @property
    def id(self) -> int | None:
        return self._process.pid

    def kill(self) -> None:
        self._process.kill()

    def end(self) -> None:
        self._process.kill()
        self._process.join()
        self.connection.close()

    def answer(self, asked: _Asked, woken: Connection, deliver: Deliver) -> Answer:
        """Send a request and return its answer; nudge the process if something newer turns up.

        A second answer to the request before may still be under way; it is delivered.
        """
        self._send(asked)
        is_nudged = False
        while True:
            ready = wait([self.connection] if is_nudged else [self.connection, woken])
            if self.connection not in ready:
                is_nudged = True
                if asked.tubes is None:
                    self.connection.send(Nudge())
                continue
            answer: Answer = self.connection.recv()
            if not answer.is_second:
                self._asked = asked
                return self._whole(answer)
            self._deliver_second(answer, deliver)

    def take_second(self, deliver: Deliver) -> None:
        """Deliver the second answer that has come; raise EOFError where the process ended instead."""
        self._deliver_second(self.connection.recv(), deliver)

    def _deliver_second(self, answer: Answer, deliver: Deliver) -> None:
        assert self._asked is not None
        deliver(self._asked, self._whole(answer))

    def _whole(self, answer: Answer) -> Answer:
        """Return an answer with the profiles that were sent before and still hold."""
        if answer.report is None:
            return answer
        kept = {id: self._profiles[id] for id in answer.as_sent}
        self._profiles = kept | answer.report.profiles
        return replace(answer, report=replace(answer.report, profiles=self._profiles))

    def _send(self, asked: _Asked) -> None:
        change = layout_changes.between(self._layout, asked.layout, self._key_of)
        fresh = [(key, mesh) for key, mesh in self._meshes.values() if key >= self._sent_keys]
        self.connection.send(
            Request(
                revision=asked.revision,
                change=change,
                tubes=asked.tubes,
                meshes=tuple(key for key, _ in fresh),
                forgotten=self._forgotten(asked.layout),
            )
        )
        for _, mesh in fresh:
            check_process.send_mesh(self.connection, mesh)
        self._layout, self._sent_keys = asked.layout, self._next_key

    def _key_of(self, mesh: Mesh) -> int:
        if id(mesh) not in self._meshes:
            self._meshes[id(mesh)] = (self._next_key, mesh)
            self._next_key += 1
        return self._meshes[id(mesh)][0]

    def _forgotten(self, layout: Layout) -> tuple[int, ...]:
        """Drop the meshes that no panel has any more, and return their keys."""
        held = {id(panel.mesh) for panel in layout.panels.values()}
        gone = [number for number in self._meshes if number not in held]
        return tuple(self._meshes.pop(number)[0] for number in gone)
