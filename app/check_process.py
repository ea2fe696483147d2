"""The process that owns the distance indexes and judges layouts for the window.

libigl keeps the GIL while it works, so it never runs beside the UI thread. The window sends what changed
of a layout, with the triangles it has not sent before, and gets one answer for each request. What takes
longer (`findings.completed`) follows in a second answer. A nudge says that something newer waits: then the
check of a whole layout ends early, and so does what follows.
"""

import signal
import traceback
from multiprocessing.connection import Connection
from typing import Any

import numpy as np
from msgspec import Struct
from msgspec.structs import replace
from numpy.typing import NDArray

from app import layout_changes
from app.layout_changes import Change
from geometry.body import distance
from geometry.body.distance import BodyIndex
from geometry.checks import findings, tyres
from geometry.checks.findings import Report
from geometry.checks.profile import Profile
from geometry.checks.tyres import Envelopes, WheelKey
from geometry.layout import Layout, Mesh

TUBES_AT_ONCE = 6  # between two looks for a nudge; some ten milliseconds
IDLE = 1.0  # s without a request, after which a body without tubes is indexed all the same


class Request(Struct, frozen=True, eq=False):
    """A layout to judge, as the change from the one before; tubes None asks for the whole of it."""

    revision: int
    change: Change
    tubes: frozenset[int] | None
    meshes: tuple[int, ...]  # keys of those that follow as bytes: vertices, then triangles
    forgotten: tuple[int, ...]  # keys of meshes that no panel has any more


class Nudge(Struct, frozen=True):
    """Something newer waits."""


class Answer(Struct, frozen=True, eq=False):
    """What became of a request: a report, nothing (ended early), or why there is none."""

    revision: int
    report: Report | None = None
    error: str | None = None
    follows: bool = False  # a second answer to the same request comes
    is_second: bool = False
    envelopes: dict[WheelKey, Mesh] | None = None  # what each tyre sweeps through; None: as said last
    as_sent: frozenset[int] = frozenset()  # tubes whose profiles went before; the report has the others


def send_mesh(connection: Connection, mesh: Mesh) -> None:
    """Send the arrays as they lie in memory, without a copy."""
    for array, kind in ((mesh.vertices, np.float64), (mesh.triangles, np.int32)):
        flat = np.ascontiguousarray(array, dtype=kind).reshape(-1)
        connection.send_bytes(flat.view(np.uint8).data)


def serve(connection: Connection) -> None:
    """Answer requests until the other end is closed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the window, which then ends us
    judge = _Judge(connection)
    try:
        while True:
            judge.wait()
            message = connection.recv()
            if isinstance(message, Request):
                answer = judge.answer(message)
                connection.send(answer)
                if answer.follows:
                    connection.send(judge.second_answer(message))
    except (EOFError, OSError):
        return


class _Judge:
    """Holds the layout as the window last sent it, and what was computed from it."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._meshes: dict[int, Mesh] = {}
        self._layout = Layout()
        self._index: BodyIndex = {}
        self._report: Report | None = None
        self._envelopes: Envelopes = {}
        self._said_envelopes: Envelopes = {}
        self._sent: dict[int, Profile] = {}

    def wait(self) -> None:
        """Return when a message is there; meanwhile index a body that no tube has asked for yet."""
        if not self._layout.tubes and not self._connection.poll(IDLE):
            self._index = distance.build(self._layout, self._index)

    def answer(self, request: Request) -> Answer:
        self._take(request)
        try:
            report = self._judged(request.tubes)
        except Exception:
            self._report = None
            return Answer(request.revision, error=traceback.format_exc())
        return self._with_report(Answer(request.revision, follows=report is not None), report)

    def second_answer(self, request: Request) -> Answer:
        """Return the report with what takes longer; nothing where something newer waits."""
        try:
            is_whole = self._complete()
        except Exception:
            self._report = None
            return Answer(request.revision, error=traceback.format_exc(), is_second=True)
        report = self._report if is_whole or request.tubes is not None else None
        answer = Answer(request.revision, is_second=True, envelopes=self._new_envelopes())
        return self._with_report(answer, report)

    def _with_report(self, answer: Answer, report: Report | None) -> Answer:
        """Return the answer with a report, without the profiles that the window has already."""
        if report is None:
            return answer
        before, self._sent = self._sent, report.profiles
        as_sent = frozenset(id for id, known in report.profiles.items() if before.get(id) is known)
        fresh = {id: known for id, known in report.profiles.items() if id not in as_sent}
        light = replace(findings.without_basis(report), profiles=fresh)
        return replace(answer, report=light, as_sent=as_sent)

    def _complete(self) -> bool:
        """Add to the report what there is time for, and say whether that was all."""
        assert self._report is not None
        assert self._report.basis is not None
        # Without tubes no panel was indexed: what we hold may be of panels that went.
        index = self._report.basis.index
        envelopes = tyres.envelopes(self._layout, self._envelopes, self._is_idle)
        self._envelopes = envelopes
        self._report, is_whole = findings.completed(
            self._layout, index, envelopes, self._report, self._is_idle
        )
        return is_whole

    def _is_idle(self) -> bool:
        return not self._connection.poll()

    def _new_envelopes(self) -> dict[WheelKey, Mesh] | None:
        said, self._said_envelopes = self._said_envelopes, self._envelopes
        if said.keys() == self._envelopes.keys() and all(
            said[key] is envelope for key, envelope in self._envelopes.items()
        ):
            return None
        return {key: envelope.mesh for key, envelope in self._envelopes.items()}

    def _take(self, request: Request) -> None:
        for key in request.meshes:
            vertices = np.frombuffer(self._connection.recv_bytes(), dtype=np.float64)
            triangles = np.frombuffer(self._connection.recv_bytes(), dtype=np.int32)
            self._meshes[key] = Mesh(_rows(vertices), _rows(triangles))
        self._layout = layout_changes.applied(self._layout, request.change, self._meshes)
        for key in request.forgotten:
            self._meshes.pop(key, None)

    def _judged(self, tubes: frozenset[int] | None) -> Report | None:
        """Return the report, or None where a nudge ended the check of a whole layout."""
        layout = self._layout
        if not layout.tubes and not layout.axles:
            self._report = findings.check(layout, {})
            return self._report
        self._index = distance.build(layout, self._index)
        if tubes is not None:
            self._report = findings.check(layout, self._index, self._report, tubes)
            return self._report
        self._report = findings.check(layout, self._index, self._report, frozenset())
        for part in _parts(sorted(layout.tubes.keys() - self._report.checked)):
            if not self._is_idle():
                return None
            self._report = findings.check(layout, self._index, self._report, part)
        return self._report


def _parts(ids: list[int]) -> list[frozenset[int]]:
    return [frozenset(ids[i : i + TUBES_AT_ONCE]) for i in range(0, len(ids), TUBES_AT_ONCE)]


def _rows(flat: NDArray[Any]) -> NDArray[Any]:
    return flat.reshape(-1, 3)
