"""Prepare .venv and the system libraries for run.py and test.py. Standard library only.

Everything here can be interrupted and run again: the stamp that says .venv is complete is written last.
"""

import contextlib
import ctypes
import glob
import hashlib
import json
import os
import platform
import shlex
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

REPO = Path(__file__).resolve().parents[1]
VENV = REPO / ".venv"
STAMP = VENV / "outrib-stamp.json"
LOCK = REPO / "packaging" / "lock.txt"
PROJECT = REPO / "pyproject.toml"
IS_WINDOWS = os.name == "nt"
PYTHON = VENV / ("Scripts/python.exe" if IS_WINDOWS else "bin/python")
OLDEST, NEWEST = (3, 11), (3, 13)

# Shared libraries that Qt's window system plugin and VTK load, and the Debian package of each.
LIBRARIES = {
    "libGL.so.1": "libgl1",
    "libEGL.so.1": "libegl1",
    "libxkbcommon-x11.so.0": "libxkbcommon-x11-0",
    "libxcb-cursor.so.0": "libxcb-cursor0",
    "libxcb-icccm.so.4": "libxcb-icccm4",
    "libxcb-keysyms.so.1": "libxcb-keysyms1",
    "libxcb-shape.so.0": "libxcb-shape0",
    "libxcb-xkb.so.1": "libxcb-xkb1",
    "libdbus-1.so.3": "libdbus-1-3",
    "libfontconfig.so.1": "libfontconfig1",
    "libglib-2.0.so.0": "libglib2.0-0",
}
# What no library probe finds: a file that one of these patterns matches, and its package.
FILES = {
    "libgl1-mesa-dri": ("/usr/lib/*/dri/*_dri.so", "/usr/lib*/dri/*_dri.so", "/usr/lib/*/libgallium*.so"),
    "fonts-dejavu-core": ("/usr/share/fonts/**/*.[to]tf", "/usr/local/share/fonts/**/*.[to]tf"),
}
TEST_PROGRAMS = {"Xvfb": "xvfb", "xauth": "xauth"}
LOCK_WAIT = 300  # seconds that apt waits while another package manager works


class Refused(Exception):
    """Set-up cannot go on; the message says what the person can do."""


def say(text):
    print(f"==> {text}", flush=True)


def shown(command):
    """Return a command as one would type it here."""
    short = (
        os.path.relpath(part) if os.path.isabs(part) and REPO in Path(part).parents else part
        for part in command
    )
    return shlex.join(short)


