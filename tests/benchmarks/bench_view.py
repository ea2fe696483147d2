"""How long a drag takes in the view: sixty tubes, a body of a million triangles.

Run by hand: python tests/benchmarks/bench_view.py [triangles]   (offscreen when there is no screen)
"""

import os
import sys
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
if not os.environ.get("DISPLAY"):
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    os.environ.setdefault("VTK_DEFAULT_OPENGL_WINDOW", "vtkEGLRenderWindow")

import numpy as np
from msgspec.structs import replace
from PySide6.QtWidgets import QApplication

from app.session import Session
from app.viewport.camera import Ray
from app.viewport.surface import Surface
from app.viewport.tools import Pointer
from app.viewport.view import View
from app.viewport.viewport import default_format
from geometry import edits, symmetry
from geometry.layout import Body, Layout, Mesh, Panel, Tube
from geometry.tube import centreline, stock
from geometry.vectors import Vec3

ROUNDS = 60


def bumpy_body(triangles: int) -> Mesh:
    """Return a closed, rounded, uneven car-sized skin."""
    around = int(np.sqrt(triangles))
    along = triangles // 2 // around
    turn = np.linspace(0.0, 2.0 * np.pi, around, endpoint=False)
    x = np.linspace(-3400.0, 800.0, along + 1)
    fold = 1.0 + 0.02 * np.sin(7 * turn)[None, :] * np.sin(x / 130.0)[:, None]
    y = 800.0 * np.cos(turn)[None, :] * fold
    z = 850.0 + 600.0 * np.sin(turn)[None, :] * fold
    points = np.stack((np.repeat(x[:, None], around, axis=1), y, z), axis=-1).reshape(-1, 3)
    i, j = (grid.ravel() for grid in np.meshgrid(np.arange(along), np.arange(around), indexing="ij"))
    a, b = i * around + j, i * around + (j + 1) % around
    faces = np.concatenate(
        (np.column_stack((a, b, b + around)), np.column_stack((a, b + around, a + around)))
    )
    mesh = Mesh(points, faces.astype(np.int32))
    mesh.vertices.setflags(write=False)
    mesh.triangles.setflags(write=False)
    return mesh


