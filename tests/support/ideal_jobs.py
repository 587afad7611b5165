"""Jobs with posts by table, their ideal springs, and the forward curve of springs that are what the ideal says.

Posts by table, so that bending one changes no lever and the catalogue's springs are a part of what the ideal ones may
be. All jobs are invented, by `random_jobs`.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from brute import exact_margin
from random_jobs import DEG, MM, Hidden, hidden, make_job, random_springs, random_target

from recurve.job.model import Job, SpringPlace
from recurve.physics.curve import Installed, Stop, Unit, trace
from recurve.planner.ideal import Ideal, find_ideal
from recurve.planner.problem import Problem, SpringBounds, problem_of
from recurve.springs.spring import Spring

TRAVEL = (-0.6 * MM, 0.6 * MM)


@cache
def around(seed: int) -> Hidden:
    """A mechanism with table posts; every fourth has one spring."""
    return hidden(seed, places=1 if seed % 4 == 3 else 2, tables=(True, True))


@cache
def job_of(seed: int) -> Job:
    """A job about it: bands near its curve, a stop with some trim, six springs about its own."""
    one, random = around(seed), np.random.default_rng([seed, 7])
    target = random_target(one, random, shift=1.5 if seed % 3 == 0 else 0.4)
    per_mm = 4 * DEG / MM
    stop = Stop(one.stop * 0.97, per_mm, 0.02 * one.stop / per_mm, 0.2 * MM)
    places = tuple(SpringPlace(p, TRAVEL, None) for p in one.posts)
    return make_job(one.weights, one.drag, stop, places, target, random_springs(one, random, 6))


def limits_of(job: Job) -> SpringBounds:
    """Bounds that hold every spring of the catalogue on its posts, wherever they are bent to."""
    assert job.catalogue is not None
    springs = job.catalogue.springs
    rates = min(s.rate for s in springs), max(s.rate for s in springs)
    rest = [float(p.posts.length(0.0)[0]) + p.travel[1] for p in job.places]
    most = max(s.initial_tension + s.rate * max(x - s.free_length, 0.0) for s in springs for x in rest)
    return SpringBounds((rates,) * len(job.places), (0.0, most + 1.0), 40 * MM)


@cache
def ideal_of(seed: int) -> Ideal:
    """The ideal springs of the job."""
    found = find_ideal(problem_of(job_of(seed)), limits_of(job_of(seed)))
    assert found is not None
    return found


def as_springs(ideal: Ideal, problem: Problem) -> tuple[Spring, ...]:
    """Springs that are what the numbers say: the pull at rest, or the take-up and the pull there."""
    made = []
    for number, posts in zip(ideal.springs, problem.posts, strict=True):
        rest = float(posts.length(0.0)[0])
        if number.takeup is None:
            made.append(Spring("never", number.rate, rest + 1.0))
        elif number.takeup == 0.0:
            made.append(Spring("from rest", number.rate, rest - number.pull / number.rate))
        else:
            free = float(posts.length(number.takeup)[0])
            made.append(Spring("late", number.rate, free, number.takeup_pull))
    return tuple(made)


def forward_margin(problem: Problem, springs: tuple[Spring, ...], stop: float, points: int = 2001) -> float:
    """Margin by the forward curve, posts as they stand; −1000 where it snaps."""
    installed = tuple(Installed(s, p) for s, p in zip(springs, problem.posts, strict=True))
    curve = trace(Unit(problem.weights, installed, problem.drag, stop), points)
    return -1e3 if curve.snaps else exact_margin(problem.target, curve)
