"""The rack's files: bring one in, write one, and the one that new jobs start with."""

from functools import partial
from pathlib import Path

from msgspec.structs import replace
from PySide6.QtCore import QObject, QTimer, Signal
from PySide6.QtWidgets import QWidget

from app import dialogs
from app import settings as places
from app.session import Session
from app.settings import Settings
from geometry import rack
from geometry.errors import GeometryError
from geometry.files import rack_file
from geometry.files.rack_file import Arrived
from geometry.layout import Layout

READ = "Racks (*.json *.csv)"
# What a person may choose to write, with the part of a rack that a table holds.
WRITTEN: dict[str, tuple[str, rack_file.Part | None]] = {
    "The whole rack, as JSON": ("rack.json", None),
    "Stock, as CSV": ("stock.csv", "stock"),
    "Dies, as CSV": ("dies.csv", "dies"),
}


def kept_rack() -> Path:
    """Where the rack of new jobs lies, once a person chose one."""
    return places.config_folder() / "rack.json"


def empty_job() -> tuple[Layout, str]:
    """Return a job with the rack of new jobs, and why it is the common one although another was kept."""
    common = rack.with_starting_rack(Layout(both_sides=True))
    path = kept_rack()
    if not path.exists():
        return common, ""
    try:
        kept = rack_file.rack_only(rack_file.load(path))
        return replace(kept, both_sides=True), ""
    except GeometryError as error:
        return common, f"New jobs start with the common rack: {error.message}"


class RackFiles(QObject):
    """Asks for paths, and says what came of it."""

    refused = Signal(str)
    told = Signal(str)

    def __init__(self, session: Session, settings: Settings, window: QWidget) -> None:
        super().__init__(window)
        self._session = session
        self._settings = settings
        self._window = window

    def empty_job(self) -> Layout:
        """A new job; says so when the kept rack could not be used."""
        layout, trouble = empty_job()
        if trouble:
            QTimer.singleShot(0, self, partial(self.told.emit, trouble))  # the new job clears what was said
        return layout

    def bring_in(self) -> None:
        """Ask for a rack file and join it with the rack as one undo step."""
        path = dialogs.ask_open_path(self._window, "Import rack", self._settings.folder("racks"), READ)
        if path is None:
            return
        self._settings.set_folder("racks", path.parent)
        arrived: list[Arrived] = []

        def joined(layout: Layout) -> Layout:
            after, count = rack_file.merged(layout, rack_file.load(path))
            arrived.append(count)
            return after

        if self._session.apply(f"Import {path.name}", joined):
            self.told.emit(f"{path.name}: {rack_file.told(arrived[0])}")

    def write(self) -> None:
        """Ask what and where, and write it."""
        kind = dialogs.ask_choice(self._window, "Export rack", "What shall the file hold?", tuple(WRITTEN))
        if kind is None:
            return
        name, part = WRITTEN[kind]
        suffix = Path(name).suffix
        proposed = self._settings.folder("racks") / name
        path = dialogs.ask_save_path(self._window, "Export rack", proposed, f"Racks (*{suffix})")
        if path is None:
            return
        path = path if path.suffix.lower() == suffix else path.with_name(path.name + suffix)
        self._settings.set_folder("racks", path.parent)
        if self._saved(path, part):
            self.told.emit(f"The rack is written: {path}")

    def keep(self) -> None:
        """Let new jobs start with the rack of this one."""
        if self._saved(kept_rack(), None):
            self.told.emit("New jobs start with this rack from now on, trial bends and all.")

    def forget(self) -> None:
        """Let new jobs start with the common rack again; this job keeps its own."""
        try:
            kept_rack().unlink(missing_ok=True)
        except OSError as error:
            self.refused.emit(f"{kept_rack()} can't be taken away: {error.strerror or error}.")
            return
        self.told.emit("New jobs start with the common rack again. This job keeps the rack it has.")

    def _saved(self, path: Path, part: rack_file.Part | None) -> bool:
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            rack_file.save(self._session.recorded, path, part)
        except GeometryError as error:
            self.refused.emit(error.message)
            return False
        except OSError as error:
            self.refused.emit(f"{path} could not be written: {error.strerror or error}.")
            return False
        return True
