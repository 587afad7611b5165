"""Fit a sweep: from readings to springs, take-ups, drag, friction, stop, zero and mass geometry.

The best state is a maximum a posteriori, found from several starts. Weighted samples of the posterior then give the
estimates and their standard uncertainties. `fitted_job` puts the best state into the job, in place of what it described.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from typing import Literal

import numpy as np

from recurve.arrays import Array
from recurve.fit.anneal import anneal
from recurve.fit.model import FINE_KINDS, SweepModel, ends, sweep_model
from recurve.fit.posterior import Mode, Samples, best_of, find_modes, sample, spread_starts, spread_states
from recurve.fit.priors import TENSIONS
from recurve.fit.strata import Cloud, sample_strata
from recurve.job.model import Job
from recurve.physics.curve import Drag
from recurve.physics.ensemble import curves
from recurve.physics.mechanism import CorrectedWeights
from recurve.springs.spring import Spring
from recurve.uncertainty import Uncertain, degrees_of_freedom, inflation, robust_scatter, without_outliers
from recurve.units import PLACES

LEARNT = 0.7  # a posterior this much narrower than its prior: the readings say more than was known before
SCREENED = 4096  # states of the prior; twice as many where springs are not known
MORE_STARTS = 3  # besides the prior's middle and the best of each kind of answer
NEGLIGIBLE = 0.02  # a probability that is not mentioned
CONVERGED_SAMPLES = 100.0  # equal samples that the posterior must be worth for the fit to count as converged
HALVES_APART = 0.6  # standard deviations by which the means of two halves of the samples may differ at most
CUBIC = 4  # advances that a correction of I′ is given at: a cubic through them says all that three smooth modes can
EstimateSource = Literal["readings", "as given", "not determined"]


@dataclass(frozen=True)
class Estimate:
    """An estimate of one quantity, `name`: its `quantity` [`unit`], None where the readings do not determine it;
    `at_bound` if the best state lies on a physical limit; and the `source` of the value."""

    name: str
    quantity: Uncertain | None
    unit: str
    at_bound: bool
    source: EstimateSource

    @property
    def value(self) -> float | None:
        """Value [`unit`]; None where it is not determined."""
        return None if self.quantity is None else self.quantity.value

    @property
    def standard_uncertainty(self) -> float | None:
        """Standard uncertainty [`unit`]; None where it is not determined."""
        return None if self.quantity is None else self.quantity.standard_uncertainty


@dataclass(frozen=True)
class AlternativeState:
    """Another state that explains the readings nearly as well: its `likelihood` [1] relative to the best, the quantities
    in which it `differs` (name, best state, this state, unit), and the `speed` [rad/s] and direction of a reading at
    which the two lie farthest `apart` [rad]."""

    likelihood: float
    differs: tuple[tuple[str, float, float, str], ...]
    speed: float
    rising: bool
    apart: float


@dataclass(frozen=True, eq=False)  # the same fit, not an equal one: what follows from it is worked out once
class Fit:
    """What a sweep says of the unit. `residuals` (readings,) [1] standardised and `expected` (readings,) [rad] are in
    the order of the sweep, outliers included; `outliers` are rows of the CSV file; `inflation` is how many times more
    than stated the readings scatter, 1 if they agree."""

    job: Job
    model: SweepModel
    estimates: tuple[Estimate, ...]
    names: tuple[str, ...]
    correlation: Array
    chi2: float
    dof: float
    inflation: float
    converged: bool
    residuals: Array
    expected: Array
    outliers: tuple[int, ...]
    best: Array
    samples: Samples
    alternatives: tuple[AlternativeState, ...]

    def estimate(self, name: str) -> Estimate:
        """The estimate of this name; raises KeyError if there is none."""
        for one in self.estimates:
            if one.name == name:
                return one
        raise KeyError(name)

    def of_spring(self, place: str) -> tuple[float, float]:
        """Standard uncertainties of the spring found in a `place`: of its rate [N/m], and of how far it is drawn at rest [m].
        Where the readings say little they are as wide as what was known before."""
        natural = self.model.natural(self.samples.states)
        rate = np.exp(self.model.column(natural, f"{place}.rate"))
        drawn = self.model.column(natural, f"{place}.stretch")
        by_rate, by_length = (_standard_uncertainty(self.samples, np.asarray(x)) for x in (rate, drawn))
        return by_rate, by_length


def fit_sweep(job: Job) -> Fit:
    """Fit the job's sweep; the job must have one. Speeds and advances are the distributor's."""
    model = sweep_model(job)

    def standardised(found: Found) -> Array:
        """Residuals (readings,) [1] of all readings in the best state."""
        return np.asarray(model.misfit(found.modes[0].state[None])[0][0] * model.sweep.single)

    found, kept = without_outliers(
        lambda kept: _found(_keeping(model, kept)), standardised, len(model.sweep.speed), robust_scatter
    )
    modes = found.modes
    used = _keeping(model, kept)
    residual = used.misfit(modes[0].state[None])[0][0]
    dof = degrees_of_freedom(len(residual), 1.0 - np.diag(modes[0].covariance))
    scatter = inflation(float((residual**2).sum()), dof)
    if scatter > 1.0:
        used = replace(used, sweep=used.sweep.scattered(scatter))
        found = _found(used)
    return _result(job, model, used, kept, found, scatter)


def _keeping(model: SweepModel, kept: np.ndarray) -> SweepModel:
    """The model of those readings alone that the mask (readings,) keeps."""
    return replace(model, sweep=model.sweep.kept(kept))


def best_mode(job: Job) -> tuple[SweepModel, Mode]:
    """The model of a job's sweep and its best state, without the samples that a whole fit takes."""
    model = sweep_model(job)
    return model, _found(model).modes[0]


