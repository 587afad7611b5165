"""Is the fit calibrated? Units of the fit's own priors, swept by `integrator`, and where their truth lies among the samples.

Simulation-based calibration (S. Talts, M. Betancourt, D. Simpson, A. Vehtari and A. Gelman, arXiv:1804.06788, 2018; from
memory): of a unit drawn from the priors, and of a sweep drawn from that unit, the rank of the truth among samples of the
posterior is uniform, for every quantity. A sampler that loses a mode, or that is too sure, bends the ranks.

Every fourth unit of a class is read on an engine by a timing light whose static timing nobody noted: crank figures, with
an unknown zero. The rest are read on a bench. The priors are those that the fit states of a job (`sweep_model`): that is
what is held against. Curves, noise and the errors of speed are `integrator`'s and nothing of the package's. The mass
alone is uncertain in the weights, since a mass can be drawn as the fit draws it. A sweep that nobody would fit, of a unit
that hardly moves, is drawn anew. That choice sees the readings alone, so it leaves the ranks uniform.

Degrees, rpm, mm, g, N, mN·m; distributor terms.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np
from integrator import bench
from mechanisms import RPM, Mechanism, Pull, Unsound, mechanism
from numpy.typing import NDArray
from synthetic import _length, _takeup, as_csv, passed

from recurve.fit.fit import Fit, fit_sweep, slope_factor
from recurve.fit.model import ends, sweep_model
from recurve.job.model import Job
from recurve.job.read import load_job
from recurve.physics.ensemble import curves
from recurve.uncertainty import Prior

Array = NDArray[np.float64]
Known = Literal["known", "half known", "unknown"]
CLASSES: tuple[Known, ...] = ("known", "half known", "unknown")
PLACES = ("primary", "secondary")
# What is stated of each spring of a half known unit: one of these, in turn.
HALVES = (
    (("rate",), ()),
    (("free_length",), ("rate",)),
    (("rate", "free_length"), ()),
    (("rate", "pull_at_rest"), ()),
    ((), ("rate", "free_length")),
)
LIMITS = {"rate": 0.08, "free_length": 0.2, "initial_tension": 0.3, "pull_at_rest": 0.15}  # rate relative; mm, N, N
READING, SPEED_READING = 0.7, 10.0
MOVES, SEEN = 3.0, 3  # [deg] that a sweep must show; readings that must lie between its ends
TRIES = 4000
CRANK = 2.0  # speed ratio


@dataclass(frozen=True)
class Drawn:
    """A unit of the priors: what its job states, what it is, and its sweep. `truth` by the names of the fit's estimates, in
    their units; `curve` [deg] at the `speeds` [rpm], rising and then falling."""

    known: Known
    text: str
    readings: str
    truth: dict[str, float]
    speeds: Array
    curve: Array

    def job(self, folder: Path) -> Job:
        """The job as read from files in this folder."""
        (folder / "as-found.csv").write_text(self.readings, encoding="utf-8")
        (folder / "unit.toml").write_text(self.text, encoding="utf-8")
        return load_job(folder / "unit.toml")


@dataclass(frozen=True)
class Ranked:
    """Where the truth of one unit lies among its samples: `ranks`, from 0 to 1, by the names of the estimates; how far off
    the estimates that come from the readings are, in their standard `uncertainties`; and how good the samples are."""

    seed: int
    known: Known
    ranks: dict[str, float]
    off: dict[str, float]
    effective: float
    converged: bool


def drawn(seed: int) -> Drawn:
    """The unit of this seed; one class after the other. Raises Unsound where the priors of its mechanism hardly ever give one
    that moves in the sweep."""
    random = np.random.default_rng([seed, 77])
    known = CLASSES[seed % len(CLASSES)]
    facts = {"known": (("rate", "free_length", "initial_tension"),) * 2, "unknown": ((), ())}.get(
        known, HALVES[seed // len(CLASSES) % len(HALVES)]
    )
    stated = replace(mechanism(seed), friction=0.0)
    stated = replace(stated, drag=max(stated.drag, 2.0))
    speeds = _speeds(stated, random)
    on_engine = seed // len(CLASSES) % 4 == 3
    text = _job_text(stated, facts, {}, on_engine)
    priors = _priors(text, speeds)
    for _ in range(TRIES):
        try:
            unit, share, zero = _unit(stated, priors, known, random)
            at, clean = passed(bench(unit, share, 0.01), speeds, speeds[::-1], SPEED_READING, random)
        except Unsound:
            continue
        read = clean - zero + READING / np.sqrt(3) * random.normal(size=len(clean))
        if _worth_a_fit(read) and (read.min() > 0.0 or not on_engine):
            break
    else:
        raise Unsound(f"seed {seed} gives no unit that moves")
    noise = LIMITS["pull_at_rest"] / np.sqrt(3)
    pulls = {p: max(float(_pull(unit, i) + noise * random.normal()), 0.0) for i, p in enumerate(PLACES)}
    asked = np.linspace(speeds[0], speeds[-1], 6)
    curve = bench(unit, share)
    curve.stand_still()
    true = np.concatenate([curve.go_through(asked), curve.go_through(asked[::-1])[::-1]])
    text = _job_text(stated, facts, pulls, on_engine)
    ratio = CRANK if on_engine else 1.0
    rows = as_csv(ratio * at, ratio * read, len(speeds))
    return Drawn(known, text, rows, _truth(stated, unit, share, zero), asked, true)


def _speeds(stated: Mechanism, random: np.random.Generator) -> Array:
    """Speeds of a sweep [rpm], by what is stated and not by what is true."""
    low = random.uniform(0.6, 0.95) * stated.speeds[0]
    high = random.uniform(0.9, 1.3) * stated.speeds[-1]
    return np.asarray(np.round(np.linspace(low, max(high, low + 400), int(random.integers(9, 15))), -1))


def _worth_a_fit(read: Array) -> bool:
    """Whether somebody would fit these readings [deg]: they move, and not in one jump."""
    low, high = read.min(), read.max()
    return bool(high - low >= MOVES and ((read > low + 1.0) & (read < high - 1.0)).sum() >= SEEN)


def _priors(text: str, speeds: Array) -> dict[str, Prior]:
    """The priors that the fit states of a job, whatever was read."""
    rows = as_csv(np.concatenate([speeds, speeds[::-1]]), np.zeros(2 * len(speeds)), len(speeds))
    with tempfile.TemporaryDirectory() as folder:
        job = Drawn("known", text, rows, {}, speeds, speeds).job(Path(folder))
    return {p.name: p for p in sweep_model(job).parameters}


def _unit(
    stated: Mechanism, priors: dict[str, Prior], known: Known, random: np.random.Generator
) -> tuple[Mechanism, float, float]:
    """A unit of the priors, its friction share [1] and the error of the bench's zero [deg]."""

    def draw(name: str) -> float:
        prior = priors[name]
        while True:
            value = random.normal(prior.middle, prior.spread)
            if prior.least <= value <= prior.most:
                return float(value)

    pulls = []
    for place, pull in zip(PLACES, stated.springs, strict=True):
        free = float(_length(stated, pull, 0.0)) - 1e3 * draw(f"{place}.stretch")
        tension = draw(f"{place}.tension") if f"{place}.tension" in priors else 0.0
        if free < 1.0:
            raise Unsound("no spring is so short")
        pulls.append(replace(pull, rate=1e-3 * np.exp(draw(f"{place}.rate")), free_length=free, tension=tension))
    unit = replace(
        stated,
        springs=tuple(pulls),
        mass=stated.mass * np.exp(random.normal() * _mass_limit(stated) / np.sqrt(3) / stated.mass),
        drag=1e3 * draw("drag"),
        friction=1e3 * draw("friction"),
        stop=np.degrees(draw("stop")),
    )
    first, second = (_takeup(unit, pull) for pull in unit.springs)
    both = all(priors[f"{p}.stretch"].measured for p in PLACES)
    if not both and first > second:  # undescribed springs are told apart by their order
        raise Unsound("the secondary takes up first")
    return unit, draw("friction_share"), float(np.degrees(draw("zero")))


