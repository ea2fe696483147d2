"""The process that owns the distance indexes and judges layouts for the window.

libigl keeps the GIL while it works, so it never runs beside the UI thread. The window sends what changed
of a layout, with the triangles it has not sent before, and gets one answer for each request. A nudge
says that something newer waits: then the check of a whole layout ends early.
"""

import signal
import traceback
from multiprocessing.connection import Connection
from typing import Any

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from app import layout_changes
from app.layout_changes import Change
from geometry.body import distance
from geometry.body.distance import BodyIndex
from geometry.checks import findings
from geometry.checks.findings import Report
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
                connection.send(judge.answer(message))
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
        return Answer(request.revision, report and findings.without_basis(report))

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
        if not layout.tubes:
            return findings.check(layout, {})
        self._index = distance.build(layout, self._index)
        if tubes is not None:
            self._report = findings.check(layout, self._index, self._report, tubes)
            return self._report
        self._report = findings.check(layout, self._index, self._report, frozenset())
        for part in _parts(sorted(layout.tubes.keys() - self._report.checked)):
            if self._connection.poll():
                return None
            self._report = findings.check(layout, self._index, self._report, part)
        return self._report


def _parts(ids: list[int]) -> list[frozenset[int]]:
    return [frozenset(ids[i : i + TUBES_AT_ONCE]) for i in range(0, len(ids), TUBES_AT_ONCE)]


def _rows(flat: NDArray[Any]) -> NDArray[Any]:
    return flat.reshape(-1, 3)
