"""Whether a spring of a finished unit is another one than the job describes: then no post is to be bent for it.

A post that stands elsewhere shifts a spring's take-up, and a spring of another rate tilts the curve after it. The readings are
fitted with rate and length of one spring left open, and its marginal likelihood is held against what is described (`pen`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from recurve.diagnosis.pen import OTHER_LENGTH, OTHER_RATE, likely_other_spring
from recurve.fit.fit import Fit
from recurve.job.measured import MeasuredSpring
from recurve.job.model import Job
from recurve.uncertainty import Uncertain, chance_words
from recurve.units import PLACES, SQRT3, Quantity


@dataclass(frozen=True)
class OtherSpring:
    """The spring in `place` is another one with the probability `chance` [1]: its `rate` [N/m] by the readings, where
    `described` [N/m] was to be in."""

    place: str
    rate: Uncertain
    described: float
    chance: float

    def words(self) -> str:
        """In words."""
        by = 2e-3 * (self.rate.standard_uncertainty or 0.0)
        return (
            f"by the readings, the {self.place} has a rate of {1e-3 * self.rate.value:.1f} ± {by:.1f} N/mm where "
            f"the job has {1e-3 * self.described:.1f} N/mm: another spring, with a probability of {chance_words(self.chance)}. "
            f"Stop the bench. See that the {self.place} is the spring of the job, whole, and hooked in at both ends. If it "
            f"is another one, fit the right one, or name the one that is in with --{self.place}-spring. If it is the right "
            "one, weigh it, and correct the job. Bend no post before that"
        )


@dataclass(frozen=True)
class OpenSpring:
    """The spring in `place`, a number, is likely another one, with the probability `chance` [1]: the `job` leaves it open."""

    job: Job
    place: int
    chance: float

    def told(self, fit: Fit) -> OtherSpring:
        """What is told of it, by a fit of the job that leaves it open."""
        name = PLACES[self.place]
        states = fit.model.natural(fit.samples.states)
        rate = np.exp(fit.model.column(states, f"{name}.rate"))
        seen = Uncertain(float(fit.samples.mean(rate)), float(fit.samples.deviation(rate)))
        middle = next(p.middle for p in fit.model.parameters if p.name == f"{name}.rate")
        return OtherSpring(name, seen, float(np.exp(middle)), self.chance)


def open_spring(fit: Fit) -> OpenSpring | None:
    """The fitted job with a spring left open that is likelier another one than described; None where none is."""
    likely = likely_other_spring(fit)
    if likely is None:
        return None
    place, chance = likely
    springs = tuple(_open(s) if i == place else s for i, s in enumerate(fit.job.measured.springs))
    return OpenSpring(replace(fit.job, measured=replace(fit.job.measured, springs=springs)), place, chance)


def _open(spring: MeasuredSpring) -> MeasuredSpring:
    """A spring as described, with the ± of one that may be another. What was measured of the described one does not hold."""
    rate, free = spring.rate, spring.free_length
    if rate is not None:
        by = float(np.hypot((rate.standard_uncertainty or 0.0), OTHER_RATE * rate.value))
        rate = Quantity(rate.value, SQRT3 * by)
    if free is not None:
        free = Quantity(free.value, SQRT3 * float(np.hypot(free.standard_uncertainty or 0.0, OTHER_LENGTH)))
    return replace(spring, rate=rate, free_length=free, takeup=None, pull_at_rest=None, hung=None)
