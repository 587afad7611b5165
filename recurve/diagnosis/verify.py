"""Does the finished unit pass, and what to move if not: the new sweep refitted and held against every band."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations
from typing import Literal

import numpy as np

from recurve.arrays import Array
from recurve.fit.fit import Fit, fit_sweep, fitted_job
from recurve.fit.state import Evidence
from recurve.job.model import Job, Sweep
from recurve.physics.target import Band
from recurve.planner.build import Build, make_build
from recurve.planner.problem import problem_of
from recurve.units import PLACES

VerifyVerdict = Literal["passes", "fails", "too close to call", "not converged"]

COVERAGE = 2.0  # standard uncertainties that must lie inside a band, or outside
MISSET = 6.0  # how many times a setting's tolerance it may be off in a unit that is being judged
STEP = 0.05e-3  # a post cannot be set finer [m]
ENOUGH = 0.5  # margin at which one move is not worth a second


@dataclass(frozen=True)
class BandVerdict:
    """A band against the refitted curve: `rising` and `falling` [rad] with their standard uncertainties, the
    verdict, and how many `more` readings would settle one that is too close to call (0 otherwise)."""

    band: Band
    rising: float
    rising_deviation: float
    falling: float
    falling_deviation: float
    verdict: VerifyVerdict
    more: int

    @property
    def sides(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """(value, standard uncertainty) [rad] rising and falling."""
        return (self.rising, self.rising_deviation), (self.falling, self.falling_deviation)


@dataclass(frozen=True)
class Move:
    """One thing to do: `what` ("primary post", "secondary post", "stop"), `by` [m] (posts + out, stop + built up), `to`
    [m] the length over the posts then, None for the stop; in `words`."""

    what: str
    by: float
    to: float | None
    words: str


@dataclass(frozen=True)
class Correction:
    """The fewest moves that help enough, and the `margin` [1] predicted after them."""

    moves: tuple[Move, ...]
    margin: float


@dataclass(frozen=True)
class Verification:
    """The finished unit judged: `job` the unit with its sweep, refitted (`fit`)."""

    job: Job
    fit: Fit
    bands: tuple[BandVerdict, ...]
    verdict: VerifyVerdict
    correction: Correction | None


@dataclass(frozen=True)
class Before:
    """The unit as it was found, by its own sweep: its `evidence`, and each band against it."""

    evidence: Evidence
    bands: tuple[BandVerdict, ...]


def as_found(job: Job) -> Before | None:
    """The unit as its job's sweep shows it, held against the job's bands; None where there is no sweep."""
    if job.sweep is None:
        return None
    evidence = Evidence.of(job, fit_sweep(job))
    return Before(evidence, _judged(evidence, len(job.sweep.speed)))


def verify_unit(job: Job, sweep: Sweep) -> Verification:
    """Judge the unit of a job (as planned) by a sweep of it as left.

    Passes where the refitted curve ± 2 standard uncertainties lies in every band, rising and falling; fails
    where it lies outside one; single readings only show what does not belong.
    """
    problem_of(job)
    swept = replace(job, sweep=sweep, limits=_doubted(job.limits))
    fit = fit_sweep(swept)
    evidence = Evidence.of(swept, fit)
    bands = _judged(evidence, len(sweep.speed))
    verdict = _overall(fit, bands)
    unit = fitted_job(fit)
    correction = None if verdict == "passes" else find_correction(unit)
    return Verification(unit, fit, bands, verdict, correction)


def _doubted(limits: dict[str, float]) -> dict[str, float]:
    """The plan's tolerances of posts and stop, wider: a setting that went wrong is what is looked for, and must not
    be argued away by what was meant."""
    set_by_hand = ("springs.primary.free_length", "springs.secondary.free_length", "stop.advance")
    return {key: limit * (MISSET if key in set_by_hand else 1.0) for key, limit in limits.items()}


def _overall(fit: Fit, bands: tuple[BandVerdict, ...]) -> VerifyVerdict:
    if not fit.converged:
        return "not converged"
    order: tuple[VerifyVerdict, ...] = ("fails", "too close to call")
    for verdict in order:
        if any(b.verdict == verdict for b in bands):
            return verdict
    return "passes"


def _judged(evidence: Evidence, readings: int) -> tuple[BandVerdict, ...]:
    target = evidence.job.target
    assert target is not None  # problem_of has asked for it
    speeds = np.array([b.speed for b in target.timed], float)
    columns = iter(zip(evidence.rising(speeds).T, evidence.falling(speeds).T, strict=True))
    judged = []
    for band in target.bands:
        stop = evidence.stop.sample
        rising, falling = (stop, stop) if band.kind == "maximum" else next(columns)
        judged.append(_one(band, rising, falling, readings))
    return tuple(judged)


def _one(band: Band, rising: Array, falling: Array, readings: int) -> BandVerdict:
    up, down = (float(rising.mean()), float(rising.std())), (float(falling.mean()), float(falling.std()))
    # What remains to each edge, and the standard uncertainty it is to be compared with.
    rooms = [(band.high - down[0], down[1])]
    if not band.from_zero:
        rooms.append((up[0] - band.low, up[1]))
    verdict: VerifyVerdict = "passes"
    more = 0
    for room, sigma in rooms:
        if room < -COVERAGE * sigma:
            verdict, more = "fails", 0
            break
        if room < COVERAGE * sigma:
            verdict = "too close to call"
            more = max(more, _more(room, sigma, readings))
    return BandVerdict(band, *up, *down, verdict, more)


def _more(room: float, sigma: float, readings: int) -> int:
    """How many readings more would make twice the uncertainty as small as what remains to the edge: it falls with
    the root of their number. At most 999."""
    need = readings * (COVERAGE * sigma / max(abs(room), 1e-9)) ** 2
    return int(np.clip(np.ceil(need - readings), 1, 999))


# --- correction ---------------------------------------------------------------------------------------------


def find_correction(unit: Job) -> Correction | None:
    """The fewest moves that bring the margin to 0.5, else those that bring it highest: one post before two, posts
    before the stop. None where nothing within the limits helps."""
    base = _built(unit, (0.0,) * len(unit.places), unit.stop.advance)
    best: tuple[float, Correction] | None = None
    places = range(len(unit.places))
    choices = [(c, False) for n in (1, 2) for c in combinations(places, n)]
    if unit.stop.limits[0] < unit.stop.limits[1]:
        choices += [((), True), *((c, True) for c, _ in choices)]
    for moved, trims in choices:
        build = _best_move(unit, moved, trims)
        if build is None or build.margin <= base.margin + 0.02:
            continue
        found = Correction(_moves(unit, build, moved, trims), build.margin)
        if build.margin >= ENOUGH:
            return found if best is None or best[0] < build.margin - 0.15 or best[0] < 0.2 else best[1]
        if best is None or build.margin > best[0] + 0.1:
            best = (build.margin, found)
    return None if best is None or best[0] < 0 else best[1]


def _built(unit: Job, bends: tuple[float, ...], stop: float, points: int = 401) -> Build:
    springs = tuple(p.found for p in unit.places if p.found is not None)
    return make_build(unit, springs, bends, stop, points)


def _best_move(unit: Job, moved: tuple[int, ...], trims: bool) -> Build | None:
    """The best margin with these posts free within their travel, and the stop if it `trims`: each in turn by golden
    section, until none gains; coarse first, since the margin has several tops."""
    axes = [unit.places[i].travel for i in moved] + ([unit.stop.limits] if trims else [])
    if any(high - low < 1e-9 for low, high in axes):
        return None
    start = [0.0] * len(moved) + ([unit.stop.advance] if trims else [])

    def margin(x: list[float]) -> float:
        build = _at(unit, moved, trims, x)
        return -9.0 if build.curve.snaps else build.margin

    x = start
    for grid in (13, 9, 9, 9):
        for axis, (low, high) in enumerate(axes):
            width = (high - low) * (1.0 if grid == 13 else 0.2)
            middle = (low + high) / 2 if grid == 13 else x[axis]
            trial = np.clip(np.linspace(middle - width / 2, middle + width / 2, grid), low, high)
            values = [margin([*x[:axis], float(t), *x[axis + 1 :]]) for t in [x[axis], *trial]]
            x = [*x[:axis], float([x[axis], *trial][int(np.argmax(values))]), *x[axis + 1 :]]
    rounded = [round(v / STEP) * STEP if i < len(moved) else v for i, v in enumerate(x)]
    return _at(unit, moved, trims, rounded)


def _at(unit: Job, moved: tuple[int, ...], trims: bool, x: list[float]) -> Build:
    bends = [0.0] * len(unit.places)
    for i, value in zip(moved, x, strict=False):
        bends[i] = value
    return _built(unit, tuple(bends), x[-1] if trims else unit.stop.advance)


def _moves(unit: Job, build: Build, moved: tuple[int, ...], trims: bool) -> tuple[Move, ...]:
    made = []
    for i in moved:
        one = build.springs[i]
        way = "out" if one.bend > 0 else "in"
        # The bend is what the sweep asks for; the length holds only of posts that stand where the plan had them.
        set_to = (
            f"to {one.length * 1e3:.2f} mm over the posts, if they measure {(one.length - one.bend) * 1e3:.2f} mm now"
        )
        words = f"bend the {PLACES[i]} post {way} {abs(one.bend) * 1e3:.2f} mm ({set_to})"
        made.append(Move(f"{PLACES[i]} post", one.bend, one.length, words))
    if trims:
        trim = unit.stop.trim(build.stop)
        way = "build the stop up" if trim > 0 else "file the stop"
        made.append(Move("stop", trim, None, f"{way} by {abs(trim) * 1e3:.2f} mm (to {np.degrees(build.stop):.1f}°)"))
    left = [f"leave the {PLACES[i]}" for i in range(len(unit.places)) if i not in moved]
    if made and left:
        last = made[-1]
        made[-1] = replace(last, words=f"{last.words}, {', '.join(left)}")
    return tuple(made)
