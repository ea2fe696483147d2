"""A lighter stand-in for a large body, decimated in a child process; only the picture uses it."""

import multiprocessing
from collections.abc import Sequence
from multiprocessing.connection import Connection
from multiprocessing.shared_memory import SharedMemory

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray
from PySide6.QtCore import QObject, QTimer, Signal

from geometry.layout import Mesh

DRAWN_TRIANGLES = 150_000  # about 40 ms a frame without a graphics card
DRAWN_BY_CARD = 1_500_000  # with one; assumed, not measured
ASK_EVERY = 60  # ms


class _Block(Struct, frozen=True):
    """An array in shared memory, as the child is told of it."""

    name: str
    shape: tuple[int, int]
    kind: str


class Decimation(QObject):
    """Decimates meshes one after the other; a newer order ends the older one."""

    done = Signal(object, object, object)  # mesh, points (n, 3) as it was read, triangles (m, 3)

    def __init__(self, parent: QObject) -> None:
        super().__init__(parent)
        self._child: multiprocessing.process.BaseProcess | None = None
        self._pipe: Connection | None = None
        self._memory: list[SharedMemory] = []
        self._waiting: list[Mesh] = []
        self._timer = QTimer(self)
        self._timer.setInterval(ASK_EVERY)
        self._timer.timeout.connect(self._on_time)

    def start(self, meshes: Sequence[Mesh], part_kept: float) -> None:
        """Begin; `done` follows for each mesh."""
        if self.is_running and list(meshes) == self._waiting:
            return
        self.stop()
        if not meshes:
            return
        self._waiting = list(meshes)
        orders = [(self._share(m.vertices, "f4"), self._share(m.triangles, "i4")) for m in meshes]
        context = multiprocessing.get_context("spawn")
        self._pipe, theirs = context.Pipe(duplex=False)
        self._child = context.Process(target=_decimate, args=(theirs, orders, part_kept), daemon=True)
        self._child.start()
        theirs.close()
        self._timer.start()

    @property
    def is_running(self) -> bool:
        return self._child is not None

    def stop(self) -> None:
        """End the child and free what was shared with it."""
        self._timer.stop()
        if self._child is not None:
            self._child.terminate()
            self._child.join()
            self._child.close()
            self._child = None
        if self._pipe is not None:
            self._pipe.close()
            self._pipe = None
        for memory in self._memory:
            memory.close()
            memory.unlink()
        self._memory, self._waiting = [], []

    def _share(self, values: NDArray, kind: str) -> _Block:
        rows = np.asarray(values, dtype=kind)
        memory = SharedMemory(create=True, size=max(rows.nbytes, 1))
        np.ndarray(rows.shape, dtype=kind, buffer=memory.buf)[:] = rows
        self._memory.append(memory)
        return _Block(memory.name, (rows.shape[0], rows.shape[1]), kind)

    def _on_time(self) -> None:
        while self._waiting and self._pipe is not None and self._child is not None:
            if not self._pipe.poll():
                if not self._child.is_alive() and not self._pipe.poll():
                    self.stop()  # the child died: the body stays drawn in full
                return
            try:
                points, triangles = self._pipe.recv()
            except (EOFError, OSError):
                self.stop()
                return
            self.done.emit(self._waiting.pop(0), points, triangles)
        if not self._waiting:
            self.stop()


def _decimate(pipe: Connection, orders: list[tuple[_Block, _Block]], part_kept: float) -> None:
    """Run in the child: decimate each mesh and send it back."""
    import fast_simplification

    for order in orders:
        points, triangles = (_taken(block) for block in order)
        wanted = max(200, round(len(triangles) * part_kept))
        if wanted < len(triangles):
            points, triangles = fast_simplification.simplify(points, triangles, target_count=wanted)
        pipe.send((np.asarray(points, dtype=np.float64), np.asarray(triangles, dtype=np.int64)))
    pipe.close()


def _taken(block: _Block) -> NDArray:
    memory = SharedMemory(name=block.name)
    rows = np.ndarray(block.shape, dtype=block.kind, buffer=memory.buf).copy()
    memory.close()
    return rows
