"""The sampler on densities that are known: also where the least squares give it a width that cannot be."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from recurve.fit.fit import _standard_uncertainty
from recurve.fit.posterior import Mode, Samples, sample

Array = NDArray[np.float64]


def normal(states: Array) -> Array:
    """Log density of two independent standard normals, up to a constant."""
    return -0.5 * (states**2).sum(axis=1)


@pytest.mark.parametrize(
    "covariance",
    [
        [[1.0, 0.0], [0.0, 1.0]],
        [[1.0, 1.0 + 1e-8], [1.0 + 1e-8, 1.0]],  # rounding has made one direction's variance negative
        [[1.0, 1.0], [1.0 + 1e-7, 1.0]],  # not symmetric, and of no width across
        [[0.0, 0.0], [0.0, 0.0]],
    ],
)
def test_a_mode_of_no_width_in_a_direction_is_sampled_all_the_same(covariance: list[list[float]]) -> None:
    """By hand: mean 0, standard deviation 1, correlation 0, each to the error of about 1000 equal samples."""
    samples = sample(normal, (Mode(np.zeros(2), 0.0, np.array(covariance), True),))
    assert samples.effective >= 1000
    assert samples.mean(samples.states) == pytest.approx([0.0, 0.0], abs=0.15)
    assert samples.deviation(samples.states) == pytest.approx([1.0, 1.0], abs=0.1)
    assert float(samples.mean(samples.states[:, 0] * samples.states[:, 1])) == pytest.approx(0.0, abs=0.15)


def equal(*values: float) -> Samples:
    """States of one number, of equal weight."""
    return Samples(np.array(values)[:, None], np.full(len(values), 1 / len(values)))


def test_what_samples_are_worth() -> None:
    """Kish's effective size, (Σw)²/Σw² (textbook): by hand of weights ½, ¼, ¼ it is 1/(¼ + 1/16 + 1/16) = 8/3."""
    assert Samples(np.zeros((3, 1)), np.array([0.5, 0.25, 0.25])).effective == pytest.approx(8 / 3)
    assert equal(1.0, 2.0, 3.0, 4.0).effective == pytest.approx(4.0)


def test_how_far_two_halves_lie_apart() -> None:
    """0 and 1 in turn: the halves have means 0 and 1, and all together a standard deviation of ½, so 2. In pairs: 0."""
    assert equal(0.0, 1.0, 0.0, 1.0).halves_apart == pytest.approx(2.0)
    assert equal(0.0, 0.0, 1.0, 1.0).halves_apart == pytest.approx(0.0)


def test_a_standard_uncertainty_holds_as_much_as_a_normal_s() -> None:
    """Of 100 values ten are 1, the others 0: mean 0.1, standard deviation 0.3, but within ± 0.6 of the mean lie only 90 %, where
    a normal has 95.45 %: those lie within 0.9, so it is 0.45. A normal sample keeps its standard deviation."""
    split = equal(*[0.0] * 90, *[1.0] * 10)
    assert _standard_uncertainty(split, split.states[:, 0]) == pytest.approx(0.45)
    usual = Samples(np.zeros((20_000, 1)), np.full(20_000, 1 / 20_000))
    drawn = np.random.default_rng(1).normal(5.0, 2.0, 20_000)
    assert _standard_uncertainty(usual, drawn) == pytest.approx(2.0, rel=0.02)
