"""The Sobol points against SciPy's generator, a library of its own, bit for bit."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import qmc

from recurve.fit.sobol import DIRECTIONS, sobol


@pytest.mark.parametrize("dimensions", [1, 2, 7, 13, len(DIRECTIONS) + 1, len(DIRECTIONS) + 4])
@pytest.mark.parametrize(("count", "seed"), [(256, 3), (2048, 11)])
def test_the_same_points_as_scipy(dimensions: int, count: int, seed: int) -> None:
    """Scrambled with the same seed: equal to the last bit, past the end of the table too."""
    theirs = qmc.Sobol(dimensions, scramble=True, rng=np.random.default_rng(seed)).random(count)
    assert (sobol(count, dimensions, seed) == np.clip(theirs, 1e-12, 1 - 1e-12)).all()
