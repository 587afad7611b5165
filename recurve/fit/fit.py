"""A sweep to the state of the unit: springs, take-ups, drag, friction, stop, zero, mass geometry.

Maximum a posteriori from several starts, then weighted samples of the posterior, from which come the
estimates and their standard uncertainties.

A job as its sweep has shown it: the fitted springs, drag, stop and mass geometry in place of the described.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from recurve.arrays import Array
from recurve.fit.model import TENSION, SweepModel, ends, sweep_model
from recurve.fit.posterior import Mode, Samples, find_modes, sample, spread_starts
from recurve.job.model import Job, Sweep
from recurve.physics.curve import Drag
from recurve.physics.ensemble import curves, takeups
from recurve.physics.mechanism import CorrectedWeights
from recurve.springs.spring import Spring
from recurve.units import PLACES

OUTLIER = 4.0  # standardised residual, against the others, beyond which a reading is left out
MOST_OUTLIERS = 0.2  # share of the readings
LEARNT = 0.7  # a posterior this much narrower than its prior: the readings say more than was known before
MORE_STARTS = 3  # besides the prior's middle and the best of each kind of answer
NEGLIGIBLE = 0.02  # a probability that is not mentioned


@dataclass(frozen=True)
class Estimate:
    """One quantity: `value` and `standard_uncertainty` [`unit`], None where the readings do not determine it;
    `at_bound` where the best state lies on a physical limit; `source`: "readings", "as given", "not determined"."""

    name: str
    value: float | None
    standard_uncertainty: float | None
    unit: str
    at_bound: bool
    source: str


@dataclass(frozen=True)
class Alternative:
    """Another state that explains the readings nearly as well: its likelihood against the best's, what it says,
    and the speed [rad/s] and direction of a reading that would tell them apart by `apart` [rad]."""

    likelihood: float
    differs: tuple[tuple[str, float, float, str], ...]
    speed: float
    rising: bool
    apart: float


@dataclass(frozen=True)
class Fit:
    """What a sweep says of the unit. `residuals` (readings,) [1] standardised, and `expected` [rad], in the
    sweep's order, outliers included; `outliers` rows of the CSV; `inflation` how much larger than stated the
    readings' scatter is, 1 where it agrees."""

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
    alternatives: tuple[Alternative, ...]

    def estimate(self, name: str) -> Estimate:
        """One estimate by name; KeyError where there is none."""
        for one in self.estimates:
            if one.name == name:
                return one
        raise KeyError(name)


def fit_sweep(job: Job) -> Fit:
    """Fit the job's sweep; the job must have one. Speeds and advances are the distributor's."""
    model = sweep_model(job)
    kept = np.ones(len(model.sweep.speed), bool)
    modes = _modes(model)
    while True:
        residual = np.abs(model.misfit(modes[0].state[None])[0][0])
        residual[~kept] = 0.0
        worst = int(residual.argmax())
        if residual[worst] < OUTLIER * _scatter(residual[kept]) or (~kept).sum() + 1 > MOST_OUTLIERS * len(kept):
            break
        kept[worst] = False
        modes = _modes(replace(model, sweep=_some(model.sweep, kept)))
    used = replace(model, sweep=_some(model.sweep, kept))
    residual = used.misfit(modes[0].state[None])[0][0]
    inflation = _inflation(float((residual**2).sum()), len(residual), modes[0].covariance)
    if inflation > 1.0:
        used = replace(used, sweep=replace(used.sweep, reading=used.sweep.reading * inflation))
        modes = _modes(used)
    samples = sample(used.log_density, modes)
    return _result(job, model, used, kept, modes, samples, inflation)


def _scatter(residual: Array) -> float:
    """How large standardised residuals (n,) are on the whole, at least 1: where all scatter, none is an outlier.
    From their median, which a few wrong readings do not move; 0.6745 is a normal's."""
    return max(float(np.median(np.abs(residual))) / 0.6745, 1.0)


def _some(sweep: Sweep, kept: np.ndarray) -> Sweep:
    return replace(
        sweep, speed=sweep.speed[kept], advance=sweep.advance[kept], rising=sweep.rising[kept], row=sweep.row[kept]
    )


def _modes(model: SweepModel) -> tuple[Mode, ...]:
    low, high = model.bounds()

    def residuals(states: Array) -> Array:
        return np.concatenate([model.misfit(states)[0], states], axis=1)

    starts = spread_starts(model.log_density, low, high, MORE_STARTS, model.kind)
    return find_modes(residuals, model.log_density, starts, low, high)


