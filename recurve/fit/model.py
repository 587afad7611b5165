"""What a sweep should read, given the state of a unit: priors, parameters, predictions for many states at once.

A state is a vector of numbers that are all of order 1 (theory, equation 2): each is a parameter less its prior's
middle, in prior standard uncertainties. Rates are logarithmic, so that they stay positive.

How far the mass geometry may be off: relative changes of I′(α) by what was measured with a ±.
"""

from __future__ import annotations

import copy
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from recurve.arrays import Array
from recurve.data import default, ranges
from recurve.job import schema as m
from recurve.job.build import JobReader
from recurve.job.model import Job, Sweep
from recurve.physics.ensemble import Curves, Shapes, Units, curves, takeups
from recurve.physics.mechanism import RadiusTable, ReferenceSlope
from recurve.units import PLACES, SQRT3

MOST_MODES = 3
# A mode that changes I′ by less than this anywhere is left out.
LEAST = 1e-3


def slope_modes(job: Job, advance: Array) -> Array:
    """Relative changes of I′ at the advances (p,) [rad] by one standard uncertainty each, (modes, p).

    Every measured quantity of the weights is moved by its standard uncertainty; the changes, which are many
    and alike, are then gathered into at most three independent ones that say the same (singular values).
    Where no ± is given at all, I′ as a whole is taken as uncertain by the default of `data/ranges.toml`.
    I′ from a reference sweep brings its own uncertainty.
    """
    if isinstance(job.weights.motion, ReferenceSlope):
        return _reference_modes(job.weights.motion, advance, job.stop.limits[1])
    changes = [*_table_changes(job, advance), *_key_changes(job, advance)]
    if not changes:
        return np.full((1, len(advance)), float(ranges()["fit"]["mass_geometry"]["value"]))
    _, sizes, shapes = np.linalg.svd(np.stack(changes), full_matrices=False)
    modes = sizes[:, None] * shapes
    kept = [_positive(mode) for mode in modes[:MOST_MODES] if np.abs(mode).max() > LEAST]
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
    return [effect / np.sqrt(3) / (2 * r * dr) for effect in motion.row_effects(advance)]


def _key_changes(job: Job, advance: Array) -> list[Array]:
    """By each quantity of [weights] that has a ±."""
    middle = job.weights.inertia_slope(advance)
    keys = [k for k in job.limits if k.startswith("weights.") and ".cg_radius[" not in k and ".advance[" not in k]
    if not keys:
        return []
    model = m.JobModel.model_validate({k: v for k, v in job.document.items() if k not in ("sweep", "catalogue")})
    changes = []
    for key in keys:
        moved = _moved(model, job.document, key, job.limits[key] / np.sqrt(3)).inertia_slope(advance)
        if np.isfinite(moved).all():
            changes.append(moved / middle - 1.0)
    return changes


def _moved(model: m.JobModel, document: dict[str, Any], key: str, by: float) -> Any:
    """The weights of the job's `model` with one quantity of its `document` moved by so much [SI]."""
    weights: Any = copy.deepcopy(document["weights"])
    table: Any = weights
    given: Any = model.weights
    *path, last = [int(p) - 1 if p.isdigit() else p for p in key.replace("[", ".").replace("]", "").split(".")][1:]
    for part in path:
        table = table[part]
    for part in (*path, last):
        given = given[part] if isinstance(part, int) else getattr(given, part)
    unit = {"mass": "kg", "angle": "rad"}.get(str(last), "m")
    table[last] = f"{float(given.value + by)!r} {unit}"
    # Only the weights are read again: the rest of the job is as it was.
    return JobReader(model.model_copy(update={"weights": type(model.weights).model_validate(weights)})).weights()


# Speeds at which a reading is predicted, in standard uncertainties of speed, and their weights: the
# three-point Gauss–Hermite rule, so that a reading on a steep flank is known to scatter.
NODES = np.array([-SQRT3, 0.0, SQRT3])
WEIGHTS = np.array([1.0, 4.0, 1.0]) / 6.0
TENSION = "secondary.tension"


