"""What would settle a plan that is out of reach: single changes, each the least that is enough, each planned again.

The least change is found by bisection on the linear form of the search, then planned. If bent posts ask for a little
more, it is enlarged until the plan passes, or dropped. Nothing is suggested that was not planned.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from recurve.arrays import Mask
from recurve.job.model import Job
from recurve.physics.mechanism import ScaledWeights
from recurve.physics.target import Band, Target
from recurve.planner.build import Build
from recurve.planner.choose import by_margin, choose_build
from recurve.planner.ideal import Ideal
from recurve.planner.problem import Problem, problem_of
from recurve.planner.search import feasible_pairs
from recurve.planner.springset import SpringSet
from recurve.springs.spring import Spring
from recurve.units import PLACES, RPM

ChangeKind = Literal["band", "stop", "posts", "mass", "springs"]

MOST_WIDER = np.radians(12.0)  # of a band's edge
MOST_TRAVEL = 3e-3  # of a post, each way [m]
MOST_STOP = np.radians(8.0)  # beyond what trim allows
MASSES = (0.4, 2.5)  # of the weights, relative to those in the unit
STEPS = 12  # of bisection: a four-thousandth of the largest change
SCAN = 12  # masses tried on either side
ENLARGE = (1.0, 1.02, 1.06, 1.15, 1.3)


@dataclass(frozen=True)
class Suggestion:
    """A single change that was planned and passes: its `kind`, what to do (`text`), how much (`amount` [`unit`]), the
    `build` that follows and the `job` with the change."""

    kind: ChangeKind
    text: str
    amount: float
    unit: str
    build: Build
    job: Job


@dataclass(frozen=True)
class _Change:
    """A change that grows with its amount x up to `most`: the problem, springs and job it makes, and its words.
    `scale` converts x to `unit`."""

    kind: ChangeKind
    most: float
    unit: str
    scale: float
    make: Callable[[float], tuple[Problem, SpringSet, Job]]
    words: Callable[[float, Build], str]


def suggestions(job: Job, spring_set: SpringSet, ideal: Ideal | None) -> tuple[Suggestion, ...]:
    """Of each kind of change the smallest, for a job for which nothing passes."""
    found: dict[str, Suggestion] = {}
    for change in _changes(job, spring_set):
        least = _least(change)
        made = None if least is None else _planned(change, least)
        if made is not None and (made.kind not in found or made.amount < found[made.kind].amount):
            found[made.kind] = made
    others = (_other_weights(job, spring_set), _other_springs(job, spring_set, ideal))
    return (*found.values(), *(s for s in others if s is not None))


# --- the least amount of a change ---------------------------------------------------------------------------


def _passing(problem: Problem, spring_set: SpringSet, among: Mask | None = None) -> Mask:
    """Pairs that pass in the linear form, of all or of those given."""
    allowed = spring_set.pairs(len(problem.posts)) if among is None else among
    return feasible_pairs(problem, spring_set, 0.0, allowed)


def _least(change: _Change) -> float | None:
    """The least amount with which a pair passes in the linear form; None if even the most is not enough."""
    kept = _passing(*change.make(change.most)[:2])
    if not kept.any():
        return None
    low, high = 0.0, change.most
    for _ in range(STEPS):
        middle = (low + high) / 2
        # A pair that passes with less of the change passes with more.
        fewer = _passing(*change.make(middle)[:2], kept)
        low, high, kept = (low, middle, fewer) if fewer.any() else (middle, high, kept)
    return high


def _planned(change: _Change, least: float) -> Suggestion | None:
    """The change planned, enlarged a little if it does not pass yet."""
    for factor in ENLARGE:
        # To two decimals, rounded up, so that what is printed is what was planned.
        shown = float(np.ceil(least * factor * change.scale * 100 - 1e-9) / 100)
        amount = min(shown / change.scale, change.most)
        problem, spring_set, job = change.make(amount)
        build = choose_build(problem, spring_set, job, by_margin, True).build
        if build is not None and build.margin >= 0.0:
            return Suggestion(change.kind, change.words(amount, build), amount * change.scale, change.unit, build, job)
    return None


# --- what may change ----------------------------------------------------------------------------------------


def _changes(job: Job, spring_set: SpringSet) -> Iterator[_Change]:
    assert job.target is not None  # a plan has one
    for index, band in enumerate(job.target.bands):
        for upper in (True, False):
            if upper or not band.from_zero:
                yield _band_change(job, job.target, spring_set, index, upper)
    yield from _stop_changes(job, spring_set)
    for place in range(len(job.places)):
        for way in (-1.0, 1.0):
            yield _post_change(job, spring_set, place, way)


def _band_change(job: Job, target: Target, spring_set: SpringSet, index: int, upper: bool) -> _Change:
    band = target.bands[index]

    def wider(x: float) -> Band:
        return replace(band, high=band.high + x) if upper else replace(band, low=max(band.low - x, 0.0))

    def make(x: float) -> tuple[Problem, SpringSet, Job]:
        bands = (*target.bands[:index], wider(x), *target.bands[index + 1 :])
        changed = replace(job, target=Target(bands))
        return problem_of(changed), spring_set, changed

    def words(x: float, build: Build) -> str:
        new, where = wider(x), "of the stop" if band.speed is None else f"at {band.speed * RPM:.0f} rpm"
        limit, was = (new.high, band.high) if upper else (new.low, band.low)
        return (
            f"Widen the band {where} by {np.degrees(x):.2f}°: at {'most' if upper else 'least'} {np.degrees(limit):.2f}° "
            f"instead of {np.degrees(was):.2f}° (distributor)."
        )

    return _Change("band", MOST_WIDER, "deg", float(np.degrees(1.0)), make, words)


def _stop_changes(job: Job, spring_set: SpringSet) -> Iterator[_Change]:
    """Trim beyond what the job allows, either way, as far as the mechanism can be computed."""
    low, high = job.stop.limits
    for less, most in ((True, min(MOST_STOP, low - np.radians(1.0))), (False, _room_above(job, high))):
        if most > np.radians(0.01):
            yield _stop_change(job, spring_set, less, float(most))


def _room_above(job: Job, high: float) -> float:
    """How far [rad] past the highest stop weights and springs still work."""
    steps = np.linspace(0.0, MOST_STOP, 33)
    with np.errstate(invalid="ignore"):
        good = np.asarray(job.weights.inertia_slope(high + steps)) > 0
        for place in job.places:
            good &= place.posts.length(high + steps)[1] > 0
    return float(steps[int(np.argmin(good)) - 1]) if not good.all() else MOST_STOP


def _stop_change(job: Job, spring_set: SpringSet, less: bool, most: float) -> _Change:
    low, high = job.stop.limits

    def make(x: float) -> tuple[Problem, SpringSet, Job]:
        stops = (low - x, high) if less else (low, high + x)
        return replace(problem_of(job), stops=stops), spring_set, job

    def words(x: float, build: Build) -> str:
        trim = build.trim * 1e3
        how = f", {'built up' if trim > 0 else 'filed'} by {abs(trim):.2f} mm in all" if job.stop.per_mm else ""
        return f"Bring the stop to {np.degrees(build.stop):.2f}° (distributor){how}: more than the job's trim allows."

    return _Change("stop", most, "deg", float(np.degrees(1.0)), make, words)


def _post_change(job: Job, spring_set: SpringSet, place: int, way: float) -> _Change:
    was = job.places[place].travel
    rest = float(job.places[place].posts.length(0.0)[0])
    most = min(MOST_TRAVEL, 0.5 * rest + was[0]) if way < 0 else MOST_TRAVEL

    def make(x: float) -> tuple[Problem, SpringSet, Job]:
        travel = (was[0] - x, was[1]) if way < 0 else (was[0], was[1] + x)
        places = list(job.places)
        places[place] = replace(places[place], travel=travel)
        changed = replace(job, places=tuple(places))
        return problem_of(changed), spring_set, changed

    def words(x: float, build: Build) -> str:
        end = 1e3 * (x - was[0] if way < 0 else was[1] + x)
        bent = f"{'in' if way < 0 else 'out'} by up to {end:.2f} mm"
        return f"Let the {PLACES[place]} post be bent {bent}, {1e3 * x:.2f} mm more."

    return _Change("posts", max(most, 0.0), "mm", 1e3, make, words)


# --- other weights and springs ------------------------------------------------------------------------------


def _other_weights(job: Job, spring_set: SpringSet) -> Suggestion | None:
    """A matched set of weights, as near to those in the unit as is enough."""
    for fraction in np.linspace(0.0, 1.0, SCAN + 1)[1:]:
        for end in MASSES:
            factor = float(end**fraction)
            if not _passing(_weighted(job, factor), spring_set).any():
                continue
            step = float(end ** (1 / SCAN))
            made = _planned(_mass_change(job, spring_set, factor / step, factor), 1.0)
            if made is not None:
                return made
    return None


def _weighted(job: Job, factor: float) -> Problem:
    return replace(problem_of(job), weights=ScaledWeights.of(job.weights, factor))


def _mass_change(job: Job, spring_set: SpringSet, start: float, end: float) -> _Change:
    """From the mass factor `start` to `end`, which is enough; x = 1 is the least factor between, to a hundredth."""
    low, high = start, end
    for _ in range(STEPS):
        middle = (low * high) ** 0.5
        low, high = (low, middle) if _passing(_weighted(job, middle), spring_set).any() else (middle, high)
    away = 0.01 if high > 1.0 else -0.01
    least = (np.ceil(high * 100 - 1e-9) if away > 0 else np.floor(high * 100 + 1e-9)) / 100

    def factor(x: float) -> float:
        return float(least + away * round((x - 1.0) * 50))

    def make(x: float) -> tuple[Problem, SpringSet, Job]:
        scaled = replace(job, weights=ScaledWeights.of(job.weights, factor(x)))
        return problem_of(scaled), spring_set, scaled

    def words(x: float, build: Build) -> str:
        more = factor(x) - 1.0
        mass = job.weights.mass
        grams = f", {1e3 * mass * factor(x):.1f} g instead of {1e3 * mass:.1f} g each" if mass else ""
        return (
            f"Fit a matched set of weights of the same shape, each {abs(more):.0%} {'heavier' if more > 0 else 'lighter'}"
            f"{grams}."
        )

    return _Change("mass", 2.0, "1", 1.0, make, words)


def _other_springs(job: Job, spring_set: SpringSet, ideal: Ideal | None) -> Suggestion | None:
    """Springs outside the catalogue: the ideal ones, only one of them beside a spring of the catalogue if enough."""
    if ideal is None or ideal.margin < 0.0:
        return None
    wound = _ideal_springs(job, ideal)
    n = len(spring_set)
    for some in (*((w,) for w in wound if len(wound) > 1), wound):
        fits = np.ones((2, n + len(some)), bool)
        if spring_set.fits is not None:
            fits[:, :n] = spring_set.fits
        longest = np.r_[spring_set.longest, np.full(len(some), np.inf)]
        full = replace(SpringSet.of((*spring_set.springs, *some)), longest=longest, fits=fits)
        build = choose_build(problem_of(job), full, job, by_margin, True).build
        if build is not None and build.margin >= 0.0:
            used = [s for s in build.springs if any(s.spring is w for w in some)]
            told = " and ".join(_spring_words(s.spring) for s in used)
            text = f"Have wound, since the catalogue has none such: {told}."
            return Suggestion("springs", text, float(len(used)), "1", build, job)
    return None


def _spring_words(spring: Spring) -> str:
    tension = f", {spring.initial_tension:.2f} N initial tension" if spring.initial_tension > 0 else ""
    return f"{spring.id} of {spring.rate / 1e3:.2f} N/mm, {1e3 * spring.free_length:.2f} mm inside its hooks{tension}"


def _ideal_springs(job: Job, ideal: Ideal) -> tuple[Spring, ...]:
    """The ideal numbers as springs that serve on the posts as they stand."""
    made = []
    for name, number, place in zip(("a primary", "a secondary"), ideal.springs, job.places, strict=False):
        rest = float(place.posts.length(0.0)[0])
        if number.takeup is None:
            made.append(Spring(name, number.rate, float(place.posts.length(job.stop.limits[1])[0]) + 1e-3))
        elif number.takeup == 0.0:
            made.append(Spring(name, number.rate, rest - number.pull / number.rate))
        else:
            made.append(Spring(name, number.rate, float(place.posts.length(number.takeup)[0]), number.takeup_pull))
    return tuple(made)
