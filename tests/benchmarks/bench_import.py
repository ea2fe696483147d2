"""How long a million triangles take to open, beside trimesh.load and the build of a distance tree."""

import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import trimesh

from app.child import in_child
from geometry.body import placement, scan
from geometry.layout import Layout
from geometry.progress import no_progress

SIDE = 708  # points round and along: a little more than a million triangles
KINDS = ["stl", "ply", "obj", "glb"]
if os.environ.get("OUTRIB_BENCH_FULL") == "1":  # these take a minute to write and load
    KINDS += ["off", "stl_ascii"]

pytestmark = pytest.mark.benchmark


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    folder = tmp_path_factory.mktemp("bench")
    yield folder
    for path in folder.iterdir():
        path.unlink()


def lumpy_body() -> trimesh.Trimesh:
    """A closed lumpy body of the size of a vehicle, in mm."""
    around = np.linspace(0, 2 * np.pi, SIDE, endpoint=False)
    along = np.linspace(0.05, np.pi - 0.05, SIDE)
    u, v = np.meshgrid(around, along, indexing="ij")
    r = 1000 * (1 + 0.05 * np.sin(9 * u) * np.sin(7 * v))
    shape = np.stack(
        [2.2 * r * np.cos(v), 0.9 * r * np.sin(v) * np.sin(u), 0.75 * r * np.sin(v) * np.cos(u)], -1
    )
    i, j = np.meshgrid(np.arange(SIDE), np.arange(SIDE - 1), indexing="ij")
    a, b = i * SIDE + j, (i + 1) % SIDE * SIDE + j
    triangles = np.concatenate([np.stack([a, b, b + 1], -1), np.stack([a, b + 1, a + 1], -1)])
    return trimesh.Trimesh(shape.reshape(-1, 3), triangles.reshape(-1, 3), process=False)


def written(folder: Path, kind: str) -> Path:
    path = folder / f"body.{kind.removesuffix('_ascii')}"
    lumpy_body().export(path, file_type=kind)
    return path


def seconds(work: Callable[[], Any]) -> tuple[float, Any]:
    start = time.perf_counter()
    value = work()
    return time.perf_counter() - start, value


def tree_of(vertices: Any, triangles: Any) -> Any:
    import igl

    tree = igl.AABB()
    tree.init(np.asarray(vertices, np.float64), np.asarray(triangles, np.int64))
    return tree


def opened(path: Path) -> Layout:
    found = scan.read(path)
    return scan.add_to(Layout(), found, scan.judge(found))[0]


@pytest.mark.parametrize("kind", KINDS)
def test_opening_a_million_triangles(folder: Path, kind: str, capsys: pytest.CaptureFixture[str]) -> None:
    path = written(folder, kind)
    opened(path)  # imports and the file cache count for nobody
    load, mesh = seconds(lambda: trimesh.load(path, force="mesh"))
    tree, _ = seconds(lambda: tree_of(mesh.vertices, mesh.faces))
    ours, layout = seconds(lambda: opened(path))
    own_tree, _ = seconds(lambda: _trees(layout))
    child, _ = seconds(lambda: in_child(scan.read, path)(no_progress))
    ratio = (ours + own_tree) / (load + tree)
    with capsys.disabled():
        print(
            f"\n{kind}: trimesh.load {load:.2f} s and tree {tree:.2f} s; open {ours:.2f} s and tree "
            f"{own_tree:.2f} s: {ratio:.2f} times as long. In a child, without the tree: {child:.2f} s"
        )


def _trees(layout: Layout) -> None:
    for panel in layout.panels.values():
        tree_of(placement.panel_vertices(layout, panel), panel.mesh.triangles)


def test_longest_stall_of_the_window_while_a_file_is_read(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code = (
        "import sys, time, threading\n"
        "from pathlib import Path\n"
        "from app.child import in_child\n"
        "from geometry.body import scan\n"
        "from geometry.progress import no_progress\n"
        "if __name__ == '__main__':\n"
        "    work = in_child(scan.read, Path(sys.argv[1]))\n"
        "    thread = threading.Thread(target=work, args=(no_progress,))\n"
        "    stall, last = 0.0, time.perf_counter()\n"
        "    thread.start()\n"
        "    while thread.is_alive():\n"
        "        time.sleep(0.001)\n"
        "        now = time.perf_counter()\n"
        "        stall, last = max(stall, now - last), now\n"
        "    print(f'{1000 * stall:.0f} ms')\n"
    )
    path = written(folder, "stl")
    program = path.with_suffix(".py")
    program.write_text(code)
    root = Path(__file__).parents[2]
    told = subprocess.run(
        [sys.executable, str(program), str(path)],
        capture_output=True,
        text=True,
        env={**os.environ, "PYTHONPATH": str(root)},
        check=True,
    )
    with capsys.disabled():
        print(f"\nlongest stall of this process while a child reads: {told.stdout.strip()}")
