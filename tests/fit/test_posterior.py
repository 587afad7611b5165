"""The sampler on densities that are known: also where the least squares give it a width that cannot be."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from recurve.fit.posterior import Mode, sample

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
