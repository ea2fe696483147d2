"""What the person prefers, kept in an INI file in the configuration folder."""

import hashlib
import json
from pathlib import Path
from typing import Any, Literal, get_args

from PySide6.QtCore import QByteArray, QObject, QSettings, QStandardPaths, Signal

from app.units import Units

Theme = Literal["system", "light", "dark"]
Paper = Literal["A4", "letter"]
Tour = Literal["new", "left", "finished"]
RECENT_JOBS = 8
FRACTIONS = (8, 16, 32)
LENGTHS = ("mm", "in", "in-fraction")


def config_folder() -> Path:
    """The folder of our settings; XDG_CONFIG_HOME is followed on Linux."""
    place = QStandardPaths.StandardLocation.GenericConfigLocation
    return Path(QStandardPaths.writableLocation(place)) / "outrib"


def cache_folder() -> Path:
    """The folder of what can be made again, such as pictures of recent jobs."""
    place = QStandardPaths.StandardLocation.GenericCacheLocation
    return Path(QStandardPaths.writableLocation(place)) / "outrib"


def state_folder() -> Path:
    """The folder of the log and of recovery copies."""
    place = QStandardPaths.StandardLocation.GenericStateLocation
    return Path(QStandardPaths.writableLocation(place)) / "outrib"


class Settings(QObject):
    """The one place that touches QSettings; changes that others show are signalled."""

    units_changed = Signal(object)  # Units
    theme_changed = Signal(str)
    recent_changed = Signal()

    def __init__(self, path: Path | None = None, parent: QObject | None = None) -> None:
        super().__init__(parent)
        file = path or config_folder() / "outrib.ini"
        file.parent.mkdir(parents=True, exist_ok=True)
        self._store = QSettings(str(file), QSettings.Format.IniFormat, self)

    @property
    def units(self) -> Units:
        length = self._text("units/length", LENGTHS, "mm")
        fraction = int(self._text("units/fraction", tuple(map(str, FRACTIONS)), "16"))
        return Units(length=length, fraction=fraction)  # type: ignore[arg-type]

    def set_units(self, units: Units) -> None:
        if units == self.units:
            return
        self._store.setValue("units/length", units.length)
        self._store.setValue("units/fraction", units.fraction)
        self.units_changed.emit(units)

    @property
    def theme(self) -> Theme:
        return self._text("look/theme", get_args(Theme), "system")  # type: ignore[return-value]

    def set_theme(self, theme: Theme) -> None:
        self._store.setValue("look/theme", theme)
        self.theme_changed.emit(theme)

    @property
    def paper(self) -> Paper:
        return self._text("export/paper", get_args(Paper), "A4")  # type: ignore[return-value]

    def set_paper(self, paper: Paper) -> None:
        self._store.setValue("export/paper", paper)

    @property
    def nudge_step(self) -> float:
        """How far an arrow key moves the selection, in mm; 0 is what suits the units."""
        try:
            return max(float(str(self._store.value("nudge_step", "0"))), 0.0)
        except ValueError:
            return 0.0

    def set_nudge_step(self, step: float) -> None:
        self._store.setValue("nudge_step", str(step))

    @property
    def liked_angles(self) -> str:
        """Angles that the shop likes to bend, in degrees: nothing for any, a step, or a list."""
        return str(self._store.value("liked_angles", ""))

    def set_liked_angles(self, angles: str) -> None:
        self._store.setValue("liked_angles", angles)

    @property
    def tour(self) -> Tour:
        """Whether the tour was finished or left, or is not known yet."""
        return self._text("help/tour", get_args(Tour), "new")  # type: ignore[return-value]

    def set_tour(self, tour: Tour) -> None:
        self._store.setValue("help/tour", tour)

    @property
    def safe_graphics(self) -> bool:
        return self.flag("look/safe_graphics", False)

    def set_safe_graphics(self, on: bool) -> None:
        self._store.setValue("look/safe_graphics", on)

    def flag(self, key: str, default: bool) -> bool:
        return bool(self._store.value(key, default, type=bool))

    def bytes_at(self, key: str) -> QByteArray:
        value = self._store.value(key)
        return value if isinstance(value, QByteArray) else QByteArray()

    def set_bytes(self, key: str, value: QByteArray) -> None:
        self._store.setValue(key, value)

    def folder(self, purpose: str) -> Path:
        """The folder used last for this purpose, else the home folder."""
        folder = Path(str(self._store.value(f"folders/{purpose}", "")))
        return folder if str(folder) != "." and folder.is_dir() else Path.home()

    def set_folder(self, purpose: str, folder: Path) -> None:
        self._store.setValue(f"folders/{purpose}", str(folder))

    @property
    def recent_jobs(self) -> tuple[Path, ...]:
        """Jobs used last that still exist, newest first."""
        paths = (Path(text) for text in self._json("recent/jobs", []))
        return tuple(path for path in paths if path.is_file())

    def add_recent_job(self, path: Path) -> None:
        kept = [str(path.resolve())]
        kept += [str(other) for other in self.recent_jobs if str(other) != kept[0]]
        self._store.setValue("recent/jobs", json.dumps(kept[:RECENT_JOBS]))
        self.recent_changed.emit()

    def picture_of(self, job: Path) -> Path:
        """Where the picture of a recent job lies."""
        return cache_folder() / "pictures" / f"{_key(job)}.png"

    def job_state(self, job: Path) -> dict[str, Any]:
        """How the window was left when this job was open last."""
        state = self._json(f"jobs/{_key(job)}", {})
        return state if isinstance(state, dict) else {}

    def set_job_state(self, job: Path, state: dict[str, Any]) -> None:
        self._store.setValue(f"jobs/{_key(job)}", json.dumps(state))

    def sync(self) -> None:
        self._store.sync()

    def _text(self, key: str, choices: tuple[str, ...], default: str) -> str:
        value = str(self._store.value(key, default))
        return value if value in choices else default

    def _json(self, key: str, default: Any) -> Any:
        try:
            return json.loads(str(self._store.value(key, json.dumps(default))))
        except json.JSONDecodeError:
            return default


def _key(job: Path) -> str:
    """A short name for a job's path that an INI file and a file system take."""
    return hashlib.sha256(str(job.resolve()).encode()).hexdigest()[:16]
