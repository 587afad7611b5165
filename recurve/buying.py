"""The buying list of a plan: what to order, what would do instead, and how far off it may come."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from recurve.build import Build, problem_of
from recurve.job import Job
from recurve.linear import Problem
from recurve.search import Shelf, alive
from recurve.springs import Spring

PLACES = ("primary", "secondary")
RATE, LENGTH, STEPS = 0.4, 2e-3, 40  # how far a rate [1] and a length [m] are looked at either way, in so many steps


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
        wound = [replace(spring, rate=spring.rate * (1 + x)) for x in np.linspace(-RATE, RATE, 2 * STEPS + 1)]
        longer = [
            replace(spring, free_length=spring.free_length + x) for x in np.linspace(-LENGTH, LENGTH, 2 * STEPS + 1)
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
    shelf = Shelf.of((*kinds, *(replace(p, quantity=None) for p in partners)))
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
