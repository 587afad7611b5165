"""What is worth measuring next on a unit that can be fitted: by how much each measurement would narrow the planned curve.

In equally likely states of the unit let y be the planned curve's advances at the bands' speeds and q what a measurement
would tell, with standard uncertainty u. To first order in what is not known, knowing q leaves of the variance of y

    V′ = V − Cov(y, q)²/(Var q + u²)                                                               (1)

(linear regression on q; GUM, JCGM 102:2011, treats the same propagation). The narrowing is 1 − √(Σ V′/Σ V), over all bands.
The planned curve is that of the best springs there could be on this unit's posts, since which springs will be bought does
not change what is unknown of weights, drag and stop; without a target it is the unit's own.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from recurve.arrays import Array
from recurve.diagnosis.first_look import NextStep
from recurve.fit.fit import Fit, slope_factor
from recurve.fit.state import Evidence
from recurve.physics.ensemble import Units, curves
from recurve.planner.ideal import Ideal
from recurve.uncertainty import over_nodes, speed_nodes
from recurve.units import PLACES, RPM, SQRT3

LEAST = 0.05  # narrowing that is worth a word
MOST = 4  # steps that are told
WHEEL = np.radians(0.3) / SQRT3  # of an angle by degree wheel, thrice
RATE = 0.03  # of a rate by two weights, relative
SLOPE = 0.01  # of I′ by a sweep with springs that were weighed, relative
DRAG = 0.15  # of a drag by spring balance, relative
POINTS = 48  # advances of a curve on either side of the second take-up
SPEEDS = 16  # at which a reading more is thought of, each way


@dataclass(frozen=True)
class Candidate:
    """A measurement that could be made: what to do, how long it takes, `minutes` [min] (common practice, no source), what it
    would tell in each state, `tells` (n,) [SI], and its standard `uncertainty` [as `tells`]."""

    measure: str
    minutes: int
    tells: Array
    uncertainty: float


def worth_measuring(evidence: Evidence, ideal: Ideal | None) -> tuple[NextStep, ...]:
    """The measurements that would narrow the planned curve most, the best first; none without a fit."""
    fit = evidence.fit
    if fit is None:
        return ()
    planned = _planned(evidence, ideal)
    spread = float(np.sqrt(planned.var(axis=0).mean()))
    steps = []
    for one in _candidates(evidence, fit):
        gain = narrowing(planned, one.tells, one.uncertainty)
        if gain >= LEAST:
            left = np.degrees(2 * spread * (1 - gain))
            steps.append(
                NextStep(
                    one.measure,
                    f"narrows the planned curve by {gain:.0%}, from ± {np.degrees(2 * spread):.2f}° to ± {left:.2f}° "
                    f"(distributor); about {one.minutes} minute{'s' if one.minutes > 1 else ''}",
                    gain,
                )
            )
    return tuple(sorted(steps, key=lambda s: -(s.narrowing or 0.0))[:MOST])


def narrowing(planned: Array, tells: Array, uncertainty: float) -> float:
    """By which fraction [1] the spread of the planned advances (n, m) would shrink if what a measurement tells (n,) were known
    with a standard `uncertainty` [as `tells`]: equation (1) of this module."""
    off, known = planned - planned.mean(axis=0), tells - tells.mean()
    shared = (off * known[:, None]).mean(axis=0)
    before = (off**2).mean(axis=0)
    after = before - shared**2 / max(float((known**2).mean()) + uncertainty**2, 1e-300)
    return 1.0 - float(np.sqrt(max(float(after.sum()), 0.0) / max(float(before.sum()), 1e-300)))


def _planned(evidence: Evidence, ideal: Ideal | None) -> Array:
    """The planned curve's advances at the bands' speeds, rising and falling, in each state (n, m) [rad]."""
    target = evidence.job.target
    speeds = np.array(
        [b.speed for b in target.timed] if target is not None and target.timed else [evidence.all_in.mean / 2]
    )
    if ideal is None or len(ideal.springs) != evidence.ensemble.model.shapes.stretch.shape[0]:
        return np.concatenate([evidence.rising(speeds), evidence.falling(speeds)], axis=1)
    made = curves(evidence.model.shapes, _with_springs(evidence, ideal), POINTS)
    start = made.falling_advance(np.array([evidence.idle]))[:, 0]
    return np.concatenate([made.rising_advance(speeds, start), made.falling_advance(speeds)], axis=1)


def _with_springs(evidence: Evidence, ideal: Ideal) -> Units:
    """The states with new springs of known rate and setting."""
    units, job = evidence.model.units(evidence.ensemble.states), evidence.job
    rest = [float(p.posts.length(0.0)[0]) for p in job.places]
    rate, stretch = np.empty_like(units.rate), np.empty_like(units.stretch)
    for i, spring in enumerate(ideal.springs):
        late = spring.takeup
        length = float(job.places[i].posts.length(ideal.stop if late is None else late)[0])
        rate[:, i] = spring.rate
        stretch[:, i] = spring.pull / spring.rate if late == 0.0 else rest[i] - length
    return replace(units, rate=rate, stretch=stretch, tension=np.zeros_like(units.tension))


def _candidates(evidence: Evidence, fit: Fit) -> Iterator[Candidate]:
    """Everything that could be measured next, but for what is known closely already."""
    natural, model = evidence.natural, evidence.model
    yield _reading(evidence, fit)
    wheel = "turn the cam to its stop by hand against a degree wheel, three times"
    yield Candidate(wheel, 2, model.column(natural, "stop"), WHEEL)
    for i, name in enumerate(PLACES[: len(model.tension)]):
        weigh = (
            f"take the {name} spring off and weigh it with two known weights (weighings in the job, or recurve spring)"
        )
        yield Candidate(weigh, 3, model.column(natural, f"{name}.rate"), RATE)
        at = np.minimum(model.takeups(natural, i), model.shapes.advance[-1])
        yield Candidate(
            f"turn the cam by hand, against a degree wheel, to where the {name} spring begins to pull", 2, at, WHEEL
        )
    drag = model.column(natural, "drag")
    yield Candidate(
        "pull the breaker arm open with a spring balance, and measure its levers", 10, drag, DRAG * float(drag.mean())
    )
    if len(model.shapes.modes):
        scale = np.log(slope_factor(model, natural, model.swept).mean(axis=1))
        yield Candidate(
            "sweep the unit once more with two springs that you have weighed and stretched (a reference sweep)",
            30,
            scale,
            SLOPE,
        )


def _reading(evidence: Evidence, fit: Fit) -> Candidate:
    """The one more reading that would tell most of the planned curve."""
    best: tuple[float, Candidate] | None = None
    planned = _planned(evidence, None)
    for speed, rising, tells, noise in readings_to_take(evidence, fit):
        way = "rising" if rising else "falling"
        told = Candidate(f"one more reading at {speed * RPM:.0f} rpm (distributor), {way}", 1, tells, noise)
        gain = narrowing(planned, told.tells, told.uncertainty)
        if best is None or gain > best[0]:
            best = (gain, told)
    assert best is not None  # there are speeds
    return best[1]


def readings_to_take(evidence: Evidence, fit: Fit) -> Iterator[tuple[float, bool, Array, float]]:
    """Readings that could be taken: at which speed [rad/s], rising or falling, what they would show in each state (n,) [rad],
    and with which standard uncertainty [rad]."""
    sweep = fit.model.sweep
    grid = np.linspace(0.8 * float(sweep.speed.min()), 1.1 * float(sweep.speed.max()), SPEEDS)
    by = sweep.reading / SQRT3
    nodes = speed_nodes(grid, sweep.speed_reading)
    for rising in (True, False):
        at = evidence.rising(nodes.ravel()) if rising else evidence.falling(nodes.ravel())
        mean, variance = over_nodes(at.reshape(len(at), SPEEDS, 3))
        for i, speed in enumerate(grid):
            yield float(speed), rising, mean[:, i], float(np.hypot(by, np.sqrt(variance[:, i].mean())))
