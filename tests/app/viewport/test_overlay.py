"""Words with no plate stay readable beside the badges."""

import pytest

from app.viewport.labels import Rect
from app.viewport.marks import Badge
from app.viewport.overlay import WORD_HIGH, below_plates

PLATES = tuple(Badge(Rect(100.0, top, 120.0, 26.0), "24.0 mm", "door", None) for top in (50.0, 80.0))


def test_a_word_under_a_badge_is_written_below_it() -> None:
    lowered = below_plates(80.0, 70.0, 60.0, PLATES[:1])
    assert lowered - WORD_HIGH >= 76.0
    assert below_plates(80.0, 70.0, 60.0, PLATES) - WORD_HIGH >= 106.0


@pytest.mark.parametrize(("x", "baseline"), [(10.0, 70.0), (230.0, 70.0), (120.0, 40.0), (120.0, 140.0)])
def test_a_word_beside_a_badge_stays(x: float, baseline: float) -> None:
    assert below_plates(x, baseline, 60.0, PLATES) == baseline