@dataclass(frozen=True)
class Parameter:
    """One number of a state: `name`, prior `middle` and standard uncertainty `spread` (natural units [SI, or log of
    it]), `least` and `most` it may physically be, and whether its prior was `measured` by the user."""

    name: str
    middle: float
    spread: float
    least: float = -np.inf
    most: float = np.inf
    measured: bool = False


@dataclass(frozen=True)
class SweepModel:
    """The unit's shapes, the parameters in their order, the sweep, and the initial tensions (places,) [N]."""

    shapes: Shapes
    parameters: tuple[Parameter, ...]
    sweep: Sweep
    tension: Array
    zero_by_curve: bool

    @property
    def size(self) -> int:
        """How many numbers a state has."""
        return len(self.parameters)

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
        modes = [p.name for p in self.parameters if p.name.startswith("mode ")]
        none = np.zeros((len(x), 0))
        return Units(
            rate=np.exp(np.stack([self.column(x, f"{p}.rate") for p in places], axis=1)),
            stretch=np.stack([self.column(x, f"{p}.stretch") for p in places], axis=1),
            tension=self._tension(x),
            drag=self.column(x, "drag"),
            friction=self.column(x, "friction"),
            share=self.column(x, "friction_share"),
            stop=self.column(x, "stop"),
            modes=np.stack([self.column(x, name) for name in modes], axis=1) if modes else none,
        )

    def _tension(self, natural: Array) -> Array:
        """Initial tensions (n, places) [N]: as described, or, of an undescribed second spring, a number of the state."""
        tension = np.tile(self.tension, (len(natural), 1))
        if TENSION in self._place:
            tension[:, 1] = self.column(natural, TENSION)
        return tension

    def predict(self, states: Array) -> tuple[Array, Array]:
        """Reading expected and variance by the uncertainty of speed, (n, readings) each [rad, rad²]."""
        made = curves(self.shapes, self.units(states), 56)
        sweep, n = self.sweep, len(states)
        speeds = np.maximum(sweep.speed[:, None] + NODES * sweep.speed_reading / SQRT3, 1e-3)
        at = np.empty((n, len(sweep.speed), 3))
        start, up = _start(made), np.asarray(sweep.rising, bool)
        zeroed = [] if sweep.zeroed_at is None else [sweep.zeroed_at]
        # All that is asked of the rising curve at once: its readings, its highest advance, where the zero was taken.
        got = made.rising_advance(np.concatenate([speeds[up].ravel(), [sweep.speed.max()], zeroed]), start)
        readings = 3 * int(up.sum())
        at[:, up] = got[:, :readings].reshape(n, -1, 3)
        if not up.all():
            at[:, ~up] = made.falling_advance(speeds[~up].ravel(), got[:, readings]).reshape(n, -1, 3)
        mean = at @ WEIGHTS
        variance = ((at - mean[:, :, None]) ** 2) @ WEIGHTS
        shift = self.column(self.natural(states), "zero") + (got[:, -1] if zeroed else 0.0)
        return mean - shift[:, None], variance

    def hidden(self, states: Array) -> Array:
        """Advance that the bench's zero hides (n,) [rad], what a reading lacks of the true advance: the zero's own error,
        and what was already in where it was taken."""
        zero = self.column(self.natural(states), "zero")
        if self.sweep.zeroed_at is None:
            return zero
        made = curves(self.shapes, self.units(states), 56)
        return np.asarray(zero + made.rising_advance(np.array([self.sweep.zeroed_at]), _start(made))[:, 0])

    def misfit(self, states: Array) -> tuple[Array, Array]:
        """Standardised residuals (n, readings) [1] and their standard uncertainties [rad]."""
        mean, variance = self.predict(states)
        sigma = np.sqrt(self.sweep.reading**2 / 3 + variance)
        return (self.sweep.advance - mean) / sigma, sigma

    def log_density(self, states: Array) -> Array:
        """Log of the posterior density (n,) [1], up to a constant; −inf outside the bounds."""
        low, high = self.bounds()
        inside = ((states >= low) & (states <= high)).all(axis=1) & self._in_order(states)
        result = np.full(len(states), -np.inf)
        if inside.any():
            kept = states[inside]
            residual, sigma = self.misfit(kept)
            result[inside] = -0.5 * (residual**2).sum(axis=1) - np.log(sigma).sum(axis=1) - 0.5 * (kept**2).sum(axis=1)
        return result

    def kind(self, states: Array) -> Array:
        """Which sort of answer each state is (n,) [1]: primary slack or not, secondary early, midway, late or never."""
        natural = self.natural(states)
        stop = self.column(natural, "stop")
        sort = np.zeros(len(states), int)
        for index, place in enumerate(PLACES[: len(self.tension)]):
            at = takeups(self.shapes, self.column(natural, f"{place}.stretch"), index) / stop
            edges = (0.0,) if index == 0 else (0.2, 0.6, 1.0)
            sort = 5 * sort + np.searchsorted(edges, at)
        return sort

    def _in_order(self, states: Array) -> np.ndarray:
        """Where the primary takes up first (n,): two undescribed springs must not change places."""
        described = all(p.measured for p in self.parameters if p.name.endswith(".stretch"))
        if len(self.tension) < 2 or described:
            return np.ones(len(states), bool)
        natural = self.natural(states)
        first, second = (takeups(self.shapes, self.column(natural, f"{p}.stretch"), i) for i, p in enumerate(PLACES))
        return np.asarray(first <= second)


