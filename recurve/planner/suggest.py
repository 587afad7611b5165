"""What would settle a plan that is out of reach: single changes, each the least that does, each planned again.

The least change is bisected on the search's linear form, then planned; where bent posts ask for a little more it is
enlarged until the plan passes, or dropped. Nothing is suggested that was not planned.

The buying list of a plan: what to order, what would do instead, and how far off it may come.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from recurve.arrays import Array
from recurve.job.model import Job
from recurve.physics.mechanism import Weights
from recurve.physics.target import Band, Target
from recurve.planner.build import Build, problem_of
from recurve.planner.choose import by_margin, choose_build
from recurve.planner.ideal import Ideal
from recurve.planner.linear import Problem
from recurve.planner.search import Mask, SpringSet, alive
from recurve.springs.spring import Spring
from recurve.units import PLACES, RPM

MOST_WIDER = np.radians(12.0)  # of a band's edge
MOST_TRAVEL = 3e-3  # of a post, each way [m]
MOST_STOP = np.radians(8.0)  # beyond what trim allows
MASSES = (0.4, 2.5)  # of the weights, against those in the unit
STEPS = 12  # of bisection: a four-thousandth of the largest change
SCAN = 12  # masses tried on either side
ENLARGE = (1.0, 1.02, 1.06, 1.15, 1.3)


@dataclass(frozen=True)
class Suggestion:
    """A single change that was planned and passes: its `kind` ("band", "stop", "posts", "mass" or "springs"), what
    to do in words, how much (`amount` [`unit`]), and the build that follows, with its margin."""

    kind: str
    text: str
    amount: float
    unit: str
    build: Build
    job: Job


@dataclass(frozen=True)
class ScaledWeights(Weights):
    """Weights of the same shape as those `given`, each `factor` [1] times as heavy."""

    given: Weights
    factor: float

    @classmethod
    def of(cls, given: Weights, factor: float) -> ScaledWeights:
        """Those given, `factor` [1] times as heavy."""
        return cls(given.count, given.mass, given.motion, given, factor)

    def inertia(self, advance: ArrayLike) -> Array:
        """I(α) [kg·m²] at the advance [rad], same shape."""
        return self.factor * self.given.inertia(advance)

    def inertia_slope(self, advance: ArrayLike) -> Array:
        """I′(α) [kg·m²/rad] at the advance [rad], same shape."""
        return self.factor * self.given.inertia_slope(advance)


@dataclass(frozen=True)
class _Change:
    """A change that grows with its amount x: the job and shelf it makes, the most it may be, and its words."""

    kind: str
    most: float
    unit: str
    scale: float
    make: Callable[[float], tuple[Problem, SpringSet, Job]]
    words: Callable[[float, Build], str]


def suggestions(job: Job, shelf: SpringSet, ideal: Ideal | None) -> tuple[Suggestion, ...]:
    """Of each kind of change the one that asks least, for a job of which nothing passes."""
    found: dict[str, Suggestion] = {}
    for change in _changes(job, shelf):
        least = _least(change)
        made = None if least is None else _planned(change, least)
        if made is not None and (made.kind not in found or made.amount < found[made.kind].amount):
            found[made.kind] = made
    masses = _mass(job, shelf)
    springs = _springs(job, shelf, ideal)
    return (*found.values(), *(s for s in (masses, springs) if s is not None))


def _passing(problem: Problem, shelf: SpringSet, kept: Mask | None = None) -> Mask:
    """Pairs, of those kept, that pass in the linear form."""
    return alive(problem, shelf, 0.0, shelf.pairs(len(problem.posts)) if kept is None else kept)


def _least(change: _Change) -> float | None:
    """The least amount with which a pair passes in the linear form; None if not even the most is enough."""
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
    """The change planned, a little more of it where it does not pass yet."""
    for more in ENLARGE:
        amount = min(_rounded_up(least * more * change.scale) / change.scale, change.most)
        problem, shelf, job = change.make(amount)
        build = choose_build(problem, shelf, job, by_margin, True).build
        if build is not None and build.margin >= 0.0:
            return Suggestion(change.kind, change.words(amount, build), amount * change.scale, change.unit, build, job)
    return None


def _rounded_up(amount: float) -> float:
    """To two decimals, so that what is said is what was planned."""
    return float(np.ceil(amount * 100 - 1e-9) / 100)


# --- what may change ----------------------------------------------------------------------------------------


def _changes(job: Job, shelf: SpringSet) -> Iterator[_Change]:
    assert job.target is not None  # a plan has one
    for index, band in enumerate(job.target.bands):
        for upper in (True, False):
            if upper or not band.from_zero:
                yield _band_change(job, shelf, index, upper)
    yield from _stop_changes(job, shelf)
    names = ("primary", "secondary")[: len(job.places)]
    for place, name in enumerate(names):
        for way in (-1.0, 1.0):
            yield _post_change(job, shelf, place, name, way)


def _band_change(job: Job, shelf: SpringSet, index: int, upper: bool) -> _Change:
    assert job.target is not None
    band = job.target.bands[index]

    def wider(x: float) -> Band:
        return replace(band, high=band.high + x) if upper else replace(band, low=max(band.low - x, 0.0))

    def make(x: float) -> tuple[Problem, SpringSet, Job]:
        assert job.target is not None
        bands = (*job.target.bands[:index], wider(x), *job.target.bands[index + 1 :])
        changed = replace(job, target=Target(bands))
        return problem_of(changed), shelf, changed

    def words(x: float, build: Build) -> str:
        new, where = wider(x), "of the stop" if band.speed is None else f"at {band.speed * RPM:.0f} rpm"
        limit, was = (new.high, band.high) if upper else (new.low, band.low)
        return (
            f"Widen the band {where} by {np.degrees(x):.2f}°: at {'most' if upper else 'least'} {np.degrees(limit):.2f}° "
            f"instead of {np.degrees(was):.2f}° (distributor)."
        )

    return _Change("band", MOST_WIDER, "deg", float(np.degrees(1.0)), make, words)


def _stop_changes(job: Job, shelf: SpringSet) -> Iterator[_Change]:
    """Trim beyond what the job allows, either way, as far as the mechanism can be computed."""
    low, high = job.stop.limits
    room = {True: min(MOST_STOP, low - np.radians(1.0)), False: _reach(job, high)}
    for less, most in room.items():
        if most > np.radians(0.01):
            yield _stop_change(job, shelf, less, float(most))


def _reach(job: Job, high: float) -> float:
    """How far [rad] past the highest stop weights and springs still work."""
    steps = np.linspace(0.0, MOST_STOP, 33)
    with np.errstate(invalid="ignore"):
        good = np.asarray(job.weights.inertia_slope(high + steps)) > 0
        for place in job.places:
            good &= place.posts.length(high + steps)[1] > 0
    return float(steps[int(np.argmin(good)) - 1]) if not good.all() else MOST_STOP


def _stop_change(job: Job, shelf: SpringSet, less: bool, most: float) -> _Change:
    low, high = job.stop.limits

    def make(x: float) -> tuple[Problem, SpringSet, Job]:
        stops = (low - x, high) if less else (low, high + x)
        return replace(problem_of(job), stops=stops), shelf, job

    def words(x: float, build: Build) -> str:
        trim = build.trim * 1e3
        how = f", {'built up' if trim > 0 else 'filed'} by {abs(trim):.2f} mm in all" if job.stop.per_mm else ""
        return f"Bring the stop to {np.degrees(build.stop):.2f}° (distributor){how}: more than the job's trim allows."

    return _Change("stop", most, "deg", float(np.degrees(1.0)), make, words)


def _post_change(job: Job, shelf: SpringSet, place: int, name: str, way: float) -> _Change:
    was = job.places[place].travel
    rest = float(job.places[place].posts.length(0.0)[0])
    most = min(MOST_TRAVEL, 0.5 * rest + was[0]) if way < 0 else MOST_TRAVEL

    def make(x: float) -> tuple[Problem, SpringSet, Job]:
        travel = (was[0] - x, was[1]) if way < 0 else (was[0], was[1] + x)
        places = list(job.places)
        places[place] = replace(places[place], travel=travel)
        changed = replace(job, places=tuple(places))
        return problem_of(changed), shelf, changed

    def words(x: float, build: Build) -> str:
        end = 1e3 * (x - was[0] if way < 0 else was[1] + x)
        return f"Let the {name} post be bent {'in' if way < 0 else 'out'} by up to {end:.2f} mm, {1e3 * x:.2f} mm more."

    return _Change("posts", max(most, 0.0), "mm", 1e3, make, words)


def _mass(job: Job, shelf: SpringSet) -> Suggestion | None:
    """A matched set of weights as near to those in the unit as will do."""
    for share in np.linspace(0.0, 1.0, SCAN + 1)[1:]:
        for end in MASSES:
            factor = float(end**share)
            if not _passing(_weighted(job, factor), shelf).any():
                continue
            step = float(end ** (1 / SCAN))
            made = _planned(_mass_change(job, shelf, factor / step, factor), 1.0)
            if made is not None:
                return made
    return None


def _weighted(job: Job, factor: float) -> Problem:
    return replace(problem_of(job), weights=ScaledWeights.of(job.weights, factor))


def _mass_change(job: Job, shelf: SpringSet, start: float, end: float) -> _Change:
    """From one factor to another that works; x = 1 is the latter, which is rounded to a hundredth."""
    low, high = start, end
    for _ in range(STEPS):
        middle = (low * high) ** 0.5
        low, high = (low, middle) if _passing(_weighted(job, middle), shelf).any() else (middle, high)
    away = 0.01 if high > 1.0 else -0.01
    least = (np.ceil(high * 100 - 1e-9) if away > 0 else np.floor(high * 100 + 1e-9)) / 100

    def factor(x: float) -> float:
        return float(least + away * round((x - 1.0) * 50))

    def make(x: float) -> tuple[Problem, SpringSet, Job]:
        scaled = replace(job, weights=ScaledWeights.of(job.weights, factor(x)))
        return problem_of(scaled), shelf, scaled

    def words(x: float, build: Build) -> str:
        more = factor(x) - 1.0
        mass = job.weights.mass
        grams = f", {1e3 * mass * factor(x):.1f} g instead of {1e3 * mass:.1f} g each" if mass else ""
        return (
            f"Fit a matched set of weights of the same shape, each {abs(more):.0%} {'heavier' if more > 0 else 'lighter'}"
            f"{grams}."
        )

    return _Change("mass", 2.0, "1", 1.0, make, words)


def _springs(job: Job, shelf: SpringSet, ideal: Ideal | None) -> Suggestion | None:
    """Springs outside the catalogue: the ideal ones, one of them beside the shelf's if that is enough."""
    if ideal is None or ideal.margin < 0.0:
        return None
    wound = ideal_springs(job, ideal)
    n = len(shelf.springs)
    for some in (*((w,) for w in wound if len(wound) > 1), wound):
        more = SpringSet.of((*shelf.springs, *some))
        fits = np.ones((2, n + len(some)), bool)
        if shelf.fits is not None:
            fits[:, :n] = shelf.fits
        full = replace(more, longest=np.r_[shelf.longest, np.full(len(some), np.inf)], fits=fits)
        build = choose_build(problem_of(job), full, job, by_margin, True).build
        if build is not None and build.margin >= 0.0:
            used = [s for s in build.springs if any(s.spring is w for w in some)]
            told = " and ".join(_spring_words(s.spring) for s in used)
            return Suggestion(
                "springs", f"Have wound, since the catalogue has none such: {told}.", float(len(used)), "1", build, job
            )
    return None


