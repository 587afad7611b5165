"""What a sweep should read in each state of a unit: parameters, their priors, and predictions for many states at once.

A state is a vector of numbers that are all of order 1 (theory, equation 2): each is a parameter less its prior's
middle, in prior standard uncertainties. Rates are logarithmic, so that they stay positive. The uncertain mass geometry
enters as a few modes: independent relative changes of I′(α), found from the ± of what was measured.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from recurve.arrays import Array
from recurve.data import default, ranges
from recurve.fit.priors import (
    TENSIONS,
    Fact,
    resistance_parameters,
    spring_facts,
    spring_parameters,
    stop_parameter,
    tension_parameters,
    zero_parameter,
)
from recurve.job.model import Job
from recurve.physics.ensemble import Curves, Shapes, Units, curves, takeups
from recurve.physics.mechanism import RadiusTable, ReferenceSlope
from recurve.physics.sweep import Sweep
from recurve.uncertainty import (
    Prior,
    over_nodes,
)
from recurve.units import PLACES, SQRT3

MOST_MODES = 3
CLEAN_SPREAD = 2.0  # standard uncertainty of an unmeasured friction, in those of a clean unit: it may not be that clean
# A mode that changes I′ by less than this anywhere is left out.
LEAST = 1e-3
KINDS = ((0.0,), (0.0, 0.2, 0.6, 1.0))  # fractions of the stop by which take-ups are told apart, primary and secondary
FINE_KINDS = ((0.0, 0.1, 0.2, 0.35), (0.0, 0.1, 0.2, 0.3, 0.4, 0.55, 0.7, 0.85, 1.0))


def slope_modes(job: Job, advance: Array) -> Array:
    """Relative changes of I′ at the advances (p,) [rad] by one standard uncertainty each, (modes, p).

    Every measured quantity of the weights is moved by its standard uncertainty; the changes, which are many
    and alike, are then gathered into at most three independent ones that say the same of the advances that the unit can
    reach (singular values). Near a dead point beyond them the changes are large, and would crowd out all others.
    Where no ± is given at all, I′ as a whole is taken as uncertain by the default of `data/ranges.toml`.
    I′ from a reference sweep brings its own uncertainty.
    """
    if isinstance(job.weights.motion, ReferenceSlope):
        return _reference_modes(job.weights.motion, advance, job.stop.limits[1])
    changes = [*_table_changes(job, advance), *_measured_changes(job, advance)]
    if not changes:
        return np.full((1, len(advance)), float(ranges()["fit"]["mass_geometry"]["value"]))
    whole = np.stack(changes)
    within = advance <= max(job.stop.limits[1], float(advance[1]))
    turned, _, _ = np.linalg.svd(whole[:, within], full_matrices=False)
    modes = turned.T @ whole
    kept = [_positive(mode) for mode in modes[:MOST_MODES] if np.abs(mode[within]).max() > LEAST]
    return np.stack(kept) if kept else np.zeros((0, len(advance)))


def _reference_modes(motion: ReferenceSlope, advance: Array, reach: float) -> Array:
    """The sweep's own changes, gathered so that they tell most of what is uncertain up to `reach` [rad].

    What the modes left out would add is laid on those kept, so that the uncertainty of I′ stays the sweep's at
    every advance: a fit and a yield must not take it for better known than it is.
    """
    changes = motion.changes(advance)
    whole = np.sqrt((changes**2).sum(axis=0))
    within = advance <= reach
    turned, _, _ = np.linalg.svd(changes[:, within] / whole[within], full_matrices=False)
    modes = (turned.T @ changes)[:MOST_MODES]
    modes = modes * whole / np.maximum(np.sqrt((modes**2).sum(axis=0)), 1e-12)
    return np.stack([_positive(mode) for mode in modes])


def _positive(mode: Array) -> Array:
    """A mode's sign is free: more I′ on the whole counts as +."""
    return mode if mode.sum() >= 0 else -mode


def _table_changes(job: Job, advance: Array) -> list[Array]:
    """By each row of a table of radii."""
    motion = job.weights.motion
    if not isinstance(motion, RadiusTable):
        return []
    r, dr = motion.radius(advance)
    return [effect / SQRT3 / (2 * r * dr) for effect in motion.row_effects(advance)]


def _measured_changes(job: Job, advance: Array) -> list[Array]:
    """By each quantity of the weights that has a ±, as long as the weights still work with it."""
    middle = job.weights.inertia_slope(advance)
    slopes = (moved.inertia_slope(advance) for moved in job.measured.weights.moved())
    return [slope / middle - 1.0 for slope in slopes if np.isfinite(slope).all()]


TRIAL_ADVANCES = 56  # advances of a trial curve
BEYOND = 1.35  # times the farthest that stop or readings reach: so far weights and posts are tabulated
STEADY = 0.1  # a change of I′ by one standard uncertainty that is none of a dead point's