@dataclass(frozen=True)
class Found:
    """What was found before the posterior is sampled: its modes, and, where it was looked for, a cloud of states over
    all its hills."""

    modes: tuple[Mode, ...]
    cloud: Cloud | None = None


def _found(model: SweepModel) -> Found:
    """The modes by descents alone; where they may have missed one, from a cloud of states too (theory, section 4)."""
    low, high = model.bounds()
    states = model.zeroed(spread_states(low, high, SCREENED if model.springs_known else 2 * SCREENED))
    heights = model.log_density(states)
    middle = np.clip(np.zeros(model.size), low, high)

    def modes(of: Array, heights: Array) -> tuple[Mode, ...]:
        starts = best_of(of, heights, middle, MORE_STARTS, model.kind)
        return find_modes(model.residuals, model.log_density, starts, low, high)

    if model.springs_known:
        found = modes(states, heights)
        if len(found) == 1 and found[0].converged:
            return Found(found)
    fine = partial(model.kind, edges=FINE_KINDS)
    cooled = anneal(model.log_density, fine, model.kind, states, heights)
    if not len(cooled):
        return Found(modes(states, heights))
    return Found(modes(cooled, model.log_density(cooled)), Cloud(cooled, model.kind, fine))


def _result(job: Job, model: SweepModel, used: SweepModel, kept: np.ndarray, found: Found, scatter: float) -> Fit:
    """The fit: `model` has all readings, `used` those kept, their ± enlarged by `scatter`."""
    modes = found.modes
    samples = (
        sample(used.log_density, modes) if found.cloud is None else sample_strata(used.log_density, modes, found.cloud)
    )
    if found.cloud is not None or not modes[0].converged:
        modes = (_highest(used, modes[0], samples), *modes[1:])
    best = modes[0].state
    narrowing = _narrowing(used, samples)
    estimates, values = _estimates(job, used, samples, (best, narrowing))
    names = tuple(e.name for e in estimates if e.quantity is not None)
    columns = np.stack([values[n] for n in names], axis=1) if names else np.zeros((len(samples.weights), 0))
    residual = model.misfit(best[None])[0][0]
    different: list[Mode] = []  # modes that are different answers, not two tops of one broad hill
    for mode in modes:
        if all(mode.apart(other, np.maximum) for other in different):
            different.append(mode)
    return Fit(
        job=job,
        model=used,
        estimates=estimates,
        names=names,
        correlation=_correlation(columns, samples),
        chi2=float((residual[kept] ** 2).sum()),
        dof=degrees_of_freedom(int(kept.sum()), 1.0 - narrowing**2),
        inflation=scatter,
        converged=samples.effective > CONVERGED_SAMPLES and samples.halves_apart < HALVES_APART,
        residuals=residual,
        expected=model.predict(best[None])[0][0],
        outliers=tuple(int(r) for r in model.sweep.row[~kept]),
        best=best,
        samples=samples,
        alternatives=tuple(_alternative(used, modes[0], m) for m in different[1:]),
    )


def _highest(model: SweepModel, mode: Mode, samples: Samples) -> Mode:
    """The mode, or the best that is found from the highest of its samples: at a kink of the density, as where a take-up
    meets a reading, a descent may end beside the top."""
    heights = model.log_density(samples.states)
    top = int(heights.argmax())
    if heights[top] <= mode.height:
        return mode
    again = find_modes(model.residuals, model.log_density, samples.states[top][None], *model.bounds())[0]
    if again.height >= heights[top]:
        return again
    return replace(mode, state=samples.states[top], height=float(heights[top]))