def _spring_words(spring: Spring) -> str:
    tension = f", {spring.initial_tension:.2f} N initial tension" if spring.initial_tension > 0 else ""
    return f"{spring.id} of {spring.rate / 1e3:.2f} N/mm, {1e3 * spring.free_length:.2f} mm inside its hooks{tension}"


def ideal_springs(job: Job, ideal: Ideal) -> tuple[Spring, ...]:
    """The ideal numbers as springs that would do on the posts as they stand, those that take up where they say."""
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


RATE, LENGTH, PURCHASE_STEPS = (
    0.4,
    2e-3,
    40,
)  # how far a rate [1] and a length [m] are looked at either way, in so many steps


@dataclass(frozen=True)
class Purchase:
    """A spring to take or to order: its place, `alternates` (ids that pass beside the same other spring, the best
    first), and the `rates` [N/m] and `lengths` [m] inside the hooks, one off at a time, that still leave `floor`, half
    the plan's margin, once the posts are set anew. `assumed` [1]: the rate's tolerance that the yield counts on."""

    place: str
    spring: Spring
    alternates: tuple[str, ...]
    rates: tuple[float, float]
    lengths: tuple[float, float]
    floor: float
    assumed: float


def purchases(job: Job, build: Build, others: tuple[Build, ...]) -> tuple[Purchase, ...]:
    """One for each spring that is not in the unit already; none for a plan that does not pass."""
    if build.margin < 0.0:
        return ()
    found = [p.found for p in job.places]
    problem = replace(problem_of(job), stops=(build.stop, build.stop))
    made = []
    for index, fitted in enumerate(build.springs):
        spring, floor = fitted.spring, build.margin / 2
        if any(spring is f for f in found):
            continue
        wound = [replace(spring, rate=spring.rate * (1 + x)) for x in np.linspace(-RATE, RATE, 2 * PURCHASE_STEPS + 1)]
        longer = [
            replace(spring, free_length=spring.free_length + x)
            for x in np.linspace(-LENGTH, LENGTH, 2 * PURCHASE_STEPS + 1)
        ]
        rates = [wound[i].rate for i in _around(problem, build, index, wound, floor)]
        lengths = [longer[i].free_length for i in _around(problem, build, index, longer, floor)]
        made.append(
            Purchase(
                PLACES[index],
                spring,
                _alternates(build, others, index),
                (rates[0], rates[-1]),
                (lengths[0], lengths[-1]),
                floor,
                job.build.rate,
            )
        )
    return tuple(made)


