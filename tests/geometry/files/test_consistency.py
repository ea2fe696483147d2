import numpy as np
import pytest
from msgspec.structs import replace

from geometry.aids import (
    BodySpot,
    BoxShape,
    ConeShape,
    FreeSpot,
    LineShape,
    Measure,
    NodeSpot,
    PlaneShape,
    PointShape,
    Reference,
    ReferenceSpot,
    TubeSpot,
    Zone,
)
from geometry.files import consistency
from geometry.layout import Body, Hinge, Layout, Limits, Mesh, Motion, Node, Panel, Slide, Stock, Tube

ORIGIN = FreeSpot((0.0, 0.0, 0.0))


def with_measure(kind, *spots) -> Layout:
    return replace(Layout(next_id=10), measures={4: Measure(4, "Gap 1", kind, spots)})


@pytest.mark.parametrize(
    ("spot", "words"),
    [
        (NodeSpot(7), "node 7"),
        (TubeSpot(7, 10.0), "tube 7"),
        (BodySpot(7, (0.0, 0.0, 0.0)), "panel 7"),
        (ReferenceSpot(7), "reference 7"),
    ],
)
def test_a_measure_of_what_is_missing_is_told(spot, words: str) -> None:
    told = list(consistency.broken_promises(with_measure("distance", spot, ORIGIN)))
    assert told == [f"measure Gap 1 is taken from {words}, which is missing"]


def test_a_measure_of_too_few_places_is_told() -> None:
    assert list(consistency.broken_promises(with_measure("opening", ORIGIN, ORIGIN))) == [
        "measure Gap 1 is taken from 2 places and needs 3"
    ]


def test_a_whole_measure_is_fine() -> None:
    assert not list(consistency.broken_promises(with_measure("distance", ORIGIN, ORIGIN)))


@pytest.mark.parametrize(
    ("reference", "words"),
    [
        (
            Reference(4, "Sill", LineShape((0.0, 0.0, 0.0), (0.0, 0.0, 0.0))),
            "too near to say which way it runs",
        ),
        (Reference(4, "Sill", PlaneShape((0.0, 0.0, 0.0), (0.0, 0.0, 2.0))), "has no way that it faces"),
        (Reference(4, "Sill", PointShape((0.0, 0.0, 0.0)), limit=True), "only a plane can be a limit"),
        (Reference(4, "Sill", PointShape((0.0, 0.0, 9e9))), "more than a kilometre"),
    ],
)
def test_a_reference_that_cannot_be_is_told(reference: Reference, words: str) -> None:
    (told,) = consistency.broken_promises(replace(Layout(next_id=10), references={4: reference}))
    assert told.startswith("reference Sill cannot be so (")
    assert words in told


@pytest.mark.parametrize(
    ("shape", "words"),
    [
        (BoxShape((0.0, 0.0, 0.0), (0.0, 5.0, 5.0)), "at least 1 mm"),
        (BoxShape((0.0, 0.0, 0.0), (5.0, 5.0, 5.0), ((1.0, 0.0, 0.0),) * 3), "not square to each other"),
        (ConeShape((0.0, 0.0, 0.0), (0.0, 0.0, 0.0), 5.0, 5.0), "long"),
        (ConeShape((0.0, 0.0, 0.0), (9.0, 0.0, 0.0), -5.0, 5.0), "radii"),
    ],
)
def test_a_zone_that_cannot_be_is_told(shape, words: str) -> None:
    (told,) = consistency.broken_promises(
        replace(Layout(next_id=10), zones={4: Zone(4, "Jack", "jack", shape)})
    )
    assert told.startswith("access zone Jack cannot be so (")
    assert words in told


def with_motion(motion: Motion) -> Layout:
    door = Panel(4, "Door", 3, Mesh(np.zeros((0, 3)), np.zeros((0, 3), np.int32)), motion=motion)
    return replace(Layout(next_id=10), bodies={3: Body(3, "Body")}, panels={4: door})


def with_standoff(closest: float) -> Layout:
    layout = with_motion(Slide((0.0, 0.0, 300.0)))
    return replace(layout, panels={4: replace(layout.panels[4], standoff_closest=closest)})


@pytest.mark.parametrize(
    ("layout", "words"),
    [
        (Layout(limits=Limits(mount_y=1e308)), "Body on its mounts, sideways"),
        (Layout(limits=Limits(scan_error=-1.0)), "Scan error must be a number of 0 or more"),
        (Layout(limits=Limits(angle_step=0.0)), "Angles are read to a step of more than 0°"),
        (
            replace(Layout(next_id=10), nodes={2: Node(2, (0.0, -4.7e8, 0.0))}),
            "node 2 lies more than a kilometre from the car",
        ),
        (
            replace(Layout(next_id=10), nodes={2: Node(2, (0.0, 0.0, 0.0), standoff=-1.0)}),
            "node 2 is to stand off by -1 mm",
        ),
        (with_standoff(1e308), "Door is to stand off by 1e+308 mm"),
        (with_standoff(-1.0), "Door is to stand off by -1 mm, which is no length of 0 or more"),
        (with_motion(Slide((1e300, 1e300, 0.0))), "panel Door slides more than a kilometre"),
        (
            with_motion(Hinge((0.0, 0.0, 0.0), (0.0, 0.0, 0.0), 1.0)),
            "panel Door has a hinge whose two points",
        ),
        (with_motion(Hinge((0.0, 0.0, 0.0), (0.0, 0.0, 9.9e9), 1.0)), "its hinge more than a kilometre"),
        (with_motion(Hinge((0.0, 0.0, 0.0), (0.0, 0.0, 9.0), 1e9)), "opens by more than a whole turn"),
    ],
)
def test_numbers_that_no_edit_lets_in_are_told(layout: Layout, words: str) -> None:
    (told,) = consistency.broken_promises(layout)
    assert words in told


def test_a_twin_that_is_missing_is_told() -> None:
    nodes = {id: Node(id, (100.0 * id, 0.0, 0.0)) for id in (2, 3)}
    layout = replace(Layout(next_id=10), nodes=nodes, stocks={1: Stock(1, "Pipe", 40.0, 2.0)})
    tube = Tube(4, "Sill bar", (2, 3), 1, twin=7)
    assert list(consistency.broken_promises(replace(layout, tubes={4: tube}))) == [
        "tube Sill bar is the twin of tube 7, which is missing"
    ]
    loose = {**nodes, 2: replace(nodes[2], twin=8)}
    whole = replace(layout, nodes=loose, tubes={4: replace(tube, twin=None)})
    assert list(consistency.broken_promises(whole)) == ["node 2 is the twin of node 8, which is missing"]
