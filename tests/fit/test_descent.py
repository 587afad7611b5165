"""Least squares within bounds from many starts, against scipy.optimize (a general library) and by hand; certified regressions
are in test_nist."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import least_squares, lsq_linear

from recurve.fit.descent import descend

Array = NDArray[np.float64]


@pytest.mark.parametrize("seed", range(12))
def test_linear_squares_within_bounds(seed: int) -> None:
    """The minimum of a linear problem in a box is the only one, and most of its parameters lie at a bound: as
    scipy.optimize.lsq_linear has it, from every start; it is reached in a few steps."""
    random = np.random.default_rng(seed)
    matrix, wanted = random.normal(size=(12, 6)), random.normal(size=12)
    low, high = np.full(6, -0.2), random.uniform(0.0, 0.3, 6)
    right = lsq_linear(matrix, wanted, (low, high), tol=1e-12)
    for end in descend(lambda x: x @ matrix.T - wanted, random.normal(size=(5, 6)), low, high, evaluations=8):
        assert end.state == pytest.approx(right.x, abs=1e-6)
        assert end.squares == pytest.approx(2 * right.cost, rel=1e-9) and end.converged


def valley(states: Array) -> Array:
    """Rosenbrock's curved valley, with its floor at (1, 1)."""
    return np.stack([10 * (states[:, 1] - states[:, 0] ** 2), 1 - states[:, 0]], axis=1)


@pytest.mark.parametrize(
    ("low", "high"), [([-9.0, -9.0], [9.0, 9.0]), ([-9.0, 1.5], [9.0, 9.0]), ([-9.0, -9.0], [0.5, 9.0])]
)
def test_a_curved_valley_within_bounds(low: list[float], high: list[float]) -> None:
    """As scipy.optimize.least_squares has it, from starts on both sides."""
    starts = np.array([[-1.2, 1.0], [0.2, 2.0], [2.0, 2.0], [-2.0, 8.0]])
    ends = descend(valley, starts, np.array(low), np.array(high), evaluations=300)
    for start, end in zip(starts, ends, strict=True):
        begun = np.clip(start, np.array(low) + 1e-6, np.array(high) - 1e-6)
        right = least_squares(
            lambda x: valley(x[None])[0], begun, bounds=(low, high), xtol=1e-12, ftol=1e-12, gtol=1e-12
        )
        assert end.state == pytest.approx(right.x, abs=1e-4)
        assert end.squares == pytest.approx(2 * right.cost, rel=1e-6, abs=1e-10)


def test_the_covariance_is_that_of_a_straight_line() -> None:
    """Of a line through readings of unit variance it is (XᵀX)⁻¹ (any textbook of regression)."""
    x = np.array([0.0, 1.0, 2.0, 5.0])
    [end] = descend(lambda s: s[:, :1] + s[:, 1:] * x - np.sqrt(x), np.zeros((1, 2)), np.full(2, -9.0), np.full(2, 9.0))
    design = np.stack([np.ones(4), x], axis=1)
    assert end.covariance == pytest.approx(np.linalg.inv(design.T @ design), rel=1e-5)


def test_together_they_end_as_each_alone() -> None:
    starts = np.array([[-1.2, 1.0], [0.2, 2.0], [2.0, 2.0]])
    low, high = np.full(2, -9.0), np.full(2, 9.0)
    together = descend(valley, starts, low, high, evaluations=12)
    for start, end in zip(starts, together, strict=True):
        [alone] = descend(valley, start[None], low, high, evaluations=12)
        assert end.state == pytest.approx(alone.state, abs=1e-12) and end.converged == alone.converged


def test_no_more_evaluations_than_allowed() -> None:
    calls = []

    def counted(states: Array) -> Array:
        calls.append(len(states))
        return valley(states)

    [end] = descend(counted, np.array([[-1.2, 1.0]]), np.full(2, -9.0), np.full(2, 9.0), evaluations=5)
    assert calls == [5] * 5 and not end.converged  # the state and two differences of each of its numbers, five times


def test_a_step_into_the_impossible_is_not_taken() -> None:
    """The logarithm of a number below 0 is none: the descent goes round it."""

    def residuals(states: Array) -> Array:
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.log(states) - np.log(0.01)

    [end] = descend(residuals, np.array([[5.0]]), np.array([-9.0]), np.array([9.0]))
    assert end.state[0] == pytest.approx(0.01, rel=1e-4)


@pytest.mark.parametrize("start", [5e-5, -1.0])
def test_a_start_beside_the_impossible_or_in_it_is_not_called_an_answer(start: float) -> None:
    def residuals(states: Array) -> Array:
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.log(states) - np.log(0.01)

    [end] = descend(residuals, np.array([[start]]), np.array([-9.0]), np.array([9.0]))
    assert not end.converged


@pytest.mark.parametrize(("felt", "settled"), [(1.0, True), (0.0, False)])
def test_a_number_on_which_nothing_depends_has_not_converged(felt: float, settled: bool) -> None:
    """Two readings of x, and of y only with a weight above 0."""

    def residuals(states: Array) -> Array:
        return np.stack([states[:, 0] - 1.0, states[:, 0] - 1.5, felt * (states[:, 1] - 0.5)], axis=1)

    [found] = descend(residuals, np.zeros((1, 2)), np.full(2, -9.0), np.full(2, 9.0))
    assert found.state[0] == pytest.approx(1.25, abs=1e-4) and found.converged == settled