def _around(problem: Problem, build: Build, index: int, kinds: list[Spring], floor: float) -> list[int]:
    """The kinds of one spring, the planned one in their middle, that reach the floor beside the other; those that meet
    the planned one without a gap."""
    middle = len(kinds) // 2
    kinds = [replace(s, quantity=None) for s in kinds]
    partners = [s.spring for i, s in enumerate(build.springs) if i != index]
    shelf = SpringSet.of((*kinds, *(replace(p, quantity=None) for p in partners)))
    fits = np.zeros((2, len(shelf.springs)), bool)
    fits[index, : len(kinds)] = True
    fits[1 - index, len(kinds) :] = True
    pairs = alive(problem, shelf, floor, shelf.limited(fits).pairs(len(problem.posts)))
    good = np.asarray(pairs.any(axis=1 - index))[: len(kinds)]
    # The planned one has been built, whatever the linear form says where posts are bent.
    good[middle] = True
    first = middle - int(np.argmin(np.r_[good[: middle + 1][::-1], False])) + 1
    last = middle + int(np.argmin(np.r_[good[middle:], False])) - 1
    return [first, last]


def _alternates(build: Build, others: tuple[Build, ...], index: int) -> tuple[str, ...]:
    """Ids in this place of builds that pass with the other spring as planned."""

    def same_partner(other: Build) -> bool:
        return all(
            a.spring is b.spring
            for i, (a, b) in enumerate(zip(build.springs, other.springs, strict=True))
            if i != index
        )

    ids = [o.springs[index].spring.id for o in others if o.margin >= 0.0 and same_partner(o)]
    return tuple(dict.fromkeys(i for i in ids if i != build.springs[index].spring.id))