def _inflation(squares: float, readings: int, covariance: Array) -> float:
    """Scatter against what was stated: only an excess that chance makes once in a hundred sweeps counts. Of the
    numbers of the state only the share that the readings determined costs freedom, 1 − variance each."""
    from scipy.special import chdtrc

    dof = max(readings - float(np.clip(1.0 - np.diag(covariance), 0.0, 1.0).sum()), 1.0)
    return float(np.sqrt(squares / dof)) if chdtrc(dof, squares) < 0.01 else 1.0


def _result(
    job: Job,
    model: SweepModel,
    used: SweepModel,
    kept: np.ndarray,
    modes: tuple[Mode, ...],
    samples: Samples,
    inflation: float,
) -> Fit:
    best = modes[0].state
    estimates, values = _estimates(job, used, samples, best)
    names = tuple(e.name for e in estimates if e.value is not None)
    columns = np.stack([values[n] for n in names], axis=1) if names else np.zeros((len(samples.weights), 0))
    mean, _ = model.predict(best[None])
    residual = model.misfit(best[None])[0][0]
    learnt = float(np.clip(1.0 - _shrink(used, samples) ** 2, 0.0, 1.0).sum())
    return Fit(
        job=job,
        model=used,
        estimates=estimates,
        names=names,
        correlation=_correlation(columns, samples),
        chi2=float((residual[kept] ** 2).sum()),
        dof=max(float(kept.sum()) - learnt, 1.0),
        inflation=inflation,
        converged=modes[0].converged and samples.effective > 100,
        residuals=residual,
        expected=mean[0],
        outliers=tuple(int(r) for r in model.sweep.row[~kept]),
        best=best,
        samples=samples,
        alternatives=tuple(_alternative(used, modes[0], m) for m in _answers(modes)[1:]),
    )


def _shrink(model: SweepModel, samples: Samples) -> Array:
    """How much narrower each number of the state (size,) is than its prior was: 1 where nothing was learnt."""
    return samples.deviation(samples.states) / model.prior_deviation()


def _correlation(columns: Array, samples: Samples) -> Array:
    off = (columns - samples.mean(columns)) / np.maximum(samples.deviation(columns), 1e-300)
    made = np.asarray((off * samples.weights[:, None]).T @ off)
    np.fill_diagonal(made, 1.0)  # of a quantity that is the same in all samples too
    return made


# --- estimates ------------------------------------------------------------------------------------------

# name in the report: parameter of the state, unit, what one unit is in SI, whether the state is its logarithm
_PLAIN = {
    "drag": ("drag", "mN*m", 1e-3),
    "friction": ("friction", "mN*m", 1e-3),
    "friction_share": ("friction_share", "", 1.0),
    "stop": ("stop", "deg", np.pi / 180),
    "zero": ("zero", "deg", np.pi / 180),
}


def _estimates(
    job: Job, model: SweepModel, samples: Samples, best: Array
) -> tuple[tuple[Estimate, ...], dict[str, Array]]:
    """All estimates, and the samples (n,) each comes from."""
    made: list[Estimate] = []
    values: dict[str, Array] = {}
    natural = model.natural(samples.states)
    bounds = _at_bound(model, best)

    def add(name: str, parameter: str, unit: str, column: Array, measured: bool, learnt: bool) -> None:
        values[name] = column
        made.append(_estimate(name, unit, column, samples, bounds[parameter], measured, learnt))

    shrink = {p.name: float(d) for p, d in zip(model.parameters, _shrink(model, samples), strict=True)}
    given = {p.name: p.measured for p in model.parameters}
    for index, place in enumerate(PLACES[: len(job.places)]):
        rate, stretch = f"{place}.rate", f"{place}.stretch"
        rates = np.exp(model.column(natural, rate))
        add(rate, rate, "N/mm", rates * 1e-3, given[rate], shrink[rate] < LEARNT)
        at = takeups(model.shapes, model.column(natural, stretch), index)
        stop = model.column(natural, "stop")
        never = float(samples.weights @ (at >= stop))
        told = shrink[stretch] < LEARNT and never < NEGLIGIBLE
        from_rest = float(samples.weights @ (at <= 0.0))
        add(f"{place}.takeup", stretch, "deg", np.degrees(np.minimum(at, stop)), given[stretch], told)
        if from_rest > 0.5:
            x = model.column(natural, stretch)
            tension = model.units(samples.states).tension[:, index]
            pull = np.where(x >= 0, tension + rates * np.maximum(x, 0.0), 0.0)
            add(f"{place}.pull", stretch, "N", pull, given[stretch], told)
    if TENSION in given:
        add(TENSION, TENSION, "N", model.column(natural, TENSION), False, shrink[TENSION] < LEARNT)
    for name, (parameter, unit, size) in _PLAIN.items():
        add(
            name, parameter, unit, model.column(natural, parameter) / size, given[parameter], shrink[parameter] < LEARNT
        )
    scale = _scale(model, natural)
    add("scale", _scale_parameter(model), "", scale, True, _scale_learnt(model, samples, scale))
    return tuple(made), values


