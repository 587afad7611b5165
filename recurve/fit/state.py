"""What is known of a unit as found, as numbers with their doubt: the raw material of findings.

Everything is a sample of many states of the unit, so that "more than" is a probability, not a guess.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from recurve.family import Curves, curves, takeups
from recurve.fit import Fit
from recurve.job import Job
from recurve.mechanism import Array
from recurve.sweepmodel import PLACES, SweepModel
from recurve.yields import Plant, plant_of

STATES = 2048
SURE = 0.95  # a probability that counts as a yes; its complement as a no


@dataclass(frozen=True)
class Doubtful:
    """A number with its doubt: `mean` and `deviation` (one standard uncertainty) of `sample` (n,) [SI]."""

    sample: Array

    @property
    def mean(self) -> float:
        """Mean [SI]."""
        return float(self.sample.mean())

    @property
    def deviation(self) -> float:
        """Standard uncertainty [SI]."""
        return float(self.sample.std())

    def above(self, limit: float) -> float:
        """Probability [1] that it is more than `limit` [SI]."""
        return float((self.sample > limit).mean())

    def below(self, limit: float) -> float:
        """Probability [1] that it is less than `limit` [SI]."""
        return float((self.sample < limit).mean())

    def degrees(self) -> str:
        """ "3.0 ± 0.2°" with two standard uncertainties, an angle in rad."""
        return f"{np.degrees(self.mean):.1f} ± {2 * np.degrees(self.deviation):.1f}°"

    def rpm(self) -> str:
        """ "184 ± 8 rpm" with two standard uncertainties, a speed in rad/s."""
        turn = 30 / np.pi
        return f"{self.mean * turn:.0f} ± {2 * self.deviation * turn:.0f} rpm"


@dataclass(frozen=True)
class Evidence:
    """A unit as found: the job, the fit of its sweep if there is one, and samples of its state."""

    job: Job
    fit: Fit | None
    plant: Plant

    @classmethod
    def of(cls, job: Job, fit: Fit | None) -> Evidence:
        """From a sweep that was fitted, or else from what the job describes."""
        return cls(job, fit, plant_of(job, fit, STATES))

    @property
    def model(self) -> SweepModel:
        """The model the states belong to."""
        return self.plant.model

    @cached_property
    def natural(self) -> Array:
        """States (n, size) in natural units [SI, or log of it]."""
        return self.model.natural(self.plant.states)

    @cached_property
    def curves(self) -> Curves:
        """The curves of all states."""
        return curves(self.model.shapes, self.model.units(self.plant.states), 64)

    def value(self, name: str) -> Doubtful:
        """A parameter of the state by name, natural units."""
        return Doubtful(self.model.column(self.natural, name))

    @cached_property
    def idle(self) -> float:
        """Idle speed [rad/s]: the target's, else the lowest swept, else 300 rpm."""
        if self.job.target is not None and self.job.target.idle_speed is not None:
            return self.job.target.idle_speed
        return float(self.job.sweep.speed.min()) if self.job.sweep is not None else 300.0 * np.pi / 30

    @cached_property
    def residual(self) -> Doubtful:
        """What stays in at idle [rad]."""
        return Doubtful(self.curves.falling_advance(np.array([self.idle]))[:, 0])

    @cached_property
    def onset(self) -> Doubtful:
        """Speed at which advance begins [rad/s], 0 where some is in at rest."""
        return Doubtful(np.sqrt(np.maximum(self.curves.rising[:, 0], 0.0)))

    @cached_property
    def home(self) -> Doubtful:
        """Speed at which it is back at zero [rad/s], 0 where it never is."""
        return Doubtful(np.sqrt(np.maximum(self.curves.falling.min(axis=1), 0.0)))

    @cached_property
    def all_in(self) -> Doubtful:
        """Speed at which the stop is met [rad/s]."""
        return Doubtful(np.sqrt(np.maximum(self.curves.rising.max(axis=1), 0.0)))

    @cached_property
    def stop(self) -> Doubtful:
        """The stop [rad]."""
        return self.value("stop")

    def takeup(self, place: int) -> Doubtful:
        """Where a spring takes up [rad]: 0 from rest; the end of the table for never."""
        stretch = self.model.column(self.natural, f"{PLACES[place]}.stretch")
        at = takeups(self.model.shapes, stretch, place)
        return Doubtful(np.minimum(at, self.model.shapes.advance[-1]))

    def never(self, place: int) -> float:
        """Probability [1] that a spring does not take up before the stop."""
        return float((self.takeup(place).sample >= self.stop.sample).mean())

    def rising(self, speeds: Array) -> Array:
        """Advance (n, m) [rad] at speeds (m,) [rad/s], rising from what stays in at idle."""
        return self.curves.rising_advance(speeds, self.residual.sample)

    def falling(self, speeds: Array) -> Array:
        """Advance (n, m) [rad] at speeds (m,) [rad/s], falling from the stop."""
        return self.curves.falling_advance(speeds)

    @cached_property
    def apart(self) -> Doubtful:
        """Falling less rising advance [rad], the upper quartile over the speeds where the curve climbs: on a plateau or
        at the stop the two meet however much the unit drags."""
        speeds = np.linspace(max(self.home.mean, 0.3 * self.all_in.mean), max(self.all_in.mean, 1.0), 40)
        gap = self.falling(speeds) - self.curves.rising_advance(speeds, self.curves.falling_advance(np.zeros(1))[:, 0])
        return Doubtful(np.quantile(gap, 0.75, axis=1))
