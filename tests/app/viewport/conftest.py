"""A plain block of a body, a rack, and a view on them that is shut when the test ends."""

from collections.abc import Callable, Iterator

import numpy as np
import pytest
from msgspec.structs import replace

from geometry import edits
from geometry.layout import Body, Layout, Mesh, Panel
from geometry.tube import stock
from geometry.vectors import Vec3

BLOCK_LOW, BLOCK_HIGH = (-3000.0, -800.0, 300.0), (600.0, 800.0, 1300.0)


def _block(low: Vec3, high: Vec3, parts: int = 1) -> Mesh:
    """Return the skin of a box as triangles, each side cut into parts x parts squares."""
    points: list[tuple[float, ...]] = []
    triangles: list[tuple[int, int, int]] = []
    for axis in range(3):
        u, v = (axis + 1) % 3, (axis + 2) % 3
        for side, level in enumerate((low[axis], high[axis])):
            start = len(points)
            for i in range(parts + 1):
                for j in range(parts + 1):
                    point = [0.0, 0.0, 0.0]
                    point[axis] = level
                    point[u] = low[u] + (high[u] - low[u]) * i / parts
                    point[v] = low[v] + (high[v] - low[v]) * j / parts
                    points.append(tuple(point))
            for i in range(parts):
                for j in range(parts):
                    a = start + i * (parts + 1) + j
                    b, c, d = a + parts + 1, a + parts + 2, a + 1
                    triangles += [(a, b, c), (a, c, d)] if side else [(a, c, b), (a, d, c)]
    vertices, corners = np.array(points), np.array(triangles, dtype=np.int32)
    vertices.setflags(write=False)
    corners.setflags(write=False)
    return Mesh(vertices, corners)


def _with_body(layout: Layout, mesh: Mesh, name: str = "left sill") -> Layout:
    body, panel = layout.next_id, layout.next_id + 1
    return replace(
        layout,
        bodies={**layout.bodies, body: Body(body, "block")},
        panels={**layout.panels, panel: Panel(panel, name, body, mesh, name)},
        next_id=panel + 1,
    )


@pytest.fixture(scope="session")
def block() -> Callable[..., Mesh]:
    return _block


@pytest.fixture(scope="session")
def with_body() -> Callable[..., Layout]:
    return _with_body


@pytest.fixture(scope="session")
def block_layout() -> Layout:
    """A body of one block, from (-3000, -800, 300) to (600, 800, 1300), and nothing else."""
    return _with_body(Layout(), _block(BLOCK_LOW, BLOCK_HIGH, 4))


@pytest.fixture
def empty() -> Layout:
    """A rack and nothing else."""
    stocks, dies, next_id = stock.starting_rack(1)
    return Layout(stocks=stocks, dies=dies, next_id=next_id)


@pytest.fixture
def body(empty: Layout) -> Layout:
    """A block 3.6 m long with one panel."""
    return _with_body(empty, _block(BLOCK_LOW, BLOCK_HIGH))


@pytest.fixture
def caged(body: Layout) -> Layout:
    """The block with one tube along its left side, bent once, at the wanted stand-off."""
    y = 800.0 + body.limits.standoff_wanted + body.stocks[1].od / 2.0
    layout, _ = edits.add_tube(body, [(200.0, y, 500.0), (-800.0, y, 1100.0), (-2400.0, y, 1100.0)], 1)
    return layout


@pytest.fixture
def open_view(qtbot: object) -> Iterator[Callable]:
    """Return a function that shows a view of a layout, 900 x 600, from the left."""
    from app.session import Session
    from app.viewport.view import View

    views = []

    def show(layout: Layout, side: str = "left"):
        view = View(Session(layout))
        views.append(view)
        view.navigation.flies = False
        view.resize(900, 600)
        qtbot.addWidget(view)
        with qtbot.waitExposed(view):
            view.show()
        view.look_from(side)
        qtbot.wait(1)
        view.setFocus()
        return view

    yield show
    for view in views:
        view.shutdown()