@dataclass(frozen=True)
class SweepModel:
    """The unit's `shapes`, the `parameters` of a state in their order, the `sweep`, the springs' initial tensions
    `tension` (places,) [N], for those that are no parameters, and the `facts` that are known of the springs besides.
    `first` is the place whose spring takes up before the other, of two that are not described."""

    shapes: Shapes
    parameters: tuple[Prior, ...]
    sweep: Sweep
    tension: Array
    facts: tuple[Fact, ...] = ()
    first: int = 0

    @property
    def size(self) -> int:
        """Number of parameters of a state."""
        return len(self.parameters)

    @property
    def swept(self) -> np.ndarray:
        """The advances of the shapes that the sweep has been through (p,) (bool); at least the first two."""
        return np.asarray(self.shapes.advance <= max(float(self.sweep.advance.max()), float(self.shapes.advance[1])))

    @cached_property
    def _prior(self) -> tuple[Array, Array]:
        """Middles and spreads (size,) of the priors."""
        return np.array([p.middle for p in self.parameters]), np.array([p.spread for p in self.parameters])

    @cached_property
    def _place(self) -> dict[str, int]:
        """Where each parameter stands in a state."""
        return {p.name: i for i, p in enumerate(self.parameters)}

    def natural(self, states: Array) -> Array:
        """States (n, size) as parameters in their natural units [SI, or log of it]."""
        middle, spread = self._prior
        return np.asarray(middle + states * spread)

    def bounds(self) -> tuple[Array, Array]:
        """Least and most of each number of a state, (size,) [1]."""
        ends = [((p.least - p.middle) / p.spread, (p.most - p.middle) / p.spread) for p in self.parameters]
        low, high = np.array(ends).T
        return low, high

    def prior_deviation(self) -> Array:
        """Standard deviations (size,) [1] of a state's numbers before any reading: below 1 where a bound cuts off."""
        from scipy.special import ndtr, ndtri

        low, high = (ndtr(x) for x in self.bounds())
        inside = ndtri(np.clip(low + (high - low) * (np.arange(500)[:, None] + 0.5) / 500, 1e-15, 1 - 1e-15))
        return np.asarray(inside.std(axis=0))

    def column(self, natural: Array, name: str) -> Array:
        """One parameter (n,) by name, in its natural unit [SI, or log of it]."""
        return np.asarray(natural[:, self._place[name]])

    def units(self, states: Array) -> Units:
        """The states (n, size) [1] as units that can be computed."""
        x = self.natural(states)
        places = PLACES[: len(self.tension)]
        modes = [f"mode {i}" for i in range(len(self.shapes.modes))]
        none = np.zeros((len(x), 0))
        return Units(
            rate=np.exp(np.stack([self.column(x, f"{p}.rate") for p in places], axis=1)),
            stretch=np.stack([self.column(x, f"{p}.stretch") for p in places], axis=1),
            tension=self._tension(x),
            drag=self.column(x, "drag"),
            friction=self.column(x, "friction"),
            friction_share=self.column(x, "friction_share"),
            stop=self.column(x, "stop"),
            modes=np.stack([self.column(x, name) for name in modes], axis=1) if modes else none,
            reach=self._reach(x),
        )

    def _reach(self, natural: Array) -> Array | None:
        """How many times farther than drawn the posts part with advance (n, places) [1]; None where no place has a ±."""
        names = [f"{p}.reach" for p in PLACES[: len(self.tension)]]
        if not any(name in self._place for name in names):
            return None
        one = np.ones(len(natural))
        return np.stack([np.exp(self.column(natural, n)) if n in self._place else one for n in names], axis=1)

    def takeups(self, natural: Array, place: int) -> Array:
        """Where the spring in a place takes up (n,) [rad], of states in natural units: 0 from rest, inf past the table."""
        stretch, reach = self.column(natural, f"{PLACES[place]}.stretch"), self._reach(natural)
        return takeups(self.shapes, stretch if reach is None else stretch / reach[:, place], place)

    def _tension(self, natural: Array) -> Array:
        """Initial tensions (n, places) [N]: as described, or, of a spring of which they are not known, of the state."""
        tension = np.tile(self.tension, (len(natural), 1))
        for place in range(len(self.tension)):
            if TENSIONS[place] in self._place:
                tension[:, place] = self.column(natural, TENSIONS[place])
        return tension

    def off_facts(self, states: Array) -> Array:
        """What was measured of the springs by themselves less what the states make it, in standard uncertainties,
        (n, facts) [1]."""
        if not self.facts:
            return np.zeros((len(states), 0))
        natural = self.natural(states)
        tension = self._tension(natural)
        return np.stack([(f.value - self._made(f, natural, tension)) / f.uncertainty for f in self.facts], axis=1)

    def _made(self, fact: Fact, natural: Array, tension: Array) -> Array:
        """What the states make of a fact, (n,) [its unit]."""
        stretch = self.column(natural, f"{PLACES[fact.place]}.stretch")
        if fact.kind == "takeup":
            return np.asarray(np.minimum(self.takeups(natural, fact.place), self.shapes.advance[-1]))
        rate = np.exp(self.column(natural, f"{PLACES[fact.place]}.rate"))
        pull = tension[:, fact.place] + rate * (stretch + fact.beyond)
        return np.asarray(np.where(stretch + fact.beyond < 0.0, 0.0, pull) if fact.may_be_slack else pull)

    @property
    def unswept(self) -> SweepModel:
        """The same unit with nothing read of it."""
        return replace(self, sweep=_nothing_read())

    def predict(self, states: Array) -> tuple[Array, Array]:
        """Reading expected and variance by the uncertainty of speed, (n, readings) each [rad, rad²]."""
        made = curves(self.shapes, self.units(states), TRIAL_ADVANCES)
        sweep, n = self.sweep, len(states)
        speeds = sweep.nodes()
        at = np.empty((n, len(sweep.speed), 3))
        start, up = made.at_standstill(), np.asarray(sweep.rising, bool)
        zeroed = [] if sweep.zeroed_at is None else [sweep.zeroed_at]
        # One call for all of the rising curve: its readings, its highest advance, and the speed of the zero.
        got = made.rising_advance(np.concatenate([speeds[up].ravel(), [sweep.speed.max()], zeroed]), start)
        readings = 3 * int(up.sum())
        at[:, up] = got[:, :readings].reshape(n, -1, 3)
        if not up.all():
            at[:, ~up] = made.falling_advance(speeds[~up].ravel(), got[:, readings]).reshape(n, -1, 3)
        mean, variance = over_nodes(at)
        shift = self.column(self.natural(states), "zero") + (got[:, -1] if zeroed else 0.0)
        return mean - shift[:, None], variance

    def hidden(self, states: Array) -> Array:
        """Advance that the bench's zero hides (n,) [rad], true advance less reading: the zero's own error, and the advance
        that was already in where the zero was taken."""
        zero = self.column(self.natural(states), "zero")
        if self.sweep.zeroed_at is None:
            return zero
        made = curves(self.shapes, self.units(states), TRIAL_ADVANCES)
        return np.asarray(zero + made.rising_advance(np.array([self.sweep.zeroed_at]), made.at_standstill())[:, 0])

    def misfit(self, states: Array) -> tuple[Array, Array]:
        """Standardised residuals (n, readings) [1] and their standard uncertainties [rad]."""
        mean, variance = self.predict(states)
        sigma = np.sqrt(self.sweep.variance(variance))
        return (self.sweep.advance - mean) / sigma, sigma

    def residuals(self, states: Array) -> Array:
        """What least squares minimises (n, readings + facts + size) [1]: standardised residuals, what was measured of the
        springs by themselves, then the state itself, which the priors hold to 0."""
        return np.concatenate([self.misfit(states)[0], self.off_facts(states), states], axis=1)

    def log_density(self, states: Array) -> Array:
        """Log of the posterior density (n,) [1], up to a constant; −inf outside the bounds."""
        low, high = self.bounds()
        inside = ((states >= low) & (states <= high)).all(axis=1) & self._in_order(states)
        result = np.full(len(states), -np.inf)
        if inside.any():
            kept = states[inside]
            residual, sigma = self.misfit(kept)
            known = 0.5 * (self.off_facts(kept) ** 2).sum(axis=1) + 0.5 * (kept**2).sum(axis=1)
            result[inside] = -0.5 * (residual**2).sum(axis=1) - np.log(sigma).sum(axis=1) - known
        return result

    @property
    def springs_known(self) -> bool:
        """Whether rate and stretch of every spring were measured."""
        return all(p.measured for p in self.parameters if p.name.endswith((".rate", ".stretch")))

    def zeroed(self, states: Array) -> Array:
        """The states (n, size) [1] with the error of the zero that suits the readings best. The readings are linear in it."""
        residual, sigma = self.misfit(states)
        place = self._place["zero"]
        pull = self.parameters[place].spread / sigma
        best = states.copy()
        best[:, place] -= ((residual * pull).sum(axis=1) + states[:, place]) / ((pull**2).sum(axis=1) + 1.0)
        return best

    def kind(self, states: Array, edges: tuple[tuple[float, ...], ...] = KINDS) -> Array:
        """A number (n,) [1] for the kind of answer each state is: primary slack or not; secondary from rest, early, midway,
        late, never. `edges`: for each place, between which fractions of the stop [1] take-ups are told apart."""
        natural = self.natural(states)
        stop = self.column(natural, "stop")
        sort = np.zeros(len(states), int)
        for index in range(len(self.tension)):
            at = self.takeups(natural, index) / stop
            sort = (1 + len(edges[index])) * sort + np.searchsorted(edges[index], at)
        return sort

    def _in_order(self, states: Array) -> np.ndarray:
        """Where the spring of the place `first` takes up first (n,): two undescribed springs must not change places."""
        described = all(self.parameters[self._place[f"{p}.stretch"]].measured for p in PLACES[: len(self.tension)])
        if len(self.tension) < 2 or described:
            return np.ones(len(states), bool)
        natural = self.natural(states)
        return np.asarray(self.takeups(natural, self.first) <= self.takeups(natural, 1 - self.first))


