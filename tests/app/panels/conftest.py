"""A small cage round a box, for panels that show it."""

from collections.abc import Callable

import numpy as np
import pytest

from app.session import Session
from geometry import edits
from geometry.layout import Body, Landing, Layout, Mesh, Panel, Placement
from msgspec.structs import replace

CORNERS = [(x, y, z) for x in (-1500.0, 500.0) for y in (-700.0, 700.0) for z in (200.0, 1200.0)]
FACES = [
    *((0, 1, 3), (0, 3, 2), (4, 6, 7), (4, 7, 5), (0, 4, 5), (0, 5, 1)),
    *((2, 3, 7), (2, 7, 6), (0, 2, 6), (0, 6, 4), (1, 5, 7), (1, 7, 3)),
]


def with_box(layout: Layout) -> Layout:
    """Add a body of two panels, a box and one that lies inside it."""
    vertices = np.array(CORNERS)
    vertices.flags.writeable = False
    triangles = np.array(FACES, dtype=np.int32)
    triangles.flags.writeable = False
    body, box, inner = layout.next_id, layout.next_id + 1, layout.next_id + 2
    small = vertices * 0.5
    small.flags.writeable = False
    panels = {
        box: Panel(box, "box", body, Mesh(vertices, triangles), "box"),
        inner: Panel(inner, "seat", body, Mesh(small, triangles), "seat"),
    }
    return replace(
        layout,
        next_id=inner + 1,
        bodies={**layout.bodies, body: Body(body, "Crate", Placement())},
        panels={**layout.panels, **panels},
    )


def small_cage() -> Layout:
    """A hoop over the box, and a straight tube that lands on it."""
    layout = with_box(edits.with_starting_rack(Layout(name="Crate job")))
    stock = next(iter(layout.stocks))
    hoop = [(0.0, 760.0, 300.0), (0.0, 760.0, 1260.0), (0.0, -760.0, 1260.0), (0.0, -760.0, 300.0)]
    layout, top = edits.add_tube(layout, hoop, stock, "Hoop")
    layout, _ = edits.add_tube(layout, [Landing(top, 400.0), (-1400.0, 760.0, 700.0)], stock, "Brace")
    return layout


@pytest.fixture
def layout() -> Layout:
    return small_cage()


@pytest.fixture
def session(qapp: object, layout: Layout) -> Session:
    return Session(layout)


@pytest.fixture
def named(session: Session) -> Callable[[str], int]:
    """The id of the tube, panel or body of a name."""

    def find(name: str) -> int:
        layout = session.layout
        things = [*layout.tubes.values(), *layout.panels.values(), *layout.bodies.values()]
        return next(thing.id for thing in things if thing.name == name)  # type: ignore[attr-defined]

    return find