def _narrowing(model: SweepModel, samples: Samples) -> Array:
    """Posterior over prior standard deviation (size,) [1] of each parameter: 1 where nothing was learnt."""
    before = model.prior_deviation()
    if model.facts:
        known = known_samples(model)
        before = np.maximum(known.deviation(known.states), 1e-12)
    return np.asarray(samples.deviation(samples.states) / before)


def known_samples(model: SweepModel) -> Samples:
    """Samples of what is known of a unit before its sweep: its priors, and the facts of its springs."""
    unswept = model.unswept
    low, high = unswept.bounds()
    starts = spread_starts(unswept.log_density, low, high, MORE_STARTS, unswept.kind)
    return sample(unswept.log_density, find_modes(unswept.residuals, unswept.log_density, starts, low, high))


def _correlation(columns: Array, samples: Samples) -> Array:
    off = (columns - samples.mean(columns)) / np.maximum(samples.deviation(columns), 1e-300)
    made = np.asarray((off * samples.weights[:, None]).T @ off)
    np.fill_diagonal(made, 1.0)  # of a quantity that is the same in all samples too
    return made


# --- estimates ------------------------------------------------------------------------------------------

# Estimates that are parameters of the state: unit, and one of it in SI.
_PLAIN = {
    "drag": ("mN*m", 1e-3),
    "friction": ("mN*m", 1e-3),
    "friction_share": ("", 1.0),
    "stop": ("deg", np.pi / 180),
    "zero": ("deg", np.pi / 180),
}


def _estimates(
    job: Job, model: SweepModel, samples: Samples, found: tuple[Array, Array]
) -> tuple[tuple[Estimate, ...], dict[str, Array]]:
    """All estimates, and the samples (n,) each comes from; `found` are the best state and how much narrower than before the
    sweep each number of a state is, (size,) each."""
    best, narrowing = found
    made: list[Estimate] = []
    values: dict[str, Array] = {}
    natural = model.natural(samples.states)
    low, high = model.bounds()
    names = [p.name for p in model.parameters]
    on_bound = dict(zip(names, (best <= low + 1e-4) | (best >= high - 1e-4), strict=True))
    narrow = dict(zip(names, narrowing < LEARNT, strict=True))
    measured = {p.name: p.measured for p in model.parameters}

    def add(name: str, unit: str, column: Array, parameter: str, learnt: bool, given: bool) -> None:
        values[name] = column
        source: EstimateSource = "readings" if learnt else "as given" if given else "not determined"
        told = Uncertain(float(samples.mean(column)), _standard_uncertainty(samples, column))
        quantity = None if source == "not determined" else told
        made.append(Estimate(name, quantity, unit, bool(on_bound[parameter]), source))

    for index, place in enumerate(PLACES[: len(job.places)]):
        rate, stretch = f"{place}.rate", f"{place}.stretch"
        rates = np.exp(model.column(natural, rate))
        add(rate, "N/mm", rates * 1e-3, rate, bool(narrow[rate]), measured[rate])
        at = model.takeups(natural, index)
        stop = model.column(natural, "stop")
        never = float(samples.weights @ (at >= stop))
        learnt = bool(narrow[stretch]) and never < NEGLIGIBLE
        add(f"{place}.takeup", "deg", np.degrees(np.minimum(at, stop)), stretch, learnt, measured[stretch])
        if float(samples.weights @ (at <= 0.0)) > 0.5:
            x = model.column(natural, stretch)
            tension = model.units(samples.states).tension[:, index]
            pull = np.where(x >= 0, tension + rates * np.maximum(x, 0.0), 0.0)
            add(f"{place}.pull", "N", pull, stretch, learnt, measured[stretch])
    for name in (t for t in TENSIONS if t in measured):
        add(name, "N", model.column(natural, name), name, bool(narrow[name]), measured[name])
    for name, (unit, size) in _PLAIN.items():
        add(name, unit, model.column(natural, name) / size, name, bool(narrow[name]), measured[name])
    # I′ against the described one, mean over the travel that was swept.
    scale = slope_factor(model, natural, model.swept).mean(axis=1)
    prior = float(np.sqrt(sum(np.mean(mode) ** 2 for mode in model.shapes.modes)))
    learnt = prior > 0 and float(samples.deviation(scale)) < LEARNT * prior
    add("scale", "", np.asarray(scale), "mode 0" if len(model.shapes.modes) else "stop", learnt, True)
    return tuple(made), values


