"""The buying list of a plan: what to order, what would do instead, and how far off it may be."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from recurve.job.model import Job
from recurve.planner.build import Build
from recurve.planner.problem import Problem, problem_of
from recurve.planner.search import feasible_pairs
from recurve.planner.springset import SpringSet
from recurve.springs.spring import Spring
from recurve.units import PLACES

RATE_REACH = 0.4  # how far a rate [1] is varied either way
LENGTH_REACH = 2e-3  # how far a length [m] is varied either way
STEPS = 40  # either way


@dataclass(frozen=True)
class Purchase:
    """A spring to take or to order for a place.

    `alternates`: ids that pass beside the same other spring, the best first. `rates` [N/m] and `lengths` [m] inside the
    hooks: the ranges of one number at a time that still leave `floor` [1], half the plan's margin, once the posts are
    set again. `assumed` [1]: the tolerance of the rate that the yield is based on.
    """

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
        rates = [spring.rate * (1 + x) for x in np.linspace(-RATE_REACH, RATE_REACH, 2 * STEPS + 1)]
        lengths = [spring.free_length + x for x in np.linspace(-LENGTH_REACH, LENGTH_REACH, 2 * STEPS + 1)]
        softest, stiffest = _limits(problem, build, index, [replace(spring, rate=x) for x in rates], floor)
        shortest, longest = _limits(problem, build, index, [replace(spring, free_length=x) for x in lengths], floor)
        made.append(
            Purchase(
                place=PLACES[index],
                spring=spring,
                alternates=_alternates(build, others, index),
                rates=(rates[softest], rates[stiffest]),
                lengths=(lengths[shortest], lengths[longest]),
                floor=floor,
                assumed=job.build.rate,
            )
        )
    return tuple(made)


def _limits(problem: Problem, build: Build, index: int, variants: list[Spring], floor: float) -> tuple[int, int]:
    """The first and last of the variants of one spring that reach the floor beside the other spring, without a gap
    around the planned one in the middle."""
    middle = len(variants) // 2
    partners = [s.spring for i, s in enumerate(build.springs) if i != index]
    spring_set = SpringSet.of([replace(s, quantity=None) for s in (*variants, *partners)])
    fits = np.zeros((2, len(spring_set)), bool)
    fits[index, : len(variants)] = True
    fits[1 - index, len(variants) :] = True
    pairs = feasible_pairs(problem, spring_set, floor, spring_set.limited(fits).pairs(len(problem.posts)))
    good = np.asarray(pairs.any(axis=1 - index))[: len(variants)]
    # The planned one has been built, whatever the linear form says where posts are bent.
    good[middle] = True
    first = middle - int(np.argmin(np.r_[good[: middle + 1][::-1], False])) + 1
    last = middle + int(np.argmin(np.r_[good[middle:], False])) - 1
    return first, last


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
