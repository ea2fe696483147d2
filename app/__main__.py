"""The start: a command with no window, or the window. What costs start time is imported where it is used."""

import ctypes
import multiprocessing
import os
import sys
from collections.abc import Sequence
from pathlib import Path

from app import commands
from app.version import version

NO_SCREEN = (
    "There is no screen here, so no window can open. "
    "The commands outrib import, outrib check, outrib schedule and outrib rack need none."
)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run outrib with the arguments given, or with those of the process; return the exit status."""
    given = list(sys.argv[1:] if arguments is None else arguments)
    if given and given[0] in commands.NAMES:
        return commands.run(given)
    return commands.guarded(lambda: _open_window(given))


def _open_window(arguments: list[str]) -> int:
    parser = commands.Parser(
        prog="outrib",
        description="Lay out an external tube cage around a vehicle body.",
        epilog="Commands without a window: outrib import, check, schedule and rack; each has --help.",
    )
    parser.add_argument("path", metavar="FILE", nargs="?", type=Path, help="a job or a mesh to open")
    parser.add_argument(
        "--safe-graphics", action="store_true", help="draw without the graphics card's OpenGL"
    )
    parser.add_argument("--version", action="store_true", help="print the version and end")
    chosen = parser.parse_args(arguments)
    if chosen.version:
        print(f"Outrib {version()}")
        return commands.DONE
    if chosen.path is not None and not chosen.path.exists():
        raise commands.Refusal(f"There is no file {chosen.path}, and no command of that name.")
    if not has_screen():
        raise commands.Refusal(NO_SCREEN)
    from app import main_window

    return main_window.run(chosen.path, chosen.safe_graphics)


def has_screen() -> bool:
    """Say whether a window can open here; Qt would end the process instead of saying so."""
    platform = os.environ.get("QT_QPA_PLATFORM", "").partition(":")[0]
    if not sys.platform.startswith("linux") or platform not in ("", "xcb", "wayland"):
        return True
    if platform != "xcb" and os.environ.get("WAYLAND_DISPLAY"):
        return True
    return bool(os.environ.get("DISPLAY")) and _answers()


def _answers() -> bool:
    """Say whether the X server of DISPLAY takes a connection."""
    try:
        xcb = ctypes.CDLL("libxcb.so.1")
    except OSError:
        return True  # Qt itself will say what is missing
    xcb.xcb_connect.restype = ctypes.c_void_p
    connection = ctypes.c_void_p(xcb.xcb_connect(None, None))
    is_broken = bool(xcb.xcb_connection_has_error(connection))
    xcb.xcb_disconnect(connection)
    return not is_broken


if __name__ == "__main__":
    multiprocessing.freeze_support()
    sys.exit(main())