def _mass_limit(stated: Mechanism) -> float:
    return 0.03 * stated.mass


def _pull(unit: Mechanism, index: int) -> float:
    """Pull at rest [N]."""
    pull = unit.springs[index]
    stretch = float(_length(unit, pull, 0.0)) - pull.free_length
    return pull.tension + pull.rate * stretch if stretch >= 0 else 0.0


def _truth(stated: Mechanism, unit: Mechanism, share: float, zero: float) -> dict[str, float]:
    truth = {"drag": unit.drag, "friction": unit.friction, "friction_share": share, "stop": unit.stop, "zero": zero}
    truth["scale"] = unit.mass / stated.mass
    for index, (place, pull) in enumerate(zip(PLACES, unit.springs, strict=True)):
        truth[f"{place}.rate"], truth[f"{place}.tension"] = pull.rate, pull.tension
        truth[f"{place}.takeup"] = min(_takeup(unit, pull), unit.stop)
        truth[f"{place}.pull"] = _pull(unit, index)
    return truth


def _job_text(stated: Mechanism, facts: tuple[tuple[str, ...], ...], pulls: dict[str, float], on_engine: bool) -> str:
    """The job: the weights by their mass alone with a ±, and of each spring what is stated. A pull at rest that nobody has
    measured yet is left out."""
    one, ratio = stated, CRANK if on_engine else 1.0
    lines = [
        'title = "Invented unit of the priors"',
        f'[distributor]\nlobes = 6\nspeed_ratio = 2.0\nrotation = "{one.rotation}"',
        f'[weights]\ncount = {one.count}\nmass = "{one.mass!r} ± {_mass_limit(one)!r} g"',
        f'[weights.motion]\nkind = "{one.kind}"\npivot = {{ radius = "{one.pivot!r} mm" }}',
        *(
            f'{a} = {{ distance = "{d!r} mm", angle = "{b!r} deg" }}'
            for a, (d, b) in (("cg", one.cg), ("pin", one.pin))
        ),
        *([] if one.cam is None else [f'cam = {{ radius = "{one.cam[0]!r} mm", angle = "{one.cam[1]!r} deg" }}']),
        f'[stop]\nadvance = "{one.stop!r} ± 0.5 deg"',
        f'[drag]\nrubbing_block = "{one.drag!r} ± 1.5 mN*m"',
        *(_spring_text(place, p, f, pulls) for place, p, f in zip(PLACES, one.springs, facts, strict=True)),
        '[target]\nidle = { speed = "250 rpm", max = "0.5 deg" }',
        f'[sweep]\nfile = "as-found.csv"\nreading = "± {ratio * READING!r} deg"\n'
        f'speed_reading = "± {ratio * SPEED_READING!r} rpm"\nbasis = "{"crank" if on_engine else "distributor"}"',
    ]
    return "\n".join(lines) + "\n"


