"""The units of a type pooled in part: mean, spread and how surely, by the normal hierarchical model (theory, equation 1)."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from recurve.arrays import Array

GRID = 400  # spreads on which the posterior is summed
REACH = 5.0  # scales of the prior, and of the scatter seen, that the grid goes to


@dataclass(frozen=True)
class Pooled:
    """What units tell of a quantity of their type [any, all the same]: its `mean`, the `spread` of single units and the
    `uncertainty` of the mean, as standard deviations (theory, equation 4), and the number of `units`."""

    mean: float
    spread: float
    uncertainty: float
    units: int


def _posterior(values: Array, uncertainties: Array, scale: float) -> tuple[Array, Array, Array, Array]:
    """Spreads τ (g,), their weights, which sum to 1, and the mean μ̂ and its variance V with each."""
    most = REACH * max(scale, float(np.ptp(values)) if len(values) > 1 else 0.0)
    # Dense near 0, where a small spread is told from none.
    tau = most * ((np.arange(GRID) + 0.5) / GRID) ** 2
    step = (np.arange(GRID) + 0.5) / GRID
    weight = 1.0 / (tau[:, None] ** 2 + uncertainties[None] ** 2)
    variance = 1.0 / weight.sum(axis=1)
    mean = (weight * values).sum(axis=1) * variance
    off = (weight * (values - mean[:, None]) ** 2).sum(axis=1)
    log = -0.5 * (tau / scale) ** 2 + 0.5 * np.log(variance) + 0.5 * np.log(weight).sum(axis=1) - 0.5 * off
    density = np.exp(log - log.max()) * step
    return tau, density / density.sum(), mean, variance


def pooled(values: Array, uncertainties: Array, scale: float) -> Pooled:
    """What the `values` (units,) of a quantity with their standard `uncertainties` (units,) tell of its type; `scale` of the
    prior of the spread, all in the same unit [any]."""
    tau, weight, mean, variance = _posterior(np.asarray(values, float), np.asarray(uncertainties, float), scale)
    middle = float(weight @ mean)
    return Pooled(
        mean=middle,
        spread=float(np.sqrt(weight @ tau**2)),
        uncertainty=float(np.sqrt(weight @ (variance + (mean - middle) ** 2))),
        units=len(values),
    )


def surprise(value: float, uncertainty: float, others: Array, of_others: Array, scale: float) -> float:
    """The chance [1] that a unit of the type is measured as far from the `others` (units,) as this `value`, on either side;
    `uncertainty` and `of_others` (units,) are standard uncertainties, `scale` as for `pooled`, all in one unit [any]."""
    tau, weight, mean, variance = _posterior(np.asarray(others, float), np.asarray(of_others, float), scale)
    normal = NormalDist()
    sigma = np.sqrt(tau**2 + variance + uncertainty**2)
    below = float(weight @ np.array([normal.cdf(z) for z in (value - mean) / sigma]))
    above = float(weight @ np.array([normal.cdf(z) for z in (mean - value) / sigma]))
    return min(1.0, 2.0 * min(below, above))
