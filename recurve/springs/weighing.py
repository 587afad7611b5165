"""A spring weighed and stretched: rate and initial tension from weights hung on it and the lengths read (GUM).

±, "not off by more than", is a standard uncertainty of ±/√3 (GUM 4.3.7). Readings are taken as independent.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from recurve.errors import InputError
from recurve.mechanism import Array

Mask = NDArray[np.bool_]

STANDARD_GRAVITY = 9.80665  # m/s², exact by convention (CGPM 1901); at sea level g is within 0.3 % of it everywhere
TOO_UNCERTAIN = 0.2  # two standard uncertainties over the rate from which it is of no use; common practice, no source
ROUNDS = 20


@dataclass(frozen=True)
class Hung:
    """Readings (n,), n ≥ 2: `pull` [N] and `length` inside the hooks [m], with their standard uncertainties."""

    pull: Array
    length: Array
    pull_uncertainty: Array
    length_uncertainty: Array

    def take(self, rows: NDArray[np.intp]) -> Hung:
        """Some of the readings."""
        return Hung(self.pull[rows], self.length[rows], self.pull_uncertainty[rows], self.length_uncertainty[rows])


@dataclass(frozen=True)
class Weighed:
    """What the readings tell: `rate` [N/m]; `initial_tension` [N], never negative, None without a free length;
    their standard uncertainties and `correlation`; `zero_length` [m] where the line meets no pull at all; `residuals`
    of the pulls (n,) [N]; `left_out`: indices of readings below which the coils had not opened; `scatter`: by
    how much the readings scatter more than their ± says, 1 or more."""

    rate: float
    rate_uncertainty: float
    initial_tension: float | None
    initial_tension_uncertainty: float | None
    correlation: float | None
    zero_length: float
    residuals: Array
    left_out: tuple[int, ...]
    scatter: float
    slack: bool

    @property
    def of_use(self) -> bool:
        """Whether the rate is known well enough to plan with."""
        return 2 * self.rate_uncertainty <= TOO_UNCERTAIN * self.rate


def weigh(hung: Hung, free_length: tuple[float, float] | None = None) -> Weighed:
    """Rate and initial tension of a spring from `hung` readings and its `free_length` (value, standard uncertainty) [m],
    read inside the hooks with the coils closed.

    A line through two readings, or the least squares of more, with errors in both directions by their effective
    variance. Raises InputError where no line can be drawn, or it falls.
    """
    closed = _closed(hung, free_length)
    rows = np.flatnonzero(~closed)
    if len(rows) < 2 or np.ptp(hung.length[rows]) == 0.0:
        raise InputError(_too_few(hung, closed))
    used = hung.take(rows)
    rate, middle, level, covariance, residuals = _line(used)
    if rate <= 0:
        raise InputError(
            "readings: got a smaller pull at a greater length, expected the pull to grow with the length; look at which "
            "weight went with which length"
        )
    scatter = _scatter(used, rate, residuals)
    covariance = covariance * scatter**2
    tension, spread, correlation = _at_rest(rate, middle, level, covariance, free_length)
    slack = tension is not None and spread is not None and tension < -2 * spread
    return Weighed(
        rate=rate,
        rate_uncertainty=float(np.sqrt(covariance[1, 1])),
        initial_tension=None if tension is None else max(tension, 0.0),
        initial_tension_uncertainty=spread,
        correlation=correlation,
        zero_length=middle - level / rate,
        residuals=residuals,
        left_out=tuple(int(i) for i in np.flatnonzero(closed)),
        scatter=scatter,
        slack=slack,
    )


def _closed(hung: Hung, free_length: tuple[float, float] | None) -> Mask:
    """Which readings (n,) cannot be told from the closed length: the weight had not opened the coils."""
    if free_length is None:
        return np.zeros(len(hung.pull), bool)
    spread = 2 * np.hypot(hung.length_uncertainty, free_length[1])
    return np.asarray(hung.length <= free_length[0] + spread)


def _too_few(hung: Hung, closed: Mask) -> str:
    if closed.any():
        return (
            f"readings: got {int((~closed).sum())} with the coils open beyond what the lengths' ± can tell, expected 2; "
            "hang more on it, or look at --free-length"
        )
    return (
        f"readings: got {len(hung.pull)} at one length, expected two weights that draw the spring to different lengths"
    )


def _line(hung: Hung) -> tuple[float, float, float, Array, Array]:
    """Slope [N/m], the length [m] it is centred on, the pull there [N], covariance (2, 2) of (pull, slope), residuals."""
    rate = float(np.polyfit(hung.length - hung.length.mean(), hung.pull, 1)[0])
    middle, level = 0.0, 0.0
    weight = np.ones_like(hung.pull)
    for _ in range(ROUNDS):
        variance = hung.pull_uncertainty**2 + (rate * hung.length_uncertainty) ** 2
        weight = 1 / np.maximum(variance, 1e-24)
        middle, level = (float(np.average(x, weights=weight)) for x in (hung.length, hung.pull))
        off = hung.length - middle
        before, rate = rate, float((weight * off * hung.pull).sum() / (weight * off**2).sum())
        if abs(rate - before) <= 1e-13 * abs(rate):
            break
    off = hung.length - middle
    # Centred on the weighted mean, level and slope are uncorrelated.
    covariance = np.diag([1 / weight.sum(), 1 / (weight * off**2).sum()])
    return rate, middle, level, covariance, hung.pull - level - rate * off


def _scatter(hung: Hung, rate: float, residuals: Array) -> float:
    """√(χ²/degrees of freedom), at least 1: what enlarges the uncertainties where readings agree worse than stated."""
    free = len(residuals) - 2
    if free < 1:
        return 1.0
    variance = hung.pull_uncertainty**2 + (rate * hung.length_uncertainty) ** 2
    return max(1.0, float(np.sqrt((residuals**2 / np.maximum(variance, 1e-24)).sum() / free)))


def _at_rest(
    rate: float, middle: float, level: float, covariance: Array, free_length: tuple[float, float] | None
) -> tuple[float | None, float | None, float | None]:
    """The line's pull at the free length [N], its standard uncertainty and its correlation with the rate."""
    if free_length is None:
        return None, None, None
    off = free_length[0] - middle
    variance = covariance[0, 0] + off**2 * covariance[1, 1] + (rate * free_length[1]) ** 2
    shared = off * covariance[1, 1]
    spread = float(np.sqrt(variance))
    correlation = shared / (spread * np.sqrt(covariance[1, 1])) if spread > 0 and covariance[1, 1] > 0 else 0.0
    return level + rate * off, spread, float(correlation)
