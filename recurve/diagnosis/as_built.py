"""What the sweep of a finished unit says by itself of how it was built: rates, lengths over the posts, and the stop.

The fit weighs the readings with what was planned. For a tolerance that is to be held against the plan, the plan's own say
has to be taken out again. Of normal distributions it is, for a number known before with variance v₀ about m₀ and after with v
about m, where v₀ and m₀ are of the plan and the other numbers of the unit count as known beforehand as they are:

    1/u² = 1/v − 1/v₀,    x = u² (m/v − m₀/v₀)                                                     (1)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from recurve.fit.fit import Fit
from recurve.job.model import Job
from recurve.units import PLACES

TOLD = 0.7  # a number is told by the sweep where it is known so many times as well as before [1], or better


@dataclass(frozen=True)
class Told:
    """A number of which the sweep tells: `value` with its standard `uncertainty` by the readings alone [SI]; known `before` and
    `after` the readings with these standard uncertainties [SI]."""

    value: float
    uncertainty: float
    before: float
    after: float


def told_of(fit: Fit, name: str) -> Told | None:
    """What the readings say of a parameter of the fit, a rate by its logarithm; None where it is no parameter, lies on a
    bound, or where the readings add little to what was known."""
    numbers = {p.name: i for i, p in enumerate(fit.model.parameters)}
    if name not in numbers:
        return None
    prior, column = fit.model.parameters[numbers[name]], fit.model.natural(fit.samples.states)[:, numbers[name]]
    after, before, mean = float(fit.samples.deviation(column)), prior.spread, float(fit.samples.mean(column))
    if before <= 0.0 or not 0.0 < after < TOLD * before or not fit.converged:
        return None
    if fit.best[numbers[name]] in (b[numbers[name]] for b in fit.model.bounds()):
        return None
    variance = 1.0 / (1.0 / after**2 - 1.0 / before**2)
    return Told(variance * (mean / after**2 - prior.middle / before**2), float(np.sqrt(variance)), before, after)


@dataclass(frozen=True)
class SpringBuilt:
    """A spring in its `place` as the sweep shows it, each None where it does not: how far the `rate` [1] and the `length` over
    the posts [m] are off what was planned, each with its standard uncertainty."""

    place: str
    rate: tuple[float, float] | None
    length: tuple[float, float] | None


@dataclass(frozen=True)
class AsBuilt:
    """How far a build is off its plan, by the readings alone: the `springs`, and the `stop` [rad] with its standard uncertainty,
    None where the readings do not tell it."""

    springs: tuple[SpringBuilt, ...]
    stop: tuple[float, float] | None


def as_built(fit: Fit, planned: Job, others: Sequence[str] = ()) -> AsBuilt:
    """How far a fitted unit is off the job as `planned`; springs at the places in `others` are not the planned ones.
    A spring with initial tension tells no length: more tension and more stretch pull alike."""
    springs = []
    for name, place in zip(PLACES, planned.places, strict=False):
        if place.found is None or name in others:
            continue
        rate, stretch = told_of(fit, f"{name}.rate"), told_of(fit, f"{name}.stretch")
        if place.found.initial_tension > 0.0:
            stretch = None
        by_plan = float(place.posts.length(0.0)[0]) - place.found.free_length
        off = None if rate is None else (float(np.exp(rate.value)) / place.found.rate - 1.0, rate.uncertainty)
        springs.append(
            SpringBuilt(name, off, None if stretch is None else (stretch.value - by_plan, stretch.uncertainty))
        )
    stop = told_of(fit, "stop")
    return AsBuilt(tuple(springs), None if stop is None else (stop.value - planned.stop.advance, stop.uncertainty))