def _spring_text(place: str, pull: Pull, facts: tuple[str, ...], pulls: dict[str, float]) -> str:
    values = {
        "rate": f"{pull.rate!r} ± {LIMITS['rate'] * pull.rate!r} N/mm",
        "free_length": f"{pull.free_length!r} ± {LIMITS['free_length']!r} mm",
        "initial_tension": f"{pull.tension!r} ± {LIMITS['initial_tension']!r} N",
    }
    if place in pulls:
        values["pull_at_rest"] = f"{pulls[place]!r} ± {LIMITS['pull_at_rest']!r} N"
    lines = [f"[springs.{place}]", f'post_diameter = "{pull.diameter!r} mm"']
    lines += [f'{fact} = "{values[fact]}"' for fact in facts if fact in values]
    lines += [f"[springs.{place}.posts]", 'kind = "points"']
    for which, post in (("anchor", pull.anchor), ("far", pull.far)):
        lines.append(f'{which} = {{ on = "{post.on}", radius = "{post.radius!r} mm", angle = "{post.angle!r} deg" }}')
    return "\n".join(lines)


# --- ranks --------------------------------------------------------------------------------------------------


def ranked(seed: int) -> Ranked | None:
    """Fit the unit of this seed, and see where its truth lies; None where the seed gives none."""
    try:
        unit = drawn(seed)
    except Unsound:
        return None
    with tempfile.TemporaryDirectory() as folder:
        fit = fit_sweep(unit.job(Path(folder)))
    random, weights = np.random.default_rng([seed, 78]), fit.samples.weights
    ranks = {}
    for name, values in (*_values(fit).items(), *_curve(fit, unit).items()):
        true = unit.truth[name] if name in unit.truth else unit.curve[int(name.removeprefix("curve "))]
        # What is at rest, or at the stop, is the same number in many states: a rank among equals is drawn.
        same = np.abs(values - true) <= 1e-3 * (1.0 if name.startswith("curve") else max(abs(true), 1e-3))
        below = weights @ ((values < true) & ~same)
        ranks[name] = float(np.clip(below + random.random() * (weights @ same), 0.0, 1.0))
    off = {
        e.name: abs(e.value - unit.truth[e.name]) / max(e.standard_uncertainty, 1e-9)
        for e in fit.estimates
        if e.value is not None and e.standard_uncertainty is not None and e.source == "readings"
    }
    return Ranked(seed, unit.known, ranks, off, fit.samples.effective, fit.converged)


