"""Quantities with their uncertainties, and the statistics that every fit of readings shares.

A quantity comes in three forms: `units.Quantity` as people state it, a value ± half-width; `Uncertain`, a value with its
standard uncertainty, as fits report it; and `Sampled`, a sample of equally likely values, where a normal distribution
would be too simple.

The fits of a sweep, of a reference sweep and of a vacuum unit share the rule for outliers, the inflation of the
uncertainties where readings scatter, and the quadrature over the uncertainty of speed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from recurve.arrays import Array
from recurve.data import ranges
from recurve.units import RPM, SQRT3

COVERAGE = 2.0  # standard uncertainties that must lie inside a band, or outside, where a unit is judged

F = TypeVar("F")


@dataclass(frozen=True)
class Uncertain:
    """A quantity with its uncertainty: `value` and `standard_uncertainty` [any, the same], None where unknown."""

    value: float
    standard_uncertainty: float | None = None

    def degrees(self) -> str:
        """ "3.0 ± 0.2°" with two standard uncertainties, for an angle [rad]."""
        return f"{np.degrees(self.value):.1f} ± {2 * np.degrees(self.standard_uncertainty or 0.0):.1f}°"

    def rpm(self) -> str:
        """ "184 ± 8 rpm" with two standard uncertainties, for a speed [rad/s]."""
        return f"{self.value * RPM:.0f} ± {2 * (self.standard_uncertainty or 0.0) * RPM:.0f} rpm"


def chance_words(chance: float) -> str:
    """A chance [1] in percent. It is never called certain, which no number of samples can tell."""
    return "over 99%" if chance >= 0.995 else "under 1%" if chance < 0.005 else f"{chance:.0%}"


@dataclass(frozen=True)
class Sampled:
    """A quantity as a sample (n,) [SI] of equally likely values."""

    sample: Array

    @property
    def mean(self) -> float:
        """Mean [SI]."""
        return float(self.sample.mean())

    @property
    def standard_uncertainty(self) -> float:
        """Standard deviation of the sample [SI]."""
        return float(self.sample.std())

    @property
    def summary(self) -> Uncertain:
        """Mean and standard uncertainty [SI]."""
        return Uncertain(self.mean, self.standard_uncertainty)

    def above(self, limit: float) -> float:
        """Probability [1] that it is more than `limit` [SI]."""
        return float((self.sample > limit).mean())

    def below(self, limit: float) -> float:
        """Probability [1] that it is less than `limit` [SI]."""
        return float((self.sample < limit).mean())


@dataclass(frozen=True)
class Prior:
    """What is known of one parameter of a fit before any reading: `name`, `middle` and standard uncertainty `spread`
    [SI, or its logarithm], the `least` and `most` that are physically possible, and whether the user `measured` it."""

    name: str
    middle: float
    spread: float
    least: float = -np.inf
    most: float = np.inf
    measured: bool = False


# --- drag and friction --------------------------------------------------------------------------------------

# The most that the rubbing block's drag [N·m], friction [N·m] and friction share [1] can be; none is negative.
MOST_DRAG, MOST_FRICTION, MOST_FRICTION_SHARE = 0.1, 0.05, 0.4
COEFFICIENT = 0.35  # relative ± of a drag found from a friction coefficient, which is hardly known better than that
UNSTATED_DRAG = 0.25  # relative ± of a measured drag that states none
UNSTATED_FRICTION = 0.3  # relative standard uncertainty of a measured friction that states no ±


def assumed_drag() -> float:
    """± [N·m] of the rubbing block's drag where a job gives none, by `data/ranges.toml`."""
    return float(ranges()["drag"]["rubbing_block"]["limit"]) * 1e-3


def drag_half_width(drag: float, measured: bool, stated: float | None, by_coefficient: bool) -> float:
    """± [N·m] of a drag of the rubbing block [N·m]: as `stated` [N·m] where it was measured, else by how it was found."""
    if measured:
        return UNSTATED_DRAG * drag if stated is None else stated
    return COEFFICIENT * drag if by_coefficient else assumed_drag()


# --- outliers and scatter -----------------------------------------------------------------------------------

OUTLIER = 4.0  # standardised residual beyond which a reading is left out
MOST_OUTLIERS = 0.2  # the largest fraction of the readings that may be left out
RARE = 0.01  # an excess of scatter counts only where chance would produce it less often than this
NORMAL_MEDIAN = 0.6745  # median of the absolute value of a standard normal variable


def without_outliers(
    fit: Callable[[np.ndarray], F],
    standardised: Callable[[F], Array],
    readings: int,
    scatter: Callable[[Array], float] = lambda residuals: 1.0,
) -> tuple[F, np.ndarray]:
    """The fit of the readings without outliers, and which readings (bool) it keeps.

    `fit` fits the readings that a mask (readings,) keeps; `standardised` gives the residuals (readings,) [1] of all of
    them. While the worst of those kept lies beyond OUTLIER times their `scatter`, it is left out and the rest is fitted
    again, up to MOST_OUTLIERS of all.
    """
    kept = np.ones(readings, bool)
    found = fit(kept)
    while (~kept).sum() + 1 <= MOST_OUTLIERS * readings:
        residual = np.where(kept, np.abs(standardised(found)), 0.0)
        worst = int(residual.argmax())
        if residual[worst] < OUTLIER * scatter(residual[kept]):
            break
        kept = kept.copy()
        kept[worst] = False
        found = fit(kept)
    return found, kept


def robust_scatter(residuals: Array) -> float:
    """Size [1] of standardised residuals (n,) as a whole, at least 1, so that where all scatter none is an outlier.

    It is found from their median, which a few wrong readings do not move.
    """
    return max(float(np.median(np.abs(residuals))) / NORMAL_MEDIAN, 1.0)


def degrees_of_freedom(readings: int, learnt: Array) -> float:
    """Degrees of freedom [1] of a fit with priors, at least 1.

    A parameter costs freedom only as far as the readings determine it: `learnt` (parameters,) [1] is 1 less the variance
    that is left of a prior of unit variance.
    """
    return max(float(readings) - float(np.clip(learnt, 0.0, 1.0).sum()), 1.0)


def inflation(chi2: float, dof: float, rare: float = RARE) -> float:
    """How many times more than stated the readings scatter, at least 1 (the Birge ratio √(χ²/ν)).

    An excess that chance produces with a probability [1] of `rare` or more does not count; 1 counts any excess.
    """
    from scipy.special import chdtrc

    return max(float(np.sqrt(chi2 / dof)), 1.0) if chdtrc(dof, chi2) < rare else 1.0


# --- the uncertainty of speed -------------------------------------------------------------------------------

# Three-point Gauss–Hermite rule: standard uncertainties off the middle, and their weights.
NODES = np.array([-SQRT3, 0.0, SQRT3])
WEIGHTS = np.array([1.0, 4.0, 1.0]) / 6.0
STANDSTILL = 1e-3  # rad/s; no speed is taken to be less


def speed_nodes(speed: Array, half_width: float | Array) -> Array:
    """Speeds (n, 3) [rad/s] at which a reading at `speed` ± `half_width` (n,) [rad/s] is predicted, so that readings on a
    steep flank are known to scatter."""
    return np.asarray(np.maximum(speed[:, None] + NODES * np.asarray(half_width)[..., None] / SQRT3, STANDSTILL))


def over_nodes(values: Array) -> tuple[Array, Array]:
    """Mean and variance (..., n) of values (..., n, 3) [any] at the speeds of `speed_nodes`."""
    mean = values @ WEIGHTS
    return mean, ((values - mean[..., None]) ** 2) @ WEIGHTS
