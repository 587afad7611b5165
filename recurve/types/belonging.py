"""Whether a unit is of the type that its job names: what it shows by itself against what the type says."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from recurve.arrays import Array
from recurve.errors import Key
from recurve.fit.fit import Fit
from recurve.job.learned import Learned, UnitType
from recurve.job.model import Job
from recurve.types.facts import facts_of, scale_of
from recurve.units import PLACES

FOREIGN = 0.02  # chance that a unit of the type lies as far off, below which it is said not to fit


@dataclass(frozen=True)
class Departure:
    """One quantity of a unit against its type [SI]: the `value` that it shows, the `mean` of the type, the standard
    `deviation` of their difference, by the type's spread and by how well the value is known."""

    key: Key
    value: float
    mean: float
    deviation: float

    @property
    def size(self) -> float:
        """How many standard deviations it is off [1]."""
        return abs(self.value - self.mean) / self.deviation


@dataclass(frozen=True)
class Belonging:
    """A unit against its type (theory, equation 6): the `chance` [1] that one of the type lies as far off, the `odds` [1]
    that it is of the type rather than of any other, and the `departures`, the largest first."""

    chance: float
    odds: float
    departures: tuple[Departure, ...]

    @property
    def fits(self) -> bool:
        """Whether nothing speaks against the type."""
        return self.chance >= FOREIGN


def belonging(kind: UnitType, job: Job, fit: Fit | None) -> Belonging | None:
    """The unit of a `job`, and of the `fit` of its sweep, against the type that the job names; None where the unit shows
    nothing by itself that the type knows of."""
    keys, values, covariance = _shown(kind, job, fit)
    if not keys:
        return None
    known = [_as_pooled(k, kind.learned[k]) for k in keys]
    mean = np.array([one.mean for one in known])
    off = values - mean
    of_type = np.diag([one.deviation**2 for one in known])
    other = np.diag([scale_of(k, "other") ** 2 for k in keys])
    square, log_type = _distance(off, of_type + covariance)
    log_odds = log_type - _distance(off, other + of_type + covariance)[1]
    deviations = np.sqrt(np.diag(of_type + covariance))
    rows = [
        Departure(k, float(v), float(m), float(d)) for k, v, m, d in zip(keys, values, mean, deviations, strict=True)
    ]
    odds = float(np.exp(np.clip(log_odds, -300.0, 300.0)))
    return Belonging(_chance(square, len(keys)), odds, tuple(sorted(rows, key=lambda d: -d.size)))


def _as_pooled(key: Key, one: Learned) -> Learned:
    """A rate [N/m] as it is pooled, by its logarithm."""
    if key[-1] != "rate":
        return one
    return Learned(float(np.log(one.mean)), one.spread / one.mean, one.uncertainty / one.mean, one.units)


def _shown(kind: UnitType, job: Job, fit: Fit | None) -> tuple[list[Key], Array, Array]:
    """What the unit shows by itself of what the type knows: keys, values (n,) [SI; log of a rate], covariance (n, n)."""
    told = facts_of(job, found=False).told
    stated = [key for key in told if key in kind.learned and key not in kind.taken]
    values = [_turned(key, told[key].value, kind.learned[key].mean) for key in stated]
    variances = np.diag([told[key].uncertainty ** 2 for key in stated])
    if fit is None:
        return stated, np.array(values), variances
    keys = [k for place in PLACES[: len(job.places)] for k in (("found", place, "rate"), ("found", place, "stretch"))]
    keys = [k for k in keys if k in kind.learned]
    natural = fit.model.natural(fit.samples.states)
    columns = np.stack([fit.model.column(natural, f"{k[1]}.{k[2]}") for k in keys], axis=1) if keys else natural[:, :0]
    mean = fit.samples.mean(columns)
    off = columns - mean
    found = (off * fit.samples.weights[:, None]).T @ off
    whole = np.zeros((len(stated) + len(keys), len(stated) + len(keys)))
    whole[: len(stated), : len(stated)] = variances
    whole[len(stated) :, len(stated) :] = found
    return [*stated, *keys], np.concatenate([np.array(values), mean]), whole


def _turned(key: Key, value: float, near: float) -> float:
    """An angle [rad] within half a turn of the type's."""
    return near + (value - near + np.pi) % (2 * np.pi) - np.pi if key[-1] == "angle" else value


def _distance(off: Array, covariance: Array) -> tuple[float, float]:
    """dᵀC⁻¹d [1], and the log density of d up to a constant."""
    square = float(off @ np.linalg.solve(covariance, off))
    return square, -0.5 * square - 0.5 * float(np.linalg.slogdet(covariance)[1])


def _chance(square: float, count: int) -> float:
    """The chance [1] that `count` quantities lie as far off in all."""
    from scipy.special import gammaincc

    return float(gammaincc(count / 2, square / 2))
