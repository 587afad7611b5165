"""What a plan will be when it is built: the yield, the band of its curve, and what costs most (theory, section 8).

Each build draws the unit from what is known of it (the posterior of a sweep, or the ± of the job) and its
own errors from the tolerances of building, all by one scrambled Sobol sequence.

Points against an electronic trigger: the drag goes, or comes; the plan is made for what will be fitted.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from recurve.arrays import Array
from recurve.fit.model import Parameter
from recurve.fit.state import Ensemble, rectangular, sobol
from recurve.job.model import Job
from recurve.physics.curve import Installed, Trace, trace
from recurve.physics.ensemble import Curves, Shapes, Units, curves
from recurve.physics.target import Target
from recurve.units import PLACES, RPM, SQRT3

# What is drawn: five building errors for each of two springs and the stop; the unit's state comes with its own.
ERRORS = ("rate", "initial_tension", "post")
GROUPS = ("mass geometry", "drag and friction", "stop", "spring rates", "initial tension", "post setting")
POINTS = 48


@dataclass(frozen=True)
class CurveBand:
    """The 5 and 95 % ends of curves at `speed` (m,) [rad/s]: `rising` and `falling` (2, m) [rad]."""

    speed: Array
    rising: Array
    falling: Array

    @classmethod
    def of(cls, made: Curves, speed: Array, start: Array | None) -> CurveBand:
        """Of n curves, the rising ones beginning at `start` (n,) [rad]."""
        ends = (0.05, 0.95)
        rising = np.quantile(made.rising_advance(speed, start), ends, axis=0)
        return cls(speed, rising, np.quantile(made.falling_advance(speed), ends, axis=0))


@dataclass(frozen=True)
class Built:
    """Simulated builds of one plan: `passed` (n,); where asked for also what each source of error costs, as (name,
    yield gained [1] if it were exact), the worst first, and the curve's `band`."""

    passed: np.ndarray
    costs: tuple[tuple[str, float], ...] = ()
    band: CurveBand | None = None

    @property
    def share(self) -> float:
        """The yield [1]."""
        return float(self.passed.mean())