def ends(made: Curves, sweep: Sweep) -> tuple[Array, Array]:
    """The advance at which a rising sweep begins, which is what stays in at a standstill, and the highest advance, from
    which a falling sweep begins; (n,) [rad] each."""
    start = made.at_standstill()
    return start, made.rising_advance(np.array([sweep.speed.max()]), start)[:, 0]


def sweep_model(job: Job) -> SweepModel:
    """The model of the job's sweep; the job must have one."""
    assert job.sweep is not None  # the caller has asked
    grid = Shapes.grid(_bound_reach(job, float(job.sweep.advance.max())))
    modes = slope_modes(job, grid)
    posts = tuple(p.posts for p in job.places)
    shapes = Shapes.of(job.weights, posts, float(grid[-1]), modes)
    parameters = [p for i, name in enumerate(PLACES[: len(posts)]) for p in spring_parameters(job, i, name)]
    parameters += [p for i in range(len(posts)) for p in tension_parameters(job, i)]
    parameters += resistance_parameters(job)
    parameters.append(stop_parameter(job, float(grid[-1])))
    parameters.append(zero_parameter(job))
    parameters += [Prior(f"mode {i}", 0.0, 1.0, -5.0, 5.0) for i in range(len(modes))]
    # Only where the places of posts come with a ±; else they are taken as exact.
    spreads = zip(PLACES, job.measured.reaches, strict=False)
    parameters += [Prior(f"{p}.reach", 0.0, by, -5 * by, 5 * by, True) for p, by in spreads if by > 0.0]
    tension = np.array([0.0 if p.found is None else p.found.initial_tension for p in job.places])
    facts = tuple(f for i in range(len(posts)) for f in spring_facts(job, i))
    return SweepModel(shapes, tuple(parameters), job.sweep, tension, facts)


