"""What is known of a unit as found, as numbers with their doubt: the raw material of findings.

Everything is a sample of many states of the unit, so that "more than" is a probability, not a guess.

Scrambled Sobol points, for simulations that must not wait for a statistics library to load.

The same points as scipy.stats.qmc.Sobol gives, bit for bit (a test holds that), without the second and a half that
importing scipy.stats takes on a small machine; beyond the dimensions of the table it is asked instead.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from statistics import NormalDist

import numpy as np

from recurve.arrays import Array
from recurve.fit.fit import Fit
from recurve.fit.model import SweepModel, sweep_model
from recurve.job.model import Job, Sweep
from recurve.physics.ensemble import Curves, curves, takeups
from recurve.units import PLACES

BITS = 30
# Primitive polynomials and first direction numbers of dimensions 2 and on: degree, coefficients, m.
# S. Joe and F. Y. Kuo, SIAM Journal on Scientific Computing 30 (2008), set new-joe-kuo-6 (from memory).
DIRECTIONS: tuple[tuple[int, int, tuple[int, ...]], ...] = (
    (1, 0, (1,)),
    (2, 1, (1, 3)),
    (3, 1, (1, 3, 1)),
    (3, 2, (1, 1, 1)),
    (4, 1, (1, 1, 3, 3)),
    (4, 4, (1, 3, 5, 13)),
    (5, 2, (1, 1, 5, 5, 17)),
    (5, 4, (1, 1, 5, 5, 5)),
    (5, 7, (1, 1, 7, 11, 19)),
    (5, 11, (1, 1, 5, 1, 1)),
    (5, 13, (1, 1, 1, 3, 11)),
    (5, 14, (1, 3, 5, 5, 31)),
    (6, 1, (1, 3, 3, 9, 7, 49)),
    (6, 13, (1, 1, 1, 15, 21, 21)),
    (6, 16, (1, 3, 1, 13, 27, 49)),
    (6, 19, (1, 1, 1, 15, 7, 5)),
    (6, 22, (1, 3, 1, 15, 13, 25)),
    (6, 25, (1, 1, 5, 5, 19, 61)),
    (7, 1, (1, 3, 7, 11, 23, 15, 103)),
    (7, 4, (1, 3, 7, 13, 13, 15, 69)),
)


def sobol(count: int, dimensions: int, seed: int) -> Array:
    """Scrambled Sobol points (count, dimensions) [1] in the open unit cube; `count` a power of two."""
    points = _points(count, dimensions, seed) if dimensions <= len(DIRECTIONS) + 1 else _asked(count, dimensions, seed)
    return np.asarray(np.clip(points, 1e-12, 1 - 1e-12))


def _asked(count: int, dimensions: int, seed: int) -> Array:
    from scipy.stats import qmc

    return np.asarray(qmc.Sobol(dimensions, scramble=True, rng=np.random.default_rng(seed)).random(count))


def _points(count: int, dimensions: int, seed: int) -> Array:
    """Gray-code order (Antonov and Saleev): point i+1 is point i with one direction number more."""
    directions, shift = _scrambled(np.stack([_directions(d) for d in range(dimensions)]), seed)
    states = np.zeros((count, dimensions), np.int64)
    index = np.arange(count)
    gray = index ^ (index >> 1)
    for bit in range(max(count - 1, 0).bit_length()):
        states ^= ((gray >> bit) & 1)[:, None] * directions[:, bit]
    return np.asarray((states ^ shift) / 2.0**BITS)


def _directions(dimension: int) -> np.ndarray:
    """Direction numbers (BITS,) of a dimension from 0, each shifted to the top of BITS bits."""
    if dimension == 0:
        m = [1] * BITS
    else:
        degree, coefficients, first = DIRECTIONS[dimension - 1]
        m = list(first)
        for i in range(degree, BITS):
            new = m[i - degree] ^ (m[i - degree] << degree)
            for k in range(1, degree):
                new ^= ((coefficients >> (degree - 1 - k)) & 1) * (m[i - k] << k)
            m.append(new)
    return np.array([x << (BITS - 1 - i) for i, x in enumerate(m)], np.int64)


def _scrambled(directions: np.ndarray, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Left matrix scramble and digital shift (Matoušek, Journal of Complexity 14, 1998): directions
    (dimensions, BITS) and shift (dimensions,)."""
    random, dimensions = np.random.default_rng(seed).spawn(1)[0], len(directions)
    powers = 2 ** np.arange(BITS, dtype=np.int64)
    shift = random.integers(2, size=(dimensions, BITS), dtype=np.uint32).astype(np.int64) @ powers
    lower = np.tril(random.integers(2, size=(dimensions, BITS, BITS), dtype=np.uint32)).astype(np.int64)
    lower[:, np.arange(BITS), np.arange(BITS)] = 1
    # The bits of each direction number, the highest first, times the matrix, modulo 2.
    bits = (directions[:, None, :] >> np.arange(BITS - 1, -1, -1)[None, :, None]) & 1
    mixed = (lower @ bits) & 1
    return np.einsum("drj,r->dj", mixed, powers[::-1]), shift


def rectangular(uniform: Array, limit: float) -> Array:
    """Errors equally likely anywhere between ± limit [any] (GUM 4.3.7), from uniform numbers in (0, 1), same shape."""
    return limit * (2.0 * uniform - 1.0)


@dataclass(frozen=True)
class Ensemble:
    """What is known of the unit before it is built: its `model` and `states` (n, size) [1] drawn from it, and
    `middle` (size,), the state that plans are made from. `read` tells whether a sweep was fitted."""

    model: SweepModel
    states: Array
    middle: Array
    read: bool


def ensemble_of(job: Job, fit: Fit | None, count: int) -> Ensemble:
    """States of the unit as found: of the fitted sweep, else of the job's own ± (`count` a power of two)."""
    if fit is not None:
        return Ensemble(fit.model, fit.samples.equal(count), fit.best, True)
    nothing = np.zeros(1)
    empty = Sweep("", nothing + 1.0, nothing, nothing == 0, nothing, 1.0, 1e-6, None)
    model = sweep_model(replace(job, sweep=empty))
    return Ensemble(model, _prior(model, count), _inside(model, np.zeros(model.size)), False)


def _inside(model: SweepModel, state: Array) -> Array:
    return np.clip(state, *model.bounds())


def _prior(model: SweepModel, count: int) -> Array:
    """States (count, size) by the priors: what was measured is equally likely anywhere within its ±, the rest normal."""
    uniform = sobol(count, model.size, 11)
    low, high = model.bounds()
    states = np.clip(rectangular(uniform, np.sqrt(3.0)), low, high)
    unit = NormalDist()
    for i, parameter in enumerate(model.parameters):
        if not parameter.measured:
            least, most = unit.cdf(float(low[i])), unit.cdf(float(high[i]))
            states[:, i] = [unit.inv_cdf(x) for x in least + (most - least) * uniform[:, i]]
    return states


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
    plant: Ensemble

    @classmethod
    def of(cls, job: Job, fit: Fit | None) -> Evidence:
        """From a sweep that was fitted, or else from what the job describes."""
        return cls(job, fit, ensemble_of(job, fit, STATES))

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
    def return_speed(self) -> Doubtful:
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
        speeds = np.linspace(max(self.return_speed.mean, 0.3 * self.all_in.mean), max(self.all_in.mean, 1.0), 40)
        gap = self.falling(speeds) - self.curves.rising_advance(speeds, self.curves.falling_advance(np.zeros(1))[:, 0])
        return Doubtful(np.quantile(gap, 0.75, axis=1))