def simulate(
    job: Job,
    plant: Ensemble,
    springs: tuple[Installed, ...],
    stop: float,
    trimmed: bool,
    count: int,
    speeds: Array | None = None,
) -> Built:
    """Build the plan `count` times (a power of two) and judge every build by the job's target.

    springs as planned, in their places; stop [rad] as planned, `trimmed` if it is not left as found; with
    `speeds` (m,) [rad/s] also the curve's band and the costs.
    """
    assert job.target is not None  # a plan has one
    shapes = replace(
        Shapes.of(job.weights, tuple(s.posts.bent(s.bend) for s in springs), float(plant.model.shapes.advance[-1])),
        slope=plant.model.shapes.slope,
        modes=plant.model.shapes.modes,
    )
    errors = sobol(count, len(ERRORS) * len(springs) + 1, 7)
    # Shuffled, since states and errors come from sequences that would else keep step with each other.
    order = np.random.default_rng(5).permutation(max(count, len(plant.states)))[:count]
    states = plant.states[order % len(plant.states)]
    everything = _Draw(job, plant, springs, stop, trimmed, states, errors)
    made = curves(shapes, everything.units(frozenset()), POINTS)
    passed = passes(job.target, made)
    if speeds is None:
        return Built(passed)
    few = _Draw(job, plant, springs, stop, trimmed, states[: count // 4], errors[: count // 4])
    some = Curves(*(getattr(made, n)[: count // 4] for n in ("advance", "rising", "falling")))
    band = CurveBand.of(some, speeds, _residual(job.target, some))
    return Built(passed, _costs(job.target, shapes, few), band)


def as_found_band(plant: Ensemble, speeds: Array, count: int = 1024) -> CurveBand:
    """The band of the unit as found at speeds (m,) [rad/s], rising from a standstill as on the bench."""
    made = curves(plant.model.shapes, plant.model.units(plant.states[:count]), POINTS)
    return CurveBand.of(made, speeds, made.falling_advance(np.zeros(1))[:, 0])


@dataclass(frozen=True)
class _Draw:
    """One drawing of builds: states (n, size) of the unit and uniform numbers (n, errors) for the building."""

    job: Job
    plant: Ensemble
    springs: tuple[Installed, ...]
    stop: float
    trimmed: bool
    states: Array
    errors: Array

    def units(self, exact: frozenset[str]) -> Units:
        """The builds, those sources of error in `exact` left out."""
        model, limits = self.plant.model, self.job.build
        states = self._states(exact)
        unit, x = model.units(states), model.natural(states)
        columns: dict[str, list[Array]] = {"rate": [], "stretch": [], "tension": []}
        for i, one in enumerate(self.springs):
            uniform = self.errors[:, len(ERRORS) * i : len(ERRORS) * (i + 1)]
            off = [rectangular(u, 1.0) for u in uniform.T]
            post = 0.0 if "post setting" in exact else off[2] * limits.post
            found = next((k for k, p in enumerate(self.job.places) if p.found is one.spring), None)
            if found is not None and found < unit.rate.shape[1]:
                # The same spring as swept: its own rate and length, not a maker's tolerance.
                rest = float(self.job.places[found].posts.length(0.0)[0])
                here = float(one.posts.length(0.0, one.bend)[0])
                columns["rate"].append(unit.rate[:, found])
                columns["stretch"].append(model.column(x, f"{PLACES[found]}.stretch") + here - rest + post)
                columns["tension"].append(np.full(len(states), one.spring.initial_tension))
                continue
            rate = one.spring.rate * (1.0 if "spring rates" in exact else 1.0 + off[0] * limits.rate)
            tension = one.spring.initial_tension + (
                0.0 if "initial tension" in exact else off[1] * limits.initial_tension
            )
            stretch = float(one.length(0.0)[0]) - one.spring.free_length + post
            columns["rate"].append(rate + np.zeros(len(states)))
            columns["stretch"].append(stretch + np.zeros(len(states)))
            # A spring wound without initial tension has none to be off.
            wound = one.spring.initial_tension > 0
            columns["tension"].append((np.maximum(tension, 0.0) if wound else 0.0) + np.zeros(len(states)))
        made = {name: np.stack(parts, axis=1) for name, parts in columns.items()}
        return replace(unit, **made, stop=self._stops(unit.stop, exact))

    def _stops(self, as_found: Array, exact: frozenset[str]) -> Array:
        if not self.trimmed:
            return as_found
        # A trimmed stop is checked against the degree wheel, so what it was no longer matters.
        error = rectangular(self.errors[:, -1], self.job.build.stop * self.job.stop.per_mm)
        return np.full(len(as_found), self.stop) + (0.0 if "stop" in exact else error)

    def _states(self, exact: frozenset[str]) -> Array:
        if not exact:
            return self.states
        states = self.states.copy()
        groups = {
            "drag": "drag and friction",
            "friction": "drag and friction",
            "friction_share": "drag and friction",
            "stop": "stop",
        }
        for i, parameter in enumerate(self.plant.model.parameters):
            name = parameter.name
            group = (
                "mass geometry"
                if name.startswith("mode ")
                else "spring rates"
                if name.endswith(".rate")
                else groups.get(name)
            )
            if group in exact:
                states[:, i] = self.plant.middle[i]
        return states


def passes(target: Target, made: Curves) -> np.ndarray:
    """Which of n curves lie inside every band, rising and falling, (n,)."""
    timed = target.timed
    speeds = np.array([b.speed for b in timed], float)
    low, high = (np.array([getattr(b, end) for b in timed]) for end in ("low", "high"))
    rising = made.rising_advance(speeds, _residual(target, made))
    falling = made.falling_advance(speeds)
    small = 1e-9
    # Below idle speed what stays in at idle lies above the falling curve.
    least, most = np.minimum(rising, falling), np.maximum(rising, falling)
    inside = ((least >= low - small) | (low <= 0)) & (most <= high + small)
    good = inside.all(axis=1)
    if target.maximum is not None:
        stop = made.advance[:, -1]
        good &= (stop >= target.maximum.low - small) & (stop <= target.maximum.high + small)
    return np.asarray(good)


def _residual(target: Target, made: Curves) -> Array | None:
    """What stays in at idle (n,) [rad]: where a rising curve begins."""
    return None if target.idle_speed is None else made.falling_advance(np.array([target.idle_speed]))[:, 0]


def _costs(target: Target, shapes: Shapes, draw: _Draw) -> tuple[tuple[str, float], ...]:
    """How much the yield gains when one source of error is made exact, the largest first."""
    base = float(passes(target, curves(shapes, draw.units(frozenset()), POINTS)).mean())
    gains = []
    for group in GROUPS:
        better = float(passes(target, curves(shapes, draw.units(frozenset({group})), POINTS)).mean())
        gains.append((group, better - base))
    return tuple(sorted(gains, key=lambda g: -g[1]))


UNKNOWN = 0.25  # of the drag of points that are not there yet, as a limit; common practice, no source


def as_fitted(job: Job) -> Job:
    """The job with the trigger that will be in it: an electronic one does not drag the cam back, points do."""
    if job.trigger_fitted == job.trigger:
        return job
    drag = 0.0 if job.trigger_fitted == "electronic" else job.points_drag
    return replace(job, trigger=job.trigger_fitted, drag=replace(job.drag, rubbing_block=drag))


def fitted_plant(plant: Ensemble, job: Job) -> Ensemble:
    """The states of the unit as found with the drag of the trigger that will be fitted; `job` as found, `idle` [rad/s]."""
    if job.trigger_fitted == job.trigger:
        return plant
    index = next(i for i, p in enumerate(plant.model.parameters) if p.name == "drag")
    states, middle = plant.states.copy(), plant.middle.copy()
    middle[index] = 0.0
    if job.trigger_fitted == "electronic":
        drag, states[:, index] = Parameter("drag", 0.0, 1e-9, 0.0, 1e-6, True), 0.0
    else:
        limit = job.limits.get("drag.rubbing_block", UNKNOWN * job.points_drag)
        drag = Parameter("drag", job.points_drag, max(limit, 1e-9) / SQRT3, 0.0, 0.1, True)
        states[:, index] = rectangular(np.random.default_rng(17).uniform(size=len(states)), SQRT3)
    parameters = tuple(drag if i == index else p for i, p in enumerate(plant.model.parameters))
    return replace(plant, model=replace(plant.model, parameters=parameters), states=states, middle=middle)


@dataclass(frozen=True)
class Shift:
    """The springs that are in it, before and after another trigger: the curve, and what stays in [rad] at idle."""

    trigger: str
    before: Trace
    after: Trace
    residual: Array

    @property
    def words(self) -> str:
        """How far the onset moves, in distributor rpm."""
        onsets = ["none" if o is None else f"{o * RPM:.0f} rpm" for o in (self.before.onset, self.after.onset)]
        what = "an electronic trigger" if self.trigger == "electronic" else "points"
        told = (
            f"With {what} fitted the springs as found would begin at {onsets[1]} instead of {onsets[0]} (distributor); "
            f"the maximum stays {np.degrees(self.after.stop):.1f}°."
        )
        stays = np.degrees(self.residual)
        if stays[1] > stays[0] + 0.05:
            told += f" At idle {stays[1]:.1f}° would stay in instead of {stays[0]:.1f}°: the drag helped it home."
        return told


def shift_of(job: Job, idle: float) -> Shift | None:
    """What another trigger does to the springs as found, `idle` [rad/s]; None where nothing changes or they are not
    described."""
    before, after = job.as_found(), as_fitted(job).as_found()
    if job.trigger == job.trigger_fitted or before is None or after is None:
        return None
    curves = trace(before), trace(after)
    residual = np.array([float(c.falling_advance(idle)) for c in curves])
    return Shift(job.trigger_fitted, *curves, residual)


def conversion_notes(job: Job, idle: float) -> list[str]:
    """What must be said aloud of a change of trigger; `job` as found, `idle` [rad/s]."""
    if job.trigger == job.trigger_fitted:
        return []
    shift = shift_of(job, idle)
    plan = f"The plan is for a unit with {'an electronic trigger' if job.trigger_fitted == 'electronic' else 'points'}."
    return [plan] if shift is None else [f"{shift.words} {plan}"]