def _estimate(
    name: str, unit: str, column: Array, samples: Samples, at_bound: bool, measured: bool, learnt: bool
) -> Estimate:
    source = "readings" if learnt else "as given" if measured else "not determined"
    if source == "not determined":
        return Estimate(name, None, None, unit, at_bound, source)
    return Estimate(name, float(samples.mean(column)), _uncertainty(samples, column), unit, at_bound, source)


def _uncertainty(samples: Samples, column: Array) -> float:
    """Standard uncertainty of a quantity (n,): its deviation, or more where the doubt is so lopsided or double that
    twice the deviation about the mean would hold less than a normal's share, 95.45 %."""
    off = np.abs(column - samples.mean(column))
    order = np.argsort(off, kind="stable")
    beyond = int(np.searchsorted(np.cumsum(samples.weights[order]), 0.9545))
    return max(float(samples.deviation(column)), float(off[order][min(beyond, len(off) - 1)]) / 2)


def _at_bound(model: SweepModel, best: Array) -> dict[str, bool]:
    low, high = model.bounds()
    hit = (best <= low + 1e-4) | (best >= high - 1e-4)
    return {p.name: bool(h) for p, h in zip(model.parameters, hit, strict=True)}


def _scale_parameter(model: SweepModel) -> str:
    return "mode 0" if len(model.shapes.modes) else "stop"


def _scale(model: SweepModel, natural: Array) -> Array:
    """I′ against the described one, mean over the travel, (n,) [1]."""
    swept = model.shapes.advance <= model.sweep.advance.max()
    return np.asarray(slope_factor(model, natural, swept).mean(axis=1))


def slope_factor(model: SweepModel, natural: Array, where: Array | None = None) -> Array:
    """I′ of states in natural units (n, size) against the described one, (n, p) [1]; only at the advances `where`
    (p,) says."""
    modes = model.shapes.modes if where is None else model.shapes.modes[:, where]
    grown = [model.column(natural, f"mode {i}")[:, None] * mode for i, mode in enumerate(modes)]
    if not grown:
        return np.ones((len(natural), modes.shape[1]))
    return np.asarray(np.exp(np.sum(grown, axis=0)))


def _scale_learnt(model: SweepModel, samples: Samples, scale: Array) -> bool:
    prior = float(np.sqrt(sum(np.mean(mode) ** 2 for mode in model.shapes.modes)))
    now = float(samples.deviation(scale))
    return prior > 0 and now < LEARNT * prior


# --- other answers ----------------------------------------------------------------------------------------


def _answers(modes: tuple[Mode, ...]) -> list[Mode]:
    """Those modes that are different answers, not two tops of one broad hill."""
    kept: list[Mode] = []
    for mode in modes:
        if all(mode.apart(other, np.maximum) for other in kept):
            kept.append(mode)
    return kept


def _alternative(model: SweepModel, best: Mode, other: Mode) -> Alternative:
    """Another mode in words' raw material: what differs most, and where a reading would decide."""
    states = np.stack([best.state, other.state])
    natural = model.natural(states)
    differs: list[tuple[str, float, float, str]] = []
    for index, place in enumerate(PLACES[: len(model.tension)]):
        rates = np.exp(model.column(natural, f"{place}.rate")) * 1e-3
        at = takeups(model.shapes, model.column(natural, f"{place}.stretch"), index)
        at = np.degrees(np.minimum(at, model.column(natural, "stop")))  # a spring that never takes up: at the stop
        differs.append((f"{place}.rate", float(rates[0]), float(rates[1]), "N/mm"))
        differs.append((f"{place}.takeup", float(at[0]), float(at[1]), "deg"))
    speed, rising, apart = _deciding(model, states)
    return Alternative(float(np.exp(other.height - best.height)), tuple(differs), speed, rising, apart)


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


# A cubic through as many advances says all that three smooth modes can.
NODES = 4


def fitted_job(fit: Fit) -> Job:
    """The fit's job with its best state; the springs found are then known even where they were not described."""
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
    """The weights with I′ as the best state has it."""
    model, weights = fit.model, fit.job.weights
    factor = slope_factor(model, model.natural(fit.best[None]))[0]
    advance = model.shapes.advance
    nodes = np.linspace(0.0, float(advance[-1]), NODES)
    at = np.interp(nodes, advance, factor)
    if isinstance(weights, CorrectedWeights):
        at = at * np.polyval(np.polyfit(weights.advance, weights.factor, min(len(weights.advance) - 1, 3)), nodes)
    return CorrectedWeights(
        weights.count, weights.mass, weights.motion, tuple(float(n) for n in nodes), tuple(float(f) for f in at)
    )
