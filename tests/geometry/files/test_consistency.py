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
from geometry.layout import Layout

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
