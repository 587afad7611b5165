"""Verify a finished unit: refit its new sweep, judge it by every band, and say what to move if it fails."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Literal

import numpy as np

from recurve.fit.fit import Fit, fit_sweep, fitted_job
from recurve.fit.state import Evidence
from recurve.job.measured import Measured
from recurve.job.model import Job
from recurve.physics.sweep import Sweep
from recurve.physics.target import Band
from recurve.planner.build import Build, make_build
from recurve.planner.problem import problem_of
from recurve.uncertainty import Sampled, Uncertain
from recurve.units import PLACES, Quantity

VerifyVerdict = Literal["passes", "fails", "too close to call", "not converged"]

COVERAGE = 2.0  # standard uncertainties that must lie inside a band, or outside
MISSET = 6.0  # how many times its tolerance a setting may be off in a unit that is being judged
TRIAL_POINTS = 401  # of a trial curve
POST_STEP = 0.05e-3  # a post cannot be set finer [m]
ENOUGH_MARGIN = 0.5  # margin at which no further move is worth making
GAIN = 0.02  # margin that a move must gain to be worth making at all
MORE_GAIN = 0.1  # margin that more moves must gain over fewer
FAIR, FAR = 0.2, 0.15  # a margin that fewer moves must reach, and how far they may stay behind, to be preferred


@dataclass(frozen=True)
class BandVerdict:
    """A band against the refitted curve: the advance `rising` and `falling` [rad], the verdict, and how many `more`
    readings would settle one that is too close to call, 0 otherwise."""

    band: Band
    rising: Uncertain
    falling: Uncertain
    verdict: VerifyVerdict
    more: int


@dataclass(frozen=True)
class Move:
    """One move: `what` ("primary post", "secondary post", "stop") moves `by` so much [m] (a post out, or the stop built up,
    is positive), so that the length over the posts is `to` [m], None for the stop; in `words`."""

    what: str
    by: float
    to: float | None
    words: str


@dataclass(frozen=True)
class Correction:
    """The moves to make, and the `margin` [1] predicted after them."""

    moves: tuple[Move, ...]
    margin: float


@dataclass(frozen=True)
class Verification:
    """The finished unit judged: `job` is the unit as its new sweep shows it, by the `fit`."""

    job: Job
    fit: Fit
    bands: tuple[BandVerdict, ...]
    verdict: VerifyVerdict
    correction: Correction | None


@dataclass(frozen=True)
class Before:
    """The unit as it was found: the `evidence` of its own sweep, and each band judged by it."""

    evidence: Evidence
    bands: tuple[BandVerdict, ...]


def as_found(job: Job) -> Before | None:
    """The unit as the sweep of its job shows it, judged by the job's bands; None without a sweep."""
    if job.sweep is None:
        return None
    evidence = Evidence.of(job, fit_sweep(job))
    return Before(evidence, _judged(evidence, len(job.sweep.speed)))


def verify_unit(job: Job, sweep: Sweep) -> Verification:
    """Judge the unit of a job (as planned) by a sweep of it as left.

    It passes if the refitted curve ± 2 standard uncertainties lies in every band, rising and falling, and fails if it lies
    outside one of them. Single readings do not decide. Raises InputError if the job has no target with bands.
    """
    problem_of(job)
    swept = replace(job, sweep=sweep, measured=_widened(job.measured))
    fit = fit_sweep(swept)
    evidence = Evidence.of(swept, fit)
    bands = _judged(evidence, len(sweep.speed))
    verdict = _overall(fit, bands)
    unit = fitted_job(fit)
    correction = None if verdict == "passes" else find_correction(unit)
    return Verification(unit, fit, bands, verdict, correction)


def _widened(measured: Measured) -> Measured:
    """The unit with the ± of posts and stop widened, so that planned settings do not dominate the fit: a setting that
    went wrong is what it looks for."""
    springs = tuple(
        s if s.free_length is None else replace(s, free_length=_wider(s.free_length)) for s in measured.springs
    )
    return replace(measured, stop=_wider(measured.stop), springs=springs)


def _wider(given: Quantity) -> Quantity:
    return given if given.half_width is None else replace(given, half_width=given.half_width * MISSET)


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
        judged.append(_judged_band(band, Sampled(rising), Sampled(falling), readings))
    return tuple(judged)


def _judged_band(band: Band, rising: Sampled, falling: Sampled, readings: int) -> BandVerdict:
    # What remains to each edge, and the standard uncertainty it is to be compared with.
    rooms = [(band.high - falling.mean, falling.standard_uncertainty)]
    if not band.from_zero:
        rooms.append((rising.mean - band.low, rising.standard_uncertainty))
    verdict: VerifyVerdict = "passes"
    more = 0
    for room, sigma in rooms:
        if room < -COVERAGE * sigma:
            verdict, more = "fails", 0
            break
        if room < COVERAGE * sigma:
            verdict = "too close to call"
            more = max(more, _more_readings(room, sigma, readings))
    return BandVerdict(band, rising.summary, falling.summary, verdict, more)


