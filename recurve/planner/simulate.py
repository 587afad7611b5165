"""What a plan will be once built: the yield, the band of its curve, and which errors cost most (theory, section 8).

Each simulated build draws the unit from what is known of it (the posterior of a sweep, or the ± of the job) and its own
errors from the tolerances of building, by scrambled Sobol sequences.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from recurve.arrays import Array, Mask
from recurve.fit.sobol import rectangular, sobol
from recurve.fit.state import Ensemble
from recurve.job.learned import UnitType
from recurve.job.model import Job
from recurve.physics.curve import Installed
from recurve.physics.ensemble import Curves, Shapes, Units, curves
from recurve.physics.target import Target, passes
from recurve.units import PLACES

# Errors of building that are drawn for each spring, and one more for the stop; the unit's state comes with its own.
ERRORS = ("rate", "initial_tension", "post")
SOURCES = ("mass geometry", "drag and friction", "stop", "spring rates", "initial tension", "post setting",
           "places of the posts")  # fmt: skip
# The source of error that a parameter of the unit's state belongs to.
SOURCE_OF = {
    "drag": "drag and friction",
    "friction": "drag and friction",
    "friction_share": "drag and friction",
    "stop": "stop",
    **{f"{place}.rate": "spring rates" for place in PLACES},
    **{f"{place}.reach": "places of the posts" for place in PLACES},
}
LEAVE = (1.0, 2.0, 3.0)  # a post is left alone within so many times what a reading may be off; which is best is tried
POINTS = 48  # advances of a curve on either side of the second take-up


@dataclass(frozen=True)
class CurveBand:
    """The 5 and 95 % quantiles of curves at `speed` (m,) [rad/s]: `rising` and `falling` (2, m) [rad]."""

    speed: Array
    rising: Array
    falling: Array

    @classmethod
    def of(cls, made: Curves, speed: Array, start: Array | None) -> CurveBand:
        """The band of n curves at `speed` (m,) [rad/s], the rising ones beginning at `start` (n,) [rad]."""
        ends = (0.05, 0.95)
        rising = np.quantile(made.rising_advance(speed, start), ends, axis=0)
        return cls(speed, rising, np.quantile(made.falling_advance(speed), ends, axis=0))


@dataclass(frozen=True)
class Forecast:
    """What the bench will show of the finished unit at each band of the target (m,), by simulated builds: mean and standard
    deviation (2, m) [rad] of the advance, `rising` and `falling`; of the maximum, of the stop."""

    rising: Array
    falling: Array

    @classmethod
    def of(cls, target: Target, made: Curves) -> Forecast:
        """The forecast of n curves, the rising ones beginning at what stays in at idle."""
        stop = made.advance[:, -1]
        speeds = np.array([0.0 if b.speed is None else b.speed for b in target.bands])
        at_stop = np.array([b.speed is None for b in target.bands])
        both = made.rising_advance(speeds, _residual(target, made)), made.falling_advance(speeds)
        sides = [np.where(at_stop, stop[:, None], side) for side in both]
        return cls(*(np.stack((side.mean(axis=0), side.std(axis=0))) for side in sides))


@dataclass(frozen=True)
class Built:
    """Simulated builds of one plan: whether each `passed` (n,). If asked for, also what each source of error costs, as
    (name, yield gained [1] if it were exact) in falling order, the `band` of the curve, and whether each passed once its
    posts were `set_right` (n,) on the bench by the plan's setting speeds, a post being left alone within `leave` [rad];
    `by_type` [1], the share of the curve's variance that goes if what came from a type of unit were exact; and the
    `forecast` of builds set by calliper alone, and of those once set on the bench, `forecast_set`."""

    passed: Mask
    costs: tuple[tuple[str, float], ...] = ()
    band: CurveBand | None = None
    set_right: Mask | None = None
    leave: float | None = None
    by_type: float | None = None
    forecast: Forecast | None = None
    forecast_set: Forecast | None = None

    @property
    def fraction(self) -> float:
        """The yield: the fraction [1] of builds that pass at first setting."""
        return float(self.passed.mean())

    @property
    def fraction_set(self) -> float | None:
        """The fraction [1] of builds that pass once they were set on the bench; None if it was not asked for."""
        return None if self.set_right is None else float(self.set_right.mean())


@dataclass(frozen=True)
class Setting:
    """How a post is set on the bench: bent until the `advance` [rad] is in at the `speed` [rad/s], rising, but left alone where
    the bench shows it within `leave` [rad] of that. A reading of advance may be off by `reading` [rad], of speed by
    `speed_reading` [rad/s], at most."""

    advance: float
    speed: float
    reading: float
    speed_reading: float
    leave: float


def simulate(
    job: Job,
    ensemble: Ensemble,
    springs: tuple[Installed, ...],
    stop: float,
    trimmed: bool,
    count: int,
    speeds: Array | None = None,
    settings: tuple[Setting | None, ...] = (),
) -> Built:
    """Build the plan `count` times (a power of two) and judge every build by the job's target.

    `springs` as planned, in their places; `stop` [rad] as planned, `trimmed` unless it is left as found. With `speeds`
    (m,) [rad/s], the band of the curve and the costs as well; with `settings`, by places, the builds once they were set.
    """
    assert job.target is not None  # a plan has one
    shapes = replace(
        Shapes.of(job.weights, tuple(s.posts.bent(s.bend) for s in springs), float(ensemble.model.shapes.advance[-1])),
        slope=ensemble.model.shapes.slope,
        modes=ensemble.model.shapes.modes,
    )
    errors = sobol(count, len(ERRORS) * len(springs) + 1, 7)
    # Shuffled, since states and errors come from sequences that would otherwise keep step with each other.
    order = np.random.default_rng(5).permutation(max(count, len(ensemble.states)))[:count]
    states = ensemble.states[order % len(ensemble.states)]
    everything = _Draw(job, ensemble, springs, stop, trimmed, states, errors)
    made = curves(shapes, everything.units(frozenset()), POINTS)
    passed = passes(job.target, made)
    if speeds is None:
        return Built(passed)
    few = replace(everything, states=states[: count // 4], errors=errors[: count // 4])
    some = Curves(*(getattr(made, n)[: count // 4] for n in ("advance", "rising", "falling")))
    band = CurveBand.of(some, speeds, _residual(job.target, some))
    right = _set_right(job.target, shapes, everything.units(frozenset()), settings)
    by_type = None if job.kind is None else _by_type(job.kind, shapes, few, speeds)
    costs, forecast = _costs(job.target, shapes, few), Forecast.of(job.target, made)
    if right is None:
        return Built(passed, costs, band, by_type=by_type, forecast=forecast)
    set_right, leave, as_set = right
    return Built(passed, costs, band, set_right, leave, by_type, forecast, Forecast.of(job.target, as_set))


# The source of error that a key of a type belongs to, by its beginning.
OF_TYPE: dict[str, str] = {
    "weights": "mass geometry",
    "springs": "places of the posts",
    "drag": "drag and friction",
    "stop": "stop",
}
TRIM = (("radius",), ("per_mm",))  # of the stop: what a trim does, not where it stands


def _by_type(kind: UnitType, shapes: Shapes, draw: _Draw, speeds: Array) -> float:
    """The share [1] of the planned curve's variance, over the speeds (m,) [rad/s], that is gone if what the job takes from its
    type were exact."""
    exact = frozenset(OF_TYPE[str(k[0])] for k in kind.taken if k[0] in OF_TYPE and k[1:] not in TRIM)

    def variance(left_out: frozenset[str]) -> float:
        made = curves(shapes, draw.units(left_out), POINTS)
        return float(made.rising_advance(speeds).var(axis=0).mean())

    whole = variance(frozenset())
    return 0.0 if whole <= 0.0 else float(np.clip(1.0 - variance(exact) / whole, 0.0, 1.0))


def _set_right(
    target: Target, shapes: Shapes, units: Units, settings: tuple[Setting | None, ...]
) -> tuple[Mask, float, Curves] | None:
    """Which builds pass once they were set on the bench, each post being left alone within what makes most of them pass; that
    [rad], and their curves. None where no setting is asked for."""
    asked = [s for s in settings if s is not None]
    if not asked:
        return None
    tried = []
    for times in LEAVE:
        leave = times * asked[0].reading
        made = set_on_bench(shapes, units, tuple(None if s is None else replace(s, leave=leave) for s in settings))
        as_set = curves(shapes, made, POINTS)
        tried.append((passes(target, as_set), leave, as_set))
    return max(tried, key=lambda one: one[0].mean())


def set_on_bench(shapes: Shapes, units: Units, settings: tuple[Setting | None, ...]) -> Units:
    """Builds (n,) whose posts are bent, the primary's first, until each rising curve goes through what its setting asks, as
    the bench shows it. A post stays where it was if the bench shows it near enough: bending it then would only put the
    reading's error in place of the calliper's. So does one of which no spring could do it."""
    errors = sobol(len(units.stop), 2 * len(settings), 13)
    for place, one in enumerate(settings):
        if one is None:
            continue
        off = [rectangular(u, 1.0) for u in errors[:, 2 * place : 2 * place + 2].T]
        at, speed = one.advance + one.reading * off[0], one.speed + one.speed_reading * off[1]
        stretch = stretch_through(shapes, units, place, np.maximum(at, 0.0), np.maximum(speed, 0.0))
        shows = curves(shapes, units, POINTS).rising_advance(speed[:, None])[:, 0] - one.reading * off[0]
        bent = (np.abs(shows - one.advance) > one.leave) & np.isfinite(stretch) & (at < units.stop)
        made = units.stretch.copy()
        made[:, place] = np.where(bent, stretch, made[:, place])
        units = replace(units, stretch=made)
    return units


def stretch_through(shapes: Shapes, units: Units, place: int, at: Array, speed: Array) -> Array:
    """The stretch at rest (n,) [m] of a spring with which the rising curve of each unit reaches the advance `at` [rad] at the
    `speed` [rad/s]; nan where the spring would have to push."""

    def read(table: Array) -> Array:
        return np.interp(at, shapes.advance, table)

    slope = read(shapes.slope)
    for i, mode in enumerate(shapes.modes):
        slope = slope * np.exp(units.modes[:, i] * read(mode))
    moment = 0.5 * speed**2 * slope * (1.0 - units.friction_share) - units.drag - units.friction
    for other in range(len(shapes.stretch)):
        if other != place:
            drawn = units.stretch[:, other] + units.reaching(other) * read(shapes.stretch[other])
            pull = np.where(drawn >= 0.0, units.tension[:, other] + units.rate[:, other] * drawn, 0.0)
            moment = moment - pull * units.reaching(other) * read(shapes.lever[other])
    pull = moment / (units.reaching(place) * read(shapes.lever[place]))
    drawn = (pull - units.tension[:, place]) / units.rate[:, place]
    return np.where(drawn >= 0.0, drawn - units.reaching(place) * read(shapes.stretch[place]), np.nan)


def as_found_band(ensemble: Ensemble, speeds: Array, count: int = 1024) -> CurveBand:
    """The band of the unit as found at speeds (m,) [rad/s], rising from a standstill as on the bench."""
    made = curves(ensemble.model.shapes, ensemble.model.units(ensemble.states[:count]), POINTS)
    return CurveBand.of(made, speeds, made.at_standstill())


@dataclass(frozen=True)
class _Draw:
    """One drawing of builds: states (n, size) of the unit, and uniform numbers (n, errors) for building."""

    job: Job
    ensemble: Ensemble
    springs: tuple[Installed, ...]
    stop: float
    trimmed: bool
    states: Array
    errors: Array

    def units(self, exact: frozenset[str]) -> Units:
        """The builds, with the sources of error in `exact` left out."""
        states = self._states(exact)
        unit, natural = self.ensemble.model.units(states), self.ensemble.model.natural(states)
        columns = [self._spring(i, unit, natural, exact) for i in range(len(self.springs))]
        rate, stretch, tension = (np.stack(parts, axis=1) for parts in zip(*columns, strict=True))
        return replace(unit, rate=rate, stretch=stretch, tension=tension, stop=self._stops(unit.stop, exact))

    def _states(self, exact: frozenset[str]) -> Array:
        """The states, with the parameters of the sources in `exact` at their middle."""
        if not exact:
            return self.states
        model = self.ensemble.model
        sources = SOURCE_OF | {f"mode {i}": "mass geometry" for i in range(len(model.shapes.modes))}
        states = self.states.copy()
        for i, parameter in enumerate(model.parameters):
            if sources.get(parameter.name) in exact:
                states[:, i] = self.ensemble.middle[i]
        return states

    def _spring(self, index: int, unit: Units, natural: Array, exact: frozenset[str]) -> tuple[Array, Array, Array]:
        """Rate [N/m], stretch at rest [m] and initial tension [N] of a planned spring in every build, (n,) each."""
        one, limits, nothing = self.springs[index], self.job.build, np.zeros(len(self.states))
        uniform = self.errors[:, len(ERRORS) * index : len(ERRORS) * (index + 1)]
        off = [rectangular(u, 1.0) for u in uniform.T]
        post = nothing if "post setting" in exact else off[2] * limits.post
        found = next((k for k, p in enumerate(self.job.places) if p.found is one.spring), None)
        if found is not None and found < unit.rate.shape[1]:
            # The same spring as swept: its own rate and length, not a maker's tolerance.
            rest = float(self.job.places[found].posts.length(0.0)[0])
            here = float(one.posts.length(0.0, one.bend)[0])
            stretch = self.ensemble.model.column(natural, f"{PLACES[found]}.stretch") + here - rest + post
            return unit.rate[:, found], stretch, nothing + one.spring.initial_tension
        rate_limit = limits.rate if one.spring.rate_limit is None else one.spring.rate_limit
        rate = one.spring.rate * (1.0 + (nothing if "spring rates" in exact else off[0] * rate_limit))
        stretch = float(one.length(0.0)[0]) - one.spring.free_length + post
        # A spring wound without initial tension has none that could be off.
        if one.spring.initial_tension <= 0:
            return rate, stretch, nothing
        given = one.spring.tension_limit
        tension_limit = limits.initial_tension if given is None else given
        error = nothing if "initial tension" in exact else off[1] * tension_limit
        return rate, stretch, np.maximum(one.spring.initial_tension + error, 0.0)

    def _stops(self, as_found: Array, exact: frozenset[str]) -> Array:
        if not self.trimmed:
            return as_found
        # A trimmed stop is checked against the degree wheel, so what it was no longer matters.
        error = rectangular(self.errors[:, -1], self.job.build.stop * self.job.stop.per_mm)
        return np.full(len(as_found), self.stop) + (0.0 if "stop" in exact else error)


def _residual(target: Target, made: Curves) -> Array | None:
    """What stays in at idle (n,) [rad], which is where a rising curve begins; None if the target names no idle."""
    return None if target.idle_speed is None else made.falling_advance(np.array([target.idle_speed]))[:, 0]


def _costs(target: Target, shapes: Shapes, draw: _Draw) -> tuple[tuple[str, float], ...]:
    """How much the yield gains if one source of error is made exact, in falling order."""

    def fraction(exact: frozenset[str]) -> float:
        return float(passes(target, curves(shapes, draw.units(exact), POINTS)).mean())

    base = fraction(frozenset())
    gains = [(source, fraction(frozenset({source})) - base) for source in SOURCES]
    return tuple(sorted(gains, key=lambda g: -g[1]))