def ends(made: Curves, sweep: Sweep) -> tuple[Array, Array]:
    """Where a rising sweep begins, what stays in at a standstill, and the highest advance a falling one comes
    from, (n,) [rad] each."""
    start = _start(made)
    return start, made.rising_advance(np.array([sweep.speed.max()]), start)[:, 0]


def _start(made: Curves) -> Array:
    """What stays in at a standstill (n,) [rad]."""
    return made.falling_advance(np.zeros(1))[:, 0]


def sweep_model(job: Job) -> SweepModel:
    """The model of the job's sweep; the job must have one."""
    assert job.sweep is not None  # the caller has asked
    reach = 1.35 * max(job.stop.limits[1], float(job.sweep.advance.max()))
    grid = Shapes.grid(_bound_reach(job, reach))
    modes = slope_modes(job, grid)
    posts = tuple(p.posts for p in job.places)
    shapes = Shapes.of(job.weights, posts, float(grid[-1]), modes)
    parameters = [p for i, name in enumerate(PLACES[: len(posts)]) for p in _spring_parameters(job, i, name)]
    if len(posts) == 2 and job.places[1].found is None:
        # A first spring that pulls from rest shows only its pull; a second one's tension shows as a plateau.
        parameters.append(Parameter(TENSION, 0.0, _fit_default("initial_tension", "force"), 0.0, 20.0))
    parameters += _resistance_parameters(job)
    parameters.append(_stop_parameter(job, float(grid[-1])))
    parameters.append(_zero_parameter(job))
    parameters += [Parameter(f"mode {i}", 0.0, 1.0, -5.0, 5.0) for i in range(len(modes))]
    tension = np.array([0.0 if p.found is None else p.found.initial_tension for p in job.places])
    return SweepModel(shapes, tuple(parameters), job.sweep, tension, job.sweep.zeroed_at is not None)


def _bound_reach(job: Job, reach: float) -> float:
    """How far the weights and posts can be tabulated: no further than the mechanism itself goes."""
    for _ in range(20):
        grid = np.linspace(0.0, reach, 64)
        slope = job.weights.inertia_slope(grid)
        if np.isfinite(slope).all() and (slope > 0).all():
            return reach
        reach = max(0.97 * reach, job.stop.limits[1])
    return job.stop.limits[1]


def _fit_default(key: str, dimension: str) -> float:
    return default("fit", key, dimension)