def _more_readings(room: float, sigma: float, readings: int) -> int:
    """How many more readings would make twice the uncertainty as small as what remains to the edge, at most 999: the
    uncertainty falls with the square root of their number."""
    need = readings * (COVERAGE * sigma / max(abs(room), 1e-9)) ** 2
    return int(np.clip(np.ceil(need - readings), 1, 999))


# --- correction ---------------------------------------------------------------------------------------------


def find_correction(unit: Job) -> Correction | None:
    """What to move on a finished unit, as fitted, so that it meets its bands: the fewest moves that help enough.

    Corrections are tried with the fewest moves first: one post before both posts, then the stop alone, then the stop with
    one post and with both. Posts stay within their travel and are set in steps of POST_STEP [m]; the stop stays within its
    limits. `fewest_moves` chooses among them by the margin that each reaches at best. None if none of them brings the
    margin to 0 or more.
    """
    before = _moved(unit, (), False, []).margin
    places = range(len(unit.places))
    choices = [(moved, False) for count in (1, 2) for moved in combinations(places, count)]
    if unit.stop.limits[0] < unit.stop.limits[1]:
        choices += [((), True), *((moved, True) for moved, _ in choices)]
    tried: list[Build | None] = []

    def margins() -> Iterator[float]:
        """The best margin of each choice, worked out only as far as `fewest_moves` asks."""
        for moved, trims in choices:
            build = _best_move(unit, moved, trims)
            tried.append(build)
            yield -np.inf if build is None else build.margin

    chosen = fewest_moves(margins(), before)
    build = None if chosen is None else tried[chosen]
    if chosen is None or build is None:
        return None
    return Correction(_moves(unit, build, *choices[chosen]), build.margin)


def fewest_moves(margins: Iterable[float], before: float) -> int | None:
    """Which correction to make, as its place in the order of `margins` [1], which has the fewest moves first; None for
    none. `before` is the margin [1] without any.

    - A correction that gains no more than GAIN over `before` is passed over.
    - More moves replace fewer ones only for a margin that is more than MORE_GAIN larger.
    - The first correction that reaches ENOUGH_MARGIN ends the choice, and no later one is looked at. It is taken, unless the best
      of the earlier ones reaches FAIR and is within FAR of it: then the earlier one is taken, for its fewer moves.
    - If none reaches ENOUGH_MARGIN, the best is taken, provided that its margin is not negative.
    """
    best: tuple[int, float] | None = None
    for place, margin in enumerate(margins):
        if margin <= before + GAIN:
            continue
        if margin >= ENOUGH_MARGIN:
            return place if best is None or best[1] < max(margin - FAR, FAIR) else best[0]
        if best is None or margin > best[1] + MORE_GAIN:
            best = (place, margin)
    return None if best is None or best[1] < 0 else best[0]


def _best_move(unit: Job, moved: tuple[int, ...], trims: bool) -> Build | None:
    """The best build with the posts `moved` free within their travel, and the stop free if it `trims`; None if there is
    no room to move. Each is searched in turn over a grid: coarse and wide first, since the margin has several maxima."""
    axes = [unit.places[i].travel for i in moved] + ([unit.stop.limits] if trims else [])
    if any(high - low < 1e-9 for low, high in axes):
        return None

    def margin(x: list[float]) -> float:
        build = _moved(unit, moved, trims, x)
        return -9.0 if build.curve.snaps else build.margin

    x = [0.0] * len(moved) + ([unit.stop.advance] if trims else [])
    for grid in (13, 9, 9, 9):
        for axis, (low, high) in enumerate(axes):
            width = (high - low) * (1.0 if grid == 13 else 0.2)
            middle = (low + high) / 2 if grid == 13 else x[axis]
            trial = np.clip(np.linspace(middle - width / 2, middle + width / 2, grid), low, high)
            values = [margin([*x[:axis], float(t), *x[axis + 1 :]]) for t in [x[axis], *trial]]
            x = [*x[:axis], float([x[axis], *trial][int(np.argmax(values))]), *x[axis + 1 :]]
    rounded = [round(v / POST_STEP) * POST_STEP if i < len(moved) else v for i, v in enumerate(x)]
    return _moved(unit, moved, trims, rounded)


def _moved(unit: Job, moved: tuple[int, ...], trims: bool, x: list[float]) -> Build:
    """The unit with its posts `moved` by x [m], and its stop at the last of x [rad] if it `trims`."""
    bends = [0.0] * len(unit.places)
    for i, value in zip(moved, x, strict=False):
        bends[i] = value
    springs = tuple(p.found for p in unit.places if p.found is not None)
    return make_build(unit, springs, tuple(bends), x[-1] if trims else unit.stop.advance, TRIAL_POINTS)


def _moves(unit: Job, build: Build, moved: tuple[int, ...], trims: bool) -> tuple[Move, ...]:
    """The moves that lead to this build, in words."""
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