def main(work):
    """Run work() and return its exit status; a refusal or Ctrl+C ends in a sentence, not a traceback."""
    signal.signal(signal.SIGTERM, _raise_interrupt)
    try:
        return work()
    except Refused as refusal:
        print(f"\n{refusal}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("\nInterrupted. Run the same command again to go on.", file=sys.stderr)
        return 130


def prepare(for_tests=False, needs_screen_libraries=True):
    """Make or reuse .venv with everything in it; return its Python."""
    if not OLDEST <= sys.version_info[:2] <= NEWEST:
        raise Refused(
            f"Outrib runs on Python 3.11 to 3.13; this is {platform.python_version()}. "
            "Run this script with one of those, for example python3.11."
        )
    _prepare_system(for_tests, needs_screen_libraries)
    with _only_one():
        _prepare_venv()
    return PYTHON


def environment(**changes):
    """Return the variables for a child process: ours, without what would mix in other Pythons."""
    variables = {
        name: value for name, value in os.environ.items() if name not in ("PYTHONHOME", "PYTHONPATH")
    }
    variables.update(changes)
    return variables


# The system's packages


def _prepare_system(for_tests, needs_screen_libraries):
    must, may = _missing_packages(for_tests)
    missing = must + may
    if not missing:
        return
    if _can_use_apt() and os.geteuid() == 0:
        _apt_install(missing)
        return
    if not _can_use_apt():
        advice = "Install with your system's package manager what Debian calls: " + " ".join(missing)
    else:
        sudo = "" if os.geteuid() == 0 else "sudo "
        advice = f"Run:\n\n    {sudo}apt-get install -y --no-install-recommends {' '.join(missing)}\n"
    if must or needs_screen_libraries:
        raise Refused(f"Some system packages are missing. {advice}\nThen run this command again.")
    say(f"The window needs system packages that are missing here; the rest goes on without. {advice}")


def _missing_packages(for_tests):
    """Return the packages nothing works without, and those that a window and its tests need."""
    must = [] if _has_module("ensurepip") else [_venv_package()]
    if not sys.platform.startswith("linux"):
        return must, []
    may = [package for library, package in LIBRARIES.items() if not _loads(library)]
    may += [package for package, patterns in FILES.items() if not any(map(_matches, patterns))]
    if for_tests:
        may += [package for program, package in TEST_PROGRAMS.items() if not shutil.which(program)]
    return must, may


def _has_module(name):
    """Import it: Debian ships `venv` without the `ensurepip` it needs, and leaves a broken folder."""
    try:
        __import__(name)
    except ImportError:
        return False
    return True


def _venv_package():
    version = f"{sys.version_info[0]}.{sys.version_info[1]}"
    system_python = os.path.realpath("/usr/bin/python3")
    return "python3-venv" if system_python.endswith(version) else f"python{version}-venv"


def _loads(library):
    try:
        ctypes.CDLL(library)
    except OSError:
        return False
    return True


def _matches(pattern):
    return next(glob.iglob(pattern, recursive=True), None) is not None


def _can_use_apt():
    return Path("/etc/debian_version").exists() and shutil.which("apt-get") is not None


def _apt_install(packages):
    say(f"Installing system packages: {' '.join(packages)}")
    quiet = environment(DEBIAN_FRONTEND="noninteractive")
    wait = ["-o", f"DPkg::Lock::Timeout={LOCK_WAIT}"]
    _apt_update(wait, quiet)
    install = ["apt-get", *wait, "install", "-y", "--no-install-recommends", *packages]
    if _status(install, env=quiet) == 0:
        return
    say("apt-get failed; finishing what an interrupted run may have left, then trying once more")
    _status(["dpkg", "--configure", "-a"], env=quiet)
    if _status(install, env=quiet) != 0:
        raise Refused(f"apt-get could not install all packages. Mend this, then run:\n\n    {shown(install)}")


def _apt_update(wait, variables):
    """Refresh the package lists; apt knows no waiting for their lock, so try for a while."""
    for attempt in range(4):
        if _status(["apt-get", *wait, "update"], env=variables) == 0:
            return
        if attempt < 3:
            time.sleep(5 * (attempt + 1))
    say("apt-get update failed; going on with the package lists that are here")


# The virtual environment


def _prepare_venv():
    wanted = _wanted()
    found = _found()
    if found == wanted and _works():
        say(f"Using {VENV}")
        return
    STAMP.unlink(missing_ok=True)
    if {**found, "project": ""} != {**wanted, "project": ""} or not _works():
        _build_venv()
    say("Installing Outrib itself, from this folder")
    _pip("install", "--no-deps", "--no-build-isolation", "--quiet", "--editable", str(REPO))
    STAMP.write_text(json.dumps(wanted, indent=1), encoding="utf-8")


def _build_venv():
    say(f"Making {VENV} with Python {platform.python_version()}")
    if _status([_base_python(), "-m", "venv", "--clear", str(VENV)], env=environment()) != 0:
        raise Refused(f"{VENV} could not be made. Delete that folder and run again.")
    say("Installing the packages of packaging/lock.txt: some 400 MB, a few minutes the first time")
    _pip("install", "--no-deps", "--only-binary=:all:", "--requirement", str(LOCK))
    _pip("check")


def _pip(*arguments):
    if _status([str(PYTHON), "-m", "pip", *arguments], env=environment(), cwd=REPO) != 0:
        raise Refused(
            f"pip {arguments[0]} failed; its own words stand above. "
            "Once that is mended (is the network there?), run the same command again."
        )


def _base_python():
    """Return the Python that .venv is made from, also when this script runs inside .venv."""
    return getattr(sys, "_base_executable", None) or sys.executable


def _wanted():
    return {
        "python": f"{platform.python_implementation()} {platform.python_version()} {platform.machine()}",
        "place": str(VENV),
        "lock": _sha256(LOCK),
        "project": _sha256(PROJECT),
    }


def _found():
    try:
        stamp = json.loads(STAMP.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return stamp if isinstance(stamp, dict) else {}


def _works():
    with contextlib.suppress(OSError):
        return (
            subprocess.run(
                [str(PYTHON), "-c", "import pip"], env=environment(), capture_output=True
            ).returncode
            == 0
        )
    return False


def _sha256(path):
    return hashlib.sha256(path.read_bytes()).hexdigest()


@contextlib.contextmanager
def _only_one():
    """Wait until no other set-up works on .venv, not even the pip of one that was killed."""
    if IS_WINDOWS:
        yield
        return
    import fcntl

    (REPO / "build").mkdir(exist_ok=True)
    with open(REPO / "build" / "set-up.lock", "w", encoding="utf-8") as lock:
        os.set_inheritable(lock.fileno(), True)
        _HELD.append(lock.fileno())
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            say("Another set-up is at work on .venv; waiting for it")
            fcntl.flock(lock, fcntl.LOCK_EX)
        try:
            yield
        finally:
            _HELD.remove(lock.fileno())


_HELD = []  # open lock files that child processes keep open, too


def _status(command, **options):
    """Run a command that prints for itself; return its exit status. An interrupt ends it, too."""
    child = subprocess.Popen(command, pass_fds=() if IS_WINDOWS else tuple(_HELD), **options)
    try:
        return child.wait()
    except BaseException:
        child.terminate()
        with contextlib.suppress(subprocess.TimeoutExpired):
            child.wait(10)
        raise


def _raise_interrupt(_signal, _frame):
    raise KeyboardInterrupt
