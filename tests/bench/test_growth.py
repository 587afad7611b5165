"""How the search grows with the catalogue, and what a general optimiser takes for one pair of it.

Not part of the normal run: `pytest tests/bench --override-ini addopts= -s`.
"""

from __future__ import annotations

import time
import tracemalloc
from functools import cache

import numpy as np
import pytest
from brute import bounds, choices, margins
from random_jobs import DEG, MM, hidden, make_job, random_springs, random_target
from scipy.optimize import differential_evolution

from recurve.job.model import Job, SpringPlace
from recurve.physics.curve import Stop
from recurve.planner.problem import problem_of
from recurve.planner.search import search
from recurve.planner.springset import SpringSet

COUNTS = (100, 200, 500, 1000, 2000)
MOST_MEGABYTES = 600
TRIED = 6  # pairs given to the optimiser


@cache
def job_of(count: int) -> Job:
    """So many invented springs, one of each, posts and stop free."""
    around, random = hidden(11, tables=(True, True)), np.random.default_rng(5)
    target = random_target(around, random, shift=0.3)
    springs = tuple(
        type(s)(f"S{i}", s.rate, s.free_length, s.initial_tension, quantity=1)
        for i, s in enumerate(random_springs(around, random, count))
    )
    places = tuple(SpringPlace(p, (-0.8 * MM, 0.8 * MM), None) for p in around.posts)
    stop = Stop(around.stop * 0.95, 4 * DEG / MM, 0.1 * MM, 0.3 * MM)
    return make_job(around.weights, around.drag, stop, places, target, springs)


def seconds(count: int) -> tuple[float, float, int]:
    """Seconds for the search, the margin it finds, and how many pairs."""
    job = job_of(count)
    assert job.catalogue is not None
    problem, springs = problem_of(job), SpringSet.of(job.catalogue.springs)
    begin = time.perf_counter()
    found = search(problem, springs)
    took = time.perf_counter() - begin
    assert found is not None
    return took, found.margin, found.pairs


def test_growth() -> None:
    """Seconds and microseconds a pair for 100 to 2000 springs; a pair costs no more in a large catalogue."""
    seconds(100)
    each = {}
    for count in COUNTS:
        took, margin, pairs = seconds(count)
        each[count] = took / pairs
        print(
            f"\n{count:5d} springs {pairs:8d} pairs {took:7.3f} s {1e6 * took / pairs:6.2f} µs a pair, margin {margin:.3f}"
        )
    assert each[2000] < each[200]


def test_memory() -> None:
    """4 million pairs: what the search holds at most."""
    tracemalloc.start()
    seconds(2000)
    most = tracemalloc.get_traced_memory()[1] / 2**20
    tracemalloc.stop()
    print(f"\n2000 springs: {most:.0f} MB at most")
    assert most < MOST_MEGABYTES


@pytest.mark.parametrize("count", [500])
def test_against_differential_evolution(count: int) -> None:
    """Time a pair judged: evolution over posts and stop on the forward curve, for some pairs, against the search."""
    job = job_of(count)
    took, margin, pairs = seconds(count)
    some = [c for c in choices(job)[:: pairs // TRIED] if bounds(job, c) is not None][:TRIED]
    begin = time.perf_counter()
    best = -np.inf
    for pair in some:
        ranges = bounds(job, pair)
        assert ranges is not None
        found = differential_evolution(
            lambda x, p=pair: -margins(job, p, x.reshape(len(x), -1)),
            [*ranges, job.stop.limits],
            popsize=12,
            maxiter=60,
            tol=1e-6,
            polish=False,
            vectorized=True,
            updating="deferred",
            rng=1,
        )
        best = max(best, -float(found.fun))
    ratio = (time.perf_counter() - begin) / len(some) / (took / pairs)
    print(f"\nevolution against search, a pair: {ratio:.0f} times as long; best {best:.3f} against {margin:.3f}")
    assert margin >= best - 0.005
    assert ratio > 1000