def _std(job: Job, key: str) -> float | None:
    limit = job.limits.get(key)
    return None if limit is None or limit == 0 else limit / SQRT3


def _spring_parameters(job: Job, index: int, name: str) -> list[Parameter]:
    place = job.places[index]
    rest, lever = (float(x) for x in place.posts.length(0.0))
    spread = float(np.log(ranges()["fit"][f"{name}_rate"]["spread"]))
    rate = Parameter(
        f"{name}.rate", float(np.log(_fit_default(f"{name}_rate", "rate"))), spread, np.log(30.0), np.log(1e5)
    )
    entry = ranges()["fit"][f"{name}_stretch"]
    stretch = Parameter(f"{name}.stretch", entry["value"] * 1e-3, entry["spread"] * 1e-3, -6e-3, 8e-3)
    if place.found is None:
        return [rate, stretch]
    relative = (_std(job, f"springs.{name}.rate") or 0.1 * place.found.rate) / place.found.rate
    rate = Parameter(rate.name, float(np.log(place.found.rate)), relative, rate.least, rate.most, True)
    takeup = _std(job, f"springs.{name}.takeup")
    free = _std(job, f"springs.{name}.free_length") or 0.1e-3
    by = free if takeup is None else takeup * max(abs(_lever_at(job, index, place.found.free_length)), abs(lever), 1e-3)
    middle = rest - place.found.free_length
    stretch = Parameter(stretch.name, middle, by, middle - 8 * by, middle + 8 * by, True)
    return [rate, stretch]


def _lever_at(job: Job, index: int, free_length: float) -> float:
    """L′ [m/rad] where the spring takes up."""
    grid = np.linspace(0.0, job.stop.limits[1], 200)
    length, slope = job.places[index].posts.length(grid)
    return float(np.interp(free_length, np.maximum.accumulate(length), slope))


def _resistance_parameters(job: Job) -> list[Parameter]:
    given = job.document.get("drag", {})
    electronic = job.trigger == "electronic"
    drag_limit = default_limit = ranges()["drag"]["rubbing_block"]["limit"] * 1e-3
    if "rubbing_block" in given:
        drag_limit = job.limits.get("drag.rubbing_block", 0.25 * job.drag.rubbing_block)
    elif "breaker_spring" in given:
        # A friction coefficient is hardly known to better than a third.
        drag_limit = 0.35 * job.drag.rubbing_block
    drag = Parameter(
        "drag", job.drag.rubbing_block, max(min(drag_limit, 10 * default_limit), 1e-6) / SQRT3, 0.0, 0.1, bool(given)
    )
    if electronic:
        drag = Parameter("drag", 0.0, 1e-9, 0.0, 1e-6, True)
    friction = _one_sided(job, "friction", job.drag.friction, "moment", 0.05)
    share = _one_sided(job, "friction_share", job.drag.friction_share, "number", 0.4)
    return [drag, friction, share]


def _one_sided(job: Job, key: str, value: float, dimension: str, most: float) -> Parameter:
    """A friction: as measured, or about 0 and never negative."""
    if key in job.document.get("drag", {}):
        spread = _std(job, f"drag.{key}") or max(0.3 * value, 1e-6)
        return Parameter(key, value, spread, 0.0, most, True)
    return Parameter(key, 0.0, _fit_default(key, dimension), 0.0, most)


def _stop_parameter(job: Job, reach: float) -> Parameter:
    spread = _std(job, "stop.advance") or _fit_default("stop", "angle")
    return Parameter("stop", job.stop.advance, spread, 0.3 * job.stop.advance, reach, "stop.advance" in job.limits)


def _zero_parameter(job: Job) -> Parameter:
    if job.sweep is not None and not job.sweep.static_known:
        return Parameter("zero", 0.0, np.radians(10.0), -np.radians(40.0), np.radians(40.0))
    return Parameter("zero", 0.0, _fit_default("zero", "angle"), -np.radians(40.0), np.radians(40.0))
