"""What a slip of the pen is given for odds."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np

from recurve.diagnosis import pen


def model(height: float) -> Any:
    """A model of two numbers whose density is the same wherever they are."""
    return SimpleNamespace(
        bounds=lambda: (np.full(2, -1.0), np.full(2, 1.0)),
        log_density=lambda states: np.full(len(states), height),
        kind=lambda states: np.zeros(len(states), int),
        residuals=lambda states: states,
    )


def test_what_cannot_be_has_no_evidence() -> None:
    """Undoing a slip may leave no state that is possible: a likelihood of 0, whose logarithm is −∞, without a warning."""
    assert pen._fitted(model(-np.inf), np.zeros(2))[1] == -np.inf
    assert np.isfinite(pen._fitted(model(-3.0), np.zeros(2))[1])
