"""Who may import whom, and what may not come along."""

import ast
import subprocess
import sys
from collections.abc import Iterable, Iterator
from functools import cache
from pathlib import Path

import pytest

REPO = Path(__file__).resolve().parents[1]

# Inside geometry: a file imports from its own group or from groups before it.
GEOMETRY = (
    ("errors", "tolerances", "vectors", "progress"),
    ("aids", "layout"),
    ("body", "tube"),
    ("joints",),
    (
        "checks",
        "arranging",
        "asymmetry",
        "axles",
        "chains",
        "comparing",
        "edits",
        "fixing",
        "hinges",
        "keeping",
        "landings",
        "measuring",
        "mends",
        "naming",
        "part_groups",
        "rack",
        "references",
        "refusals",
        "snapshots",
        "symmetry",
        "trimming",
        "weld_marks",
        "zoning",
    ),
    ("laying",),
    ("starting",),
    ("shop", "files"),
    ("sample",),
)
# Inside app: likewise; what is not named here stands with session and units, at the bottom.
ROOMS = ("panels", "viewport", "export")
APP = (
    (),
    (*ROOMS, "jobs", "layer", "live_checks"),
    (
        "actions",
        "aid_commands",
        "arranging_commands",
        "bars",
        "cover",
        "furniture",
        "job_files",
        "laying_commands",
        "possible",
        "moving_commands",
        "selection_commands",
        "step_commands",
        "tour_commands",
        "view_commands",
    ),
    ("main_window", "commands"),
    ("__main__",),
)
QT = ("PySide6", "shiboken6")
VTK = ("vtk", "vtkmodules", "pyvista")
SLOW = ("trimesh", "scipy", "pyvista", "matplotlib", "reportlab", "igl", "networkx", "fast_simplification")
WITHOUT_QT = (
    "app.__main__",
    "app.calibration_words",
    "app.commands",
    "app.trial_proposal",
    "app.units",
    "app.wording",
    "app.export.packet",
    "app.export.sheet",
    "app.viewport.labels",
    "app.viewport.picking",
)


def modules(package: str) -> list[str]:
    """Name every module of a package."""
    names = []
    for path in sorted((REPO / package).rglob("*.py")):
        parts = path.relative_to(REPO).with_suffix("").parts
        names.append(".".join(parts[:-1] if parts[-1] == "__init__" else parts))
    return names


@cache
def imports_of(module: str) -> frozenset[str]:
    """Name what a module imports anywhere in it: `from a import b` counts as a and as a.b."""
    path = REPO.joinpath(*module.split("."))
    source = path / "__init__.py" if path.is_dir() else path.with_suffix(".py")
    return frozenset(_imports(ast.walk(ast.parse(source.read_text(encoding="utf-8")))))


def _imports(nodes: Iterable[ast.AST]) -> Iterator[str]:
    for node in nodes:
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports name their package in full"
            yield str(node.module)
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def room_of(module: str) -> str:
    """Return the file or folder of a package that a module is or lies in."""
    return module.partition(".")[2].partition(".")[0]


def rank(module: str, groups: tuple[tuple[str, ...], ...]) -> int | None:
    room = room_of(module)
    return next((index for index, group in enumerate(groups) if room in group), None)


def brought_along(module: str, unwanted: tuple[str, ...]) -> list[str]:
    """Import a module in a fresh interpreter; name what is unwanted and came along."""
    code = (
        f"import sys; sys.path.insert(0, {str(REPO)!r}); import {module}; "
        f"print(*set({unwanted!r}) & sys.modules.keys())"
    )
    done = subprocess.run(
        [sys.executable, "-P", "-c", code],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.split()


def test_geometry_brings_neither_qt_nor_vtk() -> None:
    everything = ", ".join(modules("geometry"))
    assert brought_along(everything, (*QT, *VTK, "reportlab", "app")) == []


@pytest.mark.parametrize("module", [name for name in WITHOUT_QT if name in modules("app")])
def test_what_works_without_a_window_brings_no_qt(module: str) -> None:
    assert brought_along(module, (*QT, "vtkmodules")) == []


def test_the_start_brings_nothing_slow() -> None:
    assert brought_along("app.__main__", (*QT, *SLOW)) == []


def test_the_window_brings_nothing_slow() -> None:
    assert brought_along("app.main_window", SLOW) == []


@pytest.mark.parametrize("module", modules("geometry"))
def test_geometry_imports_only_to_its_left(module: str) -> None:
    assert not [name for name in imports_of(module) if name.split(".")[0] == "app"]
    own = rank(module, GEOMETRY)
    if module == "geometry":
        return
    assert own is not None, f"give {module} a group in this test and in DEVELOPERS.md"
    for name in imports_of(module):
        other = rank(name, GEOMETRY) if name.startswith("geometry.") else None
        assert other is None or other <= own, f"{module} imports {name}"


@pytest.mark.parametrize("module", modules("app"))
def test_app_imports_follow_the_arrows(module: str) -> None:
    own = rank(module, APP) or 0
    room = room_of(module)
    for name in imports_of(module):
        if not name.startswith("app."):
            continue
        assert (rank(name, APP) or 0) <= own, f"{module} imports {name}"
        other = room_of(name)
        assert room not in ROOMS or other not in ROOMS or other == room, f"{module} imports {name}"


@pytest.mark.parametrize("module", modules("app") + modules("geometry"))
def test_vtk_comes_module_by_module(module: str) -> None:
    assert not imports_of(module) & {"vtk", "vtkmodules.all", "pyvistaqt"}


@pytest.mark.parametrize("module", modules("app"))
def test_settings_are_touched_in_one_place(module: str) -> None:
    assert module == "app.settings" or "PySide6.QtCore.QSettings" not in imports_of(module)


@pytest.mark.parametrize("folder", ["tests", "packaging"])
def test_folders_that_are_no_packages_stay_none(folder: str) -> None:
    assert list((REPO / folder).rglob("__init__.py")) == []
