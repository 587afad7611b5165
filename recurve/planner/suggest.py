"""What would settle a plan that is out of reach: the least change that is enough, or two together where no single one is.

The least change is found by bisection on the linear form of the search, then planned. If bent posts ask for a little
more, it is enlarged until the plan passes, or dropped. Nothing is suggested that was not planned.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from recurve.arrays import Mask
from recurve.job.model import Job
from recurve.physics.mechanism import ScaledWeights
from recurve.planner.build import Build
from recurve.planner.changes import Change, ChangeKind, changes_of
from recurve.planner.choose import by_margin, choose_build
from recurve.planner.ideal import Ideal
from recurve.planner.problem import Problem, problem_of
from recurve.planner.search import feasible_pairs
from recurve.planner.springset import SpringSet
from recurve.springs.spring import Spring

MASSES = (0.4, 2.5)  # of the weights, relative to those in the unit
MOST_PAIRS = 3  # of changes that are suggested
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


def suggestions(job: Job, spring_set: SpringSet, ideal: Ideal | None) -> tuple[Suggestion, ...]:
    """Of each kind of change the smallest, for a job for which nothing passes; where no single change is enough, two."""
    found: dict[str, Suggestion] = {}
    for change in changes_of(job, spring_set):
        least = _least(change)
        made = None if least is None else _planned(change, least)
        if made is not None and (made.kind not in found or made.amount < found[made.kind].amount):
            found[made.kind] = made
    others = (_other_weights(job, spring_set), _other_springs(job, spring_set, ideal))
    singles = (*found.values(), *(s for s in others if s is not None))
    return singles or tuple(_of_two(job, spring_set))


# --- the least amount of a change ---------------------------------------------------------------------------


def _passing(problem: Problem, spring_set: SpringSet, among: Mask | None = None) -> Mask:
    """Pairs that pass in the linear form, of all or of those given."""
    allowed = spring_set.pairs(len(problem.posts)) if among is None else among
    return feasible_pairs(problem, spring_set, 0.0, allowed)


def _least(change: Change) -> float | None:
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


def _planned(change: Change, least: float) -> Suggestion | None:
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


# --- two changes together -----------------------------------------------------------------------------------


def _of_two(job: Job, spring_set: SpringSet) -> Iterator[Suggestion]:
    """Pairs of changes, those first that need the smallest part of what each may be."""
    listed = list(changes_of(job, spring_set))
    pairs = [(a, b) for i, a in enumerate(listed) for b in listed[i + 1 :] if b.kind != "stop" or a.kind != "stop"]
    given = 0
    for part, one, other in _nearest(job, spring_set, pairs):
        made = _two_planned(job, spring_set, (one, other), part)
        if made is not None:
            yield made
            given += 1
        if given == MOST_PAIRS:
            return


def _together(
    job: Job, spring_set: SpringSet, pair: tuple[Change, Change], amounts: tuple[float, float]
) -> tuple[Problem, SpringSet, Job]:
    """The second change made to the job that the first has made."""
    changed = pair[0].make(amounts[0])[2]
    second = next(c for c in changes_of(changed, spring_set) if c.key == pair[1].key)
    return second.make(amounts[1])


def _nearest(job: Job, spring_set: SpringSet, pairs: list[tuple[Change, Change]]) -> list[tuple[float, Change, Change]]:
    """The pairs of changes that are enough in the linear form, each with the part [1] of both mosts that it needs."""
    left = [(p, _passing(*_together(job, spring_set, p, (p[0].most, p[1].most))[:2])) for p in pairs]
    left = [(p, kept) for p, kept in left if kept.any()]
    low, high = 0.0, 1.0
    for _ in range(STEPS // 2):
        middle = (low + high) / 2
        less = []
        for pair, kept in left:
            amounts = (middle * pair[0].most, middle * pair[1].most)
            fewer = _passing(*_together(job, spring_set, pair, amounts)[:2], kept)
            if fewer.any():
                less.append((pair, fewer))
        if less:
            high, left = middle, less
        else:
            low = middle
    return [(high, *pair) for pair, _ in left]


def _two_planned(job: Job, spring_set: SpringSet, pair: tuple[Change, Change], part: float) -> Suggestion | None:
    """Two changes planned, the first as little as is enough beside `part` [1] of the second's most, then the second."""
    amounts = [part * c.most for c in pair]
    for index in (0, 1):
        low, high = 0.0, amounts[index]
        for _ in range(STEPS):
            amounts[index] = (low + high) / 2
            enough = _passing(*_together(job, spring_set, pair, (amounts[0], amounts[1]))[:2]).any()
            low, high = (low, amounts[index]) if enough else (amounts[index], high)
        amounts[index] = high
    for factor in ENLARGE:
        shown = [float(np.ceil(x * factor * c.scale * 100 - 1e-9) / 100) for x, c in zip(amounts, pair, strict=True)]
        first, second = (x / c.scale for x, c in zip(shown, pair, strict=True))
        problem, springs, changed = _together(job, spring_set, pair, (first, second))
        build = choose_build(problem, springs, changed, by_margin, True).build
        if build is not None and build.margin >= 0.0:
            told = " ".join(c.words(x, build) for c, x in zip(pair, (first, second), strict=True))
            return Suggestion("two", f"Make both of these changes. {told}", 2.0, "1", build, changed)
    return None


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


def _mass_change(job: Job, spring_set: SpringSet, start: float, end: float) -> Change:
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

    return Change("mass", "mass", 2.0, "1", 1.0, make, words)


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
            text = f"Have springs wound, since the catalogue has none like them: {told}."
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
