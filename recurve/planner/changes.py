"""What may change where nothing passes: the edge of a band, a post's travel, the stop's trim; each grows with its amount."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from recurve.job.model import Job
from recurve.physics.target import Band, Target
from recurve.planner.build import Build
from recurve.planner.problem import Problem, problem_of
from recurve.planner.springset import SpringSet
from recurve.units import PLACES, RPM

ChangeKind = Literal["band", "stop", "posts", "mass", "springs", "two"]

MOST_WIDER = np.radians(12.0)  # of a band's edge
MOST_TRAVEL = 3e-3  # of a post, each way [m]
MOST_STOP = np.radians(8.0)  # beyond what trim allows


@dataclass(frozen=True)
class Change:
    """A change that grows with its amount x up to `most`: the problem, springs and job it makes, and its words.
    `scale` converts x to `unit`; `key` tells it from the job's other changes. Amounts in [SI]."""

    kind: ChangeKind
    key: str
    most: float
    unit: str
    scale: float
    make: Callable[[float], tuple[Problem, SpringSet, Job]]
    words: Callable[[float, Build], str]


def changes_of(job: Job, spring_set: SpringSet) -> Iterator[Change]:
    """Every change of a band's edge, of a post's travel and of the stop; those of the stop last, since they are not the job's."""
    assert job.target is not None  # a plan has one
    for index, band in enumerate(job.target.bands):
        for upper in (True, False):
            if upper or not band.from_zero:
                yield _band_change(job, job.target, spring_set, index, upper)
    for place in range(len(job.places)):
        for way in (-1.0, 1.0):
            yield _post_change(job, spring_set, place, way)
    yield from _stop_changes(job, spring_set)


def _band_change(job: Job, target: Target, spring_set: SpringSet, index: int, upper: bool) -> Change:
    band = target.bands[index]

    def wider(x: float) -> Band:
        return replace(band, high=band.high + x) if upper else replace(band, low=max(band.low - x, 0.0))

    def make(x: float) -> tuple[Problem, SpringSet, Job]:
        bands = (*target.bands[:index], wider(x), *target.bands[index + 1 :])
        changed = replace(job, target=replace(target, bands=bands))
        return problem_of(changed), spring_set, changed

    def words(x: float, build: Build) -> str:
        new, where = wider(x), "of the stop" if band.speed is None else f"at {band.speed * RPM:.0f} rpm"
        limit, was = (new.high, band.high) if upper else (new.low, band.low)
        return (
            f"Widen the band {where} by {np.degrees(x):.2f}°, to at {'most' if upper else 'least'} "
            f"{np.degrees(limit):.2f}° instead of {np.degrees(was):.2f}° (distributor)."
        )

    return Change("band", f"band {index} {upper}", MOST_WIDER, "deg", float(np.degrees(1.0)), make, words)


def _stop_changes(job: Job, spring_set: SpringSet) -> Iterator[Change]:
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


def _stop_change(job: Job, spring_set: SpringSet, less: bool, most: float) -> Change:
    low, high = job.stop.limits

    def make(x: float) -> tuple[Problem, SpringSet, Job]:
        stops = (low - x, high) if less else (low, high + x)
        return replace(problem_of(job), stops=stops), spring_set, job

    def words(x: float, build: Build) -> str:
        trim = build.trim * 1e3
        how = f", {'built up' if trim > 0 else 'filed'} by {abs(trim):.2f} mm altogether" if job.stop.per_mm else ""
        return f"Bring the stop to {np.degrees(build.stop):.2f}° (distributor){how}; that is more than the job allows."

    return Change("stop", f"stop {less}", most, "deg", float(np.degrees(1.0)), make, words)


def _post_change(job: Job, spring_set: SpringSet, place: int, way: float) -> Change:
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
        return f"Allow the {PLACES[place]} post to be bent {bent}, which is {1e3 * x:.2f} mm more than now."

    return Change("posts", f"post {place} {way:+.0f}", max(most, 0.0), "mm", 1e3, make, words)
