import pytest
from msgspec.structs import replace

from geometry.aids import BodySpot, FreeSpot, Measure, NodeSpot, ReferenceSpot, TubeSpot
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
