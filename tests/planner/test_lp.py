"""Small linear programmes against SciPy's linprog, and one by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import linprog

from recurve.planner.programme import Polytope


@pytest.mark.parametrize("seed", range(6))
def test_against_linprog(seed: int) -> None:
    """Random polytopes, several costs asked of each: the same least cost, and the point is inside."""
    random = np.random.default_rng(seed)
    left, bounds = random.normal(size=(30, 4)), np.array([[-3.0, 4.0]] * 4)
    right = left @ random.normal(size=4) + random.uniform(0.0, 1.0, 30)
    polytope = Polytope(left, right, *bounds.T)
    for cost in random.normal(size=(5, 4)):
        theirs, ours = linprog(cost, A_ub=left, b_ub=right, bounds=bounds), polytope.least(cost)
        assert ours is not None and theirs.status == 0
        assert ours.value == pytest.approx(theirs.fun, abs=1e-7)
        assert (left @ ours.x <= right + 1e-7).all()
        assert ours.rows == pytest.approx(theirs.ineqlin.marginals, abs=1e-7)
        assert ours.bounds == pytest.approx(theirs.lower.marginals + theirs.upper.marginals, abs=1e-7)


def test_by_hand() -> None:
    """x + y ≥ 1 with x, y ≥ 0: the least of 2x + 3y is 2 at (1, 0), and 2 more for each more that is asked."""
    polytope = Polytope(np.array([[-1.0, -1.0]]), np.array([-1.0]), np.zeros(2), np.full(2, np.inf))
    found = polytope.least(np.array([2.0, 3.0]))
    assert found is not None
    assert found.x == pytest.approx([1.0, 0.0])
    assert found.value == pytest.approx(2.0)
    assert found.rows == pytest.approx([-2.0])


def test_empty_and_endless() -> None:
    """x ≤ −1 with x ≥ 0 is empty; the least of −x on x ≥ 0 has no end."""
    empty = Polytope(np.array([[1.0]]), np.array([-1.0]), np.zeros(1), np.full(1, np.inf))
    assert empty.inside() is None
    endless = Polytope(np.array([[-1.0]]), np.array([0.0]), np.zeros(1), np.full(1, np.inf))
    assert endless.least(np.array([-1.0])) is None
    assert endless.inside() is not None
