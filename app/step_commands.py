"""Steps that take the right side for a while: the body comes in, is measured, placed again, split."""

from typing import Any

from PySide6.QtCore import QObject, Signal

from app.furniture import Furniture
from app.session import Session
from app.settings import Settings
from app.units import Units
from app.viewport.view import View


class StepCommands(QObject):
    """Opens a step, connects it with the view, and closes it when it ends."""

    refused = Signal(str)
    changed = Signal()  # a step was opened or closed

    def __init__(
        self, session: Session, view: View, furniture: Furniture, settings: Settings, parent: QObject
    ) -> None:
        super().__init__(parent)
        self._session = session
        self._view = view
        self._furniture = furniture
        self._settings = settings
        self._step: Any = None

    @property
    def is_open(self) -> bool:
        return self._step is not None

    def bodies_meant(self) -> list[int]:
        """The selected bodies, those of the selected panels, or the only one there is."""
        layout, selection = self._session.layout, self._session.selection
        chosen = {id for id in selection if id in layout.bodies}
        chosen |= {layout.panels[id].body for id in selection if id in layout.panels}
        if not chosen and len(layout.bodies) == 1:
            return list(layout.bodies)
        return sorted(chosen)

    def set_units(self, units: Units) -> None:
        if self._step is not None:
            self._step.set_units(units)

    def close(self) -> None: ...

    def bring_in(self, scan: Any) -> None: ...

    def measured_body(self) -> None: ...

    def place_body(self) -> None: ...

    def change_measurements(self) -> None: ...

    def split_panel(self) -> None: ...

    def join_panels(self) -> None: ...
