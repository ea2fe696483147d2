"""Collect Python's garbage between two events of the UI thread, and nowhere else.

Python collects in whatever thread allocates, at any line. A widget that dies in a worker, or while Qt walks
through its widgets, ends the process.
"""

import gc

from PySide6.QtCore import QObject, QTimer

from app.guarded import guarded

EVERY = 500  # ms


class TidyGarbage(QObject):
    """Stands in for Python's own collector as long as it lives."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        gc.collect()
        gc.freeze()  # what stands from the start is not looked through again
        gc.disable()
        self._timer = QTimer(self)
        self._timer.setInterval(EVERY)
        self._timer.timeout.connect(self._on_time)
        self._timer.start()

    def stop(self) -> None:
        """Hand back to Python's own collector."""
        self._timer.stop()
        gc.unfreeze()
        gc.enable()

    @guarded()
    def _on_time(self) -> None:
        """Collect the oldest generation that is due, by Python's own thresholds."""
        for generation in (2, 1, 0):
            if gc.get_count()[generation] > gc.get_threshold()[generation]:
                gc.collect(generation)
                return