def caged(triangles: int, tubes: int = 60) -> Layout:
    stocks, dies, next_id = stock.starting_rack(1)
    mesh = bumpy_body(triangles)
    layout = Layout(stocks=stocks, dies=dies, bodies={next_id: Body(next_id, "body")}, next_id=next_id + 2)
    layout = replace(layout, panels={next_id + 1: Panel(next_id + 1, "skin", next_id, mesh)})
    metal = Surface(layout, list(layout.panels.values()))
    for i in range(tubes):
        side, x = (1.0 if i % 2 else -1.0), 500.0 - 6600.0 / tubes * (i // 2)
        high = [metal.on_offset(Ray((x - 12.0 * k, side * 4000.0, z), (0.0, -side, 0.0)), 49.0) for k, z in
                enumerate((500.0, 750.0, 1000.0, 1250.0))]  # fmt: skip
        layout, _ = edits.add_tube(layout, [point for point in high if point is not None], 1)
    return layout


def milliseconds(work: Callable[[int], object], rounds: int = ROUNDS) -> tuple[float, float]:
    """Return the median and the worst of some rounds."""
    taken = []
    for i in range(rounds):
        begun = time.perf_counter()
        work(i)
        taken.append(1000.0 * (time.perf_counter() - begun))
    return float(np.median(taken)), max(taken)


def report(what: str, times: tuple[float, float]) -> None:
    print(f"{what:58} {times[0]:8.2f} ms   worst {times[1]:8.2f} ms", flush=True)


def drag(view: View, node: int) -> None:
    """Print what a drag costs, from the pointer's move to the frame that waits to be painted."""
    x, y = view.to_screen(view.session.layout.nodes[node].position)
    tool = view.current_tool
    tool.press(Pointer(x, y))

    def step(i: int) -> None:
        view.held = "tool"
        view._pending = Pointer(x + 8.0 + 2.0 * np.sin(i), y + 6.0 + 2.0 * np.cos(i))
        view._prepare_frame()

    report("drag a node over the body: move to queued render", milliseconds(step))
    start = view.session.recorded

    def preview(i: int) -> None:
        view.session.preview(edits.move_nodes(start, [node], (0.5 * i + 1.0, 0.0, 0.0)))
        view._prepare_frame()

    report("preview to queued render", milliseconds(preview))
    view.session.cancel()
    tool.leave()
    view.held = None


def stopwatch(layout: Layout) -> None:
    """Print what pointing, changing tools and undoing cost where both sides follow each other."""
    paired = symmetry.set_both_sides(layout, True)
    view = View(Session(paired))
    view.resize(1600, 930)
    view.show()
    view.look_from("left")
    QApplication.processEvents()
    twins = sum(tube.twin is not None for tube in paired.tubes.values())
    print(f"{len(paired.tubes)} tubes, {twins} of them with a twin")
    tube = next(
        tube for tube in paired.tubes.values() if view.outlook.is_visible(_middle(paired, tube), 60.0)
    )
    x, y = view.to_screen(_middle(paired, tube))
    report(
        "pick what lies under the pointer",
        milliseconds(lambda i: view.select_tool.under(Pointer(x, y + i % 3))),
    )
    names = ("tube", "select", "follow", "measure")

    def change(i: int) -> None:
        view.set_tool(names[i % len(names)])
        view._prepare_frame()

    report("change the tool, to queued render", milliseconds(change))
    view.set_tool("tube")
    aims = (Pointer(x + 40.0 + i, y - 60.0) for i in range(10_000))
    report("point with the tube tool, guides on", milliseconds(lambda i: view.current_tool.move(next(aims))))
    view.set_tool("select")
    for _ in range(ROUNDS):
        view.session.apply("Move", lambda now: edits.move_nodes(now, [tube.nodes[1]], (1.0, 0.0, 0.0)))

    def undo(i: int) -> None:
        view.session.undo()
        view._prepare_frame()

    report("undo, to queued render", milliseconds(undo))
    drag(view, tube.nodes[1])
    view.shutdown()
    view.close()


def _middle(layout: Layout, tube: Tube) -> Vec3:
    line = centreline.of(layout, tube)
    return centreline.place_at(line, line.length / 2.0)


def main() -> None:
    triangles = int(sys.argv[1]) if len(sys.argv) > 1 else 1_000_000
    from PySide6.QtGui import QSurfaceFormat

    QSurfaceFormat.setDefaultFormat(default_format())
    app = QApplication(sys.argv[:1])
    begun = time.perf_counter()
    layout = caged(triangles)
    print(f"{len(layout.tubes)} tubes, {triangles} triangles, laid in {time.perf_counter() - begun:.1f} s")
    begun = time.perf_counter()
    view = View(Session(layout))
    view.resize(1600, 930)
    view.show()
    view.look_from("left")
    app.processEvents()
    print(f"{'open the view, first frame':58} {1000 * (time.perf_counter() - begun):8.0f} ms")
    limit = time.perf_counter() + 60.0
    while view.scene.body_triangles > 150_000 and time.perf_counter() < limit:
        app.processEvents()
        time.sleep(0.02)
    print(f"{'stand-in of the body ready':58} {1000 * (time.perf_counter() - begun):8.0f} ms")
    node = layout.tubes[max(layout.tubes)].nodes[1]
    drag(view, node)
    report("hover", milliseconds(lambda i: view.current_tool.move(Pointer(500.0 + i, 400.0))))
    report("pick table after the camera moved", milliseconds(lambda i: orbit(view, i)))
    report("render alone", milliseconds(lambda i: render(view), 12))
    view.shutdown()
    view.close()
    stopwatch(caged(triangles, 200))


def orbit(view: View, i: int) -> None:
    view.navigation.set(replace(view.navigation.camera, yaw=1.0 + 0.01 * i))
    assert view.outlook


def render(view: View) -> None:
    view._prepare_frame()
    view.viewport.repaint()


if __name__ == "__main__":
    main()
