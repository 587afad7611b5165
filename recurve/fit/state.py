"""The state of a unit as found: an ensemble of states that agree with what is known, and the curves they give.

Every quantity is a sample over the ensemble, so that "more than" is a probability rather than a guess.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from statistics import NormalDist

import numpy as np

from recurve.arrays import Array
from recurve.fit.fit import Fit, known_samples
from recurve.fit.model import SweepModel, unswept_model
from recurve.fit.outline import Outline, fit_outline
from recurve.fit.sobol import rectangular, sobol
from recurve.job.model import Job
from recurve.physics.ensemble import Curves, curves
from recurve.uncertainty import Sampled
from recurve.units import SQRT3

STATES = 2048
SURE = 0.95  # a probability that counts as a yes; its complement counts as a no
OUTLINE_SAMPLES = 300.0  # equal samples that an outline beside a fit is worth
STATE_POINTS = 64  # advances of each state's curve


@dataclass(frozen=True)
class Ensemble:
    """What is known of the unit before it is built: its `model`, `states` (n, size) [1] drawn by their probability, and
    `middle` (size,) [1], the state that plans are made from. `read` tells whether a sweep was fitted."""

    model: SweepModel
    states: Array
    middle: Array
    read: bool


def ensemble_of(job: Job, fit: Fit | None, count: int) -> Ensemble:
    """`count` states of the unit as found, a power of two: by the fitted sweep, else by the ± that the job states."""
    if fit is not None:
        return Ensemble(fit.model, fit.samples.equal(count), fit.best, True)
    model = unswept_model(job)
    if model.facts:
        known = known_samples(model)
        middle = np.clip(known.mean(known.states), *model.bounds())
        return Ensemble(model, known.equal(count), middle, False)
    return Ensemble(model, _prior(model, count), np.clip(np.zeros(model.size), *model.bounds()), False)


def _prior(model: SweepModel, count: int) -> Array:
    """States (count, size) [1] by the priors: what was measured is equally likely anywhere within its ±, the rest is
    normally distributed."""
    uniform = sobol(count, model.size, 11)
    low, high = model.bounds()
    states = np.clip(rectangular(uniform, SQRT3), low, high)
    unit = NormalDist()
    for i, parameter in enumerate(model.parameters):
        if not parameter.measured:
            least, most = unit.cdf(float(low[i])), unit.cdf(float(high[i]))
            states[:, i] = [unit.inv_cdf(x) for x in least + (most - least) * uniform[:, i]]
    return states


@dataclass(frozen=True, eq=False)
class Evidence:
    """A unit as found: the job, the fit of its sweep if there is one, and an ensemble of its possible states."""

    job: Job
    fit: Fit | None
    ensemble: Ensemble

    @classmethod
    def of(cls, job: Job, fit: Fit | None) -> Evidence:
        """By the fit of the sweep if there is one, else by the job's description."""
        return _of_fit(fit) if fit is not None and fit.job is job else cls(job, fit, ensemble_of(job, fit, STATES))

    @property
    def model(self) -> SweepModel:
        """The model the states belong to."""
        return self.ensemble.model

    @cached_property
    def natural(self) -> Array:
        """States (n, size) in natural units [SI, or log of it]."""
        return self.model.natural(self.ensemble.states)

    @cached_property
    def curves(self) -> Curves:
        """The curves of all states."""
        return curves(self.model.shapes, self.model.units(self.ensemble.states), STATE_POINTS)

    def value(self, name: str) -> Sampled:
        """A parameter of the state by name, natural units."""
        return Sampled(self.model.column(self.natural, name))

    @cached_property
    def outline(self) -> Outline | None:
        """What the readings show by themselves, no mechanism assumed; None without a sweep."""
        sweep = None if self.fit is None else self.fit.job.sweep
        return None if sweep is None else fit_outline(sweep, enough=OUTLINE_SAMPLES)

    @cached_property
    def idle(self) -> float:
        """Idle speed of the job [rad/s]."""
        return self.job.idle_speed

    @cached_property
    def residual(self) -> Sampled:
        """Advance that stays in at idle [rad]."""
        return Sampled(self.curves.falling_advance(np.array([self.idle]))[:, 0])

    @cached_property
    def onset(self) -> Sampled:
        """Speed at which advance begins [rad/s]; 0 if some is in at rest."""
        return Sampled(np.sqrt(np.maximum(self.curves.rising[:, 0], 0.0)))

    @cached_property
    def return_speed(self) -> Sampled:
        """Speed at which the advance has returned to zero [rad/s]; 0 if it never does."""
        return Sampled(np.sqrt(np.maximum(self.curves.falling.min(axis=1), 0.0)))

    @cached_property
    def all_in(self) -> Sampled:
        """Speed at which the stop is reached [rad/s]."""
        return Sampled(np.sqrt(np.maximum(self.curves.rising.max(axis=1), 0.0)))

    @cached_property
    def stop(self) -> Sampled:
        """The stop [rad]."""
        return self.value("stop")

    def takeup(self, place: int) -> Sampled:
        """Advance at which a spring takes up [rad]: 0 if it pulls from rest, the end of the table if it never does."""
        at = self.model.takeups(self.natural, place)
        return Sampled(np.minimum(at, self.model.shapes.advance[-1]))

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
    def _gap(self) -> tuple[Array, Array]:
        """Speeds (m,) [rad/s] and falling less rising advance (n, m) [rad]: at the bands, where there are any, else over the
        speeds at which the curve climbs."""
        target = self.job.target
        speeds = np.array([b.speed for b in target.timed] if target is not None else [], float)
        if not len(speeds):
            speeds = np.linspace(max(self.return_speed.mean, 0.3 * self.all_in.mean), max(self.all_in.mean, 1.0), 40)
        start = self.curves.at_standstill()
        return speeds, self.falling(speeds) - self.curves.rising_advance(speeds, start)

    @cached_property
    def apart(self) -> Sampled:
        """Falling less rising advance [rad] at the speed `apart_at`."""
        gap = self._gap[1]
        return Sampled(gap[:, int(gap.mean(axis=0).argmax())])

    @cached_property
    def apart_at(self) -> float:
        """The speed [rad/s] at which rising and falling lie farthest apart: on a plateau and at the stop the two meet,
        whatever the friction."""
        speeds, gap = self._gap
        return float(speeds[int(gap.mean(axis=0).argmax())])


@lru_cache(maxsize=4)
def _of_fit(fit: Fit) -> Evidence:
    """The evidence of a fit's own job: report, sheet and JSON all ask for it."""
    return Evidence(fit.job, fit, ensemble_of(fit.job, fit, STATES))
