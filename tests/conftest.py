"""What every test may ask for, and what no test may leave behind."""

import atexit
import gc
import multiprocessing
import os
import shutil
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from multiprocessing import resource_tracker
from pathlib import Path
from typing import Any

import pytest
from hypothesis import settings

REPO = Path(__file__).resolve().parents[1]
SECONDS_TO_END = 5.0  # for threads, processes and viewports that are just closing
XDG = ("XDG_CONFIG_HOME", "XDG_DATA_HOME", "XDG_CACHE_HOME", "XDG_STATE_HOME")
HAS_SCREEN = sys.platform != "linux" or bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))

# Before anything imports Qt or VTK: no screen means no window system, and nobody's own settings.
if not HAS_SCREEN:
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    os.environ.setdefault("VTK_DEFAULT_OPENGL_WINDOW", "vtkEGLRenderWindow")
_home = Path(tempfile.mkdtemp(prefix="outrib-tests-"))
atexit.register(shutil.rmtree, _home, ignore_errors=True)
for _name in XDG:
    os.environ[_name] = str(_home / _name.lower())
if "XDG_RUNTIME_DIR" not in os.environ:
    (_home / "runtime").mkdir(mode=0o700)
    os.environ["XDG_RUNTIME_DIR"] = str(_home / "runtime")

# Shared machines are slow at times, and a test has to fail or pass alike each time.
settings.register_profile("outrib", deadline=None, derandomize=True, database=None)
settings.load_profile("outrib")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Skip what needs OpenGL on a screen where there is none."""
    if HAS_SCREEN and os.environ.get("QT_QPA_PLATFORM") != "offscreen":
        return
    for item in items:
        if item.get_closest_marker("gl"):
            item.add_marker(pytest.mark.skip(reason="needs a screen with OpenGL: run under xvfb-run"))


@pytest.fixture(scope="session")
def meshes() -> Path:
    """The folder of real meshes that lies beside the repository."""
    folder = REPO.parent / "shared" / "meshes"
    if not folder.is_dir():
        pytest.skip("the folder of real meshes is not here")
    return folder


@pytest.fixture(autouse=True)
def own_settings(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give each test empty settings, data and cache folders; return the settings folder."""
    home = tmp_path_factory.mktemp("home")
    for name in XDG:
        monkeypatch.setenv(name, str(home / name.lower()))
    config = home / "xdg_config_home"
    if "PySide6.QtCore" in sys.modules:
        from PySide6.QtCore import QSettings

        for kind in (QSettings.Format.IniFormat, QSettings.Format.NativeFormat):
            QSettings.setPath(kind, QSettings.Scope.UserScope, str(config))
    return config


@pytest.fixture(autouse=True, scope="module")
def garbage_goes_with_its_module(request: pytest.FixtureRequest) -> Iterator[None]:
    """Collect windows while Qt still runs; a crash in doing so then points at the tests that left them."""
    yield
    if "app" in request.path.parts:
        gc.collect()


@pytest.fixture(autouse=True)
def nothing_left_alive(request: pytest.FixtureRequest) -> Iterator[None]:
    """Fail a test that leaves a thread, a child process or a viewport alive."""
    uses_qt = bool({"qtbot", "qapp"} & set(request.fixturenames))
    before = _alive(uses_qt)
    if uses_qt:
        gc.disable()  # as app.garbage does: widgets must not die in the midst of Qt's work
    yield
    gc.enable()
    left = _left_after_waiting(before, uses_qt)
    if left:
        pytest.fail("left alive by this test: " + ", ".join(sorted(left)), pytrace=False)


def _left_after_waiting(before: dict[Any, str], uses_qt: bool) -> list[str]:
    limit = time.monotonic() + SECONDS_TO_END
    while True:
        _let_qt_delete(uses_qt)
        left = [name for key, name in _alive(uses_qt).items() if key not in before]
        if not left or time.monotonic() > limit:
            return left
        gc.collect()
        time.sleep(0.05)


def _alive(uses_qt: bool) -> dict[Any, str]:
    """Name what lives now, by something that stays the same from one look to the next."""
    return {**_threads(), **_children(), **(_qt_things() if uses_qt else {})}


def _threads() -> dict[Any, str]:
    running = sys._current_frames()  # a thread that Qt ended still stands in threading's own list
    threads = [thread for thread in threading.enumerate() if thread.ident in running]
    return {("thread", thread.ident, thread.name): f"thread {thread.name}" for thread in threads}


def _children() -> dict[Any, str]:
    names = {child.pid: child.name for child in multiprocessing.active_children()}
    for listing in Path("/proc/self/task").glob("*/children"):
        try:
            pids = [int(pid) for pid in listing.read_text().split()]
        except OSError:  # the thread ended while we looked
            continue
        names |= {pid: _process_name(pid) for pid in pids if pid not in names and _is_running(pid)}
    names.pop(getattr(resource_tracker._resource_tracker, "_pid", None), None)
    return {("process", pid): f"process {pid} ({name})" for pid, name in names.items()}


def _is_running(pid: int) -> bool:
    try:
        return "\nState:\tZ" not in Path(f"/proc/{pid}/status").read_text()
    except OSError:
        return False


def _process_name(pid: int) -> str:
    try:
        command = Path(f"/proc/{pid}/cmdline").read_bytes()
    except OSError:
        return "ended"
    return command.replace(b"\0", b" ").decode(errors="replace").strip()[:80]


def _let_qt_delete(uses_qt: bool) -> None:
    if not uses_qt:
        return
    from PySide6.QtCore import QCoreApplication, QEvent

    QCoreApplication.sendPostedEvents(None, QEvent.Type.DeferredDelete)
    QCoreApplication.processEvents()


def _qt_things() -> dict[Any, str]:
    import shiboken6
    from PySide6.QtCore import QThread, QThreadPool

    viewport = sys.modules.get("app.viewport.viewport")
    kinds = [getattr(viewport, name, None) for name in ("GlViewport", "ImageViewport")]
    viewports = tuple(kind for kind in kinds if isinstance(kind, type))
    things: dict[Any, str] = {}
    everything = gc.get_objects()
    # By type, for speed; and isinstance would ask weak proxies for a class they lost.
    ours = {kind for kind in set(map(type, everything)) if issubclass(kind, (QThread, *viewports))}
    for thing in everything:
        kind = type(thing)
        if kind not in ours or not shiboken6.isValid(thing):
            continue
        if not issubclass(kind, QThread):
            things["viewport", id(thing)] = f"viewport {kind.__name__}"
        elif thing.isRunning():
            things["QThread", id(thing)] = f"QThread {kind.__name__}"
    if QThreadPool.globalInstance().activeThreadCount():
        things["pool"] = "work in the global thread pool"
    return things