def unswept_model(job: Job) -> SweepModel:
    """The model of a job of which nothing was read. Friction that was not measured is then that of a unit which is cleaned
    and oiled before it is built, as the sheet asks: a sweep would show it, and there is none."""
    model = sweep_model(replace(job, sweep=_nothing_read()))
    clean = CLEAN_SPREAD * default("clean", "friction", "moment")
    return replace(
        model,
        parameters=tuple(
            replace(p, spread=clean) if p.name == "friction" and not p.measured else p for p in model.parameters
        ),
    )


def _nothing_read() -> Sweep:
    """A sweep that tells nothing: one reading that may be off by any angle."""
    nothing = np.zeros(1)
    return Sweep(nothing + 1.0, nothing, nothing == 0, nothing, file="", reading=1e3, speed_reading=1e-6)


def _bound_reach(job: Job, highest: float) -> float:
    """How far [rad] weights and posts are tabulated: past the stop and the `highest` reading [rad], but no farther than the
    mechanism itself goes, nor to a dead point beyond them, where I′ hangs on hundredths of a millimetre."""
    needed = max(job.stop.limits[1], highest)
    reach = BEYOND * needed
    for _ in range(20):
        grid = np.linspace(0.0, reach, 64)
        slope = job.weights.inertia_slope(grid)
        if np.isfinite(slope).all() and (slope > 0).all() and (reach <= needed or _steady(job, grid, slope)):
            return reach
        reach = max(0.97 * reach, job.stop.limits[1])
    return job.stop.limits[1]


def _steady(job: Job, advance: Array, slope: Array) -> bool:
    """Whether no measured quantity of the weights, moved by its uncertainty, changes I′ much more beyond the stop than before
    it; I′ `slope` (p,) at the advances (p,) [rad]."""
    beyond = advance > job.stop.limits[1]
    for moved in job.measured.weights.moved():
        change = np.abs(moved.inertia_slope(advance) / slope - 1.0)
        if not (change[beyond] <= max(STEADY, 2.0 * float(change[~beyond].max()))).all():  # nan is not steady either
            return False
    return True
