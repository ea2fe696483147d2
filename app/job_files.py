"""Opening, saving, bringing in and taking away: what the File menu does."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from PySide6.QtCore import QObject, Signal
from PySide6.QtWidgets import QWidget

from app import dialogs
from app.jobs import Job, in_child
from app.session import Session
from app.settings import Paper, Settings
from app.units import Units
from geometry import edits
from geometry.errors import BodyFileError, GeometryError, LayoutFileError
from geometry.files import job as job_file
from geometry.layout import Layout
from geometry.progress import Progress

SUFFIX = ".outrib"
JOBS = "Jobs (*.outrib)"
MESH_SUFFIXES = (".stl", ".obj", ".ply", ".off", ".glb", ".gltf", ".3mf")
MESHES = f"Meshes ({' '.join('*' + suffix for suffix in MESH_SUFFIXES)})"
ANYTHING = f"Jobs and meshes (*.outrib {' '.join('*' + suffix for suffix in MESH_SUFFIXES)})"
SAMPLE = Path(__file__).parent.parent / "assets" / "sample.outrib"
SAVE, DISCARD = "Save", "Don't save"
# What a person can mend: said in the bar. Anything else is a fault and goes to the crash hook.
MENDABLE = (GeometryError, BodyFileError, LayoutFileError)


class JobFiles(QObject):
    """Asks for paths, runs the work beside the UI and says how it went."""

    job_started = Signal(object)  # Job
    refused = Signal(str)
    told = Signal(str, object)  # a sentence, and the folder it speaks of or None
    scan_read = Signal(object)  # geometry.body.scan.Scan
    job_opened = Signal(object)  # Path or None
    about_to_leave = Signal()  # the job that is open is about to be replaced
    saved = Signal(object)  # Path

    def __init__(self, session: Session, settings: Settings, window: QWidget) -> None:
        super().__init__(window)
        self._session = session
        self._settings = settings
        self._window = window
        self._job: Job | None = None
        self._then: Callable[[Any], None] | None = None
        self._opening = Path()
        self.make_empty: Callable[[], Layout] = Layout
        self.settle_step: Callable[[], bool] = lambda: True  # False: the person wants to go on with it

    @property
    def is_busy(self) -> bool:
        return self._job is not None

    def new(self) -> None:
        if self.may_leave():
            self._show(self.make_empty(), None)

    def ask_open(self) -> None:
        folder = self._settings.folder("jobs")
        path = dialogs.ask_open_path(self._window, "Open", folder, f"{ANYTHING};;{JOBS};;{MESHES}")
        if path is not None:
            self.open(path)

    def open(self, path: Path) -> None:
        """Open a job, or bring a mesh into this one."""
        if path.suffix.lower() in MESH_SUFFIXES:
            self.bring_in(path)
        elif path.resolve() == SAMPLE.resolve():
            self.open_sample()  # a job without a file, so that saving asks for one
        elif path.suffix.lower() != SUFFIX:
            kinds = ", ".join(suffix[1:].upper() for suffix in MESH_SUFFIXES)
            self.refused.emit(
                f"{path.name} is neither a job nor a mesh; choose an .outrib file or one of {kinds}."
            )
        elif self._is_free() and self.may_leave():
            self._settings.set_folder("jobs", path.parent)
            self._run(Job(f"Opening {path.name}", _loading(path), self), self._on_loaded)
            self._opening = path

    def open_sample(self) -> None:
        if not SAMPLE.is_file():
            self.refused.emit("The sample job is not part of this copy of the program.")
        elif self._is_free() and self.may_leave():
            self._run(Job("Opening the sample", _loading(SAMPLE), self), self._on_sample)

    def save(self) -> bool:
        """Write to the job's file; asks where when it has none yet."""
        path = self._session.path
        return self.save_as() if path is None else self._write(path)

    def save_as(self) -> bool:
        name = self._session.layout.name or "Untitled"
        old = self._session.path
        proposed = old or self._settings.folder("jobs") / f"{file_name(name)}{SUFFIX}"
        path = dialogs.ask_save_path(self._window, "Save job", proposed, JOBS)
        if path is None:
            return False
        return self._write(path if path.suffix == SUFFIX else path.with_name(path.name + SUFFIX))

    def may_leave(self) -> bool:
        """Offer to save what is not saved; False when the person wants to stay."""
        if not self.settle_step():
            return False
        if not self._session.is_modified:
            self.about_to_leave.emit()
            return True
        name = self._session.path.stem if self._session.path else self._session.layout.name
        text = f"“{name}” has changes that are not saved."
        choice = dialogs.ask_choice(self._window, "Unsaved changes", text, (SAVE, DISCARD))
        goes = choice == DISCARD or (choice == SAVE and self.save())
        if goes:
            self.about_to_leave.emit()
        return goes

    def ask_bring_in(self) -> None:
        folder = self._settings.folder("meshes")
        path = dialogs.ask_open_path(self._window, "Bring in a body", folder, f"{MESHES};;All files (*)")
        if path is not None:
            self.bring_in(path)

    def bring_in(self, path: Path) -> None:
        """Read a mesh file beside the UI; the import step follows."""
        if not self._is_free():
            return
        self._settings.set_folder("meshes", path.parent)
        self._run(_reading_job(path, self), self.scan_read.emit)

    def write_packet(self, picture: bytes | None) -> None:
        """Ask for a folder and write every sheet into it."""
        if not self._session.recorded.tubes:
            self.refused.emit("There is no tube yet, so there is nothing to write; lay a tube first.")
            return
        if not self._is_free():
            return
        path = self._session.path
        proposed = path.parent if path else self._settings.folder("packets")
        folder = dialogs.ask_folder(self._window, "Folder for the packet", proposed)
        if folder is None:
            return
        self._settings.set_folder("packets", folder)
        layout, settings = self._session.recorded, self._settings
        work = in_child(write_packet, layout, folder, settings.units, settings.paper, picture)
        self._run(Job("Writing the packet", work, self), self._on_packet)

    def write_cuts(self) -> None:
        """Ask for a folder and write the cuts in the selected panels, or in all that are trimmed."""
        layout, settings = self._session.recorded, self._settings
        trimmed = [id for id, panel in layout.panels.items() if panel.trim is not None and panel.kept]
        chosen = [id for id in trimmed if id in self._session.selection] or trimmed
        if not chosen:
            self.refused.emit("No panel is trimmed yet, so there is no cut to write; trim one first.")
            return
        if not self._is_free():
            return
        path = self._session.path
        proposed = path.parent if path else settings.folder("packets")
        folder = dialogs.ask_folder(self._window, "Folder for the cuts", proposed)
        if folder is None:
            return
        settings.set_folder("packets", folder)
        work = in_child(write_cuts, layout, chosen, folder, settings.units, settings.paper)
        self._run(Job("Writing the cuts", work, self), self._on_cuts)

    def stop(self) -> None:
        """Cancel what runs and wait for it; for closing the window."""
        if self._job is not None:
            self._job.cancel()
            self._job.wait()

    def _is_free(self) -> bool:
        if self._job is not None:
            self.refused.emit(f"{self._job.title} is still running; wait for it or cancel it first.")
        return self._job is None

    def _run(self, job: Job, then: Callable[[Any], None]) -> None:
        self._job, self._then = job, then
        job.done.connect(self._on_done)
        job.failed.connect(self._on_failed)
        job.ended.connect(self._on_ended)
        self.job_started.emit(job)
        job.start()

    def _on_done(self, value: object) -> None:
        then, self._then = self._then, None
        self._job = None  # what follows may start the next one
        if then is not None:
            then(value)

    def _on_failed(self, error: BaseException) -> None:
        if isinstance(error, MENDABLE):
            self.refused.emit(error.message)
        elif isinstance(error, OSError):
            self.refused.emit(f"{error.filename or 'The file'} can't be used: {error.strerror or error}.")
        elif isinstance(error, MemoryError):
            self.refused.emit(
                "There is not enough memory for this; close other programs or use a smaller mesh."
            )
        else:
            raise error

    def _on_ended(self) -> None:
        job = self.sender()
        if job is self._job:
            self._job = None
        if isinstance(job, Job):
            job.deleteLater()

    def _on_loaded(self, layout: Layout) -> None:
        self._show(layout, self._opening)
        self._settings.add_recent_job(self._opening)

    def _on_sample(self, layout: Layout) -> None:
        self._show(layout, None)  # saving asks for a place: the sample itself stays as it is

    def _show(self, layout: Layout, path: Path | None) -> None:
        self._session.open(layout, path)
        self.job_opened.emit(path)

    def _write(self, path: Path) -> bool:
        if self._session.path is None and self._session.recorded.name == Layout().name:
            # What nobody named yet is called like its file, on the sheets too.
            self._session.apply("Name the job", lambda now: edits.rename_job(now, path.stem))
        try:
            job_file.save(self._session.recorded, path)
        except LayoutFileError as error:
            self.refused.emit(error.message)
            return False
        self._settings.set_folder("jobs", path.parent)
        self._session.mark_saved(path)
        self._settings.add_recent_job(path)
        self.saved.emit(path)
        return True

    def _on_cuts(self, paths: tuple[Path, ...]) -> None:
        folder = paths[0].parent
        self.told.emit(f"The cuts are written: {len(paths)} files in {folder}", folder)

    def _on_packet(self, paths: tuple[Path, ...]) -> None:
        folder = paths[0].parent
        self.told.emit(f"The packet is written: {len(paths)} files in {folder}", folder)


def write_cuts(
    layout: Layout, panels: list[int], folder: Path, units: Units, paper: Paper, progress: Progress
) -> tuple[Path, ...]:
    """Write the cuts in panels; runs in a child process."""
    from app.export import cuts

    return cuts.write(layout, panels, folder, units, paper, progress)


def file_name(name: str) -> str:
    """Return a job's name without what some system forbids in file names."""
    allowed = "".join("-" if sign in '/\\:*?"<>|' or not sign.isprintable() else sign for sign in name)
    return allowed.strip(" .") or "Untitled"


def _loading(path: Path) -> Callable[[Progress], Layout]:
    def work(progress: Progress) -> Layout:
        progress(0.0, "Reading")
        return job_file.load(path)

    return work


def _reading_job(path: Path, parent: QObject) -> Job:
    """A job that reads a mesh file in a child process."""
    from geometry.body import scan

    return Job(f"Reading {path.name}", in_child(scan.read, path), parent)


def write_packet(
    layout: Layout, folder: Path, units: Units, paper: Paper, picture: bytes | None, progress: Progress
) -> tuple[Path, ...]:
    """Check the layout and write its packet; runs in a child process."""
    from app.export import packet

    return packet.write_packet(layout, None, folder, units, paper, progress, picture)
