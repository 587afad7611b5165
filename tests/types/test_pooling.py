"""Partial pooling against a published case, against quadrature by SciPy, and against what must hold in the limits."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import simpson
from scipy.stats import norm

from recurve.types.pooling import pooled, surprise

Array = NDArray[np.float64]
# Effects of coaching in eight schools and their standard errors: D. B. Rubin, Journal of Educational Statistics 6 (1981);
# A. Gelman and others, Bayesian Data Analysis, 3rd ed., table 5.2. MEMORY.
SCHOOLS = (
    np.array([28.0, 8.0, -3.0, 7.0, -1.0, 1.0, 18.0, 12.0]),
    np.array([15.0, 10.0, 16.0, 11.0, 9.0, 11.0, 10.0, 18.0]),
)
UNITS = np.array([29.6, 30.4, 28.9, 30.1]), np.array([0.2, 0.3, 0.2, 0.4])


def test_eight_schools() -> None:
    """With a flat prior of the spread the mean over all schools is about 8, and its standard deviation about 5 (Bayesian Data
    Analysis, section 5.5; MEMORY, so that only the first figure is held to)."""
    found = pooled(*SCHOOLS, scale=1e4)
    assert found.mean == pytest.approx(8.0, abs=0.5)
    assert found.uncertainty == pytest.approx(5.0, abs=0.5)
    assert 5.0 < found.spread < 12.0


@pytest.mark.parametrize("scale", [0.3, 1.5])
def test_it_is_the_integral_over_mean_and_spread(scale: float) -> None:
    """The moments by SciPy's quadrature, twice, of the joint density of mean and spread, written down anew here."""
    values, errors = UNITS

    mean_at, spread_at = np.linspace(20.0, 40.0, 1001), np.linspace(0.0, 8.0, 801)
    means, spreads = np.meshgrid(mean_at, spread_at)
    density = np.exp(-0.5 * (spreads / scale) ** 2)
    for value, error in zip(values, errors, strict=True):
        density = density * norm.pdf(value, means, np.hypot(spreads, error))

    def moment(of_mean: int, of_spread: int) -> float:
        return float(simpson(simpson(density * means**of_mean * spreads**of_spread, x=mean_at), x=spread_at))

    whole = moment(0, 0)
    mean = moment(1, 0) / whole
    found = pooled(values, errors, scale)
    assert found.mean == pytest.approx(mean, abs=2e-3)
    assert found.uncertainty == pytest.approx(np.sqrt(moment(2, 0) / whole - mean**2), rel=0.01)
    assert found.spread == pytest.approx(np.sqrt(moment(0, 2) / whole), rel=0.01)


def test_one_unit_leaves_the_spread_of_the_trade_and_ten_make_their_own() -> None:
    """By hand: of one unit the spread is the prior's, the mean is off by spread and reading together."""
    one = pooled(np.array([30.0]), np.array([0.4]), scale=0.5)
    assert one.spread == pytest.approx(0.5, rel=0.01)
    assert one.uncertainty == pytest.approx(np.hypot(0.5, 0.4), rel=0.01)
    spread = []
    for seed in range(40):
        values = 30.0 + 2.0 * np.random.default_rng(seed).standard_normal(10)
        spread.append(pooled(values, np.full(10, 0.1), scale=3.0).spread)
    assert np.mean(spread) == pytest.approx(2.0, rel=0.2)


def test_readings_that_scatter_as_they_may_make_no_spread_of_their_own() -> None:
    """Units that are all alike, read badly: the mean is better known than any of them, and the spread shrinks below the prior."""
    values = 30.0 + 0.5 * np.random.default_rng(3).standard_normal(40)
    found = pooled(values, np.full(40, 0.5), scale=1.0)
    assert found.spread < 0.35
    assert found.uncertainty < 0.12


def test_the_chance_of_the_next_unit_is_uniform() -> None:
    """Of units of one type the chance lies below 0.05 in a twentieth; of one that is six spreads off hardly ever above it."""
    rng = np.random.default_rng(8)
    chances, far = [], []
    for _ in range(400):
        spread = abs(rng.normal()) * 1.0
        units = 30.0 + spread * rng.standard_normal(6) + 0.3 * rng.standard_normal(6)
        errors = np.full(5, 0.3)
        chances.append(surprise(float(units[0]), 0.3, units[1:], errors, scale=1.0))
        far.append(surprise(float(units[0]) + 8.0, 0.3, units[1:], errors, scale=1.0))
    assert np.mean(np.array(chances) < 0.05) == pytest.approx(0.05, abs=0.03)
    assert np.mean(np.array(chances) < 0.5) == pytest.approx(0.5, abs=0.08)
    assert np.mean(np.array(far) < 0.05) > 0.95
