"""Many tubes at once, compared with the centreline of each."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from geometry.laying import shape
from geometry.tube import centreline
from geometry.vectors import vec


@given(st.integers(0, 10_000), st.integers(0, 4))
def test_places_lie_on_the_centreline(seed: int, bends: int) -> None:
    random = np.random.default_rng(seed)
    corners = np.cumsum(random.normal((500.0, 0.0, 0.0), 130.0, (2, bends + 2, 3)), axis=1)
    for tube in corners:
        line = centreline.build([vec(corner) for corner in tube], 50.0)
        straights, angles = shape.measures(tube[None], 50.0)
        assert straights[0] == pytest.approx(line.straights)
        assert angles[0] == pytest.approx([bend.angle for bend in line.bends])
        if not line.is_makeable:
            continue
        where = shape.places(straights[0], 50.0 * angles[0], 20.0, 8.0)
        laid = shape.shaped(tube[None], 50.0, where)
        ends = np.cumsum(laid.weights[0])
        assert ends[-1] == pytest.approx(line.length)
        for point in laid.points[0]:
            assert centreline.nearest(line, vec(point))[1] == pytest.approx(point, abs=1e-6)
