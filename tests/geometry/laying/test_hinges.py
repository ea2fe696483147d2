"""Sums of hinges, compared with linear programming."""

import numpy as np
import pytest
from scipy.optimize import linprog

from geometry.laying import hinges
from geometry.laying.hinges import Hinges, Ties


@pytest.mark.parametrize("seed", range(8))
def test_the_smallest_sum_is_that_of_linear_programming(seed: int) -> None:
    random = np.random.default_rng(seed)
    size, count = 6, 80
    rows = Hinges(
        random.uniform(0.1, 5.0, count), random.normal(0, 20, count), random.normal(size=(count, size))
    )
    rows = Hinges(
        np.append(rows.weight, np.full(2 * size, 3000.0)),
        np.append(rows.offset, np.full(2 * size, -50.0)),
        np.concatenate([rows.slope, np.eye(size), -np.eye(size)]),
    )
    tied = Ties(random.normal(size=(1, size)), np.array([3.0]))
    found = hinges.smallest(rows, np.full(size, 1e-8), tied)
    assert tied.slope @ found == pytest.approx(tied.value, abs=1e-9)
    number = len(rows.weight)
    exact = linprog(
        np.concatenate([np.zeros(size), rows.weight]),
        np.hstack([rows.slope, -np.eye(number)]),
        -rows.offset,
        np.hstack([tied.slope, np.zeros((1, number))]),
        tied.value,
        bounds=[(None, None)] * size + [(0, None)] * number,
    )
    assert rows.value(found) == pytest.approx(exact.fun, rel=0.005)


def test_ties_that_fix_everything_leave_nothing_to_choose() -> None:
    rows = Hinges(np.ones(1), np.ones(1), np.ones((1, 2)))
    found = hinges.smallest(rows, np.ones(2), Ties(np.eye(2), np.array([4.0, 5.0])))
    assert found == pytest.approx([4.0, 5.0])