def _values(fit: Fit) -> dict[str, Array]:
    """Every estimate's quantity in every sample (n,), by name, in its unit."""
    model, states = fit.model, fit.samples.states
    natural = model.natural(states)
    stop = model.column(natural, "stop")
    made = {n: model.column(natural, n) * 1e3 for n in ("drag", "friction")}
    made |= {n: np.degrees(model.column(natural, n)) for n in ("stop", "zero")}
    made["friction_share"] = model.column(natural, "friction_share")
    made["scale"] = slope_factor(model, natural, model.swept).mean(axis=1)
    units = model.units(states)
    for index, place in enumerate(PLACES):
        made[f"{place}.rate"] = units.rate[:, index] * 1e-3
        made[f"{place}.takeup"] = np.degrees(np.minimum(model.takeups(natural, index), stop))
        made[f"{place}.tension"] = units.tension[:, index]
        pull = units.tension[:, index] + units.rate[:, index] * units.stretch[:, index]
        made[f"{place}.pull"] = np.where(units.stretch[:, index] < 0, 0.0, pull)
    return made


def _curve(fit: Fit, unit: Drawn) -> dict[str, Array]:
    """Two points of the curve, rising and falling, at an inner speed each, in every sample (n,) [deg]."""
    made = curves(fit.model.shapes, fit.model.units(fit.samples.states))
    start, top = ends(made, fit.model.sweep)
    speeds = unit.speeds * RPM
    both = np.concatenate([made.rising_advance(speeds, start), made.falling_advance(speeds, top)], axis=1)
    n = len(speeds)
    return {f"curve {i}": np.degrees(both[:, i]) for i in (2, n + 3)}


def ranked_all(seeds: Iterable[int], workers: int = 1) -> list[Ranked]:
    """Of many units."""
    if workers == 1:
        return [one for one in map(ranked, seeds) if one is not None]
    with ProcessPoolExecutor(workers) as pool:
        return [one for one in pool.map(ranked, seeds, chunksize=2) if one is not None]
