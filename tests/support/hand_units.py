"""Drives and levers so simple that the curve of a unit can be worked out by hand.

With I′(α) = C constant and springs on straight levers, L = L₀ + h α, ω² = 2 (τ + T_d ± T_f) / ((1 ∓ s) C) is a broken
straight line. With C = 2e-5 kg·m²/rad every 10 mN·m makes 1000 rad²/s².
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from recurve.arrays import Array

C = 2e-5


@dataclass(frozen=True)
class Drive:
    """I′(α) [kg·m²/rad] as a function of the advance [rad]."""

    of: Callable[[Array], Array]

    def inertia_slope(self, advance: ArrayLike) -> Array:
        """I′ at the advance, same shape."""
        return self.of(np.asarray(advance, float))


@dataclass(frozen=True)
class Lever:
    """L = 20 mm + arm · α [m]."""

    arm: float = 0.01

    def length(self, advance: ArrayLike, bend: ArrayLike = 0.0) -> tuple[Array, Array]:
        """Length [m] and slope [m/rad]."""
        alpha = np.asarray(advance, float)
        return 0.02 + np.asarray(bend) + self.arm * alpha, np.full_like(alpha, self.arm)


def steady(alpha: Array) -> Array:
    """I′ = C."""
    return np.full_like(alpha, C)