def _standard_uncertainty(samples: Samples, column: Array) -> float:
    """Standard uncertainty of a quantity (n,) [as `column`]: its deviation, or more where the distribution is so skewed,
    or so split in two, that twice the deviation about the mean would hold less than a normal's 95.45 %."""
    off = np.abs(column - samples.mean(column))
    order = np.argsort(off, kind="stable")
    beyond = int(np.searchsorted(np.cumsum(samples.weights[order]), 0.9545))
    return max(float(samples.deviation(column)), float(off[order][min(beyond, len(off) - 1)]) / 2)


def slope_factor(model: SweepModel, natural: Array, where: Array | None = None) -> Array:
    """I′ relative to the described one (n, p) [1], of states in natural units (n, size); at those advances only that the
    mask `where` (p,) keeps."""
    modes = model.shapes.modes if where is None else model.shapes.modes[:, where]
    grown = [model.column(natural, f"mode {i}")[:, None] * mode for i, mode in enumerate(modes)]
    if not grown:
        return np.ones((len(natural), modes.shape[1]))
    return np.asarray(np.exp(np.sum(grown, axis=0)))


# --- other answers ----------------------------------------------------------------------------------------


def _alternative(model: SweepModel, best: Mode, other: Mode) -> AlternativeState:
    """Where another mode differs from the best, and which reading would decide between them."""
    states = np.stack([best.state, other.state])
    natural = model.natural(states)
    differs: list[tuple[str, float, float, str]] = []
    for index, place in enumerate(PLACES[: len(model.tension)]):
        rates = np.exp(model.column(natural, f"{place}.rate")) * 1e-3
        at = model.takeups(natural, index)
        at = np.degrees(np.minimum(at, model.column(natural, "stop")))  # a spring that never takes up: at the stop
        differs.append((f"{place}.rate", float(rates[0]), float(rates[1]), "N/mm"))
        differs.append((f"{place}.takeup", float(at[0]), float(at[1]), "deg"))
    speed, rising, apart = _deciding(model, states)
    return AlternativeState(float(np.exp(other.height - best.height)), tuple(differs), speed, rising, apart)


def _deciding(model: SweepModel, states: Array) -> tuple[float, bool, float]:
    """Speed [rad/s] and direction at which two states (2, size) read farthest apart, and by how much [rad]."""
    speeds = np.linspace(0.7 * model.sweep.speed.min(), 1.15 * model.sweep.speed.max(), 120)
    made = curves(model.shapes, model.units(states), 56)
    start, top = ends(made, model.sweep)
    both = (
        np.diff(made.rising_advance(speeds, start), axis=0)[0],
        np.diff(made.falling_advance(speeds, top), axis=0)[0],
    )
    rising = np.abs(both[0]).max() >= np.abs(both[1]).max()
    gap = np.abs(both[0] if rising else both[1])
    return float(speeds[gap.argmax()]), bool(rising), float(gap.max())


# --- the job as fitted ---------------------------------------------------------------------------------------


def fitted_job(fit: Fit) -> Job:
    """The fit's job in its best state; its springs are then known even if they were not described."""
    job, model = fit.job, fit.model
    natural = model.natural(fit.best[None])
    value = {p.name: float(x) for p, x in zip(model.parameters, natural[0], strict=True)}
    places = []
    for index, (name, place) in enumerate(zip(PLACES, job.places, strict=False)):
        rest = float(place.posts.length(0.0)[0])
        tension = value.get(f"{name}.tension", float(model.tension[index]))
        found = Spring(
            f"as found {name}",
            float(np.exp(value[f"{name}.rate"])),
            rest - value[f"{name}.stretch"],
            tension,
            quantity=1,
        )
        places.append(replace(place, found=found))
    return replace(
        job,
        weights=corrected(fit),
        drag=Drag(value["drag"], value["friction"], value["friction_share"]),
        stop=replace(job.stop, advance=value["stop"]),
        places=tuple(places),
    )


def corrected(fit: Fit) -> CorrectedWeights:
    """The weights with the I′ of the best state, of the advances that the unit can reach."""
    model, weights = fit.model, fit.job.weights
    natural = model.natural(fit.best[None])
    factor = slope_factor(model, natural)[0]
    advance = model.shapes.advance
    farthest = max(fit.job.stop.limits[1], float(model.column(natural, "stop")[0]))
    nodes = np.linspace(0.0, min(farthest, float(advance[-1])), CUBIC)
    at = np.interp(nodes, advance, factor)
    if isinstance(weights, CorrectedWeights):
        at = at * np.polyval(np.polyfit(weights.advance, weights.factor, min(len(weights.advance) - 1, 3)), nodes)
    return CorrectedWeights(
        weights.count, weights.mass, weights.motion, tuple(float(n) for n in nodes), tuple(float(f) for f in at)
    )
