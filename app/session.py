"""The current layout, its undo stack and the selection: the only place where the layout is replaced."""

from collections.abc import Callable, Iterable
from pathlib import Path

from PySide6.QtCore import QObject, Signal
from PySide6.QtGui import QUndoCommand, QUndoStack
from shiboken6 import isValid

from app.guarded import guarded
from geometry import keeping
from geometry.errors import GeometryError
from geometry.layout import SELECTABLE, Layout

UNDO_STEPS = 1000


class _Step(QUndoCommand):
    """Puts one of two layouts back, with what was selected then."""

    def __init__(self, session: "Session", name: str, before: Layout, after: Layout) -> None:
        super().__init__(name)
        self._session = session
        self._before = before
        self._after = after

    @guarded()
    def undo(self) -> None:
        self._session._replace(self._before)

    @guarded()
    def redo(self) -> None:
        self._session._replace(self._after)


class Session(QObject):
    """Holds the layout that is shown and the one that undo knows; they differ during a preview."""

    changed = Signal(object, object)  # layout before, layout after (previews too)
    committed = Signal(object)  # the recorded layout, after each commit, undo, redo and open
    selection_changed = Signal(object)  # frozenset of ids
    previewing_changed = Signal(bool)
    opened = Signal()  # another job; everything that belongs to the old one goes
    path_changed = Signal(object)  # Path or None
    refused = Signal(str)  # why an edit could not be made, a sentence for the person

    def __init__(self, layout: Layout | None = None, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._layout = self._recorded = layout or Layout()
        self._selection: frozenset[int] = frozenset()
        self._previewing = False
        self.path: Path | None = None
        self.revision = 0
        self.undo_stack = QUndoStack(self)
        self.undo_stack.setUndoLimit(UNDO_STEPS)

    def __del__(self) -> None:
        # In one heap of garbage the steps may be freed before the stack, which would free them again.
        if isValid(self.undo_stack):
            self.undo_stack.blockSignals(True)
            self.undo_stack.clear()

    @property
    def layout(self) -> Layout:
        """The layout that is shown, previews included."""
        return self._layout

    @property
    def recorded(self) -> Layout:
        """The layout that the last commit, undo, redo or open left."""
        return self._recorded

    @property
    def selection(self) -> frozenset[int]:
        return self._selection

    @property
    def is_previewing(self) -> bool:
        return self._previewing

    @property
    def is_modified(self) -> bool:
        return not self.undo_stack.isClean()

    def preview(self, layout: Layout) -> None:
        """Show a layout without recording it."""
        self._set_previewing(True)
        self._show(keeping.kept(self._recorded, layout))

    def commit(self, name: str, layout: Layout | None = None) -> None:
        """Record the given or previewed layout as one undo step, named as the Edit menu shall say it."""
        after = self._layout if layout is None else keeping.kept(self._recorded, layout)
        self._set_previewing(False)
        if after is self._recorded:
            self._show(after)
            return
        self.undo_stack.push(_Step(self, name, self._recorded, after))

    def apply(self, name: str, change: Callable[[Layout], Layout]) -> bool:
        """Record change(recorded layout) as one undo step; say why when it is refused."""
        try:
            after = change(self._recorded)
        except GeometryError as error:
            self.refused.emit(error.message)
            return False
        self.commit(name, after)
        return True

    def cancel(self) -> None:
        """Return to the last recorded layout."""
        self._set_previewing(False)
        self._show(self._recorded)

    def undo(self) -> None:
        if not self._previewing:
            self.undo_stack.undo()

    def redo(self) -> None:
        if not self._previewing:
            self.undo_stack.redo()

    def select(self, ids: Iterable[int]) -> None:
        """Replace the selection by the ids that exist."""
        chosen = frozenset(id for id in ids if self._exists(id))
        if chosen != self._selection:
            self._selection = chosen
            self.selection_changed.emit(chosen)

    def open(self, layout: Layout, path: Path | None) -> None:
        """Replace the whole job; the undo history starts anew."""
        self._set_previewing(False)
        self.undo_stack.clear()
        self._recorded = layout
        self.set_path(path)
        self._show(layout)
        self.select(())
        self.opened.emit()
        self.committed.emit(layout)

    def mark_saved(self, path: Path) -> None:
        self.undo_stack.setClean()
        self.set_path(path)

    def set_path(self, path: Path | None) -> None:
        self.path = path
        self.path_changed.emit(path)

    def _replace(self, layout: Layout) -> None:
        self._recorded = layout
        self._show(layout)
        self.committed.emit(layout)

    def _show(self, layout: Layout) -> None:
        before, self._layout = self._layout, layout
        if before is layout:
            return
        self.revision += 1
        self.changed.emit(before, layout)
        self.select(self._selection)

    def _set_previewing(self, previewing: bool) -> None:
        if previewing != self._previewing:
            self._previewing = previewing
            self.previewing_changed.emit(previewing)

    def _exists(self, id: int) -> bool:
        layout = self._layout
        return any(id in getattr(layout, kind) for kind in SELECTABLE)
